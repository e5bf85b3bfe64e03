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
use crate::mark::nest::{self, Key, Lines};
use crate::mark::{self, MarkedPiece};
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
    can_nest(&names(people), devices)?;
    let mut findings = Vec::new();
    let cuts = cuts(people)?;
    let (mut files, mut failed) = (Vec::new(), Vec::new());
    for named in devices {
        let named = tool_by_tool(named);
        let (laid, mut found) = lay_over(people, &cuts, &named.device, laying)?;
        let (written, more) = write_all(&people[0].set, &laid, &named, laying)?;
        found.extend(more);
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

/// The sheets that [`nest()`] would write for a device, without writing them, and the device as a nest is proven against it.
///
/// # Errors
/// As [`nest()`].
pub fn nest_sheets(people: &[Walked], named: &NamedDevice, laying: &Laying) -> Result<(Vec<Sheet>, NamedDevice)> {
    can_nest(&names(people), std::slice::from_ref(named))?;
    let named = tool_by_tool(named);
    let (laid, _) = lay_over(people, &cuts(people)?, &named.device, laying)?;
    Ok((laid.sheets, named))
}

/// Tool by tool, so that each size has one layer for each role.
fn tool_by_tool(named: &NamedDevice) -> NamedDevice {
    let device = Device { sequence: Sequence::ToolByTool, ..named.device.clone() };
    NamedDevice { name: named.name.clone(), device }
}

fn names(people: &[Walked]) -> Vec<String> {
    people.iter().map(|walked| walked.set.person.clone()).collect()
}

/// Everybody's pieces with their allowance.
fn cuts(people: &[Walked]) -> Result<Vec<Vec<CutPiece>>> {
    people.iter().map(|walked| Ok(cut(&walked.set)?.0)).collect()
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

/// Everybody's pieces laid over one another.
struct LaidOver {
    sheets: Vec<Sheet>,
    /// Each person's own pieces without writing.
    bare: Vec<MarkedPiece>,
}

fn lay_over(
    people: &[Walked],
    cuts: &[Vec<CutPiece>],
    device: &Device,
    laying: &Laying,
) -> Result<(LaidOver, Vec<Finding>)> {
    let sizes = names(people);
    let manner = Manner { bare: true, notches: Notches::Drawn, ..Manner::of(device) };
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
    let mut pieces: Vec<&str> = Vec::new();
    for piece in &bare {
        if !pieces.contains(&&*piece.name) {
            pieces.push(&piece.name);
        }
    }
    let (nests, mut findings) = gather(&pieces, |name| {
        let of = |person: &String| bare.iter().find(|piece| piece.name == **name && piece.person == *person);
        let own: Vec<(usize, &MarkedPiece)> =
            sizes.iter().enumerate().filter_map(|(index, person)| Some((index + 1, of(person)?))).collect();
        let allowances = allowances(people, name, manner.net);
        let key = Key { style: &people[0].set.style, allowances: &allowances };
        nest::nest(&own, &key, lines, laying.font.map(AsRef::as_ref))
    })?;
    let whole: Vec<MarkedPiece> = nests.iter().map(|nest| nest.marked.clone()).collect();
    let (sheets, found) = lay_for(device, &whole, &laying.budget)?;
    findings.extend(found);
    findings.extend(never_measured(device, &sheets));
    let sheets: Vec<Sheet> = sheets.iter().map(|sheet| spread(sheet, &nests, &sizes)).collect::<Result<_>>()?;
    Ok((LaidOver { sheets, bare }, findings))
}

/// What the key of a piece says of its allowances, in the first size's unit: those that all sizes have, or that they differ.
fn allowances(people: &[Walked], piece: &str, net: bool) -> Vec<String> {
    let own = |walked: &Walked| {
        let found = walked.set.pieces.iter().find(|own| own.name == piece);
        found.map(|own| mark::allowances(own, people[0].set.unit, net))
    };
    let mut all = people.iter().filter_map(own);
    let first = all.next().unwrap_or_default();
    if all.all(|other| other == first) { first } else { vec!["allowances differ from size to size".into()] }
}

/// Files with their proofs.
type Proven = Vec<(ProvenFile, Proof)>;

fn write_all(
    first: &PieceSet,
    laid: &LaidOver,
    named: &NamedDevice,
    laying: &Laying,
) -> Result<(Proven, Vec<Finding>)> {
    let sizes = laid.sheets.first().map(|sheet| sheet.sizes.join(", ")).unwrap_or_default();
    let set = PieceSet { person: sizes, pieces: Vec::new(), joins: Vec::new(), ..first.clone() };
    let said = Said { style: &first.style, person: &first.person, imprint: laying.imprint, marked: &laid.bare };
    let count = laid.sheets.len();
    let numbered: Vec<(usize, &Sheet)> = laid.sheets.iter().enumerate().collect();
    gather(&numbered, |(index, sheet)| {
        let (WrittenSheet { file, proof, .. }, findings) = write_sheet(&set, named, sheet, [*index, count], &said)?;
        Ok(((file, proof), findings))
    })
}
