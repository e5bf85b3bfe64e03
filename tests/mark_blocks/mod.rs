//! Notches that are cut or drawn as the machine does it, master blocks in card, darts' marks, buttons, mirrored writing.

use super::mark_pieces::{bodice, flap, flat, heading, net, notch, polygon, rectangle, sleeve, strip, with_allowance};
use super::{EIGHTH, QUARTER, marked, outside, role, to_edge};
use geo::{Area, Distance, Euclidean, Point as GeoPoint};
use kurbo::{Affine, BezPath, Point, Shape};
use oaktag::allow::CutPiece;
use oaktag::device::{Medium, MediumKind, Notches};
use oaktag::diag::Finding;
use oaktag::lay::{Copies, lay};
use oaktag::mark::{Heading, MarkedPiece, mark};
use oaktag::piece::{Dart, Fastening, Notch, NotchKind, Piece, Pressed};
use oaktag::role::Role;
use oaktag::text::letter;

fn with_notch(kind: NotchKind, depth: Option<f64>, width: f64) -> CutPiece {
    let mut plain = rectangle("Yoke", 200.0, 120.0, width);
    plain.notches = vec![Notch { depth, ..notch("top", 60.0, kind, 1) }];
    with_allowance(plain, width)
}

fn made(cut: &CutPiece, notches: Notches) -> (MarkedPiece, Vec<Finding>) {
    mark(cut, &Heading { notches, ..heading() }).expect("marks")
}

#[test]
fn notches_are_part_of_the_cut_line_where_a_knife_cuts_them() {
    let cut = with_notch(NotchKind::VIn, None, 12.7);
    let whole = polygon(&cut.cut_line).unsigned_area();
    let (drawn, _) = made(&cut, Notches::Drawn);
    assert_eq!((role(&drawn, Role::Notch).len(), role(&drawn, Role::Cut).len()), (1, 1));
    assert!((polygon(&drawn.outline).unsigned_area() - whole).abs() < 1e-6, "a pen leaves the cut line alone");
    let (knife, _) = made(&cut, Notches::Cut);
    assert!(role(&knife, Role::Notch).is_empty());
    // A V ¼ in deep and three quarters as wide as it is deep (the program's own choice) takes 3/8 of its depth squared.
    let taken = whole - polygon(&knife.outline).unsigned_area();
    assert!((taken - 0.375 * QUARTER * QUARTER).abs() < 1e-3, "{taken}");
    assert_eq!(role(&knife, Role::Cut)[0].path, knife.outline, "what is cut is what the lay keeps clear of");
    // Outward it adds as much, for pens and knives alike.
    for how in [Notches::Drawn, Notches::Cut] {
        let (out, _) = made(&with_notch(NotchKind::VOut, None, 12.7), how);
        let more = polygon(&out.outline).unsigned_area() - whole;
        assert!((more - 0.375 * QUARTER * QUARTER).abs() < 1e-3, "{more}");
    }
    // A slit has no width that a contour could go round: the knife cuts it as a line of its own.
    let (slit, _) = made(&with_notch(NotchKind::Slit, None, 12.7), Notches::Cut);
    assert_eq!(role(&slit, Role::Notch).len(), 1);
}

