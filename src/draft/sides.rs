//! Left and right: where a measure differs, each side of the body is drafted for itself, and its pieces are separate.
//!
//! A piece that says which side it is drawn for, as `cut 2 mirrored=#true drawn="right"`, is drafted twice. A mirrored pair
//! becomes two pieces, "Left Back" and "Right Back"; a piece on the fold is opened out of its two halves, and its edges are
//! called "left side" and "right side". Where both drafts agree the piece stays what it was. Everything else, such as a
//! waistband, is drafted once, with the mean of both sides: the mean of two lengths, twice, is their sum.

use super::{Drafter, path};
use crate::diag::{Finding, Result};
use crate::measures::Side;
use crate::piece::{Dart, Edge, Fastening, Finish, InnerLine, Join, Notch, Piece, Pleat, Pressed, Span};
use crate::style::{PieceSteps, Seam, SpanRef};
use crate::units::{Unit, format_length};
use kurbo::{Affine, BezPath, PathEl, Point};

/// Which side of the body a step is carried out for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Body {
    /// Both alike, by the mean of each measure.
    Both,
    /// One side, by its own measures.
    Only(Side),
}

impl Body {
    /// A place in a list of three.
    pub fn index(self) -> usize {
        match self {
            Self::Both => 0,
            Self::Only(Side::Left) => 1,
            Self::Only(Side::Right) => 2,
        }
    }

    pub fn other(self) -> Self {
        match self {
            Self::Both => Self::Both,
            Self::Only(side) => Self::Only(side.other()),
        }
    }

    /// `left `, `right `, or nothing.
    pub fn words(self) -> &'static str {
        match self {
            Self::Both => "",
            Self::Only(Side::Left) => "left ",
            Self::Only(Side::Right) => "right ",
        }
    }
}

/// How a piece of the style was parted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Split {
    /// A mirrored pair into two pieces.
    Pair(Side),
    /// A piece on the fold into a whole one.
    Whole(Side),
    /// A piece that the style opened itself; each half for its side.
    Unfolded(Side),
}

/// Two places closer than this are one, mm.
const SAME: f64 = 1e-6;

/// Halves may differ by this at their centre, mm.
const CENTRE: f64 = 0.01;

const SIDES: [Side; 2] = [Side::Left, Side::Right];

/// The name of one of a parted pair.
pub(super) fn pair_name(side: Side, piece: &str) -> String {
    match side {
        Side::Left => format!("Left {piece}"),
        Side::Right => format!("Right {piece}"),
    }
}

/// The name of an edge of a piece that was opened out.
pub(super) fn half_name(side: Side, edge: &str) -> String {
    format!("{} {edge}", side.name())
}

