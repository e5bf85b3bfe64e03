//! What was found at fittings: dated notes for one style, or for all that is drafted for the person.

use super::{Side, is_date};
use crate::diag::{Finding, Result};
use crate::source::{self, Node, Text};
use crate::units::Unit;

/// One fitting.
#[derive(Clone, Debug)]
pub struct Fitting {
    /// Its date, year first.
    pub date: String,
    /// The style that was tried on; `None` where its notes were passed into the person's block, and so into every style
    /// that has such edges.
    pub style: Option<String>,
    /// What was found, in order.
    pub notes: Vec<Note>,
}

/// One note of a fitting.
#[derive(Clone, Debug)]
pub struct Note {
    /// What is done.
    pub kind: NoteKind,
    /// The edge, as `Front/side`.
    pub edge: Text,
    /// How far the sew line moves, mm, over 0.
    pub by: f64,
    /// Where along the edge.
    pub at: NotePlace,
    /// The side of the body that it is for; both where left out.
    pub side: Option<Side>,
}

/// What a note does to an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoteKind {
    /// The sew line moves into the piece, and into the piece that it is sewn to.
    TakeIn,
    /// The sew line moves out of both.
    LetOut,
    /// The sew line moves up in the draft.
    Raise,
    /// The sew line moves down in the draft.
    Lower,
}

/// Where along its edge a note acts fully. It tapers to nothing at the edge's ends; at a corner it tapers along both edges
/// that meet there.
#[derive(Clone, Debug)]
pub enum NotePlace {
    /// Along the whole edge.
    Whole,
    /// At one of its ends: a point of the style.
    End(Text),
    /// So far from an end, mm.
    Distance {
        /// The end.
        from: Text,
        /// How far.
        along: f64,
    },
    /// A share of the edge from its start.
    Part(f64),
}

/// Every kind with its word.
pub const KINDS: [(&str, NoteKind); 4] = [
    ("take-in", NoteKind::TakeIn),
    ("let-out", NoteKind::LetOut),
    ("raise", NoteKind::Raise),
    ("lower", NoteKind::Lower),
];

impl NoteKind {
    /// As it is said: `taken in`.
    pub fn done(self) -> &'static str {
        match self {
            Self::TakeIn => "taken in",
            Self::LetOut => "let out",
            Self::Raise => "raised",
            Self::Lower => "lowered",
        }
    }
}

/// Reads `fitting "2026-10-20" style="Evening Chorus dress" { take-in "Front/side" "1/4" at="side waist" }`.
pub(super) fn read(node: Node<'_>, unit: Unit) -> Result<Fitting> {
    node.only_takes(1, &["style"])?;
    let date = node.title()?.to_owned();
    if !is_date(&date) {
        return Err(node.error("this is no date").hint("write year, month and day, as in 2026-10-20").into());
    }
    let style = node.prop("style").map(|style| style.string()).transpose()?.map(str::to_owned);
    let notes = node.children().map(|child| note(child, unit)).collect::<Result<Vec<_>>>()?;
    if notes.is_empty() {
        let finding = node.error("nothing was noted at this fitting");
        return Err(finding.hint("add: take-in \"Front/side\" \"1/4\" at=\"side waist\"").into());
    }
    Ok(Fitting { date, style, notes })
}

fn note(node: Node<'_>, unit: Unit) -> Result<Note> {
    let Some((_, kind)) = KINDS.iter().find(|(word, _)| *word == node.name()) else {
        return Err(node.unknown(&KINDS.map(|(word, _)| word)).into());
    };
    node.only_takes(2, &["at", "along", "from", "part", "side"])?;
    node.title()?;
    let (Some(edge), Some(amount)) = (node.args().next(), node.args().nth(1)) else {
        return Err(node.error("how much?").hint(format!("write: {} \"Front/side\" \"1/4\"", node.name())).into());
    };
    let edge = edge.text()?;
    if !edge.text.contains('/') {
        return Err(edge.error("this does not name an edge").hint("write it as \"Front/side\"").into());
    }
    let by = amount.length(unit)?;
    if by <= 0.0 || by > LARGEST {
        let finding = amount.error("a note moves a sew line by more than 0 and no more than 200 mm");
        return Err(finding.hint("for the other way use its opposite: let-out for take-in, lower for raise").into());
    }
    let text = |prop: &str| node.prop(prop).map(|value| value.text()).transpose();
    let at = match (text("at")?, node.prop("along"), text("from")?, node.prop("part")) {
        (None, None, None, None) => NotePlace::Whole,
        (Some(end), None, None, None) => NotePlace::End(end),
        (None, Some(along), Some(from), None) => {
            let distance = along.length(unit)?;
            if distance < 0.0 {
                return Err(along.error("this distance is negative").into());
            }
            NotePlace::Distance { from, along: distance }
        }
        (None, None, None, Some(part)) => {
            let share = part.number()?;
            if !(0.0..=1.0).contains(&share) {
                return Err(part.error("a part of an edge is from 0 to 1").into());
            }
            NotePlace::Part(share)
        }
        _ => {
            let finding = node.error("where is this? give one place");
            return Err(finding.hint("at=\"side waist\", or along=\"3\" from=\"underarm\", or part=0.5").into());
        }
    };
    let side = match node.prop("side") {
        None => None,
        Some(value) => Some(
            Side::from_name(value.string()?)
                .ok_or_else(|| value.error("a side is \"left\" or \"right\", the wearer's own"))?,
        ),
    };
    Ok(Note { kind: *kind, edge, by, at, side })
}

