//! A hand check: a person's taps against the counted drops, how many each missed, and whether the
//! two agree within what chance allows. Laying taps to drops is `taps`'; keeping them is the run's.

use crate::base::Span;

use super::taps::{Pairing, pair_taps};
use super::{Limits, binomial_at_least, mcnemar_exact, share_limits};

/// Under this p the two differ (common practice).
pub const DIFFER_P: f64 = 0.05;

/// Share of beads that a watchful person overlooks or taps twice without anything being wrong:
/// what the eye and the finger are allowed (from memory: lapses of some per cent in watching).
pub const LAPSE_SHARE: f64 = 0.05;

/// Fewer beads than this, both together, tell nothing: a person's first taps are still finding their
/// time.
pub const FEWEST_BEADS: u64 = 10;

/// The two agree only when the 95 % upper limit of the share that either alone saw is below this:
/// with every bead seen by both it takes twenty-three of them.
pub const TELLING_SHARE: f64 = 0.15;

/// What became of a tap or a drop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Tapped and counted.
    Matched,
    /// A tap without a drop: missed by the tool, or the person was wrong.
    MissedByTool,
    /// A drop without a tap: missed by the person, or the tool was wrong.
    MissedByPerson,
    /// Not judged: its partner would lie in unseen time or outside the check.
    LeftOut,
}

impl Outcome {
    /// The words that files use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Matched => "matched",
            Self::MissedByTool => "missed by tool",
            Self::MissedByPerson => "missed by person",
            Self::LeftOut => "left out",
        }
    }
}

/// A tap, a drop, or both as a pair, in order of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// When the person tapped, source time, seconds.
    pub tap_secs: Option<f64>,
    /// When the drop passed mid-glass, source time, seconds.
    pub drop_secs: Option<f64>,
    /// What became of it.
    pub outcome: Outcome,
}

/// Whether the two agree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Agreement {
    /// Too few beads to tell.
    TooFew,
    /// They agree within what chance allows.
    Agree,
    /// The tool counted less than the person by more than chance allows.
    ToolLess,
    /// The tool counted more than the person by more than chance allows.
    ToolMore,
    /// The counts do not clearly differ, but they are not of the same beads: more was seen by one
    /// alone than chance and lapses allow.
    Disagree,
}

impl Agreement {
    /// The words that files use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::TooFew => "too few to tell",
            Self::Agree => "agree within chance",
            Self::ToolLess => "the tool counts less",
            Self::ToolMore => "the tool counts more",
            Self::Disagree => "not the same beads",
        }
    }

    /// The agreement of those words.
    #[must_use]
    pub fn from_words(words: &str) -> Option<Self> {
        [
            Self::TooFew,
            Self::Agree,
            Self::ToolLess,
            Self::ToolMore,
            Self::Disagree,
        ]
        .into_iter()
        .find(|agreement| agreement.words() == words)
    }
}

/// A hand check as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct HandCheck {
    /// From when to when the two were compared, source time, seconds.
    pub watched: Span,
    /// Seen time in it, seconds.
    pub seen_secs: f64,
    /// Beads that were tapped and counted.
    pub matched: u64,
    /// Taps without a drop.
    pub missed_by_tool: u64,
    /// Drops without a tap.
    pub missed_by_person: u64,
    /// Taps and drops not judged: beside unseen time or the ends of the check.
    pub left_out: u64,
    /// How late the person taps, seconds after mid-glass (below 0: before).
    pub lag_secs: f64,
    /// How much that scatters, seconds; none from too few taps.
    pub lag_scatter_secs: Option<f64>,
    /// A tap was laid to a drop when it came within this of the lag, seconds.
    pub window_secs: f64,
    /// The p of a difference of counts as large by chance (exact McNemar test).
    pub counts_p: f64,
    /// Of the beads tapped, the share that the tool missed: 95 % limits, 0 to 1.
    pub tool_missed: Limits,
    /// Of the drops counted, the share that the person missed: 95 % limits, 0 to 1.
    pub person_missed: Limits,
    /// Whether the two agree.
    pub agreement: Agreement,
    /// Every tap and drop, in order of time.
    pub compared: Vec<Compared>,
}

