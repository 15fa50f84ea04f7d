//! Tests of a hand check through the runner: intents in, the snapshot and the logbook out.

use crate::base::FeedNumber;
use crate::rate::Agreement;
use crate::run::logbook::LogbookReader;
use crate::run::{Intent, Snapshot};

use super::stage::{Act, Kind, picture, stage};

fn taps(snapshot: &Snapshot) -> usize {
    snapshot.hand_check.as_ref().map_or(0, |check| check.taps)
}

#[test]
fn taps_have_the_time_at_which_they_were_made_and_reach_the_logbook() {
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
    // A tap before there is a hand check is nothing.
    stage.runner.send(Intent::Tap);
    stage.runner.send(Intent::StartRun {
        title: "by hand".to_owned(),
    });
    stage.runner.send(Intent::StartHandCheck {
        feed: Some(FeedNumber(1)),
    });
    let begun = stage.wait_for(|snapshot| snapshot.hand_check.is_some());
    assert_eq!(taps(&begun), 0);
    stage.runner.send(Intent::Tap);
    stage.clock.advance(0.25);
    stage.runner.send(Intent::Tap);
    // However late it is looked at, a tap keeps its time.
    stage.clock.advance(0.5);
    let tapped = stage.wait_for(|snapshot| taps(snapshot) == 2);
    let check = tapped.hand_check.clone().unwrap();
    let from_secs = check.from_secs;
    assert!(check.last_tap_secs.unwrap() > from_secs);
    assert!(check.ended_secs.is_none() && !check.is_settled);
    stage.runner.send(Intent::EndHandCheck);
    stage.wait_for(|snapshot| {
        let check = snapshot.hand_check.as_ref();
        check.is_some_and(|check| check.ended_secs.is_some())
    });
    // Taps after the end are not taken; the end of the run tells what there is.
    stage.runner.send(Intent::Tap);
    stage.runner.send(Intent::EndRun);
    stage.wait_for(|snapshot| snapshot.run.is_none());
    stage.runner.send(Intent::EndHandCheck);
    let away = stage.wait_for(|snapshot| snapshot.hand_check.is_none());
    assert!(away.notice.is_none());
    stage.go.send(()).unwrap();
    stage.go.send(()).unwrap();
    assert!(stage.runner.stop().left.is_empty());
    let run = LogbookReader::open(&path).unwrap().contents(1).unwrap();
    assert_eq!(run.taps.len(), 2);
    let apart_secs = run.taps[1].at_secs - run.taps[0].at_secs;
    assert!((apart_secs - 0.25).abs() < 1e-6, "{apart_secs}");
    assert_eq!(run.taps[0].feed, Some(1));
    assert_eq!(run.taps[0].check_from_secs, from_secs);
    assert_eq!(run.hand_checks.len(), 1);
    let check = &run.hand_checks[0];
    assert_eq!(check.watched_secs.0, from_secs);
    assert_eq!(check.agreement, Agreement::TooFew.words());
    assert_eq!(check.matched + check.missed_by_tool + check.left_out, 2);
}
