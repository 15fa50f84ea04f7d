//! Reading the logbook: the list of runs, and everything in one of them. It changes nothing, also
//! not in a file or folder that may not be changed.

use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use rusqlite::{Connection, OpenFlags, Row};
use tempfile::TempDir;

pub use super::rows::{
    AlarmRow, AsFoundRow, CalibrationRow, ClockRow, DropRow, Ending, FeedRow, HandCheckRow,
    MarkRow, ReadingRow, RunContents, RunSummary, SpellRow, TapRow,
};
use super::schema::{KeepOld, Kind};
use super::{LogbookError, guard, schema};
use crate::run::Moved;

/// How long reading waits for another program to let go, seconds.
const BUSY_SECS: u64 = 2;

/// A logbook opened for reading.
#[derive(Debug)]
pub struct LogbookReader {
    path: PathBuf,
    connection: Connection,
    empty: bool,
    /// An older logbook is read from a copy that was brought up to date; it goes with the reader.
    _copy: Option<TempDir>,
}

impl LogbookReader {
    /// Opens a logbook for reading only.
    ///
    /// # Errors
    /// A sentence for each way in which a logbook can be unreadable.
    pub fn open(path: &Path) -> Result<Self, LogbookError> {
        if !path.exists() {
            return Err(LogbookError::Missing {
                path: path.to_path_buf(),
            });
        }
        if path.is_dir() {
            return Err(LogbookError::NotALogbook {
                path: path.to_path_buf(),
            });
        }
        let told = |error| LogbookError::from_sqlite(path, error);
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let open = || -> Result<(Connection, Kind), LogbookError> {
            let connection = Connection::open_with_flags(path, flags).map_err(told)?;
            connection
                .busy_timeout(Duration::from_secs(BUSY_SECS))
                .map_err(told)?;
            let kind = schema::kind(path, &connection)?;
            Ok((connection, kind))
        };
        let (connection, kind) = match open() {
            // A logbook that was closed well in a folder that may not be written: its last word is
            // in the file itself, so it can be read as a file that nobody changes.
            Err(LogbookError::CannotOpen { .. } | LogbookError::ReadOnly { .. })
                if !has_wal(path) =>
            {
                let connection = Connection::open_with_flags(
                    immutable_uri(path),
                    flags | OpenFlags::SQLITE_OPEN_URI,
                )
                .map_err(told)?;
                let kind = schema::kind(path, &connection)?;
                (connection, kind)
            }
            opened => opened?,
        };
        let (connection, copy) = match kind {
            Kind::Older(version) => {
                let (connection, copy) = newer_copy(path, &connection, version)?;
                (connection, Some(copy))
            }
            Kind::Current | Kind::Empty => (connection, None),
        };
        Ok(Self {
            path: path.to_path_buf(),
            connection,
            empty: kind == Kind::Empty,
            _copy: copy,
        })
    }

    /// All runs, the oldest first.
    ///
    /// # Errors
    /// What the database says.
    pub fn runs(&self) -> Result<Vec<RunSummary>, LogbookError> {
        if self.empty {
            return Ok(Vec::new());
        }
        let unended = self.unended();
        self.all(&format!("{SELECT_RUN} ORDER BY run_id"), [], |row| {
            summary(row, unended)
        })
    }

    /// The number of the newest run.
    ///
    /// # Errors
    /// [`LogbookError::NoRuns`], or what the database says.
    pub fn newest_run(&self) -> Result<i64, LogbookError> {
        if self.empty {
            return Err(LogbookError::NoRuns);
        }
        self.all(
            "SELECT run_id FROM runs ORDER BY run_id DESC LIMIT 1",
            [],
            |row| row.get(0),
        )?
        .pop()
        .ok_or(LogbookError::NoRuns)
    }

    /// Everything in one run but the pictures, all as of one moment.
    ///
    /// # Errors
    /// [`LogbookError::NoSuchRun`], or what the database says.
    pub fn contents(&self, run: i64) -> Result<RunContents, LogbookError> {
        let told = |error| LogbookError::from_sqlite(&self.path, error);
        // One transaction, so that a run being recorded does not grow between the tables.
        let transaction = self.connection.unchecked_transaction().map_err(told)?;
        let contents = self.contents_now(run)?;
        transaction.finish().map_err(told)?;
        Ok(contents)
    }

