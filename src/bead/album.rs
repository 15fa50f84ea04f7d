//! The album of a glass: cuttings of its newest frames, as finely as the camera shows them, kept so
//! that a bead can be looked at again once it is known to be one. What was cut is straightened and
//! compared with the picture at rest only when it is asked for. The portrait is taken elsewhere.

use std::collections::VecDeque;

use image::GrayImage;
use ndarray::Array2;

use crate::bead::lanes::{LIGHT_BASE, sum};
use crate::bead::rest::Difference;
use crate::bead::sample::{Grid, Sampler};
use crate::bead::steady::Pose;
use crate::glass::Outline;

/// Frames of one glass that are kept: the last second of a passage, and more.
const KEPT: usize = 48;
/// Least time between two kept frames, seconds: faster cameras bring more frames than are needed.
const EVERY_SECS: f64 = 0.018;
/// Time for which frames are kept after something was last seen in the glass, seconds: they show what
/// is behind a bead that is gone.
const AFTER_SECS: f64 = 0.5;
/// Pixels round a glass that are cut out with it: its samples lie between pixels.
const ROUND_PX: f64 = 2.0;
/// A bead is measured in samples of which so many or more make its height. Finer ones would tell
/// hardly more of it, and cost as much more as there are.
const HEIGHT_SAMPLES: f64 = 16.0;

/// A glass cut out of a frame, and how it stands there.
#[derive(Clone, Debug, Default)]
pub struct Cutting {
    pixels: GrayImage,
    /// From the cutting to the place in which the outline is meant, pixels.
    shift_px: (f64, f64),
    turn_rad: f64,
}

impl Cutting {
    /// Cuts the glass of an outline out of a frame in which it stands so, in place of what was kept
    /// before.
    pub fn cut(&mut self, luma: &GrayImage, outline: &Outline, pose: &Pose) {
        let turned = Outline {
            angle_deg: outline.angle_deg + pose.turn_rad.to_degrees(),
            ..*outline
        };
        let edge = turned.upright_box();
        let within = |at: f64, of: u32| at.clamp(0.0, f64::from(of)) as usize;
        let (x, y) = (edge.x + pose.shift_px.0, edge.y + pose.shift_px.1);
        let left = within(x - ROUND_PX, luma.width());
        let right = within((x + edge.width + ROUND_PX).ceil() + 1.0, luma.width());
        let top = within(y - ROUND_PX, luma.height());
        let bottom = within((y + edge.height + ROUND_PX).ceil() + 1.0, luma.height());
        let (width, height) = (right.saturating_sub(left), bottom.saturating_sub(top));
        let mut pixels = std::mem::take(&mut self.pixels).into_raw();
        pixels.clear();
        if width > 0 {
            let lines = luma.as_raw().chunks_exact(luma.width().max(1) as usize);
            for line in lines.skip(top).take(height) {
                pixels.extend_from_slice(line.get(left..right).unwrap_or(&[]));
            }
        }
        self.pixels = GrayImage::from_raw(width as u32, height as u32, pixels).unwrap_or_default();
        self.shift_px = (pose.shift_px.0 - left as f64, pose.shift_px.1 - top as f64);
        self.turn_rad = pose.turn_rad;
    }
}

/// One kept frame.
#[derive(Clone, Debug, Default)]
pub(super) struct Leaf {
    pub(super) frame: u64,
    pub(super) at_secs: f64,
    cutting: Cutting,
    /// Where the glass was: it may have been carried along since.
    outline: Option<Outline>,
    /// What evens the light of each followed row.
    light: Vec<f32>,
}

/// The newest frames of one glass, which can be read in samples at least as fine as those the beads
/// are followed in.
#[derive(Clone, Debug)]
pub struct Album {
    /// What it can be read in, the finest first; never empty.
    finenesses: Vec<Fineness>,
    outline: Outline,
    /// Rows and columns that beads are followed in.
    followed: (usize, usize),
    pub(super) leaves: VecDeque<Leaf>,
    last_secs: f64,
    stirred_secs: f64,
}

/// Samples that an album can be read in.
#[derive(Clone, Debug)]
pub(super) struct Fineness {
    pub(super) grid: Grid,
    /// In each row those that belong to the glass: from the first up to the second.
    pub(super) inside: Vec<(usize, usize)>,
    /// So many of them, in a line, for one that beads are followed in.
    pub(super) finer: f32,
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
    /// Things that stood out in it.
    pub found: usize,
}

