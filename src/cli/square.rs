//! `oaktag square`: a test square to draw, and what its readings say.

use super::record::{date_or_today, not_newest, record};
use super::{End, Outcome, disk, manifest, say};
use clap::Args;
use oaktag::calibrate::{self, Nominal, Readings, Size, Solution};
use oaktag::device::{Correction, Device, Medium, Reading};
use oaktag::diag::{Finding, Result};
use oaktag::pipeline::{self, NamedDevice, SquareRequest};
use oaktag::units::{Unit, parse_length, trimmed};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// Arguments of `square`.
#[derive(Debug, Args)]
#[allow(clippy::struct_excessive_bools)] // flags of a command line are bools
pub struct SquareArgs {
    /// The machine: a profile's file or its short name
    #[arg(value_name = "DEVICE")]
    device: String,
    /// What it is drawn on; the profile's first medium where none is named
    #[arg(long, value_name = "NAME")]
    medium: Option<String>,
    /// A square of at most 100 mm, for a card
    #[arg(long)]
    small: bool,
    /// Draw it through the correction, or compare readings of such a square with what was wanted
    #[arg(long)]
    verify: bool,
    /// The folder to write the square into
    #[arg(short, long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// How long the ladder along a roll may be. Default: 3 m, or as long as the roll's plots
    #[arg(long, value_name = "LENGTH")]
    run: Option<String>,
    /// The width as measured, as in 599.5, "23 5/8 in"; give it again for each side
    #[arg(long, value_name = "LENGTH")]
    width: Vec<String>,
    /// The height as measured; give it again for each side
    #[arg(long, value_name = "LENGTH")]
    height: Vec<String>,
    /// The diagonal from the lower left corner to the upper right
    #[arg(long, value_name = "LENGTH")]
    diagonal: Vec<String>,
    /// The diagonal from the upper left corner to the lower right
    #[arg(long = "diagonal-2", value_name = "LENGTH")]
    diagonal_2: Vec<String>,
    /// The ladder: from the corner marked 0 to each rung, in order, with commas between
    #[arg(long, value_name = "LENGTHS", value_delimiter = ',')]
    ladder: Vec<String>,
    /// One mark of the tape. Default: as fine as the readings are
    #[arg(long, value_name = "LENGTH")]
    read_to: Option<String>,
    /// With --verify: the largest error that is taken for true
    #[arg(long, value_name = "LENGTH", default_value = "1 mm")]
    tolerance: String,
    /// The day of the measuring, as in 2026-10-02. Default: today by this computer's clock; it stands in the profile and
    /// in the stamp of every file
    #[arg(long, value_name = "DATE")]
    date: Option<String>,
    /// Say what the readings mean, and record nothing
    #[arg(long)]
    try_only: bool,
    /// Record in spite of questions
    #[arg(long)]
    anyway: bool,
    /// Print what was found as JSON
    #[arg(long)]
    json: bool,
    /// Many squares' readings, one JSON object a line, `{"width": [599.5], …}` in mm; one line of JSON comes out for
    /// each, and nothing is recorded
    #[arg(long, value_name = "FILE")]
    readings: Option<PathBuf>,
}

impl SquareArgs {
    fn request(&self) -> Result<SquareRequest<'_>> {
        let ladder = self.run.as_deref().map(|run| length(run, Unit::Millimetre)).transpose()?;
        let size = if self.small { Size::Small } else { Size::Largest };
        let ladder = ladder.map(|(mm, _)| mm);
        Ok(SquareRequest { medium: self.medium.as_deref(), size, ladder, verify: self.verify })
    }
}

/// `oaktag square`.
pub fn square(args: &SquareArgs) -> Outcome {
    let (named, findings) = disk::device(&args.device)?;
    say::findings(&findings);
    let request = args.request()?;
    if let Some(file) = &args.readings {
        return many(&named.device, &request, file);
    }
    let read = [&args.width, &args.height, &args.diagonal, &args.diagonal_2, &args.ladder];
    let some = read.into_iter().any(|list| !list.is_empty());
    match (&args.out, some) {
        (Some(out), false) => draw(&named, &request, out),
        (None, true) if args.verify => verified(args, &named, &request),
        (None, true) => measured(args, &named, &request),
        (Some(_), true) => Err(Finding::error("-o draws a square, and readings are of one that is drawn already")
            .hint("give one or the other")
            .into()),
        (None, false) => Err(Finding::error("neither a folder for the square nor readings of one are given")
            .hint("draw it with -o DIR, measure it, then give --width --height --diagonal --diagonal-2")
            .into()),
    }
}

