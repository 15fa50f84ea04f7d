//! Beads too faint to stand out of one picture: what the glass shows is compared with what the beads
//! of this feed have looked like, and the likeness is summed along whole straight ways at their pace.
//! Noise of a camera or a coder gives as much along ways down as along ways up, so the ways down say
//! how much is chance. Nothing is sought before beads beyond doubt were told.

use std::collections::VecDeque;

use ndarray::Array2;

use crate::bead::explain::Explained;
use crate::bead::likeness::{Likeness, STEPS};
use crate::bead::steady::median;
use crate::bead::track::Path;
use crate::bead::way::{Sense, Usual, Way};

/// Time for which pictures are kept, seconds, and the most that are: as many come in it at sixty a second.
const KEPT_SECS: f64 = 2.4;
const KEPT_FRAMES: usize = 144;
/// Pictures so long before and after, seconds, whose usual likeness is taken away from each place: what
/// stands there for so long is no bead. And the fewest frames that lie between.
const BESIDE_SECS: [f64; 3] = [0.167, 0.233, 0.3];
const BESIDE_FRAMES: [usize; 3] = [2, 3, 4];
/// Fewest beads that show how the usual one looks.
const FEWEST_BEADS: f32 = 1.5;
/// Fewest pictures of a bead that show how it looks.
const FEWEST_CUTS: usize = 3;
/// Share of the glass to either side of the lane in which ways are sought.
const ASIDE: f32 = 0.14;
/// Paces sought, as multiples of the usual one.
const PACES: [f32; 5] = [0.82, 0.91, 1.0, 1.1, 1.2];
/// Spread over median size, of normal noise.
const MAD: f32 = 1.4826;
/// Share by which a running spread follows that of the newest picture, and step of a running median.
const FOLLOWS: f32 = 0.05;
const MEDIAN_STEP: f32 = 1.002;
/// Time between two ways, seconds.
const EVERY_SECS: f64 = 1.0 / 60.0;
/// Most that one picture may say for and against a way, in spreads of its noise.
const MOST_SAID: (f32, f32) = (-2.5, 5.0);
/// Share of the pictures of a way that counts as there at the least.
const LEAST_SEEN: f32 = 0.7;
/// A picture speaks for a way from so many spreads on, and such a share of them must.
const SPEAKS: f32 = 0.7;
const SPEAKING_SHARE: f32 = 0.45;
/// Sum along a way from which it is a bead, and that of its lower and upper half, in spreads.
const BEAD: f32 = 6.8;
const HALF: f32 = 2.0;
/// Fewest pictures in which it is seen.
const FEWEST_SEEN: usize = 3;
/// It must exceed by this the best way down of late, which halves in so many seconds.
const OVER_DOWN: f32 = 1.25;
const DOWN_HALVES_SECS: f64 = 15.0;
/// Beads are told apart from so many of their heights on.
const APART_HEIGHTS: f32 = 1.1;
/// A usual bead that one picture shows at so many spreads of its noise is followed from picture to
/// picture, and is not sought here: beside it all that is like it is its own echo.
const FAINT: f32 = 14.0;
/// Noise of a camera or a coder has so many times the spread in likeness that it has in single samples,
/// at the most: what one picture shows at more than this is not looked at more closely.
const CLUMPS: f32 = 4.0;
/// About so many samples tell the spread of a picture.
const SOME_SAMPLES: usize = 160;
/// Nothing is sought within so many heights of what was told: its likeness reaches as far.
const CLEAR_HEIGHTS: f32 = 1.25;

/// One picture of the last moments.
#[derive(Clone, Debug)]
struct Seen {
    at_secs: f64,
    frame: u64,
    /// The difference from rest, quarters of a grey level.
    levels: Vec<i8>,
    /// How alike each place of it is to the usual bead.
    alike: Vec<f32>,
    /// The same less what is usual there, in spreads of its noise; none yet of the newest.
    said: Vec<f32>,
}

