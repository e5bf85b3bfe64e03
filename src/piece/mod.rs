//! A piece on its sew line, and how pieces join.
//!
//! Coordinates are millimetres, y up; the edges run counter-clockwise, each starting where the last one ended. A piece
//! here is complete: every edge has its allowance, and every corner its finish.

pub mod json;

use crate::geom::path;
use crate::units::Unit;
use kurbo::{Affine, BezPath, Point};
use serde::{Deserialize, Serialize};

/// All that a draft produces for one person: the content of a `*.pieces.json` file.
#[derive(Clone, Debug, PartialEq)]
pub struct PieceSet {
    /// The style's name.
    pub style: String,
    /// Whom it is drafted for: a person's name or a size.
    pub person: String,
    /// The unit that reports use.
    pub unit: Unit,
    /// The date the measures were taken, as the user wrote it; empty where unknown.
    pub taken: String,
    /// The choices that shaped the draft, ease first of all: name and length or number as people read it.
    pub choices: Vec<(String, String)>,
    /// The day the toile passed, as the user wrote it; empty where none did.
    pub toile: String,
    /// The order of sewing, a sentence a step.
    pub sewing: Vec<String>,
    /// What to buy besides cloth, a line each.
    pub notions: Vec<String>,
    /// The pieces, in the style's order.
    pub pieces: Vec<Piece>,
    /// The seams between them.
    pub joins: Vec<Join>,
}

/// One piece, on the net (sew) line.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Its name in the style.
    pub name: String,
    /// How many to cut, and from what.
    pub cut: Cut,
    /// The outline, counter-clockwise, without gaps.
    pub edges: Vec<Edge>,
    /// Balance marks on the edges.
    pub notches: Vec<Notch>,
    /// Darts that open at an edge.
    pub darts: Vec<Dart>,
    /// Pleats that open at an edge.
    pub pleats: Vec<Pleat>,
    /// The grainline, from tail to head.
    pub grain: [Point; 2],
    /// Points to pierce or mark.
    pub drills: Vec<Point>,
    /// Lines inside the piece.
    pub lines: Vec<InnerLine>,
    /// Buttons and buttonholes.
    pub fastenings: Vec<Fastening>,
}

/// How many copies of a piece, and from which cloth.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cut {
    /// Copies to cut, the mirrored ones included.
    #[serde(default = "one")]
    pub count: u32,
    /// Whether every second copy is a mirror image.
    #[serde(default)]
    pub mirrored: bool,
    /// The cloth's name in the style.
    #[serde(default = "main_cloth")]
    pub cloth: String,
}

fn one() -> u32 {
    1
}

fn main_cloth() -> String {
    "main".into()
}

impl Default for Cut {
    fn default() -> Self {
        Self { count: one(), mirrored: false, cloth: main_cloth() }
    }
}

/// One edge of the sew line.
#[derive(Clone, Debug, PartialEq)]
pub struct Edge {
    /// Its name, unique in the piece.
    pub name: String,
    /// One open subpath of lines and cubics, in the outline's direction.
    pub path: BezPath,
    /// Width of the allowance outside it, mm, 0 or more.
    pub allowance: f64,
    /// Whether the piece is unfolded about this (straight) edge; its allowance is then 0.
    pub fold: bool,
    /// How the allowance turns the corner at this edge's end, into the next edge.
    pub corner: Finish,
}

/// Behind the names of the two edges that the top or the hem of a ring's first length is parted in: the ring is begun
/// within it.
pub const BEFORE_START: &str = " before the start";
/// As [`BEFORE_START`].
pub const BEHIND_START: &str = " behind the start";

impl Edge {
    /// Its name as a whole, where a ring is begun within it.
    pub fn whole_name(&self) -> &str {
        whole_name(&self.name)
    }
}

/// An edge's name without what says on which side of a ring's start it lies.
pub fn whole_name(edge: &str) -> &str {
    edge.strip_suffix(BEFORE_START).or_else(|| edge.strip_suffix(BEHIND_START)).unwrap_or(edge)
}

/// How the cut line turns a corner of the sew line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Finish {
    /// The two cut lines run on until they meet; beyond the limit it is bevelled.
    #[default]
    Mitre,
    /// Cut square to the bisector at the allowance's width from the corner.
    Bevel,
    /// An arc about the corner.
    Round,
    /// Each allowance ends square to its own seam, and the two squares' far corner is kept.
    Square,
    /// Each allowance ends square to its own seam; the wider one steps down to the narrower.
    Step,
    /// The allowance is mirrored about its own seam, so that turned up or pressed open its ends lie on the neighbour's
    /// cut line.
    FoldBack,
}

/// A hem or seam bent by more than this, radians, does not lie flat when its allowance is turned over: its corners are
/// mitred.
const BENT: f64 = 0.6;

