//! One small picture of each view, painted in plain arithmetic and compared with the one that was
//! looked at and found good. With `BEADTALLY_DRAW_PICTURES=1` they are drawn anew, to be looked at
//! again.

use std::path::PathBuf;

use beadtally::ui::pretend::Scene;
use beadtally::ui::style::Look;
use eframe::egui::Key;
use image::RgbImage;
use image::imageops::FilterType;

use crate::kit::Build;

/// Size of the kept pictures, pixels.
const SIZE: (u32, u32) = (320, 200);
/// A pixel is another one when a channel is this far off, levels of 256.
const OFF: u8 = 24;
/// Share of other pixels that is still the same picture: the clock of another time zone.
const MOST_SHARE: f64 = 0.006;

/// Name, scene, look, keys.
const VIEWS: [(&str, Scene, Look, &[Key]); 11] = [
    ("watch", Scene::Well, Look::Dark, &[]),
    ("watch-trouble", Scene::Trouble, Look::HighContrast, &[]),
    ("far", Scene::Well, Look::Light, &[Key::F5]),
    ("far-one", Scene::Trouble, Look::Dark, &[Key::F5, Key::E]),
    ("setup", Scene::Well, Look::Dark, &[Key::F3]),
    ("start", Scene::Empty, Look::Dark, &[Key::F9]),
    ("room", Scene::Well, Look::Dark, &[Key::F6]),
    ("lessons", Scene::Well, Look::Light, &[Key::F6, Key::T]),
    ("runs", Scene::Trouble, Look::Dark, &[Key::F7]),
    ("help", Scene::Well, Look::Light, &[Key::F1]),
    ("more", Scene::Well, Look::HighContrast, &[Key::F8]),
];

fn place(name: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/ui_window/pictures");
    folder.join(format!("{name}.png"))
}

fn drawn(scene: Scene, look: Look, keys: &[Key]) -> RgbImage {
    let mut rig = Build::of(scene).rig();
    look.choose(&rig.harness.ctx);
    rig.behind.put_on_shelf(crate::runs::shelf());
    rig.harness.run();
    for key in keys {
        rig.harness.key_press(*key);
        rig.harness.run();
    }
    let whole = rig.painter.paint(&rig.harness.ctx, rig.harness.output());
    let small = image::imageops::resize(&whole, SIZE.0, SIZE.1, FilterType::Triangle);
    image::DynamicImage::ImageRgba8(small).to_rgb8()
}

fn share_of_other(one: &RgbImage, other: &RgbImage) -> f64 {
    if one.dimensions() != other.dimensions() {
        return 1.0;
    }
    let is_other = |(a, b): (&image::Rgb<u8>, &image::Rgb<u8>)| {
        (0..3).any(|channel| a.0[channel].abs_diff(b.0[channel]) > OFF)
    };
    let others = one
        .pixels()
        .zip(other.pixels())
        .filter(|pair| is_other(*pair));
    others.count() as f64 / f64::from(SIZE.0 * SIZE.1)
}

#[test]
fn each_view_looks_as_it_was_found_good() {
    let draws_anew = std::env::var_os("BEADTALLY_DRAW_PICTURES").is_some();
    let mut breaches = Vec::new();
    for (name, scene, look, keys) in VIEWS {
        let now = drawn(scene, look, keys);
        if draws_anew {
            now.save(place(name)).unwrap();
            continue;
        }
        let kept = image::open(place(name))
            .unwrap_or_else(|error| panic!("{name}: {error}; draw it anew and look at it"));
        let share = share_of_other(&now, &kept.to_rgb8());
        if share > MOST_SHARE {
            breaches.push(format!("{name}: {:.1} % of it is other", share * 100.0));
        }
    }
    assert!(breaches.is_empty(), "{breaches:?}");
}

#[test]
fn the_comparison_can_fail() {
    let watch = drawn(Scene::Well, Look::Dark, &[]);
    let trouble = drawn(Scene::Trouble, Look::Dark, &[]);
    assert!(share_of_other(&watch, &trouble) > 5.0 * MOST_SHARE);
    assert_eq!(share_of_other(&watch, &watch), 0.0);
}
