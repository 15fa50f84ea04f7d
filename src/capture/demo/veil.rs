//! What faults lay over the picture: oil that fills a glass, a film on it, steam, somebody walking
//! past, a camera that trembles, and the sensor's answer to the light. It changes pixels only;
//! when and how strongly is left to the faults.

use image::GrayImage;

use super::faults::Sensor;
use super::noise::{self, Gaussian};
use super::reflection::Mirrored;
use super::scene::Scene;

/// The pixels of one glass: how much of each pixel is glass, and what it shows when full of oil.
#[derive(Clone, Debug)]
pub struct Patch {
    left: u32,
    top: u32,
    width: u32,
    cover: Vec<f32>,
    oily: Vec<f32>,
}

impl Patch {
    /// The patch of one glass of the scene.
    #[must_use]
    pub fn new(scene: &Scene, index: usize) -> Option<Self> {
        // Points a side at which a pixel is asked whether it is glass.
        const SUB: u32 = 3;
        let glass = scene.glasses.get(index)?;
        let (half, top) = (scene.half_glass_mm(), scene.space.top_mm);
        let (x0, y0, x1, y1) = glass
            .stand
            .pixels_round((-half, -top, half, top), scene.size_px);
        let (mut cover, mut oily) = (Vec::new(), Vec::new());
        for y in y0..y1 {
            for x in x0..x1 {
                let inside = (0..SUB * SUB)
                    .filter(|sub| {
                        let at =
                            |p: u32, s: u32| f64::from(p) + (f64::from(s) + 0.5) / f64::from(SUB);
                        let (gx, gy) = glass
                            .stand
                            .glass_from_picture(at(x, sub % SUB), at(y, sub / SUB));
                        scene.on_glass(glass, gx, gy)
                    })
                    .count();
                cover.push(inside as f32 / (SUB * SUB) as f32);
                let (gx, gy) = glass
                    .stand
                    .glass_from_picture(f64::from(x) + 0.5, f64::from(y) + 0.5);
                oily.push(if inside > 0 {
                    scene.oily_luma(glass, gx, gy) as f32
                } else {
                    0.0
                });
            }
        }
        Some(Self {
            left: x0,
            top: y0,
            width: x1 - x0,
            cover,
            oily,
        })
    }

    /// Runs over the pixels that are glass: position in the picture and in the patch.
    fn pixels(&self) -> impl Iterator<Item = (u32, u32, usize)> + '_ {
        let width = self.width.max(1) as usize;
        self.cover
            .iter()
            .enumerate()
            .filter(|&(_, &cover)| cover > 0.0)
            .map(move |(at, _)| {
                (
                    self.left + (at % width) as u32,
                    self.top + (at / width) as u32,
                    at,
                )
            })
    }

    /// Fills the glass with oil above `level_mm` (above mid-glass).
    pub fn flood(&self, scene: &Scene, index: usize, level_mm: f64, canvas: &mut [f32]) {
        // The line between oil and water is seen as a dark band this thick, mm.
        const LINE_MM: f64 = 0.8;
        let Some(glass) = scene.glasses.get(index) else {
            return;
        };
        let line_luma = (0.4 * scene.lighting.panel) as f32;
        let soft = 0.5 / glass.stand.px_per_mm;
        for (x, y, at) in self.pixels() {
            let (_, gy) = glass
                .stand
                .glass_from_picture(f64::from(x) + 0.5, f64::from(y) + 0.5);
            let above = gy - level_mm;
            if above < -soft {
                continue;
            }
            let share = (((above + soft) / (2.0 * soft)).min(1.0)) as f32 * self.cover[at];
            let luma = if above < LINE_MM {
                line_luma
            } else {
                self.oily[at]
            };
            let pixel = &mut canvas[y as usize * scene.size_px.0 as usize + x as usize];
            *pixel += share * (luma - *pixel);
        }
    }

    /// Lays a film over the glass that takes `share` of the contrast.
    pub fn film(&self, scene: &Scene, salt: u32, share: f64, canvas: &mut [f32]) {
        // Smears on a glass are some pixels wide across and long down.
        const ACROSS_PX: f64 = 9.0;
        const DOWN_PX: f64 = 30.0;
        let luma = scene.lighting.film_luma() as f32;
        for (x, y, at) in self.pixels() {
            let smear = noise::smooth(
                f64::from(x) / ACROSS_PX,
                f64::from(y) / DOWN_PX,
                salt ^ 0xF11A,
            );
            let share = (share * (1.0 + 0.15 * smear)).min(1.0) as f32 * self.cover[at];
            let pixel = &mut canvas[y as usize * scene.size_px.0 as usize + x as usize];
            *pixel += share * (luma - *pixel);
        }
    }

    /// Adds what the front of the glass mirrors.
    pub fn mirror(&self, scene: &Scene, index: usize, things: &[Mirrored], canvas: &mut [f32]) {
        let Some(glass) = scene.glasses.get(index) else {
            return;
        };
        for (x, y, at) in self.pixels() {
            let (gx, gy) = glass
                .stand
                .glass_from_picture(f64::from(x) + 0.5, f64::from(y) + 0.5);
            let luma: f64 = things.iter().map(|thing| thing.luma_at(gx, gy)).sum();
            let pixel = &mut canvas[y as usize * scene.size_px.0 as usize + x as usize];
            *pixel += luma as f32 * self.cover[at];
        }
    }

    /// Darkens the glass where somebody stands behind it. What is behind a round glass is seen
    /// left for right.
    pub fn shade_behind(&self, scene: &Scene, index: usize, place: f64, canvas: &mut [f32]) {
        // A person keeps this share of the light from what is behind the glass.
        const TAKEN: f32 = 0.6;
        let Some(glass) = scene.glasses.get(index) else {
            return;
        };
        let (width, height) = (f64::from(scene.size_px.0), f64::from(scene.size_px.1));
        let middle = glass.stand.centre_px.0;
        for (x, y, at) in self.pixels() {
            let seen = (2.0 * middle - f64::from(x)) / width;
            let share = person(seen - place, f64::from(y) / height) as f32;
            let pixel = &mut canvas[y as usize * scene.size_px.0 as usize + x as usize];
            *pixel *= 1.0 - TAKEN * share * self.cover[at];
        }
    }
}

