//! What must not matter: where a piece lies, how it is turned, from which edge its outline is told, and for its mirror
//! image, that it is told the other way round. And what must be refused.

mod allow_support;

use allow_support::chain::{Chain, flatten};
use allow_support::{CLASSES, Class, Random, bodice, piece, random_piece};
use kurbo::{Affine, BezPath, CubicBez, ParamCurve, PathSeg, Point, Shape, Vec2};
use oaktag::allow::{TOLERANCE, allow};
use oaktag::diag::Severity;
use oaktag::geom::offset::parallel;
use oaktag::piece::{Finish, Piece};

/// Outlines of every class in the ordinary run.
const SEEDS: u64 = 60;

/// Areas may differ by this much, mm² (1e-6: chosen here, no source).
const SAME: f64 = 1e-6;

/// Among tiny edges and near-cusps a hair's breadth decides how often a curve is halved while it is fitted; there areas may
/// differ by this part of themselves.
const HOSTILE_SAME: f64 = 1e-6;

fn area(piece: &Piece) -> Option<f64> {
    allow(piece, TOLERANCE).ok().map(|(cut, _)| cut.cut_line.area())
}

/// Every seeded piece with one width and with mixed ones, and a bodice on the fold; with what its area may differ by.
fn pieces() -> Vec<(Piece, bool)> {
    let mut pieces: Vec<(Piece, bool)> = Vec::new();
    for class in CLASSES {
        let hostile = matches!(class, Class::Tiny | Class::NearCusp);
        for seed in 0..SEEDS {
            pieces.extend([false, true].map(|mixed| (random_piece(class, seed, mixed), hostile)));
        }
    }
    let mut on_fold = bodice(12.7, Finish::Mitre);
    on_fold.edges[6].fold = true;
    on_fold.edges[6].allowance = 0.0;
    pieces.push((on_fold, false));
    pieces
}

/// Compares the area with that of every piece's variant.
fn same_area(variant: impl Fn(&Piece, usize) -> Piece) {
    let (mut compared, mut different) = (0, Vec::new());
    for (index, (piece, hostile)) in pieces().iter().enumerate() {
        let Some(before) = area(piece) else { continue };
        let after = area(&variant(piece, index)).expect("a cut line as before");
        let slack = if *hostile { HOSTILE_SAME * before } else { SAME };
        if (before - after).abs() > slack {
            different.push(format!("piece {index}: {before} mm², {:e} apart", before - after));
        }
        compared += 1;
    }
    assert!(different.is_empty(), "{different:#?}");
    assert!(compared > 300, "{compared}");
}

fn moved(piece: &Piece, by: Affine) -> Piece {
    let mut piece = piece.clone();
    for edge in &mut piece.edges {
        edge.path.apply_affine(by);
    }
    piece
}

#[test]
fn rigid_motion_changes_nothing() {
    same_area(|piece, index| {
        let mut random = Random(index as u64);
        let by = Affine::rotate(random.within(0.0, 6.3)).then_translate(Vec2::new(random.within(-300.0, 300.0), 77.0));
        moved(piece, by)
    });
}

#[test]
fn start_edge_changes_nothing() {
    same_area(|piece, index| {
        let mut piece = piece.clone();
        let by = 1 + index % (piece.edges.len() - 1);
        piece.edges.rotate_left(by);
        piece
    });
}

/// The mirror image, its edges drawn from their other ends and told in the other order.
#[test]
fn mirror_image_changes_nothing() {
    same_area(|piece, _| {
        let mut image = moved(piece, Affine::FLIP_X);
        image.edges.reverse();
        let count = image.edges.len();
        // A finish belongs to the corner after an edge: now the edge that came after it.
        let finishes: Vec<Finish> = image.edges.iter().map(|edge| edge.corner).collect();
        for (i, edge) in image.edges.iter_mut().enumerate() {
            edge.path = edge.path.reverse_subpaths();
            edge.corner = finishes[(i + 1) % count];
        }
        image
    });
}

