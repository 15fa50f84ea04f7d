//! Who is recording: a lock file beside the logbook tells a run that is being recorded now from
//! one that a crash cut short. The system lets go of the lock when a program dies, however it
//! dies. It guards nothing else; the database guards itself.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

/// Held while a program may record into a logbook.
#[derive(Debug)]
pub struct Guard {
    /// Kept open for its lock; none where the file system knows no locks.
    file: Option<File>,
}

/// Where the lock file of a logbook is.
#[must_use]
pub fn lock_path(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".recording");
    PathBuf::from(name)
}

impl Guard {
    /// Enters among those who record; `alone` runs first when nobody else does, while nobody else
    /// can enter.
    ///
    /// # Errors
    /// What `alone` said.
    pub fn enter<E>(path: &Path, alone: impl FnOnce() -> Result<(), E>) -> Result<Self, E> {
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(lock_path(path))
            .ok();
        if let Some(file) = &file
            && file.try_lock().is_ok()
        {
            let done = alone();
            // The lock is given back in any case; without it there is nothing to give back.
            let _ = file.unlock();
            done?;
        }
        // Whoever holds it alone does so for a moment only.
        let file = file.filter(|file| file.lock_shared().is_ok());
        Ok(Self { file })
    }

    /// Whether this program is known to record here (false where there are no locks).
    #[must_use]
    pub fn holds(&self) -> bool {
        self.file.is_some()
    }
}

/// Whether some program records into this logbook now, as far as can be told.
#[must_use]
pub fn is_recording(path: &Path) -> bool {
    // Those who record hold it shared: whoever can have it alone is alone. Closing the file gives
    // the lock back.
    OpenOptions::new()
        .read(true)
        .open(lock_path(path))
        .is_ok_and(|file| matches!(file.try_lock(), Err(TryLockError::WouldBlock)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_who_records_is_seen_and_only_the_first_was_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("logbook.sqlite3");
        assert!(!is_recording(&path));
        let mut alone = 0;
        let mut enter = || {
            Guard::enter(&path, || {
                alone += 1;
                Ok::<(), ()>(())
            })
            .unwrap()
        };
        let first = enter();
        let second = enter();
        assert!(first.holds() && second.holds());
        assert!(is_recording(&path));
        drop(first);
        assert!(is_recording(&path));
        drop(second);
        assert!(!is_recording(&path));
        assert_eq!(alone, 1);
    }
}
