//! Was the feed steady? The findings of `steadiness` weighed into one word, with the reasons as
//! sentences a person can check against the figures.

use super::doubts::{BLIND_SHARE, IRREGULAR_SCATTER};
use super::steadiness::Steadiness;

/// Whole intervals under which nothing is said of steadiness: a drift or a rhythm needs as many.
pub const FEWEST_INTERVALS: usize = 10;

/// A drift is told when its p, correlated values reckoned with, is below this: one run in a hundred would show it by chance.
pub const DRIFT_P: f64 = 0.01;

/// ... and when it comes to this share of the rate over the run: less is of no use to anybody.
pub const DRIFT_SHARE: f64 = 0.05;

/// Serial correlation is told when its p is below this, as for drift.
pub const CORRELATION_P: f64 = 0.01;

/// ... and when it makes the variance of the mean rate so many times as large. Half as much again
/// is a wandering rate; correlation that leaves the mean alone (a long interval followed by a short
/// one, as errors of timing make them) is no unsteadiness.
pub const WANDERING_INFLATION: f64 = 1.5;

/// So many stops, and so many changes, are told one by one; of more, their number.
const MOST_TOLD: usize = 4;

/// Was the feed steady?
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Steady {
    /// Nothing speaks against it.
    Yes,
    /// Something does.
    No,
    /// Too little was seen.
    #[default]
    CannotTell,
}

/// The verdict on a run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SteadyVerdict {
    /// In a word.
    pub steady: Steady,
    /// In a sentence, without the full stop.
    pub words: String,
    /// Why: sentences without the full stop, the weightiest first.
    pub reasons: Vec<String>,
}

pub(super) fn verdict(found: &Steadiness) -> SteadyVerdict {
    let blind = found.shares.blind;
    let mut caveats = Vec::new();
    if blind > BLIND_SHARE {
        caveats.push(format!(
            "the glass could not be seen for {:.0} % of the time; what the feed did then is not known",
            blind * 100.0
        ));
    }
    let count = found.intervals.len();
    let against = against(found);
    let few = count < FEWEST_INTERVALS;
    if (few || blind > 0.5) && against.is_empty() {
        let mut reasons = Vec::new();
        if few {
            reasons.push(format!(
                "{count} whole intervals are too few; {FEWEST_INTERVALS} are wanted"
            ));
        }
        reasons.extend(caveats);
        return SteadyVerdict {
            steady: Steady::CannotTell,
            words: "whether the feed was steady cannot be told".to_owned(),
            reasons,
        };
    }
    let (steady, words, mut reasons) = if against.is_empty() {
        (Steady::Yes, "the feed was steady", speaks_for(found))
    } else {
        (Steady::No, "the feed was not steady", against)
    };
    reasons.extend(caveats);
    SteadyVerdict {
        steady,
        words: words.to_owned(),
        reasons,
    }
}

/// What speaks against a steady feed, the weightiest first.
fn against(found: &Steadiness) -> Vec<String> {
    let mut reasons = Vec::new();
    let clock = |secs: f64| clock_words(secs - found.span.from_secs);
    for stop in found.stops.iter().take(MOST_TOLD) {
        reasons.push(format!(
            "no drop for {} from {} on",
            clock_words(stop.secs()),
            clock(stop.from_secs)
        ));
    }
    if let Some(more) = more_than_told(found.stops.len()) {
        let all: f64 = found.stops.iter().map(|stop| stop.secs()).sum();
        reasons.push(format!(
            "{more} more stops; {} without a drop in all",
            clock_words(all)
        ));
    }
    for change in found.changes.iter().take(MOST_TOLD) {
        reasons.push(format!("{} at {}", change.words(), clock(change.at_secs)));
    }
    if let Some(more) = more_than_told(found.changes.len()) {
        reasons.push(format!("{more} more changes of the rate"));
    }
    if let Some(drift) = &found.drift
        && found.intervals.len() >= FEWEST_INTERVALS
        && drift.trend.p_correlated < DRIFT_P
        && drift.share_over_run.abs() >= DRIFT_SHARE
    {
        let (low, high) = (drift.share_limits.low, drift.share_limits.high);
        reasons.push(format!(
            "the rate drifted by {:+.0} % over the run ({:+.0} to {:+.0} %)",
            drift.share_over_run * 100.0,
            low * 100.0,
            high * 100.0
        ));
    }
    if let Some(mean) = &found.mean
        && mean.scatter > IRREGULAR_SCATTER
    {
        reasons.push(format!(
            "its intervals scatter by {:.0} %",
            mean.scatter * 100.0
        ));
    }
    if let (Some(serial), Some(mean)) = (&found.autocorrelation, &found.mean)
        && serial.p < CORRELATION_P
        && mean.inflation >= WANDERING_INFLATION
    {
        reasons.push(
            "its intervals hang together: a long one is likely followed by long ones, so the rate \
             wanders"
                .to_owned(),
        );
    }
    reasons
}

/// How many of so many are not told one by one; none when all are.
fn more_than_told(count: usize) -> Option<usize> {
    count.checked_sub(MOST_TOLD).filter(|more| *more > 0)
}

fn speaks_for(found: &Steadiness) -> Vec<String> {
    let mut reasons = Vec::new();
    if let Some(mean) = &found.mean {
        reasons.push(format!(
            "its intervals scatter by {:.0} %, without a stop and without a change of rate",
            mean.scatter * 100.0
        ));
    }
    if let Some(drift) = &found.drift {
        reasons.push(format!(
            "no drift beyond {:.0} % over the run shows",
            100.0
                * drift
                    .share_limits
                    .low
                    .abs()
                    .max(drift.share_limits.high.abs())
        ));
    }
    reasons
}

/// `1:02:03` or `2:03`: hours, minutes and seconds, or minutes and seconds.
fn clock_words(secs: f64) -> String {
    let secs = secs.max(0.0).round() as u64;
    let (hours, minutes, secs) = (secs / 3600, secs / 60 % 60, secs % 60);
    if hours > 0 {
        format!("{hours}:{minutes:02}:{secs:02}")
    } else {
        format!("{minutes}:{secs:02}")
    }
}
