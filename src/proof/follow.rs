//! What is cut by a tool whose head does not simply go along the sheet's lines: the tip is simulated, the width of a beam
//! undone, and what comes of it followed along the wanted lines, stretch by stretch. What no stretch covers is a bridge, or
//! forgotten.

use super::blade;
use super::pair::Drawn;
use super::trace::{Trace, in_step};
use crate::device::{Tip, Tool};
use crate::geom::path::is_closed;
use crate::lay::{Sheet, SheetStroke};
use crate::role::Role;
use crate::units::trimmed;
use geo::{Buffer, Coord, LineString, Polygon, buffer::BufferStyle, buffer::LineJoin};
use kurbo::{BezPath, Point, Rect, Vec2};

/// Shorter lines are dots, mm.
const DOT: f64 = 1e-6;
/// Arms of an arc about a corner lie no further apart than this, radians: it strays by 5e-5 of half the kerf.
const ROUND: f64 = 0.02;
/// The square's figures and frame are kept clear of by this, mm.
const INSIDE: f64 = 1.0;

/// What came of a tool's paths.
pub(super) struct Followed {
    /// Wanted strokes that are not cut.
    pub missing: Vec<usize>,
    /// Paths that belong to no wanted stroke.
    pub extra: Vec<usize>,
    /// The furthest that a path strays from its stroke, mm, and the stroke; by index among the wanted.
    pub worst: Option<(usize, f64)>,
    /// Wanted strokes that are cut otherwise than the profile says, and how.
    pub wrong: Vec<(usize, String)>,
    /// Which wanted stroke each path belongs to.
    pub of: Vec<(usize, usize)>,
}

/// A line to be cut, where the tip or the middle of the beam has to go for it.
struct Target {
    /// Index among the wanted strokes.
    stroke: usize,
    trace: Trace,
    closed: bool,
    /// Whether bridges are to be left in it.
    bridged: bool,
    /// What was cut of it, from and to along it, mm; beyond its length where it went round.
    cut: Vec<[f64; 2]>,
}

/// Whether a tool's paths have to be followed, and can't be compared with the sheet's strokes one by one.
pub(super) fn needed(tool: &Tool) -> bool {
    tool.tip != Tip::Plain || tool.bridges.is_some() || tool.passes > 1
}

/// Follows a tool's paths, in the order of the file, along the strokes that it is to cut. `wanted` and `paths` come with
/// the indices by which they are reported.
pub(super) fn follow(
    tool: &Tool,
    sheet: &Sheet,
    wanted: &[(usize, &SheetStroke)],
    paths: &[(usize, &Drawn)],
    allowed: f64,
    near: f64,
) -> Followed {
    let mut targets: Vec<Target> =
        wanted.iter().flat_map(|(index, stroke)| aims(*index, stroke, tool, sheet)).collect();
    let mut followed =
        Followed { missing: Vec::new(), extra: Vec::new(), worst: None, wrong: Vec::new(), of: Vec::new() };
    let square = waste(sheet);
    // A blade lies as it was left; where the sheet has no waste to turn it in, along x.
    let mut heading = if square.is_some() { Vec2::new(0.0, 1.0) } else { Vec2::new(1.0, 0.0) };
    for (count, (index, path)) in paths.iter().enumerate() {
        let Some(track) = track(path.path(), tool, &mut heading) else {
            followed.extra.push(*index);
            continue;
        };
        let turns_the_blade = matches!(tool.tip, Tip::Drag { .. }) && count == 0;
        if turns_the_blade && square.is_some_and(|square| square.union(track.bounds) == square) {
            continue;
        }
        let fit = [allowed, near].into_iter().find_map(|limit| fit(&track, &targets, limit));
        match fit {
            Some(Fit { target, distance, cut, .. }) => {
                let target = &mut targets[target];
                target.cut.push(cut);
                followed.of.push((target.stroke, *index));
                if followed.worst.is_none_or(|(_, worst)| distance > worst) {
                    followed.worst = Some((target.stroke, distance));
                }
            }
            None => followed.extra.push(*index),
        }
    }
    for target in &targets {
        match judge(target, tool, allowed) {
            Verdict::Good => {}
            Verdict::Missing => followed.missing.push(target.stroke),
            Verdict::Wrong(how) => followed.wrong.push((target.stroke, how)),
        }
    }
    followed.missing.dedup();
    // A stroke of which the beam can follow nothing is not cut.
    let aimed = |index: usize| targets.iter().any(|target| target.stroke == index);
    followed.missing.extend(wanted.iter().map(|(index, _)| *index).filter(|index| !aimed(*index)));
    followed
}

