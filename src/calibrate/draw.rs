//! The test square: the largest rectangle that a medium takes, with ticks that a tape shows, both diagonals, a ladder
//! along the feed of a roll, and room to write the readings.

use super::solve::Nominal;
use crate::device::{Correction, Device, Medium, MediumKind};
use crate::diag::{Finding, Result};
use crate::lay::{Sheet, SheetStroke};
use crate::role::Role;
use crate::text::letter;
use crate::units::{INCH, trimmed};
use kurbo::{Affine, BezPath, Point, Rect, Shape};

/// How large a square is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// As large as the medium takes: the larger, the surer.
    Largest,
    /// At most 100 mm, for a card or a corner that is left.
    Small,
}

/// Rungs along the feed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ladder {
    /// From one to the next, mm.
    pub step: f64,
    /// How many follow the first, which is the rectangle's lower left corner.
    pub rungs: usize,
}

/// A test square on its sheet.
#[derive(Clone, Debug)]
pub struct TestSquare {
    /// What is drawn. It has no check square of its own.
    pub sheet: Sheet,
    /// The rectangle along x, mm.
    pub width: f64,
    /// Along y, mm.
    pub height: f64,
    /// Its lower left corner on the sheet.
    pub corner: Point,
    /// The ladder, on a roll.
    pub ladder: Option<Ladder>,
    /// What to measure, a line each.
    pub instructions: Vec<String>,
    /// Whether all of that stands on the sheet; else there is only room for the readings, or not even that.
    pub lettered: bool,
}

/// Sides are whole multiples of this, mm.
const STEP: f64 = 10.0;
/// The rectangle keeps this far off the margins, mm: a line's width and a little.
const INSET: f64 = 1.0;
/// The side of a small square, mm.
const SMALL: f64 = 100.0;
/// Nothing smaller is worth measuring, mm.
const LEAST: f64 = 30.0;
/// From rung to rung, mm.
const RUNG: f64 = 250.0;
/// The longest ladder, mm: a tape of 3 m is in every workroom.
const LONGEST_LADDER: f64 = 3000.0;

/// The square for a medium of a device. `ladder` is its longest length along the feed, mm. `through` is the correction
/// that it is drawn through, to see whether that is right; with none it is drawn to find one. The sheet says which.
///
/// # Errors
/// A medium that has no room for 30 mm.
pub fn square(
    device: &Device,
    medium: &Medium,
    size: Size,
    ladder: Option<f64>,
    through: Option<&Correction>,
) -> Result<TestSquare> {
    // One page of those that are glued: glue is no machine's doing.
    let (full, margins) = match medium.pages {
        Some(pages) => {
            let m = pages.margins;
            let window = (pages.width - m.left - m.right, pages.height - m.bottom - m.top);
            (window, crate::device::Margins::all(0.0))
        }
        None => (medium.extent(), medium.margins),
    };
    let corner = Point::new(margins.left + INSET, margins.bottom + INSET);
    let room_x = full.0 - margins.right - INSET - corner.x;
    let room_y = full.1 - margins.top - INSET - corner.y;
    let most = if size == Size::Small { SMALL } else { f64::INFINITY };
    let roll = medium.pages.is_none() && matches!(medium.kind, MediumKind::Roll { .. });
    let down = |side: f64| (side.min(most) / STEP + 1e-9).floor() * STEP;
    let height = down(room_y);
    let width = down(if roll { room_x.min(room_y) } else { room_x });
    if width < LEAST || height < LEAST {
        let message = format!("\"{}\" has no room for a square of {LEAST} mm", medium.name);
        return Err(Finding::error(message).hint("give it narrower margins, or measure on a larger medium").into());
    }
    let ladder = (roll && size == Size::Largest)
        .then(|| Ladder { step: RUNG, rungs: (room_x.min(ladder.unwrap_or(LONGEST_LADDER)) / RUNG + 1e-9) as usize })
        .filter(|ladder| ladder.rungs > 0);
    let reach = ladder.map_or(width, |ladder| width.max(ladder.step * ladder.rungs as f64));

    let carried = |role: Role| device.tools.iter().any(|tool| tool.roles.contains(&role));
    let mut strokes = Strokes { role: if carried(Role::Square) { Role::Square } else { Role::Cut }, lines: Vec::new() };
    strokes.frame(width, height);
    if let Some(ladder) = ladder {
        strokes.ladder(&ladder, width);
    }
    let instructions = instructions(device, medium, width, height, ladder, through);
    let brief: Vec<String> =
        ["width", "height", "diagonal", "diagonal 2"].map(|name| format!("{name} ________")).to_vec();
    let lettered = carried(Role::Label)
        && (strokes.letter(&instructions, width, height) || {
            // On a card the names and room for the readings must do.
            strokes.letter(&brief, width, height);
            false
        });
    let to_sheet = Affine::translate(corner.to_vec2());
    let strokes = strokes
        .lines
        .into_iter()
        .map(|(role, name, path)| SheetStroke { role, placed: None, edge: name.into(), path: to_sheet * path })
        .collect();
    let sheet = Sheet {
        sizes: Vec::new(),
        medium: medium.name.clone(),
        width: if roll { corner.x + reach + INSET + margins.right } else { full.0 },
        height: full.1,
        placed: Vec::new(),
        strokes,
        square: 0.0,
    };
    Ok(TestSquare { sheet, width, height, corner, ladder, instructions, lettered })
}

