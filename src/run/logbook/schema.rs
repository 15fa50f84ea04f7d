//! The tables of the logbook, their version, and the door for later versions. Units stand in the
//! names of the columns; `_secs` without more is source time, `wall_secs` are seconds since
//! 1970-01-01T00:00:00Z.

use std::path::{Path, PathBuf};

use rusqlite::types::{ToSqlOutput, ValueRef};
use rusqlite::{Connection, TransactionBehavior, params};

use super::LogbookError;
use crate::run::moved::{self, Moved};

/// Marks a SQLite file as a logbook of ours: the letters `bead` as a number.
pub const APPLICATION_ID: i64 = 0x6265_6164;

/// What each version added. Number `n` in this list brings a file of version `n` to `n + 1`;
/// what is here is never changed again, only added to.
const MIGRATIONS: &[&str] = &[VERSION_1, VERSION_2, VERSION_3, VERSION_4];

/// The version this program writes.
#[expect(clippy::cast_possible_wrap, reason = "a handful of versions")]
pub const VERSION: i64 = MIGRATIONS.len() as i64;

const VERSION_1: &str = "
CREATE TABLE runs (
    run_id            INTEGER PRIMARY KEY AUTOINCREMENT,
    key               TEXT NOT NULL UNIQUE,
    title             TEXT NOT NULL,
    source_name       TEXT NOT NULL,
    source_identity   TEXT NOT NULL,
    width_px          INTEGER NOT NULL,
    height_px         INTEGER NOT NULL,
    started_wall      TEXT NOT NULL,
    started_wall_secs REAL NOT NULL,
    from_secs         REAL NOT NULL,
    last_wall_secs    REAL NOT NULL,
    last_secs         REAL NOT NULL,
    ended_wall_secs   REAL,
    to_secs           REAL,
    ending            TEXT CHECK (ending IN ('ended', 'cut short')),
    program_version   TEXT NOT NULL,
    calibration_toml  TEXT NOT NULL
) STRICT;

CREATE TABLE feeds (
    run_id             INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    feed               INTEGER NOT NULL,
    name               TEXT NOT NULL,
    glass_kind         TEXT NOT NULL,
    low_per_minute     REAL NOT NULL,
    high_per_minute    REAL NOT NULL,
    px_per_mm          REAL,
    outline_centre_x_px REAL NOT NULL,
    outline_centre_y_px REAL NOT NULL,
    outline_width_px   REAL NOT NULL,
    outline_height_px  REAL NOT NULL,
    outline_angle_deg  REAL NOT NULL,
    PRIMARY KEY (run_id, feed)
) STRICT;

CREATE TABLE drops (
    run_id          INTEGER NOT NULL,
    sequence        INTEGER NOT NULL,
    feed            INTEGER NOT NULL,
    at_secs         REAL NOT NULL,
    wall_secs       REAL NOT NULL,
    kind            TEXT NOT NULL CHECK (kind IN ('oil', 'gas')),
    rise_px_per_s   REAL NOT NULL,
    rise_mm_per_s   REAL,
    height_px       REAL NOT NULL,
    diameter_mm     REAL,
    confidence      REAL NOT NULL,
    settled_at_secs REAL NOT NULL,
    picture_png     BLOB,
    PRIMARY KEY (run_id, sequence),
    UNIQUE (run_id, feed, at_secs),
    FOREIGN KEY (run_id, feed) REFERENCES feeds (run_id, feed) ON DELETE CASCADE
) STRICT;

CREATE TABLE readings (
    run_id           INTEGER NOT NULL,
    sequence         INTEGER NOT NULL,
    feed             INTEGER NOT NULL,
    at_secs          REAL NOT NULL,
    wall_secs        REAL NOT NULL,
    drops_per_minute REAL,
    low_per_minute   REAL,
    high_per_minute  REAL,
    scatter          REAL,
    drops            INTEGER,
    state            TEXT NOT NULL,
    doubts           TEXT NOT NULL,
    PRIMARY KEY (run_id, sequence),
    FOREIGN KEY (run_id, feed) REFERENCES feeds (run_id, feed) ON DELETE CASCADE
) STRICT;

