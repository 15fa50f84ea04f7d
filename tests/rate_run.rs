//! A whole run looked at: do the limits of the mean rate hold, is a steady feed found steady, are a
//! stop, a step, a drift and a blind spell told rightly, and do shares and Allan deviations come to
//! what they must? Simulated feeds, fixed seeds.

#![expect(clippy::unwrap_used, reason = "a test may fail by panicking")]

use beadtally::base::{Band, Span};
use beadtally::rate::study::{Faults, SimulatedFeed, Until};
use beadtally::rate::{
    DropRecord, Standing, Steady, TimeShares, allan_of_rate, mean_rate, retrace, steadiness,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

const MEAN_SECS: f64 = 24.0;

fn hour(scatter: f64, faults: Faults, rng: &mut ChaCha8Rng) -> DropRecord {
    let feed = SimulatedFeed::new(MEAN_SECS, scatter).unwrap();
    feed.watch(Until::Secs(3600.0), faults, rng)
}

/// Drops whose rate at each time is given, a minute, with gamma-like scatter.
fn varying(
    rate_at: impl Fn(f64) -> f64,
    to_secs: f64,
    scatter: f64,
    rng: &mut ChaCha8Rng,
) -> Vec<f64> {
    let feed = SimulatedFeed::new(1.0, scatter).unwrap();
    let mut drops = Vec::new();
    let mut at = 5.0;
    while at < to_secs {
        drops.push(at);
        at += feed.interval_secs(rng) * 60.0 / rate_at(at);
    }
    drops
}

fn record(drops: Vec<f64>, to_secs: f64, blind: Vec<Span>) -> DropRecord {
    DropRecord {
        from_secs: 0.0,
        now_secs: to_secs,
        drops_secs: drops,
        blind,
    }
    .cleaned()
}

fn span(from_secs: f64, to_secs: f64) -> Span {
    Span { from_secs, to_secs }
}

/// Nineteen times out of twenty the true rate lies between the limits of the mean: regular and
/// irregular feeds, seen all the time and not, an hour and a shorter run.
#[test]
fn limits_of_the_mean_hold() {
    let runs = 300;
    for (scatter, faults) in [
        (0.05, Faults::NONE),
        (0.15, Faults::NONE),
        (0.30, Faults::NONE),
        (1.0, Faults::NONE),
        (0.15, Faults::blind(0.1, 30.0)),
        (0.5, Faults::blind(0.1, 60.0)),
    ] {
        for secs in [1200.0, 3600.0] {
            let mut rng = ChaCha8Rng::seed_from_u64(31);
            let feed = SimulatedFeed::new(MEAN_SECS, scatter).unwrap();
            let (mut covered, mut scatter_covered, mut count) = (0.0, 0.0, 0.0);
            for _ in 0..runs {
                let record = feed.watch(Until::Secs(secs), faults, &mut rng);
                let mean = mean_rate(&record, 0.95).unwrap();
                let holds = |low: f64, high: f64, truth: f64| {
                    f64::from(u8::from(low <= truth && truth <= high))
                };
                covered += holds(mean.limits.low, mean.limits.high, 60.0 / MEAN_SECS);
                scatter_covered +=
                    holds(mean.scatter_limits.low, mean.scatter_limits.high, scatter);
                count += 1.0;
            }
            let (share, scatter_share) = (covered / count, scatter_covered / count);
            println!("scatter {scatter}, {faults:?}, {secs} s: {share:.3}, {scatter_share:.3}");
            // 95 %, and three standard errors of 300 runs.
            assert!((0.90..=0.995).contains(&share), "{scatter} {secs}: {share}");
            assert!(scatter_share >= 0.88, "{scatter} {secs}: {scatter_share}");
        }
    }
}

/// Intervals that hang together make the mean less sure, and the limits know it.
#[test]
fn limits_of_the_mean_reckon_with_a_wandering_rate() {
    let mut rng = ChaCha8Rng::seed_from_u64(32);
    let share_kept = 0.6_f64;
    let (mut covered, mut inflation) = (0.0, 0.0);
    let runs = 300.0;
    for _ in 0..300 {
        let (mut at, mut off) = (0.0, 0.0);
        let mut drops = vec![0.0];
        while at < 7200.0 {
            let new: f64 = StandardNormal.sample(&mut rng);
            off = share_kept * off + (1.0 - share_kept * share_kept).sqrt() * new;
            // Mean interval 24 s: e^(s x) has mean e^(s²/2).
            at += 24.0 * (0.15 * off - 0.15 * 0.15 / 2.0).exp();
            drops.push(at);
        }
        let mean = mean_rate(&record(drops, at, vec![]), 0.95).unwrap();
        inflation += mean.inflation / runs;
        covered += f64::from(u8::from(mean.limits.low <= 2.5 && 2.5 <= mean.limits.high));
    }
    println!("{:.3} covered, inflation {inflation:.2}", covered / runs);
    // (1 + 0.6) / (1 − 0.6) = 4.
    assert!(inflation > 2.5 && inflation < 5.0, "{inflation}");
    assert!(covered / runs > 0.88, "{covered}");
}

/// A steady hour is called steady nine times out of ten and more.
#[test]
fn a_steady_hour_is_found_steady() {
    let mut rng = ChaCha8Rng::seed_from_u64(33);
    for (scatter, faults) in [
        (0.15, Faults::NONE),
        (0.15, Faults::missing(0.005)),
        (0.15, Faults::blind(0.05, 20.0)),
        (0.05, Faults::NONE),
    ] {
        let mut steady = 0;
        for _ in 0..15 {
            let found = steadiness(&hour(scatter, faults, &mut rng), Band::default(), &[]);
            steady += i32::from(found.verdict.steady == Steady::Yes);
            if found.verdict.steady != Steady::Yes {
                println!("{:?}", found.verdict);
            }
        }
        println!("{scatter} {faults:?}: {steady} of 15");
        assert!(steady >= 13, "{scatter} {faults:?}: {steady}");
    }
}

/// An hour with a blind spell, a step and a stop in it: each is told, in its place, and nothing
/// else.
#[test]
fn a_stop_a_step_and_a_blind_spell_are_told() {
    for seed in 0..6 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let rate = |t: f64| if t < 1500.0 { 2.3 } else { 3.6 };
        let mut drops = varying(rate, 3600.0, 0.12, &mut rng);
        let blind = span(700.0, 790.0);
        drops.retain(|t| !(blind.from_secs..blind.to_secs).contains(t));
        drops.retain(|t| !(2700.0..3000.0).contains(t));
        let last_before = *drops.iter().rfind(|t| **t < 2700.0).unwrap();
        let first_after = *drops.iter().find(|t| **t >= 3000.0).unwrap();
        let record = record(drops, 3600.0, vec![blind]);
        let found = steadiness(&record, Band::default(), &[]);

        assert_eq!(found.stops, [span(last_before, first_after)], "{seed}");
        assert_eq!(found.changes.len(), 1, "{seed}: {:?}", found.changes);
        let change = found.changes[0];
        assert!((change.at_secs - 1500.0).abs() < 90.0, "{seed}: {change:?}");
        assert!(
            (change.before_per_minute - 2.3).abs() < 0.3,
            "{seed}: {change:?}"
        );
        assert!(
            (change.after_per_minute - 3.6).abs() < 0.6,
            "{seed}: {change:?}"
        );
        assert!((found.shares.blind - 90.0 / 3600.0).abs() < 1e-9, "{seed}");
        let stop_share = (first_after - last_before) / 3600.0;
        assert!((found.shares.stopped - stop_share).abs() < 1e-9, "{seed}");
        assert!(
            found.shares.high > 0.3 && found.shares.in_band > 0.3,
            "{:?}",
            found.shares
        );
        let silence = found.longest_silence.unwrap();
        assert_eq!(silence.span, found.stops[0], "{seed}");
        assert_eq!(found.verdict.steady, Steady::No);
        let reasons = &found.verdict.reasons;
        assert!(reasons[0].starts_with("no drop for 5:"), "{reasons:?}");
        assert!(
            reasons[1].contains("the rate changed from about 2."),
            "{reasons:?}"
        );
        // The stop is no interval of the running feed, and the blind spell is not in one either.
        let longest = found.intervals.iter().map(|i| i.secs).fold(0.0, f64::max);
        assert!(longest < 60.0, "{seed}: {longest}");
        assert_eq!(found.intervals.len(), record.drops_secs.len() - 3, "{seed}");
    }
}

