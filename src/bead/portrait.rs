//! The portrait of a bead: what differs where it was seen, averaged over the frames of its way,
//! each moved so that the bead lies on itself. What stands still there before and after it, such as
//! the nozzle, is taken out. Noise shrinks with the number of frames, and the edges lie between
//! samples. What the portrait shows is judged elsewhere.

use ndarray::Array2;

use crate::bead::album::{Album, Leaf, Reading};
use crate::bead::lanes::middle_of_five;
use crate::bead::pages::Pages;
use crate::bead::piece::{Piece, even_rows, laid, noise};
use crate::bead::steady::median;
use crate::bead::track::Sighting;

/// Most frames in one portrait: noise hardly shrinks beyond.
const MOST_FRAMES: usize = 24;
/// Fewest, where there are more: what is lit unevenly along the way is evened out.
const FEWEST_FRAMES: usize = 10;
/// As many frames are laid upon each other as make so many samples of a bead's height together: an
/// edge is known by the noise of all samples along it, so a large bead needs fewer.
const HEIGHT_TOGETHER: f32 = 200.0;
/// Half the side of a portrait, in sizes of the bead as first measured. That may be a third too
/// small: of a bead lit from one side the dark part is missing.
const HALF_SIDE: f32 = 1.0;
/// Added to it, samples: room for the smear and for what lies beside the bead.
const BESIDE: f32 = 3.0;
/// Largest half side, samples.
const LARGEST_HALF: usize = 64;
/// Most rounds of laying the frames upon each other.
const ROUNDS: usize = 4;
/// They lie well when none is moved farther in a round than this, samples.
const LIES_WELL: f32 = 0.04;
/// Farthest a frame is moved from where the bead was first measured, in sizes of the bead.
const FARTHEST: f32 = 0.25;
/// The same, samples, at least.
const FARTHEST_LEAST: f32 = 1.0;
/// Sightings whose height is farther from the usual than this ratio are left out: cut off, merged
/// with the nozzle or hidden.
const SAME_HEIGHT: f32 = 1.35;
/// Widening by a tube, about: only to guess the room a portrait needs.
const WIDER: f32 = 1.33;
/// A column so many heights of the bead from the usual one is of its other side.
const OTHER_SIDE: f32 = 0.35;
/// Columns that are usually so many heights from the usual one do not tell where it is.
const RESTLESS: f32 = 0.12;
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
    /// Mean place in the glass: row and column of the portrait's middle, its own samples.
    pub at: (f32, f32),
    /// Width of the whole glass, and the column (counted from the edge of the first) of its axis,
    /// its own samples.
    pub glass: (f32, f32),
    /// Picture pixels a sample stands for.
    pub step_px: f32,
    /// Row and column of its middle beside the sightings it was taken of.
    pub aim: (f32, f32),
}

