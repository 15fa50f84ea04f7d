//! The Watch view: what it tells, what it hides, and what its keys send.

use beadtally::base::FeedNumber;
use beadtally::judge::{Cause, FeedState};
use beadtally::rate::oil::{Figure, OilFlow, ReservoirLife, UsedBy, VolumeFrom};
use beadtally::run::Intent;
use beadtally::ui::app::View;
use beadtally::ui::pretend::Scene;
use beadtally::ui::words;
use eframe::egui::{Key, Rect, vec2};
use egui_kittest::kittest::{NodeT, Queryable};

use crate::kit::{Build, Rig};

/// Everything that is said within a rectangle.
fn said_in(rig: &Rig, rect: Rect) -> Vec<String> {
    rig.harness
        .root()
        .children_recursive()
        .filter(|node| node.accesskit_node().raw_bounds().is_some())
        .filter(|node| rect.contains(node.rect().center()))
        .filter_map(|node| {
            let node = node.accesskit_node();
            node.label().or_else(|| node.value())
        })
        .collect()
}

/// The rectangle of a feed's panel.
fn panel(rig: &Rig, name: &str) -> Rect {
    rig.harness.get_by_label(&words::choose_feed(name)).rect()
}

#[test]
fn figures_limits_state_and_last_drop_are_told() {
    let rig = Build::of(Scene::Well).rig();
    let said = said_in(&rig, panel(&rig, "left cylinder"));
    for wanted in [
        "2.5 drops/min",
        "drops/min",
        "95 %: 2.27 to 2.75",
        "in band",
        "last drop 12 s ago",
        "37 drops",
    ] {
        assert!(said.iter().any(|s| s == wanted), "{wanted} in {said:?}");
    }
}

#[test]
fn what_cannot_be_seen_has_no_figure() {
    let rig = Build::of(Scene::Trouble).rig();
    let said = said_in(&rig, panel(&rig, "steam chest"));
    assert!(said.iter().any(|s| s == "cannot see"), "{said:?}");
    assert!(said.iter().any(|s| s == "something is in the way"));
    assert!(
        !said.iter().any(|s| s.contains("/min") || s.contains('%')),
        "no rate and no limits: {said:?}"
    );
    assert!(!said.iter().any(|s| s.contains("ago")), "{said:?}");
    // A check that can fail: its neighbour has all of these.
    let neighbour = said_in(&rig, panel(&rig, "right cylinder"));
    assert!(neighbour.iter().any(|s| s.contains("/min")));
}

#[test]
fn an_instrument_that_falls_silent_takes_all_figures_with_it() {
    let mut rig = Build::of(Scene::Well).rig();
    rig.after(2.0);
    assert!(
        rig.harness
            .query_by_label("the picture is 2 s old")
            .is_some()
    );
    assert!(rig.harness.query_by_label("2.5 drops/min").is_some());
    assert!(rig.harness.query_by_label("last drop 14 s ago").is_some());
    rig.after(2.0);
    assert!(rig.harness.query_by_label("2.5 drops/min").is_none());
    let said = said_in(&rig, panel(&rig, "left cylinder"));
    assert!(
        said.iter().any(|s| s == words::get().no_sign_of_life),
        "{said:?}"
    );
    // News, and the figures are back.
    rig.behind.change(|_| {});
    rig.after(0.1);
    assert!(rig.harness.query_by_label("2.5 drops/min").is_some());
}

#[test]
fn the_age_of_the_picture_is_always_told() {
    for scene in [Scene::Well, Scene::Trouble, Scene::Many(8)] {
        for key in [Key::F2, Key::F3, Key::F5, Key::F1] {
            let mut rig = Build::of(scene).rig();
            rig.harness.key_press(key);
            rig.harness.run();
            let age = words::picture_age(0.1, 25.0);
            assert!(
                rig.harness.query_by_label(&age).is_some(),
                "{scene:?} {key:?}"
            );
        }
    }
}

