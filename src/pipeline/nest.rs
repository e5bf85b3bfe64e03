//! A size run, or everybody's pieces, laid over one another in one file.

use super::files::Said;
use super::marking::{Manner, marked};
use super::{Laying, NamedDevice, ProvenFile, Walked, WrittenSheet};
use super::{cut, gather, lay_for, never_measured, write_sheet};
use crate::allow::CutPiece;
use crate::device::{Device, Notches, Sequence, Tool, ToolKind};
use crate::diag::{Finding, Result};
use crate::geom::dash::MOST_SIZES;
use crate::lay::{Sheet, nest::spread};
use crate::mark::MarkedPiece;
use crate::mark::nest::{self, Lines};
use crate::piece::PieceSet;
use crate::proof::Proof;
use crate::role::Role;
use crate::text::ascii;

/// What came of a nest.
#[derive(Clone, Debug)]
pub struct Nested {
    /// The files, each proven.
    pub files: Vec<ProvenFile>,
    /// Files that failed their proof, and are held back: name and reasons.
    pub failed: Vec<(String, Proof)>,
    /// What was found.
    pub findings: Vec<Finding>,
}

/// Lays the pieces of the same name of several people or sizes over one another, at the point that their drafts start
/// from, for every device. The sizes are numbered in the order in which they come.
///
/// # Errors
/// Fewer than two sizes or more than can be told apart, two of one name, a device that would cut them, and all that
/// [`super::make`] refuses.
pub fn nest(people: &[Walked], devices: &[NamedDevice], laying: &Laying) -> Result<Nested> {
    let sizes: Vec<String> = people.iter().map(|walked| walked.set.person.clone()).collect();
    can_nest(&sizes, devices)?;
    let mut findings = Vec::new();
    let mut cuts: Vec<Vec<CutPiece>> = Vec::with_capacity(people.len());
    for walked in people {
        cuts.push(cut(&walked.set)?.0);
    }
    let (mut files, mut failed) = (Vec::new(), Vec::new());
    for named in devices {
        // Tool by tool, so that each size has one layer for each role.
        let device = Device { sequence: Sequence::ToolByTool, ..named.device.clone() };
        let named = NamedDevice { name: named.name.clone(), device };
        let (written, found) = on_device(people, &cuts, &sizes, &named, laying)?;
        for finding in found {
            if !findings.iter().any(|known: &Finding| known.message == finding.message && known.piece == finding.piece)
            {
                findings.push(finding);
            }
        }
        for (file, proof) in written {
            if proof.passed {
                files.push(file);
            } else {
                failed.push((file.line().file.clone(), proof));
            }
        }
    }
    Ok(Nested { files, failed, findings })
}

/// Whether these sizes can be laid over one another for these devices; known before anything is drafted or written.
///
/// # Errors
/// Fewer than two sizes or more than can be told apart, two of one name, also as a file in 7-bit ASCII says it, and a device
/// that would cut them out.
pub fn can_nest(sizes: &[String], devices: &[NamedDevice]) -> Result<()> {
    let cuts = |tool: &Tool| tool.kind == ToolKind::Knife && tool.roles.contains(&Role::Cut);
    if let Some(named) = devices.iter().find(|named| named.device.tools.iter().any(cuts)) {
        let message = format!("\"{}\" would cut sizes out that lie over one another", named.device.name);
        return Err(Finding::error(message).hint("nest for a device that draws its cut lines").into());
    }
    if !(2..=MOST_SIZES).contains(&sizes.len()) {
        let message = format!("{} sizes can't be laid over one another", sizes.len());
        let hint = format!("give two or more, and no more than {MOST_SIZES}: more line types are not told apart");
        return Err(Finding::error(message).hint(hint).into());
    }
    let pairs = || sizes.iter().enumerate().flat_map(|(index, name)| sizes[..index].iter().map(move |a| (a, name)));
    if let Some((name, _)) = pairs().find(|(a, b)| a == b) {
        return Err(Finding::error(format!("two sizes are called \"{name}\"")).hint("name each once").into());
    }
    let plain = |name: &str| ascii(name).0.trim().to_owned();
    if let Some(named) = devices.iter().find(|named| named.device.language.is_for_exchange())
        && let Some((a, b)) = pairs().find(|(a, b)| plain(a) == plain(b))
    {
        let plain = plain(a);
        let message = format!("\"{}\" writes 7-bit ASCII, where \"{a}\" and \"{b}\" are both \"{plain}\"", named.name);
        let hint = "give one of them another name in Latin letters, such as a number behind it";
        return Err(Finding::error(message).hint(hint).into());
    }
    Ok(())
}

/// Files with their proofs.
type Proven = Vec<(ProvenFile, Proof)>;

fn on_device(
    people: &[Walked],
    cuts: &[Vec<CutPiece>],
    sizes: &[String],
    named: &NamedDevice,
    laying: &Laying,
) -> Result<(Proven, Vec<Finding>)> {
    let device = &named.device;
    let manner = Manner { bare: true, notches: Notches::Drawn, ..Manner::of(device) };
    let mut findings = Vec::new();
    let mut bare: Vec<MarkedPiece> = Vec::new();
    for (walked, cut) in people.iter().zip(cuts) {
        // What there is to say of single pieces, each person's own files say.
        bare.extend(marked(&walked.set, cut, &manner, laying.font)?.0);
    }
    let lines = match device.language {
        language if language.is_for_exchange() => Lines::Blocks,
        language if language.drives_a_machine() => Lines::Dashes,
        _ => Lines::Typed,
    };
    let mut names: Vec<&str> = Vec::new();
    for piece in &bare {
        if !names.contains(&&*piece.name) {
            names.push(&piece.name);
        }
    }
    let (nests, found) = gather(&names, |name| {
        let of = |person: &String| bare.iter().find(|piece| piece.name == **name && piece.person == *person);
        let own: Vec<(usize, &MarkedPiece)> =
            sizes.iter().enumerate().filter_map(|(index, person)| Some((index + 1, of(person)?))).collect();
        nest::nest(&own, &people[0].set.style, lines, laying.font.map(AsRef::as_ref))
    })?;
    findings.extend(found);
    let whole: Vec<MarkedPiece> = nests.iter().map(|nest| nest.marked.clone()).collect();
    let (sheets, found) = lay_for(device, &whole, &laying.budget)?;
    findings.extend(found);
    findings.extend(never_measured(device, &sheets));
    let sheets: Vec<Sheet> = sheets.iter().map(|sheet| spread(sheet, &nests, sizes)).collect::<Result<_>>()?;
    let first = &people[0].set;
    let set = PieceSet { person: sizes.join(", "), pieces: Vec::new(), joins: Vec::new(), ..first.clone() };
    let said = Said { style: &first.style, person: &first.person, imprint: laying.imprint, marked: &bare };
    let count = sheets.len();
    let numbered: Vec<(usize, Sheet)> = sheets.into_iter().enumerate().collect();
    let (written, found) = gather(&numbered, |(index, sheet)| {
        let (WrittenSheet { file, proof, .. }, findings) = write_sheet(&set, named, sheet, [*index, count], &said)?;
        Ok(((file, proof), findings))
    })?;
    findings.extend(found);
    Ok((written, findings))
}
