//! What a tool has to do for each stroke of a sheet, before its order is known: a line moved by half a kerf, bridged,
//! parted at its corners, and where a closed one may be begun.

use super::knife::{self, DragKnife, Keeps};
use super::tour::closed;
use crate::device::{Device, Tip, Tool, ToolKind};
use crate::diag::{Finding, Result};
use crate::geom::parts;
use crate::geom::path::{self, ARC_ACCURACY, is_closed, tangent};
use crate::lay::{Sheet, SheetStroke};
use crate::role::Role;
use kurbo::{BezPath, ParamCurve, ParamCurveArclen, PathSeg, Point, Vec2};

/// A closed cut is begun at least this far from corners and notches, mm, where it can be: a start leaves a nick, and a
/// nick weakens a corner (common practice, no source).
const CLEAR: f64 = 5.0;
/// A corner, for that: where a line turns by more than this, radians.
const CORNER: f64 = 0.2;
/// Between two places where a closed cut may be begun, mm, at the least.
const APART: f64 = 40.0;
/// Notches end this near to the line that they belong to, mm.
const AT: f64 = 1.5;
/// The share of the flattening tolerance that a moved line may stray by: the writer needs the rest.
const SHARE: f64 = 0.2;
/// The shortest line that is more than a dot, mm.
const DOT: f64 = 1e-6;

/// One line for a tool.
#[derive(Clone, Debug)]
pub(super) struct Task {
    /// Index of the sheet's stroke that it comes from.
    pub(super) stroke: usize,
    /// The line, as the tip, wheel or beam is to follow it.
    pub(super) path: BezPath,
    /// Marks come first, then inner cuts, then the piece's outline.
    pub(super) level: u32,
    /// As for a visit: where a closed line may be begun; empty where anywhere.
    pub(super) starts: Vec<usize>,
}

/// What a tool does for one stroke; `outline` says whether that is a placed piece's outline.
///
/// # Errors
/// A closed line that is too small for the tool's kerf, or can't be moved by it.
pub(super) fn tasks(sheet: &Sheet, stroke: usize, outline: bool, tool: &Tool, device: &Device) -> Result<Vec<Task>> {
    let SheetStroke { role, path, .. } = &sheet.strokes[stroke];
    let level = match role {
        Role::Cut if outline => 2,
        Role::Cut => 1,
        _ => 0,
    };
    let task = |path, starts| Task { stroke, path, level, starts };
    if path::length(path) < DOT {
        return Ok(vec![task(path.clone(), Vec::new())]);
    }
    let moved = match tool.tip {
        Tip::Laser { kerf } | Tip::Router { kerf } if leaves_a_side(sheet, stroke) => {
            off_the_line(sheet, stroke, outline, kerf, device)?
        }
        _ => vec![path.clone()],
    };
    let mut tasks = Vec::new();
    for line in moved {
        let parts = match tool.bridges {
            Some(bridges) if *role == Role::Cut => {
                // A beam takes away half its width at either end.
                let gap = bridges.length + tool.tip.kerf();
                knife::bridged(&line, gap, bridges.every)
            }
            _ => vec![line],
        };
        for part in parts {
            match tool.tip {
                Tip::Turning { lift_above } => {
                    let parts = knife::lift_and_turn(&part, lift_above.to_radians());
                    tasks.extend(parts.into_iter().map(|path| task(path, Vec::new())));
                }
                _ if tool.kind == ToolKind::Knife && is_closed(&part) => {
                    let (path, starts) = quiet_starts(&part, &notches(sheet, stroke));
                    tasks.push(task(path, starts));
                }
                _ => tasks.push(task(part, Vec::new())),
            }
        }
    }
    Ok(tasks)
}

/// Whether a stroke is a closed line with something that is kept on one side of it.
fn leaves_a_side(sheet: &Sheet, stroke: usize) -> bool {
    let stroke = &sheet.strokes[stroke];
    is_closed(&stroke.path) && stroke.placed.is_some() && matches!(stroke.role, Role::Cut | Role::Notch | Role::Drill)
}

