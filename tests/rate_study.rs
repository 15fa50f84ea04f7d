//! What silences and changes of rate are worth: the tables of `rate::study` held against what is
//! wanted of them. `beadtally tables silence` and `beadtally tables step` print them.

#![expect(clippy::unwrap_used, reason = "a test may fail by panicking")]

use beadtally::rate::study::{
    Faults, SilenceRow, SilenceSetting, SimulatedFeed, StepCase, StepRow, Teller, Until,
    silence_table, step_row, step_table,
};
use beadtally::rate::{
    AtRest, ChangeWatch, DropRecord, Expected, LEARNED_STEP_LIMIT, STEP_LIMIT, StepWatch, Way,
};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

fn stopped(rows: &[SilenceRow]) -> SilenceRow {
    *rows
        .iter()
        .find(|row| row.setting == SilenceSetting::Stopped)
        .unwrap()
}

/// At 15 % scatter and 0.5 % missed beads: less than one false *stopped* in ten hours, and a true
/// stop told within three expected intervals — whether the feed is known by 64 drops or by three.
#[test]
fn stopped_is_seldom_false_and_soon() {
    for drops in [3, 5, 10, 64] {
        let table = silence_table(0.15, 0.005, drops, 300, 1).unwrap();
        let row = stopped(&table.rows);
        println!("{drops} drops: {row:?}");
        assert_eq!(table.records, 300);
        assert!(
            row.false_per_hour + 3.0 * row.false_error < 0.1,
            "{drops}: {row:?}"
        );
        assert!(
            row.delay_intervals < 3.0 && row.delay_intervals > 1.0,
            "{drops}: {row:?}"
        );
    }
}

/// The longer the limit, the fewer false alarms and the later a true one.
#[test]
fn a_limit_is_a_trade() {
    for (scatter, missed) in [(0.15, 0.005), (0.3, 0.0), (1.0, 0.01)] {
        let rows = silence_table(scatter, missed, 20, 100, 2).unwrap().rows;
        let fixed: Vec<&SilenceRow> = rows
            .iter()
            .filter(|row| matches!(row.setting, SilenceSetting::Intervals(_)))
            .collect();
        assert!(fixed.len() > 4);
        for pair in fixed.windows(2) {
            assert!(pair[1].intervals > pair[0].intervals);
            assert!(pair[1].false_per_hour <= pair[0].false_per_hour);
            assert!(pair[1].delay_secs > pair[0].delay_secs);
        }
    }
    assert_eq!(silence_table(0.0, 0.005, 10, 10, 1), None);
    assert_eq!(silence_table(f64::NAN, 0.005, 10, 10, 1), None);
    assert_eq!(silence_table(0.15, 0.7, 10, 10, 1), None);
}

/// The exact chances of the table against intervals drawn one by one.
#[test]
fn false_alarms_are_what_a_plain_simulation_gives() {
    let row = silence_table(0.3, 0.01, 64, 300, 3).unwrap().rows[2];
    assert_eq!(row.setting, SilenceSetting::Intervals(2.0));
    let feed = SimulatedFeed::new(24.0, 0.3).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let (mut over, mut secs) = (0.0, 0.0);
    for _ in 0..200 {
        let record = feed.watch(Until::Drops(64), Faults::missing(0.01), &mut rng);
        let limit = 2.0 * Expected::of(&record).unwrap().interval_secs;
        for _ in 0..500 {
            let next = feed.seen_interval_secs(0.01, &mut rng);
            secs += next;
            over += f64::from(u8::from(next > limit));
        }
    }
    let per_hour = over / secs * 3600.0;
    println!("{per_hour} drawn, {} in the table", row.false_per_hour);
    // Some 1,100 events: a standard error of 3 %, and that of the table's own records.
    assert!((per_hour / row.false_per_hour - 1.0).abs() < 0.15);
}

