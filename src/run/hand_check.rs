//! A hand check under way: which feed a person taps at, the taps, the drops and blind spells of
//! that time. How taps are laid to drops and what that says is the business of `rate`.

use std::sync::Arc;

use serde::Serialize;

use crate::base::{BeadKind, FeedNumber, Span};
use crate::rate::{self, HandCheck, Outcome};
use crate::run::Event;
use crate::run::tally::rounded;

/// A drop is counted at the latest so long after mid-glass, seconds: half a passage of the slowest
/// bead and half a second (see `bead`), and a person's lag with it. Newer taps are not judged yet,
/// and a check is told so long after its end.
pub const SETTLE_SECS: f64 = 4.0;

/// Most taps of one check: an hour and a half at twenty a minute. More are not taken.
pub const MOST_TAPS: usize = 2000;

/// Most drops and blind spells kept with them.
const MOST_SEEN: usize = 4000;

/// A hand check as a screen may know it.
#[derive(Clone, Debug, PartialEq)]
pub struct HandCheckState {
    /// The feed that is watched; none for all together.
    pub feed: Option<FeedNumber>,
    /// When it began, source time, seconds.
    pub from_secs: f64,
    /// When the person ended it, source time, seconds; none while it goes on.
    pub ended_secs: Option<f64>,
    /// Taps so far.
    pub taps: usize,
    /// When the person tapped last, source time, seconds.
    pub last_tap_secs: Option<f64>,
    /// What it comes to; final when `is_settled`.
    pub result: HandCheck,
    /// Whether nothing more can change: the check has ended and all its drops are counted.
    pub is_settled: bool,
}

/// A hand check that is over, as it is told and kept.
#[derive(Clone, Debug, PartialEq)]
pub struct HandCheckOver {
    /// The feed that was watched; none for all together.
    pub feed: Option<FeedNumber>,
    /// What it came to.
    pub result: HandCheck,
}

/// A hand check as programs read it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HandCheckReport {
    /// The feed that was watched; none for all together.
    pub feed: Option<FeedNumber>,
    /// Start, seconds.
    pub from_s: f64,
    /// End, seconds.
    pub to_s: f64,
    /// Seen time in it, seconds.
    pub seen_s: f64,
    /// Beads tapped and counted.
    pub matched: u64,
    /// Taps without a drop.
    pub missed_by_tool: u64,
    /// Drops without a tap.
    pub missed_by_person: u64,
    /// Taps and drops beside unseen time or the ends: not judged.
    pub left_out: u64,
    /// How late the person taps, seconds after mid-glass.
    pub lag_s: f64,
    /// How much that scatters, seconds; none from too few taps.
    pub lag_scatter_s: Option<f64>,
    /// A tap was laid to a drop when it came within this of the lag, seconds.
    pub window_s: f64,
    /// Of the beads tapped, the share that the tool missed: 95 % limits.
    pub missed_by_tool_share: [f64; 2],
    /// Of the drops counted, the share that the person missed: 95 % limits.
    pub missed_by_person_share: [f64; 2],
    /// The p of a difference of counts as large by chance (exact McNemar test).
    pub p: f64,
    /// Whether the two agree: `too few to tell`, `agree within chance`, `the tool counts less`,
    /// `the tool counts more`, `not the same beads`.
    pub agreement: &'static str,
    /// Times of the taps that had no drop, seconds.
    pub taps_without_drop_s: Vec<f64>,
    /// Times of the drops that had no tap, seconds.
    pub drops_without_tap_s: Vec<f64>,
}

