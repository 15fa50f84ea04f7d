//! Invented pictures that show no lubricator, though many have upright edges, rings, or both.

use super::{Dice, coded};
use image::GrayImage;

mod more;
mod moving;
mod things;

#[allow(
    unused_imports,
    reason = "each test file uses its own part of the helper"
)]
pub use moving::{MOVES, moved};

/// More of them.
pub const MORE_KINDS: [&str; 8] = more::KINDS;
/// And more.
pub const THINGS: [&str; 14] = things::KINDS;

/// What an odd picture shows.
pub const KINDS: [&str; 20] = [
    "blank",
    "noise",
    "gradient",
    "stripes",
    "text",
    "bricks",
    "window",
    "books",
    "face",
    "clock",
    "dials",
    "pipes",
    "fence",
    "checks",
    "bottles",
    "portholes",
    "plate",
    "radiator",
    "door",
    "trees",
];

struct Canvas {
    w: usize,
    h: usize,
    v: Vec<f32>,
}

impl Canvas {
    /// Fills where `inside` says so, with soft edges (3×3 samples).
    fn fill(&mut self, shade: f32, bounds: [f64; 4], inside: impl Fn(f64, f64) -> bool) {
        let clamp = |v: f64, top: usize| (v.max(0.0) as usize).min(top);
        let (x0, x1) = (
            clamp(bounds[0].floor(), self.w),
            clamp(bounds[2].ceil(), self.w),
        );
        let (y0, y1) = (
            clamp(bounds[1].floor(), self.h),
            clamp(bounds[3].ceil(), self.h),
        );
        for y in y0..y1 {
            for x in x0..x1 {
                let mut hits = 0_u8;
                for i in 0..3 {
                    for j in 0..3 {
                        let px = x as f64 + (f64::from(i) + 0.5) / 3.0;
                        let py = y as f64 + (f64::from(j) + 0.5) / 3.0;
                        hits += u8::from(inside(px, py));
                    }
                }
                let part = f32::from(hits) / 9.0;
                let pixel = &mut self.v[y * self.w + x];
                *pixel += (shade - *pixel) * part;
            }
        }
    }
    fn rect(&mut self, shade: f32, x: f64, y: f64, w: f64, h: f64) {
        self.fill(shade, [x, y, x + w, y + h], |px, py| {
            px >= x && px < x + w && py >= y && py < y + h
        });
    }
    fn disc(&mut self, shade: f32, x: f64, y: f64, rx: f64, ry: f64) {
        self.fill(shade, [x - rx, y - ry, x + rx, y + ry], |px, py| {
            ((px - x) / rx).hypot((py - y) / ry) < 1.0
        });
    }
    fn ring(&mut self, shade: f32, x: f64, y: f64, r: f64, thick: f64) {
        self.fill(shade, [x - r, y - r, x + r, y + r], |px, py| {
            let d = (px - x).hypot(py - y);
            d < r && d > r - thick
        });
    }
    fn line(&mut self, shade: f32, from: (f64, f64), to: (f64, f64), thick: f64) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy).max(1e-9);
        let bounds = [
            from.0.min(to.0) - thick,
            from.1.min(to.1) - thick,
            from.0.max(to.0) + thick,
            from.1.max(to.1) + thick,
        ];
        self.fill(shade, bounds, |px, py| {
            let (ux, uy) = (px - from.0, py - from.1);
            let along = (ux * dx + uy * dy) / length;
            let off = (ux * dy - uy * dx).abs() / length;
            along >= 0.0 && along <= length && off < thick / 2.0
        });
    }
    /// An upright cylinder: bright towards one side.
    fn cylinder(&mut self, shade: f32, x: f64, y: f64, w: f64, h: f64, lit: f64) {
        let steps = 24;
        for i in 0..steps {
            let u = (f64::from(i) + 0.5) / f64::from(steps) * 2.0 - 1.0;
            let shine = (1.0 - (u - lit).powi(2)).max(0.15);
            let part = w / f64::from(steps);
            self.rect(
                (f64::from(shade) * shine) as f32,
                x + f64::from(i) * part,
                y,
                part + 0.5,
                h,
            );
        }
    }
}

