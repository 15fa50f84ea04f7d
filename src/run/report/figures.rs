//! The statistics of a report as rows for a spreadsheet, and all records of a run as one table in
//! order of time. Units stand in the headings; words of a person cannot act as formulas.

use crate::rate::{ResponseCurve, Steadiness};
use crate::run::Moved;
use crate::run::export::{Table, harmless, number, row};
use crate::run::logbook::read::iso;

use super::gather::{FeedReport, Report};
use super::words;

/// The tables that go beside those of the records: `figures.csv`, `allan.csv`, `valve.csv`.
#[must_use]
pub fn tables(report: &Report) -> Vec<Table> {
    vec![
        ("figures.csv", figures(report)),
        ("allan.csv", allan(report)),
        ("valve.csv", valve(report)),
    ]
}

/// One figure a row: feed, part of the run, what, value, limits, unit.
fn figures(report: &Report) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "name",
        "from (s)",
        "to (s)",
        "figure",
        "value",
        "lower 95 % limit",
        "upper 95 % limit",
        "unit",
    ])];
    for feed in &report.feeds {
        part(&mut rows, feed, &feed.steadiness);
        for (_, between) in &feed.between_marks {
            part(&mut rows, feed, between);
        }
    }
    rows
}

fn part(rows: &mut Vec<Vec<String>>, feed: &FeedReport, found: &Steadiness) {
    let mut put = |figure: &str, value: String, limits: Option<(f64, f64)>, unit: &str| {
        rows.push(vec![
            feed.row.feed.to_string(),
            harmless(&feed.row.name),
            number(found.span.from_secs, 3),
            number(found.span.to_secs, 3),
            figure.to_owned(),
            value,
            number(limits.map(|l| l.0), 4),
            number(limits.map(|l| l.1), 4),
            unit.to_owned(),
        ]);
    };
    put("seen time", number(found.seen_secs, 1), None, "s");
    put("drops", found.drops.to_string(), None, "");
    if let Some(mean) = &found.mean {
        let limits = (mean.limits.low, mean.limits.high);
        put(
            "mean rate",
            number(mean.drops_per_minute, 4),
            Some(limits),
            "drops/min",
        );
        let limits = (mean.scatter_limits.low, mean.scatter_limits.high);
        put(
            "scatter of intervals",
            number(mean.scatter, 4),
            Some(limits),
            "sd/mean",
        );
    }
    if let Some(drift) = &found.drift {
        let trend = &drift.trend;
        let limits = (trend.slope_limits.low, trend.slope_limits.high);
        put(
            "drift",
            number(trend.slope, 4),
            Some(limits),
            "drops/min an hour",
        );
        put("Mann-Kendall p", number(trend.p, 6), None, "");
    }
    if let Some(chart) = &found.chart {
        let limits = (chart.lower, chart.upper);
        put(
            "mean interval with chart limits",
            number(chart.mean, 4),
            Some(limits),
            "s",
        );
        put("mean moving range", number(chart.mean_range, 4), None, "s");
        put(
            "upper limit of moving range",
            number(chart.upper_range, 4),
            None,
            "s",
        );
        put(
            "intervals outside the limits",
            chart.outside.len().to_string(),
            None,
            "",
        );
    }
    if let Some(serial) = &found.autocorrelation {
        let first = serial.at_lag.first().copied().unwrap_or(f64::NAN);
        let chance = (-serial.chance_limit, serial.chance_limit);
        put(
            "serial correlation, lag 1, with limits of chance",
            number(first, 4),
            Some(chance),
            "",
        );
        put(
            "serial correlation, lags 1 to 10, p",
            number(serial.p, 4),
            None,
            "",
        );
    }
    if let Some(silence) = &found.longest_silence {
        put("longest silence", number(silence.seen_secs, 2), None, "s");
    }
    let shares = &found.shares;
    for (name, share) in [
        ("time in band", shares.in_band),
        ("time low", shares.low),
        ("time high", shares.high),
        ("time stopped", shares.stopped),
        ("time blind", shares.blind),
        ("time without a reading", shares.no_reading),
    ] {
        put(name, number(share, 5), None, "share");
    }
    put("stops", found.stops.len().to_string(), None, "");
    put("changes of rate", found.changes.len().to_string(), None, "");
    put("verdict", found.verdict.words.clone(), None, "");
    for reason in &found.verdict.reasons {
        put("reason", harmless(reason), None, "");
    }
}

fn allan(report: &Report) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "averaging time (s)",
        "Allan deviation (drops/min)",
        "spells of this length",
    ])];
    for feed in &report.feeds {
        for point in &feed.steadiness.allan {
            rows.push(vec![
                feed.row.feed.to_string(),
                number(point.averaging_secs, 0),
                number(point.deviation_per_minute, 4),
                number(point.spells, 1),
            ]);
        }
    }
    rows
}

