//! Files in and out. Written whole or not at all.

use oaktag::diag::{Finding, Result};
use oaktag::pipeline::NamedDevice;
use std::collections::VecDeque;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::thread::JoinHandle;

/// The largest file read, bytes: far over any pieces file or drawing of a whole wardrobe.
const LARGEST: u64 = 256_000_000;

/// Reads a whole file as text.
pub fn read_text(path: &Path) -> Result<String> {
    let bytes = read_bytes(path)?;
    String::from_utf8(bytes).map_err(|e| {
        trouble(path, format!("this file is not text (byte {} is no UTF-8)", e.utf8_error().valid_up_to()))
            .hint("save it as UTF-8 text")
            .into()
    })
}

/// Reads a whole file.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>> {
    let size = fs::metadata(path).map_err(|e| unreadable(path, &e))?.len();
    if size > LARGEST {
        return Err(trouble(path, format!("this file has {size} bytes; the largest read is {LARGEST}")).into());
    }
    fs::read(path).map_err(|e| unreadable(path, &e).into())
}

fn unreadable(path: &Path, error: &std::io::Error) -> Finding {
    let finding = trouble(path, format!("this file can't be read: {}", plain(error)));
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let wanted = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let names: Vec<String> = fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .collect();
    match oaktag::diag::nearest(&wanted, names.iter().map(String::as_str)) {
        Some(name) if name != wanted => finding.hint(format!("did you mean \"{}\"?", folder.join(name).display())),
        _ => finding.hint("check its name and folder"),
    }
}

/// The most files of a folder that are on their way down to the medium at once: each is held open until it is there.
const MOST_SETTLING: usize = 16;

/// Files on their way into a folder: all are first written beside their targets, and put in place together by
/// [`Staged::finish`], in the order in which they were added. Dropped without that, nothing is left behind that was not
/// there before.
pub struct Staged {
    folder: PathBuf,
    /// The topmost folder that had to be made.
    made: Option<PathBuf>,
    parts: Mutex<Vec<(PathBuf, PathBuf)>>,
    /// Files on their way down to the medium itself, which takes milliseconds each: the work goes on meanwhile.
    settling: Mutex<VecDeque<Settling>>,
}

/// A file on its way.
type Settling = JoinHandle<std::io::Result<()>>;

impl Staged {
    /// Nothing yet; the folder is made where it is missing.
    pub fn new(folder: &Path) -> Result<Self> {
        let missing = folder.ancestors().take_while(|above| !above.as_os_str().is_empty() && !above.exists());
        let staged = Self {
            folder: folder.to_owned(),
            made: missing.last().map(Path::to_owned),
            parts: Mutex::new(Vec::new()),
            settling: Mutex::new(VecDeque::new()),
        };
        fs::create_dir_all(folder).map_err(|e| unwritable(folder, &e))?;
        Ok(staged)
    }

    /// Writes a file beside its target.
    pub fn add(&self, name: &str, bytes: &[u8]) -> Result<()> {
        let beside = self.folder.join(format!(".{name}.part"));
        self.parts.lock().unwrap_or_else(PoisonError::into_inner).push((beside.clone(), self.folder.join(name)));
        let write = || {
            let mut file = fs::File::create(&beside)?;
            file.write_all(bytes)?;
            std::thread::Builder::new().spawn(move || file.sync_all())
        };
        let settling = write().map_err(|e| unwritable(&self.folder, &e))?;
        let oldest = {
            let mut all = self.settling.lock().unwrap_or_else(PoisonError::into_inner);
            all.push_back(settling);
            if all.len() > MOST_SETTLING { all.pop_front() } else { None }
        };
        oldest.map_or(Ok(()), |file| self.wait_for(file))
    }