impl HandCheckReport {
    /// Of a hand check that is over.
    #[must_use]
    pub fn of(check: &HandCheckOver) -> Self {
        let result = &check.result;
        let share = |limits: rate::Limits| [rounded(limits.low, 4), rounded(limits.high, 4)];
        let alone = |outcome: Outcome| {
            let of = result.compared.iter().filter(|c| c.outcome == outcome);
            of.filter_map(|c| c.tap_secs.or(c.drop_secs))
                .map(|secs| rounded(secs, 3))
                .collect()
        };
        Self {
            feed: check.feed,
            from_s: rounded(result.watched.from_secs, 3),
            to_s: rounded(result.watched.to_secs, 3),
            seen_s: rounded(result.seen_secs, 3),
            matched: result.matched,
            missed_by_tool: result.missed_by_tool,
            missed_by_person: result.missed_by_person,
            left_out: result.left_out,
            lag_s: rounded(result.lag_secs, 3),
            lag_scatter_s: result.lag_scatter_secs.map(|secs| rounded(secs, 3)),
            window_s: rounded(result.window_secs, 3),
            missed_by_tool_share: share(result.tool_missed),
            missed_by_person_share: share(result.person_missed),
            p: rounded(result.counts_p, 6),
            agreement: result.agreement.words(),
            taps_without_drop_s: alone(Outcome::MissedByTool),
            drops_without_tap_s: alone(Outcome::MissedByPerson),
        }
    }
}

impl HandCheckReport {
    /// Lines for people.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let percent =
            |share: [f64; 2]| format!("{:.0} to {:.0} %", 100.0 * share[0], 100.0 * share[1]);
        let mut lines = vec![
            format!(
                "hand check, {}, {} to {} s: {}",
                self.feed
                    .map_or_else(|| "all feeds".to_owned(), |feed| format!("feed {feed}")),
                self.from_s,
                self.to_s,
                self.agreement
            ),
            format!(
                "  {} matched; {} missed by the tool ({}), {} missed by the person ({}); p = {}",
                self.matched,
                self.missed_by_tool,
                percent(self.missed_by_tool_share),
                self.missed_by_person,
                percent(self.missed_by_person_share),
                self.p
            ),
            format!(
                "  taps come {} s after mid-glass, window {} s; {} not judged (unseen time, ends)",
                self.lag_s, self.window_s, self.left_out
            ),
        ];
        for (what, times) in [
            ("taps without a drop", &self.taps_without_drop_s),
            ("drops without a tap", &self.drops_without_tap_s),
        ] {
            if !times.is_empty() {
                let times: Vec<String> = times.iter().map(f64::to_string).collect();
                lines.push(format!("  {what}: {} s", times.join(", ")));
            }
        }
        lines
    }
}

/// Gathers what a hand check needs.
#[derive(Debug)]
pub(super) struct Checking {
    feed: Option<FeedNumber>,
    from_secs: f64,
    ended_secs: Option<f64>,
    taps: Vec<f64>,
    drops: Vec<f64>,
    blind: Vec<Span>,
    /// What stands, and whether that is still so.
    state: Arc<HandCheckState>,
    is_stale: bool,
    /// Whether its end has been told.
    is_told: bool,
}

impl Checking {
    pub fn new(feed: Option<FeedNumber>, from_secs: f64) -> Self {
        let nothing = Span {
            from_secs,
            to_secs: from_secs,
        };
        Self {
            feed,
            from_secs,
            ended_secs: None,
            taps: Vec::new(),
            drops: Vec::new(),
            blind: Vec::new(),
            state: Arc::new(HandCheckState {
                feed,
                from_secs,
                ended_secs: None,
                taps: 0,
                last_tap_secs: None,
                result: rate::hand_check(&[], &[], nothing, &[]),
                is_settled: false,
            }),
            is_stale: false,
            is_told: false,
        }
    }

    /// Whether the person has ended it.
    pub fn has_ended(&self) -> bool {
        self.ended_secs.is_some()
    }

    /// Whether its end has been told.
    pub fn is_told(&self) -> bool {
        self.is_told
    }

    /// A tap; none when the check does not take it.
    pub fn tap(&mut self, at_secs: f64) -> Option<Event> {
        if self.has_ended()
            || !at_secs.is_finite()
            || at_secs < self.from_secs
            || self.taps.len() >= MOST_TAPS
        {
            return None;
        }
        self.taps.push(at_secs);
        self.is_stale = true;
        Some(Event::Tap {
            at_secs,
            feed: self.feed,
            check_from_secs: self.from_secs,
        })
    }

    /// The person has finished.
    pub fn end(&mut self, at_secs: f64) {
        self.ended_secs.get_or_insert(at_secs.max(self.from_secs));
        self.is_stale = true;
    }

