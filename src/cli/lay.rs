//! `oaktag lay`: cloth to buy, and the lays drawn.

use super::args::LayArgs;
use super::{End, Outcome, disk, on_ctrl_c, people, say};
use oaktag::cloth::{self, Cloth, Way};
use oaktag::diag::{Finding, Result, Severity};
use oaktag::lay::keep::{self, Kept};
use oaktag::lay::search::{Budget, Progress};
use oaktag::lay::strips;
use oaktag::piece::PieceSet;
use oaktag::pipeline::{self, LaidCloth, NamedDevice};
use oaktag::report::{self, ClothLine};
use oaktag::units::{Unit, trimmed};
use std::io::IsTerminal;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Threads of the search: as many on every machine, so that the same lay comes of it.
const THREADS: usize = 2;

/// Scale of the drawings of lays.
const DRAWN: f64 = 10.0;

/// Everything that one run lays with.
struct Job<'a> {
    args: &'a LayArgs,
    sets: Vec<&'a PieceSet>,
    kept: Vec<Kept>,
    devices: Vec<NamedDevice>,
    budget: Budget,
    /// Whether the user asked to stop: the best lay so far is then kept.
    stop: Arc<AtomicBool>,
}

/// Runs the command.
pub fn lay(args: &LayArgs) -> Outcome {
    check(args)?;
    let mut end = End::Done;
    let mut walked = Vec::new();
    let mut told = say::Told::default();
    for person in people::load(&args.from)? {
        let one = person.walked?;
        told.findings(&person.name, &one.findings);
        if !args.from.anyway && one.findings.iter().any(|finding| finding.severity >= Severity::Breach) {
            end = End::Held;
        }
        walked.push(one);
    }
    drop(told);
    if end == End::Held {
        say::line("held back: put these right, or say --anyway");
        return Ok(end);
    }
    let mut kept = Vec::new();
    for path in &args.keep {
        kept.extend(keep::read(&disk::read_text(path)?, &path.display().to_string())?);
    }
    let mut devices = Vec::new();
    for name in &args.device {
        let (device, findings) = disk::device(name)?;
        say::findings(&findings);
        devices.push(device);
    }
    let stop = on_ctrl_c();
    let trials = args.search.trials.saturating_mul(args.search.effort);
    let budget = Budget {
        evaluations: trials,
        seconds: args.search.seconds,
        threads: THREADS,
        seed: args.search.seed,
        enough: 0.0,
    };
    let sets = walked.iter().map(|walked| &walked.set).collect();
    let job = Job { args, sets, kept, devices, budget, stop };
    let mut lines: Vec<ClothLine> = Vec::new();
    let mut words: Vec<String> = Vec::new();
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    for cloth in cloths(args, &job.sets)? {
        match job.lay(&cloth, 1.0, 0.0) {
            Ok(laid) => {
                say::findings(&laid.findings);
                if !args.from.anyway && laid.findings.iter().any(|finding| finding.severity >= Severity::Breach) {
                    end = End::Held;
                }
                lines.push(ClothLine::new(&laid.lay, &cloth));
                words.extend(job.in_words(&laid, &cloth)?);
                job.draw(&laid, &cloth, &mut files)?;
            }
            // Of a table of widths some may be too narrow.
            Err(finding) if args.cloth.is_empty() && finding.message.contains("wide across") => {
                let line = ClothLine::too_narrow(&cloth, &finding);
                // What was brought does not do either.
                if cloth.length > 0.0 {
                    end = if args.from.anyway { end } else { End::Held };
                    words.push(too_narrow(&cloth, &line));
                }
                lines.push(line);
            }
            Err(finding) => return Err(finding),
        }
    }
    if let Some(out) = &args.out {
        let files: Vec<(String, &[u8])> = files.iter().map(|(name, bytes)| (name.clone(), &**bytes)).collect();
        disk::write_all(out, &files)?;
    }
    if args.json {
        let answers = serde_json::json!({ "cloths": lines, "answers": words });
        say::data(&(serde_json::to_string_pretty(&answers).unwrap_or_default() + "\n"))?;
    } else {
        let words: String = words.iter().flat_map(|line| [line, "\n"]).collect();
        say::data(&(report::cloth_text(&lines) + &words))?;
    }
    Ok(end)
}

