//! A logbook in trouble: locked, newer, damaged, cut, deleted, of another kind. Each has a
//! sentence and a way on; nothing is lost in silence.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![expect(clippy::panic, reason = "what never comes is a failure")]
#![expect(clippy::print_stdout, reason = "a skipped part says so")]
#![cfg(unix)]

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use beadtally::base::{BeadKind, BlindWhy, Clock, FeedNumber, GlassKind, ManualClock, SystemClock};
use beadtally::bead::{Bead, KindWhy, Size};
use beadtally::capture::About;
use beadtally::glass::{Calibration, FeedCalibration, Outline};
use beadtally::run::Event;
use beadtally::run::logbook::guard::lock_path;
use beadtally::run::logbook::repair::{Repaired, repair};
use beadtally::run::logbook::{
    Ending, Entry, Item, LogStatus, LogThread, Logbook, LogbookError, LogbookReader, RunStart,
};
use image::GrayImage;
use rusqlite::Connection;

fn run(key: &str) -> Arc<RunStart> {
    let feed = |x| FeedCalibration::new(Outline::upright(GlassKind::Tube, x, 100.0, 60.0, 200.0));
    let calibration = Calibration {
        picture_width_px: 640,
        picture_height_px: 480,
        camera_identity: None,
        oil: beadtally::glass::OilData::default(),
        feeds: vec![feed(100.0), feed(300.0)],
    };
    let about = About {
        name: "invented".to_owned(),
        identity: String::new(),
        width: 640,
        height: 480,
        frames_per_second: None,
        frames: None,
        live: true,
    };
    let mut start = RunStart::new(String::new(), about, 0.0, 1000.0, Arc::new(calibration));
    key.clone_into(&mut start.key);
    Arc::new(start)
}

fn bead(at_secs: f64) -> Bead {
    Bead {
        at_secs,
        kind: BeadKind::Oil,
        why: KindWhy::default(),
        size: Size::default(),
        rise_px_per_s: 300.0,
        rise_mm_per_s: None,
        height_px: 16.0,
        diameter_mm: None,
        confidence: 0.99,
        surplus: 90.0,
        settled_at_secs: at_secs + 0.5,
        picture: Some(Arc::new(GrayImage::new(24, 24))),
    }
}

fn item(run: &Arc<RunStart>, sequence: i64, event: Event) -> Item {
    let at_secs = beadtally::run::logbook::record::event_secs(&event);
    Item {
        run: Arc::clone(run),
        sequence,
        at_secs,
        wall_secs: 1000.0 + at_secs,
        entry: Entry::Event(Arc::new(event)),
    }
}

fn drop_item(run: &Arc<RunStart>, sequence: i64, at_secs: f64) -> Item {
    let feed = FeedNumber(1);
    item(
        run,
        sequence,
        Event::Bead {
            feed,
            bead: bead(at_secs),
        },
    )
}

fn drops_in(path: &Path) -> Vec<f64> {
    let reader = LogbookReader::open(path).unwrap();
    let run = reader.newest_run().unwrap();
    let contents = reader.contents(run).unwrap();
    contents.drops.iter().map(|drop| drop.at_secs).collect()
}

/// Runs a logbook thread; waits for real until its status is as wanted.
struct Thread {
    log: LogThread,
    join: std::thread::JoinHandle<()>,
}

impl Thread {
    fn start(path: &Path, clock: Arc<dyn Clock>) -> Self {
        let (log, worker) = LogThread::new(path.to_path_buf(), clock);
        let join = std::thread::Builder::new()
            .spawn(move || worker.run(&|| {}))
            .unwrap();
        Self { log, join }
    }

    fn wait_for(&self, wanted: impl Fn(&LogStatus) -> bool) -> LogStatus {
        let real = SystemClock::new();
        while real.monotonic_secs() < 20.0 {
            let status = self.log.status();
            if wanted(&status) {
                return status;
            }
            real.wait_secs(0.01);
        }
        panic!("never came: {:?}", self.log.status());
    }

    fn close(self) -> LogStatus {
        let status = self.log.close(Duration::from_secs(20));
        self.join.join().unwrap();
        status
    }
}

