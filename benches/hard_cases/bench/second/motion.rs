//! A camera that moves: trembling, a knock for good, a slow zoom; one cubic resampling for all.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use super::Wrong;

/// At level 1: pixels either way, pixels and degrees of a knock, zoom a minute.
const SHAKE_PX: f64 = 3.0;
const KNOCK_PX: f64 = 12.0;
const KNOCK_DEG: f64 = 0.7;
const ZOOM_A_MINUTE: f64 = 0.03;
/// A shaken frame rings in this many tones between these, Hz.
const TONES: usize = 6;
const TONE_HZ: (f64, f64) = (5.0, 15.0);

/// One tone: Hz, phase, share across and down.
type Tone = (f64, f64, f64, f64);

/// How the camera moves.
#[derive(Clone, Debug)]
pub struct Motion {
    tones: Vec<Tone>,
    knock: Option<(f64, f64, f64, f64)>,
    zoom_a_sec: f64,
}

impl Motion {
    /// The motion of a clip of `secs`.
    #[must_use]
    pub fn new(wrong: &Wrong, secs: f64, seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(2);
        let mut tones: Vec<Tone> = Vec::new();
        if wrong.shake > 0.0 {
            for _ in 0..TONES {
                tones.push((
                    rng.random_range(TONE_HZ.0..TONE_HZ.1),
                    rng.random_range(0.0..std::f64::consts::TAU),
                    rng.random_range(-1.0..1.0),
                    rng.random_range(-1.0..1.0),
                ));
            }
            // Scaled so that the farthest it ever goes is the size asked for.
            let reach = |tones: &[Tone]| {
                (0..(secs * 120.0) as usize)
                    .map(|step| {
                        let (dx, dy) = sway(tones, step as f64 / 120.0);
                        dx.abs().max(dy.abs())
                    })
                    .fold(1e-9, f64::max)
            };
            let scale = SHAKE_PX * wrong.shake / reach(&tones);
            for tone in &mut tones {
                tone.2 *= scale;
                tone.3 *= scale;
            }
        }
        let knock = (wrong.knock > 0.0).then(|| {
            let turn: f64 = rng.random_range(0.0..std::f64::consts::TAU);
            let px = KNOCK_PX * wrong.knock;
            let sign = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
            (
                secs * rng.random_range(0.35..0.55),
                px * turn.cos(),
                px * turn.sin(),
                (sign * KNOCK_DEG * wrong.knock).to_radians(),
            )
        });
        Self {
            tones,
            knock,
            zoom_a_sec: ZOOM_A_MINUTE * wrong.zoom / 60.0,
        }
    }

    /// The picture as the moved camera sees it.
    #[must_use]
    pub fn seen(&self, size: (u32, u32), at_secs: f64, canvas: Vec<f32>) -> Vec<f32> {
        let zoom = 1.0 + self.zoom_a_sec * at_secs;
        let (mut dx, mut dy) = sway(&self.tones, at_secs);
        let mut turn = 0.0_f64;
        if let Some((from, kx, ky, rad)) = self.knock
            && at_secs >= from
        {
            dx += kx;
            dy += ky;
            turn = rad;
        }
        if dx == 0.0 && dy == 0.0 && turn == 0.0 && zoom == 1.0 {
            return canvas;
        }
        let (cos, sin) = (turn.cos() / zoom, turn.sin() / zoom);
        let middle = (
            0.5 * (f64::from(size.0) - 1.0),
            0.5 * (f64::from(size.1) - 1.0),
        );
        let mut out = Vec::with_capacity(canvas.len());
        for y in 0..size.1 {
            let v = f64::from(y) - middle.1 - dy;
            let (mut from_x, mut from_y) = (
                middle.0 + cos * (-middle.0 - dx) + sin * v,
                middle.1 - sin * (-middle.0 - dx) + cos * v,
            );
            for _ in 0..size.0 {
                out.push(cubic(&canvas, size, from_x, from_y));
                from_x += cos;
                from_y -= sin;
            }
        }
        out
    }
}

fn sway(tones: &[Tone], at_secs: f64) -> (f64, f64) {
    tones.iter().fold((0.0, 0.0), |sum, (hz, phase, x, y)| {
        let swing = (std::f64::consts::TAU * hz * at_secs + phase).sin();
        (sum.0 + x * swing, sum.1 + y * swing)
    })
}

/// Weights of four neighbours for a place between the middle two (Catmull and Rom).
fn weights(t: f32) -> [f32; 4] {
    [
        t * (-0.5 + t * (1.0 - 0.5 * t)),
        1.0 + t * t * (-2.5 + 1.5 * t),
        t * (0.5 + t * (2.0 - 1.5 * t)),
        t * t * (-0.5 + 0.5 * t),
    ]
}

fn cubic(canvas: &[f32], size: (u32, u32), x: f64, y: f64) -> f32 {
    let (left, top) = (x.floor(), y.floor());
    let (wx, wy) = (weights((x - left) as f32), weights((y - top) as f32));
    let (left, top) = (left as i64 - 1, top as i64 - 1);
    let (width, height) = (i64::from(size.0), i64::from(size.1));
    let inside = left >= 0 && top >= 0 && left + 4 <= width && top + 4 <= height;
    let mut sum = 0.0;
    for (row, wy) in (top..).zip(wy) {
        let row = row.clamp(0, height - 1) * width;
        let mut line = 0.0;
        if inside {
            let start = (row + left) as usize;
            for (value, wx) in canvas[start..start + 4].iter().zip(wx) {
                line += value * wx;
            }
        } else {
            for (column, wx) in (left..).zip(wx) {
                line += canvas[(row + column.clamp(0, width - 1)) as usize] * wx;
            }
        }
        sum += wy * line;
    }
    sum
}