/// A piece of the style made up: one piece, or one for either side.
pub(super) fn pieces(
    drafter: &mut Drafter<'_>,
    index: usize,
    forced: bool,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Piece>> {
    let style = drafter.style;
    let steps = &style.pieces[index];
    let once = |drafter: &mut Drafter<'_>| Ok(vec![Piece::clone(&*drafter.finished(index)?)]);
    if !drafter.sided {
        return once(drafter);
    }
    let Some(drawn) = steps.drawn else {
        let made = once(drafter)?;
        let halved = steps.mirrored || made[0].fold().is_some_and(|fold| is_upright(&fold.path));
        if halved && differs(drafter, index) {
            findings.push(
                Finding::warning(format!("\"{}\" is drafted by the mean of left and right", steps.name.text))
                    .at(steps.name.snippet())
                    .piece(&steps.name.text)
                    .hint("the style does not say which side it is drawn for: add drawn=\"left\" or drawn=\"right\" to its cut"),
            );
        }
        return Ok(made);
    };
    let mut of = |side| drafter.for_body(Body::Only(side), |drafter| drafter.finished(index));
    let (ours, theirs) = (of(drawn)?, of(drawn.other())?);
    if !forced && alike(&ours, &theirs) {
        return Ok(vec![Piece::clone(&*ours)]);
    }
    if steps.is_unfolded() {
        drafter.splits.insert(index, Split::Unfolded(drawn));
        return Ok(vec![Piece::clone(&*ours)]);
    }
    if ours.fold().is_some() {
        drafter.splits.insert(index, Split::Whole(drawn));
        return Ok(vec![whole(steps, &ours, &theirs, drawn, style.unit)?]);
    }
    drafter.splits.insert(index, Split::Pair(drawn));
    let named = |piece: Piece, side: Side| {
        let mut cut = piece.cut.clone();
        (cut.count, cut.mirrored) = (cut.count / 2, false);
        Piece { name: pair_name(side, &steps.name.text), cut, ..piece }
    };
    let mut pair = [named(Piece::clone(&*ours), drawn), named(mirrored(&theirs), drawn.other())];
    if drawn == Side::Right {
        pair.reverse();
    }
    Ok(pair.into())
}

fn differs(drafter: &mut Drafter<'_>, index: usize) -> bool {
    let mut of = |side| drafter.for_body(Body::Only(side), |drafter| drafter.finished(index));
    match (of(Side::Left), of(Side::Right)) {
        (Ok(left), Ok(right)) => !alike(&left, &right),
        _ => false,
    }
}

fn is_upright(path: &BezPath) -> bool {
    path::start(path).zip(path::end(path)).is_some_and(|(a, b)| (a.x - b.x).abs() < (a.y - b.y).abs())
}

/// Whether two drafts of a piece are the same cloth.
fn alike(a: &Piece, b: &Piece) -> bool {
    let points = |path: &BezPath| -> Vec<Point> {
        path.elements()
            .iter()
            .flat_map(|element| match *element {
                PathEl::MoveTo(p) | PathEl::LineTo(p) => vec![p],
                PathEl::QuadTo(p, q) => vec![p, q],
                PathEl::CurveTo(p, q, r) => vec![p, q, r],
                PathEl::ClosePath => vec![],
            })
            .collect()
    };
    let close = |a: &BezPath, b: &BezPath| {
        let (a, b) = (points(a), points(b));
        a.len() == b.len() && a.iter().zip(&b).all(|(a, b)| a.distance(*b) < SAME)
    };
    let near = |a: f64, b: f64| (a - b).abs() < SAME;
    a.edges.len() == b.edges.len()
        && a.edges.iter().zip(&b.edges).all(|(a, b)| close(&a.path, &b.path) && near(a.allowance, b.allowance))
        && a.darts.len() == b.darts.len()
        && a.darts.iter().zip(&b.darts).all(|(a, b)| a.apex.distance(b.apex) < SAME)
        && a.lines.len() == b.lines.len()
        && a.lines.iter().zip(&b.lines).all(|(a, b)| close(&a.path, &b.path))
        && a.notches.len() == b.notches.len()
        && a.notches.iter().zip(&b.notches).all(|(a, b)| near(a.at, b.at))
}

/// Two halves that do not meet at the centre.
pub(super) fn centres_differ(line: &str, apart: f64, unit: Unit) -> Finding {
    Finding::error(format!("left and right do not meet at \"{line}\": they are {} apart", format_length(apart, unit)))
        .hint("what lies on the centre is placed by the mean of both sides: write \"mean shoulder to waist\" for it")
}

/// A piece seen from its other face: its outline runs the other way round.
fn mirrored(piece: &Piece) -> Piece {
    let flip = Affine::FLIP_X;
    let count = piece.edges.len();
    let edges = (0..count).rev().map(|index| {
        let edge = &piece.edges[index];
        // The corner at an image's end is the one at its edge's start.
        let corner = piece.edges[(index + count - 1) % count].corner;
        Edge { path: path::reversed(&(flip * edge.path.clone())), corner, ..edge.clone() }
    });
    let long = |name: &str| piece.edge(name).map_or(0.0, |edge| path::length(&edge.path));
    let turned = |mouth: [f64; 2], name: &str| [long(name) - mouth[1], long(name) - mouth[0]];
    Piece {
        edges: edges.collect(),
        notches: piece.notches.iter().map(|n| Notch { at: long(&n.edge) - n.at, ..n.clone() }).collect(),
        darts: piece
            .darts
            .iter()
            .map(|dart| Dart {
                mouth: turned(dart.mouth, &dart.edge),
                apex: flip * dart.apex,
                pressed: pressed(dart.pressed),
                ..dart.clone()
            })
            .collect(),
        pleats: piece
            .pleats
            .iter()
            .map(|pleat| Pleat {
                mouth: turned(pleat.mouth, &pleat.edge),
                pressed: pressed(pleat.pressed),
                ..pleat.clone()
            })
            .collect(),
        fastenings: piece.fastenings.iter().map(|fastening| fastened(*fastening, flip)).collect(),
        grain: piece.grain.map(|point| flip * point),
        drills: piece.drills.iter().map(|point| flip * *point).collect(),
        lines: piece.lines.iter().map(|line| InnerLine { path: flip * line.path.clone(), ..line.clone() }).collect(),
        ..piece.clone()
    }
}

fn fastened(fastening: Fastening, motion: Affine) -> Fastening {
    match fastening {
        Fastening::Button(at) => Fastening::Button(motion * at),
        Fastening::Buttonhole(from, to) => Fastening::Buttonhole(motion * from, motion * to),
    }
}

fn pressed(pressed: Pressed) -> Pressed {
    match pressed {
        Pressed::ToStart => Pressed::ToEnd,
        Pressed::ToEnd => Pressed::ToStart,
        Pressed::Open => Pressed::Open,
    }
}

/// Moves a piece.
fn moved(mut piece: Piece, motion: Affine) -> Piece {
    piece.edges.iter_mut().for_each(|edge| edge.path = motion * edge.path.clone());
    piece.lines.iter_mut().for_each(|line| line.path = motion * line.path.clone());
    piece.darts.iter_mut().for_each(|dart| dart.apex = motion * dart.apex);
    piece.drills.iter_mut().for_each(|drill| *drill = motion * *drill);
    piece.fastenings.iter_mut().for_each(|fastening| *fastening = fastened(*fastening, motion));
    piece.grain = piece.grain.map(|point| motion * point);
    piece
}

/// A piece on the fold opened out: the half that is drawn, and the other half's own draft in place of an image.
fn whole(steps: &PieceSteps, ours: &Piece, theirs: &Piece, drawn: Side, unit: Unit) -> Result<Piece> {
    let theirs = mirrored(theirs);
    let fold_of = |piece: &Piece| piece.edges.iter().position(|edge| edge.fold).unwrap_or_default();
    let (at, their_at) = (fold_of(ours), fold_of(&theirs));
    let (fold, their_fold) = (&ours.edges[at].path, &theirs.edges[their_at].path);
    let ends = |path: &BezPath| (path::start(path).unwrap_or_default(), path::end(path).unwrap_or_default());
    let (top, low) = ends(fold);
    // The other half's fold runs the other way.
    let (their_low, their_top) = ends(their_fold);
    let apart = (path::length(fold) - path::length(their_fold)).abs();
    if apart > CENTRE {
        let place = steps.edge(&ours.edges[at].name).map_or(&steps.name, |edge| &edge.name);
        return Err(centres_differ(&place.text, apart, unit).at(place.snippet()).piece(&steps.name.text).into());
    }
    let turn = (low - top).atan2() - (their_low - their_top).atan2();
    let motion = Affine::translate(top.to_vec2()) * Affine::rotate(turn) * Affine::translate(-their_top.to_vec2());
    let theirs = moved(theirs, motion);
    let mut piece = renamed(ours, drawn);
    let mut theirs = renamed(&theirs, drawn.other());
    let fold = piece.edges.remove(at);
    piece.edges.rotate_left(at);
    theirs.edges.remove(their_at);
    theirs.edges.rotate_left(their_at);
    settle(&mut theirs.edges, top, low);
    piece.edges.append(&mut theirs.edges);
    piece.notches.append(&mut theirs.notches);
    piece.darts.append(&mut theirs.darts);
    piece.pleats.append(&mut theirs.pleats);
    piece.drills.append(&mut theirs.drills);
    piece.fastenings.append(&mut theirs.fastenings);
    piece.lines.append(&mut theirs.lines);
    piece.lines.push(InnerLine { name: ours.edges[at].name.clone(), path: fold.path });
    Ok(piece)
}

/// One half of a piece that was opened out, with the fold that it was opened about.
pub(super) fn half_of(whole: &Piece, side: Side) -> Piece {
    let mine = |name: &str| name.strip_prefix(side.name()).is_some_and(|rest| rest.starts_with(' '));
    let mut half = whole.clone();
    half.edges.retain(|edge| mine(&edge.name));
    half.darts.retain(|dart| mine(&dart.edge));
    let ends = half.edges.first().and_then(|edge| path::start(&edge.path));
    let ends = ends.zip(half.edges.last().and_then(|edge| path::end(&edge.path)));
    if let Some((start, end)) = ends {
        let mut path = BezPath::new();
        path.move_to(end);
        path.line_to(start);
        half.edges.push(Edge { name: String::new(), path, allowance: 0.0, fold: true, corner: Finish::Mitre });
    }
    half
}

/// Brings the ends of a half exactly to the ends of the fold.
fn settle(half: &mut [Edge], start: Point, end: Point) {
    if let Some(PathEl::MoveTo(p)) = half.first_mut().and_then(|edge| edge.path.elements_mut().first_mut()) {
        *p = start;
    }
    let last = half.last_mut().and_then(|edge| edge.path.elements_mut().last_mut());
    if let Some(PathEl::LineTo(p) | PathEl::CurveTo(_, _, p) | PathEl::QuadTo(_, p)) = last {
        *p = end;
    }
}

/// A half whose edges and lines carry the side's name.
fn renamed(piece: &Piece, side: Side) -> Piece {
    let mut piece = piece.clone();
    let rename = |name: &mut String| *name = half_name(side, name);
    piece.edges.iter_mut().for_each(|edge| rename(&mut edge.name));
    piece.lines.iter_mut().for_each(|line| rename(&mut line.name));
    piece.notches.iter_mut().for_each(|notch| rename(&mut notch.edge));
    piece.darts.iter_mut().for_each(|dart| rename(&mut dart.edge));
    piece.pleats.iter_mut().for_each(|pleat| rename(&mut pleat.edge));
    piece
}

/// What a seam's edges are on the made-up pieces. An edge that is named twice in a seam is first the one side's and then the
/// other's, starting with the side of the first edge that can only be of one.
struct Chains<'s, 'a> {
    drafter: &'s Drafter<'a>,
    seen: Vec<(&'s str, &'s str)>,
    first: Side,
}

impl<'s> Chains<'s, '_> {
    fn span(&mut self, span: &'s SpanRef) -> Span {
        let plain = Span { piece: span.piece.clone(), edge: span.edge.clone(), backwards: span.backwards };
        let Some((split @ (Split::Pair(drawn) | Split::Whole(drawn)), _)) = self.drafter.split(&span.piece) else {
            return plain;
        };
        let key = (span.piece.as_str(), span.edge.as_str());
        let side = if self.seen.contains(&key) { self.first.other() } else { self.first };
        self.seen.push(key);
        let backwards = span.backwards != (side != drawn);
        match split {
            Split::Pair(_) => Span { piece: pair_name(side, &span.piece), backwards, ..plain },
            _ => Span { edge: half_name(side, &span.edge), backwards, ..plain },
        }
    }
}

