//! How far a job's head goes, and how long that takes.

use super::Job;
use crate::geom::path;
use kurbo::Point;

/// How fast a tool is, and what it waits for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Speeds {
    /// While it draws or cuts, mm/s.
    pub working: f64,
    /// While it is up, mm/s.
    pub travelling: f64,
    /// To go down and up again once, s.
    pub lift: f64,
    /// How often each stroke is gone over.
    pub passes: u32,
}

/// What a tool does on a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct PassEstimate {
    /// The tool's name.
    pub tool: String,
    /// Drawn or cut, mm, every pass counted.
    pub worked: f64,
    /// With the tool up, mm, from where the last one ended.
    pub travelled: f64,
    /// How often it goes down.
    pub lifts: usize,
    /// What that takes, s.
    pub seconds: f64,
}

/// What a job takes, tool by tool; the way home is the last one's.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// Tool by tool, in working order.
    pub passes: Vec<PassEstimate>,
}

impl Estimate {
    /// In all, s.
    pub fn seconds(&self) -> f64 {
        self.passes.iter().map(|pass| pass.seconds).sum()
    }

    /// With a tool up, mm.
    pub fn travelled(&self) -> f64 {
        self.passes.iter().map(|pass| pass.travelled).sum()
    }

    /// Drawn or cut, mm.
    pub fn worked(&self) -> f64 {
        self.passes.iter().map(|pass| pass.worked).sum()
    }
}

/// A job's way and time, at speeds that `speeds` knows by the tool's name. Nothing is taken off for speeding up and slowing
/// down, so a job of many short strokes takes longer than this. A speed of 0, or none, gives infinite seconds, never NaN.
pub fn estimate(job: &Job, speeds: impl Fn(&str) -> Speeds) -> Estimate {
    let mut at = Point::ORIGIN;
    let last = job.passes.len().saturating_sub(1);
    let passes = job
        .passes
        .iter()
        .enumerate()
        .map(|(index, pass)| {
            let speeds = speeds(&pass.tool);
            let rounds = speeds.passes.max(1);
            let (mut worked, mut travelled, mut lifts) = (0.0, 0.0, 0);
            for stroke in &pass.strokes {
                let (Some(start), Some(end)) = (path::start(&stroke.path), path::end(&stroke.path)) else { continue };
                worked += f64::from(rounds) * path::length(&stroke.path);
                // An open stroke is gone over from its start each time.
                travelled += at.distance(start) + f64::from(rounds - 1) * end.distance(start);
                lifts += if start == end { 1 } else { rounds as usize };
                at = end;
            }
            if index == last {
                travelled += at.distance(Point::ORIGIN);
            }
            let time = |way: f64, speed: f64| match way {
                way if way <= 0.0 => 0.0,
                way if speed > 0.0 => way / speed,
                _ => f64::INFINITY,
            };
            let seconds =
                time(worked, speeds.working) + time(travelled, speeds.travelling) + lifts as f64 * speeds.lift.max(0.0);
            PassEstimate { tool: pass.tool.clone(), worked, travelled, lifts, seconds }
        })
        .collect();
    Estimate { passes }
}