/// A drift of a fifth over an hour is found, with limits that hold it; a level feed has none.
#[test]
fn a_drift_is_found_with_its_limits() {
    let (mut told, mut held, mut held_level) = (0, 0, 0);
    for seed in 0..20 {
        let mut rng = ChaCha8Rng::seed_from_u64(100 + seed);
        let drops = varying(|t| 2.5 * (0.9 + 0.2 * t / 3600.0), 3600.0, 0.1, &mut rng);
        let found = steadiness(&record(drops, 3600.0, vec![]), Band::default(), &[]);
        let drift = found.drift.unwrap();
        told += i32::from(drift.trend.p_correlated < 0.01);
        held += i32::from(drift.share_limits.low <= 0.2 && 0.2 <= drift.share_limits.high);
        let level = varying(|_| 2.5, 3600.0, 0.1, &mut rng);
        let level = steadiness(&record(level, 3600.0, vec![]), Band::default(), &[]);
        let limits = level.drift.unwrap().share_limits;
        held_level += i32::from(limits.low <= 0.0 && 0.0 <= limits.high);
    }
    println!("told {told}, held {held}, level held {held_level} of 20");
    assert!(told >= 18 && held >= 16 && held_level >= 16);
}

/// Independent intervals: the Allan deviation of the rate falls as 1 / √(averaging time), from
/// scatter × √(rate / time) (the variance of the count of a renewal process; D. R. Cox, 1962).
#[test]
fn allan_deviation_of_independent_intervals_falls_as_it_must() {
    let mut rng = ChaCha8Rng::seed_from_u64(34);
    let feed = SimulatedFeed::new(MEAN_SECS, 0.15).unwrap();
    let record = feed.watch(Until::Secs(48.0 * 3600.0), Faults::NONE, &mut rng);
    let points = allan_of_rate(&record);
    let times: Vec<f64> = points.iter().map(|p| p.averaging_secs).collect();
    assert_eq!(
        times,
        [60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0]
    );
    for point in points {
        let minutes = point.averaging_secs / 60.0;
        let wanted = 0.15 * (2.5 / minutes).sqrt();
        println!("{point:?}, wanted {wanted:.4}");
        // Interpolation within intervals smooths short times; long ones have few spells.
        let tolerance = if minutes < 4.0 || point.spells < 60.0 {
            0.35
        } else {
            0.15
        };
        assert!(
            (point.deviation_per_minute / wanted - 1.0).abs() < tolerance,
            "{point:?}"
        );
    }
    // Cut by blind spells every ten minutes, the long times have no stretch of their own.
    let cut = DropRecord {
        blind: (1..288)
            .map(|i| span(600.0 * f64::from(i), 600.0 * f64::from(i) + 1.0))
            .collect(),
        ..record
    };
    let longest = allan_of_rate(&cut)
        .iter()
        .map(|p| p.averaging_secs)
        .fold(0.0, f64::max);
    assert!(longest <= 300.0, "{longest}");
    assert!(allan_of_rate(&DropRecord::default()).is_empty());
}