#[test]
fn the_acknowledge_key_and_button_send_the_intent() {
    for by_key in [true, false] {
        let mut rig = Build::of(Scene::Trouble).rig();
        assert!(rig.behind.sent().is_empty());
        if by_key {
            rig.harness.key_press(Key::A);
        } else {
            rig.harness.get_by_label(words::get().acknowledge).click();
        }
        rig.harness.run();
        let sent = rig.behind.sent();
        assert!(
            matches!(sent.as_slice(), [Intent::AcknowledgeAll]),
            "{sent:?}"
        );
    }
}

#[test]
fn one_alarm_can_be_acknowledged_by_itself() {
    let mut rig = Build::of(Scene::Trouble).rig();
    rig.harness
        .get_by_label("Acknowledge Feed 1: stopped")
        .click();
    rig.harness.run();
    let sent = rig.behind.sent();
    assert!(
        matches!(
            sent.as_slice(),
            [Intent::Acknowledge {
                feed: Some(FeedNumber(1)),
                cause: Cause::Stopped
            }]
        ),
        "{sent:?}"
    );
    // It is told as acknowledged, and can no longer be pressed.
    assert!(
        rig.harness
            .query_by_label("Acknowledge Feed 1: stopped")
            .is_none()
    );
}

#[test]
fn the_place_of_the_alarms_is_kept_when_there_are_none() {
    let with = Build::of(Scene::Trouble).rig();
    let without = Build::of(Scene::Well).rig();
    assert_eq!(
        panel(&with, "left cylinder"),
        panel(&without, "left cylinder")
    );
    assert!(
        without
            .harness
            .query_by_label(words::get().no_alarms)
            .is_some()
    );
}

#[test]
fn marks_go_out_by_key_by_preset_and_in_own_words() {
    let mut rig = Build::of(Scene::Well).rig();
    // Without a chosen feed a quick mark asks for one.
    rig.harness.key_press(Key::O);
    rig.harness.run();
    assert!(rig.behind.sent().is_empty());
    assert!(
        rig.harness
            .query_by_label(words::get().choose_feed_first)
            .is_some()
    );
    rig.harness.key_press(Key::Num2);
    rig.harness.run();
    assert_eq!(rig.window().chosen(), Some(FeedNumber(2)));
    rig.harness.key_press(Key::O);
    rig.harness.run();
    rig.harness.key_press(Key::M);
    rig.harness.run();
    rig.harness.get_by_label("valve 2 shut").click();
    rig.harness.run();
    rig.harness.key_press(Key::M);
    rig.harness.run();
    rig.harness
        .get_by_label(words::get().whole_lubricator)
        .click();
    rig.harness.run();
    rig.harness.get_by_label(words::get().own_words).focus();
    rig.harness.run();
    rig.harness
        .get_by_label(words::get().own_words)
        .type_text("am mad, O");
    rig.harness.run();
    rig.harness.key_press(Key::Enter);
    rig.harness.run();
    let marks: Vec<(Option<u16>, String)> = rig
        .behind
        .sent()
        .into_iter()
        .filter_map(|intent| match intent {
            Intent::Mark { feed, words } => Some((feed.map(|f| f.0), words)),
            _ => None,
        })
        .collect();
    assert_eq!(
        marks,
        [
            (Some(2), "valve 2 a quarter turn open".to_owned()),
            (Some(2), "valve 2 shut".to_owned()),
            (None, "am mad, O".to_owned()),
        ]
    );
}

