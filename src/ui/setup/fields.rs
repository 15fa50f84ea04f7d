//! The entry fields of the Set-up view: all that a pointer can do on the picture, these can do by
//! keyboard. They change the draft; `setup` sends it.

use eframe::egui::{Button, DragValue, Grid, Response, TextEdit, Ui};

use crate::base::GlassKind;
use crate::glass::{FeedCalibration, ScaleFrom};
use crate::ui::edit::Editor;
use crate::ui::paint::InSight;
use crate::ui::setup::{Ask, Measure, Setup};
use crate::ui::theme::Palette;
use crate::ui::words;

/// Highest limit that a band may have, drops a minute: a calibration allows no more.
pub(super) const MOST_PER_MINUTE: f64 = 600.0;
/// Longest length, mm, that a scale may be taken from.
pub(super) const MOST_MM: f64 = 2000.0;

impl Setup {
    /// Draws the fields.
    pub(super) fn fields(&mut self, ui: &mut Ui, asks: &mut Vec<Ask>, palette: &Palette) {
        self.whole_keys(ui, asks);
        if let Some(trouble) = &self.trouble {
            ui.colored_label(palette.ink_danger, trouble);
        }
        ui.separator();
        self.list(ui);
        if self.editor.as_ref().is_some_and(|e| e.chosen().is_some()) {
            ui.separator();
            self.feed(ui);
            ui.separator();
            self.scale(ui);
        }
        ui.separator();
        ui.colored_label(palette.ink_soft, words::get().setup_hint);
        ui.colored_label(palette.ink, words::get().caution);
    }

    fn whole_keys(&mut self, ui: &mut Ui, asks: &mut Vec<Ask>) {
        ui.horizontal_wrapped(|ui| {
            let pressed = |ui: &mut Ui, words: &str, usable: bool| {
                ui.add_enabled(usable, Button::new(words))
                    .in_sight()
                    .clicked()
            };
            if pressed(ui, words::get().find_again, true) {
                asks.push(Ask::Find);
            }
            if pressed(ui, words::get().load_dots, true) {
                asks.push(Ask::Load);
            }
            let Some(editor) = &mut self.editor else {
                return;
            };
            if pressed(ui, words::get().save_dots, true) {
                asks.push(Ask::Save);
            }
            let mut changed = false;
            if pressed(ui, words::get().add_tube, true) {
                editor.add(GlassKind::Tube);
                changed = true;
            }
            if pressed(ui, words::get().add_port, true) {
                editor.add(GlassKind::Port);
                changed = true;
            }
            if pressed(ui, words::get().remove, editor.chosen().is_some()) {
                changed |= editor.remove();
            }
            if pressed(ui, words::get().undo, editor.can_undo()) {
                changed |= editor.undo();
            }
            if pressed(ui, words::get().redo, editor.can_redo()) {
                changed |= editor.redo();
            }
            self.unsent |= changed;
        });
    }

    fn list(&mut self, ui: &mut Ui) {
        let Some(editor) = &mut self.editor else {
            ui.label(words::get().no_outlines);
            return;
        };
        if editor.draft().feeds.is_empty() {
            ui.label(words::get().no_outlines);
        }
        let mut choose = None;
        for (index, feed) in editor.draft().feeds.iter().enumerate() {
            let label = words::outline_row(index, &feed.name, feed.outline.kind);
            let chosen = editor.chosen() == Some(index);
            if ui.selectable_label(chosen, label).in_sight().clicked() {
                choose = Some(index);
            }
        }
        if choose.is_some() {
            editor.choose(choose);
        }
    }

    fn feed(&mut self, ui: &mut Ui) {
        let Some(mut feed) = self
            .editor
            .as_ref()
            .and_then(|editor| editor.chosen_feed().cloned())
        else {
            return;
        };
        let name_width = (ui.available_width() - 190.0).clamp(70.0, 200.0);
        Grid::new("feed-fields").num_columns(2).show(ui, |ui| {
            let label = ui.label(words::get().name);
            let field = ui
                .add(TextEdit::singleline(&mut feed.name).desired_width(name_width))
                .labelled_by(label.id)
                .in_sight();
            self.field("name", &field, |f| f.name.clone_from(&feed.name));
            ui.end_row();

            ui.label(words::get().glass);
            ui.horizontal(|ui| {
                for (kind, word) in [
                    (GlassKind::Tube, words::get().tube),
                    (GlassKind::Port, words::get().port),
                ] {
                    if ui
                        .radio(feed.outline.kind == kind, word)
                        .in_sight()
                        .clicked()
                    {
                        self.change(|f| f.outline.kind = kind);
                    }
                }
            });
            ui.end_row();

            let mut band = feed.band;
            let low = number(
                ui,
                words::get().band_low,
                DragValue::new(&mut band.low_per_minute).speed(0.05),
                0.0..=MOST_PER_MINUTE,
                1..=2,
            );
            self.field("low", &low, |f| f.band.low_per_minute = band.low_per_minute);
            let high = number(
                ui,
                words::get().band_high,
                DragValue::new(&mut band.high_per_minute).speed(0.05),
                0.0..=MOST_PER_MINUTE,
                1..=2,
            );
            self.field("high", &high, |f| {
                f.band.high_per_minute = band.high_per_minute;
            });

            let mut outline = feed.outline;
            let (w, h) = self.editor.as_ref().map_or((1.0, 1.0), |editor| {
                let draft = editor.draft();
                (
                    f64::from(draft.picture_width_px),
                    f64::from(draft.picture_height_px),
                )
            });
            let x = number(
                ui,
                words::get().centre_x,
                DragValue::new(&mut outline.centre_x_px),
                0.0..=w,
                0..=1,
            );
            self.field("x", &x, |f| f.outline.centre_x_px = outline.centre_x_px);
            let y = number(
                ui,
                words::get().centre_y,
                DragValue::new(&mut outline.centre_y_px),
                0.0..=h,
                0..=1,
            );
            self.field("y", &y, |f| f.outline.centre_y_px = outline.centre_y_px);
            let width = number(
                ui,
                words::get().width,
                DragValue::new(&mut outline.width_px),
                1.0..=w,
                0..=1,
            );
            self.field("width", &width, |f| f.outline.width_px = outline.width_px);
            let height = number(
                ui,
                words::get().height,
                DragValue::new(&mut outline.height_px),
                1.0..=h,
                0..=1,
            );
            self.field("height", &height, |f| {
                f.outline.height_px = outline.height_px;
            });
            let angle = number(
                ui,
                words::get().angle,
                DragValue::new(&mut outline.angle_deg).speed(0.1),
                -45.0..=45.0,
                1..=1,
            );
            self.field("angle", &angle, |f| f.outline.angle_deg = outline.angle_deg);
        });
        let chosen = self.editor.as_ref().and_then(Editor::chosen);
        if let Some((shift_px, levels)) = chosen.and_then(|index| self.steadied.get(index)) {
            ui.label(words::steadied(*shift_px, *levels));
        }
    }

