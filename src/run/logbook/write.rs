//! Writing the logbook: opening it for writing, and putting a batch of entries into it in one
//! transaction. Threads and patience belong to `thread.rs`.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags, Transaction, TransactionBehavior, params};

use super::guard::Guard;
use super::put::put_event;
use super::record::{Entry, Item, RunStart};
use super::schema::KeepOld;
use super::{LogbookError, schema};
use crate::glass::Calibration;

/// How long a write waits for another program to let go, milliseconds. Short: the writing thread
/// tries again by itself and closing the program must not take long.
const BUSY_MS: u64 = 400;
/// Files up to this size are checked for damage when they are opened for writing, bytes: about a
/// second's work. Larger ones are checked by `beadtally runs --repair`.
const CHECK_LIMIT_BYTES: u64 = 256 << 20;
/// The same while records are already waiting, bytes: some hundredths of a second, so that a busy
/// computer, too, brings the first of them to the disk within a second. A season of shifts.
const AT_ONCE_LIMIT_BYTES: u64 = 16 << 20;

/// A logbook opened for writing.
#[derive(Debug)]
pub struct Logbook {
    path: PathBuf,
    connection: Connection,
    identity: Option<FileIdentity>,
    /// Held until the logbook is closed.
    _guard: Guard,
}

/// How a batch went.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// Entries that the tables refuse (a time that is no number, an unknown feed): never written.
    pub refused: u64,
    /// Number of the newest run in the batch.
    pub run_id: Option<i64>,
}

impl Logbook {
    /// Opens the logbook for writing; makes it and its folder when missing, brings an older one up
    /// to date, and closes runs that a crash cut short.
    ///
    /// # Errors
    /// A sentence for each way in which a logbook can be unusable.
    pub fn open(path: &Path) -> Result<Self, LogbookError> {
        Self::open_checked(path, CHECK_LIMIT_BYTES)
    }

    /// The same while records are waiting: a large logbook is not looked over first.
    ///
    /// # Errors
    /// As [`Logbook::open`].
    pub fn open_at_once(path: &Path) -> Result<Self, LogbookError> {
        Self::open_checked(path, AT_ONCE_LIMIT_BYTES)
    }

    fn open_checked(path: &Path, limit_bytes: u64) -> Result<Self, LogbookError> {
        let told = |error| LogbookError::from_sqlite(path, error);
        let cannot = |error: std::io::Error| LogbookError::CannotOpen {
            path: path.to_path_buf(),
            cause: error.to_string(),
        };
        if let Some(folder) = path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty())
        {
            std::fs::create_dir_all(folder).map_err(cannot)?;
        }
        if path.is_dir() {
            return Err(LogbookError::CannotOpen {
                path: path.to_path_buf(),
                cause: "it is a folder".to_owned(),
            });
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let mut connection = Connection::open_with_flags(path, flags).map_err(told)?;
        connection
            .busy_timeout(Duration::from_millis(BUSY_MS))
            .map_err(told)?;
        // Before anything is changed: is it ours, and is it whole?
        schema::kind(path, &connection)?;
        check(path, &connection, limit_bytes)?;
        if connection.is_readonly("main").map_err(told)? {
            return Err(LogbookError::ReadOnly {
                path: path.to_path_buf(),
            });
        }
        // WAL lets others read while we write; FULL makes each commit reach the disk, so that a
        // power cut loses no more than a crash does.
        connection
            .pragma_update(None, "journal_mode", "WAL")
            .and_then(|()| connection.pragma_update(None, "synchronous", "FULL"))
            .and_then(|()| connection.pragma_update(None, "foreign_keys", true))
            .and_then(|()| connection.pragma_update(None, "trusted_schema", false))
            .and_then(|()| connection.pragma_update(None, "cell_size_check", true))
            .map_err(told)?;
        schema::bring_up_to_date(path, &mut connection, KeepOld::Yes)?;
        let guard = Guard::enter(path, || close_cut_short(path, &connection))?;
        Ok(Self {
            path: path.to_path_buf(),
            identity: FileIdentity::of(path),
            connection,
            _guard: guard,
        })
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes a batch: all of it or nothing. Writing the same entries again changes nothing.
    ///
    /// # Errors
    /// Whatever keeps the database from writing; then the batch can be given again.
    pub fn write(&mut self, batch: &[Item]) -> Result<Written, LogbookError> {
        if self.identity.is_some() && self.identity != FileIdentity::of(&self.path) {
            return Err(LogbookError::Gone {
                path: self.path.clone(),
            });
        }
        self.write_batch(batch)
            .map_err(|error| LogbookError::from_sqlite(&self.path, error))
    }

    fn write_batch(&mut self, batch: &[Item]) -> rusqlite::Result<Written> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut written = Written::default();
        let mut current: Option<(&RunStart, i64)> = None;
        for item in batch {
            let run_id = match current {
                Some((run, run_id)) if run.key == item.run.key => run_id,
                _ => ensure_run(&transaction, &item.run)?,
            };
            current = Some((&item.run, run_id));
            written.run_id = Some(run_id);
            match put(&transaction, run_id, item) {
                Ok(()) => touch(&transaction, run_id, item)?,
                Err(error) if is_refusal(&error) => {
                    tracing::error!(%error, entry = ?item.entry, "the logbook refuses an entry");
                    written.refused += 1;
                }
                Err(error) => return Err(error),
            }
        }
        transaction.commit()?;
        Ok(written)
    }
}

