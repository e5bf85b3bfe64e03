//! Parallel curves: the curve at a constant width to the right of another.
//!
//! The parallel of c(t) at width w is o(t) = c(t) + w·n(t), n the unit normal to the right of the direction of travel.
//! Its speed is |c'|·(1 + w·κ), κ the curvature, positive where c turns left. Where c turns right more tightly than w,
//! 1 + w·κ < 0: the parallel runs backwards there and bounds nothing (Farouki and Neff, *Analytic properties of plane
//! offset curves*, CAGD 7, 1990). On such a stretch the path given here follows the centres of curvature instead, so
//! that the band between c and its parallel is swept by normals that never cross one another.
//!
//! Every stretch is fitted with cubics that have the parallel's own end points and end tangents; their arms are the
//! least-squares solution for the deviation along the normal (Gauss-Newton, then reweighted towards the least maximum).
//! Each fit is then measured at [`CHECKS`] normals, and the stretch is parted where it strays: each cubic as long as it
//! holds. Where that makes one more than `FEW`, `loose` tries to do with one fewer.

use super::loose::loosened;
use kurbo::{CubicBez, Line, ParamCurve, ParamCurveDeriv, ParamCurveNearest, PathSeg, Point, QuadBez, Vec2};

/// Normals at which every fitted cubic is measured.
pub const CHECKS: usize = 33;

/// Normals used while fitting. More make the fit slower and hardly better.
const FIT: usize = 10;

/// Rounds of fitting at the most; those after the first few bring down the greatest error at the cost of the others.
const ROUNDS: usize = 12;

/// Rounds of plain least squares.
const SQUARES: usize = 4;

/// A fit within this part of the tolerance is not bettered.
const ENOUGH: f64 = 0.6;

/// Cubics that a curve of a garment is to have at the most.
const FEW: usize = 3;

/// Halvings of one stretch at the most; 2⁻¹² of a metre is a quarter millimetre, far below any feature of cloth.
const MAX_DEPTH: u32 = 12;

/// One smooth stretch of a parallel.
#[derive(Clone, Copy, Debug)]
pub struct Parallel {
    /// The parallel itself.
    pub curve: PathSeg,
    /// Which segment of the source it belongs to.
    pub source: usize,
    /// The source's parameters at its two ends.
    pub span: [f64; 2],
    /// Whether it follows the centres of curvature, because the source turns more tightly than the width.
    pub evolute: bool,
}

/// A cubic with what is asked of it over and over: derivatives, and tangents that hold at its ends.
#[derive(Clone, Copy, Debug)]
pub struct Source {
    curve: CubicBez,
    first: QuadBez,
    second: Line,
    ends: [Vec2; 2],
    /// Coefficients of 1, t, t², t³: quicker than Bernstein's form where ends need not be exact.
    powers: [Vec2; 4],
}

impl Source {
    /// Prepares a segment that is not a single point; a line is run through at the same pace.
    pub fn of(segment: &PathSeg) -> Self {
        Self::new(as_cubic(segment))
    }

    /// Prepares a cubic that is not a single point.
    pub fn new(curve: CubicBez) -> Self {
        let first = curve.deriv();
        let CubicBez { p0, p1, p2, p3 } = curve;
        let ends = [first_apart([p1 - p0, p2 - p0, p3 - p0]), first_apart([p3 - p2, p3 - p1, p3 - p0])];
        let powers = [p0.to_vec2(), 3.0 * (p1 - p0), 3.0 * ((p2 - p1) - (p1 - p0)), (p3 - p0) - 3.0 * (p2 - p1)];
        Self { curve, first, second: first.deriv(), ends, powers }
    }

    /// The point at a parameter.
    pub fn point(&self, t: f64) -> Point {
        self.curve.eval(t)
    }

    /// First derivative.
    pub fn velocity(&self, t: f64) -> Vec2 {
        self.first.eval(t).to_vec2()
    }

