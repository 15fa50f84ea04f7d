//! The *measure* thread: looks for the glasses, steps the instrument through the pictures, does
//! what a person asks, and puts up a snapshot for the screens. It decides nothing that the
//! instrument decides.

mod care;
mod obeying;
mod sparing;
mod waiting;

use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender};
use std::time::Duration;

use crate::base::{BlindWhy, Frame, Ring};
use crate::capture::About;
use crate::glass::Calibration;
use crate::glass::find::Finder;
use crate::judge::{Cause, Condition};
use crate::run::logbook::LogThread;
use crate::run::oil;
use crate::run::outlines::Presets;
use crate::run::search::no_glass_words;
use crate::run::{Event, Instrument, Notice, Recording, RunSnapshot, Snapshot};

use super::Asked;
use super::Pictures;
use super::grabbing::{Dropped, Picture};
use super::looking::{Looked, Looking};
use super::recording::{RunUnderWay, Tie};
use super::shared::{Shared, Worker};
use sparing::{NOT_DECODED, Sparing};

/// How long to wait for a picture before looking around, milliseconds.
const WAIT_MS: u64 = 100;
/// Shortest time between two snapshots, seconds: 30 a second is as often as a screen can use.
const SNAPSHOT_SECS: f64 = 1.0 / 30.0;
/// How long the logbook may take to close, milliseconds; with the rest this stays under the two
/// seconds that stopping may take.
const LOG_CLOSE_MS: u64 = 1200;
/// A live source promises an answer within a second; with none for this long, seconds, the
/// instrument is told that there is no picture.
const SILENT_SECS: f64 = 1.5;
/// Stamps over which frames a second are measured: some seconds of them.
const STAMPS: usize = 90;
/// Marks that wait for the instrument while the glasses are looked for.
const MOST_MARKS: usize = 32;

/// What the thread is given.
pub(super) struct Parts {
    pub(super) shared: Arc<Shared>,
    pub(super) about: About,
    pub(super) pictures: Receiver<Picture>,
    pub(super) intents: Receiver<Asked>,
    pub(super) faults: SyncSender<String>,
    pub(super) log: Option<LogThread>,
    pub(super) calibration: Option<Calibration>,
    pub(super) presets: Presets,
    pub(super) recording: Recording,
    pub(super) find_secs: f64,
    pub(super) pictures_for: Pictures,
}

/// Words for people, the most pressing first.
#[derive(Default)]
struct Notices {
    /// Of a part of the program that was started again, with the time until which it stays.
    restarted: Option<(Notice, f64)>,
    source: Option<Notice>,
    log: Option<Notice>,
    asked: Option<Notice>,
    looking: Option<Notice>,
}

impl Notices {
    fn newest(&self) -> Option<Notice> {
        let restarted = self.restarted.as_ref().map(|(notice, _)| notice.clone());
        [
            &restarted,
            &self.source,
            &self.log,
            &self.asked,
            &self.looking,
        ]
        .into_iter()
        .find_map(Clone::clone)
    }
}

fn said(words: impl Into<String>) -> Notice {
    Notice {
        is_error: false,
        words: words.into(),
    }
}

fn wrong(words: impl Into<String>) -> Notice {
    Notice {
        is_error: true,
        words: words.into(),
    }
}

/// What the instrument says of a camera that moved, as a sentence.
fn news_of_the_camera(event: &Event) -> Option<String> {
    match event {
        Event::Mark { words, .. } => {
            let mut letters = words.chars();
            let first = letters.next()?.to_uppercase();
            Some(format!("{first}{}.", letters.as_str()))
        }
        _ => None,
    }
}

/// How far the source has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// It brings pictures, or will again.
    Running,
    /// It can bring nothing more, and not because a clip is over.
    SourceGone,
    /// Everything is settled: the clip is over, or the program ends.
    Over,
}

/// A second search while counting goes on.
struct Again {
    finder: Finder,
    until_secs: Option<f64>,
}

pub(super) struct Measuring {
    parts: Parts,
    instrument: Option<Instrument>,
    calibration: Option<Arc<Calibration>>,
    looking: Option<Looking>,
    again: Option<Again>,
    waiting: VecDeque<Picture>,
    newest: Option<Frame>,
    tie: Tie,
    /// Newest source time that any message gave, seconds.
    source_secs: f64,
    stamps: Ring<f64>,
    /// Monotonic time of the last message from *capture*, seconds.
    heard_secs: f64,
    run: Option<RunUnderWay>,
    /// Title of a run that was asked for before the glasses were known.
    run_asked: Option<String>,
    /// After how many seconds the run ends by itself, if it does.
    run_lasts_secs: Option<f64>,
    marks: Vec<Event>,
    log_look_secs: f64,
    log_failing: bool,
    /// When *measure* was started again after surprises, monotonic seconds.
    restarts: Ring<f64>,
    notices: Notices,
    sparing: Sparing,
    published_secs: f64,
    changed: bool,
    phase: Phase,
}

