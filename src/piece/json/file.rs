//! What stands in a pieces file, field by field, and pieces put into it.

use super::{VERSION, path_text};
use crate::piece::{Cut, Fastening, Finish, Join, NotchKind, Piece, PieceSet, Pressed};
use crate::units::Unit;
use kurbo::Point;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileSet {
    pub oaktag: String,
    #[serde(default = "millimetre")]
    pub unit: Unit,
    #[serde(default)]
    pub style: String,
    #[serde(default, rename = "for")]
    pub person: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub taken: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub choices: Vec<(String, String)>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub toile: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sewing: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notions: Vec<String>,
    pub pieces: Vec<FilePiece>,
    #[serde(default)]
    pub joins: Vec<FileJoin>,
}

fn millimetre() -> Unit {
    Unit::Millimetre
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FilePiece {
    pub name: String,
    #[serde(default)]
    pub cut: Cut,
    pub edges: Vec<FileEdge>,
    #[serde(default)]
    pub corners: Vec<FileCorner>,
    #[serde(default)]
    pub notches: Vec<FileNotch>,
    #[serde(default)]
    pub darts: Vec<FileDart>,
    #[serde(default)]
    pub pleats: Vec<FilePleat>,
    #[serde(default)]
    pub grain: Option<[[f64; 2]; 2]>,
    #[serde(default)]
    pub drills: Vec<[f64; 2]>,
    #[serde(default)]
    pub lines: Vec<FileLine>,
    /// Points to sew buttons to.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub buttons: Vec<[f64; 2]>,
    /// Each from the end that the button draws to, to its other end.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub buttonholes: Vec<[[f64; 2]; 2]>,
    /// Added by `allow`; ignored when read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut_line: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileEdge {
    pub name: String,
    pub path: String,
    #[serde(default)]
    pub allowance: f64,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub fold: bool,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileCorner {
    pub after: String,
    pub finish: Finish,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileNotch {
    pub edge: String,
    pub at: f64,
    #[serde(default)]
    pub kind: NotchKind,
    #[serde(default = "single")]
    pub count: u8,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth: Option<f64>,
}

fn single() -> u8 {
    1
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileDart {
    pub edge: String,
    pub mouth: [f64; 2],
    pub apex: [f64; 2],
    #[serde(default)]
    pub pressed: Pressed,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FilePleat {
    pub edge: String,
    pub mouth: [f64; 2],
    #[serde(default)]
    pub length: f64,
    #[serde(default)]
    pub pressed: Pressed,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileLine {
    pub name: String,
    pub path: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FileJoin {
    #[serde(default)]
    pub name: String,
    pub sides: [Vec<String>; 2],
    #[serde(default)]
    pub ease: f64,
    #[serde(default = "one_to_one")]
    pub ratio: f64,
    #[serde(default)]
    pub gap: f64,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub gap_at_start: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ease_between: Option<[f64; 2]>,
    #[serde(default)]
    pub pointed: [bool; 2],
}

fn one_to_one() -> f64 {
    1.0
}

/// Pieces as text, each with its cut line where there is one.
pub fn to_text(set: &PieceSet, cut_line: impl Fn(usize) -> Option<String>) -> String {
    let file = FileSet {
        oaktag: VERSION.into(),
        unit: set.unit,
        style: set.style.clone(),
        person: set.person.clone(),
        taken: set.taken.clone(),
        choices: set.choices.clone(),
        toile: set.toile.clone(),
        sewing: set.sewing.clone(),
        notions: set.notions.clone(),
        pieces: set.pieces.iter().enumerate().map(|(i, piece)| to_piece(piece, cut_line(i))).collect(),
        joins: set.joins.iter().map(to_join).collect(),
    };
    let mut text = serde_json::to_string_pretty(&file).expect("plain data serialises");
    text.push('\n');
    text
}

fn to_piece(piece: &Piece, cut_line: Option<String>) -> FilePiece {
    let pair = |p: Point| [p.x, p.y];
    FilePiece {
        name: piece.name.clone(),
        cut: piece.cut.clone(),
        edges: piece
            .edges
            .iter()
            .map(|edge| FileEdge {
                name: edge.name.clone(),
                path: path_text(&edge.path),
                allowance: edge.allowance,
                fold: edge.fold,
            })
            .collect(),
        corners: piece.edges.iter().map(|edge| FileCorner { after: edge.name.clone(), finish: edge.corner }).collect(),
        notches: piece
            .notches
            .iter()
            .map(|n| FileNotch { edge: n.edge.clone(), at: n.at, kind: n.kind, count: n.count, depth: n.depth })
            .collect(),
        darts: piece
            .darts
            .iter()
            .map(|d| FileDart { edge: d.edge.clone(), mouth: d.mouth, apex: pair(d.apex), pressed: d.pressed })
            .collect(),
        pleats: piece
            .pleats
            .iter()
            .map(|p| FilePleat { edge: p.edge.clone(), mouth: p.mouth, length: p.length, pressed: p.pressed })
            .collect(),
        grain: Some(piece.grain.map(pair)),
        drills: piece.drills.iter().copied().map(pair).collect(),
        lines: piece
            .lines
            .iter()
            .map(|line| FileLine { name: line.name.clone(), path: path_text(&line.path) })
            .collect(),
        buttons: piece
            .fastenings
            .iter()
            .filter_map(|fastening| match fastening {
                Fastening::Button(at) => Some(pair(*at)),
                Fastening::Buttonhole(..) => None,
            })
            .collect(),
        buttonholes: piece
            .fastenings
            .iter()
            .filter_map(|fastening| match fastening {
                Fastening::Button(_) => None,
                Fastening::Buttonhole(from, to) => Some([pair(*from), pair(*to)]),
            })
            .collect(),
        cut_line,
    }
}

fn to_join(join: &Join) -> FileJoin {
    FileJoin {
        name: join.name.clone(),
        sides: [0, 1].map(|side| join.sides[side].iter().map(ToString::to_string).collect()),
        ease: join.ease,
        ratio: join.ratio,
        gap: join.gap,
        gap_at_start: join.fit.gap_at_start,
        ease_between: join.fit.ease_between,
        pointed: join.pointed,
    }
}
