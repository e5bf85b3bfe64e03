//! RS-274 after NIST IR 6556 ("The NIST RS274NGC Interpreter, version 3", 2000): millimetres, absolute, the plane of x
//! and y; arcs where curves are arcs within the tolerance, chords elsewhere. A tool is switched (`M3`, `M5`) or raised and
//! lowered (`Z`).

use super::machine::{Machine, ToolUse};
use crate::calibrate::CorrectedJob;
use crate::diag::Result;
use crate::units::{push_trimmed, trimmed};
use kurbo::{CubicBez, ParamCurve, PathSeg, Point};
use std::io::Write;

/// Decimals of a coordinate.
const DECIMALS: usize = 4;
/// Feed where the profile has no speed, mm/min: a walking pace that nothing minds. `G1` without a feed is an error.
const FEED: f64 = 1200.0;

/// A move at work.
enum Cut {
    Line(Point),
    Arc { end: Point, centre: Point, anticlockwise: bool },
}

/// A job as an RS-274 program.
///
/// # Errors
/// A coordinate beyond the machine's largest; a pass whose tool the machine lacks.
pub fn rs274(job: &CorrectedJob, machine: &Machine) -> Result<Vec<u8>> {
    let stamp = job.stamp();
    let job = job.job();
    let mut text = Vec::new();
    for line in [&job.title, &stamp.text, &job.device, &job.medium] {
        writeln!(text, "({})", note(line)).expect("writing to memory");
    }
    text.extend_from_slice(b"G21 G90 G17 G94\nM5\n");
    text.extend_from_slice(machine.start.as_bytes());
    let mut cuts = Vec::new();
    for pass in &job.passes {
        let tool = machine.tool(&pass.tool)?;
        writeln!(text, "({})\nT{}", note(&pass.tool), tool.number).expect("writing to memory");
        let (down, up) = (down(tool), up(tool));
        if tool.heights.is_some() {
            text.extend_from_slice(up.as_bytes());
        }
        for stroke in &pass.strokes {
            let mut segments = stroke.path.segments().map(|segment| machine.place * segment).peekable();
            let Some(first) = segments.peek() else { continue };
            let mut at = first.start();
            machine.check(at)?;
            text.extend_from_slice(b"G0");
            words(&mut text, [" X", " Y"], at);
            text.push(b'\n');
            text.extend_from_slice(down.as_bytes());
            for segment in segments {
                cuts.clear();
                match segment {
                    PathSeg::Line(line) => cuts.push(Cut::Line(line.p1)),
                    curve => arcs(&curve.to_cubic(), machine.tolerance, 0, &mut cuts),
                }
                for cut in &cuts {
                    at = put(&mut text, at, cut, machine)?;
                }
            }
            text.extend_from_slice(up.as_bytes());
        }
    }
    text.extend_from_slice(machine.end.as_bytes());
    text.extend_from_slice(b"M5\nM2\n");
    Ok(text)
}

/// What lowers or switches on a tool at the start of a stroke.
fn down(tool: &ToolUse) -> String {
    let feed = trimmed(tool.speed.map_or(FEED, |speed| speed * 60.0), 1);
    let on = match (tool.power, tool.heights) {
        (Some(power), _) => format!("M3 S{}\n", trimmed(power, 2)),
        // Switched on at whatever power the machine is set to: S0 would be none.
        (None, None) => "M3\n".into(),
        (None, Some(_)) => String::new(),
    };
    match tool.heights {
        Some((_, down)) => format!("{on}G1 Z{} F{feed}\n", trimmed(down, DECIMALS)),
        None => format!("{on}F{feed}\n"),
    }
}

/// What raises it or switches it off behind a stroke.
fn up(tool: &ToolUse) -> String {
    tool.heights.map_or("M5\n".into(), |(up, _)| format!("G0 Z{}\n", trimmed(up, DECIMALS)))
}

