//! Pieces and sheets as inline SVG 1.1, y turned downward, one drawing unit a millimetre of cloth.
//!
//! A drawing prints at 1 : `scale`; on a narrow screen it shrinks, and its bar of known length shrinks with it.

use super::html::escape;
use super::words::{layer, length};
use crate::geom::path;
use crate::lay::{Placed, Sheet};
use crate::mark::MarkedPiece;
use crate::piece::Edge;
use crate::role::Role;
use crate::units::{Unit, trimmed};
use kurbo::{BezPath, PathEl, Point, Rect, Shape, Size};
use std::fmt::Write;

/// Scales to draw at: those that scale rulers carry, then coarser ones for long rolls.
const SCALES: [f64; 9] = [1.0, 2.0, 4.0, 5.0, 8.0, 10.0, 20.0, 50.0, 100.0];

/// Clear space round a drawing, and heights of letters and of the bar's strip, in millimetres of the printed page.
const MARGIN: f64 = 3.0;
const LETTER: f64 = 3.2;
const STRIP: f64 = 7.0;
/// The bar is the shortest round length that prints longer than this.
const BAR: f64 = 12.0;

/// The finest scale at which everything fits the room, mm of the printed page.
pub(super) fn scale_for(extents: impl Iterator<Item = Size>, room: Size) -> f64 {
    let need = extents
        .filter(|s| s.is_finite())
        .fold(0.0_f64, |need, size| need.max(size.width / room.width).max(size.height / room.height));
    SCALES.into_iter().find(|&scale| scale >= need).unwrap_or(need)
}

/// All that a marked piece draws, as one rectangle.
pub(super) fn extent(piece: &MarkedPiece) -> Rect {
    piece
        .strokes
        .iter()
        .filter(|s| drawable(&s.path))
        .fold(bounds(&piece.outline), |all, stroke| all.union(bounds(&stroke.path)))
}

/// The bounding box; empty for a path that can't be drawn.
pub(super) fn bounds(path: &BezPath) -> Rect {
    if drawable(path) { path.bounding_box() } else { Rect::ZERO }
}

fn drawable(path: &BezPath) -> bool {
    path.elements().len() > 1 && path.is_finite()
}

/// A piece with all its strokes, a letter inside each edge, and the bar.
pub(super) fn piece(marked: &MarkedPiece, edges: &[(String, &Edge)], scale: f64, unit: Unit, title: &str) -> String {
    let mut body = cloth(&marked.outline);
    for role in Role::ALL {
        let strokes = marked.strokes.iter().filter(|stroke| stroke.role == role);
        body.push_str(&group(role, strokes.map(|stroke| (stroke.edge.as_str(), &stroke.path))));
    }
    body.push_str("<g class=\"letters\">");
    for (letter, edge) in edges {
        if let Some((at, along)) = path::point_at(&edge.path, path::length(&edge.path) / 2.0)
            && at.is_finite()
        {
            // Counter-clockwise: inside is on the left.
            let at = at + along.turn_90() * LETTER * scale;
            body.push_str(&words(letter, at, LETTER * scale, false));
        }
    }
    body.push_str("</g>");
    frame(extent(marked), &body, scale, unit, title)
}

/// A sheet with its pieces placed and named. The sheet's writing is left out, being too small to read.
pub(super) fn sheet(sheet: &Sheet, scale: f64, unit: Unit, title: &str) -> String {
    let whole = Rect::new(0.0, 0.0, sheet.width, sheet.height);
    if !whole.is_finite() {
        return String::new();
    }
    let mut body = format!("<path class=\"medium\" d=\"{}\"/>", data(&whole.to_path(0.1)));
    for placed in &sheet.placed {
        body.push_str(&cloth(&placed.outline));
    }
    for role in Role::ALL.into_iter().filter(|&role| role != Role::Label) {
        let strokes = sheet.strokes.iter().filter(|stroke| stroke.role == role);
        body.push_str(&group(role, strokes.map(|stroke| (stroke.edge.as_str(), &stroke.path))));
    }
    body.push_str("<g class=\"names\">");
    for placed in &sheet.placed {
        body.push_str(&name(placed, scale));
    }
    body.push_str("</g>");
    frame(whole, &body, scale, unit, title)
}

/// A placed piece's name in its middle, along its longer side where that leaves larger letters.
fn name(placed: &Placed, scale: f64) -> String {
    let bounds = bounds(&placed.outline);
    // A letter is about 0.6 of its height wide.
    let wide = 0.6 * placed.piece.chars().count().max(1) as f64;
    let fit = |along: f64, across: f64| (0.8 * along / wide).min(0.8 * across).min(LETTER * scale);
    let (level, upright) = (fit(bounds.width(), bounds.height()), fit(bounds.height(), bounds.width()));
    if level.max(upright) <= 0.0 {
        return String::new();
    }
    words(&placed.piece, bounds.center(), level.max(upright), upright > level)
}

fn words(text: &str, at: Point, height: f64, upright: bool) -> String {
    let turn =
        if upright { format!(" transform=\"rotate(-90 {} {})\"", figure(at.x), figure(-at.y)) } else { String::new() };
    format!(
        "<text x=\"{}\" y=\"{}\" font-size=\"{}\" dy=\"0.35em\"{turn}>{}</text>",
        figure(at.x),
        figure(-at.y),
        figure(height),
        escape(text)
    )
}

