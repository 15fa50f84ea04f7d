//! The strip of each glass, scrolling, and under it the feed's rate over time with its limits and
//! the band. Each slanting line of a strip is one bead.

use std::collections::HashMap;

use eframe::egui::{Align2, Color32, Rect, Sense, Stroke, Ui, UiBuilder, Vec2, Vec2b, pos2, vec2};
use egui_plot::{FilledArea, HLine, Line, Plot, PlotPoints, Polygon};

use crate::base::FeedNumber;
use crate::run::{FeedSnapshot, HistoryPoint};
use crate::ui::fresh::Fresh;
use crate::ui::paint;
use crate::ui::picture::GreyTexture;
use crate::ui::scale::plot_end_per_minute;
use crate::ui::style::{LEAST_LETTERS, letters};
use crate::ui::theme::{NONE, PICTURE, Palette};
use crate::ui::words;

/// Fewest columns over which a strip is spread, so that a young strip is not one huge smear.
const LEAST_COLUMNS: f32 = 240.0;
/// Shortest stretch of time of a rate plot, seconds.
const LEAST_HISTORY_SECS: f64 = 120.0;

/// The strips' textures, one a feed.
#[derive(Default)]
pub struct Strips {
    textures: HashMap<FeedNumber, GreyTexture>,
}

impl Strips {
    /// Draws the strip of a feed.
    pub fn show(
        &mut self,
        ui: &Ui,
        rect: Rect,
        feed: &FeedSnapshot,
        fresh: &Fresh,
        palette: &Palette,
    ) {
        ui.painter().rect_filled(rect, 4.0, palette.well);
        let name = words::feed_name(feed.feed, &feed.calibration.name);
        let size = LEAST_LETTERS + 1.0;
        let head = Rect::from_min_size(
            rect.min + vec2(8.0, 2.0),
            vec2(rect.width() - 16.0, size * 1.4),
        );
        let mut title = words::number_and_name(feed.feed, &feed.calibration.name);
        if paint::width(ui, &title, size) > head.width() {
            title = feed.feed.to_string();
        }
        paint::painted(
            ui,
            head,
            Align2::LEFT_CENTER,
            &title,
            letters(size),
            palette.ink_well,
        );
        let inner = Rect::from_min_max(
            pos2(rect.left() + 3.0, head.bottom()),
            rect.max - vec2(3.0, 3.0),
        );
        let said = words::strip_of(&name);
        let id = ui.scope_id().with(("strip", feed.feed));
        paint::say_as(ui, rect, id, &said);
        if feed.strip.width() == 0 || feed.strip.height() == 0 {
            return;
        }
        let texture = self.textures.entry(feed.feed).or_default();
        let label = format!("strip-{}", feed.feed);
        texture.follow(
            ui.ctx(),
            &label,
            &feed.strip,
            fresh.generation(),
            1,
            fresh.clock_secs(),
        );
        if let Some(handle) = texture.handle() {
            let columns = (feed.strip.width() as f32).max(LEAST_COLUMNS);
            let width = inner.width() * feed.strip.width() as f32 / columns;
            let place = inner.with_min_x(inner.right() - width);
            let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
            ui.painter().image(handle.id(), place, whole, PICTURE);
        }
    }

    /// Forgets the textures of feeds that are gone.
    pub fn keep_only(&mut self, feeds: &[FeedSnapshot]) {
        self.textures
            .retain(|number, _| feeds.iter().any(|feed| feed.feed == *number));
    }
}

/// One stretch of history without a hole.
type Stretch = Vec<(f64, (f64, f64, f64))>;

/// Divides a history where the rate is not known, so that no line runs across a blind spell.
#[must_use]
pub fn stretches(history: &[HistoryPoint]) -> Vec<Stretch> {
    let mut all = Vec::new();
    let mut open: Stretch = Vec::new();
    for point in history {
        match point.rate {
            Some(rate) => open.push((point.at_secs, rate)),
            None if open.is_empty() => {}
            None => all.push(std::mem::take(&mut open)),
        }
    }
    if !open.is_empty() {
        all.push(open);
    }
    all
}

