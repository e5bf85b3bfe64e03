//! Lays on cloth, checked by means other than the program's own.

use geo::{Area, BooleanOps, BoundingRect, Distance, Euclidean, LineString, Polygon};
use kurbo::{Affine, BezPath, PathEl, Point, Shape, Vec2};
use oaktag::allow::CutPiece;
use oaktag::cloth::{Cloth, Way};
use oaktag::diag::Finding;
use oaktag::lay::cloth::{ClothLay, Garment, Origin, lay_on_cloth};
use oaktag::lay::search::Budget;
use oaktag::lay::{keep, prove_cloth};
use oaktag::piece::{Cut, Edge, Finish, Piece};
use oaktag::units::Unit;

fn budget(evaluations: u64) -> Budget {
    Budget { evaluations, seconds: None, threads: 1, seed: 5, enough: 0.0 }
}

fn piece(name: &str, corners: &[(f64, f64)], fold: bool, count: u32, mirrored: bool) -> CutPiece {
    let edges: Vec<Edge> = (0..corners.len())
        .map(|i| {
            let mut path = BezPath::new();
            path.move_to(corners[i]);
            path.line_to(corners[(i + 1) % corners.len()]);
            Edge { name: format!("edge {i}"), path, allowance: 0.0, fold: fold && i == 0, corner: Finish::Mitre }
        })
        .collect();
    let mut cut_line = BezPath::new();
    cut_line.move_to(corners[0]);
    corners[1..].iter().for_each(|corner| cut_line.line_to(*corner));
    cut_line.close_path();
    let along = Point::from(corners[1]) - Point::from(corners[0]);
    let middle = cut_line.bounding_box().center();
    let piece = Piece {
        name: name.into(),
        cut: Cut { count, mirrored, cloth: "main cloth".into() },
        edges,
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: [middle, middle + along],
        drills: Vec::new(),
        lines: Vec::new(),
        fastenings: Vec::new(),
    };
    CutPiece { piece, cut_line }
}

/// The bodice half on the fold and a sleeve-like piece in a pair.
fn garment() -> Vec<CutPiece> {
    vec![
        piece(
            "Front",
            &[(0.0, 0.0), (400.0, 0.0), (380.0, 220.0), (250.0, 260.0), (120.0, 180.0), (30.0, 140.0)],
            true,
            1,
            false,
        ),
        piece(
            "Back",
            &[(0.0, 0.0), (420.0, 0.0), (400.0, 230.0), (250.0, 250.0), (130.0, 180.0), (10.0, 150.0)],
            false,
            2,
            true,
        ),
        piece("Sleeve", &[(0.0, 0.0), (500.0, 40.0), (600.0, 150.0), (500.0, 260.0), (0.0, 300.0)], false, 2, true),
    ]
}

fn cloth(folded: bool, way: Way) -> Cloth {
    // 45 in, exactly 1143 mm.
    Cloth { folded, way, ..Cloth::plain("main cloth", 1143.0, Unit::Inch) }
}

fn laid(pieces: &[CutPiece], cloth: &Cloth, evaluations: u64) -> Result<(ClothLay, Vec<Finding>), Box<Finding>> {
    lay_on_cloth(&[Garment { person: "Ida", pieces, ties: &[] }], cloth, &[], &budget(evaluations), &mut |_| true)
}

fn polygon(path: &BezPath) -> Polygon {
    let mut points = Vec::new();
    kurbo::flatten(path, 0.005, |element| match element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => points.push((p.x, p.y)),
        _ => {}
    });
    Polygon::new(LineString::from(points), Vec::new())
}

