//! The picture of the Set-up view: outlines with their handles, dragged by pointer or nudged by
//! keys, and two points to measure between. What a drag means is `edit`'s business.

use eframe::egui::accesskit::Role;
use eframe::egui::{
    Align2, EventFilter, Painter, Pos2, Rect, Sense, Shape, Stroke, StrokeKind, Ui, WidgetInfo,
    pos2, vec2,
};

use crate::glass::FeedCalibration;
use crate::ui::edit::{Editor, HANDLES, Handle, handle_at};
use crate::ui::paint::Lit;
use crate::ui::picture::{Placing, outline_points};
use crate::ui::setup::{Measure, Setup};
use crate::ui::shapes;
use crate::ui::style::letters;
use crate::ui::theme::{HALO, OUTLINE, OUTLINE_CHOSEN, RING_GAS};
use crate::ui::words;

/// How near a handle the pointer must come, points: half the least target of WCAG 2.2, 2.5.8.
const REACH: f32 = 12.0;
/// How far the turning knob stands off the glass, points.
const KNOB: f32 = 30.0;

impl Setup {
    /// Draws the outlines over the picture and listens to the pointer.
    pub(super) fn canvas(&mut self, ui: &Ui, placing: &Placing) {
        let Some(editor) = &mut self.editor else {
            return;
        };
        let id = ui.scope_id().with("outlines-in-the-picture");
        self.picture_id = Some(id);
        let response = ui.interact(placing.shown, id, Sense::click_and_drag());
        response.widget_info(|| {
            let mut info = WidgetInfo::labeled(Role::Canvas, true, words::get().outlines);
            info.current_text_value = Some(words::chosen_outline(editor.chosen()));
            info
        });
        if response.has_focus() {
            // The arrows move the outline, not the focus.
            ui.ctx().memory_mut(|memory| {
                memory.set_focus_lock_filter(
                    id,
                    EventFilter {
                        horizontal_arrows: true,
                        vertical_arrows: true,
                        tab: false,
                        escape: false,
                    },
                );
            });
        }
        let reach = f64::from(REACH / placing.points_per_px);
        let knob = f64::from(KNOB / placing.points_per_px);
        let point = |at: Pos2| placing.picture_from_screen(at);
        if self.measure.is_on() {
            if response.clicked()
                && let Some(at) = response.interact_pointer_pos().map(point)
            {
                self.measure = match self.measure {
                    Measure::Second(first) => Measure::Done(first, at),
                    _ => Measure::Second(at),
                };
            }
        } else if response.drag_started() {
            let origin = ui.input(|input| input.pointer.press_origin());
            if let Some(at) = origin.map(point)
                && let Some((index, handle)) = editor.hit(at, reach, knob)
            {
                editor.grab(index, handle, at);
            }
            response.request_focus();
        } else if response.clicked() {
            let at = response.interact_pointer_pos().map(point);
            editor.choose(
                at.and_then(|at| editor.hit(at, reach, knob))
                    .map(|(index, _)| index),
            );
            response.request_focus();
        }
        if editor.is_dragging() {
            if let Some(at) = response.interact_pointer_pos() {
                editor.drag_to(point(at));
            }
            if !ui.input(|input| input.pointer.any_down()) {
                self.unsent |= editor.let_go();
            }
        }
        let painter = ui.painter_at(placing.shown);
        outlines(&painter, placing, editor, knob);
        measured(&painter, placing, self.measure);
        if response.has_focus() {
            painter.rect_stroke(
                placing.shown,
                2.0,
                Stroke::new(3.0, OUTLINE_CHOSEN),
                StrokeKind::Inside,
            );
        }
    }
}

fn outlines(painter: &Painter, placing: &Placing, editor: &Editor, knob_px: f64) {
    for (index, feed) in editor.draft().feeds.iter().enumerate() {
        let chosen = Lit::from(editor.chosen() == Some(index));
        outline(painter, placing, index, feed, chosen, knob_px);
    }
}

fn outline(
    painter: &Painter,
    placing: &Placing,
    index: usize,
    feed: &FeedCalibration,
    chosen: Lit,
    knob_px: f64,
) {
    let points = outline_points(&feed.outline, placing);
    let on_screen = |(x, y): (f64, f64)| placing.screen_from_picture(x, y);
    match chosen {
        Lit::No => shapes::haloed(painter, &points, 1.75, OUTLINE),
        Lit::Yes => {
            shapes::haloed(painter, &points, 3.0, OUTLINE_CHOSEN);
            let foot = on_screen(handle_at(&feed.outline, Handle::Side(0, 1), 0.0));
            let knob = on_screen(handle_at(&feed.outline, Handle::Turn, knob_px));
            for stroke in [Stroke::new(4.0, HALO), Stroke::new(1.75, OUTLINE_CHOSEN)] {
                painter.line_segment([foot, knob], stroke);
            }
            for handle in HANDLES {
                let at = on_screen(handle_at(&feed.outline, handle, knob_px));
                if handle == Handle::Turn {
                    painter.circle(at, 7.0, OUTLINE_CHOSEN, Stroke::new(1.5, HALO));
                    continue;
                }
                let square = Rect::from_center_size(at, vec2(11.0, 11.0));
                painter.rect(
                    square,
                    2.0,
                    OUTLINE_CHOSEN,
                    Stroke::new(1.5, HALO),
                    StrokeKind::Outside,
                );
            }
        }
    }
    let upright = feed.outline.upright_box();
    let top = on_screen((upright.x + upright.width / 2.0, upright.y));
    let centre = pos2(top.x, (top.y - 26.0).max(placing.shown.top() + 15.0));
    let plate = Rect::from_center_size(centre, vec2(30.0, 28.0));
    painter.rect_filled(plate, 4.0, HALO);
    painter.text(
        centre,
        Align2::CENTER_CENTER,
        (index + 1).to_string(),
        letters(20.0),
        OUTLINE_CHOSEN,
    );
}

fn measured(painter: &Painter, placing: &Placing, measure: Measure) {
    let ends = match measure {
        Measure::Off | Measure::First => return,
        Measure::Second(first) => vec![first],
        Measure::Done(first, second) => vec![first, second],
    };
    let points: Vec<Pos2> = ends
        .into_iter()
        .map(|(x, y)| placing.screen_from_picture(x, y))
        .collect();
    if let [a, b] = points[..] {
        for stroke in [Stroke::new(4.5, HALO), Stroke::new(2.0, RING_GAS)] {
            painter.line_segment([a, b], stroke);
        }
    }
    for at in points {
        for stroke in [Stroke::new(4.5, HALO), Stroke::new(2.0, RING_GAS)] {
            painter.add(Shape::line_segment(
                [pos2(at.x - 9.0, at.y), pos2(at.x + 9.0, at.y)],
                stroke,
            ));
            painter.add(Shape::line_segment(
                [pos2(at.x, at.y - 9.0), pos2(at.x, at.y + 9.0)],
                stroke,
            ));
        }
    }
}
