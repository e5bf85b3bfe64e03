//! Lays, checked by means other than the program's own.

use geo::{Area, BooleanOps, Contains, Distance, Euclidean, LineString, Polygon, Rect};
use kurbo::{Affine, BezPath, PathEl, Point, Shape};
use oaktag::device::{Medium, MediumKind};
use oaktag::lay::search::Budget;
use oaktag::lay::{Copies, Placed, QUICK, Sheet, lay, lay_on_stock, verify};
use oaktag::mark::{MarkedPiece, Stroke};
use oaktag::piece::Cut;
use oaktag::role::Role;

fn roll() -> Medium {
    // 36 in of pattern paper: 914.4 mm exactly (36 × 25.4).
    let kind = MediumKind::Roll { width: 914.4, longest: 30_000.0 };
    Medium::plain("paper", kind, 10.0, 5.0)
}

fn card() -> Medium {
    // A1, ISO 216: 594 × 841 mm.
    Medium::plain("card", MediumKind::Sheet { width: 841.0, height: 594.0 }, 8.0, 6.0)
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
    piece.grain[1] = piece.grain[0] + kurbo::Vec2::from_angle(random.between(0.0, std::f64::consts::TAU)) * 40.0;
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
    let [left, right, bottom, top] =
        [medium.margins.left, medium.margins.right, medium.margins.bottom, medium.margins.top].map(|m| m - 1e-6);
    let inside = Rect::new((left, bottom), (sheet.width - right, sheet.height - top)).to_polygon();
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
            assert!(shared < 1e-9, "{names:?} overlap by {shared} mm²");
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
            for sheet in &sheets {
                assert_sound(sheet, &medium);
            }
        }
    }
}

#[test]
fn slips_keep_their_room() {
    let slip = |name: &str| {
        let mut small = piece(name, "M0 0 L40 0 L40 20 L0 20 Z", 2, true);
        let frame = BezPath::from_svg("M0 24 L60 24 L60 40 L0 40 Z").expect("a path");
        small.strokes.push(Stroke { role: Role::Label, edge: oaktag::mark::SLIP.into(), path: frame });
        small
    };
    let pieces: Vec<MarkedPiece> = ["Flap", "Tab", "Loop", "Welt"].map(slip).into();
    for medium in [roll(), card()] {
        let (sheets, _) = lay(&pieces, &medium, Copies::All, "not calibrated").expect("fits");
        let frames = |sheet: &Sheet| -> Vec<(Option<usize>, Polygon)> {
            let frames = sheet.strokes.iter().filter(|stroke| stroke.edge == oaktag::mark::SLIP);
            frames.map(|stroke| (stroke.placed, polygon(&stroke.path))).collect()
        };
        for sheet in &sheets {
            let frames = frames(sheet);
            assert_eq!(frames.len(), sheet.placed.len());
            for (of, frame) in &frames {
                for (index, placed) in sheet.placed.iter().enumerate() {
                    let distance = Euclidean.distance(frame, &polygon(&placed.outline));
                    let least = if *of == Some(index) { 3.9 } else { medium.gap - 0.01 };
                    assert!(distance >= least, "{of:?} {index}: {distance}");
                }
            }
            verify(sheet, &medium).expect("sound");
            // A seeded fault: a slip on another piece.
            let mut spoilt = sheet.clone();
            let to = spoilt.placed[1].outline.bounding_box().center();
            let stroke = spoilt.strokes.iter_mut().find(|s| s.edge == oaktag::mark::SLIP && s.placed == Some(0));
            let path = &mut stroke.expect("a slip").path;
            path.apply_affine(Affine::translate(to - path.bounding_box().center()));
            assert!(verify(&spoilt, &medium).expect_err("an overlap").message.contains("a slip"));
            // Another: on its own piece.
            let mut spoilt = sheet.clone();
            let to = spoilt.placed[0].outline.bounding_box().center();
            let stroke = spoilt.strokes.iter_mut().find(|s| s.edge == oaktag::mark::SLIP && s.placed == Some(0));
            let path = &mut stroke.expect("a slip").path;
            path.apply_affine(Affine::translate(to - path.bounding_box().center()));
            assert!(verify(&spoilt, &medium).expect_err("an overlap").message.contains("a slip"));
        }
    }
}

