//! `oaktag fit`: what a person's file notes of fittings, and passing it into the person's block.

use super::args::FitArgs;
use super::{End, Outcome, disk, say};
use oaktag::measures::{self, NotePlace, fitting};
use oaktag::units::format_length;
use std::fmt::Write;

/// `oaktag fit`.
pub fn fit(args: &FitArgs) -> Outcome {
    let file = args.measures.display().to_string();
    let text = disk::read_text(&args.measures)?;
    if let Some(style) = &args.into_block {
        let (changed, count) = fitting::into_block(&text, &file, style)?;
        disk::write_one(&args.measures, changed.as_bytes())?;
        let fittings = if count == 1 { "1 fitting".into() } else { format!("{count} fittings") };
        say::line(&format!("{file}: {fittings} of \"{style}\" now count for every style"));
        return Ok(End::Done);
    }
    let (person, findings) = measures::read(&text, &file)?;
    say::findings(&findings);
    let mut lines = String::new();
    for fitting in &person.fittings {
        let style = fitting.style.as_deref().unwrap_or("every style");
        for note in &fitting.notes {
            let place = match &note.at {
                NotePlace::Whole => "all along".to_owned(),
                NotePlace::End(point) => format!("at the {}", point.text),
                NotePlace::Distance { from, along } => {
                    format!("{} from the {}", format_length(*along, person.unit), from.text)
                }
                NotePlace::Part(share) => format!("at {share} of its length"),
            };
            let side = note.side.map_or_else(String::new, |side| format!(", {} only", side.name()));
            let by = format_length(note.by, person.unit);
            let (edge, done) = (&note.edge.text, note.kind.done());
            let _ = writeln!(lines, "{}  {style}: {edge} {done} by {by}, {place}{side}", fitting.date);
        }
    }
    say::data(&lines)?;
    Ok(End::Done)
}
