//! Knife geometry: what the tip, the wheel or the beam does to the wanted line.

mod allow_support;

use allow_support::bodice;
use kurbo::{
    Affine, BezPath, Circle, Line, ParamCurve, ParamCurveArclen, ParamCurveNearest, PathSeg, Point, Shape, Vec2,
};
use oaktag::allow::{TOLERANCE, allow};
use oaktag::calibrate::correct;
use oaktag::order::knife::{DragKnife, Keeps, bridges, drag, half_kerf, lift_and_turn};
use oaktag::order::{Job, JobStroke, Pass};
use oaktag::piece::Finish;
use oaktag::proof::blade::{self, Track};
use oaktag::role::Role;
use oaktag::write::{Dialect, Machine, ToolUse, hpgl};

/// How far the cut may stray from the wanted line, mm: the goal of the project, no source.
const ALLOWED: f64 = 0.02;
const OFFSETS: [f64; 4] = [0.25, 0.5, 0.75, 1.0];

fn distance(path: &BezPath, p: Point) -> f64 {
    path.segments().map(|s| s.nearest(p, 1e-12).distance_sq).fold(f64::INFINITY, f64::min).sqrt()
}

fn path(text: &str) -> BezPath {
    BezPath::from_svg(text).expect("a path")
}

/// A closed piece with a right angle, a corner of 30°, a sleeve cap and an arc of 20 mm radius.
fn lines() -> Vec<(&'static str, BezPath)> {
    let k = 20.0 * 0.552_284_749_8;
    let round = format!(
        "M120 0 C{a} 0 140 {b} 140 20 C140 {c} {a} 40 120 40 C{d} 40 100 {c} 100 20 C100 {b} {d} 0 120 0 Z",
        a = 120.0 + k,
        b = 20.0 - k,
        c = 20.0 + k,
        d = 120.0 - k
    );
    let (sine, cosine) = 30_f64.to_radians().sin_cos();
    vec![
        ("square", path("M0 0 L80 0 L80 60 L0 60 Z")),
        ("square, clockwise", path("M0 0 L0 60 L80 60 L80 0 Z")),
        ("30° corner", path(&format!("M0 0 L90 0 L{} {} Z", 90.0 - 90.0 * cosine, 90.0 * sine))),
        ("30° corner, open", path(&format!("M0 0 L90 0 L{} {}", 90.0 - 90.0 * cosine, 90.0 * sine))),
        (
            "sleeve cap",
            path("M0 0 C40 0 60 120 120 140 C150 150 170 148 190 130 C240 90 260 10 320 0 L300 -60 L20 -60 Z"),
        ),
        ("radius 20", path(&round)),
        ("notched edge", path("M0 0 L50 0 L52 6 L54 0 L100 0 L100 40 L0 40 Z")),
    ]
}

/// Largest distance of the track from the line, and of the line from the track, mm.
fn apart(track: &[Point], line: &BezPath) -> f64 {
    let segments: Vec<PathSeg> = line.segments().collect();
    let to_line =
        |p: &Point| segments.iter().map(|s| s.nearest(*p, 1e-6).distance_sq).fold(f64::INFINITY, f64::min).sqrt();
    let chords: Vec<Line> = track.windows(2).map(|pair| Line::new(pair[0], pair[1])).collect();
    let to_track =
        |p: Point| chords.iter().map(|c| c.nearest(p, 1e-9).distance_sq).fold(f64::INFINITY, f64::min).sqrt();
    let out = track.iter().map(to_line).fold(0.0, f64::max);
    let back = segments
        .iter()
        .flat_map(|s| (0..=12).map(move |i| s.eval(f64::from(i) / 12.0)))
        .map(to_track)
        .fold(0.0, f64::max);
    out.max(back)
}