    /// Second derivative.
    pub fn acceleration(&self, t: f64) -> Vec2 {
        self.second.eval(t).to_vec2()
    }

    /// Unit tangent.
    pub fn tangent(&self, t: f64) -> Vec2 {
        if t <= 1e-9 {
            return self.ends[0];
        }
        if t >= 1.0 - 1e-9 {
            return self.ends[1];
        }
        let velocity = self.velocity(t);
        let speed = velocity.hypot();
        if speed > 1e-12 { velocity / speed } else { self.ends[usize::from(t > 0.5)] }
    }

    /// Unit normal to the right of the tangent.
    pub fn normal(&self, t: f64) -> Vec2 {
        right(self.tangent(t))
    }

    /// The exact parallel at a width.
    pub fn parallel(&self, t: f64, width: f64) -> Point {
        self.point(t) + width * self.normal(t)
    }

    /// Signed curvature, 1/mm, positive where the curve turns left; infinite where it stands still and turns.
    pub fn curvature(&self, t: f64) -> f64 {
        let velocity = self.velocity(t);
        velocity.cross(self.acceleration(t)) / velocity.hypot().powi(3)
    }

    /// The parameter in a span of the point nearest to p, by Newton's method from the point abreast of p on the chord: a
    /// local least, and not always found where curves are tight.
    pub fn foot(&self, p: Point, [low, high]: [f64; 2]) -> f64 {
        let chord = self.curve.p3 - self.curve.p0;
        let mut t = ((p - self.curve.p0).dot(chord) / chord.hypot2()).clamp(low, high);
        let [a, b, c, d] = self.powers;
        let a = a - p.to_vec2();
        for _ in 0..8 {
            let gap = a + t * (b + t * (c + t * d));
            let velocity = b + t * (2.0 * c + 3.0 * t * d);
            let slope = gap.dot(velocity);
            let bend = velocity.hypot2() + gap.dot(2.0 * c + 6.0 * t * d);
            // Where the distance curves the wrong way, go downhill by a tenth.
            let step = if bend > 1e-12 { -slope / bend } else { -0.1 * slope.signum() };
            let next = (t + step.clamp(-0.25, 0.25)).clamp(low, high);
            if (next - t).abs() < 1e-7 {
                return next;
            }
            t = next;
        }
        t
    }

    /// The width that the band has at a parameter: the full width, or the radius of a tighter curve to the right.
    pub fn reach(&self, t: f64, width: f64) -> f64 {
        let bend = -self.curvature(t);
        if bend * width > 1.0 { 1.0 / bend } else { width }
    }
}

/// The vector turned a quarter circle clockwise.
pub fn right(v: Vec2) -> Vec2 {
    Vec2::new(v.y, -v.x)
}

/// The direction of the first vector that is longer than rounding: a control point on its end point has none.
fn first_apart(vectors: [Vec2; 3]) -> Vec2 {
    vectors.into_iter().find(|v| v.hypot() > 1e-7).map_or(Vec2::ZERO, unit)
}

fn unit(v: Vec2) -> Vec2 {
    let length = v.hypot();
    if length > 0.0 { v / length } else { Vec2::ZERO }
}

/// Any segment as a cubic, run through at the same pace: a line's control points stand at its thirds.
pub fn as_cubic(segment: &PathSeg) -> CubicBez {
    match segment {
        PathSeg::Line(Line { p0, p1 }) => CubicBez::new(*p0, p0.lerp(*p1, 1.0 / 3.0), p0.lerp(*p1, 2.0 / 3.0), *p1),
        other => other.to_cubic(),
    }
}

