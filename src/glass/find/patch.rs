//! A small upright copy of the slopes round a guessed axis, so that everything after it counts
//! rows and columns instead of turning points.

use super::plane::Slopes;
use super::pose::Pose;

/// Slopes across and along an axis on a grid. Column 0 is at `left`, row 0 at `top`, in the
/// frame of `pose`; steps are equal both ways.
#[derive(Clone, Debug)]
pub(super) struct Patch {
    /// Columns.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
    /// Distance of neighbouring columns and rows, working pixels.
    pub step: f32,
    /// `across` of column 0.
    pub left: f32,
    /// `along` of row 0.
    pub top: f32,
    /// Slope of luma across the axis, row by row.
    pub across: Vec<f32>,
    /// Slope of luma along the axis, row by row.
    pub along: Vec<f32>,
}

impl Patch {
    /// Copies the part |across| ≤ `reach`, `top` ≤ along ≤ `bottom`.
    pub fn cut(slopes: &Slopes, pose: Pose, reach: f32, top: f32, bottom: f32, step: f32) -> Self {
        let columns = ((2.0 * reach / step).round() as usize).max(4) | 1;
        let rows = (((bottom - top) / step).round() as usize).max(4);
        let left = -((columns / 2) as f32) * step;
        let mut across = Vec::with_capacity(columns * rows);
        let mut along = Vec::with_capacity(columns * rows);
        for row in 0..rows {
            let v = top + (row as f32 + 0.5) * step;
            let (mut x, mut y) = pose.picture(left, v);
            for _ in 0..columns {
                let (a, l) = pose.turn(slopes.at(x, y));
                across.push(a);
                along.push(l);
                x += step * pose.cos;
                y += step * pose.sin;
            }
        }
        Self {
            columns,
            rows,
            step,
            left,
            top,
            across,
            along,
        }
    }

    /// `along` of the middle of a row.
    pub fn along_of(&self, row: f32) -> f32 {
        self.top + (row + 0.5) * self.step
    }

    /// Row whose middle is nearest to `along`, held within the patch.
    pub fn row_of(&self, along: f32) -> usize {
        let row = ((along - self.top) / self.step - 0.5).round();
        (row.max(0.0) as usize).min(self.rows - 1)
    }

    /// `across` of a column.
    pub fn across_of(&self, column: usize) -> f32 {
        self.left + column as f32 * self.step
    }

    /// Column nearest to `across`, held within the patch.
    pub fn column_of(&self, across: f32) -> usize {
        let column = ((across - self.left) / self.step).round();
        (column.max(0.0) as usize).min(self.columns - 1)
    }
}
