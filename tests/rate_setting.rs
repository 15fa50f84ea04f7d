//! Setting a feed: is it foretold rightly how many drops to wait, and does the response of a valve
//! hold the truth within its limits? Simulated valves and feeds, fixed seeds.

#![expect(clippy::unwrap_used, reason = "a test may fail by panicking")]

use beadtally::rate::study::{Faults, SimulatedFeed, Until, first_drops};
use beadtally::rate::{
    Beyond, DropRecord, Reading, ResponseCurve, SETTLED_HALF_WIDTH, Settling, ValveMark,
    ValvePoint, reading, settling, valve_points,
};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// From three drops on: how many more it takes to be settled, foretold and true.
#[test]
fn how_many_drops_to_wait_is_foretold() {
    for scatter in [0.05, 0.15, 0.3] {
        let mut rng = ChaCha8Rng::seed_from_u64(41);
        let feed = SimulatedFeed::new(24.0, scatter).unwrap();
        let (mut foretold, mut taken, mut off, mut count) = (0.0, 0.0, 0.0, 0.0);
        for _ in 0..60 {
            let record = feed.watch(Until::Drops(40), Faults::NONE, &mut rng);
            let Settling::Wait { more_drops } =
                settling(&first_drops(&record, 3), SETTLED_HALF_WIDTH)
            else {
                continue;
            };
            let truly = (1..=37).find(|more| {
                let now = settling(&first_drops(&record, 3 + more), SETTLED_HALF_WIDTH);
                now == Settling::Settled
            });
            let truly = truly.unwrap() as f64;
            foretold += more_drops as f64;
            taken += truly;
            off += (more_drops as f64 - truly).abs();
            count += 1.0;
        }
        let (foretold, taken, off) = (foretold / count, taken / count, off / count);
        println!("{scatter}: foretold {foretold:.1}, taken {taken:.1}, off by {off:.1} ({count})");
        assert!(count > 20.0);
        assert!((foretold / taken - 1.0).abs() < 0.5, "{scatter}");
    }
}

#[test]
fn settling_says_what_to_wait_for() {
    let record = |drops: &[f64]| DropRecord {
        from_secs: 0.0,
        now_secs: drops.last().map_or(20.0, |last| last + 1.0),
        drops_secs: drops.to_vec(),
        blind: vec![],
    };
    let of = |drops: &[f64]| settling(&record(drops), SETTLED_HALF_WIDTH);
    assert_eq!(of(&[]), Settling::NoReading { more_drops: 2 });
    assert_eq!(of(&[10.0]), Settling::NoReading { more_drops: 1 });
    assert_eq!(of(&[]).words(), "no reading yet: wait, two more drops");
    assert_eq!(of(&[10.0]).words(), "no reading yet: wait, one more drop");
    let even: Vec<f64> = (0..12).map(|i| 24.0 * f64::from(i)).collect();
    assert_eq!(of(&even), Settling::Settled);
    // The wait gets shorter with the drops.
    let mut before = usize::MAX;
    for count in 2..8 {
        let left = match of(&even[..count]) {
            Settling::Wait { more_drops } => more_drops,
            Settling::Settled => 0,
            other => panic!("{other:?}"),
        };
        assert!(left < before || left == 0, "{count}: {left} after {before}");
        before = left;
    }
    assert_eq!(
        Settling::Wait { more_drops: 2 }.words(),
        "wait, two more drops"
    );
    let wild = [0.0, 3.0, 90.0, 92.0, 180.0, 181.0, 300.0, 310.0];
    assert_eq!(settling(&record(&wild), 0.1), Settling::Far);
    assert_eq!(settling(&record(&wild), f64::NAN), Settling::Far);
}

/// A valve: drops a minute at so many turns open.
fn valve(turns: f64) -> f64 {
    (0.6 + 4.0 * turns).max(0.05)
}

