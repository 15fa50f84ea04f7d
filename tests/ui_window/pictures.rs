//! Pictures of the window. With `BEADTALLY_PICTURES=FOLDER` they are written there, to be looked
//! at; without it a few of them are checked for what a person must be able to see.

use beadtally::judge::FeedState;
use beadtally::ui::pretend::Scene;
use beadtally::ui::style::Look;
use beadtally::ui::theme::Palette;
use beadtally::ui::words::{self, Language};
use eframe::egui::{Color32, Key, Rect, Theme};
use egui_kittest::kittest::Queryable;
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
        ("room", Some(Key::F6)),
        ("runs", Some(Key::F7)),
        ("more", Some(Key::F8)),
        ("start", Some(Key::F9)),
        ("sheet", Some(Key::S)),
        ("hand", Some(Key::H)),
    ];
    let language = match std::env::var("BEADTALLY_PICTURE_LANGUAGE").as_deref() {
        Ok("de") => Language::German,
        Ok("pseudo") => Language::Pseudo,
        _ => Language::English,
    };
    for (scene_name, scene) in scenes {
        for (view_name, key) in views {
            for (width, height, scale) in sizes {
                for look in Look::ALL {
                    let name =
                        format!("{view_name}-{scene_name}-{width}x{height}@{scale}-{look:?}");
                    if wanted.is_empty() || !wanted.split(',').any(|part| name.contains(part)) {
                        continue;
                    }
                    let mut rig = Build {
                        scene,
                        size: (width, height),
                        scale,
                        theme: Theme::Dark,
                    }
                    .speaking(language);
                    look.choose(&rig.harness.ctx);
                    rig.harness.run();
                    rig.behind.put_on_shelf(crate::runs::shelf());
                    if let Some(key) = key {
                        press(&mut rig, key);
                    }
                    if let Ok(more) = std::env::var("BEADTALLY_PICTURE_PRESS") {
                        for words in more.split('|') {
                            rig.harness.get_by_label(words).click();
                            rig.harness.run();
                        }
                    }
                    picture(&rig).save(format!("{folder}/{name}.png")).unwrap();
                }
            }
        }
    }
}

/// Share of a rectangle's pixels that have nearly this colour.
fn share(picture: &RgbaImage, rect: Rect, colour: Color32) -> f64 {
    let near = |a: u8, b: u8| a.abs_diff(b) <= 6;
    let (mut all, mut alike) = (0_u32, 0_u32);
    for y in rect.top() as u32..rect.bottom() as u32 {
        for x in rect.left() as u32..rect.right() as u32 {
            let [r, g, b, _] = picture.get_pixel(x, y).0;
            all += 1;
            alike += u32::from(near(r, colour.r()) && near(g, colour.g()) && near(b, colour.b()));
        }
    }
    f64::from(alike) / f64::from(all.max(1))
}

#[test]
fn the_large_figure_is_really_painted_and_really_taken_away() {
    for theme in [Theme::Dark, Theme::Light] {
        let mut rig = Build {
            theme,
            ..Build::of(Scene::Well)
        }
        .rig();
        let palette = Palette::of(&rig.harness.ctx);
        let place = rig.harness.get_by_label("2.5 drops/min").rect();
        let shown = share(&picture(&rig), place, palette.figure);
        // Two numerals and a point of bold strokes fill about a fifth of a place for three.
        assert!((0.1..0.4).contains(&shown), "{theme:?}: {shown}");
        rig.behind.change(|snapshot| {
            snapshot.feeds[0].state = FeedState::CannotSee;
            snapshot.feeds[0].reading = None;
        });
        rig.after(0.1);
        let left = share(&picture(&rig), place, palette.figure);
        assert!(left < 0.06, "only the words are left: {left}");
    }
}

#[test]
fn each_state_wears_its_colour_in_its_panel() {
    let rig = Build {
        size: (1920.0, 1080.0),
        ..Build::of(Scene::Many(7))
    }
    .rig();
    let palette = Palette::of(&rig.harness.ctx);
    let painted = picture(&rig);
    for (name, state) in [
        ("left cylinder", FeedState::InBand),
        ("steam chest", FeedState::High),
        ("right cylinder", FeedState::Stopped),
        ("feed 4", FeedState::CannotSee),
        ("feed 5", FeedState::Low),
        ("feed 6", FeedState::FarHigh),
        ("feed 7", FeedState::NoReadingYet),
    ] {
        let panel = rig.harness.get_by_label(&words::choose_feed(name)).rect();
        let fill = palette.state(state).fill;
        let found = share(&painted, panel, fill);
        assert!(found > 0.01, "{name}: {found}");
    }
}
