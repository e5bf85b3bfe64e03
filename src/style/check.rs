//! Every name that a step uses is there, and the edges follow each other around the piece.

use super::{Change, EdgeHow, EdgeStep, Grain, Heading, Passing, PieceSteps, PointHow};
use crate::diag::Result;
use crate::source::{Text, with_known};

struct Names<'a> {
    piece: &'a PieceSteps,
    points: Vec<&'a str>,
    edges: Vec<&'a str>,
    earlier: &'a [PieceSteps],
}

impl Names<'_> {
    fn point(&self, name: &Text) -> Result<()> {
        self.known(name, "point", &self.points)
    }

    /// An edge or line of the piece, or one of another piece as `Front/neckline`.
    fn edge(&self, name: &Text) -> Result<()> {
        if let Some((piece, edge)) = name.text.split_once('/')
            && let Some(steps) = self.earlier.iter().find(|p| p.name.text == piece.trim())
            && steps.edge(edge.trim()).is_some()
        {
            return Ok(());
        }
        self.known(name, "edge", &self.edges)
    }

    fn known(&self, name: &Text, what: &str, known: &[&str]) -> Result<()> {
        if known.contains(&name.text.as_str()) {
            return Ok(());
        }
        let finding = name.error(format!("there is no {what} \"{}\"", name.text)).piece(&self.piece.name.text);
        Err(with_known(finding, &name.text, known).into())
    }

    fn point_step(&self, how: &PointHow) -> Result<()> {
        match how {
            PointHow::From { from, level_with, plumb_with, .. } => {
                [from, level_with, plumb_with].into_iter().flatten().try_for_each(|name| self.point(name))
            }
            PointHow::StraightDown { from, to, .. } | PointHow::Towards { from, to, .. } => {
                self.point(from)?;
                self.point(to)
            }
            PointHow::On { edge, from, .. } => {
                self.edge(edge)?;
                from.iter().try_for_each(|name| self.point(name))
            }
            PointHow::OnLevel { edge, with, .. } => {
                self.edge(edge)?;
                self.point(with)
            }
            PointHow::Crossing { edge, with, nearest, .. } => {
                self.edge(edge)?;
                self.edge(with)?;
                nearest.iter().try_for_each(|name| self.point(name))
            }
            PointHow::Reaching { from, line, nearest, .. } => {
                self.edge(line)?;
                nearest.iter().chain([from]).try_for_each(|name| self.point(name))
            }
            PointHow::Turned { about, from, .. } => {
                self.point(about)?;
                self.point(from)
            }
            PointHow::Mirrored { of, line, .. } => {
                self.point(of)?;
                self.edge(line)
            }
        }
    }

    fn edge_step(&self, step: &EdgeStep) -> Result<()> {
        match &step.how {
            EdgeHow::Curve { through, leaving, arriving } => {
                for pass in through {
                    if let Passing::Point(point, heading) = pass {
                        self.point(point)?;
                        heading.iter().try_for_each(|heading| self.heading(heading))?;
                    }
                }
                leaving.iter().chain(arriving).try_for_each(|heading| self.heading(heading))?;
            }
            EdgeHow::Arc { about, .. } => self.point(about)?,
            EdgeHow::Along(line) => self.edge(line)?,
            EdgeHow::Parallel { of, .. } => return of.iter().try_for_each(|name| self.edge(name)),
            EdgeHow::Mirrored { of, line, .. } => {
                self.edge(of)?;
                self.edge(line)?;
            }
        }
        self.point(&step.from)?;
        self.point(&step.to)
    }

    fn heading(&self, heading: &Heading) -> Result<()> {
        match heading {
            Heading::SquareTo(name) | Heading::Along(name) => self.edge(name),
            Heading::Towards(name) => self.point(name),
            Heading::Level | Heading::Upright => Ok(()),
        }
    }
}

pub(super) fn piece(piece: &PieceSteps, earlier: &[PieceSteps]) -> Result<()> {
    let names = Names {
        piece,
        points: piece.points.iter().map(|p| p.name.text.as_str()).collect(),
        edges: piece.edges.iter().chain(&piece.lines).map(|e| e.name.text.as_str()).collect(),
        earlier,
    };
    for step in &piece.points {
        let mut step = step;
        names.point_step(&step.how)?;
        while let Some((_, other)) = &step.when {
            step = other;
            names.point_step(&step.how)?;
        }
    }
    for step in piece.edges.iter().chain(&piece.lines) {
        let mut step = step;
        names.edge_step(step)?;
        while let Some((_, Some(other))) = &step.when {
            step = other;
            names.edge_step(step)?;
        }
    }
    let on = piece.notches.iter().map(|notch| &notch.on);
    let on = on.chain(piece.darts.iter().map(|dart| &dart.on)).chain(piece.pleats.iter().map(|pleat| &pleat.on));
    let changed = piece.changes.iter().flat_map(|change| match change {
        Change::Slash { from, to, .. } | Change::TurnDart { from, to, .. } => [from, to],
    });
    for name in on.chain(changed) {
        let outline: Vec<&str> = piece.edges.iter().map(|e| e.name.text.as_str()).collect();
        names.known(name, "edge", &outline)?;
    }
    piece.drills.iter().chain(piece.darts.iter().map(|dart| &dart.point)).try_for_each(|name| names.point(name))?;
    piece.balances.iter().try_for_each(|balance| names.point(&balance.at))?;
    piece.buttons.iter().try_for_each(|row| names.known(&row.on, "edge", &names.edges))?;
    if let Grain::Along(name) = &piece.grain {
        names.edge(name)?;
    }
    follow_each_other(piece)
}

fn follow_each_other(piece: &PieceSteps) -> Result<()> {
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
