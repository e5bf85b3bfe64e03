//! What several tests need: samples, drafts, and styles written in a line or two.
#![allow(dead_code)]

pub mod program;

use oaktag::draft::Choices;
use oaktag::measures::{self, Measures};
use oaktag::piece::PieceSet;
use oaktag::style::{self, Style};
use oaktag::{draft, walk};
use std::path::{Path, PathBuf};

/// A file of the repository.
pub fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Its text.
pub fn text(name: &str) -> String {
    std::fs::read_to_string(file(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// The text of a profile that comes with the program, or of a machine of the samples, which was measured.
pub fn profile(name: &str) -> String {
    let folder = if name.starts_with("wardrobe-") { "samples" } else { "profiles" };
    text(&format!("{folder}/{name}.device.kdl"))
}

/// The people of the samples.
pub const PEOPLE: [&str; 3] = ["maren-holt", "teodora-vance", "pip-arlen"];

/// The styles of the samples.
pub const STYLES: [&str; 8] = [
    "bellringer-skirt",
    "choir-bodice",
    "evening-chorus",
    "fairground-circle",
    "lantern-night",
    "master-blocks",
    "mill-wheel-tiers",
    "weir-petticoat",
];

/// Millimetres in an inch.
pub const INCH: f64 = 25.4;

pub fn sample_style(name: &str) -> Style {
    let name = format!("samples/{name}.style.kdl");
    style::read(&text(&name), &name).unwrap_or_else(|e| panic!("{e}"))
}

pub fn sample_person(name: &str) -> Measures {
    let name = format!("samples/{name}.measures.kdl");
    measures::read(&text(&name), &name).unwrap_or_else(|e| panic!("{e}")).0
}

/// A sample style drafted for a person of the samples, notches carried.
pub fn drafted(style: &str, person: &str) -> PieceSet {
    drafted_for(&sample_style(style), &sample_person(person))
}

/// As drafted, before any notch is carried or added by a seam.
pub fn bare_for(style: &Style, person: &Measures) -> PieceSet {
    draft::draft(style, person, &Choices::new()).unwrap_or_else(|e| panic!("{e}")).0
}

pub fn drafted_for(style: &Style, person: &Measures) -> PieceSet {
    let (mut set, _) = draft::draft(style, person, &Choices::new()).unwrap_or_else(|e| panic!("{e}"));
    walk::carry(&mut set);
    set
}

/// A style in inches with these lines inside.
pub fn style_of(body: &str) -> Style {
    style::read(&format!("style \"Test\" {{\nunit \"in\"\n{body}\n}}\n"), "test.style.kdl")
        .unwrap_or_else(|e| panic!("{e}"))
}

/// A person in inches with these measures.
pub fn person_of(body: &str) -> Measures {
    let text = format!("measures \"Test\" {{\nunit \"in\"\ntaken \"2026-01-01\" {{\n{body}\n}}\n}}\n");
    measures::read(&text, "test.measures.kdl").unwrap_or_else(|e| panic!("{e}")).0
}
