//! Seeded outlines for the tests and benches of the allowance stage.
#![allow(dead_code)]

pub mod chain;
pub mod oracle;
pub mod region;

use kurbo::{BezPath, CubicBez, PathSeg, Point, Vec2};
use oaktag::piece::{Cut, Edge, Finish, Piece};

/// `SplitMix64` (Steele, Lea, Flood 2014): small, seeded, the same everywhere.
pub struct Random(pub u64);

impl Random {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in a..b.
    pub fn within(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform in 0..n.
    pub fn below(&mut self, n: usize) -> usize {
        (self.bits() % n as u64) as usize
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.within(0.0, 1.0) < p
    }
}

/// Kinds of outlines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// Like garment pieces: 4–12 edges, calm curves.
    Gentle,
    /// Star-like, with sharp points and deep hollows.
    Spiky,
    /// Edges from 0.002 to 1 mm between ordinary ones.
    Tiny,
    /// Cubics whose control points all but make a cusp.
    NearCusp,
}

pub const CLASSES: [Class; 4] = [Class::Gentle, Class::Spiky, Class::Tiny, Class::NearCusp];

/// A piece of edges given as path, width and finish.
pub fn piece(edges: &[(&str, f64, Finish)]) -> Piece {
    let paths = edges.iter().map(|(path, w, f)| (BezPath::from_svg(path).expect("path"), *w, *f));
    piece_of(paths.collect())
}

pub fn piece_of(edges: Vec<(BezPath, f64, Finish)>) -> Piece {
    Piece {
        name: "Test".into(),
        cut: Cut::default(),
        edges: edges
            .into_iter()
            .enumerate()
            .map(|(i, (path, allowance, corner))| Edge { name: format!("e{i}"), path, allowance, fold: false, corner })
            .collect(),
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: [Point::ORIGIN, Point::new(0.0, 10.0)],
        drills: Vec::new(),
        lines: Vec::new(),
        fastenings: Vec::new(),
    }
}

/// A polygon with one width and finish.
pub fn polygon(points: &[(f64, f64)], width: f64, finish: Finish) -> Piece {
    let edge = |i: usize| {
        let mut path = BezPath::new();
        path.move_to(points[i]);
        path.line_to(points[(i + 1) % points.len()]);
        (path, width, finish)
    };
    piece_of((0..points.len()).map(edge).collect())
}

/// A bodice front of invented measures: 7 edges, 4 of them curves.
pub fn bodice(width: f64, finish: Finish) -> Piece {
    let paths = [
        "M0 0 C80 -6 160 -4 235 8",
        "M235 8 C245 80 250 150 248 205",
        "M248 205 C205 210 190 250 192 300 C193 330 196 350 200 372",
        "M200 372 L75 415",
        "M75 415 C70 365 40 330 0 325",
        "M0 325 L0 160",
        "M0 160 L0 0",
    ];
    piece(&paths.map(|path| (path, width, finish)))
}

