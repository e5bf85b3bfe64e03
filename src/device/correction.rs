//! What was measured of a machine, and what follows from it: `correction` in a profile.
//!
//! measured = J · commanded. Along x, which on a roll is the feed, J may be piecewise: a place u comes out at F(u), with
//! F(0) = 0 and a slope from each span to the next. A correction is never written over: a newer one is put behind it.

use super::read::{no_children, number, reach};
use super::{Device, Medium, MediumKind};
use crate::diag::{Finding, Result};
use crate::measures::is_date;
use crate::source::{self, Node, with_known};
use crate::units::{Unit, trimmed};
use serde::Serialize;
use std::fmt::Write;

/// The machine's own distortion as measured: measured = J · commanded, with J = [[x, skew], [0, y]], or F in place of x.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Correction {
    /// The day it was measured, as written.
    pub date: String,
    /// The medium it was measured on.
    pub medium: String,
    /// Drawn length over commanded length along x; with a feed in spans, from end to end.
    pub x: f64,
    /// The same along y.
    pub y: f64,
    /// Shift along x for each unit of y.
    pub skew: f64,
    /// Where along x other scales hold; empty where `x` holds everywhere.
    pub feed: Vec<FeedSpan>,
    /// How surely it is known, where that was recorded.
    pub sure: Option<Sure>,
    /// What the medium was when it was measured, as [`Medium::shape`] says it; empty where that was not recorded.
    pub on: String,
    /// The correction that this one goes back to, by its date, and of several on one day which, as in `2026-10-02/2`;
    /// `none` for none; empty where it was measured itself.
    pub back_to: String,
    /// What was measured, entry by entry as it stands in the profile, for the record.
    pub readings: Vec<Reading>,
}

/// A stretch of the feed with a scale of its own. It ends where the next one begins.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct FeedSpan {
    /// Where it begins, commanded x, mm.
    pub from: f64,
    /// Drawn length over commanded length within it.
    pub scale: f64,
}

/// Half-widths within which the true values lie in 95 of 100 cases.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Sure {
    /// Of `x`.
    pub x: f64,
    /// Of `y`.
    pub y: f64,
    /// Of `skew`.
    pub skew: f64,
}

/// One entry of the record: `width "599.2 mm" "599.3 mm"`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Reading {
    /// What was measured.
    pub name: String,
    /// The readings as they were given.
    pub values: Vec<String>,
}

/// What stands in a correction for the record.
const RECORDED: [&str; 7] = ["square", "width", "height", "diagonal", "diagonal-2", "ladder", "read-to"];

/// Most spans of a feed.
const MOST_SPANS: usize = 100;

impl Correction {
    /// A correction with the same scale all along x, and nothing recorded of how it was found.
    pub fn plain(date: &str, medium: &str, x: f64, y: f64, skew: f64) -> Self {
        Self {
            date: date.into(),
            medium: medium.into(),
            x,
            y,
            skew,
            feed: Vec::new(),
            sure: None,
            on: String::new(),
            back_to: String::new(),
            readings: Vec::new(),
        }
    }

    /// Whether it changes anything: one that was measured as true, or that goes back to none, does not.
    pub fn corrects(&self) -> bool {
        let [x, y, skew] = [self.x - 1.0, self.y - 1.0, self.skew];
        [x, y, skew].iter().any(|off| off.abs() > 0.0) || self.feed.iter().any(|span| (span.scale - 1.0).abs() > 0.0)
    }

    /// F: where a commanded x comes out, at y = 0, mm.
    pub fn along(&self, commanded: f64) -> f64 {
        let Some(first) = self.feed.first() else { return self.x * commanded };
        let (mut from, mut scale, mut drawn) = (0.0, first.scale, 0.0);
        for span in &self.feed {
            if span.from >= commanded {
                break;
            }
            if span.from > from {
                drawn += (span.from - from) * scale;
                from = span.from;
            }
            scale = span.scale;
        }
        drawn + (commanded - from) * scale
    }

