//! Sizes of one piece laid over one another, at the point that their drafts start from: each size's lines of a line type
//! of their own, its name beside its cut line, and a key.

use super::ground::{Ground, Spot, upright};
use super::label::{READABLE, ink};
use super::signs::{PLACE_ON_FOLD, arrow, fold_bracket};
use super::{MarkedPiece, Stroke, polyline};
use crate::diag::{Finding, Result};
use crate::geom::dash::{dashed, of_size};
use crate::geom::{parts, path};
use crate::role::Role;
use crate::text::{Font, letter_with};
use geo::{Area, LineString, Polygon, unary_union};
use kurbo::{Affine, BezPath, Point, Rect, Shape, Vec2};
use std::f64::consts::FRAC_PI_2;

/// Heights that a size's name is written in, mm, the first that has room.
const NAMES: [f64; 3] = [3.0, 2.2, 1.6];
/// From a cut line to the name beside it, mm.
const BESIDE: f64 = 1.2;
/// Where its line bends away, a name's ends are no further from it, mm.
const BENT: f64 = 3.0;
/// Places that are tried for a name stand so far apart, mm.
const STEP: f64 = 6.0;
/// A name stands where the lines of other sizes are so far from its own, mm, or else where they are furthest.
const APART: f64 = 6.0;
/// Lines nearer to each other than this are one line to the eye, mm.
const ONE_LINE: f64 = 1.0;
/// The edge's name of the key's strokes.
pub const KEY: &str = "key";

/// Height of the key's letters, mm, where there is room; the heading is so much larger.
const LETTERS: f64 = 4.0;
const HEADING: f64 = 1.5;
/// The key is drawn no smaller than this, of its own size.
const SMALLEST: f64 = 0.3;
/// From one line of the key to the next, and the length of a sample, in heights of its letters.
const LINE: f64 = 1.8;
const SAMPLE: f64 = 12.0;
/// Half an arm of the cross at a drill hole, mm.
const CROSS: f64 = 2.0;
/// How far the outline about all sizes may stray, mm.
const FLAT: f64 = 0.02;

/// How the lines of the sizes are told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lines {
    /// Whole here; the file's own line types dash them.
    Typed,
    /// Dash by dash, for languages that have no line types.
    Dashes,
    /// Whole, without names or key: each size is found by its own block.
    Blocks,
}

/// What a nest's key says besides what the pieces themselves know.
#[derive(Clone, Copy, Debug)]
pub struct Key<'a> {
    /// The style's name.
    pub style: &'a str,
    /// The allowances in words, line by line ([`super::allowances`]); written where there is room.
    pub allowances: &'a [String],
}

/// A nest of sizes, to be laid as one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Nest {
    /// All strokes, with the outline about all sizes.
    pub marked: MarkedPiece,
    /// For whom each size is, and its own cut line.
    pub sizes: Vec<(String, BezPath)>,
    /// To which of the sizes each stroke belongs; `None` for what belongs to none, as the key does.
    pub of: Vec<Option<usize>>,
}

/// Lays the sizes of one piece of a style over one another. `sizes` are bare pieces ([`super::bare()`]) with their numbers,
/// from 1.
///
/// # Errors
/// No size at all, or sizes that enclose nothing.
pub fn nest(
    sizes: &[(usize, &MarkedPiece)],
    key: &Key,
    lines: Lines,
    font: Option<&Font>,
) -> Result<(Nest, Vec<Finding>)> {
    let Some((_, first)) = sizes.first() else {
        return Err(Finding::error("there is no size to lay over another").into());
    };
    let outline = about_all(sizes).ok_or_else(|| Finding::error("the sizes enclose nothing").piece(&first.name))?;
    let mut nest = Nest {
        marked: MarkedPiece {
            person: sizes.iter().map(|(_, piece)| &*piece.person).collect::<Vec<_>>().join(", "),
            outline,
            strokes: Vec::new(),
            ..(*first).clone()
        },
        sizes: sizes.iter().map(|(_, piece)| (piece.person.clone(), piece.outline.clone())).collect(),
        of: Vec::new(),
    };
    if lines == Lines::Blocks {
        for (index, (_, piece)) in sizes.iter().enumerate() {
            nest.put(Some(index), piece.strokes.iter().cloned());
        }
        return Ok((nest, Vec::new()));
    }
    for (index, (number, piece)) in sizes.iter().enumerate() {
        let pattern = if lines == Lines::Dashes { of_size(*number) } else { &[] };
        nest.put(Some(index), piece.strokes.iter().flat_map(|stroke| drawn(stroke, pattern, index == 0)));
    }
    let mut findings = Vec::new();
    let mut writing = Writing { sizes, font, nest: &mut nest, findings: &mut findings };
    writing.fold(first);
    let ground = writing.names();
    writing.key(key, &ground);
    findings.sort_by(|a, b| a.message.cmp(&b.message));
    findings.dedup_by(|a, b| a.message == b.message);
    Ok((nest, findings))
}

