//! Findings: what went wrong or looks odd, where, and the next step.
//!
//! Every stage returns `Result<T>` with one [`Finding`] of severity [`Severity::Error`] where it cannot go on, and a
//! `Vec<Finding>` beside its output for everything else.

mod gather;

pub use gather::gathered;

use serde::Serialize;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Said for the record.
    Note,
    /// Comes with the output.
    Warning,
    /// Holds the output back (exit code 1) unless the user says `--anyway`.
    Breach,
    /// The work can't be done (exit code 2).
    Error,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Breach => "check",
            Self::Error => "error",
        })
    }
}

/// A stretch of a file that the user wrote.
#[derive(Clone, Debug)]
pub struct Snippet {
    /// The file's name as the user gave it.
    pub file: Arc<str>,
    /// The file's whole text.
    pub text: Arc<str>,
    /// Byte range within `text`.
    pub span: Range<usize>,
}

impl Snippet {
    /// Line and column of the start, both from 1; the column counts characters.
    pub fn line_column(&self) -> (usize, usize) {
        let mut start = self.span.start.min(self.text.len());
        while !self.text.is_char_boundary(start) {
            start -= 1;
        }
        let before = &self.text[..start];
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
        (line, column)
    }
}

/// One thing to tell the user.
#[derive(Clone, Debug)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// What is wrong, in words that the user knows.
    pub message: String,
    /// The next step.
    pub hint: Option<String>,
    /// The file it concerns, where there is no snippet.
    pub file: Option<String>,
    /// The place in a file.
    pub snippet: Option<Snippet>,
    /// The piece it concerns.
    pub piece: Option<String>,
    /// The edge of that piece.
    pub edge: Option<String>,
    /// What it comes to, where the like may be said of many people.
    pub gist: Option<Gist>,
}

/// What findings of many people come to that differ in their figures only: "estimated", of "neck base girth".
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gist {
    /// What is said.
    pub says: &'static str,
    /// Of what.
    pub of: String,
}

/// What a stage returns when it may fail.
pub type Result<T> = std::result::Result<T, Box<Finding>>;

impl Finding {
    fn new(severity: Severity, message: impl Into<String>) -> Self {
        Self {
            severity,
            message: message.into(),
            hint: None,
            file: None,
            snippet: None,
            piece: None,
            edge: None,
            gist: None,
        }
    }
    /// A [`Severity::Note`].
    pub fn note(message: impl Into<String>) -> Self {
        Self::new(Severity::Note, message)
    }
    /// A [`Severity::Warning`].
    pub fn warning(message: impl Into<String>) -> Self {
        Self::new(Severity::Warning, message)
    }
    /// A [`Severity::Breach`].
    pub fn breach(message: impl Into<String>) -> Self {
        Self::new(Severity::Breach, message)
    }
    /// A [`Severity::Error`].
    pub fn error(message: impl Into<String>) -> Self {
        Self::new(Severity::Error, message)
    }
    /// Adds the next step.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
    /// Names the file.
    #[must_use]
    pub fn in_file(mut self, file: impl Into<String>) -> Self {
        self.file = Some(file.into());
        self
    }
    /// Points into a file.
    #[must_use]
    pub fn at(mut self, snippet: Snippet) -> Self {
        self.snippet = Some(snippet);
        self
    }
    /// Names the piece.
    #[must_use]
    pub fn piece(mut self, piece: impl Into<String>) -> Self {
        self.piece = Some(piece.into());
        self
    }
    /// Names the edge.
    #[must_use]
    pub fn edge(mut self, edge: impl Into<String>) -> Self {
        self.edge = Some(edge.into());
        self
    }
    /// Adds what it comes to.
    #[must_use]
    pub fn gist(mut self, says: &'static str, of: impl Into<String>) -> Self {
        self.gist = Some(Gist { says, of: of.into() });
        self
    }
    /// Where it is, as one phrase: file, line, column, piece, edge; empty where nothing is known.
    pub fn place(&self) -> String {
        let mut parts = Vec::new();
        if let Some(s) = &self.snippet {
            let (line, column) = s.line_column();
            parts.push(format!("{}:{line}:{column}", s.file));
        } else if let Some(file) = &self.file {
            parts.push(file.clone());
        }
        match (&self.piece, &self.edge) {
            (Some(p), Some(e)) => parts.push(format!("piece \"{p}\", edge \"{e}\"")),
            (Some(p), None) => parts.push(format!("piece \"{p}\"")),
            (None, Some(e)) => parts.push(format!("edge \"{e}\"")),
            (None, None) => {}
        }
        parts.join(", ")
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.severity, self.message)?;
        let place = self.place();
        if !place.is_empty() {
            write!(f, " ({place})")?;
        }
        if let Some(hint) = &self.hint {
            write!(f, "; {hint}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Finding {}

/// For machines: the fields that are known, with line and column in place of the snippet.
impl Serialize for Finding {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        use serde::ser::SerializeMap;
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("severity", &self.severity)?;
        map.serialize_entry("message", &self.message)?;
        if let Some(hint) = &self.hint {
            map.serialize_entry("hint", hint)?;
        }
        if let Some(s) = &self.snippet {
            let (line, column) = s.line_column();
            map.serialize_entry("file", &*s.file)?;
            map.serialize_entry("line", &line)?;
            map.serialize_entry("column", &column)?;
        } else if let Some(file) = &self.file {
            map.serialize_entry("file", file)?;
        }
        if let Some(piece) = &self.piece {
            map.serialize_entry("piece", piece)?;
        }
        if let Some(edge) = &self.edge {
            map.serialize_entry("edge", edge)?;
        }
        map.end()
    }
}

/// The known name nearest to `wanted` by edit distance, where one is near enough to be a slip of the pen (at most a
/// third of the letters, two at the least).
pub fn nearest<'a>(wanted: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted = wanted.to_lowercase();
    let limit = (wanted.chars().count() / 3).max(2);
    known
        .into_iter()
        .map(|name| (edit_distance(&wanted, &name.to_lowercase()), name))
        .filter(|(distance, _)| *distance <= limit)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}

/// Levenshtein's distance, by characters.
fn edit_distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let above = row[j + 1];
            row[j + 1] = if ca == *cb { diagonal } else { 1 + diagonal.min(above).min(row[j]) };
            diagonal = above;
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_offers_slips_and_not_strangers() {
        let known = ["bust girth", "waist girth", "hip girth"];
        assert_eq!(nearest("bust grith", known), Some("bust girth"));
        assert_eq!(nearest("Waist Girth", known), Some("waist girth"));
        assert_eq!(nearest("elbow", known), None);
    }

    #[test]
    fn place_counts_lines_and_characters() {
        let text: Arc<str> = "é\nab cd".into();
        let snippet = Snippet { file: "a.kdl".into(), text, span: 6..8 };
        assert_eq!(snippet.line_column(), (2, 4));
    }
}
