//! The signs inside a piece: fold bracket, drill holes, darts, pleats, inner lines.

use super::ground::{Ground, Spot, upright};
use super::label::READABLE;
use super::{Stroke, polyline};
use crate::diag::Finding;
use crate::geom::path;
use crate::piece::{Dart, Fastening, Piece, Pleat, Pressed};
use crate::role::Role;
use crate::text::letter;
use kurbo::{Affine, BezPath, ParamCurve, ParamCurveNearest, Point, Shape, Vec2};

/// A button's sign: its radius, mm.
const BUTTON: f64 = 4.0;

/// How far short of a dart's point its drill hole stands in cloth (about half an inch, common practice, no source).
const SHORT_OF_POINT: f64 = crate::units::INCH / 2.0;

/// Half the size of a drill hole's cross, mm.
const CROSS: f64 = 2.0;

/// What stands at a fold.
pub(super) const PLACE_ON_FOLD: &str = "place on fold";

/// Heights of its capitals beside a bracket, mm, the first that has room.
const HEIGHTS: [f64; 4] = [4.0, 3.0, 2.5, READABLE];

/// Nothing inside comes nearer to the cut line, mm.
const MARGIN: f64 = 1.0;

/// The bracket that asks for the fold along `edge`, with its words; where no bracket has room, its words alone beside the
/// fold; `None` where these have none either. The ground may be that of one size of several.
pub(super) fn fold_bracket(edge: &str, fold: &BezPath, ground: &Ground) -> Option<Vec<Stroke>> {
    let (start, end) = (path::start(fold)?, path::end(fold)?);
    let long = start.distance(end);
    let along = (end - start) / long;
    let inward = Vec2::new(-along.y, along.x);
    // First a place clear of everything, then one that only stays inside the sew line.
    for avoid in [true, false] {
        let fits = |stroke: &Stroke| {
            ground.clearance(&stroke.path) >= MARGIN && (!avoid || ground.berth(&stroke.path) >= MARGIN)
        };
        for part in [0.6, 0.45, 0.3, 0.2] {
            for depth in [12.0, 8.0, 5.0] {
                let (a, b) = (start + along * (long * (1.0 - part) / 2.0), end - along * (long * (1.0 - part) / 2.0));
                let Some(strokes) = bracket(edge, a, b, inward * depth) else { continue };
                if strokes.iter().all(fits) {
                    return Some(strokes);
                }
            }
        }
        for part in [0.5, 0.3, 0.7] {
            let half = along * (0.45 * long).min(20.0);
            let middle = start + along * (long * part);
            let words = fold_words(edge, middle - half, middle + half, inward * MARGIN, &[READABLE]);
            if let Some(strokes) = words.filter(|strokes| strokes.iter().all(fits)) {
                return Some(strokes);
            }
        }
    }
    None
}

/// A bracket whose arms point to the fold at `a` and `b`, its back at `depth` from the fold; `None` where its words
/// don't fit along it.
fn bracket(edge: &str, a: Point, b: Point, depth: Vec2) -> Option<Vec<Stroke>> {
    let inward = depth.normalize();
    let along = (b - a).normalize();
    // The arrows stand off the fold, where the scissors or the knife run.
    let standoff = inward * (depth.hypot() / 4.0).max(1.5);
    let head = (depth.hypot() / 4.0).min(3.0);
    let barbs = |tip: Point| {
        let (back, aside) = (inward * head, along * (head * 0.4));
        polyline(&[tip + back - aside, tip, tip + back + aside])
    };
    let (tip_a, tip_b) = (a + standoff, b + standoff);
    let paths = [polyline(&[tip_a, a + depth, b + depth, tip_b]), barbs(tip_a), barbs(tip_b)];
    let words = fold_words(edge, a, b, depth, &HEIGHTS)?;
    let sign = |path| Stroke { role: Role::Fold, edge: edge.into(), path };
    Some(paths.into_iter().map(sign).chain(words).collect())
}