    /// Waits until all of them are safe on the medium, and makes sure that nothing stands in their way: what can be known
    /// before the first is put in place.
    pub fn settle(&self) -> Result<()> {
        let settling = std::mem::take(&mut *self.settling.lock().unwrap_or_else(PoisonError::into_inner));
        settling.into_iter().try_for_each(|file| self.wait_for(file))?;
        let parts = self.parts.lock().unwrap_or_else(PoisonError::into_inner);
        match parts.iter().find(|(_, target)| target.is_dir()) {
            Some((_, target)) => Err(trouble(target, "a folder stands where this file should go".into())
                .hint("move it away, or choose another folder with -o")
                .into()),
            None => Ok(()),
        }
    }

    fn wait_for(&self, file: Settling) -> Result<()> {
        let lost = || std::io::Error::other("it was not written to its end");
        file.join().unwrap_or_else(|_| Err(lost())).map_err(|e| unwritable(&self.folder, &e).into())
    }

    /// Puts all of them in place, once they are [settled](Self::settle).
    pub fn finish(self) -> Result<()> {
        self.settle()?;
        let mut parts = self.parts.lock().unwrap_or_else(PoisonError::into_inner);
        parts
            .iter()
            .try_for_each(|(beside, target)| fs::rename(beside, target))
            .map_err(|e| Box::new(unwritable(&self.folder, &e)))?;
        parts.clear();
        Ok(())
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        let parts = std::mem::take(self.parts.get_mut().unwrap_or_else(PoisonError::into_inner));
        for (beside, _) in &parts {
            let _ = fs::remove_file(beside);
        }
        // Folders made for nothing, from the inside outward; one in which something lies stays.
        if let Some(made) = self.made.as_deref() {
            for folder in self.folder.ancestors().take_while(|above| above.starts_with(made)) {
                let _ = fs::remove_dir(folder);
            }
        }
    }
}

/// Writes files into a folder, whole or not at all.
pub fn write_all(folder: &Path, files: &[(String, &[u8])]) -> Result<()> {
    let staged = Staged::new(folder)?;
    files.iter().try_for_each(|(name, bytes)| staged.add(name, bytes))?;
    staged.finish()
}

/// Writes one file.
pub fn write_one(path: &Path, bytes: &[u8]) -> Result<()> {
    let Some(name) = path.file_name() else {
        return Err(trouble(path, "this is no file name".into()).hint("name a file to write").into());
    };
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    write_all(folder, &[(name.to_string_lossy().into_owned(), bytes)])
}

fn unwritable(path: &Path, error: &std::io::Error) -> Finding {
    trouble(path, format!("nothing can be written here: {}", plain(error)))
        .hint("choose a folder that you may write to, with -o")
}

/// An input error's own words, without the system's number.
fn plain(error: &std::io::Error) -> String {
    let text = error.to_string();
    text.split(" (os error").next().unwrap_or(&text).to_lowercase()
}

fn trouble(path: &Path, message: String) -> Finding {
    Finding::error(message).in_file(path.display().to_string())
}

/// Finds a device: a file, or a short name in `profiles/` of this folder, or one of the built-in profiles.
pub fn device(name: &str) -> Result<(NamedDevice, Vec<Finding>)> {
    let path = Path::new(name);
    if path.extension().is_some_and(|extension| extension == "kdl") || path.is_file() {
        return device_file(path);
    }
    let beside = Path::new(PROFILES).join(format!("{name}.device.kdl"));
    if beside.is_file() {
        return read_device(&beside, name.to_owned());
    }
    if let Some((_, text)) = BUILT_IN.iter().find(|(known, _)| *known == name) {
        return built_in(name, text);
    }
    let known = device_names();
    let known: Vec<&str> = known.iter().map(String::as_str).collect();
    Err(oaktag::source::with_known(Finding::error(format!("there is no device \"{name}\"")), name, &known).into())
}

/// Where a device's profile lies and is written to, and the text that it starts from where it comes with the program.
pub fn profile_place(name: &str) -> Result<(PathBuf, Option<&'static str>)> {
    let path = Path::new(name);
    let beside = Path::new(PROFILES).join(format!("{name}.device.kdl"));
    let found = if path.extension().is_some_and(|extension| extension == "kdl") || path.is_file() {
        path
    } else if beside.is_file() {
        &beside
    } else {
        let text = BUILT_IN.iter().find(|(known, _)| *known == name).map(|(_, text)| *text);
        // Another name is no device: said as wherever one is looked for.
        device(name)?;
        return Ok((beside, text));
    };
    // A link stays a link: what it leads to is written.
    Ok((fs::canonicalize(found).unwrap_or_else(|_| found.to_owned()), None))
}

