//! Pieces marked as a machine wants them: with allowance or net, notches cut or drawn, at full or at a smaller scale.

use super::{Laying, NamedDevice, gather};
use crate::allow::CutPiece;
use crate::device::{Blocks, Correction, Device, Notches};
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::mark::{self, Heading, MarkedPiece};
use crate::piece::{Finish, Notch, NotchKind, PieceSet};
use crate::role::Role;
use crate::text::Font;
use std::sync::Arc;

/// A notch this near to an edge's end marks its corner, mm.
const AT_CORNER: f64 = 0.5;

/// How pieces are marked for a machine.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Manner {
    /// As net blocks.
    pub net: bool,
    /// How notches are made.
    pub notches: Notches,
    /// What was put right in the machine.
    pub stamp: String,
    /// Drawn size against the real.
    pub scale: f64,
    /// With slips for what a piece has no room for.
    pub slips: bool,
    /// Lines alone, without writing: for other programs.
    pub bare: bool,
}

impl Manner {
    /// Pieces as a person draws them: with allowance, notches drawn.
    pub fn plain() -> Self {
        Self { net: false, notches: Notches::Drawn, stamp: String::new(), scale: 1.0, slips: false, bare: false }
    }

    /// As a device wants them.
    pub fn of(device: &Device) -> Self {
        let correction = device.media.first().and_then(|medium| device.correction(&medium.name));
        Self {
            net: device.blocks == Blocks::Net,
            notches: device.notches(),
            stamp: stamp(correction),
            scale: 1.0,
            // A slip is writing and an arrow: it takes up room in vain where they are not drawn.
            slips: [Role::Label, Role::Line].iter().all(|role| device.draws(*role)),
            bare: device.language.is_for_exchange(),
        }
    }
}

/// What was put right in a machine, in a few words.
fn stamp(correction: Option<&Correction>) -> String {
    correction.map_or_else(|| "machine not calibrated".into(), |found| format!("machine corrected {}", found.date))
}

/// Every piece in that manner, with what marking found. `cut` are the pieces with their allowance.
pub(super) fn marked(
    set: &PieceSet,
    cut: &[CutPiece],
    manner: &Manner,
    font: Option<&Arc<Font>>,
) -> Result<(Vec<MarkedPiece>, Vec<Finding>)> {
    let (net, mut findings) = if manner.net { net_cut(set)? } else { (Vec::new(), Vec::new()) };
    let cut = if manner.net { &net[..] } else { cut };
    let small: Vec<CutPiece>;
    let cut = if (manner.scale - 1.0).abs() > 1e-9 {
        small = cut.iter().map(|piece| scaled(piece, manner.scale)).collect();
        &small[..]
    } else {
        cut
    };
    let of = cut.len();
    let numbered: Vec<(usize, &CutPiece)> = cut.iter().enumerate().collect();
    let ease: Vec<(String, String)> = set.choices.iter().filter(|(name, _)| name.contains("ease")).cloned().collect();
    let (marked, found) = gather(&numbered, |(index, piece)| {
        let heading = Heading {
            style: set.style.clone(),
            person: set.person.clone(),
            taken: set.taken.clone(),
            unit: set.unit,
            number: index + 1,
            of,
            net_block: manner.net,
            ease: ease.clone(),
            toile: set.toile.clone(),
            stamp: manner.stamp.clone(),
            notches: manner.notches,
            scale: manner.scale,
            font: font.cloned(),
            slips: manner.slips,
        };
        if manner.bare { mark::bare(piece, &heading) } else { mark::mark(piece, &heading) }
    })?;
    findings.extend(found);
    Ok((marked, findings))
}

/// Every piece cut on its sew line. Nothing is folded back there, and what marks a corner is the corner itself.
fn net_cut(set: &PieceSet) -> Result<(Vec<CutPiece>, Vec<Finding>)> {
    let mut net = set.clone();
    for piece in &mut net.pieces {
        for edge in &mut piece.edges {
            (edge.allowance, edge.corner) = (0.0, Finish::Mitre);
        }
        let edges = &piece.edges;
        let inside = |notch: &Notch| {
            let edge = edges.iter().find(|edge| edge.name == notch.edge);
            edge.is_none_or(|edge| notch.at > AT_CORNER && notch.at < path::length(&edge.path) - AT_CORNER)
        };
        piece.notches.retain(inside);
    }
    super::cut(&net)
}

