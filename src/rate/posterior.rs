//! The posterior of a feed's rate and scatter on a grid, and the reading drawn from it. The model
//! is in `renewal`, the taking apart of a record in `record`.
//!
//! Factors of the likelihood, with z = time × rate, f the density and S the survival of an
//! interval of mean 1:
//! - a whole interval: rate × f(z), mixed with two intervals in one (a missed bead);
//! - the first, partial interval, seen from a moment that knows nothing of drops: rate × S(z)
//!   (the forward recurrence time of a stationary renewal process; D. R. Cox, *Renewal Theory*,
//!   1962);
//! - the present silence: S(z);
//! - a stretch of seeing with no drop at all: the integral of S beyond z;
//! - an interval over a short blind spell: as a whole interval, but the drop between two intervals
//!   in one may lie in the spell; a long blind spell cuts the record into pieces of the kinds above.
//!
//! Prior: uniform in ln(rate) (no unit of time is preferred, so limits cover as often at 60 drops
//! a minute as at one), log-normal in scatter.

use super::marginal::{Marginal, crowded, largest, widths};
use super::record::{Observed, Piece};
use super::renewal::{Assumptions, HiddenChance, MISSED_SHARE, Row, SCATTER_MIN, STANDARD, rows};
use super::tail::Tail;
use super::{DropRecord, Reading};

/// Points of the final grid over ln(rate). 64 over some ±5 standard deviations place a limit to a
/// thousandth of its distance.
const RATE_POINTS: usize = 64;

/// Points of the searching grids over ln(rate): enough for a crowded grid over the whole range.
const SEARCH_POINTS: usize = 48;

/// Every how many rows of scatter the searching grids take.
const SEARCH_ROWS: usize = 3;

/// The finest step of a grid, in standard deviations of ln(rate) at the smallest scatter in use.
/// At 0.6 a sum over a bell curve is exact to more digits than are kept.
const FINEST_STEP: f64 = 0.6;

/// Cells this far (natural log) below the best are left out: e⁻¹³ is beyond any limit shown.
const LN_NEGLIGIBLE: f64 = -13.0;

/// The share of the posterior between the two limits of a reading.
pub const CONFIDENCE: f64 = 0.95;

/// What is known of a feed's rate and scatter.
#[derive(Clone, Debug)]
pub struct Posterior {
    /// Of ln(drops a second).
    rates: Marginal,
    /// Median of ln(drops a second) without the present silence.
    ln_rate_before: f64,
    /// ln(scatter) of the rows in use, and the cumulative chance at the middle of each.
    scatter: Vec<(f64, f64)>,
    drops: usize,
}

/// The model's tables under assumptions of one's own; making them takes some milliseconds.
#[derive(Clone, Debug)]
pub struct Model {
    rows: Vec<Row>,
    missed_share: f64,
}

impl Model {
    /// Makes the tables.
    #[must_use]
    pub fn new(assumptions: &Assumptions) -> Self {
        Self {
            rows: rows(assumptions),
            missed_share: assumptions.missed_share,
        }
    }
}

impl Posterior {
    /// The posterior of a record; none before there are two drops with an interval between.
    #[must_use]
    pub fn of(record: &DropRecord) -> Option<Self> {
        Self::with_rows(record, &STANDARD, MISSED_SHARE)
    }

    /// The same under other assumptions than the standard ones, to study what they do.
    #[must_use]
    pub fn under(record: &DropRecord, model: &Model) -> Option<Self> {
        Self::with_rows(record, &model.rows, model.missed_share)
    }

    /// The posterior of a record, and how long its next interval may be.
    pub(super) fn with_tail(record: &DropRecord) -> Option<(Self, Tail)> {
        let (posterior, grid, kept) = Self::found(record, &STANDARD, MISSED_SHARE)?;
        let tail = Tail::new(&grid, &kept, 60.0 / posterior.rate_per_minute(0.5));
        Some((posterior, tail))
    }

    fn with_rows(record: &DropRecord, rows: &[Row], missed_share: f64) -> Option<Self> {
        Self::found(record, rows, missed_share).map(|(posterior, ..)| posterior)
    }

