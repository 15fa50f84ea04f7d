//! Saving what can be read of a damaged logbook into a new one. The damaged file is kept.

use std::path::{Path, PathBuf};

use rusqlite::types::Value;
use rusqlite::{Connection, OpenFlags, params_from_iter};

use super::{Logbook, LogbookError, schema};

/// What repairing came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Repaired {
    /// Nothing was wrong; nothing was changed.
    WasWhole,
    /// A new logbook stands in the place of the damaged one.
    Saved {
        /// Records saved.
        rows: u64,
        /// Where the damaged file is now.
        kept: PathBuf,
    },
}

/// Checks a logbook thoroughly; when it is damaged, saves what can be read.
///
/// # Errors
/// [`LogbookError::Missing`], [`LogbookError::Locked`] when another program uses it, and what
/// keeps the new file from being written.
pub fn repair(path: &Path) -> Result<Repaired, LogbookError> {
    if !path.exists() {
        return Err(LogbookError::Missing {
            path: path.to_path_buf(),
        });
    }
    if is_whole(path)? {
        return Ok(Repaired::WasWhole);
    }
    if super::guard::is_recording(path) {
        return Err(LogbookError::Locked {
            path: path.to_path_buf(),
        });
    }
    let new = beside(path, "saving");
    remove_with_companions(&new)?;
    // Opened and closed for its tables alone.
    drop(Logbook::open(&new)?);
    let rows = save(path, &new)?;
    let kept = free_name(path);
    let moved = |from: &Path, to: &Path| {
        std::fs::rename(from, to).map_err(|error| LogbookError::CannotOpen {
            path: from.to_path_buf(),
            cause: error.to_string(),
        })
    };
    for companion in ["-wal", "-shm"] {
        let from = with_suffix(path, companion);
        if from.exists() {
            moved(&from, &with_suffix(&kept, companion))?;
        }
    }
    moved(path, &kept)?;
    moved(&new, path)?;
    remove_with_companions(&new)?;
    Ok(Repaired::Saved { rows, kept })
}

/// Whether SQLite finds nothing wrong in all of the file.
fn is_whole(path: &Path) -> Result<bool, LogbookError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let verdict = || -> Result<bool, LogbookError> {
        let told = |error| LogbookError::from_sqlite(path, error);
        let connection = Connection::open_with_flags(path, flags).map_err(told)?;
        schema::kind(path, &connection)?;
        let verdict: String = connection
            .query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))
            .map_err(told)?;
        Ok(verdict == "ok")
    };
    match verdict() {
        Ok(whole) => Ok(whole),
        Err(LogbookError::Damaged { .. }) => Ok(false),
        // A file whose very head is gone is a damaged logbook when its name says that it was one.
        Err(LogbookError::NotALogbook { .. }) if is_named_logbook(path) => Ok(false),
        Err(error) => Err(error),
    }
}

fn is_named_logbook(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending == "sqlite3")
}

/// Copies table by table, from the start until the damage and from the end back to it.
fn save(from: &Path, to: &Path) -> Result<u64, LogbookError> {
    let told = |error| LogbookError::from_sqlite(to, error);
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let Ok(damaged) = Connection::open_with_flags(from, flags) else {
        return Ok(0);
    };
    let mut new = Connection::open(to).map_err(told)?;
    // A child whose parent is lost is saved all the same.
    new.pragma_update(None, "foreign_keys", false)
        .map_err(told)?;
    let transaction = new.transaction().map_err(told)?;
    let mut rows = 0;
    for table in schema::TABLES {
        for order in ["ASC", "DESC"] {
            rows += copy_table(&damaged, &transaction, table, order).map_err(told)?;
        }
    }
    transaction.commit().map_err(told)?;
    Ok(rows)
}

/// Copies rows in one direction until the first that cannot be read; an error is the new file's.
fn copy_table(
    damaged: &Connection,
    new: &Connection,
    table: &str,
    order: &str,
) -> rusqlite::Result<u64> {
    let Ok(mut select) = damaged.prepare(&format!(
        "SELECT * FROM {table} NOT INDEXED ORDER BY rowid {order}"
    )) else {
        return Ok(0);
    };
    // By their names: an older logbook has fewer.
    let columns = select.column_count();
    let names = select.column_names().collect::<Vec<_>>().join(", ");
    let places = vec!["?"; columns].join(", ");
    // Columns that the new tables do not know are part of the damage.
    let Ok(mut insert) = new.prepare(&format!(
        "INSERT OR IGNORE INTO {table} ({names}) VALUES ({places})"
    )) else {
        return Ok(0);
    };
    let Ok(mut rows) = select.query([]) else {
        return Ok(0);
    };
    let mut saved = 0;
    while let Ok(Some(row)) = rows.next() {
        let Ok(values) = (0..columns)
            .map(|column| row.get(column))
            .collect::<rusqlite::Result<Vec<Value>>>()
        else {
            break;
        };
        // What the tables refuse is part of the damage.
        match insert.execute(params_from_iter(values)) {
            Ok(count) => saved += count as u64,
            Err(error) if super::write::is_refusal(&error) => {}
            Err(error) => return Err(error),
        }
    }
    Ok(saved)
}

fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

fn beside(path: &Path, word: &str) -> PathBuf {
    with_suffix(path, &format!(".{word}"))
}

/// A name for the damaged file that nothing has yet.
fn free_name(path: &Path) -> PathBuf {
    let mut name = beside(path, "damaged");
    let mut number = 1_u32;
    while name.exists() {
        number += 1;
        name = beside(path, &format!("damaged-{number}"));
    }
    name
}

fn remove_with_companions(path: &Path) -> Result<(), LogbookError> {
    for suffix in ["", "-wal", "-shm", ".recording"] {
        let file = with_suffix(path, suffix);
        if let Err(error) = std::fs::remove_file(&file)
            && error.kind() != std::io::ErrorKind::NotFound
        {
            return Err(LogbookError::CannotOpen {
                path: file,
                cause: error.to_string(),
            });
        }
    }
    Ok(())
}
