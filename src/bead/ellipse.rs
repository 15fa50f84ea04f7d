//! The ellipse that explains a portrait: where the bead ends, however it is lit, and how far it was
//! smeared while the shutter was open. What that makes of size and kind is judged elsewhere.
//!
//! A ball seen from afar is an ellipse. Inside it the difference from rest may be anything smooth:
//! dark, bright, half and half, shaded to nothing on the side away from the lamp. Outside it is
//! nothing. So the ellipse is sought, smeared along the way of the bead, outside which least
//! remains unexplained and inside which a few smooth shapes explain the most.

use crate::bead::field::{Field, Fit, SOUGHT, Task};
use crate::bead::portrait::{Extent, FAINT_SHARE, Portrait};

/// Where the search starts, against what stands out: size, and middle across and along in its
/// widths and heights. The whole may be larger: the side away from the lamp, or the half of a bead
/// that is as bright as what is behind it, is faint.
const STARTS: [(f64, f64, f64); 8] = [
    (0.75, 0.0, 0.0),
    (1.0, 0.0, 0.0),
    (1.3, 0.0, 0.0),
    (1.7, 0.0, 0.0),
    (1.6, -0.4, 0.0),
    (1.6, 0.4, 0.0),
    (1.3, 0.0, 0.25),
    (1.3, 0.0, -0.25),
];
/// The same for what reaches farther when faint things are counted in.
const WHOLE_STARTS: [(f64, f64, f64); 2] = [(0.9, 0.0, 0.0), (1.1, 0.0, 0.0)];
/// How faint those may be, as a share of the strongest difference.
const FAINTER_SHARE: f32 = 0.012;
/// How much farther it must reach to be worth a search.
const LARGER: f32 = 1.12;
/// Steps from each start, from the best few, and afterwards from the best one.
const STEPS: (usize, usize, usize) = (2, 3, 6);
/// So many of the starts are followed up.
const FEW: usize = 2;
/// Largest bead that is fitted sample by sample, samples: of a larger one several are averaged.
const LARGEST: f32 = 18.0;
/// Largest bead of the first search, from all starts, samples: it need not be exact.
const LARGEST_AT_FIRST: f32 = 9.0;
/// Farthest of the logarithm of width over height from what is expected.
const FARTHEST_SHAPE: f64 = 0.35;

/// What is known of a bead before it is measured.
#[derive(Clone, Copy, Debug)]
pub struct Expected {
    /// Natural logarithm of width over height as seen, and its spread.
    pub width_by_height: (f64, f64),
    /// Rows that it moves from frame to frame: it cannot be smeared farther, samples.
    pub rows_per_frame: f64,
}

/// The ellipse found, in samples of the portrait.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ellipse {
    /// Middle along the axis, row.
    pub row: f64,
    /// Middle across, column.
    pub col: f64,
    /// Height.
    pub height: f64,
    /// Width.
    pub width: f64,
    /// How far it was smeared along the axis.
    pub smear: f64,
    /// Spread of the height, as a share.
    pub height_spread: f64,
    /// Spread of the width, as a share.
    pub width_spread: f64,
    /// Correlation of the two, −1 to 1.
    pub together: f64,
    /// What remains unexplained, in errors expected (rms): about 1 is well explained.
    pub misfit: f64,
}

impl Ellipse {
    /// How far it reaches in its portrait, smeared as it is.
    #[must_use]
    pub fn extent(&self) -> Extent {
        Extent {
            row: self.row as f32,
            col: self.col as f32,
            height: (self.height + self.smear) as f32,
            width: self.width as f32,
        }
    }

    /// How much its core (to half its radius) differs from the picture at rest, against its rim
    /// (from 0.7 to 0.95 of its radius): core ÷ (core + rim), 0 to 1. Gas in water throws all light
    /// back beyond 0.75 of its radius (sine of the angle of incidence above 1 ÷ 1.333). None when
    /// it is too small or too smeared to tell them apart.
    #[must_use]
    pub fn core_share(&self, portrait: &Portrait) -> Option<f64> {
        /// Least half height, samples.
        const LEAST_HALF: f64 = 4.0;
        /// Most smear, in half heights.
        const MOST_SMEAR: f64 = 0.7;
        let (high, wide) = (self.height / 2.0, self.width / 2.0);
        if high < LEAST_HALF || self.smear > MOST_SMEAR * high {
            return None;
        }
        let (mut core, mut rim) = ((0.0_f64, 0.0_f64), (0.0_f64, 0.0_f64));
        for ((r, c), level) in portrait.levels.indexed_iter() {
            let out = ((r as f64 - self.row) / high).hypot((c as f64 - self.col) / wide);
            let part = if out < 0.5 {
                &mut core
            } else if (0.7..0.95).contains(&out) {
                &mut rim
            } else {
                continue;
            };
            part.0 += f64::from(level.abs());
            part.1 += 1.0;
        }
        let (core, rim) = (core.0 / core.1.max(1.0), rim.0 / rim.1.max(1.0));
        (core + rim > 0.0).then(|| core / (core + rim))
    }
}