fn off_the_line(sheet: &Sheet, stroke: usize, outline: bool, kerf: f64, device: &Device) -> Result<Vec<BezPath>> {
    let SheetStroke { role, path, placed, edge } = &sheet.strokes[stroke];
    let keeps = if outline { Keeps::Inside } else { Keeps::Outside };
    let moved = knife::half_kerf(path, kerf, keeps, SHARE * device.tolerance);
    let piece = placed.map_or("", |piece| &sheet.placed[piece].piece);
    let refused =
        |message: String, hint: &str| Err(Box::new(Finding::error(message).piece(piece).edge(edge).hint(hint)));
    match moved {
        Ok(lines) if lines.is_empty() => refused(
            format!("a {} is narrower than the {kerf} mm that the tool takes away", role.name()),
            "give the role to a pen, or use a finer tool",
        ),
        Ok(lines) => Ok(lines),
        Err(_) => refused(
            format!("the {} line can't be moved by half of {kerf} mm", role.name()),
            "please report it; a narrower kerf may help",
        ),
    }
}

/// Where the notches of a stroke's piece meet something, both ends of each.
fn notches(sheet: &Sheet, stroke: usize) -> Vec<Point> {
    let placed = sheet.strokes[stroke].placed;
    let of_piece = sheet.strokes.iter().filter(|other| other.role == Role::Notch && other.placed == placed);
    of_piece.flat_map(|notch| [path::start(&notch.path), path::end(&notch.path)]).flatten().collect()
}

/// A closed path with vertices added in quiet places, far from corners and from those points, and which of its segments
/// start there. Where there is no such place, the middle of the longest stretch between two of them; where there are
/// neither corners nor points, anywhere will do.
fn quiet_starts(line: &BezPath, points: &[Point]) -> (BezPath, Vec<usize>) {
    let segments: Vec<PathSeg> = line.segments().filter(|segment| segment.arclen(ARC_ACCURACY) > DOT).collect();
    let lengths: Vec<f64> = segments.iter().map(|segment| segment.arclen(ARC_ACCURACY)).collect();
    let total: f64 = lengths.iter().sum();
    let mut unquiet: Vec<f64> = Vec::new();
    let mut along = 0.0;
    for (at, segment) in segments.iter().enumerate() {
        let before = &segments[(at + segments.len() - 1) % segments.len()];
        let (from, to) = (tangent(before, 1.0), tangent(segment, 0.0));
        if from.cross(to).atan2(from.dot(to)).abs() > CORNER {
            unquiet.push(along);
        }
        along += lengths[at];
    }
    unquiet.extend(
        points.iter().filter_map(|point| parts::nearest(line, *point)).filter(|near| near.1 < AT).map(|near| near.0),
    );
    if unquiet.is_empty() {
        return (line.clone(), Vec::new());
    }
    unquiet.sort_by(f64::total_cmp);
    let stretches: Vec<[f64; 2]> = (0..unquiet.len())
        .map(|at| [unquiet[at], unquiet.get(at + 1).copied().unwrap_or(unquiet[0] + total)])
        .collect();
    let mut places: Vec<f64> = Vec::new();
    for [from, to] in &stretches {
        let (from, to) = (from + CLEAR, to - CLEAR);
        if from < to {
            let more = ((to - from) / APART) as u32;
            places.extend((0..=more).map(|at| from + (to - from) * (f64::from(at) + 0.5) / f64::from(more + 1)));
        }
    }
    if places.is_empty() {
        let longest = stretches.iter().max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])));
        places.extend(longest.map(|[from, to]| f64::midpoint(*from, *to)));
    }
    for place in &mut places {
        *place %= total;
    }
    places.sort_by(f64::total_cmp);
    parted(&segments, &lengths, &places)
}

