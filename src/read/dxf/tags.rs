//! The tags of a DXF text file: a first pass that finds the units, checks every number of the sections that draw, and
//! hands on those sections alone.

use super::super::{MOST_KINDS, beginning, refused};
use crate::diag::{Finding, Result, Snippet};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// What the first pass found.
pub(super) struct Tags {
    /// The sections that draw, as a DXF file of their own, in ASCII.
    pub drawing: String,
    /// How many entities the crate should find in them.
    pub entities: usize,
    /// Kinds of entities that are passed over, with how often.
    pub left_out: BTreeMap<String, usize>,
    /// Layers that are switched off or frozen, in capitals: names differ by more than case.
    pub hidden: BTreeSet<String>,
    /// Millimetres in a drawing unit.
    pub millimetres: f64,
    /// Whether the header says so, or at least whether it is metric.
    pub to_scale: bool,
    /// Whether it says the unit itself.
    pub sure: bool,
    pub findings: Vec<Finding>,
}

/// Kinds of entities that are handed on; the rest draws nothing that could be cut.
const READ: [&str; 8] = ["LINE", "ARC", "CIRCLE", "ELLIPSE", "LWPOLYLINE", "POLYLINE", "SPLINE", "INSERT"];

/// Kinds that only name or mark, handed on where they are wanted.
const NAMING: [&str; 3] = ["TEXT", "MTEXT", "POINT"];

/// What an entity and a vertex weigh, in points: the crate makes about 1.5 kB of the one and 0.2 kB of the other.
const ENTITY: usize = 40;
const VERTEX: usize = 4;
/// Drawings that weigh more are refused before the crate sees them.
const HEAVIEST: usize = 10_000_000;

/// Reads code and value line by line; texts and points are handed on where `naming` wants them.
///
/// # Errors
/// No DXF text; a code or number that can't be read, with its line; no end.
pub(super) fn scan(bytes: &[u8], file: &str, naming: bool) -> Result<Tags> {
    if bytes.starts_with(b"AutoCAD Binary DXF") || bytes.starts_with(b"AutoCAD DXB") {
        return Err(refused(file, "the file is a binary DXF", "save it as DXF text (ASCII)"));
    }
    let wrong = |line: usize, expected: &str| wrong(bytes, file, line, expected);
    let mut lines = bytes.split(|&byte| byte == b'\n').map(|line| line.strip_suffix(b"\r").unwrap_or(line));
    let mut pass = Pass {
        out: String::new(),
        entities: 0,
        left_out: BTreeMap::new(),
        weight: 0,
        keep: true,
        naming,
        entity: Entity::Other,
    };
    let mut header = Header::default();
    let mut layers = Layers::default();
    let mut section = Section::Outside;
    let mut at = 0;
    let mut ended = false;
    while let Some(code) = lines.next() {
        at += 2;
        if code.trim_ascii().is_empty() && lines.clone().all(|line| line.trim_ascii().is_empty()) {
            break;
        }
        let code: i32 = std::str::from_utf8(code.trim_ascii())
            .ok()
            .and_then(|code| code.parse().ok())
            .ok_or_else(|| wrong(at - 1, "a group code"))?;
        let value = lines.next().ok_or_else(|| wrong(at - 1, "a value behind the last group code"))?;
        let word = value.trim_ascii();
        match (section, code) {
            (_, 999) => {}
            (Section::Outside, 0) if word == b"EOF" => {
                ended = true;
                break;
            }
            (Section::Outside, 0) if word == b"SECTION" => section = Section::Named,
            (Section::Outside, _) => return Err(wrong(at, "SECTION or EOF")),
            (Section::Named, 2) => {
                section = match word {
                    b"HEADER" => Section::Header,
                    b"TABLES" => Section::Tables,
                    b"ENTITIES" | b"BLOCKS" => Section::Drawing,
                    _ => Section::Other,
                };
                if section == Section::Drawing {
                    pass.put(0, b"SECTION");
                    pass.put(2, word);
                }
            }
            (Section::Named, _) => return Err(wrong(at, "a section's name")),
            (Section::Header | Section::Tables | Section::Other, 0) if word == b"ENDSEC" => section = Section::Outside,
            (Section::Header, _) => header.tag(code, word),
            (Section::Tables, _) => layers.tag(code, word),
            (Section::Other, _) => {}
            (Section::Drawing, _) => {
                if code == 0 && word == b"ENDSEC" {
                    section = Section::Outside;
                    pass.keep = true;
                }
                pass.drawing(code, value).map_err(|expected| wrong(at, expected))?;
                if pass.weight > HEAVIEST {
                    let message = "the drawing has more entities and points than can be read";
                    return Err(refused(file, message, "split it into several files"));
                }
            }
        }
    }
    if !ended {
        return Err(wrong(at, "EOF: the file ends early"));
    }
    pass.put(0, b"EOF");
    let (millimetres, findings) = header.millimetres(file);
    let sure = findings.is_empty();
    let Layers { hidden, .. } = layers;
    Ok(Tags {
        drawing: pass.out,
        entities: pass.entities,
        left_out: pass.left_out,
        hidden,
        millimetres,
        to_scale: sure || header.metric.is_some(),
        sure,
        findings,
    })
}

