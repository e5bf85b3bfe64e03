//! `*.style.kdl`, read and checked.

use super::formula::Formula;
use super::{
    Along, DartStep, EdgeStep, Grain, Heading, Named, Need, NotchStep, PieceSteps, PointHow, PointStep, Style, Vary,
    seams,
};
use crate::diag::{Finding, Result};
use crate::measures::{names, read_unit};
use crate::piece::{Finish, NotchKind, Pressed};
use crate::source::{self, Node, Text, with_known};

/// Reads a style sheet. `file` names it in findings.
///
/// # Errors
/// Bad syntax, unknown words, a name used twice, a point or edge that is not there, an outline whose edges do not follow
/// each other, a piece like itself; each with its place and the nearest known name.
pub fn read(text: &str, file: &str) -> Result<Style> {
    let document = source::read(text, file)?;
    let root = document.only("style")?;
    root.only_takes(1, &[])?;
    let mut style = Style {
        name: root.title()?.to_owned(),
        unit: crate::units::Unit::Inch,
        needs: Vec::new(),
        choices: Vec::new(),
        values: Vec::new(),
        varies: Vec::new(),
        pieces: Vec::new(),
        seams: Vec::new(),
        sewing: Vec::new(),
        file: file.to_owned(),
    };
    let mut unit = None;
    for node in root.children() {
        match node.name() {
            "unit" => unit = Some(read_unit(node)?),
            "needs" => read_needs(node, &mut style.needs)?,
            "choice" => style.choices.push(read_named(node)?),
            "value" => style.values.push(read_named(node)?),
            "vary" => style.varies.push(read_vary(node)?),
            "piece" => {
                let piece = read_piece(node, &style.pieces)?;
                if style.piece(&piece.name.text).is_some() {
                    return Err(piece.name.error("another piece has this name").hint("rename one of them").into());
                }
                style.pieces.push(piece);
            }
            "seam" => style.seams.push(seams::seam(node, &style.pieces)?),
            "sewing" => {
                for step in node.children() {
                    if step.name() != "step" {
                        return Err(step.unknown(&["step"]).into());
                    }
                    style.sewing.push(step.title()?.to_owned());
                }
            }
            _ => {
                let known = ["unit", "needs", "choice", "value", "vary", "piece", "seam", "sewing"];
                return Err(node.unknown(&known).into());
            }
        }
    }
    style.unit =
        unit.ok_or_else(|| root.error("this style does not say its unit").hint("add: unit \"in\" or unit \"cm\""))?;
    if style.pieces.is_empty() {
        return Err(root.error("this style has no pieces").hint("add: piece \"Front\" { … }").into());
    }
    check_names(&style)?;
    Ok(style)
}

fn read_needs(node: Node<'_>, needs: &mut Vec<Need>) -> Result<()> {
    node.only_takes(usize::MAX, &[])?;
    for value in node.args() {
        let text = value.text()?;
        let Some(known) = names::find(&text.text) else {
            let finding = text.error(format!("\"{}\" is no measure that is known", text.text));
            return Err(with_known(finding, &text.text, &names::all()).into());
        };
        if needs.iter().all(|need| need.name != known.name) {
            needs.push(Need { name: known.name.to_owned(), place: text.snippet() });
        }
    }
    Ok(())
}

fn read_named(node: Node<'_>) -> Result<Named> {
    node.only_takes(2, &["note"])?;
    let name = node.title()?.to_owned();
    let value = node.args().nth(1).ok_or_else(|| node.error(format!("\"{name}\" has no value")))?;
    let note = node.prop("note").map(|note| note.string()).transpose()?.unwrap_or_default().to_owned();
    Ok(Named { name, formula: Formula::read(value.text()?)?, note })
}

fn read_vary(node: Node<'_>) -> Result<Vary> {
    node.only_takes(1, &["least", "most", "until", "comes-to"])?;
    node.title()?;
    Ok(Vary {
        name: first_text(node)?,
        least: needed_formula(node, "least")?,
        most: needed_formula(node, "most")?,
        until: needed_formula(node, "until")?,
        comes_to: needed_formula(node, "comes-to")?,
    })
}

