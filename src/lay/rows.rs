//! Shapes and occupied space as spans in rows, for a quick and safe search for room.
//!
//! The medium is cut into rows parallel to x; a shape is, row by row, the spans of x that it touches anywhere in the row
//! (the semi-discrete representation of Okano, Computational Geometry 22, 2002: exact along x, rounded outwards along
//! y). What does not meet here does not meet at all.

use kurbo::{BezPath, Point, Rect, Shape as _};

/// How far the flattened lines here may stray from the curve, mm; spans are widened by as much.
const STRAY: f64 = 0.02;

/// Rounding in coordinates, mm: what fits but for this fits.
pub(super) const ROUNDING: f64 = 1e-7;

/// Spans of one row, apart from one another and in ascending order.
type Spans = Vec<[f64; 2]>;

/// A shape, relative to the lower left corner of its bounds.
pub(super) struct Shape {
    /// The shape's extent in the coordinates that it was given in.
    pub(super) bounds: Rect,
    rows: Vec<Spans>,
}

impl Shape {
    /// The inside of a closed outline together with lines that may reach outside it, in rows of that height from its
    /// lowest point or from `floor` below it.
    pub(super) fn new<'a>(
        outline: &BezPath,
        lines: impl Iterator<Item = &'a BezPath>,
        height: f64,
        floor: Option<f64>,
    ) -> Self {
        let lines: Vec<&BezPath> = lines.filter(|line| !line.is_empty()).collect();
        let mut bounds = lines.iter().fold(outline.bounding_box(), |bounds, line| bounds.union(line.bounding_box()));
        bounds.y0 = floor.unwrap_or(bounds.y0);
        let outline = segments(outline);
        let mut rows = touched(outline.iter().copied().chain(lines.into_iter().flat_map(segments)), bounds, height);
        fill(&mut rows, &outline, bounds, height);
        rows.iter_mut().for_each(merge);
        Self { bounds, rows }
    }
}

/// Of some lines those that the outline may not hold: a line is left out whose box, handles included, the outline does
/// not enter and which lies within it. They are told by their index.
pub(super) fn sticking_out<'a>(outline: &BezPath, lines: impl Iterator<Item = &'a BezPath>, height: f64) -> Vec<usize> {
    let bounds = outline.bounding_box();
    let sides = segments(outline);
    let mut border = touched(sides.iter().copied(), bounds, height);
    let mut inside = vec![Spans::new(); border.len()];
    fill(&mut inside, &sides, bounds, height);
    border.iter_mut().for_each(merge);
    let held = |line: &BezPath| {
        let held_in = line.control_box();
        let box_in =
            Rect::new(held_in.x0 - bounds.x0, held_in.y0 - bounds.y0, held_in.x1 - bounds.x0, held_in.y1 - bounds.y0);
        let (low, high) = ((box_in.y0 - STRAY) / height, (box_in.y1 + STRAY) / height);
        if !(low >= 0.0 && high < border.len() as f64) {
            return false;
        }
        let rows = low as usize..=high as usize;
        let (left, right) = (box_in.x0 - STRAY, box_in.x1 + STRAY);
        // Where no boundary is met in a row, its bottom line tells whether the row there is inside.
        inside[*rows.start()].iter().any(|[from, to]| *from <= left && right <= *to)
            && rows.into_iter().all(|row| border[row].iter().all(|[from, to]| *to < left || right < *from))
    };
    lines.enumerate().filter(|(_, line)| *line != outline && !held(line)).map(|(index, _)| index).collect()
}

