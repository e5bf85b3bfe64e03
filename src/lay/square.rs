//! The check square that goes on every sheet: a square, a bar, their sizes, and the stamp beside it.

use super::SheetStroke;
use crate::role::Role;
use crate::text::{Lettering, letter};
use crate::units::INCH;
use kurbo::{Affine, BezPath, Rect, Shape as _};

/// The side of the square, mm, and that where there is little room.
pub(super) const SIDES: [f64; 2] = [100.0, 50.0];

/// The bar's length, mm.
const BAR: f64 = 100.0;

/// Space between the parts, mm.
const SPACE: f64 = 6.0;

/// Height of the letters, mm.
const LETTERS: f64 = 4.0;

/// From one line of writing to the next, mm.
const LINE: f64 = 7.0;

/// The least room for a line of the stamp beside the square, mm; with less it goes above.
const NARROW: f64 = 60.0;

/// The longest line of the stamp, mm: a longer one would take a strip of the medium for itself.
const LONGEST_LINE: f64 = 160.0;

/// The square with all that belongs to it.
#[derive(Clone, Default)]
pub(super) struct Block {
    /// The side of the square, mm.
    pub(super) side: f64,
    /// Extent along x, mm.
    pub(super) width: f64,
    /// Extent along y, mm.
    pub(super) height: f64,
    /// Role, name and path; the block's lower left corner is the origin.
    pub(super) strokes: Vec<(Role, &'static str, BezPath)>,
    /// Characters that there is no glyph for.
    pub(super) missing: Vec<char>,
}

impl Block {
    /// Its strokes on a sheet, its lower left corner at `corner`.
    pub(super) fn strokes_at(&self, corner: [f64; 2]) -> Vec<SheetStroke> {
        let there = Affine::translate((corner[0], corner[1]));
        let stroke = |(role, name, path): &(Role, &str, BezPath)| SheetStroke {
            role: *role,
            placed: None,
            edge: (*name).into(),
            path: there * path,
        };
        self.strokes.iter().map(stroke).collect()
    }

    /// A square of that side with its bar above and the stamp to its right, or above where `room` along x is little.
    pub(super) fn new(side: f64, stamp: &str, room: f64) -> Self {
        let mut block = Self { side, ..Self::default() };
        let two = 2.0 * INCH;
        block.add(Role::Square, "check square", Rect::new(0.0, 0.0, side, side).to_path(0.1));
        block.write(&format!("{side} mm"), 3.0, 3.0);
        if side > two + 4.0 * LINE {
            let low = (side - two) / 2.0;
            block.add(Role::Square, "2 in square", Rect::new(low, low, low + two, low + two).to_path(0.1));
            block.write("2 in", low + 3.0, low + 3.0);
        }
        let bar = if room >= BAR { BAR } else { side };
        block.add(Role::Square, "bar", ruler(bar, side + SPACE));
        block.write(&format!("{bar} mm"), 3.0, side + SPACE + 5.0);
        let beside = block.width + SPACE;
        let (left, floor) = if room - beside >= NARROW { (beside, 0.0) } else { (0.0, block.height + SPACE) };
        let lines = wrapped(stamp, (room - left).min(LONGEST_LINE));
        let top = if left > 0.0 { side - LETTERS } else { floor }
            .max(floor + LINE * lines.len().saturating_sub(1) as f64 + 2.0);
        for (index, line) in lines.iter().enumerate() {
            block.write(line, left, top - LINE * index as f64);
        }
        block
    }

    fn add(&mut self, role: Role, name: &'static str, path: BezPath) {
        let bounds = path.bounding_box();
        self.width = self.width.max(bounds.x1);
        self.height = self.height.max(bounds.y1);
        self.strokes.push((role, name, path));
    }

    fn write(&mut self, text: &str, x: f64, y: f64) {
        let Lettering { paths, width, missing } = letter(text, LETTERS);
        for path in paths {
            self.add(Role::Label, "", Affine::translate((x, y)) * path);
        }
        self.width = self.width.max(x + width);
        self.height = self.height.max(y + LETTERS);
        self.missing.extend(missing);
    }
}

/// A bar of that length at that height, with a tick every 10 mm and longer ones at its ends, in one stroke.
fn ruler(length: f64, y: f64) -> BezPath {
    let ticks = (length / 10.0).round() as usize;
    let mut path = BezPath::new();
    path.move_to((0.0, y));
    for tick in 0..=ticks {
        let x = length * tick as f64 / ticks as f64;
        let high = if tick == 0 || tick == ticks { 4.0 } else { 2.0 };
        path.line_to((x, y));
        path.line_to((x, y + high));
        path.line_to((x, y));
    }
    path
}

/// The text's words in lines no wider than `room`; a line break in the text stays one.
fn wrapped(text: &str, room: f64) -> Vec<String> {
    let mut lines = Vec::new();
    for paragraph in text.lines() {
        let mut line = String::new();
        for word in paragraph.split_whitespace() {
            let longer = if line.is_empty() { word.into() } else { format!("{line} {word}") };
            if line.is_empty() || letter(&longer, LETTERS).width <= room {
                line = longer;
            } else {
                lines.push(std::mem::replace(&mut line, word.into()));
            }
        }
        lines.extend((!line.is_empty()).then_some(line));
    }
    lines
}
