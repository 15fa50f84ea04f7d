//! Getting started, step by step, as a person at their first start goes through it; and what it
//! leaves for the next start.

use std::sync::Arc;

use beadtally::base::ManualClock;
use beadtally::capture::demo;
use beadtally::glass::ScaleFrom;
use beadtally::run::Intent;
use beadtally::ui::app::{View, Window};
use beadtally::ui::kept::Memory;
use beadtally::ui::peep::Peeps;
use beadtally::ui::pretend::Scene;
use beadtally::ui::start::Step;
use beadtally::ui::words;
use eframe::egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;

use crate::kit::{Build, Rig};

fn press(rig: &mut Rig, words: &str) {
    rig.harness.get_by_label(words).click();
    rig.harness.run();
}

fn calibrations(rig: &Rig) -> usize {
    let sent = rig.behind.sent();
    sent.iter()
        .filter(|intent| matches!(intent, Intent::Calibrate(_)))
        .count()
}

#[test]
fn four_presses_lead_from_the_first_start_to_the_figures() {
    let mut rig = Build::of(Scene::Well).at_the_start();
    assert_eq!(rig.window().view(), View::Start);
    press(&mut rig, words::get().start_demo);
    assert_eq!(rig.behind.opened(), ["demo"]);
    assert_eq!(rig.window().start_step(), Step::Glasses);
    press(&mut rig, words::get().start_yes);
    press(&mut rig, words::get().start_skip);
    press(&mut rig, words::get().start_done);
    assert_eq!(rig.window().view(), View::Watch);
    assert!(rig.harness.query_by_label("2.5 drops/min").is_some());
    assert_eq!(calibrations(&rig), 0, "nothing was changed");
}

#[test]
fn the_keyboard_alone_confirms_the_glasses() {
    let mut rig = Build::of(Scene::Well).at_the_start();
    press(&mut rig, words::get().start_demo);
    rig.harness.run();
    rig.harness.key_press(Key::Enter);
    rig.harness.run();
    assert_eq!(rig.window().start_step(), Step::Size);
}

#[test]
fn a_name_has_room_in_its_field() {
    let mut rig = Build::of(Scene::Many(2)).at_the_start();
    rig.behind.change(|snapshot| {
        let mut calibration = (**snapshot.calibration.as_ref().unwrap()).clone();
        for feed in &mut calibration.feeds {
            feed.name.clear();
        }
        snapshot.calibration = Some(Arc::new(calibration));
    });
    rig.harness.run();
    for words in [
        words::get().start_demo,
        words::get().start_yes,
        words::get().start_skip,
    ] {
        press(&mut rig, words);
    }
    let field = rig.harness.get_by_label(&words::name_of(1)).rect();
    assert!(field.width() > 150.0, "{field:?}");
}

#[test]
fn diameter_names_and_bands_are_given_and_each_can_be_undone() {
    let mut rig = Build::of(Scene::Many(2)).at_the_start();
    rig.behind.change(|snapshot| {
        let mut calibration = (**snapshot.calibration.as_ref().unwrap()).clone();
        for feed in &mut calibration.feeds {
            feed.name.clear();
        }
        snapshot.calibration = Some(Arc::new(calibration));
    });
    press(&mut rig, words::get().start_demo);
    press(&mut rig, words::get().start_yes);
    press(&mut rig, words::get().start_size_take);
    let scaled = |rig: &Rig| {
        let draft = rig.window().draft().unwrap();
        draft
            .feeds
            .iter()
            .all(|feed| matches!(feed.scale_from, ScaleFrom::OutsideDiameter { .. }))
    };
    assert!(scaled(&rig));
    press(&mut rig, words::get().start_suggest);
    let names = |rig: &Rig| -> Vec<String> {
        let draft = rig.window().draft().unwrap();
        draft.feeds.iter().map(|feed| feed.name.clone()).collect()
    };
    assert_eq!(names(&rig), ["left cylinder", "right cylinder"]);
    rig.harness.get_by_label(&words::name_of(2)).focus();
    rig.harness.run();
    rig.harness.get_by_label(&words::name_of(2)).type_text(" B");
    rig.harness.run();
    assert_eq!(names(&rig)[1], "right cylinder B");
    press(&mut rig, words::get().undo);
    assert_eq!(names(&rig)[1], "right cylinder");
    press(&mut rig, words::get().undo);
    assert_eq!(names(&rig), ["", ""]);
    rig.harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    rig.harness.run();
    assert!(!scaled(&rig));
    assert!(calibrations(&rig) >= 4, "each was sent");
    press(&mut rig, words::get().start_back);
    assert_eq!(rig.window().start_step(), Step::Size);
}

