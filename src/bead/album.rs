//! The album of a glass: cuttings of its newest frames, as finely as the camera shows them, kept so
//! that a bead can be looked at again once it is known to be one. What was cut is straightened and
//! compared with the picture at rest only when it is asked for. The portrait is taken elsewhere.

use std::collections::VecDeque;

use image::GrayImage;
use ndarray::Array2;

use crate::bead::lanes::LIGHT_BASE;
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
/// More of them beside it: columns are filled up, by up to four samples to each side, and a sample is
/// a pixel or, of a very wide glass, this part of the width.
const FILLED_SAMPLES: f64 = 4.0;
const SAMPLE_SHARE: f64 = 1.0 / 200.0;

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
        let beside = ROUND_PX + FILLED_SAMPLES * (SAMPLE_SHARE * outline.width_px).max(1.0);
        let left = within(x - beside, luma.width());
        let right = within((x + edge.width + beside).ceil() + 1.0, luma.width());
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
    /// Where its samples lie: a glass may have been carried along since.
    grid: Option<Grid>,
    /// What evens the light of each followed row.
    light: Vec<f32>,
}

/// The newest frames of one glass, which can be read in samples at least as fine as those the beads
/// are followed in.
#[derive(Clone, Debug)]
pub struct Album {
    pub(super) sampler: Sampler,
    pub(super) rows: usize,
    pub(super) cols: usize,
    /// Samples of the album for one sample that beads are followed in.
    pub(super) finer: f32,
    /// Rows and columns that beads are followed in.
    pub(super) followed: (usize, usize),
    pub(super) leaves: VecDeque<Leaf>,
    last_secs: f64,
    stirred_secs: f64,
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
        let sampler = followed.finer();
        let (rows, cols) = sampler.shape();
        let finer = (followed.step_px() / sampler.step_px()) as f32;
        Self {
            rows,
            cols,
            finer,
            followed: followed.shape(),
            leaves: VecDeque::with_capacity(KEPT),
            last_secs: f64::NEG_INFINITY,
            stirred_secs: f64::NEG_INFINITY,
            sampler,
        }
    }

    /// The glass stands at another outline from now on, see [`Sampler::carry`].
    pub fn carry(&mut self, outline: &Outline) {
        self.sampler.carry(outline);
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
        leaf.grid = Some(self.sampler.grid());
        match source {
            Source::Frame(luma, pose) => leaf.cutting.cut(luma, self.sampler.outline(), pose),
            Source::Cut(cutting) => leaf.cutting = cutting,
        }
        leaf.light.clear();
        let rows = seen.difference.levels.rows().into_iter();
        let rows = rows.zip(seen.rest.rows()).zip(seen.luma.rows());
        leaf.light.extend(rows.map(|((differs, rest), luma)| {
            let base = LIGHT_BASE * (1 + luma.len()) as f32;
            (base + differs.sum() + rest.sum()) / (base + luma.sum())
        }));
        self.leaves.push_back(leaf);
    }

    /// One row of a kept frame, straightened, its light evened as it was to follow beads, less the
    /// picture at rest there (see [`Album::row_at_rest`]); grey levels.
    pub(super) fn row(&self, leaf: &Leaf, row: usize, rest: &[f32], out: &mut Vec<f32>) {
        out.clear();
        out.resize(self.cols, 0.0);
        let Cutting {
            pixels,
            shift_px,
            turn_rad,
        } = &leaf.cutting;
        let grid = leaf.grid.unwrap_or_else(|| self.sampler.grid());
        grid.take_row(pixels, (*shift_px, *turn_rad), row, out);
        let (upper, lower, down) = self.between(row, self.rows, self.followed.0);
        let light = |row: usize| leaf.light.get(row).copied().unwrap_or(1.0);
        let evened = light(upper) + (light(lower) - light(upper)) * down;
        for (level, rest) in out.iter_mut().zip(rest) {
            *level = (*level + LIGHT_BASE) * evened - LIGHT_BASE - rest;
        }
    }

    /// One row of the picture at rest, in the album's samples, grey levels.
    pub(super) fn row_at_rest(&self, rest: &Array2<f32>, row: usize) -> Vec<f32> {
        let (upper, lower, down) = self.between(row, self.rows, self.followed.0);
        let get = |row: usize, col: usize| rest.get([row, col]).copied().unwrap_or(0.0);
        (0..self.cols)
            .map(|col| {
                let (left, right, over) = self.between(col, self.cols, self.followed.1);
                let line = |row: usize| get(row, left) + (get(row, right) - get(row, left)) * over;
                line(upper) + (line(lower) - line(upper)) * down
            })
            .collect()
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

    /// Which of the kept frames bears a number.
    pub(super) fn leaf(&self, frame: u64) -> Option<usize> {
        self.leaves.binary_search_by_key(&frame, |l| l.frame).ok()
    }
}
