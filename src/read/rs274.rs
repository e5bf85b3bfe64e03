//! RS-274 programs read into bare paths: `G0` to `G3`, each tool a layer, `tool 2`. The tool works while it is switched on
//! (`M3`, `M4`), or, where the program has a `Z`, while that is not above 0.

use super::{ARC_TOLERANCE, Drawing, Gathered, check_size};
use crate::diag::{Finding, Result};
use kurbo::{Arc, BezPath, Point, Vec2};

/// Settings that change nothing here: planes, cutter compensation off, feed modes, path modes.
const QUIET: [u32; 9] = [17, 40, 49, 54, 61, 64, 80, 90, 94];

/// No number of a program is larger.
const LARGEST: f64 = 1e9;

/// Larger arcs are slips, and would take curves without end, mm.
const LARGEST_RADIUS: f64 = 1e6;

/// What an RS-274 program draws, in millimetres, in the machine's coordinates.
///
/// # Errors
/// A word that can't be read, or that this reader does not know and that might move the tool, with its line.
pub fn rs274(bytes: &[u8], file: &str) -> Result<(Drawing, Vec<Finding>)> {
    check_size(bytes, file)?;
    let text = String::from_utf8_lossy(bytes);
    let mut reader = Reader {
        gathered: Gathered::new(file),
        line: 0,
        scale: 1.0,
        motion: 0,
        at: Point::ORIGIN,
        height: None,
        on: false,
        tool: 0,
        path: BezPath::new(),
    };
    for (index, line) in text.lines().enumerate() {
        reader.line = index + 1;
        if !reader.block(line)? {
            break;
        }
    }
    reader.lift()?;
    Ok((Drawing { width: None, height: None, paths: reader.gathered.paths }, Vec::new()))
}

struct Reader<'a> {
    gathered: Gathered<'a>,
    line: usize,
    scale: f64,
    motion: u32,
    at: Point,
    height: Option<f64>,
    on: bool,
    tool: u32,
    path: BezPath,
}

impl Reader<'_> {
    /// Carries out a line; `false` at the program's end.
    fn block(&mut self, line: &str) -> Result<bool> {
        let (mut x, mut y, mut z, mut i, mut j) = (None, None, None, 0.0, 0.0);
        let mut ends = false;
        for (letter, value) in self.words(line)? {
            let whole = (value.fract() == 0.0 && (0.0..1000.0).contains(&value)).then_some(value as u32);
            match (letter, whole) {
                ('X', _) => x = Some(value * self.scale),
                ('Y', _) => y = Some(value * self.scale),
                ('Z', _) => z = Some(value * self.scale),
                ('I', _) => i = value * self.scale,
                ('J', _) => j = value * self.scale,
                ('G', Some(motion @ 0..=3)) => self.motion = motion,
                ('G', Some(20)) => self.scale = crate::units::INCH,
                ('G', Some(21)) => self.scale = 1.0,
                ('G', Some(quiet)) if QUIET.contains(&quiet) => {}
                ('M', Some(3 | 4)) => self.on = true,
                ('M', Some(5)) => {
                    self.lift()?;
                    self.on = false;
                }
                ('M', Some(2 | 30)) => ends = true,
                ('M', Some(6..=9)) | ('S' | 'F' | 'N', _) => {}
                ('T', Some(tool)) => {
                    self.lift()?;
                    self.tool = tool;
                }
                _ => return Err(self.wrong(&format!("the word {letter}{value} is not known"))),
            }
        }
        if let Some(z) = z {
            if z > 0.0 {
                self.lift()?;
            }
            self.height = Some(z);
        }
        if x.is_some() || y.is_some() {
            let to = Point::new(x.unwrap_or(self.at.x), y.unwrap_or(self.at.y));
            self.go(to, Vec2::new(i, j))?;
        } else if self.works() && self.path.elements().is_empty() && z.is_some() {
            self.path.move_to(self.at);
        }
        if ends {
            self.lift()?;
        }
        Ok(!ends)
    }

    /// Letters and numbers, comments left out.
    fn words(&self, line: &str) -> Result<Vec<(char, f64)>> {
        let mut plain = String::new();
        let mut comment = false;
        for c in line.chars() {
            match c {
                '(' => comment = true,
                ')' => comment = false,
                ';' if !comment => break,
                c if comment || c.is_whitespace() || c == '%' => {}
                c => plain.push(c.to_ascii_uppercase()),
            }
        }
        let mut words = Vec::new();
        let mut rest = plain.as_str();
        while let Some(letter) = rest.chars().next() {
            let tail = &rest[letter.len_utf8()..];
            let end = tail.find(|c: char| !matches!(c, '0'..='9' | '.' | '-' | '+')).unwrap_or(tail.len());
            let value: f64 = tail[..end].parse().map_err(|_| self.wrong(&format!("{letter} has no number")))?;
            if value.abs() > LARGEST {
                return Err(self.wrong(&format!("{letter} has a number beyond all measure")));
            }
            words.push((letter, value));
            rest = &tail[end..];
        }
        Ok(words)
    }

    fn works(&self) -> bool {
        self.height.map_or(self.on, |height| height <= 0.0)
    }

    fn go(&mut self, to: Point, offset: Vec2) -> Result<()> {
        if !self.works() {
            self.at = to;
            return Ok(());
        }
        if self.path.elements().is_empty() {
            self.path.move_to(self.at);
        }
        if self.motion < 2 {
            self.path.line_to(to);
        } else {
            self.arc(to, offset)?;
        }
        self.at = to;
        self.gathered.check_room(&self.path)
    }

    /// `G2` clockwise, `G3` anticlockwise, about the start plus I and J.
    fn arc(&mut self, to: Point, offset: Vec2) -> Result<()> {
        let centre = self.at + offset;
        let (from, end) = (self.at - centre, to - centre);
        let radius = from.hypot();
        // NIST IR 6556, 3.5.3.2 allows 0.002 mm between the two radii.
        if radius > LARGEST_RADIUS {
            return Err(self.wrong("the arc's radius is over a kilometre"));
        }
        if radius < 1e-9 || (end.hypot() - radius).abs() > 0.002 {
            return Err(self.wrong("the arc's end is not on its circle"));
        }
        let full = std::f64::consts::TAU;
        let turn = (end.atan2() - from.atan2()).rem_euclid(full);
        let sweep = match (self.motion, turn) {
            (3, 0.0) => full,
            (3, turn) => turn,
            (_, turn) => turn - full,
        };
        Arc::new(centre, (radius, radius), from.atan2(), sweep, 0.0)
            .to_cubic_beziers(ARC_TOLERANCE / 10.0, |a, b, p| self.path.curve_to(a, b, p));
        Ok(())
    }

    /// Ends the stroke. On without a move is a dot; back at its start is closed.
    fn lift(&mut self) -> Result<()> {
        if self.on && self.height.is_none() && self.path.elements().is_empty() {
            self.path.move_to(self.at);
        }
        let mut path = std::mem::take(&mut self.path);
        let first = path.elements().first().and_then(kurbo::PathEl::end_point);
        match path.elements().len() {
            0 => return Ok(()),
            1 => path.line_to(self.at),
            2 | 3 => {}
            _ if first.is_some_and(|first| first.distance(self.at) < 1e-9) => path.close_path(),
            _ => {}
        }
        self.gathered.add(&format!("tool {}", self.tool), &path)
    }

    fn wrong(&self, what: &str) -> Box<Finding> {
        self.gathered.refused(&format!("line {}: {what}", self.line), "have the program written again")
    }
}
