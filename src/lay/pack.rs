//! Where each copy goes.
//!
//! A first lay at once, by bottom-left placing of true outlines: one copy after the other takes the place where it reaches
//! least far along x. Several orders of the copies are tried and the best lay is kept, for `closer` to make it better.

use super::copy::Copy;
use super::pages::PageGrid;
use super::rows::{ROUNDING, Room, Shape, Spot, sticking_out};
use super::square::{Block, SIDES};
use super::{Placed, Sheet, SheetStroke};
use crate::device::{Margins, Medium, MediumKind};
use crate::diag::{Finding, Result};
use crate::units::{INCH, Unit, format_length, trimmed};
use kurbo::{Affine, Rect};
use std::rc::Rc;

/// A copy in every way that it can be turned.
pub(super) struct Item {
    pub(super) turned: Vec<(Affine, Shape)>,
    /// Strokes that reach out of the cut line.
    pub(super) out: Vec<usize>,
}

/// A medium being filled.
pub(super) struct Bin {
    room: Room,
    pub(super) block: Rc<Block>,
    /// Lower left corner of the check square within the margins.
    pub(super) corner: [f64; 2],
    /// Copy, which way turned, and where the lower left corner of its box lies within the margins.
    pub(super) placed: Vec<(usize, usize, [f64; 2])>,
    /// How far along x it is used.
    pub(super) used: f64,
}

/// Everything placed for the first time.
pub(super) struct Packed {
    pub(super) items: Vec<Item>,
    pub(super) bins: Vec<Bin>,
}

/// What may be turned out of the grain on a roll. On sheets everything may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Turning {
    /// Nothing.
    Nothing,
    /// Of glued pages, what only so fits one page.
    OntoOnePage,
    /// That, and what has no room along the roll.
    Across,
}

/// Every copy placed on as few sheets as this takes.
pub(super) fn pack(copies: &[Copy], medium: &Medium, stamp: &str, turning: Turning) -> Result<Packed> {
    let (width, height) = inside(medium);
    let row = Room::row_height(medium.gap);
    let items = copies.iter().map(|copy| Item::fitting(copy, medium, turning, row)).collect::<Result<Vec<Item>>>()?;
    let empty = Room::new(width, height, medium.gap, row);
    let blocks = blocks(&empty, stamp);
    let mut best: Option<(usize, f64, Vec<Bin>)> = None;
    for order in orders(&items) {
        let bins =
            fill(&items, &order, &empty, &blocks).map_err(|index| no_room(copies[index].piece.name.clone(), medium))?;
        let used = bins.iter().map(|bin| bin.used).sum();
        if best.as_ref().is_none_or(|(count, length, _)| (bins.len(), used) < (*count, *length)) {
            best = Some((bins.len(), used, bins));
        }
    }
    Ok(Packed { items, bins: best.map_or(Vec::new(), |(_, _, bins)| bins) })
}

impl Packed {
    /// The sheets.
    pub(super) fn sheets(&self, copies: &[Copy], medium: &Medium) -> Vec<Sheet> {
        self.bins.iter().map(|bin| bin.sheet(copies, &self.items, medium)).collect()
    }

    /// Whether some copy may lie in its grain and out of it.
    pub(super) fn turns(&self) -> bool {
        self.items.iter().any(|item| item.turned.len() > 2)
    }

    /// The characters of the stamp that can't be lettered.
    pub(super) fn missing(&self) -> String {
        let mut missing: Vec<char> = self.bins.iter().flat_map(|bin| bin.block.missing.iter().copied()).collect();
        missing.sort_unstable();
        missing.dedup();
        missing.into_iter().collect()
    }
}

/// What a medium leaves inside its margins, mm along x and y.
pub(super) fn inside(medium: &Medium) -> (f64, f64) {
    let (width, height) = match medium.kind {
        MediumKind::Roll { width, longest } => (longest, width),
        MediumKind::Sheet { width, height } => (width, height),
    };
    let Margins { left, right, bottom, top } = medium.margins;
    (width - left - right, height - bottom - top)
}

