//! Working order: what comes first, and how far the tool travels with nothing to do.

mod formats_support;

use formats_support::Format;
use kurbo::{Affine, BezPath, ParamCurve, Point, Shape};
use oaktag::calibrate::correct;
use oaktag::device::{Axes, Corner, Device, Language, Medium, MediumKind, Tool, ToolKind, Way};
use oaktag::diag::Severity;
use oaktag::lay::{Placed, Sheet, SheetStroke};
use oaktag::order::estimate::estimate;
use oaktag::order::{Job, JobStroke, order};
use oaktag::read::BarePath;
use oaktag::role::Role;

fn device(tools: &[(&str, ToolKind, &[Role])]) -> Device {
    let kind = MediumKind::Roll { width: 914.4, longest: 5000.0 };
    Device {
        media: vec![Medium::plain("paper", kind, 10.0, 5.0)],
        tools: tools.iter().map(|(name, kind, roles)| Tool::plain(name, *kind, roles)).collect(),
        ..Device::plain("D", Language::Svg)
    }
}

/// The 64-bit linear congruential generator of Knuth's MMIX.
struct Random(u64);

impl Random {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Pieces scattered over a roll, each with open marks, a closed inner cut and last its outline.
fn sheet(random: &mut Random, pieces: usize, marks: usize) -> Sheet {
    let mut strokes = Vec::new();
    let mut placed = Vec::new();
    for piece in 0..pieces {
        let middle = Point::new(random.between(100.0, 4900.0), random.between(100.0, 800.0));
        let ring = |radius: f64, first: f64| {
            let at =
                |n: usize| middle + kurbo::Vec2::from_angle(first + n as f64 * std::f64::consts::TAU / 7.0) * radius;
            let mut path = BezPath::new();
            path.move_to(at(0));
            (1..7).for_each(|n| path.line_to(at(n)));
            path.close_path();
            path
        };
        let mut push = |role, path| strokes.push(SheetStroke { role, placed: Some(piece), edge: String::new(), path });
        for _ in 0..marks {
            let mut path = BezPath::new();
            let from = middle + (random.between(-60.0, 60.0), random.between(-60.0, 60.0));
            path.move_to(from);
            path.line_to(from + (random.between(-20.0, 20.0), random.between(-20.0, 20.0)));
            push(Role::Notch, path);
        }
        push(Role::Cut, ring(20.0, random.between(0.0, 6.0)));
        let outline = ring(90.0, random.between(0.0, 6.0));
        push(Role::Cut, outline.clone());
        placed.push(Placed { piece: format!("P{piece}"), person: String::new(), transform: Affine::IDENTITY, outline });
    }
    Sheet { medium: "paper".into(), width: 5000.0, height: 914.4, placed, strokes, square: 100.0, sizes: Vec::new() }
}

fn ends(path: &BezPath) -> [Point; 2] {
    let segments: Vec<_> = path.segments().collect();
    [segments[0].start(), segments[segments.len() - 1].end()]
}

/// Pen-up distance from the origin through all paths and back.
fn travel<'a>(paths: impl Iterator<Item = &'a BezPath>) -> f64 {
    let (mut at, mut sum) = (Point::ORIGIN, 0.0);
    for path in paths {
        let [start, end] = ends(path);
        sum += at.distance(start);
        at = end;
    }
    sum + at.to_vec2().hypot()
}

/// The piece's name and extent for every cut that comes after its own outline.
fn violations(strokes: &[JobStroke]) -> usize {
    let is_outline = |stroke: &JobStroke| stroke.role == Role::Cut && stroke.path.bounding_box().width() > 100.0;
    (0..strokes.len())
        .filter(|at| {
            let earlier = &strokes[..*at];
            earlier.iter().any(|before| is_outline(before) && before.piece == strokes[*at].piece)
        })
        .count()
}

fn one_pen() -> Device {
    device(&[("pen", ToolKind::Pen, &[Role::Notch, Role::Cut])])
}

