//! A KDL 2 file guarded before the parser sees it, and its places turned into snippets.

use crate::diag::{Finding, Result, Snippet, nearest};
use kdl::KdlDocument;
use miette::SourceSpan;
use std::ops::Range;
use std::sync::Arc;

/// Largest file, bytes: the parser is slow on more, and no profile comes near it.
const LARGEST: usize = 1_000_000;

/// Deepest nesting of children and of block comments: the parser recurses, and runs out of stack somewhere beyond.
const DEEPEST: usize = 64;

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
    /// Over 1 MB, nested deeper than 64, or not KDL 2.
    pub(super) fn parse(&self, text: &str) -> Result<KdlDocument> {
        if text.len() > LARGEST {
            let message = format!("the file has {} bytes, which is more than the {LARGEST} that are read", text.len());
            return Err(Box::new(Finding::error(message).in_file(&*self.file).hint("is this the right file?")));
        }
        if let Some(at) = too_deep(text) {
            let finding = self.error((at, 1).into(), format!("this is nested deeper than {DEEPEST} levels"));
            return Err(Box::new(finding.hint("a profile needs three levels at the most; look for a missing \"}\"")));
        }
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

/// Where the nesting of `{` or of `/*` passes [`DEEPEST`]. Strings, raw strings and comments are stepped over as KDL 2
/// has them, so that a brace in them counts for nothing.
fn too_deep(text: &str) -> Option<usize> {
    let bytes = text.as_bytes();
    let find = |from: usize, mark: &str| text.get(from..)?.find(mark).map(|n| from + n + mark.len());
    let (mut at, mut depth, mut comments) = (0, 0_usize, 0_usize);
    while at < bytes.len() {
        let rest = &bytes[at..];
        let mut step = 1;
        if comments > 0 {
            if rest.starts_with(b"/*") {
                (comments, step) = (comments + 1, 2);
            } else if rest.starts_with(b"*/") {
                (comments, step) = (comments - 1, 2);
            }
        } else if rest.starts_with(b"/*") {
            (comments, step) = (1, 2);
        } else if rest.starts_with(b"//") {
            step = rest.iter().position(|b| *b == b'\n').unwrap_or(rest.len());
        } else if rest[0] == b'"' || rest[0] == b'#' {
            let hashes = rest.iter().take_while(|b| **b == b'#').count();
            let quotes = rest[hashes..].iter().take_while(|b| **b == b'"').count();
            let opening = if quotes >= 3 { 3 } else { quotes.min(1) };
            let body = at + hashes + opening;
            // `#true` and its like are no strings.
            step = match (opening, hashes) {
                (0, _) => hashes.max(1),
                (_, 0) => end_of_string(bytes, body, opening) - at,
                _ => {
                    let close = "\"".repeat(opening) + &"#".repeat(hashes);
                    find(body, &close).unwrap_or(bytes.len()) - at
                }
            };
        } else if rest[0] == b'{' {
            depth += 1;
        } else if rest[0] == b'}' {
            depth = depth.saturating_sub(1);
        }
        if depth > DEEPEST || comments > DEEPEST {
            return Some(at);
        }
        at += step;
    }
    None
}

/// The offset behind a string whose body starts at `body` and ends with `quotes` quotation marks; a backslash takes the
/// next byte with it.
fn end_of_string(bytes: &[u8], body: usize, quotes: usize) -> usize {
    let mut at = body;
    while at < bytes.len() {
        if bytes[at] == b'\\' {
            at += 2;
        } else if bytes[at..].starts_with(&b"\"\"\""[..quotes]) {
            return at + quotes;
        } else {
            at += 1;
        }
    }
    bytes.len()
}
