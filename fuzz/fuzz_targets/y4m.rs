//! Gives what libFuzzer makes up to the body `y4m`; what must hold is said there.
#![no_main]

#[path = "../bodies/mod.rs"]
mod bodies;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bodies::run("y4m", bytes));
