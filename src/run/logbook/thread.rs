//! The writing thread: takes entries from a bounded queue, commits them at least once a second,
//! keeps what cannot be written now, and says so. Counting never waits for it.

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::record::{Entry, Item};
use super::{Logbook, LogbookError};
use crate::base::Clock;
use crate::run::Event;

/// Entries on their way to the thread: minutes of them, while a disk takes its time.
const QUEUE: usize = 1024;
/// An entry waits no longer than this for its commit, seconds: enough for what one picture brings
/// to share a commit. The rest of the second that a crash may cost is left to a busy disk.
const COMMIT_SECS: f64 = 0.1;
/// How long the thread waits for an entry before it looks around, milliseconds.
const WAIT_MS: u64 = 100;
/// After a failure it tries again after this, seconds.
const RETRY_SECS: f64 = 2.0;
/// Entries kept while writing is not possible: over an hour of four feeds at a drop a second.
const BACKLOG: usize = 20_000;

/// How writing goes, for screens and alarms.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LogStatus {
    /// Why it cannot be written now, as a sentence.
    pub failing: Option<String>,
    /// Entries waiting to be written.
    pub waiting: usize,
    /// Entries that were lost for good, since the start.
    pub lost: u64,
    /// Key and number of the newest run that reached the file.
    pub run: Option<(String, i64)>,
    /// Entries written, since the start.
    pub written: u64,
}

enum Message {
    Item(Item),
    Stop,
}

/// The queue's near end. The thread itself is started by whoever owns threads: it runs
/// [`LogWorker::run`].
#[derive(Debug)]
pub struct LogThread {
    sender: SyncSender<Message>,
    status: Arc<Mutex<LogStatus>>,
    /// Nothing ever comes through it; it closes when the worker is gone.
    finished: Receiver<()>,
}

/// The queue's far end: what the thread runs.
pub struct LogWorker {
    path: PathBuf,
    clock: Arc<dyn Clock>,
    receiver: Receiver<Message>,
    status: Arc<Mutex<LogStatus>>,
    book: Option<Logbook>,
    pending: VecDeque<Item>,
    /// Monotonic time of the oldest pending entry.
    since_secs: f64,
    /// Monotonic time before which a failed write is not tried again.
    not_before_secs: f64,
    /// Lost since the last successful write.
    newly_lost: u64,
    _finished: SyncSender<()>,
}

fn lock(status: &Mutex<LogStatus>) -> MutexGuard<'_, LogStatus> {
    status.lock().unwrap_or_else(PoisonError::into_inner)
}

impl LogThread {
    /// Both ends of a queue to the logbook at `path`. Nothing is opened before the worker runs.
    #[must_use]
    pub fn new(path: PathBuf, clock: Arc<dyn Clock>) -> (Self, LogWorker) {
        let (sender, receiver) = sync_channel(QUEUE);
        let status = Arc::new(Mutex::new(LogStatus::default()));
        let (finishing, finished) = sync_channel(1);
        let worker = LogWorker {
            path,
            clock,
            receiver,
            status: Arc::clone(&status),
            book: None,
            pending: VecDeque::new(),
            since_secs: 0.0,
            not_before_secs: f64::NEG_INFINITY,
            newly_lost: 0,
            _finished: finishing,
        };
        let near = Self {
            sender,
            status,
            finished,
        };
        (near, worker)
    }

    /// Hands an entry over without waiting. When even the queue is full the entry is lost, counted
    /// and told.
    pub fn keep(&self, item: Item) {
        if let Err(error) = self.sender.try_send(Message::Item(item)) {
            let mut status = lock(&self.status);
            status.lost += 1;
            if status.failing.is_none() {
                status.failing = Some(match error {
                    TrySendError::Full(_) => {
                        "The disk that holds the logbook is too slow; records are being lost. \
                         Close other programs that use it, or put the logbook on another disk."
                            .to_owned()
                    }
                    TrySendError::Disconnected(_) => {
                        "The part of the program that writes the logbook has died; nothing is \
                         recorded. End the program and start it again."
                            .to_owned()
                    }
                });
            }
        }
    }

    /// How writing goes.
    #[must_use]
    pub fn status(&self) -> LogStatus {
        lock(&self.status).clone()
    }

    /// Asks the worker to write what is there and come to an end, waits for it so long at most, and
    /// tells how the logbook stands then.
    #[must_use]
    pub fn close(self, patience: Duration) -> LogStatus {
        // When the queue is full the worker learns it from the closed queue all the same.
        let _ = self.sender.try_send(Message::Stop);
        drop(self.sender);
        if self.finished.recv_timeout(patience) == Err(RecvTimeoutError::Timeout) {
            let mut status = lock(&self.status);
            if status.failing.is_none() {
                status.failing = Some(
                    "The logbook takes too long to close; its last records may be missing. See \
                     whether its disk is busy or full."
                        .to_owned(),
                );
            }
        }
        lock(&self.status).clone()
    }
}

