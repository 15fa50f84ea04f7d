//! The instrument: frames in, readings out. Pure: no thread, no file, no clock — the same frames
//! give the same events, byte for byte. Threads, screens and the logbook live around it.

use std::sync::Arc;

use crate::base::{BlindWhy, FeedNumber, Frame, Span};
use crate::glass::Calibration;
use crate::judge::{Alarm, AlarmBook, AlarmSettings, Cause, Condition, Happened};
use crate::rate::oil::{OilFlow, Reservoir, reservoir_life, total_flow};
use crate::run::event::Event;
use crate::run::feed::{Feed, Sameness};
use crate::run::hand_check::{Checking, HandCheckState, open_span};
use crate::run::moved;
use crate::run::oil::{self, OilState};
use crate::run::place::{Place, Standing};
use crate::run::snapshot::FeedSnapshot;

/// A bead that passed mid-glass so shortly before its outline was redrawn may be counted under
/// neither outline, seconds: as long as a gap that can hide one.
const UNWATCHED_SECS: f64 = 0.35;

/// Counts and judges all feeds of one lubricator.
///
/// ```
/// use beadtally::{glass::Calibration, run::Instrument};
/// let none = Calibration {
///     picture_width_px: 640,
///     picture_height_px: 480,
///     camera_identity: None,
///     oil: beadtally::glass::OilData::default(),
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
    /// Spoiled pictures since that frame: told already, not to be told as lost once more.
    spoiled: u64,
    /// The picture before, to tell a repeated one: a glass steadied twice in the same picture may
    /// differ in its last digits.
    last_frame: Option<Frame>,
    now_secs: f64,
    /// Why no frame came last; none when one did.
    missing: Option<BlindWhy>,
    place: Place,
    /// How the glasses stand in the newest frame; kept to be filled again.
    standing: Vec<Standing>,
    carried: u64,
    checking: Option<Checking>,
    /// When the reservoir was filled, source time, seconds, when a mark told it.
    filled_secs: Option<f64>,
    /// Why the nozzle gives no volume, when it was asked to.
    no_nozzle: Option<String>,
}

impl Instrument {
    /// An instrument for known glasses. It begins to watch at the first frame.
    #[must_use]
    pub fn new(calibration: Calibration) -> Self {
        let feeds = feeds_of(&calibration, 0.0);
        let mut instrument = Self {
            calibration,
            feeds,
            alarms: AlarmBook::new(AlarmSettings::default()),
            last: None,
            spoiled: 0,
            last_frame: None,
            now_secs: 0.0,
            missing: None,
            place: Place::default(),
            standing: Vec::new(),
            carried: 0,
            checking: None,
            filled_secs: None,
            no_nozzle: None,
        };
        instrument.take_nozzle();
        instrument
    }

