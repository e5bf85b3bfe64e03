//! `oaktag device`, and jobs for what the profiles describe.

mod common;

use common::program::{command, err, oaktag, out, scratch};
use std::path::Path;
use std::process::{Command, Stdio};

const STYLE: &str = "samples/evening-chorus.style.kdl";
const MAREN: &str = "samples/maren-holt.measures.kdl";

#[test]
fn the_list_names_every_profile() {
    let list = oaktag(&["device"]);
    assert_eq!(list.status.code(), Some(0), "{}", err(&list));
    let rows: serde_json::Value = serde_json::from_str(&out(&oaktag(&["device", "list", "--json"]))).expect("JSON");
    let rows = rows.as_array().expect("a list");
    for entry in std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles")).expect("profiles") {
        let file = entry.expect("entry").file_name().to_string_lossy().into_owned();
        let name = file.strip_suffix(".device.kdl").expect("a profile");
        assert!(out(&list).lines().any(|line| line.split_whitespace().next() == Some(name)), "{name}");
        let row = rows.iter().find(|row| row["name"] == name).expect(name);
        assert!(row["media"][0].as_str().is_some_and(|media| media.contains("mm")), "{row}");
    }
    // Elsewhere the built-in ones are still there.
    let mut elsewhere = Command::new(env!("CARGO_BIN_EXE_oaktag"));
    let elsewhere = elsewhere.args(["device", "list"]).current_dir(scratch("elsewhere")).output().expect("starts");
    assert_eq!(out(&elsewhere), out(&list));
}

#[test]
fn check_points_at_the_place_and_sets_the_code() {
    let good = oaktag(&["device", "check", "profiles/laser.device.kdl", "--json"]);
    assert_eq!(good.status.code(), Some(0), "{}", err(&good));
    let checked: serde_json::Value = serde_json::from_str(&out(&good)).expect("JSON");
    assert_eq!(checked["device"]["tools"][1]["tip"]["laser"]["kerf"], 0.2);
    let folder = scratch("check");
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles/laser.device.kdl"));
    let text = text.expect("reads");
    for (from, to, code, said) in [
        ("cuts \"notch\" \"cut\"", "cuts \"notch\"", 1, "no tool draws or cuts the cut line"),
        ("burns kerf", "burnz kerf", 2, "did you mean \"burns\"?"),
        ("        power 450\n", "", 2, "how this tool is switched or lowered"),
        (" \"square\"", "", 0, "check square is left out"),
    ] {
        assert!(text.contains(from), "{from}");
        let file = folder.join("a.device.kdl");
        std::fs::write(&file, text.replacen(from, to, 1)).expect("writes");
        let checked = oaktag(&["device", "check", &file.display().to_string()]);
        assert_eq!(checked.status.code(), Some(code), "{}", err(&checked));
        assert!(err(&checked).contains(said), "{said}: {}", err(&checked));
    }
    assert_eq!(oaktag(&["device", "check", "profiles/lazer.device.kdl"]).status.code(), Some(2));
}

#[test]
fn explain_speaks_plainly() {
    let plain = out(&oaktag(&["device", "explain", "sheet-drag-knife"]));
    for said in [
        "its blade trails by 0.45 mm",
        "force 180 g",
        "net blocks",
        "maker's manual",
        "Tool 2",
        "goes 300 mm a second",
        "takes 0.15 s",
    ] {
        assert!(plain.contains(said), "{said}: {plain}");
    }
    let lines: Vec<String> =
        serde_json::from_str(&out(&oaktag(&["device", "explain", "laser", "--json"]))).expect("JSON");
    assert!(lines.iter().any(|line| line.contains("goggles")));
    let unknown = oaktag(&["device", "explain", "lazer"]);
    assert_eq!((unknown.status.code(), err(&unknown).contains("\"laser\"")), (Some(2), true));
}

