//! The ground of a piece: where there is room to draw.
//!
//! The sew line and all that is already drawn are kept as straight lines (flattened to [`FLATTEN`]), and a box of
//! writing is measured against them as a whole: for a box of fixed shape about a fixed centre, the largest scale at
//! which it meets none of the lines is the least weighted Chebyshev distance max(|x|/a, |y|/b) from the centre to them.

use kurbo::{Affine, BezPath, Line, ParamCurve, PathSeg, Point, Rect, Vec2};

/// How far a straight line may stray from the curve it stands for, mm. Nothing is drawn this close to a line.
const FLATTEN: f64 = 0.02;

/// Cells along each side of the grid of centres that are tried; finer finds little more room, at a cost that grows with
/// the square.
const CELLS: usize = 32;

/// The inside of a sew line, less what is drawn there.
#[derive(Clone)]
pub(super) struct Ground {
    outline: Vec<Line>,
    taken: Vec<Line>,
}

/// A place for a box: its centre, the angle of its base and its scale.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub centre: Point,
    pub angle: f64,
    pub scale: f64,
}

impl Spot {
    /// From the box's own coordinates to the piece's.
    pub fn transform(&self) -> Affine {
        Affine::translate(self.centre.to_vec2()) * Affine::rotate(self.angle) * Affine::scale(self.scale)
    }
}

/// The path as straight lines.
pub(super) fn lines(path: &BezPath) -> Vec<Line> {
    let mut flat = BezPath::new();
    kurbo::flatten(path.elements().iter().copied(), FLATTEN, |element| flat.push(element));
    flat.segments().map(|segment| Line::new(segment.start(), segment.end())).collect()
}

/// The angle of a line of writing along `angle` that is not read upside down: above −90°, up to 90°.
pub(super) fn upright(angle: f64) -> f64 {
    use std::f64::consts::{FRAC_PI_2, PI};
    // A hair's breadth of −90° is taken as 90°, so that vertical writing always reads from the same side.
    let turned = (angle + FRAC_PI_2 - 1e-6).rem_euclid(PI);
    turned - FRAC_PI_2 + 1e-6
}

impl Ground {
    /// The ground inside a closed sew line.
    pub fn new(outline: &BezPath) -> Self {
        Self { outline: lines(outline), taken: Vec::new() }
    }

    /// Marks a stroke as drawn.
    pub fn take(&mut self, path: &BezPath) {
        self.taken.extend(lines(path));
    }

    /// Whether the point lies inside the sew line.
    pub fn contains(&self, point: Point) -> bool {
        contains(&self.outline, point)
    }

    /// Distance from the point to the sew line.
    pub fn distance(&self, point: Point) -> f64 {
        self.outline.iter().map(|line| to_point(*line, point)).fold(f64::INFINITY, f64::min)
    }

    /// Distance from the path to the sew line; negative where the path starts outside.
    pub fn clearance(&self, path: &BezPath) -> f64 {
        let inside = lines(path).first().is_some_and(|line| self.contains(line.p0));
        if inside { nearest(&lines(path), &self.outline) } else { -1.0 }
    }

    /// Distance from the path to what is drawn already.
    pub fn berth(&self, path: &BezPath) -> f64 {
        nearest(&lines(path), &self.taken)
    }

    /// The stretches inside the sew line of the infinite line through `point` along the unit vector `along`, as
    /// distances from `point`.
    pub fn chords(&self, point: Point, along: Vec2) -> Vec<(f64, f64)> {
        let mut crossings: Vec<f64> = Vec::new();
        for line in &self.outline {
            let (a, b) = (line.p0 - point, line.p1 - point);
            let (side_a, side_b) = (along.cross(a), along.cross(b));
            // Half-open, so that a corner on the line counts once or twice but never three times.
            if (side_a >= 0.0) != (side_b >= 0.0) {
                let t = side_a / (side_a - side_b);
                crossings.push(along.dot(a.lerp(b, t)));
            }
        }
        crossings.sort_by(f64::total_cmp);
        crossings.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
    }

    /// Whether a box of half-size `half` about `centre`, its base at `angle`, lies inside the sew line and on nothing.
    pub fn fits(&self, centre: Point, angle: f64, half: Vec2) -> bool {
        let turn = Affine::rotate(-angle);
        let all: Vec<Line> = self.outline.iter().chain(&self.taken).map(|line| turn * *line).collect();
        self.contains(centre) && room(&all, turn * centre, half, 1.0) > 1.0
    }