#[test]
fn never_longer_than_as_given_and_inner_before_outline() {
    let mut random = Random(11);
    for (pieces, marks) in [(1, 0), (1, 5), (2, 1), (3, 9), (10, 4), (40, 6), (100, 3)].repeat(6) {
        let sheet = sheet(&mut random, pieces, marks);
        let (job, findings) = order(&sheet, &one_pen(), "t").expect("a job");
        assert!(findings.is_empty());
        let strokes = &job.passes[0].strokes;
        assert_eq!(strokes.len(), sheet.strokes.len());
        let (given, ordered) = (travel(sheet.strokes.iter().map(|s| &s.path)), travel(strokes.iter().map(|s| &s.path)));
        assert!(ordered <= given + 1e-6, "{ordered} > {given}");
        assert_eq!(violations(strokes), 0);
        assert_eq!(order(&sheet, &one_pen(), "t").expect("a job").0, job, "the same every time");
        // The check sees an outline that comes too early.
        let mut spoilt: Vec<JobStroke> = strokes.clone();
        if spoilt.len() > 1 {
            spoilt.reverse();
            assert!(violations(&spoilt) > 0);
        }
    }
}

/// Every path is there once, in its old shape: length and extent are what they were.
#[test]
fn no_path_is_lost_or_changed() {
    let sheet = sheet(&mut Random(5), 30, 8);
    let (job, _) = order(&sheet, &one_pen(), "t").expect("a job");
    let summary = |path: &BezPath| {
        let bounds = path.bounding_box();
        let ends = if oaktag::geom::path::is_closed(path) { 0.0 } else { 1.0 };
        [oaktag::geom::path::length(path), path.area().abs(), bounds.x0, bounds.x1, bounds.y0, bounds.y1, ends]
            .map(|value| (value * 1e6).round() as i64)
    };
    let mut given: Vec<_> = sheet.strokes.iter().map(|s| (s.role, summary(&s.path))).collect();
    let mut ordered: Vec<_> = job.passes[0].strokes.iter().map(|s| (s.role, summary(&s.path))).collect();
    given.sort();
    ordered.sort();
    assert_eq!(given, ordered);
    ordered.pop();
    assert_ne!(given, ordered);
}

#[test]
fn pens_before_knives_and_roles_to_their_tools() {
    let sheet = sheet(&mut Random(2), 4, 3);
    let cutter = device(&[("knife", ToolKind::Knife, &[Role::Cut]), ("pen", ToolKind::Pen, &[Role::Notch])]);
    let (job, _) = order(&sheet, &cutter, "t").expect("a job");
    let tools: Vec<&str> = job.passes.iter().map(|pass| &*pass.tool).collect();
    assert_eq!(tools, ["pen", "knife"]);
    assert!(job.passes[0].strokes.iter().all(|stroke| stroke.role == Role::Notch));
    assert_eq!(violations(&job.passes[1].strokes), 0);
}

/// Read back from a file of every language that has an order: the paths follow one another as the job's strokes do, so that
/// a piece's marks and inner cuts are done before its outline in the file too.
#[test]
fn files_keep_the_order_of_the_job() {
    use Format::{Encoded, Hpgl, Hpgl2, Polyline, Rs274, Spline, Svg};
    let sheet = sheet(&mut Random(4), 12, 5);
    let tool = device(&[("fine pen", ToolKind::Knife, &[Role::Notch, Role::Cut])]);
    // Where each path begins and ends lies within a step of 0.025 mm of where each stroke does.
    let follows = |paths: &[BarePath], strokes: &[JobStroke]| {
        let near =
            |path: &BezPath, stroke: &BezPath| ends(path).iter().zip(ends(stroke)).all(|(a, b)| a.distance(b) < 0.025);
        paths.len() == strokes.len() && paths.iter().zip(strokes).all(|(bare, stroke)| near(&bare.path, &stroke.path))
    };
    for format in [Svg, Spline, Polyline, Hpgl, Hpgl2, Encoded, Rs274] {
        let (job, _) = order(&sheet, &Device { language: format.language(), ..tool.clone() }, "t").expect("a job");
        let mut strokes = job.passes[0].strokes.clone();
        assert_eq!(violations(&strokes), 0);
        let changes = strokes.windows(2).filter(|pair| pair[0].role != pair[1].role).count();
        assert!(changes > 12, "{changes}: marks and cuts take turns");
        let drawing = format.read(&format.write(&correct(job, None))).expect("reads");
        assert!(follows(&drawing.paths, &strokes), "{format:?}");
        // Seeded: another order.
        strokes.sort_by_key(|stroke| stroke.role);
        assert!(!follows(&drawing.paths, &strokes), "{format:?}");
    }
}

