//! Ratios that mean something else than a machine's own error: a dialogue, a driver or a program took one unit or size
//! for another. Both ways by the same.

use serde::Serialize;

/// A ratio with a name.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Named {
    /// Drawn length over wanted length.
    pub ratio: f64,
    /// What was mixed up.
    pub means: &'static str,
    /// What to change, and where.
    pub change: &'static str,
    /// Whether a machine's own error may look the same, so that she has to be asked.
    pub doubtful: bool,
}

const DPI: &str = "in the program that prints or opens the file, set 100 % (or \"actual size\") and the resolution to 96 \
                   pixels an inch; better, open the file with a program that reads its millimetres";
const FIT: &str = "in the print dialogue, choose \"actual size\" or 100 % in place of \"fit\" or \"shrink to page\"";
const PAPER: &str = "in the print dialogue, choose the paper that lies in the printer, and \"actual size\" or 100 %";
const STEPS: &str = "in the machine's menu or in units-per-mm of its profile, set the step that the machine really has";
const INCH: &str = "in the program that opens or sends the file, set its unit to millimetres";

/// ISO 216 for A4, 210 × 297 mm; Letter is 8 1/2 × 11 in (ASME Y14.1); 96 pixels an inch by CSS 2.1, 4.3.2; the others
/// from the resolutions and steps that they name.
const KNOWN: [Named; 15] = [
    ratio(0.75, "72 dots an inch were taken for 96", DPI),
    ratio(4.0 / 3.0, "96 dots an inch were taken for 72", DPI),
    ratio(0.9375, "90 dots an inch were taken for 96", DPI),
    ratio(96.0 / 90.0, "96 dots an inch were taken for 90", DPI),
    ratio(279.4 / 297.0, "an A4 page was shrunk to fit on Letter paper", PAPER),
    ratio(210.0 / 215.9, "a Letter page was shrunk to fit on A4 paper", PAPER),
    ratio(198.0 / 210.0, "the page was shrunk to fit inside margins of 6 mm on A4", FIT),
    ratio(200.0 / 210.0, "the page was shrunk to fit inside margins of 5 mm on A4", FIT),
    ratio(201.6 / 210.0, "the page was shrunk to fit inside margins of 4.2 mm on A4", FIT),
    doubtful(1000.0 / 1016.0, "1016 steps an inch were taken for 1000"),
    doubtful(1.016, "1000 steps an inch were taken for 1016"),
    ratio(4.0, "steps of 0.025 mm were drawn as 0.1 mm", STEPS),
    ratio(0.25, "steps of 0.1 mm were drawn as 0.025 mm", STEPS),
    ratio(25.4, "millimetres were taken for inches", INCH),
    ratio(1.0 / 25.4, "inches were taken for millimetres", INCH),
];

const fn ratio(ratio: f64, means: &'static str, change: &'static str) -> Named {
    Named { ratio, means, change, doubtful: false }
}

const fn doubtful(ratio: f64, means: &'static str) -> Named {
    Named { ratio, means, change: STEPS, doubtful: true }
}

/// How near a scale lies to a ratio that is called by it: half of what lies between the nearest two of the list but for
/// A4 on Letter and margins of 6 mm, which are named together.
const NEAR: f64 = 0.0025;

/// Scales of both directions that differ by more don't come of one dialogue.
const ALIKE: f64 = 0.004;

/// The most that the readings' uncertainty may widen either: beyond, an honest machine of 2 % could be called a mistake.
const WIDEST: f64 = 0.004;

/// The ratios that the scales along x and y come near, nearest first. `u` is their standard uncertainty.
pub fn named(x: f64, y: f64, u: f64) -> Vec<Named> {
    let room = (2.0 * u).min(WIDEST);
    if !(x > 0.0 && y > 0.0) || (x / y - 1.0).abs() > ALIKE + room {
        return Vec::new();
    }
    let mean = (x * y).sqrt();
    let away = |named: &Named| (mean / named.ratio - 1.0).abs();
    let mut near: Vec<Named> = KNOWN.into_iter().filter(|named| away(named) <= NEAR + room).collect();
    near.sort_by(|a, b| away(a).total_cmp(&away(b)));
    near
}
