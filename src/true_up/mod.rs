//! Trueness of the cut: where a seam is sewn, the cut lines beside it must run on from one piece to the other.
//!
//! At each end of a seam its sew line is led on, straight, through the allowance that it ends in, on both pieces. The two
//! cut lines must be met at the same distance, or the cut edge has a step when the seam is sewn, and at angles that make
//! 180° together, or it has a peak or a hollow (common practice, no source).

use crate::allow::CutPiece;
use crate::diag::Finding;
use crate::geom::path;
use crate::piece::{Join, PieceSet, Span};
use crate::units::format_length;
use kurbo::{Line, ParamCurve, ParamCurveDeriv, PathSeg, Point, Shape, Vec2};

/// A step smaller than this is left unsaid, mm.
pub const STEP: f64 = 0.5;

/// A bend smaller than this is left unsaid, degrees: as the walk's for sew lines.
pub const BEND: f64 = 3.0;

/// Compares the cut lines at both ends of every seam. Ends where the style wants a point are left out, and so are those
/// at a fold or where an inner line has no cut line. What it finds are warnings: the sew lines, which the walk holds to
/// their lengths and angles, are sewn all the same.
pub fn true_up(set: &PieceSet, cut: &[CutPiece]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for join in &set.joins {
        for end in [0, 1].into_iter().filter(|end| !join.pointed[*end]) {
            let spans =
                [0, 1].map(|side: usize| if end == 0 { join.sides[side].first() } else { join.sides[side].last() });
            let [Some(first), Some(second)] = spans else { continue };
            let (Some(one), Some(other)) = (meeting(cut, first, end == 0), meeting(cut, second, end == 0)) else {
                continue;
            };
            findings.extend(compared(set, join, end, [first, second], [one, other]));
        }
    }
    findings
}

/// Where a sew line that is led on meets its piece's cut line.
struct Meeting {
    /// Distance from the seam's end, mm.
    far: f64,
    /// Angle between the led-on sew line and the cut line towards its own piece, degrees.
    angle: f64,
}

fn meeting(cut: &[CutPiece], span: &Span, at_start: bool) -> Option<Meeting> {
    let cut = cut.iter().find(|cut| cut.piece.name == span.piece)?;
    let count = cut.piece.edges.len();
    let index = cut.piece.edges.iter().position(|edge| edge.name == span.edge)?;
    let edge = &cut.piece.edges[index];
    // The piece lies to the left of its edges: walked backwards, to the right.
    let at_edge_start = at_start != span.backwards;
    let beside = if at_edge_start { index + count - 1 } else { index + 1 } % count;
    let neighbour = &cut.piece.edges[beside];
    // Without an allowance beside it the seam ends on the cut line itself: the walk has judged that corner.
    if neighbour.fold || edge.fold || neighbour.allowance <= 0.0 {
        return None;
    }
    let (corner, away) = if at_edge_start {
        (path::start(&edge.path)?, -path::start_tangent(&edge.path)?)
    } else {
        (path::end(&edge.path)?, path::end_tangent(&edge.path)?)
    };
    let inward = if at_edge_start { Vec2::new(away.y, -away.x) } else { Vec2::new(-away.y, away.x) };
    let (far, along) = first_hit(cut, corner, away)?;
    // The cut line's direction that leads in beside the piece.
    let along = if along.dot(inward) < 0.0 { -along } else { along };
    Some(Meeting { far, angle: (-away).dot(along).clamp(-1.0, 1.0).acos().to_degrees() })
}

/// Distance to the cut line along a ray, and the cut line's direction there.
fn first_hit(cut: &CutPiece, from: Point, along: Vec2) -> Option<(f64, Vec2)> {
    const INSIDE: f64 = 0.01;
    let reach = cut.cut_line.bounding_box().size().to_vec2().hypot();
    let ray = Line::new(from - INSIDE * along, from + reach * along);
    let hits = cut.cut_line.segments().flat_map(|segment| {
        let hits = segment.intersect_line(ray);
        hits.into_iter().map(move |hit| (hit.line_t * (reach + INSIDE) - INSIDE, segment, hit.segment_t))
    });
    let (far, segment, t) = hits.min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some((far.max(0.0), direction(&segment, t)))
}

fn direction(segment: &PathSeg, t: f64) -> Vec2 {
    let derivative = match segment {
        PathSeg::Line(line) => line.p1 - line.p0,
        PathSeg::Quad(quad) => quad.deriv().eval(t).to_vec2(),
        PathSeg::Cubic(cubic) => cubic.deriv().eval(t).to_vec2(),
    };
    if derivative.hypot() > 0.0 { derivative.normalize() } else { Vec2::new(1.0, 0.0) }
}

fn compared(set: &PieceSet, join: &Join, end: usize, spans: [&Span; 2], [one, other]: [Meeting; 2]) -> Option<Finding> {
    let place = if end == 0 { "start" } else { "end" };
    let step = (one.far - other.far).abs();
    let bend = one.angle + other.angle - 180.0;
    let [first, second] = spans;
    let (what, hint) = if step > STEP {
        (
            format!("the cut lines of {first} and {second} have a step of {}", format_length(step, set.unit)),
            "give the edges beside the seam the same allowance, and both corners the same finish",
        )
    } else if bend.abs() > BEND {
        let shape = if bend < 0.0 { "a hollow" } else { "a peak" };
        (
            format!("the cut lines of {first} and {second} meet with {shape}: {:.1}° off a smooth run", bend.abs()),
            "let the neighbouring edges leave square to the seam, or say that a point is wanted there",
        )
    } else {
        return None;
    };
    let message = format!("at the {place} of seam \"{}\" {what}", join.name);
    Some(Finding::warning(message).piece(&first.piece).edge(&first.edge).hint(hint))
}
