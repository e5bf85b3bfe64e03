//! Files for readers outside the project, and files of their making: ezdxf and svgelements, pinned in
//! `tests/outside/requirements.txt`. The files written here are checked by `tests/outside/{svg,dxf}.py`, which also run
//! the tests that are ignored without them.
#![allow(missing_docs)]

mod formats_support;

use formats_support::{Format, correction, scene};
use kurbo::{BezPath, CubicBez, Line, ParamCurve, ParamCurveNearest, PathSeg, Point};
use oaktag::calibrate::CorrectedJob;
use oaktag::read;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Writes one file for each format and correction, and what they should hold.
#[test]
fn files_for_readers_outside() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("formats");
    std::fs::create_dir_all(&folder).expect("a folder");
    let mut expected = serde_json::Map::new();
    for (name, x, y, skew) in
        [("plain", 1.0, 1.0, 0.0), ("short", 0.9987, 1.0, 0.0), ("leaning", 0.9973, 1.0021, 0.0008)]
    {
        for format in [Format::Svg, Format::Spline, Format::Polyline] {
            let (_, _, job) = scene(format, 11, Some(&correction(x, y, skew)));
            let file = match format {
                Format::Svg => format!("{name}.svg"),
                Format::Spline => format!("{name}-spline.dxf"),
                _ => format!("{name}-polyline.dxf"),
            };
            std::fs::write(folder.join(&file), format.write(&job)).expect("written");
            let mut want = json!({ "square": 300.0, "x": x, "y": y, "skew": skew });
            let strokes: usize = job.job().passes.iter().map(|pass| pass.strokes.len()).sum();
            want["strokes"] = json!(strokes);
            match format {
                Format::Svg => want["beziers"] = in_order(&job),
                Format::Spline => want["beziers"] = curved(&job),
                _ => {}
            }
            expected.insert(file, want);
        }
    }
    assert_eq!(expected.len(), 9);
    std::fs::write(folder.join("expected.json"), Value::Object(expected).to_string()).expect("written");
}

fn cubics(path: &BezPath) -> Value {
    path.segments()
        .map(|segment| {
            let c = match segment {
                PathSeg::Line(line) => CubicBez::new(line.p0, line.eval(1.0 / 3.0), line.eval(2.0 / 3.0), line.p1),
                curve => curve.to_cubic(),
            };
            json!([[c.p0.x, c.p0.y], [c.p1.x, c.p1.y], [c.p2.x, c.p2.y], [c.p3.x, c.p3.y]])
        })
        .collect()
}

/// Strokes with a curve in them, in working order.
fn curved(job: &CorrectedJob) -> Value {
    let strokes = job.job().passes.iter().flat_map(|pass| &pass.strokes);
    strokes
        .filter(|stroke| stroke.path.segments().any(|segment| !matches!(segment, PathSeg::Line(_))))
        .map(|stroke| cubics(&stroke.path))
        .collect()
}

/// All strokes, in working order.
fn in_order(job: &CorrectedJob) -> Value {
    job.job().passes.iter().flat_map(|pass| &pass.strokes).map(|stroke| cubics(&stroke.path)).collect()
}

type Reader = fn(&[u8], &str) -> oaktag::diag::Result<(read::Drawing, Vec<oaktag::diag::Finding>)>;

/// Largest distance of a path from a chain of points and the other way round, mm.
fn hausdorff(path: &BezPath, chain: &[[f64; 2]]) -> f64 {
    let theirs: Vec<Point> = chain.iter().map(|&[x, y]| Point::new(x, y)).collect();
    let ours: Vec<Point> =
        path.segments().flat_map(|s| (0..=1000).map(move |i| s.eval(f64::from(i) / 1000.0))).collect();
    let one_way = |a: &[Point], b: &[Point]| {
        let chords: Vec<Line> = b.windows(2).map(|pair| Line::new(pair[0], pair[1])).collect();
        let distance = |p: Point| {
            let near = chords.iter().map(|chord| chord.nearest(p, 1e-9).distance_sq);
            near.fold(f64::INFINITY, f64::min).sqrt()
        };
        a.iter().step_by(13).map(|&p| distance(p)).fold(0.0, f64::max)
    };
    one_way(&ours, &theirs).max(one_way(&theirs, &ours))
}

/// Has a script make files of a kind, reads them, and compares each path with the points that the other program sees.
fn read_as_others_see_them(kind: &str, reader: Reader, files: usize) {
    let python = std::env::var("OAKTAG_PYTHON").expect("OAKTAG_PYTHON names a Python with the pinned packages");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{kind}-kinds"));
    std::fs::create_dir_all(&folder).expect("a folder");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/outside/{kind}_kinds.py"));
    let run = Command::new(&python).arg(script).arg(&folder).output().expect("Python runs");
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let listed = std::fs::read_dir(&folder).expect("listed").map(|entry| entry.expect("listed").path());
    let drawn: Vec<PathBuf> = listed.filter(|path| path.extension().is_some_and(|e| e == kind)).collect();
    assert_eq!(drawn.len(), files);
    for file in drawn {
        let bytes = std::fs::read(&file).expect("read");
        let (drawing, findings) = reader(&bytes, "file").unwrap_or_else(|f| panic!("{}: {f}", file.display()));
        assert!(findings.is_empty(), "{}: {findings:?}", file.display());
        let points = std::fs::read_to_string(file.with_extension("json")).expect("read");
        let chains: Vec<Vec<[f64; 2]>> = serde_json::from_str(&points).expect("chains");
        assert_eq!(drawing.paths.len(), chains.len(), "{}", file.display());
        for (number, (bare, chain)) in drawing.paths.iter().zip(&chains).enumerate() {
            let apart = hausdorff(&bare.path, chain);
            assert!(apart < 1.5e-3, "{}, path {number}: {apart} mm", file.display());
        }
        // The check itself: a path moved by a fiftieth is found.
        let moved = kurbo::Affine::translate((0.02, 0.02)) * &drawing.paths[1].path;
        assert!(hausdorff(&moved, &chains[1]) > 1e-2, "{}", file.display());
    }
}

#[test]
#[ignore = "run by tests/outside/dxf.py"]
fn other_programs_dxf_files_are_read() {
    read_as_others_see_them("dxf", read::dxf, 3);
}

#[test]
#[ignore = "run by tests/outside/svg.py"]
fn other_programs_svg_files_are_read() {
    read_as_others_see_them("svg", read::svg, 7);
}
