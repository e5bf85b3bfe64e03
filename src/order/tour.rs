//! In which order, and which way round, a tool goes through its paths.

use super::greedy::greedy;
use super::near::{Counts, Near};
use super::rules::Rules;
use super::search::{Paths, Search};
use super::starts::{Way, best_ways};
use crate::geom::path::{is_closed, joined};
use kurbo::{BezPath, ParamCurve, PathEl, PathSeg, Point, Vec2};

/// One path to go through.
#[derive(Clone, Debug)]
pub struct Visit {
    /// One subpath.
    pub path: BezPath,
    /// What it belongs to, such as a piece's index; `None` stands alone and waits for nobody.
    pub group: Option<usize>,
    /// It comes after all of its group with a lower level.
    pub level: u32,
    /// The segments at whose start a closed path may be begun; empty where any will do.
    pub starts: Vec<usize>,
}

impl Visit {
    /// A path that stands alone, waits for nobody and may be begun anywhere.
    pub fn alone(path: BezPath) -> Self {
        Self { path, group: None, level: 0, starts: Vec::new() }
    }
}

/// A path's place in the tour: its index, and its path in working direction.
pub type Stop = (usize, BezPath);

/// How much work goes into a tour, and what it must keep to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// How often the tour is shaken and mended. The result depends on this alone, not on the machine.
    pub kicks: usize,
    /// Seed of the search's random numbers.
    pub seed: u64,
    /// Whether closed paths may be started at any of their vertices, or only where they start.
    pub any_start: bool,
    /// Whether each group is finished before the next is begun.
    pub one_by_one: bool,
    /// What a way along x counts beside one along y: 1 where both cost the same, more on a roll, which has to be fed.
    pub feed: f64,
}

impl Default for Effort {
    fn default() -> Self {
        Self { kicks: 200, seed: 1, any_start: true, one_by_one: false, feed: 1.0 }
    }
}

/// So often the start vertices are chosen anew between two stretches of search.
const ROUNDS: usize = 2;

/// A short tour from `home` through all visits and back: open paths from either end, closed ones from any of their
/// vertices where `effort` allows, lower levels of a group before higher ones. Never longer than going through them as
/// they come, late ones put off till they may. Returns the stops in order.
///
/// `progress` is told now and then which share of the kicks is spent, 0 to 1, and says which share it holds for spent:
/// the same, or more where time runs out (the result then depends on the machine), or 1 to stop.
pub fn tour(visits: &[Visit], home: Point, effort: &Effort, progress: &mut dyn FnMut(f64) -> f64) -> Vec<Stop> {
    let as_given = as_given(visits, effort.one_by_one);
    if visits.len() < 2 {
        return as_given;
    }
    let searched = searched(visits, home, effort, progress);
    if travel(&as_given, home) <= travel(&searched, home) { as_given } else { searched }
}

/// Pen-up distance from `home` through all stops and back, mm.
pub fn travel(stops: &[Stop], home: Point) -> f64 {
    let (mut at, mut sum) = (home, 0.0);
    for (_, path) in stops {
        let [start, end] = ends(path);
        sum += at.distance(start);
        at = end;
    }
    sum + at.distance(home)
}

/// In the order given, but for those that have to wait: they come as soon as they may, and one by one with their group.
fn as_given(visits: &[Visit], one_by_one: bool) -> Vec<Stop> {
    if one_by_one {
        let mut first = std::collections::BTreeMap::new();
        let mut order: Vec<usize> = (0..visits.len()).collect();
        let places: Vec<usize> = visits
            .iter()
            .enumerate()
            .map(|(index, visit)| visit.group.map_or(index, |group| *first.entry(group).or_insert(index)))
            .collect();
        order.sort_by_key(|index| (places[*index], visits[*index].level));
        return order.into_iter().map(|index| (index, starting_from(&visits[index], 0))).collect();
    }
    let mut waiting = Waiting::new(visits);
    let mut stops = Vec::with_capacity(visits.len());
    for index in 0..visits.len() {
        for freed in waiting.arrive(index, visits) {
            stops.push((freed, starting_from(&visits[freed], 0)));
        }
    }
    stops
}

/// What of each group is still to come.
struct Waiting {
    /// Per group: how many of each level are missing, lowest level first, and who is held back.
    groups: Vec<(std::collections::BTreeMap<u32, usize>, Vec<usize>)>,
}

impl Waiting {
    fn new(visits: &[Visit]) -> Self {
        let count = visits.iter().filter_map(|visit| visit.group).max().map_or(0, |group| group + 1);
        let mut groups = vec![(std::collections::BTreeMap::new(), Vec::new()); count];
        for visit in visits {
            if let Some(group) = visit.group {
                *groups[group].0.entry(visit.level).or_insert(0) += 1;
            }
        }
        Self { groups }
    }

