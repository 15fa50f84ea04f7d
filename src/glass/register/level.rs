//! Pictures at several sizes, smoothed, with their slopes, and the steep places of them that a
//! registration can hold on to. It compares nothing.

use image::GrayImage;

/// A picture reduced by a whole factor.
#[derive(Clone, Debug)]
pub(super) struct Level {
    /// Width, its own pixels.
    pub width: usize,
    /// Height.
    pub height: usize,
    /// Pixels of the whole picture to one of these, each way.
    pub factor: f32,
    /// Smoothed luma.
    pub luma: Vec<f32>,
    /// Slope of luma to the right, luma a pixel.
    pub across: Vec<f32>,
    /// Slope downwards.
    pub down: Vec<f32>,
    /// Slope that is left to noise.
    pub noise: f32,
}

/// A steep place of a picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    /// Place, pixels of its level; the middle of the first pixel is 0.5.
    pub x: f32,
    pub y: f32,
    /// Luma.
    pub value: f32,
    /// Slopes, luma a pixel.
    pub across: f32,
    pub down: f32,
}

impl Level {
    /// The whole picture, reduced by `factor`.
    pub fn of(luma: &GrayImage, factor: u32) -> Self {
        let factor = factor.max(1);
        let (width, height) = (
            (luma.width() / factor) as usize,
            (luma.height() / factor) as usize,
        );
        let raw = luma.as_raw();
        let stride = luma.width() as usize;
        let step = factor as usize;
        let share = 1.0 / (step * step) as f32;
        let mut small = Vec::with_capacity(width * height);
        let mut sums = vec![0_u32; width];
        for row in 0..height {
            sums.fill(0);
            for y in row * step..(row + 1) * step {
                let line = raw.get(y * stride..y * stride + width * step);
                for (sum, cell) in sums.iter_mut().zip(line.unwrap_or(&[]).chunks_exact(step)) {
                    *sum += cell.iter().map(|&v| u32::from(v)).sum::<u32>();
                }
            }
            small.extend(sums.iter().map(|&sum| sum as f32 * share));
        }
        Self::smoothed(&small, width, height, factor as f32)
    }

    /// The same picture at half the size.
    pub fn halved(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let mut small = Vec::with_capacity(width * height);
        for y in 0..height {
            let upper = &self.luma[2 * y * self.width..][..self.width];
            let lower = &self.luma[(2 * y + 1) * self.width..][..self.width];
            small.extend(
                upper
                    .chunks_exact(2)
                    .zip(lower.chunks_exact(2))
                    .map(|(a, b)| (a[0] + a[1] + b[0] + b[1]) / 4.0),
            );
        }
        Self::smoothed(&small, width, height, 2.0 * self.factor)
    }

    fn smoothed(small: &[f32], width: usize, height: usize, factor: f32) -> Self {
        let luma = smooth(small, width, height);
        let mut across = vec![0.0; luma.len()];
        let mut down = vec![0.0; luma.len()];
        if width > 2 && height > 2 {
            // Slices in step: no place is worked out, and so none is checked.
            let inner = |line: &'_ [f32]| -> std::ops::Range<usize> { 1..line.len() - 1 };
            let lines = across
                .chunks_exact_mut(width)
                .zip(down.chunks_exact_mut(width));
            let three = luma
                .chunks_exact(width)
                .zip(luma[width..].chunks_exact(width))
                .zip(luma[2 * width..].chunks_exact(width));
            for ((across, down), ((above, here), below)) in lines.skip(1).zip(three) {
                for (slope, (before, after)) in across[inner(here)]
                    .iter_mut()
                    .zip(here.iter().zip(&here[2..]))
                {
                    *slope = (after - before) / 2.0;
                }
                for (slope, (above, below)) in down[inner(here)]
                    .iter_mut()
                    .zip(above[1..].iter().zip(&below[1..]))
                {
                    *slope = (below - above) / 2.0;
                }
            }
        }
        let noise = quiet_level(&across).max(quiet_level(&down));
        Self {
            width,
            height,
            factor,
            luma,
            across,
            down,
            noise,
        }
    }

