//! How much the program tells of what it does: chosen by flag or variable, on standard error only,
//! and never anything of it on standard output.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::Path;
use std::process::{Command, Output, Stdio};

use assert_cmd::cargo::CommandCargoExt;

fn run(data: &Path, variable: Option<&str>, words: &[&str]) -> Output {
    let mut command = Command::cargo_bin("beadtally").unwrap();
    command
        .env("XDG_DATA_HOME", data)
        .env_remove("BEADTALLY_LOG")
        .stdin(Stdio::null())
        .args(words);
    if let Some(variable) = variable {
        command.env("BEADTALLY_LOG", variable);
    }
    command.output().unwrap()
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

const COUNT: [&str; 5] = [
    "tally",
    "demo:feeds=1,rates=60,size=320x240,fps=15",
    "--for",
    "8",
    "--json",
];

#[test]
fn levels_are_chosen_by_flag_and_by_variable_and_standard_output_stays_as_it_was() {
    let data = tempfile::tempdir().unwrap();
    let quiet = run(data.path(), None, &COUNT);
    assert!(quiet.status.success(), "{}", told(&quiet));
    assert!(!told(&quiet).contains("DEBUG"), "{}", told(&quiet));
    let with = |more: &[&'static str]| -> Vec<&'static str> {
        COUNT.iter().chain(more).copied().collect()
    };
    let debug = run(data.path(), None, &with(&["--log-level", "debug"]));
    assert!(told(&debug).contains("DEBUG") && told(&debug).contains("a bead"));
    assert!(!told(&debug).contains("a reading"));
    let by_variable = run(data.path(), Some("trace"), &COUNT);
    assert!(told(&by_variable).contains("TRACE") && told(&by_variable).contains("a reading"));
    // The flag goes before the variable.
    let both = run(data.path(), Some("trace"), &with(&["--log-level", "off"]));
    assert!(!told(&both).contains("TRACE"), "{}", told(&both));
    for other in [&debug, &by_variable, &both] {
        assert!(other.status.success());
        assert_eq!(quiet.stdout, other.stdout);
    }
}

#[test]
fn a_level_that_is_none_is_refused_and_a_variable_that_makes_no_sense_is_told() {
    let data = tempfile::tempdir().unwrap();
    let flag = run(data.path(), None, &["--log-level", "loudly", "runs"]);
    assert_eq!(flag.status.code(), Some(2));
    assert!(told(&flag).contains("loudly") && told(&flag).contains("info"));
    let variable = run(data.path(), Some("loudly"), &["runs"]);
    let words = told(&variable);
    assert!(
        words.contains("BEADTALLY_LOG: `loudly` is no level"),
        "{words}"
    );
}
