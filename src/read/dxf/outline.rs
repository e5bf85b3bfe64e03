//! DXF entities as paths, in drawing units.

use super::super::nurbs::beziers;
use super::super::{ARC_TOLERANCE, MOST_SEGMENTS};
use dxf::Vector;
use dxf::entities::EntityType;
use kurbo::{Affine, Arc, BezPath, PathEl, Point, Vec2};
use std::f64::consts::TAU;

/// The path of an entity; `stretch` is millimetres in its unit.
///
/// # Errors
/// What is left out, in the plural.
pub(super) fn outline(entity: &EntityType, stretch: f64) -> Result<BezPath, &'static str> {
    let tolerance = (ARC_TOLERANCE / stretch).max(1e-9);
    match entity {
        EntityType::Line(line) => {
            let mut path = BezPath::new();
            path.move_to((line.p1.x, line.p1.y));
            path.line_to((line.p2.x, line.p2.y));
            Ok(path)
        }
        EntityType::Arc(arc) => {
            let plane = plane(&arc.normal).ok_or("arcs outside the drawing plane")?;
            let (start, end) = (arc.start_angle.to_radians(), arc.end_angle.to_radians());
            Ok(plane
                * round(at(&arc.center), Vec2::new(arc.radius, arc.radius), start, turn(start, end), 0.0, tolerance)?)
        }
        EntityType::Circle(circle) => {
            let plane = plane(&circle.normal).ok_or("circles outside the drawing plane")?;
            let radii = Vec2::new(circle.radius, circle.radius);
            let mut path = round(at(&circle.center), radii, 0.0, TAU, 0.0, tolerance)?;
            path.close_path();
            Ok(plane * path)
        }
        EntityType::Ellipse(ellipse) => {
            // Unlike the others an ellipse has its centre and axis in world coordinates; a mirrored one runs backwards.
            let facing = plane(&ellipse.normal).ok_or("ellipses outside the drawing plane")?;
            let side = facing.determinant();
            let axis = Vec2::new(ellipse.major_axis.x, ellipse.major_axis.y);
            let radii = Vec2::new(axis.hypot(), axis.hypot() * ellipse.minor_axis_ratio);
            let (start, end) = (ellipse.start_parameter, ellipse.end_parameter);
            round(at(&ellipse.center), radii, side * start, side * turn(start, end), axis.atan2(), tolerance)
        }
        EntityType::LwPolyline(polyline) => {
            let plane = plane(&polyline.extrusion_direction).ok_or("polylines outside the drawing plane")?;
            let vertices = polyline.vertices.iter().map(|v| (Point::new(v.x, v.y), v.bulge)).collect();
            Ok(plane * bulged(vertices, polyline.is_closed(), tolerance))
        }
        EntityType::Polyline(polyline) => {
            if polyline.is_3d_polygon_mesh() || polyline.is_polyface_mesh() {
                return Err("meshes");
            }
            let plane = plane(&polyline.normal).ok_or("polylines outside the drawing plane")?;
            // Control points of a spline frame are not part of the curve.
            let vertices = polyline
                .vertices()
                .filter(|vertex| vertex.flags & 16 == 0)
                .map(|vertex| (at(&vertex.location), vertex.bulge))
                .collect();
            Ok(plane * bulged(vertices, polyline.is_closed(), tolerance))
        }
        EntityType::Spline(spline) => {
            let weights = &spline.weight_values;
            if weights.iter().any(|weight| (weight - weights[0]).abs() > 1e-12 * weights[0].abs()) {
                return Err("splines with weights");
            }
            let control: Vec<Point> = spline.control_points.iter().map(at).collect();
            let degree = usize::try_from(spline.degree_of_curve).unwrap_or(0);
            beziers(degree, &spline.knot_values, &control).ok_or("splines whose knots do not fit")
        }
        _ => Err("other entities"),
    }
}

/// From an entity's own plane to the drawing: the identity, or for an entity seen from behind the mirror image that the
/// arbitrary axis algorithm gives. `None` for other planes.
pub(super) fn plane(normal: &Vector) -> Option<Affine> {
    let flat = normal.x.abs() < 1e-9 && normal.y.abs() < 1e-9;
    match normal.z {
        z if flat && z > 0.0 => Some(Affine::IDENTITY),
        z if flat && z < 0.0 => Some(Affine::new([-1.0, 0.0, 0.0, 1.0, 0.0, 0.0])),
        _ => None,
    }
}

/// Largest stretch of a transform.
pub(super) fn stretch(affine: Affine) -> f64 {
    let [a, b, c, d, ..] = affine.as_coeffs();
    a.hypot(b).max(c.hypot(d)).max(1e-9)
}

fn at(point: &dxf::Point) -> Point {
    Point::new(point.x, point.y)
}

/// The anticlockwise turn from one angle to another, above 0, a whole turn where they are equal.
fn turn(start: f64, end: f64) -> f64 {
    let turn = (end - start).rem_euclid(TAU);
    if turn > 0.0 { turn } else { TAU }
}

fn round(
    centre: Point,
    radii: Vec2,
    start: f64,
    sweep: f64,
    tilt: f64,
    tolerance: f64,
) -> Result<BezPath, &'static str> {
    /// Larger radii would take curves without end.
    const LARGEST: f64 = 1e9;
    if !(radii.x > 0.0 && radii.y > 0.0 && radii.x <= LARGEST && radii.y <= LARGEST) {
        return Err("arcs without a radius");
    }
    let arc = Arc::new(centre, radii, start, sweep, tilt);
    let first = Affine::rotate(tilt) * Point::new(radii.x * start.cos(), radii.y * start.sin());
    let mut path = BezPath::new();
    path.move_to(centre + first.to_vec2());
    path.extend(arc.append_iter(tolerance));
    Ok(path)
}

/// A polyline whose sides may be arcs: the bulge is the tangent of a quarter of the arc's turn, anticlockwise above 0.
fn bulged(mut vertices: Vec<(Point, f64)>, closed: bool, tolerance: f64) -> BezPath {
    let mut path = BezPath::new();
    let Some(&(first, _)) = vertices.first() else { return path };
    path.move_to(first);
    if closed {
        vertices.push((first, 0.0));
    }
    for pair in vertices.windows(2) {
        if path.elements().len() > MOST_SEGMENTS {
            break; // refused as it is
        }
        let [(from, bulge), (to, _)] = *pair else { continue };
        let chord = to - from;
        let sweep = 4.0 * bulge.atan();
        let radius = chord.hypot() / 2.0 / (sweep / 2.0).sin().abs();
        if bulge.abs() < 1e-12 || !(radius > 0.0 && radius < 1e9) {
            path.line_to(to);
            continue;
        }
        // The centre lies off the chord's middle by h = c/2 · (1 − b²)/2b, on its left for b > 0.
        let off = chord.hypot() / 2.0 * (1.0 - bulge * bulge) / (2.0 * bulge);
        let centre = from.midpoint(to) + chord.normalize().turn_90() * off;
        let start = (from - centre).atan2();
        let mut curves: Vec<PathEl> =
            Arc::new(centre, (radius, radius), start, sweep, 0.0).append_iter(tolerance).collect();
        if let Some(PathEl::CurveTo(_, _, end)) = curves.last_mut() {
            *end = to;
        }
        path.extend(curves);
    }
    if closed {
        // The last side is drawn; a straight one is the closing stroke itself.
        if let Some(PathEl::LineTo(_)) = path.elements().last()
            && path.elements().len() > 2
        {
            path.pop();
        }
        path.close_path();
    }
    path
}
