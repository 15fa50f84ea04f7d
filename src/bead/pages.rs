//! The kept frames of a glass as they are read for one portrait: straightened, their light evened,
//! less the picture at rest. A row is worked out when it is first asked for, and of it only the
//! columns that the portrait needs.

use std::ops::Range;

use ndarray::Array2;

use crate::bead::album::Reading;

/// Differences from rest of the kept frames of an album, row by row.
#[derive(Debug)]
pub(super) struct Pages<'a> {
    reading: Reading<'a>,
    rest: &'a Array2<f32>,
    cols: Range<usize>,
    at_rest: Vec<Vec<f32>>,
    rows: Vec<Vec<f32>>,
}

impl<'a> Pages<'a> {
    /// Nothing read yet. `rest` is the picture at rest, as beads are followed in it.
    pub(super) fn new(reading: Reading<'a>, rest: &'a Array2<f32>, cols: Range<usize>) -> Self {
        Self {
            reading,
            rest,
            cols: cols.start.min(reading.cols())..cols.end.min(reading.cols()),
            at_rest: vec![Vec::new(); reading.rows()],
            rows: vec![Vec::new(); reading.rows() * reading.album.leaves.len()],
        }
    }

    /// The columns that are read.
    pub(super) fn cols(&self) -> Range<usize> {
        self.cols.clone()
    }

    /// Works out a row of some frames, so that [`Pages::row`] can give it.
    pub(super) fn read(&mut self, leaves: impl Iterator<Item = usize>, row: usize) {
        let reading = self.reading;
        for index in leaves {
            let (Some(leaf), Some(line)) = (
                reading.album.leaves.get(index),
                self.rows.get_mut(index * reading.rows() + row),
            ) else {
                continue;
            };
            if !line.is_empty() {
                continue;
            }
            let Some(at_rest) = self.at_rest.get_mut(row) else {
                continue;
            };
            if at_rest.is_empty() {
                *at_rest = reading.row_at_rest(self.rest, row, self.cols.clone());
            }
            reading.row(leaf, (row, self.cols.start), at_rest, line);
        }
    }

    /// A row of a frame, from the first of [`Pages::cols`] on; empty when it has not been read.
    pub(super) fn row(&self, index: usize, row: usize) -> &[f32] {
        let line = self.rows.get(index * self.reading.rows() + row);
        line.map_or(&[], Vec::as_slice)
    }

    /// The picture at rest, as beads are followed in it.
    pub(super) fn rest(&self) -> &'a Array2<f32> {
        self.rest
    }
}