/// The same input gives the same bytes.
#[test]
fn twice_is_the_same() {
    for seed in 0..20 {
        let piece = random_piece(Class::NearCusp, seed, true);
        let line = || allow(&piece, TOLERANCE).ok().map(|(cut, _)| cut.cut_line.to_svg());
        assert_eq!(line(), line());
    }
}

/// Seeded fault for the comparisons above: a width changed by a ten-thousandth of a millimetre shows.
#[test]
fn a_tenth_of_a_micrometre_shows() {
    let before = area(&bodice(12.7, Finish::Mitre)).expect("cut line");
    let after = area(&bodice(12.7001, Finish::Mitre)).expect("cut line");
    assert!((before - after).abs() > SAME);
}

fn refusal(piece: &Piece) -> oaktag::diag::Finding {
    let finding = *allow(piece, TOLERANCE).expect_err("refused");
    assert_eq!(finding.severity, Severity::Error);
    assert!(finding.hint.is_some(), "{finding}");
    assert_eq!(finding.piece.as_deref(), Some("Test"), "{finding}");
    finding
}

#[test]
fn what_is_no_outline_is_refused() {
    let m = Finish::Mitre;
    // Two edges that cross are both named, with the place: the diagonals of a square of 100 meet at (50, 50).
    let tie = piece(&[
        ("M0 0 L100 100", 5.0, m),
        ("M100 100 L100 0", 5.0, m),
        ("M100 0 L0 100", 5.0, m),
        ("M0 100 L0 0", 5.0, m),
    ]);
    let finding = refusal(&tie);
    assert!(finding.message.contains("\"e2\"") && finding.message.contains("(50.00, 50.00)"), "{finding}");
    assert_eq!(finding.edge.as_deref(), Some("e0"));
    let clockwise = piece(&[("M0 0 L0 100", 5.0, m), ("M0 100 L100 100", 5.0, m), ("M100 100 L0 0", 5.0, m)]);
    assert!(refusal(&clockwise).message.contains("clockwise"));
    let gap = piece(&[("M0 0 L100 0", 5.0, m), ("M100 1 L100 100", 5.0, m), ("M100 100 L0 0", 5.0, m)]);
    assert!(refusal(&gap).message.contains("1.000 mm"));
    let open = piece(&[("M0 0 L100 0", 5.0, m), ("M100 0 L100 100", 5.0, m), ("M100 100 L0 3", 5.0, m)]);
    assert!(refusal(&open).message.contains("first one starts"));
    let flat = piece(&[("M0 0 L100 0", 5.0, m), ("M100 0 L0 0", 5.0, m)]);
    assert!(refusal(&flat).message.contains("encloses nothing"));
    let back = piece(&[("M0 0 C150 0 -50 0 100 0", 5.0, m), ("M100 0 L100 100", 5.0, m), ("M100 100 L0 0", 5.0, m)]);
    assert!(refusal(&back).message.contains("doubles back"));
    let looped = piece(&[("M0 0 C160 60 -60 60 100 0", 5.0, m), ("M100 0 L50 200", 5.0, m), ("M50 200 L0 0", 5.0, m)]);
    assert!(refusal(&looped).message.contains("itself"));
}

