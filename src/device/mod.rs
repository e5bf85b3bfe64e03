//! A machine's profile: media, tools, which role goes to which tool, language, limits, corrections.
//!
//! A `*.device.kdl` file describes one machine wholly; [`read()`] checks it and fills in every default, so that no later
//! stage has to guess. [`explain`] says in plain words what the machine will do, [`check`] what is worth a thought.

mod axes;
mod correction;
mod explain;
mod limits;
mod links;
mod media;
mod read;
mod tools;

pub use axes::{Axes, Corner, Way};
pub use correction::{Correction, FeedSpan, Reading, Sure, date_of, day_number, stale, with_correction};
pub use explain::{cautions, explain, kind};
pub use limits::check;
pub use read::read;

use crate::role::Role;
use crate::units::Unit;
use serde::Serialize;

/// A machine, as its profile describes it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Device {
    /// Its name, by kind.
    pub name: String,
    /// Unit of bare lengths in its profile, and of bare readings.
    pub unit: Unit,
    /// The language of its files.
    pub language: Language,
    /// How far a flattened curve may stray, mm.
    pub tolerance: f64,
    /// Steps of its coordinates in a millimetre: 40 in HP-GL, a million where the language writes six decimals.
    pub units_per_mm: f64,
    /// The largest coordinate that it takes, in its own units; `None` where nothing bounds it.
    pub largest: Option<u32>,
    /// Side of one pixel as measured on the table, mm; `None` where the file is in millimetres.
    pub pixel: Option<f64>,
    /// Where its zero lies on the sheet, and which way its numbers grow.
    pub axes: Axes,
    /// Sent before all that the writer says; empty where nothing is.
    pub start: String,
    /// Sent after all that the writer says; empty where nothing is.
    pub end: String,
    /// Speed with the tool lifted, mm/s: for the estimate of time.
    pub travel_speed: f64,
    /// Seconds that lifting or lowering a tool takes: for the estimate of time.
    pub lift_seconds: f64,
    /// Piece by piece, or tool by tool.
    pub sequence: Sequence,
    /// Net blocks, or pieces with their allowance.
    pub blocks: Blocks,
    /// What it draws on or cuts.
    pub media: Vec<Medium>,
    /// Its tools, in the order in which they work: pens before crease wheels before what cuts.
    pub tools: Vec<Tool>,
    /// Where its jobs may be sent; the first is the usual one.
    pub links: Vec<Link>,
    /// Every correction that was recorded, oldest first.
    pub corrections: Vec<Correction>,
    /// After so many days a correction is doubted.
    pub measure_again: u32,
}

/// A file language.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Language {
    /// Scalable Vector Graphics 1.1, millimetres.
    Svg,
    /// Drawing Interchange Format, millimetres, curves as exact splines.
    Dxf,
    /// The same with curves as polylines.
    DxfPolyline,
    /// The same after ASTM D6673, for other programs of the trade: a block for each piece.
    DxfBlocks,
    /// Portable Document Format, true size.
    Pdf,
    /// HP-GL, absolute integer coordinates.
    Hpgl,
    /// HP-GL/2, absolute integer coordinates.
    Hpgl2,
    /// HP-GL/2, polylines encoded (`PE`).
    Hpgl2Encoded,
    /// RS-274 numerical control, millimetres.
    Rs274,
}

/// Which comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sequence {
    /// The tool changes once a sheet.
    ToolByTool,
    /// Every piece is finished before the next is begun.
    PieceByPiece,
}

/// How notches are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Notches {
    /// Drawn by a pen, or creased.
    Drawn,
    /// Cut.
    Cut,
    /// By no tool.
    LeftOut,
}

/// What of a piece goes to the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Blocks {
    /// The piece with its allowance.
    WithAllowance,
    /// The net block, cut on the sew line.
    Net,
}

/// Something that the machine draws on or cuts.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Medium {
    /// Its name: `paper`, `card`.
    pub name: String,
    /// Roll or sheet. Pages are a roll: the one that they make when glued together.
    pub kind: MediumKind,
    /// What the machine can't reach along each side, grip included, mm.
    pub margins: Margins,
    /// Clear space to keep between pieces, mm.
    pub gap: f64,
    /// The pages that a roll is glued together from; `None` where the medium is in one piece.
    pub pages: Option<Pages>,
}

/// The shape of a medium.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MediumKind {
    /// Fixed width across, any length up to `longest` along the feed, mm.
    Roll {
        /// Across the roll.
        width: f64,
        /// The longest plot.
        longest: f64,
    },
    /// Fixed in both directions, mm.
    Sheet {
        /// Along x.
        width: f64,
        /// Along y.
        height: f64,
    },
}