impl HandCheck {
    /// One or two sentences for people.
    #[must_use]
    pub fn words(&self) -> String {
        let (matched, tool, person) = (self.matched, self.missed_by_tool, self.missed_by_person);
        let counts =
            format!("{matched} matched, {tool} missed by the tool, {person} missed by the person");
        let verdict = match self.agreement {
            Agreement::TooFew => format!(
                "too few to tell: the tool may still miss up to {:.0} % of the beads, the person \
                 up to {:.0} %",
                100.0 * self.tool_missed.high,
                100.0 * self.person_missed.high
            ),
            Agreement::Agree => "the two agree within what chance allows".to_owned(),
            Agreement::ToolLess => format!(
                "the tool counts less than the person, by more than chance allows (p = {:.2e})",
                self.counts_p
            ),
            Agreement::ToolMore => format!(
                "the tool counts more than the person, by more than chance allows (p = {:.2e})",
                self.counts_p
            ),
            Agreement::Disagree => "they are not of the same beads: more were seen by one alone \
                 than chance and lapses allow"
                .to_owned(),
        };
        format!("{counts}: {verdict}")
    }
}

/// Lays a person's taps to the counted drops and judges whether the two agree.
///
/// `taps_secs` and `drops_secs` are source times, seconds, in any order; `watched` is the stretch
/// in which both were at work (while a check goes on its end is the time up to which every drop
/// has been counted); `blind` are the spells in which the tool could not see. A tap or drop whose
/// partner would lie outside `watched` or in a blind spell is left out, not charged to anybody.
///
/// The counts differ when an exact McNemar test says so; they are not of the same beads when more
/// than [`LAPSE_SHARE`] allows were seen by one alone (exact binomial); they agree when neither is so and enough
/// beads were compared to exclude a missed share of [`TELLING_SHARE`].
///
/// ```
/// use beadtally::base::Span;
/// use beadtally::rate::{Agreement, hand_check};
/// let drops: Vec<f64> = (0..30).map(|n| 10.0 + 24.0 * f64::from(n)).collect();
/// let taps: Vec<f64> = drops.iter().map(|t| t + 0.2).collect();
/// let watched = Span { from_secs: 0.0, to_secs: 720.0 };
/// let check = hand_check(&taps, &drops, watched, &[]);
/// assert_eq!((check.matched, check.missed_by_tool, check.missed_by_person), (30, 0, 0));
/// assert_eq!(check.agreement, Agreement::Agree);
/// ```
#[must_use]
pub fn hand_check(
    taps_secs: &[f64],
    drops_secs: &[f64],
    watched: Span,
    blind: &[Span],
) -> HandCheck {
    let pairing = pair_taps(taps_secs, drops_secs);
    let (lag, window) = (pairing.lag_secs, pairing.window_secs);
    let is_seen = |from: f64, to: f64| {
        from >= watched.from_secs
            && to <= watched.to_secs
            && !blind.iter().any(|s| s.from_secs < to && s.to_secs > from)
    };
    let alone = |from: f64, to: f64, missed: Outcome| {
        if is_seen(from, to) {
            missed
        } else {
            Outcome::LeftOut
        }
    };
    let compared = laid_out(
        &pairing,
        // The drop of this tap would be in this stretch; that of this drop, its tap.
        |tap| {
            let (from, to) = (tap - lag - window, tap - lag + window);
            alone(from.min(tap), to.max(tap), Outcome::MissedByTool)
        },
        |drop| {
            let (from, to) = (drop + lag - window, drop + lag + window);
            alone(from.min(drop), to.max(drop), Outcome::MissedByPerson)
        },
    );
    let count = |outcome: Outcome| compared.iter().filter(|c| c.outcome == outcome).count() as u64;
    let (matched, by_tool, by_person) = (
        count(Outcome::Matched),
        count(Outcome::MissedByTool),
        count(Outcome::MissedByPerson),
    );
    let blind_secs: f64 = blind
        .iter()
        .map(|s| s.to_secs.min(watched.to_secs) - s.from_secs.max(watched.from_secs))
        .filter(|secs| *secs > 0.0)
        .sum();
    HandCheck {
        watched,
        seen_secs: (watched.secs() - blind_secs).max(0.0),
        matched,
        missed_by_tool: by_tool,
        missed_by_person: by_person,
        left_out: count(Outcome::LeftOut),
        lag_secs: lag,
        lag_scatter_secs: pairing.lag_scatter_secs,
        window_secs: window,
        counts_p: mcnemar_exact(by_tool, by_person),
        tool_missed: share_limits(by_tool, matched + by_tool),
        person_missed: share_limits(by_person, matched + by_person),
        agreement: agreement(matched, by_tool, by_person),
        compared,
    }
}

