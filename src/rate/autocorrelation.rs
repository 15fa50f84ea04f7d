//! Do the intervals of a feed hang together: is a long one followed by a long one? Serial
//! correlation with what chance alone would show, also over a record cut by blind spells. What it
//! means for a feed is for `steadiness`.

use super::special::{chi_squared_above, normal_quantile};

/// Serial correlation of a series.
#[derive(Clone, Debug, PartialEq)]
pub struct Autocorrelation {
    /// Values in use.
    pub values: usize,
    /// Correlation of each value with the one after it, with the second after it, …; −1 to 1.
    pub at_lag: Vec<f64>,
    /// Chance alone keeps a correlation between minus this and this, 19 times out of 20.
    pub chance_limit: f64,
    /// The chance of correlations so large, all lags taken together, without any (Ljung and Box).
    pub p: f64,
}

/// Serial correlation at the lags 1 to `most_lag` of a series given in stretches: pairs are taken
/// within a stretch only, the mean and the variance are those of all values. None with fewer than
/// three values, fewer values than twice the lags, no spread at all, or a value that is no number.
///
/// Sources: the coefficient as in NIST/SEMATECH e-Handbook 1.3.5.12; G. M. Ljung and G. E. P. Box,
/// Biometrika 65 (1978), for all lags together.
///
/// ```
/// // Five values by hand: deviations −2 −1 0 1 2; (2 + 0 + 0 + 2) / 10.
/// let found = beadtally::rate::autocorrelation(&[vec![1.0, 2.0, 3.0, 4.0, 5.0]], 1)
///     .ok_or("five values")?;
/// assert!((found.at_lag[0] - 0.4).abs() < 1e-12);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn autocorrelation(stretches: &[Vec<f64>], most_lag: usize) -> Option<Autocorrelation> {
    let count = stretches.iter().map(Vec::len).sum::<usize>();
    if count < 3 || most_lag == 0 || count < 2 * most_lag {
        return None;
    }
    let at_lag = correlations(stretches, most_lag)?;
    let n = count as f64;
    let sum: f64 = at_lag
        .iter()
        .enumerate()
        .map(|(i, r)| r * r / (n - (i + 1) as f64))
        .sum();
    Some(Autocorrelation {
        values: count,
        chance_limit: normal_quantile(0.975) / n.sqrt(),
        p: chi_squared_above(n * (n + 2.0) * sum, most_lag as f64),
        at_lag,
    })
}

/// The correlations at the lags 1 to `most_lag`; none without spread, or with a value that is no
/// number.
pub(super) fn correlations(stretches: &[Vec<f64>], most_lag: usize) -> Option<Vec<f64>> {
    let all = || stretches.iter().flatten().copied();
    let mean = all().sum::<f64>() / all().count() as f64;
    let spread: f64 = all().map(|v| (v - mean) * (v - mean)).sum();
    if !(spread > 0.0 && spread.is_finite()) {
        return None;
    }
    let at_lag = (1..=most_lag).map(|lag| {
        let of = |stretch: &Vec<f64>| -> f64 {
            let later = stretch.iter().skip(lag);
            let pairs = stretch.iter().zip(later);
            pairs.map(|(a, b)| (a - mean) * (b - mean)).sum()
        };
        stretches.iter().map(of).sum::<f64>() / spread
    });
    Some(at_lag.collect())
}

/// By how much the variance of a mean is larger than for independent values: 1 + 2 Σ r, summed
/// while the sums of two neighbouring correlations stay above zero (C. J. Geyer, Statistical
/// Science 7 (1992)); at least 1, because a mean is not claimed to be known better than that.
#[must_use]
pub(super) fn inflation(at_lag: &[f64]) -> f64 {
    // Pairs (r0 + r1), (r2 + r3), …, with r0 = 1.
    let with_own: Vec<f64> = std::iter::once(1.0).chain(at_lag.iter().copied()).collect();
    let mut sum = 0.0;
    for pair in with_own.chunks_exact(2) {
        let both: f64 = pair.iter().sum();
        if both <= 0.0 {
            break;
        }
        sum += both;
    }
    (2.0 * sum - 1.0).max(1.0)
}
