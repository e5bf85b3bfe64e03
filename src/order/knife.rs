//! Where a tool has to go so that its edge, tip or beam cuts the wanted line.
//!
//! The path of a machine's head is not the line that is cut: a drag knife's tip trails the head, a wheel has to be turned
//! in the air, a beam takes away its own width. Every function takes one subpath and gives paths for the head.

use crate::geom::offset::{Source, as_cubic, parallel, right};
use crate::geom::path::{ARC_ACCURACY, is_closed, joined, length, tangent};
use crate::geom::sweep;
use kurbo::{BezPath, CubicBez, ParamCurve, ParamCurveArclen, PathSeg, Point, Shape, Vec2};

/// Turns below this, radians, are taken for rounding at a smooth join.
const SMOOTH: f64 = 1e-4;
/// Segments shorter than this, mm, have no direction worth following.
const SHORT: f64 = 1e-6;
/// Swings are drawn in arcs of no more than this, radians. On a machine's grid of whole steps each of their ends is off by
/// a little, and pulls the tip with it; many small errors cancel each other where few large ones don't. Simulated with
/// offsets of 0.25–1 mm on a grid of 0.025 mm, 400 corners each: the tip strays by 0.069 mm at the most with 0.42, by
/// 0.023 mm with this.
const STEP: f64 = std::f64::consts::PI / 32.0;
/// Halvings of one segment at the most.
const HALVINGS: u32 = 12;

/// A drag knife: a blade that swivels freely, its tip behind the axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DragKnife {
    /// How far the tip trails the axis, mm.
    pub offset: f64,
    /// How far before its start a closed path is begun, mm, so that the blade has swivelled round by then.
    pub run_in: f64,
    /// How far a closed path is cut beyond its end, mm.
    pub overcut: f64,
    /// Corners that turn by more than this are swung round on an arc, radians; gentler ones in a straight line.
    pub swing_above: f64,
    /// How often a closed path is gone round without lifting.
    pub laps: u32,
}

impl DragKnife {
    /// A knife of that offset with a run-in of three and an overcut of one and a half of it (common practice, no source),
    /// that swings round every corner and goes round once.
    pub fn new(offset: f64) -> Self {
        Self { offset, run_in: 3.0 * offset, overcut: 1.5 * offset, swing_above: SMOOTH, laps: 1 }
    }
}

/// The head's path for a drag knife, and the blade's heading afterwards (a unit vector from tip to axis). `heading` is
/// the heading beforehand.
///
/// The tip follows a line c exactly while the head is at c + offset · t, t the direction of travel; at a corner the head
/// swings about it on an arc of radius `offset`, and so it does about the path's first point, for the blade to take its
/// first direction there. Fitted within `tolerance` mm. A path that draws nothing gives an empty one.
pub fn drag(path: &BezPath, knife: &DragKnife, heading: Vec2, tolerance: f64) -> (BezPath, Vec2) {
    let wanted = lengthened(path, knife);
    let mut out = BezPath::new();
    let mut heading = heading;
    for segment in &wanted {
        let (corner, next) = (segment.start(), tangent(segment, 0.0));
        if out.is_empty() {
            out.move_to(corner + knife.offset * heading);
        }
        if heading.cross(next).atan2(heading.dot(next)).abs() > knife.swing_above {
            swing(&mut out, corner, knife.offset, heading, next);
        } else if heading != next {
            out.line_to(corner + knife.offset * next);
        }
        match segment {
            PathSeg::Line(line) => out.line_to(line.p1 + knife.offset * next),
            curve => {
                let source = Source::new(as_cubic(curve));
                lead(&mut out, &source, knife.offset, tolerance, [0.0, 1.0], HALVINGS);
            }
        }
        heading = tangent(segment, 1.0);
    }
    (out, heading)
}

/// The segments of a path; of a closed one lap by lap, with a run-in before and an overcut behind.
fn lengthened(path: &BezPath, knife: &DragKnife) -> Vec<PathSeg> {
    let segments: Vec<PathSeg> = path.segments().filter(|segment| segment.arclen(ARC_ACCURACY) > SHORT).collect();
    if !is_closed(path) || segments.is_empty() {
        return segments;
    }
    let backwards: Vec<PathSeg> = segments.iter().rev().map(PathSeg::reverse).collect();
    let mut all: Vec<PathSeg> = stretch(&backwards, knife.run_in).iter().rev().map(PathSeg::reverse).collect();
    (0..knife.laps.max(1)).for_each(|_| all.extend(&segments));
    all.extend(stretch(&segments, knife.overcut));
    all
}

/// The first `length` mm of some segments, all of them at the most.
fn stretch(segments: &[PathSeg], length: f64) -> Vec<PathSeg> {
    let mut left = length;
    let mut taken = Vec::new();
    for segment in segments {
        let long = segment.arclen(ARC_ACCURACY);
        if left < long {
            if left > SHORT {
                taken.push(segment.subsegment(0.0..segment.inv_arclen(left, ARC_ACCURACY)));
            }
            break;
        }
        taken.push(*segment);
        left -= long;
    }
    taken
}

