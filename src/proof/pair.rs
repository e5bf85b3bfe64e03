//! Which path of a drawing is which stroke of the sheet: by bounding box, then by distance.

use super::trace::{Trace, apart};
use kurbo::{Affine, BezPath, Rect, Shape};
use std::cell::OnceCell;
use std::collections::HashMap;

/// Paths in a pile of look-alikes that one stroke is compared with. A larger pile may fail a good file, and never passes
/// a bad one.
const MOST_TRIED: usize = 32;

/// A path of the file where the machine will draw it. It is traced when first compared, so that a file of paths like
/// none on the sheet costs nothing.
pub(super) struct Drawn {
    path: BezPath,
    pub bounds: Rect,
    trace: OnceCell<Option<Trace>>,
}

impl Drawn {
    /// `None` where a number is not finite.
    pub fn new(path: BezPath) -> Option<Self> {
        let bounds = path.bounding_box();
        let finite = path.is_finite() && bounds.is_finite();
        finite.then(|| Self { path, bounds, trace: OnceCell::new() })
    }

    pub fn path(&self) -> &BezPath {
        &self.path
    }

    pub fn moved(&self, affine: Affine) -> Option<Self> {
        Self::new(affine * &self.path)
    }

    /// The trace, unless it is much longer than `length`, mm: of a stroke with the same bounding box.
    fn trace(&self, length: f64) -> Option<&Trace> {
        self.trace.get_or_init(|| Trace::new(&self.path, 4.0 * length + 100.0)).as_ref()
    }
}

/// Pairs each wanted trace with at most one drawn path that lies within `limit` and that `may` allows, the nearest
/// first. Gives for each wanted trace its partner and their distance. `free` says which paths are still to be had, and
/// is brought up to date.
pub(super) fn pair(
    wanted: &[(usize, &Trace)],
    drawn: &[Option<Drawn>],
    free: &mut [bool],
    limit: f64,
    may: impl Fn(usize, usize) -> bool,
) -> Vec<Option<(usize, f64)>> {
    let cell = (2.0 * limit).max(0.05);
    let key = |bounds: Rect| ((bounds.x0 / cell).floor() as i64, (bounds.y0 / cell).floor() as i64);
    let mut cells: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
    for (index, path) in drawn.iter().enumerate() {
        if let (Some(path), true) = (path, free[index]) {
            cells.entry(key(path.bounds)).or_default().push(index);
        }
    }
    wanted
        .iter()
        .map(|&(stroke, trace)| {
            let (column, row) = key(trace.bounds);
            let mut best: Option<(usize, f64)> = None;
            let mut tried = 0;
            for place in (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (dx, dy))) {
                let near = cells.get(&(column.saturating_add(place.0), row.saturating_add(place.1)));
                for &index in near.into_iter().flatten() {
                    let Some(path) = drawn[index].as_ref().filter(|_| free[index]) else { continue };
                    if tried == MOST_TRIED || !agree(trace.bounds, path.bounds, limit) || !may(stroke, index) {
                        continue;
                    }
                    tried += 1;
                    let Some(other) = path.trace(trace.length()) else { continue };
                    let distance = apart(trace, other, best.map_or(limit, |(_, distance)| distance.min(limit)));
                    if distance.is_finite() && best.is_none_or(|(_, least)| distance < least) {
                        best = Some((index, distance));
                    }
                }
            }
            if let Some((index, _)) = best {
                free[index] = false;
                if let Some(pile) = drawn[index].as_ref().and_then(|path| cells.get_mut(&key(path.bounds))) {
                    pile.retain(|&other| other != index);
                }
            }
            best
        })
        .collect()
}

/// Whether each side of the two boxes lies within `limit`.
fn agree(a: Rect, b: Rect, limit: f64) -> bool {
    let sides = |r: Rect| [r.x0, r.y0, r.x1, r.y1];
    sides(a).iter().zip(sides(b)).all(|(a, b)| (a - b).abs() <= limit)
}
