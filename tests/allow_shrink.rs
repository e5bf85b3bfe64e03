//! Shrinkage before the allowance, the tool's width after it.

mod allow_support;

use allow_support::{bodice, piece};
use kurbo::{Affine, BezPath, Circle, ParamCurve, ParamCurveNearest, Point, Rect, Shape};
use oaktag::allow::{TOLERANCE, allow, kerf};
use oaktag::geom::path::length;
use oaktag::piece::{Dart, Finish, Notch, NotchKind, Pleat, Pressed};
use oaktag::shrink::shrink;

/// A square of 90 × 95 in cloth that loses a tenth lengthwise and a twentieth crosswise is cut 100 × 100 (arithmetic).
#[test]
fn square_grows_by_its_grain() {
    let m = Finish::Mitre;
    let mut square = piece(&[
        ("M0 0 L95 0", 10.0, m),
        ("M95 0 L95 90", 10.0, m),
        ("M95 90 L0 90", 10.0, m),
        ("M0 90 L0 0", 10.0, m),
    ]);
    square.grain = [Point::new(50.0, 10.0), Point::new(50.0, 80.0)];
    square.notches.push(Notch { edge: "e1".into(), at: 45.0, kind: NotchKind::Slit, count: 1, depth: None });
    let (grown, findings) = shrink(&square, 10.0, 5.0).expect("grows");
    assert!(findings.is_empty());
    let bounds = grown.outline().bounding_box();
    assert!((bounds.width() - 100.0).abs() < 1e-9 && (bounds.height() - 100.0).abs() < 1e-9, "{bounds:?}");
    assert!((grown.notches[0].at - 50.0).abs() < 1e-6);
    // The allowance comes after, at its full width.
    let cut = allow(&grown, TOLERANCE).expect("cuts").0.cut_line;
    assert!((cut.area() - 120.0 * 120.0).abs() < 1e-6);
    // With the grain laid crosswise the other way about.
    square.grain = [Point::new(10.0, 50.0), Point::new(80.0, 50.0)];
    let bounds = shrink(&square, 10.0, 5.0).expect("grows").0.outline().bounding_box();
    assert!((bounds.width() - 95.0 / 0.9).abs() < 1e-9 && (bounds.height() - 90.0 / 0.95).abs() < 1e-9, "{bounds:?}");
}

/// On a bias grain: shrunk back along the grain, every point is where it was drafted; marks keep their places.
#[test]
fn wash_undoes_it() {
    let mut front = bodice(12.7, Finish::Mitre);
    front.grain = [Point::new(60.0, 60.0), Point::new(160.0, 190.0)];
    front.darts.push(Dart {
        edge: "e0".into(),
        mouth: [90.0, 115.0],
        apex: Point::new(110.0, 120.0),
        pressed: Pressed::ToStart,
    });
    front.pleats.push(Pleat { edge: "e3".into(), mouth: [30.0, 50.0], length: 40.0, pressed: Pressed::Open });
    front.drills.push(Point::new(100.0, 100.0));
    let (grown, _) = shrink(&front, 4.0, 1.5).expect("grows");
    let turn = Affine::rotate((front.grain[1] - front.grain[0]).atan2());
    let about = Affine::translate(front.grain[0].to_vec2());
    let wash = about * turn * Affine::scale_non_uniform(0.96, 0.985) * turn.inverse() * about.inverse();
    for (old, new) in front.edges.iter().zip(&grown.edges) {
        for (a, b) in old.path.segments().zip(new.path.segments()) {
            for i in 0..=4 {
                let t = f64::from(i) / 4.0;
                assert!((wash * b.eval(t)).distance(a.eval(t)) < 1e-9);
            }
        }
    }
    assert!((wash * grown.darts[0].apex).distance(front.darts[0].apex) < 1e-9);
    assert!((wash * grown.drills[0]).distance(front.drills[0]) < 1e-9);
    for (edge, old, new) in
        [("e0", front.darts[0].mouth, grown.darts[0].mouth), ("e3", front.pleats[0].mouth, grown.pleats[0].mouth)]
    {
        for (a, b) in old.into_iter().zip(new) {
            let at = |piece: &oaktag::piece::Piece, d| {
                oaktag::geom::path::point_at(&piece.edge(edge).expect("edge").path, d).expect("on it").0
            };
            assert!((wash * at(&grown, b)).distance(at(&front, a)) < 1e-5);
        }
    }
    assert!(length(&grown.edges[0].path) > length(&front.edges[0].path));
}

