//! A logbook whose program is killed at any moment opens again, has lost at most the last second,
//! holds no drop twice and no hole, and goes on. Five kills by default; `BEADTALLY_KILLS=500` for
//! as many as one likes.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![expect(
    clippy::print_stdout,
    reason = "the child tells its parent what it handed over"
)]

use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;

use beadtally::base::{BeadKind, Clock, FeedNumber, GlassKind, SystemClock};
use beadtally::bead::{Bead, KindWhy, Size};
use beadtally::capture::About;
use beadtally::glass::{Calibration, FeedCalibration, Outline};
use beadtally::run::Event;
use beadtally::run::logbook::{Ending, Entry, Item, LogThread, Logbook, LogbookReader, RunStart};
use image::GrayImage;
use rand::{RngExt, SeedableRng};

/// Tells the child where to write; without it the child's test does nothing.
const CHILD: &str = "BEADTALLY_TEST_LOGBOOK";
/// Time between two drops of the child, seconds.
const DROP_SECS: f64 = 0.004;
/// What a kill may cost, seconds.
const MAY_LOSE_SECS: f64 = 1.0;

fn calibration() -> Arc<Calibration> {
    Arc::new(Calibration {
        picture_width_px: 640,
        picture_height_px: 480,
        camera_identity: None,
        oil: beadtally::glass::OilData::default(),
        feeds: vec![FeedCalibration::new(Outline::upright(
            GlassKind::Tube,
            100.0,
            100.0,
            60.0,
            200.0,
        ))],
    })
}

fn about() -> About {
    About {
        name: "invented".to_owned(),
        identity: String::new(),
        width: 640,
        height: 480,
        frames_per_second: None,
        frames: None,
        live: true,
    }
}

/// Not a test of its own: the program that gets killed. It hands over one drop after the other and
/// says so, until it dies.
#[test]
fn child() {
    let Some(path) = std::env::var_os(CHILD) else {
        return;
    };
    let clock = Arc::new(SystemClock::new());
    let (log, worker) = LogThread::new(PathBuf::from(path), clock.clone());
    let thread = std::thread::Builder::new()
        .spawn(move || worker.run(&|| {}))
        .unwrap();
    let run = Arc::new(RunStart::new(
        "kill me".to_owned(),
        about(),
        0.0,
        clock.wall_secs(),
        calibration(),
    ));
    let picture = Arc::new(GrayImage::from_fn(32, 32, |x, y| {
        image::Luma([(x * 7 + y * 5) as u8])
    }));
    let mut out = std::io::stdout();
    for sequence in 0..1_000_000_i64 {
        let at_secs = sequence as f64;
        log.keep(Item {
            run: Arc::clone(&run),
            sequence,
            at_secs,
            wall_secs: clock.wall_secs(),
            entry: Entry::Event(Arc::new(Event::Bead {
                feed: FeedNumber(1),
                bead: Bead {
                    at_secs,
                    kind: BeadKind::Oil,
                    why: KindWhy::default(),
                    size: Size::default(),
                    rise_px_per_s: 300.0,
                    rise_mm_per_s: Some(80.0),
                    height_px: 16.0,
                    diameter_mm: Some(4.0),
                    confidence: 0.99,
                    surplus: 90.0,
                    settled_at_secs: at_secs + 0.5,
                    picture: Some(Arc::clone(&picture)),
                },
            })),
        });
        writeln!(out, "handed {sequence} {}", clock.monotonic_secs()).unwrap();
        out.flush().unwrap();
        clock.wait_secs(DROP_SECS);
    }
    drop(log);
    thread.join().unwrap();
}

/// Starts the child, kills it after a while, and gives what it had handed over and when.
fn run_and_kill(path: &Path, after_secs: f64) -> Vec<(i64, f64)> {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "child", "--nocapture", "--test-threads=1"])
        .env(CHILD, path)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut handed: Vec<(i64, f64)> = Vec::new();
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        let Ok(line) = line else { break };
        let mut words = line.split_whitespace().skip_while(|word| *word != "handed");
        let (Some(_), Some(sequence), Some(at)) = (words.next(), words.next(), words.next()) else {
            continue;
        };
        let (Ok(sequence), Ok(at)) = (sequence.parse(), at.parse()) else {
            continue; // The last line may be cut.
        };
        handed.push((sequence, at));
        let first = handed[0].1;
        if at - first >= after_secs {
            child.kill().unwrap();
        }
    }
    child.wait().unwrap();
    handed
}

#[test]
fn a_killed_logbook_loses_at_most_a_second_and_nothing_stands_in_it_twice() {
    if std::env::var_os(CHILD).is_some() {
        return;
    }
    let kills: usize = std::env::var("BEADTALLY_KILLS")
        .ok()
        .and_then(|words| words.parse().ok())
        .unwrap_or(5);
    let seed = rand::random::<u64>();
    println!("seed {seed}");
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut worst_secs: f64 = 0.0;
    for kill in 0..kills {
        let after_secs = random.random_range(0.05..2.5);
        let handed = run_and_kill(&path, after_secs);
        let (last_handed, killed_secs) = *handed.last().unwrap();

        let reader = LogbookReader::open(&path).unwrap();
        let runs = reader.runs().unwrap();
        let newest = runs.last();
        // Before the first commit of this child there is no run of it; then it lived for less than
        // what a kill may cost.
        let saved = match newest.filter(|_| runs.len() == kill + 1) {
            Some(run) => {
                assert_eq!(run.ending, Ending::CutShort, "kill {kill}");
                reader.contents(run.run).unwrap().drops
            }
            None => Vec::new(),
        };
        // No hole and no double: exactly the first so many.
        for (sequence, drop) in saved.iter().enumerate() {
            assert_eq!(drop.at_secs, sequence as f64, "kill {kill}");
            assert!(drop.has_picture);
        }
        assert!(saved.len() <= usize::try_from(last_handed).unwrap() + 1);
        if let Some((_, at)) = handed.get(saved.len()) {
            let lost_secs = killed_secs - at;
            worst_secs = worst_secs.max(lost_secs);
            assert!(
                lost_secs <= MAY_LOSE_SECS,
                "kill {kill} after {after_secs:.3} s lost {lost_secs:.3} s: {} of {} were written",
                saved.len(),
                handed.len()
            );
        }
        drop(reader);

        let connection = rusqlite::Connection::open(&path).unwrap();
        let verdict: String = connection
            .query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .unwrap();
        assert_eq!(verdict, "ok", "kill {kill}");
        drop(connection);

        // Opened for writing, the run that was cut short is closed at its last record; and a run
        // that never reached the file is started now, so that runs count kills.
        let mut book = Logbook::open(&path).unwrap();
        if runs.len() < kill + 1 {
            let start = Item {
                run: Arc::new(RunStart::new(
                    String::new(),
                    about(),
                    0.0,
                    0.0,
                    calibration(),
                )),
                sequence: 0,
                at_secs: 0.0,
                wall_secs: 0.0,
                entry: Entry::End,
            };
            book.write(&[start]).unwrap();
        }
        drop(book);
        let reader = LogbookReader::open(&path).unwrap();
        let run = reader.runs().unwrap().pop().unwrap();
        if let Some(last) = saved.last() {
            assert_eq!(run.to_secs, last.at_secs);
            assert_eq!(run.ended_wall_secs, last.wall_secs);
        }
    }
    println!("{kills} kills, at most {worst_secs:.3} s lost");
}
