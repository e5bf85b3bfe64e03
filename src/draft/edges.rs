//! Edges and inner lines drawn.

use super::{Body, Drafter, Drawn, darts, sides};
use crate::diag::Result;
use crate::geom::spline::{self, Knot};
use crate::geom::{offset, parts, path};
use crate::source::Text;
use crate::style::formula::Formula;
use crate::style::{Along, EdgeHow, EdgeStep, Heading, Passing};
use kurbo::{BezPath, ParamCurve, Point, Vec2};

/// Two points closer than this are one, mm.
pub(super) const SAME: f64 = 1e-3;

/// Points on a line that was worked out lie on it within this, mm.
const ON: f64 = 0.01;

/// Parallels stray by less than this, mm: a fifth of what the cut line may.
const PARALLEL: f64 = 0.001;

/// Draws an edge or line with its darts and pleats.
pub(super) fn draw<'a>(drafter: &mut Drafter<'a>, edge: &'a EdgeStep) -> Result<Drawn> {
    if let Some((when, otherwise)) = &edge.when
        && !when.holds(drafter)?
    {
        return match otherwise {
            Some(other) => draw(drafter, other),
            None => Err(edge.name.error(format!("line \"{}\" is not there for these measures", edge.name.text)).into()),
        };
    }
    let mut drawn = match &edge.how {
        EdgeHow::Curve { through, leaving, arriving } => {
            let knots = knots(drafter, edge, through, [leaving.as_ref(), arriving.as_ref()])?;
            darts::draw(drafter, edge, &knots)?
        }
        EdgeHow::Arc { about, clockwise } => Drawn::plain(arc(drafter, edge, about, *clockwise)?),
        EdgeHow::Along(line) => Drawn::plain(along(drafter, edge, line)?),
        EdgeHow::Parallel { of, inward } => Drawn::plain(parallel(drafter, edge, of, inward)?),
        EdgeHow::Mirrored { of, line, other_side } => {
            let body = if *other_side { drafter.body.other() } else { drafter.body };
            mirrored(drafter, edge, of, line, body)?
        }
    };
    darts::pleats(drafter, edge, &mut drawn)?;
    Ok(drawn)
}

/// The curve through knots, straight between two without headings.
pub(super) fn curve(edge: &EdgeStep, knots: &[Knot]) -> Result<BezPath> {
    if let [start, end] = knots
        && start.heading.is_none()
        && end.heading.is_none()
    {
        if start.point.distance(end.point) < SAME {
            let message = format!(
                "edge \"{}\" has no length: \"{}\" and \"{}\" are one point",
                edge.name.text, edge.from.text, edge.to.text
            );
            return Err(edge.name.error(message).hint("check the measures that place them").into());
        }
        let mut line = BezPath::new();
        line.move_to(start.point);
        line.line_to(end.point);
        return Ok(line);
    }
    spline::through(knots).ok_or_else(|| {
        edge.name
            .error(format!("edge \"{}\" can't be drawn: two of its points are one", edge.name.text))
            .hint("check the measures that place its points")
            .into()
    })
}

fn knots<'a>(
    drafter: &mut Drafter<'a>,
    edge: &'a EdgeStep,
    through: &'a [Passing],
    ends: [Option<&'a Heading>; 2],
) -> Result<Vec<Knot>> {
    let (start, end) = (drafter.point(&edge.from)?, drafter.point(&edge.to)?);
    let mut knots = vec![Knot { point: start, heading: None }];
    for pass in through {
        let point = match pass {
            Passing::Point(name, _) => drafter.point(name)?,
            Passing::Hollow { along, deep } => hollow(drafter, edge, along, deep, [start, end])?,
        };
        knots.push(Knot { point, heading: None });
    }
    knots.push(Knot { point: end, heading: None });
    let last = knots.len() - 1;
    if let Some(heading) = ends[0] {
        knots[0].heading = Some(direction(drafter, heading, start, knots[1].point - start, true)?);
    }
    for (index, pass) in through.iter().enumerate() {
        if let Passing::Point(_, Some(heading)) = pass {
            let at = knots[index + 1].point;
            let chord = knots[index + 2].point - knots[index].point;
            knots[index + 1].heading = Some(direction(drafter, heading, at, chord, true)?);
        }
    }
    if let Some(heading) = ends[1] {
        knots[last].heading = Some(direction(drafter, heading, end, end - knots[last - 1].point, false)?);
    }
    Ok(knots)
}

