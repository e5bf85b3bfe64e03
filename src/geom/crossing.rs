//! Where the segments of an outline cross one another, and where a run of them reaches a line.
//!
//! Pairs are bisected until their control boxes part, or both are straight to `FLAT` and cross as lines. Neighbours
//! share a point, which is no crossing; they are let go as soon as a line through that point has one on either side.

use super::offset::as_cubic;
use kurbo::{CubicBez, Line, ParamCurve, PathSeg, Point, Rect, Vec2};

/// Curves that stray less than this from their chords are taken as lines, mm.
const FLAT: f64 = 1e-4;

/// A crossing nearer than this to a point that both share is rounding, mm.
const SHARED: f64 = 1e-3;

/// Bisections at the most: 2⁻³⁰ of 100 m is far below [`FLAT`].
const MAX_DEPTH: u32 = 60;

/// Two segments that cross, by index, and where. Both indices are the same where a curve crosses itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// The earlier segment.
    pub first: usize,
    /// The later segment.
    pub second: usize,
    /// The place, mm.
    pub place: Point,
}

/// The first crossing within a chain of segments, in their order; touching is not crossing.
pub fn first_crossing(segments: &[PathSeg]) -> Option<Crossing> {
    let curves: Vec<CubicBez> = segments.iter().map(as_cubic).collect();
    let boxes: Vec<Rect> = curves.iter().map(hull_box).collect();
    for (first, curve) in curves.iter().enumerate() {
        if let Some(place) = own_crossing(curve, 0) {
            return Some(Crossing { first, second: first, place });
        }
        for second in first + 1..curves.len() {
            if apart(boxes[first], boxes[second]) {
                continue;
            }
            if let Some(place) = crossing(curve, &curves[second], 0) {
                return Some(Crossing { first, second, place });
            }
        }
    }
    None
}

fn hull_box(c: &CubicBez) -> Rect {
    Rect::from_points(c.p0, c.p3).union_pt(c.p1).union_pt(c.p2)
}

fn apart(a: Rect, b: Rect) -> bool {
    a.x1 < b.x0 || b.x1 < a.x0 || a.y1 < b.y0 || b.y1 < a.y0
}

fn flatness(c: &CubicBez) -> f64 {
    // Distance of the control points from where a straight, evenly run cubic would have them: bounds the distance
    // between curve and chord (Fischer, Piecewise linear approximation of Bézier curves, 2000).
    let (a, b) = (c.p1 - c.p0.lerp(c.p3, 1.0 / 3.0), c.p2 - c.p0.lerp(c.p3, 2.0 / 3.0));
    a.hypot().max(b.hypot())
}

/// Cuts a curve off the middle, so that a symmetrical outline does not have its crossings just where it is cut.
fn split(c: &CubicBez) -> (CubicBez, CubicBez) {
    const OFF_MIDDLE: f64 = 0.4871;
    (c.subsegment(0.0..OFF_MIDDLE), c.subsegment(OFF_MIDDLE..1.0))
}

fn own_crossing(c: &CubicBez, depth: u32) -> Option<Point> {
    let legs = [c.p1 - c.p0, c.p2 - c.p1, c.p3 - c.p2];
    // A curve whose control legs all go forward along one direction can't meet itself.
    let unit = |v: Vec2| if v.hypot() > 0.0 { v.normalize() } else { Vec2::ZERO };
    let ahead = [c.p3 - c.p0, unit(legs[0]) + unit(legs[2]), unit(legs[0]) + unit(legs[1]) + unit(legs[2])];
    if ahead.iter().any(|u| legs.iter().all(|leg| leg.dot(*u) >= 0.0)) || depth > 12 {
        return None;
    }
    let (left, right) = split(c);
    own_crossing(&left, depth + 1).or_else(|| own_crossing(&right, depth + 1)).or_else(|| crossing(&left, &right, 0))
}

fn crossing(a: &CubicBez, b: &CubicBez, depth: u32) -> Option<Point> {
    if apart(hull_box(a), hull_box(b)) {
        return None;
    }
    let shared = [(a.p3, b.p0), (a.p0, b.p3), (a.p0, b.p0), (a.p3, b.p3)];
    let shared = shared.into_iter().filter(|(p, q)| p == q).map(|(p, _)| p);
    let mut near = None;
    for point in shared {
        if parted_at(a, b, point) {
            return None;
        }
        near = Some(point);
    }
    let (fa, fb) = (flatness(a), flatness(b));
    if (fa < FLAT && fb < FLAT) || depth >= MAX_DEPTH {
        return chords_cross(a, b).filter(|place| near.is_none_or(|p| p.distance(*place) > SHARED));
    }
    if fa >= fb {
        let (left, right) = split(a);
        crossing(&left, b, depth + 1).or_else(|| crossing(&right, b, depth + 1))
    } else {
        let (left, right) = split(b);
        crossing(a, &left, depth + 1).or_else(|| crossing(a, &right, depth + 1))
    }
}

