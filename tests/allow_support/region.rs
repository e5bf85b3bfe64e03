//! The allowance region by its definition (see the header of `oaktag::allow`), worked out a second time from polygons.
#![allow(dead_code)]

use super::chain::{Chain, distance_sq};
use super::oracle::{closed, normal, path_d, signed_area};
use clipper2_rust::{FillRule, PathsD, union_subjects_d};
use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv, PathSeg, Point, Shape, Vec2};
use oaktag::piece::{Edge, Finish, Piece};

/// The region's outer contour by its definition (see the header of `oaktag::allow`), for pieces whose edges are single
/// segments: polygons of all parts, united by clipper2.
pub fn region(piece: &Piece, chord: f64) -> Option<Chain> {
    // Edges under a thousandth of a millimetre are no edges; the next one starts where they did.
    let mut edges: Vec<&Edge> = Vec::new();
    let mut segments: Vec<PathSeg> = Vec::new();
    for (edge, segment) in piece.edges.iter().flat_map(|edge| edge.path.segments().map(move |s| (edge, s))) {
        let start = segments.last().map_or(segment.start(), PathSeg::end);
        let segment = match segment {
            PathSeg::Line(line) => PathSeg::Line(kurbo::Line::new(start, line.p1)),
            other => PathSeg::Cubic(CubicBez { p0: start, ..other.to_cubic() }),
        };
        if segment.bounding_box().size().to_vec2().hypot() > 1e-3 {
            edges.push(edge);
            segments.push(segment);
        }
    }
    let count = edges.len();
    let widths: Vec<f64> = edges.iter().map(|edge| edge.allowance).collect();
    let start = segments[0].start();
    segments[count - 1] = match segments[count - 1] {
        PathSeg::Line(line) => PathSeg::Line(kurbo::Line::new(line.p0, start)),
        other => PathSeg::Cubic(CubicBez { p3: start, ..other.to_cubic() }),
    };
    // Every band as pairs of a sew point and a border point.
    let mut bands: Vec<Vec<(Point, Point)>> = (0..count).map(|i| ladder(&segments[i], widths[i], chord)).collect();
    let mut parts: PathsD = Vec::new();
    let turns: Vec<Turn> = (0..count)
        .map(|i| {
            let j = (i + 1) % count;
            Turn::new(&segments[i], &segments[j], [widths[i], widths[j]], edges[i].corner)
        })
        .collect();
    let mut shapes: Vec<Vec<Point>> = Vec::new();
    // Cuts first: how many rungs each band loses at its end and at its start.
    let mut cuts: Vec<Option<Shortened>> =
        (0..count).map(|i| turns[i].shortened(&bands[i], &bands[(i + 1) % count])).collect();
    // Two cuts that pass each other on a short edge leave it whole.
    let passed: Vec<bool> = (0..count)
        .map(|i| {
            let start = cuts[(i + count - 1) % count].as_ref().filter(|cut| cut.second).map(|cut| cut.rung);
            let end = cuts[i].as_ref().filter(|cut| !cut.second).map(|cut| cut.rung);
            start.zip(end).is_some_and(|(start, end)| start >= end)
        })
        .collect();
    for i in 0..count {
        if passed[i] {
            cuts[(i + count - 1) % count] = None;
            cuts[i] = None;
        }
    }
    for i in 0..count {
        let j = (i + 1) % count;
        match &cuts[i] {
            None => shapes.push(turns[i].shape()),
            Some(cut) => shapes.push(turns[i].shape_with_cut(cut, &bands[i], &bands[j])),
        }
    }
    // The piece through the same points as its bands.
    let sew: Vec<Point> = bands.iter().flat_map(|band| band[..band.len() - 1].iter().map(|rung| rung.0)).collect();
    parts.push(path_d(&sew));
    for i in 0..count {
        let start = cuts[(i + count - 1) % count].as_ref().filter(|cut| cut.second).map(|cut| cut.rung);
        let end = cuts[i].as_ref().filter(|cut| !cut.second).map(|cut| cut.rung);
        let whole = &bands[i];
        let inside = |k: &usize| start.is_none_or(|rung| *k as f64 > rung) && end.is_none_or(|rung| (*k as f64) < rung);
        let mut kept: Vec<_> = (0..whole.len()).filter(inside).map(|k| whole[k]).collect();
        if let Some(rung) = start {
            kept.insert(0, at_rung(whole, rung));
        }
        if let Some(rung) = end {
            kept.push(at_rung(whole, rung));
        }
        bands[i] = kept;
    }
    for band in &bands {
        for pair in band.windows(2) {
            let ((a, b), (c, d)) = (pair[0], pair[1]);
            parts.push(path_d(&[a, b, d, c]));
        }
    }
    for shape in shapes {
        parts.push(path_d(&shape));
    }
    // All parts count once, whichever way they were listed.
    for part in &mut parts {
        if signed_area(part) < 0.0 {
            part.reverse();
        }
    }
    // Snapped to clipper2's grid, abutting parts leave slits: close them, and open again.
    closed(&union_subjects_d(&parts, FillRule::NonZero, 7))
}