/// A feed whose valve is moved at marks by a hand that is some ten degrees off; each setting is
/// kept for so many drops. Gives the record, the marks, and where the valve truly stands.
fn moved(
    start: f64,
    moves: &[f64],
    drops_each: usize,
    rng: &mut ChaCha8Rng,
) -> (DropRecord, Vec<ValveMark>, f64) {
    let mut record = DropRecord::default();
    let mut marks = Vec::new();
    let (mut at, mut turns) = (0.0, start);
    for step in 0..=moves.len() {
        let feed = SimulatedFeed::new(60.0 / valve(turns), 0.12).unwrap();
        let watch = feed.watch(Until::Drops(drops_each), Faults::NONE, rng);
        let drops = watch.drops_secs.iter().map(|t| at + t);
        record.drops_secs.extend(drops);
        at += watch.now_secs + 2.0;
        if let Some(opened_turns) = moves.get(step) {
            marks.push(ValveMark {
                at_secs: at,
                opened_turns: *opened_turns,
            });
            let off: f64 = StandardNormal.sample(rng);
            turns += opened_turns + 0.03 * off;
        }
    }
    record.now_secs = at;
    (record, marks, turns)
}

/// The movement that would truly bring the feed to mid band lies within the limits told, at least
/// nine times out of ten; with more drops at each setting the limits narrow.
#[test]
fn the_movement_to_mid_band_is_held_by_its_limits() {
    for moves in [vec![0.25, 0.25], vec![0.25, 0.25, 0.25, -0.25, -0.25]] {
        let mut widths = Vec::new();
        for drops_each in [5, 12] {
            let mut rng = ChaCha8Rng::seed_from_u64(42);
            let (mut held, mut told, mut width) = (0.0, 0.0, 0.0);
            let runs = 100;
            for _ in 0..runs {
                let (record, marks, stands) = moved(0.1, &moves, drops_each, &mut rng);
                let points = valve_points(&record, &marks);
                assert_eq!(points.len(), moves.len() + 1);
                let curve = ResponseCurve::of(&points).unwrap();
                // 0.6 + 4 t = 2.5 at 0.475 turn.
                let truly = 0.475 - stands;
                if let Some(movement) = curve.movement_to(2.5) {
                    told += 1.0;
                    held += f64::from(u8::from(movement.low <= truly && truly <= movement.high));
                    width += movement.high - movement.low;
                }
            }
            println!(
                "{moves:?}, {drops_each} drops: told {told}, held {held}, width {:.3}",
                width / told
            );
            assert!(told > 0.9 * f64::from(runs), "{told}");
            assert!(held / told >= 0.9, "{held} of {told}");
            widths.push(width / told);
        }
        assert!(widths[1] < widths[0], "{widths:?}");
    }
}

/// The curve never falls, and holds the true rate at the positions told.
#[test]
fn the_curve_holds_the_valve() {
    let mut rng = ChaCha8Rng::seed_from_u64(43);
    let (mut held, mut count) = (0.0, 0.0);
    for _ in 0..40 {
        let (record, marks, _) = moved(0.1, &[0.25, 0.25, -0.4], 8, &mut rng);
        let curve = ResponseCurve::of(&valve_points(&record, &marks)).unwrap();
        let points = curve.points();
        assert_eq!(points.len(), 4);
        for pair in points.windows(2) {
            assert!(pair[1].turns > pair[0].turns);
            assert!(pair[1].drops_per_minute >= pair[0].drops_per_minute - 1e-9);
        }
        for point in points {
            let truth = valve(0.1 + point.turns);
            assert!(point.low <= point.drops_per_minute && point.drops_per_minute <= point.high);
            held += f64::from(u8::from(point.low <= truth && truth <= point.high));
            count += 1.0;
        }
        assert!(curve.at(0.3).is_some() && curve.at(0.51).is_none() && curve.at(-0.2).is_none());
        // The same marks give the same curve.
        let again = ResponseCurve::of(&valve_points(&record, &marks)).unwrap();
        assert_eq!(again.points(), points);
    }
    println!("{held} of {count}");
    assert!(held / count > 0.88, "{held} of {count}");
}

