//! A piece put together of its drawn edges, with its marks and its grain.

use super::Drafter;
use crate::diag::Result;
use crate::geom::path;
use crate::piece::{Cut, Dart, Edge, Finish, InnerLine, Notch, Piece, Pleat};
use crate::style::formula::Formula;
use crate::style::{Grain, PieceSteps};
use kurbo::{Point, Vec2};

impl<'a> Drafter<'a> {
    pub(super) fn piece_of(&mut self, steps: &'a PieceSteps) -> Result<Piece> {
        for point in &steps.points {
            self.point(&point.name)?;
        }
        let mut edges = Vec::with_capacity(steps.edges.len());
        let (mut darts, mut pleats) = (Vec::new(), Vec::new());
        for step in &steps.edges {
            let drawn = self.drawn(&step.name)?;
            let allowance = step.allow.as_ref().map_or(Ok(0.0), |formula| formula.length(self))?;
            if allowance < 0.0 {
                let place = step.allow.as_ref().map_or(&step.name, Formula::source);
                return Err(place.error("this allowance comes out negative").edge(&step.name.text).into());
            }
            let name = step.name.text.clone();
            for mouth in drawn.mouths {
                if let Some(dart) = mouth.dart.map(|index| &steps.darts[index]) {
                    let apex = self.point(&dart.point)?;
                    darts.push(Dart { edge: name.clone(), mouth: mouth.span, apex, pressed: dart.pressed });
                } else if let Some(pleat) = mouth.pleat.map(|index| &steps.pleats[index]) {
                    let length = pleat.length.length(self)?;
                    pleats.push(Pleat { edge: name.clone(), mouth: mouth.span, length, pressed: pleat.pressed });
                }
            }
            edges.push(Edge { name, path: drawn.path, allowance, fold: step.fold, corner: Finish::Mitre });
        }
        let usual = Finish::usual(&edges, |edge| self.style.sewn_plain(&steps.name.text, edge));
        for ((edge, step), usual) in edges.iter_mut().zip(&steps.edges).zip(usual) {
            edge.corner = step.corner.unwrap_or(usual);
        }
        let mut lines = Vec::with_capacity(steps.lines.len());
        for step in steps.lines.iter().filter(|line| line.drawn) {
            if let Some((when, None)) = &step.when
                && !when.holds(self)?
            {
                continue;
            }
            lines.push(InnerLine { name: step.name.text.clone(), path: self.edge_path(&step.name)? });
        }
        let mut notches = Vec::with_capacity(steps.notches.len());
        for step in &steps.notches {
            if self.holds(step.when.as_ref())? {
                let long = path::length(&self.edge_path(&step.on)?);
                let at = self.place_along(&step.on, step.from.as_ref(), &step.at, long)?;
                let count = if step.double { 2 } else { 1 };
                let depth = step.depth.as_ref().map(|depth| depth.length(self)).transpose()?;
                if let Some(step) = step.depth.as_ref().filter(|_| depth.is_some_and(|depth| depth <= 0.0)) {
                    return Err(step.source().error("a notch's depth is over 0").into());
                }
                notches.push(Notch { edge: step.on.text.clone(), at, kind: step.kind, count, depth });
            }
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
            pleats,
            grain,
            drills,
            lines,
            fastenings: Vec::new(),
        })
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
}
