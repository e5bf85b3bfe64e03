//! HP-GL and HP-GL/2 files read into bare paths: `PU`, `PD`, `PA`, `PR`, `PE`, `SP`; each pen is a layer, `tool 2`.

use super::{Drawing, Gathered, check_size};
use crate::diag::{Finding, Result};
use kurbo::{BezPath, Point};

/// Instructions that set a machine up and draw nothing.
const QUIET: [&str; 10] = ["IN", "PS", "PG", "VS", "FS", "CO", "BP", "DF", "AS", "PW"];

/// What an HP-GL file draws, in millimetres, in the machine's coordinates. `units_per_mm` is the machine's: 40 for most.
///
/// # Errors
/// A number that can't be read, with its place in the file; an encoded polyline that does not end.
pub fn hpgl(bytes: &[u8], file: &str, units_per_mm: f64) -> Result<(Drawing, Vec<Finding>)> {
    check_size(bytes, file)?;
    let mut reader = Reader {
        bytes,
        next: 0,
        gathered: Gathered::new(file),
        scale: 1.0 / units_per_mm,
        pen: 0,
        down: false,
        relative: false,
        at: [0.0; 2],
        path: BezPath::new(),
    };
    reader.all()?;
    let findings = reader.gathered.warnings();
    Ok((Drawing { width: None, height: None, paths: reader.gathered.paths }, findings))
}

struct Reader<'a> {
    bytes: &'a [u8],
    next: usize,
    gathered: Gathered<'a>,
    scale: f64,
    pen: u32,
    down: bool,
    relative: bool,
    /// In plotter units.
    at: [f64; 2],
    path: BezPath,
}

