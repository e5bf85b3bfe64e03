//! One thread of the search: a lay made shorter step by step, its overlaps worked out each time.
//!
//! After Gardeyn, Vanden Berghe and Wauters, "An open-source heuristic to reboot 2D nesting research" (arXiv
//! 2509.13329): guided local search with weights for every pair, samples over the strip and about the item, coordinate
//! descent, exploring shrinks with a pool of failures, compressing ones with ever smaller steps. How bad an overlap is
//! is told by its true depth, from tables, where the paper estimates it by circles.

use super::near::Near;
use super::problem::{Item, Place, Problem};
use super::random::Random;

/// Items in their places on a strip of some length.
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    /// Of the strip, mm.
    pub length: f64,
    /// One for each item.
    pub places: Vec<Place>,
}

/// Samples over the whole strip.
const STRIP_SAMPLES: usize = 40;

/// Samples about where the item lies.
const NEAR_SAMPLES: usize = 20;

/// By which part the strip is shortened, at first and at last, while exploring.
const EXPLORING: [f64; 2] = [0.01, 0.001];

/// The same while compressing.
const COMPRESSING: [f64; 2] = [0.0005, 0.000_01];

/// Sweeps without progress that end an attempt, and attempts that end a try: exploring and compressing.
const PATIENCE: [(usize, usize); 2] = [(200, 3), (100, 5)];

/// Failures that are kept.
const POOL: usize = 20;

/// What counts as progress.
const PROGRESS: f64 = 0.98;

/// What becomes of the weight of a pair that is clear, of one that overlaps least, and of one that overlaps most.
const WEIGHTS: [f32; 3] = [0.95, 1.2, 2.0];

/// A pair's least weight goes with the product of both areas to this power: so large items, which have few places to go,
/// come to lie clear first, and small ones give way to them. Without it lays of pieces of many sizes end 1 to 2 % less
/// dense; from 0.25 to 0.5 it makes little difference.
const BY_AREA: f64 = 0.35;

/// What is added to the depth of every overlap, however shallow, as a part of the root of the items' mean area: a few deep
/// overlaps are sooner cleared than many shallow ones. Twice and six times as much gained nothing on the whole.
const TOUCH: f64 = 0.005;

/// What the overlap of each pair counts at the least; 1 for two items of the mean area.
fn least_weights(problem: &Problem) -> Vec<f32> {
    let area = |item: &Item| item.forms.first().map_or(0.0, |form| problem.forms[*form].area());
    let areas: Vec<f64> = problem.items.iter().map(area).collect();
    let mean = areas.iter().sum::<f64>() / areas.len().max(1) as f64;
    let weight = |a: f64, b: f64| (a / mean * (b / mean)).powf(BY_AREA) as f32;
    areas.iter().flat_map(|a| areas.iter().map(|b| weight(*a, *b))).collect()
}

pub(super) struct Worker<'a> {
    problem: &'a Problem,
    random: Random,
    /// Being worked on.
    laid: Laid,
    near: Near,
    /// The least weight of each pair; rows of as many as there are items.
    least_weights: Vec<f32>,
    /// Of each pair.
    weights: Vec<f32>,
    /// How much each pair overlaps; 0 where it is clear.
    overlaps: Vec<f32>,
    /// Added to the depth of every overlap, mm.
    touch: f64,
    /// The best without overlap.
    pub(super) best: Laid,
    /// How much of the compressing is done; below 0 while exploring.
    pub(super) compressed: f64,
    /// Evaluations of a place so far.
    pub(super) evaluations: u64,
    /// How much the next exploring shrink takes.
    step: f64,
    /// Failures at the present length, with what overlap was left, least first.
    pool: Vec<(f64, Laid)>,
    least: f64,
    least_places: Vec<Place>,
    idle: usize,
    attempts: usize,
    attempt_began: f64,
    /// A length that is not to be shortened any further.
    goal: f64,
}

