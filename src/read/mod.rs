//! Files read back into bare paths. Calls nothing in `write`, `order` or `calibrate`; comments, titles and `data-*`
//! are ignored.

use kurbo::BezPath;

/// What a file draws, in millimetres, y up, origin at the lower left of the page.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// The page's width where the format has one, mm.
    pub width: Option<f64>,
    /// The page's height where the format has one, mm.
    pub height: Option<f64>,
    /// Every path, one subpath each.
    pub paths: Vec<BarePath>,
}

/// One path of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct BarePath {
    /// The layer, group or pen that it is on.
    pub layer: String,
    /// One subpath, open or closed.
    pub path: BezPath,
}
