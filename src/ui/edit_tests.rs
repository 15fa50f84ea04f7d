//! Tests of `edit`: each handle by hand-made numbers, undo and redo, limits.

use super::*;
use crate::glass::ScaleFrom;

fn calibration(xs: &[f64]) -> Calibration {
    Calibration {
        picture_width_px: 640,
        picture_height_px: 480,
        camera_identity: None,
        oil: crate::glass::OilData::default(),
        feeds: xs
            .iter()
            .map(|x| {
                let outline = Outline::upright(GlassKind::Tube, *x, 100.0, 60.0, 240.0);
                let mut feed = FeedCalibration::new(outline);
                feed.name = format!("at {x}");
                feed
            })
            .collect(),
    }
}

#[test]
fn the_body_moves_and_undo_puts_it_back() {
    let mut editor = Editor::new(calibration(&[100.0, 300.0]));
    let start = editor.draft().clone();
    let (index, handle) = editor.hit((130.0, 220.0), 8.0, 30.0).unwrap();
    assert_eq!((index, handle), (0, Handle::Body));
    editor.grab(index, handle, (130.0, 220.0));
    editor.drag_to((140.0, 225.0));
    assert!(editor.let_go());
    let moved = editor.draft().feeds[0].outline;
    assert_eq!((moved.centre_x_px, moved.centre_y_px), (140.0, 225.0));
    let after = editor.draft().clone();
    assert!(editor.undo());
    assert_eq!(*editor.draft(), start);
    assert!(!editor.undo(), "one drag is one step");
    assert!(editor.redo());
    assert_eq!(*editor.draft(), after);
}

#[test]
fn a_corner_leaves_the_opposite_corner_where_it_was() {
    for angle_deg in [0.0, 20.0, -33.0] {
        let mut start = Outline::upright(GlassKind::Tube, 200.0, 100.0, 80.0, 200.0);
        start.angle_deg = angle_deg;
        let grabbed = handle_at(&start, Handle::Side(1, 1), 0.0);
        let after = dragged(
            &start,
            Handle::Side(1, 1),
            grabbed,
            (grabbed.0 + 12.0, grabbed.1 + 7.0),
        );
        let fixed = handle_at(&start, Handle::Side(-1, -1), 0.0);
        let still = handle_at(&after, Handle::Side(-1, -1), 0.0);
        assert!((fixed.0 - still.0).abs() < 1e-9 && (fixed.1 - still.1).abs() < 1e-9);
        let moved = handle_at(&after, Handle::Side(1, 1), 0.0);
        assert!((moved.0 - grabbed.0 - 12.0).abs() < 1e-9);
        assert!((moved.1 - grabbed.1 - 7.0).abs() < 1e-9);
    }
}

#[test]
fn a_side_changes_one_measure_only() {
    let start = Outline::upright(GlassKind::Tube, 200.0, 100.0, 80.0, 200.0);
    let after = dragged(&start, Handle::Side(-1, 0), (200.0, 200.0), (190.0, 260.0));
    assert_eq!(after.width_px, 90.0);
    assert_eq!(after.height_px, 200.0);
    assert_eq!(after.centre_x_px, 235.0);
}

#[test]
fn the_knob_turns_clockwise_as_seen_and_holds_at_45_degrees() {
    let start = Outline::upright(GlassKind::Tube, 200.0, 100.0, 80.0, 200.0);
    let knob = handle_at(&start, Handle::Turn, 30.0);
    // Dragging the lower knob to the left turns the glass clockwise.
    let after = dragged(&start, Handle::Turn, knob, (knob.0 - 40.0, knob.1));
    let expected = (40.0_f64).atan2(130.0).to_degrees();
    assert!((after.angle_deg - expected).abs() < 1e-9);
    // The handle is where the pointer is, but for its distance.
    let there = handle_at(&after, Handle::Turn, 30.0);
    assert!(there.0 < knob.0);
    let far = dragged(&start, Handle::Turn, knob, (knob.0 - 900.0, knob.1));
    let kept = within(far, &start, 640, 480);
    assert_eq!(kept.angle_deg, MOST_TURN_DEG);
}

