//! Random invented scenes by their number, and their pictures with beads that rise.

use std::path::Path;

use beadtally::base::Frame;
use beadtally::glass::{Finder, Found};
use image::GrayImage;

use super::trouble::{Spoil, spoiled, troubled};
use super::{Dice, Film, Light, Scene, Shape, TrueGlass, draw, number_from};

/// Seconds that are looked at when beads rise, and frames a second.
pub const LOOK_SECS: f64 = 5.0;
pub const FRAMES_A_SECOND: f64 = 15.0;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Look {
    Still,
    Moving,
}

/// One invented scene, by its number.
pub struct Case {
    pub number: u64,
    /// Its number and how it is varied.
    pub name: String,
    pub light: Light,
    pub shape: Shape,
    pub hidden: bool,
    pub scene: Scene,
    pub per_minute: f64,
}

/// How a scene differs from what its number says.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Vary {
    Nothing,
    /// Roll and turn of the camera, degrees.
    Seen(f64, f64),
    /// Size of the pictures.
    Size(u32, u32),
    /// Width of a glass, pixels.
    Wide(f64),
    /// Half of a glass hidden.
    Hidden,
}

/// The scene of a number.
pub fn case(number: u64, way: Look) -> Case {
    varied(number, way, Vary::Nothing)
}

/// The scene of a number, varied.
pub fn varied(number: u64, way: Look, vary: Vary) -> Case {
    let mut dice = Dice(number.wrapping_mul(0x9E37) ^ 0x5CE7E);
    let light = [Light::Backlit, Light::Card, Light::Front][(number % 3) as usize];
    let shape = if (number / 3) % 3 == 2 {
        Shape::Ports
    } else {
        Shape::Tubes
    };
    let count = if dice.chance(0.6) {
        dice.whole(1, 4)
    } else {
        dice.whole(1, 8)
    } as usize;
    let sizes = if way == Look::Still && number_from("GLASS_SCENES").is_some() {
        [(640, 480), (640, 480), (1280, 720), (1920, 1080)]
    } else {
        // Large pictures, and many of them, are costly to draw.
        [(640, 480); 4]
    };
    let size = sizes[dice.whole(0, 3) as usize];
    let size = match vary {
        Vary::Size(width, height) => (width, height),
        _ => size,
    };
    let bent = dice.chance(0.6);
    let (roll, turn, pitch) = if bent {
        (
            dice.between(-15.0, 15.0),
            dice.between(-20.0, 20.0),
            dice.between(-8.0, 8.0),
        )
    } else {
        (
            dice.between(-2.0, 2.0),
            dice.between(-4.0, 4.0),
            dice.between(-2.0, 2.0),
        )
    };
    let (roll, turn) = match vary {
        Vary::Seen(roll, turn) => (roll, turn),
        _ => (roll, turn),
    };
    let mut scene = Scene::invented(number, light, shape, count, size)
        .dressed(number, light, shape)
        .rolled(roll, turn, pitch);
    let width = scene.glass_px();
    if width < 34.0 {
        scene = scene.with_glass_px(34.0 + (34.0 - width) * 0.3);
    } else if width > 240.0 {
        scene = scene.with_glass_px(240.0);
    }
    if let Vary::Wide(width) = vary {
        scene = scene.with_glass_px(width);
    }
    let hidden = number % 7 == 5 || vary == Vary::Hidden;
    if hidden {
        scene = scene.half_hidden(number);
    }
    Case {
        number,
        name: match vary {
            Vary::Nothing => number.to_string(),
            _ => format!("{number}-{vary:?}"),
        },
        light,
        shape,
        hidden,
        scene,
        per_minute: dice.between(12.0, 60.0),
    }
}

/// How far a picture is out of rest: shake (px), flicker (part).
fn trouble(number: u64) -> (f64, f64) {
    let mut dice = Dice(number ^ 0x007B_0B1E);
    if dice.chance(0.5) {
        (dice.between(0.0, 3.0), dice.between(0.0, 0.08))
    } else {
        (0.0, 0.0)
    }
}

/// The pictures of a case, a fixed time apart; drawn once when `GLASS_CACHE` names a folder.
pub fn pictures(case: &Case, way: Look) -> Vec<GrayImage> {
    let Ok(dir) = std::env::var("GLASS_CACHE") else {
        return drawn(case, way);
    };
    let (w, h) = (case.scene.width, case.scene.height);
    let file = Path::new(&dir).join(format!("{way:?}-{}-{w}x{h}.raw", case.name));
    let cells = w as usize * h as usize;
    if let Ok(bytes) = std::fs::read(&file) {
        return bytes
            .chunks_exact(cells)
            .filter_map(|part| GrayImage::from_raw(w, h, part.to_vec()))
            .collect();
    }
    let pictures = drawn(case, way);
    let bytes: Vec<u8> = pictures
        .iter()
        .flat_map(GrayImage::as_raw)
        .copied()
        .collect();
    std::fs::create_dir_all(&dir).unwrap();
    std::fs::write(&file, bytes).unwrap();
    pictures
}

fn drawn(case: &Case, way: Look) -> Vec<GrayImage> {
    match way {
        Look::Still => vec![draw(&case.scene).luma],
        Look::Moving => {
            let mut film = Film::new(case.scene.clone());
            let bad = trouble(case.number);
            (0..(LOOK_SECS * FRAMES_A_SECOND) as u64)
                .map(|number| {
                    let at_secs = number as f64 / FRAMES_A_SECOND;
                    troubled(&film.frame(at_secs, case.per_minute), bad, at_secs)
                })
                .collect()
        }
    }
}

/// The truth, what was found, and one picture of it.
pub fn look(case: &Case, way: Look) -> (Vec<TrueGlass>, Found, GrayImage) {
    look_at(case, &pictures(case, way), Spoil::None)
}

/// As [`look`], with pictures that are there, spoiled.
pub fn look_at(
    case: &Case,
    pictures: &[GrayImage],
    spoil: Spoil,
) -> (Vec<TrueGlass>, Found, GrayImage) {
    let mut finder = Finder::new(case.scene.width, case.scene.height);
    let mut last = GrayImage::default();
    for (number, luma) in pictures.iter().enumerate() {
        let at_secs = number as f64 / FRAMES_A_SECOND;
        last = spoiled(luma, spoil, case.number, at_secs);
        finder.look(&Frame::new(number as u64, at_secs, last.clone()));
    }
    (case.scene.truth(), finder.found(), last)
}
