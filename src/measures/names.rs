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
}

const fn known(name: &'static str, aliases: &'static [&'static str], least: f64, most: f64) -> Known {
    Known { name, aliases, least, most }
}

/// Every known measure.
pub const KNOWN: &[Known] = &[
    known("bust girth", &["bust", "chest girth", "chest", "round bust"], 520.0, 1600.0),
    known("high bust girth", &["high bust", "chest above the bust"], 500.0, 1500.0),
    known("underbust girth", &["underbust", "under bust"], 480.0, 1500.0),
    known("waist girth", &["waist", "natural waist", "round waist"], 450.0, 1600.0),
    known("hip girth", &["hip", "hips", "seat", "round hip"], 540.0, 1700.0),
    known("neck base girth", &["neck", "neck girth", "round neck"], 240.0, 560.0),
    known("upper arm girth", &["upper arm", "biceps", "biceps girth", "round sleeve"], 150.0, 560.0),
    known("wrist girth", &["wrist"], 100.0, 260.0),
    known("elbow girth", &["elbow"], 150.0, 480.0),
    known("round armhole", &["armhole", "armhole girth", "armscye girth"], 240.0, 700.0),
    known("shoulder length", &["shoulder"], 70.0, 210.0),
    known("across shoulder", &["shoulder to shoulder", "across shoulders", "shoulder width"], 240.0, 580.0),
    known("across front", &["chest width"], 220.0, 560.0),
    known("across back", &["back width"], 220.0, 560.0),
    known("bust point width", &["bust span", "apex to apex"], 100.0, 320.0),
    known("shoulder to bust", &["shoulder to bust line", "bust depth"], 140.0, 450.0),
    known("shoulder to waist", &["shoulder to waist front"], 250.0, 640.0),
    known("neck to waist front", &["front neck to waist", "front length to waist"], 220.0, 620.0),
    known("neck to waist back", &["back neck to waist", "back length to waist", "nape to waist"], 220.0, 620.0),
    known("scye depth", &["armscye depth", "armhole depth"], 110.0, 340.0),
    known("waist to hip", &["hip depth"], 100.0, 360.0),
    known("waist to knee", &[], 300.0, 850.0),
    known("waist to floor", &["skirt length to floor"], 550.0, 1350.0),
    known("arm length", &["sleeve length", "shoulder to wrist"], 300.0, 800.0),
    known("shoulder to elbow", &["elbow length"], 170.0, 480.0),
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
