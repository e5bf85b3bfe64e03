//! `*.device.kdl`: a profile, read and checked.

use super::source::Source;
use super::{Correction, Device, Language, Medium, MediumKind, Tool, ToolKind};
use crate::diag::{Finding, Result};
use crate::role::Role;
use crate::units::{LONGEST, Unit, parse_length};
use kdl::{KdlDocument, KdlEntry, KdlNode, KdlValue};
use miette::SourceSpan;

/// The languages that have a writer.
const LANGUAGES: [(&str, Language); 2] = [("svg", Language::Svg), ("dxf", Language::Dxf)];

/// How far a flattened curve strays where the profile does not say, mm.
const TOLERANCE: f64 = 0.01;

/// Clear space between pieces where the profile does not say, mm: room for two lines of a pen.
const GAP: f64 = 3.0;

/// Reads a profile. `file` is its name for messages.
///
/// # Errors
/// The first thing that is not as it should be, with its place and the nearest known name.
pub fn read(text: &str, file: &str) -> Result<(Device, Vec<Finding>)> {
    let source = Source::new(text, file);
    let document = source.parse(text)?;
    let mut devices = Vec::new();
    for node in document.nodes() {
        match node.name().value() {
            "device" => devices.push(node),
            other => return Err(source.unknown(node.name().span(), "entry", other, &["device"])),
        }
    }
    match devices[..] {
        [node] => read_device(&source, node),
        [] => Err(Box::new(
            Finding::error("the file describes no device").in_file(file).hint("it starts: device \"name\" { … }"),
        )),
        [_, second, ..] => Err(source.error(second.name().span(), "a file describes one device, and this is a second")),
    }
}

fn read_device(source: &Source, node: &KdlNode) -> Result<(Device, Vec<Finding>)> {
    let [name] = Fields::of(source, node, &[])?.words(["the device's name"])?;
    let (mut unit, mut language, mut tolerance) = (None, None, None);
    let (mut media, mut tools, mut corrections) = (Vec::new(), Vec::<(Tool, SourceSpan)>::new(), Vec::new());
    // Lengths without a unit are in the file's unit, wherever it is named.
    for child in children(node).filter(|child| child.name().value() == "unit") {
        once(source, child, unit.is_some())?;
        unit = Some(read_unit(source, child)?);
    }
    let unit = unit.unwrap_or(Unit::Millimetre);
    for child in children(node) {
        match child.name().value() {
            "unit" => {}
            "language" => {
                once(source, child, language.is_some())?;
                language = Some(read_language(source, child)?);
            }
            "tolerance" => {
                once(source, child, tolerance.is_some())?;
                tolerance = Some(read_tolerance(source, child, unit)?);
            }
            "medium" => media.push(read_medium(source, child, unit, &media)?),
            "tool" => tools.push((read_tool(source, child, &tools)?, child.name().span())),
            "correction" => corrections.push((read_correction(source, child)?, child)),
            other => {
                let known = ["unit", "language", "tolerance", "medium", "tool", "correction"];
                return Err(source.unknown(child.name().span(), "entry", other, &known));
            }
        }
    }
    let Some(language) = language else {
        let hint = format!("add one of: {}", LANGUAGES.map(|(name, _)| format!("language \"{name}\"")).join(", "));
        return Err(Box::new(source.error(node.name().span(), "the device has no language").hint(hint)));
    };
    if media.is_empty() {
        let hint = "add one such as: medium \"paper\" kind=\"roll\" width=\"914.4 mm\" longest=\"5000 mm\"";
        return Err(Box::new(source.error(node.name().span(), "the device has no medium").hint(hint)));
    }
    if tools.is_empty() {
        let hint = "add one such as: tool \"pen\" { draws \"cut\" \"sew\" \"notch\"; }";
        return Err(Box::new(source.error(node.name().span(), "the device has no tool").hint(hint)));
    }
    for (correction, child) in &corrections {
        check_correction(source, child, correction, &media)?;
    }
    let findings = tools
        .iter()
        .filter(|(tool, _)| tool.roles.is_empty())
        .map(|(tool, span)| {
            source.warning(*span, format!("the tool \"{}\" neither draws nor cuts anything", tool.name))
        })
        .collect();
    let mut tools: Vec<Tool> = tools.into_iter().map(|(tool, _)| tool).collect();
    tools.sort_by_key(|tool| tool.kind);
    let mut corrections: Vec<Correction> = corrections.into_iter().map(|(correction, _)| correction).collect();
    corrections.sort_by(|a, b| a.date.cmp(&b.date));
    let tolerance = tolerance.unwrap_or(TOLERANCE);
    Ok((Device { name, language, tolerance, media, tools, corrections }, findings))
}

