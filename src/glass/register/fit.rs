//! The best shift, turn and scale for steep places of an old picture in a new one: least squares
//! on luma with gain and offset as further unknowns and Tukey's biweight for what moves or is
//! hidden (Lucas & Kanade 1981), from a start that is already close. How many of the places agree
//! is told; whether that is enough is left to others.

use super::level::{Level, Spot};
use super::shift::Shift;

/// Solver steps.
const STEPS: usize = 12;
/// A step that moves no place by more than this ends the search, level pixels.
const SMALL_STEP_PX: f64 = 0.01;
/// A step moves no place by more than this: slopes foretell no farther, level pixels.
const FARTHEST_STEP_PX: f64 = 2.5;
/// Tukey's cut-off in spreads: 95 % efficiency for normal errors.
const CUT: f64 = 4.685;
/// Least spread, luma: rounding alone.
const LEAST_SPREAD: f64 = 0.7;
/// Neighbouring places tell much the same: so many count as one against what is known before.
const TELL_THE_SAME: f64 = 6.0;
/// A place agrees when the slope found there is this like the slope expected: 1 is equal, half is
/// half or double the size, or 45° off, or a little of each.
const ALIKE: f32 = 0.45;
/// Fewest places on which anything can be told.
pub(super) const FEWEST_SPOTS: usize = 24;

/// What is known before: the shift expected, and how far off it may be (one deviation).
#[derive(Clone, Copy, Debug)]
pub(super) struct Prior {
    /// Expected.
    pub shift: Shift,
    /// Deviation of the place of the middle, level pixels.
    pub place_px: f64,
    /// Deviation of scale (part) and of turn (radians).
    pub turn: f64,
}

/// What was found.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fit {
    /// The map.
    pub shift: Shift,
    /// Part of the places in sight that agree, 0 to 1.
    pub agreeing: f64,
    /// Part of the places that lie in the new picture.
    pub in_sight: f64,
}

