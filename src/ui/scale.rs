//! The band of a feed as a scale, with the reading and its limits on it: a brass rule whose marks
//! never move while the band stands. It judges nothing.

use eframe::egui::{Align2, CornerRadius, Pos2, Rect, Shape, Stroke, StrokeKind, Ui, pos2, vec2};

use crate::base::Band;
use crate::rate::Reading;
use crate::ui::paint;
use crate::ui::style::{LEAST_LETTERS, letters};
use crate::ui::theme::Palette;
use crate::ui::words;

/// The end of a scale over the band's high limit: far high (twice) still stands on it.
const END_OVER_HIGH: f64 = 2.5;

/// The end of the scale of a band, drops a minute (> 0).
#[must_use]
pub fn end_per_minute(band: Band) -> f64 {
    let end = band.high_per_minute * END_OVER_HIGH;
    if end.is_finite() && end > 0.0 {
        end
    } else {
        1.0
    }
}

/// The end of a plot's axis, drops a minute: that of the scale, doubled until the highest rate to
/// be shown stands on it.
#[must_use]
pub fn plot_end_per_minute(band: Band, highest: f64) -> f64 {
    let mut end = end_per_minute(band);
    while end < highest && end < 1e6 {
        end *= 2.0;
    }
    end
}

/// Least height at which the limits' figures have room under the scale, points.
const LEAST_WITH_FIGURES: f32 = 24.0;

/// Draws the scale of a band, and on it the reading with its limits, when there is one.
pub fn show(ui: &Ui, rect: Rect, band: Band, reading: Option<&Reading>, palette: &Palette) {
    let painter = ui.painter();
    let end = end_per_minute(band);
    let with_figures = rect.height() >= LEAST_WITH_FIGURES;
    let size = (rect.height() * 0.32).clamp(LEAST_LETTERS, 22.0);
    let (left, right) = (rect.left() + size * 0.6, rect.right() - size * 0.6);
    let x_of = |rate: f64| {
        let share = (rate / end).clamp(0.0, 1.0);
        left + (right - left) * share as f32
    };
    let line_y = if with_figures {
        rect.bottom() - size * 1.35
    } else {
        rect.bottom() - 1.0
    };
    let height = (line_y - rect.top()).max(6.0);
    // The band.
    let (low, high) = (x_of(band.low_per_minute), x_of(band.high_per_minute));
    let block = Rect::from_min_max(
        pos2(low, line_y - height * 0.55),
        pos2(high.max(low + 2.0), line_y),
    );
    painter.rect_filled(block, CornerRadius::ZERO, palette.band);
    painter.rect_stroke(
        block,
        CornerRadius::ZERO,
        Stroke::new(1.5, palette.band_edge),
        StrokeKind::Inside,
    );
    // The rule and its marks: ends, limits, far high.
    let line = Stroke::new(1.5, palette.scale_line);
    painter.hline(left..=right, line_y, line);
    let far_high = band.high_per_minute * 2.0;
    for rate in [0.0, far_high, end] {
        painter.vline(x_of(rate), line_y - height * 0.3..=line_y, line);
    }
    let limits = [(low, band.low_per_minute), (high, band.high_per_minute)];
    for (x, rate) in limits.into_iter().filter(|_| with_figures) {
        // The two figures stand outwards of their marks, so that they never meet.
        let (align, place) = if rate == band.low_per_minute {
            (
                Align2::RIGHT_CENTER,
                Rect::from_min_max(
                    pos2(rect.left(), line_y),
                    pos2(x + size * 0.35, rect.bottom()),
                ),
            )
        } else {
            (
                Align2::LEFT_CENTER,
                Rect::from_min_max(pos2(x - size * 0.35, line_y), rect.max),
            )
        };
        paint::painted(
            ui,
            place,
            align,
            &words::short_rate(rate),
            letters(size),
            palette.ink_soft,
        );
    }
    // The reading: a drop, with its limits as a whisker.
    if let Some(reading) = reading {
        let y = line_y - height * 0.62;
        let whisker = Stroke::new((height * 0.09).clamp(2.0, 5.0), palette.limits);
        let (a, b) = (x_of(reading.low), x_of(reading.high));
        painter.hline(a..=b, y, whisker);
        for x in [a, b] {
            painter.vline(x, y - height * 0.2..=y + height * 0.2, whisker);
        }
        let r = (height * 0.26).clamp(4.0, 16.0);
        if reading.drops_per_minute > end {
            beyond(ui, pos2(right + size * 0.5, y), r * 1.3, palette);
        } else {
            let x = x_of(reading.drops_per_minute);
            drop_mark(ui, pos2(x, y - r * 0.15), r, line_y - 1.0, palette);
        }
    }
}

/// A drop whose point stands on the scale.
fn drop_mark(ui: &Ui, at: Pos2, r: f32, foot_y: f32, palette: &Palette) {
    // A plate-coloured rim keeps drop and whisker apart.
    ui.painter().circle_filled(at, r + 1.5, palette.plate);
    ui.painter().add(Shape::convex_polygon(
        vec![
            at + vec2(-r * 0.8, r * 0.55),
            at + vec2(r * 0.8, r * 0.55),
            pos2(at.x, foot_y),
        ],
        palette.figure,
        Stroke::NONE,
    ));
    ui.painter().circle_filled(at, r, palette.figure);
}

/// An arrow at the end of the scale: the reading lies beyond it.
fn beyond(ui: &Ui, tip: Pos2, r: f32, palette: &Palette) {
    for back in [0.0, r * 1.1] {
        let tip = tip - vec2(back, 0.0);
        ui.painter().add(Shape::convex_polygon(
            vec![tip, tip + vec2(-r, -r * 0.8), tip + vec2(-r, r * 0.8)],
            palette.figure,
            Stroke::NONE,
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn far_high_stands_on_the_scale_and_nonsense_does_not_break_it() {
        let band = Band::default();
        assert!(end_per_minute(band) > 2.0 * band.high_per_minute);
        for high in [0.0, f64::NAN, f64::INFINITY, -1.0] {
            let band = Band {
                low_per_minute: 0.0,
                high_per_minute: high,
            };
            assert!(end_per_minute(band) > 0.0 && end_per_minute(band).is_finite());
        }
    }

    #[test]
    fn a_plot_doubles_its_axis_rather_than_lose_the_line() {
        let band = Band::default();
        assert_eq!(plot_end_per_minute(band, 2.0), 7.5);
        assert_eq!(plot_end_per_minute(band, 7.6), 15.0);
        assert_eq!(plot_end_per_minute(band, f64::NAN), 7.5);
        assert!(plot_end_per_minute(band, f64::INFINITY).is_finite());
    }
}
