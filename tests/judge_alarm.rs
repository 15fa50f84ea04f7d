//! The life of alarms: each transition of ANSI/ISA-18.2 and IEC 62682 (read in public documents
//! that put them into practice), delays, shelving, re-alarm.

use beadtally::base::FeedNumber;
use beadtally::judge::{
    Alarm, AlarmBook, AlarmSettings, AlarmState, By, Cause, Condition, Delays, FeedState, Happened,
};

const FEED: Option<FeedNumber> = Some(FeedNumber(1));

fn states(changes: &[Alarm]) -> Vec<AlarmState> {
    changes.iter().map(|alarm| alarm.state).collect()
}

/// A book whose low alarm has the given delays and no other delays.
fn book(on_secs: f64, off_secs: f64) -> AlarmBook {
    AlarmBook::new(AlarmSettings {
        low: Delays { on_secs, off_secs },
        ..AlarmSettings::immediate()
    })
}

#[test]
fn every_transition() {
    let mut book = book(0.0, 0.0);
    let low = |book: &mut AlarmBook, at, condition| {
        states(&book.condition(at, FEED, Cause::Low, condition))
    };
    // A → B, by the condition.
    assert_eq!(
        low(&mut book, 1.0, Condition::Active),
        [AlarmState::Unacknowledged]
    );
    assert_eq!(low(&mut book, 2.0, Condition::Active), []);
    // B → C, by acknowledging.
    assert_eq!(
        states(&book.acknowledge(3.0, FEED, Cause::Low)),
        [AlarmState::Acknowledged]
    );
    assert_eq!(states(&book.acknowledge(3.0, FEED, Cause::Low)), []);
    // C → A, clear.
    assert_eq!(low(&mut book, 4.0, Condition::Clear), [AlarmState::Normal]);
    assert_eq!(book.standing(), []);
    // A → B → D, clear without acknowledging.
    assert_eq!(
        low(&mut book, 5.0, Condition::Active),
        [AlarmState::Unacknowledged]
    );
    assert_eq!(
        low(&mut book, 6.0, Condition::Clear),
        [AlarmState::ReturnedUnacknowledged]
    );
    // D → B, it recurs.
    assert_eq!(
        low(&mut book, 7.0, Condition::Active),
        [AlarmState::Unacknowledged]
    );
    assert_eq!(
        low(&mut book, 8.0, Condition::Clear),
        [AlarmState::ReturnedUnacknowledged]
    );
    // D → A, by acknowledging.
    assert_eq!(
        states(&book.acknowledge(9.0, FEED, Cause::Low)),
        [AlarmState::Normal]
    );
    // Acknowledging what is normal, or never was, does nothing.
    assert_eq!(book.acknowledge(10.0, FEED, Cause::Low), []);
    assert_eq!(book.acknowledge(10.0, None, Cause::CameraLost), []);
}

#[test]
fn a_value_jittering_about_a_limit_gives_one_alarm() {
    // The condition flips every second for ten minutes, as it would without any deadband.
    let mut book = book(0.0, 10.0);
    let mut changes = Vec::new();
    for second in 0..600 {
        let condition = if second % 2 == 0 {
            Condition::Active
        } else {
            Condition::Clear
        };
        changes.extend(book.condition(f64::from(second), FEED, Cause::Low, condition));
    }
    assert_eq!(states(&changes), [AlarmState::Unacknowledged]);
}

#[test]
fn a_spike_shorter_than_the_on_delay_gives_none() {
    let mut book = AlarmBook::default();
    let mut changes = Vec::new();
    for spike in 0..50 {
        let at = 100.0 * f64::from(spike);
        changes.extend(book.condition(at, FEED, Cause::Low, Condition::Active));
        changes.extend(book.tick(at + 59.0));
        changes.extend(book.condition(at + 59.5, FEED, Cause::Low, Condition::Clear));
    }
    assert_eq!(changes, []);
    // One second more is enough, and it comes by itself as time passes.
    book.condition(6000.0, FEED, Cause::Low, Condition::Active);
    assert_eq!(book.tick(6059.9), []);
    let changes = book.tick(6060.0);
    assert_eq!(states(&changes), [AlarmState::Unacknowledged]);
    assert_eq!(changes[0].since_secs, 6060.0);
}

#[test]
fn the_usual_delays() {
    for (cause, secs) in [
        (Cause::Stopped, 0.0),
        (Cause::FarHigh, 10.0),
        (Cause::Low, 60.0),
        (Cause::High, 60.0),
        (Cause::CannotSee, 5.0),
        (Cause::CameraLost, 2.0),
    ] {
        let mut book = AlarmBook::default();
        let at_once = book.condition(100.0, None, cause, Condition::Active);
        assert_eq!(at_once.is_empty(), secs > 0.0, "{cause:?}");
        if secs > 0.0 {
            assert_eq!(book.tick(100.0 + secs - 0.01), [], "{cause:?}");
            assert_eq!(book.tick(100.0 + secs).len(), 1, "{cause:?}");
        }
    }
}

