//! The model of a feed: intervals between drops are gamma distributed with unknown scatter, and
//! now and then a drop is missed, so that one interval is two. Here are its prior for the scatter
//! and, for each scatter of a fixed list, tables of what the posterior asks for thousands of
//! times: the chance that an interval is longer, and the chance of seeing nothing for a while.
//!
//! All tables are for a feed with mean interval 1 and are read at ln(time × rate).

use std::sync::LazyLock;

use super::special::{beta_symmetric, gamma_upper, ln_gamma_of};

/// The chance that a bead goes unseen, so that an interval holds a hidden drop. Half a percent to
/// one percent is what a good count leaves; reckoning with it costs nearly no width, and leaving
/// it out makes one missed bead in thirty drops spoil the limits.
pub const MISSED_SHARE: f64 = 0.0075;

/// Centre of the prior for scatter (standard deviation over mean of the intervals). Slow dripping
/// from a nozzle under steady head is regular, some 5 to 30 %; 18 % is a little to the irregular
/// side of the middle of that, because an engine shakes. By simulation: at 20 % the limits after
/// three drops get a twentieth wider, at 13 % those of a feed with 30 % scatter cover only 90 %.
pub const SCATTER_CENTRE: f64 = 0.18;

/// Spread of the prior for ln(scatter). With 0.9, the central 95 % go from 0.03 to 1.0: from a
/// metronome to a feed without any regularity (Poisson, scatter 1).
pub const SCATTER_SPREAD: f64 = 0.9;

/// The most regular feed reckoned with: under 2 % the times of frames and of mid-glass themselves
/// scatter as much.
pub const SCATTER_MIN: f64 = 0.02;

/// The most irregular feed reckoned with: half as much again as Poisson, for drops in bursts.
pub const SCATTER_MAX: f64 = 1.5;

/// How many scatters between the two. The posterior of ln(scatter) after 63 intervals is 0.09
/// wide; a step of 0.15 still integrates it to better than one part in a thousand.
const ROWS: usize = 30;

/// Points of a table. With cubic interpolation the error of ln(chance) stays under 0.001.
const POINTS: usize = 160;

/// Tables stop where the chance is e to this power; beyond it the slope is carried on.
const LN_LEAST: f64 = -80.0;

/// Points of the table of where within a double interval the hidden drop lies.
const HIDDEN_POINTS: usize = 129;

/// The model's constants, so that a test may ask what another choice would give.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Assumptions {
    /// See [`MISSED_SHARE`].
    pub missed_share: f64,
    /// See [`SCATTER_CENTRE`].
    pub scatter_centre: f64,
    /// See [`SCATTER_SPREAD`].
    pub scatter_spread: f64,
}

impl Default for Assumptions {
    fn default() -> Self {
        Self {
            missed_share: MISSED_SHARE,
            scatter_centre: SCATTER_CENTRE,
            scatter_spread: SCATTER_SPREAD,
        }
    }
}

/// The tables for the default assumptions, made at first use (some milliseconds).
pub(super) static STANDARD: LazyLock<Vec<Row>> = LazyLock::new(|| rows(&Assumptions::default()));

/// A row for each scatter, evenly spaced in its logarithm.
pub(super) fn rows(assumptions: &Assumptions) -> Vec<Row> {
    let step = (SCATTER_MAX / SCATTER_MIN).ln() / (ROWS - 1) as f64;
    (0..ROWS)
        .map(|i| Row::new(SCATTER_MIN * (step * i as f64).exp(), assumptions))
        .collect()
}

/// The model at one scatter.
#[derive(Clone, Debug)]
pub(super) struct Row {
    /// Scatter.
    pub scatter: f64,
    /// Shape of the gamma distribution, 1 / scatter².
    pub shape: f64,
    /// Log prior of this scatter, up to a constant.
    pub ln_prior: f64,
    /// k ln k − ln Γ(k): the constant of ln(density) at mean 1.
    pub ln_norm: f64,
    /// k ln k + ln Γ(k) − ln Γ(2k): the constant of ln(density of two intervals / of one).
    pub ln_double: f64,
    missed_share: f64,
    longer: Curve,
    silent: Curve,
    nothing: Curve,
    hidden: Vec<f64>,
    hidden_reach: f64,
}