/// Draws the odd picture `kind` with this seed.
pub fn draw_odd(kind: &str, seed: u64, size: (u32, u32)) -> GrayImage {
    let mut d = Dice(seed ^ 0x0DD);
    let (w, h) = (size.0 as usize, size.1 as usize);
    let (fw, fh) = (w as f64, h as f64);
    let ground = d.between(30.0, 220.0) as f32;
    let mut c = Canvas {
        w,
        h,
        v: vec![ground; w * h],
    };
    let other = |d: &mut Dice| -> f32 {
        let far = d.between(40.0, 160.0) as f32;
        if ground > 128.0 {
            (ground - far).max(5.0)
        } else {
            (ground + far).min(250.0)
        }
    };
    let lean = d.between(-0.12, 0.12);
    match kind {
        _ if more::draw(&mut c, kind, &mut d, (fw, fh), ground) => {}
        _ if things::draw(&mut c, kind, &mut d, (fw, fh), ground) => {}
        "blank" => {}
        "noise" => {
            for v in &mut c.v {
                *v = (128.0 + 50.0 * d.normal()) as f32;
            }
        }
        "gradient" => {
            for (i, v) in c.v.iter_mut().enumerate() {
                *v = 30.0 + 190.0 * ((i % w) as f32 / w as f32) * ((i / w) as f32 / h as f32);
            }
        }
        "stripes" => {
            let (pitch, shade) = (d.between(12.0, 160.0), other(&mut d));
            let part = d.between(0.3, 0.7);
            c.fill(shade, [0.0, 0.0, fw, fh], |x, y| {
                ((x + lean * y) / pitch).rem_euclid(1.0) < part
            });
        }
        "text" => {
            let (size, ink) = (d.between(10.0, 40.0), other(&mut d));
            let mut y = 0.08 * fh;
            while y < 0.92 * fh {
                let mut x = 0.08 * fw;
                while x < 0.9 * fw {
                    if d.chance(0.83) {
                        let stroke = size * 0.13;
                        let (cw, ch) = (size * d.between(0.3, 0.6), size * d.between(0.6, 1.0));
                        for _ in 0..d.whole(2, 4) {
                            match d.whole(0, 3) {
                                0 => c.rect(ink, x, y + size - ch, stroke, ch),
                                1 => c.rect(ink, x + cw - stroke, y + size - ch, stroke, ch),
                                2 => c.rect(ink, x, y + size - ch * d.unit(), cw, stroke),
                                _ => {
                                    c.ring(
                                        ink,
                                        x + cw / 2.0,
                                        y + size - cw / 2.0,
                                        cw / 2.0,
                                        stroke,
                                    );
                                }
                            }
                        }
                        x += cw + size * 0.15;
                    } else {
                        x += size * 0.4;
                    }
                }
                y += size * 1.6;
            }
        }
        "bricks" => {
            let (bw, bh) = (d.between(40.0, 140.0), d.between(18.0, 60.0));
            let mortar = other(&mut d);
            let gap = bh * d.between(0.06, 0.15);
            for row in 0..=(fh / bh) as i32 {
                let shift = if row % 2 == 0 { 0.0 } else { bw / 2.0 };
                for column in -1..=(fw / bw) as i32 {
                    let shade = ground + (8.0 * d.normal()) as f32;
                    let (x, y) = (f64::from(column) * bw + shift, f64::from(row) * bh);
                    c.rect(mortar, x, y, bw, bh);
                    c.rect(shade, x + gap, y + gap, bw - gap, bh - gap);
                }
            }
        }
        "window" => {
            let (nx, ny) = (d.whole(1, 5), d.whole(1, 3));
            let (frame, pane) = (other(&mut d), d.between(60.0, 230.0) as f32);
            let (pw, ph) = (0.8 * fw / nx as f64, 0.8 * fh / ny as f64);
            let bar = pw * d.between(0.05, 0.15);
            c.rect(
                frame,
                0.1 * fw - bar,
                0.1 * fh - bar,
                0.8 * fw + 2.0 * bar,
                0.8 * fh + 2.0 * bar,
            );
            for i in 0..nx {
                for j in 0..ny {
                    let (x, y) = (0.1 * fw + i as f64 * pw, 0.1 * fh + j as f64 * ph);
                    c.rect(pane, x + bar, y + bar, pw - 2.0 * bar, ph - 2.0 * bar);
                    // Something outside, seen through the pane.
                    let level = y + ph * d.between(0.5, 0.8);
                    c.rect(
                        pane * 0.7,
                        x + bar,
                        level,
                        pw - 2.0 * bar,
                        y + ph - bar - level,
                    );
                    if d.chance(0.5) {
                        c.line(
                            pane * 0.5,
                            (x + pw * 0.5, level),
                            (x + pw * d.between(0.3, 0.7), y + ph * 0.3),
                            pw * 0.06,
                        );
                    }
                }
            }
        }
        "books" => {
            let shelves = d.whole(1, 3);
            let sh = fh / shelves as f64;
            for s in 0..shelves {
                let base = (s as f64 + 0.93) * sh;
                c.rect(other(&mut d), 0.0, base, fw, 0.07 * sh);
                let mut x = 0.0;
                while x < fw {
                    let (bw, bh) = (d.between(0.03, 0.12) * fw, sh * d.between(0.55, 0.8));
                    let shade = d.between(30.0, 220.0) as f32;
                    c.rect(shade, x, base - bh, bw, bh);
                    let ink = if shade > 120.0 {
                        shade - 70.0
                    } else {
                        shade + 80.0
                    };
                    // Title bands, and often a maker's mark at the foot.
                    for _ in 0..d.whole(0, 3) {
                        c.rect(ink, x, base - bh * d.between(0.2, 0.95), bw, bh * 0.02);
                    }
                    if d.chance(0.5) {
                        c.rect(
                            ink,
                            x + bw * 0.4,
                            base - bh * d.between(0.12, 0.2),
                            bw * 0.2,
                            bh * 0.08,
                        );
                    }
                    for k in 0..d.whole(0, 8) {
                        c.rect(
                            ink,
                            x + bw * 0.35,
                            base - bh * (0.35 + 0.06 * k as f64),
                            bw * 0.3,
                            bh * 0.035,
                        );
                    }
                    x += bw + d.between(0.0, 0.01) * fw;
                }
            }
        }
        "face" => {
            for i in 0..d.whole(1, 3) {
                let (x, y) = (fw * (0.2 + 0.3 * i as f64), fh * d.between(0.35, 0.6));
                let r = fh * d.between(0.15, 0.28);
                c.disc(70.0, x, y - 0.2 * r, 0.85 * r, 1.15 * r);
                c.disc(185.0, x, y, 0.75 * r, r);
                c.rect(165.0, x - 0.3 * r, y + 0.9 * r, 0.6 * r, 0.6 * r);
                c.rect(90.0, x - 1.3 * r, y + 1.4 * r, 2.6 * r, 2.0 * r);
                for e in [-0.3, 0.3] {
                    c.disc(235.0, x + e * r, y - 0.15 * r, 0.14 * r, 0.08 * r);
                    c.disc(40.0, x + e * r, y - 0.15 * r, 0.07 * r, 0.07 * r);
                    c.rect(80.0, x + e * r - 0.16 * r, y - 0.34 * r, 0.32 * r, 0.05 * r);
                }
                c.line(
                    150.0,
                    (x, y - 0.1 * r),
                    (x - 0.08 * r, y + 0.25 * r),
                    0.04 * r,
                );
                c.disc(120.0, x, y + 0.5 * r, 0.3 * r, 0.08 * r);
            }
        }
        "clock" | "dials" => {
            let count = if kind == "clock" {
                d.whole(1, 2)
            } else {
                d.whole(2, 6)
            };
            let r = (fw / (count as f64 * 2.6)).min(fh * 0.38);
            for i in 0..count {
                let (x, y) = (fw * (i as f64 + 0.5) / count as f64, fh * 0.5);
                let face = d.between(150.0, 245.0) as f32;
                c.disc(50.0, x, y, 1.12 * r, 1.12 * r);
                c.disc(face, x, y, r, r);
                for k in 0..60 {
                    let long = if k % 5 == 0 { 0.14 } else { 0.06 };
                    if kind == "dials" && (23..37).contains(&k) {
                        continue;
                    }
                    let (s, co) = (f64::from(k) * std::f64::consts::TAU / 60.0).sin_cos();
                    c.line(
                        30.0,
                        (x + s * 0.95 * r, y - co * 0.95 * r),
                        (x + s * (0.95 - long) * r, y - co * (0.95 - long) * r),
                        0.025 * r,
                    );
                }
                let hands: &[f64] = if kind == "clock" {
                    &[0.5, 0.8]
                } else {
                    &[0.85]
                };
                for &long in hands {
                    let a = if d.chance(0.3) {
                        std::f64::consts::PI
                    } else {
                        d.between(0.0, std::f64::consts::TAU)
                    };
                    let (s, co) = a.sin_cos();
                    c.line(
                        20.0,
                        (x, y),
                        (x + s * long * r, y - co * long * r),
                        0.05 * r,
                    );
                }
                c.disc(20.0, x, y, 0.06 * r, 0.06 * r);
            }
        }
        "pipes" => {
            let count = d.whole(1, 7);
            let pw = fw / count as f64 * d.between(0.2, 0.6);
            let lit = d.between(-0.6, 0.6);
            for i in 0..count {
                let x = fw * (i as f64 + 0.5) / count as f64 - pw / 2.0;
                c.cylinder(d.between(120.0, 240.0) as f32, x, 0.0, pw, fh, lit);
                // Flanges with bolts.
                for y in [d.between(0.05, 0.3) * fh, d.between(0.65, 0.9) * fh] {
                    c.cylinder(160.0, x - 0.15 * pw, y, 1.3 * pw, 0.3 * pw, lit);
                    for b in 0..3 {
                        c.rect(
                            70.0,
                            x + (0.1 + 0.35 * f64::from(b)) * pw,
                            y - 0.1 * pw,
                            0.1 * pw,
                            0.1 * pw,
                        );
                    }
                }
            }
        }
        "fence" => {
            let (pitch, shade) = (d.between(25.0, 110.0), other(&mut d));
            let part = d.between(0.3, 0.75);
            let (top, foot) = (d.between(0.1, 0.3) * fh, d.between(0.75, 0.95) * fh);
            let mut x = 0.0;
            while x < fw {
                c.rect(shade, x, top, pitch * part, foot - top);
                x += pitch;
            }
            for y in [0.25, 0.75] {
                c.rect(shade * 0.8, 0.0, top + y * (foot - top), fw, pitch * 0.3);
            }
        }
        "checks" => {
            let (cell, shade) = (d.between(15.0, 90.0), other(&mut d));
            c.fill(shade, [0.0, 0.0, fw, fh], |x, y| {
                let (u, v) = (x + lean * y, y - lean * x);
                ((u / cell).floor() + (v / cell).floor()).rem_euclid(2.0) < 1.0
            });
        }
        "bottles" => {
            let count = d.whole(2, 7);
            let bw = fw / count as f64 * d.between(0.35, 0.7);
            let base = fh * 0.85;
            c.rect(other(&mut d), 0.0, base, fw, fh);
            for i in 0..count {
                let (x, bh) = (
                    fw * (i as f64 + 0.5) / count as f64,
                    fh * d.between(0.35, 0.55),
                );
                let shade = d.between(60.0, 200.0) as f32;
                c.cylinder(shade, x - bw / 2.0, base - bh, bw, bh, 0.3);
                c.cylinder(
                    shade,
                    x - bw * 0.18,
                    base - bh * 1.4,
                    bw * 0.36,
                    bh * 0.42,
                    0.3,
                );
                c.rect(
                    shade * 0.4,
                    x - bw * 0.2,
                    base - bh * 1.5,
                    bw * 0.4,
                    bh * 0.12,
                );
                // A label.
                c.rect(225.0, x - bw / 2.0, base - bh * 0.7, bw, bh * 0.45);
                c.rect(60.0, x - bw * 0.25, base - bh * 0.55, bw * 0.5, bh * 0.08);
            }
        }
        "portholes" => {
            let count = d.whole(1, 6);
            let r = (fw / (count as f64 * 3.0)).min(fh * 0.3);
            for i in 0..count {
                let (x, y) = (fw * (i as f64 + 0.5) / count as f64, fh * 0.5);
                c.disc(150.0, x, y, 1.3 * r, 1.3 * r);
                c.disc(other(&mut d), x, y, r, r);
                for k in 0..8 {
                    let (s, co) = (f64::from(k) * std::f64::consts::TAU / 8.0).sin_cos();
                    c.disc(
                        80.0,
                        x + s * 1.15 * r,
                        y + co * 1.15 * r,
                        0.07 * r,
                        0.07 * r,
                    );
                }
                if d.chance(0.5) {
                    c.rect(110.0, x - 0.85 * r, y + 0.3 * r, 1.7 * r, 0.1 * r);
                }
            }
        }
        "plate" => {
            let pitch = d.between(40.0, 140.0);
            let r = pitch * d.between(0.1, 0.3);
            let mut y = pitch / 2.0;
            while y < fh {
                let mut x = pitch / 2.0;
                while x < fw {
                    c.disc(ground * 0.5, x + r * 0.2, y + r * 0.25, r * 1.05, r * 1.05);
                    c.disc((ground * 1.2).min(250.0), x, y, r, r);
                    c.disc(
                        (ground * 1.35).min(255.0),
                        x - r * 0.3,
                        y - r * 0.3,
                        r * 0.35,
                        r * 0.35,
                    );
                    x += pitch;
                }
                y += pitch;
            }
        }
        "radiator" => {
            let count = d.whole(5, 14);
            let pw = 0.8 * fw / count as f64;
            let (top, foot) = (0.2 * fh, 0.8 * fh);
            for i in 0..count {
                let x = 0.1 * fw + i as f64 * pw;
                c.cylinder(215.0, x, top, pw * 0.82, foot - top, -0.3);
                c.disc(190.0, x + pw * 0.41, top, pw * 0.41, pw * 0.3);
                c.disc(170.0, x + pw * 0.41, foot, pw * 0.41, pw * 0.3);
            }
            c.rect(150.0, 0.08 * fw, foot - 0.06 * fh, 0.84 * fw, 0.02 * fh);
        }
        "door" => {
            for i in 0..d.whole(1, 3) {
                let (x, dw) = (fw * (0.1 + 0.3 * i as f64), fw * 0.2);
                let shade = other(&mut d);
                c.rect(shade * 0.6, x - 0.06 * dw, 0.12 * fh, 1.12 * dw, 0.8 * fh);
                c.rect(shade, x, 0.15 * fh, dw, 0.75 * fh);
                for (py, ph) in [(0.2, 0.2), (0.45, 0.38)] {
                    c.rect(shade * 0.75, x + 0.15 * dw, py * fh, 0.7 * dw, ph * fh);
                    c.rect(
                        shade * 0.9,
                        x + 0.19 * dw,
                        (py + 0.015) * fh,
                        0.62 * dw,
                        (ph - 0.03) * fh,
                    );
                }
                c.disc(230.0, x + 0.9 * dw, 0.53 * fh, 0.04 * dw, 0.04 * dw);
            }
        }
        _ => {
            for _ in 0..d.whole(3, 12) {
                let x = fw * d.unit();
                let (tw, foot) = (fw * d.between(0.01, 0.06), fh * d.between(0.7, 1.0));
                let shade = d.between(20.0, 110.0) as f32;
                c.line(shade, (x, foot), (x + fw * d.between(-0.05, 0.05), 0.0), tw);
                for _ in 0..5 {
                    let y = foot * d.unit();
                    c.line(
                        shade,
                        (x, y),
                        (x + fw * d.between(-0.2, 0.2), y - fh * d.between(0.05, 0.3)),
                        tw * 0.3,
                    );
                }
            }
        }
    }
    let noise = d.between(0.5, 3.0) as f32;
    let mut out = GrayImage::new(size.0, size.1);
    for (pixel, v) in out.iter_mut().zip(&c.v) {
        *pixel = (v + noise * d.normal() as f32).round().clamp(0.0, 255.0) as u8;
    }
    coded(&out, d.whole(40, 90) as u8)
}
