//! The search for a short lay of a strip.

mod convolution;
mod field;
mod near;
mod problem;
mod random;
mod sections;
mod worker;

pub use problem::{Form, Item, Place, Problem};
pub use sections::{in_one, lay};
pub use worker::Laid;

pub(super) use random::Random;
use std::time::{Duration, Instant};
use worker::Worker;

/// How long to search.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Budget {
    /// Places tried by each thread. The same seed, budget and threads give the same lay.
    pub evaluations: u64,
    /// Where given, the clock ends the search, and no lay need come twice.
    pub seconds: Option<f64>,
    /// Threads, each with a search of its own; they share what they find.
    pub threads: usize,
    /// Chooses among equals.
    pub seed: u64,
    /// A length that is short enough, mm; 0 for as short as can be.
    pub enough: f64,
}

/// How far a search is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Progress {
    /// Of the best lay so far, mm.
    pub length: f64,
    /// Its part of the strip that items cover.
    pub density: f64,
    /// Of the budget.
    pub part: f64,
}

/// The part of a budget after which a lay is only compressed.
const EXPLORE: f64 = 0.8;

/// Places tried by each thread between two exchanges of what was found.
const ROUND: u64 = 200_000;

/// Makes a lay shorter until the budget is used or `progress` returns false. The result is no longer than `start`, which
/// must be free of overlap.
pub fn search(problem: &Problem, start: Laid, budget: &Budget, progress: &mut dyn FnMut(Progress) -> bool) -> Laid {
    if problem.items.iter().all(|item| item.locked.is_some()) {
        return start;
    }
    // Nothing gets shorter than its longest item.
    let budget = &Budget { enough: budget.enough.max(problem.least_length()), ..*budget };
    let began = Instant::now();
    let ends = budget.seconds.map(|seconds| began + Duration::from_secs_f64(seconds.clamp(0.0, 1e6)));
    let area = problem.area();
    let mut best = start.clone();
    let mut workers: Vec<Worker> = (0..budget.threads.max(1) as u64)
        .map(|index| {
            Worker::new(problem, start.clone(), budget.seed.wrapping_mul(1000).wrapping_add(index), budget.enough)
        })
        .collect();
    let share = (budget.evaluations / 20).clamp(1, ROUND);
    loop {
        let used = workers.iter().map(|worker| worker.evaluations).max().unwrap_or(u64::MAX);
        let part = match budget.seconds {
            Some(seconds) => began.elapsed().as_secs_f64() / seconds.max(1e-9),
            None => used as f64 / budget.evaluations.max(1) as f64,
        };
        let report =
            Progress { length: best.length, density: area / problem.height / best.length, part: part.min(1.0) };
        if !progress(report) || part >= 1.0 || best.length <= budget.enough {
            return best;
        }
        for worker in &mut workers {
            if part >= EXPLORE {
                worker.compressed = (part - EXPLORE) / (1.0 - EXPLORE);
            }
            if best.length < worker.best.length {
                worker.adopt(&best);
            }
        }
        let late = || ends.is_some_and(|ends| Instant::now() >= ends);
        let round = |worker: &mut Worker| {
            let until = worker.evaluations + share;
            while worker.evaluations < until && !worker.done() && !late() {
                worker.sweep();
            }
        };
        std::thread::scope(|scope| {
            // The first one works here, as a thread is not to be had for nothing.
            if let Some((here, others)) = workers.split_first_mut() {
                for worker in others {
                    scope.spawn(|| round(worker));
                }
                round(here);
            }
        });
        for worker in &workers {
            if worker.best.length < best.length {
                best = worker.best.clone();
            }
        }
    }
}

/// Clears a lay that overlaps without making it longer; `None` where the budget does not suffice.
pub fn clear(problem: &Problem, start: &Laid, budget: &Budget) -> Option<Laid> {
    let mut worker = Worker::to_clear(problem, start, budget.seed);
    while worker.evaluations < budget.evaluations && !worker.done() {
        worker.sweep();
    }
    worker.done().then_some(worker.best)
}

/// A lay without overlap, the larger items first, each as far left as a few hundred samples can bring it. Locked items stay.
pub fn left_bottom(problem: &Problem, seed: u64) -> Laid {
    const SAMPLES: usize = 400;
    let mut random = Random::new(seed);
    let half = |place: &Place| problem.forms[place.form].half;
    let mut places: Vec<Option<Place>> = problem.items.iter().map(|item| item.locked).collect();
    let mut length = places.iter().flatten().map(|place| place.x + half(place)[0]).fold(0.0, f64::max);
    let mut order: Vec<usize> = (0..places.len()).filter(|item| places[*item].is_none()).collect();
    let area = |item: usize| problem.items[item].forms.first().map_or(0.0, |form| problem.forms[*form].area());
    order.sort_by(|a, b| area(*b).total_cmp(&area(*a)));
    for item in order {
        let forms = &problem.items[item].forms;
        let clear = |place: Place| {
            places.iter().flatten().all(|at| problem.depth(at.form, place.form, place.x - at.x, place.y - at.y) <= 0.0)
        };
        let end = |place: &Place| place.x + half(place)[0];
        // Beyond everything else there is always room.
        let beyond = |form: usize| {
            let Form { half, lattice, .. } = &problem.forms[form];
            Place { form, x: length + problem.gap + half[0] + lattice[0][1], y: 0.0 }
        };
        let mut best = problem.within(item, beyond(forms[0]), f64::INFINITY);
        for _ in 0..SAMPLES {
            let form = forms[random.below(forms.len())];
            let [x, y] = problem.forms[form].half;
            let at = [random.between(x, end(&best) - x), random.between(y, problem.height - y)];
            let mut place = problem.within(item, Place { form, x: at[0], y: at[1] }, end(&best));
            if end(&place) > end(&best) || !clear(place) {
                continue;
            }
            let mut step = (place.x - x) / 2.0;
            while step > 1e-3 * x {
                let to = problem.within(item, Place { x: place.x - step, ..place }, end(&best));
                if to.x < place.x && clear(to) {
                    place = to;
                } else {
                    step /= 2.0;
                }
            }
            if end(&place) < end(&best) {
                best = place;
            }
        }
        length = length.max(end(&best));
        places[item] = Some(best);
    }
    Laid { length, places: places.into_iter().flatten().collect() }
}
