//! A person's dated measures, from `*.measures.kdl`.

pub mod estimate;
pub mod fitting;
pub mod names;

pub use estimate::estimate;
pub use fitting::{Fitting, Note, NoteKind, NotePlace};

use crate::diag::{Finding, Result, Snippet};
use crate::source::{self, Node, Text, Value};
use crate::units::{Unit, format_length, trimmed};
use names::Sides;
use std::collections::BTreeMap;

/// What one person measures, newest set of a file.
#[derive(Clone, Debug)]
pub struct Measures {
    /// The person's name, or a size.
    pub person: String,
    /// The unit of the file.
    pub unit: Unit,
    /// The day the measures were taken, as written.
    pub taken: String,
    /// Canonical name to value.
    pub values: BTreeMap<String, Measure>,
    /// Choices of the style that this person's file settles: name and text.
    pub choices: BTreeMap<String, Text>,
    /// What was found at fittings, in the order of their dates.
    pub fittings: Vec<Fitting>,
    /// The day each style's toile passed, as written, by the style's name.
    pub toiles: BTreeMap<String, String>,
    /// The file's name as the user gave it.
    pub file: String,
}

impl Measures {
    /// The day that a style's toile passed on this person; empty where none did.
    pub fn toile(&self, style: &str) -> &str {
        self.toiles.get(style).map_or("", String::as_str)
    }
}

/// One measure.
#[derive(Clone, Debug)]
pub struct Measure {
    /// The value, mm; where the sides differ, their mean.
    pub mm: f64,
    /// Left and right where they differ, mm. For a measure that is taken in halves each is twice its half, so that a
    /// formula for the whole body holds for either side.
    pub sides: Option<[f64; 2]>,
    /// Where it is written; for an estimate, what it was estimated from.
    pub place: Snippet,
    /// Whether it was estimated and never taken.
    pub estimated: bool,
}

/// A side of the body, the wearer's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Side {
    /// The wearer's left.
    Left,
    /// The wearer's right.
    Right,
}

impl Side {
    /// `left` or `right`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }

    /// The side of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Left, Self::Right].into_iter().find(|side| side.name() == name)
    }

    /// The opposite side.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }
}

/// A measure over this is a slip, whatever it measures: 3 m.
const IMPOSSIBLE: f64 = 3000.0;

/// Reads a measures file. Of several dated sets the one with the latest date counts; dates are written year first.
///
/// # Errors
/// Bad syntax, an unknown measure (with the nearest known one), a value that is no length, is 0 or negative, or over
/// 3 m. A value outside what people measure is a finding of severity breach.
pub fn read(text: &str, file: &str) -> Result<(Measures, Vec<Finding>)> {
    let document = source::read(text, file)?;
    read_person(document.only("measures")?, file)
}

/// Reads a measures file, or a table of sizes: `sizes "Women" { unit "cm"; size "88" { … } }`, one [`Measures`] a size.
///
/// # Errors
/// As [`read`].
pub fn read_all(text: &str, file: &str) -> Result<(Vec<Measures>, Vec<Finding>)> {
    let document = source::read(text, file)?;
    if document.nodes().next().is_some_and(|node| node.name() == "sizes") {
        return read_sizes(document.only("sizes")?, file);
    }
    read_person(document.only("measures")?, file).map(|(person, findings)| (vec![person], findings))
}

