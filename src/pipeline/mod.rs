//! The only wiring: a request in, files and findings out. Bytes leave here proven or not at all.

mod cloth;
mod files;
mod marking;
mod nest;
mod square;

pub use cloth::{LaidCloth, lay_file, lay_on_cloth};
pub use nest::{Nested, can_nest, nest, nest_sheets};
pub use square::{SquareRequest, WrittenSquare, not_as_asked, plan_square, test_square};

use crate::allow::{self, CutPiece};
use crate::calibrate::{self, CorrectedJob};
use crate::cloth::Cloth;
use crate::device::{Device, Margins, Medium, MediumKind};
use crate::diag::{Finding, Result};
use crate::draft::{self, Choices};
use crate::lay::search::Budget;
use crate::lay::{self, Copies, Sheet};
use crate::mark::MarkedPiece;
use crate::mark::nest::KEY;
use crate::measures::Measures;
use crate::order;
use crate::piece::PieceSet;
use crate::proof::{self, Proof};
use crate::report::{self, ChangeRow, FileLine, HeadWay, MeasureRow, ProofSheet};
use crate::style::Style;
use crate::text::Font;
use crate::true_up;
use crate::units::{Unit, format_length};
use crate::walk::{self, WalkedJoin};
use files::Said;
use marking::Manner;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::sync::{Arc, Mutex, PoisonError};

/// Pieces on the net line, walked.
#[derive(Clone, Debug)]
pub struct Walked {
    /// The pieces, with every notch carried across its seams.
    pub set: PieceSet,
    /// What the walk found, seam by seam.
    pub joins: Vec<WalkedJoin>,
    /// What the garment measures when worn, beside the body.
    pub worn: Vec<MeasureRow>,
    /// What the notes of fittings changed.
    pub fitting: Vec<ChangeRow>,
    /// Findings so far.
    pub findings: Vec<Finding>,
}

/// A device's profile with the short name that its files are given.
#[derive(Clone, Debug)]
pub struct NamedDevice {
    /// Such as `roll-plotter`.
    pub name: String,
    /// The profile.
    pub device: Device,
}

impl NamedDevice {
    /// The same device with the name that its files at a quarter of the size are given.
    #[must_use]
    pub fn at_quarter_scale(&self) -> Self {
        Self { name: format!("quarter-scale-{}", self.name), device: self.device.clone() }
    }

    /// Whether a file's name is one that this device's files are given, alone or numbered sheet by sheet.
    pub fn names(&self, file: &str) -> bool {
        let Some(rest) = file.rsplit_once('.').and_then(|(stem, _)| stem.strip_prefix(&self.name)) else {
            return false;
        };
        let is_number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
        rest.is_empty() || rest.strip_prefix('-').is_some_and(is_number)
    }
}

/// All that is made for one person.
#[derive(Clone, Debug)]
pub struct Made {
    /// The pieces and their seams.
    pub walked: Walked,
    /// The pieces with their cut lines.
    pub cut: Vec<CutPiece>,
    /// Every file that was written, proven or not, in order.
    pub lines: Vec<FileLine>,
    /// The files for the devices, each proven; empty where they were handed on.
    pub files: Vec<ProvenFile>,
    /// Files that failed their proof, and are held back: name and reasons.
    pub failed: Vec<(String, Proof)>,
    /// The proof sheet, HTML.
    pub proof_sheet: String,
    /// The making sheet, HTML: what to cut, the seams in order, what to buy.
    pub making_sheet: String,
    /// Every finding of every stage.
    pub findings: Vec<Finding>,
}

/// A device's file that passed its proof. Only this module makes one.
#[derive(Clone, Debug)]
pub struct ProvenFile {
    bytes: Vec<u8>,
    line: FileLine,
    parts: Vec<Part>,
    medium: String,
    stamp: String,
    sizes: Vec<String>,
}

/// Strokes of one piece and one tool that follow one another in a file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Part {
    /// The piece's name; empty for what belongs to the sheet itself, but "key" for the key of a nest.
    pub piece: String,
    /// The tool's name.
    pub tool: String,
    /// How many strokes.
    pub strokes: usize,
}

impl ProvenFile {
    /// What is written to the disk.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Its name, size and proof.
    pub fn line(&self) -> &FileLine {
        &self.line
    }

    /// The medium that it is for.
    pub fn medium(&self) -> &str {
        &self.medium
    }

    /// The stamp of the correction that it was written through; empty for a test square, which is right without.
    pub fn stamp(&self) -> &str {
        &self.stamp
    }

