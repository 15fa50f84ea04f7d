//! What holds in every view: names for all that can be pressed, reach by keyboard, no needless
//! drawing, no texture made anew, every size of window.

use std::collections::BTreeSet;
use std::time::Duration;

use beadtally::ui::backend::Pace;
use beadtally::ui::kept::Memory;
use beadtally::ui::pretend::Scene;
use beadtally::ui::style::Look;
use beadtally::ui::words::{self, Language};
use eframe::egui::accessibility::is_input;
use eframe::egui::{Key, Theme, ViewportId};
use egui_kittest::kittest::{NodeT, Queryable};

use crate::kit::{Build, Rig};

/// Keys that lead to every view and dialog.
const PLACES: [Option<Key>; 12] = [
    Some(Key::H),
    Some(Key::F6),
    Some(Key::F7),
    Some(Key::F8),
    Some(Key::F9),
    None,
    Some(Key::F1),
    Some(Key::F3),
    Some(Key::F4),
    Some(Key::F5),
    Some(Key::M),
    Some(Key::R),
];

fn go(rig: &mut Rig, place: Option<Key>) {
    if let Some(key) = place {
        rig.harness.key_press(key);
        rig.harness.run();
    }
}

fn delay(rig: &Rig) -> Duration {
    rig.harness.output().viewport_output[&ViewportId::ROOT].repaint_delay
}

#[test]
fn every_widget_has_a_name() {
    for scene in [Scene::Well, Scene::Trouble, Scene::Many(8), Scene::Empty] {
        for place in PLACES {
            let mut rig = Build::of(scene).rig();
            go(&mut rig, place);
            assert_eq!(
                rig.harness.unnamed_widgets(),
                Vec::<String>::new(),
                "{scene:?} {place:?}"
            );
            let inputs = rig
                .harness
                .root()
                .children_recursive()
                .filter(|node| is_input(node.accesskit_node().role()))
                .count();
            assert!(inputs >= 8, "the row of keys at least: {inputs}");
        }
    }
}

#[test]
fn tab_comes_to_everything_that_can_be_pressed() {
    for place in [None, Some(Key::F3), Some(Key::M)] {
        let mut rig = Build::of(Scene::Trouble).rig();
        go(&mut rig, place);
        let wanted: BTreeSet<String> = rig
            .harness
            .root()
            .children_recursive()
            .filter(|node| {
                let node = node.accesskit_node();
                is_input(node.role()) && !node.is_disabled()
            })
            .filter_map(|node| node.accesskit_node().label())
            .collect();
        let mut reached = BTreeSet::new();
        for _ in 0..(wanted.len() + 20) {
            rig.harness.key_press(Key::Tab);
            rig.harness.run();
            let focused = rig
                .harness
                .root()
                .children_recursive()
                .find(egui_kittest::Node::is_focused)
                .and_then(|node| node.accesskit_node().label());
            reached.extend(focused);
        }
        // Behind a dialog nothing is to be reached.
        let missed: Vec<&String> = if place == Some(Key::M) {
            let dialog = [
                words::get().keep_mark,
                words::get().back,
                words::get().own_words,
            ];
            let missed = dialog.iter().filter(|w| !reached.contains(**w));
            assert_eq!(
                missed
                    .copied()
                    .filter(|w| *w != words::get().keep_mark)
                    .count(),
                0
            );
            Vec::new()
        } else {
            wanted.difference(&reached).collect()
        };
        assert!(missed.is_empty(), "{place:?}: {missed:?} of {wanted:?}");
    }
}

#[test]
fn nothing_is_drawn_when_nothing_changes() {
    // A clip that is over: only the clock's next minute is waited for.
    let mut rig = Build::of(Scene::Over).rig();
    rig.harness.step();
    assert!(delay(&rig) > Duration::from_secs(40), "{:?}", delay(&rig));
    // Something live: ages are told once a second.
    let mut rig = Build::of(Scene::Well).rig();
    rig.harness.step();
    assert!(
        delay(&rig) >= Duration::from_millis(900),
        "{:?}",
        delay(&rig)
    );
    // An alarm that nobody acknowledged blinks, twice a second, until somebody does.
    let mut rig = Build::of(Scene::Trouble).rig();
    rig.harness.step();
    assert!(
        delay(&rig) <= Duration::from_millis(510),
        "{:?}",
        delay(&rig)
    );
    rig.harness.key_press(Key::A);
    rig.harness.run();
    rig.harness.step();
    assert!(
        delay(&rig) >= Duration::from_millis(900),
        "{:?}",
        delay(&rig)
    );
}

