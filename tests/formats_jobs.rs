//! What every written file should draw, for the programs outside that read it: the job, stroke by stroke, as chains of
//! points on the sheet. The files and these chains are compared by `tests/outside/{chromium,pdf,plotters,rs274}.py`,
//! which apply the machine's correction and axes by their own reckoning, and by usvg here.
#![allow(missing_docs)]

mod common;
mod formats_support;

use common::drafted;
use formats_support::{FORMATS, Format, correction, job, sheet};
use kurbo::{BezPath, ParamCurve, ParamCurveNearest, PathEl, PathSeg, Point};
use oaktag::device::{self, Correction, Device, Notches};
use oaktag::lay::{Copies, Sheet, SheetStroke, lay, nest::spread};
use oaktag::mark::nest::{Key, Lines, Nest, nest};
use oaktag::mark::{self, Heading, MarkedPiece};
use oaktag::order::{Job, order};
use oaktag::piece::PieceSet;
use oaktag::pipeline::{self, Laying, NamedDevice, Nested, Walked};
use oaktag::proof::prove;
use oaktag::role::Role;
use oaktag::{read, walk, write};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use usvg::tiny_skia_path::PathSegment;

/// How far the chains stray from the curves, mm.
const FINE: f64 = 1e-3;

/// Profiles of the samples whose tools follow the line as it is given.
const DEVICES: [&str; 9] = [
    "wardrobe-plotter",
    "projector",
    "wardrobe-cutter",
    "interchange",
    "roll-inkjet",
    "home-printer-a4",
    "home-printer-letter",
    "roll-pen-plotter",
    "old-pen-plotter",
];

/// What the profiles of the samples do not have: zeros in other corners of a machine that was corrected, encoded
/// polylines, arcs, curves as polylines, large pages, pages of any size.
const MORE: [(&str, &str); 7] = [
    ("corner-plotter", "language \"hpgl2\" encoded=#true\naxes origin=\"lower-right\" x=\"up\" y=\"left\"\n"),
    ("corner-mill", "language \"rs274\"\naxes origin=\"upper-right\" x=\"left\" y=\"down\"\n"),
    ("centre-laser", "language \"rs274\"\naxes origin=\"centre\" x=\"down\" y=\"right\"\n"),
    ("chords", "language \"dxf\" curves=\"polyline\"\ntolerance \"0.05 mm\"\n"),
    ("whole-pages", "language \"pdf\"\n"),
    ("pages-a3", "language \"pdf\"\n"),
    ("pages-odd", "language \"pdf\"\n"),
];

fn more(name: &str, head: &str) -> NamedDevice {
    let medium = match name {
        "pages-a3" => "medium \"paper\" kind=\"pages\" size=\"A3\" margin=\"7 mm\" overlap=\"15 mm\"",
        "pages-odd" => {
            "medium \"paper\" kind=\"pages\" width=\"333 mm\" height=\"200 mm\" left=\"20 mm\" overlap=\"5 mm\""
        }
        _ => "medium \"paper\" kind=\"roll\" width=\"36 in\" longest=\"5000 mm\" margin=\"10 mm\" gap=\"5 mm\"",
    };
    let speed = match name {
        "corner-mill" => "speed mm-per-second=20\nheights up=\"5 mm\" down=\"-1 mm\"\n",
        "centre-laser" => "speed mm-per-second=20\npower 300\n",
        _ => "",
    };
    let text = format!(
        "device \"{name}\" {{\n{head}{medium}\n\
         tool \"pen\" {{\n draws \"sew\" \"notch\" \"grain\" \"fold\" \"drill\" \"line\" \"dart\" \"label\" \"square\"\n{speed}}}\n\
         tool \"marker\" {{\n draws \"cut\"\n number 2\n{speed}}}\n\
         correction \"2026-10-02\" medium=\"paper\" x=0.9973 y=1.0021 skew=0.0008\n}}\n"
    );
    NamedDevice { name: name.into(), device: device::read(&text, name).unwrap_or_else(|e| panic!("{e}")).0 }
}

