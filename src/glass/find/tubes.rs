//! Guesses of tubes: two long upright edges of the same extent with a fitting across both ends.

use super::lines::Line;
use super::nozzle::{Glass, Nozzle, nozzle};
use super::plane::Slopes;
use super::pose::Pose;

/// A guessed tube, in working pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct TubeGuess {
    /// Middle of the visible glass and its lean.
    pub pose: Pose,
    /// Width of its silhouette, pixels.
    pub width: f32,
    /// Height between the fittings, pixels.
    pub height: f32,
    /// Part of the height over which both sides show as edges, 0 to 1.
    pub sides: f32,
    /// Part of the width over which the upper and lower fittings show as edges, 0 to 1.
    pub bounds: (f32, f32),
    /// How much the sides run on beyond the fittings, 0 to 1 (a glass's do not).
    pub beyond: f32,
    /// The nozzle, when seen.
    pub nozzle: Option<Nozzle>,
    /// Overall, 0 to 1.
    pub score: f32,
}

/// Height over width a visible tube may have.
const SQUATTEST: f32 = 1.25;
const SLIMMEST: f32 = 11.0;
/// Columns over the width on which the fittings' edges are looked for.
const COLUMNS: usize = 25;
/// Slope at which an edge counts no further, in parts of the threshold.
const CAP: f32 = 8.0;
/// How much the middle of a fitting's edge may lie below its ends, in parts of the width: the rim
/// of a round fitting seen a little from above or below is an ellipse.
const SAGS: [f32; 5] = [-0.16, -0.08, 0.0, 0.08, 0.16];

/// All plausible tubes among pairs of lines.
pub(super) fn tube_guesses(slopes: &Slopes, lines: &[Line], threshold: f32) -> Vec<TubeGuess> {
    let narrowest = 12.0_f32;
    let widest = slopes.width as f32 * 0.4;
    let mut guesses = Vec::new();
    for (i, left) in lines.iter().enumerate() {
        for right in &lines[i + 1..] {
            if (left.slope - right.slope).abs() > 0.05 {
                continue;
            }
            let overlap = left.bottom.min(right.bottom) - left.top.max(right.top);
            if overlap < 0.6 * left.length().min(right.length()) || overlap < 8.0 {
                continue;
            }
            let y = f32::midpoint(left.bottom.min(right.bottom), left.top.max(right.top));
            let slope = f32::midpoint(left.slope, right.slope);
            let width = (right.x_at(y) - left.x_at(y)) / slope.hypot(1.0);
            if !(narrowest..=widest).contains(&width) {
                continue;
            }
            let span = left.bottom.max(right.bottom) - left.top.min(right.top);
            if left.length().max(right.length()) < 0.6 * SQUATTEST * width
                || left.length().min(right.length()) < 0.3 * width
                || span > 1.5 * SLIMMEST * width
            {
                continue;
            }
            let pose = Pose::leaning(f32::midpoint(left.x_at(y), right.x_at(y)), y, slope);
            let top = left.top.min(right.top) - y;
            let bottom = left.bottom.max(right.bottom) - y;
            if let Some(guess) = between_fittings(slopes, pose, width, top, bottom, threshold) {
                guesses.push(guess);
            }
        }
    }
    guesses
}

struct Bound {
    along: f32,
    sag: f32,
    strength: f32,
    /// Mean slope of luma along the edge, each column held to a cap.
    contrast: f32,
}

