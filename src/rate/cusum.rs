//! Cumulative sums that find a small lasting change sooner than any window: the plain two-sided
//! one of control charts, and one on the log-likelihood ratio of gamma intervals, which is the
//! right one for times between drops. They keep state from value to value; `change` looks at a
//! whole record at once.

use super::special::{gamma_upper, ln_gamma_of};

/// Which way a value left its target.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Upwards.
    Up,
    /// Downwards.
    Down,
}

/// The plain two-sided (tabular) cumulative sum. For values with standard deviation 1 the usual
/// choice is an allowance of half the shift to be found, and a limit of 4 to 5.
///
/// Source: NIST/SEMATECH e-Handbook, 6.3.2.3.
///
/// ```
/// use beadtally::rate::{Cusum, Way};
/// let mut sum = Cusum::new(10.0, 0.5, 4.0);
/// assert_eq!(sum.step(12.5), None); // 2.0
/// assert_eq!(sum.step(12.0), None); // 3.5
/// assert_eq!(sum.step(11.5), Some(Way::Up)); // 4.5 is over 4.0
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cusum {
    /// The value at rest, in the unit of the values.
    pub target: f64,
    /// How far a value may be off without adding up, same unit.
    pub allowance: f64,
    /// A sum over this is a signal, same unit.
    pub limit: f64,
    /// The sum upwards, ≥ 0.
    pub up: f64,
    /// The sum downwards, ≥ 0.
    pub down: f64,
}

impl Cusum {
    /// Sums at zero.
    #[must_use]
    pub fn new(target: f64, allowance: f64, limit: f64) -> Self {
        Self {
            target,
            allowance,
            limit,
            up: 0.0,
            down: 0.0,
        }
    }

    /// Both sums started part of the way to the limit (fast initial response; Lucas and Crosier,
    /// 1982, take half of it).
    #[must_use]
    pub fn with_head_start(mut self, sum: f64) -> Self {
        self.up = sum;
        self.down = sum;
        self
    }

    /// Takes the next value. Tells the way when a sum is over the limit (the larger one when both
    /// are); the sums go on, and it is for the caller to [`reset`](Self::reset) them. A value that
    /// is no number is passed over.
    pub fn step(&mut self, value: f64) -> Option<Way> {
        if value.is_nan() {
            return None;
        }
        let off = value - self.target;
        self.up = (self.up + off - self.allowance).max(0.0);
        self.down = (self.down - off - self.allowance).max(0.0);
        if self.up > self.limit && self.up >= self.down {
            Some(Way::Up)
        } else if self.down > self.limit {
            Some(Way::Down)
        } else {
            None
        }
    }

    /// Puts both sums back to zero.
    pub fn reset(&mut self) {
        self.up = 0.0;
        self.down = 0.0;
    }
}

/// The cumulative sum of the log-likelihood ratio of gamma intervals: one rate against another
/// that is `factor` times as fast, at the same scatter.
///
/// Each interval x adds k ln r − k (r − 1) x / mean, where k = 1 / scatter² and r is the factor.
/// Source: the ratio of the two gamma densities (common practice after E. S. Page, 1954).
///
/// ```
/// // Exponential intervals (scatter 1) of mean 1, against half the rate: ln ½ + x / 2.
/// let mut sum = beadtally::rate::GammaCusum::new(1.0, 1.0, 0.5, 2.5);
/// assert!(!sum.step(4.0));
/// assert!((sum.sum - (2.0 - 2f64.ln())).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GammaCusum {
    mean_secs: f64,
    shape: f64,
    factor: f64,
    /// A sum over this is a signal, natural-log units.
    pub limit: f64,
    /// The sum, ≥ 0, natural-log units.
    pub sum: f64,
}

impl GammaCusum {
    /// A sum at zero. `mean_secs` is the interval at rest, `scatter` its standard deviation over
    /// the mean, `factor` the rate to be found over the rate at rest: over 1 for faster, under 1
    /// for slower. With values that are not positive numbers it never signals.
    #[must_use]
    pub fn new(mean_secs: f64, scatter: f64, factor: f64, limit: f64) -> Self {
        Self {
            mean_secs,
            shape: 1.0 / (scatter * scatter),
            factor,
            limit,
            sum: 0.0,
        }
    }

    /// Takes the next interval, seconds; tells whether the sum is over the limit. An interval that
    /// is no number, or less than nothing, is passed over.
    pub fn step(&mut self, interval_secs: f64) -> bool {
        let gain =
            self.shape * (self.factor.ln() - (self.factor - 1.0) * interval_secs / self.mean_secs);
        if interval_secs >= 0.0 && gain.is_finite() {
            self.sum = (self.sum + gain).max(0.0);
        }
        self.sum > self.limit
    }

    /// What the sum would be if the present silence, seconds, were let speak: it adds the log
    /// ratio of the two chances that an interval is longer. Silence speaks for a slower feed
    /// before its interval is over.
    #[must_use]
    pub fn with_silence(&self, silence_secs: f64) -> f64 {
        let z = self.shape * silence_secs / self.mean_secs;
        if z.is_nan() || z <= 0.0 {
            return self.sum;
        }
        let gain = ln_gamma_upper(self.shape, z * self.factor) - ln_gamma_upper(self.shape, z);
        if gain.is_finite() {
            (self.sum + gain).max(0.0)
        } else {
            self.sum
        }
    }

    /// Puts the sum back to zero.
    pub fn reset(&mut self) {
        self.sum = 0.0;
    }
}

/// ln Q(a, x), also where Q itself is too small for a number: there by its leading term
/// x^(a−1) e^(−x) / Γ(a) × 1 / (1 − (a − 1) / x).
fn ln_gamma_upper(a: f64, x: f64) -> f64 {
    let chance = gamma_upper(a, x);
    if chance > 1e-280 {
        chance.ln()
    } else {
        (a - 1.0) * x.ln() - x - ln_gamma_of(a) - (1.0 - (a - 1.0) / x).ln()
    }
}
