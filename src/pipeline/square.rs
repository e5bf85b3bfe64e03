//! A test square through the same stages as every job: ordered, corrected or not, written, proven.

use super::{NamedDevice, ProvenFile, files, parts};
use crate::calibrate::{self, Size, TestSquare};
use crate::device::{Device, Medium};
use crate::diag::{Finding, Result};
use crate::order;
use crate::proof::{self, Proof};
use crate::report::FileLine;
use crate::source::with_known;

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
/// A medium that the device does not have, or that has no room; a verification of what was never corrected.
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
    let correction = device.correction(&medium.name).filter(|_| request.verify);
    if request.verify && correction.is_none() {
        let message = format!("\"{}\" has no correction on {} to verify", device.name, medium.name);
        return Err(Finding::error(message).hint("draw and measure a square without --verify first").into());
    }
    let drawn = match correction {
        Some(correction) => format!("drawn through the correction of {}", correction.date),
        None => "drawn without correction".into(),
    };
    let medium = medium.as_drawn(correction);
    let square = calibrate::square(device, &medium, request.size, request.ladder, &drawn)?;
    Ok((square, medium))
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
    let file = ProvenFile { parts, bytes, line, medium: medium.name, stamp: String::new() };
    Ok((WrittenSquare { square, file, proof }, findings))
}