/// Seeks faint beads in one glass.
#[derive(Clone, Debug, Default)]
pub struct Faint {
    rows: usize,
    cols: usize,
    /// First column and number of columns of the lane with its margin, and of the margin alone.
    lane: (usize, usize, usize),
    usual: Option<Usual>,
    recent: VecDeque<Seen>,
    /// Frames that lie between a picture and those beside it.
    ages: [usize; BESIDE_SECS.len()],
    likeness: Likeness,
    /// Running median of sums by chance, for each pace.
    chance: [f32; PACES.len()],
    down: (f32, f64),
    next_secs: f64,
    best: Option<Way>,
    /// Usual spread of likeness by chance, and that of single samples, grey levels.
    spread: f32,
    grain: f32,
}

impl Faint {
    /// Forgets what was seen: what comes is another picture.
    pub fn clear(&mut self) {
        self.recent.clear();
        self.best = None;
    }

    /// Takes what the beads of the feed are like now.
    pub fn takes_after(&mut self, usual: Usual) {
        let cols = self.cols;
        let is_as_before = self.usual.is_some_and(|known| {
            (known.height / usual.height).ln().abs() < 0.2
                && (known.width / usual.width).ln().abs() < 0.3
                && (known.col - usual.col).abs() < 0.06 * cols as f32 + 1.0
        });
        if is_as_before {
            if let Some(known) = &mut self.usual {
                (known.rows_per_s, known.from_row) = (usual.rows_per_s, usual.from_row);
            }
            return;
        }
        self.best = None;
        for seen in &mut self.recent {
            seen.alike.clear();
            seen.said.clear();
        }
        self.likeness = Likeness::sized(usual.height, usual.width, cols);
        let half = (ASIDE * cols as f32).max(1.0) as usize;
        let margin = self.likeness.cols / 2;
        let middle = usual.col.round().max(0.0) as usize;
        let first = middle.saturating_sub(half + margin);
        let last = (middle + half + margin + 1).min(cols);
        self.lane = (first, last.saturating_sub(first), margin);
        self.usual = Some(usual);
        self.chance = [1.0 / MAD; PACES.len()];
        self.down = (0.0, 0.0);
        self.spread = 0.0;
    }

    /// Takes the difference of one frame: when it was taken, its number, and the usual time between two.
    pub fn keep(&mut self, (at_secs, frame, frame_secs): (f64, u64, f64), levels: &Array2<f32>) {
        let shape = levels.dim();
        if shape != (self.rows, self.cols) {
            *self = Self::default();
            (self.rows, self.cols) = shape;
        }
        let all = levels.as_slice().unwrap_or(&[]);
        self.learn_grain(all);
        let in_frames = |secs: f64| (secs / frame_secs.max(1e-3)).round() as usize;
        let mut ages = BESIDE_FRAMES;
        for (age, secs) in ages.iter_mut().zip(BESIDE_SECS) {
            *age = in_frames(secs).max(*age);
        }
        self.ages = ages;
        let mut levels = Vec::new();
        while let Some(first) = self.recent.front()
            && (at_secs - first.at_secs > KEPT_SECS || self.recent.len() >= KEPT_FRAMES)
        {
            levels = self.recent.pop_front().map_or(levels, |old| old.levels);
        }
        levels.clear();
        levels.extend(all.iter().map(|level| (level * STEPS) as i8));
        let alike = self.alike(&levels);
        self.recent.push_back(Seen {
            at_secs,
            frame,
            levels,
            alike,
            said: Vec::new(),
        });
        self.say();
    }

    /// Usual spread of single samples, grey levels.
    #[must_use]
    pub fn grain(&self) -> f32 {
        self.grain
    }

