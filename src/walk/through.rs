//! Trueness: do the outlines run smoothly through a seam at its ends.

use super::BEND;
use crate::diag::Finding;
use crate::geom::path;
use crate::piece::{Join, Piece, PieceSet, Span};
use kurbo::Vec2;

/// Sum of the two corners' angles where the seam starts, degrees.
pub(super) fn at_start(set: &PieceSet, join: &Join) -> Option<f64> {
    Some(corner(set, join.sides[0].first()?, true)? + corner(set, join.sides[1].first()?, true)?)
}

/// Sum of the two corners' angles where the seam ends, degrees.
pub(super) fn at_end(set: &PieceSet, join: &Join) -> Option<f64> {
    Some(corner(set, join.sides[0].last()?, false)? + corner(set, join.sides[1].last()?, false)?)
}

/// The inside angle of a piece's sew line at a span's walking start or end.
fn corner(set: &PieceSet, span: &Span, walking_start: bool) -> Option<f64> {
    let piece = set.piece(&span.piece)?;
    let index = piece.edges.iter().position(|edge| edge.name == span.edge)?;
    let count = piece.edges.len();
    if walking_start == span.backwards {
        inside_angle(piece, index, (index + 1) % count)
    } else {
        inside_angle(piece, (index + count - 1) % count, index)
    }
}

/// Inside angle between an edge and the next one of a counter-clockwise outline, degrees in (0, 360).
fn inside_angle(piece: &Piece, edge: usize, next: usize) -> Option<f64> {
    let back: Vec2 = -path::end_tangent(&piece.edges[edge].path)?;
    let on = path::start_tangent(&piece.edges[next].path)?;
    Some((back.atan2() - on.atan2()).to_degrees().rem_euclid(360.0))
}

/// Says that a seam's end bends.
pub(super) fn bend(join: &Join, end: usize, angle: f64) -> Finding {
    let spans = if end == 0 {
        [join.sides[0].first(), join.sides[1].first()]
    } else {
        [join.sides[0].last(), join.sides[1].last()]
    };
    let names = spans.into_iter().flatten().map(ToString::to_string).collect::<Vec<_>>().join(" and ");
    let place = if end == 0 { "start" } else { "end" };
    let first = &join.sides[0][0];
    let shape = if angle < 180.0 { "a hollow" } else { "a peak" };
    Finding::breach(format!(
        "at the {place} of seam \"{}\" the outlines of {names} meet with {shape}: {:.1}° off a smooth run",
        join.name,
        (angle - 180.0).abs()
    ))
    .piece(&first.piece)
    .edge(&first.edge)
    .hint("let the neighbouring edges leave square to the seam, or add pointed=\"start\" or \"end\" to it; a side walked the wrong way round wants \" backwards\" behind its name")
}

/// Edges must meet a fold square, so that the unfolded outline runs on smoothly.
pub(super) fn folds(set: &PieceSet, findings: &mut Vec<Finding>) {
    for piece in &set.pieces {
        let count = piece.edges.len();
        for index in (0..count).filter(|index| piece.edges[*index].fold) {
            let before = (index + count - 1) % count;
            for (edge, next, named) in [(before, index, before), (index, (index + 1) % count, (index + 1) % count)] {
                let Some(angle) = inside_angle(piece, edge, next) else { continue };
                if (angle - 90.0).abs() > BEND {
                    findings.push(
                        Finding::breach(format!("this edge meets the fold at {angle:.1}°, not square"))
                            .piece(&piece.name)
                            .edge(&piece.edges[named].name)
                            .hint(format!("draw it square to \"{}\"", piece.edges[index].name)),
                    );
                }
            }
        }
    }
}
