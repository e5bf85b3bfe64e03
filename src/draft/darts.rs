//! Darts and pleats of an edge.
//!
//! An edge with darts is drawn as it is sewn: its points are brought together as if the darts were closed, the curve is
//! drawn fair through them, cut where each dart's legs reach it, and opened again. So both legs of a dart are equally
//! long, and the edge runs true when the dart is sewn (common practice, no source). Across its mouth the sew line goes straight.

use super::{Drafter, Drawn, Mouth, edges};
use crate::diag::Result;
use crate::geom::spline::Knot;
use crate::geom::{parts, path};
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
    /// From the apex to the middle.
    axis: Vec2,
    /// What is wanted of its mouth, mm.
    intake: f64,
    /// Half the angle between its legs, radians; negative where the edge passes the apex clockwise.
    half: f64,
}

impl Opening<'_> {
    /// From the apex along the legs to the chord through the middle, the first along the edge first.
    fn legs(&self) -> [Vec2; 2] {
        let leg = |angle: f64| {
            let (sin, cos) = angle.sin_cos();
            Vec2::new(self.axis.x * cos - self.axis.y * sin, self.axis.x * sin + self.axis.y * cos) / cos
        };
        [leg(-self.half), leg(self.half)]
    }

    /// How far its angle turns the cloth behind it when it is closed, radians.
    fn closing(&self) -> f64 {
        -2.0 * self.half
    }
}

/// A mouth is as wide as wanted within this, mm.
const WIDE: f64 = 0.001;

/// The edge's length at a dart hangs on the dart's angle, and this on that; a few rounds settle both.
const ROUNDS: usize = 12;

/// Draws an edge through knots with the darts that open at it.
pub(super) fn draw<'a>(drafter: &mut Drafter<'a>, edge: &'a EdgeStep, knots: &[Knot]) -> Result<Drawn> {
    let flat = edges::curve(edge, knots)?;
    let mut openings = openings(drafter, edge, &flat)?;
    if openings.is_empty() {
        return Ok(Drawn::plain(flat));
    }
    // Where each knot stands along the flat edge.
    let mut places = vec![0.0];
    for segment in flat.segments() {
        use kurbo::ParamCurveArclen;
        places.push(places[places.len() - 1] + segment.arclen(path::ARC_ACCURACY));
    }
    for _ in 0..ROUNDS {
        let (closings, closed, cuts) = close(edge, knots, &places, &openings)?;
        let mut off = 0.0_f64;
        for (index, opening) in openings.iter_mut().enumerate() {
            let apex = closings[index] * opening.apex;
            let leg = path::point_at(&closed, cuts[index + 1]).map_or(0.0, |(point, _)| point.distance(apex));
            off = off.max((2.0 * leg * opening.half.abs().sin() - opening.intake).abs());
            let half = (opening.intake / (2.0 * leg)).min(0.95).asin();
            opening.half = half.copysign(opening.half);
        }
        if off < WIDE {
            break;
        }
    }
    let (closings, closed, cuts) = close(edge, knots, &places, &openings)?;
    let mut drawn = open(&openings, &closings, &closed, &cuts);
    edges::settle_ends(&mut drawn.path, knots[0].point, knots[knots.len() - 1].point);
    Ok(drawn)
}

/// The edge with its darts closed: how each part between darts is moved, the curve, and where the darts meet it.
fn close(
    edge: &EdgeStep,
    knots: &[Knot],
    places: &[f64],
    openings: &[Opening<'_>],
) -> Result<(Vec<Affine>, BezPath, Vec<f64>)> {
    let mut closings = vec![Affine::IDENTITY];
    for opening in openings {
        closings.push(closings[closings.len() - 1] * Affine::rotate_about(opening.closing(), opening.apex));
    }
    let closed_knots: Vec<Knot> = knots
        .iter()
        .zip(places)
        .map(|(knot, place)| {
            let closing = closings[openings.iter().filter(|opening| opening.middle < *place).count()];
            let heading = knot.heading.map(|heading| closing * heading.to_point() - closing * Point::ORIGIN);
            Knot { point: closing * knot.point, heading }
        })
        .collect();
    let closed = edges::curve(edge, &closed_knots)?;
    let mut cuts = vec![0.0];
    for (opening, closing) in openings.iter().zip(&closings) {
        let [first, _] = opening.legs();
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
    Ok((closings, closed, cuts))
}

/// Cuts the closed edge at its darts and opens them.
fn open(openings: &[Opening<'_>], closings: &[Affine], closed: &BezPath, cuts: &[f64]) -> Drawn {
    let mut whole = BezPath::new();
    let mut mouths = Vec::new();
    for (index, closing) in closings.iter().enumerate() {
        let part = closing.inverse() * parts::between(closed, cuts[index], cuts[index + 1]);
        if let Some(opening) = index.checked_sub(1).map(|before| &openings[before]) {
            let from = path::length(&whole);
            if let Some(start) = path::start(&part) {
                whole.line_to(start);
            }
            mouths.push(Mouth { span: [from, path::length(&whole)], dart: Some(opening.index), pleat: None });
        }
        parts::join(&mut whole, &part);
    }
    Drawn { path: whole, mouths }
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
        let half = (intake / 2.0).atan2(arm.hypot());
        let half = if arm.cross(tangent) < 0.0 { -half } else { half };
        openings.push(Opening { index, step, middle, apex, axis: arm, intake, half });
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
        let way = if drafter.is_from_far_end(&step.on, step.from.as_ref())? { -spacing } else { spacing };
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
