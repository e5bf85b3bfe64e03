//! `*.device.kdl`: a profile, read and checked.

use super::axes::{Axes, Corner, Way};
use super::{Blocks, Device, Language, MediumKind, Sequence};
use super::{correction, limits, links, media, tools};
use crate::diag::{Finding, Result};
use crate::measures::read_unit;
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

/// After so many days a correction is doubted where the profile does not say (common practice, no source).
pub(super) const MEASURE_AGAIN: u32 = 180;

/// Longest `start` or `end`, characters.
const LONGEST_TEXT: usize = 2000;

/// What a device may hold.
const ENTRIES: [&str; 17] = [
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
    "measure-again",
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
    device.unit = unit;
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
        if device.language.is_for_exchange() {
            let finding = node.error("a file for other programs is no machine's, so nothing in it is corrected");
            return Err(finding.hint("take the correction out").into());
        }
        let correction = correction::read(node)?;
        correction::check(node, &correction, &device.media)?;
        device.corrections.push(correction);
    }
    device.corrections.sort_by(|a, b| a.date.cmp(&b.date));
    keep_clear(&mut device);
    device.tools.sort_by_key(|tool| tool.kind);
    limits::judge(root, &device)?;
    Ok((device, findings))
}

/// Glued pages show nothing left of their first column, so what a skew leans to the left by has to stay clear of it.
fn keep_clear(device: &mut Device) {
    for medium in device.media.iter_mut().filter(|medium| medium.pages.is_some()) {
        let MediumKind::Roll { width, .. } = medium.kind else { continue };
        let of_medium = device.corrections.iter().filter(|correction| correction.medium == medium.name);
        let lean = of_medium.map(|correction| correction.skew * width / correction.y).fold(0.0, f64::max);
        medium.margins.left += lean;
    }
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
        "measure-again" => {
            node.only_takes(0, &["after-days"])?;
            no_children(node)?;
            let Some(value) = node.prop("after-days") else {
                return Err(node.error("\"measure-again\" needs after-days=, a number").into());
            };
            device.measure_again = whole(value, 1..=36_500)?;
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
        "link" if device.language.is_for_exchange() => {
            let finding = node.error("a file for other programs goes to no machine").hint("leave the link out");
            return Err(finding.into());
        }
        "link" => device.links.push(links::read(node)?),
        // Read before, and after.
        _ => {}
    }
    Ok(())
}

fn read_language(node: Node<'_>) -> Result<Language> {
    node.only_takes(1, &["curves", "encoded", "after"])?;
    no_children(node)?;
    let Some(value) = node.args().next() else {
        let known = LANGUAGES.map(|(name, _)| name).join(", ");
        return Err(node.error("expected a language here, in quotes").hint(format!("known: {known}")).into());
    };
    let language = choice(value, "language", &LANGUAGES)?;
    if let Some(after) = node.prop("after") {
        if language != Language::Dxf {
            return Err(after.error("only dxf is written after a convention").hint("leave it out").into());
        }
        if let Some(curves) = node.prop("curves") {
            let finding = curves.error("after ASTM D6673 all curves are polylines").hint("leave out \"curves\"");
            return Err(finding.into());
        }
        return choice(after, "convention", &[("ASTM D6673", Language::DxfBlocks)]);
    }
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
