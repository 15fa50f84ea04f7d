//! Pictures of the window. With `BEADTALLY_PICTURES=FOLDER` they are written there, to be looked
//! at; without it a few of them are checked for what a person must be able to see.

use beadtally::ui::pretend::Scene;
use eframe::egui::{Key, Theme};
use image::RgbaImage;

use crate::kit::{Build, Rig};

fn picture(rig: &Rig) -> RgbaImage {
    rig.painter.paint(&rig.harness.ctx, rig.harness.output())
}

fn press(rig: &mut Rig, key: Key) {
    rig.harness.key_press(key);
    rig.harness.run();
}

#[test]
fn pictures_to_look_at() {
    let Ok(folder) = std::env::var("BEADTALLY_PICTURES") else {
        return;
    };
    let wanted = std::env::var("BEADTALLY_PICTURE").unwrap_or_default();
    let scenes = [
        ("well", Scene::Well),
        ("trouble", Scene::Trouble),
        ("one", Scene::Many(1)),
        ("eight", Scene::Many(8)),
        ("five", Scene::Many(5)),
        ("empty", Scene::Empty),
        ("over", Scene::Over),
    ];
    let sizes = [
        (1280.0, 800.0, 1.0),
        (1024.0, 600.0, 1.0),
        (1920.0, 1080.0, 1.0),
        (640.0, 400.0, 2.0),
        (512.0, 300.0, 2.0),
        (960.0, 540.0, 2.0),
    ];
    let views = [
        ("watch", None),
        ("far", Some(Key::F5)),
        ("setup", Some(Key::F3)),
        ("help", Some(Key::F1)),
        ("source", Some(Key::F4)),
        ("mark", Some(Key::M)),
        ("run", Some(Key::R)),
    ];
    for (scene_name, scene) in scenes {
        for (view_name, key) in views {
            for (width, height, scale) in sizes {
                for theme in [Theme::Dark, Theme::Light] {
                    let name =
                        format!("{view_name}-{scene_name}-{width}x{height}@{scale}-{theme:?}");
                    if wanted.is_empty() || !wanted.split(',').any(|part| name.contains(part)) {
                        continue;
                    }
                    let mut rig = Build {
                        scene,
                        size: (width, height),
                        scale,
                        theme,
                    }
                    .rig();
                    if let Some(key) = key {
                        press(&mut rig, key);
                    }
                    picture(&rig).save(format!("{folder}/{name}.png")).unwrap();
                }
            }
        }
    }
}