#[test]
fn the_tip_cuts_the_wanted_line() {
    let mut worst: f64 = 0.0;
    for (name, line) in lines() {
        for offset in OFFSETS {
            for heading in [Vec2::new(1.0, 0.0), Vec2::new(-0.6, 0.8)] {
                let (head, after) = drag(&line, &DragKnife::new(offset), heading, 0.001);
                let Track { points: track, heading: turned, .. } = blade::tip(&head, offset, heading);
                let away = apart(&track, &line);
                assert!(away <= ALLOWED, "{name}, offset {offset}: {away} mm");
                assert!((after - turned).hypot() < 0.02, "{name}: heading {after:?} said, {turned:?} simulated");
                worst = worst.max(away);
            }
        }
    }
    println!("largest distance {worst:.5} mm");
}

/// The way of the head as an HP-GL file has it, on whole steps, so many in a millimetre.
fn on_the_grid(head: &BezPath, steps: f64) -> BezPath {
    let stroke =
        JobStroke { role: Role::Cut, piece: String::new(), placed: None, edge: String::new(), path: head.clone() };
    let job = Job {
        device: "cutter".into(),
        medium: "card".into(),
        title: String::new(),
        width: 600.0,
        height: 600.0,
        zero: Point::ORIGIN,
        square: 0.0,
        sizes: Vec::new(),
        passes: vec![Pass { tool: "knife".into(), strokes: vec![stroke] }],
    };
    let knife = ToolUse { name: "knife".into(), number: 1, force: None, speed: None, power: None, heights: None };
    let machine = Machine {
        tolerance: 0.01,
        units_per_mm: steps,
        largest: None,
        place: Affine::IDENTITY,
        start: String::new(),
        end: String::new(),
        tools: vec![knife],
    };
    let bytes = hpgl(&correct(job, None), &machine, Dialect::Hpgl2).expect("written");
    let (drawing, findings) = oaktag::read::hpgl(&bytes, "a.plt", steps).expect("read");
    assert!(findings.is_empty() && drawing.paths.len() == 1, "{findings:?}");
    drawing.paths[0].path.clone()
}

/// On whole steps of 0.025 mm, up to a tenth of the offset, wherever on them the line lies: half their diagonal, 0.018 mm,
/// the chords' tolerance and what the swings pull, in all less than the proof allows (0.0327 mm).
#[test]
fn the_tip_cuts_the_wanted_line_on_a_grid() {
    let along = Vec2::new(1.0, 0.0);
    // Numerical Recipes' quick generator.
    let mut seed = 7_u32;
    let mut number = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(seed >> 8) / f64::from(1 << 24)
    };
    let mut chosen = lines();
    // Sides from a third of a millimetre to a centimetre, gentle corners and sharp ones.
    for turn in [0.1, 0.5, 1.0, 2.0, 3.1].repeat(20) {
        let (mut at, mut heading) = (Point::ORIGIN, 0.0);
        let mut line = BezPath::new();
        line.move_to(at);
        for _ in 0..10 {
            at += (0.3 + 9.0 * number() * number()) * Vec2::from_angle(heading);
            line.line_to(at);
            heading += turn * (2.0 * number() - 1.0);
        }
        chosen.push(("chance", line));
    }
    let (mut worst, mut coarse, mut come, mut gone) = (0.0_f64, 0.0_f64, 0.0_f64, 0.0_f64);
    for (name, line) in chosen {
        let line = Affine::translate((250.0 + number(), 250.0 + number())) * Affine::rotate(6.3 * number()) * line;
        for offset in OFFSETS {
            let knife = DragKnife { swing_above: 15_f64.to_radians(), laps: 2, ..DragKnife::new(offset) };
            let (head, _) = drag(&line, &knife, along, 0.002);
            let track = |steps| blade::tip(&on_the_grid(&head, steps), offset, along);
            let away = |steps| apart(&track(steps).points, &line);
            let fine = away(40.0);
            // How far the tip has come, beside the length of its whole way to and fro.
            let track = track(40.0);
            let wanted = blade::tip(&head, offset, along).come.last().copied().unwrap_or(0.0);
            let to_and_fro: f64 = track.points.windows(2).map(|pair| pair[0].distance(pair[1])).sum();
            come = come.max((track.come.last().copied().unwrap_or(0.0) - wanted).abs());
            gone = gone.max((to_and_fro - wanted).abs());
            assert!(fine < 0.0327, "{name}, offset {offset}: {fine} mm");
            worst = worst.max(fine);
            // Seeded: steps twice as large.
            coarse = coarse.max(away(20.0));
        }
    }
    println!("largest distance {worst:.5} mm, with steps twice as large {coarse:.5} mm");
    assert!(coarse > 0.0327);
    println!("it comes as far to {come:.4} mm, and goes to and fro for {gone:.4} mm more");
    assert!(come < 0.2 && gone > 1.0);
}

