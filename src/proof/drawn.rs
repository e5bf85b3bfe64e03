//! What a machine with a correction makes of what it is told, by the proof's own reckoning.

use crate::device::Correction;
use kurbo::{BezPath, Line, ParamCurve, PathEl, PathSeg, Point};

/// Beyond every sheet, mm.
const FAR: f64 = 1e6;

/// What the machine makes of a point: J · p, with J = [[x, skew], [0, y]], or the feed's own places in place of x · p.x.
pub(super) fn through(p: Point, correction: Option<&Correction>) -> Point {
    correction.map_or(p, |c| Point::new(fed(p.x, c) + c.skew * p.y, c.y * p.y))
}

/// Where the feed brings a place, added up span by span.
fn fed(place: f64, c: &Correction) -> f64 {
    let Some(first) = c.feed.first() else { return c.x * place };
    // The first span's scale holds from the very start, each later one adds what it differs from the one before.
    let steps = c.feed.windows(2).map(|pair| (pair[1].scale - pair[0].scale) * (place - pair[1].from).max(0.0));
    first.scale * place + steps.sum::<f64>()
}

/// What the machine makes of a path. Where the feed has several scales a segment is taken apart where it meets the
/// upright at a span's start, so that each part is drawn by one of them.
pub(super) fn distorted(path: &BezPath, correction: Option<&Correction>) -> BezPath {
    let j = |p: Point| through(p, correction);
    let parted = match correction {
        Some(c) if c.feed.len() > 1 => parted(path, c),
        _ => path.clone(),
    };
    parted
        .elements()
        .iter()
        .map(|&element| match element {
            PathEl::MoveTo(p) => PathEl::MoveTo(j(p)),
            PathEl::LineTo(p) => PathEl::LineTo(j(p)),
            PathEl::QuadTo(a, p) => PathEl::QuadTo(j(a), j(p)),
            PathEl::CurveTo(a, b, p) => PathEl::CurveTo(j(a), j(b), j(p)),
            PathEl::ClosePath => PathEl::ClosePath,
        })
        .collect()
}

fn parted(path: &BezPath, c: &Correction) -> BezPath {
    let mut parted = BezPath::new();
    for segment in path.segments() {
        if parted.is_empty() {
            parted.move_to(segment.start());
        }
        let mut cuts: Vec<f64> = c.feed[1..]
            .iter()
            .flat_map(|span| segment.intersect_line(Line::new((span.from, -FAR), (span.from, FAR))))
            .map(|crossing| crossing.segment_t)
            .filter(|share| share.is_finite() && *share > 0.0 && *share < 1.0)
            .collect();
        cuts.sort_by(f64::total_cmp);
        let mut from = 0.0;
        for to in cuts.into_iter().chain([1.0]) {
            if to > from {
                match segment.subsegment(from..to) {
                    PathSeg::Line(line) => parted.line_to(line.p1),
                    PathSeg::Quad(quad) => parted.quad_to(quad.p1, quad.p2),
                    PathSeg::Cubic(cubic) => parted.curve_to(cubic.p1, cubic.p2, cubic.p3),
                }
                from = to;
            }
        }
    }
    if parted.is_empty() {
        return path.clone();
    }
    if matches!(path.elements().last(), Some(PathEl::ClosePath)) {
        parted.close_path();
    }
    parted
}