/// The parallel of a smooth run of segments, at `width` mm to its right, within `tolerance` mm. Neighbouring stretches
/// share their end points where the run is smooth. At width 0 it is the run itself.
pub fn parallel(run: &[PathSeg], width: f64, tolerance: f64) -> Vec<Parallel> {
    let mut out = Vec::with_capacity(run.len() * 2);
    for (source, segment) in run.iter().enumerate() {
        if width == 0.0 {
            out.push(Parallel { curve: *segment, source, span: [0.0, 1.0], evolute: false });
            continue;
        }
        if let PathSeg::Line(line) = segment {
            let shift = width * right(unit(line.p1 - line.p0));
            let curve = PathSeg::Line(Line::new(line.p0 + shift, line.p1 + shift));
            out.push(Parallel { curve, source, span: [0.0, 1.0], evolute: false });
            continue;
        }
        let curve = Source::of(segment);
        for pair in turning_points(&curve, width).windows(2) {
            let span @ [a, b] = [pair[0], pair[1]];
            if curve.reach(0.5 * (a + b), width) < width {
                follow_centres(&curve, width, span, tolerance, &mut |line, span| {
                    out.push(Parallel { curve: PathSeg::Line(line), source, span, evolute: true });
                });
            } else {
                fit_parallel(&curve, width, span, tolerance, &mut |cubic, span| {
                    out.push(Parallel { curve: PathSeg::Cubic(cubic), source, span, evolute: false });
                });
            }
        }
    }
    out
}

/// Fits the parallel over a span. It always starts from the end where the source has its shorter arm, so that a curve and
/// its mirror image, whichever way they are drawn, get the same cubics.
fn fit_parallel(
    curve: &Source,
    width: f64,
    [a, b]: [f64; 2],
    tolerance: f64,
    push: &mut dyn FnMut(CubicBez, [f64; 2]),
) {
    let CubicBez { p0, p1, p2, p3 } = curve.curve;
    let backwards = p0.distance(p1) > p2.distance(p3);
    let place = |u: f64| if backwards { a + b - u } else { u };
    let at = |u: f64| {
        let tangent = curve.tangent(place(u));
        (curve.parallel(place(u), width), if backwards { -tangent } else { tangent })
    };
    // The source's own arms, and those of a circular arc of the width: exact for a circle.
    let arms = |u: f64, v: f64| {
        let (from, to) = (curve.tangent(place(u)), curve.tangent(place(v)));
        let angle = if backwards { to.cross(from) } else { from.cross(to) }.atan2(from.dot(to));
        let round = width * 4.0 / 3.0 * (angle / 4.0).tan();
        let third = (v - u) / 3.0;
        [u, v].map(|u| third * curve.velocity(place(u)).hypot() + round)
    };
    let mut fitted = Target { at: &at, arms: &arms, most: usize::MAX }.fit([a, b], tolerance);
    if backwards {
        fitted.reverse();
    }
    for (cubic, [u, v]) in fitted {
        if backwards {
            push(CubicBez::new(cubic.p3, cubic.p2, cubic.p1, cubic.p0), [place(v), place(u)]);
        } else {
            push(cubic, [u, v]);
        }
    }
}

/// 0, the parameters where 1 + w·κ changes sign, and 1.
fn turning_points(curve: &Source, width: f64) -> Vec<f64> {
    let mut turns = vec![0.0];
    // c' × c'' is a quadratic in t; where it is positive the curve turns left and nothing can happen.
    let cross = |t: f64| curve.velocity(t).cross(curve.acceleration(t));
    let [low, mid, high] = [cross(0.0), cross(0.5), cross(1.0)];
    let bend = 2.0 * (low - 2.0 * mid + high);
    let slope = -3.0 * low + 4.0 * mid - high;
    let lowest = if bend > 0.0 { (-slope / (2.0 * bend)).clamp(0.0, 1.0) } else { 0.0 };
    let least = low.min(high).min(cross(lowest));
    if least < 0.0 {
        // Scaled so that it stays finite where the speed vanishes: |c'|³ + w·(c' × c'').
        let value = |t: f64| curve.velocity(t).hypot().powi(3) + width * cross(t);
        let samples: Vec<f64> = sign_samples(&value);
        for pair in samples.windows(2) {
            let [mut a, mut b] = [pair[0], pair[1]];
            let sign = value(a) < 0.0;
            if sign == (value(b) < 0.0) {
                continue;
            }
            for _ in 0..52 {
                let t = 0.5 * (a + b);
                if (value(t) < 0.0) == sign { a = t } else { b = t }
            }
            let t = 0.5 * (a + b);
            if t > 1e-7 && t < 1.0 - 1e-7 {
                turns.push(t);
            }
        }
    }
    turns.push(1.0);
    turns
}

