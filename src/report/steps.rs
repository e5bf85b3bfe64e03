//! A small drawing of one piece with its points and edges by name: what a style's author looks at, and the pictures of the
//! steps in the handbook.

use super::html::escape;
use crate::geom::path;
use crate::piece::Piece;
use kurbo::{BezPath, PathEl, Point, Rect, Shape, Vec2};
use std::fmt::Write;

/// Ink of what is there anyhow, and of what is shown.
const PLAIN: &str = "#6b6459";
const SHOWN: &str = "#a3290f";

/// A piece on its sew line as an SVG drawing, y downward, a drawing unit a millimetre. `points` are named; `is_shown` says
/// whether a point, edge or line of that name is drawn in colour.
pub fn piece_svg(piece: &Piece, points: &[(String, Point)], is_shown: &dyn Fn(&str) -> bool) -> String {
    let outline = piece.outline();
    let mut bounds: Rect = outline.bounding_box();
    // A point that the piece only took over, and that lies far from it, is left out.
    let near = bounds.inflate(5.0, 5.0);
    let points: Vec<_> = points.iter().filter(|(name, point)| is_shown(name) || near.contains(*point)).collect();
    for line in &piece.lines {
        bounds = bounds.union(line.path.bounding_box());
    }
    for (_, point) in &points {
        bounds = bounds.union_pt(*point);
    }
    let size = bounds.width().max(bounds.height()).max(1.0);
    let (letter, thin) = (size / 20.0, size / 250.0);
    let view = bounds.inflate(letter * 3.0, letter * 2.0);
    let ink = |name: &str| if is_shown(name) { SHOWN } else { PLAIN };
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"{} {} {} {}\" width=\"240\" font-family=\"sans-serif\" \
         font-size=\"{}\" stroke-width=\"{}\" fill=\"none\">\n<title>{}</title>\n<rect x=\"{0}\" y=\"{1}\" width=\"{2}\" \
         height=\"{3}\" fill=\"#fffdf8\"/>\n",
        short(view.x0),
        short(-view.y1),
        short(view.width()),
        short(view.height()),
        short(letter),
        short(thin),
        escape(&piece.name)
    );
    let _ = writeln!(out, "<path d=\"{}\" fill=\"#f1e6cf\"/>", data(&outline));
    for edge in &piece.edges {
        let dash = if edge.fold {
            format!(" stroke-dasharray=\"{0} {1} {1} {1}\"", short(thin * 8.0), short(thin * 3.0))
        } else {
            String::new()
        };
        let _ = writeln!(out, "<path d=\"{}\" stroke=\"{}\"{dash}/>", data(&edge.path), ink(&edge.name));
        label(&mut out, &edge.path, &edge.name, letter, ink(&edge.name));
    }
    for line in &piece.lines {
        let dash = short(thin * 4.0);
        let _ = writeln!(
            out,
            "<path d=\"{}\" stroke=\"{}\" stroke-dasharray=\"{dash}\"/>",
            data(&line.path),
            ink(&line.name)
        );
        label(&mut out, &line.path, &line.name, letter, ink(&line.name));
    }
    let stroke = |out: &mut String, from: Point, to: Point| {
        let mut path = BezPath::new();
        path.move_to(from);
        path.line_to(to);
        let _ = writeln!(out, "<path d=\"{}\" stroke=\"{SHOWN}\"/>", data(&path));
    };
    for dart in &piece.darts {
        let Some(edge) = piece.edge(&dart.edge) else { continue };
        for (leg, _) in dart.mouth.iter().filter_map(|at| path::point_at(&edge.path, *at)) {
            stroke(&mut out, leg, dart.apex);
        }
    }
    let across = |along: Vec2| Vec2::new(-along.y, along.x);
    for pleat in &piece.pleats {
        let Some(edge) = piece.edge(&pleat.edge) else { continue };
        for (at, along) in pleat.mouth.iter().filter_map(|at| path::point_at(&edge.path, *at)) {
            stroke(&mut out, at, at + across(along) * pleat.length);
        }
    }
    for notch in &piece.notches {
        let Some(edge) = piece.edge(&notch.edge) else { continue };
        for number in 0..notch.count {
            let beside = (f64::from(number) - f64::from(notch.count - 1) / 2.0) * letter * 0.5;
            if let Some((at, along)) = path::point_at(&edge.path, notch.at + beside) {
                stroke(&mut out, at, at + across(along) * letter * 0.8);
            }
        }
    }
    for (name, point) in points {
        let (x, y) = (point.x, -point.y);
        let colour = ink(name);
        let _ = writeln!(
            out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{colour}\"/><text x=\"{}\" y=\"{}\" fill=\"{colour}\" font-weight=\"bold\">{}</text>",
            short(x),
            short(y),
            short(thin * 2.5),
            short(x + letter * 0.35),
            short(y - letter * 0.35),
            escape(name)
        );
    }
    out.push_str("</svg>\n");
    out
}

/// An edge's name at its middle, inside.
fn label(out: &mut String, edge: &BezPath, name: &str, letter: f64, colour: &str) {
    let Some((at, along)) = path::point_at(edge, path::length(edge) / 2.0) else { return };
    let at = at + Vec2::new(-along.y, along.x) * letter * 0.9;
    let _ = writeln!(
        out,
        "<text x=\"{}\" y=\"{}\" fill=\"{colour}\" text-anchor=\"middle\" font-style=\"italic\">{}</text>",
        short(at.x),
        short(-at.y + letter * 0.3),
        escape(name)
    );
}

fn data(path: &BezPath) -> String {
    let mut text = String::new();
    let p = |point: Point| format!("{} {}", short(point.x), short(-point.y));
    for element in path.elements() {
        let _ = match *element {
            PathEl::MoveTo(a) => write!(text, "M{}", p(a)),
            PathEl::LineTo(a) => write!(text, "L{}", p(a)),
            PathEl::QuadTo(a, b) => write!(text, "Q{} {}", p(a), p(b)),
            PathEl::CurveTo(a, b, c) => write!(text, "C{} {} {}", p(a), p(b), p(c)),
            PathEl::ClosePath => write!(text, "Z"),
        };
    }
    text
}

/// A tenth of a millimetre is enough to look at.
fn short(value: f64) -> String {
    let text = format!("{value:.1}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}
