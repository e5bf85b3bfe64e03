//! Allowances that are wider than their edge has room for.

use super::outline::turn;
use crate::diag::Finding;
use crate::geom::offset::Source;
use crate::geom::path;
use crate::piece::{Edge, Piece};
use crate::units::{INCH, Unit, format_length};
use kurbo::{Affine, BezPath, Line, PathEl, PathSeg, Point, Vec2};

/// A hollow counts from where it turns by this much, radians: 10° (common practice, no source). A tighter spot is rounding
/// of a curve's end.
const REAL: f64 = 10.0 * std::f64::consts::PI / 180.0;

/// Wider by less than this is not told, mm: the figures would read alike.
const ALIKE: f64 = INCH / 16.0;

/// Places at which a curve is looked at, and an edge.
const STEPS: usize = 32;

/// How far the lines stray that the depth is measured between, mm.
const FLAT: f64 = 0.1;

/// A warning for every edge whose allowance is wider than the piece is deep square to it, or else than the radius of a hollow
/// in it, where the cut line comes to a point. Figures are in `unit`.
pub fn too_wide(piece: &Piece, unit: Unit) -> Vec<Finding> {
    let lines = both_halves(piece);
    let warned = |edge: &Edge, figure: f64, words: [&str; 3]| {
        let [before, behind, hint] = words;
        let (allowance, figure) = (format_length(edge.allowance, unit), format_length(figure, unit));
        Finding::warning(format!("the allowance {allowance} is wider than {before}{figure}{behind}"))
            .piece(&piece.name)
            .edge(&edge.name)
            .hint(hint)
    };
    let said = |edge: &Edge| {
        let deep = depth(edge, &lines).filter(|deep| edge.allowance > *deep + ALIKE);
        let hint = "it would reach past the far side when it is turned in; is it in the right unit?";
        deep.map(|deep| warned(edge, deep, ["the piece is deep there, ", "", hint])).or_else(|| {
            let hint = "make it narrower than the radius, or face the edge";
            let radius = hollow(edge)?;
            Some(warned(edge, radius, ["the hollow's radius ", ": the cut line has a point there", hint]))
        })
    };
    piece.edges.iter().filter(|edge| edge.allowance > 0.0).filter_map(said).collect()
}

/// The least mean radius of a stretch of the edge that bends into the piece, more than [`REAL`], all of it closer than the
/// allowance is wide.
fn hollow(edge: &Edge) -> Option<f64> {
    let mut least: Option<f64> = None;
    let (mut turned, mut long) = (0.0, 0.0);
    let mut end = |turned: &mut f64, long: &mut f64| {
        if *turned > REAL {
            let radius = *long / *turned;
            least = Some(least.map_or(radius, |least| least.min(radius)));
        }
        (*turned, *long) = (0.0, 0.0);
    };
    for segment in edge.path.segments() {
        let source = Source::of(&segment);
        let place = |i: usize| i as f64 / STEPS as f64;
        for i in 0..STEPS {
            let (from, to) = (place(i), place(i + 1));
            let bend = -turn(source.tangent(from), source.tangent(to));
            let arc = source.point(from).distance(source.point(to));
            if bend > 0.0 && arc < (edge.allowance - ALIKE) * bend {
                turned += bend;
                long += arc;
            } else {
                end(&mut turned, &mut long);
            }
        }
    }
    end(&mut turned, &mut long);
    least
}

/// The outline as lines, beyond the fold too; without the fold itself.
fn both_halves(piece: &Piece) -> Vec<Line> {
    let mut lines = Vec::new();
    for edge in piece.edges.iter().filter(|edge| !edge.fold) {
        lines.extend(flattened(&edge.path));
    }
    let ends = piece.fold().and_then(|fold| path::start(&fold.path).zip(path::end(&fold.path)));
    if let Some((start, end)) = ends {
        let mirror = Affine::reflect(start, end - start);
        let other: Vec<Line> = lines.iter().map(|line| mirror * *line).collect();
        lines.extend(other);
    }
    lines
}

fn flattened(path: &BezPath) -> Vec<Line> {
    let mut flat = BezPath::new();
    kurbo::flatten(path, FLAT, |element: PathEl| flat.push(element));
    let line = |segment| match segment {
        PathSeg::Line(line) => Some(line),
        _ => None,
    };
    flat.segments().filter_map(line).collect()
}

/// The greatest depth of the piece square to an edge, at any of several places along it; `None` where nothing is opposite.
fn depth(edge: &Edge, lines: &[Line]) -> Option<f64> {
    let long = path::length(&edge.path);
    let at = |i: usize| {
        let (point, along) = path::point_at(&edge.path, long * (i as f64 + 0.5) / STEPS as f64)?;
        let inward = Vec2::new(-along.y, along.x);
        lines.iter().filter_map(|line| reached(point, inward, line)).min_by(f64::total_cmp)
    };
    (0..STEPS).filter_map(at).max_by(f64::total_cmp)
}

/// How far a line lies from a point in a direction. What lies at the point itself is the edge that it is on.
fn reached(from: Point, way: Vec2, line: &Line) -> Option<f64> {
    let (a, b) = (line.p0 - from, line.p1 - from);
    let (left, right) = (way.cross(a), way.cross(b));
    if (left >= 0.0) == (right >= 0.0) {
        return None;
    }
    let far = way.dot(a.lerp(b, left / (left - right)));
    (far > 2.0 * FLAT).then_some(far)
}
