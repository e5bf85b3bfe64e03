//! `*.device.kdl`: a profile, read and checked.

use super::axes::{Axes, Corner, Way};
use super::{Blocks, Correction, Device, Language, Medium, MediumKind, Sequence};
use super::{limits, links, media, tools};
use crate::diag::{Finding, Result};
use crate::measures::{is_date, read_unit};
use crate::source::{self, Node, Value, with_known};
use crate::units::{LONGEST, Unit};
use std::ops::RangeInclusive;

/// The languages, without variants.
const LANGUAGES: [(&str, Language); 6] = [
    ("svg", Language::Svg),
    ("dxf", Language::Dxf),
    ("pdf", Language::Pdf),
    ("hpgl", Language::Hpgl),
    ("hpgl2", Language::Hpgl2),
    ("rs274", Language::Rs274),
];

/// How far a flattened curve strays where the profile does not say, mm.
pub(super) const TOLERANCE: f64 = 0.01;

/// Longest `start` or `end`, characters.
const LONGEST_TEXT: usize = 2000;

/// What a device may hold.
const ENTRIES: [&str; 16] = [
    "unit",
    "language",
    "tolerance",
    "units-per-mm",
    "largest",
    "pixel",
    "axes",
    "start",
    "end",
    "travel",
    "sequence",
    "blocks",
    "medium",
    "tool",
    "link",
    "correction",
];

/// Those that may come more than once.
const REPEATED: [&str; 4] = ["medium", "tool", "link", "correction"];

/// Reads a profile. `file` is its name for messages.
///
/// # Errors
/// The first thing that is not as it should be, with its place and the nearest known name.
pub fn read(text: &str, file: &str) -> Result<(Device, Vec<Finding>)> {
    let document = source::read(text, file)?;
    let root = document.only("device")?;
    root.only_takes(1, &[])?;
    let mut seen: Vec<&str> = Vec::new();
    for node in root.children() {
        if !ENTRIES.contains(&node.name()) {
            return Err(node.unknown(&ENTRIES).into());
        }
        if seen.contains(&node.name()) && !REPEATED.contains(&node.name()) {
            return Err(node.error(format!("\"{}\" is given twice", node.name())).hint("leave out one").into());
        }
        seen.push(node.name());
    }
    let one = |name: &str| root.children().find(|node| node.name() == name);
    // Lengths without a unit are in the file's unit, wherever it is named; what may stand here depends on the language.
    let unit = one("unit").map_or(Ok(Unit::Millimetre), read_unit)?;
    let Some(language) = one("language") else {
        let hint = format!("add one of: {}", LANGUAGES.map(|(name, _)| format!("language \"{name}\"")).join(", "));
        return Err(root.error("the device has no language").hint(hint).into());
    };
    let mut device = Device::plain(root.title()?.trim(), read_language(language)?);
    let mut findings = Vec::new();
    for node in root.children() {
        read_entry(node, unit, &mut device, &mut findings)?;
    }
    if device.media.is_empty() {
        let hint = "add one such as: medium \"paper\" kind=\"roll\" width=\"914.4 mm\" longest=\"5000 mm\"";
        return Err(root.error("the device has no medium").hint(hint).into());
    }
    if device.tools.is_empty() {
        let hint = "add one such as: tool \"pen\" { draws \"cut\" \"sew\" \"notch\"; }";
        return Err(root.error("the device has no tool").hint(hint).into());
    }
    for node in root.children().filter(|node| node.name() == "correction") {
        let correction = read_correction(node)?;
        let lean = check_correction(node, &correction, &device.media)?;
        for medium in
            device.media.iter_mut().filter(|medium| medium.name == correction.medium && medium.pages.is_some())
        {
            // Pages show nothing left of their first column, so what leans to the left stays clear of it.
            medium.margins.left = medium.margins.left.max(lean + medium.margins.bottom);
        }
        device.corrections.push(correction);
    }
    device.corrections.sort_by(|a, b| a.date.cmp(&b.date));
    device.tools.sort_by_key(|tool| tool.kind);
    limits::judge(root, &device)?;
    Ok((device, findings))
}