impl Finish {
    /// The usual finish of the corner at each edge's end, by the kinds of the two edges that meet there; `sewn` tells the
    /// edges that are sewn to another one of their length. The allowance of a hem is folded back, so that turned up its
    /// ends lie on the neighbours' cut lines, and so are both ends of a seam's that is pressed open: under the arm, at the
    /// shoulder, at the top of a zip. All else is mitred (common practice, no source).
    ///
    /// A hem is an edge whose name has the word "hem", which is nearly straight, and whose allowance is wider than its
    /// neighbour's. A seam is pressed open where it is nearly straight, its allowance is at least as wide as its
    /// neighbour's, and that neighbour runs across it for as far as the allowance reaches.
    pub fn usual(edges: &[Edge], sewn: impl Fn(&str) -> bool) -> Vec<Self> {
        let hem = |edge: &Edge| {
            let ends = path::start_tangent(&edge.path).zip(path::end_tangent(&edge.path));
            let bend = ends.map_or(0.0, |(a, b)| a.cross(b).atan2(a.dot(b)).abs());
            edge.name.split_whitespace().any(|word| word.eq_ignore_ascii_case("hem")) && bend < BENT
        };
        let turned_up = |edge: &Edge, beside: &Edge| hem(edge) && edge.allowance > beside.allowance;
        let pressed_open = |edge: &Edge, beside: &Edge| {
            let fits = edge.allowance >= beside.allowance && path::length(&beside.path) > 2.0 * edge.allowance;
            fits && sewn(&edge.name) && path::turning(&edge.path) < BENT
        };
        let next = edges.iter().cycle().skip(1);
        edges
            .iter()
            .zip(next)
            .map(|(edge, next)| {
                let neither_bare = edge.allowance > 0.0 && next.allowance > 0.0;
                let ends = path::end_tangent(&edge.path).zip(path::start_tangent(&next.path));
                // Outward, and nearer to a right angle than to straight on or straight back.
                let across = ends.is_some_and(|(a, b)| a.cross(b) > a.dot(b).abs());
                let open = across && (pressed_open(edge, next) || pressed_open(next, edge));
                let folds = neither_bare && (open || turned_up(edge, next) || turned_up(next, edge));
                if folds { Self::FoldBack } else { Self::Mitre }
            })
            .collect()
    }
}

/// A balance mark.
#[derive(Clone, Debug, PartialEq)]
pub struct Notch {
    /// The edge's name.
    pub edge: String,
    /// Distance along the edge's sew line from its start, mm.
    pub at: f64,
    /// The shape.
    pub kind: NotchKind,
    /// Marks side by side: 1, or 2 for the back of an armhole.
    pub count: u8,
    /// How deep it is to be cut, mm; `None` leaves that to the allowance.
    pub depth: Option<f64>,
}

/// The shape of a notch.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotchKind {
    /// A single cut inward from the cut line.
    #[default]
    Slit,
    /// A V into the allowance.
    VIn,
    /// A V outward.
    VOut,
    /// A slit with a bar across its inner end.
    T,
    /// Drawn and never cut.
    Drawn,
}

/// A wedge of cloth taken out at an edge.
#[derive(Clone, Debug, PartialEq)]
pub struct Dart {
    /// The edge that it opens at.
    pub edge: String,
    /// Distances along that edge where its legs start, mm.
    pub mouth: [f64; 2],
    /// Its point.
    pub apex: Point,
    /// The side that it is pressed to.
    pub pressed: Pressed,
}

/// A fold of cloth taken in at an edge.
#[derive(Clone, Debug, PartialEq)]
pub struct Pleat {
    /// The edge that it opens at.
    pub edge: String,
    /// Distances along that edge of its two folds, mm.
    pub mouth: [f64; 2],
    /// Length of its fold lines into the piece, mm.
    pub length: f64,
    /// The side that it is pressed to.
    pub pressed: Pressed,
}

/// The side that a dart or pleat is pressed to, along the edge's direction.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pressed {
    /// Towards the edge's start.
    #[default]
    ToStart,
    /// Towards the edge's end.
    ToEnd,
    /// Spread to both sides.
    Open,
}

/// A line inside a piece.
#[derive(Clone, Debug, PartialEq)]
pub struct InnerLine {
    /// Its name, unique in the piece.
    pub name: String,
    /// The line.
    pub path: BezPath,
}

/// Where a garment is buttoned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fastening {
    /// The place that a button is sewn to.
    Button(Point),
    /// A buttonhole, from the end that the button draws to, to its other end.
    Buttonhole(Point, Point),
}

/// A seam: two chains of edges sewn to each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Join {
    /// Its name in reports.
    pub name: String,
    /// The two sides, each walked in order from the seam's start to its end.
    pub sides: [Vec<Span>; 2],
    /// How much longer the first side is, spread as ease along the seam, mm.
    pub ease: f64,
    /// How many times the second side's length the first side is, where it is gathered; 1 otherwise.
    pub ratio: f64,
    /// Length of the second side that is left open, mm.
    pub gap: f64,
    /// Where along the seam ease and gap lie.
    pub fit: Fit,
    /// Whether the style wants a point at the seam's ends, so that they need not run true.
    pub pointed: [bool; 2],
}

