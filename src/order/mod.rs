//! A sheet's strokes, sorted into tools and put in order.

pub mod estimate;
mod greedy;
pub mod knife;
mod near;
mod rules;
mod search;
mod starts;
mod tasks;
pub mod tour;
mod tree;

use crate::device::{Device, MediumKind, Sequence, Tip, Tool};
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::lay::{Sheet, SheetStroke};
use crate::role::Role;
use kurbo::{BezPath, Point, Shape, Vec2};
use tasks::Task;
use tour::Visit;

/// What a machine does on one sheet, nominal: not yet corrected. It can't be cloned, so that what [`crate::calibrate`]
/// has taken in and lends out again can't be corrected twice.
#[derive(Debug, PartialEq)]
pub struct Job {
    /// The device's name.
    pub device: String,
    /// The medium's name.
    pub medium: String,
    /// The sheet's title: style, person, sheet n of N.
    pub title: String,
    /// Extent along x, mm.
    pub width: f64,
    /// Extent along y, mm.
    pub height: f64,
    /// The machine's zero in sheet coordinates: the head sets out from there, and goes back there.
    pub zero: Point,
    /// Nominal side of the check square, mm.
    pub square: f64,
    /// Tool by tool, in working order.
    pub passes: Vec<Pass>,
    /// The size of each of the sheet's placed pieces, where sizes are laid over one another; else empty.
    pub sizes: Vec<Size>,
}

/// One of several sizes that are laid over one another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Size {
    /// Its number, from 1: of its line type and in its layers' names.
    pub number: usize,
    /// For whom, or which size.
    pub name: String,
}

impl Job {
    /// The size that a stroke belongs to, where sizes are laid over one another.
    pub fn size(&self, stroke: &JobStroke) -> Option<&Size> {
        self.sizes.get(stroke.placed?)
    }
}

/// All that one tool does.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// The tool's name.
    pub tool: String,
    /// Its strokes in working order, each in its working direction.
    pub strokes: Vec<JobStroke>,
}

/// One stroke of a tool.
#[derive(Clone, Debug, PartialEq)]
pub struct JobStroke {
    /// What it is for.
    pub role: Role,
    /// The piece's name; empty for the sheet's own strokes.
    pub piece: String,
    /// Which of the sheet's placed pieces that is: a name may be there twice.
    pub placed: Option<usize>,
    /// The edge or inner line that it belongs to; empty where none.
    pub edge: String,
    /// One subpath, open or closed, in sheet coordinates: the way of the machine's head.
    pub path: BezPath,
}

/// The edge's name of the cut that turns a drag knife's blade before it cuts anything else.
pub const SETTLING: &str = "blade turned";

/// What a way along the feed of a roll counts beside one across it: the whole roll is moved, and may slip.
const FEED: f64 = 3.0;

/// Sorts a sheet's strokes into the device's tools by role, moves each line to where the tool's tip, wheel or beam needs
/// the head, and puts them in order: pens before knives, within a piece marks before inner cuts and those before the
/// outline, piece by piece where the device finishes each before the next, and within that with little travel and, on a
/// roll, little feed to and fro. Strokes may come out reversed, and closed ones started elsewhere; those of a tool that
/// goes over them several times come so many times. `title` is the job's, such as style, person, sheet n of N.
///
/// # Errors
/// Where none of the device's tools carries out any of the sheet's roles; a line that can't be moved by half its tool's
/// kerf. A sheet with cut lines that no tool carries out is a [`crate::diag::Severity::Breach`] among the findings.
pub fn order(sheet: &Sheet, device: &Device, title: &str) -> Result<(Job, Vec<Finding>)> {
    order_within(sheet, device, title, &tour::Effort::default(), &mut |done| done)
}

