//! Parts of paths, where paths cross, and arcs of circles.

use super::path::{self, ARC_ACCURACY};
use kurbo::{Affine, Arc, BezPath, CubicBez, ParamCurve, ParamCurveArclen, PathSeg, Point, Rect, Shape, Vec2};

/// Boxes smaller than this are a crossing, mm: a thousandth of what a cutter can hold.
const CROSSED: f64 = 1e-6;

/// Crossings nearer to each other than this are one, mm.
const ONE: f64 = 1e-4;

/// Parts shorter than this are left out, mm: they would have a direction of rounding's choice.
const SLIVER: f64 = 1e-4;

/// Arcs stray from their circle by less than this, mm.
const ROUND: f64 = 1e-5;

/// The part of a path between two distances from its start, mm; backwards where `to` is less than `from`.
pub fn between(path: &BezPath, from: f64, to: f64) -> BezPath {
    if to < from {
        return path::reversed(&between(path, to, from));
    }
    let mut part = BezPath::new();
    let mut before = 0.0;
    for segment in path.segments() {
        let long = segment.arclen(ARC_ACCURACY);
        let (a, b) = ((from - before).max(0.0), (to - before).min(long));
        before += long;
        if b - a <= SLIVER.min(long / 2.0) {
            continue;
        }
        // Within a sliver of a segment's end the segment's own end is meant, to the last digit.
        let start = if a > SLIVER { segment.inv_arclen(a, ARC_ACCURACY) } else { 0.0 };
        let end = if b < long - SLIVER { segment.inv_arclen(b, ARC_ACCURACY) } else { 1.0 };
        push(&mut part, &segment.subsegment(start..end));
    }
    part
}

/// Adds a segment to a path that ends where it starts, or begins the path with it.
pub fn push(path: &mut BezPath, segment: &PathSeg) {
    if path.is_empty() {
        path.move_to(segment.start());
    }
    path.push(segment.as_path_el());
}

/// Adds a path to another, with a straight line between where they do not meet.
pub fn join(path: &mut BezPath, next: &BezPath) {
    if let (Some(end), Some(start)) = (path::end(path), path::start(next))
        && end.distance(start) > 1e-9
    {
        path.line_to(start);
    }
    for segment in next.segments() {
        push(path, &segment);
    }
}

/// The distance along a path, mm, of its place nearest to a point, and how far off the point is. `None` for a path
/// without segments.
pub fn nearest(path: &BezPath, to: Point) -> Option<(f64, f64)> {
    use kurbo::ParamCurveNearest;
    let mut before = 0.0;
    let mut best: Option<(f64, f64)> = None;
    for segment in path.segments() {
        let near = segment.nearest(to, 1e-9);
        let off = near.distance_sq.sqrt();
        if best.is_none_or(|(_, least)| off < least) {
            best = Some((before + segment.subsegment(0.0..near.t).arclen(ARC_ACCURACY), off));
        }
        before += segment.arclen(ARC_ACCURACY);
    }
    best
}

/// Every point where two paths cross or touch, in the order of the first.
pub fn crossings(a: &BezPath, b: &BezPath) -> Vec<Point> {
    let mut found: Vec<Point> = Vec::new();
    for first in a.segments() {
        let mut here = Vec::new();
        for second in b.segments() {
            meet(first.to_cubic(), (0.0, 1.0), second.to_cubic(), &mut here, 0);
        }
        here.sort_by(|x: &(f64, Point), y| x.0.total_cmp(&y.0));
        for (_, point) in here {
            if found.iter().all(|known| known.distance(point) > ONE) {
                found.push(point);
            }
        }
    }
    found
}

/// Bisects two curves until their boxes part or are as small as a point.
fn meet(a: CubicBez, span: (f64, f64), b: CubicBez, found: &mut Vec<(f64, Point)>, depth: u32) {
    let (box_a, box_b) = (hull(&a), hull(&b));
    let apart = box_a.x1 < box_b.x0 - CROSSED
        || box_b.x1 < box_a.x0 - CROSSED
        || box_a.y1 < box_b.y0 - CROSSED
        || box_b.y1 < box_a.y0 - CROSSED;
    // Two curves that lie on each other would never part: such a pair gives what was found so far.
    if apart || depth > 90 || found.len() > 64 {
        return;
    }
    let (size_a, size_b) = (box_a.size().max_side(), box_b.size().max_side());
    if size_a < CROSSED && size_b < CROSSED {
        let point = a.eval(0.5);
        if found.iter().all(|(_, known)| known.distance(point) > ONE) {
            found.push((f64::midpoint(span.0, span.1), point));
        }
    } else if size_a >= size_b {
        let middle = f64::midpoint(span.0, span.1);
        meet(a.subsegment(0.0..0.5), (span.0, middle), b, found, depth + 1);
        meet(a.subsegment(0.5..1.0), (middle, span.1), b, found, depth + 1);
    } else {
        meet(a, span, b.subsegment(0.0..0.5), found, depth + 1);
        meet(a, span, b.subsegment(0.5..1.0), found, depth + 1);
    }
}