fn valve(report: &Report) -> Vec<Vec<String>> {
    let mut rows = vec![row(&[
        "feed",
        "what",
        "turns opened",
        "rate (drops/min)",
        "lower 95 % limit (drops/min)",
        "upper 95 % limit (drops/min)",
        "drops",
    ])];
    for feed in &report.feeds {
        for point in &feed.valve {
            let reading = &point.reading;
            rows.push(vec![
                feed.row.feed.to_string(),
                "reading".to_owned(),
                number(point.turns, 3),
                number(reading.drops_per_minute, 3),
                number(reading.low, 3),
                number(reading.high, 3),
                reading.drops.to_string(),
            ]);
        }
        for point in feed.response.iter().flat_map(ResponseCurve::points) {
            rows.push(vec![
                feed.row.feed.to_string(),
                "curve".to_owned(),
                number(point.turns, 3),
                number(point.drops_per_minute, 3),
                number(point.low, 3),
                number(point.high, 3),
                String::new(),
            ]);
        }
    }
    rows
}

/// A row of the one table, before it is put in order.
struct Record {
    at_secs: f64,
    wall_secs: f64,
    feed: String,
    kind: &'static str,
    what: String,
    rate: Option<words::Rate>,
    drops: Option<i64>,
    diameter_mm: Option<f64>,
    rise_mm_per_s: Option<f64>,
    length_secs: Option<f64>,
    turns: Option<f64>,
    words: String,
}

impl Record {
    fn new(at_secs: f64, wall_secs: f64, feed: Option<i64>, kind: &'static str) -> Self {
        Self {
            at_secs,
            wall_secs,
            feed: feed.map_or_else(|| "all".to_owned(), |feed| feed.to_string()),
            kind,
            what: String::new(),
            rate: None,
            drops: None,
            diameter_mm: None,
            rise_mm_per_s: None,
            length_secs: None,
            turns: None,
            words: String::new(),
        }
    }
}

/// Every record of the run as one table in order of time: drops, readings, readings as found,
/// alarms, marks, blind spells, gaps.
#[must_use]
pub fn records(report: &Report) -> Vec<Vec<String>> {
    let run = &report.run;
    let mut records = Vec::new();
    for drop in &run.drops {
        records.push(Record {
            what: drop.kind.clone(),
            diameter_mm: drop.diameter_mm,
            rise_mm_per_s: drop.rise_mm_per_s,
            ..Record::new(drop.at_secs, drop.wall_secs, Some(drop.feed), "bead")
        });
    }
    for reading in &run.readings {
        records.push(Record {
            what: reading.state.clone(),
            rate: reading.rate_per_minute,
            drops: reading.drops,
            words: harmless(&reading.doubts),
            ..Record::new(
                reading.at_secs,
                reading.wall_secs,
                Some(reading.feed),
                "reading",
            )
        });
    }
    for found in &run.as_found {
        records.push(Record {
            what: found.state.clone(),
            rate: found.rate_per_minute,
            drops: found.drops,
            length_secs: Some(found.until_secs - found.from_secs),
            words: harmless(&found.words),
            ..Record::new(found.at_secs, found.wall_secs, Some(found.feed), "as found")
        });
    }
    for alarm in &run.alarms {
        let told = |word: &Option<String>| word.clone().unwrap_or_default();
        let (happened, by) = (told(&alarm.happened), told(&alarm.by_whom));
        records.push(Record {
            what: format!("{}: {}", alarm.cause, alarm.state),
            words: if happened.is_empty() {
                happened
            } else {
                format!("{happened} by {by}")
            },
            ..Record::new(alarm.at_secs, alarm.wall_secs, alarm.feed, "alarm")
        });
    }
    for mark in &run.marks {
        records.push(Record {
            what: if mark.moved == Some(Moved::Shut) {
                "valve shut".to_owned()
            } else {
                String::new()
            },
            turns: mark.moved.and_then(Moved::turns),
            words: harmless(&mark.words),
            ..Record::new(mark.at_secs, mark.wall_secs, mark.feed, "mark")
        });
    }
    for (spells, name) in [(&run.blind, "blind spell"), (&run.gaps, "gap")] {
        for spell in spells {
            let length = spell.to_secs - spell.from_secs;
            records.push(Record {
                length_secs: Some(length),
                words: harmless(&spell.why),
                ..Record::new(spell.from_secs, spell.wall_secs - length, spell.feed, name)
            });
        }
    }
    records.sort_by(|a, b| a.at_secs.total_cmp(&b.at_secs));
    let mut rows = vec![row(&[
        "time (s)",
        "time of day",
        "feed",
        "record",
        "what",
        "rate (drops/min)",
        "lower 95 % limit (drops/min)",
        "upper 95 % limit (drops/min)",
        "drops",
        "diameter (mm)",
        "rise speed (mm/s)",
        "length (s)",
        "valve opened (turns)",
        "words",
    ])];
    for record in records {
        rows.push(vec![
            number(record.at_secs, 3),
            iso(record.wall_secs, &report.zone),
            record.feed,
            record.kind.to_owned(),
            record.what,
            number(record.rate.map(|r| r.0), 3),
            number(record.rate.map(|r| r.1), 3),
            number(record.rate.map(|r| r.2), 3),
            record
                .drops
                .map_or_else(String::new, |drops| drops.to_string()),
            number(record.diameter_mm, 2),
            number(record.rise_mm_per_s, 1),
            number(record.length_secs, 3),
            number(record.turns, 3),
            record.words,
        ]);
    }
    rows
}