/// Widths along the four sides, mm. On a roll x runs along the feed: `left` is the end that comes out first.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Margins {
    /// At the lowest x.
    pub left: f64,
    /// At the highest x.
    pub right: f64,
    /// At the lowest y.
    pub bottom: f64,
    /// At the highest y.
    pub top: f64,
}

/// Pages that overlap and are glued into a roll `across` pages wide and up to `along` pages long.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Pages {
    /// One page along x, mm.
    pub width: f64,
    /// One page along y, mm.
    pub height: f64,
    /// What the printer can't reach along each side of a page, mm.
    pub margins: Margins,
    /// How far neighbours overlap inside their margins, mm.
    pub overlap: f64,
    /// Pages side by side.
    pub across: u32,
    /// Pages behind one another, at the most.
    pub along: u32,
}

/// A tool, and what it draws or cuts.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tool {
    /// Its name in the profile.
    pub name: String,
    /// When it works.
    pub kind: ToolKind,
    /// The roles that it carries out; a role that no tool names is left out.
    pub roles: Vec<Role>,
    /// What its tip does at corners, and what it takes away.
    pub tip: Tip,
    /// The machine's own number for it: the pen or tool that is asked for.
    pub number: u32,
    /// Force, grams-force; `None` leaves it as set at the machine.
    pub force: Option<f64>,
    /// Speed while it works, mm/s; `None` leaves it as set at the machine.
    pub speed: Option<f64>,
    /// Power, the number behind RS-274's S; `None` where the tool is raised and lowered instead.
    pub power: Option<f64>,
    /// Heights that it is raised and lowered to; `None` where it is switched on and off.
    pub heights: Option<Heights>,
    /// How often it goes over each line.
    pub passes: u32,
    /// What it leaves uncut so that pieces stay in the sheet; `None` where everything is cut through.
    pub bridges: Option<Bridges>,
}

/// The kind of a tool. Pens work before crease wheels, and those before what cuts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ToolKind {
    /// Draws.
    Pen,
    /// Creases.
    Crease,
    /// Cuts: a knife, a laser, a router.
    Knife,
}

/// The business end of a tool.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tip {
    /// Follows the line as it is given: a pen, or a knife whose machine sees to its corners.
    Plain,
    /// A blade that trails its pivot.
    Drag {
        /// From the pivot back to the tip, mm.
        offset: f64,
        /// Corners sharper than this are swung round, degrees of turn.
        swing_above: f64,
        /// A closed line is cut on past its start by this, mm.
        overcut: f64,
        /// A straight way in, for the blade to fall in line, mm.
        run_in: f64,
    },
    /// Steered into the line by the machine; lifted, turned and set down again at corners.
    Turning {
        /// Corners sharper than this are lifted over, degrees of turn.
        lift_above: f64,
    },
    /// A beam that burns away its own width.
    Laser {
        /// Width of what is burnt away, mm.
        kerf: f64,
    },
    /// A turning cutter that takes away its own width.
    Router {
        /// Width of what is milled away, mm.
        kerf: f64,
    },
}

impl Tip {
    /// What it takes away, mm; 0 where it only parts or draws.
    pub fn kerf(self) -> f64 {
        match self {
            Self::Laser { kerf } | Self::Router { kerf } => kerf,
            Self::Plain | Self::Drag { .. } | Self::Turning { .. } => 0.0,
        }
    }
}

/// Heights of a tool that is raised and lowered, mm above the medium.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Heights {
    /// Clear of everything.
    pub up: f64,
    /// At work; below 0 inside the medium.
    pub down: f64,
}

/// Uncut tabs in closed cut lines, two at least in each; a line shorter than four of them is cut through.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bridges {
    /// What stays uncut, along the line, mm.
    pub length: f64,
    /// From one to the next at the most, along the line, mm.
    pub every: f64,
}

/// Where a job may be sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Link {
    /// A serial port; 8 data bits, no parity, 1 stop bit.
    Serial {
        /// The port's name on this computer.
        port: String,
        /// Bits a second.
        baud: u32,
        /// Who says "wait".
        flow: Flow,
    },
    /// A network address that takes the file as it is.
    Tcp {
        /// Name or address.
        host: String,
        /// Port.
        port: u16,
    },
    /// The system's print queue.
    Queue {
        /// The queue's name.
        name: String,
    },
    /// A folder, such as a card or a watched folder.
    Folder {
        /// Its path.
        path: String,
    },
}

/// How a serial port keeps from being overrun.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Flow {
    /// By the lines RTS and CTS.
    RtsCts,
    /// By the characters XON and XOFF.
    XonXoff,
}

