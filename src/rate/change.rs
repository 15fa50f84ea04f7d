//! Has the rate changed within a record, and when? A likelihood ratio over every place where the
//! record could be split in two, so that the rate before need not be known beforehand. What to do
//! about a change (a new reading from there on) is for others, and a feed that stops altogether is
//! a matter of silence.

use super::DropRecord;
use super::record::Observed;
use super::split::best_split;

/// The log-likelihood ratio that makes a change. By simulation at 2.5 drops a minute, 15 % scatter
/// and 0.5 % missed beads: one false change in sixteen hours (they come in twos and threes, while
/// few drops are known after one); a step of 30 % is found in 150 s on average after 60 drops at
/// the old rate, in 190 s after 20; a doubling in 25 s, a halving in two minutes. At 30 % scatter
/// two false changes in eight hours. (A [`ChangeWatch`](super::ChangeWatch) is sooner.)
pub const CHANGE_LIMIT: f64 = 10.0;

/// Whole intervals wanted on either side of a change.
const FEWEST_INTERVALS: usize = 2;

/// Whole intervals wanted in all: with fewer, the scatter is a guess.
const FEWEST_IN_ALL: usize = 6;

/// A change of the rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Source time of the drop (seen, or taken as missed) after which the rate was another,
    /// seconds.
    pub at_secs: f64,
    /// Mean rate of the intervals before, drops a minute.
    pub before_per_minute: f64,
    /// Mean rate of the intervals after, drops a minute.
    pub after_per_minute: f64,
    /// How sure: natural log of the likelihood ratio, ≥ [`CHANGE_LIMIT`].
    pub ln_ratio: f64,
}

impl Change {
    /// A sentence for people, without the full stop.
    #[must_use]
    pub fn words(&self) -> String {
        format!(
            "the rate changed from about {:.1} to about {:.1} a minute",
            self.before_per_minute, self.after_per_minute
        )
    }
}

/// The most likely change of rate within the newest drops of a record, if it is beyond doubt.
/// Only whole intervals without a blind spell speak; the present silence does not.
#[must_use]
pub fn find_change(record: &DropRecord) -> Option<Change> {
    likeliest_change(record).filter(|change| change.ln_ratio > CHANGE_LIMIT)
}

/// The most likely change of rate, however doubtful; none with too few intervals.
pub(super) fn likeliest_change(record: &DropRecord) -> Option<Change> {
    let record = record.cleaned();
    let intervals = Observed::whole_intervals(&record);
    if intervals.len() < FEWEST_IN_ALL {
        return None;
    }
    let secs: Vec<f64> = intervals.iter().map(|(_, secs)| *secs).collect();
    let best = best_split(&secs, FEWEST_INTERVALS)?;
    Some(Change {
        at_secs: intervals.get(best.before)?.0,
        before_per_minute: 60.0 / best.before_secs,
        after_per_minute: 60.0 / best.after_secs,
        ln_ratio: best.ln_ratio,
    })
}
