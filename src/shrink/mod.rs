//! Pieces made larger by what the cloth will lose in its first wash.

use crate::diag::{Finding, Result};
use crate::geom::path::{ARC_ACCURACY, length, point_at};
use crate::piece::{Edge, Piece};
use kurbo::{Affine, BezPath, ParamCurve, ParamCurveArclen, Vec2};

/// Cloth that loses more than this, or gains more than a tenth, is a slip of the pen, per cent.
const MOST: f64 = 40.0;

/// A fold may be out of line with the grain by this much before the two halves of its piece would shrink unlike, radians:
/// 0.1°, a fifth of a millimetre on half a metre at 5 %.
const ASLANT: f64 = 0.001_745;

/// A piece for cloth that shrinks by `along` per cent in the direction of its grain and by `across` per cent square to it,
/// so that it has its drafted size after the wash: lengths are divided by 1 − along/100 and 1 − across/100. Allowances keep
/// their widths. The tail of the grainline stays where it is. Default of both: 0.
///
/// # Errors
/// A percentage that no cloth has; a piece on a fold that runs aslant its grain, whose halves would shrink unlike.
pub fn shrink(piece: &Piece, along: f64, across: f64) -> Result<(Piece, Vec<Finding>)> {
    for (loss, way) in [(along, "lengthwise"), (across, "crosswise")] {
        if !(-10.0..=MOST).contains(&loss) {
            let hint = format!("per cent of the length before the wash, up to {MOST}");
            let text = format!("cloth does not shrink by {loss} % {way}");
            return Err(Box::new(Finding::error(text).piece(&piece.name).hint(hint)));
        }
    }
    let direction = piece.grain[1] - piece.grain[0];
    if direction.hypot() <= 0.0 || !direction.is_finite() {
        let hint = "draw it from tail to head";
        return Err(Box::new(Finding::error("the grainline has no direction").piece(&piece.name).hint(hint)));
    }
    if let Some(edge) = piece.fold().filter(|edge| (along - across).abs() > 0.0 && aslant(edge, direction)) {
        let hint = "turn the grainline along the fold or square to it, or unfold the piece";
        let text = "the fold runs aslant the grain, so that the two halves would shrink unlike";
        return Err(Box::new(Finding::error(text).piece(&piece.name).edge(&edge.name).hint(hint)));
    }
    let turn = Affine::rotate_about(direction.atan2(), piece.grain[0]);
    let grow = [along, across].map(|loss| 1.0 / (1.0 - loss / 100.0));
    let about = Affine::translate(piece.grain[0].to_vec2());
    let scale = about * Affine::scale_non_uniform(grow[0], grow[1]) * about.inverse();
    Ok((grown(piece, turn * scale * turn.inverse()), Vec::new()))
}

fn aslant(edge: &Edge, direction: Vec2) -> bool {
    let Some((start, end)) = crate::geom::path::start(&edge.path).zip(crate::geom::path::end(&edge.path)) else {
        return false;
    };
    let (fold, grain) = ((end - start).normalize(), direction.normalize());
    fold.cross(grain).abs().min(fold.dot(grain).abs()) > ASLANT
}

fn grown(piece: &Piece, by: Affine) -> Piece {
    let mut grown = piece.clone();
    for edge in &mut grown.edges {
        edge.path.apply_affine(by);
    }
    // Distances along an edge stretch unevenly with it.
    let moved = |edge: &str, at: f64| match (piece.edge(edge), grown.edge(edge)) {
        (Some(old), Some(new)) => distance_after(&old.path, &new.path, at),
        _ => at,
    };
    let notches: Vec<f64> = piece.notches.iter().map(|notch| moved(&notch.edge, notch.at)).collect();
    let darts: Vec<[f64; 2]> = piece.darts.iter().map(|dart| dart.mouth.map(|at| moved(&dart.edge, at))).collect();
    let pleats: Vec<[f64; 2]> = piece.pleats.iter().map(|pleat| pleat.mouth.map(|at| moved(&pleat.edge, at))).collect();
    for (notch, at) in grown.notches.iter_mut().zip(notches) {
        notch.at = at;
    }
    for (dart, mouth) in grown.darts.iter_mut().zip(darts) {
        dart.mouth = mouth;
        dart.apex = by * dart.apex;
    }
    for (pleat, mouth) in grown.pleats.iter_mut().zip(pleats) {
        // Its fold lines run square into the piece from its mouth.
        let middle = pleat.mouth[0].midpoint(pleat.mouth[1]);
        if let Some((_, along)) = piece.edge(&pleat.edge).and_then(|edge| point_at(&edge.path, middle)) {
            let [a, b, c, d, ..] = by.as_coeffs();
            let inward = Vec2::new(-along.y, along.x);
            pleat.length *= Vec2::new(a * inward.x + c * inward.y, b * inward.x + d * inward.y).hypot();
        }
        pleat.mouth = mouth;
    }
    for point in grown.grain.iter_mut().chain(&mut grown.drills) {
        *point = by * *point;
    }
    for line in &mut grown.lines {
        line.path.apply_affine(by);
    }
    for fastening in &mut grown.fastenings {
        fastening.apply_affine(by);
    }
    grown
}

/// Where a mark at a distance along a path stands on the path's affine image.
fn distance_after(old: &BezPath, new: &BezPath, at: f64) -> f64 {
    let (mut left, mut done) = (at, 0.0);
    for (before, after) in old.segments().zip(new.segments()) {
        let long = before.arclen(ARC_ACCURACY);
        if left <= long {
            let t = if long > 0.0 { before.inv_arclen(left.max(0.0), ARC_ACCURACY) } else { 0.0 };
            return done + after.subsegment(0.0..t).arclen(ARC_ACCURACY);
        }
        left -= long;
        done += after.arclen(ARC_ACCURACY);
    }
    length(new)
}
