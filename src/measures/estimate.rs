//! Measures that were never taken, estimated from others when the user asks for it.
//!
//! The proportions run through the medians and the spread of the 1,986 women of the US Army survey of 2012 where it has
//! the measure (neck base, shoulder length, wrist, arm length), and through common practice, no source, elsewhere. They
//! place a first draft; they do not replace a tape.

use super::{Measure, Measures};
use crate::diag::Finding;
use crate::units::format_length;

/// An estimate: what is wanted, and how much of which measures, with an amount in mm.
type Rule = (&'static str, &'static [(&'static str, f64)], f64);

/// In order, so that what is estimated first may serve the next.
const RULES: &[Rule] = &[
    ("stature", &[], 1640.0),
    ("bust girth", &[("high bust girth", 1.0)], 51.0),
    ("bust girth", &[("underbust girth", 1.0)], 140.0),
    ("waist girth", &[("bust girth", 1.0)], -160.0),
    ("hip girth", &[("bust girth", 1.0)], 80.0),
    ("high bust girth", &[("bust girth", 1.0)], -51.0),
    ("underbust girth", &[("bust girth", 1.0)], -140.0),
    ("neck base girth", &[("bust girth", 0.24)], 144.0),
    ("shoulder length", &[("stature", 0.083)], 0.0),
    ("across shoulder", &[("stature", 0.15), ("bust girth", 0.16)], 0.0),
    ("across front", &[("bust girth", 0.2)], 142.0),
    ("across back", &[("bust girth", 0.2)], 160.0),
    ("upper arm girth", &[("bust girth", 0.3)], 0.0),
    ("elbow girth", &[("upper arm girth", 0.92)], 0.0),
    ("wrist girth", &[("bust girth", 0.07)], 90.0),
    ("round armhole", &[("bust girth", 0.33)], 110.0),
    ("bust point width", &[("bust girth", 0.2)], 0.0),
    ("shoulder to bust", &[("stature", 0.1), ("bust girth", 0.11)], 0.0),
    ("shoulder to waist", &[("stature", 0.255), ("bust girth", 0.03)], 0.0),
    ("shoulder to waist back", &[("stature", 0.262)], 0.0),
    ("neck to waist front", &[("stature", 0.217)], 0.0),
    ("neck to waist back", &[("stature", 0.252)], 0.0),
    ("scye depth", &[("stature", 0.055), ("bust girth", 0.125)], 0.0),
    ("waist to hip", &[("stature", 0.125)], 0.0),
    ("waist to knee", &[("stature", 0.36)], 0.0),
    ("waist to floor", &[("stature", 0.64)], 0.0),
    ("arm length", &[("stature", 0.333)], 0.0),
    ("shoulder to elbow", &[("arm length", 0.58)], 0.0),
];

/// Fills in those of the needed measures that the person lacks. Each is marked in the measures and said in a warning, and
/// the date says how many there are, so that every output shows it.
pub fn estimate(measures: &mut Measures, needed: &[&str]) -> Vec<Finding> {
    let mut all = measures.clone();
    for (name, from, plus) in RULES {
        if all.values.contains_key(*name) {
            continue;
        }
        let Some(places) =
            from.iter().map(|(other, _)| all.values.get(*other).map(|m| m.place.clone())).collect::<Option<Vec<_>>>()
        else {
            continue;
        };
        let mm = plus + from.iter().map(|(other, times)| all.values[*other].mm * times).sum::<f64>();
        let place = places.first().cloned().or_else(|| all.values.values().next().map(|m| m.place.clone()));
        // A file without a single measure is refused when it is read; then there is nothing to point at.
        let Some(place) = place.filter(|_| mm > 0.0) else { continue };
        all.values.insert((*name).to_owned(), Measure { mm, sides: None, place, estimated: true });
    }
    let mut findings = Vec::new();
    for name in needed {
        if let (false, Some(measure)) = (measures.values.contains_key(*name), all.values.get(*name)) {
            let value = format_length(measure.mm, measures.unit);
            findings.push(
                Finding::warning(format!("{}: the {name} is estimated, {value}", measures.person))
                    .in_file(&measures.file)
                    .hint("measure it before you cut good cloth")
                    .gist("estimated", *name),
            );
            measures.values.insert((*name).to_owned(), measure.clone());
        }
    }
    if !findings.is_empty() {
        let count = findings.len();
        let date = if measures.taken.is_empty() { String::new() } else { format!("{}, ", measures.taken) };
        measures.taken = format!("{date}{count} estimated");
    }
    findings
}

#[cfg(test)]
mod tests {
    use super::*;

    /// US Army survey of 2012, 1,986 women: medians of neck base 370, shoulder length 135, wrist 154 and arm 542 mm at a
    /// chest of 940 and a stature of 1626.
    #[test]
    fn estimates_run_through_the_medians_of_a_survey() {
        let text = "measures \"Ida\" { unit \"mm\"\n taken \"2026-09-14\" { bust 940; stature 1626; } }";
        let (mut ida, _) = super::super::read(text, "ida.kdl").expect("reads");
        let needed = ["bust girth", "neck base girth", "shoulder length", "wrist girth", "arm length"];
        let findings = estimate(&mut ida, &needed);
        assert_eq!(findings.len(), 4);
        for (name, median) in
            [("neck base girth", 370.0), ("shoulder length", 135.0), ("wrist girth", 154.0), ("arm length", 542.0)]
        {
            assert!((ida.values[name].mm - median).abs() < 5.0 && ida.values[name].estimated, "{name}");
        }
        assert!(!ida.values["bust girth"].estimated && !ida.values.contains_key("waist girth"));
        assert_eq!(ida.taken, "2026-09-14, 4 estimated");
    }
}
