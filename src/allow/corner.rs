//! How the cut line turns the corners of the sew line: one path for each corner, from the parallel of one side to that
//! of the next.
//!
//! At a corner V with directions d₁ and d₂, outward normals n₁ and n₂, widths w₁ and w₂, the two cut lines pass through
//! V + w₁n₁ and V + w₂n₂. They meet at a distance (w₂ − w₁·cos θ) / sin θ ahead of the first of these points, θ the
//! turn; where that is negative, the wider allowance is shortened.

use super::cap::Tip;
use super::fold_back::fold_back;
use super::outline::{KINK, Side, turn};
use crate::geom::crossing::{first_rise, run_up};
use crate::geom::offset::{Parallel, parallel, right};
use crate::piece::Finish;
use kurbo::{CubicBez, Line, LineIntersection, ParamCurve, PathSeg, Point, Vec2};

/// A mitre reaches no farther from the corner than this many times the wider allowance, and is cut square to the
/// bisector beyond it. At equal widths that is a corner of 29°; the longest useful points (collars) are blunter.
pub const MITRE_LIMIT: f64 = 4.0;

/// Corners that turn back to within this of straight back are looked at more closely, radians.
const REVERSAL: f64 = 0.05;

/// Distances below this are rounding, mm.
const NOTHING: f64 = 1e-9;

/// A place on a side's parallel.
#[derive(Clone, Copy, Debug)]
pub struct Cut {
    /// Which of its stretches.
    pub stretch: usize,
    /// The parameter on that stretch.
    pub at: f64,
    /// The point.
    pub point: Point,
}

/// A corner of the sew line, turned.
#[derive(Clone, Debug)]
pub struct Corner {
    /// The corner itself.
    pub vertex: Point,
    /// Where the cut line leaves the first side's parallel, where that is before its end.
    pub leave: Option<Cut>,
    /// Where it comes onto the next side's parallel, where that is after its start.
    pub enter: Option<Cut>,
    /// From one to the other; empty where they are the same point.
    pub path: Vec<PathSeg>,
    /// Whether a plainer finish had to serve than the one that was asked for.
    pub plain: bool,
}

/// A side with the parallel at its width.
#[derive(Clone, Copy, Debug)]
pub struct Strip<'a> {
    /// The side.
    pub side: &'a Side,
    /// Its parallel; never empty.
    pub parallel: &'a [Parallel],
}

impl Strip<'_> {
    fn end(&self) -> Point {
        self.parallel[self.parallel.len() - 1].curve.end()
    }

    fn start(&self) -> Point {
        self.parallel[0].curve.start()
    }
}

/// Everything about a corner that its finishes ask for.
struct Turn<'a> {
    sides: [Strip<'a>; 2],
    vertex: Point,
    along: [Vec2; 2],
    width: [f64; 2],
    angle: f64,
    /// Where square ends of the allowances meet their cut lines.
    ends: [Point; 2],
    tolerance: f64,
}

/// Turns the corner between two sides. With `trim` false neither parallel is shortened.
pub fn corner(sides: [Strip; 2], finish: Finish, trim: bool, tolerance: f64) -> Corner {
    let [first, next] = sides;
    let vertex = first.side.end();
    let along = [first.side.end_tangent(), next.side.start_tangent()];
    let width = [first.side.width, next.side.width];
    let mut angle = turn(along[0], along[1]);
    if angle.abs() > std::f64::consts::PI - REVERSAL {
        angle = angle.abs() * reversal(sides, vertex);
    }
    let ends = [0, 1].map(|i| vertex + width[i] * right(along[i]));
    let corner = Turn { sides, vertex, along, width, angle, ends, tolerance };
    if angle.abs() < KINK {
        return corner.smooth();
    }
    if angle < 0.0 {
        return corner.inward(finish, trim);
    }
    if let Some(corner) = first.side.tip.as_ref().and_then(|tip| corner.tip(tip)) {
        return corner;
    }
    if finish == Finish::FoldBack {
        let folded = if trim { fold_back(sides, tolerance) } else { None };
        return folded.unwrap_or_else(|| Corner { plain: true, ..corner.mitre(false) });
    }
    match finish {
        Finish::Bevel => corner.plain(corner.outward(&[])),
        Finish::Round => corner.round(),
        Finish::Square => corner.square(trim),
        Finish::Step => corner.step(trim),
        Finish::Mitre | Finish::FoldBack => corner.mitre(trim),
    }
}

