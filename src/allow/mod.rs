//! From the sew line to the cut line.
//!
//! # The allowance region
//! Let the sew line enclose the piece P. Each smooth side i of it runs along c(t) with its unit normal n(t) to the right,
//! away from the piece, and has the width w. The region R whose outer contour is the cut line is the union of
//!
//! - the piece P;
//! - of every side the **band** { c(t) + s·n(t) : 0 ≤ s ≤ min(w, ρ(t)) }, where ρ(t) is the radius of curvature if the side
//!   bends outward there (its centre of curvature lies in the allowance) and ∞ otherwise: an allowance wider than a hollow
//!   curve ends at that curve's centre;
//! - at every corner a **corner shape**, which its finish defines (`corner`): between the ends of the two bands, or where
//!   a finish shortens an allowance, in place of the shortened part of its band.
//!
//! With one width all round and round corners R is the Minkowski sum of P and a disc: a point's nearest point on the
//! sew line lies within the radius of curvature. Holes of R are filled: the cut line is one line.
//!
//! # The way
//! No part of R is swept against its orientation, so the parts' boundaries add up to one closed loop whose winding number
//! about a point is the number of parts that hold it. The boundary where it is first at least 1 is the cut line: one sweep
//! over one loop of true curves. Every cut line is then proven against the definition (`proof`).

mod cap;
mod corner;
mod fold;
mod fold_back;
mod inside;
mod outline;
mod proof;
mod region;
mod restore;
mod union;
mod wide;

use crate::diag::{Finding, Result};
use crate::geom::sweep::wound;
use crate::piece::Piece;
use kurbo::{BezPath, Point, Shape};
use proof::Flaw;
use region::Region;

pub use corner::MITRE_LIMIT;
pub use wide::too_wide;

/// How far the cut line may stray from the true one, mm.
pub const TOLERANCE: f64 = 0.005;

/// No finer tolerance is promised, mm: the sweep itself moves points by up to 10⁻⁶ mm.
const FINEST: f64 = 0.0005;

/// The part of the tolerance that fitted curves may use up; the rest is for joins and the sweep.
const FIT_SHARE: f64 = 0.85;

/// A piece with its cut line.
#[derive(Clone, Debug)]
pub struct CutPiece {
    /// The piece on its sew line.
    pub piece: Piece,
    /// The cut line: one closed subpath, counter-clockwise; along a fold it runs on the fold.
    pub cut_line: BezPath,
}

/// The cut line of a piece, within `tolerance` mm of the allowance region's true contour, and what there is to say about
/// it. Default tolerance: [`TOLERANCE`].
///
/// # Errors
/// Names piece and edge: a sew line that is not one simple counter-clockwise outline (`outline`), or a cut line that could
/// not be proven.
pub fn allow(piece: &Piece, tolerance: f64) -> Result<(CutPiece, Vec<Finding>)> {
    if !(FINEST..=1.0).contains(&tolerance) {
        let hint = format!("between {FINEST} and 1 mm; {TOLERANCE} is usual");
        return Err(Box::new(Finding::error(format!("a tolerance of {tolerance} mm is out of range")).hint(hint)));
    }
    let mut findings = Vec::new();
    let region = Region::new(outline::outline(piece, &mut findings)?, FIT_SHARE * tolerance);
    findings.extend(plain_corners(piece, &region));
    let half = region.outline.axis.map(|axis| half_plane(&axis, &region));
    let quick = swept(&region).and_then(|cut| {
        proof::prove(&region, &cut.line, tolerance)?;
        Ok(cut)
    });
    let cut = match quick {
        Ok(cut) => cut,
        Err(flaw) => {
            let cut = slowly(&region, half.as_ref(), tolerance).map_err(|flaw| unproven(piece, &region, &flaw))?;
            findings.push(
                Finding::warning(format!("the slower way made this cut line: the quicker one's {}", flaw.what))
                    .piece(&piece.name)
                    .hint("it is proven all the same; nothing needs to be done"),
            );
            cut
        }
    };
    if cut.filled > WORTH_A_WORD {
        let text = format!("its allowances close about a gap of {:.1} mm², which is filled", cut.filled);
        findings.push(Finding::warning(text).piece(&piece.name).hint("make them narrower to keep the gap open"));
    }
    Ok((CutPiece { piece: piece.clone(), cut_line: cut.line }, findings))
}

/// A contour with the area of the holes that were filled, mm².
struct Contour {
    line: BezPath,
    filled: f64,
}

