//! The device's correction, applied once.
//!
//! A machine that draws J · commanded is sent J⁻¹ · nominal. [`correct`] turns a [`Job`] into a [`CorrectedJob`];
//! nothing turns one back and no writer takes a `Job`, so a correction can't be forgotten or happen twice.

use crate::device::Correction;
use crate::order::Job;
use kurbo::Affine;

/// A job in the machine's own coordinates.
#[derive(Clone, Debug)]
pub struct CorrectedJob {
    job: Job,
    stamp: Stamp,
}

/// What was corrected, for the file's reader.
#[derive(Clone, Debug, PartialEq)]
pub struct Stamp {
    /// The day the correction was measured; empty where the machine was never measured.
    pub date: String,
    /// J: measured = J · commanded.
    pub matrix: Affine,
    /// One line for people, such as `correction 2026-10-02: x 0.9973, y 1.0021, skew 0`.
    pub text: String,
}

impl CorrectedJob {
    /// The job, its paths already corrected.
    pub fn job(&self) -> &Job {
        &self.job
    }
    /// What was corrected.
    pub fn stamp(&self) -> &Stamp {
        &self.stamp
    }
}

/// The job through J⁻¹ of a correction about the origin; unchanged without one.
pub fn correct(mut job: Job, correction: Option<&Correction>) -> CorrectedJob {
    let Some(c) = correction else { return identity(job) };
    let matrix = Affine::new([c.x, 0.0, c.skew, c.y, 0.0, 0.0]);
    let inverse = matrix.inverse();
    for stroke in job.passes.iter_mut().flat_map(|pass| &mut pass.strokes) {
        stroke.path.apply_affine(inverse);
    }
    let text = format!("correction {}: x {}, y {}, skew {}", c.date, c.x, c.y, c.skew);
    CorrectedJob { job, stamp: Stamp { date: c.date.clone(), matrix, text } }
}

/// The job as it is, for interchange files and machines that were never measured.
pub fn identity(job: Job) -> CorrectedJob {
    let text = "no correction".into();
    CorrectedJob { job, stamp: Stamp { date: String::new(), matrix: Affine::IDENTITY, text } }
}
