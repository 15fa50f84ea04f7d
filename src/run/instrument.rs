//! The instrument: frames in, readings out. Pure: no thread, no file, no clock — the same frames
//! give the same events, byte for byte. Threads, screens and the logbook live around it.

use crate::base::{BlindWhy, FeedNumber, Frame};
use crate::glass::Calibration;
use crate::judge::{Alarm, AlarmBook, AlarmSettings, Cause, Condition};
use crate::run::event::Event;
use crate::run::feed::{Feed, Sameness};
use crate::run::place::{Place, Standing};
use crate::run::snapshot::FeedSnapshot;

/// Counts and judges all feeds of one lubricator.
///
/// ```
/// use beadtally::{glass::Calibration, run::Instrument};
/// let none = Calibration {
///     picture_width_px: 640,
///     picture_height_px: 480,
///     camera_identity: None,
///     feeds: Vec::new(),
/// };
/// let mut instrument = Instrument::new(none);
/// assert!(instrument.finish().is_empty());
/// ```
#[derive(Debug)]
pub struct Instrument {
    calibration: Calibration,
    feeds: Vec<Feed>,
    alarms: AlarmBook,
    last: Option<(u64, f64)>,
    now_secs: f64,
    camera_lost: bool,
    place: Place,
    carried: u64,
}

impl Instrument {
    /// An instrument for known glasses. It begins to watch at the first frame.
    #[must_use]
    pub fn new(calibration: Calibration) -> Self {
        let feeds = feeds_of(&calibration, 0.0);
        Self {
            calibration,
            feeds,
            alarms: AlarmBook::new(AlarmSettings::default()),
            last: None,
            now_secs: 0.0,
            camera_lost: false,
            place: Place::default(),
            carried: 0,
        }
    }

    /// Takes one frame. A frame that is not newer than the one before (its stamp stands still,
    /// runs backwards or is no number) is told as a gap and left out.
    pub fn step(&mut self, frame: &Frame) -> Vec<Event> {
        let mut events = Vec::new();
        let at_secs = frame.at_secs;
        if let Some((number, before)) = self.last {
            if !at_secs.is_finite() || at_secs <= before {
                return vec![Event::Gap {
                    from_secs: before,
                    to_secs: before,
                    why: "a frame came with a time that is not after the one before it; it was left out"
                        .to_owned(),
                }];
            }
            let lost = frame.number.saturating_sub(number).saturating_sub(1);
            if lost > 0 {
                events.push(Event::Gap {
                    from_secs: before,
                    to_secs: at_secs,
                    why: format!("{lost} frames were lost"),
                });
            }
        } else if !at_secs.is_finite() {
            return events;
        } else {
            for feed in &mut self.feeds {
                feed.begin(at_secs);
            }
        }
        self.last = Some((frame.number, at_secs));
        self.now_secs = at_secs;
        self.camera_lost = false;
        let mut same = true;
        for feed in &mut self.feeds {
            same &= feed.look(frame);
        }
        let sameness = if same && !self.feeds.is_empty() {
            Sameness::Repeated
        } else {
            Sameness::New
        };
        for feed in &mut self.feeds {
            events.extend(feed.count(at_secs, sameness));
        }
        if sameness == Sameness::New {
            self.follow(frame, &mut events);
        }
        self.judge(&mut events);
        events
    }

    /// Carries the outlines along when the camera was moved for good or drifts.
    fn follow(&mut self, frame: &Frame, events: &mut Vec<Event>) {
        let standing: Vec<Standing> = self.feeds.iter().map(Feed::standing).collect();
        let Some(carry) = self.place.look(frame, &standing) else {
            return;
        };
        for (index, outline) in carry.outlines {
            if let Some(feed) = self.feeds.get_mut(index) {
                events.extend(feed.carry(outline, frame, carry.why));
            }
        }
        self.carried += 1;
        self.take_calibrations();
        if let Some(words) = carry.words {
            events.push(Event::Mark {
                at_secs: frame.at_secs,
                feed: None,
                words,
            });
        }
    }

    /// The calibration in force is what the feeds have.
    fn take_calibrations(&mut self) {
        self.calibration.feeds = self.feeds.iter().map(|f| f.calibration.clone()).collect();
    }

    /// How many times outlines were carried along with a moved camera: the calibration in force is
    /// then another than the one given.
    #[must_use]
    pub fn carried(&self) -> u64 {
        self.carried
    }

    /// No frame came: time goes on, and what cannot be seen is said.
    pub fn no_frame(&mut self, at_secs: f64, why: BlindWhy) -> Vec<Event> {
        let mut events = Vec::new();
        if !at_secs.is_finite() || at_secs <= self.now_secs {
            return events;
        }
        self.now_secs = at_secs;
        self.camera_lost = why == BlindWhy::CameraLost;
        for feed in &mut self.feeds {
            events.extend(feed.no_frame(at_secs, why));
        }
        self.judge(&mut events);
        events
    }

    /// A frame came that could not be used.
    pub fn spoiled(&mut self, at_secs: f64, why: &str) -> Vec<Event> {
        let from_secs = self.last.map_or(at_secs, |(_, before)| before.min(at_secs));
        vec![Event::Gap {
            from_secs,
            to_secs: at_secs.max(from_secs),
            why: why.to_owned(),
        }]
    }