/// A place so far along the straight line between an edge's ends, and so far to the left of it.
fn hollow<'a>(
    drafter: &mut Drafter<'a>,
    edge: &'a EdgeStep,
    along: &'a Along,
    deep: &'a Formula,
    ends: [Point; 2],
) -> Result<Point> {
    let chord = ends[1] - ends[0];
    if chord.hypot() < SAME {
        return Err(edge.name.error("the edge's ends are one point: there is nothing to hollow").into());
    }
    let direction = chord.normalize();
    let distance = drafter.distance(along, chord.hypot())?;
    Ok(ends[0] + direction * distance + Vec2::new(-direction.y, direction.x) * deep.length(drafter)?)
}

fn arc<'a>(drafter: &mut Drafter<'a>, edge: &'a EdgeStep, about: &'a Text, clockwise: bool) -> Result<BezPath> {
    let (start, end) = (drafter.point(&edge.from)?, drafter.point(&edge.to)?);
    let centre = drafter.point(about)?;
    let (first, second) = (start - centre, end - centre);
    if first.hypot() < SAME || (first.hypot() - second.hypot()).abs() > ON {
        let message = format!(
            "\"{}\" and \"{}\" are not equally far from \"{}\": no circle passes both",
            edge.from.text, edge.to.text, about.text
        );
        return Err(edge
            .name
            .error(message)
            .hint("turn one point about the middle: point … about=… from=… turn=…")
            .into());
    }
    let turn = (second.atan2() - first.atan2()).rem_euclid(std::f64::consts::TAU);
    let full = start.distance(end) < SAME;
    let sweep = match (full, clockwise) {
        (true, false) => std::f64::consts::TAU,
        (true, true) => -std::f64::consts::TAU,
        (false, false) => turn,
        (false, true) => turn - std::f64::consts::TAU,
    };
    let mut path = parts::arc(centre, start, sweep);
    settle_ends(&mut path, start, end);
    Ok(path)
}

/// Puts a path's ends exactly where the points are, so that outlines close to the last digit.
pub(super) fn settle_ends(path: &mut BezPath, start: Point, end: Point) {
    use kurbo::PathEl;
    let elements = path.elements_mut();
    if let Some(PathEl::MoveTo(p)) = elements.first_mut() {
        *p = start;
    }
    if let Some(PathEl::LineTo(p) | PathEl::CurveTo(_, _, p) | PathEl::QuadTo(_, p)) = elements.last_mut() {
        *p = end;
    }
}

fn along<'a>(drafter: &mut Drafter<'a>, edge: &'a EdgeStep, line: &'a Text) -> Result<BezPath> {
    let (start, end) = (drafter.point(&edge.from)?, drafter.point(&edge.to)?);
    let whole = drafter.edge_path(line)?;
    let mut places = [0.0; 2];
    for ((place, point), name) in places.iter_mut().zip([start, end]).zip([&edge.from, &edge.to]) {
        match parts::nearest(&whole, point) {
            Some((at, off)) if off < ON => *place = at,
            _ => {
                let message = format!("\"{}\" does not lie on \"{}\"", name.text, line.text);
                return Err(edge.name.error(message).hint("an edge along a line runs between two points of it").into());
            }
        }
    }
    let mut part = parts::between(&whole, places[0], places[1]);
    if part.segments().next().is_none() {
        return Err(edge.name.error(format!("edge \"{}\" has no length", edge.name.text)).into());
    }
    settle_ends(&mut part, start, end);
    Ok(part)
}

