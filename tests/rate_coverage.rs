//! Do the 95 % limits of a reading cover the true rate as often as they claim? Simulated feeds of
//! known rate and scatter, watched from a moment at random, with missed beads and blind spells;
//! every random number comes from a fixed seed.
//!
//! `BEADTALLY_RECORDS=4000 cargo test --test rate_coverage -- --nocapture` prints the table with
//! more records a cell than the default.

use beadtally::base::Span;
use beadtally::rate::{
    Assumptions, DropRecord, Posterior, SCATTER_CENTRE, SCATTER_MAX, SCATTER_MIN, SCATTER_SPREAD,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, Normal};

/// Mean interval of the simulated feeds, seconds: 2.5 drops a minute.
const MEAN_SECS: f64 = 24.0;

/// How the eye on the glass fails.
#[derive(Clone, Copy, Default)]
struct Faults {
    /// The chance that a bead is missed.
    missed: f64,
    /// The share of time that is blind, in spells of `spell_secs` on average.
    blind: f64,
    spell_secs: f64,
}

/// A record that ends with the `drops`-th drop seen.
fn watch(rng: &mut ChaCha8Rng, scatter: f64, drops: usize, faults: Faults) -> DropRecord {
    let shape = 1.0 / (scatter * scatter);
    let interval = Gamma::new(shape, MEAN_SECS / shape).unwrap();
    // A moment at random falls into an interval with a chance in proportion to its length, and
    // anywhere within it: a length-biased gamma interval is a gamma of shape k + 1.
    let first = Gamma::new(shape + 1.0, MEAN_SECS / shape).unwrap();
    let mut at = first.sample(rng) * rng.random::<f64>();
    let mut next_spell = Spells::new(rng, faults);
    let mut record = DropRecord::default();
    loop {
        while next_spell.0.to_secs < at {
            record.blind.push(next_spell.0);
            next_spell.advance(rng, faults);
        }
        let blind = next_spell.0.from_secs <= at;
        if !blind && rng.random::<f64>() >= faults.missed {
            record.drops_secs.push(at);
            if record.drops_secs.len() == drops {
                record.now_secs = at;
                return record;
            }
        }
        at += interval.sample(rng);
    }
}

struct Spells(Span);

impl Spells {
    fn new(rng: &mut ChaCha8Rng, faults: Faults) -> Self {
        let mut spells = Self(Span {
            from_secs: 0.0,
            to_secs: 0.0,
        });
        spells.advance(rng, faults);
        spells
    }

    fn advance(&mut self, rng: &mut ChaCha8Rng, faults: Faults) {
        if faults.blind == 0.0 {
            self.0 = Span {
                from_secs: f64::INFINITY,
                to_secs: f64::INFINITY,
            };
            return;
        }
        let seen_secs = faults.spell_secs * (1.0 - faults.blind) / faults.blind;
        let from_secs = self.0.to_secs - seen_secs * (1.0 - rng.random::<f64>()).ln();
        let length = faults.spell_secs * (0.5 + rng.random::<f64>());
        self.0 = Span {
            from_secs,
            to_secs: from_secs + length,
        };
    }
}

#[derive(Debug)]
struct Cell {
    coverage: f64,
    /// Half the distance of the limits over the true rate: mean and median, in per cent.
    mean_width: f64,
    median_width: f64,
    below: f64,
}

fn cell(
    seed: u64,
    records: usize,
    faults: Faults,
    drops: usize,
    scatter: impl Fn(&mut ChaCha8Rng) -> f64,
    a: Option<Assumptions>,
) -> Cell {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let truth = 60.0 / MEAN_SECS;
    let mut widths = Vec::new();
    let (mut covered, mut under) = (0, 0);
    for _ in 0..records {
        let c = scatter(&mut rng);
        let record = watch(&mut rng, c, drops, faults);
        let p = match a {
            None => Posterior::of(&record),
            Some(a) => Posterior::under(&record, &a),
        };
        let Some(p) = p else { continue };
        let r = p.reading();
        if r.low <= truth && truth <= r.high {
            covered += 1;
        }
        if r.high < truth {
            under += 1;
        }
        widths.push((r.high - r.low) / 2.0 / r.drops_per_minute * 100.0);
    }
    let n = widths.len() as f64;
    widths.sort_by(f64::total_cmp);
    Cell {
        coverage: f64::from(covered) / n * 100.0,
        mean_width: widths.iter().sum::<f64>() / n,
        median_width: widths[widths.len() / 2],
        below: f64::from(under) / n * 100.0,
    }
}

fn from_prior(rng: &mut ChaCha8Rng) -> f64 {
    let ln = Normal::new(SCATTER_CENTRE.ln(), SCATTER_SPREAD).unwrap();
    loop {
        let c = ln.sample(rng).exp();
        if (SCATTER_MIN..=SCATTER_MAX).contains(&c) {
            return c;
        }
    }
}

#[test]
fn explore() {
    let records: usize = std::env::var("BEADTALLY_RECORDS")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(500);
    for (name, faults) in [
        ("clean", Faults::default()),
        (
            "missed 1%",
            Faults {
                missed: 0.01,
                ..Faults::default()
            },
        ),
        (
            "blind 10% 2s",
            Faults {
                blind: 0.1,
                spell_secs: 2.0,
                ..Faults::default()
            },
        ),
        (
            "blind 10% 8s",
            Faults {
                blind: 0.1,
                spell_secs: 8.0,
                ..Faults::default()
            },
        ),
        (
            "blind 10% 30s",
            Faults {
                blind: 0.1,
                spell_secs: 30.0,
                ..Faults::default()
            },
        ),
    ] {
        println!("--- {name}");
        for c in [0.0, 0.05, 0.15, 0.30, 0.50, 1.0] {
            print!("{c:5}: ");
            for n in [2, 3, 5, 10, 30] {
                let x = if c == 0.0 {
                    cell(1, records, faults, n, from_prior, None)
                } else {
                    cell(1, records, faults, n, |_| c, None)
                };
                print!(
                    " n={n}: {:5.1} ({:4.1}) w {:5.1}/{:5.1} |",
                    x.coverage, x.below, x.median_width, x.mean_width
                );
            }
            println!();
        }
    }
}

#[test]
fn speed() {
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for (n, f) in [
        (3, Faults::default()),
        (30, Faults::default()),
        (64, Faults::default()),
        (
            30,
            Faults {
                blind: 0.1,
                spell_secs: 2.0,
                ..Faults::default()
            },
        ),
    ] {
        let record = watch(&mut rng, 0.15, n, f);
        let _ = Posterior::of(&record);
        let t = std::time::Instant::now();
        for _ in 0..200 {
            std::hint::black_box(Posterior::of(&record));
        }
        println!("{n}: {:?}", t.elapsed() / 200);
    }
}
