//! What the garment measures when worn, beside the body.

use super::Drafter;
use super::sides::{self, Body, Split};
use crate::diag::{Finding, Result};
use crate::geom::{parts, path};
use crate::measures::{Measures, Side};
use crate::piece::Piece;
use crate::style::formula::Scope;
use crate::style::{PieceSteps, Worn, WornPart};
use crate::units::{Unit, format_length};
use kurbo::{BezPath, Point, Shape};

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
        let estimated =
            worn.body.as_ref().is_some_and(|body| measures.values.iter().any(|(n, m)| m.estimated && body.mentions(n)));
        for (body_side, finished) in finished(drafter, worn, pieces)? {
            let body = worn.body.as_ref();
            let body = drafter.for_body(body_side, |drafter| body.map(|body| body.length(drafter)).transpose())?;
            let name = match body_side {
                Body::Both => worn.name.text.clone(),
                Body::Only(side) => format!("{}, {}", worn.name.text, side.name()),
            };
            let ease = body.map(|body| finished - body);
            if let (Some(ease), Some(least)) = (ease, &worn.least) {
                let wanted = least.length(drafter)?;
                if ease < wanted - 1e-6 {
                    let limit = format!("this style wants {} at the least", format_length(wanted, unit));
                    findings.push(off(worn, &name, ease, &limit, unit));
                }
            }
            if let (Some(ease), Some(most)) = (ease, &worn.most) {
                let wanted = most.length(drafter)?;
                if ease > wanted + 1e-6 {
                    let limit = format!("this style wants {} at the most", format_length(wanted, unit));
                    findings.push(off(worn, &name, ease, &limit, unit));
                }
            }
            rows.push(WornRow { name, body, estimated, finished, remark: String::new() });
        }
    }
    for zip in &style.zips {
        let wanted = zip.formula.length(drafter)?;
        let stock = stock_length(wanted);
        let remark = format!("buy a zip of {}", format_length(stock, Unit::Inch));
        rows.push(WornRow { name: zip.name.clone(), body: None, estimated: false, finished: wanted, remark });
    }
    Ok(rows)
}

/// A warning that an ease is too little or too much.
fn off(worn: &Worn, name: &str, ease: f64, limit: &str, unit: Unit) -> Finding {
    Finding::warning(format!("{name}: {} of ease; {limit}", format_length(ease, unit)))
        .at(worn.name.snippet())
        .hint("measure again, or set a choice of ease with --set")
}

/// The least stock length of a zip that is not under a length, mm.
pub(super) fn stock_length(wanted: f64) -> f64 {
    let inches = wanted / crate::units::INCH - 1e-6;
    let known = ZIPS.iter().find(|zip| **zip >= inches).copied();
    known.unwrap_or_else(|| (inches / LONG_ZIP_STEP).ceil() * LONG_ZIP_STEP) * crate::units::INCH
}

/// Left and right are told apart from this on, mm: less than a tape can show.
const TOLD_APART: f64 = 0.05;

/// Adds up a worn measure's parts, each as often as it is cut and unfolded, or once. What is measured once is given for
/// either side where the sides differ.
fn finished(drafter: &mut Drafter<'_>, worn: &Worn, pieces: &[Piece]) -> Result<Vec<(Body, f64)>> {
    if !drafter.sided {
        return Ok(vec![(Body::Both, sum(drafter, worn, pieces)?)]);
    }
    let sides = [Side::Left, Side::Right].map(Body::Only);
    let mut of = |body| drafter.for_body(body, |drafter| sum(drafter, worn, pieces));
    let (left, right) = (of(sides[0])?, of(sides[1])?);
    if worn.each && (left - right).abs() > TOLD_APART {
        return Ok(vec![(sides[0], left), (sides[1], right)]);
    }
    Ok(vec![(Body::Both, f64::midpoint(left, right))])
}