    /// The correction as it stands in a profile, indented by one step, with a line break at its end.
    fn text(&self) -> String {
        let mut text = String::new();
        let put = |text: &mut String, line: std::fmt::Arguments| text.write_fmt(line).expect("writing to a string");
        let [x, y, skew] = [self.x, self.y, self.skew].map(|value| trimmed(value, 7));
        put(
            &mut text,
            format_args!(
                "    correction {} medium={} x={x} y={y} skew={skew} {{\n",
                quoted(&self.date),
                quoted(&self.medium)
            ),
        );
        for Reading { name, values } in &self.readings {
            let values: Vec<String> = values.iter().map(|value| quoted(value)).collect();
            put(&mut text, format_args!("        {name} {}\n", values.join(" ")));
        }
        if let Some(sure) = self.sure {
            let [x, y, skew] = [sure.x, sure.y, sure.skew].map(|value| trimmed(value, 7));
            put(&mut text, format_args!("        sure x={x} y={y} skew={skew}\n"));
        }
        for span in &self.feed {
            let (from, scale) = (trimmed(span.from, 3), trimmed(span.scale, 7));
            put(&mut text, format_args!("        feed from=\"{from} mm\" scale={scale}\n"));
        }
        if !self.on.is_empty() {
            put(&mut text, format_args!("        on {}\n", quoted(&self.on)));
        }
        if !self.back_to.is_empty() {
            put(&mut text, format_args!("        back-to {}\n", quoted(&self.back_to)));
        }
        text + "    }\n"
    }
}

/// A text in quotes, as KDL 2 wants it.
fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            c if c.is_control() => quoted.push(' '),
            c => quoted.push(c),
        }
    }
    quoted + "\""
}

/// A profile's text with one more correction at the end of it, all else as it stands, comments included.
///
/// # Errors
/// A profile that does not read, or one to which nothing can be added without changing something else: a brace that
/// closes the device where it is not looked for. The correction to add by hand is then in the message.
pub fn with_correction(text: &str, file: &str, correction: &Correction) -> Result<String> {
    let (before, _) = super::read(text, file)?;
    let end = source::read(text, file)?.only("device")?.end().min(text.len());
    let by_hand = || {
        let message = "the correction can't be added to this profile by itself";
        Finding::error(message).in_file(file).hint(format!("put these lines into it by hand:\n{}", correction.text()))
    };
    let brace = text.get(..end).and_then(|part| part.rfind('}')).ok_or_else(by_hand)?;
    let line = text[..brace].rfind('\n').map_or(0, |at| at + 1);
    // The closing brace alone on its line, or something before it that has to end first.
    let (at, gap) = if text[line..brace].trim().is_empty() { (line, "\n") } else { (brace, "\n\n") };
    let gap = if at == line && text[..line].ends_with("{\n") { "" } else { gap };
    let longer = format!("{}{gap}{}{}", &text[..at], correction.text(), &text[at..]);
    let (after, _) = super::read(&longer, file)?;
    let kept = Device { corrections: before.corrections.clone(), ..after.clone() } == before;
    let added = after.corrections.len() == before.corrections.len() + 1;
    let there = after.corrections.iter().any(|other| same(other, correction));
    if kept && added && there { Ok(longer) } else { Err(by_hand().into()) }
}

/// Whether two corrections are one and the same, as far as the digits written tell.
fn same(a: &Correction, b: &Correction) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
    a.date == b.date
        && a.medium == b.medium
        && near(a.x, b.x)
        && near(a.y, b.y)
        && near(a.skew, b.skew)
        && a.readings == b.readings
        && a.back_to == b.back_to
        && a.feed.len() == b.feed.len()
        && a.feed.iter().zip(&b.feed).all(|(a, b)| (a.from - b.from).abs() < 1e-2 && near(a.scale, b.scale))
}

