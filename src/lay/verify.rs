//! The finished sheet, checked exactly and by other means than those that laid it.

use super::Sheet;
use crate::device::{Margins, Medium, MediumKind};
use crate::diag::{Finding, Result};
use crate::mark::SLIP;
use crate::role::Role;
use geo::{Area, BooleanOps, BoundingRect, Distance, Euclidean, Intersects, Length, LineString, Polygon};
use kurbo::{BezPath, PathEl, Rect, Shape as _};

/// How far the flattened outlines compared here may stray, mm.
const FLAT: f64 = 0.01;

/// Rounding in coordinates of up to 100 m, mm.
const ROUNDING: f64 = 1e-6;

/// Checks that a sheet is as large as its medium allows, that every piece keeps its size, that all lies inside the
/// margins, and that pieces and the check square keep the medium's gap from one another, or with a gap of 0 do not
/// overlap. Outlines are flattened to 0.01 mm, so a gap may fall short by 0.02 mm unnoticed.
///
/// # Errors
/// The first fault, naming the pieces.
pub fn verify(sheet: &Sheet, medium: &Medium) -> Result<()> {
    for placed in &sheet.placed {
        let [a, b, c, d, ..] = placed.transform.as_coeffs();
        if !(same(a * a + b * b, 1.0) && same(c * c + d * d, 1.0) && same(a * c + b * d, 0.0)) {
            return fault("the piece does not keep its size and shape".into(), Some(&placed.piece));
        }
    }
    drawing(sheet, medium)?;
    apart(sheet, medium.gap)
}

/// The same for a drawing at a smaller scale: only that all of it lies inside the margins of a sheet that the medium allows.
pub(super) fn drawing(sheet: &Sheet, medium: &Medium) -> Result<()> {
    let (fits, width, height) = match medium.kind {
        MediumKind::Roll { width, longest } => {
            (sheet.width <= longest + ROUNDING && same(sheet.height, width), longest, width)
        }
        MediumKind::Sheet { width, height } => (same(sheet.width, width) && same(sheet.height, height), width, height),
    };
    if !(fits && sheet.width > 0.0) {
        let [w, h] = [sheet.width, sheet.height];
        return fault(format!("the sheet is {w:.1} × {h:.1} mm and the medium {width:.1} × {height:.1} mm"), None);
    }
    let Margins { left, right, bottom, top } = medium.margins;
    let inside = Rect::new(left, bottom, sheet.width - right, sheet.height - top).inset(ROUNDING);
    let outlines = sheet.placed.iter().map(|placed| (&placed.outline, Some(&*placed.piece)));
    let strokes = sheet.strokes.iter().map(|stroke| {
        let piece = stroke.placed.and_then(|index| sheet.placed.get(index));
        (&stroke.path, piece.map(|placed| &*placed.piece))
    });
    for (path, piece) in outlines.chain(strokes) {
        if !path.is_finite() {
            return fault("a line has a coordinate that is not a number".into(), piece);
        }
        // The box with the handles is the quicker one, and no smaller.
        let leaves = |bounds: Rect| inside.union(bounds) != inside;
        if !path.is_empty() && leaves(path.control_box()) && leaves(path.bounding_box()) {
            return fault("a line leaves the medium's margins".into(), piece);
        }
    }
    Ok(())
}

/// Whether everything that lies on the sheet keeps its distance.
fn apart(sheet: &Sheet, gap: f64) -> Result<()> {
    // With the copy that each belongs to: a slip may lie close to its own piece.
    let mut shapes: Vec<(Rect, Polygon, &str, Option<usize>)> = Vec::new();
    for (index, placed) in sheet.placed.iter().enumerate() {
        shapes.push((placed.outline.bounding_box(), polygon(&placed.outline), &placed.piece, Some(index)));
    }
    // A slip's frame is the first of its strokes.
    let mut before = None;
    for stroke in &sheet.strokes {
        let slip = stroke.placed.filter(|_| stroke.edge == SLIP);
        if slip.is_some() && slip != before {
            shapes.push((stroke.path.bounding_box(), polygon(&stroke.path), "a slip", slip));
        }
        before = slip;
    }
    // The edges of a cloth go round everything.
    let own = sheet.strokes.iter().filter(|stroke| stroke.placed.is_none() && stroke.role != Role::Line);
    let own = own.map(|stroke| stroke.path.bounding_box());
    if let Some(square) = own.reduce(|a, b| a.union(b)) {
        shapes.push((square, polygon(&square.to_path(0.1)), "the check square", None));
    }
    // Sweep along x: only shapes whose extents come within the gap are compared.
    shapes.sort_by(|a, b| a.0.x0.total_cmp(&b.0.x0));
    for (index, (bounds, shape, name, owner)) in shapes.iter().enumerate() {
        let near = bounds.inset(gap);
        let others = shapes[index + 1..].iter().take_while(|other| other.0.x0 <= near.x1);
        for (other_bounds, other, other_name, other_owner) in others {
            // A slip may lie closer to its own piece, but not on it.
            let gap = if owner.is_some() && owner == other_owner { 0.0 } else { gap };
            if other_bounds.y0 <= near.y1 && other_bounds.y1 >= near.y0 {
                compare(shape, other, gap).map_err(|message| {
                    Box::new(Finding::error(format!("\"{name}\" and \"{other_name}\" {message}")).piece(*name))
                })?;
            }
        }
    }
    Ok(())
}

