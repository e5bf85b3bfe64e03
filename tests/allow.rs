//! The cut line against areas and distances that geometry gives exactly.

mod allow_support;

use allow_support::{bodice, piece, polygon};
use kurbo::{Affine, BezPath, ParamCurve, ParamCurveNearest, Point, Shape, Vec2};
use oaktag::allow::{TOLERANCE, allow, too_wide};
use oaktag::piece::{Finish, Piece};
use oaktag::units::Unit;

fn cut_line(piece: &Piece) -> BezPath {
    allow(piece, TOLERANCE).unwrap_or_else(|finding| panic!("{finding}")).0.cut_line
}

fn distance(path: &BezPath, p: Point) -> f64 {
    path.segments().map(|s| s.nearest(p, 1e-12).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
}

/// Reference: dilation by a disc; areas by geometry, worked out by hand (from memory).
#[test]
fn notch_in_a_rectangle() {
    let k = 8.0 * 0.552_284_749_830_793_4;
    let notch =
        format!("M108 100 C108 {} {} 92 100 92 C{} 92 92 {} 92 100", 100.0 - k, 100.0 + k, 100.0 - k, 100.0 - k);
    for (width, area) in [(4.0, 22386.26), (7.999, 24972.93), (8.0, 24973.59), (12.7, 28112.33)] {
        let round = Finish::Round;
        let piece = piece(&[
            ("M0 0 L200 0", width, round),
            ("M200 0 L200 100", width, round),
            ("M200 100 L108 100", width, round),
            (&notch, width, round),
            ("M92 100 L0 100", width, round),
            ("M0 100 L0 0", width, round),
        ]);
        let found = cut_line(&piece).area();
        // The notch is drawn with two cubics, which leave the circle by 2.7e-4 of its radius.
        assert!((found - area).abs() < 0.01, "{width}: {found} for {area}");
    }
}

/// Reference: geometry: the cut line's rectangle is 100 + 12.7 by 200 + 25 + 12.7, 112.7 × 237.7.
#[test]
fn fold_hem_and_sides() {
    let mitre = Finish::Mitre;
    let mut piece = piece(&[
        ("M0 0 L100 0", 25.0, mitre),
        ("M100 0 L100 200", 12.7, mitre),
        ("M100 200 L0 200", 12.7, mitre),
        ("M0 200 L0 0", 0.0, mitre),
    ]);
    let on_line = cut_line(&piece).area();
    piece.edges[3].fold = true;
    let on_fold = cut_line(&piece);
    assert!((on_fold.area() - 26788.79).abs() < 1e-6, "{}", on_fold.area());
    assert!((on_line - 26788.79).abs() < 1e-6, "{on_line}");
    // Along the fold the cut line runs on the fold.
    assert!(distance(&on_fold, Point::new(0.0, 100.0)) < 1e-9);
    // A fold and an edge that is cut on the line differ where a neighbour meets them aslant: unfolded, the hem's square
    // end is cut off at the fold; cut on the line, it stands out by a triangle of 25 · (25 · 20/100) / 2 mm² (geometry).
    let slant = |fold: bool| {
        let mut slant = piece.clone();
        slant.edges[0].path = BezPath::from_svg("M0 20 L100 0").expect("path");
        slant.edges[3].path = BezPath::from_svg("M0 200 L0 20").expect("path");
        slant.edges[3].corner = Finish::Round;
        slant.edges[3].fold = fold;
        cut_line(&slant).area()
    };
    assert!((slant(false) - slant(true) - 62.5).abs() < 1e-6, "{} {}", slant(false), slant(true));
}

/// Reference: Steiner's formula for convex sets, A + P·d + π·d², and its mitred sister with Σ tan(turn/2).
#[test]
fn hexagon() {
    let points: Vec<(f64, f64)> = (0..6)
        .map(|i| (f64::from(i) * std::f64::consts::FRAC_PI_3).sin_cos())
        .map(|(s, c)| (100.0 * c, 100.0 * s))
        .collect();
    let (area, perimeter, d) = (1.5 * 3.0_f64.sqrt() * 1e4, 600.0, 12.7);
    let round = cut_line(&polygon(&points, d, Finish::Round)).area();
    let exact = area + perimeter * d + std::f64::consts::PI * d * d;
    assert!((round - exact).abs() < 2e-4, "{round} for {exact}");
    let mitred = cut_line(&polygon(&points, d, Finish::Mitre)).area();
    let exact = area + perimeter * d + d * d * 6.0 * (std::f64::consts::PI / 6.0).tan();
    assert!((mitred - exact).abs() < 1e-8, "{mitred} for {exact}");
}

/// Reference: geometry. A bevel comes as near as w·cos(turn/2), a mitre's apex lies at w/cos(turn/2).
#[test]
fn corners_of_a_triangle() {
    // An equilateral triangle turns by 120° at each corner.
    let points = [(0.0, 0.0), (100.0, 0.0), (50.0, 75.0_f64.sqrt() * 10.0)];
    let corner = Point::new(0.0, 0.0);
    let farthest =
        |path: &BezPath| path.segments().map(|s| s.start().distance(corner)).filter(|d| *d < 50.0).fold(0.0, f64::max);
    let turn = 120.0_f64.to_radians();
    let bevel = cut_line(&polygon(&points, 10.0, Finish::Bevel));
    assert!((distance(&bevel, corner) - 10.0 * (turn / 2.0).cos()).abs() < 1e-9);
    let mitre = cut_line(&polygon(&points, 10.0, Finish::Mitre));
    assert!((farthest(&mitre) - 10.0 / (turn / 2.0).cos()).abs() < 1e-9);
    // Square: each seam, run on, meets the neighbour's cut line at w/sin(turn) from the corner; there both are cut square,
    // and the two lines meet on the bisector at w·(1 + cos turn)/(sin² turn·cos(turn/2)) (geometry).
    let square = cut_line(&polygon(&points, 10.0, Finish::Square));
    let apex = 10.0 * (1.0 + turn.cos()) / (turn.sin().powi(2) * (turn / 2.0).cos());
    assert!((farthest(&square) - apex).abs() < 1e-9, "{} for {apex}", farthest(&square));
    assert!((distance(&square, corner) - 10.0).abs() < 1e-9);
}

/// A tip of 5° is cut square to its bisector at no less than the width.
#[test]
fn sharp_tip_keeps_its_width() {
    let half = (2.5_f64).to_radians();
    let points = [(0.0, 0.0), (300.0 * half.cos(), -300.0 * half.sin()), (300.0 * half.cos(), 300.0 * half.sin())];
    let tip = cut_line(&polygon(&points, 10.0, Finish::Mitre));
    assert!((distance(&tip, Point::ORIGIN) - 10.0).abs() < 1e-9);
    assert!((tip.bounding_box().x0 + 10.0).abs() < 1e-9);
}

/// A join that turns inward by less than a twentieth of a degree, too little for a corner: the wider allowance ends square
/// to its own seam, and the narrower one ends on it, by its width times the turn before the join (geometry).
#[test]
fn hardly_any_turn_between_unlike_widths() {
    let turn: f64 = 9e-4;
    let joint = Point::new(100.0, 0.0);
    for (first, second) in [(24.0, 40.0), (40.0, 24.0)] {
        let low = -100.0 * turn.tan();
        let line = cut_line(&piece(&[
            ("M0 0 L100 0", first, Finish::Mitre),
            (&format!("M100 0 L200 {low}"), second, Finish::Mitre),
            (&format!("M200 {low} L200 100"), 10.0, Finish::Mitre),
            ("M200 100 L0 100", 10.0, Finish::Mitre),
            ("M0 100 L0 0", 10.0, Finish::Mitre),
        ]));
        let square = if first < second { Vec2::new(-turn.sin(), -turn.cos()) } else { Vec2::new(0.0, -1.0) };
        for depth in [24.1, 30.0, 39.9] {
            let off = distance(&line, joint + depth * square);
            assert!(off < 1e-5, "{first} and {second}: {off} at {depth}");
        }
    }
}

/// The pieces file of the project's design page: the hem's ends are folded back. Turned up about the top edge, they lie
/// on the sides' cut lines.
#[test]
fn pocket_hem_folds_back() {
    let text = include_str!("data/pocket.pieces.json");
    let set = oaktag::piece::json::read(text, "pocket").expect("pieces");
    let line = cut_line(&set.pieces[0]);
    // Hem 38.1 above y = 140; the sides are upright, so the ends are too.
    let bounds = line.bounding_box();
    assert!((bounds.y1 - 178.1).abs() < 1e-9 && (bounds.x0 + 12.7).abs() < 1e-9 && (bounds.x1 - 132.7).abs() < 1e-9);
    assert_eq!(line.segments().count(), 6, "{}", line.to_svg());
}

/// Hem corner of a flared skirt: reflected back about the hem, its ends meet the sides' cut lines within 1e-6 (geometry
/// sheet).
#[test]
fn flared_hem_reflected_meets_the_sides() {
    let (fold, mitre) = (Finish::FoldBack, Finish::Mitre);
    for (left, right) in [(-60.0, 360.0), (40.0, 250.0), (-60.0, 250.0)] {
        let skirt = piece(&[
            ("M0 0 L300 0", 40.0, fold),
            (&format!("M300 0 C{right} 100 {right} 200 {right} 400"), 15.0, mitre),
            (&format!("M{right} 400 L{left} 400"), 10.0, mitre),
            (&format!("M{left} 400 L0 0"), 15.0, fold),
        ]);
        let line = cut_line(&skirt);
        let mirror = Affine::reflect(Point::ORIGIN, Vec2::new(1.0, 0.0));
        let mut below = 0;
        for segment in line.segments() {
            let (a, b) = (segment.start(), segment.end());
            if a.y > 1e-9 || b.y > 1e-9 || (a.y < -39.9 && b.y < -39.9) {
                continue;
            }
            below += 1;
            for i in 0..=10 {
                let p = mirror * segment.eval(f64::from(i) / 10.0);
                assert!(distance(&line, p) < 1e-6, "{p:?} is {} from the cut line", distance(&line, p));
            }
        }
        assert!(below >= 2, "both ends are there: {}", line.to_svg());
    }
}

/// Every curve of the bodice within three cubics, the whole within 28 segments.
#[test]
fn bodice_is_small() {
    for finish in [Finish::Round, Finish::Mitre, Finish::Bevel, Finish::Square, Finish::Step, Finish::FoldBack] {
        let line = cut_line(&bodice(12.7, finish));
        assert!(line.segments().count() <= 28, "{finish:?}: {}", line.segments().count());
    }
}

/// Where nobody says how a corner is turned, a hem is folded back and all else mitred. Left without its name, or as narrow as
/// its neighbours, the same edge is mitred: the check would see a default that is always the same.
#[test]
fn hems_are_folded_back_by_default() {
    let read = |name: &str, allowance: f64| {
        let text = format!(
            r#"{{ "oaktag": "pieces/1", "pieces": [ {{ "name": "Skirt", "edges": [
            {{ "name": "{name}", "path": "M0 0 L300 0", "allowance": {allowance} }},
            {{ "name": "side", "path": "M300 0 L260 400", "allowance": 15 }},
            {{ "name": "waist", "path": "M260 400 L0 400", "allowance": 10 }},
            {{ "name": "centre", "path": "M0 400 L0 0", "fold": true }} ] }} ] }}"#
        );
        oaktag::piece::json::read(&text, "skirt").expect("pieces").pieces.remove(0)
    };
    let finishes =
        |name: &str, allowance: f64| read(name, allowance).edges.iter().map(|e| e.corner).collect::<Vec<_>>();
    let (mitre, fold) = (Finish::Mitre, Finish::FoldBack);
    assert_eq!(finishes("side hem", 40.0), [fold, mitre, mitre, mitre]);
    assert_eq!(finishes("hemline", 40.0), [mitre; 4]);
    assert_eq!(finishes("hem", 15.0), [mitre; 4]);
}