/// Where the tip or the beam's middle has to go for a stroke.
fn aims(index: usize, stroke: &SheetStroke, tool: &Tool, sheet: &Sheet) -> Vec<Target> {
    let Some(line) = Trace::new(&stroke.path, f64::INFINITY) else { return Vec::new() };
    let closed = is_closed(&stroke.path);
    let bridged = closed && stroke.role == Role::Cut && tool.bridges.is_some();
    let kerf = tool.tip.kerf();
    let keeps_a_side = closed && matches!(stroke.role, Role::Cut | Role::Notch | Role::Drill);
    let traces = match stroke.placed {
        Some(piece) if keeps_a_side && kerf > 0.0 => {
            let half = if is_outline(stroke, piece, sheet) { kerf / 2.0 } else { -kerf / 2.0 };
            beside(&line, half)
        }
        _ => vec![line],
    };
    traces.into_iter().map(|trace| Target { stroke: index, trace, closed, bridged, cut: Vec::new() }).collect()
}

/// Whether a stroke is the largest cut of its piece.
fn is_outline(stroke: &SheetStroke, piece: usize, sheet: &Sheet) -> bool {
    let area = |stroke: &SheetStroke| kurbo::Shape::area(&stroke.path).abs();
    let cuts = sheet.strokes.iter().filter(|other| other.role == Role::Cut && other.placed == Some(piece));
    stroke.role == Role::Cut && cuts.map(area).all(|other| other <= area(stroke))
}

/// The lines at a distance outside a closed trace, or inside where negative, round about corners: by another library's
/// reckoning than the one that planned the beam's way.
fn beside(trace: &Trace, distance: f64) -> Vec<Trace> {
    let ring: LineString = trace.points().iter().map(|p| Coord { x: p.x, y: p.y }).collect();
    let style = BufferStyle::new(distance).line_join(LineJoin::Round(ROUND));
    let area = Polygon::new(ring, Vec::new()).buffer_with_style(style);
    let rings = area.0.iter().flat_map(|polygon| std::iter::once(polygon.exterior()).chain(polygon.interiors()));
    rings.filter_map(|ring| Trace::along(ring.coords().map(|c| Point::new(c.x, c.y)).collect())).collect()
}

/// The inside of the check square, which is nobody's piece.
fn waste(sheet: &Sheet) -> Option<Rect> {
    let own = sheet.strokes.iter().filter(|stroke| stroke.role == Role::Square && stroke.placed.is_none());
    let bounds = own.map(|stroke| kurbo::Shape::bounding_box(&stroke.path));
    let is_it = |side: f64| (side - sheet.square).abs() < 1e-3;
    bounds.into_iter().find(|b| is_it(b.width()) && is_it(b.height())).map(|square| square.inset(-INSIDE))
}

/// What a path of the file cuts.
fn track(path: &BezPath, tool: &Tool, heading: &mut Vec2) -> Option<Trace> {
    let Tip::Drag { offset, .. } = tool.tip else { return Trace::new(path, f64::INFINITY) };
    let track = blade::tip(path, offset, *heading);
    *heading = track.heading;
    Trace::of_track(track)
}

/// A place of a track along a target.
struct Fit {
    target: usize,
    distance: f64,
    cut: [f64; 2],
    /// How much of that was cut before, mm.
    again: f64,
}

/// The target along which a track runs within `limit`: of several the one of which least is cut already, then the shortest
/// (a notch may lie on an outline), then the nearest.
fn fit(track: &Trace, targets: &[Target], limit: f64) -> Option<Fit> {
    let mut best: Option<Fit> = None;
    for (index, target) in targets.iter().enumerate() {
        let bounds = target.trace.bounds.inflate(limit, limit);
        if bounds.union(track.bounds) != bounds {
            continue;
        }
        for (distance, cut) in runs(track, target, limit) {
            let again = target.cut.iter().map(|other| overlap(*other, cut, target)).sum();
            let better = best.as_ref().is_none_or(|best| {
                let longer = targets[best.target].trace.length() - target.trace.length();
                again < best.again - limit
                    || again < best.again + limit && (longer > 0.0 || longer == 0.0 && distance < best.distance)
            });
            if better {
                best = Some(Fit { target: index, distance, cut, again });
            }
        }
    }
    best
}