impl Measuring {
    pub(super) fn new(mut parts: Parts) -> Self {
        let now_secs = parts.shared.clock.monotonic_secs();
        let run_asked = match std::mem::replace(&mut parts.recording, Recording::WhenAsked) {
            Recording::AtOnce(title) if parts.log.is_some() => Some(title),
            Recording::AtOnce(_) | Recording::WhenAsked => None,
        };
        Self {
            instrument: None,
            calibration: None,
            looking: None,
            again: None,
            waiting: VecDeque::new(),
            newest: None,
            tie: Tie::default(),
            source_secs: 0.0,
            stamps: Ring::new(STAMPS),
            heard_secs: now_secs,
            run: None,
            run_asked,
            run_lasts_secs: None,
            marks: Vec::new(),
            log_look_secs: f64::NEG_INFINITY,
            log_failing: false,
            restarts: Ring::new(care::MOST_RESTARTS),
            notices: Notices::default(),
            sparing: Sparing::new(parts.pictures_for),
            published_secs: f64::NEG_INFINITY,
            changed: true,
            phase: Phase::Running,
            parts,
        }
    }

    pub(super) fn run(mut self) {
        match self.parts.calibration.take() {
            Some(calibration) => self.begin(calibration),
            None => self.look(),
        }
        self.publish_now();
        while !self.parts.shared.stopping() {
            let turn = catch_unwind(AssertUnwindSafe(|| self.turn()));
            if let Err(surprise) = turn {
                self.start_again(surprise);
            }
        }
        self.finish();
        self.end_run();
        self.publish_now();
        if let Some(log) = self.parts.log.take() {
            let status = log.close(Duration::from_millis(LOG_CLOSE_MS));
            self.parts.shared.set_log_status(status);
        }
    }

    /// One look at everything.
    fn turn(&mut self) {
        self.parts.shared.beat(Worker::Measure);
        while let Ok(asked) = self.parts.intents.try_recv() {
            self.obey(asked);
        }
        if self.parts.shared.take_overflow() {
            self.notices.asked = Some(wrong(
                "The instrument was too busy to take what was asked; ask again.",
            ));
            self.changed = true;
        }
        if let Some(picture) = self.next_picture() {
            self.take(picture);
        } else {
            self.nothing_came();
        }
        self.end_run_if_due();
        self.look_at_log();
        self.forget_restart_if_due();
        self.publish_if_due();
    }

    /// No message from *capture*: is that as it should be?
    fn nothing_came(&mut self) {
        let clock = Arc::clone(&self.parts.shared.clock);
        let silent_secs = clock.monotonic_secs() - self.heard_secs;
        if self.phase == Phase::Running && self.parts.shared.has_died(Worker::Capture) {
            // The words for it come from the death itself.
            self.source_over(None);
        }
        let gone = self.phase == Phase::SourceGone;
        let overdue = self.parts.about.live && silent_secs > SILENT_SECS;
        if self.phase == Phase::Over || !(gone || overdue) {
            return;
        }
        let at_secs = self.tie.source_secs(clock.as_ref());
        let why = if gone {
            BlindWhy::CameraLost
        } else {
            BlindWhy::NoFrames
        };
        self.step(|instrument| instrument.no_frame(at_secs, why));
    }

    fn take(&mut self, picture: Picture) {
        self.changed = true;
        match &picture {
            Picture::Frame {
                frame,
                arrived_secs,
                ..
            } => {
                self.show(frame);
                self.tie = Tie {
                    at_secs: frame.at_secs,
                    arrived_secs: *arrived_secs,
                };
                self.source_secs = self.source_secs.max(frame.at_secs);
                self.notices.source = None;
            }
            Picture::Lost { at_secs, why } => {
                self.notices.source = Some(wrong(why.clone()));
                self.source_secs = self.source_secs.max(*at_secs);
            }
            Picture::Nothing { at_secs } | Picture::Spoiled { at_secs, .. } => {
                self.source_secs = self.source_secs.max(*at_secs);
            }
            Picture::Surprise { at_secs, why } => {
                let (at_secs, why) = (*at_secs, why.clone());
                self.camera_started_again(at_secs, &why);
                return;
            }
            Picture::End | Picture::Failed(_) => {
                self.source_over(Some(picture));
                return;
            }
        }
        let Some(mut looking) = self.looking.take() else {
            self.count(picture);
            return;
        };
        let looked = looking.take(picture, &mut || self.wait_meanwhile());
        self.looking = Some(looking);
        self.looked(looked);
    }

