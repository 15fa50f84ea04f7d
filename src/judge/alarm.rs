//! The life of alarms: one per feed and cause, with on-delay, off-delay, acknowledging, shelving
//! and re-alarm, in the states of ANSI/ISA-18.2 and IEC 62682. It does not know why a condition is
//! active, nor how an alarm sounds.
//!
//! Transitions: normal → unacknowledged (the condition has lasted the on-delay); unacknowledged →
//! acknowledged (a person); acknowledged → normal (clear for the off-delay); unacknowledged →
//! returned to normal unacknowledged (clear); that → unacknowledged (it recurs) or normal (a
//! person). Source: public descriptions of ANSI/ISA-18.2-2016. Every change says what happened and
//! by whom or what, so that the life of an alarm can be written down.

use std::collections::BTreeMap;

use crate::base::FeedNumber;

use super::{Alarm, AlarmSettings, AlarmState, By, Cause, Happened, Step};

/// How a condition stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Condition {
    /// There; an alarm comes after its on-delay.
    Active,
    /// There beyond doubt; an alarm comes at once.
    Certain,
    /// Gone; an alarm goes after its off-delay.
    Clear,
    /// Not to be known now; everything stays as it is and no delay runs.
    Unknown,
}

/// A feed, or none for the whole instrument, and a cause.
type Key = (Option<FeedNumber>, Cause);

/// All alarms of an instrument. Every method that may change one takes the source time and gives
/// back the alarms that changed, as they stand after each change, in order. Time never runs
/// backwards here: an earlier time, or one that is no number, counts as the latest one seen.
#[derive(Clone, Debug, Default)]
pub struct AlarmBook {
    settings: AlarmSettings,
    now_secs: f64,
    entries: BTreeMap<Key, Entry>,
}

#[derive(Clone, Copy, Debug)]
struct Entry {
    state: AlarmState,
    since_secs: f64,
    happened: Happened,
    by: By,
    /// The condition after its delays.
    is_active: bool,
    /// The condition as last told, and for how many known seconds it has stood so.
    told: Condition,
    told_for_secs: f64,
    /// Known seconds since a person acknowledged.
    acknowledged_for_secs: f64,
    shelved_until_secs: f64,
}

impl AlarmBook {
    /// A book without alarms.
    #[must_use]
    pub fn new(settings: AlarmSettings) -> Self {
        Self {
            settings,
            ..Self::default()
        }
    }

    /// Tells how a condition stands now.
    pub fn condition(
        &mut self,
        at_secs: f64,
        feed: Option<FeedNumber>,
        cause: Cause,
        condition: Condition,
    ) -> Vec<Alarm> {
        let mut changes = self.tick(at_secs);
        let now_secs = self.now_secs;
        let key = (feed, cause);
        let is_there = matches!(condition, Condition::Active | Condition::Certain);
        if !is_there && !self.entries.contains_key(&key) {
            return changes; // Nothing was ever wrong here.
        }
        let entry = self.entries.entry(key).or_insert(Entry::new(now_secs));
        entry.tell(condition);
        if let Some(alarm) = entry.settle(key, now_secs, &self.settings) {
            changes.push(alarm);
        }
        changes
    }

    /// Lets time pass: delays run out, shelving ends, a forgotten alarm comes again.
    pub fn tick(&mut self, at_secs: f64) -> Vec<Alarm> {
        let mut passed_secs = 0.0;
        if at_secs.is_finite() && at_secs > self.now_secs {
            passed_secs = at_secs - self.now_secs;
            self.now_secs = at_secs;
        }
        let now_secs = self.now_secs;
        let mut changes = Vec::new();
        for (key, entry) in &mut self.entries {
            entry.pass(passed_secs);
            changes.extend(entry.settle(*key, now_secs, &self.settings));
        }
        changes
    }

    /// A person acknowledges one alarm: an active one becomes acknowledged, one that is over
    /// becomes normal. Nothing else is changed by it; a condition is never cleared.
    pub fn acknowledge(
        &mut self,
        at_secs: f64,
        feed: Option<FeedNumber>,
        cause: Cause,
    ) -> Vec<Alarm> {
        let mut changes = self.tick(at_secs);
        let key = (feed, cause);
        let now_secs = self.now_secs;
        if let Some(entry) = self.entries.get_mut(&key) {
            changes.extend(entry.acknowledge(key, now_secs));
        }
        changes
    }

