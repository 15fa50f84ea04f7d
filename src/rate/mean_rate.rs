//! The mean rate of a whole run with its limits, and the scatter of its intervals with limits. A
//! reading looks at the newest drops only; this looks at all of them, and does not take for granted
//! that intervals are independent.

use super::autocorrelation::{autocorrelation, inflation};
use super::posterior::Posterior;
use super::special::normal_quantile;
use super::{DropRecord, Limits, NEWEST_DROPS};
use crate::base::Span;

/// Serial correlation is summed up to this lag: what hangs together for longer is drift, and is
/// told as drift.
const CORRELATED_LAGS: usize = 30;

/// The mean rate of a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanRate {
    /// Drops a minute of seen time.
    pub drops_per_minute: f64,
    /// Its limits, drops a minute.
    pub limits: Limits,
    /// Scatter of the whole intervals: standard deviation over mean.
    pub scatter: f64,
    /// Its limits.
    pub scatter_limits: Limits,
    /// By how much serial correlation of the intervals widens the variance of the mean; 1 or more.
    pub inflation: f64,
}

/// The mean rate of a record; none before there are two drops and a whole interval.
///
/// Up to [`NEWEST_DROPS`] drops it is the posterior's, as a reading has it. Beyond, it is drops
/// over seen time, with the variance of the count of a stationary renewal process: scatter² ×
/// drops, and (1 − scatter⁴) / 6 for each seen stretch, because its ends fall anywhere within an
/// interval (D. R. Cox, *Renewal Theory*, 1962, for gamma intervals). In both, what intervals hang
/// together widens the limits.
#[must_use]
pub fn mean_rate(record: &DropRecord, confidence: f64) -> Option<MeanRate> {
    let record = record.cleaned();
    let intervals: Vec<Vec<f64>> = record
        .seen_stretches()
        .iter()
        .map(|drops| {
            drops
                .windows(2)
                .map(|p| p.iter().fold(0.0, |a, b| b - a))
                .collect()
        })
        .collect();
    let count: usize = intervals.iter().map(Vec::len).sum();
    let lags = CORRELATED_LAGS.min(count / 4).max(1);
    let found = autocorrelation(&intervals, lags);
    // Under thirty intervals the correlations are chance.
    let inflation = match &found {
        Some(found) if count >= 30 => inflation(&found.at_lag),
        _ => 1.0,
    };
    let tail = (1.0 - confidence) / 2.0;
    if record.drops_secs.len() <= NEWEST_DROPS {
        let posterior = Posterior::of(&record)?;
        let middle = posterior.rate_per_minute(0.5);
        let widened =
            |p: f64| middle * (posterior.rate_per_minute(p) / middle).powf(inflation.sqrt());
        return Some(MeanRate {
            drops_per_minute: middle,
            limits: Limits {
                low: widened(tail),
                high: widened(1.0 - tail),
            },
            scatter: posterior.scatter(0.5),
            scatter_limits: Limits {
                low: posterior.scatter(tail),
                high: posterior.scatter(1.0 - tail),
            },
            inflation,
        });
    }
    let all: Vec<f64> = intervals.iter().flatten().copied().collect();
    let scatter = Scatter::of(&all)?;
    let seen_secs = record.now_secs
        - record.from_secs
        - record.blind_secs_between(record.from_secs, record.now_secs);
    let drops = record.drops_secs.len() as f64;
    let seen_pieces = (record.blind.len() + 1) as f64;
    let variance = scatter.value * scatter.value * inflation * drops
        + (1.0 - scatter.value.powi(4)).max(0.0) / 6.0 * seen_pieces;
    let z = normal_quantile(1.0 - tail);
    let rate = 60.0 * drops / seen_secs;
    let factor = (z * variance.sqrt() / drops).exp();
    Some(MeanRate {
        drops_per_minute: rate,
        limits: Limits {
            low: rate / factor,
            high: rate * factor,
        },
        scatter: scatter.value,
        scatter_limits: scatter.limits(z),
        inflation,
    })
}

/// The mean rate of a record with stops in it: drops over all seen time, a stop included, but
/// scatter and limits from the time in which the feed ran, because a stop is no interval of it.
#[must_use]
pub(super) fn mean_rate_beside(
    record: &DropRecord,
    stops: &[Span],
    confidence: f64,
) -> Option<MeanRate> {
    let record = record.cleaned();
    let mut running = record.clone();
    running.blind.extend_from_slice(stops);
    let running = running.cleaned();
    let seen_secs = |record: &DropRecord| {
        let (from, to) = (record.from_secs, record.now_secs);
        to - from - record.blind_secs_between(from, to)
    };
    let (all_secs, running_secs) = (seen_secs(&record), seen_secs(&running));
    let mean = mean_rate(&running, confidence)?;
    let share = if all_secs > 0.0 {
        running_secs / all_secs
    } else {
        1.0
    };
    Some(MeanRate {
        drops_per_minute: mean.drops_per_minute * share,
        limits: mean.limits.times(share),
        ..mean
    })
}

/// Scatter of a sample with its error.
struct Scatter {
    value: f64,
    /// Standard error of its logarithm.
    error: f64,
}

impl Scatter {
    /// Standard deviation over mean, and the error of its logarithm by the sample's own moments:
    /// ((kurtosis − 1) / 4 + c² − c × skewness) / n (delta method; common practice).
    fn of(values: &[f64]) -> Option<Self> {
        let n = values.len() as f64;
        if n < 2.0 {
            return None;
        }
        let mean = values.iter().sum::<f64>() / n;
        let moment = |power: i32| values.iter().map(|v| (v - mean).powi(power)).sum::<f64>() / n;
        let variance = moment(2) * n / (n - 1.0);
        if !(mean > 0.0 && variance > 0.0) {
            return None;
        }
        let deviation = variance.sqrt();
        let c = deviation / mean;
        let skewness = moment(3) / deviation.powi(3);
        let kurtosis = moment(4) / deviation.powi(4);
        let error = (((kurtosis - 1.0) / 4.0 + c * c - c * skewness) / n).max(0.0);
        Some(Self {
            value: c,
            error: error.sqrt(),
        })
    }

    fn limits(&self, z: f64) -> Limits {
        let factor = (z * self.error).exp();
        Limits {
            low: self.value / factor,
            high: self.value * factor,
        }
    }
}