/// The most that a note moves a sew line, mm: more is another draft.
const LARGEST: f64 = 200.0;

/// Passes the fittings of one style into the person's block: in the file's text their `style` is taken out, and nothing else
/// is changed, so that they count for every style that has such edges. Returns the new text and how many there were.
///
/// # Errors
/// A file that can't be read as measures, or without a fitting of that style.
pub fn into_block(text: &str, file: &str, style: &str) -> Result<(String, usize)> {
    let (person, _) = super::read(text, file)?;
    let document = source::read(text, file)?;
    let root = document.only("measures")?;
    let mut changed = text.to_owned();
    let mut count = 0;
    let fittings: Vec<Node<'_>> = root.children().filter(|node| node.name() == "fitting").collect();
    // The last first, so that the places of the others stay.
    for node in fittings.into_iter().rev() {
        let Some(value) = node.prop("style").filter(|value| value.string().is_ok_and(|name| name == style)) else {
            continue;
        };
        let span = value.error("").snippet.map_or(0..0, |snippet| snippet.span);
        let before = changed[..span.start].trim_end().len();
        changed.replace_range(before..span.end, "");
        count += 1;
    }
    if count == 0 {
        let known: Vec<&str> = person.fittings.iter().filter_map(|fitting| fitting.style.as_deref()).collect();
        let finding = Finding::error(format!("{} was never fitted in \"{style}\"", person.person)).in_file(file);
        return Err(source::with_known(finding, style, &known).into());
    }
    // What is left must still read as the same file; else nothing is changed.
    super::read(&changed, file)?;
    Ok((changed, count))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(fitting: &str) -> String {
        format!("measures \"Ida\" {{ unit \"in\"\n taken \"2026-09-14\" {{ bust 36; }}\n// kept\n{fitting}\n}}\n")
    }

    #[test]
    fn notes_say_what_where_and_on_which_side() {
        let text = file(
            "fitting \"2026-10-20\" style=\"Dress\" { take-in \"Front/side\" \"1/4\" at=\"side waist\"\nlower \"Front/hem\" 1 side=\"left\"\nlet-out \"Back/side\" \"1/8\" along=3 from=\"underarm\"\nraise \"Front/waist\" \"2 cm\" part=0.5 }\nfitting \"2026-10-01\" { lower \"Front/hem\" 2; }",
        );
        let (ida, _) = super::super::read(&text, "ida.kdl").expect("reads");
        assert_eq!(ida.fittings.iter().map(|f| f.date.as_str()).collect::<Vec<_>>(), ["2026-10-01", "2026-10-20"]);
        let notes = &ida.fittings[1].notes;
        assert!(
            (notes[0].by - 6.35).abs() < 1e-9 && matches!(&notes[0].at, NotePlace::End(p) if p.text == "side waist")
        );
        assert!(notes[1].side == Some(Side::Left) && matches!(notes[1].at, NotePlace::Whole));
        assert!(matches!(&notes[2].at, NotePlace::Distance { along, .. } if (along - 76.2).abs() < 1e-9));
        assert!((notes[3].by - 20.0).abs() < 1e-9 && matches!(notes[3].at, NotePlace::Part(_)));
    }

    #[test]
    fn faults_in_notes_are_refused_with_the_place() {
        for (body, words) in [
            ("take-in \"Front/side\"", "how much"),
            ("take-in \"side\" 1", "does not name an edge"),
            ("take-in \"Front/side\" -1", "more than 0"),
            ("take-in \"Front/side\" 1 along=3", "give one place"),
            ("take-in \"Front/side\" 1 at=\"waist\" part=0.5", "give one place"),
            ("take-in \"Front/side\" 1 side=\"both\"", "a side is"),
            ("take-inn \"Front/side\" 1", "did you mean \"take-in\""),
            ("", "nothing was noted"),
        ] {
            let text = file(&format!("fitting \"2026-10-20\" style=\"Dress\" {{ {body} }}"));
            let error = super::super::read(&text, "ida.kdl").expect_err(body);
            assert!(error.to_string().contains(words), "{body}: {error}");
            assert_eq!(error.snippet.as_ref().expect("place").line_column().0, 4, "{body}");
        }
        assert!(super::super::read(&file("fitting \"soon\" { lower \"Front/hem\" 1; }"), "ida.kdl").is_err());
    }

    #[test]
    fn fittings_pass_into_the_block_and_comments_stay() {
        let text = file(
            "fitting \"2026-10-20\"  style=\"Dress\" { lower \"Front/hem\" 1; } // why\nfitting \"2026-10-21\" style=\"Coat\" { lower \"Front/hem\" 2; }",
        );
        let (changed, count) = into_block(&text, "ida.kdl", "Dress").expect("passes");
        assert_eq!(count, 1);
        assert_eq!(changed, text.replace("  style=\"Dress\"", ""));
        let error = into_block(&text, "ida.kdl", "Coats").expect_err("unknown");
        assert!(error.to_string().contains("did you mean \"Coat\""), "{error}");
    }
}
