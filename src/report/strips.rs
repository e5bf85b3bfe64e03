//! Every seam walked, drawn: its two sides as straight strips to scale, notches and where they land, ease and gaps.

use super::drawing;
use super::html::{escape, name};
use super::words::{degrees, difference, ease, length};
use crate::units::{Unit, trimmed};
use crate::walk::WalkedJoin;
use kurbo::Size;
use std::fmt::Write;

/// Room for a drawing, mm on paper.
const ROOM: f64 = 160.0;
/// Blank at either end for the angles, mm on paper.
const ENDS: f64 = 12.0;
/// Height of a strip, and from one to the other, mm on paper.
const STRIP: f64 = 5.0;
const BETWEEN: f64 = 12.0;
/// From the drawing's upper edge to the first strip.
const ABOVE: f64 = 8.0;
/// Height of the figures, mm on paper.
const FIGURE: f64 = 2.6;
/// Surplus below this between two pairs is none, mm.
const FLAT: f64 = 0.05;
/// Figures nearer to each other than this would run together, mm on paper.
const APART: f64 = 13.0;

/// The section of the proof sheet; empty where there are no seams.
pub(super) fn section(walked: &[WalkedJoin], unit: Unit) -> String {
    let drawable = |join: &&WalkedJoin| join.lengths.iter().all(|long| long.is_finite() && *long > 0.0);
    let mut out = String::new();
    for join in walked.iter().filter(drawable) {
        out.push_str(&seam(join, unit));
    }
    if out.is_empty() {
        return out;
    }
    format!(
        "<section id=\"strips\"><h2>Seams as strips</h2>\n<p>Both sides of each seam laid straight, the first above the \
         second. A line runs from every notch to the place that it is sewn to; a shaded stretch takes up ease or gathers; a \
         dashed one stays open. At the ends stands the angle that the two sew lines make.</p>\n{out}</section>\n"
    )
}

fn seam(join: &WalkedJoin, unit: Unit) -> String {
    let longest = join.lengths[0].max(join.lengths[1]);
    let scale = drawing::scale_for(std::iter::once(Size::new(longest, 1.0)), Size::new(ROOM, ROOM));
    let mut notes = vec![format!("1 : {}", trimmed(scale, 1))];
    if join.planned.abs() > FLAT {
        notes.push(format!("planned ease {}", ease(join.planned, unit)));
    }
    notes.push(format!("difference {}", difference(join.difference, unit)));
    let landing: usize = join.notches.iter().map(Vec::len).sum();
    notes.push(if landing == 1 { "1 notch".into() } else { format!("{landing} notches") });
    if !join.allowances_agree {
        notes.push("the allowances differ".into());
    }
    let [start, end] = join.through.map(degrees);
    let title = format!("Seam {} as two strips, angles {start} and {end}", join.name);
    let width = longest / scale + 2.0 * ENDS;
    let height = 2.0 * ABOVE + 2.0 * STRIP + BETWEEN;
    let mut out = format!(
        "<figure class=\"strips\"><figcaption><strong>{}</strong> <small>{}</small></figcaption>\
         <svg role=\"img\" aria-label=\"{}\" viewBox=\"0 0 {width:.2} {height:.2}\" width=\"{width:.2}mm\" height=\"{height:.2}mm\">",
        name(&join.name),
        notes.join(", "),
        escape(&title)
    );
    let x = |mm: f64| ENDS + mm / scale;
    let tops = [ABOVE, ABOVE + STRIP + BETWEEN];
    shaded(&mut out, join, &x, tops);
    for (side, top) in tops.into_iter().enumerate() {
        strip(&mut out, join, side, top, &x, unit);
    }
    notches(&mut out, join, &x, tops, unit);
    for (angle, at) in [(start, ENDS / 2.0), (end, x(longest) + ENDS / 2.0)] {
        text(&mut out, &angle, at, ABOVE + STRIP + BETWEEN / 2.0 + 1.0, "");
    }
    out.push_str("</svg></figure>\n");
    out
}

