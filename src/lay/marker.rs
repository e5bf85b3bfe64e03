//! A lay on cloth as a sheet of a device: a marker at true size to be laid on the cloth, or a drawing at a smaller scale.

use super::cloth::{ClothLay, OnCloth};
use super::copy::Copy;
use super::pack::inside;
use super::square::{Block, SIDES};
use super::verify::drawing;
use super::{Placed, Sheet, SheetStroke, verify};
use crate::cloth::Cloth;
use crate::device::{Medium, MediumKind};
use crate::diag::{Finding, Result};
use crate::mark::MarkedPiece;
use crate::role::Role;
use crate::text::letter;
use crate::units::{Unit, format_length};
use kurbo::{Affine, BezPath, Point, Rect, Shape as _, Vec2};

/// Scales that drawings have, one to so many.
const SCALES: [f64; 12] = [1.0, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0, 25.0, 50.0, 100.0];

/// Space between the lay and the check square, mm.
const SPACE: f64 = 10.0;

/// Height of a piece's name in a drawing at a smaller scale, mm.
const LETTERS: f64 = 3.0;

/// The lay on a medium, one to `scale`, with its check square and stamp beside it. `marked` are everybody's pieces. At
/// true size each piece has all its marks; in a smaller drawing its outline, grain and name.
///
/// # Errors
/// A medium that the lay is too large for, with the scale that would fit.
pub fn marker(
    lay: &ClothLay,
    cloth: &Cloth,
    marked: &[MarkedPiece],
    medium: &Medium,
    scale: f64,
    stamp: &str,
) -> Result<Sheet> {
    let Some((block, corner, used)) = room(lay, medium, scale, stamp) else {
        return Err(Box::new(too_large(lay, cloth.unit, medium, scale, stamp)));
    };
    let margins = &medium.margins;
    let to_sheet = Affine::translate((margins.left, margins.bottom)) * Affine::scale(1.0 / scale);
    let (width, height) = match medium.kind {
        MediumKind::Roll { width, .. } => (used + margins.left + margins.right, width),
        MediumKind::Sheet { width, height } => (width, height),
    };
    let mut strokes = block.strokes_at([corner[0] + margins.left, corner[1] + margins.bottom]);
    // What can be cut into, and the flaws in it; a hair inside the margins for what is rounded.
    let edge = Rect::new(0.0, 0.0, lay.length, lay.height);
    let flaws = super::cloth::on_lay(cloth).into_iter().map(|[x0, x1, low, high]| Rect::new(x0, low, x1, high));
    for (name, rect) in std::iter::once(("cloth", edge)).chain(flaws.map(|flaw| ("flaw", flaw.intersect(edge)))) {
        if rect.area() > 0.0 {
            strokes.push(SheetStroke {
                role: Role::Line,
                placed: None,
                edge: name.into(),
                path: to_sheet * rect.to_path(0.1),
            });
        }
    }
    let mut placed = Vec::new();
    for one in &lay.placed {
        let outline = to_sheet * &one.outline;
        let index = placed.len();
        let piece = marked.iter().find(|piece| piece.name == one.piece && piece.person == one.person);
        let mut add = |role: Role, edge: &str, path: BezPath| {
            strokes.push(SheetStroke { role, placed: Some(index), edge: edge.into(), path });
        };
        add(Role::Cut, "", outline.clone());
        if let (Some(piece), true) = (piece, scale <= 1.0) {
            marks(piece, one, to_sheet, &mut add);
        } else {
            if let Some(piece) = piece {
                let arrow = [piece.grain[0], piece.grain[1]].map(|point| to_sheet * one.transform * point);
                for path in arrow_of(arrow) {
                    add(Role::Grain, "grain", path);
                }
            }
            let name = if one.person.is_empty() { one.piece.clone() } else { format!("{} {}", one.piece, one.person) };
            for path in named(&name, outline.bounding_box()) {
                add(Role::Label, "", path);
            }
        }
        placed.push(Placed {
            piece: one.piece.clone(),
            person: one.person.clone(),
            transform: to_sheet * one.transform,
            outline,
        });
    }
    let sheet =
        Sheet { medium: medium.name.clone(), width, height, placed, strokes, square: block.side, sizes: Vec::new() };
    if scale <= 1.0 {
        // The cloth's own gap was proven with the lay.
        verify(&sheet, &Medium { gap: 0.0, ..medium.clone() })?;
    } else {
        drawing(&sheet, medium)?;
    }
    Ok(sheet)
}

