//! The nearest of many points, some of which come and go.
//!
//! A k-d tree (Bentley, Communications of the ACM 18(9), 1975) that is built once; each node counts the points below it
//! that are present, so that a search passes by what is gone.

use kurbo::Point;

/// Points in a leaf: below about this many, looking at each is quicker than going down further.
const LEAF: usize = 8;

pub(super) struct Tree {
    points: Vec<Point>,
    /// Indices of points, grouped by leaf.
    order: Vec<usize>,
    /// The root is the last node.
    nodes: Vec<Node>,
    /// The leaf that each point is in.
    leaf_of: Vec<usize>,
    present: Vec<bool>,
}

struct Node {
    low: Point,
    high: Point,
    /// Range in `order`.
    from: usize,
    to: usize,
    children: Option<[usize; 2]>,
    parent: Option<usize>,
    present: usize,
}

/// The nearest few points that were found so far, nearest first, no more than `most`.
pub(super) struct Few {
    most: usize,
    /// What lies further off than this, squared, is not among them.
    reach: f64,
    /// Square of the distance, and the point's index.
    pub(super) found: Vec<(f64, usize)>,
}

impl Few {
    /// None yet.
    pub(super) fn new(most: usize) -> Self {
        let mut few = Self { most, reach: 0.0, found: Vec::with_capacity(most) };
        few.clear();
        few
    }

    fn clear(&mut self) {
        self.found.clear();
        self.reach = if self.most == 0 { -1.0 } else { f64::INFINITY };
    }

    fn take(&mut self, candidate: (f64, usize)) {
        if candidate.0 > self.reach {
            return;
        }
        let at = self.found.partition_point(|other| *other < candidate);
        if at < self.most {
            if self.found.len() == self.most {
                self.found.pop();
            }
            self.found.insert(at, candidate);
            if let Some(last) = self.found.get(self.most - 1) {
                self.reach = last.0;
            }
        }
    }
}

impl Tree {
    /// A tree of those points, all of them present or none.
    pub(super) fn new(points: Vec<Point>, present: bool) -> Self {
        let count = points.len();
        let order = (0..count).collect();
        let mut tree =
            Self { points, order, nodes: Vec::new(), leaf_of: vec![0; count], present: vec![present; count] };
        if count > 0 {
            tree.build(0, count);
        }
        tree
    }

    fn build(&mut self, from: usize, to: usize) -> usize {
        let (mut low, mut high) =
            (Point::new(f64::INFINITY, f64::INFINITY), Point::new(-f64::INFINITY, -f64::INFINITY));
        for point in self.order[from..to].iter().map(|index| self.points[*index]) {
            low = Point::new(low.x.min(point.x), low.y.min(point.y));
            high = Point::new(high.x.max(point.x), high.y.max(point.y));
        }
        let children = (to - from > LEAF).then(|| {
            let along_x = high.x - low.x >= high.y - low.y;
            let middle = (to - from) / 2;
            let points = &self.points;
            self.order[from..to].select_nth_unstable_by(middle, |a, b| {
                let (pa, pb) = (points[*a], points[*b]);
                let by = if along_x { pa.x.total_cmp(&pb.x) } else { pa.y.total_cmp(&pb.y) };
                by.then(a.cmp(b))
            });
            [self.build(from, from + middle), self.build(from + middle, to)]
        });
        let this = self.nodes.len();
        match children {
            Some(children) => children.into_iter().for_each(|child| self.nodes[child].parent = Some(this)),
            None => self.order[from..to].iter().for_each(|index| self.leaf_of[*index] = this),
        }
        let present = if self.present[from] { to - from } else { 0 };
        self.nodes.push(Node { low, high, from, to, children, parent: None, present });
        this
    }

    /// Lets a point come or go.
    pub(super) fn set(&mut self, index: usize, present: bool) {
        if self.present[index] == present {
            return;
        }
        self.present[index] = present;
        let mut at = Some(self.leaf_of[index]);
        while let Some(node) = at.map(|node| &mut self.nodes[node]) {
            if present {
                node.present += 1;
            } else {
                node.present -= 1;
            }
            at = node.parent;
        }
    }

    /// The present point nearest to `from`; of several as near, the one with the lowest index.
    pub(super) fn nearest(&self, from: Point) -> Option<usize> {
        let mut best = (f64::INFINITY, usize::MAX);
        if let Some(root) = self.nodes.len().checked_sub(1) {
            self.search(root, from, &mut best);
        }
        (best.1 != usize::MAX).then_some(best.1)
    }

    /// The present points nearest to `from`: in each of its quadrants (counted anticlockwise; the axes belong to the
    /// quadrant behind them), and last the nearest of all, each as many as `few` asks for.
    pub(super) fn nearest_few(&self, from: Point, few: &mut [Few; 5]) {
        for few in few.iter_mut() {
            few.clear();
        }
        if let Some(root) = self.nodes.len().checked_sub(1) {
            self.search_few(root, from, few);
        }
    }

    fn search_few(&self, node: usize, from: Point, few: &mut [Few; 5]) {
        let node = &self.nodes[node];
        let away = node.distance_squared(from);
        let wanted = |quadrant: usize| away <= few[quadrant].reach && node.reaches(from, quadrant);
        if node.present == 0 || !(away <= few[4].reach || (0..4).any(wanted)) {
            return;
        }
        let Some([a, b]) = node.children else {
            for index in self.order[node.from..node.to].iter().copied().filter(|index| self.present[*index]) {
                let point = self.points[index];
                let candidate = (point.distance_squared(from), index);
                few[quadrant_of(from, point)].take(candidate);
                few[4].take(candidate);
            }
            return;
        };
        let nearer_first = self.nodes[a].distance_squared(from) <= self.nodes[b].distance_squared(from);
        for child in if nearer_first { [a, b] } else { [b, a] } {
            self.search_few(child, from, few);
        }
    }

    fn search(&self, node: usize, from: Point, best: &mut (f64, usize)) {
        let node = &self.nodes[node];
        if node.present == 0 || node.distance_squared(from) > best.0 {
            return;
        }
        let Some([a, b]) = node.children else {
            for index in self.order[node.from..node.to].iter().copied().filter(|index| self.present[*index]) {
                let candidate = (self.points[index].distance_squared(from), index);
                if candidate < *best {
                    *best = candidate;
                }
            }
            return;
        };
        let nearer_first = self.nodes[a].distance_squared(from) <= self.nodes[b].distance_squared(from);
        for child in if nearer_first { [a, b] } else { [b, a] } {
            self.search(child, from, best);
        }
    }
}

/// Which quadrant about `from` a point lies in.
fn quadrant_of(from: Point, point: Point) -> usize {
    let (right, up) = (point.x > from.x, point.y > from.y);
    match (right, up) {
        (true, true) => 0,
        (false, true) => 1,
        (false, false) => 2,
        (true, false) => 3,
    }
}

impl Node {
    /// Whether the node's rectangle reaches into a quadrant about `from`.
    fn reaches(&self, from: Point, quadrant: usize) -> bool {
        let in_x = if matches!(quadrant, 0 | 3) { self.high.x > from.x } else { self.low.x <= from.x };
        let in_y = if quadrant < 2 { self.high.y > from.y } else { self.low.y <= from.y };
        in_x && in_y
    }

    /// From a point to the node's rectangle.
    fn distance_squared(&self, from: Point) -> f64 {
        let dx = (self.low.x - from.x).max(from.x - self.high.x).max(0.0);
        let dy = (self.low.y - from.y).max(from.y - self.high.y).max(0.0);
        dx * dx + dy * dy
    }
}
