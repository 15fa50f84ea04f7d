//! One feed within the instrument: its counter, the watch over its picture, its record of drops,
//! its reading and verdict. It turns what is seen into events; alarms are raised by the
//! instrument.

mod carrying;
mod doubts;
mod oil;
mod showing;

use std::sync::Arc;

use crate::base::{BeadKind, BlindWhy, FeedNumber, Frame, GlassKind, Ring, Span};
use crate::bead::{Bead, Counter, Look, Sight};
use crate::glass::{FeedCalibration, Outline};
use crate::health::{HealthSettings, Signs, Spell, Trust, Watch};
use crate::judge::{Cause, Condition, FeedState, Judge, JudgeSettings};
use crate::rate::{self, Change, ChangeWatch, DropRecord, Reading, stop_at_beginning};
use crate::run::as_found::{AsFound, Began};
use crate::run::event::Event;
use crate::run::oil::hint;
use crate::run::snapshot::HistoryPoint;

pub use doubts::LIKELY_MISSED;
use oil::FeedOil;

/// Drops kept for readings. More would not narrow the limits and would only slow the answer to a
/// change.
const KEPT_DROPS: usize = 64;
/// Time between two points of the rate plot, seconds.
const HISTORY_EVERY_SECS: f64 = 2.0;
/// Points of the rate plot: half an hour.
const HISTORY_POINTS: usize = 900;
/// Time between two verdicts without news, seconds: the silence is news of its own.
const VERDICT_EVERY_SECS: f64 = 1.0;
/// The same for readings: such a share of the usual interval, of which so much more silence tells
/// little, and no more than so many seconds.
const READING_EVERY_SHARE: f64 = 0.1;
const READING_EVERY_SECS: f64 = 3.0;
/// Time between two readings that are told, seconds.
const TOLD_EVERY_SECS: f64 = 10.0;
/// Time for which a counted bead stays marked in the picture, seconds.
const MARKED_SECS: f64 = 1.2;
/// Drops until a change of rate is no longer news.
const FRESH_DROPS: usize = 10;
/// Share of the glass far from rest from which the picture after a blind spell counts as another.
/// Under it somebody only passed, and what was learned before is worth more than the first moments
/// after. A bead covers a twentieth.
const OTHER_SCENE_SHARE: f32 = 0.12;
/// Share of a tube that no beads can cover: three of the largest at once cover an eighth, a film that grows as much again.
const COVERED_TUBE_SHARE: f32 = 0.25;
/// The same for a port: a bead of half its height covers a quarter.
const COVERED_PORT_SHARE: f32 = 0.3;

/// A feed and everything known of it.
#[derive(Debug)]
pub(super) struct Feed {
    pub number: FeedNumber,
    pub calibration: FeedCalibration,
    counter: Counter,
    watch: Watch,
    judge: Judge,
    look: Look,
    passed_over: bool,
    record: DropRecord,
    drops: u64,
    bubbles: u64,
    reading: Option<Reading>,
    state: FeedState,
    doubts: Vec<String>,
    conditions: [(Cause, Condition); 5],
    read_at_secs: f64,
    judged_at_secs: f64,
    told_at_secs: f64,
    news: bool,
    changes: ChangeWatch,
    changed: Option<Change>,
    /// The last drop before a stop (or the start of watching), while the feed has stopped.
    stopped_since_secs: Option<f64>,
    as_found: Option<Arc<AsFound>>,
    counted: Ring<Counted>,
    history: Ring<HistoryPoint>,
    history_shared: Arc<Vec<HistoryPoint>>,
    /// Where it stood before the camera moved, the newest last.
    former: Ring<Outline>,
    oil: FeedOil,
}

/// A settled bead, remembered for marking and for doubts.
#[derive(Clone, Copy, Debug)]
struct Counted {
    at_secs: f64,
    settled_at_secs: f64,
    kind: BeadKind,
    rise_px_per_s: f64,
    height_px: f64,
    confidence: f64,
    surplus: f64,
}

