//! Lays on cloth: what to buy, and how it lies.

use super::html::escape;
use crate::cloth::{Cloth, bought_text};
use crate::diag::Finding;
use crate::lay::cloth::ClothLay;
use crate::units::format_length;
use kurbo::{Affine, Shape};
use serde::Serialize;
use std::fmt::Write;

/// One line of the table of cloth to buy, as people read it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ClothLine {
    /// The cloth's name.
    pub cloth: String,
    /// Its width.
    pub width: String,
    /// `single` or `folded`.
    pub laid: String,
    /// What to ask for in the shop; where the cloth does not do, why.
    pub buy: String,
    /// What the lay takes.
    pub takes: String,
    /// How much of that the pieces cover.
    pub covered: String,
    /// What is left over.
    pub remnant: String,
}

impl ClothLine {
    /// Of a lay.
    pub fn new(lay: &ClothLay, cloth: &Cloth) -> Self {
        let left = lay.remnant[1] - lay.remnant[0];
        Self {
            takes: format_length(lay.length, cloth.unit),
            covered: format!("{:.1} %", 100.0 * lay.density),
            remnant: format!("{} × {}", format_length(left, cloth.unit), format_length(cloth.width, cloth.unit)),
            ..Self::named(cloth, bought_text(lay.length, cloth.unit))
        }
    }

    /// Of a cloth that a piece is too wide for.
    pub fn too_narrow(cloth: &Cloth, finding: &Finding) -> Self {
        let piece = finding.piece.as_deref().unwrap_or("a piece");
        Self::named(cloth, format!("too narrow for \"{piece}\""))
    }

    fn named(cloth: &Cloth, buy: String) -> Self {
        Self {
            cloth: cloth.name.clone(),
            width: format_length(cloth.width, cloth.unit),
            laid: if cloth.folded { "folded" } else { "single" }.into(),
            buy,
            takes: String::new(),
            covered: String::new(),
            remnant: String::new(),
        }
    }
}

/// The table of cloth to buy, for a terminal.
pub fn cloth_text(lines: &[ClothLine]) -> String {
    let rows: Vec<[&str; 7]> =
        std::iter::once(["cloth", "width", "laid", "buy", "takes", "covered", "left over"])
            .chain(lines.iter().map(|line| {
                [&*line.cloth, &line.width, &line.laid, &line.buy, &line.takes, &line.covered, &line.remnant]
            }))
            .collect();
    let wide = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..7).map(wide).collect();
    let mut text = String::new();
    for row in rows {
        let cells: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}")).collect();
        let _ = writeln!(text, "{}", cells.join("  ").trim_end());
    }
    text
}

/// One to how many the drawing is.
const SCALE: f64 = 10.0;

/// The lay drawn to scale, 1 : 10, as an SVG file of its own: selvedges, flaws, pieces with name, person and grain, and what
/// is left over. Same lay, same bytes.
pub fn cloth_svg(lay: &ClothLay, cloth: &Cloth) -> String {
    const EDGE: f64 = 60.0;
    let end = lay.remnant[1];
    let low = if cloth.folded { 0.0 } else { -cloth.selvedge };
    let (width, height) = (end + 2.0 * EDGE, lay.height + cloth.selvedge - low + 2.0 * EDGE);
    let top = lay.height + cloth.selvedge;
    // y points up on the cloth and down in the file.
    let flip = Affine::new([1.0, 0.0, 0.0, -1.0, EDGE, top + EDGE]);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.2}mm\" height=\"{:.2}mm\" viewBox=\"0 0 {width:.2} {height:.2}\" \
         font-family=\"sans-serif\" font-size=\"22\">\n<title>{}</title>\n",
        width / SCALE,
        height / SCALE,
        escape(&format!("{}, {} wide, 1 : 10", cloth.name, format_length(cloth.width, cloth.unit)))
    );
    let mut rect = |x0: f64, x1: f64, y0: f64, y1: f64, look: &str| {
        let (x, y) = (x0 + EDGE, top + EDGE - y1);
        let _ = writeln!(
            out,
            "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"{:.2}\" {look}/>",
            x1 - x0,
            y1 - y0
        );
    };
    rect(0.0, end, low, top, "fill=\"#faf7ef\" stroke=\"#555\" stroke-width=\"2\"");
    rect(0.0, end, lay.height, top, "fill=\"#ddd\"");
    if !cloth.folded {
        rect(0.0, end, low, 0.0, "fill=\"#ddd\"");
    }
    if end > lay.remnant[0] {
        rect(
            lay.remnant[0],
            end,
            low,
            top,
            "fill=\"none\" stroke=\"#999\" stroke-width=\"2\" stroke-dasharray=\"12 8\"",
        );
    }
    for [x0, x1, y0, y1] in crate::lay::cloth::on_lay(cloth) {
        rect(x0, x1.min(end), y0, y1, "fill=\"#c33\" fill-opacity=\"0.4\"");
    }
    for placed in &lay.placed {
        let outline = flip * &placed.outline;
        let at = outline.bounding_box().center();
        let arrow = if placed.turned { "←" } else { "→" };
        let layers = if placed.copies > 1 { format!(" ×{}", placed.copies) } else { String::new() };
        let fold = if placed.on_fold { ", on the fold" } else { "" };
        let _ = writeln!(
            out,
            "<path d=\"{}\" fill=\"#cfe0ee\" stroke=\"#123\" stroke-width=\"2\"/>\n<text x=\"{:.2}\" y=\"{:.2}\" \
             text-anchor=\"middle\">{arrow} {}{layers}{fold}</text>\n<text x=\"{:.2}\" y=\"{:.2}\" \
             text-anchor=\"middle\">{}</text>",
            rounded(&outline),
            at.x,
            at.y,
            escape(&placed.piece),
            at.x,
            at.y + 26.0,
            escape(&placed.person)
        );
    }
    out.push_str("</svg>\n");
    out
}

/// Path data to a hundredth of a millimetre.
fn rounded(path: &kurbo::BezPath) -> String {
    let mut rounded = path.clone();
    let near =
        |point: kurbo::Point| kurbo::Point::new((point.x * 100.0).round() / 100.0, (point.y * 100.0).round() / 100.0);
    for element in rounded.elements_mut() {
        use kurbo::PathEl::{ClosePath, CurveTo, LineTo, MoveTo, QuadTo};
        *element = match *element {
            MoveTo(a) => MoveTo(near(a)),
            LineTo(a) => LineTo(near(a)),
            QuadTo(a, b) => QuadTo(near(a), near(b)),
            CurveTo(a, b, c) => CurveTo(near(a), near(b), near(c)),
            ClosePath => ClosePath,
        };
    }
    rounded.to_svg()
}