/// Reads one `correction`.
pub(super) fn read(node: Node<'_>) -> Result<Correction> {
    node.only_takes(1, &["medium", "x", "y", "skew"])?;
    let date = node.title()?;
    if !is_date(date) {
        let message = format!("\"{date}\" is not a date such as 2026-10-02");
        return Err(node.error(message).hint("year, month, day").into());
    }
    let needs = |key: &str, what: &str| {
        node.prop(key).ok_or_else(|| Box::new(node.error(format!("\"correction\" needs {key}=, {what}"))))
    };
    let medium = needs("medium", "the name of a medium")?.string()?.to_owned();
    let ratio = |key: &str| number(needs(key, "drawn length over commanded length, such as 0.9987")?, 0.5..=2.0);
    let (x, y) = (ratio("x")?, ratio("y")?);
    let skew = node.prop("skew").map_or(Ok(0.0), |value| number(value, -0.5..=0.5))?;
    let mut correction = Correction::plain(date, &medium, x, y, skew);
    for child in node.children() {
        read_entry(child, &mut correction)?;
    }
    Ok(correction)
}

fn read_entry(child: Node<'_>, correction: &mut Correction) -> Result<()> {
    no_children(child)?;
    let needs = |key: &str| {
        let wanted = || Box::<Finding>::from(child.error(format!("\"{}\" needs {key}=", child.name())));
        child.prop(key).ok_or_else(wanted)
    };
    match child.name() {
        // What was measured stays in the file for the record; the numbers are what counts.
        name if RECORDED.contains(&name) => {
            child.only_takes(usize::MAX, &[])?;
            let values = child.args().map(|value| Ok(value.text()?.text)).collect::<Result<_>>()?;
            correction.readings.push(Reading { name: name.into(), values });
        }
        "sure" => {
            child.only_takes(0, &["x", "y", "skew"])?;
            let half = |key: &str| number(needs(key)?, 0.0..=1.0);
            correction.sure = Some(Sure { x: half("x")?, y: half("y")?, skew: half("skew")? });
        }
        "feed" => {
            child.only_takes(0, &["from", "scale"])?;
            let from = reach(needs("from")?, Unit::Millimetre)?;
            let scale = number(needs("scale")?, 0.5..=2.0)?;
            if correction.feed.last().is_some_and(|last| last.from >= from) || from < 0.0 {
                let hint = "write the spans in order, the first from \"0 mm\"";
                return Err(child.error("this span begins before the one above it ends").hint(hint).into());
            }
            if correction.feed.len() == MOST_SPANS {
                return Err(child.error(format!("more than {MOST_SPANS} spans of the feed")).into());
            }
            correction.feed.push(FeedSpan { from, scale });
        }
        "on" | "back-to" => {
            child.only_takes(1, &[])?;
            let text = child.title()?.to_owned();
            if child.name() == "on" {
                correction.on = text;
            } else {
                correction.back_to = text;
            }
        }
        _ => {
            let known: Vec<&str> = RECORDED.into_iter().chain(["sure", "feed", "on", "back-to"]).collect();
            return Err(child.unknown(&known).into());
        }
    }
    Ok(())
}

/// The correction's medium is one of the device's, and its lean stays within the margin: a job is corrected about the
/// sheet's corner, and must not come to lie at negative coordinates.
pub(super) fn check(node: Node<'_>, correction: &Correction, media: &[Medium]) -> Result<()> {
    let Some(medium) = media.iter().find(|medium| medium.name == correction.medium) else {
        let names: Vec<&str> = media.iter().map(|medium| &*medium.name).collect();
        let finding = node.error(format!("there is no medium \"{}\"", correction.medium));
        return Err(with_known(finding, &correction.medium, &names).into());
    };
    let top = medium.extent().1 - medium.margins.top;
    let lean = correction.skew * top / correction.y;
    let margin = medium.pages.map_or(medium.margins.left, |pages| pages.margins.left);
    if lean > margin {
        let message = format!(
            "a skew of {} leans {lean:.1} mm across the medium, more than its margin of {margin:.1} mm",
            correction.skew
        );
        return Err(node
            .error(message)
            .hint("square the machine up by its maker's manual, or widen the margin")
            .into());
    }
    Ok(())
}

