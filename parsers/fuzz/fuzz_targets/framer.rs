#![no_main]

#[path = "../../tests/fuzzed/mod.rs"]
#[allow(dead_code, reason = "shared by all targets")]
mod fuzzed;

libfuzzer_sys::fuzz_target!(|data: &[u8]| fuzzed::framer(data));
