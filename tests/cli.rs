//! The command as a user runs it: output, exit codes, nothing half-written.

mod common;

use common::program::{code, err, oaktag, out, scratch, write};
use std::path::Path;

const STYLE: &str = "samples/evening-chorus.style.kdl";
const MAREN: &str = "samples/maren-holt.measures.kdl";

fn is_empty(folder: &Path) -> bool {
    std::fs::read_dir(folder).map_or(true, |mut entries| entries.next().is_none())
}

#[test]
fn make_writes_proven_files_for_two_devices() {
    let folder = scratch("make");
    let made = oaktag(&[
        "make",
        STYLE,
        "--measures",
        MAREN,
        "--device",
        "roll-plotter",
        "card-cutter",
        "-o",
        folder.to_str().expect("UTF-8"),
    ]);
    assert_eq!(code(&made), 0, "{}", err(&made));
    let lines = out(&made);
    // First how well each file passed, then how long each takes.
    let (passed, times) =
        lines.split_at(lines.match_indices('\n').nth(lines.lines().count() / 2 - 1).expect("lines").0 + 1);
    assert!(passed.lines().count() >= 3 && passed.lines().count() == times.lines().count(), "{lines}");
    for (line, time) in passed.lines().zip(times.lines()) {
        assert!(line.contains("piece") && line.contains("largest difference") && line.ends_with("passed"), "{line}");
        assert_eq!(line.split_whitespace().next(), time.split_whitespace().next());
        assert!(
            time.contains("min at the machine") && time.contains("of idle way") && time.ends_with("times"),
            "{time}"
        );
    }
    let person = folder.join("maren-holt");
    for name in ["roll-plotter.svg", "card-cutter-1.dxf", "proof-sheet.html", "evening-chorus-dress.pieces.json"] {
        assert!(person.join(name).is_file(), "{name} is missing");
    }
    let strays: Vec<_> = std::fs::read_dir(&person)
        .expect("is there")
        .flatten()
        .filter(|entry| entry.file_name().to_string_lossy().starts_with('.'))
        .collect();
    assert!(strays.is_empty(), "{strays:?}");
    // The pieces that were written make the same files again, and the files prove against them.
    let pieces = person.join("evening-chorus-dress.pieces.json");
    let again = scratch("make-again");
    let made = oaktag(&[
        "make",
        pieces.to_str().expect("UTF-8"),
        "--device",
        "roll-plotter",
        "-o",
        again.to_str().expect("UTF-8"),
    ]);
    assert_eq!(code(&made), 0, "{}", err(&made));
    let read = |folder: &Path| std::fs::read(folder.join("roll-plotter.svg")).expect("is there");
    assert_eq!(read(&person), read(&again.join("maren-holt")), "same pieces, same bytes");
    for (name, device) in [("roll-plotter.svg", "roll-plotter"), ("card-cutter-1.dxf", "card-cutter")] {
        let file = person.join(name);
        let proof = oaktag(&[
            "proof",
            file.to_str().expect("UTF-8"),
            "--pieces",
            pieces.to_str().expect("UTF-8"),
            "--device",
            device,
        ]);
        assert_eq!(code(&proof), 0, "{}", err(&proof));
        assert!(out(&proof).contains("passed"), "{}", out(&proof));
    }
    // A seeded fault: another machine of the kind, with its correction.
    let file = person.join("roll-plotter.svg");
    let proof = oaktag(&[
        "proof",
        file.to_str().expect("UTF-8"),
        "--pieces",
        pieces.to_str().expect("UTF-8"),
        "--device",
        "samples/wardrobe-plotter.device.kdl",
    ]);
    assert_eq!(code(&proof), 1, "{}", out(&proof));
    assert!(out(&proof).contains("FAILED"), "{}", out(&proof));
}

