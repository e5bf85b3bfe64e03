//! What a stroke is for. A device profile sends each role to a tool, or leaves it out.

use serde::{Deserialize, Serialize};

/// The role of a stroke on a piece or a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Where the cloth or card is cut.
    Cut,
    /// Where it is sewn.
    Sew,
    /// A balance mark across an edge.
    Notch,
    /// The grainline and its arrows.
    Grain,
    /// The bracket that says "place on the fold".
    Fold,
    /// A pierced or drilled point.
    Drill,
    /// A line inside the piece: a guide line, a pocket's place.
    Line,
    /// The legs of a dart, the folds of a pleat.
    Dart,
    /// Writing.
    Label,
    /// The check square and its bar.
    Square,
}

impl Role {
    /// Every role, in the order in which layers are listed.
    pub const ALL: [Self; 10] = [
        Self::Cut,
        Self::Sew,
        Self::Notch,
        Self::Grain,
        Self::Fold,
        Self::Drill,
        Self::Line,
        Self::Dart,
        Self::Label,
        Self::Square,
    ];

    /// The role's name in profiles, layers and reports.
    pub fn name(self) -> &'static str {
        match self {
            Self::Cut => "cut",
            Self::Sew => "sew",
            Self::Notch => "notch",
            Self::Grain => "grain",
            Self::Fold => "fold",
            Self::Drill => "drill",
            Self::Line => "line",
            Self::Dart => "dart",
            Self::Label => "label",
            Self::Square => "square",
        }
    }

    /// The role of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.name() == name)
    }
}