#[test]
fn a_run_is_started_with_its_title_and_ended_after_a_question() {
    let mut rig = Build::of(Scene::Trouble).rig();
    rig.harness.key_press(Key::R);
    rig.harness.run();
    // The title has the keyboard at once.
    rig.harness
        .get_by_label(words::get().run_title)
        .type_text("morning");
    rig.harness.run();
    rig.harness.key_press(Key::Enter);
    rig.harness.run();
    assert!(
        matches!(&rig.behind.sent()[..], [Intent::StartRun { title }] if title == "morning"),
        "{:?}",
        rig.behind.sent()
    );
    assert!(rig.harness.query_by_label("run 8: 0 s, 0 drops").is_some());
    rig.harness.get_by_label(words::get().end_run).click();
    rig.harness.run();
    assert!(
        rig.harness
            .query_by_label(words::get().end_run_question)
            .is_some()
    );
    assert_eq!(rig.behind.sent().len(), 1, "only asked so far");
    // Enter presses what has the keyboard.
    rig.harness.key_press(Key::Enter);
    rig.harness.run();
    assert!(matches!(rig.behind.sent()[..], [_, Intent::EndRun]));
    assert!(rig.harness.query_by_label(words::get().no_run).is_some());
}

#[test]
fn without_a_source_no_run_and_no_mark_is_pretended() {
    let mut rig = Build::of(Scene::Empty).rig();
    for key in [Key::R, Key::M, Key::O] {
        rig.harness.key_press(key);
        rig.harness.run();
        assert!(rig.harness.query_by_label(words::get().run_title).is_none());
        assert!(
            rig.harness
                .query_by_label(words::get().nothing_runs)
                .is_some()
        );
    }
    assert!(rig.behind.sent().is_empty());
    let run = rig.harness.get_by_label(words::get().start_run);
    assert!(run.accesskit_node().is_disabled());
}

#[test]
fn sources_cameras_and_faults_are_chosen_in_the_dialog() {
    let mut rig = Build::of(Scene::Well).rig();
    let open = |rig: &mut Rig| {
        rig.harness.key_press(Key::F4);
        rig.harness.run();
    };
    open(&mut rig);
    rig.harness.get_by_label("stop 1").click();
    rig.harness.run();
    assert!(matches!(&rig.behind.sent()[..], [Intent::Fault(f)] if f == "stop 1"));
    rig.harness.get_by_label("invented camera").click();
    rig.harness.run();
    open(&mut rig);
    rig.harness.get_by_label(words::get().open_demo).click();
    rig.harness.run();
    open(&mut rig);
    rig.harness.get_by_label(words::get().clip).focus();
    rig.harness.run();
    rig.harness
        .get_by_label(words::get().clip)
        .type_text("missing.mp4");
    rig.harness.run();
    rig.harness.get_by_label(words::get().open_clip).click();
    rig.harness.run();
    // What failed is said, and the dialog stays.
    assert!(
        rig.harness
            .query_by_label("missing.mp4: no such file; check the path")
            .is_some()
    );
    rig.harness.key_press(Key::Escape);
    rig.harness.run();
    assert!(
        rig.harness
            .query_by_label(words::get().source_heading)
            .is_none()
    );
    assert_eq!(
        rig.behind.opened(),
        ["camera:invented-1", "demo", "missing.mp4"]
    );
}

#[test]
fn every_view_has_its_key_and_escape_leads_back() {
    let mut rig = Build::of(Scene::Well).rig();
    for (key, view) in [
        (Key::F1, View::Help),
        (Key::F3, View::Setup),
        (Key::F5, View::Far),
        (Key::F2, View::Watch),
        (Key::F5, View::Far),
        (Key::F5, View::Watch),
    ] {
        rig.harness.key_press(key);
        rig.harness.run();
        assert_eq!(rig.window().view(), view);
    }
    rig.harness.key_press(Key::F3);
    rig.harness.run();
    rig.harness.key_press(Key::Escape);
    rig.harness.run();
    assert_eq!(rig.window().view(), View::Watch);
}

