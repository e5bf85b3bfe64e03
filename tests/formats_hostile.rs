//! Any bytes give a drawing or an error, of bounded size: no panic, no number that is not finite. Nothing is timed: a
//! reader that does not end shows as a test that does not end, and what is read stays within the reader's own limits.
#![allow(missing_docs)]

mod formats_support;

use formats_support::{Chance, FORMATS, Format, open, scene};
use kurbo::{BezPath, Point, Shape};
use oaktag::diag::Result;
use oaktag::piece::json;
use oaktag::proof::prove;
use oaktag::read::{BarePath, Drawing, dxf, svg};
use oaktag::role::Role;

fn read(format: Format, bytes: &[u8]) -> Result<Drawing> {
    let read = format.read_any(bytes);
    if let Ok((drawing, _)) = &read {
        // The limits that src/read/mod.rs states.
        let segments: usize = drawing.paths.iter().map(|bare| bare.path.elements().len()).sum();
        assert!(drawing.paths.len() <= 200_000 && segments <= 2_200_000, "{format:?}: {segments} segments");
        for bare in &drawing.paths {
            assert!(bare.path.is_finite(), "{bare:?}");
            assert!(matches!(bare.path.elements()[0], kurbo::PathEl::MoveTo(_)), "{bare:?}");
            assert!(bare.path.elements().len() > 1, "{bare:?}");
            let moves = bare.path.elements().iter().filter(|el| matches!(el, kurbo::PathEl::MoveTo(_)));
            assert_eq!(moves.count(), 1, "one subpath each: {bare:?}");
        }
    }
    read.map(|(drawing, _)| drawing)
}

/// Words that mean something somewhere.
const WORDS: [&str; 40] = [
    "1e999",
    "-1e308",
    "NaN",
    "inf",
    "0",
    "-1",
    "32767",
    "99999999999",
    "1e-320",
    "",
    "\"",
    "<",
    ">",
    "&",
    "&amp;",
    "z",
    "M",
    "A1 1 0 0 1 5 5",
    "C",
    "\u{1f9f5}",
    "0\nENDSEC\n",
    "0\nEOF\n",
    "0\nSECTION\n",
    "SPLINE",
    "INSERT",
    "ENDBLK",
    "POLYLINE",
    "VERTEX",
    "TABLE",
    "  2\n",
    " 70\n",
    "100%",
    "5em",
    "translate(",
    "<g>",
    "</g>",
    "<use href=\"#cut\"/>",
    "viewBox",
    " 40\n",
    "AC1032",
];

/// A file with a few things wrong: bytes, words, lines or stretches, changed, dropped, doubled or moved.
fn mutated(bytes: &[u8], chance: &mut Chance) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..=chance.below(3) {
        if bytes.is_empty() {
            break;
        }
        let at = chance.below(bytes.len());
        let long = (1 + chance.below(60)).min(bytes.len() - at);
        match chance.below(9) {
            0 => bytes[at] = chance.next() as u8,
            1 => bytes[at] ^= 1 << chance.below(8),
            2 => drop(bytes.drain(at..at + long)),
            3 => {
                let again = bytes[at..at + long].to_vec();
                let to = chance.below(bytes.len());
                bytes.splice(to..to, again);
            }
            4 => {
                let word = WORDS[chance.below(WORDS.len())];
                bytes.splice(at..at, word.bytes());
            }
            5 => {
                // A whole number or word for another.
                let end = bytes[at..].iter().position(u8::is_ascii_whitespace).map_or(bytes.len(), |n| at + n);
                let word = WORDS[chance.below(WORDS.len())];
                bytes.splice(at..end, word.bytes());
            }
            6 => {
                // A line dropped or doubled.
                let lines: Vec<&[u8]> = bytes.split_inclusive(|&b| b == b'\n').collect();
                let line = chance.below(lines.len());
                let times = 2 * chance.below(2);
                let parts = lines.iter().enumerate().map(|(i, &l)| l.repeat(if i == line { times } else { 1 }));
                bytes = parts.collect::<Vec<_>>().concat();
            }
            7 => bytes.truncate(at),
            _ => bytes[at..at + long].rotate_left(long / 2),
        }
    }
    bytes
}