fn check(args: &LayArgs) -> Result<()> {
    if args.search.seconds.is_some_and(|seconds| !(seconds > 0.0 && seconds <= 86_400.0))
        || args.search.trials.min(args.search.effort) == 0
    {
        let finding = Finding::error("the search has no time");
        return Err(finding.hint("--seconds is between 0 and a day, --trials and --effort 1 or more").into());
    }
    if !(args.scale >= 1.0 && args.scale <= 1000.0) {
        return Err(Finding::error("--scale is 1 for true size, or up to 1000 for a drawing").into());
    }
    if !args.device.is_empty() && args.out.is_none() {
        return Err(Finding::error("where do the device's files go?").hint("add -o DIR").into());
    }
    Ok(())
}

/// Says that what was brought is too narrow.
fn too_narrow(cloth: &Cloth, line: &ClothLine) -> String {
    let has = cloth::brought_text(cloth.length, cloth.unit);
    format!("{}, {} wide: {has} does not do: {}", cloth.name, line.width, line.buy)
}

/// How many times its seam a ruffle may be long, to a twentieth below, but never below the plan where that does.
fn rounded_down(planned: f64, fuller: f64) -> f64 {
    let found = (planned * fuller * 20.0 + 1e-6).floor() / 20.0;
    if fuller >= 1.0 { found.max(planned) } else { found }
}

impl Job<'_> {
    /// Lays everything, `fuller` times as full as planned, until the lay is as short as `enough`, mm.
    fn lay(&self, cloth: &Cloth, fuller: f64, enough: f64) -> Result<LaidCloth> {
        let mut best = f64::INFINITY;
        let live = std::io::stderr().is_terminal();
        let mut progress = |report: Progress| {
            if report.length < best - 0.05 && (live || self.args.search.progress) {
                best = report.length;
                say::line(&format!(
                    "{}, {}: {}, {:.1} % covered, {:.0} % of the search",
                    cloth.name,
                    oaktag::units::format_length(cloth.width, cloth.unit),
                    cloth::bought_text(report.length, cloth.unit),
                    100.0 * report.density,
                    100.0 * report.part
                ));
            }
            !self.stop.load(Ordering::Relaxed)
        };
        pipeline::lay_on_cloth(&self.sets, cloth, &self.kept, fuller, &Budget { enough, ..self.budget }, &mut progress)
    }

    /// What a client asks besides: how strips are cut, whether what was brought does, how full a ruffle can be.
    fn in_words(&self, laid: &LaidCloth, cloth: &Cloth) -> Result<Vec<String>> {
        let unit = cloth.unit;
        let say = |mm: f64| oaktag::units::format_length(mm, unit);
        let title = format!("{}, {} wide", cloth.name, say(cloth.width));
        let mut words = Vec::new();
        for strip in &laid.strips {
            let at: Vec<String> = strip.joins.iter().map(|at| say(*at)).collect();
            let lengths: Vec<String> = strip.lengths.iter().map(|long| say(*long)).collect();
            let joined =
                if at.is_empty() { "without a join".to_owned() } else { format!("joined at {}", at.join(", ")) };
            words.push(format!("{title}: \"{}\" is cut in {}, {joined}", strip.name, lengths.join(" + ")));
        }
        if cloth.length <= 0.0 {
            return Ok(words);
        }
        let has = cloth::brought_text(cloth.length, unit);
        let needs = cloth::bought_text(laid.lay.length, unit);
        let does = laid.lay.length <= cloth.length;
        if does {
            words.push(format!("{title}: {has} does: the pieces take {}", say(laid.lay.length)));
        } else {
            let short = say(laid.lay.length - cloth.length);
            words.push(format!("{title}: {has} does not do: {needs} is needed, {short} more"));
        }
        let gathered: Vec<_> = self
            .sets
            .iter()
            .flat_map(|set| strips::strips(set))
            .filter(|strip| strip.times > 1.0 && strip.cloth == cloth.cut_as)
            .collect();
        if let Some(most) = gathered.iter().map(|strip| strip.times).reduce(f64::max) {
            let fullest = self.fullest(cloth, most, does)?;
            let names: Vec<String> = gathered
                .iter()
                .map(|strip| match fullest {
                    Some(fuller) => format!(
                        "\"{}\" can be {} times as long as its seam (planned {})",
                        strip.name,
                        trimmed(rounded_down(strip.times, fuller), 2),
                        trimmed(strip.times, 2)
                    ),
                    None => format!("\"{}\" does not fit, even without gathers", strip.name),
                })
                .collect();
            words.push(format!("{title}, {has}: {}", names.join("; ")));
        }
        Ok(words)
    }

    /// How many times as full as planned the ruffles can be cut from the length that there is; `None` where they don't fit
    /// even without gathers. `most` is the fullest ruffle's; `does` says whether the lay as planned fits.
    ///
    /// A lay is found by searching, and a shorter ruffle may be joined elsewhere: one that is less full does not always lie
    /// on less cloth. So several are tried from the fullest down, and what is known to fit is never gone below.
    fn fullest(&self, cloth: &Cloth, most: f64, does: bool) -> Result<Option<f64>> {
        /// Nobody gathers more than this (up to 4 is common practice, no source).
        const FULL: f64 = 6.0;
        /// How finely fullness is found.
        const STEP: f64 = 0.02;
        /// How many are tried before it is found more finely.
        const TRIALS: u32 = 6;
        let fits =
            |fuller: f64| -> Result<bool> { Ok(self.lay(cloth, fuller, cloth.length)?.lay.length <= cloth.length) };
        let (least, fullest) = if does { (1.0, (FULL / most).max(1.0)) } else { (1.0 / most, 1.0) };
        let at = |trial: u32| fullest - (fullest - least) * f64::from(trial) / f64::from(TRIALS);
        let mut low = does.then_some(1.0);
        // The plan itself is known already: it is the last trial where it does, the first where it does not.
        let mut high = fullest;
        for trial in if does { 0..TRIALS } else { 1..TRIALS + 1 } {
            if fits(at(trial))? {
                low = Some(at(trial));
                break;
            }
            high = at(trial);
        }
        let Some(mut low) = low else { return Ok(None) };
        while (high - low) * most > STEP {
            let middle = f64::midpoint(low, high);
            if fits(middle)? { low = middle } else { high = middle }
        }
        Ok(Some(low))
    }

    /// The lay's own files: a drawing, the places of its pieces, and the devices' files.
    fn draw(&self, laid: &LaidCloth, cloth: &Cloth, files: &mut Vec<(String, Vec<u8>)>) -> Result<()> {
        if self.args.out.is_none() {
            return Ok(());
        }
        let width = oaktag::units::format_length(cloth.width, cloth.unit);
        let name = disk::file_word(&format!("lay {} {width}", cloth.name));
        files.push((format!("{name}.svg"), report::cloth_svg(&laid.lay, cloth, DRAWN).into_bytes()));
        files.push((format!("{name}.lay.kdl"), keep::write(&laid.lay, cloth).into_bytes()));
        for device in &self.devices {
            let (file, proof, findings) = pipeline::lay_file(laid, cloth, device, self.args.scale)?;
            say::findings(&findings);
            let Some(file) = file else {
                let message = format!("the lay's file failed its proof: {}", proof.reasons.join("; "));
                return Err(Finding::error(message).hint("nothing was written; please report it").into());
            };
            files.push((format!("{name}.{}", file.line().file), file.bytes().to_vec()));
        }
        Ok(())
    }
}

