//! The room view: the count steps, the last bead comes again, the picture freezes, and lessons ask
//! before they answer.

use beadtally::run::Intent;
use beadtally::ui::app::View;
use beadtally::ui::pretend::Scene;
use beadtally::ui::words;
use eframe::egui::{Key, ViewportId};
use egui_kittest::kittest::Queryable;
use std::time::Duration;

use crate::kit::{Build, Rig};

fn room(scene: Scene) -> Rig {
    let mut rig = Build::of(scene).rig();
    rig.harness.key_press(Key::F6);
    rig.harness.run();
    assert_eq!(rig.window().view(), View::Room);
    rig
}

fn says(rig: &Rig, words: &str) -> bool {
    rig.harness.query_all_by_label(words).count() > 0
}

/// Lets pictures come, twenty-five a second.
fn film(rig: &mut Rig, frames: usize) {
    for _ in 0..frames {
        rig.behind.change(|snapshot| {
            snapshot.now_secs += 0.04;
            let at = snapshot.now_secs;
            if let Some(frame) = &mut snapshot.frame {
                frame.number += 1;
                frame.at_secs = at;
            }
        });
        rig.clock.advance(0.04);
        rig.harness.step();
    }
}

#[test]
fn the_count_steps_and_the_last_bead_comes_again_slowly() {
    let mut rig = room(Scene::Well);
    assert!(says(&rig, "37 drops"));
    assert!(says(&rig, words::get().room_no_last));
    assert!(says(&rig, words::get().room_strip));
    film(&mut rig, 50);
    rig.behind.change(|snapshot| {
        let feed = &mut snapshot.feeds[0];
        feed.drops += 1;
        feed.last_drop_secs = Some(snapshot.now_secs - 0.6);
    });
    film(&mut rig, 1);
    assert!(says(&rig, "38 drops"));
    assert!(says(&rig, words::get().room_last));
    rig.harness.step();
    let delay = rig.harness.output().viewport_output[&ViewportId::ROOT].repaint_delay;
    assert!(delay < Duration::from_millis(150), "it plays: {delay:?}");
    // Another glass has its own last bead.
    rig.harness.key_press(Key::Num2);
    rig.harness.run();
    assert!(says(&rig, words::get().room_no_last));
}

#[test]
fn freezing_stops_the_picture_and_not_the_count() {
    let mut rig = room(Scene::Well);
    rig.harness.key_press(Key::F);
    rig.harness.run();
    assert!(says(&rig, words::get().room_frozen));
    rig.behind.change(|snapshot| snapshot.feeds[0].drops += 5);
    rig.after(0.1);
    assert!(says(&rig, "42 drops"));
    rig.harness.get_by_label(words::get().unfreeze).click();
    rig.harness.run();
    assert!(!says(&rig, words::get().room_frozen));
}

#[test]
fn a_lesson_asks_before_it_answers_and_puts_everything_right() {
    let mut rig = room(Scene::Well);
    rig.harness.key_press(Key::T);
    rig.harness.run();
    // Lessons hurt nothing real.
    assert!(says(&rig, words::get().lesson_needs_demo));
    rig.harness
        .get_by_label(words::get().lesson_open_demo)
        .click();
    rig.harness.run();
    assert_eq!(rig.behind.opened(), ["demo"]);
    rig.behind.change(|snapshot| {
        if let Some(about) = &mut snapshot.about {
            about.name = "demo".to_owned();
        }
    });
    rig.after(0.1);
    let lesson = words::lessons()[0];
    assert!(says(&rig, lesson.scene) && !says(&rig, lesson.question));
    rig.harness.get_by_label(words::get().lesson_start).click();
    rig.harness.run();
    assert!(matches!(&rig.behind.sent()[..], [Intent::Fault(fault)] if fault == "stop 1"));
    assert!(says(&rig, lesson.question) && !says(&rig, lesson.answer));
    assert!(says(&rig, words::get().caution));
    rig.harness.get_by_label(words::get().lesson_answer).click();
    rig.harness.run();
    assert!(says(&rig, lesson.answer));
    rig.harness.get_by_label(words::get().lesson_next).click();
    rig.harness.run();
    assert!(matches!(&rig.behind.sent()[..], [_, Intent::Fault(fault)] if fault == "clear"));
    assert!(says(&rig, words::lessons()[1].scene));
}

#[test]
fn without_anything_to_show_it_says_so() {
    let rig = room(Scene::Empty);
    assert!(says(&rig, words::get().room_nothing));
}
