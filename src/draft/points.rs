//! Points found.

use super::Drafter;
use super::edges::SAME;
use crate::diag::Result;
use crate::geom::{parts, path};
use crate::source::Text;
use crate::style::formula::{Dimension, Formula};
use crate::style::{Along, PointHow, PointStep};
use kurbo::{BezPath, Point, Vec2};

/// Lines that run on straight do so for this long, mm: farther than any piece reaches.
const FAR: f64 = 5000.0;

/// A named point of the piece at hand.
pub(super) fn point(drafter: &mut Drafter<'_>, name: &Text) -> Result<Point> {
    let steps = drafter.steps();
    let Some(step) = steps.point(&name.text) else {
        return Err(name.error(format!("there is no point \"{}\"", name.text)).piece(&steps.name.text).into());
    };
    let key = (drafter.piece, drafter.body, step.name.text.as_str());
    if let Some(point) = drafter.points.get(&key) {
        return Ok(*point);
    }
    let what = format!("{}point \"{}\" of \"{}\"", drafter.body.words(), name.text, steps.name.text);
    let found = drafter.step(what, name, |drafter| by_step(drafter, step))?;
    drafter.points.insert(key, found);
    Ok(found)
}

fn by_step<'a>(drafter: &mut Drafter<'a>, step: &'a PointStep) -> Result<Point> {
    match &step.when {
        Some((when, otherwise)) if !when.holds(drafter)? => by_step(drafter, otherwise),
        _ => find(drafter, &step.how),
    }
}

fn find<'a>(drafter: &mut Drafter<'a>, how: &'a PointHow) -> Result<Point> {
    match how {
        PointHow::From { from, across, down, level_with, plumb_with } => {
            let mut point = from.as_ref().map_or(Ok(Point::ORIGIN), |from| self::point(drafter, from))?;
            point.x += length_or_zero(drafter, across.as_ref())?;
            point.y -= length_or_zero(drafter, down.as_ref())?;
            if let Some(other) = level_with {
                point.y = self::point(drafter, other)?.y - length_or_zero(drafter, down.as_ref())?;
            }
            if let Some(other) = plumb_with {
                point.x = self::point(drafter, other)?.x + length_or_zero(drafter, across.as_ref())?;
            }
            Ok(point)
        }
        PointHow::StraightDown { from, to, part, inward } => {
            let top = self::point(drafter, from)?;
            let level = self::point(drafter, to)?.y;
            let part = part.number(drafter)?;
            let inward = length_or_zero(drafter, inward.as_ref())?;
            Ok(Point::new(top.x - inward * top.x.signum(), top.y + (level - top.y) * part))
        }
        PointHow::On { edge, from, along, square } => on(drafter, edge, from.as_ref(), along, square.as_ref()),
        PointHow::OnLevel { edge, with, plumb } => {
            let through = self::point(drafter, with)?;
            let line = drafter.edge_path(edge)?;
            let reach = if *plumb { Vec2::new(0.0, FAR) } else { Vec2::new(FAR, 0.0) };
            let across = straight(through - reach, through + reach);
            let places = parts::crossings(&line, &across);
            places.into_iter().min_by(|a, b| a.distance(through).total_cmp(&b.distance(through))).ok_or_else(|| {
                let way = if *plumb { "plumb" } else { "level" };
                let message = format!("no place on \"{}\" is {way} with \"{}\"", edge.text, with.text);
                edge.error(message).hint("check the measures that place them").into()
            })
        }
        PointHow::Crossing { edge, with, nearest, extended } => {
            let (mut first, mut second) = (drafter.edge_path(edge)?, drafter.edge_path(with)?);
            if *extended {
                (first, second) = (parts::extended(&first, FAR), parts::extended(&second, FAR));
            }
            let what = format!("\"{}\" and \"{}\"", edge.text, with.text);
            one_of(drafter, edge, &parts::crossings(&first, &second), nearest.as_ref(), &what)
        }
        PointHow::Reaching { from, line, by, nearest } => {
            let centre = self::point(drafter, from)?;
            let radius = by.length(drafter)?;
            if radius < SAME {
                return Err(by.source().error("this distance is not over 0").into());
            }
            let round = parts::arc(centre, centre + Vec2::new(radius, 0.0), std::f64::consts::TAU);
            let path = drafter.edge_path(line)?;
            let what = format!("the circle about \"{}\" and \"{}\"", from.text, line.text);
            one_of(drafter, line, &parts::crossings(&path, &round), nearest.as_ref(), &what)
        }
        PointHow::Turned { about, from, turn } => {
            let (centre, start) = (self::point(drafter, about)?, self::point(drafter, from)?);
            let arm = start - centre;
            if arm.hypot() < SAME {
                return Err(from.error("this point is the middle: there is nothing to turn").into());
            }
            let turn = turn.length_or_angle(drafter)?;
            let angle = if turn.dimension == Dimension::Angle { turn.value } else { turn.value / arm.hypot() };
            Ok(kurbo::Affine::rotate_about(angle, centre) * start)
        }
        PointHow::Mirrored { of, line, other_side } => {
            let image = drafter.mirror_in(line)?;
            let body = if *other_side { drafter.body.other() } else { drafter.body };
            Ok(image * drafter.for_body(body, |drafter| self::point(drafter, of))?)
        }
        PointHow::Towards { from, to, along, square } => {
            let (start, end) = (self::point(drafter, from)?, self::point(drafter, to)?);
            let chord = end - start;
            if chord.hypot() < SAME {
                return Err(to.error("the two points are the same: no direction").into());
            }
            let direction = chord.normalize();
            let distance = drafter.distance(along, chord.hypot())?;
            let square = length_or_zero(drafter, square.as_ref())?;
            Ok(start + direction * distance + Vec2::new(-direction.y, direction.x) * square)
        }
    }
}