/// Each way in which a track runs along a target within `limit`: how far off, and from and to along the target.
fn runs(track: &Trace, target: &Target, limit: f64) -> Vec<(f64, [f64; 2])> {
    let line = &target.trace;
    let (long, whole) = (track.length(), line.length());
    if whole < DOT {
        let away = line.start().distance(track.start());
        return if long <= limit && away <= limit { vec![(away, [0.0, 0.0])] } else { Vec::new() };
    }
    // A track that is pulled about within the limit is a little longer than its line.
    let slack = 0.5 + 10.0 * limit + 0.01 * long;
    let begun = track.begun(limit);
    let mut found = Vec::new();
    for forward in [true, false] {
        let backwards;
        let track = if forward {
            track
        } else {
            backwards = track.reversed();
            &backwards
        };
        for from in line.passes(track.start(), limit) {
            for to in line.passes(track.end(), limit) {
                let laps = if target.closed { ((long - (to - from)) / whole).round() } else { 0.0 };
                let to = to + laps * whole;
                let (from, to) = if forward {
                    (from - pushed_back(begun, line, from, 1.0), to)
                } else {
                    (from, to + pushed_back(begun, line, to, -1.0))
                };
                // An open line has nothing before its ends.
                let (from, to) = if target.closed { (from, to) } else { (from.max(0.0), to.min(whole)) };
                if to < from - limit || (to - from - long).abs() > slack {
                    continue;
                }
                let stretch = if to - from > DOT { line.stretch(from, to) } else { Trace::along(vec![line.at(from)]) };
                let Some(stretch) = stretch else { continue };
                let away = if stretch.length() > DOT { in_step(&stretch, track, limit) } else { long };
                if away <= limit {
                    found.push((away, [from, to]));
                }
            }
        }
    }
    found
}

/// How far behind its start at `run` along a line some points of a track lie, the track going on in the line's direction
/// (1) or against it (-1): on a grid of whole steps a tip is pushed a little while it swings there.
fn pushed_back(points: &[Point], line: &Trace, run: f64, direction: f64) -> f64 {
    let (start, along) = (line.at(run % line.length()), direction * line.direction(run % line.length()));
    points.iter().map(|point| (start - *point).dot(along)).fold(0.0, f64::max)
}

/// How much of two stretches of a target is the same, mm.
fn overlap(a: [f64; 2], b: [f64; 2], target: &Target) -> f64 {
    let whole = target.trace.length();
    let shared = |shift: f64| (a[1].min(b[1] + shift) - a[0].max(b[0] + shift)).max(0.0);
    if target.closed {
        let laps = ((a[1] - a[0]).max(b[1] - b[0]) / whole.max(DOT)).ceil().min(100.0) as i32 + 1;
        (-laps..=laps).map(|lap| shared(f64::from(lap) * whole)).sum()
    } else {
        shared(0.0)
    }
}

/// How a target was cut.
enum Verdict {
    Good,
    Missing,
    Wrong(String),
}