impl<'a> Worker<'a> {
    /// Begins with a lay without overlap.
    pub(super) fn new(problem: &'a Problem, start: Laid, seed: u64, goal: f64) -> Self {
        let count = problem.items.len();
        let mut worker = Self {
            problem,
            random: Random::new(seed),
            laid: start.clone(),
            near: Near::new([start.length, problem.height], count),
            least_weights: least_weights(problem),
            weights: vec![1.0; count * count],
            overlaps: vec![0.0; count * count],
            touch: TOUCH * (problem.area() / count.max(1) as f64).sqrt(),
            best: start,
            compressed: -1.0,
            evaluations: 0,
            step: EXPLORING[0],
            pool: Vec::new(),
            least: 0.0,
            least_places: Vec::new(),
            idle: 0,
            attempts: 0,
            attempt_began: 0.0,
            goal,
        };
        worker.shrink();
        worker
    }

    /// Begins with a lay that overlaps, to be cleared at its length.
    pub(super) fn to_clear(problem: &'a Problem, start: &Laid, seed: u64) -> Self {
        let longer = Laid { length: f64::MAX, places: start.places.clone() };
        let mut worker = Self::new(problem, longer, seed, start.length);
        worker.near = Near::new([start.length, problem.height], start.places.len());
        worker.laid = start.clone();
        // No attempt begins with another length.
        worker.step = EXPLORING[1];
        worker.begin();
        worker
    }

    /// Goes on from a better lay that another worker found.
    pub(super) fn adopt(&mut self, best: &Laid) {
        self.best = best.clone();
        self.pool.clear();
        self.shrink();
    }

    /// Whether there is nothing more to do.
    pub(super) fn done(&self) -> bool {
        self.best.length <= self.goal
    }

    /// Takes a slice out of the best lay.
    fn shrink(&mut self) {
        let part = if self.compressed < 0.0 {
            self.step
        } else {
            COMPRESSING[0] * (COMPRESSING[1] / COMPRESSING[0]).powf(self.compressed.min(1.0))
        };
        self.laid = self.best.clone();
        let cut = (self.best.length * part).min(self.best.length - self.goal).max(0.0);
        let split = self.random.between(0.0, self.best.length);
        self.laid.length -= cut;
        for (item, place) in self.laid.places.iter_mut().enumerate() {
            if self.problem.items[item].locked.is_none() {
                place.x -= if place.x > split { cut } else { 0.0 };
                *place = self.problem.within(item, *place, self.laid.length);
            }
        }
        self.begin();
    }

    fn begin(&mut self) {
        self.measure();
        self.weights.copy_from_slice(&self.least_weights);
        self.least = f64::INFINITY;
        self.attempt_began = f64::INFINITY;
        self.idle = 0;
        self.attempts = 0;
        self.least_places = self.laid.places.clone();
    }

    fn measure(&mut self) {
        for item in 0..self.laid.places.len() {
            self.enter(item);
        }
        for item in 0..self.laid.places.len() {
            self.measure_item(item);
        }
    }

    /// Tells the grid where an item lies; the gap is on its side.
    fn enter(&mut self, item: usize) {
        let place = self.laid.places[item];
        let [x, y] = self.problem.forms[place.form].half.map(|half| half + self.problem.gap);
        self.near.set(item, [place.x - x, place.y - y], [place.x + x, place.y + y]);
    }

    fn measure_item(&mut self, item: usize) {
        let count = self.laid.places.len();
        let place = self.laid.places[item];
        for (other, at) in self.laid.places.iter().enumerate().filter(|(other, _)| *other != item) {
            // Locked items are where they are, whether they overlap or not.
            let both_locked = [item, other].iter().all(|index| self.problem.items[*index].locked.is_some());
            let overlap = if both_locked { 0.0 } else { self.overlap(*at, place) };
            self.overlaps[item * count + other] = overlap as f32;
            self.overlaps[other * count + item] = overlap as f32;
        }
    }

    /// How much an item at one place overlaps another at its place.
    #[inline]
    fn overlap(&self, at: Place, place: Place) -> f64 {
        let depth = self.problem.depth(at.form, place.form, place.x - at.x, place.y - at.y);
        if depth > 0.0 { depth + self.touch } else { 0.0 }
    }

    fn overlaps(&self, item: usize) -> bool {
        let count = self.laid.places.len();
        self.overlaps[item * count..(item + 1) * count].iter().any(|overlap| *overlap > 0.0)
    }

