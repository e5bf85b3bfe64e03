//! Files for readers outside the project: ezdxf and svgelements, pinned in `tests/outside/requirements.txt`.
#![allow(missing_docs)]

mod formats_support;

use formats_support::{FORMATS, Format, correction, scene};
use kurbo::{BezPath, CubicBez, ParamCurve, PathSeg};
use oaktag::calibrate::CorrectedJob;
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
