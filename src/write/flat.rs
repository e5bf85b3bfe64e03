//! Curves as chords, for languages and flavours that have none.

use kurbo::{CubicBez, ParamCurve, PathSeg, Point};

/// Appends points of a cubic, its start excepted, so that the chords stray by no more than `tolerance`, mm.
///
/// A chord over a parameter step h strays by at most h²/8 · max|B″|, and |B″| ≤ 6 · max of the control polygon's second
/// differences (Filip, Magedson, Markot, "Surface algorithms using bounds on derivatives", 1986).
pub(super) fn flatten(cubic: &CubicBez, tolerance: f64, points: &mut Vec<Point>) {
    /// Below this a tolerance buys nothing, mm; it also bounds the number of points.
    const FINEST: f64 = 1e-4;
    let second = |a: Point, b: Point, c: Point| (a.to_vec2() - 2.0 * b.to_vec2() + c.to_vec2()).hypot();
    let bend = 6.0 * second(cubic.p0, cubic.p1, cubic.p2).max(second(cubic.p1, cubic.p2, cubic.p3));
    let steps = (bend / (8.0 * tolerance.max(FINEST))).sqrt().ceil().clamp(1.0, 1e5) as u32;
    points.extend((1..steps).map(|i| cubic.eval(f64::from(i) / f64::from(steps))));
    points.push(cubic.p3);
}

/// The points of a path of one subpath, its start first; a closed one ends where it began. None where nothing is drawn.
/// They take the place of what was in `points`, whose room serves for stroke after stroke.
pub(super) fn chords(segments: impl Iterator<Item = PathSeg>, tolerance: f64, points: &mut Vec<Point>) {
    points.clear();
    for segment in segments {
        if points.is_empty() {
            points.push(segment.start());
        }
        match segment {
            PathSeg::Line(line) => points.push(line.p1),
            curve => flatten(&curve.to_cubic(), tolerance, points),
        }
    }
}
