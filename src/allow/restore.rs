//! A swept contour put back onto the curves that it came from.
//!
//! The sweep gives the right order of curves, but places a crossing only as well as its own chords do where a curve runs
//! nearly level. Here every stretch of the contour is recognised as a part of one segment of the loop, and neighbours meet
//! where these segments truly cross.

use super::region::{CRUMB, moved, tidy};
use crate::geom::offset::Source;
use kurbo::{BezPath, Line, ParamCurve, ParamCurveDeriv, ParamCurveNearest, PathSeg, Point, Rect, Shape, Vec2};

/// A contour's stretch is recognised within this distance, mm.
const KNOWN: f64 = 0.25;

/// Crossings are sought this far about the place that the sweep gives, mm. What comes of it is proven like all else.
const NEAR: f64 = 5.0;

/// A part of one segment of the loop.
#[derive(Clone, Copy, Debug)]
struct Part {
    source: usize,
    span: [f64; 2],
}

/// The contour as parts of the loop's segments; as it is, but tidied, where that can't be done.
pub fn restored(contour: &BezPath, loop_segments: &[PathSeg]) -> BezPath {
    let swept: Vec<PathSeg> = contour.segments().collect();
    let parts = parts(&swept, loop_segments).and_then(|parts| welded(parts, loop_segments));
    tidy(&parts.unwrap_or(swept))
}

fn parts(swept: &[PathSeg], sources: &[PathSeg]) -> Option<Vec<Part>> {
    let boxes: Vec<Rect> = sources.iter().map(|s| Shape::bounding_box(s).inflate(KNOWN, KNOWN)).collect();
    let exact: Vec<Source> = sources.iter().map(Source::of).collect();
    // Parameter and distance of the nearest point; the quick way first.
    let nearest = |source: usize, p: Point| {
        let t = exact[source].foot(p, [0.0, 1.0]);
        let far = exact[source].point(t).distance(p);
        if far < 1e-5 {
            return (t, far);
        }
        let near = sources[source].nearest(p, 1e-9);
        (near.t, near.distance_sq.sqrt())
    };
    let mut parts: Vec<Part> = Vec::with_capacity(swept.len());
    for segment in swept {
        if segment.start().distance(segment.end()) < CRUMB {
            continue;
        }
        let probes = [0.25, 0.5, 0.75].map(|t| segment.eval(t));
        let mut best: Option<(f64, Part)> = None;
        for (source, reach) in boxes.iter().enumerate() {
            if !probes.iter().all(|p| reach.contains(*p)) {
                continue;
            }
            let feet = probes.map(|p| nearest(source, p));
            let far = feet.iter().map(|foot| foot.1).fold(0.0, f64::max);
            // Not a neighbour that only passes by: the feet must go along as far as the probes do.
            let (from, to) = (sources[source].eval(feet[0].0), sources[source].eval(feet[2].0));
            let along = feet[0].0 < feet[2].0 && from.distance(to) > 0.5 * probes[0].distance(probes[2]);
            if along && best.as_ref().is_none_or(|(least, _)| far < *least) {
                let span = [segment.start(), segment.end()].map(|p| nearest(source, p).0);
                best = Some((far, Part { source, span }));
            }
        }
        match best.filter(|(far, _)| *far < KNOWN) {
            Some((_, part)) => match parts.last_mut() {
                Some(last) if last.source == part.source && part.span[1] > last.span[0] => last.span[1] = part.span[1],
                _ => parts.push(part),
            },
            // A makeshift between two curves that meet at a small angle; their true crossing takes its place.
            None if segment.start().distance(segment.end()) < NEAR => {}
            None => return None,
        }
    }
    if let [first, .., last] = parts[..]
        && first.source == last.source
        && last.span[0] < first.span[1]
        && parts.len() > 2
    {
        parts[0].span[0] = last.span[0];
        parts.pop();
    }
    (parts.len() > 1).then_some(parts)
}

fn welded(mut parts: Vec<Part>, sources: &[PathSeg]) -> Option<Vec<PathSeg>> {
    let count = parts.len();
    for i in 0..count {
        let next = (i + 1) % count;
        let (a, b) = (parts[i], parts[next]);
        let (curve, other) = (&sources[a.source], &sources[b.source]);
        let ends = [curve.eval(a.span[1]).distance(curve.end()), other.eval(b.span[0]).distance(other.start())];
        let (u, v) = (velocity(curve, 1.0), velocity(other, 0.0));
        // Where two segments of the loop follow smoothly, the sweep may see them part or meet a little way off.
        let near = if u.cross(v).abs() < 0.01 * u.hypot() * v.hypot() { KNOWN } else { 0.01 };
        if curve.end().distance(other.start()) < 1e-6 && ends[0].max(ends[1]) < near {
            parts[i].span[1] = 1.0;
            parts[next].span[0] = 0.0;
            continue;
        }
        let place = [a.span[1], b.span[0]];
        let gap = curve.eval(place[0]).distance(other.eval(place[1]));
        // Where a crumb between them was left out they may not cross, and are moved together below.
        let [s, t] = crossing(curve, other, place).or((gap < 2.0 * CRUMB).then_some(place))?;
        parts[i].span[1] = s;
        parts[next].span[0] = t;
    }
    let mut segments = Vec::with_capacity(count);
    for part in parts {
        let [from, to] = part.span;
        if from >= to {
            return None;
        }
        let curve = sources[part.source];
        segments.push(if from > 0.0 || to < 1.0 { curve.subsegment(from..to) } else { curve });
    }
    // Make both sides of a weld one point, in the middle, so that it does not matter which comes first.
    let welds: Vec<Point> = (0..count).map(|i| segments[i].end().midpoint(segments[(i + 1) % count].start())).collect();
    for i in 0..count {
        segments[i] = moved(segments[i], [welds[(i + count - 1) % count], welds[i]]);
    }
    Some(segments)
}

/// Where two curves cross, near given parameters: Newton's method on both at once. Curves that touch without crossing are
/// left where they are.
fn crossing(a: &PathSeg, b: &PathSeg, [mut s, mut t]: [f64; 2]) -> Option<[f64; 2]> {
    let start = a.eval(s).midpoint(b.eval(t));
    for _ in 0..16 {
        let gap = b.eval(t) - a.eval(s);
        let (u, v) = (velocity(a, s), velocity(b, t));
        let cross = u.cross(v);
        if gap.hypot() < 1e-10 {
            break;
        }
        if cross.abs() < 1e-7 * u.hypot() * v.hypot() {
            return (gap.hypot() < 1e-6).then_some([s, t]);
        }
        s = (s + gap.cross(v) / cross).clamp(0.0, 1.0);
        t = (t + gap.cross(u) / cross).clamp(0.0, 1.0);
    }
    let (p, q): (Point, Point) = (a.eval(s), b.eval(t));
    (p.distance(q) < 1e-6 && p.distance(start) < NEAR).then_some([s, t])
}

fn velocity(segment: &PathSeg, t: f64) -> Vec2 {
    match segment {
        PathSeg::Line(Line { p0, p1 }) => *p1 - *p0,
        other => other.to_cubic().deriv().eval(t).to_vec2(),
    }
}
