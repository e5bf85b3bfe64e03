//! What has to come before what.

use super::near::Near;
use super::search::Paths;

/// Each group's paths by level: all of a lower level come before any of a higher one.
pub(super) struct Rules {
    groups: Vec<Group>,
}

struct Group {
    /// Path and level, lowest first.
    paths: Vec<(u32, u32)>,
    /// Where in `paths` those above the lowest level start.
    late: usize,
}

impl Rules {
    /// `groups` has a group and a level for each path that is in one. `None` where nothing has to wait.
    pub(super) fn new(paths: impl Iterator<Item = (u32, Option<(usize, u32)>)>) -> Option<Self> {
        let mut groups: std::collections::BTreeMap<usize, Vec<(u32, u32)>> = std::collections::BTreeMap::new();
        for (path, wait) in paths {
            if let Some((group, level)) = wait {
                groups.entry(group).or_default().push((path, level));
            }
        }
        let groups: Vec<Group> = groups
            .into_values()
            .filter_map(|mut paths| {
                paths.sort_by_key(|(path, level)| (*level, *path));
                let lowest = paths.first()?.1;
                let late = paths.partition_point(|(_, level)| *level == lowest);
                (late < paths.len()).then_some(Group { paths, late })
            })
            .collect();
        (!groups.is_empty()).then_some(Self { groups })
    }

    /// Whether the rules still hold once the pieces of a tour are put in this order: first position, length and whether it
    /// keeps its direction of each. The first piece holds home, and may wrap round the tour's end. They hold now.
    pub(super) fn allow(&self, pieces: &[(usize, usize, bool)], place: &[u32]) -> bool {
        let count = place.len();
        let (from, length, _) = pieces[0];
        let window = (from + length) % count..if from == 0 { count } else { from };
        // New position of a position: within the window by piece, outside as it is.
        let mut moved = [(0, 0, 0, true); 8];
        let mut at = window.start;
        for (slot, (from, length, forward)) in moved.iter_mut().zip(&pieces[1..]) {
            *slot = (*from, from + length, at, *forward);
            at += length;
        }
        let moved = &moved[..pieces.len() - 1];
        let goes_to = |at: usize| {
            moved.iter().find(|(from, to, _, _)| (*from..*to).contains(&at)).map_or(at, |(from, to, start, forward)| {
                if *forward { start + (at - from) } else { start + (to - 1 - at) }
            })
        };
        self.groups.iter().all(|group| {
            let inside = |(path, _): &(u32, u32)| window.contains(&(place[*path as usize] as usize));
            if !group.paths[group.late..].iter().any(inside) {
                return true;
            }
            let (mut level, mut here, mut before) = (0, 0, 0);
            group.paths.iter().all(|(path, at_level)| {
                let at = goes_to(place[*path as usize] as usize);
                if *at_level != level {
                    (level, before) = (*at_level, here);
                }
                here = here.max(at);
                at >= before
            })
        })
    }

    /// The order of a tour mended so that the rules hold, by taking out what comes too early and putting it, closed paths
    /// from any of their vertices, where it costs least. The tour starts with home.
    pub(super) fn mend(&self, order: &[u32], paths: &mut Paths, near: &Near) -> Vec<u32> {
        let mut order = order.to_vec();
        let mut place = vec![0_usize; order.len()];
        order.iter().enumerate().for_each(|(at, end)| place[*end as usize / 2] = at);
        for group in &self.groups {
            // What comes next may stand here at the earliest.
            let mut earliest = 0;
            let mut from = 0;
            while from < group.paths.len() {
                let level = group.paths[from].1;
                let to = from + group.paths[from..].partition_point(|(_, other)| *other == level);
                for (path, _) in &group.paths[from..to] {
                    let at = place[*path as usize];
                    if at < earliest {
                        let end = order.remove(at);
                        for (at, end) in order.iter().enumerate().skip(at) {
                            place[*end as usize / 2] = at;
                        }
                        earliest -= 1;
                        let best = cheapest(&order, &place, earliest, end, paths, near);
                        order.insert(best.0, best.1);
                        for (at, end) in order.iter().enumerate().skip(best.0) {
                            place[*end as usize / 2] = at;
                        }
                    }
                }
                let last = group.paths[from..to].iter().map(|(path, _)| place[*path as usize]).max().unwrap_or(0);
                earliest = earliest.max(last + 1);
                from = to;
            }
        }
        order
    }
}

/// The position at or behind `earliest` where a path costs least, and the end by which it is entered. A closed path is
/// started from the vertex that costs least there.
fn cheapest(order: &[u32], place: &[usize], earliest: usize, end: u32, paths: &mut Paths, near: &Near) -> (usize, u32) {
    let path = end / 2;
    let turns = paths.turns[path as usize];
    // Cost, position, the end that is entered, and the site of a path that turns.
    let mut best = (f64::INFINITY, order.len(), end, paths.site[end as usize]);
    let mut consider = |at: usize, site: u32| {
        let (before, behind) = (order[at - 1] ^ 1, order[if at == order.len() { 0 } else { at }]);
        let without = paths.between(before, behind);
        for entered in [end, end ^ 1] {
            let away = |own: u32, other: u32| {
                let point = if turns { paths.sites[site as usize].1 } else { paths.points[own as usize] };
                point.distance(paths.points[other as usize]) + paths.apart(path, other / 2)
            };
            let more = away(entered, before) + away(entered ^ 1, behind) - without;
            if more < best.0 {
                best = (more, at, entered, site);
            }
        }
    };
    let mut nothing = true;
    let (from, to) = paths.ranges[path as usize];
    for site in from..to {
        for (other, _) in near.of(site) {
            let at = place[*other as usize / 2];
            for at in [at, at + 1].into_iter().filter(|at| *at >= earliest) {
                consider(at, site);
                nothing = false;
            }
        }
    }
    if nothing {
        // Nothing near comes late enough: anywhere, then.
        (earliest..=order.len()).for_each(|at| consider(at, paths.site[end as usize]));
    }
    let (_, at, entered, site) = best;
    if turns {
        paths.seat(path, site);
    }
    (at, entered)
}
