//! The steps of a style carried out with a person's measures: pieces on the net line.
//!
//! Points, edges and values are worked out when something asks for them, each once; a step that needs itself is an
//! error that names the circle. Allowances never enter a point.

mod points;
mod vary;

use crate::diag::{Finding, Result, Severity};
use crate::geom::path;
use crate::measures::Measures;
use crate::piece::{Cut, Dart, Edge, InnerLine, Join, Notch, Piece, PieceSet, Span};
use crate::source::Text;
use crate::style::formula::{Dimension, Formula, Quantity, Scope};
use crate::style::{Along, EdgeStep, Grain, PieceSteps, Seam, Style};
use crate::units::{Unit, format_length, trimmed};
use kurbo::{BezPath, Point, Vec2};
use std::collections::{BTreeMap, HashMap};

/// Choices set on the command line: name and text.
pub type Choices = BTreeMap<String, Text>;

/// Drafts a style for a person. `choices` go before those of the measures file, and these before the style's defaults.
///
/// # Errors
/// A measure that the style needs and the person lacks, a choice that the style does not know, a formula that can't be
/// worked out, a step that needs itself, a curve that can't be drawn, an edge without length.
pub fn draft(style: &Style, measures: &Measures, choices: &Choices) -> Result<(PieceSet, Vec<Finding>)> {
    let mut drafter = Drafter::new(style, measures, choices)?;
    let mut findings = Vec::new();
    let mut pieces = Vec::with_capacity(style.pieces.len());
    for index in 0..style.pieces.len() {
        pieces.push(drafter.piece(index, &mut findings)?);
    }
    let joins = style.seams.iter().map(|seam| drafter.join(seam)).collect::<Result<_>>()?;
    let choices = drafter.settled_choices()?;
    let set = PieceSet {
        style: style.name.clone(),
        person: measures.person.clone(),
        unit: measures.unit,
        taken: measures.taken.clone(),
        choices,
        pieces,
        joins,
    };
    Ok((set, findings))
}