    fn contents_now(&self, run: i64) -> Result<RunContents, LogbookError> {
        if self.empty {
            return Err(LogbookError::NoSuchRun { run });
        }
        let unended = self.unended();
        let summary = self
            .all(&format!("{SELECT_RUN} WHERE run_id = ?1"), [run], |row| {
                summary(row, unended)
            })?
            .pop()
            .ok_or(LogbookError::NoSuchRun { run })?;
        let calibration_toml = self
            .all(
                "SELECT calibration_toml FROM runs WHERE run_id = ?1",
                [run],
                |row| row.get(0),
            )?
            .pop()
            .unwrap_or_default();
        Ok(RunContents {
            summary,
            calibration_toml,
            feeds: self.all(
                "SELECT feed, name, glass_kind, low_per_minute, high_per_minute, px_per_mm, \
                 outline_centre_x_px, outline_centre_y_px, outline_width_px, outline_height_px, \
                 outline_angle_deg FROM feeds WHERE run_id = ?1 ORDER BY feed",
                [run],
                |row| {
                    Ok(FeedRow {
                        feed: row.get(0)?,
                        name: row.get(1)?,
                        glass_kind: row.get(2)?,
                        band_per_minute: (row.get(3)?, row.get(4)?),
                        px_per_mm: row.get(5)?,
                        outline: [
                            row.get(6)?,
                            row.get(7)?,
                            row.get(8)?,
                            row.get(9)?,
                            row.get(10)?,
                        ],
                    })
                },
            )?,
            drops: self.all(
                "SELECT feed, at_secs, wall_secs, kind, rise_px_per_s, rise_mm_per_s, height_px, \
                 diameter_mm, confidence, settled_at_secs, picture_png IS NOT NULL \
                 FROM drops WHERE run_id = ?1 ORDER BY at_secs, sequence",
                [run],
                |row| {
                    Ok(DropRow {
                        feed: row.get(0)?,
                        at_secs: row.get(1)?,
                        wall_secs: row.get(2)?,
                        kind: row.get(3)?,
                        rise_px_per_s: row.get(4)?,
                        rise_mm_per_s: row.get(5)?,
                        height_px: row.get(6)?,
                        diameter_mm: row.get(7)?,
                        confidence: row.get(8)?,
                        settled_at_secs: row.get(9)?,
                        has_picture: row.get(10)?,
                    })
                },
            )?,
            readings: self.all(
                "SELECT feed, at_secs, wall_secs, drops_per_minute, low_per_minute, \
                 high_per_minute, scatter, drops, state, doubts \
                 FROM readings WHERE run_id = ?1 ORDER BY at_secs, sequence",
                [run],
                |row| {
                    Ok(ReadingRow {
                        feed: row.get(0)?,
                        at_secs: row.get(1)?,
                        wall_secs: row.get(2)?,
                        rate_per_minute: rate(row, 3)?,
                        scatter: row.get(6)?,
                        drops: row.get(7)?,
                        state: row.get(8)?,
                        doubts: row.get(9)?,
                    })
                },
            )?,
            alarms: self.all(
                "SELECT feed, at_secs, wall_secs, cause, state, priority, happened, by_whom, \
                 shelved_until_secs FROM alarms WHERE run_id = ?1 ORDER BY at_secs, sequence",
                [run],
                |row| {
                    Ok(AlarmRow {
                        feed: row.get(0)?,
                        at_secs: row.get(1)?,
                        wall_secs: row.get(2)?,
                        cause: row.get(3)?,
                        state: row.get(4)?,
                        priority: row.get(5)?,
                        happened: row.get(6)?,
                        by_whom: row.get(7)?,
                        shelved_until_secs: row.get(8)?,
                    })
                },
            )?,
            marks: self.all(
                "SELECT feed, at_secs, wall_secs, words, turns, is_shut \
                 FROM marks WHERE run_id = ?1 ORDER BY at_secs, sequence",
                [run],
                |row| {
                    Ok(MarkRow {
                        feed: row.get(0)?,
                        at_secs: row.get(1)?,
                        wall_secs: row.get(2)?,
                        words: row.get(3)?,
                        moved: if row.get(5)? {
                            Some(Moved::Shut)
                        } else {
                            row.get::<_, Option<f64>>(4)?.map(Moved::Turns)
                        },
                    })
                },
            )?,
            blind: self.all(
                "SELECT feed, from_secs, to_secs, wall_secs, why \
                 FROM blind WHERE run_id = ?1 ORDER BY from_secs, sequence",
                [run],
                spell,
            )?,
            gaps: self.all(
                "SELECT NULL, from_secs, to_secs, wall_secs, why \
                 FROM gaps WHERE run_id = ?1 ORDER BY from_secs, sequence",
                [run],
                spell,
            )?,
            clocks: self.all(
                "SELECT at_secs, wall_secs, stepped_secs \
                 FROM clocks WHERE run_id = ?1 ORDER BY sequence",
                [run],
                |row| {
                    Ok(ClockRow {
                        at_secs: row.get(0)?,
                        wall_secs: row.get(1)?,
                        stepped_secs: row.get(2)?,
                    })
                },
            )?,
            as_found: self.all(
                "SELECT feed, at_secs, wall_secs, drops_per_minute, low_per_minute, \
                 high_per_minute, from_secs, until_secs, scatter, drops, state, began, words, \
                 before_per_minute, after_per_minute \
                 FROM as_found WHERE run_id = ?1 ORDER BY at_secs, sequence",
                [run],
                |row| {
                    let (before, after): (Option<f64>, Option<f64>) = (row.get(13)?, row.get(14)?);
                    Ok(AsFoundRow {
                        feed: row.get(0)?,
                        at_secs: row.get(1)?,
                        wall_secs: row.get(2)?,
                        rate_per_minute: rate(row, 3)?,
                        from_secs: row.get(6)?,
                        until_secs: row.get(7)?,
                        scatter: row.get(8)?,
                        drops: row.get(9)?,
                        state: row.get(10)?,
                        began: row.get(11)?,
                        words: row.get(12)?,
                        change_per_minute: before.zip(after),
                    })
                },
            )?,
            calibrations: self.all(
                "SELECT at_secs, wall_secs, calibration_toml \
                 FROM calibrations WHERE run_id = ?1 ORDER BY at_secs, sequence",
                [run],
                |row| {
                    Ok(CalibrationRow {
                        at_secs: row.get(0)?,
                        wall_secs: row.get(1)?,
                        toml: row.get(2)?,
                    })
                },
            )?,
            taps: self.all(
                "SELECT feed, at_secs, wall_secs, check_from_secs \
                 FROM taps WHERE run_id = ?1 ORDER BY at_secs, sequence",
                [run],
                |row| {
                    Ok(TapRow {
                        feed: row.get(0)?,
                        at_secs: row.get(1)?,
                        wall_secs: row.get(2)?,
                        check_from_secs: row.get(3)?,
                    })
                },
            )?,
            hand_checks: self.all(
                "SELECT feed, at_secs, wall_secs, from_secs, to_secs, seen_secs, matched, \
                 missed_by_tool, missed_by_person, left_out, lag_secs, lag_scatter_secs, \
                 window_secs, counts_p, agreement \
                 FROM hand_checks WHERE run_id = ?1 ORDER BY from_secs, sequence",
                [run],
                |row| {
                    Ok(HandCheckRow {
                        feed: row.get(0)?,
                        at_secs: row.get(1)?,
                        wall_secs: row.get(2)?,
                        watched_secs: (row.get(3)?, row.get(4)?),
                        seen_secs: row.get(5)?,
                        matched: row.get(6)?,
                        missed_by_tool: row.get(7)?,
                        missed_by_person: row.get(8)?,
                        left_out: row.get(9)?,
                        lag_secs: row.get(10)?,
                        lag_scatter_secs: row.get(11)?,
                        window_secs: row.get(12)?,
                        counts_p: row.get(13)?,
                        agreement: row.get(14)?,
                    })
                },
            )?,
        })
    }