impl Row {
    fn new(scatter: f64, assumptions: &Assumptions) -> Self {
        let shape = 1.0 / (scatter * scatter);
        let missed = assumptions.missed_share.clamp(0.0, 0.5);
        let deviation = (scatter / assumptions.scatter_centre).ln() / assumptions.scatter_spread;
        let ln_double = shape * shape.ln() + ln_gamma_of(shape) - ln_gamma_of(2.0 * shape);

        let longer = |z: f64| {
            (1.0 - missed) * gamma_upper(shape, shape * z)
                + missed * gamma_upper(2.0 * shape, shape * z)
        };
        // E(X − z)+ of a gamma variable with shape a and mean m: m Q(a+1, ·) − z Q(a, ·).
        let overshoot = |a: f64, mean: f64, z: f64| {
            mean * gamma_upper(a + 1.0, shape * z) - z * gamma_upper(a, shape * z)
        };
        let nothing = |z: f64| {
            ((1.0 - missed) * overshoot(shape, 1.0, z) + missed * overshoot(2.0 * shape, 2.0, z))
                / (1.0 + missed)
        };
        let density = |z: f64| {
            let ln_one =
                shape * shape.ln() - ln_gamma_of(shape) + (shape - 1.0) * z.ln() - shape * z;
            let ln_ratio = ln_double + shape * z.ln();
            ln_one.exp() * (1.0 - missed) + (ln_one + ln_ratio).exp() * missed
        };

        // Below `low` an interval is longer for certain; above `high` all is lost in e^LN_LEAST.
        let mut low = 1.0;
        while low > 1e-30 && 1.0 - longer(low) > 1e-9 {
            low /= 1.0 + scatter / 2.0;
        }
        let mut high = 1.0;
        while high < 1e4 && longer(high) > LN_LEAST.exp() {
            high *= 1.0 + scatter / 4.0;
        }
        let silent_curve = Curve::new(low, high, |z| {
            let chance = gamma_upper(shape, shape * z).max(1e-300);
            let ln_one =
                shape * shape.ln() - ln_gamma_of(shape) + (shape - 1.0) * z.ln() - shape * z;
            (chance.ln(), -z * ln_one.exp() / chance)
        });
        let longer_curve = Curve::new(low, high, |z| {
            let chance = longer(z).max(1e-300);
            (chance.ln(), -z * density(z) / chance)
        });
        let nothing_curve = Curve::new(low, high, |z| {
            let chance = nothing(z).max(1e-300);
            (chance.ln(), -z * longer(z) / (1.0 + missed) / chance)
        });

        let spread = 0.5 / (2.0 * shape + 1.0).sqrt();
        let hidden_reach = (8.0 * spread).min(0.5);
        let hidden = (0..HIDDEN_POINTS)
            .map(|i| {
                let at = i as f64 / (HIDDEN_POINTS - 1) as f64;
                beta_symmetric(shape, 0.5 + hidden_reach * (2.0 * at - 1.0))
            })
            .collect();

        Self {
            scatter,
            shape,
            ln_prior: -0.5 * deviation * deviation,
            ln_norm: shape * shape.ln() - ln_gamma_of(shape),
            ln_double,
            missed_share: missed,
            longer: longer_curve,
            silent: silent_curve,
            nothing: nothing_curve,
            hidden,
            hidden_reach,
        }
    }

    /// ln of the chance that an interval, missed beads reckoned with, is longer than z = e^u.
    pub(super) fn ln_longer(&self, u: f64) -> f64 {
        self.longer.at(u, |_| 0.0)
    }

    /// ln of the chance that an interval is longer than z = e^u, no missed bead reckoned with.
    ///
    /// For the present silence: would a missed bead be held against it, a reading would stop
    /// falling between one interval of silence and two.
    pub(super) fn ln_silent(&self, u: f64) -> f64 {
        self.silent.at(u, |_| 0.0)
    }

