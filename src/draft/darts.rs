//! Darts and pleats of an edge.
//!
//! An edge with darts is drawn as it is sewn: its points are brought together as if the darts were closed, the curve is
//! drawn fair through them, cut where each dart's legs reach it, and opened again. So both legs of a dart are equally
//! long, and the edge runs true when the dart is sewn (common practice, no source). Across its mouth an edge follows the
//! cloth of the dart as it lies when pressed.

use super::{Drafter, Drawn, Mouth, edges};
use crate::diag::Result;
use crate::geom::spline::Knot;
use crate::geom::{parts, path};
use crate::piece::Pressed;
use crate::source::Text;
use crate::style::{DartStep, EdgeStep, PieceSteps};
use crate::units::format_length;
use kurbo::{Affine, BezPath, Point, Vec2};

/// A dart to be opened in an edge.
struct Opening<'a> {
    index: usize,
    step: &'a DartStep,
    /// Its middle along the edge as drawn without darts, mm.
    middle: f64,
    apex: Point,
    /// From the apex to where the legs start, first along the edge and second.
    legs: [Vec2; 2],
}

/// Draws an edge through knots with the darts that open at it.
pub(super) fn draw<'a>(drafter: &mut Drafter<'a>, edge: &'a EdgeStep, knots: &[Knot]) -> Result<Drawn> {
    let flat = edges::curve(edge, knots)?;
    let openings = openings(drafter, edge, &flat)?;
    if openings.is_empty() {
        return Ok(Drawn::plain(flat));
    }
    // Where each knot stands along the flat edge.
    let mut places = vec![0.0];
    for segment in flat.segments() {
        use kurbo::ParamCurveArclen;
        places.push(places[places.len() - 1] + segment.arclen(path::ARC_ACCURACY));
    }
    let mut closings = vec![Affine::IDENTITY];
    for opening in &openings {
        let [first, second] = opening.legs;
        let turn = first.atan2() - second.atan2();
        closings.push(closings[closings.len() - 1] * Affine::rotate_about(turn, opening.apex));
    }
    let closed_knots: Vec<Knot> = knots
        .iter()
        .zip(&places)
        .map(|(knot, place)| {
            let closing = closings[openings.iter().filter(|opening| opening.middle < *place).count()];
            let heading = knot.heading.map(|heading| closing * heading.to_point() - closing * Point::ORIGIN);
            Knot { point: closing * knot.point, heading }
        })
        .collect();
    let closed = edges::curve(edge, &closed_knots)?;
    let mut cuts = vec![0.0];
    for (opening, closing) in openings.iter().zip(&closings) {
        let [first, _] = opening.legs;
        let mut ray = BezPath::new();
        ray.move_to(*closing * opening.apex);
        ray.line_to(*closing * (opening.apex + first * 3.0));
        let wanted = *closing * (opening.apex + first);
        let cut = parts::crossings(&closed, &ray)
            .into_iter()
            .min_by(|a, b| a.distance(wanted).total_cmp(&b.distance(wanted)))
            .and_then(|place| parts::nearest(&closed, place));
        match cut {
            Some((at, _)) if at > cuts[cuts.len() - 1] + edges::SAME => cuts.push(at),
            _ => {
                return Err(opening
                    .step
                    .point
                    .error("this dart's legs do not reach the edge when it is closed")
                    .edge(&edge.name.text)
                    .hint("lessen its intake, or move its point away from the edge")
                    .into());
            }
        }
    }
    cuts.push(path::length(&closed));
    Ok(open(&openings, &closings, &closed, &cuts))
}