/// Fits `spots` (of the old picture) to `after`, from `start`. Both in the pixels of one level.
pub(super) fn fit(after: &Level, spots: &[Spot], start: Shift, prior: Option<&Prior>) -> Fit {
    let mut shift = start;
    let (cx, cy) = shift.middle;
    let radius = spots
        .iter()
        .map(|s| (f64::from(s.x) - cx).hypot(f64::from(s.y) - cy))
        .fold(1.0, f64::max);
    let (mut gain, mut offset) = (1.0_f64, 0.0_f64);
    let mut seen: Vec<(usize, f32, f32, f32)> = Vec::with_capacity(spots.len());
    let mut sizes: Vec<f32> = Vec::with_capacity(spots.len());
    for step in 0..STEPS {
        seen.clear();
        for (index, spot) in spots.iter().enumerate() {
            let (x, y) = shift.map(f64::from(spot.x), f64::from(spot.y));
            if let Some((value, gx, gy)) = after.at(x as f32, y as f32) {
                seen.push((index, value, gx, gy));
            }
        }
        if seen.len() < FEWEST_SPOTS {
            break;
        }
        if step == 0 {
            (gain, offset) = light(spots, &seen);
        }
        sizes.clear();
        sizes.extend(seen.iter().map(|(index, value, _, _)| {
            (f64::from(*value) - gain * f64::from(spots[*index].value) - offset).abs() as f32
        }));
        let middle = sizes.len() / 2;
        let spread = (1.4826 * f64::from(*sizes.select_nth_unstable_by(middle, f32::total_cmp).1))
            .max(LEAST_SPREAD);
        let mut normal = [[0.0_f64; 6]; 6];
        let mut right = [0.0_f64; 6];
        for (index, value, gx, gy) in &seen {
            let spot = &spots[*index];
            let error = f64::from(*value) - gain * f64::from(spot.value) - offset;
            let u = error / (CUT * spread);
            if u.abs() >= 1.0 {
                continue;
            }
            let weight = (1.0 - u * u).powi(2) / (spread * spread);
            // The mean of the slope here and the slope expected foretells farther than either.
            let scale = gain / shift.scale().max(0.1);
            let (sin, cos) = (shift.b, 1.0 + shift.a);
            let (ex, ey) = (f64::from(spot.across), f64::from(spot.down));
            let length = cos.hypot(sin).max(0.1);
            let (ex, ey) = (
                scale * (ex * cos - ey * sin) / length,
                scale * (ex * sin + ey * cos) / length,
            );
            let (gx, gy) = (
                f64::midpoint(f64::from(*gx), ex),
                f64::midpoint(f64::from(*gy), ey),
            );
            let (u, v) = (
                (f64::from(spot.x) - cx) / radius,
                (f64::from(spot.y) - cy) / radius,
            );
            let row = [
                gx,
                gy,
                gx * u + gy * v,
                gy * u - gx * v,
                -f64::from(spot.value) / 128.0,
                -1.0,
            ];
            for i in 0..6 {
                for j in 0..6 {
                    normal[i][j] += weight * row[i] * row[j];
                }
                right[i] -= weight * row[i] * error;
            }
        }
        if let Some(prior) = prior {
            let known = [
                (shift.dx - prior.shift.dx, prior.place_px),
                (shift.dy - prior.shift.dy, prior.place_px),
                ((shift.a - prior.shift.a) * radius, prior.turn * radius),
                ((shift.b - prior.shift.b) * radius, prior.turn * radius),
            ];
            for (i, (off, deviation)) in known.into_iter().enumerate() {
                let weight = TELL_THE_SAME / (deviation * deviation).max(1e-9);
                normal[i][i] += weight;
                right[i] -= weight * off;
            }
        }
        for (i, line) in normal.iter_mut().enumerate() {
            line[i] += 1e-9 + line[i] * 1e-6;
        }
        let Some(mut answer) = solve(normal, right) else {
            break;
        };
        let moved = answer[0].hypot(answer[1]) + answer[2].hypot(answer[3]);
        if moved > FARTHEST_STEP_PX {
            for part in &mut answer {
                *part *= FARTHEST_STEP_PX / moved;
            }
        }
        shift.dx += answer[0];
        shift.dy += answer[1];
        shift.a += answer[2] / radius;
        shift.b += answer[3] / radius;
        gain = (gain + answer[4] / 128.0).clamp(0.1, 10.0);
        offset += answer[5];
        if moved < SMALL_STEP_PX {
            break;
        }
    }
    let (agreeing, in_sight) = agreeing(after, spots, &shift, gain);
    Fit {
        shift,
        agreeing,
        in_sight,
    }
}

/// Part of the places in sight whose slope is as expected, and the part that is in sight.
fn agreeing(after: &Level, spots: &[Spot], shift: &Shift, gain: f64) -> (f64, f64) {
    let (sin, cos) = (shift.b as f32, (1.0 + shift.a) as f32);
    // Slopes turn with the picture, and shrink as it grows.
    let square = (sin * sin + cos * cos).max(0.01);
    let gain = gain as f32 / square;
    let (mut seen, mut alike) = (0_u32, 0_u32);
    for spot in spots {
        let (x, y) = shift.map(f64::from(spot.x), f64::from(spot.y));
        let Some((_, gx, gy)) = after.at(x as f32, y as f32) else {
            continue;
        };
        seen += 1;
        let (ex, ey) = (
            gain * (spot.across * cos - spot.down * sin),
            gain * (spot.across * sin + spot.down * cos),
        );
        let most = (ex * ex + ey * ey).max(gx * gx + gy * gy);
        alike += u32::from(ex * gx + ey * gy > ALIKE * most);
    }
    (
        f64::from(alike) / f64::from(seen.max(1)),
        f64::from(seen) / spots.len().max(1) as f64,
    )
}

/// First guess of the light: the ratio of the spreads of luma, and what brings the medians together.
fn light(spots: &[Spot], seen: &[(usize, f32, f32, f32)]) -> (f64, f64) {
    let quartiles = |mut values: Vec<f32>| -> (f64, f64) {
        values.sort_by(f32::total_cmp);
        let at = |part: f64| {
            let index = (part * (values.len() - 1) as f64).round() as usize;
            values.get(index).copied().map_or(0.0, f64::from)
        };
        (at(0.5), at(0.85) - at(0.15))
    };
    let (now, now_spread) = quartiles(seen.iter().map(|s| s.1).collect());
    let (then, then_spread) = quartiles(seen.iter().map(|s| spots[s.0].value).collect());
    let gain = if then_spread > 2.0 {
        (now_spread / then_spread).clamp(0.2, 5.0)
    } else {
        1.0
    };
    (gain, now - gain * then)
}

