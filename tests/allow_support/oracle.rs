//! Cut lines worked out a second time, without the crate: by brute force from capsules, and by clipper2-rust.
#![allow(dead_code)]

use super::chain::{Chain, sew_chain};
use clipper2_rust::{EndType, JoinType, PathD, PathsD, PointD, inflate_paths_d};
use kurbo::{ParamCurve, ParamCurveDeriv, PathSeg, Point, Vec2};
use oaktag::piece::Piece;

/// How far a cut line strays from the true contour of the piece grown by a disc of radius `width`: brute force against
/// the union of the capsules of all flattened segments. A point of the cut line must be just `width` from the sew line; a
/// point at just that distance on a normal or an arc about a corner must be on the cut line, unless it lies in a hole.
pub fn capsule_error(piece: &Piece, cut: &Chain, width: f64) -> f64 {
    let chord = 2e-4;
    let sew = sew_chain(piece, chord);
    let mut worst = 0.0_f64;
    for pair in cut.points.windows(2) {
        let p = pair[0].midpoint(pair[1]);
        for p in [pair[0], p] {
            worst = worst.max((sew.distance(p) - width).abs());
        }
    }
    let mut candidates = Vec::new();
    let segments: Vec<PathSeg> = piece.edges.iter().flat_map(|edge| edge.path.segments()).collect();
    for (i, segment) in segments.iter().enumerate() {
        for k in 0..=48 {
            let t = f64::from(k) / 48.0;
            candidates.push(segment.eval(t) + width * normal(segment, t));
        }
        let next = &segments[(i + 1) % segments.len()];
        let (from, to) = (normal(segment, 1.0), normal(next, 0.0));
        let turn = from.cross(to).atan2(from.dot(to));
        if turn > 0.0 {
            let steps = (turn * 12.0).ceil();
            for k in 0..=steps as u32 {
                let (sine, cosine) = (turn * f64::from(k) / steps).sin_cos();
                let radius = Vec2::new(cosine * from.x - sine * from.y, sine * from.x + cosine * from.y);
                candidates.push(segment.end() + width * radius);
            }
        }
    }
    for p in candidates {
        let off = cut.distance(p);
        if off > worst && sew.distance(p) >= width - 2.0 * chord && !sew.holds(p) && !in_hole(cut, p, off) {
            worst = off;
        }
    }
    worst
}

/// A true contour point well inside the cut line belongs to a hole that was filled.
fn in_hole(cut: &Chain, p: Point, off: f64) -> bool {
    off > 0.02 && cut.holds(p)
}

/// Unit normal to the right, by the derivative, or a chord where that vanishes.
pub fn normal(segment: &PathSeg, t: f64) -> Vec2 {
    let along = match segment {
        PathSeg::Line(line) => line.p1 - line.p0,
        other => {
            let c = other.to_cubic();
            let d = c.deriv().eval(t).to_vec2();
            if d.hypot() > 1e-6 {
                d
            } else if t < 0.5 {
                segment.eval(t + 1e-4) - segment.eval(t)
            } else {
                segment.eval(t) - segment.eval(t - 1e-4)
            }
        }
    };
    Vec2::new(along.y, -along.x).normalize()
}

/// A polygon as clipper2 takes it.
pub fn path_d(points: &[Point]) -> PathD {
    points.iter().map(|p| PointD { x: p.x, y: p.y }).collect()
}

/// Its area, positive where it runs counter-clockwise.
pub fn signed_area(path: &PathD) -> f64 {
    (0..path.len()).map(|i| (path[i], path[(i + 1) % path.len()])).map(|(a, b)| a.x * b.y - b.x * a.y).sum::<f64>()
        / 2.0
}

fn largest(paths: &PathsD) -> Option<Chain> {
    let best = paths.iter().max_by(|a, b| signed_area(a).abs().total_cmp(&signed_area(b).abs()))?;
    Some(Chain::closed(best.iter().map(|p| Point::new(p.x, p.y)).collect()))
}

/// The piece grown by a disc, by clipper2's own offset of the flattened sew line.
pub fn clipper_offset(piece: &Piece, width: f64, chord: f64) -> Option<Chain> {
    let mut points = sew_chain(piece, chord).points;
    points.pop();
    let grown = inflate_paths_d(&vec![path_d(&points)], width, JoinType::Round, EndType::Polygon, 2.0, 6, chord);
    largest(&grown)
}

/// A contour with its hairline slits closed.
pub fn closed(paths: &PathsD) -> Option<Chain> {
    let moved = |paths: &PathsD, by: f64| inflate_paths_d(paths, by, JoinType::Miter, EndType::Polygon, 20.0, 7, 0.0);
    largest(&moved(&moved(paths, SLIT), -SLIT))
}

/// A cut line treated as [`region`] treats its own contour, so that the two can be compared.
pub fn with_slits_closed(cut: &Chain) -> Option<Chain> {
    closed(&vec![path_d(&cut.points[..cut.points.len() - 1])])
}

/// Half the width of the slits that are closed, mm.
const SLIT: f64 = 1e-4;