/// A DXF with the entities that the writer has no use for, and an SVG with such elements.
fn rich() -> [(Format, Vec<u8>); 2] {
    // Codes and values in turn.
    let tags = "
        0 SECTION 2 HEADER 9 $ACADVER 1 AC1015 9 $INSUNITS 70 1 0 ENDSEC
        0 SECTION 2 BLOCKS
        0 BLOCK 8 0 2 Sleeve 70 0 10 1 20 2 30 0
        0 LINE 8 0 10 0 20 0 11 5 21 5
        0 ENDBLK 8 0 0 ENDSEC
        0 SECTION 2 ENTITIES
        0 ARC 8 cut 10 1 20 1 40 3 50 10 51 200
        0 CIRCLE 8 cut 10 1 20 1 40 3 210 0 220 0 230 -1
        0 ELLIPSE 8 cut 10 1 20 1 11 3 21 1 40 0.5 41 0 42 3
        0 POLYLINE 8 cut 66 1 70 1
        0 VERTEX 8 cut 10 0 20 0 42 1
        0 VERTEX 8 cut 10 4 20 0
        0 VERTEX 8 cut 10 4 20 4
        0 SEQEND 8 cut
        0 LWPOLYLINE 8 cut 90 3 70 1 10 0 20 0 42 -0.4 10 9 20 0 10 9 20 9
        0 SPLINE 8 cut 70 8 71 2 72 6 73 3 40 0 40 0 40 0 40 1 40 1 40 1 10 0 20 0 10 1 20 4 10 5 20 0
        0 INSERT 8 cut 2 Sleeve 10 7 20 7 41 2 42 -1 50 30 70 2 71 3 44 10 45 20
        0 TEXT 8 cut 1 words
        0 HATCH 8 cut 0 ENDSEC
        0 EOF
    ";
    let dxf = tags.split_whitespace().collect::<Vec<_>>().join("\n") + "\n";
    let svg = r##"<!DOCTYPE svg [<!ENTITY e "10">]><svg xmlns="http://www.w3.org/2000/svg"
 xmlns:xlink="http://www.w3.org/1999/xlink" width="20cm" height="8in" viewBox="-5 -5 400 300" preserveAspectRatio="xMinYMax slice">
 <style>.c{stroke:red}</style><defs><symbol id="s" viewBox="0 0 10 10"><circle cx="5" cy="5" r="40%"/></symbol>
 <g id="k"><path d="M1 1a3 4 30 1 0 5 5zm2 2q1 1 2 0t3 4S4 5 6 7s1-1-2-3"/></g></defs>
 <g id="layer" transform="rotate(5 1 1) skewX(3) matrix(1 0 0 1 2 2)" style="stroke:blue;fill:none">
 <use xlink:href="#k" x="&e;" y="5"/><use href="#s" width="30" height="40"/><rect x="1" y="2" width="30" height="20" rx="5"/>
 <ellipse cx="9" cy="9" rx="5" ry="3"/><polygon points="1,1 2,2 3,0"/><polyline points="1 1 2 2"/><line x1="0" x2="1e1"/>
 <svg x="5" y="5" width="50%" height="20mm" viewBox="0 0 9 9"><path d="M0 0h9v9H0z"/></svg><text>words</text></g></svg>"##;
    [(Format::Svg, svg.into()), (Format::Spline, dxf.into_bytes())]
}

#[test]
fn rich_files_read_before_they_are_spoilt() {
    for (format, bytes) in rich() {
        let drawing = read(format, &bytes).expect("reads");
        assert_eq!(drawing.paths.len(), if format == Format::Svg { 9 } else { 12 }, "{format:?}: {drawing:?}");
    }
}

#[test]
fn mutated_files_never_panic() {
    let times: u64 = std::env::var("OAKTAG_MUTATIONS").ok().and_then(|n| n.parse().ok()).unwrap_or(2000);
    let mut seeds: Vec<(Format, Vec<u8>)> = rich().into();
    for format in FORMATS {
        let bytes = format.write(&scene(format, 21, None).2);
        seeds.push((format, bytes));
    }
    for (format, bytes) in seeds {
        let (sheet, device, _) = scene(format, 21, None);
        let mut chance = Chance(bytes.len() as u64);
        let (mut good, mut bad) = (0, 0);
        // A file of blocks is twenty times as large as the others.
        let times = if format == Format::Blocks { times / 20 } else { times };
        for _ in 0..times {
            match read(format, &mutated(&bytes, &mut chance)) {
                Ok(drawing) => {
                    good += 1;
                    let proof = prove(&drawing, &sheet, &device, None);
                    assert!(proof.largest.is_finite() && proof.passed == proof.reasons.is_empty(), "{proof:?}");
                }
                Err(finding) => {
                    assert!(!finding.message.is_empty() && finding.hint.is_some(), "{finding}");
                    bad += 1;
                }
            }
        }
        println!("{format:?}: {good} read, {bad} refused");
        // Otherwise the mutations test nothing.
        assert!(good > times / 50 && bad > times / 50, "{format:?}: {good} read, {bad} refused");
    }
}

