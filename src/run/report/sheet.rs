//! The as-found / as-left sheet: one page for the person who set the feeds, as HTML with room for a
//! name, and as plain words for the terminal.

use crate::rate::Settling;

use super::feed_section::movement_words;
use super::gather::{FeedReport, Report, Standing};
use super::markup::Markup;
use super::page::{begin, cautions, end};
use super::{tables, words};

/// Of a feed without a mark.
const UNTOUCHED: &str = "no mark: nobody told of touching the valve";

/// The sheet as an HTML page.
#[must_use]
pub fn sheet(report: &Report) -> String {
    let mut out = begin(report, "As found, as left: sheet");
    out.open("main", &[("id", "main")]);
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words("caption", &[], "Rates with 95 % limits, drops a minute");
    tables::head(
        &mut out,
        &[
            "feed",
            "band",
            "as found",
            "what was done, what happened",
            "as left",
            "verdict as left",
        ],
    );
    out.open("tbody", &[]);
    for feed in &report.feeds {
        row(&mut out, report, feed);
    }
    out.close();
    out.close();
    out.close();
    let said: Vec<(i64, String)> = report
        .feeds
        .iter()
        .filter_map(|feed| Some((feed.row.feed, movement_words(feed)?)))
        .collect();
    if !said.is_empty() {
        out.open("ul", &[]);
        for (feed, words) in said {
            out.words("li", &[], &format!("Feed {feed}: {words}"));
        }
        out.close();
    }
    out.open("table", &[("class", "blanks")]);
    out.words("caption", &[], "To be filled in");
    out.open("tbody", &[]);
    for blank in [
        "Engine and lubricator",
        "Oil",
        "Remarks",
        "Set by",
        "Date and name",
    ] {
        out.open("tr", &[]);
        tables::row_head(&mut out, |out| out.text(blank));
        out.words("td", &[("style", "width: 34rem")], "");
        out.close();
    }
    out.close();
    out.close();
    cautions(&mut out, report);
    out.close();
    end(out, report)
}

fn row(out: &mut Markup, report: &Report, feed: &FeedReport) {
    out.open("tr", &[]);
    tables::row_head(out, |out| {
        out.text(&feed.row.feed.to_string());
        if !feed.row.name.is_empty() {
            out.text(" ");
            out.foreign(&feed.row.name);
        }
    });
    tables::number(
        out,
        &format!(
            "{} to {}",
            feed.band.low_per_minute, feed.band.high_per_minute
        ),
    );
    standing(out, report, feed, &feed.as_found);
    out.open("td", &[]);
    if feed.marks.is_empty() {
        out.words("div", &[], UNTOUCHED);
    }
    for (at_secs, words) in &feed.ended {
        out.open("div", &[]);
        out.text(&format!(
            "{} ",
            words::elapsed(report.since_start(*at_secs))
        ));
        out.foreign(words);
        out.close();
    }
    out.close();
    standing(out, report, feed, &feed.as_left);
    tables::cell(out, &left_words(feed));
    out.close();
}

/// The oil at a reading, when the volume of a drop is known.
fn oil_words(feed: &FeedReport, standing: &Standing) -> Option<String> {
    let flow = feed.oil.at(standing.rate)?;
    let hourly = flow.ml_per_hour;
    let limits = words::with_limits(hourly.middle, hourly.low, hourly.high);
    Some(format!("{limits} mL of oil an hour"))
}

fn standing(out: &mut Markup, report: &Report, feed: &FeedReport, standing: &Standing) {
    out.open("td", &[]);
    out.words("strong", &[], &words::rate(standing.rate));
    out.words("div", &[], &reach(report, standing));
    if let Some(oil) = oil_words(feed, standing) {
        out.words("div", &[], &oil);
    }
    out.close();
}

/// What a reading rests on.
fn reach(report: &Report, standing: &Standing) -> String {
    let drops = usize::try_from(standing.drops.unwrap_or(0)).unwrap_or(0);
    format!(
        "{}, {} to {}",
        words::counted(drops, "drop", "drops"),
        words::elapsed(report.since_start(standing.from_secs)),
        words::elapsed(report.since_start(standing.until_secs))
    )
}

/// The verdict as left, and whether its figure is one to rely on.
fn left_words(feed: &FeedReport) -> String {
    match feed.settling {
        Settling::Settled => feed.as_left.state.clone(),
        wait => format!("{}; not settled: {}", feed.as_left.state, wait.words()),
    }
}

/// The sheet as plain words, a line each. Letters that would control a terminal are left out.
#[must_use]
pub fn sheet_lines(report: &Report) -> Vec<String> {
    let head = &report.run.summary;
    let mut lines = vec![
        format!("As found, as left: run {} {}", head.run, head.title),
        format!(
            "{}, {} to {}",
            head.source_name,
            words::clock(head.started_wall_secs, &report.zone),
            words::clock(head.ended_wall_secs, &report.zone)
        ),
    ];
    for feed in &report.feeds {
        lines.push(format!(
            "{}, band {} to {} drops/min",
            words::feed(Some(feed.row.feed), &feed.row.name),
            feed.band.low_per_minute,
            feed.band.high_per_minute
        ));
        let said = |standing: &Standing| {
            let oil = oil_words(feed, standing);
            format!(
                "{} drops/min{} ({})",
                words::rate(standing.rate),
                oil.map_or_else(String::new, |oil| format!(", {oil}")),
                reach(report, standing)
            )
        };
        lines.push(format!("  as found  {}", said(&feed.as_found)));
        if feed.marks.is_empty() {
            lines.push(format!("            {UNTOUCHED}"));
        }
        for (at_secs, words) in &feed.ended {
            let at = words::elapsed(report.since_start(*at_secs));
            lines.push(format!("  {at:>8}  {words}"));
        }
        lines.push(format!(
            "  as left   {}: {}",
            said(&feed.as_left),
            left_words(feed)
        ));
        if let Some(words) = movement_words(feed) {
            lines.push(format!("  {words}"));
        }
    }
    lines
        .into_iter()
        .map(|line| line.replace(char::is_control, " "))
        .collect()
}
