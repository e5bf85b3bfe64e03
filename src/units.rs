//! Lengths as people write and read them: inches with fractions, centimetres, millimetres.
//!
//! Inside the program a length is an `f64` in millimetres.

use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::fmt;

/// Millimetres in an inch, exactly (International yard and pound agreement, 1959).
pub const INCH: f64 = 25.4;

/// No length in this trade is longer; a longer one is a slip. 100 m.
pub const LONGEST: f64 = 100_000.0;

/// A unit of length that people write.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Unit {
    /// Inches, written with fractions.
    #[serde(rename = "in")]
    Inch,
    /// Centimetres.
    #[serde(rename = "cm")]
    Centimetre,
    /// Millimetres.
    #[serde(rename = "mm")]
    Millimetre,
}

impl Unit {
    /// Millimetres in one of this unit.
    pub fn mm(self) -> f64 {
        match self {
            Self::Inch => INCH,
            Self::Centimetre => 10.0,
            Self::Millimetre => 1.0,
        }
    }

    /// The unit's sign: `in`, `cm`, `mm`.
    pub fn sign(self) -> &'static str {
        match self {
            Self::Inch => "in",
            Self::Centimetre => "cm",
            Self::Millimetre => "mm",
        }
    }

    /// The unit that a word or sign stands for.
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "in" | "inch" | "inches" | "\"" | "″" => Some(Self::Inch),
            "cm" | "centimetre" | "centimetres" => Some(Self::Centimetre),
            "mm" | "millimetre" | "millimetres" => Some(Self::Millimetre),
            _ => None,
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.sign())
    }
}

/// Why a text is not a length.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotALength {
    /// Byte offset of the place in the text.
    pub at: usize,
    /// What was expected there.
    pub expected: Cow<'static, str>,
}

impl NotALength {
    fn new(at: usize, expected: impl Into<Cow<'static, str>>) -> Self {
        Self { at, expected: expected.into() }
    }
}

impl fmt::Display for NotALength {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "expected {}", self.expected)
    }
}

impl std::error::Error for NotALength {}

/// Reads `12 3/8`, `12 3/8 in`, `12-3/8"`, `3/8`, `12.375in`, `31.4 cm`, `216mm`, with a minus sign before or not.
/// A text without a unit is in `unit`. Returns millimetres.
///
/// # Errors
/// [`NotALength`] with the place, also for a hyphened fraction without a unit sign, for a fraction that is not less than 1
/// or whose lower number no tape has, and for lengths over 100 m.
///
/// ```
/// use oaktag::units::{Unit, parse_length};
/// let mm = |text, unit| (parse_length(text, unit).unwrap() * 1e6).round() / 1e6;
/// assert_eq!(mm("8 1/2", Unit::Inch), 215.9);
/// assert_eq!(mm("8-1/2\"", Unit::Centimetre), 215.9);
/// assert_eq!(mm("21.6 cm", Unit::Inch), 216.0);
/// assert_eq!(mm("216mm", Unit::Inch), 216.0);
/// assert!(parse_length("8-1/2", Unit::Inch).is_err());
/// ```
pub fn parse_length(text: &str, unit: Unit) -> Result<f64, NotALength> {
    let (sign, body, start) = {
        let trimmed = text.trim_start();
        let start = text.len() - trimmed.len();
        match trimmed.strip_prefix('-') {
            Some(rest) => (-1.0, rest, start + 1),
            None => (1.0, trimmed, start),
        }
    };
    let shift = |e: NotALength| NotALength { at: e.at + start, ..e };
    let scan = scan_length(body).map_err(shift)?;
    check_fraction(body, scan.end).map_err(shift)?;
    let rest = &body[scan.end..];
    if !rest.trim().is_empty() {
        let at = start + scan.end + (rest.len() - rest.trim_start().len());
        return Err(NotALength::new(at, "the end of the length, or in, cm or mm"));
    }
    let mm = sign * scan.value * scan.unit.unwrap_or(unit).mm();
    if mm.abs() > LONGEST {
        return Err(NotALength::new(start, "a length under 100 m"));
    }
    Ok(mm)
}

/// A number with or without a unit at the start of a text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScannedLength {
    /// The number as written.
    pub value: f64,
    /// The unit that follows it, if one does.
    pub unit: Option<Unit>,
    /// Byte offset behind it.
    pub end: usize,
}

