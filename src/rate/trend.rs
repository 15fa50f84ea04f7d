//! Drift over an hour or a shift: slope by Theil–Sen, and Mann–Kendall's test of whether there is
//! any trend at all. Both look only at pairs, so that a few wild values do not matter.

use super::autocorrelation::correlations;
use super::limits::Limits;
use super::special::{normal_below, normal_quantile};

/// At most so many of the newest points are used: every pair is looked at, and 2,000 points have
/// two million pairs.
const MOST_POINTS: usize = 2000;

/// The trend of a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Points in use.
    pub points: usize,
    /// Theil–Sen slope: the median of the slopes of all pairs. Unit: values per unit of time.
    pub slope: f64,
    /// Limits of the slope at the confidence asked for.
    pub slope_limits: Limits,
    /// Median value minus slope × median time (Conover's intercept).
    pub intercept: f64,
    /// Mann–Kendall's S: pairs that rise minus pairs that fall.
    pub s: f64,
    /// Variance of S without a trend, corrected for ties.
    pub variance_of_s: f64,
    /// Kendall's tau: S over the number of pairs (ties count as pairs).
    pub tau: f64,
    /// Normal score of S with continuity correction.
    pub z: f64,
    /// Two-sided p: the chance of so large a score without a trend.
    pub p: f64,
    /// The score when neighbouring values hang together: the variance of S made larger by what the
    /// ranks of the values, their slope taken out, correlate (Hamed and Rao); never made smaller.
    pub z_correlated: f64,
    /// Two-sided p of that score.
    pub p_correlated: f64,
}

/// The trend of points (time, value); their order does not matter. Points with a part that is no
/// number are left out. None with fewer than three points, or all at one time.
///
/// Sources: P. K. Sen, J. Am. Stat. Assoc. 63 (1968); limits of the slope after R. O. Gilbert,
/// *Statistical Methods for Environmental Pollution Monitoring* (1987), 16.4.2, with ranks
/// interpolated; correlated values after K. H. Hamed and A. R. Rao, J. Hydrology 204 (1998).
///
/// ```
/// // USEPA Unified Guidance (2009), example 17-7: sodium.
/// let years = [89.6, 90.1, 90.8, 91.1, 92.1, 93.1, 94.1, 95.6, 96.1, 96.3];
/// let ppm = [56.0, 53.0, 51.0, 55.0, 52.0, 60.0, 62.0, 59.0, 61.0, 63.0];
/// let points: Vec<_> = years.into_iter().zip(ppm).collect();
/// let trend = beadtally::rate::trend(&points, 0.95).ok_or("ten points")?;
/// assert!((trend.slope - 1.3333333).abs() < 5e-8);
/// assert!((trend.z - 2.146625).abs() < 5e-7);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn trend(points: &[(f64, f64)], confidence: f64) -> Option<Trend> {
    let mut points: Vec<(f64, f64)> = points
        .iter()
        .copied()
        .filter(|(t, y)| t.is_finite() && y.is_finite())
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    points.drain(..points.len().saturating_sub(MOST_POINTS));
    let count = points.len();
    if count < 3 {
        return None;
    }
    let mut slopes = Vec::with_capacity(count * (count - 1) / 2);
    let mut s = 0.0;
    for (i, (t, y)) in points.iter().enumerate() {
        for (t_later, y_later) in points.iter().skip(i + 1) {
            if t_later > t {
                slopes.push((y_later - y) / (t_later - t));
                // `signum` of zero is one, so ties are told apart here.
                if y_later != y {
                    s += (y_later - y).signum();
                }
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    let slope = median(&slopes)?;
    let n = count as f64;
    let term = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let mut values: Vec<f64> = points.iter().map(|(_, y)| *y).collect();
    values.sort_by(f64::total_cmp);
    let ties: f64 = values
        .chunk_by(|a, b| a == b)
        .map(|equal| term(equal.len() as f64))
        .sum();
    let variance_of_s = (term(n) - ties) / 18.0;
    let score = |variance: f64| {
        if s == 0.0 || variance <= 0.0 {
            0.0
        } else {
            (s - s.signum()) / variance.sqrt()
        }
    };
    let z = score(variance_of_s);
    let z_correlated = score(variance_of_s * more_variance(&points, slope));
    let p = |z: f64| (2.0 * normal_below(-z.abs())).min(1.0);

    let spread = normal_quantile(f64::midpoint(1.0, confidence)) * variance_of_s.sqrt();
    let pairs = slopes.len() as f64;
    let slope_limits = Limits {
        low: at_rank(&slopes, (pairs - spread) / 2.0),
        high: at_rank(&slopes, f64::midpoint(pairs, spread) + 1.0),
    };
    let times: Vec<f64> = points.iter().map(|(t, _)| *t).collect();
    Some(Trend {
        points: count,
        slope,
        slope_limits,
        intercept: median(&values)? - slope * median(&times)?,
        s,
        variance_of_s,
        tau: s / (n * (n - 1.0) / 2.0),
        z,
        p: p(z),
        z_correlated,
        p_correlated: p(z_correlated),
    })
}

/// By how much serial correlation makes the variance of S larger, ≥ 1: 1 + 2 / (n (n−1) (n−2)) ×
/// Σ (n−i) (n−i−1) (n−i−2) r(i), over those correlations r of the ranks that chance alone does not
/// make (19 times out of 20).
fn more_variance(points: &[(f64, f64)], slope: f64) -> f64 {
    let n = points.len() as f64;
    let level: Vec<f64> = points.iter().map(|(t, y)| y - slope * t).collect();
    let ranks = ranks(&level);
    let most_lag = points.len() - 1;
    let at_lag = correlations(&[ranks], most_lag).unwrap_or_default();
    let by_chance = normal_quantile(0.975) / n.sqrt();
    let sum: f64 = at_lag
        .iter()
        .enumerate()
        .filter(|(_, r)| r.abs() > by_chance)
        .map(|(i, r)| {
            let left = n - (i + 1) as f64;
            left * (left - 1.0) * (left - 2.0) * r
        })
        .sum();
    (1.0 + 2.0 * sum / (n * (n - 1.0) * (n - 2.0))).max(1.0)
}

/// The rank of each value, from 1; equal values share the mean of their ranks.
fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut ranks = vec![0.0; values.len()];
    let mut before = 0;
    for equal in order.chunk_by(|a, b| a.1 == b.1) {
        let rank = before as f64 + f64::midpoint(1.0, equal.len() as f64);
        for (index, _) in equal {
            if let Some(place) = ranks.get_mut(*index) {
                *place = rank;
            }
        }
        before += equal.len();
    }
    ranks
}

/// The median of sorted values; none without values.
fn median(sorted: &[f64]) -> Option<f64> {
    let middle = sorted.len() / 2;
    let upper = *sorted.get(middle)?;
    if sorted.len() % 2 == 1 {
        return Some(upper);
    }
    sorted
        .get(middle.checked_sub(1)?)
        .map(|lower| f64::midpoint(*lower, upper))
}

/// The value at a rank counted from 1, interpolated; the outermost value beyond the ends. NaN for
/// a rank that is no number.
fn at_rank(sorted: &[f64], rank: f64) -> f64 {
    if rank.is_nan() {
        return f64::NAN;
    }
    let at = (rank - 1.0).clamp(0.0, sorted.len().saturating_sub(1) as f64);
    let index = at as usize;
    let part = at - index as f64;
    match (sorted.get(index), sorted.get(index + 1)) {
        (Some(a), Some(b)) if part > 0.0 => a + (b - a) * part,
        (Some(a), _) => *a,
        _ => f64::NAN,
    }
}
