//! Closed outlines, as drawn or joined from lines whose ends meet.

use super::Stroke;
use super::patience::Patience;
use crate::diag::Result;
use crate::geom::{parts, path};
use crate::read::PathName;
use crate::role::Role;
use kurbo::{BezPath, ParamCurve, PathEl, Point, Rect, Shape};
use std::collections::HashMap;

/// What lies so far beyond an outline still lies on it, mm.
const BESIDE: f64 = 1.0;

/// The middle of a mark may stand so far outside its piece, mm: a notch that points outward does.
const MARK: f64 = 5.0;

/// And its ends so far, mm.
const MARK_END: f64 = 15.0;

/// Whether one outline lies in another is judged by about so many of its points.
const SAMPLES: usize = 64;

/// A closed outline, counter-clockwise.
#[derive(Clone)]
pub struct Outline {
    pub path: BezPath,
    pub role: Option<Role>,
    pub name: PathName,
    /// What it encloses, mm².
    pub area: f64,
    pub bounds: Rect,
}

impl Outline {
    fn new(path: BezPath, role: Option<Role>, name: PathName) -> Self {
        let area = path.area();
        let path = if area < 0.0 { path.reverse_subpaths() } else { path };
        let bounds = path.bounding_box();
        Self { path, role, name, area: area.abs(), bounds }
    }

    /// Whether a point lies inside, or just beside.
    pub fn holds_point(&self, p: Point, patience: &mut Patience) -> Result<bool> {
        self.reaches(p, BESIDE, patience)
    }

    fn reaches(&self, p: Point, beside: f64, patience: &mut Patience) -> Result<bool> {
        if !self.bounds.inflate(beside, beside).contains(p) {
            return Ok(false);
        }
        patience.look(&self.path)?;
        if self.path.winding(p) != 0 {
            return Ok(true);
        }
        patience.measure(&self.path)?;
        Ok(parts::nearest(&self.path, p).is_some_and(|(_, off)| off <= beside))
    }

    /// Whether a line lies inside, or just beside: its middle does, and its box.
    pub fn holds(&self, line: &Stroke, patience: &mut Patience) -> Result<bool> {
        let (reach, area) = (self.bounds.inflate(MARK_END, MARK_END), line.bounds);
        let inside = reach.contains(Point::new(area.x0, area.y0)) && reach.contains(Point::new(area.x1, area.y1));
        let middle = || line.path.segments().nth(line.path.segments().count() / 2).map(|segment| segment.eval(0.5));
        let Some(middle) = inside.then(middle).flatten() else { return Ok(false) };
        patience.look(&line.path)?;
        self.reaches(middle, MARK, patience)
    }

    /// Whether another outline lies inside this one, all of it.
    pub fn holds_all(&self, other: &Self, patience: &mut Patience) -> Result<bool> {
        let (own, area) = (self.bounds.inflate(BESIDE, BESIDE), other.bounds);
        if !own.contains(Point::new(area.x0, area.y0)) || !own.contains(Point::new(area.x1, area.y1)) {
            return Ok(false);
        }
        let step = 1 + other.path.elements().len() / SAMPLES;
        for segment in other.path.segments().step_by(step) {
            if !self.holds_point(segment.eval(0.5), patience)? {
                return Ok(false);
            }
        }
        Ok(true)
    }
}

/// Closed outlines among strokes of one role, and what is left: chains of lines that do not close.
pub fn joined(strokes: &[&Stroke], within: f64, patience: &mut Patience) -> Result<(Vec<Outline>, Vec<Stroke>)> {
    let (mut closed, mut open) = (Vec::new(), Vec::new());
    let mut loose: Vec<&Stroke> = Vec::new();
    for stroke in strokes {
        let ends = path::start(&stroke.path).zip(path::end(&stroke.path));
        let meets = ends.is_some_and(|(a, b)| a.distance(b) <= within) && path::length(&stroke.path) > 4.0 * within;
        if path::is_closed(&stroke.path) || meets {
            closed.push(Outline::new(shut(&stroke.path), stroke.role, stroke.name.clone()));
        } else if ends.is_some() {
            loose.push(stroke);
        }
    }
    let mut ends = Ends::new(&loose, within);
    for first in 0..loose.len() {
        if ends.used[first] {
            continue;
        }
        ends.used[first] = true;
        // Links from the chain's first end to its last: which stroke, and whether it is walked backwards.
        let mut links = vec![(first, false)];
        let [mut tail, mut head] = ends.of[first];
        // Onward from its end; then, turned round, onward from its start.
        for _ in 0..2 {
            while links.len() == 1 || head.distance(tail) > within {
                let Some((next, backwards)) = ends.nearest(head, patience)? else { break };
                ends.used[next] = true;
                head = ends.of[next][usize::from(!backwards)];
                links.push((next, backwards));
            }
            links.reverse();
            for (_, backwards) in &mut links {
                *backwards = !*backwards;
            }
            std::mem::swap(&mut head, &mut tail);
        }
        let mut chain = BezPath::new();
        for &(index, backwards) in &links {
            append(&mut chain, &loose[index].path, backwards);
        }
        let stroke = loose[first];
        if links.len() > 1 && head.distance(tail) <= within {
            closed.push(Outline::new(shut(&chain), stroke.role, stroke.name.clone()));
        } else {
            open.push(Stroke::new(stroke.role, chain, stroke.name.clone()));
        }
    }
    Ok((closed, open))
}

