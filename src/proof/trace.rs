//! Paths as fine chains of points, and how far two of them lie apart.

use super::blade::Track;
use kurbo::{BezPath, ParamCurve, PathSeg, Point, Rect, Shape, Vec2};
use lyon::geom::{CubicBezierSegment, point};

/// How far a trace's chords may stray from the curve itself, mm.
pub(super) const FINE: f64 = 2e-4;
/// Distances below this are not told from each other, mm.
const UNRESOLVED: f64 = 1e-4;
/// Samples stand no further apart, mm.
const STEP: f64 = 0.5;

/// A path as a chain of points with the distance run at each.
#[derive(Clone, Debug)]
pub(super) struct Trace {
    points: Vec<Point>,
    /// Never less than at the point before.
    run: Vec<f64>,
    pub bounds: Rect,
}

impl Trace {
    /// The trace of a path; `None` where it draws nothing, holds a number that is not finite or is longer than `most`,
    /// mm.
    pub fn new(path: &BezPath, most: f64) -> Option<Self> {
        let bounds = path.bounding_box();
        if !path.is_finite() || !bounds.is_finite() {
            return None;
        }
        let mut points: Vec<Point> = Vec::new();
        let mut length = 0.0;
        for segment in path.segments() {
            if points.is_empty() {
                points.push(segment.start());
            }
            let from = points.len();
            match segment {
                PathSeg::Line(line) => points.push(line.p1),
                curve => flatten(curve, &mut points),
            }
            length += points[from - 1..].windows(2).map(|chord| chord[0].distance(chord[1])).sum::<f64>();
            if length > most {
                return None;
            }
        }
        (!points.is_empty()).then(|| Self::through(points, bounds))
    }

    /// The trace through a chain of points; `None` where there are none.
    pub fn along(points: Vec<Point>) -> Option<Self> {
        let mut each = points.iter().copied();
        let first = each.next()?;
        let bounds = each.fold(Rect::from_points(first, first), |bounds, point| bounds.union_pt(point));
        Some(Self::through(points, bounds))
    }

    /// The points of its beginning, as far as `most` mm.
    pub fn begun(&self, most: f64) -> &[Point] {
        &self.points[..self.run.partition_point(|run| *run <= most)]
    }

    /// The direction at a distance along the trace, a unit vector; 0 where it has none.
    pub fn direction(&self, run: f64) -> Vec2 {
        let i = self.run.partition_point(|other| *other <= run).clamp(1, self.points.len().max(2) - 1);
        let (Some(from), Some(to)) = (self.points.get(i - 1), self.points.get(i)) else { return Vec2::ZERO };
        let chord = *to - *from;
        if chord.hypot() > 0.0 { chord.normalize() } else { Vec2::ZERO }
    }

    /// The trace of a tip's track, as long as it has come.
    pub fn of_track(track: Track) -> Option<Self> {
        let mut trace = Self::along(track.points)?;
        let furthest = track.come.iter().scan(0.0_f64, |furthest, come| {
            *furthest = furthest.max(*come);
            Some(*furthest)
        });
        trace.run = furthest.collect();
        Some(trace)
    }

    fn through(points: Vec<Point>, bounds: Rect) -> Self {
        let mut run = vec![0.0; points.len()];
        for i in 1..points.len() {
            run[i] = run[i - 1] + points[i].distance(points[i - 1]);
        }
        Self { points, run, bounds }
    }

    pub fn length(&self) -> f64 {
        self.run.last().copied().unwrap_or(0.0)
    }

    pub fn points(&self) -> &[Point] {
        &self.points
    }

    pub fn start(&self) -> Point {
        self.points[0]
    }

    pub fn end(&self) -> Point {
        self.points[self.points.len() - 1]
    }

    /// How far along the trace it comes within `limit` of a place, mm: once for each time that it does.
    pub fn passes(&self, place: Point, limit: f64) -> Vec<f64> {
        let mut found: Vec<(f64, f64)> = Vec::new();
        let mut away = true;
        for i in 1..self.points.len() {
            let (from, to) = (self.points[i - 1], self.points[i]);
            let share = along_chord(place, from, to);
            let distance = place.distance_squared(from.lerp(to, share));
            if distance > limit * limit {
                away = true;
                continue;
            }
            let here = (distance, self.run[i - 1] + share * (self.run[i] - self.run[i - 1]));
            match found.last_mut() {
                Some(last) if !away => {
                    if here.0 < last.0 {
                        *last = here;
                    }
                }
                _ => found.push(here),
            }
            away = false;
        }
        found.into_iter().map(|(_, run)| run).collect()
    }

    /// What lies at a distance along the trace.
    pub fn at(&self, run: f64) -> Point {
        let i = self.run.partition_point(|other| *other < run).clamp(1, self.points.len().max(2) - 1);
        let (Some(from), Some(to)) = (self.points.get(i - 1), self.points.get(i)) else { return self.points[0] };
        let stretch = self.run[i] - self.run[i - 1];
        let share = if stretch > 0.0 { ((run - self.run[i - 1]) / stretch).clamp(0.0, 1.0) } else { 0.0 };
        from.lerp(*to, share)
    }

