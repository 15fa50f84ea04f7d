//! What became of each try: drops lost and invented beside the truth, what stands in the logbook,
//! and the table with its bounds. It touches no device.

use std::fmt::Write as _;

use beadtally::run::logbook::RunContents;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::clip::TrueBead;

/// A counted bead within this of a true one is that one, seconds.
const MATCH_SECS: f64 = 0.4;
/// What must be shown is shown within this, seconds.
const SHOW_WITHIN_SECS: f64 = 3.0;
/// The program is back within this after the cause is gone, seconds: a try a second, the opening,
/// and the first pictures.
const BACK_WITHIN_SECS: f64 = 3.5;
/// A blind spell may miss this much of the time in which nothing was seen, seconds: the last
/// picture before, and what a bench needs to begin and end a fault.
const EDGE_SECS: f64 = 0.8;
/// A session may grow by so much, kB: histories fill up during it.
const MOST_GROWTH_KB: i64 = 24_000;

/// What must become of a fault.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Wants {
    /// Nothing is shown; counting goes on.
    #[default]
    Nothing,
    /// 'cannot see', and a blind spell in the logbook.
    CannotSee,
    /// The same, with these words to people.
    Lost(&'static str),
    /// A gap is told and stands in the logbook; counting goes on.
    Gap,
    /// A blind spell in the logbook; nothing could be shown.
    Blind,
    /// The jump of the clock in the logbook; counting goes on.
    ClockStep,
    /// One sentence, and the program does not start.
    Refused,
}

/// One try of one fault.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Try {
    pub fault: String,
    #[serde(skip)]
    pub wants: Wants,
    pub seen_before: bool,
    pub shown_secs: Option<f64>,
    pub back_secs: Option<f64>,
    /// What people were told.
    pub words: String,
    /// From the fault to the end of the quiet time after it, clip time, seconds.
    pub clip_secs: (f64, f64),
    /// When nothing could be seen, clip time, seconds.
    pub hole_clip_secs: Option<(f64, f64)>,
    /// Growth since the first try: threads, open files, kB.
    pub grown: (i64, i64, i64),
    pub truth: usize,
    pub lost: usize,
    pub unseen: usize,
    pub invented: usize,
    /// What is wrong with this try.
    pub wrong: Vec<String>,
}

struct Seen {
    feed: String,
    at_secs: f64,
}

/// Counts up the tries of a session whose run is over.
pub fn settle(
    tries: &mut [Try],
    truth: &[TrueBead],
    lines: &[(f64, Value)],
    contents: &RunContents,
    start_secs: f64,
) {
    let seen: Vec<Seen> = lines
        .iter()
        .map(|(_, line)| line)
        .filter(|line| line["type"] == "bead" && line["kind"] == "oil")
        .map(|line| Seen {
            feed: line["feed"].as_str().unwrap_or_default().to_owned(),
            at_secs: line["at_s"].as_f64().unwrap_or(f64::NAN),
        })
        .collect();
    let (mut offset_secs, matched) = offset(truth, &seen);
    if truth.is_empty() {
        // Nothing to lay it to: by the least delay from an event to its line.
        offset_secs = lines
            .iter()
            .filter_map(|(told_secs, line)| Some(told_secs - start_secs - line["at_s"].as_f64()?))
            .fold(f64::INFINITY, f64::min);
    }
    println!(
        "# {} of {} counted are true at {offset_secs:.2} s",
        matched,
        seen.len()
    );
    let in_book = contents
        .drops
        .iter()
        .filter(|drop| drop.kind == "oil")
        .count();
    for one in tries.iter_mut().filter(|one| one.wants != Wants::Refused) {
        if in_book != seen.len() {
            let counted = seen.len();
            one.wrong
                .push(format!("{in_book} drops in the logbook, {counted} told"));
        }
        judge(one, truth, &seen, offset_secs, lines, contents);
    }
    for one in tries.iter_mut() {
        bounds(one);
    }
}

