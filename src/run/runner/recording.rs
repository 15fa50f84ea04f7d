//! The run under way: gives each entry its place and its wall time and hands it to the logbook.
//! It writes nothing itself.

use std::sync::Arc;

use crate::base::Clock;
use crate::capture::About;
use crate::glass::Calibration;
use crate::run::logbook::record::event_secs;
use crate::run::logbook::{Entry, Item, LogThread, RunStart};
use crate::run::{Event, RunSnapshot};

/// How often wall time is set against source time, seconds.
const CLOCK_EVERY_SECS: f64 = 60.0;
/// A wall clock that moved by this much against the monotonic one was set, seconds. Time servers
/// that only slew stay far below it.
const STEP_SECS: f64 = 1.0;

/// Ties source time to the two clocks: the newest picture's stamp and when it came.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Tie {
    /// Source time, seconds.
    pub(super) at_secs: f64,
    /// Monotonic time, seconds.
    pub(super) arrived_secs: f64,
}

impl Tie {
    /// Wall time that belongs to a source time.
    pub(super) fn wall_secs(self, at_secs: f64, clock: &dyn Clock) -> f64 {
        clock.wall_secs() - (clock.monotonic_secs() - self.arrived_secs) + (at_secs - self.at_secs)
    }

    /// Source time now.
    pub(super) fn source_secs(self, clock: &dyn Clock) -> f64 {
        self.at_secs + (clock.monotonic_secs() - self.arrived_secs).max(0.0)
    }

    /// Source time at a monotonic time, which may be a moment before the newest picture, seconds.
    pub(super) fn source_secs_at(self, monotonic_secs: f64) -> f64 {
        self.at_secs + (monotonic_secs - self.arrived_secs)
    }
}

/// One run being recorded.
pub(super) struct RunUnderWay {
    start: Arc<RunStart>,
    next_sequence: i64,
    drops: u64,
    /// Monotonic time of the last clock record, seconds.
    clock_record_secs: f64,
    /// Wall minus monotonic time at the last look, seconds.
    offset_secs: f64,
}

impl RunUnderWay {
    /// Starts a run and writes its head.
    pub(super) fn start(
        title: String,
        about: About,
        from_secs: f64,
        tie: Tie,
        calibration: Arc<Calibration>,
        log: &LogThread,
        clock: &dyn Clock,
    ) -> Self {
        let wall_secs = tie.wall_secs(from_secs, clock);
        let start = RunStart::new(title, about, from_secs, wall_secs, calibration);
        let mut run = Self {
            start: Arc::new(start),
            next_sequence: 0,
            drops: 0,
            clock_record_secs: clock.monotonic_secs(),
            offset_secs: clock.wall_secs() - clock.monotonic_secs(),
        };
        run.keep(Entry::Start, from_secs, wall_secs, log);
        run.keep(
            Entry::Clock { stepped_secs: 0.0 },
            from_secs,
            wall_secs,
            log,
        );
        run
    }

    fn keep(&mut self, entry: Entry, at_secs: f64, wall_secs: f64, log: &LogThread) {
        log.keep(Item {
            run: Arc::clone(&self.start),
            sequence: self.next_sequence,
            at_secs,
            wall_secs,
            entry,
        });
        self.next_sequence += 1;
    }

    /// Keeps an event.
    pub(super) fn event(
        &mut self,
        event: &Arc<Event>,
        tie: Tie,
        log: &LogThread,
        clock: &dyn Clock,
    ) {
        if event.is_drop() {
            self.drops += 1;
        }
        let at_secs = event_secs(event);
        let wall_secs = tie.wall_secs(at_secs, clock);
        self.keep(Entry::Event(Arc::clone(event)), at_secs, wall_secs, log);
    }

    /// Another calibration is in force.
    pub(super) fn calibration(
        &mut self,
        calibration: &Arc<Calibration>,
        tie: Tie,
        log: &LogThread,
        clock: &dyn Clock,
    ) {
        let wall_secs = tie.wall_secs(tie.at_secs, clock);
        self.keep(
            Entry::Calibration(Arc::clone(calibration)),
            tie.at_secs,
            wall_secs,
            log,
        );
    }

    /// Looks at the clocks; keeps a record once a minute and when the wall clock was set.
    pub(super) fn watch_clock(&mut self, tie: Tie, log: &LogThread, clock: &dyn Clock) {
        let monotonic_secs = clock.monotonic_secs();
        let offset_secs = clock.wall_secs() - monotonic_secs;
        let moved_secs = offset_secs - self.offset_secs;
        let stepped = moved_secs.abs() >= STEP_SECS;
        if stepped || monotonic_secs - self.clock_record_secs >= CLOCK_EVERY_SECS {
            self.clock_record_secs = monotonic_secs;
            self.offset_secs = offset_secs;
            let stepped_secs = if stepped { moved_secs } else { 0.0 };
            self.keep(
                Entry::Clock { stepped_secs },
                tie.source_secs(clock),
                clock.wall_secs(),
                log,
            );
        }
    }

    /// Ends the run at a source time.
    pub(super) fn end(mut self, at_secs: f64, tie: Tie, log: &LogThread, clock: &dyn Clock) {
        let wall_secs = tie.wall_secs(at_secs, clock);
        self.keep(Entry::End, at_secs, wall_secs, log);
    }

    /// What a screen may know of it. Its number is 0 until the logbook has given it one.
    pub(super) fn snapshot(&self, log: &LogThread) -> RunSnapshot {
        let id = log
            .status()
            .run
            .filter(|(key, _)| *key == self.start.key)
            .map_or(0, |(_, id)| id);
        RunSnapshot {
            id,
            from_secs: self.start.from_secs,
            drops: self.drops,
            until_secs: None,
        }
    }

    /// Source time of its start, seconds.
    pub(super) fn started_secs(&self) -> f64 {
        self.start.from_secs
    }
}
