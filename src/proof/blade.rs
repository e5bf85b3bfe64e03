//! What a drag knife's tip cuts when the head goes along a path: simulated, independently of whatever planned the path.

use kurbo::{BezPath, ParamCurve, PathEl, PathSeg, Point, Vec2};

/// The longest step along the track while the blade swivels, as a share of the offset.
const STEP: f64 = 0.02;
/// How far the track may stray from the chords between its points, mm.
const FINE: f64 = 1e-4;
/// The head's path is followed in chords that stray from its curves by no more than this, mm.
const FLAT: f64 = 2e-5;
/// Below this the tip follows the axis in its line, radians: a hundredth of a micrometre for an offset of a millimetre.
const STRAIGHT: f64 = 1e-5;

/// What a tip cuts.
#[derive(Clone, Debug, PartialEq)]
pub struct Track {
    /// Where it goes; between two points it strays from the chord by less than a ten-thousandth of a millimetre.
    pub points: Vec<Point>,
    /// How far it has come at each point, mm: what it is pushed back is taken off. On a machine's grid of whole steps
    /// a swing pulls and pushes the tip by up to a quarter of a millimetre, and it comes no further for that.
    pub come: Vec<f64>,
    /// Where the blade heads at the end, a unit vector from tip to axis.
    pub heading: Vec2,
}

/// The tip's track, the head going along `head` with the tip `offset` mm behind and heading so at first.
///
/// The tip can only move towards the axis or away from it, so it runs a tractrix: along a straight step of length s, the
/// angle φ between heading and step shrinks by tan(φ/2) → tan(φ/2) · e^(−s/offset) (Huygens, letter of 1693; any textbook
/// of plane curves), whatever the length of the step. Its curvature is tan(φ) / offset, which says how far apart points of
/// the track may lie.
pub fn tip(head: &BezPath, offset: f64, heading: Vec2) -> Track {
    let mut track = Track { points: Vec::new(), come: Vec::new(), heading };
    let mut at = match head.elements().first() {
        Some(PathEl::MoveTo(start)) => *start,
        _ => return track,
    };
    track.points.push(at - offset * heading);
    track.come.push(0.0);
    for segment in head.segments() {
        let chords = chords(&segment);
        for chord in 1..=chords {
            let next = if chord == chords { segment.end() } else { segment.eval(f64::from(chord) / f64::from(chords)) };
            track.drag(at, next, offset);
            at = next;
        }
    }
    track
}

/// How many chords a segment is followed in.
fn chords(segment: &PathSeg) -> u32 {
    let cubic = match segment {
        PathSeg::Line(_) => return 1,
        curve => curve.to_cubic(),
    };
    // A chord over a parameter step h strays by at most h²/8 · max|B″| (Filip, Magedson & Markot, 1986).
    let second = |a: Point, b: Point, c: Point| (a.to_vec2() - 2.0 * b.to_vec2() + c.to_vec2()).hypot();
    let bend = 6.0 * second(cubic.p0, cubic.p1, cubic.p2).max(second(cubic.p1, cubic.p2, cubic.p3));
    (bend / (8.0 * FLAT)).sqrt().ceil().clamp(1.0, 1e6) as u32
}

impl Track {
    /// The head goes straight from `at` to `next`.
    fn drag(&mut self, at: Point, next: Point, offset: f64) {
        let way = next - at;
        let length = way.hypot();
        if length <= 0.0 || offset <= 0.0 {
            self.go_to(next - offset * self.heading);
            return;
        }
        let along = way / length;
        let mut done = 0.0;
        while done < length {
            let angle = along.cross(self.heading).atan2(along.dot(self.heading));
            let step = if angle.abs() < STRAIGHT {
                length - done
            } else {
                let by_curve = (8.0 * FINE * offset / angle.tan().abs().min(1e3)).sqrt() / angle.cos().abs().max(1e-2);
                by_curve.min(if angle.abs() > 0.1 { STEP * offset } else { f64::INFINITY }).max(1e-4).min(length - done)
            };
            let turned = 2.0 * ((angle / 2.0).tan() * (-step / offset).exp()).atan();
            let (sine, cosine) = turned.sin_cos();
            self.heading = Vec2::new(cosine * along.x - sine * along.y, sine * along.x + cosine * along.y);
            done += step;
            self.go_to(at + done * along - offset * self.heading);
        }
    }

    fn go_to(&mut self, point: Point) {
        let (Some(last), Some(come)) = (self.points.last(), self.come.last()) else { return };
        let step = point - *last;
        let backwards = step.dot(self.heading) < 0.0;
        let come = come + if backwards { -step.hypot() } else { step.hypot() };
        self.points.push(point);
        self.come.push(come);
    }
}
