//! The measures that are known, after the terms of ISO 8559-1:2017 and the words of the workroom.

/// One known measure. The limits are wide: from a child of six to the largest of the 1,986 women of the US Army survey
/// of 2012 and a fifth more. A value outside them is questioned, not refused.
#[derive(Clone, Copy, Debug)]
pub struct Known {
    /// Canonical name.
    pub name: &'static str,
    /// Everyday names for it.
    pub aliases: &'static [&'static str],
    /// Below this it is questioned, mm.
    pub least: f64,
    /// Above this it is questioned, mm.
    pub most: f64,
    /// How left and right may differ.
    pub sides: Sides,
}

/// How a measure may differ from left to right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sides {
    /// It lies on the centre of the body, or goes round it unparted.
    Alike,
    /// Each side has a measure of its own, such as an arm.
    Each,
    /// Each side has its half, from the centre front to the centre back, or from the centre outward.
    Halves,
}

const fn known(name: &'static str, aliases: &'static [&'static str], least: f64, most: f64) -> Known {
    Known { name, aliases, least, most, sides: Sides::Alike }
}

const fn each(name: &'static str, aliases: &'static [&'static str], least: f64, most: f64) -> Known {
    Known { name, aliases, least, most, sides: Sides::Each }
}

const fn halves(name: &'static str, aliases: &'static [&'static str], least: f64, most: f64) -> Known {
    Known { name, aliases, least, most, sides: Sides::Halves }
}

/// Every known measure.
pub const KNOWN: &[Known] = &[
    halves("bust girth", &["bust", "chest girth", "chest", "round bust"], 520.0, 1600.0),
    halves("high bust girth", &["high bust", "chest above the bust"], 500.0, 1500.0),
    halves("underbust girth", &["underbust", "under bust"], 480.0, 1500.0),
    halves("waist girth", &["waist", "natural waist", "round waist"], 450.0, 1600.0),
    halves("hip girth", &["hip", "hips", "seat", "round hip"], 540.0, 1700.0),
    known("neck base girth", &["neck", "neck girth", "round neck"], 240.0, 560.0),
    each("upper arm girth", &["upper arm", "biceps", "biceps girth", "round sleeve"], 150.0, 560.0),
    each("wrist girth", &["wrist"], 100.0, 260.0),
    each("elbow girth", &["elbow"], 150.0, 480.0),
    each("round armhole", &["armhole", "armhole girth", "armscye girth"], 240.0, 700.0),
    each("shoulder length", &["shoulder"], 70.0, 210.0),
    halves("across shoulder", &["shoulder to shoulder", "across shoulders", "shoulder width"], 240.0, 580.0),
    halves("across front", &["chest width"], 220.0, 560.0),
    halves("across back", &["back width"], 220.0, 560.0),
    halves("bust point width", &["bust span", "apex to apex"], 100.0, 320.0),
    each("shoulder to bust", &["shoulder to bust line", "bust depth"], 140.0, 450.0),
    each("shoulder to waist", &["shoulder to waist front"], 250.0, 640.0),
    each("shoulder to waist back", &["back shoulder to waist"], 250.0, 660.0),
    known("neck to waist front", &["front neck to waist", "front length to waist"], 220.0, 620.0),
    known("neck to waist back", &["back neck to waist", "back length to waist", "nape to waist"], 220.0, 620.0),
    known("scye depth", &["armscye depth", "armhole depth"], 110.0, 340.0),
    each("waist to hip", &["hip depth"], 100.0, 360.0),
    each("waist to knee", &[], 300.0, 850.0),
    each("waist to floor", &["skirt length to floor"], 550.0, 1350.0),
    each("arm length", &["sleeve length", "shoulder to wrist"], 300.0, 800.0),
    each("shoulder to elbow", &["elbow length"], 170.0, 480.0),
    known("stature", &["height"], 900.0, 2150.0),
];

/// The known measure of that name or alias, whatever the case.
pub fn find(name: &str) -> Option<&'static Known> {
    let name = name.trim().to_lowercase();
    KNOWN.iter().find(|known| known.name == name || known.aliases.contains(&name.as_str()))
}

/// Every name and alias, for "did you mean".
pub fn all() -> Vec<&'static str> {
    KNOWN.iter().flat_map(|known| std::iter::once(known.name).chain(known.aliases.iter().copied())).collect()
}
