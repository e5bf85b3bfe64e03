//! What lies in a piece: grain, fold, notches, drill holes, inner lines, writing.

use super::patience::Patience;
use super::{Stroke, loops, words};
use crate::diag::Result;
use crate::geom::{parts, path};
use crate::piece::{InnerLine, Notch, NotchKind, Piece};
use crate::read::{Note, PathName};
use crate::role::Role;
use kurbo::{BezPath, Point, Shape};
use std::collections::{BTreeMap, HashSet};

/// A fold's bracket stands no farther from its edge, mm.
const FOLD_REACH: f64 = 30.0;

/// Notches nearer to each other than this are one, mm; a double notch's two are farther apart.
const ONE_NOTCH: f64 = 1.0;

/// Ends of a notch's line whose distances from the edges differ by less than this are alike near, mm.
const ALIKE: f64 = 0.5;

/// A notch's mark is no wider than this, mm: what is longer is a line from notch to notch.
const WIDEST_MARK: f64 = 20.0;

/// A notch farther from every edge is none, mm: the widest hem is narrower.
const NOTCH_REACH: f64 = 80.0;

/// Strokes of one drill mark lie within this, mm.
const ONE_DRILL: f64 = 3.0;

/// Adds to a piece what lies in it, and to its name what is written there; gives whether its grain was drawn. Ends of lines
/// that are within `join` mm meet.
pub fn add(
    piece: &mut Piece,
    name: &mut PathName,
    inner: &[&Stroke],
    notes: &[&Note],
    join: f64,
    patience: &mut Patience,
    left_out: &mut BTreeMap<String, usize>,
) -> Result<bool> {
    let whole = piece.outline();
    let mut numbers: BTreeMap<String, usize> = BTreeMap::new();
    let mut leave_out = |what: &str| *left_out.entry(what.into()).or_default() += 1;
    let mut grain: Option<[Point; 2]> = None;
    // Where a point says where a notch is, a line there only draws it.
    let is_point = |note: &&&Note| note.text.is_empty() && words::role(&note.name) == Some(Role::Notch);
    let points: Vec<Point> = notes.iter().filter(is_point).map(|note| note.at).collect();
    for stroke in inner {
        match stroke.role {
            Some(Role::Grain) => {
                // The longest straight line is the shaft; arrow heads are shorter.
                for segment in stroke.path.segments() {
                    use kurbo::ParamCurve;
                    let long = |ends: [Point; 2]| ends[0].distance(ends[1]);
                    let ends = [segment.start(), segment.end()];
                    if grain.is_none_or(|known| long(known) < long(ends)) {
                        grain = Some(ends);
                    }
                }
            }
            Some(Role::Fold) => {
                patience.measure(&whole)?;
                if !fold(piece, &stroke.path) {
                    leave_out("fold marks beside no straight edge");
                }
            }
            Some(Role::Notch) => {}
            Some(Role::Drill) => drill(piece, stroke.bounds.center()),
            Some(Role::Label) => leave_out("drawn letters and points of curves"),
            Some(Role::Square) => leave_out("check squares"),
            Some(Role::Line | Role::Dart) | None => line(piece, stroke, &mut numbers),
            Some(Role::Cut | Role::Sew) => leave_out("parts of cutting or sew lines that close nothing"),
        }
    }
    for line in notch_lines(piece, inner, join, patience)? {
        let Some(ends) = ends(&line) else { continue };
        let near = |p: &Point| ends.iter().any(|end| end.distance(*p) < ONE_NOTCH);
        if points.iter().any(near) {
            continue;
        }
        (0..3).try_for_each(|_| patience.measure(&whole))?;
        if !notch(piece, foot(piece, ends)) {
            leave_out("notches beside no edge");
        }
    }
    for note in notes {
        patience.measure(&whole)?;
        match (note.text.is_empty(), words::role(&note.name)) {
            (true, Some(Role::Notch)) => {
                if !notch(piece, note.at) {
                    leave_out("notches beside no edge");
                }
            }
            (true, Some(Role::Drill)) => drill(piece, note.at),
            (true, _) if words::marks_a_vertex(&note.name) => {}
            (true, _) => leave_out("points"),
            (false, _) => say(piece, name, &note.text),
        }
    }
    let drawn = grain.is_some_and(|ends| ends[0].distance(ends[1]) >= 1.0);
    piece.grain = match grain {
        Some([a, b]) if drawn => {
            if a.y <= b.y {
                [a, b]
            } else {
                [b, a]
            }
        }
        _ => upright(piece),
    };
    Ok(drawn)
}

