//! The evidence for a drop: its picture, its figures, the strip at its time; and the list of all
//! drops with their pictures. Pictures come from the library when they are first wanted.

use std::collections::BTreeMap;

use eframe::egui::{
    Align, Button, Image, Layout, Rect, ScrollArea, Sense, Stroke, TextureHandle, TextureOptions,
    Ui, pos2, vec2,
};
use image::GrayImage;

use crate::ui::backend::Backend;
use crate::ui::library::{Bead, Request};
use crate::ui::paint::InSight;
use crate::ui::picture::{GreyTexture, Placing};
use crate::ui::runs::data::Drop;
use crate::ui::theme::{PICTURE, Palette};
use crate::ui::words;

/// Most pictures held on the graphics card.
const MOST_TEXTURES: usize = 120;
/// Height of a row of the list, points.
const ROW: f32 = 52.0;

/// Pictures on the screen.
#[derive(Default)]
pub(super) struct Evidence {
    textures: BTreeMap<Bead, TextureHandle>,
    strip: GreyTexture,
    /// The bead whose strip was asked for last, and when.
    strip_asked: Option<(Bead, f64)>,
}

/// Where the drops that are looked at come from.
#[derive(Clone, Copy)]
pub(super) struct Origin<'a> {
    /// The run.
    pub run: i64,
    /// Whether it is still being recorded, so that a better strip may come.
    pub under_way: UnderWay,
    /// What stands behind the window.
    pub backend: &'a dyn Backend,
    /// The window's clock, seconds.
    pub clock_secs: f64,
}

/// Whether a run is still being recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum UnderWay {
    /// It is.
    Yes,
    /// It has ended.
    No,
}

fn bead_of(run: i64, drop: &Drop) -> Bead {
    Bead {
        run,
        feed: drop.row.feed,
        at_bits: drop.row.at_secs.to_bits(),
    }
}

impl Evidence {
    /// The texture of a bead's picture, once it has been read.
    fn texture(
        &mut self,
        ui: &Ui,
        run: i64,
        drop: &Drop,
        backend: &dyn Backend,
    ) -> Option<TextureHandle> {
        if !drop.row.has_picture {
            return None;
        }
        let bead = bead_of(run, drop);
        if let Some(texture) = self.textures.get(&bead) {
            return Some(texture.clone());
        }
        let shelf = backend.shelf();
        let Some(picture) = shelf.pictures.get(&bead) else {
            backend.ask(Request::Picture(bead));
            return None;
        };
        let picture: &GrayImage = picture.as_ref()?;
        if self.textures.len() >= MOST_TEXTURES {
            self.textures.clear();
        }
        let size = [picture.width() as usize, picture.height() as usize];
        let image = eframe::egui::ColorImage::from_gray(size, picture.as_raw());
        let texture = ui.ctx().load_texture("bead", image, TextureOptions::LINEAR);
        self.textures.insert(bead, texture.clone());
        Some(texture)
    }

    /// The list of drops; gives the time of the one pressed.
    pub(super) fn list(
        &mut self,
        ui: &mut Ui,
        run: i64,
        drops: &[Drop],
        looked_at_secs: Option<f64>,
        backend: &dyn Backend,
        palette: &Palette,
    ) -> Option<f64> {
        let mut pressed = None;
        if drops.is_empty() {
            ui.label(words::get().runs_no_drops);
        }
        ScrollArea::vertical()
            .id_salt("drops")
            .auto_shrink(false)
            .show_rows(ui, ROW, drops.len(), |ui, rows| {
                for index in rows {
                    let Some(drop) = drops.get(index) else {
                        continue;
                    };
                    ui.horizontal(|ui| {
                        let (place, _) = ui.allocate_exact_size(vec2(ROW, ROW), Sense::hover());
                        ui.painter().rect_filled(place, 3.0, palette.well);
                        if let Some(texture) = self.texture(ui, run, drop, backend) {
                            picture(ui, place.shrink(2.0), &texture);
                        }
                        let is_looked_at = looked_at_secs == Some(drop.since_start_secs);
                        let face = Button::new(words::drop_row(index + 1, drop))
                            .selected(is_looked_at)
                            .min_size(vec2(ui.available_width(), ROW - 6.0));
                        if ui.add(face).in_sight().clicked() {
                            pressed = Some(drop.since_start_secs);
                        }
                    });
                }
            });
        pressed
    }

