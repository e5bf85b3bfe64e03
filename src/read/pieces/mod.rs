//! Drawings made elsewhere, understood as pieces: so that a dressmaker's own drawings enter where the allowances are made.
//!
//! Closed lines are outlines: as they are drawn, or joined from lines whose ends meet. An outline in no other is a piece.
//! Where layers, classes or ids tell cutting lines from sew lines, the sew line is the piece and the distance to the
//! cutting line its allowance. An outline is cut into edges at its corners. What lies in a piece belongs to it: grain,
//! notches, drill holes, folds and inner lines by the words of `words`, writing by what it says. All else is listed as
//! left out.

mod edges;
mod loops;
mod marks;
mod names;
mod patience;
mod words;

pub use names::{EdgeNames, Names, PieceNames, read as read_names};

use super::{NamedDrawing, Note, PathName};
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::piece::{Cut, Finish, Piece, PieceSet};
use crate::role::Role;
use crate::units::{Unit, format_length};
use kurbo::{BezPath, Point, Rect, Shape};
use loops::Outline;
use patience::Patience;
use std::collections::{BTreeMap, BTreeSet};

/// Ends of lines that are this near to each other are joined, mm.
pub const JOIN: f64 = 0.1;

/// Closed lines that enclose less are marks and no pieces, mm².
const LEAST_PIECE: f64 = 400.0;

/// More outlines than this are a picture and no pieces.
const MOST_OUTLINES: usize = 500;

/// More lines than this in one piece are a hatching.
const MOST_LINES: usize = 5_000;

/// A larger piece is wider than any cloth and longer than any train, mm: the unit is doubtful.
const LARGEST_PIECE: f64 = 6_000.0;

/// An outline of more segments is a picture and no piece.
const MOST_SEGMENTS: usize = 20_000;

/// What was understood of a drawing.
#[derive(Clone, Debug)]
pub struct Understood {
    /// The pieces.
    pub set: PieceSet,
    /// One for each piece, in the same order: what was recognised.
    pub accounts: Vec<Account>,
    /// What was left out, with how often.
    pub left_out: BTreeMap<String, usize>,
    /// Warnings.
    pub findings: Vec<Finding>,
}

/// What was recognised of one piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Account {
    /// Where its outline comes from, in words.
    pub outline: String,
    /// Whether its grain was drawn.
    pub grain: bool,
    /// The size that is written in it; empty where none is.
    pub size: String,
}

/// A path with its role.
struct Stroke {
    role: Option<Role>,
    path: BezPath,
    name: PathName,
    bounds: Rect,
}

impl Stroke {
    fn new(role: Option<Role>, path: BezPath, name: PathName) -> Self {
        let bounds = path.bounding_box();
        Self { role, path, name, bounds }
    }
}

/// Understands a drawing as pieces; `names` is what the user says of them, `join` how far apart the ends of lines may be, mm.
///
/// # Errors
/// A drawing without a closed outline, names for what is not there, two pieces of one name.
pub fn understand(drawing: &NamedDrawing, names: &Names, join: f64, file: &str) -> Result<Understood> {
    if !(0.0..=10.0).contains(&join) {
        let hint = format!("0 to 10 mm; {JOIN} is usual");
        return Err(Box::new(Finding::error(format!("ends {join} mm apart can't be joined")).hint(hint)));
    }
    let mut left_out = BTreeMap::new();
    let mut findings = Vec::new();
    let strokes: Vec<Stroke> = drawing
        .drawing
        .paths
        .iter()
        .zip(&drawing.names)
        .map(|(bare, name)| Stroke::new(words::role(name), bare.path.clone(), name.clone()))
        .collect();
    let mut blocks: BTreeMap<usize, (Vec<&Stroke>, Vec<&Note>)> = BTreeMap::new();
    for stroke in &strokes {
        blocks.entry(stroke.name.block).or_default().0.push(stroke);
    }
    for note in &drawing.notes {
        blocks.entry(note.name.block).or_default().1.push(note);
    }
    let mut pieces: Vec<(Piece, Account, PathName)> = Vec::new();
    let mut group =
        Group { join, too_small: 0, patience: Patience::default(), left_out: &mut left_out, findings: &mut findings };
    for (own, notes) in blocks.values() {
        pieces.extend(group.pieces(own, notes).map_err(|finding| Box::new(finding.in_file(file)))?);
        if pieces.len() > MOST_OUTLINES {
            return Err(Box::new(crowd(pieces.len()).in_file(file)));
        }
    }
    if pieces.is_empty() {
        return Err(Box::new(none(group.too_small).in_file(file)));
    }
    findings.extend(pieces.iter().filter_map(|(piece, ..)| doubtful(piece)));
    let person = by_size(&mut pieces);
    let (mut set, accounts) = names::named(pieces, names, &mut findings).map_err(|f| Box::new(f.in_file(file)))?;
    let said = |key: &str| {
        drawing.notes.iter().filter(|note| note.name.block == 0).find_map(|note| words::said(&note.text, key))
    };
    set.style = match &names.style {
        own if own.is_empty() => said("style name").map_or_else(|| stem(file), str::to_owned),
        own => own.clone(),
    };
    if set.person.is_empty() {
        set.person = person;
    }
    Ok(Understood { set, accounts, left_out, findings })
}

