//! What is done to a drafted piece with the shears: slashed and spread, a dart turned to another place.
//!
//! Both cut the piece in two along a line from one edge to another, or to a dart's point, and move one part stiffly. What
//! lies on the fold stays where it is. The grain stays with the fold, or else with the edge that it was told to run along;
//! without either it goes with what its middle lies on.

use super::Drafter;
use super::edges::SAME;
use crate::diag::Result;
use crate::geom::spline::{self, Knot};
use crate::geom::{parts, path};
use crate::piece::{Dart, Edge, Piece};
use crate::source::Text;
use crate::style::{Change, Grain, PieceSteps};
use kurbo::{Affine, BezPath, Point, Shape, Vec2};

/// Carries out a piece's changes in order.
pub(super) fn change<'a>(drafter: &mut Drafter<'a>, steps: &'a PieceSteps, piece: &mut Piece) -> Result<()> {
    for change in &steps.changes {
        match change {
            Change::Slash { from, to, lines, spread, far, when } => {
                if !drafter.holds(when.as_ref())? {
                    continue;
                }
                let count = lines.number(drafter)?;
                if !(1.0..=100.0).contains(&count) || count.fract() != 0.0 {
                    return Err(lines.source().error("the number of slashes is a whole number from 1 to 100").into());
                }
                let spread = spread.length(drafter)?;
                let far = far.as_ref().map_or(Ok(0.0), |far| far.length(drafter))?;
                slash(piece, guide(steps, piece), [from, to], count as u32, [spread, far])?;
            }
            Change::TurnDart { from, to, at, share, when } => {
                if !drafter.holds(when.as_ref())? {
                    continue;
                }
                let share = share.as_ref().map_or(Ok(1.0), |share| share.number(drafter))?;
                if !(0.0..=1.0).contains(&share) {
                    return Err(from.error("the share of a dart that is turned is from 0 to 1").into());
                }
                let edge = edge_index(piece, to)?;
                let along = drafter.distance(at, path::length(&piece.edges[edge].path))?;
                turn_dart(piece, guide(steps, piece), [from, to], along, share)?;
            }
        }
    }
    Ok(())
}

/// The edge that the grain keeps to.
fn guide(steps: &PieceSteps, piece: &Piece) -> Option<usize> {
    let told = |edge: &Edge| matches!(&steps.grain, Grain::Along(name) if name.text == edge.name);
    piece.edges.iter().position(|edge| edge.fold).or_else(|| piece.edges.iter().position(told))
}

fn edge_index(piece: &Piece, name: &Text) -> Result<usize> {
    piece
        .edges
        .iter()
        .position(|edge| edge.name == name.text)
        .ok_or_else(|| name.error(format!("there is no edge \"{}\"", name.text)).piece(&piece.name).into())
}

/// A cut through a piece: places on two edges, in the outline's order, and the motion of what lies between them.
struct Parting {
    edges: [usize; 2],
    at: [f64; 2],
    motion: Affine,
    /// What lies between, closed, before it moves.
    region: BezPath,
}

impl Parting {
    /// `through` are the points of the cut from the second place back to the first.
    fn new(piece: &Piece, edges: [usize; 2], at: [f64; 2], motion: Affine, through: &[Point]) -> Self {
        let first = &piece.edges[edges[0]].path;
        let mut region = parts::between(first, at[0], path::length(first));
        for index in strictly_between(piece, edges) {
            parts::join(&mut region, &piece.edges[index].path);
        }
        parts::join(&mut region, &parts::between(&piece.edges[edges[1]].path, 0.0, at[1]));
        for point in through {
            region.line_to(*point);
        }
        region.close_path();
        Self { edges, at, motion, region }
    }