#[test]
fn what_is_certain_does_not_wait() {
    let mut book = AlarmBook::default();
    assert_eq!(
        book.condition(1.0, FEED, Cause::FarHigh, Condition::Active),
        []
    );
    let changes = book.condition(2.0, FEED, Cause::FarHigh, Condition::Certain);
    assert_eq!(states(&changes), [AlarmState::Unacknowledged]);
}

#[test]
fn an_alarm_clears_after_its_off_delay_only() {
    let mut book = book(0.0, 10.0);
    book.condition(0.0, FEED, Cause::Low, Condition::Active);
    assert_eq!(book.condition(5.0, FEED, Cause::Low, Condition::Clear), []);
    assert_eq!(book.tick(14.9), []);
    assert_eq!(
        states(&book.tick(15.0)),
        [AlarmState::ReturnedUnacknowledged]
    );
}

#[test]
fn not_knowing_changes_nothing_and_no_delay_runs() {
    // Active and blind: it stands.
    let mut book = book(60.0, 10.0);
    book.condition(0.0, FEED, Cause::Low, Condition::Active);
    book.tick(60.0);
    assert_eq!(
        book.condition(70.0, FEED, Cause::Low, Condition::Unknown),
        []
    );
    assert_eq!(book.tick(10_000.0), []);
    assert_eq!(book.state(FEED, Cause::Low), AlarmState::Unacknowledged);
    // Waiting and blind: the delay starts anew when it can be seen again.
    let mut waiting = self::book(60.0, 10.0);
    waiting.condition(0.0, FEED, Cause::Low, Condition::Active);
    waiting.condition(50.0, FEED, Cause::Low, Condition::Unknown);
    waiting.condition(500.0, FEED, Cause::Low, Condition::Active);
    assert_eq!(waiting.tick(559.0), []);
    assert_eq!(waiting.tick(560.0).len(), 1);
}

#[test]
fn all_are_acknowledged_at_once() {
    let mut book = book(0.0, 0.0);
    for feed in 1..=3 {
        book.condition(
            1.0,
            Some(FeedNumber(feed)),
            Cause::Stopped,
            Condition::Active,
        );
    }
    book.condition(2.0, Some(FeedNumber(2)), Cause::Stopped, Condition::Clear);
    let changes = book.acknowledge_all(3.0);
    assert_eq!(
        states(&changes),
        [
            AlarmState::Acknowledged,
            AlarmState::Normal,
            AlarmState::Acknowledged
        ]
    );
    assert_eq!(book.acknowledge_all(4.0), []);
    assert_eq!(book.standing().len(), 2);
}

#[test]
fn the_most_pressing_stands_first() {
    let mut book = AlarmBook::new(AlarmSettings::immediate());
    for cause in [
        Cause::High,
        Cause::Low,
        Cause::LogbookNotWritten,
        Cause::CannotSee,
        Cause::FarHigh,
        Cause::Stopped,
        Cause::CameraLost,
    ] {
        book.condition(1.0, FEED, cause, Condition::Active);
    }
    let causes = |book: &AlarmBook| -> Vec<Cause> {
        book.standing().iter().map(|alarm| alarm.cause).collect()
    };
    assert_eq!(causes(&book), Cause::ALL);
    // What a person knows of comes after what nobody has seen yet.
    book.acknowledge(2.0, FEED, Cause::CameraLost);
    book.condition(2.0, FEED, Cause::Stopped, Condition::Clear);
    let now = causes(&book);
    assert_eq!(now[0], Cause::FarHigh);
    assert_eq!(now[5..], [Cause::CameraLost, Cause::Stopped]);
}

