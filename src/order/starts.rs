//! From which of its points each path of a tour is started.

use kurbo::Point;

/// One way to go through a path: where that begins and where it ends.
pub(super) type Way = [Point; 2];

/// Of each stop's ways the one that makes the whole round trip from `home` shortest, the order of the stops being given:
/// a dynamic programme, layer by layer.
pub(super) fn best_ways(stops: &[&[Way]], home: Point) -> Vec<usize> {
    // Per stop and way: the length up to the way's end, and the way before it.
    let mut from: Vec<Vec<usize>> = Vec::with_capacity(stops.len());
    let mut so_far: Vec<(f64, Point)> = vec![(0.0, home)];
    for ways in stops {
        let mut next = Vec::with_capacity(ways.len());
        let mut chosen = Vec::with_capacity(ways.len());
        for [begin, end] in *ways {
            let mut best = (f64::INFINITY, 0);
            for (index, (length, at)) in so_far.iter().enumerate() {
                let length = length + at.distance(*begin);
                if length < best.0 {
                    best = (length, index);
                }
            }
            next.push((best.0, *end));
            chosen.push(best.1);
        }
        from.push(chosen);
        so_far = next;
    }
    let back = |index: &usize| so_far[*index].0 + so_far[*index].1.distance(home);
    let mut way = (0..so_far.len()).min_by(|a, b| back(a).total_cmp(&back(b))).unwrap_or(0);
    let mut ways: Vec<usize> = from
        .iter()
        .rev()
        .map(|chosen| {
            let this = way;
            way = chosen[way];
            this
        })
        .collect();
    ways.reverse();
    ways
}