    /// Moves every item that overlaps once, in random order, and weighs the overlaps that are left.
    pub(super) fn sweep(&mut self) {
        let count = self.laid.places.len();
        let mut order: Vec<usize> =
            (0..count).filter(|item| self.problem.items[*item].locked.is_none() && self.overlaps(*item)).collect();
        self.random.shuffle(&mut order);
        // Counted even where nothing moves, so that a budget ends.
        self.evaluations += 1;
        for item in order {
            if self.overlaps(item) {
                self.place(item);
            }
        }
        let total: f64 =
            self.overlaps.iter().zip(&self.least_weights).map(|(overlap, least)| f64::from(overlap * least)).sum();
        if total <= 0.0 {
            self.best = self.laid.clone();
            self.pool.clear();
            if !self.done() {
                self.shrink();
            }
            return;
        }
        if total < self.least {
            self.idle = if total < PROGRESS * self.least { 0 } else { self.idle };
            self.least = total;
            self.least_places.copy_from_slice(&self.laid.places);
        } else {
            self.idle += 1;
        }
        let (patience, attempts) = PATIENCE[usize::from(self.compressed >= 0.0)];
        if self.idle >= patience {
            self.idle = 0;
            self.attempts = if self.least < PROGRESS * self.attempt_began { 1 } else { self.attempts + 1 };
            self.attempt_began = self.least;
            self.laid.places.copy_from_slice(&self.least_places);
            self.measure();
            if self.attempts >= attempts {
                self.give_up();
                return;
            }
        }
        self.weigh();
    }

    fn weigh(&mut self) {
        let weighed = || self.overlaps.iter().zip(&self.least_weights).map(|(overlap, least)| overlap * least);
        let worst = weighed().fold(f32::MIN_POSITIVE, f32::max);
        let [fade, less, more] = WEIGHTS;
        for ((weight, overlap), least) in self.weights.iter_mut().zip(weighed()).zip(&self.least_weights) {
            *weight = if overlap > 0.0 {
                *weight * (less + (more - less) * overlap / worst)
            } else {
                (*weight * fade).max(*least)
            };
        }
    }

    /// After a failure: a smaller step, or from one of the failures with two large items exchanged.
    fn give_up(&mut self) {
        if self.compressed >= 0.0 {
            self.shrink();
            return;
        }
        if self.step > EXPLORING[1] {
            self.step = (self.step / 3.0).max(EXPLORING[1]);
            self.shrink();
            return;
        }
        let at = self.pool.partition_point(|(left, _)| *left < self.least);
        self.pool.insert(at, (self.least, self.laid.clone()));
        self.pool.truncate(POOL);
        // The better ones more often: the absolute value of a nearly normal variate.
        let normal = (0..12).map(|_| self.random.unit()).sum::<f64>() - 6.0;
        let pick = ((0.25 * normal).abs().min(0.999) * self.pool.len() as f64) as usize;
        self.laid = self.pool[pick].1.clone();
        self.exchange();
        self.begin();
    }

    /// Exchanges two of the items that make up most of the area.
    fn exchange(&mut self) {
        let area = |item: usize| {
            let [x, y] = self.problem.forms[self.laid.places[item].form].half;
            x * y
        };
        let mut free: Vec<usize> =
            (0..self.laid.places.len()).filter(|item| self.problem.items[*item].locked.is_none()).collect();
        free.sort_by(|a, b| area(*b).total_cmp(&area(*a)));
        let mut rest = 0.75 * free.iter().map(|item| area(*item)).sum::<f64>();
        let large = free.iter().take_while(|item| {
            let within = rest > 0.0;
            rest -= area(**item);
            within
        });
        let large = large.count();
        for _ in 0..50 {
            let [a, b] = [0, 1].map(|_| free[self.random.below(large)]);
            if self.problem.items[a].forms != self.problem.items[b].forms {
                let (at_a, at_b) = (self.laid.places[a], self.laid.places[b]);
                for (item, to) in [(a, at_b), (b, at_a)] {
                    let form = self.laid.places[item].form;
                    self.laid.places[item] = self.problem.within(item, Place { form, ..to }, self.laid.length);
                }
                return;
            }
        }
    }

