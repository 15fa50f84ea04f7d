//! A portrait made ready for fitting, and what smooth shapes inside a given ellipse explain of it:
//! dark, bright, half and half, shaded to nothing on the side away from the lamp. Which ellipse
//! explains it best is sought elsewhere.

use std::cell::RefCell;

use ndarray::Array2;

use crate::bead::portrait::Portrait;

/// Smooth shapes inside the ellipse, in the coordinates of a ball: flat, towards the camera, across,
/// along, their products, and the rim that mirrors its surroundings.
const SHAPES: usize = 10;
/// One more: the picture at rest, which the bead hides; and one that is nothing, to make them even.
const MOST_SHAPES: usize = SHAPES + 2;
/// Numbers that are sought: middle row and column, logarithm of the half height, logarithm of width
/// over height, smear.
pub(super) const SOUGHT: usize = 5;
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
/// Spread of how far a bead reaches beyond what stands out on both sides, samples.
const BEYOND_SPREAD: f64 = 0.25;
/// Differences beyond so many times their error are glints and do not pull.
const GLINT: f64 = 3.0;
/// Longest stretch of a smear that counts as one moment, samples.
const MOMENT: f64 = 0.8;
/// Most moments of a smear.
const MOST_MOMENTS: usize = 12;

/// The portrait, ready for fitting.
pub(super) struct Field {
    pub(super) rows: usize,
    pub(super) cols: usize,
    pub(super) levels: Vec<f64>,
    pub(super) weights: Vec<f64>,
    rest: Option<Vec<f64>>,
    point_spread: f64,
    /// Spread of each shape's part, grey levels.
    parts: [f64; MOST_SHAPES],
    /// Weighted error of each sample that no bead explains.
    bare: Vec<f64>,
    /// Their squares, summed.
    bare_cost: f64,
    /// Room for the shapes of a fit, used again by the next.
    room: RefCell<Vec<[f64; MOST_SHAPES]>>,
}

/// The part of a field that a bead may cover: first row and column, and those behind the last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Window {
    rows: (usize, usize),
    cols: (usize, usize),
}

impl Window {
    fn width(&self) -> usize {
        self.cols.1 - self.cols.0
    }

    fn count(&self) -> usize {
        (self.rows.1 - self.rows.0) * self.width()
    }

    /// The samples of a field of so many columns in it, in order.
    fn samples(&self, cols: usize) -> impl Iterator<Item = usize> {
        let (first, last) = self.cols;
        (self.rows.0..self.rows.1).flat_map(move |r| r * cols + first..r * cols + last)
    }
}

/// A fit with given numbers.
pub(super) struct Fit {
    pub(super) sought: [f64; SOUGHT],
    /// Where it was fitted. Elsewhere it leaves everything unexplained.
    pub(super) window: Window,
    /// Weighted errors of the samples there, then those of what was expected.
    pub(super) errors: Vec<f64>,
    /// Sum of the squares of all errors, elsewhere too.
    pub(super) cost: f64,
    /// How much of each sample there the bead covers.
    cover: Vec<f64>,
}

/// What a search may not leave.
pub(super) struct Task {
    pub(super) shape: (f64, f64),
    pub(super) most_smear: f64,
    pub(super) largest: f64,
    /// First and last column of what stands out.
    pub(super) sides: (f64, f64),
}

impl Task {
    /// How far an ellipse reaches beyond what stands out on both sides, samples. A lamp from one
    /// side leaves the other side dark, but no light hides both.
    fn beyond(&self, sought: &[f64; SOUGHT]) -> f64 {
        let [_, col, half, ratio, _] = *sought;
        let wide = (half + ratio).exp();
        let (left, right) = (self.sides.0 - (col - wide), col + wide - self.sides.1);
        left.min(right).max(0.0)
    }
}