#[test]
fn a_quarter_scale_sheet_can_be_proven_again() {
    let folder = scratch("quarter");
    let (pieces, to) = ("tests/data/pocket.pieces.json", folder.display().to_string());
    let make = ["make", pieces, "--device", "roll-inkjet", "--quarter-scale", "projector", "--effort", "2", "-o", &to];
    let made = oaktag(&make);
    assert_eq!(code(&made), 0, "{}", err(&made));
    let proof = |name: &str, device: &str, more: &[&str]| {
        let file = folder.join("ida").join(name).display().to_string();
        let mut args = vec!["proof", &*file, "--pieces", pieces, "--device", device, "--effort", "2"];
        args.extend(more);
        let proof = oaktag(&args);
        (code(&proof), out(&proof), err(&proof))
    };
    let (ended, said, _) = proof("quarter-scale-projector.svg", "projector", &["--quarter-scale"]);
    assert!(ended == 0 && said.contains("passed"), "{said}");
    assert_eq!(proof("roll-inkjet.pdf", "roll-inkjet", &[]).0, 0);
    // Seeded faults: the one taken for the other. What it is and what to do is said.
    let (ended, said, told) = proof("quarter-scale-projector.svg", "projector", &[]);
    assert!(ended == 1 && said.contains("FAILED"), "{said}");
    assert!(told.contains("a quarter of their size, to pin up, and is true: prove it with --quarter-scale"), "{told}");
    let (ended, said, told) = proof("roll-inkjet.pdf", "roll-inkjet", &["--quarter-scale"]);
    assert!(ended == 1 && said.contains("FAILED"), "{said}");
    assert!(told.contains("their full size, and is true: prove it without --quarter-scale"), "{told}");
    // A file that is true at neither scale is not said to be.
    let file = folder.join("ida/quarter-scale-projector.svg");
    let text = std::fs::read_to_string(&file).expect("is there");
    // The check square: the first of its lines is drawn double as long.
    std::fs::write(&file, text.replacen("<path d=\"", "<path d=\"M0 0L300 0\"/><path d=\"", 1)).expect("writes");
    let (ended, _, told) = proof("quarter-scale-projector.svg", "projector", &[]);
    assert!(ended == 1 && !told.contains("is true"), "{told}");
}

/// Once for the machine, however many sheets and people it is for.
#[test]
fn a_machine_that_was_never_measured_is_told_once() {
    let folder = scratch("unmeasured").display().to_string();
    let people = [MAREN, "samples/pip-arlen.measures.kdl"];
    let make = [&["make", STYLE, "--device", "sheet-drag-knife", "-o", &folder, "--measures"], &people[..]].concat();
    let made = oaktag(&make);
    assert!(out(&made).matches("passed").count() >= 4, "{}", out(&made));
    assert_eq!(err(&made).matches("was never measured on card").count(), 1, "{}", err(&made));
}

/// A slip beside a piece is no edge, whatever an edge is called.
#[test]
fn an_edge_may_be_called_slip() {
    let folder = scratch("slip");
    let drawn = |name: &str| {
        let pieces = common::text("tests/data/pocket.pieces.json").replace("\"left\"", &format!("\"{name}\""));
        let (pieces, to) = (write(&folder, "pocket.pieces.json", &pieces), folder.display().to_string());
        let laid = oaktag(&["lay", &pieces, "--width", "90 cm", "--device", "roll-plotter", "-o", &to]);
        let files = std::fs::read_dir(&folder).expect("a folder").flatten();
        let file = files.map(|file| file.path()).find(|path| path.to_string_lossy().ends_with("roll-plotter.svg"));
        let strokes = file.map(|path| {
            let text = std::fs::read_to_string(&path).expect("text");
            std::fs::remove_file(path).expect("removed");
            text.matches(&format!("data-edge=\"{name}\"")).count()
        });
        (code(&laid), strokes, err(&laid))
    };
    let (left, slip) = (drawn("left"), drawn("slip"));
    assert!(left.0 == 0 && left.1.is_some_and(|count| count > 0), "{left:?}");
    assert!(slip.1 >= left.1.map(|count| count - 1), "{left:?} {slip:?}");
    let refused = drawn("/slip");
    assert!(refused.0 == 2 && refused.2.contains("begins with a slash"), "{refused:?}");
}

