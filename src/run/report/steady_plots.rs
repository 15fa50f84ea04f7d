//! How steady a feed was, in figures: individuals and moving range, Allan deviation, histogram of
//! the intervals. The statistics are `rate`'s.

use crate::rate::Steadiness;

use super::figure::{Dash, Figure, Sign, key_rows};
use super::gather::{FeedReport, Report};
use super::markup::Markup;
use super::scale::{Scale, Spread, time_ticks};
use super::{style, words};

/// Height of the figure with two panels, its own pixels.
const TWO_PANELS_PX: f64 = 520.0;
/// Height of a figure with one panel that stands beside another.
const ONE_PANEL_PX: f64 = 460.0;
/// Most bars of a histogram: more are thinner than a line on paper.
const MOST_BARS: f64 = 60.0;

/// The individuals and moving-range chart of the intervals; none without one.
#[must_use]
pub fn chart_plot(report: &Report, feed: &FeedReport) -> Option<Markup> {
    let found = &feed.steadiness;
    let chart = found.chart.as_ref()?;
    let key = [
        (
            Sign::Point(style::RATE),
            "interval, or its difference from the one before",
        ),
        (Sign::Line(style::RATE, Dash::Whole), "mean"),
        (Sign::Line(style::ALARM, Dash::Strokes), "limits"),
        (Sign::Square(style::ALARM), "outside its limits"),
    ];
    let name = words::feed(Some(feed.row.feed), &feed.row.name);
    let outside = chart.outside.len();
    let description = format!(
        "Upper panel: the {} between drops of {name}, mean {} s, limits {} to {} s, {} outside. \
         Lower panel: their moving ranges, mean {} s, limit {} s, {} outside.",
        words::counted(found.intervals.len(), "interval", "intervals"),
        words::significant(chart.mean),
        words::significant(chart.lower.max(0.0)),
        words::significant(chart.upper),
        outside,
        words::significant(chart.mean_range),
        words::significant(chart.upper_range),
        chart.ranges_outside.len()
    );
    let title = format!("Individuals and moving range of the intervals of {name}");
    let id = format!("chart-{}", feed.row.feed);
    let mut figure = Figure::new(&id, &title, &description, TWO_PANELS_PX, &key);
    let rows = key_rows(&key);
    let upper = figure.panel(rows, 0.0, 0.56);
    let lower = figure.panel(rows, 0.56, 0.44);

    let secs: Vec<f64> = found.intervals.iter().map(|i| i.secs).collect();
    let starts: Vec<f64> = found
        .intervals
        .iter()
        .map(|i| report.since_start(i.from_secs))
        .collect();
    let ranges: Vec<f64> = secs
        .windows(2)
        .map(|pair| match *pair {
            [a, b] => (b - a).abs(),
            _ => 0.0,
        })
        .collect();
    let x = Scale::new(
        (0.0, report.since_start(found.span.to_secs)),
        upper.across(),
        Spread::Even,
    );
    let largest = secs.iter().copied().fold(chart.upper, f64::max);
    let y = Scale::new((0.0, 1.08 * largest), upper.upwards(), Spread::Even);
    let places: Vec<(f64, f64)> = starts
        .iter()
        .zip(&secs)
        .map(|(t, s)| (x.px(*t), y.px(*s)))
        .collect();
    let levels = [
        (chart.mean, Dash::Whole, style::RATE),
        (chart.upper, Dash::Strokes, style::ALARM),
        (chart.lower, Dash::Strokes, style::ALARM),
    ];
    figure.axes(
        &upper,
        (&x, &time_ticks(&x, 12), ""),
        (&y, &y.ticks(5), "interval, s"),
    );
    panel_of_values(&mut figure, (&upper, &y), &levels, &places, &chart.outside);

    let largest = ranges.iter().copied().fold(chart.upper_range, f64::max);
    let y = Scale::new((0.0, 1.08 * largest), lower.upwards(), Spread::Even);
    let places: Vec<(f64, f64)> = starts
        .iter()
        .skip(1)
        .zip(&ranges)
        .map(|(t, r)| (x.px(*t), y.px(*r)))
        .collect();
    let levels = [
        (chart.mean_range, Dash::Whole, style::RATE),
        (chart.upper_range, Dash::Strokes, style::ALARM),
    ];
    // The ranges are numbered by the later of their two intervals.
    let outside: Vec<usize> = chart
        .ranges_outside
        .iter()
        .filter_map(|later| later.checked_sub(1))
        .collect();
    figure.axes(
        &lower,
        (
            &x,
            &time_ticks(&x, 12),
            "time since the start of the run, hours:minutes",
        ),
        (&y, &y.ticks(4), "moving range, s"),
    );
    panel_of_values(&mut figure, (&lower, &y), &levels, &places, &outside);
    Some(figure.finish())
}