    fn found<'r>(
        record: &DropRecord,
        rows: &'r [Row],
        missed_share: f64,
    ) -> Option<(Self, Grid, Vec<&'r Row>)> {
        let observed = Observed::from_record(record)?;
        let likelihood = Likelihood::new(&observed, missed_share);
        let (low, high) = likelihood.widest_ln_rates();
        let finest = FINEST_STEP * SCATTER_MIN / likelihood.count.max(1.0).sqrt();

        // Search twice, on some of the rows: for the peak, then for all that matters.
        let some: Vec<&Row> = rows.iter().step_by(SEARCH_ROWS).collect();
        let points = crowded(low, likelihood.ln_mean_rate(), high, SEARCH_POINTS, finest);
        let found = likelihood.grid(&some, points).what_matters()?;
        let points = crowded(found.low, found.best, found.high, SEARCH_POINTS, finest);
        let found = likelihood.grid(&some, points).what_matters()?;
        let first = (found.rows.0 * SEARCH_ROWS).saturating_sub(SEARCH_ROWS - 1);
        let last = (found.rows.1 * SEARCH_ROWS + SEARCH_ROWS - 1).min(rows.len() - 1);

        let kept: Vec<&Row> = rows.get(first..=last)?.iter().collect();
        let finest = finest * kept.first()?.scatter / SCATTER_MIN;
        let points = crowded(found.low, found.best, found.high, RATE_POINTS, finest);
        let grid = likelihood.grid(&kept, points);
        let posterior = grid.posterior(&kept, observed.drops)?;
        Some((posterior, grid, kept))
    }

    /// The rate, drops a minute, below which lies the share `p` of the posterior.
    #[must_use]
    pub fn rate_per_minute(&self, p: f64) -> f64 {
        60.0 * self.rates.quantile(p).exp()
    }

    /// The chance that the rate is below so many drops a minute.
    #[must_use]
    pub fn chance_below(&self, drops_per_minute: f64) -> f64 {
        if drops_per_minute > 0.0 {
            self.rates.chance_below((drops_per_minute / 60.0).ln())
        } else {
            0.0
        }
    }

    /// The scatter (standard deviation over mean of the intervals) below which lies the share `p`
    /// of the posterior.
    #[must_use]
    pub fn scatter(&self, p: f64) -> f64 {
        let after = self.scatter.partition_point(|(_, below)| *below < p);
        let ln = match (
            after.checked_sub(1).and_then(|i| self.scatter.get(i)),
            self.scatter.get(after),
        ) {
            (Some((a, below_a)), Some((b, below_b))) if below_b > below_a => {
                a + (b - a) * (p - below_a) / (below_b - below_a)
            }
            (_, Some((only, _))) | (Some((only, _)), None) => *only,
            (None, None) => f64::NAN,
        };
        ln.exp()
    }

    /// The reading: median and 95 % equal-tailed limits.
    ///
    /// Silence is never a reason to read higher: where the posterior median would rise by some
    /// thousandths, because silence also tells of the scatter, the one before the silence stands.
    #[must_use]
    pub fn reading(&self) -> Reading {
        let tail = (1.0 - CONFIDENCE) / 2.0;
        Reading {
            drops_per_minute: self
                .rate_per_minute(0.5)
                .min(60.0 * self.ln_rate_before.exp()),
            low: self.rate_per_minute(tail),
            high: self.rate_per_minute(1.0 - tail),
            scatter: self.scatter(0.5),
            drops: self.drops,
        }
    }
}

/// Drops a minute with 95 % limits from the newest [`NEWEST_DROPS`](super::NEWEST_DROPS) drops of
/// a record; none before there are two with an interval between. It falls as the present silence
/// grows. Any input is cleaned first ([`DropRecord::cleaned`]); none makes it panic. It takes some
/// 0.2 ms.
///
/// ```
/// use beadtally::rate::{DropRecord, reading};
/// let record = DropRecord {
///     from_secs: 0.0,
///     now_secs: 100.0,
///     drops_secs: vec![10.0, 34.0, 57.0, 82.0],
///     blind: vec![],
/// };
/// let reading = reading(&record).ok_or("two drops are enough")?;
/// assert!((reading.drops_per_minute - 2.5).abs() < 0.1);
/// assert!(reading.low < 2.5 && 2.5 < reading.high);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn reading(record: &DropRecord) -> Option<Reading> {
    Posterior::of(record).map(|posterior| posterior.reading())
}

/// Everything about a record that the likelihood needs, as sums and logarithms.
struct Likelihood<'a> {
    observed: &'a Observed,
    missed_share: f64,
    count: f64,
    sum: f64,
    sum_of_ln: f64,
    missed: HiddenChance,
    /// ln(seconds), longest first.
    ln_intervals: Vec<f64>,
    ln_bridged: Vec<f64>,
}

