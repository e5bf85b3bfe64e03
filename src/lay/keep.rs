//! Lays on disk, `*.lay.kdl`, and pieces kept where they lie.

use super::cloth::{ClothLay, Origin};
use crate::cloth::Cloth;
use crate::diag::Result;
use crate::source::{self, Node};
use crate::units::{LONGEST, trimmed};
use kurbo::{Affine, BezPath, Shape as _};
use std::fmt::Write;

/// A piece that stays where another lay has it.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// The piece's name.
    pub piece: String,
    /// For whom.
    pub person: String,
    /// From the piece's coordinates to the cloth's.
    pub transform: Affine,
    /// What is cut round, in the cloth's coordinates, counter-clockwise.
    pub outline: BezPath,
    /// Copies that are cut there.
    pub copies: u32,
    /// Whether it lies against the fold.
    pub on_fold: bool,
}

/// A lay as a file, for [`read`]: one `piece` each, with `locked=#true` where it was. Lengths are mm.
pub fn write(lay: &ClothLay, cloth: &Cloth) -> String {
    let mut out = String::from(
        "// A lay on cloth. x runs along the cloth, y across what can be cut into, mm. Write locked=#true behind a piece that\n\
         // is to stay where it lies, and give this file to the next lay: oaktag lay … --keep FILE\n",
    );
    let _ = writeln!(out, "lay {} {{\n    length {}", quoted(&cloth.name), trimmed(lay.length, 3));
    for placed in &lay.placed {
        let at: Vec<String> = placed.transform.as_coeffs().iter().map(ToString::to_string).collect();
        let more = [
            (placed.copies != 1).then(|| format!(" copies={}", placed.copies)),
            placed.on_fold.then(|| " on-fold=#true".to_owned()),
            (placed.origin != Origin::Laid).then(|| " locked=#true".to_owned()),
        ];
        let more: String = more.into_iter().flatten().collect();
        let _ = writeln!(
            out,
            "    piece {} for={} at={}{more} {{\n        outline {}\n    }}",
            quoted(&placed.piece),
            quoted(&placed.person),
            quoted(&at.join(" ")),
            quoted(&placed.outline.to_svg())
        );
    }
    out.push_str("}\n");
    out
}

/// A string of KDL 2.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out + "\""
}

/// The pieces of a lay that are locked.
///
/// # Errors
/// Bad syntax, an unknown word, a place that is none; each with its place.
pub fn read(text: &str, file: &str) -> Result<Vec<Kept>> {
    let document = source::read(text, file)?;
    let root = document.only("lay")?;
    root.only_takes(1, &[])?;
    let mut kept = Vec::new();
    for node in root.children() {
        match node.name() {
            "length" => node.only_takes(1, &[])?,
            "piece" => kept.extend(piece(node)?),
            _ => return Err(node.unknown(&["length", "piece"]).into()),
        }
    }
    Ok(kept)
}

fn piece(node: Node<'_>) -> Result<Option<Kept>> {
    node.only_takes(1, &["for", "at", "copies", "on-fold", "locked"])?;
    let flag = |name: &str| node.prop(name).map_or(Ok(false), |value| value.flag());
    if !flag("locked")? {
        return Ok(None);
    }
    let text = |name: &str| -> Result<&str> {
        let missing =
            || node.error(format!("this piece lacks \"{name}\"")).hint("take the line from a lay that was written");
        node.prop(name).ok_or_else(missing)?.string()
    };
    let wrong =
        || Box::new(node.error("this is no place on a cloth").hint("take the line from a lay that was written"));
    let numbers: Vec<f64> = text("at")?.split_whitespace().map_while(|word| word.parse().ok()).collect();
    let numbers: [f64; 6] = numbers.try_into().map_err(|_| wrong())?;
    let outline = node.children().find(|child| child.name() == "outline").ok_or_else(wrong)?;
    let outline = BezPath::from_svg(outline.title()?).map_err(|_| wrong())?;
    let inside = |at: f64| at.is_finite() && at.abs() <= LONGEST;
    let bounds = outline.bounding_box();
    let sound = numbers.into_iter().chain([bounds.x0, bounds.y0, bounds.x1, bounds.y1]).all(inside);
    if !sound || outline.segments().count() < 2 || outline.area() <= 0.0 {
        return Err(wrong());
    }
    let copies = match node.prop("copies") {
        None => 1,
        Some(value) => match value.number()? {
            1.0 => 1,
            2.0 => 2,
            _ => return Err(value.error("a place holds one copy, or two on folded cloth").into()),
        },
    };
    Ok(Some(Kept {
        piece: node.title()?.to_owned(),
        person: text("for")?.to_owned(),
        transform: Affine::new(numbers),
        outline,
        copies,
        on_fold: flag("on-fold")?,
    }))
}
