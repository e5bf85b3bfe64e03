//! A sheet seen through page-sized windows, for printers at home.

use super::Sheet;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lay::SheetStroke;
    use crate::role::Role;

    #[test]
    fn every_line_is_on_a_page_and_empty_ones_are_left_out() {
        let path = Rect::new(10.0, 10.0, 390.0, 40.0).to_path(0.1);
        let strokes = vec![SheetStroke { role: Role::Cut, placed: None, edge: String::new(), path }];
        let sheet = Sheet { medium: "roll".into(), width: 400.0, height: 900.0, placed: vec![], strokes, square: 50.0 };
        // A4 less 10 mm margins, ISO 216: 190 × 277 mm. With 15 mm shared, 190 + 175 + 175 = 540 mm are covered, and of
        // the rows only the lowest shows anything.
        let pages = pages(&sheet, 190.0, 277.0, 15.0).expect("fits");
        assert_eq!(pages.iter().map(|page| (page.column, page.row)).collect::<Vec<_>>(), [(0, 0), (1, 0), (2, 0)]);
        assert!((pages[0].window.x1 - pages[1].window.x0 - 15.0).abs() < 1e-9);
        assert!(super::pages(&sheet, 190.0, 277.0, 185.0).is_err());
    }
}