    /// A person acknowledges everything there is.
    pub fn acknowledge_all(&mut self, at_secs: f64) -> Vec<Alarm> {
        let mut changes = self.tick(at_secs);
        let now_secs = self.now_secs;
        for (key, entry) in &mut self.entries {
            changes.extend(entry.acknowledge(*key, now_secs));
        }
        changes
    }

    /// A person shelves one alarm for so many seconds (at most what the settings allow; none or
    /// less ends the shelving). While shelved it is silent whatever the condition; afterwards it
    /// is unacknowledged if the condition is active, normal if not. Shelving what is shelved
    /// already moves its end, and that is a change too.
    pub fn shelve(
        &mut self,
        at_secs: f64,
        feed: Option<FeedNumber>,
        cause: Cause,
        for_secs: f64,
    ) -> Vec<Alarm> {
        let mut changes = self.tick(at_secs);
        let now_secs = self.now_secs;
        let key = (feed, cause);
        let for_secs = if for_secs > 0.0 {
            for_secs.min(self.settings.longest_shelving_secs)
        } else {
            0.0
        };
        if for_secs > 0.0 {
            let entry = self.entries.entry(key).or_insert(Entry::new(now_secs));
            entry.shelved_until_secs = now_secs + for_secs;
            changes.push(entry.put(
                key,
                now_secs,
                AlarmState::Shelved,
                (Happened::Shelved, By::Person),
            ));
        } else if let Some(entry) = self.entries.get_mut(&key)
            && entry.state == AlarmState::Shelved
        {
            entry.shelved_until_secs = now_secs;
            changes.extend(entry.unshelve(key, now_secs, By::Person));
        }
        changes
    }

    /// A person takes one alarm off the shelf before its time; nothing when it is not shelved.
    pub fn unshelve(&mut self, at_secs: f64, feed: Option<FeedNumber>, cause: Cause) -> Vec<Alarm> {
        self.shelve(at_secs, feed, cause, 0.0)
    }

    /// When a shelved alarm comes off the shelf, source time in seconds; none when not shelved.
    #[must_use]
    pub fn shelved_until_secs(&self, feed: Option<FeedNumber>, cause: Cause) -> Option<f64> {
        self.entries
            .get(&(feed, cause))
            .filter(|entry| entry.state == AlarmState::Shelved)
            .map(|entry| entry.shelved_until_secs)
    }

    /// Forgets a feed that is no longer watched (its outline was taken away): its alarms become
    /// normal.
    pub fn forget(&mut self, at_secs: f64, feed: FeedNumber) -> Vec<Alarm> {
        let mut changes = self.tick(at_secs);
        let now_secs = self.now_secs;
        for (key, entry) in &mut self.entries {
            if key.0 == Some(feed) {
                let step = (Happened::Forgotten, By::Calibration);
                changes.extend(entry.go(*key, now_secs, AlarmState::Normal, step));
            }
        }
        self.entries.retain(|key, _| key.0 != Some(feed));
        changes
    }

    /// All alarms that are not normal, most pressing first: what is active and unacknowledged
    /// before what is acknowledged, then what is over but unacknowledged, then what is shelved;
    /// among those by the priority of the cause, then the feed. A person who knows of a stopped
    /// feed must still see the new alarm that sounds.
    #[must_use]
    pub fn standing(&self) -> Vec<Alarm> {
        let mut standing: Vec<Alarm> = self
            .entries
            .iter()
            .filter(|(_, entry)| entry.state != AlarmState::Normal)
            .map(|(key, entry)| entry.alarm(*key))
            .collect();
        let group = |state: AlarmState| match state {
            AlarmState::Unacknowledged => 0,
            AlarmState::Acknowledged => 1,
            AlarmState::ReturnedUnacknowledged => 2,
            AlarmState::Shelved => 3,
            AlarmState::Normal => 4,
        };
        standing.sort_by_key(|alarm| (group(alarm.state), alarm.cause.priority(), alarm.feed));
        standing
    }

    /// The alarm of a feed and cause as it stands.
    #[must_use]
    pub fn state(&self, feed: Option<FeedNumber>, cause: Cause) -> AlarmState {
        self.entries
            .get(&(feed, cause))
            .map_or(AlarmState::Normal, |entry| entry.state)
    }
}

impl Entry {
    fn new(now_secs: f64) -> Self {
        Self {
            state: AlarmState::Normal,
            since_secs: now_secs,
            happened: Happened::default(),
            by: By::default(),
            is_active: false,
            told: Condition::Clear,
            told_for_secs: 0.0,
            acknowledged_for_secs: 0.0,
            shelved_until_secs: now_secs,
        }
    }