/// The spans of each row that the segments touch, relative to the bounds.
fn touched(segments: impl Iterator<Item = [Point; 2]>, bounds: Rect, height: f64) -> Vec<Spans> {
    let count = (bounds.height() / height).ceil().max(1.0) as usize;
    let mut rows = vec![Spans::new(); count];
    for [a, b] in segments {
        let (low, high) = if a.y <= b.y { (a, b) } else { (b, a) };
        let row_of = |y: f64| (((y - bounds.y0) / height).floor().max(0.0) as usize).min(count - 1);
        for (row, spans) in rows.iter_mut().enumerate().take(row_of(high.y + STRAY) + 1).skip(row_of(low.y - STRAY)) {
            let bottom = bounds.y0 + row as f64 * height;
            let at = |y: f64| {
                let part = if high.y > low.y { ((y - low.y) / (high.y - low.y)).clamp(0.0, 1.0) } else { 0.0 };
                low.x + part * (high.x - low.x)
            };
            // A level segment lies in the row with its whole length.
            let [from, to] =
                if high.y > low.y { [at(bottom - STRAY), at(bottom + height + STRAY)] } else { [low.x, high.x] };
            let [from, to] = [from.min(to) - STRAY, from.max(to) + STRAY];
            spans.push([from.max(bounds.x0) - bounds.x0, to.min(bounds.x1) - bounds.x0]);
        }
    }
    rows
}

/// Adds the inside of an outline: what has no boundary in a row spans the row from its bottom line.
fn fill(rows: &mut [Spans], outline: &[[Point; 2]], bounds: Rect, height: f64) {
    let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); rows.len()];
    for [a, b] in outline {
        let (low, high) = (a.y.min(b.y), a.y.max(b.y));
        // One row more on either side, as the division rounds; the comparison decides.
        let first = (((low - bounds.y0) / height).floor() - 1.0).max(0.0) as usize;
        let last = (((high - bounds.y0) / height).ceil() + 1.0).max(0.0) as usize;
        for (row, crossed) in crossings.iter_mut().enumerate().take(last + 1).skip(first) {
            let bottom = bounds.y0 + row as f64 * height;
            if (a.y <= bottom) != (b.y <= bottom) {
                crossed.push(a.x + (bottom - a.y) / (b.y - a.y) * (b.x - a.x) - bounds.x0);
            }
        }
    }
    for (spans, crossed) in rows.iter_mut().zip(&mut crossings) {
        crossed.sort_by(f64::total_cmp);
        spans.extend(crossed.chunks_exact(2).map(|pair| [pair[0], pair[1]]));
    }
}

/// The lines of a flattened path, the closing one included.
fn segments(path: &BezPath) -> Vec<[Point; 2]> {
    let mut flat = BezPath::new();
    kurbo::flatten(path, STRAY, |element| flat.push(element));
    flat.segments()
        .filter_map(|segment| match segment {
            kurbo::PathSeg::Line(line) => Some([line.p0, line.p1]),
            _ => None,
        })
        .collect()
}

/// Makes spans that meet one, and puts them in ascending order.
fn merge(spans: &mut Spans) {
    spans.sort_unstable_by(|a, b| a[0].total_cmp(&b[0]));
    spans.dedup_by(|next, last| {
        let meet = next[0] <= last[1];
        if meet {
            last[1] = last[1].max(next[1]);
        }
        meet
    });
}

/// A rectangle in which shapes take their places. Its lower left corner is the origin.
#[derive(Clone)]
pub(super) struct Room {
    width: f64,
    height: f64,
    row: f64,
    gap: f64,
    /// Taken, the gap around it included.
    taken: Vec<Spans>,
}

/// Where a shape's lower left corner comes to lie.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub(super) x: f64,
    pub(super) row: usize,
}

impl Room {
    pub(super) fn new(width: f64, height: f64, gap: f64, row: f64) -> Self {
        let count = (height / row).ceil() as usize + 1;
        Self { width, height, row, gap, taken: vec![Spans::new(); count] }
    }

    /// A height of rows that the gap is a multiple of, so that little is lost by rounding outwards.
    pub(super) fn row_height(gap: f64) -> f64 {
        /// About as high as this, mm: finer rows save paper and cost time.
        const ROW: f64 = 4.0;
        if gap > 0.0 { gap / (gap / ROW).ceil() } else { ROW }
    }

