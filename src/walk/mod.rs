//! Joined edges walked against each other on the net line, as a careful cutter does with a pin.

use serde::Serialize;

/// What walking one seam found.
#[derive(Clone, Debug, Serialize)]
pub struct WalkedJoin {
    /// The seam's name.
    pub name: String,
    /// Every span with its length, mm, side by side.
    pub sides: [Vec<WalkedSpan>; 2],
    /// Net length of each side, mm.
    pub lengths: [f64; 2],
    /// By how much the first side should be longer than the second, mm.
    pub planned: f64,
    /// First side less second side less planned, mm.
    pub difference: f64,
    /// How the sew lines run through the seam at its start and its end: 180° is smooth; `None` where an inner line or
    /// the seam's own neighbour meets it.
    pub through: [Option<f64>; 2],
    /// Whether the seam is as planned.
    pub agrees: bool,
}

/// One link of a walked side.
#[derive(Clone, Debug, Serialize)]
pub struct WalkedSpan {
    /// Piece and edge as `Front/side`.
    pub span: String,
    /// Its net length, mm.
    pub length: f64,
}
