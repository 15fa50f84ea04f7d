//! The steps of getting started that change outlines: are these the glasses, how thick are they,
//! what are the feeds called. They share the draft, and so the undo, of the Set-up view.

use eframe::egui::{
    Button, DragValue, Grid, Rect, Response, RichText, ScrollArea, TextEdit, Ui, vec2,
};

use crate::base::GlassKind;
use crate::glass::ScaleFrom;
use crate::health::aim::{Grade, Judged};
use crate::ui::fresh::Fresh;
use crate::ui::paint::InSight;
use crate::ui::picture::LivePicture;
use crate::ui::setup::fields::{MOST_MM, MOST_PER_MINUTE};
use crate::ui::setup::{Ask, Setup};
use crate::ui::shapes;
use crate::ui::style::HEADING;
use crate::ui::theme::Palette;
use crate::ui::words;

/// What a step leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Onward {
    /// Stay here.
    Stay,
    /// To the next step.
    Next,
    /// To the step before.
    Before,
}

impl Setup {
    /// The live picture with its outlines, to be dragged.
    pub fn picture(
        &mut self,
        ui: &Ui,
        rect: Rect,
        fresh: &Fresh,
        live: &mut LivePicture,
        palette: &Palette,
    ) {
        let placing = live.show(ui, rect, fresh.snapshot().frame.as_ref(), fresh, palette);
        if let Some(placing) = placing {
            self.canvas(ui, &placing);
        }
    }

    /// How many glasses there are.
    #[must_use]
    pub fn glasses(&self) -> usize {
        self.draft().map_or(0, |draft| draft.feeds.len())
    }

    /// What was changed and may be sent now, because nobody is still at it.
    pub fn settled(&mut self, ui: &Ui) -> Option<Ask> {
        let busy = ui.input(|input| input.pointer.any_down()) || ui.ctx().text_edit_focused();
        if busy {
            None
        } else {
            self.take_unsent().map(Ask::Calibrate)
        }
    }

    fn undo_keys(&mut self, ui: &mut Ui) {
        let Some(editor) = &mut self.editor else {
            return;
        };
        let mut changed = false;
        ui.horizontal(|ui| {
            let undo = Button::new(words::get().undo);
            if ui.add_enabled(editor.can_undo(), undo).in_sight().clicked() {
                changed |= editor.undo();
            }
            let redo = Button::new(words::get().redo);
            if ui.add_enabled(editor.can_redo(), redo).in_sight().clicked() {
                changed |= editor.redo();
            }
        });
        self.unsent |= changed;
        if let Some(trouble) = &self.trouble {
            let palette = Palette::of(ui.ctx());
            ui.colored_label(palette.ink_danger, trouble);
        }
    }

    /// Are these the glasses?
    pub fn glasses_step(
        &mut self,
        ui: &mut Ui,
        fresh: &Fresh,
        judged: &[Judged],
        asks: &mut Vec<Ask>,
        palette: &Palette,
    ) -> Onward {
        let glasses = self.glasses();
        let snapshot = fresh.snapshot();
        let question = if glasses > 0 {
            words::get().start_glasses_question
        } else if snapshot.frame.is_none() {
            words::get().start_no_picture
        } else {
            words::get().start_glasses_looking
        };
        ui.label(RichText::new(question).size(HEADING).color(palette.ink));
        if let Some(notice) = &snapshot.notice
            && (notice.is_error || glasses == 0)
        {
            let ink = if notice.is_error {
                palette.ink_danger
            } else {
                palette.ink
            };
            ui.colored_label(ink, words::instrument(&notice.words));
        }
        let mut onward = Onward::Stay;
        if glasses > 0 {
            let yes = tall(ui, words::get().start_yes);
            if ui.memory(|memory| memory.focused().is_none()) {
                yes.request_focus();
            }
            if yes.clicked() {
                onward = Onward::Next;
            }
            ui.label(words::get().start_glasses_drag);
        }
        ui.horizontal_wrapped(|ui| {
            if ui
                .button(words::get().start_look_again)
                .in_sight()
                .clicked()
            {
                asks.push(Ask::Find);
            }
            if let Some(editor) = &mut self.editor {
                for (word, kind) in [
                    (words::get().add_tube, GlassKind::Tube),
                    (words::get().add_port, GlassKind::Port),
                ] {
                    if ui.button(word).in_sight().clicked() {
                        editor.add(kind);
                        self.unsent = true;
                    }
                }
                let remove = Button::new(words::get().remove);
                let usable = editor.chosen().is_some();
                if ui.add_enabled(usable, remove).in_sight().clicked() {
                    self.unsent |= editor.remove();
                }
            }
        });
        self.undo_keys(ui);
        ui.separator();
        picture_judged(ui, judged, palette);
        ui.label(words::get().start_hint);
        ui.colored_label(palette.ink, words::get().camera_caution);
        if ui.button(words::get().start_back).in_sight().clicked() {
            onward = Onward::Before;
        }
        onward
    }

