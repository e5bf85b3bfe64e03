//! `oaktag send`: a proven file to a machine.

use super::{End, Outcome, disk, manifest, say};
use clap::Args;
use oaktag::device::{self, Device, Link};
use oaktag::diag::{Finding, Result};
use oaktag::link::{self, Command, Cut, Ending, Journal, Progress, Proven, Sent, State};
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

/// Arguments of `send`.
#[derive(Debug, Args)]
#[allow(clippy::struct_excessive_bools)] // flags of a command line are bools
pub struct SendArgs {
    /// The file that was made for the machine
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The machine: a profile's file or its short name
    #[arg(value_name = "DEVICE")]
    device: String,
    /// Which of the profile's links: serial, tcp, queue or folder. Default: the first
    #[arg(long, value_name = "KIND")]
    to: Option<String>,
    /// Say what would be sent where, and send nothing
    #[arg(long)]
    dry_run: bool,
    /// Don't ask before anything that cuts, nor where to go on
    #[arg(short, long)]
    yes: bool,
    /// Go on with a job that was broken off, from the piece that was under way
    #[arg(long, conflicts_with = "again")]
    resume: bool,
    /// With --resume: go on from this piece, the first that is not wholly drawn
    #[arg(long, value_name = "PIECE", requires = "resume")]
    from: Option<String>,
    /// Send a whole job again that was sent already, in part or wholly
    #[arg(long)]
    again: bool,
    /// Send a file that was not proven here, or was changed since
    #[arg(long)]
    unproven: bool,
    /// Give a machine up that takes nothing for so many seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 600)]
    patience: u64,
}

/// `oaktag send`.
pub fn send(args: &SendArgs) -> Outcome {
    let (named, findings) = disk::device(&args.device)?;
    say::findings(&findings);
    let device = &named.device;
    let link = choose(device, args.to.as_deref())?;
    let bytes = disk::read_bytes(&args.file)?;
    let proven = proven(args, device, &bytes)?;
    let parts = Parts::new(proven, link::cut(&bytes, device.language));
    let journal_path = beside(&args.file);
    let before = journal(&journal_path).filter(|journal| journal.digest == link::digest(&bytes));
    let start = start(args, before.as_ref(), &parts)?;
    let job = match (start, &parts.cut) {
        (0, _) | (_, None) => bytes.clone(),
        (stroke, Some(cut)) => cut.from_stroke(&bytes, stroke),
    };
    describe(args, link, &job, &parts, start);
    if args.dry_run {
        say::line("nothing was sent, as asked");
        return Ok(End::Done);
    }
    if device.cuts() {
        device::cautions(device).into_iter().for_each(say::line);
    }
    let doubtful = device.cuts() || start > 0;
    if doubtful && !args.yes && !agreed()? {
        say::line("nothing was sent");
        return Ok(End::Held);
    }
    let mut journal =
        Journal { digest: link::digest(&bytes), to: name(link), state: State::Sending, handed: 0, stroke: start };
    match link {
        Link::Queue { name } => {
            write_journal(&journal_path, &journal)?;
            let said = link::to_queue(name, &file_name(&args.file), &job, device.language)?;
            say::line(&format!("the print queue has it: {said}"));
        }
        Link::Folder { path } => {
            let placed = link::to_folder(Path::new(path), &file_name(&args.file), &job, args.again || start > 0)?;
            say::line(&format!("it lies in {}", placed.display()));
        }
        Link::Serial { .. } | Link::Tcp { .. } => {
            return onto_the_line(args, link, &job, &parts, start, (&journal_path, &mut journal));
        }
    }
    journal.state = State::Done;
    journal.handed = job.len();
    write_journal(&journal_path, &journal)?;
    Ok(End::Done)
}

/// What a file is made of, as far as it is known.
struct Parts {
    proven: Option<Proven>,
    cut: Option<Cut>,
}

impl Parts {
    /// The pieces' names count only where the file has as many strokes as were proven.
    fn new(proven: Option<Proven>, cut: Option<Cut>) -> Self {
        let strokes = cut.as_ref().map_or(0, |cut| cut.strokes.len());
        let agree = |proven: &Proven| proven.first_stroke(proven.parts.len()) == strokes;
        Self { proven: proven.filter(agree), cut: cut.filter(|cut| !cut.strokes.is_empty()) }
    }

    /// The stroke that the piece starts with to which this one belongs.
    fn piece_start(&self, stroke: usize) -> Option<usize> {
        self.cut.as_ref()?;
        let proven = self.proven.as_ref()?;
        Some(proven.first_stroke(proven.part_of(stroke)))
    }

    /// Whether a stroke lies behind the last one.
    fn all_went_out(&self, stroke: usize) -> bool {
        self.cut.as_ref().is_some_and(|cut| stroke >= cut.strokes.len())
    }

