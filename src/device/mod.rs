//! A machine's profile: media, tools, which role goes to which tool, language, limits, corrections.

mod read;
mod source;

pub use read::read;

use crate::role::Role;

/// A machine, as its profile describes it.
#[derive(Clone, Debug, PartialEq)]
pub struct Device {
    /// Its name, by kind.
    pub name: String,
    /// The language of its files.
    pub language: Language,
    /// How far a flattened curve may stray, mm.
    pub tolerance: f64,
    /// What it draws on or cuts.
    pub media: Vec<Medium>,
    /// Its tools, in the order in which they work: pens before knives.
    pub tools: Vec<Tool>,
    /// Every correction that was recorded, oldest first.
    pub corrections: Vec<Correction>,
}

/// A file language.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Language {
    /// Scalable Vector Graphics 1.1, millimetres.
    Svg,
    /// Drawing Interchange Format, millimetres.
    Dxf,
}

/// Something that the machine draws on or cuts.
#[derive(Clone, Debug, PartialEq)]
pub struct Medium {
    /// Its name: `paper`, `card`.
    pub name: String,
    /// Roll or sheet.
    pub kind: MediumKind,
    /// What the machine can't reach along every side, mm.
    pub margin: f64,
    /// Clear space to keep between pieces, mm.
    pub gap: f64,
}

/// The shape of a medium.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MediumKind {
    /// Fixed width across, any length up to `longest` along the feed, mm.
    Roll {
        /// Across the roll.
        width: f64,
        /// The longest plot.
        longest: f64,
    },
    /// Fixed in both directions, mm.
    Sheet {
        /// Along x.
        width: f64,
        /// Along y.
        height: f64,
    },
}

/// A tool, and what it draws or cuts.
#[derive(Clone, Debug, PartialEq)]
pub struct Tool {
    /// Its name in the profile.
    pub name: String,
    /// Pen or knife.
    pub kind: ToolKind,
    /// The roles that it carries out; a role that no tool names is left out.
    pub roles: Vec<Role>,
}

/// The kind of a tool. Pens work before knives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ToolKind {
    /// Draws.
    Pen,
    /// Cuts.
    Knife,
}

/// The machine's own distortion as measured: measured = J · commanded, with J = [[x, skew], [0, y]].
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// The day it was measured, as written.
    pub date: String,
    /// The medium it was measured on.
    pub medium: String,
    /// Drawn length over commanded length along x.
    pub x: f64,
    /// The same along y.
    pub y: f64,
    /// Shift along x for each unit of y.
    pub skew: f64,
}

impl Device {
    /// The newest correction that was measured on that medium; of two on one day the one recorded later.
    pub fn correction(&self, medium: &str) -> Option<&Correction> {
        self.corrections.iter().filter(|correction| correction.medium == medium).max_by(|a, b| a.date.cmp(&b.date))
    }

    /// The medium of that name.
    pub fn medium(&self, name: &str) -> Option<&Medium> {
        self.media.iter().find(|medium| medium.name == name)
    }
}
