//! Chains of points: flattened curves, distances, what they hold, whether they cross themselves.
#![allow(dead_code)]

use kurbo::{BezPath, ParamCurve, PathSeg, Point, Rect};
use oaktag::piece::Piece;

/// A chain of points with boxes about every few, boxes about every few of these, and so on, for quick distances.
pub struct Chain {
    pub points: Vec<Point>,
    /// Boxes level by level; the lowest hold [`GROUP`] segments each, all others as many boxes of the level below.
    levels: Vec<Vec<Rect>>,
}

const GROUP: usize = 8;

impl Chain {
    /// A closed chain.
    pub fn closed(mut points: Vec<Point>) -> Self {
        points.push(points[0]);
        Self::open(points)
    }

    pub fn open(points: Vec<Point>) -> Self {
        let lowest = (0..points.len().saturating_sub(1))
            .step_by(GROUP)
            .map(|i| {
                let group = &points[i..(i + GROUP + 1).min(points.len())];
                group.iter().fold(Rect::from_points(group[0], group[0]), |r, p| r.union_pt(*p))
            })
            .collect();
        let mut levels: Vec<Vec<Rect>> = vec![lowest];
        while let Some(level) = levels.last().filter(|level| level.len() > 1) {
            let above = level.chunks(GROUP).map(|boxes| boxes.iter().fold(boxes[0], |r, b| r.union(*b))).collect();
            levels.push(above);
        }
        Self { points, levels }
    }

    /// Distance to the chain.
    pub fn distance(&self, p: Point) -> f64 {
        let mut best = f64::INFINITY;
        self.nearer(self.levels.len(), 0, p, &mut best);
        best.sqrt()
    }

    /// Brings `best`, a squared distance, down to that of what a box holds; level 0 are the segments themselves.
    fn nearer(&self, level: usize, index: usize, p: Point, best: &mut f64) {
        if level == 0 {
            *best = best.min(distance_sq(self.points[index], self.points[index + 1], p));
            return;
        }
        let below = self.held(level, index);
        if level == 1 {
            below.for_each(|i| self.nearer(0, i, p, best));
            return;
        }
        let boxes = &self.levels[level - 2];
        let reach = |i: usize| {
            let r = &boxes[i];
            let dx = (r.x0 - p.x).max(p.x - r.x1).max(0.0);
            let dy = (r.y0 - p.y).max(p.y - r.y1).max(0.0);
            dx * dx + dy * dy
        };
        // The nearest box first, so that most others fall out.
        let first = below.clone().min_by(|a, b| reach(*a).total_cmp(&reach(*b)));
        for i in first.into_iter().chain(below.filter(|i| Some(*i) != first)) {
            if reach(i) < *best {
                self.nearer(level - 1, i, p, best);
            }
        }
    }

    /// What a box holds: indices on the level below, or of segments.
    fn held(&self, level: usize, index: usize) -> std::ops::Range<usize> {
        let count = if level == 1 { self.points.len() - 1 } else { self.levels[level - 2].len() };
        index * GROUP..((index + 1) * GROUP).min(count)
    }

    /// Even-odd.
    pub fn holds(&self, p: Point) -> bool {
        self.crossings(self.levels.len(), 0, p) % 2 == 1
    }

    /// How often a ray to the right crosses what a box holds.
    fn crossings(&self, level: usize, index: usize, p: Point) -> usize {
        if level == 0 {
            let (a, b) = (self.points[index], self.points[index + 1]);
            return usize::from((a.y > p.y) != (b.y > p.y) && p.x < a.x + (b.x - a.x) * (p.y - a.y) / (b.y - a.y));
        }
        // It meets nothing below, above or to the left of the point.
        let bounds = &self.levels[level - 1][index];
        if bounds.y1 <= p.y || bounds.y0 > p.y || bounds.x1 <= p.x {
            return 0;
        }
        self.held(level, index).map(|i| self.crossings(level - 1, i, p)).sum()
    }

