//! The steps of a style carried out with a person's measures: pieces on the net line.
//!
//! Points, edges and values are worked out when something asks for them, each once; a step that needs itself is an
//! error that names the circle. Allowances never enter a point.

mod darts;
mod edges;
mod fitting;
mod made;
mod marks;
mod points;
mod scope;
mod shears;
mod sides;
mod strips;
mod vary;
mod worn;

pub use fitting::FittingRow;
pub use worn::WornRow;

use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::measures::{Measures, Side};
use crate::piece::{Fit, Join, Piece, PieceSet, Span};
use crate::source::Text;
use crate::style::formula::{Dimension, Formula, Quantity, Scope};
use crate::style::{Along, PieceSteps, Seam, SpanRef, Style};
use crate::units::{Unit, format_length, trimmed};
use kurbo::{Affine, BezPath, Point};
use sides::{Body, Split};
use std::collections::{BTreeMap, HashMap};
use std::rc::Rc;

/// Choices set on the command line: name and text.
pub type Choices = BTreeMap<String, Text>;

/// All that a draft produces.
#[derive(Clone, Debug)]
pub struct Drafted {
    /// The pieces and their seams.
    pub set: PieceSet,
    /// What the garment measures when worn.
    pub worn: Vec<WornRow>,
    /// What the notes of fittings changed.
    pub fitting: Vec<FittingRow>,
    /// Notes and warnings.
    pub findings: Vec<Finding>,
}

/// Drafts a style for a person. `choices` go before those of the measures file, and these before the style's defaults.
///
/// # Errors
/// A measure that the style needs and the person lacks, a choice that the style does not know, a formula that can't be
/// worked out, a step that needs itself, a curve that can't be drawn, an edge without length.
pub fn draft(style: &Style, measures: &Measures, choices: &Choices) -> Result<(PieceSet, Vec<Finding>)> {
    whole(style, measures, choices).map(|drafted| (drafted.set, drafted.findings))
}

/// A named point of a piece as it was drafted, before anything was cut or moved.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedPoint {
    /// The piece's name in the style.
    pub piece: String,
    /// The point's name.
    pub name: String,
    /// Where it lies.
    pub at: Point,
}

/// Every named point of every piece that is made, in the style's order; where left and right differ, of the side that the
/// piece is drawn for.
///
/// # Errors
/// As [`draft`].
pub fn points(style: &Style, measures: &Measures, choices: &Choices) -> Result<Vec<NamedPoint>> {
    let mut drafter = Drafter::new(style, measures, choices)?;
    let mut points = Vec::new();
    for (index, steps) in style.pieces.iter().enumerate() {
        if steps.block || !drafter.holds(steps.when.as_ref())? {
            continue;
        }
        drafter.piece = index;
        drafter.body = if drafter.sided { steps.drawn.map_or(Body::Both, Body::Only) } else { Body::Both };
        for step in &steps.points {
            let at = drafter.point(&step.name)?;
            points.push(NamedPoint { piece: steps.name.text.clone(), name: step.name.text.clone(), at });
        }
        drafter.body = Body::Both;
    }
    Ok(points)
}

