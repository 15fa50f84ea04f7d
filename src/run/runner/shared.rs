//! What the threads and their owner share: the newest snapshot, signs of life, those who listen,
//! the wish to stop. Every lock here is held for moments only.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::base::Clock;
use crate::capture::{About, Wanted};
use crate::judge::{Alarm, AlarmState, Cause, FeedState, Step};
use crate::run::logbook::LogStatus;
use crate::run::{Event, Notice, Snapshot};

use super::OnChange;

/// Older than this, a snapshot is given out with fresh ages, seconds.
const RESTAMP_SECS: f64 = 0.3;
/// *measure* gives a sign of life ten times a second; silent for this long it hangs, seconds. A
/// screen must not show old figures for longer than 3 s.
const HUNG_SECS: f64 = 2.5;

/// A camera answers within a second; silent for this long its driver hangs, seconds. That nothing
/// is seen is shown long before.
const CAPTURE_HUNG_SECS: f64 = 5.0;

/// The threads, by their names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Worker {
    Capture,
    Measure,
    Log,
}

impl Worker {
    pub(super) const ALL: [Self; 3] = [Self::Capture, Self::Measure, Self::Log];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Capture => "capture",
            Self::Measure => "measure",
            Self::Log => "log",
        }
    }

    /// What people call its work.
    fn work(self) -> &'static str {
        match self {
            Self::Capture => "takes the pictures",
            Self::Measure => "counts the drops",
            Self::Log => "writes the logbook",
        }
    }
}

/// One thread's signs of life.
#[derive(Default)]
struct Heart {
    /// Monotonic seconds of the last beat, as bits.
    at_secs: AtomicU64,
    alive: AtomicBool,
}

/// The newest snapshot and when it was made, monotonic seconds.
struct Slot {
    snapshot: Arc<Snapshot>,
    made_secs: f64,
}

/// One who listens to the events.
struct Listener {
    sender: SyncSender<Arc<Event>>,
    /// Events missed since the last one that went through, with the time of the first.
    missed: Option<(f64, u64)>,
}