fn draw(named: &NamedDevice, request: &SquareRequest, out: &Path) -> Outcome {
    let (written, findings) = pipeline::test_square(named, request)?;
    say::findings(&findings);
    if !written.proof.passed {
        let message = format!("the square failed its proof: {}", written.proof.reasons.join("; "));
        return Err(Finding::error(message).hint("nothing was written; please report it").into());
    }
    manifest::write(out, std::slice::from_ref(&written.file), &[])?;
    let square = &written.square;
    let file = out.join(&written.file.line().file);
    let [w, h] = [square.width, square.height].map(|side| trimmed(side, 1));
    say::data(&format!("{}: {w} × {h} mm\n", file.display()))?;
    for line in &square.instructions {
        say::line(line);
    }
    if !square.lettered {
        say::line("(there was no room for all of this on the square: keep it)");
    }
    for caution in oaktag::device::cautions(&named.device) {
        say::line(caution);
    }
    Ok(End::Done)
}

/// What the readings of one square are, and how they were written.
struct Given {
    readings: Readings,
    record: Vec<Reading>,
}

fn given(args: &SquareArgs, device: &Device, nominal: &Nominal) -> Result<Given> {
    let mut all: Vec<(f64, bool)> = Vec::new();
    let mut record = vec![Reading {
        name: "square".into(),
        values: [nominal.width, nominal.height].map(|side| format!("{} mm", trimmed(side, 3))).to_vec(),
    }];
    let mut read = |name: &str, texts: &[String]| -> Result<Vec<f64>> {
        let mut values = Vec::new();
        let mut shown = Vec::new();
        for text in texts {
            let (mm, inches) = length(text, device.unit)?;
            let unit = if inches { Unit::Inch } else { device.unit };
            // In the record a bare number keeps its meaning when the profile's unit changes.
            let bare = text.trim().ends_with(|c: char| c.is_ascii_digit());
            shown.push(if bare { format!("{} {unit}", text.trim()) } else { text.trim().to_owned() });
            all.push((mm, inches));
            values.push(mm);
        }
        if !shown.is_empty() {
            record.push(Reading { name: name.into(), values: shown });
        }
        Ok(values)
    };
    let mut readings = Readings {
        width: read("width", &args.width)?,
        height: read("height", &args.height)?,
        diagonal: read("diagonal", &args.diagonal)?,
        diagonal_2: read("diagonal-2", &args.diagonal_2)?,
        ladder: read("ladder", &args.ladder)?,
        resolution: 0.0,
    };
    readings.resolution = match &args.read_to {
        Some(text) => length(text, device.unit)?.0,
        None => calibrate::resolution(&all),
    };
    record.push(Reading { name: "read-to".into(), values: vec![format!("{} mm", trimmed(readings.resolution, 5))] });
    Ok(Given { readings, record })
}

/// A length as written, mm, and whether it was in inches: a bare fraction is, whatever the profile's unit.
fn length(text: &str, unit: Unit) -> Result<(f64, bool)> {
    let fraction = text.contains('/') && !text.contains(|c: char| c.is_alphabetic());
    let unit = if fraction { Unit::Inch } else { unit };
    let metres =
        text.trim().strip_suffix('m').map(str::trim_end).filter(|rest| rest.ends_with(|c: char| c.is_ascii_digit()));
    let mm = match metres {
        Some(number) => parse_length(number, Unit::Millimetre).map(|number| 1000.0 * number),
        None => parse_length(text, unit),
    };
    let mm = mm.map_err(|e| {
        let message = format!("\"{text}\" is no length: {e}");
        Finding::error(message).hint("write it as 599.5, 59.95 cm, 5 m or 23 5/8 in")
    })?;
    let named = text.trim_end().ends_with("in") || text.contains(['"', '″']) || text.contains("inch");
    let metric = text.trim_end().ends_with('m');
    Ok((mm, named || (unit == Unit::Inch && !metric)))
}

