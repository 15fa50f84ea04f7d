//! `beadtally tables`: the text and the JSON it prints, that a seed gives the same table twice, and
//! that a wrong argument is refused. What the figures are worth is tested with `rate::study`.

#![expect(clippy::unwrap_used, reason = "a test may fail by panicking")]

use std::process::Output;

use assert_cmd::Command;
use serde_json::Value;

fn tables(words: &[&str]) -> Output {
    let mut command = Command::cargo_bin("beadtally").unwrap();
    command.arg("tables").args(words).output().unwrap()
}

fn json(words: &[&str]) -> Value {
    let output = tables(words);
    assert!(output.status.success(), "{output:?}");
    assert!(output.stderr.is_empty(), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn coverage_is_told_with_what_is_wanted() {
    let words = ["coverage", "--runs", "10", "--seed", "5", "--json"];
    let told = json(&words);
    assert_eq!(
        (&told["table"], &told["runs"]),
        (&"coverage".into(), &10.into())
    );
    let rows = told["rows"].as_array().unwrap();
    // Six kinds of feed, seen in four ways.
    assert_eq!(rows.len(), 24);
    for row in rows {
        assert_eq!(row["cells"].as_array().unwrap().len(), 5);
    }
    let cell = &rows[2]["cells"][1];
    assert_eq!(rows[2]["feed"], "scatter 15 %");
    assert_eq!(
        (&cell["drops"], &cell["wanted_half_width_percent"]),
        (&3.into(), &35.0.into())
    );
    let coverage = cell["coverage_percent"].as_f64().unwrap();
    assert!((0.0..=100.0).contains(&coverage));
    assert_eq!(json(&words), told);
    assert_ne!(
        json(&["coverage", "--runs", "10", "--seed", "6", "--json"]),
        told
    );

    let output = tables(&["coverage", "--runs", "10"]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(text.lines().count(), 3 + 24, "{text}");
    assert!(text.contains("scatter 15 %, 1 % of beads missed"), "{text}");
}

#[test]
fn silence_is_told_as_a_trade() {
    let told = json(&["silence", "--runs", "20", "--json"]);
    let feeds = told["feeds"].as_array().unwrap();
    assert!(feeds.len() >= 5);
    let limits = feeds[0]["limits"].as_array().unwrap();
    let stop = limits.last().unwrap();
    assert_eq!(stop["limit"], "as the instrument judges a stop");
    assert!(stop["false_alarms_per_hour"].as_f64().unwrap() < 0.1);
    assert!(stop["delay_intervals"].as_f64().unwrap() < 3.0);
    let text = String::from_utf8(tables(&["silence", "--runs", "20"]).stdout).unwrap();
    assert!(text.contains("false alarms an hour"), "{text}");
}

#[test]
fn steps_are_told_for_every_teller() {
    let told = json(&["step", "--runs", "10", "--json"]);
    let feeds = told["feeds"].as_array().unwrap();
    assert_eq!(feeds.len(), 2);
    let tellers = feeds[1]["tellers"].as_array().unwrap();
    let of = |words: &str| {
        let found = tellers.iter().find(|t| t["teller"] == words);
        found.unwrap()["slower_after_s"].as_f64().unwrap()
    };
    assert!(of("sum over 7.5, mean known") > 0.0);
    assert!(of("sum over 8.25, learned from 20 drops") > 0.0);
    assert!(of("the instrument, 60 drops before") > 0.0);
}

#[test]
fn a_wrong_argument_is_refused() {
    for wrong in [
        &[][..],
        &["rainfall"],
        &["step", "--runs", "3"],
        &["step", "--runs", "many"],
        &["coverage", "--seed", "-1"],
    ] {
        let output = tables(wrong);
        assert_eq!(output.status.code(), Some(2), "{wrong:?}");
        assert!(output.stdout.is_empty() && !output.stderr.is_empty());
    }
}
