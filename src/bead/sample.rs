//! The glass straightened: a small luma picture of the inside of one outline, rows along the axis
//! of the glass, taken from a frame at a given shift. It only samples; it compares nothing.

use image::GrayImage;
use ndarray::Array2;

use crate::base::GlassKind;
use crate::bead::look::Look;
use crate::bead::tilt::Tilt;
use crate::glass::Outline;

/// Widest straightened glass, samples. A wider one is taken at half size, a third, and so on:
/// beads are an eighth of a glass wide or more, so they stay seven samples wide.
const MOST_ACROSS: f64 = 64.0;
/// Highest straightened glass, samples.
const MOST_ALONG: f64 = 300.0;
/// Widest and highest straightened glass for measuring, samples: a portrait of a bead is taken as
/// finely as the camera shows it, up to this.
const FINEST_ACROSS: f64 = 224.0;
/// See [`FINEST_ACROSS`].
const FINEST_ALONG: f64 = 600.0;
/// Most pixels a sample stands for, each way, that are summed in whole numbers.
const MOST_WHOLE_TAPS: usize = 8;
/// A glass that leans by less than this over its whole height, pixels, is taken as upright.
const UPRIGHT_PX: f64 = 0.6;
/// Share of a tube's width that is looked at: the walls and their reflections are left out.
const TUBE_SHARE_ACROSS: f64 = 0.92;
/// Share of a port's width and height that is looked at: the shadow of the rim is left out.
const PORT_SHARE: f64 = 0.95;

/// Takes straightened pictures of one glass.
#[derive(Clone, Debug)]
pub struct Sampler {
    grid: Grid,
    inside: Inside,
    line: Vec<u16>,
    tilt: Tilt,
}

/// Columns of a straightened glass are a multiple of this, so that rows are worked on eight samples at
/// a time; those beyond the glass are not looked at.
pub const LANES: usize = 8;

/// Which samples of a straightened glass belong to it.
#[derive(Clone, Debug)]
pub struct Inside {
    /// In each row those from the first column up to, not including, the second.
    pub rows: Vec<(usize, usize)>,
    /// For each sample 1 if it belongs to the glass, else 0.
    pub mask: Vec<f32>,
    /// Samples that belong to it.
    pub count: usize,
    /// Width of the whole glass, samples.
    pub across: f32,
}

impl Inside {
    /// A glass of so many columns, of which each row's from the first up to, not including, the second
    /// belong to it.
    #[must_use]
    pub fn new(rows: Vec<(usize, usize)>, cols: usize, across: f32) -> Self {
        let mut mask = vec![0.0; rows.len() * cols];
        for (line, (from, to)) in mask.chunks_exact_mut(cols.max(1)).zip(&rows) {
            line[*from..*to].fill(1.0);
        }
        Self {
            count: rows.iter().map(|(from, to)| to - from).sum(),
            rows,
            mask,
            across,
        }
    }
}

/// Where the samples of a straightened glass lie.
#[derive(Clone, Copy, Debug)]
pub struct Grid {
    pub(super) outline: Outline,
    pub(super) rows: usize,
    pub(super) cols: usize,
    pub(super) step_px: f64,
    /// Whole pixels that a sample stands for, each way, unless the glass was carried along.
    pub(super) taps: usize,
}

impl Sampler {
    /// A sampler for one outline.
    #[must_use]
    pub fn new(outline: &Outline) -> Self {
        let taps = (outline.width_px / MOST_ACROSS)
            .max(outline.height_px / MOST_ALONG)
            .ceil()
            .clamp(1.0, 64.0);
        let rows = ((outline.height_px / taps).floor() as usize).max(1);
        let cols = ((outline.width_px / taps).floor() as usize).max(1);
        Self::of(outline, (rows, cols.next_multiple_of(LANES)), taps as usize)
    }

    fn of(outline: &Outline, (rows, cols): (usize, usize), taps: usize) -> Self {
        let grid = Grid {
            outline: *outline,
            rows,
            cols,
            step_px: taps as f64,
            taps,
        };
        Self {
            inside: Inside::new(grid.inside(), cols, grid.across()),
            grid,
            line: Vec::new(),
            tilt: Tilt::default(),
        }
    }