#[test]
fn without_glasses_it_asks_nothing_it_cannot_know() {
    let mut rig = Build::of(Scene::Many(0)).at_the_start();
    press(&mut rig, words::get().start_demo);
    assert!(rig.harness.query_by_label(words::get().start_yes).is_none());
    press(&mut rig, words::get().add_tube);
    assert!(rig.harness.query_by_label(words::get().start_yes).is_some());
}

#[test]
fn cautions_stand_at_the_first_two_steps_and_the_picture_is_judged() {
    let mut rig = Build::of(Scene::Well).at_the_start();
    let caution = words::get().camera_caution;
    assert!(rig.harness.query_by_label(caution).is_some());
    press(&mut rig, words::get().start_demo);
    assert!(rig.harness.query_by_label(caution).is_some());
    assert!(
        rig.harness
            .query_by_label(words::get().light_good)
            .is_some()
    );
    let rate = "25 frames a second.";
    assert!(rig.harness.query_by_label(rate).is_some());
    // The lamp goes out and the camera slows down.
    rig.behind.change(|snapshot| {
        snapshot.frames_per_second = 12.0;
        if let Some(frame) = &mut snapshot.frame {
            let mut dark = (*frame.luma).clone();
            for pixel in dark.pixels_mut() {
                pixel.0[0] /= 8;
            }
            *frame = beadtally::base::Frame::new(frame.number + 1, frame.at_secs + 0.1, dark);
        }
    });
    rig.after(1.0);
    let slowed = "Too dark: the camera has slowed to 12 frames a second; add light behind the \
                  glass.";
    assert!(rig.harness.query_by_label(slowed).is_some());
}

#[test]
fn what_was_set_up_is_there_at_the_next_start() {
    let folder = tempfile::tempdir().unwrap();
    let memory = Memory::in_folder(folder.path().to_path_buf());
    assert!(Window::remembered(&memory).is_none(), "the first start");
    let mut rig = Build::of(Scene::Well).remembering(memory.clone());
    rig.harness.key_press(Key::F9);
    rig.harness.run();
    press(&mut rig, "invented camera");
    assert!(Window::remembered(&memory).is_none(), "not done yet");
    press(&mut rig, words::get().start_yes);
    press(&mut rig, words::get().start_size_take);
    press(&mut rig, words::get().start_done);
    let (source, calibration) = Window::remembered(&memory).unwrap();
    assert_eq!(source, "camera:invented-1");
    assert_eq!(calibration.unwrap().feeds.len(), 3);
}

#[test]
fn escape_leaves_it_for_later() {
    let mut rig = Build::of(Scene::Empty).at_the_start();
    rig.harness.key_press(Key::Escape);
    rig.harness.run();
    assert_eq!(rig.window().view(), View::Watch);
}

#[test]
fn small_pictures_come_while_somebody_chooses_and_the_source_is_let_go_after() {
    let clock = Arc::new(ManualClock::new(0.0));
    let (sender, news) = std::sync::mpsc::sync_channel(1);
    let wake = Arc::new(move || {
        let _full = sender.try_send(());
    });
    let peeps = Peeps::new(clock, wake);
    let open = || demo::open("size=640x480,fps=15").map_err(|error| error.to_string());
    peeps.look_at("demo", Box::new(open));
    peeps.look_at("gone", Box::new(|| Err("it is not there".to_owned())));
    for _ in 0..400 {
        let seen = peeps.seen();
        let told = seen["gone"].why_not.is_some();
        if told && seen["demo"].number >= 2 {
            let picture = seen["demo"].picture.clone().unwrap();
            assert_eq!((picture.width(), picture.height()), (320, 240));
            peeps.wait();
            assert!(peeps.seen().is_empty());
            return;
        }
        let _late = news.recv_timeout(std::time::Duration::from_millis(50));
    }
    panic!("no picture came");
}
