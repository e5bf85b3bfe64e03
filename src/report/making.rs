//! The making sheet: what to cut from each cloth, the seams in order with their allowances, ruffles, darts, hems and what to
//! buy. A part of the proof sheet, and a page of its own to hang beside the machine.

use super::drawing;
use super::html::{clean, escape, facts, name, table};
use super::page::STYLE;
use super::words::{count, ease, how_many, length, pressed, size, unit_name};
use crate::allow::{TOLERANCE, allow};
use crate::geom::path;
use crate::piece::{Edge, Join, PieceSet, Span};
use crate::units::{Unit, format_length, trimmed};
use crate::walk::WalkedJoin;
use std::fmt::Write;

/// From this many times its seam a side counts as a ruffle (common practice, no source).
const RUFFLE: f64 = 1.2;

/// The making sheet as one HTML 5 page that needs no other file.
pub fn making_sheet(set: &PieceSet, walked: &[WalkedJoin]) -> String {
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en-GB\"><head><meta charset=\"utf-8\">\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
         <meta name=\"color-scheme\" content=\"light dark\"><title>{}: making sheet</title>\n<style>\n{STYLE}</style></head>\n\
         <body>\n<header><p class=\"kind\">Making sheet</p><h1>{}</h1><p>{}</p></header>\n<main>\n",
        escape(&clean(&format!("{} {}", set.style, set.person))),
        escape(&set.style),
        whose(set)
    );
    out.push_str(&parts(set, walked, "h2"));
    out.push_str("</main>\n</body></html>\n");
    out
}

/// The same as a section of the proof sheet; empty where there is nothing to make.
pub(super) fn section(set: &PieceSet, walked: &[WalkedJoin]) -> String {
    let parts = parts(set, walked, "h3");
    if parts.is_empty() { parts } else { format!("<section id=\"making\"><h2>Making</h2>\n{parts}</section>\n") }
}

fn whose(set: &PieceSet) -> String {
    let mut parts = Vec::new();
    if !set.person.is_empty() {
        parts.push(format!("for <strong>{}</strong>", escape(&set.person)));
    }
    if !set.taken.is_empty() {
        parts.push(format!("measures taken {}", escape(&set.taken)));
    }
    if !set.toile.is_empty() {
        parts.push(format!("toile passed {}", escape(&set.toile)));
    }
    parts.push(format!("lengths in {}", unit_name(set.unit)));
    parts.join(", ")
}

fn parts(set: &PieceSet, walked: &[WalkedJoin], heading: &str) -> String {
    let unit = set.unit;
    let mut out = String::new();
    let mut part = |title: &str, body: String| {
        if !body.is_empty() {
            let _ = write!(out, "<section><{heading}>{title}</{heading}>\n{body}</section>\n");
        }
    };
    part("Cut", cutting(set));
    part("In this order", order(&set.sewing));
    part("Seams", seams(set, walked));
    part("Ruffles and gathers", ruffles(set, walked));
    part("Darts and pleats", folds(set));
    part("Hems and edges that no seam takes", loose_edges(set, unit));
    part("Buy besides cloth", list(&set.notions, "ul"));
    out
}

/// A table for each cloth, in the order in which cloths are first named.
fn cutting(set: &PieceSet) -> String {
    let mut cloths: Vec<&str> = Vec::new();
    for piece in &set.pieces {
        if !cloths.contains(&piece.cut.cloth.as_str()) {
            cloths.push(&piece.cut.cloth);
        }
    }
    let mut out = String::new();
    for cloth in cloths {
        let rows: Vec<Vec<String>> = set
            .pieces
            .iter()
            .filter(|piece| piece.cut.cloth == cloth)
            .map(|piece| {
                let net = drawing::bounds(&piece.outline()).size();
                vec![name(&piece.name), how_many(&piece.cut, piece.fold().is_some()), size(net, set.unit)]
            })
            .collect();
        let copies: u32 = set.pieces.iter().filter(|piece| piece.cut.cloth == cloth).map(|piece| piece.cut.count).sum();
        let caption = format!("From {cloth}: {}", count(copies as usize, "piece"));
        out.push_str(&table(&caption, &["piece", "cut", "net size"], &rows));
    }
    out
}

fn order(sewing: &[String]) -> String {
    list(sewing, "ol")
}

fn list(lines: &[String], kind: &str) -> String {
    if lines.is_empty() {
        return String::new();
    }
    let lines: Vec<String> = lines.iter().map(|line| format!("<li>{}</li>", escape(line))).collect();
    format!("<{kind}>{}</{kind}>\n", lines.join("\n"))
}

fn edge<'a>(set: &'a PieceSet, span: &Span) -> Option<&'a Edge> {
    set.piece(&span.piece)?.edge(&span.edge)
}

/// The allowances along a side: one where all are alike.
fn allowances(set: &PieceSet, side: &[Span]) -> String {
    let mut widths: Vec<String> = Vec::new();
    for span in side {
        let width = match edge(set, span) {
            Some(edge) if edge.fold => continue,
            Some(edge) => length(edge.allowance, set.unit),
            None => "on its line".into(),
        };
        if !widths.contains(&width) {
            widths.push(width);
        }
    }
    widths.join(", ")
}