/// A path closed, its last point drawn to its first where they differ by no more than rounding.
fn shut(path: &BezPath) -> BezPath {
    let mut path = path.clone();
    if let (Some(start), Some(end)) = (path::start(&path), path::end(&path)) {
        if !path::is_closed(&path) && start != end {
            move_end(&mut path, start);
        }
        if !path::is_closed(&path) {
            path.close_path();
        }
    }
    path
}

fn move_end(path: &mut BezPath, to: Point) {
    if let Some(PathEl::LineTo(p) | PathEl::QuadTo(_, p) | PathEl::CurveTo(_, _, p)) = path.elements_mut().last_mut() {
        *p = to;
    }
}

/// Adds a path to a chain; its start becomes the chain's end.
fn append(chain: &mut BezPath, next: &BezPath, backwards: bool) {
    let next = if backwards { path::reversed(next) } else { next.clone() };
    let skip = usize::from(!chain.is_empty());
    chain.extend(next.elements().iter().skip(skip).copied());
}

/// Ends of strokes that are not used yet, by place.
struct Ends {
    used: Vec<bool>,
    /// First and last point of every stroke.
    of: Vec<[Point; 2]>,
    within: f64,
    cells: HashMap<(i64, i64), Vec<(usize, bool)>>,
}

impl Ends {
    fn new(strokes: &[&Stroke], within: f64) -> Self {
        let both =
            |stroke: &&Stroke| [path::start(&stroke.path), path::end(&stroke.path)].map(Option::unwrap_or_default);
        let of: Vec<[Point; 2]> = strokes.iter().map(both).collect();
        let mut ends = Self { used: vec![false; of.len()], of, within, cells: HashMap::new() };
        for index in 0..ends.of.len() {
            for (end, last) in ends.of[index].into_iter().zip([false, true]) {
                ends.cells.entry(ends.cell(end)).or_default().push((index, last));
            }
        }
        ends
    }

    fn cell(&self, p: Point) -> (i64, i64) {
        let size = self.within.max(1e-3);
        ((p.x / size).floor() as i64, (p.y / size).floor() as i64)
    }

    /// The unused stroke with an end nearest to a point and within reach, and whether that is its last point.
    fn nearest(&mut self, p: Point, patience: &mut Patience) -> Result<Option<(usize, bool)>> {
        let (x, y) = self.cell(p);
        let mut best: Option<(f64, usize, bool)> = None;
        for cell in (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (x + dx, y + dy))) {
            let Some(ends) = self.cells.get_mut(&cell) else { continue };
            patience.spend(ends.len())?;
            ends.retain(|(index, _)| !self.used[*index]);
            for &(index, last) in &*ends {
                let off = self.of[index][usize::from(last)].distance(p);
                if off <= self.within && best.is_none_or(|(least, at, _)| (off, index) < (least, at)) {
                    best = Some((off, index, last));
                }
            }
        }
        Ok(best.map(|(_, index, last)| (index, last)))
    }
}

/// An outline whose part between the ends of an open line is replaced by that line, so that as much as can be is enclosed.
/// `None` where the line does not end on the outline.
pub fn closed_along(outline: &BezPath, line: &BezPath, within: f64) -> Option<BezPath> {
    let open = path::opened(outline);
    let whole = path::length(&open);
    let on = |p: Point| parts::nearest(&open, p).filter(|(_, off)| *off <= within.max(0.01)).map(|(at, _)| at);
    let (from, to) = (on(path::start(line)?)?, on(path::end(line)?)?);
    let candidate = |line: &BezPath, from: f64, to: f64| {
        // Along the line, and on along the outline from where it ends to where it starts.
        let mut path = line.clone();
        if to <= from {
            parts::join(&mut path, &parts::between(&open, to, from));
        } else {
            parts::join(&mut path, &parts::between(&open, to, whole));
            parts::join(&mut path, &parts::between(&open, 0.0, from));
        }
        shut(&path)
    };
    let ways = [candidate(line, from, to), candidate(&path::reversed(line), to, from)];
    let best = ways.into_iter().max_by(|a, b| a.area().total_cmp(&b.area()))?;
    (best.area() > 0.0).then_some(best)
}
