//! The glass straightened: a small luma picture of the inside of one outline, rows along the axis
//! of the glass, taken from a frame at a given shift. It only samples; it compares nothing.

use image::GrayImage;
use ndarray::Array2;

use crate::base::GlassKind;
use crate::glass::Outline;

/// Widest straightened glass, samples. A wider one is taken at half size, a third, and so on:
/// beads are an eighth of a glass wide or more, so they stay seven samples wide.
const MOST_ACROSS: f64 = 112.0;
/// Highest straightened glass, samples.
const MOST_ALONG: f64 = 300.0;
/// A glass that leans by less than this over its whole height, pixels, is taken as upright.
const UPRIGHT_PX: f64 = 0.6;
/// Share of a tube's width that is looked at: the walls and their reflections are left out.
const TUBE_SHARE_ACROSS: f64 = 0.92;
/// Share of a port's width and height that is looked at: the shadow of the rim is left out.
const PORT_SHARE: f64 = 0.95;

/// Takes straightened pictures of one glass.
#[derive(Clone, Debug)]
pub struct Sampler {
    outline: Outline,
    rows: usize,
    cols: usize,
    step_px: f64,
    taps: usize,
    inside: Array2<bool>,
}

impl Sampler {
    /// A sampler for one outline.
    #[must_use]
    pub fn new(outline: &Outline) -> Self {
        let taps = (outline.width_px / MOST_ACROSS)
            .max(outline.height_px / MOST_ALONG)
            .ceil()
            .clamp(1.0, 64.0);
        let step_px = taps;
        let rows = ((outline.height_px / step_px).floor() as usize).max(1);
        let cols = ((outline.width_px / step_px).floor() as usize).max(1);
        let inside = Array2::from_shape_fn((rows, cols), |(row, col)| {
            let u = (2.0 * (col as f64 + 0.5) / cols as f64 - 1.0).abs();
            let v = (2.0 * (row as f64 + 0.5) / rows as f64 - 1.0).abs();
            match outline.kind {
                GlassKind::Tube => u <= TUBE_SHARE_ACROSS,
                GlassKind::Port => u * u + v * v <= PORT_SHARE * PORT_SHARE,
            }
        });
        Self {
            outline: *outline,
            rows,
            cols,
            step_px,
            taps: taps as usize,
            inside,
        }
    }

    /// Takes the same samples of the glass at another outline; its shape stays, so its samples lie
    /// as much closer or farther apart as the outline is smaller or larger.
    pub fn carry(&mut self, outline: &Outline) {
        self.step_px *= outline.height_px / self.outline.height_px.max(1e-9);
        self.outline = *outline;
    }

    /// Rows (along the axis, from the top) and columns of the straightened picture.
    #[must_use]
    pub fn shape(&self) -> (usize, usize) {
        (self.rows, self.cols)
    }

    /// Picture pixels a sample stands for, along and across.
    #[must_use]
    pub fn step_px(&self) -> f64 {
        self.step_px
    }

    /// Which samples belong to the glass.
    #[must_use]
    pub fn inside(&self) -> &Array2<bool> {
        &self.inside
    }

    /// Picture point of a sample position (row and column, fractions allowed; the centre of the
    /// first sample is 0, 0), for a glass shifted by `shift_px` pixels and turned about its middle by
    /// `turn_rad` radians (clockwise as seen).
    #[must_use]
    pub fn picture_from_sample(
        &self,
        row: f64,
        col: f64,
        shift_px: (f64, f64),
        turn_rad: f64,
    ) -> (f64, f64) {
        let across = (col + 0.5 - self.cols as f64 / 2.0) * self.step_px;
        let along = (row + 0.5 - self.rows as f64 / 2.0) * self.step_px;
        let turned = Outline {
            angle_deg: self.outline.angle_deg + turn_rad.to_degrees(),
            ..self.outline
        };
        let (x, y) = turned.picture_from_glass(across, along);
        (x + shift_px.0, y + shift_px.1)
    }

