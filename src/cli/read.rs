//! `oaktag read`: drawings of other programs as pieces.

use super::args::ReadArgs;
use super::{End, Outcome, disk, say};
use kurbo::Affine;
use oaktag::diag::{Finding, Result};
use oaktag::piece::json;
use oaktag::read::{self, NamedDrawing, pieces};
use oaktag::units::INCH;
use std::path::PathBuf;

/// Runs the command.
pub fn read(args: &ReadArgs) -> Outcome {
    let file = args.file.display().to_string();
    let bytes = disk::read_bytes(&args.file)?;
    let ending = args.file.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    let (mut drawing, findings) = match ending.as_str() {
        "svg" => read::named_svg(&bytes, &file)?,
        "dxf" => read::named_dxf(&bytes, &file)?,
        _ => {
            return Err(Finding::error("pieces are read from SVG and DXF only")
                .hint("save the drawing as SVG or as DXF text")
                .in_file(file)
                .into());
        }
    };
    say::findings(&read::made_for_a_machine(&bytes, &file));
    let scale = scale(args, &ending, &drawing, &file)?;
    // A unit that was asked for and answered is no longer worth a warning.
    let answered = (args.unit.is_some() || args.dpi.is_some()) && (!drawing.to_scale || drawing.guessed.is_some());
    let worth = |finding: &&Finding| !answered || !finding.message.contains("unit");
    say::findings(&findings.iter().filter(worth).cloned().collect::<Vec<_>>());
    if (scale - 1.0).abs() > f64::EPSILON {
        for bare in &mut drawing.drawing.paths {
            bare.path.apply_affine(Affine::scale(scale));
        }
        for note in &mut drawing.notes {
            note.at = Affine::scale(scale) * note.at;
        }
    }
    let names = match names_file(args) {
        Some(path) => pieces::read_names(&disk::read_text(&path)?, &path.display().to_string())?,
        None => pieces::Names::default(),
    };
    let understood = pieces::understand(&drawing, &names, args.join, &file)?;
    say::findings(&understood.findings);
    // What was read must be readable by every other command.
    let text = json::write(&understood.set);
    json::read(&text, &file)?;
    let account = pieces::account(&understood);
    if let Some(path) = &args.out {
        disk::write_one(path, text.as_bytes())?;
        say::data(&account)?;
    } else {
        say::line(account.trim_end());
        say::data(&text)?;
    }
    Ok(End::Done)
}

/// The file of names: the one that is given, or one beside the drawing.
fn names_file(args: &ReadArgs) -> Option<PathBuf> {
    let beside = args.file.with_extension("names.kdl");
    args.names.clone().or_else(|| beside.is_file().then_some(beside))
}

/// What lengths are multiplied by: 1 where the file says its unit, else as the user says. Asked, never guessed.
fn scale(args: &ReadArgs, ending: &str, drawing: &NamedDrawing, file: &str) -> Result<f64> {
    let wanted = args.unit.as_deref().map(millimetres).transpose()?;
    if let (Some(guessed), Some(wanted)) = (drawing.guessed, wanted) {
        return Ok(wanted / guessed);
    }
    if drawing.to_scale {
        if args.dpi.is_some() || args.unit.is_some() {
            say::findings(&[Finding::warning("the file says its unit: --dpi and --unit were not used").in_file(file)]);
        }
        return Ok(1.0);
    }
    if ending == "svg" {
        return match args.dpi {
            Some(dpi) => Ok(96.0 / f64::from(dpi)),
            None => Err(Finding::error("this drawing does not say how long its units are: 96, 90 or 72 to the inch?")
                .hint(format!(
                    "say --dpi 96 (browsers and most programs of today), 90 (some before 2016) or 72 (many print programs); \
                     at 96 the drawing is {}, at 72 {}",
                    size(drawing, 1.0),
                    size(drawing, 96.0 / 72.0)
                ))
                .in_file(file)
                .into()),
        };
    }
    match wanted {
        Some(wanted) => Ok(wanted),
        None => Err(Finding::error("this drawing does not say its unit")
            .hint(format!(
                "say --unit mm, cm or in; in millimetres the drawing is {}, in inches {}",
                size(drawing, 1.0),
                size(drawing, INCH)
            ))
            .in_file(file)
            .into()),
    }
}

/// Millimetres in a unit that the user names.
fn millimetres(unit: &str) -> Result<f64> {
    match unit {
        "mm" => Ok(1.0),
        "cm" => Ok(10.0),
        "in" => Ok(INCH),
        other => Err(Finding::error(format!("\"{other}\" is no unit")).hint("--unit mm, cm or in").into()),
    }
}

/// The drawing's size at a scale, in words.
fn size(drawing: &NamedDrawing, scale: f64) -> String {
    use kurbo::Shape;
    let boxes = drawing.drawing.paths.iter().map(|bare| bare.path.bounding_box());
    let whole = boxes.reduce(|a, b| a.union(b)).unwrap_or_default();
    let inches = |mm: f64| oaktag::units::trimmed(mm * scale / INCH, 1);
    format!("{} × {} in", inches(whole.width()), inches(whole.height()))
}