/// "Place on fold" along the line from `a` to `b`, beyond `depth` from it, in the first of the heights that is not too long
/// there.
fn fold_words(edge: &str, a: Point, b: Point, depth: Vec2, heights: &[f64]) -> Option<Vec<Stroke>> {
    let mut words = heights.iter().map(|height| (height, letter(PLACE_ON_FOLD, *height)));
    let (height, words) = words.find(|(_, words)| words.width <= 0.9 * a.distance(b))?;
    let centre = a.midpoint(b) + depth + depth.normalize() * (height * 1.1);
    let spot = Spot { centre, angle: upright((b - a).atan2()), scale: 1.0 };
    let place = spot.transform() * Affine::translate((-words.width / 2.0, -height / 2.0));
    // A block of writing of its own, so that it is turned by itself where the piece is mirrored.
    let word = |path| Stroke { role: Role::Label, edge: format!("fold, {edge}"), path: place * path };
    Some(words.paths.into_iter().map(word).collect())
}

/// A cross at every point to pierce.
pub(super) fn drills(piece: &Piece, ground: &Ground, findings: &mut Vec<Finding>) -> Vec<Stroke> {
    let mut strokes = Vec::new();
    for drill in &piece.drills {
        if !ground.contains(*drill) {
            findings.push(
                Finding::breach(format!(
                    "a drill hole at ({:.1}, {:.1}) mm lies outside the sew line",
                    drill.x, drill.y
                ))
                .piece(&piece.name)
                .hint("move it inside; it was left out"),
            );
            continue;
        }
        strokes.extend(pierced(*drill, ground));
    }
    strokes
}

/// A cross about a point to pierce.
fn pierced(at: Point, ground: &Ground) -> Vec<Stroke> {
    let arm = CROSS.min(ground.distance(at) * 0.75);
    let halves = [Vec2::new(arm, 0.0), Vec2::new(0.0, arm)];
    let stroke = |half| Stroke { role: Role::Drill, edge: String::new(), path: polyline(&[at - half, at + half]) };
    halves.into_iter().map(stroke).collect()
}

/// Buttons as a cross in a ring, buttonholes as a line with a bar at either end.
pub(super) fn fastenings(piece: &Piece, ground: &Ground, findings: &mut Vec<Finding>) -> Vec<Stroke> {
    let mut strokes = Vec::new();
    let mut outside = 0;
    for fastening in &piece.fastenings {
        let (name, paths) = match *fastening {
            Fastening::Button(at) => {
                let radius = BUTTON.min(ground.distance(at) * 0.75);
                let arms = [Vec2::new(radius, 0.0), Vec2::new(0.0, radius)];
                let cross = arms.map(|arm| polyline(&[at - arm, at + arm]));
                let ring = kurbo::Circle::new(at, radius).to_path(1e-3);
                ("button", cross.into_iter().chain([ring]).collect::<Vec<_>>())
            }
            Fastening::Buttonhole(from, to) => {
                let along = (to - from).normalize();
                let bar = Vec2::new(-along.y, along.x) * (BUTTON / 2.0);
                let bars = [from, to].map(|end| polyline(&[end - bar, end + bar]));
                ("buttonhole", [polyline(&[from, to])].into_iter().chain(bars).collect())
            }
        };
        if paths.iter().any(|path| !path.is_finite() || ground.clearance(path) <= 0.0) {
            outside += 1;
            continue;
        }
        strokes.extend(paths.into_iter().map(|path| Stroke { role: Role::Line, edge: name.into(), path }));
    }
    if outside > 0 {
        findings.push(
            Finding::breach(format!(
                "{outside} of the buttons and buttonholes lie outside the sew line, and were left out"
            ))
            .piece(&piece.name)
            .hint("let the edge that they lie on stand out by half a button and more, or move them inward"),
        );
    }
    strokes
}