    fn scale(&mut self, ui: &mut Ui) {
        let Some(feed) = self
            .editor
            .as_ref()
            .and_then(|editor| editor.chosen_feed().cloned())
        else {
            return;
        };
        ui.label(words::scale_now(feed.px_per_mm));
        Grid::new("scale-fields").num_columns(2).show(ui, |ui| {
            number(
                ui,
                words::get().outside_diameter,
                DragValue::new(&mut self.diameter_mm).speed(0.1),
                0.1..=MOST_MM,
                1..=2,
            );
            ui.label("");
            if ui
                .button(words::get().scale_from_diameter)
                .in_sight()
                .clicked()
            {
                let from = ScaleFrom::OutsideDiameter {
                    mm: self.diameter_mm,
                };
                self.change(|f| *f = f.clone().with_scale(from));
            }
            ui.end_row();
            number(
                ui,
                words::get().distance,
                DragValue::new(&mut self.distance_mm).speed(0.1),
                0.1..=MOST_MM,
                1..=2,
            );
            ui.label("");
            match self.measure {
                Measure::Off => {
                    if ui
                        .button(words::get().click_two_points)
                        .in_sight()
                        .clicked()
                    {
                        self.measure = Measure::First;
                    }
                }
                Measure::First | Measure::Second(_) => {
                    let word = if self.measure == Measure::First {
                        words::get().click_first_point
                    } else {
                        words::get().click_second_point
                    };
                    if ui.button(word).in_sight().clicked() {
                        self.measure = Measure::Off;
                    }
                }
                Measure::Done(a, b) => {
                    let length = (a.0 - b.0).hypot(a.1 - b.1);
                    if ui
                        .button(words::scale_from_points(length))
                        .in_sight()
                        .clicked()
                    {
                        let from = ScaleFrom::Points {
                            from_px: [a.0, a.1],
                            to_px: [b.0, b.1],
                            apart_mm: self.distance_mm,
                        };
                        self.change(|f| *f = f.clone().with_scale(from));
                        self.measure = Measure::Off;
                    }
                }
            }
            ui.end_row();
            let mut scale = feed.px_per_mm.unwrap_or(0.0);
            let typed = number(
                ui,
                words::get().px_per_mm,
                DragValue::new(&mut scale).speed(0.01),
                0.0..=1000.0,
                2..=3,
            );
            self.field("scale", &typed, |f| {
                f.px_per_mm = (scale > 0.0).then_some(scale);
                f.scale_from = ScaleFrom::Typed;
            });
        });
        if ui.button(words::get().scale_for_all).in_sight().clicked()
            && let Some(editor) = &mut self.editor
        {
            let mut all = editor.draft().clone();
            for other in &mut all.feeds {
                other.px_per_mm = feed.px_per_mm;
                // Each glass measured by its own outline; other scales are simply the same.
                other.scale_from = match feed.scale_from {
                    ScaleFrom::OutsideDiameter { .. } => feed.scale_from,
                    ScaleFrom::Typed | ScaleFrom::Points { .. } => ScaleFrom::Typed,
                };
            }
            editor.replace(all);
            self.unsent = true;
        }
    }

    /// Takes over a field's new value; leaving the field ends the step.
    pub(super) fn field(
        &mut self,
        name: &'static str,
        response: &Response,
        change: impl FnOnce(&mut FeedCalibration),
    ) {
        let Some(editor) = &mut self.editor else {
            return;
        };
        if response.changed() {
            self.unsent |= editor.change_on(name, change);
        }
        if response.lost_focus() || response.drag_stopped() {
            editor.settle();
        }
    }

    fn change(&mut self, change: impl FnOnce(&mut FeedCalibration)) {
        if let Some(editor) = &mut self.editor {
            self.unsent |= editor.change(change);
        }
    }
}

/// A numbered row: label, and a field that can be typed into, dragged, or stepped by arrows.
fn number(
    ui: &mut Ui,
    label: &str,
    field: DragValue<'_>,
    range: std::ops::RangeInclusive<f64>,
    decimals: std::ops::RangeInclusive<usize>,
) -> Response {
    let label = ui.label(label);
    let response = ui
        .add(
            field
                .range(range)
                .max_decimals(*decimals.end())
                .min_decimals(*decimals.start())
                .update_while_editing(false),
        )
        .labelled_by(label.id)
        .in_sight();
    ui.end_row();
    response
}