    /// Takes the same samples of the glass at another outline; its shape stays, so its samples lie
    /// as much closer or farther apart as the outline is smaller or larger.
    pub fn carry(&mut self, outline: &Outline) {
        self.grid = self.grid.at(outline);
    }

    /// Where its samples lie now.
    #[must_use]
    pub fn grid(&self) -> Grid {
        self.grid
    }

    /// The outline it is of now.
    #[must_use]
    pub fn outline(&self) -> &Outline {
        &self.grid.outline
    }

    /// Rows (along the axis, from the top) and columns of the straightened picture.
    #[must_use]
    pub fn shape(&self) -> (usize, usize) {
        (self.grid.rows, self.grid.cols)
    }

    /// Picture pixels a sample stands for, along and across.
    #[must_use]
    pub fn step_px(&self) -> f64 {
        self.grid.step_px
    }

    /// How much lower in the picture a column lies than the one to its left, rows: the glass leans.
    #[must_use]
    pub fn lean(&self) -> f32 {
        self.grid.outline.angle_deg.to_radians().tan() as f32
    }

    /// Which samples belong to the glass.
    #[must_use]
    pub fn inside(&self) -> &Inside {
        &self.inside
    }

    /// Picture point of a sample position (row and column, fractions allowed; the centre of the
    /// first sample is 0, 0), for a glass shifted by `shift_px` pixels and turned about its middle by
    /// `turn_rad` radians (clockwise as seen).
    #[must_use]
    pub fn picture_from_sample(
        &self,
        row: f64,
        col: f64,
        shift_px: (f64, f64),
        turn_rad: f64,
    ) -> (f64, f64) {
        let across = (col + 0.5 - self.grid.cols as f64 / 2.0) * self.grid.step_px;
        let along = (row + 0.5 - self.grid.rows as f64 / 2.0) * self.grid.step_px;
        let turned = Outline {
            angle_deg: self.grid.outline.angle_deg + turn_rad.to_degrees(),
            ..self.grid.outline
        };
        let (x, y) = turned.picture_from_glass(across, along);
        (x + shift_px.0, y + shift_px.1)
    }

    /// Takes the straightened picture from a frame in which the glass stands shifted by
    /// `shift_px` and turned by `turn_rad` about its middle; luma 0 to 255. `into` must have the sampler's shape. Points outside the frame
    /// repeat its border.
    pub fn take(
        &mut self,
        luma: &GrayImage,
        shift_px: (f64, f64),
        turn_rad: f64,
        into: &mut Array2<f32>,
    ) {
        let Self {
            grid, line, tilt, ..
        } = self;
        let Some(into) = into.as_slice_mut() else {
            return;
        };
        if into.len() != grid.rows * grid.cols || luma.width() < 2 || luma.height() < 2 {
            return;
        }
        let angle_rad = grid.outline.angle_deg.to_radians() + turn_rad;
        if grid.is_upright(angle_rad) && grid.take_upright(luma, shift_px, into, line) {
            return;
        }
        if tilt.take(luma, (grid, shift_px, turn_rad), into, line) {
            return;
        }
        let look = Look::new(luma);
        for (row, out) in into.chunks_exact_mut(grid.cols).enumerate() {
            grid.take_leaning(&look, (shift_px, angle_rad), (row, 0), out);
        }
    }
}

impl Grid {
    /// Samples of the same glass that are closer together, for measuring, the finest first: a pixel
    /// each (or more, of a large glass), and so on up to these.
    #[must_use]
    pub fn finer(&self) -> Vec<Self> {
        let outline = self.outline;
        let finest = (outline.width_px / FINEST_ACROSS)
            .max(outline.height_px / FINEST_ALONG)
            .ceil()
            .max(1.0) as usize;
        (finest.min(self.taps)..=self.taps)
            .map(|taps| {
                let of = |px: f64| ((px / taps as f64).floor() as usize).max(1);
                Self {
                    outline,
                    rows: of(outline.height_px),
                    cols: of(outline.width_px),
                    step_px: taps as f64,
                    taps,
                }
            })
            .collect()
    }

