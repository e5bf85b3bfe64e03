//! A cloth, from `*.cloth.kdl`: how wide it is, how it may be laid, and how shops sell it.

use crate::diag::{Finding, Result};
use crate::source::{self, Node};
use crate::units::{INCH, Unit};

/// A cloth as it is bought and laid. x runs along its length, y across it from one cut edge of the selvedges.
#[derive(Clone, Debug, PartialEq)]
pub struct Cloth {
    /// Its name.
    pub name: String,
    /// The name that pieces are cut from in the style.
    pub cut_as: String,
    /// The unit of the file, for reports.
    pub unit: Unit,
    /// From edge to edge, mm.
    pub width: f64,
    /// Not to be cut into along either edge, mm.
    pub selvedge: f64,
    /// Whether it is laid folded along its length, right sides together.
    pub folded: bool,
    /// Which way up pieces may lie.
    pub way: Way,
    /// How far a grainline may be off the cloth's length, degrees.
    pub grain: f64,
    /// Clear space between pieces for the shears or the knife, mm.
    pub gap: f64,
    /// Lost in the first wash along and across, per cent.
    pub shrinkage: [f64; 2],
    /// How far it gives along and across, per cent.
    pub stretch: [f64; 2],
    /// How often stripes or checks come again along and across, mm; 0 for none.
    pub repeat: [f64; 2],
    /// Flaws to be left out: from and to along the cloth, from and to across it from the lower edge, mm.
    pub flaws: Vec<[f64; 4]>,
    /// Seams at which the pattern runs on.
    pub matches: Vec<Match>,
    /// How ruffles and bindings are cut.
    pub strips: StripWay,
    /// What there is of it, mm; 0 where it is still to be bought.
    pub length: f64,
}

/// A seam at which the cloth's pattern runs on from piece to piece.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Match {
    /// The seam's name in the style.
    pub seam: String,
    /// Which of its notches lie at the same place of the pattern, counted from the seam's start, from 1.
    pub notch: usize,
    /// Whether along the cloth and across it; left out where the way the seam runs decides.
    pub axes: Option<[bool; 2]>,
}

/// How straight strips are cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StripWay {
    /// In the lengths that the style divides them into.
    Drafted,
    /// Along the selvedge, without joins.
    Along,
    /// From selvedge to selvedge, joined as seldom as can be.
    Across,
}

/// Which way up pieces may lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Either way: no nap and no pattern.
    Either,
    /// Either way, but all the pieces of one person's garment the same.
    Garment,
    /// One way only: nap, pile, or a pattern with an up and a down.
    One,
}

/// Widths that shops sell, in the unit of those who sell by it. Common practice, no source.
pub fn shop_widths(unit: Unit) -> Vec<f64> {
    match unit {
        Unit::Inch => [36.0, 45.0, 54.0, 60.0].map(|width| width * INCH).to_vec(),
        _ => [900.0, 1150.0, 1400.0, 1500.0].to_vec(),
    }
}

/// A length as shops cut it, rounded up: to eighths of a yard, or to tenths of a metre; mm. Common practice, no source.
pub fn bought(length: f64, unit: Unit) -> f64 {
    let step = match unit {
        Unit::Inch => 36.0 * INCH / 8.0,
        _ => 100.0,
    };
    // A hair over, from rounding, is not another eighth.
    ((length - 1e-6) / step).ceil().max(0.0) * step
}

/// A length as people ask for it in a shop: `3 5/8 yd` or `3.4 m`.
pub fn bought_text(length: f64, unit: Unit) -> String {
    let length = bought(length, unit);
    if unit == Unit::Inch {
        let eighths = (length / (36.0 * INCH / 8.0)).round();
        return crate::units::format_inches(eighths / 8.0 * INCH, 8).replace(" in", " yd");
    }
    format!("{:.1} m", length / 1000.0)
}

/// A length of cloth that is there already: as [`bought_text`] where it is such a length, else in hundredths of a yard or
/// metre, rounded down: what was brought is never more than it is.
pub fn brought_text(length: f64, unit: Unit) -> String {
    /// Rounding in a length that was read, mm.
    const HAIR: f64 = 1e-6;
    if (bought(length, unit) - length).abs() < HAIR {
        return bought_text(length, unit);
    }
    let (one, sign) = if unit == Unit::Inch { (36.0 * INCH, "yd") } else { (1000.0, "m") };
    format!("{} {sign}", crate::units::trimmed(((length + HAIR) / one * 100.0).floor() / 100.0, 2))
}

