//! The command line, as clap reads it.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Drafts garment pieces from a person's measures and draws or cuts them at true size.
#[derive(Debug, Parser)]
#[command(version, about, max_term_width = 100, arg_required_else_help = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// The main job: a style and measures in, proven files for every device out, one folder per person
    Make(MakeArgs),
    /// A style and measures in, pieces and a picture out
    Draft(DraftArgs),
    /// Walk every seam: both lengths, the difference, the planned ease
    Walk(WalkArgs),
    /// Pieces in, the same pieces with their cut lines out
    Allow(AllowArgs),
    /// Lay the pieces on cloth: how much to buy, for every cloth and width
    Lay(LayArgs),
    /// A drawing of another program in (SVG, DXF), pieces out
    Read(ReadArgs),
    /// Measure a written file against its pieces
    Proof(ProofArgs),
    /// Write a folder with a style and measures to start from
    New(NewArgs),
    /// Draw every piece of a style with its points and edges by name
    Picture(PictureArgs),
    /// What was noted at a person's fittings; pass it into the person's block
    Fit(FitArgs),
    /// The machines' profiles: list, check, explain, history
    Device(DeviceArgs),
    /// Draw a test square for a machine; with its readings, find the machine's correction
    Square(super::square::SquareArgs),
    /// Send a job to a machine, to an address that its profile names
    Send(super::send::SendArgs),
}

/// Where pieces come from.
#[derive(Debug, Args)]
pub struct From {
    /// A style sheet (`*.style.kdl`), or pieces (`*.pieces.json`)
    #[arg(value_name = "STYLE")]
    pub source: PathBuf,
    /// A person's measures (`*.measures.kdl`); give it again for each person. Not needed with pieces
    #[arg(short, long, value_name = "FILE", num_args = 1..)]
    pub measures: Vec<PathBuf>,
    /// Set a choice of the style, as in --set "bust ease=3 1/2"
    #[arg(long, value_name = "NAME=VALUE")]
    pub set: Vec<String>,
    /// Estimate the measures that a person lacks; each is marked in every output
    #[arg(long)]
    pub estimate: bool,
    /// Two sides of a seam may differ by this much, mm
    #[arg(long, value_name = "MM", default_value_t = oaktag::walk::TOLERANCE)]
    pub tolerance: f64,
    /// Go on in spite of findings that would hold the output back (a failed proof excepted)
    #[arg(long)]
    pub anyway: bool,
}