/// Stretches that take up a surplus, and the gap.
fn shaded(out: &mut String, join: &WalkedJoin, x: &dyn Fn(f64) -> f64, tops: [f64; 2]) {
    let (upper, lower) = (tops[0] + STRIP, tops[1]);
    for pair in join.pairs.windows(2) {
        let surplus = (pair[1][0] - pair[0][0]) - (pair[1][1] - pair[0][1]);
        if surplus.abs() > FLAT {
            let _ = write!(
                out,
                "<path class=\"body\" d=\"M{:.2} {upper}L{:.2} {upper}L{:.2} {lower}L{:.2} {lower}Z\"/>",
                x(pair[0][0]),
                x(pair[1][0]),
                x(pair[1][1]),
                x(pair[0][1])
            );
        }
    }
}

/// One strip with its links, their names and lengths.
fn strip(out: &mut String, join: &WalkedJoin, side: usize, top: f64, x: &dyn Fn(f64) -> f64, unit: Unit) {
    let sewn = join.pairs.first().zip(join.pairs.last()).map(|(first, last)| (first[side], last[side]));
    let (from, to) = sewn.unwrap_or((0.0, 0.0));
    let mut at = 0.0;
    let _ = write!(out, "<g class=\"layer sew\">");
    for link in &join.sides[side] {
        let _ = write!(
            out,
            "<rect x=\"{:.2}\" y=\"{top}\" width=\"{:.2}\" height=\"{STRIP}\"/>",
            x(at),
            x(at + link.length) - x(at)
        );
        at += link.length;
    }
    for (start, end) in [(0.0, from), (to, at)] {
        if end - start > FLAT {
            let y = top + STRIP / 2.0;
            let _ = write!(out, "<path d=\"M{:.2} {y}H{:.2}\"/>", x(start), x(end));
        }
    }
    out.push_str("</g>");
    let figures = if side == 0 { top - 1.2 } else { top + STRIP + FIGURE + 0.8 };
    let mut at = 0.0;
    for link in &join.sides[side] {
        // A letter is about 0.55 of its height wide.
        let words = format!("{} {}", link.span, length(link.length, unit));
        let room = (x(at + link.length) - x(at)) / (0.55 * FIGURE);
        let wide = words.chars().count() as f64;
        let shown = if wide <= room || join.sides[side].len() == 1 { words } else { length(link.length, unit) };
        if shown.chars().count() as f64 <= room || join.sides[side].len() == 1 {
            text(out, &shown, f64::midpoint(x(at), x(at + link.length)), figures, "");
        }
        at += link.length;
    }
}

/// Ticks, a line to where each notch lands, and distances from the seam's start.
fn notches(out: &mut String, join: &WalkedJoin, x: &dyn Fn(f64) -> f64, tops: [f64; 2], unit: Unit) {
    let (upper, lower) = (tops[0] + STRIP, tops[1]);
    let _ = write!(out, "<g class=\"layer notch\">");
    for (side, row) in join.notches.iter().enumerate() {
        for notch in row {
            let at = x(notch.at);
            let (own, inner) = if side == 0 { (upper, upper - 2.5) } else { (lower, lower + 2.5) };
            for mark in 0..notch.count {
                let aside = (f64::from(mark) - f64::from(notch.count - 1) / 2.0) * 1.2;
                let _ = write!(out, "<path d=\"M{:.2} {inner}V{own}\"/>", at + aside);
            }
            if let Some(lands) = notch.lands {
                let other = if side == 0 { lower } else { upper };
                let title =
                    format!("{}: {} along, lands at {}", notch.span, length(notch.at, unit), length(lands, unit));
                let _ = write!(
                    out,
                    "<path d=\"M{at:.2} {own}L{:.2} {other}\"><title>{}</title></path>",
                    x(lands),
                    escape(&title)
                );
            }
        }
    }
    out.push_str("</g>");
    for (side, row) in join.notches.iter().enumerate() {
        let mut last = f64::NEG_INFINITY;
        let y = if side == 0 { upper + FIGURE } else { lower - 0.8 };
        for notch in row {
            let at = x(notch.at);
            if at - last >= APART {
                text(out, &length(notch.at, unit), at, y, "start");
                last = at;
            }
        }
    }
}

fn text(out: &mut String, words: &str, x: f64, y: f64, anchor: &str) {
    let (x, class) = if anchor == "start" { (x + 0.6, " class=\"start\"") } else { (x, "") };
    let _ = write!(out, "<text x=\"{x:.2}\" y=\"{y:.2}\" font-size=\"{FIGURE}\"{class}>{}</text>", escape(words));
}
