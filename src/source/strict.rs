//! Whether a text is KDL 2 as people write it in these files, asked before the parser sees it.
//!
//! The `kdl` crate mends what it can't read and reads on, deeper in its own recursion with every fault: some 30 KB of
//! stray brackets, equals signs or backslashes overflow its stack, which ends the program; a `/-` before each of a few
//! dozen nested blocks doubles its time with every level, and an unclosed `#"` repeated takes it minutes. So whatever is
//! malformed is refused here, by the grammar of KDL 2.0.0 (kdl.dev/spec), with the place and the next step. Refused as
//! well, as nothing in these files needs them: texts in three quotation marks, types in brackets, numbers that are not
//! decimal, `/-` before a block alone, and a backslash that skips white space within a text.

use std::ops::Range;

/// Deepest nesting of blocks and of block comments.
const DEEPEST: usize = 64;

/// Longest number, bytes: more digits than this are a slip, and 39 overflow the parser's integers.
const LONGEST_NUMBER: usize = 30;

/// Where and why a text is refused, and the next step.
#[derive(Debug)]
pub(crate) struct Refusal {
    pub(crate) span: Range<usize>,
    pub(crate) message: String,
    pub(crate) hint: &'static str,
}

type Checked<T = ()> = Result<T, Refusal>;

/// Checks a whole file.
pub(crate) fn check(text: &str) -> Checked {
    let mut cursor = Cursor { text, at: if text.starts_with('\u{feff}') { 3 } else { 0 } };
    if let Some((at, c)) = text[cursor.at..].char_indices().find(|(_, c)| forbidden(*c)) {
        let at = cursor.at + at;
        return refuse(at..at + c.len_utf8(), format!("the character U+{:04X} is not allowed", c as u32), "delete it");
    }
    let mut open = Vec::new();
    loop {
        cursor.lines_and_space()?;
        match cursor.peek() {
            None => break,
            Some('}') => {
                let Some((_, commented)) = open.pop() else {
                    return cursor.refuse_here("this \"}\" closes nothing", "delete it, or look for a missing \"{\"");
                };
                cursor.at += 1;
                cursor.end_of_entry(commented)?;
            }
            Some(_) => {
                let commented = cursor.take("/-");
                if commented {
                    cursor.lines_and_space()?;
                }
                if cursor.entry(commented)? {
                    open.push((cursor.at, commented));
                    if open.len() > DEEPEST {
                        let message = format!("this is nested deeper than {DEEPEST} levels");
                        return cursor.refuse_here(message, "look for a missing \"}\"");
                    }
                    cursor.at += 1;
                }
            }
        }
    }
    match open.pop() {
        Some((at, _)) => refuse(at..at + 1, "this \"{\" is never closed", "add a \"}\" where its entries end"),
        None => Ok(()),
    }
}

fn refuse<T>(span: Range<usize>, message: impl Into<String>, hint: &'static str) -> Checked<T> {
    Err(Refusal { span, message: message.into(), hint })
}

struct Cursor<'a> {
    text: &'a str,
    at: usize,
}