/// Published chances of no drop and the silences that keep false alarms rare, computed with scipy
/// 1.17.1: a Poisson feed at 2.5 a minute; limits at 2 a minute, Poisson and 20 % scatter.
#[test]
fn silences_of_known_feeds_equal_computed_ones() {
    let poisson = Expected::known(24.0, 1.0);
    for (secs, chance) in [
        (60.0, 0.0821),
        (120.0, 0.006_74),
        (180.0, 5.53e-4),
        (240.0, 4.5e-5),
    ] {
        let got = poisson.chance_longer(secs);
        // The table behind it is right to three parts in a hundred.
        assert!(
            (got / chance - 1.0_f64).abs() < 0.03,
            "{secs}: {got}, computed {chance}"
        );
    }
    for (scatter, limits) in [(1.0, [207.0, 276.0, 414.0]), (0.2, [52.0, 58.0, 68.0])] {
        let feed = Expected::known(30.0, scatter);
        for (chance, secs) in [1e-3, 1e-4, 1e-6].into_iter().zip(limits) {
            let got = feed.intervals_at_chance(chance) * 30.0;
            assert!(
                (got - secs).abs() <= 0.5,
                "{scatter} at {chance}: {got}, computed {secs}"
            );
        }
    }
}

fn row(teller: Teller, missed_share: f64, steps: usize, watches: usize) -> StepRow {
    let case = StepCase {
        teller,
        scatter: 0.15,
        missed_share,
    };
    let row = step_row(case, steps, watches, 5).unwrap();
    println!(
        "{}, {:.1} % missed: slower {:.0} s, faster {:.0} s, {:.2} false in 8 h of {:.0} h, {:.3} lost",
        teller.words(),
        missed_share * 100.0,
        row.down_secs,
        row.up_secs,
        row.false_in_8_h,
        row.hours,
        row.lost_share
    );
    row
}

/// ±30 % at 15 % scatter and 2.5 drops a minute, mean known: found in under 120 s on average, with
/// less than one false step in eight hours; with 0.5 % of the beads missed as well.
#[test]
fn a_step_is_found_soon_where_the_mean_is_known() {
    for missed in [0.0, 0.005] {
        let row = row(Teller::Known { limit: STEP_LIMIT }, missed, 1000, 60);
        assert!(row.down_secs < 120.0 && row.up_secs < 120.0, "{row:?}");
        // 480 hours: some 30 false steps, ±6.
        assert!(row.false_in_8_h < 1.0 && row.false_in_8_h > 0.0, "{row:?}");
        assert!(row.lost_share < 0.01, "{row:?}");
    }
}

/// The same where mean and scatter were learned from 20 drops, and for the instrument as it runs.
#[test]
fn a_step_is_found_where_the_mean_was_learned() {
    let learned = Teller::Learned {
        drops: 20,
        limit: LEARNED_STEP_LIMIT,
    };
    for teller in [learned, Teller::Instrument { drops: 60 }] {
        let row = row(teller, 0.005, 200, 25);
        assert!(row.down_secs < 140.0 && row.up_secs < 155.0, "{row:?}");
        // 200 hours: some 20 false steps, which come in twos and threes.
        assert!(row.false_in_8_h < 1.6, "{row:?}");
        assert!(row.lost_share < 0.02, "{row:?}");
    }
}

/// The sums earn their place: after 20 drops they tell a step well before the look over the record
/// alone does.
#[test]
fn the_sums_are_sooner_than_the_look_over_the_record() {
    let both = row(Teller::Instrument { drops: 20 }, 0.005, 150, 0);
    let alone = row(Teller::Record { drops: 20 }, 0.005, 150, 0);
    assert!(both.down_secs < 0.9 * alone.down_secs, "{both:?} {alone:?}");
    assert!(both.up_secs < 0.9 * alone.up_secs, "{both:?} {alone:?}");
}