/// An upright line through the middle of the piece's box.
fn upright(piece: &Piece) -> [Point; 2] {
    let bounds = piece.outline().bounding_box();
    let half = (bounds.height() / 4.0).max(1.0);
    let middle = bounds.center();
    [Point::new(middle.x, middle.y - half), Point::new(middle.x, middle.y + half)]
}

/// What is written in a piece: "Piece Name: Front" and "Quantity: 2" after ASTM D6673, else the first text is its name.
fn say(piece: &mut Piece, name: &mut PathName, text: &str) {
    let (key, value) = text.split_once(':').map_or(("", text), |(key, value)| (key.trim(), value.trim()));
    match key.to_lowercase().as_str() {
        "piece name" | "piece" => value.clone_into(&mut name.own),
        "quantity" | "cut" => {
            if let Some(count) =
                value.split_whitespace().next().and_then(|n| n.parse().ok()).filter(|n| (1..=999).contains(n))
            {
                piece.cut.count = count;
            }
        }
        "material" if !value.is_empty() => value.clone_into(&mut piece.cut.cloth),
        "" if words::is_plain(&name.own) && !text.trim().is_empty() => text.trim().clone_into(&mut name.own),
        _ => {}
    }
}

/// Puts the straight edge beside a fold mark on the fold; whether there is one.
fn fold(piece: &mut Piece, mark: &BezPath) -> bool {
    use kurbo::ParamCurve;
    let longest = mark.segments().max_by(|a, b| {
        let long = |s: &kurbo::PathSeg| s.start().distance(s.end());
        long(a).total_cmp(&long(b))
    });
    let Some(longest) = longest else { return false };
    let (a, b) = (longest.start(), longest.end());
    let along = b - a;
    let best = (0..piece.edges.len())
        .filter_map(|index| {
            let path = &piece.edges[index].path;
            let (from, to) = (path::start(path)?, path::end(path)?);
            let chord = to - from;
            let straight = path::length(path) - chord.hypot() < 0.01;
            let level = chord.cross(along).abs() < 0.02 * chord.hypot() * along.hypot();
            let off = parts::nearest(path, a.midpoint(b))?.1;
            (straight && level && off <= FOLD_REACH).then_some((off, index))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((_, index)) = best else { return false };
    let taken = piece.edges.iter().any(|edge| edge.fold);
    if !taken {
        piece.edges[index].fold = true;
        piece.edges[index].allowance = 0.0;
    }
    true
}

/// The lines of notches; those that meet at their ends are one, no wider than a mark and on one edge: a V may be drawn as two,
/// a U as three. Slits that carry two stitching lines out past a corner meet there, and are two.
fn notch_lines(piece: &Piece, inner: &[&Stroke], join: f64, patience: &mut Patience) -> Result<Vec<BezPath>> {
    let is_narrow = |stroke: &Stroke| stroke.bounds.size().max_side() < WIDEST_MARK;
    let all = inner.iter().copied().filter(|stroke| stroke.role == Some(Role::Notch));
    let (narrow, wide): (Vec<&Stroke>, Vec<&Stroke>) = all.partition(|stroke| is_narrow(stroke));
    let (closed, open) = loops::joined(&narrow, join, patience)?;
    let closed = closed.into_iter().map(|outline| Stroke::new(outline.role, outline.path, outline.name));
    let (mut marks, mut chains): (Vec<Stroke>, Vec<Stroke>) = closed.partition(is_narrow);
    let whole = piece.outline();
    for chain in open {
        (0..2).try_for_each(|_| patience.measure(&whole))?;
        if is_narrow(&chain) && stands_on_one_edge(piece, &chain.path) { &mut marks } else { &mut chains }.push(chain);
    }
    // Notches along an edge that happen to meet are as many as are drawn.
    let place = |p: Point| [p.x, p.y].map(f64::to_bits);
    let chained: HashSet<[u64; 2]> =
        chains.iter().flat_map(|chain| chain.path.elements()).filter_map(|el| el.end_point().map(place)).collect();
    let ends = |stroke: &Stroke| [path::start(&stroke.path), path::end(&stroke.path)];
    let is_chained = |stroke: &Stroke| ends(stroke).into_iter().flatten().any(|end| chained.contains(&place(end)));
    let apart = narrow.into_iter().filter(|stroke| is_chained(stroke)).chain(wide).map(|stroke| stroke.path.clone());
    Ok(marks.into_iter().map(|mark| mark.path).chain(apart).collect())
}

/// Whether a line goes from a place on an edge to another place on it.
fn stands_on_one_edge(piece: &Piece, line: &BezPath) -> bool {
    let foot = |end: Option<Point>| nearest(piece, end?);
    match (foot(path::start(line)), foot(path::end(line))) {
        (Some((edge, (from, _))), Some((other, (to, _)))) => edge == other && (from - to).abs() > ONE_NOTCH,
        _ => false,
    }
}

/// First and last point of a notch's line, and the middle of all its corners.
fn ends(line: &BezPath) -> Option<[Point; 3]> {
    use kurbo::ParamCurve;
    let (start, end) = (path::start(line)?, path::end(line)?);
    let mut corners: Vec<Point> = line.segments().map(|segment| segment.start()).collect();
    if end.distance(start) > 1e-6 {
        corners.push(end);
    }
    let sum = corners.iter().fold(kurbo::Vec2::ZERO, |sum, corner| sum + corner.to_vec2());
    Some([start, end, (sum / corners.len() as f64).to_point()])
}

/// Where a notch's line says that the notch is: at its end that is nearer to an edge. Where both are alike near, as those
/// of a V or a U are, of a T's bar, or of a line across the edge, between them.
fn foot(piece: &Piece, [start, end, middle]: [Point; 3]) -> Point {
    let off = |p: Point| nearest(piece, p).map_or(f64::INFINITY, |(_, (_, off))| off);
    let (first, last) = (off(start), off(end));
    if (first - last).abs() < ALIKE && start.distance(end) < WIDEST_MARK {
        middle
    } else if first < last {
        start
    } else {
        end
    }
}

/// The edge that comes nearest to a point, how far along it that is, and how far off.
fn nearest(piece: &Piece, p: Point) -> Option<(usize, (f64, f64))> {
    let edges = piece.edges.iter().enumerate();
    let near = edges.filter_map(|(index, edge)| Some((index, parts::nearest(&edge.path, p)?)));
    near.min_by(|a, b| a.1.1.total_cmp(&b.1.1))
}

/// Adds a notch to the edge that comes nearest to a point; whether one is near.
fn notch(piece: &mut Piece, place: Point) -> bool {
    let Some((index, (at, off))) = nearest(piece, place) else { return false };
    if off > NOTCH_REACH {
        return false;
    }
    let edge = piece.edges[index].name.clone();
    if !piece.notches.iter().any(|known| known.edge == edge && (known.at - at).abs() < ONE_NOTCH) {
        piece.notches.push(Notch { edge, at, kind: NotchKind::Slit, count: 1, depth: None });
    }
    true
}

fn drill(piece: &mut Piece, at: Point) {
    if !piece.drills.iter().any(|known| known.distance(at) < ONE_DRILL) {
        piece.drills.push(at);
    }
}

/// Adds an inner line; lines of one name are numbered.
fn line(piece: &mut Piece, stroke: &Stroke, numbers: &mut BTreeMap<String, usize>) {
    let own = if words::is_plain(&stroke.name.own) { "" } else { &*stroke.name.own };
    let number = numbers.entry(own.into()).or_insert(0);
    let mut name = own.to_owned();
    while name.is_empty() || piece.path(&name).is_some() {
        *number += 1;
        name = format!("{} {number}", if own.is_empty() { "line" } else { own });
    }
    piece.lines.push(InnerLine { name, path: path::opened(&stroke.path) });
}
