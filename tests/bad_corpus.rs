//! The kept cases of the fuzz targets, once through the same bodies: what was found once is found
//! again, without any tool for fuzzing. Each file in `fuzz/corpus` is one case.
#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "a test stops at the first surprise"
)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

#[path = "../fuzz/bodies/mod.rs"]
mod bodies;

fn corpus() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus")
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).expect("a folder of kept cases");
    let mut files: Vec<PathBuf> = entries
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    files
}

fn replay(name: &str) {
    let cases = files(&corpus().join(name));
    assert!(cases.len() >= 2, "{name} has kept cases");
    for case in cases {
        let bytes = std::fs::read(&case).expect("a kept case");
        let passed = std::panic::catch_unwind(|| bodies::run(name, &bytes));
        assert!(passed.is_ok(), "{} does not pass", case.display());
    }
    // Nothing at all is an input too.
    bodies::run(name, b"");
}

#[test]
fn calibrations() {
    replay("calibration");
}

#[test]
fn y4m_clips() {
    replay("y4m");
}

#[test]
fn times_of_a_folder() {
    replay("frames_csv");
}

#[test]
fn jpeg_pictures() {
    replay("mjpeg");
}

#[test]
fn parts_of_jpeg_pictures() {
    replay("splice");
}

#[test]
fn logbooks() {
    replay("logbook");
}

#[test]
fn steps_of_the_instrument() {
    replay("step");
}

#[test]
fn beads_are_counted_in_the_made_up_frames() {
    // Otherwise the promises about beads would hold for want of beads.
    let case = corpus().join("step/one-glass");
    let bytes = std::fs::read(case).expect("a kept case");
    assert!(bodies::step::beads_told(&bytes) >= 2);
}

#[test]
fn every_target_has_a_body_and_every_body_kept_cases_of_small_size() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let names: BTreeSet<String> = bodies::ALL.iter().map(|(name, _)| (*name).into()).collect();
    let stems = |folder: &Path| -> BTreeSet<String> {
        let stem = |path: PathBuf| path.file_stem().map(|s| s.to_string_lossy().into_owned());
        files(folder).into_iter().filter_map(stem).collect()
    };
    assert_eq!(stems(&top.join("fuzz/fuzz_targets")), names);
    assert_eq!(stems(&corpus()), names);
    for name in &names {
        let sizes = files(&corpus().join(name))
            .iter()
            .map(|file| std::fs::metadata(file).expect("a kept case").len())
            .sum::<u64>();
        assert!(sizes < 20_000, "{name}: {sizes} bytes");
    }
}
