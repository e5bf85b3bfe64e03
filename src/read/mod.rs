//! Files read back into bare paths, and drawings of other programs into pieces (`pieces`). Calls nothing in `write`, `order` or `calibrate`; comments, titles and `data-*`
//! are ignored.
//!
//! Any bytes give a drawing or an error: sizes, counts and depths are bounded, and what a file draws that can't be read
//! is named in a finding.

mod dxf;
mod hpgl;
mod nurbs;
mod origin;
mod path_data;
mod pdf;
pub mod pieces;
mod rs274;
mod svg;

pub use dxf::{dxf, exchange_dxf, named_dxf};
pub use hpgl::hpgl;
pub use origin::made_for_a_machine;
pub use pdf::{Glue, pdf};
pub use rs274::rs274;
pub use svg::{named_svg, svg};

use crate::diag::{Finding, Result};
use crate::units::LONGEST;
use kurbo::{BezPath, PathEl, Point};
use std::collections::BTreeMap;

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

/// A drawing with what a proof ignores: what its paths are called, writing, single points.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedDrawing {
    /// The paths.
    pub drawing: Drawing,
    /// What each path is called, in the paths' order.
    pub names: Vec<PathName>,
    /// Writing and single points.
    pub notes: Vec<Note>,
    /// Whether the file says how long its units are.
    pub to_scale: bool,
    /// Millimetres in a unit where the file only lets one guess: what its user says counts for more.
    pub guessed: Option<f64>,
}

/// What a path is called in its file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PathName {
    /// Its own label or id.
    pub own: String,
    /// Its classes, then labels, ids and layers of what it lies in, from the inside outward.
    pub around: Vec<String>,
    /// Paths of different blocks that are placed in the drawing have different numbers; 0 lies in none.
    pub block: usize,
}

/// A text, or without one a point.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// Where it begins, mm.
    pub at: Point,
    /// The text; empty for a point.
    pub text: String,
    /// What it is called and lies in.
    pub name: PathName,
}

/// Larger files are refused, bytes. A sheet of 10,000 strokes is about 5 MB, flattened ten times that.
const MOST_BYTES: usize = 64 << 20;
/// Drawings of more paths are refused.
const MOST_PATHS: usize = 200_000;
/// Drawings of more texts and points are refused: after ASTM D6673 each vertex has a point, about 300 to a piece.
const MOST_NOTES: usize = 500_000;
/// Drawings of more segments are refused.
const MOST_SEGMENTS: usize = 2_000_000;
/// Groups and blocks nested deeper are refused.
const DEEPEST: usize = 128;
/// What a line is called and lies in tells by its first characters; no more of a name is kept.
const LONGEST_NAME: usize = 200;
/// Drawings whose names and writing are longer than this all together are refused, bytes.
const MOST_NAMES: usize = 64 << 20;
/// More kinds of things that are left out are counted as one.
const MOST_KINDS: usize = 50;
/// How far a circular arc turned into cubics may stray, mm: a tenth of what a proof allows for everything together
/// besides flattening and grid.
const ARC_TOLERANCE: f64 = 5e-4;

/// Gathers the paths of a file and refuses what no drawing needs.
struct Gathered<'a> {
    file: &'a str,
    paths: Vec<BarePath>,
    names: Vec<PathName>,
    notes: Vec<Note>,
    /// Whether names, writing and points are gathered too.
    naming: bool,
    /// What the next path is called.
    name: PathName,
    segments: usize,
    /// Bytes of names and writing.
    named: usize,
    /// What was left out, with how often.
    left_out: BTreeMap<String, usize>,
}

impl<'a> Gathered<'a> {
    fn new(file: &'a str) -> Self {
        Self {
            file,
            paths: Vec::new(),
            names: Vec::new(),
            notes: Vec::new(),
            naming: false,
            name: PathName::default(),
            segments: 0,
            named: 0,
            left_out: BTreeMap::new(),
        }
    }

    /// Takes a path apart into its subpaths. Subpaths that draw nothing are dropped.
    fn add(&mut self, layer: &str, path: &BezPath) -> Result<()> {
        self.check_room(path)?;
        let mut current = BezPath::new();
        let mut start = Point::ORIGIN;
        for &element in path.elements() {
            match element {
                PathEl::MoveTo(p) => {
                    self.finish(layer, &mut current)?;
                    start = p;
                    current.move_to(p);
                }
                PathEl::ClosePath if current.elements().is_empty() => {}
                PathEl::ClosePath => {
                    if current.elements().len() == 1 {
                        current.line_to(start); // a dot
                    }
                    current.close_path();
                    self.finish(layer, &mut current)?;
                }
                drawn => {
                    if current.elements().is_empty() {
                        current.move_to(start);
                    }
                    current.push(drawn);
                }
            }
        }
        self.finish(layer, &mut current)
    }