    /// Who can be done now that this one has come.
    fn arrive(&mut self, index: usize, visits: &[Visit]) -> Vec<usize> {
        let Some(group) = visits[index].group else { return vec![index] };
        let (missing, held) = &mut self.groups[group];
        held.push(index);
        let mut freed = Vec::new();
        while let Some(mut lowest) = missing.first_entry() {
            let level = *lowest.key();
            let before = freed.len();
            held.retain(|index| {
                let free = visits[*index].level == level;
                if free {
                    freed.push(*index);
                }
                !free
            });
            *lowest.get_mut() -= freed.len() - before;
            if *lowest.get() > 0 {
                break;
            }
            lowest.remove();
        }
        freed
    }
}

fn searched(visits: &[Visit], home: Point, effort: &Effort, progress: &mut dyn FnMut(f64) -> f64) -> Vec<Stop> {
    // From here on x is as long as it counts.
    let weighed = |point: Point| Point::new(point.x * effort.feed, point.y);
    let home = weighed(home);
    let ways: Vec<Vec<Way>> = visits
        .iter()
        .map(|visit| ways(visit, effort.any_start).into_iter().map(|way| way.map(weighed)).collect())
        .collect();
    let mut paths = paths(visits, &ways, home, effort.one_by_one);
    let rules = Rules::new(
        visits
            .iter()
            .enumerate()
            .map(|(index, visit)| (index as u32 + 1, visit.group.map(|group| (group, visit.level)))),
    );
    let rules = rules.as_ref();
    let counts =
        if effort.kicks > 2000 { Counts { nearest: 6, quadrant: 3 } } else { Counts { nearest: 5, quadrant: 1 } };
    let rounds = if paths.turns.contains(&true) && effort.kicks > 2000 { ROUNDS } else { 1 };
    let mut order: Vec<u32> = Vec::new();
    for round in 0..rounds {
        let near = Near::new(&paths.sites, &paths.points, counts, |a, b| paths.apart(a, b));
        let before = round as f64 / rounds as f64;
        let share = (round + 1) as f64 / rounds as f64;
        if round == 0 {
            order = greedy(&paths.points, &paths.site, &near);
            if effort.one_by_one {
                order = by_groups(visits, &paths, &order, home, effort);
            } else if let Some(rules) = rules {
                let mut free = Search::new(&mut paths, &near, None, order, effort.seed);
                free.settle(&mut || progress(before) < share);
                order = free.into_order();
                (paths, order) = either_way(rules, &paths, &near, &order);
            }
        }
        let mut search = Search::new(&mut paths, &near, rules, order, effort.seed.wrapping_add(round as u64));
        search.settle(&mut || progress(before) < share);
        // With less than a kick a path there is no time to make good what was made longer.
        let warm = effort.kicks > visits.len();
        search.shake(warm, share, &mut |kicks| progress((before + kicks as f64 / effort.kicks as f64).min(share)));
        order = search.into_order();
        let stops: Vec<&[Way]> = order[1..].iter().map(|end| &*ways[*end as usize / 2 - 1]).collect();
        for (end, way) in order[1..].iter_mut().zip(best_ways(&stops, home)) {
            let path = *end / 2;
            if paths.turns[path as usize] {
                paths.seat(path, paths.ranges[path as usize].0 + way as u32);
            } else if ways[path as usize - 1].len() == 2 {
                *end = 2 * path + way as u32;
            }
        }
        if progress(share) >= 1.0 {
            break;
        }
    }
    order[1..]
        .iter()
        .map(|end| {
            let path = *end / 2;
            let which = if paths.turns[path as usize] {
                paths.site[*end as usize] - paths.ranges[path as usize].0
            } else if ways[path as usize - 1].len() == 2 {
                *end % 2
            } else {
                0
            };
            let index = path as usize - 1;
            (index, starting_from(&visits[index], which as usize))
        })
        .collect()
}

/// A tour parted into its groups, each in the order that it has in the tour but for levels, the groups in the order of a
/// tour through their middles.
fn by_groups(visits: &[Visit], paths: &Paths, order: &[u32], home: Point, effort: &Effort) -> Vec<u32> {
    let mut groups: std::collections::BTreeMap<u32, (Vec<u32>, Vec2)> = std::collections::BTreeMap::new();
    for &end in &order[1..] {
        let (members, sum) = groups.entry(paths.groups[end as usize / 2]).or_default();
        members.push(end);
        *sum += paths.points[end as usize].to_vec2();
    }
    let mut groups: Vec<(Vec<u32>, Vec2)> = groups.into_values().collect();
    let middles: Vec<Visit> = groups
        .iter()
        .map(|(members, sum)| {
            let mut path = BezPath::new();
            path.move_to((*sum / members.len() as f64).to_point());
            Visit::alone(path)
        })
        .collect();
    // The middles are of points that were weighed.
    let effort = Effort { kicks: effort.kicks.min(4 * middles.len()), one_by_one: false, feed: 1.0, ..*effort };
    let mut parted = vec![order[0]];
    for (group, _) in tour(&middles, home, &effort, &mut |done| done) {
        groups[group].0.sort_by_key(|end| visits[*end as usize / 2 - 1].level);
        parted.append(&mut groups[group].0);
    }
    parted
}