fn sample(name: &str) -> NamedDevice {
    NamedDevice { name: name.into(), device: device::read(&common::profile(name), name).expect("reads").0 }
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("jobs").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    folder
}

/// A job that is not corrected yet, and all that its file's reader has to know.
fn truth(job: &Job, device: &Device) -> Value {
    let tool = |name: &str| device.tools.iter().find(|tool| tool.name == name).map_or(0, |tool| tool.number);
    let strokes: Vec<Value> = job
        .passes
        .iter()
        .flat_map(|pass| pass.strokes.iter().map(move |stroke| (pass, stroke)))
        .filter(|(_, stroke)| stroke.path.segments().next().is_some())
        .map(|(pass, stroke)| {
            let points: Vec<[f64; 2]> = chain(&stroke.path).iter().map(|p| [p.x, p.y]).collect();
            json!({
                "role": stroke.role.name(), "tool": tool(&pass.tool), "piece": stroke.piece, "placed": stroke.placed,
                "points": points,
            })
        })
        .collect();
    let [x, y, skew] = device.correction(&job.medium).map_or([1.0, 1.0, 0.0], |c| [c.x, c.y, c.skew]);
    let pages = device.medium(&job.medium).and_then(|medium| medium.pages).map(|pages| {
        let m = pages.margins;
        json!({ "size": [pages.width, pages.height], "margins": [m.left, m.right, m.bottom, m.top], "overlap": pages.overlap })
    });
    json!({
        "language": device.language, "x": x, "y": y, "skew": skew, "width": job.width, "height": job.height,
        "square": job.square, "tolerance": device.tolerance, "units_per_mm": device.units_per_mm, "pixel": device.pixel,
        "axes": device.axes, "pages": pages, "strokes": strokes,
    })
}

/// A path of one subpath as points.
fn chain(path: &BezPath) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::new();
    let mut start = Point::ORIGIN;
    kurbo::flatten(path.iter(), FINE, |element| match element {
        PathEl::MoveTo(p) => {
            start = p;
            points.push(p);
        }
        PathEl::LineTo(p) => points.push(p),
        PathEl::ClosePath if points.last() != Some(&start) => points.push(start),
        _ => {}
    });
    points
}

fn walked() -> Walked {
    let set = drafted("evening-chorus", "maren-holt");
    pipeline::walk_pieces(set, walk::TOLERANCE)
}

/// Writes what the files of a device should draw, one for each sheet, as `FILE.job.json`; with the files themselves
/// where they are not among the samples.
fn record(named: &NamedDevice, walked: &Walked, folder: &Path, files: bool) -> usize {
    let sheets = pipeline::sheets(&walked.set, &named.device).unwrap_or_else(|e| panic!("{}: {e}", named.name));
    let extension = named.device.language.extension();
    let name = |index: usize| match sheets.len() {
        1 => format!("{}.{extension}", named.name),
        _ => format!("{}-{}.{extension}", named.name, index + 1),
    };
    for (index, sheet) in sheets.iter().enumerate() {
        let (job, _) = order(sheet, &named.device, "").expect("ordered");
        let text = truth(&job, &named.device).to_string();
        std::fs::write(folder.join(format!("{}.job.json", name(index))), text).expect("written");
    }
    if files {
        let made = pipeline::make(walked.clone(), std::slice::from_ref(named)).expect("made");
        assert!(made.failed.is_empty(), "{}: {:?}", named.name, made.failed);
        assert_eq!(made.files.len(), sheets.len());
        for file in &made.files {
            std::fs::write(folder.join(&file.line().file), file.bytes()).expect("written");
        }
    }
    sheets.len()
}