/// A small picture of a piece. Its notches are drawn: at that size none would be clear of the sew line.
fn scaled(cut: &CutPiece, scale: f64) -> CutPiece {
    let mut small = cut.clone();
    small.piece.scale(scale);
    small.piece.notches.iter_mut().for_each(|notch| notch.kind = NotchKind::Drawn);
    small.cut_line.apply_affine(kurbo::Affine::scale(scale));
    small
}

/// A device with what it draws.
pub(super) struct Wanted {
    /// The device, its name that of its files.
    pub named: NamedDevice,
    /// Style and person, for the titles.
    pub set: PieceSet,
    manner: Manner,
}

/// Every device with its pieces, marked once for all that want them alike.
pub(super) struct All {
    /// What is to be written, in the order asked for.
    pub wanted: Vec<Wanted>,
    manners: Vec<(Manner, Vec<MarkedPiece>)>,
}

impl All {
    /// The pieces as a device wants them.
    pub fn marked(&self, wanted: &Wanted) -> &[MarkedPiece] {
        self.manners.iter().find(|(manner, _)| *manner == wanted.manner).map_or(&[], |(_, pieces)| pieces)
    }

    /// The pieces that people are shown: those with their allowance, at full size.
    pub fn shown(&self) -> &[MarkedPiece] {
        self.manners.iter().find(|(manner, _)| manner.is_whole()).map_or(&[], |(_, pieces)| pieces)
    }
}

impl Manner {
    fn is_whole(&self) -> bool {
        !self.net && !self.bare && (self.scale - 1.0).abs() < 1e-9
    }

    /// At a quarter of the size, with allowances and drawn notches.
    pub fn quarter(device: &Device) -> Self {
        Self { net: false, notches: Notches::Drawn, scale: 0.25, bare: false, ..Self::of(device) }
    }
}

/// Marks the pieces in every manner that some device wants them in.
pub(super) fn for_devices(
    set: &PieceSet,
    cut: &[CutPiece],
    devices: &[NamedDevice],
    laying: &Laying,
    findings: &mut Vec<Finding>,
) -> Result<All> {
    let title = |style: String| PieceSet { style, pieces: Vec::new(), joins: Vec::new(), ..set.clone() };
    let whole = devices.iter().map(|named| Wanted {
        named: named.clone(),
        set: title(set.style.clone()),
        manner: Manner::of(&named.device),
    });
    let small = laying.quarter_scale.iter().map(|named| Wanted {
        named: named.at_quarter_scale(),
        set: title(format!("{}, quarter scale", set.style)),
        manner: Manner::quarter(&named.device),
    });
    let wanted: Vec<Wanted> = whole.chain(small).collect();
    let mut distinct: Vec<Manner> = Vec::new();
    for Wanted { manner, .. } in &wanted {
        if !distinct.contains(manner) {
            distinct.push(manner.clone());
        }
    }
    if !distinct.iter().any(Manner::is_whole) {
        // What has no room is on slips somewhere, and nothing need be said of it.
        let slips = distinct.iter().any(|manner| manner.slips);
        distinct.push(Manner { slips, ..Manner::plain() });
    }
    let mut manners = Vec::with_capacity(distinct.len());
    for manner in distinct {
        let (pieces, found) = marked(set, cut, &manner, laying.font)?;
        // What was said of the pieces in one manner is not said again, and at a quarter's size nothing needs saying.
        let small = (manner.scale - 1.0).abs() > 1e-9;
        for finding in found.into_iter().filter(|_| !small) {
            let same = |known: &Finding| {
                known.message == finding.message && known.piece == finding.piece && known.edge == finding.edge
            };
            if !findings.iter().any(same) {
                findings.push(finding);
            }
        }
        manners.push((manner, pieces));
    }
    Ok(All { wanted, manners })
}
