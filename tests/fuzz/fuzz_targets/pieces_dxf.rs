//! Any bytes read as DXF and made out as pieces give pieces that a file holds and gives back, or a finding.
#![no_main]

use libfuzzer_sys::fuzz_target;
use oaktag::piece::json;
use oaktag::read::{self, pieces};

fuzz_target!(|bytes: &[u8]| {
    let Ok((drawing, _)) = read::named_dxf(bytes, "fuzzed") else { return };
    for join in [pieces::JOIN, 2.0] {
        if let Ok(read) = pieces::understand(&drawing, &pieces::Names::default(), join, "fuzzed") {
            assert_eq!(read.set.pieces.len(), read.accounts.len());
            assert!(!pieces::account(&read).is_empty());
            // What is written is read again as it was, or is refused as no piece: never read as another.
            if let Ok(again) = json::read(&json::write(&read.set), "fuzzed") {
                assert_eq!(again, read.set, "other pieces come back");
            }
        }
    }
});