/// Every profile is checked, explained, and given a small job whose file passes its proof.
#[test]
fn every_profile_does_a_small_job() {
    let folder = scratch("every-profile");
    let profiles = std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles")).expect("profiles");
    let mut names: Vec<String> = profiles
        .map(|entry| entry.expect("entry").file_name().to_string_lossy().into_owned())
        .map(|file| file.strip_suffix(".device.kdl").expect("a profile").to_owned())
        .collect();
    names.sort();
    assert!(names.len() >= 11, "{names:?}");
    for name in &names {
        let checked = oaktag(&["device", "check", &format!("profiles/{name}.device.kdl")]);
        assert_eq!(checked.status.code(), Some(0), "{name}: {}", err(&checked));
        let explained = oaktag(&["device", "explain", name]);
        assert_eq!(explained.status.code(), Some(0), "{name}: {}", err(&explained));
        assert!(out(&explained).contains("Tool 1"), "{name}: {}", out(&explained));
    }
    let target = folder.display().to_string();
    let mut args = vec!["make", "tests/data/pocket.pieces.json", "-o", &target, "--json", "--device"];
    args.extend(names.iter().map(String::as_str));
    let made = oaktag(&args);
    assert_eq!(made.status.code(), Some(0), "{}", err(&made));
    for said in ["maker's manual", "stop switch", "hold the sheet down", "lid closed", "never out of sight"] {
        assert_eq!(err(&made).matches(said).count(), 1, "{said}: {}", err(&made));
    }
    let lines: Vec<serde_json::Value> = serde_json::from_str(&out(&made)).expect("JSON");
    for name in &names {
        let of = |line: &&serde_json::Value| {
            let file = line["file"].as_str().and_then(|file| Path::new(file).file_stem()?.to_str());
            file.is_some_and(|stem| {
                stem == name || stem.strip_prefix(&**name).is_some_and(|rest| rest.starts_with('-'))
            })
        };
        let files: Vec<&serde_json::Value> = lines.iter().filter(of).collect();
        assert!(!files.is_empty(), "{name}");
        for line in files {
            assert_eq!(line["passed"], true, "{line}");
            assert!(Path::new(line["file"].as_str().expect("a path")).metadata().expect("a file").len() > 500);
            // What prints or shows everything at once has no head whose way could be reckoned, nor has a file for programs.
            let at_once = ["home-printer-a4", "home-printer-letter", "roll-inkjet", "projector", "interchange"];
            let at_once = at_once.contains(&&**name);
            let seconds = line["estimate"]["whole"]["seconds"].as_f64();
            assert_eq!(seconds.is_some_and(|seconds| seconds > 1.0), !at_once, "{line}");
        }
    }
}

/// Everybody's blocks in card: what the trailing blade cuts is followed by the proof, on a grid of 0.025 mm.
#[test]
fn the_drag_knife_cuts_everybodys_blocks() {
    let folder = scratch("drag-knife");
    let target = folder.display().to_string();
    let people = ["maren-holt", "teodora-vance", "pip-arlen"];
    let files = people.map(|person| format!("samples/{person}.measures.kdl"));
    let mut args = vec!["make", STYLE, "--device", "sheet-drag-knife", "-o", &target, "--measures"];
    args.extend(files.iter().map(String::as_str));
    let made = oaktag(&args);
    assert_eq!(made.status.code(), Some(0), "{}", err(&made));
    assert_eq!(out(&made).matches("passed").count(), 6, "{}", out(&made));
    assert_eq!(out(&made).matches("min at the machine").count(), 6, "{}", out(&made));
    assert!(people.iter().all(|person| folder.join(person).join("sheet-drag-knife-2.plt").is_file()));
}

