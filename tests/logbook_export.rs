//! A run written as CSV, letter by letter, with the nastiest names and words there are.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![cfg(unix)]

use std::path::Path;
use std::sync::Arc;

use beadtally::base::{BeadKind, BlindWhy, FeedNumber, GlassKind};
use beadtally::bead::{Bead, KindWhy, Size};
use beadtally::capture::About;
use beadtally::glass::{Calibration, FeedCalibration, Outline};
use beadtally::judge::{Alarm, AlarmState, By, Cause, FeedState, Happened, Step};
use beadtally::rate::Reading;
use beadtally::run::export::export;
use beadtally::run::logbook::record::event_secs;
use beadtally::run::logbook::{Entry, Item, Logbook, LogbookReader, RunContents, RunStart};
use beadtally::run::{AsFound, Began, Event, Moved};
use jiff::tz::TimeZone;

/// 2001-02-03T04:05:06Z, seconds since 1970 (`date -u -d '2001-02-03 04:05:06' +%s`).
const STARTED: f64 = 981_173_106.0;

fn contents(folder: &Path) -> RunContents {
    let feed = |name: &str, x, px_per_mm| FeedCalibration {
        name: name.to_owned(),
        px_per_mm,
        ..FeedCalibration::new(Outline::upright(GlassKind::Tube, x, 100.0, 60.0, 200.0))
    };
    let calibration = Calibration {
        picture_width_px: 640,
        picture_height_px: 480,
        camera_identity: None,
        oil: beadtally::glass::OilData::default(),
        feeds: vec![
            feed("=HYPERLINK(\"x\")", 100.0, Some(4.0)),
            feed("right, \"rear\"", 300.0, None),
        ],
    };
    let about = About {
        name: "@bench".to_owned(),
        identity: "bench-1".to_owned(),
        width: 640,
        height: 480,
        frames_per_second: Some(30.0),
        frames: None,
        live: true,
    };
    let mut run = RunStart::new(
        "+as found".to_owned(),
        about,
        0.0,
        STARTED,
        Arc::new(calibration),
    );
    "key".clone_into(&mut run.key);
    let run = Arc::new(run);
    let bead = |at_secs, kind, mm: Option<(f64, f64)>| Bead {
        at_secs,
        kind,
        why: KindWhy::default(),
        size: Size::default(),
        rise_px_per_s: 344.0,
        rise_mm_per_s: mm.map(|mm| mm.0),
        height_px: 16.8,
        diameter_mm: mm.map(|mm| mm.1),
        confidence: 0.9876,
        surplus: 90.0,
        settled_at_secs: at_secs + 0.5,
        picture: None,
    };
    let events = vec![
        Event::Bead {
            feed: FeedNumber(1),
            bead: bead(3.2144, BeadKind::Oil, Some((86.04, 4.204))),
        },
        Event::Bead {
            feed: FeedNumber(2),
            bead: bead(5.0, BeadKind::Gas, None),
        },
        Event::Reading {
            at_secs: 10.0,
            feed: FeedNumber(1),
            reading: None,
            state: FeedState::NoReadingYet,
            doubts: vec![],
            oil: None,
            hint: None,
        },
        Event::Reading {
            at_secs: 20.0,
            feed: FeedNumber(1),
            reading: Some(Reading {
                drops_per_minute: 2.5,
                low: 1.9994,
                high: 3.25,
                scatter: 0.15,
                drops: 7,
            }),
            state: FeedState::InBand,
            doubts: vec!["-few drops".to_owned(), "dim".to_owned()],
            oil: None,
            hint: None,
        },
        Event::Alarm {
            at_secs: 30.0,
            alarm: Alarm {
                feed: Some(FeedNumber(2)),
                cause: Cause::Stopped,
                state: AlarmState::Unacknowledged,
                since_secs: 30.0,
                step: Step {
                    happened: Happened::Raised,
                    by: By::Condition,
                    shelved_until_secs: None,
                },
            },
        },
        Event::Alarm {
            at_secs: 31.0,
            alarm: Alarm {
                feed: None,
                cause: Cause::CameraLost,
                state: AlarmState::ReturnedUnacknowledged,
                since_secs: 31.0,
                step: Step::default(),
            },
        },
        Event::Mark {
            moved: Some(Moved::Turns(-0.25)),
            at_secs: 40.0,
            feed: Some(FeedNumber(1)),
            words: "=cmd|' /C calc'!A0".to_owned(),
        },
        Event::AsFound {
            at_secs: 40.0,
            found: AsFound {
                feed: FeedNumber(1),
                from_secs: 1.0,
                until_secs: 40.0,
                reading: Some(Reading {
                    drops_per_minute: 2.25,
                    low: 2.0,
                    high: 2.5,
                    scatter: 0.1,
                    drops: 9,
                }),
                state: FeedState::InBand,
                began: Began::Mark {
                    words: "=cmd|' /C calc'!A0".to_owned(),
                },
            },
        },
        Event::Mark {
            moved: None,
            at_secs: 41.0,
            feed: None,
            words: "two\nlines, \"quoted\"".to_owned(),
        },
        Event::Blind {
            feed: None,
            from_secs: 50.0,
            to_secs: 51.5,
            why: BlindWhy::NoFrames,
        },
        Event::Gap {
            from_secs: 52.0,
            to_secs: 52.1,
            why: "3 frames were lost".to_owned(),
        },
    ];
    let mut items: Vec<Item> = (0..)
        .zip(events)
        .map(|(sequence, event)| Item {
            run: Arc::clone(&run),
            sequence,
            at_secs: event_secs(&event),
            wall_secs: STARTED + event_secs(&event),
            entry: Entry::Event(Arc::new(event)),
        })
        .collect();
    items.push(Item {
        run: Arc::clone(&run),
        sequence: 99,
        at_secs: 60.0,
        wall_secs: STARTED + 60.0,
        entry: Entry::End,
    });
    let path = folder.join("logbook.sqlite3");
    Logbook::open(&path).unwrap().write(&items).unwrap();
    LogbookReader::open(&path).unwrap().contents(1).unwrap()
}

