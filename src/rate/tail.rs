//! How long the next interval of a feed may be by all that is known of it: the posterior's tail,
//! tabulated so that it can be asked at every picture. What a long silence means is for others.

use super::marginal::{crowded, largest, widths};
use super::posterior::Grid;
use super::renewal::Row;
use super::special::gamma_upper;

/// Points of the table over ln(seconds), crowded round the mean interval. With 26, chances between
/// them are right to some three parts in a hundred, and the table is small enough to pass about.
const POINTS: usize = 26;

/// How far apart they are there: a third of the scatter of a quite regular feed.
const FINEST_STEP: f64 = 0.015;

/// The table reaches from so many mean intervals ...
const FROM_INTERVALS: f64 = 0.1;

/// ... to so many. Beyond, the last slope is carried on.
const TO_INTERVALS: f64 = 20.0;

/// Cells that hold less than this part of the likeliest one are left out: a chance of one in a
/// thousand is still right to a hundredth.
const LN_LEAST_CELL: f64 = -12.0;

/// Neighbouring rates within so many scatters are taken together: the tail of one interval hardly
/// changes over so little.
const TOGETHER_SCATTERS: f64 = 0.3;

/// The least chance told; under it all are alike.
const LEAST_CHANCE: f64 = 1e-12;

/// The chance that an interval is longer than a time: seconds, rising, and ln(chance), taken as
/// linear in between, as it is where a hazard is steady. Single precision holds both to a millionth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tail {
    points: [(f32, f32); POINTS],
}

impl Tail {
    /// The tail of a posterior whose mean interval is about `interval_secs`.
    pub(super) fn new(grid: &Grid, rows: &[&Row], interval_secs: f64) -> Self {
        let shares = widths(&grid.ln_rates);
        let best = largest(&grid.ln);
        let mut cells: Vec<(&Row, f64, f64)> = Vec::new();
        let mut total = 0.0;
        for (row, lns) in rows.iter().zip(grid.ln.chunks(shares.len().max(1))) {
            // Weight, weighted ln(rate), and where it began, of cells taken together.
            let (mut sum, mut moment, mut began) = (0.0, 0.0, f64::NEG_INFINITY);
            for ((ln, width), ln_rate) in lns.iter().zip(&shares).zip(&grid.ln_rates) {
                if *ln <= best + LN_LEAST_CELL {
                    continue;
                }
                if ln_rate - began > TOGETHER_SCATTERS * row.scatter {
                    if sum > 0.0 {
                        cells.push((row, moment / sum, sum));
                    }
                    (sum, moment, began) = (0.0, 0.0, *ln_rate);
                }
                let weight = (ln - best).exp() * width;
                sum += weight;
                moment += weight * ln_rate;
                total += weight;
            }
            if sum > 0.0 {
                cells.push((row, moment / sum, sum));
            }
        }
        Self::tabulated(interval_secs, |ln_secs| {
            let longer = cells
                .iter()
                .map(|(row, ln_rate, weight)| weight * row.ln_longer(ln_secs + ln_rate).exp());
            longer.sum::<f64>() / total
        })
    }

    /// The tail of a gamma interval of known mean and scatter.
    pub(super) fn known(interval_secs: f64, scatter: f64) -> Self {
        let shape = 1.0 / (scatter * scatter);
        Self::tabulated(interval_secs, |ln_secs| {
            gamma_upper(shape, shape * ln_secs.exp() / interval_secs)
        })
    }

    fn tabulated(interval_secs: f64, chance: impl Fn(f64) -> f64) -> Self {
        let centre = interval_secs.ln();
        let (low, high) = (centre + FROM_INTERVALS.ln(), centre + TO_INTERVALS.ln());
        let mut points = [(0.0, 0.0); POINTS];
        let places = crowded(low, centre, high, POINTS, FINEST_STEP);
        for (point, ln_secs) in points.iter_mut().zip(places) {
            let ln_chance = chance(ln_secs).clamp(LEAST_CHANCE, 1.0).ln();
            *point = (ln_secs.exp() as f32, ln_chance as f32);
        }
        Self { points }
    }

    pub(super) fn chance_longer(&self, secs: f64) -> f64 {
        if secs.is_nan() {
            return f64::NAN;
        }
        if secs <= 0.0 {
            return 1.0;
        }
        let after = self
            .points
            .partition_point(|(at, _)| f64::from(*at) <= secs);
        // Beyond the table, its last slope is carried on.
        let after = after.min(POINTS - 1);
        let (a, ln_a) = self.point(after.checked_sub(1)).unwrap_or((0.0, 0.0));
        let Some((b, ln_b)) = self.point(Some(after)) else {
            return f64::NAN;
        };
        let ln_chance = ln_a + (ln_b - ln_a) * (secs - a) / (b - a);
        ln_chance.exp().clamp(0.0, 1.0)
    }

    pub(super) fn secs_at_chance(&self, chance: f64) -> f64 {
        let wanted = chance.clamp(LEAST_CHANCE, 1.0).ln();
        let after = self
            .points
            .partition_point(|(_, ln)| f64::from(*ln) > wanted);
        let (a, ln_a) = self.point(after.checked_sub(1)).unwrap_or((0.0, 0.0));
        // The least chance of the table is as far as it tells.
        match self.point(Some(after)) {
            Some((b, ln_b)) if ln_b < ln_a => a + (b - a) * (wanted - ln_a) / (ln_b - ln_a),
            _ => a,
        }
    }

    fn point(&self, index: Option<usize>) -> Option<(f64, f64)> {
        let (ln_secs, ln_chance) = self.points.get(index?)?;
        Some((f64::from(*ln_secs), f64::from(*ln_chance)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table against the function it stands for, and its inverse against itself.
    #[test]
    fn the_table_equals_the_gamma_tail() {
        for scatter in [0.05, 0.15, 0.3, 1.0] {
            let tail = Tail::known(24.0, scatter);
            let shape = 1.0 / (scatter * scatter);
            for i in 1..200 {
                let secs = 0.6 * f64::from(i);
                let wanted = gamma_upper(shape, shape * secs / 24.0);
                let got = tail.chance_longer(secs);
                let close = (got - wanted).abs() < 0.005 + 0.03 * wanted;
                assert!(close, "{scatter} at {secs}: {got}, wanted {wanted}");
                if (1e-6..0.99).contains(&got) {
                    let back = tail.secs_at_chance(got);
                    assert!((back / secs - 1.0).abs() < 1e-4, "{secs} gave {back}");
                }
            }
            assert_eq!(tail.chance_longer(0.0), 1.0);
            assert!(tail.chance_longer(f64::NAN).is_nan());
            assert!(tail.chance_longer(1e9) < 1e-6);
        }
    }
}
