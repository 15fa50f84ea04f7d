//! A run as CSV files for spreadsheets: units in the headings, times in ISO 8601 beside source
//! seconds, words that cannot act as formulas. It reads no database and judges nothing.

use std::io::Write;
use std::path::{Path, PathBuf};

use csv::Writer;
use jiff::tz::TimeZone;
use tempfile::NamedTempFile;

use crate::run::Moved;
use crate::run::logbook::read::{MarkRow, RunContents, iso};

/// Letters that make a spreadsheet take a cell for a formula when it begins with one.
const FORMULA_STARTS: [char; 10] = ['=', '+', '-', '@', '\t', '\r', '＝', '＋', '－', '＠'];

/// Why the files could not be written.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// A folder or file cannot be written.
    #[error("{} cannot be written: {source}; choose a folder that you may write to", path.display())]
    Write {
        /// The folder or file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

/// A word for a cell of a spreadsheet: what would act as a formula gets an apostrophe before it,
/// which makes it text.
///
/// ```
/// use beadtally::run::export::harmless;
/// assert_eq!(harmless("=1+1"), "'=1+1");
/// assert_eq!(harmless("valve 1 opened"), "valve 1 opened");
/// ```
#[must_use]
pub fn harmless(words: &str) -> String {
    let start = words.trim_start_matches([' ', '\n']);
    if start.starts_with(FORMULA_STARTS) {
        format!("'{words}")
    } else {
        words.to_owned()
    }
}

/// A table: the name of its file, and its rows with the headings first.
pub type Table = (&'static str, Vec<Vec<String>>);

/// The records of a run as tables: `run.csv`, `drops.csv`, `readings.csv`, `as_found.csv`,
/// `alarms.csv`, `marks.csv`, `blind.csv` and `gaps.csv`.
#[must_use]
pub fn tables(run: &RunContents, zone: &TimeZone) -> Vec<Table> {
    vec![
        ("run.csv", run_table(run, zone)),
        ("drops.csv", drops_table(run, zone)),
        ("readings.csv", readings_table(run, zone)),
        ("as_found.csv", as_found_table(run, zone)),
        ("alarms.csv", alarms_table(run, zone)),
        ("marks.csv", marks_table(run, zone)),
        ("blind.csv", blind_table(run, zone)),
        ("gaps.csv", gaps_table(run, zone)),
    ]
}

/// Writes the tables of a run into a folder; see [`tables`] and [`write_tables`].
///
/// # Errors
/// [`ExportError`] naming the file.
pub fn export(
    run: &RunContents,
    folder: &Path,
    zone: &TimeZone,
) -> Result<Vec<PathBuf>, ExportError> {
    write_tables(&tables(run, zone), folder)
}

/// Writes tables into a folder, made when missing. Each file is whole or not there: it is written
/// under another name first. Nothing outside the folder is touched, and a link in it is replaced,
/// not followed. Gives the paths of the files.
///
/// # Errors
/// [`ExportError`] naming the file.
pub fn write_tables(tables: &[Table], folder: &Path) -> Result<Vec<PathBuf>, ExportError> {
    std::fs::create_dir_all(folder).map_err(|source| ExportError::Write {
        path: folder.to_path_buf(),
        source,
    })?;
    tables
        .iter()
        .map(|(name, rows)| {
            let path = folder.join(name);
            write_table(&path, rows)?;
            Ok(path)
        })
        .collect()
}

/// Writes one table as one file.
///
/// # Errors
/// [`ExportError`] naming the file.
pub fn write_table(path: &Path, rows: &[Vec<String>]) -> Result<(), ExportError> {
    write_whole(path, |file| {
        let mut writer = Writer::from_writer(file);
        for row in rows {
            // The one door to a spreadsheet: whatever the cell was made of, only a number may begin
            // as a formula does.
            writer.write_record(row.iter().map(|cell| match cell.parse::<f64>() {
                Ok(_) => cell.clone(),
                Err(_) => harmless(cell),
            }))?;
        }
        writer.flush()
    })
}

/// Writes a file under another name beside its place and then gives it its own, so that it is whole
/// or not there. A link is replaced, not followed.
///
/// # Errors
/// [`ExportError`] naming the file.
pub fn write_whole(
    path: &Path,
    body: impl FnOnce(&mut NamedTempFile) -> std::io::Result<()>,
) -> Result<(), ExportError> {
    let write = || -> std::io::Result<()> {
        let mut file = begin(path, "")?;
        body(&mut file)?;
        file.flush()?;
        put_in_place(file, path)
    };
    write().map_err(|source| ExportError::Write {
        path: path.to_path_buf(),
        source,
    })
}

/// Begins a file that is to stand at a path: one of another name in the same folder, which ends as
/// told. It is gone again unless [`put_in_place`] gets it.
///
/// # Errors
/// When nothing can be written in that folder.
pub fn begin(path: &Path, ending: &str) -> std::io::Result<NamedTempFile> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    tempfile::Builder::new()
        .prefix(".beadtally-")
        .suffix(ending)
        .tempfile_in(folder)
}

/// Gives a file that is complete its place. A link that is there is replaced, not followed.
///
/// # Errors
/// When it cannot reach the disk or its place.
pub fn put_in_place(file: NamedTempFile, path: &Path) -> std::io::Result<()> {
    share(&file)?;
    file.as_file().sync_all()?;
    file.persist(path)?;
    Ok(())
}

/// A temporary file is its owner's alone; a file for a spreadsheet is readable like any other.
#[cfg(unix)]
fn share(file: &NamedTempFile) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.as_file()
        .set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
#[expect(
    clippy::unnecessary_wraps,
    reason = "the same shape as on other systems"
)]
fn share(_file: &NamedTempFile) -> std::io::Result<()> {
    Ok(())
}