fn read_entry(node: Node<'_>, unit: Unit, device: &mut Device, findings: &mut Vec<Finding>) -> Result<()> {
    match node.name() {
        "tolerance" => {
            let value = only(node)?;
            device.tolerance = value.length(unit)?;
            if !(0.0001..=0.5).contains(&device.tolerance) {
                return Err(value.error("the tolerance must lie between 0.0001 mm and 0.5 mm").into());
            }
        }
        "units-per-mm" => {
            only_for(node, device.language.drives_a_machine(), "a language that drives a machine: hpgl, hpgl2, rs274")?;
            device.units_per_mm = number(only(node)?, 1.0..=100_000.0)?;
        }
        "largest" => {
            only_for(node, device.language.drives_a_machine(), "a language that drives a machine: hpgl, hpgl2, rs274")?;
            device.largest = Some(whole(only(node)?, 1000..=i128::from(i32::MAX))?);
        }
        "pixel" => {
            only_for(node, device.language == Language::Svg, "svg")?;
            let value = only(node)?;
            let pixel = value.length(unit)?;
            if !(0.01..=20.0).contains(&pixel) {
                return Err(value.error("a pixel must be between 0.01 mm and 20 mm wide").into());
            }
            device.pixel = Some(pixel);
        }
        "axes" => device.axes = read_axes(node, device.language)?,
        "start" => device.start = read_text(node, device.language)?,
        "end" => device.end = read_text(node, device.language)?,
        "travel" => {
            node.only_takes(0, &["mm-per-second", "lift-seconds"])?;
            no_children(node)?;
            if let Some(value) = node.prop("mm-per-second") {
                device.travel_speed = number(value, 1.0..=5000.0)?;
            }
            if let Some(value) = node.prop("lift-seconds") {
                device.lift_seconds = number(value, 0.0..=60.0)?;
            }
        }
        "sequence" => {
            let ways = [("tool-by-tool", Sequence::ToolByTool), ("piece-by-piece", Sequence::PieceByPiece)];
            device.sequence = choice(only(node)?, "sequence", &ways)?;
        }
        "blocks" => {
            let ways = [("with-allowance", Blocks::WithAllowance), ("net", Blocks::Net)];
            device.blocks = choice(only(node)?, "kind of block", &ways)?;
        }
        "medium" => {
            let medium = media::read(node, unit, &device.media)?;
            if medium.pages.is_some() {
                only_for(node, device.language == Language::Pdf, "pdf")?;
            }
            device.media.push(medium);
        }
        "tool" => {
            let tool = tools::read(node, unit, device.language, &device.tools)?;
            if tool.roles.is_empty() {
                let message = format!("the tool \"{}\" neither draws nor cuts anything", tool.name);
                findings.push(Finding::warning(message).at(node.snippet()));
            }
            device.tools.push(tool);
        }
        "link" => device.links.push(links::read(node)?),
        // Read before, and after.
        _ => {}
    }
    Ok(())
}

fn read_language(node: Node<'_>) -> Result<Language> {
    node.only_takes(1, &["curves", "encoded"])?;
    no_children(node)?;
    let Some(value) = node.args().next() else {
        let known = LANGUAGES.map(|(name, _)| name).join(", ");
        return Err(node.error("expected a language here, in quotes").hint(format!("known: {known}")).into());
    };
    let language = choice(value, "language", &LANGUAGES)?;
    if let Some(curves) = node.prop("curves") {
        if language != Language::Dxf {
            return Err(curves.error("only dxf has a choice of curves").hint("leave it out").into());
        }
        return choice(curves, "kind of curve", &[("spline", Language::Dxf), ("polyline", Language::DxfPolyline)]);
    }
    if let Some(encoded) = node.prop("encoded") {
        if language != Language::Hpgl2 {
            return Err(encoded.error("only hpgl2 can be encoded").hint("leave it out").into());
        }
        return Ok(if encoded.flag()? { Language::Hpgl2Encoded } else { language });
    }
    Ok(language)
}

fn read_axes(node: Node<'_>, language: Language) -> Result<Axes> {
    only_for(node, language.drives_a_machine(), "a language that drives a machine: hpgl, hpgl2, rs274")?;
    node.only_takes(0, &["origin", "x", "y"])?;
    no_children(node)?;
    let mut axes = Axes::SHEET;
    if let Some(value) = node.prop("origin") {
        axes.origin = choice(value, "origin", &Corner::ALL.map(|corner| (corner.name(), corner)))?;
    }
    let ways = Way::ALL.map(|way| (way.name(), way));
    if let Some(value) = node.prop("x") {
        axes.x = choice(value, "direction", &ways)?;
    }
    if let Some(value) = node.prop("y") {
        axes.y = choice(value, "direction", &ways)?;
    }
    if axes.x.along_x() == axes.y.along_x() {
        let hint = "one of them runs left or right, the other up or down";
        return Err(node.error("x and y lie along the same line").hint(hint).into());
    }
    Ok(axes)
}

/// What is sent before or after a job: the machine's own commands, as they are.
fn read_text(node: Node<'_>, language: Language) -> Result<String> {
    only_for(node, language.drives_a_machine(), "a language that drives a machine: hpgl, hpgl2, rs274")?;
    let value = only(node)?;
    let text = value.string()?;
    if !text.is_ascii() || text.len() > LONGEST_TEXT {
        let message = format!("expected plain ASCII, at most {LONGEST_TEXT} characters");
        return Err(value.error(message).hint("an escape character is written \\u{1b}").into());
    }
    Ok(text.into())
}

