//! The list of runs, the newest first.

use eframe::egui::{Button, Rect, ScrollArea, Ui, UiBuilder, vec2};

use crate::ui::library::Runs;
use crate::ui::paint::InSight;
use crate::ui::runs::RunsView;
use crate::ui::shapes;
use crate::ui::theme::Palette;
use crate::ui::words;

impl RunsView {
    pub(super) fn list(&mut self, ui: &mut Ui, rect: Rect, runs: &Runs, palette: &Palette) {
        shapes::plate(ui.painter(), rect, palette.plate, palette);
        let mut side = ui.new_child(
            UiBuilder::new()
                .id_salt("runs-list")
                .max_rect(rect.shrink(10.0)),
        );
        if self.choosing_beside {
            side.colored_label(palette.ink, words::get().runs_choose_beside);
        }
        let runs = match runs {
            Runs::Reading => {
                side.label(words::get().runs_reading);
                return;
            }
            Runs::Failed(why) => {
                side.colored_label(palette.ink_danger, why);
                return;
            }
            Runs::Found(runs) if runs.is_empty() => {
                side.label(words::get().runs_none);
                return;
            }
            Runs::Found(runs) => runs,
        };
        ScrollArea::vertical()
            .id_salt("runs-list-scroll")
            .auto_shrink(false)
            .show(&mut side, |ui| {
                for run in runs.iter().rev() {
                    let is_shown = [self.chosen, self.beside].contains(&Some(run.run));
                    let width = ui.available_width();
                    let face = Button::new(words::run_row(run))
                        .selected(is_shown)
                        .wrap()
                        .min_size(vec2(width, 44.0));
                    if ui.add(face).in_sight().clicked() {
                        self.choose(run.run);
                    }
                }
            });
    }
}
