//! In which order, and which way round, a tool goes through its paths.

use super::tree::Tree;
use kurbo::{BezPath, ParamCurve, PathEl, PathSeg, Point};

/// One path to go through.
pub(super) struct Visit {
    /// One subpath.
    pub(super) path: BezPath,
    /// Visits of the same group wait for one another; `None` waits for nobody.
    pub(super) group: Option<usize>,
    /// Whether it comes after all of its group that are not last themselves.
    pub(super) last: bool,
}

/// A path's place in the tour: its index, and its path in working direction.
pub(super) type Stop = (usize, BezPath);

/// A tour through all visits from `home`: the nearest next one each time, open paths from either end, closed ones from
/// any of their vertices. Where going through them as they come is shorter, that. Returns the stops in order.
///
/// A search that improves on this can take its place behind the same function.
pub(super) fn tour(visits: &[Visit], home: Point) -> Vec<Stop> {
    let as_given = as_given(visits);
    let by_nearest = nearest_neighbour(visits, home);
    if travel(&as_given, home) < travel(&by_nearest, home) { as_given } else { by_nearest }
}

/// Pen-up distance from `home` through all stops and back, mm.
fn travel(stops: &[Stop], home: Point) -> f64 {
    let (mut at, mut sum) = (home, 0.0);
    for (_, path) in stops {
        let [start, end] = ends(path);
        sum += at.distance(start);
        at = end;
    }
    sum + at.distance(home)
}

/// In the order given, but for last ones that have to wait.
fn as_given(visits: &[Visit]) -> Vec<Stop> {
    let mut waiting = Waiting::new(visits);
    let mut stops = Vec::with_capacity(visits.len());
    for (index, visit) in visits.iter().enumerate() {
        if !waiting.holds(visit) {
            stops.push((index, visit.path.clone()));
            stops.extend(waiting.done(visit).into_iter().map(|freed| (freed, visits[freed].path.clone())));
        } else if let Some(group) = visit.group {
            waiting.groups[group].1.push(index);
        }
    }
    stops
}

fn nearest_neighbour(visits: &[Visit], home: Point) -> Vec<Stop> {
    // Every point that a visit can start from, with its visit.
    let mut starts: Vec<(usize, usize)> = Vec::new();
    let mut points = Vec::new();
    let mut range = Vec::with_capacity(visits.len());
    for (index, visit) in visits.iter().enumerate() {
        let from = points.len();
        points.extend(starting_points(&visit.path));
        starts.extend((0..points.len() - from).map(|which| (index, which)));
        range.push(from..points.len());
    }
    let mut tree = Tree::new(points);
    let mut waiting = Waiting::new(visits);
    for (index, visit) in visits.iter().enumerate() {
        match visit.group {
            Some(group) if waiting.holds(visit) => waiting.groups[group].1.push(index),
            _ => range[index].clone().for_each(|point| tree.set(point, true)),
        }
    }
    let (mut at, mut stops) = (home, Vec::with_capacity(visits.len()));
    while let Some(point) = tree.nearest(at) {
        let (index, which) = starts[point];
        range[index].clone().for_each(|point| tree.set(point, false));
        for freed in waiting.done(&visits[index]) {
            range[freed].clone().for_each(|point| tree.set(point, true));
        }
        let path = starting_from(&visits[index].path, which);
        at = ends(&path)[1];
        stops.push((index, path));
    }
    stops
}

/// How many of each group are still to come before its last ones, and which are held back till then.
struct Waiting {
    groups: Vec<(usize, Vec<usize>)>,
}

impl Waiting {
    fn new(visits: &[Visit]) -> Self {
        let count = visits.iter().filter_map(|visit| visit.group).max().map_or(0, |group| group + 1);
        let mut groups = vec![(0, Vec::new()); count];
        for visit in visits.iter().filter(|visit| !visit.last) {
            if let Some(group) = visit.group {
                groups[group].0 += 1;
            }
        }
        Self { groups }
    }

    fn holds(&self, visit: &Visit) -> bool {
        visit.last && visit.group.is_some_and(|group| self.groups[group].0 > 0)
    }

    /// Marks a visit as done; returns those that need wait no longer.
    fn done(&mut self, visit: &Visit) -> Vec<usize> {
        let Some(group) = visit.group.filter(|_| !visit.last) else { return Vec::new() };
        let (left, held) = &mut self.groups[group];
        *left -= 1;
        if *left == 0 { std::mem::take(held) } else { Vec::new() }
    }
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

fn is_closed(path: &BezPath) -> bool {
    matches!(path.elements().last(), Some(PathEl::ClosePath))
}

/// Where a path can be started: an open one at either end, a closed one at each of its vertices.
fn starting_points(path: &BezPath) -> Vec<Point> {
    let vertices: Vec<Point> = path.segments().map(|segment| segment.start()).collect();
    match (is_closed(path) && !vertices.is_empty(), ends(path)) {
        (true, _) => vertices,
        (false, [start, end]) => vec![start, end],
    }
}

/// The path started from the `which`th of its [`starting_points`].
fn starting_from(path: &BezPath, which: usize) -> BezPath {
    if which == 0 {
        return path.clone();
    }
    if !is_closed(path) {
        return path.reverse_subpaths();
    }
    let mut segments: Vec<PathSeg> = path.segments().collect();
    segments.rotate_left(which);
    // The closing stroke stands for a last segment that is a line.
    if matches!(segments.last(), Some(PathSeg::Line(_))) {
        segments.pop();
    }
    let mut rotated = BezPath::from_path_segments(segments.into_iter());
    rotated.close_path();
    rotated
}
