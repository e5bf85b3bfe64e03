//! Seams, read and checked against the pieces.

use super::props::{first_text, formula, needed_formula, text};
use super::{Seam, SpanRef, Style, strip};
use crate::diag::Result;
use crate::source::{Node, Text, Value, with_known};

/// Reads `seam "Front/side" "Back/side" ease="1"` or a seam whose sides are chains.
pub(super) fn seam(node: Node<'_>, style: &Style) -> Result<Seam> {
    let has_sides = node.children().any(|child| child.name() == "side");
    let props = ["name", "ease", "times", "gap", "gap-at", "pointed", "when"];
    node.only_takes(if has_sides { 1 } else { 2 }, &props)?;
    let mut sides: Vec<Vec<SpanRef>> = Vec::new();
    let mut spread = None;
    for child in node.children() {
        match child.name() {
            "side" => {
                child.only_takes(usize::MAX, &[])?;
                sides.push(child.args().map(|value| span(value, style)).collect::<Result<_>>()?);
            }
            "spread" => {
                child.only_takes(0, &["from", "to"])?;
                spread = Some([needed_formula(child, "from")?, needed_formula(child, "to")?]);
            }
            _ => return Err(child.unknown(&["side", "spread"]).into()),
        }
    }
    if !has_sides {
        for value in node.args() {
            sides.push(vec![span(value, style)?]);
        }
    }
    if sides.iter().any(Vec::is_empty) {
        return Err(node.error("one side of this seam names no edge").into());
    }
    let [first, second]: [Vec<SpanRef>; 2] = sides
        .try_into()
        .map_err(|_| node.error("a seam has two sides").hint("write: seam \"Front/side\" \"Back/side\""))?;
    let name = match (node.prop("name"), has_sides) {
        (Some(name), _) => name.string()?.to_owned(),
        (None, true) => node.title()?.to_owned(),
        (None, false) => format!("{} to {}", first[0].place.text, second[0].place.text),
    };
    let pointed = match node.prop("pointed").map(|value| value.string()).transpose()? {
        None => [false, false],
        Some("start") => [true, false],
        Some("end") => [false, true],
        Some("both") => [true, true],
        Some(_) => return Err(node.error("pointed is \"start\", \"end\" or \"both\"").into()),
    };
    let gap_at_start = match node.prop("gap-at").map(|value| value.string()).transpose()? {
        None | Some("end") => false,
        Some("start") => true,
        Some(_) => return Err(node.error("gap-at is \"start\" or \"end\"").into()),
    };
    Ok(Seam {
        name,
        sides: [first, second],
        ease: formula(node, "ease")?,
        ratio: formula(node, "times")?,
        gap: formula(node, "gap")?,
        gap_at_start,
        spread,
        pointed,
        when: formula(node, "when")?,
    })
}

/// The seams between a facing, the newest piece, and what it faces.
pub(super) fn faced(node: Node<'_>, style: &mut Style) -> Result<()> {
    let Some(of) = text(node, "of")? else { return Ok(()) };
    let name = first_text(node)?;
    let Some(facing) = style.piece(&name.text) else { return Ok(()) };
    // The faced edges come first, then the neighbour behind them.
    let faced = facing.edges.iter().take_while(|edge| !edge.to.text.starts_with("facing at "));
    let seams: Vec<Seam> = faced
        .map(|edge| {
            let span = |piece: &str| SpanRef {
                place: name.clone(),
                piece: piece.to_owned(),
                edge: edge.name.text.clone(),
                backwards: false,
            };
            Seam {
                name: format!("{} of {} and its facing", edge.name.text, of.text),
                sides: [vec![span(&of.text)], vec![span(&name.text)]],
                ease: None,
                ratio: None,
                gap: None,
                gap_at_start: false,
                spread: None,
                // Face to face the outlines turn at the ends, they do not run on.
                pointed: [true, true],
                when: facing.when.clone(),
            }
        })
        .collect();
    style.seams.extend(seams);
    Ok(())
}

/// Reads `"Front/side"` or `"Front/side backwards"`.
pub(super) fn span(value: Value<'_>, style: &Style) -> Result<SpanRef> {
    let place = value.text()?;
    let (names, backwards) = match place.text.trim().strip_suffix(" backwards") {
        Some(names) => (names, true),
        None => (place.text.trim(), false),
    };
    let Some((piece, edge)) = names.split_once('/') else {
        return Err(place.error("this does not name an edge").hint("write it as \"Front/side\"").into());
    };
    let (piece, edge) = (piece.trim().to_owned(), edge.trim().to_owned());
    check(&place, &piece, &edge, style)?;
    Ok(SpanRef { place, piece, edge, backwards })
}

impl Style {
    /// Whether an edge is sewn to another of its length, eased or not, but not gathered. The image of an edge in a fold is
    /// sewn as the edge itself is.
    pub fn sewn_plain(&self, piece: &str, edge: &str) -> bool {
        let own = edge.strip_prefix("other ").unwrap_or(edge);
        let plain = self.seams.iter().filter(|seam| seam.ratio.is_none());
        let mut spans = plain.flat_map(|seam| seam.sides.iter().flatten());
        spans.any(|span| span.piece == piece && (span.edge == edge || span.edge == own))
    }
}

fn check(place: &Text, piece: &str, edge: &str, style: &Style) -> Result<()> {
    let known: Vec<&str> = match style.piece(piece) {
        Some(steps) => steps.edges.iter().chain(&steps.lines).map(|e| e.name.text.as_str()).collect(),
        None if style.strips.iter().any(|strip| strip.name.text == piece) => strip::EDGES.to_vec(),
        None => {
            let strips = style.strips.iter().map(|strip| strip.name.text.as_str());
            let known: Vec<&str> = style.pieces.iter().map(|steps| steps.name.text.as_str()).chain(strips).collect();
            return Err(with_known(place.error(format!("there is no piece \"{piece}\"")), piece, &known).into());
        }
    };
    if !known.contains(&edge) {
        let finding = place.error(format!("piece \"{piece}\" has no edge \"{edge}\""));
        return Err(with_known(finding, edge, &known).into());
    }
    Ok(())
}