#[test]
fn what_is_no_length_is_refused() {
    for bad in [f64::NAN, f64::INFINITY, -1.0, 1e9] {
        let mut piece = bodice(12.7, Finish::Mitre);
        piece.edges[2].allowance = bad;
        let finding = refusal(&piece);
        assert_eq!(finding.edge.as_deref(), Some("e2"), "{finding}");
    }
    for bad in [f64::NAN, f64::INFINITY, 1e9] {
        let mut piece = bodice(12.7, Finish::Mitre);
        let mut path = BezPath::new();
        path.move_to((248.0, 205.0));
        path.curve_to((205.0, bad), (190.0, 250.0), (200.0, 372.0));
        piece.edges[2].path = path;
        assert!(refusal(&piece).message.contains("no length"));
    }
    for bad in [f64::NAN, 0.0, -1.0, 1e-9, 5.0] {
        assert!(allow(&bodice(12.7, Finish::Mitre), bad).expect_err("refused").message.contains("tolerance"));
    }
    let mut empty = bodice(12.7, Finish::Mitre);
    empty.edges.clear();
    assert!(refusal(&empty).message.contains("encloses nothing"));
    empty = bodice(12.7, Finish::Mitre);
    empty.edges[3].path = BezPath::new();
    assert!(refusal(&empty).message.contains("open run"));
}

#[test]
fn impossible_folds_are_refused() {
    let fold = |edges: &[usize], path: Option<&str>| {
        let mut piece = bodice(12.7, Finish::Mitre);
        for edge in edges {
            piece.edges[*edge].fold = true;
            piece.edges[*edge].allowance = 0.0;
        }
        if let Some(path) = path {
            piece.edges[6].path = BezPath::from_svg(path).expect("path");
        }
        piece
    };
    assert!(refusal(&fold(&[0], None)).message.contains("not straight"));
    assert!(refusal(&fold(&[5, 6], None)).message.contains("second edge"));
    assert!(refusal(&fold(&[6], Some("M0 160 C-5 100 -5 50 0 0"))).message.contains("not straight"));
    let mut across = fold(&[6], None);
    across.edges[5].path = BezPath::from_svg("M0 325 L-9 200 L0 160").expect("path");
    assert!(refusal(&across).message.contains("across the fold"));
    let mut both = fold(&[6], None);
    both.edges[6].allowance = 3.0;
    assert!(refusal(&both).message.contains("has an allowance"));
}

/// Allowances that close about a gap are said so; the gap here is what is left of a slot of 30 × 60 behind a mouth of 20.
#[test]
fn filled_gaps_are_said() {
    let m = Finish::Mitre;
    let keyhole = allow_support::polygon(
        &[
            (0.0, 0.0),
            (200.0, 0.0),
            (200.0, 150.0),
            (110.0, 150.0),
            (110.0, 120.0),
            (150.0, 120.0),
            (150.0, 40.0),
            (50.0, 40.0),
            (50.0, 120.0),
            (90.0, 120.0),
            (90.0, 150.0),
            (0.0, 150.0),
        ],
        15.0,
        m,
    );
    let (cut, findings) = allow(&keyhole, TOLERANCE).expect("cut line");
    // The hole 100 × 80 less 15 all round is 70 × 50.
    assert!(findings.len() == 1 && findings[0].message.contains("3500.0 mm²"), "{findings:?}");
    assert!((cut.cut_line.area() - 230.0 * 180.0).abs() < 1e-6);
    let p = Point::new(100.0, 80.0);
    assert_ne!(cut.cut_line.winding(p), 0);
}

/// A curve that stands still where it starts, and turns at once from straight down to a slant: the neighbour's cut line,
/// mirrored about that turn, jumps to and fro. Its hundred crumbs kept the sweep busy for more than a minute (fuzz corpus:
/// `fold-back-about-a-hairpin`). It is no seam to fold about: the corner is mitred.
#[test]
fn no_fold_back_about_a_hairpin() {
    let piece = piece(&[
        ("M0 0 C2.82 597.5 -464.94 -446.98 15.34 -638.98", 25.5, Finish::FoldBack),
        ("M15.34 -638.98 L0 -377.90000000000003", 45.5, Finish::Step),
        ("M0 -377.90000000000003 C583.34 580.82 580.82 580.82 580.82 580.82", 1.0, Finish::FoldBack),
        ("M580.82 580.82 C580.82 580.82 580.82 575.7 0 0", 28.25, Finish::FoldBack),
    ]);
    let (cut, findings) = allow(&piece, TOLERANCE).unwrap_or_else(|finding| panic!("{finding}"));
    assert!(cut.cut_line.is_finite() && cut.cut_line.area() > piece.outline().area());
    let warned =
        |f: &oaktag::diag::Finding| f.message.contains("can't be folded back") && f.edge.as_deref() == Some("e2");
    assert!(findings.iter().any(warned), "{findings:?}");
}