fn measured(args: &SquareArgs, named: &NamedDevice, request: &SquareRequest) -> Outcome {
    let (square, medium) = pipeline::plan_square(&named.device, request)?;
    say::findings(pipeline::not_as_asked(&square, &medium, request).as_slice());
    let nominal = square.nominal(&medium);
    let Given { readings, record: recorded } = given(args, &named.device, &nominal)?;
    let solution = calibrate::solve(&nominal, &readings)?;
    if args.json {
        say::data(&(serde_json::to_string_pretty(&solution).unwrap_or_default() + "\n"))?;
    } else {
        say::data(&(calibrate::say(&solution, &medium).join("\n") + "\n"))?;
    }
    let doubts = doubts(&solution);
    say::findings(&doubts);
    let of_corrected = of_a_corrected_square(&named.device, request, &medium, &readings);
    say::findings(of_corrected.as_slice());
    if !args.anyway && of_corrected.is_some() {
        say::line("nothing was recorded. Which square is it?");
        say::line(&format!("  the one that was drawn with --verify:  {}", typed_with("--verify")));
        say::line(&format!("  one that was drawn without:            {}", typed_with("--anyway")));
        return Ok(End::Held);
    }
    if !doubts.is_empty() && !args.anyway {
        say::line("nothing was recorded. If it is the machine after all, --anyway records it.");
        return Ok(End::Held);
    }
    if args.try_only {
        say::line("nothing was recorded, as asked");
        return Ok(End::Done);
    }
    let date = date_or_today(args.date.as_deref())?;
    let shape = medium.shape();
    let make = |_: &Device| Ok(correction(&solution, &date, &medium, &shape, recorded.clone()));
    let (path, correction) = record(&args.device, make)?;
    let what = if solution.corrects() { "its correction" } else { "that it is true as it is" };
    say::line(&format!("{}: {what} is recorded under {date}", path.display()));
    say::line("next: draw a second square with --verify, and measure it");
    not_newest(&args.device, &correction)?;
    Ok(End::Done)
}

fn correction(solution: &Solution, date: &str, medium: &Medium, shape: &str, readings: Vec<Reading>) -> Correction {
    let [x, y, skew] = solution.corrected;
    Correction {
        feed: solution.feed.clone(),
        sure: Some(solution.sure),
        on: shape.into(),
        readings,
        ..Correction::plain(date, &medium.name, x, y, skew)
    }
}

/// The question to ask where readings come out true although a correction is in force: they are likely those of a square
/// that was drawn through it, and recorded as a plain square's they would put "true as it is" in its place.
fn of_a_corrected_square(
    device: &Device,
    request: &SquareRequest,
    medium: &Medium,
    readings: &Readings,
) -> Option<Finding> {
    let in_force = device.correction(&medium.name).filter(|correction| correction.corrects())?;
    let (square, medium) = pipeline::plan_square(device, &SquareRequest { verify: true, ..*request }).ok()?;
    let of_corrected = calibrate::solve(&square.nominal(&medium), readings).ok()?;
    (!of_corrected.corrects()).then(|| {
        let message = format!(
            "these readings come out true, as those of a square drawn through the correction of {} should; those of a \
             plain square would show what that corrects",
            in_force.date
        );
        Finding::breach(message).hint(format!("in force is {}", calibrate::stamp_text(Some(in_force))))
    })
}

/// The command as it was typed, with one word more.
fn typed_with(word: &str) -> String {
    let words = std::env::args().skip(1).chain([word.to_owned()]).map(|word| {
        let plain = |c: char| c.is_alphanumeric() || "-_./,=+:".contains(c);
        match word.chars().all(plain) && !word.is_empty() {
            true => word,
            false if word.contains('"') => format!("'{word}'"),
            false => format!("\"{word}\""),
        }
    });
    format!("oaktag {}", words.collect::<Vec<_>>().join(" "))
}

