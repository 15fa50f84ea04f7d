//! The program from outside: what it prints, where, and with which exit code.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![expect(clippy::print_stdout, reason = "a skipped test says so")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use assert_cmd::cargo::CommandCargoExt;
use serde_json::Value;

/// The program with a data folder of its own.
fn beadtally(data: &Path) -> Command {
    let mut command = Command::cargo_bin("beadtally").unwrap();
    command
        .env("XDG_DATA_HOME", data)
        .env_remove("BEADTALLY_LOG")
        .stdin(Stdio::null());
    command
}

fn run(data: &Path, words: &[&str]) -> Output {
    beadtally(data).args(words).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// One sentence on stderr, nothing on stdout, exit code 1, no panic.
fn assert_refused(output: &Output, words: &str) {
    let stderr = text(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{stderr}");
    assert!(stderr.starts_with("beadtally: "), "{stderr}");
    assert!(stderr.contains(words), "{stderr}");
    assert!(!stderr.contains("panicked"), "{stderr}");
    assert_eq!(stderr.trim_end().lines().count(), 1, "{stderr}");
    assert_eq!(text(&output.stdout), "");
}

fn json_lines(bytes: &[u8]) -> Vec<Value> {
    text(bytes)
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

fn of_type<'a>(lines: &'a [Value], kind: &str) -> Vec<&'a Value> {
    lines.iter().filter(|line| line["type"] == kind).collect()
}

#[test]
fn help_and_version_go_to_stdout_and_tell_the_exit_codes() {
    let data = tempfile::tempdir().unwrap();
    let output = run(data.path(), &["--version"]);
    assert!(output.status.success());
    assert_eq!(
        text(&output.stdout),
        format!("beadtally {}\n", env!("CARGO_PKG_VERSION"))
    );
    let output = run(data.path(), &["--help"]);
    assert!(output.status.success());
    let help = text(&output.stdout);
    for word in [
        "Exit codes:",
        "XDG_DATA_HOME",
        "cameras",
        "find",
        "tally",
        "watch",
        "runs",
        "export",
        "draw",
        "never a safety device",
    ] {
        assert!(help.replace('\n', " ").contains(word), "{word} in {help}");
    }
    for command in [
        "cameras", "find", "tally", "watch", "runs", "export", "report", "draw",
    ] {
        let output = run(data.path(), &[command, "--help"]);
        assert!(output.status.success(), "{command}");
        assert!(
            text(&output.stdout).contains("Usage: beadtally"),
            "{command}"
        );
    }
}

#[test]
fn a_command_line_without_sense_exits_2() {
    let data = tempfile::tempdir().unwrap();
    for words in [
        &["weigh"][..],
        &["tally"],
        &["watch", "demo", "--for", "-3"],
        &["watch", "demo", "--for", "nan"],
        &["watch", "demo", "--band", "3-2"],
        &["tally", "x.y4m", "--glass-mm", "0"],
        &["export", "1"],
        &["--source", "demo", "runs"],
    ] {
        let output = run(data.path(), words);
        assert_eq!(output.status.code(), Some(2), "{words:?}");
        assert!(!text(&output.stderr).is_empty(), "{words:?}");
    }
}

#[test]
fn what_is_not_there_has_a_sentence() {
    let data = tempfile::tempdir().unwrap();
    let no_file = data.path().join("no-such-clip.mp4");
    let no_file = no_file.to_str().unwrap();
    assert_refused(&run(data.path(), &["tally", no_file]), "no-such-clip.mp4");
    assert_refused(&run(data.path(), &["find", no_file]), "no-such-clip.mp4");
    assert_refused(
        &run(data.path(), &["watch", no_file, "--no-run"]),
        "no-such-clip.mp4",
    );
    let no_calibration = [
        "tally",
        "demo",
        "--for",
        "2",
        "--calibration",
        "no-such.toml",
    ];
    assert_refused(&run(data.path(), &no_calibration), "no-such.toml");
    assert_refused(
        &run(data.path(), &["export", "1", "--csv", "sheets"]),
        "there is no logbook",
    );
    assert_refused(
        &run(data.path(), &["runs", "--logbook", no_file]),
        "there is no logbook",
    );
    assert_refused(
        &run(data.path(), &["tally", "demo:feeds=many", "--for", "2"]),
        "feeds",
    );
    let runs = run(data.path(), &["runs"]);
    assert!(runs.status.success());
    assert!(text(&runs.stdout).contains("no runs yet"));
    let runs = run(data.path(), &["runs", "--json"]);
    assert_eq!(text(&runs.stdout), "[]\n");
    // Asking changes nothing.
    assert_eq!(std::fs::read_dir(data.path()).unwrap().count(), 0);
}

#[test]
fn every_bad_clip_is_refused_politely() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("test-images/bad");
    let data = tempfile::tempdir().unwrap();
    let mut clips: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    clips.sort();
    assert!(clips.len() > 20);
    for clip in clips {
        let output = run(data.path(), &["tally", "--json", clip.to_str().unwrap()]);
        let stderr = text(&output.stderr);
        assert_eq!(
            output.status.code(),
            Some(1),
            "{}: {stderr}",
            clip.display()
        );
        assert!(stderr.starts_with("beadtally: "), "{stderr}");
        assert!(!stderr.contains("panicked"), "{stderr}");
    }
}