fn sum(shares: &TimeShares) -> f64 {
    let TimeShares {
        in_band,
        low,
        high,
        stopped,
        blind,
        no_reading,
    } = *shares;
    in_band + low + high + stopped + blind + no_reading
}

/// Standings follow one another without a gap or a repeat, whatever the record; nothing panics.
#[test]
fn every_moment_has_one_standing() {
    let mut rng = ChaCha8Rng::seed_from_u64(35);
    for _ in 0..60 {
        let odd = |rng: &mut ChaCha8Rng| match rng.random_range(0..20) {
            0 => f64::NAN,
            1 => f64::INFINITY,
            2 => -1e300,
            _ => rng.random_range(-10.0..2000.0),
        };
        let drops: Vec<f64> = (0..rng.random_range(0..90))
            .map(|_| odd(&mut rng))
            .collect();
        let blind = (0..rng.random_range(0..6))
            .map(|_| span(odd(&mut rng), odd(&mut rng)))
            .collect();
        let record = DropRecord {
            from_secs: rng.random_range(0.0..50.0),
            now_secs: rng.random_range(50.0..2000.0),
            drops_secs: drops,
            blind,
        };
        let marks = [odd(&mut rng), odd(&mut rng)];
        let band = Band {
            low_per_minute: odd(&mut rng),
            high_per_minute: odd(&mut rng),
        };
        let told = retrace(&record, band, &marks);
        assert!(
            (sum(&told.shares()) - 1.0).abs() < 1e-9,
            "{:?}",
            told.shares()
        );
        let clean = record.cleaned();
        let mut at = clean.from_secs;
        for (span, _) in &told.standings {
            assert_eq!(span.from_secs, at);
            assert!(span.to_secs > span.from_secs);
            at = span.to_secs;
        }
        assert_eq!(at, clean.now_secs);
        assert!(told.standings.windows(2).all(|w| w[0].1 != w[1].1));
        let blind: f64 = clean.blind.iter().map(|s| s.secs()).sum();
        let whole = clean.now_secs - clean.from_secs;
        assert!((told.shares().blind - blind / whole).abs() < 1e-9);
        let _ = steadiness(&record, band, &marks);
    }
    assert_eq!(
        sum(&retrace(&DropRecord::default(), Band::default(), &[]).shares()),
        0.0
    );
}

