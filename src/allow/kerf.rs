//! A closed path moved outward or inward by half the width that a tool takes away.

use super::inside::Inside;
use super::outline::{Outline, outline};
use super::region::Region;
use super::{FIT_SHARE, SLIVER, restore, sources};
use crate::diag::{Finding, Result};
use crate::geom::offset::Source;
use crate::geom::sweep::wound;
use crate::piece::{Cut, Edge, Finish, Piece};
use kurbo::{BezPath, ParamCurve, ParamCurveNearest, PathEl, PathSeg, Point, Rect, Shape};

/// Points of every segment at which the result is measured.
const SAMPLES: u32 = 16;

/// The path of a tool that takes away a width of 2·|`half`| mm, so that its near side runs on `path`: outside the enclosed
/// area where `half` is positive, inside it where it is negative; rounded about outward corners, within `tolerance` mm. It
/// runs in the direction of `path`, which is one closed subpath that does not cross itself.
///
/// For the very end of the work, on the contour that the tool will follow; never on a line that is measured again.
///
/// # Errors
/// A path that is not closed or crosses itself; a width that leaves nothing inside or cuts the inside in two.
pub fn kerf(path: &BezPath, half: f64, tolerance: f64) -> Result<BezPath> {
    let err = |text: &str, hint: &str| Err(Box::new(Finding::error(text.to_owned()).hint(hint.to_owned())));
    if !(half.is_finite() && tolerance > 0.0 && tolerance <= 1.0) {
        return err("a kerf or its tolerance is no length", "half the tool's width, in mm");
    }
    if !matches!(path.elements().last(), Some(PathEl::ClosePath)) {
        return err("only a closed path can be moved by the tool's width", "close it");
    }
    if half == 0.0 {
        return Ok(path.clone());
    }
    let clockwise = path.area() < 0.0;
    let forward = if clockwise { path.reverse_subpaths() } else { path.clone() };
    let outline = as_outline(&forward, half.abs())?;
    let moved = if half > 0.0 { outward(outline, tolerance) } else { inward(outline, &forward, -half, tolerance) }?;
    if !measured(&forward, &moved, half, tolerance) {
        let hint = "simplify it, or use a thinner tool";
        return err("the path moved by the tool's width can't be proven", hint);
    }
    Ok(if clockwise { moved.reverse_subpaths() } else { moved })
}

/// The path as an outline with one width and round corners.
fn as_outline(path: &BezPath, width: f64) -> Result<Outline> {
    let segments: Vec<PathSeg> = path.segments().collect();
    let open = BezPath::from_path_segments(segments.into_iter());
    let edge = Edge { name: "path".into(), path: open, allowance: width, fold: false, corner: Finish::Round };
    let piece = Piece {
        name: "tool's path".into(),
        cut: Cut::default(),
        edges: vec![edge],
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: [Point::ORIGIN; 2],
        drills: Vec::new(),
        lines: Vec::new(),
        fastenings: Vec::new(),
    };
    let mut outline = outline(&piece, &mut Vec::new())?;
    for side in &mut outline.sides {
        side.finish = Finish::Round;
    }
    Ok(outline)
}

fn outward(outline: Outline, tolerance: f64) -> Result<BezPath> {
    let region = Region::new(outline, FIT_SHARE * tolerance);
    let contours = wound(&region.winding_loop(), None).unwrap_or_default();
    single(contours, &sources(&region, None), "the tool's path is lost")
}

/// Inward is outward from the other side: everything outside the path grows, and what it leaves is the inside.
fn inward(mut outline: Outline, path: &BezPath, half: f64, tolerance: f64) -> Result<BezPath> {
    outline.sides.reverse();
    for side in &mut outline.sides {
        side.run = side.run.iter().rev().map(PathSeg::reverse).collect();
    }
    let region = Region::new(outline, FIT_SHARE * tolerance);
    let far = 4.0 * half + 1.0;
    let frame: Rect = path.bounding_box().inflate(far, far);
    let mut loops = region.winding_loop();
    loops.extend(frame.path_elements(1.0));
    let contours = wound(&loops, None).unwrap_or_default();
    let holes = contours.into_iter().filter(|contour| contour.area() < 0.0).collect();
    let hole = single(holes, &sources(&region, None), "the tool is too wide to pass inside this path")?;
    Ok(hole.reverse_subpaths())
}

/// The one contour that is no sliver, on its curves.
fn single(contours: Vec<BezPath>, sources: &[PathSeg], none: &str) -> Result<BezPath> {
    let real = |contour: &BezPath| {
        let area = contour.area().abs();
        area > SLIVER.0 && 2.0 * area / crate::geom::path::length(contour) > SLIVER.1
    };
    let outer = contours.iter().any(|contour| contour.area() > 0.0);
    let mut real: Vec<BezPath> =
        contours.into_iter().filter(|contour| real(contour) && (contour.area() > 0.0) == outer).collect();
    match (real.pop(), real.is_empty()) {
        (Some(contour), true) => Ok(restore::restored(&contour, sources)),
        (Some(_), false) => {
            let hint = "use a thinner tool, or cut the narrow place by hand";
            Err(Box::new(Finding::error("the tool's width cuts the inside of this path in two").hint(hint)))
        }
        (None, _) => Err(Box::new(Finding::error(none.to_owned()).hint("use a thinner tool"))),
    }
}

/// Whether `moved` runs at the distance `half` from `path`, on the right side, everywhere; and wherever a point at that
/// distance has no nearer point on the path, `moved` passes there.
fn measured(path: &BezPath, moved: &BezPath, half: f64, tolerance: f64) -> bool {
    let (from, to): (Vec<PathSeg>, Vec<PathSeg>) = (path.segments().collect(), moved.segments().collect());
    let away = |segments: &[PathSeg], p: Point| {
        segments.iter().map(|s| s.nearest(p, 1e-7).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
    };
    let (inside, width) = (Inside::new(&from), half.abs());
    let at = |segment: &PathSeg, i: u32| segment.eval((f64::from(i) + 0.5) / f64::from(SAMPLES));
    let on_it = to.iter().all(|segment| {
        (0..SAMPLES)
            .map(|i| at(segment, i))
            .all(|p| (away(&from, p) - width).abs() <= tolerance && (inside.winding(p) != 0) == (half < 0.0))
    });
    let all_of_it = from.iter().all(|segment| {
        let source = Source::of(segment);
        (0..SAMPLES).all(|i| {
            let p = source.parallel((f64::from(i) + 0.5) / f64::from(SAMPLES), half);
            away(&from, p) < width - tolerance || away(&to, p) <= tolerance
        })
    });
    on_it && all_of_it && moved.is_finite()
}