impl Cloth {
    /// A plain cloth of that width, mm, single, without nap, to be cut with shears.
    pub fn plain(cut_as: &str, width: f64, unit: Unit) -> Self {
        Self {
            name: cut_as.into(),
            cut_as: cut_as.into(),
            unit,
            width,
            selvedge: 12.7,
            folded: false,
            way: Way::Either,
            grain: 0.0,
            gap: 3.0,
            shrinkage: [0.0; 2],
            stretch: [0.0; 2],
            repeat: [0.0; 2],
            flaws: Vec::new(),
            matches: Vec::new(),
            strips: StripWay::Drafted,
            length: 0.0,
        }
    }

    /// What can be cut into across it as it lies, mm.
    pub fn usable(&self) -> f64 {
        let usable = self.width - 2.0 * self.selvedge;
        if self.folded { usable / 2.0 } else { usable }
    }
}

const KNOWN: [&str; 16] = [
    "unit",
    "cut-as",
    "width",
    "selvedge",
    "folded",
    "nap",
    "one-way",
    "grain",
    "gap",
    "shrinkage",
    "stretch",
    "repeat",
    "flaw",
    "match",
    "strips",
    "length",
];

/// Reads a cloth file.
///
/// # Errors
/// Bad syntax, an unknown word, a width of 0 or one that the selvedges take up, a length or percentage that no cloth has;
/// each with its place.
pub fn read(text: &str, file: &str) -> Result<Cloth> {
    let document = source::read(text, file)?;
    let root = document.only("cloth")?;
    root.only_takes(1, &[])?;
    let nodes: Vec<Node<'_>> = root.children().collect();
    let unit = match nodes.iter().find(|node| node.name() == "unit") {
        Some(node) => Unit::from_name(node.title()?)
            .ok_or_else(|| node.error("this is no unit").hint("write \"in\", \"cm\" or \"mm\""))?,
        None => {
            return Err(root.error("this file does not say its unit").hint("add: unit \"in\" or unit \"cm\"").into());
        }
    };
    let mut cloth = Cloth::plain("main cloth", 0.0, unit);
    root.title()?.clone_into(&mut cloth.name);
    for node in nodes {
        match node.name() {
            "unit" => node.only_takes(1, &[])?,
            "cut-as" => node.title()?.clone_into(&mut cloth.cut_as),
            "width" => cloth.width = length(node, unit)?,
            "selvedge" => cloth.selvedge = length(node, unit)?,
            "gap" => cloth.gap = length(node, unit)?,
            "length" => cloth.length = length(node, unit)?,
            "folded" => cloth.folded = flag(node)?,
            "nap" if flag(node)? => cloth.way = Way::One,
            "nap" => {}
            "one-way" => {
                cloth.way = match node.title()? {
                    "cloth" => Way::One,
                    "garment" => Way::Garment,
                    _ => {
                        let finding = node.error("one way for what?");
                        return Err(finding.hint("write \"cloth\", or \"garment\" for each person's pieces").into());
                    }
                }
            }
            "grain" => cloth.grain = number(node, "within", 0.0, 15.0)?.unwrap_or(0.0),
            "shrinkage" => cloth.shrinkage = both(node, -10.0, 40.0)?,
            "stretch" => cloth.stretch = both(node, 0.0, 300.0)?,
            "repeat" => {
                node.only_takes(0, &["along", "across"])?;
                for (axis, name) in ["along", "across"].into_iter().enumerate() {
                    if let Some(value) = node.prop(name) {
                        cloth.repeat[axis] = positive(node, value.length(unit)?)?;
                    }
                }
            }
            "flaw" => cloth.flaws.push(flaw(node, unit)?),
            "match" => cloth.matches.push(matched(node)?),
            "strips" => {
                node.only_takes(1, &[])?;
                cloth.strips = strip_way(node.title()?).ok_or_else(|| {
                    node.error("strips are cut which way?").hint("write \"along\", \"across\" or \"drafted\"")
                })?;
            }
            _ => return Err(node.unknown(&KNOWN).into()),
        }
    }
    check(&cloth).map_err(|finding| Box::new((*finding).in_file(file)))?;
    Ok(cloth)
}

/// A finer pattern is not matched, mm.
const LEAST_REPEAT: f64 = 1.0;

/// The way of cutting strips that goes by that name.
pub fn strip_way(name: &str) -> Option<StripWay> {
    match name {
        "along" => Some(StripWay::Along),
        "across" => Some(StripWay::Across),
        "drafted" => Some(StripWay::Drafted),
        _ => None,
    }
}

