//! Everything that is drawn on a piece: notches, grain, fold bracket, drill holes, darts, inner lines, label.
//!
//! Nothing crosses the cut line: a notch outward is part of it. A notch that must not be cut, and the tick where a notch
//! meets the sew line, have the role [`Role::Line`] with their edge's name, so that a device which cuts notches leaves
//! them to the pen.

mod bare;
mod block;
mod figures;
mod grain;
mod ground;
mod label;
mod lines;
pub mod nest;
mod notch;
mod room;
mod signs;
mod slip;

pub use bare::bare;

use crate::allow::CutPiece;
use crate::device::Notches;
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::piece::{Cut, Edge, Piece};
use crate::role::Role;
use crate::text::Font;
use crate::units::Unit;
use figures::{Figures, Words};
use grain::Grain;
use ground::Ground;
use kurbo::{BezPath, ParamCurveNearest, Point, Shape};
use label::{Label, Lacking, Wording};
pub use slip::SLIP;
use std::sync::Arc;

/// One line to draw or cut, with what it is for.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// What it is for.
    pub role: Role,
    /// The edge or inner line that it belongs to; empty where none.
    pub edge: String,
    /// One subpath, open or closed, in the piece's coordinates.
    pub path: BezPath,
}

/// A piece as strokes, ready to be placed.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkedPiece {
    /// The piece's name.
    pub name: String,
    /// For whom or which size.
    pub person: String,
    /// How many to cut, and from what.
    pub cut: Cut,
    /// The cut line with its outward notches, closed, counter-clockwise: what must lie inside the medium and clear of
    /// its neighbours.
    pub outline: BezPath,
    /// The grainline as drawn, from tail to head.
    pub grain: [Point; 2],
    /// Whether one of its edges lies on a fold.
    pub on_fold: bool,
    /// All that is drawn or cut, the cut line included, and the slip beside the piece ([`Stroke::is_beside`]).
    pub strokes: Vec<Stroke>,
}

/// What a label says besides what the piece itself knows.
#[derive(Clone, Debug, PartialEq)]
pub struct Heading {
    /// The style's name.
    pub style: String,
    /// For whom or which size.
    pub person: String,
    /// The date the measures were taken, as the user wrote it; empty where unknown.
    pub taken: String,
    /// The unit of the lengths on the piece.
    pub unit: Unit,
    /// The piece's number in its set, from 1.
    pub number: usize,
    /// How many pieces the set has.
    pub of: usize,
    /// Whether the piece is a net block: cut on the sew line, without allowance.
    pub net_block: bool,
    /// The ease that the draft includes, as people read it: `bust ease` and `4 in`.
    pub ease: Vec<(String, String)>,
    /// The day the toile passed; empty where it did not yet.
    pub toile: String,
    /// What was put right in the machine, in a few words; empty to say nothing of it.
    pub stamp: String,
    /// How the machine makes notches. Where they are cut, Vs are part of the cut line.
    pub notches: Notches,
    /// Size of what is drawn against the real: 1, or 1/4 on a quarter-scale sheet. Figures are those of the real.
    pub scale: f64,
    /// The font for what has no single strokes.
    pub font: Option<Arc<Font>>,
    /// Whether writing that has no room on the piece goes on a slip beside it.
    pub slips: bool,
}

