//! The label, and the small figures along the edges.

use super::ground::{Ground, Spot, View, upright};
use super::{Heading, Stroke};
use crate::allow::CutPiece;
use crate::diag::Finding;
use crate::geom::path;
use crate::piece::Piece;
use crate::role::Role;
use crate::text::{self, letter};
use crate::units::format_length;
use kurbo::{Affine, BezPath, PathEl, Point, Shape, Vec2};

/// Smallest capitals that are read with ease, mm (common practice, no source).
pub(super) const READABLE: f64 = 2.0;
/// Capitals that need no further room, mm.
const AMPLE: f64 = 5.0;
/// Smallest capitals that are drawn at all, mm.
const SMALLEST: f64 = 1.2;
/// Size of the piece's name against the other lines.
const NAME: f64 = 1.6;
/// Clear space about the block, in heights of a capital.
const PADDING: f64 = 0.6;

/// One thing that the label says.
#[derive(Clone)]
struct Item {
    text: String,
    size: f64,
    /// 0 is written on every piece, 1 and 2 where there is room.
    rank: u8,
}

/// A label in its place, with how much of it there was room for.
pub(super) struct Label {
    pub strokes: Vec<Stroke>,
    /// Lines over the whole of its block, closer together than any writing is high: what else is written keeps off them.
    pub hatch: BezPath,
    /// Height of its capitals, mm; 0 where there is no label.
    pub height: f64,
    /// Highest rank of item that it holds; −1 where it is only a name, −2 where there is none.
    pub holds: i8,
}

impl Label {
    /// Whether nothing was left out and it reads with ease.
    pub fn is_ample(&self) -> bool {
        self.holds == 2 && self.height >= 1.25 * READABLE
    }

    /// What the user should know of it.
    pub fn findings(&self, piece: &str, findings: &mut Vec<Finding>) {
        let message = match self.holds {
            2 => None,
            1 => Some("the piece has no room for the whole label; the date and the count of pieces were left out"),
            0 => Some(
                "the piece has room for its name, person and number to cut only; the rest of the label was left out",
            ),
            -1 => Some("the piece has room for its name only; the rest of the label was left out"),
            _ => Some("the piece has no room for a label"),
        };
        if let Some(message) = message {
            findings.push(Finding::warning(message).piece(piece).hint("write the rest on it by hand"));
        }
        if self.height > 0.0 && self.height < READABLE - 1e-6 {
            let message = format!("the label's capitals are only {:.1} mm high", self.height);
            findings.push(Finding::warning(message).piece(piece).hint("write it on the piece by hand"));
        }
    }
}

/// All that the label says, in order.
fn wording(piece: &Piece, heading: &Heading) -> Vec<Item> {
    let mut items = Vec::new();
    let mut say = |rank: u8, size: f64, text: String| {
        if !text.trim().is_empty() {
            items.push(Item { text, size, rank });
        }
    };
    say(0, NAME, piece.name.clone());
    say(1, 1.0, heading.style.clone());
    say(0, 1.0, heading.person.clone());
    say(0, 1.0, cut_words(piece));
    for line in allowance_words(piece, heading) {
        say(1, 1.0, line);
    }
    if !heading.taken.trim().is_empty() {
        say(2, 1.0, format!("measured {}", heading.taken.trim()));
    }
    say(2, 1.0, format!("piece {} of {}", heading.number, heading.of));
    items
}

/// As `cut 2, mirrored, main cloth`.
fn cut_words(piece: &Piece) -> String {
    let mut words = format!("cut {}", piece.cut.count);
    if piece.fold().is_some() {
        words.push_str(" on fold");
    }
    if piece.cut.mirrored {
        words.push_str(", mirrored");
    }
    let cloth = piece.cut.cloth.trim();
    if cloth == "main" {
        words.push_str(", main cloth");
    } else if !cloth.is_empty() {
        words.push_str(", ");
        words.push_str(cloth);
    }
    words
}

/// One figure where all edges are alike, else a line for each width with its edges, in the outline's order.
fn allowance_words(piece: &Piece, heading: &Heading) -> Vec<String> {
    if heading.net_block {
        return vec!["net, no allowance".into()];
    }
    let mut widths: Vec<(String, Vec<&str>)> = Vec::new();
    for edge in piece.edges.iter().filter(|edge| !edge.fold) {
        let width = if edge.allowance > 0.0 { format_length(edge.allowance, heading.unit) } else { "no".into() };
        match widths.iter_mut().find(|(known, _)| *known == width) {
            Some((_, edges)) => edges.push(&edge.name),
            None => widths.push((width, vec![&edge.name])),
        }
    }
    match widths.as_slice() {
        [] => Vec::new(),
        [(width, _)] if width == "no" => vec!["no allowance".into()],
        [(width, _)] => vec![format!("allowance {width}")],
        several => several.iter().map(|(width, edges)| format!("{width} allowance: {}", edges.join(", "))).collect(),
    }
}

