//! Files after ASTM D6673 read for a proof: what their layers, blocks and points say, as roles.

use crate::diag::{Finding, Result};
use crate::read::{BarePath, Drawing};
use kurbo::{BezPath, PathEl, Point};
use std::collections::{BTreeSet, HashMap};

/// A point this near to a vertex marks it, mm.
const SAME: f64 = 1e-3;

/// What is said of paths that no such file should hold; a proof finds them on no sheet.
const LOOSE: &str = "outside of any block";
const SECOND: &str = "second boundary of a block";
const UNMARKED: &str = "vertex that no turn or curve point marks";
const STRAY: &str = "turn or curve point at no vertex";

/// Layers by number after ASTM D6673 (from memory): what each is for, and whether its lines have marked vertices.
const LAYERS: [(&str, &str, bool); 9] = [
    ("1", "cut", true),
    ("4", "notch", false),
    ("6", "fold", false),
    ("7", "grain", false),
    ("8", "line", true),
    ("11", "cut", true),
    ("13", "drill", false),
    ("14", "sew", true),
    ("15", "annotation", false),
];

/// What a file after ASTM D6673 draws, in millimetres, y up: each path on the layer of its role, points of notches and
/// drill holes as lines of no length. Turn and curve points are compared with the vertices and taken out; what is left of
/// either stands on a layer that says so, as does what lies outside of a block.
///
/// # Errors
/// As [`super::dxf()`].
pub fn exchange_dxf(bytes: &[u8], file: &str) -> Result<(Drawing, Vec<Finding>)> {
    let (named, findings) = super::named_dxf(bytes, file)?;
    let mut paths = Vec::new();
    let mut points = Points::default();
    for note in named.notes.iter().filter(|note| note.text.is_empty()) {
        match note.name.around.first().map_or("", String::as_str) {
            "2" | "3" => points.add(note.at),
            layer => paths.push(BarePath { layer: meaning(layer, note.name.block).into(), path: dot(note.at) }),
        }
    }
    let mut bounded = BTreeSet::new();
    for (bare, name) in named.drawing.paths.into_iter().zip(&named.names) {
        if LAYERS.iter().any(|(number, _, marked)| *marked && *number == bare.layer) {
            for vertex in bare.path.elements().iter().filter_map(PathEl::end_point) {
                if !points.take(vertex) {
                    paths.push(BarePath { layer: UNMARKED.into(), path: dot(vertex) });
                }
            }
        }
        let second = bare.layer == "1" && name.block > 0 && !bounded.insert(name.block);
        let layer = if second { SECOND } else { meaning(&bare.layer, name.block) };
        paths.push(BarePath { layer: layer.into(), path: bare.path });
    }
    paths.extend(points.left().map(|point| BarePath { layer: STRAY.into(), path: dot(point) }));
    Ok((Drawing { paths, ..named.drawing }, findings))
}

/// What a layer is for; pieces lie in blocks.
fn meaning(layer: &str, block: usize) -> &str {
    match LAYERS.iter().find(|(number, ..)| *number == layer) {
        Some((_, role, _)) if block > 0 || *role == "annotation" => role,
        Some(_) => LOOSE,
        None => layer,
    }
}

fn dot(at: Point) -> BezPath {
    [PathEl::MoveTo(at), PathEl::LineTo(at)].into_iter().collect()
}

/// Points by place.
#[derive(Default)]
struct Points(HashMap<(i64, i64), Vec<Point>>);

impl Points {
    fn cell(p: Point) -> (i64, i64) {
        ((p.x / SAME).floor() as i64, (p.y / SAME).floor() as i64)
    }

    fn add(&mut self, p: Point) {
        self.0.entry(Self::cell(p)).or_default().push(p);
    }

    /// Takes one point at a place; whether there is one.
    fn take(&mut self, p: Point) -> bool {
        let (x, y) = Self::cell(p);
        for cell in (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (x.saturating_add(dx), y.saturating_add(dy)))) {
            let Some(points) = self.0.get_mut(&cell) else { continue };
            if let Some(index) = points.iter().position(|other| other.distance(p) <= SAME) {
                points.swap_remove(index);
                return true;
            }
        }
        false
    }

    /// Those that were not taken, in the order of their places.
    fn left(self) -> impl Iterator<Item = Point> {
        let mut left: Vec<Point> = self.0.into_values().flatten().collect();
        left.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
        left.into_iter()
    }
}