/// A blade that heads the wrong way at the start has swivelled round before the line proper begins. tan(φ/2) falls by
/// e^(-3) over a run-in of three offsets, so the scratch stays within it; what follows is clean.
#[test]
fn the_run_in_mends_a_wrong_heading() {
    let line = path("M40 0 L80 0 L80 60 L0 60 L0 0 Z");
    let knife = DragKnife { run_in: 8.0, ..DragKnife::new(0.5) };
    let (head, _) = drag(&line, &knife, Vec2::new(1.0, 0.0), 0.001);
    let track = blade::tip(&head, 0.5, Vec2::new(0.0, 1.0)).points;
    let settled: Vec<Point> = track.iter().copied().skip_while(|p| p.x < 40.0).collect();
    assert!(apart(&settled, &line) <= ALLOWED);
    // Without it the scratch is in the piece.
    let (head, _) = drag(&line, &DragKnife { run_in: 0.0, overcut: 0.0, ..knife }, Vec2::new(1.0, 0.0), 0.001);
    let track = blade::tip(&head, 0.5, Vec2::new(0.0, 1.0)).points;
    assert!(apart(&track, &line) > 0.1);
}

/// The simulation sees what is wrong: no swings, a wrong offset, no overcut with a start on an edge.
#[test]
fn seeded_faults_are_seen() {
    let square = path("M0 0 L80 0 L80 60 L0 60 Z");
    let along = Vec2::new(1.0, 0.0);
    // The head on the line itself, tip trailing: the reference measured 0.242 mm at a right angle with offset 0.5.
    let track = blade::tip(&square, 0.5, along).points;
    let away = apart(&track, &square);
    assert!(away > 0.2, "{away}");
    let (head, _) = drag(&square, &DragKnife::new(0.5), along, 0.001);
    assert!(apart(&blade::tip(&head, 0.4, along).points, &square) > ALLOWED);
    assert!(apart(&blade::tip(&head, 0.5, along).points, &square) <= ALLOWED);
    // Swings cut straight, from the end of one side to the start of the next.
    let mut straight = BezPath::new();
    for segment in head.segments().filter(|segment| matches!(segment, PathSeg::Line(_))) {
        if straight.elements().is_empty() {
            straight.move_to(segment.start());
        }
        straight.line_to(segment.start());
        straight.line_to(segment.end());
    }
    assert!(apart(&blade::tip(&straight, 0.5, along).points, &square) > ALLOWED);
}

/// The tractrix in closed form: dragged at a right angle over s, the tip lies offset · sech(s / offset) off the line.
#[test]
fn the_simulation_is_a_tractrix() {
    for (offset, s) in [(0.25, 0.5), (0.5, 0.5), (1.0, 3.0)] {
        let track = blade::tip(&path(&format!("M0 0 L{s} 0")), offset, Vec2::new(0.0, -1.0)).points;
        let end = track.last().expect("a track");
        let (y, x): (f64, f64) = (offset / (s / offset).cosh(), s - offset * (s / offset).tanh());
        assert!((end.y - y).abs() < 1e-9 && (end.x - x).abs() < 1e-9, "{end:?}, {x} {y}");
        assert!((end.y - y * 1.01).abs() > 1e-6);
    }
}

