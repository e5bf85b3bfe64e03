//! Curves as straight lines, kept so that those far from a question are passed over together.

use kurbo::{Affine, BezPath, Line, ParamCurve, Point, Rect, Vec2};
use std::ops::Range;

/// How far a straight line may stray from the curve it stands for, mm. Nothing is drawn this close to a line.
const FLATTEN: f64 = 0.02;

/// Lines in a bundle, and bundles in a bale: few enough that each lies together, many enough that all are soon gone through.
const BUNDLE: usize = 8;

/// The path as straight lines.
pub(super) fn lines(path: &BezPath) -> Vec<Line> {
    let mut lines = Vec::new();
    let (mut start, mut pen) = (Point::ZERO, Point::ZERO);
    kurbo::flatten(path.elements().iter().copied(), FLATTEN, |element| {
        let to = match element {
            kurbo::PathEl::MoveTo(point) => {
                (start, pen) = (point, point);
                return;
            }
            kurbo::PathEl::ClosePath if pen == start => return,
            kurbo::PathEl::ClosePath => start,
            other => other.end_point().unwrap_or(pen),
        };
        lines.push(Line::new(pen, to));
        pen = to;
    });
    lines
}

/// Straight lines in bundles of neighbours, and those in bales, each with its bounding box.
#[derive(Clone, Default)]
pub(super) struct Lines {
    all: Vec<Line>,
    bundles: Vec<Boxed>,
    bales: Vec<Boxed>,
}

/// The box about some neighbours, and which they are.
#[derive(Clone)]
struct Boxed {
    rect: Rect,
    inside: Range<usize>,
}

impl Boxed {
    fn shifted(&self, by: usize) -> Self {
        Self { rect: self.rect, inside: self.inside.start + by..self.inside.end + by }
    }

    fn meets(&self, other: Rect) -> bool {
        let own = self.rect;
        own.x0 < other.x1 && own.x1 > other.x0 && own.y0 < other.y1 && own.y1 > other.y0
    }
}

/// Boxes about every [`BUNDLE`] neighbours of a range.
fn boxed(range: Range<usize>, about: impl Fn(Range<usize>) -> Rect) -> impl Iterator<Item = Boxed> {
    let end = range.end;
    range.step_by(BUNDLE).map(move |start| {
        let inside = start..(start + BUNDLE).min(end);
        Boxed { rect: about(inside.clone()), inside }
    })
}

impl Lines {
    /// The lines of a path.
    pub fn of(path: &BezPath) -> Self {
        let mut lines = Self::default();
        lines.add([path]);
        lines
    }

    /// Adds the lines of paths that lie near each other.
    pub fn add<'a>(&mut self, paths: impl IntoIterator<Item = &'a BezPath>) {
        let Self { all, bundles, bales } = self;
        let (first_line, first_bundle) = (all.len(), bundles.len());
        for path in paths {
            all.extend(lines(path));
        }
        bundles.extend(boxed(first_line..all.len(), |inside| bounds(&all[inside])));
        bales.extend(boxed(first_bundle..bundles.len(), |inside| about(&bundles[inside])));
    }

    /// These and others, turned.
    pub fn turned(&self, others: &Self, turn: Affine) -> Self {
        let all: Vec<Line> = self.all.iter().chain(&others.all).map(|line| turn * *line).collect();
        let more = others.bundles.iter().map(|bundle| bundle.shifted(self.all.len()));
        let mut bundles: Vec<Boxed> = self.bundles.iter().cloned().chain(more).collect();
        for bundle in &mut bundles {
            bundle.rect = bounds(&all[bundle.inside.clone()]);
        }
        let more = others.bales.iter().map(|bale| bale.shifted(self.bundles.len()));
        let mut bales: Vec<Boxed> = self.bales.iter().cloned().chain(more).collect();
        for bale in &mut bales {
            bale.rect = about(&bundles[bale.inside.clone()]);
        }
        Self { all, bundles, bales }
    }

    /// Whether a box is clear of all lines. `level` takes it to the square of half-size 1 about the origin, `about` is a box
    /// with level sides about it.
    pub fn clear(&self, about: Rect, level: Affine) -> bool {
        let outside = |line: &Line| {
            let line = level * *line;
            chebyshev(line.p0.to_vec2(), line.p1.to_vec2()) > 1.0
        };
        let near = self
            .bales
            .iter()
            .filter(|bale| bale.meets(about))
            .flat_map(|bale| &self.bundles[bale.inside.clone()])
            .filter(|bundle| bundle.meets(about));
        near.into_iter().all(|bundle| self.all[bundle.inside.clone()].iter().all(outside))
    }

    /// Box about them all.
    pub fn bounds(&self) -> Rect {
        about(&self.bundles)
    }

    /// All lines.
    pub fn iter(&self) -> impl Iterator<Item = &Line> {
        self.all.iter()
    }

    /// Whether the point lies inside, for the lines of one closed outline.
    pub fn contains(&self, point: Point) -> bool {
        let crosses = |line: &&Line| {
            (line.p0.y > point.y) != (line.p1.y > point.y)
                && point.x < line.p0.x + (point.y - line.p0.y) / (line.p1.y - line.p0.y) * (line.p1.x - line.p0.x)
        };
        let abreast =
            |bundle: &&Boxed| bundle.rect.y0 <= point.y && bundle.rect.y1 >= point.y && bundle.rect.x1 > point.x;
        let bundles = self.bundles.iter().filter(abreast);
        bundles.map(|bundle| self.all[bundle.inside.clone()].iter().filter(crosses).count()).sum::<usize>() % 2 == 1
    }

    /// Distance from the point to the nearest line; infinite where there is none.
    pub fn distance(&self, point: Point) -> f64 {
        self.nearest(Rect::from_points(point, point), |line| to_point(*line, point))
    }

    /// Distance from a path's lines to the nearest of these; 0 where they cross.
    pub fn apart(&self, path: &BezPath) -> f64 {
        let least = |line: &Line| self.nearest(Rect::from_points(line.p0, line.p1), |own| between(*own, *line));
        lines(path).iter().map(least).fold(f64::INFINITY, f64::min)
    }

    /// The least of a measure that is nowhere smaller than the distance from `rect`.
    fn nearest(&self, rect: Rect, measure: impl Fn(&Line) -> f64) -> f64 {
        let mut least = f64::INFINITY;
        for Boxed { rect: own, inside } in &self.bundles {
            let x = (own.x0 - rect.x1).max(rect.x0 - own.x1).max(0.0);
            let y = (own.y0 - rect.y1).max(rect.y0 - own.y1).max(0.0);
            if x.hypot(y) < least {
                least = self.all[inside.clone()].iter().map(&measure).fold(least, f64::min);
            }
        }
        least
    }

    /// For a box of half-size `half` about `centre`, the largest scale up to `enough` at which it meets none of the lines:
    /// the least weighted Chebyshev distance max(|x|/a, |y|/b) from the centre to them. Where it is below `floor`, any
    /// value below `floor` that is no less than it. With it the bundle of the line that it meets; the same bundle is
    /// looked at first for a centre nearby.
    pub fn room(&self, centre: Point, half: Vec2, (floor, enough): (f64, f64), first: usize) -> (f64, usize) {
        let mut room = Room { centre, half, scale: enough, bundle: first, within: reach(centre, half, enough) };
        if let Some(bundle) = self.bundles.get(first) {
            room.look(self, first, bundle);
        }
        for bale in &self.bales {
            if !bale.meets(room.within) {
                continue;
            }
            for index in bale.inside.clone() {
                if room.scale < floor {
                    return (room.scale, room.bundle);
                }
                room.look(self, index, &self.bundles[index]);
            }
        }
        (room.scale, room.bundle)
    }
}

