//! The import rule: a module imports only modules that stand in a row above it. The table below is the design's own
//! table of stages; no test can find it elsewhere, so the seeded faults show that the reading of the sources works.

use proc_macro2::{TokenStream, TokenTree};
use std::fs;
use std::path::{Path, PathBuf};

/// The rows, top to bottom; modules of one row may import each other.
const ROWS: [&[&str]; 22] = [
    &["units", "diag", "role", "geom", "text", "source"],
    &["piece"],
    &["cloth"],
    &["measures"],
    &["style"],
    &["draft"],
    &["walk"],
    &["shrink"],
    &["allow"],
    &["true_up"],
    &["device"],
    &["mark"],
    &["lay"],
    &["order"],
    &["calibrate"],
    &["write"],
    &["read"],
    &["proof"],
    &["report"],
    &["pipeline"],
    &["link"],
    &["cli"],
];

/// What may not be imported although it stands above: the proof takes nothing from the side that it checks, and the face
/// reaches the writers only through the pipeline.
const FORBIDDEN: [(&str, &[&str]); 3] =
    [("read", &["write", "order", "calibrate"]), ("proof", &["write", "order", "calibrate"]), ("cli", &["write"])];

/// The writers, none of which imports another.
const WRITERS: [&str; 5] = ["svg", "dxf", "pdf", "hpgl", "rs274"];

fn row(module: &str) -> Option<usize> {
    ROWS.iter().position(|row| row.contains(&module))
}

/// The module path of a file below `src`: `write/svg.rs` and `write/svg/mod.rs` are both `write`, `svg`. The program's
/// own file belongs to the face; the library's root is empty.
fn module_of(file: &Path) -> Vec<String> {
    let mut parts: Vec<String> =
        file.with_extension("").iter().map(|part| part.to_string_lossy().into_owned()).collect();
    if parts.last().is_some_and(|name| name == "mod") {
        parts.pop();
    }
    match parts.first().map(String::as_str) {
        Some("lib") => Vec::new(),
        Some("main" | "bin") => vec!["cli".into()],
        _ => parts,
    }
}

/// Every path in `text` that leads out of module `here`, as the names from the crate's root down; comments and
/// strings don't count. Groups are taken apart; `super` is resolved.
fn imports(here: &[String], text: &str) -> Vec<Vec<String>> {
    let tokens: TokenStream = text.parse().expect("the source is Rust");
    let mut found = Vec::new();
    scan(here, tokens, &mut found);
    found
}

fn scan(here: &[String], tokens: TokenStream, found: &mut Vec<Vec<String>>) {
    let tokens: Vec<TokenTree> = tokens.into_iter().collect();
    let mut at = 0;
    while at < tokens.len() {
        match &tokens[at] {
            TokenTree::Group(group) => {
                // `mod name { … }`: `super` inside it means this module.
                let inner = (at >= 2 && ident(&tokens[at - 2]).as_deref() == Some("mod"))
                    .then(|| ident(&tokens[at - 1]))
                    .flatten();
                let below: Vec<String> = here.iter().cloned().chain(inner).collect();
                scan(&below, group.stream(), found);
                at += 1;
            }
            token => {
                let word = ident(token).unwrap_or_default();
                let after_colons = at >= 2 && colons(&tokens, at - 2);
                let base = match word.as_str() {
                    "crate" => Some(Vec::new()),
                    "oaktag" if colons(&tokens, at + 1) => Some(Vec::new()),
                    "super" if !after_colons => here.split_last().map(|(_, parent)| parent.to_vec()),
                    _ => None,
                };
                at += 1;
                if let Some(base) = base {
                    at = follow(base, &tokens, at, found);
                }
            }
        }
    }
}

/// Reads `::a::b` or `::{a, b::c}` behind a path's first word; returns the place behind it.
fn follow(mut path: Vec<String>, tokens: &[TokenTree], mut at: usize, found: &mut Vec<Vec<String>>) -> usize {
    while colons(tokens, at) {
        match tokens.get(at + 2) {
            Some(TokenTree::Group(group)) => {
                let inner: Vec<TokenTree> = group.stream().into_iter().collect();
                for branch in inner.split(|token| matches!(token, TokenTree::Punct(p) if p.as_char() == ',')) {
                    if let Some(first) = branch.first() {
                        let mut longer = path.clone();
                        longer.push(ident(first).unwrap_or_else(|| first.to_string()));
                        follow(longer, branch, 1, found);
                    }
                }
                return at + 3;
            }
            Some(token) => {
                match ident(token) {
                    Some(word) if word == "super" => {
                        path.pop();
                    }
                    word => path.push(word.unwrap_or_else(|| token.to_string())),
                }
                at += 3;
            }
            None => break,
        }
    }
    if !path.is_empty() {
        found.push(path);
    }
    at
}