/// No shared area, the gap kept, inside the cloth, and the grain along it: by geo and by the pieces' own coordinates.
fn assert_sound(lay: &ClothLay, pieces: &[CutPiece], cloth: &Cloth) {
    let shapes: Vec<Polygon> = lay.placed.iter().map(|placed| polygon(&placed.outline)).collect();
    for (i, a) in shapes.iter().enumerate() {
        let placed = &lay.placed[i];
        let bounds = a.bounding_rect().expect("an extent");
        assert!(bounds.min().x > -0.02 && bounds.min().y > -0.02, "{} leaves the cloth", placed.piece);
        assert!(bounds.max().x < lay.length + 0.02 && bounds.max().y < cloth.usable() + 0.02, "{}", placed.piece);
        let piece = pieces.iter().find(|piece| piece.piece.name == placed.piece).expect("known");
        let grain = placed.transform * piece.piece.grain[1] - placed.transform * piece.piece.grain[0];
        let off = grain.y.atan2(grain.x.abs()).to_degrees().abs();
        assert!(off <= cloth.grain + 1e-6, "{} is {off}° off grain", placed.piece);
        assert!(cloth.way != Way::One || grain.x > 0.0, "{} lies against the nap", placed.piece);
        let full = if piece.piece.fold().is_some() && !placed.on_fold { 2.0 } else { 1.0 };
        assert!((a.unsigned_area() / piece.cut_line.area().abs() - full).abs() < 1e-3, "{} has its size", placed.piece);
        for b in &shapes[i + 1..] {
            assert!(a.intersection(b).unsigned_area() < 1e-9, "{} overlaps", placed.piece);
            assert!(cloth.gap <= 0.0 || Euclidean.distance(a, b) >= cloth.gap - 0.01, "{} is too near", placed.piece);
        }
    }
    let copies: u32 = lay.placed.iter().map(|placed| placed.copies).sum();
    assert_eq!(copies, pieces.iter().map(|piece| piece.piece.cut.count).sum::<u32>());
}

#[test]
fn single_and_folded() {
    let pieces = garment();
    for way in [Way::Either, Way::Garment, Way::One] {
        for folded in [false, true] {
            let cloth = cloth(folded, way);
            let (lay, _) = laid(&pieces, &cloth, 20_000).expect("lays");
            assert_sound(&lay, &pieces, &cloth);
            assert_eq!(lay.placed.iter().filter(|placed| placed.on_fold).count(), usize::from(folded));
            // Pairs lie in both layers, and the front against the fold.
            assert_eq!(lay.placed.len(), if folded { 3 } else { 5 });
        }
    }
}

#[test]
fn the_same_every_time_and_better_with_more_trials() {
    let pieces = garment();
    let cloth = cloth(false, Way::Either);
    let lays = [5_000, 5_000, 200_000].map(|trials| laid(&pieces, &cloth, trials).expect("lays").0);
    assert_eq!(lays[0], lays[1]);
    assert!(lays[2].length <= lays[0].length);
}

#[test]
fn flaws_are_left_out() {
    let pieces = garment();
    for folded in [false, true] {
        let cloth = Cloth { flaws: vec![[100.0, 260.0, 700.0, 760.0]], ..cloth(folded, Way::Either) };
        let (lay, _) = laid(&pieces, &cloth, 20_000).expect("lays");
        // Across from one edge, 700 to 760 of 1143 mm: from the fold at 571.5 it is 128.5 to 188.5.
        let (low, high) = if folded { (128.5, 188.5) } else { (700.0 - 12.7, 760.0 - 12.7) };
        let flaw = geo::Rect::new((100.0, low), (260.0, high)).to_polygon();
        assert!(lay.placed.iter().all(|placed| polygon(&placed.outline).intersection(&flaw).unsigned_area() < 1e-9));
        let mut on_it = lay.clone();
        let by = Vec2::new(180.0, f64::midpoint(low, high)) - on_it.placed[1].outline.bounding_box().center().to_vec2();
        shift(&mut on_it, 1, by);
        on_it.placed.truncate(2);
        assert!(prove_cloth(&on_it, &[Garment { person: "Ida", pieces: &pieces, ties: &[] }], &cloth).is_err());
    }
}

fn shift(lay: &mut ClothLay, index: usize, by: Vec2) {
    let placed = &mut lay.placed[index];
    placed.outline.apply_affine(Affine::translate(by));
    placed.transform = Affine::translate(by) * placed.transform;
}

