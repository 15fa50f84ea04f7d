//! A small logbook with a record of every kind, as bytes: written by the program's own tables, then
//! once more with tables that take anything, as a file made by somebody else may have.

use std::path::Path;
use std::sync::OnceLock;

use beadtally::run::logbook::{Logbook, schema};
use rusqlite::Connection;
use rusqlite::types::Value;

/// Records of each kind.
const ROWS: i64 = 6;
/// Bytes of a page: the smallest there may be, so that damage to one is damage to little.
const PAGE_BYTES: i64 = 512;
/// The smallest whole PNG there is: one grey pixel.
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0\x3a\x7e\x9b\x55\
    \0\0\0\nIDATx\x9cc`\0\0\0\x02\0\x01\x48\xaf\xa4\x71\0\0\0\0IEND\xae\x42\x60\x82";

/// The logbook as the program writes it.
pub fn honest() -> &'static [u8] {
    static BYTES: OnceLock<Vec<u8>> = OnceLock::new();
    BYTES.get_or_init(|| made(|_| {}))
}

/// The same with tables that take anything.
pub fn lax() -> &'static [u8] {
    static BYTES: OnceLock<Vec<u8>> = OnceLock::new();
    BYTES.get_or_init(|| {
        made(|book| {
            book.execute_batch(
                "PRAGMA writable_schema = ON;
                 UPDATE sqlite_schema SET sql = replace(sql, ') STRICT', ')');
                 UPDATE sqlite_schema SET sql = replace(sql, 'NOT NULL', '');",
            )
            .expect("the tables are made lax");
        })
    })
}

fn made(change: impl FnOnce(&Connection)) -> Vec<u8> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("logbook.sqlite3");
    let book = Connection::open(&path).expect("a new file");
    book.pragma_update(None, "page_size", PAGE_BYTES)
        .expect("a page size");
    book.execute_batch("VACUUM").expect("an empty file");
    drop(book);
    drop(Logbook::open(&path).expect("a logbook"));
    let book = Connection::open(&path).expect("the logbook");
    for table in schema::TABLES {
        fill(&book, table);
    }
    change(&book);
    // One file without companions.
    book.pragma_update_and_check(None, "journal_mode", "DELETE", |_| Ok(()))
        .expect("one file");
    drop(book);
    std::fs::read(path).expect("the logbook is there")
}

/// Table and columns, in order.
pub fn columns(book: &Connection, table: &str) -> Vec<String> {
    let mut select = book
        .prepare("SELECT name FROM pragma_table_info(?1) ORDER BY cid")
        .expect("the table is there");
    let names = select.query_map([table], |row| row.get(0));
    names
        .expect("its columns are told")
        .map(|name| name.expect("a name"))
        .collect()
}

fn fill(book: &Connection, table: &str) {
    let columns = columns(book, table);
    let places = vec!["?"; columns.len()].join(", ");
    let rows = match table {
        "runs" => 1,
        "feeds" => 2,
        _ => ROWS,
    };
    let mut insert = book
        .prepare(&format!("INSERT INTO {table} VALUES ({places})"))
        .expect("the table is there");
    for row in 0..rows {
        let values = columns.iter().map(|column| value(table, column, row));
        insert
            .execute(rusqlite::params_from_iter(values))
            .expect("the tables take a plain record");
    }
}

/// A plain value for a column.
fn value(table: &str, column: &str, row: i64) -> Value {
    let text = |words: &str| Value::Text(words.to_owned());
    match (table, column) {
        (_, "run_id" | "matched" | "is_live") => Value::Integer(1),
        (_, "sequence") => Value::Integer(row),
        ("feeds", "feed") => Value::Integer(row + 1),
        (_, "feed") => Value::Integer(1 + row % 2),
        (_, "width_px" | "height_px") => Value::Integer(480),
        (_, "is_shut") => Value::Integer(i64::from(row == 3)),
        (_, "priority" | "drops" | "missed_by_tool" | "missed_by_person" | "left_out") => {
            Value::Integer(2)
        }
        (_, "kind") => text(if row == 5 { "gas" } else { "oil" }),
        (_, "glass_kind") => text("tube"),
        (_, "ending") => text("ended"),
        (_, "state") => text("in band"),
        (_, "began") => text(["mark", "stop", "change"][row as usize % 3]),
        (_, "cause") => text("low"),
        (_, "words") => text("valve 1 a quarter turn open"),
        (_, "picture_png") => Value::Blob(PNG.to_vec()),
        (_, "calibration_toml") => {
            text(include_str!("../../calibration/two-tubes-stationary.toml"))
        }
        (
            _,
            "key" | "title" | "source_name" | "source_identity" | "started_wall"
            | "program_version" | "name" | "doubts" | "happened" | "by_whom" | "why" | "agreement",
        ) => text("bench"),
        ("runs", "from_secs") => Value::Real(0.0),
        ("runs", "to_secs" | "last_secs") => Value::Real(200.0),
        ("runs", _) => Value::Real(1_000_000.0),
        (_, "low_per_minute") => Value::Real(2.0),
        (_, "high_per_minute") => Value::Real(3.0),
        (_, "at_secs" | "from_secs") => Value::Real(5.0 + 25.0 * row as f64),
        (_, "to_secs" | "until_secs" | "settled_at_secs") => Value::Real(7.0 + 25.0 * row as f64),
        _ => Value::Real(2.5),
    }
}

/// Puts a logbook of these bytes at the path.
pub fn put(bytes: &[u8], path: &Path) {
    std::fs::write(path, bytes).expect("a temporary file");
}
