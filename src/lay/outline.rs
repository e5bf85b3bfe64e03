//! Outlines as polygons for the search, and halves opened out.

use geo::{Area, BooleanOps, LineString, Polygon, Simplify};
use kurbo::{Affine, BezPath, Point, Shape as _};

/// Points of an opened outline nearer to one another than this are one, mm.
const CLOSE: f64 = 1e-4;

/// The corners of an outline, counter-clockwise, none further than `stray` from it.
pub(super) fn simplified(path: &BezPath, stray: f64) -> Vec<[f64; 2]> {
    let fine = polygon(path, stray / 4.0);
    let coarse = fine.simplify(0.7 * stray);
    let ring = if coarse.exterior().0.len() >= 4 { coarse } else { fine };
    let mut points: Vec<[f64; 2]> = ring.exterior().coords().map(|c| [c.x, c.y]).collect();
    points.pop();
    if path.area() < 0.0 {
        points.reverse();
    }
    points
}

/// The outline as a polygon that strays no further than `stray` from it.
pub(super) fn polygon(path: &BezPath, stray: f64) -> Polygon {
    let mut points: Vec<(f64, f64)> = Vec::new();
    kurbo::flatten(path, stray, |element| match element {
        kurbo::PathEl::MoveTo(p) | kurbo::PathEl::LineTo(p) => points.push((p.x, p.y)),
        _ => {}
    });
    Polygon::new(LineString::from(points), Vec::new())
}

/// A half outline with its mirror image about the line through two points of it, as one outline; flattened to 0.01 mm.
pub(super) fn mirrored_about(half: &BezPath, a: Point, b: Point) -> BezPath {
    let mirror = Affine::reflect(a, b - a) * half;
    // Both halves reach over the fold by a hair, so that no slit is left between them.
    let across = {
        let way = (b - a).normalize();
        let left = kurbo::Vec2::new(-way.y, way.x);
        let side = (half.bounding_box().center() - a).dot(left);
        left * if side > 0.0 { -1e-6 } else { 1e-6 }
    };
    let [half, mirror] =
        [Affine::translate(across) * half, Affine::translate(-across) * &mirror].map(|path| polygon(&path, 0.01));
    let whole = half.union(&mirror);
    let mut path = BezPath::new();
    // A piece is in one part; of slivers the largest counts.
    let largest = whole.0.iter().max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()));
    let mut points: Vec<Point> =
        largest.into_iter().flat_map(|polygon| polygon.exterior().coords()).map(|c| Point::new(c.x, c.y)).collect();
    // Where the halves reach over the fold, points lie closer than a machine's file tells them apart; the last is the first.
    points.dedup_by(|next, before| next.distance(*before) < CLOSE);
    while points.len() > 1 && points[points.len() - 1].distance(points[0]) < CLOSE {
        points.pop();
    }
    for (index, point) in points.into_iter().enumerate() {
        if index == 0 { path.move_to(point) } else { path.line_to(point) }
    }
    path.close_path();
    if path.area() < 0.0 { path.reverse_subpaths() } else { path }
}
