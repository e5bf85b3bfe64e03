//! Single-stroke lettering that a pen can draw.
//!
//! The alphabet is the Hershey roman simplex (`hershey.txt`, terms in `LICENCE-HERSHEY.txt`) with letters, signs and
//! combining marks drawn for this project (`more.txt`). A letter with diacritics is decomposed (Unicode normalization
//! form D) and its marks are placed by their canonical combining class, so that ọ, ế or ş need no glyph of their own.
//! What has no strokes is drawn as outlines of a [`Font`] where one is given.

mod ascii;
mod font;

pub use ascii::ascii;
pub use font::Font;

use kurbo::{Affine, BezPath, Point, Rect, Vec2};
use std::collections::BTreeMap;
use std::sync::LazyLock;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::canonical_combining_class;

/// A line of writing as strokes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lettering {
    /// One open polyline a stroke, and one closed path a contour of a font's letter; mm, y up; the baseline runs from the
    /// origin along +x.
    pub paths: Vec<BezPath>,
    /// How far the pen has moved along the baseline, mm: where more writing would start.
    pub width: f64,
    /// Characters that there is no glyph for, in order, each once. A box is drawn in their place.
    pub missing: Vec<char>,
}

/// Height of the capitals in glyph units: writing of this height is in glyph units.
pub const CAP: f64 = 21.0;
/// Advance of a space in glyph units. Hershey's own is 16, which reads as a gap on a small label.
const SPACE: f64 = 12.0;
/// Height of a small letter without ascender, glyph units.
const X_HEIGHT: f64 = 14.0;
/// Clear height between a letter and its mark, glyph units.
const MARK_GAP: f64 = 3.0;
/// Size of a fraction's figures against the figures beside it.
const FRACTION: f64 = 0.62;

/// Letters a line of text with capitals `height` mm high. Line breaks and tabs count as spaces, characters that have no
/// ink by nature (zero-width spaces and joiners) draw nothing. A height that is not a positive number gives no strokes.
///
/// ```
/// let name = oaktag::text::letter("Adéṣọlá", 4.0);
/// assert!(name.missing.is_empty());
/// assert!(name.width > 10.0);
/// ```
pub fn letter(text: &str, height: f64) -> Lettering {
    letter_with(text, height, None)
}

/// [`letter`], with a font for what has no strokes. Runs of such characters, spaces between them included, are set by the
/// font as their script is written; what the font lacks too is boxed and reported.
pub fn letter_with(text: &str, height: f64, font: Option<&Font>) -> Lettering {
    let scale = if height.is_finite() && height > 0.0 { height / CAP } else { 0.0 };
    let mut pen = Pen::default();
    match font {
        None => pen.strokes_of(text),
        Some(font) => {
            for (stroked, part) in parts(text) {
                match if stroked { None } else { font.run(part, CAP) } {
                    None => pen.strokes_of(part),
                    Some((outlines, width)) => pen.outlines_of(&outlines, width),
                }
            }
        }
    }
    let paths = if scale > 0.0 { pen.paths(scale) } else { vec![] };
    Lettering { paths, width: pen.x * scale, missing: pen.missing }
}

/// The text in parts that are all strokes, or all for a font. Spaces between two characters for the font are its own.
fn parts(text: &str) -> Vec<(bool, &str)> {
    let mut ends: Vec<(bool, usize)> = Vec::new();
    let mut spaces: Option<usize> = None;
    for (at, c) in text.char_indices() {
        let end = at + c.len_utf8();
        let outlined = ends.last().is_some_and(|(stroked, _)| !stroked);
        if outlined && c.is_whitespace() {
            spaces.get_or_insert(at);
            continue;
        }
        // A mark stays with its letter.
        let stroked = if outlined && canonical_combining_class(c) != 0 { false } else { has_strokes(c) };
        if let Some(from) = spaces.take()
            && stroked
        {
            ends.push((true, at.max(from)));
        }
        match ends.last_mut() {
            Some(last) if last.0 == stroked => last.1 = end,
            _ => ends.push((stroked, end)),
        }
    }
    if spaces.is_some() {
        ends.push((true, text.len()));
    }
    let mut from = 0;
    ends.into_iter().map(|(stroked, end)| (stroked, &text[std::mem::replace(&mut from, end)..end])).collect()
}