fn panel_of_values(
    figure: &mut Figure,
    (panel, y): (&super::figure::Panel, &Scale),
    levels: &[(f64, Dash, &str)],
    places: &[(f64, f64)],
    outside: &[usize],
) {
    for (level, dash, colour) in levels.iter().filter(|(level, ..)| y.holds(*level)) {
        let at = y.px(*level);
        figure.line(
            (panel.left_px, at),
            (panel.right_px, at),
            colour,
            1.3,
            *dash,
        );
    }
    for (index, place) in places.iter().enumerate() {
        if outside.contains(&index) {
            figure.square(*place, style::ALARM);
        } else {
            figure.point(*place, style::RATE);
        }
    }
}

/// Allan deviation of the rate against averaging time; none without a figure.
#[must_use]
pub fn allan_plot(feed: &FeedReport) -> Option<Markup> {
    let points = &feed.steadiness.allan;
    let (first, last) = (points.first()?, points.last()?);
    let name = words::feed(Some(feed.row.feed), &feed.row.name);
    let said: Vec<String> = points
        .iter()
        .map(|p| {
            format!(
                "{} over {}",
                words::significant(p.deviation_per_minute),
                words::length(p.averaging_secs)
            )
        })
        .collect();
    let description = format!("Drops a minute: {}.", said.join("; "));
    let title = format!("Allan deviation of the rate of {name}");
    let id = format!("allan-{}", feed.row.feed);
    let mut figure = Figure::new(&id, &title, &description, ONE_PANEL_PX, &[]);
    let panel = figure.panel(0, 0.0, 1.0);
    let x = Scale::new(
        (first.averaging_secs / 1.3, last.averaging_secs * 1.3),
        panel.across(),
        Spread::Logarithmic,
    );
    let deviations = || {
        points
            .iter()
            .map(|p| p.deviation_per_minute)
            .filter(|v| *v > 0.0)
    };
    let y = Scale::new(
        (
            deviations().fold(f64::INFINITY, f64::min) / 1.6,
            deviations().fold(0.0, f64::max) * 1.6,
        ),
        panel.upwards(),
        Spread::Logarithmic,
    );
    let ticks: Vec<(f64, String)> = points
        .iter()
        .map(|p| (p.averaging_secs, words::length(p.averaging_secs)))
        .collect();
    figure.axes(
        &panel,
        (&x, &ticks, "averaging time (logarithmic)"),
        (&y, &y.ticks(5), "drops a minute (logarithmic)"),
    );
    let places: Vec<(f64, f64)> = points
        .iter()
        .map(|p| (x.px(p.averaging_secs), y.px(p.deviation_per_minute)))
        .collect();
    figure.polyline(&places, style::RATE, 1.5);
    for (place, point) in places.iter().zip(points) {
        figure.point(*place, style::RATE);
        let above = (place.0, place.1 - 10.0);
        figure.words(
            above,
            "middle",
            "small",
            &words::significant(point.deviation_per_minute),
        );
    }
    Some(figure.finish())
}