#[test]
fn the_step_table_has_every_teller_and_takes_nonsense() {
    let rows = step_table(0.15, 0.0, 10, 1);
    let of = |wanted: fn(&Teller) -> bool| rows.iter().filter(|r| wanted(&r.case.teller)).count();
    assert!(of(|t| matches!(t, Teller::Known { limit } if *limit == STEP_LIMIT)) == 1);
    assert!(
        of(|t| matches!(t, Teller::Learned { limit, .. } if *limit == LEARNED_STEP_LIMIT)) == 1
    );
    assert_eq!(of(|t| matches!(t, Teller::Record { .. })), 3);
    assert_eq!(of(|t| matches!(t, Teller::Instrument { .. })), 3);
    assert!(rows.iter().all(|row| row.hours > 7.9));
    assert!(step_table(0.0, 0.0, 10, 1).is_empty());
    assert!(step_table(f64::NAN, 0.0, 10, 1).is_empty());
}

/// The watch's own ratio, from gamma densities written out: one interval, or two in one.
#[test]
fn the_watch_adds_the_log_likelihood_ratio_with_missed_beads() {
    let (mean, scatter, missed) = (24.0_f64, 0.15_f64, 0.005);
    let k = 1.0 / (scatter * scatter);
    let ln_gamma = statrs::function::gamma::ln_gamma;
    let density = |x: f64, factor: f64| {
        let rate = k * factor / mean;
        let of = |shape: f64| {
            (shape * rate.ln() + (shape - 1.0) * x.ln() - rate * x - ln_gamma(shape)).exp()
        };
        (1.0 - missed) * of(k) + missed * of(2.0 * k)
    };
    let at_rest = AtRest {
        interval_secs: mean,
        scatter,
        missed_share: missed,
    };
    for x in [15.0, 20.0, 24.0, 30.0, 34.0, 48.0, 52.0] {
        let mut watch = StepWatch::new(at_rest, 1000.0);
        watch.drop_after(x);
        let (up, down) = watch.sums();
        let wanted = |factor: f64| (density(x, factor) / density(x, 1.0)).ln().max(0.0);
        assert!((up - wanted(1.3)).abs() < 1e-6, "{x}: {up}");
        assert!((down - wanted(0.7)).abs() < 1e-6, "{x}: {down}");
    }
}

#[test]
fn one_interval_is_never_a_step_and_a_missed_bead_hardly_counts() {
    let at_rest = AtRest {
        interval_secs: 24.0,
        scatter: 0.15,
        missed_share: 0.0075,
    };
    for secs in [0.1, 1.0, 10.0, 48.0, 72.0, 100.0, 1000.0] {
        let mut watch = StepWatch::new(at_rest, STEP_LIMIT);
        assert_eq!(watch.drop_after(secs), None, "{secs}");
        assert_eq!(
            StepWatch::new(at_rest, STEP_LIMIT).silent_for(secs),
            None,
            "{secs}"
        );
    }
    let mut watch = StepWatch::new(at_rest, STEP_LIMIT);
    watch.drop_after(48.0);
    assert!(watch.sums().1 < STEP_LIMIT / 3.0, "{:?}", watch.sums());
    // Silence speaks once an interval has, when a missed bead does not explain it well either.
    let mut slow = StepWatch::new(at_rest, STEP_LIMIT);
    assert_eq!(slow.drop_after(36.0), None);
    let told = slow.told_after_silence_secs().unwrap();
    assert!(told > 36.0 && told < 60.0, "{told}");
    assert_eq!(slow.silent_for(told), Some(Way::Down));
    assert_eq!(slow.silent_for(told - 0.2), None);
}

#[test]
fn nonsense_never_makes_a_step() {
    for (interval_secs, scatter, missed_share) in [
        (0.0, 0.15, 0.005),
        (24.0, 0.0, 0.005),
        (f64::NAN, 0.15, 0.005),
        (24.0, f64::NAN, 0.005),
        (24.0, 0.15, f64::NAN),
        (-24.0, 0.15, 0.005),
    ] {
        let at_rest = AtRest {
            interval_secs,
            scatter,
            missed_share,
        };
        let mut watch = StepWatch::new(at_rest, STEP_LIMIT);
        for secs in [f64::NAN, -1.0, 0.0, 1.0, 30.0, 1e9, f64::INFINITY] {
            assert_eq!(watch.drop_after(secs), None, "{at_rest:?} {secs}");
            let _ = watch.silent_for(secs);
        }
        assert!(!watch.sums().0.is_nan() && !watch.sums().1.is_nan());
        let _ = watch.told_after_silence_secs();
    }
}

