//! Keeps a run in the logbook without threads: for clips and demos that are counted as fast as they
//! can be read. Live sources are recorded by the runner, which never waits for the disk.

use std::path::Path;
use std::sync::Arc;

use crate::capture::About;
use crate::glass::Calibration;
use crate::run::Event;
use crate::run::logbook::record::event_secs;
use crate::run::logbook::{Entry, Item, Logbook, LogbookError, RunStart};

/// Entries that share a commit: few enough that their pictures need little memory, many enough
/// that the disk does not slow the counting.
const BATCH: usize = 256;

/// A run being written.
#[derive(Debug)]
pub struct Keeper {
    book: Logbook,
    title: String,
    started_wall_secs: f64,
    run: Option<Arc<RunStart>>,
    pending: Vec<Item>,
    sequence: i64,
    run_id: Option<i64>,
    refused: u64,
}

impl Keeper {
    /// Opens the logbook for a run under a title. `started_wall_secs` is the wall time of its
    /// start, seconds since 1970-01-01T00:00:00Z; source time runs on from there.
    ///
    /// # Errors
    /// As [`Logbook::open`].
    pub fn open(path: &Path, title: String, started_wall_secs: f64) -> Result<Self, LogbookError> {
        Ok(Self {
            book: Logbook::open(path)?,
            title,
            started_wall_secs,
            run: None,
            pending: Vec::new(),
            sequence: 0,
            run_id: None,
            refused: 0,
        })
    }

    /// The run begins.
    ///
    /// # Errors
    /// As [`Logbook::write`].
    pub fn start(
        &mut self,
        about: About,
        from_secs: f64,
        calibration: Calibration,
    ) -> Result<(), LogbookError> {
        let run = RunStart::new(
            self.title.clone(),
            about,
            from_secs,
            self.started_wall_secs,
            Arc::new(calibration),
        );
        self.run = Some(Arc::new(run));
        self.keep(Entry::Start, from_secs)?;
        self.keep(Entry::Clock { stepped_secs: 0.0 }, from_secs)
    }

    /// Keeps what the instrument told.
    ///
    /// # Errors
    /// As [`Logbook::write`].
    pub fn events(&mut self, events: &[Event]) -> Result<(), LogbookError> {
        for event in events {
            let at_secs = event_secs(event);
            self.keep(Entry::Event(Arc::new(event.clone())), at_secs)?;
        }
        Ok(())
    }

    /// The run is over. Gives its number.
    ///
    /// # Errors
    /// As [`Logbook::write`].
    pub fn end(&mut self, at_secs: f64) -> Result<Option<i64>, LogbookError> {
        self.keep(Entry::End, at_secs)?;
        self.flush()?;
        self.run = None;
        Ok(self.run_id)
    }

    /// Entries that the tables refused, so far.
    #[must_use]
    pub fn refused(&self) -> u64 {
        self.refused
    }

    fn keep(&mut self, entry: Entry, at_secs: f64) -> Result<(), LogbookError> {
        let Some(run) = &self.run else {
            return Ok(());
        };
        self.pending.push(Item {
            run: Arc::clone(run),
            sequence: self.sequence,
            at_secs,
            wall_secs: self.started_wall_secs + (at_secs - run.from_secs),
            entry,
        });
        self.sequence += 1;
        if self.pending.len() >= BATCH {
            self.flush()?;
        }
        Ok(())
    }

    fn flush(&mut self) -> Result<(), LogbookError> {
        let written = self.book.write(&self.pending)?;
        self.run_id = written.run_id.or(self.run_id);
        self.refused += written.refused;
        self.pending.clear();
        Ok(())
    }
}