    /// The same samples of the glass at another outline, see [`Sampler::carry`].
    #[must_use]
    pub fn at(&self, outline: &Outline) -> Self {
        let times = outline.height_px / self.outline.height_px.max(1e-9);
        Self {
            outline: *outline,
            step_px: self.step_px * times,
            ..*self
        }
    }

    /// Width of the whole glass, samples.
    #[must_use]
    pub fn across(&self) -> f32 {
        (self.outline.width_px / self.step_px) as f32
    }

    /// In each row the samples that belong to the glass: from the first up to, not including, the
    /// second.
    #[must_use]
    pub fn inside(&self) -> Vec<(usize, usize)> {
        let (rows, cols) = (self.rows as f64, self.cols as f64);
        let is_inside = |row: usize, col: usize| {
            let u = 2.0 * (col as f64 + 0.5 - cols / 2.0) * self.step_px / self.outline.width_px;
            let u = u.abs();
            let v = (2.0 * (row as f64 + 0.5) / rows - 1.0).abs();
            match self.outline.kind {
                GlassKind::Tube => u <= TUBE_SHARE_ACROSS,
                GlassKind::Port => u * u + v * v <= PORT_SHARE * PORT_SHARE,
            }
        };
        (0..self.rows)
            .map(|row| {
                let from = (0..self.cols).find(|col| is_inside(row, *col));
                let to = (0..self.cols).rfind(|col| is_inside(row, *col));
                from.zip(to).map_or((0, 0), |(from, to)| (from, to + 1))
            })
            .collect()
    }

    /// Takes samples of one row of the straightened picture, from a column on as many as `out` holds;
    /// see [`Sampler::take`].
    pub fn take_row(
        &self,
        luma: &GrayImage,
        (shift_px, turn_rad): ((f64, f64), f64),
        (row, col): (usize, usize),
        out: &mut [f32],
    ) {
        if luma.width() < 2 || luma.height() < 2 {
            return;
        }
        let angle_rad = self.outline.angle_deg.to_radians() + turn_rad;
        let taken = self.is_upright(angle_rad) && {
            let (sin, cos) = angle_rad.sin_cos();
            let half = |samples: usize| (samples * self.taps) as f64 / 2.0;
            let across = (col * self.taps) as f64 - half(self.cols);
            let along = (row * self.taps) as f64 - half(self.rows);
            let x = self.outline.centre_x_px + shift_px.0 + across * cos - along * sin;
            let y = self.outline.centre_y_px + shift_px.1 + along * cos;
            let shape = (1, out.len(), self.taps);
            !out.is_empty() && boxed(luma, (x, y), shape, out, &mut Vec::new())
        };
        if !taken {
            self.take_leaning(&Look::new(luma), (shift_px, angle_rad), (row, col), out);
        }
    }

    /// Whether its rows are rows of the frame at such an angle, and its samples whole pixels: a carried
    /// glass may have samples that are no whole pixels apart.
    fn is_upright(&self, angle_rad: f64) -> bool {
        let lean_px = angle_rad.sin() * self.outline.height_px;
        let whole = (self.step_px / self.taps as f64 - 1.0).abs() * self.outline.height_px;
        lean_px.abs() < UPRIGHT_PX && whole < UPRIGHT_PX
    }

