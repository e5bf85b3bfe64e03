//! The ends of an allowance that is folded back onto the piece: hems, facings, seams pressed open.
//!
//! Folded about its own seam, the allowance must end where the piece ends there: on the neighbour's cut line. So its ends
//! are the neighbour's cut line mirrored about the seam, from the seam out to the allowance's raw edge. About a curved
//! seam each point goes to the other side of its own normal, as cloth eased flat there does; about a straight one that is
//! a reflection.

use super::corner::{Corner, Cut, MITRE_LIMIT, Strip, joined};
use super::outline::{Side, turn};
use crate::geom::crossing::{first_rise, run_up};
use crate::geom::offset::{Parallel, Target, right, round_arms};
use kurbo::{Affine, Line, ParamCurve, ParamCurveNearest, PathSeg, Point, Vec2};

/// Widths and turnings that differ by less than this are the same, mm and radians.
const SAME: f64 = 1e-6;

/// A mirrored line of more cubics than this jumps to and fro. The garments and seeded outlines of the tests need three at
/// the most; one jump is bisected into a dozen and more.
const MOST_CUBICS: usize = 16;

/// Turns the corner so that one of the two allowances folds back: the wider one, of equal ones the straighter, of both
/// straight the one that ends here. `None` where the neighbour's cut line does not cross the seam near the corner, does
/// not run as far up the piece as the allowance is wide, the allowance would have to be longer than its seam, or the seam
/// turns too tightly to be folded about.
pub fn fold_back(sides: [Strip; 2], tolerance: f64) -> Option<Corner> {
    let [first, next] = sides;
    let symmetric = first.side.edge == next.side.edge && first.side.mirrored != next.side.mirrored;
    if symmetric {
        return None;
    }
    let wider = next.side.width - first.side.width;
    let straighter = turning(first.side) - turning(next.side);
    let second = if wider.abs() > SAME {
        wider > 0.0
    } else if straighter.abs() > SAME {
        straighter > 0.0
    } else {
        first.side.mirrored
    };
    if !second {
        return folded_first(sides, tolerance);
    }
    // Seen in a mirror and walked the other way, the next side is the one that ends here.
    let (a, b) = (flipped(next), flipped(first));
    let strips = [&a, &b].map(|(side, parallel)| Strip { side, parallel });
    let corner = folded_first(strips, tolerance)?;
    let mirror = Affine::FLIP_Y;
    let back = |cut: Option<Cut>, of: &[Parallel]| {
        cut.map(|cut| Cut { stretch: of.len() - 1 - cut.stretch, at: 1.0 - cut.at, point: mirror * cut.point })
    };
    Some(Corner {
        vertex: mirror * corner.vertex,
        leave: back(corner.enter, first.parallel),
        enter: back(corner.leave, next.parallel),
        path: corner.path.iter().rev().map(|segment| mirror * segment.reverse()).collect(),
        plain: false,
    })
}

/// Angle that a side turns in all, radians.
fn turning(side: &Side) -> f64 {
    let step = |segment: &PathSeg| match segment {
        PathSeg::Line(_) => 0.0,
        other => {
            let c = other.to_cubic();
            let legs = [c.p1 - c.p0, c.p2 - c.p1, c.p3 - c.p2];
            turn(legs[0], legs[1]).abs() + turn(legs[1], legs[2]).abs()
        }
    };
    side.run.iter().map(step).sum()
}

fn flipped(strip: Strip) -> (Side, Vec<Parallel>) {
    let mirror = Affine::FLIP_Y;
    let count = strip.side.run.len();
    let run = strip.side.run.iter().rev().map(|segment| mirror * segment.reverse()).collect();
    let parallel = strip
        .parallel
        .iter()
        .rev()
        .map(|stretch| Parallel {
            curve: mirror * stretch.curve.reverse(),
            source: count - 1 - stretch.source,
            span: [1.0 - stretch.span[1], 1.0 - stretch.span[0]],
            evolute: stretch.evolute,
        })
        .collect();
    (Side { run, ..strip.side.clone() }, parallel)
}

/// The seam that the first side's allowance is folded about, run on straight beyond its end.
struct Seam<'a> {
    side: &'a Side,
    vertex: Point,
    along: Vec2,
    straight: bool,
}

impl Seam<'_> {
    /// How far up the piece a point lies, along the seam's normal, and that normal (outward).
    fn height(&self, p: Point) -> (f64, Vec2) {
        let out = right(self.along);
        if self.straight || (p - self.vertex).dot(self.along) >= 0.0 {
            return ((self.vertex - p).dot(out), out);
        }
        let mut best = (f64::INFINITY, Point::ORIGIN, out);
        for segment in &self.side.run {
            let near = segment.nearest(p, 1e-9);
            if near.distance_sq < best.0 {
                best = (near.distance_sq, segment.eval(near.t), right(crate::geom::path::tangent(segment, near.t)));
            }
        }
        ((best.1 - p).dot(best.2), best.2)
    }

    fn mirrored(&self, p: Point) -> Point {
        let (height, out) = self.height(p);
        p + 2.0 * height * out
    }
}

