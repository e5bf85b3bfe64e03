//! The grainline, drawn as long as the piece allows.

use super::ground::Ground;
use super::lines::{Lines, lines};
use super::{Stroke, polyline};
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::piece::{Fastening, Piece};
use crate::role::Role;
use kurbo::{BezPath, Point, Vec2};

/// Share of the piece's extent along the grain that the line takes at most: long enough to measure to the cloth's edge
/// at both ends (common practice, no source).
const SHARE: f64 = 0.75;

/// Places across the piece that are tried.
const PLACES: usize = 24;

/// A grainline as drawn.
#[derive(Clone)]
pub(super) struct Grain {
    pub ends: [Point; 2],
    pub strokes: Vec<Stroke>,
}

/// The places for the grainline, best first: where the draft has it, and then towards either side, to leave room for the
/// label. All are parallel to the piece's own, inside the sew line and clear of `off`: the hole that a block hangs by, the
/// fold's bracket; empty where there is no such line.
pub(super) fn candidates(piece: &Piece, ground: &Ground, off: &[&BezPath]) -> Result<Vec<Grain>> {
    let [tail, head] = piece.grain;
    let along = head - tail;
    if along.hypot() < 1e-9 {
        return Err(Box::new(
            Finding::error("the grainline has no length, so it has no direction")
                .piece(&piece.name)
                .hint("give two different points, tail first"),
        ));
    }
    let along = along.normalize();
    let across = Vec2::new(-along.y, along.x);
    let home = tail.midpoint(head);
    let (least, most) = ground.extent(across, home);
    let (low, high) = ground.extent(along, home);
    let wanted = SHARE * (high - low);
    let mut kept = Lines::default();
    kept.add(off.iter().copied());
    let drawn = |aside: f64| drawn(piece, ground, &kept, home + across * aside, along, wanted);
    let mut tried: Vec<(f64, Grain)> = (0..PLACES)
        .map(|i| least + (most - least) * (i as f64 + 0.5) / PLACES as f64)
        .filter_map(|aside| Some((aside, drawn(aside)?)))
        .collect();
    let long = |grain: &Grain| grain.ends[0].distance(grain.ends[1]);
    let best = tried.iter().map(|(_, grain)| long(grain)).fold(0.0, f64::max);
    // The draft's own place wins unless it is cramped; then the nearest place that is not.
    tried.sort_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    let at_home = drawn(0.0).filter(|grain| long(grain) >= 0.6 * best).map(|grain| (0.0, grain));
    let first = at_home.or_else(|| tried.iter().find(|(_, grain)| long(grain) >= 0.8 * best).cloned());
    let Some((home_aside, first)) = first else { return Ok(Vec::new()) };
    let mut grains = vec![first];
    for side in [-1.0, 1.0] {
        let farthest = tried
            .iter()
            .filter(|(aside, grain)| side * (aside - home_aside) > 0.0 && long(grain) >= 0.6 * best)
            .max_by(|a, b| (side * a.0).total_cmp(&(side * b.0)));
        grains.extend(farthest.map(|(_, grain)| grain.clone()));
    }
    Ok(grains)
}

/// The longest line through a point, up to the wanted length, whose arrows too lie clear inside the sew line.
fn drawn(piece: &Piece, ground: &Ground, off: &Lines, through: Point, along: Vec2, wanted: f64) -> Option<Grain> {
    let chords = ground.chords(through, along);
    let (from, to) = chords.into_iter().max_by(|a, b| (a.1 - a.0).total_cmp(&(b.1 - b.0)))?;
    let margin = (0.06 * (to - from)).clamp(1.5, 10.0);
    for shrink in [1.0, 0.9, 0.8, 0.65, 0.5, 0.35] {
        let long = wanted.min(to - from - 2.0 * margin) * shrink;
        if long < 4.0 {
            return None;
        }
        // About the draft's own middle where the piece reaches far enough both ways.
        let middle = (from + margin + long / 2.0).max(0.0).min(to - margin - long / 2.0);
        let ends = [through + along * (middle - long / 2.0), through + along * (middle + long / 2.0)];
        let paths = arrows(ends, along);
        let clear = |path: &BezPath| ground.clearance(path) >= 1.0;
        let hits = paths.iter().any(|path| off.apart(path) < 2.0);
        if paths.iter().all(clear) && !hits && !rides(piece, ends, along) {
            let stroke = |path| Stroke { role: Role::Grain, edge: String::new(), path };
            return Some(Grain { ends, strokes: paths.into_iter().map(stroke).collect() });
        }
    }
    None
}

/// A line with an arrow at each end.
fn arrows(ends: [Point; 2], along: Vec2) -> Vec<BezPath> {
    let head = (0.12 * ends[0].distance(ends[1])).min(6.0);
    let aside = Vec2::new(-along.y, along.x) * (0.36 * head);
    let barbs = |tip: Point, back: Vec2| polyline(&[tip + back - aside, tip, tip + back + aside]);
    vec![polyline(&ends), barbs(ends[0], along * head), barbs(ends[1], along * -head)]
}

/// Whether the line runs through a point to pierce or a button, or along an inner line or a dart's leg so that the two
/// would be taken for one.
fn rides(piece: &Piece, ends: [Point; 2], along: Vec2) -> bool {
    const CLOSE: f64 = 2.5;
    let near = |point: Point| {
        let from_tail = point - ends[0];
        let on = along.dot(from_tail);
        along.cross(from_tail).abs() < CLOSE && on > -CLOSE && on < ends[0].distance(ends[1]) + CLOSE
    };
    let parallel = |line: &kurbo::Line| {
        let direction = line.p1 - line.p0;
        direction.hypot() > CLOSE && along.cross(direction).abs() < 0.1 * direction.hypot() && near(line.midpoint())
    };
    let buttons = piece.fastenings.iter().map(|fastening| match fastening {
        Fastening::Button(at) => *at,
        Fastening::Buttonhole(from, to) => from.midpoint(*to),
    });
    let legs = piece.darts.iter().flat_map(|dart| {
        let edge = piece.edge(&dart.edge);
        let mouths = dart.mouth.into_iter().filter_map(move |at| Some(path::point_at(&edge?.path, at)?.0));
        mouths.map(|mouth| kurbo::Line::new(mouth, dart.apex))
    });
    let tips = piece.darts.iter().map(|dart| dart.apex);
    piece.drills.iter().copied().chain(buttons).chain(tips).any(near)
        || piece.lines.iter().any(|line| lines(&line.path).iter().any(parallel))
        || legs.into_iter().any(|leg| parallel(&leg))
}