    /// Moves what lies between the two places, but for the two parted edges themselves.
    fn carry(&self, piece: &mut Piece, guide: Option<usize>) {
        let between: Vec<usize> = strictly_between(piece, self.edges).collect();
        for index in &between {
            piece.edges[*index].path = self.motion * piece.edges[*index].path.clone();
        }
        let within = |point: Point| self.region.winding(point) != 0;
        let moved = |point: Point| if within(point) { self.motion * point } else { point };
        for index in 0..piece.darts.len() {
            let dart = &piece.darts[index];
            let at = piece.edges.iter().position(|edge| edge.name == dart.edge);
            let carried = at.is_some_and(|at| {
                between.contains(&at)
                    || at == self.edges[0] && dart.mouth[0] >= self.at[0]
                    || at == self.edges[1] && dart.mouth[1] <= self.at[1]
            });
            if carried {
                piece.darts[index].apex = self.motion * piece.darts[index].apex;
            }
        }
        piece.drills.iter_mut().for_each(|drill| *drill = moved(*drill));
        // An edge that is itself parted guides no more.
        let carried = match guide.filter(|guide| !self.edges.contains(guide)) {
            Some(guide) => between.contains(&guide),
            None => within(piece.grain[0].midpoint(piece.grain[1])),
        };
        if carried {
            piece.grain = piece.grain.map(|point| self.motion * point);
        }
        for line in &mut piece.lines {
            let middle = path::point_at(&line.path, path::length(&line.path) / 2.0);
            if middle.is_some_and(|(point, _)| within(point)) {
                line.path = self.motion * line.path.clone();
            }
        }
    }

    /// Brings the fold, if it moved, back to its place, and the whole piece with it.
    fn settle(&self, piece: &mut Piece) {
        let fold = piece.edges.iter().position(|edge| edge.fold);
        if fold.is_some_and(|fold| strictly_between(piece, self.edges).any(|index| index == fold)) {
            move_all(piece, self.motion.inverse());
        }
    }
}

fn strictly_between(piece: &Piece, [first, second]: [usize; 2]) -> impl Iterator<Item = usize> + use<> {
    let count = piece.edges.len();
    let steps = (second + count - first) % count;
    (1..steps).map(move |step| (first + step) % count)
}

fn move_all(piece: &mut Piece, motion: Affine) {
    piece.edges.iter_mut().for_each(|edge| edge.path = motion * edge.path.clone());
    piece.lines.iter_mut().for_each(|line| line.path = motion * line.path.clone());
    piece.darts.iter_mut().for_each(|dart| dart.apex = motion * dart.apex);
    piece.drills.iter_mut().for_each(|drill| *drill = motion * *drill);
    piece.grain = piece.grain.map(|point| motion * point);
}

/// Moves the marks of an edge that lie behind a place on, as far as the edge grew there.
fn shift_marks(piece: &mut Piece, edge: usize, behind: f64, by: f64) {
    let name = piece.edges[edge].name.clone();
    let shift = |at: &mut f64| {
        if *at >= behind - SAME {
            *at += by;
        }
    };
    piece.notches.iter_mut().filter(|notch| notch.edge == name).for_each(|notch| shift(&mut notch.at));
    piece.darts.iter_mut().filter(|dart| dart.edge == name).for_each(|dart| dart.mouth.iter_mut().for_each(shift));
    piece.pleats.iter_mut().filter(|pleat| pleat.edge == name).for_each(|pleat| pleat.mouth.iter_mut().for_each(shift));
}

/// Two parts of an edge with a fair curve over the gap between them; how much longer the whole is.
fn bridged(before: &BezPath, after: &BezPath) -> (BezPath, f64) {
    let long = path::length(before) + path::length(after);
    let mut whole = before.clone();
    let gap = path::end(before).zip(path::start(after)).filter(|(a, b)| a.distance(*b) > SAME);
    if let Some((end, start)) = gap {
        let knot = |point, heading| Knot { point, heading };
        let bridge = spline::through(&[knot(end, path::end_tangent(before)), knot(start, path::start_tangent(after))]);
        if let Some(bridge) = bridge {
            parts::join(&mut whole, &bridge);
        }
    }
    parts::join(&mut whole, after);
    let grown = path::length(&whole) - long;
    (whole, grown)
}

