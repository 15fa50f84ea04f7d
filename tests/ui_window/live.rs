//! The real backend behind the window, on a small demo and on sources that do not exist, with a
//! clock that does not wait.

use std::sync::mpsc::{Receiver, sync_channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use beadtally::base::ManualClock;
use beadtally::run::{Intent, Snapshot};
use beadtally::ui::backend::{Backend, Cameras};
use beadtally::ui::live::Live;

/// A small, quick demo.
const DEMO: &str = "demo:feeds=2,rates=20;30,size=320x240,fps=15";
/// How often news is waited for before a test gives up, and how long each time.
const PATIENCE: (usize, Duration) = (400, Duration::from_millis(100));

fn live() -> (Live, Receiver<()>) {
    let (sender, news) = sync_channel(1);
    let sender = Mutex::new(sender);
    let wake = Arc::new(move || {
        // News that are not yet taken are enough.
        let _full = sender.lock().unwrap().try_send(());
    });
    let clock = Arc::new(ManualClock::new(1_709_993_106.0));
    (Live::new(clock, wake, None), news)
}

/// Waits for a snapshot that is as wanted.
fn until(live: &Live, news: &Receiver<()>, wanted: impl Fn(&Snapshot) -> bool) -> Arc<Snapshot> {
    for _ in 0..PATIENCE.0 {
        let snapshot = live.snapshot();
        if wanted(&snapshot) {
            return snapshot;
        }
        let _late = news.recv_timeout(PATIENCE.1);
    }
    panic!("it never came: {:?}", live.snapshot().notice);
}

#[test]
fn nothing_is_watched_at_first_and_nothing_is_sent_anywhere() {
    let (live, _news) = live();
    let snapshot = live.snapshot();
    assert!(snapshot.about.is_none() && snapshot.feeds.is_empty());
    assert!(snapshot.notice.is_some(), "it says what to do");
    live.send(Intent::AcknowledgeAll);
    assert!(live.faults().is_empty());
}

#[test]
fn a_source_that_is_not_there_is_told_with_a_cure() {
    let (mut live, news) = live();
    assert!(live.open_source("  ").is_err());
    live.open_source("/no/such/clip.mp4").unwrap();
    let snapshot = until(&live, &news, |s| {
        s.notice.as_ref().is_some_and(|n| n.is_error)
    });
    let words = &snapshot.notice.as_ref().unwrap().words;
    assert!(words.contains("/no/such/clip.mp4"), "{words}");
    assert!(snapshot.about.is_none());
}

#[test]
fn the_demo_runs_its_faults_are_known_and_another_source_takes_its_place() {
    let (mut live, news) = live();
    live.open_source(DEMO).unwrap();
    let snapshot = until(&live, &news, |s| s.frame.is_some() && s.feeds.len() == 2);
    assert!(snapshot.calibration.is_some());
    let faults = live.faults();
    assert!(faults.contains(&"stop 2".to_owned()), "{faults:?}");
    // The look of another thread follows to the next source.
    let look = live.look();
    live.open_source("/no/such/folder").unwrap();
    until(&live, &news, |s| {
        s.about.is_none() && s.notice.as_ref().is_some_and(|n| n.is_error)
    });
    assert!(look().about.is_none());
    assert!(live.faults().is_empty());
}

#[test]
fn every_fault_offered_is_one_the_demo_knows() {
    use beadtally::capture::demo::DemoSource;
    let (mut live, news) = live();
    live.open_source(DEMO).unwrap();
    until(&live, &news, |s| s.feeds.len() == 2);
    let words = DEMO.strip_prefix("demo:").unwrap();
    let mut demo = DemoSource::from_words(words).unwrap();
    for fault in live.faults() {
        demo.switch(&fault).unwrap();
    }
    assert!(demo.switch("no such fault").is_err());
}

#[test]
fn calibrations_go_to_a_file_and_come_back() {
    let (mut live, news) = live();
    live.open_source(DEMO).unwrap();
    let snapshot = until(&live, &news, |s| s.calibration.is_some());
    let calibration = snapshot.calibration.clone().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("set-up.toml");
    let path = path.to_str().unwrap();
    live.save_calibration(path, &calibration).unwrap();
    let read = live.load_calibration(path).unwrap();
    assert_eq!(read.feeds.len(), calibration.feeds.len());
    let error = live.load_calibration("/no/such.toml").unwrap_err();
    assert!(error.contains("/no/such.toml"), "{error}");
}

#[test]
fn the_search_for_cameras_comes_to_an_end() {
    let (live, news) = live();
    live.look_for_cameras();
    for _ in 0..PATIENCE.0 {
        if live.cameras() != Cameras::Looking {
            return;
        }
        let _late = news.recv_timeout(PATIENCE.1);
    }
    panic!("still looking");
}
