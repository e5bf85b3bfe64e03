//! Good files pass, and every fault that a file could have is caught in every format.
#![allow(missing_docs)]

mod formats_support;

use formats_support::{FORMATS, Format, correction, scene};
use kurbo::{Affine, PathEl, Vec2};
use oaktag::calibrate::correct;
use oaktag::device::Correction;
use oaktag::order::Job;
use oaktag::proof::{Proof, prove};
use oaktag::role::Role;

/// J of a real machine: a roll plotter that stretches, shrinks and leans.
fn leaning() -> Correction {
    correction(0.9973, 1.0021, 0.0008)
}

/// Writes a job, reads it back and proves it against the scene's sheet.
fn proven(format: Format, seed: u64, applied: Option<&Correction>, spoil: impl Fn(&mut Job)) -> Proof {
    let (sheet, device, _) = scene(format, seed, None);
    let mut job = formats_support::job(&sheet, &device, seed ^ 0xabcd);
    spoil(&mut job);
    let bytes = format.write(&correct(job, applied));
    let drawing = format.read(&bytes).unwrap_or_else(|finding| panic!("{format:?}: {finding}"));
    prove(&drawing, &sheet, &device, Some(&leaning()))
}

fn everywhere(job: &mut Job, affine: Affine) {
    for stroke in job.passes.iter_mut().flat_map(|pass| &mut pass.strokes) {
        stroke.path.apply_affine(affine);
    }
}

#[test]
fn good_files_pass() {
    for format in FORMATS {
        for seed in 0..40 {
            let proof = proven(format, seed, Some(&leaning()), |_| ());
            assert!(proof.passed, "{format:?} {seed}: {proof:?}");
            assert_eq!((proof.missing, proof.extra), (0, 0));
            // Exact languages are held to the grid, not only to the allowance.
            let exact = matches!(format, Format::Svg | Format::Spline | Format::Pdf | Format::Tiles);
            let bound = if exact { 1e-3 } else { proof.allowed - 4e-3 };
            assert!(proof.largest < bound, "{format:?} {seed}: {}", proof.largest);
            let square = proof.square.expect("drawn");
            // Each end of a side is on the machine's grid.
            let grid = if format.on_a_grid() { 0.0251 } else { 2e-4 };
            assert!(square.as_drawn.iter().all(|side| (side - 300.0).abs() < grid), "{square:?}");
            assert!((square.in_file[0] - 300.0 / 0.9973).abs() < grid, "{square:?}");
        }
    }
}

/// What is wrong, how a good job is made so, and what the proof says to it.
type Fault<'a> = (&'a str, &'a dyn Fn(&mut Job), &'a str);