#[test]
fn bytes_without_sense_are_refused() {
    let mut chance = Chance(77);
    for _ in 0..500 {
        let bytes: Vec<u8> = (0..chance.below(300)).map(|_| chance.next() as u8).collect();
        assert!(svg(&bytes, "t").is_err());
        assert!(dxf(&bytes, "t").is_err());
    }
    for text in
        ["", " ", "\n", "<svg", "<html/>", "<?xml version='1.0'?>", "0", "0\nEOF", "0\nSECTION\n2\nENTITIES\n", "999"]
    {
        assert!(svg(text.as_bytes(), "t").is_err(), "{text}");
        if text != "0\nEOF" {
            assert!(dxf(text.as_bytes(), "t").is_err(), "{text}");
        }
    }
}

fn joined(numbers: std::ops::Range<usize>, text: impl Fn(usize) -> String) -> String {
    numbers.map(text).collect::<Vec<_>>().concat()
}

#[test]
fn bombs_are_refused_in_time() {
    let wrap =
        |inside: &str| format!("<svg xmlns='http://www.w3.org/2000/svg' width='9mm' height='9mm'>{inside}</svg>");
    let path = "<path stroke='red' d='M0 0L1 1'/>";
    let entities = joined(1..10, |i| format!("<!ENTITY e{i} '{}'>", format!("&e{};", i - 1).repeat(10)));
    let doubling = joined(1..40, |i| format!("<g id='u{i}'><use href='#u{0}'/><use href='#u{0}'/></g>", i - 1));
    let bombs: [(&str, String); 14] = [
        ("entities", format!("<!DOCTYPE svg [<!ENTITY e0 '<g/>'>{entities}]>{}", wrap("&e9;"))),
        ("an entity of itself", format!("<!DOCTYPE svg [<!ENTITY a '&a;'>]>{}", wrap("&a;"))),
        ("groups", wrap(&format!("{}{path}{}", "<g>".repeat(200_000), "</g>".repeat(200_000)))),
        ("use of itself", wrap("<g id='a'><use href='#a'/></g>")),
        ("use of each other", wrap("<g id='a'><use href='#b'/></g><g id='b'><use href='#a'/></g>")),
        ("use doubling", wrap(&format!("<g id='u0'>{path}</g>{doubling}"))),
        ("attributes", wrap(&format!("<g {}/>", joined(0..300_000, |i| format!("a{i}='' "))))),
        ("namespaces", wrap(&joined(0..60_000, |i| format!("<g xmlns:a{i}='{i}'>")))),
        ("points", wrap(&format!("<path stroke='red' d='M0 0{}'/>", "L1 1".repeat(3_000_000)))),
        ("paths", wrap(&path.repeat(300_000))),
        ("far points", wrap("<path stroke='red' d='M0 0L1e8 1'/>")),
        ("a huge arc", wrap("<path stroke='red' d='M0 0A1e300 1e300 0 0 1 5 5'/>")),
        ("a tiny view box", wrap("<svg viewBox='0 0 1e-300 1e-300'><path stroke='red' d='M1 1L5 5'/></svg>")),
        ("bytes", wrap(&" ".repeat(65 << 20))),
    ];
    for (what, bomb) in &bombs {
        assert!(read(Format::Svg, bomb.as_bytes()).is_err(), "{what}");
    }

    let file = |blocks: &str, entities: &str| {
        format!("0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n")
    };
    let insert = |name: &str, more: &str| format!("0\nINSERT\n8\n0\n2\n{name}\n10\n0\n20\n0\n{more}");
    let block =
        |name: &str, inside: &str| format!("0\nBLOCK\n8\n0\n2\n{name}\n10\n0\n20\n0\n{inside}0\nENDBLK\n8\n0\n");
    let line = "0\nLINE\n8\n0\n10\n0\n20\n0\n11\n5\n21\n5\n";
    let doubling = joined(1..40, |i| block(&format!("B{i}"), &insert(&format!("B{}", i - 1), "").repeat(2)));
    let bombs: [(&str, String); 6] = [
        ("a block of itself", file(&block("A", &insert("A", "")), &insert("A", ""))),
        ("blocks doubling", file(&(block("B0", line) + &doubling), &insert("B39", ""))),
        ("an array", file(&block("A", line), &insert("A", "70\n32767\n71\n32767\n44\n1\n45\n1\n"))),
        ("an array of nothing", file(&block("A", ""), &insert("A", "70\n32767\n71\n32767\n44\n1\n45\n1\n"))),
        ("lines", file("", &line.repeat(300_000))),
        ("bytes", " ".repeat(65 << 20)),
    ];
    for (what, bomb) in &bombs {
        assert!(read(Format::Spline, bomb.as_bytes()).is_err(), "{what}");
    }
}

