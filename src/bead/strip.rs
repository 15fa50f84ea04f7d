//! The strip: height × time picture of one glass, one column a frame. A bead is a slanting streak
//! in it; the steeper, the faster. For the eye and for evidence.

use std::collections::VecDeque;
use std::sync::Arc;

use image::GrayImage;

use crate::bead::lanes::largest;
use crate::bead::rest::Difference;

/// Grey of a glass at rest in the strip.
const AT_REST: f32 = 208.0;
/// Grey levels of the strip per grey level of difference.
const CONTRAST: f32 = 3.0;
/// Grey of a column in which nothing could be seen.
const BLANK: u8 = 96;

/// A scrolling strip of fixed width.
#[derive(Clone, Debug)]
pub struct Strip {
    rows: usize,
    columns: usize,
    kept: VecDeque<Vec<u8>>,
}

impl Strip {
    /// An empty strip of so many rows and at most so many columns.
    #[must_use]
    pub fn new(rows: usize, columns: usize) -> Self {
        Self {
            rows,
            columns,
            kept: VecDeque::with_capacity(columns),
        }
    }

    /// Adds one frame: the strongest difference of each row, darker for what differs.
    pub fn push(&mut self, difference: &Difference) {
        let mut column = self.reuse();
        for row in difference.levels.rows() {
            let strongest = row.to_slice().map_or(0.0, largest);
            column.push((AT_REST - CONTRAST * (strongest - 4.0).max(0.0)).clamp(0.0, 255.0) as u8);
        }
        self.kept.push_back(column);
    }

    /// Adds a frame that was not looked at because nothing moved: the newest column again.
    pub fn push_again(&mut self) {
        let mut column = self.reuse();
        if let Some(newest) = self.kept.back() {
            column.extend_from_slice(newest);
        } else {
            column.resize(self.rows, AT_REST as u8);
        }
        self.kept.push_back(column);
    }

    /// Adds a column in which nothing could be seen.
    pub fn push_blank(&mut self) {
        let mut column = self.reuse();
        column.resize(self.rows, BLANK);
        self.kept.push_back(column);
    }

    /// The strip as a picture, newest column to the right, unused columns at rest.
    #[must_use]
    pub fn picture(&self) -> Arc<GrayImage> {
        let mut pixels = vec![AT_REST as u8; self.columns * self.rows];
        let from = self.columns - self.kept.len().min(self.columns);
        for (x, column) in self.kept.iter().enumerate() {
            for (pixel, value) in pixels
                .iter_mut()
                .skip(from + x)
                .step_by(self.columns)
                .zip(column)
            {
                *pixel = *value;
            }
        }
        let picture =
            GrayImage::from_raw(self.columns as u32, self.rows as u32, pixels).unwrap_or_default();
        Arc::new(picture)
    }

    fn reuse(&mut self) -> Vec<u8> {
        if self.kept.len() >= self.columns
            && let Some(mut oldest) = self.kept.pop_front()
        {
            oldest.clear();
            return oldest;
        }
        Vec::with_capacity(self.rows)
    }
}
