//! The allowance region worked out a second time, without the crate: flattened, by brute force or by clipper2-rust.
#![allow(dead_code)]

use clipper2_rust::{EndType, FillRule, JoinType, PathD, PathsD, PointD, inflate_paths_d, union_subjects_d};
use kurbo::{BezPath, CubicBez, ParamCurve, ParamCurveDeriv, PathSeg, Point, Rect, Shape, Vec2};
use oaktag::piece::{Edge, Finish, Piece};

/// A chain of points with boxes about every few, boxes about every few of these, and so on, for quick distances.
pub struct Chain {
    pub points: Vec<Point>,
    /// Boxes level by level; the lowest hold [`GROUP`] segments each, all others as many boxes of the level below.
    levels: Vec<Vec<Rect>>,
}

const GROUP: usize = 8;

impl Chain {
    /// A closed chain.
    pub fn closed(mut points: Vec<Point>) -> Self {
        points.push(points[0]);
        Self::open(points)
    }

    pub fn open(points: Vec<Point>) -> Self {
        let lowest = (0..points.len().saturating_sub(1))
            .step_by(GROUP)
            .map(|i| {
                let group = &points[i..(i + GROUP + 1).min(points.len())];
                group.iter().fold(Rect::from_points(group[0], group[0]), |r, p| r.union_pt(*p))
            })
            .collect();
        let mut levels: Vec<Vec<Rect>> = vec![lowest];
        while let Some(level) = levels.last().filter(|level| level.len() > 1) {
            let above = level.chunks(GROUP).map(|boxes| boxes.iter().fold(boxes[0], |r, b| r.union(*b))).collect();
            levels.push(above);
        }
        Self { points, levels }
    }

    /// Distance to the chain.
    pub fn distance(&self, p: Point) -> f64 {
        let mut best = f64::INFINITY;
        self.nearer(self.levels.len(), 0, p, &mut best);
        best.sqrt()
    }

    /// Brings `best`, a squared distance, down to that of what a box holds; level 0 are the segments themselves.
    fn nearer(&self, level: usize, index: usize, p: Point, best: &mut f64) {
        if level == 0 {
            *best = best.min(distance_sq(self.points[index], self.points[index + 1], p));
            return;
        }
        let below = self.held(level, index);
        if level == 1 {
            below.for_each(|i| self.nearer(0, i, p, best));
            return;
        }
        let boxes = &self.levels[level - 2];
        let reach = |i: usize| {
            let r = &boxes[i];
            let dx = (r.x0 - p.x).max(p.x - r.x1).max(0.0);
            let dy = (r.y0 - p.y).max(p.y - r.y1).max(0.0);
            dx * dx + dy * dy
        };
        // The nearest box first, so that most others fall out.
        let first = below.clone().min_by(|a, b| reach(*a).total_cmp(&reach(*b)));
        for i in first.into_iter().chain(below.filter(|i| Some(*i) != first)) {
            if reach(i) < *best {
                self.nearer(level - 1, i, p, best);
            }
        }
    }

    /// What a box holds: indices on the level below, or of segments.
    fn held(&self, level: usize, index: usize) -> std::ops::Range<usize> {
        let count = if level == 1 { self.points.len() - 1 } else { self.levels[level - 2].len() };
        index * GROUP..((index + 1) * GROUP).min(count)
    }

    /// Even-odd.
    pub fn holds(&self, p: Point) -> bool {
        self.crossings(self.levels.len(), 0, p) % 2 == 1
    }

    /// How often a ray to the right crosses what a box holds.
    fn crossings(&self, level: usize, index: usize, p: Point) -> usize {
        if level == 0 {
            let (a, b) = (self.points[index], self.points[index + 1]);
            return usize::from((a.y > p.y) != (b.y > p.y) && p.x < a.x + (b.x - a.x) * (p.y - a.y) / (b.y - a.y));
        }
        // It meets nothing below, above or to the left of the point.
        let bounds = &self.levels[level - 1][index];
        if bounds.y1 <= p.y || bounds.y0 > p.y || bounds.x1 <= p.x {
            return 0;
        }
        self.held(level, index).map(|i| self.crossings(level - 1, i, p)).sum()
    }

