//! What is written is read back as it was, in time, and twice the same.
#![allow(missing_docs)]

mod formats_support;

use formats_support::{FORMATS, Format, TOLERANCE, closed, correction, device, job, open, scene, sheet};
use kurbo::{BezPath, CubicBez, ParamCurve, PathSeg, Point};
use oaktag::calibrate::{correct, identity};
use oaktag::order::{Job, JobStroke, Pass};
use oaktag::proof::prove;
use oaktag::role::Role;
use oaktag::write;
use std::collections::BTreeSet;

/// Half a step of the written decimals either way, and rounding.
const GRID: f64 = 1.1e-6;

fn one_pass(strokes: Vec<JobStroke>) -> Job {
    Job {
        sizes: Vec::new(),
        device: "Roll pen plotter".into(),
        medium: "paper".into(),
        title: "Chorus tunic".into(),
        width: 400.0,
        height: 300.0,
        zero: Point::ORIGIN,
        square: 0.0,
        passes: vec![Pass { tool: "fine pen".into(), strokes }],
    }
}

fn stroke(role: Role, piece: &str, edge: &str, path: BezPath) -> JobStroke {
    JobStroke { role, piece: piece.into(), placed: None, edge: edge.into(), path }
}

fn raised(segment: PathSeg) -> CubicBez {
    match segment {
        PathSeg::Line(l) => CubicBez::new(l.p0, l.eval(1.0 / 3.0), l.eval(2.0 / 3.0), l.p1),
        curve => curve.to_cubic(),
    }
}

/// Largest distance between the control points of two paths, lines raised; infinite where their counts differ.
fn apart(a: &BezPath, b: &BezPath) -> f64 {
    let (a, b): (Vec<_>, Vec<_>) = (a.segments().map(raised).collect(), b.segments().map(raised).collect());
    if a.len() != b.len() {
        return f64::INFINITY;
    }
    let points = |c: &CubicBez| [c.p0, c.p1, c.p2, c.p3];
    let pairs = a.iter().zip(&b).flat_map(|(a, b)| points(a).into_iter().zip(points(b)));
    pairs.map(|(a, b)| a.distance(b)).fold(0.0, f64::max)
}

/// Whether a layer is one of a role's: its name, or that and a number.
fn of_role(layer: &str, role: Role) -> bool {
    layer.strip_prefix(role.name()).is_some_and(|rest| rest.is_empty() || rest.starts_with('-'))
}

#[test]
fn control_points_come_back() {
    for seed in 100..130 {
        for format in [Format::Svg, Format::Spline] {
            let (_, _, job) = scene(format, seed, Some(&correction(0.9973, 1.0021, 0.0008)));
            let drawing = format.read(&format.write(&job)).expect("reads");
            let strokes: Vec<_> = job.job().passes.iter().flat_map(|pass| &pass.strokes).collect();
            assert_eq!(drawing.paths.len(), strokes.len());
            let worst = strokes
                .iter()
                .map(|stroke| {
                    let candidates = drawing.paths.iter().filter(|bare| of_role(&bare.layer, stroke.role));
                    candidates.map(|bare| apart(&bare.path, &stroke.path)).fold(f64::INFINITY, f64::min)
                })
                .fold(0.0, f64::max);
            assert!(worst <= GRID, "{format:?} {seed}: {worst}");
        }
    }
}

#[test]
fn polylines_stay_within_their_tolerance() {
    for (seed, tolerance) in [(1, 0.5), (2, 0.1), (3, 0.01), (4, 0.001)] {
        let (_, _, job) = scene(Format::Polyline, seed, None);
        let bytes = oaktag::write::dxf(&job, oaktag::write::Curves::Polyline(tolerance));
        let drawing = Format::Polyline.read(&bytes).expect("reads");
        let strokes = job.job().passes.iter().flat_map(|pass| &pass.strokes);
        let mut worst: f64 = 0.0;
        for (stroke, bare) in strokes.zip(&drawing.paths) {
            let chords: Vec<_> = bare.path.segments().collect();
            for segment in stroke.path.segments() {
                for i in 0..=100 {
                    let point = segment.eval(f64::from(i) / 100.0);
                    let nearest = chords
                        .iter()
                        .map(|chord| kurbo::ParamCurveNearest::nearest(chord, point, 1e-9).distance_sq)
                        .fold(f64::INFINITY, f64::min);
                    worst = worst.max(nearest.sqrt());
                }
            }
        }
        assert!(worst <= tolerance + GRID, "{tolerance}: {worst}");
        assert!(worst > tolerance / 20.0, "{tolerance}: {worst}: far more points than asked for");
    }
}

