//! A smooth curve by a chain of cubics whose inner joints need not lie on it.
//!
//! A cubic with a curve's own ends and end tangents has two arms left to give, and strays nowhere near its ends. Where the
//! inner joints of a chain may leave the curve along its normal and turn against its tangent, all within the tolerance,
//! the same number of cubics comes several times nearer, or one fewer does.
//!
//! Arms, shifts and turns are the least-squares solution for the deviation along the normal (Levenberg 1944, Marquardt
//! 1963); the joints are moved along the curve until all cubics stray alike; last, the weights are turned towards the
//! least maximum (Lawson 1961). It takes a few milliseconds at the most: a thousand times as long as one cubic.

use super::offset::right;
use kurbo::{CubicBez, ParamCurve, ParamCurveDeriv, Point, Vec2};

/// Places of each cubic at which it is compared with the curve, its end among them.
const PLACES: usize = 20;

/// Times that the joints are moved at the most. Chains that come within the tolerance need three or four.
const MOVES: usize = 12;

/// Moves after which each must bring something, or there are no more of them.
const PATIENCE: usize = 4;

/// Rounds of least squares between two moves at the most.
const SQUARES: usize = 6;

/// Rounds towards the least maximum at the most.
const LEVELLING: usize = 40;

/// Levelling brings the maximum down by a third at the most; a chain that strays farther is given up.
const HOPE: f64 = 1.5;

/// Levelled to this part of the tolerance, a chain holds between the places compared, too.
const ENOUGH: f64 = 0.9;

/// A cubic's share of the curve is changed by this power of its deviation. Deviations go with the sixth power of a share
/// and, towards a near-cusp, with a higher one: more than this would swing to and fro.
const GIVE: f64 = -0.12;

type Places<T> = [T; PLACES];

/// A chain under way.
#[derive(Clone)]
struct Chain<'a> {
    at: &'a dyn Fn(f64) -> (Point, Vec2),
    /// The curve's parameters at all joints, both ends among them.
    joints: Vec<f64>,
    /// The curve's point and tangent at every joint.
    posts: Vec<(Point, Vec2)>,
    /// The curve's points and tangents at the places of every cubic.
    targets: Vec<Places<(Point, Vec2)>>,
    /// What is sought: two arms for every cubic, then shift and turn for every inner joint.
    sought: Vec<f64>,
    /// Every cubic's parameters abreast of its places.
    abreast: Vec<Places<f64>>,
}

/// A chain compared with its curve.
struct Compared {
    cubics: Vec<CubicBez>,
    abreast: Vec<Places<f64>>,
    /// Deviations along the curve's normal, mm.
    off: Vec<Places<f64>>,
}

impl Compared {
    fn cost(&self, weights: &[Places<f64>]) -> f64 {
        self.off.iter().flatten().zip(weights.iter().flatten()).map(|(off, weight)| weight * off * off).sum()
    }

    fn worst(&self) -> f64 {
        self.off.iter().flatten().fold(0.0, |worst, off| worst.max(off.abs()))
    }

    /// How far each cubic strays, root mean square.
    fn strays(&self) -> Vec<f64> {
        let stray = |off: &Places<f64>| (off.iter().map(|e| e * e).sum::<f64>() / PLACES as f64).sqrt();
        self.off.iter().map(|off| stray(off).max(f64::MIN_POSITIVE)).collect()
    }
}

/// Cubics between joints, each with the parameters of its ends, that come within `tolerance` mm of a curve at the places
/// compared; `None` where they don't. `at` is the curve's point and unit tangent at a parameter, `arms` a first guess at
/// the control arms between two parameters, `joints` the parameters to start from, the curve's two ends among them.
pub fn loosened(
    at: &dyn Fn(f64) -> (Point, Vec2),
    arms: &dyn Fn(f64, f64) -> [f64; 2],
    joints: Vec<f64>,
    tolerance: f64,
) -> Option<Vec<(CubicBez, [f64; 2])>> {
    let count = joints.len() - 1;
    let mut sought: Vec<f64> = joints.windows(2).flat_map(|pair| arms(pair[0], pair[1])).collect();
    sought.resize(4 * count - 2, 0.0);
    let even = std::array::from_fn(|k| (k + 1) as f64 / PLACES as f64);
    let mut chain = Chain { at, posts: Vec::new(), targets: Vec::new(), joints, sought, abreast: vec![even; count] };
    let now = chain.balanced(tolerance)?;
    if now.worst() > HOPE * tolerance {
        return None;
    }
    let cubics = chain.levelled(now, tolerance)?;
    let spans = chain.joints.windows(2).map(|pair| [pair[0], pair[1]]);
    Some(cubics.into_iter().zip(spans).collect())
}

