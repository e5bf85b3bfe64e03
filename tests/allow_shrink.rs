//! Shrinkage before the allowance.

mod allow_support;

use allow_support::{bodice, piece};
use kurbo::{Affine, ParamCurve, Point, Shape};
use oaktag::allow::{TOLERANCE, allow};
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