/// A sound sheet, and the same sheet with one fault after the other.
#[test]
fn verify_catches_seeded_faults() {
    let pieces = [bodice("Front", 1.0), bodice("Back", 0.97), bodice("Yoke", 0.4)];
    for medium in [roll(), Medium { gap: 0.0, ..roll() }] {
        let (sheets, _) = lay(&pieces, &medium, Copies::All, "not calibrated").expect("fits");
        let sound = &sheets[0];
        verify(sound, &medium).expect("sound");
        let caught = |what: &str, expected: &str, spoil: &dyn Fn(&mut Sheet)| {
            let mut sheet = sound.clone();
            spoil(&mut sheet);
            let finding = verify(&sheet, &medium).expect_err(what);
            assert!(finding.message.contains(expected), "{what}: {finding}");
        };
        let shift = |sheet: &mut Sheet, index: usize, by: kurbo::Vec2| {
            let shift = Affine::translate(by);
            sheet.placed[index].outline.apply_affine(shift);
            sheet.placed[index].transform = shift * sheet.placed[index].transform;
            for stroke in sheet.strokes.iter_mut().filter(|stroke| stroke.placed == Some(index)) {
                stroke.path.apply_affine(shift);
            }
        };
        let middle = |sheet: &Sheet, index: usize| sheet.placed[index].outline.bounding_box().center();
        caught("one on the other", "overlap", &|sheet| {
            let by = middle(sheet, 0) - middle(sheet, 1);
            shift(sheet, 1, by);
        });
        caught("a small one within a large one", "overlap", &|sheet| {
            let by = middle(sheet, 0) - middle(sheet, 4);
            shift(sheet, 4, by);
        });
        caught("a piece on the check square", "\"the check square\"", &|sheet| {
            // Alone on the sheet, so that nothing else is in the way.
            sheet.strokes.retain(|stroke| stroke.placed.is_none_or(|index| index == 4));
            sheet.strokes.iter_mut().for_each(|stroke| stroke.placed = stroke.placed.map(|_| 0));
            sheet.placed.drain(..4);
            sheet.placed.truncate(1);
            let square = sheet.strokes.iter().find(|stroke| stroke.edge == "check square").expect("there is one");
            let to = square.path.bounding_box().center();
            // The square may lie at the edge, which the piece is not to leave.
            let half = sheet.placed[0].outline.bounding_box().size() / 2.0;
            let within = |at: f64, half: f64, whole: f64| at.clamp(10.0 + half, whole - 10.0 - half);
            let to = Point::new(within(to.x, half.width, sheet.width), within(to.y, half.height, sheet.height));
            let by = to - middle(sheet, 0);
            shift(sheet, 0, by);
        });
        caught("half a millimetre over the lower margin", "margins", &|sheet| {
            let lowest = |sheet: &Sheet, index: usize| sheet.placed[index].outline.bounding_box().y0;
            let first = (0..sheet.placed.len()).min_by(|a, b| lowest(sheet, *a).total_cmp(&lowest(sheet, *b)));
            let first = first.expect("a piece");
            let by = (0.0, 9.5 - lowest(sheet, first)).into();
            shift(sheet, first, by);
        });
        caught("a stray stroke", "margins", &|sheet| {
            sheet.strokes[7].path.apply_affine(Affine::translate((0.0, 900.0)));
        });
        caught("a stretched piece", "keep its size", &|sheet| {
            sheet.placed[0].transform *= Affine::scale(1.001);
        });
        caught("no number", "not a number", &|sheet| sheet.placed[0].outline.line_to((f64::NAN, 0.0)));
        caught("a narrower sheet", "the sheet is", &|sheet| sheet.height -= 1.0);
        caught("a sheet that ends too soon", "margins", &|sheet| sheet.width -= 0.1);
        if medium.gap > 0.0 {
            // From 5 mm apart to 4.9 mm: towards the nearest neighbour in tenths until the gap is short.
            let mut sheet = sound.clone();
            let shapes: Vec<Polygon> = sheet.placed.iter().map(|placed| polygon(&placed.outline)).collect();
            let nearest = (1..shapes.len())
                .min_by(|a, b| {
                    let [a, b] = [a, b].map(|n| Euclidean.distance(&shapes[0], &shapes[*n]));
                    a.total_cmp(&b)
                })
                .expect("a neighbour");
            let slack = Euclidean.distance(&shapes[0], &shapes[nearest]) - medium.gap;
            assert!((-0.01..1.0).contains(&slack), "{slack}");
            let towards = middle(&sheet, 0) - middle(&sheet, nearest);
            let mut moved = 0;
            let finding = loop {
                shift(&mut sheet, nearest, towards / towards.hypot() * 0.1);
                moved += 1;
                assert!(moved < 50, "pushed 5 mm, and nothing was said");
                if let Err(finding) = verify(&sheet, &medium) {
                    break finding;
                }
            };
            assert!(finding.message.contains("and need 5.00 mm"), "{finding}");
        }
    }
}