/// A sound lay, and the same lay with one fault after the other.
#[test]
fn the_proof_catches_seeded_faults() {
    let pieces = garment();
    let garments = [Garment { person: "Ida", pieces: &pieces, ties: &[] }];
    for (folded, way) in [(false, Way::One), (true, Way::Garment)] {
        let cloth = cloth(folded, way);
        let (sound, _) = laid(&pieces, &cloth, 5_000).expect("lays");
        prove_cloth(&sound, &garments, &cloth).expect("sound");
        let last = sound.placed.len() - 1;
        let turn = |lay: &mut ClothLay, by: Affine| {
            let placed = &mut lay.placed[last];
            let middle = placed.outline.bounding_box().center().to_vec2();
            let about = Affine::translate(middle) * by * Affine::translate(-middle);
            placed.outline.apply_affine(about);
            placed.transform = about * placed.transform;
        };
        let caught = |what: &str, word: &str, spoil: &dyn Fn(&mut ClothLay)| {
            let mut lay = sound.clone();
            spoil(&mut lay);
            let finding = prove_cloth(&lay, &garments, &cloth).expect_err(what);
            assert!(finding.message.contains(word), "{what}: {finding}");
        };
        caught("one copy less", "copies", &|lay| lay.placed.truncate(last));
        if !folded {
            caught("one mirrored copy too many", "copies", &|lay| {
                lay.placed[last].transform = Affine::FLIP_Y * lay.placed[last].transform;
            });
        }
        caught("drawn elsewhere than it lies", "not where", &|lay| {
            lay.placed[last].outline.apply_affine(Affine::translate((0.1, 0.0)));
        });
        caught("half a degree off the grain", "off", &|lay| turn(lay, Affine::rotate(0.5_f64.to_radians())));
        caught("a half turn", "lies", &|lay| turn(lay, Affine::rotate(std::f64::consts::PI)));
        caught("on the other", "mm from", &|lay| {
            // The back is smaller than the sleeve and stays on the cloth.
            let [a, b] = [last, 1].map(|index| lay.placed[index].outline.bounding_box().center());
            shift(lay, 1, a - b);
        });
        caught("over the selvedge", "leaves the cloth", &|lay| {
            let top = lay.placed[last].outline.bounding_box().y1;
            shift(lay, last, Vec2::new(0.0, cloth.usable() - top + 0.1));
        });
        caught("a longer lay than it says", "leaves the cloth", &|lay| lay.length -= 0.1);
        caught("stretched", "size", &|lay| lay.placed[last].transform *= Affine::scale(1.001));
        if folded {
            caught("off the fold", "fold", &|lay| shift(lay, 0, Vec2::new(0.0, 0.1)));
        }
    }
}

#[test]
fn bad_input_is_said_plainly() {
    let wide = [piece("Cape", &[(0.0, 0.0), (900.0, 0.0), (900.0, 1200.0), (0.0, 1200.0)], false, 1, false)];
    let finding = *laid(&wide, &cloth(false, Way::Either), 100).expect_err("too wide");
    // 1143 − 2 × 12.7 = 1117.6 mm = 44 in; 1200 mm are 82.4 mm more, 3 1/4 in.
    assert_eq!(finding.piece.as_deref(), Some("Cape"));
    assert!(finding.message.contains("3 1/4 in more than the 44 in"), "{finding}");
    let hint = finding.hint.expect("a hint");
    for way in ["cross grain", "join", "a cloth at least"] {
        assert!(hint.contains(way), "{hint}");
    }
    let mut none = garment();
    none[1].piece.cut.count = 0;
    assert!(laid(&none, &cloth(false, Way::Either), 100).expect_err("0 copies").message.contains("0 times"));
    let mut grainless = garment();
    grainless[1].piece.grain[1] = grainless[1].piece.grain[0];
    assert!(laid(&grainless, &cloth(false, Way::Either), 100).expect_err("no grain").message.contains("no grain"));
    let no_width = Cloth { width: 0.0, ..cloth(false, Way::Either) };
    assert!(laid(&garment(), &no_width, 100).expect_err("no width").message.contains("no width"));
    let other = Cloth { cut_as: "lining".into(), ..cloth(false, Way::Either) };
    assert!(laid(&garment(), &other, 100).expect_err("nothing").message.contains("lining"));
    let mut many = garment();
    many[1].piece.cut.count = u32::MAX;
    assert!(laid(&many, &cloth(false, Way::Either), 100).expect_err("too many").message.contains("copies"));
    let short = Cloth { length: 300.0, ..cloth(false, Way::Either) };
    let (_, findings) = laid(&garment(), &short, 1000).expect("lays");
    assert!(findings.iter().any(|finding| finding.message.contains("too short")));
    let long = Cloth { length: 5000.0, ..cloth(false, Way::Either) };
    assert!(laid(&garment(), &long, 1000).expect("lays").1.is_empty());
}