/// Whether a character can be drawn in strokes, its marks too.
fn has_strokes(c: char) -> bool {
    let drawn = |part: char| part.is_whitespace() || is_inkless(part) || GLYPHS.contains_key(&part);
    std::iter::once(c).nfd().all(drawn) || fraction(c).is_some()
}

fn polyline(points: &[Point], scale: f64) -> BezPath {
    let mut path = BezPath::new();
    for (i, point) in points.iter().enumerate() {
        let at = (point.to_vec2() * scale).to_point();
        if i == 0 { path.move_to(at) } else { path.line_to(at) }
    }
    path
}

/// What has been written so far, in glyph units.
#[derive(Default)]
struct Pen {
    x: f64,
    strokes: Vec<Vec<Point>>,
    outlines: Vec<BezPath>,
    missing: Vec<char>,
}

impl Pen {
    /// Writes a text in strokes.
    fn strokes_of(&mut self, text: &str) {
        let mut characters = text.nfd().peekable();
        while let Some(base) = characters.next() {
            let mut marks = Vec::new();
            while let Some(mark) = characters.next_if(|&c| canonical_combining_class(c) != 0) {
                marks.push(mark);
            }
            if canonical_combining_class(base) == 0 {
                self.letter(base, &marks);
            } else {
                marks.insert(0, base);
                self.letter(' ', &marks);
            }
        }
    }

    /// Takes over what a font has set.
    fn outlines_of(&mut self, outlines: &[BezPath], width: f64) {
        let here = Affine::translate((self.x, 0.0));
        self.outlines.extend(outlines.iter().map(|path| here * path));
        self.x += width;
    }

    fn paths(&self, scale: f64) -> Vec<BezPath> {
        let strokes = self.strokes.iter().map(|stroke| polyline(stroke, scale));
        strokes.chain(self.outlines.iter().map(|path| Affine::scale(scale) * path)).collect()
    }

    /// Draws a letter with its marks and moves on.
    fn letter(&mut self, base: char, marks: &[char]) {
        if is_inkless(base) {
            return;
        }
        let from = self.strokes.len();
        let start = self.x;
        // A mark above takes the dot's place on i and j.
        let dotless = marks.iter().any(|&mark| canonical_combining_class(mark) == 230);
        let shown = match base {
            'i' if dotless => 'ı',
            'j' if dotless => 'ȷ',
            c if c.is_whitespace() => ' ',
            c => c,
        };
        if shown == ' ' {
            self.x += SPACE;
        } else if let Some(glyph) = GLYPHS.get(&shown) {
            self.strokes.extend(glyph.placed(Vec2::new(start, 0.0), 1.0));
            self.x += glyph.width;
        } else if let Some((numerator, denominator)) = fraction(base) {
            self.fraction(&numerator, &denominator);
        } else {
            self.lacks(base);
            self.strokes.push(boxed(start));
            self.x += 18.0;
        }
        let ink = extent(&self.strokes[from..]).unwrap_or_else(|| Rect::new(start, 0.0, self.x.max(start), X_HEIGHT));
        self.marks(marks, ink);
    }

    /// Places marks about a letter whose ink fills `ink`, outward in the order of the text.
    fn marks(&mut self, marks: &[char], ink: Rect) {
        let (mut top, mut bottom) = (ink.y1, ink.y0);
        let middle = f64::midpoint(ink.x0, ink.x1);
        for &mark in marks {
            let Some(glyph) = GLYPHS.get(&mark) else {
                self.lacks(mark);
                continue;
            };
            // Unicode's classes: 202 attached below, 216 attached above right, 220 below, 230 above.
            let at = match canonical_combining_class(mark) {
                202 if mark == '\u{328}' => Vec2::new(ink.x1 - 1.0, bottom),
                202 => Vec2::new(middle, bottom),
                216 => Vec2::new(ink.x1, ink.y1),
                220 => Vec2::new(middle, bottom - MARK_GAP),
                _ => Vec2::new(middle, top + MARK_GAP),
            };
            let strokes = glyph.placed(at, 1.0);
            if let Some(extent) = extent(&strokes) {
                top = top.max(extent.y1);
                bottom = bottom.min(extent.y0);
            }
            self.strokes.extend(strokes);
        }
    }

