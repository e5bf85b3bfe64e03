//! The only wiring: a request in, files and findings out. Bytes leave here proven or not at all.

mod files;
mod marking;

use crate::allow::{self, CutPiece};
use crate::calibrate;
use crate::cloth::Cloth;
use crate::device::{Device, Medium, MediumKind, Sequence, Tip};
use crate::diag::{Finding, Result};
use crate::draft::{self, Choices};
use crate::lay::cloth::{ClothLay, Garment};
use crate::lay::search::{Budget, Progress};
use crate::lay::{self, Copies, Sheet};
use crate::mark::MarkedPiece;
use crate::measures::Measures;
use crate::order;
use crate::piece::{Piece, PieceSet};
use crate::proof::{self, Proof};
use crate::report::{self, FileLine, MeasureRow, ProofSheet};
use crate::shrink;
use crate::style::Style;
use crate::text::Font;
use crate::true_up;
use crate::units::{Unit, format_length};
use crate::walk::{self, WalkedJoin};
use marking::Manner;
use rayon::prelude::*;
use std::sync::Arc;

/// Pieces on the net line, walked.
#[derive(Clone, Debug)]
pub struct Walked {
    /// The pieces, with every notch carried across its seams.
    pub set: PieceSet,
    /// What the walk found, seam by seam.
    pub joins: Vec<WalkedJoin>,
    /// What the garment measures when worn, beside the body.
    pub worn: Vec<MeasureRow>,
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

/// What `make` may be asked for besides.
#[derive(Clone, Debug, Default)]
pub struct Extras {
    /// The font for letters that have no single strokes.
    pub font: Option<Arc<Font>>,
    /// Devices that draw the whole style at a quarter of its size too, to pin up.
    pub quarter_scale: Vec<NamedDevice>,
}

/// All that is made for one person.
#[derive(Clone, Debug)]
pub struct Made {
    /// The pieces and their seams.
    pub walked: Walked,
    /// The pieces with their cut lines.
    pub cut: Vec<CutPiece>,
    /// The files for the devices, each proven.
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

/// A device's file that passed its proof. Only [`make`] makes one.
#[derive(Clone, Debug)]
pub struct ProvenFile {
    bytes: Vec<u8>,
    line: FileLine,
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
}

/// Drafts a style for a person and walks its seams.
///
/// # Errors
/// As [`draft::draft`].
pub fn draft_and_walk(style: &Style, measures: &Measures, choices: &Choices, tolerance: f64) -> Result<Walked> {
    let drafted = draft::whole(style, measures, choices)?;
    let mut walked = walk_pieces(drafted.set, tolerance);
    walked.worn = drafted.worn.iter().map(|row| worn(row, measures.unit)).collect();
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
    walk::carry(&mut set);
    let (joins, findings) = walk::walk(&set, tolerance);
    Walked { set, joins, worn: Vec::new(), findings }
}

/// Gives every piece its cut line.
///
/// # Errors
/// As [`allow::allow`].
pub fn cut(set: &PieceSet) -> Result<(Vec<CutPiece>, Vec<Finding>)> {
    gather(&set.pieces, |piece| allow::allow(piece, allow::TOLERANCE))
}

/// From walked pieces to proven files for every device, and the proof sheet.
///
/// # Errors
/// A piece without a cut line, a piece too large for a medium, a device that draws nothing of a job.
pub fn make(walked: Walked, devices: &[NamedDevice]) -> Result<Made> {
    make_with(walked, devices, &Extras::default())
}

/// [`make`], with a font, and quarter-scale sheets.
///
/// # Errors
/// As [`make`].
pub fn make_with(walked: Walked, devices: &[NamedDevice], extras: &Extras) -> Result<Made> {
    let mut findings = walked.findings.clone();
    let (cut, found) = cut(&walked.set)?;
    findings.extend(found);
    findings.extend(true_up::true_up(&walked.set, &cut));
    let all = marking::for_devices(&walked.set, &cut, devices, extras, &mut findings)?;
    let mut files = Vec::new();
    let mut failed = Vec::new();
    let mut sheets_of_files: Vec<Vec<Sheet>> = Vec::new();
    let mut lines = Vec::new();
    let (written, found) = gather(&all.wanted, |wanted| write_device(&wanted.set, &wanted.named, all.marked(wanted)))?;
    findings.extend(found);
    for (sheet, file, proof) in written.into_iter().flatten() {
        lines.push(file.line.clone());
        if proof.passed {
            files.push(file);
        } else {
            failed.push((file.line.file, proof));
        }
        sheets_of_files.push(vec![sheet]);
    }
    let sheet_slices: Vec<&[Sheet]> = sheets_of_files.iter().map(Vec::as_slice).collect();
    let proof_sheet = report::proof_sheet(&ProofSheet {
        set: &walked.set,
        pieces: &cut,
        marked: all.shown(),
        walked: &walked.joins,
        files: &lines,
        sheets: &sheet_slices,
        findings: &findings,
        measures: &walked.worn,
    });
    let making_sheet = report::making_sheet(&walked.set, &walked.joins);
    Ok(Made { walked, cut, files, failed, proof_sheet, making_sheet, findings })
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
        findings: &findings,
        measures: &walked.worn,
    }))
}

