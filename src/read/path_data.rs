//! SVG path data (SVG 1.1, chapter 8.3) with its whole grammar, arcs included. kurbo's own parser is not used: it turns
//! arcs into curves at a fixed 0.1 of a unit and stops in silence at what it does not know.

use super::MOST_SEGMENTS;
use kurbo::{Arc, BezPath, Point, SvgArc, Vec2};

/// No coordinate is larger; it keeps arcs finite.
const LARGEST: f64 = 1e9;

/// The path of a `d` attribute. Arcs stray by no more than `tolerance`, in the attribute's units. Of one that is longer than
/// any drawing may be only so much is read that it will be refused.
///
/// # Errors
/// The byte offset of the first character that fits nothing.
pub(super) fn parse(data: &str, tolerance: f64) -> Result<BezPath, usize> {
    let mut scanner = Scanner { text: data.as_bytes(), at: 0 };
    let mut path = BezPath::new();
    let mut pen = Pen { here: Point::ORIGIN, start: Point::ORIGIN, cubic: None, quad: None };
    let mut command = None;
    loop {
        scanner.skip_space();
        let Some(byte) = scanner.peek().filter(|_| path.elements().len() <= MOST_SEGMENTS) else { return Ok(path) };
        let from = scanner.at;
        let letter = if byte.is_ascii_alphabetic() {
            scanner.at += 1;
            byte
        } else {
            // Numbers without a letter repeat the command; behind a move they are lines, behind a close they are wrong.
            match command {
                Some(b'M') => b'L',
                Some(b'm') => b'l',
                Some(b'Z' | b'z') | None => return Err(from),
                Some(letter) => letter,
            }
        };
        if path.elements().is_empty() && !matches!(letter, b'M' | b'm') {
            return Err(from);
        }
        draw(letter, &mut scanner, &mut pen, &mut path, tolerance).map_err(|()| scanner.at.max(from))?;
        command = Some(letter);
        scanner.skip_comma();
    }
}

/// Numbers of a list, separated by spaces or commas, as in `points` and `viewBox`.
///
/// # Errors
/// The byte offset of the first character that fits nothing.
pub(super) fn numbers(text: &str) -> Result<Vec<f64>, usize> {
    let mut scanner = Scanner { text: text.as_bytes(), at: 0 };
    let mut numbers = Vec::new();
    loop {
        scanner.skip_space();
        if scanner.peek().is_none() {
            return Ok(numbers);
        }
        numbers.push(scanner.number().map_err(|()| scanner.at)?);
        scanner.skip_comma();
    }
}

/// Where the pen is, and what the smooth commands reflect.
struct Pen {
    here: Point,
    start: Point,
    /// Second control point of the last cubic, where the last command was one.
    cubic: Option<Point>,
    /// Control point of the last quadratic, where the last command was one.
    quad: Option<Point>,
}

fn draw(letter: u8, from: &mut Scanner, pen: &mut Pen, path: &mut BezPath, tolerance: f64) -> Result<(), ()> {
    let base = if letter.is_ascii_lowercase() { pen.here.to_vec2() } else { Vec2::ZERO };
    let before = pen.here;
    let (cubic, quad) = (pen.cubic.take(), pen.quad.take());
    match letter.to_ascii_uppercase() {
        b'M' => {
            pen.here = from.point()? + base;
            pen.start = pen.here;
            path.move_to(pen.here);
        }
        b'Z' => {
            path.close_path();
            pen.here = pen.start;
        }
        b'L' => pen.here = from.point()? + base,
        b'H' => pen.here.x = from.number()? + base.x,
        b'V' => pen.here.y = from.number()? + base.y,
        b'C' | b'S' => {
            let first = if letter.eq_ignore_ascii_case(&b'C') {
                from.point()? + base
            } else {
                cubic.map_or(before, |control| before + (before - control))
            };
            let second = from.point()? + base;
            pen.here = from.point()? + base;
            pen.cubic = Some(second);
            resume(path, before);
            path.curve_to(first, second, pen.here);
        }
        b'Q' | b'T' => {
            let control = if letter.eq_ignore_ascii_case(&b'Q') {
                from.point()? + base
            } else {
                quad.map_or(before, |control| before + (before - control))
            };
            pen.here = from.point()? + base;
            pen.quad = Some(control);
            resume(path, before);
            path.quad_to(control, pen.here);
        }
        b'A' => {
            let radii = from.point()?.to_vec2();
            let x_rotation = from.number()?.to_radians();
            from.skip_comma();
            let (large_arc, sweep) = (from.flag()?, from.flag()?);
            pen.here = from.point()? + base;
            let arc = SvgArc { from: before, to: pen.here, radii, x_rotation, large_arc, sweep };
            resume(path, before);
            arc_to(path, &arc, tolerance);
        }
        _ => return Err(()),
    }
    if matches!(letter.to_ascii_uppercase(), b'L' | b'H' | b'V') {
        resume(path, before);
        path.line_to(pen.here);
    }
    Ok(())
}

/// Behind a close the next subpath starts at the same point without a move of its own.
fn resume(path: &mut BezPath, here: Point) {
    if let Some(kurbo::PathEl::ClosePath) = path.elements().last() {
        path.move_to(here);
    }
}

/// Appends an arc as cubics, ending exactly at its end point. Without extent it is a line (SVG 1.1, appendix F.6).
pub(super) fn arc_to(path: &mut BezPath, arc: &SvgArc, tolerance: f64) {
    match Arc::from_svg_arc(arc) {
        Some(round) => {
            let mut curves: Vec<_> = round.append_iter(tolerance.max(1e-9)).collect();
            if let Some(kurbo::PathEl::CurveTo(_, _, end)) = curves.last_mut() {
                *end = arc.to;
            }
            path.extend(curves);
        }
        None => path.line_to(arc.to),
    }
}

