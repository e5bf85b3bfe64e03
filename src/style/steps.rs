//! The steps inside a piece: points, edges, notches, darts, pleats, grain, and what the shears do.

use super::formula::Formula;
use super::props::{
    along, first_text, flag, formula, heading, needed_along, needed_formula, needed_text, one_of, renamed, text,
};
use super::{Change, DartStep, EdgeHow, EdgeStep, Grain, NotchStep, Passing, PleatStep, PointHow, PointStep};
use crate::diag::Result;
use crate::piece::{Finish, NotchKind, Pressed};
use crate::source::{Node, Text};

const POINT_PROPS: [&str; 25] = [
    "from",
    "across",
    "down",
    "up",
    "level-with",
    "plumb-with",
    "straight-down-from",
    "to",
    "part",
    "inward",
    "on",
    "along",
    "towards",
    "square",
    "where",
    "crosses",
    "nearest",
    "extended",
    "reaching",
    "by",
    "about",
    "turn",
    "mirror-of",
    "in",
    "when",
];

pub(super) fn point(node: Node<'_>) -> Result<PointStep> {
    node.only_takes(1, &POINT_PROPS)?;
    node.title()?;
    let name = first_text(node)?;
    let how = if let Some(from) = text(node, "straight-down-from")? {
        PointHow::StraightDown {
            from,
            to: needed_text(node, "to")?,
            part: needed_formula(node, "part")?,
            inward: formula(node, "inward")?,
        }
    } else if let Some(edge) = text(node, "where")? {
        PointHow::Crossing {
            edge,
            with: needed_text(node, "crosses")?,
            nearest: text(node, "nearest")?,
            extended: flag(node, "extended")?,
        }
    } else if let Some(line) = text(node, "reaching")? {
        PointHow::Reaching {
            from: needed_text(node, "from")?,
            line,
            by: needed_formula(node, "by")?,
            nearest: text(node, "nearest")?,
        }
    } else if let Some(about) = text(node, "about")? {
        PointHow::Turned { about, from: needed_text(node, "from")?, turn: needed_formula(node, "turn")? }
    } else if let Some(of) = text(node, "mirror-of")? {
        PointHow::Mirrored { of, line: needed_text(node, "in")?, other_side: false }
    } else if let Some(edge) = text(node, "on")? {
        point_on(node, edge)?
    } else if let Some(to) = text(node, "towards")? {
        PointHow::Towards {
            from: needed_text(node, "from")?,
            to,
            along: needed_along(node, "along")?,
            square: formula(node, "square")?,
        }
    } else {
        let (down, up) = (formula(node, "down")?, formula(node, "up")?);
        if down.is_some() && up.is_some() {
            return Err(node.error("this point goes both up and down").hint("keep one of them").into());
        }
        PointHow::From {
            from: text(node, "from")?,
            across: formula(node, "across")?,
            down: down.or_else(|| up.map(Formula::negated)),
            level_with: text(node, "level-with")?,
            plumb_with: text(node, "plumb-with")?,
        }
    };
    Ok(PointStep { name, how, when: None })
}

fn point_on(node: Node<'_>, edge: Text) -> Result<PointHow> {
    Ok(match (text(node, "level-with")?, text(node, "plumb-with")?) {
        (Some(with), None) => PointHow::OnLevel { edge, with, plumb: false },
        (None, Some(with)) => PointHow::OnLevel { edge, with, plumb: true },
        (Some(_), Some(_)) => {
            return Err(node.error("a point on an edge is level with a point or plumb with it").into());
        }
        (None, None) => PointHow::On {
            edge,
            from: text(node, "from")?,
            along: needed_along(node, "along")?,
            square: formula(node, "square")?,
        },
    })
}

pub(super) fn edge(node: Node<'_>, outline: bool) -> Result<EdgeStep> {
    let mut props = vec!["from", "to", "through", "leaving", "arriving", "about", "clockwise", "along", "when"];
    if outline {
        props.extend(["allow", "fold", "corner", "instead-of"]);
    } else {
        props.extend(["parallel-to", "inward"]);
    }
    node.only_takes(1, &props)?;
    node.title()?;
    let name = first_text(node)?;
    let fold = flag(node, "fold")?;
    let allow = formula(node, "allow")?;
    if fold && allow.is_some() {
        return Err(node.error("an edge on the fold has no allowance").hint("leave out one of the two").into());
    }
    let corner = text(node, "corner")?.map(|word| finish(&word)).transpose()?;
    let how = edge_how(node)?;
    let bounded = !matches!(how, EdgeHow::Parallel { .. });
    let end = |prop| if bounded { needed_text(node, prop) } else { Ok(renamed(&name, "")) };
    Ok(EdgeStep { from: end("from")?, to: end("to")?, name, how, when: None, allow, fold, corner, drawn: true })
}

fn edge_how(node: Node<'_>) -> Result<EdgeHow> {
    let curved = passing(node)?;
    let (leaving, arriving) = (heading(node, "leaving")?, heading(node, "arriving")?);
    let how = if let Some(about) = text(node, "about")? {
        EdgeHow::Arc { about, clockwise: flag(node, "clockwise")? }
    } else if let Some(line) = text(node, "along")? {
        EdgeHow::Along(line)
    } else if let Some(of) = text(node, "parallel-to")? {
        EdgeHow::Parallel { of: vec![of], inward: needed_formula(node, "inward")? }
    } else {
        return Ok(EdgeHow::Curve { through: curved, leaving, arriving });
    };
    if !curved.is_empty() || leaving.is_some() || arriving.is_some() {
        return Err(node
            .error("an edge about a point, along a line or parallel to one has its way already")
            .hint("leave out through, hollow, swell, leaving and arriving")
            .into());
    }
    Ok(how)
}

