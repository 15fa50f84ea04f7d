//! Rows as a table for people.

use super::row::Pool;
use super::score::Score;

/// A number or a dash.
fn or_dash(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "-".to_owned(), |value| format!("{value:.decimals$}"))
}

/// The heading of the table.
#[must_use]
pub fn heading() -> String {
    format!(
        "{:<15} {:>5} {:<8} {:>5} {:>6} {:>5} {:>7} {:>7} {:>6} {:>7} {:>5} {:>5} {:>5} {:>5} {:>6} {:>8}",
        "disturbance",
        "level",
        "scene",
        "true",
        "missed",
        "false",
        "excused",
        "blind s",
        "blind%",
        "time ms",
        "size%",
        "bias%",
        "gas%",
        "oil%",
        "F1",
        "OpenCV"
    )
}

/// One line; `beside` is the F1 of the other counter.
#[must_use]
pub fn line(
    disturbance: &str,
    level: f64,
    scene: &str,
    score: &Score,
    beside: Option<f64>,
) -> String {
    format!(
        "{disturbance:<15} {level:>5} {scene:<8} {:>5} {:>6} {:>5} {:>7} {:>7.1} {:>6.1} {:>7} {:>5} {:>5} {:>5} {:>5} {:>6.4} {:>8}",
        score.truth,
        score.missed,
        score.false_drops,
        score.excused,
        score.blind_secs,
        score.blind_per_cent(),
        or_dash(score.time_rms_ms(), 0),
        or_dash(score.size_rms_per_cent(), 1),
        or_dash(score.size_bias_per_cent(), 1),
        or_dash(score.gas_right_per_cent(), 1),
        or_dash(score.oil_right_per_cent(), 1),
        score.f1(),
        or_dash(beside, 4),
    )
}

/// The line of a pool.
#[must_use]
pub fn pool_line(pool: &Pool) -> String {
    let scene = if pool.way == super::row::DRAWN {
        "all"
    } else {
        "clips"
    };
    line(
        &pool.disturbance,
        pool.level,
        scene,
        &pool.score,
        pool.beside.map(|(theirs, _)| theirs.f1()),
    )
}