impl Medium {
    /// Extent along x and y, mm; a roll at its longest.
    pub fn extent(&self) -> (f64, f64) {
        match self.kind {
            MediumKind::Roll { width, longest } => (longest, width),
            MediumKind::Sheet { width, height } => (width, height),
        }
    }

    /// Its kind and size in a few words, by which a change is noticed.
    pub fn shape(&self) -> String {
        let size = |a: f64, b: f64| format!("{} × {} mm", trimmed(a, 1), trimmed(b, 1));
        match (self.pages, self.kind) {
            (Some(pages), _) => format!("pages {}", size(pages.width, pages.height)),
            (None, MediumKind::Roll { width, .. }) => format!("roll {} mm", trimmed(width, 1)),
            (None, MediumKind::Sheet { width, height }) => format!("sheet {}", size(width, height)),
        }
    }

    /// The medium as far as a machine with that correction reaches when it is told true lengths: one that draws short
    /// reaches less far, one that draws long must stop sooner, since paper and margins are as they are.
    #[must_use]
    pub fn as_drawn(&self, correction: Option<&Correction>) -> Self {
        let Some(c) = correction else { return self.clone() };
        let mut drawn = self.clone();
        let (width, height) = self.extent();
        let (right, top) = (width - self.margins.right, height - self.margins.top);
        let reached = (c.y * top).min(top);
        drawn.margins.bottom = self.margins.bottom.max(c.y * self.margins.bottom);
        drawn.margins.top = height - reached;
        // A point (x, y) is commanded to F⁻¹(x − skew · y / y-scale), which must lie between the margins as well.
        let lean = c.skew * reached / c.y;
        let first = self.margins.left.max(c.along(self.margins.left) + lean.max(0.0));
        let last = right.min(c.along(right) + lean.min(0.0));
        drawn.margins.left = first;
        match &mut drawn.kind {
            MediumKind::Roll { longest, .. } => *longest = last + self.margins.right,
            MediumKind::Sheet { .. } => drawn.margins.right = width - last,
        }
        drawn
    }
}

impl Device {
    /// The newest correction that was measured on that medium; of two on one day the one recorded later.
    pub fn correction(&self, medium: &str) -> Option<&Correction> {
        self.corrections.iter().filter(|correction| correction.medium == medium).max_by(|a, b| a.date.cmp(&b.date))
    }

    /// The correction that undoes the newest of a medium: the one before it once more, or none at all. What was
    /// recorded stays; this is recorded behind it with `date`.
    ///
    /// # Errors
    /// The medium was never measured, or there is nothing further back.
    pub fn back(&self, medium: &str, date: &str) -> Result<Correction> {
        let of_medium: Vec<&Correction> = self.corrections.iter().filter(|c| c.medium == medium).collect();
        let Some(mut at) = of_medium.len().checked_sub(1) else {
            let finding = Finding::error(format!("\"{}\" has no correction on {medium} to go back from", self.name));
            return Err(finding.hint("draw a test square first: oaktag square").into());
        };
        // From one that goes back itself to the one that it stands for.
        if !of_medium[at].back_to.is_empty() {
            let wanted = &of_medium[at].back_to;
            let Some(earlier) = (0..at).find(|earlier| &label(&of_medium, *earlier) == wanted) else {
                let finding = Finding::error(format!("on {medium} it is back at no correction at all already"));
                return Err(finding.hint("draw a test square: oaktag square").into());
            };
            at = earlier;
        }
        let before = (0..at).rev().find(|earlier| of_medium[*earlier].back_to.is_empty());
        let mut back =
            before.map_or_else(|| Correction::plain(date, medium, 1.0, 1.0, 0.0), |before| of_medium[before].clone());
        back.back_to = before.map_or_else(|| "none".into(), |before| label(&of_medium, before));
        back.date = date.into();
        back.readings = Vec::new();
        Ok(back)
    }
}