#[test]
fn the_files_are_as_they_should_be_letter_by_letter() {
    let folder = tempfile::tempdir().unwrap();
    let contents = contents(folder.path());
    let csv = folder.path().join("new/sheets");
    let files = export(&contents, &csv, &TimeZone::UTC).unwrap();
    let read = |name: &str| std::fs::read_to_string(csv.join(name)).unwrap();
    assert_eq!(files.len(), 8);
    assert_eq!(std::fs::read_dir(&csv).unwrap().count(), 8, "nothing else");
    let version = env!("CARGO_PKG_VERSION");
    assert_eq!(
        read("run.csv"),
        format!(
            "what,value\nrun,1\ntitle,'+as found\nsource,'@bench\ncamera identity,bench-1\n\
             picture width (px),640\npicture height (px),480\n\
             started,2001-02-03T04:05:06.000+00:00\nlast record,2001-02-03T04:06:06.000+00:00\n\
             source in real time,yes\nending,ended\nfrom (s),0.000\nto (s),60.000\nbeadtally version,{version}\n\
             drops,1\nbubbles,1\n\
             feed 1 name,\"'=HYPERLINK(\"\"x\"\")\"\nfeed 1 glass,tube\n\
             feed 1 low limit (drops/min),2.000\nfeed 1 high limit (drops/min),3.000\n\
             feed 1 scale (px/mm),4.000\n\
             feed 2 name,\"right, \"\"rear\"\"\"\nfeed 2 glass,tube\n\
             feed 2 low limit (drops/min),2.000\nfeed 2 high limit (drops/min),3.000\n\
             feed 2 scale (px/mm),\n"
        )
    );
    assert_eq!(
        read("drops.csv"),
        "feed,time (s),time of day,kind,rise speed (mm/s),diameter (mm),rise speed (px/s),\
         height (px),confidence (0 to 1),settled (s),picture kept\n\
         1,3.214,2001-02-03T04:05:09.214+00:00,oil,86.0,4.20,344.0,16.8,0.988,3.714,no\n\
         2,5.000,2001-02-03T04:05:11.000+00:00,gas,,,344.0,16.8,0.988,5.500,no\n"
    );
    assert_eq!(
        read("readings.csv"),
        "feed,time (s),time of day,rate (drops/min),lower 95 % limit (drops/min),\
         upper 95 % limit (drops/min),scatter of intervals (sd/mean),drops,state,doubts\n\
         1,10.000,2001-02-03T04:05:16.000+00:00,,,,,,no reading yet,\n\
         1,20.000,2001-02-03T04:05:26.000+00:00,2.500,1.999,3.250,0.150,7,in band,\
         '-few drops; dim\n"
    );
    assert_eq!(
        read("alarms.csv"),
        "feed,time (s),time of day,cause,priority (1 is the most pressing),what happened,by,state,\
         shelved until (s)\n\
         2,30.000,2001-02-03T04:05:36.000+00:00,stopped,2,raised,the condition,unacknowledged,\n\
         ,31.000,2001-02-03T04:05:37.000+00:00,camera lost,1,raised,the condition,\
         returned to normal unacknowledged,\n"
    );
    assert_eq!(
        read("marks.csv"),
        "feed,time (s),time of day,valve opened (turns),valve shut,words\n\
         1,40.000,2001-02-03T04:05:46.000+00:00,-0.250,no,'=cmd|' /C calc'!A0\n\
         ,41.000,2001-02-03T04:05:47.000+00:00,,no,\"two\nlines, \"\"quoted\"\"\"\n"
    );
    assert_eq!(
        read("as_found.csv"),
        "feed,time (s),time of day,reading from (s),reading until (s),rate (drops/min),\
         lower 95 % limit (drops/min),upper 95 % limit (drops/min),\
         scatter of intervals (sd/mean),drops,state,new reading because of,words,\
         rate before a change (drops/min),rate after a change (drops/min)\n\
         1,40.000,2001-02-03T04:05:46.000+00:00,1.000,40.000,2.250,2.000,2.500,0.100,9,in band,\
         mark,'=cmd|' /C calc'!A0,,\n"
    );
    assert_eq!(
        read("blind.csv"),
        "feed,from (s),to (s),time of day at the end,why\n\
         all,50.000,51.500,2001-02-03T04:05:57.500+00:00,no frames\n"
    );
    assert_eq!(
        read("gaps.csv"),
        "from (s),to (s),time of day at the end,why\n\
         52.000,52.100,2001-02-03T04:05:58.100+00:00,3 frames were lost\n"
    );
}

#[test]
fn a_link_in_the_folder_is_replaced_and_not_followed() {
    let folder = tempfile::tempdir().unwrap();
    let contents = contents(folder.path());
    let outside = folder.path().join("precious.txt");
    std::fs::write(&outside, "precious").unwrap();
    let csv = folder.path().join("sheets");
    std::fs::create_dir(&csv).unwrap();
    std::os::unix::fs::symlink(&outside, csv.join("marks.csv")).unwrap();
    export(&contents, &csv, &TimeZone::UTC).unwrap();
    assert_eq!(std::fs::read_to_string(&outside).unwrap(), "precious");
    let written = csv.join("marks.csv");
    assert!(written.symlink_metadata().unwrap().is_file());
}

#[test]
fn a_folder_that_cannot_be_made_has_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let contents = contents(folder.path());
    let file = folder.path().join("a file");
    std::fs::write(&file, "").unwrap();
    for bad in [file.clone(), file.join("below")] {
        let words = export(&contents, &bad, &TimeZone::UTC)
            .unwrap_err()
            .to_string();
        assert!(
            words.contains("a file") && words.contains("choose a folder"),
            "{words}"
        );
    }
}
