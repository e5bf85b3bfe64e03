//! `proven.json`: which files of a folder passed their proof.

use super::disk;
use oaktag::diag::Result;
use oaktag::link::Proven;
use oaktag::pipeline::ProvenFile;
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

/// Its text with these files added or renewed; what it says of others in the folder stays.
pub fn with(folder: &Path, files: Vec<Proven>) -> String {
    let others: Vec<Proven> = read(folder);
    let mut all = files;
    let renewed = all.len();
    for other in others {
        if all[..renewed].iter().all(|file| file.file != other.file) {
            all.push(other);
        }
    }
    all.sort_by(|a, b| a.file.cmp(&b.file));
    serde_json::to_string_pretty(&all).unwrap_or_default() + "\n"
}

/// Writes files into a folder, and into its list.
pub fn write(folder: &Path, files: &[ProvenFile]) -> Result<()> {
    let list = with(folder, files.iter().map(Proven::of).collect());
    let mut all: Vec<(String, &[u8])> = files.iter().map(|file| (file.line().file.clone(), file.bytes())).collect();
    all.push((NAME.into(), list.as_bytes()));
    disk::write_all(folder, &all)
}