/// Cells of words.
pub(crate) fn row(cells: &[&str]) -> Vec<String> {
    cells.iter().map(|cell| (*cell).to_owned()).collect()
}

/// A number with so many decimals, without a point when they are none; empty for none.
pub(crate) fn number(value: impl Into<Option<f64>>, decimals: usize) -> String {
    value
        .into()
        .map_or_else(String::new, |value| format!("{value:.decimals$}"))
}

fn whole(value: Option<i64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

fn run_table(run: &RunContents, zone: &TimeZone) -> Vec<Vec<String>> {
    let head = &run.summary;
    let mut rows = vec![row(&["what", "value"])];
    let mut put = |what: &str, value: String| rows.push(vec![what.to_owned(), value]);
    put("run", head.run.to_string());
    put("title", harmless(&head.title));
    put("source", harmless(&head.source_name));
    put("camera identity", harmless(&head.source_identity));
    put("picture width (px)", head.size_px.0.to_string());
    put("picture height (px)", head.size_px.1.to_string());
    put("started", iso(head.started_wall_secs, zone));
    put("last record", iso(head.ended_wall_secs, zone));
    put(
        "source in real time",
        match head.is_live {
            Some(true) => "yes",
            Some(false) => "no",
            None => "",
        }
        .to_owned(),
    );
    put("ending", head.ending.words().to_owned());
    put("from (s)", number(head.from_secs, 3));
    put("to (s)", number(head.to_secs, 3));
    put("beadtally version", harmless(&head.program_version));
    put("drops", head.drops.to_string());
    put("bubbles", head.bubbles.to_string());
    for feed in &run.feeds {
        let name = |what: &str| format!("feed {} {what}", feed.feed);
        put(&name("name"), harmless(&feed.name));
        put(&name("glass"), feed.glass_kind.clone());
        put(
            &name("low limit (drops/min)"),
            number(feed.band_per_minute.0, 3),
        );
        put(
            &name("high limit (drops/min)"),
            number(feed.band_per_minute.1, 3),
        );
        put(&name("scale (px/mm)"), number(feed.px_per_mm, 3));
    }
    rows
}

fn drops_table(run: &RunContents, zone: &TimeZone) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "time (s)",
        "time of day",
        "kind",
        "rise speed (mm/s)",
        "diameter (mm)",
        "rise speed (px/s)",
        "height (px)",
        "confidence (0 to 1)",
        "settled (s)",
        "picture kept",
    ])];
    for drop in &run.drops {
        rows.push(vec![
            drop.feed.to_string(),
            number(drop.at_secs, 3),
            iso(drop.wall_secs, zone),
            drop.kind.clone(),
            number(drop.rise_mm_per_s, 1),
            number(drop.diameter_mm, 2),
            number(drop.rise_px_per_s, 1),
            number(drop.height_px, 1),
            number(drop.confidence, 3),
            number(drop.settled_at_secs, 3),
            if drop.has_picture { "yes" } else { "no" }.to_owned(),
        ]);
    }
    rows
}