/// Finds the best place, size and arrangement for the label, and leaves out what has no room.
pub(super) fn place(cut: &CutPiece, heading: &Heading, ground: &Ground) -> Label {
    let piece = &cut.piece;
    let items = wording(piece, heading);
    let views = views(piece, ground);
    let rank = |highest: u8| items.iter().filter(|item| item.rank <= highest).cloned().collect::<Vec<_>>();
    for (holds, items) in [(2, rank(2)), (1, rank(1)), (0, rank(0))] {
        let label = best(&items, &views).filter(|(_, spot)| spot.scale >= READABLE);
        if let Some((block, spot)) = label {
            return block.label(spot, holds);
        }
    }
    for (holds, items) in [(0, rank(0)), (-1, items[..1].to_vec())] {
        let label = best(&items, &views).filter(|(_, spot)| spot.scale >= SMALLEST);
        if let Some((block, spot)) = label {
            return block.label(spot, holds);
        }
    }
    Label { strokes: Vec::new(), hatch: BezPath::new(), height: 0.0, holds: -2 }
}

/// Upright, along the grain, along the longest edge; with how well each reads.
fn views(piece: &Piece, ground: &Ground) -> Vec<(f64, View)> {
    let [tail, head] = piece.grain;
    let longest = piece
        .edges
        .iter()
        .filter_map(|edge| Some(path::end(&edge.path)? - path::start(&edge.path)?))
        .max_by(|a, b| a.hypot().total_cmp(&b.hypot()));
    let mut angles: Vec<f64> = vec![0.0];
    for direction in [Some(head - tail), longest].into_iter().flatten() {
        let angle = upright(direction.atan2());
        if angles.iter().all(|known| (known - angle).abs() > 0.02) {
            angles.push(angle);
        }
    }
    angles.into_iter().enumerate().map(|(i, angle)| (if i == 0 { 1.0 } else { 0.8 }, ground.view(angle))).collect()
}

/// The arrangement of the items that reads best.
fn best(items: &[Item], views: &[(f64, View)]) -> Option<(Block, Spot)> {
    let n = items.len();
    let mut counts = vec![n, (2 * n).div_ceil(3), n.div_ceil(2), n.div_ceil(3), 1];
    counts.dedup();
    let mut best: Option<(f64, Block, Spot)> = None;
    for count in counts {
        let block = Block::new(&rows(items, count));
        // Fewer, longer rows read a little worse.
        let order = 1.0 - 0.2 * (n - count) as f64 / n as f64;
        for (weight, view) in views {
            let most = weight * order * AMPLE;
            if best.as_ref().is_some_and(|(worth, ..)| *worth >= most) {
                continue;
            }
            if let Some(spot) = view.roomiest(block.half, AMPLE) {
                let worth = weight * order * spot.scale;
                if best.as_ref().is_none_or(|(least, ..)| worth > *least) {
                    best = Some((worth, block.clone(), spot));
                }
            }
        }
    }
    best.map(|(_, block, spot)| (block, spot))
}

/// Splits the items into at most `count` rows, the longest as short as it can be.
fn rows(items: &[Item], count: usize) -> Vec<&[Item]> {
    if count >= items.len() {
        return items.chunks(1).collect();
    }
    let widths: Vec<f64> = items.iter().map(|item| letter(&item.text, item.size).width + SEPARATOR).collect();
    let mut limits: Vec<f64> = (0..items.len())
        .flat_map(|i| (i + 1..=items.len()).map(move |j| (i, j)))
        .map(|(i, j)| widths[i..j].iter().sum())
        .collect();
    limits.sort_by(f64::total_cmp);
    let split = |limit: f64| {
        let mut rows: Vec<&[Item]> = Vec::new();
        let (mut from, mut wide) = (0, 0.0);
        for (i, width) in widths.iter().enumerate() {
            if i > from && wide + width > limit + 1e-9 {
                rows.push(&items[from..i]);
                (from, wide) = (i, 0.0);
            }
            wide += width;
        }
        rows.push(&items[from..]);
        rows
    };
    let longest = widths.iter().copied().fold(0.0, f64::max);
    limits.into_iter().filter(|limit| *limit >= longest).map(split).find(|rows| rows.len() <= count).unwrap_or_default()
}