#[test]
fn walk_reports_and_a_longer_edge_holds_back() {
    let walk = oaktag(&["walk", STYLE, "--measures", MAREN]);
    assert_eq!(code(&walk), 0, "{}", err(&walk));
    assert!(out(&walk).contains("armhole"), "{}", out(&walk));
    let folder = scratch("walk");
    let drafted = oaktag(&["draft", STYLE, "--measures", MAREN]);
    assert_eq!(code(&drafted), 0, "{}", err(&drafted));
    let mut pieces: serde_json::Value = serde_json::from_str(&out(&drafted)).expect("JSON");
    // The front's shoulder, 2 mm longer: its end and all that meets it there move out.
    let front =
        pieces["pieces"].as_array_mut().expect("pieces").iter_mut().find(|p| p["name"] == "Front").expect("Front");
    let edges = front["edges"].as_array_mut().expect("edges");
    let shoulder = edges.iter().position(|e| e["name"] == "shoulder").expect("shoulder");
    let path = kurbo::BezPath::from_svg(edges[shoulder]["path"].as_str().expect("path")).expect("reads");
    let (start, end) = (oaktag::geom::path::start(&path).expect("start"), oaktag::geom::path::end(&path).expect("end"));
    let longer = start + (start - end).normalize() * 2.0;
    edges[shoulder]["path"] = format!("M{} {} L{} {}", longer.x, longer.y, end.x, end.y).into();
    let armhole = edges[shoulder - 1]["path"].as_str().expect("path");
    edges[shoulder - 1]["path"] = format!("{armhole} L{} {}", longer.x, longer.y).into();
    let file = write(&folder, "longer.pieces.json", &pieces.to_string());
    let walk = oaktag(&["walk", &file]);
    assert_eq!(code(&walk), 1, "{}", out(&walk));
    assert!(err(&walk).contains("seam \"shoulder\" does not agree"), "{}", err(&walk));
    let held = folder.join("held");
    let made = oaktag(&["make", &file, "--device", "roll-plotter", "-o", held.to_str().expect("UTF-8")]);
    assert_eq!(code(&made), 1, "{}", err(&made));
    assert!(is_empty(&held), "a breach holds everything back");
    let made = oaktag(&["make", &file, "--device", "roll-plotter", "--anyway", "-o", held.to_str().expect("UTF-8")]);
    assert_eq!(code(&made), 0, "{}", err(&made));
}

#[test]
fn allow_adds_the_cut_line() {
    let folder = scratch("allow");
    // The example of the pieces format: an apron pocket 120 x 140 mm with a hem of 38.1 mm at its top.
    let pocket = write(&folder, "pocket.pieces.json", &common::text("tests/data/pocket.pieces.json"));
    let target = folder.join("cut.pieces.json");
    let allowed = oaktag(&["allow", &pocket, "-o", target.to_str().expect("UTF-8")]);
    assert_eq!(code(&allowed), 0, "{}", err(&allowed));
    let text = std::fs::read_to_string(&target).expect("is there");
    let cut: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let line = kurbo::BezPath::from_svg(cut["pieces"][0]["cut_line"].as_str().expect("a cut line")).expect("reads");
    let bounds = kurbo::Shape::bounding_box(&line);
    // Arithmetic: 12.7 mm left and right of 120 mm, 38.1 mm above 140 mm.
    assert!((bounds.width() - 145.4).abs() < 0.01 && (bounds.y1 - 178.1).abs() < 0.01, "{bounds:?}");
    // The same file is read again, its cut line ignored.
    assert_eq!(code(&oaktag(&["walk", target.to_str().expect("UTF-8")])), 0);
}

/// Where a cut line of 12.7 mm lies, by `geo`: least and greatest distance of its points from the sew line, which has
/// round corners, so that 12.7 mm is right everywhere. With the number of the line's segments.
fn measured(cut: &kurbo::BezPath, sew: &[kurbo::BezPath]) -> ([f64; 2], usize) {
    use geo::{Distance, Euclidean};
    let points = |segment: kurbo::PathSeg, count: u32| {
        (0..=count).map(move |i| kurbo::ParamCurve::eval(&segment, f64::from(i) / f64::from(count)))
    };
    // Chords of a curve of 300 mm with a radius of 100 mm stray by s²/8r = 3·10⁻⁵ mm.
    let sew: Vec<geo::Coord> = sew
        .iter()
        .flat_map(kurbo::BezPath::segments)
        .flat_map(|segment| points(segment, 2000))
        .map(|p| geo::Coord { x: p.x, y: p.y })
        .collect();
    let sew = geo::LineString(sew);
    let far = cut
        .segments()
        .flat_map(|segment| points(segment, 60))
        .map(|p| Euclidean.distance(&geo::Point::new(p.x, p.y), &sew));
    let ends = far.fold([f64::INFINITY, 0.0], |ends: [f64; 2], far| [ends[0].min(far), ends[1].max(far)]);
    (ends, cut.segments().count())
}

