//! The report of a run with the nastiest names and words there are: a page that stands alone, is
//! well-formed, and runs nothing; tables in which nothing acts as a formula; files that are whole.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![cfg(unix)]

mod report_markup;

use std::path::Path;
use std::sync::Arc;

use beadtally::base::{BeadKind, BlindWhy, FeedNumber, GlassKind};
use beadtally::bead::{Bead, KindWhy, Size};
use beadtally::capture::About;
use beadtally::glass::{Calibration, FeedCalibration, Outline};
use beadtally::judge::{Alarm, AlarmState, By, Cause, FeedState, Happened, Step};
use beadtally::run::logbook::record::event_secs;
use beadtally::run::logbook::{Entry, Item, Logbook, LogbookReader, RunStart};
use beadtally::run::report::{Report, figures, page, sheet, sheet_lines};
use beadtally::run::{AsFound, Began, Event, Moved};
use image::GrayImage;
use jiff::tz::TimeZone;
use report_markup::Page;

/// 2001-02-03T04:05:06Z, seconds since 1970 (`date -u -d '2001-02-03 04:05:06' +%s`).
const STARTED: f64 = 981_173_106.0;
/// Words that try to be markup, a formula, a control sequence, or writing that runs the other way.
const NASTY: &str = "=1+1</td><script>alert(\"1\")</script>&amp;'\u{1b}[31m\u{202e}";

fn bead(at_secs: f64, kind: BeadKind) -> Bead {
    Bead {
        at_secs,
        kind,
        why: KindWhy::default(),
        size: Size::default(),
        rise_px_per_s: 344.0,
        rise_mm_per_s: Some(86.0),
        height_px: 16.8,
        diameter_mm: Some(4.2),
        confidence: 0.98,
        surplus: 90.0,
        settled_at_secs: at_secs + 0.5,
        picture: Some(Arc::new(GrayImage::new(12, 9))),
    }
}

fn events(drops: usize) -> Vec<Event> {
    let feed = FeedNumber(1);
    let mut events = Vec::new();
    for n in 0..drops {
        let at_secs = 5.0 + 24.0 * n as f64 + (n * n % 7) as f64 / 3.0;
        events.push(Event::Bead {
            feed,
            bead: bead(at_secs, BeadKind::Oil),
        });
        events.push(Event::Reading {
            at_secs,
            feed,
            reading: None,
            state: FeedState::NoReadingYet,
            doubts: vec![NASTY.to_owned()],
            oil: None,
            hint: None,
        });
    }
    let end = 5.0 + 24.0 * drops as f64;
    events.push(Event::Bead {
        feed: FeedNumber(2),
        bead: bead(7.0, BeadKind::Gas),
    });
    for (at_secs, words, moved) in [
        (end / 3.0, NASTY, Some(Moved::Turns(-0.25))),
        (end / 2.0, "-0.5", None),
        (end / 1.5, "valve 1 shut", Some(Moved::Shut)),
    ] {
        events.push(Event::Mark {
            at_secs,
            feed: Some(feed),
            words: words.to_owned(),
            moved,
        });
        events.push(Event::AsFound {
            at_secs,
            found: AsFound {
                feed,
                from_secs: 0.0,
                until_secs: at_secs,
                reading: None,
                state: FeedState::InBand,
                began: Began::Mark {
                    words: words.to_owned(),
                },
            },
        });
    }
    events.push(Event::Mark {
        at_secs: 9.0,
        feed: None,
        words: NASTY.to_owned(),
        moved: None,
    });
    events.push(Event::Alarm {
        at_secs: 30.0,
        alarm: Alarm {
            feed: None,
            cause: Cause::CameraLost,
            state: AlarmState::Shelved,
            since_secs: 30.0,
            step: Step {
                happened: Happened::Shelved,
                by: By::Person,
                shelved_until_secs: Some(90.0),
            },
        },
    });
    events.push(Event::Blind {
        feed: None,
        from_secs: 50.0,
        to_secs: 51.5,
        why: BlindWhy::NoFrames,
    });
    events.push(Event::Gap {
        from_secs: 52.0,
        to_secs: 54.1,
        why: NASTY.to_owned(),
    });
    events
}

fn report_of(folder: &Path, events: &[Event], names: [&str; 2], to_secs: f64) -> Report {
    let feed = |name: &str, x| FeedCalibration {
        name: name.to_owned(),
        ..FeedCalibration::new(Outline::upright(GlassKind::Tube, x, 100.0, 60.0, 200.0))
    };
    let calibration = Calibration {
        picture_width_px: 640,
        picture_height_px: 480,
        camera_identity: None,
        oil: beadtally::glass::OilData::default(),
        feeds: vec![feed(names[0], 100.0), feed(names[1], 300.0)],
    };
    let about = About {
        name: NASTY.to_owned(),
        identity: "bench-1".to_owned(),
        width: 640,
        height: 480,
        frames_per_second: Some(30.0),
        frames: None,
        live: true,
    };
    let run = RunStart::new(NASTY.to_owned(), about, 0.0, STARTED, Arc::new(calibration));
    let run = Arc::new(run);
    let item = |sequence: i64, at_secs: f64, entry| Item {
        run: Arc::clone(&run),
        sequence,
        at_secs,
        wall_secs: STARTED + at_secs,
        entry,
    };
    let mut items: Vec<Item> = (0..)
        .zip(events)
        .map(|(n, event)| {
            let entry = Entry::Event(Arc::new(event.clone()));
            item(n, event_secs(event), entry)
        })
        .collect();
    items.push(item(1_000_000, to_secs, Entry::End));
    let path = folder.join("logbook.sqlite3");
    let written = Logbook::open(&path).unwrap().write(&items).unwrap();
    assert_eq!(written.refused, 0);
    let reader = LogbookReader::open(&path).unwrap();
    Report::of_run(&reader, 1, TimeZone::UTC, STARTED + 1e6).unwrap()
}

