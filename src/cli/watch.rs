//! `oaktag draft --watch`: drafts again whenever a file is saved.

use super::args::DraftArgs;
use super::{Outcome, say};
use std::path::PathBuf;
use std::time::{Duration, SystemTime};

/// How often the files are looked at: short enough that a saved file is drawn within a tenth of a second.
const PAUSE: Duration = Duration::from_millis(25);

/// Runs a command now and after every change of its files, until it is interrupted.
pub fn watch(args: &DraftArgs, run: impl Fn(&DraftArgs) -> Outcome) -> Outcome {
    let files: Vec<&PathBuf> = std::iter::once(&args.from.source).chain(&args.from.measures).collect();
    loop {
        let before = stamps(&files);
        // A file half written or with a slip in it is said, and looked at again when it changes.
        match run(args) {
            Ok(_) => say::line("waiting for the next save; stop with Ctrl+C"),
            Err(finding) => say::findings(&[*finding]),
        }
        while stamps(&files) == before {
            std::thread::sleep(PAUSE);
        }
    }
}

/// Size and time of every file; editors that save to a new file and rename it change them too.
fn stamps(files: &[&PathBuf]) -> Vec<Option<(u64, Option<SystemTime>)>> {
    files.iter().map(|file| std::fs::metadata(file).ok().map(|data| (data.len(), data.modified().ok()))).collect()
}
