//! One function a command.

use super::args::{AllowArgs, DraftArgs, From, MakeArgs, ProofArgs, WalkArgs};
use super::{End, Outcome, disk, say};
use oaktag::diag::{Finding, Result, Severity};
use oaktag::draft::Choices;
use oaktag::piece::json;
use oaktag::pipeline::{self, Made, NamedDevice, Walked};
use oaktag::report::{self, FileLine};
use oaktag::source::Text;
use oaktag::{measures, style};
use std::path::Path;

/// `oaktag make`.
pub fn make(args: &MakeArgs) -> Outcome {
    let mut devices: Vec<NamedDevice> = Vec::new();
    for name in &args.device {
        let (device, findings) = disk::device(name)?;
        say::findings(&findings);
        if devices.iter().any(|other| other.name == device.name) {
            return Err(Finding::error(format!("two devices are called \"{}\"", device.name))
                .hint("name each device once")
                .into());
        }
        devices.push(device);
    }
    let mut end = End::Done;
    let mut lines: Vec<FileLine> = Vec::new();
    let mut unit = None;
    let mut folders: Vec<String> = Vec::new();
    for walked in load(&args.from)? {
        unit.get_or_insert(walked.set.unit);
        let person = walked.set.person.clone();
        let folder = disk::file_word(&person);
        if folders.contains(&folder) {
            return Err(Finding::error(format!("two people's files would go into one folder, \"{folder}\""))
                .hint("make them one at a time, each with its own -o")
                .into());
        }
        let made = pipeline::make(walked, &devices)?;
        say::findings(&made.findings);
        if held(&made, args.from.anyway) {
            say::line(&format!("{person}: held back, nothing was written. --anyway writes all the same."));
            end = End::Held;
            continue;
        }
        if !made.failed.is_empty() {
            say_failed(&made);
            end = End::Held;
            continue;
        }
        write_made(&args.out.join(&folder), &made)?;
        for file in &made.files {
            let line = file.line();
            lines
                .push(FileLine { file: args.out.join(&folder).join(&line.file).display().to_string(), ..line.clone() });
        }
        folders.push(folder);
    }
    if args.json {
        say::data(&(serde_json::to_string_pretty(&lines).unwrap_or_default() + "\n"))?;
    } else if let Some(unit) = unit {
        say::data(&report::files_text(&lines, unit))?;
    }
    for folder in &folders {
        say::line(&format!("look before you cut: {}", args.out.join(folder).join(PROOF_SHEET).display()));
    }
    Ok(end)
}

/// The name of the proof sheet in a person's folder.
const PROOF_SHEET: &str = "proof-sheet.html";

fn write_made(folder: &Path, made: &Made) -> Result<()> {
    let cut_lines: Vec<_> = made.cut.iter().map(|piece| piece.cut_line.clone()).collect();
    let pieces = json::write_with_cut_lines(&made.walked.set, &cut_lines);
    let pieces_name = format!("{}.pieces.json", disk::file_word(&made.walked.set.style));
    let mut files: Vec<(String, &[u8])> =
        made.files.iter().map(|file| (file.line().file.clone(), file.bytes())).collect();
    files.push((pieces_name, pieces.as_bytes()));
    files.push((PROOF_SHEET.into(), made.proof_sheet.as_bytes()));
    disk::write_all(folder, &files)
}

fn held(made: &Made, anyway: bool) -> bool {
    !anyway && made.findings.iter().any(|finding| finding.severity >= Severity::Breach)
}

fn say_failed(made: &Made) {
    for (file, proof) in &made.failed {
        say::findings(&[Finding::error(format!("this file failed its proof: {}", proof.reasons.join("; ")))
            .in_file(file)
            .hint("nothing was written for this person, and nothing overrides a failed proof; please report it")]);
    }
}

/// `oaktag draft`.
pub fn draft(args: &DraftArgs) -> Outcome {
    let mut end = End::Done;
    for walked in load(&args.from)? {
        say::findings(&walked.findings);
        if !args.from.anyway && walked.findings.iter().any(|finding| finding.severity >= Severity::Breach) {
            say::line(&format!("{}: held back. --anyway goes on all the same.", walked.set.person));
            end = End::Held;
            continue;
        }
        let pieces = json::write(&walked.set);
        match &args.out {
            None => say::data(&pieces)?,
            Some(out) => {
                let folder = out.join(disk::file_word(&walked.set.person));
                let picture = pipeline::picture(&walked)?;
                let name = format!("{}.pieces.json", disk::file_word(&walked.set.style));
                let files = [(name, pieces.as_bytes()), (PROOF_SHEET.to_owned(), picture.as_bytes())];
                disk::write_all(&folder, &files)?;
                say::line(&format!("drafted: {}", folder.join(PROOF_SHEET).display()));
            }
        }
    }
    Ok(end)
}

