//! `oaktag lay`: cloth to buy, and the lays drawn.

use super::args::LayArgs;
use super::{End, Outcome, disk, people, say};
use oaktag::cloth::{self, Cloth, Way};
use oaktag::diag::{Finding, Severity};
use oaktag::lay::search::Budget;
use oaktag::piece::PieceSet;
use oaktag::pipeline;
use oaktag::report::{self, ClothLine};

/// Threads of the search: as many on every machine, so that the same lay comes of it.
const THREADS: usize = 2;

/// Runs the command.
pub fn lay(args: &LayArgs) -> Outcome {
    if args.seconds.is_some_and(|seconds| !(seconds > 0.0 && seconds <= 86_400.0)) || args.trials == 0 {
        let finding = Finding::error("the search has no time: --seconds is between 0 and a day, --trials 1 or more");
        return Err(finding.into());
    }
    let walked = people::load(&args.from)?.into_iter().map(|person| person.walked).collect::<Result<Vec<_>, _>>()?;
    let sets: Vec<&PieceSet> = walked.iter().map(|walked| &walked.set).collect();
    let mut end = End::Done;
    for walked in &walked {
        say::findings(&walked.findings);
        if !args.from.anyway && walked.findings.iter().any(|finding| finding.severity >= Severity::Breach) {
            end = End::Held;
        }
    }
    if end == End::Held {
        say::line("held back: put these right, or say --anyway");
        return Ok(end);
    }
    let given = !args.cloth.is_empty();
    let budget =
        Budget { evaluations: args.trials, seconds: args.seconds, threads: THREADS, seed: args.seed, enough: 0.0 };
    let mut lines: Vec<ClothLine> = Vec::new();
    let mut drawings: Vec<(String, String)> = Vec::new();
    for cloth in cloths(args, &sets)? {
        match pipeline::lay_on_cloth(&sets, &cloth, &budget, &mut |_| true) {
            Ok((lay, findings)) => {
                say::findings(&findings);
                if !args.from.anyway && findings.iter().any(|finding| finding.severity >= Severity::Breach) {
                    end = End::Held;
                }
                let line = ClothLine::new(&lay, &cloth);
                let name = disk::file_word(&format!("lay {} {}", cloth.name, line.width));
                drawings.push((format!("{name}.svg"), report::cloth_svg(&lay, &cloth)));
                lines.push(line);
            }
            // Of a table of widths some may be too narrow.
            Err(finding) if !given && finding.message.contains("wide across") => {
                lines.push(ClothLine::too_narrow(&cloth, &finding));
            }
            Err(finding) => return Err(finding),
        }
    }
    if let Some(out) = &args.out {
        let files: Vec<(String, &[u8])> = drawings.iter().map(|(name, text)| (name.clone(), text.as_bytes())).collect();
        disk::write_all(out, &files)?;
    }
    if args.json {
        say::data(&(serde_json::to_string_pretty(&lines).unwrap_or_default() + "\n"))?;
    } else {
        say::data(&report::cloth_text(&lines))?;
    }
    Ok(end)
}

/// The cloths of the files, or plain ones of all widths for every cloth that is cut from.
fn cloths(args: &LayArgs, sets: &[&PieceSet]) -> oaktag::diag::Result<Vec<Cloth>> {
    let mut cloths = Vec::new();
    for path in &args.cloth {
        cloths.push(cloth::read(&disk::read_text(path)?, &path.display().to_string())?);
    }
    if cloths.is_empty() {
        let mut names: Vec<&str> = Vec::new();
        for piece in sets.iter().flat_map(|set| &set.pieces) {
            if !names.contains(&&*piece.cut.cloth) {
                names.push(&piece.cut.cloth);
            }
        }
        let unit = sets.first().map_or(oaktag::units::Unit::Inch, |set| set.unit);
        for name in names {
            for width in cloth::shop_widths(unit) {
                let way = if args.nap { Way::One } else { Way::Either };
                cloths.push(Cloth { folded: args.folded, way, ..Cloth::plain(name, width, unit) });
            }
        }
    }
    Ok(cloths)
}
