//! Silence: how long a feed has shown no drop, blind time left out, against how long its own
//! intervals let expect. Whether that means *stopped* is for the judge.

use crate::base::Span;

use super::tail::Tail;
use super::{DropRecord, Posterior};

/// A feed has stopped after so many expected intervals of silence. 2.5: one missed bead (2
/// intervals) must not raise it, and at 15 % scatter two and a half are far beyond chance.
pub const STOPPED_AFTER_INTERVALS: f64 = 2.5;

/// ... but not before a silence that a running feed reaches with this chance at each interval. One
/// in a thousand: it only tells for scatter over some 35 %, where 2.5 intervals of silence are
/// nothing unusual (for a feed without any regularity one in twelve).
pub const STOPPED_CHANCE: f64 = 1e-3;

/// ... nor before a silence that, by all that is known of the feed, it reaches with this chance
/// (the posterior's tail). One in two hundred: it only tells while few drops are known. Of a feed
/// with 15 % scatter that is known by three drops it makes the limit 2.7 intervals on average; of
/// one without any regularity it takes away half of the false stops.
pub const STOPPED_TAIL_CHANCE: f64 = 0.005;

/// Looking back, a silence at the beginning was a stop beyond this chance of the posterior's tail,
/// far less than the one above, because there are three places to be deceived at, and again with
/// every drop. By simulation (1500 readings each) it takes away the beginning of one reading at 15 %
/// scatter (two missed beads), none at 30 and 50 %, and 48 of a feed without any regularity; at the
/// chance above it would be 1, 15, 94 and 323.
const LOOKED_BACK_CHANCE: f64 = STOPPED_TAIL_CHANCE / 50.0;

/// ... and from so many drops after it: three may be a triplet, as if the feed ran at a hundred a
/// minute, after which every usual interval would pass for a stop.
const LOOKED_BACK_FROM_DROPS: usize = 4;

/// From so many drops on a feed's own intervals tell when it has stopped. 3: one interval alone
/// may be one with a missed bead.
pub const OWN_INTERVALS_FROM_DROPS: usize = 3;

/// The present silence of a feed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Silence {
    /// Seconds of seeing since the last drop, or since watching began when there was none.
    pub secs: f64,
    /// What the feed's own intervals, as they were before this silence, let expect; none before
    /// there is a reading.
    pub expected: Option<Expected>,
}

/// What a feed's intervals let expect. It does not change while the feed is silent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Posterior median of the mean interval, seconds.
    pub interval_secs: f64,
    /// Posterior median of the scatter of the intervals (standard deviation over mean).
    pub scatter: f64,
    /// How long an interval may be by all that is known of the feed.
    tail: Tail,
}

impl Expected {
    /// What the record lets expect, the present silence left out of it; none before a reading.
    #[must_use]
    pub fn of(record: &DropRecord) -> Option<Self> {
        let (posterior, tail) = Posterior::with_tail(&record.before_silence())?;
        let per_minute = posterior.rate_per_minute(0.5);
        (per_minute > 0.0).then(|| Self {
            interval_secs: 60.0 / per_minute,
            scatter: posterior.scatter(0.5),
            tail,
        })
    }

    /// What a feed of known mean interval and scatter lets expect, when nothing is uncertain and
    /// no bead is missed.
    #[must_use]
    pub fn known(interval_secs: f64, scatter: f64) -> Self {
        Self {
            interval_secs,
            scatter,
            tail: Tail::known(interval_secs, scatter),
        }
    }

    /// The chance that one interval of this feed, running as before, is seen longer than so many
    /// seconds: 1 at 0, falling. It is the posterior's own tail: over all rates and scatters that
    /// the record leaves possible, and with the missed bead that any interval may hide.
    #[must_use]
    pub fn chance_longer(self, secs: f64) -> f64 {
        self.tail.chance_longer(secs)
    }

    /// The silence, seconds, that a running feed reaches only with the given chance: where
    /// [`chance_longer`](Self::chance_longer) falls to it.
    #[must_use]
    pub fn secs_at_chance(self, chance: f64) -> f64 {
        self.tail.secs_at_chance(chance)
    }

