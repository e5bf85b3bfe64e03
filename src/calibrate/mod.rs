//! The device's correction, applied once.
//!
//! A machine that draws J · commanded is sent J⁻¹ · nominal. [`correct`] turns a [`Job`] into a [`CorrectedJob`];
//! nothing turns one back and no writer takes a `Job`, so a correction can't be forgotten or happen twice.

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
