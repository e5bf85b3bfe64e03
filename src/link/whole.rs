//! Links that take a file whole: a print queue, a folder.

use crate::device::Language;
use crate::diag::{Finding, Result};
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Gives bytes to the system's print queue by `lp`; what it answers. A machine's own language goes through as it is, a
/// page at its true size.
///
/// # Errors
/// There is no `lp`, or it refuses.
pub fn to_queue(queue: &str, title: &str, bytes: &[u8], language: Language) -> Result<String> {
    let as_it_is = if language.drives_a_machine() { "raw" } else { "print-scaling=none" };
    let trouble = |what: String| Finding::error(what).hint("see whether the queue is there and takes jobs: lpstat -p");
    let mut child = Command::new("lp")
        .args(["-d", queue, "-t", title, "-o", as_it_is])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| trouble(format!("the print queue's \"lp\" can't be started: {e}")))?;
    let written = child.stdin.take().map_or(Ok(()), |mut stdin| stdin.write_all(bytes));
    let output = child.wait_with_output().map_err(|e| trouble(format!("the print queue did not answer: {e}")))?;
    if !output.status.success() {
        let said = String::from_utf8_lossy(&output.stderr).trim().to_owned();
        return Err(trouble(format!("the print queue \"{queue}\" refused the job: {said}")).into());
    }
    written.map_err(|e| trouble(format!("the print queue took only part of the job: {e}")))?;
    Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
}

/// Puts bytes into a folder under a name, whole or not at all: whoever watches the folder never sees half a file.
///
/// # Errors
/// There is no such folder; another file of that name lies there, unless `over`; it can't be written.
pub fn to_folder(folder: &Path, name: &str, bytes: &[u8], over: bool) -> Result<PathBuf> {
    let trouble = |what: String| Finding::error(what).in_file(folder.display().to_string());
    if !folder.is_dir() {
        return Err(trouble("there is no such folder".into())
            .hint("put the card in, or mount it, and try again")
            .into());
    }
    let target = folder.join(name);
    if !over && target.exists() && fs::read(&target).is_ok_and(|there| there != bytes) {
        let finding = trouble(format!("another file called {name} lies there already"));
        return Err(finding.hint("take it away first, or write over it with --again").into());
    }
    let beside = folder.join(format!(".{name}.part"));
    let written = (|| {
        let mut file = File::create(&beside)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        fs::rename(&beside, &target)
    })();
    written.map_err(|e| {
        let _ = fs::remove_file(&beside);
        trouble(format!("it can't be written there: {e}")).hint("see whether there is room, and leave to write")
    })?;
    Ok(target)
}