/// How much of a point is covered by somebody whose middle is at 0: across in picture widths, down
/// in picture heights. A body with a round head, soft at the edges.
fn person(across: f64, down: f64) -> f64 {
    const HALF_BODY: f64 = 0.15;
    const SOFT: f64 = 0.03;
    let edge = |inside: f64| (inside / SOFT).clamp(0.0, 1.0);
    let head = edge(0.09 - across.hypot(0.7 * (down - 0.08)));
    let shoulder = 0.16 + 0.5 * (across.abs() - 0.08).max(0.0);
    let body = edge(HALF_BODY - across.abs()) * edge(down - shoulder + SOFT);
    head.max(body)
}

/// Somebody between the camera and the lubricator, at a place across the picture.
pub fn pass_before(size_px: (u32, u32), place: f64, canvas: &mut [f32]) {
    // A dark coat out of the light, luma.
    const COAT: f32 = 24.0;
    let (width, height) = (f64::from(size_px.0), f64::from(size_px.1));
    for (y, row) in canvas.chunks_exact_mut(size_px.0 as usize).enumerate() {
        let from = (((place - 0.2) * width).max(0.0) as usize).min(row.len());
        let to = (((place + 0.2) * width).max(0.0) as usize).min(row.len());
        for (x, pixel) in row.iter_mut().enumerate().take(to).skip(from) {
            let share = person(x as f64 / width - place, y as f64 / height) as f32;
            *pixel += share * (COAT - *pixel);
        }
    }
}

/// Steam that drifts up and across before everything, `thickness` 0 to 1.
pub fn steam(size_px: (u32, u32), now_secs: f64, thickness: f64, salt: u32, canvas: &mut [f32]) {
    // Steam is computed on a grid of this many pixels and smoothed in between.
    const GRID_PX: usize = 16;
    // Clouds are this share of the picture's height wide.
    const CLOUD_SHARE: f64 = 0.28;
    // Drift, in clouds a second.
    const DRIFT: (f64, f64) = (0.25, 0.55);
    const STEAM_LUMA: f32 = 205.0;
    let (width, height) = (size_px.0 as usize, size_px.1 as usize);
    let columns = width / GRID_PX + 2;
    let cloud_px = CLOUD_SHARE * f64::from(size_px.1);
    let line = |row: usize| -> Vec<f32> {
        (0..columns)
            .map(|column| {
                let x = (column * GRID_PX) as f64 / cloud_px - DRIFT.0 * now_secs;
                let y = (row * GRID_PX) as f64 / cloud_px + DRIFT.1 * now_secs;
                let cloud = noise::cloudy(
                    x + 0.3 * noise::smooth(y, 0.2 * now_secs, salt),
                    y,
                    salt ^ 9,
                );
                (thickness * (0.30 + 1.3 * cloud).clamp(0.0, 1.0)) as f32
            })
            .collect()
    };
    let mut upper = line(0);
    for band in 0..height.div_ceil(GRID_PX) {
        let lower = line(band + 1);
        for down in 0..GRID_PX.min(height - band * GRID_PX) {
            let v = down as f32 / GRID_PX as f32;
            let start = (band * GRID_PX + down) * width;
            for (cell, pixels) in canvas[start..start + width].chunks_mut(GRID_PX).enumerate() {
                let left = upper[cell] + v * (lower[cell] - upper[cell]);
                let right = upper[cell + 1] + v * (lower[cell + 1] - upper[cell + 1]);
                let step = (right - left) / GRID_PX as f32;
                let mut share = left;
                for pixel in pixels {
                    *pixel += share * (STEAM_LUMA - *pixel);
                    share += step;
                }
            }
        }
        upper = lower;
    }
}

