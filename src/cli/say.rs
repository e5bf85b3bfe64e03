//! Findings on the terminal: the place in the file, what is wrong, what to do.

use miette::{GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteDiagnostic, NamedSource, Report};
use oaktag::diag::{Finding, Severity, Snippet, gathered};
use std::io::{IsTerminal, Write};
use std::sync::Arc;

/// A text that does nothing to a terminal: control characters and those that turn the direction of writing become "?", as
/// many as they have bytes, so that places in the text stay where they are. Line ends and tabs stay.
pub fn harmless(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    let mut rest = text.chars().peekable();
    while let Some(c) = rest.next() {
        let stays = matches!(c, '\n' | '\t') || (c == '\r' && rest.peek() == Some(&'\n'));
        // Unicode's bidirectional formatting characters (UAX #9, section 2).
        let turns =
            matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        if turns || (c.is_control() && !stays) {
            safe.extend(std::iter::repeat_n('?', c.len_utf8()));
        } else {
            safe.push(c);
        }
    }
    safe
}

/// Prints findings to standard error.
pub fn findings(list: &[Finding]) {
    let terminal = std::io::stderr().is_terminal();
    let colour = terminal && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    let theme = if colour { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    // Lines are wrapped for eyes only: where a log or another program reads, a name is never cut in two.
    let handler = GraphicalReportHandler::new_themed(theme)
        .with_width(100)
        .with_wrap_lines(terminal)
        .with_break_words(false)
        .without_cause_chain();
    let mut text = String::new();
    for finding in list {
        let finding = &harmless_finding(finding);
        if handler.render_report(&mut text, report(finding).as_ref()).is_err() {
            text.push_str(&finding.to_string());
        }
        text.push('\n');
    }
    // A closed terminal is nobody to tell.
    let _ = std::io::stderr().write_all(text.as_bytes());
}

/// What was found for each person of a run, printed when it is dropped: like findings once, with names, and then the lines
/// that follow from them.
#[derive(Default)]
pub struct Told {
    people: Vec<(String, Vec<Finding>)>,
    lines: Vec<String>,
}

impl Told {
    /// Keeps a person's findings.
    pub fn findings(&mut self, person: &str, list: &[Finding]) {
        self.people.push((person.to_owned(), list.to_vec()));
    }

    /// Keeps a line.
    pub fn line(&mut self, text: String) {
        self.lines.push(text);
    }
}

impl Drop for Told {
    fn drop(&mut self) {
        findings(&gathered(&self.people));
        self.lines.iter().for_each(|text| line(text));
    }
}

/// Prints a line to standard error.
pub fn line(text: &str) {
    let _ = writeln!(std::io::stderr(), "{}", harmless(text));
}

/// Prints data to standard output: as it is into a pipe or a file, harmless on a terminal.
///
/// # Errors
/// The pipe is closed or the disk is full.
pub fn data(text: &str) -> oaktag::diag::Result<()> {
    let mut out = std::io::stdout().lock();
    let shown = if out.is_terminal() { harmless(text).into() } else { std::borrow::Cow::Borrowed(text) };
    out.write_all(shown.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|e| Finding::error(format!("standard output can't be written: {e}")).into())
}

/// A finding whose every text is harmless.
fn harmless_finding(finding: &Finding) -> Finding {
    let own = |text: &Option<String>| text.as_deref().map(harmless);
    Finding {
        severity: finding.severity,
        message: harmless(&finding.message),
        hint: own(&finding.hint),
        file: own(&finding.file),
        snippet: finding.snippet.as_ref().map(|snippet| Snippet {
            file: Arc::from(harmless(&snippet.file)),
            text: Arc::from(harmless(&snippet.text)),
            span: snippet.span.clone(),
        }),
        piece: own(&finding.piece),
        edge: own(&finding.edge),
        gist: None,
    }
}

fn report(finding: &Finding) -> Report {
    let severity = match finding.severity {
        Severity::Note => miette::Severity::Advice,
        Severity::Warning => miette::Severity::Warning,
        Severity::Breach | Severity::Error => miette::Severity::Error,
    };
    let place = match &finding.snippet {
        Some(_) => {
            let bare = Finding { snippet: None, file: None, ..finding.clone() };
            bare.place()
        }
        None => finding.place(),
    };
    let message = if place.is_empty() {
        format!("{}: {}", finding.severity, finding.message)
    } else {
        format!("{}: {place}: {}", finding.severity, finding.message)
    };
    let mut diagnostic = MietteDiagnostic::new(message).with_severity(severity);
    if let Some(hint) = &finding.hint {
        diagnostic = diagnostic.with_help(hint);
    }
    match &finding.snippet {
        Some(snippet) => {
            let label = LabeledSpan::new_with_span(None, snippet.span.clone());
            Report::new(diagnostic.with_label(label))
                .with_source_code(NamedSource::new(&*snippet.file, snippet.text.to_string()))
        }
        None => Report::new(diagnostic),
    }
}
