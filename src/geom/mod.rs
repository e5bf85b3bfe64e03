//! Curves: arc length, points at a distance, tangents, splines through points, parallels, crossings, parts of paths.

pub mod crossing;
pub mod dash;
mod loose;
pub mod offset;
pub mod parts;
pub mod path;
pub mod spline;
pub mod sweep;
