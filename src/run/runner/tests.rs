//! The runner with scripted sources and a clock turned by hand. Where a test must wait for another
//! thread it waits for that thread's own sign, a new snapshot, never for a time.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use super::stage::{Act, Kind, Until, picture, stage};
use super::*;
use crate::base::{Clock, FeedNumber, ManualClock, SystemClock};
use crate::capture::{Grab, Source};
use crate::judge::{Alarm, AlarmState, Cause, FeedState};
use crate::run::logbook::LogbookReader;
use crate::run::{Event, Intent, Snapshot};

fn gaps(events: &Receiver<Arc<Event>>) -> Vec<String> {
    events
        .try_iter()
        .filter_map(|event| match &*event {
            Event::Gap { why, .. } => Some(why.clone()),
            _ => None,
        })
        .collect()
}

#[test]
fn frames_that_find_the_queue_full_are_dropped_and_told() {
    let too_many = FRAME_QUEUE as u64 + 18;
    let mut acts: Vec<Act> = (0..too_many).map(picture).collect();
    acts.push(Act::Wait);
    acts.push(picture(too_many));
    acts.push(Act::Wait);
    // *measure* is held in its first snapshot until the queue has run over.
    let (open_gate, gate) = sync_channel::<()>(1);
    let gate = Mutex::new(gate);
    let held = AtomicBool::new(false);
    let stage = stage(Kind::Camera, acts, |settings| {
        settings.on_change = Some(Box::new(move || {
            if !held.swap(true, Ordering::Relaxed) {
                let _ = gate.lock().unwrap().recv();
            }
        }));
    });
    let events = stage.runner.events();
    let number = |snapshot: &Snapshot| snapshot.frame.as_ref().map(|frame| frame.number);
    stage.reached.recv_timeout(Duration::from_secs(20)).unwrap();
    open_gate.send(()).unwrap();
    // What found room is measured before the next picture comes.
    stage.wait_for(|snapshot| number(snapshot) == Some(FRAME_QUEUE as u64 - 1));
    stage.go.send(()).unwrap();
    stage.wait_for(|snapshot| number(snapshot) == Some(too_many));
    stage.go.send(()).unwrap();
    let stopped = stage.runner.stop();
    assert!(stopped.left.is_empty());
    let told = gaps(&events);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(
        told[0].contains("18 frames were dropped because counting"),
        "{told:?}"
    );
}

#[test]
fn a_clip_waits_and_drops_nothing() {
    let many = FRAME_QUEUE as u64 * 3;
    let stage = stage(Kind::Clip, (0..many).map(picture).collect(), |_| {});
    let events = stage.runner.events();
    let snapshot = stage.wait_for(|snapshot| snapshot.ended);
    assert_eq!(snapshot.frame.as_ref().unwrap().number, many - 1);
    assert_eq!(gaps(&events), Vec::<String>::new());
    // The queue of events ends with the clip.
    while events.recv_timeout(Duration::from_secs(20)).is_ok() {}
    assert!(stage.runner.stop().left.is_empty());
}

#[test]
fn stopping_joins_every_thread_and_leaves_one_that_hangs() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut acts: Vec<Act> = (0..5).map(picture).collect();
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |settings| {
        settings.logbook = Some(path.clone());
        settings.recording = Recording::AtOnce("bench".to_owned());
    });
    stage.wait_for(|snapshot| snapshot.now_secs > 0.15);
    let real = SystemClock::new();
    let stopped = stage.runner.stop();
    let took_secs = real.monotonic_secs();
    assert_eq!(stopped.left, ["capture"], "the source hangs in its driver");
    assert!(took_secs < 2.0, "{took_secs}");
    let status = stopped.logbook.unwrap();
    assert_eq!((status.lost, status.failing), (0, None));
    let run = LogbookReader::open(&path)
        .unwrap()
        .runs()
        .unwrap()
        .pop()
        .unwrap();
    assert_eq!(run.ending.words(), "ended");
    assert_eq!(run.title, "bench");
    // Let go, it comes back too.
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
}