/// Reads an unsigned number (`12`, `12.375`, `3/8`, `12 3/8`, `12-3/8"`) and its unit from the start of `text`. A hyphen
/// joins whole and fraction only where an inch mark follows, so that `12-3/8` in a formula is a subtraction.
///
/// # Errors
/// [`NotALength`] where no number starts here, or a fraction has denominator 0; where the fraction follows a whole number or
/// has a unit, also as in [`parse_length`].
pub fn scan_length(text: &str) -> Result<ScannedLength, NotALength> {
    let (whole, mut end) = number(text, 0).ok_or(NotALength::new(0, "a number such as 12, 12 3/8 or 31.4"))?;
    let is_whole = text[..end].bytes().all(|b| b.is_ascii_digit());
    let mut value = whole;
    let mut mixed = false;
    if is_whole {
        if let Some((den, after)) = fraction_tail(text, end) {
            value = divide(whole, den, end)?;
            end = after;
        } else if let Some((numerator, den, after)) =
            spaced_fraction(text, end).or_else(|| hyphened_fraction(text, end))
        {
            value = whole + divide(numerator, den, end)?;
            end = after;
            mixed = true;
        }
    }
    let (unit, behind) = unit_at(text, end);
    // A fraction alone may be a number in a formula, 9/8 too.
    if mixed || unit.is_some() {
        check_fraction(text, end)?;
    }
    Ok(ScannedLength { value, unit, end: behind })
}

/// Refuses a fraction that no tape or ruler shows, among the first `end` bytes of a text: one that is not less than 1, as in
/// `293/8` with its space forgotten, or whose lower number no tape has, as in `29 3/18`.
fn check_fraction(text: &str, end: usize) -> Result<(), NotALength> {
    /// What inch tapes and rulers are divided by, and the parts that are taken of an inch (common practice, no source).
    const DIVIDED: [f64; 11] = [2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 32.0, 64.0];
    let Some(slash) = text[..end].find('/') else { return Ok(()) };
    let start = text[..slash].trim_end_matches(|c: char| c.is_ascii_digit()).len();
    let (Some((numerator, _)), Some((den, after))) = (whole_number(text, start), whole_number(text, slash + 1)) else {
        return Ok(());
    };
    let digits = &text[start..slash];
    if numerator >= den {
        let whole: f64 = text[..start].trim_end_matches([' ', '\u{a0}', '-']).parse().unwrap_or(0.0);
        // Where the space was forgotten: behind the first digits, the longest fraction last.
        let parted = (1..digits.len()).rev().map(|at| digits.split_at(at));
        let meant = parted.filter(|(_, numerator)| {
            !numerator.starts_with('0') && numerator.parse::<f64>().is_ok_and(|numerator| numerator < den)
        });
        let mut meant: Vec<String> =
            meant.map(|(whole, numerator)| format!("{whole} {numerator}/{}", &text[slash + 1..after])).collect();
        if start > 0 || meant.is_empty() {
            let inches = whole + numerator / den;
            let (inches, over) = (inches.floor(), (numerator % den).round());
            let fraction = if over > 0.0 { format!(" {over}/{den}") } else { String::new() };
            meant = vec![format!("{inches}{fraction}")];
        }
        let message = format!("a fraction that is less than 1; did you mean {}?", meant.join(" or "));
        return Err(NotALength::new(start, message));
    }
    if DIVIDED.contains(&den) {
        return Ok(());
    }
    Err(NotALength::new(slash + 1, "a lower number that tapes have: 2, 3, 4, 5, 6, 8, 10, 12, 16, 32 or 64"))
}

fn divide(numerator: f64, den: f64, at: usize) -> Result<f64, NotALength> {
    if den == 0.0 {
        return Err(NotALength::new(at, "a fraction whose lower number is not 0"));
    }
    Ok(numerator / den)
}

/// Digits with at most one point; returns the number and the offset behind it.
fn number(text: &str, from: usize) -> Option<(f64, usize)> {
    let bytes = text.as_bytes();
    let mut end = from;
    let mut seen_point = false;
    while end < bytes.len() {
        match bytes[end] {
            b'0'..=b'9' => end += 1,
            b'.' if !seen_point && bytes.get(end + 1).is_some_and(u8::is_ascii_digit) => {
                seen_point = true;
                end += 1;
            }
            _ => break,
        }
    }
    if end == from || !bytes[from].is_ascii_digit() && bytes[from] != b'.' {
        return None;
    }
    text[from..end].parse().ok().map(|value: f64| (value, end))
}

fn whole_number(text: &str, from: usize) -> Option<(f64, usize)> {
    let end = text[from..].find(|c: char| !c.is_ascii_digit()).map_or(text.len(), |n| from + n);
    (end > from).then(|| text[from..end].parse().ok().map(|value: f64| (value, end))).flatten()
}

