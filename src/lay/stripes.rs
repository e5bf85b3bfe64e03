//! Stripes and checks that run on across seams: pieces tied to each other modulo the cloth's repeat.
//!
//! Where two notches meet in a seam, both must lie at the same place of the repeat. Of pieces tied to one another the
//! first may lie anywhere; each other one then lies on a lattice.

use crate::cloth::{Cloth, Match};
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::piece::{Join, Piece, PieceSet, Span};
use crate::source::with_known;
use crate::units::format_length;
use kurbo::{Affine, Point};

/// Ties that contradict each other by more than this can't both be kept, mm.
const ASTRAY: f64 = 0.5;

/// Two notches that are sewn to each other and must meet the same line of the pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct Tie {
    /// The seam's name.
    pub seam: String,
    /// The pieces' names.
    pub pieces: [String; 2],
    /// Where the notch lies on each piece's sew line, in its own coordinates.
    pub points: [Point; 2],
    /// The same on the other half of a piece that is on the fold.
    pub reflected: [Option<Point>; 2],
    /// Whether one of the pieces is sewn to the mirror image of the other.
    pub flip: bool,
    /// Along the cloth, and across it.
    pub axes: [bool; 2],
}

/// The ties that a cloth asks for.
///
/// # Errors
/// A seam that the style does not have, or that has no such notch on both sides.
pub fn ties(set: &PieceSet, cloth: &Cloth) -> Result<Vec<Tie>> {
    cloth.matches.iter().filter_map(|wanted| tie(set, cloth, wanted).transpose()).collect()
}

fn tie(set: &PieceSet, cloth: &Cloth, wanted: &Match) -> Result<Option<Tie>> {
    let Some(join) = set.joins.iter().find(|join| join.name == wanted.seam) else {
        let names: Vec<&str> = set.joins.iter().map(|join| &*join.name).collect();
        let message = format!(
            "\"{}\" is to be matched at the seam \"{}\", which the style does not have",
            cloth.name, wanted.seam
        );
        return Err(Box::new(with_known(Finding::error(message), &wanted.seam, &names)));
    };
    // What is cut from another cloth has other stripes.
    if join
        .sides
        .iter()
        .flatten()
        .any(|span| set.piece(&span.piece).is_none_or(|piece| piece.cut.cloth != cloth.cut_as))
    {
        return Ok(None);
    }
    let sides = [0, 1].map(|side| notches(set, join, side));
    let Some((a, b)) = sides[0].get(wanted.notch - 1).zip(sides[1].get(wanted.notch - 1)) else {
        let message =
            format!("the seam \"{}\" has no notch {} on both of its sides to match at", join.name, wanted.notch);
        return Err(Box::new(Finding::error(message).hint("add to the style: notch on=\"…\" at=\"…\"")));
    };
    let reflected = [a, b].map(|notch| {
        let fold = notch.piece.fold()?;
        let (start, end) = path::start(&fold.path).zip(path::end(&fold.path))?;
        Some(Affine::reflect(start, end - start) * notch.at)
    });
    let axes = wanted.axes.unwrap_or_else(|| {
        // Lines across the cloth cross a seam that runs along it.
        let grain = a.piece.grain[1] - a.piece.grain[0];
        let along = grain.dot(a.way).abs() >= grain.cross(a.way).abs();
        [along, !along]
    });
    Ok(Some(Tie {
        seam: join.name.clone(),
        pieces: [a, b].map(|notch| notch.piece.name.clone()),
        points: [a.at, b.at],
        reflected,
        flip: a.backwards == b.backwards,
        axes,
    }))
}

struct OnSide<'a> {
    piece: &'a Piece,
    at: Point,
    /// The seam's direction there.
    way: kurbo::Vec2,
    backwards: bool,
}