    /// The first stroke of a piece of that name, with the tool that comes first.
    fn named(&self, piece: &str) -> Result<usize> {
        let proven =
            self.proven.as_ref().ok_or_else(|| Box::new(Finding::error("this file's pieces are not known")))?;
        let at = proven.parts.iter().position(|part| title(&part.piece) == piece);
        at.map(|part| proven.first_stroke(part)).ok_or_else(|| {
            let names: Vec<&str> = proven.parts.iter().map(|part| title(&part.piece)).collect();
            oaktag::source::with_known(Finding::error(format!("there is no piece \"{piece}\" in it")), piece, &names)
                .into()
        })
    }

    /// Part by part what it is and with which tool.
    fn labels(&self) -> Vec<String> {
        let parts = self.proven.iter().flat_map(|proven| &proven.parts);
        parts.map(|part| format!("{} ({})", title(&part.piece), part.tool)).collect()
    }
}

/// What belongs to no piece is the sheet's own: check square, stamp.
fn title(piece: &str) -> &str {
    if piece.is_empty() { "check square" } else { piece }
}

/// The link by which it goes: only one that the profile names.
fn choose<'a>(device: &'a Device, wanted: Option<&str>) -> Result<&'a Link> {
    let kind = |link: &Link| match link {
        Link::Serial { .. } => "serial",
        Link::Tcp { .. } => "tcp",
        Link::Queue { .. } => "queue",
        Link::Folder { .. } => "folder",
    };
    if device.links.is_empty() {
        let finding = Finding::error(format!("the profile of \"{}\" names no address to send to", device.name));
        return Err(finding.hint("add a link to it, such as: link \"tcp\" host=\"192.168.1.20\"").into());
    }
    match wanted {
        None => Ok(&device.links[0]),
        Some(wanted) => device.links.iter().find(|link| kind(link) == wanted).ok_or_else(|| {
            let known: Vec<&str> = device.links.iter().map(kind).collect();
            let finding = Finding::error(format!("the profile names no link \"{wanted}\""));
            oaktag::source::with_known(finding, wanted, &known).into()
        }),
    }
}

fn name(link: &Link) -> String {
    match link {
        Link::Serial { port, baud, .. } => format!("serial port {port} at {baud} baud"),
        Link::Tcp { host, port } => format!("{host}, port {port}"),
        Link::Queue { name } => format!("print queue {name}"),
        Link::Folder { path } => format!("folder {path}"),
    }
}

/// What is known of the file's proof. A file that has none is refused, unless it is said to be wanted.
fn proven(args: &SendArgs, device: &Device, bytes: &[u8]) -> Result<Option<Proven>> {
    let folder = args.file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let file = file_name(&args.file);
    let refuse = |message: String, hint: &str| {
        let finding = Finding::error(message).in_file(args.file.display().to_string());
        if args.unproven {
            say::findings(&[Finding { severity: oaktag::diag::Severity::Warning, ..finding }]);
            return Ok(());
        }
        Err(Box::new(finding.hint(format!("{hint}; or send it all the same with --unproven"))))
    };
    let Some(proven) = manifest::read(folder).into_iter().find(|proven| proven.file == file) else {
        refuse("this file was not proven here: nobody knows that it is true to size".into(), "make it with oaktag")?;
        return Ok(None);
    };
    if !proven.is(bytes) {
        refuse("this file was changed since it was proven".into(), "make it again")?;
        return Ok(None);
    }
    if proven.device != device.name {
        refuse(
            format!("this file was made for \"{}\", not for \"{}\"", proven.device, device.name),
            "make it for this one",
        )?;
    }
    if let Some(other) = manifest::other_correction(&proven, device) {
        refuse(other, "make it again")?;
    }
    Ok(Some(proven))
}

/// The stroke to begin with: 0, or where a job that was broken off is taken up again.
fn start(args: &SendArgs, before: Option<&Journal>, parts: &Parts) -> Result<usize> {
    let broken = before.filter(|journal| journal.state != State::Done);
    if args.resume {
        let Some(journal) = broken else {
            return Err(Finding::error("nothing of this file was broken off").hint("send it without --resume").into());
        };
        if let Some(piece) = &args.from {
            return parts.named(piece);
        }
        if parts.all_went_out(journal.stroke) {
            let finding = Finding::error("every stroke of this file went out before the line was lost");
            return Err(finding
                .hint("see that the tool is up; what is missing on the sheet is sent with --resume --from PIECE, or all of it with --again")
                .into());
        }
        return parts.piece_start(journal.stroke).ok_or_else(|| {
            let finding = Finding::error("this file can't be taken up again in the middle");
            finding.hint("its language, or a file that was not proven here, has no places for that; see what came out, and send it whole with --again").into()
        });
    }
    match before {
        Some(journal) if !args.again => {
            let (what, hint) = match journal.state {
                State::Done => ("this file was sent already, all of it", "send it once more with --again"),
                _ => (
                    "a part of this file was sent already",
                    "look at the machine: go on with --resume, or put in a new sheet and send all of it with --again",
                ),
            };
            Err(Finding::error(format!("{what}, to {}", journal.to)).hint(hint).into())
        }
        _ => Ok(0),
    }
}

