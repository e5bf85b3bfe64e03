//! One function a command.

use super::args::{AllowArgs, DraftArgs, MakeArgs, ProofArgs, WalkArgs};
use super::people::{self, Person};
use super::{End, Outcome, disk, manifest, on_ctrl_c, record, say, watch};
use oaktag::cloth;
use oaktag::device::{Device, cautions, stale};
use oaktag::diag::{Finding, Result, Severity};
use oaktag::geom::{crossing, path};
use oaktag::lay::{self, Sheet, search::Budget};
use oaktag::link::Proven;
use oaktag::piece::{Piece, json};
use oaktag::pipeline::{self, Imprint, Laying, Made, NamedDevice, ProvenFile, Walked};
use oaktag::proof::Proof;
use oaktag::report::{self, FileLine};
use oaktag::text::Font;
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// `oaktag make`.
pub fn make(args: &MakeArgs) -> Outcome {
    let small = devices(&args.quarter_scale)?;
    let nesting = devices(&args.nest)?;
    let devices = devices(&args.device)?;
    let written: Vec<NamedDevice> =
        devices.iter().cloned().chain(small.iter().map(NamedDevice::at_quarter_scale)).collect();
    let font = font(args.font.as_deref())?;
    let cloths = args.cloth.iter().map(|path| cloth::read(&disk::read_text(path)?, &path.display().to_string()));
    let cloths = cloths.collect::<Result<Vec<_>>>()?;
    let date = args.date.as_deref().map(|date| record::date_or_today(Some(date))).transpose()?.unwrap_or_default();
    let imprint = Imprint { author: args.author.as_deref().unwrap_or_default(), date: &date };
    let laying =
        Laying { cloths: &cloths, budget: budget(args.effort), font: font.as_ref(), quarter_scale: &small, imprint };
    let job =
        Job { devices: &devices, written: &written, laying: &laying, anyway: args.from.anyway, stop: on_ctrl_c() };
    let mut end = End::Done;
    let mut unit = None;
    // The last first: where nothing comes of it all, folders go in the other order than they came.
    let mut done: VecDeque<Done> = VecDeque::new();
    let mut people: Vec<Walked> = Vec::new();
    let everybody = people::load(&args.from)?;
    told_apart(&everybody, &nesting)?;
    let mut told = say::Told::default();
    for Person { walked, .. } in everybody {
        let Some(walked) = drafted(walked, &mut end) else { continue };
        unit.get_or_insert(walked.set.unit);
        say_fitting(&walked);
        if !nesting.is_empty() {
            people.push(walked.clone());
        }
        let folder = args.out.join(disk::file_word(&walked.set.person));
        match one(walked, folder, &job, &mut told)? {
            Some(made) => done.push_front(made),
            None => end = end.max(End::Held),
        }
    }
    drop(told);
    if !nesting.is_empty() && end == End::Done {
        let Some(nest) = nest(&people, &nesting, &laying, args.out.join(NESTED))? else { return Ok(End::Held) };
        done.push_front(nest);
    } else if !nesting.is_empty() {
        say::line("nothing was nested: a nest takes everybody, and not everybody was made.");
    }
    job.go_on()?;
    // Everything is safe on the medium; what is left is to give it its names.
    let (mut lines, mut sheets): (Vec<FileLine>, Vec<PathBuf>) = (Vec::new(), Vec::new());
    for Done { staged, folder, files, stale, proof_sheet } in done.into_iter().rev() {
        if let Err(trouble) = staged.finish() {
            for line in &lines {
                say::line(&format!("in place already: {}", line.file));
            }
            return Err(trouble);
        }
        say::findings(&stale);
        let named = |line: FileLine| FileLine { file: folder.join(&line.file).display().to_string(), ..line };
        lines.extend(files.into_iter().map(named));
        sheets.extend(proof_sheet.then(|| folder.join(PROOF_SHEET)));
    }
    if args.json {
        say::data(&(serde_json::to_string_pretty(&lines).unwrap_or_default() + "\n"))?;
    } else if let Some(unit) = unit {
        say::data(&report::files_text(&lines, unit))?;
        say::data(&report::times_text(&lines, unit))?;
    }
    if !lines.is_empty() {
        say_cautions(&devices);
    }
    for sheet in &sheets {
        say::line(&format!("look before you cut: {}", sheet.display()));
    }
    Ok(end)
}

/// What is made and lies beside its place, to be put there with all else.
struct Done {
    staged: disk::Staged,
    folder: PathBuf,
    files: Vec<FileLine>,
    /// What an earlier job left there.
    stale: Vec<Finding>,
    /// Whether a proof sheet is among it.
    proof_sheet: bool,
}

