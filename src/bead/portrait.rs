//! The portrait of a bead: what differs where it was seen, averaged over the frames of its way,
//! each moved so that the bead lies on itself. What stands still there before and after it, such as
//! the nozzle, is taken out. Noise shrinks with the number of frames, and the edges lie between
//! samples. What the portrait shows is judged elsewhere.

use std::collections::VecDeque;

use image::GrayImage;
use ndarray::Array2;

use crate::bead::rest::Difference;
use crate::bead::sample::Sampler;
use crate::bead::steady::median;
use crate::bead::track::Sighting;
use crate::glass::Outline;

/// Frames of differences kept of one glass: the last second of a passage, and more.
const KEPT: usize = 48;
/// Least time between two kept frames, seconds: faster cameras bring more frames than are needed.
const EVERY_SECS: f64 = 0.018;
/// Kept levels a grey level, so that they fit whole numbers of 16 bits.
const PER_LEVEL: f32 = 64.0;
/// Added to both sides of a light ratio, grey levels, so that near-black does not blow it up: as
/// the picture at rest does.
const LIGHT_BASE: f32 = 8.0;
/// Most frames in one portrait: noise hardly shrinks beyond.
const MOST_FRAMES: usize = 24;
/// Half the side of a portrait, in sizes of the bead as first measured. That may be a third too
/// small: of a bead lit from one side the dark part is missing.
const HALF_SIDE: f32 = 1.0;
/// Added to it, samples: room for the smear and for what lies beside the bead.
const BESIDE: f32 = 3.0;
/// Largest half side, samples.
const LARGEST_HALF: usize = 64;
/// Rounds of laying the frames upon each other.
const ROUNDS: usize = 3;
/// Farthest a frame is moved from where the bead was first measured, in sizes of the bead.
const FARTHEST: f32 = 0.25;
/// The same, samples, at least.
const FARTHEST_LEAST: f32 = 1.0;
/// Sightings whose height is farther from the usual than this ratio are left out: cut off, merged
/// with the nozzle or hidden.
const SAME_HEIGHT: f32 = 1.35;
/// Widening by a tube, about: only to guess the room a portrait needs.
const WIDER: f32 = 1.33;
/// Where beads are best looked at, as a share of the height from the top.
const BEST_SHARE: f32 = 0.38;
/// A portrait whose bead is off its middle, or larger than aimed at, by more than this share is
/// taken again.
const NEAR_SHARE: f32 = 0.12;
/// What stands out of the noise of a portrait: multiples of its spread.
const STANDS_OUT: f32 = 6.0;
/// What is fainter than this share of the strongest sample does not belong to the bead, usually.
pub const FAINT_SHARE: f32 = 0.04;
/// A bead whose middle is so many of its own heights away from a row does not cover it.
const CLEAR_SHARE: f32 = 0.8;
/// Frames without the bead that tell what stands still behind it.
const FRAMES_BEHIND: usize = 5;
/// A frame before the bead counts as so many times farther away than one after it.
const EARLIER: f64 = 4.0;
/// Fewest of these that are believed.
const FEWEST_BEHIND: usize = 2;

/// One kept frame: difference from rest in parts of a grey level.
#[derive(Clone, Debug)]
struct Leaf {
    frame: u64,
    at_secs: f64,
    levels: Vec<i16>,
}

/// The newest differences of one glass, in samples at least as fine as those the beads are
/// followed in.
#[derive(Clone, Debug)]
pub struct Album {
    sampler: Sampler,
    rows: usize,
    cols: usize,
    /// Samples of the album for one sample that beads are followed in.
    finer: f32,
    /// Rows and columns that beads are followed in.
    followed: (usize, usize),
    luma: Array2<f32>,
    looked_secs: f64,
    leaves: VecDeque<Leaf>,
    last_secs: f64,
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
}