/// `/8` straight behind a whole number.
fn fraction_tail(text: &str, from: usize) -> Option<(f64, usize)> {
    text[from..].starts_with('/').then(|| whole_number(text, from + 1)).flatten()
}

/// ` 3/8` behind a whole number.
fn spaced_fraction(text: &str, from: usize) -> Option<(f64, f64, usize)> {
    let start = from + text[from..].len() - text[from..].trim_start_matches([' ', '\u{a0}']).len();
    if start == from {
        return None;
    }
    let (numerator, slash) = whole_number(text, start)?;
    let (den, end) = fraction_tail(text, slash)?;
    Some((numerator, den, end))
}

/// `-3/8"` behind a whole number, the inch mark required.
fn hyphened_fraction(text: &str, from: usize) -> Option<(f64, f64, usize)> {
    text[from..].starts_with('-').then_some(())?;
    let (numerator, slash) = whole_number(text, from + 1)?;
    let (den, end) = fraction_tail(text, slash)?;
    (unit_at(text, end).0 == Some(Unit::Inch)).then_some((numerator, den, end))
}

/// The unit at `from`, behind spaces or not, as a whole word.
fn unit_at(text: &str, from: usize) -> (Option<Unit>, usize) {
    let rest = &text[from..];
    let skipped = rest.len() - rest.trim_start_matches([' ', '\u{a0}']).len();
    let word = &rest[skipped..];
    if let Some(mark) = ["\"", "″"].into_iter().find(|mark| word.starts_with(mark)) {
        return (Some(Unit::Inch), from + skipped + mark.len());
    }
    let length = word.find(|c: char| !c.is_alphabetic()).unwrap_or(word.len());
    match Unit::from_name(&word[..length]) {
        Some(unit) => (Some(unit), from + skipped + length),
        None => (None, from),
    }
}

/// Prints millimetres for people: inches to the nearest sixteenth as `12 3/8 in`, centimetres to a tenth as `31.4 cm`,
/// millimetres to a tenth.
pub fn format_length(mm: f64, unit: Unit) -> String {
    match unit {
        Unit::Inch => format_inches(mm, 16),
        Unit::Centimetre => format!("{} cm", trimmed(mm / 10.0, 1)),
        Unit::Millimetre => format!("{} mm", trimmed(mm, 1)),
    }
}

/// Inches to the nearest `1/denominator`, as `12 3/8 in`; `denominator` is a power of two.
pub fn format_inches(mm: f64, denominator: u32) -> String {
    let parts = (mm.abs() / INCH * f64::from(denominator)).round() as u64;
    let sign = if mm < 0.0 && parts > 0 { "-" } else { "" };
    let den = u64::from(denominator);
    let (whole, mut num) = (parts / den, parts % den);
    let mut den = den;
    while num > 0 && num.is_multiple_of(2) && den.is_multiple_of(2) {
        num /= 2;
        den /= 2;
    }
    match (whole, num) {
        (_, 0) => format!("{sign}{whole} in"),
        (0, _) => format!("{sign}{num}/{den} in"),
        _ => format!("{sign}{whole} {num}/{den} in"),
    }
}

/// `value` with at most `decimals` decimals and no trailing zeros; never `-0`.
pub fn trimmed(value: f64, decimals: usize) -> String {
    let mut text = Vec::new();
    push_trimmed(&mut text, value, decimals);
    text.into_iter().map(char::from).collect()
}

/// The three digits of every number below a thousand in ASCII, the first in the lowest byte.
const THREES: [u32; 1000] = {
    let mut threes = [0; 1000];
    let mut n = 0;
    while n < 1000 {
        threes[n] = 0x30_3030 + (n / 100 + ((n / 10 % 10) << 8) + ((n % 10) << 16)) as u32;
        n += 1;
    }
    threes
};