fn read_unit(source: &Source, node: &KdlNode) -> Result<Unit> {
    let [name] = Fields::of(source, node, &[])?.words(["a unit"])?;
    no_children(source, node)?;
    Unit::from_name(&name).ok_or_else(|| source.unknown(node.entries()[0].span(), "unit", &name, &["in", "cm", "mm"]))
}

fn read_language(source: &Source, node: &KdlNode) -> Result<Language> {
    let [name] = Fields::of(source, node, &[])?.words(["a language"])?;
    no_children(source, node)?;
    let known = LANGUAGES.map(|(name, _)| name);
    LANGUAGES.into_iter().find(|(known, _)| *known == name).map(|(_, language)| language).ok_or_else(|| {
        let finding = source.unknown(node.entries()[0].span(), "language", &name, &known);
        Box::new(finding.hint(format!("known languages: {}", known.join(", "))))
    })
}

fn read_tolerance(source: &Source, node: &KdlNode, unit: Unit) -> Result<f64> {
    let fields = Fields::of(source, node, &[])?;
    no_children(source, node)?;
    let entry = fields.only_argument("a length")?;
    let tolerance = length(source, entry, unit)?;
    if !(0.0001..=0.5).contains(&tolerance) {
        return Err(source.error(entry.span(), "the tolerance must lie between 0.0001 mm and 0.5 mm"));
    }
    Ok(tolerance)
}

fn read_medium(source: &Source, node: &KdlNode, unit: Unit, media: &[Medium]) -> Result<Medium> {
    let fields = Fields::of(source, node, &["kind", "width", "height", "longest", "margin", "gap"])?;
    let [name] = fields.words(["the medium's name"])?;
    no_children(source, node)?;
    if media.iter().any(|medium| medium.name == name) {
        return Err(source.error(node.name().span(), format!("there is a medium \"{name}\" already")));
    }
    let kind_entry = fields.property("kind", "\"roll\" or \"sheet\"")?;
    let roll = match kind_entry.value().as_string() {
        Some("roll") => true,
        Some("sheet") => false,
        other => {
            let other = other.map_or_else(|| kind_entry.value().to_string(), Into::into);
            return Err(source.unknown(kind_entry.span(), "kind of medium", &other, &["roll", "sheet"]));
        }
    };
    let (other, stray) = if roll { ("longest", "height") } else { ("height", "longest") };
    if let Some(entry) = fields.optional(stray) {
        let message = format!("a {} has no \"{stray}\"", if roll { "roll" } else { "sheet" });
        return Err(Box::new(source.error(entry.span(), message).hint(format!("give \"{other}\" instead"))));
    }
    let side = |key: &str| {
        let entry = fields.property(key, "a length such as \"914.4 mm\"")?;
        let side = length(source, entry, unit)?;
        if side <= 0.0 {
            return Err(source.error(entry.span(), format!("the {key} must be more than 0")));
        }
        Ok(side)
    };
    let (width, far) = (side("width")?, side(other)?);
    let clear = |key: &str, most: f64| match fields.optional(key) {
        None => Ok(None),
        Some(entry) => {
            let clear = length(source, entry, unit)?;
            if !(0.0..most).contains(&clear) {
                let message = format!("the {key} must be 0 or more and less than half the medium's shorter side");
                return Err(source.error(entry.span(), message));
            }
            Ok(Some(clear))
        }
    };
    let half = width.min(far) / 2.0;
    let margin = clear("margin", half)?.unwrap_or(0.0);
    let gap = clear("gap", half)?.unwrap_or(GAP.min(half / 2.0));
    let kind = if roll { MediumKind::Roll { width, longest: far } } else { MediumKind::Sheet { width, height: far } };
    Ok(Medium { name, kind, margin, gap })
}

