//! Notes of a fitting carried out on drafted pieces.
//!
//! A note moves a stretch of an edge, tapering to nothing with a curve that leaves both ends in their old direction, so that
//! what was square stays square. At a corner it tapers along both edges that meet there. Both sides of a seam get it, and
//! where a corner moves, so does every corner that is sewn to it; what is not reached is drafted anew to the new lengths.

use super::sides::{self, Split};
use super::{edges, path};
use crate::diag::{Finding, Result};
use crate::geom::parts;
use crate::measures::{Fitting, Note, NoteKind, NotePlace, Side};
use crate::piece::{Edge, Join, Piece, PieceSet};
use crate::source::with_known;
use crate::style::{EdgeStep, Style};
use crate::units::format_length;
use kurbo::{BezPath, ParamCurve, ParamCurveArclen, PathSeg, Point, Vec2};
use std::collections::HashMap;
use std::rc::Rc;

/// What a fitting changed: an edge or a worn measure, mm.
#[derive(Clone, Debug, PartialEq)]
pub struct FittingRow {
    /// Such as `Front/side`.
    pub what: String,
    /// Before the fittings.
    pub before: f64,
    /// After them.
    pub after: f64,
}

/// The pieces that were changed, by name.
pub(super) type Fitted = HashMap<String, Rc<Piece>>;

/// Lengths that differ by less are the same, mm.
pub(super) const CHANGED: f64 = 0.05;

/// An inner line's end this near to an edge lies on it, mm.
const ON: f64 = 0.05;

/// Where along an edge a note acts fully.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Spot {
    Whole,
    Start,
    End,
    /// A share of its sewn length.
    At(f64),
}

impl Spot {
    fn turned(self) -> Self {
        match self {
            Self::Whole => Self::Whole,
            Self::Start => Self::End,
            Self::End => Self::Start,
            Self::At(share) => Self::At(1.0 - share),
        }
    }

    /// How much of the whole acts at a share of the edge: 1 at the spot, 0 at the far ends, level at all three.
    fn weight(self, share: f64) -> f64 {
        let smooth = |u: f64| u * u * (3.0 - 2.0 * u);
        match self {
            Self::Start => 1.0 - smooth(share),
            Self::End => smooth(share),
            Self::At(at) if share < at => smooth(share / at),
            Self::At(at) if at < 1.0 => smooth((1.0 - share) / (1.0 - at)),
            Self::Whole | Self::At(_) => 1.0,
        }
    }
}

/// How far, and which way.
#[derive(Clone, Copy, Debug)]
enum Way {
    /// The same for the whole edge, mm.
    Straight(Vec2),
    /// Into the piece, square to the edge at each place, mm.
    Inward(f64),
}

/// One movement of an edge.
#[derive(Clone, Copy, Debug)]
struct Term {
    spot: Spot,
    way: Way,
}

/// The movements of every edge, by the places of piece and edge.
type Terms = HashMap<(usize, usize), Vec<Term>>;

/// The notes of all fittings that are for this style, each with its fitting.
pub(super) fn notes<'m>(style: &Style, fittings: &'m [Fitting]) -> Vec<(&'m Fitting, &'m Note)> {
    let of_style = fittings.iter().filter(|fitting| fitting.style.as_ref().is_none_or(|name| *name == style.name));
    of_style.flat_map(|fitting| fitting.notes.iter().map(move |note| (fitting, note))).collect()
}