/// Large copies first, by several notions of large; of two alike the first given.
fn orders(items: &[Item]) -> Vec<Vec<usize>> {
    let by: [fn(Rect) -> f64; 3] = [|bounds| bounds.area(), |bounds| bounds.height(), |bounds| bounds.width()];
    by.into_iter()
        .map(|size| {
            let mut order: Vec<usize> = (0..items.len()).collect();
            order.sort_by(|a, b| size(items[*b].bounds()).total_cmp(&size(items[*a].bounds())));
            order
        })
        .collect()
}

/// The check square in the sizes that may be tried on a medium, the larger first.
fn blocks(empty: &Room, stamp: &str) -> Vec<Rc<Block>> {
    let (width, height) = empty.size();
    let ample = width.min(height) >= 3.0 * SIDES[0];
    let sides = SIDES.into_iter().filter(|side| ample || *side < SIDES[0]);
    sides.map(|side| Rc::new(Block::new(side, stamp, width))).collect()
}

/// Fills as many bins as it takes. The error is the copy that finds no room on an empty one.
fn fill(items: &[Item], order: &[usize], empty: &Room, blocks: &[Rc<Block>]) -> std::result::Result<Vec<Bin>, usize> {
    let mut bins: Vec<Bin> = Vec::new();
    for index in order {
        let item = &items[*index];
        if bins.iter_mut().any(|bin| bin.place(*index, item)) {
            continue;
        }
        bins.push(Bin::opened_with(*index, item, empty, blocks).ok_or(*index)?);
    }
    Ok(bins)
}

impl Item {
    fn new(copy: &Copy, turns: &[usize], row: f64) -> Self {
        // Quarter turns as whole numbers, so that nothing is rounded.
        const QUARTERS: [[f64; 4]; 4] =
            [[1.0, 0.0, 0.0, 1.0], [0.0, 1.0, -1.0, 0.0], [-1.0, 0.0, 0.0, -1.0], [0.0, -1.0, 1.0, 0.0]];
        // Most lines lie well within the cut line and take no room of their own.
        let paths = || copy.strokes.iter().map(|stroke| &stroke.path);
        let out = sticking_out(&copy.piece.outline, paths(), row);
        let lines: Vec<_> = out.iter().map(|index| &copy.strokes[*index].path).collect();
        let turned = turns
            .iter()
            .map(|turn| {
                let [a, b, c, d] = QUARTERS[*turn];
                let transform = Affine::new([a, b, c, d, 0.0, 0.0]) * copy.along_grain;
                let outline = transform * &copy.piece.outline;
                let lines: Vec<_> = lines.iter().map(|line| transform * *line).collect();
                (transform, Shape::new(&outline, lines.iter(), row, None))
            })
            .collect();
        Self { turned, out }
    }

    /// A copy with the turns that it may take on a medium: any right angle on a sheet, the grain along the feed of a roll
    /// but for what `turning` allows.
    fn fitting(copy: &Copy, medium: &Medium, turning: Turning, row: f64) -> Result<Self> {
        const ALL: [usize; 4] = [0, 1, 2, 3];
        if matches!(medium.kind, MediumKind::Sheet { .. }) {
            let item = Self::new(copy, &ALL, row);
            return if item.fits(inside(medium), true) { Ok(item) } else { Err(item.too_large(copy, medium)) };
        }
        let item = Self::new(copy, &[0, 2], row);
        if let Some(window) = PageGrid::of(medium).map(|grid| grid.window())
            && turning >= Turning::OntoOnePage
            && !item.fits(window, false)
            && item.fits(window, true)
        {
            return Ok(Self::new(copy, &ALL, row));
        }
        if item.fits(inside(medium), false) {
            return Ok(item);
        }
        if turning == Turning::Across && item.fits(inside(medium), true) {
            return Ok(Self::new(copy, &[1, 3], row));
        }
        Err(item.too_large(copy, medium))
    }

