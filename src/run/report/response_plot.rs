//! How a regulating valve answered: rate against turns, with limits. The curve is `rate`'s.

use super::figure::{Dash, Figure, Sign, WIDE_PX, key_rows};
use super::gather::FeedReport;
use super::markup::Markup;
use super::scale::{Scale, Spread};
use super::{style, words};

/// Height of the figure, its own pixels.
const HEIGHT_PX: f64 = 400.0;
/// Places at which the curve is asked for between its ends.
const STEPS: usize = 60;

/// Draws the response of a feed's valve; none with fewer than two positions.
#[must_use]
pub fn response_plot(feed: &FeedReport) -> Option<Markup> {
    let curve = feed.response.as_ref()?;
    let points = curve.points();
    let (first, last) = (points.first()?, points.last()?);
    let name = words::feed(Some(feed.row.feed), &feed.row.name);
    let said: Vec<String> = points
        .iter()
        .map(|p| {
            format!(
                "{} drops a minute at {:+.2} turn",
                words::with_limits(p.drops_per_minute, p.low, p.high),
                p.turns
            )
        })
        .collect();
    let key = [
        (
            Sign::Line(style::RATE, Dash::Whole),
            "curve that never falls",
        ),
        (Sign::Box(style::LIMITS), "its 95 % limits"),
        (
            Sign::Square(style::MARK),
            "reading at a position, with its limits",
        ),
        (Sign::Box(style::BAND), "band"),
    ];
    let title = format!("How the valve of {name} answered");
    let id = format!("response-{}", feed.row.feed);
    let description = format!("{}.", said.join("; "));
    let mut figure = Figure::new(&id, &title, &description, (WIDE_PX, HEIGHT_PX), &key);
    let panel = figure.panel(key_rows(WIDE_PX, &key), 0.0, 1.0);
    let room = 0.08 * (last.turns - first.turns);
    let x = Scale::new(
        (first.turns - room, last.turns + room),
        panel.across(),
        Spread::Even,
    );
    let highest = feed
        .valve
        .iter()
        .map(|p| p.reading.high)
        .chain(points.iter().map(|p| p.high))
        .chain([feed.band.high_per_minute])
        .fold(0.0, f64::max);
    let y = Scale::new((0.0, 1.1 * highest), panel.upwards(), Spread::Even);

    figure.axes(
        &panel,
        (&x, &x.ticks(8), "turns opened since the first position"),
        (&y, &y.ticks(6), "drops a minute"),
    );
    figure.clip(&panel, "panel");
    let (top, foot) = (
        y.px(feed.band.high_per_minute),
        y.px(feed.band.low_per_minute),
    );
    let size = (panel.right_px - panel.left_px, foot - top);
    figure.rect((panel.left_px, top), size, style::BAND, 1.0);
    let places: Vec<_> = (0..=STEPS)
        .filter_map(|step| {
            let share = step as f64 / STEPS as f64;
            curve.at(first.turns + share * (last.turns - first.turns))
        })
        .collect();
    let upper = places.iter().map(|p| (x.px(p.turns), y.px(p.high)));
    let lower = places.iter().rev().map(|p| (x.px(p.turns), y.px(p.low)));
    figure.area(&upper.chain(lower).collect::<Vec<_>>(), style::LIMITS);
    for level in [top, foot] {
        figure.line(
            (panel.left_px, level),
            (panel.right_px, level),
            style::BAND_EDGE,
            1.0,
            Dash::Strokes,
        );
    }
    let middle: Vec<(f64, f64)> = places
        .iter()
        .map(|p| (x.px(p.turns), y.px(p.drops_per_minute)))
        .collect();
    figure.polyline(&middle, style::RATE, 2.0);
    for (number, point) in (1..).zip(&feed.valve) {
        let at = (x.px(point.turns), y.px(point.reading.drops_per_minute));
        let (low, high) = (y.px(point.reading.low), y.px(point.reading.high));
        figure.line((at.0, low), (at.0, high), style::MARK, 1.5, Dash::Whole);
        for end in [low, high] {
            figure.line(
                (at.0 - 5.0, end),
                (at.0 + 5.0, end),
                style::MARK,
                1.5,
                Dash::Whole,
            );
        }
        figure.square(at, style::MARK);
        figure.label((at.0 + 12.0, at.1 - 6.0), "start", &format!("{number}"));
    }
    figure.end_clip();
    Some(figure.finish())
}
