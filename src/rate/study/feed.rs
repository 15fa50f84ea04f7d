//! A feed of known rate and scatter, and an eye on its glass that misses some beads and is blind
//! for some of the time. It draws times and judges nothing.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, StandardNormal};

use crate::base::Span;
use crate::rate::{DropRecord, SCATTER_CENTRE, SCATTER_MAX, SCATTER_MIN, SCATTER_SPREAD};

/// How the eye on the glass fails.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Faults {
    /// The chance that a bead is missed, 0 to 1.
    pub missed_share: f64,
    /// The share of time that is blind, 0 to 1.
    pub blind_share: f64,
    /// Mean length of a blind spell, seconds; lengths are spread evenly over half to one and a
    /// half of it.
    pub spell_secs: f64,
}

impl Faults {
    /// A perfect eye.
    pub const NONE: Self = Self {
        missed_share: 0.0,
        blind_share: 0.0,
        spell_secs: 0.0,
    };

    /// An eye that misses a share of the beads.
    #[must_use]
    pub fn missing(missed_share: f64) -> Self {
        Self {
            missed_share,
            ..Self::NONE
        }
    }

    /// An eye that is blind for a share of the time, in spells of a mean length.
    #[must_use]
    pub fn blind(blind_share: f64, spell_secs: f64) -> Self {
        Self {
            blind_share,
            spell_secs,
            ..Self::NONE
        }
    }
}

/// Scatter of simulated feeds (standard deviation over mean of the intervals).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ScatterOf {
    /// Always this; 1 is a Poisson process.
    Fixed(f64),
    /// Drawn anew for each feed from the prior of the model.
    Prior,
}

impl ScatterOf {
    /// The scatter of the next feed.
    pub fn draw(self, rng: &mut ChaCha8Rng) -> f64 {
        match self {
            Self::Fixed(scatter) => scatter,
            Self::Prior => loop {
                let z: f64 = StandardNormal.sample(rng);
                let scatter = SCATTER_CENTRE * (SCATTER_SPREAD * z).exp();
                if (SCATTER_MIN..=SCATTER_MAX).contains(&scatter) {
                    return scatter;
                }
            },
        }
    }
}

/// When a simulated watch ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Until {
    /// With this drop seen.
    Drops(usize),
    /// At this time, seconds, whatever happens then.
    Secs(f64),
}

/// A feed with gamma intervals.
#[derive(Clone, Copy, Debug)]
pub struct SimulatedFeed {
    interval: Gamma<f64>,
    first: Gamma<f64>,
}

impl SimulatedFeed {
    /// A feed of a mean interval, seconds, and a scatter; none unless both are positive numbers.
    #[must_use]
    pub fn new(mean_secs: f64, scatter: f64) -> Option<Self> {
        let shape = 1.0 / (scatter * scatter);
        Some(Self {
            interval: Gamma::new(shape, mean_secs / shape).ok()?,
            first: Gamma::new(shape + 1.0, mean_secs / shape).ok()?,
        })
    }

    /// One interval, seconds.
    pub fn interval_secs(&self, rng: &mut ChaCha8Rng) -> f64 {
        self.interval.sample(rng)
    }

    /// One interval as an eye that misses beads sees it, seconds.
    pub fn seen_interval_secs(&self, missed_share: f64, rng: &mut ChaCha8Rng) -> f64 {
        let mut secs = self.interval_secs(rng);
        while rng.random::<f64>() < missed_share {
            secs += self.interval_secs(rng);
        }
        secs
    }

    /// Seconds since the last drop at a moment at random. Such a moment falls into an interval with
    /// a chance in proportion to its length, and anywhere within it: a length-biased gamma interval
    /// of shape k is a gamma of shape k + 1.
    pub fn age_secs(&self, rng: &mut ChaCha8Rng) -> f64 {
        self.first.sample(rng) * rng.random::<f64>()
    }

    /// An interval cut at a moment at random: the seconds of it before and after.
    pub fn cut_interval_secs(&self, rng: &mut ChaCha8Rng) -> (f64, f64) {
        let whole = self.first.sample(rng);
        let before = whole * rng.random::<f64>();
        (before, whole - before)
    }

    /// Watches the feed from a moment at random.
    pub fn watch(&self, until: Until, faults: Faults, rng: &mut ChaCha8Rng) -> DropRecord {
        let mut at = self.age_secs(rng);
        let mut spells = Spells::new(faults, rng);
        let mut record = DropRecord::default();
        loop {
            let end_secs = match until {
                Until::Drops(_) => at,
                Until::Secs(secs) => secs,
            };
            while spells.next.to_secs < at.min(end_secs) {
                record.blind.push(spells.next);
                spells.advance(rng);
            }
            if at > end_secs {
                if spells.next.from_secs < end_secs {
                    record.blind.push(spells.next);
                }
                record.now_secs = end_secs;
                return record;
            }
            if spells.next.from_secs > at && rng.random::<f64>() >= faults.missed_share {
                record.drops_secs.push(at);
                if matches!(until, Until::Drops(drops) if record.drops_secs.len() >= drops) {
                    record.now_secs = at;
                    return record;
                }
            }
            at += self.interval_secs(rng);
        }
    }
}

/// The part of a watch up to its drop of this number, as if it had ended with that drop.
#[must_use]
pub fn first_drops(record: &DropRecord, drops: usize) -> DropRecord {
    let last = record.drops_secs.get(drops.saturating_sub(1));
    let end_secs = last.copied().unwrap_or(record.now_secs);
    record.between(record.from_secs, end_secs)
}

/// Blind spells, one after the other, from a moment at random.
struct Spells {
    next: Span,
    faults: Faults,
}

impl Spells {
    fn new(faults: Faults, rng: &mut ChaCha8Rng) -> Self {
        let next = Span {
            from_secs: 0.0,
            to_secs: 0.0,
        };
        let mut spells = Self { next, faults };
        spells.advance(rng);
        spells
    }

    fn advance(&mut self, rng: &mut ChaCha8Rng) {
        let Faults {
            blind_share,
            spell_secs,
            ..
        } = self.faults;
        let from_secs = if blind_share > 0.0 && spell_secs > 0.0 {
            let seen_secs = spell_secs * (1.0 - blind_share) / blind_share;
            self.next.to_secs - seen_secs * (1.0 - rng.random::<f64>()).ln()
        } else {
            f64::INFINITY
        };
        self.next = Span {
            from_secs,
            to_secs: from_secs + spell_secs * (0.5 + rng.random::<f64>()),
        };
    }
}
