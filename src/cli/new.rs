//! `oaktag new`: a folder to start from.

use super::args::NewArgs;
use super::{End, Outcome, disk, say};
use oaktag::diag::Finding;

/// The files of a new folder: a style and a person, both ready to edit.
const FILES: [(&str, &str); 2] = [
    ("first.style.kdl", include_str!("new/first.style.kdl")),
    ("first.measures.kdl", include_str!("new/first.measures.kdl")),
];

/// `oaktag new`.
pub fn new(args: &NewArgs) -> Outcome {
    for (name, _) in FILES {
        if args.folder.join(name).exists() {
            return Err(Finding::error(format!("\"{name}\" is there already, and is not written over"))
                .in_file(args.folder.display().to_string())
                .hint("name another folder")
                .into());
        }
    }
    let files: Vec<(String, &[u8])> = FILES.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes())).collect();
    disk::write_all(&args.folder, &files)?;
    let file = |name: &str| args.folder.join(name).display().to_string();
    say::line(&format!("edit: {} and {}", file(FILES[0].0), file(FILES[1].0)));
    say::line(&format!(
        "then: oaktag draft {} --measures {} -o {}",
        file(FILES[0].0),
        file(FILES[1].0),
        file("out")
    ));
    Ok(End::Done)
}
