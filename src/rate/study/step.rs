//! How soon a step of the rate is found and how often one is told that is none: by the cumulative
//! sum when the mean is known, by the same sum when mean and scatter were learned from some drops,
//! and by the look over a whole record as the instrument takes it.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::feed::SimulatedFeed;
use crate::rate::{
    AtRest, Change, ChangeWatch, DropRecord, LEARNED_FROM_DROPS, LEARNED_STEP_LIMIT, MISSED_SHARE,
    NEWEST_DROPS, Posterior, STEP_LIMIT, StepWatch, Way, find_change,
};

/// Mean interval at rest, seconds: 2.5 drops a minute.
const MEAN_SECS: f64 = 24.0;

/// A watch for false steps, seconds: eight hours, a shift.
const WATCH_SECS: f64 = 8.0 * 3600.0;

/// Intervals at rest before a step, for a sum that is neither fresh nor about to tell.
const WARM_UP: usize = 20;

/// Intervals after which a step is given up as not found, and watchers that are tried for one that
/// told nothing before.
const GIVEN_UP: usize = 200;

/// From what a step is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Teller {
    /// The cumulative sum; mean and scatter are known.
    Known {
        /// The limit of the sum.
        limit: f64,
    },
    /// The cumulative sum; mean and scatter were learned from so many drops.
    Learned {
        /// Drops learned from.
        drops: usize,
        /// The limit of the sum.
        limit: f64,
    },
    /// The look over the record alone ([`find_change`]), so many drops after it began.
    Record {
        /// Drops before the step.
        drops: usize,
    },
    /// Both, as the instrument watches ([`ChangeWatch`]), so many drops after a reading began.
    Instrument {
        /// Drops before the step.
        drops: usize,
    },
}

/// A teller and the feed it watches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepCase {
    /// From what a step is told.
    pub teller: Teller,
    /// Scatter of the intervals.
    pub scatter: f64,
    /// Share of beads missed.
    pub missed_share: f64,
}

/// What a teller came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepRow {
    /// The teller and the feed.
    pub case: StepCase,
    /// Steps told in eight hours at an unchanged rate.
    pub false_in_8_h: f64,
    /// Hours simulated for that.
    pub hours: f64,
    /// From a step of −30 % to its being told, seconds: mean.
    pub down_secs: f64,
    /// From a step of +30 %, the same.
    pub up_secs: f64,
    /// Share of steps not told at all, or told the wrong way.
    pub lost_share: f64,
}

impl Teller {
    /// In words.
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Known { limit } => format!("sum over {limit}, mean known"),
            Self::Learned { drops, limit } => {
                format!("sum over {limit}, learned from {drops} drops")
            }
            Self::Record { drops } => format!("look over the record, {drops} drops before"),
            Self::Instrument { drops } => format!("the instrument, {drops} drops before"),
        }
    }

    /// Whether two tellers do the same as long as no step comes.
    fn is_watching_as(self, other: Self) -> bool {
        matches!(
            (self, other),
            (Self::Record { .. }, Self::Record { .. })
                | (Self::Instrument { .. }, Self::Instrument { .. })
        )
    }
}

/// Limits of the sum in the table, beside those in use.
const LIMITS: [f64; 4] = [5.0, 6.0, 7.0, 9.0];

/// Drops known before a step in the table.
const DROPS_BEFORE: [usize; 3] = [10, 20, 60];

/// Steps a watch of eight hours stands for when a table is asked for by one number.
const STEPS_A_WATCH: usize = 10;