/// Parameters between which a function is taken to change its sign at most once: a regular grid, and the places of its
/// local extremes near zero, found by golden section.
fn sign_samples(value: &impl Fn(f64) -> f64) -> Vec<f64> {
    const GRID: usize = 24;
    // A hair inside the ends, where a vanishing speed would make the sign meaningless.
    let at = |i: usize| (i as f64 / GRID as f64).clamp(1e-6, 1.0 - 1e-6);
    let values: Vec<f64> = (0..=GRID).map(|i| value(at(i))).collect();
    let mut samples = vec![at(0)];
    for i in 1..=GRID {
        if i < GRID {
            let (before, here, after) = (values[i - 1], values[i], values[i + 1]);
            let flip = if here < before && here <= after { 1.0 } else { -1.0 };
            let extreme = flip * here < flip * before && flip * here <= flip * after;
            if extreme && flip * here > 0.0 {
                samples.push(golden(at(i - 1), at(i + 1), |t| flip * value(t)));
            }
        }
        samples.push(at(i));
    }
    samples.sort_by(f64::total_cmp);
    samples
}

fn golden(mut a: f64, mut b: f64, value: impl Fn(f64) -> f64) -> f64 {
    const RATIO: f64 = 0.618_033_988_749_894_9;
    for _ in 0..24 {
        let (c, d) = (b - RATIO * (b - a), a + RATIO * (b - a));
        if value(c) < value(d) { b = d } else { a = c }
    }
    0.5 * (a + b)
}

/// Lines along the centres of curvature from a to b, within the tolerance.
fn follow_centres(curve: &Source, width: f64, [a, b]: [f64; 2], tolerance: f64, push: &mut dyn FnMut(Line, [f64; 2])) {
    const STEPS: usize = 8;
    // At the stretch's ends the radius is the width, or the source ends.
    let centre = |t: f64| curve.point(t) + curve.reach(t.clamp(1e-9, 1.0 - 1e-9), width) * curve.normal(t);
    let mut from = (a, centre(a));
    for i in 1..=STEPS {
        let t = if i == STEPS { b } else { a + (b - a) * i as f64 / STEPS as f64 };
        chords(from, (t, centre(t)), &centre, tolerance, 6, push);
        from = (t, centre(t));
    }
}

fn chords(
    from: (f64, Point),
    to: (f64, Point),
    centre: &impl Fn(f64) -> Point,
    tolerance: f64,
    depth: u32,
    push: &mut dyn FnMut(Line, [f64; 2]),
) {
    let t = 0.5 * (from.0 + to.0);
    let middle = centre(t);
    let chord = Line::new(from.1, to.1);
    if depth > 0 && chord.nearest(middle, 1e-9).distance_sq > tolerance * tolerance {
        chords(from, (t, middle), centre, tolerance, depth - 1, push);
        chords((t, middle), to, centre, tolerance, depth - 1, push);
    } else {
        push(chord, [from.0, to.0]);
    }
}

/// A smooth curve that cubics are fitted to.
pub struct Target<'a> {
    /// Point and unit tangent at a parameter. The tangent never turns back.
    pub at: &'a dyn Fn(f64) -> (Point, Vec2),
    /// A first guess at the lengths of the control arms between two parameters.
    pub arms: &'a dyn Fn(f64, f64) -> [f64; 2],
    /// A curve that needs more cubics than this is of no use, and is given up unfinished.
    pub most: usize,
}