/// Cuts the closed edge at its darts and opens them.
fn open(openings: &[Opening<'_>], closings: &[Affine], closed: &BezPath, cuts: &[f64]) -> Drawn {
    let mut whole = BezPath::new();
    let mut mouths = Vec::new();
    for (index, closing) in closings.iter().enumerate() {
        let part = closing.inverse() * parts::between(closed, cuts[index], cuts[index + 1]);
        if let Some(opening) = index.checked_sub(1).map(|before| &openings[before]) {
            let from = path::length(&whole);
            let tip = path::end(&whole)
                .zip(path::start(&part))
                .zip(path::end_tangent(&whole).zip(path::start_tangent(&part)))
                .and_then(|((a, b), (arriving, leaving))| {
                    cap(opening.apex, [a, b], [-arriving, leaving], opening.step.pressed)
                });
            if let Some(tip) = tip {
                whole.line_to(tip);
            }
            if let Some(start) = path::start(&part) {
                whole.line_to(start);
            }
            mouths.push(Mouth { span: [from, path::length(&whole)], dart: Some(opening.index), pleat: None });
        }
        parts::join(&mut whole, &part);
    }
    Drawn { path: whole, mouths }
}

/// Where a dart's fold meets the edge, so that the pressed dart is caught in the seam. The cloth beside the mouth is
/// mirrored about the leg that it is pressed over; where it is spread, about both. `beside` runs away from the mouth.
pub(super) fn cap(apex: Point, mouth: [Point; 2], beside: [Vec2; 2], pressed: Pressed) -> Option<Point> {
    let legs = mouth.map(|point| point - apex);
    let long = f64::midpoint(legs[0].hypot(), legs[1].hypot());
    let fold = legs[0].normalize() + legs[1].normalize();
    if fold.hypot() < 1e-6 || long < edges::SAME {
        return None;
    }
    let half = (legs[0].cross(legs[1]).abs().atan2(legs[0].dot(legs[1]))) / 2.0;
    let angle = |side: usize| (-legs[side]).cross(beside[side]).abs().atan2((-legs[side]).dot(beside[side]));
    let angle = match pressed {
        Pressed::ToStart => angle(0),
        Pressed::ToEnd => angle(1),
        Pressed::Open => angle(0).min(angle(1)),
    };
    // The triangle of apex, leg and fold (law of sines); a very blunt corner would throw the tip far out.
    let third = std::f64::consts::PI - angle - half;
    if third < 0.3 {
        return None;
    }
    let out = (long * angle.sin() / third.sin()).min(long * 1.25);
    Some(apex + fold.normalize() * out)
}

fn openings<'a>(drafter: &mut Drafter<'a>, edge: &'a EdgeStep, flat: &BezPath) -> Result<Vec<Opening<'a>>> {
    let steps = drafter.steps();
    let mut openings = Vec::new();
    for (index, step) in steps.darts.iter().enumerate().filter(|(_, step)| step.on.text == edge.name.text) {
        if !drafter.holds(step.when.as_ref())? {
            continue;
        }
        let intake = step.intake.length(drafter)?;
        if intake <= 0.0 {
            continue;
        }
        let apex = drafter.point(&step.point)?;
        let middle = match &step.at {
            Some(at) => drafter.place_along(&step.on, step.from.as_ref(), at, path::length(flat))?,
            None => parts::nearest(flat, apex).map_or(0.0, |(at, _)| at),
        };
        let (on, tangent) = path::point_at(flat, middle).unwrap_or_default();
        let arm = on - apex;
        if arm.hypot() < intake / 4.0 {
            return Err(step
                .point
                .error(format!(
                    "a dart of {} needs a point farther from the edge",
                    format_length(intake, drafter.style.unit)
                ))
                .edge(&edge.name.text)
                .hint("move the dart's point into the piece, or share the intake between two darts")
                .into());
        }
        let mut side = Vec2::new(-arm.y, arm.x).normalize() * (intake / 2.0);
        if side.dot(tangent) < 0.0 {
            side = -side;
        }
        openings.push(Opening { index, step, middle, apex, legs: [arm - side, arm + side] });
    }
    openings.sort_by(|a, b| a.middle.total_cmp(&b.middle));
    Ok(openings)
}

/// The pleats and tucks of an edge.
pub(super) fn pleats<'a>(drafter: &mut Drafter<'a>, edge: &'a EdgeStep, drawn: &mut Drawn) -> Result<()> {
    let long = path::length(&drawn.path);
    for (index, step) in drafter.steps().pleats.iter().enumerate().filter(|(_, step)| step.on.text == edge.name.text) {
        if !drafter.holds(step.when.as_ref())? {
            continue;
        }
        let intake = step.intake.length(drafter)?;
        let count = step.count.number(drafter)?;
        if !(0.0..=200.0).contains(&count) || count.fract() != 0.0 {
            return Err(step.count.source().error("the number of pleats is a whole number up to 200").into());
        }
        let spacing = match &step.spacing {
            Some(spacing) => spacing.length(drafter)?,
            None => intake * 1.5,
        };
        let first = drafter.place_along(&step.on, step.from.as_ref(), &step.at, long)?;
        let way = if drafter.from_far_end(&step.on, step.from.as_ref())? { -spacing } else { spacing };
        for number in 0..count as usize {
            let middle = first + way * number as f64;
            let span = [middle - intake / 2.0, middle + intake / 2.0];
            let free = drawn.mouths.iter().all(|mouth| span[1] <= mouth.span[0] || span[0] >= mouth.span[1]);
            if intake <= 0.0 || span[0] < 0.0 || span[1] > long || !free {
                let message = format!("pleat {} does not fit on the edge", number + 1);
                return Err(step
                    .intake
                    .source()
                    .error(message)
                    .edge(&edge.name.text)
                    .hint("fewer, smaller or closer")
                    .into());
            }
            drawn.mouths.push(Mouth { span, dart: None, pleat: Some(index) });
        }
    }
    drawn.mouths.sort_by(|a, b| a.span[0].total_cmp(&b.span[0]));
    Ok(())
}

/// The mouths of an edge's mirror image: the first dart of the edge is the image's first, and so on.
pub(super) fn mirrored(steps: &PieceSteps, mouths: &[Mouth], of: &Text, image: &Text, long: f64) -> Vec<Mouth> {
    let of_edge = |name: &Text| -> Vec<usize> {
        steps.darts.iter().enumerate().filter(|(_, d)| d.on.text == name.text).map(|(index, _)| index).collect()
    };
    let (theirs, ours) = (of_edge(of), of_edge(image));
    mouths
        .iter()
        .filter_map(|mouth| {
            // Pleats are laid on the image by their own steps.
            let at = theirs.iter().position(|index| Some(*index) == mouth.dart)?;
            let dart = Some(*ours.get(at)?);
            Some(Mouth { span: [long - mouth.span[1], long - mouth.span[0]], dart, pleat: None })
        })
        .rev()
        .collect()
}
