//! Measures what was done to a picture: shift, gain, contrast, noise. It is told a still picture and
//! a disturbed one and nothing else, so that it can judge whatever disturbed it.

use image::GrayImage;

/// A part of a picture: left, top, right, bottom (ends excluded), pixels.
pub type Part = (u32, u32, u32, u32);

/// The whole picture but for a rim that a shift may bring in from outside.
pub fn inner(picture: &GrayImage, rim: u32) -> Part {
    (rim, rim, picture.width() - rim, picture.height() - rim)
}

fn at(picture: &GrayImage, x: f64, y: f64) -> f64 {
    let (width, height) = picture.dimensions();
    let x = x.clamp(0.0, f64::from(width) - 1.001);
    let y = y.clamp(0.0, f64::from(height) - 1.001);
    let (left, top) = (x as u32, y as u32);
    let (u, v) = (x - f64::from(left), y - f64::from(top));
    let p = |x: u32, y: u32| f64::from(picture.get_pixel(x, y)[0]);
    let upper = p(left, top) * (1.0 - u) + p(left + 1, top) * u;
    let lower = p(left, top + 1) * (1.0 - u) + p(left + 1, top + 1) * u;
    upper * (1.0 - v) + lower * v
}

/// By how many pixels a part of the picture has moved to the right and down: the best of all whole
/// shifts within `reach`, then least squares on the slopes of the still picture.
pub fn shift(still: &GrayImage, moved: &GrayImage, part: Part, reach: i32) -> (f64, f64) {
    let points = |step: usize| {
        (part.1..part.3)
            .step_by(step)
            .flat_map(move |y| (part.0..part.2).step_by(step).map(move |x| (x, y)))
    };
    let (mut dx, mut dy) = (0.0, 0.0);
    let mut least = f64::INFINITY;
    for down in -reach..=reach {
        for right in -reach..=reach {
            let sum: f64 = points(4)
                .map(|(x, y)| {
                    let from = (
                        (x as i32 - right).clamp(0, still.width() as i32 - 1) as u32,
                        (y as i32 - down).clamp(0, still.height() as i32 - 1) as u32,
                    );
                    let apart = f64::from(moved.get_pixel(x, y)[0])
                        - f64::from(still.get_pixel(from.0, from.1)[0]);
                    apart * apart
                })
                .sum();
            if sum < least {
                least = sum;
                (dx, dy) = (f64::from(right), f64::from(down));
            }
        }
    }
    for _ in 0..6 {
        let (mut xx, mut xy, mut yy, mut xe, mut ye) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (x, y) in points(2) {
            let (from_x, from_y) = (f64::from(x) - dx, f64::from(y) - dy);
            let gx = 0.5 * (at(still, from_x + 1.0, from_y) - at(still, from_x - 1.0, from_y));
            let gy = 0.5 * (at(still, from_x, from_y + 1.0) - at(still, from_x, from_y - 1.0));
            let error = f64::from(moved.get_pixel(x, y)[0]) - at(still, from_x, from_y);
            xx += gx * gx;
            xy += gx * gy;
            yy += gy * gy;
            xe += gx * error;
            ye += gy * error;
        }
        let determinant = xx * yy - xy * xy;
        if determinant.abs() < 1e-6 {
            break;
        }
        dx -= (xe * yy - ye * xy) / determinant;
        dy -= (ye * xx - xe * xy) / determinant;
    }
    (dx, dy)
}

/// Slope and height of the straight line `disturbed = slope × still + height` through the pixels of
/// a part that are neither black nor white in either picture.
pub fn line(still: &GrayImage, disturbed: &GrayImage, part: Part) -> (f64, f64) {
    let (mut n, mut a, mut b, mut aa, mut ab) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for y in part.1..part.3 {
        for x in part.0..part.2 {
            let (p, q) = (still.get_pixel(x, y)[0], disturbed.get_pixel(x, y)[0]);
            if !(3..=252).contains(&p) || !(3..=252).contains(&q) {
                continue;
            }
            let (p, q) = (f64::from(p), f64::from(q));
            n += 1.0;
            a += p;
            b += q;
            aa += p * p;
            ab += p * q;
        }
    }
    let spread = aa - a * a / n;
    let slope = (ab - a * b / n) / spread;
    (slope, (b - slope * a) / n)
}

/// Mean of a part of the picture.
pub fn mean(picture: &GrayImage, part: Part) -> f64 {
    let (mut sum, mut n) = (0.0, 0.0);
    for y in part.1..part.3 {
        for x in part.0..part.2 {
            sum += f64::from(picture.get_pixel(x, y)[0]);
            n += 1.0;
        }
    }
    sum / n
}

/// Gain of each row: the sum of the disturbed row over that of the still one, of pixels that no
/// gain up to a third makes white.
pub fn row_gains(still: &GrayImage, disturbed: &GrayImage) -> Vec<f64> {
    (0..still.height())
        .map(|y| {
            let (mut p, mut q) = (0.0, 0.0);
            for x in 0..still.width() {
                let value = still.get_pixel(x, y)[0];
                if (10..190).contains(&value) {
                    p += f64::from(value);
                    q += f64::from(disturbed.get_pixel(x, y)[0]);
                }
            }
            q / f64::max(p, 1.0)
        })
        .collect()
}

/// Spread of the noise of mid-grey pixels: of the difference of two pictures that differ by noise
/// alone, over √2.
pub fn noise(one: &GrayImage, other: &GrayImage, still: &GrayImage) -> f64 {
    let (mut sum, mut n) = (0.0, 0.0);
    for ((a, b), still) in one.as_raw().iter().zip(other.as_raw()).zip(still.as_raw()) {
        if (98..=158).contains(still) {
            sum += (f64::from(*a) - f64::from(*b)).powi(2);
            n += 1.0;
        }
    }
    assert!(n > 200.0, "only {n} mid-grey pixels");
    f64::sqrt(sum / n / 2.0)
}

/// Ups and downs of a line of numbers about their mean: passages through it, upwards and downwards.
pub fn passages(values: &[f64]) -> usize {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values
        .windows(2)
        .filter(|pair| (pair[0] < mean) != (pair[1] < mean))
        .count()
}

/// Root mean square.
pub fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}
