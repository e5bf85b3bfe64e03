//! The proof sheet and the terminal's tables. `tests/outside/proof_sheets.py` reads the pages that are written here with
//! a reference parser of HTML.

mod demo;

use demo::{Demo, rectangle, seams, tunic};
use oaktag::diag::Finding;
use oaktag::piece::{Fit, Join, PieceSet, Pressed, Span};
use oaktag::report::{FileLine, MeasureRow, files_text, making_sheet, walk_json, walk_text};
use oaktag::units::Unit;
use std::fs;
use std::path::Path;

/// Keeps a page for the outside check.
fn keep(name: &str, page: &str) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("proof-sheets");
    fs::create_dir_all(&folder).expect("the folder for pages");
    fs::write(folder.join(name), page).expect("the page is written");
}

/// One row of the page's tables or fact lists, as plain text with single spaces.
fn text_of(page: &str) -> String {
    let mut text = String::new();
    let mut inside = true;
    for c in page.chars() {
        match c {
            '<' => {
                inside = false;
                text.push(' ');
            }
            '>' => inside = true,
            c if inside => text.push(c),
            _ => {}
        }
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_rectangle_has_the_size_that_a_hand_computes() {
    // 4 × 6 in with ½ in all round is 5 × 7 in, 24 and 35 sq in (arithmetic).
    let mut demo = tunic(Unit::Inch);
    demo.pieces = vec![rectangle("Pocket", 101.6, 152.4, 12.7)];
    let text = text_of(&demo.page());
    for part in [
        "Pocket 2 (a pair) main 4 in × 6 in 5 in × 7 in",
        "net size 4 in × 6 in cut size 5 in × 7 in net area 24 sq in cut area 35 sq in",
        "A bottom 4 in 1/2 in mitre",
        "B right 6 in 1/2 in mitre",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    // The seeded fault: a cut line 1/8 in too wide is not 5 in wide.
    demo.pieces[0].cut_line = kurbo::Affine::scale_non_uniform(5.125 / 5.0, 1.0) * demo.pieces[0].cut_line.clone();
    assert!(!text_of(&demo.page()).contains("cut size 5 in × 7 in"));
    // In centimetres: 12 × 14 with 1 all round is 14 × 16, 168 and 224 cm².
    let mut demo = tunic(Unit::Centimetre);
    demo.pieces = vec![rectangle("Pocket", 120.0, 140.0, 10.0)];
    let text = text_of(&demo.page());
    let part = "net size 12 cm × 14 cm cut size 14 cm × 16 cm net area 168 cm² cut area 224 cm²";
    assert!(text.contains(part), "{text}");
}

#[test]
fn the_demonstration_page() {
    let demo = tunic(Unit::Inch);
    let page = demo.page();
    assert_eq!(page, tunic(Unit::Inch).page(), "same content, same bytes");
    keep("tunic.html", &page);
    let text = text_of(&page);
    assert!(
        text.contains("Do not cut yet: 1 finding to put right; 1 seam whose sides differ from the plan."),
        "{text}"
    );
    // The worst finding comes first.
    let place = |part: &str| text.find(part).unwrap_or_else(|| panic!("{part}"));
    assert!(place("Check before cutting:") < place("Look at this:"));
    assert!(place("Look at this:") < place("Note:"));
    assert!(text.contains("chorus-tunic.style.kdl:2:3"), "{text}");
    // The side begins at the hem and ends at the armhole. The seeded fault: the dart turned over.
    let pressed = |side| {
        let mut demo = tunic(Unit::Inch);
        for piece in &mut demo.pieces {
            piece.piece.darts.iter_mut().for_each(|dart| dart.pressed = side);
        }
        let text = text_of(&demo.page());
        ["hem", "armhole"].map(|edge| text.contains(&format!("long, pressed towards the {edge}")))
    };
    assert_eq!(
        [Pressed::ToStart, Pressed::ToEnd, Pressed::Open].map(pressed),
        [[true, false], [false, true], [false, false]]
    );
}

/// 29 in and 5 1/2 in with 1/2 in at the ends and the top and 3/4 in at the hem are 30 and 6 3/4 in (arithmetic).
#[test]
fn strips_are_told_with_the_size_that_is_cut() {
    let sheet = |hem: f64| {
        let inch = 25.4;
        let mut ruffle = rectangle("Ruffle", 29.0 * inch, 5.5 * inch, 0.5 * inch).piece;
        ruffle.edges[0].allowance = hem * inch;
        ruffle.cut.count = 1;
        let skirt = rectangle("Skirt", 14.5 * inch, 20.0 * inch, 0.5 * inch).piece;
        let span = |piece: &str, edge: &str| Span { piece: piece.into(), edge: edge.into(), backwards: false };
        let join = Join {
            name: "ruffle".into(),
            sides: [vec![span("Ruffle", "top")], vec![span("Skirt", "bottom")]],
            ease: 0.0,
            ratio: 2.0,
            gap: 0.0,
            fit: Fit::default(),
            pointed: [false; 2],
        };
        let set = PieceSet { pieces: vec![ruffle, skirt], joins: vec![join], ..tunic(Unit::Inch).set };
        let walked = oaktag::walk::walk(&set, oaktag::walk::TOLERANCE).0;
        text_of(&making_sheet(&set, &walked))
    };
    let words = "1 strip: 1 of 29 in × 5 1/2 in (cut 30 in × 6 3/4 in); 29 in in all";
    assert!(sheet(0.75).contains(words), "{}", sheet(0.75));
    // The seeded fault: a hem half an inch narrower.
    assert!(!sheet(0.25).contains(words) && sheet(0.25).contains("(cut 30 in × 6 1/4 in)"));
}

#[test]
fn a_good_job_says_so_and_a_failed_file_does_not() {
    let mut demo = tunic(Unit::Centimetre);
    demo.findings.clear();
    demo.walked.retain(|join| join.agrees);
    let page = demo.page();
    keep("good.html", &page);
    assert!(text_of(&page).contains("Every file passed its proof."));
    demo.files[1].passed = false;
    let text = text_of(&demo.page());
    assert!(text.contains("Do not cut yet: 1 file that failed its proof."), "{text}");
    assert!(text.contains("failed: do not cut from it"), "{text}");
    demo.files.clear();
    assert!(text_of(&demo.page()).contains("Nothing written yet."));
}

const HOSTILE: &str = "</title><script>alert(1)</script>\"'><img src=x onerror=alert(1)>&amp;\u{0}\u{1b}[2J";

/// Hostile text in every place that a user can fill.
fn hostile() -> Demo {
    let mut demo = tunic(Unit::Millimetre);
    let text = || HOSTILE.to_string();
    demo.set.style = text();
    demo.set.person = text();
    demo.set.taken = text();
    demo.set.choices = vec![(text(), text())];
    demo.pieces = vec![rectangle(HOSTILE, 100.0, 100.0, 10.0)];
    for edge in &mut demo.pieces[0].piece.edges {
        edge.name = text();
    }
    demo.pieces[0].piece.cut.cloth = text();
    demo.marked = vec![demo::mark(&demo.pieces[0], HOSTILE)];
    demo.sheets = vec![vec![demo::sheet(HOSTILE, (300.0, 300.0), &[(&demo.marked[0], 50.0, 50.0)])]];
    demo.files.truncate(1);
    demo.files[0] = FileLine { file: text(), device: text(), used: text(), ..demo.files[0].clone() };
    demo.measures = vec![MeasureRow { name: text(), body: text(), ease: text(), finished: text() }];
    for join in &mut demo.walked {
        join.name = text();
        for span in join.sides.iter_mut().flatten() {
            span.span = text();
        }
    }
    demo.ways = vec![demo::way(HOSTILE, HOSTILE)];
    demo.findings = vec![Finding::error(text()).hint(text()).in_file(text()).piece(text()).edge(text())];
    demo
}

#[test]
fn hostile_names_stay_text() {
    let page = hostile().page();
    keep("hostile.html", &page);
    // The page's own script moves the pictures of the head's way.
    assert_eq!(page.matches("<script").count(), 1);
    for bad in ["<script>alert", "<img", "\u{0}", "\u{1b}", "&amp;amp;amp;"] {
        assert!(!page.contains(bad), "{bad:?}");
    }
    assert!(page.replace("<wbr>", "").matches("&lt;script&gt;alert(1)&lt;/script&gt;").count() > 25);
    let terminal = walk_text(&hostile().walked, Unit::Inch) + &files_text(&hostile().files, Unit::Inch);
    assert!(!terminal.contains(['\u{0}', '\u{1b}']), "{terminal:?}");
}

/// By hand: the pen goes 50 mm to its line of 100 mm, so 0.25 + 0.5 + 1 s; the knife starts where the line ends, cuts 200 mm
/// twice, and goes 111.8 mm home, so 8 + 2 · 0.5 + 0.559 s.
#[test]
fn the_heads_way_is_what_a_hand_reckons() {
    let way = demo::way("a.plt", "pen");
    let estimate = way.estimate();
    let home = 100_f64.hypot(50.0);
    let [pen, knife] = &estimate.tools[..] else { panic!("{estimate:?}") };
    for ((name, work), (tool, worked, travelled, lifts, seconds)) in
        [pen, knife].into_iter().zip([("pen", 100.0, 50.0, 1, 1.75), ("knife", 400.0, home, 2, 9.0 + home / 200.0)])
    {
        assert_eq!((name.as_str(), work.lifts), (tool, lifts));
        assert!((work.worked - worked).abs() < 1e-6 && (work.travelled - travelled).abs() < 1e-6, "{work:?}");
        assert!((work.seconds.expect("speeds") - seconds).abs() < 1e-6, "{work:?}");
    }
    assert!((estimate.whole.seconds.expect("speeds") - (10.75 + home / 200.0)).abs() < 1e-6);
    let page = tunic(Unit::Centimetre).page();
    let text = text_of(&page);
    for part in ["pen 0.1 m 0.1 m 1 2 s", "knife 0.4 m 0.1 m 2 10 s", "all 0.5 m 0.2 m 3 11 s", "maker&#39;s manual"] {
        assert!(text.replace('\u{a0}', " ").contains(part), "{part}: {text}");
    }
    // In steps of a quarter of a millimetre, y down, each relative to the one before.
    for part in [
        "data-zero=\"0 0\"",
        "d=\"m0-200 400 0\"",
        "d=\"m400-200 200 0 0-200-200 0 0 200m0 0 200 0 0-200-200 0 0 200\"",
    ] {
        assert!(page.contains(part), "{part}");
    }
    for part in ["d=\"m0 0 0-200\"", "d=\"m400-200-400 200\""] {
        assert!(page.contains(part), "{part}");
    }
}

#[test]
fn broken_figures_never_show() {
    let mut demo = tunic(Unit::Inch);
    demo.files[0].largest = f64::NAN;
    demo.walked[0].lengths = [f64::INFINITY, f64::NAN];
    demo.pieces[2].cut_line = demo::path("M0 0L1 1Z");
    demo.pieces[2].cut_line.line_to((f64::NAN, 0.0));
    demo.marked[2].strokes[0].path = demo.pieces[2].cut_line.clone();
    demo.marked[2].outline = demo.pieces[2].cut_line.clone();
    demo.sheets[0][0].width = f64::INFINITY;
    let page = demo.page();
    let shown = page + &walk_text(&demo.walked, Unit::Inch) + &files_text(&demo.files, Unit::Inch);
    for bad in ["NaN", "inf"] {
        let at = shown.find(bad);
        assert!(at.is_none(), "{bad}: {:?}", at.map(|at| &shown[at.saturating_sub(40)..at + 10]));
    }
    let nothing = Demo {
        pieces: Vec::new(),
        marked: Vec::new(),
        walked: Vec::new(),
        files: Vec::new(),
        sheets: Vec::new(),
        findings: Vec::new(),
        measures: Vec::new(),
        ..tunic(Unit::Inch)
    };
    keep("empty.html", &nothing.page());
}

#[test]
fn the_walk_in_a_terminal() {
    // 147.05 mm = 5.789 in, 477.4 = 18.795, 476.2 = 18.748, 468.3 = 18.437, 442.9 = 17.437, 217.1 = 8.547, 225.8 = 8.890,
    // each to the nearest sixteenth (arithmetic).
    let expected = "\
seam      first side                 second side                planned ease  difference        runs through
shoulder  Front/shoulder 5 13/16 in  Back/shoulder 5 13/16 in   none          none              180°, 181°    agrees
side      Front/side 18 13/16 in     Back/side 18 3/4 in        none          1/16 in (1.2 mm)  180°, –       does not agree
armhole   Sleeve/cap 18 7/16 in      17 7/16 in                 1 in          none              –             agrees
                                       Front/armhole 8 9/16 in
                                       Back/armhole 8 7/8 in
";
    assert_eq!(walk_text(&seams(), Unit::Inch), expected);
    let centimetres = walk_text(&seams(), Unit::Centimetre);
    assert!(centimetres.contains("Front/side 47.7 cm"), "{centimetres}");
    assert_eq!(walk_text(&[], Unit::Inch).lines().count(), 1, "the heading alone");
}

#[test]
fn the_walk_for_other_programs() {
    let json: serde_json::Value = serde_json::from_str(&walk_json(&seams())).expect("JSON");
    assert_eq!(json["oaktag"], "walk/1");
    assert_eq!(json["unit"], "mm");
    assert_eq!(json["joins"][2]["sides"][1][0]["span"], "Front/armhole");
    // 468.3 − (217.1 + 225.8) = 25.4, as planned (arithmetic).
    assert!(json["joins"][2]["difference"].as_f64().expect("a number").abs() < 1e-9);
    assert_eq!(json["joins"][1]["agrees"], false);
}

#[test]
fn files_in_a_terminal() {
    // 1560 mm = 61.417 in, 594 = 23.386, 841 = 33.110, 914.4 = 36 (arithmetic).
    let mut files = tunic(Unit::Inch).files;
    files[1].pieces = 1;
    files[1].passed = false;
    files[1].largest = 1.5;
    let expected = "\
ida/roll-pen.svg    5 pieces  61 7/16 in × 36 in     1 3/4 yd of paper  largest difference 0.004 mm of 0.022 mm allowed  passed
ida/card-knife.dxf  1 piece   23 3/8 in × 33 1/8 in  2 sheets of card   largest difference 1.500 mm of 0.015 mm allowed  FAILED: do not cut from it
";
    assert_eq!(files_text(&files, Unit::Inch), expected);
    assert_eq!(files_text(&[], Unit::Inch), "");
}