/// What a correction is called by one that goes back to it: its date, and of several on one day which.
fn label(of_medium: &[&Correction], index: usize) -> String {
    let date = &of_medium[index].date;
    match of_medium[..index].iter().filter(|other| &other.date == date).count() {
        0 => date.clone(),
        earlier => format!("{date}/{}", earlier + 1),
    }
}

/// What is doubtful about a device's corrections on a day: older than the profile's `measure-again` allows, or measured
/// on a medium that was something else then. `today` as in `2026-10-02`.
pub fn stale(device: &Device, today: &str) -> Vec<Finding> {
    let mut findings = Vec::new();
    for medium in &device.media {
        let Some(correction) = device.correction(&medium.name) else { continue };
        let age = day_number(today).zip(day_number(&correction.date)).map(|(now, then)| now - then);
        if let Some(age) = age.filter(|age| *age > i64::from(device.measure_again)) {
            let message = format!(
                "\"{}\" was last measured on {} {age} days ago, and its profile says to measure again after {}",
                device.name, medium.name, device.measure_again
            );
            findings.push(Finding::warning(message).hint("draw and measure a test square: oaktag square"));
        }
        if !correction.on.is_empty() && correction.on != medium.shape() {
            let message = format!(
                "\"{}\": {} was a {} when it was measured, and is a {} now",
                device.name,
                medium.name,
                correction.on,
                medium.shape()
            );
            findings.push(Finding::warning(message).hint("measure it again on what is used now: oaktag square"));
        }
    }
    findings
}

/// Days since 1970-01-01 of a date such as 2026-10-02, by the Gregorian calendar (Hinnant, "chrono-compatible low-level
/// date algorithms", `days_from_civil`).
pub fn day_number(date: &str) -> Option<i64> {
    if !is_date(date) {
        return None;
    }
    let part = |range: std::ops::Range<usize>| date.get(range)?.parse::<i64>().ok();
    let (year, month, day) = (part(0..4)?, part(5..7)?, part(8..10)?);
    let year = if month <= 2 { year - 1 } else { year };
    let era = year.div_euclid(400);
    let of_era = year.rem_euclid(400);
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    Some(era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468)
}

/// The date of a day counted from 1970-01-01: the way back of [`day_number`].
pub fn date_of(day: i64) -> String {
    let day = day + 719_468;
    let era = day.div_euclid(146_097);
    let of_era = day.rem_euclid(146_097);
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let shifted = (5 * of_year + 2) / 153;
    let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
    let year = year + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{:02}", of_year - (153 * shifted + 2) / 5 + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_counted_by_the_calendar() {
        // ISO 8601 day counts: 2000-03-01 is day 11,017 of the Unix era; 2026-10-02 to 2027-04-02 are 182 days.
        assert_eq!(day_number("1970-01-01"), Some(0));
        assert_eq!(day_number("2000-03-01"), Some(11_017));
        assert_eq!(day_number("2027-04-02").expect("a date") - day_number("2026-10-02").expect("a date"), 182);
        assert_eq!(day_number("2 October"), None);
        for day in (-200_000..200_000).step_by(997) {
            assert_eq!(day_number(&date_of(day)), if day < -719_528 { None } else { Some(day) });
        }
    }

    #[test]
    fn the_feed_adds_up() {
        let mut c = Correction::plain("2026-11-02", "paper", 0.99, 1.0, 0.0);
        c.feed = vec![
            FeedSpan { from: 0.0, scale: 1.0 },
            FeedSpan { from: 100.0, scale: 0.9 },
            FeedSpan { from: 200.0, scale: 1.1 },
        ];
        // By hand: 100, then 0.9 a millimetre, then 1.1.
        for (u, drawn) in [(-50.0, -50.0), (0.0, 0.0), (50.0, 50.0), (150.0, 145.0), (200.0, 190.0), (300.0, 300.0)] {
            assert!((c.along(u) - drawn).abs() < 1e-9, "{u}");
        }
    }
}
