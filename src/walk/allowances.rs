//! Do the two sides of a seam have the same allowance.

use super::pairing::Pairing;
use super::span_length;
use crate::diag::Finding;
use crate::piece::{Join, PieceSet, Span};
use crate::units::format_length;

/// Allowances closer than this are the same, mm.
const SAME: f64 = 0.05;

/// Edges that meet over less than this, mm, are not compared.
const TOUCH: f64 = 2.0;

/// Compares the allowances of edges that are sewn to each other, and warns where they differ. Inner lines have none.
pub(super) fn agree(set: &PieceSet, join: &Join, pairing: &Pairing, findings: &mut Vec<Finding>) -> bool {
    let sides = [0, 1].map(|side: usize| stretches(set, &join.sides[side]));
    let mut agree = true;
    for (first, from, to, width) in &sides[0] {
        // What lies beyond the sewn stretch lands at its end.
        let (Some(a), Some(b)) = (pairing.across(0, *from), pairing.across(0, *to)) else { continue };
        for (second, start, end, other) in &sides[1] {
            if b.min(*end) - a.max(*start) > TOUCH && (width - other).abs() > SAME {
                agree = false;
                findings.push(
                    Finding::warning(format!(
                        "in seam \"{}\" {first} has an allowance of {} and {second} one of {}",
                        join.name,
                        format_length(*width, set.unit),
                        format_length(*other, set.unit)
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

/// Each edge of a side with its walked start and end and its allowance, mm.
fn stretches<'a>(set: &PieceSet, side: &'a [Span]) -> Vec<(&'a Span, f64, f64, f64)> {
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
