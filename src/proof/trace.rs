//! Paths as fine chains of points, and how far two of them lie apart.

use kurbo::{BezPath, ParamCurve, PathEl, PathSeg, Point, Rect};
use lyon::geom::{CubicBezierSegment, point};

/// How far a trace's chords may stray from the curve itself, mm.
pub(super) const FINE: f64 = 2e-4;
/// Samples stand no further apart, mm.
const STEP: f64 = 0.5;

/// A path as a chain of points with the distance run at each.
#[derive(Clone, Debug)]
pub(super) struct Trace {
    points: Vec<Point>,
    run: Vec<f64>,
    pub bounds: Rect,
}

impl Trace {
    /// The trace of a path; `None` where it draws nothing or holds a number that is not finite.
    pub fn new(path: &BezPath) -> Option<Self> {
        let mut points: Vec<Point> = Vec::new();
        if let Some(PathEl::MoveTo(p)) = path.elements().first() {
            points.push(*p);
        }
        for segment in path.segments() {
            match segment {
                PathSeg::Line(line) => points.push(line.p1),
                curve => flatten(curve, &mut points),
            }
        }
        if points.len() < 2 {
            return None;
        }
        Self::through(points)
    }

    fn through(points: Vec<Point>) -> Option<Self> {
        if points.iter().any(|p| !p.is_finite()) {
            return None;
        }
        let mut run = vec![0.0; points.len()];
        for i in 1..points.len() {
            run[i] = run[i - 1] + points[i].distance(points[i - 1]);
        }
        let first = Rect::from_points(points[0], points[0]);
        let bounds = points.iter().fold(first, |bounds, &p| bounds.union_pt(p));
        Some(Self { points, run, bounds })
    }

    pub fn length(&self) -> f64 {
        self.run.last().copied().unwrap_or(0.0)
    }

    pub fn start(&self) -> Point {
        self.points[0]
    }

    pub fn end(&self) -> Point {
        self.points[self.points.len() - 1]
    }

    fn reversed(&self) -> Self {
        let length = self.length();
        let points = self.points.iter().rev().copied().collect();
        let run = self.run.iter().rev().map(|run| length - run).collect();
        Self { points, run, bounds: self.bounds }
    }

    /// A closed trace started at another of its points.
    fn turned(&self, start: usize) -> Option<Self> {
        let last = self.points.len() - 1;
        Self::through(self.points[start..last].iter().chain(&self.points[..=start]).copied().collect())
    }
}

/// Appends the chords of a curve, its start excepted.
fn flatten(curve: PathSeg, points: &mut Vec<Point>) {
    let cubic = curve.to_cubic();
    let [from, ctrl1, ctrl2, to] = [cubic.p0, cubic.p1, cubic.p2, cubic.p3].map(|p| point(p.x, p.y));
    let before = points.len();
    CubicBezierSegment { from, ctrl1, ctrl2, to }.for_each_flattened(FINE, &mut |line| {
        points.push(Point::new(line.to.x, line.to.y));
    });
    // The end itself, whatever rounding did to it.
    if points.len() > before {
        points.pop();
    }
    points.push(curve.end());
}

/// How far two traces lie apart, mm, walked in step: each point of one against the stretch of the other that lies as far
/// along, both ways. So the same ground walked twice, or in another order, is no match. An open trace may run
/// backwards; a closed one may also start elsewhere. Infinite where they lie further apart than `limit`.
pub(super) fn apart(wanted: &Trace, drawn: &Trace, limit: f64) -> f64 {
    let closed = |trace: &Trace| trace.start().distance(trace.end()) <= limit;
    let mut best = f64::INFINITY;
    for drawn in [drawn.clone(), drawn.reversed()] {
        if wanted.start().distance(drawn.start()) <= limit {
            best = best.min(in_step(wanted, &drawn, limit.min(best)));
        }
        if best > limit && closed(wanted) && closed(&drawn) {
            for start in nearest_points(&drawn, wanted.start(), limit) {
                if let Some(turned) = drawn.turned(start) {
                    best = best.min(in_step(wanted, &turned, limit.min(best)));
                }
            }
        }
    }
    if best <= limit { best } else { f64::INFINITY }
}

/// The points of a trace within `limit` of a place, nearest first, the nearest few of them.
fn nearest_points(trace: &Trace, place: Point, limit: f64) -> Vec<usize> {
    const FEW: usize = 8;
    let mut near: Vec<(f64, usize)> = trace
        .points
        .iter()
        .enumerate()
        .map(|(i, p)| (p.distance(place), i))
        .filter(|(distance, _)| *distance <= limit)
        .collect();
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    near.truncate(FEW);
    near.into_iter().map(|(_, i)| i.min(trace.points.len() - 2)).collect()
}

fn in_step(a: &Trace, b: &Trace, limit: f64) -> f64 {
    let there = one_way(a, b, limit);
    if there > limit { there } else { there.max(one_way(b, a, limit)) }
}

/// The largest distance of a's samples from the stretch of b that lies as far along; stops beyond `limit`.
fn one_way(a: &Trace, b: &Trace, limit: f64) -> f64 {
    /// Flattening shortens a curve: by a third of its tolerance for each radian of turn (arc against chord), so that
    /// distances along run ahead of each other by that much.
    const SLACK: f64 = 0.5;
    let slack = SLACK + 10.0 * limit;
    let ratio = if a.length() > 0.0 { b.length() / a.length() } else { 1.0 };
    let mut largest: f64 = 0.0;
    let mut first = 0;
    for i in 1..a.points.len() {
        let stretch = a.run[i] - a.run[i - 1];
        let samples = (stretch / STEP).ceil().max(1.0) as usize;
        for sample in usize::from(i > 1)..=samples {
            let share = sample as f64 / samples as f64;
            let place = a.points[i - 1].lerp(a.points[i], share);
            let along = (a.run[i - 1] + stretch * share) * ratio;
            while first + 2 < b.points.len() && b.run[first + 1] < along - slack {
                first += 1;
            }
            let mut nearest = f64::INFINITY;
            for j in first..b.points.len() - 1 {
                if b.run[j] > along + slack {
                    break;
                }
                nearest = nearest.min(from_chord(place, b.points[j], b.points[j + 1]));
            }
            largest = largest.max(nearest);
            if largest > limit {
                return largest;
            }
        }
    }
    largest
}

fn from_chord(place: Point, from: Point, to: Point) -> f64 {
    let chord = to - from;
    let square = chord.hypot2();
    if square == 0.0 {
        return place.distance(from);
    }
    let share = ((place - from).dot(chord) / square).clamp(0.0, 1.0);
    place.distance(from.lerp(to, share))
}