impl Cursor<'_> {
    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn take(&mut self, mark: &str) -> bool {
        let found = self.rest().starts_with(mark);
        self.at += if found { mark.len() } else { 0 };
        found
    }

    fn take_while(&mut self, wanted: impl Fn(char) -> bool) -> usize {
        let length = self.rest().find(|c| !wanted(c)).unwrap_or(self.rest().len());
        self.at += length;
        length
    }

    fn refuse_here<T>(&self, message: impl Into<String>, hint: &'static str) -> Checked<T> {
        refuse(self.at..self.at + self.peek().map_or(0, char::len_utf8), message, hint)
    }

    /// A name, its values and properties, up to its end or to the `{` of its block; returns whether there is one.
    fn entry(&mut self, commented: bool) -> Checked<bool> {
        self.word()?;
        loop {
            let spaced = self.space()?;
            match self.peek() {
                Some('{') => return Ok(true),
                Some(c) if c != ';' && c != '}' && !newline(c) && !self.rest().starts_with("//") => {
                    if !spaced {
                        return self.refuse_here("there should be a space here", "leave one between values");
                    }
                    if self.take("/-") {
                        self.space()?;
                        if self.peek() == Some('{') {
                            let hint = "put the \"/-\" before the name of the entry that the block belongs to";
                            return self.refuse_here("a block alone can't be commented out", hint);
                        }
                    }
                    self.value_or_property()?;
                }
                _ => {
                    self.end_of_entry(commented)?;
                    return Ok(false);
                }
            }
        }
    }

    /// What ends an entry: a line's end, a semicolon (which the parser does not take behind one that is commented out),
    /// the block's end or the file's.
    fn end_of_entry(&mut self, commented: bool) -> Checked {
        self.space()?;
        match self.peek() {
            Some(';') if commented => {
                return self.refuse_here("a \";\" can't follow what is commented out", "start a new line instead");
            }
            Some(';') => self.at += 1,
            Some(c) if c != '}' && !newline(c) && !self.rest().starts_with("//") => {
                return self.refuse_here("the next entry should start on a new line", "or put a \";\" between them");
            }
            _ => {}
        }
        Ok(())
    }

    fn value_or_property(&mut self) -> Checked {
        if self.number()? || self.keyword()? {
            return Ok(());
        }
        self.word()?;
        let behind = self.at;
        self.space()?;
        if !self.take("=") {
            self.at = behind;
            return Ok(());
        }
        self.space()?;
        if self.number()? || self.keyword()? { Ok(()) } else { self.word() }
    }

    /// A text, in quotation marks or bare.
    fn word(&mut self) -> Checked {
        let start = self.at;
        let hashes = self.rest().bytes().take_while(|b| *b == b'#').count();
        let quoted = &self.text[start + hashes..];
        if quoted.starts_with("\"\"\"") {
            let hint = "write it on one line, with \\n for a new line";
            return refuse(start..start + hashes + 3, "texts in three quotation marks are not used here", hint);
        }
        if quoted.starts_with('"') {
            return if hashes > 0 { self.raw(hashes) } else { self.quoted() };
        }
        match self.peek() {
            Some('(') => return self.refuse_here("types in brackets are not used here", "delete the brackets"),
            Some('{') => return self.refuse_here("this block belongs to no entry", "write the entry's name before it"),
            _ => {}
        }
        self.take_while(bare);
        let word = &self.text[start..self.at];
        if word.is_empty() {
            return self.refuse_here("expected a name or a value", "put texts in quotation marks");
        }
        let unsigned = word.trim_start_matches(['+', '-']);
        let number = unsigned.trim_start_matches('.').starts_with(|c: char| c.is_ascii_digit());
        if number || ["true", "false", "null", "inf", "-inf", "nan"].contains(&word) {
            let message = format!("\"{word}\" can't stand here as it is");
            return refuse(start..self.at, message, "put a text in quotation marks; yes and no are #true and #false");
        }
        Ok(())
    }

    fn raw(&mut self, hashes: usize) -> Checked {
        let start = self.at;
        let close = format!("\"{}", "#".repeat(hashes));
        let line = self.rest().split(newline).next().unwrap_or("");
        match line[hashes + 1..].find(&close) {
            Some(length) => {
                self.at = start + hashes + 1 + length + close.len();
                Ok(())
            }
            None => {
                refuse(start..start + hashes + 1, "this text is not closed on its line", "close it as it was opened")
            }
        }
    }

    fn quoted(&mut self) -> Checked {
        let start = self.at;
        self.at += 1;
        loop {
            match self.peek() {
                Some('"') => {
                    self.at += 1;
                    return Ok(());
                }
                Some('\\') => self.escape()?,
                Some(c) if !newline(c) => self.at += c.len_utf8(),
                _ => {
                    return refuse(start..start + 1, "this text is not closed on its line", "add a quotation mark");
                }
            }
        }
    }

    fn escape(&mut self) -> Checked {
        let start = self.at;
        self.at += 1;
        let hint = "write \\\\ for a backslash, \\\" for a quotation mark";
        match self.peek() {
            Some('n' | 'r' | 't' | '\\' | '"' | 'b' | 'f' | 's') => self.at += 1,
            Some('u') => {
                let digits = self.rest()[1..].strip_prefix('{').and_then(|rest| rest.split('}').next());
                let digits = digits.filter(|digits| (1..=6).contains(&digits.len()));
                let code = digits.and_then(|digits| {
                    let hexadecimal = digits.bytes().all(|b| b.is_ascii_hexdigit());
                    hexadecimal.then(|| u32::from_str_radix(digits, 16).ok()).flatten().and_then(char::from_u32)
                });
                let closed = digits.is_some_and(|digits| self.rest()[2 + digits.len()..].starts_with('}'));
                match (code, digits) {
                    (Some(_), Some(digits)) if closed => self.at += digits.len() + 3,
                    _ => return refuse(start..self.at + 1, "\\u wants a character's number, as in \\u{e9}", hint),
                }
            }
            _ => return refuse(start..self.at, "nothing is known that starts with this backslash", hint),
        }
        Ok(())
    }

    /// A decimal number, if one starts here.
    fn number(&mut self) -> Checked<bool> {
        let start = self.at;
        let digits = |c: char| c.is_ascii_digit() || c == '_';
        self.at += usize::from(self.rest().starts_with(['+', '-']));
        if !self.rest().starts_with(|c: char| c.is_ascii_digit()) {
            self.at = start;
            return Ok(false);
        }
        self.take_while(digits);
        let mut sound = true;
        if self.take(".") {
            sound = self.rest().starts_with(|c: char| c.is_ascii_digit());
            self.take_while(digits);
        }
        if self.rest().starts_with(['e', 'E']) {
            self.at += 1;
            self.at += usize::from(self.rest().starts_with(['+', '-']));
            sound &= self.rest().starts_with(|c: char| c.is_ascii_digit());
            self.take_while(digits);
        }
        let behind = self.at;
        self.take_while(|c| bare(c) || c == '"' || c == '/');
        if !sound || self.at > behind || self.at - start > LONGEST_NUMBER {
            let message = format!("\"{}\" is not a number", &self.text[start..self.at]);
            return refuse(start..self.at, message, "put lengths and other texts in quotation marks");
        }
        Ok(true)
    }

    /// `#true` and its like, if one starts here.
    fn keyword(&mut self) -> Checked<bool> {
        let start = self.at;
        if !self.rest().starts_with('#') || self.rest().trim_start_matches('#').starts_with('"') {
            return Ok(false);
        }
        self.at += 1;
        self.take_while(|c| bare(c) || c == '#');
        if ["#true", "#false", "#null", "#inf", "#-inf", "#nan"].contains(&&self.text[start..self.at]) {
            return Ok(true);
        }
        refuse(start..self.at, "expected #true or #false", "put texts with a \"#\" in quotation marks")
    }

    /// Steps over spaces, block comments and joined lines; returns whether there were any.
    fn space(&mut self) -> Checked<bool> {
        let start = self.at;
        loop {
            let before = self.at;
            self.take_while(space);
            if self.rest().starts_with("/*") {
                self.comment()?;
            } else if self.rest().starts_with('\\') {
                self.at += 1;
                while self.take_while(space) > 0 || self.rest().starts_with("/*") {
                    if self.rest().starts_with("/*") {
                        self.comment()?;
                    }
                }
                if self.rest().starts_with("//") {
                    self.take_while(|c| !newline(c));
                }
                match self.peek() {
                    Some(c) if newline(c) => self.line_end(c),
                    None => {}
                    Some(_) => return self.refuse_here("a backslash joins two lines", "put it at the line's end"),
                }
            }
            if self.at == before {
                return Ok(self.at > start);
            }
        }
    }

    /// Steps over spaces, comments and line ends.
    fn lines_and_space(&mut self) -> Checked {
        loop {
            let before = self.at;
            self.space()?;
            self.take_while(newline);
            if self.rest().starts_with("//") {
                self.take_while(|c| !newline(c));
            }
            if self.at == before {
                return Ok(());
            }
        }
    }

    fn line_end(&mut self, c: char) {
        if !self.take("\r\n") {
            self.at += c.len_utf8();
        }
    }

    /// A block comment; others may lie within.
    fn comment(&mut self) -> Checked {
        let (start, mut depth) = (self.at, 0_usize);
        loop {
            if self.take("/*") {
                depth += 1;
                if depth > DEEPEST {
                    let message = format!("comments are nested deeper than {DEEPEST} levels");
                    return refuse(self.at - 2..self.at, message, "look for a missing \"*/\"");
                }
            } else if self.take("*/") {
                depth -= 1;
                if depth == 0 {
                    return Ok(());
                }
            } else if let Some(c) = self.peek() {
                self.at += c.len_utf8();
            } else {
                return refuse(start..start + 2, "this comment is never closed", "add a \"*/\" where it ends");
            }
        }
    }
}

