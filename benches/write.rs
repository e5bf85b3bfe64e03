//! Writing: `cargo bench --bench write`, or parts of it: `-- peer formats sheets people`, or `-- pdf-a4` and other formats by
//! name.
//!
//! 1. The strokes of 2,000 pieces as one DXF, by this project and by the library ezdxf (`peer/write.py`, run by the Python
//!    of the outside checks), in turns, in one run; with and without the writing on the pieces.
//! 2. The sheets of 10,000 pieces in every format, one after another on one core: from finished jobs to bytes, with nothing
//!    kept from one sheet for the next. Neither the making of the jobs is counted, nor the proof, nor the disk.
//! 3. The most memory that a process takes which writes, reads back and proves so many sheets one after another, and which
//!    makes the files of so many people (Linux only).
//!
//! A piece is one of the sample dress with all its lines. Each figure is the fastest of its rounds, in seconds of processor
//! time of one core, which other work on the machine hardly changes; and by the clock where that is said.

use kurbo::{Affine, BezPath, ParamCurve, PathSeg, Point};
use oaktag::calibrate::{self, CorrectedJob};
use oaktag::device::{self, Device, Medium, MediumKind, Tool, ToolKind};
use oaktag::draft::Choices;
use oaktag::lay::{Placed, Sheet, SheetStroke};
use oaktag::mark::MarkedPiece;
use oaktag::order::{Job, JobStroke, Pass};
use oaktag::role::Role;
use oaktag::write::{self, Curves, Dialect, Machine, Paper, ToolUse};
use oaktag::{measures, pipeline, proof, read, style, walk};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

/// Pieces on a sheet: one dress.
const ON_A_SHEET: usize = 10;
const TOLERANCE: f64 = 0.01;
const FORMATS: [&str; 9] = ["svg", "dxf", "dxf-polyline", "pdf", "pdf-a4", "hpgl", "hpgl2", "hpgl2-encoded", "rs274"];

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|arg| arg != "--bench").collect();
    if let [word, format, sheets] = &args[..]
        && word == "--sheets"
    {
        return prove_sheets(format, sheets.parse().expect("a count"));
    }
    let pieces = pieces();
    println!("a sheet: {ON_A_SHEET} pieces, {} strokes", sheet(&pieces, true).strokes.len());
    let asked = |part: &str| args.is_empty() || args.iter().any(|arg| arg == part);
    if asked("peer") {
        beside_the_peer(&pieces);
    }
    let formats = FORMATS.into_iter().filter(|format| asked("formats") || asked(format));
    every_format(&pieces, &formats.collect::<Vec<_>>());
    if asked("sheets") {
        memory_of_sheets();
    }
    if asked("people") {
        memory_of_people();
    }
}

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn text(name: &str) -> String {
    std::fs::read_to_string(file(name)).expect("a file of the repository")
}

/// The pieces of one dress, marked; some again so that a sheet is full.
fn pieces() -> Vec<MarkedPiece> {
    let [style, person] = ["samples/evening-chorus.style.kdl", "samples/maren-holt.measures.kdl"];
    let style = style::read(&text(style), style).expect("reads");
    let (person, _) = measures::read(&text(person), person).expect("reads");
    let walked = pipeline::draft_and_walk(&style, &person, &Choices::new(), walk::TOLERANCE).expect("drafts");
    let (marked, _) = pipeline::marked(&walked.set).expect("marks");
    marked.into_iter().cycle().take(ON_A_SHEET).collect()
}

/// A sheet with one of each, in rows.
fn sheet(pieces: &[MarkedPiece], with_writing: bool) -> Sheet {
    let mut sheet = Sheet {
        medium: "paper".into(),
        width: 4000.0,
        height: 3000.0,
        placed: Vec::new(),
        strokes: Vec::new(),
        square: 0.0,
        sizes: Vec::new(),
    };
    for (index, piece) in pieces.iter().enumerate() {
        let bounds = kurbo::Shape::bounding_box(&piece.outline);
        let corner = Point::new((index % 4) as f64 * 1000.0 + 100.0, (index / 4) as f64 * 1000.0 + 100.0);
        let transform = Affine::translate(corner - bounds.origin());
        sheet.placed.push(Placed {
            piece: piece.name.clone(),
            person: piece.person.clone(),
            transform,
            outline: transform * &piece.outline,
        });
        let strokes = piece.strokes.iter().filter(|stroke| with_writing || stroke.role != Role::Label);
        sheet.strokes.extend(strokes.map(|stroke| SheetStroke {
            role: stroke.role,
            placed: Some(index),
            edge: stroke.edge.clone(),
            path: transform * &stroke.path,
        }));
    }
    sheet
}

