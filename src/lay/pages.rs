//! A sheet seen through page-sized windows, for printers at home.

use super::Sheet;
use super::search::{Form, Laid, Place, Problem, Random};
use crate::device::Medium;
use crate::diag::{Finding, Result};
use kurbo::{Rect, Shape as _};

/// One page: what part of the sheet it shows, and which pages lie beside it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Page {
    /// Column, from 0 at the left.
    pub column: usize,
    /// Row, from 0 at the bottom.
    pub row: usize,
    /// The part of the sheet, mm; neighbours share a strip of the overlap's width.
    pub window: Rect,
}

/// More pages than this from one sheet are a slip.
const MOST: usize = 2000;

/// The pages that show a sheet, row by row from the lower left, each `width` by `height` mm of it, neighbours overlapping by
/// `overlap` mm; pages that would stay empty are left out.
///
/// # Errors
/// A page that is no larger than the overlap, or more than 2,000 pages.
pub fn pages(sheet: &Sheet, width: f64, height: f64, overlap: f64) -> Result<Vec<Page>> {
    let fits = |side: f64| side.is_finite() && side - overlap >= 10.0;
    if !(overlap >= 0.0 && fits(width) && fits(height)) {
        let message = format!("pages of {width} × {height} mm can't overlap by {overlap} mm");
        return Err(Finding::error(message).hint("a page is at least 10 mm larger than the overlap").into());
    }
    let count = |extent: f64, side: f64| (((extent - overlap - 1e-6) / (side - overlap)).ceil().max(1.0)) as usize;
    let (columns, rows) = (count(sheet.width, width), count(sheet.height, height));
    if columns.saturating_mul(rows) > MOST {
        let message = format!("the sheet would take {columns} × {rows} pages");
        return Err(Finding::error(message).hint("use larger pages, or fewer pieces on a sheet").into());
    }
    let drawn: Vec<Rect> = sheet.strokes.iter().map(|stroke| stroke.path.bounding_box()).collect();
    let mut pages = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let (x, y) = (column as f64 * (width - overlap), row as f64 * (height - overlap));
            let window = Rect::new(x, y, x + width, y + height);
            let shows = |bounds: &Rect| {
                bounds.x0 <= window.x1 && bounds.x1 >= window.x0 && bounds.y0 <= window.y1 && bounds.y1 >= window.y0
            };
            if drawn.iter().any(shows) {
                pages.push(Page { column, row, window });
            }
        }
    }
    Ok(pages)
}

/// How many pages sheets take, and how many parts their pieces are in, by their boxes.
pub(super) fn joined(sheets: &[Sheet], medium: &Medium) -> [usize; 2] {
    let mut cost = [0; 2];
    let Some(grid) = PageGrid::of(medium) else { return cost };
    for sheet in sheets {
        let boxes: Vec<Rect> = sheet.placed.iter().map(|placed| placed.outline.bounding_box()).collect();
        for page in pages(sheet, grid.size[0], grid.size[1], grid.overlap).unwrap_or_default() {
            cost[0] += 1;
            cost[1] += boxes.iter().filter(|bounds| page.window.overlaps(**bounds)).count();
        }
    }
    cost
}

/// The pages of a medium, from its lower left corner.
pub(super) struct PageGrid {
    /// What one page shows along x and y, mm.
    size: [f64; 2],
    overlap: f64,
    /// Pages side by side across the roll that they make.
    pub(super) rows: usize,
}

impl PageGrid {
    /// None where the medium is not made of pages.
    pub(super) fn of(medium: &Medium) -> Option<Self> {
        let pages = medium.pages?;
        let margins = pages.margins;
        let size = [pages.width - margins.left - margins.right, pages.height - margins.bottom - margins.top];
        Some(Self { size, overlap: pages.overlap, rows: pages.across as usize })
    }

    /// What one page shows along x and y, mm.
    pub(super) fn window(&self) -> (f64, f64) {
        (self.size[0], self.size[1])
    }

    /// The height that so many rows make, mm.
    pub(super) fn height(&self, rows: usize) -> f64 {
        rows as f64 * (self.size[1] - self.overlap) + self.overlap
    }

    /// The first and last page along an axis that show some of a stretch.
    fn shown(&self, axis: usize, from: f64, to: f64) -> [usize; 2] {
        let step = self.size[axis] - self.overlap;
        [((from - self.size[axis]) / step).ceil().max(0.0) as usize, (to / step).max(0.0) as usize]
    }