/// The averaged picture of one bead.
#[derive(Clone, Debug)]
pub struct Portrait {
    /// Mean signed difference from rest, grey levels; row 0 is the top. Samples that were never
    /// inside the glass are 0. The bead as first measured is in the middle.
    pub levels: Array2<f32>,
    /// Luma of the picture at rest behind it, averaged in the same way.
    pub behind: Array2<f32>,
    /// Share of the frames, 0 to 1, on which each sample rests.
    pub seen: Array2<f32>,
    /// Spread of one sample of the mean, grey levels.
    pub noise: f32,
    /// Frames it rests on.
    pub frames: usize,
    /// Mean place in the glass: row and column of the portrait's middle, samples of the album.
    pub at: (f32, f32),
    /// Columns of the whole glass, samples of the album.
    pub glass_cols: f32,
    /// Picture pixels a sample stands for.
    pub step_px: f32,
}

/// Where a bead was sighted, samples of the album.
struct Spot {
    at_secs: f64,
    frame: u64,
    row: f32,
    col: f32,
    height: f32,
    width: f32,
}

/// What a portrait is taken of, samples: the middle beside the sighting's own, and the size.
struct Aim {
    down: f32,
    over: f32,
    height: f32,
    width: f32,
}

/// How far something reaches in a portrait, samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// Middle along the axis.
    pub row: f32,
    /// Middle across.
    pub col: f32,
    /// Height.
    pub height: f32,
    /// Width.
    pub width: f32,
}

/// The sightings of a path that a portrait may rest on: those named (frame and row) in which it was
/// alone and not cut off by the ends of a glass of so many rows.
#[must_use]
pub fn clean<'a>(points: &'a [Sighting], named: &[(u64, f32)], rows: f32) -> Vec<&'a Sighting> {
    /// Share of a row by which an end of the glass must be clear of it.
    const CLEAR_OF_END: f32 = 0.7;
    points
        .iter()
        .filter(|p| !p.shared && p.seen.top > CLEAR_OF_END && p.seen.bottom < rows - CLEAR_OF_END)
        .filter(|p| named.binary_search_by_key(&p.frame, |n| n.0).is_ok())
        .collect()
}

impl Portrait {
    /// How far from the axis a column of the portrait is, as a share of the half width of the
    /// glass.
    #[must_use]
    pub fn aside(&self, col: f64) -> f64 {
        let at = f64::from(self.at.1) + col - f64::from(self.middle().1);
        let half = f64::from(self.glass_cols) / 2.0;
        (at + 0.5 - half).abs() / half.max(1.0)
    }

    /// Row and column of the middle.
    #[must_use]
    pub fn middle(&self) -> (f32, f32) {
        let (rows, cols) = self.levels.dim();
        ((rows / 2) as f32, (cols / 2) as f32)
    }

    /// How far what is connected with the middle reaches: all that stands out of noise and is not
    /// fainter than a share of the strongest sample. None when nothing does.
    #[must_use]
    pub fn extent(&self, faint_share: f32) -> Option<Extent> {
        let (rows, cols) = self.levels.dim();
        let most = self
            .levels
            .iter()
            .fold(0.0_f32, |most, v| most.max(v.abs()));
        let least = (STANDS_OUT * self.noise).max(faint_share * most);
        let marked = |r: usize, c: usize| self.levels[[r, c]].abs() >= least;
        // From the strongest sample of the middle outwards.
        let middle = self.middle();
        let near = |r: usize, c: usize| {
            (r as f32 - middle.0).abs() <= rows as f32 / 6.0
                && (c as f32 - middle.1).abs() <= cols as f32 / 6.0
        };
        let seed = self
            .levels
            .indexed_iter()
            .filter(|((r, c), _)| near(*r, *c))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?
            .0;
        if !marked(seed.0, seed.1) {
            return None;
        }
        let mut taken = Array2::from_elem((rows, cols), false);
        let mut open = Vec::new();
        open.push(seed);
        taken[[seed.0, seed.1]] = true;
        let (mut top, mut bottom, mut left, mut right) = (seed.0, seed.0, seed.1, seed.1);
        while let Some((r, c)) = open.pop() {
            (top, bottom) = (top.min(r), bottom.max(r));
            (left, right) = (left.min(c), right.max(c));
            for nr in r.saturating_sub(1)..=(r + 1).min(rows - 1) {
                for nc in c.saturating_sub(1)..=(c + 1).min(cols - 1) {
                    if !taken[[nr, nc]] && marked(nr, nc) {
                        taken[[nr, nc]] = true;
                        open.push((nr, nc));
                    }
                }
            }
        }
        Some(Extent {
            row: f32::midpoint(top as f32, bottom as f32),
            col: f32::midpoint(left as f32, right as f32),
            height: (bottom - top + 1) as f32,
            width: (right - left + 1) as f32,
        })
    }
}