fn device(format: &str) -> Device {
    let language = match format {
        "svg" => device::Language::Svg,
        "dxf" => device::Language::Dxf,
        "dxf-polyline" => device::Language::DxfPolyline,
        "pdf" | "pdf-a4" => device::Language::Pdf,
        "hpgl" => device::Language::Hpgl,
        "hpgl2" => device::Language::Hpgl2,
        "hpgl2-encoded" => device::Language::Hpgl2Encoded,
        _ => device::Language::Rs274,
    };
    let medium = Medium::plain("paper", MediumKind::Roll { width: 3000.0, longest: 5000.0 }, 0.0, 5.0);
    Device {
        tolerance: TOLERANCE,
        tools: vec![Tool::plain("pen", ToolKind::Pen, &Role::ALL)],
        media: vec![medium],
        ..Device::plain("bench", language)
    }
}

fn job(sheet: &Sheet) -> CorrectedJob {
    let strokes = sheet.strokes.iter().map(|stroke| JobStroke {
        role: stroke.role,
        piece: stroke.placed.map_or(String::new(), |index| sheet.placed[index].piece.clone()),
        placed: stroke.placed,
        edge: stroke.edge.clone(),
        path: stroke.path.clone(),
    });
    calibrate::identity(Job {
        device: "bench".into(),
        medium: sheet.medium.clone(),
        title: "Evening Chorus, Maren Holt".into(),
        width: sheet.width,
        height: sheet.height,
        zero: Point::ORIGIN,
        square: 0.0,
        sizes: Vec::new(),
        passes: vec![Pass { tool: "pen".into(), strokes: strokes.collect() }],
    })
}

const A4: Paper = Paper { width: 210.0, height: 297.0, margins: [6.0; 4], overlap: 10.0 };

fn written(format: &str, job: &CorrectedJob) -> Vec<u8> {
    let machine = || Machine {
        tolerance: TOLERANCE,
        units_per_mm: 40.0,
        largest: None,
        place: Affine::IDENTITY,
        start: String::new(),
        end: String::new(),
        tools: vec![ToolUse {
            name: "pen".into(),
            number: 1,
            force: None,
            speed: Some(100.0),
            power: None,
            heights: None,
        }],
    };
    match format {
        "svg" => write::svg(job),
        "dxf" => write::dxf(job, Curves::Spline),
        "dxf-polyline" => write::dxf(job, Curves::Polyline(TOLERANCE)),
        "pdf" => write::pdf(job, None),
        "pdf-a4" => write::pdf(job, Some(A4)),
        "hpgl" => write::hpgl(job, &machine(), Dialect::Hpgl).expect("writes"),
        "hpgl2" => write::hpgl(job, &machine(), Dialect::Hpgl2).expect("writes"),
        "hpgl2-encoded" => write::hpgl(job, &machine(), Dialect::Encoded).expect("writes"),
        _ => write::rs274(job, &machine()).expect("writes"),
    }
}

fn read_back(format: &str, bytes: &[u8]) -> read::Drawing {
    let glue = read::Glue { margins: A4.margins, overlap: A4.overlap };
    let read = match format {
        "svg" => read::svg(bytes, "bench"),
        "dxf" | "dxf-polyline" => read::dxf(bytes, "bench"),
        "pdf" => read::pdf(bytes, "bench", None),
        "pdf-a4" => read::pdf(bytes, "bench", Some(glue)),
        "rs274" => read::rs274(bytes, "bench"),
        _ => read::hpgl(bytes, "bench", 40.0),
    };
    read.expect("reads").0
}

