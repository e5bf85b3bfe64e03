//! Marked pieces placed on sheets.
//!
//! A sheet's origin is the lower left corner of the medium, margins included; y points up. On a roll x runs along the
//! feed and y across the roll.

mod closer;
pub mod cloth;
mod copy;
pub mod keep;
pub mod marker;
pub mod nest;
mod outline;
mod pack;
mod pages;
mod prove;
mod remnant;
mod rows;
pub mod search;
mod square;
pub mod stripes;
pub mod strips;
mod verify;

pub use pages::{Page, pages};
pub use prove::prove_cloth;
pub use verify::verify;

use crate::device::{Medium, MediumKind};
use crate::diag::{Finding, Result};
use crate::mark::MarkedPiece;
use crate::role::Role;
use crate::units::LONGEST;
use copy::Copy;
use kurbo::{Affine, BezPath};
use pack::Turning;
use search::{Budget, Progress};

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
    /// The sizes that are laid over one another, each a person of `placed`; their places in this list, from 1, are the
    /// numbers of their line types and layers. Empty where none are.
    pub sizes: Vec<String>,
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

/// What a lay on paper or card is searched with where nobody says otherwise: a few hundredths of a second.
pub const QUICK: Budget = Budget { evaluations: 60_000, seconds: None, threads: 2, seed: 1, enough: 0.0 };

/// Places every copy of every piece on as many sheets as it takes, inside the margins and the gap kept, with the
/// [`QUICK`] search. On a roll the grain runs along the feed, one way or the other; on a sheet at any right angle to its
/// sides. Paper and card have no grain: a piece that has no room along a roll lies across it, which is told, and on glued
/// pages one is turned that only so fits one page, where that takes no more pages. Pieces on the fold stay half pieces.
/// Every sheet carries a check square with `stamp` beside it, clear of the pieces.
///
/// # Errors
/// A piece that is larger than the medium, by how much, and what would fit; no pieces at all; a medium too small for a
/// check square.
pub fn lay(pieces: &[MarkedPiece], medium: &Medium, copies: Copies, stamp: &str) -> Result<(Vec<Sheet>, Vec<Finding>)> {
    lay_on_stock(pieces, std::slice::from_ref(medium), copies, &|_| stamp.into(), &QUICK, &mut |_| true)
}

