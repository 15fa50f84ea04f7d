//! Threads that meet surprises, hang, or are asked to end in the middle of something: each is told,
//! started again where that can be done, and left in time where it cannot.

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use super::grabbing::MOST_SURPRISES;
use super::stage::{Act, Kind, Stage, picture, stage};
use super::*;
use crate::base::{BlindWhy, SystemClock};
use crate::judge::{Cause, FeedState};
use crate::run::{Event, Snapshot};

fn says(snapshot: &Snapshot, words: &str) -> bool {
    let has = |notice: &crate::run::Notice| notice.is_error && notice.words.contains(words);
    snapshot.notice.as_ref().is_some_and(has)
}

#[test]
fn a_camera_that_panics_now_and_then_is_asked_again_and_told() {
    let mut acts: Vec<Act> = (0..10).map(picture).collect();
    for round in 0..5_u64 {
        acts.extend([Act::Panic, Act::Panic]);
        acts.push(picture(10 + round));
    }
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |_| {});
    let events = stage.runner.events();
    let snapshot = stage.wait_for(|snapshot| {
        let number = snapshot.frame.as_ref().map(|frame| frame.number);
        number == Some(14) && says(snapshot, "started again")
    });
    assert!(
        says(&snapshot, "takes the pictures"),
        "{:?}",
        snapshot.notice
    );
    assert!(says(&snapshot, "scripted surprise"));
    assert!(!snapshot.ended);
    // After a minute it has been told for long enough.
    stage.clock.advance(61.0);
    stage.wait_for(|snapshot| snapshot.notice.is_none() || says(snapshot, "does not answer"));
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
    let surprises = events.try_iter().filter(
        |event| matches!(&**event, Event::Gap { why, .. } if why.contains("met a surprise")),
    );
    assert_eq!(surprises.count(), 10);
}

#[test]
fn a_source_that_only_panics_is_told_and_no_feed_stays_shown_as_seen() {
    for kind in [Kind::Camera, Kind::Clip] {
        let mut acts: Vec<Act> = (0..20).map(picture).collect();
        // A clip is not asked again: it would begin in the middle.
        let panics = match kind {
            Kind::Camera => MOST_SURPRISES + 1,
            Kind::Clip => 1,
        };
        acts.extend((0..panics).map(|_| Act::Panic));
        let stage = stage(kind, acts, |_| {});
        let dead = |snapshot: &Snapshot| says(snapshot, "has died (a scripted surprise)");
        stage.wait_for(|snapshot| dead(snapshot) && snapshot.ended);
        if matches!(kind, Kind::Camera) {
            // Time goes on, and what nobody sees is shown as not seen.
            stage.pass(3.0);
            let snapshot = stage.wait_for(|snapshot| snapshot.now_secs >= 4.0);
            assert_eq!(snapshot.feeds[0].state, FeedState::CannotSee);
            assert_eq!(snapshot.feeds[0].blind, Some(BlindWhy::CameraLost));
            assert!(dead(&snapshot), "it stays told");
        }
        assert!(stage.runner.stop().left.is_empty());
    }
}

/// A camera whose counting part panics in some of its snapshots.
fn panics_in(snapshots: impl Fn(u64) -> bool + Send + Sync + 'static) -> Stage {
    let calls = AtomicU64::new(0);
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Wait);
    acts.extend((20..40).map(picture));
    acts.push(Act::Wait);
    stage(Kind::Camera, acts, |settings| {
        settings.on_change = Some(Box::new(move || {
            let call = calls.fetch_add(1, Ordering::Relaxed);
            assert!(!snapshots(call), "a screen's surprise");
        }));
    })
}

#[test]
fn a_counting_part_that_panics_is_started_again_and_what_was_in_flight_is_a_blind_spell() {
    let stage = panics_in(|call| call == 3);
    let events = stage.runner.events();
    stage.wait_for(|snapshot| says(snapshot, "counts the drops"));
    stage.go.send(()).unwrap();
    let snapshot = stage.wait_for(|snapshot| {
        snapshot.frame.as_ref().map(|frame| frame.number) == Some(39) && !snapshot.feeds.is_empty()
    });
    assert!(says(&snapshot, "started again"), "{:?}", snapshot.notice);
    assert!(!snapshot.ended);
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
    let events: Vec<_> = events.try_iter().collect();
    assert!(events.iter().any(|event| {
        matches!(&**event, Event::Gap { why, .. } if why.contains("a screen's surprise"))
    }));
    let spell = events.iter().any(|event| {
        matches!(&**event, Event::Blind { feed: Some(_), why: BlindWhy::Starting, from_secs, to_secs }
            if to_secs >= from_secs)
    });
    assert!(spell, "{events:?}");
}