/// The pieces that the notes change, as they then are, and what was done. `splits` says how the style's pieces came apart.
pub(super) fn apply(
    style: &Style,
    set: &PieceSet,
    splits: &HashMap<usize, Split>,
    notes: &[(&Fitting, &Note)],
) -> Result<(Fitted, Vec<Finding>)> {
    let mut pieces = set.pieces.clone();
    let mut touched = vec![false; pieces.len()];
    let mut findings = Vec::new();
    for (fitting, note) in notes {
        let Some(targets) = targets(style, &pieces, splits, fitting, note)? else {
            let text = format!("the note on \"{}\" of {} is not for this style", note.edge.text, fitting.date);
            findings.push(Finding::note(text).at(note.edge.snippet()));
            continue;
        };
        let mut reach = Reach::new(note, &pieces, &set.joins);
        reach.all(targets);
        let terms = reach.terms;
        for index in 0..pieces.len() {
            if terms.keys().any(|(of, _)| *of == index) {
                pieces[index] = moved(&pieces[index], index, &terms);
                touched[index] = true;
            }
        }
        let place = match &note.at {
            NotePlace::Whole => String::new(),
            NotePlace::End(point) => format!(" at the {}", point.text),
            NotePlace::Distance { from, along } => {
                format!(" {} from the {}", format_length(*along, set.unit), from.text)
            }
            NotePlace::Part(share) => format!(" at {share} of its length"),
        };
        let side = note.side.map_or_else(String::new, |side| format!(", {} only", side.name()));
        let by = format_length(note.by, set.unit);
        let text = format!("fitting of {}: {} {} by {by}{place}{side}", fitting.date, note.edge.text, note.kind.done());
        findings.push(Finding::note(text).at(note.edge.snippet()));
    }
    let changed = pieces.into_iter().zip(touched).filter(|(_, touched)| *touched);
    Ok((changed.map(|(piece, _)| (piece.name.clone(), Rc::new(piece))).collect(), findings))
}

/// What changed from one set of pieces to another: edges of the same name.
pub(super) fn changes(before: &[Piece], after: &Fitted) -> Vec<FittingRow> {
    let mut rows = Vec::new();
    for piece in before {
        let Some(fitted) = after.get(&piece.name) else { continue };
        for edge in &piece.edges {
            let lengths = piece.sewn_length(&edge.name).zip(fitted.sewn_length(&edge.name));
            if let Some((before, after)) = lengths.filter(|(a, b)| (a - b).abs() > CHANGED) {
                rows.push(FittingRow { what: format!("{}/{}", piece.name, edge.name), before, after });
            }
        }
    }
    rows
}

/// The edges that a note names, and where on them; `None` for a note of the person's block that this style has no edge for.
fn targets(
    style: &Style,
    pieces: &[Piece],
    splits: &HashMap<usize, Split>,
    fitting: &Fitting,
    note: &Note,
) -> Result<Option<Vec<(usize, usize, Spot)>>> {
    let (name, edge) = note.edge.text.split_once('/').unwrap_or_default();
    let (name, edge) = (name.trim(), edge.trim());
    let for_all = fitting.style.is_none();
    let Some(index) = style.pieces.iter().position(|steps| steps.name.text == name && !steps.block) else {
        if for_all {
            return Ok(None);
        }
        let known: Vec<&str> = style.pieces.iter().map(|steps| steps.name.text.as_str()).collect();
        let finding = note.edge.error(format!("\"{}\" has no piece \"{name}\" to fit", style.name));
        return Err(with_known(finding, name, &known).into());
    };
    let steps = &style.pieces[index];
    let Some(step) = steps.edges.iter().find(|step| step.name.text == edge && !step.fold) else {
        if for_all {
            return Ok(None);
        }
        let known: Vec<&str> = steps.edges.iter().filter(|e| !e.fold).map(|e| e.name.text.as_str()).collect();
        let finding = note.edge.error(format!("piece \"{name}\" has no edge \"{edge}\" that can be moved"));
        return Err(with_known(finding, edge, &known).into());
    };
    let split = splits.get(&index).copied();
    let sides = note.side.map_or(vec![Side::Left, Side::Right], |side| vec![side]);
    let image = format!("other {edge}");
    let named: Vec<(String, String, bool)> = match split {
        Some(Split::Pair(drawn)) => {
            sides.iter().map(|side| (sides::pair_name(*side, name), edge.to_owned(), *side != drawn)).collect()
        }
        Some(Split::Whole(drawn)) => {
            sides.iter().map(|side| (name.to_owned(), sides::half_name(*side, edge), *side != drawn)).collect()
        }
        Some(Split::Unfolded(drawn)) if steps.edge(&image).is_some() => {
            let of = |side: Side| if side == drawn { edge.to_owned() } else { image.clone() };
            sides.iter().map(|side| (name.to_owned(), of(*side), *side != drawn)).collect()
        }
        None if note.side.is_some() => {
            let finding = note.edge.error(format!("\"{name}\" is not made left and right apart"));
            return Err(finding.hint("add drawn=\"left\" or drawn=\"right\" to its cut in the style").into());
        }
        None if steps.is_unfolded() && steps.edge(&image).is_some() => {
            vec![(name.to_owned(), edge.to_owned(), false), (name.to_owned(), image, true)]
        }
        _ => vec![(name.to_owned(), edge.to_owned(), false)],
    };
    let mut targets = Vec::new();
    for (piece, edge, turned) in named {
        let place = pieces.iter().position(|p| p.name == piece);
        let place = place.and_then(|p| Some((p, pieces[p].edges.iter().position(|e| e.name == edge)?)));
        // A piece that is not made for these measures has nothing to fit.
        let Some((p, e)) = place else { continue };
        let spot = spot(step, note, pieces[p].sewn_length(&edge).unwrap_or_default())?;
        targets.push((p, e, if turned { spot.turned() } else { spot }));
    }
    Ok(Some(targets))
}