/// A mark starts a new reading: the other rate after it is no change that nobody announced.
#[test]
fn a_mark_is_no_change() {
    let mut rng = ChaCha8Rng::seed_from_u64(36);
    let drops = varying(
        |t| if t < 1800.0 { 2.5 } else { 5.0 },
        3600.0,
        0.1,
        &mut rng,
    );
    let record = record(drops, 3600.0, vec![]);
    assert_eq!(retrace(&record, Band::default(), &[]).changes.len(), 1);
    let told = retrace(&record, Band::default(), &[1800.0]);
    assert_eq!(told.changes, []);
    let after = told.standings.iter().find(|(s, _)| s.from_secs >= 1800.0);
    assert_eq!(after.unwrap().1, Standing::NoReading);
    let shares = told.shares();
    assert!(shares.in_band > 0.45 && shares.high > 0.45, "{shares:?}");
}

#[test]
fn too_little_is_said_to_be_too_little() {
    let none = steadiness(&DropRecord::default(), Band::default(), &[]);
    assert_eq!(none.verdict.steady, Steady::CannotTell);
    assert!(none.mean.is_none() && none.drift.is_none() && none.chart.is_none());
    let few = record((0..6).map(|i| 24.0 * f64::from(i)).collect(), 130.0, vec![]);
    let few = steadiness(&few, Band::default(), &[]);
    assert_eq!(few.verdict.steady, Steady::CannotTell);
    assert_eq!(
        few.verdict.reasons,
        ["5 whole intervals are too few; 10 are wanted"]
    );
    let mut rng = ChaCha8Rng::seed_from_u64(37);
    let half_blind = hour(0.15, Faults::blind(0.6, 120.0), &mut rng);
    let half_blind = steadiness(&half_blind, Band::default(), &[]);
    assert_ne!(half_blind.verdict.steady, Steady::Yes);
    let last = half_blind.verdict.reasons.last().unwrap();
    assert!(
        last.starts_with("the glass could not be seen for"),
        "{last}"
    );
}
