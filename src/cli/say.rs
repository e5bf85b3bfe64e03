//! Findings on the terminal: the place in the file, what is wrong, what to do.

use miette::{GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteDiagnostic, NamedSource, Report};
use oaktag::diag::{Finding, Severity};
use std::io::{IsTerminal, Write};

/// Prints findings to standard error.
pub fn findings(list: &[Finding]) {
    let colour = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    let theme = if colour { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    let handler = GraphicalReportHandler::new_themed(theme).with_width(100).without_cause_chain();
    let mut text = String::new();
    for finding in list {
        if handler.render_report(&mut text, report(finding).as_ref()).is_err() {
            text.push_str(&finding.to_string());
        }
        text.push('\n');
    }
    // A closed terminal is nobody to tell.
    let _ = std::io::stderr().write_all(text.as_bytes());
}

/// Prints a line to standard error.
pub fn line(text: &str) {
    let _ = writeln!(std::io::stderr(), "{text}");
}

/// Prints data to standard output.
///
/// # Errors
/// The pipe is closed or the disk is full.
pub fn data(text: &str) -> oaktag::diag::Result<()> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|e| Finding::error(format!("standard output can't be written: {e}")).into())
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