    /// Takes the straightened picture from a frame in which the glass stands shifted by
    /// `shift_px` and turned by `turn_rad` about its middle; luma 0 to 255. `into` must have the sampler's shape. Points outside the frame
    /// repeat its border.
    pub fn take(
        &self,
        luma: &GrayImage,
        shift_px: (f64, f64),
        turn_rad: f64,
        into: &mut Array2<f32>,
    ) {
        let Some(into) = into.as_slice_mut() else {
            return;
        };
        if into.len() != self.rows * self.cols || luma.width() < 2 || luma.height() < 2 {
            return;
        }
        let angle_rad = self.outline.angle_deg.to_radians() + turn_rad;
        let lean_px = angle_rad.sin() * self.outline.height_px;
        // A carried glass may have samples that are no whole pixels apart.
        let whole = (self.step_px / self.taps as f64 - 1.0).abs() * self.outline.height_px;
        if lean_px.abs() < UPRIGHT_PX
            && whole < UPRIGHT_PX
            && self.take_upright(luma, shift_px, into)
        {
            return;
        }
        let (sin, cos) = angle_rad.sin_cos();
        let sub = self.step_px / self.taps as f64;
        let weight = 1.0 / (self.taps * self.taps) as f32;
        let look = Look::new(luma);
        let (taps_down, taps_over) = (self.rows * self.taps, self.cols * self.taps);
        into.fill(0.0);
        for tap_y in 0..taps_down {
            let along = (tap_y as f64 + 0.5) * sub - self.rows as f64 * self.step_px / 2.0;
            let across = 0.5 * sub - self.cols as f64 * self.step_px / 2.0;
            let x = self.outline.centre_x_px + shift_px.0 + across * cos - along * sin;
            let y = self.outline.centre_y_px + shift_px.1 + across * sin + along * cos;
            let row = tap_y / self.taps * self.cols;
            let Some(row) = into.get_mut(row..row + self.cols) else {
                continue;
            };
            let end = (
                x + cos * sub * taps_over as f64,
                y + sin * sub * taps_over as f64,
            );
            let (step_x, step_y) = ((cos * sub) as f32, (sin * sub) as f32);
            let mut tap = 0_u32;
            if look.holds(x, y) && look.holds(end.0, end.1) {
                // The whole line lies within the frame: no border to mind.
                let (x, y) = ((x - 0.5) as f32, (y - 0.5) as f32);
                for value in row.iter_mut() {
                    for _ in 0..self.taps {
                        *value += look.inside(x + step_x * tap as f32, y + step_y * tap as f32);
                        tap += 1;
                    }
                }
            } else {
                for value in row.iter_mut() {
                    for _ in 0..self.taps {
                        let t = f64::from(tap);
                        *value += look.at(x + cos * sub * t, y + sin * sub * t);
                        tap += 1;
                    }
                }
            }
        }
        for value in into.iter_mut() {
            *value *= weight;
        }
    }

    /// The common case, a glass that stands upright: all samples have the same fractions. False
    /// when the glass reaches over the border of the frame.
    fn take_upright(&self, luma: &GrayImage, shift_px: (f64, f64), into: &mut [f32]) -> bool {
        let taps = self.taps;
        let (across, along) = (self.cols * taps, self.rows * taps);
        let x = self.outline.centre_x_px + shift_px.0 - across as f64 / 2.0;
        let y = self.outline.centre_y_px + shift_px.1 - along as f64 / 2.0;
        let (width, height) = (luma.width() as usize, luma.height() as usize);
        if x < 0.0 || y < 0.0 || x as usize + across + 1 > width || y as usize + along + 1 > height
        {
            return false;
        }
        let (left, top) = (x as usize, y as usize);
        let (fx, fy) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let share = 1.0 / (taps * taps) as f32;
        let (w00, w01) = ((1.0 - fx) * (1.0 - fy) * share, fx * (1.0 - fy) * share);
        let (w10, w11) = ((1.0 - fx) * fy * share, fx * fy * share);
        let pixels = luma.as_raw();
        let mut line = vec![0.0_f32; across];
        for (row, out) in into.chunks_exact_mut(self.cols).enumerate() {
            line.fill(0.0);
            for tap in 0..taps {
                let upper = (top + row * taps + tap) * width + left;
                let lower = upper + width;
                let (Some(upper), Some(lower)) = (
                    pixels.get(upper..=upper + across),
                    pixels.get(lower..=lower + across),
                ) else {
                    return false;
                };
                let (Some(upper_next), Some(lower_next)) = (upper.get(1..), lower.get(1..)) else {
                    return false;
                };
                for ((((value, a), b), c), d) in line
                    .iter_mut()
                    .zip(upper)
                    .zip(upper_next)
                    .zip(lower)
                    .zip(lower_next)
                {
                    *value += f32::from(*a) * w00
                        + f32::from(*b) * w01
                        + f32::from(*c) * w10
                        + f32::from(*d) * w11;
                }
            }
            if taps == 1 {
                out.copy_from_slice(&line);
            } else {
                for (value, group) in out.iter_mut().zip(line.chunks_exact(taps)) {
                    *value = group.iter().sum();
                }
            }
        }
        true
    }
}