fn at_rung(band: &[(Point, Point)], rung: f64) -> (Point, Point) {
    let k = (rung.floor() as usize).min(band.len() - 2);
    let f = rung - k as f64;
    (band[k].0.lerp(band[k + 1].0, f), band[k].1.lerp(band[k + 1].1, f))
}

fn ladder(segment: &PathSeg, width: f64, chord: f64) -> Vec<(Point, Point)> {
    let rung = |t: f64| {
        let n = normal(segment, t);
        (segment.eval(t), segment.eval(t) + reach(segment, t, width) * n)
    };
    if let PathSeg::Line(_) = segment {
        return vec![rung(0.0), rung(1.0)];
    }
    // Halve until neither chord strays.
    let mut rungs = vec![rung(0.0)];
    let mut stack: Vec<(f64, f64)> = (0..16).rev().map(|i| (f64::from(i) / 16.0, f64::from(i + 1) / 16.0)).collect();
    while let Some((a, b)) = stack.pop() {
        let (ra, rb) = (rung(a), rung(b));
        let off = [0.25, 0.5, 0.75]
            .map(|f| rung(a + f * (b - a)))
            .iter()
            .map(|r| distance_sq(ra.0, rb.0, r.0).max(distance_sq(ra.1, rb.1, r.1)).sqrt())
            .fold(0.0, f64::max);
        if off > chord && b - a > 1e-9 {
            stack.push((0.5 * (a + b), b));
            stack.push((a, 0.5 * (a + b)));
        } else {
            rungs.push(rb);
        }
    }
    rungs
}

/// Width, or the radius of a tighter curve to the right.
fn reach(segment: &PathSeg, t: f64, width: f64) -> f64 {
    let PathSeg::Cubic(c) = segment else { return width };
    let t = t.clamp(1e-9, 1.0 - 1e-9);
    let d: Vec2 = c.deriv().eval(t).to_vec2();
    let dd: Vec2 = second(c, t);
    let bend = -d.cross(dd) / d.hypot().powi(3);
    if bend * width > 1.0 { 1.0 / bend } else { width }
}

fn second(c: &CubicBez, t: f64) -> Vec2 {
    let a = (c.p2.to_vec2() - 2.0 * c.p1.to_vec2() + c.p0.to_vec2()) * 6.0;
    let b = (c.p3.to_vec2() - 2.0 * c.p2.to_vec2() + c.p1.to_vec2()) * 6.0;
    a.lerp(b, t)
}

struct Turn {
    v: Point,
    d: [Vec2; 2],
    n: [Vec2; 2],
    w: [f64; 2],
    angle: f64,
    finish: Finish,
    truncated: [bool; 2],
}

/// A band that a corner shortens.
struct Shortened {
    /// Whether it is the second side's.
    second: bool,
    /// Where, in rungs of its ladder.
    rung: f64,
    point: Point,
}

const LIMIT: f64 = 4.0;