/// A piece of one frame round the bead, less what stands still there. Not a number outside the
/// glass.
struct Piece {
    levels: Array2<f32>,
    /// Row and column in the glass of its first sample.
    from: (f32, f32),
    /// Where the bead is taken to be in the glass.
    place: (f32, f32),
}

impl Album {
    /// An empty album of one glass, in which beads are followed in (rows, columns) of that shape.
    #[must_use]
    pub fn new(outline: &Outline, followed: &Sampler) -> Self {
        let sampler = Sampler::finer(outline);
        let (rows, cols) = sampler.shape();
        Self {
            rows,
            cols,
            finer: (followed.step_px() / sampler.step_px()) as f32,
            followed: followed.shape(),
            luma: Array2::zeros((rows, cols)),
            looked_secs: f64::NEG_INFINITY,
            leaves: VecDeque::new(),
            last_secs: f64::NEG_INFINITY,
            sampler,
        }
    }

    /// The glass stands at another outline from now on, see [`Sampler::carry`].
    pub fn carry(&mut self, outline: &Outline) {
        self.sampler.carry(outline);
    }

    /// Looks at a frame in which the glass stands shifted by `shift_px`.
    pub fn look(&mut self, at_secs: f64, luma: &GrayImage, shift_px: (f64, f64)) {
        if self.finer > 1.0 {
            self.sampler.take(luma, shift_px, &mut self.luma);
            self.looked_secs = at_secs;
        }
    }

    /// Keeps the difference of a frame: finely if it is the one last looked at.
    pub fn keep(&mut self, seen: &Followed<'_>) {
        let since = seen.at_secs - self.last_secs;
        if (0.0..EVERY_SECS).contains(&since) {
            return;
        }
        self.last_secs = seen.at_secs;
        let mut levels = if self.leaves.len() >= KEPT {
            let oldest = self.leaves.pop_front();
            oldest.map(|leaf| leaf.levels).unwrap_or_default()
        } else {
            Vec::with_capacity(self.rows * self.cols)
        };
        levels.clear();
        let packed = |v: f32| (v * PER_LEVEL).clamp(-32_000.0, 32_000.0) as i16;
        if self.finer > 1.0 {
            let looked = seen.at_secs == self.looked_secs;
            self.fine(seen, looked, |level| levels.push(packed(level)));
        } else {
            levels.extend(seen.difference.levels.iter().map(|v| packed(*v)));
        }
        self.leaves.push_back(Leaf {
            frame: seen.frame,
            at_secs: seen.at_secs,
            levels,
        });
    }

