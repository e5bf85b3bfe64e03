//! A piece and what it takes over from another.

use super::props::{first_text, flag, formula, one_of, replace_or_push, text};
use super::{EdgeHow, EdgeStep, Grain, Heading, Passing, PieceSteps, PointHow, check, derive, marks, steps};
use crate::diag::Result;
use crate::measures::Side;
use crate::source::{Node, Text, with_known};

/// Reads `piece "Front" { … }`, or a `block`, which is drafted for other pieces to stand on and never cut.
pub(super) fn read(node: Node<'_>, earlier: &[PieceSteps]) -> Result<PieceSteps> {
    node.only_takes(1, &["like", "drafted-on", "when"])?;
    let mut piece = empty(node)?;
    piece.block = node.name() == "block";
    piece.when = formula(node, "when")?;
    inherit(node, &mut piece, earlier)?;
    for step in node.children() {
        read_step(step, &mut piece)?;
    }
    check::piece(&piece, earlier)?;
    Ok(piece)
}

/// A piece without steps, named by the node.
pub(super) fn empty(node: Node<'_>) -> Result<PieceSteps> {
    node.title()?;
    Ok(PieceSteps {
        name: first_text(node)?,
        like: None,
        block: false,
        when: None,
        count: 1,
        mirrored: false,
        drawn: None,
        cloth: "main cloth".into(),
        points: Vec::new(),
        edges: Vec::new(),
        lines: Vec::new(),
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        changes: Vec::new(),
        drills: Vec::new(),
        balances: Vec::new(),
        buttons: Vec::new(),
        grain: Grain::Upright,
    })
}

pub(super) fn read_step(step: Node<'_>, piece: &mut PieceSteps) -> Result<()> {
    match step.name() {
        "cut" => read_cut(step, piece)?,
        "point" => put_point(step, piece)?,
        "edge" => put_edge(step, piece)?,
        "line" => put_line(step, piece)?,
        "notch" => {
            if let Some(old) = text(step, "instead-of")? {
                let before = piece.notches.len();
                piece.notches.retain(|n| n.on.text != old.text);
                if piece.notches.len() == before {
                    return Err(old.error("there is no notch on this edge to put another in its place").into());
                }
            }
            piece.notches.push(steps::notch(step)?);
        }
        "dart" => piece.darts.push(steps::dart(step)?),
        "pleat" | "tuck" => piece.pleats.push(steps::pleat(step)?),
        "slash" => piece.changes.push(steps::slash(step)?),
        "turn-dart" => piece.changes.push(steps::turn_dart(step)?),
        "unfold" => derive::unfold(step, piece)?,
        "drill" => {
            step.only_takes(1, &[])?;
            step.title()?;
            piece.drills.push(first_text(step)?);
        }
        "balance" => replace_or_push(&mut piece.balances, marks::balance(step)?, |b| &b.name.text),
        "buttons" | "buttonholes" => piece.buttons.push(marks::buttons(step)?),
        "grain" => piece.grain = steps::grain(step)?,
        // Read with the style's other values.
        "value" => {}
        _ => {
            let known = [
                "cut",
                "point",
                "edge",
                "line",
                "notch",
                "dart",
                "pleat",
                "tuck",
                "slash",
                "turn-dart",
                "unfold",
                "drill",
                "balance",
                "buttons",
                "buttonholes",
                "grain",
                "value",
            ];
            return Err(step.unknown(&known).into());
        }
    }
    Ok(())
}

/// `like` takes over everything that is drafted, `drafted-on` only the points and inner lines.
fn inherit(node: Node<'_>, piece: &mut PieceSteps, earlier: &[PieceSteps]) -> Result<()> {
    let (like, on) = (text(node, "like")?, text(node, "drafted-on")?);
    let Some(parent_name) = like.as_ref().or(on.as_ref()) else { return Ok(()) };
    let parent = find(parent_name, &piece.name, earlier)?;
    piece.points.clone_from(&parent.points);
    if like.is_some() {
        piece.like = Some(parent.name.text.clone());
        piece.edges.clone_from(&parent.edges);
        piece.lines.clone_from(&parent.lines);
        piece.notches.clone_from(&parent.notches);
        piece.darts.clone_from(&parent.darts);
        piece.pleats.clone_from(&parent.pleats);
        piece.changes.clone_from(&parent.changes);
        piece.drills.clone_from(&parent.drills);
        piece.balances.clone_from(&parent.balances);
        piece.buttons.clone_from(&parent.buttons);
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

/// The piece above that a name stands for.
pub(super) fn find<'a>(name: &Text, own: &Text, earlier: &'a [PieceSteps]) -> Result<&'a PieceSteps> {
    earlier.iter().find(|p| p.name.text == name.text).ok_or_else(|| {
        if name.text == own.text {
            return name.error("a piece can't be like itself").hint("name another piece").into();
        }
        let known: Vec<&str> = earlier.iter().map(|p| p.name.text.as_str()).collect();
        let finding = name.error(format!("there is no piece \"{}\" above this one", name.text));
        with_known(finding, &name.text, &known).into()
    })
}