#[test]
fn same_job_same_bytes() {
    for format in FORMATS {
        let bytes = || format.write(&scene(format, 9, Some(&correction(0.9987, 1.0, 0.0))).2);
        assert!(bytes() == bytes(), "{format:?}");
    }
}

#[test]
fn ten_thousand_strokes_are_proven() {
    let whole = sheet(3, 1429);
    // After ASTM D6673 every vertex of these wild curves comes twice: a tenth is work enough.
    let tenth = sheet(3, 143);
    let j = correction(0.9973, 1.0021, 0.0008);
    for format in FORMATS {
        let sheet = if format == Format::Blocks { tenth.clone() } else { whole.clone() };
        let device = device(format);
        let job = correct(job(&sheet, &device, 5), Some(&j));
        let bytes = format.write(&job);
        let drawing = format.read(&bytes).expect("reads");
        let proof = prove(&drawing, &sheet, &device, Some(&j));
        println!("{format:?}: {} strokes, {} bytes", proof.strokes, bytes.len());
        assert!(proof.passed, "{format:?}: {:?}", proof.reasons);
    }
}

#[test]
fn names_can_not_break_the_markup() {
    let awkward = "Gore \"left\" <2> & 'co' ]]> --> ärmel 袖 \u{1}\u{fffe} \n0\nEOF\n";
    let mut job = one_pass(vec![stroke(Role::Cut, awkward, awkward, closed(&[(1.0, 1.0), (9.0, 1.0), (9.0, 9.0)]))]);
    job.title = awkward.into();
    job.passes[0].tool = awkward.into();
    job.device = awkward.into();
    job.medium = awkward.into();
    let job = identity(job);

    let bytes = oaktag::write::svg(&job);
    let text = String::from_utf8(bytes.clone()).expect("UTF-8");
    let tree = roxmltree::Document::parse(&text).expect("well-formed");
    let path = tree.descendants().find(|node| node.has_tag_name("path") || node.tag_name().name() == "path");
    let path = path.expect("drawn");
    let shown = awkward.replace(['\u{1}', '\u{fffe}'], "\u{fffd}").replace('\n', " ");
    assert_eq!(path.attribute("data-piece"), Some(&*shown));
    assert_eq!(path.attribute("data-edge"), Some(&*shown));
    let title = tree.descendants().find(|node| node.tag_name().name() == "title").expect("titled");
    assert_eq!(title.text().map(str::trim), Some(shown.trim()));
    let (drawing, _) = oaktag::read::svg(&bytes, "t.svg").expect("reads");
    assert_eq!(drawing.paths.len(), 1);

    let bytes = oaktag::write::dxf(&job, oaktag::write::Curves::Spline);
    assert!(bytes.is_ascii());
    let text = String::from_utf8(bytes.clone()).expect("ASCII");
    assert_eq!(text.matches("\nEOF").count(), 1);
    assert!(text.contains("\\U+8896"), "the sleeve's sign is escaped");
    let (drawing, _) = oaktag::read::dxf(&bytes, "t.dxf").expect("reads");
    assert_eq!(drawing.paths.len(), 1);
}

