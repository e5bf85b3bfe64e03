//! Any bytes read as HP-GL give finite paths or a finding.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    for steps in [40.0, 1.0] {
        if let Ok((drawing, _)) = oaktag::read::hpgl(bytes, "fuzzed", steps) {
            assert!(drawing.paths.iter().all(|bare| bare.path.is_finite()), "not finite");
        }
    }
});