    /// What it draws, in its own order.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// The sizes that lie over one another in it, in their order; else none.
    pub fn sizes(&self) -> &[String] {
        &self.sizes
    }
}

/// Drafts a style for a person and walks its seams.
///
/// # Errors
/// As [`draft::draft`].
pub fn draft_and_walk(style: &Style, measures: &Measures, choices: &Choices, tolerance: f64) -> Result<Walked> {
    let drafted = draft::whole(style, measures, choices)?;
    let mut walked = walk_pieces(drafted.set, tolerance);
    walked.worn = drafted.worn.iter().map(|row| worn(row, measures.unit)).collect();
    let length = |mm| format_length(mm, measures.unit);
    let change = |row: &draft::FittingRow| ChangeRow {
        what: row.what.clone(),
        before: length(row.before),
        after: length(row.after),
    };
    // What a tape can't show is left out.
    walked.fitting = drafted.fitting.iter().map(change).filter(|row| row.before != row.after).collect();
    walked.findings.splice(0..0, drafted.findings);
    Ok(walked)
}

/// A worn measure as people read it.
fn worn(row: &draft::WornRow, unit: Unit) -> MeasureRow {
    let mark = if row.estimated { " (estimated)" } else { "" };
    MeasureRow {
        name: row.name.clone(),
        body: row.body.map_or_else(String::new, |body| format_length(body, unit) + mark),
        ease: row.body.map_or_else(|| row.remark.clone(), |body| format_length(row.finished - body, unit)),
        finished: format_length(row.finished, unit),
    }
}

/// Carries the notches of pieces from elsewhere and walks their seams. `tolerance` in mm.
pub fn walk_pieces(mut set: PieceSet, tolerance: f64) -> Walked {
    let ways = walk::ways(&set);
    walk::carry(&mut set);
    let (joins, mut findings) = walk::walk(&set, tolerance);
    findings.extend(ways);
    Walked { set, joins, worn: Vec::new(), fitting: Vec::new(), findings }
}

/// Gives every piece its cut line.
///
/// # Errors
/// As [`allow::allow`].
pub fn cut(set: &PieceSet) -> Result<(Vec<CutPiece>, Vec<Finding>)> {
    cut_within(set, allow::TOLERANCE)
}

/// [`cut`] within a tolerance of one's own, mm.
///
/// # Errors
/// As [`allow::allow`].
pub fn cut_within(set: &PieceSet, tolerance: f64) -> Result<(Vec<CutPiece>, Vec<Finding>)> {
    gather(&set.pieces, |piece| {
        let (cut, mut findings) = allow::allow(piece, tolerance)?;
        findings.extend(allow::too_wide(piece, set.unit));
        Ok((cut, findings))
    })
}

/// What is to be made besides the devices' files, and how: lays, the search for them, letters.
#[derive(Clone, Copy, Debug)]
pub struct Laying<'a> {
    /// Cloths whose lay the proof sheet shows.
    pub cloths: &'a [Cloth],
    /// The search of each lay.
    pub budget: Budget,
    /// The font for letters that have no single strokes.
    pub font: Option<&'a Arc<Font>>,
    /// Devices that draw the whole style at a quarter of its size too, to pin up.
    pub quarter_scale: &'a [NamedDevice],
    /// What files for other programs say of their origin.
    pub imprint: Imprint<'a>,
}

/// What files for other programs say of their origin; nothing where empty.
#[derive(Clone, Copy, Debug, Default)]
pub struct Imprint<'a> {
    /// Who made them.
    pub author: &'a str,
    /// The day that the user set: no clock is looked at.
    pub date: &'a str,
}

impl Default for Laying<'_> {
    fn default() -> Self {
        Self { cloths: &[], budget: lay::QUICK, font: None, quarter_scale: &[], imprint: Imprint::default() }
    }
}

/// From walked pieces to proven files for every device, and the proof sheet.
///
/// # Errors
/// A piece without a cut line, a piece too large for a medium, a device that draws nothing of a job.
pub fn make(walked: Walked, devices: &[NamedDevice]) -> Result<Made> {
    make_laid(walked, devices, &Laying::default())
}

/// The same, with lays on cloth in the proof sheet, and a search of the caller's choice.
///
/// # Errors
/// As [`make`] and [`lay_on_cloth`].
pub fn make_laid(walked: Walked, devices: &[NamedDevice], laying: &Laying) -> Result<Made> {
    let kept = Mutex::new(Vec::new());
    let keep = |file: ProvenFile| {
        kept.lock().unwrap_or_else(PoisonError::into_inner).push(file);
        Ok(())
    };
    let mut made = make_into(walked, devices, laying, &keep)?;
    let mut files = kept.into_inner().unwrap_or_else(PoisonError::into_inner);
    let place = |file: &ProvenFile| made.lines.iter().position(|line| line.file == file.line.file);
    files.sort_by_key(place);
    made.files = files;
    Ok(made)
}

