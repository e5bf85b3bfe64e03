//! Seams, read and checked against the pieces.

use super::{PieceSteps, Seam, SpanRef, formula::Formula};
use crate::diag::Result;
use crate::source::{Node, Text, Value, with_known};

/// Reads `seam "Front/side" "Back/side" ease="1"` or a seam whose sides are chains.
pub(super) fn seam(node: Node<'_>, pieces: &[PieceSteps]) -> Result<Seam> {
    let has_sides = node.children().next().is_some();
    node.only_takes(if has_sides { 1 } else { 2 }, &["name", "ease", "times", "gap", "pointed"])?;
    let mut sides: Vec<Vec<SpanRef>> = Vec::new();
    if has_sides {
        for side in node.children() {
            if side.name() != "side" {
                return Err(side.unknown(&["side"]).into());
            }
            side.only_takes(usize::MAX, &[])?;
            sides.push(side.args().map(|value| span(value, pieces)).collect::<Result<_>>()?);
        }
    } else {
        for value in node.args() {
            sides.push(vec![span(value, pieces)?]);
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
    let formula = |prop: &str| node.prop(prop).map(|value| value.text().and_then(Formula::read)).transpose();
    let pointed = match node.prop("pointed").map(|value| value.string()).transpose()? {
        None => [false, false],
        Some("start") => [true, false],
        Some("end") => [false, true],
        Some("both") => [true, true],
        Some(_) => return Err(node.error("pointed is \"start\", \"end\" or \"both\"").into()),
    };
    Ok(Seam {
        name,
        sides: [first, second],
        ease: formula("ease")?,
        ratio: formula("times")?,
        gap: formula("gap")?,
        pointed,
    })
}

fn span(value: Value<'_>, pieces: &[PieceSteps]) -> Result<SpanRef> {
    let place = value.text()?;
    let (names, backwards) = match place.text.trim().strip_suffix(" backwards") {
        Some(names) => (names, true),
        None => (place.text.trim(), false),
    };
    let Some((piece, edge)) = names.split_once('/') else {
        return Err(place.error("this does not name an edge").hint("write it as \"Front/side\"").into());
    };
    let (piece, edge) = (piece.trim().to_owned(), edge.trim().to_owned());
    check(&place, &piece, &edge, pieces)?;
    Ok(SpanRef { place, piece, edge, backwards })
}

fn check(place: &Text, piece: &str, edge: &str, pieces: &[PieceSteps]) -> Result<()> {
    let Some(steps) = pieces.iter().find(|steps| steps.name.text == piece) else {
        let known: Vec<&str> = pieces.iter().map(|steps| steps.name.text.as_str()).collect();
        return Err(with_known(place.error(format!("there is no piece \"{piece}\"")), piece, &known).into());
    };
    if steps.edge(edge).is_none() {
        let known: Vec<&str> = steps.edges.iter().chain(&steps.lines).map(|e| e.name.text.as_str()).collect();
        let finding = place.error(format!("piece \"{piece}\" has no edge \"{edge}\""));
        return Err(with_known(finding, edge, &known).into());
    }
    Ok(())
}
