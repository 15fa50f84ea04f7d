//! A hand check of the drawn demo, whose truth is known: a person who taps at the true drops agrees
//! with the tool, one who overlooks half does not, and both stand in the logbook.

#![expect(clippy::unwrap_used, reason = "a test may fail by panicking")]

use beadtally::base::{BeadKind, FeedNumber, Span};
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{CaptureError, Grab, Source};
use beadtally::rate::Agreement;
use beadtally::run::keeping::Keeper;
use beadtally::run::logbook::LogbookReader;
use beadtally::run::report::{Report, figures, page};
use beadtally::run::tally::{Besides, TallyReport, TallySettings, tally_beside};
use beadtally::run::taps::Taps;
use jiff::tz::TimeZone;

/// Two fast feeds, so that a minute has drops enough.
const DEMO: &str = "feeds=2,rates=45;30,kind=tube,light=card,size=320x240,fps=20,gas=0,seed=3";
const SECS: f64 = 90.0;

fn truth(feed: u16) -> Vec<f64> {
    let mut demo = DemoSource::from_words(DEMO).unwrap();
    while !matches!(demo.next().unwrap(), Grab::Frame(frame) if frame.at_secs > SECS) {}
    let truth = demo.truth();
    truth
        .beads
        .iter()
        .filter(|bead| bead.feed.0 == feed && bead.kind == BeadKind::Oil)
        .map(|bead| bead.at_secs)
        .collect()
}

fn tally(taps: Taps, keeper: Option<Keeper>) -> TallyReport {
    let mut open =
        || -> Result<Box<dyn Source>, CaptureError> { Ok(Box::new(DemoSource::from_words(DEMO)?)) };
    let besides = Besides {
        until_secs: Some(SECS),
        taps: Some(taps),
        keeper,
        ..Besides::default()
    };
    tally_beside(&mut open, &TallySettings::default(), besides, &mut |_| {}).unwrap()
}

/// Page and tables tell what the logbook has.
fn on_paper(report: &Report, matched: u64) {
    let html = page(report);
    for words in [
        "Hand checks",
        "agree within chance",
        "hand check of 1 min 15 s",
    ] {
        assert!(html.contains(words), "{words}");
    }
    let tables = figures::tables(report);
    let table = |name: &str| {
        let found = tables.iter().find(|(of, _)| *of == name);
        found.map(|(_, rows)| rows.clone()).unwrap()
    };
    let checks = table("hand_checks.csv");
    assert_eq!(checks.len(), 2);
    assert_eq!(checks[1][4], matched.to_string());
    // Laid out once more from the logbook, the pairs are the same.
    let taps = table("taps.csv");
    let pairs = taps.iter().filter(|row| row[4] == "matched").count() as u64;
    assert_eq!(pairs, matched);
    let records = figures::records(report);
    assert!(
        records
            .iter()
            .any(|row| row.contains(&"hand check".to_owned()))
    );
}

#[test]
fn a_person_who_taps_at_the_true_drops_agrees() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let keeper = Keeper::open(&path, "by hand".to_owned(), 981_173_106.0).unwrap();
    let taps: Vec<f64> = truth(1).iter().map(|at| at + 0.25).collect();
    let watched = Span {
        from_secs: 5.0,
        to_secs: 80.0,
    };
    let taps = Taps::new(Some(FeedNumber(1)), Some(watched), taps);
    let report = tally(taps, Some(keeper));
    let check = report.hand_check.unwrap();
    assert_eq!(check.agreement, Agreement::Agree.words(), "{check:?}");
    assert!(check.matched > 45 && check.missed_by_tool == 0 && check.missed_by_person == 0);
    assert!((check.lag_s - 0.25).abs() < 0.1, "{}", check.lag_s);
    assert!((check.from_s - 5.0).abs() < 0.1 && (check.to_s - 80.0).abs() < 0.1);
    assert!(check.lines()[0].contains("agree within chance"));

    let reader = LogbookReader::open(&path).unwrap();
    let run = reader.contents(report.run.unwrap()).unwrap();
    let paper = Report::of_run(&reader, report.run.unwrap(), TimeZone::UTC, 981_180_000.0);
    on_paper(&paper.unwrap(), check.matched);
    assert_eq!(run.hand_checks.len(), 1);
    assert_eq!(run.hand_checks[0].matched as u64, check.matched);
    assert_eq!(run.hand_checks[0].feed, Some(1));
    let within = |at: f64| (check.from_s..=check.to_s).contains(&at);
    assert!(run.taps.len() as u64 >= check.matched);
    assert!(run.taps.iter().all(|tap| within(tap.at_secs)));
}

#[test]
fn a_person_who_overlooks_half_is_told() {
    let taps: Vec<f64> = truth(2).iter().step_by(2).map(|at| at + 0.1).collect();
    let report = tally(Taps::new(Some(FeedNumber(2)), None, taps), None);
    let check = report.hand_check.unwrap();
    assert_eq!(check.agreement, Agreement::ToolMore.words(), "{check:?}");
    assert!(check.missed_by_person > 15);
    assert_eq!(
        check.drops_without_tap_s.len() as u64,
        check.missed_by_person
    );
}
