//! How deep one shape lies in another, for every shift of the one: a table, with exact values along its zero line.

use geo::{MultiPolygon, Winding};

/// One side of a ring; the inside of what the rings bound lies on its left.
#[derive(Clone, Copy)]
struct Side {
    start: [f64; 2],
    way: [f64; 2],
    /// One over the squared length.
    over: f64,
}

impl Side {
    /// The squared distance of a point, and its distance to the left of the line through the side, times the length.
    #[inline]
    fn measure(&self, x: f64, y: f64) -> (f64, f64) {
        let (px, py) = (x - self.start[0], y - self.start[1]);
        let [dx, dy] = self.way;
        let along = ((px * dx + py * dy) * self.over).clamp(0.0, 1.0);
        let (qx, qy) = (px - along * dx, py - along * dy);
        (qx * qx + qy * qy, dx * py - dy * px)
    }
}

/// Distance from the nearest side, positive to its left.
#[inline]
fn signed(sides: impl Iterator<Item = Side>, x: f64, y: f64) -> f64 {
    let (mut nearest, mut left, mut upright) = (f64::INFINITY, 0.0, 0.0);
    for side in sides {
        let (square, turn) = side.measure(x, y);
        let aside = turn * turn * side.over;
        // Where a corner is nearest both its sides are as near: the one that the point lies more squarely off decides.
        let tie = (square - nearest).abs() <= 1e-9 * (square + 1e-9);
        if (tie && aside > upright) || (!tie && square < nearest) {
            (nearest, left, upright) = (square.min(nearest), turn, aside);
        }
    }
    nearest.sqrt().copysign(left)
}

/// Cells of the longer extent.
const CELLS: f64 = 32.0;

/// A cell that is clear all over.
const CLEAR: u32 = u32::MAX;

/// A cell without a clear shift in it.
const DEEP: u32 = u32::MAX - 1;

/// Cells from the zero line where a table begins to be deep.
const DEEP_FROM: f64 = 0.7072;

/// So few sides are measured for every cell of a deep block.
const FEW: usize = 8;

/// The table for one pair of forms.
pub(super) struct Field {
    corner: [f64; 2],
    /// Cells for each unit of length.
    over: f64,
    columns: usize,
    rows: usize,
    /// Depth at the corners of deep cells, row by row; elsewhere no number.
    nodes: Vec<f32>,
    /// For each cell `CLEAR`, `DEEP`, or where in `near` its list begins.
    cells: Vec<u32>,
    /// Lists: how many, and which sides may be the nearest somewhere in the cell.
    near: Vec<u32>,
    sides: Vec<Side>,
    gap: f64,
}

impl Field {
    /// From rings in the plane of shifts. Shapes nearer than `gap` to one another count as overlapping.
    pub(super) fn new(rings: &MultiPolygon, gap: f64) -> Self {
        let sides = sides(rings);
        let ends = || sides.iter().map(|side| side.start);
        let low = ends().fold([f64::INFINITY; 2], |a, b| [a[0].min(b[0]), a[1].min(b[1])]).map(|at| at - gap);
        let high = ends().fold([f64::NEG_INFINITY; 2], |a, b| [a[0].max(b[0]), a[1].max(b[1])]).map(|at| at + gap);
        let (width, height) = ((high[0] - low[0]).max(0.0), (high[1] - low[1]).max(0.0));
        let cell = (width.max(height) / CELLS).max(f64::MIN_POSITIVE);
        let (columns, rows) = ((width / cell) as usize + 1, (height / cell) as usize + 1);
        let mut field = Self {
            corner: low,
            over: 1.0 / cell,
            columns,
            rows,
            nodes: vec![f32::NAN; (columns + 1) * (rows + 1)],
            cells: vec![CLEAR; columns * rows],
            near: vec![],
            sides,
            gap,
        };
        let mut stack: Vec<u32> = (0..field.sides.len() as u32).collect();
        field.divide([0, 0, columns, rows], false, &mut stack, 0, &mut Vec::new());
        field
    }

