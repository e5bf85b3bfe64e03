//! What people read of a job: the proof sheet to look at before cutting, and the tables that the terminal prints.
//!
//! The proof sheet is one HTML page without anything to fetch. It refuses every outside resource by its own
//! Content-Security-Policy (W3C, CSP 3), which also names by its digest the one script that may run, so that no other
//! can; and all text that a user wrote is escaped, so that a name such as `<b>` is read and never obeyed.

mod cloth;
mod drawing;
mod fitting;
mod html;
mod making;
mod page;
mod steps;
mod strips;
mod text;
mod way;
mod words;

pub use cloth::{ClothLine, cloth_svg, cloth_text};
pub use fitting::{ChangeRow, fitting_text};
pub use making::making_sheet;
pub use page::proof_sheet;
pub use steps::piece_svg;
pub use text::{files_text, times_text, walk_json, walk_text};
pub use way::{HeadWay, head_way};

use crate::allow::CutPiece;
use crate::cloth::Cloth;
use crate::diag::Finding;
use crate::lay::Sheet;
use crate::lay::cloth::ClothLay;
use crate::mark::MarkedPiece;
use crate::order::estimate::Estimate;
use crate::piece::PieceSet;
use crate::walk::WalkedJoin;
use serde::Serialize;

/// All that a proof sheet shows. Any list may be empty; what isn't known is then left out of the page.
#[derive(Clone, Copy, Debug)]
pub struct ProofSheet<'a> {
    /// Style, person, unit, date, choices and what the making sheet says; its pieces as far as that names them.
    pub set: &'a PieceSet,
    /// The pieces with their cut lines, in the order to show them.
    pub pieces: &'a [CutPiece],
    /// The same pieces as strokes; found by name.
    pub marked: &'a [MarkedPiece],
    /// The seams walked.
    pub walked: &'a [WalkedJoin],
    /// The files written, each with its proof.
    pub files: &'a [FileLine],
    /// What each file holds, in the files' order.
    pub sheets: &'a [&'a [Sheet]],
    /// The head's way through each file of a machine that follows its file.
    pub ways: &'a [HeadWay],
    /// Lays on cloth, each with its cloth.
    pub cloths: &'a [(ClothLay, Cloth)],
    /// Everything that any stage found.
    pub findings: &'a [Finding],
    /// Body and finished measures.
    pub measures: &'a [MeasureRow],
    /// What the notes of fittings changed.
    pub fitting: &'a [ChangeRow],
}

/// One written file and how well it agrees with its pieces.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FileLine {
    /// The file's name as the user will look for it.
    pub file: String,
    /// The device's name.
    pub device: String,
    /// Copies of pieces in it.
    pub pieces: usize,
    /// Extent along x, mm.
    pub width: f64,
    /// Extent along y, mm.
    pub height: f64,
    /// What it takes up, as people say it: `2 1/4 yd of paper`.
    pub used: String,
    /// The largest distance between a drawn line and where it should be, mm.
    pub largest: f64,
    /// The largest distance that passes, mm.
    pub allowed: f64,
    /// Whether the file passed its proof.
    pub passed: bool,
    /// What the job takes, tool by tool; `None` for what prints or shows everything at once.
    pub estimate: Option<Estimate>,
}

/// One measure: on the body, and on the finished garment. All as people read them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct MeasureRow {
    /// The measure's name.
    pub name: String,
    /// On the body.
    pub body: String,
    /// Added for ease.
    pub ease: String,
    /// On the finished garment.
    pub finished: String,
}