#[test]
fn faults_are_caught_in_every_format() {
    let twice = |job: &mut Job| {
        let j = Affine::new([0.9973, 0.0, 0.0008, 1.0021, 0.0, 0.0]);
        everywhere(job, j.inverse());
    };
    let faults: [Fault; 17] = [
        ("a dropped path", &|job| drop(job.passes[0].strokes.pop()), "strokes that are not in the file: 1 of 38"),
        (
            "a dropped dot",
            &|job| {
                let strokes = &mut job.passes[0].strokes;
                let dot = strokes.iter().position(|s| s.role == Role::Drill).expect("drawn");
                strokes.remove(dot);
            },
            "first drill of piece",
        ),
        (
            "a doubled path",
            &|job| {
                let again = job.passes[1].strokes[0].clone();
                job.passes[1].strokes.push(again);
            },
            "paths that the sheet does not have: 1, first on layer \"cut\"",
        ),
        (
            "one path for another",
            &|job| job.passes[1].strokes[0] = job.passes[1].strokes[1].clone(),
            "not in the file: 1 of 38, first cut",
        ),
        ("a mirror", &|job| everywhere(job, Affine::new([-1.0, 0.0, 0.0, 1.0, 1200.0, 0.0])), "left for right"),
        ("upside down", &|job| everywhere(job, Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, 914.4])), "top for bottom"),
        ("swapped axes", &|job| everywhere(job, Affine::new([0.0, 1.0, 1.0, 0.0, 0.0, 0.0])), "axes are swapped"),
        ("a quarter turn", &|job| everywhere(job, Affine::new([0.0, 1.0, -1.0, 0.0, 914.4, 0.0])), "by a quarter"),
        ("inches as millimetres", &|job| everywhere(job, Affine::scale(25.4)), "25.4 times too large"),
        ("millimetres as inches", &|job| everywhere(job, Affine::scale(1.0 / 25.4)), "25.4 times too small"),
        ("a doubled correction", &twice, "correction was applied twice"),
        ("a shift of 0.1 mm", &|job| everywhere(job, Affine::translate((0.1, 0.0))), "moved by x 0.1 mm, y 0 mm"),
        ("a shift of 50 mm", &|job| everywhere(job, Affine::translate((50.0, -7.0))), "moved by x 50 mm, y -7 mm"),
        (
            "one path shifted by 0.1 mm",
            &|job| job.passes[1].strokes[0].path.apply_affine(Affine::translate((0.0, -0.1))),
            "strays by 0.1",
        ),
        (
            "a bent curve",
            &|job| {
                let label = job.passes[0].strokes.iter_mut().find(|s| s.role == Role::Label).expect("drawn");
                for element in label.path.elements_mut() {
                    if let PathEl::CurveTo(a, _, _) = element {
                        a.x += 0.2;
                    }
                }
            },
            "label of piece",
        ),
        (
            "a role on another layer",
            &|job| job.passes[1].strokes[0].role = Role::Sew,
            "paths that the sheet does not have: 1, first on layer \"sew",
        ),
        (
            "a line drawn there and back",
            &|job| {
                let stroke = job.passes[0].strokes.iter_mut().find(|s| s.role == Role::Notch);
                let path = &mut stroke.expect("drawn").path;
                let start = path.elements()[0].end_point().expect("a move");
                path.line_to(start);
            },
            "first notch of piece",
        ),
    ];
    for format in FORMATS {
        for (what, spoil, says) in &faults {
            // Without layers, a stroke of another role is one by another tool.
            let says = if format.by_tool() { without_figures(says) } else { says };
            let twice = format == Format::Blocks && *what == "a doubled path";
            let says = if twice { "first on layer \"second boundary of a block\"" } else { says };
            if format.by_tool() && *what == "a role on another layer" {
                continue;
            }
            let proof = proven(format, 7, Some(&leaning()), spoil);
            assert!(!proof.passed, "{format:?}: {what} passed");
            assert!(proof.reasons.iter().any(|r| r.contains(says)), "{format:?}: {what}: {:?}", proof.reasons);
        }
        let proof = proven(format, 7, None, |_| ());
        assert!(!proof.passed, "{format:?}: an uncorrected file passed");
        assert!(proof.reasons[0].contains("correction was left out"), "{:?}", proof.reasons);
        let [x, y] = proof.square.expect("measured all the same").as_drawn;
        let (off_x, off_y) = if format.on_a_grid() { (0.026, 0.026) } else { (1e-3, 0.01) };
        assert!((x - 300.0 * 0.9973).abs() < off_x && (y - 300.0 * 1.0021).abs() < off_y, "{x} {y}");
    }
}

/// A sheet is printed page by page, whatever the order in its PDF; everything else follows its file from the start.
#[test]
fn a_piece_that_is_cut_out_early_is_caught() {
    for format in FORMATS.into_iter().filter(|format| !matches!(format, Format::Pdf | Format::Tiles)) {
        let proof = proven(format, 7, Some(&leaning()), |job| job.passes.reverse());
        let early = "is cut before all else on the piece is done";
        assert!(proof.reasons.iter().any(|reason| reason.contains(early)), "{format:?}: {:?}", proof.reasons);
    }
}

/// The words before the first figure or name of a layer: on a grid of 0.025 mm figures come out a little off.
fn without_figures(says: &str) -> &str {
    says.split(|c: char| c.is_ascii_digit() && c != '2')
        .next()
        .unwrap_or(says)
        .split(", first on")
        .next()
        .unwrap_or(says)
}

#[test]
fn distances_are_what_they_are() {
    for format in FORMATS {
        let shift = Vec2::new(0.3, 0.4);
        let proof = proven(format, 8, Some(&leaning()), |job| {
            let strokes = &mut job.passes[0].strokes;
            let bar = strokes.iter_mut().find(|s| s.path.elements().len() == 2 && s.role == Role::Square);
            bar.expect("drawn").path.apply_affine(Affine::translate(shift));
        });
        // A straight bar moved by (0.3, 0.4) strays by 0.5 at its end.
        let grid = if format.on_a_grid() { 0.036 } else { 1e-3 };
        assert!((proof.largest - 0.5).abs() < grid, "{format:?}: {}", proof.largest);
    }
}

#[test]
fn twisted_curves_within_tolerance_pass() {
    // A profile with a coarse tolerance: flattening by that much passes, and a little more does not.
    let (sheet, mut device, job) = scene(Format::Polyline, 5, Some(&leaning()));
    device.tolerance = 0.1;
    for (tolerance, passes) in [(0.1, true), (0.5, false)] {
        let bytes = oaktag::write::dxf(&job, oaktag::write::Curves::Polyline(tolerance));
        let drawing = Format::Polyline.read(&bytes).expect("reads");
        let proof = prove(&drawing, &sheet, &device, Some(&leaning()));
        assert_eq!(proof.passed, passes, "{tolerance}: {proof:?}");
    }
}