    /// Whether two of its segments cross by more than `slack`.
    pub fn crosses_itself(&self, slack: f64) -> bool {
        self.crossed(self.levels.len(), [0, 0], slack)
    }

    /// Whether a segment in one box crosses one in another of the same level.
    fn crossed(&self, level: usize, [i, j]: [usize; 2], slack: f64) -> bool {
        if level == 0 {
            let ((a, b), (c, d)) = ((self.points[i], self.points[i + 1]), (self.points[j], self.points[j + 1]));
            let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p) / (q - p).hypot().max(1e-300);
            let (s, t) = ((side(a, b, c), side(a, b, d)), (side(c, d, a), side(c, d, b)));
            let apart = |x: (f64, f64)| x.0.min(x.1) < -slack && x.0.max(x.1) > slack;
            return i < j && apart(s) && apart(t);
        }
        let boxes = &self.levels[level - 1];
        if !touches(&boxes[i], &boxes[j]) {
            return false;
        }
        let second = self.held(level, j);
        self.held(level, i).any(|a| {
            // Every pair once.
            let start = if i == j { a } else { second.start };
            (start..second.end).any(|b| self.crossed(level - 1, [a, b], slack))
        })
    }
}

fn touches(a: &Rect, b: &Rect) -> bool {
    a.x0 <= b.x1 && b.x0 <= a.x1 && a.y0 <= b.y1 && b.y0 <= a.y1
}

fn distance_sq(a: Point, b: Point, p: Point) -> f64 {
    let (along, gap) = (b - a, p - a);
    let long = along.hypot2();
    let t = if long > 0.0 { (gap.dot(along) / long).clamp(0.0, 1.0) } else { 0.0 };
    (gap - t * along).hypot2()
}

/// Points of a segment, the last one left out, so near that chords stray by less than `chord`.
pub fn flatten(segment: &PathSeg, chord: f64, out: &mut Vec<Point>) {
    let count = match segment {
        PathSeg::Line(_) => 1,
        other => {
            let c = other.to_cubic();
            let bend = (c.p0 - c.p1 + (c.p2 - c.p1)).hypot().max((c.p1 - c.p2 + (c.p3 - c.p2)).hypot());
            (0.75 * bend / chord).sqrt().ceil().max(1.0) as usize
        }
    };
    out.extend((0..count).map(|i| segment.eval(i as f64 / count as f64)));
}

pub fn flattened(path: &BezPath, chord: f64) -> Vec<Point> {
    let mut points = Vec::new();
    for segment in path.segments() {
        flatten(&segment, chord, &mut points);
    }
    points
}

/// The sew line as a closed chain.
pub fn sew_chain(piece: &Piece, chord: f64) -> Chain {
    let mut points = Vec::new();
    for edge in &piece.edges {
        for segment in edge.path.segments() {
            flatten(&segment, chord, &mut points);
        }
    }
    Chain::closed(points)
}

/// Hausdorff distances of two closed chains: of the lines, and of the regions that they enclose. They differ in acute
/// notches, where a hair's breadth more or less moves the notch's end a long way.
pub fn hausdorff(a: &Chain, b: &Chain) -> (f64, f64) {
    let (forth, back) = (one_way(a, b), one_way(b, a));
    (forth.0.max(back.0), forth.1.max(back.1))
}

/// How far points of one chain are from the other, at most; all of them, and those outside the region it encloses.
fn one_way(from: &Chain, to: &Chain) -> (f64, f64) {
    let mut worst = (0.0_f64, 0.0_f64);
    for pair in from.points.windows(2) {
        let steps = (pair[0].distance(pair[1]) / 2.0).ceil().clamp(1.0, 64.0) as usize;
        for i in 0..steps {
            let p = pair[0].lerp(pair[1], i as f64 / steps as f64);
            let off = to.distance(p);
            worst.0 = worst.0.max(off);
            if off > worst.1 && !to.holds(p) {
                worst.1 = off;
            }
        }
    }
    worst
}

