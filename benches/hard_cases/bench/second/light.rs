//! What happens to the light: flicker, exposure steps, lost contrast, noise, a film and moving
//! reflections on the glasses, steam, and somebody who walks past.

use image::GrayImage;
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

use super::Wrong;
use crate::bench::watch::TrueGlass;

/// At level 1: share of the light, of the exposure, of the contrast a minute; noise and brightness
/// of reflections in luma steps; thickness of steam; seconds between two passings.
const FLICKER: f64 = 0.08;
const EXPOSURE: f64 = 0.30;
const FILM_A_MINUTE: f64 = 0.5;
const NOISE: f64 = 4.0;
const REFLECTION: f64 = 40.0;
const STEAM: f64 = 0.5;
const PASSER_SECS: f64 = 12.0;
/// A lamp on 50 Hz mains flickers at twice that and a little off the camera's beat.
const LAMP_HZ: f64 = 100.1;
/// Seconds in which a rolling shutter reads the picture.
const READ_SECS: f64 = 0.024;
/// Seconds between two changes of the exposure, from and to.
const STEP_SECS: (f64, f64) = (1.5, 4.0);
/// Seconds that somebody takes to walk through the picture.
const WALK_SECS: f64 = 2.5;

/// Light on the whole picture and on the glasses.
#[derive(Clone, Debug)]
pub struct Light {
    flicker: f64,
    steps: Vec<(f64, f64)>,
    kept: f64,
    noise: f64,
    film_a_sec: f64,
    reflection: f64,
    passer_every: Option<f64>,
    seed: u64,
}

impl Light {
    /// The light of a clip of `secs`.
    #[must_use]
    pub fn new(wrong: &Wrong, secs: f64, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(3);
        let mut steps = Vec::new();
        let mut at = 0.0;
        while wrong.exposure > 0.0 && at < secs {
            at += rng.random_range(STEP_SECS.0..STEP_SECS.1);
            let way = [-1.0, 0.0, 1.0][rng.random_range(0..3)];
            steps.push((at, 1.0 + way * EXPOSURE * wrong.exposure));
        }
        Self {
            flicker: FLICKER * wrong.flicker,
            steps,
            kept: 1.0 / (1.0 + 4.0 * wrong.contrast),
            noise: NOISE * wrong.noise,
            film_a_sec: FILM_A_MINUTE * wrong.film / 60.0,
            reflection: REFLECTION * wrong.reflection,
            passer_every: (wrong.passer > 0.0).then(|| PASSER_SECS / wrong.passer),
            seed,
        }
    }

    /// What lies on the glasses themselves.
    pub fn on_glasses(
        &self,
        glasses: &[TrueGlass],
        size: (u32, u32),
        at_secs: f64,
        canvas: &mut [f32],
    ) {
        let film = (self.film_a_sec * at_secs).min(0.95) as f32;
        if film <= 0.0 && self.reflection <= 0.0 {
            return;
        }
        for (index, glass) in glasses.iter().enumerate() {
            let [left, top, width, height] = glass.upright_box;
            let (x0, x1) = (left.max(0.0) as u32, ((left + width) as u32).min(size.0));
            let (y0, y1) = (top.max(0.0) as u32, ((top + height) as u32).min(size.1));
            // A film shows the mean of what is behind it.
            let mean = mean_of(canvas, size, (x0, y0, x1, y1));
            // A bright line sways across, a bright spot swings up and down beside it.
            let turn = std::f64::consts::TAU * (at_secs / 5.3 + 0.37 * index as f64);
            let line_x = left + width * (0.5 + 0.35 * turn.sin());
            let spot = (
                left + width * (0.5 + 0.3 * (1.7 * turn).sin()),
                top + height * (0.5 + 0.3 * (9.1 * turn).sin()),
            );
            let (line_px, spot_px) = (0.02 * width + 0.7, (0.03 * width + 1.0, 0.04 * height));
            for y in y0..y1 {
                for x in x0..x1 {
                    let pixel = &mut canvas[(y * size.0 + x) as usize];
                    let across = (f64::from(x) - line_x) / line_px;
                    let (dx, dy) = (
                        (f64::from(x) - spot.0) / spot_px.0,
                        (f64::from(y) - spot.1) / spot_px.1,
                    );
                    let bright = 0.7 * (-across * across).exp() + (-dx * dx - dy * dy).exp();
                    *pixel += (self.reflection * bright) as f32;
                    *pixel += film * (mean - *pixel);
                }
            }
        }
    }