/// The cloths of the files, or plain ones of all widths for every cloth that is cut from.
fn cloths(args: &LayArgs, sets: &[&PieceSet]) -> Result<Vec<Cloth>> {
    let mut cloths = Vec::new();
    for path in &args.cloth {
        cloths.push(cloth::read(&disk::read_text(path)?, &path.display().to_string())?);
    }
    if cloths.is_empty() {
        let mut names: Vec<&str> = Vec::new();
        for piece in sets.iter().flat_map(|set| &set.pieces) {
            if !names.contains(&&*piece.cut.cloth) {
                names.push(&piece.cut.cloth);
            }
        }
        let unit = sets.first().map_or(Unit::Inch, |set| set.unit);
        for name in names {
            for width in widths(args, unit)? {
                let way = if args.nap { Way::One } else { Way::Either };
                cloths.push(Cloth { folded: args.folded, way, ..Cloth::plain(name, width, unit) });
            }
        }
    }
    for cloth in &mut cloths {
        if let Some(way) = &args.strips {
            cloth.strips = cloth::strip_way(way)
                .ok_or_else(|| Box::new(Finding::error("--strips is \"along\", \"across\" or \"drafted\"")))?;
        }
        if let Some(have) = &args.have {
            cloth.length = cloth::asked_for(have, cloth.unit)?;
        }
    }
    Ok(cloths)
}

/// The widths asked for, or those that shops sell, mm.
fn widths(args: &LayArgs, unit: Unit) -> Result<Vec<f64>> {
    if args.width.is_empty() {
        return Ok(cloth::shop_widths(unit));
    }
    let read = |text: &String| {
        oaktag::units::parse_length(text, unit).map_err(|_| {
            Box::new(Finding::error(format!("--width \"{text}\" is no width of cloth")).hint("write --width \"54 in\""))
        })
    };
    args.width.iter().map(read).collect()
}
