//! `beadtally report` from outside: a demo counted at full speed, recorded, and written out; and
//! what it says when something is not as it must be.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod report_markup;

use std::path::Path;
use std::process::{Command, Output, Stdio};

use assert_cmd::cargo::CommandCargoExt;
use report_markup::Page;

fn run(data: &Path, words: &[&str]) -> Output {
    Command::cargo_bin("beadtally")
        .unwrap()
        .env("XDG_DATA_HOME", data)
        .env_remove("BEADTALLY_LOG")
        .env("TZ", "UTC")
        .stdin(Stdio::null())
        .args(words)
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn done(output: &Output) -> String {
    assert!(output.status.success(), "{}", text(&output.stderr));
    text(&output.stdout)
}

/// One sentence on stderr, nothing on stdout, exit code 1, no panic.
fn refused(output: &Output, words: &str) {
    let stderr = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{stderr}");
    assert!(stderr.starts_with("beadtally: "), "{stderr}");
    assert!(stderr.contains(words), "{stderr}");
    assert!(!stderr.contains("panicked"), "{stderr}");
    assert_eq!(stderr.trim_end().lines().count(), 1, "{stderr}");
    assert_eq!(text(&output.stdout), "");
}

const DEMO: &str = "demo:feeds=2,size=320x240,fps=10,rates=20;15,seed=4";

#[test]
fn a_recorded_demo_becomes_a_page_tables_and_a_sheet() {
    let data = tempfile::tempdir().unwrap();
    let here = |name: &str| data.path().join(name).display().to_string();
    let told = done(&run(
        data.path(),
        &[
            "tally",
            DEMO,
            "--for",
            "90",
            "--record",
            "--title",
            "<b>bench</b>",
            "--mark",
            "45: valve 2 a quarter turn open",
            "--mark",
            "500:too late",
        ],
    ));
    assert!(told.contains("recorded as run 1"), "{told}");
    assert!(
        told.contains("the mark at 500 s lies after the end: too late"),
        "{told}"
    );

    let html = here("run.html");
    let told = done(&run(data.path(), &["report", "last", "--html", &html]));
    assert_eq!(told.trim_end(), html);
    let page = Page::read(&std::fs::read_to_string(&html).unwrap()).unwrap();
    assert_eq!(page.faults(), Vec::<String>::new());
    assert!(page.text.contains("<b>bench</b>"));
    assert!(page.text.contains("valve 2 a quarter turn open"));
    assert!(page.text.contains("the built-in demo"));

    let folder = here("tables");
    let told = done(&run(data.path(), &["report", "1", "--csv", &folder]));
    assert_eq!(told.lines().count(), 11, "{told}");
    for file in told.lines() {
        let mut rows = csv::Reader::from_path(file).unwrap();
        assert!(rows.records().all(|row| row.is_ok()), "{file}");
    }
    let file = here("all.csv");
    done(&run(data.path(), &["report", "1", "--csv", &file]));
    let mut rows = csv::Reader::from_path(&file).unwrap();
    assert_eq!(&rows.headers().unwrap()[0], "time (s)");
    let marks = rows
        .records()
        .map(Result::unwrap)
        .filter(|row| &row[3] == "mark")
        .count();
    assert_eq!(marks, 1);

    let sheet = here("sheet.html");
    done(&run(data.path(), &["report", "1", "--sheet", &sheet]));
    let page = Page::read(&std::fs::read_to_string(&sheet).unwrap()).unwrap();
    assert_eq!(page.faults(), Vec::<String>::new());
    for words in [&["report", "1", "--sheet"][..], &["report", "1"]] {
        let told = done(&run(data.path(), words));
        assert!(
            told.contains("as found") && told.contains("as left"),
            "{told}"
        );
        assert!(
            told.contains("0:00:45  valve 2 a quarter turn open"),
            "{told}"
        );
    }
    // Nothing is left beside the files.
    let left: Vec<String> = std::fs::read_dir(data.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(left.len(), 5, "{left:?}");
}

#[test]
fn what_cannot_be_done_has_a_sentence() {
    let data = tempfile::tempdir().unwrap();
    refused(
        &run(data.path(), &["report", "last"]),
        "there is no logbook",
    );
    refused(&run(data.path(), &["tally", "demo"]), "--for 60");
    refused(&run(data.path(), &["tally", "camera"]), "has no end");
    done(&run(
        data.path(),
        &["tally", DEMO, "--for", "3", "--record"],
    ));
    refused(&run(data.path(), &["report", "7"]), "there is no run 7");
    refused(&run(data.path(), &["report", "seven"]), "is no run");
    let inside = data.path().join("none/run.html").display().to_string();
    refused(
        &run(data.path(), &["report", "1", "--html", &inside]),
        "cannot be written",
    );
    for words in [
        &["tally", DEMO, "--for", "3", "--mark", "x"][..],
        &["tally", DEMO, "--for", "3", "--mark", "-1:x"],
        &["tally", DEMO, "--for", "3", "--title", "without record"],
        &["report"],
    ] {
        assert_eq!(run(data.path(), words).status.code(), Some(2), "{words:?}");
    }
}
