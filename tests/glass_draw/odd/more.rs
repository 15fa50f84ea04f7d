//! More odd pictures: what stands about in an engine house and is round, upright or bright.

use super::{Canvas, Dice};

pub(super) const KINDS: [&str; 8] = [
    "lamps",
    "hands",
    "screen",
    "railing",
    "water gauge",
    "bulbs",
    "levers",
    "valves",
];

/// Draws `kind` on a canvas; false when it is none of these.
pub(super) fn draw(
    c: &mut Canvas,
    kind: &str,
    d: &mut Dice,
    size: (f64, f64),
    ground: f32,
) -> bool {
    let (fw, fh) = size;
    let other = |d: &mut Dice| {
        let far = d.between(40.0, 160.0) as f32;
        if ground > 128.0 {
            (ground - far).max(5.0)
        } else {
            (ground + far).min(250.0)
        }
    };
    match kind {
        "lamps" => {
            for i in 0..d.whole(1, 5) {
                let (x, y) = (fw * (0.12 + 0.19 * i as f64), fh * d.between(0.25, 0.6));
                let r = fh * d.between(0.05, 0.14);
                c.rect(60.0, x - 0.1 * r, y, 0.2 * r, fh);
                for k in 0..6 {
                    let grow = 1.8 - 0.16 * f64::from(k);
                    let shade = ground + (252.0 - ground) * (0.16 * (k + 1) as f32).min(1.0);
                    c.disc(shade, x, y, grow * r, grow * r);
                }
                c.rect(50.0, x - 0.5 * r, y - 1.25 * r, r, 0.5 * r);
            }
        }
        "hands" => {
            let skin = d.between(120.0, 210.0) as f32;
            let (x0, y0) = (fw * d.between(0.15, 0.4), fh * d.between(0.45, 0.6));
            let thick = fw * d.between(0.05, 0.08);
            for i in 0..4 {
                let x = x0 + f64::from(i) * 1.15 * thick;
                let long = fh * d.between(0.25, 0.38);
                c.cylinder(skin, x, y0 - long, thick, long + 0.1 * fh, 0.2);
                c.disc(
                    skin * 0.95,
                    x + 0.5 * thick,
                    y0 - long,
                    0.5 * thick,
                    0.5 * thick,
                );
                c.disc(
                    skin * 1.1,
                    x + 0.5 * thick,
                    y0 - long,
                    0.28 * thick,
                    0.36 * thick,
                );
                for k in [0.35, 0.7] {
                    c.rect(skin * 0.8, x, y0 - long * k, thick, 0.05 * thick);
                }
            }
            c.rect(skin * 0.95, x0 - 0.2 * thick, y0, 5.0 * thick, fh);
        }
        "screen" => {
            c.rect(30.0, 0.1 * fw, 0.1 * fh, 0.8 * fw, 0.75 * fh);
            c.rect(205.0, 0.13 * fw, 0.14 * fh, 0.74 * fw, 0.67 * fh);
            // Bars of a chart, and lines of text.
            let bars = d.whole(3, 10);
            let pitch = 0.66 * fw / bars as f64;
            for i in 0..bars {
                let tall = fh * d.between(0.08, 0.45);
                let x = 0.17 * fw + i as f64 * pitch;
                c.rect(
                    d.between(40.0, 150.0) as f32,
                    x,
                    0.72 * fh - tall,
                    0.6 * pitch,
                    tall,
                );
            }
            c.rect(60.0, 0.15 * fw, 0.72 * fh, 0.7 * fw, 0.006 * fh);
            for i in 0..d.whole(1, 4) {
                let y = fh * (0.16 + 0.03 * i as f64);
                c.rect(90.0, 0.16 * fw, y, fw * d.between(0.2, 0.6), 0.012 * fh);
            }
            c.rect(40.0, 0.45 * fw, 0.85 * fh, 0.1 * fw, 0.1 * fh);
        }
        "railing" => {
            let (pitch, shade) = (fw * d.between(0.08, 0.2), other(d));
            let thick = pitch * d.between(0.08, 0.25);
            let (top, foot) = (d.between(0.15, 0.35) * fh, d.between(0.8, 0.97) * fh);
            let mut x = pitch * d.unit();
            while x < fw {
                c.cylinder(shade, x, top, thick, foot - top, 0.3);
                c.disc(shade, x + thick / 2.0, top, 1.2 * thick, 1.2 * thick);
                c.rect(shade * 0.8, x - 0.6 * thick, foot, 2.2 * thick, 0.6 * thick);
                x += pitch;
            }
            for k in [0.0, 0.5] {
                c.rect(shade * 0.9, 0.0, top + k * (foot - top), fw, 0.8 * thick);
            }
        }
        "water gauge" => {
            // A boiler's water gauge: a tube between cocks, a level, and nothing that rises.
            for i in 0..d.whole(1, 2) {
                let x = fw * (0.3 + 0.35 * i as f64);
                let (gw, top, foot) = (
                    fw * d.between(0.03, 0.07),
                    fh * d.between(0.12, 0.25),
                    fh * d.between(0.75, 0.88),
                );
                let level = top + (foot - top) * d.between(0.2, 0.8);
                c.cylinder(150.0, x - gw, top - 1.2 * gw, 2.0 * gw, 1.2 * gw, 0.2);
                c.cylinder(150.0, x - gw, foot, 2.0 * gw, 1.2 * gw, 0.2);
                c.cylinder(ground * 0.6 + 60.0, x - gw / 2.0, top, gw, foot - top, -0.3);
                c.rect(
                    ground * 0.5 + 30.0,
                    x - 0.3 * gw,
                    level,
                    0.6 * gw,
                    foot - level,
                );
            }
        }
        "bulbs" => {
            // Upright lamp tubes with caps at both ends.
            let count = d.whole(1, 6);
            let pitch = 0.9 * fw / count as f64;
            let bw = (pitch * d.between(0.2, 0.5)).min(0.1 * fw);
            let (top, foot) = (0.15 * fh, fh * d.between(0.6, 0.88));
            for i in 0..count {
                let x = 0.05 * fw + (i as f64 + 0.5) * pitch - bw / 2.0;
                c.rect(250.0, x, top, bw, foot - top);
                c.cylinder(140.0, x, top - 0.7 * bw, bw, 0.7 * bw, 0.1);
                c.cylinder(140.0, x, foot, bw, 0.7 * bw, 0.1);
            }
        }
        "levers" => {
            c.rect(other(d), 0.0, 0.8 * fh, fw, fh);
            for i in 0..d.whole(2, 6) {
                let x = fw * (0.1 + 0.15 * i as f64);
                let lean = d.between(-0.15, 0.15) * fw;
                let shade = d.between(30.0, 220.0) as f32;
                let thick = fw * d.between(0.012, 0.03);
                c.line(shade, (x, 0.8 * fh), (x + lean, 0.3 * fh), thick);
                c.disc(shade, x + lean, 0.3 * fh, 1.3 * thick, 1.6 * thick);
                c.rect(
                    shade * 0.7,
                    x - 2.0 * thick,
                    0.78 * fh,
                    4.0 * thick,
                    0.04 * fh,
                );
            }
        }
        "valves" => {
            for i in 0..d.whole(1, 4) {
                let (x, y) = (fw * (0.2 + 0.22 * i as f64), fh * d.between(0.3, 0.6));
                let r = fh * d.between(0.08, 0.16);
                let shade = other(d);
                c.cylinder(shade, x - 0.3 * r, y, 0.6 * r, 3.0 * r, 0.2);
                c.ring(shade, x, y, r, 0.18 * r);
                for k in 0..5 {
                    let (s, co) = (f64::from(k) * std::f64::consts::TAU / 5.0).sin_cos();
                    c.line(shade, (x, y), (x + 0.9 * r * s, y + 0.9 * r * co), 0.12 * r);
                }
                c.disc(shade * 0.8, x, y, 0.22 * r, 0.22 * r);
            }
        }
        _ => return false,
    }
    true
}
