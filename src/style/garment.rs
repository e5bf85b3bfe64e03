//! What a style says of several pieces together: seams, strips sewn to them, what the garment measures when worn.

use super::formula::Formula;
use crate::source::Text;

/// A seam between edges.
#[derive(Clone, Debug)]
pub struct Seam {
    /// Its name in reports.
    pub name: String,
    /// Each side's edges in walking order.
    pub sides: [Vec<SpanRef>; 2],
    /// How much longer the first side is.
    pub ease: Option<Formula>,
    /// How many times as long the first side is.
    pub ratio: Option<Formula>,
    /// Part of the second side that is left open.
    pub gap: Option<Formula>,
    /// Whether that part is at the seam's start.
    pub gap_at_start: bool,
    /// The stretch that takes up the ease: from and to, along the second side.
    pub spread: Option<[Formula; 2]>,
    /// Whether a point is wanted at the seam's start and end.
    pub pointed: [bool; 2],
    /// Only sewn where this holds.
    pub when: Option<Formula>,
}

/// A strip or flounce sewn to a measured seam.
#[derive(Clone, Debug)]
pub struct Strip {
    /// Its name.
    pub name: Text,
    /// The cloth.
    pub cloth: String,
    /// What it is sewn to, in the order of wearing; a ring's all the way round.
    pub onto: Vec<SpanRef>,
    /// The length it is cut by where it is sewn to nothing.
    pub length: Option<Formula>,
    /// How many times that seam it is long.
    pub times: Option<Formula>,
    /// Finished depth.
    pub depth: Formula,
    /// Allowance at its lower edge.
    pub hem: Formula,
    /// Allowance at its upper edge, and where its lengths are joined.
    pub join: Formula,
    /// Allowance at the two ends of a strip that is no ring.
    pub ends: Option<Formula>,
    /// Usable width of the cloth that it is cut across; one length where left out.
    pub cloth_width: Option<Formula>,
    /// Whether its ends are joined to each other.
    pub ring: bool,
    /// How many such rings the garment has: two where it goes round a sleeve's hem. One is drafted.
    pub rings: u32,
    /// For a flounce, the turns of a circle that it makes, and the sections that it is cut in.
    pub circular: Option<(Formula, Option<Formula>)>,
    /// Only made where this holds.
    pub when: Option<Formula>,
}

/// What the garment measures when worn, beside the body.
#[derive(Clone, Debug)]
pub struct Worn {
    /// Its name.
    pub name: Text,
    /// The body's measure.
    pub body: Option<Formula>,
    /// Warned of where the ease is less.
    pub least: Option<Formula>,
    /// Warned of where the ease is more.
    pub most: Option<Formula>,
    /// What is added up.
    pub parts: Vec<WornPart>,
    /// Whether every copy and fold counts, or one alone.
    pub each: bool,
    /// Only there where this holds.
    pub when: Option<Formula>,
}

/// One part of what is added up.
#[derive(Clone, Debug)]
pub enum WornPart {
    /// A piece's width at the level of a point, darts closed.
    Across(Text, Text),
    /// A piece's edge or line as sewn.
    Along(SpanRef),
    /// A formula.
    Is(Formula),
}

/// Something to warn of.
#[derive(Clone, Debug)]
pub struct Warn {
    /// What is said.
    pub text: Text,
    /// When.
    pub when: Formula,
}

/// A piece's edge in a seam.
#[derive(Clone, Debug)]
pub struct SpanRef {
    /// Where it is named.
    pub place: Text,
    /// The piece.
    pub piece: String,
    /// The edge or line.
    pub edge: String,
    /// Walked from its end.
    pub backwards: bool,
}
