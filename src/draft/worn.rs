//! What the garment measures when worn, beside the body.

use super::Drafter;
use crate::diag::{Finding, Result};
use crate::geom::{parts, path};
use crate::measures::Measures;
use crate::piece::{Cut, Piece};
use crate::style::formula::Scope;
use crate::style::{Worn, WornPart};
use crate::units::format_length;
use kurbo::{BezPath, Point};

/// One measure of the worn garment.
#[derive(Clone, Debug, PartialEq)]
pub struct WornRow {
    /// Its name.
    pub name: String,
    /// On the body, mm.
    pub body: Option<f64>,
    /// Whether a measure of the body that it rests on was estimated.
    pub estimated: bool,
    /// On the finished garment, mm.
    pub finished: f64,
    /// What to add, such as a zip's stock length.
    pub remark: String,
}

/// Stock lengths of zips, inches (common practice, no source).
const ZIPS: [f64; 13] = [4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.0];

/// Longer zips come in steps of this, inches (common practice, no source).
const LONG_ZIP_STEP: f64 = 2.0;

pub(super) fn rows(
    drafter: &mut Drafter<'_>,
    measures: &Measures,
    pieces: &[Piece],
    findings: &mut Vec<Finding>,
) -> Result<Vec<WornRow>> {
    let style = drafter.style;
    let unit = measures.unit;
    let mut rows = Vec::new();
    for worn in &style.worn {
        if !drafter.holds(worn.when.as_ref())? {
            continue;
        }
        let finished = finished(drafter, worn, pieces)?;
        let body = worn.body.as_ref().map(|body| body.length(drafter)).transpose()?;
        let estimated =
            worn.body.as_ref().is_some_and(|body| measures.values.iter().any(|(n, m)| m.estimated && body.mentions(n)));
        if let (Some(body), Some(least)) = (body, &worn.least) {
            let wanted = least.length(drafter)?;
            let ease = finished - body;
            if ease < wanted - 1e-6 {
                findings.push(
                    Finding::warning(format!(
                        "the {} has {} of ease; this style wants {} at the least",
                        worn.name.text,
                        format_length(ease, unit),
                        format_length(wanted, unit)
                    ))
                    .at(worn.name.snippet())
                    .hint("measure again, or set a choice of ease with --set"),
                );
            }
        }
        rows.push(WornRow { name: worn.name.text.clone(), body, estimated, finished, remark: String::new() });
    }
    for zip in &style.zips {
        let wanted = zip.formula.length(drafter)?;
        let stock = stock_length(wanted);
        let remark = format!("buy a zip of {}", format_length(stock, crate::units::Unit::Inch));
        rows.push(WornRow { name: zip.name.clone(), body: None, estimated: false, finished: wanted, remark });
    }
    Ok(rows)
}

/// The least stock length of a zip that is not under a length, mm.
pub(super) fn stock_length(wanted: f64) -> f64 {
    let inches = wanted / crate::units::INCH - 1e-6;
    let known = ZIPS.iter().find(|zip| **zip >= inches).copied();
    known.unwrap_or_else(|| (inches / LONG_ZIP_STEP).ceil() * LONG_ZIP_STEP) * crate::units::INCH
}

/// Adds up a worn measure's parts, each as often as it is cut and unfolded, or once.
fn finished(drafter: &mut Drafter<'_>, worn: &Worn, pieces: &[Piece]) -> Result<f64> {
    let style = drafter.style;
    let mut sum = 0.0;
    for part in &worn.parts {
        sum += match part {
            WornPart::Is(formula) => formula.length(drafter)?,
            WornPart::Along(span) => {
                let strip = style.strip(&span.piece).is_some();
                let piece = pieces.iter().find(|piece| piece.name == span.piece);
                match piece {
                    Some(piece) => {
                        let times = if worn.each { 1.0 } else { copies(piece) };
                        let times = if piece.edge(&span.edge).is_some_and(|edge| edge.fold) { 1.0 } else { times };
                        drafter.length_of(&span.piece, &span.edge)? * times
                    }
                    None if strip => drafter.length_of(&span.piece, &span.edge)?,
                    None => 0.0,
                }
            }
            WornPart::Across(name, at) => {
                let Some(piece) = pieces.iter().find(|piece| piece.name == name.text) else { continue };
                let Some(index) = style.pieces.iter().position(|steps| steps.name.text == name.text) else { continue };
                let outer = std::mem::replace(&mut drafter.piece, index);
                let level = drafter.point(at);
                drafter.piece = outer;
                let fold = if piece.fold().is_some() { 2.0 } else { 1.0 };
                width(piece, level?.y) * if worn.each { fold } else { copies(piece) }
            }
        };
    }
    Ok(sum)
}

/// How often a piece's outline goes into the garment: every copy, twice where it is cut on the fold.
fn copies(piece: &Piece) -> f64 {
    let Cut { count, .. } = piece.cut;
    f64::from(count) * if piece.fold().is_some() { 2.0 } else { 1.0 }
}

/// A piece's width at a height, less what its darts take in there, mm.
fn width(piece: &Piece, y: f64) -> f64 {
    // A hair below the point or above it, so that a corner at that very height is inside.
    width_just_at(piece, y - 0.01).max(width_just_at(piece, y + 0.01))
}

fn width_just_at(piece: &Piece, y: f64) -> f64 {
    let taken: f64 = piece
        .darts
        .iter()
        .filter_map(|dart| {
            let edge = &piece.edge(&dart.edge)?.path;
            let mouth = parts::between(edge, dart.mouth[0], dart.mouth[1]);
            let mut wedge = closed(&mouth, dart.apex);
            wedge.close_path();
            Some(parts::width_at(&wedge, y))
        })
        .sum();
    parts::width_at(&piece.outline(), y) - taken
}

fn closed(mouth: &BezPath, apex: Point) -> BezPath {
    let mut wedge = mouth.clone();
    if path::start(mouth).is_some() {
        wedge.line_to(apex);
    }
    wedge
}

/// The style's own warnings.
pub(super) fn warnings(drafter: &mut Drafter<'_>, findings: &mut Vec<Finding>) -> Result<()> {
    for warn in &drafter.style.warns {
        if warn.when.holds(drafter)? {
            findings.push(Finding::warning(warn.text.text.clone()).at(warn.when.source().snippet()));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::stock_length;

    /// Common practice, no source: the next stock length up.
    #[test]
    fn zips_come_in_stock_lengths() {
        for (wanted, stock) in [(6.5, 7.0), (7.0, 7.0), (20.1, 22.0), (22.5, 24.0), (24.0, 24.0)] {
            assert!((stock_length(wanted * 25.4) / 25.4 - stock).abs() < 1e-6, "{wanted}");
        }
    }
}
