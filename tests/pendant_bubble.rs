//! A photographed bubble, made to rise through a port: its width and the ball of its volume, against
//! what is published of the photograph. Light and lens are real here; only its rise is not.

#![expect(clippy::expect_used, reason = "a test stops at the first surprise")]

use beadtally::base::{Frame, GlassKind};
use beadtally::bead::{Bead, Counter, Sight};
use beadtally::glass::Outline;
use image::{GrayImage, Luma};

/// Width of the bubble, mm (public domain photograph of sciunto/pendantdrop; the needle of 1.24 mm
/// is its scale).
const WIDTH_MM: f64 = 2.799;
/// Diameter of the ball of its volume of 13.61 µL from apex to neck, mm.
const BALL_MM: f64 = 2.962;
/// Width of the bubble in the stored picture, pixels: 903 of the photograph at an eighth.
const WIDTH_PX: f64 = 903.0 / 8.0;
/// Rows of the stored picture that hold the bubble without the needle.
const ROWS: std::ops::Range<usize> = 20..164;
/// Luma of the lit plate in the stored picture beside the bubble.
const PLATE: f64 = 190.0;
/// Luma below which a pixel is inside the outline: half the plate.
const HALF: u8 = 95;

/// Share of the plate's light that comes through, by row and column of the stored picture.
struct Sprite {
    through: Vec<Vec<f64>>,
    middle: (f64, f64),
}

impl Sprite {
    fn load() -> Self {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/test-images/pendant-bubble/bubble.png"
        );
        let picture = image::open(path).expect("the stored picture").to_luma8();
        let width = picture.width();
        let through = (0..picture.height())
            .map(|y| {
                let inside = |x: &u32| picture.get_pixel(*x, y).0[0] < HALF;
                let span = (80..width - 60)
                    .find(inside)
                    .zip((80..width - 60).rfind(inside));
                (0..width)
                    .map(|x| match span {
                        Some((from, to))
                            if ROWS.contains(&(y as usize)) && x + 2 >= from && x <= to + 2 =>
                        {
                            (f64::from(picture.get_pixel(x, y).0[0]) / PLATE).min(1.0)
                        }
                        _ => 1.0,
                    })
                    .collect()
            })
            .collect();
        let middle = (
            f64::from(width) * 0.534,
            (ROWS.start + ROWS.end) as f64 / 2.0,
        );
        Self { through, middle }
    }

    /// Light that comes through at (`x`, `y`) pixels from its middle, `scale` pixels of the stored
    /// picture being one.
    fn at(&self, x: f64, y: f64, scale: f64) -> f64 {
        let (col, row) = (x * scale + self.middle.0, y * scale + self.middle.1);
        if col < 0.0 || row < 0.0 {
            return 1.0;
        }
        let line = self.through.get(row as usize);
        line.and_then(|line| line.get(col as usize))
            .copied()
            .unwrap_or(1.0)
    }
}

/// A number from 0 to 1 that looks like chance.
fn chance(state: &mut u64) -> f64 {
    *state = state
        .wrapping_mul(6_364_136_223_846_793_005)
        .wrapping_add(1_442_695_040_888_963_407);
    (*state >> 40) as f64 / (1_u64 << 24) as f64
}

/// The bubble rises through a port, so many pixels wide; what was counted.
fn rise(sprite: &Sprite, width_px: f64) -> Vec<Bead> {
    const FINE: i32 = 4;
    let port = 5.5 * width_px;
    let (width, height) = ((port + 40.0) as u32, (port + 40.0) as u32);
    let outline = Outline::upright(GlassKind::Port, 20.0, 20.0, port, port);
    let mut counter = Counter::new(&outline, Some(width_px / WIDTH_MM));
    let middle = (20.0 + port / 2.0, 20.0 + port / 2.0);
    let per_frame = 0.25 * width_px;
    let mut state = 7;
    let mut beads = Vec::new();
    for number in 0..100_u32 {
        // It comes into sight after a second and a bit.
        let y = middle.1 + port / 2.0 + width_px - per_frame * (f64::from(number) - 60.0).max(0.0);
        let luma = GrayImage::from_fn(width, height, |px, py| {
            let out = (f64::from(px) + 0.5 - middle.0).hypot(f64::from(py) + 0.5 - middle.1);
            let mut level = if out > port / 2.0 {
                f64::from(60 + (px * 7 + py * 13) % 40)
            } else {
                let mut sum = 0.0;
                for k in 0..FINE * FINE {
                    let part = |k: i32| (f64::from(k) + 0.5) / f64::from(FINE);
                    let at_x = f64::from(px) + part(k % FINE) - middle.0;
                    let at_y = f64::from(py) + part(k / FINE) - y;
                    sum += sprite.at(at_x, at_y, WIDTH_PX / width_px);
                }
                PLATE * sum / f64::from(FINE * FINE)
            };
            level += 6.0 * (chance(&mut state) + chance(&mut state) - 1.0);
            Luma([level.clamp(0.0, 255.0).round() as u8])
        });
        counter.look(&Frame::new(
            u64::from(number),
            f64::from(number) / 60.0,
            luma,
        ));
        beads.extend(counter.count(Sight::Clear));
    }
    beads.extend(counter.finish());
    beads
}

#[test]
fn a_photographed_bubble_has_its_width_and_its_volume() {
    let sprite = Sprite::load();
    let mut wrong = Vec::new();
    for width_px in [10.0, 16.0, 24.0, 36.0] {
        let beads = rise(&sprite, width_px);
        let [bead] = beads.as_slice() else {
            panic!("{width_px} px: {} beads", beads.len());
        };
        let ball = bead.diameter_mm.expect("the scale is known") / BALL_MM - 1.0;
        let width = bead.size.width_px / width_px - 1.0;
        println!(
            "{width_px} px wide: width {width:+.3}, ball {ball:+.3}, {:?}",
            bead.size
        );
        if width.abs() > 0.10 || ball.abs() > 0.10 {
            wrong.push(width_px);
        }
    }
    assert!(wrong.is_empty(), "wrong at {wrong:?} px");
}
