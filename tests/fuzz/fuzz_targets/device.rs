//! Any text read as a device's profile is refused with a finding, or can be explained in words.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Ok((device, _)) = oaktag::device::read(text, "fuzzed") {
        let lines = oaktag::device::explain(&device);
        assert!(!lines.is_empty(), "nothing to say");
    }
});