/// Swings the head about a corner from one heading to the other, the shorter way.
fn swing(out: &mut BezPath, corner: Point, radius: f64, from: Vec2, to: Vec2) {
    let angle = from.cross(to).atan2(from.dot(to));
    if angle.abs() < SMOOTH {
        return;
    }
    // A cubic over an eighth of a circle strays by 4e-6 of the radius at the most (Goldapp, CAGD 8, 1991).
    let count = (angle.abs() / STEP).ceil();
    let step = angle / count;
    let arm = 4.0 / 3.0 * (step / 4.0).tan() * radius;
    let heading = |k: f64| {
        let (sine, cosine) = (step * k).sin_cos();
        Vec2::new(cosine * from.x - sine * from.y, sine * from.x + cosine * from.y)
    };
    for k in 0..count as u32 {
        let (a, b) = (heading(f64::from(k)), heading(f64::from(k + 1)));
        let (start, end) = (corner + radius * a, corner + radius * b);
        out.curve_to(start - arm * right(a), end + arm * right(b), end);
    }
}

/// Appends the head's path that leads the tip along a curve between two parameters.
fn lead(out: &mut BezPath, source: &Source, offset: f64, tolerance: f64, [a, b]: [f64; 2], halvings: u32) {
    let at = |t: f64| source.point(t) + offset * source.tangent(t);
    // c' + offset · t', and t' = κ |c'| times the normal to the left.
    let velocity = |t: f64| {
        let speed = source.velocity(t);
        speed - offset * source.curvature(t) * speed.hypot() * right(source.tangent(t))
    };
    let third = (b - a) / 3.0;
    let fit = CubicBez::new(at(a), at(a) + third * velocity(a), at(b) - third * velocity(b), at(b));
    let strays = [0.25, 0.5, 0.75].into_iter().any(|t| {
        let away = fit.eval(t).distance(at(a + t * (b - a)));
        away.is_nan() || away > tolerance
    });
    if strays && halvings > 0 {
        let middle = f64::midpoint(a, b);
        lead(out, source, offset, tolerance, [a, middle], halvings - 1);
        lead(out, source, offset, tolerance, [middle, b], halvings - 1);
    } else if strays {
        out.line_to(at(b));
    } else {
        out.curve_to(fit.p1, fit.p2, fit.p3);
    }
}

/// The strokes between which a tangential knife or a crease wheel is lifted and turned: a path parted at each corner that
/// turns by more than `limit` radians. A closed path with such a corner comes out as open strokes that begin at one; one
/// without stays whole.
pub fn lift_and_turn(path: &BezPath, limit: f64) -> Vec<BezPath> {
    let mut segments: Vec<PathSeg> = path.segments().filter(|segment| segment.arclen(ARC_ACCURACY) > SHORT).collect();
    let turns = |before: &PathSeg, behind: &PathSeg| {
        let (from, to) = (tangent(before, 1.0), tangent(behind, 0.0));
        from.cross(to).atan2(from.dot(to)).abs() > limit
    };
    let Some(last) = segments.last().copied() else { return Vec::new() };
    if is_closed(path) {
        let corner = (0..segments.len()).find(|at| {
            let before = if *at == 0 { &last } else { &segments[at - 1] };
            turns(before, &segments[*at])
        });
        match corner {
            Some(corner) => segments.rotate_left(corner),
            None => return vec![path.clone()],
        }
    }
    let mut strokes: Vec<Vec<PathSeg>> = Vec::new();
    for segment in segments {
        match strokes.last_mut() {
            Some(stroke) if !stroke.last().is_some_and(|before| turns(before, &segment)) => stroke.push(segment),
            _ => strokes.push(vec![segment]),
        }
    }
    strokes.into_iter().map(joined).collect()
}

/// A closed path with bridges of `width` mm left uncut, no more than `every` mm from one to the next and at least two, as
/// [`bridges`] leaves them. A path too short for two bridges is not parted.
pub fn bridged(path: &BezPath, width: f64, every: f64) -> Vec<BezPath> {
    /// More bridges than this would be needed only where corners stand thick as teeth on a saw.
    const MORE: usize = 8;
    let even = ((length(path) / every).ceil() as usize).max(2);
    // Moving a bridge off a corner brings it further from one of its neighbours.
    let mut strokes = Vec::new();
    for count in even..even + MORE {
        strokes = bridges(path, count, width);
        if strokes.len() < 2 || strokes.iter().all(|stroke| length(stroke) + width <= every) {
            break;
        }
    }
    strokes
}