fn length(path: &BezPath) -> f64 {
    path.segments().map(|s| s.arclen(1e-7)).sum()
}

#[test]
fn a_wheel_is_lifted_at_corners_only() {
    for (name, line) in lines() {
        let strokes = lift_and_turn(&line, 20_f64.to_radians());
        let wanted = match name {
            "30° corner" => 3,
            "30° corner, open" => 2,
            "radius 20" => 1,
            "notched edge" => 7,
            // The squares have four corners, the cap with its sides four and is smooth.
            _ => 4,
        };
        assert_eq!(strokes.len(), wanted, "{name}");
        let sum: f64 = strokes.iter().map(length).sum();
        assert!((sum - length(&line)).abs() < 1e-6, "{name}");
        for stroke in &strokes {
            let segments: Vec<PathSeg> = stroke.segments().collect();
            for pair in segments.windows(2) {
                let turn = oaktag::geom::path::tangent(&pair[0], 1.0).cross(oaktag::geom::path::tangent(&pair[1], 0.0));
                assert!(turn.abs() <= 20_f64.to_radians().sin(), "{name}");
            }
        }
    }
    assert_eq!(lift_and_turn(&lines()[0].1, 4.0).len(), 1, "a limit that nothing reaches parts nothing");
}

#[test]
fn bridges_stay_uncut_and_off_corners() {
    for (name, line) in lines().into_iter().filter(|(name, _)| !name.contains("open")) {
        for count in [1, 3, 4] {
            let strokes = bridges(&line, count, 1.5);
            assert_eq!(strokes.len(), count, "{name}");
            let cut: f64 = strokes.iter().map(length).sum();
            assert!((cut - (length(&line) - 1.5 * count as f64)).abs() < 1e-4, "{name}: {cut}");
            for stroke in 0..count {
                let end = oaktag::geom::path::end(&strokes[stroke]).expect("an end");
                let start = oaktag::geom::path::start(&strokes[(stroke + 1) % count]).expect("a start");
                // A bridge on a curve is a chord shorter than its arc; one across a corner would be much shorter.
                assert!((end.distance(start) - 1.5).abs() < 0.02, "{name}, bridge {stroke}: {}", end.distance(start));
            }
        }
    }
    // A line whose ends lie a rounding apart is closed all the same: a run across them is one stroke.
    let nearly = BezPath::from_svg("M50 0 L100 0 L100 80 L0 80 L0 0.0000005 L49.9999995 0.0000005 Z").expect("a path");
    for stroke in bridges(&nearly, 3, 1.5) {
        let moves = stroke.elements().iter().filter(|e| matches!(e, kurbo::PathEl::MoveTo(_))).count();
        assert_eq!(moves, 1, "{}", stroke.to_svg());
    }
    assert_eq!(bridges(&lines()[0].1, 0, 1.5), vec![lines()[0].1.clone()]);
    assert_eq!(bridges(&lines()[0].1, 100, 1.5).len(), 1, "no room for so many");
}

/// A beam of the kerf's width along the path touches the line from its own side and never enters what is kept.
#[test]
fn half_the_kerf_is_kept_clear() {
    for (name, line) in lines().into_iter().filter(|(name, _)| !name.contains("open")) {
        for (keeps, side) in [(Keeps::Inside, 1.0), (Keeps::Outside, -1.0)] {
            let contours = half_kerf(&line, 0.3, keeps, 0.001).expect("a path");
            assert_eq!(contours.len(), 1, "{name}");
            let outside = side * (contours[0].area().abs() - line.area().abs());
            assert!(outside > 0.0, "{name} {keeps:?}");
            let segments: Vec<PathSeg> = line.segments().collect();
            for p in contours[0].segments().flat_map(|s| (0..20).map(move |i| s.eval(f64::from(i) / 20.0))) {
                let away = segments.iter().map(|s| s.nearest(p, 1e-7).distance_sq).fold(f64::INFINITY, f64::min).sqrt();
                assert!((away - 0.15).abs() < 0.003, "{name} {keeps:?}: {away} at {p:?}");
            }
        }
    }
    // A square's in closed form (Steiner): A + P · h + π h² outside, (a − 2h)(b − 2h) inside.
    let square = &lines()[0].1;
    let area = |keeps| half_kerf(square, 0.3, keeps, 0.001).expect("a path")[0].area();
    assert!((area(Keeps::Inside) - (4800.0 + 280.0 * 0.15 + std::f64::consts::PI * 0.0225)).abs() < 1e-3);
    assert!((area(Keeps::Outside) - 79.7 * 59.7).abs() < 1e-3);
    assert!(half_kerf(square, 70.0, Keeps::Outside, 0.001).expect("an answer").is_empty(), "the hole is too small");
    assert!(half_kerf(&path("M0 0 L10 0"), 0.3, Keeps::Inside, 0.001).is_err(), "an open line keeps nothing");
}

