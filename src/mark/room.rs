//! Where a box of writing has most room.
//!
//! For a box of fixed shape the largest scale about a centre at which it meets none of the lines is the least weighted
//! Chebyshev distance from the centre to them ([`Lines::room`]). Taken as negative outside the sew line, that distance
//! changes by no more than the weighted distance between two centres, so the scale at the middle of a block of centres
//! bounds it over the whole block: blocks that can't hold the best place are left unsearched (branch and bound; Land and
//! Doig, Econometrica 28, 1960).

use super::ground::Spot;
use super::lines::Lines;
use kurbo::{Affine, Point, Rect, Vec2};
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// Cells along each side of the grid of centres; finer finds little more room.
const CELLS: usize = 32;

/// How much nearer the middle counts: the share of the scale lost at a box's width from it.
const ASIDE: f64 = 0.1;

/// Room for rounding when a block is left out.
const HAIR: f64 = 1e-9;

/// A ground turned so that writing is level.
pub(super) struct View {
    angle: f64,
    outline: Lines,
    all: Lines,
    bounds: Rect,
}

/// Cells from a column and a row on, so many wide and high, with the most that a place in them can be worth.
struct Block {
    most: f64,
    cells: [usize; 4],
    /// The bundle of lines nearest to its middle.
    nearest: usize,
}

impl Ord for Block {
    fn cmp(&self, other: &Self) -> Ordering {
        // Of equals the first in reading order, so that the search always takes the same way.
        self.most.total_cmp(&other.most).then_with(|| other.cells.cmp(&self.cells))
    }
}

impl PartialOrd for Block {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Block {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Block {}

/// What is looked for: a box, and the scales between which it matters.
struct Wanted {
    half: Vec2,
    least: f64,
    enough: f64,
}

/// The best so far.
#[derive(Clone, Copy)]
struct Found {
    worth: f64,
    centre: Point,
    scale: f64,
}

impl View {
    /// The ground turned by `-angle`.
    pub fn new(angle: f64, outline: &Lines, taken: &Lines) -> Self {
        let turn = Affine::rotate(-angle);
        let all = outline.turned(taken, turn);
        let outline = outline.turned(&Lines::default(), turn);
        Self { angle, bounds: outline.bounds(), outline, all }
    }

    /// The best place for a box of half-size `half` at scale 1: as large as the ground allows between the scales `least`
    /// and `enough`, and then near the middle. `None` where it can't be as large as `least`.
    pub fn roomiest(&self, half: Vec2, least: f64, enough: f64) -> Option<Spot> {
        let wanted = Wanted { half, least, enough };
        if 2.0 * least * half.x > self.bounds.width() || 2.0 * least * half.y > self.bounds.height() {
            return None;
        }
        let mut found: Option<Found> = None;
        let mut open = BinaryHeap::new();
        open.extend(self.block([0, 0, CELLS, CELLS], 0, &wanted, None));
        while let Some(block) = open.pop() {
            if found.is_some_and(|found| block.most + HAIR < found.worth) {
                break;
            }
            let [x, y, wide, high] = block.cells;
            if wide * high == 1 {
                let centre = self.centre(block.cells);
                let scale = block.most / self.nearness(centre, 0.0);
                if found.is_none_or(|found| block.most > found.worth) {
                    found = Some(Found { worth: block.most, centre, scale });
                }
                continue;
            }
            // Halved across the way in which the box is moved about more, for its size.
            let aside = self.aside(block.cells);
            let parts = if wide > 1 && (high == 1 || aside.x * half.y >= aside.y * half.x) {
                [[x, y, wide / 2, high], [x + wide / 2, y, wide / 2, high]]
            } else {
                [[x, y, wide, high / 2], [x, y + high / 2, wide, high / 2]]
            };
            for part in parts {
                open.extend(self.block(part, block.nearest, &wanted, found.map(|found| found.worth)));
            }
        }
        let found = self.refined(found?, &wanted);
        (found.scale >= least).then_some(Spot {
            centre: Affine::rotate(self.angle) * found.centre,
            angle: self.angle,
            scale: found.scale,
        })
    }

    fn centre(&self, [x, y, wide, high]: [usize; 4]) -> Point {
        let at =
            |i: usize, size: usize, from: f64, long: f64| from + long * (i as f64 + size as f64 / 2.0) / CELLS as f64;
        let Rect { x0, y0, .. } = self.bounds;
        Point::new(at(x, wide, x0, self.bounds.width()), at(y, high, y0, self.bounds.height()))
    }

    /// How far the outer cells' centres lie from the middle, each way.
    fn aside(&self, [.., wide, high]: [usize; 4]) -> Vec2 {
        let share = |cells: usize| (cells as f64 - 1.0) / 2.0 / CELLS as f64;
        Vec2::new(self.bounds.width() * share(wide), self.bounds.height() * share(high))
    }

    /// Share of a scale that counts up to `radius` from `centre`.
    fn nearness(&self, centre: Point, radius: f64) -> f64 {
        let aside = (centre.distance(self.bounds.center()) - radius).max(0.0);
        1.0 - ASIDE * aside / self.bounds.size().to_vec2().hypot()
    }

    /// A block, unless nothing in it can be worth more than `floor` or reach the least scale. `near` is a bundle of lines
    /// that may be nearest.
    fn block(&self, cells: [usize; 4], near: usize, wanted: &Wanted, floor: Option<f64>) -> Option<Block> {
        let centre = self.centre(cells);
        let cell = self.bounds.size().to_vec2() / CELLS as f64;
        let aside = self.aside(cells);
        let weighed = |v: Vec2| (v.x / wanted.half.x).max(v.y / wanted.half.y);
        let (reach, share) = (weighed(aside), self.nearness(centre, aside.hypot()));
        // The best place may still be moved within its cell, and counts less for lying aside.
        let least = (1.0 - ASIDE / 2.0) * wanted.least - weighed(cell / 2.0);
        let floor = floor.map_or(0.0, |worth| worth / share).max(least) - HAIR;
        let (room, nearest) = self.all.room(centre, wanted.half, (floor - reach - HAIR, wanted.enough + reach), near);
        if room + reach < floor {
            return None;
        }
        let most = if self.outline.contains(centre) { reach + room } else { reach - room };
        (most > 0.0 && most >= floor).then_some(Block { most: most.min(wanted.enough) * share, cells, nearest })
    }

    /// The same, moved by ever smaller steps as long as that helps.
    fn refined(&self, mut best: Found, wanted: &Wanted) -> Found {
        let mut step = self.bounds.size().to_vec2() / (2.0 * CELLS as f64);
        for _ in 0..6 {
            let from = best.centre;
            for (x, y) in [(-1.0, 0.0), (1.0, 0.0), (0.0, -1.0), (0.0, 1.0)] {
                let centre = from + Vec2::new(x * step.x, y * step.y);
                let nearness = self.nearness(centre, 0.0);
                if self.outline.contains(centre) {
                    let between = (best.worth / nearness, wanted.enough);
                    let (scale, _) = self.all.room(centre, wanted.half, between, usize::MAX);
                    if scale * nearness > best.worth {
                        best = Found { worth: scale * nearness, centre, scale };
                    }
                }
            }
            step *= 0.5;
        }
        best
    }
}
