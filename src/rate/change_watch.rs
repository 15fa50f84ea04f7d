//! Watches a feed for a change of its rate from reading to reading, in two ways at once: the look
//! over the record of `change`, which knows nothing beforehand, and the cumulative sums of
//! `step_watch`, which find a step of some 30 % sooner once mean and scatter have been learned.
//! What to do about a change is for others.

use super::change::likeliest_change;
use super::cusum::Way;
use super::posterior::Posterior;
use super::record::Observed;
use super::step_watch::{AtRest, StepWatch};
use super::{CHANGE_LIMIT, Change, DropRecord, MISSED_SHARE};

/// Drops from which mean and scatter are learned, once in a reading. With 20 the mean is known to
/// some 3 % at 15 % scatter, a tenth of the step looked for; more would only begin later. They are
/// not learned anew as drops come: by simulation, a mean that moves along with the record tells ten
/// times as many false steps.
pub const LEARNED_FROM_DROPS: usize = 20;

/// ... and only when the mean is known so well: standard deviation of its logarithm. At 0.045, a
/// seventh of the step looked for, a feed with 15 % scatter is learned at 20 drops and one with
/// 30 % at some 45; of a feed more irregular than 35 % the mean is never known so well from the
/// drops of a reading, and only the look over the record is left.
const LEARNED_SPREAD: f64 = 0.045;

/// Mean and scatter are learned only while the likeliest change is this doubtful (natural log of
/// the likelihood ratio): else a step just before would be learned as if it were scatter.
const EVEN_RATIO: f64 = 3.0;

/// A sum over this (natural log) is a step, where mean and scatter were learned: a little more than
/// where they are known, because what was learned is off by some per cent. By simulation at 2.5
/// drops a minute, 15 % scatter and 0.5 % missed beads: a step of 30 % is told after 125 s (slower)
/// or 142 s (faster) when it comes right after learning, and 0.7 false ones in eight hours.
pub const LEARNED_STEP_LIMIT: f64 = 8.25;

/// Beside the sums the look over the record need only find what is beyond all doubt (natural log of
/// the likelihood ratio). Together they tell 0.9 false changes in eight hours; a step of 30 % after
/// 60 drops is told after 124 s or 133 s.
const LIMIT_BESIDE_SUMS: f64 = 13.0;

/// A watch over one reading.
#[derive(Clone, Debug, Default)]
pub struct ChangeWatch {
    sums: Option<Sums>,
    /// How many drops the record had and its last, when it was last looked over.
    looked_at: Option<(usize, u64)>,
}

#[derive(Clone, Copy, Debug)]
struct Sums {
    watch: StepWatch,
    at_rest: AtRest,
    /// The drop up to which intervals were taken, source seconds.
    taken_secs: f64,
    /// The drop from which each sum last rose from zero, source seconds.
    up_from_secs: f64,
    down_from_secs: f64,
}

impl ChangeWatch {
    /// Forgets what was learned: when a new reading starts.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Looks at the record as it is now; tells a change beyond doubt. Call it with every new drop,
    /// and a few times an interval in between for what silence tells; after a change, or a mark,
    /// [`reset`](Self::reset) it and go on with the record since.
    pub fn look(&mut self, record: &DropRecord) -> Option<Change> {
        let record = record.cleaned();
        let last = record.drops_secs.last()?;
        // Without a new drop only the silence can tell anything new.
        let looked_at = Some((record.drops_secs.len(), last.to_bits()));
        if looked_at == self.looked_at {
            let step = self.sums.as_mut()?.look(&record)?;
            return Some(placed(step, likeliest_change(&record)));
        }
        self.looked_at = looked_at;
        let likeliest = likeliest_change(&record);
        let ln_ratio = likeliest.map_or(0.0, |change| change.ln_ratio);
        let mut limit = CHANGE_LIMIT;
        match &mut self.sums {
            Some(sums) => {
                if let Some(step) = sums.look(&record) {
                    return Some(placed(step, likeliest));
                }
                limit = LIMIT_BESIDE_SUMS;
            }
            None if ln_ratio < EVEN_RATIO => self.sums = Sums::learned(&record),
            None => {}
        }
        likeliest.filter(|change| change.ln_ratio > limit)
    }

