//! A glass that leans, straightened in two steps: the upright box round it is taken in whole samples,
//! which is quick, and the samples along the leaning rows are mixed of those. Where each lies in the
//! box is worked out once for each lean.

use image::GrayImage;

use crate::bead::sample::{Grid, LANES, boxed};
use crate::glass::Outline;

/// Samples of the box beyond the glass on each side: neighbours are mixed.
const ROUND: f64 = 2.0;

/// Where a straightened sample lies in the box: the sample above and left of it, and how far on.
#[derive(Clone, Copy, Debug, Default)]
struct Spot {
    at: u32,
    over: f32,
    down: f32,
}

/// The way from the box round a leaning glass to its straightened samples.
#[derive(Clone, Debug, Default)]
pub(super) struct Tilt {
    of: Option<(Outline, f64, f64)>,
    /// Picture point at which the box begins.
    from_px: (f64, f64),
    rows: usize,
    cols: usize,
    spots: Vec<Spot>,
    samples: Vec<f32>,
}

impl Tilt {
    /// Takes the straightened picture of a glass that stands shifted and turned. False when the box
    /// reaches over the border of the frame.
    pub(super) fn take(
        &mut self,
        luma: &GrayImage,
        (grid, shift_px, turn_rad): (&Grid, (f64, f64), f64),
        into: &mut [f32],
        line: &mut Vec<u16>,
    ) -> bool {
        let of = (grid.outline, grid.step_px, turn_rad);
        if self.of != Some(of) {
            self.lay(grid, turn_rad);
            self.of = Some(of);
        }
        let from = (self.from_px.0 + shift_px.0, self.from_px.1 + shift_px.1);
        let size = (self.rows, self.cols, grid.taps);
        if !boxed(luma, from, size, &mut self.samples, line) {
            return false;
        }
        let (samples, cols) = (&self.samples, self.cols);
        for (value, spot) in into.iter_mut().zip(&self.spots) {
            let at = spot.at as usize;
            let Some(square) = samples.get(at..at + cols + 2) else {
                return false;
            };
            let (a, b) = (square[0], square[1]);
            let (c, d) = (square[cols], square[cols + 1]);
            let (upper, lower) = (a + (b - a) * spot.over, c + (d - c) * spot.over);
            *value = upper + (lower - upper) * spot.down;
        }
        true
    }

    /// Works out where the samples lie.
    fn lay(&mut self, grid: &Grid, turn_rad: f64) {
        let taps = grid.taps as f64;
        let (sin, cos) = (grid.outline.angle_deg.to_radians() + turn_rad).sin_cos();
        let (wide, high) = (
            grid.cols as f64 * grid.step_px,
            grid.rows as f64 * grid.step_px,
        );
        let reach = |a: f64, b: f64| f64::midpoint(a.abs(), b.abs()) + ROUND * taps;
        let half = (reach(wide * cos, high * sin), reach(wide * sin, high * cos));
        self.from_px = (
            grid.outline.centre_x_px - half.0,
            grid.outline.centre_y_px - half.1,
        );
        let samples = |half: f64| (2.0 * half / taps).ceil() as usize;
        self.cols = samples(half.0).next_multiple_of(LANES);
        self.rows = samples(half.1);
        self.samples.clear();
        self.samples.resize(self.rows * self.cols, 0.0);
        self.spots.clear();
        self.spots.reserve(grid.rows * grid.cols);
        for row in 0..grid.rows {
            let along = (row as f64 + 0.5) * grid.step_px - high / 2.0;
            for col in 0..grid.cols {
                let across = (col as f64 + 0.5) * grid.step_px - wide / 2.0;
                let x = (half.0 + across * cos - along * sin) / taps - 0.5;
                let y = (half.1 + across * sin + along * cos) / taps - 0.5;
                let (left, top) = (x.floor(), y.floor());
                self.spots.push(Spot {
                    at: (top * self.cols as f64 + left) as u32,
                    over: (x - left) as f32,
                    down: (y - top) as f32,
                });
            }
        }
    }
}