/// What is the same for everybody of a run.
struct Job<'a> {
    /// Those that draw the pieces at their full size.
    devices: &'a [NamedDevice],
    /// All, under the names of their files.
    written: &'a [NamedDevice],
    laying: &'a Laying<'a>,
    anyway: bool,
    /// Whether the user asked to stop: nothing is then put in place.
    stop: Arc<AtomicBool>,
}

impl Job<'_> {
    /// An error where the user asked to stop.
    fn go_on(&self) -> Result<()> {
        if self.stop.load(Ordering::Relaxed) {
            return Err(Finding::error("stopped: nothing was written").into());
        }
        Ok(())
    }
}

/// Makes all that one person asked for, for a folder of their own; nothing where it is held back.
fn one(walked: Walked, folder: PathBuf, job: &Job, told: &mut say::Told) -> Result<Option<Done>> {
    let person = walked.set.person.clone();
    let staged = disk::Staged::new(&folder)?;
    let proven = Mutex::new(Vec::new());
    // Each file goes to the disk once it is proven; it is put in place with the others, or removed.
    let keep = |file: ProvenFile| {
        job.go_on()?;
        staged.add(&file.line().file, file.bytes())?;
        proven.lock().unwrap_or_else(PoisonError::into_inner).push(Proven::of(&file));
        Ok(())
    };
    let made = pipeline::make_into(walked, job.devices, job.laying, &keep)?;
    told.findings(&person, &made.findings);
    if held(&made, job.anyway) {
        told.line(format!("{person}: held back, nothing was written. --anyway writes all the same."));
        return Ok(None);
    }
    if !made.failed.is_empty() {
        say_failed(&made.failed);
        return Ok(None);
    }
    let proven = proven.into_inner().unwrap_or_else(PoisonError::into_inner);
    let (list, stale) = manifest::with(&folder, proven, job.written);
    stage_reports(&staged, &list, &made)?;
    staged.settle()?;
    Ok(Some(Done { staged, folder, files: made.lines, stale, proof_sheet: true }))
}

/// Whether everybody has a folder of their own, and a nest can be made of them: asked before anything is written.
fn told_apart(everybody: &[Person], nesting: &[NamedDevice]) -> Result<()> {
    let names: Vec<String> = everybody.iter().map(|person| person.name.clone()).collect();
    if !nesting.is_empty() {
        pipeline::can_nest(&names, nesting)?;
    }
    let mut folders: Vec<String> = Vec::new();
    for person in everybody.iter().filter(|person| person.walked.is_ok()) {
        let folder = disk::file_word(&person.name);
        if !nesting.is_empty() && folder == NESTED {
            let message =
                format!("the files of \"{}\" would go into the folder of the nest, \"{folder}\"", person.name);
            return Err(Finding::error(message).hint("give them another name, or leave out --nest").into());
        }
        if folders.contains(&folder) {
            return Err(Finding::error(format!("two people's files would go into one folder, \"{folder}\""))
                .hint("make them one at a time, each with its own -o")
                .into());
        }
        folders.push(folder);
    }
    Ok(())
}

/// Everybody's pieces laid over one another, for a folder of their own; nothing where a file fails its proof.
fn nest(people: &[Walked], devices: &[NamedDevice], laying: &Laying, folder: PathBuf) -> Result<Option<Done>> {
    let nested = pipeline::nest(people, devices, laying)?;
    say::findings(&nested.findings);
    if !nested.failed.is_empty() {
        say_failed(&nested.failed);
        say::line("nothing was written, nor any person's own files.");
        return Ok(None);
    }
    let staged = disk::Staged::new(&folder)?;
    let (list, stale) = manifest::with(&folder, nested.files.iter().map(Proven::of).collect(), devices);
    for file in &nested.files {
        staged.add(&file.line().file, file.bytes())?;
    }
    staged.add(manifest::NAME, list.as_bytes())?;
    staged.settle()?;
    let files = nested.files.iter().map(|file| file.line().clone()).collect();
    Ok(Some(Done { staged, folder, files, stale, proof_sheet: false }))
}

/// Before and after, where the person was fitted.
fn say_fitting(walked: &Walked) {
    let table = report::fitting_text(&walked.fitting);
    if !table.is_empty() {
        say::line(&format!("{}\n{table}", walked.set.person));
    }
}

/// What to mind before any of these machines runs, each caution once.
fn say_cautions(devices: &[NamedDevice]) {
    let mut said: Vec<&str> = Vec::new();
    for caution in devices.iter().filter(|named| named.device.cuts()).flat_map(|named| cautions(&named.device)) {
        if !said.contains(&caution) {
            said.push(caution);
            say::line(caution);
        }
    }
}