/// As [`order`], with as much work as `effort` says; `progress` as for [`tour::tour`], tool by tool.
///
/// # Errors
/// As [`order`].
pub fn order_within(
    sheet: &Sheet,
    device: &Device,
    title: &str,
    effort: &tour::Effort,
    progress: &mut dyn FnMut(f64) -> f64,
) -> Result<(Job, Vec<Finding>)> {
    let outlines = outlines(sheet);
    let mut tools: Vec<&Tool> = device.tools.iter().collect();
    // Of two knives the one that cuts pieces out comes last.
    tools.sort_by_key(|tool| (tool.kind, tool.roles.contains(&Role::Cut)));
    let mut work: Vec<Vec<Task>> = Vec::new();
    for tool in &tools {
        let mut tasks = Vec::new();
        for (index, stroke) in sheet.strokes.iter().enumerate() {
            if tool.roles.contains(&stroke.role) && !stroke.path.is_empty() {
                let outline = stroke.placed.is_some_and(|piece| outlines[piece] == Some(index));
                tasks.extend(tasks::tasks(sheet, index, outline, tool, device)?);
            }
        }
        work.push(tasks);
    }
    let rolls = device.medium(&sheet.medium).is_some_and(|medium| matches!(medium.kind, MediumKind::Roll { .. }));
    let effort = if rolls { tour::Effort { feed: FEED, ..*effort } } else { *effort };
    let zero = device.axes.origin.on(sheet.width, sheet.height);
    let mut head = Head { sheet, device, at: zero, headings: vec![None; tools.len()], passes: Vec::new() };
    let rounds = match device.sequence {
        Sequence::ToolByTool => vec![Round::All],
        Sequence::PieceByPiece => piece_by_piece(sheet, zero, &effort),
    };
    for round in rounds {
        for (which, tool) in tools.iter().enumerate() {
            let mine = |task: &&Task| round.has(sheet.strokes[task.stroke].placed);
            let tasks: Vec<&Task> = work[which].iter().filter(mine).collect();
            head.work(which, tool, &tasks, &effort, progress);
        }
    }
    if head.passes.is_empty() {
        let message = format!("\"{}\" has no tool for anything on this sheet", device.name);
        return Err(Box::new(Finding::error(message).hint("name the roles in a tool's \"draws\" or \"cuts\"")));
    }
    let job = Job {
        device: device.name.clone(),
        medium: sheet.medium.clone(),
        title: title.into(),
        width: sheet.width,
        height: sheet.height,
        zero,
        square: sheet.square,
        passes: head.passes,
        sizes: sizes(sheet),
    };
    Ok((job, left_out(sheet, device)))
}

/// The size of every placed piece; none where the sheet has no sizes, or a piece that is of none of them: each stands at
/// its piece's own place.
fn sizes(sheet: &Sheet) -> Vec<Size> {
    let of = |person: &String| {
        let number = sheet.sizes.iter().position(|name| name == person)? + 1;
        Some(Size { number, name: person.clone() })
    };
    sheet.placed.iter().map(|placed| of(&placed.person)).collect::<Option<Vec<_>>>().unwrap_or_default()
}

/// What is worked through before the tools begin again.
#[derive(Clone, Copy)]
enum Round {
    /// All of the sheet.
    All,
    /// What is on no piece.
    Sheet,
    /// One piece.
    Piece(usize),
}

impl Round {
    /// Whether a stroke of that piece belongs to it.
    fn has(self, placed: Option<usize>) -> bool {
        match self {
            Self::All => true,
            Self::Sheet => placed.is_none(),
            Self::Piece(piece) => placed == Some(piece),
        }
    }
}

/// What is on no piece, then the pieces in the order of a tour through their middles.
fn piece_by_piece(sheet: &Sheet, zero: Point, effort: &tour::Effort) -> Vec<Round> {
    let middles: Vec<Visit> = sheet
        .placed
        .iter()
        .map(|placed| {
            let mut path = BezPath::new();
            path.move_to(placed.outline.bounding_box().center());
            Visit::alone(path)
        })
        .collect();
    let effort = tour::Effort { one_by_one: false, ..*effort };
    let pieces = tour::tour(&middles, zero, &effort, &mut |done| done);
    std::iter::once(Round::Sheet).chain(pieces.into_iter().map(|(piece, _)| Round::Piece(piece))).collect()
}