/// What has to be asked before a correction is believed.
fn doubts(solution: &Solution) -> Vec<Finding> {
    let mut doubts: Vec<Finding> = solution
        .questions
        .iter()
        .map(|question| {
            Finding::breach(question.clone()).hint("measure that again, from middle of line to middle of line")
        })
        .collect();
    for named in &solution.named {
        let ratio = trimmed(named.ratio, 4);
        let finding = if named.doubtful {
            Finding::breach(format!("{ratio} may be the machine's own error, or {}: which is it?", named.means))
                .hint(format!("{}; if nothing is wrong there, record it with --anyway", named.change))
        } else {
            Finding::breach(format!("{ratio} of what was drawn is no machine's error: {}", named.means))
                .hint(format!("{}; then draw and measure the square again", named.change))
        };
        doubts.push(finding);
    }
    doubts
}

fn verified(args: &SquareArgs, named: &NamedDevice, request: &SquareRequest) -> Outcome {
    let (square, medium) = pipeline::plan_square(&named.device, request)?;
    say::findings(pipeline::not_as_asked(&square, &medium, request).as_slice());
    let nominal = square.nominal(&medium);
    let Given { readings, .. } = given(args, &named.device, &nominal)?;
    let (tolerance, _) = length(&args.tolerance, named.device.unit)?;
    if !(tolerance.is_finite() && tolerance > 0.0) {
        return Err(Finding::error("the tolerance must be more than 0").hint("such as --tolerance \"1 mm\"").into());
    }
    let solution = calibrate::solve(&nominal, &readings)?;
    let (yes, lines) = calibrate::residual(&solution, &medium, [nominal.width, nominal.height], tolerance);
    if args.json {
        let value = serde_json::json!({ "true": yes, "tolerance": tolerance, "residual": solution });
        say::data(&(serde_json::to_string_pretty(&value).unwrap_or_default() + "\n"))?;
    } else {
        say::data(&(lines.join("\n") + "\n"))?;
    }
    say::findings(&doubts(&solution));
    if !yes {
        say::line("draw a plain square without --verify, measure it and record it anew; then verify again");
    }
    Ok(if yes { End::Done } else { End::Held })
}

/// One line of a file of readings, mm.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Line {
    width: Vec<f64>,
    height: Vec<f64>,
    diagonal: Vec<f64>,
    diagonal_2: Vec<f64>,
    ladder: Vec<f64>,
    read_to: Option<f64>,
}

impl Default for Line {
    fn default() -> Self {
        let none = Vec::new;
        Self { width: none(), height: none(), diagonal: none(), diagonal_2: none(), ladder: none(), read_to: None }
    }
}

/// What comes out for it.
#[derive(Serialize)]
#[serde(rename_all = "snake_case")]
enum Answer {
    Solution(Box<Solution>),
    Refused(String),
}

fn many(device: &Device, request: &SquareRequest, file: &Path) -> Outcome {
    let (square, medium) = pipeline::plan_square(device, request)?;
    let nominal = square.nominal(&medium);
    let text = disk::read_text(file)?;
    let mut answers = String::new();
    for (number, line) in text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
        let line: Line = serde_json::from_str(line).map_err(|e| {
            let message = format!("line {} is no set of readings: {e}", number + 1);
            Finding::error(message).in_file(file.display().to_string())
        })?;
        let all = [&line.width, &line.height, &line.diagonal, &line.diagonal_2, &line.ladder];
        let marks: Vec<(f64, bool)> = all.into_iter().flatten().map(|value| (*value, false)).collect();
        let resolution = line.read_to.unwrap_or_else(|| calibrate::resolution(&marks));
        let Line { width, height, diagonal, diagonal_2, ladder, .. } = line;
        let readings = Readings { width, height, diagonal, diagonal_2, ladder, resolution };
        let answer = match calibrate::solve(&nominal, &readings) {
            Ok(solution) => Answer::Solution(Box::new(solution)),
            Err(finding) => Answer::Refused(finding.to_string()),
        };
        answers.push_str(&serde_json::to_string(&answer).unwrap_or_default());
        answers.push('\n');
    }
    say::data(&answers)?;
    Ok(End::Done)
}