fn compare(a: &Polygon, b: &Polygon, gap: f64) -> std::result::Result<(), String> {
    let least = gap - 2.0 * FLAT;
    if least > 0.0 {
        let distance = distance(a, b, least);
        if distance == 0.0 {
            return Err("overlap".into());
        }
        if distance < least {
            return Err(format!("lie {distance:.2} mm apart, and need {gap:.2} mm"));
        }
        return Ok(());
    }
    // Without a gap outlines may touch, and their flattened sides then cross by as much as they stray.
    let shared = a.intersection(b).unsigned_area();
    let seam = Euclidean.length(a.exterior()).min(Euclidean.length(b.exterior()));
    if shared > 2.0 * FLAT * seam { Err(format!("overlap by {shared:.1} mm²")) } else { Ok(()) }
}

/// The distance between two polygons; where it is `least` or more, any number that is as large.
pub(super) fn distance(a: &Polygon, b: &Polygon, least: f64) -> f64 {
    let sides = |of: &Polygon, near: &Polygon| -> Vec<geo::Line> {
        let Some(near) = near.bounding_rect() else { return Vec::new() };
        let (low, high) = (near.min(), near.max());
        let far = |line: &geo::Line| {
            let (x, y) = (line.start.x.min(line.end.x), line.start.y.min(line.end.y));
            let (right, top) = (line.start.x.max(line.end.x), line.start.y.max(line.end.y));
            x > high.x + least || right < low.x - least || y > high.y + least || top < low.y - least
        };
        of.exterior().lines().filter(|line| !far(line)).collect()
    };
    let (a_sides, mut b_sides) = (sides(a, b), sides(b, a));
    let within =
        |inner: &Polygon, outer: &Polygon| inner.exterior().coords().next().is_some_and(|c| outer.intersects(c));
    if a_sides.is_empty() && b_sides.is_empty() {
        return f64::INFINITY;
    }
    if within(a, b) || within(b, a) {
        return 0.0;
    }
    // Sides by their left ends: those further right than `least` beyond a side's right end are no nearer than that.
    let left = |line: &geo::Line| line.start.x.min(line.end.x);
    let right = |line: &geo::Line| line.start.x.max(line.end.x);
    b_sides.sort_by(|a, b| left(a).total_cmp(&left(b)));
    let longest = b_sides.iter().map(|line| right(line) - left(line)).fold(0.0, f64::max);
    let mut nearest = f64::INFINITY;
    for side in &a_sides {
        let first = b_sides.partition_point(|other| left(other) < left(side) - least - longest);
        for other in b_sides[first..].iter().take_while(|other| left(other) <= right(side) + least) {
            if right(other) >= left(side) - least {
                nearest = nearest.min(Euclidean.distance(side, other));
            }
        }
    }
    nearest
}

fn polygon(path: &BezPath) -> Polygon {
    let mut points = Vec::new();
    kurbo::flatten(path, FLAT, |element| match element {
        PathEl::MoveTo(point) | PathEl::LineTo(point) => points.push((point.x, point.y)),
        _ => {}
    });
    Polygon::new(LineString::from(points), Vec::new())
}

fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= ROUNDING
}

fn fault(message: String, piece: Option<&str>) -> Result<()> {
    let finding = Finding::error(message).hint("this is a fault of the program: please report it with the file");
    Err(Box::new(match piece {
        Some(piece) => finding.piece(piece),
        None => finding,
    }))
}