/// A closed path with `count` bridges of `width` mm left uncut, spread evenly and moved off corners that turn by more
/// than half a right angle. Open strokes, in order; the path itself where no bridge fits or none is wanted, or it is open.
pub fn bridges(path: &BezPath, count: usize, width: f64) -> Vec<BezPath> {
    let segments: Vec<PathSeg> = path.segments().filter(|segment| segment.arclen(ARC_ACCURACY) > SHORT).collect();
    let lengths: Vec<f64> = segments.iter().map(|segment| segment.arclen(ARC_ACCURACY)).collect();
    let total: f64 = lengths.iter().sum();
    let fits = width > SHORT && width.is_finite() && total / count.max(1) as f64 > 2.0 * width;
    if count == 0 || !fits || !is_closed(path) {
        return vec![path.clone()];
    }
    // Corners by distance along the path.
    let mut along = 0.0;
    let mut corners = Vec::new();
    for (at, segment) in segments.iter().enumerate() {
        let before = &segments[(at + segments.len() - 1) % segments.len()];
        let (from, to) = (tangent(before, 1.0), tangent(segment, 0.0));
        if from.cross(to).atan2(from.dot(to)).abs() > std::f64::consts::FRAC_PI_4 {
            corners.push(along);
        }
        along += lengths[at];
    }
    let pitch = total / count as f64;
    let clear = |middle: f64| {
        corners.iter().all(|corner| {
            let away = (middle - corner).rem_euclid(total);
            away.min(total - away) > width
        })
    };
    // From the middle of each stretch outwards, by quarters of the bridge's width.
    let middles: Vec<f64> = (0..count)
        .map(|bridge| {
            let even = (bridge as f64 + 0.5) * pitch;
            let most = ((pitch / 2.0 - width) / (width / 4.0)).max(0.0) as u32;
            (0..=most)
                .flat_map(|step| [even + f64::from(step) * width / 4.0, even - f64::from(step) * width / 4.0])
                .find(|middle| clear(*middle))
                .unwrap_or(even)
        })
        .collect();
    (0..count)
        .map(|bridge| {
            let from = middles[bridge] + width / 2.0;
            let next = if bridge + 1 < count { middles[bridge + 1] } else { middles[0] + total };
            let to = next - width / 2.0;
            let mut turned = segments.clone();
            turned.extend(&segments);
            let skipped = from.rem_euclid(total);
            joined(between(&turned, skipped, skipped + (to - from)))
        })
        .collect()
}

/// What of some segments lies between two distances along them.
fn between(segments: &[PathSeg], from: f64, to: f64) -> Vec<PathSeg> {
    let mut along = 0.0;
    let mut taken = Vec::new();
    for segment in segments {
        let long = segment.arclen(ARC_ACCURACY);
        let (a, b) = ((from - along).max(0.0), (to - along).min(long));
        if b - a > SHORT {
            let at = |distance: f64| match distance {
                d if d <= 0.0 => 0.0,
                d if d >= long => 1.0,
                d => segment.inv_arclen(d, ARC_ACCURACY),
            };
            taken.push(segment.subsegment(at(a)..at(b)));
        }
        along += long;
    }
    taken
}

/// Which side of a closed line is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Keeps {
    /// What lies inside: an outline. The beam runs outside.
    Inside,
    /// What lies outside: a hole. The beam runs inside.
    Outside,
}

/// The path of a beam or cutter that takes away `kerf` mm, half of it to either side, so that what is kept comes out to the
/// line: rounded about corners that stick out, within `tolerance` mm. Counter-clockwise.
///
/// # Errors
/// A line that is not closed or not finite, or that the sweep can't take. A hole smaller than the kerf has no path: the
/// answer is empty.
pub fn half_kerf(path: &BezPath, kerf: f64, keeps: Keeps, tolerance: f64) -> Result<Vec<BezPath>, sweep::Fault> {
    if !is_closed(path) || !path.is_finite() || !kerf.is_finite() {
        return Err(sweep::Fault::Malformed);
    }
    if kerf <= 0.0 {
        return Ok(vec![path.clone()]);
    }
    // The parallel lies to the right: outside of a counter-clockwise line, inside of a clockwise one.
    let counter_clockwise = path.area() > 0.0;
    let line = if counter_clockwise == (keeps == Keeps::Inside) { path.clone() } else { path.reverse_subpaths() };
    let segments: Vec<PathSeg> = line.segments().filter(|segment| segment.arclen(ARC_ACCURACY) > SHORT).collect();
    let half = kerf / 2.0;
    let mut raw = BezPath::new();
    for (at, segment) in segments.iter().enumerate() {
        let before = &segments[(at + segments.len() - 1) % segments.len()];
        let (from, to) = (tangent(before, 1.0), tangent(segment, 0.0));
        let corner = segment.start();
        if raw.is_empty() {
            raw.move_to(corner + half * right(from));
        }
        if from.cross(to) > 0.0 || from.dot(to) < 0.0 && from.cross(to) == 0.0 {
            swing(&mut raw, corner, half, right(from), right(to));
        } else if from.cross(to) < -SMOOTH {
            // By the corner itself, so that the loop left over winds the other way and falls away.
            raw.line_to(corner);
        }
        for stretch in parallel(std::slice::from_ref(segment), half, tolerance) {
            raw.line_to(stretch.curve.start());
            raw.push(stretch.curve.as_path_el());
        }
    }
    raw.close_path();
    let wanted = if keeps == Keeps::Inside { raw } else { raw.reverse_subpaths() };
    let mut contours = sweep::wound(&wanted, None)?;
    contours.retain(|contour| contour.area() > 0.0);
    Ok(contours)
}