impl Field {
    pub(super) fn new(portrait: &Portrait, coarse: usize) -> Self {
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
        let mut field = Self {
            rows,
            cols,
            weights,
            rest: uneven(taken(&portrait.behind)),
            point_spread: point_spread(coarse as f64),
            parts,
            levels,
            bare: Vec::new(),
            bare_cost: 0.0,
            room: RefCell::default(),
        };
        field.lay_bare();
        field
    }

    /// Works out what is left where no bead explains anything.
    fn lay_bare(&mut self) {
        let alike = 1.0 / ALIKE.sqrt();
        let samples = self.levels.iter().zip(&self.weights);
        self.bare.clear();
        self.bare
            .extend(samples.map(|(level, weight)| level * weight.sqrt() * alike));
        self.bare_cost = self.bare.iter().map(|e| e * e).sum();
    }

    /// Where an ellipse, moved a little, may cover anything.
    fn window(&self, sought: &[f64; SOUGHT]) -> Window {
        /// Beyond its soft edge, samples: slopes are told by moving it less than that.
        const BESIDE: f64 = 1.0;
        let [row, col, half, ratio, smear] = *sought;
        let beside = self.soft() + BESIDE;
        let part = |middle: f64, reach: f64, of: usize| {
            let first = ((middle - reach).floor().max(0.0) as usize).min(of);
            let last = ((middle + reach).ceil().max(-1.0) + 1.0) as usize;
            (first, last.clamp(first, of))
        };
        // A hundredth more in both logarithms is tried, too.
        let (high, wide) = ((half + 0.01).exp(), (half + ratio + 0.02).exp());
        Window {
            rows: part(row, high + smear / 2.0 + beside, self.rows),
            cols: part(col, wide + beside, self.cols),
        }
    }

    /// Width of the smooth step that has a point's spread, samples.
    fn soft(&self) -> f64 {
        4.47 * self.point_spread
    }

    /// Weighs samples anew: glints inside the bead do not pull, and errors are as large as they
    /// are. Returns that size.
    pub(super) fn reweigh(&mut self, plain: &[f64], fit: &Fit) -> f64 {
        // The errors of the fit were weighted by the present weights.
        let mut errors = self.bare.clone();
        let mut cover = vec![0.0; self.levels.len()];
        let there = fit.window.samples(self.cols);
        for ((k, error), covered) in there.zip(&fit.errors).zip(&fit.cover) {
            errors[k] = *error;
            cover[k] = *covered;
        }
        let mut off: Vec<f64> = errors
            .iter()
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
            self.weights.iter_mut().zip(plain).zip(&off).zip(&cover)
        {
            let pull = if *z < 1.0 { 1.0 } else { 1.0 / (z * z) };
            *weight = plain * (1.0 - cover * (1.0 - pull)) / scale;
        }
        self.lay_bare();
        misfit
    }

    /// The smooth shapes that explain the portrait best inside a given ellipse.
    pub(super) fn fit(&self, sought: [f64; SOUGHT], task: &Task) -> Fit {
        self.fit_in(self.window(&sought), sought, task)
    }