fn point(turns: f64, per_minute: f64, half_width: f64) -> ValvePoint {
    ValvePoint {
        turns,
        reading: Reading {
            drops_per_minute: per_minute,
            low: per_minute * (1.0 - half_width),
            high: per_minute * (1.0 + half_width),
            scatter: 0.15,
            drops: 10,
        },
    }
}

#[test]
fn a_movement_is_told_as_what_it_is() {
    let curve = ResponseCurve::of(&[point(0.0, 1.0, 0.1), point(0.5, 2.0, 0.1)]).unwrap();
    // Half as much again: carried on beyond what was tried.
    let on = curve.movement_to(2.5).unwrap();
    assert_eq!(on.beyond, Beyond::Yes);
    assert!((on.turns - 0.25).abs() < 0.06 && on.low > 0.0, "{on:?}");
    let words = on.words();
    assert!(words.starts_with("about 0.2"), "{words}");
    assert!(
        words.contains("turn more open") && words.contains("beyond what was tried"),
        "{words}"
    );
    assert!(words.ends_with("if the valve answers as it did"), "{words}");
    // Back between the two.
    let back = curve.movement_to(1.5).unwrap();
    assert_eq!(back.beyond, Beyond::No);
    assert!((back.turns + 0.25).abs() < 0.06, "{back:?}");
    assert!(
        back.words().contains("turn more closed"),
        "{}",
        back.words()
    );
    // Where it stands already.
    let stay = curve.movement_to(2.0).unwrap();
    assert!(stay.low < 0.0 && stay.high > 0.0, "{stay:?}");
    assert!(
        stay.words().starts_with("where the valve stands"),
        "{}",
        stay.words()
    );
    // Farther off than a curve may be carried on.
    assert_eq!(curve.movement_to(9.0), None);
    for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(curve.movement_to(wrong), None);
    }
}

#[test]
fn a_valve_that_does_not_answer_gives_no_movement() {
    let flat = ResponseCurve::of(&[point(0.0, 1.5, 0.15), point(0.25, 1.5, 0.15)]).unwrap();
    assert_eq!(flat.movement_to(2.5), None);
    assert!(ResponseCurve::of(&[point(0.0, 1.5, 0.1)]).is_none());
    assert!(ResponseCurve::of(&[point(0.0, 1.5, 0.1), point(0.0, 1.6, 0.1)]).is_none());
    assert!(ResponseCurve::of(&[point(0.0, f64::NAN, 0.1), point(0.5, 1.6, 0.1)]).is_none());
    assert!(ResponseCurve::of(&[]).is_none());
    let none = valve_points(
        &DropRecord::default(),
        &[ValveMark {
            at_secs: f64::NAN,
            opened_turns: 0.25,
        }],
    );
    assert!(none.is_empty());
}

/// A position without a reading is passed over, and its turns are not lost.
#[test]
fn positions_without_a_reading_keep_their_turns() {
    let drops: Vec<f64> = (0..6).map(|i| 24.0 * f64::from(i)).collect();
    let later = (0..6).map(|i| 200.0 + 12.0 * f64::from(i));
    let record = DropRecord {
        from_secs: -5.0,
        now_secs: 270.0,
        drops_secs: drops.into_iter().chain(later).collect(),
        blind: vec![],
    };
    let mark = |at_secs, opened_turns| ValveMark {
        at_secs,
        opened_turns,
    };
    let points = valve_points(&record, &[mark(195.0, 0.25), mark(130.0, 0.25)]);
    let turns: Vec<f64> = points.iter().map(|p| p.turns).collect();
    assert_eq!(turns, [0.0, 0.5]);
    assert!((points[0].reading.drops_per_minute - 2.5).abs() < 0.2);
    assert!((points[1].reading.drops_per_minute - 5.0).abs() < 0.5);
    assert_eq!(reading(&record.between(131.0, 194.0)), None);
}
