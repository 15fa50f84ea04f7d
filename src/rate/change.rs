//! Has the rate changed within a record, and when? A likelihood ratio over every place where the
//! record could be split in two, so that the rate before need not be known beforehand. What to do
//! about a change (a new reading from there on) is for others, and a feed that stops altogether is
//! a matter of silence.

use super::record::Observed;
use super::special::ln_gamma_of;
use super::{DropRecord, MISSED_SHARE, SCATTER_CENTRE};

/// The log-likelihood ratio that makes a change. By simulation at 2.5 drops a minute, 15 % scatter
/// and 0.5 % missed beads: one false change in sixteen hours (they come in twos and threes, while
/// few drops are known after one); a step of 30 % is found in 145 s on average after 60 drops at
/// the old rate, in 190 s after 20; a doubling in 25 s, a halving in two minutes. At 30 % scatter
/// two false changes in eight hours. (Where the old rate is
/// known, a [`GammaCusum`](super::GammaCusum) is sooner.)
pub const CHANGE_LIMIT: f64 = 10.0;

/// Whole intervals wanted on either side of a change.
const FEWEST_INTERVALS: usize = 2;

/// Whole intervals wanted in all: with fewer, the scatter is a guess.
const FEWEST_IN_ALL: usize = 6;

/// How many intervals' worth of belief the usual scatter ([`SCATTER_CENTRE`]) gets against the
/// scatter found: enough that a few intervals which happen to be equal do not make every small
/// step a change.
const USUAL_SCATTER_WEIGHT: f64 = 4.0;

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
    let record = record.cleaned();
    let intervals = Observed::whole_intervals(&record);
    let count = intervals.len();
    if count < FEWEST_IN_ALL {
        return None;
    }
    let secs: Vec<f64> = intervals.iter().map(|(_, secs)| *secs).collect();
    let mut best: Option<Change> = None;
    for split in FEWEST_INTERVALS..=count - FEWEST_INTERVALS {
        let (before, after) = secs.split_at(split);
        // With long intervals taken as two, and with none: whichever explains the record better.
        let with = Split::new(before, after, &secs, Stretch::of);
        let without = Split::new(before, after, &secs, Stretch::without_twos);
        let Split {
            old, new, ln_ratio, ..
        } = if with.ln_likelihood > without.ln_likelihood {
            with
        } else {
            without
        };
        if ln_ratio > best.map_or(CHANGE_LIMIT, |best| best.ln_ratio) {
            best = Some(Change {
                at_secs: intervals.get(split)?.0,
                before_per_minute: 60.0 / old.mean_secs,
                after_per_minute: 60.0 / new.mean_secs,
                ln_ratio,
            });
        }
    }
    best
}

/// A record split in two stretches, each with its rate.
struct Split {
    old: Stretch,
    new: Stretch,
    ln_likelihood: f64,
    /// Over the likelihood of the whole at one rate.
    ln_ratio: f64,
}

impl Split {
    fn new(before: &[f64], after: &[f64], all: &[f64], stretch: fn(&[f64]) -> Stretch) -> Self {
        let (old, new) = (stretch(before), stretch(after));
        let usual = USUAL_SCATTER_WEIGHT * SCATTER_CENTRE * SCATTER_CENTRE;
        let freedom = old.singles + new.singles + USUAL_SCATTER_WEIGHT - 2.0;
        let model = Model::new(freedom / (old.off + new.off + usual));
        let ln_likelihood = model.ln_likelihood(before, old) + model.ln_likelihood(after, new);
        Self {
            old,
            new,
            ln_likelihood,
            ln_ratio: ln_likelihood - model.best(all),
        }
    }
}

/// What one rate makes of a stretch of intervals.
#[derive(Clone, Copy)]
struct Stretch {
    /// Mean interval, with an interval that holds a missed bead taken as two.
    mean_secs: f64,
    /// Intervals taken as one.
    singles: f64,
    /// Squared deviations of those from the mean, relative to it.
    off: f64,
    /// Intervals longer than this are taken as two.
    two_from_secs: f64,
}

impl Stretch {
    /// An interval over this many medians is taken as two: midway between one and two.
    const TWO_FROM: f64 = 1.5;

    fn of(intervals: &[f64]) -> Self {
        Self::with_two_from(intervals, Self::TWO_FROM * lower_median(intervals))
    }

    fn without_twos(intervals: &[f64]) -> Self {
        Self::with_two_from(intervals, f64::INFINITY)
    }

    fn with_two_from(intervals: &[f64], two_from_secs: f64) -> Self {
        let sum: f64 = intervals.iter().sum();
        let single = |secs: &&f64| **secs <= two_from_secs;
        let singles = intervals.iter().filter(single).count() as f64;
        let mean_secs = sum / (2.0 * intervals.len() as f64 - singles);
        let deviation = |secs: &f64| (secs / mean_secs - 1.0) * (secs / mean_secs - 1.0);
        Self {
            mean_secs,
            singles,
            off: intervals.iter().filter(single).map(deviation).sum(),
            two_from_secs,
        }
    }
}

/// Gamma intervals of one shape, some of which are two.
struct Model {
    shape: f64,
    ln_one: f64,
    ln_two: f64,
}

impl Model {
    fn new(shape: f64) -> Self {
        let norm = |shape: f64, of: f64| of * shape.ln() - ln_gamma_of(of);
        Self {
            shape,
            ln_one: norm(shape, shape) + (-MISSED_SHARE).ln_1p(),
            ln_two: norm(shape, 2.0 * shape) + MISSED_SHARE.ln(),
        }
    }

    /// ln of the density of intervals, each as one or as two, whichever the stretch says.
    fn ln_likelihood(&self, intervals: &[f64], stretch: Stretch) -> f64 {
        let ln_density = |secs: &f64| {
            let ln_z = (secs / stretch.mean_secs).ln();
            let (ln_norm, power) = if *secs <= stretch.two_from_secs {
                (self.ln_one, self.shape)
            } else {
                (self.ln_two, 2.0 * self.shape)
            };
            ln_norm + power * ln_z - self.shape * secs / stretch.mean_secs - secs.ln()
        };
        intervals.iter().map(ln_density).sum()
    }

    /// The better of two readings of all intervals at one rate: with long ones taken as two, and
    /// none.
    fn best(&self, intervals: &[f64]) -> f64 {
        let with = self.ln_likelihood(intervals, Stretch::of(intervals));
        with.max(self.ln_likelihood(intervals, Stretch::without_twos(intervals)))
    }
}

/// The median, or the lower of the two in the middle.
fn lower_median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
        .get(sorted.len().saturating_sub(1) / 2)
        .copied()
        .unwrap_or(f64::NAN)
}
