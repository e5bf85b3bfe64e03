//! DXF after ASTM D6673 ("after", never conforming to it: what is uncertain of it is left out): release 12, 7-bit ASCII,
//! a block for each piece and size in the piece's own coordinates, layers by number, curves as polylines whose vertices
//! are marked as turn or curve points.

use super::super::flat::flatten;
use super::{Tags, section};
use crate::calibrate::CorrectedJob;
use crate::geom::path::{is_closed, tangent};
use crate::order::JobStroke;
use crate::role::Role;
use crate::units::trimmed;
use kurbo::{Affine, BezPath, ParamCurve, PathEl, PathSeg, Point, Rect, Shape};
use std::collections::{HashMap, HashSet};

/// What the file says of the pieces, and where each of them lies. Texts are 7-bit ASCII; empty ones are left out.
#[derive(Clone, Debug, PartialEq)]
pub struct Exchange {
    /// How far a chord may stray from its curve, mm.
    pub tolerance: f64,
    /// The style's name.
    pub style: String,
    /// Who made it.
    pub author: String,
    /// The day that the user set.
    pub date: String,
    /// The size that the others are compared with.
    pub sample_size: String,
    /// The pieces, by the number that the job's strokes have in `placed`.
    pub pieces: Vec<ExchangePiece>,
}

/// What the file says of one piece in one size.
#[derive(Clone, Debug, PartialEq)]
pub struct ExchangePiece {
    /// The piece's name.
    pub name: String,
    /// For whom, or which size.
    pub size: String,
    /// How many to cut.
    pub quantity: u32,
    /// Of what.
    pub material: String,
    /// What kind of piece it is.
    pub category: String,
    /// What else there is to say.
    pub annotation: String,
    /// From the piece's own coordinates to the sheet: a turn and a shift.
    pub place: Affine,
}

/// Layers by number (ASTM D6673, from memory).
mod layer {
    pub const BOUNDARY: u8 = 1;
    pub const TURN_POINTS: u8 = 2;
    pub const CURVE_POINTS: u8 = 3;
    pub const NOTCHES: u8 = 4;
    pub const MIRROR: u8 = 6;
    pub const GRAIN: u8 = 7;
    pub const INTERNAL: u8 = 8;
    pub const CUT_OUTS: u8 = 11;
    pub const DRILLS: u8 = 13;
    pub const SEW: u8 = 14;
    pub const ANNOTATION: u8 = 15;
    /// All that are written.
    pub const ALL: [u8; 11] =
        [BOUNDARY, TURN_POINTS, CURVE_POINTS, NOTCHES, MIRROR, GRAIN, INTERNAL, CUT_OUTS, DRILLS, SEW, ANNOTATION];
    /// Those whose lines have their vertices marked.
    pub const MARKED: [u8; 4] = [BOUNDARY, INTERNAL, CUT_OUTS, SEW];
}

/// Vertices nearer to each other are one, mm.
const SAME: f64 = 1e-6;

/// Where the direction changes by more there is a corner, radians.
const CORNER: f64 = 0.02;

/// Height of the texts, mm.
const LETTERS: f64 = 5.0;

/// Longest name of a block in release 12.
const LONGEST_NAME: usize = 31;

/// A job as a file after ASTM D6673. Strokes that belong to no piece of `exchange` are drawn beside the blocks.
pub fn dxf_exchange(job: &CorrectedJob, exchange: &Exchange) -> Vec<u8> {
    let stamp = job.stamp();
    let job = job.job();
    let strokes: Vec<&JobStroke> = job.passes.iter().flat_map(|pass| &pass.strokes).collect();
    let names = block_names(&exchange.pieces);
    let (mut blocks, mut entities) = (Tags::default(), Tags::default());
    for (index, (piece, name)) in exchange.pieces.iter().zip(&names).enumerate() {
        let own: Vec<&JobStroke> = strokes.iter().filter(|stroke| stroke.placed == Some(index)).copied().collect();
        block(&mut blocks, name, piece, &own, exchange.tolerance);
        insert(&mut entities, name, piece.place);
    }
    let loose = |stroke: &&&JobStroke| stroke.placed.is_none_or(|placed| placed >= exchange.pieces.len());
    for stroke in strokes.iter().filter(loose) {
        draw(&mut entities, stroke_layer(stroke, false), &stroke.path, exchange.tolerance);
    }
    let says = [
        ("Style Name", &*exchange.style),
        ("Creation Date", &*exchange.date),
        ("Author", &*exchange.author),
        ("Sample Size", &*exchange.sample_size),
        ("Units", "METRIC"),
    ];
    // Above the drawing.
    texts(&mut entities, Point::new(0.0, job.height + LETTERS * 2.0 * says.len() as f64), &says);

    let mut tags = Tags::default();
    for comment in [&*job.title, &*stamp.text, "after ASTM D6673, not conforming to it", &*job.device] {
        tags.text(999, comment);
    }
    section(&mut tags, "HEADER", |tags| header(tags, Rect::new(0.0, 0.0, job.width, job.height)));
    section(&mut tags, "TABLES", tables);
    section(&mut tags, "BLOCKS", |tags| tags.0.extend_from_slice(&blocks.0));
    section(&mut tags, "ENTITIES", |tags| tags.0.extend_from_slice(&entities.0));
    tags.put(0, "EOF");
    tags.0
}