    fn looked(&mut self, looked: Looked) {
        match looked {
            Looked::StillLooking => {}
            Looked::Found(calibration, kept, doubts) => {
                // What was kept comes before what waits.
                for picture in kept.into_iter().rev() {
                    self.waiting.push_front(picture);
                }
                self.begin(calibration);
                self.notices.looking = if doubts.is_empty() {
                    None
                } else {
                    Some(said(format!(
                        "Found the glasses, with doubts: {}.",
                        doubts.join("; ")
                    )))
                };
            }
            Looked::NothingFound(reasons) => {
                let reasons = no_glass_words(&reasons);
                self.notices.looking = Some(wrong(format!(
                    "{reasons}. Or give the outlines yourself. The search goes on."
                )));
            }
        }
        self.changed = true;
    }

    /// Starts looking for the glasses.
    fn look(&mut self) {
        self.looking = Some(Looking::new(
            self.parts.about.clone(),
            self.parts.presets,
            self.parts.find_secs,
        ));
        self.notices.looking = Some(said("Looking for the glasses…"));
    }

    /// Starts counting with a calibration.
    fn begin(&mut self, calibration: Calibration) {
        self.looking = None;
        self.notices.looking = None;
        let here = &self.parts.about.identity;
        if let Some(other) = &calibration.camera_identity
            && !here.is_empty()
            && other != here
        {
            self.notices.looking = Some(said(format!(
                "The outlines were made with another camera ({other}) than this one ({here}); see \
                 that they lie on the glasses."
            )));
        }
        let shown = Arc::new(calibration.clone());
        self.calibration = Some(Arc::clone(&shown));
        let mut instrument = Instrument::new(calibration);
        let failing = self.log_failing;
        let mut events = Vec::new();
        if failing {
            events = instrument.condition(Cause::LogbookNotWritten, Condition::Active);
        }
        self.instrument = Some(instrument);
        // Those who listen may look at the snapshot for the outlines before the first bead.
        self.publish_now();
        if let Some(title) = self.run_asked.take() {
            self.start_run(title);
        }
        events.append(&mut self.marks);
        self.tell(events);
    }

    fn count(&mut self, picture: Picture) {
        match picture {
            Picture::Frame {
                frame,
                arrived_secs,
                dropped,
            } => {
                self.show(&frame);
                self.tie = Tie {
                    at_secs: frame.at_secs,
                    arrived_secs,
                };
                self.stamps.push(frame.at_secs);
                if !self.holds_the_glasses(&frame) {
                    let at_secs = frame.at_secs;
                    self.step(|instrument| instrument.spoiled(at_secs, NOT_DECODED));
                    return;
                }
                self.step_frame(&frame, dropped);
                self.look_again(&frame);
            }
            Picture::Nothing { at_secs } => {
                self.step(|instrument| instrument.no_frame(at_secs, BlindWhy::NoFrames));
            }
            Picture::Lost { at_secs, .. } => {
                self.step(|instrument| instrument.no_frame(at_secs, BlindWhy::CameraLost));
            }
            Picture::Spoiled { at_secs, why } => {
                self.step(|instrument| instrument.spoiled(at_secs, &why));
            }
            Picture::Surprise { .. } | Picture::End | Picture::Failed(_) => {}
        }
    }

    /// Steps the instrument. It sees from the frames' numbers that some are missing; that they were
    /// dropped here, and why, is told in its words or, failing that, beside them.
    fn step_frame(&mut self, frame: &Frame, dropped: Option<Dropped>) {
        let Some(instrument) = &mut self.instrument else {
            return;
        };
        let carried_before = instrument.carried();
        let mut events = instrument.step(frame);
        let carried = instrument.carried() != carried_before;
        if let Some(dropped) = dropped {
            let cause = format!(
                "{} frames were dropped because counting did not keep up with the camera",
                dropped.count
            );
            let told = events.iter_mut().find_map(|event| match event {
                Event::Gap { why, .. } => Some(why),
                _ => None,
            });
            if let Some(why) = told {
                *why = format!("{why}; {cause}");
            } else {
                let gap = Event::Gap {
                    from_secs: dropped.from_secs,
                    to_secs: dropped.to_secs,
                    why: cause,
                };
                events.insert(0, gap);
            }
        }
        self.changed = true;
        if carried {
            self.show_calibration();
            if let Some(words) = events.iter().find_map(news_of_the_camera) {
                self.notices.looking = Some(said(words));
            }
        }
        self.tell(events);
    }

    fn step(&mut self, ask: impl FnOnce(&mut Instrument) -> Vec<Event>) {
        if let Some(instrument) = &mut self.instrument {
            let events = ask(instrument);
            self.changed = true;
            self.tell(events);
        }
    }