#[test]
fn the_same_drop_cannot_stand_in_it_twice() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut book = Logbook::open(&path).unwrap();
    let run = run("a");
    let batch = [drop_item(&run, 1, 1.0), drop_item(&run, 2, 2.0)];
    book.write(&batch).unwrap();
    // The same batch again, as after a commit that went through but was not confirmed.
    book.write(&batch).unwrap();
    // The same drop in another place of the same run.
    book.write(&[drop_item(&run, 3, 2.0)]).unwrap();
    drop(book);
    assert_eq!(drops_in(&path), [1.0, 2.0]);
    assert_eq!(LogbookReader::open(&path).unwrap().runs().unwrap().len(), 1);
}

#[test]
fn what_the_tables_refuse_is_counted_and_does_not_hold_up_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut book = Logbook::open(&path).unwrap();
    let run = run("a");
    let stranger = Event::Bead {
        feed: FeedNumber(9),
        bead: bead(2.5),
    };
    let written = book
        .write(&[
            drop_item(&run, 1, 1.0),
            drop_item(&run, 2, f64::NAN),
            item(&run, 3, stranger),
            drop_item(&run, 4, 4.0),
        ])
        .unwrap();
    assert_eq!(written.refused, 2);
    drop(book);
    assert_eq!(drops_in(&path), [1.0, 4.0]);
}

#[test]
fn while_another_program_locks_it_entries_wait_and_are_written_afterwards() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    drop(Logbook::open(&path).unwrap());
    let clock = ManualClock::new(0.0);
    let thread = Thread::start(&path, Arc::new(clock.clone()));
    let run = run("a");
    thread.log.keep(drop_item(&run, 0, 1.0));
    thread.wait_for(|status| status.written == 1);

    let other = Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    thread.log.keep(drop_item(&run, 1, 2.0));
    let status = thread.wait_for(|status| status.failing.is_some());
    let words = status.failing.unwrap();
    assert!(
        words.contains("locked") && words.contains("close"),
        "{words}"
    );
    assert_eq!(status.waiting, 1);
    thread.log.keep(drop_item(&run, 2, 3.0));
    other.execute_batch("ROLLBACK").unwrap();
    // It tries again after a while, not all the time.
    clock.advance(3.0);
    let status = thread.wait_for(|status| status.failing.is_none() && status.written == 3);
    assert_eq!(status.lost, 0);
    assert_eq!(thread.close().lost, 0);
    assert_eq!(drops_in(&path), [1.0, 2.0, 3.0]);
}

#[test]
fn a_logbook_locked_from_the_start_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    drop(Logbook::open(&path).unwrap());
    let other = Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let error = Logbook::open(&path).unwrap_err();
    assert!(matches!(error, LogbookError::Locked { .. }), "{error}");
    // Reading goes on all the same.
    assert!(
        LogbookReader::open(&path)
            .unwrap()
            .runs()
            .unwrap()
            .is_empty()
    );
    other.execute_batch("ROLLBACK").unwrap();
    assert!(Logbook::open(&path).is_ok());
}

#[test]
fn a_logbook_that_may_not_be_written_can_be_read() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    Logbook::open(&path)
        .unwrap()
        .write(&[drop_item(&run("a"), 1, 1.0)])
        .unwrap();
    std::fs::remove_file(lock_path(&path)).unwrap();
    let mode = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    mode(&path, 0o444);
    mode(folder.path(), 0o555);
    let reads = LogbookReader::open(&path).and_then(|reader| reader.contents(1));
    let writes = Logbook::open(&path);
    let may_do_anything = std::fs::write(folder.path().join("probe"), "").is_ok();
    mode(folder.path(), 0o755);
    assert_eq!(reads.unwrap().drops.len(), 1);
    if may_do_anything {
        println!("skipped in part: this user may write everywhere, so nothing is read-only");
        return;
    }
    let words = writes.unwrap_err().to_string();
    assert!(words.contains("read-only"), "{words}");
}

#[test]
fn a_logbook_deleted_while_it_is_written_starts_anew_with_the_run_in_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let thread = Thread::start(&path, Arc::new(SystemClock::new()));
    let run = run("a");
    thread.log.keep(drop_item(&run, 0, 1.0));
    thread.wait_for(|status| status.written == 1);
    for suffix in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{suffix}", path.display()));
    }
    thread.log.keep(drop_item(&run, 1, 2.0));
    thread.wait_for(|status| status.written == 2);
    assert_eq!(thread.close().failing, None);
    assert_eq!(drops_in(&path), [2.0]);
}