/// [`draft`], with what the garment measures when worn.
///
/// # Errors
/// As [`draft`].
pub fn whole(style: &Style, measures: &Measures, choices: &Choices) -> Result<Drafted> {
    let drafter = Drafter::new(style, measures, choices)?;
    let notes = fitting::notes(style, &measures.fittings);
    if notes.is_empty() {
        return run(drafter, measures, &[]).map(|(drafted, _)| drafted);
    }
    let (plain, splits) = run(drafter.clone(), measures, &[])?;
    // A note for one side needs its pieces apart; which these are is known when it has been carried out.
    let (before, splits) = if notes.iter().any(|(_, note)| note.side.is_some()) {
        let drawn = style.pieces.iter().filter(|steps| steps.drawn.is_some());
        let all: Vec<String> = drawn.map(|steps| steps.name.text.clone()).collect();
        let (apart, splits) = run(drafter.clone(), measures, &all)?;
        (apart.set, splits)
    } else {
        (plain.set.clone(), splits)
    };
    let (fitted, said) = fitting::apply(style, &before, &splits, &notes)?;
    let apart = |index: &usize| {
        let name = &style.pieces[*index].name.text;
        [name.clone(), sides::pair_name(Side::Left, name), sides::pair_name(Side::Right, name)]
            .iter()
            .any(|made| fitted.contains_key(made))
    };
    let splits: HashMap<usize, Split> = splits.into_iter().filter(|(index, _)| apart(index)).collect();
    let apart: Vec<String> = splits.keys().map(|index| style.pieces[*index].name.text.clone()).collect();
    let mut rows = fitting::changes(&before.pieces, &fitted);
    let (mut after, _) = run(Drafter { splits, fitted, ..drafter }, measures, &apart)?;
    for row in &after.worn {
        let plain = plain.worn.iter().find(|plain| plain.name == row.name);
        if let Some(plain) = plain.filter(|plain| (plain.finished - row.finished).abs() > fitting::CHANGED) {
            rows.push(FittingRow { what: row.name.clone(), before: plain.finished, after: row.finished });
        }
    }
    after.fitting = rows;
    after.findings.splice(0..0, said);
    Ok(after)
}

/// Carries out a whole style. `apart` names pieces that are made left and right apart even where both sides agree.
fn run(mut drafter: Drafter<'_>, measures: &Measures, apart: &[String]) -> Result<(Drafted, HashMap<usize, Split>)> {
    let style = drafter.style;
    drafter.sided |= !apart.is_empty();
    let mut findings = Vec::new();
    let mut pieces = Vec::with_capacity(style.pieces.len());
    for (index, steps) in style.pieces.iter().enumerate() {
        if !steps.block && drafter.holds(steps.when.as_ref())? {
            pieces.extend(sides::pieces(&mut drafter, index, apart.contains(&steps.name.text), &mut findings)?);
            drafter.note_missing_darts(index, &mut findings)?;
        }
    }
    for piece in &mut pieces {
        if let Some(fitted) = drafter.fitted.get(&piece.name) {
            *piece = Piece::clone(fitted);
        }
    }
    let mut joins = Vec::new();
    for seam in &style.seams {
        joins.extend(sides::joins(&mut drafter, seam)?);
    }
    for strip in &style.strips {
        if let Some(made) = drafter.strip(strip)? {
            if strip.rings > 1 {
                let message =
                    format!("the garment has {} rings like \"{}\", and one is drafted", strip.rings, strip.name.text);
                let hint = format!("cut all of its lengths {} times", strip.rings);
                findings.push(Finding::warning(message).at(strip.name.snippet()).hint(hint));
            }
            pieces.extend(made.pieces.iter().cloned());
            joins.extend(made.joins.iter().cloned());
        }
    }
    let worn = worn::rows(&mut drafter, measures, &pieces, &mut findings)?;
    worn::warnings(&mut drafter, &mut findings)?;
    let choices = drafter.settled_choices()?;
    let unit = measures.unit;
    let zips = worn.iter().filter(|row| !row.remark.is_empty());
    let zips =
        zips.map(|row| (row.name.clone(), format!("{} long; {}", format_length(row.finished, unit), row.remark)));
    let notions = marks::notions(&drafter, &pieces, zips);
    let set = PieceSet {
        style: style.name.clone(),
        person: measures.person.clone(),
        unit: measures.unit,
        taken: measures.taken.clone(),
        choices,
        toile: measures.toile(&style.name).to_owned(),
        sewing: style.sewing.clone(),
        notions,
        pieces,
        joins,
    };
    Ok((Drafted { set, worn, fitting: Vec::new(), findings }, drafter.splits))
}

/// An edge or line as drawn.
#[derive(Clone, Debug)]
struct Drawn {
    path: BezPath,
    /// What darts and pleats take of it, in order.
    mouths: Vec<Mouth>,
}