fn read_sizes(root: Node<'_>, file: &str) -> Result<(Vec<Measures>, Vec<Finding>)> {
    root.only_takes(1, &[])?;
    let table = root.title()?;
    let mut unit = None;
    let mut findings = Vec::new();
    let mut sizes: Vec<Measures> = Vec::new();
    for node in root.children() {
        match node.name() {
            "unit" => unit = Some(read_unit(node)?),
            "size" => {
                node.only_takes(1, &[])?;
                let unit = unit.ok_or_else(|| node.error("say the unit above the first size"))?;
                let size = node.args().next().map(|size| size.text()).transpose()?;
                let size = size.ok_or_else(|| node.error("which size?").hint("write: size \"88\" { … }"))?;
                if sizes.iter().any(|known| known.person == format!("{table} {}", size.text)) {
                    return Err(size.error("this size is written twice").into());
                }
                sizes.push(Measures {
                    person: format!("{table} {}", size.text),
                    unit,
                    taken: String::new(),
                    values: read_values(node, unit, &mut findings)?,
                    choices: BTreeMap::new(),
                    fittings: Vec::new(),
                    toiles: BTreeMap::new(),
                    file: file.to_owned(),
                });
            }
            _ => return Err(node.unknown(&["unit", "size"]).into()),
        }
    }
    if sizes.is_empty() {
        return Err(root.error("no sizes are written here").hint("add: size \"88\" { … }").into());
    }
    Ok((sizes, findings))
}

/// `toile "Choir bodice" passed="2026-09-21"`: the day a style's toile fitted this person.
fn toile(node: Node<'_>) -> Result<(String, String)> {
    node.only_takes(1, &["passed"])?;
    let style = node.title()?.to_owned();
    let passed =
        node.prop("passed").ok_or_else(|| node.error("when did it pass?").hint("add: passed=\"2026-09-21\""))?;
    let date = passed.string()?;
    if !is_date(date) {
        return Err(passed.error("this is no date").hint("write year, month and day, as in 2026-09-14").into());
    }
    Ok((style, date.to_owned()))
}

fn read_values(node: Node<'_>, unit: Unit, findings: &mut Vec<Finding>) -> Result<BTreeMap<String, Measure>> {
    let mut values = BTreeMap::new();
    for node in node.children() {
        let (name, measure) = read_measure(node, unit, findings)?;
        if values.insert(name.clone(), measure).is_some() {
            return Err(node.error(format!("\"{name}\" is written twice here")).hint("keep one of them").into());
        }
    }
    Ok(values)
}

fn read_person(root: Node<'_>, file: &str) -> Result<(Measures, Vec<Finding>)> {
    root.only_takes(1, &[])?;
    let person = root.title()?.to_owned();
    let mut unit = None;
    let mut sets: Vec<(Value<'_>, Node<'_>)> = Vec::new();
    let mut choices = BTreeMap::new();
    let mut fittings: Vec<Node<'_>> = Vec::new();
    let mut toiles = BTreeMap::new();
    for node in root.children() {
        match node.name() {
            "unit" => unit = Some(read_unit(node)?),
            "taken" => {
                node.only_takes(1, &[])?;
                node.title()?;
                sets.extend(node.args().next().map(|date| (date, node)));
            }
            "choice" => {
                node.only_takes(2, &[])?;
                let name = node.title()?.to_owned();
                let value = node.args().nth(1).ok_or_else(|| node.error("this choice has no value"))?;
                choices.insert(name, value.text()?);
            }
            "fitting" => fittings.push(node),
            "toile" => {
                let (style, passed) = toile(node)?;
                toiles.insert(style, passed);
            }
            _ => return Err(node.unknown(&["unit", "taken", "choice", "fitting", "toile"]).into()),
        }
    }
    let unit =
        unit.ok_or_else(|| root.error("this file does not say its unit").hint("add: unit \"in\" or unit \"cm\""))?;
    for (date, _) in &sets {
        if !is_date(date.string()?) {
            return Err(date.error("this is no date").hint("write year, month and day, as in 2026-09-14").into());
        }
    }
    sets.sort_by_key(|(date, _)| date.string().unwrap_or_default().to_owned());
    let Some((date, newest)) = sets.last() else {
        return Err(root.error("no measures are written here").hint("add: taken \"2026-09-14\" { … }").into());
    };
    let mut findings = Vec::new();
    let values = read_values(*newest, unit, &mut findings)?;
    let taken = date.string()?.to_owned();
    let mut fittings = fittings.into_iter().map(|node| fitting::read(node, unit)).collect::<Result<Vec<_>>>()?;
    fittings.sort_by(|a, b| a.date.cmp(&b.date));
    Ok((Measures { person, unit, taken, values, choices, fittings, toiles, file: file.to_owned() }, findings))
}

