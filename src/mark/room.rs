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

/// A square block of cells with the most that a place in it can be worth.
struct Block {
    most: f64,
    x: usize,
    y: usize,
    size: usize,
    /// The bundle of lines nearest to its middle.
    nearest: usize,
}

impl Ord for Block {
    fn cmp(&self, other: &Self) -> Ordering {
        // Of equals the first in reading order, so that the search always takes the same way.
        self.most.total_cmp(&other.most).then_with(|| (other.x, other.y, other.size).cmp(&(self.x, self.y, self.size)))
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
        let mut found: Option<Found> = None;
        let mut open = BinaryHeap::new();
        open.extend(self.block((0, 0, CELLS), 0, &wanted, None));
        while let Some(block) = open.pop() {
            if found.is_some_and(|found| block.most + HAIR < found.worth) {
                break;
            }
            if block.size == 1 {
                let centre = self.centre(block.x, block.y, 1);
                let scale = block.most / self.nearness(centre, 0.0);
                if found.is_none_or(|found| block.most > found.worth) {
                    found = Some(Found { worth: block.most, centre, scale });
                }
                continue;
            }
            let size = block.size / 2;
            for (x, y) in [(0, 0), (0, size), (size, 0), (size, size)] {
                let place = (block.x + x, block.y + y, size);
                open.extend(self.block(place, block.nearest, &wanted, found.map(|found| found.worth)));
            }
        }
        let found = self.refined(found?, &wanted);
        (found.scale >= least).then_some(Spot {
            centre: Affine::rotate(self.angle) * found.centre,
            angle: self.angle,
            scale: found.scale,
        })
    }

    fn centre(&self, x: usize, y: usize, size: usize) -> Point {
        let at = |i: usize, from: f64, long: f64| from + long * (i as f64 + size as f64 / 2.0) / CELLS as f64;
        Point::new(at(x, self.bounds.x0, self.bounds.width()), at(y, self.bounds.y0, self.bounds.height()))
    }

    /// Share of a scale that counts up to `radius` from `centre`.
    fn nearness(&self, centre: Point, radius: f64) -> f64 {
        let aside = (centre.distance(self.bounds.center()) - radius).max(0.0);
        1.0 - ASIDE * aside / self.bounds.size().to_vec2().hypot()
    }

    /// A block at a place (x, y, size), unless nothing in it can be worth more than `floor` or reach the least scale.
    /// `near` is a bundle of lines that may be nearest.
    fn block(
        &self,
        (x, y, size): (usize, usize, usize),
        near: usize,
        wanted: &Wanted,
        floor: Option<f64>,
    ) -> Option<Block> {
        let centre = self.centre(x, y, size);
        let cell = self.bounds.size().to_vec2() / CELLS as f64;
        let aside = cell * ((size as f64 - 1.0) / 2.0);
        let weighed = |v: Vec2| (v.x / wanted.half.x).max(v.y / wanted.half.y);
        let (reach, share) = (weighed(aside), self.nearness(centre, aside.hypot()));
        // The best place may still be moved within its cell, and counts less for lying aside.
        let least = (1.0 - ASIDE / 2.0) * wanted.least - weighed(cell / 2.0);
        let floor = floor.map_or(0.0, |worth| worth / share).max(least) - HAIR;
        let (room, nearest) =
            self.all.room(centre, wanted.half, (floor - reach - HAIR, wanted.enough + reach), near);
        if room + reach < floor {
            return None;
        }
        let most = if self.outline.contains(centre) { reach + room } else { reach - room };
        (most > 0.0 && most >= floor).then_some(Block { most: most.min(wanted.enough) * share, x, y, size, nearest })
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