/// The room that a box has so far.
struct Room {
    centre: Point,
    half: Vec2,
    scale: f64,
    bundle: usize,
    within: Rect,
}

impl Room {
    fn look(&mut self, lines: &Lines, index: usize, bundle: &Boxed) {
        if !bundle.meets(self.within) {
            return;
        }
        for line in &lines.all[bundle.inside.clone()] {
            let (p, q, own) = (line.p0, line.p1, self.within);
            let meets = (p.x < own.x1 || q.x < own.x1)
                && (p.x > own.x0 || q.x > own.x0)
                && (p.y < own.y1 || q.y < own.y1)
                && (p.y > own.y0 || q.y > own.y0);
            if meets {
                let scaled =
                    |p: Point| Vec2::new((p.x - self.centre.x) / self.half.x, (p.y - self.centre.y) / self.half.y);
                let scale = chebyshev(scaled(p), scaled(q));
                if scale < self.scale {
                    (self.scale, self.bundle) = (scale, index);
                    self.within = reach(self.centre, self.half, scale);
                }
            }
        }
    }
}

fn reach(centre: Point, half: Vec2, scale: f64) -> Rect {
    let half = half * scale;
    Rect::new(centre.x - half.x, centre.y - half.y, centre.x + half.x, centre.y + half.y)
}

/// Least max(|x|, |y|) on the line from `a` to `b`. The function is convex and piecewise linear, so the least is at an
/// end or where one of x = 0, y = 0, x = y, x = −y is crossed.
fn chebyshev(a: Vec2, b: Vec2) -> f64 {
    let along = b - a;
    let at = |t: f64| {
        let p = a + along * t;
        p.x.abs().max(p.y.abs())
    };
    let crossings = [(a.x, along.x), (a.y, along.y), (a.x - a.y, along.x - along.y), (a.x + a.y, along.x + along.y)];
    crossings
        .into_iter()
        .map(|(value, slope)| -value / slope)
        .filter(|t| (0.0..=1.0).contains(t))
        .map(at)
        .fold(at(0.0).min(at(1.0)), f64::min)
}

fn about(boxes: &[Boxed]) -> Rect {
    boxes.iter().map(|boxed| boxed.rect).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO)
}

fn bounds(lines: &[Line]) -> Rect {
    lines.iter().map(|line| Rect::from_points(line.p0, line.p1)).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO)
}

/// Distance between two straight lines; 0 where they cross.
fn between(a: Line, b: Line) -> f64 {
    if crosses(a, b) {
        return 0.0;
    }
    [to_point(b, a.p0), to_point(b, a.p1), to_point(a, b.p0), to_point(a, b.p1)]
        .into_iter()
        .fold(f64::INFINITY, f64::min)
}

/// Whether each line's ends lie on different sides of the other; lines that only touch are told by their ends' distance.
fn crosses(a: Line, b: Line) -> bool {
    let sides = |line: Line, other: Line| {
        let along = line.p1 - line.p0;
        along.cross(other.p0 - line.p0) * along.cross(other.p1 - line.p0) < 0.0
    };
    sides(a, b) && sides(b, a)
}

fn to_point(line: Line, point: Point) -> f64 {
    let along = line.p1 - line.p0;
    let t = if along.hypot2() > 0.0 { ((point - line.p0).dot(along) / along.hypot2()).clamp(0.0, 1.0) } else { 0.0 };
    line.eval(t).distance(point)
}
