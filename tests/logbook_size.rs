//! A logbook of a thousand runs of an hour is listed in under 100 ms and opens any run in under
//! 300 ms, in processor time, so that other work on the machine does not matter.
#![cfg(target_os = "linux")]

mod logbook_fill;

use beadtally::run::logbook::LogbookReader;
use rustix::time::{ClockId, clock_gettime};

/// Longest that listing may take, seconds.
const LIST_SECS: f64 = 0.1;
/// Longest that opening a run may take, seconds.
const OPEN_SECS: f64 = 0.3;

fn thread_secs() -> f64 {
    let spent = clock_gettime(ClockId::ThreadCPUTime);
    spent.tv_sec as f64 + spent.tv_nsec as f64 * 1e-9
}

fn best_of_three(mut work: impl FnMut()) -> f64 {
    (0..3)
        .map(|_| {
            let from = thread_secs();
            work();
            thread_secs() - from
        })
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn a_thousand_runs_are_listed_and_opened_fast() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    logbook_fill::fill(&path, 1000, 0).unwrap();
    let listing = best_of_three(|| {
        let runs = LogbookReader::open(&path).unwrap().runs().unwrap();
        assert_eq!(runs.len(), 1000);
        let drops: Vec<u64> = runs.iter().map(|run| run.drops + run.bubbles).collect();
        assert!(drops.iter().all(|n| *n == logbook_fill::DROPS as u64));
    });
    let opening = [1, 500, 1000].map(|run| {
        best_of_three(|| {
            let reader = LogbookReader::open(&path).unwrap();
            let contents = reader.contents(run).unwrap();
            assert_eq!(contents.drops.len(), logbook_fill::DROPS as usize);
            assert_eq!(contents.readings.len(), logbook_fill::READINGS as usize);
        })
    });
    println!("listed in {listing:.4} s, opened in {opening:?} s");
    assert!(listing < LIST_SECS, "{listing}");
    assert!(opening.iter().all(|secs| *secs < OPEN_SECS), "{opening:?}");
    assert_eq!(
        LogbookReader::open(&path).unwrap().newest_run().unwrap(),
        1000
    );
}
