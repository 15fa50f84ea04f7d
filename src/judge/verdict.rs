//! The verdict on one feed: its reading against its band, its silence against its own intervals,
//! and whether it can be seen at all. What becomes of a verdict over time is in `alarm`.

use crate::base::{Band, BlindWhy};
use crate::rate::{DropRecord, Expected, Reading, Silence};

use super::{Cause, Condition, FeedState, JudgeSettings};

/// A verdict with what it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// What the feed is found to be.
    pub state: FeedState,
    /// The present silence.
    pub silence: Silence,
    /// The silence, seconds, that means *stopped*; none when nothing can be said.
    pub stopped_after_secs: Option<f64>,
    /// How each cause of an alarm on this feed stands.
    pub conditions: [(Cause, Condition); 5],
}

/// Judges one feed from moment to moment and remembers what a deadband needs.
#[derive(Clone, Debug, Default)]
pub struct Judge {
    settings: JudgeSettings,
    /// Where the reading last stood against the band.
    stood: Stood,
    /// What to expect, with the record it was found from: it changes only with a drop.
    expected: Option<(Key, Option<Expected>)>,
}

/// Where a reading stands against a band.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Stood {
    #[default]
    InBand,
    Low,
    High,
    FarHigh,
}

/// What of a record the expected interval depends on.
type Key = (u64, u64, usize, usize);

impl Judge {
    /// A judge that has seen nothing yet.
    #[must_use]
    pub fn new(settings: JudgeSettings) -> Self {
        Self {
            settings,
            ..Self::default()
        }
    }

    /// Forgets where the reading stood, for a new reading or another band.
    pub fn reset(&mut self) {
        self.stood = Stood::default();
        self.expected = None;
    }

    /// Judges the feed now.
    ///
    /// A feed that cannot be seen now is *cannot see*, whatever was known before. Then *stopped*:
    /// silence, blind time left out, of more than 2.5 intervals as the feed had them before the
    /// silence (before three drops: at the band's low limit). Then the median of the reading
    /// against the band, with a deadband on the way back. Without a reading, *no reading yet*.
    ///
    /// The record may begin at a change or a mark; silence then counts from there.
    pub fn judge(
        &mut self,
        record: &DropRecord,
        reading: Option<&Reading>,
        band: Band,
        blind_now: Option<BlindWhy>,
    ) -> Verdict {
        let silence = Silence::with_expected(record, self.expected(record));
        let drops = record.drops_secs.len();
        let stopped_after_secs = self.stopped_after_secs(drops, silence.expected, band);
        let is_stopped = stopped_after_secs.is_some_and(|limit| silence.secs > limit);
        let state = if blind_now.is_some() {
            FeedState::CannotSee
        } else if is_stopped {
            FeedState::Stopped
        } else if let Some(reading) = reading.filter(|r| r.drops_per_minute.is_finite()) {
            self.stood = self.against_band(reading.drops_per_minute, band);
            match self.stood {
                Stood::InBand => FeedState::InBand,
                Stood::Low => FeedState::Low,
                Stood::High => FeedState::High,
                Stood::FarHigh => FeedState::FarHigh,
            }
        } else {
            FeedState::NoReadingYet
        };
        Verdict {
            state,
            silence,
            stopped_after_secs,
            conditions: self.conditions(state, drops, reading, band),
        }
    }

    fn expected(&mut self, record: &DropRecord) -> Option<Expected> {
        let last = record.drops_secs.last().copied().unwrap_or(f64::NAN);
        let drops = record.drops_secs.len();
        let blind = record
            .blind
            .iter()
            .filter(|spell| spell.to_secs <= last)
            .count();
        let key = (record.from_secs.to_bits(), last.to_bits(), drops, blind);
        if let Some((known, expected)) = self.expected
            && known == key
        {
            return expected;
        }
        let expected = Expected::of(record);
        self.expected = Some((key, expected));
        expected
    }

    fn stopped_after_secs(
        &self,
        drops: usize,
        expected: Option<Expected>,
        band: Band,
    ) -> Option<f64> {
        let settings = &self.settings;
        if drops >= settings.own_intervals_from_drops
            && let Some(expected) = expected
        {
            return Some(
                expected
                    .stopped_after_secs(settings.stopped_after_intervals, settings.stopped_chance),
            );
        }
        (band.low_per_minute > 0.0)
            .then(|| settings.stopped_after_intervals * 60.0 / band.low_per_minute)
    }

