//! Tools of a profile.

use super::read::{below, no_children, number, only, reach, whole, word};
use super::{Bridges, Heights, Language, Tip, Tool, ToolKind};
use crate::diag::{Finding, Result};
use crate::role::Role;
use crate::source::{Node, with_known};
use crate::units::Unit;

/// A corner is swung or lifted over above this where the profile does not say, degrees (from memory: 10–20).
const SHARP: f64 = 15.0;

/// Largest offset of a blade, kerf, overcut, run-in or height, mm: beyond is a slip of the unit.
const SMALL: f64 = 50.0;

/// What a tool may hold.
const ENTRIES: [&str; 14] = [
    "draws", "creases", "cuts", "drags", "turns", "burns", "mills", "number", "force", "speed", "power", "heights",
    "passes", "bridges",
];

/// Reads one `tool`. `tools` are those before it.
pub(super) fn read(node: Node<'_>, unit: Unit, language: Language, tools: &[Tool]) -> Result<Tool> {
    node.only_takes(1, &[])?;
    let name = word(node)?;
    if tools.iter().any(|tool| tool.name == name) {
        return Err(node.error(format!("there is a tool \"{name}\" already")).into());
    }
    let (kind, roles) = read_work(node, &name, tools)?;
    let mut tool = Tool { number: tools.len() as u32 + 1, ..Tool::plain(&name, kind, &roles) };
    let mut seen: Vec<&str> = Vec::new();
    for child in node.children() {
        if child.name() == "draws" || child.name() == "cuts" || child.name() == "creases" {
            continue;
        }
        if seen.contains(&child.name()) {
            return Err(child.error(format!("\"{}\" is given twice", child.name())).hint("leave out one").into());
        }
        seen.push(child.name());
        read_entry(child, unit, &mut tool)?;
    }
    if tools.iter().any(|other| other.number == tool.number) {
        let message = format!("two tools have the number {}", tool.number);
        return Err(node.error(message).hint("give each its own: number 2").into());
    }
    if language == Language::Rs274 {
        if tool.speed.is_none() {
            let finding = node.error("rs274 needs a tool's speed");
            return Err(finding.hint("add: speed mm-per-second=20").into());
        }
        if tool.power.is_none() && tool.heights.is_none() {
            let finding = node.error("rs274 needs to know how this tool is switched or lowered");
            return Err(finding.hint("add: power 300, or: heights up=\"5 mm\" down=\"-1 mm\"").into());
        }
    }
    Ok(tool)
}

/// What it does, and to which roles.
fn read_work(node: Node<'_>, name: &str, tools: &[Tool]) -> Result<(ToolKind, Vec<Role>)> {
    let (mut kind, mut roles) = (None, Vec::new());
    for child in node.children() {
        let this = match child.name() {
            "draws" => ToolKind::Pen,
            "creases" => ToolKind::Crease,
            "cuts" => ToolKind::Knife,
            other if ENTRIES.contains(&other) => continue,
            _ => return Err(child.unknown(&ENTRIES).into()),
        };
        no_children(child)?;
        child.only_takes(usize::MAX, &[])?;
        if kind.is_some_and(|kind| kind != this) {
            let finding = child.error("one tool can't both draw and cut, or crease");
            return Err(finding.hint("describe the pen and the knife as two tools").into());
        }
        kind = Some(this);
        for value in child.args() {
            let known = Role::ALL.map(Role::name);
            let text = value.string()?;
            let Some(role) = Role::from_name(text) else {
                return Err(with_known(value.error(format!("there is no role \"{text}\"")), text, &known).into());
            };
            let taken = tools.iter().find(|tool| tool.roles.contains(&role)).map(|tool| &*tool.name);
            if let Some(taken) = taken.or(roles.contains(&role).then_some(name)) {
                let message = format!("\"{}\" is already carried out by the tool \"{taken}\"", role.name());
                return Err(value.error(message).hint("name each role once").into());
            }
            roles.push(role);
        }
    }
    let kind = kind.ok_or_else(|| {
        let finding = node.error(format!("the tool \"{name}\" neither draws nor cuts"));
        Box::new(finding.hint("add: draws \"sew\" \"notch\", or: cuts \"cut\""))
    })?;
    Ok((kind, roles))
}

