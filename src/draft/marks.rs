//! Balance lines, buttons and buttonholes, set on a piece once the shears are done with it.

use super::Drafter;
use crate::diag::Result;
use crate::geom::path;
use crate::piece::{Fastening, InnerLine, Piece};
use crate::style::PieceSteps;
use crate::style::marks::ButtonStep;
use crate::units::INCH;
use kurbo::{BezPath, Line, ParamCurve, Point, Shape, Vec2};

/// How far beyond its button a buttonhole across a row begins, towards the edge (common practice, no source).
const BEYOND: f64 = INCH / 8.0;

/// Rows longer than this are a slip.
const MOST: f64 = 100.0;

/// Sets all of a piece's own.
pub(super) fn set<'a>(drafter: &mut Drafter<'a>, steps: &'a PieceSteps, piece: &mut Piece) -> Result<()> {
    for step in &steps.balances {
        if !drafter.holds(step.when.as_ref())? {
            continue;
        }
        let through = drafter.point(&step.at)?;
        let along = if step.upright { Vec2::new(0.0, 1.0) } else { Vec2::new(1.0, 0.0) };
        let Some(path) = across(&piece.outline(), through, along) else {
            let finding = step.at.error(format!("the {} passes beside the piece", step.name.text));
            return Err(finding.piece(&piece.name).hint("name a point at a height that the piece reaches").into());
        };
        if piece.path(&step.name.text).is_some() {
            return Err(step.name.error("an edge or line has this name").hint("rename one of them").into());
        }
        piece.lines.push(InnerLine { name: step.name.text.clone(), path });
    }
    for row in &steps.buttons {
        if drafter.holds(row.when.as_ref())? {
            buttons(drafter, row, piece)?;
        }
    }
    Ok(())
}

/// The longest stretch inside an outline of the straight line through a point; a point on the outline is taken a hair
/// inside too, so that a level corner counts.
fn across(outline: &BezPath, through: Point, along: Vec2) -> Option<BezPath> {
    let square = Vec2::new(-along.y, along.x);
    let stretch = [0.0, 0.01, -0.01].into_iter().filter_map(|aside| longest(outline, through + square * aside, along));
    let long = |line: &Line| line.p0.distance(line.p1);
    let line = stretch.max_by(|a, b| long(a).total_cmp(&long(b))).filter(|line| long(line) > 1.0)?;
    let level = |p: Point| p - square * square.dot(p - through);
    let mut path = BezPath::new();
    path.move_to(level(line.p0));
    path.line_to(level(line.p1));
    Some(path)
}

fn longest(outline: &BezPath, through: Point, along: Vec2) -> Option<Line> {
    let far = outline.bounding_box().size().to_vec2().hypot() + outline.bounding_box().center().distance(through);
    let ray = Line::new(through - along * far, through + along * far);
    let mut hits: Vec<f64> =
        outline.segments().flat_map(|s| s.intersect_line(ray).into_iter().map(|hit| hit.line_t)).collect();
    hits.sort_by(f64::total_cmp);
    let inside = hits.windows(2).filter(|pair| outline.winding(ray.eval(f64::midpoint(pair[0], pair[1]))) != 0);
    let best = inside.max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])))?;
    Some(Line::new(ray.eval(best[0]), ray.eval(best[1])))
}

fn buttons(drafter: &mut Drafter<'_>, row: &ButtonStep, piece: &mut Piece) -> Result<()> {
    let count = row.count.number(drafter)?;
    if !(1.0..=MOST).contains(&count) || count.fract() != 0.0 {
        return Err(row.count.source().error("the number of buttons is a whole number from 1 to 100").into());
    }
    let Some(path) = piece.path(&row.on.text).cloned() else {
        return Err(row.on.error(format!("there is no edge \"{}\"", row.on.text)).piece(&piece.name).into());
    };
    let first = row.first.length(drafter)?;
    let last = row.last.as_ref().map_or(Ok(first), |last| last.length(drafter))?;
    let inward = row.inward.as_ref().map_or(Ok(0.0), |inward| inward.length(drafter))?;
    let long = path::length(&path);
    if first < 0.0 || last < 0.0 || first + last > long + 1e-6 {
        let finding = row.first.source().error("the row is longer than what it runs along");
        return Err(finding.edge(&row.on.text).piece(&piece.name).into());
    }
    let far_end = drafter.is_from_far_end(&row.on, row.from.as_ref())?;
    let hole = match &row.hole {
        Some(hole) => Some((positive(drafter, &hole.long)?, hole.lengthwise)),
        None => None,
    };
    let gap = if count > 1.0 { (long - first - last) / (count - 1.0) } else { 0.0 };
    let outline = piece.outline();
    for index in 0..count as u32 {
        let walked = first + gap * f64::from(index);
        let at = if far_end { long - walked } else { walked }.clamp(0.0, long);
        let Some((on, along)) = path::point_at(&path, at) else { continue };
        let into = into(&outline, on, along);
        let at = on + into * inward;
        piece.fastenings.push(match hole {
            None => Fastening::Button(at),
            Some((long, true)) => {
                let along = if far_end { -along } else { along };
                Fastening::Buttonhole(at - along * (long / 2.0), at + along * (long / 2.0))
            }
            Some((long, false)) => Fastening::Buttonhole(at - into * BEYOND, at + into * (long - BEYOND)),
        });
    }
    Ok(())
}

fn positive(drafter: &mut Drafter<'_>, formula: &crate::style::formula::Formula) -> Result<f64> {
    let long = formula.length(drafter)?;
    if long > 0.0 { Ok(long) } else { Err(formula.source().error("a buttonhole has a length over 0").into()) }
}

/// Square off a row, to the side where the piece reaches farther.
fn into(outline: &BezPath, at: Point, along: Vec2) -> Vec2 {
    let left = Vec2::new(-along.y, along.x);
    let far = |side: Vec2| {
        longest(outline, at + side * 0.01, side).map_or(0.0, |line| side.dot(line.p1 - at).max(side.dot(line.p0 - at)))
    };
    if far(left) >= far(-left) { left } else { -left }
}

/// How many buttons are sewn on: a fastening counts on one piece of a pair alone.
fn count(pieces: &[Piece]) -> usize {
    let on = |piece: &Piece| piece.fastenings.iter().filter(|f| matches!(f, Fastening::Button(_))).count();
    pieces.iter().map(on).sum()
}

/// What to buy besides cloth: the buttons that are marked, the zips, and what the style names.
pub(super) fn notions(
    drafter: &Drafter<'_>,
    pieces: &[Piece],
    zips: impl Iterator<Item = (String, String)>,
) -> Vec<String> {
    let mut notions: Vec<String> = zips.map(|(name, what)| format!("{name}: {what}")).collect();
    let buttons = count(pieces);
    if buttons > 0 {
        notions.push(format!("buttons: {buttons}"));
    }
    notions.extend(drafter.style.notions.iter().cloned());
    notions
}