/// A closed path of those segments, parted at those distances, and the segments that start there.
fn parted(segments: &[PathSeg], lengths: &[f64], places: &[f64]) -> (BezPath, Vec<usize>) {
    let (mut all, mut starts) = (Vec::new(), Vec::new());
    let mut before = 0.0;
    for (segment, long) in segments.iter().zip(lengths) {
        let inside = places.iter().map(|place| place - before).filter(|at| (0.0..*long).contains(at));
        let mut rest = *segment;
        let mut done = 0.0;
        for at in inside {
            let t = rest.inv_arclen(at - done, ARC_ACCURACY);
            if t > 0.0 && t < 1.0 {
                let (first, second) = (rest.subsegment(0.0..t), rest.subsegment(t..1.0));
                all.push(first);
                rest = ending_at(second, rest.end());
                done = at;
            }
            starts.push(all.len());
        }
        all.push(rest);
        before += long;
    }
    (closed(all), starts)
}

/// The segment with its end there, to the last digit.
fn ending_at(segment: PathSeg, end: Point) -> PathSeg {
    match segment {
        PathSeg::Line(mut line) => {
            line.p1 = end;
            line.into()
        }
        PathSeg::Quad(mut quad) => {
            quad.p2 = end;
            quad.into()
        }
        PathSeg::Cubic(mut cubic) => {
            cubic.p3 = end;
            cubic.into()
        }
    }
}

/// A task's line in its working direction as strokes of the machine's head, every pass counted. `heading` is that of a
/// drag knife's blade, and is brought up to date.
pub(super) fn strokes(path: BezPath, tool: &Tool, tolerance: f64, heading: &mut Vec2) -> Vec<BezPath> {
    let passes = tool.passes.max(1) as usize;
    let Tip::Drag { offset, swing_above, overcut, run_in } = tool.tip else {
        // A blade cuts one way only; all else goes there and back.
        let back = if is_closed(&path) || tool.kind == ToolKind::Knife && tool.tip.kerf() == 0.0 {
            path.clone()
        } else {
            path::reversed(&path)
        };
        return (0..passes).map(|pass| if pass % 2 == 0 { path.clone() } else { back.clone() }).collect();
    };
    if path::length(&path) < DOT {
        let dot = kurbo::Affine::translate(offset * *heading) * path;
        return vec![dot; passes];
    }
    let laps = if is_closed(&path) { tool.passes.max(1) } else { 1 };
    let knife = DragKnife { offset, run_in, overcut, swing_above: swing_above.to_radians(), laps };
    let strokes = passes / laps as usize;
    (0..strokes)
        .map(|_| {
            let (head, after) = knife::drag(&path, &knife, *heading, SHARE * tolerance);
            *heading = after;
            head
        })
        .collect()
}

/// The cut that turns a drag knife's blade before a job: a straight one along x inside the check square, which is waste.
/// The head's path, and the heading afterwards. `None` where the sheet has no check square.
pub(super) fn settling(sheet: &Sheet, offset: f64) -> Option<(BezPath, Vec2)> {
    /// So many offsets long: an angle φ of the blade falls by tan(φ/2) → tan(φ/2) · e⁻¹⁰ (`proof::blade`).
    const LONG: f64 = 10.0;
    let square = sheet.strokes.iter().filter(|stroke| stroke.role == Role::Square && stroke.placed.is_none());
    let bounds = square
        .map(|stroke| kurbo::Shape::bounding_box(&stroke.path))
        .find(|bounds| (bounds.width() - sheet.square).abs() < 1e-3 && (bounds.height() - sheet.square).abs() < 1e-3)?;
    // Clear of the figures in its corner and of the smaller square in its middle.
    let start = Point::new(bounds.x0 + 0.5 * bounds.width(), bounds.y0 + 0.17 * bounds.height());
    let mut head = BezPath::new();
    head.move_to(start);
    head.line_to(start + Vec2::new((LONG * offset).min(0.4 * bounds.width()), 0.0));
    Some((head, Vec2::new(1.0, 0.0)))
}
