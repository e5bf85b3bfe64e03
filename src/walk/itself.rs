//! An edge that is sewn to itself: that takes two copies, each the other's mirror image.

use super::allowances::{TOUCH, stretches};
use super::pairing::Pairing;
use crate::diag::Finding;
use crate::geom::path;
use crate::piece::{Join, Piece, PieceSet};
use kurbo::{Affine, BezPath, ParamCurve, ParamCurveNearest, Point, Vec2};

/// A piece is its own mirror image where no place of its sew line is farther than this from the image, mm.
const SAME: f64 = 0.5;

/// Holds back where an edge is sewn to itself and the piece is neither on the fold nor a mirrored pair, as two backs cut
/// alike (common practice, no source: right sides together, one of the two lies the other way round). A piece that is its
/// own mirror image needs no pair, only a second copy.
pub(super) fn paired(set: &PieceSet, join: &Join, pairing: &Pairing, findings: &mut Vec<Finding>) {
    let sides = [0, 1].map(|side: usize| stretches(set, &join.sides[side]));
    for (span, from, to, _) in &sides[0] {
        let (Some(a), Some(b)) = (pairing.across(0, *from), pairing.across(0, *to)) else { continue };
        let itself = sides[1].iter().any(|(other, start, end, _)| {
            other.piece == span.piece && other.edge == span.edge && b.min(*end) - a.max(*start) > TOUCH
        });
        let Some(piece) = set.piece(&span.piece).filter(|_| itself) else { continue };
        let several = piece.cut.count > 1;
        if piece.fold().is_some() || several && (piece.cut.mirrored || is_its_own_image(piece)) {
            continue;
        }
        let (lacks, hint) = if several {
            (
                format!("the {} pieces are cut alike, none of them mirrored", piece.cut.count),
                format!("write: cut {} mirrored=#true", piece.cut.count),
            )
        } else {
            (
                "only one is cut, and it is not on the fold".to_owned(),
                "write: cut 2 mirrored=#true, or draw the piece on the fold".to_owned(),
            )
        };
        findings.push(
            Finding::breach(format!("seam \"{}\" sews {}/{} to itself, but {lacks}", join.name, span.piece, span.edge))
                .piece(&span.piece)
                .edge(&span.edge)
                .hint(hint),
        );
    }
}

/// A place of the sew line, with the allowance beside it, mm.
struct Place {
    at: Point,
    allowance: f64,
}

/// Whether a piece turned over is the same piece, allowances and dart points too. An axis of symmetry goes through the
/// middle of the area and through a corner or the middle of an edge; an edge that is parted elsewhere may hide one.
fn is_its_own_image(piece: &Piece) -> bool {
    const SHARES: u32 = 16;
    let mut places = Vec::new();
    let mut ends = Vec::new();
    for edge in &piece.edges {
        for segment in edge.path.segments() {
            let shares = (0..SHARES).map(|share| (f64::from(share) + 0.5) / f64::from(SHARES));
            places.extend(shares.map(|t| Place { at: segment.eval(t), allowance: edge.allowance }));
        }
        ends.extend(path::start(&edge.path));
        ends.extend(path::point_at(&edge.path, path::length(&edge.path) / 2.0).map(|(at, _)| at));
    }
    let Some(middle) = middle(&piece.outline()) else { return false };
    let mut directions = ends.into_iter().map(|end| end - middle).filter(|direction| direction.hypot() > SAME);
    directions.any(|direction| {
        let turn = Affine::reflect(middle, direction);
        places.iter().all(|place| is_on(piece, turn * place.at, place.allowance))
            && piece.darts.iter().all(|dart| {
                let image = turn * dart.apex;
                piece.darts.iter().any(|other| other.apex.distance(image) < SAME)
            })
    })
}

/// Whether a place lies on an edge with this allowance.
fn is_on(piece: &Piece, at: Point, allowance: f64) -> bool {
    let alike = piece.edges.iter().filter(|edge| (edge.allowance - allowance).abs() < SAME);
    alike.flat_map(|edge| edge.path.segments()).any(|segment| segment.nearest(at, 0.01).distance_sq < SAME * SAME)
}

/// The middle of the area that a closed path surrounds.
fn middle(outline: &BezPath) -> Option<Point> {
    const FINE: f64 = 0.05;
    let mut points = Vec::new();
    kurbo::flatten(outline, FINE, |element| points.extend(element.end_point()));
    let first = *points.first()?;
    let (mut area, mut moment) = (0.0_f64, Vec2::ZERO);
    for pair in points.windows(2) {
        let (a, b) = (pair[0] - first, pair[1] - first);
        area += a.cross(b);
        moment += a.cross(b) * (a + b) / 3.0;
    }
    (area.abs() > 1.0).then(|| first + moment / area)
}