/// A profile's file.
pub fn device_file(path: &Path) -> Result<(NamedDevice, Vec<Finding>)> {
    read_device(path, short_name(path))
}

/// Every device that has a short name, and the trouble with those that can't be read.
pub fn devices() -> (Vec<NamedDevice>, Vec<Finding>) {
    let (mut devices, mut findings) = (Vec::new(), Vec::new());
    for name in device_names() {
        match device(&name) {
            Ok((device, found)) => {
                devices.push(device);
                findings.extend(found);
            }
            Err(finding) => findings.push(*finding),
        }
    }
    (devices, findings)
}

/// The short names of the profiles in `profiles/` and of the built-in ones, sorted.
fn device_names() -> Vec<String> {
    let mut names: Vec<String> = BUILT_IN.iter().map(|(name, _)| (*name).to_owned()).collect();
    for entry in fs::read_dir(PROFILES).into_iter().flatten().flatten() {
        let file = entry.file_name().to_string_lossy().into_owned();
        names.extend(file.strip_suffix(".device.kdl").map(ToOwned::to_owned));
    }
    names.sort();
    names.dedup();
    names
}

/// The folder that short names are looked up in.
const PROFILES: &str = "profiles";

/// The profiles that come with the program.
const BUILT_IN: [(&str, &str); 12] = [
    ("roll-plotter", include_str!("../../profiles/roll-plotter.device.kdl")),
    ("card-cutter", include_str!("../../profiles/card-cutter.device.kdl")),
    ("roll-pen-plotter", include_str!("../../profiles/roll-pen-plotter.device.kdl")),
    ("old-pen-plotter", include_str!("../../profiles/old-pen-plotter.device.kdl")),
    ("roll-inkjet", include_str!("../../profiles/roll-inkjet.device.kdl")),
    ("home-printer-a4", include_str!("../../profiles/home-printer-a4.device.kdl")),
    ("home-printer-letter", include_str!("../../profiles/home-printer-letter.device.kdl")),
    ("sheet-drag-knife", include_str!("../../profiles/sheet-drag-knife.device.kdl")),
    ("flatbed-tangential", include_str!("../../profiles/flatbed-tangential.device.kdl")),
    ("laser", include_str!("../../profiles/laser.device.kdl")),
    ("interchange", include_str!("../../profiles/interchange.device.kdl")),
    ("projector", include_str!("../../profiles/projector.device.kdl")),
];

fn built_in(name: &str, text: &str) -> Result<(NamedDevice, Vec<Finding>)> {
    let (device, findings) = oaktag::device::read(text, &format!("built-in profile {name}"))?;
    Ok((NamedDevice { name: name.to_owned(), device }, findings))
}

fn read_device(path: &Path, name: String) -> Result<(NamedDevice, Vec<Finding>)> {
    let text = read_text(path)?;
    let (device, findings) = oaktag::device::read(&text, &path.display().to_string())?;
    Ok((NamedDevice { name, device }, findings))
}

fn short_name(path: &Path) -> String {
    let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    file_word(name.trim_end_matches(".kdl").trim_end_matches(".device"))
}

/// A name as a file name: lower case, words joined by hyphens, letters and digits of any script.
pub fn file_word(name: &str) -> String {
    let mut word = String::new();
    for c in name.chars().flat_map(char::to_lowercase) {
        if c.is_alphanumeric() {
            word.push(c);
        } else if !word.is_empty() && !word.ends_with('-') {
            word.push('-');
        }
    }
    let word = word.trim_end_matches('-');
    if word.is_empty() { "unnamed".into() } else { word.chars().take(60).collect() }
}