/// Where along a seam its ease and its gap lie.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fit {
    /// The stretch of the second side that takes up all the ease, as distances from its start, mm; outside it the sides lie
    /// flat against each other. `None` spreads the ease over the whole seam.
    pub ease_between: Option<[f64; 2]>,
    /// Whether the gap is at the seam's start; it is at the end otherwise.
    pub gap_at_start: bool,
}

/// A whole edge, or an inner line, as one link of a seam's side.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// The piece's name.
    pub piece: String,
    /// The edge's or inner line's name.
    pub edge: String,
    /// Whether it is walked from its end to its start.
    pub backwards: bool,
}

impl Fastening {
    /// Moves it.
    pub fn apply_affine(&mut self, by: Affine) {
        match self {
            Self::Button(at) => *at = by * *at,
            Self::Buttonhole(from, to) => (*from, *to) = (by * *from, by * *to),
        }
    }
}

impl PieceSet {
    /// The piece of that name.
    pub fn piece(&self, name: &str) -> Option<&Piece> {
        self.pieces.iter().find(|piece| piece.name == name)
    }
}

impl Piece {
    /// The edge of that name.
    pub fn edge(&self, name: &str) -> Option<&Edge> {
        self.edges.iter().find(|edge| edge.name == name)
    }

    /// The path of the edge or inner line of that name.
    pub fn path(&self, name: &str) -> Option<&BezPath> {
        self.edge(name)
            .map(|edge| &edge.path)
            .or_else(|| self.lines.iter().find(|line| line.name == name).map(|line| &line.path))
    }

    /// Length of an edge or inner line as it is sewn, darts and pleats closed, mm.
    pub fn sewn_length(&self, name: &str) -> Option<f64> {
        let drawn = path::length(self.path(name)?);
        Some(drawn - self.mouths(name).iter().map(|mouth| mouth[1] - mouth[0]).sum::<f64>())
    }

    /// The distance along an edge as it is sewn, of a distance along it as it is drawn, mm; within a dart or pleat, that
    /// of its seam.
    pub fn sewn_at(&self, edge: &str, at: f64) -> f64 {
        let taken = self.mouths(edge).iter().map(|mouth| at.clamp(mouth[0], mouth[1]) - mouth[0]).sum::<f64>();
        at - taken
    }

    /// The distance along an edge as it is drawn, of a distance along it as it is sewn, mm.
    pub fn drawn_at(&self, edge: &str, sewn: f64) -> f64 {
        let mut at = sewn;
        for mouth in self.mouths(edge) {
            if at > mouth[0] {
                at += mouth[1] - mouth[0];
            }
        }
        at
    }

    /// What darts and pleats take of an edge, in order along it.
    fn mouths(&self, edge: &str) -> Vec<[f64; 2]> {
        let darts = self.darts.iter().filter(|dart| dart.edge == edge).map(|dart| dart.mouth);
        let pleats = self.pleats.iter().filter(|pleat| pleat.edge == edge).map(|pleat| pleat.mouth);
        let mut mouths: Vec<[f64; 2]> = darts.chain(pleats).collect();
        mouths.sort_by(|a, b| a[0].total_cmp(&b[0]));
        mouths
    }

    /// Makes the piece larger or smaller about the origin, allowances and all.
    pub fn scale(&mut self, by: f64) {
        let larger = Affine::scale(by);
        for edge in &mut self.edges {
            edge.path.apply_affine(larger);
            edge.allowance *= by;
        }
        for notch in &mut self.notches {
            notch.at *= by;
            notch.depth = notch.depth.map(|depth| depth * by);
        }
        for dart in &mut self.darts {
            dart.mouth = dart.mouth.map(|at| at * by);
            dart.apex = larger * dart.apex;
        }
        for pleat in &mut self.pleats {
            pleat.mouth = pleat.mouth.map(|at| at * by);
            pleat.length *= by;
        }
        self.grain.iter_mut().chain(&mut self.drills).for_each(|point| *point = larger * *point);
        self.lines.iter_mut().for_each(|line| line.path.apply_affine(larger));
        self.fastenings.iter_mut().for_each(|fastening| fastening.apply_affine(larger));
    }

    /// The whole sew line as one closed path.
    pub fn outline(&self) -> BezPath {
        let mut outline = BezPath::new();
        for edge in &self.edges {
            let skip = usize::from(!outline.is_empty());
            outline.extend(edge.path.elements().iter().skip(skip).copied());
        }
        outline.close_path();
        outline
    }

    /// The fold edge, where there is one.
    pub fn fold(&self) -> Option<&Edge> {
        self.edges.iter().find(|edge| edge.fold)
    }
}

impl std::fmt::Display for Span {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}/{}{}", self.piece, self.edge, if self.backwards { " backwards" } else { "" })
    }
}
