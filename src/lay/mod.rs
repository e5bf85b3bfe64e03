//! Marked pieces placed on sheets.
//!
//! A sheet's origin is the lower left corner of the medium, margins included; y points up. On a roll x runs along the
//! feed and y across the roll.

pub mod cloth;
mod copy;
mod outline;
mod pack;
mod pages;
mod prove;
mod rows;
pub mod search;
mod square;
mod verify;

pub use pages::{Page, pages};
pub use prove::prove_cloth;
pub use verify::verify;

use crate::device::Medium;
use crate::diag::{Finding, Result};
use crate::mark::MarkedPiece;
use crate::role::Role;
use crate::units::LONGEST;
use copy::Copy;
use kurbo::{Affine, BezPath};

/// One sheet of a medium with what lies on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// The medium's name in the device profile.
    pub medium: String,
    /// Extent along x, mm; on a roll the length used.
    pub width: f64,
    /// Extent along y, mm; on a roll its width.
    pub height: f64,
    /// Where each piece lies.
    pub placed: Vec<Placed>,
    /// All strokes, in sheet coordinates, those of the check square included.
    pub strokes: Vec<SheetStroke>,
    /// Nominal side of the check square, mm.
    pub square: f64,
}

/// One copy of a piece on a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The piece's name.
    pub piece: String,
    /// For whom or which size.
    pub person: String,
    /// From piece coordinates to sheet coordinates.
    pub transform: Affine,
    /// The cut line in sheet coordinates.
    pub outline: BezPath,
}

/// One line on a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetStroke {
    /// What it is for.
    pub role: Role,
    /// Index into [`Sheet::placed`]; `None` for the check square and the sheet's own writing.
    pub placed: Option<usize>,
    /// The edge or inner line that it belongs to; empty where none.
    pub edge: String,
    /// One subpath, open or closed, in sheet coordinates.
    pub path: BezPath,
}

/// How many copies of each piece are laid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Copies {
    /// One, not mirrored: a paper pattern or a block in card, which the label says how often to cut.
    One,
    /// As many as are cut; where they are mirrored every second one is.
    All,
}

/// More copies than this on one lay are a slip.
const MOST: usize = 5000;

/// Places every copy of every piece on as many sheets as it takes, inside the margins and the gap kept. On a roll the
/// grain runs along the feed, one way or the other; on a sheet at any right angle to its sides. Pieces on the fold stay
/// half pieces. Every sheet carries a check square with `stamp` beside it, clear of the pieces.
///
/// # Errors
/// A piece that is larger than the medium, by how much, and what would fit; no pieces at all; a medium too small for a
/// check square.
pub fn lay(pieces: &[MarkedPiece], medium: &Medium, copies: Copies, stamp: &str) -> Result<(Vec<Sheet>, Vec<Finding>)> {
    if pieces.is_empty() {
        return Err(Box::new(Finding::error("there is no piece to lay").hint("draft at least one piece")));
    }
    let mut wanted = Vec::new();
    for piece in pieces {
        check(piece)?;
        let count = if copies == Copies::One { 1 } else { piece.cut.count as usize };
        if wanted.len() + count > MOST {
            let finding = Finding::error(format!("more than {MOST} copies of pieces are to be laid"));
            return Err(Box::new(finding.piece(&piece.name).hint("check how many are to be cut")));
        }
        wanted.extend((0..count).map(|index| Copy::new(piece, piece.cut.mirrored && index % 2 == 1)));
    }
    let (sheets, missing) = pack::pack(&wanted, medium, stamp)?;
    for sheet in &sheets {
        verify(sheet, medium)?;
    }
    let mut findings = Vec::new();
    if !missing.is_empty() {
        let message = format!("the stamp has characters that can't be lettered: {missing}");
        findings.push(Finding::warning(message).hint("a box is drawn in their place"));
    }
    Ok((sheets, findings))
}

/// Refuses what no placing can put right.
fn check(piece: &MarkedPiece) -> Result<()> {
    let paths = std::iter::once(&piece.outline).chain(piece.strokes.iter().map(|stroke| &stroke.path));
    for path in paths {
        let inside = path
            .elements()
            .iter()
            .filter_map(kurbo::PathEl::end_point)
            .all(|p| [p.x, p.y].into_iter().all(|coordinate| coordinate.abs() <= LONGEST));
        if !inside || !path.is_finite() {
            let finding = Finding::error("a line has a coordinate that is not a number or is beyond 100 m");
            return Err(Box::new(finding.piece(&piece.name)));
        }
    }
    if piece.outline.segments().count() < 2 {
        return Err(Box::new(Finding::error("the piece has no cut line").piece(&piece.name)));
    }
    Ok(())
}
