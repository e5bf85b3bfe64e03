//! Lays on cloth: what to buy, and how it lies.

use super::html::{escape, table};
use crate::cloth::{Cloth, bought_text};
use crate::diag::Finding;
use crate::lay::cloth::{ClothLay, Origin};
use crate::units::format_length;
use kurbo::{Affine, Rect, Shape};
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
    /// The whole width that is left over at the end.
    pub remnant: String,
    /// The largest rectangle that is left over anywhere, along and across the cloth.
    pub largest: String,
}

impl ClothLine {
    /// Of a lay.
    pub fn new(lay: &ClothLay, cloth: &Cloth) -> Self {
        let left = lay.remnant[1] - lay.remnant[0];
        Self {
            takes: format_length(lay.length, cloth.unit),
            covered: format!("{:.1} %", 100.0 * lay.density),
            remnant: if left < LEAST {
                "none".into()
            } else {
                format!("{} × {}", format_length(left, cloth.unit), format_length(cloth.width, cloth.unit))
            },
            largest: rectangle(lay, cloth),
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
            largest: String::new(),
        }
    }
}

/// A smaller rest is none, mm.
const LEAST: f64 = 5.0;

/// The largest rectangle left over; on folded cloth it is there twice.
fn rectangle(lay: &ClothLay, cloth: &Cloth) -> String {
    if lay.largest.width().min(lay.largest.height()) < LEAST {
        return "none".into();
    }
    let twice = if cloth.folded { "2 of " } else { "" };
    let [long, wide] = [lay.largest.width(), lay.largest.height()].map(|side| format_length(side, cloth.unit));
    format!("{twice}{long} × {wide}")
}

/// The columns of the table of cloth to buy.
const COLUMNS: [&str; 8] =
    ["cloth", "width", "laid", "buy", "takes", "covered", "left at the end", "largest rectangle left"];

impl ClothLine {
    fn cells(&self) -> [&str; 8] {
        [&self.cloth, &self.width, &self.laid, &self.buy, &self.takes, &self.covered, &self.remnant, &self.largest]
    }
}

/// The table of cloth to buy, for a terminal.
pub fn cloth_text(lines: &[ClothLine]) -> String {
    let rows: Vec<[&str; 8]> = std::iter::once(COLUMNS).chain(lines.iter().map(ClothLine::cells)).collect();
    let wide = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..8).map(wide).collect();
    let mut text = String::new();
    for row in rows {
        let cells: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}")).collect();
        let _ = writeln!(text, "{}", cells.join("  ").trim_end());
    }
    text
}

/// The part of a proof sheet that shows lays on cloth: what to buy, and each lay to scale; empty without any.
pub(super) fn section(cloths: &[(ClothLay, Cloth)]) -> String {
    /// What A4 and Letter both hold across, mm.
    const ROOM: f64 = 160.0;
    if cloths.is_empty() {
        return String::new();
    }
    let mut out = String::from("<section id=\"cloth\"><h2>Cloth to buy</h2>\n");
    let lines: Vec<ClothLine> = cloths.iter().map(|(lay, cloth)| ClothLine::new(lay, cloth)).collect();
    let rows: Vec<Vec<String>> =
        lines.iter().map(|line| line.cells().iter().map(|cell| escape(cell)).collect()).collect();
    out.push_str(&table("Rounded up as shops cut it", &COLUMNS, &rows));
    for (lay, cloth) in cloths {
        let fits = |scale: &&f64| (lay.remnant[1] + 2.0 * EDGE * **scale) / **scale <= ROOM;
        let scale = [10.0, 15.0, 20.0, 25.0, 50.0].iter().find(fits).copied().unwrap_or(100.0);
        let _ = writeln!(
            out,
            "<figure><figcaption>{}, 1 : {scale}</figcaption>\n{}</figure>",
            escape(&cloth.name),
            cloth_svg(lay, cloth, scale)
        );
    }
    out.push_str("</section>\n");
    out
}

/// Clear space around the drawing of a lay, mm of paper.
const EDGE: f64 = 6.0;