    /// The difference in the album's own samples: the finer luma, evened as the coarser one was,
    /// less the picture at rest. Of a frame that was not looked at only the coarser one is known.
    fn fine(&self, seen: &Followed<'_>, looked: bool, mut put: impl FnMut(f32)) {
        let (rows, cols) = self.followed;
        let light: Vec<f32> = (0..rows)
            .map(|row| {
                let sums = (0..cols).fold((LIGHT_BASE, LIGHT_BASE), |(evened, luma), col| {
                    let at = [row, col];
                    let rest = seen.rest[at] + seen.difference.levels[at];
                    (
                        evened + rest + LIGHT_BASE,
                        luma + seen.luma[at] + LIGHT_BASE,
                    )
                });
                sums.0 / sums.1
            })
            .collect();
        let across: Vec<(usize, usize, f32)> = (0..self.cols)
            .map(|col| self.between(col, self.cols, cols))
            .collect();
        for row in 0..self.rows {
            let (upper, lower, down) = self.between(row, self.rows, rows);
            let evened = light[upper] + (light[lower] - light[upper]) * down;
            for (col, (left, right, over)) in across.iter().enumerate() {
                let mix = |of: &Array2<f32>| {
                    let line = |row: usize| {
                        let (a, b) = (of[[row, *left]], of[[row, *right]]);
                        a + (b - a) * over
                    };
                    line(upper) + (line(lower) - line(upper)) * down
                };
                put(if looked {
                    let now = (self.luma[[row, col]] + LIGHT_BASE) * evened - LIGHT_BASE;
                    now - mix(seen.rest)
                } else {
                    mix(&seen.difference.levels)
                });
            }
        }
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

    fn to_followed(&self, at: f32, of: usize, followed: usize) -> f32 {
        (at + 0.5 - of as f32 / 2.0) / self.finer + followed as f32 / 2.0 - 0.5
    }

    /// Row and column in the album of a place that beads are followed in.
    fn place(&self, row: f32, col: f32) -> (f32, f32) {
        let to = |at: f32, followed: usize, of: usize| {
            (at + 0.5 - followed as f32 / 2.0) * self.finer + of as f32 / 2.0 - 0.5
        };
        (
            to(row, self.followed.0, self.rows),
            to(col, self.followed.1, self.cols),
        )
    }

    /// The portrait of what was sighted; none when no usable sighting is in the album. `rest` is
    /// the picture at rest, as beads are followed in it.
    ///
    /// Of a bead that is partly as bright as what lies behind it only a part is sighted. So the
    /// portrait is taken twice: the second time of all that moved with what was sighted.
    #[must_use]
    pub fn portrait(&self, points: &[&Sighting], rest: &Array2<f32>) -> Option<Portrait> {
        // From here on everything is in the album's own samples.
        let points: Vec<Spot> = points
            .iter()
            .map(|p| {
                let (row, col) = self.place(p.seen.row, p.seen.col);
                Spot {
                    at_secs: p.at_secs,
                    frame: p.frame,
                    row,
                    col,
                    height: p.seen.height * self.finer,
                    width: p.seen.width * self.finer,
                }
            })
            .collect();
        let points = points.as_slice();
        let height = median(&mut points.iter().map(|p| p.height).collect::<Vec<_>>());
        let width = median(&mut points.iter().map(|p| p.width).collect::<Vec<_>>());
        let chosen = self.chosen(points, height);
        let first = Aim {
            down: 0.0,
            over: 0.0,
            height,
            width: width.max(height),
        };
        let portrait = self.take(points, &chosen, &first, rest)?;
        let Some(extent) = portrait.extent(FAINT_SHARE) else {
            return Some(portrait);
        };
        let second = Aim {
            down: extent.row - portrait.middle().0,
            over: extent.col - portrait.middle().1,
            height: extent.height,
            width: extent.width,
        };
        let near = second.down.abs() < NEAR_SHARE * height
            && second.over.abs() < NEAR_SHARE * width
            && second.height < (1.0 + NEAR_SHARE) * first.height
            && second.width < (1.0 + NEAR_SHARE) * first.width;
        if near {
            return Some(portrait);
        }
        self.take(points, &chosen, &second, rest)
    }

    /// The sightings to use, with their frames: of the usual height, and nearest to where a bead
    /// has left the nozzle well behind and is still whole.
    fn chosen<'a>(&'a self, points: &'a [Spot], height: f32) -> Vec<(&'a Spot, &'a Leaf)> {
        let mut chosen: Vec<(&Spot, &Leaf)> = points
            .iter()
            .filter(|p| p.height.max(height) < SAME_HEIGHT * p.height.min(height))
            .filter_map(|p| Some((p, self.leaf(p.frame)?)))
            .collect();
        let best = BEST_SHARE * self.rows as f32;
        let off = |row: f32| (row - best).abs();
        chosen.sort_by(|a, b| off(a.0.row).total_cmp(&off(b.0.row)));
        chosen.truncate(MOST_FRAMES);
        chosen
    }