/// Names of choices, values and varied lengths must be unique and must not hide a measure that the style needs.
fn check_names(style: &Style) -> Result<()> {
    let mut seen: Vec<&str> = style.needs.iter().map(|need| need.name.as_str()).collect();
    let named = style.choices.iter().chain(&style.values).map(|named| (named.name.as_str(), named.formula.source()));
    for (name, place) in named.chain(style.varies.iter().map(|vary| (vary.name.text.as_str(), &vary.name))) {
        if seen.contains(&name) {
            return Err(place.error(format!("the name \"{name}\" stands for two things")).hint("rename one").into());
        }
        seen.push(name);
    }
    Ok(())
}

fn read_piece(node: Node<'_>, earlier: &[PieceSteps]) -> Result<PieceSteps> {
    node.only_takes(1, &["like", "drafted-on"])?;
    node.title()?;
    let mut piece = PieceSteps {
        name: first_text(node)?,
        count: 1,
        mirrored: false,
        cloth: "main cloth".into(),
        points: Vec::new(),
        edges: Vec::new(),
        lines: Vec::new(),
        notches: Vec::new(),
        darts: Vec::new(),
        drills: Vec::new(),
        grain: Grain::Upright,
    };
    inherit(node, &mut piece, earlier)?;
    for step in node.children() {
        match step.name() {
            "cut" => read_cut(step, &mut piece)?,
            "point" => {
                let point = read_point(step)?;
                replace_or_push(&mut piece.points, point, |p| &p.name.text);
            }
            "edge" => put_edge(step, &mut piece)?,
            "line" => {
                let line = read_edge(step, false)?;
                replace_or_push(&mut piece.lines, line, |l| &l.name.text);
            }
            "notch" => {
                let notch = read_notch(step)?;
                if let Some(old) = text(step, "instead-of")? {
                    let before = piece.notches.len();
                    piece.notches.retain(|n| n.on.text != old.text);
                    if piece.notches.len() == before {
                        return Err(old.error("there is no notch on this edge to put another in its place").into());
                    }
                }
                piece.notches.push(notch);
            }
            "dart" => piece.darts.push(read_dart(step)?),
            "drill" => {
                step.only_takes(1, &[])?;
                step.title()?;
                piece.drills.push(first_text(step)?);
            }
            "grain" => piece.grain = read_grain(step)?,
            _ => {
                let known = ["cut", "point", "edge", "line", "notch", "dart", "drill", "grain"];
                return Err(step.unknown(&known).into());
            }
        }
    }
    check_piece(&piece)?;
    Ok(piece)
}

/// `like` takes over everything that is drafted, `drafted-on` only the points and inner lines.
fn inherit(node: Node<'_>, piece: &mut PieceSteps, earlier: &[PieceSteps]) -> Result<()> {
    let (like, on) = (text(node, "like")?, text(node, "drafted-on")?);
    let Some(parent_name) = like.as_ref().or(on.as_ref()) else { return Ok(()) };
    let Some(parent) = earlier.iter().find(|p| p.name.text == parent_name.text) else {
        if parent_name.text == piece.name.text {
            return Err(parent_name.error("a piece can't be like itself").hint("name another piece").into());
        }
        let known: Vec<&str> = earlier.iter().map(|p| p.name.text.as_str()).collect();
        let finding = parent_name.error(format!("there is no piece \"{}\" above this one", parent_name.text));
        return Err(with_known(finding, &parent_name.text, &known).into());
    };
    piece.points.clone_from(&parent.points);
    if like.is_some() {
        piece.edges.clone_from(&parent.edges);
        piece.lines.clone_from(&parent.lines);
        piece.notches.clone_from(&parent.notches);
        piece.darts.clone_from(&parent.darts);
        piece.drills.clone_from(&parent.drills);
        piece.grain = parent.grain.clone();
        piece.cloth.clone_from(&parent.cloth);
    } else {
        // Points that stand on the parent's edges need those edges to be found by.
        piece.lines = parent.edges.iter().chain(&parent.lines).cloned().collect();
        for line in &mut piece.lines {
            line.drawn = false;
        }
    }
    Ok(())
}

