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

/// The table for one pair of forms.
pub(super) struct Field {
    corner: [f64; 2],
    /// Cells for each unit of length.
    over: f64,
    columns: usize,
    rows: usize,
    /// Depth at the corners of the cells, row by row.
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
            nodes: vec![],
            cells: vec![],
            near: vec![],
            sides,
            gap,
        };
        let at = |column: usize, row: usize, aside: f64| {
            [low[0] + (column as f64 + aside) * cell, low[1] + (row as f64 + aside) * cell]
        };
        for row in 0..=rows {
            for column in 0..=columns {
                let [x, y] = at(column, row, 0.0);
                field.nodes.push((signed(field.sides.iter().copied(), x, y) + gap) as f32);
            }
        }
        // A depth changes by no more than the shift does, and no shift is further than this from a corner of its cell.
        let safe = (0.7072 * cell) as f32;
        for row in 0..rows {
            for column in 0..columns {
                let corners = field.corners(column, row);
                let kind = if corners.iter().all(|depth| *depth > safe) {
                    DEEP
                } else if corners.iter().all(|depth| *depth < -safe) {
                    CLEAR
                } else {
                    let [x, y] = at(column, row, 0.5);
                    field.list(x, y, 1.4144 * cell)
                };
                field.cells.push(kind);
            }
        }
        field
    }

    /// Lists the sides that are no further from a point than `spare` beyond the nearest.
    fn list(&mut self, x: f64, y: f64, spare: f64) -> u32 {
        let distances: Vec<f64> = self.sides.iter().map(|side| side.measure(x, y).0.sqrt()).collect();
        let reach = distances.iter().copied().fold(f64::INFINITY, f64::min) + spare;
        let head = self.near.len();
        self.near.push(0);
        self.near.extend((0..self.sides.len()).filter(|side| distances[*side] <= reach).map(|side| side as u32));
        self.near[head] = (self.near.len() - head - 1) as u32;
        head as u32
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
                let list = &self.near[head + 1..=head + self.near[head] as usize];
                (signed(list.iter().map(|side| self.sides[*side as usize]), x, y) + self.gap).max(0.0)
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
