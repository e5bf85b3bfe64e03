//! Pieces made from others by rule: unfolded, or a facing at a width along another piece's edges.

use super::formula::Formula;
use super::piece::{empty, find, read_step};
use super::props::{first_text, formula, needed_formula, renamed, replace_or_push, text};
use super::{EdgeHow, EdgeStep, Grain, PieceSteps, PointHow, PointStep, check};
use crate::diag::Result;
use crate::measures::Side;
use crate::piece::{Finish, Pressed};
use crate::source::{Node, Text};

/// What the mirror image of a name is called.
fn other(name: &str) -> String {
    format!("other {name}")
}

/// `unfold "centre front"`: the piece is opened about its fold. What is mirrored is called "other …"; the fold becomes
/// an inner line.
pub(super) fn unfold(node: Node<'_>, piece: &mut PieceSteps) -> Result<()> {
    node.only_takes(1, &[])?;
    node.title()?;
    let name = first_text(node)?;
    let Some(at) = piece.edges.iter().position(|edge| edge.name.text == name.text && edge.fold) else {
        let finding = name.error(format!("this piece has no edge \"{}\" on the fold", name.text));
        return Err(finding.hint("unfold about an edge with fold=#true").into());
    };
    piece.edges.rotate_left(at);
    let mut fold = piece.edges.remove(0);
    let half = std::mem::take(&mut piece.edges);
    let on_fold = [fold.from.text.clone(), fold.to.text.clone()];
    let mirrored = |point: &Text| {
        if on_fold.contains(&point.text) { point.clone() } else { renamed(point, &other(&point.text)) }
    };
    for index in 0..piece.points.len() {
        let of = piece.points[index].name.clone();
        if !on_fold.contains(&of.text) {
            let how = PointHow::Mirrored { of: of.clone(), line: name.clone(), other_side: true };
            let point = PointStep { name: renamed(&of, &other(&of.text)), how, when: None };
            replace_or_push(&mut piece.points, point, |p| &p.name.text);
        }
    }
    let image = |edge: &EdgeStep, corner: Option<Finish>| EdgeStep {
        name: renamed(&edge.name, &other(&edge.name.text)),
        from: mirrored(&edge.to),
        to: mirrored(&edge.from),
        how: EdgeHow::Mirrored { of: edge.name.clone(), line: name.clone(), other_side: true },
        when: edge.when.as_ref().map(|(when, _)| (when.clone(), None)),
        allow: edge.allow.clone(),
        fold: false,
        corner,
        drawn: edge.drawn,
    };
    // The corner at an image's end is the one at its edge's start.
    let images: Vec<EdgeStep> = (0..half.len())
        .rev()
        .map(|index| image(&half[index], if index > 0 { half[index - 1].corner } else { half[half.len() - 1].corner }))
        .map(|edge| EdgeStep { when: None, ..edge })
        .collect();
    let lines: Vec<EdgeStep> = piece
        .lines
        .iter()
        .filter(|line| line.drawn && !matches!(line.how, EdgeHow::Parallel { .. }))
        .map(|line| image(line, None))
        .collect();
    piece.edges = half;
    piece.edges.extend(images);
    piece.lines.extend(lines);
    for index in 0..piece.notches.len() {
        let mut notch = piece.notches[index].clone();
        notch.on = renamed(&notch.on, &other(&notch.on.text));
        notch.from = image_from(piece, notch.from.as_ref(), &notch.on);
        piece.notches.push(notch);
    }
    for index in 0..piece.darts.len() {
        let mut dart = piece.darts[index].clone();
        dart.on = renamed(&dart.on, &other(&dart.on.text));
        dart.point = mirrored(&dart.point);
        dart.from = image_from(piece, dart.from.as_ref(), &dart.on);
        dart.pressed = turned(dart.pressed);
        piece.darts.push(dart);
    }
    for index in 0..piece.pleats.len() {
        let mut pleat = piece.pleats[index].clone();
        pleat.on = renamed(&pleat.on, &other(&pleat.on.text));
        pleat.from = image_from(piece, pleat.from.as_ref(), &pleat.on);
        pleat.pressed = turned(pleat.pressed);
        piece.pleats.push(pleat);
    }
    piece.drills.extend(piece.drills.clone().iter().map(mirrored));
    fold.fold = false;
    piece.lines.push(fold);
    Ok(())
}

/// The side that an image is pressed to, since it runs the other way.
fn turned(pressed: Pressed) -> Pressed {
    match pressed {
        Pressed::ToStart => Pressed::ToEnd,
        Pressed::ToEnd => Pressed::ToStart,
        Pressed::Open => Pressed::Open,
    }
}

/// The end of an image to measure from: the image of the point, or the image's end for an edge measured from its start.
fn image_from(piece: &PieceSteps, from: Option<&Text>, on: &Text) -> Option<Text> {
    let edge = piece.edge(&on.text)?;
    match from {
        None => Some(edge.to.clone()),
        Some(point) if edge.to.text == point.text || edge.to.text == other(&point.text) => Some(edge.to.clone()),
        Some(_) => Some(edge.from.clone()),
    }
}