fn header(tags: &mut Tags, bounds: Rect) {
    for (name, code, value) in [("$ACADVER", 1, "AC1009"), ("$INSUNITS", 70, "4"), ("$MEASUREMENT", 70, "1")] {
        tags.put(9, name);
        tags.put(code, value);
    }
    for (name, corner) in [("$EXTMIN", bounds.origin()), ("$EXTMAX", Point::new(bounds.x1, bounds.y1))] {
        tags.put(9, name);
        tags.point(10, corner);
    }
}

fn tables(tags: &mut Tags) {
    let head = |tags: &mut Tags, name: &str, records: usize| {
        tags.put(0, "TABLE");
        tags.put(2, name);
        tags.put(70, records);
    };
    head(tags, "LTYPE", 1);
    tags.put(0, "LTYPE");
    tags.put(2, "CONTINUOUS");
    tags.put(70, 0);
    tags.put(3, "Solid line");
    tags.put(72, 65);
    tags.put(73, 0);
    tags.real(40, 0.0);
    tags.put(0, "ENDTAB");
    head(tags, "LAYER", 1 + layer::ALL.len());
    for number in std::iter::once(0).chain(layer::ALL) {
        tags.put(0, "LAYER");
        tags.put(2, number);
        tags.put(70, 0);
        tags.put(62, 7);
        tags.put(6, "CONTINUOUS");
    }
    tags.put(0, "ENDTAB");
    head(tags, "STYLE", 1);
    tags.put(0, "STYLE");
    tags.put(2, "STANDARD");
    tags.put(70, 0);
    for (code, value) in [(40, 0.0), (41, 1.0), (50, 0.0)] {
        tags.real(code, value);
    }
    tags.put(71, 0);
    tags.real(42, LETTERS);
    tags.put(3, "txt");
    tags.put(4, "");
    tags.put(0, "ENDTAB");
}

/// A name for each block: piece and size in capitals, cut short, numbered where it would come twice.
fn block_names(pieces: &[ExchangePiece]) -> Vec<String> {
    let mut taken: HashSet<String> = HashSet::new();
    let mut numbers: HashMap<String, usize> = HashMap::new();
    let mut names = Vec::with_capacity(pieces.len());
    for piece in pieces {
        let word = |text: &str| -> String {
            text.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_uppercase() } else { '_' }).collect()
        };
        let mut whole = format!("{}-{}", word(&piece.name), word(&piece.size));
        whole.truncate(LONGEST_NAME);
        let mut name = whole.clone();
        let number = numbers.entry(whole.clone()).or_insert(1);
        while !taken.insert(name.clone()) {
            *number += 1;
            let ending = format!("-{number}");
            name = format!("{}{ending}", &whole[..whole.len().min(LONGEST_NAME - ending.len())]);
        }
        names.push(name);
    }
    names
}

fn block(tags: &mut Tags, name: &str, piece: &ExchangePiece, strokes: &[&JobStroke], tolerance: f64) {
    tags.put(0, "BLOCK");
    tags.put(8, 0);
    tags.put(2, name);
    tags.put(70, 0);
    tags.point(10, Point::ORIGIN);
    tags.put(3, name);
    let back = piece.place.inverse();
    let area = |stroke: &JobStroke| stroke.path.area().abs();
    let cuts = strokes.iter().filter(|stroke| stroke.role == Role::Cut);
    let largest = cuts.map(|stroke| area(stroke)).fold(0.0, f64::max);
    let mut layered: Vec<(u8, BezPath)> =
        strokes.iter().map(|stroke| (stroke_layer(stroke, area(stroke) < largest), back * &stroke.path)).collect();
    layered.sort_by_key(|(layer, _)| *layer);
    for (layer, path) in &layered {
        draw(tags, *layer, path, tolerance);
    }
    let quantity = piece.quantity.to_string();
    let says = [
        ("Piece Name", &*piece.name),
        ("Size", &*piece.size),
        ("Quantity", &*quantity),
        ("Material", &*piece.material),
        ("Category", &*piece.category),
        ("Annotation", &*piece.annotation),
    ];
    let grain = layered.iter().find(|(layer, _)| *layer == layer::GRAIN).map(|(_, path)| path.bounding_box().center());
    let middle = layered.first().map_or(Point::ORIGIN, |(_, path)| path.bounding_box().center());
    texts(tags, grain.unwrap_or(middle), &says);
    tags.put(0, "ENDBLK");
    tags.put(8, 0);
}

