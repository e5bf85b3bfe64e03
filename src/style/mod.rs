//! A style sheet, parsed and checked: what it needs, choices, named values, pieces in steps, seams.
//!
//! `like` and `drafted-on` are carried out here, so that every piece below holds all of its own steps.

pub mod formula;
mod read;
mod seams;

pub use read::read;

use crate::diag::Snippet;
use crate::piece::{Finish, NotchKind, Pressed};
use crate::source::Text;
use crate::units::Unit;
use formula::Formula;

/// A style sheet.
#[derive(Clone, Debug)]
pub struct Style {
    /// Its name.
    pub name: String,
    /// The unit of bare numbers.
    pub unit: Unit,
    /// Canonical names of the measures that it needs.
    pub needs: Vec<Need>,
    /// Named values that the user may set.
    pub choices: Vec<Named>,
    /// Named values.
    pub values: Vec<Named>,
    /// Named values that are found by trying.
    pub varies: Vec<Vary>,
    /// The pieces, complete.
    pub pieces: Vec<PieceSteps>,
    /// The seams.
    pub seams: Vec<Seam>,
    /// The order of sewing, a sentence a step.
    pub sewing: Vec<String>,
    /// The file's name as the user gave it.
    pub file: String,
}

/// A measure that a style needs.
#[derive(Clone, Debug)]
pub struct Need {
    /// Canonical name.
    pub name: String,
    /// Where the style says so.
    pub place: Snippet,
}

/// A name and its formula.
#[derive(Clone, Debug)]
pub struct Named {
    /// The name.
    pub name: String,
    /// What it stands for.
    pub formula: Formula,
    /// What it is for, in the style's words.
    pub note: String,
}

/// A length that is varied until another comes right.
#[derive(Clone, Debug)]
pub struct Vary {
    /// The name of the length that is varied.
    pub name: Text,
    /// Its least value.
    pub least: Formula,
    /// Its greatest value.
    pub most: Formula,
    /// The length that is watched.
    pub until: Formula,
    /// What it must come to.
    pub comes_to: Formula,
}

/// A piece as steps.
#[derive(Clone, Debug)]
pub struct PieceSteps {
    /// Its name.
    pub name: Text,
    /// Copies to cut.
    pub count: u32,
    /// Whether every second one is mirrored.
    pub mirrored: bool,
    /// The cloth.
    pub cloth: String,
    /// Its points, each name once.
    pub points: Vec<PointStep>,
    /// Its edges, in the outline's order.
    pub edges: Vec<EdgeStep>,
    /// Lines inside it.
    pub lines: Vec<EdgeStep>,
    /// Its notches.
    pub notches: Vec<NotchStep>,
    /// Its darts.
    pub darts: Vec<DartStep>,
    /// Points to mark or pierce, by name.
    pub drills: Vec<Text>,
    /// Its grain.
    pub grain: Grain,
}

/// A named point.
#[derive(Clone, Debug)]
pub struct PointStep {
    /// Its name.
    pub name: Text,
    /// How it is found.
    pub how: PointHow,
}

/// How a point is found.
#[derive(Clone, Debug)]
pub enum PointHow {
    /// From another point (else from the piece's origin), so much across and down; then set level with one point or plumb
    /// with another.
    From {
        /// The point to start from.
        from: Option<Text>,
        /// To the right.
        across: Option<Formula>,
        /// Downward.
        down: Option<Formula>,
        /// Takes the height of this point.
        level_with: Option<Text>,
        /// Takes the distance from the centre line of this point.
        plumb_with: Option<Text>,
    },
    /// On an upright dropped from a point to the level of another, at a share of its depth, moved in towards the centre line.
    StraightDown {
        /// The upper end.
        from: Text,
        /// The level of the lower end.
        to: Text,
        /// The share.
        part: Formula,
        /// Towards the centre line.
        inward: Option<Formula>,
    },
    /// On an edge or line, so far along from one of its ends.
    On {
        /// The edge or line.
        edge: Text,
        /// The end to measure from; its start where left out.
        from: Option<Text>,
        /// How far.
        along: Along,
    },
    /// On the straight line from one point towards another.
    Towards {
        /// The first point.
        from: Text,
        /// The other point.
        to: Text,
        /// How far.
        along: Along,
        /// Square off that line, to the left of its direction.
        square: Option<Formula>,
    },
}

/// A distance or a share.
#[derive(Clone, Debug)]
pub enum Along {
    /// A distance.
    Distance(Formula),
    /// A share of the whole.
    Part(Formula),
}

/// An edge or an inner line.
#[derive(Clone, Debug)]
pub struct EdgeStep {
    /// Its name.
    pub name: Text,
    /// The point it starts from.
    pub from: Text,
    /// The point it ends at.
    pub to: Text,
    /// The points it passes.
    pub through: Vec<(Text, Option<Heading>)>,
    /// How it leaves the start.
    pub leaving: Option<Heading>,
    /// How it arrives at the end.
    pub arriving: Option<Heading>,
    /// Allowance; none for inner lines and folds.
    pub allow: Option<Formula>,
    /// Whether the piece is unfolded about it.
    pub fold: bool,
    /// The corner at its end.
    pub corner: Finish,
    /// Whether it is part of the piece; false for another piece's edges, kept to find points by.
    pub drawn: bool,
}

/// A direction.
#[derive(Clone, Debug)]
pub enum Heading {
    /// Square to an edge or line where the two meet.
    SquareTo(Text),
    /// In the direction of an edge or line where the two meet.
    Along(Text),
    /// Towards a point.
    Towards(Text),
    /// Horizontal.
    Level,
    /// Vertical.
    Upright,
}

/// A notch.
#[derive(Clone, Debug)]
pub struct NotchStep {
    /// The edge.
    pub on: Text,
    /// The end to measure from; the edge's start where left out.
    pub from: Option<Text>,
    /// How far.
    pub at: Along,
    /// Two side by side.
    pub double: bool,
    /// Its shape.
    pub kind: NotchKind,
}

/// A dart.
#[derive(Clone, Debug)]
pub struct DartStep {
    /// The edge that it opens at.
    pub on: Text,
    /// The end to measure from; the edge's start where left out.
    pub from: Option<Text>,
    /// Its middle along the edge.
    pub at: Along,
    /// What it takes in.
    pub intake: Formula,
    /// Its point.
    pub point: Text,
    /// The side it is pressed to.
    pub pressed: Pressed,
}

/// The direction of the grain.
#[derive(Clone, Debug)]
pub enum Grain {
    /// Upright in the draft.
    Upright,
    /// Across the draft.
    Level,
    /// At 45° to the upright.
    OnTheCross,
    /// Along a straight edge or line.
    Along(Text),
}

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
    /// Whether a point is wanted at the seam's start and end.
    pub pointed: [bool; 2],
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

impl Style {
    /// The piece of that name.
    pub fn piece(&self, name: &str) -> Option<&PieceSteps> {
        self.pieces.iter().find(|piece| piece.name.text == name)
    }
}

impl PieceSteps {
    /// The edge or inner line of that name.
    pub fn edge(&self, name: &str) -> Option<&EdgeStep> {
        self.edges.iter().chain(&self.lines).find(|edge| edge.name.text == name)
    }

    /// The point of that name.
    pub fn point(&self, name: &str) -> Option<&PointStep> {
        self.points.iter().find(|point| point.name.text == name)
    }
}
