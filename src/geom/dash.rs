//! Line types of sizes that are laid over one another, and lines taken apart into dashes.

use super::{parts, path};
use kurbo::{BezPath, PathEl};

/// Dashes and gaps of each size, mm, starting with a dash; the first is drawn whole. They differ in the number and length
/// of their marks, not only in scale, so that they are told apart in a photocopy too.
const SIZES: [&[f64]; 12] = [
    &[],
    &[12.0, 3.0],
    &[5.0, 3.0],
    &[12.0, 2.5, 1.0, 2.5],
    &[12.0, 2.5, 1.0, 2.5, 1.0, 2.5],
    &[1.0, 2.5],
    &[12.0, 2.5, 5.0, 2.5],
    &[5.0, 2.5, 1.0, 2.5],
    &[12.0, 2.5, 5.0, 2.5, 5.0, 2.5],
    &[5.0, 2.5, 1.0, 2.5, 1.0, 2.5],
    &[12.0, 2.5, 1.0, 2.5, 1.0, 2.5, 1.0, 2.5],
    &[20.0, 6.0],
];

/// More sizes than this can't be told apart by their lines.
pub const MOST_SIZES: usize = SIZES.len();

/// Dashes and gaps of a size by its number, from 1; empty for a whole line.
pub fn of_size(number: usize) -> &'static [f64] {
    SIZES.get(number.wrapping_sub(1)).copied().unwrap_or_default()
}

/// What is left of a line at its end is drawn as a dash of its own from this length on, mm.
const LEAST: f64 = 0.1;

/// The dashes of a path of one subpath, each an open path of its own; the path itself where `pattern` is empty.
pub fn dashed(line: &BezPath, pattern: &[f64]) -> Vec<BezPath> {
    if pattern.is_empty() {
        return vec![line.clone()];
    }
    let open = opened(line);
    let long = path::length(&open);
    let mut dashes = Vec::new();
    let mut at = 0.0;
    for (index, step) in pattern.iter().cycle().enumerate() {
        if at + LEAST > long || *step <= 0.0 {
            break;
        }
        if index % 2 == 0 {
            dashes.push(parts::between(&open, at, (at + step).min(long)));
        }
        at += step;
    }
    dashes
}

/// A closed path as one open run that returns to its start.
fn opened(line: &BezPath) -> BezPath {
    let mut open: BezPath = line.elements().iter().copied().filter(|element| *element != PathEl::ClosePath).collect();
    if path::is_closed(line)
        && let (Some(start), Some(end)) = (path::start(line), path::end(&open))
        && start != end
    {
        open.line_to(start);
    }
    open
}
