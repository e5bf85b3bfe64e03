//! Name and net length along the inside of the edges.

use super::ground::{Ground, Spot, upright};
use super::label::{READABLE, ink};
use super::lines::lines;
use super::{Heading, Stroke};
use crate::diag::Finding;
use crate::geom::path;
use crate::piece::Piece;
use crate::role::Role;
use crate::text::{Font, Lettering, letter_with};
use crate::units::format_length;
use kurbo::{Affine, BezPath, Line, ParamCurve, Point, Rect, Vec2};

/// What can be written along the edges; made once for a piece, whatever else is drawn on it.
pub(super) struct Words {
    edges: Vec<EdgeWords>,
}

struct EdgeWords {
    name: String,
    /// Name and net length.
    says: String,
    /// Its length at full size, mm: what is long enough there is missed at a smaller scale.
    real: f64,
    walk: Walk,
    /// An inner line the other way round, for its other side.
    turned: Option<Walk>,
    /// Name and net length, and the length alone; of an inner line the name alone.
    writings: [Writing; 2],
}

/// Words with capitals of height 1.
struct Writing {
    written: Lettering,
    ink: Rect,
}

impl Writing {
    fn new(text: &str, font: Option<&Font>) -> Self {
        let written = letter_with(text, 1.0, font);
        Self { ink: ink(&written.paths), written }
    }
}

/// An edge as straight lines, each with the distance walked at its end.
struct Walk {
    lines: Vec<(Line, f64)>,
}

impl Walk {
    fn new(path: &BezPath) -> Self {
        let mut walked = 0.0;
        let step = |line: Line| {
            walked += line.p0.distance(line.p1);
            (line, walked)
        };
        Self { lines: lines(path).into_iter().map(step).collect() }
    }

    fn long(&self) -> f64 {
        self.lines.last().map_or(0.0, |(_, walked)| *walked)
    }

    fn at(&self, distance: f64) -> Option<Point> {
        let index = self.lines.partition_point(|(_, walked)| *walked < distance);
        let (line, walked) = self.lines.get(index).or(self.lines.last())?;
        let long = line.p0.distance(line.p1);
        Some(if long > 0.0 { line.eval(1.0 - (walked - distance) / long) } else { line.p1 })
    }
}

/// What was written along the edges.
pub(super) struct Figures {
    pub strokes: Vec<Stroke>,
    /// Edges that are long enough at full size but have no room inside.
    pub left_out: Vec<LeftOut>,
}

/// An edge that nothing was written along.
pub(super) struct LeftOut {
    /// Its name.
    pub name: String,
    /// Its name and net length.
    pub says: String,
}

impl Figures {
    /// What the user should know of them.
    pub fn findings(&self, piece: &str, findings: &mut Vec<Finding>) {
        if !self.left_out.is_empty() {
            let names: Vec<&str> = self.left_out.iter().map(|edge| &*edge.name).collect();
            let message = format!("there was no room for the length of: {}", names.join(", "));
            findings.push(Finding::note(message).piece(piece));
        }
    }
}

impl Words {
    /// What can be written along the edges of a piece.
    pub fn new(piece: &Piece, heading: &Heading) -> Self {
        let edges = piece.edges.iter().map(|edge| EdgeWords::new(&edge.name, &edge.path, heading, true));
        // A line may be written on from either side; a short one says nothing, and nobody misses it.
        let lines = piece.lines.iter().map(|line| EdgeWords::new(&line.name, &line.path, heading, false));
        Self { edges: edges.chain(lines).collect() }
    }

    /// Characters that there is no glyph for.
    pub fn missing(&self) -> impl Iterator<Item = char> {
        self.edges.iter().flat_map(|edge| edge.writings[0].written.missing.iter().copied())
    }

    /// Writes along every edge that is long enough. The ground they take is marked as taken.
    pub fn write(&self, ground: &mut Ground) -> Figures {
        let mut figures = Figures { strokes: Vec::new(), left_out: Vec::new() };
        for edge in &self.edges {
            match edge.fitting(edge.walk.long()).find_map(|(writing, size)| edge.along(writing, size, ground)) {
                Some(paths) => {
                    ground.take(&paths);
                    let stroke = |path| Stroke { role: Role::Label, edge: edge.name.clone(), path };
                    figures.strokes.extend(paths.into_iter().map(stroke));
                }
                None if edge.turned.is_none() && edge.fitting(edge.real).next().is_some() => {
                    figures.left_out.push(LeftOut { name: edge.name.clone(), says: edge.says.clone() });
                }
                None => {}
            }
        }
        figures
    }
}

impl EdgeWords {
    fn new(name: &str, path: &BezPath, heading: &Heading, is_edge: bool) -> Self {
        let real = path::length(path) / heading.scale;
        let length = format_length(real, heading.unit);
        let both = format!("{name} {length}");
        let short = if is_edge { &length } else { name };
        let font = heading.font.as_deref();
        let turned = (!is_edge).then(|| Walk::new(&path.reverse_subpaths()));
        Self {
            name: name.to_owned(),
            real,
            walk: Walk::new(path),
            turned,
            writings: [Writing::new(&both, font), Writing::new(short, font)],
            says: both,
        }
    }

    /// What fits along an edge so `long`, with the height of its capitals, best first.
    fn fitting(&self, long: f64) -> impl Iterator<Item = (&Writing, f64)> {
        let sizes = [1.25 * READABLE, READABLE];
        let choices = self.writings.iter().flat_map(move |writing| sizes.map(|size| (writing, size)));
        choices.filter(move |(writing, size)| (writing.written.width + 4.0) * size <= long)
    }

    /// Words just inside the edge, or on either side of a line, near its middle, where they fit.
    fn along(&self, words: &Writing, size: f64, ground: &Ground) -> Option<Vec<BezPath>> {
        [Some(&self.walk), self.turned.as_ref()]
            .into_iter()
            .flatten()
            .find_map(|walk| beside(walk, words, size, ground))
    }
}

/// Words to the left of a line walked, where they fit.
fn beside(walk: &Walk, words: &Writing, size: f64, ground: &Ground) -> Option<Vec<BezPath>> {
    let (long, wide) = (walk.long(), size * words.written.width);
    let half = (words.ink.size().to_vec2() / 2.0 + Vec2::new(0.5, 0.35)) * size;
    // Close to the edge anywhere along it, before farther in at its middle: past the bulge of a hollow edge, but not
    // so far that the words lose it.
    for steps in [0..4, 4..12] {
        for part in [0.5, 0.36, 0.64, 0.25, 0.75] {
            let room = (wide / 2.0 + size).min(long / 2.0);
            let middle = (part * long).clamp(room, long - room);
            let along = (walk.at(middle + wide / 2.0)? - walk.at(middle - wide / 2.0)?).normalize();
            if !along.is_finite() {
                continue;
            }
            let inward = Vec2::new(-along.y, along.x);
            let at = walk.at(middle)?;
            for step in steps.clone() {
                let centre = at + inward * (half.y + 0.3 + 0.5 * f64::from(step));
                let spot = Spot { centre, angle: upright(along.atan2()), scale: size };
                if ground.fits(centre, spot.angle, half) {
                    let place = spot.transform() * Affine::translate(-words.ink.center().to_vec2());
                    return Some(words.written.paths.iter().map(|path| place * path).collect());
                }
            }
        }
    }
    None
}