/// Finds the ellipse. None when nothing stands out of the portrait's noise, or it cannot be told.
#[must_use]
pub fn ellipse(portrait: &Portrait, expected: &Expected) -> Option<Ellipse> {
    let extent = portrait.extent(FAINT_SHARE)?;
    let coarse = |largest: f32| {
        let size = extent.height.min(extent.width);
        (size / largest).ceil().max(1.0) as usize
    };
    let first = searched(portrait, expected, &extent, coarse(LARGEST_AT_FIRST))?;
    let (mut field, task) = prepared(portrait, expected, &extent, coarse(LARGEST));
    let scale = coarse(LARGEST) as f64;
    let [row, col, half, ratio, smear] = first;
    let start = [
        (row + 0.5) / scale - 0.5,
        (col + 0.5) / scale - 0.5,
        half - scale.ln(),
        ratio,
        smear / scale,
    ];
    let best = field.seek(start, STEPS.1, &task).0;
    let mut fit = best;
    let plain = field.weights.clone();
    let mut spread = [[0.0; SOUGHT]; SOUGHT];
    let mut misfit = 1.0;
    for _ in 0..2 {
        misfit = field.reweigh(&plain, &fit);
        let (next, covariance) = field.seek(fit.sought, STEPS.2, &task);
        fit = next;
        spread = covariance?;
    }
    let [row, col, half, ratio, smear] = fit.sought;
    let spread_of = |variance: f64| variance.max(0.0).sqrt();
    let height_variance = spread[2][2];
    let width_variance = spread[2][2] + 2.0 * spread[2][3] + spread[3][3];
    let both = spread[2][2] + spread[2][3];
    let together = both / (height_variance * width_variance).max(1e-18).sqrt();
    let found = Ellipse {
        row: (row + 0.5) * scale - 0.5,
        col: (col + 0.5) * scale - 0.5,
        height: 2.0 * half.exp() * scale,
        width: 2.0 * (half + ratio).exp() * scale,
        smear: smear * scale,
        height_spread: spread_of(height_variance),
        width_spread: spread_of(width_variance),
        together: together.clamp(-0.99, 0.99),
        misfit,
    };
    (found.height.is_finite() && found.width.is_finite()).then_some(found)
}

/// The best of all starts, roughly, in samples of the portrait.
fn searched(
    portrait: &Portrait,
    expected: &Expected,
    extent: &Extent,
    coarse: usize,
) -> Option<[f64; SOUGHT]> {
    let (field, task) = prepared(portrait, expected, extent, coarse);
    let scale = coarse as f64;
    let mut starts = starts(extent, scale, &task, &STARTS);
    // Half of a bead may be nearly as bright as what is behind it.
    if let Some(whole) = portrait.extent(FAINTER_SHARE)
        && whole.width.max(whole.height) > LARGER * extent.width.max(extent.height)
    {
        starts.extend(self::starts(&whole, scale, &task, &WHOLE_STARTS));
    }
    let mut fits: Vec<Fit> = starts
        .into_iter()
        .map(|start| field.seek(start, STEPS.0, &task).0)
        .collect();
    fits.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    fits.truncate(FEW);
    let best = fits
        .into_iter()
        .map(|fit| field.seek(fit.sought, STEPS.1, &task).0)
        .min_by(|a, b| a.cost.total_cmp(&b.cost))?;
    let [row, col, half, ratio, smear] = best.sought;
    Some([
        (row + 0.5) * scale - 0.5,
        (col + 0.5) * scale - 0.5,
        half + scale.ln(),
        ratio,
        smear * scale,
    ])
}

/// The portrait in samples of which each is the mean of `coarse` by `coarse`, and the task in them.
fn prepared(
    portrait: &Portrait,
    expected: &Expected,
    extent: &Extent,
    coarse: usize,
) -> (Field, Task) {
    let scale = coarse as f64;
    let field = Field::new(portrait, coarse);
    let reach = f64::from(extent.width) / 2.0;
    let middle = f64::from(extent.col);
    let at = |at: f64| (at + 0.5) / scale - 0.5;
    let task = Task {
        shape: expected.width_by_height,
        most_smear: (expected.rows_per_frame / scale).max(0.0),
        largest: 0.6 * field.rows.max(field.cols) as f64,
        sides: (at(middle - reach), at(middle + reach)),
    };
    (field, task)
}

