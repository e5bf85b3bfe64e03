//! The outlines of SVG's shapes (SVG 1.1, chapters 8 and 9), in user space.

use super::super::ARC_TOLERANCE;
use super::super::path_data::{arc_to, numbers, parse};
use super::{Place, Reader, stretch};
use crate::diag::Result;
use kurbo::{BezPath, Point, SvgArc, Vec2};
use roxmltree::Node;

impl<'a, 'i: 'a> Reader<'a, 'i> {
    /// The outline of a shape; empty where its size is 0 or its data is missing.
    pub(super) fn outline(&self, node: &Node<'a, 'i>, place: &Place<'a>) -> Result<BezPath> {
        let tolerance = ARC_TOLERANCE / stretch(place.to_page);
        let (across, down) = (place.viewport.x, place.viewport.y);
        // Percentages of a radius are of the viewport's diagonal over √2 (SVG 1.1, chapter 7.10).
        let diagonal = across.hypot(down) / std::f64::consts::SQRT_2;
        let get = |name: &str, base: f64| -> Result<Option<f64>> {
            node.attribute_node(name)
                .filter(|attribute| attribute.value().trim() != "auto")
                .map(|attribute| self.length(&attribute, base))
                .transpose()
        };
        let or_zero = |name: &str, base: f64| -> Result<f64> { Ok(get(name, base)?.unwrap_or(0.0)) };
        match node.tag_name().name() {
            "path" => match node.attribute_node("d").filter(|d| d.value().trim() != "none") {
                Some(d) => parse(d.value(), tolerance).map_err(|at| self.wrong_at(&d, at, "path data")),
                None => Ok(BezPath::new()),
            },
            "line" => {
                let from = Point::new(or_zero("x1", across)?, or_zero("y1", down)?);
                let to = Point::new(or_zero("x2", across)?, or_zero("y2", down)?);
                Ok(polyline(&[from, to], false))
            }
            tag @ ("polyline" | "polygon") => {
                let Some(attribute) = node.attribute_node("points") else { return Ok(BezPath::new()) };
                let values =
                    numbers(attribute.value()).map_err(|at| self.wrong_at(&attribute, at, "pairs of numbers"))?;
                let points: Vec<Point> = values.chunks_exact(2).map(|pair| Point::new(pair[0], pair[1])).collect();
                Ok(polyline(&points, tag == "polygon"))
            }
            "rect" => {
                let corner = Point::new(or_zero("x", across)?, or_zero("y", down)?);
                let size = Vec2::new(or_zero("width", across)?, or_zero("height", down)?);
                let (rx, ry) = (get("rx", across)?, get("ry", down)?);
                let radii = Vec2::new(rx.or(ry).unwrap_or(0.0), ry.or(rx).unwrap_or(0.0));
                Ok(rectangle(corner, size, radii, tolerance))
            }
            "circle" => {
                let r = or_zero("r", diagonal)?;
                Ok(ellipse(Point::new(or_zero("cx", across)?, or_zero("cy", down)?), Vec2::new(r, r), tolerance))
            }
            _ => {
                let (rx, ry) = (get("rx", across)?, get("ry", down)?);
                let radii = Vec2::new(rx.or(ry).unwrap_or(0.0), ry.or(rx).unwrap_or(0.0));
                Ok(ellipse(Point::new(or_zero("cx", across)?, or_zero("cy", down)?), radii, tolerance))
            }
        }
    }
}

fn polyline(points: &[Point], closed: bool) -> BezPath {
    let mut path = BezPath::new();
    for (i, &point) in points.iter().enumerate() {
        if i == 0 { path.move_to(point) } else { path.line_to(point) }
    }
    if closed && !path.elements().is_empty() {
        path.close_path();
    }
    path
}

fn quarter(path: &mut BezPath, from: Point, to: Point, radii: Vec2, tolerance: f64) {
    let arc = SvgArc { from, to, radii, x_rotation: 0.0, large_arc: false, sweep: true };
    arc_to(path, &arc, tolerance);
}

/// Clockwise on the screen from the top left corner's end, as the standard draws it.
fn rectangle(corner: Point, size: Vec2, radii: Vec2, tolerance: f64) -> BezPath {
    if size.x <= 0.0 || size.y <= 0.0 {
        return BezPath::new();
    }
    let (left, top) = (corner.x, corner.y);
    let (right, bottom) = (left + size.x, top + size.y);
    if radii.x <= 0.0 || radii.y <= 0.0 {
        let corners = [(left, top), (right, top), (right, bottom), (left, bottom)].map(Point::from);
        return polyline(&corners, true);
    }
    let radii = Vec2::new(radii.x.min(size.x / 2.0), radii.y.min(size.y / 2.0));
    let (rx, ry) = (radii.x, radii.y);
    let mut path = BezPath::new();
    let mut last = Point::new(left + rx, top);
    path.move_to(last);
    for (line, round) in [
        ((right - rx, top), (right, top + ry)),
        ((right, bottom - ry), (right - rx, bottom)),
        ((left + rx, bottom), (left, bottom - ry)),
        ((left, top + ry), (left + rx, top)),
    ] {
        let (line, round) = (Point::from(line), Point::from(round));
        if line != last {
            path.line_to(line);
        }
        quarter(&mut path, line, round, radii, tolerance);
        last = round;
    }
    path.close_path();
    path
}

fn ellipse(centre: Point, radii: Vec2, tolerance: f64) -> BezPath {
    if radii.x <= 0.0 || radii.y <= 0.0 {
        return BezPath::new();
    }
    let corners = [(radii.x, 0.0), (0.0, radii.y), (-radii.x, 0.0), (0.0, -radii.y)].map(|offset| centre + offset);
    let mut path = BezPath::new();
    path.move_to(corners[0]);
    for i in 0..4 {
        quarter(&mut path, corners[i], corners[(i + 1) % 4], radii, tolerance);
    }
    path.close_path();
    path
}
