//! How long a drawing is looked at before it counts as a picture: recognising must end, whatever the drawing.

use crate::diag::{Finding, Result};
use kurbo::BezPath;

/// What finding a segment's nearest place takes, against asking on which side of it a point lies.
const NEAREST: usize = 20;

/// Segments that may be looked at: a few seconds. A wardrobe of 50 pieces, each of 1,000 chords with 300 lines in it, takes
/// 15 million.
const ENOUGH: usize = 100_000_000;

/// What is left of it.
pub struct Patience(usize);

impl Default for Patience {
    fn default() -> Self {
        Self(ENOUGH)
    }
}

impl Patience {
    /// Before a point's side of a path is asked.
    pub fn look(&mut self, path: &BezPath) -> Result<()> {
        self.spend(path.elements().len())
    }

    /// Before a path's place that is nearest to a point is sought, or where a line crosses it.
    pub fn measure(&mut self, path: &BezPath) -> Result<()> {
        self.spend(NEAREST * path.elements().len())
    }

    /// Before so many simple things are compared.
    pub fn spend(&mut self, looks: usize) -> Result<()> {
        self.0 = self.0.checked_sub(looks).ok_or_else(|| {
            Box::new(
                Finding::error("the drawing has too many lines in and about its outlines to be made out")
                    .hint("pictures and hatching are no pieces: take them out, or save the pieces in several files"),
            )
        })?;
        Ok(())
    }
}
