//! Thousands of operations on a book of alarms in random order, with what must always hold checked
//! after each: the transitions of ANSI/ISA-18.2 and IEC 62682 (read in public documents that put
//! them into practice), one alarm per feed and cause, delays, and who may do what.

use std::collections::BTreeMap;

use beadtally::base::FeedNumber;
use beadtally::judge::{
    AlarmBook, AlarmSettings, AlarmState, By, Cause, Condition, Happened, Step,
};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What the random test knows of one alarm without asking the book.
#[derive(Clone, Copy)]
struct Known {
    told: Condition,
    /// What was told before the present operation.
    told_before: Condition,
    since_secs: f64,
    state: AlarmState,
}

/// Whether one state may follow another directly.
fn may_follow(from: AlarmState, to: AlarmState) -> bool {
    use AlarmState::{Acknowledged, Normal, ReturnedUnacknowledged, Shelved, Unacknowledged};
    matches!(
        (from, to),
        (
            Normal | ReturnedUnacknowledged | Shelved | Acknowledged,
            Unacknowledged
        ) | (Unacknowledged, Acknowledged | ReturnedUnacknowledged)
            | (Acknowledged | ReturnedUnacknowledged | Shelved, Normal)
            | (_, Shelved)
    ) || (from == Unacknowledged && to == Normal)
}

/// What a step must be called, and who may have done it, when one state follows another.
fn step_fits(from: AlarmState, to: AlarmState, step: Step, asked: Asked) -> bool {
    use AlarmState::{Acknowledged, Normal, ReturnedUnacknowledged, Shelved, Unacknowledged};
    let Step {
        happened,
        by,
        shelved_until_secs,
    } = step;
    let person = asked != Asked::Nothing && asked != Asked::Forget;
    let fits = match (happened, by) {
        (Happened::Raised, By::Condition) => (from, to) == (Normal, Unacknowledged),
        (Happened::RaisedAgain, By::Condition) => {
            (from, to) == (ReturnedUnacknowledged, Unacknowledged)
        }
        (Happened::ReAlarmed, By::Time) => (from, to) == (Acknowledged, Unacknowledged),
        (Happened::Acknowledged, By::Person) => {
            asked == Asked::Acknowledge
                && matches!(
                    (from, to),
                    (Unacknowledged, Acknowledged) | (ReturnedUnacknowledged, Normal)
                )
        }
        (Happened::Returned, By::Condition) => matches!(
            (from, to),
            (Unacknowledged, ReturnedUnacknowledged) | (Acknowledged, Normal)
        ),
        (Happened::Shelved, By::Person) => asked == Asked::Shelve && to == Shelved,
        (Happened::Unshelved, By::Person) => {
            asked == Asked::Shelve && from == Shelved && to != Shelved
        }
        (Happened::Unshelved, By::Time) => from == Shelved && matches!(to, Unacknowledged | Normal),
        (Happened::Forgotten, By::Calibration) => asked == Asked::Forget && to == Normal,
        _ => false,
    };
    fits && (by != By::Person || person) && shelved_until_secs.is_some() == (to == Shelved)
}

/// What was asked of the book.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asked {
    Nothing,
    Acknowledge,
    Shelve,
    Forget,
}