    fn take(
        &self,
        points: &[Spot],
        chosen: &[(&Spot, &Leaf)],
        aim: &Aim,
        rest: &Array2<f32>,
    ) -> Option<Portrait> {
        if chosen.is_empty() {
            return None;
        }
        let size = aim.height.max(aim.width / WIDER).max(2.0);
        let half = |size: f32, most: usize| {
            let wanted = (HALF_SIDE * size + BESIDE).ceil() as usize;
            wanted.min(most.max(2)).min(LARGEST_HALF)
        };
        let half = (
            half(size, self.rows),
            half(aim.width.max(aim.height), self.cols),
        );
        let shape = (2 * half.0 + 1, 2 * half.1 + 1);
        let farthest = (FARTHEST * size).max(FARTHEST_LEAST);
        let spare = farthest.ceil() as usize + 1;
        let clear = CLEAR_SHARE * aim.height + 1.0;
        let rows = self.rows_of(points);
        let mut pieces: Vec<Piece> = chosen
            .iter()
            .map(|(spot, leaf)| {
                let middle = (spot.row + aim.down, spot.col + aim.over);
                let half = (half.0 + spare, half.1 + spare);
                self.piece((spot, leaf), &rows, clear, middle, half)
            })
            .collect();
        let firsts: Vec<(f32, f32)> = pieces.iter().map(|p| p.place).collect();
        let mut sum = laid(&pieces, shape);
        if pieces.len() > 1 {
            for _ in 0..ROUNDS {
                for (piece, first) in pieces.iter_mut().zip(&firsts) {
                    if let Some((down, over)) = piece.off(&sum.0) {
                        let near =
                            |at: f32, first: f32| at.clamp(first - farthest, first + farthest);
                        piece.place = (
                            near(piece.place.0 + down, first.0),
                            near(piece.place.1 + over, first.1),
                        );
                    }
                }
                sum = laid(&pieces, shape);
            }
        }
        let (levels, seen) = sum;
        let count = pieces.len() as f32;
        let at = (
            pieces.iter().map(|p| p.place.0).sum::<f32>() / count,
            pieces.iter().map(|p| p.place.1).sum::<f32>() / count,
        );
        Some(Portrait {
            noise: noise(&pieces, shape),
            behind: self.rest_behind(rest, &pieces, shape),
            frames: pieces.len(),
            levels,
            seen,
            at,
            glass_cols: self.cols as f32,
            step_px: self.sampler.step_px() as f32,
        })
    }

    fn leaf(&self, frame: u64) -> Option<&Leaf> {
        let at = self.leaves.binary_search_by_key(&frame, |l| l.frame).ok()?;
        self.leaves.get(at)
    }

    /// Where the bead was in every kept frame: its row, as sighted or as its speed says.
    fn rows_of(&self, points: &[Spot]) -> Vec<f32> {
        let (Some(first), Some(last)) = (points.first(), points.last()) else {
            return Vec::new();
        };
        let secs = last.at_secs - first.at_secs;
        let speed = if secs > 0.0 {
            f64::from(first.row - last.row) / secs
        } else {
            0.0
        };
        let row_in = |leaf: &Leaf| {
            let near = points.iter().min_by(|a, b| {
                let off = |p: &Spot| (p.at_secs - leaf.at_secs).abs();
                off(a).total_cmp(&off(b))
            });
            near.map_or(0.0, |near| {
                near.row - (speed * (leaf.at_secs - near.at_secs)) as f32
            })
        };
        self.leaves.iter().map(row_in).collect()
    }