impl TestSquare {
    /// What readings of it are compared with. The uncertainty is stated as far as the medium reaches; along the feed of a
    /// roll as far as the ladder does.
    pub fn nominal(&self, medium: &Medium) -> Nominal {
        let (across, up) = match (medium.pages, medium.kind) {
            (None, MediumKind::Roll { width, .. }) => {
                let ladder = self.ladder.map_or(0.0, |ladder| ladder.step * ladder.rungs as f64);
                (self.width.max(ladder), width)
            }
            _ => (self.sheet.width, self.sheet.height),
        };
        Nominal {
            width: self.width,
            height: self.height,
            from: self.corner.x,
            step: self.ladder.map_or(0.0, |ladder| ladder.step),
            reach: [across, up],
        }
    }
}

/// What to measure, and where to put the readings.
fn instructions(
    device: &Device,
    medium: &Medium,
    width: f64,
    height: f64,
    ladder: Option<Ladder>,
    through: Option<&Correction>,
) -> Vec<String> {
    // What is measured on a corrected square says nothing of the machine: the readings must say which square they are of.
    let (drawn, verify) = match through {
        Some(correction) => (format!("drawn through the correction of {}", correction.date), "--verify "),
        None => ("drawn without correction".into(), ""),
    };
    let [w, h] = [width, height].map(|side| trimmed(side, 1));
    let mut lines = vec![
        format!("{}, {}: {w} × {h} mm, {drawn}", device.name, medium.name),
        "From middle of line to middle of line, tape flat and taut:".into(),
        "width, lower side: ________  upper side: ________".into(),
        "height, left side: ________  right side: ________".into(),
        "diagonal, lower left to upper right: ________".into(),
        "diagonal 2, upper left to lower right: ________".into(),
    ];
    if let Some(ladder) = ladder {
        lines.push(format!(
            "ladder, from the corner marked 0 to each rung, 1 to {}: write it beside the rung",
            ladder.rungs
        ));
    }
    lines.push(format!("Then: oaktag square with {verify}--width --height --diagonal --diagonal-2"));
    lines
}

/// Lines relative to the rectangle's lower left corner.
struct Strokes {
    role: Role,
    lines: Vec<(Role, &'static str, BezPath)>,
}

impl Strokes {
    fn line(&mut self, name: &'static str, from: (f64, f64), to: (f64, f64)) {
        let mut path = BezPath::new();
        path.move_to(from);
        path.line_to(to);
        self.lines.push((self.role, name, path));
    }

    /// The rectangle, its diagonals, centimetres along the lower and left side and half inches along the others.
    fn frame(&mut self, width: f64, height: f64) {
        self.lines.push((self.role, "test square", Rect::new(0.0, 0.0, width, height).to_path(0.1)));
        self.line("diagonal", (0.0, 0.0), (width, height));
        self.line("diagonal 2", (0.0, height), (width, 0.0));
        let ticks =
            |length: f64, step: f64| (1..).map(move |i| f64::from(i) * step).take_while(move |at| *at < length - 1.0);
        let long = |index: usize, every: usize| if (index + 1).is_multiple_of(every) { 6.0 } else { 3.0 };
        for (index, at) in ticks(width, 10.0).enumerate() {
            self.line("tick", (at, 0.0), (at, long(index, 5)));
        }
        for (index, at) in ticks(height, 10.0).enumerate() {
            self.line("tick", (0.0, at), (long(index, 5), at));
        }
        for (index, at) in ticks(width, INCH / 2.0).enumerate() {
            self.line("tick", (at, height), (at, height - long(index, 2)));
        }
        for (index, at) in ticks(height, INCH / 2.0).enumerate() {
            self.line("tick", (width, at), (width - long(index, 2), at));
        }
    }