pub(super) struct Shared {
    pub(super) clock: Arc<dyn Clock>,
    pub(super) stop: AtomicBool,
    overflow: AtomicBool,
    slot: Mutex<Slot>,
    hearts: [Heart; 3],
    /// Threads that died, with words for people.
    deaths: Mutex<Vec<(Worker, Notice)>>,
    listeners: Mutex<Option<Vec<Listener>>>,
    log_status: Mutex<Option<LogStatus>>,
    /// What *measure* looks at, and how often that changed.
    wanted: Mutex<Wanted>,
    wanted_version: AtomicU64,
    on_change: Option<OnChange>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shared {
    pub(super) fn new(clock: Arc<dyn Clock>, about: About, on_change: Option<OnChange>) -> Self {
        let made_secs = clock.monotonic_secs();
        Self {
            clock,
            stop: AtomicBool::new(false),
            overflow: AtomicBool::new(false),
            slot: Mutex::new(Slot {
                snapshot: Arc::new(Snapshot {
                    about: Some(about),
                    ..Snapshot::default()
                }),
                made_secs,
            }),
            hearts: Default::default(),
            deaths: Mutex::new(Vec::new()),
            listeners: Mutex::new(Some(Vec::new())),
            log_status: Mutex::new(None),
            wanted: Mutex::default(),
            wanted_version: AtomicU64::new(0),
            on_change,
        }
    }

    /// What *measure* looks at.
    pub(super) fn wanted(&self) -> Wanted {
        lock(&self.wanted).clone()
    }

    /// Changes whenever what *measure* looks at does.
    pub(super) fn wanted_version(&self) -> u64 {
        self.wanted_version.load(Ordering::Acquire)
    }

    /// *measure* looks at this from now on.
    pub(super) fn want(&self, wanted: Wanted) {
        *lock(&self.wanted) = wanted;
        self.wanted_version.fetch_add(1, Ordering::Release);
    }

    pub(super) fn stopping(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    pub(super) fn beat(&self, worker: Worker) {
        let heart = &self.hearts[worker as usize];
        heart
            .at_secs
            .store(self.clock.monotonic_secs().to_bits(), Ordering::Relaxed);
        heart.alive.store(true, Ordering::Relaxed);
    }

    /// The thread came to its proper end.
    pub(super) fn ended(&self, worker: Worker) {
        self.hearts[worker as usize]
            .alive
            .store(false, Ordering::Relaxed);
        if worker == Worker::Measure {
            self.close_listeners();
        }
    }

    /// The thread died of a surprise.
    pub(super) fn died(&self, worker: Worker, why: &str) {
        tracing::error!(thread = worker.name(), why, "a thread died");
        self.ended(worker);
        lock(&self.deaths).push((
            worker,
            Notice {
                is_error: true,
                words: format!(
                    "The part of the program that {} has died ({why}). Nothing it shows can be \
                     trusted; end the program and start it again.",
                    worker.work()
                ),
            },
        ));
        let newest = Arc::clone(&lock(&self.slot).snapshot);
        // Whoever is called by it may be what the thread died of.
        let _ = catch_unwind(AssertUnwindSafe(|| self.publish(Snapshot::clone(&newest))));
    }

    pub(super) fn has_died(&self, worker: Worker) -> bool {
        lock(&self.deaths).iter().any(|(who, _)| *who == worker)
    }

    /// Age of the last sign of life of each living thread, seconds.
    fn heartbeats(&self, now_secs: f64) -> Vec<(&'static str, f64)> {
        Worker::ALL
            .into_iter()
            .filter(|worker| self.hearts[*worker as usize].alive.load(Ordering::Relaxed))
            .map(|worker| (worker.name(), self.age_secs(worker, now_secs)))
            .collect()
    }

    fn age_secs(&self, worker: Worker, now_secs: f64) -> f64 {
        let at_secs = f64::from_bits(self.hearts[worker as usize].at_secs.load(Ordering::Relaxed));
        (now_secs - at_secs).max(0.0)
    }

    /// Whether a thread that should be alive has given no sign of it for longer than that.
    pub(super) fn is_silent(&self, worker: Worker, now_secs: f64, longer_than_secs: f64) -> bool {
        self.hearts[worker as usize].alive.load(Ordering::Relaxed)
            && self.age_secs(worker, now_secs) > longer_than_secs
    }

    /// Puts a snapshot up as the newest; gives it its number and the signs of life.
    pub(super) fn publish(&self, mut snapshot: Snapshot) {
        let made_secs = self.clock.monotonic_secs();
        self.stamp(&mut snapshot, made_secs);
        {
            let mut slot = lock(&self.slot);
            snapshot.number = slot.snapshot.number + 1;
            slot.snapshot = Arc::new(snapshot);
            slot.made_secs = made_secs;
        }
        if let Some(on_change) = &self.on_change {
            on_change();
        }
    }

    /// Something that was asked for was not taken.
    pub(super) fn overflowed(&self) {
        self.overflow.store(true, Ordering::Relaxed);
    }

    /// Whether something asked for was not taken since the last look.
    pub(super) fn take_overflow(&self) -> bool {
        self.overflow.swap(false, Ordering::Relaxed)
    }

    /// The newest snapshot, with fresh ages when it has been standing for a while.
    pub(super) fn snapshot(&self) -> Arc<Snapshot> {
        let (newest, made_secs) = {
            let slot = lock(&self.slot);
            (Arc::clone(&slot.snapshot), slot.made_secs)
        };
        let now_secs = self.clock.monotonic_secs();
        if now_secs - made_secs < RESTAMP_SECS {
            return newest;
        }
        let mut snapshot = Snapshot::clone(&newest);
        if snapshot.frame.is_some() {
            snapshot.frame_age_secs += now_secs - made_secs;
        }
        self.stamp(&mut snapshot, now_secs);
        Arc::new(snapshot)
    }

    /// Signs of life, and what follows from their absence.
    fn stamp(&self, snapshot: &mut Snapshot, now_secs: f64) {
        snapshot.heartbeats = self.heartbeats(now_secs);
        let deaths = lock(&self.deaths);
        if let Some((_, notice)) = deaths.first() {
            snapshot.notice = Some(notice.clone());
        }
        let nobody_died = deaths.is_empty();
        let measure_died = deaths.iter().any(|(worker, _)| *worker == Worker::Measure);
        drop(deaths);
        let measure_hangs = self.is_silent(Worker::Measure, now_secs, HUNG_SECS);
        if measure_hangs && nobody_died {
            snapshot.notice = Some(Notice {
                is_error: true,
                words: "The part of the program that counts the drops does not answer. What it \
                        showed before is not shown as true; if this stays, end the program and \
                        start it again."
                    .to_owned(),
            });
        }
        let is_live = snapshot.about.as_ref().is_some_and(|about| about.live);
        let capture_hangs = is_live && self.is_silent(Worker::Capture, now_secs, CAPTURE_HUNG_SECS);
        if capture_hangs && nobody_died && !measure_hangs {
            snapshot.notice = Some(Notice {
                is_error: true,
                words: "The part of the program that takes the pictures does not answer; the \
                        camera's driver may hang. Unplug the camera and plug it in again; if that \
                        does not help, start the program again."
                    .to_owned(),
            });
        }
        if measure_died || measure_hangs {
            blank(snapshot);
        }
    }

    /// A new listener.
    pub(super) fn subscribe(&self, capacity: usize) -> Receiver<Arc<Event>> {
        let (sender, receiver) = sync_channel(capacity);
        if let Some(listeners) = lock(&self.listeners).as_mut() {
            listeners.push(Listener {
                sender,
                missed: None,
            });
        }
        receiver
    }

    /// Passes an event to all who listen; never waits.
    pub(super) fn pass_on(&self, event: &Arc<Event>, at_secs: f64) {
        if let Some(listeners) = lock(&self.listeners).as_mut() {
            listeners.retain_mut(|listener| listener.pass(event, at_secs));
        }
    }

    /// No more events will come.
    pub(super) fn close_listeners(&self) {
        *lock(&self.listeners) = None;
    }

    pub(super) fn set_log_status(&self, status: LogStatus) {
        *lock(&self.log_status) = Some(status);
    }

    pub(super) fn log_status(&self) -> Option<LogStatus> {
        lock(&self.log_status).clone()
    }
}

impl Listener {
    /// Whether it still listens.
    fn pass(&mut self, event: &Arc<Event>, at_secs: f64) -> bool {
        if let Some((from_secs, count)) = self.missed {
            let told = Event::Gap {
                from_secs,
                to_secs: at_secs,
                why: format!("{count} events were not passed on because nobody took them in time"),
            };
            match self.sender.try_send(Arc::new(told)) {
                Ok(()) => self.missed = None,
                Err(TrySendError::Full(_)) => {
                    self.missed = Some((from_secs, count + 1));
                    return true;
                }
                Err(TrySendError::Disconnected(_)) => return false,
            }
        }
        match self.sender.try_send(Arc::clone(event)) {
            Ok(()) => true,
            Err(TrySendError::Full(_)) => {
                self.missed = Some((at_secs, 1));
                true
            }
            Err(TrySendError::Disconnected(_)) => false,
        }
    }
}

/// Nobody counts: no feed is shown as seen, and an alarm says so.
fn blank(snapshot: &mut Snapshot) {
    for feed in &mut snapshot.feeds {
        feed.reading = None;
        feed.state = FeedState::CannotSee;
        feed.beads.clear();
    }
    let told = snapshot
        .alarms
        .iter()
        .any(|alarm| alarm.feed.is_none() && alarm.cause == Cause::CannotSee);
    if !told {
        snapshot.alarms.insert(
            0,
            Alarm {
                feed: None,
                cause: Cause::CannotSee,
                state: AlarmState::Unacknowledged,
                since_secs: snapshot.now_secs,
                step: Step::default(),
            },
        );
    }
}