fn read_cut(node: Node<'_>, piece: &mut PieceSteps) -> Result<()> {
    node.only_takes(1, &["from", "mirrored"])?;
    let value = node.args().next().ok_or_else(|| node.error("how many are cut?").hint("write: cut 2"))?;
    let count = value.number()?;
    if !(1.0..=500.0).contains(&count) || count.fract() != 0.0 {
        return Err(value.error("the number to cut is a whole number from 1 to 500").into());
    }
    piece.count = count as u32;
    piece.mirrored = flag(node, "mirrored")?;
    if let Some(cloth) = text(node, "from")? {
        piece.cloth = cloth.text;
    }
    Ok(())
}

const POINT_PROPS: [&str; 13] = [
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
];

fn read_point(node: Node<'_>) -> Result<PointStep> {
    let mut props = POINT_PROPS.to_vec();
    props.push("square");
    node.only_takes(1, &props)?;
    node.title()?;
    let name = first_text(node)?;
    let how = if let Some(from) = text(node, "straight-down-from")? {
        PointHow::StraightDown {
            from,
            to: needed_text(node, "to")?,
            part: needed_formula(node, "part")?,
            inward: formula(node, "inward")?,
        }
    } else if let Some(edge) = text(node, "on")? {
        PointHow::On { edge, from: text(node, "from")?, along: read_along(node, "along")? }
    } else if let Some(to) = text(node, "towards")? {
        PointHow::Towards {
            from: needed_text(node, "from")?,
            to,
            along: read_along(node, "along")?,
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
    Ok(PointStep { name, how })
}

fn read_along(node: Node<'_>, distance: &str) -> Result<Along> {
    match (formula(node, distance)?, formula(node, "part")?) {
        (Some(distance), None) => Ok(Along::Distance(distance)),
        (None, Some(part)) => Ok(Along::Part(part)),
        _ => Err(node
            .error(format!("how far along? give {distance}=\"…\" or part=…, one of the two"))
            .hint("a part of 0.5 is half way")
            .into()),
    }
}

/// Adds an edge, or puts it in the place of another.
fn put_edge(node: Node<'_>, piece: &mut PieceSteps) -> Result<()> {
    let edge = read_edge(node, true)?;
    let Some(old) = text(node, "instead-of")? else {
        replace_or_push(&mut piece.edges, edge, |e| &e.name.text);
        return Ok(());
    };
    let Some(index) = piece.edges.iter().position(|e| e.name.text == old.text) else {
        let known: Vec<&str> = piece.edges.iter().map(|e| e.name.text.as_str()).collect();
        let finding = old.error(format!("there is no edge \"{}\" to put this one in its place", old.text));
        return Err(with_known(finding, &old.text, &known).into());
    };
    // What was square to the old edge is square to the new one.
    let new = edge.name.text.clone();
    piece.edges[index] = edge;
    let rename = |text: &mut Text| {
        if text.text == old.text {
            text.text.clone_from(&new);
        }
    };
    for other in piece.edges.iter_mut().chain(&mut piece.lines) {
        let through = other.through.iter_mut().filter_map(|(_, heading)| heading.as_mut());
        for heading in other.leaving.iter_mut().chain(other.arriving.iter_mut()).chain(through) {
            if let Heading::SquareTo(edge) | Heading::Along(edge) = heading {
                rename(edge);
            }
        }
    }
    for point in &mut piece.points {
        if let PointHow::On { edge, .. } = &mut point.how {
            rename(edge);
        }
    }
    piece.notches.iter_mut().for_each(|notch| rename(&mut notch.on));
    piece.darts.iter_mut().for_each(|dart| rename(&mut dart.on));
    if let Grain::Along(edge) = &mut piece.grain {
        rename(edge);
    }
    Ok(())
}

fn read_edge(node: Node<'_>, outline: bool) -> Result<EdgeStep> {
    let mut props = vec!["from", "to", "through", "leaving", "arriving"];
    if outline {
        props.extend(["allow", "fold", "corner", "instead-of"]);
    }
    node.only_takes(1, &props)?;
    node.title()?;
    let name = first_text(node)?;
    let mut through = Vec::new();
    if let Some(point) = text(node, "through")? {
        through.push((point, None));
    }
    for child in node.children() {
        if child.name() != "through" {
            return Err(child.unknown(&["through"]).into());
        }
        child.only_takes(1, &["heading"])?;
        child.title()?;
        through.push((first_text(child)?, heading(child, "heading")?));
    }
    let fold = flag(node, "fold")?;
    let allow = formula(node, "allow")?;
    if fold && allow.is_some() {
        return Err(node.error("an edge on the fold has no allowance").hint("leave out one of the two").into());
    }
    let corner = match text(node, "corner")? {
        None => Finish::Mitre,
        Some(word) => finish(&word)?,
    };
    Ok(EdgeStep {
        name,
        from: needed_text(node, "from")?,
        to: needed_text(node, "to")?,
        through,
        leaving: heading(node, "leaving")?,
        arriving: heading(node, "arriving")?,
        allow,
        fold,
        corner,
        drawn: true,
    })
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

fn one_of<T: Copy>(word: &Text, known: &[(&str, T)]) -> Result<T> {
    known.iter().find(|(name, _)| *name == word.text).map(|(_, value)| *value).ok_or_else(|| {
        let names: Vec<&str> = known.iter().map(|(name, _)| *name).collect();
        with_known(word.error(format!("\"{}\" is not known here", word.text)), &word.text, &names).into()
    })
}

fn heading(node: Node<'_>, prop: &str) -> Result<Option<Heading>> {
    let Some(text) = text(node, prop)? else { return Ok(None) };
    let rest = |prefix: &str| {
        text.text.strip_prefix(prefix).map(|name| {
            let mut named = text.clone();
            name.trim().clone_into(&mut named.text);
            named
        })
    };
    let heading = if let Some(edge) = rest("square to ") {
        Heading::SquareTo(edge)
    } else if let Some(edge) = rest("along ") {
        Heading::Along(edge)
    } else if let Some(point) = rest("towards ") {
        Heading::Towards(point)
    } else if text.text == "level" {
        Heading::Level
    } else if text.text == "upright" {
        Heading::Upright
    } else {
        let hint = "known: \"square to EDGE\", \"along EDGE\", \"towards POINT\", \"level\", \"upright\"";
        return Err(text.error("this is no direction").hint(hint).into());
    };
    Ok(Some(heading))
}

fn read_notch(node: Node<'_>) -> Result<NotchStep> {
    node.only_takes(0, &["on", "at", "part", "from", "double", "kind", "instead-of"])?;
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
        at: read_along(node, "at")?,
        double: flag(node, "double")?,
        kind,
    })
}

fn read_dart(node: Node<'_>) -> Result<DartStep> {
    node.only_takes(0, &["on", "at", "part", "from", "intake", "point", "pressed"])?;
    let pressed = match text(node, "pressed")? {
        None => Pressed::ToStart,
        Some(word) => {
            one_of(&word, &[("to-start", Pressed::ToStart), ("to-end", Pressed::ToEnd), ("open", Pressed::Open)])?
        }
    };
    Ok(DartStep {
        on: needed_text(node, "on")?,
        from: text(node, "from")?,
        at: read_along(node, "at")?,
        intake: needed_formula(node, "intake")?,
        point: needed_text(node, "point")?,
        pressed,
    })
}

fn read_grain(node: Node<'_>) -> Result<Grain> {
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

/// Every name that a step uses is there, and the edges follow each other around the piece.
fn check_piece(piece: &PieceSteps) -> Result<()> {
    let points: Vec<&str> = piece.points.iter().map(|p| p.name.text.as_str()).collect();
    let edges: Vec<&str> = piece.edges.iter().chain(&piece.lines).map(|e| e.name.text.as_str()).collect();
    let point = |name: &Text| known_name(name, "point", &points, piece);
    let edge = |name: &Text| known_name(name, "edge", &edges, piece);
    for step in &piece.points {
        match &step.how {
            PointHow::From { from, level_with, plumb_with, .. } => {
                [from, level_with, plumb_with].into_iter().flatten().try_for_each(point)?;
            }
            PointHow::StraightDown { from, to, .. } | PointHow::Towards { from, to, .. } => {
                point(from)?;
                point(to)?;
            }
            PointHow::On { edge: on, from, .. } => {
                edge(on)?;
                from.iter().try_for_each(point)?;
            }
        }
    }
    for step in piece.edges.iter().chain(&piece.lines) {
        [&step.from, &step.to].into_iter().chain(step.through.iter().map(|(p, _)| p)).try_for_each(point)?;
        let through = step.through.iter().filter_map(|(_, heading)| heading.as_ref());
        for heading in step.leaving.iter().chain(&step.arriving).chain(through) {
            match heading {
                Heading::SquareTo(name) | Heading::Along(name) => edge(name)?,
                Heading::Towards(name) => point(name)?,
                Heading::Level | Heading::Upright => {}
            }
        }
    }
    piece.notches.iter().map(|notch| &notch.on).chain(piece.darts.iter().map(|dart| &dart.on)).try_for_each(edge)?;
    piece.drills.iter().chain(piece.darts.iter().map(|dart| &dart.point)).try_for_each(point)?;
    if let Grain::Along(name) = &piece.grain {
        edge(name)?;
    }
    if piece.edges.len() < 2 {
        return Err(piece
            .name
            .error("this piece needs two edges at the least")
            .hint("add: edge \"…\" from=\"…\" to=\"…\"")
            .into());
    }
    for (index, step) in piece.edges.iter().enumerate() {
        let next = &piece.edges[(index + 1) % piece.edges.len()];
        if step.to.text != next.from.text {
            return Err(step
                .to
                .error(format!(
                    "edge \"{}\" ends at \"{}\", and the next one, \"{}\", starts from \"{}\"",
                    step.name.text, step.to.text, next.name.text, next.from.text
                ))
                .piece(&piece.name.text)
                .hint("edges follow each other around the piece, counter-clockwise, and the last meets the first")
                .into());
        }
    }
    Ok(())
}

fn known_name(name: &Text, what: &str, known: &[&str], piece: &PieceSteps) -> Result<()> {
    if known.contains(&name.text.as_str()) {
        return Ok(());
    }
    let finding = name.error(format!("there is no {what} \"{}\"", name.text)).piece(&piece.name.text);
    Err(with_known(finding, &name.text, known).into())
}

fn replace_or_push<T>(list: &mut Vec<T>, item: T, name: impl Fn(&T) -> &String) {
    match list.iter().position(|old| name(old) == name(&item)) {
        Some(index) => list[index] = item,
        None => list.push(item),
    }
}

fn first_text(node: Node<'_>) -> Result<Text> {
    node.args().next().ok_or_else(|| node.error("a name is missing here").into()).and_then(|value| value.text())
}

fn text(node: Node<'_>, prop: &str) -> Result<Option<Text>> {
    node.prop(prop).map(|value| value.string().and_then(|_| value.text())).transpose()
}

fn needed_text(node: Node<'_>, prop: &str) -> Result<Text> {
    text(node, prop)?.ok_or_else(|| missing(node, prop).into())
}

fn formula(node: Node<'_>, prop: &str) -> Result<Option<Formula>> {
    node.prop(prop).map(|value| value.text().and_then(Formula::read)).transpose()
}

fn needed_formula(node: Node<'_>, prop: &str) -> Result<Formula> {
    formula(node, prop)?.ok_or_else(|| missing(node, prop).into())
}

fn missing(node: Node<'_>, prop: &str) -> Finding {
    node.error(format!("this {} lacks {prop}", node.name())).hint(format!("add {prop}=\"…\""))
}

fn flag(node: Node<'_>, prop: &str) -> Result<bool> {
    node.prop(prop).map_or(Ok(false), |value| value.flag())
}