/// The same, each file handed to `keep` as soon as it is proven and not kept here: so that no more files are in memory at
/// once than there are threads. They come in any order; `lines` has theirs.
///
/// # Errors
/// As [`make_laid`], and those of `keep`.
pub fn make_into(
    walked: Walked,
    devices: &[NamedDevice],
    laying: &Laying,
    keep: &(dyn Fn(ProvenFile) -> Result<()> + Sync),
) -> Result<Made> {
    if let Some(named) = laying.quarter_scale.iter().find(|named| named.device.language.is_for_exchange()) {
        let message = format!("\"{}\" is for other programs, which take pieces at their full size", named.name);
        return Err(Finding::error(message).hint("name a device that draws for --quarter-scale").into());
    }
    let mut findings = walked.findings.clone();
    let (cut, found) = cut(&walked.set)?;
    findings.extend(found);
    findings.extend(true_up::true_up(&walked.set, &cut));
    let all = marking::for_devices(&walked.set, &cut, devices, laying, &mut findings)?;
    let mut failed = Vec::new();
    let mut sheets_of_files: Vec<Vec<Sheet>> = Vec::new();
    let mut lines = Vec::new();
    let (written, found) =
        gather(&all.wanted, |wanted| write_device(&wanted.set, &wanted.named, all.marked(wanted), laying, keep))?;
    findings.extend(found);
    let mut ways = Vec::new();
    for (sheet, OnSheet { line, proof, way }) in written.into_iter().flatten() {
        ways.extend(way);
        if !proof.passed {
            failed.push((line.file.clone(), proof));
        }
        lines.push(line);
        sheets_of_files.push(vec![sheet]);
    }
    let mut cloths = Vec::new();
    for cloth in laying.cloths {
        let laid = lay_on_cloth(&[&walked.set], cloth, &[], 1.0, &laying.budget, &mut |_| true)?;
        findings.extend(laid.findings);
        cloths.push((laid.lay, cloth.clone()));
    }
    let sheet_slices: Vec<&[Sheet]> = sheets_of_files.iter().map(Vec::as_slice).collect();
    let proof_sheet = report::proof_sheet(&ProofSheet {
        set: &walked.set,
        pieces: &cut,
        marked: all.shown(),
        walked: &walked.joins,
        files: &lines,
        sheets: &sheet_slices,
        ways: &ways,
        cloths: &cloths,
        findings: &findings,
        measures: &walked.worn,
        fitting: &walked.fitting,
    });
    let making_sheet = report::making_sheet(&walked.set, &walked.joins);
    Ok(Made { walked, cut, lines, files: Vec::new(), failed, proof_sheet, making_sheet, findings })
}

/// The proof sheet of pieces that no file was made of yet.
///
/// # Errors
/// As [`cut`].
pub fn picture(walked: &Walked) -> Result<String> {
    let mut findings = walked.findings.clone();
    let (cut, found) = cut(&walked.set)?;
    findings.extend(found);
    findings.extend(true_up::true_up(&walked.set, &cut));
    let (marked, found) = mark_all(&walked.set, &cut)?;
    findings.extend(found);
    Ok(report::proof_sheet(&ProofSheet {
        set: &walked.set,
        pieces: &cut,
        marked: &marked,
        walked: &walked.joins,
        files: &[],
        sheets: &[],
        ways: &[],
        cloths: &[],
        findings: &findings,
        measures: &walked.worn,
        fitting: &walked.fitting,
    }))
}

/// A drawing of every piece with its points and edges by name, SVG: the piece's name and the drawing. What a piece has beyond
/// the one that it is like is in colour.
///
/// # Errors
/// As [`draft::draft`].
pub fn step_pictures(style: &Style, measures: &Measures, choices: &Choices) -> Result<Vec<(String, String)>> {
    let drafted = draft::whole(style, measures, choices)?;
    let points = draft::points(style, measures, choices)?;
    let picture = |piece: &crate::piece::Piece| {
        let steps = style.piece(&piece.name);
        let of = points.iter().filter(|point| point.piece == piece.name && !piece.name.is_empty());
        let named: Vec<_> = of.map(|point| (point.name.clone(), point.at)).collect();
        let is_new = |name: &str| steps.is_some_and(|steps| steps.like.is_some() && style.is_new(steps, name));
        (piece.name.clone(), report::piece_svg(piece, &named, &is_new))
    };
    Ok(drafted.set.pieces.iter().map(picture).collect())
}