    /// Part of a row of a glass that leans: its lines cross the rows of the frame.
    fn take_leaning(
        &self,
        look: &Look<'_>,
        (shift_px, angle_rad): ((f64, f64), f64),
        (row, col): (usize, usize),
        out: &mut [f32],
    ) {
        let (sin, cos) = angle_rad.sin_cos();
        let sub = self.step_px / self.taps as f64;
        let weight = 1.0 / (self.taps * self.taps) as f32;
        let taps_over = (out.len() * self.taps) as f64;
        let (step_x, step_y) = (cos * sub, sin * sub);
        out.fill(0.0);
        for tap_y in row * self.taps..(row + 1) * self.taps {
            let along = (tap_y as f64 + 0.5) * sub - self.rows as f64 * self.step_px / 2.0;
            let first = (col * self.taps) as f64 + 0.5;
            let across = first * sub - self.cols as f64 * self.step_px / 2.0;
            let x = self.outline.centre_x_px + shift_px.0 + across * cos - along * sin;
            let y = self.outline.centre_y_px + shift_px.1 + across * sin + along * cos;
            if look.holds(x, y) && look.holds(x + step_x * taps_over, y + step_y * taps_over) {
                // The whole line lies within the frame: no border to mind.
                let mut at = (Look::fixed(x - 0.5), Look::fixed(y - 0.5));
                let step = (Look::fixed(step_x), Look::fixed(step_y));
                for value in out.iter_mut() {
                    let mut sum = 0;
                    for _ in 0..self.taps {
                        sum += look.inside(at);
                        at = (at.0 + step.0, at.1 + step.1);
                    }
                    *value += sum as f32 * (weight / Look::WHOLE);
                }
            } else {
                let mut tap = 0.0;
                for value in out.iter_mut() {
                    for _ in 0..self.taps {
                        *value += weight * look.at(x + step_x * tap, y + step_y * tap);
                        tap += 1.0;
                    }
                }
            }
        }
    }

    /// The common case, a glass that stands upright. False when it reaches over the border of the
    /// frame.
    fn take_upright(
        &self,
        luma: &GrayImage,
        shift_px: (f64, f64),
        into: &mut [f32],
        line: &mut Vec<u16>,
    ) -> bool {
        let half = |samples: usize| (samples * self.taps) as f64 / 2.0;
        let x = self.outline.centre_x_px + shift_px.0 - half(self.cols);
        let y = self.outline.centre_y_px + shift_px.1 - half(self.rows);
        boxed(luma, (x, y), (self.rows, self.cols, self.taps), into, line)
    }
}

/// Means of squares of `taps` pixels each way, the first of which begins at a picture point: all have
/// the same fractions, so rows are mixed first, in whole numbers, and then columns. False when they
/// reach over the border of the frame.
pub(super) fn boxed(
    luma: &GrayImage,
    (x, y): (f64, f64),
    (rows, cols, taps): (usize, usize, usize),
    into: &mut [f32],
    line: &mut Vec<u16>,
) -> bool {
    let (across, along) = (cols * taps, rows * taps);
    let (width, height) = (luma.width() as usize, luma.height() as usize);
    if taps > MOST_WHOLE_TAPS
        || x < 0.0
        || y < 0.0
        || x as usize + across + 1 > width
        || y as usize + along + 1 > height
    {
        return false;
    }
    // The sum of so many whole parts of a pixel fits 16 bits.
    let parts = 256 / taps.next_power_of_two() as u16;
    let (left, top) = (x as usize, y as usize);
    let fx = (x - left as f64) as f32;
    let below = ((y - top as f64) * f64::from(parts)).round() as u16;
    let above = parts - below;
    let share = 1.0 / (f32::from(parts) * (taps * taps) as f32);
    let pixels = luma.as_raw();
    line.resize(across + 1, 0);
    for (row, out) in into.chunks_exact_mut(cols).enumerate() {
        let start = (top + row * taps) * width + left;
        let tap_row = |tap: usize| {
            let from = start + tap * width;
            pixels.get(from..from + across + 1)
        };
        let (Some(first), Some(last)) = (tap_row(0), tap_row(taps)) else {
            return false;
        };
        let ends = line.iter_mut().zip(first.iter().zip(last));
        match (taps, tap_row(1), tap_row(2)) {
            (2, Some(middle), _) => {
                for ((sum, (a, b)), middle) in ends.zip(middle) {
                    *sum = mixed(*a, above, mixed(*b, below, mixed(*middle, parts, 0)));
                }
            }
            (3, Some(one), Some(other)) => {
                for ((sum, (a, b)), (one, other)) in ends.zip(one.iter().zip(other)) {
                    let middle = mixed(*one, parts, mixed(*other, parts, 0));
                    *sum = mixed(*a, above, mixed(*b, below, middle));
                }
            }
            _ => {
                for (sum, (a, b)) in ends {
                    *sum = mixed(*a, above, mixed(*b, below, 0));
                }
                for middle in (1..taps).filter_map(tap_row) {
                    for (sum, level) in line.iter_mut().zip(middle) {
                        *sum = mixed(*level, parts, *sum);
                    }
                }
            }
        }
        match taps {
            1 => {
                for ((value, a), b) in out.iter_mut().zip(&*line).zip(line.get(1..).unwrap_or(&[]))
                {
                    let (a, b) = (f32::from(*a), f32::from(*b));
                    *value = share * (a + (b - a) * fx);
                }
            }
            2 => across_by::<2>(line, out, fx, share),
            3 => across_by::<3>(line, out, fx, share),
            _ => {
                for (value, at) in out.iter_mut().zip((0..).step_by(taps)) {
                    let Some([first, middle @ .., last]) = line.get(at..=at + taps) else {
                        return false;
                    };
                    let inner: u32 = middle.iter().map(|v| u32::from(*v)).sum();
                    *value = share
                        * (f32::from(*first) * (1.0 - fx) + inner as f32 + f32::from(*last) * fx);
                }
            }
        }
    }
    true
}

