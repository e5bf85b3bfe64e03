//! Names for files that know no more than 7-bit ASCII.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// Letters that do not come apart into a plain letter and its marks, signs of writing, and what is written for them.
const PLAIN: [(char, &str); 28] = [
    ('ß', "ss"),
    ('æ', "ae"),
    ('Æ', "AE"),
    ('œ', "oe"),
    ('Œ', "OE"),
    ('ø', "o"),
    ('Ø', "O"),
    ('đ', "d"),
    ('Đ', "D"),
    ('ð', "d"),
    ('þ', "th"),
    ('Þ', "TH"),
    ('ł', "l"),
    ('Ł', "L"),
    ('ŋ', "ng"),
    ('ɓ', "b"),
    ('ɗ', "d"),
    ('ƙ', "k"),
    ('ı', "i"),
    ('‘', "'"),
    ('’', "'"),
    ('“', "\""),
    ('”', "\""),
    ('–', "-"),
    ('—', "-"),
    ('⁄', "/"),
    ('×', "x"),
    ('\u{a0}', " "),
];

/// A text in 7-bit ASCII, and the characters that could not be kept, each once: those are written "?".
///
/// Letters are taken apart (Unicode normalization form KD) and their marks dropped: "Ärmel" becomes "Armel". A few that do
/// not come apart are spelt (ß as "ss", ø as "o"). Control characters become spaces.
///
/// ```
/// let (name, lost) = oaktag::text::ascii("Ärmel ½, ọ̀ 袖");
/// assert_eq!(name, "Armel 1/2, o ?");
/// assert_eq!(lost, ['袖']);
/// ```
pub fn ascii(text: &str) -> (String, Vec<char>) {
    let (mut plain, mut lost) = (String::new(), Vec::new());
    for c in text.chars() {
        for part in std::iter::once(c).nfkd() {
            match PLAIN.iter().find(|(known, _)| *known == part) {
                _ if part.is_control() => plain.push(' '),
                _ if part.is_ascii() => plain.push(part),
                Some((_, spelt)) => plain.push_str(spelt),
                None if is_combining_mark(part) => {}
                None => {
                    plain.push('?');
                    if !lost.contains(&c) {
                        lost.push(c);
                    }
                }
            }
        }
    }
    (plain, lost)
}