/// Slashes at equal shares of two edges, and spreads each by the first width at the first edge and the second at the other.
fn slash(
    piece: &mut Piece,
    guide: Option<usize>,
    [from, to]: [&Text; 2],
    count: u32,
    [spread, far]: [f64; 2],
) -> Result<()> {
    let edges = [edge_index(piece, from)?, edge_index(piece, to)?];
    if edges[0] == edges[1] {
        return Err(to.error("a slash runs from one edge to another").into());
    }
    let long = edges.map(|edge| path::length(&piece.edges[edge].path));
    let mut grown_far = 0.0;
    // The last first, so that the places of the others along the first edge stay.
    for number in (1..=count).rev() {
        let share = f64::from(number) / f64::from(count + 1);
        let at = [long[0] * share, long[1] * (1.0 - share) + grown_far];
        let place = |side: usize| path::point_at(&piece.edges[edges[side]].path, at[side]).map(|(point, _)| point);
        let Some((start, hinge)) = place(0).zip(place(1)) else { continue };
        let axis = hinge - start;
        let opening = spread - far;
        if opening.abs() >= axis.hypot() {
            return Err(from.error("this spread is wider than the slash is long").hint("spread it less").into());
        }
        let shift = Vec2::new(axis.y, -axis.x).normalize() * far;
        let turn = 2.0 * (opening / (2.0 * axis.hypot())).asin();
        let motion = Affine::rotate_about(turn, hinge + shift) * Affine::translate(shift);
        let parting = Parting::new(piece, edges, at, motion, &[hinge, start]);
        parting.carry(piece, guide);
        let mut grown = [0.0; 2];
        for side in [0, 1] {
            let path = &piece.edges[edges[side]].path;
            let (before, after) =
                (parts::between(path, 0.0, at[side]), parts::between(path, at[side], path::length(path)));
            let (before, after) = if side == 0 { (before, motion * after) } else { (motion * before, after) };
            let (whole, more) = bridged(&before, &after);
            piece.edges[edges[side]].path = whole;
            grown[side] = more;
        }
        shift_marks(piece, edges[0], at[0], grown[0]);
        shift_marks(piece, edges[1], at[1], grown[1]);
        grown_far += grown[1];
        parting.settle(piece);
    }
    Ok(())
}

/// Closes a share of the first dart at an edge, and opens as much at a place on another edge.
fn turn_dart(piece: &mut Piece, guide: Option<usize>, [from, to]: [&Text; 2], along: f64, share: f64) -> Result<()> {
    let edges = [edge_index(piece, from)?, edge_index(piece, to)?];
    let Some(index) = piece.darts.iter().position(|dart| dart.edge == from.text) else {
        return Err(from.error(format!("no dart opens at \"{}\"", from.text)).hint("draft the dart first").into());
    };
    let long = path::length(&piece.edges[edges[1]].path);
    let dart = piece.darts[index].clone();
    let in_mouth = edges[0] == edges[1] && (dart.mouth[0] - SAME..=dart.mouth[1] + SAME).contains(&along);
    if in_mouth || !(SAME..=long - SAME).contains(&along) {
        return Err(to
            .error("a dart is turned to a place within an edge, and not within its own mouth")
            .hint("name a place between the edge's ends")
            .into());
    }
    let place = |edge: usize, at: f64| path::point_at(&piece.edges[edge].path, at).map(|(point, _)| point);
    let points = place(edges[0], dart.mouth[0]).zip(place(edges[0], dart.mouth[1])).zip(place(edges[1], along));
    let Some(((first, second), opened)) = points else { return Ok(()) };
    let legs = [first - dart.apex, second - dart.apex];
    let turn = legs[1].cross(legs[0]).atan2(legs[1].dot(legs[0])) * share;
    if edges[0] == edges[1] {
        piece.darts.remove(index);
        turn_along(piece, edges[0], &dart, along, turn);
        return Ok(());
    }
    let motion = Affine::rotate_about(turn, dart.apex);
    let parting = Parting::new(piece, edges, [dart.mouth[1], along], motion, &[opened, dart.apex, second]);
    piece.darts.remove(index);
    parting.carry(piece, guide);
    // The old mouth closes, or becomes smaller.
    let old = piece.edges[edges[0]].path.clone();
    let before = parts::between(&old, 0.0, dart.mouth[0]);
    let after = motion * parts::between(&old, dart.mouth[1], path::length(&old));
    let (whole, mouth) = with_mouth(&before, &after);
    let taken = dart.mouth[1] - dart.mouth[0];
    shift_marks(piece, edges[0], dart.mouth[1], mouth[1] - mouth[0] - taken);
    piece.edges[edges[0]].path = whole;
    if mouth[1] - mouth[0] > SAME {
        piece.darts.push(Dart { mouth, ..dart.clone() });
    }
    let old = piece.edges[edges[1]].path.clone();
    let before = motion * parts::between(&old, 0.0, along);
    let after = parts::between(&old, along, path::length(&old));
    let (whole, mouth) = with_mouth(&before, &after);
    shift_marks(piece, edges[1], along, mouth[1] - mouth[0]);
    piece.edges[edges[1]].path = whole;
    if mouth[1] - mouth[0] > SAME {
        piece.darts.push(Dart { edge: to.text.clone(), mouth, ..dart });
    }
    parting.settle(piece);
    Ok(())
}