fn read_entry(node: Node<'_>, unit: Unit, tool: &mut Tool) -> Result<()> {
    let fits = |kinds: &[ToolKind], what: &str| {
        if kinds.contains(&tool.kind) {
            return Ok(());
        }
        let message = format!("\"{}\" is only for {what}", node.name());
        Err(Box::new(node.error(message).hint("leave it out, or say what this tool cuts")))
    };
    let small = |key: &str| {
        let Some(value) = node.prop(key) else { return Ok(None) };
        let message = format!("{key} must be 0 or more and less than {SMALL} mm");
        below(value, reach(value, unit)?, SMALL, &message).map(Some)
    };
    let needed = |key: &str| {
        let wanted = || Box::new(node.error(format!("\"{}\" needs {key}=, a length", node.name())));
        match small(key)?.ok_or_else(wanted)? {
            0.0 => Err(Box::new(node.error(format!("{key} must be more than 0")))),
            length => Ok(length),
        }
    };
    let angle = |key: &str| node.prop(key).map_or(Ok(SHARP), |value| number(value, 1.0..=90.0));
    if ["drags", "turns", "burns", "mills"].contains(&node.name()) && tool.tip != Tip::Plain {
        return Err(node.error("a tool has one tip, and this is a second").hint("leave out one").into());
    }
    match node.name() {
        "drags" => {
            fits(&[ToolKind::Knife], "a tool that cuts")?;
            node.only_takes(0, &["offset", "swing-above", "overcut", "run-in"])?;
            let offset = needed("offset")?;
            tool.tip = Tip::Drag {
                offset,
                swing_above: angle("swing-above")?,
                overcut: small("overcut")?.unwrap_or(offset),
                run_in: small("run-in")?.unwrap_or(3.0 * offset),
            };
        }
        "turns" => {
            fits(&[ToolKind::Knife, ToolKind::Crease], "a tool that cuts or creases")?;
            node.only_takes(0, &["lift-above"])?;
            tool.tip = Tip::Turning { lift_above: angle("lift-above")? };
        }
        "burns" | "mills" => {
            fits(&[ToolKind::Knife], "a tool that cuts")?;
            node.only_takes(0, &["kerf"])?;
            let kerf = needed("kerf")?;
            tool.tip = if node.name() == "burns" { Tip::Laser { kerf } } else { Tip::Router { kerf } };
        }
        "number" => tool.number = whole(only(node)?, 0..=99)?,
        "force" => {
            node.only_takes(0, &["grams"])?;
            tool.force = Some(only_property(node, "grams", 1.0..=50_000.0)?);
        }
        "speed" => {
            node.only_takes(0, &["mm-per-second"])?;
            tool.speed = Some(only_property(node, "mm-per-second", 0.1..=5000.0)?);
        }
        "power" => tool.power = Some(number(only(node)?, 0.0..=1_000_000.0)?),
        "heights" => {
            node.only_takes(0, &["up", "down"])?;
            let height = |key: &str| {
                let wanted = || Box::new(node.error(format!("\"heights\" needs {key}=, a length")));
                let value = node.prop(key).ok_or_else(wanted)?;
                let height = reach(value, unit)?;
                let message = format!("{key} must lie within {SMALL} mm of the medium");
                below(value, height.abs(), SMALL, &message).map(|_| height)
            };
            let heights = Heights { up: height("up")?, down: height("down")? };
            if heights.up <= heights.down || heights.up <= 0.0 {
                let hint = "heights are above the medium: such as up=\"5 mm\" down=\"-1 mm\"";
                return Err(node.error("up must be above the medium, and above down").hint(hint).into());
            }
            tool.heights = Some(heights);
        }
        "passes" => tool.passes = whole(only(node)?, 1..=20)?,
        "bridges" => {
            fits(&[ToolKind::Knife], "a tool that cuts")?;
            node.only_takes(0, &["length", "every"])?;
            let length = needed("length")?;
            let every = node.prop("every").ok_or_else(|| Box::new(node.error("\"bridges\" needs every=, a length")))?;
            let apart = reach(every, unit)?;
            if apart < 4.0 * length {
                return Err(every.error("bridges must be at least four of their lengths apart").into());
            }
            tool.bridges = Some(Bridges { length, every: apart });
        }
        _ => return Err(node.unknown(&ENTRIES).into()),
    }
    no_children(node)
}

fn only_property(node: Node<'_>, key: &str, range: std::ops::RangeInclusive<f64>) -> Result<f64> {
    let wanted = || Box::<Finding>::from(node.error(format!("\"{}\" needs {key}=, a number", node.name())));
    number(node.prop(key).ok_or_else(wanted)?, range)
}