fn spot(step: &EdgeStep, note: &Note, sewn: f64) -> Result<Spot> {
    let end = |point: &crate::source::Text| {
        if step.from.text == point.text {
            Ok(Spot::Start)
        } else if step.to.text == point.text {
            Ok(Spot::End)
        } else {
            let (from, to) = (step.from.text.as_str(), step.to.text.as_str());
            let finding = point.error(format!("\"{}\" does not end at \"{}\"", step.name.text, point.text));
            Err(Box::new(with_known(finding, &point.text, &[from, to])))
        }
    };
    Ok(match &note.at {
        NotePlace::Whole => Spot::Whole,
        NotePlace::End(point) => end(point)?,
        NotePlace::Part(share) if *share <= 0.0 => Spot::Start,
        NotePlace::Part(share) if *share >= 1.0 => Spot::End,
        NotePlace::Part(share) => Spot::At(*share),
        NotePlace::Distance { from, along } => {
            let at_end = end(from)?;
            let share = along / sewn;
            if share >= 1.0 {
                return Err(from.error("this reaches past the edge's end").edge(&step.name.text).into());
            }
            match at_end {
                _ if share <= 0.0 => at_end,
                Spot::End => Spot::At(1.0 - share),
                _ => Spot::At(share),
            }
        }
    })
}

/// All that one note moves.
struct Reach<'a> {
    pieces: &'a [Piece],
    joins: &'a [Join],
    note: &'a Note,
    waiting: Vec<(usize, usize, Spot)>,
    edges: Vec<(usize, usize)>,
    /// Corners that were moved, each named by the edge that ends there.
    corners: Vec<(usize, usize)>,
    terms: Terms,
}

impl<'a> Reach<'a> {
    fn new(note: &'a Note, pieces: &'a [Piece], joins: &'a [Join]) -> Self {
        let (waiting, edges, corners, terms) = (Vec::new(), Vec::new(), Vec::new(), Terms::new());
        Self { pieces, joins, note, waiting, edges, corners, terms }
    }

    fn all(&mut self, targets: Vec<(usize, usize, Spot)>) {
        self.waiting = targets;
        self.waiting.reverse();
        while let Some((piece, edge, spot)) = self.waiting.pop() {
            if !self.edges.contains(&(piece, edge)) && !self.pieces[piece].edges[edge].fold {
                self.edges.push((piece, edge));
                self.edge(piece, edge, spot);
            }
        }
    }