impl Feed {
    pub fn new(number: FeedNumber, calibration: FeedCalibration, from_secs: f64) -> Self {
        Self {
            number,
            counter: Counter::new(&calibration.outline, calibration.px_per_mm),
            watch: Watch::new(HealthSettings {
                covered_share: match calibration.outline.kind {
                    GlassKind::Tube => COVERED_TUBE_SHARE,
                    GlassKind::Port => COVERED_PORT_SHARE,
                },
                other_scene_share: OTHER_SCENE_SHARE,
                ..HealthSettings::default()
            }),
            judge: Judge::new(JudgeSettings::default()),
            look: Look::default(),
            passed_over: false,
            record: DropRecord {
                from_secs,
                now_secs: from_secs,
                ..DropRecord::default()
            },
            drops: 0,
            bubbles: 0,
            reading: None,
            state: FeedState::NoReadingYet,
            doubts: Vec::new(),
            conditions: [
                Cause::Stopped,
                Cause::FarHigh,
                Cause::Low,
                Cause::High,
                Cause::CannotSee,
            ]
            .map(|cause| (cause, Condition::Clear)),
            read_at_secs: f64::NEG_INFINITY,
            judged_at_secs: f64::NEG_INFINITY,
            told_at_secs: from_secs,
            news: true,
            changes: ChangeWatch::default(),
            changed: None,
            stopped_since_secs: None,
            as_found: None,
            counted: Ring::new(16),
            history: Ring::new(HISTORY_POINTS),
            history_shared: Arc::new(Vec::new()),
            former: Ring::new(carrying::FORMER_OUTLINES),
            oil: FeedOil::new(),
            calibration,
        }
    }

    /// How each cause of an alarm on this feed stands.
    pub fn conditions(&self) -> [(Cause, Condition); 5] {
        self.conditions
    }

    /// Why the glass cannot be judged now, when it cannot.
    pub fn blind(&self) -> Option<BlindWhy> {
        match self.watch.trust() {
            Trust::Blind { why, .. } => Some(why),
            Trust::Clear => None,
        }
    }

    /// Watching begins: nothing before this counts as silence.
    pub fn begin(&mut self, at_secs: f64) {
        self.record.from_secs = at_secs;
        self.record.now_secs = at_secs;
        self.told_at_secs = at_secs;
    }

    /// A person moved this feed's valve: what was counted before belongs to another setting, and
    /// a new reading starts. Gives the old one.
    pub fn start_new_reading(&mut self, at_secs: f64, words: &str) -> Event {
        let record = self.record_now(at_secs);
        let reading = rate::reading(&record);
        let began = Began::Mark {
            words: words.to_owned(),
        };
        let kept = self.keep_as_found(at_secs, &record, reading, began);
        self.begin_reading(at_secs);
        self.news = true;
        kept
    }

    /// What was counted before belongs to another reading.
    fn begin_reading(&mut self, from_secs: f64) {
        self.record = self.record.since(from_secs);
        self.judge.reset();
        self.changes.reset();
        self.changed = None;
        self.stopped_since_secs = None;
    }

    /// Keeps the reading of a record that is over, and tells it.
    fn keep_as_found(
        &mut self,
        at_secs: f64,
        record: &DropRecord,
        reading: Option<Reading>,
        began: Began,
    ) -> Event {
        let found = AsFound {
            feed: self.number,
            from_secs: record.from_secs,
            until_secs: record.now_secs,
            reading,
            state: self.state,
            began,
        };
        if reading.is_some() || self.as_found.is_none() {
            self.as_found = Some(Arc::new(found.clone()));
        }
        Event::AsFound { at_secs, found }
    }

    /// The blind spell that is open now, as if it ended now.
    pub fn open_spell(&self, at_secs: f64) -> Option<Event> {
        match self.watch.trust() {
            Trust::Blind { why, since_secs } => Some(Event::Blind {
                feed: Some(self.number),
                from_secs: since_secs,
                to_secs: at_secs.max(since_secs),
                why,
            }),
            Trust::Clear => None,
        }
    }

