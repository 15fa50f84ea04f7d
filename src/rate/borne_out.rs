//! Which of the changes that were told as they came does the whole run bear out? Looking back, the
//! intervals on both sides of a change are known, so that most false ones can be taken back and the
//! true ones are placed and measured better. What was told at the time stays in the logbook.

use super::split::best_split;
use super::{CHANGE_LIMIT, Change, Interval};

/// Intervals wanted on either side of a change, as when it was told.
const FEWEST_INTERVALS: usize = 2;

/// The changes that the intervals of a run bear out, in order: each must explain the intervals
/// between its neighbours (or the marks at `fixed_secs`, or the ends) by a log-likelihood ratio of
/// at least [`CHANGE_LIMIT`]; the weakest is taken back first, and the others are weighed anew.
pub(super) fn borne_out(
    intervals: &[Interval],
    told: &[Change],
    fixed_secs: &[f64],
) -> Vec<Change> {
    let mut changes: Vec<Change> = told.to_vec();
    changes.sort_by(|a, b| a.at_secs.total_cmp(&b.at_secs));
    loop {
        let weighed: Vec<Option<Change>> = (0..changes.len())
            .map(|index| weigh(intervals, &changes, index, fixed_secs))
            .collect();
        let ratio = |change: &Option<Change>| change.map_or(f64::NEG_INFINITY, |c| c.ln_ratio);
        let weakest = weighed
            .iter()
            .enumerate()
            .min_by(|(_, a), (_, b)| ratio(a).total_cmp(&ratio(b)));
        match weakest {
            Some((index, change)) if ratio(change) < CHANGE_LIMIT => {
                changes.remove(index);
            }
            _ => return weighed.into_iter().flatten().collect(),
        }
    }
}

/// The change once more, from all intervals between its neighbours.
fn weigh(
    intervals: &[Interval],
    changes: &[Change],
    index: usize,
    fixed_secs: &[f64],
) -> Option<Change> {
    let at = changes.get(index)?.at_secs;
    let neighbours = || {
        let before = index.checked_sub(1).and_then(|i| changes.get(i));
        let after = changes.get(index + 1);
        let told = before.into_iter().chain(after).map(|change| change.at_secs);
        told.chain(fixed_secs.iter().copied())
    };
    let from = neighbours()
        .filter(|t| *t < at)
        .fold(f64::NEG_INFINITY, f64::max);
    let to = neighbours()
        .filter(|t| *t > at)
        .fold(f64::INFINITY, f64::min);
    let within: Vec<&Interval> = intervals
        .iter()
        .filter(|i| i.from_secs >= from && i.from_secs + i.secs <= to)
        .collect();
    let secs: Vec<f64> = within.iter().map(|i| i.secs).collect();
    let best = best_split(&secs, FEWEST_INTERVALS)?;
    Some(Change {
        at_secs: within.get(best.before)?.from_secs,
        before_per_minute: 60.0 / best.before_secs,
        after_per_minute: 60.0 / best.after_secs,
        ln_ratio: best.ln_ratio,
    })
}
