//! A logbook whose bytes or values are made up: it is listed, read, reported, exported, opened for
//! writing and repaired, or refused with a sentence each time. What comes out of it stays in the
//! folder it was to go to, and no word of it becomes a formula or a tag.

use std::path::Path;

use beadtally::run::export::{export, write_tables};
use beadtally::run::logbook::repair::{Repaired, repair};
use beadtally::run::logbook::{Logbook, LogbookReader, schema};
use beadtally::run::report::{Report, figures, page, sheet, sheet_lines};
use jiff::tz::TimeZone;
use rusqlite::Connection;
use rusqlite::types::Value;

use super::draw::Draw;
use super::{check_sentence, logbook_base};

/// Begins every made-up word, so that it is known again: as a tag, and as a formula.
const TAG: &str = "<q0 ";
const FORMULA: &str = "=q0 ";
/// Most runs that are read.
const MOST_RUNS: usize = 3;

pub fn body(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("logbook.sqlite3");
    let mut draw = Draw::new(bytes);
    match draw.byte() % 4 {
        0 | 1 => {
            logbook_base::put(logbook_base::lax(), &path);
            change_values(&path, &mut draw);
        }
        2 => logbook_base::put(&with_damage(&mut draw), &path),
        _ => logbook_base::put(draw.rest(), &path),
    }
    read_all(&path, folder.path());
    open_and_repair(&path);
}

/// Puts made-up values into the records.
fn change_values(path: &Path, draw: &mut Draw<'_>) {
    let book = Connection::open(path).expect("the logbook");
    book.pragma_update(None, "ignore_check_constraints", true)
        .expect("a known pragma");
    for _ in 0..12 {
        if draw.is_over() {
            return;
        }
        let table = draw.of(schema::TABLES);
        let columns = logbook_base::columns(&book, table);
        let column = &columns[usize::from(draw.byte()) % columns.len()];
        let row = i64::from(draw.byte() % 8);
        let value = match draw.byte() % 8 {
            0 => Value::Null,
            1 => Value::Integer(draw.of(&[0, -1, 1, 2, 65_536, i64::MAX, i64::MIN])),
            2 => Value::Integer(i64::from(draw.u32())),
            3 | 4 => Value::Real(draw.number()),
            5 => Value::Text(format!("{TAG}{}", draw.words())),
            6 => Value::Text(format!("{FORMULA}{}", draw.words())),
            _ => Value::Blob(draw.words().into_bytes()),
        };
        // Some values cannot stand beside others; then nothing is changed.
        let _ = book.execute(
            &format!("UPDATE OR IGNORE {table} SET {column} = ?1 WHERE rowid = ?2 OR ?2 = 0"),
            rusqlite::params![value, row],
        );
    }
}

/// The honest logbook with bytes changed, or cut.
fn with_damage(draw: &mut Draw<'_>) -> Vec<u8> {
    let mut bytes = logbook_base::honest().to_vec();
    while !draw.is_over() {
        let at = draw.u32() as usize % bytes.len();
        match draw.byte() {
            0 => bytes.truncate(at.max(1)),
            1 => {
                let end = (at + usize::from(draw.byte()) * 16).min(bytes.len());
                bytes[at..end].fill(draw.byte());
            }
            other => bytes[at] = other,
        }
    }
    bytes
}

fn read_all(path: &Path, folder: &Path) {
    let reader = match LogbookReader::open(path) {
        Ok(reader) => reader,
        Err(error) => return check_sentence(&error.to_string(), "logbook.sqlite3"),
    };
    let runs = match reader.runs() {
        Ok(runs) => runs,
        Err(error) => return check_sentence(&error.to_string(), "logbook.sqlite3"),
    };
    for run in runs.iter().take(MOST_RUNS) {
        match Report::of_run(&reader, run.run, TimeZone::UTC, 1000.0) {
            Ok(report) => write_out(&report, &folder.join("out")),
            Err(error) => assert!(error.to_string().len() > 20, "{error}"),
        }
    }
}

fn write_out(report: &Report, out: &Path) {
    for html in [page(report), sheet(report)] {
        assert!(!html.contains(TAG), "a word became a tag");
        assert!(!html.contains("NaN<"), "a figure is no number");
    }
    assert!(!sheet_lines(report).is_empty());
    let mut files = export(&report.run, out, &TimeZone::UTC).expect("the folder can be written");
    files.extend(write_tables(&figures::tables(report), out).expect("it can still be written"));
    for file in files {
        assert_eq!(file.parent(), Some(out), "outside the folder");
        let text = std::fs::read_to_string(file).expect("the table was written");
        for cell in text.split([',', '\n', '\r']) {
            assert!(
                !cell.trim_start_matches(['"', ' ']).starts_with(FORMULA),
                "a word became a formula: {cell}"
            );
        }
    }
}

fn open_and_repair(path: &Path) {
    if let Err(error) = Logbook::open(path) {
        check_sentence(&error.to_string(), "logbook.sqlite3");
    }
    match repair(path) {
        Ok(repaired) => {
            if let Repaired::Saved { kept, .. } = &repaired {
                assert!(kept.exists(), "the damaged one is kept");
            }
            if let Err(error) = Logbook::open(path) {
                panic!("{repaired:?}, and then: {error}");
            }
            let reader = LogbookReader::open(path).expect("it opens for writing");
            let runs = reader.runs().expect("a repaired logbook lists its runs");
            for run in runs.iter().take(MOST_RUNS) {
                reader.contents(run.run).expect("and tells them");
            }
        }
        Err(error) => check_sentence(&error.to_string(), "logbook.sqlite3"),
    }
}