#[test]
fn grain_within_its_tolerance_and_on_the_cross() {
    let mut pieces = garment();
    // Binding on the cross: grain at 45° to its sides.
    let mut bias = piece("Binding", &[(0.0, 0.0), (400.0, 0.0), (400.0, 60.0), (0.0, 60.0)], false, 1, false);
    bias.piece.grain = [Point::new(180.0, 10.0), Point::new(220.0, 50.0)];
    pieces.push(bias);
    let cloth = Cloth { grain: 2.0, ..cloth(false, Way::Either) };
    let (lay, _) = laid(&pieces, &cloth, 60_000).expect("lays");
    assert_sound(&lay, &pieces, &cloth);
    let garments = [Garment { person: "Ida", pieces: &pieces, ties: &[] }];
    let last = lay.placed.len() - 1;
    assert_eq!(lay.placed[last].piece, "Binding");
    // Its box is as wide as it is high on the cloth, or nearly, where it lies within 2° of the cross.
    let bounds = lay.placed[last].outline.bounding_box();
    assert!((bounds.width() - bounds.height()).abs() < 400.0 * 0.1, "{bounds:?}");
    for degrees in [45.0_f64, 4.5] {
        let mut off = lay.clone();
        let middle = bounds.center().to_vec2();
        let about = Affine::translate(middle) * Affine::rotate(degrees.to_radians()) * Affine::translate(-middle);
        off.placed[last].outline.apply_affine(about);
        off.placed[last].transform = about * off.placed[last].transform;
        let finding = prove_cloth(&off, &garments, &cloth).expect_err("off the grain");
        assert!(finding.message.contains("grain is"), "{finding}");
    }
}

#[test]
fn locked_pieces_stay_and_others_lie_around_them() {
    let pieces = garment();
    let cloth = cloth(false, Way::Either);
    let (first, _) = laid(&pieces, &cloth, 5_000).expect("lays");
    // Written, locked by hand, and read again.
    let text = keep::write(&first, &cloth);
    assert!(keep::read(&text, "first.lay.kdl").expect("reads").is_empty(), "nothing is locked yet");
    let text = text.replacen("piece \"Front\" for=\"Ida\"", "piece \"Front\" for=\"Ida\" locked=#true", 1);
    let text = text.replacen("piece \"Sleeve\" for=\"Ida\"", "piece \"Sleeve\" for=\"Mo\" locked=#true", 1);
    let kept = keep::read(&text, "first.lay.kdl").expect("reads");
    assert_eq!(kept.len(), 2);
    let garments = [Garment { person: "Ida", pieces: &pieces, ties: &[] }];
    let (lay, _) = lay_on_cloth(&garments, &cloth, &kept, &budget(20_000), &mut |_| true).expect("lays");
    // Ida's front is where it was; Mo's sleeve is worked around and is one more than Ida asked for.
    assert_eq!(lay.placed.len(), first.placed.len() + 1);
    let front = lay.placed.iter().find(|placed| placed.piece == "Front").expect("laid");
    assert_eq!(front.transform, first.placed.iter().find(|placed| placed.piece == "Front").expect("laid").transform);
    let mut own = lay.clone();
    let other = own.placed.pop().expect("Mo's");
    assert!(other.origin == Origin::Other && other.person == "Mo");
    assert_sound(&own, &pieces, &cloth);
    let foreign = polygon(&other.outline);
    for placed in &own.placed {
        assert!(Euclidean.distance(&polygon(&placed.outline), &foreign) >= cloth.gap - 0.01, "{}", placed.piece);
    }
    // Two that lie on one another, and one beyond a narrower cloth, are refused with what to do.
    let mut twice = kept.clone();
    twice[1].outline = kept[0].outline.clone();
    let narrow = Cloth { width: 600.0, ..cloth.clone() };
    for (kept, cloth) in [(&twice, &cloth), (&kept, &narrow)] {
        let finding = lay_on_cloth(&garments, cloth, kept, &budget(1000), &mut |_| true).expect_err("refused");
        assert!(finding.hint.is_some_and(|hint| hint.contains("unlock")), "{}", finding.message);
    }
    for bad in [
        "lay \"x\" { piece \"a\" locked=#true; }",
        "lay \"x\" { piece \"a\" for=\"b\" at=\"1 2\" locked=#true { outline \"M0 0\"; }; }",
    ] {
        assert!(keep::read(bad, "bad.lay.kdl").is_err(), "{bad}");
    }
}