/// A closed triangle as a stand-in for a letter: which way round it runs shows whether it is mirrored.
fn letter(at: Point, direction: f64) -> BezPath {
    let place = Affine::translate(at.to_vec2()) * Affine::rotate(direction);
    place * BezPath::from_svg("M0 0 L30 0 L0 8 Z").expect("a path")
}

#[test]
fn mirrored_copies_stay_readable() {
    for direction in [0.0, 90.0, 180.0, 37.0_f64].map(f64::to_radians) {
        let mut front = bodice("Front", 1.0);
        let at = Point::new(100.0, 120.0);
        front.strokes.push(Stroke { role: Role::Label, edge: String::new(), path: letter(at, direction) });
        front.strokes.push(Stroke { role: Role::Notch, edge: "side".into(), path: letter(at, direction) });
        let (sheets, _) = lay(&[front], &roll(), Copies::All, "").expect("fits");
        let placed = |copy: usize, role: Role| {
            let found = sheets[0].strokes.iter().find(|s| s.placed == Some(copy) && s.role == role);
            &found.expect("drawn on each copy").path
        };
        let transforms = [0, 1].map(|copy| sheets[0].placed[copy].transform);
        assert!(transforms[0].determinant() > 0.0 && transforms[1].determinant() < 0.0);
        assert!(
            placed(0, Role::Label).area() > 0.0 && placed(1, Role::Label).area() > 0.0,
            "{direction}: not readable"
        );
        // All else is mirrored, which the same measure sees.
        assert!(placed(0, Role::Notch).area() > 0.0 && placed(1, Role::Notch).area() < 0.0);
        for copy in [0, 1] {
            assert!(sheets[0].placed[copy].outline.area() > 0.0, "counter-clockwise");
            // The writing fills the same box as it would if it were mirrored along with the piece.
            let [a, b] = [placed(copy, Role::Label), placed(copy, Role::Notch)].map(Shape::bounding_box);
            if direction.to_degrees() % 90.0 == 0.0 {
                let strays = [a.x0 - b.x0, a.x1 - b.x1, a.y0 - b.y0, a.y1 - b.y1];
                assert!(strays.into_iter().all(|stray| stray.abs() < 1e-9), "{direction}: {a:?} {b:?}");
            }
            assert!(a.center().distance(b.center()) < 5.0, "{direction}: {a:?} {b:?}");
        }
    }
}

/// Pieces at several angles to their grain: on a roll it runs along the feed, on a sheet along one of the sides.
#[test]
fn the_grain_runs_along_the_feed() {
    let mut random = Random(21);
    let pieces: Vec<MarkedPiece> = (0..8).map(|n| blob(&mut random, &n.to_string(), 300.0)).collect();
    for (medium, all) in [(roll(), false), (card(), true)] {
        let (sheets, _) = lay(&pieces, &medium, Copies::All, "").expect("fits");
        for placed in sheets.iter().flat_map(|sheet| &sheet.placed) {
            let piece = pieces.iter().find(|piece| piece.name == placed.piece).expect("known");
            let grain = placed.transform * piece.grain[1] - placed.transform * piece.grain[0];
            let astray = if all { grain.x.abs().min(grain.y.abs()) } else { grain.y.abs() };
            assert!(astray < 1e-9 && grain.hypot() > 1.0, "{grain:?}");
        }
    }
}