    fn against_band(&self, per_minute: f64, band: Band) -> Stood {
        let back = self.settings.deadband_share.clamp(0.0, 0.5);
        let high = band.high_per_minute;
        let far_high = high * self.settings.far_high_factor;
        // Inside by the deadband when the limit was passed before. A limit that is no number is
        // never passed.
        let over = |limit: f64, passed_before: bool| {
            per_minute
                > if passed_before {
                    limit * (1.0 - back)
                } else {
                    limit
                }
        };
        let under = |limit: f64, passed_before: bool| {
            per_minute
                < if passed_before {
                    limit * (1.0 + back)
                } else {
                    limit
                }
        };
        let was_high = matches!(self.stood, Stood::High | Stood::FarHigh);
        // In a band narrower than the deadband, being truly past the other limit comes first.
        if over(far_high, self.stood == Stood::FarHigh) {
            Stood::FarHigh
        } else if over(high, was_high && per_minute >= band.low_per_minute) {
            Stood::High
        } else if under(band.low_per_minute, self.stood == Stood::Low) {
            Stood::Low
        } else {
            Stood::InBand
        }
    }

    /// A cause whose condition cannot be known now is unknown, not clear: an alarm must not go
    /// because somebody stands before the glass.
    fn conditions(
        &self,
        state: FeedState,
        drops: usize,
        reading: Option<&Reading>,
        band: Band,
    ) -> [(Cause, Condition); 5] {
        let (high_else, low_else) = match state {
            FeedState::CannotSee | FeedState::NoReadingYet => {
                (Condition::Unknown, Condition::Unknown)
            }
            // A stopped feed is not high; whether it would be low is not known.
            FeedState::Stopped => (Condition::Clear, Condition::Unknown),
            FeedState::InBand | FeedState::Low | FeedState::High | FeedState::FarHigh => {
                (Condition::Clear, Condition::Clear)
            }
        };
        let of = |own: FeedState, otherwise: Condition| {
            if state == own {
                Condition::Active
            } else {
                otherwise
            }
        };
        let is_certain =
            reading.is_some_and(|r| r.low > self.settings.far_high_factor * band.high_per_minute);
        let far_high = match of(FeedState::FarHigh, high_else) {
            Condition::Active if is_certain => Condition::Certain,
            condition => condition,
        };
        let stopped = match state {
            FeedState::CannotSee => Condition::Unknown,
            // A new reading after a mark: not known to run until a drop is seen.
            FeedState::NoReadingYet if drops == 0 => Condition::Unknown,
            _ => of(FeedState::Stopped, Condition::Clear),
        };
        [
            (Cause::Stopped, stopped),
            (Cause::FarHigh, far_high),
            (Cause::Low, of(FeedState::Low, low_else)),
            (Cause::High, of(FeedState::High, high_else)),
            (Cause::CannotSee, of(FeedState::CannotSee, Condition::Clear)),
        ]
    }
}

/// Judges a feed once, with nothing remembered and the usual settings: for a clip at its end.
/// From moment to moment use [`Judge`].
///
/// ```
/// use beadtally::base::Band;
/// use beadtally::judge::{FeedState, judge};
/// use beadtally::rate::{DropRecord, reading};
/// let mut record = DropRecord {
///     from_secs: 0.0,
///     now_secs: 100.0,
///     drops_secs: vec![10.0, 34.0, 57.0, 82.0],
///     blind: vec![],
/// };
/// let state = |r: &DropRecord| judge(r, reading(r).as_ref(), Band::default(), None);
/// assert_eq!(state(&record), FeedState::InBand);
/// record.now_secs = 150.0; // silent for 68 s, nearly three intervals
/// assert_eq!(state(&record), FeedState::Stopped);
/// ```
#[must_use]
pub fn judge(
    record: &DropRecord,
    reading: Option<&Reading>,
    band: Band,
    blind_now: Option<BlindWhy>,
) -> FeedState {
    Judge::default()
        .judge(record, reading, band, blind_now)
        .state
}
