//! The allowance beside three polygon libraries, in one run: time, deviation from the true contour, segments.
//!
//! `cargo bench --bench allow`. The libraries get the sew line flattened at 0.01 mm, as they would be used; flattening
//! is not in their times. Times are the least of many runs. Deviations are measured against the capsules of the sew line
//! flattened at 0.0005 mm (`tests/allow_support/oracle.rs`). The limits at the end hold for the machine that the project
//! is developed on.

#[path = "../tests/allow_support/mod.rs"]
mod allow_support;

use allow_support::oracle::{Chain, capsule_error, clipper_offset, flattened, sew_chain};
use allow_support::{Class, Random, bodice, piece_of, random_piece};
use geo::algorithm::buffer::{Buffer, BufferStyle, LineJoin as GeoJoin};
use geo::{Coord, LineString, Polygon};
use i_overlay::mesh::float::outline::offset::OutlineOffset;
use i_overlay::mesh::float::style::{LineJoin, OutlineStyle};
use kurbo::{BezPath, ParamCurve, PathSeg, Point};
use oaktag::allow::{TOLERANCE, allow};
use oaktag::piece::{Finish, Piece};
use std::hint::black_box;
use std::time::Instant;

/// Width of the allowance, mm: half an inch.
const WIDTH: f64 = 12.7;

/// How far the libraries' chords may stray, mm.
const CHORD: f64 = 0.01;

fn least_time<T>(runs: usize, mut work: impl FnMut() -> T) -> f64 {
    (0..runs)
        .map(|_| {
            let start = Instant::now();
            black_box(work());
            start.elapsed().as_secs_f64() * 1e3
        })
        .fold(f64::INFINITY, f64::min)
}

/// An outline of 50 edges, half of them curves.
fn fifty_edges() -> Piece {
    let mut random = Random(50);
    let corners: Vec<Point> = (0..50)
        .map(|i| {
            let (sine, cosine) = (std::f64::consts::TAU * f64::from(i) / 50.0).sin_cos();
            let radius = random.within(270.0, 330.0);
            Point::new(radius * cosine, radius * sine)
        })
        .collect();
    let edge = |i: usize| {
        let (a, b) = (corners[i], corners[(i + 1) % 50]);
        let chord = b - a;
        let mut path = BezPath::new();
        path.move_to(a);
        if i.is_multiple_of(2) {
            path.line_to(b);
        } else {
            let side = kurbo::Vec2::new(chord.y, -chord.x) * 0.25;
            path.curve_to(a + 0.3 * chord + side, b - 0.3 * chord + side, b);
        }
        (path, WIDTH, Finish::Round)
    };
    piece_of((0..50).map(edge).collect())
}

fn row(name: &str, time: f64, chain: &Chain, segments: usize, piece: &Piece) {
    let deviation = capsule_error(piece, chain, WIDTH);
    println!("  {name:<42} {time:>8.3} ms {deviation:>9.4} mm {segments:>6}");
}

fn polygon_libraries(piece: &Piece) {
    let mut points = sew_chain(piece, CHORD).points;
    points.pop();
    // Both take the ratio of chord to radius: the sagitta is r·θ²/8.
    let angle = (8.0 * CHORD / WIDTH).sqrt();
    let ring = LineString(points.iter().map(|p| Coord { x: p.x, y: p.y }).collect());
    let polygon = Polygon::new(ring, Vec::new());
    let grow = || polygon.buffer_with_style(BufferStyle::new(WIDTH).line_join(GeoJoin::Round(angle)));
    let time = least_time(200, grow);
    let grown = grow();
    let chain = Chain::closed(grown.0[0].exterior().0.iter().map(|c| Point::new(c.x, c.y)).collect());
    row("geo 0.33 Buffer", time, &chain, chain.points.len() - 2, piece);
    let shape: Vec<Vec<[f64; 2]>> = vec![points.iter().map(|p| [p.x, p.y]).collect()];
    let style = OutlineStyle::new(WIDTH).line_join(LineJoin::Round(angle));
    let time = least_time(200, || shape.outline(&style));
    let grown = shape.outline(&style);
    let chain = Chain::closed(grown[0][0].iter().map(|p| Point::new(p[0], p[1])).collect());
    row("i_overlay 9.1 outline", time, &chain, chain.points.len() - 1, piece);
    let time = least_time(200, || clipper_offset(piece, WIDTH, CHORD));
    let chain = clipper_offset(piece, WIDTH, CHORD).expect("an outline");
    row("clipper2-rust 1.2 (flattening in its time)", time, &chain, chain.points.len() - 1, piece);
}

