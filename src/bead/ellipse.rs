//! The ellipse that explains a portrait: where the bead ends, however it is lit, and how far it was
//! smeared while the shutter was open. What that makes of size and kind is judged elsewhere.
//!
//! A ball seen from afar is an ellipse. Inside it the difference from rest may be anything smooth:
//! dark, bright, half and half, shaded to nothing on the side away from the lamp. Outside it is
//! nothing. So the ellipse is sought, smeared along the way of the bead, outside which least
//! remains unexplained and inside which a few smooth shapes explain the most.

use ndarray::Array2;

use crate::bead::portrait::{Extent, FAINT_SHARE, Portrait};

/// Smooth shapes inside the ellipse, in the coordinates of a ball: flat, towards the camera, across,
/// along, their products, and the rim that mirrors its surroundings.
const SHAPES: usize = 10;
/// One more: the picture at rest, which the bead hides.
const MOST_SHAPES: usize = SHAPES + 1;
/// Numbers that are sought: middle row and column, logarithm of the half height, logarithm of width
/// over height, smear.
const SOUGHT: usize = 5;
/// Spread of the picture of a point, samples: the pixel itself, laying samples between samples, and
/// a lens in focus.
const POINT_SPREAD: f64 = 0.5;
/// Error of the smooth shapes, as a share of the difference itself.
const SHAPE_ERROR: f64 = 0.04;
/// Error of place, samples: sharp glints and edges are not smooth.
const PLACE_ERROR: f64 = 0.15;
/// Least error, as a share of the strongest difference.
const LEAST_ERROR: f64 = 0.004;
/// Neighbouring samples err alike: so many count as one.
const ALIKE: f64 = 4.0;
/// Spread of the part of each smooth shape other than the usual one, as a share of the difference:
/// what is seen of a bead is mostly one shape, and the edge must not be explained away.
const OTHER_SHAPES: f64 = 0.2;
/// The same of the usual ones: as good as free.
const USUAL_SHAPES: f64 = 5.0;
/// The same of the picture at rest.
const REST_SHAPE: f64 = 1.0;
/// Usual share of the time between two frames during which the shutter is open, and its spread.
const OPEN: (f64, f64) = (0.4, 1.0);
/// Differences beyond so many times their error are glints and do not pull.
const GLINT: f64 = 3.0;
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
const STEPS: (usize, usize, usize) = (2, 4, 6);
/// So many of the starts are followed up.
const FEW: usize = 3;
/// Largest bead that is fitted sample by sample, samples: of a larger one several are averaged.
const LARGEST: f32 = 18.0;
/// Longest stretch of a smear that counts as one moment, samples.
const MOMENT: f64 = 0.8;
/// Most moments of a smear.
const MOST_MOMENTS: usize = 12;
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

/// The portrait, ready for fitting.
struct Field {
    rows: usize,
    cols: usize,
    levels: Vec<f64>,
    weights: Vec<f64>,
    rest: Option<Vec<f64>>,
    point_spread: f64,
    /// Spread of each shape's part, grey levels.
    parts: [f64; MOST_SHAPES],
}

/// A fit with given numbers.
struct Fit {
    sought: [f64; SOUGHT],
    /// Weighted errors of all samples, then those of what was expected.
    errors: Vec<f64>,
    cost: f64,
    /// How much of each sample the bead covers.
    cover: Vec<f64>,
}