    fn edge(&mut self, piece: usize, edge: usize, spot: Spot) {
        let count = self.pieces[piece].edges.len();
        let ends = [(Spot::Start, (edge + count - 1) % count), (Spot::End, edge)];
        let is_moved = |reach: &Self, corner: usize| reach.corners.contains(&(piece, corner));
        if ends.iter().any(|(end, corner)| *end == spot && is_moved(self, *corner)) {
            return;
        }
        let way = self.way(piece, edge, spot);
        self.add(piece, edge, spot, way);
        for (end, corner) in ends {
            if spot != Spot::Whole && spot != end {
                continue;
            }
            let full = match way {
                Way::Straight(v) => v,
                Way::Inward(by) => self.normal(piece, edge, if end == Spot::Start { 0.0 } else { 1.0 }) * by,
            };
            let neighbour = if end == Spot::Start { corner } else { (edge + 1) % count };
            let other = &self.pieces[piece].edges[neighbour];
            // A corner on the fold stays on it, and one that was moved is not moved again.
            let wanted = if is_moved(self, corner) {
                Vec2::ZERO
            } else if other.fold {
                let along = path::start_tangent(&other.path).unwrap_or_default();
                along * full.dot(along)
            } else {
                full
            };
            if (wanted - full).hypot() > 1e-9 {
                self.add(piece, edge, end, Way::Straight(wanted - full));
            }
            if !is_moved(self, corner) {
                self.corners.push((piece, corner));
                self.add(piece, neighbour, end.turned(), Way::Straight(wanted));
                self.follow_corner(piece, neighbour, end.turned());
            }
        }
        for (partner, turned) in self.partners(piece, edge) {
            self.waiting.push((partner.0, partner.1, if turned { spot.turned() } else { spot }));
        }
    }

    fn add(&mut self, piece: usize, edge: usize, spot: Spot, way: Way) {
        self.terms.entry((piece, edge)).or_default().push(Term { spot, way });
    }

    fn way(&self, piece: usize, edge: usize, spot: Spot) -> Way {
        let by = self.note.by;
        let inward = match self.note.kind {
            NoteKind::TakeIn => by,
            NoteKind::LetOut => -by,
            NoteKind::Raise => return Way::Straight(Vec2::new(0.0, by)),
            NoteKind::Lower => return Way::Straight(Vec2::new(0.0, -by)),
        };
        match spot {
            Spot::Whole => Way::Inward(inward),
            Spot::Start => Way::Straight(self.normal(piece, edge, 0.0) * inward),
            Spot::End => Way::Straight(self.normal(piece, edge, 1.0) * inward),
            Spot::At(share) => Way::Straight(self.normal(piece, edge, share) * inward),
        }
    }

    /// Square to an edge, into the piece, at a share of its sewn length.
    fn normal(&self, piece: usize, edge: usize, share: f64) -> Vec2 {
        let piece = &self.pieces[piece];
        let edge = &piece.edges[edge];
        let sewn = piece.sewn_length(&edge.name).unwrap_or_default();
        let at = path::point_at(&edge.path, piece.drawn_at(&edge.name, sewn * share));
        at.map_or(Vec2::ZERO, |(_, along)| Vec2::new(-along.y, along.x))
    }

    /// The edges that an edge is sewn to, one to one, and whether they run against it in the seam.
    fn partners(&self, piece: usize, edge: usize) -> Vec<((usize, usize), bool)> {
        let own = &self.pieces[piece];
        let mut partners = Vec::new();
        for join in self.joins {
            if join.sides[0].len() != join.sides[1].len() || (join.ratio - 1.0).abs() > 1e-9 {
                continue;
            }
            for (ours, theirs) in join.sides[0].iter().zip(&join.sides[1]).flat_map(|(a, b)| [(a, b), (b, a)]) {
                if ours.piece != own.name || ours.edge != own.edges[edge].name {
                    continue;
                }
                let place = self.pieces.iter().position(|p| p.name == theirs.piece);
                let place = place.and_then(|p| {
                    let edges = &self.pieces[p].edges;
                    Some((p, edges.iter().position(|e| e.name == theirs.edge)?))
                });
                partners.extend(place.map(|place| (place, ours.backwards != theirs.backwards)));
            }
        }
        partners
    }

    /// An edge's end moved: the corners that are sewn to it move alike, by the other edge that ends there.
    fn follow_corner(&mut self, piece: usize, edge: usize, end: Spot) {
        for ((q, m), turned) in self.partners(piece, edge) {
            let count = self.pieces[q].edges.len();
            match if turned { end.turned() } else { end } {
                Spot::Start => self.waiting.push((q, (m + count - 1) % count, Spot::End)),
                _ => self.waiting.push((q, (m + 1) % count, Spot::Start)),
            }
        }
    }
}