/// `oaktag walk`.
pub fn walk(args: &WalkArgs) -> Outcome {
    let mut end = End::Done;
    for walked in load(&args.from)? {
        if args.json {
            say::data(&report::walk_json(&walked.joins))?;
        } else {
            say::data(&format!("{}\n{}", walked.set.person, report::walk_text(&walked.joins, walked.set.unit)))?;
        }
        say::findings(&walked.findings);
        if !args.from.anyway && walked.findings.iter().any(|finding| finding.severity >= Severity::Breach) {
            end = End::Held;
        }
    }
    Ok(end)
}

/// `oaktag allow`.
pub fn allow(args: &AllowArgs) -> Outcome {
    let set = read_pieces(&args.pieces)?;
    let (cut, findings) = pipeline::cut(&set)?;
    say::findings(&findings);
    let cut_lines: Vec<_> = cut.into_iter().map(|piece| piece.cut_line).collect();
    let text = json::write_with_cut_lines(&set, &cut_lines);
    match &args.out {
        Some(path) => disk::write_one(path, text.as_bytes())?,
        None => say::data(&text)?,
    }
    let held = findings.iter().any(|finding| finding.severity >= Severity::Breach);
    Ok(if held { End::Held } else { End::Done })
}

/// `oaktag proof`.
pub fn proof(args: &ProofArgs) -> Outcome {
    let (named, findings) = disk::device(&args.device)?;
    say::findings(&findings);
    let set = read_pieces(&args.pieces)?;
    let bytes = disk::read_bytes(&args.file)?;
    let file = args.file.display().to_string();
    let sheets = pipeline::sheets(&set, &named.device)?;
    // The file does not say which sheet it holds: it is the one that it fits best.
    let mut best: Option<oaktag::proof::Proof> = None;
    for sheet in &sheets {
        let (proof, findings) = pipeline::prove(&bytes, &file, sheet, &named.device)?;
        let strays = |p: &oaktag::proof::Proof| (!p.passed, p.missing + p.extra);
        if best.as_ref().is_none_or(|best| strays(&proof) < strays(best)) {
            say::findings(&findings);
            best = Some(proof);
        }
    }
    let Some(proof) = best else {
        return Err(Finding::error("these pieces fill no sheet").in_file(args.pieces.display().to_string()).into());
    };
    if args.json {
        say::data(&(serde_json::to_string_pretty(&proof).unwrap_or_default() + "\n"))?;
    } else {
        let verdict = if proof.passed { "passed" } else { "FAILED: do not cut from it" };
        say::data(&format!(
            "{file}: {verdict}: {} lines, {} missing, {} extra, largest difference {:.4} mm of {:.4} mm allowed\n",
            proof.strokes, proof.missing, proof.extra, proof.largest, proof.allowed
        ))?;
        for reason in &proof.reasons {
            say::line(&format!("  {reason}"));
        }
    }
    Ok(if proof.passed { End::Done } else { End::Held })
}

/// Drafts and walks for every person, or walks the pieces of a file.
pub(super) fn load(from: &From) -> Result<Vec<Walked>> {
    if !from.tolerance.is_finite() || from.tolerance < 0.0 {
        return Err(Finding::error("--tolerance is not a length in mm, 0 or more").into());
    }
    if is_pieces(&from.source) {
        if !from.measures.is_empty() || !from.set.is_empty() {
            return Err(Finding::error("pieces are already drafted: --measures and --set are of no use with them")
                .hint("give a style sheet instead, or leave them out")
                .into());
        }
        return Ok(vec![pipeline::walk_pieces(read_pieces(&from.source)?, from.tolerance)]);
    }
    let style = style::read(&disk::read_text(&from.source)?, &from.source.display().to_string())?;
    if from.measures.is_empty() {
        return Err(Finding::error("whose measures?").hint("add --measures FILE.measures.kdl").into());
    }
    let choices = read_choices(&from.set)?;
    let mut all = Vec::new();
    for path in &from.measures {
        let (person, findings) = measures::read(&disk::read_text(path)?, &path.display().to_string())?;
        let mut walked = pipeline::draft_and_walk(&style, &person, &choices, from.tolerance)?;
        walked.findings.splice(0..0, findings);
        all.push(walked);
    }
    Ok(all)
}

fn is_pieces(path: &Path) -> bool {
    path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("json"))
}

fn read_pieces(path: &Path) -> Result<oaktag::piece::PieceSet> {
    json::read(&disk::read_text(path)?, &path.display().to_string())
}

fn read_choices(set: &[String]) -> Result<Choices> {
    let mut choices = Choices::new();
    for text in set {
        let Some((name, value)) = text.split_once('=') else {
            return Err(Finding::error(format!("\"{text}\" sets nothing"))
                .hint("write it as --set \"bust ease=3 1/2\"")
                .into());
        };
        choices.insert(name.trim().to_owned(), Text::new(value.trim(), "--set"));
    }
    Ok(choices)
}