/// The lay drawn one to `scale` as an SVG file of its own: selvedges, flaws, pieces with name, person and way up, and what
/// is left over, the largest rectangle of it marked.
pub fn cloth_svg(lay: &ClothLay, cloth: &Cloth, scale: f64) -> String {
    let (edge, thin, size) = (EDGE * scale, 0.2 * scale, 2.2 * scale);
    let end = lay.remnant[1];
    let low = if cloth.folded { 0.0 } else { -cloth.selvedge };
    let (width, height) = (end + 2.0 * edge, lay.height + cloth.selvedge - low + 2.0 * edge);
    let top = lay.height + cloth.selvedge;
    // y points up on the cloth and down in the file.
    let flip = Affine::new([1.0, 0.0, 0.0, -1.0, edge, top + edge]);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.2}mm\" height=\"{:.2}mm\" viewBox=\"0 0 {width:.2} {height:.2}\" \
         font-family=\"sans-serif\" font-size=\"{size:.1}\">\n<title>{}</title>\n",
        width / scale,
        height / scale,
        escape(&format!("{}, {} wide, 1 : {scale}", cloth.name, format_length(cloth.width, cloth.unit)))
    );
    let mut rect = |x0: f64, x1: f64, y0: f64, y1: f64, look: &str| {
        let (x, y) = (x0 + edge, top + edge - y1);
        let _ = writeln!(
            out,
            "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"{:.2}\" {look}/>",
            x1 - x0,
            y1 - y0
        );
    };
    let line = |colour: &str| format!("stroke=\"{colour}\" stroke-width=\"{thin:.2}\"");
    let dashed = format!("stroke-dasharray=\"{:.1} {:.1}\"", 6.0 * thin, 4.0 * thin);
    rect(0.0, end, low, top, &format!("fill=\"#faf7ef\" {}", line("#555")));
    rect(0.0, end, lay.height, top, "fill=\"#ddd\"");
    if !cloth.folded {
        rect(0.0, end, low, 0.0, "fill=\"#ddd\"");
    }
    if end > lay.remnant[0] {
        rect(lay.remnant[0], end, low, top, &format!("fill=\"none\" {} {dashed}", line("#999")));
    }
    let left = lay.largest;
    if left.width().min(left.height()) >= LEAST {
        rect(left.x0, left.x1, left.y0, left.y1, &format!("fill=\"#e7f0dd\" {} {dashed}", line("#7a9a5a")));
    }
    for [x0, x1, y0, y1] in crate::lay::cloth::on_lay(cloth) {
        rect(x0, x1.min(end), y0, y1, "fill=\"#c33\" fill-opacity=\"0.4\"");
    }
    if left.width().min(left.height()) >= LEAST {
        let text = rectangle(lay, cloth);
        out.push_str(&fitted(&[&text], flip.transform_rect_bbox(left), size, "#4a6a2a"));
    }
    for placed in &lay.placed {
        let outline = flip * &placed.outline;
        let arrow = if placed.turned { "←" } else { "→" };
        let layers = if placed.copies > 1 { format!(" ×{}", placed.copies) } else { String::new() };
        let fold = if placed.on_fold { ", on the fold" } else { "" };
        let (kept, fill) = match placed.origin {
            Origin::Laid => ("", "#cfe0ee"),
            Origin::Kept => (", kept", "#e6dccb"),
            Origin::Other => (", of another lay", "#e6dccb"),
        };
        let _ = writeln!(
            out,
            "<path d=\"{}\" style=\"fill:{fill};stroke:#123;stroke-width:{thin:.2};vector-effect:none\"/>",
            rounded(&outline)
        );
        let name = format!("{arrow} {}{layers}{fold}{kept}", placed.piece);
        out.push_str(&fitted(&[&name, &placed.person], outline.bounding_box(), size, "#123"));
    }
    out.push_str("</svg>\n");
    out
}

/// Lines of writing in the middle of a box, upright where the box is narrow, and no larger than it takes. Colours are given
/// in place, as a page around the drawing has a look of its own.
fn fitted(lines: &[&str], room: Rect, size: f64, colour: &str) -> String {
    /// Width of a letter of such a face, as a part of its size, at the most.
    const LETTER: f64 = 0.6;
    let longest = lines.iter().map(|line| line.chars().count()).max().unwrap_or(0).max(1) as f64;
    let within = |wide: f64, high: f64| (0.9 * wide / (LETTER * longest)).min(0.8 * high / lines.len() as f64);
    let (level, upright) = (within(room.width(), room.height()), within(room.height(), room.width()));
    let turned = level < size && upright > level;
    let size = size.min(level.max(upright));
    let at = room.center();
    let turn = if turned { format!(" transform=\"rotate(-90 {:.2} {:.2})\"", at.x, at.y) } else { String::new() };
    let mut out = String::new();
    for (index, line) in lines.iter().enumerate() {
        let down = (index as f64 - (lines.len() as f64 - 1.0) / 2.0) * 1.2 * size + 0.35 * size;
        let _ = writeln!(
            out,
            "<text x=\"{:.2}\" y=\"{:.2}\" font-size=\"{size:.2}\" text-anchor=\"middle\"{turn} \
             style=\"fill:{colour};stroke:none\">{}</text>",
            at.x,
            at.y + down,
            escape(line)
        );
    }
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