fn describe(args: &SendArgs, link: &Link, job: &[u8], parts: &Parts, start: usize) {
    say::line(&format!("{}: {} bytes to {}", args.file.display(), job.len(), name(link)));
    let labels = parts.labels();
    if labels.is_empty() {
        return;
    }
    if start == 0 {
        say::line(&format!("in this order: {}", labels.join(", ")));
        return;
    }
    let part = parts.proven.as_ref().map_or(0, |proven| proven.part_of(start));
    say::line(&format!("taken up again with: {}", labels[part.min(labels.len() - 1)..].join(", ")));
    say::line(
        "first clear the machine's memory as its manual says (mostly: off and on), so that no half command is left in it,",
    );
    say::line(
        "and leave sheet and zero where they are. Look at the sheet: is everything before that drawn, and nothing of it begun?",
    );
    say::line("If not, stop here and give the first piece that is not wholly drawn: --from PIECE");
}

/// Asks on the terminal; without one nobody can be asked.
fn agreed() -> Result<bool> {
    if !std::io::stdin().is_terminal() {
        let finding = Finding::error("nobody can be asked here whether all is ready");
        return Err(finding.hint("read the lines above; then send it with --yes").into());
    }
    let _ = write!(std::io::stderr(), "Is all ready? (yes or no) ");
    let mut answer = String::new();
    let _ = std::io::stdin().lock().read_line(&mut answer);
    Ok(answer.trim().eq_ignore_ascii_case("yes"))
}

/// What the user said last: by Ctrl+C, or by a letter and Enter on the terminal.
fn controls() -> Arc<AtomicUsize> {
    let said = Arc::new(AtomicUsize::new(0));
    let stop = Arc::clone(&said);
    // Where it is caught already, the first catcher sees to it.
    let _ = signal_hook::flag::register_usize(signal_hook::consts::SIGINT, stop, 2);
    if std::io::stdin().is_terminal() {
        say::line("p and Enter pauses with the tool up, and goes on; s and Enter or Ctrl+C stops and parks the tool");
        let typed = Arc::clone(&said);
        std::thread::spawn(move || {
            for line in std::io::stdin().lock().lines().map_while(std::result::Result::ok) {
                match line.trim() {
                    "p" => {
                        // Pause and go on take turns; a stop stays.
                        let _ =
                            typed.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |now| (now < 2).then_some(1 - now));
                    }
                    "s" => typed.store(2, Ordering::SeqCst),
                    _ => {}
                }
            }
        });
    }
    said
}

fn onto_the_line(
    args: &SendArgs,
    link: &Link,
    job: &[u8],
    parts: &Parts,
    start: usize,
    (path, journal): (&Path, &mut Journal),
) -> Outcome {
    let unreachable = |e: &std::io::Error| {
        Finding::error(format!("{} can't be reached: {e}; nothing was sent", name(link)))
            .hint("see whether the machine is on, and the profile's link is right")
    };
    let mut wire = link::open(link)
        .map_err(|e| unreachable(&e))?
        .ok_or_else(|| unreachable(&std::io::ErrorKind::Unsupported.into()))?;
    // Places are those of what is sent, which is not the file where a job is taken up again.
    let sent_cut = parts.cut.as_ref().and_then(|_| link::cut(job, device_language(&args.device)?));
    let whole = [job.len()];
    let (ends, lifted, park): (&[usize], Vec<usize>, &[u8]) = match &sent_cut {
        Some(cut) => (&cut.ends, cut.strokes.iter().map(|stroke| stroke.range.end).collect(), cut.park.as_bytes()),
        None => (&whole, Vec::new(), b""),
    };
    // A language that has no instructions may be stopped anywhere.
    let anywhere: Vec<usize> = (512..job.len()).step_by(512).chain([job.len()]).collect();
    let ends = if sent_cut.is_some() { ends } else { &anywhere };
    let said = controls();
    let bar = std::io::stderr().is_terminal();
    let labels = parts.labels();
    let stroke_at = |handed: usize| start + sent_cut.as_ref().map_or(0, |cut| cut.stroke_at(handed));
    let part_at = |stroke: usize| parts.proven.as_ref().map_or(0, |proven| proven.part_of(stroke));
    write_journal(path, journal)?;
    let mut noted = part_at(start);
    let mut unwritten = false;
    let mut tell = |progress: Progress| {
        let stroke = stroke_at(progress.handed);
        let part = part_at(stroke);
        if part != noted {
            // Before the next piece begins.
            noted = part;
            journal.stroke = stroke;
            journal.handed = progress.handed;
            unwritten |= write_journal(path, journal).is_err();
        }
        if bar {
            show(progress, labels.get(part).map_or("", String::as_str));
        }
        match said.load(Ordering::SeqCst) {
            // What can't be written down can't be taken up again: better stop in good order.
            _ if unwritten => Command::Stop,
            0 => Command::Go,
            1 => Command::Pause,
            _ => Command::Stop,
        }
    };
    let patience = Duration::from_secs(args.patience);
    let sent = link::stream(wire.as_mut(), job, ends, &lifted, park, patience, &mut tell);
    if bar {
        say::line("");
    }
    let gone = sent.handed.saturating_sub(sent.waiting);
    journal.state = match sent.ending {
        Ending::Done { .. } => State::Done,
        Ending::Stopped { .. } => State::Stopped,
        Ending::Lost(_) => State::Lost,
    };
    journal.handed = sent.handed;
    // What is still in this computer has not been drawn.
    journal.stroke = stroke_at(gone);
    write_journal(path, journal)?;
    report(args, &sent, gone, job.len(), &labels, part_at(start), part_at(journal.stroke), sent_cut.is_some())
}

