//! Points found and edges drawn.

use super::Drafter;
use crate::diag::Result;
use crate::geom::path;
use crate::geom::spline::{self, Knot};
use crate::source::Text;
use crate::style::formula::Formula;
use crate::style::{Along, EdgeStep, Heading, PointHow};
use kurbo::{BezPath, Point, Vec2};

/// Two points closer than this are one, mm.
const SAME: f64 = 1e-3;

/// A named point of the piece at hand.
pub(super) fn point(drafter: &mut Drafter<'_>, name: &Text) -> Result<Point> {
    let steps = drafter.steps();
    let Some(step) = steps.point(&name.text) else {
        return Err(name.error(format!("there is no point \"{}\"", name.text)).piece(&steps.name.text).into());
    };
    let key = (drafter.piece, step.name.text.as_str());
    if let Some(point) = drafter.points.get(&key) {
        return Ok(*point);
    }
    let what = format!("point \"{}\" of \"{}\"", name.text, steps.name.text);
    let found = drafter.step(what, name, |drafter| find(drafter, &step.how))?;
    drafter.points.insert(key, found);
    Ok(found)
}

fn find(drafter: &mut Drafter<'_>, how: &PointHow) -> Result<Point> {
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
        PointHow::On { edge, from, along } => {
            let from_end = from.as_ref().map_or(Ok(false), |end| drafter.is_far_end(edge, end))?;
            let mut line = drafter.edge_path(edge)?;
            if from_end {
                line = path::reversed(&line);
            }
            let long = path::length(&line);
            let distance = distance(drafter, along, long)?;
            if distance > long + SAME || distance < 0.0 {
                return Err(source(along).error("this reaches past the edge's end").edge(&edge.text).into());
            }
            path::point_at(&line, distance)
                .map(|(point, _)| point)
                .ok_or_else(|| source(along).error("this edge has no length").edge(&edge.text).into())
        }
        PointHow::Towards { from, to, along, square } => {
            let (start, end) = (self::point(drafter, from)?, self::point(drafter, to)?);
            let chord = end - start;
            if chord.hypot() < SAME {
                return Err(to.error("the two points are the same: no direction").into());
            }
            let direction = chord.normalize();
            let distance = distance(drafter, along, chord.hypot())?;
            let square = length_or_zero(drafter, square.as_ref())?;
            Ok(start + direction * distance + Vec2::new(-direction.y, direction.x) * square)
        }
    }
}

fn length_or_zero(drafter: &mut Drafter<'_>, formula: Option<&Formula>) -> Result<f64> {
    formula.map_or(Ok(0.0), |formula| formula.length(drafter))
}

fn distance(drafter: &mut Drafter<'_>, along: &Along, whole: f64) -> Result<f64> {
    match along {
        Along::Distance(formula) => formula.length(drafter),
        Along::Part(formula) => Ok(formula.number(drafter)? * whole),
    }
}

fn source(along: &Along) -> &Text {
    match along {
        Along::Distance(formula) | Along::Part(formula) => formula.source(),
    }
}

/// Draws an edge: a straight line, or a curve through its points.
pub(super) fn draw(drafter: &mut Drafter<'_>, edge: &EdgeStep) -> Result<BezPath> {
    let (start, end) = (point(drafter, &edge.from)?, point(drafter, &edge.to)?);
    if start.distance(end) < SAME && edge.through.is_empty() {
        let message = format!(
            "edge \"{}\" has no length: \"{}\" and \"{}\" are one point",
            edge.name.text, edge.from.text, edge.to.text
        );
        return Err(edge.name.error(message).hint("check the measures that place them").into());
    }
    if edge.through.is_empty() && edge.leaving.is_none() && edge.arriving.is_none() {
        let mut line = BezPath::new();
        line.move_to(start);
        line.line_to(end);
        return Ok(line);
    }
    let mut knots = vec![Knot { point: start, heading: None }];
    for (name, _) in &edge.through {
        knots.push(Knot { point: point(drafter, name)?, heading: None });
    }
    knots.push(Knot { point: end, heading: None });
    let last = knots.len() - 1;
    if let Some(heading) = &edge.leaving {
        knots[0].heading = Some(direction(drafter, heading, start, knots[1].point - start, true)?);
    }
    for (index, (_, heading)) in edge.through.iter().enumerate() {
        if let Some(heading) = heading {
            let at = knots[index + 1].point;
            let chord = knots[index + 2].point - knots[index].point;
            knots[index + 1].heading = Some(direction(drafter, heading, at, chord, true)?);
        }
    }
    if let Some(heading) = &edge.arriving {
        knots[last].heading = Some(direction(drafter, heading, end, end - knots[last - 1].point, false)?);
    }
    spline::through(&knots).ok_or_else(|| {
        edge.name
            .error(format!("edge \"{}\" can't be drawn: two of its points are one", edge.name.text))
            .hint("check the measures that place its points")
            .into()
    })
}

/// A direction at `at`, of the two possible the one nearer to `chord`.
fn direction(drafter: &mut Drafter<'_>, heading: &Heading, at: Point, chord: Vec2, leaving: bool) -> Result<Vec2> {
    let along = match heading {
        Heading::Level => Vec2::new(1.0, 0.0),
        Heading::Upright => Vec2::new(0.0, 1.0),
        Heading::Towards(name) => {
            let way = point(drafter, name)? - at;
            if way.hypot() < SAME {
                return Err(name.error("this point is where the curve stands: no direction").into());
            }
            return Ok(if leaving { way } else { -way });
        }
        Heading::SquareTo(name) => {
            let tangent = tangent_of(drafter, name, at)?;
            Vec2::new(-tangent.y, tangent.x)
        }
        Heading::Along(name) => tangent_of(drafter, name, at)?,
    };
    Ok(if along.dot(chord) < 0.0 { -along } else { along })
}

/// The tangent of an edge or line at the point of it that is nearest to `at`.
fn tangent_of(drafter: &mut Drafter<'_>, name: &Text, at: Point) -> Result<Vec2> {
    use kurbo::{ParamCurve, ParamCurveNearest};
    // A straight edge is known by its ends alone; asking for no more lets two edges be square to each other.
    let line = drafter.edge_path(name)?;
    let (start, end) = (path::start(&line), path::end(&line));
    let tangent = if start.is_some_and(|p| p.distance(at) < SAME) {
        path::start_tangent(&line)
    } else if end.is_some_and(|p| p.distance(at) < SAME) {
        path::end_tangent(&line)
    } else {
        line.segments()
            .map(|segment| (segment.nearest(at, 1e-6), segment))
            .min_by(|a, b| a.0.distance_sq.total_cmp(&b.0.distance_sq))
            .filter(|(nearest, segment)| segment.eval(nearest.t).distance(at) < SAME)
            .map(|(nearest, segment)| path::tangent(&segment, nearest.t))
    };
    tangent.ok_or_else(|| {
        name.error(format!("edge \"{}\" does not pass here, so nothing can be square to it here", name.text))
            .hint("name an edge that meets this one")
            .into()
    })
}
