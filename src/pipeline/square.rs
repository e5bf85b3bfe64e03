//! A test square through the same stages as every job: ordered, corrected or not, written, proven.

use super::{NamedDevice, ProvenFile, files, parts};
use crate::calibrate::{self, Size, TestSquare};
use crate::device::{Device, Medium, MediumKind};
use crate::diag::{Finding, Result};
use crate::order;
use crate::proof::{self, Proof};
use crate::report::FileLine;
use crate::source::with_known;
use crate::units::trimmed;

/// Which square is wanted.
#[derive(Clone, Copy, Debug)]
pub struct SquareRequest<'a> {
    /// The medium; the device's first where none is named.
    pub medium: Option<&'a str>,
    /// How large.
    pub size: Size,
    /// The longest ladder along a roll, mm; `None` for 3 m.
    pub ladder: Option<f64>,
    /// Whether it is drawn through the device's correction, to see whether that is right. Else it is drawn without any,
    /// to find one.
    pub verify: bool,
}

/// A test square's file.
#[derive(Clone, Debug)]
pub struct WrittenSquare {
    /// What is on it.
    pub square: TestSquare,
    /// The file, to be given out only where `proof` passed.
    pub file: ProvenFile,
    /// The file read back and measured.
    pub proof: Proof,
}

/// What a square of that request would be, without writing it, and the medium that it lies on.
///
/// # Errors
/// A medium that the device does not have, or that has no room; a ladder of no length; a verification of what was never
/// corrected.
pub fn plan_square(device: &Device, request: &SquareRequest) -> Result<(TestSquare, Medium)> {
    if device.language.is_for_exchange() {
        let message = format!("\"{}\" is for other programs: there is no machine to measure", device.name);
        return Err(Finding::error(message).hint("measure the machine that draws in the end").into());
    }
    let medium = match request.medium {
        None => super::first_medium(device)?,
        Some(name) => device.medium(name).ok_or_else(|| {
            let names: Vec<&str> = device.media.iter().map(|medium| &*medium.name).collect();
            with_known(Finding::error(format!("\"{}\" has no medium \"{name}\"", device.name)), name, &names)
        })?,
    };
    if request.ladder.is_some_and(|long| long.is_nan() || long <= 0.0) {
        let hint = "say how long it may be, such as --run \"4 m\", or leave it out";
        return Err(Finding::error("a ladder of no length can't be measured").hint(hint).into());
    }
    let correction = device.correction(&medium.name).filter(|_| request.verify);
    if request.verify && correction.is_none() {
        let message = format!("\"{}\" has no correction on {} to verify", device.name, medium.name);
        return Err(Finding::error(message).hint("draw and measure a square without --verify first").into());
    }
    let medium = medium.as_drawn(correction);
    let square = calibrate::square(device, &medium, request.size, request.ladder, correction)?;
    Ok((square, medium))
}

/// What a square is not as it was asked for: its ladder is shorter, or it has none.
pub fn not_as_asked(square: &TestSquare, medium: &Medium, request: &SquareRequest) -> Option<Finding> {
    let asked = request.ladder?;
    let metres = |mm: f64| format!("{} m", trimmed(mm / 1000.0, 3));
    let Some(ladder) = square.ladder else {
        let roll = matches!(medium.kind, MediumKind::Roll { .. }) && medium.pages.is_none();
        let why = match (roll, request.size) {
            (false, _) => format!("\"{}\" is no roll", medium.name),
            (true, Size::Small) => "a small square has none".into(),
            (true, Size::Largest) => format!("{} does not reach to its first rung", metres(asked)),
        };
        let finding = Finding::warning(format!("there is no ladder: {why}"));
        return Some(finding.hint("--run is for the largest square on a roll"));
    };
    let long = ladder.step * ladder.rungs as f64;
    // It ends on a rung.
    (asked >= long + ladder.step).then(|| {
        let message = format!("the ladder is {} long, not {}", metres(long), metres(asked));
        Finding::warning(message).hint(format!("\"{}\" takes no longer one", medium.name))
    })
}

/// Draws a test square for a device.
///
/// # Errors
/// As [`plan_square`], and as writing any job.
pub fn test_square(named: &NamedDevice, request: &SquareRequest) -> Result<(WrittenSquare, Vec<Finding>)> {
    let device = &named.device;
    let (square, medium) = plan_square(device, request)?;
    let correction = device.correction(&medium.name).filter(|_| request.verify);
    let title = format!("Test square, {}", medium.name);
    let (job, mut findings) = order::order(&square.sheet, device, &title)?;
    findings.extend(not_as_asked(&square, &medium, request));
    let corrected = calibrate::correct(job, correction);
    let bytes = files::write(&corrected, &square.sheet, device, &files::Said::default(), &mut Vec::new())?;
    let word = if request.verify { "verify" } else { "square" };
    let file = format!("{}-{word}.{}", named.name, device.language.extension());
    let (drawing, found) = files::read_back(&bytes, &file, &square.sheet, device, correction)?;
    findings.extend(found);
    let proof = proof::prove(&drawing, &square.sheet, device, correction);
    let line = FileLine {
        file,
        device: device.name.clone(),
        pieces: 0,
        width: square.sheet.width,
        height: square.sheet.height,
        used: format!("1 sheet of {}", medium.name),
        largest: proof.largest,
        allowed: proof.allowed,
        passed: proof.passed,
        estimate: None,
    };
    let parts = parts(&corrected);
    let file = ProvenFile { parts, bytes, line, medium: medium.name, stamp: String::new(), sizes: Vec::new() };
    Ok((WrittenSquare { square, file, proof }, findings))
}