#[test]
fn the_remnant_is_the_largest_rectangle() {
    let pieces = garment();
    for folded in [false, true] {
        let cloth = Cloth { flaws: vec![[1300.0, 1310.0, 300.0, 310.0]], length: 1400.0, ..cloth(folded, Way::Either) };
        let (lay, _) = laid(&pieces, &cloth, 20_000).expect("lays");
        let shapes: Vec<Polygon> = lay.placed.iter().map(|placed| polygon(&placed.outline)).collect();
        let rest = geo::Rect::new((lay.largest.x0, lay.largest.y0), (lay.largest.x1, lay.largest.y1)).to_polygon();
        assert!(lay.largest.x1 <= lay.remnant[1] + 1e-6 && lay.largest.y1 <= cloth.usable() + 1e-6);
        assert!(shapes.iter().all(|shape| shape.intersection(&rest).unsigned_area() < 1e-6), "clear of all pieces");
        // By trial on a coarse grid, with geo: no rectangle is larger but for the rows' height on either side.
        let clear = |a: [f64; 2], b: [f64; 2]| {
            let tried = geo::Rect::new((a[0], a[1]), (b[0], b[1])).to_polygon();
            shapes.iter().all(|shape| shape.intersection(&tried).unsigned_area() < 1e-6)
                && oaktag::lay::cloth::on_lay(&cloth)
                    .iter()
                    .all(|[x0, x1, low, high]| b[0] <= *x0 || a[0] >= *x1 || b[1] <= *low || a[1] >= *high)
        };
        let xs: Vec<f64> = (0..=10).map(|n| lay.remnant[1] * f64::from(n) / 10.0).collect();
        let ys: Vec<f64> = (0..=6).map(|n| cloth.usable() * f64::from(n) / 6.0).collect();
        for (i, x0) in xs.iter().enumerate() {
            for x1 in &xs[i + 1..] {
                for (j, y0) in ys.iter().enumerate() {
                    for y1 in &ys[j + 1..] {
                        let area = (x1 - x0) * (y1 - y0);
                        let inner = (x1 - x0) * (y1 - y0 - 10.0).max(0.0);
                        if inner > lay.largest.area() + 1.0 {
                            assert!(!clear([*x0, *y0], [*x1, *y1]), "{area} is larger than {:?}", lay.largest);
                        }
                    }
                }
            }
        }
    }
}

#[test]
fn one_piece_alone_is_as_long_as_it_is() {
    // Nothing is shorter than its one piece, whatever the search does.
    let alone = [piece("Apron", &[(0.0, 0.0), (700.0, 0.0), (700.0, 500.0), (0.0, 500.0)], false, 1, false)];
    let (lay, _) = laid(&alone, &cloth(false, Way::Either), 50_000).expect("lays");
    assert!((lay.length - 700.0).abs() < 1e-6, "{}", lay.length);
}

