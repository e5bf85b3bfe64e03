//! KDL files that people write, read with every place kept so that a finding can point into them.

pub(crate) mod strict;

use crate::diag::{Finding, Result, Snippet, nearest};
use crate::units::{Unit, parse_length};
use kdl::{KdlDocument, KdlEntry, KdlNode, KdlValue};
use std::ops::Range;
use std::sync::Arc;

/// The largest file, bytes: the parser is slow on more, and a style of a thousand steps takes a tenth of it.
const LARGEST: usize = 1_000_000;

/// A file's name and text, shared by all findings that point into it.
#[derive(Clone, Debug)]
pub struct Source {
    file: Arc<str>,
    text: Arc<str>,
}

/// A parsed file.
#[derive(Clone, Debug)]
pub struct Document {
    source: Source,
    kdl: KdlDocument,
}

/// One node with the file it stands in.
#[derive(Clone, Copy, Debug)]
pub struct Node<'a> {
    source: &'a Source,
    node: &'a KdlNode,
}

/// One argument or property value with its place.
#[derive(Clone, Copy, Debug)]
pub struct Value<'a> {
    source: &'a Source,
    entry: &'a KdlEntry,
}

/// A text that the user wrote, with its place, for use after the file's syntax tree is gone.
#[derive(Clone, Debug)]
pub struct Text {
    /// The text.
    pub text: String,
    /// Whether it was written as a bare KDL number rather than in quotes.
    pub is_number: bool,
    source: Source,
    span: Range<usize>,
}

/// Reads a KDL 2 document. `file` names it in findings.
///
/// # Errors
/// Files over 1 MB, nesting deeper than 64, and text that is not KDL as `strict` has it, with its place.
pub fn read(text: &str, file: &str) -> Result<Document> {
    let source = Source { file: file.into(), text: text.into() };
    if text.len() > LARGEST {
        return Err(Finding::error(format!("this file has {} bytes; the largest read is {LARGEST}", text.len()))
            .in_file(file)
            .hint("split it, or see whether it is the right file")
            .into());
    }
    strict::check(text)
        .map_err(|refusal| Finding::error(refusal.message).at(source.snippet(refusal.span)).hint(refusal.hint))?;
    match KdlDocument::parse_v2(text) {
        Ok(kdl) => Ok(Document { source, kdl }),
        Err(error) => {
            let first = error.diagnostics.iter().min_by_key(|d| d.span.offset());
            let (span, message, help) = first.map_or((0..0, None, None), |d| {
                (d.span.offset()..d.span.offset() + d.span.len(), d.message.clone(), d.help.clone())
            });
            let mut finding =
                Finding::error(format!("this file can't be read: {}", message.unwrap_or_else(|| "bad syntax".into())))
                    .at(source.snippet(span));
            finding.hint = help.or_else(|| Some("look for a missing quote mark, brace or equals sign here".into()));
            Err(finding.into())
        }
    }
}

impl Source {
    fn snippet(&self, span: Range<usize>) -> Snippet {
        let end = span.end.min(self.text.len());
        Snippet { file: self.file.clone(), text: self.text.clone(), span: span.start.min(end)..end }
    }
}

impl Document {
    /// The top-level nodes.
    pub fn nodes(&self) -> impl Iterator<Item = Node<'_>> {
        self.kdl.nodes().iter().map(|node| Node { source: &self.source, node })
    }

    /// The one top-level node, which must have that name.
    ///
    /// # Errors
    /// No such node, another one, or more than one.
    pub fn only(&self, name: &str) -> Result<Node<'_>> {
        let mut found = None;
        for node in self.nodes() {
            if node.name() != name {
                return Err(node.error(format!("expected \"{name}\" here, found \"{}\"", node.name())).into());
            }
            if found.is_some() {
                return Err(node.error(format!("this file holds a second \"{name}\"")).hint("one to a file").into());
            }
            found = Some(node);
        }
        found.ok_or_else(|| {
            Finding::error(format!("this file holds no \"{name}\""))
                .in_file(&*self.source.file)
                .hint(format!("it should start with: {name} \"…\" {{"))
                .into()
        })
    }
}