    /// What the calibration says of nozzle and liquids, for all feeds.
    fn take_nozzle(&mut self) {
        let nozzle = oil::nozzle_of(&self.calibration.oil);
        let volume = nozzle.as_ref().and_then(|n| n.as_ref().ok());
        let nozzle_ul = volume.map(|drop| drop.volume_ul);
        for feed in &mut self.feeds {
            feed.set_nozzle(nozzle_ul);
        }
        self.no_nozzle = nozzle.and_then(|n| n.err().map(|error| error.to_string()));
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
            let missing = frame.number.saturating_sub(number).saturating_sub(1);
            let lost = missing.saturating_sub(self.spoiled);
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
        // A moment without a frame may have been told from after this frame was taken.
        let told_secs = self.last.map_or(at_secs, |_| self.now_secs);
        self.last = Some((frame.number, at_secs));
        self.spoiled = 0;
        self.now_secs = at_secs.max(told_secs);
        self.missing = None;
        let mut same = None;
        for feed in &mut self.feeds {
            if let Some(looks_same) = feed.look(frame) {
                same = Some(same.unwrap_or(true) && looks_same);
            }
        }
        let repeated = self
            .last_frame
            .replace(frame.clone())
            .is_some_and(|last| frame.repeats(&last));
        let sameness = if (same == Some(true) || repeated) && !self.feeds.is_empty() {
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
        self.check_hand(&mut events);
        events
    }

    /// Carries the outlines along when the camera was moved for good or drifts.
    fn follow(&mut self, frame: &Frame, events: &mut Vec<Event>) {
        self.standing.clear();
        self.standing.extend(self.feeds.iter().map(Feed::standing));
        let Some(carry) = self.place.look(frame, &self.standing) else {
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
                moved: None,
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
        self.missing = Some(why);
        for feed in &mut self.feeds {
            events.extend(feed.no_frame(at_secs, why));
        }
        self.judge(&mut events);
        self.check_hand(&mut events);
        events
    }

    /// A frame came that could not be used.
    pub fn spoiled(&mut self, at_secs: f64, why: &str) -> Vec<Event> {
        let from_secs = self.last.map_or(at_secs, |(_, before)| before.min(at_secs));
        self.spoiled = self.spoiled.saturating_add(1);
        vec![Event::Gap {
            from_secs,
            to_secs: at_secs.max(from_secs),
            why: why.to_owned(),
        }]
    }

    /// Keeps a person's note. One on a feed says that its valve was moved: its reading starts
    /// anew, because the drops before belong to another setting, and the old one is kept as found.
    /// A note on no feed that names one (`valve 1 a quarter turn open`) is on that feed.
    pub fn mark(&mut self, feed: Option<FeedNumber>, words: String) -> Vec<Event> {
        let said = moved::read(&words);
        // The reservoir is no feed's own: its filling moves no valve.
        let is_filling = oil::says_filled(&words);
        if is_filling {
            self.filled_secs = Some(self.now_secs);
            self.feeds.iter_mut().for_each(Feed::filled);
        }
        let named = said
            .feed
            .filter(|named| self.feeds.iter().any(|f| f.number == *named));
        let feed = feed.or(named).filter(|_| !is_filling);
        let now_secs = self.now_secs;
        let moved = self.feeds.iter_mut().filter(|f| feed == Some(f.number));
        let kept: Vec<Event> = moved
            .map(|feed| feed.start_new_reading(now_secs, &words))
            .collect();
        let mark = Event::Mark {
            at_secs: now_secs,
            feed,
            words,
            moved: said.moved,
        };
        std::iter::once(mark).chain(kept).collect()
    }

    /// Begins a hand check at a feed, or at all together; ends the one under way.
    pub fn start_hand_check(&mut self, feed: Option<FeedNumber>) -> Vec<Event> {
        let over = self.hand_check_over();
        self.checking = Some(Checking::new(feed, self.now_secs));
        over.into_iter().collect()
    }

    /// A person tapped at a drop, at a source time in seconds. Without a hand check nothing comes
    /// of it.
    pub fn tap(&mut self, at_secs: f64) -> Vec<Event> {
        let tap = self.checking.as_mut().and_then(|c| c.tap(at_secs));
        tap.into_iter().collect()
    }

    /// Ends the hand check: it is told as soon as all its drops are counted. When it has ended
    /// already, its result is put away.
    pub fn end_hand_check(&mut self, at_secs: f64) -> Vec<Event> {
        match &mut self.checking {
            Some(checking) if checking.has_ended() => {
                let over = self.hand_check_over();
                self.checking = None;
                over.into_iter().collect()
            }
            Some(checking) => {
                checking.end(at_secs);
                Vec::new()
            }
            None => Vec::new(),
        }
    }

    /// The hand check under way or the last one, for a screen.
    pub fn hand_check(&mut self) -> Option<Arc<HandCheckState>> {
        let open = self.open_spans();
        let now_secs = self.now_secs;
        self.checking.as_mut().map(|c| c.state(now_secs, &open))
    }

    /// Tells a hand check that has not been told yet as over.
    fn hand_check_over(&mut self) -> Option<Event> {
        let open = self.open_spans();
        let now_secs = self.now_secs;
        self.checking
            .as_mut()
            .filter(|checking| !checking.is_told())
            .map(|checking| checking.over(now_secs, &open))
    }

    /// Gives the hand check what was told, and tells its end when that is due.
    fn check_hand(&mut self, events: &mut Vec<Event>) {
        let Some(checking) = &mut self.checking else {
            return;
        };
        checking.take(events);
        if checking.is_due(self.now_secs) {
            events.extend(self.hand_check_over());
        }
    }

    /// The blind spells that are open now.
    fn open_spans(&self) -> Vec<(FeedNumber, Span)> {
        let open = |feed: &Feed| feed.open_spell(self.now_secs);
        self.feeds
            .iter()
            .filter_map(open)
            .filter_map(|event| open_span(&event))
            .collect()
    }

    /// The oil of all feeds together, and the reservoir. `filled_ago_secs` is how long ago the
    /// calibration says it was filled, seconds, when it says so; a mark that tells a filling counts
    /// before it.
    #[must_use]
    pub fn oil(&self, filled_ago_secs: Option<f64>) -> OilState {
        let is_unknown = self.feeds.iter().any(Feed::is_unknown_flow);
        let flowing: Vec<(OilFlow, Option<(u64, f64)>)> = self
            .feeds
            .iter()
            .filter_map(|f| Some((f.oil_now()?, f.since_filled(self.now_secs))))
            .collect();
        let flows: Vec<OilFlow> = flowing.iter().map(|(flow, _)| *flow).collect();
        // A feed that stopped since has given its share all the same: then the drops do not tell
        // whose volume they had, and the rates now must do.
        let counted: Option<Vec<(u64, f64)>> = if flows.len() == self.feeds.len() {
            flowing.iter().map(|(_, counted)| *counted).collect()
        } else {
            None
        };
        let marked = self.filled_secs.map(|at| (self.now_secs - at).max(0.0));
        let ago = marked.or(filled_ago_secs);
        let reservoir = self
            .calibration
            .oil
            .reservoir_capacity_ml
            .zip(ago)
            .filter(|_| !is_unknown)
            .and_then(|(capacity_ml, filled_ago_secs)| {
                let filled = Reservoir {
                    capacity_ml,
                    filled_ago_secs,
                };
                let counted = counted.as_deref().filter(|_| marked.is_some());
                reservoir_life(filled, &flows, counted)
            });
        OilState {
            total_ml_per_hour: total_flow(&flows).filter(|_| !is_unknown),
            reservoir,
            no_nozzle: self.no_nozzle.clone(),
        }
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

    /// Shelves one alarm for so many seconds; for none or less takes it off the shelf.
    pub fn shelve(&mut self, feed: Option<FeedNumber>, cause: Cause, for_secs: f64) -> Vec<Event> {
        let changes = self.alarms.shelve(self.now_secs, feed, cause, for_secs);
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
            } else if self.last.is_some() {
                // What was at mid-glass now was on its way under no outline long enough.
                events.push(Event::Blind {
                    feed: Some(feed.number),
                    from_secs: self.now_secs - UNWATCHED_SECS,
                    to_secs: self.now_secs,
                    why: BlindWhy::Starting,
                });
            }
        }
        let same_glasses = kept_count == feeds.len() && feeds.len() == old.len();
        for mut gone in old.into_iter().flatten() {
            events.extend(gone.finish(self.now_secs));
            let changes = self.alarms.forget(self.now_secs, gone.number);
            events.extend(self.alarm_events(changes));
        }
        if let (Some(why), Some((_, seen_secs))) = (self.missing, self.last) {
            // A new outline shows no more than the old one while nothing comes.
            for feed in &mut feeds {
                events.extend(feed.no_frame(seen_secs, why));
                events.extend(feed.no_frame(self.now_secs, why));
            }
        }
        self.feeds = feeds;
        self.calibration = calibration;
        self.take_calibrations();
        self.take_nozzle();
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
        if let Some(checking) = &mut self.checking {
            checking.take(&events);
        }
        events.extend(self.hand_check_over());
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

    /// What a recording that begins now must know of the time before: the alarms that stand.
    #[must_use]
    pub fn standing_events(&self) -> Vec<Event> {
        let standing = self.alarms.standing().into_iter().map(|mut alarm| {
            alarm.step.happened = Happened::Stood;
            alarm
        });
        self.alarm_events(standing.collect())
    }

    /// What a recording that ends now would not be told otherwise: the blind spells that are still
    /// open, and a hand check as it stands.
    #[must_use]
    pub fn open_events(&self) -> Vec<Event> {
        let open = |feed: &Feed| feed.open_spell(self.now_secs);
        let checking = self.checking.as_ref().filter(|c| !c.is_told());
        let check = checking.map(|c| c.so_far(self.now_secs, &self.open_spans()));
        self.feeds.iter().filter_map(open).chain(check).collect()
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
        let lost = if self.missing == Some(BlindWhy::CameraLost) {
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