    /// The stretch of the trace between two distances along it, `from` before `to`; of a closed one round and round
    /// where they lie beyond its ends.
    pub fn stretch(&self, from: f64, to: f64) -> Option<Self> {
        let length = self.length();
        if length <= 0.0 {
            return None;
        }
        let before = (from / length).floor() * length;
        let (from, to) = (from - before, to - before);
        let mut points = vec![self.at(from)];
        let mut lap = 0.0;
        while lap * length < to {
            let (low, high) = (from - lap * length, to - lap * length);
            let first = self.run.partition_point(|run| *run <= low);
            let last = self.run.partition_point(|run| *run < high);
            points.extend(self.points.get(first..last.max(first)).unwrap_or_default());
            if high <= length {
                points.push(self.at(high));
            }
            lap += 1.0;
        }
        Self::along(points)
    }

    pub fn reversed(&self) -> Self {
        let length = self.length();
        let points = self.points.iter().rev().copied().collect();
        let run = self.run.iter().rev().map(|run| length - run).collect();
        Self { points, run, bounds: self.bounds }
    }

    /// A closed trace started at another of its points.
    fn turned(&self, start: usize) -> Self {
        let last = self.points.len() - 1;
        let points = self.points[start..last].iter().chain(&self.points[..=start]).copied().collect();
        Self::through(points, self.bounds)
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
                best = best.min(in_step(wanted, &drawn.turned(start), limit.min(best)));
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

/// How far two traces that start at the same end lie apart, walked in step, both ways; more than `limit`, and no more
/// than told, where it is more than that.
pub(super) fn in_step(a: &Trace, b: &Trace, limit: f64) -> f64 {
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
    let chords = b.points.len() - 1;
    let mut largest: f64 = 0.0;
    let mut abreast = 0;
    for i in 1..a.points.len() {
        let stretch = a.run[i] - a.run[i - 1];
        let samples = (stretch / STEP).ceil().max(1.0) as usize;
        for sample in usize::from(i > 1)..=samples {
            let share = sample as f64 / samples as f64;
            let place = a.points[i - 1].lerp(a.points[i], share);
            let along = (a.run[i - 1] + stretch * share) * ratio;
            while abreast + 1 < chords && b.run[abreast + 1] < along {
                abreast += 1;
            }
            // Outwards from the chord abreast, until it can't raise the largest distance any more.
            let enough = largest.max(UNRESOLVED).powi(2);
            let mut nearest = f64::INFINITY;
            let (mut back, mut ahead) = (abreast + 1, abreast + 1);
            while nearest > enough {
                let can_back = back > 0 && b.run[back] >= along - slack;
                let can_ahead = ahead < chords && b.run[ahead] <= along + slack;
                if can_back {
                    back -= 1;
                    nearest = nearest.min(from_chord(place, b.points[back], b.points[back + 1]));
                }
                if can_ahead {
                    nearest = nearest.min(from_chord(place, b.points[ahead], b.points[ahead + 1]));
                    ahead += 1;
                }
                if !can_back && !can_ahead {
                    break;
                }
            }
            largest = largest.max(nearest.sqrt());
            if largest > limit {
                return largest;
            }
        }
    }
    largest
}

/// Square of the distance of a place from a chord.
fn from_chord(place: Point, from: Point, to: Point) -> f64 {
    place.distance_squared(from + (to - from) * along_chord(place, from, to))
}

/// Which share of a chord a place lies along.
fn along_chord(place: Point, from: Point, to: Point) -> f64 {
    let chord = to - from;
    let square = chord.hypot2();
    if square > 0.0 { ((place - from).dot(chord) / square).clamp(0.0, 1.0) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers in -1..1 from a seed (Numerical Recipes' quick generator).
    fn numbers(mut seed: u32) -> impl FnMut() -> f64 {
        move || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(seed >> 8) / f64::from(1 << 23) - 1.0
        }
    }

    #[test]
    fn traces_stay_on_hostile_curves() {
        let mut number = numbers(7);
        let mut worst: f64 = 0.0;
        for case in 0..800 {
            let reach = [0.5, 5.0, 100.0, 500.0][case % 4];
            let mut p = [(); 4].map(|()| Point::new(reach * number(), reach * number()));
            match case % 11 {
                0 => p[1] = p[0],
                1 => p[2] = p[3],
                2 => (p[1], p[2]) = (p[0], p[3]),
                3 => p[3] = p[0],
                4 => (p[1], p[2]) = (p[0].lerp(p[3], 1.5), p[0].lerp(p[3], -0.5)),
                5 => (p[1], p[2]) = (p[3], p[0]),
                6 => (p[1], p[2]) = (p[0], p[0]),
                7 => (p[1], p[2]) = (p[1], p[1]),
                _ => {}
            }
            let cubic = kurbo::CubicBez::new(p[0], p[1], p[2], p[3]);
            let mut path = BezPath::new();
            path.move_to(p[0]);
            path.curve_to(p[1], p[2], p[3]);
            let Some(trace) = Trace::new(&path, f64::INFINITY) else { continue };
            for i in 0..=200 {
                let on_curve = cubic.eval(f64::from(i) / 200.0);
                let distance = trace
                    .points
                    .windows(2)
                    .map(|chord| from_chord(on_curve, chord[0], chord[1]))
                    .fold(f64::INFINITY, f64::min);
                worst = worst.max(distance);
            }
        }
        assert!(worst.sqrt() < FINE, "{worst}");
    }
}
