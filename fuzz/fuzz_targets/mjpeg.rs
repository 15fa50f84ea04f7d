//! Gives what libFuzzer makes up to the body `mjpeg`; what must hold is said there.
#![no_main]

#[path = "../bodies/mod.rs"]
mod bodies;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bodies::run("mjpeg", bytes));