/// The table for one scatter and share of missed beads: the sum at several limits with the mean
/// known and with mean and scatter learned from [`LEARNED_FROM_DROPS`] drops, the look over the
/// record alone, and what the instrument does. `steps` simulated steps each way, and a tenth as
/// many watches of eight hours. Empty for a scatter that makes no sense.
#[must_use]
pub fn step_table(scatter: f64, missed_share: f64, steps: usize, seed: u64) -> Vec<StepRow> {
    let mut limits: Vec<f64> = LIMITS
        .into_iter()
        .chain([STEP_LIMIT, LEARNED_STEP_LIMIT])
        .collect();
    limits.sort_by(f64::total_cmp);
    let known = limits.iter().map(|limit| Teller::Known { limit: *limit });
    let learned = limits.iter().map(|limit| Teller::Learned {
        drops: LEARNED_FROM_DROPS,
        limit: *limit,
    });
    let record = DROPS_BEFORE.map(|drops| Teller::Record { drops });
    let instrument = DROPS_BEFORE.map(|drops| Teller::Instrument { drops });
    let watches = steps.div_ceil(STEPS_A_WATCH);
    let mut rows: Vec<StepRow> = Vec::new();
    for teller in known.chain(learned).chain(record).chain(instrument) {
        let case = StepCase {
            teller,
            scatter,
            missed_share,
        };
        // Without a step, how many drops there were before it makes no difference.
        let same = rows
            .last()
            .filter(|row| row.case.teller.is_watching_as(teller))
            .copied();
        let watches = if same.is_some() { 0 } else { watches };
        let Some(mut row) = step_row(case, steps, watches, seed) else {
            return Vec::new();
        };
        if let Some(same) = same {
            (row.false_in_8_h, row.hours) = (same.false_in_8_h, same.hours);
        }
        rows.push(row);
    }
    rows
}

/// The row of one case: `steps` simulated steps each way, and so many watches of eight hours
/// without one. None for a scatter that makes no sense.
#[must_use]
pub fn step_row(case: StepCase, steps: usize, watches: usize, seed: u64) -> Option<StepRow> {
    let feed = SimulatedFeed::new(MEAN_SECS, case.scatter)?;
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let mut told = 0_usize;
    let mut secs = 0.0;
    for _ in 0..watches {
        let mut watcher = Watcher::new(case);
        let end = secs + WATCH_SECS;
        while secs < end {
            let interval = feed.seen_interval_secs(case.missed_share, &mut rng);
            secs += interval;
            told += usize::from(watcher.interval(interval).is_some());
        }
    }
    let mut means = [0.0; 2];
    let mut lost = 0_usize;
    for (mean, (factor, way)) in means.iter_mut().zip([(0.7, Way::Down), (1.3, Way::Up)]) {
        let mut found = 0_usize;
        for _ in 0..steps {
            match delay_secs(&feed, case, factor, &mut rng) {
                Some((delay, told_way)) if told_way == way => {
                    *mean += delay;
                    found += 1;
                }
                _ => lost += 1,
            }
        }
        *mean /= found.max(1) as f64;
    }
    Some(StepRow {
        case,
        false_in_8_h: told as f64 * WATCH_SECS / secs.max(1.0),
        hours: secs / 3600.0,
        down_secs: means[0],
        up_secs: means[1],
        lost_share: lost as f64 / (2 * steps).max(1) as f64,
    })
}

/// From a step to `factor` of the rate, at any moment of an interval, to its being told, seconds,
/// and the way told; none when it is not told at all.
fn delay_secs(
    feed: &SimulatedFeed,
    case: StepCase,
    factor: f64,
    rng: &mut ChaCha8Rng,
) -> Option<(f64, Way)> {
    let before = match case.teller {
        Teller::Known { .. } => WARM_UP,
        Teller::Learned { drops, .. } | Teller::Record { drops } | Teller::Instrument { drops } => {
            drops.saturating_sub(1)
        }
    };
    let mut watcher = fresh_watcher(feed, case, before, rng)?;
    let (elapsed, rest) = feed.cut_interval_secs(rng);
    // From the step to the start of the interval at hand, and the interval as it is seen.
    let mut since_step = -elapsed;
    let mut seen = elapsed + rest / factor;
    for _ in 0..GIVEN_UP {
        while rng.random::<f64>() < case.missed_share {
            seen += feed.interval_secs(rng) / factor;
        }
        if let Some((way, at)) = watcher.interval(seen) {
            return Some(((since_step + at).max(0.0), way));
        }
        since_step += seen;
        seen = feed.interval_secs(rng) / factor;
    }
    None
}