/// Where the search starts for something that reaches so far.
fn starts(
    extent: &Extent,
    scale: f64,
    task: &Task,
    from: &[(f64, f64, f64)],
) -> Vec<[f64; SOUGHT]> {
    let height = f64::from(extent.height) / scale;
    let width = f64::from(extent.width) / scale - 0.8;
    let half = width.max(3.0) / 2.0 / task.shape.0.exp();
    let half = half.min(height / 2.0).max(1.2);
    let middle = |at: f32| (f64::from(at) + 0.5) / scale - 0.5;
    from.iter()
        .map(|(times, across, along)| {
            let half = half * times;
            let smear = height - 1.0 - 2.0 * half;
            let smear = smear.clamp(0.1 * task.most_smear, 0.9 * task.most_smear);
            [
                middle(extent.row) + along * (height - smear),
                middle(extent.col) + across * width,
                half.ln(),
                task.shape.0,
                smear,
            ]
        })
        .collect()
}

impl Field {
    /// Least squares from a start; the covariance of the numbers found, if it could be told.
    fn seek(
        &self,
        start: [f64; SOUGHT],
        steps: usize,
        task: &Task,
    ) -> (Fit, Option<[[f64; SOUGHT]; SOUGHT]>) {
        /// Small changes by which slopes are told.
        const SMALL: [f64; SOUGHT] = [0.05, 0.05, 0.01, 0.01, 0.1];
        /// Largest step of one round.
        const LARGE: [f64; SOUGHT] = [1.5, 1.5, 0.2, 0.1, 2.0];
        let mut fit = self.fit(start, task);
        let mut covariance = None;
        let mut damping = 1e-2;
        for _ in 0..steps {
            let slopes: Vec<Vec<f64>> = (0..SOUGHT)
                .map(|k| {
                    let mut moved = fit.sought;
                    moved[k] += SMALL[k];
                    let other = self.fit_in(fit.window, moved, task);
                    other
                        .errors
                        .iter()
                        .zip(&fit.errors)
                        .map(|(a, b)| (a - b) / SMALL[k])
                        .collect()
                })
                .collect();
            let mut normal = [[0.0; SOUGHT]; SOUGHT];
            let mut right = [0.0; SOUGHT];
            for i in 0..SOUGHT {
                for j in 0..=i {
                    let sum: f64 = slopes[i].iter().zip(&slopes[j]).map(|(a, b)| a * b).sum();
                    normal[i][j] = sum;
                    normal[j][i] = sum;
                }
                right[i] = -slopes[i]
                    .iter()
                    .zip(&fit.errors)
                    .map(|(a, b)| a * b)
                    .sum::<f64>();
            }
            covariance = inverse(&normal);
            let mut better = None;
            for _ in 0..4 {
                let mut damped = normal;
                for (k, line) in damped.iter_mut().enumerate() {
                    line[k] += damping * (line[k] + 1e-6);
                }
                let Some(whole) = inverse(&damped) else { break };
                let mut moved = fit.sought;
                for (k, line) in whole.iter().enumerate() {
                    let step: f64 = line.iter().zip(&right).map(|(a, b)| a * b).sum();
                    moved[k] += step.clamp(-LARGE[k], LARGE[k]);
                }
                moved[2] = moved[2].clamp(1.2_f64.ln(), task.largest.max(2.0).ln());
                moved[3] =
                    moved[3].clamp(task.shape.0 - FARTHEST_SHAPE, task.shape.0 + FARTHEST_SHAPE);
                moved[4] = moved[4].clamp(0.0, task.most_smear);
                let next = self.fit(moved, task);
                if next.cost < fit.cost {
                    better = Some(next);
                    break;
                }
                damping *= 5.0;
            }
            let Some(next) = better else { break };
            let little = fit.cost - next.cost < 1e-3 * fit.cost;
            fit = next;
            damping = (damping / 5.0).max(1e-4);
            if little {
                break;
            }
        }
        (fit, covariance)
    }
}

/// Inverse by elimination with pivoting; none when singular.
fn inverse(matrix: &[[f64; SOUGHT]; SOUGHT]) -> Option<[[f64; SOUGHT]; SOUGHT]> {
    let mut a = *matrix;
    let mut whole = [[0.0; SOUGHT]; SOUGHT];
    for (k, line) in whole.iter_mut().enumerate() {
        line[k] = 1.0;
    }
    for col in 0..SOUGHT {
        let pivot = (col..SOUGHT).max_by(|&i, &j| a[i][col].abs().total_cmp(&a[j][col].abs()))?;
        if a[pivot][col].abs() < 1e-12 {
            return None;
        }
        a.swap(col, pivot);
        whole.swap(col, pivot);
        let lead = a[col][col];
        for k in 0..SOUGHT {
            a[col][k] /= lead;
            whole[col][k] /= lead;
        }
        for row in 0..SOUGHT {
            if row == col {
                continue;
            }
            let times = a[row][col];
            for k in 0..SOUGHT {
                a[row][k] -= times * a[col][k];
                whole[row][k] -= times * whole[col][k];
            }
        }
    }
    Some(whole)
}
