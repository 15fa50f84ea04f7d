//! Sentences of the hand check. What they are made of stands in the languages' files.

use super::{figure, get, length, put};
use crate::rate::{Agreement, HandCheck, Limits, Outcome};

/// Most times of single taps or drops that are told.
const MOST_TIMES: usize = 6;

/// What a person is to do, at a feed or at all of them.
#[must_use]
pub fn hand_explained(feed: &str) -> String {
    put!(hand_explained, feed = feed)
}

/// Taps and time so far.
#[must_use]
pub fn hand_so_far(taps: usize, secs: f64) -> String {
    if taps == 1 {
        put!(hand_one_tap, time = length(secs))
    } else {
        put!(hand_taps, taps = taps, time = length(secs))
    }
}

/// How to tap.
#[must_use]
pub fn hand_tap_hint(cap: &str) -> String {
    put!(hand_tap_hint, cap = cap)
}

/// Whether the two agree, in a word or two.
#[must_use]
pub fn hand_verdict(agreement: Agreement) -> &'static str {
    let words = get();
    match agreement {
        Agreement::TooFew => words.hand_too_few,
        Agreement::Agree => words.hand_agree,
        Agreement::ToolLess => words.hand_tool_less,
        Agreement::ToolMore => words.hand_tool_more,
        Agreement::Disagree => words.hand_disagree,
    }
}

fn percent(share: f64) -> String {
    figure(share * 100.0, 0)
}

/// What that means, and what to do.
#[must_use]
pub fn hand_advice(check: &HandCheck) -> String {
    let words = get();
    match check.agreement {
        Agreement::TooFew => put!(
            hand_too_few_told,
            tool = percent(check.tool_missed.high),
            person = percent(check.person_missed.high)
        ),
        Agreement::Agree => words.hand_agree_told.to_owned(),
        Agreement::ToolLess => put!(hand_tool_less_told, p = p_value(check.counts_p)),
        Agreement::ToolMore => put!(hand_tool_more_told, p = p_value(check.counts_p)),
        Agreement::Disagree => words.hand_disagree_told.to_owned(),
    }
}

/// A chance, as short as it may be: below one in a thousand nobody asks by how much.
fn p_value(p: f64) -> String {
    if p < 0.001 {
        put!(less_than, value = figure(0.001, 3))
    } else {
        figure(p, 3)
    }
}

/// Limits of a share.
#[must_use]
pub fn hand_share(share: Limits) -> String {
    put!(
        hand_share,
        low = percent(share.low),
        high = percent(share.high)
    )
}

/// How many were seen how.
#[must_use]
pub fn hand_row(what: &str, count: u64, share: &str) -> String {
    put!(hand_row, what = what, count = count, share = share)
        .trim_end()
        .to_owned()
}

/// How late the person taps.
#[must_use]
pub fn hand_lag(check: &HandCheck) -> String {
    put!(
        hand_lag,
        lag = figure(check.lag_secs, 2),
        window = figure(check.window_secs, 2)
    )
}

/// The times of taps without a drop, and of drops without a tap, since the check began.
#[must_use]
pub fn hand_alone(check: &HandCheck, from_secs: f64) -> Vec<String> {
    let words = get();
    let mut lines = Vec::new();
    for (outcome, what) in [
        (Outcome::MissedByTool, words.hand_taps_alone),
        (Outcome::MissedByPerson, words.hand_drops_alone),
    ] {
        let mut times: Vec<String> = check
            .compared
            .iter()
            .filter(|one| one.outcome == outcome)
            .filter_map(|one| one.tap_secs.or(one.drop_secs))
            .map(|secs| length(secs - from_secs))
            .collect();
        if times.len() > MOST_TIMES {
            times.truncate(MOST_TIMES);
            times.push("…".to_owned());
        }
        if !times.is_empty() {
            lines.push(super::heading_and(what, &times.join(", ")));
        }
    }
    lines
}
