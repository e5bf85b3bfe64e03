//! Strips and flounces: cut to a measured seam, divided by the cloth's width into lengths that are joined.
//!
//! A straight strip of T needs T / (cloth's width less the join allowances) lengths, rounded up. Its joins keep away from
//! the quarter marks, the centre front first of all, as far as the cloth's width lets them. A flounce of k turns on a seam
//! s has an inner radius of s / 2πk (geometry).

use super::edges::SAME;
use super::{Drafter, sides};
use crate::diag::{Finding, Result};
use crate::geom::{parts, path};
use crate::piece::{BEFORE_START, BEHIND_START, Cut, Edge, Finish, Fit, Join, Notch, NotchKind, Piece, Span};
use crate::style::Strip;
use crate::style::formula::{Formula, Scope};
use kurbo::{BezPath, Point};
use std::f64::consts::{FRAC_PI_2, TAU};

/// A strip is never cut in more lengths than this.
const MOST: f64 = 500.0;

/// A join this near to a quarter mark is on it, mm: half an inch (common practice, no source).
const ON_MARK: f64 = 12.7;

/// A strip made up.
#[derive(Clone, Debug)]
pub(super) struct Made {
    /// Its lengths; equal ones are one piece.
    pub pieces: Vec<Piece>,
    /// Which piece each length is, in the order of wearing.
    order: Vec<usize>,
    /// The seam to what it is sewn to, and those between its lengths.
    pub joins: Vec<Join>,
}

impl Made {
    /// The edges of its lengths one after another; a top that is parted at the seam's start counts as one.
    pub fn spans(&self, edge: &str, backwards: bool) -> Vec<Span> {
        // In the order of wearing the hem runs forward and the top, on the other side, backward.
        let against = edge == "top";
        let mut spans = Vec::new();
        for index in &self.order {
            let piece = &self.pieces[*index];
            let mut names: Vec<&str> = piece.edges.iter().map(|e| e.name.as_str()).filter(|e| named(e, edge)).collect();
            if against {
                names.reverse();
            }
            spans.extend(names.into_iter().map(|name| Span {
                piece: piece.name.clone(),
                edge: name.to_owned(),
                backwards: against,
            }));
        }
        // A ring is walked from the seam's start, which may lie within a length.
        if let Some(start) = spans.iter().position(|span| span.edge.ends_with(BEHIND_START)) {
            spans.rotate_left(start);
        }
        if backwards {
            spans.reverse();
            for span in &mut spans {
                span.backwards = !span.backwards;
            }
        }
        spans
    }

    /// Length of an edge over all lengths, mm.
    pub fn length(&self, edge: &str) -> Option<f64> {
        let of = |index: &usize| -> Option<f64> {
            let found: Vec<f64> = self.pieces[*index]
                .edges
                .iter()
                .filter(|e| named(&e.name, edge))
                .map(|e| path::length(&e.path))
                .collect();
            (!found.is_empty()).then(|| found.iter().sum())
        };
        self.order.iter().map(of).sum()
    }
}

/// Whether an edge has this name, or is one of the parts of the edge of this name that lie before a ring's start and behind
/// it.
fn named(edge: &str, wanted: &str) -> bool {
    edge.strip_prefix(wanted).is_some_and(|rest| rest.is_empty() || rest == BEFORE_START || rest == BEHIND_START)
}

/// One length of a strip.
#[derive(Clone, Debug, PartialEq)]
struct Length {
    long: f64,
    /// Quarter marks, from its left end, mm.
    marks: Vec<f64>,
    /// Where the seam starts within it, from its left end, mm.
    start: Option<f64>,
    /// Allowances of its left and right end, mm.
    ends: [f64; 2],
}

impl Length {
    fn alike(&self, other: &Self) -> bool {
        let close = |a: f64, b: f64| (a - b).abs() < 1e-6;
        close(self.long, other.long)
            && self.start.is_some() == other.start.is_some()
            && self.marks.len() == other.marks.len()
            && self.marks.iter().zip(&other.marks).all(|(a, b)| close(*a, *b))
            && self.ends.iter().zip(&other.ends).all(|(a, b)| close(*a, *b))
    }
}