#[test]
fn no_notch_comes_nearer_than_3_mm_to_the_sew_line() {
    // At least 3 mm (the brief of this work); asked for ½ in deep in an allowance of ½ in.
    let sew = polygon(&rectangle("Yoke", 200.0, 120.0, 12.7).outline());
    for (kind, how) in [(NotchKind::Slit, Notches::Drawn), (NotchKind::T, Notches::Cut), (NotchKind::VIn, Notches::Cut)]
    {
        let (deep, findings) = made(&with_notch(kind, Some(12.7), 12.7), how);
        let told = findings.iter().any(|f| f.message.contains("was asked for") && f.edge.as_deref() == Some("top"));
        assert!(told, "{kind:?}: {findings:?}");
        let nearest = role(&deep, Role::Notch)
            .iter()
            .map(|stroke| &stroke.path)
            .chain([&deep.outline])
            .map(|path| to_edge(path, &sew))
            .fold(f64::INFINITY, f64::min);
        assert!((3.0..3.4).contains(&nearest), "{kind:?}: {nearest}");
        // What is within reach is made as asked, and not spoken of; the seeded fault is the same check on it.
        let (fine, findings) = made(&with_notch(kind, Some(5.0), 12.7), how);
        assert!(!findings.iter().any(|f| f.message.contains("was asked for")), "{findings:?}");
        let nearest = role(&fine, Role::Notch)
            .iter()
            .map(|stroke| &stroke.path)
            .chain([&fine.outline])
            .map(|path| to_edge(path, &sew))
            .fold(f64::INFINITY, f64::min);
        assert!((nearest - 7.7).abs() < 0.05, "{kind:?}: {nearest}");
    }
}

/// A rectangle with a dart at its top.
fn darted(cloth: &str, width: f64) -> CutPiece {
    let mut piece = rectangle("Skirt back", 260.0, 320.0, width);
    piece.cut.cloth = cloth.into();
    // The top runs from x = 260 to x = 0.
    let apex = Point::new(130.0, 200.0);
    piece.darts = vec![Dart { edge: "top".into(), mouth: [115.0, 145.0], apex, pressed: Pressed::ToStart }];
    if width > 0.0 { with_allowance(piece, width) } else { net(piece) }
}

#[test]
fn darts_are_notched_at_both_legs_and_drilled_short_of_their_point() {
    let (marked, _) = marked(&darted("main", 12.7));
    let apex = Point::new(130.0, 200.0);
    let slits = role(&marked, Role::Notch);
    assert_eq!(slits.len(), 2);
    for (slit, x) in slits.iter().zip([145.0, 115.0]) {
        let mouth = Point::new(x, 320.0);
        for point in flat(&slit.path, 0.01) {
            // In line with the leg, which is led on through the allowance.
            let off = (mouth - apex).cross(point - apex).abs() / (mouth - apex).hypot();
            assert!(off < 1e-3 && point.y > 320.0 + EIGHTH - 0.2, "{point:?} {off}");
        }
    }
    // About ½ in short of the point in cloth, at the point itself in card (common practice, no source).
    let middle = |marked: &MarkedPiece| role(marked, Role::Drill)[0].path.bounding_box().center();
    assert!((middle(&marked).distance(apex) - 12.7).abs() < 1e-6 && middle(&marked).y > apex.y);
    let (block, _) = made(&darted("card", 0.0), Notches::Cut);
    assert!(middle(&block).distance(apex) < 1e-6);
    // Two notches are cut into the block, by default as Vs.
    let net = 260.0 * 320.0;
    let hole: f64 = role(&block, Role::Cut)[1].path.area();
    let taken = net - polygon(&block.outline).unsigned_area();
    assert!(taken > 1.9 * 0.375 * QUARTER * QUARTER && taken < 2.1 * 0.375 * QUARTER * QUARTER, "{taken}");
    assert!(hole < 0.0, "the inside of a hole is cut clockwise");
}