    /// The same in a window that holds the ellipse.
    pub(super) fn fit_in(&self, window: Window, sought: [f64; SOUGHT], task: &Task) -> Fit {
        let shapes = SHAPES + usize::from(self.rest.is_some());
        let count = window.count();
        let mut room = self.room.take();
        room.resize(room.len().max(count), [0.0; MOST_SHAPES]);
        let values = room.get_mut(..count).unwrap_or(&mut []);
        let mut cover = vec![0.0; count];
        self.shapes(sought, &window, values, &mut cover);
        let mut normal = [[0.0; MOST_SHAPES]; MOST_SHAPES];
        let mut right = [0.0; MOST_SHAPES];
        let lines = values.iter().zip(&cover).zip(window.samples(self.cols));
        for ((line, _), k) in lines.filter(|((_, cover), _)| **cover > 0.0) {
            let (weight, level) = (self.weights[k], self.levels[k]);
            // The upper half is summed, too: whole rows go faster than parts of them.
            for ((sums, right), value) in normal.iter_mut().zip(&mut right).zip(line) {
                let weighted = weight * value;
                *right += weighted * level;
                for (sum, other) in sums.iter_mut().zip(line) {
                    *sum += weighted * other;
                }
            }
        }
        for (k, part) in self.parts.iter().enumerate().take(shapes) {
            normal[k][k] += ALIKE / (part * part);
        }
        let parts = solve(&mut normal, right, shapes);
        let alike = 1.0 / ALIKE.sqrt();
        let mut bare_cost = 0.0;
        let mut errors = Vec::with_capacity(window.count() + 3);
        let lines = values.iter().zip(&cover).zip(window.samples(self.cols));
        errors.extend(lines.map(|((line, cover), k)| {
            let bare = self.bare[k];
            bare_cost += bare * bare;
            if *cover > 0.0 {
                let shown: f64 = line.iter().zip(&parts).map(|(a, b)| a * b).sum();
                bare - shown * self.weights[k].sqrt() * alike
            } else {
                bare
            }
        }));
        self.room.replace(room);
        errors.push((sought[3] - task.shape.0) / task.shape.1);
        errors.push((sought[4] / task.most_smear.max(0.1) - OPEN.0) / OPEN.1);
        errors.push(task.beyond(&sought) / BEYOND_SPREAD);
        let here: f64 = errors.iter().map(|e| e * e).sum();
        Fit {
            sought,
            window,
            errors,
            cost: here + (self.bare_cost - bare_cost).max(0.0),
            cover,
        }
    }

    /// The value of each smooth shape in each sample of a window, smeared, with a soft edge; and the
    /// cover, which must be nought before. Where it stays so the values are those of before.
    fn shapes(
        &self,
        sought: [f64; SOUGHT],
        window: &Window,
        values: &mut [[f64; MOST_SHAPES]],
        cover: &mut [f64],
    ) {
        let [row, col, half, ratio, smear] = sought;
        let (high, wide) = (half.exp(), (half + ratio).exp());
        let moments = ((smear / MOMENT).ceil().max(1.0) as usize).min(MOST_MOMENTS);
        let share = 1.0 / moments as f64;
        let soft = self.soft();
        let per_wide = 1.0 / (wide * wide);
        let per_high = 1.0 / (high * high);
        for moment in 0..moments {
            let middle = row + ((moment as f64 + 0.5) * share - 0.5) * smear;
            let reach = high + soft;
            let first = ((middle - reach).floor().max(0.0) as usize).max(window.rows.0);
            let last = ((middle + reach).ceil().max(-1.0) + 1.0) as usize;
            for r in first..last.min(window.rows.1) {
                let v = (r as f64 - middle) / high;
                let from = (r - window.rows.0) * window.width();
                for (at, c) in (from..).zip(window.cols.0..window.cols.1) {
                    let u = (c as f64 - col) / wide;
                    let out = (u * u + v * v).sqrt().max(1e-6);
                    // Distance from the edge, samples.
                    let slope = (u * u * per_wide + v * v * per_high).sqrt() / out;
                    let inside = (1.0 - out) / slope.max(1e-6);
                    let t = (inside / soft + 0.5).clamp(0.0, 1.0);
                    if t <= 0.0 {
                        continue;
                    }
                    let here = t * t * (3.0 - 2.0 * t) * share;
                    let within = (1.0 / out).min(1.0);
                    let (u, v) = (u * within, v * within);
                    let w = (1.0 - u * u - v * v).max(0.0).sqrt();
                    if cover[at] == 0.0 {
                        values[at] = [0.0; MOST_SHAPES];
                    }
                    cover[at] += here;
                    let behind = self.rest.as_ref().map(|rest| rest[r * self.cols + c]);
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
                        behind.unwrap_or(0.0),
                        0.0,
                    ];
                    for (value, shape) in values[at].iter_mut().zip(ball) {
                        *value += here * shape;
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
            let (upper, lower) = (normal[i], normal[j]);
            let done: f64 = upper.iter().zip(&lower).take(j).map(|(a, b)| a * b).sum();
            let sum = upper[j] - done;
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