    /// Whether it has room in a rectangle, as it is or, where it may, turned by a right angle.
    fn fits(&self, room: (f64, f64), turned: bool) -> bool {
        let size = self.bounds().size();
        let has_room = |x: f64, y: f64| x <= room.0 + ROUNDING && y <= room.1 + ROUNDING;
        has_room(size.width, size.height) || (turned && has_room(size.height, size.width))
    }

    /// Its extent with the grain along x.
    fn bounds(&self) -> Rect {
        self.turned[0].1.bounds
    }

    /// An error that says by how much the piece is too large for a medium however it is turned, and what would fit.
    fn too_large(&self, copy: &Copy, medium: &Medium) -> Box<Finding> {
        let room = inside(medium);
        let own = self.bounds().size();
        let over = |(x, y): (f64, f64)| [(x - room.0).max(0.0), (y - room.1).max(0.0)];
        let lies = [(own.width, own.height), (own.height, own.width)];
        let sum = |size: (f64, f64)| over(size).into_iter().sum::<f64>();
        let best = if sum(lies[1]) < sum(lies[0]) { lies[1] } else { lies[0] };
        let [x, y] = over(best);
        let message = format!(
            "the piece is {}, and \"{}\" leaves {} inside its margins: it is {} too large, whichever way it is turned",
            area(best),
            medium.name,
            area(room),
            length(x.max(y))
        );
        let Margins { left, right, bottom, top } = medium.margins;
        let (wide, high) = (best.0 + left + right, best.1 + bottom + top);
        let mut ways = vec![match medium.kind {
            MediumKind::Roll { .. } => {
                format!(
                    "a roll at least {} wide with plots up to {} long would take it",
                    at_least(high),
                    at_least(wide)
                )
            }
            MediumKind::Sheet { .. } => {
                format!("a sheet of at least {} × {} would take it", at_least(wide), at_least(high))
            }
        }];
        let has = |edge: &str| copy.strokes.iter().any(|stroke| stroke.edge.starts_with(edge));
        if ["hem", "top", "left end", "right end"].into_iter().all(has) {
            let most = format!("a smaller cloth-width in the style, at most {}", at_most(room.0.max(room.1)));
            ways.push(format!("or, as it is a strip, more and shorter lengths: {most}"));
        }
        Finding::error(message).piece(&copy.piece.name).hint(ways.join("; ")).into()
    }
}

/// A length as both kinds of tape show it; what is too little for a tape in millimetres alone.
fn length(mm: f64) -> String {
    let shown = format!("{} mm", trimmed(mm, 1));
    if mm < 1.0 { shown } else { format!("{} ({shown})", format_length(mm, Unit::Inch)) }
}

/// The same, rounded upwards to whole millimetres and eighths of an inch.
fn at_least(mm: f64) -> String {
    let eighths = ((mm - ROUNDING) / INCH * 8.0).ceil() / 8.0 * INCH;
    format!("{} ({} mm)", format_length(eighths, Unit::Inch), trimmed((mm - ROUNDING).ceil(), 0))
}

/// The same, rounded downwards.
fn at_most(mm: f64) -> String {
    let eighths = ((mm + ROUNDING) / INCH * 8.0).floor() / 8.0 * INCH;
    format!("{} ({} mm)", format_length(eighths, Unit::Inch), trimmed((mm + ROUNDING).floor(), 0))
}

/// Width and height as both kinds of tape show them.
fn area((x, y): (f64, f64)) -> String {
    let [wide, high] = [x, y].map(|side| format_length(side, Unit::Inch));
    format!("{wide} × {high} ({} × {} mm)", trimmed(x, 1), trimmed(y, 1))
}

