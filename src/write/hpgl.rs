//! HP-GL and HP-GL/2: absolute whole coordinates, or encoded polylines, one pen for each tool. Curves become chords; the
//! label is strokes like everything else, since machines letter differently.

use super::flat::chords;
use super::machine::Machine;
use crate::calibrate::CorrectedJob;
use crate::diag::Result;
use crate::units::{nearest_whole, push_trimmed, trimmed};
use kurbo::Point;
use std::io::Write;

/// Which of the language's dialects.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dialect {
    /// The older one: `PU`, `PD`, no page size.
    Hpgl,
    /// HP-GL/2 with its page size and `PU`, `PD`.
    Hpgl2,
    /// HP-GL/2 with `PE`, which is a third of the size; seven bits a byte, for any line.
    Encoded,
}

/// Coordinate pairs in one instruction, few enough for small buffers.
const PAIRS: usize = 16;

/// A job as an HP-GL file in a dialect.
///
/// # Errors
/// A coordinate beyond the machine's largest, with both in millimetres; a pass whose tool the machine lacks.
pub fn hpgl(job: &CorrectedJob, machine: &Machine, dialect: Dialect) -> Result<Vec<u8>> {
    let stamp = job.stamp();
    let job = job.job();
    let mut text = machine.start.clone().into_bytes();
    let (mut points, mut steps) = (Vec::new(), Vec::new());
    if dialect == Dialect::Hpgl {
        text.extend_from_slice(b"IN;\n");
    } else {
        // Reset, into HP-GL/2, length along the roll and width: a page that cuts nothing off.
        let [length, width] = [job.width, job.height].map(|side| (side * machine.units_per_mm).ceil());
        let note = format!("{}; {}; {}", job.title, stamp.text, job.medium);
        writeln!(text, "\u{1b}E\u{1b}%0B;IN;PS{length},{width};\nCO\"{}\";", ascii(&note)).expect("writing to memory");
    }
    for pass in &job.passes {
        let tool = machine.tool(&pass.tool)?;
        write!(text, "PU;SP{};", tool.number).expect("writing to memory");
        if let Some(speed) = tool.speed {
            write!(text, "VS{};", trimmed(speed / 10.0, 1)).expect("writing to memory"); // centimetres a second
        }
        if let Some(force) = tool.force {
            write!(text, "FS{};", trimmed(force, 0)).expect("writing to memory");
        }
        text.push(b'\n');
        for stroke in &pass.strokes {
            let segments = stroke.path.segments().map(|segment| machine.place * segment);
            chords(segments, machine.tolerance, &mut points);
            steps.clear();
            for point in &points {
                steps.push(units(*point, machine)?);
            }
            match (steps.split_first(), dialect) {
                (None, _) => {}
                (Some((first, rest)), Dialect::Encoded) => encoded(&mut text, *first, rest),
                (Some((first, rest)), _) => plain(&mut text, *first, rest),
            }
        }
    }
    let close = if dialect == Dialect::Hpgl { "PU;SP0;\n" } else { "PU;SP0;PG;\n\u{1b}%0A\u{1b}E" };
    text.extend_from_slice(close.as_bytes());
    text.extend_from_slice(machine.end.as_bytes());
    Ok(text)
}

/// The nearest step of the machine's grid.
fn units(point: Point, machine: &Machine) -> Result<[i64; 2]> {
    machine.check(point)?;
    Ok([point.x, point.y].map(|mm| nearest_whole(mm * machine.units_per_mm)))
}

fn plain(text: &mut Vec<u8>, first: [i64; 2], rest: &[[i64; 2]]) {
    instruction(text, "PU", &[first]);
    for some in rest.chunks(PAIRS) {
        instruction(text, "PD", some);
    }
    text.extend_from_slice(b"PU;\n");
}

fn instruction(text: &mut Vec<u8>, name: &str, pairs: &[[i64; 2]]) {
    text.extend_from_slice(name.as_bytes());
    for (index, number) in pairs.iter().flatten().enumerate() {
        if index > 0 {
            text.push(b',');
        }
        push_trimmed(text, *number as f64, 0);
    }
    text.push(b';');
}

/// Base 32, flag `7`; `<` pen up and `=` absolute for the first pair, the others as steps with the pen down.
fn encoded(text: &mut Vec<u8>, first: [i64; 2], rest: &[[i64; 2]]) {
    text.extend_from_slice(b"PE7<=");
    for n in &first {
        digits(text, *n);
    }
    let mut at = first;
    for point in rest {
        digits(text, point[0] - at[0]);
        digits(text, point[1] - at[1]);
        at = *point;
    }
    text.extend_from_slice(b";PU;\n");
}

/// A number least digit first: n ≥ 0 as 2n, n < 0 as 2|n| + 1; digits are offset by 63, the last by 95.
fn digits(text: &mut Vec<u8>, number: i64) {
    let mut left = 2 * number.unsigned_abs() + u64::from(number < 0);
    while left >= 32 {
        text.push((left % 32) as u8 + 63);
        left /= 32;
    }
    text.push(left as u8 + 95);
}

/// A note in plain ASCII without what ends one.
fn ascii(note: &str) -> String {
    note.chars()
        .map(|c| {
            if c == ';' {
                ','
            } else if c == '"' || !(' '..='~').contains(&c) {
                '\''
            } else {
                c
            }
        })
        .collect()
}
