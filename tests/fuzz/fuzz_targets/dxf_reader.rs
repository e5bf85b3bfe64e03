//! Any bytes read as DXF give finite paths or a finding.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    for read in [oaktag::read::dxf, oaktag::read::exchange_dxf] {
        if let Ok((drawing, _)) = read(bytes, "fuzzed") {
            assert!(drawing.paths.iter().all(|bare| bare.path.is_finite()), "not finite");
        }
    }
});