impl<'a> Node<'a> {
    /// The node's name.
    pub fn name(&self) -> &'a str {
        self.node.name().value()
    }

    /// The nodes inside its braces.
    pub fn children(&self) -> impl Iterator<Item = Node<'a>> + use<'a> {
        let source = self.source;
        self.node.iter_children().map(move |node| Node { source, node })
    }

    /// Its unnamed values.
    pub fn args(&self) -> impl Iterator<Item = Value<'a>> + use<'a> {
        let source = self.source;
        self.node.entries().iter().filter(|e| e.name().is_none()).map(move |entry| Value { source, entry })
    }

    /// The value of a property.
    pub fn prop(&self, name: &str) -> Option<Value<'a>> {
        let source = self.source;
        self.node.entry(name).filter(|e| e.name().is_some()).map(|entry| Value { source, entry })
    }

    /// The first unnamed value, a text that is not empty.
    ///
    /// # Errors
    /// It is missing, empty, or no text.
    pub fn title(&self) -> Result<&'a str> {
        let Some(value) = self.args().next() else {
            return Err(self.error(format!("\"{}\" needs a name in quotes behind it", self.name())).into());
        };
        let text = value.string()?;
        if text.trim().is_empty() {
            return Err(value.error("this name is empty").into());
        }
        Ok(text)
    }

    /// Refuses properties other than these or given twice, and more than `args` unnamed values.
    ///
    /// # Errors
    /// The first stranger, with the nearest known name.
    pub fn only_takes(&self, args: usize, props: &[&str]) -> Result<()> {
        if let Some(extra) = self.args().nth(args) {
            return Err(extra
                .error(format!("\"{}\" takes {args} value{} here", self.name(), if args == 1 { "" } else { "s" }))
                .hint("put more words of one name inside one pair of quotes")
                .into());
        }
        let mut seen = Vec::new();
        for entry in self.node.entries() {
            let Some(name) = entry.name().map(kdl::KdlIdentifier::value) else { continue };
            if seen.contains(&name) {
                let value = Value { source: self.source, entry };
                return Err(value.error(format!("\"{name}\" is given twice")).hint("leave out one").into());
            }
            seen.push(name);
            if !props.contains(&name) {
                let value = Value { source: self.source, entry };
                let finding = value.error(format!("\"{}\" knows no \"{name}\"", self.name()));
                return Err(with_known(finding, name, props).into());
            }
        }
        Ok(())
    }

    /// Refuses this node as a stranger, offering the nearest of `known`.
    pub fn unknown(&self, known: &[&str]) -> Finding {
        with_known(self.error(format!("\"{}\" is not known here", self.name())), self.name(), known)
    }

    /// A finding of severity error at this node's name and values.
    pub fn error(&self, message: impl Into<String>) -> Finding {
        Finding::error(message).at(self.snippet())
    }

    /// The byte behind the node, its closing brace included.
    pub fn end(&self) -> usize {
        let span = self.node.span();
        span.offset() + span.len()
    }

    /// The node's first line, as a place.
    pub fn snippet(&self) -> Snippet {
        let span = self.node.span();
        let start = span.offset();
        let text = &self.source.text[start.min(self.source.text.len())..];
        let line = text.find('\n').unwrap_or(text.len()).min(span.len().max(1));
        self.source.snippet(start..start + line)
    }
}

/// Adds "did you mean" or the list of what is known.
pub fn with_known(finding: Finding, wanted: &str, known: &[&str]) -> Finding {
    match nearest(wanted, known.iter().copied()) {
        Some(name) => finding.hint(format!("did you mean \"{name}\"?")),
        None if known.is_empty() => finding,
        None => finding.hint(format!("known: {}", known.join(", "))),
    }
}

impl<'a> Value<'a> {
    /// The text in quotes.
    ///
    /// # Errors
    /// The value is no text.
    pub fn string(&self) -> Result<&'a str> {
        self.entry.value().as_string().ok_or_else(|| self.error("expected a text in quotes").into())
    }

    /// `#true` or `#false`.
    ///
    /// # Errors
    /// The value is neither.
    pub fn flag(&self) -> Result<bool> {
        self.entry.value().as_bool().ok_or_else(|| self.error("expected #true or #false").into())
    }

    /// A finite number.
    ///
    /// # Errors
    /// The value is no number, or not finite.
    pub fn number(&self) -> Result<f64> {
        number(self.entry.value())
            .filter(|value| value.is_finite())
            .ok_or_else(|| self.error("expected a number without quotes").into())
    }

    /// A length: a text as [`parse_length`] reads it, or a bare number in `unit`; mm.
    ///
    /// # Errors
    /// The value is no length, with the place in the text.
    pub fn length(&self, unit: Unit) -> Result<f64> {
        let text = self.text()?;
        parse_length(&text.text, unit).map_err(|e| {
            text.error_at(e.at..e.at + 1, format!("this is no length: {e}"))
                .hint("write it as 12 3/8, 12-3/8\" or 31.4 cm")
                .into()
        })
    }

    /// The value as the user wrote it, a text or a number, with its place.
    ///
    /// # Errors
    /// The value is neither.
    pub fn text(&self) -> Result<Text> {
        let span = self.span();
        let source = self.source.clone();
        if let Some(text) = self.entry.value().as_string() {
            return Ok(Text { text: text.into(), is_number: false, span: self.inner(text, span), source });
        }
        match number(self.entry.value()) {
            Some(value) if value.is_finite() => Ok(Text { text: format!("{value}"), is_number: true, span, source }),
            _ => Err(self.error("expected a text in quotes or a number").into()),
        }
    }

    /// A finding of severity error at this value.
    pub fn error(&self, message: impl Into<String>) -> Finding {
        Finding::error(message).at(self.source.snippet(self.span()))
    }

    fn span(&self) -> Range<usize> {
        let span = self.entry.span();
        span.offset()..span.offset() + span.len()
    }

    /// Where the content of a quoted text stands, if it was written without escapes; else the whole entry.
    fn inner(&self, text: &str, span: Range<usize>) -> Range<usize> {
        match self.source.text.get(span.clone()).and_then(|raw| raw.rfind(text).filter(|_| !text.is_empty())) {
            Some(at) => span.start + at..span.start + at + text.len(),
            None => span,
        }
    }
}

fn number(value: &KdlValue) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64))
}

impl Text {
    /// A text from elsewhere, such as the command line; `file` names where.
    pub fn new(text: &str, file: &str) -> Self {
        let source = Source { file: file.into(), text: text.into() };
        Self { text: text.into(), is_number: text.parse::<f64>().is_ok(), span: 0..text.len(), source }
    }

    /// A finding of severity error at a byte range of the text.
    pub fn error_at(&self, range: Range<usize>, message: impl Into<String>) -> Finding {
        let span = if self.span.len() == self.text.len() {
            self.span.start + range.start..(self.span.start + range.end).min(self.span.end.max(self.span.start + 1))
        } else {
            self.span.clone()
        };
        Finding::error(message).at(self.source.snippet(span))
    }

    /// A finding of severity error at the whole text.
    pub fn error(&self, message: impl Into<String>) -> Finding {
        Finding::error(message).at(self.snippet())
    }

    /// The text's place.
    pub fn snippet(&self) -> Snippet {
        self.source.snippet(self.span.clone())
    }
}