/// Whether the tables refuse this entry for good, whatever the disk does.
pub(super) fn is_refusal(error: &rusqlite::Error) -> bool {
    matches!(
        error.sqlite_error_code(),
        Some(ErrorCode::ConstraintViolation | ErrorCode::TypeMismatch | ErrorCode::TooBig)
    )
}

/// Looks for damage in a file of reasonable size.
fn check(path: &Path, connection: &Connection, limit_bytes: u64) -> Result<(), LogbookError> {
    let bytes = std::fs::metadata(path).map_or(0, |meta| meta.len());
    if bytes == 0 || bytes > limit_bytes {
        return Ok(());
    }
    let verdict: String = connection
        .query_row("PRAGMA quick_check(1)", [], |row| row.get(0))
        .map_err(|error| LogbookError::from_sqlite(path, error))?;
    if verdict == "ok" {
        Ok(())
    } else {
        Err(LogbookError::Damaged {
            path: path.to_path_buf(),
            detail: verdict.replace('\n', " "),
        })
    }
}

/// Closes the runs of programs that died, at their last record.
fn close_cut_short(path: &Path, connection: &Connection) -> Result<(), LogbookError> {
    connection
        .execute(
            "UPDATE runs SET ending = 'cut short', ended_wall_secs = last_wall_secs, \
             to_secs = last_secs WHERE ending IS NULL",
            [],
        )
        .map(|_| ())
        .map_err(|error| LogbookError::from_sqlite(path, error))
}

/// The run's number; writes its head when it is not there.
fn ensure_run(transaction: &Transaction<'_>, run: &RunStart) -> rusqlite::Result<i64> {
    let known = transaction
        .prepare_cached("SELECT run_id FROM runs WHERE key = ?1")?
        .query_row([&run.key], |row| row.get(0));
    match known {
        Err(rusqlite::Error::QueryReturnedNoRows) => {}
        known => return known,
    }
    transaction
        .prepare_cached(
            "INSERT INTO runs (key, title, source_name, source_identity, width_px, height_px, \
             started_wall, started_wall_secs, from_secs, last_wall_secs, last_secs, \
             program_version, calibration_toml, is_live) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?8, ?9, ?10, ?11, ?12)",
        )?
        .execute(params![
            run.key,
            run.title,
            run.about.name,
            run.about.identity,
            run.about.width,
            run.about.height,
            wall_words(run.started_wall_secs),
            run.started_wall_secs,
            run.from_secs,
            env!("CARGO_PKG_VERSION"),
            run.calibration.to_toml(),
            run.about.live,
        ])?;
    let run_id = transaction.last_insert_rowid();
    put_feeds(transaction, run_id, &run.calibration)?;
    Ok(run_id)
}

/// Names, bands and outlines of the feeds as they are now.
fn put_feeds(
    transaction: &Transaction<'_>,
    run_id: i64,
    calibration: &Calibration,
) -> rusqlite::Result<()> {
    let mut statement = transaction.prepare_cached(
        "INSERT INTO feeds VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12) \
         ON CONFLICT (run_id, feed) DO UPDATE SET name = excluded.name, \
         glass_kind = excluded.glass_kind, low_per_minute = excluded.low_per_minute, \
         high_per_minute = excluded.high_per_minute, px_per_mm = excluded.px_per_mm, \
         outline_centre_x_px = excluded.outline_centre_x_px, \
         outline_centre_y_px = excluded.outline_centre_y_px, \
         outline_width_px = excluded.outline_width_px, \
         outline_height_px = excluded.outline_height_px, \
         outline_angle_deg = excluded.outline_angle_deg",
    )?;
    for (index, feed) in (1_i64..).zip(&calibration.feeds) {
        statement.execute(params![
            run_id,
            index,
            feed.name,
            feed.outline.kind.word(),
            feed.band.low_per_minute,
            feed.band.high_per_minute,
            feed.px_per_mm,
            feed.outline.centre_x_px,
            feed.outline.centre_y_px,
            feed.outline.width_px,
            feed.outline.height_px,
            feed.outline.angle_deg,
        ])?;
    }
    Ok(())
}

