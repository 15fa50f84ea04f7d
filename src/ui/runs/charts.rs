//! The charts of a run: rate over time with limits, band, marks and drops; and the intervals one by
//! one with the limits of an individuals chart. A press gives the time pressed.

use eframe::egui::{Color32, Response, Sense, Stroke, Ui, Vec2, Vec2b};
use egui_plot::{
    FilledArea, GridMark, HLine, Line, MarkerShape, Plot, PlotPoint, PlotPoints, PlotUi, Points,
    Polygon, VLine,
};

use crate::base::Band;
use crate::rate::IndividualsChart;
use crate::run::HistoryPoint;
use crate::ui::scale::plot_end_per_minute;
use crate::ui::strips::stretches;
use crate::ui::theme::{NONE, Palette};
use crate::ui::words;

/// Shortest stretch of time of a chart, seconds.
const LEAST_SECS: f64 = 60.0;

/// What the rate chart shows.
pub struct RateChart<'a> {
    /// Rates over time since the start.
    pub rates: &'a [HistoryPoint],
    /// Times of the drops since the start, seconds.
    pub drops_secs: &'a [f64],
    /// Times of the marks since the start, seconds.
    pub marks_secs: &'a [f64],
    /// The band.
    pub band: Band,
    /// End of the axis of time, seconds.
    pub to_secs: f64,
    /// The time that is looked at, if any.
    pub at_secs: Option<f64>,
}

fn plot(name: &str, size: Vec2) -> Plot<'_> {
    Plot::new(name)
        .width(size.x)
        .height(size.y)
        .show_grid(Vec2b::FALSE)
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
        .sense(Sense::click())
        .x_axis_formatter(|mark: GridMark, _| words::short_length(mark.value))
        .y_axis_formatter(|mark: GridMark, _| words::short_rate(mark.value))
}

/// Draws the rate of a feed over time; gives the time pressed, seconds since the start.
pub fn rate(ui: &mut Ui, name: &str, chart: &RateChart<'_>, palette: &Palette) -> Option<f64> {
    let highest = chart
        .rates
        .iter()
        .filter_map(|point| point.rate)
        .map(|rate| rate.0)
        .fold(0.0, f64::max);
    let end = plot_end_per_minute(chart.band, highest);
    let to = chart.to_secs.max(LEAST_SECS);
    let size = ui.available_size();
    ui.visuals_mut().extreme_bg_color = palette.well;
    let shown = plot(name, size).show(ui, |plot| {
        plot.set_plot_bounds_x(0.0..=to);
        plot.set_plot_bounds_y(0.0..=end);
        band(plot, chart.band, to, palette);
        for stretch in stretches(chart.rates) {
            let times: Vec<f64> = stretch.iter().map(|(at, _)| *at).collect();
            let low: Vec<f64> = stretch.iter().map(|(_, r)| r.1.min(end)).collect();
            let high: Vec<f64> = stretch.iter().map(|(_, r)| r.2.min(end)).collect();
            plot.add(
                FilledArea::new("limits", &times, &low, &high)
                    .fill_color(palette.ribbon)
                    .stroke(Stroke::new(0.0, Color32::TRANSPARENT))
                    .allow_hover(false),
            );
            let line: Vec<[f64; 2]> = stretch.iter().map(|(at, r)| [*at, r.0.min(end)]).collect();
            plot.line(
                Line::new("rate", PlotPoints::new(line))
                    .color(palette.trace)
                    .width(2.0)
                    .allow_hover(false),
            );
        }
        for at in chart.marks_secs {
            plot.vline(
                VLine::new("mark", *at)
                    .stroke(Stroke::new(1.5, palette.focus))
                    .allow_hover(false),
            );
        }
        // Each drop is a lozenge at the foot.
        let feet: Vec<[f64; 2]> = chart
            .drops_secs
            .iter()
            .map(|at| [*at, end * 0.03])
            .collect();
        plot.points(
            Points::new("drops", PlotPoints::new(feet))
                .shape(MarkerShape::Diamond)
                .radius(3.5)
                .color(palette.ink_well)
                .allow_hover(false),
        );
        looked_at(plot, chart.at_secs, palette);
        plot.pointer_coordinate()
    });
    pressed(&shown.response, shown.inner)
}

/// Draws the intervals between drops; gives the time pressed, seconds since the start.
pub fn individuals(
    ui: &mut Ui,
    name: &str,
    points: &[(f64, f64)],
    chart: Option<&IndividualsChart>,
    (to_secs, at_secs): (f64, Option<f64>),
    palette: &Palette,
) -> Option<f64> {
    let highest = points
        .iter()
        .map(|(_, secs)| *secs)
        .chain(chart.map(|chart| chart.upper))
        .fold(1.0, f64::max);
    let size = ui.available_size();
    ui.visuals_mut().extreme_bg_color = palette.well;
    let shown = plot(name, size)
        .y_axis_formatter(|mark: GridMark, _| words::short_length(mark.value))
        .show(ui, |plot| {
            plot.set_plot_bounds_x(0.0..=to_secs.max(LEAST_SECS));
            plot.set_plot_bounds_y(0.0..=highest * 1.1);
            if let Some(chart) = chart {
                for (level, width) in [(chart.mean, 2.0), (chart.upper, 1.0), (chart.lower, 1.0)] {
                    if level > 0.0 {
                        plot.hline(
                            HLine::new("level", level)
                                .stroke(Stroke::new(width, palette.band_edge_well))
                                .allow_hover(false),
                        );
                    }
                }
            }
            let line: Vec<[f64; 2]> = points.iter().map(|(at, secs)| [*at, *secs]).collect();
            plot.line(
                Line::new("intervals", PlotPoints::new(line.clone()))
                    .color(palette.trace)
                    .width(1.0)
                    .allow_hover(false),
            );
            let is_outside =
                |index: usize| chart.is_some_and(|chart| chart.outside.contains(&index));
            let of = |outside: bool| -> Vec<[f64; 2]> {
                line.iter()
                    .enumerate()
                    .filter(|(index, _)| is_outside(*index) == outside)
                    .map(|(_, point)| *point)
                    .collect()
            };
            for (outside, shape, radius) in [
                (false, MarkerShape::Circle, 3.0),
                (true, MarkerShape::Square, 6.0),
            ] {
                let colour = if outside {
                    palette.caution
                } else {
                    palette.trace
                };
                plot.points(
                    Points::new("interval", PlotPoints::new(of(outside)))
                        .shape(shape)
                        .radius(radius)
                        .color(colour)
                        .allow_hover(false),
                );
            }
            looked_at(plot, at_secs, palette);
            plot.pointer_coordinate()
        });
    pressed(&shown.response, shown.inner)
}

fn band(plot: &mut PlotUi<'_>, band: Band, to: f64, palette: &Palette) {
    let block = vec![
        [0.0, band.low_per_minute],
        [to, band.low_per_minute],
        [to, band.high_per_minute],
        [0.0, band.high_per_minute],
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
}

fn looked_at(plot: &mut PlotUi<'_>, at_secs: Option<f64>, palette: &Palette) {
    if let Some(at) = at_secs {
        plot.vline(
            VLine::new("looked-at", at)
                .stroke(Stroke::new(2.5, palette.ink_well))
                .allow_hover(false),
        );
    }
}

fn pressed(plot: &Response, at: Option<PlotPoint>) -> Option<f64> {
    at.filter(|_| plot.clicked()).map(|point| point.x)
}
