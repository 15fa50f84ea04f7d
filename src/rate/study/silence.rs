//! What limit of silence makes how many false alarms an hour, and how late a true stop is told:
//! for a feed whose mean interval and scatter are known only from its own drops.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::feed::{Faults, SimulatedFeed, Until};
use crate::rate::special::gamma_upper;
use crate::rate::{Expected, STOPPED_AFTER_INTERVALS, STOPPED_CHANCE};

/// Mean interval of the simulated feeds, seconds: 2.5 drops a minute.
const MEAN_SECS: f64 = 24.0;

/// Hidden drops in one interval that are reckoned with: the chance of more is nothing at a missed
/// share of a few per cent.
const MOST_HIDDEN: i32 = 5;

/// A limit of silence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SilenceSetting {
    /// So many expected intervals.
    Intervals(f64),
    /// As the instrument judges *stopped*.
    Stopped,
    /// Where the posterior's tail falls to this chance.
    Chance(f64),
}

impl SilenceSetting {
    /// The limit, seconds, for what is expected of a feed.
    #[must_use]
    pub fn secs(self, expected: Expected) -> f64 {
        match self {
            Self::Intervals(intervals) => intervals * expected.interval_secs,
            Self::Stopped => expected.stopped_after_secs(STOPPED_AFTER_INTERVALS, STOPPED_CHANCE),
            Self::Chance(chance) => expected.secs_at_chance(chance),
        }
    }

    /// In words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Intervals(intervals) => format!("{intervals:.2} expected intervals"),
            Self::Stopped => "as the instrument judges a stop".to_owned(),
            Self::Chance(chance) => format!("posterior tail at {:.1} %", chance * 100.0),
        }
    }
}

/// What one limit came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SilenceRow {
    /// The limit.
    pub setting: SilenceSetting,
    /// The limit, in true mean intervals: mean over the records.
    pub intervals: f64,
    /// False alarms an hour, at 2.5 drops a minute.
    pub false_per_hour: f64,
    /// Its standard error by the number of records.
    pub false_error: f64,
    /// From a stop at any moment to its being told, seconds: mean.
    pub delay_secs: f64,
    /// The same, in true mean intervals.
    pub delay_intervals: f64,
}

/// All limits for one kind of feed.
#[derive(Clone, Debug, PartialEq)]
pub struct SilenceTable {
    /// Scatter of the intervals.
    pub scatter: f64,
    /// Share of beads missed.
    pub missed_share: f64,
    /// Drops the feed is known by.
    pub drops: usize,
    /// Simulated records.
    pub records: usize,
    /// The limits.
    pub rows: Vec<SilenceRow>,
}

/// The limits of the table.
const SETTINGS: [SilenceSetting; 11] = [
    SilenceSetting::Intervals(1.5),
    SilenceSetting::Intervals(1.75),
    SilenceSetting::Intervals(2.0),
    SilenceSetting::Intervals(2.25),
    SilenceSetting::Intervals(2.5),
    SilenceSetting::Intervals(3.0),
    SilenceSetting::Intervals(4.0),
    SilenceSetting::Chance(0.02),
    SilenceSetting::Chance(0.005),
    SilenceSetting::Chance(0.001),
    SilenceSetting::Stopped,
];

/// The table for feeds of one scatter, known by so many of their drops, with beads missed, before
/// and in the silence. For each of `records` simulated records the chance that the next seen
/// interval passes the limit is exact (gamma tails of one interval, of two, …), so that rare false
/// alarms need no long simulation; the moment of a stop within an interval is drawn.
///
/// None for a scatter or share that makes no sense.
#[must_use]
pub fn silence_table(
    scatter: f64,
    missed_share: f64,
    drops: usize,
    records: usize,
    seed: u64,
) -> Option<SilenceTable> {
    let feed = SimulatedFeed::new(MEAN_SECS, scatter)?;
    if !(0.0..0.5).contains(&missed_share) {
        return None;
    }
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let faults = Faults::missing(missed_share);
    let shape = 1.0 / (scatter * scatter);
    // Seen intervals an hour.
    let an_hour = 3600.0 / MEAN_SECS * (1.0 - missed_share);
    let chance_longer = |secs: f64| -> f64 {
        (0..=MOST_HIDDEN)
            .map(|hidden| {
                let share = (1.0 - missed_share) * missed_share.powi(hidden);
                share * gamma_upper(shape * f64::from(hidden + 1), shape * secs / MEAN_SECS)
            })
            .sum()
    };
    let mut sums = [Sums::default(); SETTINGS.len()];
    let mut count = 0_usize;
    for _ in 0..records {
        let record = feed.watch(Until::Drops(drops), faults, &mut rng);
        let mut age_secs = feed.age_secs(&mut rng);
        while rng.random::<f64>() < missed_share {
            age_secs += feed.interval_secs(&mut rng);
        }
        let Some(expected) = Expected::of(&record) else {
            continue;
        };
        count += 1;
        for (sum, setting) in sums.iter_mut().zip(SETTINGS) {
            let limit_secs = setting.secs(expected);
            let chance = chance_longer(limit_secs);
            sum.limit += limit_secs;
            sum.chance += chance;
            sum.squares += chance * chance;
            sum.delay += (limit_secs - age_secs).max(0.0);
        }
    }
    let n = count.max(1) as f64;
    let rows = sums.iter().zip(SETTINGS).map(|(sum, setting)| {
        let mean = sum.chance / n;
        let variance = (sum.squares / n - mean * mean).max(0.0) / n;
        SilenceRow {
            setting,
            intervals: sum.limit / n / MEAN_SECS,
            false_per_hour: an_hour * mean,
            false_error: an_hour * variance.sqrt(),
            delay_secs: sum.delay / n,
            delay_intervals: sum.delay / n / MEAN_SECS,
        }
    });
    Some(SilenceTable {
        scatter,
        missed_share,
        drops,
        records: count,
        rows: rows.collect(),
    })
}

#[derive(Clone, Copy, Default)]
struct Sums {
    limit: f64,
    chance: f64,
    squares: f64,
    delay: f64,
}