#[test]
fn a_panel_is_chosen_by_click_and_let_go_by_another() {
    let mut rig = Build::of(Scene::Well).rig();
    let name = words::choose_feed("steam chest");
    rig.harness.get_by_label(&name).click();
    rig.harness.run();
    assert_eq!(rig.window().chosen(), Some(FeedNumber(2)));
    rig.harness.get_by_label(&name).click();
    rig.harness.run();
    assert_eq!(rig.window().chosen(), None);
    // A feed that is not there cannot be chosen.
    rig.harness.key_press(Key::Num7);
    rig.harness.run();
    assert_eq!(rig.window().chosen(), None);
}

#[test]
fn figures_change_without_moving_anything() {
    let mut rig = Build::of(Scene::Well).rig();
    let places = |rig: &Rig| -> Vec<Rect> {
        let said = ["left cylinder", "steam chest", "right cylinder"];
        said.iter().map(|name| panel(rig, name)).collect()
    };
    let figure = rig.harness.get_by_label("2.5 drops/min").rect();
    let before = places(&rig);
    rig.behind.change(|snapshot| {
        let feed = &mut snapshot.feeds[0];
        feed.reading.as_mut().unwrap().drops_per_minute = 11.14;
        feed.state = FeedState::FarHigh;
        feed.doubts = vec!["a doubt".to_owned()];
    });
    rig.after(0.1);
    assert_eq!(rig.harness.get_by_label("11.1 drops/min").rect(), figure);
    assert_eq!(places(&rig), before);
}

#[test]
fn the_figure_is_large_enough_for_three_metres() {
    use beadtally::ui::{feed_panel, layout};
    let panel_of = |width: f32, height: f32, feeds: usize| {
        let whole = Rect::from_min_size(eframe::egui::Pos2::ZERO, vec2(width, height));
        layout::watch(layout::window(whole).view, feeds).panels[0]
    };
    let height = feed_panel::figure_height(panel_of(1280.0, 800.0, 3));
    assert!(height >= 64.0, "{height}");
    let larger = feed_panel::figure_height(panel_of(1920.0, 1080.0, 3));
    assert!(larger > height * 1.2, "it grows with the window: {larger}");
}

#[test]
fn oil_and_reservoir_are_told_where_they_are_known() {
    let mut rig = Build::of(Scene::Over).rig();
    let says = |rig: &Rig, part: &str| rig.harness.query_all_by_label_contains(part).count();
    assert_eq!(says(&rig, "mL/h"), 0);
    let figure = |middle: f64| Figure {
        middle,
        low: middle * 0.8,
        high: middle * 1.25,
    };
    let flow = OilFlow {
        ml_per_hour: figure(9.82),
        drops_per_minute: figure(2.5),
        drop_ul: figure(65.0),
        from: VolumeFrom::Beads,
        beads: Some(20),
    };
    rig.behind.change(|snapshot| {
        snapshot.feeds[0].oil = Some(flow);
        snapshot.oil.total_ml_per_hour = Some(figure(30.0));
    });
    rig.after(0.1);
    assert_eq!(says(&rig, "about 9.8 mL/h (7.9 to 12)"), 1);
    assert_eq!(says(&rig, "all feeds: about 30 mL/h (24 to 38)"), 1);
    rig.behind.change(|snapshot| {
        snapshot.oil.reservoir = Some(ReservoirLife {
            ml_per_hour: figure(30.0),
            used_ml: figure(100.0),
            left_ml: figure(400.0),
            empty_in_secs: figure(48_000.0),
            used_by: UsedBy::Counting,
        });
    });
    rig.after(0.1);
    assert_eq!(
        says(&rig, "about 400 mL left, empty in about 13 h 20 min"),
        1
    );
    // With a doubt the oil stands with the unit.
    rig.behind
        .change(|snapshot| snapshot.feeds[0].doubts = vec!["it trembles".to_owned()]);
    rig.after(0.1);
    assert_eq!(says(&rig, "drops/min: 9.8 mL/h"), 1);
    assert_eq!(says(&rig, "it trembles"), 1);
}