/// A metre is 1,000 mm (SI Brochure, 9th edition).
#[test]
fn a_ladder_may_be_given_in_metres() {
    let folder = scratch("ladder");
    let target = folder.display().to_string();
    let drawn = |run: &str| oaktag(&["square", "roll-plotter", "--run", run, "-o", &target]);
    let of = |run: &str| {
        let drawn = drawn(run);
        assert_eq!(drawn.status.code(), Some(0), "{run}: {}", err(&drawn));
        std::fs::read(folder.join("roll-plotter-square.svg")).expect("the square")
    };
    let four = of("4 m");
    assert!(four == of("4000") && four == of("400 cm") && four == of("4m"));
    assert!(four != of("3 m"));
    assert_eq!(drawn("4 k").status.code(), Some(2));
    // What can't be as asked is said: 5 m are the longest plots of this roll, a page has no ladder.
    assert!(!err(&drawn("4 m")).contains("ladder is"), "{}", err(&drawn("4 m")));
    let long = drawn("500 m");
    let told = err(&long);
    assert!(long.status.success() && told.contains("the ladder is 4.75 m long, not 500 m"), "{told}");
    let short = err(&drawn("10 cm"));
    assert!(short.contains("there is no ladder: 0.1 m does not reach"), "{short}");
    for none in ["0 m", "0"] {
        let refused = drawn(none);
        assert!(refused.status.code() == Some(2) && err(&refused).contains("of no length"), "{}", err(&refused));
    }
    for (device, more) in [("home-printer-a4", &[][..]), ("card-cutter", &[]), ("roll-plotter", &["--small"])] {
        let page = oaktag(&[&["square", device, "--run", "4 m", "-o", &target], more].concat());
        assert!(page.status.success() && err(&page).contains("there is no ladder"), "{device}: {}", err(&page));
    }
}