fn folded_first(sides: [Strip; 2], tolerance: f64) -> Option<Corner> {
    let [folded, other] = sides;
    let seam = Seam {
        side: folded.side,
        vertex: folded.side.end(),
        along: folded.side.end_tangent(),
        straight: matches!(folded.side.run[..], [PathSeg::Line(_)]),
    };
    let (up, wide, narrow) = (other.side.start_tangent(), folded.side.width, other.side.width);
    let (vertex, out) = (seam.vertex, right(seam.along));
    // The neighbour's cut line from where it crosses the seam.
    let square = vertex + narrow * right(up);
    let start = other.parallel[0].curve.start();
    if start.distance(square) > SAME {
        return None;
    }
    let rise = -up.dot(out);
    let mut enter = None;
    let mut chain: Vec<PathSeg> = Vec::new();
    let crossing;
    let mut from = (0, 0.0);
    if seam.height(square).0 >= -SAME {
        let back = seam.height(square).0.max(0.0) / rise;
        crossing = square - back * up;
        if back > SAME {
            chain.push(PathSeg::Line(Line::new(crossing, square)));
        }
    } else {
        let cut = level_crossing(other.parallel, &seam)?;
        crossing = cut.point;
        from = (cut.stretch, cut.at);
        enter = Some(cut);
    }
    if crossing.distance(vertex) > MITRE_LIMIT * narrow + SAME {
        return None;
    }
    for (stretch, parallel) in other.parallel.iter().enumerate().skip(from.0) {
        if parallel.evolute {
            return None;
        }
        chain.push(if stretch == from.0 && from.1 > 0.0 {
            parallel.curve.subsegment(from.1..1.0)
        } else {
            parallel.curve
        });
    }
    let [chain, _] = run_up(&chain, |p| seam.height(p).0 - wide)?;
    // Mirrored, and walked from the raw edge back to the seam.
    let mut path: Vec<PathSeg> = Vec::new();
    for segment in chain.iter().rev() {
        path.extend(mirrored(&segment.reverse(), &seam, tolerance)?);
    }
    let raw = path.first()?.start();
    let beyond = (raw - vertex).dot(seam.along);
    let square = vertex + wide * out;
    let leave = if beyond >= -SAME { None } else { Some(place_on(folded.parallel, raw)?) };
    let mut whole =
        if leave.is_none() { joined(&[folded.parallel.last()?.curve.end(), square, raw]) } else { Vec::new() };
    whole.append(&mut path);
    if enter.is_none() {
        whole.extend(joined(&[crossing, start]));
    }
    Some(Corner { vertex, leave, enter, path: whole, plain: false })
}

/// Where a parallel that starts below the seam first rises through it.
fn level_crossing(parallel: &[Parallel], seam: &Seam) -> Option<Cut> {
    parallel.iter().enumerate().find_map(|(stretch, piece)| {
        if piece.evolute {
            return None;
        }
        let at = first_rise(&piece.curve, |p| seam.height(p).0)?;
        Some(Cut { stretch, at, point: piece.curve.eval(at) })
    })
}

/// `None` where the mirror image is no line: where the seam turns more tightly than the segment lies above it, a point has
/// more than one foot on the seam, and its image jumps from one to the other.
fn mirrored(segment: &PathSeg, seam: &Seam, tolerance: f64) -> Option<Vec<PathSeg>> {
    let beyond = [0.0, 0.25, 0.5, 0.75, 1.0].iter().all(|t| (segment.eval(*t) - seam.vertex).dot(seam.along) >= 0.0);
    if seam.straight || beyond {
        return Some(vec![Affine::reflect(seam.vertex, seam.along) * *segment]);
    }
    let at = |t: f64| {
        let step = 1e-5;
        let (before, after) = ((t - step).max(0.0), (t + step).min(1.0));
        let point = |t: f64| seam.mirrored(segment.eval(t));
        (point(t), (point(after) - point(before)).normalize())
    };
    let arms = |a: f64, b: f64| round_arms(at(a), at(b));
    let fitted = Target { at: &at, arms: &arms, most: MOST_CUBICS }.fit([0.0, 1.0], tolerance);
    (fitted.len() <= MOST_CUBICS).then(|| fitted.into_iter().map(|(cubic, _)| PathSeg::Cubic(cubic)).collect())
}

/// The place on a parallel where a point lies.
fn place_on(parallel: &[Parallel], p: Point) -> Option<Cut> {
    let near = |stretch: usize| (stretch, parallel[stretch].curve.nearest(p, 1e-9));
    let (stretch, near) = (0..parallel.len()).map(near).min_by(|a, b| a.1.distance_sq.total_cmp(&b.1.distance_sq))?;
    let usable = near.distance_sq < 0.01 * 0.01 && !parallel[stretch].evolute;
    usable.then(|| Cut { stretch, at: near.t, point: parallel[stretch].curve.eval(near.t) })
}
