//! Feeds that stop: what must be told of them, and when.

use beadtally::judge::FeedState;
use beadtally::rate::OWN_INTERVALS_FROM_DROPS;
use beadtally::run::{FeedSnapshot, Snapshot};

use super::Judge;
use super::trouble::lock;

/// A feed that stands still for so long, seconds of seen time, must be told to have stopped: 2½
/// intervals of 5 s, and more where its own scatter asks for it.
pub const STOPPED_WITHIN_SECS: f64 = 40.0;
/// A reading that began anew so long before a stop may have fewer than three drops, seconds.
const NEW_READING_SECS: f64 = 25.0;
/// Then the band's low limit judges, after 75 s: within such a time the stop must be told, seconds.
pub const STOPPED_ANEW_WITHIN_SECS: f64 = 90.0;
/// So long before a stop the feed is asked whether it ran, seconds, ...
const RAN_SECS: f64 = 40.0;
/// ... and so many drops must have passed or been counted then. After fewer, with a silence before them, it
/// passes for a feed without any regularity, of which *low* is all that can be said.
const RAN_DROPS: usize = 4;

/// Feeds that stopped, and what was told of them.
#[derive(Default)]
pub struct Stops {
    pub all: u64,
    /// Those of a reading that had just begun anew.
    pub anew: u64,
    /// Those that were not told, when they began, seconds.
    pub missed: Vec<f64>,
    /// The one that is under way was told.
    pub is_told: bool,
    /// Since when it is under way, seconds.
    standing_secs: Option<f64>,
    /// The feed as the reading stood when it stopped; none until that is known.
    before: Option<Before>,
}

/// A feed when it stopped.
struct Before {
    /// The reading rested on too few drops to judge by.
    few_drops: bool,
    /// Hardly any drop was counted in the time before.
    hardly_ran: bool,
}

impl Judge {
    /// A feed that truly stands still must be told to.
    pub fn watch_stops(&mut self, snapshot: &Snapshot) {
        let standing_secs = lock(&self.truth).stopped_secs;
        if standing_secs.is_some() && self.stops.standing_secs.is_none() {
            self.stops.is_told = false;
            self.stops.before = None;
        }
        // The source is ahead of what is read.
        if let Some(since) = standing_secs.or(self.stops.standing_secs)
            && self.stops.before.is_none()
            && snapshot.now_secs >= since
        {
            self.stops.before = Some(self.before(since, snapshot));
            self.note_reading(snapshot);
        }
        if let (Some(since), None) = (self.stops.standing_secs, standing_secs) {
            self.is_over(since, snapshot);
        }
        self.stops.standing_secs = standing_secs;
    }

    /// After another stop, or somebody in the way, a reading rests on few drops, too.
    fn before(&self, since: f64, snapshot: &Snapshot) -> Before {
        let is_known = |feed: &FeedSnapshot| {
            feed.reading
                .is_some_and(|r| r.drops >= OWN_INTERVALS_FROM_DROPS)
        };
        let ran = |at: &&f64| (since - RAN_SECS..since).contains(*at);
        let (told, truth) = (&self.counted, lock(&self.truth));
        let known = truth.beads.iter().chain(&self.past).map(|(at, _)| at);
        let is_unseen = |at: &&f64| self.is_unseen(**at);
        let seen = known.filter(ran).filter(|at| !is_unseen(at)).count();
        Before {
            few_drops: !snapshot.feeds.iter().all(is_known),
            hardly_ran: seen.max(told.iter().filter(ran).count()) < RAN_DROPS,
        }
    }

    fn is_over(&mut self, since: f64, snapshot: &Snapshot) {
        let Some(before) = self.stops.before.take() else {
            return;
        };
        let seen =
            self.blind.iter().all(|(_, to)| *to < since - 30.0) && self.blind_since_secs.is_none();
        let anew_secs = self.diary.begun_anew_secs(since - NEW_READING_SECS);
        let is_anew = anew_secs.is_some() || before.few_drops || before.hardly_ran;
        let from_secs = anew_secs.map_or(since, |anew| anew.max(since));
        let within_secs = if is_anew {
            STOPPED_ANEW_WITHIN_SECS
        } else {
            STOPPED_WITHIN_SECS
        };
        if !seen || self.now_secs - from_secs <= within_secs {
            return;
        }
        self.stops.all += 1;
        self.stops.anew += u64::from(is_anew);
        // What was told before, and holds still, is not told again.
        let is_told = |feed: &FeedSnapshot| {
            feed.state == FeedState::Stopped
                || (before.hardly_ran && !before.few_drops && feed.state == FeedState::Low)
        };
        if !self.stops.is_told && !snapshot.feeds.iter().any(is_told) {
            self.stops.missed.push(since);
            self.note_reading(snapshot);
            self.tell("missed stop", since, "stop");
            for line in self.diary.states(0.0) {
                println!("{line}");
            }
        }
    }

    /// What was read as a stop began, or as it was over, untold.
    fn note_reading(&mut self, snapshot: &Snapshot) {
        for feed in &snapshot.feeds {
            let (at_secs, read) = (snapshot.now_secs, feed.reading);
            let words = format!(
                "state: {:?}, last drop {:?}, read {read:?}",
                feed.state, feed.last_drop_secs
            );
            self.diary.note(at_secs, at_secs, words);
        }
    }
}
