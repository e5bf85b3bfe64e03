//! How far a job's head goes, and how long that takes.

use super::Job;
use crate::device::Device;
use crate::geom::path;
use serde::Serialize;

/// What a tool does in a job, or all of them together.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Work {
    /// Drawn or cut, mm, every pass counted.
    pub worked: f64,
    /// With the tool up, mm, from where the last one ended.
    pub travelled: f64,
    /// How often it goes down.
    pub lifts: usize,
    /// What that takes, s; `None` where the profile does not say how fast the tool is.
    pub seconds: Option<f64>,
}

/// What a job takes, from the machine's zero and back. The way back is the last tool's.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// All tools together.
    pub whole: Work,
    /// Each tool by its name, in the order in which they first work.
    pub tools: Vec<(String, Work)>,
}

/// A job's way and time at the speeds of the device's profile. Nothing is added for speeding up and slowing down, so a job of
/// many short strokes takes longer than this.
pub fn estimate(job: &Job, device: &Device) -> Estimate {
    let mut at = job.zero;
    let mut tools: Vec<(String, Work)> = Vec::new();
    for (index, pass) in job.passes.iter().enumerate() {
        let mut work = Work::default();
        for stroke in &pass.strokes {
            let (Some(start), Some(end)) = (path::start(&stroke.path), path::end(&stroke.path)) else { continue };
            work.worked += path::length(&stroke.path);
            work.travelled += at.distance(start);
            work.lifts += 1;
            at = end;
        }
        if index + 1 == job.passes.len() {
            work.travelled += at.distance(job.zero);
        }
        let speed = device.tools.iter().find(|tool| tool.name == pass.tool).and_then(|tool| tool.speed);
        work.seconds = speed.map(|speed| {
            work.worked / speed + work.travelled / device.travel_speed + work.lifts as f64 * device.lift_seconds
        });
        match tools.iter_mut().find(|(tool, _)| *tool == pass.tool) {
            Some((_, so_far)) => so_far.add(&work),
            None => tools.push((pass.tool.clone(), work)),
        }
    }
    let mut whole = Work { seconds: Some(0.0), ..Work::default() };
    for (_, work) in &tools {
        whole.add(work);
    }
    Estimate { whole, tools }
}

impl Work {
    fn add(&mut self, other: &Self) {
        self.worked += other.worked;
        self.travelled += other.travelled;
        self.lifts += other.lifts;
        self.seconds = self.seconds.zip(other.seconds).map(|(a, b)| a + b);
    }
}