    /// Whether two of its segments cross by more than `slack`.
    pub fn crosses_itself(&self, slack: f64) -> bool {
        self.crossed(self.levels.len(), [0, 0], slack)
    }

    /// Whether a segment in one box crosses one in another of the same level.
    fn crossed(&self, level: usize, [i, j]: [usize; 2], slack: f64) -> bool {
        if level == 0 {
            let ((a, b), (c, d)) = ((self.points[i], self.points[i + 1]), (self.points[j], self.points[j + 1]));
            let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p) / (q - p).hypot().max(1e-300);
            let (s, t) = ((side(a, b, c), side(a, b, d)), (side(c, d, a), side(c, d, b)));
            let apart = |x: (f64, f64)| x.0.min(x.1) < -slack && x.0.max(x.1) > slack;
            return i < j && apart(s) && apart(t);
        }
        let boxes = &self.levels[level - 1];
        if !touches(&boxes[i], &boxes[j]) {
            return false;
        }
        let second = self.held(level, j);
        self.held(level, i).any(|a| {
            // Every pair once.
            let start = if i == j { a } else { second.start };
            (start..second.end).any(|b| self.crossed(level - 1, [a, b], slack))
        })
    }
}

fn touches(a: &Rect, b: &Rect) -> bool {
    a.x0 <= b.x1 && b.x0 <= a.x1 && a.y0 <= b.y1 && b.y0 <= a.y1
}

/// Squared distance of a point from a segment.
pub fn distance_sq(a: Point, b: Point, p: Point) -> f64 {
    let (along, gap) = (b - a, p - a);
    let long = along.hypot2();
    let t = if long > 0.0 { (gap.dot(along) / long).clamp(0.0, 1.0) } else { 0.0 };
    (gap - t * along).hypot2()
}

/// Points of a segment, the last one left out, so near that chords stray by less than `chord`.
pub fn flatten(segment: &PathSeg, chord: f64, out: &mut Vec<Point>) {
    let count = match segment {
        PathSeg::Line(_) => 1,
        other => {
            let c = other.to_cubic();
            let bend = (c.p0 - c.p1 + (c.p2 - c.p1)).hypot().max((c.p1 - c.p2 + (c.p3 - c.p2)).hypot());
            (0.75 * bend / chord).sqrt().ceil().max(1.0) as usize
        }
    };
    out.extend((0..count).map(|i| segment.eval(i as f64 / count as f64)));
}

pub fn flattened(path: &BezPath, chord: f64) -> Vec<Point> {
    let mut points = Vec::new();
    for segment in path.segments() {
        flatten(&segment, chord, &mut points);
    }
    points
}

/// The sew line as a closed chain.
pub fn sew_chain(piece: &Piece, chord: f64) -> Chain {
    let mut points = Vec::new();
    for edge in &piece.edges {
        for segment in edge.path.segments() {
            flatten(&segment, chord, &mut points);
        }
    }
    Chain::closed(points)
}

/// Hausdorff distances of two closed chains: of the lines, and of the regions that they enclose. They differ in acute
/// notches, where a hair's breadth more or less moves the notch's end a long way.
pub fn hausdorff(a: &Chain, b: &Chain) -> (f64, f64) {
    let (forth, back) = (one_way(a, b), one_way(b, a));
    (forth.0.max(back.0), forth.1.max(back.1))
}

/// How far points of one chain are from the other, at most; all of them, and those outside the region it encloses.
fn one_way(from: &Chain, to: &Chain) -> (f64, f64) {
    let mut worst = (0.0_f64, 0.0_f64);
    for pair in from.points.windows(2) {
        let steps = (pair[0].distance(pair[1]) / 2.0).ceil().clamp(1.0, 64.0) as usize;
        for i in 0..steps {
            let p = pair[0].lerp(pair[1], i as f64 / steps as f64);
            let off = to.distance(p);
            worst.0 = worst.0.max(off);
            if off > worst.1 && !to.holds(p) {
                worst.1 = off;
            }
        }
    }
    worst
}
