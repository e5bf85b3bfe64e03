//! A sheet's strokes, sorted into tools and put in order.

use crate::role::Role;
use kurbo::BezPath;

/// What a machine does on one sheet, nominal: not yet corrected.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// The device's name.
    pub device: String,
    /// The medium's name.
    pub medium: String,
    /// The sheet's title: style, person, sheet n of N.
    pub title: String,
    /// Extent along x, mm.
    pub width: f64,
    /// Extent along y, mm.
    pub height: f64,
    /// Nominal side of the check square, mm.
    pub square: f64,
    /// Tool by tool, in working order.
    pub passes: Vec<Pass>,
}

/// All that one tool does.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// The tool's name.
    pub tool: String,
    /// Its strokes in working order, each in its working direction.
    pub strokes: Vec<JobStroke>,
}

/// One stroke of a tool.
#[derive(Clone, Debug, PartialEq)]
pub struct JobStroke {
    /// What it is for.
    pub role: Role,
    /// The piece's name; empty for the sheet's own strokes.
    pub piece: String,
    /// The edge or inner line that it belongs to; empty where none.
    pub edge: String,
    /// One subpath, open or closed, in sheet coordinates.
    pub path: BezPath,
}