    fn finish(&mut self, layer: &str, current: &mut BezPath) -> Result<()> {
        let path = std::mem::take(current);
        if path.elements().len() < 2 {
            return Ok(());
        }
        let within = |p: &Point| p.x.abs() <= LONGEST && p.y.abs() <= LONGEST;
        let all_within = path.elements().iter().all(|element| match element {
            PathEl::MoveTo(p) | PathEl::LineTo(p) => within(p),
            PathEl::QuadTo(a, p) => within(a) && within(p),
            PathEl::CurveTo(a, b, p) => within(a) && within(b) && within(p),
            PathEl::ClosePath => true,
        });
        if !all_within {
            return Err(self.refused("a point lies more than 100 m from the page's corner", "check the file's units"));
        }
        self.segments += path.elements().len() - 1;
        if self.paths.len() >= MOST_PATHS || self.segments > MOST_SEGMENTS {
            return Err(self.too_much());
        }
        self.paths.push(BarePath { layer: layer.into(), path });
        if self.naming {
            self.names.push(self.name.clone());
        }
        Ok(())
    }

    /// Refuses a path that has grown beyond what a whole drawing may have, also while it is still growing.
    fn check_room(&self, path: &BezPath) -> Result<()> {
        if path.elements().len() > MOST_SEGMENTS { Err(self.too_much()) } else { Ok(()) }
    }

    fn too_much(&self) -> Box<Finding> {
        let most = format!("the drawing has more than {MOST_PATHS} paths or {MOST_SEGMENTS} segments");
        self.refused(&most, "split it into several files")
    }

    /// Says what the next path or note is called: its own name, and from the inside outward what it lies in.
    fn call<'n>(&mut self, own: &str, around: impl Iterator<Item = &'n str>, block: usize) -> Result<()> {
        let own = beginning(own, LONGEST_NAME).trim().to_owned();
        let around: Vec<String> = around.map(|name| beginning(name, LONGEST_NAME).to_owned()).collect();
        self.count_letters(own.len() + around.iter().map(String::len).sum::<usize>())?;
        self.name = PathName { own, around, block };
        Ok(())
    }

    fn count_letters(&mut self, bytes: usize) -> Result<()> {
        self.named += bytes;
        if self.named > MOST_NAMES {
            let message = format!("the drawing's names and writing are longer than {} MB", MOST_NAMES >> 20);
            return Err(
                self.refused(&message, "ungroup it in the program that drew it, or split it into several files")
            );
        }
        Ok(())
    }

    /// Takes a text or a point.
    fn note(&mut self, at: Point, text: &str) -> Result<()> {
        if self.notes.len() >= MOST_NOTES {
            let most = format!("the drawing has more than {MOST_NOTES} texts and points");
            return Err(self.refused(&most, "split it into several files"));
        }
        if !(at.x.abs() <= LONGEST && at.y.abs() <= LONGEST) {
            self.leave_out("writing and points beyond 100 m");
            return Ok(());
        }
        self.count_letters(text.len())?;
        self.notes.push(Note { at, text: text.into(), name: self.name.clone() });
        Ok(())
    }

    fn leave_out(&mut self, what: &str) {
        self.leave_out_times(what, 1);
    }

    fn leave_out_times(&mut self, what: &str, times: usize) {
        let known = self.left_out.contains_key(what) || self.left_out.len() < MOST_KINDS;
        *self.left_out.entry(if known { what } else { "things of other kinds" }.into()).or_default() += times;
    }

    fn refused(&self, message: &str, hint: &str) -> Box<Finding> {
        refused(self.file, message, hint)
    }

    /// One warning for each kind of thing that was left out.
    fn warnings(&self) -> Vec<Finding> {
        self.left_out
            .iter()
            .map(|(what, times)| {
                Finding::warning(format!("{what} not read, {times} in all"))
                    .hint("turn it into plain paths in the program that drew it, if it matters")
                    .in_file(self.file)
            })
            .collect()
    }
}

/// The first bytes of a text, to a whole character.
fn beginning(text: &str, most: usize) -> &str {
    &text[..text.floor_char_boundary(most)]
}

fn refused(file: &str, message: &str, hint: &str) -> Box<Finding> {
    Box::new(Finding::error(message).hint(hint).in_file(file))
}

/// Refuses files that are too large to be a drawing of ours or anybody's.
fn check_size(bytes: &[u8], file: &str) -> Result<()> {
    if bytes.len() > MOST_BYTES {
        let message = format!("the file is larger than {} MB", MOST_BYTES >> 20);
        return Err(refused(file, &message, "split the drawing into several files"));
    }
    Ok(())
}