/// Draws the rate of a feed over time.
pub fn history(ui: &mut Ui, rect: Rect, feed: &FeedSnapshot, now_secs: f64, palette: &Palette) {
    ui.painter().rect_filled(rect, 4.0, palette.well);
    let name = words::feed_name(feed.feed, &feed.calibration.name);
    let id = ui.scope_id().with(("history", feed.feed));
    paint::say_as(ui, rect, id, &words::history_of(&name));
    let rates = feed.history.iter().filter_map(|point| point.rate);
    let highest = rates.map(|rate| rate.0).fold(0.0, f64::max);
    let end = plot_end_per_minute(feed.calibration.band, highest);
    let from = feed
        .history
        .first()
        .map_or(now_secs, |point| point.at_secs)
        .min(now_secs - LEAST_HISTORY_SECS);
    let stretches = stretches(&feed.history);
    let size = LEAST_LETTERS;
    let foot = size * 1.3;
    let plot_rect = Rect::from_min_max(
        pos2(rect.left() + size * 2.0, rect.top() + size * 0.7),
        pos2(rect.right() - 5.0, rect.bottom() - foot),
    );
    let mut inner = ui.new_child(
        UiBuilder::new()
            .id_salt(("rate-plot", feed.feed))
            .max_rect(plot_rect),
    );
    plot(&mut inner, feed, &stretches, (from, now_secs), end, palette);
    // The figures of the axes, at fixed places.
    let y_of = |rate: f64| plot_rect.bottom() - plot_rect.height() * (rate / end).min(1.0) as f32;
    let high_per_minute = feed.calibration.band.high_per_minute;
    let mut last_y = f32::INFINITY;
    for rate in [0.0, high_per_minute, 2.0 * high_per_minute, end] {
        let y = y_of(rate);
        // Figures that would stand on one another are left out.
        if last_y - y < size * 1.1 {
            continue;
        }
        last_y = y;
        let place =
            Rect::from_center_size(pos2(rect.left() + size, y), vec2(size * 1.8, size * 1.2));
        paint::painted(
            ui,
            place,
            Align2::CENTER_CENTER,
            &words::short_rate(rate),
            letters(size),
            palette.ink_well,
        );
    }
    let under = Rect::from_min_max(
        pos2(plot_rect.left(), plot_rect.bottom()),
        rect.right_bottom(),
    );
    let span = words::short_length(now_secs - from);
    if paint::width(ui, &span, size) <= under.width() {
        paint::painted(
            ui,
            under,
            Align2::LEFT_CENTER,
            &span,
            letters(size),
            palette.ink_well,
        );
    }
    if rect.width() > 110.0 {
        paint::painted(
            ui,
            under.with_max_x(under.right() - 5.0),
            Align2::RIGHT_CENTER,
            words::get().now,
            letters(size),
            palette.ink_well,
        );
    }
}

fn plot(
    ui: &mut Ui,
    feed: &FeedSnapshot,
    stretches: &[Stretch],
    (from, to): (f64, f64),
    end: f64,
    palette: &Palette,
) {
    let band = feed.calibration.band;
    let size = ui.available_size();
    Plot::new(("rate-over-time", feed.feed))
        .width(size.x)
        .height(size.y)
        .show_axes(Vec2b::FALSE)
        .show_grid(Vec2b::FALSE)
        .show_background(false)
        .allow_drag(Vec2b::FALSE)
        .allow_zoom(Vec2b::FALSE)
        .allow_scroll(Vec2b::FALSE)
        .allow_boxed_zoom(false)
        .allow_double_click_reset(false)
        .allow_axis_zoom_drag(Vec2b::FALSE)
        .set_margin_fraction(Vec2::ZERO)
        .show_x(false)
        .show_y(false)
        .show_crosshair(false)
        .sense(Sense::hover())
        .show(ui, |plot| {
            plot.set_plot_bounds_x(from..=to);
            plot.set_plot_bounds_y(0.0..=end);
            let block = vec![
                [from, band.low_per_minute],
                [to, band.low_per_minute],
                [to, band.high_per_minute],
                [from, band.high_per_minute],
            ];
            plot.polygon(
                Polygon::new("band", PlotPoints::new(block))
                    .fill_color(palette.band_well)
                    .stroke(Stroke::new(0.0, NONE))
                    .allow_hover(false),
            );
            for limit in [band.low_per_minute, band.high_per_minute] {
                plot.hline(
                    HLine::new("limit", limit)
                        .stroke(Stroke::new(1.0, palette.band_edge_well))
                        .allow_hover(false),
                );
            }
            for stretch in stretches {
                let times: Vec<f64> = stretch.iter().map(|(at, _)| *at).collect();
                let low: Vec<f64> = stretch.iter().map(|(_, r)| r.1.min(end)).collect();
                let high: Vec<f64> = stretch.iter().map(|(_, r)| r.2.min(end)).collect();
                plot.add(
                    FilledArea::new("limits", &times, &low, &high)
                        .fill_color(palette.ribbon)
                        .stroke(Stroke::new(0.0, Color32::TRANSPARENT))
                        .allow_hover(false),
                );
            }
            for stretch in stretches {
                let points: Vec<[f64; 2]> =
                    stretch.iter().map(|(at, r)| [*at, r.0.min(end)]).collect();
                plot.line(
                    Line::new("rate", PlotPoints::new(points))
                        .color(palette.trace)
                        .width(2.0)
                        .allow_hover(false),
                );
            }
        });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_runs_across_a_blind_spell() {
        let point = |at_secs: f64, rate: Option<f64>| HistoryPoint {
            at_secs,
            rate: rate.map(|r| (r, r - 0.5, r + 0.5)),
        };
        let history = [
            point(0.0, None),
            point(1.0, Some(2.0)),
            point(2.0, Some(2.5)),
            point(3.0, None),
            point(4.0, None),
            point(5.0, Some(3.0)),
        ];
        let parts = stretches(&history);
        assert_eq!(parts.len(), 2);
        assert_eq!(parts[0].len(), 2);
        assert_eq!(parts[1][0].0, 5.0);
        assert!(stretches(&[]).is_empty());
    }
}
