//! How steady a feed was over a run: mean rate with limits, scatter, drift, control chart, Allan
//! deviation, serial correlation, stops and changes, and a verdict in plain words with its reason.
//! The figures come from their own files; here they are brought together and weighed.

use crate::base::{Band, Span};

use super::allan_record::{AllanPoint, allan_of_rate};
use super::autocorrelation::{Autocorrelation, autocorrelation};
use super::borne_out::borne_out;
use super::chart::{IndividualsChart, individuals_chart};
use super::mean_rate::{MeanRate, mean_rate};
use super::retrace::{Retraced, TimeShares, retrace};
use super::steady_verdict::{SteadyVerdict, verdict};
use super::trend::{Trend, trend};
use super::{Change, DropRecord, Limits};

/// Serial correlation is looked for up to this lag: a rhythm of a few drops, such as of two ports
/// of a nozzle, shows within ten.
pub const MOST_LAG: usize = 10;

/// The confidence of every pair of limits here.
const CONFIDENCE: f64 = 0.95;

/// Points the drift is found from. Every pair is looked at, and a thousand points have half a
/// million pairs; of longer runs, neighbouring intervals are taken together.
const DRIFT_POINTS: usize = 1000;

/// A whole interval: when it began, and how long it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Source time of the drop that began it, seconds.
    pub from_secs: f64,
    /// Length, seconds.
    pub secs: f64,
}

/// How the rate drifts over a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// Theil–Sen slope, drops a minute an hour, with limits; Mann–Kendall's score and p. Its unit
    /// of time is the hour.
    pub trend: Trend,
    /// What the slope comes to over the run, as a share of the mean rate: 0.1 is a tenth faster at
    /// the end than at the start.
    pub share_over_run: f64,
    /// The same for the limits of the slope.
    pub share_limits: Limits,
}

/// Everything that tells how steady a feed was.
#[derive(Clone, Debug, PartialEq)]
pub struct Steadiness {
    /// The run, source time.
    pub span: Span,
    /// Seconds in which the glass could be judged.
    pub seen_secs: f64,
    /// Drops counted.
    pub drops: usize,
    /// Mean rate over the seen time with its limits; none before there are two drops.
    pub mean: Option<MeanRate>,
    /// The whole intervals between seen drops while the feed ran (stops left out), in order.
    pub intervals: Vec<Interval>,
    /// Drift of the rate; none under three intervals.
    pub drift: Option<Drift>,
    /// Individuals and moving-range chart of the length of `intervals`, seconds; its indices are
    /// those of `intervals`.
    pub chart: Option<IndividualsChart>,
    /// Allan deviation of the rate against averaging time.
    pub allan: Vec<AllanPoint>,
    /// Serial correlation of the intervals.
    pub autocorrelation: Option<Autocorrelation>,
    /// The longest seen time without a drop, and the drops (or ends of the record) round it.
    pub longest_silence: Option<LongestSilence>,
    /// Shares of the time.
    pub shares: TimeShares,
    /// Stops, from the last drop before to the first one after.
    pub stops: Vec<Span>,
    /// Changes of rate that no mark announced and that the whole run bears out.
    pub changes: Vec<Change>,
    /// The verdict with its reasons.
    pub verdict: SteadyVerdict,
}

/// The longest silence of a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LongestSilence {
    /// From the drop before (or the start) to the drop after (or the end).
    pub span: Span,
    /// Seconds of it in which the glass could be seen.
    pub seen_secs: f64,
}

