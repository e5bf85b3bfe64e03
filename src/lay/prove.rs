//! A lay on cloth, checked exactly and by other means than those that laid it.

use super::cloth::{ClothLay, Garment, OnCloth, Origin, on_lay};
use super::outline::{mirrored_about, polygon};
use super::stripes::{Tie, met};
use super::verify::distance;
use crate::allow::CutPiece;
use crate::cloth::{Cloth, Way};
use crate::diag::{Finding, Result};
use crate::geom::path;
use geo::{BoundingRect, Polygon, Rect};
use kurbo::Shape as _;
use std::collections::BTreeMap;

/// How far the outlines compared here may stray from the true ones, mm.
const FLAT: f64 = 0.02;

/// Rounding in coordinates of up to 100 m, mm, and in angles, degrees.
const ROUNDING: f64 = 1e-4;

/// Checks that every piece of the cloth is there as often as it is cut, keeps its size, lies with its grain along the
/// cloth within the tolerance and the allowed way up, inside what can be cut into, clear of flaws, that no two come
/// nearer than the gap, or without a gap overlap, and that the cloth's pattern runs on where it is to be matched.
///
/// # Errors
/// The first fault, naming the piece.
pub fn prove_cloth(lay: &ClothLay, garments: &[Garment], cloth: &Cloth) -> Result<()> {
    counts(lay, garments, cloth)?;
    places(&lay.placed, lay.length, garments, cloth)?;
    for garment in garments {
        let own: Vec<&OnCloth> = lay.placed.iter().filter(|placed| placed.person == garment.person).collect();
        garment.ties.iter().try_for_each(|tie| matched(&own, tie, cloth))?;
    }
    Ok(())
}

/// The same of pieces that are kept from another lay, apart from their counts.
///
/// # Errors
/// The first fault, and what the user can do.
pub(super) fn prove_kept(lying: &[OnCloth], garments: &[Garment], cloth: &Cloth) -> Result<()> {
    places(lying, f64::INFINITY, garments, cloth).map_err(|fault| {
        let message = format!("a locked piece can't stay where it was: {}", fault.message);
        Box::new(
            Finding { message, ..*fault }.hint("unlock it in the lay's file, or lay on the cloth that it was laid on"),
        )
    })
}

/// The pattern at two notches that are sewn to each other.
fn matched(own: &[&OnCloth], tie: &Tie, cloth: &Cloth) -> Result<()> {
    /// How far the lines may miss each other, mm.
    const MISS: f64 = 0.05;
    let of = |name: usize| own.iter().filter(move |placed| placed.piece == tie.pieces[name]);
    for a in of(0) {
        for b in of(1) {
            let mirrored = [a, b].map(|placed| placed.transform.determinant() < 0.0);
            for (axis, way) in ["along", "across"].into_iter().enumerate().filter(|(axis, _)| tie.axes[*axis]) {
                let period = cloth.repeat[axis];
                let met = if axis == 0 {
                    Some((tie.points[0], tie.points[1]))
                } else {
                    met(tie, 0, mirrored[0], mirrored[1]).zip(met(tie, 1, mirrored[1], mirrored[0]))
                };
                let Some((p, q)) = met.filter(|_| period > 0.0) else { continue };
                let apart = a.transform * p - b.transform * q;
                let apart = if axis == 0 { apart.x } else { apart.y };
                let miss = (apart - (apart / period).round() * period).abs();
                if miss > MISS || a.turned != b.turned {
                    let text =
                        format!("the pattern misses that of \"{}\" by {miss:.2} mm {way} at \"{}\"", b.piece, tie.seam);
                    return fault(&text, a);
                }
            }
        }
    }
    Ok(())
}