/// A watcher after so many intervals at rest; one that told something in them is not asked.
fn fresh_watcher(
    feed: &SimulatedFeed,
    case: StepCase,
    before: usize,
    rng: &mut ChaCha8Rng,
) -> Option<Watcher> {
    (0..GIVEN_UP).find_map(|_| {
        let mut watcher = Watcher::new(case);
        let told = (0..before).any(|_| {
            let interval = feed.seen_interval_secs(case.missed_share, rng);
            watcher.interval(interval).is_some()
        });
        (!told).then_some(watcher)
    })
}

/// A teller at work, interval after interval.
struct Watcher {
    case: StepCase,
    sums: Option<StepWatch>,
    both: ChangeWatch,
    /// Times of the drops so far, seconds; the newest ones.
    drops: Vec<f64>,
}

impl Watcher {
    fn new(case: StepCase) -> Self {
        let mut watcher = Self {
            case,
            sums: None,
            both: ChangeWatch::default(),
            drops: vec![0.0],
        };
        watcher.begin();
        watcher
    }

    fn begin(&mut self) {
        self.sums = match self.case.teller {
            Teller::Known { limit } => Some(StepWatch::new(
                AtRest {
                    interval_secs: MEAN_SECS,
                    scatter: self.case.scatter,
                    missed_share: MISSED_SHARE,
                },
                limit,
            )),
            _ => None,
        };
    }

    /// Takes an interval; tells the way of a step and after how many seconds of this interval.
    fn interval(&mut self, secs: f64) -> Option<(Way, f64)> {
        if let Some(sums) = &mut self.sums {
            let in_silence = sums.silent_for(secs);
            let told = match in_silence {
                Some(way) => Some((
                    way,
                    sums.told_after_silence_secs().unwrap_or(secs).min(secs),
                )),
                None => sums.drop_after(secs).map(|way| (way, secs)),
            };
            if told.is_some() {
                self.drops = vec![0.0];
                self.begin();
            }
            return told;
        }
        let before = self.drops.last().copied().unwrap_or(0.0);
        let at = before + secs;
        if let Teller::Instrument { .. } = self.case.teller
            && let Some(silent_secs) = self.both.told_after_silence_secs()
            && silent_secs < secs
            && let Some(change) = self.look_at(before + silent_secs)
        {
            self.drops.push(at);
            return Some((way_of(change), silent_secs));
        }
        self.drops.push(at);
        if self.drops.len() > NEWEST_DROPS {
            self.drops.remove(0);
        }
        match self.case.teller {
            Teller::Known { .. } => None,
            Teller::Learned { drops, limit } => {
                if self.drops.len() >= drops {
                    self.sums = self.learned(limit);
                }
                None
            }
            Teller::Record { .. } | Teller::Instrument { .. } => {
                self.look_at(at).map(|change| (way_of(change), secs))
            }
        }
    }

    /// The instrument's look at the record at a time; after a change a new reading starts there.
    fn look_at(&mut self, now_secs: f64) -> Option<Change> {
        let mut record = self.record();
        record.now_secs = now_secs;
        let change = match self.case.teller {
            Teller::Instrument { .. } => self.both.look(&record),
            _ => find_change(&record),
        }?;
        self.both.reset();
        self.drops.retain(|t| *t >= change.at_secs);
        Some(change)
    }

    fn record(&self) -> DropRecord {
        DropRecord {
            from_secs: self.drops.first().copied().unwrap_or(0.0),
            now_secs: self.drops.last().copied().unwrap_or(0.0),
            drops_secs: self.drops.clone(),
            blind: Vec::new(),
        }
    }

    fn learned(&self, limit: f64) -> Option<StepWatch> {
        let posterior = Posterior::of(&self.record())?;
        let at_rest = AtRest {
            interval_secs: 60.0 / posterior.rate_per_minute(0.5),
            scatter: posterior.scatter(0.5),
            missed_share: MISSED_SHARE,
        };
        Some(StepWatch::new(at_rest, limit))
    }
}

fn way_of(change: Change) -> Way {
    if change.after_per_minute > change.before_per_minute {
        Way::Up
    } else {
        Way::Down
    }
}
