//! Drafting on the command line: a new folder, watching, many people, fittings, pictures.

mod common;

use common::file;
use common::program::{command, err, oaktag, out, scratch};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

fn path(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

/// What `new` writes drafts and walks at once, without a finding, and nothing is written over.
#[test]
fn a_new_folder_is_ready_to_draft() {
    let folder = scratch("new").join("skirt");
    assert_eq!(oaktag(&["new", path(&folder)]).status.code(), Some(0));
    let (style, measures) = (folder.join("first.style.kdl"), folder.join("first.measures.kdl"));
    let drafted = oaktag(&["draft", path(&style), "--measures", path(&measures), "-o", path(&folder.join("out"))]);
    assert_eq!(drafted.status.code(), Some(0), "{}", err(&drafted));
    assert!(folder.join("out/first-person/proof-sheet.html").is_file());
    assert!(folder.join("out/first-person/first-skirt.pieces.json").is_file());
    let walked = oaktag(&["walk", path(&style), "--measures", path(&measures)]);
    assert!(out(&walked).contains("agrees") && !err(&walked).contains("warning"), "{} {}", out(&walked), err(&walked));
    std::fs::write(&style, "mine").expect("writes");
    let again = oaktag(&["new", path(&folder)]);
    assert_eq!(again.status.code(), Some(2));
    assert!(err(&again).contains("is there already"), "{}", err(&again));
    assert_eq!(std::fs::read_to_string(&style).expect("is there"), "mine");
}

/// Ends the program that a test started, whatever becomes of the test.
struct Watching(Child);

impl Drop for Watching {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A file saved while the program watches is drawn again; a slip in it is said, and mended it is drawn again. The guard is
/// against a hang, not a measure of speed.
#[test]
fn a_saved_style_is_drawn_again() {
    let folder = scratch("watch");
    oaktag(&["new", path(&folder)]);
    let (style, measures) = (folder.join("first.style.kdl"), folder.join("first.measures.kdl"));
    let sheet = folder.join("out/first-person/proof-sheet.html");
    let args = ["draft", path(&style), "--measures", path(&measures), "-o", path(&folder.join("out")), "--watch"]
        .map(String::from);
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let mut watching = Watching(command(&args).stderr(Stdio::piped()).stdout(Stdio::null()).spawn().expect("starts"));
    let (send, said) = mpsc::channel();
    let stderr = watching.0.stderr.take().expect("piped");
    std::thread::spawn(move || {
        for line in BufReader::new(stderr).lines().map_while(Result::ok) {
            if send.send(line).is_err() {
                return;
            }
        }
    });
    let wait_for = |words: &str| {
        let began = Instant::now();
        while began.elapsed() < Duration::from_mins(2) {
            if said.recv_timeout(Duration::from_secs(1)).is_ok_and(|line| line.contains(words)) {
                return;
            }
        }
        panic!("\"{words}\" was not said");
    };
    wait_for("waiting for the next save");
    let first = std::fs::read_to_string(&sheet).expect("drawn");
    let text = std::fs::read_to_string(&style).expect("is there");
    std::fs::write(&style, text.replace("\"length\" \"26\"", "\"length\" \"30\"")).expect("saves");
    wait_for("waiting for the next save");
    let second = std::fs::read_to_string(&sheet).expect("drawn");
    assert!(first != second && second.contains("30 in"));
    std::fs::write(&style, text.replace("edge \"hem\"", "egde \"hem\"")).expect("saves");
    wait_for("did you mean");
    assert_eq!(std::fs::read_to_string(&sheet).expect("still there"), second);
    std::fs::write(&style, &text).expect("saves");
    wait_for("waiting for the next save");
    assert_eq!(std::fs::read_to_string(&sheet).expect("drawn"), first);
}

/// What a table of sizes lacks is estimated for each size; the terminal says so once and names all, each size's own sheet
/// and line of JSON say it in full.
#[test]
fn estimates_of_a_size_table_are_told_once() {
    let table = "samples/en-13402-3-women.sizes.kdl";
    let from = ["samples/choir-bodice.style.kdl", "--measures", table, "--estimate"];
    let folder = scratch("sizes");
    let drafted = oaktag(&[&["draft", "-o", path(&folder)], &from[..]].concat());
    let told = err(&drafted);
    let all = "for EN 13402-3 76, 80, 84, 88, 92, 96, 100, 104, 110, 116, 122 and 128: ";
    let (_, names) = told.split_once(&format!("estimated {all}")).expect("a warning for all sizes");
    let names: Vec<&str> = names.split(" help:").next().expect("a list").split(", ").collect();
    assert!(names.len() > 3 && names.contains(&"neck base girth"), "{names:?}");
    assert!(told.matches("estimated").count() == 1 && !told.contains("is estimated"), "{told}");
    let lines = oaktag(&[&["walk", "--lines"], &from[..]].concat());
    for (line, size) in out(&lines).lines().zip(["76", "80", "84", "88", "92", "96", "100", "104", "110"]) {
        let sheet =
            std::fs::read_to_string(folder.join(format!("en-13402-3-{size}")).join("proof-sheet.html")).expect("drawn");
        for name in &names {
            let words = format!("EN 13402-3 {size}: the {name} is estimated, ");
            assert!(line.contains(&words) && sheet.contains(&words), "{words}");
        }
    }
    // One person's are said in full, with their values.
    let alone = folder.join("one.sizes.kdl");
    let one =
        "sizes \"One\" { unit \"cm\"\n size \"88\" { \"bust girth\" 88; \"waist girth\" 72; \"hip girth\" 96; } }";
    std::fs::write(&alone, one).expect("writes");
    let told = err(&oaktag(&["walk", from[0], "--measures", path(&alone), "--estimate"]));
    assert_eq!(told.matches("is estimated, ").count(), names.len(), "{told}");
}

/// Twelve people, one whose file lacks a measure: a line for each, the rest drafted, exit 2. Off a terminal progress is plain
/// lines, and standard output holds nothing but the data.
#[test]
fn one_failure_names_itself_and_stops_nobody() {
    let folder = scratch("many");
    let text = common::text("samples/pip-arlen.measures.kdl");
    let mut args =
        vec!["walk".to_owned(), "samples/evening-chorus.style.kdl".into(), "--lines".into(), "--measures".into()];
    for number in 0..12 {
        let mut text = text.replace("Pip Arlen", &format!("Person {number}"));
        if number == 7 {
            text = text.replace("\"hip girth\" \"33 1/2\"", "");
        }
        let file = folder.join(format!("{number}.measures.kdl"));
        std::fs::write(&file, text).expect("writes");
        args.push(path(&file).to_owned());
    }
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let walked = oaktag(&args);
    let lines: Vec<serde_json::Value> =
        out(&walked).lines().map(|line| serde_json::from_str(line).unwrap_or_else(|e| panic!("{e}: {line}"))).collect();
    assert_eq!(lines.len(), 12);
    for (number, line) in lines.iter().enumerate() {
        assert_eq!(line["refused"].is_string(), number == 7, "{line}");
        if number == 7 {
            let why = line["refused"].as_str().expect("text");
            assert!(why.contains("Person 7 has no \"hip girth\""), "{why}");
        } else {
            assert_eq!(line["person"], format!("Person {number}"));
            assert!(line["seams"].as_array().expect("seams").len() > 10 && line["faulty"] == serde_json::json!([]));
        }
    }
    let said = String::from_utf8_lossy(&walked.stderr).into_owned();
    assert!(said.contains("drafted 12 of 12\n") && !said.contains('\r'), "{said}");
    assert_eq!(walked.status.code(), Some(2), "one was refused");
    // The same people drafted into folders: eleven of them, and the one who failed is named.
    let mut args: Vec<&str> = args.into_iter().filter(|arg| *arg != "--lines").collect();
    args[0] = "draft";
    let folders = folder.join("out");
    args.extend(["-o", path(&folders)]);
    let drafted = oaktag(&args);
    assert_eq!(drafted.status.code(), Some(2));
    assert!(err(&drafted).contains("Person 7 has no \"hip girth\""));
    assert_eq!(std::fs::read_dir(&folders).expect("is there").count(), 11);
}

/// A choice is set in the measures file or, before it, on the command line; every one is shown with the value it had.
#[test]
fn choices_are_set_and_shown() {
    let folder = scratch("choices");
    let text = common::text("samples/maren-holt.measures.kdl")
        .replace("    unit \"in\"", "    unit \"in\"\n    choice \"bust ease\" \"3\"");
    let person = folder.join("maren.measures.kdl");
    std::fs::write(&person, text).expect("writes");
    let ease = |extra: &[&str]| {
        let mut args = vec!["draft", "samples/evening-chorus.style.kdl", "--measures", path(&person)];
        args.extend(extra);
        let pieces: serde_json::Value = serde_json::from_str(&out(&oaktag(&args))).expect("JSON");
        pieces["choices"].to_string()
    };
    assert!(ease(&[]).contains("[\"bust ease\",\"3 in\"]"), "{}", ease(&[]));
    assert!(ease(&["--set", "bust ease=5"]).contains("[\"bust ease\",\"5 in\"]"));
}

/// Notes of a fitting are listed, shown before and after, and passed into the block: then they count in other styles too.
#[test]
fn fittings_are_listed_shown_and_passed_on() {
    let folder = scratch("fit");
    let person = folder.join("ines.measures.kdl");
    std::fs::copy(file("samples/ines-barrow.measures.kdl"), &person).expect("copies");
    let listed = oaktag(&["fit", path(&person)]);
    assert_eq!(listed.status.code(), Some(0), "{}", err(&listed));
    assert!(
        out(&listed).contains("2026-10-12  Evening Chorus dress: Front/side taken in by 1/4 in, at the side waist")
    );
    let draft = |style: &str| oaktag(&["draft", style, "--measures", path(&person), "-o", path(&folder.join("out"))]);
    let dress = draft("samples/evening-chorus.style.kdl");
    assert_eq!(dress.status.code(), Some(0), "{}", err(&dress));
    assert!(err(&dress).contains("fitted before after") && err(&dress).contains("Front/left waist"), "{}", err(&dress));
    let sheet = std::fs::read_to_string(folder.join("out/ines-barrow/proof-sheet.html")).expect("drawn");
    assert!(sheet.contains("<section id=\"fitting\">"));
    let bodice = draft("samples/choir-bodice.style.kdl");
    assert!(!err(&bodice).contains("fitted before"), "{}", err(&bodice));
    let passed = oaktag(&["fit", path(&person), "--into-block", "Evening Chorus dress"]);
    assert!(passed.status.code() == Some(0) && err(&passed).contains("1 fitting"), "{}", err(&passed));
    let kept = std::fs::read_to_string(&person).expect("is there");
    assert!(kept.contains("// What was found") && kept.contains("fitting \"2026-10-12\" {"), "{kept}");
    let bodice = draft("samples/choir-bodice.style.kdl");
    assert!(err(&bodice).contains("fitted before after"), "{}", err(&bodice));
    assert!(err(&bodice).contains("is not for this style"), "the lower part's note: {}", err(&bodice));
    let again = oaktag(&["fit", path(&person), "--into-block", "Evening Chorus dress"]);
    assert_eq!(again.status.code(), Some(2));
}

#[test]
fn a_picture_of_every_piece() {
    let folder = scratch("picture");
    let drawn = oaktag(&[
        "picture",
        "samples/evening-chorus.style.kdl",
        "--measures",
        "samples/ines-barrow.measures.kdl",
        "-o",
        path(&folder),
    ]);
    assert_eq!(drawn.status.code(), Some(0), "{}", err(&drawn));
    let svg = std::fs::read_to_string(folder.join("front.svg")).expect("drawn");
    assert!(svg.contains(">left armhole</text>") && svg.contains(">underarm</text>"));
}