    /// Fills in a block of cells (column and row of the first, how many wide and high), halved across its longer way down
    /// to single cells; `inside` where no shift of it is clear. On the stack `from` one place on lie all sides that may be the nearest somewhere in the block; those
    /// of a part of it are put on top.
    fn divide(
        &mut self,
        [column, row, wide, high]: [usize; 4],
        inside: bool,
        stack: &mut Vec<u32>,
        from: usize,
        squares: &mut Vec<f64>,
    ) {
        let cell = 1.0 / self.over;
        let [x, y] = self.at(column as f64 + wide as f64 / 2.0, row as f64 + high as f64 / 2.0);
        // No shift of the block is further than this from its middle, and a depth changes by no more than the shift does.
        let radius = 0.5001 * cell * ((wide * wide + high * high) as f64).sqrt();
        squares.clear();
        squares.extend(stack[from..].iter().map(|side| self.sides[*side as usize].measure(x, y).0));
        let nearest = squares.iter().copied().fold(f64::INFINITY, f64::min).sqrt();
        let reach = (nearest + 2.0 * radius).powi(2);
        let top = stack.len();
        for (index, square) in squares.iter().enumerate() {
            if *square <= reach {
                stack.push(stack[from + index]);
            }
        }
        let alike = inside || nearest > radius + self.gap;
        let depth = match (inside, alike) {
            (true, _) => nearest + self.gap,
            (_, true) => self.depth_by(&stack[top..], x, y),
            _ => 0.0,
        };
        // Near the zero line depths are exact: interpolated is what lies further than most of a cell from it.
        let deep = depth > radius + DEEP_FROM * cell;
        if depth < 0.0 {
            // Clear all over, as every cell was at first.
        } else if deep && (wide * high == 1 || stack.len() - top <= FEW) {
            for row in row..row + high {
                (column..column + wide).for_each(|column| self.fill(column, row, &stack[top..]));
            }
        } else if wide * high == 1 && depth > 0.0 && self.corners_are_deep(column, row, &stack[top..]) {
            self.cells[row * self.columns + column] = DEEP;
        } else if wide * high == 1 {
            // What may be clear in part: the exact depth is worked out when it is asked for.
            self.cells[row * self.columns + column] = self.near.len() as u32;
            self.near.push((stack.len() - top) as u32);
            self.near.extend(&stack[top..]);
        } else {
            let parts = if wide >= high {
                [[column, row, wide / 2, high], [column + wide / 2, row, wide - wide / 2, high]]
            } else {
                [[column, row, wide, high / 2], [column, row + high / 2, wide, high - high / 2]]
            };
            for part in parts {
                self.divide(part, alike, stack, top, squares);
            }
        }
        stack.truncate(top);
    }

    /// Marks a cell as deep.
    fn fill(&mut self, column: usize, row: usize, near: &[u32]) {
        self.corners_are_deep(column, row, near);
        self.cells[row * self.columns + column] = DEEP;
    }

    /// Whether all corners of a cell inside lie far enough from the zero line. Their depths are worked out where they are
    /// not yet.
    fn corners_are_deep(&mut self, column: usize, row: usize, near: &[u32]) -> bool {
        for (column, row) in [(column, row), (column + 1, row), (column, row + 1), (column + 1, row + 1)] {
            let node = row * (self.columns + 1) + column;
            if self.nodes[node].is_nan() {
                let [x, y] = self.at(column as f64, row as f64);
                let squares = near.iter().map(|side| self.sides[*side as usize].measure(x, y).0);
                self.nodes[node] = (squares.fold(f64::INFINITY, f64::min).sqrt() + self.gap) as f32;
            }
        }
        let least = (DEEP_FROM / self.over) as f32;
        self.corners(column, row).iter().all(|depth| *depth > least)
    }

    /// A shift by its column and row.
    fn at(&self, column: f64, row: f64) -> [f64; 2] {
        [self.corner[0] + column / self.over, self.corner[1] + row / self.over]
    }

    fn depth_by(&self, sides: &[u32], x: f64, y: f64) -> f64 {
        signed(sides.iter().map(|side| self.sides[*side as usize]), x, y) + self.gap
    }