/// The devices of those names, each once.
fn devices(names: &[String]) -> Result<Vec<NamedDevice>> {
    let mut devices: Vec<NamedDevice> = Vec::new();
    for name in names {
        let (device, findings) = disk::device(name)?;
        say::findings(&findings);
        say::findings(&stale(&device.device, &record::today()));
        if devices.iter().any(|other| other.name == device.name) {
            return Err(Finding::error(format!("two devices are called \"{}\"", device.name))
                .hint("name each device once")
                .into());
        }
        devices.push(device);
    }
    Ok(devices)
}

/// The search for lays on paper and card, so many times the usual.
fn budget(effort: u64) -> Budget {
    Budget { evaluations: lay::QUICK.evaluations.saturating_mul(effort.max(1)), ..lay::QUICK }
}

/// The font that the user names.
fn font(file: Option<&Path>) -> Result<Option<Arc<Font>>> {
    let Some(file) = file else { return Ok(None) };
    let font = Font::read(disk::read_bytes(file)?, &file.display().to_string())?;
    Ok(Some(Arc::new(font)))
}

/// The name of the proof sheet in a person's folder.
const PROOF_SHEET: &str = "proof-sheet.html";

/// The folder of what is nested.
const NESTED: &str = "nested";

/// The name of the making sheet in a person's folder.
const MAKING_SHEET: &str = "making-sheet.html";

/// What lies beside the devices' files.
fn stage_reports(staged: &disk::Staged, list: &str, made: &Made) -> Result<()> {
    let cut_lines: Vec<_> = made.cut.iter().map(|piece| piece.cut_line.clone()).collect();
    let pieces = json::write_with_cut_lines(&made.walked.set, &cut_lines);
    staged.add(&format!("{}.pieces.json", disk::file_word(&made.walked.set.style)), pieces.as_bytes())?;
    staged.add(PROOF_SHEET, made.proof_sheet.as_bytes())?;
    staged.add(MAKING_SHEET, made.making_sheet.as_bytes())?;
    // Last, so that it never vouches for what is not there.
    staged.add(manifest::NAME, list.as_bytes())
}

fn held(made: &Made, anyway: bool) -> bool {
    !anyway && made.findings.iter().any(|finding| finding.severity >= Severity::Breach)
}

fn say_failed(failed: &[(String, Proof)]) {
    for (file, proof) in failed {
        say::findings(&[Finding::error(format!("this file failed its proof: {}", proof.reasons.join("; ")))
            .in_file(file)
            .hint("nothing of it was written, and nothing overrides a failed proof; please report it")]);
    }
}

/// `oaktag draft`.
pub fn draft(args: &DraftArgs) -> Outcome {
    if args.watch { watch::watch(args, draft_once) } else { draft_once(args) }
}

fn draft_once(args: &DraftArgs) -> Outcome {
    let mut end = End::Done;
    let mut told = say::Told::default();
    for Person { walked, .. } in people::load(&args.from)? {
        let Some(walked) = drafted(walked, &mut end) else { continue };
        say_fitting(&walked);
        told.findings(&walked.set.person, &walked.findings);
        if !args.from.anyway && walked.findings.iter().any(|finding| finding.severity >= Severity::Breach) {
            told.line(format!("{}: held back. --anyway goes on all the same.", walked.set.person));
            end = end.max(End::Held);
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
                told.line(format!("drafted: {}", folder.join(PROOF_SHEET).display()));
            }
        }
    }
    Ok(end)
}

/// `oaktag walk`.
pub fn walk(args: &WalkArgs) -> Outcome {
    let mut end = End::Done;
    let mut told = say::Told::default();
    for Person { name, walked } in people::load(&args.from)? {
        if args.lines {
            say::data(&json_line(&name, &walked))?;
            if walked.is_err() {
                end = End::Failed;
            }
            continue;
        }
        let Some(walked) = drafted(walked, &mut end) else { continue };
        if args.json {
            say::data(&report::walk_json(&walked.joins))?;
        } else {
            say::data(&format!("{}\n{}", walked.set.person, report::walk_text(&walked.joins, walked.set.unit)))?;
        }
        told.findings(&walked.set.person, &walked.findings);
        if !args.from.anyway && walked.findings.iter().any(|finding| finding.severity >= Severity::Breach) {
            end = end.max(End::Held);
        }
    }
    Ok(end)
}

/// What came of one person, as one line of JSON.
fn json_line(name: &str, walked: &Result<Walked>) -> String {
    let value = match walked {
        Ok(walked) => serde_json::json!({
            "person": name,
            "pieces": walked.set.pieces.len(),
            "seams": walked.joins,
            "faulty": faulty(&walked.set.pieces),
            "worn": walked.worn,
            "findings": walked.findings.iter().map(|f| format!("{}: {}", f.severity, f.message)).collect::<Vec<_>>(),
        }),
        Err(finding) => serde_json::json!({ "person": name, "refused": finding.to_string() }),
    };
    value.to_string() + "\n"
}

