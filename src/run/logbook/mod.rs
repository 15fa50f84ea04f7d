//! The logbook: one SQLite file that holds every run — drops with a small picture of each,
//! readings, alarms, marks, blind spells, gaps and clock records. It is written by one thread and
//! read by anyone; it judges nothing and draws nothing.
//!
//! What it promises: a commit reaches the disk at least once a second, so that killing the program
//! or pulling the plug loses at most the last second; no drop stands in it twice; what cannot be
//! written is kept, told, and written when that is possible again.

pub mod error;
pub mod guard;
mod put;
pub mod read;
pub mod record;
pub mod repair;
mod rows;
pub mod schema;
pub mod thread;
pub mod write;

use std::path::PathBuf;

pub use error::LogbookError;
pub use read::{Ending, LogbookReader, RunContents, RunSummary};
pub use record::{Entry, Item, RunStart};
pub use thread::{LogStatus, LogThread};
pub use write::Logbook;

/// Where the logbook is when nobody says otherwise: `beadtally/logbook.sqlite3` in the platform's
/// data folder (`$XDG_DATA_HOME`, or `~/.local/share`, on Linux).
///
/// # Errors
/// [`LogbookError::NoFolder`] when the platform names no data folder (no home).
pub fn default_path() -> Result<PathBuf, LogbookError> {
    let dirs = directories::BaseDirs::new().ok_or(LogbookError::NoFolder)?;
    Ok(dirs.data_dir().join("beadtally").join("logbook.sqlite3"))
}