/// Measures along the two sides and finds the pair of fittings that explains them best.
fn between_fittings(
    slopes: &Slopes,
    pose: Pose,
    width: f32,
    top: f32,
    bottom: f32,
    threshold: f32,
) -> Option<TubeGuess> {
    let from = top - 0.35 * width;
    let to = bottom + 0.35 * width;
    let rows = (to - from).ceil() as usize;
    if rows < 8 {
        return None;
    }
    // Slopes along the axis (fittings) on a grid, and whether each side shows on each row.
    let mut along = vec![0.0_f32; rows * COLUMNS];
    let mut side = vec![(0.0_f32, 0.0_f32); rows];
    for (row, pair) in side.iter_mut().enumerate() {
        let v = from + row as f32 + 0.5;
        for column in 0..COLUMNS {
            let u = (column as f32 / (COLUMNS - 1) as f32 - 0.5) * 0.9 * width;
            let (x, y) = pose.picture(u, v);
            along[row * COLUMNS + column] = pose.turn(slopes.at(x, y)).1.abs();
        }
        let edge = |u: f32| {
            let mut best = 0.0_f32;
            for shift in [-1.0, 0.0, 1.0] {
                let (x, y) = pose.picture(u + shift, v);
                best = best.max(pose.turn(slopes.at(x, y)).0.abs());
            }
            (best / threshold).min(1.0)
        };
        *pair = (edge(-width / 2.0), edge(width / 2.0));
    }
    let strong = |row: isize, column: usize| -> f32 {
        let mut best = 0.0_f32;
        for near in row - 1..=row + 1 {
            if near >= 0 && (near as usize) < rows {
                best = best.max(along[near as usize * COLUMNS + column]);
            }
        }
        best
    };
    // The strength of a fitting's edge at each row, over the possible sags.
    let mut profile = vec![(0.0_f32, 0.0_f32, 0.0_f32); rows];
    for (row, slot) in profile.iter_mut().enumerate() {
        for sag in SAGS {
            let (mut sum, mut slope_sum) = (0.0, 0.0);
            for column in 0..COLUMNS {
                let u = (column as f32 / (COLUMNS - 1) as f32 - 0.5) * 0.9;
                let v = sag * width * (1.0 - 4.0 * u * u);
                let slope = strong(row as isize + v.round() as isize, column);
                sum += (slope / (1.5 * threshold)).min(1.0);
                slope_sum += slope.min(CAP * threshold);
            }
            let contrast = slope_sum / COLUMNS as f32;
            if contrast > slot.2 * if sag == 0.0 { 1.0 } else { 1.03 } {
                *slot = (sum / COLUMNS as f32, sag, contrast);
            }
        }
    }
    let mut bounds: Vec<Bound> = Vec::new();
    for row in 0..rows {
        let (strength, sag, contrast) = profile[row];
        let low = row.saturating_sub(2);
        let high = (row + 2).min(rows - 1);
        let peak =
            (low..=high).all(|r| profile[r].2 < contrast || r >= row && profile[r].2 <= contrast);
        if strength >= 0.5 && peak {
            bounds.push(Bound {
                along: from + row as f32 + 0.5,
                sag,
                strength,
                contrast,
            });
        }
    }
    let sums: Vec<(f32, f32, f32)> = std::iter::once((0.0, 0.0, 0.0))
        .chain(side.iter().scan((0.0, 0.0, 0.0), |acc, pair| {
            acc.0 += pair.0;
            acc.1 += pair.1;
            acc.2 += pair.0.min(pair.1);
            Some(*acc)
        }))
        .collect();
    let mean = |a: f32, b: f32| -> (f32, f32, f32) {
        let i = ((a - from).round().max(0.0) as usize).min(rows);
        let j = ((b - from).round().max(0.0) as usize).min(rows);
        if j <= i {
            return (0.0, 0.0, 0.0);
        }
        let n = (j - i) as f32;
        (
            (sums[j].0 - sums[i].0) / n,
            (sums[j].1 - sums[i].1) / n,
            (sums[j].2 - sums[i].2) / n,
        )
    };
    let mut best: Option<(f32, TubeGuess, f32)> = None;
    for (i, upper) in bounds.iter().enumerate() {
        for lower in &bounds[i + 1..] {
            let height = lower.along - upper.along;
            if !(SQUATTEST..=SLIMMEST).contains(&(height / width)) {
                continue;
            }
            let inside = mean(upper.along, lower.along);
            let sides = (inside.0 * inside.1).sqrt();
            if sides < 0.5 {
                continue;
            }
            let above = mean(upper.along - 0.25 * width, upper.along - 0.04 * width);
            let below = mean(lower.along + 0.04 * width, lower.along + 0.25 * width);
            let beyond = (above.0 + above.1 + below.0 + below.1) / 4.0;
            let head = mean(upper.along + 0.03 * width, upper.along + 0.2 * width);
            let foot = mean(lower.along - 0.2 * width, lower.along - 0.03 * width);
            let corners = head.0.min(head.1).min(foot.0).min(foot.1).sqrt();
            // Between the fittings nothing crosses the whole glass.
            let edge = upper.contrast.min(lower.contrast);
            let crossing = bounds[i + 1..]
                .iter()
                .filter(|b| {
                    b.along > upper.along + 0.05 * width && b.along < lower.along - 0.05 * width
                })
                .map(|b| b.contrast * b.strength)
                .fold(0.0, f32::max);
            let clear = 1.0 / (1.0 + (1.2 * crossing / edge).powi(4));
            let score = sides
                * (upper.strength * lower.strength).sqrt()
                * (1.0 - 0.15 * beyond)
                * corners
                * clear;
            if best.as_ref().is_none_or(|b| score > b.0) {
                let middle = f32::midpoint(lower.along, upper.along);
                best = Some((
                    score,
                    TubeGuess {
                        pose: pose.moved(0.0, middle),
                        width,
                        height,
                        sides,
                        bounds: (upper.strength, lower.strength),
                        beyond,
                        nozzle: None,
                        score,
                    },
                    lower.sag * width,
                ));
            }
        }
    }
    let (_, mut guess, sag) = best?;
    let foot = guess.pose.moved(0.0, guess.height / 2.0);
    guess.nozzle = nozzle(
        slopes,
        foot,
        width,
        guess.height,
        Glass::Tube(sag),
        threshold,
    );
    guess.score *= 0.3 + 0.7 * guess.nozzle.map_or(0.0, |n| n.score);
    Some(guess)
}
