//! Lays, checked by means other than the program's own.

use geo::{Area, BooleanOps, Contains, Distance, Euclidean, LineString, Polygon, Rect};
use kurbo::{Affine, BezPath, PathEl, Point, Shape};
use oaktag::device::{Medium, MediumKind};
use oaktag::lay::{Copies, Sheet, lay, verify};
use oaktag::mark::{MarkedPiece, Stroke};
use oaktag::piece::Cut;
use oaktag::role::Role;

fn roll() -> Medium {
    // 36 in of pattern paper: 914.4 mm exactly (36 × 25.4).
    let kind = MediumKind::Roll { width: 914.4, longest: 30_000.0 };
    Medium { name: "paper".into(), kind, margin: 10.0, gap: 5.0 }
}

fn card() -> Medium {
    // A1, ISO 216: 594 × 841 mm.
    Medium { name: "card".into(), kind: MediumKind::Sheet { width: 841.0, height: 594.0 }, margin: 8.0, gap: 6.0 }
}

fn piece(name: &str, outline: &str, count: u32, mirrored: bool) -> MarkedPiece {
    let outline = BezPath::from_svg(outline).expect("a path");
    let middle = outline.bounding_box().center();
    let strokes = vec![Stroke { role: Role::Cut, edge: String::new(), path: outline.clone() }];
    MarkedPiece {
        name: name.into(),
        person: "Ida".into(),
        cut: Cut { count, mirrored, cloth: "main".into() },
        outline,
        grain: [middle, middle + (0.0, 50.0)],
        on_fold: false,
        strokes,
    }
}

/// A bodice half: straight centre, curved armhole and neck, slanting shoulder.
fn bodice(name: &str, scale: f64) -> MarkedPiece {
    let mut piece =
        piece(name, "M0 0 L240 10 L250 220 C200 230 190 300 205 380 L75 410 C70 350 40 330 0 325 Z", 2, true);
    let grow = Affine::scale(scale);
    piece.outline.apply_affine(grow);
    piece.strokes.iter_mut().for_each(|stroke| stroke.path.apply_affine(grow));
    piece.grain = piece.grain.map(|point| grow * point);
    piece
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

/// A star-shaped outline of cubics about a middle: concave more often than not.
fn blob(random: &mut Random, name: &str, largest: f64) -> MarkedPiece {
    let corners = 5 + (random.next() * 6.0) as usize;
    let radius = random.between(0.15, 0.5) * largest;
    let at: Vec<Point> = (0..corners)
        .map(|corner| {
            let angle = (corner as f64 + 0.8 * random.next()) / corners as f64 * std::f64::consts::TAU;
            let long = radius * random.between(0.3, 1.0);
            Point::new(long * angle.cos(), long * angle.sin())
        })
        .collect();
    let mut path = BezPath::new();
    path.move_to(at[0]);
    for corner in 0..corners {
        let (from, to) = (at[corner], at[(corner + 1) % corners]);
        if random.next() < 0.5 {
            path.line_to(to);
        } else {
            let bent = Affine::scale(0.9);
            path.curve_to(bent * from.lerp(to, 0.3), bent * from.lerp(to, 0.7), to);
        }
    }
    path.close_path();
    let mut piece = piece(name, &path.to_svg(), 1 + (random.next() * 3.0) as u32, random.next() < 0.5);
    piece.grain[1] = piece.grain[0] + kurbo::Vec2::from_angle(random.between(0.0, 6.28)) * 40.0;
    piece
}

fn polygon(path: &BezPath) -> Polygon {
    let mut points = Vec::new();
    kurbo::flatten(path, 0.005, |element| match element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => points.push((p.x, p.y)),
        _ => {}
    });
    Polygon::new(LineString::from(points), Vec::new())
}

/// Every pair of pieces is apart by the gap and shares no area, and all lies within the margins, by geo's Boolean
/// operations and distances between all pairs, without the program's own checks.
fn assert_sound(sheet: &Sheet, medium: &Medium) {
    let shapes: Vec<Polygon> = sheet.placed.iter().map(|placed| polygon(&placed.outline)).collect();
    let margin = medium.margin - 1e-6;
    let inside = Rect::new((margin, margin), (sheet.width - margin, sheet.height - margin)).to_polygon();
    let square: Vec<Polygon> = sheet
        .strokes
        .iter()
        .filter(|stroke| stroke.placed.is_none() && stroke.edge == "check square")
        .map(|stroke| polygon(&stroke.path))
        .collect();
    assert_eq!(square.len(), 1, "one check square");
    assert!((square[0].unsigned_area() - sheet.square * sheet.square).abs() < 1e-9);
    for (i, a) in shapes.iter().enumerate() {
        assert!(inside.contains(a), "{} leaves the margins", sheet.placed[i].piece);
        assert!(Euclidean.distance(a, &square[0]) >= medium.gap - 0.01);
        for (j, b) in shapes.iter().enumerate().skip(i + 1) {
            let (names, shared) = ((&sheet.placed[i].piece, &sheet.placed[j].piece), a.intersection(b).unsigned_area());
            assert_eq!(shared, 0.0, "{names:?} overlap");
            let distance = Euclidean.distance(a, b);
            assert!(distance >= medium.gap - 0.01, "{names:?} lie {distance} apart");
        }
    }
}

#[test]
fn random_pieces_lie_apart_and_inside() {
    let mut random = Random(7);
    for medium in [roll(), card(), Medium { gap: 0.0, ..roll() }] {
        for round in 0..4 {
            let pieces: Vec<MarkedPiece> = (0..12).map(|n| blob(&mut random, &format!("{round}.{n}"), 500.0)).collect();
            let (sheets, _) = lay(&pieces, &medium, Copies::All, "not calibrated").expect("all fit");
            let count: usize = sheets.iter().map(|sheet| sheet.placed.len()).sum();
            assert_eq!(count, pieces.iter().map(|piece| piece.cut.count as usize).sum::<usize>());
            sheets.iter().for_each(|sheet| assert_sound(sheet, &medium));
        }
    }
}

#[test]
fn two_hundred_pieces_are_quick() {
    let mut random = Random(3);
    let pieces: Vec<MarkedPiece> = (0..200)
        .map(|n| {
            let mut piece = blob(&mut random, &n.to_string(), 400.0);
            piece.cut.count = 1;
            piece
        })
        .collect();
    let start = std::time::Instant::now();
    let (sheets, _) = lay(&pieces, &roll(), Copies::All, "not calibrated").expect("all fit");
    let took = start.elapsed();
    let area: f64 = sheets[0].placed.iter().map(|placed| placed.outline.area()).sum();
    println!("{took:?}, {:.0} mm, {:.1} %", sheets[0].width, 100.0 * area / sheets[0].width / sheets[0].height);
    assert!(took.as_secs_f64() < 1.0, "{took:?}");
}

#[test]
fn bodice_blocks_lie_on_card() {
    let pieces = [bodice("Front", 1.0), bodice("Back", 0.97)];
    let (sheets, findings) = lay(&pieces, &card(), Copies::One, "not calibrated").expect("fits");
    assert!(findings.is_empty());
    assert_eq!(sheets.len(), 1);
    assert_eq!(sheets[0].placed.len(), 2);
    assert_sound(&sheets[0], &card());
    verify(&sheets[0], &card()).expect("sound");
}
