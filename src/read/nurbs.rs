//! Splines of degree 1 to 3 taken apart into Béziers.

use kurbo::{BezPath, Point};

/// The Bézier chain of a non-rational B-spline; a jump starts a new subpath. `None` where degree, knots and control
/// points do not fit each other.
///
/// Each knot span's Bézier points are the spline's polar form at the span's ends (Ramshaw, "Blossoming: a
/// connect-the-dots approach to splines", 1987).
pub(super) fn beziers(degree: usize, knots: &[f64], control: &[Point]) -> Option<BezPath> {
    let fits = (1..=3).contains(&degree)
        && control.len() > degree
        && knots.len() == control.len() + degree + 1
        && knots.iter().all(|knot| knot.is_finite())
        && knots.windows(2).all(|pair| pair[0] <= pair[1]);
    if !fits {
        return None;
    }
    let mut path = BezPath::new();
    for span in degree..control.len() {
        let (from, to) = (knots[span], knots[span + 1]);
        if from >= to {
            continue;
        }
        let corner = |ends: usize| polar(degree, knots, control, span, |i| if i < ends { to } else { from });
        let first = corner(0);
        // A knot that stands more often than the degree parts the spline.
        if path.elements().is_empty() || knots[span - degree] >= from {
            path.move_to(first);
        }
        let last = corner(degree);
        match degree {
            1 => path.line_to(last),
            2 => path.quad_to(corner(1), last),
            _ => path.curve_to(corner(1), corner(2), last),
        }
    }
    (!path.is_empty()).then_some(path)
}

/// The polar form of the span's polynomial at `degree` arguments, by de Boor's recursion.
fn polar(degree: usize, knots: &[f64], control: &[Point], span: usize, argument: impl Fn(usize) -> f64) -> Point {
    let mut points: Vec<Point> = control[span - degree..=span].to_vec();
    for level in 1..=degree {
        let t = argument(level - 1);
        for j in (level..=degree).rev() {
            let (low, high) = (knots[span - degree + j], knots[span + 1 + j - level]);
            // `low` and `high` enclose the span, which is not empty. Shares of 0 and 1 give the points themselves.
            let share = (t - low) / (high - low);
            points[j] = (points[j - 1].to_vec2() * (1.0 - share) + points[j].to_vec2() * share).to_point();
        }
    }
    points[degree]
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::PathEl;

    #[test]
    fn triple_knots_give_the_control_points_back() {
        let control: Vec<Point> = (0..7).map(|i| Point::new(f64::from(i * i), f64::from(7 - i))).collect();
        let knots = [0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0, 2.0];
        let path = beziers(3, &knots, &control).expect("fits");
        assert_eq!(path.elements()[0], PathEl::MoveTo(control[0]));
        assert_eq!(path.elements()[1], PathEl::CurveTo(control[1], control[2], control[3]));
        assert_eq!(path.elements()[2], PathEl::CurveTo(control[4], control[5], control[6]));
    }

    #[test]
    fn uniform_cubic_meets_its_known_joint() {
        // A uniform cubic B-spline passes its joints at (a + 4b + c)/6 (de Boor, "A practical guide to splines").
        let control = [Point::new(0.0, 0.0), Point::new(6.0, 0.0), Point::new(6.0, 6.0), Point::new(0.0, 12.0)];
        let knots = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0];
        let path = beziers(3, &knots, &control).expect("fits");
        let PathEl::MoveTo(start) = path.elements()[0] else { panic!("starts with a move") };
        assert!((start - Point::new(5.0, 1.0)).hypot() < 1e-12, "{start:?}");
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        let control = [Point::ORIGIN; 4];
        assert!(beziers(3, &[0.0; 7], &control).is_none());
        assert!(beziers(3, &[0.0, 0.0, 0.0, 1.0, 0.0, 1.0, 1.0, 1.0], &control).is_none());
        assert!(beziers(3, &[0.0, 0.0, 0.0, f64::NAN, 1.0, 1.0, 1.0, 1.0], &control).is_none());
        assert!(beziers(9, &[0.0; 14], &control).is_none());
        assert!(beziers(3, &[1.0; 8], &control).is_none());
    }
}