impl<'a> Likelihood<'a> {
    fn new(observed: &'a Observed, missed_share: f64) -> Self {
        let whole = || {
            let bridged = observed.bridged.iter().map(|piece| piece.secs);
            observed.intervals.iter().copied().chain(bridged)
        };
        let mut ln_intervals: Vec<f64> = observed.intervals.iter().map(|x| x.ln()).collect();
        ln_intervals.sort_by(|a, b| b.total_cmp(a));
        Self {
            observed,
            missed_share,
            missed: HiddenChance::new(missed_share),
            count: whole().count() as f64,
            sum: whole().sum(),
            sum_of_ln: whole().map(f64::ln).sum(),
            ln_intervals,
            ln_bridged: observed.bridged.iter().map(|x| x.secs.ln()).collect(),
        }
    }

    /// ln(drops a second) beyond which no posterior reaches: from twenty times slower than the
    /// longest piece allows to twenty times faster than the shortest.
    fn widest_ln_rates(&self) -> (f64, f64) {
        let (shortest, longest) = self.observed.range_secs;
        let all = longest.max(self.sum);
        (-(20.0 * all).ln(), (20.0 / shortest).ln())
    }

    /// ln(drops a second) as the whole intervals have it, or the drops when there are none.
    fn ln_mean_rate(&self) -> f64 {
        if self.count > 0.0 {
            (self.count / self.sum).ln()
        } else {
            -self.observed.typical_secs.ln()
        }
    }

    /// For one row: the chances that the hidden drop of each bridged interval was in a spell.
    fn hidden_chances(&self, row: &Row) -> Vec<HiddenChance> {
        let chance = |piece: &Piece| {
            let in_spells: f64 = piece
                .spells
                .iter()
                .map(|s| {
                    row.hidden_before(s.to_secs / piece.secs)
                        - row.hidden_before(s.from_secs / piece.secs)
                })
                .sum();
            HiddenChance::new(self.missed_share + (1.0 - self.missed_share) * in_spells)
        };
        self.observed.bridged.iter().map(chance).collect()
    }

    fn ln_likelihood(&self, row: &Row, hidden: &[HiddenChance], ln_rate: f64, rate: f64) -> f64 {
        let k = row.shape;
        let mut ln = self.count * (row.ln_norm + k * ln_rate) + (k - 1.0) * self.sum_of_ln
            - k * rate * self.sum;
        // From the longest on: when one is too short to be two, so are the rest.
        for (done, ln_secs) in self.ln_intervals.iter().enumerate() {
            if let Some(fold) = row.ln_fold(ln_secs + ln_rate, self.missed) {
                ln += fold;
            } else {
                ln += self.missed.ln_not * (self.ln_intervals.len() - done) as f64;
                break;
            }
        }
        for (ln_secs, chance) in self.ln_bridged.iter().zip(hidden) {
            ln += row
                .ln_fold(ln_secs + ln_rate, *chance)
                .unwrap_or(chance.ln_not);
        }
        let longer = |secs: f64| {
            if secs > 0.0 {
                row.ln_longer(secs.ln() + ln_rate)
            } else {
                0.0
            }
        };
        for lead in &self.observed.leads {
            ln += ln_rate;
            ln += ln_with_hidden(longer(lead.secs), lead, |s, middle| {
                // A drop hid in the spell; the next one came at the end of the piece.
                longer(middle).exp()
                    * (longer(lead.secs - s.to_secs).exp() - longer(lead.secs - s.from_secs).exp())
            });
        }
        for tail in &self.observed.tails {
            ln += ln_with_hidden(longer(tail.secs), tail, |s, middle| {
                (longer(s.from_secs).exp() - longer(s.to_secs).exp())
                    * longer(tail.secs - middle).exp()
            });
        }
        let nothing = |secs: f64| {
            if secs > 0.0 {
                row.ln_nothing(secs.ln() + ln_rate)
            } else {
                0.0
            }
        };
        for empty in &self.observed.empty {
            ln += ln_with_hidden(nothing(empty.secs), empty, |s, middle| {
                (nothing(s.from_secs).exp() - nothing(s.to_secs).exp())
                    * longer(empty.secs - middle).exp()
            });
        }
        ln
    }

