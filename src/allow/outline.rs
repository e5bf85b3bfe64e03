//! A piece's sew line made ready: checked, capped, freed of crumbs, cut into smooth sides, unfolded.

use super::cap::{Tip, capped};
use crate::diag::{Finding, Result};
use crate::geom::crossing::first_crossing;
use crate::geom::offset::Source;
use crate::piece::{Finish, Piece};
use crate::units::LONGEST;
use kurbo::{Affine, BezPath, CubicBez, Line, ParamCurve, ParamCurveArea, PathEl, PathSeg, Point, Vec2};

/// Segments no larger than this are dropped, mm: a fifth of the usual tolerance.
const CRUMB: f64 = 0.001;

/// Control points this near to the chord make a cubic a line, mm.
const COLLINEAR: f64 = 1e-6;

/// Joins that turn less than this are smooth, radians. A mitre would add 6e-6 mm to an allowance of 50 mm there.
pub const KINK: f64 = 1e-3;

/// A cubic has a cusp where it turns by more than a right angle within this distance to either side, mm.
const CUSP: f64 = 1e-5;

/// How far a fold edge may stray from a straight line, and a piece across its fold, mm.
const FOLD_SLACK: f64 = 0.01;

/// A stretch of the sew line without corners, of one edge.
#[derive(Clone, Debug)]
pub struct Side {
    /// Which edge of the piece it belongs to.
    pub edge: usize,
    /// Whether it is the mirror image beyond the fold; it then runs against the edge's direction.
    pub mirrored: bool,
    /// Lines and cubics, each smoothly continuing the last.
    pub run: Vec<PathSeg>,
    /// Width of the allowance, mm.
    pub width: f64,
    /// How the allowance turns the corner at its end.
    pub finish: Finish,
    /// The fold of a dart or pleat that ends there.
    pub tip: Option<Tip>,
}

/// The line that a piece is unfolded about, in the fold edge's direction: the piece lies to the left.
#[derive(Clone, Copy, Debug)]
pub struct Axis {
    /// A point on it.
    pub origin: Point,
    /// Unit vector along it.
    pub along: Vec2,
}

/// The closed chain of sides whose allowances are to be made, counter-clockwise.
#[derive(Clone, Debug)]
pub struct Outline {
    /// The sides in order.
    pub sides: Vec<Side>,
    /// Where the piece is unfolded: the cut line keeps to the left of it.
    pub axis: Option<Axis>,
}

impl Axis {
    /// Signed distance from the axis, positive on the piece's side.
    pub fn height(&self, p: Point) -> f64 {
        self.along.cross(p - self.origin)
    }

    /// Reflection about the axis.
    pub fn mirror(&self) -> Affine {
        Affine::reflect(self.origin, self.along)
    }
}

impl Side {
    /// First point.
    pub fn start(&self) -> Point {
        self.run[0].start()
    }

    /// Last point.
    pub fn end(&self) -> Point {
        self.run[self.run.len() - 1].end()
    }

    /// Unit tangent at the start.
    pub fn start_tangent(&self) -> Vec2 {
        tangents(&self.run[0])[0]
    }

    /// Unit tangent at the end.
    pub fn end_tangent(&self) -> Vec2 {
        tangents(&self.run[self.run.len() - 1])[1]
    }
}

/// Unit tangents at both ends of a segment.
pub fn tangents(segment: &PathSeg) -> [Vec2; 2] {
    let source = Source::of(segment);
    [source.tangent(0.0), source.tangent(1.0)]
}

/// Turning angle from one direction to the next, radians, positive to the left.
pub fn turn(from: Vec2, to: Vec2) -> f64 {
    from.cross(to).atan2(from.dot(to))
}

/// A segment, the edge that it comes from, whether a cusp follows, and the fold of a dart or pleat at its end.
struct Step {
    edge: usize,
    segment: PathSeg,
    cusp: bool,
    tip: Option<Tip>,
}

