//! Exact tests and limits of shares: how many of how many. They serve the comparison of two
//! counts; what a count is of, is not known here.

use super::special::beta_regularised;
use super::{CONFIDENCE, Limits};

/// Halvings of a bracket 0 to 1: to the last digits of a double.
const HALVINGS: u32 = 60;

/// The chance of `hits` or fewer in `n` tries of chance `p` each.
fn at_most(hits: u64, n: u64, p: f64) -> f64 {
    if hits >= n {
        1.0
    } else {
        beta_regularised((n - hits) as f64, hits as f64 + 1.0, 1.0 - p)
    }
}

/// The chance of `hits` or more in `n` tries of chance `p` each, 0 to 1; NaN for a chance that is
/// none.
///
/// ```
/// // Eight heads or more in ten throws: (45 + 10 + 1) / 1024.
/// let p = beadtally::rate::binomial_at_least(8, 10, 0.5);
/// assert!((p - 56.0 / 1024.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn binomial_at_least(hits: u64, n: u64, p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        f64::NAN
    } else if hits == 0 {
        1.0
    } else if hits > n {
        0.0
    } else {
        beta_regularised(hits as f64, (n - hits) as f64 + 1.0, p)
    }
}

/// The exact McNemar test of two counts of the same things: `only_first` were counted by the first
/// alone, `only_second` by the second alone. The p of a difference at least as large, two-sided,
/// when each of the things counted once was as likely to be missed by either; 1 with none.
///
/// Source: Q. McNemar, Psychometrika 12 (1947), in its exact (binomial) form; the two-sided p is
/// twice the smaller tail (M. P. Fay, Biostatistics 11 (2010)).
///
/// ```
/// // 2 and 9: 2 (1 + 11 + 55) / 2048.
/// let p = beadtally::rate::mcnemar_exact(2, 9);
/// assert!((p - 0.06543).abs() < 5e-6);
/// ```
#[must_use]
pub fn mcnemar_exact(only_first: u64, only_second: u64) -> f64 {
    let n = only_first.saturating_add(only_second);
    if n == 0 {
        return 1.0;
    }
    (2.0 * at_most(only_first.min(only_second), n, 0.5)).min(1.0)
}

/// Exact 95 % limits of a share, `hits` of `n`, each 0 to 1; 0 to 1 when `n` is 0.
///
/// Source: C. J. Clopper and E. S. Pearson, Biometrika 26 (1934).
///
/// ```
/// // Conover, Practical Nonparametric Statistics (1971), p. 97, as R's binom.test prints it.
/// let share = beadtally::rate::share_limits(682, 925);
/// assert!((share.low - 0.7076683).abs() < 5e-8 && (share.high - 0.7654066).abs() < 5e-8);
/// ```
#[must_use]
pub fn share_limits(hits: u64, n: u64) -> Limits {
    let tail = (1.0 - CONFIDENCE) / 2.0;
    let hits = hits.min(n);
    Limits {
        low: if hits == 0 {
            0.0
        } else {
            rising(tail, |p| binomial_at_least(hits, n, p))
        },
        high: if hits == n {
            1.0
        } else {
            rising(1.0 - tail, |p| 1.0 - at_most(hits, n, p))
        },
    }
}

/// Where a function that rises from 0 to 1 over 0..1 reaches a value.
fn rising(value: f64, of: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if of(middle) < value {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// J. A. Hanley and A. Lippman-Hand, "If nothing goes wrong, is everything all right?", JAMA
    /// 249 (1983): none in n gives an upper limit of about 3 / n, one-sided 95 %.
    #[test]
    fn none_of_many_is_about_three_over_many() {
        for n in [30_u64, 60, 100, 1000] {
            let upper = rising(0.95, |p| 1.0 - at_most(0, n, p));
            assert!((upper * n as f64 / 3.0 - 1.0).abs() < 0.06, "{n} {upper}");
            assert!((upper - (1.0 - 0.05_f64.powf(1.0 / n as f64))).abs() < 1e-9);
        }
    }

    /// The defining property: at its limits a share puts 2.5 % into the tail.
    #[test]
    fn at_its_limits_a_share_leaves_the_tails() {
        for n in [1_u64, 2, 7, 30, 200] {
            for hits in 0..=n {
                let limits = share_limits(hits, n);
                if hits > 0 {
                    assert!((binomial_at_least(hits, n, limits.low) - 0.025).abs() < 1e-9);
                }
                if hits < n {
                    assert!((at_most(hits, n, limits.high) - 0.025).abs() < 1e-9);
                }
            }
        }
    }

    #[test]
    fn equal_misses_are_no_difference_and_nonsense_is_no_panic() {
        assert_eq!(mcnemar_exact(0, 0), 1.0);
        assert_eq!(mcnemar_exact(5, 5), 1.0);
        // Six times one way: 2 / 2^6.
        assert!((mcnemar_exact(0, 6) - 2.0 / 64.0).abs() < 1e-12);
        assert_eq!(mcnemar_exact(3, 11), mcnemar_exact(11, 3));
        let _ = mcnemar_exact(u64::MAX, u64::MAX);
        assert!(binomial_at_least(1, 2, f64::NAN).is_nan());
        assert_eq!(
            share_limits(0, 0),
            Limits {
                low: 0.0,
                high: 1.0
            }
        );
    }
}
