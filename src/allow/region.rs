//! The allowance region as its parts: piece, bands, corner shapes; and the loop that winds about all of them.

use super::corner::{Corner, Cut, Strip, corner};
use super::outline::{Outline, Side, reach};
use crate::geom::offset::{Parallel, Source, parallel};
use kurbo::{BezPath, Line, ParamCurve, ParamCurveNearest, PathSeg, Point};

/// Two stretches of a parallel that end this near to each other are one line, mm.
const MEET: f64 = 0.1;

/// Segments no larger than this are left by the sweep where two curves meet all but tangentially, mm.
pub const CRUMB: f64 = 5e-4;

/// The band beside one side.
#[derive(Clone, Debug)]
pub struct Band {
    /// The side's parallel, its ends not yet trimmed.
    pub parallel: Vec<Parallel>,
    /// Where the band starts and ends on its side: the index of a segment plus its parameter.
    pub ends: [f64; 2],
}

/// All parts of the allowance region.
#[derive(Clone, Debug)]
pub struct Region {
    /// The sew line.
    pub outline: Outline,
    /// One band for each side.
    pub bands: Vec<Band>,
    /// One corner after each side.
    pub corners: Vec<Corner>,
}

impl Region {
    /// The parts for an outline; curves within `tolerance` mm.
    pub fn new(outline: Outline, tolerance: f64) -> Self {
        let mut parallels: Vec<Vec<Parallel>> =
            outline.sides.iter().map(|side| parallel(&side.run, side.width, tolerance)).collect();
        for stretches in &mut parallels {
            for i in 1..stretches.len() {
                let (head, tail) = stretches.split_at_mut(i);
                meet(&mut head[i - 1], &mut tail[0]);
            }
        }
        let count = outline.sides.len();
        let strip = |i: usize| Strip { side: &outline.sides[i % count], parallel: &parallels[i % count] };
        let turned = |i: usize, trim: bool| corner([strip(i), strip(i + 1)], outline.sides[i].finish, trim, tolerance);
        let mut corners: Vec<Corner> = (0..count).map(|i| turned(i, true)).collect();
        // Two trims that pass each other on a short side: leave it whole.
        for i in 0..count {
            let before = (i + count - 1) % count;
            if passed(corners[before].enter, corners[i].leave) {
                corners[before] = turned(before, false);
                corners[i] = turned(i, false);
            }
        }
        let bands = (0..count)
            .map(|i| {
                let before = (i + count - 1) % count;
                let run = &outline.sides[i].run;
                let foot = |cut: Option<Cut>, or: f64| cut.map_or(or, |cut| foot(run, &parallels[i], cut));
                [foot(corners[before].enter, 0.0), foot(corners[i].leave, run.len() as f64)]
            })
            .collect::<Vec<_>>();
        let bands = bands.into_iter().zip(parallels).map(|(ends, parallel)| Band { parallel, ends }).collect();
        Self { outline, bands, corners }
    }

    /// The sides.
    pub fn sides(&self) -> &[Side] {
        &self.outline.sides
    }

    /// The side of the piece that is nearest to a point.
    pub fn nearest_side(&self, p: Point) -> Option<usize> {
        let near = |side: &Side| side.run.iter().map(|s| s.nearest(p, 1e-3).distance_sq).fold(f64::INFINITY, f64::min);
        (0..self.sides().len()).min_by(|a, b| near(&self.sides()[*a]).total_cmp(&near(&self.sides()[*b])))
    }

    /// One closed loop whose winding number about a point is the number of parts that hold the point.
    pub fn winding_loop(&self) -> BezPath {
        let mut path = LoopPath::default();
        let count = self.bands.len();
        for (i, band) in self.bands.iter().enumerate() {
            let (enter, leave) = (self.corners[(i + count - 1) % count].enter, self.corners[i].leave);
            for segment in kept(&band.parallel, enter, leave) {
                path.push(segment);
            }
            for segment in &self.corners[i].path {
                path.push(*segment);
            }
        }
        path.closed()
    }
}

/// A side's parallel between two cuts.
fn kept(parallel: &[Parallel], enter: Option<Cut>, leave: Option<Cut>) -> Vec<PathSeg> {
    let first = enter.map_or(0, |cut| cut.stretch);
    let last = leave.map_or(parallel.len() - 1, |cut| cut.stretch);
    (first..=last)
        .map(|k| {
            let from = enter.filter(|cut| cut.stretch == k).map_or(0.0, |cut| cut.at);
            let to = leave.filter(|cut| cut.stretch == k).map_or(1.0, |cut| cut.at);
            let curve = parallel[k].curve;
            if from > 0.0 || to < 1.0 { curve.subsegment(from..to) } else { curve }
        })
        .collect()
}