/// Room for the dot between two items of a row, in heights of a capital.
const SEPARATOR: f64 = 1.4;

/// A block of writing with capitals of height 1, centred on the origin.
#[derive(Clone)]
struct Block {
    paths: Vec<BezPath>,
    half: Vec2,
}

impl Block {
    fn new(rows: &[&[Item]]) -> Self {
        let mut paths = Vec::new();
        let mut baseline = 0.0;
        for (i, row) in rows.iter().enumerate() {
            let size = row.iter().map(|item| item.size).fold(0.0, f64::max);
            if i > 0 {
                // Room for the accents of a capital above and a tail below: together 0.7 of a capital.
                baseline -= 1.7 * size;
            }
            let mut x = 0.0;
            for (j, item) in row.iter().enumerate() {
                if j > 0 {
                    let dot = letter("·", 1.0);
                    let place = Affine::translate((x + (SEPARATOR - dot.width) / 2.0, baseline));
                    paths.extend(dot.paths.into_iter().map(|path| place * path));
                    x += SEPARATOR;
                }
                let written = letter(&item.text, item.size);
                let place = Affine::translate((x, baseline));
                paths.extend(written.paths.into_iter().map(|path| place * path));
                x += written.width;
            }
            // The next row also clears this one's tails where this one is larger.
            baseline -= 0.35 * (size - 1.0).max(0.0);
        }
        let ink = paths.iter().map(Shape::bounding_box).reduce(|a, b| a.union(b)).unwrap_or_default();
        let place = Affine::translate(-ink.center().to_vec2());
        let paths = paths.into_iter().map(|path| place * path).collect();
        Self { paths, half: ink.size().to_vec2() / 2.0 + Vec2::new(PADDING, PADDING) }
    }

    fn label(self, spot: Spot, holds: i8) -> Label {
        let place = spot.transform();
        let stroke = |path| Stroke { role: Role::Label, edge: String::new(), path: place * path };
        let mut hatch = BezPath::new();
        let mut y = -self.half.y;
        while y < self.half.y {
            hatch.extend([PathEl::MoveTo(Point::new(-self.half.x, y)), PathEl::LineTo(Point::new(self.half.x, y))]);
            y += 0.5 * READABLE / spot.scale;
        }
        Label { strokes: self.paths.into_iter().map(stroke).collect(), hatch: place * hatch, height: spot.scale, holds }
    }
}

/// Name and net length along the inside of the edges.
pub(super) struct Figures {
    pub strokes: Vec<Stroke>,
    /// Edges that are long enough but have no room inside.
    pub left_out: Vec<String>,
}

impl Figures {
    /// What the user should know of them.
    pub fn findings(&self, piece: &str, findings: &mut Vec<Finding>) {
        if !self.left_out.is_empty() {
            let message = format!("there was no room for the length of: {}", self.left_out.join(", "));
            findings.push(Finding::note(message).piece(piece));
        }
    }
}

/// Writes along every edge that is long enough. The ground they take is marked as taken.
pub(super) fn figures(piece: &Piece, heading: &Heading, ground: &mut Ground) -> Figures {
    let mut figures = Figures { strokes: Vec::new(), left_out: Vec::new() };
    for edge in &piece.edges {
        let long = path::length(&edge.path);
        let length = format_length(long, heading.unit);
        let choices = [
            (format!("{} {length}", edge.name), 1.25 * READABLE),
            (format!("{} {length}", edge.name), READABLE),
            (length.clone(), 1.25 * READABLE),
            (length, READABLE),
        ];
        let choices = choices.map(|(text, size)| (letter(&text, size), size));
        let fits = |(words, size): &(text::Lettering, f64)| words.width + 4.0 * size <= long;
        let found = choices
            .iter()
            .filter(|choice| fits(choice))
            .find_map(|(words, size)| along_edge(&edge.path, words, *size, ground));
        match found {
            Some(paths) => {
                for path in paths {
                    ground.take(&path);
                    figures.strokes.push(Stroke { role: Role::Label, edge: edge.name.clone(), path });
                }
            }
            None if choices.iter().any(fits) => figures.left_out.push(edge.name.clone()),
            None => {}
        }
    }
    figures
}

