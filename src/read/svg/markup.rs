//! XML with its dangers bounded before the parser sees it.

use super::super::refused;
use crate::diag::{Finding, Result, Snippet};
use roxmltree::{Document, ParsingOptions};

/// The parser compares each attribute of an element with all before it.
const MOST_ATTRIBUTES: usize = 500;
/// Each element that declares a namespace copies those around it.
const MOST_NAMESPACES: usize = 5_000;
const MOST_NODES: u32 = 4_000_000;

/// Parses a document. Document types are allowed, since many programs write one; the parser itself refuses entities that
/// multiply, and never opens another file.
///
/// # Errors
/// Not well-formed, with the place; more of anything than a drawing needs.
pub(super) fn parse<'t>(text: &'t str, file: &str) -> Result<Document<'t>> {
    if most_attributes(text) > MOST_ATTRIBUTES || text.matches("xmlns").count() > MOST_NAMESPACES {
        let message = "one element has too many attributes, or the file too many namespaces";
        return Err(refused(file, message, "save it again as plain SVG"));
    }
    let options = ParsingOptions { allow_dtd: true, nodes_limit: MOST_NODES, ..ParsingOptions::default() };
    Document::parse_with_options(text, options).map_err(|error| {
        let place = error.pos();
        let line_start: usize = text.split_inclusive('\n').take(place.row.max(1) as usize - 1).map(str::len).sum();
        let column = place.col.max(1) as usize - 1;
        let start = text[line_start..].char_indices().nth(column).map_or(text.len(), |(i, _)| line_start + i);
        let snippet = Snippet { file: file.into(), text: text.into(), span: start..start };
        Box::new(
            Finding::error(format!("the file is not well-formed XML: {error}"))
                .hint("save it again from the program that drew it")
                .at(snippet),
        )
    })
}

/// The largest number of equals signs inside one start tag, quoted values apart: at least its attributes.
fn most_attributes(text: &str) -> usize {
    let (mut most, mut count) = (0, 0);
    let mut inside = false;
    let mut quote = None;
    for byte in text.bytes() {
        match (inside, quote, byte) {
            (true, None, b'"' | b'\'') => quote = Some(byte),
            (true, Some(open), _) if byte == open => quote = None,
            (true, None, b'=') => {
                count += 1;
                most = most.max(count);
            }
            (true, None, b'>') => inside = false,
            (_, _, b'<') => {
                // `<` never stands inside a well-formed tag, so a tag can't hide behind an odd quote.
                inside = true;
                quote = None;
                count = 0;
            }
            _ => {}
        }
    }
    most
}