/// Where a bead was sighted, samples of the portrait.
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
        let (across, axis) = self.glass;
        (at + 0.5 - f64::from(axis)).abs() / (f64::from(across) / 2.0).max(1.0)
    }

    /// Whether it shows all of what reaches so far.
    #[must_use]
    pub fn holds(&self, extent: &Extent) -> bool {
        let (rows, cols) = self.levels.dim();
        let within = |at: f32, size: f32, of: usize| {
            at - size / 2.0 > 0.0 && at + size / 2.0 < of.saturating_sub(1) as f32
        };
        within(extent.row, extent.height, rows) && within(extent.col, extent.width, cols)
    }

    fn aimed_at(&self, extent: &Extent) -> Aim {
        let middle = self.middle();
        Aim {
            down: self.aim.0 + extent.row - middle.0,
            over: self.aim.1 + extent.col - middle.1,
            height: extent.height,
            width: extent.width,
        }
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

impl Album {
    /// The portrait of what was sighted; none when no usable sighting is in the album. `rest` is
    /// the picture at rest, as beads are followed in it.
    ///
    /// Of a bead that is partly as bright as what lies behind it only a part is sighted. So the
    /// portrait is taken twice: the second time of all that moved with what was sighted.
    #[must_use]
    pub fn portrait(&self, points: &[&Sighting], rest: &Array2<f32>) -> Option<Portrait> {
        let mut heights: Vec<f32> = points.iter().map(|p| p.seen.height).collect();
        let reading = self.reading(f64::from(median(&mut heights)) * self.followed_px())?;
        let points = reading.spots(points);
        let (height, width) = usual_size(&points);
        let chosen = reading.chosen(&points, height);
        let first = Aim {
            down: 0.0,
            over: 0.0,
            height,
            width: width.max(height),
        };
        let mut pages = Pages::new(reading, rest, reading.needed(&chosen, &first));
        let portrait = reading.take(&points, &chosen, &first, &mut pages)?;
        let Some(extent) = portrait.extent(FAINT_SHARE) else {
            return Some(portrait);
        };
        let second = portrait.aimed_at(&extent);
        let near = second.down.abs() < NEAR_SHARE * height
            && second.over.abs() < NEAR_SHARE * width
            && second.height < (1.0 + NEAR_SHARE) * first.height
            && second.width < (1.0 + NEAR_SHARE) * first.width;
        if near {
            return Some(portrait);
        }
        let (read, needed) = (pages.cols(), reading.needed(&chosen, &second));
        if needed.start < read.start || needed.end > read.end {
            pages = Pages::new(reading, rest, needed);
        }
        reading.take(&points, &chosen, &second, &mut pages)
    }

    /// Another portrait of the same sightings: of what reaches as far as `whole` in the first.
    #[must_use]
    pub fn again(
        &self,
        points: &[&Sighting],
        rest: &Array2<f32>,
        (first, whole): (&Portrait, &Extent),
    ) -> Option<Portrait> {
        let reading = self.reading_in(first.step_px)?;
        let points = reading.spots(points);
        let chosen = reading.chosen(&points, usual_size(&points).0);
        let aim = first.aimed_at(whole);
        let mut pages = Pages::new(reading, rest, reading.needed(&chosen, &aim));
        reading.take(&points, &chosen, &aim, &mut pages)
    }
}

impl Reading<'_> {
    /// Sightings in these samples. Of a clear bead now the one side is sighted, now the
    /// other: what was sighted far from the usual column is taken to be in it.
    fn spots(&self, points: &[&Sighting]) -> Vec<Spot> {
        let mut spots: Vec<Spot> = points
            .iter()
            .map(|p| {
                let (row, col) = self.place(p.seen.row, p.seen.col);
                Spot {
                    at_secs: p.at_secs,
                    frame: p.frame,
                    row,
                    col,
                    height: p.seen.height * self.fineness.finer,
                    width: p.seen.width * self.fineness.finer,
                }
            })
            .collect();
        let usual = median(&mut spots.iter().map(|p| p.col).collect::<Vec<_>>());
        let (height, _) = usual_size(&spots);
        let off = |spot: &Spot| (spot.col - usual).abs();
        let restless = median(&mut spots.iter().map(off).collect::<Vec<_>>()) > RESTLESS * height;
        for spot in &mut spots {
            if restless || off(spot) > OTHER_SIDE * height {
                spot.col = usual;
            }
        }
        spots
    }

    /// The sightings to use, with their frames: of the usual height, and nearest to where a bead
    /// has left the nozzle well behind and is still whole.
    fn chosen<'a>(&self, points: &'a [Spot], height: f32) -> Vec<(&'a Spot, usize)> {
        let mut chosen: Vec<(&Spot, usize)> = points
            .iter()
            .filter(|p| p.height.max(height) < SAME_HEIGHT * p.height.min(height))
            .filter_map(|p| Some((p, self.album.leaf(p.frame)?)))
            .collect();
        let best = BEST_SHARE * self.rows() as f32;
        let off = |row: f32| (row - best).abs();
        chosen.sort_by(|a, b| off(a.0.row).total_cmp(&off(b.0.row)));
        let wanted = (HEIGHT_TOGETHER / height.max(1.0)).ceil() as usize;
        chosen.truncate(wanted.clamp(FEWEST_FRAMES, MOST_FRAMES));
        chosen
    }

    /// How many samples a portrait reaches to each side of its middle, and by how many more its pieces
    /// are moved at most.
    fn reach(&self, aim: &Aim) -> ((usize, usize), f32) {
        let size = aim.height.max(aim.width / WIDER).max(2.0);
        let half = |size: f32, most: usize| {
            let wanted = (HALF_SIDE * size + BESIDE).ceil() as usize;
            wanted.min(most.max(2)).min(LARGEST_HALF)
        };
        let half = (
            half(size, self.rows()),
            half(aim.width.max(aim.height), self.cols()),
        );
        (half, (FARTHEST * size).max(FARTHEST_LEAST))
    }

    /// The columns of the glass that the pieces of a portrait lie in.
    fn needed(&self, chosen: &[(&Spot, usize)], aim: &Aim) -> std::ops::Range<usize> {
        let ((_, half), farthest) = self.reach(aim);
        let beside = half as f32 + farthest.ceil() + 2.0;
        let cols = || chosen.iter().map(|(spot, _)| spot.col + aim.over);
        let left = cols().fold(f32::INFINITY, f32::min) - beside;
        let right = cols().fold(f32::NEG_INFINITY, f32::max) + beside;
        left.max(0.0) as usize..right.max(0.0) as usize + 1
    }

    fn take(
        &self,
        points: &[Spot],
        chosen: &[(&Spot, usize)],
        aim: &Aim,
        pages: &mut Pages<'_>,
    ) -> Option<Portrait> {
        if chosen.is_empty() {
            return None;
        }
        let (half, farthest) = self.reach(aim);
        let shape = (2 * half.0 + 1, 2 * half.1 + 1);
        let spare = farthest.ceil() as usize + 1;
        let clear = CLEAR_SHARE * aim.height + 1.0;
        let rows = self.rows_of(points);
        let mut pieces: Vec<Piece> = chosen
            .iter()
            .map(|(spot, leaf)| {
                let middle = (spot.row + aim.down, spot.col + aim.over);
                let half = (half.0 + spare, half.1 + spare);
                self.piece((spot, *leaf), (&rows, pages), clear, middle, half)
            })
            .collect();
        let firsts: Vec<(f32, f32)> = pieces.iter().map(|p| p.place).collect();
        let mut sum = laid(&pieces, shape);
        let mut line = Vec::new();
        if pieces.len() > 1 {
            for _ in 0..ROUNDS {
                let mut moved = 0.0_f32;
                for (piece, first) in pieces.iter_mut().zip(&firsts) {
                    if let Some((down, over)) = piece.off(&sum.0, &mut line) {
                        let near =
                            |at: f32, first: f32| at.clamp(first - farthest, first + farthest);
                        let place = (
                            near(piece.place.0 + down, first.0),
                            near(piece.place.1 + over, first.1),
                        );
                        let far = (place.0 - piece.place.0).abs();
                        moved = moved.max(far).max((place.1 - piece.place.1).abs());
                        piece.place = place;
                    }
                }
                if moved > 0.0 {
                    sum = laid(&pieces, shape);
                }
                if moved < LIES_WELL {
                    break;
                }
            }
        }
        let (mut levels, seen) = sum;
        let behind = self.rest_behind(pages.rest(), &pieces, shape);
        even_rows(&mut levels, (&behind, &seen), aim.width);
        let count = pieces.len() as f32;
        let at = (
            pieces.iter().map(|p| p.place.0).sum::<f32>() / count,
            pieces.iter().map(|p| p.place.1).sum::<f32>() / count,
        );
        Some(Portrait {
            noise: noise(&pieces, shape),
            behind,
            frames: pieces.len(),
            levels,
            seen,
            at,
            glass: (self.fineness.grid.across(), self.cols() as f32 / 2.0),
            step_px: self.fineness.grid.step_px as f32,
            aim: (aim.down, aim.over),
        })
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
        self.album.leaves.iter().map(row_in).collect()
    }

    /// The frames nearest in time to a sighting in which the bead was at least `clear` rows away
    /// from a row of the glass, and how many there are. `rows` are the bead's own.
    fn behind(
        &self,
        rows: &[f32],
        spot: &Spot,
        row: f32,
        clear: f32,
    ) -> ([usize; FRAMES_BEHIND], usize) {
        let mut nearest = [(f64::INFINITY, 0); FRAMES_BEHIND];
        for (index, (leaf, bead)) in self.album.leaves.iter().zip(rows).enumerate() {
            if (*bead - row).abs() < clear {
                continue;
            }
            let since = leaf.at_secs - spot.at_secs;
            // Before it came the bead may have hung on the nozzle; afterwards it has not.
            let away = if since < 0.0 { EARLIER * -since } else { since };
            let place = nearest.partition_point(|kept| kept.0 <= away);
            if let Some(farther) = nearest.get_mut(place..).filter(|f| !f.is_empty()) {
                farther.rotate_right(1);
                farther[0] = (away, index);
            }
        }
        let count = nearest.partition_point(|kept| kept.0.is_finite());
        (nearest.map(|kept| kept.1), count)
    }

    /// Cuts a piece out of a frame, `half` samples to each side of `middle`. `rows` are where the
    /// bead was in every kept frame; `clear` is how far it must be away to be out of sight.
    fn piece(
        &self,
        (spot, leaf): (&Spot, usize),
        (rows, pages): (&[f32], &mut Pages<'_>),
        clear: f32,
        middle: (f32, f32),
        half: (usize, usize),
    ) -> Piece {
        let from = (
            middle.0.round() as i64 - half.0 as i64,
            middle.1.round() as i64 - half.1 as i64,
        );
        let width = 2 * half.1 + 1;
        let mut levels = Array2::from_elem((2 * half.0 + 1, width), f32::NAN);
        let mut still = [0.0_f32; FRAMES_BEHIND];
        for (row, line) in (from.0..).zip(levels.rows_mut()) {
            if row < 0 || row >= self.rows() as i64 {
                continue;
            }
            let (behind, count) = self.behind(rows, spot, row as f32, clear);
            let behind = behind.get(..count).unwrap_or(&[]);
            let row = row as usize;
            pages.read(behind.iter().copied().chain([leaf]), row);
            let here = pages.row(leaf, row);
            let mut others: [&[f32]; FRAMES_BEHIND] = [&[]; FRAMES_BEHIND];
            for (other, index) in others.iter_mut().zip(behind) {
                *other = pages.row(*index, row);
            }
            let others = others.get(..count).unwrap_or(&[]);
            let inside = self.fineness.inside.get(row).copied().unwrap_or_default();
            let read = pages.cols();
            let inside = (inside.0.max(read.start), inside.1.min(read.end));
            let first = (inside.0 as i64).max(from.1);
            let last = (inside.1 as i64).min(from.1 + width as i64);
            let Some(line) = line.into_slice().filter(|_| first < last) else {
                continue;
            };
            let cols = first as usize..last as usize;
            let from_read = |col: usize| col - read.start;
            let cut = |line: &'_ [f32]| {
                from_read(cols.start).min(line.len())..from_read(cols.end).min(line.len())
            };
            let line = line.get_mut((first - from.1) as usize..).unwrap_or(&mut []);
            for (value, level) in line.iter_mut().zip(&here[cut(here)]) {
                *value = *level;
            }
            if let [a, b, c, d, e] = others {
                let lines = a[cut(a)].iter().zip(&b[cut(b)]).zip(&c[cut(c)]);
                let lines = lines.zip(&d[cut(d)]).zip(&e[cut(e)]);
                for (value, ((((a, b), c), d), e)) in line.iter_mut().zip(lines) {
                    *value -= middle_of_five([*a, *b, *c, *d, *e]);
                }
            } else if others.len() >= FEWEST_BEHIND {
                for (col, value) in cols.zip(line) {
                    for (still, other) in still.iter_mut().zip(others) {
                        *still = other.get(from_read(col)).copied().unwrap_or(0.0);
                    }
                    *value -= median(still.get_mut(..count).unwrap_or(&mut []));
                }
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
        let mut sum = Array2::zeros(shape);
        let mut cols = Vec::new();
        for piece in pieces {
            let (top, left) = (piece.place.0 - half_rows, piece.place.1 - half_cols);
            cols.clear();
            cols.extend((0..shape.1).map(|c| self.followed_col(left + c as f32)));
            for (r, mut line) in sum.rows_mut().into_iter().enumerate() {
                let behind = rest.row(self.followed_row(top + r as f32));
                for (value, col) in line.iter_mut().zip(&cols) {
                    *value += behind.get(*col).copied().unwrap_or(0.0);
                }
            }
        }
        sum / pieces.len().max(1) as f32
    }
}

/// Usual height and width of what was sighted.
fn usual_size(points: &[Spot]) -> (f32, f32) {
    (
        median(&mut points.iter().map(|p| p.height).collect::<Vec<_>>()),
        median(&mut points.iter().map(|p| p.width).collect::<Vec<_>>()),
    )
}