struct Scanner<'a> {
    text: &'a [u8],
    at: usize,
}

impl Scanner<'_> {
    fn peek(&self) -> Option<u8> {
        self.text.get(self.at).copied()
    }

    fn skip_space(&mut self) {
        while self.peek().is_some_and(|byte| matches!(byte, b' ' | b'\t' | b'\n' | b'\r' | 0x0c)) {
            self.at += 1;
        }
    }

    fn skip_comma(&mut self) {
        self.skip_space();
        if self.peek() == Some(b',') {
            self.at += 1;
            self.skip_space();
        }
    }

    fn skip_digits(&mut self) -> usize {
        let from = self.at;
        while self.peek().is_some_and(|byte| byte.is_ascii_digit()) {
            self.at += 1;
        }
        self.at - from
    }

    /// A number of no more than [`LARGEST`]. On failure the place is the number's start.
    fn number(&mut self) -> Result<f64, ()> {
        self.skip_space();
        let from = self.at;
        if matches!(self.peek(), Some(b'+' | b'-')) {
            self.at += 1;
        }
        let mut digits = self.skip_digits();
        if self.peek() == Some(b'.') {
            self.at += 1;
            digits += self.skip_digits();
        }
        let mantissa = self.at;
        if matches!(self.peek(), Some(b'e' | b'E')) {
            self.at += 1;
            if matches!(self.peek(), Some(b'+' | b'-')) {
                self.at += 1;
            }
            if self.skip_digits() == 0 {
                self.at = mantissa; // `1em`: the letter belongs to a unit
            }
        }
        let value = (digits > 0)
            .then(|| std::str::from_utf8(&self.text[from..self.at]).ok()?.parse::<f64>().ok())
            .flatten()
            .filter(|value| value.abs() <= LARGEST);
        value.ok_or_else(|| self.at = from)
    }

    fn point(&mut self) -> Result<Point, ()> {
        let x = self.number()?;
        self.skip_comma();
        let y = self.number()?;
        self.skip_comma();
        Ok(Point::new(x, y))
    }

    /// A flag is one digit; the next number may follow without a space.
    fn flag(&mut self) -> Result<bool, ()> {
        self.skip_space();
        let flag = match self.peek() {
            Some(b'0') => false,
            Some(b'1') => true,
            _ => return Err(()),
        };
        self.at += 1;
        self.skip_comma();
        Ok(flag)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::{PathEl, Shape};

    fn read(data: &str) -> Vec<PathEl> {
        parse(data, 1e-3).unwrap_or_else(|at| panic!("{data} at {at}")).into_iter().collect()
    }

    fn at(x: f64, y: f64) -> Point {
        Point::new(x, y)
    }

    #[test]
    fn numbers_need_no_spaces() {
        // The standard's own examples, SVG 1.1, chapter 8.3.9 and 8.3.2.
        assert_eq!(read("M 100-200"), [PathEl::MoveTo(at(100.0, -200.0))]);
        assert_eq!(read("M 0.6.5"), [PathEl::MoveTo(at(0.6, 0.5))]);
        assert_eq!(read("M 100 200 200 100 -100 -200"), read("M 100 200 L 200 100 -100 -200"));
        assert_eq!(read("m1-1e1,2 3"), read("M1 -10 L 3 -7"));
        assert_eq!(read("M0 0h3V4z m1 1 2 2"), read("M0 0 L3 0 L3 4 Z M1 1 L3 3"));
        assert_eq!(read("M1 1h2zh3"), read("M1 1 L3 1 Z M1 1 L4 1"));
    }

    #[test]
    fn smooth_commands_reflect_only_their_own_kind() {
        // Chapters 8.3.6 and 8.3.7: otherwise the control point is the current point.
        assert_eq!(read("M0 0C1 1 2 3 4 4S7 8 9 9"), read("M0 0C1 1 2 3 4 4C6 5 7 8 9 9"));
        assert_eq!(read("M0 0Q1 2 3 3T9 9"), read("M0 0Q1 2 3 3Q5 4 9 9"));
        assert_eq!(read("M0 0S1 2 3 3t1 1"), read("M0 0C0 0 1 2 3 3Q3 3 4 4"));
        assert_eq!(read("M0 0Q1 2 3 3S4 4 5 5"), read("M0 0Q1 2 3 3C3 3 4 4 5 5"));
    }

    #[test]
    fn arcs_are_round() {
        // A circle of radius 50 as two half arcs, flags run together (chapter 8.3.8): area 2500 π.
        let circle = parse("M0 0a50 50 0 0150 50 50 50 0 11-50-50z", 1e-4).expect("reads");
        assert!((circle.area().abs() - 2500.0 * std::f64::consts::PI).abs() < 0.05, "{}", circle.area());
        // Radii that are too small are enlarged, and none at all makes a line (appendix F.6).
        let enlarged = parse("M0 0A1 1 0 0 0 10 0", 1e-3).expect("reads").bounding_box();
        assert!((enlarged.height() - 5.0).abs() < 1e-2, "{enlarged}");
        assert_eq!(read("M0 0A0 5 0 0 0 10 0"), read("M0 0L10 0"));
    }

    #[test]
    fn refusals_point_at_the_place() {
        for (data, place) in [
            ("L1 1", 0),
            ("M1", 2),
            ("M1 1 2", 6),
            ("M1 1 X", 6),
            ("M0 0z5", 5),
            ("M0 0A1 1 0 2 0 1 1", 11),
            ("M1e99 0", 1),
        ] {
            assert_eq!(parse(data, 1e-3).expect_err(data), place, "{data}");
        }
        assert_eq!(read(""), []);
    }
}