/// Twelve seconds of the demo with a bead every three seconds or so in each of two glasses.
const DEMO: &str = "demo:rates=20;30,gas=0,seed=5";

#[test]
fn watching_prints_a_line_for_each_thing_and_records_a_run() {
    let data = tempfile::tempdir().unwrap();
    let output = run(
        data.path(),
        &[
            "watch",
            DEMO,
            "--for",
            "11",
            "--json-lines",
            "--glass-mm",
            "17",
            "--title",
            "=bench",
        ],
    );
    let stderr = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{stderr}");
    let lines = json_lines(&output.stdout);
    assert_eq!(lines[0]["type"], "source");
    assert_eq!(lines[0]["width"], 640);
    let glasses = of_type(&lines, "glasses");
    assert_eq!(glasses.len(), 1);
    assert_eq!(glasses[0]["glasses"].as_array().unwrap().len(), 2);
    assert!(glasses[0]["glasses"][0]["px_per_mm"].is_number());
    let beads = of_type(&lines, "bead");
    assert!(beads.len() >= 6, "{} beads", beads.len());
    let first_glasses = lines.iter().position(|line| line["type"] == "glasses");
    let first_bead = lines.iter().position(|line| line["type"] == "bead");
    assert!(first_glasses < first_bead);
    for bead in &beads {
        assert_eq!(bead["kind"], "oil");
        assert!(bead["feed"] == "1" || bead["feed"] == "2");
        let (at, settled) = (
            bead["at_s"].as_f64().unwrap(),
            bead["settled_at_s"].as_f64(),
        );
        assert!(settled.unwrap() >= at && at > 0.0);
        assert!(bead["diameter_mm"].as_f64().unwrap() > 0.5);
    }
    let early = beads
        .iter()
        .filter(|bead| bead["at_s"].as_f64() < Some(5.0));
    assert!(
        early.count() >= 1,
        "beads while the glasses were looked for count"
    );
    let end = lines.last().unwrap();
    assert_eq!(end["type"], "end");
    assert_eq!(end["why"], "time over");
    let told: u64 = end["feeds"]
        .as_array()
        .unwrap()
        .iter()
        .map(|feed| feed["drops"].as_u64().unwrap())
        .sum();
    assert_eq!(told, beads.len() as u64);
    assert_eq!(of_type(&lines, "run").len(), 1);

    // The same drops are in the logbook, at the place where it belongs.
    assert!(data.path().join("beadtally/logbook.sqlite3").is_file());
    let runs = run(data.path(), &["runs", "--json"]);
    let runs: Value = serde_json::from_slice(&runs.stdout).unwrap();
    assert_eq!(runs.as_array().unwrap().len(), 1);
    assert_eq!(runs[0]["drops"], told);
    assert_eq!(runs[0]["ending"], "ended");
    assert_eq!(runs[0]["title"], "=bench");
    let listed = run(data.path(), &["runs"]);
    assert!(text(&listed.stdout).contains("\"=bench\""));

    let csv = data.path().join("sheets");
    let output = run(
        data.path(),
        &["export", "last", "--csv", csv.to_str().unwrap()],
    );
    assert!(output.status.success(), "{}", text(&output.stderr));
    assert_eq!(text(&output.stdout).lines().count(), 8);
    let drops = std::fs::read_to_string(csv.join("drops.csv")).unwrap();
    assert_eq!(drops.lines().count() as u64, told + 1);
    let head = std::fs::read_to_string(csv.join("run.csv")).unwrap();
    assert!(head.contains("title,'=bench\n"), "{head}");
    assert_refused(
        &run(
            data.path(),
            &["export", "7", "--csv", csv.to_str().unwrap()],
        ),
        "no run 7",
    );
    assert_refused(
        &run(
            data.path(),
            &["export", "first", "--csv", csv.to_str().unwrap()],
        ),
        "is no run",
    );
}

