//! Joined edges walked against each other on the net line, as a careful cutter does with a pin.

mod allowances;
mod carry;
mod itself;
mod pairing;
mod through;
mod ways;

use crate::diag::Finding;
use crate::piece::{Join, PieceSet, Span};
use crate::units::{format_length, trimmed};
use pairing::Pairing;
use serde::Serialize;

pub use carry::carry;
pub use ways::ways;

/// Two sides of a seam that differ by more than this from what is planned hold the output back, mm (common practice, no
/// source).
pub const TOLERANCE: f64 = 0.5;

/// Sew lines that run through a seam with a bend over this hold the output back, degrees (common practice, no source).
pub const BEND: f64 = 3.0;

/// What walking one seam found.
#[derive(Clone, Debug, Serialize)]
pub struct WalkedJoin {
    /// The seam's name.
    pub name: String,
    /// Every span with its length, mm, side by side.
    pub sides: [Vec<WalkedSpan>; 2],
    /// Net length of each side, mm.
    pub lengths: [f64; 2],
    /// By how much the first side should be longer than the second, mm.
    pub planned: f64,
    /// First side less second side less planned, mm.
    pub difference: f64,
    /// The angle of the sew lines as they run through the seam at its start and its end, degrees: 180 is smooth; `None`
    /// where an inner line has no corner.
    pub through: [Option<f64>; 2],
    /// Places on the first and the second side that are sewn to each other, mm from the seam's start, in order; between
    /// two of them the longer side's surplus is spread evenly. Empty where nothing is sewn.
    pub pairs: Vec<[f64; 2]>,
    /// The notches on each side, and where they land on the other.
    pub notches: [Vec<WalkedNotch>; 2],
    /// Whether the two sides have the same allowance all along; where they don't, a warning says so.
    pub allowances_agree: bool,
    /// Whether lengths and angles are as planned.
    pub agrees: bool,
}

/// One link of a walked side.
#[derive(Clone, Debug, Serialize)]
pub struct WalkedSpan {
    /// Piece and edge as `Front/side`.
    pub span: String,
    /// Its net length, mm.
    pub length: f64,
}

/// A notch met on a walk.
#[derive(Clone, Debug, Serialize)]
pub struct WalkedNotch {
    /// Piece and edge as `Front/side`.
    pub span: String,
    /// Its distance from the seam's start along its own side, mm.
    pub at: f64,
    /// Where it lands on the other side, as the distance from the seam's start along that, mm; `None` in the gap.
    pub lands: Option<f64>,
    /// Marks side by side.
    pub count: u8,
}

/// Walks every seam. `tolerance` in mm.
///
/// Lengths that differ from the plan by more than the tolerance are breaches, and so are sew lines that bend in a seam or
/// at a fold by more than [`BEND`], unless the style wants a point there; an edge sewn to itself of a piece that is neither
/// on the fold nor a mirrored pair; and gathers to more than the length that is there.
pub fn walk(set: &PieceSet, tolerance: f64) -> (Vec<WalkedJoin>, Vec<Finding>) {
    let mut findings = Vec::new();
    let walked = set.joins.iter().map(|join| walk_join(set, join, tolerance, &mut findings)).collect();
    through::folds(set, &mut findings);
    (walked, findings)
}