/// The size that all pieces have. Where they have several, each size is added to its pieces' names.
fn by_size(pieces: &mut [(Piece, Account, PathName)]) -> String {
    let sizes: BTreeSet<String> = pieces.iter().map(|(_, account, _)| account.size.clone()).collect();
    if sizes.len() > 1 {
        for (_, account, name) in pieces.iter_mut().filter(|(_, account, _)| !account.size.is_empty()) {
            let own = if words::is_plain(&name.own) { words::block(name).unwrap_or("Piece") } else { &name.own };
            name.own = format!("{own}, {}", account.size);
        }
        return String::new();
    }
    sizes.into_iter().next().unwrap_or_default()
}

/// Refuses what is no drawing of pieces.
fn crowd(outlines: usize) -> Finding {
    Finding::error(format!("the drawing has {outlines} closed outlines"))
        .hint("pictures and hatching are no pieces: take them out")
}

/// What to say where no piece was found, though perhaps closed lines that are too small for one.
fn none(too_small: usize) -> Finding {
    if too_small > 0 {
        let lines =
            if too_small == 1 { "its only closed line is".into() } else { format!("its {too_small} closed lines are") };
        return Finding::error(format!("no piece was found in this drawing: {lines} smaller than 2 by 2 cm"))
            .hint("is its unit right? Save it again at true size, or with the unit that it was drawn in");
    }
    Finding::error("no closed outline was found in this drawing")
        .hint("close the outlines, or let ends that are farther apart be joined with --join MM")
}

/// A warning where a piece is larger than any.
fn doubtful(piece: &Piece) -> Option<Finding> {
    let size = piece.outline().bounding_box().size();
    let metres = |mm: f64| crate::units::trimmed(mm / 1000.0, 1);
    (size.max_side() > LARGEST_PIECE).then(|| {
        let text = format!(
            "a piece is {} by {} m large: is the drawing's unit right?",
            metres(size.width),
            metres(size.height)
        );
        Finding::warning(text).hint("measure one of its edges before you go on")
    })
}

/// A file's name without folders and endings.
fn stem(file: &str) -> String {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    name.split('.').next().unwrap_or(name).to_owned()
}

/// One block's strokes, or all that lie in none.
struct Group<'a> {
    join: f64,
    /// Closed lines that enclose too little for a piece.
    too_small: usize,
    patience: Patience,
    left_out: &'a mut BTreeMap<String, usize>,
    findings: &'a mut Vec<Finding>,
}