    /// The spread of single samples, from some of them.
    fn learn_grain(&mut self, levels: &[f32]) {
        let every = levels.len().div_ceil(SOME_SAMPLES).max(1) | 1;
        let mut sizes = [0.0; SOME_SAMPLES];
        let mut count = 0;
        for (size, level) in sizes.iter_mut().zip(levels.iter().step_by(every)) {
            *size = level.abs();
            count += 1;
        }
        let grain = MAD * median(sizes.get_mut(..count).unwrap_or(&mut []));
        if self.grain == 0.0 {
            self.grain = grain;
        }
        self.grain += FOLLOWS * (grain - self.grain);
    }

    /// How alike each place of the lane is to the usual bead; empty while that is not known, or one
    /// picture shows it well.
    fn alike(&self, levels: &[i8]) -> Vec<f32> {
        let is_plain = self.likeness.strength > CLUMPS * FAINT * self.grain;
        if self.usual.is_none() || self.likeness.is_empty() || is_plain {
            return Vec::new();
        }
        let (first, cols, _) = self.lane;
        let lane: Vec<f32> = levels
            .chunks_exact(self.cols.max(1))
            .flat_map(|line| line.get(first..first + cols).unwrap_or(&[]))
            .map(|level| f32::from(*level) / STEPS)
            .collect();
        self.likeness.alike(&lane, (self.rows, cols))
    }

    /// Works out what the picture says of which the later ones have come.
    fn say(&mut self) {
        let ages = self.ages;
        let latest = ages[ages.len() - 1];
        let at = self.recent.len().checked_sub(latest + 1);
        let Some(at) = at.filter(|at| *at >= latest) else {
            return;
        };
        let around: Vec<&[f32]> = ages
            .iter()
            .flat_map(|age| [at - age, at + age])
            .filter_map(|at| self.recent.get(at).map(|seen| &*seen.alike))
            .collect();
        let Some(own) = self.recent.get(at).map(|seen| &seen.alike) else {
            return;
        };
        if own.is_empty() || around.iter().any(|other| other.len() != own.len()) {
            return;
        }
        let mut some = [0.0_f32; 2 * BESIDE_SECS.len()];
        let mut said: Vec<f32> = own
            .iter()
            .enumerate()
            .map(|(place, own)| {
                for (value, other) in some.iter_mut().zip(&around) {
                    *value = other[place];
                }
                some.sort_unstable_by(f32::total_cmp);
                own - f32::midpoint(some[BESIDE_SECS.len() - 1], some[BESIDE_SECS.len()])
            })
            .collect();
        // Where the usual bead would reach over the border nothing is said.
        let mut sizes: Vec<f32> = said
            .iter()
            .filter(|v| **v != 0.0)
            .map(|v| v.abs())
            .collect();
        let spread = MAD * median(&mut sizes);
        self.spread = if self.spread > 0.0 {
            self.spread + FOLLOWS * (spread - self.spread)
        } else {
            spread
        };
        let spread = spread.max(0.5 * self.spread).max(1e-3);
        for value in &mut said {
            *value = (*value / spread).clamp(MOST_SAID.0, MOST_SAID.1);
        }
        if let Some(seen) = self.recent.get_mut(at) {
            seen.said = said;
        }
    }

    /// Learns how a bead looked that was beyond doubt: the frames and rows in which it was seen, and its
    /// column.
    pub fn learn(&mut self, seen: &[(u64, f32)], col: f32) {
        if self.usual.is_none() {
            return;
        }
        let shape = (self.rows, self.cols);
        let mut cuts = Vec::new();
        for (frame, row) in seen {
            let picture = self.recent.iter().find(|seen| seen.frame == *frame);
            if let Some(picture) = picture {
                cuts.extend(self.likeness.cut(&picture.levels, shape, (*row, col)));
            }
        }
        if cuts.len() < FEWEST_CUTS {
            return;
        }
        let is_new = self.likeness.is_empty();
        self.likeness.add(&cuts);
        if is_new {
            // What was seen before it was known.
            let alike: Vec<Vec<f32>> = self
                .recent
                .iter()
                .map(|seen| self.alike(&seen.levels))
                .collect();
            for (seen, alike) in self.recent.iter_mut().zip(alike) {
                seen.alike = alike;
            }
        }
    }