#[test]
fn a_counted_drop_flashes_and_then_rests() {
    let mut rig = Build::of(Scene::Over).rig();
    rig.behind.change(|snapshot| snapshot.feeds[0].drops += 1);
    rig.after(0.1);
    assert!(delay(&rig) < Duration::from_secs(1), "{:?}", delay(&rig));
    rig.after(1.0);
    assert!(delay(&rig) > Duration::from_secs(30), "{:?}", delay(&rig));
}

#[test]
fn pictures_are_set_into_the_same_textures() {
    let mut rig = Build::of(Scene::Well).rig();
    rig.after(0.2);
    let (made, sets) = (rig.painter.count(), rig.window().picture_sets());
    // Without news nothing is set.
    rig.after(0.2);
    rig.after(0.2);
    assert_eq!(rig.window().picture_sets(), sets);
    // Two seconds of news sixty times a second: at most fifteen sets a second.
    for i in 0..120_u64 {
        rig.behind.change(|snapshot| {
            snapshot.now_secs += 1.0 / 60.0;
            if let Some(frame) = &mut snapshot.frame {
                frame.number += i;
            }
        });
        rig.clock.advance(1.0 / 60.0);
        rig.harness.step();
    }
    let news = rig.window().picture_sets() - sets;
    assert!((20..=31).contains(&news), "{news}");
    assert_eq!(rig.painter.count(), made, "no texture was made");
}

#[test]
fn every_view_stands_at_every_size() {
    for (width, height, scale) in [
        (1920.0, 1080.0, 1.0),
        (1280.0, 800.0, 1.0),
        (1024.0, 600.0, 1.0),
        (960.0, 540.0, 2.0),
        (640.0, 400.0, 2.0),
        (512.0, 300.0, 2.0),
    ] {
        for feeds in [0, 1, 2, 3, 5, 8] {
            for place in PLACES {
                let mut rig = Build {
                    scene: Scene::Many(feeds),
                    size: (width, height),
                    scale,
                    theme: if feeds % 2 == 0 {
                        Theme::Dark
                    } else {
                        Theme::Light
                    },
                }
                .rig();
                go(&mut rig, place);
            }
        }
    }
}

#[test]
fn an_alarm_is_announced_at_once_and_its_words_are_whole() {
    use eframe::egui::accesskit::Live;
    let rig = Build::of(Scene::Trouble).rig();
    let announced: Vec<String> = rig
        .harness
        .root()
        .children_recursive()
        .filter(|node| node.accesskit_node().live() == Live::Assertive)
        .filter_map(|node| node.accesskit_node().value())
        .collect();
    assert_eq!(announced.len(), 1, "{announced:?}");
    assert!(announced[0].contains("Feed 1: stopped, unacknowledged"));
    assert!(announced[0].contains("returned to normal unacknowledged"));
}

#[test]
fn the_look_changes_by_key_and_in_the_dialog() {
    let mut rig = Build::of(Scene::Well).rig();
    assert_eq!(Look::of(&rig.harness.ctx), Look::Dark);
    for wanted in [Look::Light, Look::HighContrast, Look::Dark] {
        rig.harness.key_press(Key::L);
        rig.harness.run();
        assert_eq!(Look::of(&rig.harness.ctx), wanted);
    }
    rig.harness.get_by_label(words::get().more).click();
    rig.harness.run();
    rig.harness
        .get_by_label(words::get().look_high_contrast)
        .click();
    rig.harness.run();
    assert_eq!(Look::of(&rig.harness.ctx), Look::HighContrast);
}

#[test]
fn size_and_language_change_in_the_dialog_and_are_remembered() {
    let folder = tempfile::tempdir().unwrap();
    let memory = Memory::in_folder(folder.path().to_path_buf());
    let mut rig = Build::of(Scene::Well).remembering(memory.clone());
    rig.harness.key_press(Key::F8);
    rig.harness.run();
    rig.harness.get_by_label("150 %").click();
    rig.harness.run();
    assert!((rig.harness.ctx.zoom_factor() - 1.5).abs() < 1e-3);
    rig.harness
        .get_by_label(Language::German.words().language_name)
        .click();
    rig.harness.run();
    rig.harness.key_press(Key::Escape);
    rig.harness.run();
    assert!(
        rig.harness
            .query_by_label(Language::German.words().start_run)
            .is_some()
            || rig
                .harness
                .query_by_label(Language::German.words().end_run)
                .is_some()
    );
    rig.harness.key_press(Key::D);
    rig.harness.run();
    // The next window starts as this one ended.
    words::speak(Language::English);
    let next = Build::of(Scene::Well).remembering(memory);
    assert!((next.harness.ctx.zoom_factor() - 1.5).abs() < 1e-3);
    assert_eq!(words::spoken(), Language::German);
    words::speak(Language::English);
}

