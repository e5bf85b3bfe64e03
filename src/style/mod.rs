//! A style sheet, parsed and checked: what it needs, choices, named values, pieces in steps, seams.
//!
//! `like` and `drafted-on` are carried out here, so that every piece below holds all of its own steps.

mod check;
mod derive;
pub mod formula;
mod garment;
pub mod marks;
mod piece;
mod props;
mod read;
mod ring;
mod seams;
mod steps;
mod strip;
mod worn;

pub use garment::{Seam, SpanRef, Strip, Warn, Worn, WornPart};
pub use read::read;

use crate::diag::Snippet;
use crate::measures::Side;
use crate::piece::{Finish, NotchKind, Pressed};
use crate::source::Text;
use crate::units::Unit;
use formula::Formula;
use marks::{BalanceStep, ButtonStep};

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
    /// Strips and flounces cut to measured seams.
    pub strips: Vec<Strip>,
    /// The seams.
    pub seams: Vec<Seam>,
    /// What the garment measures when worn.
    pub worn: Vec<Worn>,
    /// Things to warn of.
    pub warns: Vec<Warn>,
    /// Zips to buy: name and the length needed.
    pub zips: Vec<Named>,
    /// What else to buy besides cloth, a line each.
    pub notions: Vec<String>,
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
    /// The piece that it is like.
    pub like: Option<String>,
    /// Whether it is a block: drafted for other pieces to stand on, never cut.
    pub block: bool,
    /// Only drafted where this holds.
    pub when: Option<Formula>,
    /// Copies to cut.
    pub count: u32,
    /// Whether every second one is mirrored.
    pub mirrored: bool,
    /// The side of the body that it is drawn for, right side of the cloth up; `None` where it does not say.
    pub drawn: Option<Side>,
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
    /// Its pleats and tucks.
    pub pleats: Vec<PleatStep>,
    /// What is done to the drafted piece, in order.
    pub changes: Vec<Change>,
    /// Points to mark or pierce, by name.
    pub drills: Vec<Text>,
    /// Its balance lines.
    pub balances: Vec<BalanceStep>,
    /// Its rows of buttons and buttonholes.
    pub buttons: Vec<ButtonStep>,
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
    /// Only found so where this holds; else as the other step says.
    pub when: Option<(Formula, Box<PointStep>)>,
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
        /// Square off the edge, to the left of its direction.
        square: Option<Formula>,
    },
    /// On an edge or line where it is level with a point, or plumb with it.
    OnLevel {
        /// The edge or line.
        edge: Text,
        /// The point.
        with: Text,
        /// Plumb with it, not level.
        plumb: bool,
    },
    /// Where two edges or lines cross.
    Crossing {
        /// One edge or line.
        edge: Text,
        /// The other.
        with: Text,
        /// Of several crossings the one nearest to this point.
        nearest: Option<Text>,
        /// Whether both run on straight beyond their ends.
        extended: bool,
    },
    /// On an edge or line, at a straight distance from a point.
    Reaching {
        /// The point.
        from: Text,
        /// The edge or line.
        line: Text,
        /// The straight distance.
        by: Formula,
        /// Of several such places the one nearest to this point.
        nearest: Option<Text>,
    },
    /// A point turned about another, counter-clockwise.
    Turned {
        /// The middle.
        about: Text,
        /// The point that is turned.
        from: Text,
        /// An angle, or a distance along the circle.
        turn: Formula,
    },
    /// The mirror image of a point in a straight edge or line.
    Mirrored {
        /// The point.
        of: Text,
        /// The edge or line.
        line: Text,
        /// Whether it is the image's own side of the body that the point is drafted for.
        other_side: bool,
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

impl Along {
    /// The formula as written.
    pub fn source(&self) -> &Text {
        match self {
            Self::Distance(formula) | Self::Part(formula) => formula.source(),
        }
    }
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
    /// How it runs between the two.
    pub how: EdgeHow,
    /// Only drawn so where this holds; else as the other step says.
    pub when: Option<(Formula, Option<Box<EdgeStep>>)>,
    /// Allowance; none for inner lines and folds.
    pub allow: Option<Formula>,
    /// Whether the piece is unfolded about it.
    pub fold: bool,
    /// The corner at its end, where the style names its finish; else the usual one.
    pub corner: Option<Finish>,
    /// Whether it is part of the piece; false for another piece's edges, kept to find points by.
    pub drawn: bool,
}

/// How an edge runs.
#[derive(Clone, Debug)]
pub enum EdgeHow {
    /// Straight, or a curve through points.
    Curve {
        /// What it passes on its way.
        through: Vec<Passing>,
        /// How it leaves the start.
        leaving: Option<Heading>,
        /// How it arrives at the end.
        arriving: Option<Heading>,
    },
    /// An arc about a point.
    Arc {
        /// The middle.
        about: Text,
        /// Whether it runs clockwise.
        clockwise: bool,
    },
    /// The part of another edge or line between the two points.
    Along(Text),
    /// At a width from another edge or line, to its left; its ends run on straight to the neighbouring edges.
    Parallel {
        /// The edges or lines, one after another.
        of: Vec<Text>,
        /// The width; to the right where negative.
        inward: Formula,
    },
    /// The mirror image of another edge or line, drawn the other way.
    Mirrored {
        /// The edge or line.
        of: Text,
        /// The straight edge or line that it is mirrored in.
        line: Text,
        /// Whether it is the image's own side of the body that the edge is drafted for.
        other_side: bool,
    },
}

/// What a curve passes.
#[derive(Clone, Debug)]
pub enum Passing {
    /// A point, in a direction or in none that is set.
    Point(Text, Option<Heading>),
    /// A place so far along the straight line between its ends and so far to the left of it.
    Hollow {
        /// How far along.
        along: Along,
        /// How deep: a hollow, to the left of the way from start to end; a swell where negative.
        deep: Formula,
    },
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
    /// How deep it is cut; as the allowance has room for where left out.
    pub depth: Option<Formula>,
    /// Only there where this holds.
    pub when: Option<Formula>,
}

/// A dart.
#[derive(Clone, Debug)]
pub struct DartStep {
    /// The edge that it opens at.
    pub on: Text,
    /// The end to measure from; the edge's start where left out.
    pub from: Option<Text>,
    /// Its middle along the edge; where the edge is nearest to its point, if left out.
    pub at: Option<Along>,
    /// What it takes in.
    pub intake: Formula,
    /// Its point.
    pub point: Text,
    /// The side it is pressed to.
    pub pressed: Pressed,
    /// Only there where this holds.
    pub when: Option<Formula>,
}

/// A pleat, a tuck, or a row of them.
#[derive(Clone, Debug)]
pub struct PleatStep {
    /// The edge that it opens at.
    pub on: Text,
    /// The end to measure from; the edge's start where left out.
    pub from: Option<Text>,
    /// The middle of the first along the edge.
    pub at: Along,
    /// What each takes in.
    pub intake: Formula,
    /// How far its lines run into the piece.
    pub length: Formula,
    /// How many.
    pub count: Formula,
    /// From the middle of one to the middle of the next.
    pub spacing: Option<Formula>,
    /// The side it is pressed to.
    pub pressed: Pressed,
    /// Only there where this holds.
    pub when: Option<Formula>,
}

/// What is done to a drafted piece with the shears.
#[derive(Clone, Debug)]
pub enum Change {
    /// Slashed from one edge to another and spread.
    Slash {
        /// The edge that is spread.
        from: Text,
        /// The edge that is slashed to.
        to: Text,
        /// How many slashes, at equal shares of both edges.
        lines: Formula,
        /// Spread of each at the first edge.
        spread: Formula,
        /// Spread of each at the second edge; a hinge where left out.
        far: Option<Formula>,
        /// Only done where this holds.
        when: Option<Formula>,
    },
    /// A dart closed, and opened at another place.
    TurnDart {
        /// The edge that the dart opens at; its first dart.
        from: Text,
        /// The edge that it goes to.
        to: Text,
        /// Where along that edge.
        at: Along,
        /// The share of it that goes, up to 1.
        share: Option<Formula>,
        /// Only done where this holds.
        when: Option<Formula>,
    },
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

impl Style {
    /// The strip of that name.
    pub fn strip(&self, name: &str) -> Option<&Strip> {
        self.strips.iter().find(|strip| strip.name.text == name)
    }

    /// Whether a point, edge or line of a piece is not as in the piece that it is like.
    pub fn is_new(&self, piece: &PieceSteps, name: &str) -> bool {
        let Some(parent) = piece.like.as_ref().and_then(|like| self.piece(like)) else { return true };
        // A step carries its place in the file, so that one that was taken over reads the same and no other does.
        let edges = [parent, piece].map(|piece| piece.edge(name).map(|edge| format!("{edge:?}")));
        let points = [parent, piece].map(|piece| piece.point(name).map(|point| format!("{point:?}")));
        edges[0] != edges[1] || points[0] != points[1]
    }

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

    /// Whether it was opened about a fold, so that each half is drafted for its own side of the body.
    pub fn is_unfolded(&self) -> bool {
        self.edges.iter().any(|edge| matches!(edge.how, EdgeHow::Mirrored { other_side: true, .. }))
    }

    /// The point of that name.
    pub fn point(&self, name: &str) -> Option<&PointStep> {
        self.points.iter().find(|point| point.name.text == name)
    }
}
