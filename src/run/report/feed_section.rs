//! The section of one feed: verdict, rate over time, readings as found and as left, valve, figures
//! of steadiness with their charts, doubts.

use std::collections::BTreeMap;

use crate::rate::{Settling, Steadiness, Steady, SteadyVerdict};
use crate::run::Moved;

use super::gather::{FeedReport, Report};
use super::markup::Markup;
use super::rate_plot::rate_plot;
use super::response_plot::response_plot;
use super::steady_plots::{allan_plot, chart_plot, histogram_plot};
use super::{tables, words};

/// Most doubts told of a feed.
const MOST_DOUBTS: usize = 20;

/// Writes the section.
pub(super) fn feed_section(out: &mut Markup, report: &Report, feed: &FeedReport) {
    let number = feed.row.feed;
    let (id, heading_id) = (format!("feed-{number}"), format!("feed-{number}-h"));
    out.open(
        "section",
        &[
            ("id", &id),
            ("class", "feed"),
            ("aria-labelledby", &heading_id),
        ],
    );
    out.open("h2", &[("id", &heading_id)]);
    out.text(&format!("Feed {number}"));
    if !feed.row.name.is_empty() {
        out.text(": ");
        out.foreign(&feed.row.name);
    }
    out.close();
    verdict(out, &feed.verdict(report));
    out.open("figure", &[]);
    out.put(rate_plot(report, feed));
    out.open("figcaption", &[]);
    rate_caption(out, report, feed);
    out.close();
    out.close();
    readings(out, report, feed);
    valve(out, report, feed);
    steady(out, report, feed);
    doubts(out, report, feed);
    out.close();
}

fn verdict(out: &mut Markup, found: &SteadyVerdict) {
    let sign = match found.steady {
        Steady::Yes => "✓",
        Steady::No => "✗",
        Steady::CannotTell => "?",
    };
    out.open("p", &[("class", "verdict")]);
    out.words("span", &[("aria-hidden", "true")], sign);
    out.text(&format!(" {}.", words::capitalised(&found.words)));
    out.close();
    if !found.reasons.is_empty() {
        out.open("ul", &[]);
        for reason in &found.reasons {
            out.words("li", &[], reason);
        }
        out.close();
    }
}

fn rate_caption(out: &mut Markup, report: &Report, feed: &FeedReport) {
    out.text(
        "The line is the reading as it stood at that time, the tinted area its 95 % limits; where \
         nothing could be seen there is none. ",
    );
    for (number, mark) in (1..).zip(&feed.marks) {
        out.text(&format!(
            "Mark {number}, {}: ",
            words::elapsed(report.since_start(mark.at_secs))
        ));
        out.foreign(&mark.words);
        out.text(". ");
    }
}

/// The readings of the run one after the other, the first as found, the last as left.
fn readings(out: &mut Markup, report: &Report, feed: &FeedReport) {
    out.words("h3", &[], "Readings as found and as left");
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words(
        "caption",
        &[],
        "A new reading begins with a mark, a change of rate, or the end of a stop",
    );
    tables::head(
        out,
        &[
            "reading",
            "from (h:min:s)",
            "until (h:min:s)",
            "rate with 95 % limits (drops/min)",
            "drops",
            "verdict at its end",
            "what ended it",
        ],
    );
    out.open("tbody", &[]);
    let last = feed.settings.len();
    for (index, setting) in feed.settings.iter().enumerate() {
        out.open("tr", &[]);
        let is_found = setting.until_secs == feed.as_found.until_secs
            && setting.from_secs == feed.as_found.from_secs;
        let name = match (index + 1 == last, is_found) {
            (true, true) => format!("{} (as found and as left)", index + 1),
            (true, false) => format!("{} (as left)", index + 1),
            (false, true) => format!("{} (as found)", index + 1),
            (false, false) => (index + 1).to_string(),
        };
        tables::row_head(out, |out| out.text(&name));
        tables::number(out, &words::elapsed(report.since_start(setting.from_secs)));
        tables::number(out, &words::elapsed(report.since_start(setting.until_secs)));
        tables::number(out, &words::rate(setting.rate));
        tables::number(
            out,
            &setting.drops.map_or_else(String::new, |d| d.to_string()),
        );
        tables::cell(out, &setting.state);
        out.open("td", &[]);
        match &setting.ended_by {
            Some(words) => out.foreign(words),
            None => out.text("the end of the run"),
        }
        out.close();
        out.close();
    }
    out.close();
    out.close();
    out.close();
    if feed.settling != Settling::Settled {
        out.words(
            "p",
            &[],
            &format!(
                "The last reading was not settled: {}.",
                feed.settling.words()
            ),
        );
    }
}

