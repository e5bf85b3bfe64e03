//! What a test square says, in words.

use super::solve::Solution;
use crate::device::{Medium, MediumKind};
use crate::units::{INCH, trimmed};

/// What the readings say of the machine, a line each.
pub fn say(solution: &Solution, medium: &Medium) -> Vec<String> {
    let [along, up] = ways(medium);
    let mut lines = Vec::new();
    let scales = [(solution.x, solution.sure.x, along, 0), (solution.y, solution.sure.y, up, 1)];
    for (scale, sure, way, index) in scales {
        let off = (scale - 1.0) * 1000.0;
        let sure = sure * 1000.0;
        let (size, sure) = (trimmed(off.abs(), digits(sure)), trimmed(sure, digits(sure)));
        let left = (solution.corrected[index] - 1.0).abs() <= 0.0 && solution.feed.is_empty();
        let line = match (left, off > 0.0) {
            (true, _) => format!(
                "true {way} as far as this tape shows: {size} mm off in a metre, sure to ±{sure}; left as it is"
            ),
            (false, true) => format!("draws {size} mm long in a metre {way}; sure to ±{sure}"),
            (false, false) => format!("draws {size} mm short in a metre {way}; sure to ±{sure}"),
        };
        lines.push(line);
    }
    if solution.leans {
        let (lean, sure) = (solution.skew * 1000.0, solution.sure.skew * 1000.0);
        let (size, sure) = (trimmed(lean.abs(), digits(sure)), trimmed(sure, digits(sure)));
        lines.push(if solution.corrected[2].abs() <= 0.0 {
            format!("its corners are square as far as this tape shows: {size} mm of lean in a metre, sure to ±{sure}; left as it is")
        } else {
            let side = if lean > 0.0 { "right" } else { "left" };
            format!("leans {size} mm to the {side} in a metre upwards; sure to ±{sure}")
        });
    } else {
        lines.push("no diagonal was measured, so nothing is known of its corners".into());
    }
    if !solution.feed.is_empty() {
        let spans: Vec<String> = solution.feed[..solution.feed.len() - 1]
            .iter()
            .map(|span| {
                let off = (span.scale - 1.0) * 1000.0;
                let word = if off > 0.0 { "long" } else { "short" };
                format!("from {} mm on {} mm {word}", trimmed(span.from, 0), trimmed(off.abs(), 1))
            })
            .collect();
        lines.push(format!("the feed does not stretch evenly; in a metre it draws {}", spans.join(", ")));
    }
    let [x, y] = solution.reach.map(|mm| trimmed(mm / 1000.0, 2));
    lines.push(format!(
        "once corrected, every place on {x} × {y} m is right to ±{} mm, in 95 of 100 machines",
        trimmed(solution.within, digits(solution.within))
    ));
    lines.push(assumed(solution));
    lines
}

/// What is assumed of the tape.
fn assumed(solution: &Solution) -> String {
    let mark = solution.resolution;
    let sixteenths = mark / INCH * 64.0;
    let mark = if mark > 0.3 && (sixteenths - sixteenths.round()).abs() < 1e-6 {
        format!("{} in", fraction(sixteenths.round() as u32))
    } else {
        format!("{} mm", trimmed(mark, 4))
    };
    format!(
        "assumed: every reading is right to the nearest mark ({mark}), the tape laid on to half a mark, and the tape true \
         (class II may be 0.5 mm off in a metre: try it against a steel rule)"
    )
}

fn fraction(of_64: u32) -> String {
    let (mut num, mut den) = (of_64, 64);
    while num > 0 && num.is_multiple_of(2) && den > 1 {
        num /= 2;
        den /= 2;
    }
    format!("{num}/{den}")
}

/// Whether a second square, drawn through the correction, came out as wanted: yes or no, and the reasons.
pub fn residual(solution: &Solution, medium: &Medium, sides: [f64; 2], tolerance: f64) -> (bool, Vec<String>) {
    let [along, up] = ways(medium);
    let off = [(solution.x - 1.0) * sides[0], (solution.y - 1.0) * sides[1]];
    let sure = [solution.sure.x * sides[0], solution.sure.y * sides[1], solution.sure.skew * sides[1]];
    let lean = solution.skew * sides[1];
    let round = |mm: f64| trimmed(mm, 2);
    let mut lines = Vec::new();
    for (off, sure, side, way) in [(off[0], sure[0], sides[0], along), (off[1], sure[1], sides[1], up)] {
        let word = if off > 0.0 { "too long" } else { "too short" };
        lines.push(format!("{} mm {word} on {} mm {way}; sure to ±{}", round(off.abs()), round(side), round(sure)));
    }
    if solution.leans {
        lines.push(format!(
            "{} mm of lean over {} mm; sure to ±{}",
            round(lean.abs()),
            round(sides[1]),
            round(sure[2])
        ));
    }
    let worst = [off[0], off[1], lean].map(f64::abs).into_iter().fold(0.0, f64::max);
    let yes = worst <= tolerance;
    let doubt = sure.into_iter().fold(0.0, f64::max);
    let verdict = if yes { "YES: true" } else { "NO: not true" };
    let mut line = format!("{verdict} to {} mm; the largest error is {} mm", round(tolerance), round(worst));
    if yes && worst + doubt > tolerance {
        line.push_str(", though this tape can't quite show it: read it finer");
    }
    lines.push(line);
    (yes, lines)
}

/// What x and y are called on a medium.
fn ways(medium: &Medium) -> [&'static str; 2] {
    match (medium.pages, medium.kind) {
        (None, MediumKind::Roll { .. }) => ["along the feed", "across"],
        _ => ["across (width)", "upwards (height)"],
    }
}

/// Decimals worth showing beside an uncertainty.
fn digits(sure: f64) -> usize {
    if sure < 0.01 {
        4
    } else if sure < 0.1 {
        2
    } else {
        1
    }
}
