//! What is refused before the KDL parser sees it: it is slow on very large files and aborts on very deep ones.

use super::Source;
use crate::diag::{Finding, Result};

/// The largest file, bytes. A style of a thousand steps takes a tenth of it.
const LARGEST: usize = 1_000_000;

/// The deepest nesting of braces. A style nests three deep.
const DEEPEST: usize = 64;

/// Checks size and nesting.
///
/// # Errors
/// The file is too large, or braces nest too deep, with the place.
pub(super) fn check(source: &Source) -> Result<()> {
    if source.text.len() > LARGEST {
        return Err(Finding::error(format!(
            "this file has {} bytes; the largest read is {LARGEST}",
            source.text.len()
        ))
        .in_file(&*source.file)
        .hint("split it, or see whether it is the right file")
        .into());
    }
    if let Some(at) = too_deep(source.text.as_bytes()) {
        return Err(Finding::error(format!("the braces nest deeper than {DEEPEST} here"))
            .at(source.snippet(at..at + 1))
            .hint("look for a brace that was never closed")
            .into());
    }
    Ok(())
}

/// Offset of the brace that opens level 65. Braces in texts and comments do not count.
fn too_deep(bytes: &[u8]) -> Option<usize> {
    let mut depth = 0_usize;
    let mut at = 0;
    while at < bytes.len() {
        at = match bytes[at] {
            b'"' => text_end(bytes, at, 0),
            b'#' => {
                let hashes = bytes[at..].iter().take_while(|b| **b == b'#').count();
                let quote = at + hashes;
                if bytes.get(quote) == Some(&b'"') { text_end(bytes, quote, hashes) } else { quote }
            }
            b'/' if bytes.get(at + 1) == Some(&b'/') => {
                bytes[at..].iter().position(|b| *b == b'\n').map_or(bytes.len(), |n| at + n)
            }
            b'/' if bytes.get(at + 1) == Some(&b'*') => comment_end(bytes, at),
            b'{' => {
                depth += 1;
                if depth > DEEPEST {
                    return Some(at);
                }
                at + 1
            }
            b'}' => {
                depth = depth.saturating_sub(1);
                at + 1
            }
            _ => at + 1,
        };
    }
    None
}

/// Offset behind a text that opens with quote marks at `at`, raw with `hashes` hash signs.
fn text_end(bytes: &[u8], at: usize, hashes: usize) -> usize {
    let quotes = if bytes[at..].starts_with(b"\"\"\"") { 3 } else { 1 };
    let mut i = at + quotes;
    while i < bytes.len() {
        if hashes == 0 && bytes[i] == b'\\' {
            i += 2;
            continue;
        }
        let closes = bytes[i..].iter().take(quotes).filter(|b| **b == b'"').count() == quotes
            && bytes[(i + quotes).min(bytes.len())..].iter().take(hashes).filter(|b| **b == b'#').count() == hashes;
        if closes {
            return i + quotes + hashes;
        }
        i += 1;
    }
    bytes.len()
}

/// Offset behind a comment that opens at `at`; comments nest.
fn comment_end(bytes: &[u8], at: usize) -> usize {
    let mut depth = 0_usize;
    let mut i = at;
    while i + 1 < bytes.len() {
        match &bytes[i..i + 2] {
            b"/*" => {
                depth += 1;
                i += 2;
            }
            b"*/" => {
                depth -= 1;
                i += 2;
                if depth == 0 {
                    return i;
                }
            }
            _ => i += 1,
        }
    }
    bytes.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn nested(depth: usize) -> String {
        "a {".repeat(depth) + &"}".repeat(depth)
    }

    #[test]
    fn depth_is_counted_outside_texts_and_comments() {
        assert_eq!(too_deep(nested(64).as_bytes()), None);
        assert_eq!(too_deep(nested(65).as_bytes()), Some(64 * 3 + 2));
        let hidden =
            format!("{}/* }}}}}} */ b \"}}\\\"}}\" #\"}}\"}}\"# // }}}}\n {}", "a {".repeat(60), "a {".repeat(5));
        assert!(too_deep(hidden.as_bytes()).is_some(), "closing braces in texts and comments must not count");
        assert_eq!(too_deep(b"a \"{{{{\" /* {{{ /* { */ */"), None);
    }
}