/// Pairs, taps and drops in order of time.
fn laid_out(
    pairing: &Pairing,
    of_tap: impl Fn(f64) -> Outcome,
    of_drop: impl Fn(f64) -> Outcome,
) -> Vec<Compared> {
    let mut is_alone = vec![true; pairing.drops_secs.len()];
    let mut compared = Vec::with_capacity(pairing.taps_secs.len());
    for (tap, drop) in pairing.taps_secs.iter().zip(&pairing.drop_of_tap) {
        if let Some(drop) = drop {
            is_alone[*drop] = false;
        }
        compared.push(Compared {
            tap_secs: Some(*tap),
            drop_secs: drop.map(|drop| pairing.drops_secs[drop]),
            outcome: drop.map_or_else(|| of_tap(*tap), |_| Outcome::Matched),
        });
    }
    for (drop, _) in pairing
        .drops_secs
        .iter()
        .zip(&is_alone)
        .filter(|(_, alone)| **alone)
    {
        compared.push(Compared {
            tap_secs: None,
            drop_secs: Some(*drop),
            outcome: of_drop(*drop),
        });
    }
    let at = |c: &Compared| c.drop_secs.or(c.tap_secs).unwrap_or_default();
    compared.sort_by(|a, b| at(a).total_cmp(&at(b)));
    compared
}

/// Whether two counts of the same beads agree: so many seen by both, by the person alone (missed
/// by the tool) and by the tool alone (missed by the person).
///
/// ```
/// use beadtally::rate::{Agreement, agreement};
/// assert_eq!(agreement(5, 0, 0), Agreement::TooFew);
/// assert_eq!(agreement(60, 0, 1), Agreement::Agree);
/// assert_eq!(agreement(30, 9, 0), Agreement::ToolLess);
/// assert_eq!(agreement(100, 15, 15), Agreement::Disagree);
/// assert_eq!(agreement(4, 1, 3), Agreement::TooFew);
/// ```
#[must_use]
pub fn agreement(matched: u64, missed_by_tool: u64, missed_by_person: u64) -> Agreement {
    if matched + missed_by_tool + missed_by_person < FEWEST_BEADS {
        return Agreement::TooFew;
    }
    if mcnemar_exact(missed_by_tool, missed_by_person) < DIFFER_P {
        return if missed_by_tool > missed_by_person {
            Agreement::ToolLess
        } else {
            Agreement::ToolMore
        };
    }
    let too_many =
        |missed: u64| binomial_at_least(missed, matched + missed, LAPSE_SHARE) < DIFFER_P / 2.0;
    if too_many(missed_by_tool) || too_many(missed_by_person) {
        return Agreement::Disagree;
    }
    let upper = |missed: u64| share_limits(missed, matched + missed).high;
    if upper(missed_by_tool) < TELLING_SHARE && upper(missed_by_person) < TELLING_SHARE {
        Agreement::Agree
    } else {
        Agreement::TooFew
    }
}
