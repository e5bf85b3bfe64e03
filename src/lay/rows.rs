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
    /// The inside of a closed outline together with lines that may reach outside it, in rows of that height.
    pub(super) fn new<'a>(outline: &BezPath, lines: impl Iterator<Item = &'a BezPath>, height: f64) -> Self {
        let lines: Vec<&BezPath> = lines.filter(|line| !line.is_empty()).collect();
        let bounds = lines.iter().fold(outline.bounding_box(), |bounds, line| bounds.union(line.bounding_box()));
        let outline = segments(outline);
        let mut all = outline.clone();
        all.extend(lines.into_iter().flat_map(segments));
        let count = (bounds.height() / height).ceil().max(1.0) as usize;
        let mut rows = vec![Spans::new(); count];
        for [a, b] in &all {
            let (low, high) = if a.y <= b.y { (*a, *b) } else { (*b, *a) };
            let row_of = |y: f64| (((y - bounds.y0) / height).floor().max(0.0) as usize).min(count - 1);
            for (row, spans) in rows.iter_mut().enumerate().take(row_of(high.y + STRAY) + 1).skip(row_of(low.y - STRAY))
            {
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
        // What lies inside without a boundary in the row spans the row from its bottom line.
        for (row, spans) in rows.iter_mut().enumerate() {
            let bottom = bounds.y0 + row as f64 * height;
            let mut crossings: Vec<f64> = outline
                .iter()
                .filter(|[a, b]| (a.y <= bottom) != (b.y <= bottom))
                .map(|[a, b]| a.x + (bottom - a.y) / (b.y - a.y) * (b.x - a.x) - bounds.x0)
                .collect();
            crossings.sort_by(f64::total_cmp);
            spans.extend(crossings.chunks_exact(2).map(|pair| [pair[0], pair[1]]));
            *spans = merged(std::mem::take(spans));
        }
        Self { bounds, rows }
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

/// The same spans, those that meet made one, in ascending order.
fn merged(mut spans: Spans) -> Spans {
    spans.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut merged = Spans::with_capacity(spans.len());
    for span in spans {
        match merged.last_mut() {
            Some(last) if span[0] <= last[1] => last[1] = last[1].max(span[1]),
            _ => merged.push(span),
        }
    }
    merged
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
        const ROW: f64 = 2.5;
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
        for spans in &mut self.taken {
            *spans = merged(std::mem::take(spans));
        }
    }

    /// Takes a rectangle of the room, and the gap around it.
    pub(super) fn block(&mut self, rect: Rect) {
        let (low, high) = (rect.y0 - self.gap, rect.y1 + self.gap);
        for (row, spans) in self.taken.iter_mut().enumerate() {
            let bottom = row as f64 * self.row;
            if bottom < high && bottom + self.row > low {
                spans.push([rect.x0 - self.gap, rect.x1 + self.gap]);
                *spans = merged(std::mem::take(spans));
            }
        }
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
