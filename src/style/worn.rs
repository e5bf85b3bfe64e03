//! What the garment measures when worn: `worn "bust" body="bust girth" least-ease="2" { across "Front" at="underarm" }`.

use super::formula::Formula;
use super::props::{first_text, flag, formula, needed_text};
use super::{Style, Warn, Worn, WornPart, seams};
use crate::diag::Result;
use crate::source::{Node, with_known};

pub(super) fn read(node: Node<'_>, style: &Style) -> Result<Worn> {
    node.only_takes(1, &["body", "least-ease", "most-ease", "each", "is", "when"])?;
    node.title()?;
    let mut parts: Vec<WornPart> = formula(node, "is")?.map(WornPart::Is).into_iter().collect();
    for child in node.children() {
        match child.name() {
            "across" => {
                child.only_takes(1, &["at"])?;
                child.title()?;
                let (piece, at) = (first_text(child)?, needed_text(child, "at")?);
                let Some(steps) = style.piece(&piece.text) else {
                    let known: Vec<&str> = style.pieces.iter().map(|p| p.name.text.as_str()).collect();
                    let finding = piece.error(format!("there is no piece \"{}\"", piece.text));
                    return Err(with_known(finding, &piece.text, &known).into());
                };
                if steps.point(&at.text).is_none() {
                    let known: Vec<&str> = steps.points.iter().map(|p| p.name.text.as_str()).collect();
                    let finding = at.error(format!("piece \"{}\" has no point \"{}\"", piece.text, at.text));
                    return Err(with_known(finding, &at.text, &known).into());
                }
                parts.push(WornPart::Across(piece, at));
            }
            "along" => {
                child.only_takes(usize::MAX, &[])?;
                for value in child.args() {
                    parts.push(WornPart::Along(seams::span(value, style)?));
                }
            }
            _ => return Err(child.unknown(&["across", "along"]).into()),
        }
    }
    if parts.is_empty() {
        return Err(node
            .error("what is measured here?")
            .hint("add: across \"Front\" at=\"underarm\", along \"Front/waist\", or is=\"…\"")
            .into());
    }
    Ok(Worn {
        name: first_text(node)?,
        body: formula(node, "body")?,
        least: formula(node, "least-ease")?,
        most: formula(node, "most-ease")?,
        parts,
        each: flag(node, "each")?,
        when: formula(node, "when")?,
    })
}

/// `warn "The side slants." when="slant of Front/side > 15 deg"`.
pub(super) fn warn(node: Node<'_>) -> Result<Warn> {
    node.only_takes(1, &["when"])?;
    node.title()?;
    let when: Formula = super::props::needed_formula(node, "when")?;
    Ok(Warn { text: first_text(node)?, when })
}
