//! The cut line proven against the definition of the allowance region, from the sew line alone.
//!
//! Two sets are the same when neither has a point outside the other. The cut line's inside holds the region when it
//! holds the region's boundary (it has no holes); the region holds the cut line when it holds all of its points. Both are
//! sampled, every [`STEP`] mm and at least [`LEAST`] times a segment, and points may be outside by the tolerance.

use super::inside::{Inside, feet};
use super::outline::as_path;
use super::region::Region;
use crate::geom::crossing::first_crossing;
use crate::geom::offset::{Source, right};
use kurbo::{BezPath, ParamCurve, PathEl, PathSeg, Point, Rect, Shape};

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
        for (k, segment) in side.run.iter().enumerate() {
            let [from, to] = band.ends.map(|end| (end - k as f64).clamp(0.0, 1.0));
            if from >= to {
                continue;
            }
            let (steps, exact) = (steps(segment, side.width), Source::of(segment));
            for i in 0..=steps {
                let t = from + (to - from) * i as f64 / steps as f64;
                let p = border(&exact, t, side.width);
                if kept_side(p, 0.0) && !inside.holds(p, tolerance) {
                    let what = "leaves out a part of the allowance";
                    return Err(Flaw { what, place: p, side: Some(index) });
                }
            }
        }
        // Its ends, square to the seam: they are the region's border where the neighbour's band is narrower.
        for end in band.ends {
            let k = (end as usize).min(side.run.len() - 1);
            let (exact, t) = (Source::of(&side.run[k]), end - k as f64);
            let rung = PathSeg::Line(kurbo::Line::new(exact.point(t), border(&exact, t, side.width)));
            if side.width > 0.0 {
                held(&rung, index, "leaves out the end of an allowance")?;
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
pub fn border(source: &Source, t: f64, width: f64) -> Point {
    let reach = if width > 0.0 { source.reach(t.clamp(1e-9, 1.0 - 1e-9), width) } else { 0.0 };
    source.point(t) + reach * source.normal(t)
}

/// One segment of a side, with the part of it that has a band.
struct Strip {
    side: usize,
    source: Source,
    span: [f64; 2],
    /// Box of its band.
    area: Rect,
}

/// Whether points lie in the region, by its definition.
struct Membership<'a> {
    region: &'a Region,
    slack: f64,
    strips: Vec<Strip>,
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
                let [low, high] = region.bands[s].ends.map(|end| (end - k as f64).clamp(0.0, 1.0));
                if low < high {
                    let area = Shape::bounding_box(segment).inflate(reach, reach);
                    strips.push(Strip { side: s, source: Source::of(segment), span: [low, high], area });
                }
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
        self.strips.get(self.last).map(|strip| strip.side)
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
        let Some(strip) = self.strips.get(index).filter(|strip| strip.area.contains(p)) else { return false };
        let width = self.region.sides()[strip.side].width;
        let accepted = |t: f64| {
            let (gap, along) = (p - strip.source.point(t), strip.source.tangent(t));
            let (ahead, out) = (gap.dot(along), gap.dot(right(along)));
            ahead.abs() <= self.slack && out >= -self.slack && out <= width + self.slack
        };
        if thorough {
            return feet(&strip.source, p, strip.span).into_iter().any(accepted);
        }
        accepted(strip.source.foot(p, strip.span))
    }
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
