//! Gives what libFuzzer makes up to the body `splice`; what must hold is said there.
#![no_main]

#[path = "../bodies/mod.rs"]
mod bodies;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bodies::run("splice", bytes));