    /// How thick is the glass?
    pub fn size_step(&mut self, ui: &mut Ui, palette: &Palette) -> Onward {
        let mut onward = Onward::Stay;
        let heading = RichText::new(words::get().start_size_question);
        let label = ui.label(heading.size(HEADING).color(palette.ink));
        let field = ui.add_sized(
            vec2(150.0, 44.0),
            DragValue::new(&mut self.diameter_mm)
                .speed(0.1)
                .range(0.1..=MOST_MM)
                .min_decimals(1)
                .max_decimals(2)
                .suffix(words::get().mm_suffix),
        );
        let _shown = field.labelled_by(label.id).in_sight();
        if tall(ui, words::get().start_size_take).clicked() {
            self.scale_all_from_diameter();
            onward = Onward::Next;
        }
        if tall(ui, words::get().start_skip).clicked() {
            onward = Onward::Next;
        }
        ui.label(words::get().start_size_explained);
        self.undo_keys(ui);
        if ui.button(words::get().start_back).in_sight().clicked() {
            onward = Onward::Before;
        }
        onward
    }

    fn scale_all_from_diameter(&mut self) {
        let from = ScaleFrom::OutsideDiameter {
            mm: self.diameter_mm,
        };
        if let Some(editor) = &mut self.editor {
            let mut all = editor.draft().clone();
            for feed in &mut all.feeds {
                *feed = feed.clone().with_scale(from);
            }
            editor.replace(all);
            self.unsent = true;
        }
    }

    /// What are the feeds called, and what is their band?
    pub fn names_step(&mut self, ui: &mut Ui, palette: &Palette) -> Onward {
        let mut onward = Onward::Stay;
        ui.label(
            RichText::new(words::get().start_names_question)
                .size(HEADING)
                .color(palette.ink),
        );
        let feeds = self
            .draft()
            .map(|draft| draft.feeds.clone())
            .unwrap_or_default();
        let name_width = (ui.available_width() - 210.0).clamp(70.0, 220.0);
        Grid::new("names").num_columns(4).show(ui, |ui| {
            ui.label("");
            // A grid gives a field no more than its column had before.
            ui.scope(|ui| {
                ui.set_min_width(name_width);
                ui.label(words::get().name);
            });
            ui.label(words::get().band_low_short);
            ui.label(words::get().band_high_short);
            ui.end_row();
            for (index, mut feed) in feeds.into_iter().enumerate() {
                let number = index + 1;
                ui.label(number.to_string());
                let field = ui
                    .add(TextEdit::singleline(&mut feed.name).desired_width(name_width))
                    .in_sight();
                said(&field, &words::name_of(number));
                let name = feed.name.clone();
                self.row(index, "names-name", &field, |f| f.name = name);
                let mut band = feed.band;
                let low = limit(ui, &mut band.low_per_minute);
                said(&low, &words::low_of(number));
                self.row(index, "names-low", &low, |f| {
                    f.band.low_per_minute = band.low_per_minute;
                });
                let high = limit(ui, &mut band.high_per_minute);
                said(&high, &words::high_of(number));
                self.row(index, "names-high", &high, |f| {
                    f.band.high_per_minute = band.high_per_minute;
                });
                ui.end_row();
            }
        });
        if ui.button(words::get().start_suggest).in_sight().clicked() {
            self.suggest_names();
        }
        if tall(ui, words::get().start_done).clicked() {
            onward = Onward::Next;
        }
        ui.label(words::get().start_names_explained);
        self.undo_keys(ui);
        if ui.button(words::get().start_back).in_sight().clicked() {
            onward = Onward::Before;
        }
        onward
    }