/// The notches of one side of a seam, in the order in which it is walked.
fn notches<'a>(set: &'a PieceSet, join: &Join, side: usize) -> Vec<OnSide<'a>> {
    let of = |span: &Span| -> Option<Vec<OnSide<'a>>> {
        let piece = set.piece(&span.piece)?;
        let edge = piece.path(&span.edge)?;
        let mut at: Vec<f64> = piece.notches.iter().filter(|notch| notch.edge == span.edge).map(|n| n.at).collect();
        at.sort_by(f64::total_cmp);
        if span.backwards {
            at.reverse();
        }
        let found = at.into_iter().filter_map(|along| {
            let (at, way) = path::point_at(edge, along)?;
            Some(OnSide { piece, at, way, backwards: span.backwards })
        });
        Some(found.collect())
    };
    join.sides[side].iter().filter_map(of).flatten().collect()
}

/// A copy to be laid, as far as its ties go.
pub(super) struct Tied<'a> {
    pub(super) garment: usize,
    pub(super) piece: &'a Piece,
    pub(super) mirrored: bool,
    /// Half the extent along and across the cloth, mm.
    pub(super) half: [f64; 2],
    /// Where the piece's origin lies from the middle of its box, as laid, mm.
    pub(super) middle: [f64; 2],
    pub(super) turned: bool,
    /// Where the middle of its box lies across the cloth, for a piece on the fold.
    pub(super) across: Option<f64>,
}

/// Where the middle of each copy's box may lie along and across the cloth: a place and how often it comes again; 0 for
/// anywhere. `ties` are those of each garment.
///
/// # Errors
/// Ties that contradict each other; a cloth too narrow for any place that matches.
pub(super) fn lattices(copies: &[Tied], ties: &[&[Tie]], cloth: &Cloth, height: f64) -> Result<Vec<[[f64; 2]; 2]>> {
    let mut all = vec![[[0.0; 2]; 2]; copies.len()];
    for (axis, period) in cloth.repeat.into_iter().enumerate().filter(|(_, period)| *period > 0.0) {
        let mut seen = vec![false; copies.len()];
        for first in 0..copies.len() {
            if seen[first] {
                continue;
            }
            let shifts = component(copies, ties, axis, first, period, cloth)?;
            for (index, _) in &shifts {
                seen[*index] = true;
            }
            if shifts.len() < 2 {
                continue;
            }
            // Where each box's middle lies if the first piece's origin lies at 0.
            let middles: Vec<(usize, f64)> = shifts
                .iter()
                .map(|(index, shift)| {
                    let copy = &copies[*index];
                    (*index, if copy.turned { -shift } else { *shift } + copy.middle[axis])
                })
                .collect();
            let base = if axis == 0 {
                // The longest begins where the cloth does.
                let longest = middles.iter().max_by(|a, b| copies[a.0].half[0].total_cmp(&copies[b.0].half[0]));
                longest.map_or(0.0, |(index, middle)| copies[*index].half[0] - middle)
            } else {
                across(copies, &middles, period, height).ok_or_else(|| {
                    let name = &copies[first].piece.name;
                    let message =
                        format!("there is no room across \"{}\" for the pieces tied to this one to match", cloth.name);
                    Finding::error(message).piece(name).hint("match fewer seams across, or use a wider cloth")
                })?
            };
            for (index, middle) in middles {
                all[index][axis] = [middle + base, period];
            }
        }
    }
    Ok(all)
}

/// A shift across the cloth with which every piece has a place on its lattice.
fn across(copies: &[Tied], middles: &[(usize, f64)], period: f64, height: f64) -> Option<f64> {
    const TRIED: usize = 64;
    let pinned = middles.iter().find_map(|(index, middle)| Some(copies[*index].across? - middle));
    let tallest = middles.iter().max_by(|a, b| copies[a.0].half[1].total_cmp(&copies[b.0].half[1]))?;
    let low = copies[tallest.0].half[1] - tallest.1;
    let fits = |base: f64| {
        middles.iter().all(|(index, middle)| {
            let half = copies[*index].half[1];
            let at = |place: f64| (place - middle - base) / period;
            match copies[*index].across {
                Some(place) => (at(place) - at(place).round()).abs() * period < ASTRAY,
                None => (at(half) - 1e-9).ceil() <= at(height - half) + 1e-9,
            }
        })
    };
    let steps = (0..TRIED).map(|step| low + period * step as f64 / TRIED as f64);
    pinned.into_iter().chain(steps.filter(|_| pinned.is_none())).find(|base| fits(*base))
}