/// Appends `value` as [`trimmed`] gives it, in ASCII, and tells whether it has decimals. Below 9e15 steps of the last
/// decimal it is written as a whole number of them, and halves are rounded away from zero. Most of a file consists of
/// numbers with up to six digits before the point and six behind it: those are put together in two registers.
#[inline]
pub fn push_trimmed(text: &mut Vec<u8>, value: f64, decimals: usize) -> bool {
    const POWERS: [u64; 7] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000];
    /// A point and no decimals but zeros.
    const NONE: u64 = 0x3030_3030_3030_302e;
    let power = POWERS.get(decimals).copied().unwrap_or(0);
    let scaled = value * power as f64;
    // What is no number is not short.
    let is_short = power > 0 && scaled.abs() < (999_999 * power) as f64;
    if !is_short {
        return push_long(text, value, decimals);
    }
    let steps = nearest_whole(scaled);
    let (whole, part) = (steps.unsigned_abs() / power, steps.unsigned_abs() % power);
    let threes = |n: u64| u64::from(THREES[n as usize]);
    if steps < 0 {
        text.push(b'-');
    }
    // Eight bytes are appended, and those that are too many taken off: the length is known before what is appended.
    let (digits, long, first) = match whole {
        0..1000 => (threes(whole), 3, whole),
        _ => (threes(whole / 1000) | threes(whole % 1000) << 24, 6, whole / 1000),
    };
    let zeros = usize::from(first < 100) + usize::from(first < 10);
    let from = text.len();
    text.extend_from_slice(&(digits >> (8 * zeros)).to_le_bytes());
    text.truncate(from + long - zeros);
    if part > 0 {
        let part = part * (1_000_000 / power);
        let digits = 0x30 << 56 | threes(part % 1000) << 32 | threes(part / 1000) << 8 | u64::from(b'.');
        let zeros = (digits ^ NONE).leading_zeros() / 8;
        let from = text.len();
        text.extend_from_slice(&digits.to_le_bytes());
        text.truncate(from + 8 - zeros as usize);
    }
    part > 0
}

/// [`push_trimmed`] for numbers of more digits, infinities and what is no number.
#[cold]
fn push_long(text: &mut Vec<u8>, value: f64, decimals: usize) -> bool {
    let power = if decimals < 10 { 10_u64.pow(decimals as u32) } else { 0 };
    let scaled = value * power as f64;
    // Beyond 2^53 not every whole number is an f64.
    let mut digits = if power > 0 && scaled.abs() <= 9e15 {
        let steps = scaled.round() as i64;
        let (sign, steps) = (if steps < 0 { "-" } else { "" }, steps.unsigned_abs());
        format!("{sign}{}.{:0decimals$}", steps / power, steps % power)
    } else {
        format!("{value:.decimals$}")
    };
    if digits.contains('.') {
        digits.truncate(digits.trim_end_matches('0').trim_end_matches('.').len());
    }
    text.extend_from_slice(digits.as_bytes());
    digits.contains('.')
}