    /// The bead whose turn has come, if there is one; `is_taken` says whether something that was told
    /// stands in a frame within so many rows of a row.
    pub fn look(&mut self, is_taken: impl Fn(u64, f32, f32) -> bool) -> Option<(Explained, Path)> {
        let usual = self.usual?;
        if self.likeness.beads < FEWEST_BEADS {
            return None;
        }
        let ready = self
            .recent
            .iter()
            .rev()
            .find(|seen| !seen.said.is_empty())?;
        let slowest = PACES[0] * usual.rows_per_s;
        let until = ready.at_secs - f64::from(self.rows as f32 / 2.0 / slowest);
        if until - self.next_secs > KEPT_SECS || self.next_secs > until + KEPT_SECS {
            self.next_secs = until - EVERY_SECS;
        }
        let passes_secs = f64::from(APART_HEIGHTS * usual.height / usual.rows_per_s);
        // So many at the most, whatever the stamps say.
        let due = ((until - self.next_secs) / EVERY_SECS).min(KEPT_SECS / EVERY_SECS) as usize;
        for _ in 0..due {
            self.next_secs += EVERY_SECS;
            let at_secs = self.next_secs;
            let down = self.best_way(at_secs, Sense::Down, &is_taken);
            let halves = ((at_secs - self.down.1) / DOWN_HALVES_SECS).max(0.0);
            let faded = self.down.0 * 0.5_f32.powf(halves as f32);
            self.down = (faded.max(down.map_or(0.0, |way| way.sum)), at_secs);
            let up = self.best_way(at_secs, Sense::Up, &is_taken);
            if let Some(way) = up
                && self.best.as_ref().is_none_or(|best| way.sum > best.sum)
            {
                self.best = Some(way);
            }
            if let Some(best) = self
                .best
                .take_if(|best| at_secs - best.at_secs > passes_secs)
                && self.likeness.strength < FAINT * self.spread
                && best.sum > BEAD.max(OVER_DOWN * self.down.0)
                && best.seen.len() >= FEWEST_SEEN
            {
                return Some(best.bead(&usual, BEAD));
            }
        }
        None
    }