#[test]
fn an_outline_never_leaves_the_picture_and_never_vanishes() {
    let mut editor = Editor::new(calibration(&[100.0]));
    editor.grab(0, Handle::Body, (130.0, 220.0));
    editor.drag_to((-5000.0, 9000.0));
    assert!(editor.let_go());
    let upright = editor.draft().feeds[0].outline.upright_box();
    assert!(upright.x >= -1e-9 && upright.y + upright.height <= 480.0 + 1e-9);
    let corner = handle_at(&editor.draft().feeds[0].outline, Handle::Side(1, 1), 0.0);
    editor.grab(0, Handle::Side(1, 1), corner);
    editor.drag_to((corner.0 - 5000.0, corner.1 - 5000.0));
    editor.let_go();
    assert!(editor.draft().feeds[0].outline.width_px >= LEAST_SIDE_PX);
    assert!(editor.draft().feeds[0].outline.height_px >= LEAST_SIDE_PX);
}

#[test]
fn feeds_stay_numbered_from_the_left_and_the_choice_goes_along() {
    let mut editor = Editor::new(calibration(&[100.0, 300.0]));
    editor.grab(0, Handle::Body, (130.0, 220.0));
    editor.drag_to((500.0, 220.0));
    editor.let_go();
    assert_eq!(editor.draft().feeds[1].name, "at 100");
    assert_eq!(editor.chosen(), Some(1));
}

#[test]
fn nonsense_is_not_taken_over() {
    let mut editor = Editor::new(calibration(&[100.0]));
    assert!(!editor.change(|feed| feed.outline.width_px = f64::NAN));
    assert!(!editor.change(|feed| feed.band.low_per_minute = 9.0));
    assert!(!editor.change(|feed| feed.band.high_per_minute = f64::INFINITY));
    assert!(!editor.change(|feed| feed.px_per_mm = Some(-1.0)));
    assert!(!editor.can_undo());
    assert!(editor.change(|feed| feed.band.high_per_minute = 4.0));
    assert!(editor.can_undo());
}

#[test]
fn glasses_are_added_in_the_widest_gap_and_removed() {
    let mut editor = Editor::new(calibration(&[40.0, 120.0]));
    editor.add(GlassKind::Port);
    assert_eq!(editor.draft().feeds.len(), 3);
    assert_eq!(editor.chosen(), Some(2));
    assert_eq!(editor.draft().feeds[2].outline.kind, GlassKind::Port);
    assert!(editor.remove());
    assert!(editor.remove());
    assert!(editor.remove());
    assert!(!editor.remove());
    assert_eq!(editor.chosen(), None);
    assert!(editor.undo() && editor.undo() && editor.undo() && editor.undo());
    assert_eq!(*editor.draft(), calibration(&[40.0, 120.0]));
}

#[test]
fn choosing_goes_round() {
    let mut editor = Editor::new(calibration(&[10.0, 120.0, 300.0]));
    editor.choose_next(1);
    assert_eq!(editor.chosen(), Some(1));
    editor.choose_next(-1);
    editor.choose_next(-1);
    assert_eq!(editor.chosen(), Some(2));
    editor.choose_next(1);
    assert_eq!(editor.chosen(), Some(0));
}

#[test]
fn changes_of_one_field_are_one_step() {
    let mut editor = Editor::new(calibration(&[10.0]));
    let start = editor.draft().clone();
    for width in [61.0, 62.0, 63.0] {
        assert!(editor.change_on("width", |feed| feed.outline.width_px = width));
    }
    editor.settle();
    assert!(editor.change_on("width", |feed| feed.outline.width_px = 70.0));
    assert!(editor.undo());
    assert_eq!(editor.draft().feeds[0].outline.width_px, 63.0);
    assert!(editor.undo());
    assert_eq!(*editor.draft(), start);
    assert!(!editor.can_undo());
}

#[test]
fn a_scale_from_the_diameter_follows_the_outline() {
    let mut editor = Editor::new(calibration(&[10.0]));
    let diameter = ScaleFrom::OutsideDiameter { mm: 15.0 };
    editor.change(|feed| *feed = feed.clone().with_scale(diameter));
    assert_eq!(editor.draft().feeds[0].px_per_mm, Some(4.0));
    editor.change(|feed| feed.outline.width_px = 75.0);
    assert_eq!(editor.draft().feeds[0].px_per_mm, Some(5.0));
}