/// The segments of a seeded outline, counter-clockwise, closed. Not all of them are simple.
pub fn outline(class: Class, seed: u64) -> Vec<PathSeg> {
    let mut random = Random(seed.wrapping_mul(0x2545_F491_4F6C_DD1D) ^ class as u64);
    let count = match class {
        Class::Gentle => 4 + random.below(9),
        Class::Spiky => 6 + 2 * random.below(10),
        Class::Tiny => 5 + random.below(12),
        Class::NearCusp => 4 + random.below(6),
    };
    let size = random.within(40.0, 400.0);
    // Corners about the middle, in order.
    let mut corners: Vec<Point> = (0..count)
        .map(|i| {
            let jitter = if class == Class::Gentle { 0.2 } else { 0.4 };
            let angle = std::f64::consts::TAU * (i as f64 + random.within(-jitter, jitter)) / count as f64;
            let radius = size
                * match class {
                    Class::Spiky if i % 2 == 1 => random.within(0.15, 0.5),
                    Class::Gentle => random.within(0.75, 1.25),
                    _ => random.within(0.6, 1.4),
                };
            let (sine, cosine) = angle.sin_cos();
            Point::new(radius * cosine * random.within(0.7, 1.3), radius * sine)
        })
        .collect();
    if class == Class::Tiny {
        let mut more = Vec::new();
        for corner in &corners {
            more.push(*corner);
            for _ in 0..random.below(4) {
                let size = 10.0_f64.powf(random.within(-2.7, 0.0));
                let last: Point = more[more.len() - 1];
                let around = last.to_vec2().atan2() + std::f64::consts::FRAC_PI_2;
                more.push(last + size * Vec2::from_angle(around + random.within(-1.3, 1.3)));
            }
        }
        corners = more;
    }
    let mut segments = Vec::with_capacity(corners.len());
    // A direction at every corner, so that some joins are smooth.
    let count = corners.len();
    let smooth: Vec<bool> = (0..count).map(|_| random.chance(0.3)).collect();
    let through: Vec<Vec2> = (0..count)
        .map(|i| {
            let around = corners[(i + 1) % count] - corners[(i + count - 1) % count];
            if around.hypot() > 0.0 { around.normalize() } else { Vec2::new(1.0, 0.0) }
        })
        .collect();
    for i in 0..count {
        let (a, b) = (corners[i], corners[(i + 1) % count]);
        let chord = b - a;
        let long = chord.hypot();
        if random.chance(0.4) || long < 1.0 {
            segments.push(PathSeg::Line(kurbo::Line::new(a, b)));
            continue;
        }
        let bend = match class {
            Class::Gentle => 0.35,
            Class::NearCusp => 1.6,
            Class::Spiky | Class::Tiny => 0.45,
        };
        let mut arm = |end: usize, ahead: Vec2| {
            let reach = long * random.within(0.15, 0.45);
            let angle = random.within(-bend, bend);
            if smooth[end] { reach * ahead } else { reach * (Vec2::from_angle(angle).rotate_scale(chord / long)) }
        };
        let first = arm(i, through[i]);
        let last = arm((i + 1) % count, through[(i + 1) % count]);
        let mut cubic = CubicBez::new(a, a + first, b - last, b);
        if class == Class::NearCusp && random.chance(0.5) {
            // Control points that cross over: the loop's limit is a cusp; keep to the near side of it.
            let over = random.within(0.6, 1.02);
            let lift = long * random.within(-0.4, 0.4);
            let up = Vec2::new(-chord.y, chord.x) / long * lift;
            cubic.p1 = a + over * chord + up;
            cubic.p2 = b - over * chord + up;
        }
        segments.push(PathSeg::Cubic(cubic));
    }
    segments
}

/// Puts what a program printed under its heading in `tests/results/allow.txt`, in place of what it printed before.
pub fn record(heading: &str, text: &str) {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/results/allow.txt");
    let mark = "== ";
    let before = std::fs::read_to_string(path).unwrap_or_default();
    let mut parts: Vec<&str> = before.split(&format!("\n{mark}")).map(|part| part.trim_start_matches(mark)).collect();
    let new = format!("{heading}\n{}\n", text.trim_end());
    parts.retain(|part| !part.is_empty());
    match parts.iter_mut().find(|part| part.lines().next() == Some(heading)) {
        Some(part) => *part = &new,
        None => parts.push(&new),
    }
    let all: Vec<String> = parts.iter().map(|part| format!("{mark}{}\n", part.trim_end())).collect();
    std::fs::write(path, all.join("\n")).expect("written");
}

/// A seeded outline as a piece, every segment an edge of its own.
pub fn random_piece(class: Class, seed: u64, mixed: bool) -> Piece {
    let mut random = Random(seed ^ 0xA11_0CA7E);
    let width = random.within(2.0, 30.0);
    let finishes = [Finish::Mitre, Finish::Bevel, Finish::Round, Finish::Square, Finish::Step];
    let edges = outline(class, seed)
        .into_iter()
        .map(|segment| {
            let mut path = BezPath::new();
            path.move_to(segment.start());
            path.push(segment.as_path_el());
            if mixed {
                let width = if random.chance(0.15) { 0.0 } else { random.within(1.0, 40.0) };
                (path, width, finishes[random.below(5)])
            } else {
                (path, width, Finish::Round)
            }
        })
        .collect();
    piece_of(edges)
}

use kurbo::ParamCurve;
