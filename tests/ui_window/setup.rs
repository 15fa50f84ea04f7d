//! The Set-up view: outlines dragged and nudged, fields, scale, files; and undo for all of it.

use beadtally::base::GlassKind;
use beadtally::glass::Outline;
use beadtally::run::Intent;
use beadtally::ui::pretend::Scene;
use beadtally::ui::words;
use eframe::egui::{Event, Key, Modifiers, PointerButton, Pos2, Rect, pos2};
use egui_kittest::kittest::Queryable;

use crate::kit::{Build, Rig};

/// Width of the invented pictures, pixels.
const PICTURE_WIDTH_PX: f32 = 640.0;

fn in_setup() -> Rig {
    let mut rig = Build::of(Scene::Well).rig();
    rig.harness.key_press(Key::F3);
    rig.harness.run();
    rig
}

fn outline(rig: &Rig, index: usize) -> Outline {
    rig.window().draft().unwrap().feeds[index].outline
}

fn picture(rig: &Rig) -> Rect {
    rig.harness.get_by_label(words::get().outlines).rect()
}

fn on_screen(rig: &Rig, x_px: f64, y_px: f64) -> Pos2 {
    let rect = picture(rig);
    let scale = rect.width() / PICTURE_WIDTH_PX;
    rect.min + eframe::egui::vec2(x_px as f32, y_px as f32) * scale
}

fn pointer(rig: &mut Rig, at: Pos2, pressed: Option<bool>) {
    rig.harness.event(Event::PointerMoved(at));
    if let Some(pressed) = pressed {
        rig.harness.event(Event::PointerButton {
            pos: at,
            button: PointerButton::Primary,
            pressed,
            modifiers: Modifiers::NONE,
        });
    }
    rig.harness.run();
}

fn drag(rig: &mut Rig, from: Pos2, to: Pos2) {
    pointer(rig, from, Some(true));
    pointer(rig, from + (to - from) * 0.5, None);
    pointer(rig, to, None);
    pointer(rig, to, Some(false));
}

fn calibrations(rig: &Rig) -> usize {
    rig.behind
        .sent()
        .iter()
        .filter(|intent| matches!(intent, Intent::Calibrate(_)))
        .count()
}

#[test]
fn dragging_an_outline_changes_the_calibration_and_undo_restores_it() {
    let mut rig = in_setup();
    let before = outline(&rig, 0);
    let from = on_screen(&rig, before.centre_x_px, before.centre_y_px + 40.0);
    let to = on_screen(&rig, before.centre_x_px + 20.0, before.centre_y_px + 55.0);
    drag(&mut rig, from, to);
    let after = outline(&rig, 0);
    assert!((after.centre_x_px - before.centre_x_px - 20.0).abs() < 0.6);
    assert!((after.centre_y_px - before.centre_y_px - 15.0).abs() < 0.6);
    assert_eq!(after.width_px, before.width_px);
    // What was sent is what is drawn, and it was sent once, when the pointer let go.
    let sent = rig.behind.sent();
    assert_eq!(calibrations(&rig), 1);
    let Some(Intent::Calibrate(sent)) = sent.last() else {
        panic!("{sent:?}");
    };
    assert_eq!(sent.feeds[0].outline, after);
    rig.harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    rig.harness.run();
    assert_eq!(outline(&rig, 0), before);
    let sent = rig.behind.sent();
    assert!(
        matches!(sent.last(), Some(Intent::Calibrate(c)) if c.feeds[0].outline == before),
        "undo is put in force as well"
    );
    rig.harness.get_by_label(words::get().redo).click();
    rig.harness.run();
    assert_eq!(outline(&rig, 0), after);
}

#[test]
fn corners_size_and_the_knob_turns() {
    let mut rig = in_setup();
    let before = outline(&rig, 0);
    let corner = before.corners()[2];
    let from = on_screen(&rig, corner.0, corner.1);
    let to = on_screen(&rig, corner.0 + 12.0, corner.1 + 9.0);
    drag(&mut rig, from, to);
    let sized = outline(&rig, 0);
    assert!((sized.width_px - before.width_px - 12.0).abs() < 0.6);
    assert!((sized.height_px - before.height_px - 9.0).abs() < 0.6);
    let first = |o: &Outline| o.corners()[0];
    assert!((first(&sized).0 - first(&before).0).abs() < 1e-6);
    // The knob hangs thirty points under the foot.
    let foot = sized.picture_from_glass(0.0, sized.height_px / 2.0);
    let knob = on_screen(&rig, foot.0, foot.1) + eframe::egui::vec2(0.0, 30.0);
    drag(&mut rig, knob, knob - eframe::egui::vec2(30.0, 0.0));
    let turned = outline(&rig, 0);
    assert!(turned.angle_deg > 5.0, "{}", turned.angle_deg);
}