#[test]
fn what_no_cloth_does_is_refused() {
    let front = bodice(12.7, Finish::Mitre);
    for (along, across) in [(f64::NAN, 0.0), (0.0, 120.0), (-30.0, 0.0)] {
        assert!(shrink(&front, along, across).expect_err("refused").message.contains("does not shrink"));
    }
    let mut on_fold = front.clone();
    on_fold.edges[6].fold = true;
    on_fold.edges[6].allowance = 0.0;
    assert!(shrink(&on_fold, 5.0, 1.0).is_ok(), "the grain runs along the fold");
    on_fold.grain[1] += kurbo::Vec2::new(2.0, 0.0);
    assert!(shrink(&on_fold, 5.0, 1.0).expect_err("aslant").message.contains("aslant"));
    assert!(shrink(&on_fold, 3.0, 3.0).is_ok(), "all ways alike");
}

fn distance(path: &BezPath, p: Point) -> f64 {
    path.segments().map(|s| s.nearest(p, 1e-12).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
}

/// A circle's parallels are circles; a rectangle's have rounded corners outside and sharp ones inside (geometry).
#[test]
fn kerf_of_known_shapes() {
    let circle = Circle::new((10.0, 20.0), 50.0).to_path(1e-6);
    for half in [0.1, -0.1, 3.0, -3.0] {
        let moved = kerf(&circle, half, 0.001).expect("moves");
        for s in moved.segments() {
            for i in 0..8 {
                let radius = s.eval(f64::from(i) / 8.0).distance(Point::new(10.0, 20.0));
                assert!((radius - 50.0 - half).abs() < 0.0011, "{radius} at {half}");
            }
        }
    }
    let rectangle = Rect::new(0.0, 0.0, 40.0, 30.0).to_path(0.1);
    let out = kerf(&rectangle, 0.2, 0.001).expect("moves").area();
    assert!((out - (1200.0 + 140.0 * 0.2 + std::f64::consts::PI * 0.04)).abs() < 1e-6, "{out}");
    let inner = kerf(&rectangle, -0.2, 0.001).expect("moves");
    assert!((inner.area() - 39.6 * 29.6).abs() < 1e-9, "{}", inner.area());
    // A path that runs the other way stays so.
    assert!((kerf(&rectangle.reverse_subpaths(), -0.2, 0.001).expect("moves").area() + 39.6 * 29.6).abs() < 1e-9);
}

/// The tool's near side runs on the cut line: half the width away from it, everywhere.
#[test]
fn kerf_of_a_cut_line() {
    let cut = allow(&bodice(12.7, Finish::Mitre), TOLERANCE).expect("cuts").0.cut_line;
    for half in [0.15, -0.15, 2.0, -2.0] {
        let moved = kerf(&cut, half, TOLERANCE).expect("moves");
        assert!((moved.area() > cut.area()) == (half > 0.0));
        for s in moved.segments() {
            for i in 0..=8 {
                let off = distance(&cut, s.eval(f64::from(i) / 8.0)) - half.abs();
                assert!(off.abs() <= TOLERANCE, "{off} at {half}");
            }
        }
    }
}

#[test]
fn kerf_refuses_what_it_cannot_do() {
    let dumbbell = BezPath::from_svg("M0 0 L20 0 L20 9 L40 9 L40 0 L60 0 L60 20 L40 20 L40 11 L20 11 L20 20 L0 20 Z");
    let dumbbell = dumbbell.expect("path");
    assert!(kerf(&dumbbell, -2.0, 0.005).expect_err("two").message.contains("in two"));
    assert!(kerf(&dumbbell, -0.5, 0.005).is_ok());
    assert!(kerf(&dumbbell, -30.0, 0.005).expect_err("none").message.contains("too wide"));
    let open = BezPath::from_svg("M0 0 L20 0 L20 9").expect("path");
    assert!(kerf(&open, 0.1, 0.005).expect_err("open").message.contains("closed"));
    let eight = BezPath::from_svg("M0 0 L10 10 L10 0 L0 20 Z").expect("path");
    assert!(kerf(&eight, 0.1, 0.005).expect_err("crosses").message.contains("crosses"));
    assert!(kerf(&dumbbell, f64::NAN, 0.005).is_err());
}
