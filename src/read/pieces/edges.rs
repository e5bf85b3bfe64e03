//! An outline cut into edges at its corners, with allowances as far as a cutting line.

use super::patience::Patience;
use crate::diag::{Finding, Result};
use crate::geom::{parts, path};
use crate::piece::{Edge, Finish};
use kurbo::{BezPath, ParamCurve, PathSeg, Point, Vec2};

/// A bend of more is a corner, radians: 20°. Chords of 0.01 mm on an arc of 5 mm bend by 7°.
const CORNER: f64 = 0.35;

/// An outline of more corners is a picture and no piece.
const MOST_CORNERS: usize = 2_000;

/// Segments shorter than this have no direction worth looking at, mm.
const CRUMB: f64 = 0.01;

/// Widths measured along one allowance may differ by this, mm; beyond it varies.
const SAME_WIDTH: f64 = 0.25;

/// A cutting line farther from the sew line belongs to something else, mm.
const WIDEST: f64 = 150.0;

/// The edges of a closed counter-clockwise outline, called "edge 1" and so on from its first corner. With a cutting line
/// each has the allowance as far as that.
///
/// # Errors
/// More corners than any piece has.
pub fn split(
    outline: &BezPath,
    cutting: Option<&BezPath>,
    patience: &mut Patience,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Edge>> {
    let mut segments: Vec<PathSeg> = Vec::new();
    for segment in path::opened(outline).segments() {
        let size = segment.start().distance(segment.end()) + segment.start().distance(segment.eval(0.5));
        match segments.last_mut() {
            Some(last) if size < CRUMB => *last = ended(*last, segment.end()),
            None if size < CRUMB => {}
            _ => segments.push(segment),
        }
    }
    let count = segments.len();
    let bend = |i: usize| {
        let (a, b) = (path::tangent(&segments[(i + count - 1) % count], 1.0), path::tangent(&segments[i], 0.0));
        a.cross(b).atan2(a.dot(b)).abs()
    };
    let mut corners: Vec<usize> = (0..count).filter(|&i| bend(i) > CORNER).collect();
    if corners.len() > MOST_CORNERS {
        let text = format!("an outline has {} corners", corners.len());
        return Err(Box::new(Finding::error(text).hint("pictures are no pieces: take them out, or smooth the line")));
    }
    if corners.len() < 2 {
        // A smooth outline, or a drop: cut in two.
        let first = corners.first().copied().unwrap_or(0);
        corners = vec![first, (first + count.div_ceil(2)) % count];
        corners.sort_unstable();
        corners.dedup();
    }
    let mut edges: Vec<Edge> = Vec::with_capacity(corners.len());
    for (k, &from) in corners.iter().enumerate() {
        let to = if k + 1 < corners.len() { corners[k + 1] } else { corners[0] + count };
        let mut run = BezPath::new();
        for i in from..to {
            parts::push(&mut run, &segments[i % count]);
        }
        edges.push(edge(k + 1, run));
    }
    if edges.len() == 1 {
        // One segment all round: halves of it.
        let whole = edges[0].path.clone();
        let half = path::length(&whole) / 2.0;
        edges = vec![edge(1, parts::between(&whole, 0.0, half)), edge(2, parts::between(&whole, half, 2.0 * half))];
    }
    if let Some(cutting) = cutting {
        for edge in &mut edges {
            (0..3).try_for_each(|_| patience.measure(cutting))?;
            measure(edge, cutting, findings);
        }
    }
    Ok(edges)
}

fn edge(number: usize, path: BezPath) -> Edge {
    Edge { name: format!("edge {number}"), path, allowance: 0.0, fold: false, corner: Finish::Mitre }
}

fn ended(segment: PathSeg, end: Point) -> PathSeg {
    match segment {
        PathSeg::Line(line) => PathSeg::Line(kurbo::Line::new(line.p0, end)),
        other => {
            let mut cubic = other.to_cubic();
            cubic.p3 = end;
            PathSeg::Cubic(cubic)
        }
    }
}

/// Gives an edge the allowance that its cutting line shows: measured square to the edge, at three places of its middle.
fn measure(edge: &mut Edge, cutting: &BezPath, findings: &mut Vec<Finding>) {
    let long = path::length(&edge.path);
    let mut widths: Vec<f64> = [0.4, 0.5, 0.6]
        .iter()
        .filter_map(|part| {
            let (p, along) = path::point_at(&edge.path, part * long)?;
            across(cutting, p, Vec2::new(along.y, -along.x))
        })
        .collect();
    widths.sort_by(f64::total_cmp);
    let (Some(&least), Some(&most)) = (widths.first(), widths.last()) else { return };
    if most - least > SAME_WIDTH {
        let text =
            format!("\"{}\" has an allowance of {least:.1} to {most:.1} mm; it was taken at its middle", edge.name);
        findings.push(Finding::warning(text).hint("say its width in the file of names, if that is not what you want"));
    }
    // To a hundredth of a millimetre: what a drawing is good for.
    edge.allowance = (widths[widths.len() / 2] * 100.0).round() / 100.0;
}

/// Distance from a point to a line, straight ahead; 0 where the point lies on it.
fn across(line: &BezPath, p: Point, ahead: Vec2) -> Option<f64> {
    if parts::nearest(line, p).is_some_and(|(_, off)| off < 0.02) {
        return Some(0.0);
    }
    let ray = kurbo::Line::new(p, p + WIDEST * ahead);
    let hits = line.segments().flat_map(|segment| segment.intersect_line(ray));
    hits.map(|hit| hit.line_t * WIDEST).filter(|off| *off >= 0.0).min_by(f64::total_cmp)
}
