//! Where two outlines meet: all shifts at which one polygon overlaps another, as rings.
//!
//! Their boundary is part of the convolution of both outlines (Guibas, Ramshaw, Stolfi, "A kinetic framework for
//! computational geometry", 1983): the winding number of its cycles about a shift is the number of parts in which the
//! polygons overlap there. Coordinates are whole numbers, so that directions are compared exactly.

use geo::algorithm::bool_ops::FillRule;
use geo::{BooleanOps, Coord, LineString, MultiPolygon, Polygon};

/// A point in steps of the grid.
pub(super) type Node = [i64; 2];

fn cross(a: Node, b: Node) -> i64 {
    a[0] * b[1] - a[1] * b[0]
}

fn minus(a: Node, b: Node) -> Node {
    [a[0] - b[0], a[1] - b[1]]
}

/// The outline without doubled points and points in line with their neighbours.
pub(super) fn cleaned(mut points: Vec<Node>) -> Vec<Node> {
    let in_line = |points: &[Node], i: usize| {
        let count = points.len();
        let (before, at, after) = (points[(i + count - 1) % count], points[i], points[(i + 1) % count]);
        cross(minus(at, before), minus(after, at)) == 0
    };
    while points.len() >= 3 {
        let Some(spare) = (0..points.len()).find(|i| in_line(&points, *i)) else { break };
        points.remove(spare);
    }
    points
}

/// Whether a turn by less than half a circle passes through a direction. `last` tells whether its last direction counts;
/// its first counts where the last does not. Directions that both outlines share are thus met exactly once, as if one of
/// the outlines were turned by a hair.
fn passes(direction: Node, from: Node, to: Node, last: bool) -> bool {
    let same = |a: Node, b: Node| cross(a, b) == 0 && a[0] * b[0] + a[1] * b[1] > 0;
    let left = cross(from, to) > 0;
    let (low, high) = if left { (from, to) } else { (to, from) };
    if same(direction, low) {
        return !last;
    }
    if same(direction, high) {
        return last;
    }
    cross(low, direction) > 0 && cross(direction, high) > 0
}

/// Rings about the shifts of `b` at which the insides of `a` and `b` meet. Both run counter-clockwise.
pub(super) fn meeting(a: &[Node], b: &[Node]) -> MultiPolygon {
    // `b` shifted by s meets `a` where s is the difference of a point of `a` and one of `b`.
    let b: Vec<Node> = b.iter().map(|p| [-p[0], -p[1]]).collect();
    let (n, m) = (a.len(), b.len());
    let side = |of: &[Node], i: usize| minus(of[(i + 1) % of.len()], of[i]);
    let turn = |of: &[Node], i: usize| (side(of, (i + of.len() - 1) % of.len()), side(of, i));
    // From pair of corners to pair of corners; a side is passed backwards at a corner that turns right.
    let mut next: Vec<Vec<usize>> = vec![Vec::new(); n * m];
    let mut link = |from: usize, to: usize, forwards: bool| {
        if forwards { next[from].push(to) } else { next[to].push(from) }
    };
    for j in 0..m {
        let (into, out) = turn(&b, j);
        for i in (0..n).filter(|i| passes(side(a, *i), into, out, true)) {
            link(i * m + j, (i + 1) % n * m + j, cross(into, out) > 0);
        }
    }
    for i in 0..n {
        let (into, out) = turn(a, i);
        for j in (0..m).filter(|j| passes(side(&b, *j), into, out, false)) {
            link(i * m + j, i * m + (j + 1) % m, cross(into, out) > 0);
        }
    }
    let at = |node: usize| {
        let (p, q) = (a[node / m], b[node % m]);
        Coord { x: (p[0] + q[0]) as f64, y: (p[1] + q[1]) as f64 }
    };
    // As many links lead to each pair as away from it, so every walk comes back to where it began.
    let mut rings = Vec::new();
    for start in 0..n * m {
        while let Some(mut node) = next[start].pop() {
            let mut ring = vec![at(start)];
            while node != start {
                ring.push(at(node));
                let Some(to) = next[node].pop() else { break };
                node = to;
            }
            rings.push(Polygon::new(LineString::from(ring), Vec::new()));
        }
    }
    MultiPolygon(rings).union_with_fill_rule(&MultiPolygon(Vec::new()), FillRule::NonZero)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area, Contains};

    #[test]
    fn squares_meet_in_a_square_twice_as_wide() {
        let square = [[0, 0], [10, 0], [10, 10], [0, 10]];
        // The Minkowski difference of two squares of side 10 has side 20.
        let rings = meeting(&square, &square);
        assert!((rings.unsigned_area() - 400.0).abs() < 1e-6);
        // A seeded fault: the same square clockwise is no outline and gives another set.
        let wrong: Vec<Node> = square.iter().rev().copied().collect();
        assert!((meeting(&square, &wrong).unsigned_area() - 400.0).abs() > 1.0);
    }

    #[test]
    fn a_hook_holds_a_square_without_meeting_it() {
        let hook = [[0, 0], [40, 0], [40, 40], [30, 40], [30, 10], [10, 10], [10, 40], [0, 40]];
        let square = [[0, 0], [10, 0], [10, 10], [0, 10]];
        let rings = meeting(&hook, &square);
        let polygon = |points: &[Node], by: Node| {
            let ring: Vec<(f64, f64)> = points.iter().map(|p| ((p[0] + by[0]) as f64, (p[1] + by[1]) as f64)).collect();
            Polygon::new(LineString::from(ring), Vec::new())
        };
        // Against geo's intersection of the polygons themselves, at every other whole shift.
        for x in (-21..61).step_by(2) {
            for y in (-21..61).step_by(2) {
                let shared = polygon(&hook, [0, 0]).intersection(&polygon(&square, [x, y])).unsigned_area();
                assert_eq!(rings.contains(&Coord { x: x as f64, y: y as f64 }), shared > 1e-9, "{x} {y} {shared}");
            }
        }
    }
}
