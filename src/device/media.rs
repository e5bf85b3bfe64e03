//! Media of a profile.

use super::read::{below, choice, no_children, reach, whole, word};
use super::{Margins, Medium, MediumKind, Pages};
use crate::diag::{Finding, Result};
use crate::source::{Node, Value};
use crate::units::Unit;

/// Clear space between pieces where the profile does not say, mm: room for two lines of a pen.
const GAP: f64 = 3.0;

/// Left free along the edge of pages that are glued together, mm: a line's width, which would be cut in half there.
const EDGE: f64 = 0.5;

/// How far pages overlap where the profile does not say, mm: room to glue (common practice, no source).
const OVERLAP: f64 = 10.0;

/// Widest and longest that pages are glued together where the profile does not say, mm: a table's width, and two
/// bodices and a skirt behind one another (common practice, no source).
const GLUED: [f64; 2] = [1000.0, 3000.0];

/// Sizes with a name, mm, upright: ISO 216 for A0–A4 and B1; ASME Y14.1 for Letter and its double (8 1/2 × 11 and
/// 11 × 17 in).
const SIZES: [(&str, f64, f64); 8] = [
    ("A4", 210.0, 297.0),
    ("A3", 297.0, 420.0),
    ("A2", 420.0, 594.0),
    ("A1", 594.0, 841.0),
    ("A0", 841.0, 1189.0),
    ("B1", 707.0, 1000.0),
    ("Letter", 215.9, 279.4),
    ("Tabloid", 279.4, 431.8),
];

/// The kinds of a profile. Pages become a roll.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Roll,
    Sheet,
    Pages,
}

/// Reads one `medium`. `media` are those before it.
pub(super) fn read(node: Node<'_>, unit: Unit, media: &[Medium]) -> Result<Medium> {
    node.only_takes(
        1,
        &[
            "kind", "size", "width", "height", "longest", "margin", "left", "right", "bottom", "top", "grip", "gap",
            "overlap", "across", "along",
        ],
    )?;
    let name = word(node)?;
    no_children(node)?;
    if media.iter().any(|medium| medium.name == name) {
        return Err(node.error(format!("there is a medium \"{name}\" already")).into());
    }
    let Some(kind) = node.prop("kind") else {
        let hint = "such as kind=\"roll\", kind=\"sheet\" or kind=\"pages\"";
        return Err(node.error("this medium does not say its kind").hint(hint).into());
    };
    let kind = choice(kind, "kind of medium", &[("roll", Kind::Roll), ("sheet", Kind::Sheet), ("pages", Kind::Pages)])?;
    let (called, stray): (_, &[&str]) = match kind {
        Kind::Roll => ("a roll has", &["height", "size", "overlap", "across", "along"]),
        Kind::Sheet => ("a sheet has", &["longest", "overlap", "across", "along"]),
        Kind::Pages => ("pages have", &["longest", "grip"]),
    };
    for key in stray {
        if let Some(value) = node.prop(key) {
            let instead = match kind {
                Kind::Roll => "a roll is given by width and longest",
                Kind::Sheet => "a sheet is given by size, or by width and height",
                Kind::Pages => "pages are given by size, or by width and height; across and along say how many",
            };
            return Err(value.error(format!("{called} no \"{key}\"")).hint(instead).into());
        }
    }
    let (width, far) = extent(node, unit, kind)?;
    let half = width.min(far) / 2.0;
    let clear = |key: &str| node.prop(key).map(|value| clearance(value, key, unit, half)).transpose();
    let margins = margins(&clear)?;
    let along_x = if kind == Kind::Roll { far } else { width };
    if margins.left + margins.right >= along_x {
        let message = "margins and grip leave nothing of the medium";
        return Err(node.error(message).hint("give narrower ones, or a larger medium").into());
    }
    let gap = clear("gap")?.unwrap_or(GAP.min(half / 2.0));
    match kind {
        Kind::Roll => Ok(Medium { name, kind: MediumKind::Roll { width, longest: far }, margins, gap, pages: None }),
        Kind::Sheet => Ok(Medium { name, kind: MediumKind::Sheet { width, height: far }, margins, gap, pages: None }),
        Kind::Pages => {
            let overlap = clear("overlap")?.unwrap_or(OVERLAP.min(half / 4.0));
            let along = Run { page: width - margins.left - margins.right, overlap };
            let across = Run { page: far - margins.bottom - margins.top, overlap };
            if along.page <= 2.0 * overlap || across.page <= 2.0 * overlap {
                let message = "margins and overlap leave nothing of a page";
                return Err(node.error(message).hint("give narrower ones, or a larger page").into());
            }
            let pages = Pages {
                width,
                height: far,
                margins,
                overlap,
                across: count(node, "across")?.unwrap_or_else(|| across.within(GLUED[0])),
                along: count(node, "along")?.unwrap_or_else(|| along.within(GLUED[1])),
            };
            let kind = MediumKind::Roll { width: across.glued(pages.across), longest: along.glued(pages.along) };
            Ok(Medium { name, kind, margins: Margins::all(EDGE), gap, pages: Some(pages) })
        }
    }
}

/// Pages in a row: what of each is drawn on, and how far neighbours overlap, mm.
struct Run {
    page: f64,
    overlap: f64,
}

impl Run {
    /// The length that so many make, mm.
    fn glued(&self, count: u32) -> f64 {
        f64::from(count) * (self.page - self.overlap) + self.overlap
    }

    /// The most that stay within a length, at least one.
    fn within(&self, length: f64) -> u32 {
        ((length - self.overlap) / (self.page - self.overlap)).floor().clamp(1.0, 1000.0) as u32
    }
}

/// Along x and y; along y and x for a roll, which is as wide as it is.
fn extent(node: Node<'_>, unit: Unit, kind: Kind) -> Result<(f64, f64)> {
    if let Some(size) = node.prop("size") {
        for key in ["width", "height"] {
            if let Some(value) = node.prop(key) {
                return Err(value.error(format!("the size gives the {key} already")).hint("leave out one").into());
            }
        }
        let sizes = SIZES.map(|(name, width, height)| (name, (width, height)));
        return choice(size, "size", &sizes);
    }
    let side = |key: &str| {
        let Some(value) = node.prop(key) else {
            let message = format!("this medium needs {key}=, a length such as \"914.4 mm\"");
            return Err(Box::new(node.error(message).hint("give it here")));
        };
        let side = reach(value, unit)?;
        if side <= 0.0 {
            return Err(Box::new(value.error(format!("the {key} must be more than 0"))));
        }
        Ok(side)
    };
    Ok((side("width")?, side(if kind == Kind::Roll { "longest" } else { "height" })?))
}

fn clearance(value: Value<'_>, key: &str, unit: Unit, half: f64) -> Result<f64> {
    let message = format!("the {key} must be 0 or more and less than half the medium's shorter side");
    below(value, reach(value, unit)?, half, &message)
}

/// `margin` along every side, each side's own in its place, and the grip besides at the end that comes out first.
fn margins(clear: &dyn Fn(&str) -> Result<Option<f64>>) -> Result<Margins> {
    let all = clear("margin")?.unwrap_or(0.0);
    let side = |key| Ok::<_, Box<Finding>>(clear(key)?.unwrap_or(all));
    let grip = clear("grip")?.unwrap_or(0.0);
    Ok(Margins { left: side("left")? + grip, right: side("right")?, bottom: side("bottom")?, top: side("top")? })
}

fn count(node: Node<'_>, key: &str) -> Result<Option<u32>> {
    node.prop(key).map(|value| whole(value, 1..=100)).transpose()
}