/// A length of cloth as it is asked for: `3 1/8 yd`, `2.5 m`, or any other length; a bare number is in yards or metres.
///
/// # Errors
/// No length over 0 and up to 100 m.
pub fn asked_for(text: &str, unit: Unit) -> Result<f64> {
    let text = text.trim();
    let wrong = || {
        Box::new(Finding::error(format!("\"{text}\" is no length of cloth")).hint("write \"3 1/8 yd\" or \"2.5 m\""))
    };
    let number = |text: &str| crate::units::parse_length(text.trim(), Unit::Millimetre).map_err(|_| wrong());
    let bare = |text: &str| text.chars().all(|c| c.is_ascii_digit() || " ./,-".contains(c));
    let (yard, metre) = (36.0 * INCH, 1000.0);
    let strip = |ends: &[&str]| ends.iter().find_map(|end| text.strip_suffix(end)).filter(|rest| bare(rest));
    let length = if let Some(rest) = strip(&["yards", "yard", "yds", "yd"]) {
        number(rest)? * yard
    } else if let Some(rest) = strip(&["metres", "metre", "m"]) {
        number(rest)? * metre
    } else if bare(text) {
        number(text)? * if unit == Unit::Inch { yard } else { metre }
    } else {
        crate::units::parse_length(text, unit).map_err(|_| wrong())?
    };
    if length > 0.0 && length <= crate::units::LONGEST { Ok(length) } else { Err(wrong()) }
}

/// What no cloth can be, whether from a file or from elsewhere.
///
/// # Errors
/// A width of 0, or none left between the selvedges; a gap or length that is negative or no number.
pub fn check(cloth: &Cloth) -> Result<()> {
    let sizes = [cloth.width, cloth.selvedge, cloth.gap, cloth.length];
    if sizes.iter().any(|size| !size.is_finite() || *size < 0.0 || *size > crate::units::LONGEST) {
        return Err(
            Finding::error(format!("the cloth \"{}\" has a size that is no length up to 100 m", cloth.name)).into()
        );
    }
    for (axis, way) in ["along", "across"].into_iter().enumerate() {
        let asked = cloth.matches.iter().find(|wanted| wanted.axes.is_some_and(|axes| axes[axis]));
        if let Some(wanted) = asked.filter(|_| cloth.repeat[axis] <= 0.0) {
            let message = format!(
                "\"{}\" is to be matched {way} at the seam \"{}\", but has no repeat {way}",
                cloth.name, wanted.seam
            );
            return Err(Finding::error(message).hint(format!("add: repeat {way}=\"4 in\"")).into());
        }
    }
    if !cloth.matches.is_empty() && cloth.repeat.iter().all(|repeat| *repeat <= 0.0) {
        let message = format!("\"{}\" is to be matched, but has no repeat", cloth.name);
        return Err(Finding::error(message).hint("add: repeat along=\"4 in\"").into());
    }
    if cloth.repeat.iter().any(|repeat| *repeat > 0.0 && *repeat < LEAST_REPEAT) {
        let message = format!("the pattern of \"{}\" comes again within a millimetre", cloth.name);
        return Err(Finding::error(message).hint("so fine a pattern need not be matched: leave out its repeat").into());
    }
    if cloth.width <= 0.0 {
        return Err(Finding::error(format!("the cloth \"{}\" has no width", cloth.name))
            .hint("add: width \"45 in\"")
            .into());
    }
    if cloth.usable() < 10.0 {
        let message = format!("the selvedges of the cloth \"{}\" leave nothing between them", cloth.name);
        return Err(Finding::error(message).hint("selvedge is the width of one of them").into());
    }
    Ok(())
}

fn length(node: Node<'_>, unit: Unit) -> Result<f64> {
    node.only_takes(1, &[])?;
    let value = node.args().next().ok_or_else(|| node.error(format!("\"{}\" needs a length", node.name())))?;
    positive(node, value.length(unit)?)
}

fn positive(node: Node<'_>, mm: f64) -> Result<f64> {
    if (0.0..=crate::units::LONGEST).contains(&mm) {
        return Ok(mm);
    }
    Err(node.error("this is not a length between 0 and 100 m").into())
}

fn flag(node: Node<'_>) -> Result<bool> {
    node.only_takes(1, &[])?;
    node.args().next().map_or(Ok(true), |value| value.flag())
}

fn number(node: Node<'_>, name: &str, least: f64, most: f64) -> Result<Option<f64>> {
    let Some(value) = node.prop(name) else { return Ok(None) };
    let number = value.number()?;
    if !(least..=most).contains(&number) {
        return Err(value.error(format!("this should be between {least} and {most}")).into());
    }
    Ok(Some(number))
}

fn both(node: Node<'_>, least: f64, most: f64) -> Result<[f64; 2]> {
    node.only_takes(0, &["along", "across"])?;
    Ok([number(node, "along", least, most)?.unwrap_or(0.0), number(node, "across", least, most)?.unwrap_or(0.0)])
}

