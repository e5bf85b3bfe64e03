//! One copy of a piece, turned and mirrored, and its writing kept readable.

use crate::mark::{MarkedPiece, Stroke};
use crate::role::Role;
use geo::{MinimumRotatedRect, MultiPoint};
use kurbo::{Affine, BezPath, Point, Vec2};
use std::borrow::Cow;

/// A copy that can be turned only as a whole any more.
#[derive(Clone)]
pub(super) struct Copy<'a> {
    pub(super) piece: &'a MarkedPiece,
    /// From the piece's coordinates to those with the grain along +x, mirrored or not.
    pub(super) along_grain: Affine,
    /// The piece's strokes in its own coordinates; those of a mirrored copy's writing reversed, so that they read right
    /// once the copy is mirrored.
    pub(super) strokes: Cow<'a, [Stroke]>,
}

impl<'a> Copy<'a> {
    pub(super) fn new(piece: &'a MarkedPiece, mirrored: bool) -> Self {
        let grain = piece.grain[1] - piece.grain[0];
        let long = grain.hypot();
        let direction = if long > 1e-9 && long.is_finite() { grain / long } else { Vec2::new(1.0, 0.0) };
        let turn = Affine::new([direction.x, -direction.y, direction.y, direction.x, 0.0, 0.0]);
        let mut strokes = Cow::Borrowed(&piece.strokes[..]);
        if mirrored {
            reverse_writing(strokes.to_mut(), direction);
        }
        Self { piece, along_grain: if mirrored { Affine::FLIP_Y * turn } else { turn }, strokes }
    }
}

/// Mirrors each block of writing about its own centre line, so that a mirror image of the piece shows it readable, in the
/// same place and the same way up along the grain. A block is a run of writing that belongs to the same edge.
fn reverse_writing(strokes: &mut [Stroke], grain: Vec2) {
    let is_writing = |stroke: &Stroke| stroke.role == Role::Label;
    for block in strokes.chunk_by_mut(|a, b| is_writing(a) && is_writing(b) && a.edge == b.edge) {
        if !is_writing(&block[0]) {
            continue;
        }
        let points: Vec<Point> = block.iter().flat_map(|stroke| points(&stroke.path)).collect();
        if let Some((centre, axis)) = centre_line(&points, grain) {
            let reflection = Affine::reflect(centre, axis);
            for stroke in block {
                stroke.path.apply_affine(reflection);
            }
        }
    }
}

fn points(path: &BezPath) -> Vec<Point> {
    path.elements().iter().filter_map(kurbo::PathEl::end_point).collect()
}

/// The middle of a block of writing, and the axis of its box nearest to the grain. Writing runs along the grain or
/// across it as a rule; only where a slanting box is much smaller is the block taken to slant.
fn centre_line(points: &[Point], grain: Vec2) -> Option<(Point, Vec2)> {
    const MUCH_SMALLER: f64 = 0.8;
    let (along, across) = (grain, Vec2::new(-grain.y, grain.x));
    let (middle, area) = boxed(points, along, across)?;
    let multi: MultiPoint = points.iter().map(|point| (point.x, point.y)).collect();
    let slanting = multi.minimum_rotated_rect().and_then(|rect| {
        let corners: Vec<Vec2> = rect.exterior().coords().map(|c| Vec2::new(c.x, c.y)).collect();
        let side = |from: usize| corners.get(from + 1).map(|to| *to - corners[from]).filter(|side| side.hypot() > 1e-6);
        let (a, b) = (side(0)?.normalize(), side(1)?.normalize());
        Some(if a.dot(grain).abs() >= b.dot(grain).abs() { a } else { b })
    });
    if let Some(axis) = slanting {
        let (middle, smaller) = boxed(points, axis, Vec2::new(-axis.y, axis.x))?;
        if smaller < MUCH_SMALLER * area {
            return Some((middle, axis));
        }
    }
    Some((middle, along))
}

/// Middle and area of the box about the points whose sides run along two unit vectors.
fn boxed(points: &[Point], along: Vec2, across: Vec2) -> Option<(Point, f64)> {
    let extent = |axis: Vec2| {
        points.iter().map(|point| point.to_vec2().dot(axis)).fold(None, |range: Option<(f64, f64)>, at| {
            Some(range.map_or((at, at), |(low, high)| (low.min(at), high.max(at))))
        })
    };
    let ((left, right), (low, high)) = (extent(along)?, extent(across)?);
    let middle = along * f64::midpoint(left, right) + across * f64::midpoint(low, high);
    Some((middle.to_point(), (right - left) * (high - low)))
}