impl Bin {
    /// An empty medium with its check square in the corner where it leaves room for the copy: the larger square where it
    /// can be, the lower left corner where it can be.
    fn opened_with(index: usize, item: &Item, empty: &Room, blocks: &[Rc<Block>]) -> Option<Self> {
        let (width, height) = empty.size();
        for block in blocks {
            let (right, top) = (width - block.width, height - block.height);
            if right < 0.0 || top < 0.0 {
                continue;
            }
            for [x, y] in [[0.0, 0.0], [0.0, top], [right, 0.0], [right, top]] {
                let mut room = empty.clone();
                room.block(Rect::new(x, y, x + block.width, y + block.height));
                let used = x + block.width;
                let mut bin = Self { room, block: Rc::clone(block), corner: [x, y], placed: Vec::new(), used };
                if bin.place(index, item) {
                    return Some(bin);
                }
            }
        }
        None
    }

    /// The same medium with its check square in the lower left corner and nothing else.
    pub(super) fn emptied(&self) -> Self {
        let (room, block) = (self.room.clone(), Rc::clone(&self.block));
        Self { room, used: block.width, block, corner: [0.0; 2], placed: Vec::new() }
    }

    /// Places a copy where it reaches least far along x, if there is room.
    fn place(&mut self, index: usize, item: &Item) -> bool {
        let mut best: Option<(f64, usize, Spot)> = None;
        for (turn, (_, shape)) in item.turned.iter().enumerate() {
            let limit = best.map_or(f64::INFINITY, |(reach, ..)| reach);
            if let Some(spot) = self.room.find(shape, limit) {
                let reach = spot.x + shape.bounds.width();
                if reach < limit {
                    best = Some((reach, turn, spot));
                }
            }
        }
        let Some((reach, turn, spot)) = best else { return false };
        self.room.take(&item.turned[turn].1, spot);
        self.placed.push((index, turn, [spot.x, self.room.height_of(spot.row)]));
        self.used = self.used.max(reach);
        true
    }

    fn sheet(&self, copies: &[Copy], items: &[Item], medium: &Medium) -> Sheet {
        let Margins { left, right, bottom, .. } = medium.margins;
        let (width, height) = match medium.kind {
            MediumKind::Roll { width, .. } => (self.used + left + right, width),
            MediumKind::Sheet { width, height } => (width, height),
        };
        let mut strokes = self.block.strokes_at([self.corner[0] + left, self.corner[1] + bottom]);
        let mut placed = Vec::new();
        // Listed as the pieces are, whatever the order of placing was.
        let mut listed = self.placed.clone();
        listed.sort_by_key(|(index, ..)| *index);
        for (index, turn, at) in listed {
            let (copy, (turned, shape)) = (&copies[index], &items[index].turned[turn]);
            let x = left + at[0] - shape.bounds.x0;
            let y = bottom + at[1] - shape.bounds.y0;
            let transform = Affine::translate((x, y)) * *turned;
            let outline = transform * &copy.piece.outline;
            let outline = if transform.determinant() < 0.0 { outline.reverse_subpaths() } else { outline };
            strokes.extend(copy.strokes.iter().map(|stroke| SheetStroke {
                role: stroke.role,
                placed: Some(placed.len()),
                edge: stroke.edge.clone(),
                path: transform * &stroke.path,
            }));
            let (piece, person) = (copy.piece.name.clone(), copy.piece.person.clone());
            placed.push(Placed { piece, person, transform, outline });
        }
        Sheet {
            medium: medium.name.clone(),
            width,
            height,
            placed,
            strokes,
            square: self.block.side,
            sizes: Vec::new(),
        }
    }
}

fn no_room(piece: String, medium: &Medium) -> Box<Finding> {
    let message = format!("\"{}\" has room for the piece, but not for a check square beside it", medium.name);
    Box::new(Finding::error(message).piece(piece).hint("a larger medium or a smaller margin would take both"))
}