/// How far a cut line strays from the true contour of the piece grown by a disc of radius `width`: brute force against
/// the union of the capsules of all flattened segments. A point of the cut line must be just `width` from the sew line; a
/// point at just that distance on a normal or an arc about a corner must be on the cut line, unless it lies in a hole.
pub fn capsule_error(piece: &Piece, cut: &Chain, width: f64) -> f64 {
    let chord = 2e-4;
    let sew = sew_chain(piece, chord);
    let mut worst = 0.0_f64;
    for pair in cut.points.windows(2) {
        let p = pair[0].midpoint(pair[1]);
        for p in [pair[0], p] {
            worst = worst.max((sew.distance(p) - width).abs());
        }
    }
    let mut candidates = Vec::new();
    let segments: Vec<PathSeg> = piece.edges.iter().flat_map(|edge| edge.path.segments()).collect();
    for (i, segment) in segments.iter().enumerate() {
        for k in 0..=48 {
            let t = f64::from(k) / 48.0;
            candidates.push(segment.eval(t) + width * normal(segment, t));
        }
        let next = &segments[(i + 1) % segments.len()];
        let (from, to) = (normal(segment, 1.0), normal(next, 0.0));
        let turn = from.cross(to).atan2(from.dot(to));
        if turn > 0.0 {
            let steps = (turn * 12.0).ceil();
            for k in 0..=steps as u32 {
                let (sine, cosine) = (turn * f64::from(k) / steps).sin_cos();
                let radius = Vec2::new(cosine * from.x - sine * from.y, sine * from.x + cosine * from.y);
                candidates.push(segment.end() + width * radius);
            }
        }
    }
    for p in candidates {
        let off = cut.distance(p);
        if off > worst && sew.distance(p) >= width - 2.0 * chord && !sew.holds(p) && !in_hole(cut, p, off) {
            worst = off;
        }
    }
    worst
}

/// A true contour point well inside the cut line belongs to a hole that was filled.
fn in_hole(cut: &Chain, p: Point, off: f64) -> bool {
    off > 0.02 && cut.holds(p)
}

/// Unit normal to the right, by the derivative, or a chord where that vanishes.
pub fn normal(segment: &PathSeg, t: f64) -> Vec2 {
    let along = match segment {
        PathSeg::Line(line) => line.p1 - line.p0,
        other => {
            let c = other.to_cubic();
            let d = c.deriv().eval(t).to_vec2();
            if d.hypot() > 1e-6 {
                d
            } else if t < 0.5 {
                segment.eval(t + 1e-4) - segment.eval(t)
            } else {
                segment.eval(t) - segment.eval(t - 1e-4)
            }
        }
    };
    Vec2::new(along.y, -along.x).normalize()
}

fn path_d(points: &[Point]) -> PathD {
    points.iter().map(|p| PointD { x: p.x, y: p.y }).collect()
}

fn signed_area(path: &PathD) -> f64 {
    (0..path.len()).map(|i| (path[i], path[(i + 1) % path.len()])).map(|(a, b)| a.x * b.y - b.x * a.y).sum::<f64>()
        / 2.0
}

fn largest(paths: &PathsD) -> Option<Chain> {
    let best = paths.iter().max_by(|a, b| signed_area(a).abs().total_cmp(&signed_area(b).abs()))?;
    Some(Chain::closed(best.iter().map(|p| Point::new(p.x, p.y)).collect()))
}

/// The piece grown by a disc, by clipper2's own offset of the flattened sew line.
pub fn clipper_offset(piece: &Piece, width: f64, chord: f64) -> Option<Chain> {
    let mut points = sew_chain(piece, chord).points;
    points.pop();
    let grown = inflate_paths_d(&vec![path_d(&points)], width, JoinType::Round, EndType::Polygon, 2.0, 6, chord);
    largest(&grown)
}

/// A contour with its hairline slits closed.
fn closed(paths: &PathsD) -> Option<Chain> {
    let moved = |paths: &PathsD, by: f64| inflate_paths_d(paths, by, JoinType::Miter, EndType::Polygon, 20.0, 7, 0.0);
    largest(&moved(&moved(paths, SLIT), -SLIT))
}

/// A cut line treated as [`region`] treats its own contour, so that the two can be compared.
pub fn with_slits_closed(cut: &Chain) -> Option<Chain> {
    closed(&vec![path_d(&cut.points[..cut.points.len() - 1])])
}

/// Half the width of the slits that are closed, mm.
const SLIT: f64 = 1e-4;

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
