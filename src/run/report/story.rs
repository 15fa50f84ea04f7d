//! What happened in a run, in order of time: its start and end, marks, stops, changes of rate, blind
//! spells, gaps, calibrations. Alarms have a table of their own.

use super::gather::Report;
use super::words;

/// Blind spells and gaps shorter than this are counted, not told one by one, seconds: nobody misses
/// a drop in them, and flicker would fill pages.
const WORTH_TELLING_SECS: f64 = 1.0;
/// Spells that begin and end within this of each other on all feeds are one, seconds.
const SAME_SPELL_SECS: f64 = 0.5;

/// One thing that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Source time, seconds.
    pub at_secs: f64,
    /// Its feed; none for all.
    pub feed: Option<i64>,
    /// What.
    pub words: String,
    /// Words of a person that belong to it.
    pub foreign: Option<String>,
}

impl Told {
    fn new(at_secs: f64, feed: Option<i64>, words: String) -> Self {
        Self {
            at_secs,
            feed,
            words,
            foreign: None,
        }
    }
}

/// Everything worth telling, in order.
#[must_use]
pub fn story(report: &Report) -> Vec<Told> {
    let run = &report.run;
    let head = &run.summary;
    let when = |secs: f64| words::elapsed(report.since_start(secs));
    let mut told = vec![Told::new(head.from_secs, None, "the run began".to_owned())];
    for mark in &run.marks {
        let moved = mark
            .moved
            .and_then(crate::run::Moved::turns)
            .map_or_else(String::new, |turns| format!(" ({})", words::turns(turns)));
        told.push(Told {
            foreign: Some(mark.words.clone()),
            ..Told::new(mark.at_secs, mark.feed, format!("mark{moved}"))
        });
    }
    for feed in &report.feeds {
        let number = Some(feed.row.feed);
        for stop in &feed.steadiness.stops {
            let end = if stop.to_secs >= head.to_secs {
                "and had not run again when the run ended".to_owned()
            } else {
                format!("until {}", when(stop.to_secs))
            };
            let words = format!(
                "stopped: no drop for {} from here, {end}",
                words::length(stop.secs())
            );
            told.push(Told::new(stop.from_secs, number, words));
        }
        for change in &feed.steadiness.changes {
            told.push(Told::new(change.at_secs, number, change.words()));
        }
    }
    for check in &run.hand_checks {
        let words = format!(
            "hand check of {}: {} matched, {} missed by the tool, {} missed by the person: {}",
            words::length(check.watched_secs.1 - check.watched_secs.0),
            check.matched,
            check.missed_by_tool,
            check.missed_by_person,
            check.agreement
        );
        told.push(Told::new(check.watched_secs.0, check.feed, words));
    }
    told.extend(blind(report));
    for gap in run
        .gaps
        .iter()
        .filter(|g| g.to_secs - g.from_secs >= WORTH_TELLING_SECS)
    {
        let words = format!(
            "gap of {}: {}",
            words::length(gap.to_secs - gap.from_secs),
            gap.why
        );
        told.push(Told::new(gap.from_secs, None, words));
    }
    for calibration in &run.calibrations {
        let words = "another calibration came in force".to_owned();
        told.push(Told::new(calibration.at_secs, None, words));
    }
    for clock in run.clocks.iter().filter(|clock| clock.stepped_secs != 0.0) {
        let words = format!(
            "the computer's clock was set by {:+.0} s",
            clock.stepped_secs
        );
        told.push(Told::new(clock.at_secs, None, words));
    }
    told.push(Told::new(head.to_secs, None, "the run ended".to_owned()));
    told.sort_by(|a, b| a.at_secs.total_cmp(&b.at_secs));
    told
}

/// Blind spells worth telling; those that struck all feeds alike are told once.
fn blind(report: &Report) -> Vec<Told> {
    let when = |secs: f64| words::elapsed(report.since_start(secs));
    let feeds = report.feeds.len();
    let mut told: Vec<(f64, f64, String, Vec<i64>)> = Vec::new();
    for feed in &report.feeds {
        for spell in feed
            .blind
            .iter()
            .filter(|s| s.to_secs - s.from_secs >= WORTH_TELLING_SECS)
        {
            let same = told.iter_mut().find(|(from, to, why, _)| {
                (from - spell.from_secs).abs() < SAME_SPELL_SECS
                    && (*to - spell.to_secs).abs() < SAME_SPELL_SECS
                    && *why == spell.why
            });
            match same {
                Some((.., of)) => of.push(feed.row.feed),
                None => told.push((
                    spell.from_secs,
                    spell.to_secs,
                    spell.why.clone(),
                    vec![feed.row.feed],
                )),
            }
        }
    }
    told.into_iter()
        .flat_map(|(from, to, why, of)| {
            let words = format!(
                "could not be seen for {}, until {}: {why}",
                words::length(to - from),
                when(to)
            );
            let of: Vec<Option<i64>> = if of.len() == feeds && feeds > 1 {
                vec![None]
            } else {
                of.into_iter().map(Some).collect()
            };
            of.into_iter()
                .map(move |feed| Told::new(from, feed, words.clone()))
        })
        .collect()
}
