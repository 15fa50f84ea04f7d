//! The help page: what the shapes mean, how a strip is read, every key, and what to mind near a
//! glass. It is drawn from the same tables as the window itself.

use eframe::egui::{
    Align, Align2, Grid, Layout, Rect, RichText, ScrollArea, Sense, Ui, UiBuilder, vec2,
};

use crate::base::BeadKind;
use crate::judge::FeedState;
use crate::ui::keys::{BINDINGS, Where};
use crate::ui::paint;
use crate::ui::shapes::{self, Firmness};
use crate::ui::theme::{Palette, RING_GAS, RING_OIL};
use crate::ui::words;

/// All verdicts, in the order of the page.
const STATES: [FeedState; 7] = [
    FeedState::InBand,
    FeedState::Low,
    FeedState::High,
    FeedState::FarHigh,
    FeedState::Stopped,
    FeedState::CannotSee,
    FeedState::NoReadingYet,
];

/// Draws the page, scrolled by so many more tenths of its height.
pub fn show(ui: &mut Ui, rect: Rect, scroll_tenths: i32, palette: &Palette) {
    shapes::plate(ui.painter(), rect, palette.plate, palette);
    let mut page = ui.new_child(
        UiBuilder::new()
            .id_salt("help-page")
            .max_rect(rect.shrink(18.0)),
    );
    ScrollArea::vertical()
        .id_salt("help")
        .auto_shrink(false)
        .show(&mut page, |ui| {
            if scroll_tenths != 0 {
                let points = rect.height() * scroll_tenths as f32 / 10.0;
                ui.scroll_with_delta(vec2(0.0, -points));
            }
            ui.heading(words::get().help_heading);
            ui.label(words::get().help_what);
            ui.label(words::get().caution);
            ui.add_space(6.0);
            let wide = ui.available_width() > 860.0;
            if wide {
                let gap = 28.0;
                ui.spacing_mut().item_spacing.x = gap;
                ui.columns(2, |columns| {
                    if let [left, right] = columns {
                        let plain = Layout::top_down(Align::LEFT);
                        left.with_layout(plain, |ui| states(ui, palette));
                        right.with_layout(plain, |ui| keys(ui, palette));
                    }
                });
            } else {
                states(ui, palette);
                keys(ui, palette);
            }
        });
}

fn states(ui: &mut Ui, palette: &Palette) {
    ui.spacing_mut().item_spacing.y = 4.0;
    ui.heading(words::get().help_states);
    for state in STATES {
        let width = ui.available_width();
        let (row, _) = ui.allocate_exact_size(vec2(width, 29.0), Sense::hover());
        let badge = palette.state(state);
        let plate = Rect::from_min_size(row.min, vec2(30.0, 28.0));
        ui.painter().rect_filled(plate, 4.0, badge.fill);
        shapes::verdict(
            ui.painter(),
            Rect::from_center_size(plate.center(), vec2(18.0, 18.0)),
            state,
            badge.ink,
        );
        let words_place = row.with_min_x(plate.right() + 10.0);
        paint::words(
            ui,
            words_place,
            Align2::LEFT_CENTER,
            &words::state_explained(state),
            16.0,
            palette.ink,
        );
    }
    for (kind, told) in [
        (BeadKind::Oil, words::get().ring_explained),
        (BeadKind::Gas, words::get().lozenge_explained),
    ] {
        let width = ui.available_width();
        let (row, _) = ui.allocate_exact_size(vec2(width, 29.0), Sense::hover());
        let plate = Rect::from_min_size(row.min, vec2(30.0, 28.0));
        ui.painter().rect_filled(plate, 4.0, palette.well);
        match kind {
            BeadKind::Oil => shapes::ring(
                ui.painter(),
                plate.center(),
                9.0,
                Firmness::Counted,
                RING_OIL,
            ),
            BeadKind::Gas => shapes::lozenge(
                ui.painter(),
                plate.center(),
                8.0,
                Firmness::Counted,
                RING_GAS,
            ),
        }
        let words_place = row.with_min_x(plate.right() + 10.0);
        paint::words(
            ui,
            words_place,
            Align2::LEFT_CENTER,
            told,
            16.0,
            palette.ink,
        );
    }
    ui.add_space(6.0);
    ui.heading(words::get().help_reading);
    ui.label(words::get().help_figure);
    ui.label(words::get().strip_explained);
    ui.label(words::get().help_history);
    ui.label(words::get().help_hand);
    ui.label(words::get().oil_explained);
    ui.add_space(6.0);
}

fn keys(ui: &mut Ui, palette: &Palette) {
    ui.spacing_mut().item_spacing.y = 4.0;
    ui.heading(words::get().help_keys);
    for (place, heading) in [
        (Where::Everywhere, ""),
        (Where::InHandCheck, words::get().hand),
        (Where::InHelp, words::get().help_keys_help),
        (Where::InSetup, words::get().help_keys_setup),
        (Where::OnPicture, words::get().help_keys_picture),
    ] {
        if !heading.is_empty() {
            ui.add_space(4.0);
            ui.label(heading);
        }
        Grid::new(("keys", heading))
            .num_columns(2)
            .min_row_height(20.0)
            .spacing(vec2(18.0, 5.0))
            .show(ui, |ui| {
                for binding in BINDINGS.iter().filter(|b| b.place == place) {
                    if binding.told().is_empty() {
                        continue;
                    }
                    ui.label(
                        RichText::new(binding.cap())
                            .monospace()
                            .color(palette.ink)
                            .background_color(palette.key),
                    );
                    ui.label(binding.told());
                    ui.end_row();
                }
            });
    }
    ui.add_space(4.0);
    ui.label(words::get().help_tab);
    ui.label(words::get().help_zoom);
}