#[test]
fn a_piece_too_large_is_told_by_how_much() {
    // 950 × 920 mm on 914.4 mm less two margins of 10, 894.4: 25.6 mm too wide even when it is turned. 25.6 mm are 16.1
    // sixteenths of an inch, 950 mm are 37.40 in; 920 + 20 = 940 mm are 37.01 in, in eighths 37 1/8 (1 in = 25.4 mm).
    let cape = piece("Cape", "M0 0 L950 0 L950 920 L0 920 Z", 1, false);
    let finding = *lay(&[cape], &roll(), Copies::One, "").expect_err("too wide");
    assert_eq!(finding.piece.as_deref(), Some("Cape"));
    for words in ["37 3/8 in × 36 1/4 in (950 × 920 mm)", "\"paper\" leaves", "1 in (25.6 mm) too large"] {
        assert!(finding.message.contains(words), "{finding}");
    }
    assert!(finding.hint.expect("a hint").contains("at least 37 1/8 in (940 mm) wide"));
    // 950 mm across the grain: along the roll there is no room for it, across it there is.
    let mut wide = piece("Cape", "M0 0 L950 0 L950 400 L0 400 Z", 1, false);
    let short = piece("Cuff", "M0 0 L200 0 L200 300 L0 300 Z", 1, false);
    let both = [wide.clone(), short.clone()];
    let (sheets, told) = lay(&both, &roll(), Copies::One, "").expect("fits across");
    assert_sound(&sheets[0], &roll());
    assert_eq!(told.iter().filter_map(|finding| finding.piece.as_deref()).collect::<Vec<_>>(), ["Cape"], "{told:?}");
    let along = |placed: &Placed| {
        let piece = both.iter().find(|piece| piece.name == placed.piece).expect("known");
        let [from, to] = piece.grain.map(|end| placed.transform * end);
        (to - from).y.abs() < 1e-9
    };
    assert_eq!(sheets[0].placed.iter().map(along).collect::<Vec<_>>(), [false, true]);
    // Where a wider roll is in stock it lies along that one: what fits unturned stays so.
    let wider = Medium { name: "wide".into(), kind: MediumKind::Roll { width: 1100.0, longest: 5000.0 }, ..roll() };
    let stock = [roll(), wider];
    let laid = searched(&[wide.clone(), short], &stock, 1000);
    assert!(laid[0].medium == "wide" && laid[0].placed.iter().all(along));
    // Turned so that the grain runs along its length it fits.
    wide.grain = [Point::new(100.0, 100.0), Point::new(300.0, 100.0)];
    lay(std::slice::from_ref(&wide), &roll(), Copies::One, "").expect("fits");
    // On card 841 × 594 less two margins of 8: 825 × 578.
    let finding = *lay(&[wide], &card(), Copies::One, "").expect_err("too long");
    assert!(finding.message.contains("(125 mm) too large"), "{finding}");
    assert!(!finding.hint.expect("a hint").contains("cloth-width"));
    // A strip may be cut in shorter lengths: at most the longer of the two, 825 mm: 32.48 in, in eighths 32 3/8.
    let mut strip = piece("Ruffle", "M0 0 L950 0 L950 300 L0 300 Z", 1, false);
    let edge = |name: &str| Stroke { role: Role::Sew, edge: name.into(), path: strip.outline.clone() };
    strip.strokes = ["hem before the start", "hem behind the start", "top", "left end", "right end"].map(edge).into();
    let finding = *lay(&[strip], &card(), Copies::One, "").expect_err("too long");
    assert!(finding.hint.expect("a hint").contains("cloth-width in the style, at most 32 3/8 in (825 mm)"));
}