fn ident(token: &TokenTree) -> Option<String> {
    match token {
        TokenTree::Ident(word) => Some(word.to_string()),
        _ => None,
    }
}

fn colons(tokens: &[TokenTree], at: usize) -> bool {
    (at..at + 2).all(|i| matches!(tokens.get(i), Some(TokenTree::Punct(p)) if p.as_char() == ':'))
}

/// What is wrong with one file's imports.
fn faults(file: &Path, text: &str) -> Vec<String> {
    let here = module_of(file);
    let Some(top) = here.first() else { return Vec::new() };
    let Some(own_row) = row(top) else { return vec![format!("module {top} is in no row")] };
    let mut faults = Vec::new();
    for path in imports(&here, text) {
        let target = path[0].as_str();
        let shown = path.join("::");
        if target != top {
            match row(target) {
                None => faults.push(format!("crate::{shown}: {target} is in no row")),
                Some(row) if row > own_row => faults.push(format!("{top} imports crate::{shown}, which stands below")),
                _ => {}
            }
            if FORBIDDEN.iter().any(|(module, list)| module == top && list.contains(&target)) {
                faults.push(format!("{top} imports crate::{shown}, which is kept apart from it"));
            }
        }
        if let ("write", Some(writer), Some(other)) = (target, here.get(1), path.get(1))
            && top == "write"
            && writer != other
            && WRITERS.contains(&writer.as_str())
            && WRITERS.contains(&other.as_str())
        {
            faults.push(format!("the {writer} writer imports the {other} writer"));
        }
    }
    faults.sort();
    faults.dedup();
    faults
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("src can be read") {
        let path = entry.expect("src can be read").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

#[test]
fn every_module_imports_only_rows_above() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    files.sort();
    let mut all = Vec::new();
    let mut seen = 0;
    for file in &files {
        let text = fs::read_to_string(file).expect("a source can be read");
        let short = file.strip_prefix(&root).expect("below src");
        seen += imports(&module_of(short), &text).len();
        all.extend(faults(short, &text).into_iter().map(|fault| format!("src/{}: {fault}", short.display())));
    }
    assert!(seen > 10, "only {seen} imports were found, so the sources were not read");
    assert!(all.is_empty(), "{}", all.join("\n"));
}

#[test]
fn seeded_faults_are_caught() {
    for (file, text, part) in [
        ("allow/mod.rs", "use crate::write::svg;", "stands below"),
        ("allow/mod.rs", "use crate::{piece::Piece, lay::Sheet};", "crate::lay::Sheet"),
        ("allow/offset.rs", "use super::super::report::x;", "stands below"),
        ("allow/mod.rs", "use super::{geom, pipeline};", "crate::pipeline"),
        ("geom/path.rs", "fn f() { assert!(crate::piece::f()); }", "stands below"),
        ("geom/path.rs", "mod tests { use super::super::super::walk::f; }", "stands below"),
        ("proof/mod.rs", "fn f(job: &crate::order::Job) {}", "kept apart"),
        ("read/svg.rs", "use crate::calibrate::Stamp;", "kept apart"),
        ("main.rs", "use oaktag::write;", "kept apart"),
        ("cli/mod.rs", "use crate::{diag, write::{svg, dxf}};", "kept apart"),
        ("write/svg.rs", "use super::dxf::number;", "svg writer imports the dxf writer"),
        ("write/dxf/mod.rs", "use crate::write::{pdf::x, numbers};", "dxf writer imports the pdf writer"),
        ("allow/mod.rs", "use crate::*;", "in no row"),
        ("novelty/mod.rs", "", "in no row"),
    ] {
        let caught = faults(Path::new(file), text);
        assert!(caught.iter().any(|fault| fault.contains(part)), "{file}: {text}: {caught:?}");
    }
}

#[test]
fn what_is_allowed_passes() {
    for (file, text) in [
        ("allow/mod.rs", "use crate::{geom::path::length, piece::{Piece, Edge}};"),
        ("geom/path.rs", "use crate::units::INCH; mod tests { use super::*; }"),
        ("mark/mod.rs", "// use crate::write::svg;\nconst X: &str = \"crate::write\";"),
        ("mark/mod.rs", "/// See [`crate::write`].\npub(crate) fn f() {}"),
        ("write/mod.rs", "use self::svg; use crate::write::dxf;"),
        ("write/svg.rs", "use super::numbers; use crate::calibrate::CorrectedJob;"),
        ("proof/mod.rs", "use crate::{lay::Sheet, read::Drawing};"),
        ("main.rs", "use oaktag::pipeline;"),
        ("lib.rs", "pub mod write;"),
    ] {
        assert_eq!(faults(Path::new(file), text), Vec::<String>::new(), "{file}: {text}");
    }
}