fn places(all: &[OnCloth], length: f64, garments: &[Garment], cloth: &Cloth) -> Result<()> {
    let mut ways: BTreeMap<&str, bool> = BTreeMap::new();
    for placed in all.iter().filter(|placed| placed.origin != Origin::Other) {
        let piece = garments
            .iter()
            .filter(|of| of.person == placed.person)
            .flat_map(|of| of.pieces)
            .find(|piece| piece.piece.name == placed.piece);
        let Some(piece) = piece else { return fault("a piece is laid that nobody asked for", placed) };
        let [a, b, c, d, ..] = placed.transform.as_coeffs();
        let same = |a: f64, b: f64| (a - b).abs() <= ROUNDING;
        if !(same(a * a + b * b, 1.0) && same(c * c + d * d, 1.0) && same(a * c + b * d, 0.0)) {
            return fault("the piece does not keep its size and shape", placed);
        }
        if !true_outline(placed, piece) {
            return fault("what is cut round is not where the piece lies", placed);
        }
        let grain = placed.transform * piece.piece.grain[1] - placed.transform * piece.piece.grain[0];
        let off = grain.y.abs().atan2(grain.x.abs()).to_degrees();
        if off.is_nan() || off > cloth.grain + ROUNDING {
            return fault(&format!("the grain is {off:.2}° off"), placed);
        }
        let turned = grain.x < 0.0;
        if cloth.way == Way::One && turned {
            return fault("the piece lies against the nap", placed);
        }
        if cloth.way == Way::Garment && *ways.entry(&placed.person).or_insert(turned) != turned {
            return fault("the piece lies the other way up than the rest of its garment", placed);
        }
        if placed.on_fold && !(cloth.folded && lowest(placed).abs() <= FLAT) {
            return fault("the piece does not lie against the fold", placed);
        }
    }
    let shapes: Vec<Polygon> = all.iter().map(|placed| polygon(&placed.outline, FLAT / 2.0)).collect();
    let boxes: Vec<Option<Rect>> = shapes.iter().map(BoundingRect::bounding_rect).collect();
    for (placed, bounds) in all.iter().zip(&boxes) {
        let inside = bounds.is_some_and(|bounds| {
            let (low, high) = (bounds.min(), bounds.max());
            [low.x, low.y, high.x, high.y].iter().all(|at| at.is_finite())
                && low.x.min(low.y) >= -FLAT
                && high.x <= length + FLAT
                && high.y <= cloth.usable() + FLAT
        });
        if !inside {
            return fault("the piece leaves the cloth", placed);
        }
    }
    // Without a gap, outlines may touch.
    let least = (cloth.gap - 2.0 * FLAT).max(1e-9);
    let mut order: Vec<usize> = (0..shapes.len()).collect();
    let left = |index: usize| boxes[index].map_or(0.0, |bounds| bounds.min().x);
    order.sort_by(|a, b| left(*a).total_cmp(&left(*b)));
    for (at, a) in order.iter().enumerate() {
        let right = boxes[*a].map_or(0.0, |bounds| bounds.max().x);
        for b in order[at + 1..].iter().take_while(|b| left(**b) <= right + least) {
            let apart = distance(&shapes[*a], &shapes[*b], least);
            if apart < least {
                let (one, other) = (&all[*a], &all[*b]);
                return fault(&format!("lies {apart:.3} mm from \"{}\" of {}", other.piece, other.person), one);
            }
        }
    }
    for [x0, x1, low, high] in on_lay(cloth) {
        let flaw = Rect::new((x0, low), (x1, high)).to_polygon();
        for (placed, shape) in all.iter().zip(&shapes) {
            if distance(shape, &flaw, 1e-9) < 1e-9 {
                return fault("the piece lies on a flaw", placed);
            }
        }
    }
    Ok(())
}

/// Whether the outline is the piece's cut line, opened out where its fold is not on the cloth's, in its place: the same
/// extents and the same area.
fn true_outline(placed: &OnCloth, piece: &CutPiece) -> bool {
    let ends =
        piece.piece.fold().filter(|_| !placed.on_fold).map(|fold| (path::start(&fold.path), path::end(&fold.path)));
    let whole = match ends {
        Some((Some(start), Some(end))) => mirrored_about(&piece.cut_line, start, end),
        _ => piece.cut_line.clone(),
    };
    let whole = placed.transform * whole;
    let (a, b) = (whole.bounding_box(), placed.outline.bounding_box());
    let strays = [a.x0 - b.x0, a.y0 - b.y0, a.x1 - b.x1, a.y1 - b.y1];
    let areas = [whole.area().abs(), placed.outline.area()];
    strays.iter().all(|stray| stray.abs() <= FLAT) && (areas[0] - areas[1]).abs() <= 1e-6 * areas[0]
}

fn lowest(placed: &OnCloth) -> f64 {
    polygon(&placed.outline, FLAT / 2.0).bounding_rect().map_or(f64::NAN, |bounds| bounds.min().y)
}

fn counts(lay: &ClothLay, garments: &[Garment], cloth: &Cloth) -> Result<()> {
    // Per person and piece: copies laid as drafted, and mirrored.
    let mut laid: BTreeMap<(&str, &str), [u32; 2]> = BTreeMap::new();
    for placed in lay.placed.iter().filter(|placed| placed.origin != Origin::Other) {
        let count = laid.entry((&placed.person, &placed.piece)).or_default();
        let mirrored = usize::from(placed.transform.determinant() < 0.0);
        match placed.copies {
            2 => *count = count.map(|copies| copies + 1),
            copies => count[mirrored] += copies,
        }
    }
    let mut asked: BTreeMap<(&str, &str), [u32; 2]> = BTreeMap::new();
    for of in garments {
        for piece in of.pieces.iter().filter(|piece| piece.piece.cut.cloth == cloth.cut_as) {
            let cut = &piece.piece.cut;
            let count = asked.entry((of.person, &piece.piece.name)).or_default();
            let mirrored = if cut.mirrored && piece.piece.fold().is_none() { cut.count / 2 } else { 0 };
            *count = [count[0] + cut.count - mirrored, count[1] + mirrored];
        }
    }
    let folds =
        |name: &str| garments.iter().flat_map(|of| of.pieces).any(|p| p.piece.name == name && p.piece.fold().is_some());
    for ((person, piece), wanted) in &asked {
        let has = laid.get(&(*person, *piece)).copied().unwrap_or_default();
        // A piece on the fold is its own mirror image.
        let right = if folds(piece) { has[0] + has[1] == wanted[0] + wanted[1] } else { has == *wanted };
        if !right {
            let message = format!("{has:?} copies for {person} are laid, plain and mirrored, and {wanted:?} are cut");
            return Err(Box::new(Finding::error(message).piece(*piece).hint(REPORT)));
        }
    }
    Ok(())
}

const REPORT: &str = "this is a fault of the program: please report it with the file";

fn fault(message: &str, placed: &OnCloth) -> Result<()> {
    Err(Box::new(Finding::error(format!("{message} (for {})", placed.person)).piece(&placed.piece).hint(REPORT)))
}
