//! Files for readers outside the project: ezdxf and svgelements, pinned in `tests/outside/requirements.txt`.
#![allow(missing_docs)]

mod formats_support;

use formats_support::{FORMATS, Format, correction, scene};
use kurbo::{BezPath, CubicBez, Line, ParamCurve, ParamCurveNearest, PathSeg, Point};
use oaktag::calibrate::CorrectedJob;
use oaktag::read;
use oaktag::role::Role;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Writes one file for each format and correction, and what they should hold.
fn written() -> (PathBuf, PathBuf) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("formats");
    std::fs::create_dir_all(&folder).expect("a folder");
    let mut expected = serde_json::Map::new();
    for (name, x, y, skew) in
        [("plain", 1.0, 1.0, 0.0), ("short", 0.9987, 1.0, 0.0), ("leaning", 0.9973, 1.0021, 0.0008)]
    {
        for format in FORMATS {
            let (_, _, job) = scene(format, 11, Some(&correction(x, y, skew)));
            let file = match format {
                Format::Svg => format!("{name}.svg"),
                Format::Spline => format!("{name}-spline.dxf"),
                Format::Polyline => format!("{name}-polyline.dxf"),
            };
            std::fs::write(folder.join(&file), format.write(&job)).expect("written");
            let mut want = json!({ "square": 300.0, "x": x, "y": y, "skew": skew });
            let strokes: usize = job.job().passes.iter().map(|pass| pass.strokes.len()).sum();
            want["strokes"] = json!(strokes);
            match format {
                Format::Svg => want["beziers"] = in_groups(&job),
                Format::Spline => want["beziers"] = curved(&job),
                Format::Polyline => {}
            }
            expected.insert(file, want);
        }
    }
    let list = folder.join("expected.json");
    std::fs::write(&list, Value::Object(expected).to_string()).expect("written");
    (folder, list)
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

/// All strokes as SVG groups them: by role, the role that ends last at the end.
fn in_groups(job: &CorrectedJob) -> Value {
    let mut all = Vec::new();
    for pass in &job.job().passes {
        let last = |role: Role| pass.strokes.iter().rposition(|stroke| stroke.role == role);
        let mut roles: Vec<Role> = Role::ALL.into_iter().filter(|&role| last(role).is_some()).collect();
        roles.sort_by_key(|&role| last(role));
        for role in roles {
            all.extend(pass.strokes.iter().filter(|s| s.role == role).map(|s| cubics(&s.path)));
        }
    }
    Value::Array(all)
}

/// `OAKTAG_PYTHON=.venv/bin/python cargo test --release --test formats_outside -- --ignored`
#[test]
#[ignore = "needs OAKTAG_PYTHON, a Python with tests/outside/requirements.txt"]
fn readers_outside_agree() {
    let python = std::env::var("OAKTAG_PYTHON").expect("OAKTAG_PYTHON names a Python");
    let (folder, expected) = written();
    for script in ["dxf.py", "svg.py"] {
        let run = Command::new(&python)
            .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside").join(script))
            .args([&folder, &expected])
            .arg("--seed-faults")
            .output()
            .expect("Python runs");
        let said = String::from_utf8_lossy(&run.stdout) + String::from_utf8_lossy(&run.stderr);
        assert!(run.status.success(), "{script}: {said}");
        assert_eq!(said.matches(": good").count(), if script == "dxf.py" { 6 } else { 3 }, "{said}");
    }
}

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

#[test]
#[ignore = "needs OAKTAG_PYTHON, a Python with tests/outside/requirements.txt"]
fn other_programs_files_are_read() {
    let python = std::env::var("OAKTAG_PYTHON").expect("OAKTAG_PYTHON names a Python");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kinds");
    std::fs::create_dir_all(&folder).expect("a folder");
    for script in ["dxf_kinds.py", "svg_kinds.py"] {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/outside").join(script);
        let run = Command::new(&python).arg(script).arg(&folder).output().expect("Python runs");
        assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    }
    let mut files: Vec<PathBuf> = std::fs::read_dir(&folder)
        .expect("listed")
        .map(|entry| entry.expect("listed").path())
        .filter(|path| path.extension().is_some_and(|extension| extension != "json"))
        .collect();
    files.sort();
    assert_eq!(files.len(), 10);
    for file in files {
        let bytes = std::fs::read(&file).expect("read");
        let reader = if file.extension().is_some_and(|e| e == "svg") { read::svg } else { read::dxf };
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