/// What has been worked out so far.
#[derive(Clone)]
struct Drafter<'a> {
    style: &'a Style,
    settled: HashMap<String, Quantity>,
    /// Choices that were set, each with the unit of its bare numbers.
    overrides: HashMap<&'a str, (Formula, Unit)>,
    /// The unit of bare numbers in the formula at hand.
    bare: Unit,
    points: HashMap<(usize, &'a str), Point>,
    edges: HashMap<(usize, &'a str), BezPath>,
    /// What is being worked out, innermost last: to find circles.
    pending: Vec<String>,
    piece: usize,
}

/// Steps that wait for each other go no deeper than this.
const DEEPEST: usize = 200;

impl<'a> Drafter<'a> {
    fn new(style: &'a Style, measures: &Measures, choices: &Choices) -> Result<Self> {
        let mut settled = HashMap::new();
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
            settled.insert(need.name.clone(), Quantity::length(measure.mm));
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
            pending: Vec::new(),
            piece: 0,
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

    fn steps(&self) -> &'a PieceSteps {
        &self.style.pieces[self.piece]
    }

    /// An edge or inner line of the piece at hand.
    fn edge_path(&mut self, name: &Text) -> Result<BezPath> {
        let steps = self.steps();
        let Some(edge) = steps.edge(&name.text) else {
            return Err(name.error(format!("there is no edge \"{}\"", name.text)).piece(&steps.name.text).into());
        };
        let key = (self.piece, edge.name.text.as_str());
        if let Some(path) = self.edges.get(&key) {
            return Ok(path.clone());
        }
        let what = format!("edge \"{}\" of \"{}\"", name.text, steps.name.text);
        let path = self.step(what, name, |drafter| drafter.draw(edge))?;
        self.edges.insert(key, path.clone());
        Ok(path)
    }

    fn piece(&mut self, index: usize, findings: &mut Vec<Finding>) -> Result<Piece> {
        self.piece = index;
        let steps = self.steps();
        let in_piece = |mut finding: Box<Finding>| {
            finding.piece.get_or_insert_with(|| steps.name.text.clone());
            finding
        };
        self.piece_of(steps, findings).map_err(in_piece)
    }

    fn piece_of(&mut self, steps: &'a PieceSteps, findings: &mut Vec<Finding>) -> Result<Piece> {
        for point in &steps.points {
            self.point(&point.name)?;
        }
        let mut edges = Vec::with_capacity(steps.edges.len());
        for step in &steps.edges {
            let path = self.edge_path(&step.name)?;
            let allowance = step.allow.as_ref().map_or(Ok(0.0), |formula| formula.length(self))?;
            if allowance < 0.0 {
                let place = step.allow.as_ref().map_or(&step.name, Formula::source);
                return Err(place.error("this allowance comes out negative").edge(&step.name.text).into());
            }
            let name = step.name.text.clone();
            edges.push(Edge { name, path, allowance, fold: step.fold, corner: step.corner });
        }
        let mut lines = Vec::with_capacity(steps.lines.len());
        for step in steps.lines.iter().filter(|line| line.drawn) {
            lines.push(InnerLine { name: step.name.text.clone(), path: self.edge_path(&step.name)? });
        }
        let mut notches = Vec::with_capacity(steps.notches.len());
        for step in &steps.notches {
            let at = self.place_on_edge(&step.on, step.from.as_ref(), &step.at)?;
            let count = if step.double { 2 } else { 1 };
            notches.push(Notch { edge: step.on.text.clone(), at, kind: step.kind, count });
        }
        let mut darts = Vec::with_capacity(steps.darts.len());
        for step in &steps.darts {
            let middle = self.place_on_edge(&step.on, step.from.as_ref(), &step.at)?;
            let intake = step.intake.length(self)?;
            if intake <= 0.0 {
                findings.push(
                    Finding {
                        severity: Severity::Note,
                        ..step.intake.source().error("nothing is taken in here: no dart")
                    }
                    .piece(&steps.name.text),
                );
                continue;
            }
            let mouth = [middle - intake / 2.0, middle + intake / 2.0];
            let apex = self.point(&step.point)?;
            darts.push(Dart { edge: step.on.text.clone(), mouth, apex, pressed: step.pressed });
        }
        let drills = steps.drills.iter().map(|name| self.point(name)).collect::<Result<_>>()?;
        let grain = self.grain(steps, &edges)?;
        let cut = Cut { count: steps.count, mirrored: steps.mirrored, cloth: steps.cloth.clone() };
        Ok(Piece {
            name: steps.name.text.clone(),
            cut,
            edges,
            notches,
            darts,
            pleats: Vec::new(),
            grain,
            drills,
            lines,
        })
    }

    /// A distance from an edge's start, given from one of its ends.
    fn place_on_edge(&mut self, on: &Text, from: Option<&'a Text>, along: &Along) -> Result<f64> {
        let long = path::length(&self.edge_path(on)?);
        let distance = match along {
            Along::Distance(formula) => formula.length(self)?,
            Along::Part(formula) => formula.number(self)? * long,
        };
        let source = match along {
            Along::Distance(formula) | Along::Part(formula) => formula.source(),
        };
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
        let from_end = match from {
            Some(end) => self.is_far_end(on, end)?,
            None => false,
        };
        Ok(if from_end { long - distance } else { distance })
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

    /// A grainline through the middle of the piece, half as long as the piece that way.
    fn grain(&mut self, steps: &'a PieceSteps, edges: &[Edge]) -> Result<[Point; 2]> {
        let direction = match &steps.grain {
            Grain::Upright => Vec2::new(0.0, 1.0),
            Grain::Level => Vec2::new(1.0, 0.0),
            Grain::OnTheCross => Vec2::new(1.0, 1.0).normalize(),
            Grain::Along(name) => {
                let path = self.edge_path(name)?;
                let ends = path::start(&path).zip(path::end(&path)).map(|(a, b)| b - a);
                ends.filter(|v| v.hypot() > 1.0)
                    .map(|v| if v.y < 0.0 { -v.normalize() } else { v.normalize() })
                    .ok_or_else(|| name.error("this edge is too short to give the grain"))?
            }
        };
        let mut bounds: Option<kurbo::Rect> = None;
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for edge in edges {
            for segment in edge.path.segments() {
                use kurbo::ParamCurve;
                for step in 0..=8 {
                    let point = segment.eval(f64::from(step) / 8.0);
                    let along = point.to_vec2().dot(direction);
                    (low, high) = (low.min(along), high.max(along));
                    let dot = kurbo::Rect::from_points(point, point);
                    bounds = Some(bounds.map_or(dot, |b| b.union(dot)));
                }
            }
        }
        let centre = bounds.unwrap_or_default().center();
        let quarter = (high - low) / 4.0;
        Ok([centre - direction * quarter, centre + direction * quarter])
    }

    fn join(&mut self, seam: &'a Seam) -> Result<Join> {
        let span =
            |s: &crate::style::SpanRef| Span { piece: s.piece.clone(), edge: s.edge.clone(), backwards: s.backwards };
        let sides = [0, 1].map(|side: usize| seam.sides[side].iter().map(span).collect());
        let ease = seam.ease.as_ref().map_or(Ok(0.0), |formula| formula.length(self))?;
        let ratio = seam.ratio.as_ref().map_or(Ok(1.0), |formula| formula.number(self))?;
        let gap = seam.gap.as_ref().map_or(Ok(0.0), |formula| formula.length(self))?;
        if ratio <= 0.0 {
            let place = seam.ratio.as_ref().map_or(&seam.sides[0][0].place, Formula::source);
            return Err(place.error("a seam can't be gathered to nothing").hint("write a number over 0").into());
        }
        Ok(Join { name: seam.name.clone(), sides, ease, ratio, gap, pointed: seam.pointed })
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

    fn draw(&mut self, edge: &'a EdgeStep) -> Result<BezPath> {
        points::draw(self, edge)
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
        Some(self.step(format!("\"{name}\""), &place, |drafter| {
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

impl Scope for Drafter<'_> {
    fn name(&mut self, name: &str) -> Result<Quantity> {
        if let Some(quantity) = self.settled.get(name) {
            return Ok(*quantity);
        }
        if let Some(known) = crate::measures::names::find(name)
            && let Some(quantity) = self.settled.get(known.name)
        {
            return Ok(*quantity);
        }
        if let Some(result) = self.named(name) {
            let quantity = result?;
            self.settled.insert(name.to_owned(), quantity);
            return Ok(quantity);
        }
        let finding = Finding::error(format!("nothing here is called \"{name}\""));
        if crate::measures::names::find(name).is_some() {
            return Err(finding.hint(format!("it is a measure: add it to the style's needs: needs \"{name}\"")).into());
        }
        let style = self.style;
        let mut known: Vec<&str> = style.needs.iter().map(|need| need.name.as_str()).collect();
        known.extend(style.choices.iter().chain(&style.values).map(|named| named.name.as_str()));
        known.extend(style.varies.iter().map(|vary| vary.name.text.as_str()));
        Err(crate::source::with_known(finding, name, &known).into())
    }

    fn length_of(&mut self, piece: &str, edge: &str) -> Result<f64> {
        let Some(index) = self.style.pieces.iter().position(|steps| steps.name.text == piece) else {
            let known: Vec<&str> = self.style.pieces.iter().map(|steps| steps.name.text.as_str()).collect();
            let finding = Finding::error(format!("there is no piece \"{piece}\""));
            return Err(crate::source::with_known(finding, piece, &known).into());
        };
        let steps = &self.style.pieces[index];
        let Some(found) = steps.edge(edge) else {
            let known: Vec<&str> = steps.edges.iter().chain(&steps.lines).map(|e| e.name.text.as_str()).collect();
            let finding = Finding::error(format!("piece \"{piece}\" has no edge \"{edge}\""));
            return Err(crate::source::with_known(finding, edge, &known).into());
        };
        let outer = std::mem::replace(&mut self.piece, index);
        let length = self.edge_path(&found.name).map(|path| path::length(&path));
        self.piece = outer;
        length
    }

    fn unit(&self) -> Unit {
        self.bare
    }
}
