//! Invented pictures of sight glasses for tests: a small ray tracer of its own (round water-filled
//! tubes between fittings, ports in a plate), with the true outlines. It shares nothing with the
//! instrument.
#![allow(dead_code, reason = "each test file uses its own part of the helper")]
#![allow(missing_docs, reason = "a helper of tests")]
#![allow(clippy::unwrap_used, reason = "a test that cannot draw must fail")]

pub mod cases;
mod compare;
pub mod odd;
mod scene;
pub mod score;
pub mod trouble;

#[allow(
    unused_imports,
    reason = "each test file uses its own part of the helper"
)]
pub use compare::{iou, outline};
#[allow(
    unused_imports,
    reason = "each test file uses its own part of the helper"
)]
pub use scene::{Film, Light, Picture, Scene, Shape, TrueGlass, coded, draw};

/// A number that whoever runs the test gives by an environment variable.
pub fn number_from(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

/// A small deterministic generator of numbers (splitmix64).
#[derive(Clone, Debug)]
pub struct Dice(pub u64);

impl Dice {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    /// 0 to 1.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }
    pub fn whole(&mut self, low: u64, high: u64) -> u64 {
        low + self.bits() % (high - low + 1)
    }
    pub fn chance(&mut self, part: f64) -> bool {
        self.unit() < part
    }
    /// Nearly normal, mean 0, deviation 1, from one draw: noise of many pixels.
    pub fn grain(&mut self) -> f64 {
        let bits = self.bits();
        let sum: u64 = (0..4).map(|k| (bits >> (16 * k)) & 0xFFFF).sum();
        (sum as f64 / 65_536.0 - 2.0) * 3.0_f64.sqrt()
    }
    /// About normal, mean 0, deviation 1.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}
