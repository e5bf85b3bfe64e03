//! What the names in a style's formulas stand for.

use super::sides::{self, Body, Split};
use super::{Drafter, Drawn};
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::measures::Side;
use crate::style::formula::{Formula, Quantity, Scope};
use crate::style::{PieceSteps, Style};
use crate::units::Unit;
use kurbo::Vec2;

impl<'a> Drafter<'a> {
    /// A measure of the person, by any of its names.
    fn measure(&self, body: usize, name: &str) -> Option<Quantity> {
        let known = crate::measures::names::find(name)?;
        self.settled[body].get(known.name).copied()
    }

    /// Something of a piece: for the side at hand, or the mean of both sides where it has two and none is at hand.
    fn of_piece(&mut self, piece: &str, of: &mut dyn FnMut(&mut Self) -> Result<f64>) -> Result<f64> {
        if self.sided
            && self.body == Body::Both
            && let Some(steps) = self.style.piece(piece)
            && let Some(drawn) = steps.drawn
        {
            if steps.is_unfolded() {
                return self.for_body(Body::Only(drawn), of);
            }
            return sides::mean(self, of);
        }
        of(self)
    }

    /// Whether a formula measures a piece that was changed at a fitting.
    pub(super) fn watches_fitted(&self, formula: &Formula) -> bool {
        let fitted = |name: &str| {
            let made = [name.to_owned(), sides::pair_name(Side::Left, name), sides::pair_name(Side::Right, name)];
            made.iter().any(|made| self.fitted.contains_key(made))
        };
        let named = |steps: &&PieceSteps| fitted(&steps.name.text) && formula.measures(&steps.name.text);
        !self.fitted.is_empty() && self.style.pieces.iter().any(|steps| named(&steps))
    }

    /// The length of an edge of a piece that was changed at a fitting.
    fn fitted_length(&self, piece: &str, edge: &str) -> Option<f64> {
        if self.fitted.is_empty() {
            return None;
        }
        let of_side = |side: Side| match self.split(piece)?.0 {
            Split::Pair(_) => self.fitted.get(&sides::pair_name(side, piece))?.sewn_length(edge),
            _ => self.fitted.get(piece)?.sewn_length(&sides::half_name(side, edge)),
        };
        match (self.split(piece), self.body) {
            (None | Some((Split::Unfolded(_), _)), _) => self.fitted.get(piece)?.sewn_length(edge),
            (Some(_), Body::Only(side)) => of_side(side),
            (Some(_), Body::Both) => Some(f64::midpoint(of_side(Side::Left)?, of_side(Side::Right)?)),
        }
    }

    fn edge_named(&mut self, piece: &str, edge: &str) -> Result<Drawn> {
        let style: &'a Style = self.style;
        let Some(index) = style.pieces.iter().position(|steps| steps.name.text == piece) else {
            let known: Vec<&str> = style.pieces.iter().map(|steps| steps.name.text.as_str()).collect();
            let finding = Finding::error(format!("there is no piece \"{piece}\""));
            return Err(crate::source::with_known(finding, piece, &known).into());
        };
        self.edge_of(index, edge)
    }
}

impl Scope for Drafter<'_> {
    fn name(&mut self, name: &str) -> Result<Quantity> {
        let body = self.body.index();
        if let Some(quantity) = self.settled[body].get(name) {
            return Ok(*quantity);
        }
        if let Some(quantity) = self.measure(body, name) {
            return Ok(quantity);
        }
        if let Some(result) = self.named(name) {
            let quantity = result?;
            self.settled[body].insert(name.to_owned(), quantity);
            return Ok(quantity);
        }
        let of_side = ["mean ", "left ", "right "].iter().position(|word| name.starts_with(word));
        if let Some(quantity) = of_side.and_then(|side| self.measure(side, name.split_once(' ')?.1)) {
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
        if let Some(strip) = self.style.strip(piece) {
            let made = self.strip(strip)?;
            return made
                .and_then(|made| made.length(edge))
                .ok_or_else(|| Finding::error(format!("strip \"{piece}\" has no edge \"{edge}\" here")).into());
        }
        if let Some(length) = self.fitted_length(piece, edge) {
            return Ok(length);
        }
        self.of_piece(piece, &mut |drafter| Ok(drafter.edge_named(piece, edge)?.sewn()))
    }

    fn slant_of(&mut self, piece: &str, edge: &str) -> Result<f64> {
        self.of_piece(piece, &mut |drafter| {
            let path = drafter.edge_named(piece, edge)?.path;
            let run = path::start(&path).zip(path::end(&path)).map_or(Vec2::ZERO, |(start, end)| end - start);
            Ok(run.x.abs().atan2(run.y.abs()))
        })
    }

    fn unit(&self) -> Unit {
        self.bare
    }
}
