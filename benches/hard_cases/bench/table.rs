//! Outcomes as a table for people.

use super::run::Outcome;
use super::score::Score;

/// A number or a dash.
fn or_dash(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "-".to_owned(), |value| format!("{value:.decimals$}"))
}

/// The heading of the table.
#[must_use]
pub fn heading() -> String {
    format!(
        "{:<14} {:>5} {:<8} {:>5} {:>6} {:>5} {:>7} {:>7} {:>7} {:>6} {:>6} {:>6} {:>6} {:>7}",
        "disturbance",
        "level",
        "scene",
        "true",
        "missed",
        "false",
        "excused",
        "blind%",
        "time ms",
        "size%",
        "bias%",
        "gas%",
        "oil%",
        "F1"
    )
}

/// One line.
#[must_use]
pub fn line(disturbance: &str, level: f64, scene: &str, score: &Score) -> String {
    format!(
        "{disturbance:<14} {level:>5} {scene:<8} {:>5} {:>6} {:>5} {:>7} {:>7.1} {:>7} {:>6} {:>6} {:>6} {:>6} {:>7.4}",
        score.truth,
        score.missed,
        score.false_drops,
        score.excused,
        score.blind_per_cent(),
        or_dash(score.time_rms_ms(), 0),
        or_dash(score.size_rms_per_cent(), 1),
        or_dash(score.size_bias_per_cent(), 1),
        or_dash(score.gas_right_per_cent(), 1),
        or_dash(score.oil_right_per_cent(), 1),
        score.f1(),
    )
}

/// Sums over the scenes for each disturbance and level, in the order they first come.
#[must_use]
pub fn pooled(outcomes: &[Outcome]) -> Vec<(String, f64, Score)> {
    let mut rows: Vec<(String, f64, Score)> = Vec::new();
    for outcome in outcomes {
        let (name, level) = (outcome.case.disturbance.name, outcome.case.level);
        match rows.iter_mut().find(|row| row.0 == name && row.1 == level) {
            Some(row) => row.2.add(&outcome.score),
            None => rows.push((name.to_owned(), level, outcome.score)),
        }
    }
    rows
}