fn table(title: &str, piece: &Piece) -> f64 {
    println!("\n{title}\n  {:<42} {:>11} {:>12} {:>6}", "round joins, 12.7 mm", "time", "deviation", "parts");
    let mut quickest = f64::INFINITY;
    for tolerance in [TOLERANCE, 0.001] {
        let time = least_time(400, || allow(piece, tolerance).is_ok());
        let line = allow(piece, tolerance).expect("a cut line").0.cut_line;
        let chain = Chain::closed(flattened(&line, 2e-4));
        row(&format!("oaktag, proven, tolerance {tolerance}"), time, &chain, line.segments().count(), piece);
        quickest = quickest.min(time);
    }
    polygon_libraries(piece);
    quickest
}

/// Cubics that the cut line has for each curved edge, smallest first.
fn cubics_by_curve() -> Vec<usize> {
    let mut counts = Vec::new();
    for seed in 0..200 {
        let piece = random_piece(Class::Gentle, seed, false);
        let Ok((cut, _)) = allow(&piece, TOLERANCE) else { continue };
        let width = piece.edges[0].allowance;
        for edge in &piece.edges {
            let own: Vec<PathSeg> = edge.path.segments().collect();
            if !matches!(own[..], [PathSeg::Cubic(_)]) {
                continue;
            }
            let chain = {
                let mut points = flattened(&edge.path, 0.001);
                points.push(own[0].end());
                Chain::open(points)
            };
            let beside = |s: &PathSeg| {
                matches!(s, PathSeg::Cubic(_))
                    && [0.2, 0.5, 0.8].iter().all(|t| (chain.distance(s.eval(*t)) - width).abs() < 0.01)
            };
            let arcs = |s: &PathSeg| {
                let ends = [own[0].start(), own[0].end()];
                ends.iter().any(|v| [0.2, 0.5, 0.8].iter().all(|t| (v.distance(s.eval(*t)) - width).abs() < 0.01))
            };
            counts.push(cut.cut_line.segments().filter(|s| beside(s) && !arcs(s)).count());
        }
    }
    counts.retain(|count| *count > 0);
    counts.sort_unstable();
    counts
}

fn main() {
    let bodice_time = table("Bodice front, 7 edges (4 curves)", &bodice(WIDTH, Finish::Round));
    let fifty_time = table("Outline of 50 edges (25 curves)", &fifty_edges());
    let counts = cubics_by_curve();
    let (middle, most) = (counts[counts.len() / 2], counts[counts.len() - 1]);
    println!("\nCubics for one curved edge, {} edges: median {middle}, at most {most}", counts.len());
    for n in 1..=most {
        print!("{n}: {}  ", counts.iter().filter(|c| **c == n).count());
    }
    println!();
    let mitred = allow(&bodice(WIDTH, Finish::Mitre), TOLERANCE).expect("a cut line").0.cut_line;
    println!("Bodice, mitred: {} segments", mitred.segments().count());
    let limits = [("bodice, proof and all", bodice_time, 0.25), ("50 edges, proof and all", fifty_time, 3.0)];
    for (what, time, limit) in limits {
        let word = if time <= limit { "within" } else { "OVER" };
        println!("{what}: {time:.3} ms, {word} its limit of {limit} ms");
    }
}
