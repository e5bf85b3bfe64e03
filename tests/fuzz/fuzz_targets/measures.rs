//! Any text read as measures, a table of sizes or a cloth is refused with a finding, or holds lengths that are finite.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Ok((people, _)) = oaktag::measures::read_all(text, "fuzzed") {
        let values = people.iter().flat_map(|person| person.values.values());
        assert!(values.into_iter().all(|measure| measure.mm.is_finite() && measure.mm > 0.0), "no length");
    }
    if let Ok(cloth) = oaktag::cloth::read(text, "fuzzed") {
        assert!(cloth.width.is_finite() && cloth.width > 0.0, "no width");
    }
});