#[test]
fn monstrous_drawings_are_proven_in_time() {
    let (sheet, device, _) = scene(Format::Svg, 21, None);
    let mut chance = Chance(5);
    let bare = |path| BarePath { layer: "cut".into(), path };
    let wild = |chance: &mut Chance, reach: f64, curves: usize| {
        let mut path = BezPath::new();
        path.move_to(chance.point(Point::ORIGIN, reach));
        for _ in 0..curves {
            let [a, b, c] = [(); 3].map(|()| chance.point(Point::new(600.0, 450.0), reach));
            path.curve_to(a, b, c);
        }
        path
    };
    let outline = sheet.strokes.iter().find(|stroke| stroke.role == Role::Cut).expect("drawn").path.clone();
    // Curves without end inside the box of a stroke that is there.
    let tangled = {
        let bounds = outline.bounding_box();
        let mut path = outline.clone();
        path.pop();
        for _ in 0..200_000 {
            let [a, b, c] = [(); 3]
                .map(|()| Point::new(chance.between(bounds.x0, bounds.x1), chance.between(bounds.y0, bounds.y1)));
            path.curve_to(a, b, c);
        }
        path
    };
    let drawings = [
        ("far and wide", (0..1000).map(|_| bare(wild(&mut chance, 90_000.0, 1000))).collect()),
        ("one tangle", vec![bare(tangled); 5]),
        ("a pile of one stroke", vec![bare(outline); 50_000]),
        ("dots", vec![bare(open(&[(700.0, 500.0), (700.0, 500.0)])); 200_000]),
    ];
    for (what, paths) in drawings {
        let proof = prove(&Drawing { width: None, height: None, paths }, &sheet, &device, None);
        assert!(!proof.passed, "{what}");
    }
}