/// Movements of the valve and how it answered.
fn valve(out: &mut Markup, report: &Report, feed: &FeedReport) {
    let moves: Vec<_> = feed
        .marks
        .iter()
        .filter(|mark| mark.moved.is_some())
        .collect();
    if moves.is_empty() {
        return;
    }
    out.words("h3", &[], "The regulating valve");
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words(
        "caption",
        &[],
        "Movements, with the reading before and after",
    );
    tables::head(
        out,
        &[
            "time since start (h:min:s)",
            "time of day (ISO 8601)",
            "movement",
            "words",
            "before (drops/min)",
            "after (drops/min)",
        ],
    );
    out.open("tbody", &[]);
    for mark in moves {
        out.open("tr", &[]);
        tables::time(out, report, mark.at_secs);
        let moved = match mark.moved {
            Some(Moved::Turns(turns)) => words::turns(turns),
            Some(Moved::Shut) | None => "shut".to_owned(),
        };
        tables::cell(out, &moved);
        out.open("td", &[]);
        out.foreign(&mark.words);
        out.close();
        let at = |other: f64| (other - mark.at_secs).abs() < 1e-6;
        let before = feed.settings.iter().find(|setting| at(setting.until_secs));
        let after = feed.settings.iter().find(|setting| at(setting.from_secs));
        tables::number(out, &words::rate(before.and_then(|setting| setting.rate)));
        tables::number(out, &words::rate(after.and_then(|setting| setting.rate)));
        out.close();
    }
    out.close();
    out.close();
    out.close();
    let Some(plot) = response_plot(feed) else {
        out.words(
            "p",
            &[],
            "There is no response curve: it needs readings at two positions of the valve at least.",
        );
        return;
    };
    out.open("figure", &[]);
    out.put(plot);
    out.words(
        "figcaption",
        &[],
        "Rate against turns, from the readings at each position (numbered in order of time) and \
         from what a hand is off (0.03 turn). The valve may answer otherwise when steam, oil or \
         water are otherwise.",
    );
    out.close();
    if let Some(words) = movement_words(feed) {
        out.words("p", &[], &words);
    }
}

/// What movement would bring the feed to the middle of its band.
pub(super) fn movement_words(feed: &FeedReport) -> Option<String> {
    let middle = f64::midpoint(feed.band.low_per_minute, feed.band.high_per_minute);
    let curve = feed.response.as_ref()?;
    Some(curve.movement_to(middle).map_or_else(
        || {
            format!(
                "What movement would bring the feed to {} a minute cannot be told from these \
                 positions.",
                words::significant(middle)
            )
        },
        |movement| format!("By this curve, {}. It is no order.", movement.words()),
    ))
}

/// The figures of steadiness and their charts.
fn steady(out: &mut Markup, report: &Report, feed: &FeedReport) {
    out.words("h3", &[], "Steadiness");
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words("caption", &[], "Over the whole run");
    tables::head(out, &["figure", "value"]);
    out.open("tbody", &[]);
    for (name, of) in FIGURES {
        out.open("tr", &[]);
        tables::row_head(out, |out| out.text(name));
        tables::cell(out, &of(&feed.steadiness));
        out.close();
    }
    out.close();
    out.close();
    out.close();
    between_marks(out, report, feed);
    if let Some(plot) = chart_plot(report, feed) {
        out.open("figure", &[]);
        out.put(plot);
        out.words(
            "figcaption",
            &[],
            "The intervals between drops and their moving ranges, stops left out; mean and limits \
             anew for each setting of the valve. What lies outside its limits has a square.",
        );
        out.close();
    }
    out.open("div", &[("class", "pair")]);
    if let Some(plot) = histogram_plot(feed) {
        out.open("figure", &[]);
        out.put(plot);
        out.words(
            "figcaption",
            &[],
            "How long the intervals between drops were.",
        );
        out.close();
    }
    if let Some(plot) = allan_plot(feed) {
        out.open("figure", &[]);
        out.put(plot);
        out.words(
            "figcaption",
            &[],
            "Allan deviation of the rate against averaging time: how far two neighbouring averages \
             lie apart.",
        );
        out.close();
    }
    out.close();
}

/// The same, shorter, for each setting of the valve by itself.
fn between_marks(out: &mut Markup, report: &Report, feed: &FeedReport) {
    if feed.between_marks.is_empty() {
        return;
    }
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words("caption", &[], "Between marks");
    tables::head(
        out,
        &[
            "from, until (h:min:s)",
            "drops",
            "mean rate (drops/min)",
            "scatter",
            "drift (drops/min an hour)",
            "verdict",
        ],
    );
    out.open("tbody", &[]);
    for (span, part) in &feed.between_marks {
        let when = |secs: f64| words::elapsed(report.since_start(secs));
        out.open("tr", &[]);
        tables::row_head(out, |out| {
            out.text(&format!(
                "{} to {}",
                when(span.from_secs),
                when(span.to_secs)
            ));
        });
        tables::number(out, &part.drops.to_string());
        tables::number(out, &mean_rate(part));
        tables::number(
            out,
            &part.mean.map_or_else(none, |m| words::per_cent(m.scatter)),
        );
        tables::number(out, &drift(part));
        tables::cell(out, &part.verdict.words);
        out.close();
    }
    out.close();
    out.close();
    out.close();
}