/// A circle's parallels are circles (geometry).
#[test]
fn half_the_kerf_of_a_circle() {
    let middle = Point::new(10.0, 20.0);
    let circle = Circle::new(middle, 50.0).to_path(1e-6);
    for (keeps, kerf, radius) in [
        (Keeps::Inside, 0.2, 50.1),
        (Keeps::Outside, 0.2, 49.9),
        (Keeps::Inside, 6.0, 53.0),
        (Keeps::Outside, 6.0, 47.0),
    ] {
        let contours = half_kerf(&circle, kerf, keeps, 0.001).expect("a path");
        for p in contours[0].segments().flat_map(|s| (0..8).map(move |i| s.eval(f64::from(i) / 8.0))) {
            assert!((p.distance(middle) - radius).abs() < 0.0011, "{} for {radius}", p.distance(middle));
        }
    }
}

/// The beam's near side runs on a bodice's cut line: half the kerf away from it, everywhere within the tolerance.
#[test]
fn half_the_kerf_of_a_cut_line() {
    let cut = allow(&bodice(12.7, Finish::Mitre), TOLERANCE).expect("cuts").0.cut_line;
    for keeps in [Keeps::Inside, Keeps::Outside] {
        for kerf in [0.3, 4.0] {
            let contours = half_kerf(&cut, kerf, keeps, TOLERANCE).expect("a path");
            assert_eq!(contours.len(), 1);
            assert_eq!(contours[0].area() > cut.area(), keeps == Keeps::Inside);
            for p in contours[0].segments().flat_map(|s| (0..=8).map(move |i| s.eval(f64::from(i) / 8.0))) {
                let off = distance(&cut, p) - kerf / 2.0;
                assert!(off.abs() <= TOLERANCE, "{off} at {kerf}");
            }
        }
    }
}

/// Two rooms and a narrow door: a beam wider than the door leaves two paths, one wider than the rooms none.
#[test]
fn half_the_kerf_in_a_narrow_hole() {
    let hole = path("M0 0 L20 0 L20 9 L40 9 L40 0 L60 0 L60 20 L40 20 L40 11 L20 11 L20 20 L0 20 Z");
    for (kerf, contours) in [(1.0, 1), (4.0, 2), (60.0, 0)] {
        assert_eq!(half_kerf(&hole, kerf, Keeps::Outside, 0.005).expect("an answer").len(), contours, "{kerf}");
    }
    assert!(half_kerf(&hole, f64::NAN, Keeps::Outside, 0.005).is_err());
}

#[test]
fn nothing_comes_of_nothing() {
    let empty = BezPath::new();
    let dot = path("M5 5 L5 5");
    for bad in [&empty, &dot] {
        assert!(drag(bad, &DragKnife::new(0.5), Vec2::new(1.0, 0.0), 0.01).0.is_empty());
        assert!(lift_and_turn(bad, 0.3).is_empty());
    }
    assert!(blade::tip(&empty, 0.5, Vec2::new(1.0, 0.0)).points.is_empty());
}
