//! `oaktag device`: the profiles, listed, checked, explained.

use super::args::{DeviceArgs, DeviceCommand};
use super::{End, Outcome, disk, record, say};
use oaktag::device::{self, Device, MediumKind};
use oaktag::diag::{Finding, Severity};
use oaktag::pipeline::NamedDevice;
use oaktag::units::trimmed;
use serde::Serialize;
use std::path::Path;

/// `oaktag device`.
pub fn device(args: &DeviceArgs) -> Outcome {
    match &args.command {
        None => list(args.json),
        Some(DeviceCommand::List { json }) => list(args.json || *json),
        Some(DeviceCommand::Check { file, json }) => check(file, args.json || *json),
        Some(DeviceCommand::Explain { name, json }) => explain(name, args.json || *json),
        Some(DeviceCommand::History { name, json }) => record::history(name, args.json || *json),
        Some(DeviceCommand::Back { name, medium, date }) => record::back(name, medium.as_deref(), date.as_deref()),
    }
}

/// One line of the list.
#[derive(Serialize)]
struct Row {
    name: String,
    kind: &'static str,
    language: &'static str,
    media: Vec<String>,
    description: String,
}

fn list(json: bool) -> Outcome {
    let (devices, troubles) = disk::devices();
    let rows: Vec<Row> = devices.iter().map(row).collect();
    if json {
        say::data(&as_json(&rows))?;
    } else {
        let width = |cell: fn(&Row) -> &str| rows.iter().map(|row| cell(row).chars().count()).max().unwrap_or(0);
        let (name, kind) = (width(|row| &row.name), width(|row| row.kind));
        for row in &rows {
            let media = row.media.join("; ");
            say::data(&format!("{:name$}  {:kind$}  {:5}  {media}\n", row.name, row.kind, row.language))?;
        }
    }
    let spoilt = !troubles.is_empty();
    say::findings(&troubles);
    Ok(if spoilt { End::Held } else { End::Done })
}

fn row(named: &NamedDevice) -> Row {
    let device = &named.device;
    Row {
        name: named.name.clone(),
        kind: device::kind(device),
        language: device.language.name(),
        media: media(device),
        description: device.name.clone(),
    }
}

/// Each medium in a few words.
fn media(device: &Device) -> Vec<String> {
    device
        .media
        .iter()
        .map(|medium| {
            let name = &medium.name;
            match (medium.pages, medium.kind) {
                (Some(pages), _) => {
                    format!("{name}: pages {} × {} mm", trimmed(pages.width, 1), trimmed(pages.height, 1))
                }
                (None, MediumKind::Roll { width, longest }) => {
                    format!("{name}: roll {} mm, to {} mm", trimmed(width, 1), trimmed(longest, 1))
                }
                (None, MediumKind::Sheet { width, height }) => {
                    format!("{name}: sheet {} × {} mm", trimmed(width, 1), trimmed(height, 1))
                }
            }
        })
        .collect()
}

/// What `check --json` prints.
#[derive(Serialize)]
struct Checked<'a> {
    device: &'a Device,
    findings: &'a [Finding],
}

fn check(file: &Path, json: bool) -> Outcome {
    let (named, mut findings) = disk::device_file(file)?;
    findings
        .extend(device::check(&named.device).into_iter().map(|finding| finding.in_file(file.display().to_string())));
    if json {
        say::data(&as_json(&Checked { device: &named.device, findings: &findings }))?;
    } else {
        say::data(&format!("{}: reads as a {}\n", file.display(), device::kind(&named.device)))?;
    }
    say::findings(&findings);
    let held = findings.iter().any(|finding| finding.severity >= Severity::Breach);
    Ok(if held { End::Held } else { End::Done })
}

fn explain(name: &str, json: bool) -> Outcome {
    let (named, findings) = disk::device(name)?;
    say::findings(&findings);
    let lines = device::explain(&named.device);
    if json {
        say::data(&as_json(&lines))?;
    } else {
        say::data(&(lines.join("\n") + "\n"))?;
    }
    Ok(End::Done)
}

fn as_json(value: &impl Serialize) -> String {
    serde_json::to_string_pretty(value).unwrap_or_default() + "\n"
}
