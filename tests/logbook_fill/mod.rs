//! Fills a logbook with many runs of an hour, for tests and benches of its speed. The rows are made
//! by the database itself; what stands in them means nothing.

use std::path::Path;

use beadtally::run::logbook::Logbook;
use rusqlite::Connection;

/// Drops of an hour: three feeds at 2.5 a minute.
pub const DROPS: i64 = 450;
/// Readings of an hour: three feeds, one each ten seconds.
pub const READINGS: i64 = 1080;

/// Adds runs to a logbook, which is made when it is not there; each drop has a picture of so many
/// bytes.
pub fn fill(path: &Path, runs: i64, picture_bytes: i64) -> Result<(), String> {
    drop(Logbook::open(path).map_err(|error| error.to_string())?);
    let words = |error: rusqlite::Error| error.to_string();
    let connection = Connection::open(path).map_err(words)?;
    let before: i64 = connection
        .query_row("SELECT coalesce(max(run_id), 0) FROM runs", [], |row| {
            row.get(0)
        })
        .map_err(words)?;
    let new_runs = format!(
        "WITH RECURSIVE r(n) AS (SELECT {} UNION ALL SELECT n + 1 FROM r WHERE n < {})",
        before + 1,
        before + runs
    );
    // A join of two series: a row for each run and each number.
    let rows = |count: i64| {
        format!(
            "{new_runs}, i(k) AS (SELECT 0 UNION ALL SELECT k + 1 FROM i WHERE k < {})",
            count - 1
        )
    };
    let drops = rows(DROPS);
    let readings = rows(READINGS);
    let clocks = rows(60);
    let feeds = rows(3);
    connection
        .execute_batch(&format!(
            "PRAGMA synchronous = OFF;
             BEGIN;
             INSERT INTO runs (run_id, key, title, source_name, source_identity, width_px,
                height_px, started_wall, started_wall_secs, from_secs, last_wall_secs, last_secs,
                ended_wall_secs, to_secs, ending, program_version, calibration_toml, is_live)
             {new_runs} SELECT n, 'filled ' || n, 'an hour', 'drawn', '', 640, 480, 'then',
                1e9 + 4000.0 * n, 0.0, 1e9 + 4000.0 * n + 3600.0, 3600.0,
                1e9 + 4000.0 * n + 3600.0, 3600.0, 'ended', '0', '', 1 FROM r;
             INSERT INTO feeds {feeds} SELECT n, k + 1, '', 'tube', 2.0, 3.0, 6.0,
                100.0 + 200.0 * k, 240.0, 110.0, 360.0, 0.0 FROM r, i;
             INSERT INTO drops (run_id, sequence, feed, at_secs, wall_secs, kind, rise_px_per_s,
                rise_mm_per_s, height_px, diameter_mm, confidence, settled_at_secs, picture_png)
             {drops} SELECT n, 3 * k, k % 3 + 1, 8.0 * k, 1e9 + 4000.0 * n + 8.0 * k,
                CASE k % 40 WHEN 0 THEN 'gas' ELSE 'oil' END, 300.0, 50.0, 25.0, 4.2, 0.99,
                8.0 * k + 1.0, CASE {picture_bytes} WHEN 0 THEN NULL ELSE zeroblob({picture_bytes})
                END FROM r, i;
             INSERT INTO readings (run_id, sequence, feed, at_secs, wall_secs, drops_per_minute,
                low_per_minute, high_per_minute, scatter, drops, state, doubts)
             {readings} SELECT n, 3 * k + 1, k % 3 + 1, 3.3 * k, 1e9 + 4000.0 * n + 3.3 * k, 2.5,
                2.2, 2.8, 0.15, 10, 'in band', '' FROM r, i;
             INSERT INTO clocks {clocks} SELECT n, 3 * k + 2, 60.0 * k, 1e9 + 4000.0 * n + 60.0 * k,
                0.0 FROM r, i;
             COMMIT;"
        ))
        .map_err(words)
}