/// Finds the ellipse. None when nothing stands out of the portrait's noise, or it cannot be told.
#[must_use]
pub fn ellipse(portrait: &Portrait, expected: &Expected) -> Option<Ellipse> {
    let extent = portrait.extent(FAINT_SHARE)?;
    let coarse = (extent.height.min(extent.width) / LARGEST).ceil().max(1.0) as usize;
    let mut field = Field::new(portrait, coarse);
    let scale = coarse as f64;
    let task = Task {
        shape: expected.width_by_height,
        most_smear: (expected.rows_per_frame / scale).max(0.0),
        largest: 0.6 * field.rows.max(field.cols) as f64,
    };
    let mut starts = starts(&extent, scale, &task, &STARTS);
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
        .min_by(|a, b| a.cost.total_cmp(&b.cost));
    let mut fit = best?;
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

/// What a search may not leave.
struct Task {
    shape: (f64, f64),
    most_smear: f64,
    largest: f64,
}

impl Field {
    fn new(portrait: &Portrait, coarse: usize) -> Self {
        let (all_rows, all_cols) = portrait.levels.dim();
        let (rows, cols) = (all_rows / coarse, all_cols / coarse);
        let mean = |of: &Array2<f32>, row: usize, col: usize| {
            let mut sum = 0.0;
            for r in row * coarse..(row + 1) * coarse {
                for c in col * coarse..(col + 1) * coarse {
                    sum += f64::from(of[[r, c]]);
                }
            }
            sum / (coarse * coarse) as f64
        };
        let taken = |of: &Array2<f32>| -> Vec<f64> {
            (0..rows * cols)
                .map(|at| mean(of, at / cols, at % cols))
                .collect()
        };
        let levels = taken(&portrait.levels);
        let seen = taken(&portrait.seen);
        let noise = f64::from(portrait.noise).max(0.1) / (coarse as f64).sqrt();
        let most = levels.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
        let error = noise.max(LEAST_ERROR * most);
        let at = |row: usize, col: usize| levels[row * cols + col];
        let weights = (0..rows * cols)
            .map(|k| {
                let (r, c) = (k / cols, k % cols);
                let slope = |a: f64, b: f64, apart: usize| (b - a) / apart.max(1) as f64;
                let (up, down) = (r.saturating_sub(1), (r + 1).min(rows - 1));
                let (left, right) = (c.saturating_sub(1), (c + 1).min(cols - 1));
                let along = slope(at(up, c), at(down, c), down - up);
                let across = slope(at(r, left), at(r, right), right - left);
                let variance = error * error
                    + (SHAPE_ERROR * at(r, c)).powi(2)
                    + PLACE_ERROR * PLACE_ERROR * (along * along + across * across);
                if seen[k] > 0.5 { 1.0 / variance } else { 0.0 }
            })
            .collect();
        // What stands out: how strong, and whether dark or bright.
        let marked: Vec<f64> = levels
            .iter()
            .copied()
            .filter(|v| v.abs() > (6.0 * noise).max(0.04 * most))
            .collect();
        let total: f64 = marked.iter().map(|v| v.abs()).sum();
        let sign = marked.iter().sum::<f64>() / total.max(1e-9);
        let mut strengths: Vec<f64> = marked.iter().map(|v| v.abs()).collect();
        strengths.sort_by(f64::total_cmp);
        let strong = strengths
            .get(strengths.len() * 4 / 5)
            .copied()
            .unwrap_or(most)
            .max(1e-3);
        let mut parts = [OTHER_SHAPES * strong; MOST_SHAPES];
        // A dark bead is as dark at its edge as within; a bright one is shaded towards its edge.
        if sign < 0.5 {
            parts[0] = USUAL_SHAPES * strong;
        }
        if sign > -0.5 {
            parts[1] = USUAL_SHAPES * strong;
        }
        parts[SHAPES] = REST_SHAPE * strong;
        Self {
            rows,
            cols,
            weights,
            rest: uneven(taken(&portrait.behind)),
            point_spread: point_spread(coarse as f64),
            parts,
            levels,
        }
    }

    /// Weighs samples anew: glints inside the bead do not pull, and errors are as large as they
    /// are. Returns that size.
    fn reweigh(&mut self, plain: &[f64], fit: &Fit) -> f64 {
        let count = self.levels.len();
        // The errors of the fit were weighted by the present weights.
        let mut off: Vec<f64> = fit
            .errors
            .iter()
            .take(count)
            .zip(&self.weights)
            .zip(plain)
            .map(|((error, weight), plain)| {
                if *weight > 0.0 {
                    (error.abs() * ALIKE.sqrt()) * (plain / weight).sqrt()
                } else {
                    0.0
                }
            })
            .collect();
        let used = plain.iter().filter(|w| **w > 0.0).count().max(1) as f64;
        let misfit = (off.iter().map(|z| (z * z).min(100.0)).sum::<f64>() / used).sqrt();
        let usual = {
            let mut sorted: Vec<f64> = off
                .iter()
                .zip(plain)
                .filter(|(_, w)| **w > 0.0)
                .map(|(z, _)| *z)
                .collect();
            sorted.sort_by(f64::total_cmp);
            sorted.get(sorted.len() / 2).copied().unwrap_or(1.0)
        };
        let cut = GLINT * (usual / GLINT * 3.0).max(1.0);
        for z in &mut off {
            *z /= cut;
        }
        let scale = misfit.max(1.0).powi(2);
        for (((weight, plain), z), cover) in
            self.weights.iter_mut().zip(plain).zip(&off).zip(&fit.cover)
        {
            let pull = if *z < 1.0 { 1.0 } else { 1.0 / (z * z) };
            *weight = plain * (1.0 - cover * (1.0 - pull)) / scale;
        }
        misfit
    }

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
                    let other = self.fit(moved, task);
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

    /// The smooth shapes that explain the portrait best inside a given ellipse.
    fn fit(&self, sought: [f64; SOUGHT], task: &Task) -> Fit {
        let count = self.rows * self.cols;
        let shapes = SHAPES + usize::from(self.rest.is_some());
        let mut values = vec![0.0; count * shapes];
        let mut cover = vec![0.0; count];
        self.shapes(sought, &mut values, &mut cover, shapes);
        let mut normal = [[0.0; MOST_SHAPES]; MOST_SHAPES];
        let mut right = [0.0; MOST_SHAPES];
        for (k, line) in values.chunks_exact(shapes).enumerate() {
            if cover[k] <= 0.0 {
                continue;
            }
            let (weight, level) = (self.weights[k], self.levels[k]);
            for i in 0..shapes {
                let weighted = weight * line[i];
                right[i] += weighted * level;
                for j in 0..=i {
                    normal[i][j] += weighted * line[j];
                }
            }
        }
        for (k, part) in self.parts.iter().enumerate().take(shapes) {
            normal[k][k] += ALIKE / (part * part);
        }
        let parts = solve(&mut normal, right, shapes);
        let alike = 1.0 / ALIKE.sqrt();
        let mut errors: Vec<f64> = values
            .chunks_exact(shapes)
            .enumerate()
            .map(|(k, line)| {
                let shown: f64 = if cover[k] > 0.0 {
                    line.iter().zip(&parts).map(|(a, b)| a * b).sum()
                } else {
                    0.0
                };
                (self.levels[k] - shown) * self.weights[k].sqrt() * alike
            })
            .collect();
        errors.push((sought[3] - task.shape.0) / task.shape.1);
        errors.push((sought[4] / task.most_smear.max(0.1) - OPEN.0) / OPEN.1);
        let cost = errors.iter().map(|e| e * e).sum();
        Fit {
            sought,
            errors,
            cost,
            cover,
        }
    }

    /// The value of each smooth shape in each sample, smeared, with a soft edge; and the cover.
    fn shapes(&self, sought: [f64; SOUGHT], values: &mut [f64], cover: &mut [f64], shapes: usize) {
        let [row, col, half, ratio, smear] = sought;
        let (high, wide) = (half.exp(), (half + ratio).exp());
        let moments = ((smear / MOMENT).ceil().max(1.0) as usize).min(MOST_MOMENTS);
        let share = 1.0 / moments as f64;
        // A smooth step of this width has the point's spread.
        let soft = 4.47 * self.point_spread;
        for moment in 0..moments {
            let middle = row + ((moment as f64 + 0.5) * share - 0.5) * smear;
            let reach = high + soft;
            let first = (middle - reach).floor().max(0.0) as usize;
            let last = ((middle + reach).ceil().max(0.0) as usize).min(self.rows.saturating_sub(1));
            for r in first..=last {
                let v = (r as f64 - middle) / high;
                for c in 0..self.cols {
                    let u = (c as f64 - col) / wide;
                    let out = (u * u + v * v).sqrt().max(1e-6);
                    // Distance from the edge, samples.
                    let slope = ((u / wide).powi(2) + (v / high).powi(2)).sqrt() / out;
                    let inside = (1.0 - out) / slope.max(1e-6);
                    let t = (inside / soft + 0.5).clamp(0.0, 1.0);
                    if t <= 0.0 {
                        continue;
                    }
                    let here = t * t * (3.0 - 2.0 * t) * share;
                    let within = (1.0 / out).min(1.0);
                    let (u, v) = (u * within, v * within);
                    let w = (1.0 - u * u - v * v).max(0.0).sqrt();
                    let k = r * self.cols + c;
                    cover[k] += here;
                    let ball = [
                        1.0,
                        w,
                        u,
                        v,
                        w * w,
                        u * w,
                        v * w,
                        u * u - v * v,
                        u * v,
                        (1.0 - w).powi(4),
                    ];
                    let line = &mut values[k * shapes..(k + 1) * shapes];
                    for (value, shape) in line.iter_mut().zip(ball) {
                        *value += here * shape;
                    }
                    if let (Some(rest), Some(value)) = (&self.rest, line.get_mut(SHAPES)) {
                        *value += here * rest[k];
                    }
                }
            }
        }
    }
}

/// The picture at rest about its middle in units of its own spread; none when it is even.
fn uneven(rest: Vec<f64>) -> Option<Vec<f64>> {
    /// Least spread, grey levels, that is worth a shape of its own.
    const LEAST: f64 = 3.0;
    let count = rest.len().max(1) as f64;
    let mean = rest.iter().sum::<f64>() / count;
    let spread = (rest.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count).sqrt();
    (spread > LEAST).then(|| rest.into_iter().map(|v| (v - mean) / spread).collect())
}

/// Spread of a point in samples of which each is the mean of `coarse` by `coarse`.
fn point_spread(coarse: f64) -> f64 {
    ((POINT_SPREAD / coarse).powi(2) + (1.0 - 1.0 / (coarse * coarse)) / 12.0).sqrt()
}

/// Solves a symmetric positive system of which the lower half is given (Cholesky).
fn solve(
    normal: &mut [[f64; MOST_SHAPES]; MOST_SHAPES],
    mut right: [f64; MOST_SHAPES],
    count: usize,
) -> [f64; MOST_SHAPES] {
    for i in 0..count {
        for j in 0..=i {
            let mut sum = normal[i][j];
            for k in 0..j {
                sum -= normal[i][k] * normal[j][k];
            }
            normal[i][j] = if i == j {
                sum.max(1e-12).sqrt()
            } else {
                sum / normal[j][j]
            };
        }
    }
    for i in 0..count {
        for k in 0..i {
            right[i] -= normal[i][k] * right[k];
        }
        right[i] /= normal[i][i];
    }
    for i in (0..count).rev() {
        for k in i + 1..count {
            right[i] -= normal[k][i] * right[k];
        }
        right[i] /= normal[i][i];
    }
    right
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
