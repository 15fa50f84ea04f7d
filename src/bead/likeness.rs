//! How the usual bead of a feed looks against the picture at rest, learned from beads beyond doubt, and
//! how alike each place of a picture is to it. Where and when to look for one is left to `faint`.

use crate::bead::steady::median;

/// Steps of a grey level in which differences are kept.
pub(super) const STEPS: f32 = 4.0;
/// Share of the older beads that is kept with each new one.
const KEEP: f32 = 0.9;
/// How far the picture of the usual bead reaches to either side, in its own heights and widths, and at
/// the most, samples.
const REACH: f32 = 0.75;
const MOST_HALF: usize = 24;

/// The usual bead.
#[derive(Clone, Debug, Default)]
pub(super) struct Likeness {
    rows: usize,
    /// Columns of its picture.
    pub cols: usize,
    sum: Vec<f32>,
    /// How many beads it was learned from, the older ones counted for less.
    pub beads: f32,
    /// Its picture, mean nought and unit norm.
    template: Vec<f32>,
    /// How alike the usual bead itself is, grey levels.
    pub strength: f32,
}

impl Likeness {
    /// Of a bead so many rows high and columns wide, in a glass so many columns across.
    #[must_use]
    pub fn sized(height: f32, width: f32, across: usize) -> Self {
        let odd = |size: f32| 2 * ((REACH * size).round() as usize).clamp(1, MOST_HALF) + 1;
        Self {
            rows: odd(height),
            cols: odd(width).min(across.saturating_sub(1) | 1),
            ..Self::default()
        }
    }

    /// Whether nothing is known yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.template.is_empty()
    }

    /// The part of a picture round a place, when it is wholly there.
    #[must_use]
    pub fn cut(
        &self,
        levels: &[i8],
        (rows, cols): (usize, usize),
        (row, col): (f32, f32),
    ) -> Option<Vec<f32>> {
        let from = (
            (row.round() as i64) - self.rows as i64 / 2,
            (col.round() as i64) - self.cols as i64 / 2,
        );
        if from.0 < 0 || from.1 < 0 {
            return None;
        }
        let (top, left) = (from.0 as usize, from.1 as usize);
        if top + self.rows > rows || left + self.cols > cols {
            return None;
        }
        let lines = (top..top + self.rows).map(|row| row * cols + left);
        Some(
            lines
                .flat_map(|at| levels.get(at..at + self.cols).unwrap_or(&[]))
                .map(|level| f32::from(*level) / STEPS)
                .collect(),
        )
    }

    /// One more bead, from the pictures of its way.
    pub fn add(&mut self, cuts: &[Vec<f32>]) {
        let size = self.rows * self.cols;
        self.sum.resize(size, 0.0);
        for (at, sum) in self.sum.iter_mut().enumerate() {
            let mut here: Vec<f32> = cuts.iter().filter_map(|cut| cut.get(at)).copied().collect();
            *sum = KEEP * *sum + median(&mut here);
        }
        self.beads = KEEP * self.beads + 1.0;
        let mean = self.sum.iter().sum::<f32>() / size.max(1) as f32;
        let norm = self
            .sum
            .iter()
            .map(|v| (v - mean).powi(2))
            .sum::<f32>()
            .sqrt();
        self.strength = norm / self.beads.max(1e-6);
        self.template = self
            .sum
            .iter()
            .map(|v| (v - mean) / norm.max(1e-6))
            .collect();
    }

    /// How alike each place of a picture is to it; nought where it would reach over the border.
    #[must_use]
    pub fn alike(&self, levels: &[f32], (rows, cols): (usize, usize)) -> Vec<f32> {
        if self.template.is_empty() || rows < self.rows || cols < self.cols {
            return Vec::new();
        }
        let mut alike = vec![0.0; rows * cols];
        let (above, left) = (self.rows / 2, self.cols / 2);
        let (high, wide) = (rows - self.rows + 1, cols - self.cols + 1);
        for top in 0..high {
            let out = (top + above) * cols + left;
            let Some(out) = alike.get_mut(out..out + wide) else {
                continue;
            };
            for (down, line) in self.template.chunks_exact(self.cols).enumerate() {
                let from = (top + down) * cols;
                for (over, weight) in line.iter().enumerate() {
                    let Some(levels) = levels.get(from + over..from + over + wide) else {
                        continue;
                    };
                    for (out, level) in out.iter_mut().zip(levels) {
                        *out += weight * level;
                    }
                }
            }
        }
        alike
    }
}
