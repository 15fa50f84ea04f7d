//! The album of a glass: its newest frames less the picture at rest, as finely as the camera shows
//! them, kept so that a bead can be looked at again once it is known to be one. It only keeps; the
//! portrait is taken elsewhere.

use std::collections::VecDeque;

use image::GrayImage;
use ndarray::Array2;

use crate::bead::rest::Difference;
use crate::bead::sample::Sampler;
use crate::glass::Outline;

/// Frames of differences kept of one glass: the last second of a passage, and more.
const KEPT: usize = 48;
/// Least time between two kept frames, seconds: faster cameras bring more frames than are needed.
const EVERY_SECS: f64 = 0.018;
/// Kept levels a grey level, so that they fit whole numbers of 16 bits.
const PER_LEVEL: f32 = 64.0;
/// Added to both sides of a light ratio, grey levels, so that near-black does not blow it up: as
/// the picture at rest does.
pub(super) const LIGHT_BASE: f32 = 8.0;

/// One kept frame: luma, or its difference from rest, in parts of a grey level.
#[derive(Clone, Debug)]
pub(super) struct Leaf {
    pub(super) frame: u64,
    pub(super) at_secs: f64,
    pub(super) levels: Vec<i16>,
    /// What evens the light of each followed row, if the levels are luma; empty if they differ from
    /// rest already.
    pub(super) light: Vec<f32>,
}

/// The newest differences of one glass, in samples at least as fine as those the beads are
/// followed in.
#[derive(Clone, Debug)]
pub struct Album {
    pub(super) sampler: Sampler,
    pub(super) rows: usize,
    pub(super) cols: usize,
    /// Samples of the album for one sample that beads are followed in.
    pub(super) finer: f32,
    /// Rows and columns that beads are followed in.
    pub(super) followed: (usize, usize),
    luma: Array2<f32>,
    looked_secs: f64,
    pub(super) leaves: VecDeque<Leaf>,
    last_secs: f64,
}

/// One frame's glass as beads are followed in it, for [`Album::keep`].
#[derive(Clone, Copy, Debug)]
pub struct Followed<'a> {
    /// Number that its sightings bear.
    pub frame: u64,
    /// Source time, seconds.
    pub at_secs: f64,
    /// Straightened luma.
    pub luma: &'a Array2<f32>,
    /// The picture at rest.
    pub rest: &'a Array2<f32>,
    /// The difference between them.
    pub difference: &'a Difference,
}

impl Album {
    /// An empty album of one glass, in which beads are followed in (rows, columns) of that shape.
    #[must_use]
    pub fn new(followed: &Sampler) -> Self {
        let sampler = followed.finer();
        let (rows, cols) = sampler.shape();
        let finer = (followed.step_px() / sampler.step_px()) as f32;
        Self {
            rows,
            cols,
            finer,
            followed: followed.shape(),
            luma: Array2::zeros((rows, cols)),
            looked_secs: f64::NEG_INFINITY,
            leaves: VecDeque::new(),
            last_secs: f64::NEG_INFINITY,
            sampler,
        }
    }

    /// The glass stands at another outline from now on, see [`Sampler::carry`].
    pub fn carry(&mut self, outline: &Outline) {
        self.sampler.carry(outline);
    }

    /// Looks at a frame in which the glass stands shifted by `shift_px` and turned, and takes from it the
    /// samples in which beads are followed: each the mean of a whole number of the album's own.
    pub fn look(
        &mut self,
        at_secs: f64,
        (luma, shift_px, turn_rad): (&GrayImage, (f64, f64), f64),
        followed: &mut Array2<f32>,
    ) {
        let times = (self.rows / self.followed.0.max(1)).max(1);
        if times < 2 {
            self.sampler.take(luma, shift_px, turn_rad, followed);
            return;
        }
        self.sampler.take(luma, shift_px, turn_rad, &mut self.luma);
        self.looked_secs = at_secs;
        let share = 1.0 / (times * times) as f32;
        let Some(fine) = self.luma.as_slice() else {
            return;
        };
        let lines = fine.chunks_exact(times * self.cols);
        for (mut line, fine) in followed.rows_mut().into_iter().zip(lines) {
            line.fill(0.0);
            for fine in fine.chunks_exact(self.cols) {
                for (level, group) in line.iter_mut().zip(fine.chunks_exact(times)) {
                    *level += match group {
                        // Nearly always.
                        [one, other] => one + other,
                        _ => group.iter().sum(),
                    } * share;
                }
            }
        }
    }