/// The nearest whole number, halves away from zero, of a number below 2⁵¹. Beside 1.5 · 2⁵² the steps of an `f64` are whole:
/// adding it rounds, halves to even, and leaves the whole number in the lower bits; halves are then put right.
#[inline]
pub fn nearest_whole(value: f64) -> i64 {
    const WHOLE: f64 = 6_755_399_441_055_744.0;
    let sum = value + WHOLE;
    let nearest = sum.to_bits() as i64 - WHOLE.to_bits() as i64;
    let rest = value - (sum - WHOLE);
    nearest + i64::from(rest >= 0.5 && value > 0.0) - i64::from(rest <= -0.5 && value < 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_that_people_write() {
        for (text, unit, mm) in [
            ("12 3/8", Unit::Inch, 314.325),
            ("12 3/8 in", Unit::Centimetre, 314.325),
            ("12-3/8\"", Unit::Centimetre, 314.325),
            ("12.375in", Unit::Centimetre, 314.325),
            ("3/8", Unit::Inch, 9.525),
            ("-3/8", Unit::Inch, -9.525),
            ("31.4 cm", Unit::Inch, 314.0),
            ("31.4", Unit::Centimetre, 314.0),
            (" 7 ", Unit::Millimetre, 7.0),
        ] {
            let read = parse_length(text, unit).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((read - mm).abs() < 1e-9, "{text}: {read}");
        }
    }

    #[test]
    fn refusals_point_at_the_place() {
        for (text, at) in
            [("", 0), ("abc", 0), ("12 x", 3), ("8-1/2", 1), ("1/0", 1), ("NaN", 0), ("inf", 0), ("9999999", 0)]
        {
            assert_eq!(parse_length(text, Unit::Inch).expect_err(text).at, at, "{text}");
        }
    }

    #[test]
    fn fractions_are_those_of_a_tape() {
        // Each is a slip that would else be read in silence: 293/8 in is 36 5/8 in.
        for (text, at, meant) in [
            ("293/8", 0, "29 3/8?"),
            ("-293/8\"", 1, "29 3/8?"),
            ("2915/16 in", 0, "291 5/16 or 29 15/16?"),
            ("9/8", 0, "1 1/8?"),
            ("8/8", 0, "mean 1?"),
            ("29 9/8", 3, "30 1/8?"),
            ("29-9/8\"", 3, "30 1/8?"),
            ("29\u{a0}9/8 in", 4, "30 1/8?"),
            ("29 3/18", 5, "tapes have"),
            ("1/7", 2, "tapes have"),
        ] {
            let refused = parse_length(text, Unit::Inch).expect_err(text);
            assert!(refused.at == at && refused.expected.contains(meant), "{text}: {refused:?}");
        }
        for (text, inches) in [
            ("29 3/8", 29.375),
            ("29\u{a0}3/8 in", 29.375),
            ("63/64", 63.0 / 64.0),
            ("1 2/3", 5.0 / 3.0),
            ("7/12\"", 7.0 / 12.0),
        ] {
            let read = parse_length(text, Unit::Inch).expect(text);
            assert!((read - inches * INCH).abs() < 1e-9, "{text}: {read}");
        }
        // In a formula a fraction without a unit is a number.
        for (text, value) in [("9/8", 1.125), ("293/8", 36.625), ("2/7", 2.0 / 7.0)] {
            let read = scan_length(text).expect(text);
            assert!((read.value - value).abs() < 1e-12 && read.end == text.len());
        }
        for text in ["9/8 in", "293/8\"", "29 3/18", "1 9/8 * 2"] {
            assert!(scan_length(text).is_err(), "{text}");
        }
    }

    #[test]
    fn decimals_are_those_of_the_library() {
        // The standard library's formatting, trimmed.
        let library = |value: f64, decimals: usize| {
            let text = format!("{value:.decimals$}");
            let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
            if text == "-0" { "0".to_owned() } else { text.to_owned() }
        };
        let mut seed = 1_u64;
        for i in 0..200_000 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let whole = (seed >> 20) as f64 / f64::from(1_u32 << 31) - 4.0;
            let value = whole * 10_f64.powi(i % 9 - 3);
            let decimals = (i % 7) as usize;
            let (own, theirs) = (trimmed(value, decimals), library(value, decimals));
            // A value half-way between two, to the last bit of its product, may go either way.
            let half = (value * 10_f64.powi(decimals as i32)).fract().abs() - 0.5;
            assert!(own == theirs || half.abs() < 1e-6, "{value} {decimals}: {own}, {theirs}");
        }
        for (value, decimals, text) in [
            (0.0, 6, "0"),
            (-0.0, 6, "0"),
            (-4e-7, 6, "0"),
            (5e-7, 6, "0.000001"),
            (-1.5, 3, "-1.5"),
            (100.0, 2, "100"),
            (0.05, 2, "0.05"),
            (1e20, 2, "100000000000000000000"),
            (120.0, 0, "120"),
            (9_999.999_999_6, 6, "10000"),
            (999.5, 0, "1000"),
            (-999_998.999_999_6, 6, "-999999"),
            (999_999.5, 0, "1000000"),
            (1_000.000_001, 6, "1000.000001"),
            (-7.05, 2, "-7.05"),
            (-99_999_998.123_456, 6, "-99999998.123456"),
            (9e15, 0, "9000000000000000"),
            (-8_999_999.125, 9, "-8999999.125"),
            (f64::NAN, 2, "NaN"),
            (f64::INFINITY, 2, "inf"),
        ] {
            assert_eq!(trimmed(value, decimals), text);
        }
    }

    #[test]
    fn halves_go_away_from_zero_as_in_the_library() {
        let mut seed = 7_u64;
        for i in 0..100_000 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let whole = (seed >> 33) as f64 - f64::from(1_u32 << 30);
            for value in [whole + 0.5, whole + 0.499_999, whole * 1e-6, whole * 1024.0, f64::from(i) + 0.5 - 5e4] {
                assert_eq!(nearest_whole(value), value.round() as i64, "{value}");
            }
        }
        assert_eq!([0.5, -0.5, 0.499_999_999_999_999_94, -0.0].map(nearest_whole), [1, -1, 0, 0]);
    }

    #[test]
    fn inches_print_as_fractions() {
        assert_eq!(format_length(314.325, Unit::Inch), "12 3/8 in");
        assert_eq!(format_length(9.525, Unit::Inch), "3/8 in");
        assert_eq!(format_length(-25.4, Unit::Inch), "-1 in");
        assert_eq!(format_length(25.39, Unit::Inch), "1 in");
        assert_eq!(format_length(-0.01, Unit::Inch), "0 in");
        assert_eq!(format_length(314.04, Unit::Centimetre), "31.4 cm");
    }
}