    /// The drop that is looked at; gives the index of another one that was asked for.
    pub(super) fn show(
        &mut self,
        ui: &mut Ui,
        origin: Origin<'_>,
        drops: &[Drop],
        looked_at: Option<usize>,
        palette: &Palette,
    ) -> Option<usize> {
        let Some((index, drop)) = looked_at.and_then(|index| Some((index, drops.get(index)?)))
        else {
            ui.label(words::get().runs_press_chart);
            return None;
        };
        let mut asked = None;
        let whole = ui.available_rect_before_wrap();
        let side = whole.height().min(whole.width() * 0.22);
        let place = Rect::from_min_size(whole.min, vec2(side, side));
        ui.painter().rect_filled(place, 3.0, palette.well);
        if let Some(texture) = self.texture(ui, origin.run, drop, origin.backend) {
            picture(ui, place.shrink(3.0), &texture);
        } else {
            let why = if drop.row.has_picture {
                words::get().runs_reading
            } else {
                words::get().runs_no_picture
            };
            crate::ui::paint::paragraph(
                ui,
                place.shrink(6.0),
                eframe::egui::Align2::CENTER_CENTER,
                why,
                13.0,
                palette.ink_well,
            );
        }
        let words_place = Rect::from_min_max(
            pos2(place.right() + 10.0, whole.top()),
            pos2(place.right() + 10.0 + whole.width() * 0.36, whole.bottom()),
        );
        let mut told = ui.new_child(
            eframe::egui::UiBuilder::new()
                .id_salt("drop-told")
                .max_rect(words_place)
                .layout(Layout::top_down(Align::LEFT)),
        );
        told.horizontal_wrapped(|ui| {
            let before = Button::new(words::get().runs_drop_before);
            if ui.add_enabled(index > 0, before).in_sight().clicked() {
                asked = index.checked_sub(1);
            }
            let after = Button::new(words::get().runs_drop_after);
            let has_next = index + 1 < drops.len();
            if ui.add_enabled(has_next, after).in_sight().clicked() {
                asked = Some(index + 1);
            }
        });
        let rest = told.available_rect_before_wrap();
        crate::ui::paint::paragraph_fitting(
            &told,
            rest,
            eframe::egui::Align2::LEFT_TOP,
            &words::drop_told(index + 1, drop),
            15.0,
            palette.ink,
        );
        let strip_place = whole.with_min_x(words_place.right() + 10.0);
        self.strip_at(ui, strip_place, origin, drop, palette);
        asked
    }

    fn strip_at(
        &mut self,
        ui: &Ui,
        rect: Rect,
        origin: Origin<'_>,
        drop: &Drop,
        palette: &Palette,
    ) {
        ui.painter().rect_filled(rect, 3.0, palette.well);
        let bead = bead_of(origin.run, drop);
        let shelf = origin.backend.shelf();
        let found = shelf.strips.get(&bead);
        let is_due = match self.strip_asked {
            Some((asked, at)) if asked == bead => {
                origin.under_way == UnderWay::Yes
                    && origin.clock_secs - at >= super::READ_EVERY_SECS
            }
            _ => found.is_none() || origin.under_way == UnderWay::Yes,
        };
        if is_due {
            origin.backend.ask(Request::Strip(bead));
            self.strip_asked = Some((bead, origin.clock_secs));
        }
        let Some((kept, share)) = found
            .and_then(Option::as_ref)
            .and_then(|kept| Some((kept, kept.place_of(drop.row.at_secs)?)))
        else {
            let words = match found {
                None => words::get().runs_reading,
                Some(_) => words::get().runs_no_strip,
            };
            crate::ui::paint::paragraph(
                ui,
                rect.shrink(8.0),
                eframe::egui::Align2::CENTER_CENTER,
                words,
                13.0,
                palette.ink_well,
            );
            return;
        };
        let mark =
            kept.to_secs.to_bits() as usize ^ (bead.feed as usize) << 8 ^ (bead.run as usize) << 16;
        let secs = ui.input(|input| input.time);
        self.strip
            .follow(ui.ctx(), "strip-kept", &kept.picture, mark, 1, secs);
        let inner = rect.shrink(3.0);
        if let Some(handle) = self.strip.handle() {
            let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
            ui.painter().image(handle.id(), inner, whole, PICTURE);
        }
        let x = inner.left() + inner.width() * share as f32;
        ui.painter()
            .vline(x, inner.y_range(), Stroke::new(3.5, crate::ui::theme::HALO));
        ui.painter().vline(
            x,
            inner.y_range(),
            Stroke::new(1.5, crate::ui::theme::RING_OIL),
        );
        crate::ui::paint::say(ui, rect, words::get().runs_strip_said);
    }
}

fn picture(ui: &Ui, rect: Rect, texture: &TextureHandle) {
    let size = texture.size();
    let placing = Placing::fit(rect, size[0] as u32, size[1] as u32);
    Image::new(texture).paint_at(ui, placing.shown);
}