#[test]
fn operations_in_random_order_keep_the_rules() {
    for seed in 0..40 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let settings = AlarmSettings {
            re_alarm_secs: 300.0,
            longest_shelving_secs: 500.0,
            ..AlarmSettings::default()
        };
        let mut book = AlarmBook::new(settings.clone());
        let mut known: BTreeMap<(Option<FeedNumber>, Cause), Known> = BTreeMap::new();
        let mut now = 0.0_f64;
        for _ in 0..800 {
            let at = match rng.random_range(0..12) {
                0 => f64::NAN,
                1 => now - 50.0,
                _ => now + rng.random::<f64>() * 20.0,
            };
            if at > now {
                now = at;
            }
            let feed = match rng.random_range(0..4) {
                0 => None,
                n => Some(FeedNumber(n)),
            };
            let cause = Cause::ALL[rng.random_range(0..7)];
            let key = (feed, cause);
            let mut asked = Asked::Nothing;
            for entry in known.values_mut() {
                entry.told_before = entry.told;
            }
            let changes = match rng.random_range(0..10) {
                0 => {
                    asked = Asked::Acknowledge;
                    book.acknowledge(at, feed, cause)
                }
                1 if rng.random_range(0..4) == 0 => {
                    asked = Asked::Acknowledge;
                    book.acknowledge_all(at)
                }
                2 if rng.random_range(0..4) == 0 => {
                    asked = Asked::Shelve;
                    book.shelve(at, feed, cause, rng.random_range(-10.0..600.0))
                }
                2 if rng.random_range(0..4) == 0 => {
                    asked = Asked::Shelve;
                    book.unshelve(at, feed, cause)
                }
                2 if rng.random_range(0..20) == 0 => {
                    asked = Asked::Forget;
                    let forgotten = FeedNumber(1);
                    let changes = book.forget(at, forgotten);
                    for (key, entry) in &mut known {
                        if key.0 == Some(forgotten) {
                            entry.told = Condition::Clear;
                            entry.told_before = Condition::Clear;
                            entry.since_secs = f64::NEG_INFINITY;
                        }
                    }
                    changes
                }
                3 => book.tick(at),
                _ => {
                    let condition = match rng.random_range(0..8) {
                        0..3 => Condition::Active,
                        3 => Condition::Certain,
                        4..7 => Condition::Clear,
                        _ => Condition::Unknown,
                    };
                    let changes = book.condition(at, feed, cause, condition);
                    let entry = known.entry(key).or_insert(Known {
                        told: Condition::Clear,
                        told_before: Condition::Clear,
                        since_secs: now,
                        state: AlarmState::Normal,
                    });
                    let there = |c| matches!(c, Condition::Active | Condition::Certain);
                    if there(entry.told) != there(condition) || entry.told == Condition::Unknown {
                        entry.since_secs = now;
                    }
                    entry.told = condition;
                    changes
                }
            };

            // Changes follow the transitions of the standard, one after the other.
            for alarm in &changes {
                let entry = known.entry((alarm.feed, alarm.cause)).or_insert(Known {
                    told: Condition::Clear,
                    told_before: Condition::Clear,
                    since_secs: now,
                    state: AlarmState::Normal,
                });
                assert!(
                    may_follow(entry.state, alarm.state),
                    "{:?} → {:?} for {alarm:?}",
                    entry.state,
                    alarm.state
                );
                // Each step has its name, and only a person acknowledges and shelves.
                assert!(
                    step_fits(entry.state, alarm.state, alarm.step, asked),
                    "{:?} → {:?}: {:?} when asked for {asked:?}",
                    entry.state,
                    alarm.state,
                    alarm.step
                );
                // No person clears an active condition.
                if entry.state == AlarmState::Acknowledged && alarm.state == AlarmState::Normal {
                    let there = |c| matches!(c, Condition::Active | Condition::Certain);
                    assert!(!there(entry.told) || !there(entry.told_before));
                }
                assert_eq!(alarm.since_secs, now);
                entry.state = alarm.state;
            }

            // One alarm per feed and cause, as the changes told; none of them normal.
            let standing = book.standing();
            let mut seen = BTreeMap::new();
            for alarm in &standing {
                assert!(alarm.state != AlarmState::Normal);
                assert!(
                    seen.insert((alarm.feed, alarm.cause), alarm.state)
                        .is_none()
                );
            }
            for (key, entry) in &known {
                let state = seen.get(key).copied().unwrap_or(AlarmState::Normal);
                assert_eq!(state, entry.state, "{key:?}");
                assert_eq!(book.state(key.0, key.1), state);
                let for_secs = now - entry.since_secs;
                let delays = settings.delays(key.1);
                let is_due = match entry.told {
                    Condition::Certain => true,
                    Condition::Active => for_secs >= delays.on_secs + 1e-9,
                    Condition::Clear | Condition::Unknown => false,
                };
                // What is active beyond its on-delay is neither normal nor over.
                if is_due {
                    assert!(
                        matches!(
                            state,
                            AlarmState::Unacknowledged
                                | AlarmState::Acknowledged
                                | AlarmState::Shelved
                        ),
                        "{key:?} {:?} for {for_secs} s is {state:?}",
                        entry.told
                    );
                }
                // What is clear beyond its off-delay is not told as active.
                if entry.told == Condition::Clear && for_secs >= delays.off_secs + 1e-9 {
                    assert!(!matches!(
                        state,
                        AlarmState::Unacknowledged | AlarmState::Acknowledged
                    ));
                }
                if state == AlarmState::Shelved {
                    let until = book.shelved_until_secs(key.0, key.1).unwrap();
                    let shown = standing.iter().find(|a| (a.feed, a.cause) == *key).unwrap();
                    assert_eq!(shown.step.shelved_until_secs, Some(until));
                    assert!(until > now && until <= now + 500.0);
                }
            }
            // Sorted: what sounds comes first.
            let sounds: Vec<bool> = standing
                .iter()
                .map(|a| a.state == AlarmState::Unacknowledged)
                .collect();
            assert!(sounds.is_sorted_by(|a, b| a >= b));
        }
    }
}
