//! Looking at a frame between its pixels, in the ways that sampling and steadying need.

use image::GrayImage;

/// Bilinear look-up in picture space (a pixel's centre is at +0.5, +0.5), border repeated.
#[derive(Clone, Copy)]
pub(crate) struct Look<'a> {
    pixels: &'a [u8],
    width: usize,
    last_x: f64,
    last_y: f64,
    last_row: usize,
}

impl<'a> Look<'a> {
    pub(crate) fn new(luma: &'a GrayImage) -> Self {
        Self {
            pixels: luma.as_raw(),
            width: luma.width() as usize,
            last_x: f64::from(luma.width().max(1) - 1),
            last_y: f64::from(luma.height().max(1) - 1),
            last_row: (luma.height() as usize).saturating_sub(2),
        }
    }

    /// Whether a picture point and its neighbours lie within the frame.
    pub(super) fn holds(&self, x_px: f64, y_px: f64) -> bool {
        x_px >= 0.5
            && y_px >= 0.5
            && x_px - 0.5 < self.last_x - 1.0
            && y_px - 0.5 < self.last_y - 1.0
    }

    /// Value of one grey level in what [`Look::inside`] gives.
    pub(super) const WHOLE: f32 = 256.0;
    /// Binary places of a pixel in a fixed-point position.
    const PLACES: u32 = 16;

    /// A position or step in fixed point.
    pub(super) fn fixed(px: f64) -> i64 {
        (px * f64::from(1_u32 << Self::PLACES)).round() as i64
    }

    /// Bilinear value, in 256ths of a grey level, at a fixed-point position counted from the centre of
    /// the first pixel, which must lie within the frame.
    pub(super) fn inside(&self, (x, y): (i64, i64)) -> u32 {
        let part = |at: i64| (at >> (Self::PLACES - 8)) as u32 & 255;
        let (fx, fy) = (part(x), part(y));
        let at = (y >> Self::PLACES) as usize * self.width + (x >> Self::PLACES) as usize;
        let Some(square) = self.pixels.get(at..at + self.width + 2) else {
            return 0;
        };
        let level = |at: usize| u32::from(square[at]);
        // All fits 24 bits: nothing overflows.
        let mix = |a: u32, b: u32, share: u32| {
            a.wrapping_mul(256_u32.wrapping_sub(share))
                .wrapping_add(b.wrapping_mul(share))
        };
        let upper = mix(level(0), level(1), fx);
        let lower = mix(level(self.width), level(self.width + 1), fx);
        mix(upper, lower, fy) >> 8
    }

    /// A look at all points of a reference at once, each shifted by the same; none when some would lie
    /// outside the frame, or the frame is of another width.
    pub(crate) fn shifted(&self, ends: Ends, shift_px: (f64, f64)) -> Option<Shifted<'a>> {
        let (left, top) = (shift_px.0.floor(), shift_px.1.floor());
        let within = |(from, to): (f64, f64), by: f64, last: f64| {
            from.floor() + by >= 0.0 && to.floor() + by < last
        };
        if ends.width as usize != self.width
            || !within(ends.x_px, left, self.last_x)
            || !within(ends.y_px, top, self.last_y)
        {
            return None;
        }
        let (fx, fy) = ((shift_px.0 - left) as f32, (shift_px.1 - top) as f32);
        Some(Shifted {
            pixels: self.pixels,
            width: self.width,
            by: top as isize * self.width as isize + left as isize,
            weights: [
                (1.0 - fx) * (1.0 - fy),
                fx * (1.0 - fy),
                (1.0 - fx) * fy,
                fx * fy,
            ],
        })
    }

    /// Bilinear value at a picture point, quickly; the frame must be two pixels wide and high.
    pub(crate) fn near(&self, x_px: f32, y_px: f32) -> f32 {
        let x = (x_px - 0.5).max(0.0).min(self.last_x as f32);
        let y = (y_px - 0.5).max(0.0).min(self.last_y as f32);
        let x0 = (x as usize).min(self.width.saturating_sub(2));
        let y0 = (y as usize).min(self.last_row);
        let (fx, fy) = (x - x0 as f32, y - y0 as f32);
        let at = y0 * self.width + x0;
        let Some(square) = self.pixels.get(at..at + self.width + 2) else {
            return 0.0;
        };
        let level = |at: usize| f32::from(square[at]);
        let upper = level(0) + (level(1) - level(0)) * fx;
        let lower = level(self.width);
        let lower = lower + (level(self.width + 1) - lower) * fx;
        upper + (lower - upper) * fy
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

/// How far points of a picture reach.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ends {
    /// Least and greatest x of them, pixels.
    pub x_px: (f64, f64),
    /// The same of y.
    pub y_px: (f64, f64),
    /// Width of the picture, pixels.
    pub width: u32,
}

/// A frame looked at with one shift, see [`Look::shifted`].
#[derive(Clone, Copy)]
pub(crate) struct Shifted<'a> {
    pixels: &'a [u8],
    width: usize,
    by: isize,
    weights: [f32; 4],
}

impl Shifted<'_> {
    /// Value where the middle of a pixel of the reference is now, by that pixel's place.
    #[inline]
    pub(crate) fn at(&self, place: usize) -> f32 {
        let at = place.wrapping_add_signed(self.by);
        let Some(square) = self.pixels.get(at..at.saturating_add(self.width + 2)) else {
            return 0.0;
        };
        let (a, b) = (f32::from(square[0]), f32::from(square[1]));
        let (c, d) = (
            f32::from(square[self.width]),
            f32::from(square[self.width + 1]),
        );
        let [wa, wb, wc, wd] = self.weights;
        a * wa + b * wb + c * wc + d * wd
    }
}