#[test]
fn a_shelved_alarm_is_silent_until_its_time() {
    let mut book = book(0.0, 0.0);
    book.condition(0.0, FEED, Cause::Low, Condition::Active);
    let changes = book.shelve(10.0, FEED, Cause::Low, 100.0);
    assert_eq!(states(&changes), [AlarmState::Shelved]);
    assert_eq!(book.shelved_until_secs(FEED, Cause::Low), Some(110.0));
    assert_eq!(book.acknowledge_all(20.0), []);
    assert_eq!(book.condition(30.0, FEED, Cause::Low, Condition::Clear), []);
    assert_eq!(
        book.condition(40.0, FEED, Cause::Low, Condition::Active),
        []
    );
    assert_eq!(book.tick(109.9), []);
    assert_eq!(states(&book.tick(110.0)), [AlarmState::Unacknowledged]);
    // Taken off the shelf by hand when clear: normal.
    book.shelve(120.0, FEED, Cause::Low, 1000.0);
    book.condition(130.0, FEED, Cause::Low, Condition::Clear);
    assert_eq!(
        states(&book.shelve(140.0, FEED, Cause::Low, 0.0)),
        [AlarmState::Normal]
    );
    // Shelving anew moves its end, and is told.
    book.shelve(145.0, FEED, Cause::Low, 10.0);
    let moved = book.shelve(146.0, FEED, Cause::Low, 100.0);
    assert_eq!(states(&moved), [AlarmState::Shelved]);
    assert_eq!(moved[0].step.shelved_until_secs, Some(246.0));
    assert_eq!(
        (moved[0].step.happened, moved[0].step.by),
        (Happened::Shelved, By::Person)
    );
    // Taking off the shelf what is not on it does nothing.
    assert_eq!(book.unshelve(147.0, FEED, Cause::High), []);
    // Not for longer than a shift.
    book.shelve(150.0, FEED, Cause::Low, f64::INFINITY);
    assert_eq!(
        book.shelved_until_secs(FEED, Cause::Low),
        Some(150.0 + 8.0 * 3600.0)
    );
    assert_eq!(book.shelve(160.0, FEED, Cause::High, f64::NAN), []);
}

#[test]
fn a_pressing_alarm_that_was_acknowledged_and_forgotten_comes_again() {
    let mut book = AlarmBook::default();
    book.condition(0.0, FEED, Cause::Stopped, Condition::Active);
    book.condition(0.0, FEED, Cause::Low, Condition::Active);
    book.tick(60.0);
    book.acknowledge_all(100.0);
    assert_eq!(book.tick(1899.0), []);
    let changes = book.tick(1900.0);
    assert_eq!((changes.len(), changes[0].cause), (1, Cause::Stopped));
    assert_eq!(changes[0].state, AlarmState::Unacknowledged);
    // Low is not pressing.
    assert_eq!(book.state(FEED, Cause::Low), AlarmState::Acknowledged);
}

#[test]
fn a_feed_that_is_watched_no_more_has_no_alarms() {
    let mut book = book(0.0, 0.0);
    book.condition(0.0, FEED, Cause::Low, Condition::Active);
    book.condition(0.0, None, Cause::CameraLost, Condition::Active);
    assert_eq!(
        states(&book.forget(1.0, FeedNumber(1))),
        [AlarmState::Normal]
    );
    assert_eq!(book.standing().len(), 1);
    assert_eq!(book.tick(100.0), []);
}

#[test]
fn times_that_run_backwards_or_are_no_numbers_do_no_harm() {
    let mut book = book(60.0, 0.0);
    book.condition(100.0, FEED, Cause::Low, Condition::Active);
    for odd in [50.0, f64::NAN, f64::NEG_INFINITY, f64::INFINITY, -1e300] {
        assert_eq!(book.tick(odd), []);
        assert_eq!(book.condition(odd, FEED, Cause::Low, Condition::Active), []);
        assert_eq!(book.acknowledge(odd, FEED, Cause::Low), []);
    }
    let changes = book.tick(160.0);
    assert_eq!(states(&changes), [AlarmState::Unacknowledged]);
    // Delays that are no numbers are none.
    let mut odd = self::book(f64::NAN, f64::NAN);
    assert_eq!(
        odd.condition(0.0, FEED, Cause::Low, Condition::Active)
            .len(),
        1
    );
    assert_eq!(
        odd.condition(1.0, FEED, Cause::Low, Condition::Clear).len(),
        1
    );
}

#[test]
fn words_are_those_of_the_standards_and_of_the_design() {
    for state in [
        AlarmState::Normal,
        AlarmState::Unacknowledged,
        AlarmState::Acknowledged,
        AlarmState::ReturnedUnacknowledged,
        AlarmState::Shelved,
    ] {
        let json = serde_json::to_string(&state).unwrap();
        assert_eq!(json, format!("\"{}\"", state.words()));
    }
    for happened in Happened::ALL {
        let json = serde_json::to_string(&happened).unwrap();
        assert_eq!(json, format!("\"{}\"", happened.words()));
    }
    for by in [By::Condition, By::Person, By::Time, By::Calibration] {
        assert_eq!(
            serde_json::to_string(&by).unwrap(),
            format!("\"{}\"", by.words())
        );
    }
    for cause in Cause::ALL {
        assert_eq!(
            serde_json::to_string(&cause).unwrap(),
            format!("\"{}\"", cause.words())
        );
    }
    for state in [
        FeedState::NoReadingYet,
        FeedState::InBand,
        FeedState::CannotSee,
    ] {
        assert_eq!(
            serde_json::to_string(&state).unwrap(),
            format!("\"{}\"", state.words())
        );
    }
}