/// A fault of the file's own: what in the text becomes what, and what the proof says to it.
type Slip<'a> = (&'a str, &'a dyn Fn(&str) -> String, &'a str);

fn slipped(format: Format, slips: &[Slip]) {
    let (sheet, device, job) = scene(format, 7, Some(&leaning()));
    let text = String::from_utf8(format.write(&job)).expect("text");
    for (what, slip, says) in slips {
        let spoilt = slip(&text);
        assert!(spoilt != text, "{what}: nothing was spoilt");
        let (drawing, _) = format.read_any(spoilt.as_bytes()).unwrap_or_else(|f| panic!("{what}: {f}"));
        let proof = prove(&drawing, &sheet, &device, Some(&leaning()));
        assert!(!proof.passed, "{what} passed");
        assert!(proof.reasons.iter().any(|r| r.contains(says)), "{what}: {:?}", proof.reasons);
    }
}

#[test]
fn slips_of_an_svg_file_are_caught() {
    slipped(
        Format::Svg,
        &[
            ("pixels for millimetres", &|t| t.replacen("mm\"", "\"", 2), "not in the file"),
            ("a scale on the view box", &|t| t.replacen("viewBox=\"0 0 12", "viewBox=\"0 0 13", 1), "not in the file"),
            ("a group moved", &|t| t.replacen("<g ", "<g transform=\"translate(0,0.1)\" ", 1), "strays by 0.1"),
            ("a group mirrored", &|t| t.replacen("<g ", "<g transform=\"scale(-1,1)\" ", 1), "reaches beyond the page"),
            ("lines without ink", &|t| t.replacen("stroke=\"#111111\"", "stroke=\"none\"", 1), "not in the file"),
            ("a hidden group", &|t| t.replacen("<g ", "<g style=\"display:none\" ", 1), "not in the file"),
            ("a path as a comment", &|t| t.replacen("<path", "<!-- <path", 1).replacen("/>", "/> -->", 1), "1 of 38"),
            (
                "a path as a definition",
                &|t| t.replacen("<path", "<defs><path", 1).replacen("/>", "/></defs>", 1),
                "1 of 38",
            ),
            (
                "a path of the title's",
                &|t| t.replacen("</title>", "</title><path stroke=\"red\" d=\"M1 1h9\"/>", 1),
                "does not have: 1,",
            ),
            ("another layer", &|t| t.replacen("id=\"cut\"", "id=\"sew-9\"", 1), "not in the file"),
            (
                "a view box off its corner",
                &|t| t.replacen("viewBox=\"0 0", "viewBox=\"0 0.1", 1),
                "moved by x 0 mm, y 0.1",
            ),
        ],
    );
}

#[test]
fn slips_of_a_dxf_file_are_caught() {
    let slips: &[Slip] = &[
        (
            "inches in the header",
            &|t| t.replacen("$INSUNITS\n 70\n4\n", "$INSUNITS\n 70\n1\n", 1),
            "25.4 times too large",
        ),
        ("an entity on paper", &|t| t.replacen("AcDbEntity\n  8\ncut", "AcDbEntity\n 67\n1\n  8\ncut", 1), "1 of 38"),
        ("an invisible entity", &|t| t.replacen("AcDbEntity\n  8\ncut", "AcDbEntity\n 60\n1\n  8\ncut", 1), "1 of 38"),
        ("another layer", &|t| t.replacen("AcDbEntity\n  8\ncut", "AcDbEntity\n  8\nsew", 1), "1 of 38"),
        (
            "a layer switched off",
            &|t| t.replacen("2\nnotch\n 70\n0\n 62\n7", "2\nnotch\n 70\n0\n 62\n-7", 1),
            "6 of 38",
        ),
        ("a frozen layer", &|t| t.replacen("2\nnotch\n 70\n0\n 62\n7", "2\nnotch\n 70\n1\n 62\n7", 1), "6 of 38"),
        ("an entity seen from behind", &|t| t.replacen("AcDbPolyline\n", "AcDbPolyline\n230\n-1.0\n", 1), "1 of 38"),
    ];
    slipped(Format::Spline, slips);
    slipped(Format::Polyline, slips);
}