/// Which way a near reversal turns: 1 for a spike that points outward, −1 for a slit. The tangents may be parted by no
/// more than rounding, so the sides are compared where they first lie clearly apart.
fn reversal([first, next]: [Strip; 2], vertex: Point) -> f64 {
    const APART: f64 = 1e-4;
    let (back, ahead) = (first.side.run[first.side.run.len() - 1].reverse(), next.side.run[0]);
    let longest = vertex.distance(back.end()).min(vertex.distance(ahead.end()));
    let mut turned = 0.0;
    let mut far = longest.min(0.01);
    while far <= longest && far > 0.0 {
        let [a, b] = [&back, &ahead].map(|segment| {
            let t = first_rise(segment, |p| p.distance(vertex) - far).unwrap_or(1.0);
            segment.eval(t) - vertex
        });
        // a points back along the first side, b ahead along the next.
        turned = b.cross(a) / far;
        if turned.abs() > APART {
            break;
        }
        far *= 1.5;
    }
    if turned < 0.0 { -1.0 } else { 1.0 }
}

impl Turn<'_> {
    fn plain(&self, path: Vec<PathSeg>) -> Corner {
        Corner { vertex: self.vertex, leave: None, enter: None, path, plain: false }
    }

    /// From the first parallel's end over the square ends and the given points to the next parallel's start.
    fn outward(&self, between: &[Point]) -> Vec<PathSeg> {
        let mut points = vec![self.sides[0].end(), self.ends[0]];
        points.extend_from_slice(between);
        points.extend([self.ends[1], self.sides[1].start()]);
        joined(&points)
    }

    /// A join that turns by hardly anything: from one cut line to the other, square to the seam where the widths differ.
    /// Where it turns inward, the wider band's end lies by the narrower width times the turn inside the narrower band; where
    /// that is more than a hair, the cut line must go in as far as that.
    fn smooth(&self) -> Corner {
        const HAIR: f64 = 0.1;
        let (first, next) = (self.sides[0].end(), self.sides[1].start());
        let overlap = -self.angle * self.width[0].min(self.width[1]);
        if overlap > HAIR * self.tolerance && (self.width[0] - self.width[1]).abs() > NOTHING {
            return self.plain(joined(&[first, self.vertex, next]));
        }
        self.plain(joined(&[first, next]))
    }

    fn inward(&self, finish: Finish, trim: bool) -> Corner {
        let (first, next) = (self.sides[0].end(), self.sides[1].start());
        let meeting = if finish == Finish::Step || !trim { None } else { self.meeting_of_unequal() };
        let corner = |leave, enter, points: &[Point]| {
            let path = joined(points);
            Corner { vertex: self.vertex, leave, enter, path, plain: false }
        };
        match meeting {
            Some((0, cut)) => corner(None, Some(cut), &[first, cut.point]),
            Some((_, cut)) => corner(Some(cut), None, &[cut.point, next]),
            None => self.plain(joined(&[first, self.vertex, next])),
        }
    }

    /// At an inward corner: the wider allowance's cut line run on until it meets the narrower's, where its square end
    /// would stand out. Gives which is wider, and the place on the other.
    fn meeting_of_unequal(&self) -> Option<(usize, Cut)> {
        let cosine = self.angle.cos();
        let wide = usize::from(self.width[1] > self.width[0]);
        let narrow = 1 - wide;
        let actual = if wide == 0 { self.sides[0].end() } else { self.sides[1].start() };
        let stands_out = self.width[wide] * cosine > self.width[narrow] + NOTHING;
        if !stands_out || actual.distance(self.ends[wide]) > NOTHING {
            return None;
        }
        let ahead = if wide == 0 { self.along[0] } else { -self.along[1] };
        let cut = self.first_hit(narrow, self.ends[wide], ahead)?;
        Some((wide, cut))
    }

    /// Where a ray first meets one side's parallel, within the mitre limit.
    fn first_hit(&self, side: usize, origin: Point, ahead: Vec2) -> Option<Cut> {
        let limit = MITRE_LIMIT * self.width[0].max(self.width[1]);
        let ray = Line::new(origin, origin + limit * ahead);
        let mut best: Option<(f64, Cut)> = None;
        for (stretch, parallel) in self.sides[side].parallel.iter().enumerate() {
            for hit in parallel.curve.intersect_line(ray) {
                let on = (0.0..=1.0).contains(&hit.line_t) && (0.0..=1.0).contains(&hit.segment_t);
                if on && best.is_none_or(|(least, _)| hit.line_t < least) {
                    let point = parallel.curve.eval(hit.segment_t);
                    best = Some((hit.line_t, Cut { stretch, at: hit.segment_t, point }));
                }
            }
        }
        let (far, cut) = best?;
        // Where the allowance is narrowed by a hollow there is no cut line to meet; and the way there may not lead back
        // through the sew line.
        let hollow = self.sides[side].parallel[cut.stretch].evolute;
        let through = |hit: &LineIntersection| hit.line_t > 1e-3 / limit && hit.line_t < far;
        let crosses = self.sides[side].side.run.iter().any(|segment| segment.intersect_line(ray).iter().any(through));
        (!hollow && !crosses && cut.point.distance(self.vertex) <= limit).then_some(cut)
    }

    fn mitre(&self, trim: bool) -> Corner {
        let ([w1, w2], (sine, cosine)) = (self.width, self.angle.sin_cos());
        let ahead = (w2 - w1 * cosine) / sine;
        let back = (w1 - w2 * cosine) / sine;
        let limit = MITRE_LIMIT * w1.max(w2);
        // The apex may lie before a square end by rounding only: at a right angle and width 0 it is that end.
        if ahead > -1e-7 && back > -1e-7 {
            if ahead.hypot(w1) > limit {
                return self.blunt();
            }
            let apex = self.ends[0] + ahead.max(0.0) * self.along[0];
            return self.plain(self.outward(&[apex]));
        }
        let cut = if !trim {
            None
        } else if ahead < 0.0 {
            self.first_hit(0, self.ends[1], -self.along[1])
        } else {
            self.first_hit(1, self.ends[0], self.along[0])
        };
        match cut {
            None => self.stepped(),
            Some(cut) if ahead < 0.0 => {
                let path = joined(&[cut.point, self.ends[1], self.sides[1].start()]);
                Corner { vertex: self.vertex, leave: Some(cut), enter: None, path, plain: false }
            }
            Some(cut) => {
                let path = joined(&[self.sides[0].end(), self.ends[0], cut.point]);
                Corner { vertex: self.vertex, leave: None, enter: Some(cut), path, plain: false }
            }
        }
    }

    /// Both layers' cut lines run on to the fold that they share.
    fn tip(&self, tip: &Tip) -> Option<Corner> {
        let (origin, along) = tip.fold;
        let across = |p: Point| along.cross(p - origin);
        let chain = |index: usize| {
            let (end, ahead) = if index == 0 { (self.ends[0], self.along[0]) } else { (self.ends[1], -self.along[1]) };
            let stretches = parallel(&tip.beyond[index], self.width[index], self.tolerance);
            let mut run: Vec<PathSeg> = stretches.iter().map(|stretch| stretch.curve).collect();
            if index == 1 {
                run = run.iter().rev().map(PathSeg::reverse).collect();
            }
            run.insert(0, PathSeg::Line(Line::new(end, run.first().map_or(end + ahead, PathSeg::start))));
            run.retain(|segment| segment.start().distance(segment.end()) > NOTHING);
            let way = if across(end) < 0.0 { 1.0 } else { -1.0 };
            let usable = stretches.iter().all(|stretch| !stretch.evolute) && across(end).abs() > NOTHING;
            if usable { run_up(&run, |p| way * across(p)).map(|[up, _]| up) } else { None }
        };
        let (up, down) = (chain(0)?, chain(1)?);
        let (first, last) = (up.first()?.start(), down.first()?.start());
        let mut path = joined(&[self.sides[0].end(), first]);
        path.extend(&up);
        path.extend(joined(&[up.last()?.end(), down.last()?.end()]));
        path.extend(down.iter().rev().map(PathSeg::reverse));
        path.extend(joined(&[last, self.sides[1].start()]));
        Some(self.plain(path))
    }

    /// Both cut lines run on to a line square to the bisector, at the wider allowance's width from the corner.
    fn blunt(&self) -> Corner {
        let bisector = (self.along[0] - self.along[1]).normalize();
        let far = self.width[0].max(self.width[1]);
        // How far each cut line must run on to reach that line.
        let on =
            |end: Point, ahead: Vec2| end + (far - (end - self.vertex).dot(bisector)) / ahead.dot(bisector) * ahead;
        self.plain(self.outward(&[on(self.ends[0], self.along[0]), on(self.ends[1], -self.along[1])]))
    }

    /// An arc of the narrower width about the corner; the wider allowance ends square beside it.
    fn round(&self) -> Corner {
        let radius = self.width[0].min(self.width[1]);
        if radius == 0.0 {
            return self.plain(self.outward(&[self.vertex]));
        }
        let rim = self.along.map(|d| self.vertex + radius * right(d));
        let mut path = joined(&[self.sides[0].end(), self.ends[0], rim[0]]);
        path.extend(arc(self.vertex, rim[0] - self.vertex, self.angle, 0.5 * self.tolerance));
        if let Some(last) = path.last_mut() {
            *last = PathSeg::Cubic(CubicBez { p3: rim[1], ..last.to_cubic() });
        }
        path.extend(joined(&[rim[1], self.ends[1], self.sides[1].start()]));
        self.plain(path)
    }

    /// The mitre, cut by two lines: square to each seam, through the point where that seam, run on, meets the
    /// neighbour's cut line. Seams of two pieces whose allowances are cut so match end to end when they are sewn.
    fn square(&self, trim: bool) -> Corner {
        let ([w1, w2], (sine, cosine)) = (self.width, self.angle.sin_cos());
        if cosine >= -1e-9 || w1 == 0.0 || w2 == 0.0 {
            return self.mitre(trim);
        }
        let ahead = (w2 - w1 * cosine) / sine;
        if ahead.hypot(w1) > MITRE_LIMIT * w1.max(w2) {
            return self.blunt();
        }
        let apex = self.ends[0] + ahead * self.along[0];
        let mut points = vec![self.ends[0], apex, self.ends[1]];
        for (direction, far) in [(self.along[0], w2 / sine), (-self.along[1], w1 / sine)] {
            points = clipped(&points, |p| far - (p - self.vertex).dot(direction));
        }
        self.plain(self.outward(&points))
    }

    /// The wider allowance ends square to its own seam and steps down onto the narrower's cut line; where the corner is
    /// too sharp for a step, a mitre.
    fn step(&self, trim: bool) -> Corner {
        let wide = usize::from(self.width[1] > self.width[0]);
        if self.width[wide] * self.angle.cos() <= self.width[1 - wide] + NOTHING {
            return self.mitre(trim);
        }
        self.stepped()
    }

    fn stepped(&self) -> Corner {
        let wide = usize::from(self.width[1] > self.width[0]);
        let foot = self.vertex + self.width[1 - wide] / self.angle.cos() * right(self.along[wide]);
        self.plain(self.outward(&[foot]))
    }
}