/// A tour mended so that the rules hold, the way round that is then shorter.
fn either_way(rules: &Rules, paths: &Paths, near: &Near, order: &[u32]) -> (Paths, Vec<u32>) {
    let mut backwards: Vec<u32> = order.iter().map(|end| end ^ 1).collect();
    backwards[1..].reverse();
    let [a, b] = [order, &backwards].map(|order| {
        let mut paths = paths.clone();
        let order = rules.mend(order, &mut paths, near);
        (paths.length(&order), paths, order)
    });
    if a.0 <= b.0 { (a.1, a.2) } else { (b.1, b.2) }
}

/// Home as path 0, visit i as path i + 1 from its first way.
fn paths(visits: &[Visit], ways: &[Vec<Way>], home: Point, one_by_one: bool) -> Paths {
    let alone = visits.iter().filter_map(|visit| visit.group).max().map_or(0, |group| group + 1);
    let groups = visits.iter().enumerate().map(|(index, visit)| visit.group.unwrap_or(alone + 1 + index) as u32);
    let mut paths = Paths {
        points: vec![home; 2],
        site: vec![0, 1],
        sites: vec![(0, home); 2],
        ranges: vec![(0, 2)],
        turns: vec![false],
        groups: std::iter::once(alone as u32).chain(groups).collect(),
        crossing: 0.0,
    };
    for (path, (ways, visit)) in (1..).zip(ways.iter().zip(visits)) {
        let from = paths.sites.len() as u32;
        let closed = is_closed(&visit.path);
        paths.sites.extend(ways.iter().map(|way| (path, way[0])));
        paths.points.extend(ways[0]);
        paths.site.extend([from, if closed { from } else { from + 1 }]);
        paths.ranges.push((from, paths.sites.len() as u32));
        paths.turns.push(closed && ways.len() > 1);
    }
    if one_by_one {
        paths.crossing = 4.0 * paths.points.iter().fold(0.0_f64, |extent, point| extent.max(point.distance(home)));
    }
    paths
}

/// First and last point. A path without any stays at the origin, and draws nothing.
fn ends(path: &BezPath) -> [Point; 2] {
    let mut segments = path.segments();
    match segments.next() {
        Some(first) => [first.start(), segments.last().unwrap_or(first).end()],
        None => match path.elements().first() {
            Some(PathEl::MoveTo(point)) => [*point; 2],
            _ => [Point::ORIGIN; 2],
        },
    }
}

/// How a path can be gone through: an open one from either end, a closed one from its start, or from each of the vertices
/// that will do.
fn ways(visit: &Visit, any_start: bool) -> Vec<Way> {
    let path = &visit.path;
    let [start, end] = ends(path);
    if !is_closed(path) {
        return vec![[start, end], [end, start]];
    }
    let vertices: Vec<Way> = path.segments().map(|segment| [segment.start(); 2]).collect();
    let chosen: Vec<Way> = match (&visit.starts[..], any_start) {
        ([], true) => vertices,
        ([], false) => vertices.into_iter().take(1).collect(),
        (starts, true) => starts.iter().filter_map(|start| vertices.get(*start).copied()).collect(),
        ([first, ..], false) => vertices.get(*first).copied().into_iter().collect(),
    };
    if chosen.is_empty() { vec![[start; 2]] } else { chosen }
}

/// The path gone through in the `which`th of its [`ways`].
fn starting_from(visit: &Visit, which: usize) -> BezPath {
    let path = &visit.path;
    if !is_closed(path) {
        return if which == 0 { path.clone() } else { path.reverse_subpaths() };
    }
    let first = visit.starts.get(which).copied().unwrap_or(if visit.starts.is_empty() { which } else { 0 });
    let mut segments: Vec<PathSeg> = path.segments().collect();
    if first == 0 || first >= segments.len() {
        return path.clone();
    }
    segments.rotate_left(first);
    closed(segments)
}

/// A closed path of segments that lead round.
pub(super) fn closed(mut segments: Vec<PathSeg>) -> BezPath {
    // The closing stroke stands for a last segment that is a line.
    if matches!(segments.last(), Some(PathSeg::Line(_))) {
        segments.pop();
    }
    let mut path = joined(segments);
    path.close_path();
    path
}