/// The sides that a seam is sewn on: `None` where it is one for the whole garment.
fn instances<'s>(drafter: &Drafter<'_>, spans: impl Iterator<Item = &'s SpanRef>) -> (Vec<Body>, Side) {
    let mut halves: Vec<(&str, &str)> = Vec::new();
    let (mut fixed, mut twice) = (None, false);
    for span in spans {
        match drafter.split(&span.piece) {
            None => {}
            Some((Split::Unfolded(drawn), _)) => {
                let side = if span.edge.starts_with("other ") { drawn.other() } else { drawn };
                fixed = fixed.or(Some(side));
            }
            Some(_) => {
                let key = (span.piece.as_str(), span.edge.as_str());
                twice |= halves.contains(&key);
                halves.push(key);
            }
        }
    }
    match fixed {
        _ if halves.is_empty() || twice => (vec![Body::Both], fixed.unwrap_or(Side::Left)),
        Some(side) => (vec![Body::Only(side)], side),
        None => (SIDES.map(Body::Only).to_vec(), Side::Left),
    }
}

/// A style's seam: one, or one for either side.
pub(super) fn joins<'a>(drafter: &mut Drafter<'a>, seam: &'a Seam) -> Result<Vec<Join>> {
    let (bodies, first) = instances(drafter, seam.sides.iter().flatten());
    let mut joins = Vec::new();
    for body in &bodies {
        let Some(mut join) = drafter.for_body(*body, |drafter| drafter.join(seam))? else { continue };
        if drafter.splits.is_empty() {
            joins.push(join);
            continue;
        }
        let first = if let Body::Only(side) = body { *side } else { first };
        let mut chains = Chains { drafter, seen: Vec::new(), first };
        for (side, spans) in join.sides.iter_mut().zip(&seam.sides) {
            if spans.iter().all(|span| drafter.style.strip(&span.piece).is_none()) {
                *side = spans.iter().map(|span| chains.span(span)).collect();
            }
        }
        // Where a seam ends at the centre of a piece that was opened out, it runs on into the other half.
        for spans in &seam.sides {
            let ends =
                [spans.first().map(|span| (span, span.backwards)), spans.last().map(|span| (span, !span.backwards))];
            for (pointed, end) in join.pointed.iter_mut().zip(ends) {
                *pointed |= end.is_some_and(|(span, at_end)| is_at_centre(drafter, span, at_end));
            }
        }
        if let ([_, _], Body::Only(side)) = (&bodies[..], body) {
            join.name = format!("{}, {}", join.name, side.name());
        }
        joins.push(join);
    }
    Ok(joins)
}