fn record(drops: &[f64], now_secs: f64) -> DropRecord {
    DropRecord {
        from_secs: drops[0],
        now_secs,
        drops_secs: drops.to_vec(),
        blind: vec![],
    }
}

/// The instrument's watch over a reading: a feed that slows by a third after thirty drops is told,
/// from the drop at which it did, in the silence after the first slow interval.
#[test]
fn the_watch_over_a_reading_tells_what_changed_when() {
    let mut drops = vec![0.0];
    for i in 1..30 {
        let off = [0.0, 2.5, -3.0, 1.0, -1.5, 3.5, -2.0][i % 7];
        drops.push(24.0 * i as f64 + off);
    }
    let mut watch = ChangeWatch::default();
    for known in 2..=drops.len() {
        let seen = &drops[..known];
        assert_eq!(watch.look(&record(seen, seen[known - 1])), None, "{known}");
    }
    let slowed_at = drops[29];
    drops.push(slowed_at + 37.0);
    assert_eq!(watch.look(&record(&drops, slowed_at + 37.0)), None);
    let silent = watch.told_after_silence_secs().unwrap();
    assert!(silent > 36.0 && silent < 72.0, "{silent}");
    assert_eq!(watch.look(&record(&drops, slowed_at + 36.8 + silent)), None);
    let change = watch
        .look(&record(&drops, slowed_at + 37.1 + silent))
        .unwrap();
    assert_eq!(change.at_secs, slowed_at);
    assert!((change.before_per_minute - 2.5).abs() < 0.1, "{change:?}");
    assert!(change.after_per_minute < 1.9, "{change:?}");
    watch.reset();
    assert_eq!(watch.told_after_silence_secs(), None);
}

/// Where a step is placed: near the drop after which it came, so that the new reading begins clean
/// and no second change has to put it right.
#[test]
fn a_step_is_placed_where_it_was() {
    let mut rng = ChaCha8Rng::seed_from_u64(9);
    for factor in [0.7, 1.3, 1.6, 2.0] {
        let (before, after) = (
            SimulatedFeed::new(24.0, 0.12).unwrap(),
            SimulatedFeed::new(24.0 / factor, 0.12).unwrap(),
        );
        let (mut off, mut told, mut again) = (0.0, 0.0, 0);
        for _ in 0..60 {
            let mut drops = vec![0.0];
            let mut watch = ChangeWatch::default();
            let mut first: Option<f64> = None;
            for interval in 0..70 {
                let last = drops[drops.len() - 1];
                let feed = if interval < 40 { &before } else { &after };
                drops.push(last + feed.interval_secs(&mut rng));
                let now = drops[drops.len() - 1];
                let Some(change) = watch.look(&record(&drops, now)) else {
                    continue;
                };
                watch.reset();
                if interval < 40 {
                    // A false one: begin anew from there.
                    drops.retain(|t| *t >= change.at_secs);
                    continue;
                }
                if first.is_none() {
                    let index = drops.partition_point(|t| *t < change.at_secs) as f64;
                    let stepped_at = (drops.len() - 1) as f64 - f64::from(interval - 40) - 1.0;
                    off += (index - stepped_at).abs();
                    told += 1.0;
                    first = Some(change.at_secs);
                } else {
                    again += 1;
                }
                drops.retain(|t| *t >= change.at_secs);
            }
        }
        println!(
            "{factor}: off by {:.2} intervals, {again} told again of {told}",
            off / told
        );
        assert!(told > 55.0, "{factor}: {told}");
        assert!(off / told < 1.5, "{factor}: {}", off / told);
        assert!(again <= 9, "{factor}: {again}");
    }
}
