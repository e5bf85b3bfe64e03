//! The ground of a piece: where there is room to draw.

use super::lines::Lines;
use super::room::View;
use kurbo::{Affine, BezPath, Point, Rect, Vec2};

/// The inside of a sew line, less what is drawn there.
#[derive(Clone)]
pub(super) struct Ground {
    outline: Lines,
    taken: Lines,
}

/// A place for a box: its centre, the angle of its base and its scale.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub centre: Point,
    pub angle: f64,
    pub scale: f64,
}

impl Spot {
    /// From the box's own coordinates to the piece's.
    pub fn transform(&self) -> Affine {
        Affine::translate(self.centre.to_vec2()) * Affine::rotate(self.angle) * Affine::scale(self.scale)
    }
}

/// The angle of a line of writing along `angle` that is not read upside down: above −90°, up to 90°.
pub(super) fn upright(angle: f64) -> f64 {
    use std::f64::consts::{FRAC_PI_2, PI};
    // A hair's breadth of −90° is taken as 90°, so that vertical writing always reads from the same side.
    let turned = (angle + FRAC_PI_2 - 1e-6).rem_euclid(PI);
    turned - FRAC_PI_2 + 1e-6
}

impl Ground {
    /// The ground inside a closed sew line.
    pub fn new(outline: &BezPath) -> Self {
        Self { outline: Lines::of(outline), taken: Lines::default() }
    }

    /// Marks paths that lie near each other as drawn.
    pub fn take<'a>(&mut self, paths: impl IntoIterator<Item = &'a BezPath>) {
        self.taken.add(paths);
    }

    /// Whether the point lies inside the sew line.
    pub fn contains(&self, point: Point) -> bool {
        self.outline.contains(point)
    }

    /// Distance from the point to the sew line.
    pub fn distance(&self, point: Point) -> f64 {
        self.outline.distance(point)
    }

    /// Distance from the path to the sew line; negative where the path starts outside.
    pub fn clearance(&self, path: &BezPath) -> f64 {
        let inside = crate::geom::path::start(path).is_some_and(|start| self.contains(start));
        if inside { self.outline.apart(path) } else { -1.0 }
    }

    /// Distance from the path to what is drawn already.
    pub fn berth(&self, path: &BezPath) -> f64 {
        self.taken.apart(path)
    }

    /// The stretches inside the sew line of the infinite line through `point` along the unit vector `along`, as
    /// distances from `point`.
    pub fn chords(&self, point: Point, along: Vec2) -> Vec<(f64, f64)> {
        let mut crossings: Vec<f64> = Vec::new();
        for line in self.outline.iter() {
            let (a, b) = (line.p0 - point, line.p1 - point);
            let (side_a, side_b) = (along.cross(a), along.cross(b));
            // Half-open, so that a corner on the line counts once or twice but never three times.
            if (side_a >= 0.0) != (side_b >= 0.0) {
                let t = side_a / (side_a - side_b);
                crossings.push(along.dot(a.lerp(b, t)));
            }
        }
        crossings.sort_by(f64::total_cmp);
        crossings.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect()
    }

    /// The sew line's least and greatest distance from `origin` along a unit vector.
    pub fn extent(&self, along: Vec2, origin: Point) -> (f64, f64) {
        self.outline
            .iter()
            .map(|line| along.dot(line.p0 - origin))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| (low.min(d), high.max(d)))
    }

    /// Whether a box of half-size `half` about `centre`, its base at `angle`, lies inside the sew line and on nothing.
    pub fn fits(&self, centre: Point, angle: f64, half: Vec2) -> bool {
        let (sin, cos) = (angle.sin().abs(), angle.cos().abs());
        let reach = Vec2::new(cos * half.x + sin * half.y, sin * half.x + cos * half.y);
        let about = Rect::from_center_size(centre, (2.0 * reach).to_size());
        // In the box's own coordinates, where it is the unit square.
        let level = Affine::scale_non_uniform(1.0 / half.x, 1.0 / half.y)
            * Affine::rotate(-angle)
            * Affine::translate(-centre.to_vec2());
        self.contains(centre) && self.outline.clear(about, level) && self.taken.clear(about, level)
    }

    /// The ground as seen by writing at `angle`.
    pub fn view(&self, angle: f64) -> View {
        View::new(angle, &self.outline, &self.taken)
    }
}