/// The line ends of KDL 2.
fn newline(c: char) -> bool {
    matches!(c, '\n' | '\r' | '\u{b}' | '\u{c}' | '\u{85}' | '\u{2028}' | '\u{2029}')
}

/// The spaces of KDL 2.
fn space(c: char) -> bool {
    matches!(c, '\t' | ' ' | '\u{a0}' | '\u{1680}' | '\u{2000}'..='\u{200a}' | '\u{202f}' | '\u{205f}' | '\u{3000}')
}

/// What a text without quotation marks is made of.
fn bare(c: char) -> bool {
    !newline(c) && !space(c) && !"\\/(){}[];\"#=".contains(c)
}

/// Control and direction characters, which KDL 2 allows nowhere.
fn forbidden(c: char) -> bool {
    matches!(c, '\0'..='\u{8}' | '\u{e}'..='\u{1f}' | '\u{7f}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}'
        | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::*;
    use kdl::KdlDocument;

    /// What is let through, an independent parser takes (the `kdl` crate), on random short texts that can't hurt it; and
    /// whole documents with everything that people write are let through.
    #[test]
    fn what_passes_is_kdl() {
        const MARKS: [&str; 36] = [
            "{", "}", "a", "b ", " ", " ", "\n", ";", "\"", "\"x y\"", "#", "#true", "true", "/-", "/* c */", "//",
            "\\", "\\\n", "=", "=", "1", "-2.5", ".", "(", ")", "#\"", "\"#", "\"\"\"", "\u{a0}", "\u{e9}", ",", "-",
            "[", "1e3", "\\n", "\r\n",
        ];
        let (mut seed, mut passed) = (1_u64, 0);
        let mut random = |below: usize| {
            // The 64-bit linear congruential generator of Knuth's MMIX.
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((seed >> 33) as usize) % below
        };
        for _ in 0..40_000 {
            let text: String = (0..=random(9)).map(|_| MARKS[random(MARKS.len())]).collect();
            if check(&text).is_ok() {
                passed += 1;
                assert!(KdlDocument::parse_v2(&text).is_ok(), "{text:?}");
            }
        }
        assert!(passed > 2_000, "{passed} passed");
        for text in [
            "\u{feff}a 1 -2.5 +3 1e-3 1_000 x=#true \"y z\"=#nan w = \"\\\"\\u{e9}\\s\" { b; c #\"\\d\"# }\r\n",
            "/- a { b }\n/* x /* y */ */ c \\ // joined\n 1 /- 2 /-d=3\n//end",
            "é-ü { /-x\n y; }; \"quoted name\" - + .a -a\n",
        ] {
            check(text).unwrap_or_else(|refusal| panic!("{text:?}: {refusal:?}"));
            assert!(KdlDocument::parse_v2(text).is_ok(), "{text:?}");
        }
    }
}