impl Turn {
    fn new(a: &PathSeg, b: &PathSeg, w: [f64; 2], finish: Finish) -> Self {
        let n = [normal(a, 1.0), normal(b, 0.0)];
        let d = n.map(|n| Vec2::new(-n.y, n.x));
        let mut angle = d[0].cross(d[1]).atan2(d[0].dot(d[1]));
        if angle.abs() > 3.1 {
            // All but a reversal: the sides part clearly only a little way off.
            let back = a.eval(0.98) - a.end();
            let ahead = b.eval(0.02) - a.end();
            angle = angle.abs() * ahead.cross(back).signum();
        }
        let truncated = [reach(a, 1.0, w[0]) < w[0], reach(b, 0.0, w[1]) < w[1]];
        Self { v: a.end(), d, n, w, angle, finish, truncated }
    }

    fn end(&self, i: usize) -> Point {
        self.v + self.w[i] * self.n[i]
    }

    /// Lengths along both cut lines to where they meet.
    fn ahead(&self) -> [f64; 2] {
        let (s, c) = self.angle.sin_cos();
        [(self.w[1] - self.w[0] * c) / s, (self.w[0] - self.w[1] * c) / s]
    }

    fn mitred(&self) -> bool {
        let square = self.finish == Finish::Square && self.angle.cos() < -1e-9 && self.w[0] > 0.0 && self.w[1] > 0.0;
        let step = self.finish == Finish::Step && self.steps();
        matches!(self.finish, Finish::Mitre | Finish::Square | Finish::Step) && !square && !step
    }

    fn steps(&self) -> bool {
        let (wide, narrow) = (self.w[0].max(self.w[1]), self.w[0].min(self.w[1]));
        wide * self.angle.cos() > narrow + 1e-9
    }

    /// The band that a mitre between unlike widths shortens: the wider one at an outward corner, the narrower one at an
    /// inward corner.
    fn shortened(&self, first: &[(Point, Point)], second: &[(Point, Point)]) -> Option<Shortened> {
        if self.angle.abs() < 1e-3 {
            return None;
        }
        let far = LIMIT * self.w[0].max(self.w[1]);
        if self.angle > 0.0 {
            let ahead = self.ahead();
            if !self.mitred() || ahead.iter().all(|a| *a > -1e-7) {
                return None;
            }
            let on_second = ahead[1] < 0.0;
            let (band, origin, along) =
                if on_second { (second, self.end(0), self.d[0]) } else { (first, self.end(1), -self.d[1]) };
            return self.hit(band, origin, along, far, on_second);
        }
        let wide = usize::from(self.w[1] > self.w[0]);
        let stands_out = self.w[wide] * self.angle.cos() > self.w[1 - wide] + 1e-9;
        if self.finish == Finish::Step || !stands_out || self.truncated[wide] {
            return None;
        }
        let (band, along) = if wide == 0 { (second, self.d[0]) } else { (first, -self.d[1]) };
        self.hit(band, self.end(wide), along, far, wide == 0)
    }

    fn hit(&self, band: &[(Point, Point)], origin: Point, along: Vec2, far: f64, second: bool) -> Option<Shortened> {
        let mut best: Option<(f64, Shortened)> = None;
        for (k, pair) in band.windows(2).enumerate() {
            let (a, b) = (pair[0].1, pair[1].1);
            let u = b - a;
            let cross = along.cross(u);
            if cross.abs() < 1e-12 {
                continue;
            }
            let (s, t) = ((a - origin).cross(u) / cross, (a - origin).cross(along) / cross);
            if (0.0..=far).contains(&s) && (0.0..=1.0).contains(&t) && best.as_ref().is_none_or(|(least, _)| s < *least)
            {
                best = Some((s, Shortened { second, rung: k as f64 + t, point: a + t * u }));
            }
        }
        // A cut line that would end where the allowance is narrowed by a hollow does not shorten it.
        let whole = |cut: &Shortened| {
            let width = self.w[usize::from(cut.second)];
            let k = (cut.rung.floor() as usize).min(band.len() - 2);
            [k, k + 1].iter().all(|k| band[*k].0.distance(band[*k].1) > width - 1e-6)
        };
        let (length, cut) = best?;
        // Nor one that would lead back through the sew line.
        let crosses = band.windows(2).any(|pair| {
            let (a, u) = (pair[0].0, pair[1].0 - pair[0].0);
            let cross = along.cross(u);
            let (s, t) = ((a - origin).cross(u) / cross, (a - origin).cross(along) / cross);
            s > 1e-3 && s < length - 1e-9 && (0.0..=1.0).contains(&t)
        });
        (whole(&cut) && !crosses && cut.point.distance(self.v) <= far).then_some(cut)
    }