    /// Takes what the instrument told.
    pub fn take(&mut self, events: &[Event]) {
        if self.is_told || self.drops.len() + self.blind.len() >= MOST_SEEN {
            return;
        }
        for event in events {
            match event {
                Event::Bead { feed, bead }
                    if bead.kind == BeadKind::Oil && self.is_watched(Some(*feed)) =>
                {
                    self.drops.push(bead.at_secs);
                }
                Event::Blind {
                    feed,
                    from_secs,
                    to_secs,
                    ..
                } if self.is_watched(*feed) => self.blind.push(Span {
                    from_secs: *from_secs,
                    to_secs: *to_secs,
                }),
                _ => continue,
            }
            self.is_stale = true;
        }
    }

    fn is_watched(&self, feed: Option<FeedNumber>) -> bool {
        self.feed.is_none() || feed.is_none() || self.feed == feed
    }

    /// Whether its end is to be told now: all its drops are counted.
    pub fn is_due(&self, now_secs: f64) -> bool {
        !self.is_told
            && self
                .ended_secs
                .is_some_and(|ended| now_secs >= ended + SETTLE_SECS)
    }

    /// The end of a check, to be told once; nothing more is taken.
    pub fn over(&mut self, now_secs: f64, open: &[(FeedNumber, Span)]) -> Event {
        self.end(now_secs);
        let event = self.so_far(now_secs, open);
        self.is_told = true;
        self.is_stale = true;
        event
    }

    /// What it comes to if it ended now, without ending it.
    pub fn so_far(&self, now_secs: f64, open: &[(FeedNumber, Span)]) -> Event {
        let to_secs = self.ended_secs.unwrap_or(now_secs);
        Event::HandCheck {
            at_secs: now_secs,
            check: Arc::new(HandCheckOver {
                feed: self.feed,
                result: self.result(to_secs, open),
            }),
        }
    }

    fn result(&self, to_secs: f64, open: &[(FeedNumber, Span)]) -> HandCheck {
        let watched = Span {
            from_secs: self.from_secs,
            to_secs,
        };
        let mut blind = self.blind.clone();
        let open = open.iter().filter(|(feed, _)| self.is_watched(Some(*feed)));
        blind.extend(open.map(|(_, span)| *span));
        rate::hand_check(&self.taps, &self.drops, watched, &joined(blind))
    }

    /// How it stands now. Reckoned anew only when there is news, or time has passed.
    pub fn state(&mut self, now_secs: f64, open: &[(FeedNumber, Span)]) -> Arc<HandCheckState> {
        let to_secs = if self.is_told {
            self.ended_secs.unwrap_or(now_secs)
        } else {
            let judged = now_secs - SETTLE_SECS;
            self.ended_secs.map_or(judged, |ended| ended.min(judged))
        }
        .max(self.from_secs);
        let moved = to_secs - self.state.result.watched.to_secs;
        if self.is_stale || moved >= 1.0 {
            self.is_stale = false;
            self.state = Arc::new(HandCheckState {
                feed: self.feed,
                from_secs: self.from_secs,
                ended_secs: self.ended_secs,
                taps: self.taps.len(),
                last_tap_secs: self.taps.last().copied(),
                result: self.result(to_secs, open),
                is_settled: self.is_told,
            });
        }
        Arc::clone(&self.state)
    }
}

/// Spells in order, those that overlap joined: of all feeds, and open ones beside closed ones.
fn joined(mut spells: Vec<Span>) -> Vec<Span> {
    spells.sort_by(|a, b| a.from_secs.total_cmp(&b.from_secs));
    let mut joined: Vec<Span> = Vec::with_capacity(spells.len());
    for spell in spells {
        match joined.last_mut() {
            Some(last) if spell.from_secs <= last.to_secs => {
                last.to_secs = last.to_secs.max(spell.to_secs);
            }
            _ => joined.push(spell),
        }
    }
    joined
}

/// The blind spell among an open one's events, with its feed.
pub(super) fn open_span(event: &Event) -> Option<(FeedNumber, Span)> {
    match event {
        Event::Blind {
            feed: Some(feed),
            from_secs,
            to_secs,
            why: _,
        } => Some((
            *feed,
            Span {
                from_secs: *from_secs,
                to_secs: *to_secs,
            },
        )),
        _ => None,
    }
}