fn seams(set: &PieceSet, walked: &[WalkedJoin]) -> String {
    if set.joins.is_empty() {
        return String::new();
    }
    let side = |spans: &[Span]| spans.iter().map(|span| name(&span.to_string())).collect::<Vec<_>>().join("<br>");
    let rows: Vec<Vec<String>> = set
        .joins
        .iter()
        .zip(walked)
        .map(|(join, walked)| {
            let [first, second] = [0, 1].map(|i: usize| allowances(set, &join.sides[i]));
            let allowance = if first == second { first } else { format!("{first}; {second}") };
            vec![
                name(&join.name),
                side(&join.sides[0]),
                side(&join.sides[1]),
                length(walked.lengths[0], set.unit),
                allowance,
                fullness(join, walked, set.unit),
            ]
        })
        .collect();
    table(
        "In the style's order; the length is the first side's, sewn.",
        &["seam", "sew", "to", "length", "allowance", "ease, gathers, gap"],
        &rows,
    )
}

fn fullness(join: &Join, walked: &WalkedJoin, unit: Unit) -> String {
    let mut parts = Vec::new();
    if join.ratio >= RUFFLE {
        parts.push(format!("gathered {} times", trimmed(join.ratio, 2)));
    } else if (walked.planned + join.gap).abs() > 0.05 {
        let eased = walked.planned + join.gap;
        parts.push(format!("ease in {}", ease(eased, unit)));
    }
    if join.gap > 0.0 {
        let end = if join.fit.gap_at_start { "start" } else { "end" };
        parts.push(format!("leave {} open at its {end}", length(join.gap, unit)));
    }
    parts.join("; ")
}

/// How many strips each ruffle is cut in, how long they are together and what they are gathered into.
fn ruffles(set: &PieceSet, walked: &[WalkedJoin]) -> String {
    let mut rows = Vec::new();
    for (join, walked) in set.joins.iter().zip(walked).filter(|(join, _)| join.ratio >= RUFFLE) {
        let mut pieces: Vec<&str> = Vec::new();
        for span in &join.sides[0] {
            if !pieces.contains(&span.piece.as_str()) {
                pieces.push(&span.piece);
            }
        }
        let mut strips = 0;
        let mut cuts = Vec::new();
        for piece in pieces.iter().filter_map(|piece| set.piece(piece)) {
            strips += piece.cut.count;
            let net = drawing::bounds(&piece.outline()).size();
            let mut text = format!("{} of {}", piece.cut.count, size(net, set.unit));
            // A piece without a cut line is told of where the pieces are cut.
            if let Ok((cut, _)) = allow(piece, TOLERANCE) {
                let _ = write!(text, " (cut {})", size(drawing::bounds(&cut.cut_line).size(), set.unit));
            }
            cuts.push(text);
        }
        rows.push((
            name(&join.name),
            format!(
                "{}: {}; {} in all, gathered {} times into {}; quarters notched on both",
                count(strips as usize, "strip"),
                cuts.join(", "),
                length(walked.lengths[0], set.unit),
                trimmed(join.ratio, 2),
                length(walked.lengths[1] - join.gap, set.unit)
            ),
        ));
    }
    if rows.is_empty() { String::new() } else { facts(&rows) }
}

fn folds(set: &PieceSet) -> String {
    let mut rows = Vec::new();
    for piece in &set.pieces {
        for dart in &piece.darts {
            let middle = piece.edge(&dart.edge).and_then(|edge| {
                let [a, b] = dart.mouth.map(|at| path::point_at(&edge.path, at));
                Some(a?.0.midpoint(b?.0))
            });
            let long = middle.map_or(f64::NAN, |middle| middle.distance(dart.apex));
            rows.push(vec![
                name(&piece.name),
                format!("dart on {}", name(&dart.edge)),
                length(dart.mouth[1] - dart.mouth[0], set.unit),
                length(long, set.unit),
                pressed(piece, &dart.edge, dart.pressed),
            ]);
        }
        for pleat in &piece.pleats {
            rows.push(vec![
                name(&piece.name),
                format!("pleat on {}", name(&pleat.edge)),
                length(pleat.mouth[1] - pleat.mouth[0], set.unit),
                length(pleat.length, set.unit),
                pressed(piece, &pleat.edge, pleat.pressed),
            ]);
        }
    }
    if rows.is_empty() {
        return String::new();
    }
    table("What each takes in at the edge, and how long it is.", &["piece", "", "takes in", "length", ""], &rows)
}

/// Edges with an allowance that are in no seam: hems, and what is faced or bound.
fn loose_edges(set: &PieceSet, unit: Unit) -> String {
    let sewn = |piece: &str, edge: &str| {
        set.joins
            .iter()
            .flat_map(|join| join.sides.iter().flatten())
            .any(|span| span.piece == piece && span.edge == edge)
    };
    let mut lines = Vec::new();
    for piece in &set.pieces {
        for edge in piece.edges.iter().filter(|edge| !edge.fold && !sewn(&piece.name, &edge.name)) {
            let width = if edge.allowance > 0.0 {
                format!("{} of allowance", format_length(edge.allowance, unit))
            } else {
                "no allowance".into()
            };
            lines.push(format!("{}, {}: {width}", piece.name, edge.name));
        }
    }
    list(&lines, "ul")
}
