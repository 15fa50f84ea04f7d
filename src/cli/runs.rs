//! `beadtally runs`: lists the runs in the logbook, and repairs a damaged one.

use std::path::{Path, PathBuf};

use anyhow::Context;
use jiff::tz::TimeZone;
use serde::Serialize;

use crate::run::logbook::read::iso;
use crate::run::logbook::repair::{Repaired, repair};
use crate::run::logbook::{self, Ending, LogbookError, LogbookReader, RunSummary};
use crate::run::tally::rounded;

use super::args::RunsArgs;
use super::code;
use super::out::Out;

/// A run as programs read it.
#[derive(Serialize)]
struct RunLine<'a> {
    run: i64,
    title: &'a str,
    source: &'a str,
    started: String,
    ended: Option<String>,
    last_record: String,
    length_s: f64,
    ending: &'static str,
    feeds: u64,
    drops: u64,
    bubbles: u64,
    program_version: &'a str,
}

/// The logbook meant: the given one, or the usual one.
///
/// # Errors
/// [`LogbookError::NoFolder`].
pub fn meant(given: Option<&Path>) -> Result<PathBuf, LogbookError> {
    given.map_or_else(logbook::default_path, |path| Ok(path.to_path_buf()))
}

/// The run meant by its number or by `last`.
///
/// # Errors
/// A sentence: no such words, no run yet.
pub fn run_meant(reader: &LogbookReader, words: &str) -> anyhow::Result<i64> {
    if words == "last" {
        return Ok(reader.newest_run()?);
    }
    words.parse().with_context(|| {
        format!("{words:?} is no run; give its number as `beadtally runs` shows it, or `last`")
    })
}

/// Lists the runs, or repairs the logbook.
///
/// # Errors
/// A sentence: the logbook is missing, damaged, locked, or of another version.
pub fn run(args: &RunsArgs, given: Option<&Path>) -> anyhow::Result<u8> {
    let path = meant(given)?;
    let mut out = Out::new();
    if args.repair {
        out.line(&match repair(&path)? {
            Repaired::WasWhole => format!("the logbook {} is whole", path.display()),
            Repaired::Saved { rows, kept } => format!(
                "saved {rows} records into a new logbook {}; the damaged one is kept as {}",
                path.display(),
                kept.display()
            ),
        })?;
        return Ok(code::DONE);
    }
    let runs = match LogbookReader::open(&path) {
        Ok(reader) => reader.runs()?,
        // A usual logbook that nobody has written yet is an empty one.
        Err(LogbookError::Missing { .. }) if given.is_none() => Vec::new(),
        Err(error) => return Err(error.into()),
    };
    let zone = TimeZone::system();
    if args.json {
        let lines: Vec<RunLine<'_>> = runs.iter().map(|run| json(run, &zone)).collect();
        out.json(&lines)?;
    } else if runs.is_empty() {
        out.line("no runs yet; `beadtally watch SOURCE` records one")?;
    } else {
        for run in &runs {
            out.line(&words(run, &zone))?;
        }
    }
    Ok(code::DONE)
}

fn json<'a>(run: &'a RunSummary, zone: &TimeZone) -> RunLine<'a> {
    let last_record = iso(run.ended_wall_secs, zone);
    RunLine {
        run: run.run,
        title: &run.title,
        source: &run.source_name,
        started: iso(run.started_wall_secs, zone),
        ended: (run.ending == Ending::Ended).then(|| last_record.clone()),
        last_record,
        length_s: rounded(run.to_secs - run.from_secs, 3),
        ending: run.ending.words(),
        feeds: run.feeds,
        drops: run.drops,
        bubbles: run.bubbles,
        program_version: &run.program_version,
    }
}

fn words(run: &RunSummary, zone: &TimeZone) -> String {
    // To the second, as a clock on the wall shows it.
    let when = |secs| iso(secs, zone).chars().take(19).collect::<String>();
    let ending = match run.ending {
        Ending::Ended => format!("ended {}", when(run.ended_wall_secs)),
        Ending::Recording => "being recorded".to_owned(),
        Ending::CutShort => format!("not ended; last record at {}", when(run.ended_wall_secs)),
    };
    let title = if run.title.is_empty() {
        String::new()
    } else {
        format!("  \"{}\"", run.title.replace(char::is_control, " "))
    };
    format!(
        "{:>4}  {}  {:>8}  {}  {} feeds  {} drops  {ending}{title}",
        run.run,
        when(run.started_wall_secs),
        length_words(run.to_secs - run.from_secs),
        run.source_name.replace(char::is_control, " "),
        run.feeds,
        run.drops,
    )
}

/// `1:02:03`, hours, minutes and seconds.
fn length_words(secs: f64) -> String {
    let secs = secs.max(0.0).round() as u64;
    format!("{}:{:02}:{:02}", secs / 3600, secs / 60 % 60, secs % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_reads_as_a_clock() {
        assert_eq!(length_words(3723.4), "1:02:03");
        assert_eq!(length_words(-1.0), "0:00:00");
    }
}