/// For one side of the body: what is counted wholly is as if both sides were this one.
fn sum(drafter: &mut Drafter<'_>, worn: &Worn, pieces: &[Piece]) -> Result<f64> {
    let style = drafter.style;
    let mut sum = 0.0;
    for part in &worn.parts {
        sum += match part {
            WornPart::Is(formula) => formula.length(drafter)?,
            WornPart::Along(span) => {
                let length = drafter.length_of(&span.piece, &span.edge);
                match style.piece(&span.piece) {
                    None => length?,
                    Some(steps) if !drafter.holds(steps.when.as_ref())? => 0.0,
                    Some(steps) => {
                        let fold = steps.edges.iter().any(|edge| edge.fold && edge.name.text == span.edge);
                        length? * if worn.each || fold { 1.0 } else { copies(steps) }
                    }
                }
            }
            WornPart::Across(name, at) => {
                let Some(index) = style.pieces.iter().position(|steps| steps.name.text == name.text) else { continue };
                let steps = &style.pieces[index];
                if steps.block || !drafter.holds(steps.when.as_ref())? {
                    continue;
                }
                let made = made(drafter, steps, index, pieces)?;
                let outer = std::mem::replace(&mut drafter.piece, index);
                let level = drafter.for_body(made.body, |drafter| drafter.point(at));
                drafter.piece = outer;
                width(&made.piece, level?.y + made.shift)
                    * if made.piece.fold().is_some() { 2.0 } else { 1.0 }
                    * if worn.each { 1.0 } else { f64::from(steps.count) }
            }
        };
    }
    Ok(sum)
}

/// A piece as it was made for the side at hand.
struct Made {
    piece: Piece,
    /// The side that it was drafted for.
    body: Body,
    /// How much higher it lies than in its draft, mm.
    shift: f64,
}

fn made(drafter: &mut Drafter<'_>, steps: &PieceSteps, index: usize, pieces: &[Piece]) -> Result<Made> {
    let named = |name: &str| pieces.iter().find(|piece| piece.name == name).cloned();
    let split = drafter.splits.get(&index).copied();
    let body = match split {
        Some(Split::Unfolded(drawn)) => Body::Only(drawn),
        Some(_) => drafter.body,
        None if drafter.sided => steps.drawn.map_or(Body::Both, Body::Only),
        None => Body::Both,
    };
    let drafted = drafter.for_body(body, |drafter| drafter.finished(index))?;
    let made = match (split, body) {
        (Some(Split::Pair(_)), Body::Only(side)) => named(&sides::pair_name(side, &steps.name.text)),
        (Some(Split::Whole(_)), Body::Only(side)) => named(&steps.name.text).map(|piece| sides::half_of(&piece, side)),
        _ => named(&steps.name.text),
    };
    let piece = made.unwrap_or_else(|| Piece::clone(&*drafted));
    let low = |piece: &Piece| piece.fold().map(|fold| fold.path.bounding_box().y0);
    let shift = low(&piece).zip(low(&drafted)).map_or(0.0, |(made, drafted)| made - drafted);
    Ok(Made { piece, body, shift: if split.is_some() { shift } else { 0.0 } })
}

/// How often a piece's edge goes into the garment: every copy, twice where it is cut on the fold.
fn copies(steps: &PieceSteps) -> f64 {
    f64::from(steps.count) * if steps.edges.iter().any(|edge| edge.fold) { 2.0 } else { 1.0 }
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

/// The style's own warnings; where the sides differ, each for its side.
pub(super) fn warnings(drafter: &mut Drafter<'_>, findings: &mut Vec<Finding>) -> Result<()> {
    let bodies = if drafter.sided { [Side::Left, Side::Right].map(Body::Only).to_vec() } else { vec![Body::Both] };
    for warn in &drafter.style.warns {
        let mut said = Vec::new();
        for body in &bodies {
            if drafter.for_body(*body, |drafter| warn.when.holds(drafter))? {
                said.push(*body);
            }
        }
        let text = match said[..] {
            [] => continue,
            [Body::Only(side)] => format!("{} ({})", warn.text.text, side.name()),
            _ => warn.text.text.clone(),
        };
        findings.push(Finding::warning(text).at(warn.when.source().snippet()));
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