    /// The factor of the present silence.
    fn ln_silence(&self, row: &Row, ln_rate: f64) -> f64 {
        let Some(silence) = &self.observed.silence else {
            return 0.0;
        };
        let longer = |secs: f64| {
            if secs > 0.0 {
                row.ln_silent(secs.ln() + ln_rate)
            } else {
                0.0
            }
        };
        ln_with_hidden(longer(silence.secs), silence, |s, middle| {
            (longer(s.from_secs).exp() - longer(s.to_secs).exp())
                * longer(silence.secs - middle).exp()
        })
    }

    fn grid(&self, rows: &[&Row], ln_rates: Vec<f64>) -> Grid {
        let mut ln = Vec::with_capacity(rows.len() * ln_rates.len());
        let mut ln_before = Vec::with_capacity(rows.len() * ln_rates.len());
        let rates: Vec<f64> = ln_rates.iter().map(|ln| ln.exp()).collect();
        for row in rows {
            let hidden = self.hidden_chances(row);
            for (ln_rate, rate) in ln_rates.iter().zip(&rates) {
                let before = row.ln_prior + self.ln_likelihood(row, &hidden, *ln_rate, *rate);
                ln_before.push(before);
                ln.push(before + self.ln_silence(row, *ln_rate));
            }
        }
        Grid {
            ln_rates,
            ln,
            ln_before,
        }
    }
}

/// ln(e^`ln_none` + the sum over the spells of the chance that a drop hid there), where `hidden`
/// is given each spell and its middle.
fn ln_with_hidden(
    ln_none: f64,
    piece: &Piece,
    hidden: impl Fn(&crate::base::Span, f64) -> f64,
) -> f64 {
    if piece.spells.is_empty() {
        return ln_none;
    }
    let sum: f64 = piece
        .spells
        .iter()
        .map(|s| hidden(s, f64::midpoint(s.from_secs, s.to_secs)))
        .filter(|chance| *chance > 0.0)
        .sum();
    if sum > 0.0 {
        let ln_sum = sum.ln();
        let most = ln_none.max(ln_sum);
        most + ((ln_none - most).exp() + (ln_sum - most).exp()).ln()
    } else {
        ln_none
    }
}

/// ln(posterior) of cells, row by row, up to a constant.
pub(super) struct Grid {
    pub(super) ln_rates: Vec<f64>,
    pub(super) ln: Vec<f64>,
    /// The same without the present silence.
    ln_before: Vec<f64>,
}

/// Where the cells lie that are not negligible.
struct Matters {
    /// ln(rate): just below them, at the best of them, just above them.
    low: f64,
    best: f64,
    high: f64,
    /// First and last row.
    rows: (usize, usize),
}

impl Grid {
    fn what_matters(&self) -> Option<Matters> {
        let best = largest(&self.ln);
        if !best.is_finite() {
            return None;
        }
        let count = self.ln_rates.len();
        let (mut first, mut last, mut top) = (count, 0, 0);
        let mut rows: Option<(usize, usize)> = None;
        for (i, ln) in self.ln.iter().enumerate() {
            if *ln > best + LN_NEGLIGIBLE {
                let (row, rate) = (i / count, i % count);
                first = first.min(rate);
                last = last.max(rate);
                rows = Some(rows.map_or((row, row), |(from, _)| (from, row)));
                if *ln >= best {
                    top = rate;
                }
            }
        }
        let ln_rate = |i: usize| self.ln_rates.get(i.min(count - 1)).copied();
        Some(Matters {
            low: ln_rate(first.saturating_sub(1))?,
            best: ln_rate(top)?,
            high: ln_rate(last + 1)?,
            rows: rows?,
        })
    }