/// Arguments of `make`.
#[derive(Debug, Args)]
pub struct MakeArgs {
    /// What to make.
    #[command(flatten)]
    pub from: From,
    /// A device: a profile's file, or its short name in `profiles/`; give it again for each device
    #[arg(short, long, value_name = "NAME", required_unless_present = "nest", num_args = 1..)]
    pub device: Vec<String>,
    /// A device that draws everybody's pieces laid over one another, each size of a line type of its own, into the folder
    /// `nested`; give it again for each device
    #[arg(long, value_name = "NAME", num_args = 1..)]
    pub nest: Vec<String>,
    /// The folder to write into; each person has a folder in it
    #[arg(short, long, value_name = "DIR")]
    pub out: PathBuf,
    /// A cloth (`*.cloth.kdl`) to lay each person's pieces on, for the proof sheet; give it again for each
    #[arg(short, long, value_name = "FILE", num_args = 1..)]
    pub cloth: Vec<PathBuf>,
    /// Search so many times as long for closer lays
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub effort: u64,
    /// A device that also draws the whole style at a quarter of its size, to pin up; give it again for each device
    #[arg(long, value_name = "NAME", num_args = 1..)]
    pub quarter_scale: Vec<String>,
    /// A font (.ttf, .otf) for letters that the program has no pen strokes for
    #[arg(long, value_name = "FILE")]
    pub font: Option<PathBuf>,
    /// Who made it, for files that other programs read; left out where not given
    #[arg(long, value_name = "NAME")]
    pub author: Option<String>,
    /// The day to write into files that other programs read, as in 2026-10-02; left out where not given
    #[arg(long, value_name = "DAY")]
    pub date: Option<String>,
    /// Print what was made as JSON on standard output
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `draft`.
#[derive(Debug, Args)]
pub struct DraftArgs {
    /// What to draft.
    #[command(flatten)]
    pub from: From,
    /// The folder to write into; without it the pieces go to standard output
    #[arg(short, long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Draft again whenever the style or the measures are saved; needs -o
    #[arg(long, requires = "out")]
    pub watch: bool,
}

/// Arguments of `walk`.
#[derive(Debug, Args)]
pub struct WalkArgs {
    /// What to walk.
    #[command(flatten)]
    pub from: From,
    /// Print the report as JSON
    #[arg(long)]
    pub json: bool,
    /// Print one line of JSON for every person, the refused ones with the reason
    #[arg(long)]
    pub lines: bool,
}

/// Arguments of `new`.
#[derive(Debug, Args)]
pub struct NewArgs {
    /// The folder to write into; made where it is missing
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
}

/// Arguments of `picture`.
#[derive(Debug, Args)]
pub struct PictureArgs {
    /// A style sheet (`*.style.kdl`)
    #[arg(value_name = "STYLE")]
    pub style: PathBuf,
    /// A person's measures (`*.measures.kdl`)
    #[arg(short, long, value_name = "FILE")]
    pub measures: PathBuf,
    /// Estimate the measures that the person lacks
    #[arg(long)]
    pub estimate: bool,
    /// The folder for the drawings, an SVG for each piece
    #[arg(short, long, value_name = "DIR")]
    pub out: PathBuf,
}

/// Arguments of `fit`.
#[derive(Debug, Args)]
pub struct FitArgs {
    /// A person's measures (`*.measures.kdl`)
    #[arg(value_name = "FILE")]
    pub measures: PathBuf,
    /// Let what was noted in this style count for every style of the person; the file is changed
    #[arg(long, value_name = "STYLE")]
    pub into_block: Option<String>,
}

/// Arguments of `allow`.
#[derive(Debug, Args)]
pub struct AllowArgs {
    /// Pieces (`*.pieces.json`)
    #[arg(value_name = "PIECES")]
    pub pieces: PathBuf,
    /// How far a cut line may stray from the true one, mm: 0.0005 to 1
    #[arg(long, value_name = "MM", default_value_t = oaktag::allow::TOLERANCE)]
    pub tolerance: f64,
    /// The file to write; without it the pieces go to standard output
    #[arg(short, long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// Arguments of `read`.
#[derive(Debug, Args)]
pub struct ReadArgs {
    /// The drawing: SVG, or DXF as text
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// What the pieces and edges are called (`*.names.kdl`); without it the file of that name beside the drawing, if any
    #[arg(short, long, value_name = "FILE")]
    pub names: Option<PathBuf>,
    /// Units to the inch of an SVG that does not say: 96, 90 or 72
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=9600))]
    pub dpi: Option<u16>,
    /// The unit of a DXF that does not say: mm, cm or in
    #[arg(long)]
    pub unit: Option<String>,
    /// Ends of lines that are this near to each other are joined, mm
    #[arg(long, value_name = "MM", default_value_t = oaktag::read::pieces::JOIN)]
    pub join: f64,
    /// The pieces to write (`*.pieces.json`); without it they go to standard output
    #[arg(short, long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// Arguments of `proof`.
