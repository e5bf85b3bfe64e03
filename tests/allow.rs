//! The cut line against areas and distances that geometry gives exactly.

use kurbo::{BezPath, Point, Shape};
use oaktag::allow::{TOLERANCE, allow};
use oaktag::piece::{Cut, Edge, Finish, Piece};

/// A piece of edges given as path, width and finish.
fn piece(edges: &[(&str, f64, Finish)]) -> Piece {
    Piece {
        name: "Test".into(),
        cut: Cut::default(),
        edges: edges
            .iter()
            .enumerate()
            .map(|(i, (path, allowance, corner))| Edge {
                name: format!("e{i}"),
                path: BezPath::from_svg(path).expect("path"),
                allowance: *allowance,
                fold: false,
                corner: *corner,
            })
            .collect(),
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: [Point::ORIGIN, Point::new(0.0, 10.0)],
        drills: Vec::new(),
        lines: Vec::new(),
    }
}

fn polygon(points: &[(f64, f64)], width: f64, finish: Finish) -> Piece {
    let paths: Vec<String> = (0..points.len())
        .map(|i| {
            let (a, b) = (points[i], points[(i + 1) % points.len()]);
            format!("M{} {} L{} {}", a.0, a.1, b.0, b.1)
        })
        .collect();
    piece(&paths.iter().map(|p| (p.as_str(), width, finish)).collect::<Vec<_>>())
}

fn cut_line(piece: &Piece) -> BezPath {
    allow(piece, TOLERANCE).unwrap_or_else(|finding| panic!("{finding}")).0.cut_line
}

/// Reference: exact check of the project's geometry sheet (dilation by a disc, areas by geometry).
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
        println!("{width}: {found} for {area}");
        assert!((found - area).abs() < 0.1, "{width}: {found} for {area}");
    }
}

/// Reference: exact check of the geometry sheet: 112.7 × 237.7.
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
    let line = cut_line(&piece);

    assert!((line.area() - 26788.79).abs() < 1e-6, "{}", line.area());
    assert!((on_line - 26788.79).abs() < 1e-6, "{on_line}");
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

    assert!((round - exact).abs() < 2e-4);
    let mitred = cut_line(&polygon(&points, d, Finish::Mitre)).area();
    let exact = area + perimeter * d + d * d * 6.0 * (std::f64::consts::PI / 6.0).tan();

    assert!((mitred - exact).abs() < 1e-8);
}

/// A bodice front of invented measures: 7 edges, 4 of them curves.
fn bodice(finish: Finish) -> Piece {
    let w = 12.7;
    piece(&[
        ("M0 0 C80 -6 160 -4 235 8", w, finish),
        ("M235 8 C245 80 250 150 248 205", w, finish),
        ("M248 205 C205 210 190 250 192 300 C193 330 196 350 200 372", w, finish),
        ("M200 372 L75 415", w, finish),
        ("M75 415 C70 365 40 330 0 325", w, finish),
        ("M0 325 L0 160", w, finish),
        ("M0 160 L0 0", w, finish),
    ])
}

#[test]
fn bodice_is_small_and_quick() {
    for finish in [Finish::Round, Finish::Mitre, Finish::Bevel, Finish::Square, Finish::Step] {
        let piece = bodice(finish);
        let line = cut_line(&piece);
        println!("{finish:?}: {} segments", line.segments().count());
        let start = std::time::Instant::now();
        for _ in 0..200 {
            let _ = allow(&piece, TOLERANCE);
        }
        println!("{:?}", start.elapsed() / 200);
    }
}

#[test]
fn pocket() {
    let text = std::fs::read_to_string("tests/data/pocket.pieces.json").expect("file");
    let set = oaktag::piece::json::read(&text, "pocket").expect("pieces");
}