/// Legs and point of every dart. A hole drilled through cloth would show at the very point, so it stands short of it; an
/// awl through a card block marks the point itself.
pub(super) fn darts(piece: &Piece, block: bool, ground: &Ground, findings: &mut Vec<Finding>) -> Vec<Stroke> {
    let mut strokes = Vec::new();
    for dart in &piece.darts {
        match dart_legs(piece, dart, ground) {
            Some(paths) => {
                let stroke = |path| Stroke { role: Role::Dart, edge: dart.edge.clone(), path };
                strokes.extend(paths.into_iter().map(stroke));
                let mouth = piece.edge(&dart.edge).and_then(|edge| {
                    let [a, b] = dart.mouth.map(|at| path::point_at(&edge.path, at));
                    Some(a?.0.midpoint(b?.0))
                });
                if let Some(mouth) = mouth {
                    let long = mouth.distance(dart.apex);
                    let short = if block { 0.0 } else { SHORT_OF_POINT.min(long / 2.0) };
                    let at = dart.apex.lerp(mouth, short / long);
                    if !piece.drills.iter().any(|drill| drill.distance(at) < 1.0) {
                        strokes.extend(pierced(at, ground));
                    }
                }
            }
            None => findings.push(
                Finding::breach("a dart's legs run outside the piece, so the dart was left out")
                    .piece(&piece.name)
                    .edge(&dart.edge)
                    .hint("check the dart's mouth and point"),
            ),
        }
    }
    strokes
}

fn dart_legs(piece: &Piece, dart: &Dart, ground: &Ground) -> Option<Vec<BezPath>> {
    let edge = piece.edge(&dart.edge)?;
    let mut paths = Vec::new();
    for mouth in dart.mouth {
        let (mouth, _) = path::point_at(&edge.path, mouth)?;
        let leg = polyline(&[mouth, dart.apex]);
        // The leg starts on the sew line; all but that start lies inside.
        let inside = polyline(&[mouth.lerp(dart.apex, 0.02), dart.apex]);
        if ground.clearance(&inside) <= 0.0 {
            return None;
        }
        paths.push(leg);
    }
    let radius = 1.0_f64.min(ground.distance(dart.apex) / 2.0);
    paths.push(kurbo::Circle::new(dart.apex, radius).to_path(1e-3));
    Some(paths)
}

/// The two fold lines of every pleat, and an arrow from the fold that is laid over to the line that it is laid on.
pub(super) fn pleats(piece: &Piece, ground: &Ground, findings: &mut Vec<Finding>) -> Vec<Stroke> {
    let mut strokes = Vec::new();
    for pleat in &piece.pleats {
        match pleat_lines(piece, pleat, ground) {
            Some((paths, short)) => {
                if short {
                    findings.push(
                        Finding::warning("a pleat's lines end at the far side of the piece")
                            .piece(&piece.name)
                            .edge(&pleat.edge)
                            .hint("shorten the pleat"),
                    );
                }
                let stroke = |path| Stroke { role: Role::Dart, edge: pleat.edge.clone(), path };
                strokes.extend(paths.into_iter().map(stroke));
            }
            None => findings.push(
                Finding::breach("a pleat's lines run outside the piece, so the pleat was left out")
                    .piece(&piece.name)
                    .edge(&pleat.edge)
                    .hint("check the pleat's mouth"),
            ),
        }
    }
    strokes
}