fn walk_join(set: &PieceSet, join: &Join, tolerance: f64, findings: &mut Vec<Finding>) -> WalkedJoin {
    let sides = [0, 1].map(|side: usize| walk_side(set, &join.sides[side]));
    let lengths = [0, 1].map(|side: usize| sides[side].iter().map(|span| span.length).sum::<f64>());
    let second = lengths[1] - join.gap;
    let planned = second * join.ratio + join.ease - lengths[1];
    let difference = lengths[0] - lengths[1] - planned;
    let as_long = difference.abs() <= tolerance;
    if !as_long {
        findings.push(length_breach(set, join, lengths, difference));
    }
    let through = [through::at_start(set, join), through::at_end(set, join)];
    let mut runs_true = true;
    for (end, angle) in through.iter().enumerate() {
        let Some(angle) = angle.filter(|_| !join.pointed[end]) else { continue };
        if (angle - 180.0).abs() > BEND {
            runs_true = false;
            findings.push(through::bend(join, end, angle));
        }
    }
    if join.ratio < 1.0 - 1e-9 {
        findings.push(ungathered(set, join, lengths));
    }
    let pairing = Pairing::new(join, lengths);
    itself::paired(set, join, &pairing, findings);
    if !pairing.as_asked {
        findings.push(unspread(join));
    }
    WalkedJoin {
        name: join.name.clone(),
        sides,
        lengths,
        planned,
        difference,
        through,
        pairs: pairing.pairs().to_vec(),
        notches: [0, 1].map(|side| notches(set, join, side, &pairing)),
        allowances_agree: allowances::agree(set, join, &pairing, findings),
        agrees: as_long && runs_true,
    }
}

fn notches(set: &PieceSet, join: &Join, side: usize, pairing: &Pairing) -> Vec<WalkedNotch> {
    let walked = carry::notches_along(set, &join.sides[side]).into_iter().filter(|walked| walked.is_notch);
    let mut notches: Vec<WalkedNotch> = walked
        .map(|walked| WalkedNotch {
            lands: pairing.across(side, walked.along),
            at: walked.along,
            span: walked.span,
            count: walked.notch.count,
        })
        .collect();
    notches.sort_by(|a, b| a.at.total_cmp(&b.at));
    notches
}

fn unspread(join: &Join) -> Finding {
    let first = &join.sides[0][0];
    Finding::breach(format!("the ease of seam \"{}\" can't be spread between the places that it names", join.name))
        .piece(&first.piece)
        .edge(&first.edge)
        .hint("give two places on the second side, the nearer one first, with room for the ease between them")
}

/// Says that a side is shorter than what it is gathered into.
fn ungathered(set: &PieceSet, join: &Join, lengths: [f64; 2]) -> Finding {
    let first = &join.sides[0][0];
    let [ruffle, seam] = [lengths[0], lengths[1] - join.gap].map(|mm| format_length(mm, set.unit));
    Finding::breach(format!(
        "\"{}\" can't be gathered {} times: {ruffle} is shorter than the {seam} that it is sewn to",
        join.name,
        trimmed(join.ratio, 3)
    ))
    .piece(&first.piece)
    .edge(&first.edge)
    .hint("write times= 1 or more; in a seam the side that is gathered is named first")
}

/// Sewn length of a side, mm.
fn side_length(set: &PieceSet, side: &[Span]) -> f64 {
    side.iter().map(|span| span_length(set, span)).sum()
}

fn walk_side(set: &PieceSet, spans: &[Span]) -> Vec<WalkedSpan> {
    spans.iter().map(|span| WalkedSpan { span: span.to_string(), length: span_length(set, span) }).collect()
}

/// Net length of a span as sewn, darts and pleats closed, mm; 0 where it is not there, which readers of pieces and styles
/// refuse.
fn span_length(set: &PieceSet, span: &Span) -> f64 {
    set.piece(&span.piece).and_then(|piece| piece.sewn_length(&span.edge)).unwrap_or(0.0)
}

fn length_breach(set: &PieceSet, join: &Join, lengths: [f64; 2], difference: f64) -> Finding {
    let names =
        [0, 1].map(|side: usize| join.sides[side].iter().map(ToString::to_string).collect::<Vec<_>>().join(" + "));
    let unit = set.unit;
    let off = format!("{} ({:.2} mm)", format_length(difference.abs(), unit), difference.abs());
    let which = if difference > 0.0 { "too long" } else { "too short" };
    let message = format!(
        "seam \"{}\" does not agree: {} is {} and {} is {}; the first is {off} {which}",
        join.name,
        names[0],
        format_length(lengths[0], unit),
        names[1],
        format_length(lengths[1], unit),
    );
    let first = &join.sides[0][0];
    Finding::breach(message)
        .piece(&first.piece)
        .edge(&first.edge)
        .hint("change one of the two edges, or say the ease that is planned")
}