#[test]
fn the_sound_has_a_switch_that_says_what_it_did() {
    let mut rig = Build::of(Scene::Well).rig();
    rig.harness.key_press(Key::N);
    rig.harness.run();
    assert!(rig.harness.query_by_label(words::get().sound_off).is_some());
    rig.harness.key_press(Key::F8);
    rig.harness.run();
    rig.harness.get_by_label(words::get().alarm_sound).click();
    rig.harness.run();
    assert!(rig.harness.query_by_label(words::get().sound_on).is_some());
    rig.after(10.0);
    assert!(rig.harness.query_by_label(words::get().sound_on).is_none());
}

#[test]
fn a_part_without_a_sign_of_life_is_named() {
    let mut rig = Build::of(Scene::Well).rig();
    let told = |rig: &Rig| {
        rig.harness
            .query_by_label_contains("writes the logbook has given no sign")
            .is_some()
    };
    assert!(!told(&rig));
    rig.behind.change(|snapshot| {
        snapshot.heartbeats = vec![("capture", 0.1), ("measure", 0.1), ("log", 7.0)];
    });
    rig.after(0.1);
    assert!(told(&rig));
}

#[test]
fn closing_during_a_run_asks_once_and_loses_nothing() {
    use beadtally::run::Intent;
    use eframe::egui::{ViewportCommand, ViewportEvent};
    let mut rig = Build::of(Scene::Well).rig();
    let ask_to_close = |rig: &mut Rig| {
        let viewports = &mut rig.harness.input_mut().viewports;
        let root = viewports.get_mut(&ViewportId::ROOT).unwrap();
        root.events.push(ViewportEvent::Close);
        rig.harness.step();
    };
    let commands = |rig: &Rig| {
        rig.harness.output().viewport_output[&ViewportId::ROOT]
            .commands
            .clone()
    };
    ask_to_close(&mut rig);
    assert!(commands(&rig).contains(&ViewportCommand::CancelClose));
    let root = &mut rig.harness.input_mut().viewports;
    root.get_mut(&ViewportId::ROOT).unwrap().events.clear();
    rig.harness.run();
    assert!(
        rig.harness
            .query_by_label(words::get().close_question)
            .is_some()
    );
    assert!(rig.behind.sent().is_empty());
    rig.harness.get_by_label(words::get().end_and_close).click();
    let mut closed = false;
    for _ in 0..6 {
        rig.harness.step();
        closed |= commands(&rig).contains(&ViewportCommand::Close);
    }
    assert!(closed);
    assert!(matches!(rig.behind.sent()[..], [Intent::EndRun]));
    // Who wants to close again while asked has answered.
    let mut rig = Build::of(Scene::Well).rig();
    ask_to_close(&mut rig);
    assert!(commands(&rig).contains(&ViewportCommand::CancelClose));
    let viewports = &mut rig.harness.input_mut().viewports;
    viewports.get_mut(&ViewportId::ROOT).unwrap().events.clear();
    ask_to_close(&mut rig);
    assert!(!commands(&rig).contains(&ViewportCommand::CancelClose));
    assert!(matches!(rig.behind.sent()[..], [Intent::EndRun]));
    // Without a run nothing is asked.
    let mut rig = Build::of(Scene::Trouble).rig();
    ask_to_close(&mut rig);
    assert!(!commands(&rig).contains(&ViewportCommand::CancelClose));
}

#[test]
fn pages_to_read_are_drawn_less_often_than_pictures_that_move() {
    let mut rig = Build::of(Scene::Well).rig();
    for (key, pace) in [
        (Key::F7, Pace::Pages),
        (Key::F1, Pace::Pages),
        (Key::F5, Pace::Figures),
        (Key::F6, Pace::Pictures),
        (Key::F3, Pace::Pictures),
        (Key::F2, Pace::Pictures),
    ] {
        rig.harness.key_press(key);
        rig.harness.run();
        assert_eq!(rig.behind.paced(), pace, "{key:?}");
    }
}