/// Makes a strip up; `None` where it is not wanted, or what it is sewn to is not there.
pub(super) fn make<'a>(drafter: &mut Drafter<'a>, strip: &'a Strip) -> Result<Option<Made>> {
    if !drafter.holds(strip.when.as_ref())? {
        return Ok(None);
    }
    let mut onto = Vec::new();
    let mut seam = match &strip.length {
        Some(length) => length.length(drafter)?,
        None => 0.0,
    };
    for span in &strip.onto {
        let Some(spans) = drafter.spans(span)? else { return Ok(None) };
        onto.push(spans);
        let place = |mut finding: Box<Finding>| {
            finding.snippet.get_or_insert_with(|| span.place.snippet());
            finding
        };
        seam += drafter.length_of(&span.piece, &span.edge).map_err(place)?;
    }
    // A strip's own edges run over several lengths; those of pieces may be of one side of the body.
    let of_pieces = sides::chain(drafter, &strip.onto);
    let onto = strip.onto.iter().zip(onto).zip(of_pieces);
    let onto = onto.flat_map(|((span, spans), own)| match drafter.style.strip(&span.piece) {
        Some(_) => spans,
        None => vec![own],
    });
    let onto: Vec<Span> = onto.collect();
    let times = strip.times.as_ref().map_or(Ok(1.0), |times| times.number(drafter))?;
    let total = seam * times;
    if total < SAME {
        return Err(strip.name.error(format!("\"{}\" comes out without length", strip.name.text)).into());
    }
    let depth = strip.depth.length(drafter)?;
    if depth < SAME {
        return Err(strip.depth.source().error("a strip needs a depth over 0").into());
    }
    let join = allowance(drafter, &strip.join)?;
    let ends = strip.ends.as_ref().map_or(Ok(join), |ends| allowance(drafter, ends))?;
    let (lengths, radius) = match &strip.circular {
        None => (straight(drafter, strip, total, join, ends)?, None),
        Some((turns, sections)) => {
            let turns = turns.number(drafter)?;
            if !(0.01..=50.0).contains(&turns) {
                return Err(strip.name.error("a flounce makes from a hundredth of a turn to 50 turns").into());
            }
            let sections = match sections {
                Some(sections) => sections.number(drafter)?,
                None => (turns * 2.0 - 1e-9).ceil().max(1.0),
            };
            if sections < 1.0 || sections.fract() != 0.0 || turns / sections > 0.95 || sections > MOST {
                return Err(strip
                    .name
                    .error(format!("{turns} turns can't be cut in {sections} sections"))
                    .hint("a section is less than a whole turn: add sections=2")
                    .into());
            }
            let count = sections as usize;
            (divided(strip.ring, total, &equal(strip.ring, total, count), join, ends), Some(total / (TAU * turns)))
        }
    };
    let hem = allowance(drafter, &strip.hem)?;
    let mut made = Made { pieces: Vec::new(), order: Vec::new(), joins: Vec::new() };
    let mut kinds: Vec<Length> = Vec::new();
    for length in lengths {
        let at = kinds.iter().position(|kind| kind.alike(&length)).unwrap_or_else(|| {
            kinds.push(length);
            kinds.len() - 1
        });
        made.order.push(at);
    }
    for (index, kind) in kinds.iter().enumerate() {
        let mut piece = build(kind, depth, radius, [hem, join]);
        let number = format!(" {}", index + 1);
        piece.name = strip.name.text.clone() + if kinds.len() > 1 { &number } else { "" };
        let count = made.order.iter().filter(|at| **at == index).count() as u32;
        piece.cut = Cut { count, mirrored: false, cloth: strip.cloth.clone() };
        made.pieces.push(piece);
    }
    made.joins = seams(&made, strip, onto, times);
    Ok(Some(made))
}

fn allowance(drafter: &mut Drafter<'_>, formula: &Formula) -> Result<f64> {
    let width = formula.length(drafter)?;
    if width < 0.0 {
        return Err(formula.source().error("this allowance comes out negative").into());
    }
    Ok(width)
}