fn read_tool(source: &Source, node: &KdlNode, tools: &[(Tool, SourceSpan)]) -> Result<Tool> {
    let [name] = Fields::of(source, node, &[])?.words(["the tool's name"])?;
    if tools.iter().any(|(tool, _)| tool.name == name) {
        return Err(source.error(node.name().span(), format!("there is a tool \"{name}\" already")));
    }
    let (mut kind, mut roles) = (None, Vec::new());
    for child in children(node) {
        let this = match child.name().value() {
            "draws" => ToolKind::Pen,
            "cuts" => ToolKind::Knife,
            other => return Err(source.unknown(child.name().span(), "entry", other, &["draws", "cuts"])),
        };
        no_children(source, child)?;
        if kind.is_some_and(|kind| kind != this) {
            let finding = source.error(child.name().span(), "one tool can't both draw and cut");
            return Err(Box::new(finding.hint("describe the pen and the knife as two tools")));
        }
        kind = Some(this);
        for entry in child.entries() {
            let role = read_role(source, entry)?;
            let taken = tools.iter().find(|(tool, _)| tool.roles.contains(&role)).map(|(tool, _)| &*tool.name);
            if let Some(taken) = taken.or(roles.contains(&role).then_some(&*name)) {
                let message = format!("\"{}\" is already carried out by the tool \"{taken}\"", role.name());
                return Err(source.error(entry.span(), message));
            }
            roles.push(role);
        }
    }
    let kind = kind.ok_or_else(|| {
        let finding = source.error(node.name().span(), format!("the tool \"{name}\" neither draws nor cuts"));
        Box::new(finding.hint("add: draws \"sew\" \"notch\", or: cuts \"cut\""))
    })?;
    Ok(Tool { name, kind, roles })
}

fn read_role(source: &Source, entry: &KdlEntry) -> Result<Role> {
    let (None, KdlValue::String(name)) = (entry.name(), entry.value()) else {
        return Err(source.error(entry.span(), "expected the name of a role, such as \"cut\""));
    };
    let known = Role::ALL.map(Role::name);
    Role::from_name(name).ok_or_else(|| source.unknown(entry.span(), "role", name, &known))
}

fn read_correction(source: &Source, node: &KdlNode) -> Result<Correction> {
    let fields = Fields::of(source, node, &["medium", "x", "y", "skew"])?;
    let [date] = fields.words(["the day it was measured"])?;
    if !is_date(&date) {
        let message = format!("\"{date}\" is not a date such as 2026-10-02");
        return Err(source.error(node.entries()[0].span(), message));
    }
    // What was measured stays in the file for the record; the numbers above are what counts.
    for child in children(node) {
        let known = ["square", "width", "height", "diagonal"];
        if !known.contains(&child.name().value()) {
            return Err(source.unknown(child.name().span(), "reading", child.name().value(), &known));
        }
    }
    let medium_entry = fields.property("medium", "the name of a medium")?;
    let medium = medium_entry.value().as_string().map(Into::into);
    let medium = medium.ok_or_else(|| source.error(medium_entry.span(), "expected the name of a medium"))?;
    let ratio = |key: &str| {
        let entry = fields.property(key, "drawn length over commanded length, such as 0.9987")?;
        number(source, entry, 0.5..=2.0)
    };
    let (x, y) = (ratio("x")?, ratio("y")?);
    let skew = fields.optional("skew").map_or(Ok(0.0), |entry| number(source, entry, -0.5..=0.5))?;
    Ok(Correction { date, medium, x, y, skew })
}

/// The correction's medium is one of the device's, and its lean stays within the margin: a job is corrected about the
/// sheet's corner, and must not come to lie at negative coordinates.
fn check_correction(source: &Source, node: &KdlNode, correction: &Correction, media: &[Medium]) -> Result<()> {
    let Some(medium) = media.iter().find(|medium| medium.name == correction.medium) else {
        let names: Vec<&str> = media.iter().map(|medium| &*medium.name).collect();
        let span = node.entry("medium").map_or(node.name().span(), KdlEntry::span);
        return Err(source.unknown(span, "medium", &correction.medium, &names));
    };
    let top = match medium.kind {
        MediumKind::Roll { width, .. } => width,
        MediumKind::Sheet { height, .. } => height,
    } - medium.margin;
    let lean = correction.skew * top / correction.y;
    if lean > medium.margin {
        let message = format!(
            "a skew of {} leans {lean:.1} mm across the medium, more than its margin of {:.1} mm",
            correction.skew, medium.margin
        );
        let finding = source.error(node.name().span(), message);
        return Err(Box::new(finding.hint("square the machine up by its maker's manual, or widen the margin")));
    }
    Ok(())
}

/// `YYYY-MM-DD` with a possible month and day, so that dates sort as texts.
fn is_date(text: &str) -> bool {
    let bytes = text.as_bytes();
    let shaped = bytes.len() == 10
        && bytes.iter().enumerate().all(|(i, b)| if i == 4 || i == 7 { *b == b'-' } else { b.is_ascii_digit() });
    shaped && ("01"..="12").contains(&&text[5..7]) && ("01"..="31").contains(&&text[8..10])
}

