//! Sheets, jobs and devices for the tests of file formats and proof, from seeded chance.
#![allow(dead_code, missing_docs)]

use kurbo::{Affine, BezPath, Point, Vec2};
use oaktag::calibrate::{CorrectedJob, correct};
use oaktag::device::{Correction, Device, Language, Margins, Medium, MediumKind, Pages, Tool, ToolKind};
use oaktag::lay::{Placed, Sheet, SheetStroke};
use oaktag::order::{Job, JobStroke, Pass};
use oaktag::read::{self, Drawing, Glue};
use oaktag::role::Role;
use oaktag::write::{self, Curves, Dialect, Exchange, ExchangePiece, Machine, Paper, ToolUse};

/// `SplitMix64` (Steele, Lea, Flood, "Fast splittable pseudorandom number generators", 2014).
pub struct Chance(pub u64);

impl Chance {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
    pub fn point(&mut self, centre: Point, reach: f64) -> Point {
        centre + Vec2::new(self.between(-reach, reach), self.between(-reach, reach))
    }
}

/// The formats that a job is written in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Format {
    Svg,
    Spline,
    Polyline,
    Blocks,
    Pdf,
    Tiles,
    Hpgl,
    Hpgl2,
    Encoded,
    Rs274,
}

pub const FORMATS: [Format; 10] = [
    Format::Svg,
    Format::Spline,
    Format::Polyline,
    Format::Blocks,
    Format::Pdf,
    Format::Tiles,
    Format::Hpgl,
    Format::Hpgl2,
    Format::Encoded,
    Format::Rs274,
];
pub const TOLERANCE: f64 = 0.01;

/// A4 with 8 mm margins; neighbours overlap by 10 mm.
const A4: Paper = Paper { width: 210.0, height: 297.0, margins: [8.0; 4], overlap: 10.0 };

impl Format {
    pub fn language(self) -> Language {
        match self {
            Self::Svg => Language::Svg,
            Self::Spline => Language::Dxf,
            Self::Polyline => Language::DxfPolyline,
            Self::Blocks => Language::DxfBlocks,
            Self::Pdf | Self::Tiles => Language::Pdf,
            Self::Hpgl => Language::Hpgl,
            Self::Hpgl2 => Language::Hpgl2,
            Self::Encoded => Language::Hpgl2Encoded,
            Self::Rs274 => Language::Rs274,
        }
    }
    /// Whether its layers are tools and not roles.
    pub fn by_tool(self) -> bool {
        self.language().drives_a_machine()
    }
    /// Whether coordinates are whole plotter units of 0.025 mm.
    pub fn on_a_grid(self) -> bool {
        matches!(self, Self::Hpgl | Self::Hpgl2 | Self::Encoded)
    }
    pub fn ending(self) -> &'static str {
        self.language().extension()
    }
    pub fn write(self, job: &CorrectedJob) -> Vec<u8> {
        let machine = machine(&device(self));
        let written = match self {
            Self::Svg => Ok(write::svg(job)),
            Self::Spline => Ok(write::dxf(job, Curves::Spline)),
            Self::Polyline => Ok(write::dxf(job, Curves::Polyline(TOLERANCE))),
            Self::Blocks => Ok(write::dxf_exchange(job, &exchange(job))),
            Self::Pdf => Ok(write::pdf(job, None)),
            Self::Tiles => Ok(write::pdf(job, Some(A4))),
            Self::Hpgl => write::hpgl(job, &machine, Dialect::Hpgl),
            Self::Hpgl2 => write::hpgl(job, &machine, Dialect::Hpgl2),
            Self::Encoded => write::hpgl(job, &machine, Dialect::Encoded),
            Self::Rs274 => write::rs274(job, &machine),
        };
        written.expect("written")
    }
    /// Reads bytes of any kind, good or bad.
    pub fn read_any(self, bytes: &[u8]) -> oaktag::diag::Result<(Drawing, Vec<oaktag::diag::Finding>)> {
        match self {
            Self::Svg => read::svg(bytes, "t.svg"),
            Self::Spline | Self::Polyline => read::dxf(bytes, "t.dxf"),
            Self::Blocks => read::exchange_dxf(bytes, "t.dxf"),
            Self::Pdf => read::pdf(bytes, "t.pdf", None),
            Self::Tiles => read::pdf(bytes, "t.pdf", Some(Glue { margins: A4.margins, overlap: A4.overlap })),
            Self::Hpgl | Self::Hpgl2 | Self::Encoded => read::hpgl(bytes, "t.plt", 40.0),
            Self::Rs274 => read::rs274(bytes, "t.ngc"),
        }
    }
    /// Reads a good file, without findings.
    pub fn read(self, bytes: &[u8]) -> oaktag::diag::Result<Drawing> {
        self.read_any(bytes).map(|(drawing, findings)| {
            assert!(findings.is_empty(), "{findings:?}");
            drawing
        })
    }
}

