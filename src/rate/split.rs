//! The place where a record of intervals is best split in two rates, and how much better two rates
//! explain it than one. What is made of that is for `change`.

use super::special::ln_gamma_of;
use super::{MISSED_SHARE, SCATTER_CENTRE};

/// How many intervals' worth of belief the usual scatter ([`SCATTER_CENTRE`]) gets against the
/// scatter found: enough that a few intervals which happen to be equal do not make every small
/// step a change.
const USUAL_SCATTER_WEIGHT: f64 = 4.0;

/// An interval over this many medians is taken as two: midway between one and two.
const TWO_FROM: f64 = 1.5;

/// The best split of some intervals.
#[derive(Clone, Copy, Debug)]
pub(super) struct BestSplit {
    /// Intervals before it.
    pub before: usize,
    /// Mean interval before, seconds.
    pub before_secs: f64,
    /// Mean interval after, seconds.
    pub after_secs: f64,
    /// Log-likelihood of two rates over that of one.
    pub ln_ratio: f64,
}

/// The best split with so many intervals at least on either side; none when there are too few.
/// Intervals in seconds, each positive.
pub(super) fn best_split(intervals: &[f64], fewest: usize) -> Option<BestSplit> {
    let count = intervals.len();
    let logs: Vec<f64> = intervals.iter().map(|secs| secs.ln()).collect();
    let all = Part::all(intervals, &logs);
    let whole = [
        Stretch::new(all, TWO_FROM * lower_median(intervals)),
        Stretch::new(all, f64::INFINITY),
    ];
    let mut best: Option<BestSplit> = None;
    let medians = medians_up_to(intervals.iter().copied());
    let medians_after = medians_up_to(intervals.iter().rev().copied());
    for split in fewest..=count.checked_sub(fewest)? {
        let (before, after) = all.split_at(split);
        let median_before = medians.get(split.checked_sub(1)?)?;
        let median_after = medians_after.get((count - split).checked_sub(1)?)?;
        // With long intervals taken as two, and with none: whichever explains the record better.
        let with = (
            Stretch::new(before, TWO_FROM * median_before),
            Stretch::new(after, TWO_FROM * median_after),
        );
        let without = (
            Stretch::new(before, f64::INFINITY),
            Stretch::new(after, f64::INFINITY),
        );
        let with = (with, Model::of(with));
        let without = (without, Model::of(without));
        let likelihood = |((old, new), model): ((Stretch, Stretch), Model)| {
            model.ln_likelihood(old) + model.ln_likelihood(new)
        };
        let ((old, new), model) = if likelihood(with) > likelihood(without) {
            with
        } else {
            without
        };
        let one = whole
            .iter()
            .map(|stretch| model.ln_likelihood(*stretch))
            .fold(f64::NEG_INFINITY, f64::max);
        let ln_ratio = likelihood(((old, new), model)) - one;
        if ln_ratio > best.map_or(f64::NEG_INFINITY, |best| best.ln_ratio) {
            best = Some(BestSplit {
                before: split,
                before_secs: old.mean_secs,
                after_secs: new.mean_secs,
                ln_ratio,
            });
        }
    }
    best
}

/// Some neighbouring intervals with their logarithms.
#[derive(Clone, Copy)]
struct Part<'a> {
    secs: &'a [f64],
    logs: &'a [f64],
}

impl<'a> Part<'a> {
    fn all(secs: &'a [f64], logs: &'a [f64]) -> Self {
        Self { secs, logs }
    }

    fn split_at(self, at: usize) -> (Self, Self) {
        let (secs, secs_after) = self.secs.split_at(at);
        let (logs, logs_after) = self.logs.split_at(at);
        (
            Self { secs, logs },
            Self {
                secs: secs_after,
                logs: logs_after,
            },
        )
    }
}

/// What one rate makes of a stretch of intervals, some of which are taken as two.
#[derive(Clone, Copy)]
struct Stretch {
    /// Mean interval, with an interval that holds a missed bead taken as two.
    mean_secs: f64,
    /// Intervals taken as one, and those taken as two.
    singles: f64,
    twos: f64,
    /// Squared deviations of the single ones from the mean, relative to it.
    off: f64,
    /// Sums of ln(seconds).
    ln_singles: f64,
    ln_twos: f64,
    /// Sum of all, seconds.
    sum_secs: f64,
}

impl Stretch {
    fn new(part: Part<'_>, two_from_secs: f64) -> Self {
        let (mut singles, mut twos) = (0.0, 0.0);
        let (mut sum, mut squares, mut sum_twos) = (0.0, 0.0, 0.0);
        let (mut ln_singles, mut ln_twos) = (0.0, 0.0);
        for (secs, ln) in part.secs.iter().zip(part.logs) {
            if *secs <= two_from_secs {
                singles += 1.0;
                sum += secs;
                squares += secs * secs;
                ln_singles += ln;
            } else {
                twos += 1.0;
                sum_twos += secs;
                ln_twos += ln;
            }
        }
        let sum_secs = sum + sum_twos;
        let mean_secs = sum_secs / (singles + 2.0 * twos);
        let off = squares / (mean_secs * mean_secs) - 2.0 * sum / mean_secs + singles;
        Self {
            mean_secs,
            singles,
            twos,
            off: off.max(0.0),
            ln_singles,
            ln_twos,
            sum_secs,
        }
    }
}

/// Gamma intervals of one shape, some of which are two.
#[derive(Clone, Copy)]
struct Model {
    shape: f64,
    ln_one: f64,
    ln_two: f64,
}

impl Model {
    /// The shape that two stretches show together.
    fn of((old, new): (Stretch, Stretch)) -> Self {
        let usual = USUAL_SCATTER_WEIGHT * SCATTER_CENTRE * SCATTER_CENTRE;
        let freedom = old.singles + new.singles + USUAL_SCATTER_WEIGHT - 2.0;
        let shape = freedom / (old.off + new.off + usual);
        let norm = |of: f64| of * shape.ln() - ln_gamma_of(of);
        Self {
            shape,
            ln_one: norm(shape) + (-MISSED_SHARE).ln_1p(),
            ln_two: norm(2.0 * shape) + MISSED_SHARE.ln(),
        }
    }

    /// ln of the density of a stretch, each interval as one or as two, whichever it says.
    fn ln_likelihood(&self, stretch: Stretch) -> f64 {
        let Stretch {
            mean_secs,
            singles,
            twos,
            ln_singles,
            ln_twos,
            sum_secs,
            ..
        } = stretch;
        let ln_mean = mean_secs.ln();
        singles * self.ln_one
            + twos * self.ln_two
            + self.shape * (ln_singles - singles * ln_mean)
            + 2.0 * self.shape * (ln_twos - twos * ln_mean)
            - self.shape * sum_secs / mean_secs
            - ln_singles
            - ln_twos
    }
}

/// The lower median of the first value, of the first two, of the first three, …
fn medians_up_to(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut sorted: Vec<f64> = Vec::new();
    values
        .map(|value| {
            let at = sorted.partition_point(|kept| *kept < value);
            sorted.insert(at, value);
            sorted
                .get((sorted.len() - 1) / 2)
                .copied()
                .unwrap_or(f64::NAN)
        })
        .collect()
}

/// The median, or the lower of the two in the middle.
fn lower_median(values: &[f64]) -> f64 {
    medians_up_to(values.iter().copied())
        .last()
        .copied()
        .unwrap_or(f64::NAN)
}