/// Draws everything on a piece: the cut line first, then sew line, notches, signs, grain, figures along the edges and
/// the label. Writing that there is no room for goes on a slip beside the piece, or is left out and reported.
///
/// # Errors
/// A [`Finding`] for coordinates that are no numbers, a grainline without direction, a notch off its edge or without
/// a cut line outside it.
pub fn mark(cut: &CutPiece, heading: &Heading) -> Result<(MarkedPiece, Vec<Finding>)> {
    check(cut)?;
    let piece = &cut.piece;
    let mut findings = Vec::new();
    let block = block::is_block(piece, heading.net_block);
    let notched = notch::notches(cut, heading, block, &mut findings)?;
    let mut ground = Ground::new(&piece.outline());
    ground.take(&notched.inward);

    let mut signs = notched.strokes;
    signs.extend(signs::inner_lines(piece, &cut.cut_line, &mut findings));
    signs.extend(signs::drills(piece, &ground, &mut findings));
    signs.extend(signs::darts(piece, block, &ground, &mut findings));
    signs.extend(signs::pleats(piece, &ground, &mut findings));
    signs.extend(signs::fastenings(piece, &ground, &mut findings));
    take(&mut ground, &signs);
    let (bracket, unmarked) = at_fold(piece, &ground)?;
    take(&mut ground, &bracket);
    let hole = if block { block::hanging_hole(piece, &ground, &mut findings) } else { None };
    ground.take(hole.iter().map(|hole| &hole.path));

    let hole_alone: Vec<&BezPath> = hole.iter().map(|hole| &hole.path).collect();
    let with_bracket: Vec<&BezPath> = hole_alone.iter().copied().chain(bracket.iter().map(|sign| &sign.path)).collect();
    let mut grains = grain::candidates(piece, &ground, &with_bracket)?;
    if grains.is_empty() {
        grains = grain::candidates(piece, &ground, &hole_alone)?;
    }
    signs.extend(bracket);
    let words = Words::new(piece, heading);
    let wording = Wording::new(piece, heading, block);
    let written = Sharing { piece, ground: &ground, words: &words, wording: &wording }.best(&grains);
    if written.grain.is_none() {
        findings.push(
            Finding::warning("the piece has no room for its grainline")
                .piece(&piece.name)
                .hint("draw the grain on it by hand"),
        );
    }
    let lacking = Lacking {
        label: written.label.lacks(),
        fold: unmarked.map(|edge| &*edge.name),
        lengths: written.figures.left_out.iter().map(|edge| &*edge.says).collect(),
    };
    let slip = (heading.slips && (lacking.label || lacking.fold.is_some() || !lacking.lengths.is_empty()))
        .then(|| slip::slip(&notched.cut_line, &Wording::beside(piece, heading, block, &lacking)))
        .flatten();
    if slip.is_some() {
        let message = "what the piece has no room for is written on a slip beside it";
        findings
            .push(Finding::note(message).piece(&piece.name).hint("copy it onto the piece before you throw it away"));
    } else {
        if let Some(edge) = unmarked {
            findings.push(
                Finding::warning("there is no room for the bracket that says \"place on fold\"")
                    .piece(&piece.name)
                    .edge(&edge.name)
                    .hint("write it on the piece by hand"),
            );
        }
        written.label.findings(&piece.name, &mut findings);
        written.figures.findings(&piece.name, &mut findings);
    }
    let mut missing: Vec<char> = Vec::new();
    for c in wording.missing().chain(words.missing()) {
        if !missing.contains(&c) {
            missing.push(c);
        }
    }
    if !missing.is_empty() {
        let list: Vec<String> = missing.iter().map(|c| format!("{c} (U+{:04X})", u32::from(*c))).collect();
        findings.push(
            Finding::warning(format!("there are no strokes for {}; a box is drawn instead", list.join(", ")))
                .piece(&piece.name)
                .hint("name a font that has them with --font, write these by hand, or spell them in Latin letters"),
        );
    }

    let mut strokes = vec![Stroke { role: Role::Cut, edge: String::new(), path: notched.cut_line.clone() }];
    strokes.extend(piece.edges.iter().filter(|edge| !is_cut_on(edge, &cut.cut_line)).map(sewn));
    strokes.extend(hole);
    strokes.extend(signs);
    strokes.extend(written.grain.iter().flat_map(|grain| grain.strokes.clone()));
    strokes.extend(written.figures.strokes);
    strokes.extend(written.label.strokes);
    strokes.extend(slip.into_iter().flatten());
    let marked = MarkedPiece {
        name: piece.name.clone(),
        person: heading.person.clone(),
        cut: piece.cut.clone(),
        outline: notched.cut_line,
        grain: written.grain.map_or(piece.grain, |grain| grain.ends),
        on_fold: piece.fold().is_some(),
        strokes,
    };
    Ok((marked, findings))
}

/// What stands at a piece's fold, and the edge on the fold where nothing does. Where there is no other room the grain crosses
/// a bracket; words alone could not be read then.
fn at_fold<'a>(piece: &'a Piece, ground: &Ground) -> Result<(Vec<Stroke>, Option<&'a Edge>)> {
    let Some(edge) = piece.fold() else { return Ok((Vec::new(), None)) };
    let Some(signs) = signs::fold_bracket(&edge.name, &edge.path, ground) else { return Ok((Vec::new(), Some(edge))) };
    if signs.iter().all(|sign| sign.role == Role::Label) {
        let words: Vec<&BezPath> = signs.iter().map(|sign| &sign.path).collect();
        if grain::candidates(piece, ground, &words)?.is_empty() {
            return Ok((Vec::new(), Some(edge)));
        }
    }
    Ok((signs, None))
}

/// What a label says of a piece's allowances, line by line: one width, or each with its edges. `net_block` as in [`Heading`].
pub fn allowances(piece: &Piece, unit: Unit, net_block: bool) -> Vec<String> {
    label::allowance_words(piece, unit, 1.0, block::is_block(piece, net_block))
}

fn take(ground: &mut Ground, strokes: &[Stroke]) {
    ground.take(strokes.iter().map(|stroke| &stroke.path));
}