    fn posterior(&self, rows: &[&Row], drops: usize) -> Option<Posterior> {
        let rates = Marginal::new(&self.ln_rates, &self.ln)?;
        let before = Marginal::new(&self.ln_rates, &self.ln_before)?;
        let best = largest(&self.ln);
        let widths = widths(&self.ln_rates);
        let mut scatter = Vec::with_capacity(rows.len());
        let mut total = 0.0;
        for (row, cells) in rows.iter().zip(self.ln.chunks(widths.len())) {
            let cells = cells.iter().zip(&widths);
            let sum: f64 = cells.map(|(ln, width)| (ln - best).exp() * width).sum();
            // Up to the middle of this row; the rows are evenly spaced in ln(scatter).
            scatter.push((row.scatter.ln(), total + sum / 2.0));
            total += sum;
        }
        for (_, below) in &mut scatter {
            *below /= total;
        }
        Some(Posterior {
            ln_rate_before: before.quantile(0.5),
            rates,
            scatter,
            drops,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::renewal::{MISSED_SHARE, SCATTER_CENTRE, SCATTER_MAX, SCATTER_SPREAD};
    use super::super::special::{gamma_upper, ln_gamma_of};
    use super::*;

    /// The posterior once more, without tables or searches: densities written out, summed over a
    /// dense and even grid. Intervals, the first partial one, and the present silence, seconds.
    fn plainly(lead: f64, intervals: &[f64], silence: f64, quantiles: &[f64]) -> Vec<f64> {
        let missed = MISSED_SHARE;
        let (points, rows) = (6000, 160);
        let centre = (intervals.len() as f64 / intervals.iter().sum::<f64>()).ln();
        let rates: Vec<f64> = (0..points)
            .map(|i| (centre - 4.0 + 8.0 * f64::from(i) / f64::from(points)).exp())
            .collect();
        let mut weights = vec![0.0; rates.len()];
        for row in 0..rows {
            let part = f64::from(row) / f64::from(rows - 1);
            let scatter = SCATTER_MIN * (SCATTER_MAX / SCATTER_MIN).powf(part);
            let k = 1.0 / (scatter * scatter);
            let deviation = (scatter / SCATTER_CENTRE).ln() / SCATTER_SPREAD;
            let (ln_one, ln_two) = (
                k * k.ln() - ln_gamma_of(k),
                2.0 * k * k.ln() - ln_gamma_of(2.0 * k),
            );
            let density = |z: f64| {
                (1.0 - missed) * (ln_one + (k - 1.0) * z.ln() - k * z).exp()
                    + missed * (ln_two + (2.0 * k - 1.0) * z.ln() - k * z).exp()
            };
            for (weight, rate) in weights.iter_mut().zip(&rates) {
                let mut ln = -0.5 * deviation * deviation;
                for secs in intervals {
                    ln += rate.ln() + density(secs * rate).max(1e-300).ln();
                }
                if ln < -600.0 {
                    continue;
                }
                let longer = (1.0 - missed) * gamma_upper(k, k * lead * rate)
                    + missed * gamma_upper(2.0 * k, k * lead * rate);
                *weight += ln.exp() * rate * longer * gamma_upper(k, k * silence * rate);
            }
        }
        let total: f64 = weights.iter().sum();
        quantiles
            .iter()
            .map(|p| {
                let mut sum = 0.0;
                let found = weights.iter().position(|weight| {
                    sum += weight;
                    sum >= p * total
                });
                60.0 * rates[found.unwrap()]
            })
            .collect()
    }

    #[test]
    fn the_posterior_equals_a_plain_sum() {
        for (lead, intervals, silence) in [
            (7.0, vec![24.0], 0.0),
            (11.0, vec![23.0, 26.0], 5.0),
            (3.0, vec![20.0, 26.0, 24.0, 29.0], 41.0),
            (
                15.0,
                vec![24.0, 22.5, 47.0, 25.0, 23.0, 24.5, 26.0, 22.0, 24.0],
                10.0,
            ),
            (60.0, vec![3.0, 40.0, 11.0, 75.0, 20.0, 8.0, 31.0], 30.0),
        ] {
            let mut at = lead;
            let mut drops = vec![at];
            for secs in &intervals {
                at += secs;
                drops.push(at);
            }
            let posterior = Posterior::of(&DropRecord {
                from_secs: 0.0,
                now_secs: at + silence,
                drops_secs: drops,
                blind: vec![],
            })
            .unwrap();
            let quantiles = [0.025, 0.16, 0.5, 0.84, 0.975];
            let plain = plainly(lead, &intervals, silence, &quantiles);
            for (p, plain) in quantiles.into_iter().zip(plain) {
                let got = posterior.rate_per_minute(p);
                // A part in a hundred of the distance between the limits, or in a thousand.
                let width = posterior.rate_per_minute(0.975) - posterior.rate_per_minute(0.025);
                assert!(
                    (got - plain).abs() < 0.01 * width + 0.001 * plain,
                    "{intervals:?} at {p}: {got}, plainly {plain}"
                );
            }
        }
    }
}