/// A pocket of 6 1/4 × 7 7/8 in goes on a Letter page (ANSI/ASME Y14.1: 8 1/2 × 11 in) only when it is turned, its grain
/// being drawn along its longer side, and glue would be for nothing.
#[test]
fn a_piece_is_turned_to_fit_one_page() {
    let parts = |text: &str| {
        let (device, _) = oaktag::device::read(text, "letter").expect("reads");
        let medium = device.media[0].clone();
        let [wide, high] = [6.25, 7.875].map(|inches: f64| 25.4 * inches);
        let mut pocket = piece("Pocket", &format!("M0 0 L{wide} 0 L{wide} {high} L0 {high} Z"), 1, false);
        pocket.grain = [Point::new(80.0, 50.0), Point::new(80.0, 150.0)];
        let (sheets, _) = lay(&[pocket], &medium, Copies::One, "not calibrated").expect("fits");
        let of = medium.pages.expect("pages");
        let (w, h) = (of.width - of.margins.left - of.margins.right, of.height - of.margins.bottom - of.margins.top);
        let bounds = sheets[0].placed[0].outline.bounding_box();
        let shows = |page: &oaktag::lay::Page| page.window.intersect(bounds).area() > 0.0;
        oaktag::lay::pages(&sheets[0], w, h, of.overlap).expect("pages").into_iter().filter(shows).count()
    };
    let letter = include_str!("../profiles/home-printer-letter.device.kdl");
    assert_eq!(parts(letter), 1);
    // Seeded: on A5 pages (ISO 216), too small for it either way, it can't be.
    assert!(parts(&letter.replace("size=\"Letter\"", "width=\"148 mm\" height=\"210 mm\"")) > 1);
}

#[test]
fn every_sheet_has_its_check_square() {
    let pieces: Vec<MarkedPiece> = (0..6).map(|n| bodice(&n.to_string(), 1.0)).collect();
    let (sheets, _) = lay(&pieces, &card(), Copies::One, "not calibrated").expect("fits");
    assert!(sheets.len() > 1);
    for sheet in &sheets {
        let extent = |name: &str| {
            let found = sheet.strokes.iter().find(|stroke| stroke.edge == name && stroke.role == Role::Square);
            found.map_or_else(|| panic!("no {name}"), |stroke| stroke.path.bounding_box())
        };
        assert!((extent("check square").width() - 100.0).abs() < 1e-9 && (sheet.square - 100.0).abs() < 1e-9);
        assert!((extent("check square").height() - 100.0).abs() < 1e-9);
        assert!((extent("bar").width() - 100.0).abs() < 1e-9);
        // 2 × 25.4 mm.
        assert!((extent("2 in square").width() - 50.8).abs() < 1e-9);
        assert_sound(sheet, &card());
    }
    // A4 with 10 mm margins takes the small one.
    let kind = MediumKind::Sheet { width: 210.0, height: 297.0 };
    let page = Medium::plain("page", kind, 10.0, 3.0);
    let small = piece("Pocket", "M0 0 L120 0 L120 140 L0 140 Z", 1, false);
    let (sheets, _) = lay(&[small], &page, Copies::One, "not calibrated").expect("fits");
    assert!((sheets[0].square - 50.0).abs() < 1e-9);
    assert_sound(&sheets[0], &page);
    // A piece that leaves room for a square only in its upper right, and one that leaves none.
    let corner = piece("Corner", "M0 0 L825 0 L825 450 L500 450 L500 578 L0 578 Z", 1, false);
    let (sheets, _) = lay(&[corner], &card(), Copies::One, "").expect("fits");
    assert_sound(&sheets[0], &card());
    let full = piece("Full", "M0 0 L824 0 L824 577 L0 577 Z", 1, false);
    let finding = *lay(&[full], &card(), Copies::One, "").expect_err("no room for the square");
    assert!(finding.message.contains("check square"), "{finding}");
}

