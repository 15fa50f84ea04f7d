//! The fitter's view: one feed or all, whether to wait, marks by one key, the as-found / as-left
//! sheet.

use beadtally::run::Intent;
use beadtally::ui::pretend::Scene;
use beadtally::ui::words;
use eframe::egui::{Key, OutputCommand, Rect};
use egui_kittest::kittest::Queryable;

use crate::kit::{Build, Rig};

fn far(scene: Scene) -> Rig {
    let mut rig = Build::of(scene).rig();
    rig.harness.key_press(Key::F5);
    rig.harness.run();
    rig
}

fn says(rig: &Rig, words: &str) -> usize {
    rig.harness.query_all_by_label(words).count()
}

#[test]
fn it_says_whether_to_wait_and_for_how_many_drops() {
    let mut rig = far(Scene::Well);
    assert_eq!(says(&rig, words::get().settled), 3);
    rig.behind.change(|snapshot| {
        let reading = snapshot.feeds[0].reading.as_mut().unwrap();
        (reading.low, reading.high, reading.drops) = (1.8, 3.4, 3);
        snapshot.feeds[1].reading = None;
    });
    rig.after(0.1);
    assert_eq!(says(&rig, "wait: four more drops"), 1);
    assert_eq!(says(&rig, "wait: two more drops"), 1);
    assert_eq!(says(&rig, words::get().settled), 1);
    let rig = far(Scene::Trouble);
    assert_eq!(says(&rig, words::get().settle_stopped), 1);
    assert_eq!(says(&rig, words::get().settle_blind), 1);
}

#[test]
fn one_feed_or_all() {
    let mut rig = far(Scene::Well);
    let panels = |rig: &Rig| {
        ["left cylinder", "steam chest", "right cylinder"]
            .map(|name| says(rig, &words::choose_feed(name)))
    };
    assert_eq!(panels(&rig), [1, 1, 1]);
    rig.harness.key_press(Key::E);
    rig.harness.run();
    assert_eq!(panels(&rig), [1, 0, 0], "the first, while none is chosen");
    rig.harness.get_by_label(words::get().feed_right).click();
    rig.harness.run();
    rig.harness.get_by_label(words::get().feed_right).click();
    rig.harness.run();
    assert_eq!(panels(&rig), [0, 1, 0]);
    rig.harness.get_by_label(words::get().feed_left).click();
    rig.harness.run();
    rig.harness.get_by_label(words::get().feed_left).click();
    rig.harness.run();
    assert_eq!(panels(&rig), [0, 0, 1], "round and round");
    rig.harness.get_by_label(words::get().all_feeds).click();
    rig.harness.run();
    assert_eq!(panels(&rig), [1, 1, 1]);
}

#[test]
fn the_keys_are_large_enough_for_gloves() {
    for (width, height, least) in [(1280.0, 800.0, 72.0), (1024.0, 600.0, 48.0)] {
        let mut rig = Build {
            size: (width, height),
            ..Build::of(Scene::Well)
        }
        .rig();
        rig.harness.key_press(Key::F5);
        rig.harness.run();
        for word in [words::get().glove_open, words::get().glove_close] {
            let rect = rig.harness.get_by_label(word).rect();
            assert!(
                rect.height() >= least && rect.width() >= 100.0,
                "{width}: {rect:?}"
            );
        }
    }
}

#[test]
fn the_sheet_tells_what_was_found_and_what_is_left() {
    let mut rig = far(Scene::Well);
    rig.harness.key_press(Key::Num1);
    rig.harness.run();
    rig.harness.get_by_label(words::get().glove_open).click();
    rig.harness.run();
    assert!(
        matches!(&rig.behind.sent()[..], [Intent::Mark { words, .. }] if words == "valve 1 a quarter turn open")
    );
    rig.behind.change(|snapshot| {
        let reading = snapshot.feeds[0].reading.as_mut().unwrap();
        reading.drops_per_minute = 2.9;
        (reading.low, reading.high, reading.drops) = (2.6, 3.0, 4);
    });
    rig.after(60.0);
    rig.behind.change(|snapshot| snapshot.now_secs += 60.0);
    rig.after(0.1);
    rig.harness.key_press(Key::S);
    rig.harness.run();
    let found = "As found (drops/min): 2.50 (2.27 to 2.75), 37 drops, in band, settled";
    let left = "As left (drops/min): 2.90 (2.60 to 3.00), 4 drops, in band, settled";
    assert_eq!(says(&rig, found), 1);
    assert_eq!(says(&rig, left), 1);
    rig.harness.get_by_label(words::get().sheet_save).click();
    let mut opened = Vec::new();
    for _ in 0..6 {
        rig.harness.step();
        opened.extend(rig.harness.output().platform_output.commands.clone());
    }
    let papers = rig.behind.papers();
    assert_eq!(papers.len(), 1);
    let (name, page) = &papers[0];
    assert!(name.contains(".html") && !name.contains(':'), "{name}");
    assert!(page.contains("2.90 (2.60 to 3.00)") && page.contains("quarter turn open"));
    assert!(
        opened.iter().any(
            |command| matches!(command, OutputCommand::OpenUrl(open) if open.url.ends_with(name))
        ),
        "{opened:?}"
    );
}

#[test]
fn four_signs_have_room_beside_the_feed_s_number_in_the_smallest_window() {
    for feeds in [1, 2, 3, 5, 8] {
        let mut rig = Build {
            size: (512.0, 300.0),
            scale: 2.0,
            ..Build::of(Scene::Many(feeds))
        }
        .rig();
        rig.behind.change(|snapshot| {
            let feed = &mut snapshot.feeds[0];
            feed.reading.as_mut().unwrap().drops_per_minute = 12.3;
        });
        rig.after(0.1);
        let panel: Rect = rig
            .harness
            .get_by_label(&words::choose_feed("left cylinder"))
            .rect();
        let figure = rig.harness.get_by_label("12.3 drops/min").rect();
        if panel.height() < 128.0 {
            // The number's plate is 20 points high, in the upper left corner.
            assert!(figure.top() >= panel.top() + 24.0, "{feeds}: {figure:?}");
        }
        assert!(panel.contains_rect(figure), "{feeds}: {figure:?} {panel:?}");
    }
}

#[test]
fn drops_are_heard_on_request() {
    use beadtally::ui::kept::{Hears, Memory};
    let folder = tempfile::tempdir().unwrap();
    let memory = Memory::in_folder(folder.path().to_path_buf());
    let mut rig = Build::of(Scene::Well).remembering(memory.clone());
    rig.harness.key_press(Key::D);
    rig.harness.run();
    assert_eq!(says(&rig, words::get().drop_sound_on), 1);
    assert_eq!(memory.recall().drop_sound, Hears::On);
}
