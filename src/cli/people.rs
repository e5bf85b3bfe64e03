//! Everybody that a command is for, drafted in parallel. One who can't be drafted does not stop the rest.

use super::args::From;
use super::disk;
use super::progress::Progress;
use oaktag::diag::{Finding, Result, Severity};
use oaktag::draft::Choices;
use oaktag::measures::{self, Measures};
use oaktag::piece::json;
use oaktag::pipeline::{self, Walked};
use oaktag::source::Text;
use oaktag::style::{self, Style};
use rayon::prelude::*;
use std::path::Path;

/// One person, or one size, and what came of the draft.
pub struct Person {
    /// The person's name, or the file where it could not be read.
    pub name: String,
    /// Pieces walked, or why not.
    pub walked: Result<Walked>,
}

/// Drafts and walks for every person, or walks the pieces of a file.
pub fn load(from: &From) -> Result<Vec<Person>> {
    if !from.tolerance.is_finite() || from.tolerance < 0.0 {
        return Err(Finding::error("--tolerance is not a length in mm, 0 or more").into());
    }
    if is_pieces(&from.source) {
        if !from.measures.is_empty() || !from.set.is_empty() {
            return Err(Finding::error("pieces are already drafted: --measures and --set are of no use with them")
                .hint("give a style sheet instead, or leave them out")
                .into());
        }
        let walked = pipeline::walk_pieces(read_pieces(&from.source)?, from.tolerance);
        return Ok(vec![Person { name: walked.set.person.clone(), walked: Ok(walked) }]);
    }
    let style = read_style(&from.source)?;
    if from.measures.is_empty() {
        return Err(Finding::error("whose measures?").hint("add --measures FILE.measures.kdl").into());
    }
    let choices = read_choices(&from.set)?;
    let people_of = |path: &std::path::PathBuf| -> Vec<Person> {
        let read = disk::read_text(path).and_then(|text| measures::read_all(&text, &path.display().to_string()));
        match read {
            Err(finding) => vec![Person { name: path.display().to_string(), walked: Err(finding) }],
            Ok((people, findings)) => people
                .into_par_iter()
                .map(|person| {
                    let name = person.person.clone();
                    Person { name, walked: draft(&style, person, &choices, from, &findings) }
                })
                .collect(),
        }
    };
    let progress = Progress::new(from.measures.len());
    let of_file = |path: &std::path::PathBuf| -> Vec<Person> {
        let people = people_of(path);
        progress.step();
        people
    };
    Ok(from.measures.par_iter().flat_map_iter(of_file).collect())
}

fn draft(style: &Style, mut person: Measures, choices: &Choices, from: &From, findings: &[Finding]) -> Result<Walked> {
    let mut found = findings.to_vec();
    if from.estimate {
        let needed: Vec<&str> = style.needs.iter().map(|need| need.name.as_str()).collect();
        found.extend(measures::estimate(&mut person, &needed));
    }
    let mut walked = pipeline::draft_and_walk(style, &person, choices, from.tolerance)
        .map_err(|trouble| Box::new(doubted(*trouble, &found)))?;
    walked.findings.splice(0..0, found);
    Ok(walked)
}

/// What could not be drafted, with the measures that were questioned before: one of them may be why.
fn doubted(trouble: Finding, found: &[Finding]) -> Finding {
    let questioned: Vec<&str> =
        found.iter().filter(|finding| finding.severity >= Severity::Breach).map(|finding| &*finding.message).collect();
    if questioned.is_empty() {
        return trouble;
    }
    let first = format!("look at the measures first: {}", questioned.join("; "));
    let hint = trouble.hint.as_ref().map_or_else(|| first.clone(), |hint| format!("{first}; else {hint}"));
    Finding { hint: Some(hint), ..trouble }
}

/// Reads a style sheet.
pub fn read_style(path: &Path) -> Result<Style> {
    style::read(&disk::read_text(path)?, &path.display().to_string())
}

fn is_pieces(path: &Path) -> bool {
    path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("json"))
}

/// Reads a file of pieces.
pub fn read_pieces(path: &Path) -> Result<oaktag::piece::PieceSet> {
    json::read(&disk::read_text(path)?, &path.display().to_string())
}

fn read_choices(set: &[String]) -> Result<Choices> {
    let mut choices = Choices::new();
    for text in set {
        let Some((name, value)) = text.split_once('=') else {
            return Err(Finding::error(format!("\"{text}\" sets nothing"))
                .hint("write it as --set \"bust ease=3 1/2\"")
                .into());
        };
        choices.insert(name.trim().to_owned(), Text::new(value.trim(), "--set"));
    }
    Ok(choices)
}