/// A file after ASTM D6673: layers, blocks, points, and where the blocks lie.
#[test]
fn slips_of_a_file_of_blocks_are_caught() {
    let after = |t: &str, mark: &str, from: &str, to: &str| {
        let at = t.find(mark).expect("there");
        format!("{}{}", &t[..at], t[at..].replacen(from, to, 1))
    };
    slipped(
        Format::Blocks,
        &[
            (
                "inches in the header",
                &|t| t.replacen("$INSUNITS\n 70\n4", "$INSUNITS\n 70\n1", 1),
                "25.4 times too large",
            ),
            (
                "a sew line on the boundary's layer",
                &|t| t.replacen("POLYLINE\n  8\n14\n", "POLYLINE\n  8\n1\n", 1),
                "not in the file",
            ),
            (
                "a notch on a layer of no meaning",
                &|t| t.replacen("LINE\n  8\n4\n", "LINE\n  8\n5\n", 1),
                "first on layer \"5\"",
            ),
            (
                "a drill hole on the notches' layer",
                &|t| t.replacen("POINT\n  8\n13\n", "POINT\n  8\n4\n", 1),
                "1 of 38",
            ),
            (
                "a turn point less",
                &|t| t.replacen("POINT\n  8\n2\n", "CIRCLE\n  8\n2\n", 1),
                "vertex that no turn or curve point marks",
            ),
            (
                "a curve point beside its curve",
                &|t| after(t, "POINT\n  8\n3\n", "\n 10\n", "\n 10\n1"),
                "does not have: 2, first on layer \"vertex that no turn",
            ),
            ("a block turned", &|t| after(t, "INSERT", "\n 50\n", "\n 50\n1"), "not in the file"),
            ("a block mirrored", &|t| after(t, "INSERT", "\n 50\n", "\n 41\n-1.0\n 50\n"), "not in the file"),
            ("a block moved", &|t| after(t, "INSERT", "\n 20\n-7.0", "\n 20\n-7.1"), "strays by 0.1"),
            ("a block left out", &|t| after(t, "INSERT", "\n  2\n", "\n  2\nNO-"), "6 of 38"),
            (
                "a block twice",
                &|t| t.replacen("  0\nINSERT\n", "  0\nINSERT\n  8\n0\n  2\nFRONT-IDA\n  0\nINSERT\n", 1),
                "does not have",
            ),
            (
                "a piece outside of any block",
                &|t| {
                    let (head, rest) = t.split_once("  0\nPOLYLINE\n  8\n1\n").expect("a boundary");
                    let (boundary, rest) = rest.split_once("SEQEND\n  8\n1\n").expect("its end");
                    let rest = rest.replacen(
                        "ENTITIES\n",
                        &format!("ENTITIES\n  0\nPOLYLINE\n  8\n1\n{boundary}SEQEND\n  8\n1\n"),
                        1,
                    );
                    format!("{head}{rest}")
                },
                "1 of 38, first cut of piece",
            ),
        ],
    );
}

/// What the proof does not need of such a file, it does not ask: writing may say anything.
#[test]
fn texts_of_blocks_prove_nothing() {
    let (sheet, device, job) = scene(Format::Blocks, 7, None);
    let text = String::from_utf8(Format::Blocks.write(&job)).expect("text");
    let other = text.replace("Piece Name: ", "Piece Name: another ").replace("METRIC", "ENGLISH");
    assert!(other != text);
    let drawing = Format::Blocks.read(other.as_bytes()).expect("reads");
    assert!(prove(&drawing, &sheet, &device, None).passed);
}

#[test]
fn titles_and_names_prove_nothing() {
    let (sheet, device, job) = scene(Format::Svg, 7, Some(&leaning()));
    let text = String::from_utf8(Format::Svg.write(&job)).expect("text");
    let text = text.replace("data-piece", "data-other").replace("<title>Chorus tunic", "<title>Another");
    let drawing = Format::Svg.read(text.as_bytes()).expect("reads");
    assert!(prove(&drawing, &sheet, &device, Some(&leaning())).passed);
}

#[test]
fn nothing_at_all_is_no_proof() {
    let (sheet, device, _) = scene(Format::Svg, 7, None);
    let drawing = oaktag::read::Drawing { width: None, height: None, paths: Vec::new() };
    let proof = prove(&drawing, &sheet, &device, None);
    assert!(!proof.passed && proof.missing == proof.strokes && proof.square.is_none(), "{proof:?}");
}

#[test]
fn numbers_that_are_none_fail() {
    let (sheet, device, job) = scene(Format::Svg, 7, None);
    let mut drawing = Format::Svg.read(&Format::Svg.write(&job)).expect("reads");
    assert!(prove(&drawing, &sheet, &device, None).passed);
    for number in [f64::NAN, f64::INFINITY, -1e300] {
        drawing.paths[3].path.apply_affine(Affine::translate((number, 0.0)));
        assert!(!prove(&drawing, &sheet, &device, None).passed);
    }
    let mut sheet = sheet;
    sheet.strokes[2].path.apply_affine(Affine::translate((f64::NAN, 0.0)));
    let proof = prove(&drawing, &sheet, &device, None);
    assert!(proof.reasons.iter().any(|r| r.starts_with("a stroke of the sheet")), "{proof:?}");
    let wrong = Correction { x: f64::NAN, ..leaning() };
    assert!(!prove(&drawing, &sheet, &device, Some(&wrong)).passed);
}
