//! The rate of one feed over the run: reading with its limits, the band, blind spells, stops, marks
//! and drops. It draws what was told and reckons nothing.

use crate::judge::FeedState;
use crate::run::logbook::read::ReadingRow;

use super::figure::{Dash, Figure, Sign, WIDE_PX, key_rows};
use super::gather::{FeedReport, Report};
use super::markup::Markup;
use super::scale::{Scale, Spread, time_ticks};
use super::{style, words};

/// Height of the figure, its own pixels.
const HEIGHT_PX: f64 = 380.0;
/// Readings further apart than this are not joined, seconds: they come every ten.
const JOINED_SECS: f64 = 25.0;
/// The axis reaches this much beyond what it must show.
const HEADROOM: f64 = 1.15;
/// Limits wider than this share of them reach are cut at the edge: the first readings of a run
/// would leave no room for the rest.
const SHOWN_LIMITS: f64 = 0.9;
/// The same for the reading itself; what is cut gets an arrow and its figure.
const SHOWN_MEDIANS: f64 = 0.97;
/// Limits are shown up to so many times the reading.
const WIDEST_LIMITS: f64 = 2.0;
/// A stretch narrower than this has no room for its word, pixels.
const WORD_ROOM_PX: f64 = 40.0;

/// Draws the rate of a feed.
#[must_use]
pub fn rate_plot(report: &Report, feed: &FeedReport) -> Markup {
    let title = format!(
        "Rate of {} over the run",
        words::feed(Some(feed.row.feed), &feed.row.name)
    );
    let mut key = vec![
        (Sign::Line(style::RATE, Dash::Whole), "reading (median)"),
        (Sign::Box(style::LIMITS), "its 95 % limits"),
        (Sign::Box(style::BAND), "band"),
        (Sign::Tick(style::INK), "drop"),
    ];
    if !feed.blind.is_empty() {
        key.push((Sign::Blind, "blind spell"));
    }
    if !feed.steadiness.stops.is_empty() {
        key.push((Sign::Stop, "stopped"));
    }
    if !feed.marks.is_empty() {
        key.push((
            Sign::Line(style::MARK, Dash::Strokes),
            "mark (number below)",
        ));
    }
    if !feed.steadiness.changes.is_empty() {
        key.push((Sign::Line(style::CHANGE, Dash::Dots), "change of rate"));
    }
    let rows = key_rows(WIDE_PX, &key);
    let id = format!("rate-{}", feed.row.feed);
    let mut figure = Figure::new(
        &id,
        &title,
        &description(report, feed),
        (WIDE_PX, HEIGHT_PX),
        &key,
    );
    let panel = figure.panel(rows, 0.0, 1.0);
    let span = feed.steadiness.span;
    let x = Scale::new(
        (0.0, report.since_start(span.to_secs)),
        panel.across(),
        Spread::Even,
    );
    let y = Scale::new((0.0, top_of(feed)), panel.upwards(), Spread::Even);
    let at = |secs: f64| x.px(report.since_start(secs));

    figure.axes(
        &panel,
        (
            &x,
            &time_ticks(&x, 12),
            "time since the start of the run, hours:minutes",
        ),
        (&y, &y.ticks(6), "drops a minute"),
    );
    figure.clip(&panel, "panel");
    let band = (
        y.px(feed.band.high_per_minute),
        y.px(feed.band.low_per_minute),
    );
    figure.rect(
        (panel.left_px, band.0),
        (panel.right_px - panel.left_px, band.1 - band.0),
        style::BAND,
        1.0,
    );
    let stretches = stretches(feed);
    for stretch in &stretches {
        let upper = stretch.iter().map(|(t, rate)| (at(*t), y.px(rate.2)));
        let lower = stretch.iter().rev().map(|(t, rate)| (at(*t), y.px(rate.1)));
        figure.area(&upper.chain(lower).collect::<Vec<_>>(), style::LIMITS);
    }
    for limit in [feed.band.low_per_minute, feed.band.high_per_minute] {
        let level = y.px(limit);
        figure.line(
            (panel.left_px, level),
            (panel.right_px, level),
            style::BAND_EDGE,
            1.0,
            Dash::Strokes,
        );
    }
    for stretch in &stretches {
        let places: Vec<(f64, f64)> = stretch
            .iter()
            .map(|(t, rate)| (at(*t), y.px(rate.0)))
            .collect();
        figure.polyline(&places, style::RATE, 2.0);
    }
    for stop in &feed.steadiness.stops {
        figure.stop(&panel, at(stop.from_secs), at(stop.to_secs));
    }
    for spell in &feed.blind {
        figure.blind(&panel, at(spell.from_secs), at(spell.to_secs));
    }
    let drops: Vec<f64> = feed.record.drops_secs.iter().map(|t| at(*t)).collect();
    figure.ticks(&drops, panel.foot_px, 9.0, style::INK);
    for change in &feed.steadiness.changes {
        let place = at(change.at_secs);
        figure.line(
            (place, panel.top_px),
            (place, panel.foot_px),
            style::CHANGE,
            1.8,
            Dash::Dots,
        );
    }
    for mark in &feed.marks {
        let place = at(mark.at_secs);
        figure.line(
            (place, panel.top_px),
            (place, panel.foot_px),
            style::MARK,
            1.5,
            Dash::Strokes,
        );
    }
    figure.end_clip();

    for stop in &feed.steadiness.stops {
        name_stretch(
            &mut figure,
            at(stop.from_secs),
            at(stop.to_secs),
            panel.foot_px - 16.0,
            "stopped",
        );
    }
    for spell in &feed.blind {
        name_stretch(
            &mut figure,
            at(spell.from_secs),
            at(spell.to_secs),
            panel.foot_px - 34.0,
            "blind",
        );
    }
    for stretch in &stretches {
        let highest = stretch.iter().max_by(|a, b| a.1.0.total_cmp(&b.1.0));
        if let Some((at_secs, rate)) = highest
            && !y.holds(rate.0)
        {
            let place = (at(*at_secs), panel.top_px + 32.0);
            let words = format!("↑ {}", words::significant(rate.0));
            figure.label(place, "middle", &words);
        }
    }
    for (number, mark) in (1..).zip(&feed.marks) {
        let place = (at(mark.at_secs), panel.top_px + 15.0);
        figure.label(place, "middle", &format!("{number}"));
    }
    figure.finish()
}