    fn row(
        &mut self,
        index: usize,
        field: &'static str,
        response: &Response,
        change: impl FnOnce(&mut crate::glass::FeedCalibration),
    ) {
        if response.gained_focus() || response.changed() {
            let other = self
                .editor
                .as_ref()
                .is_some_and(|editor| editor.chosen() != Some(index));
            if let (Some(editor), true) = (&mut self.editor, other) {
                editor.settle();
                editor.choose(Some(index));
            }
        }
        self.field(field, response, change);
    }

    /// Gives names to feeds that have none, as they usually stand: from the left.
    fn suggest_names(&mut self) {
        let Some(editor) = &mut self.editor else {
            return;
        };
        let mut all = editor.draft().clone();
        let names = words::usual_names(all.feeds.len());
        for (feed, name) in all.feeds.iter_mut().zip(names) {
            if feed.name.is_empty() {
                name.clone_into(&mut feed.name);
            }
        }
        editor.replace(all);
        self.unsent = true;
    }
}

/// Names a field whose heading stands above its column.
fn said(response: &Response, words: &str) {
    let ctx = &response.ctx;
    ctx.accesskit_node_builder(response.id, |node| node.set_label(words));
}

fn limit(ui: &mut Ui, per_minute: &mut f64) -> Response {
    ui.add(
        DragValue::new(per_minute)
            .speed(0.05)
            .range(0.0..=MOST_PER_MINUTE)
            .min_decimals(1)
            .max_decimals(2)
            .update_while_editing(false),
    )
    .in_sight()
}

/// A key that a gloved finger hits.
fn tall(ui: &mut Ui, words: &str) -> Response {
    let width = ui.available_width().min(420.0);
    ui.add(Button::new(RichText::new(words).size(18.0)).min_size(vec2(width, 48.0)))
        .in_sight()
}

/// How good the picture is, in a line each: a shape, a word, and what to do.
pub fn picture_judged(ui: &mut Ui, judged: &[Judged], palette: &Palette) {
    for one in judged {
        ui.horizontal(|ui| {
            let (place, _) = ui.allocate_exact_size(vec2(24.0, 24.0), eframe::egui::Sense::hover());
            let badge = match one.grade {
                Grade::Good => palette.badge_normal(),
                Grade::Fair => palette.badge_caution(),
                Grade::Bad => palette.badge_danger(),
            };
            ui.painter().rect_filled(place, 4.0, badge.fill);
            shapes::grade(ui.painter(), place.shrink(5.0), one.grade, badge.ink);
            ui.add(eframe::egui::Label::new(words::judged(one)).wrap());
        });
    }
}

/// A list of fields that scrolls when there is little room.
pub fn side(ui: &mut Ui, rect: Rect, salt: &str, palette: &Palette, draw: impl FnOnce(&mut Ui)) {
    shapes::plate(ui.painter(), rect, palette.plate, palette);
    let mut inner = ui.new_child(
        eframe::egui::UiBuilder::new()
            .id_salt(salt)
            .max_rect(rect.shrink(12.0)),
    );
    ScrollArea::vertical()
        .id_salt((salt, "scroll"))
        .auto_shrink(false)
        .show(&mut inner, draw);
}