/// Looks at a whole run of one feed. `marks_secs` are the times at which a person moved its
/// regulating valve; what lies on both sides of a mark is not compared, so for a verdict on one
/// setting give [`DropRecord::between`] two marks.
///
/// A shift of eight hours takes about a second in a release build.
///
/// ```
/// use beadtally::base::Band;
/// use beadtally::rate::{DropRecord, Steady, steadiness};
/// // An hour at 2.5 a minute, with a little scatter.
/// let drops = (0..150).map(|i| 24.0 * f64::from(i) + f64::from(i * i % 37) / 12.0);
/// let record = DropRecord {
///     from_secs: -10.0,
///     now_secs: 3590.0,
///     drops_secs: drops.collect(),
///     blind: vec![],
/// };
/// let found = steadiness(&record, Band::default(), &[]);
/// assert_eq!(found.verdict.steady, Steady::Yes);
/// assert!(found.shares.in_band > 0.95);
/// ```
#[must_use]
pub fn steadiness(record: &DropRecord, band: Band, marks_secs: &[f64]) -> Steadiness {
    let record = record.cleaned();
    let retraced = retrace(&record, band, marks_secs);
    let shares = retraced.shares();
    let Retraced { stops, changes, .. } = retraced;
    let span = Span {
        from_secs: record.from_secs,
        to_secs: record.now_secs,
    };
    let seen_secs = span.secs() - record.blind_secs_between(span.from_secs, span.to_secs);
    let stretches = running_stretches(&record, &stops);
    let lengths: Vec<Vec<f64>> = stretches
        .iter()
        .map(|stretch| stretch.iter().map(|i| i.secs).collect())
        .collect();
    let intervals: Vec<Interval> = stretches.into_iter().flatten().collect();
    let all: Vec<f64> = intervals.iter().map(|i| i.secs).collect();
    let mean = mean_rate(&record, CONFIDENCE);
    let mut found = Steadiness {
        span,
        seen_secs,
        drops: record.drops_secs.len(),
        drift: drift(&intervals, span, mean.as_ref()),
        mean,
        chart: individuals_chart(&all),
        allan: allan_of_rate(&record),
        autocorrelation: autocorrelation(&lengths, MOST_LAG),
        longest_silence: longest_silence(&record),
        shares,
        stops,
        changes: borne_out(&intervals, &changes, marks_secs),
        intervals,
        verdict: SteadyVerdict::default(),
    };
    found.verdict = verdict(&found);
    found
}

/// The whole intervals in stretches that neither a blind spell nor a stop cuts.
fn running_stretches(record: &DropRecord, stops: &[Span]) -> Vec<Vec<Interval>> {
    let mut stretches = Vec::new();
    for drops in record.seen_stretches() {
        let mut stretch = Vec::new();
        for pair in drops.windows(2) {
            let [from_secs, to] = *pair else { continue };
            if stops.iter().any(|stop| stop.from_secs == from_secs) {
                stretches.push(std::mem::take(&mut stretch));
            } else {
                stretch.push(Interval {
                    from_secs,
                    secs: to - from_secs,
                });
            }
        }
        stretches.push(stretch);
    }
    stretches.retain(|stretch| !stretch.is_empty());
    stretches
}

fn drift(intervals: &[Interval], span: Span, mean: Option<&MeanRate>) -> Option<Drift> {
    let together = intervals.len().div_ceil(DRIFT_POINTS).max(1);
    let points: Vec<(f64, f64)> = intervals
        .chunks(together)
        .filter_map(|chunk| {
            let (first, last) = (chunk.first()?, chunk.last()?);
            let secs: f64 = chunk.iter().map(|i| i.secs).sum();
            let middle = f64::midpoint(first.from_secs, last.from_secs + last.secs);
            Some((middle / 3600.0, 60.0 * chunk.len() as f64 / secs))
        })
        .collect();
    let trend = trend(&points, CONFIDENCE)?;
    let mean = mean?.drops_per_minute;
    let per_run = span.secs() / 3600.0 / mean;
    Some(Drift {
        trend,
        share_over_run: trend.slope * per_run,
        share_limits: trend.slope_limits.times(per_run),
    })
}

fn longest_silence(record: &DropRecord) -> Option<LongestSilence> {
    let ends = std::iter::once(record.from_secs)
        .chain(record.drops_secs.iter().copied())
        .chain(std::iter::once(record.now_secs));
    let ends: Vec<f64> = ends.collect();
    ends.windows(2)
        .filter_map(|pair| match *pair {
            [from_secs, to_secs] => Some(LongestSilence {
                span: Span { from_secs, to_secs },
                seen_secs: to_secs - from_secs - record.blind_secs_between(from_secs, to_secs),
            }),
            _ => None,
        })
        .max_by(|a, b| a.seen_secs.total_cmp(&b.seen_secs))
        .filter(|silence| silence.seen_secs > 0.0)
}