fn name_stretch(figure: &mut Figure, from_px: f64, to_px: f64, y_px: f64, word: &str) {
    if to_px - from_px >= WORD_ROOM_PX {
        figure.label((f64::midpoint(from_px, to_px), y_px), "middle", word);
    }
}

/// A reading with its time.
type Point = (f64, words::Rate);

/// Readings that follow one another without a blind spell, a stop or a new reading between.
fn stretches(feed: &FeedReport) -> Vec<Vec<Point>> {
    let mut stretches: Vec<Vec<Point>> = Vec::new();
    let mut before: Option<&ReadingRow> = None;
    for reading in &feed.readings {
        // What stood on the screen when nothing could be seen was no figure.
        let unseen = reading.state == FeedState::CannotSee.words();
        let Some(rate) = reading.rate_per_minute.filter(|_| !unseen) else {
            before = None;
            continue;
        };
        let joins = before.is_some_and(|before| {
            reading.at_secs - before.at_secs <= JOINED_SECS
                && reading.drops.unwrap_or(0) >= before.drops.unwrap_or(0)
        });
        match stretches.last_mut() {
            Some(stretch) if joins => stretch.push((reading.at_secs, rate)),
            _ => stretches.push(vec![(reading.at_secs, rate)]),
        }
        before = Some(reading);
    }
    stretches
}

/// The upper end of the axis, drops a minute.
fn top_of(feed: &FeedReport) -> f64 {
    let reached = |share: f64, of: fn(words::Rate) -> f64| {
        let mut values: Vec<f64> = feed
            .readings
            .iter()
            .filter_map(|reading| reading.rate_per_minute.map(of))
            .filter(|value| value.is_finite())
            .collect();
        values.sort_by(f64::total_cmp);
        let index = (values.len() as f64 * share) as usize;
        values.get(index).or(values.last()).copied().unwrap_or(0.0)
    };
    let median = reached(SHOWN_MEDIANS, |rate| rate.0);
    let upper = reached(SHOWN_LIMITS, |rate| rate.2).min(WIDEST_LIMITS * median);
    HEADROOM * median.max(upper).max(feed.band.high_per_minute).max(0.1)
}

/// The figure in words.
fn description(report: &Report, feed: &FeedReport) -> String {
    let found = &feed.steadiness;
    let mean = found.mean.map_or_else(
        || "There were too few drops for a mean rate.".to_owned(),
        |mean| {
            format!(
                "The mean rate was {} drops a minute.",
                words::with_limits(mean.drops_per_minute, mean.limits.low, mean.limits.high)
            )
        },
    );
    let mut parts = vec![format!(
        "{} in {}. {mean} The band is {} to {}.",
        words::counted(found.drops, "drop", "drops"),
        words::length(found.span.secs()),
        feed.band.low_per_minute,
        feed.band.high_per_minute
    )];
    let when = |secs: f64| words::elapsed(report.since_start(secs));
    for stop in &found.stops {
        parts.push(format!(
            "Stopped from {} to {}.",
            when(stop.from_secs),
            when(stop.to_secs)
        ));
    }
    for change in &found.changes {
        parts.push(format!("At {} {}.", when(change.at_secs), change.words()));
    }
    for spell in feed.blind.iter().filter(|s| s.to_secs - s.from_secs >= 1.0) {
        parts.push(format!(
            "Not seen from {} to {}: {}.",
            when(spell.from_secs),
            when(spell.to_secs),
            spell.why
        ));
    }
    for mark in &feed.marks {
        parts.push(format!("Mark at {}: {}.", when(mark.at_secs), mark.words));
    }
    parts.join(" ")
}
