//! A first tour to search from: shortest edges first (the greedy heuristic of Bentley, ORSA Journal on Computing 4, 1992).

use super::near::Near;
use super::tree::Tree;
use kurbo::Point;

/// The entered end of each path, home (path 0) first. Candidate edges are taken shortest first where they join two chains;
/// the chains left over are gone through nearest first.
pub(super) fn greedy(points: &[Point], site: &[u32], near: &Near) -> Vec<u32> {
    let mut edges: Vec<(f64, u32, u32)> = (0..points.len() as u32)
        .flat_map(|a| near.of(site[a as usize]).iter().map(move |&(b, away)| (away, a, b)))
        // Ends that are each other's candidates are joined by one edge, not by two.
        .filter(|&(_, a, b)| a < b || near.of(site[b as usize]).iter().all(|&(other, _)| other != a))
        .map(|(away, a, b)| (away, a.min(b), a.max(b)))
        .collect();
    edges.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    // What each end is joined to, and of each chain's last end the other one.
    let mut joined: Vec<Option<u32>> = vec![None; points.len()];
    let mut far: Vec<u32> = (0..points.len() as u32).map(|end| end ^ 1).collect();
    for (_, a, b) in edges {
        let (ua, ub) = (a as usize, b as usize);
        if joined[ua].is_none() && joined[ub].is_none() && far[ua] != b {
            (joined[ua], joined[ub]) = (Some(b), Some(a));
            let (start, end) = (far[ua], far[ub]);
            (far[start as usize], far[end as usize]) = (end, start);
        }
    }
    let mut tree = Tree::new(points.to_vec(), false);
    (0..points.len()).filter(|end| joined[*end].is_none()).for_each(|end| tree.set(end, true));
    // From home on; a chain that begins elsewhere is walked back to its beginning first.
    let mut order = Vec::with_capacity(points.len() / 2);
    let mut at = 0;
    while let Some(before) = joined[at as usize] {
        at = before ^ 1;
        if at == 0 {
            break;
        }
    }
    loop {
        tree.set(at as usize, false);
        loop {
            order.push(at);
            match joined[at as usize ^ 1] {
                Some(next) if order.len() < points.len() / 2 => at = next,
                _ => break,
            }
        }
        let last = (at ^ 1) as usize;
        tree.set(last, false);
        match tree.nearest(points[last]) {
            Some(next) if order.len() < points.len() / 2 => at = next as u32,
            _ => break,
        }
    }
    let home = order.iter().position(|end| end / 2 == 0).unwrap_or(0);
    order.rotate_left(home);
    order
}