#[derive(Clone, Copy, PartialEq)]
enum Section {
    Outside,
    Named,
    Header,
    Tables,
    Drawing,
    Other,
}

/// What is handed on.
struct Pass {
    out: String,
    entities: usize,
    left_out: BTreeMap<String, usize>,
    /// Points so far, and what else takes room.
    weight: usize,
    /// Whether the present entity is handed on.
    keep: bool,
    /// Whether texts and points are handed on.
    naming: bool,
    /// What the present entity is.
    entity: Entity,
}

/// Entities that are read in a way of their own.
#[derive(Clone, Copy, PartialEq)]
enum Entity {
    /// A text or a point that is handed on.
    Named,
    Spline,
    Other,
}

impl Pass {
    /// One tag of a section that draws.
    fn drawing(&mut self, code: i32, value: &[u8]) -> std::result::Result<(), &'static str> {
        let word = value.trim_ascii();
        if code == 0 {
            let kind = String::from_utf8_lossy(word);
            let frame = matches!(&*kind, "BLOCK" | "ENDBLK" | "VERTEX" | "SEQEND" | "ENDSEC");
            self.entity = match &*kind {
                "SPLINE" => Entity::Spline,
                _ if self.naming && NAMING.contains(&&*kind) => Entity::Named,
                _ => Entity::Other,
            };
            let read = self.entity == Entity::Named || READ.contains(&&*kind);
            self.keep = read || frame;
            self.entities += usize::from(read);
            if !self.keep && !matches!(&*kind, "ATTRIB" | "VIEWPORT") {
                let known = self.left_out.len() < MOST_KINDS || self.left_out.contains_key(&*kind);
                let kind = if known { beginning(&kind, 40) } else { "entities of other kinds" };
                *self.left_out.entry(kind.into()).or_default() += 1;
            }
            self.weight += match &*kind {
                "VERTEX" => VERTEX,
                _ if self.keep => ENTITY,
                _ => 0,
            };
        }
        if !self.keep {
            return Ok(());
        }
        self.weight += usize::from(matches!(code, 10 | 40));
        // What draws is handed on. The rest (handles, owners, extension data, thumbnails, heights, and counts, which the
        // lists themselves tell better) is not, so it can't be at fault.
        let text = std::str::from_utf8(word).unwrap_or("");
        match code {
            0 | 2 | 8 => {}
            1 | 3 if self.entity == Entity::Named => {}
            10..=29 | 40..=59 | 210..=239 => {
                if !text.parse::<f64>().is_ok_and(f64::is_finite) {
                    return Err("a number");
                }
            }
            60..=71 => {
                if text.parse::<i16>().is_err() {
                    return Err("a whole number below 32768");
                }
            }
            _ => return Ok(()),
        }
        self.put(code, value);
        if self.entity == Entity::Spline && matches!(code, 20..=29) {
            self.put(code + 10, b"0"); // the crate drops points without a height
        }
        Ok(())
    }

    /// Writes a tag in ASCII, other characters as `\U+XXXX`.
    fn put(&mut self, code: i32, value: &[u8]) {
        writeln!(self.out, "{code}").expect("writing to a string");
        if let Ok(plain) = std::str::from_utf8(value)
            && value.iter().all(|byte| matches!(byte, b' '..=b'~'))
        {
            self.out.push_str(plain);
            self.out.push('\n');
            return;
        }
        for c in decoded(value).chars() {
            match c {
                ' '..='~' => self.out.push(c),
                c => write!(self.out, "\\U+{:04X}", c as u32 & 0xffff).expect("writing to a string"),
            }
        }
        self.out.push('\n');
    }
}