    /// The pages, as column and row, that show some of an item, in ascending order.
    fn pages(&self, forms: &[Form], place: Place) -> Vec<(usize, usize)> {
        /// Longer sides are taken in parts, as a part's box stands for it, mm.
        const PART: f64 = 40.0;
        let points = &forms[place.form].points;
        // For every row its first and last column.
        let mut rows: Vec<Option<[usize; 2]>> = vec![None; self.rows + 1];
        for (index, a) in points.iter().enumerate() {
            let b = points[(index + 1) % points.len()];
            let parts = ((b[0] - a[0]).hypot(b[1] - a[1]) / PART).ceil().max(1.0) as usize;
            for part in 0..parts {
                let at = |axis: usize, part: usize| a[axis] + (b[axis] - a[axis]) * part as f64 / parts as f64;
                let stretch = |axis: usize, middle: f64| {
                    let (from, to) = (at(axis, part), at(axis, part + 1));
                    self.shown(axis, middle + from.min(to), middle + from.max(to))
                };
                let (columns, shown) = (stretch(0, place.x), stretch(1, place.y));
                for row in rows.iter_mut().take(shown[1] + 1).skip(shown[0]) {
                    let [first, last] = row.unwrap_or(columns);
                    *row = Some([first.min(columns[0]), last.max(columns[1])]);
                }
            }
        }
        let mut pages: Vec<(usize, usize)> = Vec::new();
        for (row, columns) in rows.iter().enumerate() {
            pages.extend(columns.iter().flat_map(|[first, last]| (*first..=*last).map(move |column| (column, row))));
        }
        pages.sort_unstable();
        pages
    }

    /// How many pages show anything, and how many more parts the items are in than there are items.
    pub(super) fn cost(&self, problem: &Problem, places: &[Place]) -> [usize; 2] {
        let mut used: Vec<(usize, usize)> =
            places.iter().flat_map(|place| self.pages(&problem.forms, *place)).collect();
        let parts = used.len().saturating_sub(places.len());
        used.sort_unstable();
        used.dedup();
        [used.len(), parts]
    }
}

/// Moves items off the joins of pages, the smaller ones first, where that takes no more pages.
pub(super) fn settle(problem: &Problem, laid: Laid, grid: &PageGrid, seed: u64) -> Vec<Place> {
    const ROUNDS: usize = 2;
    const SAMPLES: usize = 300;
    let mut random = Random::new(seed);
    let mut places = laid.places;
    let area = |item: usize| problem.items[item].forms.first().map_or(0.0, |form| problem.forms[*form].area());
    let mut order: Vec<usize> = (0..places.len()).collect();
    order.sort_by(|a, b| area(*a).total_cmp(&area(*b)));
    for item in order.repeat(ROUNDS) {
        let mut others: Vec<(usize, usize)> = (0..places.len())
            .filter(|other| *other != item)
            .flat_map(|other| grid.pages(&problem.forms, places[other]))
            .collect();
        others.sort_unstable();
        others.dedup();
        let cost = |place: Place| {
            let (mut new, mut parts) = (0, 0);
            for page in grid.pages(&problem.forms, place) {
                parts += 1;
                new += usize::from(others.binary_search(&page).is_err());
            }
            [new, parts]
        };
        let mut best = (cost(places[item]), places[item]);
        for _ in 0..SAMPLES {
            if best.0 == [0, 1] {
                break;
            }
            let forms = &problem.items[item].forms;
            let form = forms[random.below(forms.len())];
            let [x, y] = problem.forms[form].half;
            let at = [random.between(x, laid.length - x), random.between(y, problem.height - y)];
            let place = problem.within(item, Place { form, x: at[0], y: at[1] }, laid.length);
            let cost = cost(place);
            if cost < best.0 && problem.is_clear(&places, item, place) {
                best = (cost, place);
            }
        }
        places[item] = best.1;
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lay::SheetStroke;
    use crate::role::Role;

    #[test]
    fn every_line_is_on_a_page_and_empty_ones_are_left_out() {
        let path = Rect::new(10.0, 10.0, 390.0, 40.0).to_path(0.1);
        let strokes = vec![SheetStroke { role: Role::Cut, placed: None, edge: String::new(), path }];
        let sheet = Sheet {
            medium: "roll".into(),
            width: 400.0,
            height: 900.0,
            placed: vec![],
            strokes,
            square: 50.0,
            sizes: vec![],
        };
        // A4 less 10 mm margins, ISO 216: 190 × 277 mm. With 15 mm shared, 190 + 175 + 175 = 540 mm are covered, and of
        // the rows only the lowest shows anything.
        let pages = pages(&sheet, 190.0, 277.0, 15.0).expect("fits");
        assert_eq!(pages.iter().map(|page| (page.column, page.row)).collect::<Vec<_>>(), [(0, 0), (1, 0), (2, 0)]);
        assert!((pages[0].window.x1 - pages[1].window.x0 - 15.0).abs() < 1e-9);
        assert!(super::pages(&sheet, 190.0, 277.0, 185.0).is_err());
    }
}