    /// The weighted overlap of an item at a place; where it is more than `bound`, any number above that.
    #[inline]
    fn loss(&mut self, item: usize, place: Place, bound: f64) -> f64 {
        self.evaluations += 1;
        let count = self.laid.places.len();
        let [x, y] = self.problem.forms[place.form].half;
        let (low, high) = ([place.x - x, place.y - y], [place.x + x, place.y + y]);
        let weights = &self.weights[item * count..(item + 1) * count];
        let mut sum = 0.0;
        self.near.each(low, high, |other| {
            if other != item {
                sum += self.overlap(self.laid.places[other], place) * f64::from(weights[other]);
            }
            sum < bound
        });
        sum
    }

    /// Moves an item to where its weighted overlap is least, as far as samples and descents tell.
    fn place(&mut self, item: usize) {
        let count = self.laid.places.len();
        let problem = self.problem;
        let here = self.laid.places[item];
        let row = item * count..(item + 1) * count;
        let now: f64 = self.overlaps[row.clone()]
            .iter()
            .zip(&self.weights[row])
            .map(|(overlap, weight)| f64::from(*overlap) * f64::from(*weight))
            .sum();
        let mut few = [(now, here), (f64::INFINITY, here), (f64::INFINITY, here)];
        let forms = &problem.items[item].forms;
        for sample in 0..STRIP_SAMPLES + NEAR_SAMPLES {
            let form = forms[self.random.below(forms.len())];
            let [x, y] = problem.forms[form].half;
            let at = if sample < STRIP_SAMPLES {
                [self.random.between(x, self.laid.length - x), self.random.between(y, problem.height - y)]
            } else {
                [here.x + self.random.between(-x, x), here.y + self.random.between(-y, y)]
            };
            let place = problem.within(item, Place { form, x: at[0], y: at[1] }, self.laid.length);
            let loss = self.loss(item, place, few[2].0);
            if loss < few[2].0 {
                few[2] = (loss, place);
                few.sort_by(|a, b| a.0.total_cmp(&b.0));
            }
        }
        let mut best = few[0];
        for start in few.into_iter().filter(|start| start.0.is_finite()) {
            let found = self.descend(item, start, [0.1, 0.004]);
            if found.0 < best.0 {
                best = found;
            }
        }
        best = self.descend(item, best, [0.004, 0.000_05]);
        if best.0 < now {
            self.laid.places[item] = best.1;
            self.enter(item);
            self.measure_item(item);
        }
    }

    /// Coordinate descent with steps from one size to another, as parts of the item's smaller extent.
    fn descend(&mut self, item: usize, start: (f64, Place), sizes: [f64; 2]) -> (f64, Place) {
        /// What becomes of a step that helped, and of one that did not; where both axes are stepped, of each.
        const CHANGE: [[f64; 2]; 2] = [[1.1, 0.5], [1.1, std::f64::consts::FRAC_1_SQRT_2]];
        let mut best = start;
        let [x, y] = self.problem.forms[start.1.form].half;
        let [first, last] = sizes.map(|size| size * 2.0 * x.min(y));
        let mut steps = [first; 2];
        let lattice = self.problem.forms[start.1.form].lattice;
        while best.0 > 0.0 && steps.iter().any(|step| *step > last) {
            let axis = self.random.below(4);
            // From point to point where there is a lattice.
            let [along, across] = [0, 1].map(|axis| steps[axis].max(lattice[axis][1]));
            let by = match axis {
                0 => [along, 0.0],
                1 => [0.0, across],
                2 => [along, across],
                _ => [along, -across],
            };
            let mut helped = false;
            for sign in [1.0, -1.0] {
                let to = Place { x: best.1.x + sign * by[0], y: best.1.y + sign * by[1], ..best.1 };
                let to = self.problem.within(item, to, self.laid.length);
                let loss = self.loss(item, to, best.0);
                if loss < best.0 {
                    best = (loss, to);
                    helped = true;
                    break;
                }
            }
            let change = |both: usize| CHANGE[both][usize::from(!helped)];
            match axis {
                0 | 1 => steps[axis] *= change(0),
                _ => steps = steps.map(|step| step * change(1)),
            }
        }
        best
    }
}
