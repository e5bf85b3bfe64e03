//! Any bytes read as PDF give finite paths or a finding, as one sheet and as pages glued together.
#![no_main]

use libfuzzer_sys::fuzz_target;
use oaktag::read::Glue;

fuzz_target!(|bytes: &[u8]| {
    for glue in [None, Some(Glue { margins: [6.0; 4], overlap: 10.0 })] {
        if let Ok((drawing, _)) = oaktag::read::pdf(bytes, "fuzzed", glue) {
            assert!(drawing.paths.iter().all(|bare| bare.path.is_finite()), "not finite");
        }
    }
});