/// What a file after ASTM D6673 says of a job's pieces, each of which lies turned by an angle of its own.
pub fn exchange(job: &CorrectedJob) -> Exchange {
    let strokes = || job.job().passes.iter().flat_map(|pass| &pass.strokes);
    let count = strokes().filter_map(|stroke| stroke.placed).max().map_or(0, |last| last + 1);
    let piece = |index: usize| {
        let named = strokes().find(|stroke| stroke.placed == Some(index)).map_or("", |stroke| &stroke.piece);
        ExchangePiece {
            name: oaktag::text::ascii(named).0,
            size: "Ida".into(),
            quantity: 1 + index as u32 % 3,
            material: "main".into(),
            category: String::new(),
            annotation: format!("number {index}"),
            place: Affine::translate((40.0 * index as f64, -7.0)) * Affine::rotate(0.7 * index as f64),
        }
    };
    Exchange {
        tolerance: TOLERANCE,
        style: "Chorus tunic".into(),
        author: String::new(),
        date: "2026-10-02".into(),
        sample_size: "Ida".into(),
        pieces: (0..count).map(piece).collect(),
    }
}

/// What the writers for machines need of a device.
pub fn machine(device: &Device) -> Machine {
    let tools = device.tools.iter().map(|tool| ToolUse {
        name: tool.name.clone(),
        number: tool.number,
        force: Some(80.0),
        speed: Some(250.0),
        power: None,
        heights: None,
    });
    Machine {
        tolerance: TOLERANCE,
        units_per_mm: device.units_per_mm,
        largest: None,
        place: Affine::IDENTITY,
        start: String::new(),
        end: String::new(),
        tools: tools.collect(),
    }
}

/// A device that draws every role but the labels' twin: `line` is left out on purpose.
pub fn device(format: Format) -> Device {
    let pen: Vec<Role> = Role::ALL.into_iter().filter(|role| !matches!(role, Role::Cut | Role::Line)).collect();
    Device {
        tolerance: TOLERANCE,
        tools: vec![
            Tool::plain("fine pen", ToolKind::Pen, &pen),
            Tool { number: 2, ..Tool::plain("knife <45°>", ToolKind::Knife, &[Role::Cut]) },
        ],
        ..Device::plain("Roll pen plotter", format.language())
    }
}

/// What the sheet lies on.
pub fn medium(format: Format) -> Medium {
    let kind = MediumKind::Roll { width: 914.4, longest: 5000.0 };
    let margins = Margins::all(A4.margins[0]);
    let pages = Pages { width: A4.width, height: A4.height, margins, overlap: A4.overlap, across: 5, along: 8 };
    Medium { pages: (format == Format::Tiles).then_some(pages), ..Medium::plain("paper", kind, 0.0, 5.0) }
}

pub fn correction(x: f64, y: f64, skew: f64) -> Correction {
    // Only the numbers matter here; the rest of the profile's fields may grow.
    Correction::plain("2026-10-02", "paper", x, y, skew)
}

pub fn closed(points: &[(f64, f64)]) -> BezPath {
    let mut path = open(points);
    path.close_path();
    path
}

pub fn open(points: &[(f64, f64)]) -> BezPath {
    let mut path = BezPath::new();
    for (i, &point) in points.iter().enumerate() {
        if i == 0 { path.move_to(point) } else { path.line_to(point) }
    }
    path
}

/// A closed outline of lines and curves about a centre.
fn outline(chance: &mut Chance, centre: Point) -> BezPath {
    let mut path = BezPath::new();
    path.move_to(chance.point(centre, 80.0));
    for _ in 0..3 + chance.below(5) {
        let to = chance.point(centre, 80.0);
        match chance.below(4) {
            0 => path.line_to(to),
            1 => path.quad_to(chance.point(centre, 80.0), to),
            _ => path.curve_to(chance.point(centre, 80.0), chance.point(centre, 80.0), to),
        }
    }
    path.close_path();
    path
}

