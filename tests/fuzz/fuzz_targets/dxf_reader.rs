//! Any bytes read as DXF give finite paths or a finding.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Ok((drawing, _)) = oaktag::read::dxf(bytes, "fuzzed") {
        assert!(drawing.paths.iter().all(|bare| bare.path.is_finite()), "not finite");
    }
});
