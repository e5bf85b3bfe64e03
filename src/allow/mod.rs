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

mod corner;
mod fold;
mod outline;
mod proof;
mod region;
mod restore;

use crate::diag::{Finding, Result};
use crate::geom::sweep::wound;
use crate::piece::Piece;
use kurbo::{BezPath, Point, Shape};
use region::Region;

pub use corner::MITRE_LIMIT;

/// How far the cut line may stray from the true one, mm.
pub const TOLERANCE: f64 = 0.005;

/// The part of the tolerance that fitted curves may use up; the rest is for joins and the sweep.
const FIT_SHARE: f64 = 0.8;

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
    let outline = outline::outline(piece)?;
    let region = Region::new(outline, FIT_SHARE * tolerance);
    let findings = Vec::new();
    let cut_line = swept(&region).map_err(|what| unproven(piece, what, None, None))?;
    if std::env::var("DUMP").is_ok() {
        println!("LOOP {}", region.winding_loop().to_svg());
        println!("CUT {}", cut_line.to_svg());
    }
    proof::prove(&region, &cut_line, tolerance).map_err(|flaw| {
        let edge = flaw.side.map(|side| region.sides()[side].edge);
        unproven(piece, flaw.what, Some(flaw.place), edge)
    })?;
    Ok((CutPiece { piece: piece.clone(), cut_line }, findings))
}

fn unproven(piece: &Piece, what: &str, place: Option<Point>, edge: Option<usize>) -> Box<Finding> {
    let at = place.map_or(String::new(), |p| format!(" at ({:.2}, {:.2}) mm", p.x, p.y));
    let finding = Finding::error(format!("no cut line can be proven: it {what}{at}")).piece(&piece.name);
    let finding = match edge {
        Some(edge) => finding.edge(&piece.edges[edge].name),
        None => finding,
    };
    Box::new(finding.hint("make the allowance narrower there, or the corner simpler"))
}

/// The region's outer contour by one sweep, cut along the fold.
fn swept(region: &Region) -> std::result::Result<BezPath, &'static str> {
    let winding_loop = region.winding_loop();
    let contours = wound(&winding_loop, None).map_err(|_| "is lost in the sweep")?;
    let sources: Vec<_> = winding_loop.segments().collect();
    let whole = restore::restored(&outer(contours)?, &sources);
    match &region.outline.axis {
        Some(axis) => fold::half(&whole, axis),
        None => Ok(whole),
    }
}

/// Contours under this area or this mean thickness are slivers, mm² and mm.
const SLIVER: (f64, f64) = (0.1, 0.02);

fn outer(contours: Vec<BezPath>) -> std::result::Result<BezPath, &'static str> {
    let mut outer: Option<BezPath> = None;
    for contour in contours {
        let area = contour.area();
        let perimeter = crate::geom::path::length(&contour);
        if area < SLIVER.0 || 2.0 * area / perimeter < SLIVER.1 {
            continue;
        }
        if outer.is_some() {
            return Err("falls apart into several");
        }
        outer = Some(contour);
    }
    outer.ok_or("encloses nothing")
}