/// The sheets that [`make`] would write for a device, without writing them.
///
/// # Errors
/// As [`make`].
pub fn sheets(set: &PieceSet, device: &Device) -> Result<Vec<Sheet>> {
    sheets_with(set, device, false, &Laying::default())
}

/// [`sheets`], at a quarter of the size or not, with the font and the search that the files were made with.
///
/// # Errors
/// As [`make`].
pub fn sheets_with(set: &PieceSet, device: &Device, quarter: bool, laying: &Laying) -> Result<Vec<Sheet>> {
    let manner = if quarter { Manner::quarter(device) } else { Manner::of(device) };
    let (marked, _) = marking::marked(set, &cut(set)?.0, &manner, laying.font)?;
    Ok(lay_for(device, &marked, &laying.budget)?.0)
}

/// Reads a device's file back and measures it against a sheet.
///
/// # Errors
/// Bytes that are no file of the device's language.
pub fn prove(bytes: &[u8], file: &str, sheet: &Sheet, device: &Device) -> Result<(Proof, Vec<Finding>)> {
    let correction = device.correction(&sheet.medium);
    let (drawing, findings) = files::read_back(bytes, file, sheet, device, correction)?;
    Ok((proof::prove(&drawing, sheet, device, correction), findings))
}

/// Cut lines and marks for every piece.
///
/// # Errors
/// As [`cut`] and [`mark_all`].
pub fn marked(set: &PieceSet) -> Result<(Vec<MarkedPiece>, Vec<Finding>)> {
    let (cut, mut findings) = cut(set)?;
    let (marked, found) = mark_all(set, &cut)?;
    findings.extend(found);
    Ok((marked, findings))
}

/// Marks every piece, its allowance and all.
///
/// # Errors
/// As [`crate::mark::mark`].
pub fn mark_all(set: &PieceSet, cut: &[CutPiece]) -> Result<(Vec<MarkedPiece>, Vec<Finding>)> {
    marking::marked(set, cut, &Manner::plain(), None)
}

fn lay_for(device: &Device, marked: &[MarkedPiece], budget: &Budget) -> Result<(Vec<Sheet>, Vec<Finding>)> {
    let stamp = |medium: &Medium| stamp(device, medium);
    // As far as the machine really reaches, which a correction changes.
    let media: Vec<Medium> =
        device.media.iter().map(|medium| medium.as_drawn(device.correction(&medium.name))).collect();
    lay::lay_on_stock(marked, &media, Copies::One, &stamp, budget, &mut |_| true)
}

/// What is lettered beside the check square.
fn stamp(device: &Device, medium: &Medium) -> String {
    if device.language.is_for_exchange() {
        return "true size".into();
    }
    calibrate::stamp_text(device.correction(&medium.name))
}

fn first_medium(device: &Device) -> Result<&Medium> {
    device.media.first().ok_or_else(|| {
        Finding::error(format!("device \"{}\" has no medium", device.name)).hint("add one to its profile").into()
    })
}

/// A file with its proof and the head's way through it.
struct WrittenSheet {
    file: ProvenFile,
    proof: Proof,
    way: Option<HeadWay>,
}

/// The same once the file is handed on.
struct OnSheet {
    line: FileLine,
    proof: Proof,
    way: Option<HeadWay>,
}

/// Every sheet of a device, in order.
type Written = Vec<(Sheet, OnSheet)>;

fn write_device(
    set: &PieceSet,
    named: &NamedDevice,
    marked: &[MarkedPiece],
    laying: &Laying,
    keep: &(dyn Fn(ProvenFile) -> Result<()> + Sync),
) -> Result<(Written, Vec<Finding>)> {
    let (sheets, mut findings) = lay_for(&named.device, marked, &laying.budget)?;
    findings.extend(never_measured(&named.device, &sheets));
    let said = Said { style: &set.style, person: &set.person, imprint: laying.imprint, marked };
    let numbered: Vec<(usize, &Sheet)> = sheets.iter().enumerate().collect();
    let (written, found) = gather(&numbered, |(index, sheet)| {
        let (WrittenSheet { file, proof, way }, findings) =
            write_sheet(set, named, sheet, [*index, sheets.len()], &said)?;
        let line = file.line.clone();
        if proof.passed {
            keep(file)?;
        }
        Ok((OnSheet { line, proof, way }, findings))
    })?;
    findings.extend(found);
    Ok((sheets.into_iter().zip(written).collect(), findings))
}