    /// The frames nearest in time to a sighting in which the bead was at least `clear` rows away
    /// from a row of the glass. `rows` are the bead's own.
    fn behind(&self, rows: &[f32], spot: &Spot, row: f32, clear: f32) -> Vec<&Leaf> {
        let mut away: Vec<(f64, &Leaf)> = self
            .leaves
            .iter()
            .zip(rows)
            .filter(|(_, bead)| (*bead - row).abs() >= clear)
            .map(|(leaf, _)| {
                let since = leaf.at_secs - spot.at_secs;
                // Before it came the bead may have hung on the nozzle; afterwards it has not.
                (if since < 0.0 { EARLIER * -since } else { since }, leaf)
            })
            .collect();
        away.sort_by(|a, b| a.0.total_cmp(&b.0));
        away.truncate(FRAMES_BEHIND);
        away.into_iter().map(|a| a.1).collect()
    }

    /// Cuts a piece out of a frame, `half` samples to each side of `middle`. `rows` are where the
    /// bead was in every kept frame; `clear` is how far it must be away to be out of sight.
    fn piece(
        &self,
        (spot, leaf): (&Spot, &Leaf),
        rows: &[f32],
        clear: f32,
        middle: (f32, f32),
        half: (usize, usize),
    ) -> Piece {
        let from = (
            middle.0.round() as i64 - half.0 as i64,
            middle.1.round() as i64 - half.1 as i64,
        );
        let mut levels = Array2::from_elem((2 * half.0 + 1, 2 * half.1 + 1), f32::NAN);
        let inside = self.sampler.inside();
        let mut still = [0.0_f32; FRAMES_BEHIND];
        for (row, line) in (from.0..).zip(levels.rows_mut()) {
            if row < 0 || row >= self.rows as i64 {
                continue;
            }
            let behind = self.behind(rows, spot, row as f32, clear);
            for (col, value) in (from.1..).zip(line) {
                if col < 0 || !inside.get([row as usize, col as usize]).is_some_and(|i| *i) {
                    continue;
                }
                let at = row as usize * self.cols + col as usize;
                let level = |leaf: &Leaf| f32::from(leaf.levels.get(at).copied().unwrap_or(0));
                let mut here = level(leaf);
                if behind.len() >= FEWEST_BEHIND {
                    for (value, leaf) in still.iter_mut().zip(&behind) {
                        *value = level(leaf);
                    }
                    here -= median(still.get_mut(..behind.len()).unwrap_or(&mut []));
                }
                *value = here / PER_LEVEL;
            }
        }
        Piece {
            levels,
            from: (from.0 as f32, from.1 as f32),
            place: middle,
        }
    }

    fn rest_behind(
        &self,
        rest: &Array2<f32>,
        pieces: &[Piece],
        shape: (usize, usize),
    ) -> Array2<f32> {
        let (half_rows, half_cols) = ((shape.0 / 2) as f32, (shape.1 / 2) as f32);
        let (rows, cols) = self.followed;
        let last = (rows.saturating_sub(1) as f32, cols.saturating_sub(1) as f32);
        Array2::from_shape_fn(shape, |(r, c)| {
            let sum: f32 = pieces
                .iter()
                .map(|piece| {
                    let row = piece.place.0 + r as f32 - half_rows;
                    let col = piece.place.1 + c as f32 - half_cols;
                    let row = self
                        .to_followed(row, self.rows, rows)
                        .round()
                        .clamp(0.0, last.0);
                    let col = self
                        .to_followed(col, self.cols, cols)
                        .round()
                        .clamp(0.0, last.1);
                    rest.get([row as usize, col as usize])
                        .copied()
                        .unwrap_or(0.0)
                })
                .sum();
            sum / pieces.len().max(1) as f32
        })
    }
}

impl Piece {
    /// The level `down` and `over` samples from the bead, between samples. Not a number outside
    /// the glass.
    fn level(&self, down: f32, over: f32) -> f32 {
        let (row, col) = (
            self.place.0 + down - self.from.0,
            self.place.1 + over - self.from.1,
        );
        if row < 0.0 || col < 0.0 {
            return f32::NAN;
        }
        let (r, c) = (row as usize, col as usize);
        let (fr, fc) = (row - r as f32, col - c as f32);
        let get = |r: usize, c: usize| self.levels.get([r, c]).copied().unwrap_or(f32::NAN);
        let upper = get(r, c) + (get(r, c + 1) - get(r, c)) * fc;
        let lower = get(r + 1, c) + (get(r + 1, c + 1) - get(r + 1, c)) * fc;
        upper + (lower - upper) * fr
    }

