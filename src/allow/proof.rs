//! The cut line proven against the definition of the allowance region, from the sew line alone.
//!
//! Two sets are the same when neither has a point outside the other. The cut line's inside holds the region when it
//! holds the region's boundary (it has no holes); the region holds the cut line when it holds all of its points. Both are
//! sampled, every [`STEP`] mm and at least [`LEAST`] times a segment, and points may be outside by the tolerance.

use super::outline::as_path;
use super::region::Region;
use crate::geom::crossing::first_crossing;
use crate::geom::offset::{Source, right};
use kurbo::{
    BezPath, CubicBez, ParamCurve, ParamCurveDeriv, ParamCurveExtrema, ParamCurveNearest, PathEl, PathSeg, Point, Rect,
    Shape, Vec2,
};

/// Samples are no farther apart than this, mm.
const STEP: f64 = 5.0;

/// Samples of every segment at the least.
const LEAST: usize = 8;

/// A contour that encloses less than this is none, mm².
const LEAST_AREA: f64 = 1e-6;

/// Why a cut line is not proven.
#[derive(Clone, Debug, PartialEq)]
pub struct Flaw {
    /// What is wrong, as the end of a sentence that starts with "the cut line".
    pub what: &'static str,
    /// Where, mm.
    pub place: Point,
    /// The side of the outline whose allowance it is, where that is known.
    pub side: Option<usize>,
}

/// Proves that `cut_line` bounds the region within `tolerance` mm.
///
/// # Errors
/// The first flaw found.
pub fn prove(region: &Region, cut_line: &BezPath, tolerance: f64) -> Result<(), Flaw> {
    let flaw = |what, place| Flaw { what, place, side: None };
    let origin = region.sides()[0].start();
    if !cut_line.is_finite() {
        return Err(flaw("has a number that is not finite", origin));
    }
    let elements = cut_line.elements();
    let moves = elements.iter().filter(|e| matches!(e, PathEl::MoveTo(_))).count();
    if moves != 1 || !matches!(elements.last(), Some(PathEl::ClosePath)) {
        return Err(flaw("is not one closed line", origin));
    }
    if cut_line.area() < LEAST_AREA {
        return Err(flaw("encloses nothing or runs clockwise", origin));
    }
    let segments: Vec<PathSeg> = cut_line.segments().collect();
    if let Some(crossing) = first_crossing(&segments) {
        return Err(flaw("crosses itself", crossing.place));
    }
    let inside = Inside::new(&segments);
    let kept_side = |p: Point, slack: f64| region.outline.axis.is_none_or(|axis| axis.height(p) >= -slack);
    let held = |segment: &PathSeg, side: usize, what| {
        for p in samples(segment) {
            if kept_side(p, 0.0) && !inside.holds(p, tolerance) {
                return Err(Flaw { what, place: p, side: Some(side) });
            }
        }
        Ok(())
    };
    for (index, side) in region.sides().iter().enumerate() {
        if side.mirrored {
            continue;
        }
        for segment in &side.run {
            held(segment, index, "runs inside the sew line")?;
        }
    }
    for (index, band) in region.bands.iter().enumerate() {
        let side = &region.sides()[index];
        // The exact parallel, not the fitted one.
        for (source, segment) in side.run.iter().enumerate() {
            let from = (band.ends[0] - source as f64).clamp(0.0, 1.0);
            let to = (band.ends[1] - source as f64).clamp(0.0, 1.0);
            if from >= to {
                continue;
            }
            let steps = steps(segment, side.width);
            for i in 0..=steps {
                let t = from + (to - from) * i as f64 / steps as f64;
                let p = exact(segment, t, side.width);
                if kept_side(p, 0.0) && !inside.holds(p, tolerance) {
                    let what = "leaves out a part of the allowance";
                    return Err(Flaw { what, place: p, side: Some(index) });
                }
            }
        }
        for segment in &region.corners[index].path {
            held(segment, index, "leaves out a part of a corner")?;
        }
    }
    let mut membership = Membership::new(region, tolerance);
    for segment in &segments {
        for p in samples(segment) {
            if !kept_side(p, tolerance) || !membership.holds(p) {
                return Err(Flaw { what: "runs outside the allowance", place: p, side: membership.last_side() });
            }
        }
    }
    Ok(())
}