/// Holds what was cut of a target against what the profile says of its tool.
fn judge(target: &Target, tool: &Tool, allowed: f64) -> Verdict {
    let whole = target.trace.length();
    let passes = tool.passes.max(1) as usize;
    if whole < DOT {
        return match target.cut.len() {
            0 => Verdict::Missing,
            times if times == passes => Verdict::Good,
            times => Verdict::Wrong(format!("is pierced {times} times, stated are {passes}")),
        };
    }
    // Ends are told to within `allowed` each.
    let unsure = 3.0 * allowed;
    let counted = counts(target);
    let length_where = |what: &dyn Fn(usize) -> bool| -> f64 {
        counted.iter().filter(|(_, count)| what(*count)).map(|([from, to], _)| to - from).sum()
    };
    if length_where(&|count| count > 0) < whole / 2.0 {
        return Verdict::Missing;
    }
    let place = |[from, to]: [f64; 2]| {
        let at = target.trace.at(f64::midpoint(from, to) % whole);
        format!("at x {}, y {}", trimmed(at.x, 1), trimmed(at.y, 1))
    };
    let figure = |mm: f64| trimmed(mm, 2);
    let some = counted.iter().find(|([from, to], count)| (1..passes).contains(count) && to - from > unsure);
    if let Some((stretch, count)) = some {
        return Verdict::Wrong(format!("is cut {count} times and not {passes}, {}", place(*stretch)));
    }
    let mut gaps: Vec<[f64; 2]> =
        counted.iter().filter(|([from, to], count)| *count == 0 && to - from > unsure).map(|gap| gap.0).collect();
    if let (true, [first, .., last]) = (target.closed, &mut gaps[..])
        && first[0] <= 0.0
        && last[1] >= whole
    {
        // One gap over the line's start.
        *first = [last[0], first[1] + whole];
        gaps.pop();
    }
    let excess = length_where(&|count| count > passes)
        + counted.iter().map(|([from, to], count)| (to - from) * count.saturating_sub(passes + 1) as f64).sum::<f64>();
    let kerf = tool.tip.kerf();
    let bridges = tool.bridges.filter(|bridges| target.bridged && whole > 4.0 * (bridges.length + kerf) + unsure);
    if let Some(bridges) = bridges {
        if gaps.len() < 2 {
            return Verdict::Wrong(format!("has {} of its bridges", ["none", "only one"][gaps.len()]));
        }
        let stays = |gap: &[f64; 2]| gap[1] - gap[0] - kerf;
        if let Some(gap) = gaps.iter().find(|gap| (stays(gap) - bridges.length).abs() > unsure) {
            let (found, stated) = (figure(stays(gap)), figure(bridges.length));
            return Verdict::Wrong(format!("has a bridge of {found} mm, stated are {stated} mm, {}", place(*gap)));
        }
        let middle = |gap: &[f64; 2]| f64::midpoint(gap[0], gap[1]);
        let mut middles: Vec<f64> = gaps.iter().map(|gap| middle(gap) % whole).collect();
        middles.sort_by(f64::total_cmp);
        middles.push(middles[0] + whole);
        if let Some(pair) = middles.windows(2).find(|pair| pair[1] - pair[0] > bridges.every + unsure) {
            let (apart, most) = (figure(pair[1] - pair[0]), figure(bridges.every));
            return Verdict::Wrong(format!("has bridges {apart} mm apart, stated are {most} mm at the most"));
        }
    } else if let Some(gap) = gaps.first() {
        return Verdict::Wrong(format!("stays uncut over {} mm, {}", figure(gap[1] - gap[0]), place(*gap)));
    }
    let stated = match tool.tip {
        Tip::Drag { overcut, run_in, .. } if target.closed && bridges.is_none() => {
            overcut.min(whole) + run_in.min(whole)
        }
        _ => 0.0,
    };
    if (excess - stated).abs() > unsure {
        let (excess, stated) = (figure(excess), figure(stated));
        return Verdict::Wrong(format!("is gone over once too often along {excess} mm, stated are {stated} mm"));
    }
    Verdict::Good
}

/// A target's stretches one after another, from its start to its end, and how often each was cut.
fn counts(target: &Target) -> Vec<([f64; 2], usize)> {
    let whole = target.trace.length();
    let mut changes: Vec<(f64, i64)> = vec![(0.0, 0), (whole, 0)];
    for &[from, to] in &target.cut {
        if !target.closed {
            changes.extend([(from.clamp(0.0, whole), 1), (to.clamp(0.0, whole), -1)]);
            continue;
        }
        let first = (from / whole).floor() as i64;
        for lap in first..=((to / whole).floor() as i64).min(first + 100) {
            let before = lap as f64 * whole;
            changes.extend([((from - before).max(0.0), 1), ((to - before).min(whole), -1)]);
        }
    }
    changes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut counts: Vec<([f64; 2], usize)> = Vec::new();
    let mut count = 0;
    for pair in changes.windows(2) {
        count += pair[0].1;
        let [from, to] = [pair[0].0, pair[1].0];
        match counts.last_mut() {
            _ if to <= from => {}
            Some((stretch, same)) if *same as i64 == count => stretch[1] = to,
            _ => counts.push(([from, to], count.max(0) as usize)),
        }
    }
    counts
}