fn hull(c: &CubicBez) -> Rect {
    Rect::from_points(c.p0, c.p3).union_pt(c.p1).union_pt(c.p2)
}

/// A path with straight runs of `by` mm added at both ends, in the directions in which it leaves and arrives.
pub fn extended(path: &BezPath, by: f64) -> BezPath {
    let ends = path::start(path).zip(path::start_tangent(path)).zip(path::end(path).zip(path::end_tangent(path)));
    let Some(((start, leaving), (end, arriving))) = ends else { return path.clone() };
    let mut long = BezPath::new();
    long.move_to(start - leaving * by);
    long.line_to(start);
    join(&mut long, path);
    long.line_to(end + arriving * by);
    long
}

/// The arc about `centre` from `start` through `sweep` radians, counter-clockwise where positive.
pub fn arc(centre: Point, start: Point, sweep: f64) -> BezPath {
    let arm = start - centre;
    let mut path = BezPath::new();
    path.move_to(start);
    let arc = Arc::new(centre, Vec2::new(arm.hypot(), arm.hypot()), arm.atan2(), sweep, 0.0);
    path.extend(arc.append_iter(ROUND));
    path
}

/// The mirror image of space in the straight line through two points; `None` where they are one.
pub fn mirror(a: Point, b: Point) -> Option<Affine> {
    let along = b - a;
    (along.hypot() > 1e-6).then(|| Affine::reflect(a, along))
}

/// Width of a closed outline at a height, from its outermost place on one side to that on the other, mm.
pub fn width_at(outline: &BezPath, y: f64) -> f64 {
    let bounds = outline.bounding_box();
    let mut level = BezPath::new();
    level.move_to((bounds.x0 - 1.0, y));
    level.line_to((bounds.x1 + 1.0, y));
    let places = crossings(&level, outline).into_iter().map(|point| point.x);
    let (least, most) = places.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    (most - least).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(points: &[(f64, f64)]) -> BezPath {
        let mut path = BezPath::new();
        path.move_to(points[0]);
        points[1..].iter().for_each(|p| path.line_to(*p));
        path
    }

    /// Circumference of a circle (geometry), and its crossings with a line through it.
    #[test]
    fn arcs_are_round_and_crossed_where_they_should_be() {
        let half = arc(Point::ORIGIN, Point::new(100.0, 0.0), std::f64::consts::PI);
        assert!((path::length(&half) - 100.0 * std::f64::consts::PI).abs() < 1e-4);
        let found = crossings(&half, &line(&[(-200.0, 60.0), (200.0, 60.0)]));
        assert_eq!(found.len(), 2);
        assert!(found[0].distance(Point::new(80.0, 60.0)) < 1e-3 && found[1].distance(Point::new(-80.0, 60.0)) < 1e-3);
        assert!(crossings(&half, &line(&[(-200.0, 101.0), (200.0, 101.0)])).is_empty());
    }

    #[test]
    fn parts_have_the_length_asked_for() {
        let quarter = arc(Point::ORIGIN, Point::new(100.0, 0.0), std::f64::consts::FRAC_PI_2);
        let part = between(&quarter, 20.0, 90.0);
        assert!((path::length(&part) - 70.0).abs() < 1e-4);
        let back = between(&quarter, 90.0, 20.0);
        assert_eq!(path::start(&back), path::end(&part));
        let (at, off) = nearest(&quarter, Point::new(200.0, 200.0)).expect("has segments");
        assert!((at - 25.0 * std::f64::consts::PI).abs() < 1e-3 && (off - (200.0 * 2_f64.sqrt() - 100.0)).abs() < 1e-3);
    }

    #[test]
    fn width_is_taken_between_the_outermost_places() {
        let mut shape = line(&[(0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (60.0, 80.0), (60.0, 40.0), (0.0, 40.0)]);
        shape.close_path();
        assert!((width_at(&shape, 20.0) - 100.0).abs() < 1e-3);
        assert!((width_at(&shape, 60.0) - 40.0).abs() < 1e-3);
        assert!(width_at(&shape, 90.0) == 0.0);
    }
}