/// Checks a piece's sew line, caps the mouths of its darts and pleats, and cuts it into sides.
///
/// # Errors
/// Names the edge: a number that is no length, an edge that is empty, jumps, or does not start where the last one ended,
/// an outline that crosses itself (with the place), runs clockwise or encloses nothing, a fold that is bent, is not the
/// only one or lies inside the piece.
pub fn outline(piece: &Piece, findings: &mut Vec<Finding>) -> Result<Outline> {
    let steps = steps(piece, findings)?;
    let segments: Vec<PathSeg> = steps.iter().map(|step| step.segment).collect();
    let area: f64 = segments.iter().map(ParamCurveArea::signed_area).sum();
    if let Some(crossing) = first_crossing(&segments) {
        let [first, second] = [crossing.first, crossing.second].map(|i| &piece.edges[steps[i].edge].name);
        let with = if first == second { "itself".into() } else { format!("\"{second}\"") };
        let Point { x, y } = crossing.place;
        return fault(
            Finding::error(format!("this edge crosses {with} at ({x:.2}, {y:.2}) mm"))
                .hint("a sew line encloses the piece once; redraw one of the two"),
            piece,
            Some(steps[crossing.first].edge),
        );
    }
    if area < 0.0 {
        let hint = "list the edges the other way round, each drawn from its other end";
        return fault(Finding::error("the outline runs clockwise").hint(hint), piece, None);
    }
    if area < CRUMB {
        return fault(nothing(), piece, None);
    }
    let sides = sides(piece, steps);
    match fold(piece)? {
        None => Ok(Outline { sides, axis: None }),
        Some((edge, axis)) => unfold(piece, &sides, edge, axis),
    }
}

fn fault<T>(finding: Finding, piece: &Piece, edge: Option<usize>) -> Result<T> {
    let finding = finding.piece(&piece.name);
    Err(Box::new(match edge {
        Some(edge) => finding.edge(&piece.edges[edge].name),
        None => finding,
    }))
}

fn steps(piece: &Piece, findings: &mut Vec<Finding>) -> Result<Vec<Step>> {
    let mut steps: Vec<Step> = Vec::new();
    let mut last: Option<Point> = None;
    for (index, edge) in piece.edges.iter().enumerate() {
        let err = |text: String, hint: &str| fault(Finding::error(text).hint(hint), piece, Some(index));
        if !(0.0..=LONGEST).contains(&edge.allowance) {
            return err(format!("the allowance is {} mm, which is no width", edge.allowance), "0 or more, in mm");
        }
        if edge.fold && edge.allowance != 0.0 {
            return err("an edge on the fold has an allowance".into(), "leave one of the two out");
        }
        let all = edge.path.elements();
        if !all.iter().all(|element| element_in_range(*element)) {
            return err("a coordinate is no length in this trade".into(), "mm, finite and under 100,000");
        }
        let jumps = all.iter().skip(1).any(|element| matches!(element, PathEl::MoveTo(_) | PathEl::ClosePath));
        if all.len() < 2 || jumps {
            return err("the edge is not one open run of lines and curves".into(), "draw it from corner to corner");
        }
        let mut said = Vec::new();
        let segments = match capped(piece, edge, &mut said) {
            Ok(segments) => segments,
            Err(finding) => return fault(finding, piece, Some(index)),
        };
        findings.extend(said.into_iter().map(|finding| finding.piece(&piece.name).edge(&edge.name)));
        for (mut segment, tip) in segments {
            if let Some(end) = last {
                let gap = end.distance(segment.start());
                if gap > CRUMB {
                    let text = format!("this edge starts {gap:.3} mm from where the last one ended");
                    return err(text, "every edge starts where the last one ended, counter-clockwise");
                }
                segment = with_start(segment, end);
            }
            if reach(&segment) < CRUMB {
                last = last.or(Some(segment.start()));
                continue;
            }
            last = Some(segment.end());
            match smoothed(segment) {
                Some(parts) => {
                    let step = |(segment, cusp)| Step { edge: index, segment, cusp, tip: None };
                    steps.extend(parts.into_iter().map(step));
                    if let Some(step) = steps.last_mut() {
                        step.tip = tip;
                    }
                }
                None => return err("the curve doubles back on itself".into(), "move its control points"),
            }
        }
    }
    let Some((first, last)) = steps.first().zip(steps.last()) else {
        return fault(nothing(), piece, None);
    };
    let (start, gap) = (first.segment.start(), first.segment.start().distance(last.segment.end()));
    if gap > 2.0 * CRUMB {
        let text = format!("this edge ends {gap:.3} mm from where the first one starts");
        return fault(Finding::error(text).hint("the outline must close"), piece, Some(last.edge));
    }
    if let Some(step) = steps.last_mut() {
        step.segment = with_end(step.segment, start);
    }
    Ok(steps)
}