/// The stamp is lettered beside the square, in lines that are not too long, and what can't be lettered is said.
#[test]
fn the_stamp_is_lettered() {
    let written = |stamp: &str| {
        let (sheets, findings) = lay(&[bodice("Front", 1.0)], &roll(), Copies::One, stamp).expect("fits");
        assert_sound(&sheets[0], &roll());
        let own = sheets[0].strokes.iter().filter(|stroke| stroke.placed.is_none() && stroke.role == Role::Label);
        // Right of the square, whose right side is at 10 + 100 mm.
        let beside: Vec<_> = own.map(|stroke| stroke.path.bounding_box()).filter(|bounds| bounds.x0 > 110.0).collect();
        (beside, findings)
    };
    let (none, _) = written("");
    assert!(none.is_empty());
    let (short, findings) = written("not calibrated");
    assert!(!short.is_empty() && findings.is_empty());
    let (long, _) = written(&"correction 2026-10-02: x 0.9987, y 1.0012, skew 0.0005 ".repeat(3));
    let across = long.iter().copied().reduce(|a, b| a.union(b)).expect("lettered");
    assert!(across.width() < 165.0 && across.height() > 7.0, "{across:?}");
    let (_, findings) = written("snow \u{2603}");
    assert_eq!(findings.len(), 1);
    assert!(findings[0].message.contains('\u{2603}'));
}

#[test]
fn bad_pieces_are_refused() {
    assert!(lay(&[], &roll(), Copies::One, "").is_err());
    let mut nan = bodice("Front", 1.0);
    nan.strokes[0].path.line_to((f64::NAN, 1.0));
    assert!(lay(&[nan], &roll(), Copies::One, "").expect_err("refused").message.contains("not a number"));
    let mut many = bodice("Front", 1.0);
    many.cut.count = u32::MAX;
    assert!(lay(&[many], &roll(), Copies::All, "").expect_err("refused").message.contains("copies"));
}

#[test]
fn the_same_every_time() {
    let mut random = Random(30);
    let pieces: Vec<MarkedPiece> = (0..20).map(|n| blob(&mut random, &n.to_string(), 400.0)).collect();
    let lays = [0, 1].map(|_| lay(&pieces, &roll(), Copies::All, "").expect("fits").0);
    assert_eq!(lays[0], lays[1]);
}

#[test]
fn two_hundred_pieces_lie_apart() {
    let mut random = Random(3);
    let pieces: Vec<MarkedPiece> = (0..200)
        .map(|n| {
            let mut piece = blob(&mut random, &n.to_string(), 400.0);
            piece.cut.count = 1;
            piece
        })
        .collect();
    let (sheets, _) = lay(&pieces, &roll(), Copies::All, "not calibrated").expect("all fit");
    assert_eq!(sheets.iter().map(|sheet| sheet.placed.len()).sum::<usize>(), 200);
    verify(&sheets[0], &roll()).expect("sound");
}

fn searched(pieces: &[MarkedPiece], stock: &[Medium], evaluations: u64) -> Vec<Sheet> {
    let budget = Budget { evaluations, ..QUICK };
    lay_on_stock(pieces, stock, Copies::One, &|_| "not calibrated".into(), &budget, &mut |_| true).expect("fits").0
}

#[test]
fn a_longer_search_is_no_worse_and_stays_sound() {
    let mut random = Random(11);
    let pieces: Vec<MarkedPiece> = (0..14).map(|n| blob(&mut random, &n.to_string(), 500.0)).collect();
    let lays = [1, 40_000, 400_000].map(|trials| searched(&pieces, &[roll()], trials));
    for sheets in &lays {
        assert_sound(&sheets[0], &roll());
    }
    let long = lays.map(|sheets| sheets[0].width);
    assert!(long[1] < long[0] && long[2] <= long[1], "{long:?}");
    // On card: never more sheets, and each of them sound.
    let cards = [1, 60_000].map(|trials| searched(&pieces, &[card()], trials));
    assert!(cards[1].len() <= cards[0].len());
    for sheet in cards.iter().flatten() {
        assert_sound(sheet, &card());
    }
}