    /// Looks at a frame; says whether the glass is the same as before. A calm one may be passed over.
    pub fn look(&mut self, frame: &Frame) -> Option<bool> {
        self.passed_over = self.blind().is_none() && self.counter.pass_over(frame);
        if self.passed_over {
            return None;
        }
        self.look = self.counter.look(frame);
        Some(self.look.identical)
    }

    /// Counts in the frame just looked at; `identical` says that no glass of the picture changed.
    pub fn count(&mut self, at_secs: f64, identical: Sameness) -> Vec<Event> {
        if self.passed_over {
            if self.counter.repeats() {
                self.watch.pass_over(at_secs);
            } else {
                self.watch.pass_over_another(at_secs);
            }
            self.record.now_secs = at_secs;
            return Vec::new();
        }
        let signs = Signs {
            at_secs,
            mean: self.look.mean,
            gain: self.look.gain,
            surround_gain: self.look.pose.gain as f32,
            changed: self.look.changed,
            agreeing: self.look.pose.agreeing,
            contrast: self.look.pose.contrast,
            shift_px: self.look.pose.shift_px.0.hypot(self.look.pose.shift_px.1),
            identical: identical == Sameness::Repeated,
            stirs: self.look.stirs,
            unsettled_since_secs: self.look.unsettled_since_secs,
        };
        let (over, trust) = self.watch.frame(&signs);
        let mut events = Vec::new();
        if over.iter().any(|s| s.why == BlindWhy::NoFrames) {
            let beads = self.counter.interrupted();
            self.take(beads, &mut events);
        }
        // In another light the old picture at rest is too coarse, however little is far from it.
        let is_other = |spell: &Spell| {
            changes_the_scene(spell.why)
                && (spell.why == BlindWhy::LightChanged || self.look.changed > OTHER_SCENE_SHARE)
        };
        if over.iter().any(is_other) {
            self.counter.relearn();
        }
        self.take_spells(over, &mut events);
        let sight = match (trust, identical) {
            (Trust::Blind { .. }, _) => Sight::Blind,
            (Trust::Clear, Sameness::Repeated) => Sight::Repeated,
            (Trust::Clear, Sameness::New) => Sight::Clear,
        };
        let beads = self.counter.count(sight);
        self.take(beads, &mut events);
        self.record.now_secs = at_secs;
        events
    }

    /// No frame came.
    pub fn no_frame(&mut self, at_secs: f64, why: BlindWhy) -> Vec<Event> {
        let was_clear = self.watch.trust() == Trust::Clear;
        let mut events = Vec::new();
        if let Trust::Blind { .. } = self.watch.no_frame(at_secs, why)
            && was_clear
        {
            let beads = self.counter.count(Sight::Blind);
            self.take(beads, &mut events);
        }
        self.record.now_secs = self.record.now_secs.max(at_secs);
        events
    }

    /// The picture ends: settles what is certain and closes what is open.
    pub fn finish(&mut self, at_secs: f64) -> Vec<Event> {
        let mut events = Vec::new();
        let beads = self.counter.finish();
        self.take(beads, &mut events);
        if let Some(spell) = self.watch.finish(at_secs) {
            self.take_spells(vec![spell], &mut events);
        }
        self.news = true;
        events
    }