fn device_language(name: &str) -> Option<device::Language> {
    disk::device(name).ok().map(|(named, _)| named.device.language)
}

#[allow(clippy::too_many_arguments)] // what a report is made of, once
fn report(
    args: &SendArgs,
    sent: &Sent,
    gone: usize,
    total: usize,
    labels: &[String],
    first: usize,
    part: usize,
    resumable: bool,
) -> Outcome {
    let file = args.file.display();
    if let Ending::Done { receipt } = sent.ending {
        let words = if receipt {
            "the machine took all of it"
        } else {
            "all of it was handed over; the machine gives no receipt"
        };
        say::line(&format!("{file}: {total} bytes: {words}"));
        return Ok(End::Done);
    }
    let part = part.min(labels.len());
    let list = |labels: &[String]| if labels.is_empty() { "nothing".into() } else { labels.join(", ") };
    say::line(&format!("{file}: {gone} of {total} bytes went out"));
    if !labels.is_empty() {
        say::line(&format!("sent wholly: {}", list(&labels[first.min(part)..part])));
        if part < labels.len() {
            say::line(&format!("sent in part or not at all: {}", list(&labels[part..])));
        }
    }
    say::line(
        "the machine may not have had the last of it, or may still draw what is in its memory: look at the sheet",
    );
    let hint = if resumable && !labels.is_empty() {
        "to go on from the piece that was under way: the same command with --resume; from another: --resume --from PIECE; all of it on a new sheet: --again"
    } else {
        "it can't be taken up again in the middle: see what came out, and send it whole with --again"
    };
    match &sent.ending {
        Ending::Lost(error) => {
            Err(Finding::error(format!("the line was lost: {error}")).in_file(file.to_string()).hint(hint).into())
        }
        Ending::Stopped { parked } => {
            say::line(match (resumable, parked) {
                (true, true) => "stopped, and told to lift and park the tool; its own switch stops it at once",
                (true, false) => "stopped, but the machine took no command to park: use its own stop switch",
                (false, _) => "stopped; use the machine's own switch to let go of what it has",
            });
            say::line(hint);
            Ok(End::Held)
        }
        Ending::Done { .. } => Ok(End::Done),
    }
}

/// A bar on the terminal.
fn show(progress: Progress, part: &str) {
    const WIDE: usize = 30;
    let share = progress.handed as f64 / progress.total.max(1) as f64;
    let full = (share * WIDE as f64) as usize;
    let state = match (progress.paused, progress.stalled) {
        (true, _) => "paused, tool up",
        (false, true) => "the machine says wait",
        (false, false) => part,
    };
    let state = say::harmless(state);
    let bar = format!("\r[{}{}] {:3.0} % {state:40}", "#".repeat(full), ".".repeat(WIDE - full), share * 100.0);
    let _ = std::io::stderr().write_all(bar.as_bytes());
}

fn file_name(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// The journal beside a file.
fn beside(file: &Path) -> PathBuf {
    file.with_file_name(format!("{}.sent.json", file_name(file)))
}

fn journal(path: &Path) -> Option<Journal> {
    if !path.is_file() {
        return None;
    }
    serde_json::from_str(&disk::read_text(path).ok()?).ok()
}

fn write_journal(path: &Path, journal: &Journal) -> Result<()> {
    let text = serde_json::to_string_pretty(journal).unwrap_or_default() + "\n";
    disk::write_one(path, text.as_bytes())
}