#[test]
fn the_keyboard_alone_moves_sizes_and_turns() {
    let mut rig = in_setup();
    rig.harness.get_by_label(words::get().outlines).focus();
    rig.harness.run();
    let before = outline(&rig, 0);
    for _ in 0..3 {
        rig.harness.key_press(Key::ArrowRight);
        rig.harness.run();
    }
    rig.harness.key_press(Key::ArrowUp);
    rig.harness.run();
    rig.harness
        .key_press_modifiers(Modifiers::SHIFT, Key::ArrowDown);
    rig.harness.run();
    rig.harness.key_press(Key::Period);
    rig.harness.run();
    let after = outline(&rig, 0);
    assert!((after.centre_x_px - before.centre_x_px - 3.0).abs() < 1e-6);
    assert!((after.height_px - before.height_px - 1.0).abs() < 1e-6);
    assert!((after.angle_deg - 0.5).abs() < 1e-6);
    assert!(
        rig.harness.get_by_label(words::get().outlines).is_focused(),
        "the arrows do not carry the focus away"
    );
    // Another outline, by key.
    rig.harness.key_press(Key::PageDown);
    rig.harness.run();
    let second = outline(&rig, 1);
    rig.harness.key_press(Key::ArrowLeft);
    rig.harness.run();
    assert!((outline(&rig, 1).centre_x_px - second.centre_x_px + 1.0).abs() < 1e-6);
    rig.harness.key_press(Key::Delete);
    rig.harness.run();
    assert_eq!(rig.window().draft().unwrap().feeds.len(), 2);
}

#[test]
fn glasses_are_added_removed_and_brought_back() {
    let mut rig = in_setup();
    rig.harness.get_by_label(words::get().add_port).click();
    rig.harness.run();
    let draft = rig.window().draft().unwrap();
    assert_eq!(draft.feeds.len(), 4);
    let ports = |rig: &Rig| {
        let draft = rig.window().draft().unwrap();
        let kinds = draft.feeds.iter().map(|f| f.outline.kind);
        kinds.filter(|kind| *kind == GlassKind::Port).count()
    };
    assert_eq!(ports(&rig), 1);
    rig.harness.get_by_label(words::get().remove).click();
    rig.harness.run();
    assert_eq!(ports(&rig), 0);
    rig.harness.get_by_label(words::get().undo).click();
    rig.harness.run();
    assert_eq!(ports(&rig), 1);
}

#[test]
fn name_band_and_scale_are_set_in_their_fields() {
    let mut rig = in_setup();
    rig.harness.get_by_label(words::get().name).focus();
    rig.harness.run();
    rig.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    rig.harness.run();
    rig.harness
        .get_by_label(words::get().name)
        .type_text("pump");
    rig.harness.run();
    assert_eq!(calibrations(&rig), 0, "nothing is sent while one is typing");
    rig.harness.get_by_label(words::get().band_high).focus();
    rig.harness.run();
    assert_eq!(calibrations(&rig), 0);
    rig.harness.key_press(Key::Escape);
    rig.harness.run();
    let feed = |rig: &Rig| rig.window().draft().unwrap().feeds[0].clone();
    assert_eq!(feed(&rig).name, "pump");
    assert_eq!(calibrations(&rig), 1);
    let width = feed(&rig).outline.width_px;
    rig.harness
        .get_by_label(words::get().scale_from_diameter)
        .scroll_to_me();
    rig.harness.run();
    rig.harness
        .get_by_label(words::get().scale_from_diameter)
        .click();
    rig.harness.run();
    // The field's own first value is 20 mm.
    assert!((feed(&rig).px_per_mm.unwrap() - width / 20.0).abs() < 1e-9);
}

#[test]
fn the_scale_comes_from_two_clicked_points() {
    let mut rig = in_setup();
    let key = rig.harness.get_by_label(words::get().click_two_points);
    key.scroll_to_me();
    rig.harness.run();
    rig.harness
        .get_by_label(words::get().click_two_points)
        .click();
    rig.harness.run();
    for (x, y) in [(300.0, 100.0), (300.0, 150.0)] {
        let at = on_screen(&rig, x, y);
        pointer(&mut rig, at, Some(true));
        pointer(&mut rig, at, Some(false));
    }
    rig.harness
        .get_by_label_contains("Scale from 5")
        .scroll_to_me();
    rig.harness.run();
    rig.harness.get_by_label_contains("Scale from 5").click();
    rig.harness.run();
    // 50 pixels are the field's own first 10 mm.
    let scale = rig.window().draft().unwrap().feeds[0].px_per_mm.unwrap();
    assert!((scale - 5.0).abs() < 0.05, "{scale}");
}