    /// The seconds of silence from which [`look`](Self::look) tells a step down; none when no
    /// silence does. Changes with every drop.
    #[must_use]
    pub fn told_after_silence_secs(&self) -> Option<f64> {
        self.sums
            .and_then(|sums| sums.watch.told_after_silence_secs())
    }
}

/// A step told by the sums, placed as well as can be. A sum that looks for 30 % begins to rise with
/// intervals that are merely a little off; where the likeliest change lies later, and goes the same
/// way, it is the better place.
fn placed(step: Change, likeliest: Option<Change>) -> Change {
    let is_faster = |change: &Change| change.after_per_minute > change.before_per_minute;
    let better = likeliest.filter(|likeliest| {
        likeliest.at_secs > step.at_secs && is_faster(likeliest) == is_faster(&step)
    });
    better.map_or(step, |likeliest| Change {
        ln_ratio: step.ln_ratio,
        ..likeliest
    })
}

impl Sums {
    /// Takes the new intervals of a record, and its present silence.
    fn look(&mut self, record: &DropRecord) -> Option<Change> {
        let intervals = Observed::whole_intervals(record);
        for (from_secs, secs) in &intervals {
            if *from_secs < self.taken_secs {
                continue;
            }
            self.taken_secs = from_secs + secs;
            let (up, down) = self.watch.sums();
            if up <= 0.0 {
                self.up_from_secs = *from_secs;
            }
            if down <= 0.0 {
                self.down_from_secs = *from_secs;
            }
            if let Some(way) = self.watch.drop_after(*secs) {
                let from = match way {
                    Way::Up => self.up_from_secs,
                    Way::Down => self.down_from_secs,
                };
                return self.change(&intervals, from, 0.0);
            }
        }
        let last = *record.drops_secs.last()?;
        let silence_secs =
            record.now_secs - last - record.blind_secs_between(last, record.now_secs);
        let from = if self.watch.sums().1 > 0.0 {
            self.down_from_secs
        } else {
            last
        };
        self.watch.silent_for(silence_secs)?;
        self.change(&intervals, from, silence_secs)
    }

    /// Learns from the drops of a record, when there are enough.
    fn learned(record: &DropRecord) -> Option<Self> {
        if record.drops_secs.len() < LEARNED_FROM_DROPS {
            return None;
        }
        let last = *record.drops_secs.last()?;
        let posterior = Posterior::of(&record.before_silence())?;
        let (low, high) = (
            posterior.rate_per_minute(0.159),
            posterior.rate_per_minute(0.841),
        );
        if (high / low).ln() / 2.0 > LEARNED_SPREAD {
            return None;
        }
        let at_rest = AtRest {
            interval_secs: 60.0 / posterior.rate_per_minute(0.5),
            scatter: posterior.scatter(0.5),
            missed_share: MISSED_SHARE,
        };
        Some(Self {
            watch: StepWatch::new(at_rest, LEARNED_STEP_LIMIT),
            at_rest,
            taken_secs: last,
            up_from_secs: last,
            down_from_secs: last,
        })
    }

    /// The change told by the intervals from a drop on, and a silence after them.
    fn change(
        &self,
        intervals: &[(f64, f64)],
        from_secs: f64,
        silence_secs: f64,
    ) -> Option<Change> {
        let after = intervals.iter().filter(|(at, _)| *at >= from_secs);
        let (mut count, mut sum) = (0.0, silence_secs);
        for (_, secs) in after {
            count += 1.0;
            sum += secs;
        }
        if silence_secs > 0.0 {
            count += 1.0;
        }
        (count > 0.0).then(|| Change {
            at_secs: from_secs,
            before_per_minute: 60.0 / self.at_rest.interval_secs,
            after_per_minute: 60.0 * count / sum,
            ln_ratio: LEARNED_STEP_LIMIT,
        })
    }
}
