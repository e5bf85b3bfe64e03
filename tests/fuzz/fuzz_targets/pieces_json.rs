//! Any text read as pieces is refused with a finding, or read back from its own writing as the same.
#![no_main]

use libfuzzer_sys::fuzz_target;
use oaktag::piece::json;
use oaktag::pipeline;

fuzz_target!(|text: &str| {
    let Ok(set) = json::read(text, "fuzzed") else { return };
    let again = json::read(&json::write(&set), "again").expect("what was written is read");
    assert_eq!(again, set);
    // Large sets are only read: cutting them is what `outline` tries.
    if set.pieces.len() <= 8 && set.pieces.iter().all(|piece| piece.edges.len() <= 16) {
        let walked = pipeline::walk_pieces(set, oaktag::walk::TOLERANCE);
        let _ = pipeline::cut(&walked.set);
    }
});
