//! Saving what can be read of a damaged logbook into a new one. The damaged file is kept.

use std::path::{Path, PathBuf};

use rusqlite::types::Value;
use rusqlite::{Connection, OpenFlags, params_from_iter};

use super::{Logbook, LogbookError, LogbookReader, schema};

/// Most stretches of a table that are tried: enough for hundreds of damaged pages, and over in
/// seconds when everything is damaged.
const MOST_STRETCHES: u32 = 5_000;

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
    // In a folder of its own that only this person may enter, so that nothing can be put in the
    // way of the new file.
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty());
    let aside = tempfile::Builder::new()
        .prefix(".logbook-repair-")
        .tempdir_in(folder.unwrap_or(Path::new(".")))
        .map_err(|error| LogbookError::CannotOpen {
            path: path.to_path_buf(),
            cause: error.to_string(),
        })?;
    let new = aside.path().join("logbook.sqlite3");
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
        Ok(verdict == "ok" && keeps_its_rules(path)? && can_be_told(path)?)
    };
    match verdict() {
        Ok(whole) => Ok(whole),
        Err(LogbookError::Damaged { .. }) => Ok(false),
        // A file whose very head is gone is a damaged logbook when its name says that it was one.
        Err(LogbookError::NotALogbook { .. }) if is_named_logbook(path) => Ok(false),
        Err(error) => Err(error),
    }
}

/// Whether the records keep the rules of their tables: a connection that may only read does not
/// know them.
fn keeps_its_rules(path: &Path) -> Result<bool, LogbookError> {
    let told = |error| LogbookError::from_sqlite(path, error);
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let verdict: String = Connection::open_with_flags(path, flags)
        .map_err(told)?
        .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
        .map_err(told)?;
    Ok(verdict == "ok")
}

/// Whether every run can be read: a file that is whole for the database may still hold what the
/// tables never took.
fn can_be_told(path: &Path) -> Result<bool, LogbookError> {
    let told = || -> Result<(), LogbookError> {
        let reader = LogbookReader::open(path)?;
        for run in reader.runs()? {
            reader.contents(run.run)?;
            reader.pictures(run.run)?;
        }
        Ok(())
    };
    match told() {
        Ok(()) => Ok(true),
        Err(LogbookError::Damaged { .. } | LogbookError::Other { .. }) => Ok(false),
        Err(error) => Err(error),
    }
}

fn is_named_logbook(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending == "sqlite3")
}

/// Copies table by table what can be read.
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
    // Rows are numbered from 1, and each takes more than a byte.
    let bytes = std::fs::metadata(from).map_or(0, |meta| meta.len());
    let most_rows = i64::try_from(bytes).unwrap_or(i64::MAX);
    for table in schema::TABLES {
        rows += copy_table(&damaged, &transaction, table, most_rows).map_err(told)?;
    }
    transaction.commit().map_err(told)?;
    Ok(rows)
}

/// Which way a stretch of a table is read.
#[derive(Clone, Copy)]
enum Way {
    Up,
    Down,
}

/// How far reading a stretch came.
enum Reached {
    /// To its end.
    End,
    /// To a row that cannot be read, after this one (none when it was the first).
    Damage { after: Option<i64> },
}

/// Copies the rows of a table around all that cannot be read. A stretch is read from below until
/// the damage and from above back to it; what lies between, if there is more than one damage, is
/// tried again in two halves. An error is the new file's.
fn copy_table(
    damaged: &Connection,
    new: &Connection,
    table: &str,
    most_rows: i64,
) -> rusqlite::Result<u64> {
    let mut saved = 0;
    let mut stretches = vec![(i64::MIN, i64::MAX)];
    let mut tries = 0;
    while let Some((from, to)) = stretches.pop() {
        tries += 1;
        if from > to || tries > MOST_STRETCHES {
            continue;
        }
        let (rows, below) = copy_stretch(damaged, new, table, (from, to), Way::Up)?;
        saved += rows;
        let Reached::Damage { after: below } = below else {
            continue;
        };
        let (rows, above) = copy_stretch(damaged, new, table, (from, to), Way::Down)?;
        saved += rows;
        let Reached::Damage { after: above } = above else {
            continue;
        };
        // The first that cannot be read lies just beyond what was read.
        let (from, to) = (
            below.map_or(from.max(1), after),
            above.map_or(to.min(most_rows), before),
        );
        if from >= to {
            continue;
        }
        let middle = from.midpoint(to);
        stretches.push((after(middle), to));
        stretches.push((from, middle));
    }
    Ok(saved)
}

fn after(row: i64) -> i64 {
    row.saturating_add(1)
}

fn before(row: i64) -> i64 {
    row.saturating_sub(1)
}

/// Copies a stretch of rows one way. Gives how many, and how far it came.
fn copy_stretch(
    damaged: &Connection,
    new: &Connection,
    table: &str,
    (from, to): (i64, i64),
    way: Way,
) -> rusqlite::Result<(u64, Reached)> {
    let order = match way {
        Way::Up => "ASC",
        Way::Down => "DESC",
    };
    let Ok(mut select) = damaged.prepare_cached(&format!(
        "SELECT rowid, * FROM {table} NOT INDEXED WHERE rowid BETWEEN ?1 AND ?2 \
         ORDER BY rowid {order}"
    )) else {
        return Ok((0, Reached::End)); // There is no such table.
    };
    // By their names: an older logbook has fewer.
    let columns = select.column_count();
    let Ok(names) = column_names(damaged, table) else {
        return Ok((0, Reached::End));
    };
    if names.len() + 1 != columns {
        return Ok((0, Reached::End));
    }
    let places = vec!["?"; names.len()].join(", ");
    // Columns that the new tables do not know are part of the damage.
    let Ok(mut insert) = new.prepare_cached(&format!(
        "INSERT OR IGNORE INTO {table} ({}) VALUES ({places})",
        names.join(", ")
    )) else {
        return Ok((0, Reached::End));
    };
    let mut saved = 0;
    let mut last = None;
    let Ok(mut rows) = select.query([from, to]) else {
        return Ok((0, Reached::Damage { after: last }));
    };
    loop {
        let row = match rows.next() {
            Ok(Some(row)) => row,
            Ok(None) => return Ok((saved, Reached::End)),
            Err(_) => return Ok((saved, Reached::Damage { after: last })),
        };
        last = row.get(0).ok().or(last);
        // A row with bytes that are no text is lost, and only that row.
        let values: rusqlite::Result<Vec<Value>> = (1..columns).map(|c| row.get(c)).collect();
        let Ok(values) = values else { continue };
        // What the tables refuse is part of the damage.
        match insert.execute(params_from_iter(values)) {
            Ok(count) => saved += count as u64,
            Err(error) if super::write::is_refusal(&error) => {}
            Err(error) => return Err(error),
        }
    }
}

/// The names of a table's columns; asked for as values, because damage may leave no text of them.
fn column_names(book: &Connection, table: &str) -> rusqlite::Result<Vec<String>> {
    book.prepare_cached("SELECT name FROM pragma_table_info(?1) ORDER BY cid")?
        .query_map([table], |row| row.get(0))?
        .collect()
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