#[test]
fn a_counting_part_that_hangs_is_told_by_the_snapshot_itself() {
    let (open_gate, gate) = sync_channel::<()>(1);
    let gate = Mutex::new(gate);
    let calls = AtomicU64::new(0);
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |settings| {
        settings.on_change = Some(Box::new(move || {
            if calls.fetch_add(1, Ordering::Relaxed) == 5 {
                let _ = gate.lock().unwrap().recv();
            }
        }));
    });
    let hangs = |snapshot: &Snapshot| {
        snapshot
            .notice
            .as_ref()
            .is_some_and(|notice| notice.words.contains("does not answer"))
    };
    stage.wait_for(|snapshot| snapshot.number >= 5);
    let real = SystemClock::new();
    stage.clock.advance(3.0);
    while !hangs(&stage.runner.snapshot()) && real.monotonic_secs() < 20.0 {
        stage.clock.advance(0.5);
        real.wait_secs(0.01);
    }
    let snapshot = stage.runner.snapshot();
    assert!(hangs(&snapshot), "{:?}", snapshot.notice);
    assert_eq!(snapshot.feeds[0].state, FeedState::CannotSee);
    let measure = snapshot
        .heartbeats
        .iter()
        .find(|(name, _)| *name == "measure");
    assert!(measure.unwrap().1 > HUNG_FOR_TEST_SECS);
    open_gate.send(()).unwrap();
    stage.wait_for(|snapshot| !hangs(snapshot));
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
}

/// A screen must not show old figures for longer than three seconds.
const HUNG_FOR_TEST_SECS: f64 = 2.0;

#[test]
fn a_clip_that_is_cut_is_told_with_what_was_counted() {
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Fail);
    let stage = stage(Kind::Clip, acts, |_| {});
    let snapshot = stage.wait_for(|snapshot| snapshot.ended && snapshot.notice.is_some());
    assert_eq!(snapshot.notice.as_ref().unwrap().words, "The clip is cut.");
    assert_eq!(snapshot.frame.as_ref().unwrap().number, 19);
    assert!(stage.runner.stop().left.is_empty());
}

#[test]
fn a_camera_lost_is_told_until_it_is_back() {
    let lost = |at_secs| {
        Act::Bring(Grab::Lost {
            at_secs,
            why: "The camera was unplugged.".to_owned(),
        })
    };
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.extend((0..8).map(|n| lost(2.0 + f64::from(n) * 0.5)));
    acts.push(Act::Wait);
    acts.extend((60..80).map(picture));
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |_| {});
    let events = stage.runner.events();
    let snapshot = stage.wait_for(|snapshot| {
        snapshot
            .alarms
            .iter()
            .any(|alarm| alarm.cause == Cause::CameraLost)
    });
    assert_eq!(snapshot.feeds[0].state, FeedState::CannotSee);
    assert_eq!(
        snapshot.notice.as_ref().unwrap().words,
        "The camera was unplugged."
    );
    stage.go.send(()).unwrap();
    stage.wait_for(|snapshot| snapshot.notice.is_none() && snapshot.now_secs > 7.9);
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
    let blind = events.try_iter().any(|event| {
        matches!(&*event, Event::Blind { from_secs, to_secs, .. }
            if *from_secs <= 2.1 && *to_secs >= 5.0)
    });
    assert!(blind, "the time without a camera is a blind spell");
}

#[test]
fn runs_marks_and_the_wall_clock_reach_the_logbook() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Wait);
    acts.extend((20..40).map(picture));
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |settings| {
        settings.logbook = Some(path.clone());
    });
    stage.wait_for(|snapshot| snapshot.now_secs > 1.85);
    stage.runner.send(Intent::StartRun {
        title: "as found".to_owned(),
    });
    stage.runner.send(Intent::Mark {
        feed: None,
        words: "valve 1 opened".to_owned(),
    });
    stage.wait_for(|snapshot| snapshot.run.is_some());
    // Somebody sets the computer's clock back by an hour.
    stage.clock.set_wall(stage.clock.wall_secs() - 3600.0);
    stage.go.send(()).unwrap();
    stage.wait_for(|snapshot| snapshot.now_secs > 3.85);
    stage.runner.send(Intent::EndRun);
    stage.wait_for(|snapshot| snapshot.run.is_none());
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
    let reader = LogbookReader::open(&path).unwrap();
    let contents = reader.contents(1).unwrap();
    assert_eq!(contents.summary.title, "as found");
    assert_eq!(contents.summary.ending.words(), "ended");
    assert_eq!(contents.summary.source_identity, "script-1");
    assert_eq!(contents.marks.len(), 1);
    assert!((1.8..2.5).contains(&contents.marks[0].at_secs));
    let steps: Vec<f64> = contents
        .clocks
        .iter()
        .map(|clock| clock.stepped_secs)
        .filter(|step| *step != 0.0)
        .collect();
    assert_eq!(steps.len(), 1, "{:?}", contents.clocks);
    assert!((steps[0] + 3600.0).abs() < 1.0);
    assert!((contents.summary.to_secs - 3.9).abs() < 0.5);
}