fn steps(segment: &PathSeg, width: f64) -> usize {
    let size = Shape::bounding_box(segment).size();
    (((size.width + size.height + width) / STEP) as usize).clamp(LEAST, 400)
}

fn samples(segment: &PathSeg) -> impl Iterator<Item = Point> + '_ {
    let steps = steps(segment, 0.0);
    (0..steps).map(move |i| segment.eval((i as f64 + 0.5) / steps as f64))
}

/// The point of a segment's exact band border at a parameter.
pub fn exact(segment: &PathSeg, t: f64, width: f64) -> Point {
    match segment {
        PathSeg::Line(line) => line.eval(t) + width * right((line.p1 - line.p0).normalize()),
        other => {
            let source = Source::new(other.to_cubic());
            let reach = if width > 0.0 { source.reach(t.clamp(1e-9, 1.0 - 1e-9), width) } else { 0.0 };
            source.point(t) + reach * source.normal(t)
        }
    }
}

/// A closed contour that can be asked which points it holds.
pub struct Inside {
    /// Monotone pieces.
    pieces: Vec<Piece>,
}

struct Piece {
    curve: PathSeg,
    area: Rect,
}

impl Inside {
    /// Prepares a closed contour.
    pub fn new(segments: &[PathSeg]) -> Self {
        let mut pieces = Vec::with_capacity(segments.len() * 2);
        for segment in segments {
            if let PathSeg::Line(_) = segment {
                pieces.push(Piece { curve: *segment, area: Shape::bounding_box(segment) });
                continue;
            }
            for range in segment.extrema_ranges() {
                let curve = segment.subsegment(range);
                pieces.push(Piece { curve, area: Rect::from_points(curve.start(), curve.end()) });
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
        self.pieces.iter().filter(|piece| piece.area.inflate(slack, slack).contains(p)).any(|piece| {
            // The quick way finds it nearly always; its no is not taken for an answer.
            nearest(&piece.curve, p).1 <= slack || piece.curve.nearest(p, 1e-6).distance_sq <= slack * slack
        })
    }

    /// How many times the contour winds about a point.
    pub fn winding(&self, p: Point) -> i32 {
        let mut winding = 0;
        for Piece { curve, area } in &self.pieces {
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
            low = t
        } else {
            high = t
        }
        if high - low < 1e-12 || (here.y - y).abs() < 1e-10 {
            break;
        }
        t = 0.5 * (low + high);
    }
    curve.eval(t).x
}

/// The nearest point of a monotone piece: parameter and distance.
fn nearest(curve: &PathSeg, p: Point) -> (f64, f64) {
    if let PathSeg::Line(line) = curve {
        let along = line.p1 - line.p0;
        let t = ((p - line.p0).dot(along) / along.hypot2()).clamp(0.0, 1.0);
        return (t, line.eval(t).distance(p));
    }
    let cubic = curve.to_cubic();
    let chord = cubic.p3 - cubic.p0;
    let seed = ((p - cubic.p0).dot(chord) / chord.hypot2()).clamp(0.0, 1.0);
    let t = descend(&cubic, p, seed, [0.0, 1.0]);
    (t, cubic.eval(t).distance(p))
}

/// Newton's way from a parameter to a local least distance.
fn descend(cubic: &CubicBez, p: Point, seed: f64, [low, high]: [f64; 2]) -> f64 {
    let (first, second) = (cubic.deriv(), cubic.deriv().deriv());
    let mut t = seed.clamp(low, high);
    for _ in 0..8 {
        let gap = cubic.eval(t) - p;
        let (velocity, acceleration) = (first.eval(t).to_vec2(), second.eval(t).to_vec2());
        let slope = gap.dot(velocity);
        let bend = velocity.hypot2() + gap.dot(acceleration);
        // Where the distance curves the wrong way, go downhill by a tenth.
        let step = if bend > 1e-12 { -slope / bend } else { -0.1 * slope.signum() };
        let next = (t + step.clamp(-0.25, 0.25)).clamp(low, high);
        if (next - t).abs() < 1e-10 {
            return next;
        }
        t = next;
    }
    t
}

/// Whether points lie in the region, by its definition.
struct Membership<'a> {
    region: &'a Region,
    slack: f64,
    /// Every segment of every side: side, segment, box of its band.
    strips: Vec<(usize, usize, Rect)>,
    corners: Vec<(Rect, Inside)>,
    piece: Option<Inside>,
    last: usize,
}

impl<'a> Membership<'a> {
    fn new(region: &'a Region, slack: f64) -> Self {
        let mut strips = Vec::new();
        for (s, side) in region.sides().iter().enumerate() {
            for (k, segment) in side.run.iter().enumerate() {
                let reach = side.width + slack;
                strips.push((s, k, Shape::bounding_box(segment).inflate(reach, reach)));
            }
        }
        let corners = (0..region.corners.len())
            .map(|i| region.corner_shape(i))
            .filter(|shape| !shape.is_empty())
            .map(|shape| {
                let area = shape.iter().fold(Shape::bounding_box(&shape[0]), |a, s| a.union(Shape::bounding_box(s)));
                (area.inflate(slack, slack), Inside::new(&shape))
            })
            .collect();
        Self { region, slack, strips, corners, piece: None, last: 0 }
    }