    /// The picture as 8 bits: passers, flicker, exposure, contrast, noise.
    #[must_use]
    pub fn develop(
        &self,
        size: (u32, u32),
        at_secs: f64,
        index: usize,
        canvas: &[f32],
    ) -> GrayImage {
        let gain = self
            .steps
            .iter()
            .rev()
            .find(|(from, _)| at_secs >= *from)
            .map_or(1.0, |(_, gain)| *gain);
        // Contrast is lost about mid-grey.
        let (kept, grey) = (self.kept as f32, 96.0 * (1.0 - self.kept as f32));
        let walker = self.walker(at_secs);
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed ^ 0x5EED);
        rng.set_stream(1000 + index as u64);
        let mut out = Vec::with_capacity(canvas.len());
        for (row, line) in canvas.chunks_exact(size.0 as usize).enumerate() {
            let read = at_secs + READ_SECS * row as f64 / f64::from(size.1);
            let swing = (std::f64::consts::TAU * LAMP_HZ * read).sin();
            // The light of a lamp swings evenly, a little steeper on the way up.
            let swing = swing + 0.2 * (2.0 * std::f64::consts::TAU * LAMP_HZ * read).sin();
            let gain = (gain * (1.0 + self.flicker * swing / 1.14)) as f32;
            for (column, &value) in line.iter().enumerate() {
                let mut value = value;
                if let Some(middle) = walker {
                    // A coat as wide as a quarter of the picture, with ragged edges.
                    let ragged = 4.0 * (0.11 * row as f64).sin();
                    let inside = 0.125 * f64::from(size.0)
                        - (column as f64 + ragged - middle * f64::from(size.0)).abs();
                    let share = (inside / 6.0).clamp(0.0, 1.0) as f32;
                    value += share * (38.0 - value);
                }
                let mut value = value * gain * kept + grey;
                if self.noise > 0.0 {
                    let step: f32 = StandardNormal.sample(&mut rng);
                    value += step * self.noise as f32;
                }
                out.push((value + 0.5) as u8);
            }
        }
        GrayImage::from_raw(size.0, size.1, out).unwrap_or_default()
    }

    /// Where somebody who walks past is, in picture widths; none when nobody is.
    fn walker(&self, at_secs: f64) -> Option<f64> {
        let every = self.passer_every?;
        let within = (at_secs - 3.0).rem_euclid(every) / WALK_SECS;
        (at_secs >= 3.0 && within <= 1.0).then_some(1.2 - 1.4 * within)
    }
}

fn mean_of(canvas: &[f32], size: (u32, u32), (x0, y0, x1, y1): (u32, u32, u32, u32)) -> f32 {
    let (mut sum, mut count) = (0.0_f64, 0.0_f64);
    for y in y0..y1 {
        for x in x0..x1 {
            sum += f64::from(canvas[(y * size.0 + x) as usize]);
            count += 1.0;
        }
    }
    (sum / count.max(1.0)) as f32
}

/// Steam: round puffs that rise, drift and grow.
#[derive(Clone, Debug)]
pub struct Clouds {
    thickness: f64,
    size: (u32, u32),
    /// Start place, drift a second (picture heights), size, phase.
    puffs: Vec<(f64, f64, f64, f64, f64, f64)>,
}

/// Puffs in the picture at once, and seconds that one lives.
const PUFFS: usize = 14;
const PUFF_SECS: f64 = 4.0;
/// Steam is worked out on a grid of this many pixels.
const GRID_PX: u32 = 8;

impl Clouds {
    /// The steam before a picture of that size.
    #[must_use]
    pub fn new(wrong: &Wrong, size: (u32, u32), seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(4);
        let aspect = f64::from(size.0) / f64::from(size.1.max(1));
        let puffs = (0..PUFFS)
            .map(|_| {
                (
                    rng.random_range(0.0..aspect),
                    rng.random_range(0.2..1.2),
                    rng.random_range(-0.12..0.12),
                    rng.random_range(0.08..0.25),
                    rng.random_range(0.10..0.22),
                    rng.random_range(0.0..PUFF_SECS),
                )
            })
            .collect();
        Self {
            thickness: STEAM * wrong.steam,
            size,
            puffs,
        }
    }

    /// Lays the steam of a moment over the picture.
    pub fn lay_over(&self, at_secs: f64, canvas: &mut [f32]) {
        const STEAM_LUMA: f32 = 190.0;
        if self.thickness <= 0.0 {
            return;
        }
        let height = f64::from(self.size.1);
        let (columns, rows) = (self.size.0 / GRID_PX + 2, self.size.1 / GRID_PX + 2);
        let share_at = |column: u32, row: u32| -> f32 {
            let (x, y) = (
                f64::from(column * GRID_PX) / height,
                f64::from(row * GRID_PX) / height,
            );
            let mut clear = 1.0;
            for &(x0, y0, vx, vy, radius, start) in &self.puffs {
                let age = (at_secs + start).rem_euclid(PUFF_SECS);
                let life = age / PUFF_SECS;
                let wide = radius * (0.7 + 0.8 * life);
                let (dx, dy) = (x - x0 - vx * age, y - y0 + vy * age);
                let dense = (std::f64::consts::PI * life).sin();
                let puff = dense * (-(dx * dx + dy * dy) / (2.0 * wide * wide)).exp();
                clear *= 1.0 - 0.8 * puff;
            }
            (self.thickness * (0.25 + 0.75 * (1.0 - clear)).min(1.0) * 1.6).min(1.0) as f32
        };
        let grid: Vec<f32> = (0..rows)
            .flat_map(|row| (0..columns).map(move |column| (column, row)))
            .map(|(column, row)| share_at(column, row))
            .collect();
        for (y, line) in canvas.chunks_exact_mut(self.size.0 as usize).enumerate() {
            let (row, v) = (
                y as u32 / GRID_PX,
                (y as u32 % GRID_PX) as f32 / GRID_PX as f32,
            );
            for (x, pixel) in line.iter_mut().enumerate() {
                let (column, u) = (
                    x as u32 / GRID_PX,
                    (x as u32 % GRID_PX) as f32 / GRID_PX as f32,
                );
                let at = |row: u32, column: u32| grid[(row * columns + column) as usize];
                let upper = at(row, column) + u * (at(row, column + 1) - at(row, column));
                let lower =
                    at(row + 1, column) + u * (at(row + 1, column + 1) - at(row + 1, column));
                let share = upper + v * (lower - upper);
                *pixel += share * (STEAM_LUMA - *pixel);
            }
        }
    }
}
