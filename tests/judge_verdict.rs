//! Verdicts: the band with its deadband, silence, blindness, and feeds from one to sixty drops a
//! minute.

#![expect(clippy::unwrap_used, reason = "a test may fail by panicking")]

use beadtally::base::{Band, BlindWhy, Span};
use beadtally::judge::{Cause, Condition, FeedState, Judge, JudgeSettings, Verdict, judge};
use beadtally::rate::{DropRecord, Reading, reading};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma};

const BAND: Band = Band {
    low_per_minute: 2.0,
    high_per_minute: 3.0,
};

/// A record of `drops` drops at even intervals, watched until `silence_secs` after the last.
fn even(drops: u32, interval_secs: f64, silence_secs: f64) -> DropRecord {
    let drops_secs: Vec<f64> = (0..drops)
        .map(|i| interval_secs * (0.3 + f64::from(i)))
        .collect();
    DropRecord {
        from_secs: 0.0,
        now_secs: drops_secs.last().copied().unwrap_or(0.0) + silence_secs,
        drops_secs,
        blind: vec![],
    }
}

/// A made-up reading, to steer the median by hand.
fn reading_of(drops_per_minute: f64) -> Reading {
    Reading {
        drops_per_minute,
        low: drops_per_minute * 0.9,
        high: drops_per_minute * 1.1,
        scatter: 0.15,
        drops: 12,
    }
}

fn state_of(record: &DropRecord) -> FeedState {
    judge(record, reading(record).as_ref(), BAND, None)
}

fn condition(verdict: &Verdict, cause: Cause) -> Condition {
    verdict
        .conditions
        .iter()
        .find(|(c, _)| *c == cause)
        .unwrap()
        .1
}

#[test]
fn a_feed_is_judged_by_the_median_against_its_band() {
    for (interval_secs, state) in [
        (24.0, FeedState::InBand),
        (40.0, FeedState::Low),
        (15.0, FeedState::High),
        (6.0, FeedState::FarHigh),
    ] {
        assert_eq!(
            state_of(&even(12, interval_secs, 1.0)),
            state,
            "{interval_secs} s"
        );
    }
    assert_eq!(state_of(&even(1, 24.0, 1.0)), FeedState::NoReadingYet);
    assert_eq!(state_of(&even(0, 24.0, 30.0)), FeedState::NoReadingYet);
}

#[test]
fn a_feed_that_left_its_band_comes_back_only_by_the_deadband() {
    let record = even(12, 24.0, 1.0);
    let mut judge = Judge::default();
    let mut state = |per_minute: f64| {
        judge
            .judge(&record, Some(&reading_of(per_minute)), BAND, None)
            .state
    };
    for (per_minute, expected) in [
        (2.5, FeedState::InBand),
        (3.0, FeedState::InBand),
        (3.01, FeedState::High),
        (2.95, FeedState::High), // 3 % of 3.0 is 0.09
        (2.92, FeedState::High),
        (2.90, FeedState::InBand),
        (2.95, FeedState::InBand),
        (2.0, FeedState::InBand),
        (1.99, FeedState::Low),
        (2.05, FeedState::Low),
        (2.07, FeedState::InBand),
        (6.0, FeedState::High), // twice is not over twice
        (6.1, FeedState::FarHigh),
        (5.9, FeedState::FarHigh),
        (5.8, FeedState::High),
        (1.0, FeedState::Low), // right across the band
        (9.0, FeedState::FarHigh),
        (2.5, FeedState::InBand),
    ] {
        assert_eq!(state(per_minute), expected, "{per_minute}");
    }
}

#[test]
fn a_feed_has_stopped_after_two_and_a_half_of_its_own_intervals() {
    // Also where that is far from the band, and at any speed.
    for interval_secs in [1.0, 2.0, 6.0, 24.0, 60.0] {
        for drops in [3, 5, 10, 40] {
            let before = even(drops, interval_secs, 2.3 * interval_secs);
            assert_ne!(
                state_of(&before),
                FeedState::Stopped,
                "{drops} at {interval_secs} s"
            );
            let after = even(drops, interval_secs, 2.7 * interval_secs);
            assert_eq!(
                state_of(&after),
                FeedState::Stopped,
                "{drops} at {interval_secs} s"
            );
        }
    }
}

#[test]
fn the_expected_interval_does_not_chase_the_silence() {
    let mut judge = Judge::default();
    let mut limit = None;
    for silence in 0..2000 {
        let record = even(8, 24.0, f64::from(silence));
        let found = judge.judge(&record, reading(&record).as_ref(), BAND, None);
        let now = found.stopped_after_secs.unwrap();
        assert_eq!(*limit.get_or_insert(now), now);
        assert_eq!(
            found.state == FeedState::Stopped,
            f64::from(silence) > now,
            "{silence}"
        );
        if silence > 200 {
            break;
        }
    }
}