fn readings_table(run: &RunContents, zone: &TimeZone) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "time (s)",
        "time of day",
        "rate (drops/min)",
        "lower 95 % limit (drops/min)",
        "upper 95 % limit (drops/min)",
        "scatter of intervals (sd/mean)",
        "drops",
        "state",
        "doubts",
    ])];
    for reading in &run.readings {
        let rate = reading.rate_per_minute;
        rows.push(vec![
            reading.feed.to_string(),
            number(reading.at_secs, 3),
            iso(reading.wall_secs, zone),
            number(rate.map(|(median, _, _)| median), 3),
            number(rate.map(|(_, low, _)| low), 3),
            number(rate.map(|(_, _, high)| high), 3),
            number(reading.scatter, 3),
            whole(reading.drops),
            reading.state.clone(),
            harmless(&reading.doubts),
        ]);
    }
    rows
}

fn alarms_table(run: &RunContents, zone: &TimeZone) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "time (s)",
        "time of day",
        "cause",
        "priority (1 is the most pressing)",
        "what happened",
        "by",
        "state",
        "shelved until (s)",
    ])];
    for alarm in &run.alarms {
        rows.push(vec![
            whole(alarm.feed),
            number(alarm.at_secs, 3),
            iso(alarm.wall_secs, zone),
            alarm.cause.clone(),
            whole(alarm.priority),
            alarm.happened.clone().unwrap_or_default(),
            alarm.by_whom.clone().unwrap_or_default(),
            alarm.state.clone(),
            number(alarm.shelved_until_secs, 3),
        ]);
    }
    rows
}

fn marks_table(run: &RunContents, zone: &TimeZone) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "time (s)",
        "time of day",
        "valve opened (turns)",
        "valve shut",
        "words",
    ])];
    for mark in &run.marks {
        rows.push(vec![
            whole(mark.feed),
            number(mark.at_secs, 3),
            iso(mark.wall_secs, zone),
            turns(mark),
            if mark.moved == Some(Moved::Shut) {
                "yes"
            } else {
                "no"
            }
            .to_owned(),
            harmless(&mark.words),
        ]);
    }
    rows
}

/// By how many turns a mark says that a valve was opened; a number, so that `-0.25` stays one.
fn turns(mark: &MarkRow) -> String {
    number(mark.moved.and_then(Moved::turns), 3)
}

fn as_found_table(run: &RunContents, zone: &TimeZone) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "time (s)",
        "time of day",
        "reading from (s)",
        "reading until (s)",
        "rate (drops/min)",
        "lower 95 % limit (drops/min)",
        "upper 95 % limit (drops/min)",
        "scatter of intervals (sd/mean)",
        "drops",
        "state",
        "new reading because of",
        "words",
        "rate before a change (drops/min)",
        "rate after a change (drops/min)",
    ])];
    for found in &run.as_found {
        let rate = found.rate_per_minute;
        rows.push(vec![
            found.feed.to_string(),
            number(found.at_secs, 3),
            iso(found.wall_secs, zone),
            number(found.from_secs, 3),
            number(found.until_secs, 3),
            number(rate.map(|(median, _, _)| median), 3),
            number(rate.map(|(_, low, _)| low), 3),
            number(rate.map(|(_, _, high)| high), 3),
            number(found.scatter, 3),
            whole(found.drops),
            found.state.clone(),
            found.began.clone(),
            harmless(&found.words),
            number(found.change_per_minute.map(|(before, _)| before), 3),
            number(found.change_per_minute.map(|(_, after)| after), 3),
        ]);
    }
    rows
}

fn blind_table(run: &RunContents, zone: &TimeZone) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "from (s)",
        "to (s)",
        "time of day at the end",
        "why",
    ])];
    for spell in &run.blind {
        rows.push(vec![
            spell
                .feed
                .map_or_else(|| "all".to_owned(), |feed| feed.to_string()),
            number(spell.from_secs, 3),
            number(spell.to_secs, 3),
            iso(spell.wall_secs, zone),
            harmless(&spell.why),
        ]);
    }
    rows
}

fn gaps_table(run: &RunContents, zone: &TimeZone) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "from (s)",
        "to (s)",
        "time of day at the end",
        "why",
    ])];
    for gap in &run.gaps {
        rows.push(vec![
            number(gap.from_secs, 3),
            number(gap.to_secs, 3),
            iso(gap.wall_secs, zone),
            harmless(&gap.why),
        ]);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_a_spreadsheet_would_run_stays_as_it_is() {
        for words in [
            "=cmd|' /C calc'!A0",
            "+1",
            "-1",
            "@SUM(A1)",
            "\t=1",
            "\r=1",
            " =1",
            "\n=1",
            "＝1",
        ] {
            assert!(harmless(words).starts_with('\''), "{words:?}");
        }
        for words in ["", "left", "valve 1 = open", "2-3"] {
            assert_eq!(harmless(words), words);
        }
    }
}
