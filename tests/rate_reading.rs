//! The reading's own behaviour: what it says of plain records, how it falls in silence, what blind
//! spells and missed beads do to it, and that no input makes it panic.

use beadtally::base::Span;
use beadtally::rate::{
    Doubt, DropRecord, Expected, NEWEST_DROPS, Posterior, Reading, Silence, doubts, find_change,
    gamma_interval_limits, reading,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn record(from_secs: f64, now_secs: f64, drops: &[f64]) -> DropRecord {
    DropRecord {
        from_secs,
        now_secs,
        drops_secs: drops.to_vec(),
        blind: vec![],
    }
}

fn spell(from_secs: f64, to_secs: f64) -> Span {
    Span { from_secs, to_secs }
}

/// Intervals of 24 s, each off by one of a few fixed amounts: scatter about 8 %.
fn steady(drops: usize) -> Vec<f64> {
    let off = [0.0, 2.1, -1.7, 0.8, -2.2, 1.9, -0.6];
    (0..drops)
        .map(|i| 24.0 * i as f64 + off[i % off.len()])
        .collect()
}

#[test]
fn no_reading_before_two_drops() {
    assert_eq!(reading(&record(0.0, 100.0, &[])), None);
    assert_eq!(reading(&record(0.0, 100.0, &[30.0])), None);
    assert!(reading(&record(0.0, 100.0, &[30.0, 54.0])).is_some());
    // The same drop told twice is one drop.
    assert_eq!(reading(&record(0.0, 100.0, &[30.0, 30.0])), None);
    // Two drops kept apart by a long blind spell hold no interval.
    let apart = DropRecord {
        blind: vec![spell(32.0, 500.0)],
        ..record(0.0, 600.0, &[30.0, 520.0])
    };
    assert_eq!(reading(&apart), None);
}

#[test]
fn a_steady_feed_is_read_and_the_limits_narrow() {
    let mut before = f64::INFINITY;
    for drops in [2, 3, 5, 10, 30] {
        let times = steady(drops);
        let now = *times.last().unwrap();
        let got = reading(&record(-5.0, now, &times)).unwrap();
        assert!(
            (got.drops_per_minute / 2.5 - 1.0).abs() < 0.1,
            "{drops}: {got:?}"
        );
        assert!(got.low < 2.5 && 2.5 < got.high, "{drops}: {got:?}");
        let width = (got.high - got.low) / 2.5;
        assert!(width < before, "{drops}: {width} after {before}");
        before = width;
        assert_eq!(got.drops, drops);
    }
}

/// With many intervals the scatter is known, and the limits come close to the textbook ones for
/// intervals of known shape (the sum of gamma intervals; common practice).
#[test]
fn many_intervals_give_the_textbook_limits() {
    let mut rng = ChaCha8Rng::seed_from_u64(8);
    let interval = rand_distr::Gamma::new(25.0, 24.0 / 25.0).unwrap();
    for _ in 0..20 {
        let mut at = 0.0;
        let times: Vec<f64> = (0..NEWEST_DROPS)
            .map(|_| {
                at += rand_distr::Distribution::sample(&interval, &mut rng);
                at
            })
            .collect();
        // Watching began with the first drop, and ends with the last: whole intervals only.
        let record = record(times[0], at, &times);
        let got = reading(&record).unwrap();
        let sum = at - times[0];
        let shape = 1.0 / (got.scatter * got.scatter);
        let book = gamma_interval_limits(63, sum, shape, 0.95).times(60.0);
        assert!((got.low / book.low - 1.0).abs() < 0.012, "{got:?} {book:?}");
        assert!(
            (got.high / book.high - 1.0).abs() < 0.012,
            "{got:?} {book:?}"
        );
        assert!((0.13..0.28).contains(&got.scatter), "{got:?}");
    }
}

/// No unit of time is preferred: a feed twelve times as fast reads twelve times as high, to the
/// last digits, at 2.5 and at 30 drops a minute.
#[test]
fn a_reading_scales_with_time() {
    for drops in [2, 3, 8, 30] {
        let times = steady(drops);
        let now = times.last().unwrap() + 9.0;
        let slow = reading(&record(-7.0, now, &times)).unwrap();
        let fast_times: Vec<f64> = times.iter().map(|t| t / 12.0).collect();
        let fast = reading(&record(-7.0 / 12.0, now / 12.0, &fast_times)).unwrap();
        for (a, b) in [
            (slow.drops_per_minute, fast.drops_per_minute),
            (slow.low, fast.low),
            (slow.high, fast.high),
        ] {
            assert!((b / a / 12.0 - 1.0).abs() < 1e-6, "{slow:?} {fast:?}");
        }
        assert!((slow.scatter - fast.scatter).abs() < 1e-6);
    }
}

#[test]
fn where_the_clock_started_does_not_matter() {
    let times = steady(8);
    let now = times.last().unwrap() + 5.0;
    let plain = reading(&record(-7.0, now, &times)).unwrap();
    let later: Vec<f64> = times.iter().map(|t| t + 1e6).collect();
    let shifted = reading(&record(1e6 - 7.0, now + 1e6, &later)).unwrap();
    assert!((plain.high / shifted.high - 1.0).abs() < 1e-6);
    assert!((plain.low / shifted.low - 1.0).abs() < 1e-6);
}

#[test]
fn the_reading_falls_as_the_silence_grows() {
    let irregular = vec![0.0, 10.0, 47.8, 72.3, 80.0, 119.7, 121.0];
    for times in [steady(2), steady(3), steady(6), steady(30), irregular] {
        let last = *times.last().unwrap();
        let at = |silence: f64| reading(&record(-10.0, last + silence, &times)).unwrap();
        let mut before = f64::INFINITY;
        for step in 0..=240 {
            let now = at(f64::from(step)).drops_per_minute;
            // A part in ten thousand for the grid.
            assert!(now <= before * 1.0001, "{step} s: {now} after {before}");
            before = now;
        }
        let (fresh, silent) = (at(0.0), at(240.0));
        assert!(
            silent.drops_per_minute < 0.8 * fresh.drops_per_minute,
            "{fresh:?} {silent:?}"
        );
        assert!(silent.low < fresh.low);
    }
}

#[test]
fn one_missed_bead_hardly_moves_a_reading() {
    let whole = steady(20);
    let mut missed = whole.clone();
    missed.remove(11);
    let now = *whole.last().unwrap();
    let (with, without) = (
        reading(&record(-10.0, now, &whole)).unwrap(),
        reading(&record(-10.0, now, &missed)).unwrap(),
    );
    assert!((without.drops_per_minute / with.drops_per_minute - 1.0).abs() < 0.02);
    assert!(without.low < 2.5 && 2.5 < without.high);
    assert!(without.scatter < 0.2, "{without:?}");
}

#[test]
fn blind_spells_are_no_silence() {
    let times = steady(10);
    let last = *times.last().unwrap();
    let fresh = reading(&record(-10.0, last + 5.0, &times)).unwrap();
    // Blind from five seconds after the last drop until now, for ten minutes.
    let blind = DropRecord {
        blind: vec![spell(last + 5.0, last + 605.0)],
        ..record(-10.0, last + 605.0, &times)
    };
    let got = reading(&blind).unwrap();
    assert!((got.drops_per_minute / fresh.drops_per_minute - 1.0).abs() < 1e-6);
    assert!((Silence::of(&blind).secs - 5.0).abs() < 1e-9);
    // Seeing for as long instead.
    assert!(
        reading(&record(-10.0, last + 605.0, &times))
            .unwrap()
            .drops_per_minute
            < 0.6 * fresh.drops_per_minute
    );
}

#[test]
fn a_drop_that_fell_in_a_blind_spell_is_not_missed_from_the_rate() {
    // Every fourth drop of a steady feed falls into a spell of two seconds.
    let all = steady(21);
    let hidden: Vec<f64> = all.iter().copied().skip(2).step_by(4).collect();
    let seen: Vec<f64> = all
        .iter()
        .copied()
        .filter(|t| !hidden.contains(t))
        .collect();
    let blind: Vec<Span> = hidden.iter().map(|t| spell(t - 1.0, t + 1.0)).collect();
    let watched = DropRecord {
        blind,
        ..record(-10.0, *seen.last().unwrap(), &seen)
    };
    let got = reading(&watched).unwrap();
    assert!((got.drops_per_minute / 2.5 - 1.0).abs() < 0.04, "{got:?}");
    // The same gaps without a blind spell: a slower, more irregular feed.
    let unexplained = reading(&DropRecord {
        blind: vec![],
        ..watched
    })
    .unwrap();
    assert!(unexplained.drops_per_minute < got.drops_per_minute * 0.95);
    assert!(unexplained.scatter > 2.0 * got.scatter);
}

#[test]
fn a_long_blind_spell_cuts_the_record_and_both_sides_count() {
    let mut times = steady(6);
    let gap = 1000.0;
    times.extend(steady(6).iter().map(|t| t + gap));
    let blind = DropRecord {
        blind: vec![spell(125.0, gap - 8.0)],
        ..record(-10.0, *times.last().unwrap(), &times)
    };
    let got = reading(&blind).unwrap();
    assert!(got.low < 2.5 && 2.5 < got.high, "{got:?}");
    assert_eq!(got.drops, 12);
    let one_side = reading(&record(-10.0, 122.0, &steady(6))).unwrap();
    assert!(got.high - got.low < one_side.high - one_side.low);
}

#[test]
fn flicker_between_all_drops_still_gives_a_reading() {
    // Blind for half of every second: seen in pieces, and the drops between are half hidden.
    let times = steady(12);
    let now = times.last().unwrap() + 3.0;
    let blind = (0..280)
        .map(|i| spell(f64::from(i) + 0.3, f64::from(i) + 0.8))
        .filter(|s| s.to_secs < now)
        .collect();
    let got = reading(&DropRecord {
        blind,
        ..record(-5.0, now, &times)
    })
    .unwrap();
    assert!(got.low > 0.0 && got.high.is_finite() && got.low < got.high);
}

#[test]
fn only_the_newest_drops_count() {
    let mut times: Vec<f64> = (0..500).map(|i| 5.0 * f64::from(i)).collect();
    let slow_from = *times.last().unwrap();
    times.extend((1..=NEWEST_DROPS).map(|i| slow_from + 24.0 * i as f64));
    let now = *times.last().unwrap();
    let got = reading(&record(0.0, now, &times)).unwrap();
    assert_eq!(got.drops, NEWEST_DROPS);
    assert!((got.drops_per_minute - 2.5).abs() < 0.02, "{got:?}");
}

#[test]
fn the_posterior_tells_chances_that_fit_its_limits() {
    let times = steady(8);
    let posterior = Posterior::of(&record(-5.0, 175.0, &times)).unwrap();
    for p in [0.01, 0.025, 0.1, 0.5, 0.9, 0.975, 0.99] {
        let rate = posterior.rate_per_minute(p);
        assert!((posterior.chance_below(rate) - p).abs() < 1e-6, "{p}");
    }
    assert_eq!(posterior.chance_below(0.0), 0.0);
    assert_eq!(posterior.chance_below(f64::NAN), 0.0);
    assert_eq!(posterior.chance_below(1e9), 1.0);
    let mut before = 0.0;
    for i in 1..100 {
        let rate = posterior.rate_per_minute(f64::from(i) / 100.0);
        assert!(rate > before);
        before = rate;
    }
    assert!(posterior.scatter(0.1) < posterior.scatter(0.9));
}

#[test]
fn silence_is_measured_against_the_intervals_before_it() {
    let times = steady(8);
    let last = *times.last().unwrap();
    let expected = Expected::of(&record(-5.0, last + 300.0, &times)).unwrap();
    assert!((expected.interval_secs - 24.0).abs() < 1.0, "{expected:?}");
    let quiet = Silence::of(&record(-5.0, last + 60.0, &times));
    assert!((quiet.ratio().unwrap() - 60.0 / expected.interval_secs).abs() < 1e-9);
    assert!(expected.chance_longer(0.0) == 1.0);
    assert!(expected.chance_longer(24.0) > 0.2 && expected.chance_longer(24.0) < 0.8);
    assert!(expected.chance_longer(60.0) < 1e-3);
    // Before any drop: since watching began.
    let none = Silence::of(&record(10.0, 45.0, &[]));
    assert_eq!((none.secs, none.expected, none.ratio()), (35.0, None, None));
}

#[test]
fn doubts_say_what_the_times_give_reason_for() {
    let at = |r: &DropRecord| {
        let silence = Silence::of(r);
        doubts(r, reading(r).as_ref(), &silence, find_change(r))
    };
    let few = at(&record(-5.0, 50.0, &steady(3)));
    assert!(few.contains(&Doubt::FewDrops { drops: 3 }));
    assert!(few.contains(&Doubt::RegularityUnknown { drops: 3 }));
    assert_eq!(few[0].words(), "only 3 drops so far: the limits are wide");
    let nine = at(&record(-5.0, 195.0, &steady(9)));
    assert_eq!(nine, [Doubt::RegularityUnknown { drops: 9 }]);
    let many = record(-5.0, 700.0, &steady(30));
    assert_eq!(at(&many), []);

    let irregular = record(
        -5.0,
        300.0,
        &[
            0.0, 3.0, 40.0, 44.0, 90.0, 95.0, 110.0, 180.0, 181.0, 230.0, 280.0, 299.0,
        ],
    );
    assert!(matches!(at(&irregular)[..], [Doubt::Irregular { scatter }] if scatter > 0.5));

    let blind = DropRecord {
        blind: vec![spell(0.0, 100.0)],
        ..many.clone()
    };
    assert!(
        at(&blind)
            .iter()
            .any(|d| matches!(d, Doubt::Blind { share } if *share > 0.13))
    );
    assert_eq!(at(&record(0.0, 100.0, &[])), []);

    let overdue = record(-5.0, steady(30)[29] + 40.0, &steady(30));
    let found = at(&overdue);
    assert!(
        matches!(found[..], [Doubt::Overdue { intervals }] if intervals > 1.5),
        "{found:?}"
    );
    assert!(
        found[0]
            .words()
            .starts_with("the next drop is overdue: silent for 1.7")
    );

    let mut stepped = steady(15);
    let step_at = stepped[14];
    stepped.extend((1..10).map(|i| step_at + 10.0 * f64::from(i)));
    let stepped = record(-5.0, *stepped.last().unwrap(), &stepped);
    assert!(at(&stepped).iter().any(|d| matches!(d, Doubt::Changed(_))));
}

#[test]
fn disorder_is_put_in_order() {
    let times = steady(8);
    let neat = DropRecord {
        blind: vec![spell(10.0, 12.0), spell(60.0, 64.0)],
        ..record(-5.0, 180.0, &times)
    };
    let mut untidy = neat.clone();
    untidy.drops_secs.reverse();
    untidy.drops_secs.extend([
        f64::NAN,
        f64::INFINITY,
        times[3],
        times[3] + 1e-5,
        1e9,
        -400.0,
    ]);
    untidy.blind = vec![
        spell(64.0, 60.0),
        spell(11.0, 12.0),
        spell(10.0, 11.5),
        spell(f64::NAN, 20.0),
        spell(500.0, 600.0),
    ];
    let cleaned = untidy.cleaned();
    assert_eq!(cleaned.drops_secs, times);
    assert_eq!(cleaned.blind, neat.blind);
    assert_eq!(reading(&untidy), reading(&neat));
}

#[test]
fn a_record_since_a_drop_begins_with_that_drop() {
    let times = steady(10);
    let whole = record(-5.0, 220.0, &times);
    let later = whole.since(times[4]);
    assert_eq!(later.drops_secs.len(), 6);
    // Its first drop is no arrival after a wait of nothing: five whole intervals say 2.5.
    let got = reading(&later).unwrap();
    assert!((got.drops_per_minute / 2.5 - 1.0).abs() < 0.05, "{got:?}");
    assert_eq!(whole.since(-100.0).drops_secs, times);
    assert_eq!(whole.before_silence().now_secs, times[9]);
}

/// Thousands of senseless records: nothing panics, and what comes out is in order.
#[test]
fn no_input_makes_it_panic() {
    let mut rng = ChaCha8Rng::seed_from_u64(13);
    let odd = [
        f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        0.0,
        -0.0,
        1e308,
        -1e308,
        1e-308,
        1e12,
        -1e12,
        5.0,
    ];
    let mut readings = 0;
    for _ in 0..3000 {
        let scale = 10f64.powi(rng.random_range(-6..7));
        let time = |rng: &mut ChaCha8Rng| {
            if rng.random_range(0..8) == 0 {
                odd[rng.random_range(0..odd.len())]
            } else {
                scale * (rng.random::<f64>() * 1.2 - 0.1)
            }
        };
        let drops = rng.random_range(0..12);
        let spells = rng.random_range(0..8);
        let senseless = DropRecord {
            from_secs: time(&mut rng),
            now_secs: time(&mut rng),
            drops_secs: (0..drops).map(|_| time(&mut rng)).collect(),
            blind: (0..spells)
                .map(|_| spell(time(&mut rng), time(&mut rng)))
                .collect(),
        };
        let silence = Silence::of(&senseless);
        assert!(silence.secs >= 0.0);
        let change = find_change(&senseless);
        let share = senseless.blind_share();
        assert!((0.0..=1.0).contains(&share), "{share} {senseless:?}");
        let got = reading(&senseless);
        for doubt in doubts(&senseless, got.as_ref(), &silence, change) {
            assert!(!doubt.words().is_empty());
        }
        if let Some(Reading {
            drops_per_minute,
            low,
            high,
            scatter,
            drops,
        }) = got
        {
            readings += 1;
            assert!(drops >= 2 && scatter > 0.0, "{senseless:?}");
            assert!(
                0.0 < low && low < drops_per_minute && drops_per_minute < high && high.is_finite(),
                "{got:?} {senseless:?}"
            );
        }
    }
    assert!(readings > 300, "{readings}");
}
