//! One case and what came of it, as it is kept in a file and shown in the table and the chart.

use beadtally::base::BlindWhy;
use serde::{Deserialize, Serialize};

use super::score::Score;

/// What the OpenCV counter made of the same clip, at its best.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Beside {
    /// Its score; it knows no blind spells.
    pub score: Score,
    /// The settings that gave it.
    pub settings: String,
}

/// One case and what came of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Which way it was made: `drawn` by the demo, or the name of a recorded clip.
    pub way: String,
    /// Kind of glass and light, or the clip.
    pub scene: String,
    /// What is wrong.
    pub disturbance: String,
    /// How much: 1 is the range that must hold.
    pub level: f64,
    /// How to make it again.
    pub words: String,
    /// All glasses together.
    pub score: Score,
    /// The errors in words.
    pub errors: Vec<String>,
    /// Reasons of blindness, with the glass-seconds of each.
    pub blind: Vec<(BlindWhy, f64)>,
    /// The other counter's, where it was asked.
    pub beside: Option<Beside>,
}

impl Row {
    /// `scene/disturbance/level`.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{}/{}/{}", self.scene, self.disturbance, self.level)
    }

    /// Whether it is a drawn case.
    #[must_use]
    pub fn is_drawn(&self) -> bool {
        self.way == DRAWN
    }
}

/// The way of cases drawn by the demo.
pub const DRAWN: &str = "drawn";
/// The way of recorded clips in the pooled table.
pub const RECORDED: &str = "recorded";

/// Several rows as one.
#[derive(Clone, Debug)]
pub struct Pool {
    /// [`DRAWN`] or [`RECORDED`].
    pub way: &'static str,
    /// What is wrong.
    pub disturbance: String,
    /// How much.
    pub level: f64,
    /// Ours.
    pub score: Score,
    /// The other counter's, and our own on those clips on which it was asked.
    pub beside: Option<(Score, Score)>,
}

/// Sums over the scenes for each way, disturbance and level, in the order in which they first come.
#[must_use]
pub fn pooled(rows: &[Row]) -> Vec<Pool> {
    let mut pools: Vec<Pool> = Vec::new();
    for row in rows {
        let way = if row.is_drawn() { DRAWN } else { RECORDED };
        let known = pools.iter().position(|pool| {
            pool.way == way && pool.disturbance == row.disturbance && pool.level == row.level
        });
        let at = known.unwrap_or_else(|| {
            pools.push(Pool {
                way,
                disturbance: row.disturbance.clone(),
                level: row.level,
                score: Score::default(),
                beside: None,
            });
            pools.len() - 1
        });
        let pool = &mut pools[at];
        pool.score.add(&row.score);
        if let Some(beside) = &row.beside {
            let (theirs, ours) = pool.beside.get_or_insert_default();
            theirs.add(&beside.score);
            ours.add(&row.score);
        }
    }
    pools
}