    /// The corner shape between two bands that keep their square ends.
    fn shape(&self) -> Vec<Point> {
        let (v, [a, b]) = (self.v, [self.end(0), self.end(1)]);
        if self.angle < 1e-3 {
            return if self.angle.abs() < 1e-3 { vec![v, a, b] } else { Vec::new() };
        }
        let (s, c) = self.angle.sin_cos();
        let [w1, w2] = self.w;
        let wide = w1.max(w2);
        let ahead = self.ahead();
        let apex = a + ahead[0] * self.d[0];
        let blunt = || {
            // Square to the bisector at the wider width.
            let bisector = (self.d[0] - self.d[1]).normalize();
            let run = |i: usize, along: Vec2| {
                let short = wide - (self.end(i) - v).dot(bisector);
                self.end(i) + short / along.dot(bisector) * along
            };
            vec![v, a, run(0, self.d[0]), run(1, -self.d[1]), b]
        };
        let foot = |i: usize| v + self.w[1 - i] / c * self.n[i];
        let stepped = || vec![v, a, foot(usize::from(w2 > w1)), b];
        let too_long = ahead[0].hypot(w1) > LIMIT * wide;
        match self.finish {
            Finish::Bevel => vec![v, a, b],
            Finish::Round => {
                let radius = w1.min(w2);
                let mut shape = vec![v];
                for k in 0..=200 {
                    let (s, c) = (self.angle * f64::from(k) / 200.0).sin_cos();
                    let n = self.n[0];
                    shape.push(v + radius * Vec2::new(c * n.x - s * n.y, s * n.x + c * n.y));
                }
                shape.push(v + radius * self.n[1]);
                shape
            }
            Finish::Square if c < -1e-9 && w1 > 0.0 && w2 > 0.0 => {
                if too_long {
                    return blunt();
                }
                let mut shape = vec![v, a, apex, b];
                for (along, far) in [(self.d[0], w2 / s), (-self.d[1], w1 / s)] {
                    let mut kept: Vec<Point> = Vec::new();
                    for i in 0..shape.len() {
                        let (p, q) = (shape[i], shape[(i + 1) % shape.len()]);
                        let (fp, fq) = (far - (p - v).dot(along), far - (q - v).dot(along));
                        if fp >= 0.0 {
                            kept.push(p);
                        }
                        if (fp < 0.0) != (fq < 0.0) {
                            kept.push(p.lerp(q, fp / (fp - fq)));
                        }
                    }
                    shape = kept;
                }
                shape
            }
            Finish::Step if self.steps() => stepped(),
            _ if ahead.iter().all(|x| *x > -1e-7) => {
                if too_long {
                    blunt()
                } else {
                    vec![v, a, apex, b]
                }
            }
            _ => stepped(),
        }
    }

    /// The corner shape where one band is shortened: along the sew line from that band's last rung to the corner.
    fn shape_with_cut(&self, cut: &Shortened, first: &[(Point, Point)], second: &[(Point, Point)]) -> Vec<Point> {
        let band = if cut.second { second } else { first };
        let foot = at_rung(band, cut.rung).0;
        let mut shape = vec![foot, cut.point];
        if cut.second {
            shape.push(self.end(0));
            shape.push(self.v);
            shape.extend(band.iter().enumerate().filter(|(k, _)| (*k as f64) < cut.rung && *k > 0).map(|(_, r)| r.0));
        } else {
            shape.push(self.end(1));
            shape.push(self.v);
            let last = band.len() - 1;
            shape.extend(
                band.iter().enumerate().rev().filter(|(k, _)| (*k as f64) > cut.rung && *k < last).map(|(_, r)| r.0),
            );
        }
        shape
    }
}
