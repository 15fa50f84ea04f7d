//! The threads of a running instrument: *capture* → bounded queue → *measure* → bounded records →
//! *log*. Newest snapshot out, intents in. It measures nothing itself; each thread's own work is in
//! a file of its own below.

mod grabbing;
#[cfg(test)]
mod hand_tests;
mod looking;
mod measuring;
mod recording;
mod shared;
#[cfg(test)]
mod stage;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod worker_tests;

use std::path::PathBuf;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crate::base::Clock;
use crate::capture::Source;
use crate::glass::{Calibration, CalibrationError};
use crate::run::logbook::{LogStatus, LogThread};
use crate::run::outlines::Presets;
use crate::run::{Event, Intent, Snapshot};

use shared::{Shared, Worker};

/// Pictures between *capture* and *measure*: one second at 30 a second, which is longer than
/// anything *measure* does in one go.
const FRAME_QUEUE: usize = 32;
/// Intents between a screen and *measure*: more than a person asks for in the time of one picture.
const INTENT_QUEUE: usize = 64;
/// Faults on their way to a demo.
const FAULT_QUEUE: usize = 16;
/// Events between *measure* and one listener: minutes of them.
const EVENT_QUEUE: usize = 2048;
/// How long stopping waits at most, milliseconds, all threads together: a source may take a second
/// to come back from its driver, and a busy computer needs the rest of the two seconds promised.
const STOP_MS: u64 = 1500;
/// One step of that waiting, milliseconds.
const STOP_STEP_MS: u64 = 100;
/// How long looking for glasses takes, seconds, when nobody says otherwise.
const FIND_SECS: f64 = 5.0;

/// Whether a run is recorded from the start.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Recording {
    /// At once, under this title (may be empty).
    AtOnce(String),
    /// When a person asks for it.
    WhenAsked,
}

/// What the pictures are for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pictures {
    /// A person sees them: whole.
    #[default]
    Shown,
    /// Measuring alone: while all glasses are seen, a camera need decode only these, and a whole
    /// picture now and then.
    Measured,
}

/// Called after each new snapshot, from a thread of the runner: it must return at once.
pub type OnChange = Box<dyn Fn() + Send + Sync>;

/// What a runner needs to start.
pub struct RunnerSettings {
    /// The source, open.
    pub source: Box<dyn Source>,
    /// Outlines, when known; else the glasses are looked for.
    pub calibration: Option<Calibration>,
    /// Bands and glass diameter for glasses that are found.
    pub presets: Presets,
    /// Where the logbook is; none to keep none.
    pub logbook: Option<PathBuf>,
    /// Whether a run is recorded from the start (needs a logbook).
    pub recording: Recording,
    /// How long looking for glasses takes, seconds of source time.
    pub find_secs: f64,
    /// Called after each new snapshot.
    pub on_change: Option<OnChange>,
    /// What the pictures are for.
    pub pictures: Pictures,
}

impl RunnerSettings {
    /// The usual settings: find the glasses, keep no logbook.
    #[must_use]
    pub fn new(source: Box<dyn Source>) -> Self {
        Self {
            source,
            calibration: None,
            presets: Presets::default(),
            logbook: None,
            recording: Recording::WhenAsked,
            find_secs: FIND_SECS,
            on_change: None,
            pictures: Pictures::default(),
        }
    }
}

/// Why a runner cannot start.
#[derive(Debug, thiserror::Error)]
pub enum RunnerError {
    /// The calibration is for another shape of picture.
    #[error(transparent)]
    Calibration(#[from] CalibrationError),
    /// The system gives no thread.
    #[error(
        "the system gives no thread ({0}); close other programs, or raise the limit of threads"
    )]
    Thread(#[from] std::io::Error),
}

/// An intent on its way to *measure*.
struct Asked {
    intent: Intent,
    /// When it was sent, monotonic seconds.
    sent_secs: f64,
}

/// How stopping went.
#[derive(Clone, Debug, Default)]
pub struct Stopped {
    /// Threads that did not come back in time and were left to themselves.
    pub left: Vec<&'static str>,
    /// How the logbook stands, when one was kept.
    pub logbook: Option<LogStatus>,
}

/// A running instrument. Dropping it stops it.
pub struct Runner {
    shared: Arc<Shared>,
    intents: SyncSender<Asked>,
    done: Mutex<Receiver<&'static str>>,
    running: Mutex<Vec<&'static str>>,
    first_events: Mutex<Option<Receiver<Arc<Event>>>>,
}