/// What a call takes on one core, by the clock and, where the system tells it, in processor time.
fn seconds(mut call: impl FnMut()) -> (f64, f64) {
    let (began, used) = (Instant::now(), processor());
    call();
    (began.elapsed().as_secs_f64(), processor() - used)
}

/// Seconds of processor time that this program has used (Linux: fields 14 and 15 of /proc/self/stat, hundredths).
fn processor() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let behind = text.rsplit(')').next().unwrap_or("");
    behind.split_whitespace().skip(11).take(2).filter_map(|field| field.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// The strokes of 2,000 pieces as one DXF, in turns with ezdxf.
fn beside_the_peer(pieces: &[MarkedPiece]) {
    const PIECES: usize = 2000;
    let python = file(".venv/bin/python");
    for (what, with_writing, rounds) in [("lines alone", false, 3), ("with all writing", true, 1)] {
        let mut all = sheet(pieces, with_writing);
        let one = all.strokes.clone();
        for copy in 1..PIECES / ON_A_SHEET {
            let away = Affine::translate(((copy % 14) as f64 * 4000.0, (copy / 14) as f64 * 3000.0));
            all.strokes.extend(one.iter().map(|stroke| SheetStroke { path: away * &stroke.path, ..stroke.clone() }));
        }
        let job = job(&all);
        let [strokes, theirs_file] = ["strokes.json", "theirs.dxf"].map(|name| file("target").join(name));
        std::fs::write(&strokes, chains(&all)).expect("writes");
        let (mut ours, mut theirs) = (f64::INFINITY, f64::INFINITY);
        let mut size = 0;
        for _ in 0..rounds {
            const TIMES: usize = 5;
            let (_, used) = seconds(|| (0..TIMES).for_each(|_| size = write::dxf(&job, Curves::Spline).len()));
            ours = ours.min(used / TIMES as f64);
            if python.is_file() {
                let run = Command::new(&python)
                    .arg(file("benches/peer/write.py"))
                    .args([strokes.as_os_str(), theirs_file.as_os_str(), "1".as_ref()])
                    .stderr(Stdio::null())
                    .output()
                    .expect("starts");
                let took = String::from_utf8_lossy(&run.stdout);
                theirs = took.lines().filter_map(|line| line.parse().ok()).fold(theirs, f64::min);
            }
        }
        let beside = if theirs.is_finite() {
            let text = std::fs::read_to_string(&theirs_file).expect("there");
            assert_eq!(entities(&text), entities(&String::from_utf8_lossy(&write::dxf(&job, Curves::Spline))));
            format!("ezdxf {theirs:.2} s of processor: {:.0} times as long", theirs / ours)
        } else {
            "ezdxf: not run, there is no .venv; python3 tests/run.py \"python packages\" makes it".into()
        };
        println!(
            "DXF of {PIECES} pieces, {what}: {} strokes, {:.1} MB, {ours:.3} s of processor; {beside}",
            all.strokes.len(),
            size as f64 / 1e6
        );
    }
}

/// How many lines, polylines and splines a DXF draws.
fn entities(dxf: &str) -> [usize; 3] {
    ["\nAcDbLine\n", "\nAcDbPolyline\n", "\nAcDbSpline\n"].map(|kind| dxf.matches(kind).count())
}

/// Layer, whether closed, and points; control points of cubics, and no word of closing, where the stroke is curved.
fn chains(sheet: &Sheet) -> String {
    let strokes: Vec<_> = sheet
        .strokes
        .iter()
        .filter(|stroke| stroke.path.segments().next().is_some())
        .map(|stroke| {
            let (closed, chain) = chain(&stroke.path);
            serde_json::json!([stroke.role.name(), closed, chain])
        })
        .collect();
    serde_json::Value::Array(strokes).to_string()
}

fn chain(path: &BezPath) -> (Option<bool>, Vec<[f64; 2]>) {
    let at = |p: Point| [p.x, p.y];
    let segments: Vec<PathSeg> = path.segments().collect();
    let mut points = vec![at(segments[0].start())];
    if segments.iter().all(|segment| matches!(segment, PathSeg::Line(_))) {
        points.extend(segments.iter().map(|segment| at(segment.end())));
        let closed = oaktag::geom::path::is_closed(path);
        if closed {
            points.pop();
        }
        return (Some(closed), points);
    }
    for segment in &segments {
        let [b, c] = match segment {
            PathSeg::Line(line) => [line.eval(1.0 / 3.0), line.eval(2.0 / 3.0)],
            curve => [curve.to_cubic().p1, curve.to_cubic().p2],
        };
        points.extend([b, c, segment.end()].map(at));
    }
    (None, points)
}

/// The sheets of 10,000 pieces, one after another.
fn every_format(pieces: &[MarkedPiece], formats: &[&str]) {
    const PIECES: usize = 10_000;
    for (what, with_writing) in [("lines alone", false), ("with all writing", true)] {
        let job = job(&sheet(pieces, with_writing));
        for &format in formats {
            let mut bytes = 0;
            let one_after_another = || {
                bytes =
                    (0..PIECES / ON_A_SHEET).map(|_| written(format, std::hint::black_box(&job)).len()).sum::<usize>();
            };
            let (took, used) = seconds(one_after_another);
            let megabytes = bytes as f64 / 1e6;
            println!("{PIECES} pieces, {what}, {format}: {took:.2} s, {used:.2} s of processor, {megabytes:.0} MB");
        }
    }
}

/// Writes, reads back and proves so many sheets, none of them kept, and says the most memory that it took.
fn prove_sheets(format: &str, sheets: usize) {
    let (pieces, device) = (pieces(), device(format));
    for _ in 0..sheets {
        let sheet = sheet(&pieces, true);
        let bytes = written(format, &job(&sheet));
        let proof = proof::prove(&read_back(format, &bytes), &sheet, &device, None);
        assert!(proof.passed, "{format}: {:?}", proof.reasons);
    }
    println!("{}", most_memory(std::process::id()).unwrap_or(0.0));
}

/// The most memory that a process ever had, MB.
fn most_memory(process: u32) -> Option<f64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}