    /// Small raised figures, a slash, small figures on the baseline.
    fn fraction(&mut self, numerator: &str, denominator: &str) {
        self.small(numerator, CAP * (1.0 - FRACTION));
        let slash = self.x;
        self.strokes.push(vec![Point::new(slash - 2.0, 0.0), Point::new(slash + 7.0, CAP)]);
        self.x += 4.0;
        self.small(denominator, 0.0);
    }

    fn small(&mut self, figures: &str, rise: f64) {
        for glyph in figures.chars().filter_map(|c| GLYPHS.get(&c)) {
            self.strokes.extend(glyph.placed(Vec2::new(self.x, rise), FRACTION));
            self.x += glyph.width * FRACTION;
        }
    }

    fn lacks(&mut self, c: char) {
        if !self.missing.contains(&c) {
            self.missing.push(c);
        }
    }
}

/// Numerator and denominator of a vulgar fraction such as ⅝, from its compatibility decomposition.
fn fraction(c: char) -> Option<(String, String)> {
    let parts: String = std::iter::once(c).nfkd().collect();
    parts.split_once('\u{2044}').map(|(above, below)| (above.into(), below.into()))
}

fn boxed(x: f64) -> Vec<Point> {
    [(3.0, 0.0), (15.0, 0.0), (15.0, CAP), (3.0, CAP), (3.0, 0.0)].map(|(dx, y)| Point::new(x + dx, y)).to_vec()
}

fn is_inkless(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}')
}

fn extent(strokes: &[Vec<Point>]) -> Option<Rect> {
    strokes.iter().flatten().map(|p| Rect::from_points(*p, *p)).reduce(|a, b| a.union(b))
}

struct Glyph {
    width: f64,
    strokes: Vec<Vec<Point>>,
}

impl Glyph {
    fn placed(&self, at: Vec2, scale: f64) -> Vec<Vec<Point>> {
        let place = |p: &Point| (p.to_vec2() * scale + at).to_point();
        self.strokes.iter().map(|stroke| stroke.iter().map(place).collect()).collect()
    }
}

static GLYPHS: LazyLock<BTreeMap<char, Glyph>> = LazyLock::new(|| {
    let mut glyphs = BTreeMap::new();
    for line in include_str!("hershey.txt").lines().chain(include_str!("more.txt").lines()) {
        if let Some((key, glyph)) = parse(line, &glyphs) {
            glyphs.insert(key, glyph);
        }
    }
    glyphs
});

/// Reads one line of a glyph file; `None` for a comment and for a line that is not in the form (of which the unit test
/// allows none).
fn parse(line: &str, known: &BTreeMap<char, Glyph>) -> Option<(char, Glyph)> {
    let (key, rest) = line.split_once(' ')?;
    let key = match key.strip_prefix("U+") {
        Some(code) => char::from_u32(u32::from_str_radix(code, 16).ok()?)?,
        None => key.chars().next().filter(|c| c.len_utf8() == key.len())?,
    };
    let (head, points) = rest.split_once(' ').unwrap_or((rest, ""));
    let mut glyph = match head.strip_prefix('+').filter(|base| !base.is_empty()) {
        Some(base) => {
            let base = known.get(&base.chars().next()?)?;
            Glyph { width: base.width, strokes: base.strokes.clone() }
        }
        None => Glyph { width: head.parse().ok()?, strokes: Vec::new() },
    };
    for stroke in points.split(" ; ").filter(|stroke| !stroke.is_empty()) {
        let point = |text: &str| {
            let (x, y) = text.split_once(',')?;
            Some(Point::new(x.parse().ok()?, y.parse().ok()?))
        };
        glyph.strokes.push(stroke.split(' ').map(point).collect::<Option<_>>()?);
    }
    Some((key, glyph))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_of_the_glyph_files_is_read() {
        let lines = include_str!("hershey.txt").lines().chain(include_str!("more.txt").lines());
        let wanted = lines.filter(|line| !line.starts_with("//")).count();
        assert_eq!(GLYPHS.len(), wanted);
        assert!(parse("x 12 1,0 2;3", &GLYPHS).is_none(), "a damaged line must not be read");
        for (c, glyph) in GLYPHS.iter() {
            assert!(glyph.strokes.iter().all(|stroke| stroke.len() > 1), "{c} has a stroke of a single point");
        }
    }
}
