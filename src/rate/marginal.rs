//! Grids over one axis and what is summed up on them: points that crowd where a posterior is
//! narrow, and the distribution along the axis with its quantiles. It knows nothing of drops.

/// Points from `low` to `high` that crowd round `centre`, where they are some `finest` apart (or
/// evenly spaced when that suffices): u = centre + a sinh(s). Regular feeds make a narrow peak
/// there, irregular ones wide slopes, and a reading has to weigh both.
pub(super) fn crowded(low: f64, centre: f64, high: f64, points: usize, finest: f64) -> Vec<f64> {
    let (left, right) = ((centre - low).max(finest), (high - centre).max(finest));
    let steps = (points - 1) as f64;
    let mut a = (left + right).max(1e-9);
    for _ in 0..12 {
        a = (finest * steps / ((left / a).asinh() + (right / a).asinh())).clamp(1e-9, 1e3);
    }
    let (from, to) = (-(left / a).asinh(), (right / a).asinh());
    (0..points)
        .map(|i| centre + a * (from + (to - from) * i as f64 / steps).sinh())
        .collect()
}

/// The largest of some logarithms; −∞ of none.
pub(super) fn largest(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::NEG_INFINITY, f64::max)
}

/// The share of the axis that belongs to each point (trapezoid rule).
pub(super) fn widths(xs: &[f64]) -> Vec<f64> {
    let mut widths = vec![0.0; xs.len()];
    for (i, pair) in xs.windows(2).enumerate() {
        if let [a, b] = *pair {
            for width in widths.iter_mut().skip(i).take(2) {
                *width += (b - a) / 2.0;
            }
        }
    }
    widths
}

/// The distribution of ln(rate) over points.
#[derive(Clone, Debug)]
pub(super) struct Marginal {
    xs: Vec<f64>,
    /// Cumulative chance at each point, 0 to 1.
    below: Vec<f64>,
    /// Density at each point; taken as linear in between.
    density: Vec<f64>,
}

impl Marginal {
    /// Sums cells over the rows; none when they hold no chance at all.
    pub(super) fn new(xs: &[f64], cells: &[f64]) -> Option<Self> {
        let best = largest(cells);
        let mut density = vec![0.0; xs.len()];
        for row in cells.chunks(xs.len().max(1)) {
            for (sum, ln) in density.iter_mut().zip(row) {
                *sum += (ln - best).exp();
            }
        }
        let mut below = Vec::with_capacity(xs.len());
        let mut sum = 0.0;
        let mut previous = None;
        for (x, height) in xs.iter().zip(&density) {
            if let Some((x_before, height_before)) = previous {
                sum += (x - x_before) * f64::midpoint(height_before, *height);
            }
            previous = Some((*x, *height));
            below.push(sum);
        }
        if !(sum > 0.0 && sum.is_finite()) {
            return None;
        }
        for chance in &mut below {
            *chance /= sum;
        }
        for height in &mut density {
            *height /= sum;
        }
        Some(Self {
            xs: xs.to_vec(),
            below,
            density,
        })
    }

    /// The step that starts at a point: where, how long, the chance below, the density, its slope.
    fn step(&self, index: usize) -> Option<(f64, f64, f64, f64, f64)> {
        let (x, next) = (*self.xs.get(index)?, *self.xs.get(index + 1)?);
        let (here, there) = (*self.density.get(index)?, *self.density.get(index + 1)?);
        let length = next - x;
        let below = *self.below.get(index)?;
        Some((x, length, below, here, (there - here) / length))
    }

    pub(super) fn quantile(&self, p: f64) -> f64 {
        let p = if p.is_nan() { 0.5 } else { p.clamp(0.0, 1.0) };
        let after = self.below.partition_point(|chance| *chance < p);
        let Some((x, length, below, here, slope)) = self.step(after.saturating_sub(1)) else {
            return self.xs.last().copied().unwrap_or(f64::NAN);
        };
        // below + here t + slope t²/2 = p, solved in a form that is steady when the slope is none.
        let wanted = (p - below).max(0.0);
        let root = (here * here + 2.0 * slope * wanted).max(0.0).sqrt();
        let t = if here + root > 0.0 {
            2.0 * wanted / (here + root)
        } else {
            0.0
        };
        x + t.clamp(0.0, length)
    }

    pub(super) fn chance_below(&self, x: f64) -> f64 {
        let after = self.xs.partition_point(|point| *point <= x);
        let Some(index) = after.checked_sub(1) else {
            return 0.0;
        };
        let Some((start, _, below, here, slope)) = self.step(index) else {
            return 1.0;
        };
        let t = x - start;
        (below + here * t + slope * t * t / 2.0).clamp(0.0, 1.0)
    }
}
