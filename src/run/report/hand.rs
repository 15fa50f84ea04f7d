//! Hand checks of a run: what a person's taps came to beside the drops counted. The counts are those
//! the logbook has; which tap and drop stood alone is laid out once more from its taps and drops.

use crate::base::Span;
use crate::rate::{Compared, HandCheck, Outcome, hand_check};
use crate::run::export::{Table, number, row};
use crate::run::logbook::read::{HandCheckRow, RunContents};

use super::gather::Report;
use super::markup::Markup;
use super::{tables, words};

/// Most taps and drops that stood alone are told one by one.
const MOST_ALONE: usize = 100;

/// Lays taps and drops of one hand check together, as the instrument did.
fn laid_out(run: &RunContents, check: &HandCheckRow) -> HandCheck {
    let (from_secs, to_secs) = check.watched_secs;
    let is_watched = |feed: i64| check.feed.is_none_or(|of| of == feed);
    let taps: Vec<f64> = run
        .taps
        .iter()
        .filter(|tap| tap.check_from_secs == from_secs && tap.feed == check.feed)
        .map(|tap| tap.at_secs)
        .collect();
    let around = (from_secs - 2.0)..=(to_secs + 2.0);
    let drops: Vec<f64> = run
        .drops
        .iter()
        .filter(|drop| drop.kind == "oil" && is_watched(drop.feed))
        .map(|drop| drop.at_secs)
        .filter(|at| around.contains(at))
        .collect();
    let blind: Vec<Span> = run
        .blind
        .iter()
        .filter(|spell| spell.feed.is_none_or(is_watched))
        .map(|spell| Span {
            from_secs: spell.from_secs,
            to_secs: spell.to_secs,
        })
        .collect();
    hand_check(&taps, &drops, Span { from_secs, to_secs }, &blind)
}

fn feed_words(feed: Option<i64>) -> String {
    feed.map_or_else(|| "all".to_owned(), |feed| feed.to_string())
}

/// Writes the section.
pub(super) fn section(out: &mut Markup, report: &Report) {
    out.words(
        "p",
        &[],
        "A person tapped at each drop seen. Each tap is laid to the drop it was for, one to one, \
         after the person's own delay is taken out; unseen time and the ends are left out. The two \
         agree when their counts do not differ by more than chance allows (exact McNemar test, and \
         5 % allowed for lapses) and beads enough were compared to exclude that one of them misses \
         15 %.",
    );
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words("caption", &[], "Hand checks");
    tables::head(
        out,
        &[
            "time since start (h:min:s)",
            "time of day (ISO 8601)",
            "feed",
            "length",
            "matched",
            "missed by the tool",
            "missed by the person",
            "not judged",
            "delay of the taps (s)",
            "p",
            "verdict",
        ],
    );
    out.open("tbody", &[]);
    for check in &report.run.hand_checks {
        out.open("tr", &[]);
        tables::time(out, report, check.watched_secs.0);
        tables::cell(out, &feed_words(check.feed));
        let length = check.watched_secs.1 - check.watched_secs.0;
        tables::number(out, &words::length(length));
        for count in [
            check.matched,
            check.missed_by_tool,
            check.missed_by_person,
            check.left_out,
        ] {
            tables::number(out, &count.to_string());
        }
        tables::number(out, &words::significant(check.lag_secs));
        tables::number(out, &words::significant(check.counts_p));
        tables::cell(out, &check.agreement);
        out.close();
    }
    out.close();
    out.close();
    out.close();
    for check in &report.run.hand_checks {
        alone(out, report, check);
    }
}

/// The taps and drops of a check that stood alone.
fn alone(out: &mut Markup, report: &Report, check: &HandCheckRow) {
    let laid = laid_out(&report.run, check);
    let of = |outcome: Outcome| laid.compared.iter().filter(move |c| c.outcome == outcome);
    for (what, outcome) in [
        ("Taps without a drop", Outcome::MissedByTool),
        ("Drops without a tap", Outcome::MissedByPerson),
    ] {
        let at = |c: &Compared| c.tap_secs.or(c.drop_secs).unwrap_or_default();
        let times: Vec<String> = of(outcome)
            .take(MOST_ALONE)
            .map(|c| words::elapsed(report.since_start(at(c))))
            .collect();
        if !times.is_empty() {
            let more = of(outcome).count() - times.len();
            let more = if more > 0 {
                format!(" and {more} more")
            } else {
                String::new()
            };
            let from = words::elapsed(report.since_start(check.watched_secs.0));
            out.words(
                "p",
                &[],
                &format!("{what}, check at {from}: {}{more}.", times.join(", ")),
            );
        }
    }
}

/// The tables `hand_checks.csv` and `taps.csv`; none when there was no hand check.
pub(super) fn csv_tables(report: &Report) -> Vec<Table> {
    let run = &report.run;
    if run.taps.is_empty() && run.hand_checks.is_empty() {
        return Vec::new();
    }
    let mut checks = vec![row(&[
        "feed",
        "from (s)",
        "to (s)",
        "seen (s)",
        "matched",
        "missed by the tool",
        "missed by the person",
        "not judged",
        "delay of the taps (s)",
        "scatter of the delay (s)",
        "window (s)",
        "p (exact McNemar)",
        "verdict",
    ])];
    let mut taps = vec![row(&[
        "check from (s)",
        "feed",
        "tap (s)",
        "drop (s)",
        "outcome",
    ])];
    for check in &run.hand_checks {
        checks.push(vec![
            feed_words(check.feed),
            number(check.watched_secs.0, 3),
            number(check.watched_secs.1, 3),
            number(check.seen_secs, 3),
            check.matched.to_string(),
            check.missed_by_tool.to_string(),
            check.missed_by_person.to_string(),
            check.left_out.to_string(),
            number(check.lag_secs, 3),
            number(check.lag_scatter_secs, 3),
            number(check.window_secs, 3),
            number(check.counts_p, 6),
            check.agreement.clone(),
        ]);
        for compared in laid_out(run, check).compared {
            taps.push(vec![
                number(check.watched_secs.0, 3),
                feed_words(check.feed),
                number(compared.tap_secs, 3),
                number(compared.drop_secs, 3),
                compared.outcome.words().to_owned(),
            ]);
        }
    }
    // A run that was cut short has taps without a verdict.
    let is_told = |from: f64| run.hand_checks.iter().any(|c| c.watched_secs.0 == from);
    for tap in run.taps.iter().filter(|tap| !is_told(tap.check_from_secs)) {
        taps.push(vec![
            number(tap.check_from_secs, 3),
            feed_words(tap.feed),
            number(tap.at_secs, 3),
            String::new(),
            "no verdict: the run broke off".to_owned(),
        ]);
    }
    vec![("hand_checks.csv", checks), ("taps.csv", taps)]
}