/// Lines through points, without those of no length and without spurs: a point from which the line would run straight
/// back is left out.
pub fn joined(points: &[Point]) -> Vec<PathSeg> {
    let mut kept: Vec<Point> = Vec::with_capacity(points.len());
    for point in points {
        while let [.., before, last] = kept[..] {
            let (u, v) = (last - before, *point - last);
            if u.dot(v) < 0.0 && u.cross(v).abs() < 1e-9 * u.hypot() * v.hypot() {
                kept.pop();
            } else {
                break;
            }
        }
        if kept.last().is_none_or(|last| last.distance(*point) > NOTHING) {
            kept.push(*point);
        }
    }
    kept.windows(2).map(|pair| PathSeg::Line(Line::new(pair[0], pair[1]))).collect()
}

/// A polyline clipped to where `inside` is not negative.
fn clipped(points: &[Point], inside: impl Fn(Point) -> f64) -> Vec<Point> {
    let mut out = Vec::with_capacity(points.len() + 2);
    for (index, point) in points.iter().enumerate() {
        let here = inside(*point);
        if index > 0 {
            let before = inside(points[index - 1]);
            if (before < 0.0) != (here < 0.0) {
                out.push(points[index - 1].lerp(*point, before / (before - here)));
            }
        }
        if here >= 0.0 {
            out.push(*point);
        }
    }
    out
}