/// Clip time minus source time: where most counted beads are true.
fn offset(truth: &[TrueBead], seen: &[Seen]) -> (f64, usize) {
    let score = |offset_secs: f64| {
        let is_true = |bead: &&Seen| {
            truth.iter().any(|t| {
                t.feed == bead.feed && (t.at_secs - bead.at_secs - offset_secs).abs() < 0.15
            })
        };
        seen.iter().filter(is_true).count()
    };
    (0..3000)
        .map(|step| f64::from(step) * 0.02)
        .map(|offset_secs| (offset_secs, score(offset_secs)))
        .max_by_key(|(_, matched)| *matched)
        .unwrap_or_default()
}

fn judge(
    one: &mut Try,
    truth: &[TrueBead],
    seen: &[Seen],
    offset_secs: f64,
    lines: &[(f64, Value)],
    contents: &RunContents,
) {
    let (from_secs, to_secs) = one.clip_secs;
    let inside = |at_secs: f64| (from_secs..to_secs).contains(&at_secs);
    let mut free: Vec<&Seen> = seen
        .iter()
        .filter(|bead| inside(bead.at_secs + offset_secs))
        .collect();
    for bead in truth.iter().filter(|bead| inside(bead.at_secs)) {
        one.truth += 1;
        let at_secs = bead.at_secs - offset_secs;
        let found = free
            .iter()
            .position(|s| s.feed == bead.feed && (s.at_secs - at_secs).abs() < MATCH_SECS);
        let is_unseen = contents.blind.iter().any(|spell| {
            spell.feed.is_none_or(|feed| feed.to_string() == bead.feed)
                && at_secs > spell.from_secs - bead.half_passage_secs
                && at_secs < spell.to_secs + bead.half_passage_secs
        });
        match found {
            Some(at) => {
                free.remove(at);
            }
            None if is_unseen => one.unseen += 1,
            None => {
                one.lost += 1;
                one.wrong
                    .push(format!("feed {} lost at {:.2} s", bead.feed, bead.at_secs));
            }
        }
    }
    // A bead at the very edge of the window may have its truth outside.
    free.retain(|s| {
        !truth.iter().any(|bead| {
            bead.feed == s.feed && (bead.at_secs - s.at_secs - offset_secs).abs() < MATCH_SECS
        })
    });
    one.invented = free.len();
    for bead in free {
        let at_secs = bead.at_secs + offset_secs;
        one.wrong
            .push(format!("feed {} invented at {at_secs:.2} s", bead.feed));
    }
    let in_window = |at_secs: f64| inside(at_secs + offset_secs);
    let charged = lines.iter().any(|(_, line)| {
        line["type"] == "state"
            && line["state"] == "stopped"
            && !truth.is_empty()
            && line["at_s"].as_f64().is_some_and(in_window)
    });
    if charged {
        one.wrong.push("silence was charged to a feed".to_owned());
    }
    book(one, offset_secs, contents, truth);
}

/// What must stand in the logbook.
fn book(one: &mut Try, offset_secs: f64, contents: &RunContents, truth: &[TrueBead]) {
    let has_truth = !truth.is_empty();
    let (from_secs, to_secs) = one.clip_secs;
    let inside = |at_secs: f64| (from_secs - 1.0..to_secs).contains(&(at_secs + offset_secs));
    match one.wants {
        // Where nothing moves there is no common time to compare by.
        Wants::CannotSee | Wants::Lost(_) | Wants::Blind if has_truth => {
            let (hole_from, hole_to) = one.hole_clip_secs.unwrap_or_default();
            let covered: f64 = contents
                .blind
                .iter()
                .filter(|spell| spell.feed.is_none_or(|feed| feed == 1))
                .map(|spell| {
                    let from = (spell.from_secs + offset_secs).max(hole_from);
                    let to = (spell.to_secs + offset_secs).min(hole_to);
                    (to - from).max(0.0)
                })
                .sum();
            let missing = hole_to - hole_from - covered;
            if missing > EDGE_SECS {
                one.wrong.push(format!(
                    "{missing:.1} of {:.1} s are no blind spell in the logbook",
                    hole_to - hole_from
                ));
            }
        }
        Wants::CannotSee | Wants::Lost(_) | Wants::Blind => {
            if contents.blind.is_empty() {
                one.wrong.push("no blind spell in the logbook".to_owned());
            }
        }
        Wants::Gap => {
            if !contents
                .gaps
                .iter()
                .any(|gap| !has_truth || inside(gap.to_secs))
            {
                one.wrong.push("no gap in the logbook".to_owned());
            }
        }
        Wants::ClockStep => {
            let is_there = contents.clocks.iter().any(|clock| {
                (clock.stepped_secs.abs() - 3600.0).abs() < 60.0 && inside(clock.at_secs)
            });
            if !is_there {
                one.wrong
                    .push("the clock's jump is not in the logbook".to_owned());
            }
        }
        Wants::Nothing | Wants::Refused => {}
    }
}