impl Reader<'_> {
    fn all(&mut self) -> Result<()> {
        while let Some(&byte) = self.bytes.get(self.next) {
            match byte {
                0x1b => self.escape(),
                b'A'..=b'Z' | b'a'..=b'z' => self.instruction()?,
                b';' | b' ' | b'\t' | b'\r' | b'\n' => self.next += 1,
                _ => return Err(self.wrong("is no instruction")),
            }
        }
        self.lift()
    }

    /// `ESC E`, or `ESC %` with a number and a letter.
    fn escape(&mut self) {
        self.next += 1;
        if self.bytes.get(self.next) == Some(&b'%') {
            self.next += 1;
            while self.bytes.get(self.next).is_some_and(|b| b.is_ascii_digit() || *b == b'-') {
                self.next += 1;
            }
        }
        self.next += 1;
    }

    fn instruction(&mut self) -> Result<()> {
        let Some(name) = self.bytes.get(self.next..self.next + 2) else { return Err(self.wrong("ends early")) };
        let name = String::from_utf8_lossy(name).to_ascii_uppercase();
        self.next += 2;
        match name.as_str() {
            "PE" => return self.encoded(),
            "CO" => {
                self.comment();
                return Ok(());
            }
            _ => {}
        }
        let numbers = self.numbers()?;
        match name.as_str() {
            "PU" => {
                self.lift()?;
                self.moves(&numbers)
            }
            "PD" => {
                self.down = true;
                self.moves(&numbers)
            }
            "PA" | "PR" => {
                self.relative = name == "PR";
                self.moves(&numbers)
            }
            "SP" => {
                self.lift()?;
                self.pen = numbers.first().copied().unwrap_or(0.0).clamp(0.0, 1e6) as u32;
                Ok(())
            }
            "IN" => {
                self.lift()?;
                (self.relative, self.at) = (false, [0.0; 2]);
                Ok(())
            }
            known if QUIET.contains(&known) => Ok(()),
            other => {
                self.gathered.leave_out(&format!("instruction {other}"));
                Ok(())
            }
        }
    }

    /// Text in quotes.
    fn comment(&mut self) {
        if self.bytes.get(self.next) == Some(&b'"') {
            self.next += 1;
            while self.bytes.get(self.next).is_some_and(|b| *b != b'"') {
                self.next += 1;
            }
            self.next += 1;
        }
    }

    /// The numbers up to the next instruction.
    fn numbers(&mut self) -> Result<Vec<f64>> {
        let start = self.next;
        while self.bytes.get(self.next).is_some_and(|b| matches!(b, b'0'..=b'9' | b'.' | b'-' | b'+' | b',' | b' ')) {
            self.next += 1;
        }
        let text = String::from_utf8_lossy(&self.bytes[start..self.next]);
        let numbers: std::result::Result<Vec<f64>, _> =
            text.split([',', ' ']).filter(|word| !word.is_empty()).map(str::parse).collect();
        numbers.map_err(|_| self.wrong("is no number"))
    }

    fn moves(&mut self, numbers: &[f64]) -> Result<()> {
        if !numbers.len().is_multiple_of(2) {
            return Err(self.wrong("has a coordinate without its partner"));
        }
        if numbers.is_empty() && self.down && self.path.elements().is_empty() {
            self.start(); // a dot, unless the pen moves on
        }
        for pair in numbers.chunks_exact(2) {
            let to = if self.relative { [self.at[0] + pair[0], self.at[1] + pair[1]] } else { [pair[0], pair[1]] };
            self.go(to)?;
        }
        Ok(())
    }

    fn point(&self) -> Point {
        Point::new(self.at[0] * self.scale, self.at[1] * self.scale)
    }

    fn start(&mut self) {
        self.path.move_to(self.point());
    }

    fn go(&mut self, to: [f64; 2]) -> Result<()> {
        if self.down && self.path.elements().is_empty() {
            self.start();
        }
        self.at = to;
        if self.down {
            self.path.line_to(self.point());
        }
        self.gathered.check_room(&self.path)
    }

    /// Ends the stroke. The pen down without a move is a dot; back at its start is closed.
    fn lift(&mut self) -> Result<()> {
        self.down = false;
        let mut path = std::mem::take(&mut self.path);
        let (first, last) = (path.elements().first().and_then(kurbo::PathEl::end_point), self.point());
        match path.elements().len() {
            0 => return Ok(()),
            1 => path.line_to(last),
            2 | 3 => {}
            _ if first == Some(last) => path.close_path(),
            _ => {}
        }
        self.gathered.add(&format!("tool {}", self.pen), &path)
    }

    fn encoded(&mut self) -> Result<()> {
        let (mut up, mut absolute, mut base, mut fraction) = (false, false, 64_u64, 0_i32);
        let mut pair: Vec<f64> = Vec::new();
        loop {
            let Some(&byte) = self.bytes.get(self.next) else {
                return Err(self.wrong("ends within an encoded polyline"));
            };
            match byte {
                b';' => {
                    self.next += 1;
                    return if pair.is_empty() {
                        Ok(())
                    } else {
                        Err(self.wrong("has a coordinate without its partner"))
                    };
                }
                b'7' => (base, self.next) = (32, self.next + 1),
                b'<' => (up, self.next) = (true, self.next + 1),
                b'=' => (absolute, self.next) = (true, self.next + 1),
                b':' => {
                    self.next += 1;
                    self.lift()?;
                    self.pen = self.number(base)?.clamp(0, 1_000_000) as u32;
                }
                b'>' => {
                    self.next += 1;
                    fraction = self.number(base)?.clamp(-26, 26) as i32;
                }
                b' ' | b'\r' | b'\n' => self.next += 1,
                _ => pair.push(self.number(base)? as f64 / 2_f64.powi(fraction)),
            }
            if let [x, y] = pair[..] {
                pair.clear();
                if up {
                    self.lift()?;
                } else {
                    self.down = true;
                }
                self.go(if absolute { [x, y] } else { [self.at[0] + x, self.at[1] + y] })?;
                (up, absolute) = (false, false);
            }
        }
    }

    /// One encoded number: digits least first, the last from a higher range.
    fn number(&mut self, base: u64) -> Result<i64> {
        let (last, mut value, mut place) = (if base == 32 { 95 } else { 191 }, 0_u64, 1_u64);
        loop {
            let byte = self.bytes.get(self.next).copied().map_or(0, u64::from);
            let ends = byte >= last && byte < last + base;
            if !ends && !(63..63 + base).contains(&byte) || place > 1 << 40 {
                return Err(self.wrong("is no encoded number"));
            }
            value += (byte - if ends { last } else { 63 }) * place;
            place *= base;
            self.next += 1;
            if ends {
                let half = (value / 2) as i64;
                return Ok(if value % 2 == 1 { -half } else { half });
            }
        }
    }

    fn wrong(&self, what: &str) -> Box<Finding> {
        let message = format!("byte {} {what}", self.next + 1);
        self.gathered.refused(&message, "the file is damaged or no HP-GL: have it written again")
    }
}
