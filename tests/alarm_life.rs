//! The life of alarms in a whole instrument: frames, blindness, a lost camera, marks, acknowledging
//! and shelving in random order, with what must always hold checked after each; and the same life
//! read back from the logbook, step by step.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use beadtally::base::{BlindWhy, FeedNumber, Frame, GlassKind};
use beadtally::capture::About;
use beadtally::glass::{Calibration, FeedCalibration, Outline};
use beadtally::judge::{Alarm, AlarmState, By, Cause, Condition, FeedState, Happened};
use beadtally::run::logbook::record::event_secs;
use beadtally::run::logbook::{Entry, Item, Logbook, LogbookReader, RunStart};
use beadtally::run::{Event, Instrument};
use image::{GrayImage, Luma};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Time between two frames, seconds.
const STEP_SECS: f64 = 0.2;
/// How long a feed may be unseen without an alarm, seconds: the on-delay and a step.
const UNSEEN_SECS: f64 = 5.0 + 2.0 * STEP_SECS;

fn calibration() -> Calibration {
    let feed = |x| FeedCalibration::new(Outline::upright(GlassKind::Tube, x, 20.0, 24.0, 80.0));
    Calibration {
        picture_width_px: 160,
        picture_height_px: 120,
        camera_identity: None,
        oil: beadtally::glass::OilData::default(),
        feeds: vec![feed(30.0), feed(100.0)],
    }
}

/// A calm picture with a sensor's noise, so that it never stands still.
fn picture(rng: &mut ChaCha8Rng, level: f64) -> GrayImage {
    GrayImage::from_fn(160, 120, |x, y| {
        let edge = if x % 40 < 3 || y % 50 < 3 { -60.0 } else { 0.0 };
        let value = level + edge + 6.0 * (rng.random::<f64>() - 0.5);
        Luma([value.clamp(0.0, 255.0) as u8])
    })
}

type Key = (Option<FeedNumber>, Cause);

/// What the steps told come to.
#[derive(Default)]
struct Replay {
    states: BTreeMap<Key, AlarmState>,
}

impl Replay {
    fn take(&mut self, alarm: &Alarm) {
        let before = self.states.insert((alarm.feed, alarm.cause), alarm.state);
        let before = before.unwrap_or(AlarmState::Normal);
        let is_move = before != alarm.state;
        let is_shelved_anew =
            alarm.step.happened == Happened::Shelved && alarm.state == AlarmState::Shelved;
        assert!(is_move || is_shelved_anew, "{alarm:?} changes nothing");
        assert_eq!(
            alarm.step.shelved_until_secs.is_some(),
            alarm.state == AlarmState::Shelved
        );
    }

    fn standing(&self) -> BTreeMap<Key, AlarmState> {
        let mut states = self.states.clone();
        states.retain(|_, state| *state != AlarmState::Normal);
        states
    }
}

/// The instrument with what a test knows of it.
struct Bench {
    instrument: Instrument,
    rng: ChaCha8Rng,
    at_secs: f64,
    number: u64,
    camera_gone_since: Option<f64>,
    unseen_since: BTreeMap<FeedNumber, f64>,
    replay: Replay,
    told: Vec<Event>,
}

impl Bench {
    fn new(seed: u64) -> Self {
        Self {
            instrument: Instrument::new(calibration()),
            rng: ChaCha8Rng::seed_from_u64(seed),
            at_secs: 0.0,
            number: 0,
            camera_gone_since: None,
            unseen_since: BTreeMap::new(),
            replay: Replay::default(),
            told: Vec::new(),
        }
    }

    fn frame(&mut self, level: f64) {
        self.at_secs += STEP_SECS;
        self.number += 1;
        let luma = picture(&mut self.rng, level);
        let frame = Frame::new(self.number, self.at_secs, luma);
        self.camera_gone_since = None;
        let events = self.instrument.step(&frame);
        self.take(events);
    }

    fn no_frame(&mut self, why: BlindWhy) {
        self.at_secs += STEP_SECS;
        if why == BlindWhy::CameraLost {
            self.camera_gone_since.get_or_insert(self.at_secs);
        } else {
            self.camera_gone_since = None;
        }
        let events = self.instrument.no_frame(self.at_secs, why);
        self.take(events);
    }