/// Whether an edge's start or end lies on the fold about which its piece was opened out.
fn is_at_centre(drafter: &Drafter<'_>, span: &SpanRef, at_end: bool) -> bool {
    let Some((Split::Whole(_), index)) = drafter.split(&span.piece) else { return false };
    let steps = &drafter.style.pieces[index];
    let folds = steps.edges.iter().filter(|edge| edge.fold);
    let ends: Vec<&str> = folds.flat_map(|fold| [fold.from.text.as_str(), fold.to.text.as_str()]).collect();
    steps.edge(&span.edge).is_some_and(|edge| ends.contains(&if at_end { &edge.to } else { &edge.from }.text.as_str()))
}

/// What a strip is sewn to, on the made-up pieces.
pub(super) fn chain(drafter: &Drafter<'_>, spans: &[SpanRef]) -> Vec<Span> {
    let (_, first) = instances(drafter, spans.iter());
    let mut chains = Chains { drafter, seen: Vec::new(), first };
    spans.iter().map(|span| chains.span(span)).collect()
}

/// The mean of what comes out for the left and for the right of a piece that was drafted for either.
pub(super) fn mean<'a>(drafter: &mut Drafter<'a>, of: &mut dyn FnMut(&mut Drafter<'a>) -> Result<f64>) -> Result<f64> {
    let mut sum = 0.0;
    for side in SIDES {
        sum += drafter.for_body(Body::Only(side), &mut *of)?;
    }
    Ok(sum / 2.0)
}