/// A straight strip's lengths.
fn straight<'a>(drafter: &mut Drafter<'a>, strip: &'a Strip, total: f64, join: f64, ends: f64) -> Result<Vec<Length>> {
    let Some(width) = &strip.cloth_width else {
        return Ok(divided(strip.ring, total, &equal(strip.ring, total, 1), join, ends));
    };
    let most = width.length(drafter)? - 2.0 * join.max(ends);
    if most < SAME {
        return Err(width.source().error("the cloth is too narrow for its joins").into());
    }
    let count = (total / most - 1e-9).ceil().max(1.0);
    if count > MOST {
        return Err(strip
            .name
            .error(format!("this strip would be cut in {count} lengths"))
            .hint("check its fullness and the cloth's width")
            .into());
    }
    let count = count as usize;
    let mut cuts = equal(strip.ring, total, count);
    if !strip.ring && count > 1 {
        cuts = keep_off_marks(total, count, most);
        if off_marks(&cuts, total) < ON_MARK {
            cuts = keep_off_marks(total, count + 1, most);
        }
    }
    Ok(divided(strip.ring, total, &cuts, join, ends))
}

/// Places of the joins of equal lengths, from the seam's start, mm. In a ring they stand midway between the places where
/// a quarter mark could meet one.
fn equal(ring: bool, total: f64, count: usize) -> Vec<f64> {
    let long = total / count as f64;
    if !ring {
        return (1..count).map(|k| long * k as f64).collect();
    }
    let common = count * 4
        / if count.is_multiple_of(4) {
            4
        } else if count.is_multiple_of(2) {
            2
        } else {
            1
        };
    let first = total / common as f64 / 2.0;
    (0..count).map(|k| first + long * k as f64).collect()
}

/// Joins of a strip with two ends, shifted off the quarter marks as far as the longest length lets them.
fn keep_off_marks(total: f64, count: usize, most: f64) -> Vec<f64> {
    const STEPS: i32 = 40;
    let even = equal(false, total, count);
    let long = total / count as f64;
    let room = (most - long).clamp(0.0, long / 2.0);
    let shifted = |step: i32| -> Vec<f64> {
        let shift = room * f64::from(step) / f64::from(STEPS);
        even.iter().map(|at| at + shift).collect()
    };
    let mut best = even.clone();
    for step in (1..=STEPS).flat_map(|step| [step, -step]) {
        let tried = shifted(step);
        if off_marks(&tried, total) > off_marks(&best, total) + SAME {
            best = tried;
        }
    }
    best
}

/// How far the nearest join is from a quarter mark, mm.
fn off_marks(cuts: &[f64], total: f64) -> f64 {
    let marks = [0.25, 0.5, 0.75].map(|part| total * part);
    cuts.iter().flat_map(|cut| marks.map(|mark| (cut - mark).abs())).fold(f64::INFINITY, f64::min)
}

/// The lengths between the joins, with the quarter marks that fall into each.
fn divided(ring: bool, total: f64, cuts: &[f64], join: f64, ends: f64) -> Vec<Length> {
    let mut bounds = cuts.to_vec();
    if ring {
        bounds.push(cuts[0] + total);
    } else {
        bounds.insert(0, 0.0);
        bounds.push(total);
    }
    let last = bounds.len() - 2;
    bounds
        .windows(2)
        .enumerate()
        .map(|(index, pair)| {
            let (from, to) = (pair[0], pair[1]);
            let marks = (1..8).map(|quarter| total * f64::from(quarter) / 4.0).filter(|mark| ring || *mark < total);
            let marks = marks.filter(|mark| *mark > from + SAME && *mark < to - SAME).map(|mark| mark - from).collect();
            let start = (ring && total > from + SAME && total < to - SAME).then_some(total - from);
            let end = |outer: bool| if outer && !ring { ends } else { join };
            Length { long: to - from, marks, start, ends: [end(index == 0), end(index == last)] }
        })
        .collect()
}

