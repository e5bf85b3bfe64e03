//! Letters that have no single strokes, as outlines of a font that the user names.

use crate::diag::{Finding, Result};
use kurbo::{Affine, BezPath, Point};
use rustybuzz::ttf_parser::{GlyphId, OutlineBuilder};
use rustybuzz::{Face, UnicodeBuffer};

/// A TrueType or OpenType font.
#[derive(Clone, PartialEq)]
pub struct Font {
    bytes: Vec<u8>,
}

impl std::fmt::Debug for Font {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Font of {} bytes", self.bytes.len())
    }
}

/// Height of a capital against the em where a font doesn't say, as most fonts have it (from memory).
const CAPITAL: f64 = 0.7;

impl Font {
    /// A font from the bytes of its file (`.ttf`, `.otf`; of a collection the first). `file` names it in findings.
    ///
    /// # Errors
    /// Bytes that are no font, or one without outlines.
    pub fn read(bytes: Vec<u8>, file: &str) -> Result<Self> {
        let font = Self { bytes };
        let has_outlines = font.face().is_some_and(|face| {
            let tables = face.tables();
            tables.glyf.is_some() || tables.cff.is_some()
        });
        if has_outlines {
            Ok(font)
        } else {
            let finding = Finding::error("this is no font with outlines").in_file(file);
            Err(Box::new(finding.hint("name a .ttf or .otf file")))
        }
    }

    fn face(&self) -> Option<Face<'_>> {
        Face::from_slice(&self.bytes, 0)
    }

    /// Closed outlines of a run of one script on a baseline from the origin, capitals `capital` high, and how wide it is;
    /// `None` where the font lacks one of its characters. Letters join, turn and stack as their script wants it.
    pub(super) fn run(&self, text: &str, capital: f64) -> Option<(Vec<BezPath>, f64)> {
        let face = self.face()?;
        let em = f64::from(face.units_per_em());
        let high = face.capital_height().map(f64::from).filter(|high| *high > 0.0).unwrap_or(CAPITAL * em);
        let scale = capital / high;
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.guess_segment_properties();
        let shaped = rustybuzz::shape(&face, &[], buffer);
        let mut outlines = Outlines::default();
        let mut pen = Point::ORIGIN;
        for (info, place) in shaped.glyph_infos().iter().zip(shaped.glyph_positions()) {
            let glyph = GlyphId(u16::try_from(info.glyph_id).ok()?);
            if glyph.0 == 0 {
                return None;
            }
            outlines.at = pen + kurbo::Vec2::new(f64::from(place.x_offset), f64::from(place.y_offset));
            face.outline_glyph(glyph, &mut outlines);
            pen += kurbo::Vec2::new(f64::from(place.x_advance), f64::from(place.y_advance));
        }
        let paths = outlines.done.into_iter().map(|path| Affine::scale(scale) * path).collect();
        Some((paths, pen.x * scale))
    }
}

/// Collects contours, a closed path each, of lines and cubics.
#[derive(Default)]
struct Outlines {
    done: Vec<BezPath>,
    path: BezPath,
    at: Point,
    pen: Point,
}

impl Outlines {
    fn place(&self, x: f32, y: f32) -> Point {
        self.at + kurbo::Vec2::new(f64::from(x), f64::from(y))
    }
}

impl OutlineBuilder for Outlines {
    fn move_to(&mut self, x: f32, y: f32) {
        self.pen = self.place(x, y);
        self.path = BezPath::new();
        self.path.move_to(self.pen);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.pen = self.place(x, y);
        self.path.line_to(self.pen);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        // Raised to a cubic (degree elevation): the one kind of curve inside the program.
        let (control, end) = (self.place(x1, y1), self.place(x, y));
        self.path.curve_to(self.pen.lerp(control, 2.0 / 3.0), end.lerp(control, 2.0 / 3.0), end);
        self.pen = end;
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let (one, two, end) = (self.place(x1, y1), self.place(x2, y2), self.place(x, y));
        self.path.curve_to(one, two, end);
        self.pen = end;
    }

    fn close(&mut self) {
        let mut path = std::mem::take(&mut self.path);
        if path.elements().len() > 1 {
            path.close_path();
            self.done.push(path);
        }
    }
}
