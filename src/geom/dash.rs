//! Line types of sizes that are laid over one another, and lines taken apart into dashes.

use super::{parts, path};
use kurbo::BezPath;

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
    let open = path::opened(line);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_lie_on_their_line() {
        // A square of 100 mm: 400 mm along, 27 steps of 15 mm, the last dash cut short by 2 mm of its 12.
        let mut square = kurbo::Shape::to_path(&kurbo::Rect::new(0.0, 0.0, 100.0, 100.0), 0.1);
        for _ in 0..2 {
            let dashes = dashed(&square, of_size(2));
            let lengths: Vec<f64> = dashes.iter().map(path::length).collect();
            assert_eq!(lengths.len(), 27);
            assert!(lengths[..26].iter().all(|long| (long - 12.0).abs() < 1e-4), "{lengths:?}");
            assert!((lengths[26] - 10.0).abs() < 1e-4, "{lengths:?}");
            let off = |p: kurbo::Point| parts::nearest(&square, p).map_or(f64::INFINITY, |(_, off)| off);
            assert!(
                dashes.iter().flat_map(BezPath::elements).filter_map(kurbo::PathEl::end_point).all(|p| off(p) < 1e-6)
            );
            // Drawn open with the last side, it is dashed alike.
            square = path::opened(&square);
        }
        assert_eq!(dashed(&square, of_size(1)), [square.clone()]);
        assert!(of_size(0).is_empty() && of_size(MOST_SIZES + 1).is_empty());
        for (index, pattern) in SIZES.iter().enumerate() {
            assert!(pattern.len() % 2 == 0 && SIZES[..index].iter().all(|other| other != pattern));
        }
    }
}