/// Where the glass of a frame is to be cut from.
#[derive(Debug)]
pub enum Source<'a> {
    /// The frame itself, and how the glass stands in it.
    Frame(&'a GrayImage, &'a Pose),
    /// It has been cut out already.
    Cut(Cutting),
}

impl Album {
    /// An empty album of one glass, in which beads are followed in (rows, columns) of that shape.
    #[must_use]
    pub fn new(followed: &Sampler) -> Self {
        let fineness = |grid: Grid| Fineness {
            inside: grid.inside(),
            finer: (followed.step_px() / grid.step_px) as f32,
            grid,
        };
        Self {
            finenesses: followed.grid().finer().into_iter().map(fineness).collect(),
            outline: *followed.outline(),
            followed: followed.shape(),
            leaves: VecDeque::with_capacity(KEPT),
            last_secs: f64::NEG_INFINITY,
            stirred_secs: f64::NEG_INFINITY,
        }
    }

    /// The glass stands at another outline from now on, see [`Sampler::carry`].
    pub fn carry(&mut self, outline: &Outline) {
        self.outline = *outline;
        for fineness in &mut self.finenesses {
            fineness.grid = fineness.grid.at(outline);
        }
    }

    /// Keeps a frame, if there is or was something in the glass.
    pub fn keep(&mut self, seen: &Followed<'_>, source: Source<'_>) {
        if seen.found > 0 {
            self.stirred_secs = seen.at_secs;
        }
        let since = seen.at_secs - self.last_secs;
        let calm = seen.at_secs - self.stirred_secs > AFTER_SECS;
        if calm || (0.0..EVERY_SECS).contains(&since) {
            return;
        }
        self.last_secs = seen.at_secs;
        let oldest = if self.leaves.len() >= KEPT {
            self.leaves.pop_front()
        } else {
            None
        };
        let mut leaf = oldest.unwrap_or_default();
        leaf.frame = seen.frame;
        leaf.at_secs = seen.at_secs;
        leaf.outline = Some(self.outline);
        match source {
            Source::Frame(luma, pose) => leaf.cutting.cut(luma, &self.outline, pose),
            Source::Cut(cutting) => leaf.cutting = cutting,
        }
        leaf.light.clear();
        let rows = rows(&seen.difference.levels)
            .zip(rows(seen.rest))
            .zip(rows(seen.luma));
        leaf.light.extend(rows.map(|((differs, rest), luma)| {
            let base = LIGHT_BASE * (1 + luma.len()) as f32;
            (base + sum(differs) + sum(rest)) / (base + sum(luma))
        }));
        self.leaves.push_back(leaf);
    }

    /// The album in the samples in which a bead is to be measured that is so many pixels high; none
    /// when it can be read in none.
    pub(super) fn reading(&self, height_px: f64) -> Option<Reading<'_>> {
        let fine = |fineness: &&Fineness| height_px >= HEIGHT_SAMPLES * fineness.grid.step_px;
        let fineness = self.finenesses.iter().rfind(fine);
        Some(Reading {
            album: self,
            fineness: fineness.or_else(|| self.finenesses.first())?,
        })
    }

    /// The same, in samples of so many pixels.
    pub(super) fn reading_in(&self, step_px: f32) -> Option<Reading<'_>> {
        let off = |fineness: &Fineness| (fineness.grid.step_px as f32 - step_px).abs();
        let nearest = |a: &&Fineness, b: &&Fineness| off(a).total_cmp(&off(b));
        Some(Reading {
            album: self,
            fineness: self.finenesses.iter().min_by(nearest)?,
        })
    }

    /// Picture pixels that a sample stands for in which beads are followed.
    pub(super) fn followed_px(&self) -> f64 {
        let px = |fineness: &Fineness| f64::from(fineness.finer) * fineness.grid.step_px;
        self.finenesses.first().map_or(1.0, px)
    }

    /// Which of the kept frames bears a number.
    pub(super) fn leaf(&self, frame: u64) -> Option<usize> {
        self.leaves.binary_search_by_key(&frame, |l| l.frame).ok()
    }
}

