//! Marked pieces placed on sheets.
//!
//! A sheet's origin is the lower left corner of the medium, margins included; y points up. On a roll x runs along the
//! feed and y across the roll.

use crate::role::Role;
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