/// What one dart or pleat takes of an edge.
#[derive(Clone, Debug)]
struct Mouth {
    /// Distances along the edge, mm.
    span: [f64; 2],
    /// The dart's place in the piece's list.
    dart: Option<usize>,
    /// The pleat's place in the piece's list.
    pleat: Option<usize>,
}

impl Drawn {
    fn plain(path: BezPath) -> Self {
        Self { path, mouths: Vec::new() }
    }

    /// Length with darts and pleats closed, mm.
    fn sewn(&self) -> f64 {
        path::length(&self.path) - self.mouths.iter().map(|mouth| mouth.span[1] - mouth.span[0]).sum::<f64>()
    }
}

/// What has been worked out so far.
#[derive(Clone)]
struct Drafter<'a> {
    style: &'a Style,
    /// Measures and named values, for both sides, the left and the right.
    settled: [HashMap<String, Quantity>; 3],
    /// Choices that were set, each with the unit of its bare numbers.
    overrides: HashMap<&'a str, (Formula, Unit)>,
    /// The unit of bare numbers in the formula at hand.
    bare: Unit,
    points: HashMap<(usize, Body, &'a str), Point>,
    edges: HashMap<(usize, Body, &'a str), Drawn>,
    finished: HashMap<(usize, Body), Rc<Piece>>,
    strips: HashMap<&'a str, Option<Rc<strips::Made>>>,
    /// What is being worked out, innermost last: to find circles.
    pending: Vec<String>,
    piece: usize,
    /// The side of the body at hand.
    body: Body,
    /// Whether left and right are drafted apart.
    sided: bool,
    /// The pieces that came out apart.
    splits: HashMap<usize, Split>,
    /// Pieces as they are after a fitting, by name: their lengths count.
    fitted: fitting::Fitted,
}

/// Steps that wait for each other go no deeper than this.
const DEEPEST: usize = 200;

impl<'a> Drafter<'a> {
    fn new(style: &'a Style, measures: &Measures, choices: &Choices) -> Result<Self> {
        let mut settled: [HashMap<String, Quantity>; 3] = Default::default();
        let mut sided = false;
        for need in &style.needs {
            let Some(measure) = measures.values.get(&need.name) else {
                let finding = Finding::error(format!(
                    "{} has no \"{}\", which \"{}\" needs",
                    measures.person, need.name, style.name
                ))
                .in_file(&measures.file);
                return Err(finding
                    .hint(format!(
                        "measure it and add: \"{}\" \"…\" (the style asks for it in {})",
                        need.name, style.file
                    ))
                    .into());
            };
            let [left, right] = measure.sides.unwrap_or([measure.mm; 2]);
            sided |= measure.sides.is_some();
            for (settled, mm) in settled.iter_mut().zip([measure.mm, left, right]) {
                settled.insert(need.name.clone(), Quantity::length(mm));
            }
        }
        let mut overrides = HashMap::new();
        let set_here = measures.choices.iter().map(|choice| (choice, measures.unit));
        for ((name, text), unit) in set_here.chain(choices.iter().map(|choice| (choice, style.unit))) {
            let Some(choice) = style.choices.iter().find(|choice| choice.name == *name) else {
                let known: Vec<&str> = style.choices.iter().map(|choice| choice.name.as_str()).collect();
                let finding = text.error(format!("\"{}\" has no choice \"{name}\"", style.name));
                return Err(crate::source::with_known(finding, name, &known).into());
            };
            overrides.insert(choice.name.as_str(), (Formula::read(text.clone())?, unit));
        }
        Ok(Self {
            style,
            settled,
            overrides,
            bare: style.unit,
            points: HashMap::new(),
            edges: HashMap::new(),
            finished: HashMap::new(),
            strips: HashMap::new(),
            pending: Vec::new(),
            piece: 0,
            body: Body::Both,
            sided,
            splits: HashMap::new(),
            fitted: HashMap::new(),
        })
    }

    /// Runs a step, with a guard against circles.
    fn step<T>(&mut self, what: String, place: &Text, run: impl FnOnce(&mut Self) -> Result<T>) -> Result<T> {
        if let Some(start) = self.pending.iter().position(|waiting| *waiting == what) {
            let circle = self.pending[start..].join(", which needs ");
            return Err(place.error(format!("{circle} needs itself")).hint("break the circle in one of these").into());
        }
        if self.pending.len() >= DEEPEST {
            return Err(place.error(format!("more than {DEEPEST} steps wait for each other here")).into());
        }
        self.pending.push(what);
        let result = run(self);
        self.pending.pop();
        result
    }

    /// Carries something out for a side of the body.
    fn for_body<T>(&mut self, body: Body, run: impl FnOnce(&mut Self) -> T) -> T {
        let outer = std::mem::replace(&mut self.body, body);
        let result = run(self);
        self.body = outer;
        result
    }

    /// How a piece of the style came apart, and its place.
    fn split(&self, piece: &str) -> Option<(Split, usize)> {
        if self.splits.is_empty() {
            return None;
        }
        let index = self.style.pieces.iter().position(|steps| steps.name.text == piece)?;
        self.splits.get(&index).map(|split| (*split, index))
    }

    fn steps(&self) -> &'a PieceSteps {
        &self.style.pieces[self.piece]
    }

    /// Whether a step's condition holds; a step without one always does.
    fn holds(&mut self, when: Option<&Formula>) -> Result<bool> {
        when.map_or(Ok(true), |when| when.holds(self))
    }

    /// The path of an edge or inner line of the piece at hand, or of another as `Front/neckline`.
    fn edge_path(&mut self, name: &Text) -> Result<BezPath> {
        self.drawn(name).map(|drawn| drawn.path)
    }

    fn drawn(&mut self, name: &Text) -> Result<Drawn> {
        let steps = self.steps();
        if let Some(edge) = steps.edge(&name.text) {
            let key = (self.piece, self.body, edge.name.text.as_str());
            if let Some(drawn) = self.edges.get(&key) {
                return Ok(drawn.clone());
            }
            let what = format!("{}edge \"{}\" of \"{}\"", self.body.words(), name.text, steps.name.text);
            let drawn = self.step(what, name, |drafter| edges::draw(drafter, edge))?;
            self.edges.insert(key, drawn.clone());
            return Ok(drawn);
        }
        let elsewhere = name.text.split_once('/').and_then(|(piece, edge)| {
            let index = self.style.pieces.iter().position(|steps| steps.name.text == piece.trim())?;
            Some((index, edge.trim()))
        });
        if let Some((index, edge)) = elsewhere {
            return self.edge_of(index, edge);
        }
        Err(name.error(format!("there is no edge \"{}\"", name.text)).piece(&steps.name.text).into())
    }

    /// An edge or line of any piece, after its changes.
    fn edge_of(&mut self, index: usize, edge: &str) -> Result<Drawn> {
        let steps = &self.style.pieces[index];
        let Some(found) = steps.edge(edge) else {
            let known: Vec<&str> = steps.edges.iter().chain(&steps.lines).map(|e| e.name.text.as_str()).collect();
            let finding = Finding::error(format!("piece \"{}\" has no edge \"{edge}\"", steps.name.text));
            return Err(crate::source::with_known(finding, edge, &known).into());
        };
        if steps.changes.is_empty() {
            let outer = std::mem::replace(&mut self.piece, index);
            let drawn = self.drawn(&found.name);
            self.piece = outer;
            return drawn;
        }
        let piece = self.finished(index)?;
        let path = piece.path(edge).cloned().unwrap_or_default();
        let taken = piece.darts.iter().filter(|dart| dart.edge == edge).map(|dart| dart.mouth);
        let taken = taken.chain(piece.pleats.iter().filter(|pleat| pleat.edge == edge).map(|pleat| pleat.mouth));
        Ok(Drawn { path, mouths: taken.map(|span| Mouth { span, dart: None, pleat: None }).collect() })
    }

    /// A piece with all that the shears do to it.
    fn finished(&mut self, index: usize) -> Result<Rc<Piece>> {
        let key = (index, self.body);
        if let Some(piece) = self.finished.get(&key) {
            return Ok(piece.clone());
        }
        let steps = &self.style.pieces[index];
        let in_piece = |mut finding: Box<Finding>| {
            finding.piece.get_or_insert_with(|| steps.name.text.clone());
            finding
        };
        let outer = std::mem::replace(&mut self.piece, index);
        let what = format!("{}piece \"{}\"", self.body.words(), steps.name.text);
        let piece = self.step(what, &steps.name, |drafter| {
            let mut piece = drafter.piece_of(steps)?;
            shears::change(drafter, steps, &mut piece)?;
            marks::set(drafter, steps, &mut piece)?;
            Ok(piece)
        });
        self.piece = outer;
        let piece = Rc::new(piece.map_err(in_piece)?);
        self.finished.insert(key, piece.clone());
        Ok(piece)
    }

    /// Says where nothing is left for a dart to take in.
    fn note_missing_darts(&mut self, index: usize, findings: &mut Vec<Finding>) -> Result<()> {
        let steps = &self.style.pieces[index];
        for step in &steps.darts {
            if self.holds(step.when.as_ref())? && step.intake.length(self)? <= 0.0 {
                let place = step.intake.source().snippet();
                findings.push(Finding::note("nothing is taken in here: no dart").at(place).piece(&steps.name.text));
            }
        }
        Ok(())
    }

    /// A distance along something of that length.
    fn distance(&mut self, along: &Along, whole: f64) -> Result<f64> {
        match along {
            Along::Distance(formula) => formula.length(self),
            Along::Part(formula) => Ok(formula.number(self)? * whole),
        }
    }

    /// The mirror image in a straight edge or line.
    fn mirror_in(&mut self, line: &Text) -> Result<Affine> {
        let path = self.edge_path(line)?;
        let ends = path::start(&path).zip(path::end(&path));
        ends.and_then(|(start, end)| crate::geom::parts::mirror(start, end))
            .ok_or_else(|| line.error("this line is too short to mirror in").into())
    }

    /// A distance from an edge's start, given from one of its ends.
    fn place_along(&mut self, on: &Text, from: Option<&Text>, along: &Along, long: f64) -> Result<f64> {
        let distance = self.distance(along, long)?;
        let source = along.source();
        // A whole edge worked out as its own length may differ in the last digits.
        let distance = if (distance - long).abs() < 1e-6 { long } else { distance };
        if !(0.0..=long).contains(&distance) {
            let message = format!(
                "this is {} along an edge that is {} long",
                format_length(distance, self.style.unit),
                format_length(long, self.style.unit)
            );
            return Err(source.error(message).edge(&on.text).into());
        }
        Ok(if self.is_from_far_end(on, from)? { long - distance } else { distance })
    }

    fn is_from_far_end(&self, on: &Text, from: Option<&Text>) -> Result<bool> {
        from.map_or(Ok(false), |end| self.is_far_end(on, end))
    }

    /// Whether a point's name is the end of an edge, not its start.
    fn is_far_end(&self, on: &Text, end: &Text) -> Result<bool> {
        let Some(edge) = self.steps().edge(&on.text) else { return Ok(false) };
        if edge.from.text == end.text {
            Ok(false)
        } else if edge.to.text == end.text {
            Ok(true)
        } else {
            Err(end
                .error(format!("edge \"{}\" neither starts nor ends at \"{}\"", on.text, end.text))
                .hint(format!("it runs from \"{}\" to \"{}\"", edge.from.text, edge.to.text))
                .into())
        }
    }

    /// A seam; `None` where it is not sewn, or a piece of it is not made, for these measures.
    fn join(&mut self, seam: &'a Seam) -> Result<Option<Join>> {
        let mut sides = [Vec::new(), Vec::new()];
        let mut sewn = self.holds(seam.when.as_ref())?;
        for (side, spans) in sides.iter_mut().zip(&seam.sides) {
            for span in spans {
                match self.spans(span)? {
                    Some(spans) => side.extend(spans),
                    None => sewn = false,
                }
            }
        }
        if !sewn {
            return Ok(None);
        }
        let ease = seam.ease.as_ref().map_or(Ok(0.0), |formula| formula.length(self))?;
        let ratio = seam.ratio.as_ref().map_or(Ok(1.0), |formula| formula.number(self))?;
        let gap = seam.gap.as_ref().map_or(Ok(0.0), |formula| formula.length(self))?;
        if ratio <= 0.0 {
            let place = seam.ratio.as_ref().map_or(&seam.sides[0][0].place, Formula::source);
            return Err(place.error("a seam can't be gathered to nothing").hint("write a number over 0").into());
        }
        let ease_between = match &seam.spread {
            Some([from, to]) => Some([from.length(self)?, to.length(self)?]),
            None => None,
        };
        let fit = Fit { ease_between, gap_at_start: seam.gap_at_start };
        Ok(Some(Join { name: seam.name.clone(), sides, ease, ratio, gap, fit, pointed: seam.pointed }))
    }

    /// The spans that a name stands for: a strip's edge runs over all of its lengths. `None` where it is not made.
    fn spans(&mut self, span: &SpanRef) -> Result<Option<Vec<Span>>> {
        if let Some(strip) = self.style.strip(&span.piece) {
            return Ok(self.strip(strip)?.map(|made| made.spans(&span.edge, span.backwards)));
        }
        let steps = self.style.pieces.iter().find(|steps| steps.name.text == span.piece);
        let made = match steps {
            Some(steps) => !steps.block && self.holds(steps.when.as_ref())?,
            None => false,
        };
        let own = Span { piece: span.piece.clone(), edge: span.edge.clone(), backwards: span.backwards };
        Ok(made.then(|| vec![own]))
    }

    /// A strip's lengths; `None` where it is not made for these measures.
    fn strip(&mut self, strip: &'a crate::style::Strip) -> Result<Option<Rc<strips::Made>>> {
        if let Some(made) = self.strips.get(strip.name.text.as_str()) {
            return Ok(made.clone());
        }
        let what = format!("\"{}\"", strip.name.text);
        let made = self
            .for_body(Body::Both, |drafter| drafter.step(what, &strip.name, |drafter| strips::make(drafter, strip)));
        let made = made?.map(Rc::new);
        self.strips.insert(strip.name.text.as_str(), made.clone());
        Ok(made)
    }

    /// Every choice with the value it had, as people read it.
    fn settled_choices(&mut self) -> Result<Vec<(String, String)>> {
        let unit = self.style.unit;
        self.style
            .choices
            .iter()
            .map(|choice| {
                let quantity = self.name(&choice.name)?;
                let text = match quantity.dimension {
                    Dimension::Length(1) => format_length(quantity.value, unit),
                    Dimension::Angle => format!("{}°", trimmed(quantity.value.to_degrees(), 2)),
                    _ => trimmed(quantity.value, 3),
                };
                Ok((choice.name.clone(), text))
            })
            .collect()
    }

    fn point(&mut self, name: &Text) -> Result<Point> {
        points::point(self, name)
    }

    /// The length named `name`, mm or plain, if the style has such a name.
    fn named(&mut self, name: &str) -> Option<Result<Quantity>> {
        let style = self.style;
        if let Some(vary) = style.varies.iter().find(|vary| vary.name.text == name) {
            return Some(vary::solve(self, vary).map(Quantity::length));
        }
        let named = style.choices.iter().chain(&style.values).find(|named| named.name == name)?;
        let set = self.overrides.get(name).cloned();
        let place = set.as_ref().map_or(&named.formula, |(formula, _)| formula).source().clone();
        Some(self.step(format!("{}\"{name}\"", self.body.words()), &place, |drafter| {
            let default = named.formula.named(drafter)?;
            let Some((formula, unit)) = set else { return Ok(default) };
            // What is set is of the default's kind: a bare 3 is a length for an ease and a number for a fullness.
            let outer = std::mem::replace(&mut drafter.bare, unit);
            let quantity = formula.alike(drafter, default.dimension);
            drafter.bare = outer;
            quantity
        }))
    }
}