    fn last_side(&self) -> Option<usize> {
        self.strips.get(self.last).map(|strip| strip.0)
    }

    fn holds(&mut self, p: Point) -> bool {
        // From the likely and cheap to the thorough.
        if self.in_strip(self.last, p, false) || self.in_any_strip(p, false) {
            return true;
        }
        if self.corners.iter().any(|(area, shape)| area.contains(p) && shape.holds(p, self.slack)) {
            return true;
        }
        let region = self.region;
        let piece =
            self.piece.get_or_insert_with(|| Inside::new(&as_path(region.sides()).segments().collect::<Vec<_>>()));
        piece.holds(p, self.slack) || self.in_any_strip(p, true)
    }

    fn in_any_strip(&mut self, p: Point, thorough: bool) -> bool {
        let found = (0..self.strips.len()).find(|index| self.in_strip(*index, p, thorough));
        self.last = found.unwrap_or(self.last);
        found.is_some()
    }

    fn in_strip(&self, index: usize, p: Point, thorough: bool) -> bool {
        let Some((side, k, area)) = self.strips.get(index) else { return false };
        if !area.contains(p) {
            return false;
        }
        let side_index = *side;
        let side = &self.region.sides()[side_index];
        let ends = self.region.bands[side_index].ends;
        let (low, high) = ((ends[0] - *k as f64).clamp(0.0, 1.0), (ends[1] - *k as f64).clamp(0.0, 1.0));
        if low >= high {
            return false;
        }
        let segment = &side.run[*k];
        let accepts = |point: Point, along: Vec2| {
            let gap = p - point;
            let (ahead, out) = (gap.dot(along), gap.dot(right(along)));
            ahead.abs() <= self.slack && out >= -self.slack && out <= side.width + self.slack
        };
        if let PathSeg::Line(line) = segment {
            let along = line.p1 - line.p0;
            let t = ((p - line.p0).dot(along) / along.hypot2()).clamp(low, high);
            return accepts(line.eval(t), along.normalize());
        }
        let source = Source::new(segment.to_cubic());
        let cubic = segment.to_cubic();
        let chord = cubic.p3 - cubic.p0;
        let first = (p - cubic.p0).dot(chord) / chord.hypot2();
        let accepted = |t: f64| accepts(source.point(t), source.tangent(t));
        if thorough {
            return feet(&source, p, [low, high]).into_iter().any(accepted);
        }
        accepted(descend(&cubic, p, first, [low, high]))
    }
}

/// Parameters whose normals pass through a point, or nearly so: all sign changes of the distance along the tangent, and
/// its least sizes between them (two feet all but meet there).
fn feet(source: &Source, p: Point, [low, high]: [f64; 2]) -> Vec<f64> {
    const GRID: usize = 32;
    let at = |i: usize| low + (high - low) * i as f64 / GRID as f64;
    let ahead = |t: f64| (p - source.point(t)).dot(source.tangent(t));
    let values: Vec<f64> = (0..=GRID).map(|i| ahead(at(i))).collect();
    let mut feet = vec![low, high];
    for i in 0..GRID {
        let (mut a, mut b) = (at(i), at(i + 1));
        if (values[i] < 0.0) != (values[i + 1] < 0.0) {
            for _ in 0..40 {
                let t = 0.5 * (a + b);
                if (ahead(t) < 0.0) == (values[i] < 0.0) { a = t } else { b = t }
            }
            feet.push(0.5 * (a + b));
        }
        // The least size in the cells about a grid point; at both ends of the span in the outermost cell as well.
        let least = |j: usize| {
            values[j].abs() <= values[j.saturating_sub(1)].abs() && values[j].abs() <= values[(j + 1).min(GRID)].abs()
        };
        if least(i) || i + 1 == GRID {
            (a, b) = (at(i.saturating_sub(1)), at(i + 1));
            for _ in 0..40 {
                let (c, d) = (a + 0.382 * (b - a), b - 0.382 * (b - a));
                if ahead(c).abs() < ahead(d).abs() { b = d } else { a = c }
            }
            feet.push(0.5 * (a + b));
        }
    }
    feet
}

impl Region {
    /// The closed outline of the shape at a corner: along the sew line from where the last band ends over the corner to
    /// where the next begins, and back over the corner's path.
    pub fn corner_shape(&self, index: usize) -> Vec<PathSeg> {
        let next = (index + 1) % self.bands.len();
        let corner = &self.corners[index];
        let mut shape = Vec::new();
        let mut line = |from: Point, to: Point| {
            if from != to {
                shape.push(PathSeg::Line(kurbo::Line::new(from, to)));
            }
        };
        let run = &self.sides()[index].run;
        let before = stretch(run, [self.bands[index].ends[1], run.len() as f64]);
        let run = &self.sides()[next].run;
        let after = stretch(run, [0.0, self.bands[next].ends[0]]);
        let foot = before.first().map_or(corner.vertex, PathSeg::start);
        let far_foot = after.last().map_or(corner.vertex, PathSeg::end);
        let parallel = &self.bands[index].parallel;
        let leave = corner.leave.map_or(parallel[parallel.len() - 1].curve.end(), |cut| cut.point);
        let enter = corner.enter.map_or(self.bands[next].parallel[0].curve.start(), |cut| cut.point);
        line(foot, leave);
        let mut end = leave;
        for segment in &corner.path {
            if segment.start() != end {
                shape.push(PathSeg::Line(kurbo::Line::new(end, segment.start())));
            }
            shape.push(*segment);
            end = segment.end();
        }
        let mut line = |from: Point, to: Point| {
            if from != to {
                shape.push(PathSeg::Line(kurbo::Line::new(from, to)));
            }
        };
        line(end, enter);
        line(enter, far_foot);
        shape.extend(after.iter().rev().map(PathSeg::reverse));
        shape.extend(before.iter().rev().map(PathSeg::reverse));
        shape
    }
}

/// A part of a run between two places on it.
fn stretch(run: &[PathSeg], [from, to]: [f64; 2]) -> Vec<PathSeg> {
    run.iter()
        .enumerate()
        .filter_map(|(k, segment)| {
            let (a, b) = ((from - k as f64).clamp(0.0, 1.0), (to - k as f64).clamp(0.0, 1.0));
            (a < b).then(|| segment.subsegment(a..b))
        })
        .collect()
}
