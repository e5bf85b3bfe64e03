//! Curves through points.
//!
//! John D. Hobby, "Smooth, easy to compute interpolating splines", Discrete and Computational Geometry 1 (1986), with
//! tension 1 everywhere and curl 1 at a free end, as METAFONT draws `z0 .. z1 .. z2`. A knot with a given direction
//! splits the curve into runs that are solved each on its own, as Hobby proposes.

use kurbo::{BezPath, Point, Vec2};
use std::f64::consts::{PI, TAU};

/// A point on the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knot {
    /// Where it is.
    pub point: Point,
    /// The direction in which the curve passes it, of any length over 0; `None` leaves it to the method.
    pub heading: Option<Vec2>,
}

/// The curve through `knots`, in order, one cubic between two neighbours. `None` where there are fewer than two knots,
/// two neighbours coincide (within 1e-6 mm), or a heading has no direction.
pub fn through(knots: &[Knot]) -> Option<BezPath> {
    let usable = knots.len() >= 2
        && knots.windows(2).all(|pair| pair[0].point.distance(pair[1].point) > 1e-6)
        && knots.iter().all(|knot| knot.point.is_finite() && knot.heading.is_none_or(|h| h.hypot() > 1e-12));
    if !usable {
        return None;
    }
    let mut path = BezPath::new();
    path.move_to(knots[0].point);
    let mut start = 0;
    while start + 1 < knots.len() {
        let end = (start + 1..knots.len() - 1).find(|i| knots[*i].heading.is_some()).unwrap_or(knots.len() - 1);
        solve_run(&knots[start..=end], &mut path);
        start = end;
    }
    Some(path)
}

/// One run of knots of which only the first and the last may have a heading.
fn solve_run(knots: &[Knot], path: &mut BezPath) {
    let n = knots.len() - 1;
    let chords: Vec<Vec2> = knots.windows(2).map(|pair| pair[1].point - pair[0].point).collect();
    let lengths: Vec<f64> = chords.iter().map(|chord| chord.hypot()).collect();
    // Turning angle at each inner knot; 0 at the last by convention.
    let mut turn = vec![0.0; n + 1];
    for k in 1..n {
        turn[k] = half_turn(chords[k].atan2() - chords[k - 1].atan2());
    }
    // Tridiagonal system in the leaving angles theta: below, diagonal, above, right-hand side.
    let mut rows = vec![[0.0, 1.0, 0.0, 0.0]; n + 1];
    rows[0] = match knots[0].heading {
        Some(heading) => [0.0, 1.0, 0.0, half_turn(heading.atan2() - chords[0].atan2())],
        None => [0.0, 1.0, 1.0, -turn[1]],
    };
    for k in 1..n {
        let (before, after) = (1.0 / lengths[k - 1], 1.0 / lengths[k]);
        rows[k] = [before, 2.0 * (before + after), after, -2.0 * turn[k] * before - turn[k + 1] * after];
    }
    rows[n] = match knots[n].heading {
        // The arriving angle phi is measured back from the chord, and theta = -phi at the last knot.
        Some(heading) => [0.0, 1.0, 0.0, half_turn(heading.atan2() - chords[n - 1].atan2())],
        None => [1.0, 1.0, 0.0, 0.0],
    };
    // Both ends free and nothing between: the equations coincide, and the curve is the chord.
    if n == 1 && knots.iter().all(|knot| knot.heading.is_none()) {
        path.line_to(knots[1].point);
        return;
    }
    let theta = tridiagonal(&mut rows);
    for k in 0..n {
        let phi = -turn[k + 1] - theta[k + 1];
        let (leave, arrive) = (theta[k], phi);
        let first = knots[k].point + rotate(chords[k], leave) * velocity(leave, arrive);
        let second = knots[k + 1].point - rotate(chords[k], -arrive) * velocity(arrive, leave);
        path.curve_to(first, second, knots[k + 1].point);
    }
}

/// Hobby's velocity function over 3: the control arm as a share of the chord.
fn velocity(theta: f64, phi: f64) -> f64 {
    let (st, ct, sp, cp) = (theta.sin(), theta.cos(), phi.sin(), phi.cos());
    let root5 = 5.0_f64.sqrt();
    let numerator = 2.0 + 2.0_f64.sqrt() * (st - sp / 16.0) * (sp - st / 16.0) * (ct - cp);
    let denominator = 3.0 * (1.0 + 0.5 * (root5 - 1.0) * ct + 0.5 * (3.0 - root5) * cp);
    // At angles near a half turn the arm would grow without end; METAFONT caps it at 4 chords, and so do we.
    (numerator / denominator.max(1e-9)).clamp(0.0, 4.0)
}