    fn take(&mut self, events: Vec<Event>) {
        for event in &events {
            if let Event::Alarm { alarm, .. } = event {
                self.replay.take(alarm);
            }
        }
        self.told.extend(events);
        self.check();
    }

    fn state(&self, feed: Option<FeedNumber>, cause: Cause) -> AlarmState {
        let alarms = self.instrument.alarms();
        let found = alarms.iter().find(|a| (a.feed, a.cause) == (feed, cause));
        found.map_or(AlarmState::Normal, |alarm| alarm.state)
    }

    /// What always holds.
    fn check(&mut self) {
        // One alarm per feed and cause, and what was told is what stands.
        let standing: BTreeMap<Key, AlarmState> = self
            .instrument
            .alarms()
            .iter()
            .map(|alarm| ((alarm.feed, alarm.cause), alarm.state))
            .collect();
        assert_eq!(standing.len(), self.instrument.alarms().len());
        assert_eq!(standing, self.replay.standing());
        for feed in self.instrument.feeds() {
            // What cannot be seen is told so, whatever was known before and whatever is shelved.
            assert_eq!(
                feed.blind.is_some(),
                feed.state == FeedState::CannotSee,
                "{:?} {:?}",
                feed.blind,
                feed.state
            );
            if feed.blind.is_none() {
                self.unseen_since.remove(&feed.feed);
                continue;
            }
            let since = *self.unseen_since.entry(feed.feed).or_insert(self.at_secs);
            if self.at_secs - since >= UNSEEN_SECS {
                let state = self.state(Some(feed.feed), Cause::CannotSee);
                assert_ne!(state, AlarmState::Normal);
                assert_ne!(state, AlarmState::ReturnedUnacknowledged);
            }
        }
        // A lost camera is an alarm of its own after two seconds, and no feed reads as anything.
        if let Some(since) = self.camera_gone_since
            && self.at_secs - since >= 2.0 + STEP_SECS
        {
            let state = self.state(None, Cause::CameraLost);
            assert_ne!(state, AlarmState::Normal);
            assert_ne!(state, AlarmState::ReturnedUnacknowledged);
            for feed in self.instrument.feeds() {
                assert_eq!(feed.state, FeedState::CannotSee);
            }
        }
    }
}

fn any_key(rng: &mut ChaCha8Rng) -> Key {
    let cause = Cause::ALL[rng.random_range(0..Cause::ALL.len())];
    let feed = match rng.random_range(0..3) {
        0 => None,
        n => Some(FeedNumber(n)),
    };
    (feed, cause)
}

fn random_life(seed: u64, operations: usize) -> Bench {
    let mut bench = Bench::new(seed);
    for _ in 0..operations {
        let (feed, cause) = any_key(&mut bench.rng);
        match bench.rng.random_range(0..20) {
            0..7 => (0..6).for_each(|_| bench.frame(140.0)),
            7..9 => (0..40).for_each(|_| bench.frame(140.0)),
            9 => (0..30).for_each(|_| bench.frame(3.0)),
            10 => (0..30).for_each(|_| bench.no_frame(BlindWhy::NoFrames)),
            11..13 => (0..30).for_each(|_| bench.no_frame(BlindWhy::CameraLost)),
            13..15 => {
                let events = bench.instrument.acknowledge(feed, cause);
                bench.take(events);
            }
            15 => {
                let events = bench.instrument.acknowledge_all();
                bench.take(events);
            }
            16 => {
                let for_secs = bench.rng.random_range(-5.0..60.0);
                let events = bench.instrument.shelve(feed, cause, for_secs);
                bench.take(events);
            }
            17 => {
                let words = "valve 1 a quarter turn open".to_owned();
                let events = bench.instrument.mark(None, words);
                bench.take(events);
            }
            18 => {
                let condition = if bench.rng.random_range(0..2) == 0 {
                    Condition::Active
                } else {
                    Condition::Clear
                };
                let log = Cause::LogbookNotWritten;
                let events = bench.instrument.condition(log, condition);
                bench.take(events);
            }
            _ => {
                let mut other = calibration();
                other.feeds[1].outline.centre_x_px += bench.rng.random_range(-3.0..3.0);
                bench.unseen_since.clear();
                let events = bench.instrument.recalibrate(other);
                bench.take(events);
            }
        }
    }
    bench
}

