//! Text made safe for HTML, and tables that read well on paper, on a phone and aloud.

use std::fmt::Write;

/// A run of letters longer than this may be broken over two lines anywhere.
const LONGEST_RUN: usize = 20;

/// Text as HTML: [`clean`], with markup characters escaped.
pub(super) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    clean(text).chars().for_each(|c| push(&mut safe, c));
    safe
}

/// A name as HTML, with places to break it behind a slash and in very long words, so that no table grows too wide.
pub(super) fn name(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    let mut run = 0;
    for c in clean(text).chars() {
        push(&mut safe, c);
        run = if c == ' ' { 0 } else { run + 1 };
        if c == '/' || run == LONGEST_RUN {
            safe.push_str("<wbr>");
            run = 0;
        }
    }
    safe
}

fn push(safe: &mut String, c: char) {
    match c {
        '&' => safe.push_str("&amp;"),
        '<' => safe.push_str("&lt;"),
        '>' => safe.push_str("&gt;"),
        '"' => safe.push_str("&quot;"),
        '\'' => safe.push_str("&#39;"),
        _ => safe.push(c),
    }
}

/// Text on one line: white space as single spaces, other control characters, noncharacters and the marks that turn the
/// direction of writing as U+FFFD. HTML may not hold them, and a terminal would obey some.
pub(super) fn clean(text: &str) -> String {
    let plain: String = text
        .chars()
        .map(|c| match c {
            '\t' | '\n' | '\r' => ' ',
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fdd0}'..='\u{fdef}' => '\u{fffd}',
            c if c.is_control() || u32::from(c) & 0xfffe == 0xfffe => '\u{fffd}',
            c => c,
        })
        .collect();
    plain.split(' ').filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" ")
}

/// A table. `columns` are plain text, the cells of `rows` ready HTML; each row's first cell heads it.
pub(super) fn table(caption: &str, columns: &[&str], rows: &[Vec<String>]) -> String {
    let mut out = format!("<table><caption>{}</caption><thead><tr>", escape(caption));
    for column in columns {
        let _ = write!(out, "<th scope=\"col\">{}</th>", escape(column));
    }
    out.push_str("</tr></thead><tbody>\n");
    for row in rows {
        out.push_str("<tr>");
        for (index, (column, cell)) in columns.iter().zip(row).enumerate() {
            if index == 0 {
                let _ = write!(out, "<th scope=\"row\">{cell}</th>");
            } else {
                // On a phone the header row is out of sight; each cell then says its column's name.
                let _ = write!(out, "<td data-label=\"{}\">{cell}</td>", escape(column));
            }
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>\n");
    out
}

/// A list of terms and their values; both ready HTML.
pub(super) fn facts(rows: &[(String, String)]) -> String {
    let mut out = String::from("<dl>");
    for (term, value) in rows {
        let _ = write!(out, "<div><dt>{term}</dt><dd>{value}</dd></div>");
    }
    out.push_str("</dl>\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_text_is_only_text() {
        let safe = escape("<script>alert('x & y')</script>\"\u{0}\u{1b}[31m\u{202e}\u{ffff}");
        assert_eq!(
            safe,
            "&lt;script&gt;alert(&#39;x &amp; y&#39;)&lt;/script&gt;&quot;\u{fffd}\u{fffd}[31m\u{fffd}\u{fffd}"
        );
        assert_eq!(name("a/<b>"), "a/<wbr>&lt;b&gt;");
        assert_eq!(name(&"x".repeat(30)), format!("{}<wbr>{}", "x".repeat(20), "x".repeat(10)));
        assert_eq!(clean("a\n\tb  c"), "a b c");
        assert_eq!(escape("Šárka Ó Néill 李"), "Šárka Ó Néill 李");
    }
}
