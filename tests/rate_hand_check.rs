//! A hand check: are simulated persons and tools told apart, or together, as claimed? Fixed seeds.

#![expect(clippy::unwrap_used, reason = "a test may fail by panicking")]

use beadtally::base::Span;
use beadtally::rate::study::{Faults, SimulatedFeed, Until};
use beadtally::rate::{Agreement, HandCheck, Outcome, hand_check};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A person who watches beads come: late by so much, scattering by so much (0.07 s is what 4304
/// timings by hand gave, "Manual timing in physics experiments", American Journal of Physics 87
/// (2019) 110; twice that for a bead's soft edge), overlooking this share.
#[derive(Clone, Copy)]
struct Person {
    lag_secs: f64,
    scatter_secs: f64,
    overlooks: f64,
}

const WATCHFUL: Person = Person {
    lag_secs: 0.3,
    scatter_secs: 0.14,
    overlooks: 0.01,
};

/// True drops, what a tool that misses some counts, and what a person taps.
fn watched(
    rng: &mut ChaCha8Rng,
    drops: usize,
    interval_secs: f64,
    person: Person,
    tool_misses: f64,
) -> (Vec<f64>, Vec<f64>, Span) {
    let feed = SimulatedFeed::new(interval_secs, 0.2).unwrap();
    let truth = feed.watch(Until::Drops(drops), Faults::NONE, rng);
    let counted = truth
        .drops_secs
        .iter()
        .copied()
        .filter(|_| rng.random::<f64>() >= tool_misses)
        .collect();
    let taps = truth
        .drops_secs
        .iter()
        .filter_map(|at| {
            let off: f64 = StandardNormal.sample(rng);
            let tap = at + person.lag_secs + person.scatter_secs * off;
            (rng.random::<f64>() >= person.overlooks).then_some(tap)
        })
        .collect();
    let span = Span {
        from_secs: truth.from_secs,
        to_secs: truth.now_secs + 5.0,
    };
    (taps, counted, span)
}

/// Checks simulated for each share.
const CHECKS: usize = 400;

/// How often each verdict falls in so many checks.
fn verdicts(drops: usize, interval_secs: f64, person: Person, tool_misses: f64) -> [f64; 3] {
    let mut rng = ChaCha8Rng::seed_from_u64(17);
    let mut shares = [0.0; 3];
    for _ in 0..CHECKS {
        let (taps, counted, span) = watched(&mut rng, drops, interval_secs, person, tool_misses);
        let check = hand_check(&taps, &counted, span, &[]);
        let index = match check.agreement {
            Agreement::Agree => 0,
            Agreement::TooFew => 1,
            Agreement::ToolLess | Agreement::ToolMore | Agreement::Disagree => 2,
        };
        shares[index] += 1.0 / CHECKS as f64;
    }
    println!("{drops} drops, tool misses {tool_misses}: agree, few, differ {shares:.3?}");
    shares
}

#[test]
fn a_sound_tool_and_a_watchful_person_are_seldom_told_apart() {
    for interval_secs in [24.0, 6.0, 2.0] {
        for drops in [10, 30, 60, 120] {
            let [agree, few, differ] = verdicts(drops, interval_secs, WATCHFUL, 0.005);
            assert!(differ <= 0.05, "{interval_secs} {drops}: {differ}");
            match drops {
                10 => assert!(few > 0.95, "ten are too few: {few}"),
                // One overlooked of thirty is too few to tell already.
                30 => assert!(agree > 0.5 && agree + few > 0.95),
                _ => assert!(agree > 0.9, "{interval_secs} {drops}: {agree}"),
            }
        }
    }
}

#[test]
fn a_tool_that_misses_a_fifth_is_found_out() {
    assert!(verdicts(30, 24.0, WATCHFUL, 0.2)[0] < 0.01);
    assert!(verdicts(60, 24.0, WATCHFUL, 0.2)[2] > 0.95);
    assert!(verdicts(120, 24.0, WATCHFUL, 0.1)[2] > 0.8);
}

#[test]
fn who_taps_without_looking_agrees_with_nothing() {
    let mut rng = ChaCha8Rng::seed_from_u64(23);
    let mut agree = 0;
    for _ in 0..200 {
        let (_, counted, span) = watched(&mut rng, 40, 24.0, WATCHFUL, 0.0);
        let taps: Vec<f64> = (0..40)
            .map(|_| rng.random_range(span.from_secs..span.to_secs))
            .collect();
        let check = hand_check(&taps, &counted, span, &[]);
        agree += usize::from(check.agreement == Agreement::Agree);
    }
    assert_eq!(agree, 0);
}

#[test]
fn the_lag_is_found_however_a_person_taps() {
    let mut rng = ChaCha8Rng::seed_from_u64(29);
    for lag_secs in [-0.8, -0.3, 0.1, 0.5, 1.2] {
        let person = Person {
            lag_secs,
            ..WATCHFUL
        };
        for interval_secs in [24.0, 5.0] {
            let (taps, counted, span) = watched(&mut rng, 40, interval_secs, person, 0.0);
            let check = hand_check(&taps, &counted, span, &[]);
            assert!(
                (check.lag_secs - lag_secs).abs() < 0.1,
                "{lag_secs}: {check:?}"
            );
            let scatter = check.lag_scatter_secs.unwrap();
            assert!((0.08..0.22).contains(&scatter), "{scatter}");
            assert!(check.matched >= 37, "{}", check.matched);
        }
    }
}

fn at(check: &HandCheck, outcome: Outcome) -> Vec<f64> {
    let of = check.compared.iter().filter(|c| c.outcome == outcome);
    of.filter_map(|c| c.tap_secs.or(c.drop_secs)).collect()
}

#[test]
fn unseen_time_and_the_ends_are_left_out() {
    let drops: Vec<f64> = (0..20).map(|n| 10.0 + 20.0 * f64::from(n)).collect();
    let mut taps: Vec<f64> = drops.iter().map(|t| t + 0.2).collect();
    // The tool was blind from 95 to 135 s; the person went on.
    let counted: Vec<f64> = drops
        .iter()
        .copied()
        .filter(|t| !(95.0..135.0).contains(t))
        .collect();
    // The person came at 0 s, sees nothing at 250.2 s, and stopped at 370.1 s, a moment too early.
    taps.retain(|t| (t - 250.2).abs() > 0.01 && *t < 370.1);
    // And tapped once at nothing.
    taps.push(300.0);
    let watched = Span {
        from_secs: 0.0,
        to_secs: 370.1,
    };
    let blind = [Span {
        from_secs: 95.0,
        to_secs: 135.0,
    }];
    let check = hand_check(&taps, &counted, watched, &blind);
    assert_eq!(at(&check, Outcome::MissedByTool), [300.0]);
    assert_eq!(at(&check, Outcome::MissedByPerson), [250.0]);
    assert_eq!(
        at(&check, Outcome::LeftOut),
        [110.2, 130.2, 370.0, 390.0],
        "{check:?}"
    );
    assert_eq!(check.matched, 15);
    assert!((check.seen_secs - 330.1).abs() < 1e-9);
    assert!(check.words().contains("15 matched"));
}

#[test]
fn nothing_at_all_is_too_few() {
    let span = Span {
        from_secs: 0.0,
        to_secs: 0.0,
    };
    let check = hand_check(&[], &[], span, &[]);
    assert_eq!(check.agreement, Agreement::TooFew);
    assert_eq!(check.counts_p, 1.0);
    for words in [
        Agreement::TooFew,
        Agreement::Agree,
        Agreement::ToolLess,
        Agreement::ToolMore,
        Agreement::Disagree,
    ] {
        assert_eq!(Agreement::from_words(words.words()), Some(words));
    }
}