impl LogWorker {
    /// Writes until it is asked to stop or the queue's near end is gone. `beat` is called several
    /// times a second.
    pub fn run(mut self, beat: &dyn Fn()) {
        self.ensure_open();
        loop {
            beat();
            let mut stopping = false;
            let mut idle = false;
            match self.receiver.recv_timeout(Duration::from_millis(WAIT_MS)) {
                Ok(Message::Item(item)) => self.take(item),
                Ok(Message::Stop) | Err(RecvTimeoutError::Disconnected) => stopping = true,
                Err(RecvTimeoutError::Timeout) => idle = true,
            }
            while let Ok(message) = self.receiver.try_recv() {
                match message {
                    Message::Item(item) => self.take(item),
                    Message::Stop => stopping = true,
                }
            }
            let now_secs = self.clock.monotonic_secs();
            let due = idle || stopping || now_secs - self.since_secs >= COMMIT_SECS;
            let may = stopping || now_secs >= self.not_before_secs;
            if due && may {
                self.flush();
            }
            if stopping {
                break;
            }
        }
        if !self.pending.is_empty() {
            let mut status = lock(&self.status);
            status.lost += self.pending.len() as u64;
            tracing::error!(
                entries = self.pending.len(),
                why = status.failing.as_deref().unwrap_or(""),
                "the logbook was closed with entries that could not be written"
            );
        }
    }

    fn take(&mut self, item: Item) {
        if self.pending.is_empty() {
            self.since_secs = self.clock.monotonic_secs();
        }
        if self.pending.len() >= BACKLOG {
            let spare = self.pending.iter().position(Item::is_spare).unwrap_or(0);
            self.pending.remove(spare);
            self.newly_lost += 1;
            lock(&self.status).lost += 1;
        }
        self.pending.push_back(item);
    }

    fn ensure_open(&mut self) -> bool {
        if self.book.is_some() {
            return true;
        }
        match Logbook::open_at_once(&self.path) {
            Ok(book) => {
                self.book = Some(book);
                lock(&self.status).failing = None;
                true
            }
            Err(error) => {
                self.failed(&error);
                false
            }
        }
    }

    fn failed(&mut self, error: &LogbookError) {
        tracing::warn!(%error, "the logbook is not written");
        self.not_before_secs = self.clock.monotonic_secs() + RETRY_SECS;
        if error.wants_reopening() {
            self.book = None;
        }
        let mut status = lock(&self.status);
        let words = error.to_string();
        status.failing = Some(format!("{}.", capitalised(&words)));
        status.waiting = self.pending.len();
    }

    fn flush(&mut self) {
        let idle_and_well = self.pending.is_empty() && self.book.is_some();
        if idle_and_well || !self.ensure_open() {
            return;
        }
        if self.newly_lost > 0
            && let Some(newest) = self.pending.back()
        {
            // The loss itself is on record. Negative places are the thread's own; each is used
            // once because the count of lost entries only grows.
            let total = lock(&self.status).lost;
            let told = Item {
                entry: Entry::Event(Arc::new(Event::Gap {
                    from_secs: newest.at_secs,
                    to_secs: newest.at_secs,
                    why: format!(
                        "{} records were lost while the logbook could not be written",
                        self.newly_lost
                    ),
                })),
                sequence: -i64::try_from(total).unwrap_or(i64::MAX),
                ..newest.clone()
            };
            self.pending.push_back(told);
            self.newly_lost = 0;
        }
        let Some(book) = &mut self.book else { return };
        let batch = self.pending.make_contiguous();
        match book.write(batch) {
            Ok(written) => {
                let mut status = lock(&self.status);
                status.failing = None;
                status.waiting = 0;
                status.lost += written.refused;
                status.written += self.pending.len() as u64 - written.refused;
                if let Some((run_id, newest)) = written.run_id.zip(self.pending.back()) {
                    status.run = Some((newest.run.key.clone(), run_id));
                }
                drop(status);
                self.pending.clear();
                self.not_before_secs = f64::NEG_INFINITY;
            }
            Err(error) => {
                self.failed(&error);
                if matches!(error, LogbookError::Gone { .. }) {
                    // The new one takes what waits at once.
                    self.not_before_secs = f64::NEG_INFINITY;
                }
            }
        }
    }
}

/// The sentence with a capital letter at its start.
fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}
