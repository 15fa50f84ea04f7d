//! The command itself: how soon it is there, and how much memory it takes.

use std::path::Path;
use std::process::{Command, Stdio};

use beadtally::base::{Clock, SystemClock};

use super::sheet::{Figure, Sheet, median};

/// Starts; the median counts.
const STARTS: usize = 15;

/// Peak memory of a command, MB, and its output's size; looks at it while it runs.
fn peak_mb(program: &str, words: &[&str], clock: &SystemClock) -> Result<(f64, f64), String> {
    let mut child = Command::new(program)
        .args(words)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| error.to_string())?;
    let status = format!("/proc/{}/status", child.id());
    let (mut peak, mut last) = (f64::NAN, f64::NAN);
    while child
        .try_wait()
        .map_err(|error| error.to_string())?
        .is_none()
    {
        let told = std::fs::read_to_string(&status).unwrap_or_default();
        let of = |key: &str| {
            told.lines()
                .find(|line| line.starts_with(key))
                .and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok())
                .map(|kib| kib / 1024.0)
        };
        peak = of("VmHWM").unwrap_or(peak);
        last = of("VmRSS").unwrap_or(last);
        clock.wait_secs(0.05);
    }
    Ok((peak, last))
}

/// Measures start-up and memory.
///
/// # Errors
/// A sentence.
pub fn all(seconds: u32, sheet: &mut Sheet) -> Result<(), String> {
    let program = env!("CARGO_BIN_EXE_beadtally");
    let clock = SystemClock::new();
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let empty = folder.path().join("none.sqlite3");
    let empty = empty.to_string_lossy();
    for words in [
        &["--version"][..],
        &["man"][..],
        &["--logbook", &empty, "runs"][..],
    ] {
        let mut times = Vec::new();
        for _ in 0..STARTS {
            let from = clock.monotonic_secs();
            Command::new(program)
                .args(words)
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status()
                .map_err(|error| error.to_string())?;
            times.push(clock.monotonic_secs() - from);
        }
        sheet.tell(Figure {
            part: "program",
            what: format!("from start to end of `{}`", words.last().unwrap_or(&"")),
            value: median(times) * 1e3,
            unit: "ms",
            floor: None,
        });
    }
    let calibration = folder.path().join("c.toml");
    for (size, known) in [
        ("640x480", true),
        ("640x480", false),
        ("1920x1080", true),
        ("1920x1080", false),
    ] {
        let demo = format!("demo:feeds=3,size={size},seed=5");
        let for_secs = seconds.to_string();
        let mut words = vec!["watch", &demo, "--for", &for_secs, "--no-run"];
        let file = known_outlines(&demo, &calibration)?;
        if known {
            words.extend(["--calibration", &file]);
        }
        let (peak, last) = peak_mb(program, &words, &clock)?;
        let outlines = if known { "known" } else { "sought" };
        for (what, value) in [("most", peak), ("at the end", last)] {
            sheet.tell(Figure {
                part: "program",
                what: format!(
                    "memory, demo {size} watched {seconds} s, outlines {outlines}: {what}"
                ),
                value,
                unit: "MB",
                floor: None,
            });
        }
    }
    Ok(())
}

/// Writes the true outlines of a demo into a file.
fn known_outlines(demo: &str, file: &Path) -> Result<String, String> {
    let source = beadtally::capture::demo::DemoSource::from_words(demo)
        .map_err(|error| error.to_string())?;
    super::true_outlines::calibration(&source)
        .write(file)
        .map_err(|error| error.to_string())?;
    Ok(file.to_string_lossy().into_owned())
}