    /// Keeps a person's note. One on a feed says that its valve was moved: its reading starts
    /// anew, because the drops before belong to another setting.
    pub fn mark(&mut self, feed: Option<FeedNumber>, words: String) -> Vec<Event> {
        for moved in self.feeds.iter_mut().filter(|f| feed == Some(f.number)) {
            moved.start_new_reading(self.now_secs);
        }
        vec![Event::Mark {
            at_secs: self.now_secs,
            feed,
            words,
        }]
    }

    /// Acknowledges one alarm.
    pub fn acknowledge(&mut self, feed: Option<FeedNumber>, cause: Cause) -> Vec<Event> {
        let changes = self.alarms.acknowledge(self.now_secs, feed, cause);
        self.alarm_events(changes)
    }

    /// Acknowledges all alarms.
    pub fn acknowledge_all(&mut self) -> Vec<Event> {
        let changes = self.alarms.acknowledge_all(self.now_secs);
        self.alarm_events(changes)
    }

    /// Tells the instrument of a condition that it cannot see itself (the logbook).
    pub fn condition(&mut self, cause: Cause, condition: Condition) -> Vec<Event> {
        let changes = self.alarms.condition(self.now_secs, None, cause, condition);
        self.alarm_events(changes)
    }

    /// Puts another calibration in force. Feeds whose outline is unchanged, or was carried along
    /// since, keep their counts.
    pub fn recalibrate(&mut self, calibration: Calibration) -> Vec<Event> {
        let mut events = Vec::new();
        let mut old: Vec<Option<Feed>> = std::mem::take(&mut self.feeds)
            .into_iter()
            .map(Some)
            .collect();
        let mut feeds = feeds_of(&calibration, self.now_secs);
        let mut kept_count = 0;
        for feed in &mut feeds {
            let kept = old.iter_mut().find(|o| {
                o.as_ref().is_some_and(|o| {
                    o.number == feed.number && o.has_outline(&feed.calibration.outline)
                })
            });
            if let Some(mut kept) = kept.and_then(Option::take) {
                kept.retune(feed.calibration.clone());
                *feed = kept;
                kept_count += 1;
            }
        }
        let same_glasses = kept_count == feeds.len() && feeds.len() == old.len();
        for mut gone in old.into_iter().flatten() {
            events.extend(gone.finish(self.now_secs));
            let changes = self.alarms.forget(self.now_secs, gone.number);
            events.extend(self.alarm_events(changes));
        }
        self.feeds = feeds;
        self.calibration = calibration;
        self.take_calibrations();
        if !same_glasses {
            self.place.begin();
        }
        self.judge(&mut events);
        events
    }

    /// The end of the frames: settles what is certain, closes open blind spells, and tells each
    /// feed's last reading.
    pub fn finish(&mut self) -> Vec<Event> {
        let mut events = Vec::new();
        for feed in &mut self.feeds {
            events.extend(feed.finish(self.now_secs));
        }
        self.judge(&mut events);
        for feed in &self.feeds {
            events.push(feed.reading_event(self.now_secs));
        }
        events
    }

    /// The feeds as they stand, for a screen.
    #[must_use]
    pub fn feeds(&self) -> Vec<FeedSnapshot> {
        self.feeds
            .iter()
            .map(|f| f.snapshot(self.now_secs))
            .collect()
    }

    /// The alarms that are not normal, most pressing first.
    #[must_use]
    pub fn alarms(&self) -> Vec<Alarm> {
        self.alarms.standing()
    }

    /// Source time of the newest frame, or of the newest moment without one, seconds.
    #[must_use]
    pub fn now_secs(&self) -> f64 {
        self.now_secs
    }

    /// The calibration in force.
    #[must_use]
    pub fn calibration(&self) -> &Calibration {
        &self.calibration
    }

    fn judge(&mut self, events: &mut Vec<Event>) {
        let now = self.now_secs;
        let mut changes = Vec::new();
        for feed in &mut self.feeds {
            events.extend(feed.read(now));
            for (cause, condition) in feed.conditions() {
                changes.extend(
                    self.alarms
                        .condition(now, Some(feed.number), cause, condition),
                );
            }
        }
        let lost = if self.camera_lost {
            Condition::Active
        } else {
            Condition::Clear
        };
        changes.extend(self.alarms.condition(now, None, Cause::CameraLost, lost));
        changes.extend(self.alarms.tick(now));
        events.extend(self.alarm_events(changes));
    }

    fn alarm_events(&self, changes: Vec<Alarm>) -> Vec<Event> {
        changes
            .into_iter()
            .map(|alarm| Event::Alarm {
                at_secs: self.now_secs,
                alarm,
            })
            .collect()
    }
}

fn feeds_of(calibration: &Calibration, from_secs: f64) -> Vec<Feed> {
    calibration
        .feeds
        .iter()
        .enumerate()
        .map(|(index, feed)| Feed::new(FeedNumber::from_index(index), feed.clone(), from_secs))
        .collect()
}