fn nothing() -> Finding {
    Finding::error("the outline encloses nothing").hint("draw its edges round the piece, counter-clockwise")
}

fn element_in_range(element: PathEl) -> bool {
    let fits = |p: Point| p.is_finite() && p.x.abs() <= LONGEST && p.y.abs() <= LONGEST;
    match element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => fits(p),
        PathEl::QuadTo(a, b) => fits(a) && fits(b),
        PathEl::CurveTo(a, b, c) => fits(a) && fits(b) && fits(c),
        PathEl::ClosePath => true,
    }
}

/// Greatest distance between two control points: the same whichever way the segment lies and runs.
pub fn reach(segment: &PathSeg) -> f64 {
    let CubicBez { p0, p1, p2, p3 } = match segment {
        PathSeg::Line(line) => return line.p0.distance(line.p1),
        curve => curve.to_cubic(),
    };
    let ends = p0.distance(p3).max(p1.distance(p2));
    ends.max(p0.distance(p1)).max(p0.distance(p2)).max(p1.distance(p3)).max(p2.distance(p3))
}

fn with_start(segment: PathSeg, start: Point) -> PathSeg {
    match segment {
        PathSeg::Line(line) => PathSeg::Line(Line::new(start, line.p1)),
        other => PathSeg::Cubic(CubicBez { p0: start, ..other.to_cubic() }),
    }
}

fn with_end(segment: PathSeg, end: Point) -> PathSeg {
    match segment {
        PathSeg::Line(line) => PathSeg::Line(Line::new(line.p0, end)),
        other => PathSeg::Cubic(CubicBez { p3: end, ..other.to_cubic() }),
    }
}

/// A collinear cubic as a line, a cubic with cusps in parts; `None` where it runs back over itself.
fn smoothed(segment: PathSeg) -> Option<Vec<(PathSeg, bool)>> {
    if let PathSeg::Line(_) = segment {
        return Some(vec![(segment, false)]);
    }
    let c = segment.to_cubic();
    let chord = c.p3 - c.p0;
    let long = chord.hypot();
    let spread = [c.p1 - c.p0, c.p2 - c.p0];
    // All four points on one line, whatever the order.
    let widest =
        [spread[0], spread[1], chord].into_iter().fold(Vec2::ZERO, |a, b| if b.hypot() > a.hypot() { b } else { a });
    let line = widest / widest.hypot();
    if [spread[0], spread[1], chord].iter().all(|v| v.cross(line).abs() < COLLINEAR) {
        let forward = |v: &Vec2| (-CRUMB..=long + CRUMB).contains(&(v.dot(chord) / long));
        return spread.iter().all(forward).then(|| vec![(PathSeg::Line(Line::new(c.p0, c.p3)), false)]);
    }
    let mut parts = Vec::new();
    let mut done = 0.0;
    let mut last = c.p0;
    for Cusp { span: [from, to], point } in cusps(c) {
        let part = with_start(PathSeg::Cubic(c.subsegment(done..from)), last);
        parts.push((with_end(part, point), true));
        (done, last) = (to, point);
    }
    let rest = if done > 0.0 { c.subsegment(done..1.0) } else { c };
    parts.push((with_start(PathSeg::Cubic(rest), last), false));
    Some(parts)
}

/// A crumb of a cubic about a cusp, which a corner takes the place of.
struct Cusp {
    span: [f64; 2],
    point: Point,
}