fn bounds(one: &mut Try) {
    let must_show = match one.wants {
        Wants::Nothing | Wants::Blind | Wants::ClockStep => false,
        Wants::CannotSee | Wants::Gap | Wants::Refused => true,
        Wants::Lost(words) => {
            if !one.words.contains(words) {
                one.wrong
                    .push(format!("people were not told '{words}' but: {}", one.words));
            }
            true
        }
    };
    if must_show && one.shown_secs.is_none_or(|secs| secs > SHOW_WITHIN_SECS) {
        one.wrong
            .push(format!("shown after {:?} s", one.shown_secs));
    }
    if one.back_secs.is_none_or(|secs| secs > BACK_WITHIN_SECS) {
        one.wrong.push(format!("back after {:?} s", one.back_secs));
    }
    if one.grown.0 > 0 || one.grown.1 > 0 || one.grown.2 > MOST_GROWTH_KB {
        one.wrong
            .push(format!("threads, files, kB have grown by {:?}", one.grown));
    }
    if one.wants != Wants::Refused && !one.seen_before {
        one.wrong.push("it saw nothing before the fault".to_owned());
    }
}

/// A line of the table: all tries of one fault.
pub struct Row {
    name: String,
    tries: Vec<Try>,
}

pub fn rows(tries: &[Try]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for one in tries {
        match rows.iter_mut().find(|row| row.name == one.fault) {
            Some(row) => row.tries.push(one.clone()),
            None => rows.push(Row {
                name: one.fault.clone(),
                tries: vec![one.clone()],
            }),
        }
    }
    rows
}

impl Row {
    /// Every bound that a try broke.
    pub fn breaches(&self) -> Vec<String> {
        let of_try = |(number, one): (usize, &Try)| {
            let words = one.wrong.iter().map(move |words| (number + 1, words));
            words
                .map(|(number, words)| format!("{}, try {number}: {words}", self.name))
                .collect::<Vec<_>>()
        };
        self.tries.iter().enumerate().flat_map(of_try).collect()
    }
}

fn range(values: impl Iterator<Item = Option<f64>>) -> String {
    let values: Vec<f64> = values.flatten().collect();
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if values.is_empty() {
        "–".to_owned()
    } else {
        format!("{least:.1}–{most:.1}")
    }
}

/// The table.
pub fn table(rows: &[Row]) -> String {
    let mut text =
        "| fault | tries | true beads | unseen in blind spells | lost | invented | shown \
                    after s | back after s | threads, files, kB grown | broken |\n\
                    | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n"
            .to_owned();
    for row in rows {
        let sum = |of: fn(&Try) -> usize| row.tries.iter().map(of).sum::<usize>();
        let last = row.tries.last().map(|one| one.grown).unwrap_or_default();
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} | {} | {} {} {} | {} |",
            row.name,
            row.tries.len(),
            sum(|one| one.truth),
            sum(|one| one.unseen),
            sum(|one| one.lost),
            sum(|one| one.invented),
            range(row.tries.iter().map(|one| one.shown_secs)),
            range(row.tries.iter().map(|one| one.back_secs)),
            last.0,
            last.1,
            last.2,
            row.breaches().len()
        );
    }
    text
}