/// Draws one length: straight, or as a section of a ring with that inner radius.
fn build(kind: &Length, depth: f64, radius: Option<f64>, [hem, join]: [f64; 2]) -> Piece {
    // From the left end, mm along the top, to a place on the top or the hem.
    let at = |along: f64, down: f64| match radius {
        None => Point::new(along, depth - down),
        Some(radius) => {
            let angle = -FRAC_PI_2 + (along - kind.long / 2.0) / radius;
            Point::new((radius + down) * angle.cos(), (radius + down) * angle.sin())
        }
    };
    let run = |from: f64, to: f64, down: f64| match radius {
        None => {
            let mut path = BezPath::new();
            path.move_to(at(from, down));
            path.line_to(at(to, down));
            path
        }
        Some(radius) => {
            let mut path = parts::arc(Point::ORIGIN, at(from, down), (to - from) / radius);
            // The last point is the one that the next edge starts from, to the last digit.
            if let Some(kurbo::PathEl::CurveTo(_, _, end)) = path.elements_mut().last_mut() {
                *end = at(to, down);
            }
            path
        }
    };
    let side = |along: f64, from: f64, to: f64| {
        let mut path = BezPath::new();
        path.move_to(at(along, from));
        path.line_to(at(along, to));
        path
    };
    let edge = |name: &str, path: BezPath, allowance: f64, corner: Finish| Edge {
        name: name.into(),
        path,
        allowance,
        fold: false,
        corner,
    };
    let turned_up = if radius.is_none() { Finish::FoldBack } else { Finish::Mitre };
    let mut edges = Vec::new();
    match kind.start {
        None => edges.push(edge("hem", run(0.0, kind.long, depth), hem, turned_up)),
        Some(start) => {
            edges.push(edge(&format!("hem{BEFORE_START}"), run(0.0, start, depth), hem, Finish::Mitre));
            edges.push(edge(&format!("hem{BEHIND_START}"), run(start, kind.long, depth), hem, turned_up));
        }
    }
    edges.push(edge("right end", side(kind.long, depth, 0.0), kind.ends[1], Finish::Mitre));
    match kind.start {
        None => edges.push(edge("top", run(kind.long, 0.0, 0.0), join, Finish::Mitre)),
        Some(start) => {
            edges.push(edge(&format!("top{BEHIND_START}"), run(kind.long, start, 0.0), join, Finish::Mitre));
            edges.push(edge(&format!("top{BEFORE_START}"), run(start, 0.0, 0.0), join, Finish::Mitre));
        }
    }
    edges.push(edge("left end", side(0.0, 0.0, depth), kind.ends[0], turned_up));
    let notches = kind
        .marks
        .iter()
        .map(|mark| {
            let (part, from) = match kind.start {
                None => ("", kind.long),
                Some(start) if *mark < start + SAME => (BEFORE_START, start),
                Some(_) => (BEHIND_START, kind.long),
            };
            let edge = format!("top{part}");
            Notch { edge, at: (from - mark).max(0.0), kind: NotchKind::Slit, count: 1, depth: None }
        })
        .collect();
    let middle = at(kind.long / 2.0, depth / 2.0);
    let half = kurbo::Vec2::new(0.0, depth / 4.0);
    Piece {
        name: String::new(),
        cut: Cut::default(),
        edges,
        notches,
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: [middle - half, middle + half],
        drills: Vec::new(),
        lines: Vec::new(),
        fastenings: Vec::new(),
    }
}

/// The seam to what the strip is sewn to, and those between its lengths, each kind once.
fn seams(made: &Made, strip: &Strip, onto: Vec<Span>, times: f64) -> Vec<Join> {
    let join = |name: String, sides: [Vec<Span>; 2], ratio: f64| Join {
        name,
        sides,
        ease: 0.0,
        ratio,
        gap: 0.0,
        fit: Fit::default(),
        pointed: [true, true],
    };
    let mut joins = Vec::new();
    if !onto.is_empty() {
        joins.push(join(strip.name.text.clone(), [made.spans("top", false), onto], times));
    }
    let mut known: Vec<[usize; 2]> = Vec::new();
    for (index, length) in made.order.iter().enumerate() {
        let next = if index + 1 < made.order.len() {
            made.order[index + 1]
        } else if strip.ring {
            made.order[0]
        } else {
            break;
        };
        if !known.contains(&[*length, next]) {
            known.push([*length, next]);
            let span = |piece: usize, edge: &str, backwards| {
                vec![Span { piece: made.pieces[piece].name.clone(), edge: edge.into(), backwards }]
            };
            let number = if known.len() > 1 { format!(" {}", known.len()) } else { String::new() };
            let name = format!("{}, joined{number}", strip.name.text);
            joins.push(join(name, [span(*length, "right end", false), span(next, "left end", true)], 1.0));
        }
    }
    joins
}