fn rotate(v: Vec2, angle: f64) -> Vec2 {
    let (sin, cos) = angle.sin_cos();
    Vec2::new(v.x * cos - v.y * sin, v.x * sin + v.y * cos)
}

/// The same angle in (−π, π].
fn half_turn(angle: f64) -> f64 {
    let turned = angle.rem_euclid(TAU);
    if turned > PI { turned - TAU } else { turned }
}

/// Thomas's algorithm; the system is diagonally dominant but for a free end, whose row pairs with a dominant one.
fn tridiagonal(rows: &mut [[f64; 4]]) -> Vec<f64> {
    for k in 1..rows.len() {
        let factor = rows[k][0] / rows[k - 1][1];
        rows[k][1] -= factor * rows[k - 1][2];
        rows[k][3] -= factor * rows[k - 1][3];
    }
    let mut solution = vec![0.0; rows.len()];
    for k in (0..rows.len()).rev() {
        let after = if k + 1 < rows.len() { rows[k][2] * solution[k + 1] } else { 0.0 };
        solution[k] = (rows[k][3] - after) / rows[k][1];
    }
    solution
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::path;

    fn free(x: f64, y: f64) -> Knot {
        Knot { point: Point::new(x, y), heading: None }
    }

    fn headed(x: f64, y: f64, dx: f64, dy: f64) -> Knot {
        Knot { point: Point::new(x, y), heading: Some(Vec2::new(dx, dy)) }
    }

    /// The METAFONT manual, chapter 14: the curve of one quarter with square headings strays from a circle by 0.027 % at most
    /// (value from memory); that is the cubic's own limit for a quarter circle.
    #[test]
    fn quarter_circle_is_as_round_as_a_cubic_can_be() {
        let curve = through(&[headed(100.0, 0.0, 0.0, 1.0), headed(0.0, 100.0, -1.0, 0.0)]).expect("two knots");
        let long = path::length(&curve);
        for step in 0..=20 {
            let (point, _) = path::point_at(&curve, long * f64::from(step) / 20.0).expect("on it");
            assert!((point.to_vec2().hypot() - 100.0).abs() < 0.06, "{point:?}");
        }
    }

    #[test]
    fn passes_its_points_and_headings() {
        let knots = [headed(0.0, 0.0, 1.0, 0.0), free(40.0, 10.0), free(60.0, 60.0), headed(70.0, 120.0, 0.0, 1.0)];
        let curve = through(&knots).expect("four knots");
        let ends: Vec<Point> = curve.segments().map(|s| kurbo::ParamCurve::end(&s)).collect();
        for (knot, end) in knots[1..].iter().zip(&ends) {
            assert!(knot.point.distance(*end) < 1e-12);
        }
        assert!(path::start_tangent(&curve).expect("has one").cross(Vec2::new(1.0, 0.0)).abs() < 1e-12);
        assert!(path::end_tangent(&curve).expect("has one").cross(Vec2::new(0.0, 1.0)).abs() < 1e-12);
        // Smooth at the inner knots.
        let segments: Vec<_> = curve.segments().collect();
        for pair in segments.windows(2) {
            let (a, b) = (path::tangent(&pair[0], 1.0), path::tangent(&pair[1], 0.0));
            assert!(a.dot(b) > 1.0 - 1e-9, "{a:?} {b:?}");
        }
    }

    #[test]
    fn free_ends_through_points_of_a_circle_give_that_circle() {
        let at = |angle: f64| free(50.0 * angle.cos(), 50.0 * angle.sin());
        let curve = through(&[at(0.0), at(0.5), at(1.0)]).expect("three knots");
        let (point, _) = path::point_at(&curve, path::length(&curve) * 0.25).expect("on it");
        assert!((point.to_vec2().hypot() - 50.0).abs() < 0.01, "{point:?}");
    }

    #[test]
    fn nothing_to_draw_is_said() {
        assert!(through(&[free(0.0, 0.0)]).is_none());
        assert!(through(&[free(0.0, 0.0), free(0.0, 0.0)]).is_none());
        assert!(through(&[free(f64::NAN, 0.0), free(1.0, 0.0)]).is_none());
    }
}