#[test]
fn before_three_drops_the_band_tells_when_a_feed_has_stopped() {
    // 2.5 intervals at two a minute: 75 s.
    for drops in [0, 1, 2] {
        assert_ne!(
            state_of(&even(drops, 10.0, 74.0)),
            FeedState::Stopped,
            "{drops}"
        );
        assert_eq!(
            state_of(&even(drops, 10.0, 76.0)),
            FeedState::Stopped,
            "{drops}"
        );
    }
    // Without a low limit nothing can be said.
    let no_low = Band {
        low_per_minute: 0.0,
        high_per_minute: 3.0,
    };
    let silent = even(1, 10.0, 1e6);
    assert_eq!(judge(&silent, None, no_low, None), FeedState::NoReadingYet);
}

#[test]
fn a_drop_ends_a_stop() {
    let mut record = even(8, 24.0, 70.0);
    assert_eq!(state_of(&record), FeedState::Stopped);
    record.drops_secs.push(record.now_secs);
    assert_ne!(state_of(&record), FeedState::Stopped);
}

#[test]
fn one_missed_bead_is_no_stop() {
    let mut record = even(10, 24.0, 0.0);
    record.drops_secs.remove(7);
    let last = *record.drops_secs.last().unwrap();
    record.now_secs = last + 24.0 * 1.95;
    assert_ne!(state_of(&record), FeedState::Stopped);
}

#[test]
fn what_cannot_be_seen_is_never_in_band() {
    let blind = Some(BlindWhy::Covered);
    for record in [
        even(12, 24.0, 1.0),
        even(12, 24.0, 500.0),
        even(0, 24.0, 3.0),
    ] {
        let read = reading(&record);
        assert_eq!(
            judge(&record, read.as_ref(), BAND, blind),
            FeedState::CannotSee
        );
    }
}

#[test]
fn blind_time_is_not_charged_to_the_feed() {
    let mut record = even(8, 24.0, 300.0);
    let last = *record.drops_secs.last().unwrap();
    record.blind = vec![Span {
        from_secs: last + 20.0,
        to_secs: last + 280.0,
    }];
    assert_eq!(state_of(&record), FeedState::InBand);
    record.now_secs = last + 300.0 + 40.0;
    assert_eq!(state_of(&record), FeedState::Stopped);
}

#[test]
fn conditions_are_unknown_where_nothing_can_be_known() {
    let record = even(12, 24.0, 1.0);
    let stopped = even(12, 24.0, 100.0);
    let mut judge = Judge::default();
    let low = Some(reading_of(1.5));
    let found = judge.judge(&record, low.as_ref(), BAND, None);
    assert_eq!(condition(&found, Cause::Low), Condition::Active);
    assert_eq!(condition(&found, Cause::High), Condition::Clear);
    assert_eq!(condition(&found, Cause::Stopped), Condition::Clear);
    assert_eq!(condition(&found, Cause::CannotSee), Condition::Clear);

    let found = judge.judge(&record, low.as_ref(), BAND, Some(BlindWhy::Dark));
    assert_eq!(condition(&found, Cause::CannotSee), Condition::Active);
    for cause in [Cause::Low, Cause::High, Cause::FarHigh, Cause::Stopped] {
        assert_eq!(condition(&found, cause), Condition::Unknown);
    }

    let found = judge.judge(&stopped, low.as_ref(), BAND, None);
    assert_eq!(condition(&found, Cause::Stopped), Condition::Active);
    assert_eq!(condition(&found, Cause::FarHigh), Condition::Clear);
    assert_eq!(condition(&found, Cause::Low), Condition::Unknown);

    // A new reading after a mark: no drop yet, so it is not known to run.
    let found = judge.judge(&even(0, 24.0, 5.0), None, BAND, None);
    assert_eq!(found.state, FeedState::NoReadingYet);
    assert_eq!(condition(&found, Cause::Stopped), Condition::Unknown);
    let found = judge.judge(&even(1, 24.0, 5.0), None, BAND, None);
    assert_eq!(condition(&found, Cause::Stopped), Condition::Clear);
}

#[test]
fn far_high_is_certain_when_even_the_lower_limit_is() {
    let record = even(12, 6.0, 1.0);
    let mut judge = Judge::default();
    let far = |low: f64| Reading {
        low,
        ..reading_of(7.0)
    };
    let found = judge.judge(&record, Some(&far(5.5)), BAND, None);
    assert_eq!(condition(&found, Cause::FarHigh), Condition::Active);
    let found = judge.judge(&record, Some(&far(6.2)), BAND, None);
    assert_eq!(condition(&found, Cause::FarHigh), Condition::Certain);
}

