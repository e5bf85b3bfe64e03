//! The slower, sure way to the cut line: the region's parts as polygons, united.
//!
//! It takes nothing from the quick way but the region's definition. Bands are cut along their normals into strips, so
//! that each polygon is simple; the union is done on integers (`geo`, `i_overlay`) and can't lose its way.

use super::outline::as_path;
use super::proof::exact;
use super::region::{Region, tidy};
use geo::{BooleanOps, Coord, LineString, MultiPolygon, Polygon, unary_union};
use kurbo::{BezPath, Line, ParamCurve, ParamCurveArclen, PathEl, PathSeg, Point, Shape};

/// Chords stray from their curves by no more than this part of the tolerance.
const CHORD_SHARE: f64 = 0.3;

/// The region's outer contour, of lines, within `tolerance` mm; `within` is the half plane of a fold.
pub fn united(region: &Region, within: Option<&BezPath>, tolerance: f64) -> Option<BezPath> {
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
    // Outer rings only: holes are filled.
    let paths = whole.0.iter().map(|part| closed(part.exterior()));
    paths.max_by(|a, b| a.area().abs().total_cmp(&b.area().abs())).filter(|path| path.area() > 0.0)
}

/// Polygons between a segment and its band's border.
fn strips(segment: &PathSeg, [from, to]: [f64; 2], width: f64, chord: f64, parts: &mut Vec<Polygon>) {
    if from >= to {
        return;
    }
    let count = match segment {
        PathSeg::Line(_) => 1,
        // Enough for the tighter of curve and border: √(8·chord·radius) apart, no radius taken below a tenth of a
        // millimetre.
        other => ((other.arclen(0.1) + width) / (8.0 * chord * 0.1).sqrt()).ceil().clamp(16.0, 4096.0) as usize,
    };
    let at = |i: usize| {
        let t = from + (to - from) * i as f64 / count as f64;
        (segment.eval(t), exact(segment, t, width))
    };
    let mut last = at(0);
    for i in 1..=count {
        let next = at(i);
        parts.push(polygon(&[last.0, last.1, next.1, next.0]));
        last = next;
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