    /// ln of the chance of no drop in the time z = e^u from a moment that knows nothing of drops.
    pub(super) fn ln_nothing(&self, u: f64) -> f64 {
        let missed = self.missed_share;
        self.nothing
            .at(u, |u| (-u.exp() / (1.0 + missed)).max(-0.999_999).ln_1p())
    }

    /// The chance that, of two intervals together, the drop between lies before the fraction
    /// `x` of them.
    pub(super) fn hidden_before(&self, x: f64) -> f64 {
        let at = f64::midpoint((x - 0.5) / self.hidden_reach, 1.0) * (HIDDEN_POINTS - 1) as f64;
        if at <= 0.0 {
            return 0.0;
        }
        let index = at as usize;
        match (self.hidden.get(index), self.hidden.get(index + 1)) {
            (Some(a), Some(b)) => a + (b - a) * (at - index as f64),
            _ => 1.0,
        }
    }

    /// ln of the factor by which the chance of a hidden drop multiplies the density of one
    /// interval, at u = ln(time × rate): (1 − p) + p × (density of two intervals) / (density of
    /// one). None when the second part is negligible and the factor is 1 − p.
    pub(super) fn ln_fold(&self, u: f64, hidden: HiddenChance) -> Option<f64> {
        let excess = self.ln_double + self.shape * u + hidden.ln_odds;
        (excess > SOFT_LOW).then(|| hidden.ln_not + soft_plus(excess))
    }
}

/// The chance that a drop hid within an interval, with its logarithms.
#[derive(Clone, Copy, Debug)]
pub(super) struct HiddenChance {
    /// ln(1 − p).
    pub ln_not: f64,
    ln_odds: f64,
}

impl HiddenChance {
    /// Of a chance, kept within 0..=0.999.
    pub(super) fn new(chance: f64) -> Self {
        let chance = if chance > 0.0 { chance.min(0.999) } else { 0.0 };
        Self {
            ln_not: (-chance).ln_1p(),
            ln_odds: (chance / (1.0 - chance)).ln(),
        }
    }
}

/// Below this ln(1 + eˣ) is taken as 0, above `SOFT_HIGH` as x: the error is 6e-6.
const SOFT_LOW: f64 = -12.0;
/// See `SOFT_LOW`.
const SOFT_HIGH: f64 = 12.0;
/// Steps of the table of ln(1 + eˣ); read linearly, its error is under 5e-6.
const SOFT_STEPS: usize = 2048;

/// ln(1 + eˣ), tabulated: it is asked for some fifty thousand times a reading.
static SOFT_PLUS: LazyLock<Vec<f64>> = LazyLock::new(|| {
    let step = (SOFT_HIGH - SOFT_LOW) / SOFT_STEPS as f64;
    (0..=SOFT_STEPS)
        .map(|i| (SOFT_LOW + step * i as f64).exp().ln_1p())
        .collect()
});

fn soft_plus(x: f64) -> f64 {
    if x >= SOFT_HIGH {
        return x;
    }
    let at = (x - SOFT_LOW) * (SOFT_STEPS as f64 / (SOFT_HIGH - SOFT_LOW));
    let index = at as usize;
    let table: &[f64] = &SOFT_PLUS;
    match (table.get(index), table.get(index + 1)) {
        (Some(a), Some(b)) if at > 0.0 => a + (b - a) * (at - index as f64),
        _ => 0.0,
    }
}

/// A smooth function of u = ln z, tabulated with its slopes between two z and carried on beyond.
#[derive(Clone, Debug)]
struct Curve {
    low: f64,
    per_step: f64,
    /// Value, and slope times step.
    points: Vec<(f64, f64)>,
    high: f64,
}

impl Curve {
    fn new(low_z: f64, high_z: f64, value_and_slope: impl Fn(f64) -> (f64, f64)) -> Self {
        let (low, high) = (low_z.ln(), high_z.ln());
        let step = (high - low) / (POINTS - 1) as f64;
        let points = (0..POINTS)
            .map(|i| {
                let (value, slope) = value_and_slope((low + step * i as f64).exp());
                (value, slope * step)
            })
            .collect();
        Self {
            low,
            per_step: 1.0 / step,
            points,
            high,
        }
    }