/// Writes one entry; an entry that is there already stays as it is.
fn put(transaction: &Transaction<'_>, run_id: i64, item: &Item) -> rusqlite::Result<()> {
    match &item.entry {
        // Told by `ensure_run` and `touch`.
        Entry::Start | Entry::End => Ok(()),
        Entry::Event(event) => put_event(transaction, run_id, item, event),
        Entry::Clock { stepped_secs } => transaction
            .prepare_cached(
                "INSERT INTO clocks VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
            )?
            .execute(params![
                run_id,
                item.sequence,
                item.at_secs,
                item.wall_secs,
                stepped_secs
            ])
            .map(|_| ()),
        Entry::Calibration(calibration) => {
            put_feeds(transaction, run_id, calibration)?;
            transaction
                .prepare_cached(
                    "INSERT INTO calibrations VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
                )?
                .execute(params![
                    run_id,
                    item.sequence,
                    item.at_secs,
                    item.wall_secs,
                    calibration.to_toml()
                ])
                .map(|_| ())
        }
    }
}

/// Moves the run's last record on, and its end with it.
fn touch(transaction: &Transaction<'_>, run_id: i64, item: &Item) -> rusqlite::Result<()> {
    if matches!(item.entry, Entry::End) {
        transaction
            .prepare_cached(
                "UPDATE runs SET ending = 'ended', ended_wall_secs = ?2, to_secs = ?3, \
                 last_wall_secs = ?2, last_secs = max(last_secs, ?3) WHERE run_id = ?1",
            )?
            .execute(params![run_id, item.wall_secs, item.at_secs])?;
    } else {
        // A run that someone took for cut short while it goes on is open again.
        transaction
            .prepare_cached(
                "UPDATE runs SET last_wall_secs = ?2, last_secs = max(last_secs, ?3), \
                 ending = NULL, ended_wall_secs = NULL, to_secs = NULL \
                 WHERE run_id = ?1 AND ending IS NOT 'ended'",
            )?
            .execute(params![run_id, item.wall_secs, item.at_secs])?;
    }
    Ok(())
}

/// Wall time as people read it, with the offset of this computer's time zone; the bare seconds
/// when it is no time that a calendar knows.
#[must_use]
pub fn wall_words(wall_secs: f64) -> String {
    super::read::iso(wall_secs, &jiff::tz::TimeZone::system())
}

/// Tells whether the file under an open logbook is still the one at its path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct FileIdentity {
    device: u64,
    node: u64,
}

impl FileIdentity {
    #[cfg(unix)]
    fn of(path: &Path) -> Option<Self> {
        use std::os::unix::fs::MetadataExt;
        let meta = std::fs::metadata(path).ok()?;
        Some(Self {
            device: meta.dev(),
            node: meta.ino(),
        })
    }

    /// Elsewhere an open file cannot be moved or deleted.
    #[cfg(not(unix))]
    fn of(_path: &Path) -> Option<Self> {
        None
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::base::{FeedNumber, GlassKind};
    use crate::capture::About;
    use crate::glass::{FeedCalibration, Outline};
    use crate::run::Event;

    fn marks(count: i64) -> Vec<Item> {
        let about = About {
            name: "invented".to_owned(),
            identity: String::new(),
            width: 640,
            height: 480,
            frames_per_second: None,
            frames: None,
            live: true,
        };
        let calibration = Calibration {
            picture_width_px: 640,
            picture_height_px: 480,
            camera_identity: None,
            oil: crate::glass::OilData::default(),
            feeds: vec![FeedCalibration::new(Outline::upright(
                GlassKind::Tube,
                0.0,
                0.0,
                60.0,
                200.0,
            ))],
        };
        let run = RunStart::new(String::new(), about, 0.0, 0.0, Arc::new(calibration));
        let run = Arc::new(run);
        (0..count)
            .map(|sequence| Item {
                run: Arc::clone(&run),
                sequence,
                at_secs: sequence as f64,
                wall_secs: sequence as f64,
                entry: Entry::Event(Arc::new(Event::Mark {
                    at_secs: sequence as f64,
                    feed: Some(FeedNumber(1)),
                    words: "valve 1 opened a quarter turn ".repeat(50),
                    moved: None,
                })),
            })
            .collect()
    }

    /// Limits how large the file may grow, which is what a full disk does.
    fn limit_pages(book: &Logbook, pages: i64) {
        book.connection
            .pragma_update_and_check(None, "max_page_count", pages, |_| Ok(()))
            .unwrap();
    }

    #[test]
    fn a_full_disk_is_told_and_what_was_not_written_can_be_written_later() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("logbook.sqlite3");
        let mut book = Logbook::open(&path).unwrap();
        let items = marks(200);
        book.write(&items[..10]).unwrap();
        limit_pages(&book, 60);
        let error = book.write(&items).unwrap_err();
        assert!(matches!(error, LogbookError::DiskFull { .. }), "{error}");
        assert!(!error.wants_reopening());
        // Nothing of the failed batch is there.
        let reader = super::super::LogbookReader::open(&path).unwrap();
        assert_eq!(reader.contents(1).unwrap().marks.len(), 10);
        limit_pages(&book, 1_000_000);
        book.write(&items).unwrap();
        assert_eq!(reader.contents(1).unwrap().marks.len(), 200);
    }
}
