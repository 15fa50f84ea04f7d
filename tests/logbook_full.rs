//! A full disk while a run is recorded: an alarm comes, counting goes on, and when there is room
//! again everything is written that was told meanwhile. It mounts a small disk in memory, which
//! only root may do; elsewhere it says that it was skipped.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![expect(clippy::print_stdout, reason = "a skipped test says so")]
#![cfg(target_os = "linux")]

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use beadtally::run::logbook::LogbookReader;
use serde_json::Value;

/// Size of the disk: a logbook and its companions, and a minute of records.
const DISK: &str = "size=4m";

/// A disk in memory, gone again with this.
struct Disk {
    folder: tempfile::TempDir,
}

impl Disk {
    fn mount() -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", DISK, "none"])
            .arg(folder.path())
            .stderr(Stdio::null())
            .status();
        mounted
            .is_ok_and(|status| status.success())
            .then_some(Self { folder })
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Takes all the room that is left; removing the file gives it back.
    fn fill(&self) -> PathBuf {
        let path = self.path().join("filler");
        let mut bytes = 1 << 20;
        let mut filler = Vec::new();
        while bytes > 0 {
            filler.resize(filler.len() + bytes, 0);
            if std::fs::write(&path, &filler).is_err() {
                filler.truncate(filler.len() - bytes);
                bytes /= 2;
            }
        }
        path
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        let _done = Command::new("umount")
            .arg("-l")
            .arg(self.folder.path())
            .status();
    }
}

fn is(line: &Value, kind: &str) -> bool {
    line["type"] == kind
}

/// The state of the alarm that the logbook is not written, when the line tells of it.
fn logbook_alarm(line: &Value) -> Option<&str> {
    let is_it = is(line, "alarm") && line["cause"] == "logbook not written";
    line["state"].as_str().filter(|_| is_it)
}

#[test]
fn a_full_disk_raises_an_alarm_and_costs_no_record() {
    let Some(disk) = Disk::mount() else {
        println!("SKIPPED: a small disk cannot be mounted here (only root may do that)");
        return;
    };
    let home = tempfile::tempdir().unwrap();
    let logbook = disk.path().join("logbook.sqlite3");
    let mut child = Command::new(assert_cmd::cargo::cargo_bin!("beadtally"))
        .args([
            "watch",
            "demo:rates=40;50;60,gas=0,seed=3",
            "--json-lines",
            "--for",
            "45",
        ])
        .arg("--logbook")
        .arg(&logbook)
        .env("XDG_DATA_HOME", home.path())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    // Full at the first bead; room again some beads after the alarm.
    let mut filler = None;
    let mut lines: Vec<Value> = Vec::new();
    let (mut alarmed, mut beads_after_alarm, mut well_again) = (false, 0, false);
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        let line: Value = serde_json::from_str(&line.unwrap()).unwrap();
        if is(&line, "bead") && filler.is_none() && !alarmed {
            filler = Some(disk.fill());
        }
        alarmed |= logbook_alarm(&line) == Some("unacknowledged");
        well_again |=
            alarmed && logbook_alarm(&line).is_some_and(|state| state != "unacknowledged");
        if alarmed && is(&line, "bead") {
            beads_after_alarm += 1;
            if beads_after_alarm == 8
                && let Some(filler) = filler.take()
            {
                std::fs::remove_file(filler).unwrap();
            }
        }
        lines.push(line);
    }
    let status = child.wait().unwrap();
    assert!(alarmed, "no alarm that the logbook is not written");
    assert!(beads_after_alarm > 12, "counting did not go on");
    assert!(well_again, "the alarm did not end");
    assert!(status.success(), "{status}");

    let told: BTreeSet<(i64, i64)> = lines
        .iter()
        .filter(|line| is(line, "bead"))
        .map(|line| {
            let feed: i64 = line["feed"].as_str().unwrap().parse().unwrap();
            let at_secs = line["at_s"].as_f64().unwrap();
            (feed, (at_secs * 1000.0).round() as i64)
        })
        .collect();
    let reader = LogbookReader::open(&logbook).unwrap();
    let run = reader.contents(1).unwrap();
    let kept: BTreeSet<(i64, i64)> = run
        .drops
        .iter()
        .map(|drop| (drop.feed, (drop.at_secs * 1000.0).round() as i64))
        .collect();
    println!(
        "{} told, {} in the logbook, {beads_after_alarm} of them after the alarm",
        told.len(),
        kept.len()
    );
    assert_eq!(kept, told);
    assert_eq!(run.drops.len(), kept.len(), "none stands in it twice");
    assert!(
        run.alarms
            .iter()
            .any(|alarm| alarm.cause == "logbook not written"),
        "the gap in the writing is on record"
    );
}