    fn at(&self, u: f64, below: impl Fn(f64) -> f64) -> f64 {
        let t = (u - self.low) * self.per_step;
        if t <= 0.0 {
            return below(u);
        }
        let index = t as usize;
        match (self.points.get(index), self.points.get(index + 1)) {
            (Some(&(a, da)), Some(&(b, db))) => {
                let t = t - index as f64;
                // Cubic Hermite interpolation.
                let rest = 1.0 - t;
                a * rest * rest * (1.0 + 2.0 * t)
                    + da * t * rest * rest
                    + b * t * t * (3.0 - 2.0 * t)
                    - db * t * t * rest
            }
            _ => self.points.last().map_or(0.0, |&(value, slope)| {
                // Far out the hazard is steady: ln(chance) is linear in z.
                value + slope * self.per_step * ((u - self.high).min(700.0).exp() - 1.0)
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, wanted: f64, tolerance: f64, what: &str) {
        assert!(
            (got - wanted).abs() <= tolerance,
            "{what}: {got}, wanted {wanted}"
        );
    }

    /// The tables against the functions they stand for, at points between theirs.
    #[test]
    fn tables_equal_the_functions_they_stand_for() {
        for row in STANDARD.iter() {
            let k = row.shape;
            for i in 0..400 {
                let z = (-3.0 + 6.0 * f64::from(i) / 400.0 * 0.99).exp();
                let what = format!("scatter {}, z {z}", row.scatter);
                let one = gamma_upper(k, k * z);
                let longer =
                    (1.0 - MISSED_SHARE) * one + MISSED_SHARE * gamma_upper(2.0 * k, k * z);
                if one > 1e-30 {
                    close(row.ln_silent(z.ln()), one.ln(), 1e-3, &what);
                }
                if longer > 1e-30 {
                    close(row.ln_longer(z.ln()), longer.ln(), 1e-3, &what);
                }
                close(row.ln_longer(z.ln()).exp(), longer, 1e-5, &what);
                close(row.ln_silent(z.ln()).exp(), one, 1e-5, &what);
            }
        }
    }

    /// The chance of nothing for a while, against a sum over the survival function.
    #[test]
    fn nothing_is_the_integral_of_longer() {
        for row in STANDARD.iter().step_by(4) {
            for z in [0.01, 0.3, 0.9, 1.0, 1.2, 2.0, 3.0] {
                let step = 1e-3;
                let sum: f64 = (0..60_000)
                    .map(|i| row.ln_longer((z + step * (f64::from(i) + 0.5)).ln()).exp() * step)
                    .sum();
                let what = format!("scatter {}, z {z}", row.scatter);
                close(
                    row.ln_nothing(f64::ln(z)).exp(),
                    sum / (1.0 + MISSED_SHARE),
                    2e-4,
                    &what,
                );
            }
        }
    }

    /// The fold against two gamma densities written out, and the place of the hidden drop against
    /// the beta distribution.
    #[test]
    fn folds_are_ratios_of_densities() {
        let ln_density = |k: f64, mean: f64, z: f64| {
            let rate = k / mean;
            k * rate.ln() + (k - 1.0) * z.ln() - rate * z - ln_gamma_of(k)
        };
        for row in STANDARD.iter() {
            let k = row.shape;
            for p in [0.0075, 0.1, 0.6] {
                for z in [0.3_f64, 0.8, 1.0, 1.3, 1.5, 1.8, 2.0, 2.6] {
                    let excess = ln_density(2.0 * k, 2.0, z) - ln_density(k, 1.0, z);
                    let wanted = if excess > 300.0 {
                        f64::ln(p) + excess
                    } else {
                        (1.0 - p + p * excess.exp()).ln()
                    };
                    let hidden = HiddenChance::new(p);
                    let got = row.ln_fold(z.ln(), hidden).unwrap_or(hidden.ln_not);
                    close(got, wanted, 2e-5 + 1e-9 * wanted.abs(), "fold");
                }
            }
            for x in [0.0, 0.1, 0.3, 0.45, 0.5, 0.52, 0.7, 1.0] {
                close(row.hidden_before(x), beta_symmetric(k, x), 2e-3, "hidden");
            }
        }
    }
}
