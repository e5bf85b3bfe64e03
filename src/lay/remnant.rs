//! What is left of a cloth: the largest rectangle that nothing lies on.

use super::cloth::OnCloth;
use super::rows::{Room, Shape, Spot};
use kurbo::{Rect, Shape as _};

/// Height of the rows that are looked at, mm: the rectangle is found to within two of them.
const ROW: f64 = 5.0;

/// The largest rectangle along the cloth, `length` by `height` mm, that keeps clear of what is placed and of `blocked`;
/// empty where all is taken.
pub(super) fn largest(placed: &[OnCloth], blocked: &[[f64; 4]], length: f64, height: f64) -> Rect {
    let mut room = Room::new(length, height, 0.0, ROW);
    for one in placed {
        let bounds = one.outline.bounding_box();
        let row = (bounds.y0.max(0.0) / ROW).floor();
        // Rows of the shape are those of the room.
        let shape = Shape::new(&one.outline, std::iter::empty(), ROW, Some(row * ROW));
        room.take(&shape, Spot { x: bounds.x0, row: row as usize });
    }
    for [x0, x1, low, high] in blocked {
        room.block(Rect::new(*x0, *low, *x1, *high));
    }
    let rows = (height / ROW).floor() as usize;
    let mut best = Rect::ZERO;
    for first in 0..rows {
        let mut taken: Vec<[f64; 2]> = Vec::new();
        for last in first..rows {
            taken.extend_from_slice(room.taken(last));
            taken.sort_by(|a, b| a[0].total_cmp(&b[0]));
            let mut from = 0.0_f64;
            for [low, high] in taken.iter().copied().chain([[length, length]]) {
                let (wide, high_side) = (low.min(length) - from, (last + 1 - first) as f64 * ROW);
                if wide * high_side > best.area() {
                    best = Rect::new(from, first as f64 * ROW, from + wide, (last + 1) as f64 * ROW);
                }
                from = from.max(high);
            }
            // Where every row is taken throughout nothing wider comes.
            taken.dedup_by(|next, before| {
                let meet = next[0] <= before[1];
                if meet {
                    before[1] = before[1].max(next[1]);
                }
                meet
            });
        }
    }
    best
}