impl Group<'_> {
    fn leave_out(&mut self, what: &str) {
        *self.left_out.entry(what.into()).or_default() += 1;
    }

    /// Closed outlines, the largest first, and the lines that are left.
    fn outlines(&mut self, strokes: &[&Stroke]) -> Result<(Vec<Outline>, Vec<Stroke>)> {
        let mut outlines: Vec<Outline> = Vec::new();
        let mut open: Vec<Stroke> = Vec::new();
        for role in [Some(Role::Cut), Some(Role::Sew), None] {
            let of_role: Vec<&Stroke> = strokes.iter().filter(|stroke| stroke.role == role).copied().collect();
            let (closed, rest) = loops::joined(&of_role, self.join, &mut self.patience)?;
            outlines.extend(closed);
            open.extend(rest);
        }
        // Too small for a piece, or a picture: back among the lines.
        let fit = |o: &Outline| o.area >= LEAST_PIECE && o.path.elements().len() <= MOST_SEGMENTS;
        let (mut outlines, small): (Vec<_>, Vec<_>) = outlines.into_iter().partition(fit);
        self.too_small += small.iter().filter(|o| o.area < LEAST_PIECE).count();
        open.extend(small.into_iter().map(|o| Stroke::new(o.role, o.path, o.name)));
        if outlines.len() > MOST_OUTLINES {
            return Err(Box::new(crowd(outlines.len())));
        }
        outlines.sort_by(|a, b| b.area.total_cmp(&a.area));
        let twins = outlines.len();
        outlines.dedup_by(|b, a| {
            (a.area - b.area).abs() < 1e-3 && a.role == b.role && near(a.bounds, b.bounds, self.join.max(0.01))
        });
        for _ in outlines.len()..twins {
            self.leave_out("outlines drawn twice over each other");
        }
        Ok((outlines, open))
    }

    /// For each outline the smallest that it lies in.
    fn parents(&mut self, outlines: &[Outline]) -> Result<Vec<Option<usize>>> {
        let mut parents: Vec<Option<usize>> = Vec::with_capacity(outlines.len());
        for (index, own) in outlines.iter().enumerate() {
            let mut parent = None;
            for larger in (0..index).rev() {
                if outlines[larger].holds_all(own, &mut self.patience)? {
                    parent = Some(larger);
                    break;
                }
            }
            parents.push(parent);
        }
        Ok(parents)
    }

    fn pieces(&mut self, strokes: &[&Stroke], notes: &[&Note]) -> Result<Vec<(Piece, Account, PathName)>> {
        let (outlines, open) = self.outlines(strokes)?;
        let parents = self.parents(&outlines)?;
        let mut found = Vec::new();
        let mut taken = vec![false; open.len()];
        let mut used = BTreeSet::new();
        for index in (0..outlines.len()).filter(|&index| parents[index].is_none()) {
            let outer = &outlines[index];
            let inside: Vec<usize> = (0..outlines.len()).filter(|&i| parents[i] == Some(index)).collect();
            let mut lines: Vec<usize> = Vec::new();
            for line in 0..open.len() {
                if !taken[line] && outer.holds(&open[line], &mut self.patience)? {
                    taken[line] = true;
                    lines.push(line);
                }
            }
            let (sew, outline, closed) = self.sew_line(&outlines, index, &inside, &open, &lines)?;
            let cutting = (outer.role == Some(Role::Cut)).then_some(&outer.path);
            let edges = edges::split(&sew.path, cutting, &mut self.patience, self.findings)?;
            let mut inner: Vec<&Stroke> =
                lines.iter().map(|&i| &open[i]).filter(|s| s.role != Some(Role::Sew)).collect();
            let holes: Vec<Stroke> = inside
                .iter()
                .filter(|&&i| Some(i) != closed)
                .map(|&i| Stroke::new(None, outlines[i].path.clone(), outlines[i].name.clone()))
                .collect();
            inner.extend(&holes);
            let own = |role: Option<Role>| !matches!(role, Some(Role::Cut | Role::Sew) | None);
            for (at, stroke) in strokes.iter().enumerate().filter(|(_, s)| own(s.role)) {
                if !used.contains(&at) && outer.holds(stroke, &mut self.patience)? {
                    used.insert(at);
                    inner.push(stroke);
                }
            }
            if inner.len() > MOST_LINES {
                let text = format!("{} lines lie in one outline", inner.len());
                return Err(Box::new(Finding::error(text).hint("pictures and hatching are no pieces: take them out")));
            }
            let mut name = sew.name.clone();
            if words::is_plain(&name.own) {
                name.own.clone_from(&outer.name.own);
            }
            let mut piece = Piece {
                name: String::new(),
                cut: Cut::default(),
                edges,
                notches: Vec::new(),
                darts: Vec::new(),
                pleats: Vec::new(),
                grain: [Point::ORIGIN; 2],
                drills: Vec::new(),
                lines: Vec::new(),
                fastenings: Vec::new(),
            };
            // What is written anywhere in a block is about its piece.
            let alone = outer.name.block > 0 && parents.iter().filter(|parent| parent.is_none()).count() == 1;
            let mut here: Vec<&Note> = Vec::new();
            for note in notes {
                if alone && !note.text.is_empty() || outer.holds_point(note.at, &mut self.patience)? {
                    here.push(note);
                }
            }
            let size = here.iter().find_map(|note| words::said(&note.text, "size")).unwrap_or_default().to_owned();
            let grain = marks::add(&mut piece, &mut name, &inner, &here, self.join, &mut self.patience, self.left_out)?;
            for (edge, finish) in Finish::usual(&piece.edges, |_| false).into_iter().enumerate() {
                piece.edges[edge].corner = finish;
            }
            found.push((piece, Account { outline, grain, size }, name));
        }
        let deeper = (0..outlines.len()).filter(|&i| parents[i].is_some_and(|p| parents[p].is_some())).count();
        for _ in 0..deeper {
            self.leave_out("outlines inside of lines inside a piece");
        }
        for stroke in open.iter().zip(&taken).filter(|(_, taken)| !**taken).map(|(stroke, _)| stroke) {
            self.leave_out(match stroke.role {
                Some(_) => "parts of cutting or sew lines that close nothing",
                None => "lines that lie in no piece",
            });
        }
        for (at, stroke) in strokes.iter().enumerate() {
            let outlined = matches!(stroke.role, Some(Role::Cut | Role::Sew) | None);
            if !outlined && !used.contains(&at) && stroke.role != Some(Role::Square) {
                self.leave_out("marks that lie in no piece");
            }
        }
        Ok(found)
    }

    /// The sew line of the piece whose outermost line is `index`, where it comes from, and which of the outlines it is.
    fn sew_line(
        &mut self,
        outlines: &[Outline],
        index: usize,
        inside: &[usize],
        open: &[Stroke],
        lines: &[usize],
    ) -> Result<(Outline, String, Option<usize>)> {
        let outer = &outlines[index];
        if outer.role != Some(Role::Cut) {
            return Ok((outer.clone(), "a closed line, taken for the sew line".into(), None));
        }
        let sewn = inside.iter().copied().find(|&i| outlines[i].role == Some(Role::Sew));
        if let Some(sewn) = sewn {
            let words = "the sew line; allowances as far as the cutting line";
            return Ok((outlines[sewn].clone(), words.into(), Some(sewn)));
        }
        let mut whole = outer.clone();
        let mut parts = 0;
        for stroke in lines.iter().map(|&i| &open[i]).filter(|stroke| stroke.role == Some(Role::Sew)) {
            self.patience.measure(&whole.path)?;
            if let Some(shorter) = loops::closed_along(&whole.path, &stroke.path, self.join) {
                whole.path = shorter;
                parts += 1;
            }
        }
        let outline = if parts == 0 {
            "a cutting line alone, taken for the sew line: no allowance is added".into()
        } else {
            "sew lines, and the cutting line between them".into()
        };
        Ok((whole, outline, None))
    }
}