CREATE TABLE alarms (
    run_id    INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    sequence  INTEGER NOT NULL,
    feed      INTEGER,
    at_secs   REAL NOT NULL,
    wall_secs REAL NOT NULL,
    cause     TEXT NOT NULL,
    state     TEXT NOT NULL,
    PRIMARY KEY (run_id, sequence)
) STRICT;

CREATE TABLE marks (
    run_id    INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    sequence  INTEGER NOT NULL,
    feed      INTEGER,
    at_secs   REAL NOT NULL,
    wall_secs REAL NOT NULL,
    words     TEXT NOT NULL,
    PRIMARY KEY (run_id, sequence)
) STRICT;

CREATE TABLE blind (
    run_id    INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    sequence  INTEGER NOT NULL,
    feed      INTEGER,
    from_secs REAL NOT NULL,
    to_secs   REAL NOT NULL,
    wall_secs REAL NOT NULL,
    why       TEXT NOT NULL,
    PRIMARY KEY (run_id, sequence)
) STRICT;

CREATE TABLE gaps (
    run_id    INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    sequence  INTEGER NOT NULL,
    from_secs REAL NOT NULL,
    to_secs   REAL NOT NULL,
    wall_secs REAL NOT NULL,
    why       TEXT NOT NULL,
    PRIMARY KEY (run_id, sequence)
) STRICT;

CREATE TABLE clocks (
    run_id       INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    sequence     INTEGER NOT NULL,
    at_secs      REAL NOT NULL,
    wall_secs    REAL NOT NULL,
    stepped_secs REAL NOT NULL,
    PRIMARY KEY (run_id, sequence)
) STRICT;

CREATE TABLE calibrations (
    run_id           INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    sequence         INTEGER NOT NULL,
    at_secs          REAL NOT NULL,
    wall_secs        REAL NOT NULL,
    calibration_toml TEXT NOT NULL,
    PRIMARY KEY (run_id, sequence)
) STRICT;
";

/// The life of alarms, the movement of valves, readings kept as found, and whether the source ran
/// in real time.
const VERSION_2: &str = "
ALTER TABLE runs ADD COLUMN is_live INTEGER CHECK (is_live IN (0, 1));

ALTER TABLE marks ADD COLUMN turns REAL;
ALTER TABLE marks ADD COLUMN is_shut INTEGER NOT NULL DEFAULT 0 CHECK (is_shut IN (0, 1));

ALTER TABLE alarms ADD COLUMN priority INTEGER;
ALTER TABLE alarms ADD COLUMN happened TEXT;
ALTER TABLE alarms ADD COLUMN by_whom TEXT;
ALTER TABLE alarms ADD COLUMN shelved_until_secs REAL;

CREATE TABLE as_found (
    run_id            INTEGER NOT NULL,
    sequence          INTEGER NOT NULL,
    feed              INTEGER NOT NULL,
    at_secs           REAL NOT NULL,
    wall_secs         REAL NOT NULL,
    from_secs         REAL NOT NULL,
    until_secs        REAL NOT NULL,
    drops_per_minute  REAL,
    low_per_minute    REAL,
    high_per_minute   REAL,
    scatter           REAL,
    drops             INTEGER,
    state             TEXT NOT NULL,
    began             TEXT NOT NULL CHECK (began IN ('mark', 'stop', 'change')),
    words             TEXT NOT NULL,
    before_per_minute REAL,
    after_per_minute  REAL,
    PRIMARY KEY (run_id, sequence),
    FOREIGN KEY (run_id, feed) REFERENCES feeds (run_id, feed) ON DELETE CASCADE
) STRICT;
";