/// The surface of a piece.
fn cloth(outline: &BezPath) -> String {
    if drawable(outline) { format!("<path class=\"body\" d=\"{}\"/>", data(outline)) } else { String::new() }
}

/// One layer. Strokes that can't be drawn are left out; the figures beside the drawing show what is wrong with them.
fn group<'a>(role: Role, strokes: impl Iterator<Item = (&'a str, &'a BezPath)>) -> String {
    let mut out = String::new();
    for (edge, path) in strokes.filter(|(_, path)| drawable(path)) {
        let _ = write!(out, "<path d=\"{}\"", data(path));
        if edge.is_empty() {
            out.push_str("/>");
        } else {
            let _ = write!(out, "><title>{}: {}</title></path>", escape(edge), layer(role));
        }
    }
    if out.is_empty() { out } else { format!("<g class=\"layer {}\">{out}</g>", role.name()) }
}

/// The SVG element round a drawing, with its bar below.
pub(super) fn frame(bounds: Rect, body: &str, scale: f64, unit: Unit, title: &str) -> String {
    let (bar, bar_text) = bar(scale, unit);
    let margin = MARGIN * scale;
    // Room for the bar and its figure, even below a very narrow piece.
    let width = (bounds.width()).max(bar + 20.0 * scale) + 2.0 * margin;
    let height = bounds.height() + 2.0 * margin + STRIP * scale;
    let (left, top) = (bounds.x0 - margin, -bounds.y1 - margin);
    let foot = -bounds.y0 + margin + 0.5 * STRIP * scale;
    let tick = scale;
    format!(
        "<svg role=\"img\" aria-label=\"{}\" viewBox=\"{} {} {} {}\" width=\"{}mm\" height=\"{}mm\">{body}\
         <g class=\"bar\"><path d=\"M{} {}v{}h{}v{}\"/>{}</g></svg>\n",
        escape(title),
        figure(left),
        figure(top),
        figure(width),
        figure(height),
        figure(width / scale),
        figure(height / scale),
        figure(bounds.x0),
        figure(foot - tick),
        figure(tick),
        figure(bar),
        figure(-tick),
        words(&bar_text, Point::new(bounds.x0 + bar + 2.0 * scale, -foot), 2.8 * scale, false),
    )
}

/// A round length to show beside a drawing, mm, and its figure.
fn bar(scale: f64, unit: Unit) -> (f64, String) {
    let steps: &[f64] = match unit {
        Unit::Inch => &[1.0, 2.0, 4.0, 6.0, 12.0, 36.0, 72.0],
        Unit::Centimetre => &[2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0],
        Unit::Millimetre => &[20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0],
    };
    let step = steps.iter().find(|&step| step * unit.mm() / scale > BAR).or(steps.last()).copied().unwrap_or(1.0);
    let mm = step * unit.mm();
    (mm, length(mm, unit))
}

/// SVG path data, y turned downward.
fn data(path: &BezPath) -> String {
    let mut out = String::new();
    let mut put = |letter: char, points: &[Point]| {
        out.push(letter);
        for (index, p) in points.iter().enumerate() {
            if index > 0 {
                out.push(' ');
            }
            out.push_str(&figure(p.x));
            out.push(' ');
            out.push_str(&figure(-p.y));
        }
    };
    for element in path.elements() {
        match *element {
            PathEl::MoveTo(p) => put('M', &[p]),
            PathEl::LineTo(p) => put('L', &[p]),
            PathEl::QuadTo(a, p) => put('Q', &[a, p]),
            PathEl::CurveTo(a, b, p) => put('C', &[a, b, p]),
            PathEl::ClosePath => put('Z', &[]),
        }
    }
    out
}

/// A coordinate to a hundredth of a millimetre: finer than a screen shows at any scale here.
fn figure(value: f64) -> String {
    trimmed(value, 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_finest_scale_that_fits_is_chosen() {
        let room = Size::new(170.0, 200.0);
        assert!((scale_for([Size::new(100.0, 150.0)].into_iter(), room) - 1.0).abs() < 1e-12);
        // 900 / 200 = 4.5: 1 : 5 fits, 1 : 4 does not.
        assert!((scale_for([Size::new(300.0, 900.0)].into_iter(), room) - 5.0).abs() < 1e-12);
        assert!((scale_for([Size::new(f64::NAN, 1.0)].into_iter(), room) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn bars_are_round_in_the_users_unit() {
        assert_eq!(bar(5.0, Unit::Inch).1, "4\u{a0}in");
        assert_eq!(bar(5.0, Unit::Centimetre).1, "10\u{a0}cm");
        assert_eq!(bar(50.0, Unit::Millimetre).1, "1000\u{a0}mm");
    }

    #[test]
    fn y_is_turned_downward() {
        let path = BezPath::from_svg("M0 0L10 0L10 5Z").expect("path data");
        assert_eq!(data(&path), "M0 0L10 0L10 -5Z");
    }
}
