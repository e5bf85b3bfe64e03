//! A sheet's strokes, sorted into tools and put in order.

pub mod estimate;
mod greedy;
pub mod knife;
mod near;
mod rules;
mod search;
mod starts;
pub mod tour;
mod tree;

use crate::device::{Device, Tool};
use crate::diag::{Finding, Result};
use crate::lay::{Sheet, SheetStroke};
use crate::role::Role;
use kurbo::{BezPath, Point, Shape};
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
    /// Nominal side of the check square, mm.
    pub square: f64,
    /// Tool by tool, in working order.
    pub passes: Vec<Pass>,
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
    /// The edge or inner line that it belongs to; empty where none.
    pub edge: String,
    /// One subpath, open or closed, in sheet coordinates.
    pub path: BezPath,
}

/// Sorts a sheet's strokes into the device's tools by role, and puts them in order: pens before knives, within a piece
/// marks before inner cuts and those before the outline, and within that with little travel. Strokes may come out reversed, and
/// closed ones started elsewhere. `title` is the job's, such as style, person, sheet n of N.
///
/// # Errors
/// Where none of the device's tools carries out any of the sheet's roles. A sheet with cut lines that no tool carries
/// out is a [`crate::diag::Severity::Breach`] among the findings.
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
    tools.sort_by_key(|tool| tool.kind);
    let mut at = Point::ORIGIN;
    let mut passes = Vec::new();
    for tool in tools {
        let chosen: Vec<usize> = (0..sheet.strokes.len())
            .filter(|index| tool.roles.contains(&sheet.strokes[*index].role) && !sheet.strokes[*index].path.is_empty())
            .collect();
        let visits: Vec<Visit> = chosen
            .iter()
            .map(|index| {
                let SheetStroke { role, path, placed, .. } = &sheet.strokes[*index];
                let level = match role {
                    Role::Cut if placed.is_some_and(|piece| outlines[piece] == Some(*index)) => 2,
                    Role::Cut => 1,
                    _ => 0,
                };
                Visit { path: path.clone(), group: *placed, level }
            })
            .collect();
        let strokes: Vec<JobStroke> = tour::tour(&visits, at, effort, progress)
            .into_iter()
            .map(|(visit, path)| {
                let SheetStroke { role, placed, edge, .. } = &sheet.strokes[chosen[visit]];
                let piece = placed.map_or(String::new(), |piece| sheet.placed[piece].piece.clone());
                JobStroke { role: *role, piece, edge: edge.clone(), path }
            })
            .collect();
        if let Some(last) = strokes.last() {
            at = crate::geom::path::end(&last.path).unwrap_or(at);
            passes.push(Pass { tool: tool.name.clone(), strokes });
        }
    }
    if passes.is_empty() {
        let message = format!("\"{}\" has no tool for anything on this sheet", device.name);
        return Err(Box::new(Finding::error(message).hint("name the roles in a tool's \"draws\" or \"cuts\"")));
    }
    let job = Job {
        device: device.name.clone(),
        medium: sheet.medium.clone(),
        title: title.into(),
        width: sheet.width,
        height: sheet.height,
        square: sheet.square,
        passes,
    };
    Ok((job, left_out(sheet, device)))
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