#[test]
fn a_run_is_being_recorded_then_not_ended_then_closed() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let ending = || {
        let run = LogbookReader::open(&path).unwrap().runs().unwrap().pop();
        run.map(|run| (run.ending, run.to_secs))
    };
    let mut book = Logbook::open(&path).unwrap();
    let run = run("a");
    book.write(&[drop_item(&run, 1, 7.0)]).unwrap();
    assert_eq!(ending(), Some((Ending::Recording, 7.0)));
    // A second program that opens it meanwhile leaves the run alone.
    drop(Logbook::open(&path).unwrap());
    assert_eq!(ending(), Some((Ending::Recording, 7.0)));
    drop(book);
    assert_eq!(ending(), Some((Ending::CutShort, 7.0)));
    // The next who opens it for writing closes the run; and one who was thought dead goes on.
    let mut book = Logbook::open(&path).unwrap();
    assert_eq!(ending(), Some((Ending::CutShort, 7.0)));
    book.write(&[drop_item(&run, 2, 9.0)]).unwrap();
    assert_eq!(ending(), Some((Ending::Recording, 9.0)));
    let end = Item {
        entry: Entry::End,
        at_secs: 10.0,
        ..drop_item(&run, 3, 10.0)
    };
    book.write(&[end]).unwrap();
    assert_eq!(ending(), Some((Ending::Ended, 10.0)));
}

#[test]
fn a_newer_logbook_is_refused_by_writer_and_reader() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    drop(Logbook::open(&path).unwrap());
    let connection = Connection::open(&path).unwrap();
    connection.pragma_update(None, "user_version", 99).unwrap();
    drop(connection);
    let bytes = std::fs::read(&path).unwrap();
    for error in [
        Logbook::open(&path).unwrap_err(),
        LogbookReader::open(&path).unwrap_err(),
    ] {
        let words = error.to_string();
        assert!(words.contains("version 99") && words.contains("newer beadtally"));
    }
    assert_eq!(std::fs::read(&path).unwrap(), bytes, "it was not touched");
}

#[test]
fn a_file_of_another_kind_is_refused_and_not_touched() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("notes.sqlite3");
    std::fs::write(
        &text,
        "valve 1 opened a quarter turn, long enough to fill a page\n".repeat(99),
    )
    .unwrap();
    let other = folder.path().join("other.sqlite3");
    Connection::open(&other)
        .unwrap()
        .execute_batch("CREATE TABLE oil (kind TEXT)")
        .unwrap();
    for path in [&text, &other] {
        let bytes = std::fs::read(path).unwrap();
        assert!(matches!(
            Logbook::open(path),
            Err(LogbookError::NotALogbook { .. })
        ));
        assert!(matches!(
            LogbookReader::open(path),
            Err(LogbookError::NotALogbook { .. })
        ));
        assert_eq!(&std::fs::read(path).unwrap(), &bytes);
    }
    let missing = folder.path().join("missing.sqlite3");
    let words = LogbookReader::open(&missing).unwrap_err().to_string();
    assert!(words.contains("there is no logbook"), "{words}");
    assert!(!missing.exists());
    // A folder, and a path below a file.
    for path in [folder.path().to_path_buf(), text.join("logbook.sqlite3")] {
        let words = Logbook::open(&path).unwrap_err().to_string();
        assert!(words.contains("cannot be opened"), "{words}");
    }
}

#[test]
fn an_empty_file_becomes_a_logbook() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    std::fs::write(&path, "").unwrap();
    assert!(
        LogbookReader::open(&path)
            .unwrap()
            .runs()
            .unwrap()
            .is_empty()
    );
    Logbook::open(&path)
        .unwrap()
        .write(&[drop_item(&run("a"), 1, 1.0)])
        .unwrap();
    assert_eq!(drops_in(&path), [1.0]);
}

/// Enough drops for many pages, cleanly closed.
fn large_logbook(path: &Path) {
    let mut book = Logbook::open(path).unwrap();
    let run = run("a");
    let items: Vec<Item> = (0..3000).map(|n| drop_item(&run, n, n as f64)).collect();
    book.write(&items).unwrap();
}

