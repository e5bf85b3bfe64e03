//! The unfolded cut line cut along the fold.
//!
//! The sweep would have to find where two mirrored curves meet a line that both cross square: points that it may move by
//! its own tolerance. Here the crossings are roots of one cubic, and the ends are put on the fold exactly.

use super::outline::Axis;
use kurbo::common::solve_cubic;
use kurbo::{BezPath, ParamCurve, PathSeg, Point};

/// A point this near to the fold is on it, mm.
const ON: f64 = 1e-5;

/// The part of a closed contour to the left of the fold's axis, closed along the axis.
///
/// # Errors
/// The contour does not cross the axis just twice.
pub(super) fn half(contour: &BezPath, axis: &Axis) -> Result<BezPath, &'static str> {
    let parts: Vec<(PathSeg, bool)> = contour.segments().flat_map(|segment| split(&segment, axis)).collect();
    let count = parts.len();
    // The run of kept parts starts behind a part that is not kept.
    let starts: Vec<usize> =
        (0..count).filter(|index| parts[*index].1 && !parts[(index + count - 1) % count].1).collect();
    let [start] = starts[..] else { return Err("does not cross the fold just twice") };
    let run: Vec<PathSeg> =
        (0..count).map(|k| &parts[(start + k) % count]).take_while(|(_, kept)| *kept).map(|(part, _)| *part).collect();
    let (Some(first), Some(last)) = (run.first(), run.last()) else { return Err("does not cross the fold") };
    let (first, last) = (on_axis(first.start(), axis), on_axis(last.end(), axis));
    let mut path = BezPath::new();
    path.move_to(first);
    for (index, part) in run.iter().enumerate() {
        let end = if index + 1 == run.len() { last } else { part.end() };
        match part {
            PathSeg::Line(_) => path.line_to(end),
            PathSeg::Quad(quad) => path.quad_to(quad.p1, end),
            PathSeg::Cubic(cubic) => path.curve_to(cubic.p1, cubic.p2, end),
        }
    }
    path.line_to(first);
    path.close_path();
    Ok(path)
}

/// The parts of a segment between its crossings of the axis, each with whether it lies to the left.
fn split(segment: &PathSeg, axis: &Axis) -> Vec<(PathSeg, bool)> {
    let cubic = segment.to_cubic();
    let [h0, h1, h2, h3] = [cubic.p0, cubic.p1, cubic.p2, cubic.p3].map(|p| axis.height(p));
    let (c1, c2, c3) = (3.0 * (h1 - h0), 3.0 * (h0 - 2.0 * h1 + h2), h3 - h0 + 3.0 * (h1 - h2));
    let mut cuts: Vec<f64> = solve_cubic(h0, c1, c2, c3)
        .into_iter()
        .filter(|t| *t > 0.0 && *t < 1.0)
        .filter(|t| {
            let at = segment.eval(*t);
            // A crossing at an end is the neighbour's too.
            at.distance(segment.start()) > ON && at.distance(segment.end()) > ON
        })
        .collect();
    cuts.sort_by(f64::total_cmp);
    cuts.push(1.0);
    let mut from = 0.0;
    cuts.into_iter()
        .map(|to| {
            let part = segment.subsegment(from..to);
            let left = axis.height(segment.eval(f64::midpoint(from, to))) > 0.0;
            from = to;
            (part, left)
        })
        .collect()
}

fn on_axis(point: Point, axis: &Axis) -> Point {
    axis.origin + axis.along * axis.along.dot(point - axis.origin)
}