/// A level times its weight and a sum. The weights of all that are summed are 256 at most and levels
/// 255, so nothing overflows; looking for it would cost more than the sum.
fn mixed(level: u8, weight: u16, sum: u16) -> u16 {
    u16::from(level).wrapping_mul(weight).wrapping_add(sum)
}

/// Sums of `TAPS` neighbours each, of which the first counts for `1 - fx` and the next group's first
/// for `fx`.
fn across_by<const TAPS: usize>(line: &[u16], out: &mut [f32], fx: f32, share: f32) {
    let after = line.get(TAPS..).unwrap_or(&[]);
    let groups = line
        .as_chunks::<TAPS>()
        .0
        .iter()
        .zip(after.as_chunks::<TAPS>().0);
    let whole = out.len().saturating_sub(1);
    for (value, (group, after)) in out.iter_mut().zip(groups) {
        // Two or three of sixteen bits are far from overflowing.
        let sum = group
            .iter()
            .fold(0_i32, |sum, v| sum.wrapping_add(i32::from(*v)));
        let apart = i32::from(after[0]).wrapping_sub(i32::from(group[0]));
        *value = share * (sum as f32 + apart as f32 * fx);
    }
    // After the last group there is but one sample.
    if let (Some(value), Some([first, rest @ .., last])) =
        (out.get_mut(whole), line.get(whole * TAPS..))
    {
        let sum: u32 = rest.iter().map(|v| u32::from(*v)).sum();
        *value = share * (f32::from(*first) * (1.0 - fx) + sum as f32 + f32::from(*last) * fx);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sample_is_where_the_outline_says() {
        let outline = Outline::upright(GlassKind::Tube, 10.0, 20.0, 30.0, 60.0);
        let mut sampler = Sampler::new(&outline);
        assert_eq!(sampler.shape(), (60, 32));
        let luma = GrayImage::from_fn(64, 100, |x, y| image::Luma([(x + y) as u8]));
        let mut patch = Array2::zeros(sampler.shape());
        sampler.take(&luma, (0.0, 0.0), 0.0, &mut patch);
        assert!((patch[[0, 1]] - 30.0).abs() < 1e-4, "{}", patch[[0, 1]]);
        sampler.take(&luma, (0.5, -2.0), 0.0, &mut patch);
        assert!((patch[[10, 6]] - (30.0 + 15.0 - 1.5)).abs() < 1e-4);
        assert_eq!(
            sampler.picture_from_sample(0.0, 1.0, (0.0, 0.0), 0.0),
            (10.5, 20.5)
        );
    }

    #[test]
    fn the_mean_of_finer_samples_is_a_sample() {
        let outline = Outline::upright(GlassKind::Tube, 13.0, 2.0, 120.0, 400.0);
        let mut sampler = Sampler::new(&outline);
        let finer = sampler.grid().finer();
        // 60 columns of two pixels, filled up to a multiple of eight; finer ones are not.
        assert_eq!(sampler.shape(), (200, 64));
        assert_eq!(
            finer
                .iter()
                .map(|g| (g.rows, g.cols, g.taps))
                .collect::<Vec<_>>(),
            [(400, 120, 1), (200, 60, 2)]
        );
        let luma = GrayImage::from_fn(150, 410, |x, y| image::Luma([(x * 7 + y * 13) as u8]));
        let (mut patch, mut fine) = (Array2::zeros((200, 64)), Array2::zeros((400, 120)));
        sampler.take(&luma, (0.3, 0.6), 0.0, &mut patch);
        for (row, mut out) in fine.rows_mut().into_iter().enumerate() {
            // In two parts: what is asked for first does not matter.
            let (left, right) = out.as_slice_mut().unwrap().split_at_mut(50);
            finer[0].take_row(&luma, ((0.3, 0.6), 0.0), (row, 50), right);
            finer[0].take_row(&luma, ((0.3, 0.6), 0.0), (row, 0), left);
        }
        for ((row, col), level) in patch.indexed_iter() {
            if !(2..62).contains(&col) {
                continue;
            }
            let (r, c) = (2 * row, 2 * (col - 2));
            let sum = fine[[r, c]] + fine[[r + 1, c]] + fine[[r, c + 1]] + fine[[r + 1, c + 1]];
            // Shifts are rounded to 128ths of a pixel, and neighbours differ by up to 255.
            assert!((level - sum / 4.0).abs() < 2.0, "{row} {col} {level} {sum}");
        }
    }

    #[test]
    fn a_leaning_glass_is_straightened() {
        let upright = Outline::upright(GlassKind::Tube, 60.0, 40.0, 80.0, 200.0);
        let (middle_x, middle_y) = (upright.centre_x_px, upright.centre_y_px);
        // A picture in which luma grows along the axis of the leaning glass.
        for angle_deg in [8.0_f64, -14.0] {
            let outline = Outline {
                angle_deg,
                ..upright
            };
            let (sin, cos) = angle_deg.to_radians().sin_cos();
            let luma = GrayImage::from_fn(220, 300, |x, y| {
                let (x, y) = (f64::from(x) + 0.5 - middle_x, f64::from(y) + 0.5 - middle_y);
                image::Luma([(120.0 + 0.8 * (y * cos - x * sin)).round() as u8])
            });
            let mut sampler = Sampler::new(&outline);
            let (rows, cols) = sampler.shape();
            let mut patch = Array2::zeros((rows, cols));
            sampler.take(&luma, (0.3, 1.25), 0.0, &mut patch);
            let mut line = vec![0.0; cols];
            for row in 0..rows {
                let exact = sampler.grid();
                exact.take_row(&luma, ((0.3, 1.25), 0.0), (row, 0), &mut line);
                for (col, level) in line.iter().enumerate() {
                    let off = (patch[[row, col]] - level).abs();
                    assert!(off < 0.6, "{row} {col} {off}");
                }
            }
        }
    }

    #[test]
    fn a_big_glass_is_averaged_not_skipped() {
        let outline = Outline::upright(GlassKind::Port, 8.0, 0.0, 192.0, 192.0);
        let mut sampler = Sampler::new(&outline);
        assert_eq!(sampler.shape(), (64, 64));
        let stripes = GrayImage::from_fn(208, 200, |x, _| {
            image::Luma([if x % 3 == 0 { 0 } else { 150 }])
        });
        let mut patch = Array2::zeros(sampler.shape());
        sampler.take(&stripes, (0.0, 0.0), 0.0, &mut patch);
        assert!((patch[[32, 32]] - 100.0).abs() < 1.0);
        assert_eq!(sampler.inside().mask[0], 0.0);
        assert_eq!(sampler.inside().mask[32 * 64 + 32], 1.0);
    }
}
