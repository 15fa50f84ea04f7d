//! 'Wait, two more drops': how many more drops it takes until the limits of a reading are as
//! narrow as wanted. What is shown while one waits is for the screen.

use super::{DropRecord, Reading, reading};

/// A reading is settled when half the distance between its limits is no more than this share of
/// it. A fifth: the usual band of two to three drops a minute reaches a fifth either side of its
/// middle, so a settled reading at mid band is within the band.
pub const SETTLED_HALF_WIDTH: f64 = 0.20;

/// No more drops than this are foretold: a feed so irregular that it needs more is another matter.
const MOST_DROPS_AHEAD: usize = 20;

/// How far a reading is from settled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Settling {
    /// There is no reading yet; so many more drops make one.
    NoReading {
        /// Drops wanted.
        more_drops: usize,
    },
    /// About so many more drops will settle it, if the feed goes on as it does.
    Wait {
        /// Drops wanted.
        more_drops: usize,
    },
    /// More drops than can be foretold: the feed is too irregular.
    Far,
    /// It is settled.
    Settled,
}

impl Settling {
    /// A sentence for people, without the full stop.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::NoReading { more_drops } => {
                format!("no reading yet: wait, {}", more_words(more_drops))
            }
            Self::Wait { more_drops } => format!("wait, {}", more_words(more_drops)),
            Self::Far => format!(
                "wait, more than {MOST_DROPS_AHEAD} more drops: the feed is too irregular for \
                 narrow limits"
            ),
            Self::Settled => "settled".to_owned(),
        }
    }
}

/// `two more drops`, `one more drop`; digits over ten.
fn more_words(count: usize) -> String {
    const NUMBERS: [&str; 11] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    ];
    let number = NUMBERS
        .get(count)
        .map_or_else(|| count.to_string(), |word| (*word).to_owned());
    let noun = if count == 1 { "drop" } else { "drops" };
    format!("{number} more {noun}")
}

/// Half the distance of the limits of a reading, as a share of it.
fn half_width(reading: &Reading) -> f64 {
    (reading.high - reading.low) / 2.0 / reading.drops_per_minute
}

/// How far the reading of a record is from limits of ± `wanted_half_width` (a share of the
/// reading, for example [`SETTLED_HALF_WIDTH`]).
///
/// Foretold by adding drops at the feed's own mean interval, each off by the feed's own scatter
/// alternately one way and the other, and reading again. It takes a fraction of a millisecond for
/// each drop ahead; ask for it when a drop has come, not for every picture.
///
/// ```
/// use beadtally::rate::{DropRecord, SETTLED_HALF_WIDTH, Settling, settling};
/// let record = DropRecord {
///     from_secs: 0.0,
///     now_secs: 60.0,
///     drops_secs: vec![10.0, 34.0, 57.0],
///     blind: vec![],
/// };
/// let found = settling(&record, SETTLED_HALF_WIDTH);
/// assert!(matches!(found, Settling::Wait { more_drops: 1..=3 }), "{found:?}");
/// ```
#[must_use]
pub fn settling(record: &DropRecord, wanted_half_width: f64) -> Settling {
    let mut record = record.before_silence();
    let Some(now) = reading(&record) else {
        let more_drops = 2_usize.saturating_sub(record.drops_secs.len()).max(1);
        return Settling::NoReading { more_drops };
    };
    if half_width(&now) <= wanted_half_width {
        return Settling::Settled;
    }
    let interval_secs = 60.0 / now.drops_per_minute;
    let mut way = 1.0;
    for more_drops in 1..=MOST_DROPS_AHEAD {
        // A gamma interval off by one scatter; never under a tenth.
        let secs = interval_secs * (1.0 + way * now.scatter).max(0.1);
        way = -way;
        let at = record.now_secs + secs;
        record.drops_secs.push(at);
        record.now_secs = at;
        if reading(&record).is_some_and(|then| half_width(&then) <= wanted_half_width) {
            return Settling::Wait { more_drops };
        }
    }
    Settling::Far
}