/// Bilinear look-up in picture space (a pixel's centre is at +0.5, +0.5), border repeated.
#[derive(Clone, Copy)]
pub(crate) struct Look<'a> {
    pixels: &'a [u8],
    width: usize,
    last_x: f64,
    last_y: f64,
}

impl<'a> Look<'a> {
    pub(crate) fn new(luma: &'a GrayImage) -> Self {
        Self {
            pixels: luma.as_raw(),
            width: luma.width() as usize,
            last_x: f64::from(luma.width().max(1) - 1),
            last_y: f64::from(luma.height().max(1) - 1),
        }
    }

    /// Whether a picture point and its neighbours lie within the frame.
    fn holds(&self, x_px: f64, y_px: f64) -> bool {
        x_px >= 0.5
            && y_px >= 0.5
            && x_px - 0.5 < self.last_x - 1.0
            && y_px - 0.5 < self.last_y - 1.0
    }

    /// Bilinear value at a position counted from the centre of the first pixel, which must lie
    /// within the frame.
    fn inside(&self, x: f32, y: f32) -> f32 {
        let (x, y) = (x.max(0.0), y.max(0.0));
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = (x - x0 as f32, y - y0 as f32);
        let at = y0 * self.width + x0;
        let upper = self.pixels.get(at..at + 2).unwrap_or(&[0, 0]);
        let lower = self
            .pixels
            .get(at + self.width..at + self.width + 2)
            .unwrap_or(&[0, 0]);
        let a = f32::from(upper[0]) + (f32::from(upper[1]) - f32::from(upper[0])) * fx;
        let b = f32::from(lower[0]) + (f32::from(lower[1]) - f32::from(lower[0])) * fx;
        a + (b - a) * fy
    }

    pub(crate) fn at(&self, x_px: f64, y_px: f64) -> f32 {
        let x = (x_px - 0.5).clamp(0.0, self.last_x);
        let y = (y_px - 0.5).clamp(0.0, self.last_y);
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let x1 = if (x0 as f64) < self.last_x {
            x0 + 1
        } else {
            x0
        };
        let y1 = if (y0 as f64) < self.last_y {
            y0 + 1
        } else {
            y0
        };
        let get = |x: usize, y: usize| {
            f32::from(self.pixels.get(y * self.width + x).copied().unwrap_or(0))
        };
        let upper = get(x0, y0) + (get(x1, y0) - get(x0, y0)) * fx;
        let lower = get(x0, y1) + (get(x1, y1) - get(x0, y1)) * fx;
        upper + (lower - upper) * fy
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sample_is_where_the_outline_says() {
        let outline = Outline::upright(GlassKind::Tube, 10.0, 20.0, 30.0, 60.0);
        let sampler = Sampler::new(&outline);
        assert_eq!(sampler.shape(), (60, 30));
        let luma = GrayImage::from_fn(64, 100, |x, y| image::Luma([(x + y) as u8]));
        let mut patch = Array2::zeros(sampler.shape());
        sampler.take(&luma, (0.0, 0.0), 0.0, &mut patch);
        assert!((patch[[0, 0]] - 30.0).abs() < 1e-4, "{}", patch[[0, 0]]);
        sampler.take(&luma, (0.5, -2.0), 0.0, &mut patch);
        assert!((patch[[10, 5]] - (30.0 + 15.0 - 1.5)).abs() < 1e-4);
        assert_eq!(
            sampler.picture_from_sample(0.0, 0.0, (0.0, 0.0), 0.0),
            (10.5, 20.5)
        );
    }

    #[test]
    fn a_big_glass_is_averaged_not_skipped() {
        let outline = Outline::upright(GlassKind::Port, 0.0, 0.0, 256.0, 256.0);
        let sampler = Sampler::new(&outline);
        assert_eq!(sampler.shape(), (85, 85));
        let stripes = GrayImage::from_fn(256, 256, |x, _| {
            image::Luma([if x % 3 == 0 { 0 } else { 150 }])
        });
        let mut patch = Array2::zeros(sampler.shape());
        sampler.take(&stripes, (0.0, 0.0), 0.0, &mut patch);
        assert!((patch[[32, 32]] - 100.0).abs() < 1.0);
        assert!(!sampler.inside()[[0, 0]]);
        assert!(sampler.inside()[[32, 32]]);
    }
}