/// An edge cut where its movement changes, so that each part moves evenly.
struct Motion<'a> {
    piece: &'a Piece,
    edge: &'a Edge,
    terms: &'a [Term],
    sewn: f64,
}

impl Motion<'_> {
    /// How far the place at a distance along the edge moves.
    fn at(&self, distance: f64, along: Vec2) -> Vec2 {
        let share = (self.piece.sewn_at(&self.edge.name, distance) / self.sewn).clamp(0.0, 1.0);
        let inward = Vec2::new(-along.y, along.x);
        let each = self.terms.iter().map(|term| {
            let full = match term.way {
                Way::Straight(v) => v,
                Way::Inward(by) => inward * by,
            };
            full * term.spot.weight(share)
        });
        each.fold(Vec2::ZERO, |sum, one| sum + one)
    }

    /// The edge as it is then, and for each of the given distances along the old edge the one along the new.
    fn carry(&self, marks: &[f64]) -> (BezPath, Vec<f64>) {
        let long = path::length(&self.edge.path);
        let mut cuts: Vec<f64> = marks.to_vec();
        cuts.extend([0.0, long]);
        cuts.extend(self.terms.iter().filter_map(|term| match term.spot {
            Spot::At(share) => Some(self.piece.drawn_at(&self.edge.name, self.sewn * share)),
            _ => None,
        }));
        cuts.sort_by(f64::total_cmp);
        cuts.dedup_by(|a, b| (*a - *b).abs() < 1e-3);
        let mut whole = BezPath::new();
        let mut places = vec![0.0];
        for pair in cuts.windows(2) {
            let mut at = pair[0];
            for segment in parts::between(&self.edge.path, pair[0], pair[1]).segments() {
                parts::push(&mut whole, &self.segment(&segment, at));
                at += segment.arclen(path::ARC_ACCURACY);
            }
            places.push(path::length(&whole));
        }
        let place = |mark: &f64| {
            let near = cuts.iter().enumerate().min_by(|a, b| (a.1 - mark).abs().total_cmp(&(b.1 - mark).abs()));
            near.map_or(0.0, |(index, _)| places[index])
        };
        let marks = marks.iter().map(place).collect();
        (whole, marks)
    }

    /// One segment moved. The movement is a cubic, so that a cubic that takes it at four places takes it everywhere.
    fn segment(&self, segment: &PathSeg, from: f64) -> PathSeg {
        let by = [0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0].map(|t: f64| {
            let at = from + segment.subsegment(0.0..t).arclen(path::ARC_ACCURACY);
            self.at(at, path::tangent(segment, t))
        });
        let even = by.iter().all(|v| (*v - by[0]).hypot() < 1e-9);
        if let PathSeg::Line(line) = segment {
            let along = (line.p1 - line.p0).normalize();
            if even || by.iter().all(|v| v.cross(along).abs() < 1e-9) {
                return PathSeg::Line(kurbo::Line::new(line.p0 + by[0], line.p1 + by[3]));
            }
        }
        let mut cubic = segment.to_cubic();
        if let PathSeg::Line(line) = segment {
            (cubic.p1, cubic.p2) = (line.p0.lerp(line.p1, 1.0 / 3.0), line.p0.lerp(line.p1, 2.0 / 3.0));
        }
        let [d0, a, b, d3] = by;
        cubic.p0 += d0;
        cubic.p1 += (d0 * -5.0 + a * 18.0 - b * 9.0 + d3 * 2.0) / 6.0;
        cubic.p2 += (d0 * 2.0 - a * 9.0 + b * 18.0 - d3 * 5.0) / 6.0;
        cubic.p3 += d3;
        PathSeg::Cubic(cubic)
    }
}

