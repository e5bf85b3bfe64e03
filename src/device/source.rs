//! A KDL 2 file guarded before the parser sees it, and its places turned into snippets.

use crate::diag::{Finding, Result, Snippet, nearest};
use crate::source::strict;
use kdl::KdlDocument;
use miette::SourceSpan;
use std::ops::Range;
use std::sync::Arc;

/// Largest file, bytes: the parser is slow on more, and no profile comes near it.
const LARGEST: usize = 1_000_000;

/// A file's name and text.
pub(super) struct Source {
    file: Arc<str>,
    text: Arc<str>,
}

impl Source {
    pub(super) fn new(text: &str, file: &str) -> Self {
        // A file that is too large is refused below, and is not worth a copy.
        let text = if text.len() > LARGEST { "" } else { text };
        Self { file: file.into(), text: text.into() }
    }

    /// An error that points at a place in the file.
    pub(super) fn error(&self, span: SourceSpan, message: impl Into<String>) -> Box<Finding> {
        Box::new(Finding::error(message).at(self.snippet(span.offset()..span.offset() + span.len())))
    }

    /// An error about a name that is not known, with the nearest that is, or else all of them.
    pub(super) fn unknown(&self, span: SourceSpan, what: &str, name: &str, known: &[&str]) -> Box<Finding> {
        let hint = match nearest(name, known.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None if known.is_empty() => format!("there is no {what} here"),
            None => format!("known here: {}", known.join(", ")),
        };
        let finding = self.error(span, format!("there is no {what} \"{name}\""));
        Box::new(finding.hint(hint))
    }

    /// A warning that points at a place in the file.
    pub(super) fn warning(&self, span: SourceSpan, message: impl Into<String>) -> Finding {
        Finding::warning(message).at(self.snippet(span.offset()..span.offset() + span.len()))
    }

    fn snippet(&self, span: Range<usize>) -> Snippet {
        Snippet { file: self.file.clone(), text: self.text.clone(), span }
    }

    /// The file as KDL 2.
    ///
    /// # Errors
    /// Over 1 MB, nested deeper than 64, or not KDL 2 as [`strict`] has it.
    pub(super) fn parse(&self, text: &str) -> Result<KdlDocument> {
        if text.len() > LARGEST {
            let message = format!("the file has {} bytes, which is more than the {LARGEST} that are read", text.len());
            return Err(Box::new(Finding::error(message).in_file(&*self.file).hint("is this the right file?")));
        }
        strict::check(text).map_err(|refusal| {
            let finding = self.error(refusal.span.into(), refusal.message);
            Box::new(finding.hint(refusal.hint))
        })?;
        KdlDocument::parse(text).map_err(|error| {
            let Some(first) = error.diagnostics.first() else {
                return Box::new(Finding::error("this is not KDL 2").in_file(&*self.file));
            };
            let message = first.message.as_deref().unwrap_or("this is not KDL 2");
            let finding = *self.error(first.span, message);
            Box::new(match &first.help {
                Some(help) => finding.hint(help),
                None => finding,
            })
        })
    }
}
