//! Any text read as a style is refused with a finding, or drafted for a person of every known measure.
#![no_main]

use libfuzzer_sys::fuzz_target;
use oaktag::draft::Choices;
use oaktag::measures::{self, Measures};
use oaktag::{pipeline, style};
use std::sync::LazyLock;

static PERSON: LazyLock<Measures> = LazyLock::new(|| {
    let text = include_str!("../../../samples/maren-holt.measures.kdl");
    measures::read(text, "maren-holt").expect("the sample's measures").0
});

fuzz_target!(|text: &str| {
    let Ok(style) = style::read(text, "fuzzed") else { return };
    let Ok(walked) = pipeline::draft_and_walk(&style, &PERSON, &Choices::new(), oaktag::walk::TOLERANCE) else { return };
    for piece in &walked.set.pieces {
        assert!(piece.edges.iter().all(|edge| edge.path.is_finite()), "an edge is not finite");
    }
});