    /// Brings reading and verdict up to date. The events tell what changed.
    pub fn read(&mut self, at_secs: f64) -> Vec<Event> {
        let blind = self.watch.trust();
        let mut events = Vec::new();
        if self.news || at_secs - self.judged_at_secs >= VERDICT_EVERY_SECS {
            let mut is_due = self.news || at_secs - self.read_at_secs >= self.reading_every_secs();
            self.judged_at_secs = at_secs;
            self.news = false;
            let mut record = self.record_now(at_secs);
            if let Some(stop) = self.stop_that_ended(&record) {
                // A feed that runs again is read anew: the stop is no interval of it.
                events.push(self.run_again(at_secs, stop));
                record = self.record_now(at_secs);
                is_due = true;
            }
            if let Some(change) = self.changes.look(&record) {
                // The old rate is over: a reading of both would be of neither.
                let old = DropRecord {
                    now_secs: change.at_secs,
                    ..record
                }
                .cleaned();
                let began = Began::Change {
                    before_per_minute: change.before_per_minute,
                    after_per_minute: change.after_per_minute,
                };
                events.push(self.keep_as_found(at_secs, &old, rate::reading(&old), began));
                self.record = self.record.since(change.at_secs);
                record = self.record_now(at_secs);
                self.changes.reset();
                self.changed = Some(change);
                self.judge.reset();
                is_due = true;
            }
            if is_due {
                self.read_at_secs = at_secs;
                self.reading = rate::reading(&record);
            }
            self.oil.read(at_secs, self.reading.as_ref());
            let verdict = self.judge.judge(
                &record,
                self.reading.as_ref(),
                self.calibration.band,
                self.blind(),
            );
            self.doubts = self.doubts_now(&record, &verdict.silence);
            self.conditions = verdict.conditions;
            let state = verdict.state;
            if state == FeedState::Stopped && self.stopped_since_secs.is_none() {
                let last = record.drops_secs.last().copied();
                self.stopped_since_secs = Some(last.unwrap_or(record.from_secs));
            }
            if state != self.state {
                self.state = state;
                self.told_at_secs = f64::NEG_INFINITY;
                events.push(Event::State {
                    at_secs,
                    feed: self.number,
                    state,
                });
            }
            self.keep_history(at_secs);
        } else if (blind != Trust::Clear) != (self.state == FeedState::CannotSee) {
            // A glass that cannot be seen says so at once.
            self.news = true;
            return self.read(at_secs);
        }
        if at_secs - self.told_at_secs >= TOLD_EVERY_SECS {
            self.told_at_secs = at_secs;
            events.push(self.reading_event(at_secs));
        }
        events
    }

    /// How long a reading holds without news, seconds.
    fn reading_every_secs(&self) -> f64 {
        let usual_secs = self.reading.map_or(0.0, |r| 60.0 / r.drops_per_minute);
        (READING_EVERY_SHARE * usual_secs).clamp(VERDICT_EVERY_SECS, READING_EVERY_SECS)
    }

    pub fn reading_event(&self, at_secs: f64) -> Event {
        let seen = self.state != FeedState::CannotSee;
        Event::Reading {
            at_secs,
            feed: self.number,
            // What was read before is no figure of what cannot be seen now.
            reading: self.reading.filter(|_| seen),
            state: self.state,
            doubts: self.doubts.clone(),
            oil: self.oil.flow.filter(|_| seen),
            hint: hint(self.oil.growth.as_ref()),
        }
    }

    fn take(&mut self, beads: Vec<Bead>, events: &mut Vec<Event>) {
        for bead in beads {
            self.counted.push(Counted {
                at_secs: bead.at_secs,
                settled_at_secs: bead.settled_at_secs,
                kind: bead.kind,
                rise_px_per_s: bead.rise_px_per_s,
                height_px: bead.height_px,
                confidence: bead.confidence,
                surplus: bead.surplus,
            });
            match bead.kind {
                BeadKind::Gas => self.bubbles += 1,
                BeadKind::Oil => {
                    self.drops += 1;
                    self.oil.drop(&bead);
                    let height_px = self.calibration.outline.height_px;
                    self.watch.passed(height_px / bead.rise_px_per_s);
                    let drops = &mut self.record.drops_secs;
                    // Two close beads may settle in the other order.
                    let place = drops.partition_point(|t| *t <= bead.at_secs);
                    drops.insert(place, bead.at_secs);
                    if drops.len() > KEPT_DROPS {
                        drops.remove(0);
                        if let Some(first) = drops.first() {
                            self.record.from_secs = *first;
                        }
                        let from = self.record.from_secs;
                        self.record.blind.retain(|span| span.to_secs > from);
                    }
                }
            }
            self.news = true;
            events.push(Event::Bead {
                feed: self.number,
                bead,
            });
        }
    }

