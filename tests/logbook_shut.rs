//! What a person is told of a logbook that cannot be used, through the program itself: each time a
//! sentence with the cure in it, and nothing is touched. As another user where the test is run by
//! root, who may write everywhere; where that is not possible it says that it was skipped.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![expect(clippy::print_stdout, reason = "a skipped test says so")]
#![cfg(target_os = "linux")]

use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use beadtally::run::logbook::Logbook;
use rusqlite::Connection;

/// A user that owns nothing (`nobody` on every Linux).
const NOBODY: u32 = 65_534;

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn run(data: &Path, words: &[&str]) -> Output {
    Command::new(assert_cmd::cargo::cargo_bin!("beadtally"))
        .args(words)
        .env("XDG_DATA_HOME", data)
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

/// Runs and wants a refusal: the sentence.
fn refusal(data: &Path, words: &[&str]) -> String {
    let output = run(data, words);
    let stderr = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{words:?}: {stderr}");
    assert!(!stderr.contains("panicked"), "{stderr}");
    stderr
}

#[test]
fn each_trouble_has_a_sentence_and_a_way_on() {
    let data = tempfile::tempdir().unwrap();
    let at = |name: &str| data.path().join(name);
    let book = |name: &str| {
        drop(Logbook::open(&at(name)).unwrap());
        let _gone = std::fs::remove_file(at(&format!("{name}.recording")));
    };

    std::fs::create_dir(at("folder.sqlite3")).unwrap();
    std::fs::write(at("text.sqlite3"), "a list of things to do\n".repeat(300)).unwrap();
    book("newer.sqlite3");
    let newer = Connection::open(at("newer.sqlite3")).unwrap();
    newer.pragma_update(None, "user_version", 99).unwrap();
    drop(newer);
    book("cut.sqlite3");
    let bytes = std::fs::read(at("cut.sqlite3")).unwrap();
    std::fs::write(at("cut.sqlite3"), &bytes[..bytes.len() / 2]).unwrap();
    book("damaged.sqlite3");
    let mut bytes = std::fs::read(at("damaged.sqlite3")).unwrap();
    bytes[4096..8192].fill(0xa5);
    std::fs::write(at("damaged.sqlite3"), bytes).unwrap();
    book("locked.sqlite3");
    let holder = Connection::open(at("locked.sqlite3")).unwrap();
    holder.execute_batch("BEGIN IMMEDIATE").unwrap();

    for (name, why, cure) in [
        ("folder.sqlite3", "folder", "--logbook FILE"),
        ("text.sqlite3", "not a beadtally logbook", "--logbook FILE"),
        ("newer.sqlite3", "version 99", "newer beadtally"),
        ("cut.sqlite3", "damaged", "runs --repair"),
        ("damaged.sqlite3", "damaged", "runs --repair"),
        (
            "locked.sqlite3",
            "locked by another program",
            "close what has it open",
        ),
    ] {
        let path = at(name);
        let before = std::fs::read(&path).ok();
        let words = refusal(
            data.path(),
            &[
                "watch",
                "demo",
                "--for",
                "1",
                "--logbook",
                path.to_str().unwrap(),
            ],
        );
        assert!(
            words.contains(why) && words.contains(cure),
            "{name}: {words}"
        );
        assert!(words.contains("--no-run"), "{name}: {words}");
        assert_eq!(std::fs::read(&path).ok(), before, "{name} was touched");
    }
    // And the ways on: without recording, and by repairing.
    let path = at("damaged.sqlite3");
    let path = path.to_str().unwrap();
    let output = run(data.path(), &["watch", "demo", "--for", "1", "--no-run"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    let output = run(data.path(), &["runs", "--repair", "--logbook", path]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    assert!(text(&output.stdout).contains("the damaged one is kept as"));
    let output = run(data.path(), &["runs", "--logbook", path]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    // What is no logbook is not repaired away either, unless it bears the name of one.
    std::fs::rename(at("text.sqlite3"), at("notes.txt")).unwrap();
    let notes = at("notes.txt");
    let words = refusal(
        data.path(),
        &["runs", "--repair", "--logbook", notes.to_str().unwrap()],
    );
    assert!(words.contains("not a beadtally logbook"), "{words}");
}

#[test]
fn a_file_and_a_folder_that_may_only_be_read_are_told_of() {
    let data = tempfile::tempdir().unwrap();
    if std::fs::metadata(data.path()).unwrap().uid() != 0 {
        println!("SKIPPED: only root can become another user here");
        return;
    }
    // The other user must be able to reach the program and the file.
    let mode = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    mode(data.path(), 0o755);
    let program = data.path().join("beadtally");
    std::fs::copy(assert_cmd::cargo::cargo_bin!("beadtally"), &program).unwrap();
    mode(&program, 0o755);
    let home = data.path().join("home");
    std::fs::create_dir(&home).unwrap();
    let folder = data.path().join("books");
    std::fs::create_dir(&folder).unwrap();
    let path = folder.join("logbook.sqlite3");
    drop(Logbook::open(&path).unwrap());
    for owned in [
        &home,
        &folder,
        &path,
        &folder.join("logbook.sqlite3.recording"),
    ] {
        chown(owned, Some(NOBODY), Some(NOBODY)).unwrap();
    }
    let ask = |words: &[&str]| {
        Command::new(&program)
            .args(words)
            .arg("--logbook")
            .arg(&path)
            .uid(NOBODY)
            .gid(NOBODY)
            .current_dir(&home)
            .env("XDG_DATA_HOME", &home)
            .stdin(Stdio::null())
            .output()
    };
    let Ok(first) = ask(&["runs"]) else {
        println!("SKIPPED: another user cannot run programs here");
        return;
    };
    assert!(first.status.success(), "{}", text(&first.stderr));
    for (folder_mode, file_mode, what) in [(0o755, 0o444, "file"), (0o555, 0o644, "folder")] {
        mode(&folder, folder_mode);
        mode(&path, file_mode);
        let before = std::fs::read(&path).unwrap();
        let output = ask(&["watch", "demo", "--for", "1"]).unwrap();
        let words = text(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{what}: {words}");
        assert!(
            words.contains("read-only") || words.contains("cannot be opened"),
            "{what}: {words}"
        );
        assert!(words.contains("--logbook FILE"), "{what}: {words}");
        assert!(words.contains("--no-run"), "{what}: {words}");
        assert_eq!(std::fs::read(&path).unwrap(), before, "{what}");
        let output = ask(&["runs"]).unwrap();
        assert!(output.status.success(), "{what}: {}", text(&output.stderr));
        mode(&folder, 0o755);
        mode(&path, 0o644);
    }
}
