//! The light of one frame's glass against the picture at rest, row by row: lamps on the mains draw
//! bands across a picture that is read row after row, and a leaning glass has them aslant. What is
//! left when the light is evened is for others.

use std::ops::Range;

use crate::bead::lanes::{self, LANES};
use crate::bead::sample::Inside;
use crate::bead::steady::median;

/// Flashes a second of a lamp on the mains, the quicker of the two usual ones (common practice: 50 and
/// 60 Hz, twice a period).
const LAMP_HZ: f64 = 120.0;
/// Most rows over which light is taken as even, and fewest where they are more than one: the median of
/// two rows lies anywhere between them.
const LIGHT_ROWS: (usize, usize) = (8, 3);
/// Blocks of light in the lowest band there may be: straight lines between the middles of tenths of a
/// band leave a twentieth of it.
const LIGHTS_IN_A_BAND: f64 = 10.0;
/// Bands are taken as level where they rise by less than such a share of one over the glass: a tenth of
/// their strength is then left at its sides.
const LEVEL_SHARE: f32 = 1.0 / 32.0;
/// A row is lit by no more than so much otherwise than the glass, as a ratio: twice the strongest bands
/// there are. What differs more is no light: oil that fills the glass from the top.
const MOST_UNEVEN: f32 = 1.4;
/// Width of a glass, samples, of which two rows tell the light as well as it must be known: to a quarter
/// of a percent where noise has a spread of two grey levels in a hundred.
const WIDE_COLS: usize = 48;
/// Fewest samples that tell the light of a block of rows.
const FEWEST_LIT: usize = 8;

/// How finely light is evened in a glass, and how picture rows run through it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bands {
    rows: usize,
    /// How much lower in the picture a column lies than the one to its left, rows.
    lean: f32,
}

impl Default for Bands {
    fn default() -> Self {
        Self {
            rows: LIGHT_ROWS.0,
            lean: 0.0,
        }
    }
}

impl Bands {
    /// For pictures so many pixels high, taken so many seconds after each other, of a glass so many
    /// columns across, with a sample so many pixels high, each column of which lies `lean` rows lower in
    /// the picture than the one to its left. A band is lowest when the rows of a picture are read over all the time
    /// between two: height / (120 flashes a second × time) pixels.
    ///
    /// ```
    /// use beadtally::bead::light::Bands;
    ///
    /// // 480 rows in a thirtieth of a second: a band is at least 120 pixels high.
    /// assert_eq!(Bands::expected(480.0, 1.0 / 30.0, 1.0, (60.0, 0.0)), Bands::default());
    /// // 120 in a fifteenth: 15, and light is evened row by row.
    /// assert_ne!(Bands::expected(120.0, 1.0 / 15.0, 1.0, (20.0, 0.0)), Bands::default());
    /// ```
    #[must_use]
    pub fn expected(
        picture_px: f64,
        frame_secs: f64,
        step_px: f64,
        (across, lean): (f32, f32),
    ) -> Self {
        let band = picture_px / (LAMP_HZ * frame_secs.max(1e-3)) / step_px.max(1e-3);
        let rows = (band / LIGHTS_IN_A_BAND) as usize;
        let is_level = lean.abs() * across < LEVEL_SHARE * band as f32;
        Self {
            rows: if rows < LIGHT_ROWS.1 {
                1
            } else {
                rows.min(LIGHT_ROWS.0)
            },
            lean: if is_level { 0.0 } else { lean },
        }
    }
}

/// Light of a frame's glass against rest.
#[derive(Clone, Debug, Default)]
pub struct Light {
    bands: Bands,
    cols: usize,
    /// One for each block of rows.
    gains: Vec<f32>,
    sorted: Vec<f32>,
    /// Glass, rest and mask with the picture's rows level, where they are not.
    level: [Vec<f32>; 3],
}