/// Turns a dart to another place of its own edge: what lies between the two swings about its point, by `turn` if it lies
/// behind the dart.
fn turn_along(piece: &mut Piece, edge: usize, dart: &Dart, along: f64, turn: f64) {
    let old = piece.edges[edge].path.clone();
    let behind = along > dart.mouth[1];
    let (span, turn) = if behind { ([dart.mouth[1], along], turn) } else { ([along, dart.mouth[0]], -turn) };
    let motion = Affine::rotate_about(turn, dart.apex);
    let between = parts::between(&old, span[0], span[1]);
    let mut region = between.clone();
    region.line_to(dart.apex);
    region.close_path();
    let before = parts::between(&old, 0.0, if behind { dart.mouth[0] } else { along });
    let after = parts::between(&old, if behind { along } else { dart.mouth[1] }, path::length(&old));
    let (whole, first) = with_mouth(&before, &(motion * between));
    let (whole, second) = with_mouth(&whole, &after);
    let name = piece.edges[edge].name.clone();
    for other in piece.darts.iter_mut().filter(|other| other.edge == name) {
        if other.mouth[0] >= span[0] - SAME && other.mouth[1] <= span[1] + SAME {
            other.apex = motion * other.apex;
        }
    }
    let within = |point: Point| region.winding(point) != 0;
    piece.drills.iter_mut().filter(|drill| within(**drill)).for_each(|drill| *drill = motion * *drill);
    for line in &mut piece.lines {
        let middle = path::point_at(&line.path, path::length(&line.path) / 2.0);
        if middle.is_some_and(|(point, _)| within(point)) {
            line.path = motion * line.path.clone();
        }
    }
    // The marks behind the second place first, so that those between are not moved twice.
    let taken = dart.mouth[1] - dart.mouth[0];
    let (first_by, second_by) = (first[1] - first[0], second[1] - second[0]);
    if behind {
        shift_marks(piece, edge, along, second_by);
        shift_marks(piece, edge, dart.mouth[1], first_by - taken);
    } else {
        shift_marks(piece, edge, dart.mouth[1], second_by - taken);
        shift_marks(piece, edge, along, first_by);
    }
    piece.edges[edge].path = whole;
    for mouth in [first, second].into_iter().filter(|mouth| mouth[1] - mouth[0] > SAME) {
        piece.darts.push(Dart { mouth, ..dart.clone() });
    }
}

/// Two parts of an edge with a dart's mouth between them.
fn with_mouth(before: &BezPath, after: &BezPath) -> (BezPath, [f64; 2]) {
    let mut whole = before.clone();
    let from = path::length(before);
    let ends = path::end(before).zip(path::start(after)).filter(|(a, b)| a.distance(*b) > SAME);
    if let Some((_, start)) = ends {
        whole.line_to(start);
    }
    let to = path::length(&whole);
    parts::join(&mut whole, after);
    (whole, [from, to])
}