#[test]
fn a_run_in_the_midst_of_a_blind_spell_tells_what_stands_and_what_is_unseen() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |settings| {
        settings.logbook = Some(path.clone());
    });
    stage.wait_for(|snapshot| snapshot.now_secs > 1.85);
    // The camera says nothing more.
    stage.pass(9.0);
    stage.wait_for(|snapshot| {
        let of_feed = |alarm: &Alarm| alarm.cause == Cause::CannotSee && alarm.feed.is_some();
        snapshot.alarms.iter().any(of_feed)
    });
    stage.runner.send(Intent::StartRun {
        title: String::new(),
    });
    stage.wait_for(|snapshot| snapshot.run.is_some());
    stage.runner.send(Intent::Shelve {
        feed: Some(FeedNumber(1)),
        cause: Cause::CannotSee,
        for_secs: 600.0,
    });
    let shelved = stage.wait_for(|snapshot| {
        let is_shelved = |alarm: &Alarm| alarm.state == AlarmState::Shelved;
        snapshot.alarms.iter().any(is_shelved)
    });
    let until_secs = shelved.alarms[0].step.shelved_until_secs.unwrap();
    assert!((shelved.now_secs + 590.0..=shelved.now_secs + 600.0).contains(&until_secs));
    stage.runner.send(Intent::EndRun);
    stage.wait_for(|snapshot| snapshot.run.is_none());
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
    let contents = LogbookReader::open(&path).unwrap().contents(1).unwrap();
    let steps: Vec<(&str, &str, Option<&str>)> = contents
        .alarms
        .iter()
        .map(|row| {
            (
                row.cause.as_str(),
                row.state.as_str(),
                row.happened.as_deref(),
            )
        })
        .collect();
    assert_eq!(
        steps,
        [
            (
                "cannot see",
                "unacknowledged",
                Some("stood when the run began")
            ),
            ("cannot see", "shelved", Some("shelved")),
        ]
    );
    assert_eq!(contents.alarms[1].by_whom.as_deref(), Some("a person"));
    assert_eq!(contents.blind.len(), 1, "{:?}", contents.blind);
    assert_eq!(contents.blind[0].why, "no frames");
    assert!((1.8..2.0).contains(&contents.blind[0].from_secs));
}

#[test]
fn a_logbook_that_cannot_be_written_raises_an_alarm_and_counting_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    // A folder stands where the file should be.
    let path = folder.path().join("logbook.sqlite3");
    std::fs::create_dir(&path).unwrap();
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Wait);
    acts.extend((20..50).map(picture));
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |settings| {
        settings.logbook = Some(path.clone());
        settings.recording = Recording::AtOnce(String::new());
    });
    let told = |snapshot: &Snapshot| {
        snapshot
            .notice
            .as_ref()
            .is_some_and(|notice| notice.is_error && notice.words.contains("cannot be opened"))
    };
    // The clock stands still while the script waits, so it is turned here.
    stage.wait_for(|snapshot| snapshot.now_secs > 1.85);
    let turned = || {
        stage.clock.advance(0.3);
        told(&stage.runner.snapshot())
    };
    stage.wait_for(|_| turned());
    // Room is made; the run is written from its start.
    std::fs::remove_dir(&path).unwrap();
    stage.wait_for(|snapshot| {
        stage.clock.advance(0.3);
        snapshot.run.as_ref().is_some_and(|run| run.id > 0)
    });
    stage.go.send(()).unwrap();
    stage.go.send(()).unwrap();
    let stopped = stage.runner.stop();
    assert_eq!(stopped.logbook.unwrap().lost, 0);
    let run = LogbookReader::open(&path)
        .unwrap()
        .runs()
        .unwrap()
        .pop()
        .unwrap();
    assert_eq!(run.from_secs, 0.0);
}

#[test]
fn while_the_glasses_are_looked_for_no_bead_is_lost() {
    const SECS: f64 = 12.0;
    let words = "feeds=2,rates=20;30,kind=tube,gas=0,seed=5";
    let mut truth = crate::capture::demo::DemoSource::from_words(words).unwrap();
    while !matches!(truth.next().unwrap(), Grab::Frame(frame) if frame.at_secs > SECS) {}
    let truth = truth.truth();

    let clock: Arc<dyn Clock> = Arc::new(ManualClock::new(0.0));
    let source = crate::capture::demo::open(words).unwrap();
    let settings = RunnerSettings::new(Box::new(Until {
        inner: source,
        until_secs: SECS,
    }));
    let runner = Runner::start(settings, clock).unwrap();
    let events = runner.events();
    let mut counted: Vec<(u16, f64)> = Vec::new();
    while let Ok(event) = events.recv_timeout(Duration::from_mins(2)) {
        if let Event::Bead { feed, bead } = &*event
            && event.is_drop()
        {
            counted.push((feed.0, bead.at_secs));
        }
    }
    let snapshot = runner.snapshot();
    assert!(snapshot.ended);
    assert_eq!(snapshot.feeds.len(), 2);
    // The first half second shows no rest yet, and the last bead may still be on its way.
    let wanted: Vec<(u16, f64)> = truth
        .beads
        .iter()
        .filter(|bead| (1.5..SECS - 1.5).contains(&bead.at_secs))
        .map(|bead| (bead.feed.0, bead.at_secs))
        .collect();
    let early = wanted.iter().filter(|(_, at)| *at < FIND_SECS).count();
    assert!(
        early >= 3,
        "the check needs beads in the search: {wanted:?}"
    );
    for (feed, at_secs) in &wanted {
        let found = counted
            .iter()
            .filter(|(f, at)| f == feed && (at - at_secs).abs() < 0.4)
            .count();
        assert_eq!(found, 1, "feed {feed} at {at_secs}: {counted:?}");
    }
}