/// Whether a line through a shared point has all of `a` on one side and all of `b` on the other.
fn parted_at(a: &CubicBez, b: &CubicBez, point: Point) -> bool {
    let legs = |c: &CubicBez| [c.p0 - point, c.p1 - point, c.p2 - point, c.p3 - point];
    let (a, b) = (legs(a), legs(b));
    let middle = |legs: &[Vec2; 4]| legs.iter().filter(|v| v.hypot() > 0.0).map(|v| v.normalize()).sum::<Vec2>();
    let (ma, mb) = (middle(&a), middle(&b));
    let (ma, mb) = (ma / ma.hypot().max(1e-12), mb / mb.hypot().max(1e-12));
    let across = mb - ma;
    a.iter().all(|v| v.dot(across) <= 0.0) && b.iter().all(|v| v.dot(across) >= 0.0) && across.hypot() > 1e-9
}

fn chords_cross(a: &CubicBez, b: &CubicBez) -> Option<Point> {
    let (u, v, gap) = (a.p3 - a.p0, b.p3 - b.p0, b.p0 - a.p0);
    let cross = u.cross(v);
    if cross.abs() <= 1e-9 * u.hypot() * v.hypot() {
        return None;
    }
    let (s, t) = (gap.cross(v) / cross, gap.cross(u) / cross);
    let inside = |x: f64| (0.0..=1.0).contains(&x);
    // Past the other line by more than rounding on both sides, or it only touches.
    let through = |p0: f64, p1: f64| p0.min(p1) < 0.0 && p0.max(p1) > 0.0;
    let (side_a, side_b) = ((gap.cross(v), (gap - u).cross(v)), (gap.cross(u), (gap + v).cross(u)));
    (inside(s) && inside(t) && through(side_a.0, side_a.1) && through(side_b.0, side_b.1)).then(|| a.p0 + s * u)
}

/// The first parameter at which a function of the place, negative at the segment's start, is no longer so.
pub fn first_rise(segment: &PathSeg, level: impl Fn(Point) -> f64) -> Option<f64> {
    const GRID: u32 = 16;
    let at = |t: f64| level(segment.eval(t));
    if at(0.0) >= 0.0 {
        return Some(0.0);
    }
    let i = (1..=GRID).find(|i| at(f64::from(*i) / f64::from(GRID)) >= 0.0)?;
    let (mut low, mut high) = (f64::from(i - 1) / f64::from(GRID), f64::from(i) / f64::from(GRID));
    for _ in 0..52 {
        let t = 0.5 * (low + high);
        if at(t) < 0.0 { low = t } else { high = t }
    }
    Some(high)
}

/// A run cut in two where a function of the place reaches 0. Where the run ends before, the first part goes on straight
/// to there; `None` where it does not rise then (by a tenth of its length at the least).
pub fn run_up(run: &[PathSeg], level: impl Fn(Point) -> f64) -> Option<[Vec<PathSeg>; 2]> {
    let mut kept: Vec<PathSeg> = Vec::with_capacity(run.len() + 1);
    for (index, segment) in run.iter().enumerate() {
        if let Some(t) = first_rise(segment, &level) {
            let mut rest = Vec::new();
            if t > 0.0 {
                kept.push(if t < 1.0 { segment.subsegment(0.0..t) } else { *segment });
            }
            if t < 1.0 {
                rest.push(segment.subsegment(t..1.0));
            }
            rest.extend_from_slice(&run[index + 1..]);
            return (!kept.is_empty()).then_some([kept, rest]);
        }
        kept.push(*segment);
    }
    let last = kept.last()?;
    let (end, along) = (last.end(), super::path::tangent(last, 1.0));
    let rise = level(end + along) - level(end);
    if rise < 0.1 {
        return None;
    }
    let on = Line::new(end, end - level(end) / rise * along);
    match kept.last_mut() {
        Some(PathSeg::Line(line)) => line.p1 = on.p1,
        _ => kept.push(PathSeg::Line(on)),
    }
    Some([kept, Vec::new()])
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::BezPath;

    fn crossing_of(path: &str) -> Option<Crossing> {
        first_crossing(&BezPath::from_svg(path).expect("path").segments().collect::<Vec<_>>())
    }

    #[test]
    fn finds_the_crossing_and_names_both() {
        // A bow tie: its diagonals meet in the middle (geometry).
        let found = crossing_of("M0 0 L10 10 L10 0 L0 10 Z").expect("crosses");
        assert_eq!((found.first, found.second), (0, 2));
        assert!(found.place.distance(Point::new(5.0, 5.0)) < 1e-9);
        // A cubic with a loop: symmetric about x = 15.
        let found = crossing_of("M0 0 C60 40 -30 40 30 0").expect("crosses itself");
        assert_eq!((found.first, found.second), (0, 0));
        assert!((found.place.x - 15.0).abs() < 1e-3, "{found:?}");
    }

    #[test]
    fn lets_neighbours_and_touching_pass() {
        assert_eq!(crossing_of("M0 0 L10 0 L10 10 L0 10 Z"), None);
        assert_eq!(crossing_of("M0 0 C40 -20 80 -20 120 0 L120 140 L0 140 Z"), None);
        // A lens of two arcs that share both ends.
        assert_eq!(crossing_of("M0 0 C30 -20 70 -20 100 0 C70 20 30 20 0 0 Z"), None);
        // A vertex that touches the edge opposite.
        assert_eq!(crossing_of("M0 0 L10 0 L10 10 L5 0 L0 10 Z"), None);
    }
}