impl Light {
    /// Looks at the light of a straightened glass, `now` against `rest`, row by row with `cols` samples
    /// each; gives back that of the whole glass: 1 is the same. The median over a block of rows, so
    /// that a bead does not sway it; the guess is that of the block above.
    pub fn look(
        &mut self,
        bands: Bands,
        (now, rest): (&[f32], &[f32]),
        inside: &Inside,
        cols: usize,
    ) -> f32 {
        (self.bands, self.cols) = (bands, cols);
        let mut before = self.gains.first().copied().unwrap_or(1.0);
        self.gains.clear();
        let is_level = bands.lean == 0.0;
        if !is_level {
            let [level_now, level_rest, level_mask] = &mut self.level;
            self::level(level_now, now, bands.lean, cols);
            self::level(level_rest, rest, bands.lean, cols);
            self::level(level_mask, &inside.mask, bands.lean, cols);
        }
        let (now, rest, mask): (&[f32], &[f32], &[f32]) = if is_level {
            (now, rest, &inside.mask)
        } else {
            let [now, rest, mask] = &self.level;
            (now, rest, mask)
        };
        let block = bands.rows * cols;
        let blocks = now.chunks(block).zip(rest.chunks(block));
        let blocks = blocks
            .zip(mask.chunks(block))
            .zip((0..).step_by(bands.rows));
        for (((now, rest), mask), first) in blocks {
            // The middle half of the rows is plenty, of a wide glass the middle quarter.
            let rows = now.len() / cols.max(1);
            let is_plenty = cols >= WIDE_COLS && bands.rows == LIGHT_ROWS.0;
            let aside = rows * if is_plenty { 3 } else { 2 } / 8;
            let rows = aside..rows - aside;
            let some = |of: &'_ [f32]| -> Range<usize> {
                (rows.start * cols).min(of.len())..(rows.end * cols).min(of.len())
            };
            let of = if is_level {
                let lit = first + rows.start..first + rows.end;
                let lit = inside.rows.get(lit).unwrap_or(&[]);
                lit.iter().map(|(from, to)| to - from).sum()
            } else {
                mask[some(mask)].iter().sum::<f32>() as usize
            };
            if of >= FEWEST_LIT {
                let lines = (&now[some(now)], &rest[some(rest)], &mask[some(mask)]);
                before = lanes::median_ratio(lines, of as f32, before).clamp(0.02, 50.0);
            }
            self.gains.push(before);
        }
        if bands.rows == 1 {
            // A row has few samples: so much of its neighbours' light that a band of fifteen rows keeps
            // 96 % of its strength.
            let mut above = self.gains.first().copied().unwrap_or(1.0);
            for at in 0..self.gains.len() {
                let below = self.gains.get(at + 1).copied();
                if let Some(here) = self.gains.get_mut(at) {
                    let old = *here;
                    *here = 0.25 * (above + 2.0 * old + below.unwrap_or(old));
                    above = old;
                }
            }
        }
        self.sorted.clear();
        self.sorted.extend_from_slice(&self.gains);
        let usual = median(&mut self.sorted);
        for gain in &mut self.gains {
            *gain = gain.clamp(usual / MOST_UNEVEN, usual * MOST_UNEVEN);
        }
        usual
    }

    /// Difference from rest of one row after its light is evened; nought outside the glass.
    pub fn differ(&self, row: usize, into: &mut [f32], lines: (&[f32], &[f32], &[f32])) {
        let lean = self.bands.lean;
        if lean == 0.0 {
            lanes::differ(into, lines, 1.0 / self.at(row as f32));
            return;
        }
        let left = row as f32 - lean * (self.cols as f32 / 2.0 - 0.5);
        let evened = |col: f32| 1.0 / self.at(left + lean * col);
        lanes::differ_aslant(into, lines, evened);
    }

    /// The gain at a picture row, straight between the middles of the blocks.
    fn at(&self, row: f32) -> f32 {
        let position = (row + 0.5) / self.bands.rows as f32 - 0.5;
        let last = self.gains.len().saturating_sub(1);
        let lower = (position.max(0.0) as usize).min(last);
        let upper = (lower + 1).min(last);
        let part = (position - lower as f32).clamp(0.0, 1.0);
        let (a, b) = (
            self.gains.get(lower).copied().unwrap_or(1.0),
            self.gains.get(upper).copied().unwrap_or(1.0),
        );
        a + (b - a) * part
    }
}

