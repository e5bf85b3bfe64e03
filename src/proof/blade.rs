//! What a drag knife's tip cuts when the head goes along a path: simulated, independently of whatever planned the path.

use kurbo::{BezPath, ParamCurve, ParamCurveArclen, PathEl, Point, Vec2};

/// The head's path is followed in chords no longer than this share of the offset.
const STEP: f64 = 0.01;

/// The tip's track and its heading at the end (a unit vector from tip to axis), the head going along `head` with the tip
/// `offset` mm behind and heading so at first. The track has a point at least every hundredth of the offset.
///
/// The tip can only move towards the axis, so it runs a tractrix: along a straight step of length s, the angle φ between
/// heading and step shrinks by tan(φ/2) → tan(φ/2) · e^(−s/offset) (Huygens, letter of 1693; any textbook of plane curves).
pub fn tip(head: &BezPath, offset: f64, heading: Vec2) -> (Vec<Point>, Vec2) {
    let mut track = Vec::new();
    let mut heading = heading;
    let mut at = match head.elements().first() {
        Some(PathEl::MoveTo(start)) => *start,
        _ => return (track, heading),
    };
    track.push(at - offset * heading);
    for segment in head.segments() {
        let chords = (segment.arclen(1e-6) / (STEP * offset).max(1e-4)).ceil().clamp(1.0, 1e6) as u32;
        for chord in 1..=chords {
            let next = segment.eval(f64::from(chord) / f64::from(chords));
            let step = next - at;
            let length = step.hypot();
            if length > 0.0 && offset > 0.0 {
                let along = step / length;
                let angle = along.cross(heading).atan2(along.dot(heading));
                let turned = 2.0 * ((angle / 2.0).tan() * (-length / offset).exp()).atan();
                let (sine, cosine) = turned.sin_cos();
                heading = Vec2::new(cosine * along.x - sine * along.y, sine * along.x + cosine * along.y);
            }
            at = next;
            track.push(at - offset * heading);
        }
    }
    (track, heading)
}
