//! Darts and pleats, folded as they are pressed: their raw edges must lie on the seam's cut line. The folding here is
//! plain geometry (rotations and reflections of the finished cut line) and knows nothing of how the caps were made.

mod allow_support;

use allow_support::piece;
use kurbo::{Affine, BezPath, ParamCurve, ParamCurveNearest, Point, Vec2};
use oaktag::allow::{TOLERANCE, allow};
use oaktag::geom::path::point_at;
use oaktag::piece::{Dart, Finish, Piece, Pleat, Pressed};

/// A skirt back whose waist, its third edge, runs from right to left.
fn skirt(waist: &str) -> Piece {
    let m = Finish::Mitre;
    piece(&[("M0 0 L240 0", 30.0, m), ("M240 0 L230 300", 15.0, m), (waist, 12.0, m), ("M0 305 L0 0", 15.0, m)])
}

const STRAIGHT: &str = "M230 300 L0 305";
const CURVED: &str = "M230 300 C160 270 60 280 0 305";

fn distance(path: &BezPath, p: Point) -> f64 {
    path.segments().map(|s| s.nearest(p, 1e-12).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
}

fn cut_line(piece: &Piece) -> BezPath {
    let (cut, findings) = allow(piece, TOLERANCE).unwrap_or_else(|finding| panic!("{finding}"));
    assert!(findings.is_empty(), "{}", findings[0]);
    cut.cut_line
}

/// The dart's point so that both legs are alike: on the perpendicular bisector of its mouth, `depth` inside.
fn apex(piece: &Piece, mouth: [f64; 2], depth: f64) -> (Point, Point, Point) {
    let [p, q] = mouth.map(|at| point_at(&piece.edges[2].path, at).expect("on the edge").0);
    let along = (q - p).normalize();
    (p, q, p.midpoint(q) + depth * Vec2::new(-along.y, along.x))
}

/// Points of the cut line whose direction from the dart's point lies between two others.
fn between(line: &BezPath, centre: Point, from: Vec2, to: Vec2) -> Vec<Point> {
    let inside =
        |p: &Point| from.cross(*p - centre) > 0.05 && to.cross(*p - centre) < -0.05 && from.dot(*p - centre) > 0.0;
    line.segments().flat_map(|s| (0..=40).map(move |i| s.eval(f64::from(i) / 40.0))).filter(inside).collect()
}

#[test]
fn dart_folds_onto_the_seam() {
    for (waist, slack) in [(STRAIGHT, 1e-6), (CURVED, 2.0 * TOLERANCE)] {
        for pressed in [Pressed::ToStart, Pressed::ToEnd, Pressed::Open] {
            let mut piece = skirt(waist);
            let mouth = [100.0, 125.0];
            let (p, q, a) = apex(&piece, mouth, 90.0);
            piece.darts.push(Dart { edge: "e2".into(), mouth, apex: a, pressed });
            let line = cut_line(&piece);
            let fold = p.midpoint(q) - a;
            let close = Affine::rotate_about((q - a).cross(p - a).atan2((q - a).dot(p - a)), a);
            let mut seen = 0;
            for (half, first) in [(between(&line, a, p - a, fold), true), (between(&line, a, fold, q - a), false)] {
                // Where this half of the cloth comes to lie when the dart is closed and pressed.
                let laid = match (pressed, first) {
                    (Pressed::ToStart | Pressed::Open, true) => Affine::reflect(p, p - a),
                    (Pressed::ToStart, false) => close,
                    (Pressed::ToEnd, true) => close.inverse(),
                    (Pressed::ToEnd | Pressed::Open, false) => Affine::reflect(q, q - a),
                };
                for point in half {
                    let off = distance(&line, laid * point);
                    assert!(off < slack, "{pressed:?}: {point:?} comes to lie {off} mm off the cut line");
                    seen += 1;
                }
            }
            assert!(seen > 40, "{seen}");
        }
    }
}

/// A straight edge across the mouth does not fold onto the seam: what the caps are for. The peak stands out by half the
/// mouth times tan 2δ, δ half the dart's angle, where the edge lies square to the fold (geometry).
#[test]
fn uncapped_dart_misses_and_the_peak_is_known() {
    let mut piece = skirt("M230 300 L0 300");
    piece.edges[3].path = BezPath::from_svg("M0 300 L0 0").expect("path");
    let mouth = [100.0, 125.0];
    let (p, q, a) = apex(&piece, mouth, 90.0);
    let plain = cut_line(&piece);
    let over = Affine::reflect(p, p - a) * (p.midpoint(q) + Vec2::new(0.0, 12.0));
    assert!(distance(&plain, over) > 1.0, "the seeded fault is seen");
    piece.darts.push(Dart { edge: "e2".into(), mouth, apex: a, pressed: Pressed::ToStart });
    let capped = cut_line(&piece);
    let delta = (12.5_f64 / 90.0).atan();
    // On the fold, the parallel of a line that falls away at 2δ lies w / cos 2δ beyond it.
    let peak = 300.0 + 12.5 * (2.0 * delta).tan() + 12.0 / (2.0 * delta).cos();
    assert!((kurbo::Shape::bounding_box(&capped).y1 - peak).abs() < 1e-6);
}

#[test]
fn pleats_fold_onto_the_seam() {
    for (waist, slack) in [(STRAIGHT, 1e-6), (CURVED, 2.0 * TOLERANCE)] {
        for pressed in [Pressed::ToStart, Pressed::ToEnd, Pressed::Open] {
            let mut piece = skirt(waist);
            let mouth = [90.0, 122.0];
            let (p, q, _) = apex(&piece, mouth, 90.0);
            piece.pleats.push(Pleat { edge: "e2".into(), mouth, length: 50.0, pressed });
            let line = cut_line(&piece);
            let along = (q - p).normalize();
            let across = Vec2::new(along.y, -along.x);
            let wide = p.distance(q);
            let shift = |by: f64| Affine::translate(by * along);
            let (over_p, over_q) = (Affine::reflect(p, across), Affine::reflect(q, across));
            let mut seen = 0;
            for segment in line.segments() {
                for i in 0..=600 {
                    let point = segment.eval(f64::from(i) / 600.0);
                    let x = (point - p).dot(along) / wide;
                    let outside = (point - p).dot(across) > 0.0;
                    if !outside || !(0.002..0.998).contains(&x) || (x * 4.0 - (x * 4.0).round()).abs() < 0.01 {
                        continue;
                    }
                    // Knife: over the near leg, then carried along by the mouth's width. Box: quarter by quarter.
                    let laid = match pressed {
                        Pressed::ToStart if x < 0.5 => over_p,
                        Pressed::ToStart => shift(-wide),
                        Pressed::ToEnd if x > 0.5 => over_q,
                        Pressed::ToEnd => shift(wide),
                        Pressed::Open if x < 0.25 => over_p,
                        Pressed::Open if x < 0.5 => shift(-wide / 2.0),
                        Pressed::Open if x < 0.75 => shift(wide / 2.0),
                        Pressed::Open => over_q,
                    };
                    let off = distance(&line, laid * point);
                    assert!(off < slack, "{pressed:?} at {x}: {point:?} comes to lie {off} mm off the cut line");
                    seen += 1;
                }
            }
            assert!(seen > 30, "{seen}");
        }
    }
}

#[test]
fn impossible_mouths_are_refused() {
    let dart = |mouth: [f64; 2], apex: Point| {
        let mut piece = skirt(STRAIGHT);
        piece.darts.push(Dart { edge: "e2".into(), mouth, apex, pressed: Pressed::ToStart });
        allow(&piece, TOLERANCE).expect_err("refused")
    };
    assert!(dart([100.0, 100.0], Point::new(120.0, 200.0)).message.contains("does not fit"));
    assert!(dart([220.0, 240.0], Point::new(10.0, 200.0)).message.contains("does not fit"));
    assert!(dart([f64::NAN, 120.0], Point::new(120.0, 200.0)).message.contains("does not fit"));
    assert!(dart([100.0, 120.0], Point::new(120.0, 400.0)).message.contains("points out"));
    assert_eq!(dart([100.0, 120.0], Point::new(120.0, 400.0)).edge.as_deref(), Some("e2"));
}