/// Readings of a square that was drawn through the correction say that the machine is true: recorded as a plain square's
/// they would do away with a good correction.
#[test]
fn a_good_correction_is_not_recorded_over() {
    let folder = scratch("over");
    let own = folder.join("own.device.kdl");
    let measured = common::text("samples/wardrobe-plotter.device.kdl");
    std::fs::write(&own, &measured).expect("writes");
    let (own, to) = (own.display().to_string(), folder.display().to_string());
    let square = |more: &[&str]| oaktag(&[&["square", &own], more].concat());
    let text = || std::fs::read_to_string(&own).expect("reads");

    // Each square says how its readings are given.
    let then = |more: &[&str]| {
        let drawn = square(&[more, &["-o", &to]].concat());
        assert_eq!(drawn.status.code(), Some(0), "{}", err(&drawn));
        err(&drawn)
    };
    assert!(then(&["--verify"]).contains("Then: oaktag square with --verify --width"), "{}", then(&["--verify"]));
    assert!(then(&[]).contains("Then: oaktag square with --width"), "{}", then(&[]));

    // 890 mm each way, diagonals 890 √2 = 1,258.65 mm (Pythagoras): true, as a verified square of a good correction is.
    let good = [
        "--width",
        "890",
        "--height",
        "890",
        "--diagonal",
        "1258.6",
        "--diagonal-2",
        "1258.6 mm",
        "--date",
        "2027-01-05",
    ];
    let asked = square(&good);
    let said = err(&asked);
    assert_eq!(asked.status.code(), Some(1), "{said}");
    assert_eq!(text(), measured, "nothing is recorded");
    for words in
        ["through the correction of 2026-10-02", "x 0.9987", "\"1258.6 mm\" --date 2027-01-05 --verify", "--anyway"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert_eq!(square(&[&good[..], &["--verify"]].concat()).status.code(), Some(0));
    assert_eq!(text(), measured);

    // A plain square of that machine, by its own correction: 890 · 0.9987 = 888.84, 890 · 1.0012 = 891.07, and the
    // diagonals of 890 (0.9987 ± 0.0005) = 889.29 and 888.40: 1,258.93 and 1,258.31. Nothing is asked.
    let plain = ["--width", "888.8", "--height", "891.1", "--diagonal", "1258.9", "--diagonal-2", "1258.3"];
    let taken = square(&[&plain[..], &["--date", "2027-01-06"]].concat());
    assert_eq!(taken.status.code(), Some(0), "{}", err(&taken));
    let count = || text().matches("correction \"").count();
    assert_eq!(count(), 2);
    // With --anyway the true ones are, and then there is nothing left to record over.
    for (more, corrections) in [(&["--anyway"][..], 3), (&[], 4)] {
        let mut later = good;
        later[9] = "2027-01-07";
        let taken = square(&[&later[..], more].concat());
        assert_eq!((taken.status.code(), count()), (Some(0), corrections), "{}", err(&taken));
    }
}

#[test]
fn sheets_of_an_earlier_job_are_not_taken_for_this_one() {
    let folder = scratch("earlier");
    let to = folder.display().to_string();
    let text = std::fs::read_to_string("tests/data/pocket.pieces.json").expect("reads");
    let mut set: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let pocket = set["pieces"][0].clone();
    let make = |set: &serde_json::Value| {
        let file = folder.join("some.pieces.json").display().to_string();
        std::fs::write(&file, set.to_string()).expect("written");
        let made = oaktag(&["make", &file, "--device", "card-cutter", "-o", &to]);
        assert_eq!(made.status.code(), Some(0), "{}", err(&made));
        err(&made)
    };
    let listed = || -> Vec<String> {
        let list = std::fs::read_to_string(folder.join("ida/proven.json")).expect("there");
        let list: serde_json::Value = serde_json::from_str(&list).expect("JSON");
        list.as_array().expect("a list").iter().map(|f| f["file"].as_str().expect("a name").to_owned()).collect()
    };
    let many: Vec<serde_json::Value> = (0..40)
        .map(|i| {
            let mut piece = pocket.clone();
            piece["name"] = format!("Pocket {i}").into();
            piece
        })
        .collect();
    set["pieces"] = many.into();
    assert!(!make(&set).contains("earlier job"));
    let inside = folder.join("ida").display().to_string();
    assert!(oaktag(&["square", "card-cutter", "-o", &inside]).status.success());
    let first = listed();
    assert!(first.len() >= 3 && first.contains(&"card-cutter-2.dxf".to_owned()), "{first:?}");
    set["pieces"] = vec![pocket].into();
    let told = make(&set);
    assert!(told.contains("card-cutter-2.dxf: this file belongs to an earlier job"), "{told}");
    assert_eq!(listed(), ["card-cutter-square.dxf", "card-cutter.dxf"]);
    assert!(folder.join("ida/card-cutter-2.dxf").is_file(), "the user's file stays");
    assert!(!make(&set).contains("earlier job"), "said once");
}

#[test]
fn the_projector_shows_millimetres_in_its_own_pixels() {
    let folder = scratch("projector");
    let out_folder = folder.display().to_string();
    let made = oaktag(&["make", STYLE, "--measures", MAREN, "--device", "projector", "-o", &out_folder]);
    assert_eq!(made.status.code(), Some(0), "{}", err(&made));
    assert!(!err(&made).contains("maker's manual"), "nothing here cuts: {}", err(&made));
    let person = std::fs::read_dir(&folder).expect("made").next().expect("a person").expect("entry").path();
    let svg = std::fs::read_dir(person).expect("reads").map(|entry| entry.expect("entry"));
    let svg = svg
        .into_iter()
        .find(|entry| entry.path().extension().is_some_and(|extension| extension == "svg"))
        .expect("an SVG")
        .path();
    let text = std::fs::read_to_string(svg).expect("reads");
    let document = roxmltree::Document::parse(&text).expect("XML");
    let root = document.root_element();
    // 1,920 × 1,080 pixels of 0.77 mm are 1,478.4 × 831.6 mm: the profile's own figures.
    assert_eq!((root.attribute("width"), root.attribute("height")), (Some("1920px"), Some("1080px")));
    assert_eq!(root.attribute("viewBox"), Some("0 0 1478.4 831.6"));
}

#[test]
fn tips_bridges_and_passes_are_carried_out_and_proven() {
    let folder = scratch("carried-out");
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles/card-cutter.device.kdl"));
    let text = text.expect("reads");
    let file = folder.join("a.device.kdl");
    for more in ["drags offset=\"0.5 mm\"", "bridges length=\"1 mm\" every=\"100 mm\"", "passes 2"] {
        std::fs::write(&file, text.replacen("cuts \"cut\"", &format!("cuts \"cut\"; {more}"), 1)).expect("writes");
        let out = folder.join("out");
        let (device, target) = (file.display().to_string(), out.display().to_string());
        let made = oaktag(&["make", STYLE, "--measures", MAREN, "--device", &device, "-o", &target]);
        assert_eq!(made.status.code(), Some(0), "{more}: {}", err(&made));
        assert!(out.join("maren-holt").is_dir(), "{more}");
        std::fs::remove_dir_all(&out).expect("removed");
    }
}

#[test]
fn net_blocks_are_cut_on_the_sew_line() {
    let folder = scratch("net");
    let text = common::text("samples/wardrobe-cutter.device.kdl");
    let text = text.replacen("language \"dxf\"", "language \"svg\"\n    blocks \"net\"", 1);
    let file = folder.join("net.device.kdl");
    std::fs::write(&file, text).expect("writes");
    let (device, target) = (file.display().to_string(), folder.join("out").display().to_string());
    let made = oaktag(&["make", "tests/data/pocket.pieces.json", "--device", &device, "-o", &target]);
    assert_eq!(made.status.code(), Some(0), "{}", err(&made));
    let bytes = std::fs::read(folder.join("out/ida/net.svg")).expect("the file");
    let (drawing, _) = oaktag::read::svg(&bytes, "net.svg").expect("reads");
    let areas =
        drawing.paths.iter().filter(|path| path.layer == "cut").map(|path| kurbo::Shape::area(&path.path).abs());
    let largest = areas.fold(0.0, f64::max);
    // The pocket is 120 × 140 mm and the hollow of its bottom edge, whose height has the Bernstein coefficients 0, 20, 20,
    // 0 over 120 mm: 10 mm in the mean (the integral of each basis polynomial is 1/4). The file holds J⁻¹ of that.
    let nominal = 120.0 * 140.0 + 120.0 * 10.0;
    assert!((largest * 1.0009 * 0.9994 - nominal).abs() < 1.0, "{largest}");
}

/// A net block has nothing to fold back and no hem to mark at its corners, so nothing is said of either; its file is proven.
#[test]
fn net_blocks_are_cut_without_talk_of_hems() {
    let folder = scratch("net-blocks");
    for (device, net) in [("laser", true), ("roll-plotter", false)] {
        let out = folder.join(device).display().to_string();
        let made = oaktag(&["make", STYLE, "--measures", MAREN, "--device", device, "-o", &out]);
        assert_eq!(made.status.code(), Some(0), "{device}: {}", err(&made));
        assert!(!err(&made).contains("folded back") && !err(&made).contains("no room for a notch"), "{}", err(&made));
        let sheets = std::fs::read_dir(folder.join(device).join("maren-holt")).expect("a folder").flatten();
        let cut = sheets.filter(|file| file.path().extension().is_some_and(|ending| ending == "ngc")).count();
        assert_eq!(cut > 0, net, "{device}");
    }
}

/// A file after ASTM D6673 says who and when only where it was told, and what 7-bit ASCII can't say is reported.
#[test]
fn files_for_other_programs_say_what_they_were_told() {
    let folder = scratch("interchange");
    let maren = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(MAREN)).expect("reads");
    let measures = folder.join("person.measures.kdl");
    std::fs::write(&measures, maren.replace("Maren Holt", "Ödön \u{8896}")).expect("written");
    let (measures, to) = (measures.to_str().expect("text"), folder.to_str().expect("text"));
    let make = |more: &[&str]| {
        oaktag(&[&["make", STYLE, "--measures", measures, "--device", "interchange", "-o", to], more].concat())
    };
    let file = || std::fs::read_to_string(folder.join("\u{f6}d\u{f6}n-\u{8896}/interchange.dxf")).expect("there");
    let plain = make(&[]);
    assert_eq!(plain.status.code(), Some(0), "{}", err(&plain));
    assert!(err(&plain).contains("\"Odon ?\" lacks \u{8896} (U+8896)"), "{}", err(&plain));
    assert!(!err(&plain).contains("never measured"), "{}", err(&plain));
    let first = file();
    assert!(first.is_ascii() && first.contains("\nSize: Odon ?\n") && first.contains("\nUnits: METRIC\n"));
    assert!(!first.contains("Creation") && !first.contains("Author"));
    assert_eq!(make(&["--date", "2026-11-28", "--author", "Zoë"]).status.code(), Some(0));
    assert!(file().contains("\nCreation Date: 2026-11-28\n") && file().contains("\nAuthor: Zoe\n"));
    for (more, words) in
        [(&["--date", "yesterday"][..], "not a date"), (&["--quarter-scale", "interchange"][..], "at their full size")]
    {
        let refused = make(more);
        assert_eq!(refused.status.code(), Some(2), "{more:?}");
        assert!(err(&refused).contains(words), "{more:?}: {}", err(&refused));
    }
    let square = oaktag(&["square", "interchange", "-o", to]);
    assert!(square.status.code() == Some(2) && err(&square).contains("no machine to measure"), "{}", err(&square));
    let lay = oaktag(&["lay", STYLE, "--measures", MAREN, "--device", "interchange", "-o", to]);
    assert!(lay.status.code() == Some(2) && err(&lay).contains("and no lay"), "{}", err(&lay));
}

