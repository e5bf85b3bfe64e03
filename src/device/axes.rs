//! A machine's coordinates: where its zero lies, and which way its numbers grow.

use kurbo::{Affine, Point, Vec2};
use serde::Serialize;

/// Speed with the tool lifted where a profile does not say, mm/s (common practice, no source).
pub(super) const TRAVEL_SPEED: f64 = 300.0;

/// Seconds to lift or lower a tool where a profile does not say (common practice, no source).
pub(super) const LIFT_SECONDS: f64 = 0.1;

/// The machine's axes as seen on the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Axes {
    /// Where zero lies.
    pub origin: Corner,
    /// Which way the machine's x grows.
    pub x: Way,
    /// Which way its y grows.
    pub y: Way,
}

/// A place of the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Corner {
    /// At the sheet's own zero.
    LowerLeft,
    /// At the highest x.
    LowerRight,
    /// At the highest y.
    UpperLeft,
    /// At both.
    UpperRight,
    /// In the middle.
    Centre,
}

/// A direction on the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// As the sheet's x.
    Right,
    /// Against it.
    Left,
    /// As the sheet's y.
    Up,
    /// Against it.
    Down,
}

impl Axes {
    /// The sheet's own: zero at the lower left, x to the right, y up.
    pub const SHEET: Self = Self { origin: Corner::LowerLeft, x: Way::Right, y: Way::Up };

    /// From coordinates of a sheet of that size to the machine's, mm.
    pub fn from_sheet(self, width: f64, height: f64) -> Affine {
        let zero = self.origin.on(width, height).to_vec2();
        let (x, y) = (self.x.vector(), self.y.vector());
        Affine::new([x.x, y.x, x.y, y.y, -x.dot(zero), -y.dot(zero)])
    }
}

impl Corner {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::LowerLeft, Self::LowerRight, Self::UpperLeft, Self::UpperRight, Self::Centre];

    /// Its name in profiles.
    pub fn name(self) -> &'static str {
        match self {
            Self::LowerLeft => "lower-left",
            Self::LowerRight => "lower-right",
            Self::UpperLeft => "upper-left",
            Self::UpperRight => "upper-right",
            Self::Centre => "centre",
        }
    }

    /// Where it lies on a sheet of that size, mm.
    pub fn on(self, width: f64, height: f64) -> Point {
        match self {
            Self::LowerLeft => Point::ORIGIN,
            Self::LowerRight => Point::new(width, 0.0),
            Self::UpperLeft => Point::new(0.0, height),
            Self::UpperRight => Point::new(width, height),
            Self::Centre => Point::new(width / 2.0, height / 2.0),
        }
    }
}

impl Way {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Right, Self::Left, Self::Up, Self::Down];

    /// Its name in profiles.
    pub fn name(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
            Self::Up => "up",
            Self::Down => "down",
        }
    }

    fn vector(self) -> Vec2 {
        match self {
            Self::Right => Vec2::new(1.0, 0.0),
            Self::Left => Vec2::new(-1.0, 0.0),
            Self::Up => Vec2::new(0.0, 1.0),
            Self::Down => Vec2::new(0.0, -1.0),
        }
    }

    /// Whether it runs along the sheet's x.
    pub(super) fn along_x(self) -> bool {
        matches!(self, Self::Right | Self::Left)
    }
}
