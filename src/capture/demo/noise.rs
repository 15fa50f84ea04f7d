//! Repeatable roughness: hashed value noise for surfaces, and a table of Gaussian numbers for the
//! sensor. It knows nothing of what it is laid on.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// A number from 0 to 1 for a cell of a grid, always the same for the same cell and salt.
#[must_use]
pub fn cell(x: i32, y: i32, salt: u32) -> f64 {
    let mut h = (x as u32).wrapping_mul(0x9E37_79B1)
        ^ (y as u32).wrapping_mul(0x85EB_CA77)
        ^ salt.wrapping_mul(0xC2B2_AE3D);
    h = (h ^ (h >> 15)).wrapping_mul(0x2C1B_3C6D);
    h = (h ^ (h >> 12)).wrapping_mul(0x297A_2D39);
    h ^= h >> 15;
    f64::from(h) / f64::from(u32::MAX)
}

/// Smooth noise from −1 to 1; one hill or hollow about every unit of x and y.
#[must_use]
pub fn smooth(x: f64, y: f64, salt: u32) -> f64 {
    let (fx, fy) = (x.floor(), y.floor());
    let (ix, iy) = (fx as i32, fy as i32);
    let ease = |t: f64| t * t * (3.0 - 2.0 * t);
    let (tx, ty) = (ease(x - fx), ease(y - fy));
    let mix = |a: f64, b: f64, t: f64| a + (b - a) * t;
    let upper = mix(cell(ix, iy, salt), cell(ix + 1, iy, salt), tx);
    let lower = mix(cell(ix, iy + 1, salt), cell(ix + 1, iy + 1, salt), tx);
    2.0 * mix(upper, lower, ty) - 1.0
}

/// Two octaves of [`smooth`], from −1 to 1.
#[must_use]
pub fn cloudy(x: f64, y: f64, salt: u32) -> f64 {
    (smooth(x, y, salt) + 0.5 * smooth(2.1 * x + 7.3, 2.1 * y - 3.1, salt ^ 0x55)) / 1.5
}

/// Length of the table of Gaussian numbers: a prime, longer than any row of a picture, so that
/// rows taken at random places do not repeat visibly.
const TABLE_LEN: usize = 40_009;

/// Gaussian numbers of unit spread, handed out in runs.
#[derive(Clone, Debug)]
pub struct Gaussian {
    table: Vec<f32>,
}

impl Gaussian {
    /// A table from a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let table = (0..TABLE_LEN)
            .map(|_| StandardNormal.sample(&mut rng))
            .collect();
        Self { table }
    }

    /// A run of `len` numbers (at most half the table) that depends on `key`.
    #[must_use]
    pub fn run(&self, key: u64, len: usize) -> &[f32] {
        let len = len.min(TABLE_LEN / 2);
        let mut h = key.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        h = (h ^ (h >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let start = ((h >> 20) % (TABLE_LEN - len) as u64) as usize;
        &self.table[start..start + len]
    }
}