#[test]
fn no_run_starts_when_the_clip_is_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let stage = stage(Kind::Clip, (0..20).map(picture).collect(), |settings| {
        settings.logbook = Some(path.clone());
    });
    stage.wait_for(|snapshot| snapshot.ended);
    stage.runner.send(Intent::StartRun {
        title: "too late".to_owned(),
    });
    stage.wait_for(|snapshot| {
        snapshot
            .notice
            .as_ref()
            .is_some_and(|notice| notice.words.contains("The clip is over"))
    });
    assert!(stage.runner.stop().left.is_empty());
    assert!(
        LogbookReader::open(&path)
            .unwrap()
            .runs()
            .unwrap()
            .is_empty()
    );
}

#[test]
fn outlines_of_another_camera_are_used_and_told() {
    let mut acts: Vec<Act> = (0..20).map(picture).collect();
    acts.push(Act::Wait);
    let stage = stage(Kind::Camera, acts, |settings| {
        let calibration = settings.calibration.as_mut().unwrap();
        calibration.camera_identity = Some("bench-7".to_owned());
    });
    let snapshot = stage.wait_for(|snapshot| snapshot.now_secs > 1.0);
    let notice = snapshot.notice.as_ref().unwrap();
    assert!(!notice.is_error);
    assert!(notice.words.contains("bench-7") && notice.words.contains("script-1"));
    assert_eq!(snapshot.feeds.len(), 1);
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
}

#[test]
fn a_calibration_for_another_shape_of_picture_is_refused() {
    let clock: Arc<dyn Clock> = Arc::new(ManualClock::new(0.0));
    let mut settings = RunnerSettings::new(crate::capture::demo::open("demo").unwrap());
    settings.calibration = Some(Calibration {
        picture_width_px: 1280,
        picture_height_px: 720,
        camera_identity: None,
        oil: crate::glass::OilData::default(),
        feeds: Vec::new(),
    });
    let Err(error) = Runner::start(settings, clock) else {
        panic!("it must not fit");
    };
    assert!(error.to_string().contains("another shape"), "{error}");
}

#[test]
fn a_knocked_camera_is_told_and_the_new_outlines_are_shown() {
    let demo = crate::capture::demo::open(
        "demo:feeds=2,light=card,size=320x240,fps=15,seed=5,rates=20,fault=knock 12 @3-999",
    )
    .unwrap();
    let clock = Arc::new(ManualClock::new(1_000_000.0));
    let mut settings = RunnerSettings::new(Box::new(Until {
        inner: demo,
        until_secs: 7.0,
    }));
    settings.find_secs = 1.0;
    let (changed, changes) = sync_channel(1);
    settings.on_change = Some(Box::new(move || {
        let _ = changed.try_send(());
    }));
    let runner = Runner::start(settings, clock.clone()).unwrap();
    let mut first = None;
    let snapshot = loop {
        let snapshot = runner.snapshot();
        if first.is_none() {
            first.clone_from(&snapshot.calibration);
        }
        if snapshot.ended {
            break snapshot;
        }
        if changes.recv_timeout(Duration::from_millis(50)).is_err() {
            clock.advance(0.05);
        }
    };
    let (first, last) = (first.unwrap(), snapshot.calibration.clone().unwrap());
    assert_eq!(first.feeds.len(), 2, "{:?}", snapshot.notice);
    for (was, is) in first.feeds.iter().zip(&last.feeds) {
        let moved = (is.outline.centre_x_px - was.outline.centre_x_px)
            .hypot(is.outline.centre_y_px - was.outline.centre_y_px);
        assert!((8.0..16.0).contains(&moved), "{moved}");
    }
    for (feed, is) in snapshot.feeds.iter().zip(&last.feeds) {
        assert_eq!(feed.calibration.outline, is.outline);
    }
    let notice = snapshot.notice.as_ref().unwrap();
    assert!(
        notice.words.starts_with("The camera moved: ") && !notice.is_error,
        "{notice:?}"
    );
    assert!(runner.stop().left.is_empty());
}