#[test]
fn allow_keeps_the_tolerance_that_is_asked_for() {
    let folder = scratch("tolerance");
    // A bodice front of invented measures with 12.7 mm all round and round corners.
    let paths = [
        "M0 0 C80 -6 160 -4 235 8",
        "M235 8 C245 80 250 150 248 205",
        "M248 205 C205 210 190 250 192 300 C193 330 196 350 200 372",
        "M200 372 L75 415",
        "M75 415 C70 365 40 330 0 325",
        "M0 325 L0 0",
    ];
    let sew = paths.map(|path| kurbo::BezPath::from_svg(path).expect("a path"));
    let edges: Vec<_> = (0..paths.len())
        .map(|i| serde_json::json!({ "name": format!("e{i}"), "path": paths[i], "allowance": 12.7 }))
        .collect();
    let corners: Vec<_> =
        (0..paths.len()).map(|i| serde_json::json!({ "after": format!("e{i}"), "finish": "round" })).collect();
    let mut set: serde_json::Value =
        serde_json::from_str(&common::text("tests/data/pocket.pieces.json")).expect("JSON");
    set["pieces"] =
        serde_json::json!([{ "name": "Front", "edges": edges, "corners": corners, "grain": [[60, 100], [60, 200]] }]);
    let file = write(&folder, "front.pieces.json", &set.to_string());
    let cut = |tolerance: &[&str]| {
        let allowed = oaktag(&[&["allow", &file][..], tolerance].concat());
        assert_eq!(code(&allowed), 0, "{}", err(&allowed));
        let cut: serde_json::Value = serde_json::from_str(&out(&allowed)).expect("JSON");
        let line = cut["pieces"][0]["cut_line"].as_str().expect("a cut line");
        measured(&kurbo::BezPath::from_svg(line).expect("reads"), &sew)
    };
    let strays = |ends: [f64; 2]| (12.7 - ends[0]).max(ends[1] - 12.7);
    let ((usual, few), (fine, many)) = (cut(&[]), cut(&["--tolerance", "0.001"]));
    assert!(strays(usual) <= 0.005, "{usual:?}");
    assert!(strays(fine) <= 0.001 && many >= few, "{fine:?}, {few} and {many} segments");
    // The measure sees a coarser line, and the option is not a word only.
    let (coarse, fewest) = cut(&["--tolerance", "0.5"]);
    assert!((0.005..=0.5).contains(&strays(coarse)) && fewest <= few, "{coarse:?}, {fewest} segments");
    for bad in ["0", "0.0001", "2", "-0.005", "NaN"] {
        let target = folder.join("none.pieces.json");
        let refused = oaktag(&["allow", &file, &format!("--tolerance={bad}"), "-o", target.to_str().expect("UTF-8")]);
        assert_eq!(code(&refused), 2, "{bad}");
        assert!(err(&refused).contains("tolerance") && err(&refused).contains("0.005"), "{}", err(&refused));
        assert!(!target.exists(), "{bad}: something was written");
    }
}

