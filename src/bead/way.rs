//! A straight way through a glass, and what the beads of a feed are usually like that go such ways. How
//! ways are found and weighed is left to `faint`.

use crate::bead::candidate::Candidate;
use crate::bead::explain::Explained;
use crate::bead::steady::median;
use crate::bead::track::{Path, Sighting};

/// Most confidence in what no picture shows by itself.
const MOST_CONFIDENCE: f32 = 0.95;

/// What the beads of a feed usually look like and how they go.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Usual {
    /// Rise, rows a second.
    pub rows_per_s: f32,
    /// Height, rows.
    pub height: f32,
    /// Width, columns.
    pub width: f32,
    /// Place across, columns.
    pub col: f32,
    /// Row from which on they are seen to rise.
    pub from_row: f32,
}

impl Usual {
    /// From the beads that were told, without those that were found by being like them.
    #[must_use]
    pub fn of<'a>(told: impl Iterator<Item = &'a Explained>) -> Option<Self> {
        let sure: Vec<&Explained> = told.filter(|bead| bead.surplus >= 0.0).collect();
        let usual = |of: fn(&Explained) -> f32| {
            median(&mut sure.iter().map(|bead| of(bead)).collect::<Vec<f32>>())
        };
        (!sure.is_empty()).then(|| Self {
            rows_per_s: usual(|bead| bead.rows_per_s),
            height: usual(|bead| bead.height),
            width: usual(|bead| bead.width),
            col: usual(|bead| bead.col),
            from_row: usual(|bead| bead.rows.first().map_or(0.0, |first| first.1)),
        })
    }
}

/// Whether a faint bead is only what is left of one that was told, or of its border.
#[must_use]
pub fn is_beside(told: &Explained, faint: &Explained) -> bool {
    let apart = (told.at_secs - faint.at_secs).abs() as f32 * faint.rows_per_s;
    apart < told.height.max(faint.height)
}

/// Which way a thing goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// As beads rise.
    Up,
    /// As nothing does that is a bead.
    Down,
}

/// A way up or down.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    /// When it passed the middle, seconds.
    pub at_secs: f64,
    /// Rise, rows a second.
    pub rows_per_s: f32,
    /// Column.
    pub col: f32,
    /// Sum along it, in spreads.
    pub sum: f32,
    /// Frames in which it was seen: time, number, row.
    pub seen: Vec<(f64, u64, f32)>,
}

impl Way {
    /// The bead that it is when such a sum is needed for one, and its path. Nothing is learned from it:
    /// no evidence is left over.
    #[must_use]
    pub fn bead(&self, usual: &Usual, needed: f32) -> (Explained, Path) {
        let half = usual.height / 2.0;
        let seen = |row: f32| Candidate {
            row,
            col: self.col,
            height: usual.height,
            width: usual.width,
            top: row - half,
            bottom: row + half,
            weight: 1.0,
            level: 0.0,
            core: 0.0,
            touches_side: false,
        };
        let points = self.seen.iter().map(|(at_secs, frame, row)| Sighting {
            at_secs: *at_secs,
            frame: *frame,
            seen: seen(*row),
            shared: false,
        });
        let bead = Explained {
            at_secs: self.at_secs,
            rows_per_s: self.rows_per_s,
            height: usual.height,
            width: usual.width,
            confidence: (1.0 - 0.5 * (needed - self.sum).exp()).min(MOST_CONFIDENCE),
            surplus: -1.0,
            col: self.col,
            strength: 1.0,
            cover: 1.0,
            diameters_per_s: self.rows_per_s / usual.height.max(1.0),
            rows: self
                .seen
                .iter()
                .map(|(_, frame, row)| (*frame, *row))
                .collect(),
        };
        (bead, Path::of(points.collect()))
    }
}