#[test]
fn jobs_of_the_samples() {
    let (walked, samples, made) = (walked(), folder("samples"), folder("made"));
    let count: usize = DEVICES.iter().map(|name| record(&sample(name), &walked, &samples, false)).sum();
    assert!(count >= DEVICES.len());
    for (name, head) in MORE {
        record(&more(name, head), &walked, &made, true);
    }
}

#[test]
fn jobs_of_seeded_chance() {
    let folder = folder("chance");
    for (name, c) in [("plain", None), ("leaning", Some(correction(0.9973, 1.0021, 0.0008)))] {
        for format in FORMATS {
            by_chance(&folder, name, &format!("{format:?}").to_lowercase(), format, &sheet(31, 8), c.as_ref());
        }
        // Longer than two pages of a PDF can be.
        by_chance(&folder, name, "long", Format::Pdf, &long_sheet(), c.as_ref());
    }
}

/// What a size's bare lines are headed with.
fn heading(set: &PieceSet) -> Heading {
    Heading {
        style: set.style.clone(),
        person: set.person.clone(),
        taken: String::new(),
        unit: set.unit,
        number: 1,
        of: 1,
        net_block: false,
        ease: Vec::new(),
        toile: String::new(),
        stamp: String::new(),
        notches: Notches::Drawn,
        scale: 1.0,
        font: None,
        slips: false,
    }
}

fn nested(people: &[Walked], devices: &[NamedDevice]) -> Nested {
    pipeline::nest(people, devices, &Laying::default()).unwrap_or_else(|e| panic!("{e}"))
}

/// Three people's pieces over one another pass their proof in every language; the files are checked further by
/// `tests/outside/nested.py`.
#[test]
fn sizes_laid_over_one_another_are_proven() {
    let people = common::PEOPLE.map(|person| pipeline::walk_pieces(drafted("evening-chorus", person), walk::TOLERANCE));
    let some = |(name, _): &&(&str, &str)| ["chords", "corner-plotter", "corner-mill", "pages-a3"].contains(name);
    let mut devices: Vec<NamedDevice> = MORE.iter().filter(some).map(|(name, head)| more(name, head)).collect();
    devices.push(sample("interchange"));
    devices.push(sample("wardrobe-plotter"));
    let nested = nested(&people, &devices);
    assert!(nested.failed.is_empty(), "{:?}", nested.failed);
    let folder = folder("nested");
    for file in &nested.files {
        assert_eq!(file.line().pieces, 21, "{}", file.line().file);
        std::fs::write(folder.join(&file.line().file), file.bytes()).expect("written");
    }
    assert_eq!(nested.files.len(), devices.len());
    for (people, devices, words) in [
        (&people[..1], &devices[..], "1 sizes can't be laid over"),
        (&[people[0].clone(), people[0].clone()][..], &devices[..], "two sizes are called"),
        (&people[..], &[sample("laser")][..], "would cut sizes out"),
    ] {
        let refused = pipeline::nest(people, devices, &Laying::default()).expect_err(words);
        assert!(refused.message.contains(words), "{refused}");
    }
}