/// Bad input: exit code, place, what was expected, the nearest name; and nothing written.
#[test]
#[allow(clippy::too_many_lines)] // one table of cases
fn bad_input_is_refused_with_its_place() {
    let folder = scratch("bad");
    let out_folder = folder.join("out");
    let out_name = out_folder.display().to_string();
    let maren = common::text(MAREN);
    let style = common::text(STYLE);
    let pocket = common::text("tests/data/pocket.pieces.json");
    let person = |name: &str, from: &str, to: &str| {
        assert!(maren.contains(from), "{from}");
        write(&folder, name, &maren.replacen(from, to, 1))
    };
    let changed = |name: &str, text: &str, from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        write(&folder, name, &text.replacen(from, to, 1))
    };
    let with = |measures: String| vec![STYLE.to_owned(), "--measures".into(), measures];
    let styled = |style: String| vec![style, "--measures".into(), MAREN.to_owned()];
    let cases: Vec<(&str, Vec<String>, i32, Vec<&str>)> = vec![
        (
            "missing measure",
            with(person("a.kdl", "\"hip girth\" \"39\"", "")),
            2,
            vec!["Maren Holt has no \"hip girth\"", "a.kdl"],
        ),
        (
            "negative measure",
            with(person("b.kdl", "\"39\"", "\"-39\"")),
            2,
            vec!["the hip girth is not over 0", "b.kdl:7:"],
        ),
        (
            "a measure that nothing can be drafted from",
            with(person("odd.kdl", "\"round armhole\" \"16 1/2\"", "\"round armhole\" \"90\"")),
            2,
            vec!["never comes right", "look at the measures first: a round armhole of 90 in is unusual; else widen"],
        ),
        ("unknown measure", with(person("c.kdl", "hip girth", "hip grith")), 2, vec!["did you mean \"hip girth\""]),
        (
            "a bust of 36 in a centimetre file",
            with(write(
                &folder,
                "d.kdl",
                &common::text("samples/teodora-vance.measures.kdl").replacen(
                    "\"bust girth\" 112",
                    "\"bust girth\" 36",
                    1,
                ),
            )),
            1,
            vec!["a bust girth of 36 cm is unusual", "36 in would be usual"],
        ),
        (
            "unknown edge in a seam",
            styled(changed("e.style.kdl", &style, "seam \"Front/side\"", "seam \"Front/sied\"")),
            2,
            vec!["has no edge \"sied\"", "did you mean \"side\"", "e.style.kdl:"],
        ),
        (
            "an outline that crosses itself",
            vec![changed("f.pieces.json", &pocket, "M120 140 L0 140\"", "M120 140 L140 60 L0 140\"")],
            2,
            vec!["Pocket", "crosses"],
        ),
        (
            "an allowance of NaN",
            vec![changed("g.pieces.json", &pocket, "\"allowance\": 38.1", "\"allowance\": NaN")],
            2,
            vec!["g.pieces.json:"],
        ),
        (
            "an allowance over 100 m",
            vec![changed("h.pieces.json", &pocket, "\"allowance\": 38.1", "\"allowance\": 1e9")],
            2,
            vec!["Pocket", "top", "no length in this trade"],
        ),
        (
            "edges that do not meet",
            vec![changed("i.pieces.json", &pocket, "M120 0 L120 140", "M121 0 L120 140")],
            2,
            vec!["ends 1.000 mm from where \"right\" starts"],
        ),
        (
            "no such file",
            with("samples/maren-hult.measures.kdl".into()),
            2,
            vec!["can't be read", "did you mean", "maren-holt"],
        ),
        (
            "a broken style",
            styled(changed("j.style.kdl", &style, "edge \"side\"", "edge side\"")),
            2,
            vec!["j.style.kdl:"],
        ),
        (
            "an unknown choice",
            [styled(STYLE.into()), vec!["--set".into(), "bust eaze=3".into()]].concat(),
            2,
            vec!["did you mean \"bust ease\""],
        ),
    ];
    for (what, args, wanted, words) in cases {
        let mut all: Vec<&str> = vec!["make"];
        all.extend(args.iter().map(String::as_str));
        all.extend(["--device", "roll-plotter", "-o", &out_name]);
        let ended = oaktag(&all);
        let said = err(&ended);
        assert_eq!(code(&ended), wanted, "{what}: {said}");
        for word in words {
            assert!(said.contains(word), "{what} does not say \"{word}\": {said}");
        }
        assert!(is_empty(&out_folder), "{what}: something was written");
    }
}

#[test]
fn a_piece_wider_than_the_medium_is_named() {
    let folder = scratch("wide");
    let out_folder = folder.join("out");
    let narrow = write(
        &folder,
        "narrow.device.kdl",
        &common::text("profiles/roll-plotter.device.kdl").replacen("width=\"36 in\"", "width=\"10 in\"", 1),
    );
    let made =
        oaktag(&["make", STYLE, "--measures", MAREN, "--device", &narrow, "-o", out_folder.to_str().expect("UTF-8")]);
    assert_eq!(code(&made), 2);
    assert!(err(&made).contains("piece \"Front\"") || err(&made).contains("piece \"Back"), "{}", err(&made));
    assert!(is_empty(&out_folder));
}

#[test]
fn a_folder_that_can_not_be_written_is_named() {
    let folder = scratch("read-only");
    // A file where the folder should be: refused for every user, root too.
    let blocked = write(&folder, "blocked", "not a folder");
    let made = oaktag(&["make", STYLE, "--measures", MAREN, "--device", "roll-plotter", "-o", &blocked]);
    assert_eq!(code(&made), 2);
    assert!(err(&made).contains("nothing can be written here") && err(&made).contains("blocked"), "{}", err(&made));
    assert_eq!(std::fs::read_to_string(folder.join("blocked")).expect("still there"), "not a folder");
}