    fn alarm(&self, (feed, cause): Key) -> Alarm {
        Alarm {
            feed,
            cause,
            state: self.state,
            since_secs: self.since_secs,
            step: Step {
                happened: self.happened,
                by: self.by,
                shelved_until_secs: (self.state == AlarmState::Shelved)
                    .then_some(self.shelved_until_secs),
            },
        }
    }

    fn pass(&mut self, secs: f64) {
        if self.told != Condition::Unknown {
            self.told_for_secs += secs;
        }
        self.acknowledged_for_secs += secs;
    }

    fn tell(&mut self, condition: Condition) {
        let is_there = |c: Condition| matches!(c, Condition::Active | Condition::Certain);
        let was_unknown = self.told == Condition::Unknown;
        // After not knowing, a delay starts anew: what went on meanwhile is not known.
        if was_unknown || is_there(self.told) != is_there(condition) {
            self.told_for_secs = 0.0;
        }
        self.told = condition;
    }

    /// Brings the state in line with the condition and the time.
    fn settle(&mut self, key: Key, now_secs: f64, settings: &AlarmSettings) -> Option<Alarm> {
        let delays = settings.delays(key.1);
        match self.told {
            Condition::Certain => self.is_active = true,
            Condition::Active if self.told_for_secs >= wait(delays.on_secs) => {
                self.is_active = true;
            }
            Condition::Clear if self.told_for_secs >= wait(delays.off_secs) => {
                self.is_active = false;
            }
            Condition::Active | Condition::Clear | Condition::Unknown => {}
        }
        match (self.state, self.is_active) {
            (AlarmState::Shelved, _) if now_secs >= self.shelved_until_secs => {
                self.unshelve(key, now_secs, By::Time)
            }
            (AlarmState::Normal, true) => {
                let step = (Happened::Raised, By::Condition);
                self.go(key, now_secs, AlarmState::Unacknowledged, step)
            }
            (AlarmState::ReturnedUnacknowledged, true) => {
                let step = (Happened::RaisedAgain, By::Condition);
                self.go(key, now_secs, AlarmState::Unacknowledged, step)
            }
            (AlarmState::Acknowledged, true)
                if key.1.is_pressing() && self.acknowledged_for_secs >= settings.re_alarm_secs =>
            {
                let step = (Happened::ReAlarmed, By::Time);
                self.go(key, now_secs, AlarmState::Unacknowledged, step)
            }
            (AlarmState::Unacknowledged, false) => {
                let step = (Happened::Returned, By::Condition);
                self.go(key, now_secs, AlarmState::ReturnedUnacknowledged, step)
            }
            (AlarmState::Acknowledged, false) => {
                let step = (Happened::Returned, By::Condition);
                self.go(key, now_secs, AlarmState::Normal, step)
            }
            _ => None,
        }
    }

    /// Off the shelf: what the condition asks for now.
    fn unshelve(&mut self, key: Key, now_secs: f64, by: By) -> Option<Alarm> {
        let state = if self.is_active {
            AlarmState::Unacknowledged
        } else {
            AlarmState::Normal
        };
        self.go(key, now_secs, state, (Happened::Unshelved, by))
    }

    fn acknowledge(&mut self, key: Key, now_secs: f64) -> Option<Alarm> {
        let step = (Happened::Acknowledged, By::Person);
        match self.state {
            AlarmState::Unacknowledged => {
                self.acknowledged_for_secs = 0.0;
                self.go(key, now_secs, AlarmState::Acknowledged, step)
            }
            AlarmState::ReturnedUnacknowledged => self.go(key, now_secs, AlarmState::Normal, step),
            AlarmState::Normal | AlarmState::Acknowledged | AlarmState::Shelved => None,
        }
    }

    fn go(
        &mut self,
        key: Key,
        now_secs: f64,
        state: AlarmState,
        step: (Happened, By),
    ) -> Option<Alarm> {
        (self.state != state).then(|| self.put(key, now_secs, state, step))
    }

    fn put(
        &mut self,
        key: Key,
        now_secs: f64,
        state: AlarmState,
        (happened, by): (Happened, By),
    ) -> Alarm {
        self.state = state;
        self.since_secs = now_secs;
        self.happened = happened;
        self.by = by;
        self.alarm(key)
    }
}

/// A delay that is no number is none.
fn wait(secs: f64) -> f64 {
    if secs.is_nan() { 0.0 } else { secs }
}