/// A word on each medium that has no correction.
fn never_measured(device: &Device, sheets: &[Sheet]) -> Vec<Finding> {
    let mut media: Vec<&str> = Vec::new();
    for sheet in sheets {
        if !device.language.is_for_exchange()
            && device.correction(&sheet.medium).is_none()
            && !media.contains(&&*sheet.medium)
        {
            media.push(&sheet.medium);
        }
    }
    let word = |medium| {
        let message = format!("\"{}\" was never measured on {medium}: its files are not corrected", device.name);
        Finding::warning(message).hint("measure its check square with a steel rule before you trust it")
    };
    media.into_iter().map(word).collect()
}

fn write_sheet(
    set: &PieceSet,
    named: &NamedDevice,
    sheet: &Sheet,
    [index, count]: [usize; 2],
    said: &Said,
) -> Result<(WrittenSheet, Vec<Finding>)> {
    let device = &named.device;
    let correction = device.correction(&sheet.medium);
    let mut findings = Vec::new();
    let machine = !device.language.is_for_exchange();
    let title = match count {
        1 => format!("{}, {}", set.style, set.person),
        _ => format!("{}, {}, sheet {} of {count}", set.style, set.person, index + 1),
    };
    let (job, found) = order::order(sheet, device, &title)?;
    findings.extend(found);
    let number = if count == 1 { String::new() } else { format!("-{}", index + 1) };
    let file = format!("{}{number}.{}", named.name, device.language.extension());
    let way = report::head_way(&file, &job, device);
    let corrected = if machine { calibrate::correct(job, correction) } else { calibrate::identity(job) };
    let bytes = files::write(&corrected, sheet, device, said, &mut findings)?;
    let (proof, found) = prove(&bytes, &file, sheet, device)?;
    findings.extend(found);
    let line = FileLine {
        file,
        device: device.name.clone(),
        pieces: sheet.placed.len(),
        width: sheet.width,
        height: sheet.height,
        used: used(sheet, device, set.unit),
        largest: proof.largest,
        allowed: proof.allowed,
        passed: proof.passed,
        estimate: way.as_ref().map(|way| way.estimate().clone()),
    };
    let (medium, stamp) = (sheet.medium.clone(), corrected.stamp().text.clone());
    let file = ProvenFile { parts: parts(&corrected), bytes, line, medium, stamp, sizes: sheet.sizes.clone() };
    Ok((WrittenSheet { file, proof, way }, findings))
}

/// What a job draws, in its own order.
fn parts(job: &CorrectedJob) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::new();
    for pass in &job.job().passes {
        let mut first = true;
        for stroke in pass.strokes.iter().filter(|stroke| stroke.path.segments().next().is_some()) {
            // The key to the sizes of a nest is the sheet's own, and no part of its check square.
            let key = stroke.placed.is_none() && stroke.edge == KEY;
            let piece = if key { KEY } else { &stroke.piece };
            match parts.last_mut().filter(|part| !first && part.piece == piece) {
                Some(part) => part.strokes += 1,
                None => parts.push(Part { piece: piece.into(), tool: pass.tool.clone(), strokes: 1 }),
            }
            first = false;
        }
    }
    parts
}

/// What a sheet takes of its medium, as people say it.
fn used(sheet: &Sheet, device: &Device, unit: Unit) -> String {
    let medium = device.medium(&sheet.medium);
    let pages = medium.and_then(|medium| medium.pages).and_then(|paper| {
        let Margins { left, right, bottom, top } = paper.margins;
        lay::pages(sheet, paper.width - left - right, paper.height - bottom - top, paper.overlap).ok()
    });
    if let Some(pages) = pages {
        return match pages.len() {
            1 => "1 page".into(),
            count => format!("{count} pages and their map"),
        };
    }
    match medium.map(|medium| medium.kind) {
        Some(MediumKind::Roll { .. }) => format!("{} of {}", format_length(sheet.width, unit), sheet.medium),
        _ => format!("1 sheet of {}", sheet.medium),
    }
}

/// Runs a stage on every item, side by side, and gathers outputs and findings in the items' order.
fn gather<T: Sync, U: Send>(
    items: &[T],
    stage: impl Fn(&T) -> Result<(U, Vec<Finding>)> + Sync,
) -> Result<(Vec<U>, Vec<Finding>)> {
    let results: Vec<_> = items.par_iter().map(&stage).collect();
    let mut outputs = Vec::with_capacity(items.len());
    let mut findings = Vec::new();
    for result in results {
        let (output, found) = result?;
        outputs.push(output);
        findings.extend(found);
    }
    Ok((outputs, findings))
}