/// The cusps inside a cubic, and its loop where that is a crumb: it is a cusp that rounding has crossed over.
fn cusps(c: CubicBez) -> Vec<Cusp> {
    const GRID: usize = 16;
    if let Some(span @ [from, to]) = own_loop(c) {
        let point = c.eval(from);
        let far = (1..8).map(|i| c.eval(from + (to - from) * f64::from(i) / 8.0).distance(point)).fold(0.0, f64::max);
        return if far < CRUMB { vec![Cusp { span, point }] } else { Vec::new() };
    }
    let source = Source::new(c);
    let speed = |t: f64| source.velocity(t).hypot();
    let speeds: Vec<f64> = (0..=GRID).map(|i| speed(i as f64 / GRID as f64)).collect();
    let highest = speeds.iter().copied().fold(0.0, f64::max);
    let mut found = Vec::new();
    for i in 1..GRID {
        if speeds[i] > speeds[i - 1] || speeds[i] >= speeds[i + 1] || speeds[i] > 0.2 * highest {
            continue;
        }
        let (mut a, mut b) = ((i - 1) as f64 / GRID as f64, (i + 1) as f64 / GRID as f64);
        for _ in 0..60 {
            let (c, d) = (a + 0.4 * (b - a), b - 0.4 * (b - a));
            if speed(c) < speed(d) { b = d } else { a = c }
        }
        let slowest = 0.5 * (a + b);
        let point = c.eval(slowest);
        // How far to either end it is within the distance.
        let span = [0.0, 1.0].map(|end: f64| {
            let (mut near, mut far) = (0.0, 1.0);
            for _ in 0..40 {
                let share = 0.5 * (near + far);
                if c.eval(slowest + share * (end - slowest)).distance(point) < CUSP {
                    near = share;
                } else {
                    far = share;
                }
            }
            slowest + far * (end - slowest)
        });
        if source.tangent(span[0]).dot(source.tangent(span[1])) < 0.0 {
            found.push(Cusp { span, point });
        }
    }
    found
}

/// Parameters between which a cubic runs round a loop. Where a·t³ + b·t² + c·t is alike at two of them with the sum s and
/// the product p, a·(s² − p) + b·s + c = 0.
fn own_loop(curve: CubicBez) -> Option<[f64; 2]> {
    let CubicBez { p0, p1, p2, p3 } = curve;
    let (a, b, c) = ((p3 - p0) - 3.0 * (p2 - p1), 3.0 * ((p2 - p1) - (p1 - p0)), 3.0 * (p1 - p0));
    let (sum, rest) = (-a.cross(c) / a.cross(b), b.cross(c) / a.cross(b));
    let half = (0.25 * sum * sum - (sum * sum - rest)).sqrt();
    let span = [0.5 * sum - half, 0.5 * sum + half];
    (half > 0.0 && span[0] > 0.0 && span[1] < 1.0).then_some(span)
}

fn sides(piece: &Piece, steps: Vec<Step>) -> Vec<Side> {
    let mut sides: Vec<Side> = Vec::new();
    let mut cusp = false;
    let mut tip = None;
    for step in steps {
        let [start, _] = tangents(&step.segment);
        let edge = &piece.edges[step.edge];
        let smooth = |side: &Side| side.edge == step.edge && turn(side.end_tangent(), start).abs() < KINK;
        match sides.last_mut() {
            Some(side) if smooth(side) => side.run.push(step.segment),
            last => {
                if let Some(side) = last.filter(|side| side.edge == step.edge) {
                    // A corner within an edge; a cusp is the limit of an ever tighter curve, and so is its allowance.
                    side.finish = if cusp { Finish::Round } else { Finish::Mitre };
                    side.tip = tip;
                }
                let (width, finish) = (edge.allowance, edge.corner);
                sides.push(Side {
                    edge: step.edge,
                    mirrored: false,
                    run: vec![step.segment],
                    width,
                    finish,
                    tip: None,
                });
            }
        }
        (cusp, tip) = (step.cusp, step.tip);
    }
    sides
}