impl Device {
    /// A machine of that language without media or tools, everything else as a profile that says nothing has it.
    pub fn plain(name: &str, language: Language) -> Self {
        Self {
            name: name.into(),
            unit: Unit::Millimetre,
            language,
            tolerance: read::TOLERANCE,
            units_per_mm: language.units_per_mm(),
            largest: None,
            pixel: None,
            axes: Axes::SHEET,
            start: String::new(),
            end: String::new(),
            travel_speed: axes::TRAVEL_SPEED,
            lift_seconds: axes::LIFT_SECONDS,
            sequence: Sequence::ToolByTool,
            blocks: Blocks::WithAllowance,
            media: Vec::new(),
            tools: Vec::new(),
            links: Vec::new(),
            corrections: Vec::new(),
            measure_again: read::MEASURE_AGAIN,
        }
    }

    /// The medium of that name.
    pub fn medium(&self, name: &str) -> Option<&Medium> {
        self.media.iter().find(|medium| medium.name == name)
    }

    /// How notches are made: as the tool works that has the role.
    pub fn notches(&self) -> Notches {
        match self.tools.iter().find(|tool| tool.roles.contains(&Role::Notch)).map(|tool| tool.kind) {
            None => Notches::LeftOut,
            Some(ToolKind::Knife) => Notches::Cut,
            Some(ToolKind::Pen | ToolKind::Crease) => Notches::Drawn,
        }
    }

    /// Whether one of its tools has that role and does not cut.
    pub fn draws(&self, role: Role) -> bool {
        self.tools.iter().any(|tool| tool.kind != ToolKind::Knife && tool.roles.contains(&role))
    }

    /// Whether a head follows its file line by line: not where all is printed or shown at once, nor in a file for programs.
    pub fn has_head(&self) -> bool {
        self.language != Language::Pdf && !self.language.is_for_exchange() && self.pixel.is_none()
    }

    /// Whether any of its tools cuts.
    pub fn cuts(&self) -> bool {
        self.tools.iter().any(|tool| tool.kind == ToolKind::Knife)
    }
}

impl Medium {
    /// A medium in one piece with the same margin along every side, mm.
    pub fn plain(name: &str, kind: MediumKind, margin: f64, gap: f64) -> Self {
        Self { name: name.into(), kind, margins: Margins::all(margin), gap, pages: None }
    }
}

impl Margins {
    /// The same along every side, mm.
    pub const fn all(side: f64) -> Self {
        Self { left: side, right: side, bottom: side, top: side }
    }
}

impl Tool {
    /// A tool whose tip follows the line as it is given, in one pass, everything else as set at the machine.
    pub fn plain(name: &str, kind: ToolKind, roles: &[Role]) -> Self {
        Self {
            name: name.into(),
            kind,
            roles: roles.to_vec(),
            tip: Tip::Plain,
            number: 1,
            force: None,
            speed: None,
            power: None,
            heights: None,
            passes: 1,
            bridges: None,
        }
    }
}

impl Language {
    /// Its name in profiles, without variants.
    pub fn name(self) -> &'static str {
        match self {
            Self::Svg => "svg",
            Self::Dxf | Self::DxfPolyline | Self::DxfBlocks => "dxf",
            Self::Pdf => "pdf",
            Self::Hpgl => "hpgl",
            Self::Hpgl2 | Self::Hpgl2Encoded => "hpgl2",
            Self::Rs274 => "rs274",
        }
    }

    /// The ending of its files' names.
    pub fn extension(self) -> &'static str {
        match self {
            Self::Svg => "svg",
            Self::Dxf | Self::DxfPolyline | Self::DxfBlocks => "dxf",
            Self::Pdf => "pdf",
            Self::Hpgl | Self::Hpgl2 | Self::Hpgl2Encoded => "plt",
            Self::Rs274 => "ngc",
        }
    }

    /// Whether a machine follows it line by line, with axes, limits and a start and end of its own.
    pub fn drives_a_machine(self) -> bool {
        matches!(self, Self::Hpgl | Self::Hpgl2 | Self::Hpgl2Encoded | Self::Rs274)
    }

    /// Whether it is read by other programs of the trade and not by a machine: no machine's correction belongs in it.
    pub fn is_for_exchange(self) -> bool {
        self == Self::DxfBlocks
    }

    /// Steps in a millimetre where a profile does not say: HP-GL's plotter unit is 0.025 mm (HP-GL/2 and HP RTL
    /// Reference Guide, from memory); the others are written with six decimals, RS-274 with four.
    fn units_per_mm(self) -> f64 {
        match self {
            Self::Svg | Self::Dxf | Self::DxfPolyline | Self::DxfBlocks | Self::Pdf => 1e6,
            Self::Hpgl | Self::Hpgl2 | Self::Hpgl2Encoded => 40.0,
            Self::Rs274 => 1e4,
        }
    }
}