#[test]
fn a_block_has_a_hole_to_hang_by_clear_of_everything() {
    for mut piece in [bodice(), sleeve(), rectangle("Skirt", 280.0, 600.0, 0.0)] {
        piece.cut.cloth = "card".into();
        for edge in &mut piece.edges {
            edge.allowance = 0.0;
        }
        let cut = net(piece);
        let (block, _) = made(&cut, Notches::Cut);
        let [_, hole] = role(&block, Role::Cut)[..] else { panic!("one hole: {}", block.name) };
        let clear = to_edge(&hole.path, &polygon(&cut.piece.outline()));
        // The least that the program keeps of card about a hole, 12 mm (common practice, no source).
        assert!(clear >= 11.9 && outside(&hole.path, &polygon(&block.outline)) == 0.0, "{}: {clear}", block.name);
        let centre = hole.path.bounding_box().center();
        let radius = hole.path.bounding_box().width() / 2.0;
        let berth = |skip: Role| {
            let others = block.strokes.iter().filter(|s| s.role != Role::Cut && s.role != skip);
            others
                .flat_map(|s| super::dense(&s.path))
                .map(|p| Euclidean.distance(&p, &GeoPoint::new(centre.x, centre.y)) - radius)
                .fold(f64::INFINITY, f64::min)
        };
        assert!(berth(Role::Sew) > 0.5, "{}: {}", block.name, berth(Role::Sew));
        // Cloth is never given a hole.
        let mut cloth = cut.clone();
        cloth.piece.cut.cloth = "main".into();
        assert_eq!(role(&marked(&cloth).0, Role::Cut).len(), 1);
    }
    // A loop 20 mm wide has no room, and says so.
    let mut small = rectangle("Loop", 20.0, 150.0, 0.0);
    small.cut.cloth = "card".into();
    small.edges.iter_mut().for_each(|edge| edge.allowance = 0.0);
    let (block, findings) = made(&net(small), Notches::Cut);
    assert_eq!(role(&block, Role::Cut).len(), 1);
    assert!(findings.iter().any(|f| f.message.contains("hanging hole")), "{findings:?}");
}

#[test]
fn buttons_lie_inside_and_are_left_out_and_told_where_they_do_not() {
    let mut piece = rectangle("Front", 120.0, 400.0, 12.7);
    piece.fastenings = (0..5)
        .flat_map(|i| {
            let y = 40.0 + 80.0 * f64::from(i);
            [Fastening::Button(Point::new(20.0, y)), Fastening::Buttonhole(Point::new(97.0, y), Point::new(75.0, y))]
        })
        .collect();
    let cut = with_allowance(piece, 12.7);
    let (marked, findings) = marked(&cut);
    let named = |marked: &MarkedPiece, name: &str| marked.strokes.iter().filter(|s| s.edge == name).count();
    assert_eq!((named(&marked, "button"), named(&marked, "buttonhole")), (15, 15));
    assert!(!findings.iter().any(|f| f.message.contains("button")));
    assert!(super::faults(&cut, &marked).is_empty(), "{:?}", super::faults(&cut, &marked));
    let mut off = cut.clone();
    off.piece.fastenings[1] = Fastening::Buttonhole(Point::new(97.0, 40.0), Point::new(125.0, 40.0));
    let (marked, findings) = self::marked(&off);
    assert_eq!(named(&marked, "buttonhole"), 12);
    assert!(findings.iter().any(|f| f.message.contains("1 of the buttons")), "{findings:?}");
}

#[test]
fn inner_lines_say_their_names() {
    let mut piece = rectangle("Skirt", 280.0, 500.0, 12.7);
    let path = BezPath::from_svg("M0 320 L280 320").expect("a path");
    piece.lines = vec![oaktag::piece::InnerLine { name: "hip line".into(), path }];
    let says = |piece: Piece, words: &str| {
        let (marked, _) = marked(&with_allowance(piece, 12.7));
        // The same letters at the same size, but for where they lie.
        [2.5, 2.0].iter().any(|height| {
            let wanted: Vec<f64> = letter(words, *height).paths.iter().map(oaktag::geom::path::length).collect();
            let written: Vec<f64> = marked
                .strokes
                .iter()
                .filter(|s| s.role == Role::Label && s.edge == "hip line")
                .map(|s| oaktag::geom::path::length(&s.path))
                .collect();
            wanted.len() == written.len() && wanted.iter().zip(&written).all(|(a, b)| (a - b).abs() < 1e-6)
        })
    };
    assert!(says(piece.clone(), "hip line 11 in"));
    assert!(!says(piece, "hip line 12 in"), "the seeded fault");
}

