//! The rough place of an old picture in a new one: tries every shift, turn and scale that a knock
//! can bring, at a size at which that costs little, and keeps the best few. Directions of slopes
//! are compared, so the light may change. Fine fitting is left to others.

use super::level::{Level, Spot};
use super::shift::Shift;

/// Farthest shift, parts of the picture's width: 60 pixels of 640 and half as much again.
const FARTHEST: f64 = 0.14;
/// Greatest turn either way, degrees, and the step: a step moves the picture's corner by a pixel of
/// this level.
const TURNS_DEG: (f64, f64) = (8.0, 4.0 / 3.0);
/// Least and greatest scale, and the factor of a step.
const SCALES: (f64, f64, f64) = (0.85, 1.18, 1.028);
/// Best shifts kept for each turn and scale.
const KEPT_EACH: usize = 3;
/// Best kept in all.
pub(super) const KEPT: usize = 48;
/// Slope at which a direction is half believed, in noises and in luma a pixel.
const FIRM_NOISES: f32 = 3.0;
const FIRM_SLOPE: f32 = 2.0;

/// The likeliest maps, the best first.
pub(super) fn seek(after: &Level, spots: &[Spot]) -> Vec<(f32, Shift)> {
    let firm = (FIRM_NOISES * after.noise).max(FIRM_SLOPE);
    let field: Vec<(f32, f32)> = after
        .across
        .iter()
        .zip(&after.down)
        .map(|(&gx, &gy)| {
            let size = gx.hypot(gy) + firm;
            (gx / size, gy / size)
        })
        .collect();
    let middle = (after.width as f64 / 2.0, after.height as f64 / 2.0);
    let reach = (FARTHEST * after.width as f64).ceil() as i32;
    let mut kept: Vec<(f32, Shift)> = Vec::new();
    let turns = (TURNS_DEG.0 / TURNS_DEG.1).round() as i32;
    let mut placed: Vec<(i32, i32, f32, f32)> = Vec::with_capacity(spots.len());
    for turn in -turns..=turns {
        let mut scale = SCALES.0;
        while scale <= SCALES.1 {
            let shift = Shift::new(middle, (0.0, 0.0), f64::from(turn) * TURNS_DEG.1, scale);
            placed.clear();
            let (sin, cos) = (shift.b as f32, (1.0 + shift.a) as f32);
            placed.extend(spots.iter().map(|spot| {
                let (x, y) = shift.map(f64::from(spot.x), f64::from(spot.y));
                let size = (spot.across.hypot(spot.down) + firm) * sin.hypot(cos);
                (
                    x.floor() as i32,
                    y.floor() as i32,
                    (spot.across * cos - spot.down * sin) / size,
                    (spot.across * sin + spot.down * cos) / size,
                )
            }));
            let mut best: Vec<(f32, i32, i32)> = Vec::new();
            for dy in -reach..=reach {
                for dx in -reach..=reach {
                    let score = score(&field, (after.width, after.height), &placed, dx, dy);
                    if best.len() < KEPT_EACH || best.last().is_some_and(|b| score > b.0) {
                        // A place beside a better one is the same.
                        match best
                            .iter_mut()
                            .find(|b| (b.1 - dx).abs() <= 1 && (b.2 - dy).abs() <= 1)
                        {
                            Some(same) if same.0 < score => *same = (score, dx, dy),
                            Some(_) => {}
                            None => best.push((score, dx, dy)),
                        }
                        best.sort_by(|a, b| b.0.total_cmp(&a.0));
                        best.truncate(KEPT_EACH);
                    }
                }
            }
            kept.extend(best.into_iter().map(|(score, dx, dy)| {
                let shift = Shift {
                    dx: f64::from(dx),
                    dy: f64::from(dy),
                    ..shift
                };
                (score, shift)
            }));
            scale *= SCALES.2;
        }
    }
    kept.sort_by(|a, b| b.0.total_cmp(&a.0));
    kept.truncate(KEPT);
    kept
}

/// Sum of the likeness of directions over all places, for one whole-pixel shift.
fn score(
    field: &[(f32, f32)],
    (width, height): (usize, usize),
    placed: &[(i32, i32, f32, f32)],
    dx: i32,
    dy: i32,
) -> f32 {
    let mut sum = 0.0;
    for &(x, y, ex, ey) in placed {
        let (x, y) = (x + dx, y + dy);
        if x >= 0 && y >= 0 && (x as usize) < width && (y as usize) < height {
            let (gx, gy) = field[y as usize * width + x as usize];
            sum += gx * ex + gy * ey;
        }
    }
    sum
}