    /// The picture of a bead as PNG, when one is kept.
    ///
    /// # Errors
    /// What the database says.
    pub fn picture(
        &self,
        run: i64,
        feed: i64,
        at_secs: f64,
    ) -> Result<Option<Vec<u8>>, LogbookError> {
        let picture: Vec<Option<Vec<u8>>> = self.all(
            "SELECT picture_png FROM drops WHERE run_id = ?1 AND feed = ?2 AND at_secs = ?3",
            rusqlite::params![run, feed, at_secs],
            |row| row.get(0),
        )?;
        Ok(picture.into_iter().flatten().next())
    }

    /// The pictures of a run's drops of oil that are kept: feed, source time in seconds, PNG.
    ///
    /// # Errors
    /// What the database says.
    pub fn pictures(&self, run: i64) -> Result<Vec<(i64, f64, Vec<u8>)>, LogbookError> {
        if self.empty {
            return Ok(Vec::new());
        }
        self.all(
            "SELECT feed, at_secs, picture_png FROM drops \
             WHERE run_id = ?1 AND kind = 'oil' AND picture_png IS NOT NULL ORDER BY at_secs",
            [run],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
    }

    /// What a run without an end is now.
    fn unended(&self) -> Ending {
        if guard::is_recording(&self.path) {
            Ending::Recording
        } else {
            Ending::CutShort
        }
    }

    fn all<T>(
        &self,
        sql: &str,
        params: impl rusqlite::Params,
        map: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, LogbookError> {
        let rows = || -> rusqlite::Result<Vec<T>> {
            self.connection
                .prepare(sql)?
                .query_map(params, map)?
                .collect()
        };
        rows().map_err(|error| LogbookError::from_sqlite(&self.path, error))
    }
}

const SELECT_RUN: &str = "SELECT run_id, title, source_name, source_identity, width_px, height_px, \
     started_wall_secs, from_secs, coalesce(ended_wall_secs, last_wall_secs), \
     coalesce(to_secs, last_secs), ending, program_version, \
     (SELECT count(*) FROM feeds f WHERE f.run_id = runs.run_id), \
     (SELECT count(*) FROM drops d WHERE d.run_id = runs.run_id AND d.kind = 'oil'), \
     (SELECT count(*) FROM drops d WHERE d.run_id = runs.run_id AND d.kind = 'gas'), is_live \
     FROM runs";

fn summary(row: &Row<'_>, unended: Ending) -> rusqlite::Result<RunSummary> {
    let ending: Option<String> = row.get(10)?;
    let count = |index| -> rusqlite::Result<u64> {
        Ok(u64::try_from(row.get::<_, i64>(index)?).unwrap_or_default())
    };
    // A number that no picture has is none, and no reason to tell nothing of the run.
    let size = |index| -> rusqlite::Result<u32> {
        Ok(u32::try_from(row.get::<_, i64>(index)?).unwrap_or_default())
    };
    Ok(RunSummary {
        run: row.get(0)?,
        title: row.get(1)?,
        source_name: row.get(2)?,
        source_identity: row.get(3)?,
        size_px: (size(4)?, size(5)?),
        started_wall_secs: row.get(6)?,
        from_secs: row.get(7)?,
        ended_wall_secs: row.get(8)?,
        to_secs: row.get(9)?,
        ending: match ending.as_deref() {
            Some("ended") => Ending::Ended,
            Some(_) => Ending::CutShort,
            None => unended,
        },
        program_version: row.get(11)?,
        feeds: count(12)?,
        drops: count(13)?,
        bubbles: count(14)?,
        is_live: row.get(15)?,
    })
}

/// Median and limits from three columns beside each other.
fn rate(row: &Row<'_>, first: usize) -> rusqlite::Result<Option<(f64, f64, f64)>> {
    let (median, low, high): (Option<f64>, Option<f64>, Option<f64>) =
        (row.get(first)?, row.get(first + 1)?, row.get(first + 2)?);
    Ok(median
        .zip(low.zip(high))
        .map(|(median, (low, high))| (median, low, high)))
}

/// A copy of an older logbook, brought up to date; the older one stays as it is.
fn newer_copy(
    path: &Path,
    older: &Connection,
    version: i64,
) -> Result<(Connection, TempDir), LogbookError> {
    let cannot = |cause: String| LogbookError::Older {
        path: path.to_path_buf(),
        version,
        cause,
    };
    let folder = tempfile::tempdir().map_err(|error| cannot(error.to_string()))?;
    let copy = folder.path().join("logbook.sqlite3");
    schema::copy_into(older, &copy).map_err(|error| cannot(error.to_string()))?;
    let mut connection =
        Connection::open(&copy).map_err(|error| LogbookError::from_sqlite(path, error))?;
    schema::bring_up_to_date(&copy, &mut connection, KeepOld::No)?;
    Ok((connection, folder))
}

fn spell(row: &Row<'_>) -> rusqlite::Result<SpellRow> {
    Ok(SpellRow {
        feed: row.get(0)?,
        from_secs: row.get(1)?,
        to_secs: row.get(2)?,
        wall_secs: row.get(3)?,
        why: row.get(4)?,
    })
}

/// Whether records wait in a write-ahead file beside the logbook.
fn has_wal(path: &Path) -> bool {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    std::fs::metadata(name).is_ok_and(|meta| meta.len() > 0)
}

/// The file's name as SQLite wants it for a file that nobody changes.
fn immutable_uri(path: &Path) -> String {
    let letters: String = path
        .as_os_str()
        .as_encoded_bytes()
        .iter()
        .map(|byte| match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'.' | b'-' | b'_' => {
                char::from(*byte).to_string()
            }
            other => format!("%{other:02X}"),
        })
        .collect();
    format!("file:{letters}?immutable=1")
}

/// Wall seconds as ISO 8601 with the offset of a time zone, to the millisecond; the bare seconds
/// when it is no time that a calendar knows.
///
/// ```
/// use beadtally::run::logbook::read::iso;
/// assert_eq!(iso(0.0, &jiff::tz::TimeZone::UTC), "1970-01-01T00:00:00.000+00:00");
/// ```
#[must_use]
pub fn iso(wall_secs: f64, zone: &TimeZone) -> String {
    let millis = (wall_secs * 1000.0).round();
    match Timestamp::from_millisecond(millis as i64) {
        Ok(at) if millis.is_finite() => at
            .to_zoned_datetime(zone.clone())
            .strftime("%Y-%m-%dT%H:%M:%S.%3f%:z")
            .to_string(),
        _ => format!("{wall_secs}"),
    }
}