    /// The best way that crosses the middle at a time, up or down.
    fn best_way(
        &mut self,
        at_secs: f64,
        sense: Sense,
        is_taken: &impl Fn(u64, f32, f32) -> bool,
    ) -> Option<Way> {
        let usual = self.usual?;
        let (first, cols, margin) = self.lane;
        let middle = self.rows as f32 / 2.0 - 0.5;
        let mut best: Option<Way> = None;
        for (index, pace) in PACES.iter().enumerate() {
            let rows_per_s = pace * usual.rows_per_s;
            let lowest = usual.from_row.clamp(middle, self.rows as f32 - 1.0);
            let parting = 0.5 * lowest;
            // The pictures of the way and the rows it is at.
            let on: Vec<(&Seen, f32)> = self
                .recent
                .iter()
                .filter(|seen| !seen.said.is_empty())
                .map(|seen| {
                    let up = (seen.at_secs - at_secs) as f32 * rows_per_s;
                    let row = match sense {
                        Sense::Down => middle + up,
                        Sense::Up => middle - up,
                    };
                    (seen, row)
                })
                .filter(|(_, row)| (0.0..=lowest).contains(row))
                .collect();
            let due = lowest / rows_per_s / self.frame_secs().max(1e-3);
            let count = (on.len() as f32).max(LEAST_SEEN * due).max(3.0);
            let mut quantile = self.chance[index];
            for col in margin..cols.saturating_sub(margin) {
                let (mut lower, mut upper, mut speaking) = (0.0, 0.0, 0);
                for (seen, row) in &on {
                    let place =
                        row.round().clamp(0.0, self.rows as f32 - 1.0) as usize * cols + col;
                    let said = seen.said.get(place).copied().unwrap_or(0.0);
                    if *row > parting {
                        lower += said;
                    } else {
                        upper += said;
                    }
                    speaking += usize::from(said > SPEAKS);
                }
                let sum = (lower + upper) / count.sqrt();
                quantile *= if sum.abs() > quantile {
                    MEDIAN_STEP
                } else {
                    1.0 / MEDIAN_STEP
                };
                let chance = (MAD * self.chance[index]).max(1.0);
                let half = lower.min(upper) / (count / 2.0).sqrt() / chance;
                let share = speaking as f32 / count;
                let sum = sum / chance;
                if half < HALF
                    || share < SPEAKING_SHARE
                    || best.as_ref().is_some_and(|best| best.sum >= sum)
                {
                    continue;
                }
                // Without what was told: a strong bead beside the way speaks for itself alone.
                let free: Vec<(&Seen, f32, f32)> = on
                    .iter()
                    .filter(|(seen, row)| !is_taken(seen.frame, *row, CLEAR_HEIGHTS * usual.height))
                    .map(|(seen, row)| {
                        let row_at = row.round().clamp(0.0, self.rows as f32 - 1.0) as usize;
                        let said = seen.said.get(row_at * cols + col).copied().unwrap_or(0.0);
                        (*seen, *row, said)
                    })
                    .collect();
                let alone = free.iter().map(|(.., said)| said).sum::<f32>() / count.sqrt() / chance;
                if best.as_ref().is_some_and(|best| best.sum >= alone) {
                    continue;
                }
                best = Some(Way {
                    at_secs,
                    rows_per_s,
                    col: (first + col) as f32,
                    sum: alone,
                    seen: free
                        .iter()
                        .filter(|(.., said)| *said > SPEAKS)
                        .map(|(seen, row, _)| (seen.at_secs, seen.frame, *row))
                        .collect(),
                });
            }
            self.chance[index] = quantile.clamp(0.3, 20.0);
        }
        best
    }