impl Nest {
    fn put(&mut self, size: Option<usize>, strokes: impl IntoIterator<Item = Stroke>) {
        for stroke in strokes {
            self.marked.strokes.push(stroke);
            self.of.push(size);
        }
    }
}

/// The outline about all sizes, flattened.
fn about_all(sizes: &[(usize, &MarkedPiece)]) -> Option<BezPath> {
    let polygons: Vec<Polygon> = sizes.iter().map(|(_, piece)| polygon(&piece.outline)).collect();
    let largest =
        unary_union(&polygons).0.into_iter().max_by(|a, b| a.unsigned_area().total_cmp(&b.unsigned_area()))?;
    let mut points = largest.exterior().coords().map(|c| Point::new(c.x, c.y)).collect::<Vec<_>>();
    points.pop();
    let mut outline = polyline(&points);
    outline.close_path();
    Some(if outline.area() < 0.0 { outline.reverse_subpaths() } else { outline })
}

fn polygon(path: &BezPath) -> Polygon {
    let mut points: Vec<(f64, f64)> = Vec::new();
    kurbo::flatten(path, FLAT, |element| points.extend(element.end_point().map(|p| (p.x, p.y))));
    Polygon::new(LineString::from(points), Vec::new())
}

/// A bare stroke as people want it drawn: sew lines are left out (common practice of patterns for many sizes, no source),
/// grain is drawn of one size alone, holes as crosses; the fold gets its bracket ([`Writing::fold`]).
fn drawn(stroke: &Stroke, pattern: &[f64], of_first: bool) -> Vec<Stroke> {
    let as_drawn = |path| Stroke { path, ..stroke.clone() };
    let ends = path::start(&stroke.path).zip(path::end(&stroke.path));
    match (stroke.role, ends) {
        (Role::Cut, _) => dashed(&stroke.path, pattern).into_iter().map(as_drawn).collect(),
        (Role::Grain, Some((tail, tip))) if of_first && tail != tip => {
            arrow(tail, tip).into_iter().map(as_drawn).collect()
        }
        (Role::Drill, Some((at, _))) => {
            let arms = [Vec2::new(CROSS, 0.0), Vec2::new(0.0, CROSS)];
            arms.into_iter().map(|arm| as_drawn(polyline(&[at - arm, at + arm]))).collect()
        }
        (Role::Notch, Some(_)) if stroke.path.perimeter(1e-3) < 1e-6 => Vec::new(),
        (Role::Sew | Role::Grain | Role::Fold, _) => Vec::new(),
        _ => vec![as_drawn(stroke.path.clone())],
    }
}

/// What is written into a nest.
struct Writing<'a> {
    sizes: &'a [(usize, &'a MarkedPiece)],
    font: Option<&'a Font>,
    nest: &'a mut Nest,
    findings: &'a mut Vec<Finding>,
}

