//! What is done with made-up bytes, and what must hold whatever they are. libFuzzer runs these
//! bodies (`fuzz/fuzz_targets`), and so does an ordinary `cargo test` with the kept cases
//! (`tests/bad_corpus.rs`). They stop at the first thing that does not hold.

mod calibration;
mod draw;
mod frames_csv;
#[path = "../../tests/jpeg_draw/mod.rs"]
mod jpeg_draw;
mod logbook;
mod logbook_base;
mod mjpeg;
mod splice;
pub mod step;
mod y4m;

/// A body: takes bytes, stops when something does not hold.
type Body = fn(&[u8]);

/// Every body under the name of its target and of its folder in `fuzz/corpus`.
pub const ALL: [(&str, Body); 7] = [
    ("calibration", calibration::body),
    ("frames_csv", frames_csv::body),
    ("logbook", logbook::body),
    ("mjpeg", mjpeg::body),
    ("splice", splice::body),
    ("step", step::body),
    ("y4m", y4m::body),
];

/// Runs the body of that name.
pub fn run(name: &str, bytes: &[u8]) {
    let found = ALL.iter().find(|(known, _)| *known == name);
    let (_, body) = found.expect("a body of that name");
    body(bytes);
}

/// What must hold of every sentence that a person gets: there is one, it is no essay, and it
/// names the file.
pub fn check_sentence(words: &str, file: &str) {
    assert!(words.contains(file), "'{file}' is not named: {words}");
    let letters = words.chars().count();
    assert!((20..2000).contains(&letters), "{letters} letters: {words}");
}