/// Reads `unit "in"`.
///
/// # Errors
/// A word that is no unit.
pub fn read_unit(node: Node<'_>) -> Result<Unit> {
    node.only_takes(1, &[])?;
    let name = node.title()?;
    Unit::from_name(name)
        .ok_or_else(|| node.error(format!("\"{name}\" is no unit")).hint("write \"in\", \"cm\" or \"mm\"").into())
}

/// Whether a text is written as a date, year first, with a month and a day that can be.
pub fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts[..] else { return false };
    let number = |part: &str, digits: usize| {
        (part.len() == digits && part.bytes().all(|b| b.is_ascii_digit())).then(|| part.parse::<u32>().ok()).flatten()
    };
    number(year, 4).is_some()
        && number(month, 2).is_some_and(|m| (1..=12).contains(&m))
        && number(day, 2).is_some_and(|d| (1..=31).contains(&d))
}

fn read_measure(node: Node<'_>, unit: Unit, findings: &mut Vec<Finding>) -> Result<(String, Measure)> {
    let Some(known) = names::find(node.name()) else {
        let finding = node.error(format!("\"{}\" is no measure that is known", node.name()));
        return Err(source::with_known(finding, node.name(), &names::all()).into());
    };
    node.only_takes(1, &["room", "left", "right"])?;
    // What was measured with room in it is the body's measure less that room, so that ease is not added twice.
    let room = node.prop("room").map_or(Ok(0.0), |room| room.length(unit))?;
    if room < 0.0 {
        return Err(node.error("the room in this measure is negative").hint("write room=\"2\" for two more").into());
    }
    let halves = known.sides == Sides::Halves;
    let mut take = |value: Value<'_>, times: f64| -> Result<f64> {
        let mm = value.length(unit)? * times - room;
        if mm <= 0.0 {
            return Err(value.error(format!("the {} is not over 0", known.name)).hint("measure it again").into());
        }
        if mm > IMPOSSIBLE {
            return Err(value.error(format!("a {} of {} can't be", known.name, format_length(mm, unit))).into());
        }
        if !(known.least..=known.most).contains(&mm) {
            let a = if known.name.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
            let finding = Finding::breach(format!("{a} {} of {} is unusual", known.name, format_length(mm, unit)));
            findings.push(finding.at(value.text()?.snippet()).hint(likely_slip(mm, unit, known)));
        }
        Ok(mm)
    };
    let measure = match (node.args().next(), node.prop("left"), node.prop("right")) {
        (Some(value), None, None) => {
            Measure { mm: take(value, 1.0)?, sides: None, place: value.text()?.snippet(), estimated: false }
        }
        (None, Some(left), Some(right)) if known.sides != Sides::Alike => {
            let times = if halves { 2.0 } else { 1.0 };
            let sides = [take(left, times)?, take(right, times)?];
            let mm = f64::midpoint(sides[0], sides[1]);
            let sides = (sides[0].to_bits() != sides[1].to_bits()).then_some(sides);
            Measure { mm, sides, place: node.snippet(), estimated: false }
        }
        (_, None, None) => return Err(node.error("this measure has no value").into()),
        _ if known.sides == Sides::Alike => {
            let finding = node.error(format!("the {} is one for both sides", known.name));
            return Err(finding.hint("write one value, without left and right").into());
        }
        _ => {
            let words = if halves { "the two halves, from centre front to centre back" } else { "both sides" };
            let finding = node.error(format!("left and right belong together: give {words}, and no other value"));
            return Err(finding.hint(format!("write: \"{}\" left=\"…\" right=\"…\"", node.name())).into());
        }
    };
    Ok((known.name.to_owned(), measure))
}

