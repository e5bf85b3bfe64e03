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
    /// What there is of it, mm; 0 where it is still to be bought.
    pub length: f64,
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
            length: 0.0,
        }
    }

    /// What can be cut into across it as it lies, mm.
    pub fn usable(&self) -> f64 {
        let usable = self.width - 2.0 * self.selvedge;
        if self.folded { usable / 2.0 } else { usable }
    }
}

const KNOWN: [&str; 14] = [
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
            _ => return Err(node.unknown(&KNOWN).into()),
        }
    }
    check(&cloth).map_err(|finding| Box::new((*finding).in_file(file)))?;
    Ok(cloth)
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
            ("width \"45\"; flaw from=\"2\" to=\"1\" low=\"0\" high=\"1\"", "ends before"),
        ] {
            let finding = read(&format!("cloth \"x\" {{ unit \"in\"; {bad}; }}"), "a").expect_err(bad);
            assert!(finding.message.contains(word), "{bad}: {finding}");
        }
    }
}