/// Names of pieces whose outline is open, or crosses itself.
fn faulty(pieces: &[Piece]) -> Vec<&str> {
    let open = |piece: &Piece| {
        let next = piece.edges.iter().cycle().skip(1);
        piece.edges.iter().zip(next).any(|(edge, next)| {
            let gap = path::end(&edge.path).zip(path::start(&next.path)).map(|(end, start)| end.distance(start));
            gap.is_none_or(|gap| gap > 1e-6)
        })
    };
    let crossed = |piece: &Piece| {
        let segments: Vec<_> = piece.edges.iter().flat_map(|edge| edge.path.segments()).collect();
        crossing::first_crossing(&segments).is_some()
    };
    pieces.iter().filter(|piece| open(piece) || crossed(piece)).map(|piece| piece.name.as_str()).collect()
}

/// A person's draft; where it failed, says why and goes on.
fn drafted(walked: Result<Walked>, end: &mut End) -> Option<Walked> {
    walked
        .map_err(|finding| {
            say::findings(&[*finding]);
            *end = End::Failed;
        })
        .ok()
}

/// `oaktag allow`.
pub fn allow(args: &AllowArgs) -> Outcome {
    let set = people::read_pieces(&args.pieces)?;
    let (cut, findings) = pipeline::cut_within(&set, args.tolerance)?;
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
    // Carried across the seams as `make` does, whether the pieces are those it took or those it wrote.
    let walked = |path: &PathBuf| Ok(pipeline::walk_pieces(people::read_pieces(path)?, oaktag::walk::TOLERANCE));
    let mut people = args.pieces.iter().map(walked).collect::<Result<Vec<Walked>>>()?;
    let bytes = disk::read_bytes(&args.file)?;
    let file = args.file.display().to_string();
    let font = font(args.font.as_deref())?;
    let laying = Laying { budget: budget(args.effort), font: font.as_ref(), ..Laying::default() };
    if people.len() > 1 {
        if args.quarter_scale {
            return Err(Finding::error("sizes that lie over one another are drawn at their full size")
                .hint("leave out --quarter-scale, or give the pieces of one person alone")
                .into());
        }
        in_order_of_nest(&mut people, &args.file);
    }
    let against = |quarter| -> Result<Option<(Proof, Vec<Finding>)>> {
        let (sheets, named) = match &people[..] {
            [one] => (pipeline::sheets_with(&one.set, &named.device, quarter, &laying)?, named.clone()),
            _ => pipeline::nest_sheets(&people, &named, &laying)?,
        };
        best_proof(&sheets, &bytes, &file, &named.device)
    };
    let Some((proof, findings)) = against(args.quarter_scale)? else {
        return Err(Finding::error("these pieces fill no sheet").in_file(file).into());
    };
    say::findings(&findings);
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
        // Whether it is the other scale is not guessed: it is proven.
        let other = if proof.passed || people.len() > 1 { None } else { against(!args.quarter_scale).ok().flatten() };
        if other.is_some_and(|(other, _)| other.passed) {
            say::line(if args.quarter_scale {
                "  it draws these pieces at their full size, and is true: prove it without --quarter-scale"
            } else {
                "  it draws these pieces at a quarter of their size, to pin up, and is true: prove it with --quarter-scale"
            });
        }
    }
    let listed = if proof.passed { None } else { manifest::of(&args.file) };
    if let Some(other) = listed.and_then(|proven| manifest::other_correction(&proven, &named.device)) {
        say::line(&format!("  {other}: make it again"));
    }
    if !proof.passed && people.len() > 1 {
        say::line(
            "  sizes are numbered in the order of proven.json, or else of --pieces: are these all, as they were made?",
        );
    }
    Ok(if proof.passed { End::Done } else { End::Held })
}

/// A file's proof against the sheet that it fits best: the file does not say which one it holds.
fn best_proof(sheets: &[Sheet], bytes: &[u8], file: &str, device: &Device) -> Result<Option<(Proof, Vec<Finding>)>> {
    let strays = |proof: &Proof| (!proof.passed, proof.missing + proof.extra);
    let mut best: Option<(Proof, Vec<Finding>)> = None;
    for sheet in sheets {
        let found = pipeline::prove(bytes, file, sheet, device)?;
        if best.as_ref().is_none_or(|(best, _)| strays(&found.0) < strays(best)) {
            best = Some(found);
        }
    }
    Ok(best)
}

/// Puts the sizes of a nest into the order that the list beside its file has them in. That is no part of the proof: in
/// another order it fails.
fn in_order_of_nest(people: &mut [Walked], file: &Path) {
    let sizes = manifest::of(file).map(|proven| proven.sizes).unwrap_or_default();
    people.sort_by_key(|walked| sizes.iter().position(|size| *size == walked.set.person).unwrap_or(sizes.len()));
}
