//! How steady a feed was, in figures: individuals and moving range, Allan deviation, histogram of
//! the intervals. The statistics are `rate`'s.

use crate::base::Span;
use crate::rate::{IndividualsChart, Interval, Steadiness};

use super::figure::{Dash, Figure, HALF_PX, Sign, WIDE_PX, key_rows};
use super::gather::{FeedReport, Report};
use super::markup::Markup;
use super::scale::{Scale, Spread, time_ticks};
use super::{style, words};

/// Height of the figure with two panels, its own pixels.
const TWO_PANELS_PX: f64 = 520.0;
/// Height of a figure with one panel that stands beside another.
const ONE_PANEL_PX: f64 = 360.0;
/// An axis reaches this much beyond the largest value.
const ABOVE: f64 = 1.08;
/// Most bars of a histogram: more are thinner than a line on paper.
const MOST_BARS: f64 = 60.0;

/// The individuals and moving-range chart of the intervals, with limits of its own for each setting
/// of the valve; none without one.
#[must_use]
pub fn chart_plot(report: &Report, feed: &FeedReport) -> Option<Markup> {
    let parts: Vec<Part<'_>> = if feed.between_marks.is_empty() {
        Part::of(&feed.steadiness).into_iter().collect()
    } else {
        feed.between_marks
            .iter()
            .filter_map(|(_, part)| Part::of(part))
            .collect()
    };
    if parts.is_empty() {
        return None;
    }
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
    let said: Vec<String> = parts.iter().map(|part| part.words(report)).collect();
    let title = format!("Individuals and moving range of the intervals of {name}");
    let id = format!("chart-{}", feed.row.feed);
    let size = (WIDE_PX, TWO_PANELS_PX);
    let mut figure = Figure::new(&id, &title, &said.join(" "), size, &key);
    let rows = key_rows(WIDE_PX, &key);
    let upper = figure.panel(rows, 0.0, 0.56);
    let lower = figure.panel(rows, 0.56, 0.44);
    let x = Scale::new(
        (0.0, report.since_start(feed.steadiness.span.to_secs)),
        upper.across(),
        Spread::Even,
    );
    let largest = |of: fn(&Part<'_>) -> f64| parts.iter().map(of).fold(0.0, f64::max);

    let top = largest(|part| part.secs().fold(part.chart.upper, f64::max));
    let y = Scale::new((0.0, ABOVE * top), upper.upwards(), Spread::Even);
    figure.axes(
        &upper,
        (&x, &time_ticks(&x, 12), ""),
        (&y, &y.ticks(5), "interval, s"),
    );
    for part in &parts {
        let chart = part.chart;
        let ends = part.ends(report, &x);
        let limits = [chart.upper, chart.lower];
        levels(&mut figure, &y, ends, chart.mean, &limits);
        let values = part.intervals.iter().map(|i| (i.from_secs, i.secs));
        let places = values.map(|(t, s)| (x.px(report.since_start(t)), y.px(s)));
        points(&mut figure, places, &chart.outside);
    }

    let top = largest(|part| part.ranges().fold(part.chart.upper_range, f64::max));
    let y = Scale::new((0.0, ABOVE * top), lower.upwards(), Spread::Even);
    figure.axes(
        &lower,
        (
            &x,
            &time_ticks(&x, 12),
            "time since the start of the run, hours:minutes",
        ),
        (&y, &y.ticks(4), "moving range, s"),
    );
    for part in &parts {
        let chart = part.chart;
        let ends = part.ends(report, &x);
        levels(
            &mut figure,
            &y,
            ends,
            chart.mean_range,
            &[chart.upper_range],
        );
        let later = part.intervals.iter().skip(1).map(|i| i.from_secs);
        let places = later
            .zip(part.ranges())
            .map(|(t, r)| (x.px(report.since_start(t)), y.px(r)));
        // The ranges are numbered by the later of their two intervals.
        let outside: Vec<usize> = chart
            .ranges_outside
            .iter()
            .filter_map(|later| later.checked_sub(1))
            .collect();
        points(&mut figure, places, &outside);
    }
    Some(figure.finish())
}

/// One setting of the valve with its chart.
struct Part<'a> {
    span: Span,
    intervals: &'a [Interval],
    chart: &'a IndividualsChart,
}

impl<'a> Part<'a> {
    fn of(found: &'a Steadiness) -> Option<Self> {
        Some(Self {
            span: found.span,
            intervals: &found.intervals,
            chart: found.chart.as_ref()?,
        })
    }

    fn secs(&self) -> impl Iterator<Item = f64> {
        self.intervals.iter().map(|interval| interval.secs)
    }

    fn ranges(&self) -> impl Iterator<Item = f64> {
        self.secs()
            .zip(self.secs().skip(1))
            .map(|(a, b)| (b - a).abs())
    }

    /// Where it begins and ends on the axis.
    fn ends(&self, report: &Report, x: &Scale) -> (f64, f64) {
        let at = |secs: f64| x.px(report.since_start(secs));
        (at(self.span.from_secs), at(self.span.to_secs))
    }

    fn words(&self, report: &Report) -> String {
        let chart = self.chart;
        format!(
            "From {} to {}: {}, mean {} s, limits {} to {} s, {} outside; moving ranges, mean {} \
             s, limit {} s, {} outside.",
            words::elapsed(report.since_start(self.span.from_secs)),
            words::elapsed(report.since_start(self.span.to_secs)),
            words::counted(self.intervals.len(), "interval", "intervals"),
            words::significant(chart.mean),
            words::significant(chart.lower.max(0.0)),
            words::significant(chart.upper),
            chart.outside.len(),
            words::significant(chart.mean_range),
            words::significant(chart.upper_range),
            chart.ranges_outside.len()
        )
    }
}

/// The mean and the limits of a part, as far as they are on the axis.
fn levels(figure: &mut Figure, y: &Scale, (from, to): (f64, f64), mean: f64, limits: &[f64]) {
    let lines = limits
        .iter()
        .map(|limit| (*limit, Dash::Strokes, style::ALARM))
        .chain([(mean, Dash::Whole, style::RATE)]);
    for (level, dash, colour) in lines.filter(|(level, ..)| y.holds(*level)) {
        let at = y.px(level);
        figure.line((from, at), (to, at), colour, 1.3, dash);
    }
}

/// Values, those outside their limits as squares.
fn points(figure: &mut Figure, places: impl Iterator<Item = (f64, f64)>, outside: &[usize]) {
    let mut within = Vec::new();
    let mut without = Vec::new();
    let mut next_outside = outside.iter().copied().peekable();
    for (index, place) in places.enumerate() {
        if next_outside.next_if_eq(&index).is_some() {
            without.push(place);
        } else {
            within.push(place);
        }
    }
    figure.points(&within, style::RATE);
    for place in without {
        figure.square(place, style::ALARM);
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
    let mut figure = Figure::new(&id, &title, &description, (HALF_PX, ONE_PANEL_PX), &[]);
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
    let mut figure = Figure::new(&id, &title, &description, (HALF_PX, ONE_PANEL_PX), &key);
    let panel = figure.panel(key_rows(HALF_PX, &key), 0.0, 1.0);
    let width = first.to_secs - first.from_secs;
    let x = Scale::new(
        ((first.from_secs - width).max(0.0), last.to_secs + width),
        panel.across(),
        Spread::Even,
    );
    let y = Scale::new((0.0, 1.1 * most as f64), panel.upwards(), Spread::Even);
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
