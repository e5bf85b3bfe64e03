//! The device's correction, applied once; and how it is found: a test square to measure, and what its readings say.
//!
//! A machine that draws J · commanded is sent J⁻¹ · nominal. [`correct`] turns a [`Job`] into a [`CorrectedJob`];
//! nothing turns one back and no writer takes a `Job`, so a correction can't be forgotten or happen twice:
//!
//! ```
//! # use oaktag::{calibrate::{CorrectedJob, correct}, order::Job};
//! fn once(job: Job) -> CorrectedJob {
//!     correct(job, None)
//! }
//! ```
//! ```compile_fail,E0308
//! # use oaktag::{calibrate::{CorrectedJob, correct}, order::Job};
//! fn twice(job: Job) -> CorrectedJob {
//!     correct(correct(job, None), None)
//! }
//! ```
//! Nor is there a way round by a copy of the job inside, or by a `CorrectedJob` made up by hand:
//!
//! ```compile_fail,E0308
//! # use oaktag::{calibrate::{CorrectedJob, correct}, order::Job};
//! fn twice(job: Job) -> CorrectedJob {
//!     correct(correct(job, None).job().clone(), None)
//! }
//! ```
//! ```compile_fail,E0451
//! # use oaktag::{calibrate::{CorrectedJob, Stamp}, order::Job};
//! fn never(job: Job, stamp: Stamp) -> CorrectedJob {
//!     CorrectedJob { job, stamp }
//! }
//! ```

mod draw;
mod feed;
mod ratios;
mod solve;
mod words;

pub use draw::{Ladder, Size, TestSquare, square};
pub use ratios::{Named, named};
pub use solve::{Nominal, Readings, Solution, resolution, solve};
pub use words::{residual, say};

use crate::device::Correction;
use crate::order::Job;
use crate::units::trimmed;
use feed::Inverse;
use kurbo::{Affine, Point};

/// A job in the machine's own coordinates.
#[derive(Debug)]
pub struct CorrectedJob {
    job: Job,
    stamp: Stamp,
}

/// What was corrected, for the file's reader.
#[derive(Clone, Debug, PartialEq)]
pub struct Stamp {
    /// The day the correction was measured; empty where the machine was never measured.
    pub date: String,
    /// J: measured = J · commanded; with a feed in spans, its mean.
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

/// The job in the coordinates of a machine with that correction, about the sheet's origin. Without a correction the
/// coordinates stay as they are, and the stamp says that the machine was never calibrated.
///
/// The page becomes the extent of the corrected sheet to the right of and above the origin, so that a machine that
/// draws too short is given a page that is as much too long and cuts nothing off. A skew that leans to the left
/// takes from the sheet's own margin, where nothing is drawn; [`crate::device::read`] refuses one that would lean
/// further.
pub fn correct(job: Job, correction: Option<&Correction>) -> CorrectedJob {
    let matrix = correction.map_or(Affine::IDENTITY, matrix);
    let date = correction.map_or(String::new(), |correction| correction.date.clone());
    let stamp = Stamp { date, matrix, text: stamp_text(correction) };
    let mut job = job;
    if let Some(correction) = correction {
        let inverse = Inverse::new(correction);
        for stroke in job.passes.iter_mut().flat_map(|pass| &mut pass.strokes) {
            stroke.path = inverse.path(&stroke.path);
        }
        let right = [0.0, job.height].map(|y| inverse.point(Point::new(job.width, y)).x);
        (job.width, job.height) = (right[0].max(right[1]), inverse.point(Point::new(0.0, job.height)).y);
    }
    CorrectedJob { job, stamp }
}

/// The job as it is, for files that go to other programs and not to a machine.
pub fn identity(job: Job) -> CorrectedJob {
    let text = "true size, for exchange between programs: no machine's correction".into();
    CorrectedJob { job, stamp: Stamp { date: String::new(), matrix: Affine::IDENTITY, text } }
}

/// The line that is stamped beside the check square and in the file.
pub fn stamp_text(correction: Option<&Correction>) -> String {
    match correction {
        None => "not calibrated".into(),
        Some(Correction { date, x, y, skew, feed, .. }) => {
            let [x, y, skew] = [x, y, skew].map(|number| trimmed(*number, 6));
            let spans = if feed.is_empty() { String::new() } else { format!(", feed in {} spans", feed.len()) };
            format!("correction {date}: x {x}, y {y}, skew {skew}{spans}")
        }
    }
}

/// J = [[x, skew], [0, y]].
fn matrix(correction: &Correction) -> Affine {
    Affine::new([correction.x, 0.0, correction.skew, correction.y, 0.0, 0.0])
}
