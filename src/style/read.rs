//! `*.style.kdl`, read and checked.

use super::formula::Formula;
use super::props::{first_text, needed_formula};
use super::{Named, Need, PieceSteps, Style, Vary, derive, marks, piece, ring, seams, strip, worn};
use crate::diag::Result;
use crate::measures::{names, read_unit};
use crate::source::{self, Node, Text, with_known};

/// Reads a style sheet. `file` names it in findings.
///
/// # Errors
/// Bad syntax, unknown words, a name used twice, a point or edge that is not there, an outline whose edges do not follow
/// each other, a piece like itself, a ring that does not go all the way round; each with its place and the nearest known name.
pub fn read(text: &str, file: &str) -> Result<Style> {
    let document = source::read(text, file)?;
    let root = document.only("style")?;
    root.only_takes(1, &[])?;
    let mut style = Style {
        name: root.title()?.to_owned(),
        unit: crate::units::Unit::Inch,
        needs: Vec::new(),
        choices: Vec::new(),
        values: Vec::new(),
        varies: Vec::new(),
        pieces: Vec::new(),
        strips: Vec::new(),
        seams: Vec::new(),
        worn: Vec::new(),
        warns: Vec::new(),
        zips: Vec::new(),
        notions: Vec::new(),
        sewing: Vec::new(),
        file: file.to_owned(),
    };
    let mut unit = None;
    for node in root.children() {
        match node.name() {
            "unit" => unit = Some(read_unit(node)?),
            "needs" => read_needs(node, &mut style.needs)?,
            "choice" => style.choices.push(read_named(node)?),
            "value" => style.values.push(read_named(node)?),
            "vary" => style.varies.push(read_vary(node)?),
            "piece" | "block" => {
                // A value may stand beside the steps that need it; it is known in the whole style.
                for value in node.children().filter(|child| child.name() == "value") {
                    style.values.push(read_named(value)?);
                }
                let piece = piece::read(node, &style.pieces)?;
                add_piece(&mut style, piece)?;
            }
            "facing" => {
                let facing = derive::facing(node, &style.pieces)?;
                add_piece(&mut style, facing)?;
                seams::faced(node, &mut style)?;
            }
            "strip" | "flounce" => {
                let strip = strip::read(node, &style)?;
                check_unused(&style, &strip.name)?;
                style.strips.push(strip);
            }
            "seam" => {
                let seam = seams::seam(node, &style)?;
                style.seams.push(seam);
            }
            "worn" => {
                let worn = worn::read(node, &style)?;
                style.worn.push(worn);
            }
            "warn" => style.warns.push(worn::warn(node)?),
            "zip" => style.zips.push(read_named(node)?),
            "notion" => style.notions.push(marks::notion(node)?),
            "sewing" => {
                for step in node.children() {
                    if step.name() != "step" {
                        return Err(step.unknown(&["step"]).into());
                    }
                    style.sewing.push(step.title()?.to_owned());
                }
            }
            _ => {
                let known = [
                    "unit", "needs", "choice", "value", "vary", "piece", "block", "facing", "strip", "flounce", "seam",
                    "worn", "warn", "zip", "notion", "sewing",
                ];
                return Err(node.unknown(&known).into());
            }
        }
    }
    style.unit =
        unit.ok_or_else(|| root.error("this style does not say its unit").hint("add: unit \"in\" or unit \"cm\""))?;
    if style.pieces.is_empty() && style.strips.is_empty() {
        return Err(root.error("this style has no pieces").hint("add: piece \"Front\" { … }").into());
    }
    check_names(&style)?;
    ring::complete(&mut style)?;
    Ok(style)
}

fn add_piece(style: &mut Style, piece: PieceSteps) -> Result<()> {
    check_unused(style, &piece.name)?;
    style.pieces.push(piece);
    Ok(())
}

fn check_unused(style: &Style, name: &Text) -> Result<()> {
    let strips = style.strips.iter().map(|strip| &strip.name);
    if style.pieces.iter().map(|piece| &piece.name).chain(strips).any(|other| other.text == name.text) {
        return Err(name.error("another piece has this name").hint("rename one of them").into());
    }
    if name.text.contains('/') {
        return Err(name
            .error("a piece's name has no slash")
            .hint("a slash parts a piece's name from an edge's")
            .into());
    }
    Ok(())
}

fn read_needs(node: Node<'_>, needs: &mut Vec<Need>) -> Result<()> {
    node.only_takes(usize::MAX, &[])?;
    for value in node.args() {
        let text = value.text()?;
        let Some(known) = names::find(&text.text) else {
            let finding = text.error(format!("\"{}\" is no measure that is known", text.text));
            return Err(with_known(finding, &text.text, &names::all()).into());
        };
        if needs.iter().all(|need| need.name != known.name) {
            needs.push(Need { name: known.name.to_owned(), place: text.snippet() });
        }
    }
    Ok(())
}

fn read_named(node: Node<'_>) -> Result<Named> {
    node.only_takes(2, &["note"])?;
    let name = node.title()?.to_owned();
    let value = node.args().nth(1).ok_or_else(|| node.error(format!("\"{name}\" has no value")))?;
    let note = node.prop("note").map(|note| note.string()).transpose()?.unwrap_or_default().to_owned();
    Ok(Named { name, formula: Formula::read(value.text()?)?, note })
}

fn read_vary(node: Node<'_>) -> Result<Vary> {
    node.only_takes(1, &["least", "most", "until", "comes-to"])?;
    node.title()?;
    Ok(Vary {
        name: first_text(node)?,
        least: needed_formula(node, "least")?,
        most: needed_formula(node, "most")?,
        until: needed_formula(node, "until")?,
        comes_to: needed_formula(node, "comes-to")?,
    })
}

/// Names of choices, values and varied lengths must be unique and must not hide a measure that the style needs.
fn check_names(style: &Style) -> Result<()> {
    let mut seen: Vec<&str> = style.needs.iter().map(|need| need.name.as_str()).collect();
    let named = style.choices.iter().chain(&style.values).map(|named| (named.name.as_str(), named.formula.source()));
    for (name, place) in named.chain(style.varies.iter().map(|vary| (vary.name.text.as_str(), &vary.name))) {
        if seen.contains(&name) {
            return Err(place.error(format!("the name \"{name}\" stands for two things")).hint("rename one").into());
        }
        seen.push(name);
    }
    Ok(())
}