/// A straightened glass with its columns, some at a time, moved up or down so that the rows of the
/// picture are level in it; nought where nothing is.
fn level(into: &mut Vec<f32>, from: &[f32], lean: f32, cols: usize) {
    into.clear();
    into.resize(from.len(), 0.0);
    let rows = from.len() / cols.max(1);
    for first in (0..cols).step_by(LANES) {
        let middle = first as f32 + LANES as f32 / 2.0 - cols as f32 / 2.0;
        let down = (middle * lean).round() as isize;
        for row in 0..rows {
            let Some(to) = row.checked_add_signed(down).filter(|to| *to < rows) else {
                continue;
            };
            let part =
                |row: usize| row * cols + first..(row * cols + first + LANES).min((row + 1) * cols);
            if let (Some(into), Some(from)) = (into.get_mut(part(to)), from.get(part(row))) {
                into.copy_from_slice(from);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Largest difference that is left of bands of 8 % and 16 rows in a glass that leans so much.
    fn left_of_bands(bands: Bands, lean: f32) -> f32 {
        let (rows, cols) = (60, 24);
        let inside = Inside::new(vec![(2, 22); rows], cols, 20.0);
        let rest: Vec<f32> = (0..rows * cols).map(|at| 90.0 + (at % 5) as f32).collect();
        let middle = cols as f32 / 2.0 - 0.5;
        let now: Vec<f32> = (0..rows * cols)
            .map(|at| {
                let row = (at / cols) as f32 + lean * ((at % cols) as f32 - middle);
                let lit = 1.0 + 0.08 * (row / 16.0 * std::f32::consts::TAU).sin();
                (rest[at] + lanes::LIGHT_BASE) * lit - lanes::LIGHT_BASE
            })
            .collect();
        let mut light = Light::default();
        light.look(bands, (&now, &rest), &inside, cols);
        let mut most = 0.0_f32;
        for row in 4..rows - 4 {
            let all = row * cols..(row + 1) * cols;
            let mut line = vec![0.0; cols];
            light.differ(
                row,
                &mut line,
                (&now[all.clone()], &rest[all.clone()], &inside.mask[all]),
            );
            most = line.iter().fold(most, |most, level| most.max(level.abs()));
        }
        most
    }

    #[test]
    fn oil_that_fills_the_upper_third_is_no_light() {
        let (rows, cols) = (60, 24);
        let inside = Inside::new(vec![(2, 22); rows], cols, 20.0);
        let rest = vec![150.0; rows * cols];
        let mut now = rest.clone();
        now[..20 * cols].fill(20.0);
        let mut light = Light::default();
        let bands = Bands::expected(120.0, 1.0 / 15.0, 1.0, (20.0, 0.0));
        let gain = light.look(bands, (&now, &rest), &inside, cols);
        assert!((gain - 1.0).abs() < 0.01);
        let mut line = vec![0.0; cols];
        light.differ(
            5,
            &mut line,
            (&now[..cols], &rest[..cols], &inside.mask[..cols]),
        );
        assert!(line[10] < -50.0, "{}", line[10]);
    }

    #[test]
    fn low_bands_leave_next_to_nothing() {
        let fine = Bands::expected(120.0, 1.0 / 15.0, 1.0, (20.0, 0.0));
        assert!(
            left_of_bands(fine, 0.0) < 1.0,
            "{}",
            left_of_bands(fine, 0.0)
        );
        assert!(left_of_bands(Bands::default(), 0.0) > 3.0);
    }

    #[test]
    fn nor_do_they_in_a_glass_that_leans() {
        for lean in [-0.27, -0.14, 0.14, 0.27] {
            let aslant = Bands::expected(120.0, 1.0 / 15.0, 1.0, (20.0, lean));
            assert!(
                left_of_bands(aslant, lean) < 2.0,
                "{lean} {}",
                left_of_bands(aslant, lean)
            );
            let level = Bands::expected(120.0, 1.0 / 15.0, 1.0, (20.0, 0.0));
            assert!(left_of_bands(level, lean) > 3.0);
        }
    }
}