/// Whether strokes are a picture of others turned and moved, not mirrored.
fn turned_only(from: &[BezPath], to: &[BezPath]) -> bool {
    let points = |paths: &[BezPath]| paths.iter().flat_map(|path| flat(path, 0.01)).collect::<Vec<_>>();
    let (a, b) = (points(from), points(to));
    if a.len() != b.len() || a.len() < 3 {
        return false;
    }
    // The rigid motion that takes the first and the farthest point there must take all others there too.
    let far = (0..a.len()).max_by(|i, j| a[*i].distance(a[0]).total_cmp(&a[*j].distance(a[0]))).unwrap_or(0);
    let turn = (b[far] - b[0]).atan2() - (a[far] - a[0]).atan2();
    let motion = Affine::translate(b[0].to_vec2()) * Affine::rotate(turn) * Affine::translate(-a[0].to_vec2());
    a.iter().zip(&b).all(|(a, b)| (motion * *a).distance(*b) < 1e-3)
}

#[test]
fn no_writing_is_ever_mirrored() {
    let medium = Medium::plain("paper", MediumKind::Roll { width: 1500.0, longest: 20_000.0 }, 10.0, 5.0);
    let mut blocks = 0;
    for mut piece in [bodice(), sleeve(), flap(), strip(), darted("main", 12.7).piece] {
        piece.cut.count = 2;
        piece.cut.mirrored = true;
        let (marked, _) = marked(&with_allowance(piece, 12.7));
        let (sheets, _) = lay(std::slice::from_ref(&marked), &medium, Copies::All, "").expect("lays");
        for sheet in &sheets {
            for placed in 0..sheet.placed.len() {
                let strokes: Vec<_> = sheet.strokes.iter().filter(|s| s.placed == Some(placed)).collect();
                let mirrored = sheet.placed[placed].transform.determinant() < 0.0;
                let mut names: Vec<&str> =
                    marked.strokes.iter().filter(|s| s.role == Role::Label).map(|s| s.edge.as_str()).collect();
                names.dedup();
                for name in names {
                    let of = |role: Role, edge: &str| role == Role::Label && edge == name;
                    let own: Vec<BezPath> =
                        marked.strokes.iter().filter(|s| of(s.role, &s.edge)).map(|s| s.path.clone()).collect();
                    let laid: Vec<BezPath> =
                        strokes.iter().filter(|s| of(s.role, &s.edge)).map(|s| s.path.clone()).collect();
                    assert!(turned_only(&own, &laid), "{}, \"{name}\", mirrored: {mirrored}", marked.name);
                    // The seeded fault: the same writing in a mirror.
                    let mirror: Vec<BezPath> = own.iter().map(|path| Affine::FLIP_X * path.clone()).collect();
                    assert!(!turned_only(&mirror, &laid), "{name}");
                    blocks += usize::from(mirrored);
                }
            }
        }
    }
    assert!(blocks >= 20, "only {blocks} blocks of writing on mirrored copies");
}

#[test]
fn at_a_quarter_of_the_size_figures_are_those_of_the_real_piece() {
    let mut piece = rectangle("Skirt", 280.0, 500.0, 12.7);
    piece.scale(0.25);
    let small = with_allowance(piece, 12.7 / 4.0);
    let (marked, _) = mark(&small, &Heading { scale: 0.25, ..heading() }).expect("marks");
    let written: Vec<f64> = marked
        .strokes
        .iter()
        .filter(|s| s.role == Role::Label && s.edge == "right")
        .map(|s| oaktag::geom::path::length(&s.path))
        .collect();
    // 500 mm is 19 11/16 in.
    let fits = |words: &str| {
        [2.5, 2.0].iter().any(|height| {
            let wanted: Vec<f64> = letter(words, *height).paths.iter().map(oaktag::geom::path::length).collect();
            wanted.len() == written.len() && wanted.iter().zip(&written).all(|(a, b)| (a - b).abs() < 1e-6)
        })
    };
    assert!(fits("right 19 11/16 in") || fits("19 11/16 in"), "{written:?}");
    assert!(!fits("right 4 15/16 in") && !fits("4 15/16 in"));
}
