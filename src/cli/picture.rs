//! `oaktag picture`: a drawing of every piece with its points and edges by name, to look at while a style is written.

use super::args::PictureArgs;
use super::{End, Outcome, disk, people, say};
use oaktag::diag::Finding;
use oaktag::draft::Choices;
use oaktag::{measures, pipeline};

/// `oaktag picture`.
pub fn picture(args: &PictureArgs) -> Outcome {
    let style = people::read_style(&args.style)?;
    let file = args.measures.display().to_string();
    let (mut person, _) = measures::read(&disk::read_text(&args.measures)?, &file)?;
    if args.estimate {
        let needed: Vec<&str> = style.needs.iter().map(|need| need.name.as_str()).collect();
        say::findings(&measures::estimate(&mut person, &needed));
    }
    let drawings = pipeline::step_pictures(&style, &person, &Choices::new())?;
    let mut files: Vec<(String, &[u8])> = Vec::new();
    for (piece, svg) in &drawings {
        let name = format!("{}.svg", disk::file_word(piece));
        if files.iter().any(|(other, _)| *other == name) {
            return Err(Finding::error(format!("two pieces would be drawn in one file, \"{name}\""))
                .hint("rename one of the pieces")
                .into());
        }
        files.push((name, svg.as_bytes()));
    }
    disk::write_all(&args.out, &files)?;
    say::line(&format!("drawn: {} pieces in {}", files.len(), args.out.display()));
    Ok(End::Done)
}
