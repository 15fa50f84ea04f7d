//! Working pictures for the finder: luma as floating point at a reduced scale, smoothed, with its
//! slopes. It knows nothing of glasses.

use image::{ImageBuffer, Luma};
use imageproc::filter::gaussian_blur_f32;

/// A picture of floating-point luma, 0 to 255.
pub(super) type Plane = ImageBuffer<Luma<f32>, Vec<f32>>;

/// Smoothing before slopes are taken, pixels (sigma): wide enough to quieten camera noise and the
/// block edges of video, narrow enough to keep the two lines of a glass rim apart.
const SMOOTH_PX: f32 = 0.9;

/// A smoothed picture with its slopes in luma per pixel.
///
/// Coordinates are those of picture space: the centre of the upper left pixel is (0.5, 0.5).
#[derive(Clone, Debug)]
pub(super) struct Slopes {
    /// Width, pixels.
    pub width: usize,
    /// Height, pixels.
    pub height: usize,
    /// Slope to the right.
    pub across: Vec<f32>,
    /// Slope downwards.
    pub down: Vec<f32>,
    /// Standard deviation of the slopes in flat parts: the noise.
    pub noise: f32,
}

impl Slopes {
    /// Smooths `plane` and takes its slopes.
    pub fn of(plane: &Plane) -> Self {
        let (width, height) = (plane.width() as usize, plane.height() as usize);
        let smooth = gaussian_blur_f32(plane, SMOOTH_PX).into_raw();
        let mut across = vec![0.0; width * height];
        let mut down = vec![0.0; width * height];
        for y in 0..height {
            let row = &smooth[y * width..(y + 1) * width];
            for x in 1..width.saturating_sub(1) {
                across[y * width + x] = (row[x + 1] - row[x - 1]) / 2.0;
            }
        }
        for y in 1..height.saturating_sub(1) {
            for x in 0..width {
                down[y * width + x] =
                    (smooth[(y + 1) * width + x] - smooth[(y - 1) * width + x]) / 2.0;
            }
        }
        let noise = quiet_level(&across);
        Self {
            width,
            height,
            across,
            down,
            noise,
        }
    }

    /// Slope (to the right, downwards) at a point between pixels; 0 outside the picture.
    #[inline]
    pub fn at(&self, x: f32, y: f32) -> (f32, f32) {
        let (x, y) = (x - 0.5, y - 0.5);
        if !(x >= 0.0 && y >= 0.0) {
            return (0.0, 0.0);
        }
        let (column, row) = (x as usize, y as usize);
        if column + 1 >= self.width || row + 1 >= self.height {
            return (0.0, 0.0);
        }
        let index = row * self.width + column;
        let (fx, fy) = (x - column as f32, y - row as f32);
        let mix = |values: &[f32]| {
            let upper = &values[index..index + 2];
            let lower = &values[index + self.width..index + self.width + 2];
            let a = upper[0] + (upper[1] - upper[0]) * fx;
            let b = lower[0] + (lower[1] - lower[0]) * fx;
            a + (b - a) * fy
        };
        (mix(&self.across), mix(&self.down))
    }
}

/// A robust standard deviation of values that are mostly noise about 0 (1.4826 × median of the
/// magnitudes), from a sample of them.
fn quiet_level(values: &[f32]) -> f32 {
    /// Take every so-manieth value: some tens of thousands are plenty for a median.
    const STRIDE: usize = 17;
    let mut sizes: Vec<f32> = values.iter().step_by(STRIDE).map(|v| v.abs()).collect();
    1.4826 * median(&mut sizes)
}

/// The median (upper of the two middle values); 0 for nothing. Reorders `values`.
pub(super) fn median(values: &mut [f32]) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}