#[test]
fn without_a_run_nothing_is_written() {
    let data = tempfile::tempdir().unwrap();
    let output = run(data.path(), &["watch", DEMO, "--for", "2", "--no-run"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let stdout = text(&output.stdout);
    assert!(stdout.starts_with("watching demo"), "{stdout}");
    assert!(stdout.ends_with("ended: time over\n"), "{stdout}");
    assert_eq!(std::fs::read_dir(data.path()).unwrap().count(), 0);
}

#[test]
fn a_logbook_that_cannot_be_used_is_told_before_anything_starts() {
    let data = tempfile::tempdir().unwrap();
    let path = data.path().join("notes.txt");
    std::fs::write(
        &path,
        "not a logbook, and long enough that it could be one\n".repeat(99),
    )
    .unwrap();
    let path = path.to_str().unwrap();
    let output = run(
        data.path(),
        &["watch", DEMO, "--for", "1", "--logbook", path],
    );
    assert_refused(&output, "not a beadtally logbook");
    assert!(text(&output.stderr).contains("--no-run"));
}

#[test]
fn finding_writes_a_calibration_and_a_picture() {
    let data = tempfile::tempdir().unwrap();
    let (toml, png) = (
        data.path().join("found.toml"),
        data.path().join("found.png"),
    );
    let output = run(
        data.path(),
        &[
            "find",
            DEMO,
            "--write",
            toml.to_str().unwrap(),
            "--picture",
            png.to_str().unwrap(),
            "--json",
            "--glass-mm",
            "17",
        ],
    );
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["glasses"].as_array().unwrap().len(), 2);
    assert!(found["glasses"][0]["confidence"].as_f64().unwrap() > 0.0);
    let picture = image::open(&png).unwrap().into_rgb8();
    assert_eq!((picture.width(), picture.height()), (640, 480));
    let coloured = picture
        .pixels()
        .filter(|pixel| pixel[0] != pixel[1])
        .count();
    assert!(coloured > 1000, "the outlines are drawn");
    // What was written can be used.
    let words = [
        "watch",
        DEMO,
        "--for",
        "2",
        "--no-run",
        "--json-lines",
        "--calibration",
    ];
    let output = beadtally(data.path())
        .args(words)
        .arg(&toml)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let lines = json_lines(&output.stdout);
    assert_eq!(
        of_type(&lines, "glasses")[0]["glasses"][0]["outline"]["x"],
        found["glasses"][0]["outline"]["x"]
    );
}

#[test]
fn no_glass_to_be_found_is_told() {
    let data = tempfile::tempdir().unwrap();
    let clip = data.path().join("grey");
    std::fs::create_dir(&clip).unwrap();
    for n in 0..3 {
        image::GrayImage::from_pixel(320, 240, image::Luma([90]))
            .save(clip.join(format!("{n}.png")))
            .unwrap();
    }
    let clip = clip.to_str().unwrap();
    assert_refused(&run(data.path(), &["tally", clip]), "no glass found");
    assert_refused(&run(data.path(), &["find", clip]), "no glass found");
    let output = run(data.path(), &["watch", clip, "--no-run"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(text(&output.stderr).contains("nothing was counted"));
}

#[cfg(unix)]
mod unix {
    use super::*;
    use std::io::{BufRead, BufReader};

    fn start(data: &Path, words: &[&str]) -> std::process::Child {
        beadtally(data)
            .args(words)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    }

    #[test]
    fn ctrl_c_ends_the_run_and_the_program_cleanly() {
        for signal in ["INT", "TERM"] {
            let data = tempfile::tempdir().unwrap();
            let mut child = start(data.path(), &["watch", DEMO, "--json-lines"]);
            let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
            let is = |line: &str, kind: &str| {
                serde_json::from_str::<Value>(line).unwrap()["type"] == kind
            };
            assert!(lines.by_ref().any(|line| is(&line.unwrap(), "run")));
            let killed = Command::new("kill")
                .args([&format!("-{signal}"), &child.id().to_string()])
                .status()
                .unwrap();
            assert!(killed.success());
            let last = lines.map(Result::unwrap).last().unwrap();
            let last: Value = serde_json::from_str(&last).unwrap();
            assert_eq!(last["type"], "end");
            assert_eq!(last["why"], "asked");
            assert_eq!(child.wait().unwrap().code(), Some(0), "{signal}");
            let runs = run(data.path(), &["runs", "--json"]);
            let runs: Value = serde_json::from_slice(&runs.stdout).unwrap();
            assert_eq!(runs[0]["ending"], "ended");
        }
    }

    #[test]
    fn a_killed_program_leaves_a_run_that_is_not_ended() {
        let data = tempfile::tempdir().unwrap();
        let mut child = start(data.path(), &["watch", DEMO, "--json-lines"]);
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        assert!(lines.by_ref().any(|line| line.unwrap().contains("\"run\"")));
        let listed = run(data.path(), &["runs"]);
        assert!(text(&listed.stdout).contains("being recorded"));
        child.kill().unwrap();
        child.wait().unwrap();
        let listed = run(data.path(), &["runs"]);
        let stdout = text(&listed.stdout);
        assert!(stdout.contains("not ended; last record at 2"), "{stdout}");
        // The next run closes it and stands beside it.
        let output = run(data.path(), &["watch", DEMO, "--for", "6"]);
        assert!(output.status.success(), "{}", text(&output.stderr));
        let runs = run(data.path(), &["runs", "--json"]);
        let runs: Value = serde_json::from_slice(&runs.stdout).unwrap();
        assert_eq!(runs[0]["ending"], "not ended");
        assert_eq!(runs[1]["ending"], "ended");
    }

    #[test]
    fn a_closed_pipe_ends_it_quietly() {
        let data = tempfile::tempdir().unwrap();
        let mut child = start(data.path(), &["watch", DEMO, "--json-lines", "--no-run"]);
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        assert!(lines.next().unwrap().is_ok());
        drop(lines);
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0));
        assert_eq!(text(&output.stderr), "");
    }
}

#[test]
fn a_clip_that_is_cut_part_way_prints_what_was_counted_and_exits_1() {
    let data = tempfile::tempdir().unwrap();
    let clip = data.path().join("practice.y4m");
    let clip_words = clip.to_str().unwrap();
    let drawn = run(
        data.path(),
        &["draw", clip_words, "--demo", DEMO, "--for", "9"],
    );
    assert!(drawn.status.success(), "{}", text(&drawn.stderr));
    let whole = run(data.path(), &["tally", "--json", clip_words]);
    assert_eq!(whole.status.code(), Some(0), "{}", text(&whole.stderr));
    let whole: Value = serde_json::from_slice(&whole.stdout).unwrap();
    assert_eq!(whole["frames"], 270);
    assert_eq!(whole["duration_s"], 9.0);
    assert_eq!(whole["damaged"], Value::Null);
    assert_eq!(whole["px_per_mm"], Value::Null);
    for key in ["clip", "glasses", "blind"] {
        assert!(!whole[key].is_null(), "{key}");
    }
    let glass = &whole["glasses"][0];
    assert_eq!(glass["feed"], "1");
    assert_eq!(glass["kind"], "tube");
    for key in ["x", "y", "width", "height", "angle_deg"] {
        assert!(glass["outline"][key].is_number(), "{key}");
    }
    assert!(glass["state"].is_string());
    assert!(glass["doubts"].is_array());
    assert!(glass["beads"].as_array().unwrap().len() >= 2);
    // Again: byte for byte the same.
    let again = run(data.path(), &["tally", "--json", clip_words]);
    assert_eq!(
        serde_json::from_slice::<Value>(&again.stdout).unwrap(),
        whole
    );

    // Cut within the last frames.
    let length = std::fs::metadata(&clip).unwrap().len();
    std::fs::File::options()
        .write(true)
        .open(&clip)
        .unwrap()
        .set_len(length * 8 / 9 - 1000)
        .unwrap();
    let cut = run(data.path(), &["tally", "--json", clip_words]);
    assert_eq!(cut.status.code(), Some(1));
    let stderr = text(&cut.stderr);
    assert!(
        stderr.starts_with("beadtally: the clip could not be read to its end"),
        "{stderr}"
    );
    let cut: Value = serde_json::from_slice(&cut.stdout).unwrap();
    assert_eq!(cut["frames"], 239);
    assert!(cut["damaged"].is_string());
    assert_eq!(cut["glasses"].as_array().unwrap().len(), 2);
    println!("{stderr}");
}

#[test]
fn several_clips_are_counted_side_by_side_and_printed_in_order() {
    let data = tempfile::tempdir().unwrap();
    let demos = [
        "demo:feeds=1,rates=40,seed=2",
        "demo:feeds=1,rates=30,seed=3",
    ];
    let words = ["tally", "--for", "4", "--json", "--glass-mm", "17"];
    let alone: Vec<serde_json::Value> = demos
        .iter()
        .map(|demo| {
            let output = run(data.path(), &[&words[..], &[*demo][..]].concat());
            assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
            serde_json::from_slice(&output.stdout).unwrap()
        })
        .collect();
    let output = run(data.path(), &[&words[..], &demos[..]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let together: Vec<serde_json::Value> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(together, alone);
    // One that cannot be read is complained about by name, and the others are counted.
    let output = run(
        data.path(),
        &[
            "tally",
            "--for",
            "2",
            demos[0],
            "no-such-clip.mp4",
            demos[1],
        ],
    );
    assert_eq!(output.status.code(), Some(1));
    let stderr = text(&output.stderr);
    assert!(stderr.contains("no-such-clip.mp4"), "{stderr}");
    let stdout = text(&output.stdout);
    let at = |words: &str| stdout.find(words).unwrap();
    assert!(at(demos[0]) < at(demos[1]), "{stdout}");
    // What belongs to one clip is refused for several.
    let marked = ["tally", "--for", "5", "--mark", "2:x", demos[0], demos[1]];
    assert_refused(&run(data.path(), &marked), "one clip");
}
