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
/// All shifts are tried with every so-manieth place, and so many of the best with all.
const PART: usize = 4;
const LIKELY: usize = 24;
/// Slope at which a direction is half believed, in noises and in luma a pixel.
const FIRM_NOISES: f32 = 3.0;
const FIRM_SLOPE: f32 = 2.0;

/// The likeliest maps, the best first.
pub(super) fn seek(after: &Level, spots: &[Spot]) -> Vec<(f32, Shift)> {
    let firm = (FIRM_NOISES * after.noise).max(FIRM_SLOPE);
    let middle = (after.width as f64 / 2.0, after.height as f64 / 2.0);
    let reach = (FARTHEST * after.width as f64).ceil() as i32;
    let field = Field::of(after, firm, reach);
    let mut kept: Vec<(f32, Shift)> = Vec::new();
    let turns = (TURNS_DEG.0 / TURNS_DEG.1).round() as i32;
    let mut placed: Vec<(usize, f32, f32)> = Vec::with_capacity(spots.len());
    for turn in -turns..=turns {
        let mut scale = SCALES.0;
        while scale <= SCALES.1 {
            let shift = Shift::new(middle, (0.0, 0.0), f64::from(turn) * TURNS_DEG.1, scale);
            placed.clear();
            let (sin, cos) = (shift.b as f32, (1.0 + shift.a) as f32);
            placed.extend(spots.iter().filter_map(|spot| {
                let (x, y) = shift.map(f64::from(spot.x), f64::from(spot.y));
                let size = (spot.across.hypot(spot.down) + firm) * sin.hypot(cos);
                Some((
                    field.first(x.floor() as i32, y.floor() as i32)?,
                    (spot.across * cos - spot.down * sin) / size,
                    (spot.across * sin + spot.down * cos) / size,
                ))
            }));
            let mut best: Vec<(f32, i32, i32)> = Vec::new();
            for (dx, dy) in field.likely(&placed) {
                let score = field.score(&placed, dx, dy);
                // A place beside a better one is the same.
                match best
                    .iter_mut()
                    .find(|b| (b.1 - dx).abs() <= 1 && (b.2 - dy).abs() <= 1)
                {
                    Some(same) if same.0 < score => *same = (score, dx, dy),
                    Some(_) => {}
                    None => best.push((score, dx, dy)),
                }
            }
            best.sort_by(|a, b| b.0.total_cmp(&a.0));
            best.truncate(KEPT_EACH);
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

/// Directions of slopes, with a border of nothing as wide as the farthest shift, so that no place
/// needs a check.
struct Field {
    values: Vec<(f32, f32)>,
    width: usize,
    height: usize,
    reach: i32,
    stride: usize,
}

impl Field {
    fn of(level: &Level, firm: f32, reach: i32) -> Self {
        let border = 2 * reach.unsigned_abs() as usize;
        let stride = level.width + 2 * border;
        let mut values = vec![(0.0, 0.0); stride * (level.height + 2 * border)];
        for y in 0..level.height {
            let from = (y + border) * stride + border;
            let row = y * level.width..(y + 1) * level.width;
            let slopes = level.across[row.clone()].iter().zip(&level.down[row]);
            for (value, (gx, gy)) in values[from..].iter_mut().zip(slopes) {
                let size = gx.hypot(*gy) + firm;
                *value = (gx / size, gy / size);
            }
        }
        Self {
            values,
            width: level.width,
            height: level.height,
            reach,
            stride,
        }
    }

    /// Index of a place at the farthest shift up and left; none when no shift brings it into sight.
    fn first(&self, x: i32, y: i32) -> Option<usize> {
        let (x, y) = (x + self.reach, y + self.reach);
        let far = 2 * self.reach;
        let within =
            |v: i32, size: usize| v >= 0 && (v as usize) < size + far.unsigned_abs() as usize;
        // The border is twice the reach: x − reach + border = x + reach.
        (within(x, self.width) && within(y, self.height))
            .then(|| y.unsigned_abs() as usize * self.stride + x.unsigned_abs() as usize)
    }

    /// The likeliest whole-pixel shifts, told by a part of the places.
    fn likely(&self, placed: &[(usize, f32, f32)]) -> Vec<(i32, i32)> {
        let few: Vec<(usize, f32, f32)> = placed.iter().step_by(PART).copied().collect();
        let reach = self.reach;
        let shifts = (-reach..=reach).flat_map(|dy| (-reach..=reach).map(move |dx| (dx, dy)));
        let mut told: Vec<(f32, (i32, i32))> = shifts
            .map(|(dx, dy)| (self.score(&few, dx, dy), (dx, dy)))
            .collect();
        if told.len() > LIKELY {
            told.select_nth_unstable_by(LIKELY, |a, b| b.0.total_cmp(&a.0));
            told.truncate(LIKELY);
        }
        told.into_iter().map(|(_, shift)| shift).collect()
    }

    /// Sum of the likeness of directions over all places, for one whole-pixel shift.
    fn score(&self, placed: &[(usize, f32, f32)], dx: i32, dy: i32) -> f32 {
        let off = (dy + self.reach).unsigned_abs() as usize * self.stride
            + (dx + self.reach).unsigned_abs() as usize;
        let values = self.values.get(off..).unwrap_or(&[]);
        let mut sum = 0.0;
        for &(at, ex, ey) in placed {
            let (gx, gy) = values.get(at).copied().unwrap_or_default();
            sum += gx * ex + gy * ey;
        }
        sum
    }
}
