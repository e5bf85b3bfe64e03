//! Do the two sides of a seam have the same allowance.

use super::pairing::Pairing;
use super::span_length;
use crate::diag::Finding;
use crate::piece::{Join, PieceSet, Span};
use crate::units::{Unit, format_length};

/// Allowances closer than this are the same, mm.
const SAME: f64 = 0.05;

/// Edges that meet over less than this, mm, are not compared.
pub(super) const TOUCH: f64 = 2.0;

/// Compares the allowances of edges that are sewn to each other, and warns where they differ, or where neither has one and a
/// piece of the two has some elsewhere: there it was forgotten. A block without any is net. Inner lines have none.
pub(super) fn agree(set: &PieceSet, join: &Join, pairing: &Pairing, findings: &mut Vec<Finding>) -> bool {
    let sides = [0, 1].map(|side: usize| stretches(set, &join.sides[side]));
    let mut agree = true;
    for (first, from, to, width) in &sides[0] {
        // What lies beyond the sewn stretch lands at its end.
        let (Some(a), Some(b)) = (pairing.across(0, *from), pairing.across(0, *to)) else { continue };
        for (second, start, end, other) in &sides[1] {
            if b.min(*end) - a.max(*start) <= TOUCH {
                continue;
            }
            if width.max(*other) <= SAME && [first, second].iter().any(|span| has_some(set, span)) {
                let names = if (&first.piece, &first.edge) == (&second.piece, &second.edge) {
                    format!("{}/{} is sewn to itself", first.piece, first.edge)
                } else {
                    format!("{first} and {second} are sewn")
                };
                findings.push(
                    Finding::warning(format!(
                        "in seam \"{}\" {names}, and there is no allowance on either side",
                        join.name
                    ))
                    .piece(&first.piece)
                    .edge(&first.edge)
                    .hint("other edges of the piece have one: add allow=\"…\" to both edges"),
                );
            }
            if (width - other).abs() > SAME {
                agree = false;
                findings.push(
                    Finding::warning(format!(
                        "in seam \"{}\" {first} has {} and {second} {}",
                        join.name,
                        words(*width, "an allowance of", set.unit),
                        words(*other, "one of", set.unit)
                    ))
                    .piece(&first.piece)
                    .edge(&first.edge)
                    .hint("give both the same, so that the cut edges lie on each other when they are sewn"),
                );
            }
        }
    }
    agree
}

/// Whether a span's piece has an allowance anywhere.
fn has_some(set: &PieceSet, span: &Span) -> bool {
    set.piece(&span.piece).is_some_and(|piece| piece.edges.iter().any(|edge| edge.allowance > SAME))
}

fn words(width: f64, of: &str, unit: Unit) -> String {
    if width > SAME { format!("{of} {}", format_length(width, unit)) } else { "no allowance".into() }
}

/// Each edge of a side with its walked start and end and its allowance, mm.
pub(super) fn stretches<'a>(set: &PieceSet, side: &'a [Span]) -> Vec<(&'a Span, f64, f64, f64)> {
    let mut before = 0.0;
    let mut found = Vec::new();
    for span in side {
        let from = before;
        before += span_length(set, span);
        let edge = set.piece(&span.piece).and_then(|piece| piece.edge(&span.edge));
        if let Some(edge) = edge.filter(|edge| !edge.fold) {
            found.push((span, from, before, edge.allowance));
        }
    }
    found
}
