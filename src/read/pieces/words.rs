//! What a layer, class or id says a line is for.

use crate::read::PathName;
use crate::role::Role;

/// Words of the trade, each with the role that it names.
const WORDS: [(&str, Role); 34] = [
    ("cut", Role::Cut),
    ("cutting", Role::Cut),
    ("boundary", Role::Cut),
    ("sew", Role::Sew),
    ("sewing", Role::Sew),
    ("seam", Role::Sew),
    ("seamline", Role::Sew),
    ("stitch", Role::Sew),
    ("stitching", Role::Sew),
    ("net", Role::Sew),
    ("notch", Role::Notch),
    ("notches", Role::Notch),
    ("balance", Role::Notch),
    ("grain", Role::Grain),
    ("grainline", Role::Grain),
    ("fold", Role::Fold),
    ("mirror", Role::Fold),
    ("drill", Role::Drill),
    ("drills", Role::Drill),
    ("hole", Role::Drill),
    ("holes", Role::Drill),
    ("line", Role::Line),
    ("lines", Role::Line),
    ("inner", Role::Line),
    ("internal", Role::Line),
    ("guide", Role::Line),
    ("dart", Role::Dart),
    ("darts", Role::Dart),
    ("label", Role::Label),
    ("labels", Role::Label),
    ("text", Role::Label),
    ("annotation", Role::Label),
    ("square", Role::Square),
    ("check", Role::Square),
];

/// Layers after ASTM D6673, by number (from memory): boundary, turn points, curve points, notches,
/// grade reference, mirror line, grain line, internal lines, internal cut-outs, drill holes, sew line, annotation.
const NUMBERED: [(&str, Role); 12] = [
    ("1", Role::Cut),
    ("2", Role::Label),
    ("3", Role::Label),
    ("4", Role::Notch),
    ("5", Role::Label),
    ("6", Role::Fold),
    ("7", Role::Grain),
    ("8", Role::Line),
    ("11", Role::Line),
    ("13", Role::Drill),
    ("14", Role::Sew),
    ("15", Role::Label),
];

/// The role that a path's own name gives it, else the innermost of what it lies in that gives one. In a block that is its
/// layer: a block's own name is a piece's, such as "Front, cut on fold".
pub fn role(name: &PathName) -> Option<Role> {
    let telling = if name.block > 0 { 1 } else { name.around.len() };
    std::iter::once(&name.own).chain(name.around.iter().take(telling)).find_map(|text| of(text))
}

/// The name of the innermost block about a path, if it has one: those that programs make up begin with a star.
pub fn block(name: &PathName) -> Option<&str> {
    let blocks = name.around.iter().skip(1).filter(|_| name.block > 0);
    blocks.map(|block| block.trim()).find(|block| !block.is_empty() && !block.starts_with('*'))
}

/// The last word of a name that is known: the "fold line" is a line and the "cut line" too, but what they are for stands
/// before it, so "line" counts only where nothing else does.
fn of(text: &str) -> Option<Role> {
    let text = text.trim().to_lowercase();
    if let Some((_, role)) = NUMBERED.iter().find(|(number, _)| *number == text) {
        return Some(*role);
    }
    let roles: Vec<Role> = text
        .split(|c: char| !c.is_alphanumeric())
        .filter_map(|word| WORDS.iter().find(|(known, _)| *known == word))
        .map(|(_, role)| *role)
        .collect();
    roles.iter().copied().find(|role| *role != Role::Line).or(roles.first().copied())
}

/// What a text such as "Size: 38" after ASTM D6673 says of `key`, which is in small letters.
pub fn said<'a>(text: &'a str, key: &str) -> Option<&'a str> {
    let (known, value) = text.split_once(':')?;
    let value = value.trim();
    (known.trim().to_lowercase() == key && !value.is_empty()).then_some(value)
}

/// Whether a point only marks a vertex: turn and curve points after ASTM D6673.
pub fn marks_a_vertex(name: &PathName) -> bool {
    name.around.first().is_some_and(|layer| layer == "2" || layer == "3")
}

/// Whether a name says nothing of a piece: empty, a role's, or made up by a program, as `path12`.
pub fn is_plain(name: &str) -> bool {
    const MADE_UP: [&str; 12] =
        ["path", "rect", "polygon", "polyline", "circle", "ellipse", "line", "g", "layer", "shape", "svg", "use"];
    let letters = name.trim_end_matches(|c: char| c.is_ascii_digit() || "-_ .".contains(c)).to_lowercase();
    letters.is_empty() || MADE_UP.contains(&letters.as_str()) || of(name).is_some()
}