#[test]
fn ids_are_unique_and_layers_are_roles() {
    let line = |role| stroke(role, "Front", "hem", open(&[(1.0, 1.0), (2.0, 2.0)]));
    let mut job = one_pass(vec![line(Role::Cut), line(Role::Sew), line(Role::Cut), line(Role::Grain)]);
    job.passes.push(Pass { tool: "knife".into(), strokes: vec![line(Role::Notch), line(Role::Cut)] });
    job.passes.push(Pass { tool: "knife again".into(), strokes: vec![line(Role::Cut)] });
    let job = identity(job);
    let bytes = oaktag::write::svg(&job);
    let text = String::from_utf8(bytes.clone()).expect("UTF-8");
    let tree = roxmltree::Document::parse(&text).expect("well-formed");
    let ids: Vec<&str> = tree.descendants().filter_map(|node| node.attribute("id")).collect();
    assert_eq!(ids, ["cut", "sew", "cut-2", "grain", "notch", "cut-3", "cut-4"], "working order is kept");
    assert_eq!(ids.len(), ids.iter().collect::<BTreeSet<_>>().len());
    let (drawing, _) = oaktag::read::svg(&bytes, "t.svg").expect("reads");
    let layers: Vec<&str> = drawing.paths.iter().map(|bare| &*bare.layer).collect();
    assert_eq!(layers, ids);
    // A projector shows all at once: a layer a role, to be switched off as a whole.
    let shown = String::from_utf8(oaktag::write::svg_in_pixels(&job, 0.77)).expect("UTF-8");
    let tree = roxmltree::Document::parse(&shown).expect("well-formed");
    let ids: Vec<&str> = tree.descendants().filter_map(|node| node.attribute("id")).collect();
    assert_eq!(ids, ["cut", "sew", "grain", "cut-2", "notch", "cut-3"]);

    let (drawing, _) =
        oaktag::read::dxf(&oaktag::write::dxf(&job, oaktag::write::Curves::Spline), "t.dxf").expect("reads");
    let layers: Vec<&str> = drawing.paths.iter().map(|bare| &*bare.layer).collect();
    assert_eq!(layers, ["cut", "sew", "cut", "grain", "notch", "cut", "cut"], "working order is kept");
}

#[test]
fn stamp_is_in_every_file_and_nothing_is_drawn_for_it() {
    for format in FORMATS {
        let line = stroke(Role::Cut, "", "", open(&[(1.0, 1.0), (2.0, 2.0)]));
        let job = correct(one_pass(vec![line]), Some(&correction(0.9987, 1.0, 0.0)));
        let bytes = format.write(&job);
        // HP-GL has no comments: there the stamp is only drawn, beside the check square.
        let text = String::from_utf8_lossy(&bytes);
        assert!(format == Format::Hpgl || text.contains(&job.stamp().text), "{format:?}");
        assert_eq!(format.read(&bytes).expect("reads").paths.len(), 1, "{format:?}");
    }
}

#[test]
fn sizes_are_true() {
    // The README's own figure: with x = 0.9987 a 300 mm square is written 300.39 mm wide.
    let square = closed(&[(20.0, 20.0), (320.0, 20.0), (320.0, 320.0), (20.0, 320.0)]);
    for format in FORMATS {
        let job = one_pass(vec![stroke(Role::Square, "", "", square.clone())]);
        let bytes = format.write(&correct(job, Some(&correction(0.9987, 1.0, 0.0))));
        let drawing = format.read(&bytes).expect("reads");
        let bounds = kurbo::Shape::bounding_box(&drawing.paths[0].path);
        // A plotter's grid of 0.025 mm moves each end by half a step.
        let grid = if format.on_a_grid() { 0.025 } else { 0.0 };
        assert!((bounds.width() - 300.39).abs() < 0.01 + grid, "{format:?}: {}", bounds.width());
        assert!((bounds.height() - 300.0).abs() < 1e-5, "{format:?}: {}", bounds.height());
        assert!((bounds.x0 - 20.0 / 0.9987).abs() < 1e-4 + grid / 2.0, "{format:?}: placed by {}", bounds.x0);
        // A page of a PDF is placed in points of 0.35 mm, to five decimals.
        let off = if matches!(format, Format::Pdf | Format::Tiles) { 1e-4 } else { 1e-5 };
        assert!((bounds.y0 - 20.0).abs() < off, "{format:?}: y points up from {}", bounds.y0);
        if format == Format::Svg {
            // The page is the sheet as this machine needs it, and grows where the square would be clipped: 320 mm up.
            let (width, height) = (drawing.width.expect("a width"), drawing.height.expect("a height"));
            assert!((width - 400.0 / 0.9987).abs() < 1e-5 && (height - 320.0).abs() < 1e-5, "{width} x {height}");
        }
    }
}

