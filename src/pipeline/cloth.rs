//! Lays on cloth, and their files.

use super::files::Said;
use super::{Imprint, NamedDevice, ProvenFile, WrittenSheet};
use super::{first_medium, gather, mark_all, never_measured, stamp, write_sheet};
use crate::allow::{self, CutPiece};
use crate::cloth::Cloth;
use crate::diag::{Finding, Result};
use crate::lay::cloth::{ClothLay, Garment};
use crate::lay::keep::Kept;
use crate::lay::search::{Budget, Progress};
use crate::lay::strips::{self, Division};
use crate::lay::{self, stripes};
use crate::piece::PieceSet;
use crate::proof::Proof;
use crate::shrink;
use crate::units::trimmed;

/// Several people's pieces laid on one cloth.
#[derive(Clone, Debug)]
pub struct LaidCloth {
    /// Where each lies.
    pub lay: ClothLay,
    /// Everybody's pieces as they are laid, made larger by what the cloth will shrink.
    pub cut: Vec<(PieceSet, Vec<CutPiece>)>,
    /// How strips were divided for this cloth, of one person after another.
    pub strips: Vec<Division>,
    /// What was found.
    pub findings: Vec<Finding>,
}

/// Lays several people's pieces on one cloth, made larger by what it will shrink; strips are cut the cloth's way, and
/// `fuller` times as full as drafted. Pieces of other lays in `kept` stay where they are.
///
/// # Errors
/// As [`shrink::shrink`], [`allow::allow`] and [`lay::cloth::lay_on_cloth`].
pub fn lay_on_cloth(
    sets: &[&PieceSet],
    cloth: &Cloth,
    kept: &[Kept],
    fuller: f64,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Result<LaidCloth> {
    let [along, across] = cloth.shrinkage;
    let (mut findings, mut divided, mut cut, mut ties) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for set in sets {
        let (mut set, strips) = strips::recut(set, cloth, fuller)?;
        divided.extend(strips);
        set.pieces.retain(|piece| piece.cut.cloth == cloth.cut_as);
        let (pieces, found) = gather(&set.pieces, |piece| {
            let (piece, mut findings) = shrink::shrink(piece, along, across)?;
            let (cut, found) = allow::allow(&piece, allow::TOLERANCE)?;
            findings.extend(found);
            Ok((cut, findings))
        })?;
        findings.extend(found);
        set.pieces = pieces.iter().map(|piece| piece.piece.clone()).collect();
        ties.push(stripes::ties(&set, cloth)?);
        cut.push((set, pieces));
    }
    let garments: Vec<Garment> =
        cut.iter().zip(&ties).map(|((set, pieces), ties)| Garment { person: &set.person, pieces, ties }).collect();
    let (lay, found) = lay::cloth::lay_on_cloth(&garments, cloth, kept, budget, progress)?;
    findings.extend(found);
    Ok(LaidCloth { lay, cut, strips: divided, findings })
}

/// A lay on cloth as a device's file: at true size, or one to `scale`. The file is `None` where it failed its proof.
///
/// # Errors
/// A device that the lay is too large for, or that draws nothing of it.
pub fn lay_file(
    laid: &LaidCloth,
    cloth: &Cloth,
    named: &NamedDevice,
    scale: f64,
) -> Result<(Option<ProvenFile>, Proof, Vec<Finding>)> {
    if named.device.language.is_for_exchange() {
        let message = format!("\"{}\" takes pieces as they are drafted, and no lay", named.name);
        return Err(Finding::error(message).hint("use it with `oaktag make`").into());
    }
    let mut marked = Vec::new();
    let mut findings = Vec::new();
    for (set, cut) in &laid.cut {
        let (pieces, found) = mark_all(set, cut)?;
        marked.extend(pieces);
        findings.extend(found);
    }
    let medium = first_medium(&named.device)?;
    let stamp = stamp(&named.device, medium);
    let to = if scale > 1.0 { format!("{}, 1 : {}", cloth.name, trimmed(scale, 2)) } else { cloth.name.clone() };
    let sheet = lay::marker::marker(&laid.lay, cloth, &marked, medium, scale, &format!("{to}\n{stamp}"))?;
    findings.extend(never_measured(&named.device, std::slice::from_ref(&sheet)));
    let Some((mut whole, _)) = laid.cut.first().cloned() else {
        return Err(Finding::error("nobody's pieces are on this lay").into());
    };
    let people: Vec<&str> = laid.cut.iter().map(|(set, _)| &*set.person).collect();
    whole.person = people.join(", ");
    let said = Said { style: &whole.style, person: &whole.person, imprint: Imprint::default(), marked: &marked };
    let (WrittenSheet { file, proof, .. }, found) = write_sheet(&whole, named, &sheet, [0, 1], &said)?;
    findings.extend(found);
    Ok((proof.passed.then_some(file), proof, findings))
}
