//! Strips and flounces: `strip "Hem ruffle" times=4 depth="10" … { onto "Front/hem" "Back/hem" }`.

use super::props::{first_text, flag, formula, needed_formula, text};
use super::{Strip, Style, seams};
use crate::diag::Result;
use crate::source::Node;

const PROPS: [&str; 14] = [
    "from",
    "of",
    "times",
    "depth",
    "hem",
    "join",
    "ends",
    "cloth-width",
    "ring",
    "when",
    "turns",
    "sections",
    "length",
    "onto",
];

/// Reads a `strip`, or a `flounce`, which is cut on a circle.
pub(super) fn read(node: Node<'_>, style: &Style) -> Result<Strip> {
    node.only_takes(1, &PROPS)?;
    node.title()?;
    let mut onto = Vec::new();
    for child in node.children() {
        if child.name() != "onto" {
            return Err(child.unknown(&["onto"]).into());
        }
        child.only_takes(usize::MAX, &[])?;
        for value in child.args() {
            onto.push(seams::span(value, style)?);
        }
    }
    if let Some(value) = node.prop("onto") {
        onto.push(seams::span(value, style)?);
    }
    let length = formula(node, "length")?;
    if onto.is_empty() == length.is_none() {
        return Err(node
            .error("what is this sewn to, or how long is it? say one of the two")
            .hint("add: onto \"Front/hem\" \"Back/hem\", or length=\"…\"")
            .into());
    }
    let circular = if node.name() == "flounce" {
        Some((needed_formula(node, "turns")?, formula(node, "sections")?))
    } else {
        None
    };
    Ok(Strip {
        name: first_text(node)?,
        cloth: text(node, "from")?.map_or_else(|| "main cloth".into(), |cloth| cloth.text),
        onto,
        length,
        times: formula(node, "times")?,
        depth: needed_formula(node, "depth")?,
        hem: needed_formula(node, "hem")?,
        join: needed_formula(node, "join")?,
        ends: formula(node, "ends")?,
        cloth_width: formula(node, "cloth-width")?,
        ring: flag(node, "ring")?,
        rings: 1,
        circular,
        when: formula(node, "when")?,
    })
}

/// The edges of a strip's lengths.
pub(crate) const EDGES: [&str; 4] = ["hem", "right end", "top", "left end"];