/// A warning for every corner that had to make do with a plainer finish.
fn plain_corners(piece: &Piece, region: &Region) -> Vec<Finding> {
    let plain = region.corners.iter().zip(region.sides()).filter(|(corner, side)| corner.plain && !side.mirrored);
    plain
        .map(|(_, side)| {
            let edge = &piece.edges[side.edge].name;
            Finding::warning("the allowance can't be folded back at the corner after this edge, and is mitred there")
                .piece(&piece.name)
                .edge(edge)
                .hint("the edge beyond the corner is too short for it, runs on almost straight, or turns at once")
        })
        .collect()
}

/// The region's contour by union, with its curves where they can be put back.
fn slowly(region: &Region, half: Option<&BezPath>, tolerance: f64) -> std::result::Result<Contour, Flaw> {
    let lost = Flaw { what: "encloses nothing", place: region.sides()[0].start(), side: None };
    let (line, filled) = union::united(region, half, tolerance).ok_or(lost)?;
    let curved = restore::restored(&line, &sources(region, half));
    let line = if proof::prove(region, &curved, tolerance).is_ok() { curved } else { line };
    proof::prove(region, &line, tolerance)?;
    Ok(Contour { line, filled })
}

/// The segments that the contour is made of.
fn sources(region: &Region, half: Option<&BezPath>) -> Vec<kurbo::PathSeg> {
    region.winding_loop().segments().chain(half.iter().flat_map(|half| half.segments())).collect()
}

fn unproven(piece: &Piece, region: &Region, flaw: &Flaw) -> Box<Finding> {
    let Point { x, y } = flaw.place;
    let text = format!("no cut line can be proven: it {} at ({x:.2}, {y:.2}) mm", flaw.what);
    let side = flaw.side.or_else(|| region.nearest_side(flaw.place));
    let finding = Finding::error(text).piece(&piece.name);
    let finding = match side {
        Some(side) => finding.edge(&piece.edges[region.sides()[side].edge].name),
        None => finding,
    };
    Box::new(finding.hint("make the allowance narrower there, or the corner simpler"))
}

/// The region's outer contour by one sweep, cut along the fold.
fn swept(region: &Region) -> std::result::Result<Contour, Flaw> {
    let lost = |what| Flaw { what, place: region.sides()[0].start(), side: None };
    let contours = wound(&region.winding_loop(), None).map_err(|_| lost("is lost in the sweep"))?;
    let contour = outer(contours).map_err(lost)?;
    let whole = restore::restored(&contour.line, &sources(region, None));
    let line = match &region.outline.axis {
        Some(axis) => fold::half(&whole, axis).map_err(lost)?,
        None => whole,
    };
    Ok(Contour { line, ..contour })
}

/// A rectangle on the piece's side of the fold that is larger than any allowance.
fn half_plane(axis: &outline::Axis, region: &Region) -> BezPath {
    let bounds = outline::as_path(region.sides()).bounding_box();
    let widest = region.sides().iter().map(|side| side.width).fold(0.0, f64::max);
    let far = 2.0 * (bounds.width() + bounds.height()) + 10.0 * MITRE_LIMIT * (widest + 1.0);
    let middle = axis.origin + axis.along * axis.along.dot(bounds.center() - axis.origin);
    let up = kurbo::Vec2::new(-axis.along.y, axis.along.x);
    let (a, b) = (middle - far * axis.along, middle + far * axis.along);
    let mut path = BezPath::new();
    path.move_to(a);
    path.line_to(b);
    path.line_to(b + far * up);
    path.line_to(a + far * up);
    path.close_path();
    path
}

/// Contours under this area or this mean thickness are slivers, mm² and mm.
const SLIVER: (f64, f64) = (0.1, 0.02);

/// A filled gap smaller than this needs no word, mm².
const WORTH_A_WORD: f64 = 1.0;

fn outer(contours: Vec<BezPath>) -> std::result::Result<Contour, &'static str> {
    let mut outer: Option<BezPath> = None;
    let mut filled = 0.0;
    for contour in contours {
        let area = contour.area();
        let perimeter = crate::geom::path::length(&contour);
        if area.abs() < SLIVER.0 || 2.0 * area.abs() / perimeter < SLIVER.1 {
            continue;
        }
        if area < 0.0 {
            filled -= area;
        } else if outer.replace(contour).is_some() {
            return Err("falls apart into several");
        }
    }
    let line = outer.ok_or("encloses nothing")?;
    Ok(Contour { line, filled })
}