/// Hand checks: a person's taps, and what they came to beside the counted drops.
const VERSION_3: &str = "
CREATE TABLE taps (
    run_id          INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    sequence        INTEGER NOT NULL,
    feed            INTEGER,
    at_secs         REAL NOT NULL,
    wall_secs       REAL NOT NULL,
    check_from_secs REAL NOT NULL,
    PRIMARY KEY (run_id, sequence)
) STRICT;

CREATE TABLE hand_checks (
    run_id           INTEGER NOT NULL REFERENCES runs (run_id) ON DELETE CASCADE,
    sequence         INTEGER NOT NULL,
    feed             INTEGER,
    at_secs          REAL NOT NULL,
    wall_secs        REAL NOT NULL,
    from_secs        REAL NOT NULL,
    to_secs          REAL NOT NULL,
    seen_secs        REAL NOT NULL,
    matched          INTEGER NOT NULL,
    missed_by_tool   INTEGER NOT NULL,
    missed_by_person INTEGER NOT NULL,
    left_out         INTEGER NOT NULL,
    lag_secs         REAL NOT NULL,
    lag_scatter_secs REAL,
    window_secs      REAL NOT NULL,
    counts_p         REAL NOT NULL,
    agreement        TEXT NOT NULL,
    PRIMARY KEY (run_id, sequence)
) STRICT;
";

/// How many drops of each kind a run has is told in the list of runs; without this the list reads
/// every drop of every run.
const VERSION_4: &str = "
CREATE INDEX drops_of_kind ON drops (run_id, kind);
";

/// The tables that hold a run's records, parents before children.
pub const TABLES: &[&str] = &[
    "runs",
    "feeds",
    "drops",
    "readings",
    "alarms",
    "marks",
    "blind",
    "gaps",
    "clocks",
    "calibrations",
    "as_found",
    "taps",
    "hand_checks",
];

/// What a file says of itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Nothing in it yet.
    Empty,
    /// A logbook of the version this program writes.
    Current,
    /// A logbook of an older version.
    Older(i64),
}

/// Looks at an open file before anything is done to it.
///
/// # Errors
/// [`LogbookError::Newer`] and [`LogbookError::NotALogbook`], or what the database says.
pub fn kind(path: &Path, connection: &Connection) -> Result<Kind, LogbookError> {
    let number = |pragma: &str| -> Result<i64, LogbookError> {
        connection
            .pragma_query_value(None, pragma, |row| row.get(0))
            .map_err(|error| LogbookError::from_sqlite(path, error))
    };
    let application = number("application_id")?;
    let version = number("user_version")?;
    let tables: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(|error| LogbookError::from_sqlite(path, error))?;
    if application == 0 && version == 0 && tables == 0 {
        return Ok(Kind::Empty);
    }
    if application != APPLICATION_ID || version < 1 {
        return Err(LogbookError::NotALogbook {
            path: path.to_path_buf(),
        });
    }
    if version > VERSION {
        return Err(LogbookError::Newer {
            path: path.to_path_buf(),
            version,
            known: VERSION,
        });
    }
    Ok(if version == VERSION {
        Kind::Current
    } else {
        Kind::Older(version)
    })
}

/// Whether an older logbook is kept beside the new one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum KeepOld {
    /// As [`copy_path`] says.
    Yes,
    /// It is a copy itself.
    No,
}