/// Whether another unit would make an odd value a likely one.
fn likely_slip(mm: f64, unit: Unit, known: &names::Known) -> String {
    let number = mm / unit.mm();
    for other in [Unit::Inch, Unit::Centimetre, Unit::Millimetre] {
        if other != unit && (known.least..=known.most).contains(&(number * other.mm())) {
            let (n, sign) = (trimmed(number, 3), other.sign());
            return format!("{n} {sign} would be usual: is the file's unit \"{sign}\"? Else write \"{n} {sign}\"");
        }
    }
    format!(
        "usual is {} to {}; measure again, or pass --anyway",
        format_length(known.least, unit),
        format_length(known.most, unit)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(body: &str) -> String {
        format!("measures \"Ida\" {{\n unit \"cm\"\n taken \"2026-09-14\" {{\n{body}\n}}\n}}\n")
    }

    #[test]
    fn newest_set_counts_and_aliases_are_known() {
        let text = "measures \"Ida\" { unit \"in\"\n taken \"2026-09-14\" { bust \"36 1/2\"; }\n taken \"2025-01-01\" { bust 30; }\n}";
        let (measures, findings) = read(text, "ida.kdl").expect("reads");
        assert!(findings.is_empty());
        assert_eq!(measures.taken, "2026-09-14");
        assert!((measures.values["bust girth"].mm - 927.1).abs() < 1e-9);
    }

    #[test]
    fn inches_in_a_centimetre_file_are_questioned() {
        let (_, findings) = read(&file("bust 36"), "ida.kdl").expect("reads");
        assert_eq!(findings.len(), 1);
        assert_eq!(findings[0].severity, crate::diag::Severity::Breach);
        assert!(findings[0].hint.as_deref().expect("hint").contains("36 in"), "{findings:?}");
        assert_eq!(findings[0].snippet.as_ref().expect("place").line_column().0, 4);
    }

    #[test]
    fn faults_are_refused_with_the_place() {
        for (body, words) in [
            ("bust -90", "not over 0"),
            ("bust 0", "not over 0"),
            ("bust 400", "can't be"),
            ("bust \"9o\"", "no length"),
            ("\"bust grith\" 90", "no measure that is known"),
            ("bust 90; bust 91", "written twice"),
            ("bust left=45", "belong together"),
            ("bust 90 left=45 right=46", "belong together"),
            ("neck left=18 right=19", "one for both sides"),
            ("\"arm length\" left=55 right=-1", "not over 0"),
            ("bust #nan", "expected a text in quotes or a number"),
        ] {
            let error = read(&file(body), "ida.kdl").expect_err(body);
            assert!(error.message.contains(words), "{body}: {error}");
            assert_eq!(error.snippet.as_ref().expect("place").line_column().0, 4, "{body}");
        }
    }

    #[test]
    fn sides_are_each_their_own_or_halves() {
        let (ida, findings) =
            read(&file("bust left=45 right=46; \"arm length\" left=55 right=56; waist left=36 right=36"), "ida.kdl")
                .expect("reads");
        assert!(findings.is_empty(), "{}", findings[0]);
        let bust = &ida.values["bust girth"];
        assert!((bust.mm - 910.0).abs() < 1e-9 && bust.sides == Some([900.0, 920.0]));
        assert_eq!(ida.values["arm length"].sides, Some([550.0, 560.0]));
        assert!((ida.values["waist girth"].mm - 720.0).abs() < 1e-9 && ida.values["waist girth"].sides.is_none());
    }

    #[test]
    fn dates_are_year_first() {
        assert!(is_date("2026-09-14"));
        for text in ["14-09-2026", "2026-9-14", "2026-13-01", "yesterday", "2026-09-00"] {
            assert!(!is_date(text), "{text}");
        }
    }
}