    /// Passes events to the logbook and to those who listen.
    fn tell(&mut self, events: Vec<Event>) {
        let clock = Arc::clone(&self.parts.shared.clock);
        let now_secs = self.tie.at_secs;
        for event in events {
            crate::run::telling::tell(&event);
            let event = Arc::new(event);
            if let (Some(run), Some(log)) = (&mut self.run, &self.parts.log) {
                run.event(&event, self.tie, log, clock.as_ref());
            }
            self.parts.shared.pass_on(&event, now_secs);
        }
        if let (Some(run), Some(log)) = (&mut self.run, &self.parts.log) {
            run.watch_clock(self.tie, log, clock.as_ref());
        }
    }

    /// The source has nothing more.
    fn source_over(&mut self, last: Option<Picture>) {
        if let Some(mut looking) = self.looking.take() {
            // A clip shorter than the search: what was seen must do.
            let looked = looking.decide(&mut || self.wait_meanwhile());
            self.looking = Some(looking);
            self.looked(looked);
            if self.instrument.is_some() {
                while let Some(kept) = self.waiting.pop_front() {
                    self.count(kept);
                }
            }
        }
        if self.instrument.is_none() {
            self.notices.looking = Some(wrong(
                "No sight glass was found, and the pictures are over: nothing was counted.",
            ));
        }
        let ended_well = matches!(last, Some(Picture::End));
        if let Some(Picture::Failed(why)) = last {
            self.notices.source = Some(wrong(why));
        }
        if !ended_well && self.parts.about.live {
            // A camera that is gone for good: the feeds go on unseen, and are shown so.
            self.phase = Phase::SourceGone;
            self.publish_now();
            return;
        }
        self.finish();
        self.publish_now();
        self.parts.shared.close_listeners();
    }

    /// Settles what is open and ends the run; once.
    fn finish(&mut self) {
        if self.phase == Phase::Over {
            return;
        }
        self.phase = Phase::Over;
        if let Some(instrument) = &mut self.instrument {
            let events = instrument.finish();
            self.tell(events);
        }
        self.end_run();
    }

    fn now_secs(&self) -> f64 {
        self.instrument
            .as_ref()
            .map_or(self.source_secs, Instrument::now_secs)
    }

    fn frames_per_second(&self) -> f64 {
        match (self.stamps.oldest(), self.stamps.newest()) {
            (Some(first), Some(last)) if last > first => {
                (self.stamps.len() - 1) as f64 / (last - first)
            }
            _ => 0.0,
        }
    }

    /// How long ago the calibration says that the reservoir was filled; of a clip that means nothing.
    fn filled_ago_secs(&self) -> Option<f64> {
        let filled = oil::filled_wall_secs(&self.calibration.as_ref()?.oil)?;
        let ago_secs = self.parts.shared.clock.wall_secs() - filled;
        Some(ago_secs).filter(|secs| self.parts.about.live && *secs >= 0.0)
    }

    fn publish_if_due(&mut self) {
        let now_secs = self.parts.shared.clock.monotonic_secs();
        if self.changed && now_secs - self.published_secs >= SNAPSHOT_SECS {
            self.publish_now();
        }
    }

    fn publish_now(&mut self) {
        let hand_check = self.instrument.as_mut().and_then(Instrument::hand_check);
        let filled_ago_secs = self.filled_ago_secs();
        let oil = self.instrument.as_ref().map(|i| i.oil(filled_ago_secs));
        let oil = oil.unwrap_or_default();
        let feeds = self.instrument.as_ref().map(Instrument::feeds);
        let feeds = feeds.unwrap_or_default();
        self.say_what_is_wanted(&feeds);
        let shared = &self.parts.shared;
        let now_secs = shared.clock.monotonic_secs();
        self.published_secs = now_secs;
        self.changed = false;
        let frame_age_secs = if self.newest.is_some() {
            (now_secs - self.tie.arrived_secs).max(0.0)
        } else {
            0.0
        };
        shared.publish(Snapshot {
            number: 0,
            about: Some(self.parts.about.clone()),
            now_secs: self.now_secs(),
            frame: self.newest.clone(),
            frame_age_secs,
            frames_per_second: self.frames_per_second(),
            feeds,
            alarms: self
                .instrument
                .as_ref()
                .map(Instrument::alarms)
                .unwrap_or_default(),
            hand_check,
            oil,
            run: self
                .run
                .as_ref()
                .zip(self.parts.log.as_ref())
                .map(|(run, log)| RunSnapshot {
                    until_secs: self.run_lasts_secs.map(|secs| run.started_secs() + secs),
                    ..run.snapshot(log)
                }),
            notice: self.notices.newest(),
            calibration: self.calibration.clone(),
            ended: self.phase != Phase::Running,
            heartbeats: Vec::new(),
        });
    }
}