/// A nest's sizes are told apart by the proof too: faults of one size alone, and of two sizes that change places.
#[test]
fn faults_in_a_nest_are_caught() {
    let sets = ["maren-holt", "pip-arlen"].map(|person| drafted("evening-chorus", person));
    let sizes: Vec<String> = sets.iter().map(|set| set.person.clone()).collect();
    let bare = sets.each_ref().map(|set| {
        let cut = pipeline::cut(set).expect("cut").0;
        mark::bare(&cut[0], &heading(set)).expect("marked").0
    });
    let own: Vec<(usize, &MarkedPiece)> = bare.iter().enumerate().map(|(i, piece)| (i + 1, piece)).collect();
    let device = sample("wardrobe-plotter").device;
    // The key says the allowances in words; a piece of a tenth of the size has no room for them, which is told.
    let allowances = mark::allowances(&sets[0].pieces[0], sets[0].unit, false);
    assert!(allowances.contains(&"1 in allowance: side".to_owned()), "{allowances:?}");
    let key = Key { style: "Evening Chorus", allowances: &allowances };
    let silent = Key { allowances: &[], ..key };
    let in_key = |nest: &Nest| nest.marked.strokes.iter().filter(|stroke| stroke.edge == "key").count();
    let letters: usize = allowances.iter().map(|line| oaktag::text::letter(line, 4.0).paths.len()).sum();
    let without = in_key(&nest(&own, &silent, Lines::Typed, None).expect("nested").0);
    let small = bare.each_ref().map(|piece| MarkedPiece {
        outline: kurbo::Affine::scale(0.1) * &piece.outline,
        strokes: Vec::new(),
        ..piece.clone()
    });
    let tiny: Vec<(usize, &MarkedPiece)> = small.iter().enumerate().map(|(i, piece)| (i + 1, piece)).collect();
    let (_, told) = nest(&tiny, &key, Lines::Typed, None).expect("nested");
    assert!(told.iter().any(|f| f.message.contains("no room for the")), "{told:?}");
    let (nest, findings) = nest(&own, &key, Lines::Typed, None).expect("nested");
    assert!(findings.is_empty(), "{findings:?}");
    assert_eq!(in_key(&nest), without + letters);
    let (laid, _) = lay(std::slice::from_ref(&nest.marked), &device.media[0], Copies::One, "").expect("laid");
    let nests = [nest];
    let sheet = spread(&laid[0], &nests, &sizes).expect("spread");
    // A stroke lost or of another piece's name, and no size is sure any more.
    let mut lost = laid[0].clone();
    lost.strokes.remove(lost.strokes.iter().position(|stroke| stroke.placed.is_some()).expect("a stroke"));
    let finding = spread(&lost, &nests, &sizes).expect_err("a stroke is lost");
    assert!(finding.message.contains("can't be told apart") && finding.piece.is_some(), "{finding}");
    assert!(spread(&laid[0], &[], &sizes).is_err());
    assert_eq!(sheet.placed.len(), 2);
    assert_eq!(sheet.placed[0].transform, sheet.placed[1].transform);
    // Nothing is lost: the cut lines are those of the pieces, the names are the sizes' own, the key is nobody's.
    let of = |role, placed| sheet.strokes.iter().filter(move |s| s.role == role && s.placed == placed);
    for (index, piece) in bare.iter().enumerate() {
        let cut: Vec<_> = of(Role::Cut, Some(index)).collect();
        assert_eq!(cut.len(), 1);
        assert_eq!(cut[0].path, sheet.placed[index].transform * &piece.outline);
        let own = |edge: &str| edge == format!("size {}", sizes[index]);
        let fold = |edge: &str| index == 0 && edge.starts_with("fold, ");
        assert!(of(Role::Label, Some(index)).all(|s| own(&s.edge) || fold(&s.edge)));
        assert!(of(Role::Label, Some(index)).filter(|s| own(&s.edge)).count() > 3);
    }
    // The fold has its bracket, two arrows and words, once. A seeded fault: a line along the fold alone says nothing; so it
    // is for other programs, where the mirror line says it (ASTM D6673, layer 6).
    let says_fold = |nest: &Nest| {
        let of = |role| nest.marked.strokes.iter().filter(move |s| s.role == role);
        (of(Role::Fold).count(), of(Role::Label).filter(|s| s.edge.starts_with("fold, ")).count() > 10)
    };
    assert!(bare[0].on_fold);
    assert_eq!(says_fold(&nests[0]), (3, true));
    let blocks = oaktag::mark::nest::nest(&own, &key, Lines::Blocks, None).expect("nested").0;
    assert_eq!(says_fold(&blocks), (2, false));
    assert!(of(Role::Label, None).filter(|s| s.edge == "key").count() > 20);

    let (job, _) = order(&sheet, &device, "").expect("ordered");
    assert_eq!(job.sizes.iter().map(|size| size.number).collect::<Vec<_>>(), [1, 2]);
    // A piece of no size, and none has one: they stand at the placed pieces' own places.
    let mut nobody = sheet.clone();
    nobody.placed[0].person.clear();
    assert!(order(&nobody, &device, "").expect("ordered").0.sizes.is_empty());
    let correction = device.correction("paper");
    let text = String::from_utf8(write::svg(&oaktag::calibrate::correct(job, correction))).expect("text");
    let proven = |text: &str| {
        let drawing = read::svg(text.as_bytes(), "t").expect("reads").0;
        prove(&drawing, &sheet, &device, correction)
    };
    assert!(proven(&text).passed, "{:?}", proven(&text));
    let swapped = text.replace("\"cut-1\"", "\"x\"").replace("\"cut-2\"", "\"cut-1\"").replace("\"x\"", "\"cut-2\"");
    let faults: [(&str, String, &str); 4] = [
        ("two sizes change places", swapped, "2 of"),
        ("a size without its number", text.replace("\"cut-2\"", "\"cut\""), "1 of"),
        (
            "one size moved by 0.1 mm",
            text.replace("id=\"cut-2\"", "id=\"cut-2\" transform=\"translate(0,0.1)\""),
            "strays by 0.1",
        ),
        ("a size hidden", text.replace("id=\"notch-2\"", "id=\"notch-2\" style=\"display:none\""), "not in the file"),
    ];
    for (what, spoilt, words) in faults {
        let proof = proven(&spoilt);
        assert!(spoilt != text && !proof.passed, "{what} passed");
        assert!(proof.reasons.iter().any(|reason| reason.contains(words)), "{what}: {:?}", proof.reasons);
    }
}

