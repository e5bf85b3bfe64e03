//! The tables that a terminal shows, and the walk for other programs.

use super::FileLine;
use super::html::clean;
use super::words::{NO_BREAK, UNKNOWN, about, count, degrees, difference, distance, ease, fine, length, size};
use crate::units::Unit;
use crate::walk::WalkedJoin;
use kurbo::Size;
use serde::Serialize;

/// The walk as an aligned table: a line for each seam, then its links where a side has several.
pub fn walk_text(walked: &[WalkedJoin], unit: Unit) -> String {
    let head = ["seam", "first side", "second side", "planned ease", "difference", "runs through", ""]
        .map(String::from)
        .to_vec();
    let mut rows = vec![head];
    for join in walked {
        let side = |index: usize| match join.sides[index].as_slice() {
            [only] => format!("{} {}", clean(&only.span), length(join.lengths[index], unit)),
            _ => length(join.lengths[index], unit),
        };
        rows.push(vec![
            clean(&join.name),
            side(0),
            side(1),
            ease(join.planned, unit),
            difference(join.difference, unit),
            runs_through(join),
            if join.agrees { "agrees" } else { "does not agree" }.into(),
        ]);
        // The links of longer sides stand below, side by side.
        let links = |index: usize| match join.sides[index].as_slice() {
            [_] => &[],
            spans => spans,
        };
        for line in 0..links(0).len().max(links(1).len()) {
            let link = |index: usize| {
                links(index)
                    .get(line)
                    .map_or_else(String::new, |span| format!("  {} {}", clean(&span.span), length(span.length, unit)))
            };
            rows.push(vec![String::new(), link(0), link(1)]);
        }
    }
    aligned(&rows)
}

/// How a seam's ends run: `180°, 178°`, one figure where nothing is known of either.
pub(super) fn runs_through(join: &WalkedJoin) -> String {
    match join.through {
        [None, None] => UNKNOWN.into(),
        [start, end] => format!("{}, {}", degrees(start), degrees(end)),
    }
}

/// What was written, a line for each file: its name, pieces, size, what it takes up, the largest difference and whether
/// it passed.
pub fn files_text(files: &[FileLine], unit: Unit) -> String {
    let rows: Vec<Vec<String>> = files
        .iter()
        .map(|file| {
            vec![
                clean(&file.file),
                count(file.pieces, "piece"),
                size(Size::new(file.width, file.height), unit),
                clean(&file.used),
                format!("largest difference {} of {} allowed", fine(file.largest), fine(file.allowed)),
                if file.passed { "passed" } else { "FAILED: do not cut from it" }.into(),
            ]
        })
        .collect();
    aligned(&rows)
}

/// What each file's job takes at the machine, a line for each; empty where no machine follows its file.
pub fn times_text(files: &[FileLine], unit: Unit) -> String {
    let rows: Vec<Vec<String>> = files
        .iter()
        .filter_map(|file| Some((file, &file.estimate.as_ref()?.whole)))
        .map(|(file, work)| {
            vec![
                clean(&file.file),
                match work.seconds {
                    Some(seconds) => format!("about {} at the machine", about(seconds)),
                    None => "its profile does not say how fast it is".into(),
                },
                format!("{} of lines", distance(work.worked, unit)),
                format!("{} of idle way", distance(work.travelled, unit)),
                format!("goes down {}", count(work.lifts, "time")),
            ]
        })
        .collect();
    aligned(&rows)
}

/// Columns as wide as their widest cell, two spaces apart; no spaces at a line's end.
pub(super) fn aligned(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns)
        .map(|column| rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0))
        .collect();
    let mut out = String::new();
    for row in rows {
        let line: Vec<String> = row.iter().zip(&widths).map(|(cell, &width)| format!("{cell:width$}")).collect();
        out.push_str(line.join("  ").replace(NO_BREAK, " ").trim_end());
        out.push('\n');
    }
    out
}

#[derive(Serialize)]
struct WalkFile<'a> {
    oaktag: &'static str,
    unit: &'static str,
    joins: &'a [WalkedJoin],
}

/// The walk as JSON, version `walk/1`, lengths in millimetres; a figure that is not finite is `null`.
pub fn walk_json(walked: &[WalkedJoin]) -> String {
    let file = WalkFile { oaktag: "walk/1", unit: "mm", joins: walked };
    // Strings, numbers and lists alone: nothing here that JSON can't hold.
    serde_json::to_string_pretty(&file).unwrap_or_default() + "\n"
}
