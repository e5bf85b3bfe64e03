//! The slower, sure way to the cut line: the region's parts as polygons, united.
//!
//! It takes nothing from the quick way but the region's definition. Bands are cut along their normals into strips, so
//! that each polygon is simple; the union is done on integers (`geo`, `i_overlay`) and can't lose its way.

use super::SLIVER;
use super::outline::as_path;
use super::proof::border;
use super::region::{Region, tidy};
use crate::geom::offset::Source;
use geo::{Area, BooleanOps, Coord, LineString, MultiPolygon, Polygon, unary_union};
use kurbo::{BezPath, Line, ParamCurve, ParamCurveNearest, PathEl, PathSeg, Point, Shape};

/// Chords stray from their curves by no more than this part of the tolerance.
const CHORD_SHARE: f64 = 0.3;

/// The region's outer contour, of lines, within `tolerance` mm, and the area of its holes, mm²; `within` is the half plane
/// of a fold.
pub fn united(region: &Region, within: Option<&BezPath>, tolerance: f64) -> Option<(BezPath, f64)> {
    let chord = CHORD_SHARE * tolerance;
    let mut parts = vec![polygon(&flattened(&as_path(region.sides()), chord))];
    for (index, band) in region.bands.iter().enumerate() {
        let side = &region.sides()[index];
        if side.width > 0.0 {
            for (k, segment) in side.run.iter().enumerate() {
                let ends = band.ends.map(|end| (end - k as f64).clamp(0.0, 1.0));
                strips(segment, ends, side.width, chord, &mut parts);
            }
        }
        let shape = region.corner_shape(index);
        if !shape.is_empty() {
            parts.push(polygon(&flattened(&tidy(&shape), chord)));
        }
    }
    parts.retain(|part| part.exterior().0.len() > 3);
    let mut whole: MultiPolygon = unary_union(&parts);
    if let Some(within) = within {
        whole = whole.intersection(&polygon(&flattened(within, chord)));
    }
    let largest = whole.0.iter().max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()))?;
    let filled = largest.interiors().iter().map(|ring| closed(ring).area()).filter(|area| *area > SLIVER.0).sum();
    Some((closed(largest.exterior()), filled))
}

/// A rung of a band: a point of the sew line and the border's point on its normal.
type Rung = (Point, Point);

/// Polygons between a segment and its band's border.
fn strips(segment: &PathSeg, [from, to]: [f64; 2], width: f64, chord: f64, parts: &mut Vec<Polygon>) {
    if from >= to {
        return;
    }
    let source = Source::of(segment);
    let rung = |t: f64| (segment.eval(t), border(&source, t, width));
    let pieces = if matches!(segment, PathSeg::Line(_)) { 1 } else { 16 };
    let mut last = (from, rung(from));
    for i in 1..=pieces {
        let t = if i == pieces { to } else { from + (to - from) * f64::from(i) / f64::from(pieces) };
        let next = (t, rung(t));
        halved(last, next, &rung, chord, 24, parts);
        last = next;
    }
}

/// One polygon between two rungs, or halves of it where a chord strays.
fn halved(
    a: (f64, Rung),
    b: (f64, Rung),
    rung: &impl Fn(f64) -> Rung,
    chord: f64,
    depth: u32,
    parts: &mut Vec<Polygon>,
) {
    let at = |f: f64| a.0 + f * (b.0 - a.0);
    let off = |p: Point, from: Point, to: Point| Line::new(from, to).nearest(p, 1e-9).distance_sq.sqrt();
    let strays = [0.25, 0.5, 0.75].iter().any(|f| {
        let (sew, edge) = rung(at(*f));
        off(sew, a.1.0, b.1.0) > chord || off(edge, a.1.1, b.1.1) > chord
    });
    if depth > 0 && strays {
        let middle = (at(0.5), rung(at(0.5)));
        halved(a, middle, rung, chord, depth - 1, parts);
        halved(middle, b, rung, chord, depth - 1, parts);
    } else {
        parts.push(polygon(&[a.1.0, a.1.1, b.1.1, b.1.0]));
    }
}

fn flattened(path: &BezPath, chord: f64) -> Vec<Point> {
    let mut points = Vec::new();
    kurbo::flatten(path, chord, |element| match element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => points.push(p),
        _ => {}
    });
    points
}

fn polygon(points: &[Point]) -> Polygon {
    Polygon::new(LineString(points.iter().map(|p| Coord { x: p.x, y: p.y }).collect()), Vec::new())
}

fn closed(ring: &LineString) -> BezPath {
    let points: Vec<Point> = ring.0.iter().map(|c| Point::new(c.x, c.y)).collect();
    let lines: Vec<PathSeg> = points.windows(2).map(|pair| PathSeg::Line(Line::new(pair[0], pair[1]))).collect();
    let path = tidy(&lines);
    if path.area() < 0.0 { path.reverse_subpaths() } else { path }
}