/// `facing "Front neck facing" of="Front" along="neckline" width="2 1/4"`: a piece of that width along edges of another
/// that follow each other, with the neighbouring edges' beginnings at its ends. Its edges keep their names; the new one is
/// its "inner edge".
pub(super) fn facing(node: Node<'_>, earlier: &[PieceSteps]) -> Result<PieceSteps> {
    node.only_takes(1, &["of", "along", "width", "allow", "when"])?;
    let mut piece = empty(node)?;
    piece.when = formula(node, "when")?;
    let of = super::props::needed_text(node, "of")?;
    let parent = find(&of, &piece.name, earlier)?;
    let width = needed_formula(node, "width")?;
    let mut faced: Vec<Text> = text(node, "along")?.into_iter().collect();
    for child in node.children().filter(|child| child.name() == "along") {
        child.only_takes(usize::MAX, &[])?;
        for value in child.args() {
            faced.push(value.text()?);
        }
    }
    let chain = chain_of(&of, &faced, parent)?;
    build(&mut piece, parent, &chain, width, formula(node, "allow")?);
    for step in node.children().filter(|child| child.name() != "along") {
        read_step(step, &mut piece)?;
    }
    check::piece(&piece, earlier)?;
    Ok(piece)
}

/// The places of the faced edges in the parent's outline, which must follow each other.
fn chain_of(of: &Text, faced: &[Text], parent: &PieceSteps) -> Result<Vec<usize>> {
    let mut chain = Vec::new();
    for name in faced {
        let Some(at) = parent.edges.iter().position(|edge| edge.name.text == name.text) else {
            let known: Vec<&str> = parent.edges.iter().map(|e| e.name.text.as_str()).collect();
            let finding = name.error(format!("piece \"{}\" has no edge \"{}\"", of.text, name.text));
            return Err(crate::source::with_known(finding, &name.text, &known).into());
        };
        if chain.last().is_some_and(|last| (last + 1) % parent.edges.len() != at) {
            return Err(name
                .error("the faced edges do not follow each other")
                .hint("name them in the outline's order, counter-clockwise")
                .into());
        }
        chain.push(at);
    }
    if chain.is_empty() || chain.len() + 2 > parent.edges.len() {
        return Err(of
            .error("a facing runs along one edge or more, with an edge left at either end")
            .hint("add: along=\"neckline\"")
            .into());
    }
    Ok(chain)
}

fn build(piece: &mut PieceSteps, parent: &PieceSteps, chain: &[usize], width: Formula, allow: Option<Formula>) {
    let count = parent.edges.len();
    let before = &parent.edges[(chain[0] + count - 1) % count];
    let after = &parent.edges[(chain[chain.len() - 1] + 1) % count];
    let place = piece.name.clone();
    let theirs = |edge: &EdgeStep| renamed(&place, &format!("{}/{}", parent.name.text, edge.name.text));
    let named = |text: &str| renamed(&place, text);
    piece.points.clone_from(&parent.points);
    piece.lines = parent.edges.iter().chain(&parent.lines).cloned().collect();
    for line in &mut piece.lines {
        line.drawn = false;
    }
    let line = |name: &str, how: EdgeHow| EdgeStep {
        name: named(name),
        from: named(""),
        to: named(""),
        how,
        when: None,
        allow: None,
        fold: false,
        corner: None,
        drawn: false,
    };
    let of = chain.iter().map(|at| theirs(&parent.edges[*at])).collect();
    piece.lines.push(line("inner line", EdgeHow::Parallel { of, inward: width }));
    let at_before = named(&format!("facing at {}", before.name.text));
    let at_after = named(&format!("facing at {}", after.name.text));
    let first = &parent.edges[chain[0]];
    let last = &parent.edges[chain[chain.len() - 1]];
    for (name, edge, near) in [(&at_before, before, &first.from), (&at_after, after, &last.to)] {
        let how = PointHow::Crossing {
            edge: theirs(edge),
            with: named("inner line"),
            nearest: Some(near.clone()),
            extended: false,
        };
        piece.points.push(PointStep { name: name.clone(), how, when: None });
    }
    let mut add = |edge: &EdgeStep, from: &Text, to: &Text| {
        piece.edges.push(EdgeStep {
            from: from.clone(),
            to: to.clone(),
            how: EdgeHow::Along(theirs(edge)),
            when: None,
            ..edge.clone()
        });
    };
    for at in chain {
        let edge = &parent.edges[*at];
        add(edge, &edge.from, &edge.to);
    }
    add(after, &last.to, &at_after);
    add(before, &at_before, &first.from);
    let inner = EdgeStep {
        from: at_after,
        to: at_before,
        how: EdgeHow::Along(named("inner line")),
        allow,
        ..line("inner edge", EdgeHow::Along(named("inner line")))
    };
    piece.edges.insert(chain.len() + 1, EdgeStep { drawn: true, ..inner });
    piece.cloth.clone_from(&parent.cloth);
    (piece.count, piece.mirrored) = (parent.count, parent.mirrored);
    // It is worn with its face to the body, so that face up it shows the other side.
    piece.drawn = parent.drawn.map(Side::other);
    piece.grain = match &parent.grain {
        Grain::Along(edge) => Grain::Along(renamed(&place, &format!("{}/{}", parent.name.text, edge.text))),
        other => other.clone(),
    };
}
