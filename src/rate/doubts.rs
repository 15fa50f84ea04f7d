//! Doubts: what the times of the drops alone give as reasons to trust a reading less. Doubts about
//! the picture (shake, light, focus) come from elsewhere.

use super::{Change, DropRecord, Reading, Silence};

/// Under this many drops the limits are so wide that a person should be told (at 15 % scatter,
/// ±20 % is reached with five).
pub const FEW_DROPS: usize = 5;

/// Under this many drops an irregular feed cannot be told from a regular one: by simulation, the
/// limits of a feed with 50 % scatter or none of regularity at all cover at least 90 % only from
/// ten drops on.
pub const REGULARITY_DROPS: usize = 10;

/// Scatter above this is irregular for a sight feed (common practice is steady dripping; Poisson
/// arrivals have scatter 1).
pub const IRREGULAR_SCATTER: f64 = 0.4;

/// Above this share of blind time a reading rests on too little seeing to go unremarked.
pub const BLIND_SHARE: f64 = 0.10;

/// A silence that a running feed reaches once in so many intervals is told: one in fifty, a few
/// times an hour at most.
pub const OVERDUE_CHANCE: f64 = 0.02;

/// A reason to trust a reading less.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Doubt {
    /// Under [`FEW_DROPS`] drops.
    FewDrops {
        /// Drops so far.
        drops: usize,
    },
    /// Under [`REGULARITY_DROPS`] drops: the feed may be irregular and the limits too narrow.
    RegularityUnknown {
        /// Drops so far.
        drops: usize,
    },
    /// Scatter above [`IRREGULAR_SCATTER`].
    Irregular {
        /// Scatter of the intervals.
        scatter: f64,
    },
    /// Blind for more than [`BLIND_SHARE`] of the time.
    Blind {
        /// Share of time, 0 to 1.
        share: f64,
    },
    /// The rate changed within the record: a reading of all of it is of neither.
    Changed(Change),
    /// The next drop is overdue by the feed's own intervals.
    Overdue {
        /// Silence over expected interval.
        intervals: f64,
    },
}

impl Doubt {
    /// A sentence for people, without the full stop.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::FewDrops { drops } => {
                format!("only {drops} drops so far: the limits are wide")
            }
            Self::RegularityUnknown { drops } => format!(
                "{drops} drops are too few to know whether the feed is irregular: \
                 if it is, the limits are too narrow"
            ),
            Self::Irregular { scatter } => format!(
                "irregular feed: its intervals scatter by {:.0} %",
                scatter * 100.0
            ),
            Self::Blind { share } => format!(
                "the glass could not be seen for {:.0} % of the time",
                share * 100.0
            ),
            Self::Changed(change) => change.words(),
            Self::Overdue { intervals } => {
                format!("the next drop is overdue: silent for {intervals:.1} expected intervals")
            }
        }
    }
}

/// The doubts about a reading of a record, and of the silence in it; none without a reading.
#[must_use]
pub fn doubts(
    record: &DropRecord,
    reading: Option<&Reading>,
    silence: &Silence,
    change: Option<Change>,
) -> Vec<Doubt> {
    let mut found = Vec::new();
    if let Some(reading) = reading {
        let drops = reading.drops;
        if drops < FEW_DROPS {
            found.push(Doubt::FewDrops { drops });
        }
        if drops < REGULARITY_DROPS {
            found.push(Doubt::RegularityUnknown { drops });
        }
        if reading.scatter > IRREGULAR_SCATTER {
            found.push(Doubt::Irregular {
                scatter: reading.scatter,
            });
        }
        found.extend(change.map(Doubt::Changed));
        if let (Some(expected), Some(intervals)) = (silence.expected, silence.ratio())
            && expected.chance_longer(silence.secs) < OVERDUE_CHANCE
        {
            found.push(Doubt::Overdue { intervals });
        }
    }
    let share = record.blind_share();
    if share > BLIND_SHARE {
        found.push(Doubt::Blind { share });
    }
    found
}
