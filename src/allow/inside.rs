//! Questions of place: which points a contour holds, and which points of a curve stand square to a point.

use crate::geom::offset::Source;
use kurbo::{ParamCurve, ParamCurveExtrema, ParamCurveNearest, PathSeg, Point, Rect};

/// A closed contour that can be asked which points it holds.
pub struct Inside {
    /// Pieces that rise or fall all along, in x and in y.
    pieces: Vec<Piece>,
}

struct Piece {
    curve: PathSeg,
    source: Source,
    area: Rect,
}

impl Inside {
    /// Prepares a closed contour.
    pub fn new(segments: &[PathSeg]) -> Self {
        let mut pieces = Vec::with_capacity(segments.len() * 2);
        let mut push = |curve: PathSeg| {
            let area = Rect::from_points(curve.start(), curve.end());
            pieces.push(Piece { curve, source: Source::of(&curve), area });
        };
        for segment in segments {
            match segment {
                PathSeg::Line(_) => push(*segment),
                other => other.extrema_ranges().into_iter().for_each(|range| push(other.subsegment(range))),
            }
        }
        Self { pieces }
    }

    /// Whether the contour holds a point, or passes within `slack` of it.
    pub fn holds(&self, p: Point, slack: f64) -> bool {
        self.passes(p, slack) || self.winding(p) != 0
    }

    /// Whether the contour passes within `slack` of a point.
    pub fn passes(&self, p: Point, slack: f64) -> bool {
        let near = || self.pieces.iter().filter(|piece| piece.area.inflate(slack, slack).contains(p));
        // The quick way finds it nearly always; its no is not taken for an answer.
        near().any(|piece| piece.curve.eval(piece.source.foot(p, [0.0, 1.0])).distance(p) <= slack)
            || near().any(|piece| piece.curve.nearest(p, 1e-6).distance_sq <= slack * slack)
    }

    /// How many times the contour winds about a point.
    pub fn winding(&self, p: Point) -> i32 {
        let mut winding = 0;
        for Piece { curve, area, .. } in &self.pieces {
            let (start, end) = (curve.start(), curve.end());
            if (start.y <= p.y) == (end.y <= p.y) || p.x > area.x1 {
                continue;
            }
            if p.x < area.x0 || x_at(curve, p.y) > p.x {
                winding += if start.y <= p.y { 1 } else { -1 };
            }
        }
        winding
    }
}

/// Where a monotone piece passes a height.
fn x_at(curve: &PathSeg, y: f64) -> f64 {
    let (start, end) = (curve.start(), curve.end());
    if let PathSeg::Line(_) = curve {
        return start.x + (end.x - start.x) * (y - start.y) / (end.y - start.y);
    }
    let rising = end.y > start.y;
    let (mut low, mut high) = (0.0, 1.0);
    let mut t = (y - start.y) / (end.y - start.y);
    for _ in 0..40 {
        let here = curve.eval(t);
        if (here.y < y) == rising {
            low = t;
        } else {
            high = t;
        }
        if high - low < 1e-12 || (here.y - y).abs() < 1e-10 {
            break;
        }
        t = 0.5 * (low + high);
    }
    curve.eval(t).x
}

/// Parameters whose normals pass through a point, or nearly so: where the distance along the tangent changes its sign, and
/// where it comes nearest to that. Two feet that all but meet are found both.
pub fn feet(source: &Source, p: Point, [low, high]: [f64; 2]) -> Vec<f64> {
    const GRID: usize = 48;
    let at = |i: usize| low + (high - low) * i as f64 / GRID as f64;
    let ahead = |t: f64| (p - source.point(t)).dot(source.tangent(t));
    let values: Vec<f64> = (0..=GRID).map(|i| ahead(at(i))).collect();
    let mut feet = vec![low, high];
    for i in 0..GRID {
        if (values[i] < 0.0) != (values[i + 1] < 0.0) {
            feet.push(sign_change(&ahead, at(i), at(i + 1)));
        }
        // About a grid point nearer to a change than its neighbours: does it change there and back?
        let (before, after) = (i.saturating_sub(1), (i + 1).min(GRID));
        let nearest = values[i].abs() <= values[before].abs() && values[i].abs() <= values[after].abs();
        if nearest || i + 1 == GRID {
            let sign = values[i].signum();
            let (a, b) = (at(before), at(after));
            let turn = least(|t| sign * ahead(t), a, b);
            feet.push(turn);
            if sign * ahead(turn) < 0.0 {
                feet.extend([sign_change(&ahead, a, turn), sign_change(&ahead, turn, b)]);
            }
        }
    }
    feet
}

fn sign_change(value: &impl Fn(f64) -> f64, mut a: f64, mut b: f64) -> f64 {
    let negative = value(a) < 0.0;
    for _ in 0..44 {
        let t = 0.5 * (a + b);
        if (value(t) < 0.0) == negative { a = t } else { b = t }
    }
    0.5 * (a + b)
}

fn least(value: impl Fn(f64) -> f64, mut a: f64, mut b: f64) -> f64 {
    for _ in 0..40 {
        let (c, d) = (a + 0.382 * (b - a), b - 0.382 * (b - a));
        if value(c) < value(d) { b = d } else { a = c }
    }
    0.5 * (a + b)
}