/// All copies tied to one, and how far each one's origin lies from that one's, as laid the right way up.
fn component(
    copies: &[Tied],
    ties: &[&[Tie]],
    axis: usize,
    first: usize,
    period: f64,
    cloth: &Cloth,
) -> Result<Vec<(usize, f64)>> {
    let mut found = vec![(first, 0.0)];
    let mut next = 0;
    while next < found.len() {
        let (from, shift) = found[next];
        next += 1;
        for to in 0..copies.len() {
            if to == from || copies[to].garment != copies[from].garment {
                continue;
            }
            let twins = (axis == 0 && copies[to].piece.name == copies[from].piece.name).then_some(0.0);
            let tied = ties[copies[from].garment]
                .iter()
                .filter(|tie| tie.axes[axis])
                .filter_map(|tie| between(tie, &copies[from], &copies[to], axis));
            for by in twins.into_iter().chain(tied) {
                let at = shift + by;
                let Some((_, known)) = found.iter().find(|(index, _)| *index == to) else {
                    found.push((to, at));
                    continue;
                };
                let off = (at - known) - ((at - known) / period).round() * period;
                if off.abs() > ASTRAY {
                    let message = format!(
                        "the pattern can't be matched here and elsewhere: the ways from \"{}\" differ by {}",
                        copies[first].piece.name,
                        format_length(off.abs(), cloth.unit)
                    );
                    let hint = "take one of the matches of its seams out of the cloth's file";
                    return Err(Box::new(Finding::error(message).piece(&copies[to].piece.name).hint(hint)));
                }
            }
        }
    }
    Ok(found)
}

/// How far the second copy's origin lies from the first's where a tie holds between them.
fn between(tie: &Tie, a: &Tied, b: &Tied, axis: usize) -> Option<f64> {
    let side = |copy: &Tied, name: usize| copy.piece.name == tie.pieces[name];
    let (first, second) = if side(a, 0) && side(b, 1) {
        (0, 1)
    } else if side(a, 1) && side(b, 0) {
        (1, 0)
    } else {
        return None;
    };
    let [p, q] = if axis == 0 {
        [tie.points[first], tie.points[second]]
    } else {
        [met(tie, first, a.mirrored, b.mirrored)?, met(tie, second, b.mirrored, a.mirrored)?]
    };
    Some(measured(a, p, axis) - measured(b, q, axis))
}

/// Where a notch lies from its piece's origin along or across the cloth, as laid the right way up.
fn measured(copy: &Tied, at: Point, axis: usize) -> f64 {
    let grain = (copy.piece.grain[1] - copy.piece.grain[0]).normalize();
    match (axis, copy.mirrored) {
        (0, _) => grain.dot(at.to_vec2()),
        (_, false) => grain.cross(at.to_vec2()),
        (_, true) => -grain.cross(at.to_vec2()),
    }
}

/// The notch of one of a tie's pieces that meets that copy of the other, whether plain or mirrored; `None` where that
/// copy is sewn to another one. A piece opened out has both notches.
pub(super) fn met(tie: &Tie, which: usize, own: bool, other: bool) -> Option<Point> {
    match (tie.reflected[which], tie.reflected[1 - which]) {
        (Some(reflected), None) => Some(if other == tie.flip { tie.points[which] } else { reflected }),
        // Of two that are opened out one of the halves stands for both.
        (_, Some(_)) => Some(tie.points[which]),
        (None, None) => (own == (other ^ tie.flip)).then_some(tie.points[which]),
    }
}