/// A node's values, with their names checked.
struct Fields<'a> {
    source: &'a Source,
    node: &'a KdlNode,
}

impl<'a> Fields<'a> {
    /// Refuses properties that are not in `known`, and any that is given twice.
    fn of(source: &'a Source, node: &'a KdlNode, known: &[&str]) -> Result<Self> {
        let mut seen = Vec::new();
        for entry in node.entries() {
            let Some(name) = entry.name() else { continue };
            if !known.contains(&name.value()) {
                return Err(source.unknown(name.span(), "property", name.value(), known));
            }
            if seen.contains(&name.value()) {
                return Err(source.error(name.span(), format!("\"{}\" is given twice", name.value())));
            }
            seen.push(name.value());
        }
        Ok(Self { source, node })
    }

    /// The values without a name, which must be exactly these, each a text that is not empty.
    fn words<const N: usize>(&self, wanted: [&str; N]) -> Result<[String; N]> {
        let mut given = self.node.entries().iter().filter(|entry| entry.name().is_none());
        let mut words = [const { String::new() }; N];
        for (word, wanted) in words.iter_mut().zip(wanted) {
            let entry = given.next();
            let span = entry.map_or(self.node.name().span(), KdlEntry::span);
            match entry.and_then(|entry| entry.value().as_string()) {
                Some(text) if !text.trim().is_empty() => *word = text.trim().into(),
                _ => return Err(self.source.error(span, format!("expected {wanted} here, in quotation marks"))),
            }
        }
        match given.next() {
            Some(entry) => Err(self.source.error(entry.span(), "nothing more was expected here")),
            None => Ok(words),
        }
    }

    fn only_argument(&self, wanted: &str) -> Result<&'a KdlEntry> {
        match self.node.entries() {
            [entry] if entry.name().is_none() => Ok(entry),
            _ => Err(self.source.error(self.node.name().span(), format!("expected {wanted} and nothing else"))),
        }
    }

    fn optional(&self, key: &str) -> Option<&'a KdlEntry> {
        self.node.entries().iter().find(|entry| entry.name().is_some_and(|name| name.value() == key))
    }

    fn property(&self, key: &str, wanted: &str) -> Result<&'a KdlEntry> {
        self.optional(key).ok_or_else(|| {
            let message = format!("\"{}\" needs {key}=, {wanted}", self.node.name().value());
            self.source.error(self.node.name().span(), message)
        })
    }
}

fn children(node: &KdlNode) -> impl Iterator<Item = &KdlNode> {
    node.children().into_iter().flat_map(KdlDocument::nodes)
}

fn no_children(source: &Source, node: &KdlNode) -> Result<()> {
    match children(node).next() {
        Some(child) => {
            Err(source.error(child.name().span(), format!("\"{}\" has no entries of its own", node.name().value())))
        }
        None => Ok(()),
    }
}

fn once(source: &Source, node: &KdlNode, given: bool) -> Result<()> {
    if given {
        return Err(source.error(node.name().span(), format!("\"{}\" is given twice", node.name().value())));
    }
    Ok(())
}

/// A length: a text as people write it, or a bare number in the file's unit. Millimetres.
fn length(source: &Source, entry: &KdlEntry, unit: Unit) -> Result<f64> {
    let mm = match entry.value() {
        KdlValue::String(text) => parse_length(text, unit)
            .map_err(|error| source.error(entry.span(), format!("\"{text}\" is not a length: {error}")))?,
        value => match as_number(value) {
            Some(number) => number * unit.mm(),
            None => return Err(source.error(entry.span(), "expected a length such as \"914.4 mm\"")),
        },
    };
    if !mm.is_finite() || mm.abs() > LONGEST {
        return Err(source.error(entry.span(), "expected a length under 100 m"));
    }
    Ok(mm)
}

fn number(source: &Source, entry: &KdlEntry, range: std::ops::RangeInclusive<f64>) -> Result<f64> {
    match as_number(entry.value()) {
        Some(number) if range.contains(&number) => Ok(number),
        _ => {
            let message = format!("expected a number between {} and {}", range.start(), range.end());
            Err(source.error(entry.span(), message))
        }
    }
}

fn as_number(value: &KdlValue) -> Option<f64> {
    match value {
        KdlValue::Integer(whole) => Some(*whole as f64),
        KdlValue::Float(number) => Some(*number),
        _ => None,
    }
}
