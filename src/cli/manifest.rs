//! `proven.json`: which files of a folder passed their proof.

use super::{disk, say};
use oaktag::calibrate::stamp_text;
use oaktag::device::Device;
use oaktag::diag::{Finding, Result};
use oaktag::link::Proven;
use oaktag::pipeline::{NamedDevice, ProvenFile};
use std::path::Path;

/// Its name.
pub const NAME: &str = "proven.json";

/// What it says of a folder's files; nothing where it is missing or spoilt, so that they count as not proven.
pub fn read(folder: &Path) -> Vec<Proven> {
    let path = folder.join(NAME);
    if !path.is_file() {
        return Vec::new();
    }
    disk::read_text(&path).ok().and_then(|text| serde_json::from_str(&text).ok()).unwrap_or_default()
}

/// What the list beside a file says of it.
pub fn of(file: &Path) -> Option<Proven> {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    read(folder).into_iter().find(|proven| proven.file == name)
}

/// That a file was made through another correction than the one in force, if it was. A test square is right without.
pub fn other_correction(proven: &Proven, device: &Device) -> Option<String> {
    let stamp = stamp_text(device.correction(&proven.medium));
    let other = !proven.stamp.is_empty() && proven.stamp != stamp;
    other.then(|| format!("this file was made with \"{}\", and the profile now says \"{stamp}\"", proven.stamp))
}

/// Its text with these files added or renewed; what it says of other devices' files in the folder stays. What an earlier
/// job wrote for one of these `devices` and this one did not is left out and told: its sheets do not go with the new ones.
pub fn with(folder: &Path, files: Vec<Proven>, devices: &[NamedDevice]) -> (String, Vec<Finding>) {
    let mut all = files;
    let mut stale: Vec<String> = Vec::new();
    let renewed = all.len();
    for other in read(folder) {
        let of = |named: &NamedDevice| named.device.name == other.device && named.names(&other.file);
        if all[..renewed].iter().any(|file| file.file == other.file) {
            continue;
        }
        if devices.iter().any(of) {
            stale.push(other.file);
        } else {
            all.push(other);
        }
    }
    all.sort_by(|a, b| a.file.cmp(&b.file));
    let text = serde_json::to_string_pretty(&all).unwrap_or_default() + "\n";
    (text, earlier(folder, &stale))
}

/// Says that files are of an earlier job.
fn earlier(folder: &Path, stale: &[String]) -> Vec<Finding> {
    let there = stale.iter().filter(|file| folder.join(file).is_file());
    there
        .map(|file| {
            Finding::warning("this file belongs to an earlier job, and no longer counts as proven")
                .in_file(folder.join(file).display().to_string())
                .hint("delete it, or move it to a folder of its own: it does not go with the files made now")
        })
        .collect()
}

/// Writes files into a folder, and into its list. `devices` are those that they are all the files of.
pub fn write(folder: &Path, files: &[ProvenFile], devices: &[NamedDevice]) -> Result<()> {
    let (list, stale) = with(folder, files.iter().map(Proven::of).collect(), devices);
    let mut all: Vec<(String, &[u8])> = files.iter().map(|file| (file.line().file.clone(), file.bytes())).collect();
    all.push((NAME.into(), list.as_bytes()));
    disk::write_all(folder, &all)?;
    say::findings(&stale);
    Ok(())
}
