//! Corrections into a profile and out of it: recorded whole or not at all, shown, taken back.

use super::{End, Outcome, disk, say};
use oaktag::device::{self, Correction, Device};
use oaktag::diag::{Finding, Result};
use oaktag::units::trimmed;
use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// How long another writer is waited for.
const PATIENCE: Duration = Duration::from_secs(10);

/// Today by this computer's clock (UTC), as in 2026-10-02.
pub fn today() -> String {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    device::date_of((seconds / 86_400) as i64)
}

/// The date that was given, or today.
pub fn date_or_today(date: Option<&str>) -> Result<String> {
    let Some(date) = date else { return Ok(today()) };
    if device::day_number(date).is_none() {
        let finding = Finding::error(format!("\"{date}\" is not a date such as 2026-10-02"));
        return Err(finding.hint("year, month, day").into());
    }
    Ok(date.into())
}

/// Puts a correction, made from the profile as it is at that moment, at the end of a device's profile; gives the file
/// and the correction. A profile that comes with the program is first copied into `profiles/`.
///
/// One writer at a time: a lock beside the profile is held from reading to renaming. The new text is written to another
/// file, brought to the disk and put in the old one's place in one step, so that whoever reads sees the old profile or the
/// new one, and a kill or a power cut leaves one of the two.
pub fn record(name: &str, make: impl Fn(&Device) -> Result<Correction>) -> Result<(PathBuf, Correction)> {
    let (path, built_in) = disk::profile_place(name)?;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let trouble = |what: &str, error: &std::io::Error| {
        let message = format!("the correction was not recorded: {what}: {error}");
        Finding::error(message).in_file(path.display().to_string()).hint("nothing was changed; try again")
    };
    fs::create_dir_all(folder).map_err(|e| trouble("its folder can't be made", &e))?;
    let file_name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let _lock = lock(&folder.join(format!(".{file_name}.lock")), &path)?;
    let text = match built_in {
        Some(text) if !path.exists() => text.to_owned(),
        _ => disk::read_text(&path)?,
    };
    let shown = path.display().to_string();
    let correction = make(&device::read(&text, &shown)?.0)?;
    let longer = device::with_correction(&text, &shown, &correction)?;
    let beside = folder.join(format!(".{file_name}.part"));
    let written = (|| {
        let mut file = File::create(&beside)?;
        file.write_all(longer.as_bytes())?;
        file.sync_all()?;
        if let Ok(before) = fs::metadata(&path) {
            fs::set_permissions(&beside, before.permissions())?;
        }
        fs::rename(&beside, &path)?;
        // The folder too, or a power cut may undo the renaming.
        File::open(folder)?.sync_all()
    })();
    written.map_err(|e| trouble("it can't be written", &e))?;
    Ok((path, correction))
}

/// A lock file, removed when it is dropped where that can be told by who waits for it. A kill leaves the file, and nobody
/// holds it: whoever comes next takes it.
struct Lock {
    #[cfg(unix)]
    path: PathBuf,
    /// The system lets go of it when the program ends, however it ends.
    _file: File,
}

#[cfg(unix)]
impl Drop for Lock {
    fn drop(&mut self) {
        // While it is still held: so nobody holds another file of this name.
        let _ = fs::remove_file(&self.path);
    }
}

/// Waits for the lock.
fn lock(path: &Path, profile: &Path) -> Result<Lock> {
    let trouble = |what: String| Finding::error(what).in_file(profile.display().to_string());
    let mut waited = Duration::ZERO;
    let pause = Duration::from_millis(20);
    loop {
        let file = File::create(path).map_err(|e| {
            trouble(format!("nothing can be written beside this profile: {e}")).hint("copy it to a folder of your own")
        })?;
        // A file that was removed by whoever held it before is nobody's lock: the next is made anew.
        if file.try_lock().is_ok() && is_at(&file, path) {
            return Ok(Lock {
                #[cfg(unix)]
                path: path.into(),
                _file: file,
            });
        }
        if waited >= PATIENCE {
            return Err(trouble("another oaktag is writing this profile".into())
                .hint("try again when it is done")
                .into());
        }
        std::thread::sleep(pause);
        waited += pause;
    }
}