fn parallel<'a>(drafter: &mut Drafter<'a>, edge: &'a EdgeStep, of: &'a [Text], inward: &'a Formula) -> Result<BezPath> {
    let width = inward.length(drafter)?;
    let reach = width.abs() + 1.0;
    let mut whole: Option<BezPath> = None;
    for name in of {
        let segments: Vec<_> = drafter.edge_path(name)?.segments().collect();
        let mut line = BezPath::new();
        for piece in offset::parallel(&segments, -width, PARALLEL) {
            let mut next = BezPath::new();
            parts::push(&mut next, &piece.curve);
            parts::join(&mut line, &next);
        }
        whole = Some(match whole {
            None => line,
            Some(before) => corner(edge, &before, &line, reach)?,
        });
    }
    Ok(parts::extended(&whole.unwrap_or_default(), reach))
}

/// Two parallels brought together where they, or their straight runs on, cross.
fn corner(edge: &EdgeStep, before: &BezPath, after: &BezPath, reach: f64) -> Result<BezPath> {
    let (long_before, long_after) = (parts::extended(before, reach * 2.0), parts::extended(after, reach * 2.0));
    let near = path::end(before).unwrap_or_default();
    let crossing = parts::crossings(&long_before, &long_after)
        .into_iter()
        .min_by(|a, b| a.distance(near).total_cmp(&b.distance(near)))
        .ok_or_else(|| {
            edge.name.error("the parallels of two neighbouring edges never meet").hint("lessen the width")
        })?;
    let at = |line: &BezPath| parts::nearest(line, crossing).map_or(0.0, |(at, _)| at);
    let start = reach * 2.0;
    let mut joined = parts::between(&long_before, start, at(&long_before));
    let end = path::length(&long_after) - reach * 2.0;
    parts::join(&mut joined, &parts::between(&long_after, at(&long_after), end));
    Ok(joined)
}

fn mirrored<'a>(
    drafter: &mut Drafter<'a>,
    edge: &'a EdgeStep,
    of: &'a Text,
    line: &'a Text,
    body: Body,
) -> Result<Drawn> {
    let image = drafter.mirror_in(line)?;
    let source = drafter.for_body(body, |drafter| drafter.drawn(of))?;
    let long = path::length(&source.path);
    let mut flipped = path::reversed(&(image * source.path));
    if !edge.from.text.is_empty() && !edge.to.text.is_empty() {
        let ends = [drafter.point(&edge.from)?, drafter.point(&edge.to)?];
        let off = |a: Option<Point>, b: Point| a.map_or(0.0, |a| a.distance(b));
        let apart = off(path::start(&flipped), ends[0]).max(off(path::end(&flipped), ends[1]));
        if apart < ON {
            settle_ends(&mut flipped, ends[0], ends[1]);
        } else if body != drafter.body {
            return Err(sides::centres_differ(&line.text, apart, drafter.style.unit).at(line.snippet()).into());
        }
    }
    let mouths = darts::mirrored(drafter.steps(), &source.mouths, of, &edge.name, long);
    Ok(Drawn { path: flipped, mouths })
}

/// A direction at `at`, of the two possible the one nearer to `chord`.
fn direction<'a>(
    drafter: &mut Drafter<'a>,
    heading: &'a Heading,
    at: Point,
    chord: Vec2,
    leaving: bool,
) -> Result<Vec2> {
    let along = match heading {
        Heading::Level => Vec2::new(1.0, 0.0),
        Heading::Upright => Vec2::new(0.0, 1.0),
        Heading::Towards(name) => {
            let way = drafter.point(name)? - at;
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
fn tangent_of<'a>(drafter: &mut Drafter<'a>, name: &'a Text, at: Point) -> Result<Vec2> {
    use kurbo::ParamCurveNearest;
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