fn memory_of_sheets() {
    for format in FORMATS {
        let most = [1, 10, 100].map(|sheets: usize| {
            let run = Command::new(std::env::current_exe().expect("this program"))
                .args(["--sheets", format, &sheets.to_string()])
                .output()
                .expect("starts");
            String::from_utf8_lossy(&run.stdout).trim().parse::<f64>().unwrap_or(f64::NAN)
        });
        println!(
            "written, read back and proven, {format}: 1 sheet {:.0} MB, 10 {:.0} MB, 100 {:.0} MB",
            most[0], most[1], most[2]
        );
    }
}

/// `oaktag make` for so many people, each with a folder of their own.
fn memory_of_people() {
    let folder = file("target/bench-write");
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    let person = text("samples/maren-holt.measures.kdl");
    for people in [1, 10, 40] {
        let measures: Vec<PathBuf> = (0..people)
            .map(|number| {
                let path = folder.join(format!("{number}.measures.kdl"));
                std::fs::write(&path, person.replace("\"Maren Holt\"", &format!("\"Singer {number}\"")))
                    .expect("writes");
                path
            })
            .collect();
        let mut run = Command::new(env!("CARGO_BIN_EXE_oaktag"))
            .args(["make".as_ref(), file("samples/evening-chorus.style.kdl").as_os_str(), "--measures".as_ref()])
            .args(&measures)
            .args(["--device", "card-cutter", "roll-plotter", "-o"])
            .arg(folder.join("out"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("starts");
        let began = Instant::now();
        let mut most = 0.0;
        let status = loop {
            if let Some(status) = run.try_wait().expect("waits") {
                break status;
            }
            most = most_memory(run.id()).unwrap_or(0.0).max(most);
            std::thread::sleep(std::time::Duration::from_millis(5));
        };
        assert!(status.success(), "{status}");
        println!("oaktag make, {people} people, two devices: {most:.0} MB, {:.1} s", began.elapsed().as_secs_f64());
    }
}
