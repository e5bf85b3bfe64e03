//! RS-274 after NIST IR 6556 ("The NIST RS274NGC Interpreter, version 3", 2000): millimetres, absolute, the plane of x
//! and y; arcs where curves are arcs within the tolerance, chords elsewhere. A tool is switched (`M3`, `M5`) or raised and
//! lowered (`Z`).

use super::machine::{Machine, ToolUse};
use crate::calibrate::CorrectedJob;
use crate::diag::Result;
use crate::units::{push_trimmed, trimmed};
use kurbo::{CubicBez, ParamCurve, PathSeg, Point};
use std::fmt::Write;

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
    let mut text = String::new();
    for line in [&job.title, &stamp.text, &job.device, &job.medium] {
        writeln!(text, "({})", note(line)).expect("writing to a string");
    }
    text.push_str("G21 G90 G17 G94\nM5\n");
    text.push_str(&machine.start);
    for pass in &job.passes {
        let tool = machine.tool(&pass.tool)?;
        writeln!(text, "({})\nT{}", note(&pass.tool), tool.number).expect("writing to a string");
        if let Some((up, _)) = tool.heights {
            writeln!(text, "G0 Z{}", number(up)).expect("writing to a string");
        }
        for stroke in &pass.strokes {
            let path = machine.placed(&stroke.path);
            let mut segments = path.segments().peekable();
            let Some(first) = segments.peek() else { continue };
            let start = first.start();
            machine.check(start)?;
            down(&mut text, start, tool);
            let mut at = start;
            for segment in segments {
                let mut cuts = Vec::new();
                match segment {
                    PathSeg::Line(line) => cuts.push(Cut::Line(line.p1)),
                    curve => arcs(&curve.to_cubic(), machine.tolerance, 0, &mut cuts),
                }
                for cut in cuts {
                    at = put(&mut text, at, &cut, machine)?;
                }
            }
            match tool.heights {
                Some((up, _)) => writeln!(text, "G0 Z{}", number(up)).expect("writing to a string"),
                None => text.push_str("M5\n"),
            }
        }
    }
    text.push_str(&machine.end);
    text.push_str("M5\nM2\n");
    Ok(text.into_bytes())
}

/// To the start of a stroke, the tool lowered or switched on there.
fn down(text: &mut String, start: Point, tool: &ToolUse) {
    let feed = trimmed(tool.speed.map_or(FEED, |speed| speed * 60.0), 1);
    writeln!(text, "G0 X{} Y{}", number(start.x), number(start.y)).expect("writing to a string");
    match (tool.power, tool.heights) {
        (Some(power), _) => writeln!(text, "M3 S{}", trimmed(power, 2)).expect("writing to a string"),
        // Switched on at whatever power the machine is set to: S0 would be none.
        (None, None) => text.push_str("M3\n"),
        (None, Some(_)) => {}
    }
    match tool.heights {
        Some((_, down)) => writeln!(text, "G1 Z{} F{feed}", number(down)),
        None => writeln!(text, "F{feed}"),
    }
    .expect("writing to a string");
}

/// Writes a move and gives its end.
fn put(text: &mut String, at: Point, cut: &Cut, machine: &Machine) -> Result<Point> {
    let end = match cut {
        Cut::Line(end) | Cut::Arc { end, .. } => *end,
    };
    machine.check(end)?;
    text.push_str(match cut {
        Cut::Line(_) => "G1",
        Cut::Arc { anticlockwise: false, .. } => "G2",
        Cut::Arc { anticlockwise: true, .. } => "G3",
    });
    words(text, [" X", " Y"], end);
    if let Cut::Arc { centre, .. } = cut {
        words(text, [" I", " J"], (*centre - at).to_point());
    }
    text.push('\n');
    Ok(end)
}

fn words(text: &mut String, letters: [&str; 2], point: Point) {
    for (letter, value) in letters.into_iter().zip([point.x, point.y]) {
        text.push_str(letter);
        push_trimmed(text, value, DECIMALS);
    }
}

/// A cubic as lines and arcs that stray by no more than `tolerance`: one where one will do, else its halves'.
fn arcs(cubic: &CubicBez, tolerance: f64, depth: u32, cuts: &mut Vec<Cut>) {
    /// Halvings; a curve of 100 m is then cut finer than a micrometre.
    const DEEPEST: u32 = 16;
    /// Samples that a candidate is held to, and how much of the tolerance it may use at them: what a smooth curve strays
    /// between two samples is far less than the rest.
    const SAMPLES: u32 = 16;
    const SHARE: f64 = 0.8;
    let [a, b] = [cubic.p0, cubic.p3];
    let bound = SHARE * tolerance;
    let samples: Vec<Point> = (1..SAMPLES).map(|i| cubic.eval(f64::from(i) / f64::from(SAMPLES))).collect();
    let chord = b - a;
    let length = chord.hypot();
    let legs = [cubic.p1 - a, cubic.p2 - cubic.p1, b - cubic.p2];
    // Along the chord and near it. It never turns back where none of its polygon's legs does.
    let straight = length > 0.0
        && samples.iter().all(|p| (chord.cross(*p - a) / length).abs() <= bound)
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
        let all: Vec<Point> = std::iter::once(a).chain(samples.iter().copied()).chain([b]).collect();
        let round = all.iter().all(|p| (p.distance(centre) - radius).abs() <= bound)
            && all.windows(2).all(|pair| turns(&pair[0], &pair[1]))
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

fn number(value: f64) -> String {
    trimmed(value, DECIMALS)
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
