//! Exact limits from textbooks: counts of a Poisson process, complete gamma intervals of known
//! shape, mean time between failures. They check the reading from outside and serve reports; the
//! reading itself, with unknown scatter, is in `posterior`.
//!
//! A sight feed is far more regular than a Poisson process, so the limits of a count are wider
//! than what is known: a screen that shows them must say so.

use super::special::chi_squared_quantile;

/// Two-sided limits of a quantity; what quantity, and its unit, is said by the function.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Lower limit.
    pub low: f64,
    /// Upper limit; may be infinite.
    pub high: f64,
}

impl Limits {
    /// The same limits in another unit.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self {
            low: self.low * factor,
            high: self.high * factor,
        }
    }
}

/// Half of what the limits leave out; NaN unless 0 < confidence < 1.
fn tail(confidence: f64) -> f64 {
    if confidence > 0.0 && confidence < 1.0 {
        (1.0 - confidence) / 2.0
    } else {
        f64::NAN
    }
}

/// Exact (Garwood) limits for the mean of a Poisson count `n`:
/// ½χ²(α/2; 2n) and ½χ²(1−α/2; 2n+2). At n = 0 the lower limit is 0.
///
/// Unit: counts. `confidence` in 0..1, for example 0.95; NaN limits otherwise.
/// Source: F. Garwood, "Fiducial Limits for the Poisson Distribution", Biometrika 28 (1936).
///
/// ```
/// // P. Macdonald, McMaster University: 3 events, 95 %.
/// let limits = beadtally::rate::poisson_limits(3, 0.95);
/// assert!((limits.low - 0.6187).abs() < 5e-5 && (limits.high - 8.7673).abs() < 5e-5);
/// ```
#[must_use]
pub fn poisson_limits(n: u64, confidence: f64) -> Limits {
    let tail = tail(confidence);
    let n = n as f64;
    Limits {
        low: chi_squared_quantile(tail, 2.0 * n) / 2.0,
        high: chi_squared_quantile(1.0 - tail, 2.0 * n + 2.0) / 2.0,
    }
}

/// The largest mean that no event at all leaves credible, one-sided: −ln(1 − confidence).
///
/// Unit: counts; divide by the time watched for a rate. NaN unless 0 < confidence < 1.
/// Source: NIST/SEMATECH e-Handbook, 8.4.5.1 (the case of no failures).
///
/// ```
/// let upper = beadtally::rate::no_events_upper(0.95);
/// assert!((upper - 2.995732).abs() < 5e-7);
/// ```
#[must_use]
pub fn no_events_upper(confidence: f64) -> f64 {
    if confidence > 0.0 && confidence < 1.0 {
        -(1.0 - confidence).ln()
    } else {
        f64::NAN
    }
}

/// Limits of the rate from `intervals` complete gamma intervals of known shape (1 / scatter²)
/// that add up to `sum_secs`: χ²(α/2; 2km)/(2mS) and χ²(1−α/2; 2km)/(2mS).
///
/// Unit: drops a second when the sum is in seconds. NaN for a sum or shape that is not positive,
/// or no interval. Source: the sum of k gamma intervals of shape m is gamma of shape km (common
/// practice).
///
/// ```
/// // Ten intervals in 240 s, scatter 20 % (shape 25): 2.1997 to 2.8193 drops a minute.
/// let limits = beadtally::rate::gamma_interval_limits(10, 240.0, 25.0, 0.95).times(60.0);
/// assert!((limits.low - 2.1997).abs() < 5e-5 && (limits.high - 2.8193).abs() < 5e-5);
/// ```
#[must_use]
pub fn gamma_interval_limits(intervals: u64, sum_secs: f64, shape: f64, confidence: f64) -> Limits {
    let usable = intervals > 0 && sum_secs > 0.0 && shape > 0.0 && shape.is_finite();
    let tail = if usable { tail(confidence) } else { f64::NAN };
    let freedom = 2.0 * intervals as f64 * shape;
    let per_chi = 1.0 / (2.0 * shape * sum_secs);
    Limits {
        low: chi_squared_quantile(tail, freedom) * per_chi,
        high: chi_squared_quantile(1.0 - tail, freedom) * per_chi,
    }
}

/// When a watch over failures (or drops) ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EndedBy {
    /// After a time fixed beforehand: the last interval is unfinished.
    Time,
    /// With an event: all intervals are complete.
    Event,
}

/// Limits of the mean time between events from `events` in `total` time, for a Poisson process:
/// 2T/χ²(1−α/2; 2r+2) and 2T/χ²(α/2; 2r) when ended by time, 2r for both when ended by an event.
///
/// Unit: that of `total`. With no event the upper limit is infinite; the lower one, when the watch
/// was ended by time, remains. NaN for times that are not positive.
/// Source: NIST/SEMATECH e-Handbook, 8.4.5.1.
///
/// ```
/// use beadtally::rate::{EndedBy, mean_time_limits};
/// // Two failures in 800 hours, 90 %: the page prints (127, 2251).
/// let limits = mean_time_limits(2, 800.0, EndedBy::Time, 0.90);
/// assert_eq!((limits.low.round(), limits.high.round()), (127.0, 2251.0));
/// ```
#[must_use]
pub fn mean_time_limits(events: u64, total: f64, ended: EndedBy, confidence: f64) -> Limits {
    let tail = if total > 0.0 {
        tail(confidence)
    } else {
        f64::NAN
    };
    let freedom = 2.0 * events as f64;
    let extra = match ended {
        EndedBy::Time => 2.0,
        EndedBy::Event => 0.0,
    };
    Limits {
        low: 2.0 * total / chi_squared_quantile(1.0 - tail, freedom + extra),
        high: 2.0 * total / chi_squared_quantile(tail, freedom),
    }
}