#[test]
fn refusals_name_the_place() {
    let svg_of =
        |d: &str| format!("<svg xmlns='http://www.w3.org/2000/svg' width='9mm' height='9mm'>\n<path d='{d}'/></svg>");
    let finding = svg(svg_of("M0 0L5 x").as_bytes(), "front.svg").expect_err("refused");
    assert_eq!(finding.place(), "front.svg:2:17");
    let finding = svg(b"<svg>\n<g></svg>", "front.svg").expect_err("refused");
    assert!(finding.place().starts_with("front.svg:2:"), "{finding}");
    let finding =
        dxf(b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nfive\n0\nENDSEC\n0\nEOF\n", "front.dxf").expect_err("refused");
    assert_eq!(finding.place(), "front.dxf:8:1");
    let finding = dxf(b"AutoCAD Binary DXF\r\n\x1a\0", "front.dxf").expect_err("refused");
    assert!(finding.to_string().contains("binary"), "{finding}");
}

/// What comes of a file of `tests/data/odd`: pieces, or a finding that has these words.
enum Comes {
    Pieces(&'static str),
    Refused(&'static str),
}

use Comes::{Pieces, Refused};

/// Every odd drawing and what `oaktag read` makes of it. Of pieces the words are in what it prints besides them.
const DRAWINGS: [(&str, Comes); 44] = [
    ("truncated.svg", Refused("not well-formed")),
    ("not-a-number.svg", Refused("path data")),
    ("endless-page.svg", Refused("width can't be read")),
    ("far-away.svg", Refused("more than 100 m")),
    ("entities.svg", Refused("not well-formed")),
    ("entity-of-itself.svg", Refused("not well-formed")),
    ("entity-of-a-file.svg", Refused("not well-formed")),
    ("use-of-itself.svg", Refused("repeats itself without end")),
    ("use-doubling.svg", Refused("more than 200000 paths")),
    ("deep.svg", Refused("nests deeper than 128")),
    ("metres-for-centimetres.svg", Pieces("a piece is 40 by 70 m large: is the drawing's unit right?")),
    ("inches-for-millimetres.svg", Refused("smaller than 2 by 2 cm")),
    ("no-units.svg", Refused("96, 90 or 72 to the inch?")),
    ("no-view-box.svg", Refused("96, 90 or 72 to the inch?")),
    ("layer-called-page.svg", Pieces("1. Pocket: 4 3/4 in (12 cm) by 5 1/2 in (14 cm)")),
    ("open.svg", Refused("no closed outline")),
    ("writing-alone.svg", Refused("no closed outline")),
    ("compressed.svg", Refused("not UTF-8")),
    ("utf-16.svg", Refused("not UTF-8")),
    ("empty.svg", Refused("not well-formed")),
    ("a-page-of-the-web.svg", Refused("<html>, not <svg>")),
    ("huge-arc.svg", Refused("path data")),
    ("nothing-in-view.svg", Refused("more than 100 m")),
    ("truncated.dxf", Refused("a value behind the last group code")),
    ("not-a-number.dxf", Refused("expected a number")),
    ("endless-number.dxf", Refused("expected a number")),
    ("far-away.dxf", Refused("more than 100 m")),
    ("block-of-itself.dxf", Refused("blocks nest deeper")),
    ("blocks-of-each-other.dxf", Refused("blocks nest deeper")),
    ("a-billion-repeats.dxf", Refused("more than 200000 paths")),
    ("a-billion-repeats-of-nothing.dxf", Refused("repeat themselves without end")),
    ("repeats-of-repeats.dxf", Refused("more than 200000 paths")),
    ("blocks-doubling.dxf", Refused("repeat themselves without end")),
    ("no-units.dxf", Refused("does not say its unit")),
    ("inches-by-measurement.dxf", Pieces("10 in (25.4 cm) by 14 in")),
    ("millimetres-called-inches.dxf", Pieces("10.2 by 17.8 m large")),
    ("inches-called-millimetres.dxf", Refused("smaller than 2 by 2 cm")),
    ("layer-called-page.dxf", Pieces("4 3/4 in (12 cm) by 5 1/2 in (14 cm)")),
    ("binary.dxf", Refused("binary DXF")),
    ("nothing.dxf", Refused("does not say its unit")),
    ("block-without-end.dxf", Pieces("1. A: 4 3/4 in")),
    ("knots-that-do-not-fit.dxf", Refused("no closed outline")),
    ("huge-circle.dxf", Refused("no closed outline")),
    ("without-entities.dxf", Refused("no closed outline")),
];

/// Every folder is a path from the top of the repository.
const ODD: &str = "tests/data/odd";

/// The program, with bounds on memory and on processor time that are far above what it needs: it is killed beyond them.
fn oaktag(args: &[&str]) -> (Option<i32>, String) {
    let bounded = "ulimit -v 2000000; ulimit -t 60; exec \"$0\" \"$@\"";
    let run = std::process::Command::new("sh")
        .args(["-c", bounded, env!("CARGO_BIN_EXE_oaktag")])
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("NO_COLOR", "1")
        .output()
        .expect("the program starts");
    let text = String::from_utf8_lossy(&run.stderr).replace(['│', '╭', '╰', '─'], " ");
    (run.status.code(), text.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[test]
fn odd_drawings_are_read_or_refused_in_words() {
    for (name, comes) in &DRAWINGS {
        let (code, said) = oaktag(&["read", &format!("{ODD}/{name}")]);
        let (wanted, words) = match comes {
            Pieces(words) => (0, words),
            Refused(words) => (2, words),
        };
        assert!(code == Some(wanted) && said.contains(words), "{name}: {code:?}, {said}");
    }
}

/// Files of every language against the sheets of a pocket: none is its file, and each is refused or fails.
#[test]
fn odd_files_are_never_proven() {
    let set = json::read(include_str!("data/pocket.pieces.json"), "pocket").expect("reads");
    let machines = [
        ("svg", "roll-plotter"),
        ("dxf", "card-cutter"),
        ("pdf", "roll-inkjet"),
        ("pdf", "home-printer-a4"),
        ("plt", "roll-pen-plotter"),
        ("nc", "laser"),
    ];
    let mut tried = 0;
    for (ending, machine) in machines {
        let profile = format!("profiles/{machine}.device.kdl");
        let text = std::fs::read_to_string(profile).expect("a profile");
        let (device, _) = oaktag::device::read(&text, machine).expect("reads");
        let sheets = oaktag::pipeline::sheets(&set, &device).expect("lays");
        let listed = std::fs::read_dir(ODD).expect("a folder").map(|entry| entry.expect("listed").path());
        let mut files: Vec<_> = listed.filter(|path| path.extension().is_some_and(|e| e == ending)).collect();
        files.sort();
        let known = DRAWINGS.iter().filter(|(name, _)| name.ends_with(&format!(".{ending}"))).count();
        assert!(known == 0 || known == files.len(), "{ending}: {known} of {} are known", files.len());
        for file in &files {
            let bytes = std::fs::read(file).expect("there");
            match oaktag::pipeline::prove(&bytes, "t", &sheets[0], &device) {
                Ok((proof, _)) => assert!(!proof.passed && !proof.reasons.is_empty(), "{}", file.display()),
                Err(finding) => assert!(finding.hint.is_some(), "{}: {finding}", file.display()),
            }
            tried += 1;
        }
        let one = files[0].display().to_string();
        let (code, said) = oaktag(&["proof", &one, "--pieces", "tests/data/pocket.pieces.json", "--device", machine]);
        assert!(matches!(code, Some(1 | 2)) && !said.is_empty(), "{one}: {code:?}, {said}");
    }
    assert!(tried > 90, "{tried}");
}

/// A line that somebody put on the layer of the pages' own marks is drawn, and the proof sees it.
#[test]
fn nothing_hides_on_the_layer_of_the_pages() {
    for format in [Format::Pdf, Format::Tiles] {
        let (sheet, device, job) = scene(format, 21, None);
        let bytes = format.write(&job);
        assert!(prove(&format.read(&bytes).expect("reads"), &sheet, &device, None).passed);
        // The same lines, of one layer that is called "page" now: names of equal length in every place.
        let text = bytes.iter().map(|&byte| char::from(byte)).collect::<String>();
        let renamed = text.replace("/OC /grain BDC", "/OC /page  BDC");
        assert_ne!(renamed, text);
        let bytes: Vec<u8> = renamed.chars().map(|c| c as u8).collect();
        let drawing = format.read(&bytes).expect("reads");
        let proof = prove(&drawing, &sheet, &device, None);
        assert!(!proof.passed && proof.extra > 0, "{format:?}: {} extra of {} paths", proof.extra, drawing.paths.len());
    }
}

/// Small things said without end.
#[test]
fn bombs_in_every_language_are_refused() {
    let long = |text: &str, times: usize| text.repeat(times);
    let head = "<svg xmlns='http://www.w3.org/2000/svg' width='900mm' height='900mm' viewBox='0 0 900 900'>";
    let svg_of = |inside: &str| format!("{head}{inside}</svg>").into_bytes();
    let moves = long("M0 0", 500_000);
    let uses = long("<use href='#a'/>", 2000);
    let nothing = long("q Q\n", 500_000);
    let objects = |kids: &str, content: &str| {
        format!(
            "%PDF-1.7\n1 0 obj\n<</Pages 2 0 R>>\nendobj\n2 0 obj\n<</Kids[{kids}]>>\nendobj\n3 0 obj\n<</MediaBox[0 0 600 800]\
             /Contents 4 0 R/Resources<</Properties<</cut 5 0 R>>>>>>\nendobj\n4 0 obj\n<</Length {}>>\nstream\n{content}\n\
             endstream\nendobj\n5 0 obj\n<</Name(cut)>>\nendobj\ntrailer<</Root 1 0 R>>\n",
            content.len()
        )
        .into_bytes()
    };
    let circles = long("0\nCIRCLE\n8\n0\n10\n0\n20\n0\n40\n9e8\n", 20_000);
    let dxf_of = |inside: &str| format!("0\nSECTION\n2\nENTITIES\n{inside}0\nENDSEC\n0\nEOF\n").into_bytes();
    let bombs = [
        (Format::Svg, "moves without end", svg_of(&format!("<defs><path id='a' d='{moves}'/></defs>{uses}"))),
        (
            Format::Svg,
            "a long line without end",
            svg_of(&format!("<path stroke='red' d='M0 0{}'/>", long("h1", 2_100_000))),
        ),
        (Format::Spline, "circles of many arcs", dxf_of(&circles)),
        (
            Format::Spline,
            "arcs in a polyline",
            dxf_of(&format!("0\nLWPOLYLINE\n70\n0\n{}", long("10\n0\n20\n0\n42\n1\n10\n9e8\n20\n0\n42\n1\n", 30_000))),
        ),
        (Format::Spline, "entities", dxf_of(&long("0\nLINE\n", 600_000))),
        (Format::Pdf, "pages of nothing", objects(&long("3 0 R ", 4000), &nothing)),
        (Format::Pdf, "objects", objects(&long("0 ", 4_100_000), "")),
        (Format::Pdf, "layers in layers", objects("3 0 R", &long("/OC /cut BDC\n", 100))),
        (Format::Pdf, "a line without end", objects("3 0 R", &format!("0 0 m\n{}", long("1 1 l\n", 2_100_000)))),
        (Format::Hpgl2, "a line without end", format!("IN;SP1;PD{};", long("1,1,", 2_100_000)).into_bytes()),
        (Format::Encoded, "an encoded line without end", format!("IN;SP1;PE7{};", long("__", 2_100_000)).into_bytes()),
        (
            Format::Rs274,
            "a line without end",
            format!("G21 G90\nM3\nG1\n{}M5\nM2\n", long("X1\n", 2_100_000)).into_bytes(),
        ),
        (
            Format::Rs274,
            "circles without end",
            format!("G21 G90\nM3\nG2 X0 Y0\n{}M5\nM2\n", long("I999999 X0\n", 60_000)).into_bytes(),
        ),
    ];
    for (format, what, bomb) in &bombs {
        assert!(read(*format, bomb).is_err(), "{format:?}: {what}");
    }
    // The page's own glue: pages that hardly go on from one to the next, and a heap of one line on a page.
    let thin = String::from_utf8_lossy(&objects("3 0 R", "/OC /cut BDC\n0 0 m 9000 9000 l S\nEMC\n"))
        .replace("600 800", "56.6930 56.6930");
    let thin = thin
        .replace("<</Pages", "<</PageLabels<</Nums[0<</P(A1)>>]>>/Pages")
        .replace("/OC /cut BDC\n0", "0 0 99 99 re W n\n/OC /cut BDC\n0");
    let drawn = Format::Pdf.read_any(thin.as_bytes());
    assert!(drawn.is_err() || drawn.is_ok_and(|(drawing, _)| drawing.paths.len() <= 1));
    let heap = long("/OC /cut BDC\n30 30 m 40 40 l S\nEMC\n", 5000);
    let heap = String::from_utf8_lossy(&objects("3 0 R", &heap))
        .replace("<</Pages", "<</PageLabels<</Nums[0<</P(A1)>>]>>/Pages");
    assert!(read(Format::Tiles, heap.as_bytes()).is_err());
}

/// Points that name nothing are counted too: none is dropped without a word.
#[test]
fn points_without_end_are_refused() {
    let file = |points: usize| {
        let point = "0\nPOINT\n8\n2\n10\n1\n20\n1\n".repeat(points);
        format!("0\nSECTION\n2\nENTITIES\n{point}0\nENDSEC\n0\nEOF\n")
    };
    let refused = oaktag::read::exchange_dxf(file(500_001).as_bytes(), "t").expect_err("too many");
    assert!(refused.message.contains("more than 500000 texts and points"), "{refused}");
    let (drawing, _) = oaktag::read::exchange_dxf(file(1000).as_bytes(), "t").expect("reads");
    assert_eq!(drawing.paths.len(), 1000, "each is found at no vertex");
}
