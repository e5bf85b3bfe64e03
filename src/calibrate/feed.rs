//! From the sheet to what a machine is told: J⁻¹, piece by piece where the feed has several scales.

use crate::device::Correction;
use kurbo::common::solve_cubic;
use kurbo::{Affine, BezPath, CubicBez, Line, ParamCurve, PathEl, PathSeg, Point};

/// Crossings nearer than this to a segment's end are not cut, as a share of the segment.
const EDGE: f64 = 1e-9;

/// The inverse of a correction.
pub(super) struct Inverse<'a> {
    correction: &'a Correction,
    /// Of the feed's spans: where each begins as drawn, and from there to the commanded place.
    spans: Vec<(f64, Affine)>,
}

impl<'a> Inverse<'a> {
    pub(super) fn new(correction: &'a Correction) -> Self {
        let Correction { x, y, skew, feed, .. } = correction;
        // u = from + (g − drawn) / scale with g = x − skew · y / y-scale, and v = y / y-scale.
        let affine = |from: f64, drawn: f64, scale: f64| {
            Affine::new([1.0 / scale, 0.0, -skew / (y * scale), 1.0 / y, from - drawn / scale, 0.0])
        };
        let spans = if feed.is_empty() {
            vec![(f64::NEG_INFINITY, affine(0.0, 0.0, *x))]
        } else {
            feed.iter()
                .enumerate()
                .map(|(index, span)| {
                    let drawn = correction.along(span.from);
                    let starts = if index == 0 { f64::NEG_INFINITY } else { drawn };
                    (starts, affine(span.from, drawn, span.scale))
                })
                .collect()
        };
        Self { correction, spans }
    }

    /// What a place along x is measured by, the lean taken off: g = x − skew · y / y-scale.
    fn upright(&self, p: Point) -> f64 {
        p.x - self.correction.skew * p.y / self.correction.y
    }

    fn span(&self, place: f64) -> Affine {
        let index = self.spans.partition_point(|(starts, _)| *starts <= place);
        self.spans[index.saturating_sub(1)].1
    }

    /// Where the machine has to be told to go so that it comes to `p`.
    pub(super) fn point(&self, p: Point) -> Point {
        self.span(self.upright(p)) * p
    }

    /// A path as the machine has to be told it. Within a span J⁻¹ is affine, so curves stay curves; a segment that runs
    /// from one span into another is cut there, exactly.
    pub(super) fn path(&self, path: &BezPath) -> BezPath {
        if self.spans.len() == 1 {
            return self.spans[0].1 * path;
        }
        let mut told = BezPath::new();
        let (mut start, mut at) = (Point::ORIGIN, Point::ORIGIN);
        for element in path.elements() {
            let segment: PathSeg = match *element {
                PathEl::MoveTo(p) => {
                    (start, at) = (p, p);
                    told.move_to(self.point(p));
                    continue;
                }
                PathEl::LineTo(p) => Line::new(at, p).into(),
                PathEl::QuadTo(a, p) => kurbo::QuadBez::new(at, a, p).into(),
                PathEl::CurveTo(a, b, p) => CubicBez::new(at, a, b, p).into(),
                PathEl::ClosePath => {
                    // Its last side, but for the part that the closing itself draws.
                    let cuts = self.cuts(Line::new(at, start).into());
                    for share in cuts {
                        told.line_to(self.point(at.lerp(start, share)));
                    }
                    told.close_path();
                    at = start;
                    continue;
                }
            };
            self.segment(segment, &mut told);
            at = segment.end();
        }
        told
    }

    fn segment(&self, segment: PathSeg, told: &mut BezPath) {
        let mut from = 0.0;
        for to in self.cuts(segment).into_iter().chain([1.0]) {
            let part = segment.subsegment(from..to);
            // The middle lies within the part's own span, whatever rounding did to its ends.
            let map = self.span(self.upright(part.eval(0.5)));
            match map * part {
                PathSeg::Line(line) => told.line_to(line.p1),
                PathSeg::Quad(quad) => told.quad_to(quad.p1, quad.p2),
                PathSeg::Cubic(cubic) => told.curve_to(cubic.p1, cubic.p2, cubic.p3),
            }
            from = to;
        }
    }

    /// The shares of a segment at which it passes from one span into another, in order.
    fn cuts(&self, segment: PathSeg) -> Vec<f64> {
        // A line raised so that the cubic's parameter is the line's own: `to_cubic` doubles its ends.
        let cubic = match segment {
            PathSeg::Line(Line { p0, p1 }) => CubicBez::new(p0, p0.lerp(p1, 1.0 / 3.0), p0.lerp(p1, 2.0 / 3.0), p1),
            curve => curve.to_cubic(),
        };
        let [a, b, c, d] = [cubic.p0, cubic.p1, cubic.p2, cubic.p3].map(|p| self.upright(p));
        let mut shares: Vec<f64> = self.spans[1..]
            .iter()
            .flat_map(|(knot, _)| solve_cubic(a - knot, 3.0 * (b - a), 3.0 * (a - 2.0 * b + c), d - a + 3.0 * (b - c)))
            .filter(|share| (EDGE..=1.0 - EDGE).contains(share))
            .collect();
        shares.sort_by(f64::total_cmp);
        shares.dedup_by(|a, b| *a - *b < EDGE);
        shares
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::device::FeedSpan;
    use kurbo::Shape;

    #[test]
    fn a_curve_over_several_spans_comes_out_where_it_was_wanted() {
        let mut c = Correction::plain("2026-11-02", "paper", 0.99, 1.01, 0.02);
        let span = |from, scale| FeedSpan { from, scale };
        c.feed = vec![span(0.0, 0.98), span(100.0, 1.02), span(150.0, 0.97)];
        let mut path = BezPath::new();
        path.move_to((20.0, 5.0));
        path.curve_to((300.0, 40.0), (-60.0, 150.0), (220.0, 160.0));
        path.line_to((240.0, 300.0));
        path.quad_to((60.0, 330.0), (20.0, 200.0));
        path.close_path();
        let inverse = Inverse::new(&c);
        let told = inverse.path(&path);
        assert!(told.segments().count() > path.segments().count() + 3, "it was cut at the spans");
        // What the machine makes of it, point by point, by the formula itself.
        let drawn = |p: Point| Point::new(c.along(p.x) + c.skew * p.y, c.y * p.y);
        let mut worst: f64 = 0.0;
        for segment in told.segments() {
            for i in 0..=20 {
                let p = drawn(segment.eval(f64::from(i) / 20.0));
                let near = path.segments().map(|s| kurbo::ParamCurveNearest::nearest(&s, p, 1e-9).distance_sq);
                worst = worst.max(near.fold(f64::INFINITY, f64::min).sqrt());
            }
        }
        assert!(worst < 1e-6, "{worst}");
        // Seeded fault: one map for all of it is not good enough.
        let affine = inverse.spans[0].1 * &path;
        assert!(affine.bounding_box().width() - told.bounding_box().width() > 0.5);
    }
}