#[test]
fn a_damaged_page_is_told_and_the_rest_is_saved() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    large_logbook(&path);
    assert_eq!(repair(&path).unwrap(), Repaired::WasWhole);
    let mut bytes = std::fs::read(&path).unwrap();
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..middle + 4096].fill(0xa5);
    std::fs::write(&path, &bytes).unwrap();

    let words = Logbook::open(&path).unwrap_err().to_string();
    assert!(
        words.contains("damaged") && words.contains("--repair"),
        "{words}"
    );
    let Repaired::Saved { rows, kept } = repair(&path).unwrap() else {
        panic!("the damage was not seen");
    };
    assert!(rows > 2500, "{rows} of 3000 and more saved");
    assert_eq!(
        std::fs::read(&kept).unwrap(),
        bytes,
        "the damaged one is kept"
    );
    let drops = drops_in(&path);
    assert!(drops.len() > 2500, "{} drops", drops.len());
    assert!(
        drops.contains(&0.0) && drops.contains(&2999.0),
        "from both ends"
    );
    assert!(Logbook::open(&path).is_ok());
    assert_eq!(repair(&path).unwrap(), Repaired::WasWhole);
}

#[test]
fn a_cut_file_is_told_and_what_is_there_is_saved() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    large_logbook(&path);
    let bytes = std::fs::read(&path).unwrap();
    for part in [3, 2] {
        std::fs::write(&path, &bytes[..bytes.len() / part / 512 * 512]).unwrap();
        let _ = std::fs::remove_file(lock_path(&path));
        for error in [
            Logbook::open(&path).err(),
            LogbookReader::open(&path)
                .and_then(|reader| reader.contents(1).map(|_| ()))
                .err(),
        ] {
            let words = error.expect("a cut file must not pass").to_string();
            assert!(words.contains("damaged"), "{words}");
        }
        let saved = repair(&path).unwrap();
        assert!(matches!(saved, Repaired::Saved { .. }), "{saved:?}");
        assert!(Logbook::open(&path).is_ok());
    }
    assert!(folder.path().join("logbook.sqlite3.damaged").exists());
    assert!(folder.path().join("logbook.sqlite3.damaged-2").exists());
}

#[test]
fn repairing_waits_until_nobody_records() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    large_logbook(&path);
    // Somebody records into it (its lock is held) while it is damaged.
    let lock = std::fs::File::options()
        .read(true)
        .write(true)
        .open(lock_path(&path))
        .unwrap();
    lock.lock_shared().unwrap();
    let mut bytes = std::fs::read(&path).unwrap();
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..middle + 4096].fill(0xa5);
    std::fs::write(&path, &bytes).unwrap();
    assert!(matches!(repair(&path), Err(LogbookError::Locked { .. })));
    drop(lock);
    assert!(matches!(repair(&path), Ok(Repaired::Saved { .. })));
}

#[test]
fn every_kind_of_entry_comes_back_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    let mut book = Logbook::open(&path).unwrap();
    let run = run("a");
    book.write(&[
        drop_item(&run, 0, 1.5),
        item(
            &run,
            1,
            Event::Blind {
                feed: Some(FeedNumber(2)),
                from_secs: 2.0,
                to_secs: 3.5,
                why: BlindWhy::Covered,
            },
        ),
        item(
            &run,
            2,
            Event::Mark {
                moved: None,
                at_secs: 4.0,
                feed: None,
                words: "valve 1 opened a quarter turn".to_owned(),
            },
        ),
        item(
            &run,
            3,
            Event::Gap {
                from_secs: 5.0,
                to_secs: 5.1,
                why: "3 frames were lost".to_owned(),
            },
        ),
        Item {
            entry: Entry::Clock {
                stepped_secs: -3600.0,
            },
            ..drop_item(&run, 4, 6.0)
        },
    ])
    .unwrap();
    let reader = LogbookReader::open(&path).unwrap();
    let contents = reader.contents(1).unwrap();
    assert_eq!(contents.feeds.len(), 2);
    assert_eq!(contents.blind[0].why, "something is in the way");
    assert_eq!(contents.blind[0].feed, Some(2));
    assert_eq!(contents.marks[0].words, "valve 1 opened a quarter turn");
    assert_eq!(contents.marks[0].wall_secs, 1004.0);
    assert_eq!(contents.gaps[0].from_secs, 5.0);
    assert_eq!(contents.clocks[0].stepped_secs, -3600.0);
    let picture = reader.picture(1, 1, 1.5).unwrap().unwrap();
    assert_eq!(
        image::load_from_memory(&picture).unwrap().into_luma8(),
        GrayImage::new(24, 24)
    );
    let no_run = reader.contents(7).unwrap_err().to_string();
    assert!(no_run.contains("no run 7") && no_run.contains("beadtally runs"));
}