impl Chain<'_> {
    /// Moves the joints until all cubics stray alike, or are near enough.
    fn balanced(&mut self, tolerance: f64) -> Option<Compared> {
        let mut best: Option<(f64, Self, Compared)> = None;
        for round in 0..MOVES {
            let now = self.least_squares()?;
            let strays = now.strays();
            let most = strays.iter().copied().fold(0.0, f64::max);
            let stuck = best.as_ref().is_some_and(|(least, ..)| round >= PATIENCE && most > 0.97 * least);
            let done = stuck || now.worst() < tolerance;
            if best.as_ref().is_none_or(|(least, ..)| most < *least) {
                best = Some((most, self.clone(), now));
            }
            if done {
                break;
            }
            self.share_out(&strays);
        }
        let (_, chain, compared) = best?;
        *self = chain;
        Some(compared)
    }

    /// The chain nearest to the curve with the joints where they are, all places alike.
    fn least_squares(&mut self) -> Option<Compared> {
        self.look();
        let alike = vec![[1.0; PLACES]; self.targets.len()];
        let mut damping = 1e-4;
        let mut now = self.compared(&self.sought)?;
        for _ in 0..SQUARES {
            let before = now.cost(&alike);
            now = self.bettered(now, &alike, &mut damping)?;
            if now.cost(&alike) > 0.98 * before {
                break;
            }
        }
        Some(now)
    }

    /// The cubics once places that stray more have been given more weight, round by round.
    fn levelled(&mut self, mut now: Compared, tolerance: f64) -> Option<Vec<CubicBez>> {
        let mut weights = vec![[1.0; PLACES]; self.targets.len()];
        let mut best: Option<(f64, Vec<CubicBez>)> = None;
        for _ in 0..LEVELLING {
            let worst = now.worst();
            if best.as_ref().is_none_or(|(least, _)| worst < *least) {
                best = Some((worst, now.cubics.clone()));
            }
            if worst < ENOUGH * tolerance {
                break;
            }
            for (weight, off) in weights.iter_mut().flatten().zip(now.off.iter().flatten()) {
                *weight *= 0.2 + off.abs() / worst;
            }
            now = self.bettered(now, &weights, &mut 1e-9)?;
        }
        best.filter(|(worst, _)| *worst <= tolerance).map(|(_, cubics)| cubics)
    }

    /// Takes the curve's points and tangents at joints and places.
    fn look(&mut self) {
        let place = |pair: &[f64], k: usize| (self.at)(pair[0] + (pair[1] - pair[0]) * (k + 1) as f64 / PLACES as f64);
        self.posts = self.joints.iter().map(|t| (self.at)(*t)).collect();
        self.targets = self.joints.windows(2).map(|pair| std::array::from_fn(|k| place(pair, k))).collect();
    }

    /// Where shift and turn of an inner joint stand among what is sought.
    fn index(&self, joint: usize) -> Option<usize> {
        let count = self.joints.len() - 1;
        (joint > 0 && joint < count).then(|| 2 * count + 2 * (joint - 1))
    }

    /// Point and tangent of the chain at a joint.
    fn joint(&self, joint: usize, sought: &[f64]) -> (Point, Vec2) {
        let (post, along) = self.posts[joint];
        match self.index(joint) {
            Some(i) => (post + sought[i] * right(along), Vec2::from_angle(sought[i + 1]).rotate_scale(along)),
            None => (post, along),
        }
    }

    /// `None` where a number is not finite.
    fn compared(&self, sought: &[f64]) -> Option<Compared> {
        let cubic = |i: usize| {
            let ((p0, t0), (p3, t3)) = (self.joint(i, sought), self.joint(i + 1, sought));
            CubicBez::new(p0, p0 + sought[2 * i] * t0, p3 - sought[2 * i + 1] * t3, p3)
        };
        let cubics: Vec<CubicBez> = (0..self.targets.len()).map(cubic).collect();
        let mut abreast = self.abreast.clone();
        let mut off = vec![[0.0; PLACES]; cubics.len()];
        for (i, cubic) in cubics.iter().enumerate() {
            let speed = cubic.deriv();
            for (k, (target, along)) in self.targets[i].iter().enumerate() {
                let u = &mut abreast[i][k];
                // The last place is the joint, and the cubic's end abreast of it.
                for _ in 0..if k + 1 < PLACES { 4 } else { 0 } {
                    let step = (cubic.eval(*u) - *target).dot(*along) / speed.eval(*u).to_vec2().dot(*along);
                    if step.is_finite() {
                        *u = (*u - step).clamp(0.0, 1.0);
                    }
                }
                off[i][k] = (cubic.eval(*u) - *target).dot(right(*along));
            }
        }
        off.iter().flatten().all(|off| off.is_finite()).then_some(Compared { cubics, abreast, off })
    }

    /// One step of least squares, damped until it brings the chain nearer; where none does, the chain as it is.
    fn bettered(&mut self, now: Compared, weights: &[Places<f64>], damping: &mut f64) -> Option<Compared> {
        let cost = now.cost(weights);
        self.abreast.clone_from(&now.abreast);
        let system = self.system(&now, weights);
        let arms = 2 * self.targets.len();
        for _ in 0..6 {
            let mut damped = system.clone();
            for (i, row) in damped.iter_mut().enumerate() {
                row[i] += *damping * row[i] + 1e-15;
            }
            let step = solved(damped)?;
            let moved = self.sought.iter().zip(step).enumerate();
            // No arm points backwards.
            let moved = moved.map(|(i, (x, step))| if i < arms { (x - step).max(0.0) } else { x - step });
            let sought: Vec<f64> = moved.collect();
            if let Some(next) = self.compared(&sought).filter(|next| next.cost(weights) < cost) {
                *damping *= 0.1;
                self.abreast.clone_from(&next.abreast);
                self.sought = sought;
                return Some(next);
            }
            *damping *= 10.0;
        }
        Some(now)
    }

    /// The normal equations, their right side as a last column.
    fn system(&self, now: &Compared, weights: &[Places<f64>]) -> Vec<Vec<f64>> {
        let size = self.sought.len();
        let mut system = vec![vec![0.0; size + 1]; size];
        for (i, targets) in self.targets.iter().enumerate() {
            let [(t0, n0), (t3, n3)] =
                [i, i + 1].map(|joint| (self.joint(joint, &self.sought).1, right(self.posts[joint].1)));
            let arms = [2 * i, 2 * i + 1];
            // Ends of the whole curve have neither shift nor turn.
            let [(first, free_first), (last, free_last)] =
                [i, i + 1].map(|joint| self.index(joint).map_or((0, 0.0), |index| (index, 1.0)));
            for (k, (_, along)) in targets.iter().enumerate() {
                let (u, normal) = (now.abreast[i][k], right(*along));
                let v = 1.0 - u;
                let [b0, b1, b2, b3] = [v * v * v, 3.0 * v * v * u, 3.0 * v * u * u, u * u * u];
                // What moves the place, and by how much along the normal.
                let row = [
                    (arms[0], b1 * t0.dot(normal)),
                    (arms[1], -b2 * t3.dot(normal)),
                    (first, free_first * (b0 + b1) * n0.dot(normal)),
                    (first + 1, -free_first * b1 * self.sought[arms[0]] * right(t0).dot(normal)),
                    (last, free_last * (b2 + b3) * n3.dot(normal)),
                    (last + 1, free_last * b2 * self.sought[arms[1]] * right(t3).dot(normal)),
                    (size, now.off[i][k]),
                ];
                for (r, a) in &row[..6] {
                    for (c, b) in &row {
                        system[*r][*c] += weights[i][k] * a * b;
                    }
                }
            }
        }
        system
    }

    /// Moves the joints so that a cubic which strays more gets a smaller share of the curve.
    fn share_out(&mut self, strays: &[f64]) {
        let count = strays.len();
        let middle = strays.iter().map(|stray| stray.ln()).sum::<f64>() / count as f64;
        let grown: Vec<f64> = strays.iter().map(|stray| (GIVE * (stray.ln() - middle)).exp().clamp(0.7, 1.4)).collect();
        let shares: Vec<f64> = self.joints.windows(2).zip(&grown).map(|(pair, by)| (pair[1] - pair[0]) * by).collect();
        let factor = (self.joints[count] - self.joints[0]) / shares.iter().sum::<f64>();
        for i in 0..count {
            if i + 1 < count {
                self.joints[i + 1] = self.joints[i] + factor * shares[i];
            }
            for arm in &mut self.sought[2 * i..2 * i + 2] {
                *arm *= factor * grown[i];
            }
        }
    }
}

/// The solution of linear equations whose right side is the last column, by elimination with row pivots.
fn solved(mut rows: Vec<Vec<f64>>) -> Option<Vec<f64>> {
    let size = rows.len();
    for c in 0..size {
        let pivot = (c..size).max_by(|a, b| rows[*a][c].abs().total_cmp(&rows[*b][c].abs()))?;
        rows.swap(c, pivot);
        let (done, below) = rows.split_at_mut(c + 1);
        for row in below {
            let factor = row[c] / done[c][c];
            for (x, y) in row[c..].iter_mut().zip(&done[c][c..]) {
                *x -= factor * y;
            }
        }
    }
    let mut solution = vec![0.0; size];
    for r in (0..size).rev() {
        let known: f64 = (r + 1..size).map(|c| rows[r][c] * solution[c]).sum();
        solution[r] = (rows[r][size] - known) / rows[r][r];
    }
    solution.iter().all(|x| x.is_finite()).then_some(solution)
}