/// The allowance of a side seam is folded back at underarm and waist, where the seam is sewn plain; gathered, sewn to nothing,
/// narrower than its neighbour or curved like the armhole it is mitred. Pressed open, its ends then lie on the neighbours'
/// cut lines (geometry).
#[test]
fn seams_pressed_open_are_folded_back_by_default() {
    let read = |side: f64, joins: &str| {
        let piece = |name: &str| {
            format!(
                r#"{{ "name": "{name}", "edges": [
                {{ "name": "waist", "path": "M0 0 L230 0", "allowance": 12.7 }},
                {{ "name": "side", "path": "M230 0 L250 200", "allowance": {side} }},
                {{ "name": "armhole", "path": "M250 200 C200 205 185 250 195 370", "allowance": 12.7 }},
                {{ "name": "shoulder", "path": "M195 370 L0 400", "allowance": 10 }},
                {{ "name": "centre", "path": "M0 400 L0 0", "fold": true }} ] }}"#
            )
        };
        let text = format!(
            r#"{{ "oaktag": "pieces/1", "pieces": [ {}, {} ], "joins": [ {joins} ] }}"#,
            piece("Front"),
            piece("Back")
        );
        oaktag::piece::json::read(&text, "bodice").expect("pieces").pieces.remove(0)
    };
    let finishes = |side: f64, joins: &str| read(side, joins).edges.iter().map(|e| e.corner).collect::<Vec<_>>();
    let (mitre, fold) = (Finish::Mitre, Finish::FoldBack);
    let plain = r#"{ "sides": [["Front/side"], ["Back/side"]] }"#;
    assert_eq!(finishes(25.4, plain), [fold, fold, mitre, mitre, mitre]);
    assert_eq!(finishes(25.4, ""), [mitre; 5]);
    assert_eq!(finishes(10.0, plain), [mitre; 5]);
    assert_eq!(finishes(25.4, r#"{ "sides": [["Front/side"], ["Back/side"]], "ratio": 2 }"#), [mitre; 5]);
    assert_eq!(finishes(12.0, r#"{ "sides": [["Front/armhole"], ["Back/armhole backwards"]] }"#), [mitre; 5]);
    let folded = read(25.4, plain);
    let mitred = read(25.4, "");
    let side = Affine::reflect(Point::new(230.0, 0.0), Vec2::new(20.0, 200.0));
    let strays = |piece: &Piece| {
        let line = cut_line(piece);
        let beyond = |p: &Point| Vec2::new(20.0, 200.0).cross(*p - Point::new(230.0, 0.0)) < -1e-6;
        let ends = line.segments().flat_map(|s| (0..=8).map(move |i| s.eval(f64::from(i) / 8.0))).filter(beyond);
        // All but the raw edge itself, which comes to lie inside.
        let raw = |p: &Point| (p.x - 230.0).mul_add(200.0, -20.0 * p.y) / 201.0 > 25.0;
        ends.filter(|p| !raw(p)).map(|p| distance(&line, side * p)).fold(0.0, f64::max)
    };
    assert!(strays(&folded) < 1e-6, "{}", strays(&folded));
    assert!(strays(&mitred) > 0.5, "{}", strays(&mitred));
}

/// Reference: geometry: a circle's parallel on its hollow side ends at the centre, and what is folded in reaches as deep as it
/// is wide. Every warning has the same piece beside it without one.
#[test]
fn allowances_wider_than_their_edge_has_room_for_are_told() {
    let inch = 25.4;
    let said = |piece: &Piece| -> Vec<String> {
        too_wide(piece, Unit::Inch)
            .into_iter()
            .map(|f| format!("{}: {}", f.edge.expect("an edge"), f.message))
            .collect()
    };
    let mitre = Finish::Mitre;
    // A quarter of a ring, its inner edge of radius 1 1/2 in hollow; or the last of it alone, which turns by 9 degrees.
    let arc = |radius: f64, from: f64, sweep: f64| -> String {
        let [from, sweep] = [from, sweep].map(f64::to_radians);
        let path = kurbo::Arc::new((0.0, 0.0), (radius, radius), from, sweep, 0.0).to_path(1e-6);
        path.to_svg()
    };
    let ring = |allowance: f64, degrees: f64| {
        let at = |radius: f64, angle: f64| Point::ORIGIN + radius * Vec2::from_angle(angle.to_radians());
        let line = |a: Point, b: Point| format!("M{} {} L{} {}", a.x, a.y, b.x, b.y);
        piece(&[
            (&line(at(1.5 * inch, 0.0), at(500.0, 0.0)), 12.7, mitre),
            (&arc(500.0, 0.0, degrees), 12.7, mitre),
            (&line(at(500.0, degrees), at(1.5 * inch, degrees)), 12.7, mitre),
            (&arc(1.5 * inch, degrees, -degrees), allowance, mitre),
        ])
    };
    let words = "e3: the allowance 2 in is wider than the hollow's radius 1 1/2 in: the cut line has a point there";
    assert_eq!(said(&ring(2.0 * inch, 90.0)), [words]);
    assert_eq!(said(&ring(2.0 * inch, 12.0)), [words]);
    assert!(said(&ring(1.4 * inch, 90.0)).is_empty() && said(&ring(2.0 * inch, 9.0)).is_empty());
    // The same curve bends out of a disc's quarter, and its allowance only gets longer.
    let disc = piece(&[
        ("M0 0 L38.1 0", 0.0, mitre),
        (&arc(1.5 * inch, 0.0, 90.0), 1.5 * inch, mitre),
        ("M0 38.1 L0 0", 0.0, mitre),
    ]);
    assert!(said(&disc).is_empty(), "{:?}", said(&disc));
    // A pocket 6 3/8 in deep; half a band 2 in wide up to its fold.
    let pocket = |hem: f64, side: f64, wide: f64| {
        piece(&[
            (&format!("M0 0 L{wide} 0"), hem, mitre),
            (&format!("M{wide} 0 L{wide} 161.925"), side, mitre),
            (&format!("M{wide} 161.925 L0 161.925"), 12.7, mitre),
            ("M0 161.925 L0 0", 0.0, mitre),
        ])
    };
    let words = "e0: the allowance 7 in is wider than the piece is deep there, 6 3/8 in";
    assert_eq!(said(&pocket(7.0 * inch, 12.7, 150.0)), [words]);
    assert!(said(&pocket(6.0 * inch, 12.7, 150.0)).is_empty());
    let mut band = pocket(12.7, 3.0 * inch, 2.0 * inch);
    assert_eq!(said(&band), ["e1: the allowance 3 in is wider than the piece is deep there, 2 in"]);
    band.edges[3].fold = true;
    assert!(said(&band).is_empty(), "on the fold it is 4 in wide");
}
