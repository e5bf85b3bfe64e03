//! The handbook of steps: every step has a picture, drawn by the program, and the pictures and the page are as the styles are.

mod common;

use common::{file, sample_person, text};
use oaktag::draft::Choices;
use oaktag::{pipeline, style};
use std::collections::BTreeSet;

const FILES: [&str; 3] = ["points", "edges", "pieces"];

/// The pieces of a style of steps, each with its lines in the file.
fn steps(name: &str) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = Vec::new();
    let mut open = false;
    for line in text(&format!("samples/steps/{name}.style.kdl")).lines() {
        let starts = ["    piece \"", "    facing \"", "    strip \"", "    flounce \"", "    vary \""];
        if let Some(start) = starts.iter().find(|start| line.starts_with(**start)) {
            let title = line[start.len()..].split('"').next().unwrap_or_default().to_owned();
            found.push((title, String::new()));
            open = true;
        }
        if let (true, Some((_, lines))) = (open, found.last_mut()) {
            lines.push_str(line.strip_prefix("    ").unwrap_or(line));
            lines.push('\n');
            open = line.ends_with('{') || line.starts_with("        ");
        }
    }
    found
}

fn drawings(name: &str) -> Vec<(String, String)> {
    let file = format!("samples/steps/{name}.style.kdl");
    let style = style::read(&text(&file), &file).unwrap_or_else(|e| panic!("{e}"));
    pipeline::step_pictures(&style, &sample_person("maren-holt"), &Choices::new()).unwrap_or_else(|e| panic!("{e}"))
}

fn picture_name(piece: &str) -> String {
    let words: Vec<&str> = piece.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    format!("{}.svg", words.join("-").to_lowercase())
}

/// Drawn again from the styles, the committed pictures are the same to the byte. To renew one after a change:
/// `oaktag picture samples/steps/points.style.kdl --measures samples/maren-holt.measures.kdl -o samples/pictures/steps`.
#[test]
fn pictures_are_current() {
    let mut known = BTreeSet::new();
    for name in FILES {
        for (piece, svg) in drawings(name) {
            let picture = picture_name(&piece);
            assert_eq!(svg, text(&format!("samples/pictures/steps/{picture}")), "{picture} is not what {name} draws");
            assert!(known.insert(picture), "{piece} is drawn twice");
        }
    }
    let there: BTreeSet<String> = std::fs::read_dir(file("samples/pictures/steps"))
        .expect("is there")
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    assert_eq!(known, there);
}

/// The page shows every piece's lines as they stand in the style, and its picture below them.
#[test]
fn the_page_shows_every_step() {
    let page = text("samples/steps/README.md");
    for name in FILES {
        let drawn = drawings(name);
        for (title, lines) in steps(name) {
            assert!(page.contains(lines.trim_end()), "the page lacks these lines of {name}:\n{lines}");
            for (piece, _) in drawn.iter().filter(|(piece, _)| piece.starts_with(&title)) {
                let picture = format!("](../pictures/steps/{})", picture_name(piece));
                assert!(page.contains(&picture), "the page lacks {picture}");
            }
        }
    }
}

/// Every word that a step may be said with is said in some picture's style. The list is the vocabulary of the README.
#[test]
fn every_step_has_its_picture() {
    let all: String = FILES.iter().map(|name| text(&format!("samples/steps/{name}.style.kdl"))).collect();
    for word in [
        "across=",
        "down=",
        "up=",
        "level-with=",
        "plumb-with=",
        "towards=",
        "part=",
        "square=",
        "straight-down-from=",
        "inward=",
        "on=",
        "along=",
        "where=",
        "crosses=",
        "nearest=",
        "extended=",
        "reaching=",
        "by=",
        "about=",
        "turn=",
        "mirror-of=",
        "when=",
        "through=",
        "through ",
        "heading=",
        "leaving=\"square to",
        "arriving=\"square to",
        "hollow ",
        "swell ",
        "parallel-to=",
        "instead-of=",
        "fold=",
        "like=",
        "unfold ",
        "facing ",
        "strip ",
        "flounce ",
        "dart ",
        "pleat ",
        "tuck ",
        "slash ",
        "far-spread=",
        "turn-dart ",
        "share=",
        "vary ",
        "notch ",
        "double=",
        "line ",
        "block ",
    ] {
        assert!(all.contains(word), "no picture shows \"{word}\"");
    }
}