/// A sheet with a check square of 300 mm, a bar, and pieces with awkward names.
pub fn sheet(seed: u64, pieces: usize) -> Sheet {
    let mut chance = Chance(seed);
    let names = ["Front", "Gore \"left\" <2>", "Ärmel & Bündchen", "袖", "Pocket"];
    let mut sheet = Sheet {
        sizes: Vec::new(),
        medium: "paper".into(),
        width: 1200.0,
        height: 914.4,
        placed: Vec::new(),
        strokes: Vec::new(),
        square: 300.0,
    };
    let own = |role, path| SheetStroke { role, placed: None, edge: String::new(), path };
    sheet.strokes.push(own(Role::Square, closed(&[(20.0, 20.0), (320.0, 20.0), (320.0, 320.0), (20.0, 320.0)])));
    sheet.strokes.push(own(Role::Square, open(&[(20.0, 330.0), (120.0, 330.0)])));
    for i in 0..pieces {
        let centre = Point::new(chance.between(440.0, 1100.0), chance.between(100.0, 800.0));
        let cut = outline(&mut chance, centre);
        sheet.placed.push(Placed {
            piece: names[i % names.len()].into(),
            person: "Ida".into(),
            transform: Affine::IDENTITY,
            outline: cut.clone(),
        });
        let mut put = |role, edge: &str, path| {
            sheet.strokes.push(SheetStroke { role, placed: Some(i), edge: edge.into(), path });
        };
        let p = |chance: &mut Chance| {
            let point = chance.point(centre, 70.0);
            (point.x, point.y)
        };
        put(Role::Cut, "", cut);
        put(Role::Sew, "side", outline(&mut chance, centre));
        put(Role::Grain, "", open(&[p(&mut chance), p(&mut chance), p(&mut chance)]));
        put(Role::Notch, "hem", open(&[p(&mut chance), p(&mut chance)]));
        let dot = p(&mut chance);
        put(Role::Drill, "", open(&[dot, dot]));
        put(Role::Line, "flap line", open(&[p(&mut chance), p(&mut chance)]));
        let mut letter = open(&[p(&mut chance)]);
        letter.curve_to(chance.point(centre, 5.0), chance.point(centre, 5.0), chance.point(centre, 5.0));
        letter.line_to(chance.point(centre, 5.0));
        put(Role::Label, "", letter);
    }
    sheet
}

/// The job that a good `order` would make of a sheet: some strokes run backwards, closed ones start elsewhere.
pub fn job(sheet: &Sheet, device: &Device, seed: u64) -> Job {
    let mut chance = Chance(seed);
    let passes = device.tools.iter().map(|tool| {
        let carried = sheet.strokes.iter().filter(|stroke| tool.roles.contains(&stroke.role));
        let mut strokes: Vec<JobStroke> = carried
            .map(|stroke| JobStroke {
                role: stroke.role,
                piece: stroke.placed.map_or(String::new(), |i| sheet.placed[i].piece.clone()),
                placed: stroke.placed,
                edge: stroke.edge.clone(),
                path: again(&stroke.path, &mut chance),
            })
            .collect();
        for i in (1..strokes.len()).rev() {
            strokes.swap(i, chance.below(i + 1));
        }
        Pass { tool: tool.name.clone(), strokes }
    });
    Job {
        sizes: Vec::new(),
        device: device.name.clone(),
        medium: sheet.medium.clone(),
        title: "Chorus tunic, Ida, sheet 1 of 1 & <more>".into(),
        width: sheet.width,
        height: sheet.height,
        zero: Point::ORIGIN,
        square: sheet.square,
        passes: passes.collect(),
    }
}

/// The same path, perhaps backwards, perhaps started at another of its joints.
fn again(path: &BezPath, chance: &mut Chance) -> BezPath {
    let mut segments: Vec<_> = path.segments().collect();
    let is_closed = oaktag::geom::path::is_closed(path);
    if is_closed {
        let turn = chance.below(segments.len());
        segments.rotate_left(turn);
    }
    let mut turned = BezPath::from_path_segments(segments.into_iter());
    if is_closed {
        turned.close_path();
    }
    if chance.below(2) == 0 { turned.reverse_subpaths() } else { turned }
}

/// Sheet, device and corrected job, all at once.
pub fn scene(format: Format, seed: u64, correction: Option<&Correction>) -> (Sheet, Device, CorrectedJob) {
    let sheet = sheet(seed, 6);
    let device = device(format);
    let job = correct(job(&sheet, &device, seed ^ 0xabcd), correction);
    (sheet, device, job)
}