/// The machine's head on its way through a job.
struct Head<'a> {
    sheet: &'a Sheet,
    device: &'a Device,
    at: Point,
    /// Of each tool's blade; `None` before its first stroke.
    headings: Vec<Option<Vec2>>,
    passes: Vec<Pass>,
}

impl Head<'_> {
    /// Carries out some of a tool's tasks.
    fn work(
        &mut self,
        which: usize,
        tool: &Tool,
        tasks: &[&Task],
        effort: &tour::Effort,
        progress: &mut dyn FnMut(f64) -> f64,
    ) {
        let visits: Vec<Visit> = tasks
            .iter()
            .map(|task| Visit {
                path: task.path.clone(),
                group: self.sheet.strokes[task.stroke].placed,
                level: task.level,
                starts: task.starts.clone(),
            })
            .collect();
        let mut strokes = Vec::new();
        for (visit, path) in tour::tour(&visits, self.at, effort, progress) {
            let SheetStroke { role, placed, edge, .. } = &self.sheet.strokes[tasks[visit].stroke];
            let mut put = |role, placed: Option<usize>, edge: &str, path| {
                let piece = placed.map_or(String::new(), |piece| self.sheet.placed[piece].piece.clone());
                strokes.push(JobStroke { role, piece, placed, edge: edge.into(), path });
            };
            let mut heading = self.headings[which].unwrap_or_else(|| {
                let Tip::Drag { offset, .. } = tool.tip else { return Vec2::ZERO };
                // The blade lies as it was left: it is turned in the waste first.
                tasks::settling(self.sheet, offset).map_or(Vec2::new(1.0, 0.0), |(path, heading)| {
                    put(*role, None, SETTLING, path);
                    heading
                })
            });
            for path in tasks::strokes(path, tool, self.device.tolerance, &mut heading) {
                put(*role, *placed, edge, path);
            }
            self.headings[which] = Some(heading);
        }
        let Some(last) = strokes.last() else { return };
        self.at = path::end(&last.path).unwrap_or(self.at);
        match self.passes.last_mut() {
            Some(pass) if pass.tool == tool.name => pass.strokes.append(&mut strokes),
            _ => self.passes.push(Pass { tool: tool.name.clone(), strokes }),
        }
    }
}

/// Each placed piece's outline among the sheet's strokes: the cut that reaches furthest.
fn outlines(sheet: &Sheet) -> Vec<Option<usize>> {
    let mut furthest = vec![(0.0, None); sheet.placed.len()];
    for (index, stroke) in sheet.strokes.iter().enumerate().filter(|(_, stroke)| stroke.role == Role::Cut) {
        let Some(piece) = stroke.placed else { continue };
        let area = stroke.path.bounding_box().area();
        if area > furthest[piece].0 {
            furthest[piece] = (area, Some(index));
        }
    }
    furthest.into_iter().map(|(_, index)| index).collect()
}

/// What is on the sheet and has no tool.
fn left_out(sheet: &Sheet, device: &Device) -> Vec<Finding> {
    let missing: Vec<&str> = Role::ALL
        .into_iter()
        .filter(|role| sheet.strokes.iter().any(|stroke| stroke.role == *role))
        .filter(|role| !device.tools.iter().any(|tool| tool.roles.contains(role)))
        .map(Role::name)
        .collect();
    let mut findings = Vec::new();
    if missing.contains(&Role::Cut.name()) {
        let message = format!("no tool of \"{}\" draws or cuts the cut line", device.name);
        findings.push(Finding::breach(message).hint("add \"cut\" to a tool's \"draws\" or \"cuts\""));
    }
    let others: Vec<&str> = missing.into_iter().filter(|name| *name != Role::Cut.name()).collect();
    if !others.is_empty() {
        findings.push(Finding::note(format!("left out, as no tool has them: {}", others.join(", "))));
    }
    findings
}