#[derive(Debug, Args)]
pub struct ProofArgs {
    /// The file that was written for a device; it stands before --pieces, which takes several
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// The pieces that it was made from (`*.pieces.json`); for sizes laid over one another those of each size, in the
    /// order that `proven.json` beside the file has, or else as they are given
    #[arg(short, long, value_name = "PIECES", required = true, num_args = 1..)]
    pub pieces: Vec<PathBuf>,
    /// The device it was made for
    #[arg(short, long, value_name = "NAME")]
    pub device: String,
    /// The font that it was made with
    #[arg(long, value_name = "FILE")]
    pub font: Option<PathBuf>,
    /// It is the sheet at a quarter of the size, made with --quarter-scale
    #[arg(long)]
    pub quarter_scale: bool,
    /// The effort that it was made with. Default: 1
    #[arg(long, value_name = "N", default_value_t = 1, hide_default_value = true)]
    pub effort: u64,
    /// Print the proof as JSON
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `device`.
#[derive(Debug, Args)]
pub struct DeviceArgs {
    /// What to do; without it the profiles are listed.
    #[command(subcommand)]
    pub command: Option<DeviceCommand>,
    /// Print as JSON
    #[arg(long)]
    pub json: bool,
}

/// What to do with profiles.
#[derive(Debug, Subcommand)]
pub enum DeviceCommand {
    /// List the profiles in `profiles/` and those that come with the program
    List {
        /// Print as JSON
        #[arg(long)]
        json: bool,
    },
    /// Read a profile and say what is wrong with it or worth a thought
    Check {
        /// The profile (`*.device.kdl`)
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Print the profile, with every default filled in, and the findings as JSON
        #[arg(long)]
        json: bool,
    },
    /// Show every correction that was recorded, and which is in force
    History {
        /// A profile's file or its short name
        #[arg(value_name = "NAME")]
        name: String,
        /// Print as JSON
        #[arg(long)]
        json: bool,
    },
    /// Go back to the correction before the newest; nothing that was recorded is lost
    Back {
        /// A profile's file or its short name
        #[arg(value_name = "NAME")]
        name: String,
        /// The medium; the first where none is named
        #[arg(long)]
        medium: Option<String>,
        /// The day to record it under, as in 2026-10-02; today by this computer's clock where none is given
        #[arg(long)]
        date: Option<String>,
    },
    /// Say in plain words what a machine will do
    Explain {
        /// A profile's file or its short name
        #[arg(value_name = "NAME")]
        name: String,
        /// Print the lines as JSON
        #[arg(long)]
        json: bool,
    },
}

/// Arguments of `lay`.
#[derive(Debug, Args)]
pub struct LayArgs {
    /// What to lay; several people's pieces come on one lay.
    #[command(flatten)]
    pub from: From,
    /// A cloth (`*.cloth.kdl`); without it a plain cloth of every width that shops sell
    #[arg(short, long, value_name = "FILE", num_args = 1..)]
    pub cloth: Vec<PathBuf>,
    /// Lay on the cloth folded along its length, without a cloth file
    #[arg(long)]
    pub folded: bool,
    /// All pieces the same way up, as for nap, without a cloth file
    #[arg(long)]
    pub nap: bool,
    /// The width of a plain cloth, in place of those that shops sell; give it again for each
    #[arg(long, value_name = "LENGTH", num_args = 1.., conflicts_with = "cloth")]
    pub width: Vec<String>,
    /// What there is of the cloth, as in --have "3 yd": does it do, and how full can a ruffle be?
    #[arg(long, value_name = "LENGTH")]
    pub have: Option<String>,
    /// How ruffles and bindings are cut: "along" the selvedge without joins, "across" with joins, or as "drafted"
    #[arg(long, value_name = "WAY")]
    pub strips: Option<String>,
    /// A lay that was written (`*.lay.kdl`): pieces with locked=#true in it stay where they are
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub keep: Vec<PathBuf>,
    /// Write each lay for this device too, proven; needs -o
    #[arg(short, long, value_name = "NAME", num_args = 1..)]
    pub device: Vec<String>,
    /// Draw the device's file one to so many instead of at true size
    #[arg(long, value_name = "NUMBER", default_value_t = 1.0)]
    pub scale: f64,
    /// How long to search.
    #[command(flatten)]
    pub search: SearchArgs,
    /// The folder for the lays: drawings (SVG, 1 : 10), the places of the pieces (`*.lay.kdl`), devices' files
    #[arg(short, long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the table as JSON
    #[arg(long)]
    pub json: bool,
}

/// How long `lay` searches.
#[derive(Debug, Args)]
pub struct SearchArgs {
    /// Search for this long for each lay; without it as long as a fixed number of trials takes, and the same lay each time
    #[arg(long, value_name = "SECONDS")]
    pub seconds: Option<f64>,
    /// Trials for each lay
    #[arg(long, value_name = "COUNT", default_value_t = 200_000)]
    pub trials: u64,
    /// So many times as many trials
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub effort: u64,
    /// Say every better lay on standard error as it is found, even where that is no terminal
    #[arg(long)]
    pub progress: bool,
    /// Another number may find another lay
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub seed: u64,
}