fn passed(enter: Option<Cut>, leave: Option<Cut>) -> bool {
    match (enter, leave) {
        (Some(a), Some(b)) => (a.stretch, a.at) >= (b.stretch, b.at),
        _ => false,
    }
}

/// Gives two stretches of a parallel one common end, where only rounding or a kink too small for a corner parts them.
fn meet(a: &mut Parallel, b: &mut Parallel) {
    let (end, start) = (a.curve.end(), b.curve.start());
    if end == start || end.distance(start) > MEET || a.evolute || b.evolute {
        return;
    }
    let middle = end.midpoint(start);
    a.curve = moved(a.curve, [a.curve.start(), middle]);
    b.curve = moved(b.curve, [middle, b.curve.end()]);
}

/// A segment with new ends, its control points carried along.
pub fn moved(segment: PathSeg, [start, end]: [Point; 2]) -> PathSeg {
    match segment {
        PathSeg::Line(_) => PathSeg::Line(Line::new(start, end)),
        other => {
            let mut cubic = other.to_cubic();
            cubic.p1 += start - cubic.p0;
            cubic.p2 += end - cubic.p3;
            (cubic.p0, cubic.p3) = (start, end);
            PathSeg::Cubic(cubic)
        }
    }
}

/// The parameter on a side whose normal goes through a place on its parallel.
fn foot(run: &[PathSeg], parallel: &[Parallel], cut: Cut) -> f64 {
    let stretch = &parallel[cut.stretch];
    let [from, to] = stretch.span;
    let mut t = from + cut.at * (to - from);
    if let PathSeg::Cubic(cubic) = run[stretch.source] {
        let source = Source::new(cubic);
        let (mut low, mut high) = (from, to);
        // The parallel runs with the source, so the point lies ahead of the normal at t or behind it.
        for _ in 0..48 {
            if (cut.point - source.point(t)).dot(source.tangent(t)) > 0.0 {
                low = t;
            } else {
                high = t;
            }
            t = 0.5 * (low + high);
        }
    }
    stretch.source as f64 + t
}

/// A closed path under way: joins gaps with lines.
#[derive(Default)]
struct LoopPath {
    segments: Vec<PathSeg>,
}

impl LoopPath {
    fn push(&mut self, segment: PathSeg) {
        let end = self.segments.last().map(PathSeg::end);
        if let Some(end) = end.filter(|end| end.distance(segment.start()) > CRUMB) {
            self.segments.push(PathSeg::Line(Line::new(end, segment.start())));
        }
        self.segments.push(segment);
    }

    fn closed(mut self) -> BezPath {
        let ends = self.segments.first().zip(self.segments.last()).map(|(a, b)| (b.end(), a.start()));
        if let Some((end, start)) = ends.filter(|(end, start)| end.distance(*start) > CRUMB) {
            self.segments.push(PathSeg::Line(Line::new(end, start)));
        }
        tidy(&self.segments)
    }
}

/// A closed path of segments that meet within rounding: crumbs left out, lines that go straight on run together, and
/// every end exactly the next start.
pub fn tidy(segments: &[PathSeg]) -> BezPath {
    let mut tidied: Vec<PathSeg> = Vec::with_capacity(segments.len());
    for segment in segments {
        let crumb = reach(segment) < CRUMB;
        match (tidied.last_mut(), *segment) {
            _ if crumb => {}
            (Some(PathSeg::Line(a)), PathSeg::Line(b)) if continues(*a, b) => a.p1 = b.p1,
            _ => tidied.push(*segment),
        }
    }
    if let (Some(PathSeg::Line(last)), Some(PathSeg::Line(first)), true) =
        (tidied.last().copied(), tidied.first().copied(), tidied.len() > 2)
        && continues(last, first)
    {
        tidied.pop();
        tidied[0] = PathSeg::Line(Line::new(last.p0, first.p1));
    }
    // Ends that a crumb parted meet in the middle, whichever way the path runs.
    let count = tidied.len();
    let meet = |i: usize| tidied[i % count].end().midpoint(tidied[(i + 1) % count].start());
    let mut path = BezPath::new();
    for (i, segment) in tidied.iter().enumerate() {
        let [start, end] = [meet(i + count - 1), meet(i)];
        if i == 0 {
            path.move_to(start);
        }
        path.push(moved(*segment, [start, end]).as_path_el());
    }
    if count > 0 {
        path.close_path();
    }
    path
}

/// Whether one line goes on straight from another, in the same direction.
fn continues(a: Line, b: Line) -> bool {
    let (u, v) = (a.p1 - a.p0, b.p1 - b.p0);
    u.dot(v) > 0.0 && u.cross(v).abs() < 1e-9 * u.hypot() * v.hypot()
}