/// Parallel curves of the seeded gentle outlines that need four cubics as long as every joint lies on the true parallel:
/// three do, the joints are smooth, and all of it keeps within the tolerance of the true parallel (brute force).
#[test]
fn three_cubics_are_enough_for_a_calm_curve() {
    for (seed, edge) in [(8, 5), (44, 1), (56, 1), (61, 0), (138, 7), (157, 0)] {
        let edge = &random_piece(Class::Gentle, seed, false).edges[edge];
        let own = edge.path.segments().next().expect("a curve");
        let line = parallel(&[own], edge.allowance, FIT);
        let (cubics, spans): (Vec<CubicBez>, Vec<[f64; 2]>) =
            line.iter().filter(|p| !p.evolute).map(|p| (p.curve.to_cubic(), p.span)).unzip();
        assert!((2..=3).contains(&cubics.len()), "seed {seed}: {} cubics", cubics.len());
        let none: [&str; 0] = [];
        assert_eq!(faults(&own, edge.allowance, &cubics, &spans), none, "seed {seed}");
        // Seeded faults: a joint that is bent by a thousandth, one that has come apart, a curve that strays.
        let mut bent = cubics.clone();
        let CubicBez { p2, p3, .. } = bent[0];
        bent[0].p2 = p2 + 1e-3 * (p3 - p2).turn_90();
        let mut apart = cubics.clone();
        apart[0].p3 += Vec2::new(1e-5, 0.0);
        let mut strays = cubics;
        let last = strays.len() - 1;
        let CubicBez { p0, p1, .. } = strays[last];
        strays[last].p1 = p1 + 0.02 * (p1 - p0);
        let by_fault = [bent, apart, strays].map(|cubics| faults(&own, edge.allowance, &cubics, &spans));
        assert!(by_fault[0].contains(&"bent") && by_fault[1].contains(&"apart"), "{by_fault:?}");
        assert!(by_fault[2].contains(&"strays"), "{by_fault:?}");
    }
}

/// What curves are fitted to, mm: below the tolerance, which is for the whole cut line.
const FIT: f64 = 0.85 * TOLERANCE;

/// What is wrong with a chain of cubics as the parallel of a curve.
fn faults(own: &PathSeg, width: f64, cubics: &[CubicBez], spans: &[[f64; 2]]) -> Vec<&'static str> {
    let mut faults = Vec::new();
    for pair in cubics.windows(2) {
        let turn = (pair[0].p3 - pair[0].p2).normalize().cross((pair[1].p1 - pair[1].p0).normalize());
        // A double has 16 digits; control points of a few hundred mm on arms of a few mm leave 12.
        faults.extend((turn.abs() > 1e-9).then_some("bent"));
        faults.extend((pair[0].p3.distance(pair[1].p0) > 1e-12).then_some("apart"));
    }
    let strays = cubics.iter().zip(spans).any(|(cubic, [from, to])| {
        // A joint may lie beyond its own normal by as much as it may stray.
        let beside = own.subsegment((from - 0.01).max(0.0)..(to + 0.01).min(1.0));
        let mut points = Vec::new();
        flatten(&beside, 1e-5, &mut points);
        points.push(beside.end());
        let chain = Chain::open(points);
        (0..=400).any(|i| (chain.distance(cubic.eval(f64::from(i) / 400.0)) - width).abs() > FIT + 1e-4)
    });
    faults.extend(strays.then_some("strays"));
    faults
}
