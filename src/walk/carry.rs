//! Notches carried from one side of a seam to the other by walked distance, and the marks that a seam itself asks for.

use super::pairing::Pairing;
use super::{side_length, span_length};
use crate::piece::{Finish, Join, Notch, NotchKind, Piece, PieceSet, Span};

/// A notch this near to a carried one is the same notch, mm.
const SAME: f64 = 1.0;

/// From this many times the other side's length on a side is gathered, and marked in quarters (common practice, no source).
const GATHERED: f64 = 1.2;

/// An allowance from this width on is turned up as a hem where it is folded back, mm (half an inch; common practice, no
/// source).
const HEM: f64 = 12.0;

/// No edge gets more marks than this from seams: one a centimetre along ten metres. Seams of an edge to itself could else
/// lead a mark on without end.
const MOST: usize = 1000;

/// Carries every notch across every seam that its edge is part of, by walked distance, ease and gathers spread as the seam
/// asks. Where one side is a chain (an armhole of front and back), the places where its edges meet are marked on the other
/// side. A gathered seam is marked in quarters on both sides, a gap with a T where it ends (a zip's stop), a hem's turn at
/// the edges beside it. Notches that already stand at a place are kept as they are.
///
/// It goes on until nothing is added, so that no mark is without its partner and carrying again changes nothing: an edge
/// can be sewn at two places, as a lower part cut twice whose hem is both halves of a ruffle's seam, and what is marked on
/// it for one of them is cut at the other too.
pub fn carry(set: &mut PieceSet) {
    let count = |set: &PieceSet| set.pieces.iter().map(|piece| piece.notches.len()).sum::<usize>();
    loop {
        let before = count(set);
        carry_once(set);
        if count(set) == before {
            return;
        }
    }
}

/// Carries what stands on the pieces, across one seam each.
fn carry_once(set: &mut PieceSet) {
    let original = set.clone();
    for join in &original.joins {
        let lengths = [0, 1].map(|side: usize| side_length(&original, &join.sides[side]));
        let pairing = Pairing::new(join, lengths);
        for from in [0, 1] {
            for walked in notches_along(&original, &join.sides[from]) {
                if let Some(at) = pairing.across(from, walked.along) {
                    place(set, &join.sides[1 - from], at, &walked.notch);
                }
            }
        }
        own_marks(set, join, &pairing);
    }
    for piece in &mut set.pieces {
        turn_ups(piece, &original.joins);
    }
}

/// A notch, or a place where two edges of a side meet.
pub(super) struct Walked {
    /// Distance from the seam's start, mm.
    pub along: f64,
    /// Piece and edge.
    pub span: String,
    pub notch: Notch,
    /// Whether it is a notch, not a meeting of edges.
    pub is_notch: bool,
}

/// The notches of a side, and the places where its edges meet, with their walked distance from the seam's start.
pub(super) fn notches_along(set: &PieceSet, side: &[Span]) -> Vec<Walked> {
    let mut found = Vec::new();
    let mut before = 0.0;
    for span in side {
        let long = span_length(set, span);
        let notches = set.piece(&span.piece).map_or(&[][..], |piece| &piece.notches);
        for notch in notches.iter().filter(|notch| notch.edge == span.edge) {
            let sewn = set.piece(&span.piece).map_or(notch.at, |piece| piece.sewn_at(&span.edge, notch.at));
            let along = before + if span.backwards { long - sewn } else { sewn };
            found.push(Walked { along, span: span.to_string(), notch: notch.clone(), is_notch: true });
        }
        before += long;
        let meeting = Notch { edge: String::new(), at: 0.0, kind: NotchKind::Slit, count: 1, depth: None };
        found.push(Walked { along: before, span: span.to_string(), notch: meeting, is_notch: false });
    }
    // The seam's own end needs no mark.
    found.pop();
    found
}

/// Quarters of a gathered seam, and the end of a gap.
fn own_marks(set: &mut PieceSet, join: &Join, pairing: &Pairing) {
    let Some([start, end]) = pairing.sewn() else { return };
    let mark = |kind| Notch { edge: String::new(), at: 0.0, kind, count: 1, depth: None };
    if join.gap > 0.0 {
        let stop = if join.fit.gap_at_start { start } else { end };
        place(set, &join.sides[1], stop, &mark(NotchKind::T));
    }
    if join.ratio >= GATHERED {
        for quarter in [0.25, 0.5, 0.75] {
            let along = start + quarter * (end - start);
            place(set, &join.sides[1], along, &mark(NotchKind::Slit));
            if let Some(across) = pairing.across(1, along) {
                place(set, &join.sides[0], across, &mark(NotchKind::Slit));
            }
        }
    }
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
        if is_edge {
            add(piece, Notch { edge: span.edge.clone(), at, ..notch.clone() });
        }
        return;
    }
}

fn add(piece: &mut Piece, notch: Notch) {
    let known = || piece.notches.iter().filter(|known| known.edge == notch.edge);
    if known().count() < MOST && !known().any(|known| (known.at - notch.at).abs() < SAME) {
        piece.notches.push(notch);
    }
}

/// Where a hem's allowance is folded back at a corner, the edge beside it is marked at the fold. A seam's that is pressed
/// open needs no mark.
fn turn_ups(piece: &mut Piece, joins: &[Join]) {
    let count = piece.edges.len();
    for index in 0..count {
        let (edge, next) = (&piece.edges[index], &piece.edges[(index + 1) % count]);
        if edge.corner != Finish::FoldBack || edge.fold || next.fold {
            continue;
        }
        let (hem, beside) = if edge.allowance > next.allowance { (edge, next) } else { (next, edge) };
        if hem.allowance < HEM || beside.allowance <= 0.0 || hem.allowance <= beside.allowance {
            continue;
        }
        let is_it = |span: &Span| span.piece == piece.name && span.edge == hem.name;
        let sewn = joins.iter().flat_map(|join| join.sides.iter().flatten()).any(is_it);
        if sewn {
            continue;
        }
        let at = if beside.name == edge.name { crate::geom::path::length(&beside.path) } else { 0.0 };
        let edge = beside.name.clone();
        add(piece, Notch { edge, at, kind: NotchKind::Slit, count: 1, depth: None });
    }
}