#[test]
fn everybody_in_one_nest() {
    let folder = scratch("nest");
    let to = folder.to_str().expect("text");
    let pip = "samples/pip-arlen.measures.kdl";
    let make =
        |people: &[&str], more: &[&str]| oaktag(&[&["make", STYLE, "-o", to, "--measures"], people, more].concat());
    let refused = make(&[MAREN, pip], &["--nest", "card-cutter"]);
    assert!(refused.status.code() == Some(2) && err(&refused).contains("would cut sizes out"), "{}", err(&refused));
    assert_eq!(std::fs::read_dir(&folder).expect("a folder").count(), 0, "nothing was written");
    assert_eq!(make(&[MAREN, pip], &[]).status.code(), Some(2), "neither a device nor a nest");
    let alone = make(&[MAREN], &["--nest", "roll-plotter"]);
    assert!(alone.status.code() == Some(2) && err(&alone).contains("1 sizes"), "{}", err(&alone));
    let text = std::fs::read_to_string(MAREN).expect("reads");
    let of = |names: &[&str]| -> Vec<String> {
        let write = |(index, name): (usize, &&str)| {
            let file = folder.with_file_name(format!("nest-{index}.measures.kdl"));
            std::fs::write(&file, text.replace("Maren Holt", name)).expect("written");
            file.display().to_string()
        };
        names.iter().enumerate().map(write).collect()
    };
    let thirteen: Vec<String> = (1..=13).map(|size| format!("Size {size}")).collect();
    let thirteen: Vec<&str> = thirteen.iter().map(String::as_str).collect();
    let cases: [(&[&str], &str, &str); 6] = [
        (&thirteen, "roll-plotter", "13 sizes"),
        (&["Ida", "Ida"], "roll-plotter", "two sizes are called \"Ida\""),
        (&["Ida B.", "ida-b"], "roll-plotter", "into one folder, \"ida-b\""),
        (&["Ida", "Nested"], "roll-plotter", "the files of \"Nested\" would go into the folder of the nest"),
        (&["\u{c4}", "A"], "interchange", "\"\u{c4}\" and \"A\" are both \"A\""),
        (&["\u{410}\u{43d}\u{430}", "\u{418}\u{43d}\u{430}"], "interchange", "are both \"???\""),
    ];
    for (names, device, words) in cases {
        let files = of(names);
        let refused = make(&files.iter().map(String::as_str).collect::<Vec<_>>(), &["--nest", device]);
        assert!(refused.status.code() == Some(2) && err(&refused).contains(words), "{words}: {}", err(&refused));
        assert_eq!(std::fs::read_dir(&folder).expect("a folder").count(), 0, "{words}: something was written");
    }
    // What only the lay finds out is found before anybody's files are in place; folders that were made go again.
    let below = folder.join("below/it").display().to_string();
    let note_paper = folder.with_file_name("note-paper.device.kdl").display().to_string();
    let profile = std::fs::read_to_string("profiles/old-pen-plotter.device.kdl").expect("reads");
    std::fs::write(&note_paper, profile.replace("size=\"A1\"", "size=\"A4\"")).expect("written");
    let more = ["--device", "projector", "--nest", &note_paper, "-o", &below];
    let large = oaktag(&[&["make", STYLE, "--measures", MAREN, pip], &more[..]].concat());
    assert!(large.status.code() == Some(2) && err(&large).contains("\"paper\" leaves"), "{}", err(&large));
    assert_eq!(std::fs::read_dir(&folder).expect("a folder").count(), 0, "too large: something was written");
    // Without a nest that folder is anybody's.
    let files = of(&["Nested"]);
    assert_eq!(make(&[&files[0]], &["--device", "projector"]).status.code(), Some(0));
    assert!(folder.join("nested/proof-sheet.html").is_file());
    std::fs::remove_dir_all(folder.join("nested")).expect("removed");
    let both = make(&[MAREN, pip], &["--nest", "roll-plotter"]);
    assert_eq!(both.status.code(), Some(0), "{}", err(&both));
    assert!(out(&both).contains("14 pieces") && out(&both).contains("passed"), "{}", out(&both));
    let text = std::fs::read_to_string(folder.join("nested/roll-plotter.svg")).expect("there");
    assert!(text.contains("<title>cut, Maren Holt</title>") && text.contains("<title>cut, Pip Arlen</title>"));
    let list = std::fs::read_to_string(folder.join("nested/proven.json")).expect("there");
    assert!(list.contains("roll-plotter.svg"));
    assert!(folder.join("maren-holt/proof-sheet.html").is_file());
    // Proven again from everybody's pieces, as any file is; faults of one size alone are caught.
    let pieces = ["maren-holt", "pip-arlen"].map(|person| format!("{to}/{person}/evening-chorus-dress.pieces.json"));
    let nest = format!("{to}/nested/roll-plotter.svg");
    let proof = |file: &str, pieces: [&str; 2], more: &[&str]| {
        oaktag(&[&["proof", file, "--device", "roll-plotter", "--pieces", pieces[0], pieces[1]], more].concat())
    };
    let [maren, other] = pieces.each_ref().map(String::as_str);
    let again = proof(&nest, [maren, other], &[]);
    assert_eq!(again.status.code(), Some(0), "{}{}", out(&again), err(&again));
    assert!(out(&again).contains("passed") && out(&again).contains(" 0 missing, 0 extra"), "{}", out(&again));
    let ids = [("\"cut-1\"", "\"x\""), ("\"cut-2\"", "\"cut-1\""), ("\"x\"", "\"cut-2\"")];
    let swapped = ids.iter().fold(text.clone(), |text, (from, to)| text.replace(from, to));
    let moved = text.replace("id=\"cut-2\"", "id=\"cut-2\" transform=\"translate(0,0.1)\"");
    for (what, spoilt, words) in [("swapped", swapped, "14 of"), ("moved", moved, "strays by 0.1")] {
        let file = format!("{to}/nested/{what}.svg");
        assert_ne!(spoilt, text);
        std::fs::write(&file, spoilt).expect("written");
        let found = proof(&file, [maren, other], &[]);
        assert!(found.status.code() == Some(1) && err(&found).contains(words), "{what}: {}", err(&found));
    }
    // The order is that of the list beside it; without a list it is the order given, and sizes are not mixed up.
    assert_eq!(proof(&nest, [other, maren], &[]).status.code(), Some(0));
    std::fs::remove_file(folder.join("nested/proven.json")).expect("removed");
    assert_eq!(proof(&nest, [maren, other], &[]).status.code(), Some(0));
    let turned = proof(&nest, [other, maren], &[]);
    assert!(turned.status.code() == Some(1) && err(&turned).contains("or else of --pieces"), "{}", err(&turned));
    let small = proof(&nest, [maren, other], &["--quarter-scale"]);
    assert!(small.status.code() == Some(2) && err(&small).contains("at their full size"), "{}", err(&small));
    let twice = proof(&nest, [maren, maren], &[]);
    assert!(twice.status.code() == Some(2) && err(&twice).contains("two sizes are called"), "{}", err(&twice));
    // A machine's file of a nest: its keys are called keys, and the check square once what it is.
    let text = common::text("profiles/roll-pen-plotter.device.kdl");
    let end = text.trim_end().strip_suffix('}').expect("a profile");
    let device =
        common::program::write(&folder, "pens.device.kdl", &format!("{end}    link \"folder\" path=\"sent\"\n}}\n"));
    assert_eq!(make(&[MAREN, pip], &["--nest", &device]).status.code(), Some(0));
    let sent = oaktag(&["send", folder.join("nested/pens.plt").to_str().expect("text"), &device, "--dry-run"]);
    let told = err(&sent);
    assert!(told.contains("in this order: ") && told.contains("key ("), "{told}");
    assert!(told.matches("check square (").count() < told.matches("key (").count(), "{told}");
}