fn passing(node: Node<'_>) -> Result<Vec<Passing>> {
    let mut passing = Vec::new();
    if let Some(point) = text(node, "through")? {
        passing.push(Passing::Point(point, None));
    }
    for child in node.children() {
        match child.name() {
            "through" => {
                child.only_takes(1, &["heading"])?;
                child.title()?;
                passing.push(Passing::Point(first_text(child)?, heading(child, "heading")?));
            }
            "hollow" | "swell" => {
                child.only_takes(1, &["along", "part"])?;
                let value =
                    child.args().next().ok_or_else(|| child.error("how deep?").hint("write: hollow \"3/4\""))?;
                let deep = Formula::read(value.text()?)?;
                let deep = if child.name() == "swell" { deep.negated() } else { deep };
                passing.push(Passing::Hollow { along: needed_along(child, "along")?, deep });
            }
            _ => return Err(child.unknown(&["through", "hollow", "swell"]).into()),
        }
    }
    Ok(passing)
}

fn finish(word: &Text) -> Result<Finish> {
    const KNOWN: [(&str, Finish); 6] = [
        ("mitre", Finish::Mitre),
        ("bevel", Finish::Bevel),
        ("round", Finish::Round),
        ("square", Finish::Square),
        ("step", Finish::Step),
        ("fold-back", Finish::FoldBack),
    ];
    one_of(word, &KNOWN)
}

pub(super) fn notch(node: Node<'_>) -> Result<NotchStep> {
    node.only_takes(0, &["on", "at", "part", "from", "double", "kind", "depth", "instead-of", "when"])?;
    let kind = match text(node, "kind")? {
        None => NotchKind::Slit,
        Some(word) => {
            const KNOWN: [(&str, NotchKind); 5] = [
                ("slit", NotchKind::Slit),
                ("v-in", NotchKind::VIn),
                ("v-out", NotchKind::VOut),
                ("t", NotchKind::T),
                ("drawn", NotchKind::Drawn),
            ];
            one_of(&word, &KNOWN)?
        }
    };
    Ok(NotchStep {
        on: needed_text(node, "on")?,
        from: text(node, "from")?,
        at: needed_along(node, "at")?,
        double: flag(node, "double")?,
        kind,
        depth: formula(node, "depth")?,
        when: formula(node, "when")?,
    })
}

fn pressed(node: Node<'_>) -> Result<Pressed> {
    match text(node, "pressed")? {
        None => Ok(Pressed::ToStart),
        Some(word) => {
            one_of(&word, &[("to-start", Pressed::ToStart), ("to-end", Pressed::ToEnd), ("open", Pressed::Open)])
        }
    }
}

pub(super) fn dart(node: Node<'_>) -> Result<DartStep> {
    node.only_takes(0, &["on", "at", "part", "from", "intake", "point", "pressed", "when"])?;
    Ok(DartStep {
        on: needed_text(node, "on")?,
        from: text(node, "from")?,
        at: along(node, "at")?,
        intake: needed_formula(node, "intake")?,
        point: needed_text(node, "point")?,
        pressed: pressed(node)?,
        when: formula(node, "when")?,
    })
}

/// `pleat`, and `tuck`, which is a pleat sewn down along its lines.
pub(super) fn pleat(node: Node<'_>) -> Result<PleatStep> {
    node.only_takes(0, &["on", "at", "part", "from", "intake", "length", "count", "spacing", "pressed", "when"])?;
    let count = match formula(node, "count")? {
        Some(count) => count,
        None => Formula::read(Text::new("1", "pleat"))?,
    };
    Ok(PleatStep {
        on: needed_text(node, "on")?,
        from: text(node, "from")?,
        at: needed_along(node, "at")?,
        intake: needed_formula(node, "intake")?,
        length: needed_formula(node, "length")?,
        count,
        spacing: formula(node, "spacing")?,
        pressed: pressed(node)?,
        when: formula(node, "when")?,
    })
}

/// `slash from="hem" to="waist" lines=3 spread="2"`.
pub(super) fn slash(node: Node<'_>) -> Result<Change> {
    node.only_takes(0, &["from", "to", "lines", "spread", "far-spread", "when"])?;
    Ok(Change::Slash {
        from: needed_text(node, "from")?,
        to: needed_text(node, "to")?,
        lines: match formula(node, "lines")? {
            Some(lines) => lines,
            None => Formula::read(Text::new("1", "slash"))?,
        },
        spread: needed_formula(node, "spread")?,
        far: formula(node, "far-spread")?,
        when: formula(node, "when")?,
    })
}

/// `turn-dart from="waist" to="side" at="3"`.
pub(super) fn turn_dart(node: Node<'_>) -> Result<Change> {
    node.only_takes(0, &["from", "to", "at", "part", "share", "when"])?;
    Ok(Change::TurnDart {
        from: needed_text(node, "from")?,
        to: needed_text(node, "to")?,
        at: needed_along(node, "at")?,
        share: formula(node, "share")?,
        when: formula(node, "when")?,
    })
}

pub(super) fn grain(node: Node<'_>) -> Result<Grain> {
    node.only_takes(1, &["along", "upright"])?;
    if let Some(edge) = text(node, "along")? {
        return Ok(Grain::Along(edge));
    }
    if flag(node, "upright")? {
        return Ok(Grain::Upright);
    }
    match node.title()? {
        "upright" => Ok(Grain::Upright),
        "level" => Ok(Grain::Level),
        "on the cross" => Ok(Grain::OnTheCross),
        _ => Err(node
            .error("this is no grain")
            .hint("known: grain \"upright\", grain \"level\", grain \"on the cross\", grain along=\"EDGE\"")
            .into()),
    }
}
