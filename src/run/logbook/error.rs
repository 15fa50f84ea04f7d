//! What can go wrong with the logbook, each a sentence with its cure.

use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

/// Why the logbook cannot be opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// The platform names no folder for data.
    #[error(
        "there is no folder for the logbook because no home folder is set; name a file with \
         --logbook FILE"
    )]
    NoFolder,
    /// The file or its folder cannot be made or opened.
    #[error(
        "the logbook {} cannot be opened: {cause}; check that its folder exists and that you may \
         write in it, or name another file with --logbook FILE", path.display()
    )]
    CannotOpen {
        /// The logbook.
        path: PathBuf,
        /// What the system said.
        cause: String,
    },
    /// There is no logbook there yet.
    #[error(
        "there is no logbook at {} yet; it is made by the first run that is recorded, or name \
         another file with --logbook FILE", path.display()
    )]
    Missing {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// Another program holds it.
    #[error(
        "the logbook {} is locked by another program; close what has it open (a database viewer, \
         a backup) and try again", path.display()
    )]
    Locked {
        /// The logbook.
        path: PathBuf,
    },
    /// It may be read but not written.
    #[error(
        "the logbook {} cannot be written because the file or its folder is read-only; give \
         yourself the right to write it, or name another file with --logbook FILE", path.display()
    )]
    ReadOnly {
        /// The logbook.
        path: PathBuf,
    },
    /// A later program wrote it.
    #[error(
        "the logbook {} is of version {version} and this program knows versions up to {known}; \
         use the newer beadtally, or name another file with --logbook FILE", path.display()
    )]
    Newer {
        /// The logbook.
        path: PathBuf,
        /// Its version.
        version: i64,
        /// The newest version known here.
        known: i64,
    },
    /// An earlier program wrote it, and it could not be copied to be read.
    #[error(
        "the logbook {} is of the older version {version} and no copy of it could be made to read \
         it from: {cause}; make room in the folder for temporary files, or start any recorded run \
         once to bring it up to date", path.display()
    )]
    Older {
        /// The logbook.
        path: PathBuf,
        /// Its version.
        version: i64,
        /// Why there is no copy.
        cause: String,
    },
    /// A file of another kind.
    #[error(
        "{} is not a beadtally logbook; name the right file with --logbook FILE", path.display()
    )]
    NotALogbook {
        /// The file.
        path: PathBuf,
    },
    /// It is damaged.
    #[error(
        "the logbook {} is damaged ({detail}); `beadtally runs --repair` saves what can be read \
         into a new file and keeps the damaged one", path.display()
    )]
    Damaged {
        /// The logbook.
        path: PathBuf,
        /// What is wrong with it.
        detail: String,
    },
    /// The disk is full.
    #[error(
        "the disk that holds the logbook {} is full; make room and writing goes on by itself",
        path.display()
    )]
    DiskFull {
        /// The logbook.
        path: PathBuf,
    },
    /// The file under an open logbook was moved, deleted or replaced.
    #[error(
        "the logbook {} was moved or deleted while it was being written; a new one is started \
         there", path.display()
    )]
    Gone {
        /// The logbook.
        path: PathBuf,
    },
    /// No run of that number.
    #[error("there is no run {run} in the logbook; `beadtally runs` lists them")]
    NoSuchRun {
        /// What was asked for.
        run: i64,
    },
    /// The logbook holds no run.
    #[error("the logbook holds no run yet; `beadtally watch SOURCE` records one")]
    NoRuns,
    /// Anything else the database said.
    #[error(
        "the logbook {} cannot be used: {cause}; check its disk, then try again", path.display()
    )]
    Other {
        /// The logbook.
        path: PathBuf,
        /// What the database said.
        cause: String,
    },
}

impl LogbookError {
    /// The sentence for what the database said of the file at `path`.
    #[must_use]
    #[expect(
        clippy::needless_pass_by_value,
        reason = "used as `map_err(|error| LogbookError::from_sqlite(path, error))`"
    )]
    pub fn from_sqlite(path: &Path, error: rusqlite::Error) -> Self {
        let path = path.to_path_buf();
        if is_of_another_kind(&error) {
            return Self::Damaged {
                path,
                detail: error.to_string(),
            };
        }
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Locked { path },
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => Self::ReadOnly { path },
            Some(ErrorCode::DiskFull) => Self::DiskFull { path },
            Some(ErrorCode::NotADatabase) => Self::NotALogbook { path },
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged {
                path,
                detail: error.to_string(),
            },
            Some(ErrorCode::CannotOpen) => Self::CannotOpen {
                path,
                cause: error.to_string(),
            },
            _ => Self::Other {
                path,
                cause: error.to_string(),
            },
        }
    }

    /// Whether the file must be opened anew before writing can go on.
    #[must_use]
    pub fn wants_reopening(&self) -> bool {
        !matches!(self, Self::Locked { .. } | Self::DiskFull { .. })
    }
}

/// Whether a value was found where the tables never put one of its kind: words where a number
/// belongs, bytes that are no text, a number out of its range.
fn is_of_another_kind(error: &rusqlite::Error) -> bool {
    matches!(
        error,
        rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::Utf8Error(..)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use rusqlite::ffi;

    fn said(code: i32) -> String {
        let error = rusqlite::Error::SqliteFailure(ffi::Error::new(code), None);
        LogbookError::from_sqlite(Path::new("/data/log.sqlite3"), error).to_string()
    }

    #[test]
    fn every_failure_of_the_database_has_a_sentence_with_a_cure() {
        for (code, word, cure) in [
            (ffi::SQLITE_BUSY, "locked", "close what has it open"),
            (ffi::SQLITE_READONLY, "read-only", "--logbook FILE"),
            (ffi::SQLITE_READONLY_DIRECTORY, "read-only", "--logbook"),
            (ffi::SQLITE_FULL, "full", "make room"),
            (ffi::SQLITE_CORRUPT, "damaged", "--repair"),
            (ffi::SQLITE_NOTADB, "not a beadtally logbook", "--logbook"),
            (ffi::SQLITE_CANTOPEN, "cannot be opened", "folder"),
            (ffi::SQLITE_IOERR, "cannot be used", "check its disk"),
        ] {
            let words = said(code);
            assert!(words.contains(word) && words.contains(cure), "{words}");
            assert!(words.contains("/data/log.sqlite3"), "{words}");
        }
    }
}