fn near(a: Rect, b: Rect, within: f64) -> bool {
    [a.x0 - b.x0, a.y0 - b.y0, a.x1 - b.x1, a.y1 - b.y1].iter().all(|gap| gap.abs() <= within)
}

/// What was understood, in words: every piece with its size in inches and centimetres, its edges by number, and what was
/// left out.
pub fn account(understood: &Understood) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    for (number, (piece, account)) in understood.set.pieces.iter().zip(&understood.accounts).enumerate() {
        let size = piece.outline().bounding_box().size();
        let both = |mm: f64| format!("{} ({})", format_length(mm, Unit::Inch), format_length(mm, Unit::Centimetre));
        let _ = writeln!(text, "{}. {}: {} by {}", number + 1, piece.name, both(size.width), both(size.height));
        let _ = writeln!(text, "   {}", account.outline);
        for (at, edge) in piece.edges.iter().enumerate() {
            let long = both(path::length(&edge.path));
            let width = match edge.fold {
                true => "on the fold".into(),
                false if edge.allowance == 0.0 => "no allowance".into(),
                false => format!("allowance {}", both(edge.allowance)),
            };
            let from = path::start(&edge.path).unwrap_or_default();
            let _ = writeln!(
                text,
                "   edge {}, \"{}\", {long}, {width}, from ({:.0}, {:.0}) mm",
                at + 1,
                edge.name,
                from.x,
                from.y
            );
        }
        let counts = [
            (piece.notches.len(), "notch", "notches"),
            (piece.drills.len(), "drill hole", "drill holes"),
            (piece.lines.len(), "inner line", "inner lines"),
        ];
        let mut parts: Vec<String> = counts
            .iter()
            .filter(|c| c.0 > 0)
            .map(|(n, one, many)| format!("{n} {}", if *n == 1 { one } else { many }))
            .collect();
        parts.insert(0, if account.grain { "grain as drawn" } else { "no grain drawn: upright" }.into());
        let _ = writeln!(text, "   {}", parts.join(", "));
    }
    if understood.left_out.is_empty() {
        text.push_str("nothing was left out\n");
    }
    for (what, times) in &understood.left_out {
        let _ = writeln!(text, "left out: {what}, {times}");
    }
    text
}