/// Histogram of the intervals; none without any.
#[must_use]
pub fn histogram_plot(feed: &FeedReport) -> Option<Markup> {
    let found = &feed.steadiness;
    let bars = bars(found)?;
    let name = words::feed(Some(feed.row.feed), &feed.row.name);
    let most = bars.iter().map(|bar| bar.count).max()?;
    let (first, last) = (bars.first()?, bars.last()?);
    let longest = bars.iter().max_by_key(|bar| bar.count)?;
    let description = format!(
        "{} from {} to {} s; most, {most}, are {} to {} s long.",
        words::counted(found.intervals.len(), "interval", "intervals"),
        words::significant(first.from_secs),
        words::significant(last.to_secs),
        words::significant(longest.from_secs),
        words::significant(longest.to_secs)
    );
    let key = [
        (Sign::Box(style::RATE), "intervals"),
        (Sign::Box(style::BAND), "intervals of the band"),
    ];
    let title = format!("Histogram of the intervals of {name}");
    let id = format!("histogram-{}", feed.row.feed);
    let mut figure = Figure::new(&id, &title, &description, ONE_PANEL_PX, &key);
    let panel = figure.panel(key_rows(&key), 0.0, 1.0);
    let width = first.to_secs - first.from_secs;
    let x = Scale::new(
        ((first.from_secs - width).max(0.0), last.to_secs + width),
        panel.across(),
        Spread::Even,
    );
    let y = Scale::new((0.0, 1.1 * most as f64), panel.upwards(), Spread::Even);
    figure.clip(&panel, "panel");
    if feed.band.low_per_minute > 0.0 && feed.band.high_per_minute > 0.0 {
        let from = x.px(60.0 / feed.band.high_per_minute);
        let to = x.px(60.0 / feed.band.low_per_minute);
        let size = (to - from, panel.foot_px - panel.top_px);
        figure.rect((from, panel.top_px), size, style::BAND, 1.0);
        for edge in [from, to] {
            figure.line(
                (edge, panel.top_px),
                (edge, panel.foot_px),
                style::BAND_EDGE,
                1.0,
                Dash::Strokes,
            );
        }
    }
    for bar in &bars {
        let (left, right) = (x.px(bar.from_secs), x.px(bar.to_secs));
        let top = y.px(bar.count as f64);
        let size = ((right - left - 1.0).max(0.5), panel.foot_px - top);
        figure.rect((left + 0.5, top), size, style::RATE, 0.85);
    }
    figure.end_clip();
    let ticks: Vec<(f64, String)> = y
        .ticks(6)
        .into_iter()
        .filter(|(value, _)| value.fract() == 0.0)
        .map(|(value, _)| (value, format!("{value:.0}")))
        .collect();
    figure.axes(
        &panel,
        (&x, &x.ticks(8), "interval between drops, s"),
        (&y, &ticks, "how many"),
    );
    Some(figure.finish())
}

/// One bar of a histogram.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bar {
    from_secs: f64,
    to_secs: f64,
    count: usize,
}

/// Bars of equal, round width after Freedman and Diaconis: twice the distance between the quartiles
/// over the cube root of the number (D. Freedman and P. Diaconis, Z. Wahrscheinlichkeitstheorie 57
/// (1981)).
fn bars(found: &Steadiness) -> Option<Vec<Bar>> {
    let mut secs: Vec<f64> = found.intervals.iter().map(|i| i.secs).collect();
    secs.sort_by(f64::total_cmp);
    let (first, last) = (*secs.first()?, *secs.last()?);
    let at = |share: f64| {
        let index = (share * (secs.len() - 1) as f64).round() as usize;
        secs.get(index).copied().unwrap_or(first)
    };
    let spread = at(0.75) - at(0.25);
    let rough = 2.0 * spread / (secs.len() as f64).cbrt();
    let rough = rough.max((last - first) / MOST_BARS).max(0.02);
    let power = 10f64.powf(rough.log10().floor());
    let width = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|times| times * power)
        .find(|width| *width >= rough * 0.999)
        .unwrap_or(10.0 * power);
    let from = (first / width).floor();
    let count = ((last / width).floor() - from) as usize + 1;
    let mut bars: Vec<Bar> = (0..count)
        .map(|n| Bar {
            from_secs: (from + n as f64) * width,
            to_secs: (from + n as f64 + 1.0) * width,
            count: 0,
        })
        .collect();
    for value in secs {
        let index = ((value / width).floor() - from) as usize;
        if let Some(bar) = bars.get_mut(index.min(count - 1)) {
            bar.count += 1;
        }
    }
    Some(bars)
}