/// The length of the control arms, for radius 1, that give a cubic the area of its circular sector: the area is quadratic
/// in the arm, 3·sin φ·a² − 12·(1 − cos φ)·a + 10·(φ − sin φ) = 0.
fn arm_of_equal_area(angle: f64) -> f64 {
    if angle < 0.05 {
        return 4.0 / 3.0 * (angle / 4.0).tan();
    }
    let (sine, versine) = (angle.sin(), 1.0 - angle.cos());
    let root = (144.0 * versine * versine - 120.0 * sine * (angle - sine)).sqrt();
    (12.0 * versine - root) / (6.0 * sine)
}

/// A circular arc counter-clockwise from centre + `radius` through `angle` radians, as cubics within `tolerance`.
pub fn arc(centre: Point, radius: Vec2, angle: f64, tolerance: f64) -> Vec<PathSeg> {
    // The cubic that touches the arc in its middle strays outward by r · 4/27 · sin⁶(φ/4) / cos²(φ/4) (Goldapp, CAGD 8,
    // 1991). The one used here has the arc's own area instead, so it strays less, and to both sides.
    let error = |count: f64| {
        let (sine, cosine) = (angle / count / 4.0).sin_cos();
        radius.hypot() * 4.0 / 27.0 * sine.powi(6) / (cosine * cosine)
    };
    let mut count = (angle / std::f64::consts::FRAC_PI_2).ceil().max(1.0);
    while error(count) > tolerance && count < 64.0 {
        count += 1.0;
    }
    let arm = arm_of_equal_area(angle / count);
    let rotated = |k: f64| {
        let (sine, cosine) = (angle * k / count).sin_cos();
        Vec2::new(cosine * radius.x - sine * radius.y, sine * radius.x + cosine * radius.y)
    };
    let left = |v: Vec2| Vec2::new(-v.y, v.x);
    (0..count as u32)
        .map(|k| {
            let (from, to) = (rotated(f64::from(k)), rotated(f64::from(k + 1)));
            PathSeg::Cubic(CubicBez::new(
                centre + from,
                centre + from + arm * left(from),
                centre + to - arm * left(to),
                centre + to,
            ))
        })
        .collect()
}
