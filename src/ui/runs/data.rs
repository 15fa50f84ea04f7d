//! What the charts of a run show, from what the logbook keeps: rates with limits in stretches
//! without holes, drops with the interval before each, the individuals chart. Pure.

use crate::rate::{IndividualsChart, individuals_chart};
use crate::run::HistoryPoint;
use crate::run::logbook::read::{DropRow, RunContents};

/// Longest time between two readings that belong to one line, seconds: readings are told every ten
/// seconds.
const LONGEST_STEP_SECS: f64 = 25.0;

/// A drop of oil with the interval before it.
#[derive(Clone, Debug, PartialEq)]
pub struct Drop {
    /// The drop as it is kept.
    pub row: DropRow,
    /// Seconds since the start of the run.
    pub since_start_secs: f64,
    /// Seconds since the drop before; none for the first one and after a blind spell.
    pub interval_secs: Option<f64>,
}

/// The drops of a feed.
#[must_use]
pub fn drops(run: &RunContents, feed: i64) -> Vec<Drop> {
    let mut found: Vec<Drop> = Vec::new();
    for row in run
        .drops
        .iter()
        .filter(|row| row.feed == feed && row.kind == "oil")
    {
        let interval_secs = found.last().and_then(|before| {
            let from = before.row.at_secs;
            let is_blind = run.blind.iter().any(|spell| {
                spell.feed.is_none_or(|other| other == feed)
                    && spell.from_secs < row.at_secs
                    && spell.to_secs > from
            });
            (!is_blind).then_some(row.at_secs - from)
        });
        found.push(Drop {
            row: row.clone(),
            since_start_secs: row.at_secs - run.summary.from_secs,
            interval_secs,
        });
    }
    found
}

/// The rate of a feed over time since the start; none where nothing was known.
#[must_use]
pub fn rates(run: &RunContents, feed: i64) -> Vec<HistoryPoint> {
    let mut found: Vec<HistoryPoint> = Vec::new();
    for row in run.readings.iter().filter(|row| row.feed == feed) {
        let at_secs = row.at_secs - run.summary.from_secs;
        if let Some(before) = found.last()
            && at_secs - before.at_secs > LONGEST_STEP_SECS
        {
            found.push(HistoryPoint {
                at_secs: before.at_secs + 1.0,
                rate: None,
            });
        }
        found.push(HistoryPoint {
            at_secs,
            rate: row.rate_per_minute,
        });
    }
    found
}

/// The intervals of a feed with their times, and their chart.
#[must_use]
pub fn individuals(drops: &[Drop]) -> (Vec<(f64, f64)>, Option<IndividualsChart>) {
    let points: Vec<(f64, f64)> = drops
        .iter()
        .filter_map(|drop| drop.interval_secs.map(|secs| (drop.since_start_secs, secs)))
        .collect();
    let values: Vec<f64> = points.iter().map(|(_, secs)| *secs).collect();
    let chart = individuals_chart(&values);
    (points, chart)
}

/// The drop nearest to a time since the start.
#[must_use]
pub fn nearest(drops: &[Drop], since_start_secs: f64) -> Option<usize> {
    drops
        .iter()
        .enumerate()
        .min_by(|(_, a), (_, b)| {
            let off = |drop: &Drop| (drop.since_start_secs - since_start_secs).abs();
            off(a).total_cmp(&off(b))
        })
        .map(|(index, _)| index)
}

/// Drops a minute over the whole run, by count alone; none for a run without length.
#[must_use]
pub fn mean_rate(drops: &[Drop], run: &RunContents) -> Option<f64> {
    let secs = run.summary.to_secs - run.summary.from_secs;
    (secs > 0.0).then(|| drops.len() as f64 * 60.0 / secs)
}
