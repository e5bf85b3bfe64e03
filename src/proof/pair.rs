//! Which path of a drawing is which stroke of the sheet: by bounding box, then by distance.

use super::trace::{Trace, apart};
use std::collections::HashMap;

/// Paths in a pile of look-alikes that one stroke is compared with. A larger pile may fail a good file, and never passes
/// a bad one.
const MOST_TRIED: usize = 32;

/// Pairs each wanted trace with at most one drawn trace that lies within `limit` and that `may` allows, the nearest
/// first. Gives for each wanted trace its partner and their distance. `free` says which drawn traces are still to be
/// had, and is brought up to date.
pub(super) fn pair(
    wanted: &[(usize, &Trace)],
    drawn: &[Option<Trace>],
    free: &mut [bool],
    limit: f64,
    may: impl Fn(usize, usize) -> bool,
) -> Vec<Option<(usize, f64)>> {
    let cell = (2.0 * limit).max(0.05);
    let key = |trace: &Trace| ((trace.bounds.x0 / cell).floor() as i64, (trace.bounds.y0 / cell).floor() as i64);
    let mut cells: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
    for (index, trace) in drawn.iter().enumerate() {
        if let (Some(trace), true) = (trace, free[index]) {
            cells.entry(key(trace)).or_default().push(index);
        }
    }
    wanted
        .iter()
        .map(|&(stroke, trace)| {
            let (column, row) = key(trace);
            let mut best: Option<(usize, f64)> = None;
            let mut tried = 0;
            for place in (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (dx, dy))) {
                let near = cells.get(&(column.saturating_add(place.0), row.saturating_add(place.1)));
                for &index in near.into_iter().flatten() {
                    let Some(other) = drawn[index].as_ref().filter(|_| free[index]) else { continue };
                    if tried == MOST_TRIED || !boxes_agree(trace, other, limit) || !may(stroke, index) {
                        continue;
                    }
                    tried += 1;
                    let distance = apart(trace, other, best.map_or(limit, |(_, distance)| distance.min(limit)));
                    if distance.is_finite() && best.is_none_or(|(_, least)| distance < least) {
                        best = Some((index, distance));
                    }
                }
            }
            if let Some((index, _)) = best {
                free[index] = false;
                if let Some(pile) = drawn[index].as_ref().and_then(|trace| cells.get_mut(&key(trace))) {
                    pile.retain(|&other| other != index);
                }
            }
            best
        })
        .collect()
}

/// Whether each side of the two boxes lies within `limit`.
fn boxes_agree(a: &Trace, b: &Trace, limit: f64) -> bool {
    let sides = |t: &Trace| [t.bounds.x0, t.bounds.y0, t.bounds.x1, t.bounds.y1];
    sides(a).iter().zip(sides(b)).all(|(a, b)| (a - b).abs() <= limit)
}