/// Words just inside an edge, near its middle, where they fit.
fn along_edge(edge: &BezPath, words: &text::Lettering, size: f64, ground: &Ground) -> Option<Vec<BezPath>> {
    let long = path::length(edge);
    let ink = words.paths.iter().map(Shape::bounding_box).reduce(|a, b| a.union(b))?;
    let half = ink.size().to_vec2() / 2.0 + Vec2::new(0.5, 0.35) * size;
    // Close to the edge anywhere along it, before farther in at its middle: past the bulge of a hollow edge, but not so
    // far that the words lose it.
    let places = [0..4, 4..12].into_iter().flat_map(|steps| {
        [0.5, 0.36, 0.64, 0.25, 0.75].into_iter().flat_map(move |part| steps.clone().map(move |step| (part, step)))
    });
    for (part, step) in places {
        let room = (words.width / 2.0 + size).min(long / 2.0);
        let middle = (part * long).clamp(room, long - room);
        let (from, _) = path::point_at(edge, middle - words.width / 2.0)?;
        let (to, _) = path::point_at(edge, middle + words.width / 2.0)?;
        let (at, _) = path::point_at(edge, middle)?;
        let along = (to - from).normalize();
        if !along.is_finite() {
            continue;
        }
        let inward = Vec2::new(-along.y, along.x);
        let centre = at + inward * (half.y + 0.3 + 0.5 * f64::from(step));
        let spot = Spot { centre, angle: upright(along.atan2()), scale: 1.0 };
        if ground.fits(centre, spot.angle, half) {
            let place = spot.transform() * Affine::translate(-ink.center().to_vec2());
            return Some(words.paths.iter().map(|path| place * path.clone()).collect());
        }
    }
    None
}

/// Characters of the label and the figures that there is no glyph for.
pub(super) fn missing(piece: &Piece, heading: &Heading) -> Vec<char> {
    let mut missing: Vec<char> = Vec::new();
    let edges = piece.edges.iter().map(|edge| edge.name.clone());
    for text in wording(piece, heading).into_iter().map(|item| item.text).chain(edges) {
        for c in letter(&text, 1.0).missing {
            if !missing.contains(&c) {
                missing.push(c);
            }
        }
    }
    missing
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::piece::{Cut, Edge, Finish};
    use crate::units::Unit;

    #[test]
    fn rows_share_the_width() {
        let item = |text: &str| Item { text: text.into(), size: 1.0, rank: 0 };
        let items = [item("aaaa"), item("aa"), item("aa"), item("aaaa")];
        let texts = |count| rows(&items, count).iter().map(|row| row.len()).collect::<Vec<_>>();
        assert_eq!(texts(4), [1, 1, 1, 1]);
        assert_eq!(texts(3), [1, 2, 1]);
        assert_eq!(texts(2), [2, 2]);
        assert_eq!(texts(1), [4]);
    }

    #[test]
    fn the_label_says_what_a_cutter_needs() {
        let edge = |name: &str, allowance: f64, fold: bool| Edge {
            name: name.into(),
            path: BezPath::new(),
            allowance,
            fold,
            corner: Finish::Mitre,
        };
        let mut piece = Piece {
            name: "Front".into(),
            cut: Cut { count: 2, mirrored: true, cloth: "main".into() },
            edges: vec![edge("side", 12.7, false), edge("hem", 12.7, false)],
            notches: vec![],
            darts: vec![],
            pleats: vec![],
            grain: [Point::ZERO; 2],
            drills: vec![],
            lines: vec![],
        };
        let mut heading = Heading {
            style: "Chorus tunic".into(),
            person: "Ida".into(),
            taken: "3 March".into(),
            unit: Unit::Inch,
            number: 3,
            of: 9,
            net_block: false,
        };
        let says = |piece: &Piece, heading: &Heading| {
            wording(piece, heading).into_iter().map(|item| item.text).collect::<Vec<_>>()
        };
        assert_eq!(
            says(&piece, &heading),
            [
                "Front",
                "Chorus tunic",
                "Ida",
                "cut 2, mirrored, main cloth",
                "allowance 1/2 in",
                "measured 3 March",
                "piece 3 of 9"
            ]
        );
        piece.cut = Cut { count: 1, mirrored: false, cloth: "lining".into() };
        piece.edges = vec![
            edge("side", 12.7, false),
            edge("hem", 25.4, false),
            edge("neck", 0.0, false),
            edge("shoulder", 12.7, false),
            edge("centre", 0.0, true),
        ];
        heading.taken.clear();
        heading.style.clear();
        assert_eq!(
            says(&piece, &heading),
            [
                "Front",
                "Ida",
                "cut 1 on fold, lining",
                "1/2 in allowance: side, shoulder",
                "1 in allowance: hem",
                "no allowance: neck",
                "piece 3 of 9"
            ]
        );
        heading.net_block = true;
        assert_eq!(says(&piece, &heading)[3], "net, no allowance");
    }
}
