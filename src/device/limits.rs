//! What a profile's parts have to do with one another.

use super::axes::Corner;
use super::{Device, MediumKind, Tip, ToolKind};
use crate::diag::{Finding, Result};
use crate::role::Role;
use crate::source::Node;

/// Refuses media that the machine's numbers can't reach.
pub(super) fn judge(root: Node<'_>, device: &Device) -> Result<()> {
    let Some(largest) = device.largest else { return Ok(()) };
    let centred = device.axes.origin == Corner::Centre;
    let reach = f64::from(largest) / device.units_per_mm * if centred { 2.0 } else { 1.0 };
    for (medium, node) in device.media.iter().zip(root.children().filter(|node| node.name() == "medium")) {
        let (along, across, key) = match medium.kind {
            MediumKind::Roll { width, longest } => (longest, width, "longest"),
            MediumKind::Sheet { width, height } => (width, height, "width"),
        };
        let drawn = (along - medium.margins.right).max(across - medium.margins.top);
        if drawn > reach {
            let message = format!(
                "\"{}\" reaches {drawn:.1} mm, but the largest coordinate of {largest} is {reach:.1} mm",
                medium.name
            );
            let hint =
                format!("give a smaller {key}, a wider margin, or axes origin=\"centre\" where the machine has it");
            return Err(node.error(message).hint(hint).into());
        }
    }
    Ok(())
}

/// What is worth a thought before the profile is used: roles without a tool, media never measured, knives without
/// a tip. The cut line without a tool is a breach.
pub fn check(device: &Device) -> Vec<Finding> {
    let mut findings = Vec::new();
    let carried = |role: &Role| device.tools.iter().any(|tool| tool.roles.contains(role));
    if !carried(&Role::Cut) {
        let finding = Finding::breach("no tool draws or cuts the cut line");
        findings.push(finding.hint("add \"cut\" to a tool's draws or cuts"));
    }
    let left_out: Vec<&str> =
        Role::ALL.iter().filter(|role| **role != Role::Cut && !carried(role)).map(|role| role.name()).collect();
    if !left_out.is_empty() {
        findings.push(Finding::note(format!("left out, as no tool has them: {}", left_out.join(", "))));
    }
    if !carried(&Role::Square) {
        let finding = Finding::warning("the check square is left out, so nobody can measure whether a sheet is true");
        findings.push(finding.hint("add \"square\" to a tool's draws"));
    }
    let machine = !device.language.is_for_exchange();
    for medium in device.media.iter().filter(|medium| machine && device.correction(&medium.name).is_none()) {
        let finding = Finding::note(format!("never measured on \"{}\": its files are not corrected", medium.name));
        findings.push(finding.hint("draw a check square and measure it with a steel rule"));
    }
    for tool in device.tools.iter().filter(|tool| tool.kind == ToolKind::Knife && tool.tip == Tip::Plain) {
        let message = format!("the tool \"{}\" says nothing of its tip: lines are cut as they are given", tool.name);
        let finding = Finding::note(message);
        findings.push(
            finding.hint("add drags offset=…, turns, burns kerf=… or mills kerf=… unless the machine sees to it"),
        );
    }
    findings
}