impl Writing<'_> {
    fn warn(&mut self, message: String, hint: &str) {
        self.findings.push(Finding::warning(message).piece(&self.nest.marked.name).hint(hint.to_owned()));
    }

    fn letters(&mut self, text: &str, height: f64) -> Vec<BezPath> {
        let written = letter_with(text, height, self.font);
        if !written.missing.is_empty() {
            let list: Vec<String> = written.missing.iter().map(|c| format!("{c} (U+{:04X})", u32::from(*c))).collect();
            let message = format!("there are no strokes for {}; a box is drawn instead", list.join(", "));
            self.warn(message, "name a font that has them with --font");
        }
        written.paths
    }

    /// Draws the bracket and its words at the fold of the first size, clear of the lines of all. It may reach over the cut
    /// lines of smaller sizes where there is no other room.
    fn fold(&mut self, first: &MarkedPiece) {
        let Some(fold) = first.strokes.iter().find(|stroke| stroke.role == Role::Fold) else { return };
        let sewn = first.strokes.iter().find(|stroke| stroke.role == Role::Sew);
        let mut ground = Ground::new(sewn.map_or(&first.outline, |sewn| &sewn.path));
        ground.take(self.nest.marked.strokes.iter().map(|stroke| &stroke.path));
        match fold_bracket(&fold.edge, &fold.path, &ground) {
            Some(strokes) => self.nest.put(Some(0), strokes),
            None => self.warn(
                format!("there is no room for the bracket that says \"{PLACE_ON_FOLD}\" at \"{}\"", fold.edge),
                "write it on the piece by hand",
            ),
        }
    }

    /// Writes each size's name along its own cut line, inside of it, clear of all else. Gives the ground that is
    /// left, that of the largest size.
    fn names(&mut self) -> Ground {
        let largest = |piece: &MarkedPiece| piece.outline.area();
        let sizes = self.sizes;
        let widest = sizes.iter().map(|(_, piece)| piece).max_by(|a, b| largest(a).total_cmp(&largest(b)));
        let mut ground = Ground::new(widest.map_or(&self.nest.marked.outline, |piece| &piece.outline));
        ground.take(self.nest.marked.strokes.iter().map(|stroke| &stroke.path));
        for (index, (number, piece)) in sizes.iter().enumerate() {
            let mut others = Ground::new(&piece.outline);
            others.take(sizes.iter().filter(|(other, _)| other != number).map(|(_, other)| &other.outline));
            let text = piece.person.clone();
            let found = NAMES.into_iter().find_map(|height| {
                let block = ink(&letter_with(&text, height, self.font).paths);
                Some((height, block, best_place(&piece.outline, block, &ground, &others)?))
            });
            let Some((height, block, spot)) = found else {
                let message = format!("there is no place beside the line of \"{}\" alone for its name", piece.person);
                self.warn(message, "its line type and the key say which it is");
                continue;
            };
            let place = spot.transform() * Affine::translate(-block.center().to_vec2());
            let paths: Vec<BezPath> = self.letters(&text, height).into_iter().map(|path| place * path).collect();
            ground.take(&paths);
            let edge = format!("size {}", piece.person);
            let label = |path| Stroke { role: Role::Label, edge: edge.clone(), path };
            self.nest.put(Some(index), paths.into_iter().map(label));
        }
        ground
    }

    /// Writes the piece's name, the style, what to cut, the allowances, and a sample of each size's line with its name, where
    /// there is most room; the allowances only where all can be read.
    fn key(&mut self, key: &Key, ground: &Ground) {
        let whole = self.block(key);
        let found = whole.place(ground, &self.nest.marked.grain);
        let (block, spot) = match found {
            Some(spot) if key.allowances.is_empty() || spot.scale * LETTERS >= READABLE => (whole, Some(spot)),
            _ => {
                let short = self.block(&Key { allowances: &[], ..*key });
                let spot = short.place(ground, &self.nest.marked.grain);
                if spot.is_some() && !key.allowances.is_empty() {
                    self.warn(
                        "the key to its sizes has no room for the allowances".into(),
                        "read them on each size's own label",
                    );
                }
                (short, spot)
            }
        };
        let Some(spot) = spot else {
            return self
                .warn("the piece has no room for the key to its sizes".into(), "read it on another of the pieces");
        };
        let place = spot.transform() * Affine::translate(-block.ink.center().to_vec2());
        let key = |path| Stroke { role: Role::Label, edge: KEY.into(), path: place * path };
        self.nest.put(None, block.paths.into_iter().map(key));
    }

    /// The key's lines, one below the other.
    fn block(&mut self, key: &Key) -> Block {
        let marked = &self.nest.marked;
        let cut = &marked.cut;
        let how = match (marked.on_fold, cut.mirrored) {
            (true, _) => " on the fold",
            (_, true) => ", mirrored",
            _ => "",
        };
        let cut = format!("cut {} of {}{how}", cut.count, cut.cloth);
        let mut lines = vec![(marked.name.clone(), LETTERS * HEADING), (key.style.into(), LETTERS), (cut, LETTERS)];
        lines.extend(key.allowances.iter().flat_map(|words| broken(words)).map(|line| (line, LETTERS)));
        let mut paths: Vec<BezPath> = Vec::new();
        let mut y = 0.0;
        for (text, height) in lines {
            y -= height * LINE;
            paths.extend(self.letters(&text, height).into_iter().map(|path| Affine::translate((0.0, y)) * path));
        }
        for (number, piece) in self.sizes {
            y -= LETTERS * LINE;
            let middle = y + LETTERS / 2.0;
            let sample = polyline(&[Point::new(0.0, middle), Point::new(LETTERS * SAMPLE, middle)]);
            paths.extend(dashed(&sample, of_size(*number)));
            let beside = Affine::translate((LETTERS * (SAMPLE + 1.0), y));
            let text = format!("{}, no. {number}", piece.person);
            paths.extend(self.letters(&text, LETTERS).into_iter().map(|path| beside * path));
        }
        Block { ink: ink(&paths).inflate(LETTERS, LETTERS), paths }
    }
}

