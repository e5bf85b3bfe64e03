//! From the sew line to the cut line.

use crate::piece::Piece;
use kurbo::BezPath;

/// A piece with its cut line.
#[derive(Clone, Debug)]
pub struct CutPiece {
    /// The piece on its sew line.
    pub piece: Piece,
    /// The cut line: one closed subpath, counter-clockwise; along a fold it runs on the fold.
    pub cut_line: BezPath,
}