/// The same on what is in stock: fewest sheets, of several formats the smallest that does for each sheet; of several rolls
/// the first that takes every piece, along it or else across. `stamp` gives each medium's. Better lays until the budget is used or `progress`
/// returns false.
///
/// # Errors
/// As [`lay`], of the format that the pieces come nearest to fitting.
pub fn lay_on_stock(
    pieces: &[MarkedPiece],
    stock: &[Medium],
    copies: Copies,
    stamp: &dyn Fn(&Medium) -> String,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Result<(Vec<Sheet>, Vec<Finding>)> {
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
    let mut best: Option<(Vec<Sheet>, String)> = None;
    let mut refused = None;
    // Nothing lies across a roll as long as some medium takes all of it along.
    let mut across = false;
    loop {
        for medium in stock {
            match on_medium(&wanted, medium, &stamp(medium), across, budget, progress) {
                Ok((sheets, missing)) => {
                    // Of two that take as many sheets, the smaller.
                    let size =
                        |sheets: &[Sheet]| (sheets.len(), sheets.iter().map(|s| s.width * s.height).sum::<f64>());
                    if best.as_ref().is_none_or(|(other, _)| size(&sheets) < size(other)) {
                        best = Some((sheets, missing));
                    }
                    if matches!(medium.kind, MediumKind::Roll { .. }) {
                        break;
                    }
                }
                Err(finding) => refused = refused.or(Some(finding)),
            }
        }
        if best.is_some() || across {
            break;
        }
        (across, refused) = (true, None);
    }
    let Some((mut sheets, missing)) = best else {
        return Err(refused
            .unwrap_or_else(|| Finding::error("there is no medium to lay on").hint("add one to the profile").into()));
    };
    if stock.len() > 1 {
        for sheet in &mut sheets {
            smaller(sheet, &wanted, stock, stamp, budget, progress);
        }
    }
    let mut findings = if across { lying_across(&sheets, pieces) } else { Vec::new() };
    if !missing.is_empty() {
        let message = format!("the stamp has characters that can't be lettered: {missing}");
        findings.push(Finding::warning(message).hint("a box is drawn in their place"));
    }
    Ok((sheets, findings))
}

/// Proven sheets of one medium, and the characters of the stamp that can't be lettered.
fn on_medium(
    wanted: &[Copy],
    medium: &Medium,
    stamp: &str,
    across: bool,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Result<(Vec<Sheet>, String)> {
    let mut lay = |packed: pack::Packed| {
        let packed = closer::closer(packed, wanted, medium, budget, progress);
        let sheets = packed.sheets(wanted, medium);
        sheets.iter().try_for_each(|sheet| verify(sheet, medium)).map(|()| (sheets, packed.missing()))
    };
    let turning = if across { Turning::Across } else { Turning::OntoOnePage };
    let packed = pack::pack(wanted, medium, stamp, turning)?;
    let choice = medium.pages.is_some() && packed.turns();
    let turned = lay(packed)?;
    // Turning is for fewer joins, and not for more pages.
    if choice && let Ok(plain) = pack::pack(wanted, medium, stamp, Turning::Nothing) {
        let plain = lay(plain)?;
        if pages::joined(&plain.0, medium) <= pages::joined(&turned.0, medium) {
            return Ok(plain);
        }
    }
    Ok(turned)
}

/// Says which pieces lie across a roll: whoever cuts cloth by it must know.
fn lying_across(sheets: &[Sheet], pieces: &[MarkedPiece]) -> Vec<Finding> {
    let across = |piece: &&MarkedPiece| {
        sheets.iter().any(|sheet| {
            let own = |placed: &&Placed| placed.piece == piece.name && placed.person == piece.person;
            sheet.placed.iter().find(own).is_some_and(|placed| {
                let [from, to] = piece.grain.map(|end| placed.transform * end);
                (to - from).y.abs() > (to - from).x.abs()
            })
        })
    };
    let told = |piece: &MarkedPiece| {
        let finding = Finding::warning("the piece lies across the roll, as there is no room for it along the roll");
        finding.piece(&piece.name).hint("paper and card have no grain; cloth that is cut on such a roll has")
    };
    pieces.iter().filter(across).map(told).collect()
}

/// Puts the smallest format in a sheet's place that takes all of its copies.
fn smaller(
    sheet: &mut Sheet,
    wanted: &[Copy],
    stock: &[Medium],
    stamp: &dyn Fn(&Medium) -> String,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) {
    let area = |medium: &Medium| match medium.kind {
        MediumKind::Sheet { width, height } => width * height,
        MediumKind::Roll { .. } => f64::INFINITY,
    };
    let mut formats: Vec<&Medium> =
        stock.iter().filter(|medium| area(medium) < sheet.width * sheet.height - 1e-6).collect();
    formats.sort_by(|a, b| area(a).total_cmp(&area(b)));
    // The copies of this sheet again, whichever of several alike they are.
    let mut left: Vec<(&str, &str, bool)> = sheet
        .placed
        .iter()
        .map(|placed| (&*placed.piece, &*placed.person, placed.transform.determinant() < 0.0))
        .collect();
    let copies: Vec<Copy> = wanted
        .iter()
        .filter(|copy| {
            let is = (&*copy.piece.name, &*copy.piece.person, copy.along_grain.determinant() < 0.0);
            left.iter().position(|other| *other == is).map(|at| left.swap_remove(at)).is_some()
        })
        .cloned()
        .collect();
    for medium in formats {
        let laid = on_medium(&copies, medium, &stamp(medium), false, budget, progress);
        if let Some([one]) = laid.as_ref().ok().map(|(sheets, _)| &**sheets) {
            *sheet = one.clone();
            return;
        }
    }
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