/// Grain, figures and label share the room that is left.
struct Sharing<'a> {
    piece: &'a Piece,
    ground: &'a Ground,
    words: &'a Words,
    wording: &'a Wording,
}

/// How they share it.
struct Written<'a> {
    grain: Option<&'a Grain>,
    figures: Figures,
    label: Label,
}

impl Written<'_> {
    /// A full label that can be read comes first, then figures on all edges, then a large label.
    fn worth(&self) -> (i8, f64, usize, f64) {
        let (holds, height) = self.label.reads();
        (holds, height, usize::MAX - self.figures.left_out.len(), self.label.height)
    }
}

impl Sharing<'_> {
    /// The label before the figures, or the other way round. A label that would hold less than `least` is not looked for.
    fn written<'g>(&self, grain: Option<&'g Grain>, figures_first: bool, least: i8) -> Written<'g> {
        let mut ground = self.ground.clone();
        if let Some(grain) = grain {
            take(&mut ground, &grain.strokes);
        }
        if figures_first {
            let figures = self.words.write(&mut ground);
            Written { grain, figures, label: self.wording.place(self.piece, &ground, least) }
        } else {
            let label = self.wording.place(self.piece, &ground, least);
            ground.take([&label.hatch]);
            Written { grain, figures: self.words.write(&mut ground), label }
        }
    }

    /// Tries the grainline where the draft has it and the figures before the label; where that leaves the label cramped,
    /// the label before the figures, and the grainline to a side. Takes the first way that leaves ample room, else the
    /// best.
    fn best<'g>(&self, grains: &'g [Grain]) -> Written<'g> {
        let mut best = self.written(grains.first(), true, i8::MIN);
        let draft = std::iter::once((grains.first(), false));
        for (grain, figures_first) in draft.chain(grains.iter().skip(1).map(|grain| (Some(grain), true))) {
            if best.label.is_ample() {
                break;
            }
            // The label has most room where it comes first; what is not good enough then is not with the figures before.
            let label_first = self.written(grain, false, best.label.holds);
            if label_first.label.reads() < best.label.reads() {
                continue;
            }
            if figures_first {
                let other = self.written(grain, true, best.label.holds);
                if other.worth() > best.worth() {
                    best = other;
                }
            }
            if !best.label.is_ample() && label_first.worth() > best.worth() {
                best = label_first;
            }
        }
        best
    }
}

/// Refuses what no drawing can be made of.
fn check(cut: &CutPiece) -> Result<()> {
    let piece = &cut.piece;
    let finite = |path: &BezPath| path.is_finite() && path.segments().next().is_some();
    let fail = |message: &str| Err(Box::new(Finding::error(message).piece(&piece.name)));
    if !finite(&cut.cut_line) {
        return fail("the cut line is empty, or a coordinate in it is not a number");
    }
    if let Some(edge) = piece.edges.iter().find(|edge| !finite(&edge.path)) {
        let message = "the edge is empty, or a coordinate in it is not a number";
        return Err(Box::new(Finding::error(message).piece(&piece.name).edge(&edge.name)));
    }
    if let Some(line) = piece.lines.iter().find(|line| !line.path.is_finite()) {
        let message = "a coordinate in the line is not a number";
        return Err(Box::new(Finding::error(message).piece(&piece.name).edge(&line.name)));
    }
    let mut points = piece.grain.iter().chain(&piece.drills).chain(piece.darts.iter().map(|dart| &dart.apex));
    if piece.edges.is_empty() || !points.all(|point| point.is_finite()) {
        return fail("the piece has no edges, or a point in it is not a number");
    }
    if piece.outline().area() <= 0.0 {
        return fail("the edges must run counter-clockwise around some ground");
    }
    Ok(())
}

/// Whether the edge is cut on its sew line, which is then not drawn a second time.
fn is_cut_on(edge: &Edge, cut_line: &BezPath) -> bool {
    let long = path::length(&edge.path);
    (0..=4).all(|i| {
        path::point_at(&edge.path, long * f64::from(i) / 4.0).is_some_and(|(point, _)| {
            cut_line.segments().any(|s| s.nearest(point, 1e-4).distance_sq < notch::NO_WIDTH.powi(2))
        })
    })
}

fn sewn(edge: &Edge) -> Stroke {
    Stroke { role: Role::Sew, edge: edge.name.clone(), path: edge.path.clone() }
}

/// An open path through the points.
fn polyline(points: &[Point]) -> BezPath {
    let mut path = BezPath::new();
    for (i, point) in points.iter().enumerate() {
        if i == 0 { path.move_to(*point) } else { path.line_to(*point) }
    }
    path
}