    #[inline]
    fn corners(&self, column: usize, row: usize) -> [f32; 4] {
        let low = row * (self.columns + 1) + column;
        let high = low + self.columns + 1;
        [self.nodes[low], self.nodes[low + 1], self.nodes[high], self.nodes[high + 1]]
    }

    /// How far the shape must be shifted further, at the least, to be clear; 0 where it is.
    #[inline]
    pub(super) fn depth(&self, x: f64, y: f64) -> f64 {
        let (u, v) = ((x - self.corner[0]) * self.over, (y - self.corner[1]) * self.over);
        if !(u >= 0.0 && v >= 0.0) {
            return 0.0;
        }
        let (column, row) = (u as usize, v as usize);
        if column >= self.columns || row >= self.rows {
            return 0.0;
        }
        match self.cells[row * self.columns + column] {
            CLEAR => 0.0,
            DEEP => {
                let [a, b, c, d] = self.corners(column, row);
                let (s, t) = ((u - column as f64) as f32, (v - row as f64) as f32);
                let (low, high) = (a + s * (b - a), c + s * (d - c));
                f64::from(low + t * (high - low))
            }
            head => {
                let head = head as usize;
                self.depth_by(&self.near[head + 1..=head + self.near[head] as usize], x, y).max(0.0)
            }
        }
    }
}

fn sides(rings: &MultiPolygon) -> Vec<Side> {
    let mut sides = Vec::new();
    let mut add = |ring: &geo::LineString| {
        for line in ring.lines() {
            let (start, way) = ([line.start.x, line.start.y], [line.dx(), line.dy()]);
            let square = way[0] * way[0] + way[1] * way[1];
            if square > 0.0 {
                sides.push(Side { start, way, over: 1.0 / square });
            }
        }
    };
    for polygon in rings {
        let mut outer = polygon.exterior().clone();
        outer.make_ccw_winding();
        add(&outer);
        for inner in polygon.interiors() {
            let mut inner = inner.clone();
            inner.make_cw_winding();
            add(&inner);
        }
    }
    sides
}

#[cfg(test)]
mod tests {
    use super::super::random::Random;
    use super::*;
    use geo::{Contains, Distance, Euclidean, Point, wkt};

    /// Against geo's point in polygon and distance to its rings, with a hole and a hollow: clear exactly where it is clear,
    /// the true depth near the rings, and where it is interpolated within half a cell's diagonal, most of it along ridges.
    #[test]
    fn depths_are_those_of_the_rings() {
        let rings = wkt! { MULTIPOLYGON(
            ((0. 0.,90. 0.,90. 60.,60. 60.,60. 20.,30. 20.,30. 60.,0. 60.,0. 0.),(5. 5.,5. 12.,20. 12.,20. 5.,5. 5.)),
            ((100. 10.,140. 30.,100. 50.,100. 10.))
        ) };
        for gap in [0.0, 2.0] {
            let field = Field::new(&rings, gap);
            let mut random = Random::new(3);
            let (mut inside, mut faults) = (0, 0);
            for _ in 0..20_000 {
                let (x, y) = (random.between(-10.0, 150.0), random.between(-10.0, 70.0));
                let point = Point::new(x, y);
                let rim = rings.iter().flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()));
                let rim = rim.map(|ring| Euclidean.distance(&point, ring)).fold(f64::INFINITY, f64::min);
                let wanted = (if rings.contains(&point) { rim } else { -rim } + gap).max(0.0);
                let found = field.depth(x, y);
                inside += usize::from(wanted > 0.0);
                let near = if wanted < DEEP_FROM / field.over { 1e-9 } else { 0.7072 / field.over };
                assert!((found - wanted).abs() <= near, "{x} {y}: {found}, not {wanted}");
                // A seeded fault: the table of the same rings moved by a tenth.
                faults += usize::from((field.depth(x + 0.1, y) - wanted).abs() > near);
            }
            assert!(inside > 5_000 && faults > 500, "{inside} {faults}");
        }
    }
}