/// Gaussian elimination with pivoting; none when the matrix is singular.
fn solve(mut a: [[f64; 6]; 6], mut b: [f64; 6]) -> Option<[f64; 6]> {
    for col in 0..6 {
        let pivot = (col..6).max_by(|&i, &j| a[i][col].abs().total_cmp(&a[j][col].abs()))?;
        if a[pivot][col].abs() < 1e-12 {
            return None;
        }
        a.swap(col, pivot);
        b.swap(col, pivot);
        for row in col + 1..6 {
            let factor = a[row][col] / a[col][col];
            let upper = a[col];
            for (value, above) in a[row].iter_mut().zip(upper).skip(col) {
                *value -= factor * above;
            }
            b[row] -= factor * b[col];
        }
    }
    let mut x = [0.0; 6];
    for row in (0..6).rev() {
        let known: f64 = (row + 1..6).map(|k| a[row][k] * x[k]).sum();
        x[row] = (b[row] - known) / a[row][row];
    }
    x.iter().all(|v| v.is_finite()).then_some(x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{GrayImage, Luma};

    /// Bumps of every size, seen through a map.
    fn bumps(seen: &Shift, gain: f64) -> GrayImage {
        GrayImage::from_fn(240, 200, |x, y| {
            // The inverse map, by one step of Newton's method: the maps here are nearly shifts.
            let (x, y) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
            let (mut u, mut v) = (x, y);
            for _ in 0..6 {
                let (a, b) = seen.map(u, v);
                (u, v) = (u + x - a, v + y - b);
            }
            let light = (u * 0.21).sin() + (v * 0.17 + u * 0.05).sin() + (u * v * 0.002).cos();
            Luma([(gain * (110.0 + 30.0 * light)) as u8])
        })
    }

    #[test]
    fn a_known_map_is_found_from_a_start_nearby() {
        let middle = (120.0, 100.0);
        let still = Shift::new(middle, (0.0, 0.0), 0.0, 1.0);
        let truth = Shift::new(middle, (2.3, -1.6), 1.1, 1.012);
        let old = Level::of(&bumps(&still, 1.0), 1);
        let new = Level::of(&bumps(&truth, 0.8), 1);
        let spots = old.spots([0.0, 0.0, 240.0, 200.0], 6, 400, |_, _| true);
        assert!(spots.len() > 300, "{}", spots.len());
        let found = fit(&new, &spots, still, None);
        assert!((found.shift.dx - 2.3).abs() < 0.05, "{found:?}");
        assert!((found.shift.dy + 1.6).abs() < 0.05, "{found:?}");
        assert!((found.shift.turn_deg() - 1.1).abs() < 0.05, "{found:?}");
        assert!((found.shift.scale() - 1.012).abs() < 0.001, "{found:?}");
        assert!(found.agreeing > 0.95 && found.in_sight > 0.9, "{found:?}");
    }

    #[test]
    fn what_is_known_before_stands_when_the_picture_is_blank() {
        let middle = (120.0, 100.0);
        let start = Shift::new(middle, (1.0, 2.0), 0.0, 1.0);
        let old = Level::of(&bumps(&Shift::new(middle, (0.0, 0.0), 0.0, 1.0), 1.0), 1);
        let spots = old.spots([0.0, 0.0, 240.0, 200.0], 6, 400, |_, _| true);
        let blank = Level::of(&GrayImage::from_pixel(240, 200, Luma([90])), 1);
        let prior = Prior {
            shift: start,
            place_px: 1.0,
            turn: 0.01,
        };
        let found = fit(&blank, &spots, start, Some(&prior));
        assert!(found.agreeing < 0.05, "{found:?}");
        let off = (found.shift.dx - 1.0).hypot(found.shift.dy - 2.0);
        assert!(off < 6.0, "{found:?}");
    }
}
