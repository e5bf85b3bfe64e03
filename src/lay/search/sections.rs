//! Lays of any size: the tables of all pairs grow with the square of the number of forms, so a long lay is made section by
//! section, each interlocking with the end of the one before.

use super::problem::{Form, Item, Place, Problem};
use super::{Budget, Laid, Progress, left_bottom, search};

/// A pair of forms takes about as long to prepare as this many trials.
const PAIR: u64 = 1000;

/// Trials in a second, for a budget that is given in seconds.
const TRIALS: f64 = 1.5e6;

/// So many items or fewer are laid from several starts.
const FEW: usize = 24;

/// Trials that each of several starts is given at the least, and the most starts.
const START: u64 = 3_000_000;
const MOST_STARTS: u64 = 8;

/// Items in a section: of a lay of up to `MANY`, and of a longer one.
const SECTION: [usize; 2] = [48, 20];

/// More items than this are laid in the smaller sections.
const MANY: usize = 500;

/// Lays items on a strip of that height, `gap` apart: a first lay at once (`first`, where it is shorter), shorter ones
/// until the budget is used or `progress` returns false. Items are in the order in which they should lie where they can't
/// be laid in one go.
pub fn lay(
    forms: &[Form],
    items: &[Item],
    height: f64,
    gap: f64,
    first: Option<&Laid>,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Laid {
    let shorter = |laid: Laid| match first {
        Some(first) if first.length < laid.length => first.clone(),
        _ => laid,
    };
    if in_one(forms.len(), budget) {
        let problem = Problem::new(forms.to_vec(), items.to_vec(), height, gap, budget.threads);
        return in_starts(&problem, first, budget, progress);
    }
    let free: Vec<usize> = (0..items.len()).filter(|item| items[*item].locked.is_none()).collect();
    let sections: Vec<&[usize]> = free.chunks(SECTION[usize::from(free.len() > MANY)]).collect();
    let mut places: Vec<Option<Place>> = items.iter().map(|item| item.locked).collect();
    let (mut end, mut area) = (0.0_f64, 0.0);
    for (index, section) in sections.iter().enumerate() {
        let reach = section.iter().flat_map(|item| &items[*item].forms).map(|form| 2.0 * forms[*form].half[0]);
        let from = (end - reach.fold(0.0, f64::max)).max(0.0);
        let (problem, used) = part(forms, items, &places, section, from, [height, gap], budget.threads);
        let (count, last) = (sections.len() as f64, index + 1 == sections.len());
        let budget = Budget {
            evaluations: (budget.evaluations as f64 * section.len() as f64 / free.len() as f64) as u64,
            seconds: budget.seconds.map(|seconds| seconds * section.len() as f64 / free.len() as f64),
            enough: if last { (budget.enough - from).max(0.0) } else { 0.0 },
            ..*budget
        };
        area += section.iter().map(|item| forms[items[*item].forms[0]].area()).sum::<f64>();
        let laid = search(&problem, left_bottom(&problem, budget.seed), &budget, &mut |report| {
            let length = end.max(from + report.length);
            let part = (index as f64 + report.part) / count;
            progress(Progress { length, density: area / height / length, part })
        });
        for (item, place) in section.iter().zip(&laid.places) {
            let place = Place { form: used[place.form], x: place.x + from, y: place.y };
            end = end.max(place.x + forms[place.form].half[0]);
            places[*item] = Some(place);
        }
    }
    shorter(Laid { length: end, places: places.into_iter().flatten().collect() })
}

/// Searches from one start, or where there are few items from several: they settle early, and another start finds more than
/// staying does.
fn in_starts(
    problem: &Problem,
    first: Option<&Laid>,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Laid {
    let starts = if problem.items.len() <= FEW { (trials(budget) / START).clamp(1, MOST_STARTS) } else { 1 };
    let share = starts as f64;
    let mut best: Option<Laid> = first.cloned();
    let mut going = true;
    for index in 0..starts {
        let budget = Budget {
            evaluations: budget.evaluations / starts,
            seconds: budget.seconds.map(|seconds| seconds / share),
            seed: budget.seed.wrapping_add(index << 32),
            ..*budget
        };
        let begun = left_bottom(problem, budget.seed);
        let start = match &best {
            Some(first) if index == 0 && first.length < begun.length => first.clone(),
            _ => begun,
        };
        let laid = search(problem, start, &budget, &mut |report| {
            let length = best.as_ref().map_or(report.length, |best| best.length.min(report.length));
            let density = report.density * report.length / length;
            going = progress(Progress { length, density, part: (index as f64 + report.part) / share });
            going
        });
        if best.as_ref().is_none_or(|best| laid.length < best.length) {
            best = Some(laid);
        }
        if !going || best.as_ref().is_some_and(|best| best.length <= budget.enough) {
            break;
        }
    }
    best.unwrap_or_else(|| left_bottom(problem, budget.seed))
}

/// About how many places each thread tries.
fn trials(budget: &Budget) -> u64 {
    budget.seconds.map_or(budget.evaluations, |seconds| (seconds * TRIALS) as u64)
}

/// Whether the tables for all pairs of that many forms take no longer than the search itself, or little time.
pub fn in_one(forms: usize, budget: &Budget) -> bool {
    // Twins share their tables.
    let pairs = (forms * forms / 4) as u64;
    pairs * PAIR <= trials(budget).saturating_mul(budget.threads as u64).clamp(2_000_000, 20_000_000)
}

/// The items of a section first, then those that lie already and reach beyond `from`; x counts from there. Also which of
/// all forms each one is.
fn part(
    forms: &[Form],
    items: &[Item],
    places: &[Option<Place>],
    section: &[usize],
    from: f64,
    [height, gap]: [f64; 2],
    threads: usize,
) -> (Problem, Vec<usize>) {
    let lying: Vec<Place> =
        places.iter().flatten().filter(|place| place.x + forms[place.form].half[0] + gap > from).copied().collect();
    let mut used: Vec<usize> = section.iter().flat_map(|item| items[*item].forms.iter().copied()).collect();
    used.extend(lying.iter().map(|place| place.form));
    used.sort_unstable();
    used.dedup();
    let local = |form: usize| used.binary_search(&form).unwrap_or_default();
    let some = used
        .iter()
        .map(|form| {
            let mut form = forms[*form].clone();
            form.twin = form.twin.and_then(|twin| used.binary_search(&twin).ok());
            form.lattice[0][0] -= from;
            form
        })
        .collect();
    let mut parts: Vec<Item> = section
        .iter()
        .map(|item| Item {
            forms: items[*item].forms.iter().map(|form| local(*form)).collect(),
            ..items[*item].clone()
        })
        .collect();
    parts.extend(lying.iter().map(|place| {
        let place = Place { form: local(place.form), x: place.x - from, y: place.y };
        Item { forms: vec![place.form], across: None, locked: Some(place) }
    }));
    (Problem::new(some, parts, height, gap, threads), used)
}
