//! The label.

use super::ground::{Ground, Spot, upright};
use super::room::View;
use super::signs::PLACE_ON_FOLD;
use super::{Heading, Stroke};
use crate::diag::Finding;
use crate::geom::path;
use crate::piece::Piece;
use crate::role::Role;
use crate::text::{Font, Lettering, letter, letter_with};
use crate::units::{Unit, format_length, trimmed};
use kurbo::{Affine, BezPath, PathEl, Point, Rect, Shape, Vec2};

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
struct Item {
    #[cfg(test)]
    text: String,
    size: f64,
    /// 0 is written on every piece, 1 and 2 where there is room.
    rank: u8,
    written: Lettering,
    ink: Rect,
}

impl Item {
    fn new(text: &str, size: f64, rank: u8, font: Option<&Font>) -> Self {
        let written = letter_with(text, size, font);
        let ink = ink(&written.paths);
        Self {
            #[cfg(test)]
            text: text.to_owned(),
            size,
            rank,
            written,
            ink,
        }
    }
}

/// The box about strokes; at the origin where there are none.
pub(super) fn ink(paths: &[BezPath]) -> Rect {
    paths.iter().map(Shape::bounding_box).reduce(|a, b| a.union(b)).unwrap_or_default()
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
    /// How much of it there was room for, and how large, up to what is read with ease.
    pub fn reads(&self) -> (i8, f64) {
        (self.holds, self.height.min(READABLE))
    }

    /// Whether something was left out, or is smaller than is read with ease.
    pub fn lacks(&self) -> bool {
        self.holds < 2 || self.height < READABLE - 1e-6
    }

    /// Whether nothing was left out and it reads with ease.
    pub fn is_ample(&self) -> bool {
        self.holds == 2 && self.height >= 1.25 * READABLE
    }

    /// What the user should know of it.
    pub fn findings(&self, piece: &str, findings: &mut Vec<Finding>) {
        let message = match self.holds {
            2 => None,
            1 => Some("the piece has no room for the whole label; dates and the count of pieces were left out"),
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
fn wording(piece: &Piece, heading: &Heading, block: bool) -> Vec<Item> {
    let mut items = Vec::new();
    let mut say = |rank: u8, size: f64, text: String| {
        if !text.trim().is_empty() {
            items.push(Item::new(&text, size, rank, heading.font.as_deref()));
        }
    };
    say(0, NAME, piece.name.clone());
    say(1, 1.0, heading.style.clone());
    say(0, 1.0, heading.person.clone());
    say(0, 1.0, cut_words(piece));
    for line in allowance_words(piece, heading.unit, heading.scale, block) {
        say(1, 1.0, line);
    }
    if block {
        for line in ease_words(&heading.ease) {
            say(1, 1.0, line);
        }
    }
    if !heading.taken.trim().is_empty() {
        say(2, 1.0, format!("measured {}", heading.taken.trim()));
    }
    say(2, 1.0, format!("piece {} of {}", heading.number, heading.of));
    if block {
        // A line to write the date on, where the toile has yet to pass.
        let passed = heading.toile.trim();
        say(2, 1.0, format!("toile passed {}", if passed.is_empty() { "on __________" } else { passed }));
    }
    if (heading.scale - 1.0).abs() > 1e-9 {
        say(1, 1.0, format!("scale 1 : {}", trimmed(1.0 / heading.scale, 2)));
    }
    say(2, 1.0, heading.stamp.clone());
    items
}

/// The ease that a block includes, a few to a line: `with ease: bust 4 in, hip 2 1/2 in`.
fn ease_words(ease: &[(String, String)]) -> Vec<String> {
    const LONGEST: usize = 44;
    let mut lines: Vec<String> = Vec::new();
    for (name, value) in ease {
        let part = format!("{} {value}", name.trim().trim_end_matches("ease").trim());
        let fits = lines.last().is_some_and(|line| line.len() + part.len() + 2 <= LONGEST);
        match lines.last_mut() {
            Some(line) if fits => {
                line.push_str(", ");
                line.push_str(&part);
            }
            Some(_) => lines.push(part),
            None => lines.push(format!("with ease: {part}")),
        }
    }
    lines
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

/// The allowances in words: one figure where all edges are alike, else a line for each width with its edges, in the outline's
/// order. `scale` is that of the piece against the real.
pub(super) fn allowance_words(piece: &Piece, unit: Unit, scale: f64, block: bool) -> Vec<String> {
    if block {
        return vec!["net, no allowance".into()];
    }
    let mut widths: Vec<(String, Vec<&str>)> = Vec::new();
    for edge in piece.edges.iter().filter(|edge| !edge.fold) {
        let width = if edge.allowance > 0.0 { format_length(edge.allowance / scale, unit) } else { "no".into() };
        match widths.iter_mut().find(|(known, _)| *known == width) {
            Some((_, edges)) if edges.contains(&edge.whole_name()) => {}
            Some((_, edges)) => edges.push(edge.whole_name()),
            None => widths.push((width, vec![edge.whole_name()])),
        }
    }
    match widths.as_slice() {
        [] => Vec::new(),
        [(width, _)] if width == "no" => vec!["no allowance".into()],
        [(width, _)] => vec![format!("allowance {width}")],
        several => several.iter().map(|(width, edges)| format!("{width} allowance: {}", edges.join(", "))).collect(),
    }
}

/// What a piece has no room for.
pub(super) struct Lacking<'a> {
    /// Whether its label lacks something.
    pub label: bool,
    /// The edge on the fold, where nothing on the piece says so.
    pub fold: Option<&'a str>,
    /// Names and net lengths of edges.
    pub lengths: Vec<&'a str>,
}

/// All that a label can say, in every arrangement that is tried. Made once for a piece, whatever else is drawn on it.
pub(super) struct Wording {
    items: Vec<Item>,
    dot: Lettering,
    tries: Vec<Try>,
}

/// What a label on the piece may hold, best first: how much of it, the highest rank, the smallest capitals in mm.
const ON_PIECE: [(i8, i8, f64); 5] =
    [(2, 2, READABLE), (1, 1, READABLE), (0, 0, READABLE), (0, 0, SMALLEST), (-1, -1, SMALLEST)];

/// Arrangements of the same items, with how well each reads.
struct Try {
    holds: i8,
    /// Smallest capitals, mm.
    least: f64,
    blocks: Vec<(f64, Block)>,
}

impl Wording {
    /// What the label of a piece says.
    pub fn new(piece: &Piece, heading: &Heading, block: bool) -> Self {
        Self::arranged(wording(piece, heading, block), &ON_PIECE)
    }

    /// What a slip beside the piece says: the whole label, or the piece's name alone, then what lies on the fold, and the
    /// net lengths that had no room along their edges.
    pub fn beside(piece: &Piece, heading: &Heading, block: bool, lacking: &Lacking) -> Self {
        let mut items = wording(piece, heading, block);
        if !lacking.label {
            items.truncate(1);
        }
        let fold = lacking.fold.map(|edge| format!("{edge}: {PLACE_ON_FOLD}"));
        let title = (!lacking.lengths.is_empty()).then_some("net lengths:");
        let lines = fold.as_deref().into_iter().chain(title).chain(lacking.lengths.iter().copied());
        items.extend(lines.map(|line| Item::new(line, 1.0, 2, heading.font.as_deref())));
        Self::arranged(items, &ON_PIECE[..1])
    }

    fn arranged(items: Vec<Item>, tries: &[(i8, i8, f64)]) -> Self {
        let dot = letter("·", 1.0);
        let dot_ink = ink(&dot.paths);
        let arranged = |&(holds, rank, least): &(i8, i8, f64)| {
            let chosen = |(i, item): &(usize, &Item)| if rank < 0 { *i == 0 } else { item.rank as i8 <= rank };
            let chosen: Vec<usize> = items.iter().enumerate().filter(chosen).map(|(i, _)| i).collect();
            let n = chosen.len();
            let mut counts = vec![n, (2 * n).div_ceil(3), n.div_ceil(2), n.div_ceil(3), 1];
            counts.dedup();
            let block = |count: usize| {
                let block = Block::new(&items, &rows(&items, &chosen, count), &dot, dot_ink);
                // Fewer, longer rows read a little worse.
                (1.0 - 0.2 * (n - count) as f64 / n as f64, block)
            };
            Try { holds, least, blocks: counts.into_iter().map(block).collect() }
        };
        let tries = tries.iter().map(arranged).collect();
        Self { items, dot, tries }
    }

    /// Arrangements of all that it says, with how well each reads.
    pub fn blocks(&self) -> &[(f64, Block)] {
        self.tries.first().map_or(&[], |first| &first.blocks)
    }

    /// Characters that there is no glyph for.
    pub fn missing(&self) -> impl Iterator<Item = char> {
        self.items.iter().flat_map(|item| item.written.missing.iter().copied())
    }

    /// Finds the best place, size and arrangement for the label, and leaves out what has no room; not less than `least`.
    pub fn place(&self, piece: &Piece, ground: &Ground, least: i8) -> Label {
        let views = views(piece, ground);
        let mut tries = self.tries.iter().filter(|tried| tried.holds >= least);
        let found = tries.find_map(|tried| Some((tried, best(tried, &views)?)));
        match found {
            Some((tried, (block, spot))) => block.label(self, spot, tried.holds),
            None => Label { strokes: Vec::new(), hatch: BezPath::new(), height: 0.0, holds: -2 },
        }
    }
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

/// The arrangement that reads best.
fn best<'a>(tried: &'a Try, views: &[(f64, View)]) -> Option<(&'a Block, Spot)> {
    let mut best: Option<(f64, &Block, Spot)> = None;
    for (order, block) in &tried.blocks {
        for (weight, view) in views {
            let share = weight * order;
            let least = best.as_ref().map_or(tried.least, |(worth, ..)| tried.least.max(worth / share));
            if least >= AMPLE {
                continue;
            }
            if let Some(spot) = view.roomiest(block.half, least, AMPLE) {
                let worth = share * spot.scale;
                if best.as_ref().is_none_or(|(least, ..)| worth > *least) {
                    best = Some((worth, block, spot));
                }
            }
        }
    }
    best.map(|(_, block, spot)| (block, spot))
}

/// Splits the chosen items into at most `count` rows, the longest as short as it can be.
fn rows<'a>(items: &[Item], chosen: &'a [usize], count: usize) -> Vec<&'a [usize]> {
    if count >= chosen.len() {
        return chosen.chunks(1).collect();
    }
    let widths: Vec<f64> = chosen.iter().map(|i| items[*i].written.width + SEPARATOR).collect();
    let mut limits: Vec<f64> = (0..chosen.len())
        .flat_map(|i| (i + 1..=chosen.len()).map(move |j| (i, j)))
        .map(|(i, j)| widths[i..j].iter().sum())
        .collect();
    limits.sort_by(f64::total_cmp);
    let split = |limit: f64| {
        let mut rows: Vec<&[usize]> = Vec::new();
        let (mut from, mut wide) = (0, 0.0);
        for (i, width) in widths.iter().enumerate() {
            if i > from && wide + width > limit + 1e-9 {
                rows.push(&chosen[from..i]);
                (from, wide) = (i, 0.0);
            }
            wide += width;
        }
        rows.push(&chosen[from..]);
        rows
    };
    let longest = widths.iter().copied().fold(0.0, f64::max);
    limits.into_iter().filter(|limit| *limit >= longest).map(split).find(|rows| rows.len() <= count).unwrap_or_default()
}

/// Room for the dot between two items of a row, in heights of a capital.
const SEPARATOR: f64 = 1.4;

/// A block of writing with capitals of height 1, centred on the origin.
pub(super) struct Block {
    /// Items, or `None` for a dot, with where each starts.
    places: Vec<(Option<usize>, Vec2)>,
    pub half: Vec2,
}

impl Block {
    fn new(items: &[Item], rows: &[&[usize]], dot: &Lettering, dot_ink: Rect) -> Self {
        let mut places = Vec::new();
        let mut baseline = 0.0;
        for (i, row) in rows.iter().enumerate() {
            let size = row.iter().map(|item| items[*item].size).fold(0.0, f64::max);
            if i > 0 {
                // Room for the accents of a capital above and a tail below: together 0.7 of a capital.
                baseline -= 1.7 * size;
            }
            let mut x = 0.0;
            for (j, item) in row.iter().enumerate() {
                if j > 0 {
                    places.push((None, Vec2::new(x + (SEPARATOR - dot.width) / 2.0, baseline)));
                    x += SEPARATOR;
                }
                places.push((Some(*item), Vec2::new(x, baseline)));
                x += items[*item].written.width;
            }
            // The next row also clears this one's tails where this one is larger.
            baseline -= 0.35 * (size - 1.0).max(0.0);
        }
        let inked = |(item, at): &(Option<usize>, Vec2)| item.map_or(dot_ink, |i| items[i].ink) + *at;
        let ink = places.iter().map(inked).reduce(|a, b| a.union(b)).unwrap_or_default();
        for (_, at) in &mut places {
            *at -= ink.center().to_vec2();
        }
        Self { places, half: ink.size().to_vec2() / 2.0 + Vec2::new(PADDING, PADDING) }
    }

    /// The writing, taken from the block's own coordinates by `place`.
    pub fn written(&self, wording: &Wording, place: Affine) -> Vec<BezPath> {
        let mut paths = Vec::new();
        for (item, at) in &self.places {
            let written = item.map_or(&wording.dot, |i| &wording.items[i].written);
            let place = place * Affine::translate(*at);
            paths.extend(written.paths.iter().map(|path| place * path));
        }
        paths
    }

    fn label(&self, wording: &Wording, spot: Spot, holds: i8) -> Label {
        let place = spot.transform();
        let stroke = |path| Stroke { role: Role::Label, edge: String::new(), path };
        let strokes = self.written(wording, place).into_iter().map(stroke).collect();
        let mut hatch = BezPath::new();
        let mut y = -self.half.y;
        while y < self.half.y {
            hatch.extend([PathEl::MoveTo(Point::new(-self.half.x, y)), PathEl::LineTo(Point::new(self.half.x, y))]);
            y += 0.5 * READABLE / spot.scale;
        }
        Label { strokes, hatch: place * hatch, height: spot.scale, holds }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::piece::{Cut, Edge, Finish};
    use crate::units::Unit;

    #[test]
    fn rows_share_the_width() {
        let item = |text: &str| Item::new(text, 1.0, 0, None);
        let items = [item("aaaa"), item("aa"), item("aa"), item("aaaa")];
        let texts = |count| rows(&items, &[0, 1, 2, 3], count).iter().map(|row| row.len()).collect::<Vec<_>>();
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
            fastenings: Vec::new(),
        };
        let mut heading = Heading {
            style: "Chorus tunic".into(),
            person: "Ida".into(),
            taken: "3 March".into(),
            unit: Unit::Inch,
            number: 3,
            of: 9,
            net_block: false,
            ease: vec![("bust ease".into(), "4 in".into()), ("cap ease".into(), "3/4 in".into())],
            toile: String::new(),
            stamp: String::new(),
            notches: crate::device::Notches::Drawn,
            scale: 1.0,
            font: None,
            slips: false,
        };
        let says = |piece: &Piece, heading: &Heading| {
            wording(piece, heading, heading.net_block).into_iter().map(|item| item.text).collect::<Vec<_>>()
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
        piece.edges = vec![
            edge("hem before the start", 9.525, false),
            edge("hem behind the start", 9.525, false),
            edge("right end", 12.7, false),
        ];
        assert_eq!(says(&piece, &heading)[3..5], ["3/8 in allowance: hem", "1/2 in allowance: right end"]);
        heading.net_block = true;
        let block = says(&piece, &heading);
        assert_eq!(block[3..5], ["net, no allowance", "with ease: bust 4 in, cap 3/4 in"]);
        assert_eq!(block.last().map(String::as_str), Some("toile passed on __________"));
        heading.toile = "2026-10-02".into();
        heading.stamp = "machine corrected 2026-09-21".into();
        heading.scale = 0.25;
        let block = says(&piece, &heading);
        let last = ["toile passed 2026-10-02", "scale 1 : 4", "machine corrected 2026-09-21"];
        assert_eq!(block[block.len() - 3..], last);
    }
}