#[test]
fn a_cut_line_without_a_tool_is_held_back() {
    let sheet = sheet(&mut Random(2), 1, 1);
    let pen = device(&[("pen", ToolKind::Pen, &[Role::Notch])]);
    let (job, findings): (Job, _) = order(&sheet, &pen, "t").expect("a job");
    assert_eq!(job.passes.len(), 1);
    assert_eq!(findings[0].severity, Severity::Breach);
    let nothing = device(&[("pen", ToolKind::Pen, &[Role::Grain])]);
    assert_eq!(order(&sheet, &nothing, "t").expect_err("nothing to do").severity, Severity::Error);
}

#[test]
fn twenty_thousand_strokes_are_ordered() {
    let sheet = sheet(&mut Random(9), 1000, 18);
    assert_eq!(sheet.strokes.len(), 20_000);
    let (job, _) = order(&sheet, &one_pen(), "t").expect("a job");
    let (given, ordered) =
        (travel(sheet.strokes.iter().map(|s| &s.path)), travel(job.passes[0].strokes.iter().map(|s| &s.path)));
    println!("{given:.0} mm as given, {ordered:.0} mm ordered");
    assert_eq!(violations(&job.passes[0].strokes), 0);
    // It comes to 0.071 of that here.
    assert!(ordered < 0.1 * given);
}

/// Distances by Pythagoras: the head sets out from where the machine counts from, and goes back there.
#[test]
fn the_head_sets_out_from_the_machines_zero() {
    let mut path = BezPath::new();
    path.move_to((100.0, 0.0));
    path.line_to((200.0, 0.0));
    let stroke = SheetStroke { role: Role::Notch, placed: None, edge: String::new(), path };
    let sheet = Sheet { width: 1000.0, height: 500.0, strokes: vec![stroke], ..sheet(&mut Random(1), 0, 0) };
    let far = |x: f64, y: f64| (x - 100.0).hypot(y) + (x - 200.0).hypot(y);
    for (origin, [x, y]) in [
        (Corner::LowerLeft, [0.0, 0.0]),
        (Corner::LowerRight, [1000.0, 0.0]),
        (Corner::UpperLeft, [0.0, 500.0]),
        (Corner::UpperRight, [1000.0, 500.0]),
        (Corner::Centre, [500.0, 250.0]),
    ] {
        let axes = Axes { origin, x: Way::Up, y: Way::Left };
        let device = Device { axes, ..device(&[("pen", ToolKind::Pen, &[Role::Notch])]) };
        let (job, _) = order(&sheet, &device, "").expect("a job");
        assert_eq!(job.zero, Point::new(x, y));
        assert!((axes.from_sheet(1000.0, 500.0) * job.zero).to_vec2().hypot() < 1e-9, "the machine's own 0, 0");
        let travelled = estimate(&job, &device).whole.travelled;
        assert!((travelled - far(x, y)).abs() < 1e-9, "{origin:?}: {travelled}");
        // A head that is thought to be at the sheet's corner is found out.
        let elsewhere = Job { zero: Point::ORIGIN, ..job };
        let wrong = estimate(&elsewhere, &device).whole.travelled;
        assert_eq!((wrong - far(x, y)).abs() > 1.0, origin != Corner::LowerLeft, "{origin:?}");
    }
}