/// The check square, where it goes within the margins, and how much of the medium's length is used; `None` where the lay
/// and the square do not fit.
fn room(lay: &ClothLay, medium: &Medium, scale: f64, stamp: &str) -> Option<(Block, [f64; 2], f64)> {
    let (width, height) = inside(medium);
    let (long, high) = (lay.length / scale, lay.height / scale);
    if long > width || high > height {
        return None;
    }
    for side in SIDES {
        let beside = Block::new(side, stamp, width - long - SPACE);
        if long + SPACE + beside.width <= width && beside.height <= height {
            let used = long + SPACE + beside.width;
            return Some((beside, [long + SPACE, 0.0], used));
        }
        let above = Block::new(side, stamp, width);
        if high + SPACE + above.height <= height && above.width <= width {
            let used = long.max(above.width);
            return Some((above, [0.0, high + SPACE], used));
        }
    }
    None
}

fn too_large(lay: &ClothLay, unit: Unit, medium: &Medium, scale: f64, stamp: &str) -> Finding {
    let (width, height) = inside(medium);
    let say = |mm: f64| format_length(mm, unit);
    let message = format!(
        "the lay is {} × {} {} and \"{}\" takes {} × {} with its check square beside it",
        say(lay.length / scale),
        say(lay.height / scale),
        if scale > 1.0 { "at this scale" } else { "large" },
        medium.name,
        say(width),
        say(height)
    );
    let fits =
        SCALES.into_iter().filter(|other| *other > scale).find(|other| room(lay, medium, *other, stamp).is_some());
    let hint = match fits {
        Some(fits) => format!("--scale {fits} would fit, as a drawing; at true size it takes a wider device"),
        None => "use a larger device".to_owned(),
    };
    Finding::error(message).hint(hint)
}

/// All marks of a piece in its place.
fn marks(piece: &MarkedPiece, one: &OnCloth, to_sheet: Affine, add: &mut impl FnMut(Role, &str, BezPath)) {
    let at = to_sheet * one.transform;
    let copy = Copy::new(piece, one.transform.determinant() < 0.0);
    // A half that is opened out has the marks of its other half as well.
    let other_half = (piece.on_fold && !one.on_fold).then(|| mirror_of(piece, one, at)).flatten();
    // On cloth there is no paper beside a piece to write on.
    for stroke in copy.strokes.iter().filter(|stroke| stroke.role != Role::Cut && !stroke.is_beside()) {
        if stroke.role == Role::Fold && other_half.is_some() {
            continue;
        }
        add(stroke.role, &stroke.edge, at * &stroke.path);
        if let Some(mirror) = other_half.filter(|_| !matches!(stroke.role, Role::Label | Role::Grain)) {
            add(stroke.role, &stroke.edge, mirror * &stroke.path);
        }
    }
}

/// Where the other half of an opened piece lies: its cut line and that half's make up the outline, so their middles lie
/// either side of the outline's.
fn mirror_of(piece: &MarkedPiece, one: &OnCloth, at: Affine) -> Option<Affine> {
    let whole = one.transform.inverse() * &one.outline;
    let (half, whole) = (piece.outline.bounding_box(), whole.bounding_box());
    // The fold runs with the sides of the box that the opened piece goes beyond.
    let (middle, way) = if (whole.width() - half.width()).abs() > (whole.height() - half.height()).abs() {
        (whole.center(), Vec2::new(0.0, 1.0))
    } else {
        (whole.center(), Vec2::new(1.0, 0.0))
    };
    let mirror = Affine::reflect(middle, way);
    // Only where the fold is level or upright is that the mirror image; others show the marks of one half.
    let both = (mirror * &piece.outline).bounding_box().union(half);
    let same = |a: f64, b: f64| (a - b).abs() < 0.1;
    let fits = same(both.x0, whole.x0) && same(both.x1, whole.x1) && same(both.y0, whole.y0) && same(both.y1, whole.y1);
    fits.then_some(at * mirror)
}

/// A line with a head.
fn arrow_of([tail, head]: [Point; 2]) -> [BezPath; 2] {
    const HEAD: f64 = 2.0;
    let way = if head == tail { Vec2::ZERO } else { (head - tail).normalize() };
    let aside = Vec2::new(-way.y, way.x);
    let line = |points: &[Point]| {
        let mut path = BezPath::new();
        points.iter().enumerate().for_each(|(i, p)| if i == 0 { path.move_to(*p) } else { path.line_to(*p) });
        path
    };
    let barb = |side: f64| head - way * HEAD + aside * (side * HEAD / 2.0);
    [line(&[tail, head]), line(&[barb(1.0), head, barb(-1.0)])]
}

/// A name in the middle of a box, as large as has room; nothing where it would be too small to read.
fn named(name: &str, room: Rect) -> Vec<BezPath> {
    const LEAST: f64 = 1.2;
    let wide = letter(name, LETTERS).width.max(1e-9);
    let height = LETTERS * (0.8 * room.width() / wide).min(0.4 * room.height() / LETTERS).min(1.0);
    if height < LEAST {
        return Vec::new();
    }
    let lettering = letter(name, height);
    let middle = room.center() - Vec2::new(lettering.width / 2.0, height * 1.6);
    lettering.paths.iter().map(|path| Affine::translate(middle.to_vec2()) * path).collect()
}
