//! The pieces of frames that a portrait is laid of, and how they are laid upon each other: moved until
//! the bead lies on itself, averaged, and evened along their rows. Where they are cut out is left to
//! the portrait.

use ndarray::Array2;

use crate::bead::lanes::LIGHT_BASE;
use crate::bead::steady::median;

/// A piece of one frame round the bead, less what stands still there. Not a number outside the
/// glass.
pub(super) struct Piece {
    pub(super) levels: Array2<f32>,
    /// Row and column in the glass of its first sample.
    pub(super) from: (f32, f32),
    /// Where the bead is taken to be in the glass.
    pub(super) place: (f32, f32),
}

impl Piece {
    /// A row of the piece as it lies on the bead, `down` samples below it, between samples: `line` is
    /// as wide as a portrait, with the bead in its middle. Not a number outside the glass.
    fn row(&self, down: f32, line: &mut [f32]) {
        line.fill(f32::NAN);
        let half = (line.len() / 2) as f32;
        let (row, col) = (
            self.place.0 + down - self.from.0,
            self.place.1 - half - self.from.1,
        );
        if row < 0.0 {
            return;
        }
        let (r, c) = (row as usize, col.floor());
        let (fr, fc) = (row - r as f32, col - c);
        let cols = self.levels.ncols();
        let levels = self.levels.as_slice().unwrap_or(&[]);
        let Some(two) = levels.get(r * cols..(r + 2) * cols) else {
            return;
        };
        let (upper, lower) = two.split_at(cols);
        // The first sample of the line that has one to its left.
        let skipped = (-c).max(0.0) as usize;
        let from = (c.max(0.0) as usize).min(cols);
        let (Some(line), Some(upper), Some(lower)) = (
            line.get_mut(skipped..),
            upper.get(from..),
            lower.get(from..),
        ) else {
            return;
        };
        let next = |of: &'_ [f32]| -> usize { of.len().min(1) };
        let above = upper.iter().zip(&upper[next(upper)..]);
        let below = lower.iter().zip(&lower[next(lower)..]);
        for (value, ((a, b), (c, d))) in line.iter_mut().zip(above.zip(below)) {
            let (upper, lower) = (a + (b - a) * fc, c + (d - c) * fc);
            *value = upper + (lower - upper) * fr;
        }
    }

    /// How far (rows, columns) this bead lies from the mean: one step of least squares on the
    /// slopes of the mean. None where there is no slope to tell by.
    pub(super) fn off(&self, mean: &Array2<f32>, line: &mut Vec<f32>) -> Option<(f32, f32)> {
        let (rows, cols) = mean.dim();
        let half_rows = (rows / 2) as f32;
        let all = mean.as_slice()?;
        line.resize(cols, 0.0);
        let (mut rr, mut rc, mut cc) = (0.0_f32, 0.0_f32, 0.0_f32);
        let (mut re, mut ce) = (0.0_f32, 0.0_f32);
        for r in 1..rows.saturating_sub(1) {
            self.row(r as f32 - half_rows, line);
            let three = all.get((r - 1) * cols..(r + 2) * cols)?;
            let (above, here) = three.split_at(cols);
            let (here, below) = here.split_at(cols);
            for c in 1..cols.saturating_sub(1) {
                let error = here[c] - line[c];
                if !error.is_finite() {
                    continue;
                }
                let down = (below[c] - above[c]) / 2.0;
                let over = (here[c + 1] - here[c - 1]) / 2.0;
                rr += down * down;
                rc += down * over;
                cc += over * over;
                re += down * error;
                ce += over * error;
            }
        }
        let whole = rr * cc - rc * rc;
        if whole <= 1e-3 * (rr * cc).max(1.0) {
            return None;
        }
        // level(x) ≈ mean(x − d): the bead lies d further on, so its place follows by d.
        let down = (cc * re - rc * ce) / whole;
        let over = (rr * ce - rc * re) / whole;
        Some((down.clamp(-1.5, 1.5), over.clamp(-1.5, 1.5)))
    }
}

