//! Curves: arc length, points at a distance, tangents, splines through points, parallels, crossings.

pub mod crossing;
pub mod offset;
pub mod path;
pub mod spline;
pub mod sweep;
