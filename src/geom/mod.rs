//! Curves: arc length, points at a distance, tangents, splines through points.

pub mod path;
pub mod spline;