    /// Luma and slopes at a place between pixels; none outside the picture.
    #[inline]
    pub fn at(&self, x: f32, y: f32) -> Option<(f32, f32, f32)> {
        let (x, y) = (x - 0.5, y - 0.5);
        if !(x >= 0.0 && y >= 0.0) {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        if column + 1 >= self.width || row + 1 >= self.height {
            return None;
        }
        let i = row * self.width + column;
        let (fx, fy) = (x - column as f32, y - row as f32);
        let mix = |v: &[f32]| {
            let (upper, lower) = (&v[i..i + 2], &v[i + self.width..i + self.width + 2]);
            let a = upper[0] + (upper[1] - upper[0]) * fx;
            let b = lower[0] + (lower[1] - lower[0]) * fx;
            a + (b - a) * fy
        };
        Some((mix(&self.luma), mix(&self.across), mix(&self.down)))
    }

    /// Steep places within a part of the picture (left, top, right, bottom; its own pixels) that
    /// `wanted` lets through, at most `most` of them. The part is divided into `cells` each way and
    /// each cell gives its own steepest, so that no single edge holds them all.
    pub fn spots(
        &self,
        part: [f32; 4],
        cells: usize,
        most: usize,
        wanted: impl Fn(f32, f32) -> bool,
    ) -> Vec<Spot> {
        let clamp = |v: f32, top: usize| (v.max(1.0) as usize).min(top.saturating_sub(1));
        let (x0, x1) = (clamp(part[0], self.width), clamp(part[2], self.width));
        let (y0, y1) = (clamp(part[1], self.height), clamp(part[3], self.height));
        if x1 <= x0 || y1 <= y0 {
            return Vec::new();
        }
        let weakest = (NOISE_TIMES * self.noise).clamp(SLOPES.0, SLOPES.1);
        // Both directions must be told, so steep-across and steep-down are gathered apart.
        let mut bins: Vec<Vec<(f32, Spot)>> = vec![Vec::new(); 2 * cells * cells];
        for y in y0..y1 {
            for x in x0..x1 {
                let i = y * self.width + x;
                let (gx, gy) = (self.across[i], self.down[i]);
                let size = (gx * gx + gy * gy).sqrt();
                if size < weakest {
                    continue;
                }
                let (px, py) = (x as f32 + 0.5, y as f32 + 0.5);
                if !wanted(px, py) {
                    continue;
                }
                let cell = (y - y0) * cells / (y1 - y0) * cells + (x - x0) * cells / (x1 - x0);
                let way = usize::from(gy.abs() > gx.abs());
                bins[2 * cell + way].push((
                    size,
                    Spot {
                        x: px,
                        y: py,
                        value: self.luma[i],
                        across: gx,
                        down: gy,
                    },
                ));
            }
        }
        let each = (most / bins.iter().filter(|b| !b.is_empty()).count().max(1)).max(1);
        let mut spots = Vec::with_capacity(most);
        for mut bin in bins {
            if bin.len() > each {
                // Among the steeper half every so-manieth: neighbours tell the same.
                let keep = (bin.len() / 2).max(each);
                let mut sizes: Vec<f32> = bin.iter().map(|b| b.0).collect();
                let bar = *sizes
                    .select_nth_unstable_by(keep - 1, |a, b| b.total_cmp(a))
                    .1;
                // They stay in the order of their rows.
                bin.retain(|b| b.0 >= bar);
                bin.truncate(keep);
                let every = keep as f64 / each as f64;
                spots.extend(
                    (0..each).filter_map(|k| bin.get((k as f64 * every) as usize).map(|b| b.1)),
                );
            } else {
                spots.extend(bin.into_iter().map(|b| b.1));
            }
        }
        spots
    }
}

/// Slopes this many times the noise are worth holding on to.
const NOISE_TIMES: f32 = 4.0;
/// Least and greatest of what is too weak, luma a pixel: above the steps of a video coder's blocks;
/// and what is steeper than the worst camera's noise counts, however rich the picture.
const SLOPES: (f32, f32) = (1.0, 5.0);

/// Smoothed by (1, 2, 1)/4 both ways; borders repeat.
fn smooth(values: &[f32], width: usize, height: usize) -> Vec<f32> {
    let mut along = vec![0.0; values.len()];
    for (out, row) in along
        .chunks_exact_mut(width.max(1))
        .zip(values.chunks_exact(width.max(1)))
    {
        let last = width - 1;
        let mixed = |a: f32, here: f32, b: f32| (a + 2.0 * here + b) / 4.0;
        out[0] = mixed(row[0], row[0], row[last.min(1)]);
        out[last] = mixed(row[last.saturating_sub(1)], row[last], row[last]);
        if width > 2 {
            let three = row.iter().zip(&row[1..]).zip(&row[2..]);
            for (out, ((a, here), b)) in out[1..last].iter_mut().zip(three) {
                *out = mixed(*a, *here, *b);
            }
        }
    }
    let mut out = vec![0.0; values.len()];
    for y in 0..height {
        let line = |y: usize| &along[y * width..][..width];
        let (above, below) = (line(y.saturating_sub(1)), line((y + 1).min(height - 1)));
        let three = above.iter().zip(line(y)).zip(below);
        for (out, ((a, here), b)) in out[y * width..][..width].iter_mut().zip(three) {
            *out = (a + 2.0 * here + b) / 4.0;
        }
    }
    out
}

/// A robust standard deviation of values that are noise about 0 in the quiet parts of a picture: the
/// magnitude that a fifth of them stay below, over 0.253, which it is for normal noise.
fn quiet_level(values: &[f32]) -> f32 {
    /// Take every so-manieth value: some thousands are plenty.
    const STRIDE: usize = 13;
    let mut sizes: Vec<f32> = values.iter().step_by(STRIDE).map(|v| v.abs()).collect();
    if sizes.is_empty() {
        return 0.0;
    }
    let fifth = sizes.len() / 5;
    *sizes.select_nth_unstable_by(fifth, f32::total_cmp).1 / 0.253
}