fn matched(node: Node<'_>) -> Result<Match> {
    node.only_takes(1, &["notch", "by"])?;
    let notch = number(node, "notch", 1.0, 99.0)?.unwrap_or(1.0);
    let axes = match node.prop("by") {
        None => None,
        Some(value) => Some(match value.string()? {
            "along" => [true, false],
            "across" => [false, true],
            "both" => [true, true],
            _ => {
                let finding = value.error("matched which way?");
                return Err(finding.hint("write by=\"along\", by=\"across\" or by=\"both\"").into());
            }
        }),
    };
    Ok(Match { seam: node.title()?.to_owned(), notch: notch as usize, axes })
}

fn flaw(node: Node<'_>, unit: Unit) -> Result<[f64; 4]> {
    const NAMES: [&str; 4] = ["from", "to", "low", "high"];
    node.only_takes(0, &NAMES)?;
    let mut sides = [0.0; 4];
    for (side, name) in sides.iter_mut().zip(NAMES) {
        let value = node.prop(name).ok_or_else(|| {
            node.error(format!("where is the flaw? \"{name}\" is missing"))
                .hint("from and to along, low and high across")
        })?;
        *side = value.length(unit)?;
    }
    if !(sides[0] < sides[1] && sides[2] < sides[3]) {
        return Err(node.error("this flaw ends before it begins").into());
    }
    Ok(sides)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounded_up_as_shops_cut() {
        // 1 yd = 914.4 mm exactly (international yard, 1959), so 1/8 yd = 114.3 mm.
        for (mm, text) in [(914.4, "1 yd"), (914.5, "1 1/8 yd"), (100.0, "1/8 yd"), (2000.0, "2 1/4 yd")] {
            assert_eq!(bought_text(mm, Unit::Inch), text);
        }
        assert_eq!(bought_text(2001.0, Unit::Centimetre), "2.1 m");
        assert_eq!(bought_text(2000.0, Unit::Centimetre), "2.0 m");
        // What was brought is said as it is, and never as more: a yard is 36 in of 25.4 mm, and 70 in are 1.944 of it.
        for (inches, text) in [(1.9 * 36.0, "1.9 yd"), (70.0, "1.94 yd"), (72.0, "2 yd"), (67.5, "1 7/8 yd")] {
            assert_eq!(brought_text(inches * 25.4, Unit::Inch), text);
        }
        for (mm, text) in [(1950.0, "1.95 m"), (1999.9, "1.99 m"), (2000.0, "2.0 m")] {
            assert_eq!(brought_text(mm, Unit::Centimetre), text);
        }
    }

    #[test]
    fn lengths_as_they_are_asked_for() {
        // 1 yd = 914.4 mm exactly (international yard, 1959).
        for (text, unit, mm) in [
            ("3 yd", Unit::Inch, 2743.2),
            ("3 1/8 yds", Unit::Centimetre, 2857.5),
            ("2.5 m", Unit::Inch, 2500.0),
            ("2", Unit::Inch, 1828.8),
            ("2", Unit::Centimetre, 2000.0),
            ("90 in", Unit::Centimetre, 2286.0),
        ] {
            assert!((asked_for(text, unit).expect(text) - mm).abs() < 1e-9, "{text}");
        }
        for bad in ["", "0", "-1 yd", "a yard", "200 m", "nan"] {
            assert!(asked_for(bad, Unit::Inch).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_cloth_is_read_and_slips_are_refused() {
        let text = r#"cloth "Blue wool" { unit "in"; width "54"; selvedge "1/2"; folded #true; nap #true; flaw from="10" to="12" low="1" high="2" }"#;
        let cloth = read(text, "a.cloth.kdl").expect("reads");
        assert_eq!((cloth.width, cloth.way, cloth.flaws.len()), (1371.6, Way::One, 1));
        for (bad, word) in [
            ("width \"0\"", "no width"),
            ("width \"1\"", "selvedges"),
            ("width \"45\"; nape #true", "not known"),
            ("width \"45\"; shrinkage along=90", "between"),
            ("width \"45\"; match \"side\"", "no repeat"),
            ("width \"45\"; repeat along=\"4\"; match \"side\" by=\"across\"", "no repeat across"),
            ("width \"45\"; repeat along=\"4\"; match \"side\" by=\"luck\"", "which way"),
            ("width \"45\"; strips \"somehow\"", "which way"),
            ("width \"45\"; flaw from=\"2\" to=\"1\" low=\"0\" high=\"1\"", "ends before"),
        ] {
            let finding = read(&format!("cloth \"x\" {{ unit \"in\"; {bad}; }}"), "a").expect_err(bad);
            assert!(finding.message.contains(word), "{bad}: {finding}");
        }
    }
}