/// The same body measured in centimetres has the same pieces, and the key speaks the first one's unit: the same file.
#[test]
fn a_nest_speaks_one_unit() {
    let folder = scratch("units");
    let pip = "samples/pip-arlen.measures.kdl";
    let metric: String = common::text(pip)
        .replace("unit \"in\"", "unit \"cm\"")
        .lines()
        .map(|line| match line.strip_suffix('"') {
            Some(start) if !line.contains("unit") => format!("{start} in\"\n"),
            _ => format!("{line}\n"),
        })
        .collect();
    let metric = common::program::write(&folder, "pip-cm.measures.kdl", &metric);
    let nested = [("in inches", pip), ("in centimetres", metric.as_str())].map(|(unit, other)| {
        let to = folder.join(unit);
        let people = [MAREN, other];
        let out = to.display().to_string();
        let made =
            oaktag(&[&["make", STYLE, "--nest", "roll-plotter", "-o", &out, "--measures"], &people[..]].concat());
        assert_eq!(made.status.code(), Some(0), "{}", err(&made));
        std::fs::read(to.join("nested/roll-plotter.svg")).expect("written")
    });
    assert!(nested[0] == nested[1], "the unit of one person's measures shows in the nest");
}

/// Several at once take turns, and none leaves its lock behind; nor does one that finds the lock held and then removed.
#[test]
fn recordings_take_turns_and_leave_nothing_behind() {
    let folder = scratch("turns");
    let profile = folder.join("mine.device.kdl");
    std::fs::write(&profile, common::text("profiles/roll-plotter.device.kdl")).expect("writes");
    let profile = profile.to_str().expect("text");
    let record = |day: usize| {
        let date = format!("2026-10-{day:02}");
        let readings = ["--width", "888.8", "--height", "889.1", "--diagonal", "1257.4"];
        let mut command = command(&[&["square", profile, "--date", &date], &readings[..]].concat());
        command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("starts")
    };
    let text = || std::fs::read_to_string(profile).expect("reads");
    let count = || text().matches("correction \"").count();
    let before = count();
    let ended = |mut child: std::process::Child| child.wait().expect("ends").code();
    let all: Vec<_> = (1..=6).map(record).collect();
    assert!(all.into_iter().all(|child| ended(child) == Some(0)));
    let lock = folder.join(".mine.device.kdl.lock");
    let held = std::fs::File::create(&lock).expect("made");
    held.lock().expect("locked");
    let waiting = record(7);
    std::thread::sleep(std::time::Duration::from_millis(300));
    // Seeded: whoever does not wait has written by now.
    assert_eq!(count(), before + 6);
    std::fs::remove_file(&lock).expect("removed, as whoever holds it does");
    drop(held);
    assert_eq!(ended(waiting), Some(0));
    assert_eq!(count(), before + 7, "{}", text());
    let left: Vec<_> =
        std::fs::read_dir(&folder).expect("there").map(|entry| entry.expect("entry").file_name()).collect();
    assert_eq!(left, ["mine.device.kdl"]);
}