/// Writes a move and gives its end.
fn put(text: &mut Vec<u8>, at: Point, cut: &Cut, machine: &Machine) -> Result<Point> {
    let end = match cut {
        Cut::Line(end) | Cut::Arc { end, .. } => *end,
    };
    machine.check(end)?;
    text.extend_from_slice(match cut {
        Cut::Line(_) => b"G1",
        Cut::Arc { anticlockwise: false, .. } => b"G2",
        Cut::Arc { anticlockwise: true, .. } => b"G3",
    });
    words(text, [" X", " Y"], end);
    if let Cut::Arc { centre, .. } = cut {
        words(text, [" I", " J"], (*centre - at).to_point());
    }
    text.push(b'\n');
    Ok(end)
}

fn words(text: &mut Vec<u8>, letters: [&str; 2], point: Point) {
    for (letter, value) in letters.into_iter().zip([point.x, point.y]) {
        text.extend_from_slice(letter.as_bytes());
        push_trimmed(text, value, DECIMALS);
    }
}

/// A cubic as lines and arcs that stray by no more than `tolerance`: one where one will do, else its halves'.
fn arcs(cubic: &CubicBez, tolerance: f64, depth: u32, cuts: &mut Vec<Cut>) {
    /// Halvings; a curve of 100 m is then cut finer than a micrometre.
    const DEEPEST: u32 = 16;
    /// Samples that a candidate is held to, and how much of the tolerance it may use at them: what a smooth curve strays
    /// between two samples is far less than the rest.
    const SAMPLES: usize = 16;
    const SHARE: f64 = 0.8;
    let [a, b] = [cubic.p0, cubic.p3];
    let bound = SHARE * tolerance;
    // The cubic's ends are the first and the last.
    let samples: [Point; SAMPLES + 1] = std::array::from_fn(|i| match i {
        0 => a,
        SAMPLES => b,
        i => cubic.eval(i as f64 / SAMPLES as f64),
    });
    let inner = &samples[1..SAMPLES];
    let chord = b - a;
    let length = chord.hypot();
    let legs = [cubic.p1 - a, cubic.p2 - cubic.p1, b - cubic.p2];
    // Along the chord and near it. It never turns back where none of its polygon's legs does.
    let straight = length > 0.0
        && inner.iter().all(|p| (chord.cross(*p - a) / length).abs() <= bound)
        && legs.iter().all(|leg| leg.dot(chord) >= 0.0);
    let crumb = legs.iter().map(|leg| leg.hypot()).sum::<f64>() <= bound;
    if straight || crumb || depth == DEEPEST {
        cuts.push(Cut::Line(b));
        return;
    }
    let middle = cubic.eval(0.5);
    if let Some(centre) = centre(a, middle, b) {
        let radius = centre.distance(a);
        let anticlockwise = (middle - a).cross(b - middle) > 0.0;
        let turns = |p: &Point, q: &Point| ((*p - centre).cross(*q - centre) > 0.0) == anticlockwise;
        let round = samples.iter().all(|p| (p.distance(centre) - radius).abs() <= bound)
            && samples.windows(2).all(|pair| turns(&pair[0], &pair[1]))
            && turns(&a, &b)
            // It does not turn back at its ends, between the samples.
            && turns(&a, &(a + legs[0]))
            && turns(&(b - legs[2]), &b);
        // Rounding I and J to a ten-thousandth turns a tiny arc into anything, and a huge one is a line.
        if round && radius < 1e4 && length > 0.05 {
            cuts.push(Cut::Arc { end: b, centre, anticlockwise });
            return;
        }
    }
    let (left, right) = cubic.subdivide();
    arcs(&left, tolerance, depth + 1, cuts);
    arcs(&right, tolerance, depth + 1, cuts);
}

/// The centre of the circle through three points; `None` where they lie on a line.
fn centre(a: Point, b: Point, c: Point) -> Option<Point> {
    let (u, v) = (b - a, c - a);
    let twice = 2.0 * u.cross(v);
    let (uu, vv) = (u.hypot2(), v.hypot2());
    let centre = a + kurbo::Vec2::new(v.y * uu - u.y * vv, u.x * vv - v.x * uu) / twice;
    (twice.abs() > 1e-12 && centre.is_finite()).then_some(centre)
}

/// A comment in plain ASCII without brackets.
fn note(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '(' | ')' => '\'',
            ' '..='~' => c,
            _ => '?',
        })
        .collect()
}