    /// A drop ends a stop: the silence belongs to neither reading, and a new one begins with it.
    fn run_again(&mut self, at_secs: f64, stop: Span) -> Event {
        let blind_secs = self.record.blind_secs_between(stop.from_secs, stop.to_secs);
        let silent_secs = (stop.secs() - blind_secs).max(0.0);
        let old = self.record.between(self.record.from_secs, stop.from_secs);
        let began = Began::Stop { silent_secs };
        let kept = self.keep_as_found(at_secs, &old, rate::reading(&old), began);
        self.begin_reading(stop.to_secs);
        kept
    }

    fn take_spells(&mut self, spells: Vec<Spell>, events: &mut Vec<Event>) {
        for Spell { span, why } in spells {
            self.news = true;
            self.oil.unseen(span.secs());
            if let Some(last) = self.record.blind.last_mut()
                && span.from_secs <= last.to_secs
            {
                last.to_secs = last.to_secs.max(span.to_secs);
            } else {
                self.record.blind.push(span);
            }
            // Hours of blinking must not grow the record: the oldest spells and what lies before
            // them are let go together.
            if self.record.blind.len() > 4 * KEPT_DROPS {
                let gone = self.record.blind.remove(0);
                self.record.from_secs = self.record.from_secs.max(gone.to_secs);
                let from = self.record.from_secs;
                self.record.drops_secs.retain(|t| *t >= from);
            }
            events.push(Event::Blind {
                feed: Some(self.number),
                from_secs: span.from_secs,
                to_secs: span.to_secs,
                why,
            });
        }
    }

    /// The stop that a drop ended, when one did: one that was told, or one that only shows now that
    /// the drops after it are known.
    fn stop_that_ended(&self, record: &DropRecord) -> Option<Span> {
        let Some(from_secs) = self.stopped_since_secs else {
            return stop_at_beginning(record);
        };
        let drops = &self.record.drops_secs;
        let to_secs = drops.iter().copied().find(|drop| *drop > from_secs)?;
        Some(Span { from_secs, to_secs })
    }

    /// The record with the blind spell that is still open.
    fn record_now(&self, at_secs: f64) -> DropRecord {
        let mut record = self.record.clone();
        record.now_secs = record.now_secs.max(at_secs);
        if let Trust::Blind { since_secs, .. } = self.watch.trust() {
            record.blind.push(Span {
                from_secs: since_secs.max(record.from_secs),
                to_secs: record.now_secs,
            });
        }
        record
    }

    /// The change of rate that began this reading, while it rests on few drops.
    fn fresh_change(&self) -> Option<Change> {
        self.changed
            .filter(|_| self.reading.is_none_or(|r| r.drops < FRESH_DROPS))
    }

    fn keep_history(&mut self, at_secs: f64) {
        if self
            .history
            .newest()
            .is_some_and(|p| at_secs - p.at_secs < HISTORY_EVERY_SECS)
        {
            return;
        }
        let seen = self.state != FeedState::CannotSee;
        self.history.push(HistoryPoint {
            at_secs,
            rate: self
                .reading
                .filter(|_| seen)
                .map(|r| (r.drops_per_minute, r.low, r.high)),
        });
        self.history_shared = Arc::new(self.history.iter().copied().collect());
    }
}

/// Whether the picture after a blind spell may be another than before it.
fn changes_the_scene(why: BlindWhy) -> bool {
    match why {
        BlindWhy::Starting | BlindWhy::NoFrames | BlindWhy::Frozen => false,
        BlindWhy::CameraLost
        | BlindWhy::Dark
        | BlindWhy::LightChanged
        | BlindWhy::Moved
        | BlindWhy::Covered
        | BlindWhy::Flooded => true,
    }
}

/// Whether a frame brought anything new.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sameness {
    /// Some sample of some glass changed.
    New,
    /// The frame before once more.
    Repeated,
}
