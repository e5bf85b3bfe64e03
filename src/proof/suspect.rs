//! What may have happened to a file of which next to nothing is where it belongs.

use super::pair::{Drawn, pair};
use super::trace::Trace;
use crate::device::Correction;
use crate::read::Drawing;
use crate::units::trimmed;
use kurbo::{Affine, Rect, Vec2};

/// Strokes that a suspicion is tried on.
const TRIED: usize = 24;

/// In one phrase what was done to the whole file, where undoing it brings nearly all strokes into place.
pub(super) fn suspect(
    drawing: &Drawing,
    wanted: &[&Trace],
    correction: Option<&Correction>,
    allowed: f64,
) -> Option<String> {
    let step = wanted.len().div_ceil(TRIED).max(1);
    let tried: Vec<(usize, &Trace)> = wanted.iter().copied().enumerate().step_by(step).collect();
    let target = all(wanted.iter().map(|trace| trace.bounds))?;
    let j = correction.map_or(Affine::IDENTITY, |c| Affine::new([c.x, 0.0, c.skew, c.y, 0.0, 0.0]));
    let undo = |what, affine: Affine| (what, affine * j);
    let mut suspicions = vec![
        undo("all is in its place, but on the wrong layers", Affine::IDENTITY),
        undo("it is mirrored, left for right", Affine::new([-1.0, 0.0, 0.0, 1.0, 0.0, 0.0])),
        undo("it is mirrored, top for bottom", Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, 0.0])),
        undo("it is turned by half a turn", Affine::scale(-1.0)),
        undo("its axes are swapped", Affine::new([0.0, 1.0, 1.0, 0.0, 0.0, 0.0])),
        undo("it is turned by a quarter", Affine::new([0.0, 1.0, -1.0, 0.0, 0.0, 0.0])),
        undo("it is turned by a quarter", Affine::new([0.0, -1.0, 1.0, 0.0, 0.0, 0.0])),
        undo("it is 25.4 times too large: inches taken for millimetres", Affine::scale(1.0 / 25.4)),
        undo("it is 25.4 times too small: millimetres taken for inches", Affine::scale(25.4)),
        undo("it is 10 times too large: centimetres and millimetres mixed up", Affine::scale(0.1)),
        undo("it is 10 times too small: centimetres and millimetres mixed up", Affine::scale(10.0)),
    ];
    if correction.is_some() {
        suspicions.push(("the device's correction was left out", Affine::IDENTITY));
        suspicions.push(undo("the device's correction was applied twice", j));
    }
    for (what, linear) in suspicions {
        let drawn: Vec<Option<Drawn>> = drawing.paths.iter().map(|bare| Drawn::new(linear * &bare.path)).collect();
        let Some(found) = all(drawn.iter().flatten().map(|path| path.bounds)) else { continue };
        let fits = |a: f64, b: f64| (a - b).abs() <= 1.0;
        if !fits(found.width(), target.width()) || !fits(found.height(), target.height()) {
            continue;
        }
        // What was flattened small is coarse when it is enlarged.
        let limit = allowed * linear.determinant().abs().sqrt().max(1.0);
        // In its place, or else moved so that the two bounding boxes meet.
        for by in [Vec2::ZERO, target.origin() - found.origin()] {
            let moved: Vec<Option<Drawn>> =
                drawn.iter().map(|path| path.as_ref()?.moved(Affine::translate(by))).collect();
            let mut free = vec![true; moved.len()];
            let hits = pair(&tried, &moved, &mut free, limit, |_, _| true).iter().flatten().count();
            if hits * 10 < tried.len() * 9 {
                continue;
            }
            let plain = linear == j;
            return Some(match (plain, by == Vec2::ZERO) {
                (true, false) => {
                    format!("all of it is moved by x {} mm, y {} mm", trimmed(-by.x, 3), trimmed(-by.y, 3))
                }
                _ => what.into(),
            });
        }
    }
    None
}

fn all(bounds: impl Iterator<Item = Rect>) -> Option<Rect> {
    bounds.reduce(|a, b| a.union(b))
}