fn by_chance(folder: &Path, name: &str, kind: &str, format: Format, sheet: &Sheet, c: Option<&Correction>) {
    let mut device = formats_support::device(format);
    device.corrections.extend(c.cloned());
    device.media.push(formats_support::medium(format));
    let job = job(sheet, &device, 7);
    let truth = truth(&job, &device).to_string();
    let bytes = format.write(&oaktag::calibrate::correct(job, c));
    let file = format!("{name}-{kind}.{}", format.ending());
    std::fs::write(folder.join(&file), bytes).expect("written");
    std::fs::write(folder.join(format!("{file}.job.json")), truth).expect("written");
}

/// A sheet of 11.2 m: most of its pieces at the start, some across both splits, a seam from end to end, and nothing else
/// between.
fn long_sheet() -> Sheet {
    let mut sheet = sheet(31, 8);
    sheet.width = 11_200.0;
    for stroke in &mut sheet.strokes {
        let along = match stroke.placed {
            Some(5) => 5_070.0 - 800.0,
            Some(6) => 10_130.0 - 800.0,
            Some(7) => 10_800.0 - 800.0,
            _ => 0.0,
        };
        stroke.path.apply_affine(kurbo::Affine::translate((along, 0.0)));
    }
    let mut seam = formats_support::open(&[(400.0, 450.0)]);
    seam.curve_to((4_000.0, 800.0), (8_000.0, 100.0), (11_100.0, 500.0));
    sheet.strokes.push(SheetStroke { role: Role::Sew, placed: None, edge: String::new(), path: seam });
    sheet
}

/// Every path of an SVG file as usvg sees it, mm, y up from the page's lower edge.
fn seen_by_usvg(bytes: &[u8]) -> Vec<BezPath> {
    let tree = usvg::Tree::from_data(bytes, &usvg::Options::default()).expect("usvg reads it");
    let mut paths = Vec::new();
    gather(tree.root(), &mut paths);
    // 96 pixels an inch (CSS 2.1, 4.3.2).
    let mm = 25.4 / 96.0;
    let to_page = kurbo::Affine::new([mm, 0.0, 0.0, -mm, 0.0, f64::from(tree.size().height()) * mm]);
    paths.iter().map(|path| to_page * path).collect()
}

