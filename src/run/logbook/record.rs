//! What goes into the logbook: the start of a run, its entries in order, its end.

use std::sync::Arc;

use crate::base::FeedNumber;
use crate::capture::About;
use crate::glass::Calibration;
use crate::run::Event;

/// The head of a run.
#[derive(Clone, Debug)]
pub struct RunStart {
    /// Tells this run from every other, so that writing it twice is writing it once.
    pub key: String,
    /// A person's words for it; may be empty.
    pub title: String,
    /// What was watched.
    pub about: About,
    /// Wall time of its start, seconds since 1970-01-01T00:00:00Z.
    pub started_wall_secs: f64,
    /// Source time of its start, seconds.
    pub from_secs: f64,
    /// The calibration in force at its start.
    pub calibration: Arc<Calibration>,
}

impl RunStart {
    /// A run that starts at a source time and the wall time that belongs to it.
    #[must_use]
    pub fn new(
        title: String,
        about: About,
        from_secs: f64,
        started_wall_secs: f64,
        calibration: Arc<Calibration>,
    ) -> Self {
        Self {
            key: format!("{started_wall_secs:.6}-{:016x}", rand::random::<u64>()),
            title,
            about,
            started_wall_secs,
            from_secs,
            calibration,
        }
    }
}

/// One thing to be kept.
#[derive(Clone, Debug)]
pub enum Entry {
    /// The run itself. The other entries bring it along too, so this only makes it show at once.
    Start,
    /// What the instrument told.
    Event(Arc<Event>),
    /// Wall time against source time, once a minute and when the computer's clock was set.
    Clock {
        /// By how much the wall clock jumped since the last record, seconds; 0 when it did not.
        stepped_secs: f64,
    },
    /// Another calibration came in force.
    Calibration(Arc<Calibration>),
    /// The run ended as it should.
    End,
}

/// An entry with its run, place and times.
#[derive(Clone, Debug)]
pub struct Item {
    /// Its run.
    pub run: Arc<RunStart>,
    /// Its place within the run, from 0; no two entries of a run share one.
    pub sequence: i64,
    /// Source time, seconds.
    pub at_secs: f64,
    /// Wall time that belongs to it, seconds since 1970-01-01T00:00:00Z.
    pub wall_secs: f64,
    /// What is kept.
    pub entry: Entry,
}

impl Item {
    /// Whether it may go first when there is no room: told again soon, or never missed.
    #[must_use]
    pub fn is_spare(&self) -> bool {
        match &self.entry {
            Entry::Clock { .. } => true,
            Entry::Event(event) => matches!(**event, Event::Reading { .. } | Event::State { .. }),
            Entry::Start | Entry::Calibration(_) | Entry::End => false,
        }
    }
}

/// Source time that belongs to an event: its own, or its end.
#[must_use]
pub fn event_secs(event: &Event) -> f64 {
    match event {
        Event::Bead { bead, .. } => bead.at_secs,
        Event::Reading { at_secs, .. }
        | Event::State { at_secs, .. }
        | Event::Alarm { at_secs, .. }
        | Event::AsFound { at_secs, .. }
        | Event::Mark { at_secs, .. }
        | Event::Tap { at_secs, .. }
        | Event::HandCheck { at_secs, .. } => *at_secs,
        Event::Blind { to_secs, .. } | Event::Gap { to_secs, .. } => *to_secs,
    }
}

/// The feed's number as the tables keep it.
#[must_use]
pub fn feed_column(feed: Option<FeedNumber>) -> Option<i64> {
    feed.map(|feed| i64::from(feed.0))
}