    /// The lower side run on along the feed, a rung at every step, numbered.
    fn ladder(&mut self, ladder: &Ladder, width: f64) {
        let end = ladder.step * ladder.rungs as f64;
        if end > width {
            self.line("ladder", (width, 0.0), (end, 0.0));
        }
        for rung in 1..=ladder.rungs {
            let at = ladder.step * rung as f64;
            self.line("rung", (at, 0.0), (at, 20.0));
            // Before its rung, so that the last one's stays on the sheet.
            let label = format!("{rung}: ________");
            self.write(&label, (at - 2.0 - letter(&label, 5.0).width, 12.0), 5.0);
        }
        self.write("0", (8.0, 8.0), 5.0);
    }

    fn write(&mut self, text: &str, at: (f64, f64), size: f64) {
        let lettering = letter(text, size);
        let to = Affine::translate(at);
        self.lines.extend(lettering.paths.into_iter().map(|path| (Role::Label, "", to * path)));
    }

    /// The instructions between the lower side and the diagonals, as large as there is room for; false where there is
    /// none.
    fn letter(&mut self, lines: &[String], width: f64, height: f64) -> bool {
        const SIZES: [f64; 6] = [7.0, 5.0, 4.0, 3.0, 2.5, 2.0];
        let floor = if width > 200.0 { 28.0 } else { 8.0 };
        let place = |size: f64, index: usize| floor + 1.9 * size * (lines.len() - 1 - index) as f64;
        let fits = |size: &&f64| {
            lines.iter().enumerate().all(|(index, line)| {
                // The diagonals close in from both sides.
                let top = place(**size, index) + **size;
                letter(line, **size).width <= 0.96 * width * (1.0 - 2.0 * top / height)
            })
        };
        let Some(size) = SIZES.iter().find(fits) else { return false };
        for (index, line) in lines.iter().enumerate() {
            let left = (width - letter(line, *size).width) / 2.0;
            self.write(line, (left, place(*size, index)), *size);
        }
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::device::{Language, Tool, ToolKind};

    #[test]
    fn the_largest_and_the_small_one() {
        let mut device = Device::plain("Plotter", Language::Svg);
        device.tools.push(Tool::plain("pen", ToolKind::Pen, &Role::ALL));
        let roll = Medium::plain("paper", MediumKind::Roll { width: 914.4, longest: 2600.0 }, 10.0, 5.0);
        let drawn = |medium: &Medium, size| square(&device, medium, size, None, None).expect("has room");
        let large = drawn(&roll, Size::Largest);
        // 914.4 − 2 · 10 − 2 · 1 = 892.4, in whole centimetres; a rung every 250 mm to 2,580 mm.
        assert!((large.width - 890.0).abs() < 1e-9 && (large.height - 890.0).abs() < 1e-9);
        assert_eq!(large.ladder.map(|ladder| ladder.rungs), Some(10));
        assert!(large.lettered);
        let bounds =
            large.sheet.strokes.iter().map(|s| s.path.bounding_box()).reduce(|a, b| a.union(b)).expect("lines");
        assert!(bounds.x0 >= 10.0 && bounds.y0 >= 10.0 && bounds.y1 <= 904.4 && bounds.x1 <= large.sheet.width - 10.0);
        let small = drawn(&roll, Size::Small);
        assert!((small.width - 100.0).abs() < 1e-9 && small.ladder.is_none());
        let card = Medium::plain("card", MediumKind::Sheet { width: 85.0, height: 54.0 }, 3.0, 1.0);
        let of_card = drawn(&card, Size::Largest);
        assert!((of_card.width - 70.0).abs() < 1e-9 && (of_card.height - 40.0).abs() < 1e-9);
        let stamp = Medium::plain("stamp", MediumKind::Sheet { width: 30.0, height: 54.0 }, 3.0, 1.0);
        assert!(square(&device, &stamp, Size::Largest, None, None).is_err());
    }
}