#[test]
fn calibrations_are_saved_and_loaded_and_failures_are_said() {
    let mut rig = in_setup();
    rig.harness.get_by_label(words::get().save_dots).click();
    rig.harness.run();
    rig.harness.get_by_label(words::get().save).click();
    rig.harness.run();
    let saved = rig.behind.saved();
    assert_eq!(saved.len(), 1);
    assert_eq!(&saved[0].1, rig.window().draft().unwrap());
    rig.harness.get_by_label(words::get().load_dots).click();
    rig.harness.run();
    rig.harness.get_by_label(words::get().load).click();
    rig.harness.run();
    assert_eq!(rig.window().draft().unwrap().feeds.len(), 2);
    assert_eq!(calibrations(&rig), 1, "what was loaded is put in force");
    rig.harness.get_by_label(words::get().undo).click();
    rig.harness.run();
    assert_eq!(rig.window().draft().unwrap().feeds.len(), 3);
    rig.harness.get_by_label(words::get().load_dots).click();
    rig.harness.run();
    rig.harness
        .get_by_label(words::get().file_path)
        .type_text(" missing");
    rig.harness.run();
    rig.harness.get_by_label(words::get().load).click();
    rig.harness.run();
    assert!(
        rig.harness
            .query_by_label_contains("no such file; check the path")
            .is_some()
    );
}

#[test]
fn finding_again_is_asked_for_and_its_result_can_be_undone() {
    let mut rig = in_setup();
    rig.harness.get_by_label(words::get().find_again).click();
    rig.harness.run();
    assert!(matches!(rig.behind.sent()[..], [Intent::FindGlasses]));
    // What a person did before is not lost by it.
    rig.harness.get_by_label(words::get().add_port).click();
    rig.harness.run();
    let before = rig.window().draft().unwrap().clone();
    let mut found = before.clone();
    found.feeds.truncate(1);
    rig.behind.change(|snapshot| {
        snapshot.calibration = Some(std::sync::Arc::new(found.clone()));
    });
    rig.after(0.1);
    assert_eq!(rig.window().draft().unwrap(), &found);
    rig.harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    rig.harness.run();
    assert_eq!(rig.window().draft().unwrap(), &before);
}

#[test]
fn what_was_found_before_anybody_touched_it_cannot_be_undone() {
    let mut rig = Build::of(Scene::Well).rig();
    rig.behind.change(|snapshot| {
        let mut other = (**snapshot.calibration.as_ref().unwrap()).clone();
        other.feeds.truncate(2);
        snapshot.calibration = Some(std::sync::Arc::new(other));
    });
    rig.harness.key_press(Key::F3);
    rig.harness.run();
    rig.harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    rig.harness.run();
    assert_eq!(rig.window().draft().unwrap().feeds.len(), 2);
    assert_eq!(calibrations(&rig), 0);
}

#[test]
fn what_makes_no_sense_is_said_and_not_put_in_force() {
    let mut rig = in_setup();
    let (first, second) = (outline(&rig, 0), outline(&rig, 1));
    let from = on_screen(&rig, first.centre_x_px, first.centre_y_px + 40.0);
    let onto = on_screen(&rig, second.centre_x_px - 4.0, first.centre_y_px + 40.0);
    drag(&mut rig, from, onto);
    assert_eq!(calibrations(&rig), 0);
    assert!(
        rig.harness
            .query_by_label_contains("Not in force yet. Feed 2")
            .is_some()
    );
    rig.harness.get_by_label(words::get().undo).click();
    rig.harness.run();
    assert_eq!(calibrations(&rig), 1);
    assert!(
        rig.harness
            .query_by_label_contains("Not in force yet")
            .is_none()
    );
}

#[test]
fn cautions_stand_where_a_person_is_asked_to_go_near() {
    let mut rig = in_setup();
    assert!(rig.harness.query_by_label(words::get().caution).is_some());
    rig.harness.key_press(Key::M);
    rig.harness.run();
    assert!(
        rig.harness
            .query_by_label(words::get().valve_caution)
            .is_some()
    );
    rig.harness.key_press(Key::Escape);
    rig.harness.run();
    rig.harness.key_press(Key::F4);
    rig.harness.run();
    assert!(
        rig.harness
            .query_by_label(words::get().camera_caution)
            .is_some()
    );
    assert!(picture(&rig).contains(pos2(300.0, 300.0)));
}

#[test]
fn what_steadying_takes_out_and_leaves_over_stands_with_the_chosen_feed() {
    let mut rig = in_setup();
    let told = words::steadied(0.05, 0.8);
    let first = words::outline_row(0, "left cylinder", GlassKind::Tube);
    rig.harness.get_by_label(&first).click();
    rig.harness.run();
    assert!(rig.harness.query_by_label(&told).is_some(), "{told}");
}