/// The layer of a stroke; a cut `inside` the piece is a cut-out.
fn stroke_layer(stroke: &JobStroke, inside: bool) -> u8 {
    match stroke.role {
        Role::Cut if inside => layer::CUT_OUTS,
        Role::Cut => layer::BOUNDARY,
        Role::Sew => layer::SEW,
        Role::Notch => layer::NOTCHES,
        Role::Grain => layer::GRAIN,
        Role::Fold => layer::MIRROR,
        Role::Drill => layer::DRILLS,
        Role::Line | Role::Dart => layer::INTERNAL,
        Role::Label | Role::Square => layer::ANNOTATION,
    }
}

fn insert(tags: &mut Tags, name: &str, place: Affine) {
    let [a, b, _, _, x, y] = place.as_coeffs();
    tags.put(0, "INSERT");
    tags.put(8, 0);
    tags.put(2, name);
    tags.point(10, Point::new(x, y));
    // Nine decimals: a thousandth of a micrometre at the end of a piece of ten metres.
    tags.put(50, trimmed(b.atan2(a).to_degrees().rem_euclid(360.0), 9));
}

/// A line of text each, one below the other from a point on.
fn texts(tags: &mut Tags, from: Point, says: &[(&str, &str)]) {
    for (line, (key, value)) in says.iter().filter(|(_, value)| !value.is_empty()).enumerate() {
        tags.put(0, "TEXT");
        tags.put(8, layer::ANNOTATION);
        tags.point(10, Point::new(from.x, from.y - 1.5 * LETTERS * line as f64));
        tags.real(40, LETTERS);
        tags.text(1, &format!("{key}: {value}"));
    }
}

/// A stroke as a `POINT` where it has no length, a `LINE` where it is one and its ends are not marked, or else a `POLYLINE`.
fn draw(tags: &mut Tags, layer: u8, path: &BezPath, tolerance: f64) {
    let vertices = vertices(path, tolerance);
    let marked = layer::MARKED.contains(&layer);
    match &vertices[..] {
        [] => {}
        [only] => point(tags, layer, only.at),
        [from, to] if !marked => {
            tags.put(0, "LINE");
            tags.put(8, layer);
            tags.point(10, from.at);
            tags.point(11, to.at);
        }
        _ => {
            tags.put(0, "POLYLINE");
            tags.put(8, layer);
            tags.put(66, 1);
            tags.point(10, Point::ORIGIN);
            tags.put(70, u8::from(is_closed(path)));
            for vertex in &vertices {
                tags.put(0, "VERTEX");
                tags.put(8, layer);
                tags.point(10, vertex.at);
            }
            tags.put(0, "SEQEND");
            tags.put(8, layer);
            for vertex in vertices.iter().filter(|_| marked) {
                point(tags, if vertex.turns { layer::TURN_POINTS } else { layer::CURVE_POINTS }, vertex.at);
            }
        }
    }
}

fn point(tags: &mut Tags, layer: u8, at: Point) {
    tags.put(0, "POINT");
    tags.put(8, layer);
    tags.point(10, at);
}

/// A vertex of a polyline.
struct Vertex {
    at: Point,
    /// Whether it is a turn point: a corner, an end, or where a straight side begins or ends. Else the line runs through it
    /// in a curve.
    turns: bool,
}

/// The vertices of a path of one subpath; a closed one does not come back to its first.
fn vertices(path: &BezPath, tolerance: f64) -> Vec<Vertex> {
    let segments: Vec<PathSeg> = path.segments().filter(|segment| !is_crumb(segment)).collect();
    let Some(first) = segments.first() else {
        // A line of no length; a mere move draws nothing.
        let dot = path.elements().first().filter(|_| path.elements().len() > 1).and_then(PathEl::end_point);
        return dot.map(|at| Vertex { at, turns: true }).into_iter().collect();
    };
    let closed = is_closed(path);
    let joint = |before: &PathSeg, after: &PathSeg| {
        let (a, b) = (tangent(before, 1.0), tangent(after, 0.0));
        let straight = |segment: &PathSeg| matches!(segment, PathSeg::Line(_));
        straight(before) || straight(after) || a.cross(b).atan2(a.dot(b)).abs() > CORNER
    };
    let last = &segments[segments.len() - 1];
    let mut vertices = vec![Vertex { at: first.start(), turns: !closed || joint(last, first) }];
    for (index, segment) in segments.iter().enumerate() {
        let mut points = Vec::new();
        match segment {
            PathSeg::Line(line) => points.push(line.p1),
            curve => flatten(&curve.to_cubic(), tolerance, &mut points),
        }
        vertices.extend(points.into_iter().map(|at| Vertex { at, turns: false }));
        if let Some(end) = vertices.last_mut() {
            end.turns = segments.get(index + 1).map_or(!closed, |next| joint(segment, next));
        }
    }
    if closed {
        vertices.pop();
    }
    vertices
}

/// Whether a segment is as good as a point.
fn is_crumb(segment: &PathSeg) -> bool {
    let cubic = segment.to_cubic();
    [cubic.p1, cubic.p2, cubic.p3].iter().all(|p| p.distance(cubic.p0) < SAME)
}