/// What stands in the way of the last person's files is found before the first person's are put in place.
#[test]
fn a_folder_in_the_way_of_one_holds_back_all() {
    let folder = scratch("in-the-way");
    let blocked = folder.join("pip-arlen/making-sheet.html");
    std::fs::create_dir_all(&blocked).expect("a folder");
    let to = folder.display().to_string();
    let people = ["--measures", MAREN, "samples/pip-arlen.measures.kdl"];
    let made = oaktag(&[&["make", STYLE, "--device", "roll-plotter", "-o", &to], &people[..]].concat());
    assert_eq!(code(&made), 2);
    assert!(err(&made).contains("a folder stands where this file should go"), "{}", err(&made));
    let left = |folder: &Path| std::fs::read_dir(folder).expect("a folder").count();
    assert_eq!((left(&folder), left(&folder.join("pip-arlen")), left(&blocked)), (1, 1, 0), "something was written");
    // Seeded: with the way clear all of it comes.
    std::fs::remove_dir(&blocked).expect("removed");
    let made = oaktag(&[&["make", STYLE, "--device", "roll-plotter", "-o", &to], &people[..]].concat());
    assert!(code(&made) == 0 && blocked.is_file() && folder.join("maren-holt/proven.json").is_file());
}

/// Ctrl+C while files lie beside their targets.
#[test]
#[cfg(unix)]
fn stopped_in_the_middle_nothing_is_left() {
    let folder = scratch("stopped");
    let to = folder.display().to_string();
    let sizes = "samples/en-13402-3-women.sizes.kdl";
    let args = ["make", "samples/choir-bodice.style.kdl", "--measures", sizes, "--estimate", "--effort", "20"];
    let more = ["--device", "home-printer-a4", "roll-plotter", "-o", &to];
    let mut command = common::program::command(&[&args[..], &more[..]].concat());
    let child = command.stderr(std::process::Stdio::piped()).stdout(std::process::Stdio::null()).spawn();
    let child = child.expect("the program starts");
    while std::fs::read_dir(&folder).expect("a folder").next().is_none() {
        std::thread::yield_now();
    }
    let kill = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(kill.expect("kill runs").success());
    let ended = child.wait_with_output().expect("ends");
    assert!(code(&ended) == 2 && err(&ended).contains("stopped: nothing was written"), "{}", err(&ended));
    assert!(is_empty(&folder), "something was left");
}

#[test]
fn an_unknown_device_offers_the_nearest() {
    let made = oaktag(&["make", STYLE, "--measures", MAREN, "--device", "roll-ploter", "-o", "target/tests/none"]);
    assert_eq!(code(&made), 2);
    assert!(err(&made).contains("did you mean \"roll-plotter\""), "{}", err(&made));
}

/// Escape begins a terminal's commands (ECMA-48), and U+009B is such a beginning in one sign; U+202E and the like turn the
/// direction of writing (UAX #9).
#[test]
fn names_do_nothing_to_the_terminal() {
    let folder = scratch("names");
    let told = |args: &[&str]| {
        let ended = oaktag(args);
        let said = String::from_utf8(ended.stderr).expect("UTF-8");
        assert_eq!(ended.status.code(), Some(2), "{said}");
        let bad = |c: char| (c.is_control() && c != '\n') || "\u{61c}\u{202e}\u{2066}".contains(c);
        assert!(!said.contains(bad), "{said:?}");
        said
    };
    // A person's name, by the escapes of KDL; letters of all scripts stay as they are.
    let name = r"Ida \u{1b}[2J\u{9b}31m\u{202e}olleh\u{2066}\u{61c} Ödön 袖";
    let maren = common::text(MAREN).replace("Maren Holt", name).replacen("\"hip girth\" \"39\"", "", 1);
    let said = told(&["walk", STYLE, "--measures", &write(&folder, "ida.measures.kdl", &maren)]);
    assert!(said.contains("Ida ?[2J??31m???olleh????? Ödön 袖"), "{said}");
    // A piece's name by those of JSON, and a file's own name.
    let pocket = common::text("tests/data/pocket.pieces.json");
    assert!(pocket.contains("M120 0 L120 140"));
    let broken = pocket.replace("\"Pocket\"", r#""Po\u001b]0;cket""#).replace("M120 0 L120 140", "M121 0 L120 140");
    let said = told(&["walk", &write(&folder, "odd\u{202e}name.pieces.json", &broken)]);
    assert!(said.contains("Po?]0;cket") && said.contains("odd???name"), "{said}");
}

#[test]
fn usage_is_exit_code_2() {
    assert_eq!(code(&oaktag(&["make"])), 2);
    assert_eq!(code(&oaktag(&["mkae"])), 2);
    assert_eq!(code(&oaktag(&["--version"])), 0);
}