/// Triangles of growing size: somewhere the first lay by rows needs a sheet more than the search.
#[test]
fn the_search_saves_a_sheet() {
    let mut saved = 0;
    for size in 0..6 {
        let (long, high) = (250 + 12 * size, 210 + 10 * size);
        let pieces: Vec<MarkedPiece> =
            (0..9).map(|n| piece(&format!("Godet {n}"), &format!("M0 0 L{long} 0 L0 {high} Z"), 1, false)).collect();
        let sheets = [1, 100_000].map(|trials| searched(&pieces, &[card()], trials));
        assert!(sheets[1].len() <= sheets[0].len());
        saved += sheets[0].len() - sheets[1].len();
        sheets.iter().flatten().for_each(|sheet| assert_sound(sheet, &card()));
    }
    assert!(saved > 0);
}

#[test]
fn several_formats_in_stock() {
    // A0 and A1, ISO 216: 1189 × 841 and 841 × 594 mm.
    let large = Medium::plain("A0", MediumKind::Sheet { width: 1189.0, height: 841.0 }, 8.0, 6.0);
    let small = Medium::plain("A1", MediumKind::Sheet { width: 841.0, height: 594.0 }, 8.0, 6.0);
    let skirt = piece("Skirt", "M0 0 L1100 0 L1100 700 L0 700 Z", 1, false);
    let pocket = piece("Pocket", "M0 0 L300 0 L300 300 L0 300 Z", 1, false);
    for stock in [[large.clone(), small.clone()], [small.clone(), large.clone()]] {
        let sheets = searched(&[skirt.clone(), pocket.clone()], &stock, 2000);
        // The skirt needs the large one, on which the pocket has no room; for that the small one does.
        let names: Vec<&str> = sheets.iter().map(|sheet| &*sheet.medium).collect();
        assert_eq!(names, ["A0", "A1"]);
        assert_sound(&sheets[0], &large);
        assert_sound(&sheets[1], &small);
    }
    // Nothing in stock takes it: refused, as with one format.
    let budget = QUICK;
    let stock = [small];
    let refused = lay_on_stock(&[skirt], &stock, Copies::One, &|_| String::new(), &budget, &mut |_| true);
    assert!(refused.expect_err("too large").message.contains("too large"));
}

/// Pieces smaller than a page lie on one page each, and large ones cross as few as there are.
#[test]
fn pages_are_crossed_only_where_a_piece_is_larger() {
    use oaktag::device::{Margins, Pages};
    let [wide, high, overlap] = [190.0, 277.0, 10.0];
    // A4, ISO 216, with 10 mm margins, four pages across and twelve along.
    let glued = |count: f64, page: f64| count * (page - overlap) + overlap;
    let kind = MediumKind::Roll { width: glued(4.0, high), longest: glued(12.0, wide) };
    let margins = Margins { left: 10.0, right: 10.0, bottom: 10.0, top: 10.0 };
    let pages = Pages { width: 210.0, height: 297.0, margins, overlap, across: 4, along: 12 };
    let paper = Medium { pages: Some(pages), margins: Margins::all(0.0), ..Medium::plain("pages", kind, 0.0, 4.0) };
    let mut pieces: Vec<MarkedPiece> =
        (0..5).map(|n| piece(&format!("Pocket {n}"), "M0 0 L150 0 L150 110 L0 120 Z", 1, false)).collect();
    pieces.push(bodice("Front", 1.0));
    let sheets = searched(&pieces, std::slice::from_ref(&paper), 60_000);
    assert_sound(&sheets[0], &paper);
    let shown = oaktag::lay::pages(&sheets[0], wide, high, overlap).expect("pages");
    let on = |placed: &oaktag::lay::Placed| {
        let bounds = placed.outline.bounding_box();
        shown
            .iter()
            .filter(|page| {
                let w = page.window;
                bounds.x0 <= w.x1 && bounds.x1 >= w.x0 && bounds.y0 <= w.y1 && bounds.y1 >= w.y0
            })
            .count()
    };
    let crossed: Vec<usize> = sheets[0].placed.iter().map(on).collect();
    println!("{} pages, parts {crossed:?}", shown.len());
    assert!(crossed[..5].iter().filter(|parts| **parts == 1).count() >= 4, "{crossed:?}");
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