/// What the layer table hides.
#[derive(Default)]
struct Layers {
    inside: bool,
    name: String,
    hidden: BTreeSet<String>,
}

impl Layers {
    /// A name stands before the flags (bit 1: frozen) and the colour (below 0: off).
    fn tag(&mut self, code: i32, word: &[u8]) {
        let number = || std::str::from_utf8(word).ok().and_then(|word| word.parse::<i32>().ok()).unwrap_or(0);
        match code {
            0 => self.inside = word == b"LAYER",
            2 if self.inside => self.name = decoded(word).to_uppercase(),
            70 if self.inside && number() & 1 != 0 => drop(self.hidden.insert(self.name.clone())),
            62 if self.inside && number() < 0 => drop(self.hidden.insert(self.name.clone())),
            _ => {}
        }
    }
}

/// Text in UTF-8, or else byte by byte as in Latin-1, which older files come near to.
fn decoded(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.into(),
        Err(_) => bytes.iter().map(|&byte| char::from(byte)).collect(),
    }
}

/// Units in the header.
#[derive(Default)]
struct Header {
    variable: Vec<u8>,
    units: Option<i32>,
    metric: Option<bool>,
}

impl Header {
    fn tag(&mut self, code: i32, word: &[u8]) {
        match code {
            9 => self.variable = word.to_vec(),
            70 if self.variable == b"$INSUNITS" => {
                self.units = std::str::from_utf8(word).ok().and_then(|word| word.parse().ok());
            }
            70 if self.variable == b"$MEASUREMENT" => self.metric = Some(word == b"1"),
            _ => {}
        }
    }

    /// By `$INSUNITS`; without it by `$MEASUREMENT`, inches or millimetres, and without both millimetres, with a warning.
    fn millimetres(&self, file: &str) -> (f64, Vec<Finding>) {
        let known = match self.units {
            Some(1) => 25.4,
            Some(2) => 304.8,
            Some(4) => 1.0,
            Some(5) => 10.0,
            Some(6) => 1000.0,
            _ => {
                let (known, unit) = match self.metric {
                    Some(false) => (25.4, "inches, since $MEASUREMENT is 0"),
                    Some(true) => (1.0, "millimetres, since $MEASUREMENT is 1"),
                    None => (1.0, "millimetres"),
                };
                let finding = Finding::warning(format!("the file does not say its unit; it was read in {unit}"))
                    .hint("save it with its unit ($INSUNITS; 4 is mm), or say --unit where `oaktag read` reads it")
                    .in_file(file);
                return (known, vec![finding]);
            }
        };
        (known, Vec::new())
    }
}

/// An error that points at a line, from 1.
fn wrong(bytes: &[u8], file: &str, line: usize, expected: &str) -> Box<Finding> {
    let text = String::from_utf8_lossy(bytes);
    let start: usize = text.split_inclusive('\n').take(line.saturating_sub(1)).map(str::len).sum();
    let end = text[start..].find('\n').map_or(text.len(), |n| start + n);
    let snippet = Snippet { file: file.into(), text: text.into(), span: start..end };
    Box::new(
        Finding::error(format!("this is no DXF text: expected {expected}"))
            .hint("save it again from the program that drew it, as DXF 2000 text")
            .at(snippet),
    )
}