#[test]
fn a_page_stands_alone_and_runs_nothing_whatever_the_names() {
    let folder = tempfile::tempdir().unwrap();
    let report = report_of(folder.path(), &events(40), [NASTY, ""], 1000.0);
    for html in [page(&report), sheet(&report)] {
        let read = Page::read(&html).unwrap();
        assert_eq!(read.faults(), Vec::<String>::new());
        // Told to the letter, but for the letter that would control a terminal.
        assert!(
            read.text
                .contains("=1+1</td><script>alert(\"1\")</script>&amp;'\u{fffd}[31m")
        );
        assert!(!html.contains('\u{1b}'));
    }
    let html = page(&report);
    let read = Page::read(&html).unwrap();
    assert_eq!(read.count("img"), 40, "a picture of each drop");
    for words in [
        "2001-02-03T04:05:06+00:00",
        "camera lost",
        "shelved until 0:01:30",
        "a person",
        "0.25 turn shut",
        "valve 1 shut",
        "no frames",
        "never a safety device",
        "Recorded by beadtally",
        "centre_px",
    ] {
        assert!(read.text.contains(words), "{words}");
    }
    // No script is needed, and the page itself forbids any.
    assert!(html.contains("default-src &#39;none&#39;"));
    assert!(html.contains("@media print"));
}

#[test]
fn a_sheet_in_the_terminal_controls_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let report = report_of(folder.path(), &events(40), [NASTY, ""], 1000.0);
    let lines = sheet_lines(&report);
    assert!(lines.iter().any(|line| line.contains("as left")));
    for line in lines {
        assert!(!line.contains(char::is_control), "{line:?}");
    }
}

#[test]
fn runs_with_next_to_nothing_in_them_have_a_page_too() {
    for drops in 0..4 {
        let folder = tempfile::tempdir().unwrap();
        let report = report_of(folder.path(), &events(drops), ["left", "right"], 100.0);
        let read = Page::read(&page(&report)).unwrap();
        assert_eq!(read.faults(), Vec::<String>::new());
        Page::read(&sheet(&report)).unwrap();
        assert!(figures::tables(&report).len() == 3 && figures::records(&report).len() > 1);
    }
    let folder = tempfile::tempdir().unwrap();
    let report = report_of(folder.path(), &[], ["", ""], 0.0);
    let read = Page::read(&page(&report)).unwrap();
    assert_eq!(read.faults(), Vec::<String>::new());
    assert!(read.text.contains("There was no alarm."));
}

#[test]
fn no_cell_of_a_table_acts_as_a_formula_but_numbers_stay_numbers() {
    let folder = tempfile::tempdir().unwrap();
    let report = report_of(folder.path(), &events(40), [NASTY, "@x"], 1000.0);
    let mut tables = figures::tables(&report);
    tables.push(("records.csv", figures::records(&report)));
    for (name, rows) in tables {
        let width = rows[0].len();
        assert!(rows.len() > 1 || name == "valve.csv", "{name}");
        for row in &rows {
            assert_eq!(row.len(), width, "{name}");
            for cell in row {
                let acts = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
                assert!(!acts || cell.parse::<f64>().is_ok(), "{name}: {cell:?}");
            }
        }
    }
    let records = figures::records(&report);
    assert_eq!(records[0][0], "time (s)");
    assert_eq!(records[1][1], "2001-02-03T04:05:11.000+00:00");
    let turns = records[0]
        .iter()
        .position(|h| h == "valve opened (turns)")
        .unwrap();
    let marks: Vec<&str> = records
        .iter()
        .filter(|row| row[3] == "mark")
        .map(|row| row[turns].as_str())
        .collect();
    assert_eq!(marks, ["", "-0.250", "", ""]);
    // In order of time.
    let times: Vec<f64> = records
        .iter()
        .skip(1)
        .map(|row| row[0].parse().unwrap())
        .collect();
    assert!(times.is_sorted());
}

#[test]
fn colours_of_a_report_live_in_one_file() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/run/report");
    let mut looked = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.ends_with("style.rs") {
            continue;
        }
        looked += 1;
        let text = std::fs::read_to_string(&path).unwrap();
        for (number, line) in text.lines().enumerate() {
            let is_colour = line.split('#').skip(1).any(|after| {
                let digits = after.chars().take_while(char::is_ascii_hexdigit).count();
                matches!(digits, 3 | 6 | 8)
            });
            let named = ["\"red\"", "\"black\"", "\"white\"", "rgb(", "hsl("];
            let is_named = named.iter().any(|name| line.contains(name));
            assert!(
                !is_colour && !is_named,
                "{}:{}: {line}",
                path.display(),
                number + 1
            );
        }
    }
    assert!(looked > 10);
}
