//! A piece for other programs, and for sizes that are laid over one another: its lines without any writing.

use super::ground::Ground;
use super::{Heading, MarkedPiece, Stroke, block, check, grain, is_cut_on, notch, polyline, signs};
use crate::allow::CutPiece;
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::role::Role;
use kurbo::{BezPath, Point};

/// Middles of two strokes this near are the middle of one cross, mm.
const SAME: f64 = 1e-6;

/// The bare lines of a piece: cut line, hanging hole, sew line as one closed line unless the piece is cut on it, notches
/// each with a dot where it stands on the cut line, the edge on the fold, the shaft of the grain, drill holes as dots, and
/// all else that is drawn inside as [`Role::Line`].
///
/// # Errors
/// As [`super::mark`].
pub fn bare(cut: &CutPiece, heading: &Heading) -> Result<(MarkedPiece, Vec<Finding>)> {
    check(cut)?;
    let piece = &cut.piece;
    let mut findings = Vec::new();
    let block = block::is_block(piece, heading.net_block);
    let notched = notch::notches(cut, heading, block, &mut findings)?;
    let mut ground = Ground::new(&piece.outline());
    let mut inside = signs::inner_lines(piece, &cut.cut_line, &mut findings);
    inside.extend(signs::drills(piece, &ground, &mut findings));
    // The ring about a dart's point is a sign for people.
    let darts = signs::darts(piece, block, &ground, &mut findings);
    inside.extend(darts.into_iter().filter(|stroke| !path::is_closed(&stroke.path)));
    inside.extend(signs::pleats(piece, &ground, &mut findings));
    inside.extend(signs::fastenings(piece, &ground, &mut findings));
    ground.take(inside.iter().map(|stroke| &stroke.path));
    let hole = if block { block::hanging_hole(piece, &ground, &mut findings) } else { None };
    let off: Vec<&BezPath> = hole.iter().map(|hole| &hole.path).collect();
    let grains = grain::candidates(piece, &ground, &off)?;
    let ends = grains.first().map_or(piece.grain, |grain| grain.ends);

    let stroke = |role, edge: &str, path| Stroke { role, edge: edge.into(), path };
    let mut strokes = vec![stroke(Role::Cut, "", notched.cut_line.clone())];
    strokes.extend(hole);
    if !piece.edges.iter().all(|edge| is_cut_on(edge, &cut.cut_line)) {
        strokes.push(stroke(Role::Sew, "", piece.outline()));
    }
    // Drawn and cut notches start on the cut line; the tick on the sew line follows from it.
    let stands = |at: Point| notched.points.iter().any(|point| point.distance(at) < SAME);
    for mut notch in notched.strokes {
        if notch.role == Role::Notch || path::start(&notch.path).is_some_and(stands) {
            notch.role = Role::Notch;
            strokes.push(notch);
        }
    }
    strokes.extend(notched.points.iter().map(|point| stroke(Role::Notch, "", dot(*point))));
    strokes.extend(piece.fold().map(|edge| stroke(Role::Fold, &edge.name, edge.path.clone())));
    strokes.push(stroke(Role::Grain, "", polyline(&ends)));
    let (drills, lines): (Vec<_>, Vec<_>) = inside.into_iter().partition(|stroke| stroke.role == Role::Drill);
    strokes.extend(middles(&drills).into_iter().map(|point| stroke(Role::Drill, "", dot(point))));
    strokes.extend(lines.into_iter().map(|line| Stroke { role: Role::Line, ..line }));
    let marked = MarkedPiece {
        name: piece.name.clone(),
        person: heading.person.clone(),
        cut: piece.cut.clone(),
        outline: notched.cut_line,
        grain: ends,
        on_fold: piece.fold().is_some(),
        strokes,
    };
    Ok((marked, findings))
}

/// A line of no length.
fn dot(at: Point) -> BezPath {
    polyline(&[at, at])
}

/// The middle of every cross, whose two arms follow one another.
fn middles(arms: &[Stroke]) -> Vec<Point> {
    let middle = |arm: &Stroke| Some(path::start(&arm.path)?.midpoint(path::end(&arm.path)?));
    let mut points: Vec<Point> = arms.iter().filter_map(middle).collect();
    points.dedup_by(|a, b| a.distance(*b) < SAME);
    points
}