impl Runner {
    /// Starts the threads.
    ///
    /// # Errors
    /// [`RunnerError`]; nothing runs then.
    pub fn start(settings: RunnerSettings, clock: Arc<dyn Clock>) -> Result<Self, RunnerError> {
        let about = settings.source.about().clone();
        let calibration = settings
            .calibration
            .as_ref()
            .map(|calibration| calibration.scaled_to(about.width, about.height))
            .transpose()?;
        let shared = Arc::new(Shared::new(
            Arc::clone(&clock),
            about.clone(),
            settings.on_change,
        ));
        let (picture_sender, pictures) = sync_channel(FRAME_QUEUE);
        let (fault_sender, faults) = sync_channel(FAULT_QUEUE);
        let (intent_sender, intents) = sync_channel(INTENT_QUEUE);
        let (done_sender, done) = sync_channel(Worker::ALL.len());
        let runner = Self {
            intents: intent_sender,
            done: Mutex::new(done),
            running: Mutex::new(Vec::new()),
            first_events: Mutex::new(Some(shared.subscribe(EVENT_QUEUE))),
            shared: Arc::clone(&shared),
        };

        let log = match settings.logbook {
            Some(path) => {
                let (log, worker) = LogThread::new(path, clock);
                let beating = Arc::clone(&shared);
                runner.spawn(Worker::Log, done_sender.clone(), move || {
                    worker.run(&|| beating.beat(Worker::Log));
                })?;
                Some(log)
            }
            None => None,
        };
        let measuring = measuring::Measuring::new(measuring::Parts {
            shared: Arc::clone(&shared),
            about,
            pictures,
            intents,
            faults: fault_sender,
            log,
            calibration,
            presets: settings.presets,
            recording: settings.recording,
            find_secs: settings.find_secs,
            pictures_for: settings.pictures,
        });
        runner.spawn(Worker::Measure, done_sender.clone(), move || {
            measuring.run();
        })?;
        let source = settings.source;
        runner.spawn(Worker::Capture, done_sender, move || {
            grabbing::run(source, &shared, &picture_sender, &faults);
        })?;
        Ok(runner)
    }

    fn spawn(
        &self,
        worker: Worker,
        done: SyncSender<&'static str>,
        body: impl FnOnce() + Send + 'static,
    ) -> Result<(), RunnerError> {
        let shared = Arc::clone(&self.shared);
        shared.beat(worker);
        std::thread::Builder::new()
            .name(worker.name().to_owned())
            .spawn(move || {
                let outcome = std::panic::catch_unwind(std::panic::AssertUnwindSafe(body));
                match outcome {
                    Ok(()) => shared.ended(worker),
                    Err(panic) => shared.died(worker, &panic_words(panic.as_ref())),
                }
                // The receiver may be gone when nobody waits for the end.
                let _ = done.try_send(worker.name());
            })?;
        self.running
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(worker.name());
        Ok(())
    }

    /// The newest snapshot. Never waits for counting; when counting itself hangs or has died, the
    /// snapshot says so and shows no feed as seen.
    #[must_use]
    pub fn snapshot(&self) -> Arc<Snapshot> {
        self.shared.snapshot()
    }

    /// The newest snapshot for another thread (an alarm's sound must not hang on a window). What it
    /// gives outlives the runner, and says then that it stands still.
    #[must_use]
    pub fn look(&self) -> Arc<dyn Fn() -> Arc<Snapshot> + Send + Sync> {
        let shared = Arc::clone(&self.shared);
        Arc::new(move || shared.snapshot())
    }

    /// Asks for something; it is done before the next picture is measured. A tap has the time of
    /// this call.
    pub fn send(&self, intent: Intent) {
        let asked = Asked {
            intent,
            sent_secs: self.shared.clock.monotonic_secs(),
        };
        match self.intents.try_send(asked) {
            Err(TrySendError::Full(_)) => self.shared.overflowed(),
            // When it has stopped or died, the snapshot tells.
            Ok(()) | Err(TrySendError::Disconnected(_)) => {}
        }
    }

    /// Everything the instrument tells, from its start for the first who asks and from now on for
    /// others. The queue ends when the clip or the runner does. Whoever is too slow misses events
    /// and is told so by a gap in their place.
    #[must_use]
    pub fn events(&self) -> Receiver<Arc<Event>> {
        self.first_events
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .take()
            .unwrap_or_else(|| self.shared.subscribe(EVENT_QUEUE))
    }

    /// Stops: ends the run, writes what is to be written, and waits for all threads, at most about
    /// two seconds.
    pub fn stop(&self) -> Stopped {
        self.shared.stop.store(true, Ordering::Relaxed);
        let done = self.done.lock().unwrap_or_else(PoisonError::into_inner);
        let mut running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        // Only real waiting counts here, so that a test's clock cannot cut it short: a step at a
        // time, until the steps are used up.
        let mut steps = STOP_MS / STOP_STEP_MS;
        while !running.is_empty() && steps > 0 {
            match done.recv_timeout(Duration::from_millis(STOP_STEP_MS)) {
                Ok(name) => running.retain(|other| *other != name),
                Err(_) => steps -= 1,
            }
        }
        if !running.is_empty() {
            tracing::error!(threads = ?*running, "threads did not end in time and are left");
        }
        Stopped {
            left: running.clone(),
            logbook: self.shared.log_status(),
        }
    }
}

impl Drop for Runner {
    fn drop(&mut self) {
        let _ = self.stop();
    }
}

/// What a panicking thread said.
fn panic_words(panic: &(dyn std::any::Any + Send)) -> String {
    panic
        .downcast_ref::<&str>()
        .map(|words| (*words).to_owned())
        .or_else(|| panic.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "no words".to_owned())
}