    /// The silence, seconds, after which this feed has stopped: so many expected intervals at
    /// least, at least what a running feed of its scatter reaches only with the given chance, and at
    /// least what it reaches with [`STOPPED_TAIL_CHANCE`] by all that is known of it.
    ///
    /// ```
    /// use beadtally::rate::{Expected, STOPPED_AFTER_INTERVALS, STOPPED_CHANCE};
    /// let regular = Expected::known(24.0, 0.15);
    /// assert_eq!(regular.stopped_after_secs(STOPPED_AFTER_INTERVALS, STOPPED_CHANCE), 60.0);
    /// let irregular = Expected::known(24.0, 1.0);
    /// assert!(irregular.stopped_after_secs(STOPPED_AFTER_INTERVALS, STOPPED_CHANCE) > 160.0);
    /// ```
    #[must_use]
    pub fn stopped_after_secs(self, least_intervals: f64, chance: f64) -> f64 {
        let by_intervals = least_intervals.max(self.intervals_at_chance(chance));
        (by_intervals * self.interval_secs).max(self.secs_at_chance(STOPPED_TAIL_CHANCE))
    }

    /// How many expected intervals of silence a running feed reaches only with the given chance;
    /// from the feed's own scatter alone.
    #[must_use]
    pub fn intervals_at_chance(self, chance: f64) -> f64 {
        let shape = 1.0 / (self.scatter * self.scatter);
        super::special::chi_squared_quantile(1.0 - chance, 2.0 * shape) / (2.0 * shape)
    }
}

/// The silence at the beginning of a record that its later drops show to have been a stop: before
/// the first drop, or after the first or second, when too few were known to tell. As long as it
/// stands in the record, the feed passes for one without any regularity, and the next stop is
/// told late; the feed is better read anew from the drop that ended it.
///
/// Told from four drops on after it, when what they alone let expect has a stop that comes sooner;
/// a stretch counts only as far as no blind spell breaks it, because a drop may have passed there.
///
/// ```
/// use beadtally::rate::{DropRecord, stop_at_beginning};
/// let mut record = DropRecord {
///     from_secs: 0.0,
///     now_secs: 80.0,
///     drops_secs: vec![60.0, 65.2, 70.0, 75.1],
///     blind: vec![],
/// };
/// let stop = stop_at_beginning(&record).expect("a minute of silence");
/// assert_eq!((stop.from_secs, stop.to_secs), (0.0, 60.0));
/// record.from_secs = 56.0;
/// assert_eq!(stop_at_beginning(&record), None);
/// ```
#[must_use]
pub fn stop_at_beginning(record: &DropRecord) -> Option<Span> {
    let drops = &record.drops_secs;
    let places = drops.len().checked_sub(LOOKED_BACK_FROM_DROPS)?;
    // Newest first: a record that begins with two of them begins after the second.
    (0..=places.min(OWN_INTERVALS_FROM_DROPS - 1))
        .rev()
        .find_map(|before| {
            let to_secs = *drops.get(before)?;
            let from_secs = match before.checked_sub(1) {
                Some(index) => *drops.get(index)?,
                None => record.from_secs,
            };
            let seen_secs = record.longest_seen_secs(from_secs, to_secs);
            let later_secs = (drops.last()? - to_secs) / (drops.len() - before - 1) as f64;
            // Most records end here, before anything is reckoned.
            if seen_secs <= STOPPED_AFTER_INTERVALS * later_secs {
                return None;
            }
            let expected = Expected::of(&record.since(to_secs))?;
            let limit_secs = expected
                .stopped_after_secs(STOPPED_AFTER_INTERVALS, STOPPED_CHANCE)
                .max(expected.secs_at_chance(LOOKED_BACK_CHANCE));
            (seen_secs > limit_secs).then_some(Span { from_secs, to_secs })
        })
}

impl Silence {
    /// The silence in a record, with what to expect worked out from it.
    #[must_use]
    pub fn of(record: &DropRecord) -> Self {
        Self::with_expected(record, Expected::of(record))
    }

    /// The silence in a record when what to expect is known already: it only changes with a drop.
    #[must_use]
    pub fn with_expected(record: &DropRecord, expected: Option<Expected>) -> Self {
        let record = record.cleaned();
        let since = record
            .drops_secs
            .last()
            .copied()
            .unwrap_or(record.from_secs);
        let whole = record.now_secs - since;
        Self {
            secs: (whole - record.blind_secs_between(since, record.now_secs)).max(0.0),
            expected,
        }
    }

    /// Silence over the expected interval; none before a reading.
    #[must_use]
    pub fn ratio(self) -> Option<f64> {
        self.expected
            .map(|expected| self.secs / expected.interval_secs)
    }
}