/// The key's strokes and the box that they take up, mm.
struct Block {
    paths: Vec<BezPath>,
    ink: Rect,
}

impl Block {
    /// Where there is most room for it, along the grain or across.
    fn place(&self, ground: &Ground, grain: &[Point; 2]) -> Option<Spot> {
        let half = self.ink.size().to_vec2() / 2.0;
        let level = upright((grain[1] - grain[0]).atan2());
        let spots = [level, upright(level + FRAC_PI_2)].map(|angle| ground.view(angle).roomiest(half, SMALLEST, 1.0));
        spots.into_iter().flatten().max_by(|a, b| a.scale.total_cmp(&b.scale))
    }
}

/// A line of the key in lines no longer than about 40 letters, broken behind commas.
fn broken(words: &str) -> Vec<String> {
    const LONGEST: usize = 40;
    let mut lines: Vec<String> = Vec::new();
    for part in words.split_inclusive(", ") {
        match lines.last_mut() {
            Some(line) if line.chars().count() + part.trim_end().chars().count() <= LONGEST => line.push_str(part),
            Some(_) => lines.push(format!("  {part}")),
            None => lines.push(part.to_owned()),
        }
    }
    lines
}

/// The place inside an outline, along its line, where a box is clear of all else and the lines of other sizes are far off,
/// up to [`APART`]; the first of equals.
fn best_place(outline: &BezPath, block: Rect, ground: &Ground, others: &Ground) -> Option<Spot> {
    let half = block.size().to_vec2() / 2.0 + Vec2::new(0.6, 0.4);
    let long = path::length(outline);
    let mut best: Option<(f64, Spot)> = None;
    for step in 0..(long / STEP) as usize {
        let Some((at, along)) = path::point_at(outline, (step as f64 + 0.5) * STEP) else { continue };
        let inward = Vec2::new(-along.y, along.x);
        let centre = at + inward * (BESIDE + half.y);
        let angle = upright(along.atan2());
        let off = others.berth(&polyline(&[at, at + along * 1e-3])).min(APART);
        let enough = best.as_ref().is_none_or(|(least, _)| off > *least);
        let follows = |side: f64| {
            let end = centre + along * (side * half.x) - inward * half.y;
            parts::nearest(outline, end).is_some_and(|(_, off)| off <= BENT)
        };
        if off > ONE_LINE && enough && ground.fits(centre, angle, half) && follows(-1.0) && follows(1.0) {
            best = Some((off, Spot { centre, angle, scale: 1.0 }));
            if off >= APART {
                break;
            }
        }
    }
    best.map(|(_, spot)| spot)
}