/// Half of three hundred distinct pieces, laid section by section; the full count is in the ignored test.
#[test]
fn many_pieces_are_laid_in_sections() {
    many(150);
}

#[test]
#[ignore = "minutes"]
fn two_thousand_pieces_are_laid() {
    many(2000);
}

fn many(count: usize) {
    let mut random = Random(17);
    let pieces: Vec<CutPiece> = (0..count)
        .map(|n| {
            let mut piece = generated(&mut random, &format!("Piece {n}"));
            piece.piece.cut.count = 1;
            piece
        })
        .collect();
    let cloth = Cloth { grain: 1.0, ..cloth(false, Way::Either) };
    let began = std::time::Instant::now();
    let (lay, _) = laid(&pieces, &cloth, 20_000).expect("lays");
    println!(
        "{count} pieces, {:.0} mm, {:.1} %, {:.0} s",
        lay.length,
        100.0 * lay.density,
        began.elapsed().as_secs_f64()
    );
    assert_eq!(lay.placed.len(), count);
    // Stopped at once it still lays all.
    if count < 200 {
        let garments = [Garment { person: "Ida", pieces: &pieces, ties: &[] }];
        let (stopped, _) = lay_on_cloth(&garments, &cloth, &[], &budget(20_000), &mut |_| false).expect("lays");
        assert_eq!(stopped.placed.len(), count);
        assert!(stopped.length >= lay.length);
    }
}

/// Random numbers that are the same every time: the 64-bit linear congruential generator of Knuth's MMIX.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + self.next() * (high - low)
    }
}

/// Star-shaped about a middle, so that it never crosses itself; a piece on the fold is a half of such a star.
fn generated(random: &mut Random, name: &str) -> CutPiece {
    let fold = random.next() < 0.25;
    let corners = 4 + (random.next() * 6.0) as usize;
    let radius = random.between(60.0, 300.0);
    let round = if fold { std::f64::consts::PI } else { std::f64::consts::TAU };
    let mut points: Vec<(f64, f64)> = (0..corners)
        .map(|corner| {
            let part = (corner as f64 + 0.1 + 0.8 * random.next()) / corners as f64;
            let long = radius * random.between(0.3, 1.0);
            (long * (part * round).cos(), long * (part * round).sin())
        })
        .collect();
    if fold {
        points.splice(0..0, [(-radius, 0.0), (radius, 0.0)]);
    }
    let mut made = piece(name, &points, fold, 1 + (random.next() * 3.0) as u32, random.next() < 0.5);
    if !fold {
        made.piece.grain[1] = made.piece.grain[0] + Vec2::from_angle(random.between(0.0, round)) * 40.0;
    }
    made
}

fn generated_lays(count: usize, seed: u64) -> usize {
    let mut random = Random(seed);
    let mut laid_pieces = 0;
    for _ in 0..count {
        let pieces: Vec<CutPiece> =
            (0..2 + (random.next() * 3.0) as usize).map(|n| generated(&mut random, &format!("Piece {n}"))).collect();
        let way = [Way::Either, Way::Garment, Way::One][(random.next() * 3.0) as usize];
        let cloth = Cloth {
            way,
            folded: random.next() < 0.4,
            gap: if random.next() < 0.3 { 0.0 } else { random.between(0.5, 8.0) },
            grain: if random.next() < 0.2 { random.between(0.5, 4.0) } else { 0.0 },
            width: random.between(1250.0, 1600.0),
            ..Cloth::plain("main cloth", 0.0, Unit::Centimetre)
        };
        let (lay, _) = laid(&pieces, &cloth, 1500).expect("lays");
        assert_sound(&lay, &pieces, &cloth);
        laid_pieces += lay.placed.len();
    }
    laid_pieces
}

#[test]
fn generated_lays_are_sound() {
    assert!(generated_lays(250, 1) > 500);
}

/// The full count; its result is in `tests/results/lay.txt`.
#[test]
#[ignore = "minutes"]
fn ten_thousand_generated_lays_are_sound() {
    println!("10000 lays, {} pieces, no overlap, no wrong grain", generated_lays(10_000, 2));
}
