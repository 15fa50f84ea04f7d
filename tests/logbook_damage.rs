//! Damage drawn at random in a large logbook: it is told or harms nothing, and what repair saves
//! are records that were there. `BEADTALLY_DAMAGES=500` for more than a few.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![expect(clippy::print_stdout, reason = "what was lost is told")]

use std::collections::BTreeMap;
use std::path::Path;

use beadtally::run::logbook::read::DropRow;
use beadtally::run::logbook::repair::{Repaired, repair};
use beadtally::run::logbook::{Logbook, LogbookReader};
use rand::{RngExt, SeedableRng};
use rusqlite::Connection;

/// Drops in the logbook.
const DROPS: i64 = 3000;
/// Bytes of a page.
const PAGE: usize = 4096;

fn large(path: &Path) {
    drop(Logbook::open(path).unwrap());
    let book = Connection::open(path).unwrap();
    book.execute_batch(&format!(
        "INSERT INTO runs (run_id, key, title, source_name, source_identity, width_px, height_px,
         started_wall, started_wall_secs, from_secs, last_wall_secs, last_secs, ended_wall_secs,
         to_secs, ending, program_version, calibration_toml, is_live)
         VALUES (1, 'key', 'bench', 'bench', '', 640, 480, '', 1000, 0, 4000, 3000, 4000, 3000,
         'ended', '0', '', 1);
         INSERT INTO feeds VALUES (1, 1, 'left', 'tube', 2, 3, NULL, 1, 2, 3, 4, 5);
         WITH RECURSIVE n(i) AS (VALUES (0) UNION ALL SELECT i + 1 FROM n WHERE i < {DROPS} - 1)
         INSERT INTO drops SELECT 1, i, 1, i + 0.25, 1000.25 + i, 'oil', 300 + i, NULL, 16, NULL,
         0.99, i + 0.75, zeroblob(200) FROM n;
         PRAGMA journal_mode = DELETE;"
    ))
    .unwrap();
}

fn drops(path: &Path) -> Vec<DropRow> {
    let reader = LogbookReader::open(path).unwrap();
    reader.contents(1).map_or(Vec::new(), |run| run.drops)
}

#[test]
fn rows_between_several_damages_are_saved() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.sqlite3");
    large(&path);
    let mut bytes = std::fs::read(&path).unwrap();
    let pages = bytes.len() / PAGE;
    // A fifth of the file, from its second tenth on: each ruined page stands alone.
    let ruined: Vec<usize> = (pages / 10..pages * 9 / 10).step_by(5).collect();
    for page in &ruined {
        bytes[page * PAGE..(page + 1) * PAGE].fill(0xa5);
    }
    std::fs::write(&path, bytes).unwrap();
    let Repaired::Saved { rows, .. } = repair(&path).unwrap() else {
        panic!("the damage was not seen");
    };
    let saved = drops(&path);
    println!(
        "{} of {pages} pages ruined: {rows} records saved, {} drops of {DROPS}",
        ruined.len(),
        saved.len()
    );
    assert!(saved.len() as i64 > DROPS * 6 / 10, "{} drops", saved.len());
}

#[test]
fn damage_at_random_is_told_and_repair_invents_nothing() {
    let times: usize = std::env::var("BEADTALLY_DAMAGES")
        .ok()
        .and_then(|words| words.parse().ok())
        .unwrap_or(12);
    let seed = rand::random::<u64>();
    println!("seed {seed}");
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let folder = tempfile::tempdir().unwrap();
    let whole = folder.path().join("whole.sqlite3");
    large(&whole);
    let good: BTreeMap<u64, DropRow> = drops(&whole)
        .into_iter()
        .map(|drop| (drop.at_secs.to_bits(), drop))
        .collect();
    let bytes = std::fs::read(&whole).unwrap();
    let (mut told, mut lost, mut altered, mut saved) = (0, 0, 0, 0);
    for time in 0..times {
        let place = folder.path().join(format!("{time}"));
        std::fs::create_dir(&place).unwrap();
        let path = place.join("logbook.sqlite3");
        let mut bad = bytes.clone();
        match time % 3 {
            0 => bad.truncate(random.random_range(1..bytes.len())),
            1 => {
                for _ in 0..random.random_range(1..200) {
                    let at = random.random_range(0..bad.len());
                    bad[at] = random.random();
                }
            }
            _ => {
                let from = random.random_range(0..bad.len() - 1);
                let to = (from + random.random_range(1..40_000)).min(bad.len());
                bad[from..to].fill(random.random());
            }
        }
        std::fs::write(&path, &bad).unwrap();
        if let Err(error) = Logbook::open(&path) {
            told += 1;
            assert!(error.to_string().len() > 40, "{error}");
        }
        let repaired = match repair(&path) {
            Ok(repaired) => repaired,
            Err(error) => {
                // A head of another kind or version: it is refused and left alone.
                assert!(error.to_string().len() > 40, "{error}");
                continue;
            }
        };
        drop(Logbook::open(&path).unwrap());
        if let Repaired::Saved { kept, .. } = &repaired {
            assert!(kept.exists());
        }
        let now = drops(&path);
        saved += now.len();
        lost += good.len().saturating_sub(now.len());
        altered += now
            .iter()
            .filter(|drop| good.get(&drop.at_secs.to_bits()) != Some(drop))
            .count();
        let mut times_secs: Vec<u64> = now.iter().map(|drop| drop.at_secs.to_bits()).collect();
        times_secs.dedup();
        assert_eq!(times_secs.len(), now.len(), "a drop stands in it twice");
    }
    println!(
        "{times} damages: {told} told at once; drops saved {saved}, lost {lost}, altered {altered}"
    );
    // A byte changed inside a number cannot be seen by anybody; a page full of such is.
    assert!(
        altered * 50 <= saved.max(1),
        "{altered} of {saved} records are not what was written"
    );
}