fn on<'a>(
    drafter: &mut Drafter<'a>,
    edge: &'a Text,
    from: Option<&'a Text>,
    along: &'a Along,
    square: Option<&'a Formula>,
) -> Result<Point> {
    let from_end = from.map_or(Ok(false), |end| drafter.is_far_end(edge, end))?;
    let line = drafter.edge_path(edge)?;
    let long = path::length(&line);
    let distance = drafter.distance(along, long)?;
    if distance > long + SAME || distance < 0.0 {
        return Err(along.source().error("this reaches past the edge's end").edge(&edge.text).into());
    }
    let place = path::point_at(&line, if from_end { long - distance } else { distance });
    let (point, tangent) = place.ok_or_else(|| along.source().error("this edge has no length").edge(&edge.text))?;
    let square = length_or_zero(drafter, square)?;
    Ok(point + Vec2::new(-tangent.y, tangent.x) * square)
}

/// The one place that is meant of all that were found.
fn one_of<'a>(
    drafter: &mut Drafter<'a>,
    at: &Text,
    places: &[Point],
    nearest: Option<&'a Text>,
    what: &str,
) -> Result<Point> {
    let near = nearest.map(|name| point(drafter, name)).transpose()?;
    match (places, near) {
        ([], _) => Err(at.error(format!("{what} do not cross")).hint("check the measures that place them").into()),
        ([place], _) => Ok(*place),
        (_, Some(near)) => {
            let best = places.iter().min_by(|a, b| a.distance(near).total_cmp(&b.distance(near)));
            Ok(best.copied().unwrap_or_default())
        }
        (_, None) => Err(at
            .error(format!("{what} cross {} times", places.len()))
            .hint("say which is meant: add nearest=\"POINT\"")
            .into()),
    }
}

fn straight(a: Point, b: Point) -> BezPath {
    let mut line = BezPath::new();
    line.move_to(a);
    line.line_to(b);
    line
}

fn length_or_zero(drafter: &mut Drafter<'_>, formula: Option<&Formula>) -> Result<f64> {
    formula.map_or(Ok(0.0), |formula| formula.length(drafter))
}
