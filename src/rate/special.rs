//! The few special functions that interval statistics need, made total: any input gives a number,
//! never a panic. The functions themselves come from `statrs`.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};
use statrs::function::beta::checked_beta_reg;
use statrs::function::gamma::{checked_gamma_ur, ln_gamma};

/// `ln Γ(x)` for x > 0; NaN outside.
#[must_use]
pub(super) fn ln_gamma_of(x: f64) -> f64 {
    if x > 0.0 && x.is_finite() {
        ln_gamma(x)
    } else {
        f64::NAN
    }
}

/// The upper regularised incomplete gamma function `Q(a, x)`: the chance that a gamma variable of
/// shape `a` and scale 1 is larger than `x`. Q(a, x ≤ 0) is 1; NaN for a shape that is not
/// positive and finite.
#[must_use]
pub(super) fn gamma_upper(a: f64, x: f64) -> f64 {
    if !(a > 0.0 && a.is_finite()) || x.is_nan() {
        return f64::NAN;
    }
    if x <= 0.0 {
        return 1.0;
    }
    if x == f64::INFINITY {
        return 0.0;
    }
    checked_gamma_ur(a, x).unwrap_or(f64::NAN).clamp(0.0, 1.0)
}

/// The regularised incomplete beta function `I_x(a, a)` of a symmetric beta distribution.
#[must_use]
pub(super) fn beta_symmetric(a: f64, x: f64) -> f64 {
    beta_regularised(a, a, x)
}

/// The regularised incomplete beta function `I_x(a, b)`; NaN for a, b that are not positive.
#[must_use]
pub(super) fn beta_regularised(a: f64, b: f64, x: f64) -> f64 {
    if !(a > 0.0 && b > 0.0) || x.is_nan() {
        f64::NAN
    } else if x <= 0.0 {
        0.0
    } else if x >= 1.0 {
        1.0
    } else {
        checked_beta_reg(a, b, x).unwrap_or(f64::NAN)
    }
}

/// The quantile of χ² with `freedom` degrees of freedom at the lower-tail chance `p`. 0 at p ≤ 0
/// or freedom ≤ 0 (no events: no lower limit), ∞ at p ≥ 1, NaN for NaN.
#[must_use]
pub(super) fn chi_squared_quantile(p: f64, freedom: f64) -> f64 {
    if p.is_nan() || freedom.is_nan() {
        return f64::NAN;
    }
    if p <= 0.0 || freedom <= 0.0 {
        return 0.0;
    }
    if p >= 1.0 || freedom == f64::INFINITY {
        return f64::INFINITY;
    }
    ChiSquared::new(freedom).map_or(f64::NAN, |chi| chi.inverse_cdf(p))
}

/// The chance that χ² with `freedom` degrees of freedom is above `x`; 1 at x ≤ 0.
#[must_use]
pub(super) fn chi_squared_above(x: f64, freedom: f64) -> f64 {
    gamma_upper(freedom / 2.0, x / 2.0)
}

/// The standard normal's lower-tail chance below `z`.
#[must_use]
pub(super) fn normal_below(z: f64) -> f64 {
    if z.is_nan() {
        return f64::NAN;
    }
    Normal::standard().cdf(z)
}

/// The standard normal quantile; −∞ and ∞ at the ends, NaN for NaN.
#[must_use]
pub(super) fn normal_quantile(p: f64) -> f64 {
    if p.is_nan() {
        f64::NAN
    } else if p <= 0.0 {
        f64::NEG_INFINITY
    } else if p >= 1.0 {
        f64::INFINITY
    } else {
        Normal::standard().inverse_cdf(p)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook, 1.3.6.7.4, critical values of the χ² distribution.
    #[test]
    fn chi_squared_equals_the_printed_table() {
        for (p, freedom, printed) in [
            (0.025, 40.0, 24.433),
            (0.975, 42.0, 61.777),
            (0.025, 100.0, 74.222),
        ] {
            let got = chi_squared_quantile(p, freedom);
            assert!((got - printed).abs() < 0.0005, "{p} {freedom}: {got}");
        }
    }

    #[test]
    fn nonsense_gives_numbers_and_no_panic() {
        let odd = [
            f64::NAN,
            f64::INFINITY,
            f64::NEG_INFINITY,
            0.0,
            -1.0,
            1e300,
            1e-300,
        ];
        for a in odd {
            let _ = ln_gamma_of(a);
            let _ = normal_below(a);
            let _ = normal_quantile(a);
            for x in odd {
                if a.abs() < 1e200 {
                    let _ = gamma_upper(a, x);
                }
                let _ = beta_symmetric(1.0, x);
            }
        }
        assert_eq!(chi_squared_quantile(0.5, 0.0), 0.0);
        assert!(chi_squared_quantile(f64::NAN, 1.0).is_nan());
    }
}
