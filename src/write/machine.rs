//! What a writer for a machine has to know besides the job. Nothing of it moves a point on the sheet.

use crate::diag::{Finding, Result};
use kurbo::{Affine, Point};

/// A machine that follows its file line by line.
#[derive(Clone, Debug, PartialEq)]
pub struct Machine {
    /// How far a flattened curve may stray, mm.
    pub tolerance: f64,
    /// Steps of its coordinates in a millimetre; HP-GL's are whole numbers.
    pub units_per_mm: f64,
    /// The largest coordinate either way, in its own units; `None` where nothing bounds it.
    pub largest: Option<u32>,
    /// From the sheet's coordinates to the machine's, mm: where its zero lies and which way its numbers grow.
    pub place: Affine,
    /// Sent before everything else.
    pub start: String,
    /// Sent after everything else.
    pub end: String,
    /// Its tools by the names that passes call them by.
    pub tools: Vec<ToolUse>,
}

/// How a tool is asked for and used.
#[derive(Clone, Debug, PartialEq)]
pub struct ToolUse {
    /// Its name in the job's passes.
    pub name: String,
    /// The machine's own number for it.
    pub number: u32,
    /// Force, grams-force; `None` leaves it as set at the machine.
    pub force: Option<f64>,
    /// Speed at work, mm/s; `None` leaves it as set at the machine.
    pub speed: Option<f64>,
    /// The number behind RS-274's S; `None` where there is none.
    pub power: Option<f64>,
    /// Heights that it is raised and lowered to, mm; `None` where it is switched on and off.
    pub heights: Option<(f64, f64)>,
}

impl Machine {
    /// The tool of that name.
    pub(super) fn tool(&self, name: &str) -> Result<&ToolUse> {
        self.tools.iter().find(|tool| tool.name == name).ok_or_else(|| {
            let message = format!("the machine has no tool \"{name}\"");
            Finding::error(message).hint("name it in the device's profile").into()
        })
    }

    /// Refuses a coordinate that is no number or that the machine can't count to.
    pub(super) fn check(&self, point: Point) -> Result<()> {
        let most = self.largest.map_or(1e9, f64::from) / self.units_per_mm;
        let within = |mm: f64| mm.abs() <= most + 0.5 / self.units_per_mm;
        if within(point.x) && within(point.y) {
            return Ok(());
        }
        let reach = if within(point.x) { point.y } else { point.x }.abs();
        let message = format!(
            "a line reaches to {reach:.1} mm from the machine's zero, and it counts no further than {most:.1} mm"
        );
        let hint = "choose a medium that is small enough in the device's profile, so that the work is split over several \
                    sheets; or put its zero in the middle, if the machine can";
        Err(Finding::error(message).hint(hint).into())
    }
}
