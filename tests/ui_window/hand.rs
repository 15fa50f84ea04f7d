//! The hand check: taps by key, by finger and by name; nothing of the count is shown meanwhile; the
//! result says who missed what and whether the two agree, in words.

use std::sync::Arc;

use beadtally::base::{FeedNumber, Span};
use beadtally::rate::hand_check;
use beadtally::run::Intent;
use beadtally::ui::app::View;
use beadtally::ui::pretend::Scene;
use beadtally::ui::words::{self, Language};
use eframe::egui::{Event, Key, Modifiers, PointerButton};
use egui_kittest::kittest::Queryable;

use crate::kit::{Build, Rig};

fn says(rig: &Rig, part: &str) -> bool {
    rig.harness.query_all_by_label_contains(part).count() > 0
}

fn key(rig: &mut Rig, key: Key) {
    rig.harness.key_press(key);
    rig.harness.run();
}

fn taps(rig: &Rig) -> usize {
    let sent = rig.behind.sent();
    sent.iter().filter(|i| matches!(i, Intent::Tap)).count()
}

/// In the hand check of feed 1, tapping.
fn tapping() -> Rig {
    let mut rig = Build::of(Scene::Well).rig();
    key(&mut rig, Key::Num1);
    key(&mut rig, Key::H);
    assert_eq!(rig.window().view(), View::Hand);
    assert!(says(&rig, "Watch left cylinder with your own eyes"));
    assert!(says(&rig, words::get().caution));
    rig.harness.get_by_label(words::get().hand_start).click();
    rig.harness.run();
    let sent = rig.behind.sent();
    assert!(
        matches!(
            &sent[..],
            [Intent::StartHandCheck {
                feed: Some(FeedNumber(1))
            }]
        ),
        "{sent:?}"
    );
    rig
}

/// The check ends with these taps and drops, and all of it is known.
fn settle(rig: &mut Rig, taps: &[f64], drops: &[f64]) {
    rig.behind.change(|snapshot| {
        let check = Arc::make_mut(snapshot.hand_check.as_mut().unwrap());
        let watched = Span {
            from_secs: 0.0,
            to_secs: 2000.0,
        };
        check.from_secs = 0.0;
        check.ended_secs = Some(2000.0);
        check.taps = taps.len();
        check.result = hand_check(taps, drops, watched, &[]);
        check.is_settled = true;
    });
    rig.after(0.1);
}

fn times(count: u32, late_secs: f64) -> Vec<f64> {
    (0..count)
        .map(|i| 20.0 + 25.0 * f64::from(i) + late_secs)
        .collect()
}

#[test]
fn taps_go_out_by_key_by_finger_and_by_name() {
    let mut rig = tapping();
    key(&mut rig, Key::Space);
    assert_eq!(taps(&rig), 1);
    assert!(says(&rig, "1 tap in"));
    // A finger: the tap is its coming down.
    let at = rig.harness.get_by_label(words::get().hand_tap_here).rect();
    assert!(at.width() > 500.0 && at.height() > 350.0, "large: {at:?}");
    rig.harness.event(Event::PointerMoved(at.center()));
    rig.harness.run();
    let press = |pressed| Event::PointerButton {
        pos: at.center(),
        button: PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    };
    rig.harness.event(press(true));
    rig.harness.run();
    assert_eq!(taps(&rig), 2);
    rig.harness.event(press(false));
    rig.harness.run();
    assert_eq!(taps(&rig), 2, "lifting is no tap");
    // By the accessibility tree.
    rig.harness
        .get_by_label(words::get().hand_tap_here)
        .click_accesskit();
    rig.harness.run();
    assert_eq!(taps(&rig), 3);
    // Held down it is one tap.
    for _ in 0..3 {
        rig.harness.event(Event::Key {
            key: Key::Space,
            physical_key: None,
            pressed: true,
            repeat: false,
            modifiers: Modifiers::NONE,
        });
        rig.harness.run();
    }
    assert_eq!(taps(&rig), 4);
    // Away from the field, or with another view open, nothing taps.
    key(&mut rig, Key::F2);
    key(&mut rig, Key::Space);
    assert_eq!(taps(&rig), 4);
}

#[test]
fn nothing_of_the_count_is_shown_while_a_person_taps() {
    let mut rig = tapping();
    rig.behind.change(|snapshot| snapshot.feeds[0].drops += 3);
    rig.after(0.1);
    assert!(!says(&rig, "40 drops"));
    assert!(!says(&rig, words::get().hand_matched));
    rig.harness.get_by_label(words::get().hand_end).click();
    rig.harness.run();
    assert!(matches!(
        rig.behind.sent().last(),
        Some(Intent::EndHandCheck)
    ));
    assert!(says(&rig, words::get().hand_settling));
    assert!(!says(&rig, words::get().hand_matched));
}

#[test]
fn the_result_says_in_words_whether_the_two_agree() {
    let mut rig = tapping();
    settle(&mut rig, &times(40, 0.2), &times(40, 0.0));
    assert!(says(&rig, words::get().hand_agree));
    assert!(says(&rig, "40  seen by both"));
    assert!(says(&rig, "0  missed by the tool"));
    // The tool missed half.
    let mut few = times(40, 0.0);
    few.truncate(20);
    settle(&mut rig, &times(40, 0.2), &few);
    assert!(says(&rig, words::get().hand_tool_less));
    assert!(says(&rig, "20  missed by the tool  (95 %:"));
    assert!(says(&rig, "Taps without a drop, after"));
    assert!(says(&rig, "under 0.001"));
    settle(&mut rig, &times(3, 0.2), &times(3, 0.0));
    assert!(says(&rig, words::get().hand_too_few));
    // Again: a new check of the same feed.
    rig.harness.get_by_label(words::get().hand_again).click();
    rig.harness.run();
    assert!(matches!(
        rig.behind.sent().last(),
        Some(Intent::StartHandCheck {
            feed: Some(FeedNumber(1))
        })
    ));
}

#[test]
fn it_speaks_german_too() {
    let mut rig = Build::of(Scene::Well).speaking(Language::German);
    key(&mut rig, Key::H);
    key(&mut rig, Key::H);
    assert!(says(&rig, "alle Gläser zusammen"));
    settle(&mut rig, &times(40, 0.2), &times(40, 0.0));
    assert!(says(&rig, "Beide stimmen überein."));
    words::speak(Language::English);
}

#[test]
fn without_a_source_nothing_is_begun() {
    let mut rig = Build::of(Scene::Empty).rig();
    key(&mut rig, Key::H);
    key(&mut rig, Key::H);
    assert!(rig.behind.sent().is_empty());
    assert!(says(&rig, words::get().nothing_runs));
}