/// The sheets that [`make`] would write for a device, without writing them.
///
/// # Errors
/// As [`make`].
pub fn sheets(set: &PieceSet, device: &Device) -> Result<Vec<Sheet>> {
    sheets_with(set, device, None)
}

/// [`sheets`], with the font that the files were made with.
///
/// # Errors
/// As [`make`].
pub fn sheets_with(set: &PieceSet, device: &Device, font: Option<&Arc<Font>>) -> Result<Vec<Sheet>> {
    let (marked, _) = marking::marked(set, &cut(set)?.0, &Manner::of(device), font)?;
    Ok(lay_for(device, &marked)?.0)
}

/// Reads a device's file back and measures it against a sheet.
///
/// # Errors
/// Bytes that are no file of the device's language.
pub fn prove(bytes: &[u8], file: &str, sheet: &Sheet, device: &Device) -> Result<(Proof, Vec<Finding>)> {
    let (drawing, findings) = files::read_back(bytes, file, sheet, device)?;
    let correction = device.correction(&sheet.medium);
    Ok((proof::prove(&drawing, sheet, device, correction), findings))
}

/// Lays several people's pieces on one cloth, made larger by what it will shrink.
///
/// # Errors
/// As [`shrink::shrink`], [`allow::allow`] and [`lay::cloth::lay_on_cloth`].
pub fn lay_on_cloth(
    sets: &[&PieceSet],
    cloth: &Cloth,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Result<(ClothLay, Vec<Finding>)> {
    let [along, across] = cloth.shrinkage;
    let mut findings = Vec::new();
    let mut cut_pieces = Vec::new();
    for set in sets {
        let of_cloth: Vec<&Piece> = set.pieces.iter().filter(|piece| piece.cut.cloth == cloth.cut_as).collect();
        let (pieces, found) = gather(&of_cloth, |piece| {
            let (piece, mut findings) = shrink::shrink(piece, along, across)?;
            let (cut, found) = allow::allow(&piece, allow::TOLERANCE)?;
            findings.extend(found);
            Ok((cut, findings))
        })?;
        findings.extend(found);
        cut_pieces.push(pieces);
    }
    let garments: Vec<Garment> =
        sets.iter().zip(&cut_pieces).map(|(set, pieces)| Garment { person: &set.person, pieces }).collect();
    let (lay, found) = lay::cloth::lay_on_cloth(&garments, cloth, budget, progress)?;
    findings.extend(found);
    Ok((lay, findings))
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
/// As [`mark::mark`].
pub fn mark_all(set: &PieceSet, cut: &[CutPiece]) -> Result<(Vec<MarkedPiece>, Vec<Finding>)> {
    marking::marked(set, cut, &Manner::plain(), None)
}

fn lay_for(device: &Device, marked: &[MarkedPiece]) -> Result<(Vec<Sheet>, Vec<Finding>)> {
    let medium = first_medium(device)?;
    let stamp = calibrate::stamp_text(device.correction(&medium.name));
    lay::lay(marked, medium, Copies::One, &stamp)
}

fn first_medium(device: &Device) -> Result<&Medium> {
    device.media.first().ok_or_else(|| {
        Finding::error(format!("device \"{}\" has no medium", device.name)).hint("add one to its profile").into()
    })
}

/// Every sheet of a device with its file and proof, in order.
type Written = Vec<(Sheet, ProvenFile, Proof)>;

fn write_device(set: &PieceSet, named: &NamedDevice, marked: &[MarkedPiece]) -> Result<(Written, Vec<Finding>)> {
    can_follow(&named.device)?;
    let (sheets, mut findings) = lay_for(&named.device, marked)?;
    let count = sheets.len();
    let numbered: Vec<(usize, Sheet)> = sheets.into_iter().enumerate().collect();
    let (written, found) = gather(&numbered, |(index, sheet)| {
        let (file, proof, findings) = write_sheet(set, named, sheet, *index, count)?;
        Ok(((sheet.clone(), file, proof), findings))
    })?;
    findings.extend(found);
    Ok((written, findings))
}

fn write_sheet(
    set: &PieceSet,
    named: &NamedDevice,
    sheet: &Sheet,
    index: usize,
    count: usize,
) -> Result<(ProvenFile, Proof, Vec<Finding>)> {
    let device = &named.device;
    let correction = device.correction(&sheet.medium);
    let mut findings = Vec::new();
    if correction.is_none() {
        findings.push(
            Finding::warning(format!(
                "\"{}\" was never measured on {}: its files are not corrected",
                device.name, sheet.medium
            ))
            .hint("measure its check square with a steel rule before you trust it"),
        );
    }
    let title = match count {
        1 => format!("{}, {}", set.style, set.person),
        _ => format!("{}, {}, sheet {} of {count}", set.style, set.person, index + 1),
    };
    let (job, found) = order::order(sheet, device, &title)?;
    findings.extend(found);
    let corrected = calibrate::correct(job, correction);
    let bytes = files::write(&corrected, sheet, device)?;
    let number = if count == 1 { String::new() } else { format!("-{}", index + 1) };
    let file = format!("{}{number}.{}", named.name, device.language.extension());
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
    };
    Ok((ProvenFile { bytes, line }, proof, findings))
}

/// Refuses a profile that asks for what no stage does yet: a line that is not where the blade wants it would pass for one
/// that is.
fn can_follow(device: &Device) -> Result<()> {
    let refuse = |what: String| {
        let finding = Finding::error(format!("\"{}\": {what} can't be done yet", device.name));
        Err(Box::new(finding.hint("take it out of the profile only if the machine sees to it by itself")))
    };
    if device.sequence == Sequence::PieceByPiece {
        return refuse("finishing piece by piece".into());
    }
    for tool in &device.tools {
        if tool.tip != Tip::Plain {
            return refuse(format!("following the tip of the tool \"{}\"", tool.name));
        }
        if tool.bridges.is_some() {
            return refuse(format!("leaving bridges with the tool \"{}\"", tool.name));
        }
        if tool.passes > 1 {
            return refuse(format!("going over each line more than once with the tool \"{}\"", tool.name));
        }
    }
    Ok(())
}

/// What a sheet takes of its medium, as people say it.
fn used(sheet: &Sheet, device: &Device, unit: Unit) -> String {
    match device.medium(&sheet.medium).map(|medium| medium.kind) {
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