    /// How far (rows, columns) this bead lies from the mean: one step of least squares on the
    /// slopes of the mean. None where there is no slope to tell by.
    fn off(&self, mean: &Array2<f32>) -> Option<(f32, f32)> {
        let (rows, cols) = mean.dim();
        let (half_rows, half_cols) = ((rows / 2) as f32, (cols / 2) as f32);
        let (mut rr, mut rc, mut cc) = (0.0_f32, 0.0_f32, 0.0_f32);
        let (mut re, mut ce) = (0.0_f32, 0.0_f32);
        for r in 1..rows.saturating_sub(1) {
            for c in 1..cols.saturating_sub(1) {
                let error = mean[[r, c]] - self.level(r as f32 - half_rows, c as f32 - half_cols);
                let down = (mean[[r + 1, c]] - mean[[r - 1, c]]) / 2.0;
                let over = (mean[[r, c + 1]] - mean[[r, c - 1]]) / 2.0;
                if !(error + down + over).is_finite() {
                    continue;
                }
                rr += down * down;
                rc += down * over;
                cc += over * over;
                re += down * error;
                ce += over * error;
            }
        }
        let whole = rr * cc - rc * rc;
        if whole <= 1e-3 * (rr * cc).max(1.0) {
            return None;
        }
        // level(x) ≈ mean(x − d): the bead lies d further on, so its place follows by d.
        let down = (cc * re - rc * ce) / whole;
        let over = (rr * ce - rc * re) / whole;
        Some((down.clamp(-1.5, 1.5), over.clamp(-1.5, 1.5)))
    }
}

/// Mean of the pieces laid upon each other, and on what share of them each sample rests.
fn laid(pieces: &[Piece], shape: (usize, usize)) -> (Array2<f32>, Array2<f32>) {
    let mut sum = Array2::zeros(shape);
    let mut seen = Array2::zeros(shape);
    let (half_rows, half_cols) = ((shape.0 / 2) as f32, (shape.1 / 2) as f32);
    for piece in pieces {
        for (((r, c), value), seen) in sum.indexed_iter_mut().zip(&mut seen) {
            let level = piece.level(r as f32 - half_rows, c as f32 - half_cols);
            if level.is_finite() {
                *value += level;
                *seen += 1.0;
            }
        }
    }
    for (value, seen) in sum.iter_mut().zip(&mut seen) {
        if *seen > 0.0 {
            *value /= *seen;
        }
        *seen /= pieces.len().max(1) as f32;
    }
    (sum, seen)
}

/// Spread of one sample of the mean: from the border of the portrait, where there is no bead.
fn noise(pieces: &[Piece], shape: (usize, usize)) -> f32 {
    /// Width of that border, samples.
    const BORDER: usize = 2;
    /// Least spread of one frame's sample, grey levels: quantising alone.
    const LEAST: f32 = 0.2;
    /// From the median of magnitudes to a spread, for unit normal noise.
    const TO_SPREAD: f32 = 1.4826;
    let (half_rows, half_cols) = ((shape.0 / 2) as f32, (shape.1 / 2) as f32);
    let mut off = Vec::new();
    for piece in pieces {
        for r in 0..shape.0 {
            for c in 0..shape.1 {
                let beside =
                    r < BORDER || r + BORDER >= shape.0 || c < BORDER || c + BORDER >= shape.1;
                if beside {
                    let level = piece.level(r as f32 - half_rows, c as f32 - half_cols);
                    if level.is_finite() {
                        off.push(level.abs());
                    }
                }
            }
        }
    }
    (TO_SPREAD * median(&mut off)).max(LEAST) / (pieces.len().max(1) as f32).sqrt()
}