#[test]
fn nonsense_gives_a_verdict_and_no_panic() {
    let odd = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 0.0, 1e300];
    let mut rng = ChaCha8Rng::seed_from_u64(3);
    for _ in 0..500 {
        let mut any = || match rng.random_range(0..4) {
            0 => odd[rng.random_range(0..odd.len())],
            _ => rng.random::<f64>() * 100.0,
        };
        let band = Band {
            low_per_minute: any(),
            high_per_minute: any(),
        };
        let record = DropRecord {
            from_secs: any(),
            now_secs: any(),
            drops_secs: (0..6).map(|_| any()).collect(),
            blind: vec![Span {
                from_secs: any(),
                to_secs: any(),
            }],
        };
        let read = Reading {
            low: any(),
            high: any(),
            ..reading_of(any())
        };
        let settings = JudgeSettings {
            stopped_after_intervals: any(),
            stopped_chance: any(),
            far_high_factor: any(),
            deadband_share: any(),
            ..JudgeSettings::default()
        };
        let mut judge = Judge::new(settings);
        for blind in [None, Some(BlindWhy::Moved)] {
            let found = judge.judge(&record, Some(&read), band, blind);
            assert_eq!(found.state == FeedState::CannotSee, blind.is_some());
        }
    }
}

/// A band the wrong way round or without numbers never makes a feed read as out of a limit that
/// is no number.
#[test]
fn a_limit_that_is_no_number_is_never_passed() {
    let record = even(12, 24.0, 1.0);
    let read = reading(&record);
    let nan = Band {
        low_per_minute: f64::NAN,
        high_per_minute: f64::NAN,
    };
    assert_eq!(judge(&record, read.as_ref(), nan, None), FeedState::InBand);
}

/// At 15 % scatter and 0.5 % missed beads: less than one false *stopped* in ten hours, and a true
/// stop told within three expected intervals.
#[test]
fn false_stops_are_rare_and_true_ones_soon() {
    let mut rng = ChaCha8Rng::seed_from_u64(25);
    let shape = 1.0 / (0.15_f64 * 0.15);
    let interval = Gamma::new(shape, 24.0 / shape).unwrap();
    let mut judge = Judge::default();
    let (mut false_stops, mut hours, mut delays) = (0, 0.0, Vec::new());
    let mut drops = vec![0.0];
    while hours < 200.0 {
        let last = *drops.last().unwrap();
        let mut at = last + interval.sample(&mut rng);
        while rng.random::<f64>() < 0.005 {
            at += interval.sample(&mut rng);
        }
        hours += (at - last) / 3600.0;
        let record = DropRecord {
            from_secs: drops[0],
            now_secs: at - 1e-3,
            drops_secs: drops.clone(),
            blind: vec![],
        };
        // Only a long silence, or now and then the question when a stop would be told.
        if at - last > 1.5 * 24.0 || rng.random_range(0..100) == 0 {
            let found = judge.judge(&record, None, BAND, None);
            if drops.len() >= 3 {
                delays.push(found.stopped_after_secs.unwrap() / 24.0);
                false_stops += i32::from(found.state == FeedState::Stopped);
            }
        }
        drops.push(at);
        if drops.len() > 64 {
            drops.remove(0);
        }
    }
    let mean_delay = delays.iter().sum::<f64>() / delays.len() as f64;
    println!("{false_stops} false stops in {hours:.0} h; told after {mean_delay:.2} intervals");
    assert!(false_stops < 20, "{false_stops} in {hours} hours");
    assert!(delays.len() > 100 && mean_delay < 3.0, "{mean_delay}");
}

/// An irregular feed may be silent for 2.5 intervals by chance; its own scatter tells.
#[test]
fn an_irregular_feed_is_given_longer() {
    let irregular = DropRecord {
        from_secs: 0.0,
        now_secs: 380.0,
        drops_secs: vec![
            3.0, 20.0, 24.0, 70.0, 76.0, 90.0, 140.0, 143.0, 170.0, 230.0, 236.0, 255.0, 300.0,
            304.0,
        ],
        blind: vec![],
    };
    let found = Judge::default().judge(&irregular, reading(&irregular).as_ref(), BAND, None);
    let expected = found.silence.expected.unwrap();
    let intervals = found.stopped_after_secs.unwrap() / expected.interval_secs;
    assert!(intervals > 4.0 && intervals < 9.0, "{intervals}");
    assert_ne!(found.state, FeedState::Stopped);
}
