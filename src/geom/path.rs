//! Questions asked of one open or closed subpath.

use kurbo::{BezPath, ParamCurve, ParamCurveArclen, ParamCurveDeriv, PathEl, PathSeg, Point, Shape, Vec2};

/// Accuracy of arc lengths, mm: a hundredth of the tightest tolerance in the program.
pub const ARC_ACCURACY: f64 = 1e-6;

/// Arc length of a path, mm.
pub fn length(path: &BezPath) -> f64 {
    path.segments().map(|segment| segment.arclen(ARC_ACCURACY)).sum()
}

/// The point at a distance along a path, and the unit tangent there. Distances before the start and behind the end give
/// the ends. `None` for a path without segments.
pub fn point_at(path: &BezPath, distance: f64) -> Option<(Point, Vec2)> {
    let mut left = distance.max(0.0);
    let mut last = None;
    for segment in path.segments() {
        let long = segment.arclen(ARC_ACCURACY);
        if left <= long {
            let t = if long > 0.0 { segment.inv_arclen(left, ARC_ACCURACY) } else { 0.0 };
            return Some((segment.eval(t), tangent(&segment, t)));
        }
        left -= long;
        last = Some(segment);
    }
    last.map(|segment| (segment.end(), tangent(&segment, 1.0)))
}

/// Unit tangent of a segment at a parameter; where the derivative vanishes, the direction in which the curve leaves or
/// arrives. Zero only for a segment that is a single point.
pub fn tangent(segment: &PathSeg, t: f64) -> Vec2 {
    let derivative = match segment {
        PathSeg::Line(line) => line.p1 - line.p0,
        PathSeg::Quad(quad) => quad.deriv().eval(t).to_vec2(),
        PathSeg::Cubic(cubic) => cubic.deriv().eval(t).to_vec2(),
    };
    let scale = segment.bounding_box().size().max_side();
    if derivative.hypot() > 1e-9 * scale.max(1e-9) {
        return derivative.normalize();
    }
    // A vanishing derivative: look along the curve, away from the nearer end.
    let (near, far) = if t < 0.5 { (t, t + 1e-4) } else { (t - 1e-4, t) };
    let chord = segment.eval(far) - segment.eval(near);
    if chord.hypot() > 0.0 { chord.normalize() } else { Vec2::ZERO }
}

/// Angle that a path turns in all, to both sides added up, radians: that of its control legs.
pub fn turning(path: &BezPath) -> f64 {
    let legs = path.segments().flat_map(|segment| match segment {
        PathSeg::Line(line) => vec![line.p1 - line.p0],
        curve => {
            let c = curve.to_cubic();
            vec![c.p1 - c.p0, c.p2 - c.p1, c.p3 - c.p2]
        }
    });
    let legs: Vec<Vec2> = legs.filter(|leg| leg.hypot() > 0.0).collect();
    legs.windows(2).map(|pair| pair[0].cross(pair[1]).atan2(pair[0].dot(pair[1])).abs()).sum()
}

/// Segments as one subpath, each going on from where the one before ended: ends that lie a rounding apart make no second
/// subpath of it, as [`BezPath::from_path_segments`] would.
pub fn joined(segments: impl IntoIterator<Item = PathSeg>) -> BezPath {
    let mut path = BezPath::new();
    for segment in segments {
        if path.is_empty() {
            path.move_to(segment.start());
        }
        path.push(segment.as_path_el());
    }
    path
}

/// First point of a path.
pub fn start(path: &BezPath) -> Option<Point> {
    path.segments().next().map(|segment| segment.start())
}

/// Last point of a path.
pub fn end(path: &BezPath) -> Option<Point> {
    path.segments().last().map(|segment| segment.end())
}

/// Unit tangent at the start.
pub fn start_tangent(path: &BezPath) -> Option<Vec2> {
    path.segments().next().map(|segment| tangent(&segment, 0.0))
}

/// Unit tangent at the end.
pub fn end_tangent(path: &BezPath) -> Option<Vec2> {
    path.segments().last().map(|segment| tangent(&segment, 1.0))
}

/// The same path walked the other way.
pub fn reversed(path: &BezPath) -> BezPath {
    path.reverse_subpaths()
}

/// A closed path as one open run that returns to its start.
pub fn opened(line: &BezPath) -> BezPath {
    let first = start(line).unwrap_or_default();
    let mut open = BezPath::new();
    for element in line.elements() {
        match element {
            PathEl::ClosePath => {
                if end(&open).is_some_and(|end| end.distance(first) > 1e-9) {
                    open.line_to(first);
                }
            }
            other => open.push(*other),
        }
    }
    open
}

/// Whether the path ends with a closing stroke.
pub fn is_closed(path: &BezPath) -> bool {
    matches!(path.elements().last(), Some(PathEl::ClosePath))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quarter_circle_measures() {
        // A cubic quarter circle of radius 100 strays by 2.7e-4 of the radius (geometry); its length is 157.08 to 0.05.
        let k = 0.552_284_75 * 100.0;
        let mut path = BezPath::new();
        path.move_to((100.0, 0.0));
        path.curve_to((100.0, k), (k, 100.0), (0.0, 100.0));
        assert!((length(&path) - 157.08).abs() < 0.05);
        let (middle, along) = point_at(&path, length(&path) / 2.0).expect("has segments");
        assert!((middle.x - middle.y).abs() < 1e-4, "{middle:?}");
        assert!((along.x + along.y).abs() < 1e-6, "{along:?}");
    }
}