/// Mean of the pieces laid upon each other, and on what share of them each sample rests.
pub(super) fn laid(pieces: &[Piece], shape: (usize, usize)) -> (Array2<f32>, Array2<f32>) {
    let mut sum = Array2::zeros(shape);
    let mut seen = Array2::zeros(shape);
    let half_rows = (shape.0 / 2) as f32;
    let mut line = vec![0.0; shape.1];
    let cols = shape.1.max(1);
    for piece in pieces {
        let sums = sum.as_slice_mut().unwrap_or(&mut []).chunks_exact_mut(cols);
        let shares = seen
            .as_slice_mut()
            .unwrap_or(&mut [])
            .chunks_exact_mut(cols);
        for (r, (sum, seen)) in sums.zip(shares).enumerate() {
            piece.row(r as f32 - half_rows, &mut line);
            for ((sum, seen), level) in sum.iter_mut().zip(seen).zip(&line) {
                let is_seen = level.is_finite();
                *sum += if is_seen { *level } else { 0.0 };
                *seen += if is_seen { 1.0 } else { 0.0 };
            }
        }
    }
    for (value, seen) in sum.iter_mut().zip(&mut seen) {
        if *seen > 0.0 {
            *value /= *seen;
        }
        *seen /= pieces.len().max(1) as f32;
    }
    (sum, seen)
}

/// Takes out what lies on whole rows. The light of each row was evened by its mean, so a dark bead of
/// `width` samples made the rest of its rows a little brighter, and itself less dark.
pub(super) fn even_rows(
    levels: &mut Array2<f32>,
    (behind, seen): (&Array2<f32>, &Array2<f32>),
    width: f32,
) {
    /// Samples at each side of the bead that are left out.
    const CLEAR: f32 = 2.0;
    /// Fewest samples that tell of a row.
    const FEWEST: usize = 6;
    let half = (levels.ncols() / 2) as f32;
    let beside = |col: usize| (col as f32 - half).abs() > width / 2.0 + CLEAR;
    let rows = levels.rows_mut().into_iter().zip(behind.rows());
    for ((mut levels, behind), seen) in rows.zip(seen.rows()) {
        let lines = levels.iter().zip(behind).zip(seen).enumerate();
        let mut gains: Vec<f32> = lines
            .filter(|(col, (_, seen))| beside(*col) && **seen > 0.5)
            .map(|(_, ((level, behind), _))| 1.0 + level / (behind + LIGHT_BASE))
            .collect();
        if gains.len() < FEWEST {
            continue;
        }
        let gain = median(&mut gains).max(0.1);
        for ((level, behind), seen) in levels.iter_mut().zip(behind).zip(seen) {
            if *seen > 0.0 {
                let base = behind + LIGHT_BASE;
                *level = (*level + base) / gain - base;
            }
        }
    }
}

/// Spread of one sample of the mean: from the border of the portrait, where there is no bead.
pub(super) fn noise(pieces: &[Piece], shape: (usize, usize)) -> f32 {
    /// Width of that border, samples.
    const BORDER: usize = 2;
    /// Least spread of one frame's sample, grey levels: quantising alone.
    const LEAST: f32 = 0.2;
    /// From the median of magnitudes to a spread, for unit normal noise.
    const TO_SPREAD: f32 = 1.4826;
    let half_rows = (shape.0 / 2) as f32;
    let mut off = Vec::new();
    let mut line = vec![0.0; shape.1];
    for piece in pieces {
        for r in 0..shape.0 {
            piece.row(r as f32 - half_rows, &mut line);
            let is_end = r < BORDER || r + BORDER >= shape.0;
            for (c, level) in line.iter().enumerate() {
                let beside = is_end || c < BORDER || c + BORDER >= shape.1;
                if beside && level.is_finite() {
                    off.push(level.abs());
                }
            }
        }
    }
    (TO_SPREAD * median(&mut off)).max(LEAST) / (pieces.len().max(1) as f32).sqrt()
}