/// Shifts a picture by a part of a pixel: `out` shows at (x, y) what `canvas` has at
/// (x − dx, y − dy); edges are repeated.
pub fn shift(size_px: (u32, u32), (dx, dy): (f64, f64), canvas: &[f32], out: &mut [f32]) {
    let width = size_px.0 as usize;
    let (last_x, last_y) = (i64::from(size_px.0) - 1, i64::from(size_px.1) - 1);
    let (whole_x, whole_y) = ((-dx).floor(), (-dy).floor());
    let (part_x, part_y) = ((-dx - whole_x) as f32, (-dy - whole_y) as f32);
    let row_at = |y: i64| {
        let row = (y + whole_y as i64).clamp(0, last_y) as usize;
        &canvas[row * width..(row + 1) * width]
    };
    let mut mixed = vec![0.0_f32; width];
    for (y, out_row) in (0..=last_y).zip(out.chunks_exact_mut(width)) {
        for ((mix, &upper), &lower) in mixed.iter_mut().zip(row_at(y)).zip(row_at(y + 1)) {
            *mix = upper + part_y * (lower - upper);
        }
        for (x, out) in (0..=last_x).zip(out_row) {
            let from = x + whole_x as i64;
            let left = mixed[from.clamp(0, last_x) as usize];
            let right = mixed[(from + 1).clamp(0, last_x) as usize];
            *out = left + part_x * (right - left);
        }
    }
}

/// Enlarges a picture about its middle and shifts it row by row, by parts of a pixel: row y of
/// `out` shows what a camera sees that has moved the picture by `shift_px(y)`. Edges are repeated.
pub fn moved(
    size_px: (u32, u32),
    zoom: f64,
    shift_px: impl Fn(u32) -> (f64, f64),
    canvas: &[f32],
    out: &mut [f32],
) {
    let width = size_px.0 as usize;
    let (last_x, last_y) = (f64::from(size_px.0) - 1.0, f64::from(size_px.1) - 1.0);
    let (middle_x, middle_y) = (0.5 * last_x, 0.5 * last_y);
    let step = 1.0 / zoom;
    let mut mixed = vec![0.0_f32; width];
    for (y, out_row) in (0..size_px.1).zip(out.chunks_exact_mut(width)) {
        let (dx, dy) = shift_px(y);
        let from_y = (middle_y + (f64::from(y) - middle_y - dy) * step).clamp(0.0, last_y);
        let upper = from_y as usize;
        let lower = (upper + 1).min(last_y as usize);
        let part = (from_y - upper as f64) as f32;
        let (upper, lower) = (&canvas[upper * width..], &canvas[lower * width..]);
        for ((mix, &upper), &lower) in mixed.iter_mut().zip(upper).zip(lower) {
            *mix = upper + part * (lower - upper);
        }
        if zoom == 1.0 {
            // The same part of a pixel all along the row.
            let whole = (-dx).floor();
            let part = (-dx - whole) as f32;
            let at = |x: i64| mixed[x.clamp(0, width as i64 - 1) as usize];
            for (x, out) in (whole as i64..).zip(out_row) {
                let left = at(x);
                *out = left + part * (at(x + 1) - left);
            }
            continue;
        }
        let first_x = middle_x - (middle_x + dx) * step;
        for (x, out) in out_row.iter_mut().enumerate() {
            let from_x = (first_x + x as f64 * step).clamp(0.0, last_x);
            let left = from_x as usize;
            let part = (from_x - left as f64) as f32;
            let right = (left + 1).min(width - 1);
            *out = mixed[left] + part * (mixed[right] - mixed[left]);
        }
    }
}

/// The sensor: gain, offset and flicker, then noise of a spread (luma steps at mid-grey, less in
/// the dark), then 8 bits. `key` chooses the noise; `readout_secs` is the time from the first row
/// to the last.
#[must_use]
pub fn develop(
    canvas: &[f32],
    size_px: (u32, u32),
    gaussian: &Gaussian,
    sensor: &Sensor,
    key: u64,
    readout_secs: f64,
) -> GrayImage {
    let (width, height) = size_px;
    let mut pixels = vec![0_u8; canvas.len()];
    // Half the variance at mid-grey comes from reading out, half from the light itself.
    let by_luma: Vec<f32> = (0..=255)
        .map(|luma| (sensor.noise * (0.5 + 0.5 * f64::from(luma) / 128.0).sqrt()) as f32)
        .collect();
    let row_len = width as usize;
    let row_secs = readout_secs / f64::from(height.max(1));
    let offset = sensor.offset as f32 + 0.5;
    for (row, (out, values)) in pixels
        .chunks_exact_mut(row_len)
        .zip(canvas.chunks_exact(row_len))
        .enumerate()
    {
        let flicker = sensor.flicker.map_or(1.0, |(share, hz, first_secs)| {
            let at = first_secs + row as f64 * row_secs;
            1.0 + share * (std::f64::consts::TAU * hz * at).sin()
        });
        let gain = (sensor.gain * flicker) as f32;
        let run = gaussian.run(key.wrapping_mul(8191).wrapping_add(row as u64), row_len);
        for ((out, &value), &step) in out.iter_mut().zip(values).zip(run) {
            let value = value * gain + offset;
            *out = (value + step * by_luma[usize::from(value as u8)]) as u8;
        }
    }
    GrayImage::from_raw(width, height, pixels).unwrap_or_default()
}