fn gather(group: &usvg::Group, paths: &mut Vec<BezPath>) {
    for node in group.children() {
        match node {
            usvg::Node::Group(inner) => gather(inner, paths),
            usvg::Node::Path(path) => {
                assert!(path.fill().is_none() && path.stroke().is_some() && path.is_visible());
                let t = path.abs_transform();
                let at = kurbo::Affine::new([t.sx, t.ky, t.kx, t.sy, t.tx, t.ty].map(f64::from));
                let p = |p: usvg::tiny_skia_path::Point| Point::new(f64::from(p.x), f64::from(p.y));
                let elements = path.data().segments().map(|segment| match segment {
                    PathSegment::MoveTo(a) => PathEl::MoveTo(p(a)),
                    PathSegment::LineTo(a) => PathEl::LineTo(p(a)),
                    PathSegment::QuadTo(a, b) => PathEl::QuadTo(p(a), p(b)),
                    PathSegment::CubicTo(a, b, c) => PathEl::CurveTo(p(a), p(b), p(c)),
                    PathSegment::Close => PathEl::ClosePath,
                });
                paths.push(at * &elements.collect::<BezPath>());
            }
            _ => panic!("a picture or a text"),
        }
    }
}

/// The largest distance of points along one path from another, mm.
fn one_way(a: &BezPath, b: &BezPath) -> f64 {
    let sides: Vec<PathSeg> = b.segments().collect();
    a.segments()
        .flat_map(|s| (0..=12).map(move |i| s.eval(f64::from(i) / 12.0)))
        .map(|p| {
            // A dot has no nearest point along it.
            let to = |s: &PathSeg| s.start().distance(p).min(s.nearest(p, 1e-6).distance_sq.sqrt());
            sides.iter().map(to).fold(f64::INFINITY, f64::min)
        })
        .fold(0.0, f64::max)
}

/// The largest distance of a job's lines from the paths nearest to them, mm; infinite where their numbers differ.
fn furthest(job: &Job, seen: &[BezPath]) -> f64 {
    let lines: Vec<&BezPath> = job.passes.iter().flat_map(|pass| &pass.strokes).map(|stroke| &stroke.path).collect();
    if lines.len() != seen.len() {
        return f64::INFINITY;
    }
    let sides = |path: &BezPath| {
        let b = kurbo::Shape::bounding_box(path);
        [b.x0, b.y0, b.x1, b.y1]
    };
    let boxes: Vec<[f64; 4]> = seen.iter().map(sides).collect();
    let nearest = |line: &&BezPath| {
        let own = sides(line);
        let off = |b: &[f64; 4]| own.iter().zip(b).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        let near = boxes.iter().zip(seen).filter(|(b, _)| off(b) < 0.05);
        near.map(|(_, path)| one_way(line, path).max(one_way(path, line))).fold(f64::INFINITY, f64::min)
    };
    lines.iter().map(nearest).fold(0.0, f64::max)
}

#[test]
fn usvg_agrees_with_the_job() {
    // usvg counts in single precision: 900 mm come out as 900.00004.
    for c in [None, Some(correction(0.9973, 1.0021, 0.0008))] {
        let (_, _, job) = formats_support::scene(Format::Svg, 31, c.as_ref());
        let mut seen = seen_by_usvg(&Format::Svg.write(&job));
        let worst = furthest(job.job(), &seen);
        println!("{} paths, {worst} mm", seen.len());
        assert!(worst < 0.01, "{worst} mm");
        // Seeded faults: a path moved by a fiftieth of a millimetre, a path less.
        seen[5] = kurbo::Affine::translate((0.02, 0.0)) * &seen[5];
        assert!(furthest(job.job(), &seen) > 0.01);
        seen.pop();
        assert!(furthest(job.job(), &seen) > 0.01);
    }
}