    /// The spot where the shape's right side comes to lie furthest to the left and left of `limit`; of several such the
    /// lowest.
    pub(super) fn find(&self, shape: &Shape, limit: f64) -> Option<Spot> {
        let spare = self.height - shape.bounds.height() + ROUNDING;
        if spare < 0.0 {
            return None;
        }
        let furthest = self.width - shape.bounds.width() + ROUNDING;
        let mut best: Option<Spot> = None;
        for row in 0..=(spare / self.row).floor() as usize {
            let most = best.map_or(furthest.min(limit - shape.bounds.width()), |best| best.x);
            let Some(x) = self.leftmost(shape, row, most) else { continue };
            if best.is_none_or(|best| x < best.x) {
                best = Some(Spot { x, row });
            }
        }
        best
    }

    /// The least x, not above `most`, at which the shape is clear with its lowest row in `row`.
    fn leftmost(&self, shape: &Shape, row: usize, most: f64) -> Option<f64> {
        let mut x = 0.0;
        // A few rows say soonest that there is no room; the last round asks them all and moves nothing.
        for stride in [16, 4, 1] {
            loop {
                let pushed = self.pushed(shape, row, stride, x);
                if pushed > most {
                    return None;
                }
                if pushed <= x {
                    break;
                }
                x = pushed;
            }
        }
        Some(x)
    }

    /// Where the shape comes to lie when every `stride`th of its rows in turn pushes it to the right of what it meets.
    fn pushed(&self, shape: &Shape, row: usize, stride: usize, mut x: f64) -> f64 {
        for (spans, taken) in shape.rows.iter().zip(&self.taken[row..]).step_by(stride) {
            for [from, to] in spans {
                let mut next = taken.partition_point(|span| span[1] <= x + from);
                while let Some([_, end]) = taken.get(next).filter(|span| span[0] < x + to) {
                    x = x.max(end - from);
                    next += 1;
                }
            }
        }
        x
    }

    /// Takes the shape's place, and the gap around it.
    pub(super) fn take(&mut self, shape: &Shape, spot: Spot) {
        for (index, spans) in shape.rows.iter().enumerate() {
            let middle = spot.row + index;
            let reach = (self.gap / self.row).ceil() as usize;
            for row in middle.saturating_sub(reach)..=(middle + reach).min(self.taken.len() - 1) {
                // Rows side by side touch; beyond, the space between them counts towards the gap.
                let between = (row.abs_diff(middle) as f64 - 1.0).max(0.0) * self.row;
                let aside = (self.gap * self.gap - between * between).max(0.0).sqrt();
                if self.gap > 0.0 && between >= self.gap {
                    continue;
                }
                if self.gap <= 0.0 && row != middle {
                    continue;
                }
                self.taken[row].extend(spans.iter().map(|[from, to]| [spot.x + from - aside, spot.x + to + aside]));
            }
        }
        let reach = (self.gap / self.row).ceil() as usize;
        let last = (spot.row + shape.rows.len() + reach).min(self.taken.len());
        self.taken[spot.row.saturating_sub(reach)..last].iter_mut().for_each(merge);
    }

    /// Takes a rectangle of the room, and the gap around it.
    pub(super) fn block(&mut self, rect: Rect) {
        let (low, high) = (rect.y0 - self.gap, rect.y1 + self.gap);
        for (row, spans) in self.taken.iter_mut().enumerate() {
            let bottom = row as f64 * self.row;
            if bottom < high && bottom + self.row > low {
                spans.push([rect.x0 - self.gap, rect.x1 + self.gap]);
                merge(spans);
            }
        }
    }

    /// What is taken of a row, in ascending order.
    pub(super) fn taken(&self, row: usize) -> &[[f64; 2]] {
        &self.taken[row]
    }

    /// Extent along x and y.
    pub(super) fn size(&self) -> (f64, f64) {
        (self.width, self.height)
    }

    /// How far above the origin a row begins.
    pub(super) fn height_of(&self, row: usize) -> f64 {
        row as f64 * self.row
    }
}
