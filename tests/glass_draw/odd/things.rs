//! Still more odd pictures: things on walls, boards and shelves that stand upright, are of one size,
//! and often have something short at the foot.

use super::{Canvas, Dice};

pub(super) const KINDS: [&str; 14] = [
    "ladder",
    "thermometers",
    "tools",
    "plants",
    "gauges",
    "test card",
    "organ pipes",
    "candles",
    "jars",
    "keys",
    "switchboard",
    "columns",
    "hooks",
    "test tubes",
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
        "ladder" => {
            for i in 0..d.whole(1, 2) {
                let (x, wide) = (
                    fw * (0.12 + 0.45 * i as f64 + 0.1 * d.unit()),
                    fw * d.between(0.1, 0.25),
                );
                let (rail, shade) = (wide * d.between(0.08, 0.2), other(d));
                let pitch = wide * d.between(0.5, 0.9);
                for side in [0.0, wide] {
                    c.cylinder(shade, x + side, 0.0, rail, fh, 0.2);
                }
                let mut y = pitch * d.unit();
                while y < fh {
                    c.rect(shade * 0.85, x, y, wide, 0.7 * rail);
                    y += pitch;
                }
            }
        }
        "thermometers" => {
            let count = d.whole(1, 4);
            let pitch = 0.9 * fw / count as f64;
            for i in 0..count {
                let x = 0.05 * fw + (i as f64 + 0.5) * pitch;
                let wide = (pitch * d.between(0.3, 0.6)).min(0.18 * fw);
                let (top, foot) = (fh * d.between(0.08, 0.2), fh * d.between(0.8, 0.92));
                c.rect(other(d), x - wide / 2.0, top, wide, foot - top);
                let (stem, bulb) = (wide * d.between(0.1, 0.18), wide * d.between(0.12, 0.2));
                let low = foot - 2.0 * bulb;
                c.rect(235.0, x - stem / 2.0, top + 0.06 * fh, stem, low - top);
                let level = low - (low - top) * d.between(0.2, 0.7);
                c.rect(40.0, x - stem / 4.0, level, stem / 2.0, low - level);
                c.disc(40.0, x, low, bulb, bulb);
                for k in 0..d.whole(8, 25) {
                    let y = top + 0.1 * fh + (low - top - 0.15 * fh) * k as f64 / 25.0;
                    let long = wide * if k % 5 == 0 { 0.22 } else { 0.12 };
                    c.rect(30.0, x + 0.6 * stem, y, long, 0.004 * fh);
                }
            }
        }
        "tools" => {
            let count = d.whole(3, 8);
            let pitch = 0.9 * fw / count as f64;
            let top = fh * d.between(0.15, 0.3);
            c.rect(other(d), 0.0, top, fw, 0.03 * fh);
            for i in 0..count {
                let x = 0.05 * fw + (i as f64 + 0.5) * pitch;
                let (grip, rod) = (pitch * d.between(0.15, 0.4), pitch * d.between(0.05, 0.15));
                let (shade, steel) = (
                    d.between(20.0, 230.0) as f32,
                    d.between(120.0, 230.0) as f32,
                );
                let long = fh * d.between(0.15, 0.3);
                match d.whole(0, 2) {
                    // A screwdriver hangs grip down or up.
                    0 => {
                        c.cylinder(steel, x - rod / 2.0, top, rod, long, 0.3);
                        c.cylinder(shade, x - grip / 2.0, top + long, grip, 0.8 * long, 0.3);
                    }
                    1 => {
                        c.cylinder(shade, x - grip / 2.0, top, grip, long, 0.3);
                        c.cylinder(steel, x - rod / 2.0, top + long, rod, long, 0.3);
                    }
                    // A hammer.
                    _ => {
                        c.rect(steel, x - 0.4 * pitch, top - 0.5 * grip, 0.8 * pitch, grip);
                        c.cylinder(shade, x - rod, top + 0.5 * grip, 2.0 * rod, 1.6 * long, 0.2);
                    }
                }
            }
        }
        "plants" => {
            for i in 0..d.whole(1, 4) {
                let x = fw * (0.15 + 0.24 * i as f64);
                let (wide, tall) = (fw * d.between(0.05, 0.1), fh * d.between(0.12, 0.22));
                let base = fh * 0.92;
                for k in 0..5 {
                    let part = wide * (1.0 + 0.06 * f64::from(k));
                    let y = base - tall * (f64::from(k) + 1.0) / 5.0;
                    c.cylinder(150.0, x - part / 2.0, y, part, tall / 5.0 + 1.0, 0.2);
                }
                for _ in 0..d.whole(3, 14) {
                    let to = (
                        x + fw * d.between(-0.13, 0.13),
                        base - tall - fh * d.between(0.1, 0.6),
                    );
                    let shade = d.between(30.0, 110.0) as f32;
                    c.line(shade, (x, base - tall), to, 0.006 * fw);
                    c.disc(
                        shade * 1.2,
                        to.0,
                        to.1,
                        fw * d.between(0.008, 0.03),
                        fh * 0.03,
                    );
                }
            }
        }
        "gauges" => {
            // Round faces, each on its pipe, the hand often upright.
            let count = d.whole(1, 4);
            let r = (fw / (count as f64 * 3.0)).min(fh * 0.28);
            for i in 0..count {
                let (x, y) = (
                    fw * (i as f64 + 0.5) / count as f64,
                    fh * d.between(0.35, 0.5),
                );
                c.cylinder(170.0, x - 0.15 * r, y + r, 0.3 * r, fh, 0.2);
                c.cylinder(120.0, x - 0.25 * r, y + 1.15 * r, 0.5 * r, 0.3 * r, 0.2);
                c.disc(d.between(30.0, 200.0) as f32, x, y, 1.15 * r, 1.15 * r);
                let face = d.between(170.0, 250.0) as f32;
                c.disc(face, x, y, r, r);
                let marks = d.whole(0, 24);
                for k in 0..marks {
                    let a = 0.8 + 4.7 * k as f64 / marks as f64;
                    let (s, co) = a.sin_cos();
                    c.line(
                        40.0,
                        (x - s * 0.92 * r, y + co * 0.92 * r),
                        (x - s * 0.8 * r, y + co * 0.8 * r),
                        0.03 * r,
                    );
                }
                let a = if d.chance(0.5) {
                    std::f64::consts::PI
                } else {
                    d.between(0.0, std::f64::consts::TAU)
                };
                let (s, co) = a.sin_cos();
                let long = d.between(0.5, 0.85);
                c.line(
                    20.0,
                    (x - 0.2 * s * r, y + 0.2 * co * r),
                    (x + s * long * r, y - co * long * r),
                    r * d.between(0.04, 0.1),
                );
                c.disc(30.0, x, y, 0.08 * r, 0.08 * r);
                if d.chance(0.5) {
                    c.rect(60.0, x - 0.3 * r, y + 0.35 * r, 0.6 * r, 0.12 * r);
                }
                if d.chance(0.4) {
                    // The stop of the hand: a pin at the foot.
                    c.rect(20.0, x - 0.03 * r, y + 0.72 * r, 0.06 * r, 0.2 * r);
                }
            }
        }
        "test card" => {
            let bars = d.whole(5, 9);
            let wide = fw / bars as f64;
            for i in 0..bars {
                let shade = 235.0 - 200.0 * i as f32 / (bars - 1) as f32;
                c.rect(shade, i as f64 * wide, 0.0, wide + 1.0, 0.67 * fh);
                c.rect(
                    255.0 - shade,
                    i as f64 * wide,
                    0.67 * fh,
                    wide + 1.0,
                    0.08 * fh,
                );
            }
            let mut x = 0.0;
            while x < fw {
                let w = fw * d.between(0.02, 0.2);
                c.rect(d.between(10.0, 245.0) as f32, x, 0.75 * fh, w, 0.25 * fh);
                x += w;
            }
            if d.chance(0.6) {
                c.ring(240.0, fw / 2.0, fh / 2.0, 0.45 * fh, 0.01 * fh);
                c.ring(20.0, fw / 2.0, fh / 2.0, 0.2 * fh, 0.01 * fh);
                c.rect(20.0, fw / 2.0 - 1.5, 0.05 * fh, 3.0, 0.9 * fh);
                c.rect(20.0, 0.2 * fw, fh / 2.0 - 1.5, 0.6 * fw, 3.0);
            }
        }
        "organ pipes" => {
            let count = d.whole(4, 12);
            let pitch = 0.9 * fw / count as f64;
            let wide = pitch * d.between(0.6, 0.95);
            let (mouth, base) = (fh * d.between(0.65, 0.75), fh * 0.88);
            for i in 0..count {
                let x = 0.05 * fw + i as f64 * pitch;
                let top = fh * (0.1 + 0.15 * ((i as f64 * 0.9).sin() + 1.0));
                c.cylinder(200.0, x, top, wide, mouth - top, -0.3);
                c.rect(
                    25.0,
                    x + 0.2 * wide,
                    mouth - 0.1 * wide,
                    0.6 * wide,
                    0.25 * wide,
                );
                // The foot runs to a point.
                for k in 0..8 {
                    let part = wide * (1.0 - 0.09 * f64::from(k));
                    let y = mouth + (base - mouth) * f64::from(k) / 8.0;
                    c.cylinder(
                        180.0,
                        x + (wide - part) / 2.0,
                        y,
                        part,
                        (base - mouth) / 8.0 + 1.0,
                        -0.3,
                    );
                }
            }
            c.rect(70.0, 0.0, base, fw, fh);
        }
        "candles" => {
            let count = d.whole(1, 6);
            let pitch = 0.9 * fw / count as f64;
            let base = fh * d.between(0.75, 0.88);
            c.rect(other(d), 0.0, base, fw, 0.05 * fh);
            for i in 0..count {
                let x = 0.05 * fw + (i as f64 + 0.5) * pitch;
                let (wide, tall) = ((pitch * 0.4).min(0.09 * fw), fh * d.between(0.25, 0.5));
                c.cylinder(225.0, x - wide / 2.0, base - tall, wide, tall, 0.1);
                c.rect(
                    30.0,
                    x - 0.05 * wide,
                    base - tall - 0.4 * wide,
                    0.1 * wide,
                    0.4 * wide,
                );
                c.disc(250.0, x, base - tall - 0.8 * wide, 0.2 * wide, 0.5 * wide);
                c.cylinder(
                    120.0,
                    x - 0.8 * wide,
                    base - 0.3 * wide,
                    1.6 * wide,
                    0.3 * wide,
                    0.1,
                );
            }
        }
        "jars" => {
            let count = d.whole(2, 7);
            let pitch = 0.95 * fw / count as f64;
            let base = fh * d.between(0.7, 0.9);
            c.rect(other(d), 0.0, base, fw, 0.08 * fh);
            let wide = pitch * d.between(0.45, 0.8);
            let tall = (wide * d.between(1.2, 2.6)).min(0.55 * fh);
            for i in 0..count {
                let x = 0.025 * fw + (i as f64 + 0.5) * pitch - wide / 2.0;
                c.cylinder(ground * 0.7 + 60.0, x, base - tall, wide, tall, -0.2);
                // What is in it, to a level, and the lid.
                let level = tall * d.between(0.1, 0.8);
                c.rect(
                    ground * 0.4 + 30.0,
                    x + 0.06 * wide,
                    base - level,
                    0.88 * wide,
                    level - 0.05 * wide,
                );
                c.cylinder(
                    190.0,
                    x - 0.03 * wide,
                    base - tall - 0.15 * wide,
                    1.06 * wide,
                    0.2 * wide,
                    0.2,
                );
                if d.chance(0.5) {
                    // A spoon or a pin stands in it.
                    c.rect(
                        40.0,
                        x + 0.45 * wide,
                        base - 0.35 * tall,
                        0.08 * wide,
                        0.33 * tall,
                    );
                }
            }
        }
        "keys" => {
            let count = d.whole(7, 20);
            let wide = fw / count as f64;
            let (top, foot) = (fh * d.between(0.1, 0.3), fh * d.between(0.75, 0.95));
            c.rect(235.0, 0.0, top, fw, foot - top);
            for i in 0..=count {
                let x = i as f64 * wide;
                c.rect(90.0, x - 1.0, top, 2.0, foot - top);
                if ![2, 6].contains(&(i % 7)) {
                    c.rect(25.0, x - 0.3 * wide, top, 0.6 * wide, 0.6 * (foot - top));
                }
            }
        }
        "switchboard" => {
            let (columns, rows) = (d.whole(2, 6), d.whole(1, 3));
            let (px, py) = (fw / columns as f64, fh / rows as f64);
            for i in 0..columns {
                for j in 0..rows {
                    let (x, y) = ((i as f64 + 0.5) * px, (j as f64 + 0.5) * py);
                    let r = 0.3 * px.min(py);
                    match d.whole(0, 2) {
                        0 => {
                            c.disc(60.0, x, y, r, r);
                            c.disc(d.between(90.0, 250.0) as f32, x, y, 0.8 * r, 0.8 * r);
                        }
                        // A toggle that points down or up.
                        1 => {
                            c.ring(190.0, x, y, r, 0.25 * r);
                            let way = if d.chance(0.5) { 0.0 } else { -0.9 * r };
                            c.cylinder(220.0, x - 0.12 * r, y + way, 0.24 * r, 0.9 * r, 0.2);
                        }
                        _ => {
                            c.rect(40.0, x - 0.5 * r, y - 0.9 * r, r, 1.8 * r);
                            c.rect(200.0, x - 0.35 * r, y + 0.1 * r, 0.7 * r, 0.6 * r);
                        }
                    }
                    c.rect(210.0, x - 0.6 * r, y + 1.2 * r, 1.2 * r, 0.2 * r);
                }
            }
        }
        "columns" => {
            let count = d.whole(2, 6);
            let pitch = fw / count as f64;
            let wide = pitch * d.between(0.25, 0.5);
            let (top, foot) = (fh * d.between(0.1, 0.2), fh * d.between(0.8, 0.92));
            let shade = d.between(140.0, 235.0) as f32;
            c.rect(shade * 0.8, 0.0, 0.0, fw, top);
            c.rect(shade * 0.7, 0.0, foot, fw, fh);
            for i in 0..count {
                let x = (i as f64 + 0.5) * pitch;
                c.cylinder(shade, x - wide / 2.0, top, wide, foot - top, 0.3);
                for (k, y) in [
                    (1.3, top),
                    (1.15, top + 0.3 * wide),
                    (1.2, foot - 0.3 * wide),
                ] {
                    c.cylinder(
                        shade * 0.9,
                        x - k * wide / 2.0,
                        y,
                        k * wide,
                        0.3 * wide,
                        0.3,
                    );
                }
                if d.chance(0.4) {
                    // Flutes.
                    for k in 1..5 {
                        c.rect(
                            shade * 0.5,
                            x - wide / 2.0 + wide * f64::from(k) / 5.0,
                            top + wide,
                            2.0,
                            foot - top - 2.0 * wide,
                        );
                    }
                }
                if d.chance(0.4) {
                    // Somebody small, or a post, stands before it.
                    c.rect(
                        30.0,
                        x - 0.08 * wide,
                        foot - 0.5 * wide,
                        0.16 * wide,
                        0.5 * wide,
                    );
                }
            }
        }
        "hooks" => {
            let count = d.whole(2, 8);
            let pitch = 0.9 * fw / count as f64;
            let y = fh * d.between(0.2, 0.4);
            c.rect(other(d), 0.0, y, fw, 0.08 * fh);
            for i in 0..count {
                let x = 0.05 * fw + (i as f64 + 0.5) * pitch;
                let long = fh * d.between(0.05, 0.12);
                c.cylinder(200.0, x - 0.01 * fw, y + 0.02 * fh, 0.02 * fw, long, 0.2);
                c.ring(200.0, x + 0.01 * fw, y + long, 0.02 * fw, 0.008 * fw);
                if d.chance(0.6) {
                    // A cloth or a bag hangs from it.
                    let wide = pitch * d.between(0.3, 0.8);
                    let shade = d.between(30.0, 220.0) as f32;
                    c.rect(
                        shade,
                        x - wide / 2.0,
                        y + long,
                        wide,
                        fh * d.between(0.2, 0.45),
                    );
                }
            }
        }
        "test tubes" => {
            // A rack: tubes with round feet through two boards.
            let count = d.whole(2, 8);
            let pitch = 0.9 * fw / count as f64;
            let wide = pitch * d.between(0.3, 0.6);
            let (top, foot) = (fh * d.between(0.1, 0.2), fh * d.between(0.75, 0.85));
            let shade = other(d);
            for i in 0..count {
                let x = 0.05 * fw + (i as f64 + 0.5) * pitch - wide / 2.0;
                c.cylinder(
                    ground * 0.8 + 40.0,
                    x,
                    top,
                    wide,
                    foot - top - wide / 2.0,
                    -0.3,
                );
                c.disc(
                    ground * 0.7 + 30.0,
                    x + wide / 2.0,
                    foot - wide / 2.0,
                    wide / 2.0,
                    wide / 2.0,
                );
                let level = foot - (foot - top) * d.between(0.1, 0.6);
                c.rect(
                    ground * 0.4 + 20.0,
                    x + 2.0,
                    level,
                    wide - 4.0,
                    foot - wide / 2.0 - level,
                );
            }
            for y in [top + 0.15 * (foot - top), foot - 0.05 * fh] {
                c.rect(shade, 0.03 * fw, y, 0.94 * fw, 0.05 * fh);
            }
        }
        _ => return false,
    }
    true
}