fn read_correction(node: Node<'_>) -> Result<Correction> {
    node.only_takes(1, &["medium", "x", "y", "skew"])?;
    let date = node.title()?;
    if !is_date(date) {
        let message = format!("\"{date}\" is not a date such as 2026-10-02");
        return Err(node.error(message).hint("year, month, day").into());
    }
    // What was measured stays in the file for the record; the numbers above are what counts.
    for child in node.children() {
        let known = ["square", "width", "height", "diagonal"];
        if !known.contains(&child.name()) {
            return Err(child.unknown(&known).into());
        }
    }
    let needs = |key: &str, what: &str| {
        node.prop(key).ok_or_else(|| Box::new(node.error(format!("\"correction\" needs {key}=, {what}"))))
    };
    let medium = needs("medium", "the name of a medium")?.string()?.to_owned();
    let ratio = |key: &str| number(needs(key, "drawn length over commanded length, such as 0.9987")?, 0.5..=2.0);
    let (x, y) = (ratio("x")?, ratio("y")?);
    let skew = node.prop("skew").map_or(Ok(0.0), |value| number(value, -0.5..=0.5))?;
    Ok(Correction { date: date.into(), medium, x, y, skew })
}

/// The correction's medium is one of the device's, and its lean stays within the margin: a job is corrected about the
/// sheet's corner, and must not come to lie at negative coordinates. Gives the lean, mm to the left.
fn check_correction(node: Node<'_>, correction: &Correction, media: &[Medium]) -> Result<f64> {
    let Some(medium) = media.iter().find(|medium| medium.name == correction.medium) else {
        let names: Vec<&str> = media.iter().map(|medium| &*medium.name).collect();
        let finding = node.error(format!("there is no medium \"{}\"", correction.medium));
        return Err(with_known(finding, &correction.medium, &names).into());
    };
    let top = match medium.kind {
        MediumKind::Roll { width, .. } => width,
        MediumKind::Sheet { height, .. } => height,
    } - medium.margins.top;
    let lean = correction.skew * top / correction.y;
    let margin = medium.pages.map_or(medium.margins.left, |pages| pages.margins.left);
    if lean > margin {
        let message = format!(
            "a skew of {} leans {lean:.1} mm across the medium, more than its margin of {margin:.1} mm",
            correction.skew
        );
        return Err(node
            .error(message)
            .hint("square the machine up by its maker's manual, or widen the margin")
            .into());
    }
    Ok(lean)
}

/// The node's one value, with nothing beside or inside it.
pub(super) fn only(node: Node<'_>) -> Result<Value<'_>> {
    node.only_takes(1, &[])?;
    no_children(node)?;
    node.args().next().ok_or_else(|| node.error(format!("\"{}\" needs a value behind it", node.name())).into())
}

/// The node's name in quotes.
pub(super) fn word(node: Node<'_>) -> Result<String> {
    Ok(node.title()?.trim().to_owned())
}

pub(super) fn no_children(node: Node<'_>) -> Result<()> {
    match node.children().next() {
        Some(child) => {
            Err(child.error(format!("\"{}\" has no entries of its own", node.name())).hint("take it out").into())
        }
        None => Ok(()),
    }
}

/// Refuses an entry that another language has no use for.
pub(super) fn only_for(node: Node<'_>, fits: bool, language: &str) -> Result<()> {
    if fits {
        return Ok(());
    }
    let message = format!("\"{}\" here is only for {language}", node.name());
    Err(node.error(message).hint("leave it out, or change the language").into())
}

/// One of several words.
pub(super) fn choice<T: Copy>(value: Value<'_>, what: &str, known: &[(&str, T)]) -> Result<T> {
    let word = value.text()?.text;
    let names: Vec<&str> = known.iter().map(|(name, _)| *name).collect();
    known
        .iter()
        .find(|(name, _)| *name == word)
        .map(|(_, choice)| *choice)
        .ok_or_else(|| with_known(value.error(format!("there is no {what} \"{word}\"")), &word, &names).into())
}

/// A length under 100 m, mm.
pub(super) fn reach(value: Value<'_>, unit: Unit) -> Result<f64> {
    let mm = value.length(unit)?;
    if !mm.is_finite() || mm.abs() > LONGEST {
        return Err(value.error("expected a length under 100 m").into());
    }
    Ok(mm)
}

/// `length` back, if it is 0 or more and less than `most`.
pub(super) fn below(value: Value<'_>, length: f64, most: f64, message: &str) -> Result<f64> {
    if (0.0..most).contains(&length) { Ok(length) } else { Err(value.error(message).into()) }
}

pub(super) fn number(value: Value<'_>, range: RangeInclusive<f64>) -> Result<f64> {
    let refuse = || value.error(format!("expected a number between {} and {}", range.start(), range.end()));
    value.number().ok().filter(|number| range.contains(number)).ok_or_else(|| refuse().into())
}

pub(super) fn whole(value: Value<'_>, range: RangeInclusive<i128>) -> Result<u32> {
    let refuse = || value.error(format!("expected a whole number between {} and {}", range.start(), range.end()));
    let number = value.number().ok().filter(|number| number.fract() == 0.0);
    number
        .filter(|number| range.contains(&(*number as i128)))
        .map(|number| number as u32)
        .ok_or_else(|| refuse().into())
}