fn pleat_lines(piece: &Piece, pleat: &Pleat, ground: &Ground) -> Option<(Vec<BezPath>, bool)> {
    let edge = piece.edge(&pleat.edge)?;
    let [from, to] = pleat.mouth;
    let (_, along) = path::point_at(&edge.path, f64::midpoint(from, to))?;
    let inward = Vec2::new(-along.y, along.x);
    let mut long = pleat.length;
    let mut tops = [Point::ZERO; 2];
    for (top, mouth) in tops.iter_mut().zip([from, to]) {
        *top = path::point_at(&edge.path, mouth)?.0;
        let chords = ground.chords(*top + inward * 0.05, inward);
        let (_, end) = chords.into_iter().find(|(start, end)| *start <= 0.0 && *end > 0.0)?;
        long = long.min(end - MARGIN);
    }
    if long <= MARGIN {
        return None;
    }
    let mut paths: Vec<BezPath> = tops.iter().map(|top| polyline(&[*top, *top + inward * long])).collect();
    let [a, b] = tops.map(|top| top + inward * (long / 2.0));
    match pleat.pressed {
        Pressed::ToStart => paths.extend(arrow(b, a)),
        Pressed::ToEnd => paths.extend(arrow(a, b)),
        Pressed::Open => {
            paths.extend(arrow(a.midpoint(b), a));
            paths.extend(arrow(a.midpoint(b), b));
        }
    }
    Some((paths, long < pleat.length - 1e-6))
}

/// A shaft with two barbs at its end, the barbs no longer than a third of it and 4 mm.
pub(super) fn arrow(tail: Point, tip: Point) -> Vec<BezPath> {
    let back = (tail - tip) * (4.0 / tail.distance(tip)).min(1.0 / 3.0);
    let aside = Vec2::new(-back.y, back.x) * 0.35;
    vec![polyline(&[tail, tip]), polyline(&[tip + back - aside, tip, tip + back + aside])]
}

/// The inner lines, as far as they lie inside the cut line.
pub(super) fn inner_lines(piece: &Piece, cut_line: &BezPath, findings: &mut Vec<Finding>) -> Vec<Stroke> {
    // A line may run up to the cut line, so the line itself counts as inside.
    let inside = |point: Point| {
        cut_line.winding(point) != 0
            || cut_line.segments().any(|segment| segment.nearest(point, 1e-4).distance_sq < 0.01 * 0.01)
    };
    let mut strokes = Vec::new();
    for line in &piece.lines {
        let (parts, cut_off) = clipped(&line.path, inside);
        if cut_off {
            findings.push(
                Finding::warning("the line runs beyond the cut line, and ends there")
                    .piece(&piece.name)
                    .edge(&line.name)
                    .hint("check the line, or shorten it"),
            );
        }
        let stroke = |path| Stroke { role: Role::Line, edge: line.name.clone(), path };
        strokes.extend(parts.into_iter().map(stroke));
    }
    strokes
}

/// The parts of a path, one subpath each, at which `inside` holds, and whether any other was found. Segments are probed at
/// [`PROBES`] places and the borders between them halved down; what lies wholly inside keeps its segments as they are.
fn clipped(path: &BezPath, inside: impl Fn(Point) -> bool) -> (Vec<BezPath>, bool) {
    const PROBES: usize = 64;
    let mut parts: Vec<BezPath> = Vec::new();
    let mut cut_off = false;
    let mut pen: Option<Point> = None;
    for segment in path.segments() {
        let mut keep = |from: f64, to: f64| {
            let part = if from <= 0.0 && to >= 1.0 { segment } else { segment.subsegment(from..to) };
            match parts.last_mut().filter(|_| pen == Some(part.start())) {
                Some(open) => open.push(part.as_path_el()),
                None => parts.push([kurbo::PathEl::MoveTo(part.start()), part.as_path_el()].into_iter().collect()),
            }
            pen = Some(part.end());
        };
        let mut from = inside(segment.start()).then_some(0.0);
        for i in 1..=PROBES {
            let (before, t) = ((i - 1) as f64 / PROBES as f64, i as f64 / PROBES as f64);
            let now = inside(segment.eval(t));
            if now == from.is_some() {
                continue;
            }
            cut_off = true;
            let (mut a, mut b) = (before, t);
            for _ in 0..40 {
                let middle = f64::midpoint(a, b);
                if inside(segment.eval(middle)) == now { b = middle } else { a = middle }
            }
            from = match from {
                Some(start) => {
                    keep(start, a);
                    None
                }
                None => Some(b),
            };
        }
        match from {
            Some(start) => keep(start, 1.0),
            None => cut_off = true,
        }
    }
    (parts, cut_off)
}