fn fold(piece: &Piece) -> Result<Option<(usize, Axis)>> {
    let mut folds = piece.edges.iter().enumerate().filter(|(_, edge)| edge.fold);
    let Some((index, edge)) = folds.next() else { return Ok(None) };
    if let Some((other, _)) = folds.next() {
        let hint = "unfold the piece about one of them first";
        return fault(Finding::error("this is the second edge on a fold").hint(hint), piece, Some(other));
    }
    let points: Vec<Point> = edge.path.elements().iter().flat_map(|e| points_of(*e)).collect();
    let (Some(start), Some(end)) = (points.first().copied(), points.last().copied()) else { return Ok(None) };
    let chord = end - start;
    if chord.hypot() < 1.0 {
        return fault(Finding::error("the fold is shorter than 1 mm"), piece, Some(index));
    }
    let axis = Axis { origin: start, along: chord.normalize() };
    if points.iter().any(|p| axis.height(*p).abs() > FOLD_SLACK) {
        let hint = "cloth only folds along a straight line; draw the edge straight";
        return fault(Finding::error("the edge on the fold is not straight").hint(hint), piece, Some(index));
    }
    Ok(Some((index, axis)))
}

fn points_of(element: PathEl) -> Vec<Point> {
    match element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => vec![p],
        PathEl::QuadTo(a, b) => vec![a, b],
        PathEl::CurveTo(a, b, c) => vec![a, b, c],
        PathEl::ClosePath => Vec::new(),
    }
}

fn unfold(piece: &Piece, sides: &[Side], edge: usize, axis: Axis) -> Result<Outline> {
    let at = sides.iter().position(|side| side.edge == edge).unwrap_or(0);
    let folds = sides.iter().filter(|side| side.edge == edge).count();
    // The half outline, from the fold's end round to its start.
    let mut half: Vec<Side> = sides[at + folds..].iter().chain(&sides[..at]).cloned().collect();
    for side in &half {
        let beyond = |s: &PathSeg| (0..=8).any(|i| axis.height(s.eval(f64::from(i) / 8.0)) < -FOLD_SLACK);
        if side.run.iter().any(beyond) {
            let text = "this edge reaches across the fold";
            let hint = "the whole of the piece lies on one side of its fold";
            return fault(Finding::error(text).hint(hint), piece, Some(side.edge));
        }
    }
    let Some((first, last)) = half.first().zip(half.last()) else {
        return fault(Finding::error("the piece is nothing but its fold"), piece, Some(edge));
    };
    // Both ends exactly on the axis, so that the two halves meet.
    let foot = |p: Point| axis.origin + axis.along * axis.along.dot(p - axis.origin);
    let (start, end) = (foot(first.start()), foot(last.end()));
    if let Some(segment) = half.first_mut().and_then(|side| side.run.first_mut()) {
        *segment = with_start(*segment, start);
    }
    if let Some(segment) = half.last_mut().and_then(|side| side.run.last_mut()) {
        *segment = with_end(*segment, end);
    }
    // Finishes belong to the end of a side: each mirror image takes that of its source's start.
    let mirror = axis.mirror();
    let mut finish_at_start = sides[at].finish;
    let mut image: Vec<Side> = Vec::with_capacity(half.len());
    for side in &half {
        let run = side.run.iter().rev().map(|s| mirror * s.reverse()).collect();
        // Tips are left plain there: the half beyond the fold is cut off again.
        let (edge, width, finish) = (side.edge, side.width, finish_at_start);
        image.push(Side { edge, mirrored: true, run, width, finish, tip: None });
        finish_at_start = side.finish;
    }
    image.reverse();
    if let Some((last, mirrored)) = half.last().zip(image.first_mut()) {
        mirrored.run[0] = with_start(mirrored.run[0], last.end());
    }
    half.append(&mut image);
    let first = half[0].start();
    if let Some(segment) = half.last_mut().and_then(|side| side.run.last_mut()) {
        *segment = with_end(*segment, first);
    }
    Ok(Outline { sides: half, axis: Some(axis) })
}

/// A closed path of the outline's sides.
pub fn as_path(sides: &[Side]) -> BezPath {
    let mut path = BezPath::new();
    for segment in sides.iter().flat_map(|side| &side.run) {
        if path.is_empty() {
            path.move_to(segment.start());
        }
        path.push(segment.as_path_el());
    }
    path.close_path();
    path
}
