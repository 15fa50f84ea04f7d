//! The kept frames of a glass as they are read for one portrait: straightened, their light evened,
//! less the picture at rest. A row is worked out when it is first asked for.

use ndarray::Array2;

use crate::bead::album::Album;

/// Differences from rest of the kept frames of an album, row by row.
#[derive(Debug)]
pub(super) struct Pages<'a> {
    album: &'a Album,
    rest: &'a Array2<f32>,
    at_rest: Vec<Vec<f32>>,
    rows: Vec<Vec<f32>>,
}

impl<'a> Pages<'a> {
    /// Nothing read yet. `rest` is the picture at rest, as beads are followed in it.
    pub(super) fn new(album: &'a Album, rest: &'a Array2<f32>) -> Self {
        Self {
            album,
            rest,
            at_rest: vec![Vec::new(); album.rows],
            rows: vec![Vec::new(); album.rows * album.leaves.len()],
        }
    }

    /// Works out a row of some frames, so that [`Pages::row`] can give it.
    pub(super) fn read(&mut self, leaves: impl Iterator<Item = usize>, row: usize) {
        let album = self.album;
        for index in leaves {
            let (Some(leaf), Some(line)) = (
                album.leaves.get(index),
                self.rows.get_mut(index * album.rows + row),
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
                *at_rest = album.row_at_rest(self.rest, row);
            }
            album.row(leaf, row, at_rest, line);
        }
    }

    /// A row of a frame; empty when it has not been read.
    pub(super) fn row(&self, index: usize, row: usize) -> &[f32] {
        let line = self.rows.get(index * self.album.rows + row);
        line.map_or(&[], Vec::as_slice)
    }

    /// The picture at rest, as beads are followed in it.
    pub(super) fn rest(&self) -> &'a Array2<f32> {
        self.rest
    }
}