    /// Usual time between the pictures that are kept, seconds.
    fn frame_secs(&self) -> f32 {
        let (Some(first), Some(last)) = (self.recent.front(), self.recent.back()) else {
            return 1.0 / 30.0;
        };
        let frames = last.frame.saturating_sub(first.frame).max(1);
        ((last.at_secs - first.at_secs) / frames as f64) as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHAPE: (usize, usize) = (100, 32);
    const ROWS_PER_S: f32 = 100.0;

    /// Noise of unit spread: the sum of twelve even ones.
    struct Chance(u32);

    impl Chance {
        fn next(&mut self) -> f32 {
            let mut sum = 0.0;
            for _ in 0..12 {
                self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                sum += (self.0 >> 8) as f32 / (1_u32 << 24) as f32;
            }
            sum - 6.0
        }
    }

    fn told(at_secs: f64, rows: Vec<(u64, f32)>) -> Explained {
        Explained {
            at_secs,
            rows_per_s: ROWS_PER_S,
            height: 7.0,
            width: 7.0,
            confidence: 0.99,
            surplus: 20.0,
            col: 16.0,
            strength: 300.0,
            cover: 1.0,
            diameters_per_s: ROWS_PER_S / 7.0,
            rows,
        }
    }

    /// Beads that pass the middle at these times, each so many spreads of the noise dark, in so many
    /// seconds at thirty frames a second; the first two are told. Gives the times of those found.
    fn found(beads: &[(f64, f32)], secs: f64, seed: u32, sense: f32) -> Vec<f64> {
        let mut chance = Chance(seed);
        let mut faint = Faint::default();
        let mut known: Vec<Explained> = Vec::new();
        let mut found = Vec::new();
        let row_of = |at: f64, middle: f64| 49.5 - sense * ROWS_PER_S * (at - middle) as f32;
        for frame in 1..(secs * 30.0) as u64 {
            let at_secs = frame as f64 / 30.0;
            let mut levels = Array2::from_shape_fn(SHAPE, |_| chance.next());
            for (middle, depth) in beads {
                let row = row_of(at_secs, *middle);
                for ((r, c), level) in levels.indexed_iter_mut() {
                    let off = (r as f32 - row).hypot(c as f32 - 16.0);
                    *level -= depth * (1.0 - (off / 3.5).powi(2)).max(0.0);
                }
            }
            faint.keep((at_secs, frame, 1.0 / 30.0), &levels);
            for (middle, _) in beads.iter().take(2) {
                if (at_secs - middle - 0.56).abs() < 1.0 / 60.0 {
                    let way = (1..=frame).filter_map(|frame| {
                        let row = row_of(frame as f64 / 30.0, *middle);
                        (4.0..95.0).contains(&row).then_some((frame, row))
                    });
                    let bead = told(*middle, way.collect());
                    known.push(bead.clone());
                    faint.takes_after(Usual::of(known.iter()).expect("a bead was told"));
                    faint.learn(&bead.rows, bead.col);
                }
            }
            let is_taken = |of: u64, row: f32, within: f32| {
                let is_near = |at: &(u64, f32)| at.0 == of && (at.1 - row).abs() < within;
                known.iter().any(|bead| bead.rows.iter().any(is_near))
            };
            found.extend(faint.look(is_taken).map(|(bead, _)| bead.at_secs));
        }
        found
    }

    #[test]
    fn a_bead_as_faint_as_the_noise_of_one_sample_is_found_once_two_were_told() {
        let beads = [(1.5, 2.5), (4.0, 2.5), (6.5, 1.0), (9.0, 1.0), (9.5, 1.0)];
        let found = found(&beads, 12.0, 7, 1.0);
        assert_eq!(found.len(), 3, "{found:?}");
        for (at, (true_at, _)) in found.iter().zip(&beads[2..]) {
            assert!((at - true_at).abs() < 0.03, "{found:?}");
        }
    }

    #[test]
    fn noise_and_what_sinks_are_no_beads() {
        for seed in 1..=4 {
            assert_eq!(
                found(&[(1.5, 2.5), (4.0, 2.5)], 40.0, seed, 1.0),
                Vec::<f64>::new()
            );
        }
        // Told while they rose; then the same picture upside down.
        let sinks = found(
            &[(1.5, 2.5), (4.0, 2.5), (6.5, 1.0), (9.0, 1.0)],
            12.0,
            3,
            -1.0,
        );
        assert_eq!(sinks, Vec::<f64>::new());
    }

    #[test]
    fn stamps_that_stand_or_lie_far_off_neither_hold_it_up_nor_make_it_grow() {
        let mut faint = Faint::default();
        let mut chance = Chance(9);
        let levels = Array2::from_shape_fn(SHAPE, |_| chance.next());
        let way: Vec<(u64, f32)> = (1..=9).map(|at| (at, 90.0 - 9.0 * at as f32)).collect();
        for at_secs in [1e17, -1e17, 5.0] {
            for frame in 1..=400 {
                faint.keep((at_secs, frame, 1.0 / 30.0), &levels);
                if frame == 9 || frame == 10 {
                    faint.takes_after(Usual::of([told(at_secs, way.clone())].iter()).expect("one"));
                    faint.learn(&way, 16.0);
                }
                faint.look(|_, _, _| false);
            }
            assert!(faint.recent.len() <= KEPT_FRAMES);
        }
    }

    #[test]
    fn a_bead_that_one_picture_shows_is_left_to_others() {
        let beads = [(1.5, 30.0), (4.0, 30.0), (6.5, 30.0)];
        assert_eq!(found(&beads, 9.0, 5, 1.0), Vec::<f64>::new());
    }
}
