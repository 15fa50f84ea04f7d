//! A logbook whose program is killed while the file is being made, brought up to date from an older
//! version, or repaired: the next who opens it finds it as it was or as it should be, and the older
//! or damaged one is still there, whole. A few kills by default; `BEADTALLY_KILLS=500` for more.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![expect(
    clippy::print_stdout,
    reason = "the child tells its parent how far it is"
)]
#![cfg(unix)]

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use beadtally::base::{Clock, SystemClock};
use beadtally::run::logbook::repair::repair;
use beadtally::run::logbook::{Logbook, LogbookReader, schema};
use rand::{RngExt, SeedableRng};
use rusqlite::Connection;

/// Tells the child where to work; without it the child's test does nothing.
const CHILD: &str = "BEADTALLY_TEST_MAKING";
/// Logbooks of each kind that the child works on, one after the other.
const EACH: usize = 400;
/// Marks in the older and in the damaged logbook: enough for many pages.
const MARKS: i64 = 400;

/// A logbook of the first version: today's without what came later.
fn older(path: &Path) {
    drop(Logbook::open(path).unwrap());
    let book = Connection::open(path).unwrap();
    book.execute_batch(
        "DROP INDEX drops_of_kind;
         DROP TABLE hand_checks; DROP TABLE taps; DROP TABLE as_found;
         ALTER TABLE runs DROP COLUMN is_live;
         ALTER TABLE marks DROP COLUMN turns; ALTER TABLE marks DROP COLUMN is_shut;
         ALTER TABLE alarms DROP COLUMN priority; ALTER TABLE alarms DROP COLUMN happened;
         ALTER TABLE alarms DROP COLUMN by_whom;
         ALTER TABLE alarms DROP COLUMN shelved_until_secs;
         PRAGMA user_version = 1;",
    )
    .unwrap();
    fill(&book, "");
}

fn damaged(path: &Path) {
    drop(Logbook::open(path).unwrap());
    let book = Connection::open(path).unwrap();
    fill(&book, ", NULL, 0");
    drop(book);
    let mut bytes = std::fs::read(path).unwrap();
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..middle + 4096].fill(0xa5);
    std::fs::write(path, bytes).unwrap();
}

fn fill(book: &Connection, later_columns: &str) {
    book.execute_batch(&format!(
        "INSERT INTO runs (run_id, key, title, source_name, source_identity, width_px, height_px,
         started_wall, started_wall_secs, from_secs, last_wall_secs, last_secs, ended_wall_secs,
         to_secs, ending, program_version, calibration_toml)
         VALUES (1, 'key', 'old', 'bench', '', 640, 480, '', 1000, 0, 1060, 60, 1060, 60, 'ended',
         '0.0.9', '');
         WITH RECURSIVE n(i) AS (VALUES (0) UNION ALL SELECT i + 1 FROM n WHERE i < {MARKS} - 1)
         INSERT INTO marks SELECT 1, i, NULL, i, 1000 + i,
         'steam opened ' || hex(zeroblob(100)){later_columns} FROM n;
         PRAGMA journal_mode = DELETE;"
    ))
    .unwrap();
}

fn place(folder: &Path, kind: &str, number: usize) -> PathBuf {
    folder.join(format!("{kind}-{number}.sqlite3"))
}

/// Not a test of its own: the program that gets killed.
#[test]
fn child() {
    let Some(folder) = std::env::var_os(CHILD) else {
        return;
    };
    let folder = Path::new(&folder);
    for number in 0..EACH {
        let old = place(folder, "old", number);
        let bad = place(folder, "bad", number);
        std::fs::copy(folder.join("old"), &old).unwrap();
        std::fs::copy(folder.join("bad"), &bad).unwrap();
        println!("at {number}");
        drop(Logbook::open(&place(folder, "new", number)).unwrap());
        drop(Logbook::open(&old).unwrap());
        repair(&bad).unwrap();
    }
}

/// Opens what the killed child worked on, and everything it left.
fn check(folder: &Path, last: usize) {
    for number in last.saturating_sub(1)..=last + 1 {
        let new = place(folder, "new", number);
        if new.exists() {
            drop(Logbook::open(&new).unwrap());
            assert!(
                LogbookReader::open(&new)
                    .unwrap()
                    .runs()
                    .unwrap()
                    .is_empty()
            );
        }
        let old = place(folder, "old", number);
        // A copy that the child was still making is the test's own doing.
        let is_copied = |path: &Path, from: &str| {
            let length = |path: &Path| std::fs::metadata(path).map_or(0, |meta| meta.len());
            number < last || length(path) >= length(&folder.join(from))
        };
        if old.exists() && is_copied(&old, "old") {
            let marks = |path: &Path| {
                let reader = LogbookReader::open(path).unwrap();
                reader.contents(1).unwrap().marks.len() as i64
            };
            assert_eq!(marks(&old), MARKS, "as it was or as it should be");
            drop(Logbook::open(&old).unwrap());
            assert_eq!(marks(&old), MARKS);
            let kept = schema::copy_path(&old, 1);
            assert_eq!(marks(&kept), MARKS, "the copy that is kept is whole");
        }
        let bad = place(folder, "bad", number);
        let kept = folder.join(format!("bad-{number}.sqlite3.damaged"));
        let wanted = std::fs::read(folder.join("bad")).unwrap();
        if kept.exists() || (bad.exists() && is_copied(&bad, "bad")) {
            let is_there = [&bad, &kept]
                .into_iter()
                .any(|path| std::fs::read(path).is_ok_and(|bytes| bytes == wanted));
            assert!(is_there, "the damaged one is there to the byte");
        }
        if bad.exists() && is_copied(&bad, "bad") {
            repair(&bad).unwrap();
            let run = LogbookReader::open(&bad).unwrap().contents(1).unwrap();
            assert!(run.marks.len() as i64 > MARKS * 9 / 10);
        }
    }
}

#[test]
fn killed_while_it_is_made_brought_up_to_date_or_repaired() {
    if std::env::var_os(CHILD).is_some() {
        return;
    }
    let kills: usize = std::env::var("BEADTALLY_KILLS")
        .ok()
        .and_then(|words| words.parse().ok())
        .unwrap_or(5);
    let seed = rand::random::<u64>();
    println!("seed {seed}");
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let clock = SystemClock::new();
    for _ in 0..kills {
        let folder = tempfile::tempdir().unwrap();
        older(&folder.path().join("old"));
        damaged(&folder.path().join("bad"));
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "child", "--nocapture", "--test-threads=1"])
            .env(CHILD, folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut last = 0;
        let wanted = random.random_range(0..4);
        for line in lines.by_ref() {
            let line = line.unwrap();
            if let Some((_, number)) = line.split_once("at ")
                && let Ok(number) = number.parse::<usize>()
            {
                last = number;
                if number >= wanted {
                    break;
                }
            }
        }
        clock.wait_secs(random.random_range(0.0..0.06));
        child.kill().unwrap();
        child.wait().unwrap();
        for line in lines {
            let Ok(line) = line else { break };
            last = line
                .split_once("at ")
                .and_then(|(_, number)| number.parse().ok())
                .unwrap_or(last);
        }
        check(folder.path(), last);
    }
    println!("{kills} kills");
}