/// The rows of a picture.
fn rows(of: &Array2<f32>) -> std::slice::ChunksExact<'_, f32> {
    let samples = of.as_slice().unwrap_or(&[]);
    samples.chunks_exact(of.ncols().max(1))
}

/// An album as it is read in samples of one fineness.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading<'a> {
    pub(super) album: &'a Album,
    pub(super) fineness: &'a Fineness,
}

impl Reading<'_> {
    pub(super) fn rows(&self) -> usize {
        self.fineness.grid.rows
    }

    pub(super) fn cols(&self) -> usize {
        self.fineness.grid.cols
    }

    /// Part of a row of a kept frame, from a column on, as wide as what lies at rest there (see
    /// [`Reading::row_at_rest`]): straightened, its light evened as it was to follow beads, less the
    /// picture at rest; grey levels.
    pub(super) fn row(
        &self,
        leaf: &Leaf,
        (row, col): (usize, usize),
        rest: &[f32],
        out: &mut Vec<f32>,
    ) {
        out.clear();
        out.resize(rest.len(), 0.0);
        let Cutting {
            pixels,
            shift_px,
            turn_rad,
        } = &leaf.cutting;
        let grid = self.fineness.grid;
        let grid = leaf.outline.map_or(grid, |outline| grid.at(&outline));
        grid.take_row(pixels, (*shift_px, *turn_rad), (row, col), out);
        let (upper, lower, down) = self.between(row, self.rows(), self.album.followed.0);
        let light = |row: usize| leaf.light.get(row).copied().unwrap_or(1.0);
        let evened = light(upper) + (light(lower) - light(upper)) * down;
        for (level, rest) in out.iter_mut().zip(rest) {
            *level = (*level + LIGHT_BASE) * evened - LIGHT_BASE - rest;
        }
    }

    /// Part of a row of the picture at rest, in these samples, grey levels.
    pub(super) fn row_at_rest(
        &self,
        rest: &Array2<f32>,
        row: usize,
        cols: std::ops::Range<usize>,
    ) -> Vec<f32> {
        let followed = self.album.followed;
        let (upper, lower, down) = self.between(row, self.rows(), followed.0);
        let get = |row: usize, col: usize| rest.get([row, col]).copied().unwrap_or(0.0);
        cols.map(|col| {
            let (left, right, over) = self.between(col, self.cols(), followed.1);
            let line = |row: usize| get(row, left) + (get(row, right) - get(row, left)) * over;
            line(upper) + (line(lower) - line(upper)) * down
        })
        .collect()
    }

    /// The two followed samples on either side of one of these, of so many, and the share of the
    /// second.
    fn between(&self, at: usize, of: usize, followed: usize) -> (usize, usize, f32) {
        let place = self.to_followed(at as f32, of, followed);
        let last = followed.saturating_sub(1);
        let low = (place.max(0.0) as usize).min(last);
        let high = (low + 1).min(last);
        (low, high, (place - low as f32).clamp(0.0, 1.0))
    }

    /// Where a row or column (of so many) is among the followed ones (of so many).
    fn to_followed(self, at: f32, of: usize, followed: usize) -> f32 {
        (at + 0.5 - of as f32 / 2.0) / self.fineness.finer + followed as f32 / 2.0 - 0.5
    }

    /// The followed row nearest to one of these.
    pub(super) fn followed_row(&self, row: f32) -> usize {
        self.nearest(row, self.rows(), self.album.followed.0)
    }

    /// The followed column nearest to one of these.
    pub(super) fn followed_col(&self, col: f32) -> usize {
        self.nearest(col, self.cols(), self.album.followed.1)
    }

    fn nearest(&self, at: f32, of: usize, followed: usize) -> usize {
        let last = followed.saturating_sub(1) as f32;
        self.to_followed(at, of, followed).round().clamp(0.0, last) as usize
    }

    /// Row and column of a place that beads are followed in.
    pub(super) fn place(&self, row: f32, col: f32) -> (f32, f32) {
        let to = |at: f32, followed: usize, of: usize| {
            (at + 0.5 - followed as f32 / 2.0) * self.fineness.finer + of as f32 / 2.0 - 0.5
        };
        let (rows, cols) = self.album.followed;
        (to(row, rows, self.rows()), to(col, cols, self.cols()))
    }
}