#[test]
fn a_counting_part_that_only_panics_is_told_and_shows_nothing_as_seen() {
    let stage = panics_in(|call| call >= 3);
    let snapshot =
        stage.wait_for(|snapshot| says(snapshot, "counts the drops") && says(snapshot, "has died"));
    assert!(
        snapshot
            .feeds
            .iter()
            .all(|feed| { feed.state == FeedState::CannotSee && feed.reading.is_none() })
    );
    assert!(
        snapshot
            .alarms
            .iter()
            .any(|alarm| alarm.feed.is_none() && alarm.cause == Cause::CannotSee)
    );
    // The camera may be let go by then.
    let _ = stage.go.send(());
    let _ = stage.go.send(());
    assert!(stage.runner.stop().left.is_empty());
}

#[test]
fn a_camera_that_says_nothing_at_all_is_not_seen_and_its_driver_is_told_to_hang() {
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |_| {});
    stage.wait_for(|snapshot| snapshot.now_secs > 1.85);
    stage.pass(3.0);
    let snapshot = stage.wait_for(|snapshot| snapshot.now_secs >= 4.5);
    assert_eq!(snapshot.feeds[0].state, FeedState::CannotSee);
    assert_eq!(snapshot.feeds[0].blind, Some(BlindWhy::NoFrames));
    stage.pass(3.0);
    stage.wait_for(|snapshot| says(snapshot, "driver may hang"));
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
}

#[test]
fn a_logbook_held_by_another_program_does_not_hold_up_the_end() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |settings| {
        settings.logbook = Some(path.clone());
        settings.recording = Recording::AtOnce(String::new());
    });
    stage.wait_for(|snapshot| snapshot.run.as_ref().is_some_and(|run| run.id > 0));
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    stage.wait_for(|snapshot| snapshot.now_secs > 1.85);
    stage.go.send(()).unwrap();
    let real = SystemClock::new();
    let stopped = stage.runner.stop();
    let took_secs = real.monotonic_secs();
    assert!(took_secs < 2.0, "{took_secs}");
    assert!(stopped.left.is_empty(), "{:?}", stopped.left);
    let status = stopped.logbook.unwrap();
    assert!(status.failing.is_some(), "it is told: {status:?}");
}

#[test]
fn asking_for_the_end_while_nothing_answers_takes_less_than_two_seconds() {
    // The source hangs before its first picture, and no glass is known.
    let stage = stage(Kind::Camera, vec![Act::Wait], |settings| {
        settings.calibration = None;
    });
    stage.reached.recv_timeout(Duration::from_secs(20)).unwrap();
    let real = SystemClock::new();
    let stopped = stage.runner.stop();
    assert!(real.monotonic_secs() < 2.0);
    assert_eq!(stopped.left, ["capture"]);
    stage.go.send(()).unwrap();
}

#[test]
fn a_run_that_begins_at_a_picture_whose_time_is_no_number_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut acts: Vec<Act> = (0..10).map(picture).collect();
    let luma = image::GrayImage::new(160, 120);
    let frame = crate::base::Frame::new(10, f64::NAN, luma);
    acts.push(Act::Bring(crate::capture::Grab::Frame(frame)));
    acts.push(Act::Bring(crate::capture::Grab::Lost {
        at_secs: f64::NAN,
        why: "Gone.".to_owned(),
    }));
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |settings| {
        settings.logbook = Some(path.clone());
    });
    stage.wait_for(|snapshot| says(snapshot, "Gone."));
    stage.runner.send(crate::run::Intent::StartRun {
        title: String::new(),
    });
    stage.wait_for(|snapshot| snapshot.run.as_ref().is_some_and(|run| run.id > 0));
    stage.go.send(()).unwrap();
    let stopped = stage.runner.stop();
    let status = stopped.logbook.unwrap();
    assert_eq!((status.lost, status.failing), (0, None));
}