#[test]
fn odd_paths_survive() {
    let mut dot = BezPath::new();
    dot.move_to((5.0, 5.0));
    dot.line_to((5.0, 5.0));
    let mut nothing = BezPath::new();
    nothing.move_to((7.0, 7.0));
    let mut closing = open(&[(1.0, 1.0), (3.0, 1.0), (3.0, 3.0), (1.0, 1.0)]);
    closing.close_path();
    let mut curved = open(&[(1.0, 1.0)]);
    curved.quad_to((5.0, 9.0), (9.0, 1.0));
    curved.close_path();
    for format in FORMATS {
        let strokes = [&dot, &nothing, &closing, &curved].map(|path| stroke(Role::Drill, "", "", path.clone()));
        let bytes = format.write(&identity(one_pass(strokes.into())));
        let drawing = format.read(&bytes).expect("reads");
        let sizes: Vec<_> = drawing.paths.iter().map(|bare| kurbo::Shape::bounding_box(&bare.path)).collect();
        assert_eq!(sizes.len(), 3, "{format:?}");
        assert!(sizes[0].origin().distance(Point::new(5.0, 5.0)) < 1e-4, "{format:?}: {:?}", sizes[0]);
        let triangle = [sizes[1].origin(), Point::new(sizes[1].x1, sizes[1].y1)];
        assert!(triangle[0].distance(Point::new(1.0, 1.0)) < 1e-4, "{format:?}: {triangle:?}");
        assert!(triangle[1].distance(Point::new(3.0, 3.0)) < 1e-4, "{format:?}: {triangle:?}");
        assert!((sizes[2].height() - 4.0).abs() < TOLERANCE, "{format:?}: {}", sizes[2].height());
    }
}

/// The map of a tiled file says how the pages go together, above the small sheet and inside the margins, where the paper has
/// room for that.
#[test]
fn the_map_says_how_to_glue() {
    const LINES: [&str; 2] = [
        "Where a page has a neighbour at its right or above, cut it there through the crosses.",
        "Lay it on that neighbour, cross on cross, and tape both. Measure the square first.",
    ];
    // Starts of the strokes on the map, which is the first page and all of it the page's own.
    let starts = |side: f64, high: f64| -> (usize, Vec<Point>) {
        let paper = write::Paper { width: side, height: high, margins: [8.0; 4], overlap: 10.0 };
        let mut path = BezPath::new();
        path.move_to((20.0, 20.0));
        path.line_to((390.0, 290.0));
        let bytes = write::pdf(&correct(one_pass(vec![stroke(Role::Line, "Sleeve", "", path)]), None), Some(paper));
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let map = text.split("BDC\n").nth(1).and_then(|rest| rest.split("EMC\n").next()).expect("a map");
        let numbers = |line: &str| line.split(' ').map_while(|word| word.parse().ok()).collect::<Vec<f64>>();
        let moves = map.lines().filter(|line| line.ends_with(" m")).map(numbers);
        // A window for every page but the map.
        (text.matches(" re W n").count(), moves.map(|at| Point::new(at[0], at[1])).collect())
    };
    let strokes = |words: &str| oaktag::text::letter(words, 3.0).paths.len();
    let title = |pages: usize| strokes(&format!("Chorus tunic: {pages} pages, print at 100 %"));
    // A4 (ISO 216): the uppermost 26 mm inside the margins are for words.
    let head = |starts: &[Point], high: f64| starts.iter().filter(|at| at.y > high - 8.0 - 26.0).count();
    let (pages, a4) = starts(210.0, 297.0);
    assert!(a4.iter().all(|at| (8.0..=202.0).contains(&at.x) && (8.0..=289.0).contains(&at.y)), "{a4:?}");
    assert_eq!(head(&a4, 297.0), title(pages) + LINES.map(strokes).iter().sum::<usize>());
    // Seeded: a page of 90 mm has no room for them, and the check would miss them.
    let (_, small) = starts(90.0, 90.0);
    assert!(small.len() < LINES.map(strokes).iter().sum(), "{}", small.len());
}