    /// Keeps the difference of a frame: finely if it is the one last looked at.
    pub fn keep(&mut self, seen: &Followed<'_>) {
        let since = seen.at_secs - self.last_secs;
        if (0.0..EVERY_SECS).contains(&since) {
            return;
        }
        self.last_secs = seen.at_secs;
        let oldest = if self.leaves.len() >= KEPT {
            self.leaves.pop_front()
        } else {
            None
        };
        let (mut levels, mut light) = oldest.map_or_else(
            || (Vec::with_capacity(self.rows * self.cols), Vec::new()),
            |leaf| (leaf.levels, leaf.light),
        );
        levels.clear();
        light.clear();
        let differs = &seen.difference.levels;
        let looked = self.finer > 1.0 && seen.at_secs == self.looked_secs;
        if looked || self.finer <= 1.0 {
            // The luma itself: the difference may have been smoothed to find beads in noise.
            let luma = if looked { &self.luma } else { seen.luma };
            let luma = luma.as_slice().unwrap_or(&[]);
            levels.extend(luma.iter().map(|level| packed(*level)));
            let rows = differs.rows().into_iter().zip(seen.rest.rows());
            light.extend(rows.zip(seen.luma.rows()).map(|((differs, rest), luma)| {
                let base = LIGHT_BASE * (1 + luma.len()) as f32;
                (base + differs.sum() + rest.sum()) / (base + luma.sum())
            }));
        } else {
            for row in 0..self.rows {
                levels.extend((0..self.cols).map(|col| packed(self.mixed(differs, (row, col)))));
            }
        }
        self.leaves.push_back(Leaf {
            frame: seen.frame,
            at_secs: seen.at_secs,
            levels,
            light,
        });
    }

    /// Difference from rest in a kept frame, grey levels: the luma, evened as the coarser one was,
    /// less the picture at rest. Of a frame that was not looked at only the coarser one is known.
    pub(super) fn level(&self, leaf: &Leaf, at: (usize, usize), rest: &Array2<f32>) -> f32 {
        let level = leaf.levels.get(at.0 * self.cols + at.1);
        let level = f32::from(level.copied().unwrap_or(0)) / PER_LEVEL;
        if leaf.light.is_empty() {
            return level;
        }
        let (upper, lower, down) = self.between(at.0, self.rows, self.followed.0);
        let light = |row: usize| leaf.light.get(row).copied().unwrap_or(1.0);
        let evened = light(upper) + (light(lower) - light(upper)) * down;
        (level + LIGHT_BASE) * evened - LIGHT_BASE - self.mixed(rest, at)
    }

    /// The value between followed samples at one of the album's.
    fn mixed(&self, followed: &Array2<f32>, (row, col): (usize, usize)) -> f32 {
        let (upper, lower, down) = self.between(row, self.rows, self.followed.0);
        let (left, right, over) = self.between(col, self.cols, self.followed.1);
        let get = |row: usize, col: usize| followed.get([row, col]).copied().unwrap_or(0.0);
        let line = |row: usize| get(row, left) + (get(row, right) - get(row, left)) * over;
        line(upper) + (line(lower) - line(upper)) * down
    }

    /// The two followed samples on either side of one of the album's, of so many, and the share of
    /// the second.
    fn between(&self, at: usize, of: usize, followed: usize) -> (usize, usize, f32) {
        let place = self.to_followed(at as f32, of, followed);
        let last = followed.saturating_sub(1);
        let low = (place.max(0.0) as usize).min(last);
        let high = (low + 1).min(last);
        (low, high, (place - low as f32).clamp(0.0, 1.0))
    }

    /// Where a row or column of the album (of so many) is among the followed ones (of so many).
    pub(super) fn to_followed(&self, at: f32, of: usize, followed: usize) -> f32 {
        (at + 0.5 - of as f32 / 2.0) / self.finer + followed as f32 / 2.0 - 0.5
    }

    /// Row and column in the album of a place that beads are followed in.
    pub(super) fn place(&self, row: f32, col: f32) -> (f32, f32) {
        let to = |at: f32, followed: usize, of: usize| {
            (at + 0.5 - followed as f32 / 2.0) * self.finer + of as f32 / 2.0 - 0.5
        };
        (
            to(row, self.followed.0, self.rows),
            to(col, self.followed.1, self.cols),
        )
    }

    pub(super) fn leaf(&self, frame: u64) -> Option<&Leaf> {
        let at = self.leaves.binary_search_by_key(&frame, |l| l.frame).ok()?;
        self.leaves.get(at)
    }
}

fn packed(level: f32) -> i16 {
    (level * PER_LEVEL) as i16
}