#[test]
fn whatever_happens_blindness_is_told_and_what_is_told_is_what_stands() {
    let mut happened: BTreeMap<&str, usize> = BTreeMap::new();
    for seed in 0..6 {
        for event in random_life(seed, 120).told {
            if let Event::Alarm { alarm, .. } = event {
                *happened.entry(alarm.step.happened.words()).or_default() += 1;
            }
        }
    }
    // The sequences did come to each kind of step but the one that takes half an hour.
    for words in [
        "raised",
        "raised again",
        "acknowledged",
        "returned to normal",
        "shelved",
        "unshelved",
        "no longer watched",
    ] {
        assert!(happened.contains_key(words), "{words}: {happened:?}");
    }
}

fn write(path: &Path, events: &[Event]) {
    let about = About {
        name: "invented".to_owned(),
        identity: String::new(),
        width: 160,
        height: 120,
        frames_per_second: None,
        frames: None,
        live: true,
    };
    let run = RunStart::new(String::new(), about, 0.0, 1000.0, Arc::new(calibration()));
    let run = Arc::new(run);
    let items: Vec<Item> = (0..)
        .zip(events)
        .map(|(sequence, event)| Item {
            run: Arc::clone(&run),
            sequence,
            at_secs: event_secs(event),
            wall_secs: 1000.0 + event_secs(event),
            entry: Entry::Event(Arc::new(event.clone())),
        })
        .collect();
    let written = Logbook::open(path).unwrap().write(&items).unwrap();
    assert_eq!(written.refused, 0);
}

#[test]
fn the_whole_life_of_each_alarm_is_in_the_logbook() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let bench = random_life(99, 200);
    write(&path, &bench.told);
    let told: Vec<&Alarm> = bench
        .told
        .iter()
        .filter_map(|event| match event {
            Event::Alarm { alarm, .. } => Some(alarm),
            _ => None,
        })
        .collect();
    let rows = LogbookReader::open(&path)
        .unwrap()
        .contents(1)
        .unwrap()
        .alarms;
    assert_eq!(rows.len(), told.len());
    assert!(rows.len() > 50, "{}", rows.len());
    for (row, alarm) in rows.iter().zip(told) {
        assert_eq!(row.feed, alarm.feed.map(|feed| i64::from(feed.0)));
        assert_eq!(row.cause, alarm.cause.words());
        assert_eq!(row.state, alarm.state.words());
        assert_eq!(row.priority, Some(i64::from(alarm.cause.priority())));
        assert_eq!(row.happened.as_deref(), Some(alarm.step.happened.words()));
        assert_eq!(row.by_whom.as_deref(), Some(alarm.step.by.words()));
        assert_eq!(row.shelved_until_secs, alarm.step.shelved_until_secs);
    }
}

#[test]
fn a_recording_that_begins_later_is_told_what_stands_and_what_is_unseen() {
    let mut bench = Bench::new(5);
    (0..30).for_each(|_| bench.frame(140.0));
    (0..40).for_each(|_| bench.frame(3.0));
    let standing = bench.instrument.standing_events();
    assert_eq!(standing.len(), 2, "one alarm a feed");
    for event in &standing {
        let Event::Alarm { alarm, .. } = event else {
            unreachable!("{event:?}");
        };
        assert_eq!(alarm.cause, Cause::CannotSee);
        assert_eq!(alarm.state, AlarmState::Unacknowledged);
        assert_eq!(alarm.step.happened, Happened::Stood);
        assert_eq!(alarm.step.by, By::Condition);
    }
    // A recording that ends now is told of the darkness that goes on.
    let open = bench.instrument.open_events();
    assert_eq!(open.len(), 2);
    for event in open {
        let Event::Blind {
            from_secs,
            to_secs,
            why,
            ..
        } = event
        else {
            unreachable!("{event:?}");
        };
        assert_eq!(why, BlindWhy::Dark);
        assert!(
            (to_secs - from_secs - 8.0).abs() < 1.0,
            "{from_secs} {to_secs}"
        );
    }
}