/// Brings a file to [`VERSION`].
///
/// # Errors
/// As [`kind`], or what the database says; then the file is as it was.
pub fn bring_up_to_date(
    path: &Path,
    connection: &mut Connection,
    keep: KeepOld,
) -> Result<(), LogbookError> {
    let told = |error| LogbookError::from_sqlite(path, error);
    if kind(path, connection)? == Kind::Current {
        return Ok(());
    }
    let transaction = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(told)?;
    // Looked at again inside the transaction: another program may have been quicker.
    let from = match kind(path, &transaction)? {
        Kind::Current => return Ok(()),
        Kind::Empty => 0,
        Kind::Older(version) => version,
    };
    if from > 0 && keep == KeepOld::Yes {
        keep_copy(path, from)?;
    }
    let steps = MIGRATIONS
        .iter()
        .skip(usize::try_from(from).unwrap_or_default());
    for step in steps {
        transaction.execute_batch(step).map_err(told)?;
    }
    if from == 1 {
        read_movements(&transaction).map_err(told)?;
    }
    transaction
        .pragma_update(None, "application_id", APPLICATION_ID)
        .and_then(|()| transaction.pragma_update(None, "user_version", VERSION))
        .and_then(|()| transaction.commit())
        .map_err(told)
}

/// Marks of version 1 told a valve's movement in their words only.
fn read_movements(connection: &Connection) -> rusqlite::Result<()> {
    let mut select = connection.prepare("SELECT rowid, words FROM marks")?;
    let mut update =
        connection.prepare("UPDATE marks SET turns = ?2, is_shut = ?3 WHERE rowid = ?1")?;
    let mut rows = select.query([])?;
    while let Some(row) = rows.next()? {
        let words: String = row.get(1)?;
        if let Some(moved) = moved::read(&words).moved {
            let is_shut = moved == Moved::Shut;
            update.execute(params![row.get::<_, i64>(0)?, moved.turns(), is_shut])?;
        }
    }
    Ok(())
}

/// Where the copy of an older logbook is kept.
#[must_use]
pub fn copy_path(path: &Path, version: i64) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(format!(".version-{version}"));
    PathBuf::from(name)
}

/// Copies an open logbook, as it stood at its last commit, into a new file.
pub(super) fn copy_into(from: &Connection, to: &Path) -> rusqlite::Result<()> {
    // SQLite takes the bytes of a name as they are; a name need not be text.
    let name = to.as_os_str().as_encoded_bytes();
    let name = ToSqlOutput::Borrowed(ValueRef::Text(name));
    from.execute("VACUUM INTO ?1", [name]).map(|_| ())
}

