//! What spoils a picture: shake, flicker, steam, a film, noise, low contrast, a video coder.

use std::f64::consts::TAU;

use image::GrayImage;

use super::{Dice, odd};

/// The same picture shaken and flickering.
pub fn troubled(luma: &GrayImage, (shake, flicker): (f64, f64), at_secs: f64) -> GrayImage {
    if shake <= 0.0 {
        return luma.clone();
    }
    let (w, h) = luma.dimensions();
    let wave = |hz: f64, phase: f64| (std::f64::consts::TAU * hz * at_secs + phase).sin();
    let (dx, dy) = (
        shake * (0.7 * wave(7.1, 0.3) + 0.3 * wave(11.3, 2.0)),
        shake * (0.7 * wave(5.9, 1.1) + 0.3 * wave(13.7, 0.2)),
    );
    GrayImage::from_fn(w, h, |x, y| {
        let at = |v: f64, top: u32| v.clamp(0.0, f64::from(top - 1) - 1e-6);
        let (sx, sy) = (at(f64::from(x) + dx, w), at(f64::from(y) + dy, h));
        let (x0, y0) = (sx as u32, sy as u32);
        let (fx, fy) = (sx.fract(), sy.fract());
        let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
        let value = |x: u32, y: u32| f64::from(luma.get_pixel(x, y)[0]);
        let mixed = (value(x0, y0) * (1.0 - fx) + value(x1, y0) * fx) * (1.0 - fy)
            + (value(x0, y1) * (1.0 - fx) + value(x1, y1) * fx) * fy;
        let band = std::f64::consts::TAU * (f64::from(y) / f64::from(h) * 1.7 + at_secs * 3.1);
        image::Luma([(mixed * (1.0 + flicker * band.sin()))
            .round()
            .clamp(0.0, 255.0) as u8])
    })
}

/// One thing that spoils pictures; drawn over them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spoil {
    None,
    /// Noise of 4 grey levels.
    Noise,
    /// Contrast down to a fifth.
    Contrast,
    /// Clouds that rise and grow.
    Steam,
    /// A milky film that hides half of the contrast, unevenly.
    Film,
    /// Blur and a coarse coder of 8 × 8 blocks, as a phone's video in a dim room.
    Blocks,
}

/// The same picture spoiled, at a time.
pub fn spoiled(luma: &GrayImage, spoil: Spoil, seed: u64, at_secs: f64) -> GrayImage {
    let mut dice = Dice(seed ^ 0x5_7011 ^ ((at_secs * 1000.0) as u64) << 20);
    let each = |luma: &GrayImage, change: &mut dyn FnMut(u32, u32, f64) -> f64| {
        let mut out = luma.clone();
        for (x, y, pixel) in out.enumerate_pixels_mut() {
            let value = change(x, y, f64::from(pixel[0]));
            pixel[0] = value.round().clamp(0.0, 255.0) as u8;
        }
        out
    };
    match spoil {
        Spoil::None => luma.clone(),
        Spoil::Noise => each(luma, &mut |_, _, v| v + 4.0 * dice.grain()),
        Spoil::Contrast => each(luma, &mut |_, _, v| {
            100.0 + 0.2 * (v - 100.0) + 0.7 * dice.grain()
        }),
        Spoil::Steam => odd::moved("steam", luma, seed, at_secs),
        Spoil::Film => {
            let (w, h) = luma.dimensions();
            let (fx, fy) = (TAU / f64::from(w), TAU / f64::from(h));
            each(luma, &mut |x, y, v| {
                let thick =
                    0.5 + 0.15 * (3.0 * fx * f64::from(x)).sin() * (2.0 * fy * f64::from(y)).cos();
                v + thick * (150.0 - v)
            })
        }
        Spoil::Blocks => blocked(&image::imageops::blur(luma, 1.0), 26.0),
    }
}

/// Each 8 × 8 block as the steps of its cosines, coarser for the finer ones.
fn blocked(luma: &GrayImage, step: f64) -> GrayImage {
    let (w, h) = luma.dimensions();
    let wave: Vec<[f64; 8]> = (0..8)
        .map(|k| {
            std::array::from_fn(|i| {
                let norm = if k == 0 { 0.125_f64.sqrt() } else { 0.5 };
                norm * (TAU / 32.0 * (2 * i + 1) as f64 * f64::from(k)).cos()
            })
        })
        .collect();
    let mut out = luma.clone();
    for by in (0..h).step_by(8) {
        for bx in (0..w).step_by(8) {
            let at = |x: usize, y: usize| {
                let (px, py) = ((bx + x as u32).min(w - 1), (by + y as u32).min(h - 1));
                f64::from(luma.get_pixel(px, py)[0])
            };
            // Rows, then columns; steps; and back.
            let mut rows = [[0.0_f64; 8]; 8];
            for (y, row) in rows.iter_mut().enumerate() {
                for (k, value) in row.iter_mut().enumerate() {
                    *value = (0..8).map(|x| wave[k][x] * at(x, y)).sum();
                }
            }
            let mut coarse = [[0.0_f64; 8]; 8];
            for (j, line) in coarse.iter_mut().enumerate() {
                for (k, value) in line.iter_mut().enumerate() {
                    let full: f64 = (0..8).map(|y| wave[j][y] * rows[y][k]).sum();
                    let step = step * (0.5 + 0.12 * (j + k) as f64);
                    *value = (full / step).round() * step;
                }
            }
            for y in 0..8 {
                for x in 0..8 {
                    let (px, py) = (bx + x as u32, by + y as u32);
                    if px < w && py < h {
                        let value: f64 = (0..8)
                            .map(|j| {
                                wave[j][y] * (0..8).map(|k| wave[k][x] * coarse[j][k]).sum::<f64>()
                            })
                            .sum();
                        out.put_pixel(px, py, image::Luma([value.round().clamp(0.0, 255.0) as u8]));
                    }
                }
            }
        }
    }
    out
}
