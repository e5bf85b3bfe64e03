//! Notches carried from one side of a seam to the other by walked distance.

use super::span_length;
use crate::piece::{Notch, NotchKind, PieceSet, Span};

/// A notch this near to a carried one is the same notch, mm.
const SAME: f64 = 1.0;

/// Carries every notch across every seam that its edge is part of. Ease and gathers are spread evenly, so a notch keeps
/// its share of the seam's length. Where one side is a chain (an armhole of front and back), the places where its edges meet
/// are marked on the other side. Notches that already stand at a place are kept as they are.
pub fn carry(set: &mut PieceSet) {
    let original = set.clone();
    for join in &original.joins {
        for (from, to) in [(0, 1), (1, 0)] {
            let (from, to) = (&join.sides[from], &join.sides[to]);
            let lengths = [from, to].map(|side| side.iter().map(|span| span_length(&original, span)).sum::<f64>());
            if lengths[0] <= 0.0 {
                continue;
            }
            for (walked, notch) in notches_along(&original, from) {
                place(set, to, walked * lengths[1] / lengths[0], &notch);
            }
        }
    }
}

/// The notches of a side, and the places where its edges meet, with their walked distance from the seam's start.
fn notches_along(set: &PieceSet, side: &[Span]) -> Vec<(f64, Notch)> {
    let mut found = Vec::new();
    let mut before = 0.0;
    for span in side {
        let long = span_length(set, span);
        let notches = set.piece(&span.piece).map_or(&[][..], |piece| &piece.notches);
        for notch in notches.iter().filter(|notch| notch.edge == span.edge) {
            let sewn = set.piece(&span.piece).map_or(notch.at, |piece| piece.sewn_at(&span.edge, notch.at));
            let along = if span.backwards { long - sewn } else { sewn };
            found.push((before + along, notch.clone()));
        }
        before += long;
        found.push((before, Notch { edge: String::new(), at: 0.0, kind: NotchKind::Slit, count: 1 }));
    }
    // The seam's own end needs no mark.
    found.pop();
    found
}

fn place(set: &mut PieceSet, side: &[Span], walked: f64, notch: &Notch) {
    let mut left = walked;
    for (index, span) in side.iter().enumerate() {
        let long = span_length(set, span);
        if left > long && index + 1 < side.len() {
            left -= long;
            continue;
        }
        let at = if span.backwards { long - left } else { left }.clamp(0.0, long);
        let Some(piece) = set.pieces.iter_mut().find(|piece| piece.name == span.piece) else { return };
        // An inner line carries no notches, and at an edge's ends its corners are the marks.
        let is_edge = piece.edge(&span.edge).is_some() && at > SAME && at < long - SAME;
        let at = piece.drawn_at(&span.edge, at);
        let is_there = piece.notches.iter().any(|n| n.edge == span.edge && (n.at - at).abs() < SAME);
        if is_edge && !is_there {
            piece.notches.push(Notch { edge: span.edge.clone(), at, ..notch.clone() });
        }
        return;
    }
}