/// A figure of the table: what it is called, and how it is written.
type FigureRow = (&'static str, fn(&Steadiness) -> String);

const FIGURES: [FigureRow; 12] = [
    ("seen time", |s| words::length(s.seen_secs)),
    ("drops", |s| s.drops.to_string()),
    ("mean rate (drops/min)", mean_rate),
    ("scatter of intervals (standard deviation / mean)", |s| {
        s.mean.map_or_else(none, |m| {
            words::with_limits(m.scatter, m.scatter_limits.low, m.scatter_limits.high)
        })
    }),
    ("drift (drops/min an hour)", drift),
    ("Mann–Kendall", |s| {
        s.drift.map_or_else(none, |d| words::p_value(d.trend.p))
    }),
    ("serial correlation, lag 1", |s| {
        s.autocorrelation.as_ref().map_or_else(none, |a| {
            let first = a.at_lag.first().copied().unwrap_or(f64::NAN);
            format!("{first:.2} (chance alone: within ±{:.2})", a.chance_limit)
        })
    }),
    ("serial correlation, lags 1 to 10", |s| {
        s.autocorrelation
            .as_ref()
            .map_or_else(none, |a| words::p_value(a.p))
    }),
    ("longest silence", |s| {
        s.longest_silence
            .map_or_else(none, |l| words::length(l.seen_secs))
    }),
    ("time in band / low / high", |s| {
        format!(
            "{} / {} / {}",
            words::per_cent(s.shares.in_band),
            words::per_cent(s.shares.low),
            words::per_cent(s.shares.high)
        )
    }),
    ("time stopped / blind", |s| {
        format!(
            "{} / {}",
            words::per_cent(s.shares.stopped),
            words::per_cent(s.shares.blind)
        )
    }),
    ("stops, changes of rate", |s| {
        format!("{}, {}", s.stops.len(), s.changes.len())
    }),
];

fn mean_rate(found: &Steadiness) -> String {
    found.mean.map_or_else(none, |mean| {
        words::with_limits(mean.drops_per_minute, mean.limits.low, mean.limits.high)
    })
}

fn drift(found: &Steadiness) -> String {
    found.drift.map_or_else(none, |drift| {
        let trend = &drift.trend;
        words::with_limits(trend.slope, trend.slope_limits.low, trend.slope_limits.high)
    })
}

fn none() -> String {
    "too few drops".to_owned()
}

/// The doubts that stood beside the readings, each with the time it did.
fn doubts(out: &mut Markup, report: &Report, feed: &FeedReport) {
    out.words("h3", &[], "Doubts");
    let told = gathered_doubts(feed);
    if told.is_empty() {
        out.words("p", &[], "No doubt stood beside a reading.");
        return;
    }
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words(
        "caption",
        &[],
        "What stood beside the readings as a reason to trust them less",
    );
    tables::head(
        out,
        &[
            "first (h:min:s)",
            "last (h:min:s)",
            "readings with it",
            "doubt, as it stood last",
        ],
    );
    out.open("tbody", &[]);
    for doubt in told.iter().take(MOST_DOUBTS) {
        out.open("tr", &[]);
        tables::number(out, &words::elapsed(report.since_start(doubt.first_secs)));
        tables::number(out, &words::elapsed(report.since_start(doubt.last_secs)));
        tables::number(out, &format!("{} of {}", doubt.count, feed.readings.len()));
        tables::cell(out, &doubt.words);
        out.close();
    }
    out.close();
    out.close();
    out.close();
}

/// A doubt with its life.
#[derive(Clone, Debug, PartialEq)]
struct Doubt {
    words: String,
    first_secs: f64,
    last_secs: f64,
    count: usize,
}

/// Doubts that differ in their figures only are one.
fn gathered_doubts(feed: &FeedReport) -> Vec<Doubt> {
    let mut told: BTreeMap<String, Doubt> = BTreeMap::new();
    for reading in &feed.readings {
        for words in reading.doubts.split("; ").filter(|words| !words.is_empty()) {
            let kind: String = words
                .chars()
                .filter(|letter| !letter.is_ascii_digit() && *letter != '.')
                .collect();
            let doubt = told.entry(kind).or_insert_with(|| Doubt {
                words: String::new(),
                first_secs: reading.at_secs,
                last_secs: reading.at_secs,
                count: 0,
            });
            words.clone_into(&mut doubt.words);
            doubt.last_secs = reading.at_secs;
            doubt.count += 1;
        }
    }
    let mut told: Vec<Doubt> = told.into_values().collect();
    told.sort_by_key(|doubt| std::cmp::Reverse(doubt.count));
    told
}
