//! Writing that a piece has no room for, on a slip beside it with an arrow to the piece.
//!
//! The slip stands on the paper or card outside the cut line. It is no part of the piece; the lay keeps room for it.

use super::label::{Block, READABLE, Wording};
use super::lines::Lines;
use super::{Stroke, polyline};
use crate::role::Role;
use kurbo::{Affine, BezPath, Line, ParamCurve, ParamCurveNearest, Point, Rect, Shape, Vec2};
use std::f64::consts::FRAC_PI_2;

/// What a slip's strokes have in place of an edge's name; no edge's name begins with a slash.
pub const SLIP: &str = "/slip";
/// The same for the arrow that leads from it to the piece.
pub(super) const ARROW: &str = "/slip's arrow";

/// Height of its capitals, mm.
const CAPITALS: f64 = 1.25 * READABLE;
/// From its frame to the cut line, mm: room for the arrow.
const AWAY: f64 = 4.0;
/// Between the arrow's tip and the cut line, mm, so that a blade does not run along a drawn line.
const SHORT: f64 = 0.3;
/// How much less writing counts that stands upright.
const UPRIGHT: f64 = 0.8;

impl Stroke {
    /// Whether it belongs to a slip beside the piece and not to the piece itself.
    pub fn is_beside(&self) -> bool {
        self.edge == SLIP || self.edge == ARROW
    }
}

/// A place for a slip.
struct Spot<'a> {
    block: &'a Block,
    angle: f64,
    frame: Rect,
    worth: f64,
}

/// A slip with what the wording says, where it takes least room beside the cut line.
pub(super) fn slip(cut_line: &BezPath, wording: &Wording) -> Option<Vec<Stroke>> {
    let cut = Lines::of(cut_line);
    let bounds = cut_line.bounding_box();
    let mut best: Option<Spot> = None;
    for (order, block) in wording.blocks() {
        for (angle, weight) in [(0.0, 1.0), (FRAC_PI_2, UPRIGHT)] {
            let half = block.half * CAPITALS;
            let half = if angle > 0.0 { Vec2::new(half.y, half.x) } else { half };
            for frame in places(&cut, bounds, half) {
                let worth = order * weight / bounds.union(frame).area();
                if best.as_ref().is_none_or(|best| worth > best.worth) {
                    best = Some(Spot { block, angle, frame, worth });
                }
            }
        }
    }
    let Spot { block, angle, frame, .. } = best?;
    let place = Affine::translate(frame.center().to_vec2()) * Affine::rotate(angle) * Affine::scale(CAPITALS);
    let stroke = |role: Role, edge: &str, path: BezPath| Stroke { role, edge: edge.into(), path };
    let mut strokes = vec![stroke(Role::Label, SLIP, frame.to_path(0.1))];
    strokes.extend(block.written(wording, place).into_iter().map(|path| stroke(Role::Label, SLIP, path)));
    strokes.extend(arrow(cut_line, frame).map(|path| stroke(Role::Line, ARROW, path)));
    Some(strokes)
}

/// Frames on all four sides, in the middle of the side and towards its ends, as near as [`AWAY`] lets them be.
fn places(cut: &Lines, bounds: Rect, half: Vec2) -> impl Iterator<Item = Rect> {
    let sides = [Vec2::new(1.0, 0.0), Vec2::new(0.0, 1.0), Vec2::new(-1.0, 0.0), Vec2::new(0.0, -1.0)];
    sides.into_iter().flat_map(move |out| {
        [0.5, 0.25, 0.75, 0.0, 1.0].into_iter().map(move |part| {
            // Flush with the side's ends, or as far along it as the part says.
            let reach = bounds.size().to_vec2() / 2.0;
            let along = Vec2::new(out.y.abs(), out.x.abs());
            let free = (reach - half).dot(along) * (2.0 * part - 1.0);
            let centre = bounds.center() + along * free + out * ((reach + half).dot(along_of(out)) + AWAY);
            nearer(cut, Rect::from_center_size(centre, (half * 2.0).to_size()), -out)
        })
    })
}

/// The axis of a direction along x or y.
fn along_of(out: Vec2) -> Vec2 {
    Vec2::new(out.x.abs(), out.y.abs())
}

/// Moves a frame that lies outside up to the cut line. A step is as long as the room that is left, so that it never
/// goes through (sphere tracing; Hart, The Visual Computer 12, 1996).
fn nearer(cut: &Lines, frame: Rect, way: Vec2) -> Rect {
    let mut moved = Vec2::ZERO;
    for _ in 0..60 {
        let room = cut.apart(&(frame + moved).to_path(0.1)) - AWAY;
        if !(room > 0.01 && moved.hypot() < cut.bounds().size().to_vec2().hypot()) {
            break;
        }
        moved += way * room;
    }
    frame + moved
}

/// From the frame to the nearest point of the cut line, with a head there.
fn arrow(cut_line: &BezPath, frame: Rect) -> [BezPath; 2] {
    const HEAD: f64 = 1.2;
    let corners =
        [(frame.x0, frame.y0), (frame.x1, frame.y0), (frame.x1, frame.y1), (frame.x0, frame.y1)].map(Point::from);
    let sides = (0..4).map(|i| Line::new(corners[i], corners[(i + 1) % 4]));
    let from = sides.flat_map(|side| (0..8).map(move |step| side.eval(f64::from(step) / 8.0)));
    let nearest = |point: Point| {
        let to = |segment: kurbo::PathSeg| {
            let near = segment.nearest(point, 1e-3);
            (near.distance_sq, segment.eval(near.t))
        };
        cut_line.segments().map(to).min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((0.0, point))
    };
    let pairs = from.map(|point| (point, nearest(point)));
    let (tail, (_, foot)) =
        pairs.min_by(|a, b| a.1.0.total_cmp(&b.1.0)).unwrap_or((frame.center(), (0.0, frame.center())));
    let way = (foot - tail).normalize();
    let tip = foot - way * SHORT;
    let wing = |turn: f64| tip - HEAD * (Affine::rotate(turn) * way.to_point()).to_vec2();
    [polyline(&[tail, tip]), polyline(&[wing(0.5), tip, wing(-0.5)])]
}
