//! What a file says of its own making, where this program made it. It warns, and moves no line: a proof ignores it.

use crate::diag::Finding;

/// Where a file's own words stand: its title and its stamp are among its first lines.
const HEAD: usize = 4096;

/// What the title of a sheet at a quarter of the size says between style and person.
const SMALLER: &str = ", quarter scale, ";

/// A file that `make` wrote for a machine which was corrected holds lengths that are not the pieces' own, and so does a
/// sheet at a smaller scale. Warnings of that, for the reader of an SVG's `<title>` and `<desc>` or a DXF's comments.
pub fn made_for_a_machine(bytes: &[u8], file: &str) -> Vec<Finding> {
    let head = String::from_utf8_lossy(&bytes[..bytes.len().min(HEAD)]).into_owned();
    let bare = |line| str::trim(line).trim_start_matches("<title>").trim_start_matches("<desc>");
    let lines = || head.lines().map(bare);
    let stamp = |line: &&str| line.starts_with("correction ") && line.contains(": x ") && line.contains(", y ");
    let warning = |message: String| {
        let hint = "read the pieces' own file (*.pieces.json), or have them made for \"interchange\"";
        Finding::warning(message).hint(hint).in_file(file)
    };
    let mut findings = Vec::new();
    let corrected = lines().find(stamp);
    if let Some(stamp) = corrected {
        let stamp = stamp.split(';').next().unwrap_or(stamp);
        let message = format!("this file was made for one machine: all sizes in it hold that machine's {stamp}");
        findings.push(warning(message));
    }
    let ours = corrected.is_some() || lines().any(|line| line.starts_with("not calibrated"));
    if ours && lines().any(|line| line.contains(SMALLER)) {
        findings.push(warning("this file is a sheet at a quarter of the size: so is all that is read from it".into()));
    }
    findings
}