/// Copies an older logbook aside through a second connection, which sees the last commit.
fn keep_copy(path: &Path, version: i64) -> Result<(), LogbookError> {
    let copy = copy_path(path, version);
    if copy.exists() {
        return Ok(());
    }
    let told = |error| LogbookError::from_sqlite(path, error);
    let cannot = |error: std::io::Error| LogbookError::CannotOpen {
        path: copy.clone(),
        cause: error.to_string(),
    };
    let reader = Connection::open(path).map_err(told)?;
    // Written elsewhere first: a copy that a crash cut short must not pass for one.
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty());
    let aside = tempfile::Builder::new()
        .prefix(".logbook-copy-")
        .tempdir_in(folder.unwrap_or(Path::new(".")))
        .map_err(cannot)?;
    let whole = aside.path().join("copy");
    copy_into(&reader, &whole).map_err(told)?;
    std::fs::File::open(&whole)
        .and_then(|file| file.sync_all())
        .and_then(|()| std::fs::rename(&whole, &copy))
        .map_err(cannot)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::logbook::{Logbook, LogbookReader};

    #[test]
    fn the_tables_are_strict_and_their_references_hold() {
        let mut connection = Connection::open_in_memory().unwrap();
        bring_up_to_date(Path::new("x"), &mut connection, KeepOld::No).unwrap();
        let mut names: Vec<String> = connection
            .prepare("SELECT name FROM pragma_table_list WHERE strict = 1")
            .unwrap()
            .query_map([], |row| row.get(0))
            .unwrap()
            .map(Result::unwrap)
            .collect();
        names.sort();
        let mut expected: Vec<&str> = TABLES.to_vec();
        expected.sort_unstable();
        assert_eq!(names, expected);
        assert_eq!(kind(Path::new("x"), &connection).unwrap(), Kind::Current);
    }

    /// A logbook as the first version wrote it.
    fn first_version(path: &Path) {
        let connection = Connection::open(path).unwrap();
        connection.execute_batch(VERSION_1).unwrap();
        connection
            .execute_batch(
                "INSERT INTO runs VALUES (1, 'key', 'old', 'bench', '', 640, 480, '', 1000, 0, \
                 1060, 60, 1060, 60, 'ended', '0.0.9', '');
                 INSERT INTO feeds VALUES (1, 1, 'left', 'tube', 2, 3, NULL, 1, 2, 3, 4, 5);
                 INSERT INTO marks VALUES (1, 0, 1, 10, 1010, 'valve 1 a quarter turn open');
                 INSERT INTO marks VALUES (1, 1, 1, 20, 1020, 'valve 1 shut');
                 INSERT INTO marks VALUES (1, 2, NULL, 30, 1030, 'steam opened');
                 INSERT INTO alarms VALUES (1, 3, 1, 40, 1040, 'stopped', 'unacknowledged');",
            )
            .unwrap();
        connection
            .pragma_update(None, "application_id", APPLICATION_ID)
            .unwrap();
        connection.pragma_update(None, "user_version", 1).unwrap();
    }

    fn version_of(path: &Path) -> i64 {
        Connection::open(path)
            .unwrap()
            .pragma_query_value(None, "user_version", |row| row.get(0))
            .unwrap()
    }

    fn check_contents(path: &Path) {
        let run = LogbookReader::open(path).unwrap().contents(1).unwrap();
        let movements: Vec<_> = run.marks.iter().map(|mark| mark.moved).collect();
        assert_eq!(
            movements,
            [Some(Moved::Turns(0.25)), Some(Moved::Shut), None]
        );
        assert_eq!(run.summary.is_live, None);
        assert_eq!(run.summary.title, "old");
        assert_eq!(run.alarms[0].happened, None);
        assert_eq!(run.alarms[0].state, "unacknowledged");
        assert_eq!(run.feeds[0].outline, [1.0, 2.0, 3.0, 4.0, 5.0]);
        assert_eq!(run.as_found.len(), 0);
    }

    #[test]
    fn an_older_logbook_is_read_without_being_touched() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("logbook.sqlite3");
        first_version(&path);
        let before = std::fs::read(&path).unwrap();
        check_contents(&path);
        assert_eq!(std::fs::read(&path).unwrap(), before);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn an_older_logbook_is_brought_up_to_date_and_a_copy_of_it_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("logbook.sqlite3");
        first_version(&path);
        drop(Logbook::open(&path).unwrap());
        assert_eq!(version_of(&path), VERSION);
        check_contents(&path);
        assert_eq!(version_of(&copy_path(&path, 1)), 1);
        check_contents(&copy_path(&path, 1));
        // Once is enough.
        drop(Logbook::open(&path).unwrap());
        check_contents(&path);
    }

    #[test]
    fn a_damaged_logbook_of_an_older_version_is_saved_into_a_new_one() {
        use crate::run::logbook::repair::{Repaired, repair};
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("logbook.sqlite3");
        first_version(&path);
        // An index that does not hold what its table holds.
        let connection = Connection::open(&path).unwrap();
        connection
            .execute_batch(
                "PRAGMA writable_schema = ON;
                 CREATE INDEX lost ON marks (words);
                 UPDATE sqlite_schema SET sql = 'CREATE INDEX lost ON marks (at_secs)' \
                 WHERE name = 'lost';",
            )
            .unwrap();
        drop(connection);
        let repaired = repair(&path).unwrap();
        assert!(
            matches!(repaired, Repaired::Saved { rows: 6, .. }),
            "{repaired:?}"
        );
        let run = LogbookReader::open(&path).unwrap().contents(1).unwrap();
        assert_eq!((run.marks.len(), run.alarms.len()), (3, 1));
    }
}
