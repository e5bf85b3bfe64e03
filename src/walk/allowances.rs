//! Do the two sides of a seam have the same allowance.

use super::pairing::Pairing;
use super::span_length;
use crate::diag::Finding;
use crate::piece::{Join, PieceSet, Span, whole_name};
use crate::units::format_length;

/// Allowances closer than this are the same, mm.
const SAME: f64 = 0.05;

/// Edges that meet over less than this, mm, are not compared.
pub(super) const TOUCH: f64 = 2.0;

/// Compares the allowances of edges that are sewn to each other, and warns where they differ, or where neither has one and a
/// piece of the two has some elsewhere: there it was forgotten. A block without any is net. Inner lines have none.
pub(super) fn agree(set: &PieceSet, join: &Join, pairing: &Pairing, findings: &mut Vec<Finding>) -> bool {
    let sides = [0, 1].map(|side: usize| stretches(set, &join.sides[side]));
    // What is alike is said once, as of a ruffle's lengths: both widths, and the edges on either side.
    let mut apart: Vec<([f64; 2], [Vec<&Span>; 2])> = Vec::new();
    for (first, from, to, width) in &sides[0] {
        // What lies beyond the sewn stretch lands at its end.
        let (Some(a), Some(b)) = (pairing.across(0, *from), pairing.across(0, *to)) else { continue };
        for (second, start, end, other) in &sides[1] {
            let forgotten = width.max(*other) <= SAME && [first, second].iter().any(|span| has_some(set, span));
            if b.min(*end) - a.max(*start) <= TOUCH || !forgotten && (width - other).abs() <= SAME {
                continue;
            }
            let alike = |widths: &[f64; 2]| (widths[0] - width).abs() <= SAME && (widths[1] - other).abs() <= SAME;
            let at = apart.iter().position(|(widths, _)| alike(widths)).unwrap_or_else(|| {
                apart.push(([*width, *other], Default::default()));
                apart.len() - 1
            });
            apart[at].1[0].push(first);
            apart[at].1[1].push(second);
        }
    }
    for ([width, other], spans) in &apart {
        let [(first, has), (second, _)] = [0, 1].map(|side: usize| named(&spans[side]));
        let (message, hint) = if width.max(*other) > SAME {
            let widths = [(width, "an allowance of"), (other, "one of")];
            let [width, other] = widths.map(|(width, of)| match *width {
                width if width > SAME => format!("{of} {}", format_length(width, set.unit)),
                _ => "no allowance".into(),
            });
            (
                format!("{first} {has} {width} and {second} {other}"),
                "give both the same, so that the cut edges lie on each other when they are sewn",
            )
        } else {
            let sewn = if first == second { "to itself".into() } else { format!("to {second}") };
            (
                format!(
                    "{first} {} sewn {sewn}, and there is no allowance on either side",
                    if has == "has" { "is" } else { "are" }
                ),
                "other edges of the piece have one: add allow=\"…\" to these",
            )
        };
        let place = spans[0][0];
        let finding = Finding::warning(format!("in seam \"{}\" {message}", join.name));
        findings.push(finding.piece(&place.piece).edge(&place.edge).hint(hint));
    }
    apart.iter().all(|([width, other], _)| (width - other).abs() <= SAME)
}

/// The names of edges, each once, and whether they have or one of them has.
fn named(spans: &[&Span]) -> (String, &'static str) {
    let mut names: Vec<String> = Vec::new();
    for span in spans {
        let name = format!("{}/{}", span.piece, whole_name(&span.edge));
        if !names.contains(&name) {
            names.push(name);
        }
    }
    (names.join(" + "), if names.len() > 1 { "have" } else { "has" })
}

/// Whether a span's piece has an allowance anywhere.
fn has_some(set: &PieceSet, span: &Span) -> bool {
    set.piece(&span.piece).is_some_and(|piece| piece.edges.iter().any(|edge| edge.allowance > SAME))
}

/// Each edge of a side with its walked start and end and its allowance, mm.
pub(super) fn stretches<'a>(set: &PieceSet, side: &'a [Span]) -> Vec<(&'a Span, f64, f64, f64)> {
    let mut before = 0.0;
    let mut found = Vec::new();
    for span in side {
        let from = before;
        before += span_length(set, span);
        let edge = set.piece(&span.piece).and_then(|piece| piece.edge(&span.edge));
        if let Some(edge) = edge.filter(|edge| !edge.fold) {
            found.push((span, from, before, edge.allowance));
        }
    }
    found
}