/// The arms of a circular arc between two points with their unit tangents: a first guess for any calm curve.
pub fn round_arms(from: (Point, Vec2), to: (Point, Vec2)) -> [f64; 2] {
    let quarter = from.1.cross(to.1).atan2(from.1.dot(to.1)) / 4.0;
    let arm = from.0.distance(to.0) / (3.0 * quarter.cos().powi(2));
    [arm, arm]
}

impl Target<'_> {
    /// Cubics within `tolerance` of the curve from a to b, each with the parameters of its ends; more than `most` where it
    /// was given up.
    pub fn fit(&self, span: [f64; 2], tolerance: f64) -> Vec<(CubicBez, [f64; 2])> {
        let mut out = Vec::new();
        if let Some(cubic) = self.single(span, tolerance) {
            out.push((cubic, span));
            return out;
        }
        let [a, b] = span;
        let t = self.halfway(a, b);
        if let Some((first, second)) = self.single([a, t], tolerance).zip(self.single([t, b], tolerance)) {
            out.extend([(first, [a, t]), (second, [t, b])]);
            return out;
        }
        // As few as there can be: each one as long as it holds. A curve that needs many is no garment's; bisect it.
        let mut from = a;
        let mut stride = 0.5 * (b - a);
        while from < b {
            let next = if out.len() < 8 { self.longest(from, b, stride, tolerance) } else { None };
            let Some((cubic, to)) = next else {
                self.bisected([from, b], tolerance, 0, &mut out);
                break;
            };
            out.push((cubic, [from, to]));
            stride = to - from;
            from = to;
        }
        if out.len() == FEW + 1 { self.fewer(&out, tolerance).unwrap_or(out) } else { out }
    }

    /// A chain of one cubic fewer, where there is one whose inner joints need not lie on the curve. Its joints start where
    /// each has a like number of the cubics that there are; the last of these is shorter than it could be, and counts for
    /// as much as it is of the one before.
    fn fewer(&self, chain: &[(CubicBez, [f64; 2])], tolerance: f64) -> Option<Vec<(CubicBez, [f64; 2])>> {
        let count = chain.len() - 1;
        let [.., (_, before), (_, last)] = chain else { return None };
        let short = ((last[1] - last[0]) / (before[1] - before[0])).min(1.0);
        let joint = |j: usize| {
            let place = (count as f64 + short) * j as f64 / count as f64;
            let index = (place as usize).min(count);
            let [from, to] = chain[index].1;
            from + (to - from) * ((place - index as f64) / if index == count { short } else { 1.0 })
        };
        let joints = (0..count).map(joint).chain([last[1]]).collect();
        let fewer = loosened(self.at, self.arms, joints, tolerance)?;
        fewer.iter().all(|(cubic, span)| self.deviation(cubic, *span, tolerance) <= tolerance).then_some(fewer)
    }

    /// The longest single cubic from `from` towards `end`; `None` where the curve is too rough for one of any use.
    fn longest(&self, from: f64, end: f64, stride: f64, tolerance: f64) -> Option<(CubicBez, f64)> {
        if let Some(cubic) = self.single([from, end], tolerance) {
            return Some((cubic, end));
        }
        let (mut good, mut bad) = (None, end);
        let mut t = from + stride.min(0.7 * (end - from));
        for _ in 0..9 {
            match self.single([from, t], tolerance) {
                Some(cubic) => good = Some((cubic, t)),
                None => bad = t,
            }
            let low = good.as_ref().map_or(from, |(_, t)| *t);
            t = 0.5 * (low + bad);
            if good.is_some() && bad - low < 0.05 * (bad - from) {
                break;
            }
        }
        good
    }

    fn bisected(&self, [a, b]: [f64; 2], tolerance: f64, depth: u32, out: &mut Vec<(CubicBez, [f64; 2])>) {
        if out.len() > self.most {
            return;
        }
        if let Some(cubic) = self.single([a, b], tolerance) {
            out.push((cubic, [a, b]));
        } else if depth >= MAX_DEPTH {
            out.push((self.plain(a, b), [a, b]));
        } else {
            let t = self.halfway(a, b);
            self.bisected([a, t], tolerance, depth + 1, out);
            self.bisected([t, b], tolerance, depth + 1, out);
        }
    }

    /// One cubic within `tolerance` of the curve from a to b, where there is one.
    fn single(&self, [a, b]: [f64; 2], tolerance: f64) -> Option<CubicBez> {
        let turning = self.turning(a, b);
        if turning < 0.5 && (self.at)(a).0.distance((self.at)(b).0) < 0.1 * tolerance {
            return Some(self.plain(a, b));
        }
        // A cubic of more than a third of a circle fits badly; don't even try.
        let cubic = if turning < 2.1 { self.fitted(a, b, tolerance) } else { None };
        cubic.filter(|cubic| self.deviation(cubic, [a, b], tolerance) <= tolerance)
    }

    /// A cubic with the curve's ends and tangents, unfitted.
    fn plain(&self, a: f64, b: f64) -> CubicBez {
        let ((p0, t0), (p3, t3)) = ((self.at)(a), (self.at)(b));
        let arm = p0.distance(p3) / 3.0;
        CubicBez::new(p0, p0 + arm * t0, p3 - arm * t3, p3)
    }

    /// Angle turned from a to b, both ways added up, radians.
    fn turning(&self, a: f64, b: f64) -> f64 {
        let mut sum = 0.0;
        let mut last = (self.at)(a).1;
        for i in 1..=4 {
            let next = (self.at)(a + (b - a) * f64::from(i) / 4.0).1;
            sum += last.cross(next).atan2(last.dot(next)).abs();
            last = next;
        }
        sum
    }

    /// Where to bisect: at half the turning where it is one-sided and uneven, otherwise at half the parameter.
    fn halfway(&self, a: f64, b: f64) -> f64 {
        let middle = 0.5 * (a + b);
        let (first, second) = (self.turning(a, middle), self.turning(middle, b));
        if first < 10.0 * second && second < 10.0 * first {
            return middle;
        }
        let (mut low, mut high) = (a, b);
        for _ in 0..20 {
            let t = 0.5 * (low + high);
            if self.turning(a, t) < self.turning(t, b) { low = t } else { high = t }
        }
        (0.5 * (low + high)).clamp(a + 0.02 * (b - a), b - 0.02 * (b - a))
    }

    /// The cubic with the curve's ends and tangents whose arms make it deviate least; `None` where that is hopeless.
    fn fitted(&self, a: f64, b: f64, tolerance: f64) -> Option<CubicBez> {
        let ((p0, t0), (p3, t3)) = ((self.at)(a), (self.at)(b));
        let cubic = |arms: [f64; 2]| CubicBez::new(p0, p0 + arms[0] * t0, p3 - arms[1] * t3, p3);
        let targets: [(Point, Vec2); FIT] =
            std::array::from_fn(|k| (self.at)(a + (b - a) * (k + 1) as f64 / (FIT + 1) as f64));
        let way: f64 = targets.windows(2).map(|pair| pair[0].0.distance(pair[1].0)).sum();
        let longest = 2.0 * (p0.distance(p3) + way);
        let mut arms = (self.arms)(a, b).map(|arm| arm.clamp(0.0, longest));
        let mut at: [f64; FIT] = std::array::from_fn(|k| (k + 1) as f64 / (FIT + 1) as f64);
        let mut weights = [1.0; FIT];
        let mut best: Option<(f64, CubicBez)> = None;
        for round in 0..ROUNDS {
            let trial = cubic(arms);
            let speed = trial.deriv();
            let mut worst = 0.0_f64;
            let mut errors = [0.0; FIT];
            let (mut aa, mut ab, mut bb, mut ae, mut be) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for k in 0..FIT {
                let (target, along) = targets[k];
                for _ in 0..2 {
                    let ahead = speed.eval(at[k]).to_vec2().dot(along);
                    let step = (trial.eval(at[k]) - target).dot(along) / ahead;
                    if step.is_finite() {
                        at[k] = (at[k] - step).clamp(0.0, 1.0);
                    }
                }
                let (u, v) = (at[k], 1.0 - at[k]);
                let normal = right(along);
                let error = (trial.eval(u) - target).dot(normal);
                errors[k] = error.abs();
                worst = worst.max(errors[k]);
                let (ga, gb) = (3.0 * v * v * u * t0.dot(normal), -3.0 * v * u * u * t3.dot(normal));
                aa += weights[k] * ga * ga;
                ab += weights[k] * ga * gb;
                bb += weights[k] * gb * gb;
                ae += weights[k] * ga * error;
                be += weights[k] * gb * error;
            }
            if !worst.is_finite() {
                return None;
            }
            if best.is_none_or(|(least, _)| worst < least) {
                best = Some((worst, trial));
            }
            // The least maximum is not far below that of least squares.
            if worst < ENOUGH * tolerance || (round >= SQUARES && worst > 8.0 * tolerance) {
                break;
            }
            if round >= SQUARES {
                for k in 0..FIT {
                    weights[k] *= 0.2 + errors[k] / worst;
                }
            }
            // A whiff of damping keeps nearly straight stretches from flinging their arms about.
            let damping = 1e-9 * (aa + bb) + 1e-15;
            let determinant = (aa + damping) * (bb + damping) - ab * ab;
            let step = [(ae * (bb + damping) - be * ab) / determinant, (be * (aa + damping) - ae * ab) / determinant];
            if !(step[0].is_finite() && step[1].is_finite()) {
                break;
            }
            arms = [0, 1].map(|i| (arms[i] - step[i]).clamp(0.0, longest));
        }
        best.filter(|(worst, _)| *worst <= tolerance).map(|(_, cubic)| cubic)
    }

    /// How far a fitted cubic strays from the curve over a..b: from points of the curve to the cubic along the normal, and
    /// from points of the cubic between them back to the curve. Infinite where the cubic runs backwards.
    fn deviation(&self, cubic: &CubicBez, [a, b]: [f64; 2], tolerance: f64) -> f64 {
        let speed = cubic.deriv();
        let step = (b - a) / CHECKS as f64;
        let mut worst = 0.0_f64;
        let (mut u, mut last) = (0.0, (0.0, (self.at)(a).0));
        for k in 1..=CHECKS {
            let t = a + step * k as f64;
            let (target, along) = (self.at)(t);
            u = (u + 1.0 / CHECKS as f64).min(1.0);
            for _ in 0..3 {
                let step = (cubic.eval(u) - target).dot(along) / speed.eval(u).to_vec2().dot(along);
                if !step.is_finite() {
                    return f64::INFINITY;
                }
                u = (u - step).clamp(last.0, 1.0);
                if step.abs() < 1e-7 {
                    break;
                }
            }
            worst = worst.max(cubic.eval(u).distance(target));
            // Back again from between the last check and this one, oftener where the cubic hurries from one to the other:
            // one Newton step with the chord's speed brings the curve abreast.
            let backs = ((u - last.0) * CHECKS as f64).round().clamp(1.0, 8.0);
            let pace = target.distance(last.1) / step;
            for back in 0..backs as usize {
                let share = (back as f64 + 0.5) / backs;
                let from = cubic.eval(last.0 + share * (u - last.0));
                let beside = t - (1.0 - share) * step;
                let (abreast, along) = (self.at)(beside);
                let (point, along) = (self.at)((beside + (from - abreast).dot(along) / pace).clamp(a, b));
                worst = worst.max((from - point).cross(along).abs());
            }
            if worst > tolerance {
                return worst;
            }
            last = (u, target);
        }
        worst
    }
}