/// A piece with its edges moved, and all that stands on them.
fn moved(piece: &Piece, index: usize, terms: &Terms) -> Piece {
    let mut fitted = piece.clone();
    let motions: Vec<Option<Motion<'_>>> = (0..piece.edges.len())
        .map(|edge| {
            let terms = terms.get(&(index, edge))?;
            let edge = &piece.edges[edge];
            let sewn = piece.sewn_length(&edge.name)?.max(1e-9);
            Some(Motion { piece, edge, terms, sewn })
        })
        .collect();
    for (at, motion) in motions.iter().enumerate() {
        let Some(motion) = motion else { continue };
        let on = |name: &String| *name == motion.edge.name;
        let mut marks: Vec<f64> = piece.notches.iter().filter(|n| on(&n.edge)).map(|n| n.at).collect();
        marks.extend(piece.darts.iter().filter(|d| on(&d.edge)).flat_map(|d| d.mouth));
        marks.extend(piece.pleats.iter().filter(|p| on(&p.edge)).flat_map(|p| p.mouth));
        let (path, places) = motion.carry(&marks);
        fitted.edges[at].path = path;
        let mut places = places.into_iter();
        fitted.notches.iter_mut().filter(|n| on(&n.edge)).for_each(|n| n.at = places.next().unwrap_or(n.at));
        for dart in fitted.darts.iter_mut().filter(|d| on(&d.edge)) {
            let old = dart.mouth;
            dart.mouth = old.map(|at| places.next().unwrap_or(at));
            // The point goes with the mouth sideways, so that the legs stay equal, and not lengthwise.
            if let Some((middle, along)) = path::point_at(&motion.edge.path, f64::midpoint(old[0], old[1])) {
                let by = motion.at(old[0], along);
                let axis = (dart.apex - middle).normalize();
                dart.apex += by - axis * by.dot(axis);
            }
        }
        for pleat in fitted.pleats.iter_mut().filter(|p| on(&p.edge)) {
            pleat.mouth = pleat.mouth.map(|at| places.next().unwrap_or(at));
        }
    }
    let count = fitted.edges.len();
    for at in 0..count {
        let start = path::end(&fitted.edges[(at + count - 1) % count].path);
        let end = path::end(&fitted.edges[at].path);
        if let Some((start, end)) = start.zip(end) {
            edges::settle_ends(&mut fitted.edges[at].path, start, end);
        }
    }
    for line in &mut fitted.lines {
        let by = |point: Option<Point>| point.map_or(Vec2::ZERO, |point| moved_at(&motions, point));
        let ends = [by(path::start(&line.path)), by(path::end(&line.path))];
        line.path = bent(&line.path, ends);
    }
    fitted
}

/// How far a place on some edge moves; nothing for a place on none.
fn moved_at(motions: &[Option<Motion<'_>>], point: Point) -> Vec2 {
    let on = motions.iter().flatten().find_map(|motion| {
        let (at, off) = parts::nearest(&motion.edge.path, point)?;
        (off < ON).then(|| motion.at(at, path::point_at(&motion.edge.path, at).map_or(Vec2::ZERO, |(_, along)| along)))
    });
    on.unwrap_or_default()
}

/// An inner line whose ends went with the edges that they lie on; in between it follows evenly.
fn bent(line: &BezPath, ends: [Vec2; 2]) -> BezPath {
    let long = path::length(line);
    if ends.iter().all(|by| by.hypot() < 1e-9) || long < edges::SAME {
        return line.clone();
    }
    let mut bent = BezPath::new();
    let mut at = 0.0;
    for segment in line.segments() {
        let next = at + segment.arclen(path::ARC_ACCURACY);
        let by = |distance: f64| ends[0].lerp(ends[1], distance / long);
        let (first, last) = (by(at), by(next));
        let moved = match segment {
            PathSeg::Line(line) => PathSeg::Line(kurbo::Line::new(line.p0 + first, line.p1 + last)),
            other => {
                let mut cubic = other.to_cubic();
                cubic.p0 += first;
                cubic.p1 += first.lerp(last, 1.0 / 3.0);
                cubic.p2 += first.lerp(last, 2.0 / 3.0);
                cubic.p3 += last;
                PathSeg::Cubic(cubic)
            }
        };
        parts::push(&mut bent, &moved);
        at = next;
    }
    bent
}