fn read_cut(node: Node<'_>, piece: &mut PieceSteps) -> Result<()> {
    node.only_takes(1, &["from", "mirrored", "drawn"])?;
    let value = node.args().next().ok_or_else(|| node.error("how many are cut?").hint("write: cut 2"))?;
    let count = value.number()?;
    if !(1.0..=500.0).contains(&count) || count.fract() != 0.0 {
        return Err(value.error("the number to cut is a whole number from 1 to 500").into());
    }
    piece.count = count as u32;
    piece.mirrored = flag(node, "mirrored")?;
    if let Some(side) = text(node, "drawn")? {
        piece.drawn = Some(one_of(&side, &[("left", Side::Left), ("right", Side::Right)])?);
    }
    if let Some(cloth) = text(node, "from")? {
        piece.cloth = cloth.text;
    }
    Ok(())
}

/// Adds a point; with a condition the earlier step of that name stays for when it does not hold.
fn put_point(node: Node<'_>, piece: &mut PieceSteps) -> Result<()> {
    let mut point = steps::point(node)?;
    if let Some(when) = formula(node, "when")? {
        let Some(old) = piece.points.iter().find(|p| p.name.text == point.name.text) else {
            return Err(node
                .error("where this does not hold the point would be missing")
                .hint("say first where it is otherwise, without when")
                .into());
        };
        point.when = Some((when, Box::new(old.clone())));
    }
    replace_or_push(&mut piece.points, point, |p| &p.name.text);
    Ok(())
}

fn put_line(node: Node<'_>, piece: &mut PieceSteps) -> Result<()> {
    let mut line = steps::edge(node, false)?;
    if let Some(when) = formula(node, "when")? {
        let old = piece.lines.iter().find(|l| l.name.text == line.name.text).cloned();
        line.when = Some((when, old.map(Box::new)));
    }
    replace_or_push(&mut piece.lines, line, |l| &l.name.text);
    Ok(())
}

/// Adds an edge, or puts it in the place of another.
fn put_edge(node: Node<'_>, piece: &mut PieceSteps) -> Result<()> {
    let mut edge = steps::edge(node, true)?;
    if let Some(when) = formula(node, "when")? {
        let same =
            |e: &&EdgeStep| e.name.text == edge.name.text && e.from.text == edge.from.text && e.to.text == edge.to.text;
        let Some(old) = piece.edges.iter().find(same) else {
            return Err(node
                .error("where this does not hold the edge would be missing")
                .hint("say first how it runs otherwise, between the same points, without when")
                .into());
        };
        edge.when = Some((when, Some(Box::new(old.clone()))));
    }
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
    each_edge_name(piece, &mut |text: &mut Text| {
        if text.text == old.text {
            text.text.clone_from(&new);
        }
    });
    Ok(())
}

/// Goes over every place where a piece's steps name an edge of it, but for the edges' own names.
fn each_edge_name(piece: &mut PieceSteps, rename: &mut dyn FnMut(&mut Text)) {
    for edge in piece.edges.iter_mut().chain(&mut piece.lines) {
        match &mut edge.how {
            EdgeHow::Curve { through, leaving, arriving } => {
                let passing = through.iter_mut().filter_map(|pass| match pass {
                    Passing::Point(_, heading) => heading.as_mut(),
                    Passing::Hollow { .. } => None,
                });
                for heading in leaving.iter_mut().chain(arriving.iter_mut()).chain(passing) {
                    if let Heading::SquareTo(edge) | Heading::Along(edge) = heading {
                        rename(edge);
                    }
                }
            }
            EdgeHow::Along(line) => rename(line),
            EdgeHow::Parallel { of, .. } => of.iter_mut().for_each(&mut *rename),
            EdgeHow::Mirrored { of, line, .. } => {
                rename(of);
                rename(line);
            }
            EdgeHow::Arc { .. } => {}
        }
    }
    for point in &mut piece.points {
        match &mut point.how {
            PointHow::On { edge, .. } | PointHow::OnLevel { edge, .. } => rename(edge),
            PointHow::Crossing { edge, with, .. } => {
                rename(edge);
                rename(with);
            }
            PointHow::Reaching { line, .. } | PointHow::Mirrored { line, .. } => rename(line),
            _ => {}
        }
    }
    piece.notches.iter_mut().for_each(|notch| rename(&mut notch.on));
    piece.darts.iter_mut().for_each(|dart| rename(&mut dart.on));
    piece.pleats.iter_mut().for_each(|pleat| rename(&mut pleat.on));
    piece.buttons.iter_mut().for_each(|row| rename(&mut row.on));
    if let Grain::Along(edge) = &mut piece.grain {
        rename(edge);
    }
}
