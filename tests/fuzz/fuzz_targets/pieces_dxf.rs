//! Any bytes read as DXF and made out as pieces give pieces that a file holds and gives
//! back, or a finding.
#![no_main]

#[path = "../made_out.rs"]
mod made_out;

use libfuzzer_sys::fuzz_target;
use oaktag::read;

fuzz_target!(|bytes: &[u8]| {
    if let Ok((drawing, _)) = read::named_dxf(bytes, "fuzzed") {
        made_out::pieces_of(bytes, &drawing);
    }
});