    /// The ground as seen by writing at `angle`.
    pub fn view(&self, angle: f64) -> View {
        let turn = Affine::rotate(-angle);
        let outline: Vec<Line> = self.outline.iter().map(|line| turn * *line).collect();
        let bounds = bounds(&outline);
        let cell = |i: usize, from: f64, size: f64| from + size * (i as f64 + 0.5) / CELLS as f64;
        let mut centres = Vec::new();
        for i in 0..CELLS {
            for j in 0..CELLS {
                let centre = Point::new(cell(i, bounds.x0, bounds.width()), cell(j, bounds.y0, bounds.height()));
                if contains(&outline, centre) {
                    centres.push(centre);
                }
            }
        }
        let mut all = outline.clone();
        all.extend(self.taken.iter().map(|line| turn * *line));
        View { angle, outline, all, bounds, centres }
    }
}

/// A ground turned so that writing is level.
pub(super) struct View {
    angle: f64,
    outline: Vec<Line>,
    all: Vec<Line>,
    bounds: Rect,
    centres: Vec<Point>,
}

impl View {
    /// The best place for a box of half-size `half` at scale 1: as large as the ground allows up to scale `enough`, and
    /// then near the middle.
    pub fn roomiest(&self, half: Vec2, enough: f64) -> Option<Spot> {
        let middle = self.bounds.center();
        let across = self.bounds.size().to_vec2().hypot();
        let nearness = |centre: Point| 1.0 - 0.1 * centre.distance(middle) / across;
        let mut best: Option<(f64, Point, f64)> = None;
        let mut consider = |centre: Point| {
            let nearness = nearness(centre);
            let floor = best.map_or(0.0, |(worth, ..)| worth / nearness);
            if floor >= enough {
                return;
            }
            let scale = room(&self.all, centre, half, floor).min(enough);
            if scale > floor {
                best = Some((scale * nearness, centre, scale));
            }
        };
        for centre in &self.centres {
            consider(*centre);
        }
        let mut step = Vec2::new(self.bounds.width(), self.bounds.height()) / (2.0 * CELLS as f64);
        let mut from = best?.1;
        for _ in 0..6 {
            for (x, y) in [(-1.0, 0.0), (1.0, 0.0), (0.0, -1.0), (0.0, 1.0)] {
                let centre = from + Vec2::new(x * step.x, y * step.y);
                if contains(&self.outline, centre) {
                    let nearness = nearness(centre);
                    let scale = room(&self.all, centre, half, 0.0).min(enough);
                    if best.is_some_and(|(worth, ..)| scale * nearness > worth) {
                        best = Some((scale * nearness, centre, scale));
                    }
                }
            }
            from = best?.1;
            step *= 0.5;
        }
        let (_, centre, scale) = best?;
        Some(Spot { centre: Affine::rotate(self.angle) * centre, angle: self.angle, scale })
    }
}

/// The largest scale at which the box meets none of the lines, looked for only above `floor`.
fn room(lines: &[Line], centre: Point, half: Vec2, floor: f64) -> f64 {
    let mut least = f64::INFINITY;
    for line in lines {
        let (p, q) = (line.p0 - centre, line.p1 - centre);
        let (a, b) = (Vec2::new(p.x / half.x, p.y / half.y), Vec2::new(q.x / half.x, q.y / half.y));
        let beyond = |u: f64, v: f64| (u >= least && v >= least) || (u <= -least && v <= -least);
        if !beyond(a.x, b.x) && !beyond(a.y, b.y) {
            least = least.min(chebyshev(a, b));
            if least <= floor {
                return least;
            }
        }
    }
    least
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

fn bounds(lines: &[Line]) -> Rect {
    lines.iter().map(|line| Rect::from_points(line.p0, line.p1)).reduce(|a, b| a.union(b)).unwrap_or(Rect::ZERO)
}

fn contains(outline: &[Line], point: Point) -> bool {
    let crosses = |line: &&Line| {
        (line.p0.y > point.y) != (line.p1.y > point.y)
            && point.x < line.p0.x + (point.y - line.p0.y) / (line.p1.y - line.p0.y) * (line.p1.x - line.p0.x)
    };
    outline.iter().filter(crosses).count() % 2 == 1
}

fn nearest(some: &[Line], others: &[Line]) -> f64 {
    some.iter().flat_map(|a| others.iter().map(move |b| between(*a, *b))).fold(f64::INFINITY, f64::min)
}

/// Distance between two straight lines; 0 where they cross.
fn between(a: Line, b: Line) -> f64 {
    if !PathSeg::Line(a).intersect_line(b).is_empty() {
        return 0.0;
    }
    [to_point(b, a.p0), to_point(b, a.p1), to_point(a, b.p0), to_point(a, b.p1)]
        .into_iter()
        .fold(f64::INFINITY, f64::min)
}

fn to_point(line: Line, point: Point) -> f64 {
    let along = line.p1 - line.p0;
    let t = if along.hypot2() > 0.0 { ((point - line.p0).dot(along) / along.hypot2()).clamp(0.0, 1.0) } else { 0.0 };
    line.eval(t).distance(point)
}
