//! Any bytes read as RS-274 give finite paths or a finding.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Ok((drawing, _)) = oaktag::read::rs274(bytes, "fuzzed") {
        assert!(drawing.paths.iter().all(|bare| bare.path.is_finite()), "not finite");
    }
});
