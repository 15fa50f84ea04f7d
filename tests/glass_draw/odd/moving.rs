//! What moves in an engine house and is no bead: laid over a still picture, at a time.

use std::f64::consts::TAU;

use super::Dice;
use image::{GrayImage, Luma};

/// What moves.
pub const MOVES: [&str; 9] = [
    "hand", "lamp", "belt", "steam", "flicker", "walker", "rod", "leak", "fan",
];

/// The picture with `kind` moving over it, drawn anew for each time.
pub fn moved(kind: &str, still: &GrayImage, seed: u64, at_secs: f64) -> GrayImage {
    let mut d = Dice(seed ^ 0x0D_D5);
    let (w, h) = still.dimensions();
    let (fw, fh) = (f64::from(w), f64::from(h));
    let mut out = still.clone();
    let mut over = |bounds: [f64; 4], shade: &dyn Fn(f64, f64, f64) -> f64| {
        let low = |v: f64, top: u32| (v.max(0.0) as u32).min(top);
        for y in low(bounds[1], h)..low(bounds[3].ceil(), h) {
            for x in low(bounds[0], w)..low(bounds[2].ceil(), w) {
                let was = f64::from(out.get_pixel(x, y)[0]);
                let now = shade(f64::from(x) + 0.5, f64::from(y) + 0.5, was);
                out.put_pixel(x, y, Luma([now.round().clamp(0.0, 255.0) as u8]));
            }
        }
    };
    match kind {
        // A forearm comes up from below, stays, and goes again.
        "hand" => {
            let (x0, skin) = (fw * d.between(0.2, 0.8), d.between(60.0, 200.0));
            let (wide, pace) = (fw * d.between(0.06, 0.15), d.between(0.25, 0.6));
            let up = (TAU * pace * at_secs / 2.0).sin().abs() * fh * d.between(0.4, 0.9);
            let x = x0 + 0.1 * fw * (TAU * 0.17 * at_secs).sin();
            over([x - wide, fh - up, x + wide, fh], &|px, py, was| {
                let half = 0.5 * wide * (0.7 + 0.6 * (py - (fh - up)) / fh);
                if (px - x).abs() < half {
                    skin * (1.0 - 0.4 * ((px - x) / half).powi(2))
                } else {
                    was
                }
            });
        }
        // A bright lamp on a cord, and the light it throws.
        "lamp" => {
            let (x0, y0, swing) = (
                fw * d.between(0.3, 0.7),
                fh * d.between(0.2, 0.6),
                fw * d.between(0.05, 0.3),
            );
            let phase = TAU * d.between(0.3, 0.9) * at_secs;
            let (x, y) = (
                x0 + swing * phase.sin(),
                y0 + 0.3 * swing * phase.sin().powi(2),
            );
            let r = fh * d.between(0.02, 0.06);
            over([0.0, 0.0, fw, fh], &|px, py, was| {
                let far = (px - x).hypot(py - y);
                let light = 1.0 + 0.35 * (-(far / (6.0 * r)).powi(2)).exp();
                if far < r { 252.0 } else { was * light }
            });
        }
        // An upright belt that runs, with joints.
        "belt" => {
            let (x, wide) = (fw * d.between(0.2, 0.8), fw * d.between(0.05, 0.12));
            let (shade, pitch) = (d.between(40.0, 150.0), fh * d.between(0.5, 1.6));
            let way = if d.chance(0.5) { 1.0 } else { -1.0 };
            let speed = way * fh * d.between(0.15, 1.2);
            let joint = d.between(0.02, 0.05) * fh;
            over([x, 0.0, x + wide, fh], &|px, py, _| {
                let place = (py + speed * at_secs).rem_euclid(pitch);
                let weave = 4.0 * ((py + speed * at_secs) * 0.21).sin();
                let edge = ((px - x) / wide - 0.5).abs();
                if place < joint {
                    shade * 1.7
                } else {
                    (shade + weave) * (1.1 - 0.3 * edge)
                }
            });
        }
        // Clouds that rise, grow, lean and fade.
        "steam" => {
            for k in 0..d.whole(2, 6) {
                let (x0, y0) = (fw * d.unit(), fh * d.between(0.6, 1.0));
                let (rise, drift) = (fh * d.between(0.1, 0.5), fw * d.between(-0.1, 0.1));
                let (life, thick) = (d.between(1.0, 3.0), d.between(30.0, 130.0));
                let age = (at_secs + 0.7 * k as f64).rem_euclid(life);
                let r = fh * (0.015 + 0.12 * age / life);
                let wave = 0.03 * fw * (3.0 * age + k as f64).sin();
                let (x, y) = (x0 + drift * age + wave, y0 - rise * age);
                over(
                    [x - 3.0 * r, y - 3.0 * r, x + 3.0 * r, y + 3.0 * r],
                    &|px, py, was| {
                        let far = ((px - x) / r).hypot((py - y) / (1.4 * r));
                        was + thick * (1.0 - age / life) * (-far * far).exp()
                    },
                );
            }
        }
        "flicker" => {
            let (part, hz) = (d.between(0.03, 0.12), d.between(0.6, 6.0));
            over([0.0, 0.0, fw, fh], &|_, py, was| {
                was * (1.0 + part * (TAU * (hz * at_secs + 1.7 * py / fh)).sin())
            });
        }
        // Somebody passes, who bobs.
        "walker" => {
            let (pace, shade) = (fw * d.between(0.15, 0.5), d.between(20.0, 140.0));
            let x = (d.unit() * fw + pace * at_secs).rem_euclid(1.4 * fw) - 0.2 * fw;
            let bob = 0.02 * fh * (TAU * 1.8 * at_secs).sin();
            let (wide, top) = (fw * d.between(0.05, 0.12), fh * d.between(0.1, 0.4) + bob);
            over([x - wide, top - wide, x + wide, fh], &|px, py, was| {
                let head = (px - x).hypot(py - top) < 0.45 * wide;
                let body = py > top + 0.4 * wide && (px - x).abs() < 0.9 * wide;
                if head || body { shade } else { was }
            });
        }
        // A rod that goes up and down with the engine, with an oil cup on it.
        "rod" => {
            let (x, wide) = (fw * d.between(0.2, 0.8), fw * d.between(0.01, 0.04));
            let (middle, stroke) = (fh * d.between(0.4, 0.6), fh * d.between(0.1, 0.3));
            let y = middle + stroke * (TAU * d.between(0.3, 1.2) * at_secs).sin();
            let shade = d.between(150.0, 240.0);
            over([x - 2.0 * wide, 0.0, x + 2.0 * wide, fh], &|px, py, was| {
                let off = (px - x).abs();
                if off < 1.6 * wide && (py - y).abs() < 1.6 * wide {
                    shade * 0.6
                } else if off < 0.5 * wide && py > y {
                    shade
                } else {
                    was
                }
            });
        }
        // Drops that fall.
        "leak" => {
            let (x, every) = (fw * d.between(0.2, 0.8), d.between(0.5, 1.5));
            let (from, g) = (fh * d.between(0.05, 0.3), fh * d.between(1.0, 4.0));
            let age = at_secs.rem_euclid(every);
            let y = from + 0.5 * g * age * age;
            let r = fh * d.between(0.008, 0.02);
            over([x - r, y - 2.0 * r, x + r, y + 2.0 * r], &|px, py, was| {
                if ((px - x) / r).hypot((py - y) / (1.5 * r)) < 1.0 {
                    (was - 90.0).max(10.0)
                } else {
                    was
                }
            });
        }
        // The shadow of a wheel's spokes.
        _ => {
            let (x, y, r) = (fw * d.unit(), fh * d.unit(), fh * d.between(0.2, 0.6));
            let (spokes, turns) = (d.whole(3, 8), d.between(0.1, 1.0));
            over([x - r, y - r, x + r, y + r], &|px, py, was| {
                let far = (px - x).hypot(py - y);
                let angle = (py - y).atan2(px - x) - TAU * turns * at_secs;
                let place = (angle / TAU * spokes as f64).rem_euclid(1.0);
                if far < r && place < 0.2 {
                    was * 0.6
                } else {
                    was
                }
            });
        }
    }
    out
}