/// Whether an open file is still the one of that name.
#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let number = |metadata: fs::Metadata| (metadata.dev(), metadata.ino());
    file.metadata().ok().map(number) == fs::metadata(path).ok().map(number)
}

/// Elsewhere it is never removed.
#[cfg(not(unix))]
fn is_at(_: &File, _: &Path) -> bool {
    true
}

/// `oaktag device history`.
pub fn history(name: &str, json: bool) -> Outcome {
    let (named, findings) = disk::device(name)?;
    say::findings(&findings);
    let device = &named.device;
    if json {
        say::data(&(serde_json::to_string_pretty(&device.corrections).unwrap_or_default() + "\n"))?;
    } else {
        for medium in &device.media {
            let in_force = device.correction(&medium.name);
            let own: Vec<&Correction> = device.corrections.iter().filter(|c| c.medium == medium.name).collect();
            if own.is_empty() {
                say::data(&format!("{}: never measured\n", medium.name))?;
            }
            for correction in own {
                let here = in_force.is_some_and(|other| std::ptr::eq(other, correction));
                say::data(&line(correction, here))?;
            }
        }
    }
    say::findings(&device::stale(device, &today()));
    Ok(End::Done)
}

/// A correction as people read it.
fn line(correction: &Correction, in_force: bool) -> String {
    let Correction { date, medium, x, y, skew, sure, feed, back_to, readings, on } = correction;
    let metre = |scale: f64| {
        let off = (scale - 1.0) * 1000.0;
        format!("{} mm {}", trimmed(off.abs(), 2), if off < 0.0 { "short" } else { "long" })
    };
    let mut parts = vec![format!(
        "{date}  {medium}: in a metre {} along x, {} along y, {} mm of lean",
        metre(*x),
        metre(*y),
        trimmed(skew * 1000.0, 2)
    )];
    parts.extend(sure.map(|sure| format!("sure to ±{}", trimmed(sure.x.max(sure.y).max(sure.skew) * 1000.0, 2))));
    parts.extend((!feed.is_empty()).then(|| format!("feed in {} spans", feed.len())));
    parts.extend((!on.is_empty()).then(|| format!("on {on}")));
    parts.extend(match back_to.as_str() {
        "" => None,
        "none" => Some("back to no correction".into()),
        date => Some(format!("back to that of {date}")),
    });
    let mark = if in_force { "  (in force)" } else { "" };
    let readings: Vec<String> = readings
        .iter()
        .map(|reading| format!("            {}: {}\n", reading.name, reading.values.join(", ")))
        .collect();
    format!("{}{mark}\n{}", parts.join("; "), readings.concat())
}

/// `oaktag device back`.
pub fn back(name: &str, medium: Option<&str>, date: Option<&str>) -> Outcome {
    let date = date_or_today(date)?;
    let chosen = |device: &Device| {
        let first = device.media.first().map(|medium| medium.name.clone()).unwrap_or_default();
        medium.map_or(first, ToOwned::to_owned)
    };
    let (path, correction) = record(name, |device| device.back(&chosen(device), &date))?;
    let to = match correction.back_to.as_str() {
        "none" => "no correction".to_owned(),
        earlier => format!("the correction of {earlier}"),
    };
    say::line(&format!("{}: on {} back to {to}; what was recorded stays", path.display(), correction.medium));
    not_newest(name, &correction)?;
    Ok(End::Done)
}

/// Says so where a correction was recorded under a day before the newest, and so is not in force.
pub fn not_newest(name: &str, correction: &Correction) -> Result<()> {
    let (named, _) = disk::device(name)?;
    match named.device.correction(&correction.medium) {
        Some(newest) if newest.date != correction.date => {
            let message = format!(
                "it was recorded under {}, and that of {} is newer: the newer one stays in force",
                correction.date, newest.date
            );
            say::findings(&[Finding::warning(message).hint("record it under a later day: --date")]);
        }
        _ => {}
    }
    Ok(())
}
