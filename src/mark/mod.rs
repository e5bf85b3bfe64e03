//! Everything that is drawn on a piece: notches, grain, fold bracket, drill holes, darts, inner lines, label.

use crate::piece::Cut;
use crate::role::Role;
use kurbo::{BezPath, Point};

/// One line to draw or cut, with what it is for.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// What it is for.
    pub role: Role,
    /// The edge or inner line that it belongs to; empty where none.
    pub edge: String,
    /// One subpath, open or closed, in the piece's coordinates.
    pub path: BezPath,
}

/// A piece as strokes, ready to be placed.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkedPiece {
    /// The piece's name.
    pub name: String,
    /// For whom or which size.
    pub person: String,
    /// How many to cut, and from what.
    pub cut: Cut,
    /// The cut line, closed, counter-clockwise: what must lie inside the medium and clear of its neighbours.
    pub outline: BezPath,
    /// The grainline, from tail to head.
    pub grain: [Point; 2],
    /// Whether one of its edges lies on a fold.
    pub on_fold: bool,
    /// All that is drawn or cut, the cut line included.
    pub strokes: Vec<Stroke>,
}
