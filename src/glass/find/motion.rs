//! Where something rose: small copies of the frames against their own middle picture, what stands
//! out of each place's own restlessness, and those spots of it that rise straight and steadily from
//! frame to frame, as beads do. A shaking camera, flicker and people who pass leave none.

mod rise;
mod still;

use super::plane::median;
use super::pose::Pose;
use rise::{Spot, risers};

/// Greatest width of the small copies, pixels: a bead of 8 pixels in 640 is four wide then.
const SMALL_WIDTH: usize = 360;
/// Frames that are looked at together: some seconds at 30 a second. Memory is bounded so.
const TOGETHER: usize = 150;
/// Fewest frames in which anything can be seen to rise.
const FEWEST: usize = 8;
/// Frames from which the middle picture is made: more tell no better.
const FOR_MIDDLE: usize = 21;
/// The deviation that so many twentieths of the frames stay below, and what it is for normal noise
/// of one; beads pass a place more seldom.
const GREAT: usize = 18;
const GREAT_IS: f32 = 1.56;
/// Smoothed luma is kept in parts of a level: sixteenths, the sum of the weights.
const PARTS: f32 = 16.0;
/// Least restlessness, luma: rounding alone, smoothed.
const LEAST_RESTLESS: f32 = 0.25;
/// How far a place must stand out of its own restlessness, in deviations and in luma.
const STANDS_OUT: (f32, f32) = (5.0, 1.5);
/// Rows over which the light of a frame is evened together: bands of flicker are far wider.
const LIGHT_ROWS: usize = 8;
/// Small pixels along the border of the picture that are left out.
const BORDER: usize = 3;
/// Part of a frame that may stand out; more is somebody in the way, or the camera was moved.
const CROWDED: f32 = 0.15;
/// How far below the head of its glass a bead may be lost from sight, part of the height (one
/// deviation): shade under the fitting.
const AT_THE_HEAD: f32 = 0.2;
/// How far beyond the ends of its glass a bead may seem to reach, part of the height.
const BEYOND: f32 = 0.06;
/// Part of the height in which a bead must be seen to rise.
const SEEN_ALONG: f32 = 0.45;
/// Most trails.
const MOST_TRAILS: usize = 24;

/// Keeps small copies of frames, and what rose in those that are gone.
#[derive(Clone, Debug, Default)]
pub(super) struct Motion {
    /// Working pixels to one of the small copies, each way.
    factor: usize,
    width: usize,
    frames: Vec<(f64, Vec<u8>)>,
    gone: Vec<Riser>,
}

/// Something that rose, in working pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Riser {
    /// Where it was first seen.
    pub foot: (f32, f32),
    /// Where it was last seen.
    pub head: (f32, f32),
    /// Its width as it stood out; smoothing has widened it.
    pub width: f32,
}

/// An upright streak in which things rose.
#[derive(Clone, Copy, Debug)]
pub(super) struct Trail {
    /// Middle, x in working pixels.
    pub x: f32,
    /// Upper end, y.
    pub top: f32,
    /// Lower end, y.
    pub bottom: f32,
    /// Lean, dx/dy.
    pub slope: f32,
    /// Width of what rose, working pixels.
    pub width: f32,
}

impl Motion {
    /// Takes in a frame, reduced to the working size.
    pub fn add(&mut self, frame: &[f32], width: usize, at_secs: f64) {
        if self.width != width || width == 0 {
            *self = Self {
                width,
                factor: width.div_ceil(SMALL_WIDTH).max(1),
                ..Self::default()
            };
        }
        self.frames.push((at_secs, self.reduced(frame)));
        if self.frames.len() >= TOGETHER {
            let rose = self.digest();
            self.gone.extend(rose);
            self.frames.clear();
        }
    }

    fn reduced(&self, frame: &[f32]) -> Vec<u8> {
        let (k, columns) = (self.factor, self.width / self.factor.max(1));
        let rows = frame.len() / self.width.max(1) / k.max(1);
        let share = 1.0 / (k * k) as f32;
        let mut out = Vec::with_capacity(columns * rows);
        for row in 0..rows {
            for column in 0..columns {
                let mut sum = 0.0;
                for y in row * k..(row + 1) * k {
                    let from = y * self.width + column * k;
                    sum += frame[from..from + k].iter().sum::<f32>();
                }
                out.push((sum * share + 0.5) as u8);
            }
        }
        out
    }

    /// Everything that rose.
    pub fn risers(&self) -> Vec<Riser> {
        let mut all = self.gone.clone();
        all.extend(self.digest());
        all
    }

    /// What rose in the frames at hand.
    fn digest(&self) -> Vec<Riser> {
        if self.frames.len() < FEWEST {
            return Vec::new();
        }
        let width = self.width / self.factor;
        if width <= 2 * BORDER {
            return Vec::new();
        }
        // Each frame smoothed, in the light of the first one and where that was.
        let mut quiet = Vec::new();
        smoothed(&self.frames[0].1, width, &mut quiet);
        let first = Evening {
            reference: quiet.iter().map(|v| f32::from(*v) / PARTS).collect(),
            width,
        };
        let edges = still::Edges::of(&quiet, width);
        let shifts: Vec<(f32, f32)> = self
            .frames
            .iter()
            .map(|(_, frame)| {
                smoothed(frame, width, &mut quiet);
                first.even(&mut quiet);
                edges.shift(&quiet)
            })
            .collect();
        let (middle, restless) = self.at_rest(&first, &shifts);
        let mut seen: Vec<(f64, Vec<Spot>)> = Vec::with_capacity(self.frames.len());
        let mut out = vec![0.0_f32; middle.len()];
        for ((at_secs, frame), shift) in self.frames.iter().zip(&shifts) {
            smoothed(frame, width, &mut quiet);
            first.even(&mut quiet);
            still::shifted(&mut quiet, width, *shift);
            stand_out(&quiet, &middle, &restless, width, &mut out);
            let marked = out.iter().filter(|v| **v > 0.0).count();
            if marked as f32 > CROWDED * out.len() as f32 {
                seen.push((*at_secs, Vec::new()));
            } else {
                seen.push((*at_secs, rise::spots(&mut out, width)));
            }
        }
        let k = self.factor as f32;
        // Outlines are sought in the mean picture: where the frames stand on the whole.
        let share = 1.0 / shifts.len() as f32;
        let mean = shifts.iter().fold((0.0, 0.0), |sum, s| {
            (sum.0 + share * s.0, sum.1 + share * s.1)
        });
        let placed = |p: (f32, f32)| ((p.0 + mean.0) * k, (p.1 + mean.1) * k);
        risers(&seen)
            .into_iter()
            .map(|r| Riser {
                foot: placed(r.foot),
                head: placed(r.head),
                width: r.width * k,
            })
            .collect()
    }

    /// The middle picture, and how restless each place is (one deviation, luma).
    fn at_rest(&self, first: &Evening, shifts: &[(f32, f32)]) -> (Vec<f32>, Vec<f32>) {
        let count = self.frames.len().min(FOR_MIDDLE);
        let width = self.width / self.factor;
        let chosen: Vec<Vec<u16>> = (0..count)
            .map(|i| {
                let mut quiet = Vec::new();
                let chosen = i * self.frames.len() / count;
                smoothed(&self.frames[chosen].1, width, &mut quiet);
                first.even(&mut quiet);
                still::shifted(&mut quiet, width, shifts[chosen]);
                quiet
            })
            .collect();
        let cells = chosen.first().map_or(0, Vec::len);
        let (mut middle, mut restless) = (Vec::with_capacity(cells), Vec::with_capacity(cells));
        let mut values = vec![0_u16; count];
        for cell in 0..cells {
            for (value, frame) in values.iter_mut().zip(&chosen) {
                *value = frame[cell];
            }
            let half = count / 2;
            let m = *values.select_nth_unstable(half).1;
            for value in &mut values {
                *value = value.abs_diff(m);
            }
            let deviation = 1.4826 * f32::from(*values.select_nth_unstable(half).1) / PARTS;
            let m = f32::from(m) / PARTS;
            // Noise that is cut off at black, or that a coder lets through now and then, has a small
            // middle deviation; its greater ones show.
            let great =
                f32::from(*values.select_nth_unstable(GREAT * count / 20).1) / PARTS / GREAT_IS;
            middle.push(m);
            restless.push(deviation.max(great).max(LEAST_RESTLESS));
        }
        // So few frames tell a place's restlessness badly; its neighbours know.
        let restless = no_quieter_than_neighbours(&restless, width);
        (middle, restless)
    }

    /// Upright trails, those in which most rose first.
    pub fn trails(risers: &[Riser]) -> Vec<Trail> {
        let mut trails: Vec<(usize, Trail)> = Vec::new();
        for riser in risers {
            let (tall, slope) = (
                riser.foot.1 - riser.head.1,
                (riser.foot.0 - riser.head.0) / (riser.foot.1 - riser.head.1).max(1.0),
            );
            let trail = Trail {
                x: f32::midpoint(riser.foot.0, riser.head.0),
                top: riser.head.1,
                bottom: riser.foot.1,
                slope,
                width: riser.width,
            };
            let same = trails.iter_mut().find(|(_, t)| {
                let y = f32::midpoint(trail.top, trail.bottom);
                let across = trail.x - (t.x + t.slope * (y - f32::midpoint(t.top, t.bottom)));
                across.abs() < 0.8 * t.width.max(trail.width) + 2.0
            });
            match same {
                Some((count, t)) => {
                    *count += 1;
                    if tall > t.bottom - t.top {
                        let width = t.width.max(trail.width);
                        *t = Trail { width, ..trail };
                    }
                }
                None => trails.push((1, trail)),
            }
        }
        trails.sort_by_key(|t| std::cmp::Reverse(t.0));
        trails.truncate(MOST_TRAILS);
        trails.into_iter().map(|t| t.1).collect()
    }

    /// How much a guessed glass looks as if beads had risen through it, 0 to 1: along its axis, from
    /// the nozzle to the head, and not beyond.
    /// `off_axis` is how far off the axis beads may rise, in parts of the width (one deviation).
    pub fn rose_through(
        risers: &[Riser],
        middle: Pose,
        width: f32,
        height: f32,
        off_axis: f32,
    ) -> f32 {
        let mut none = 1.0_f32;
        for riser in risers {
            let (u0, v0) = middle.frame(riser.foot.0, riser.foot.1);
            let (u1, v1) = middle.frame(riser.head.0, riser.head.1);
            let half = 0.5 * height;
            if v0 < -half || v1 > half || u0.abs().max(u1.abs()) > 0.6 * width {
                continue;
            }
            let wide = riser.width / width;
            if !(0.05..=0.8).contains(&wide) {
                continue;
            }
            let along = (v0.min(half) - v1.max(-half)) / height;
            let off = f32::midpoint(u0, u1) / (off_axis * width + 1.0);
            let leans = (u0 - u1) / (0.06 * (v0 - v1).abs() + 0.06 * width + 1.5);
            let beyond = ((v0 - half).max(0.0) + (-half - v1).max(0.0)) / (BEYOND * height + 2.0);
            let short = (v1 + half).max(0.0) / (AT_THE_HEAD * height);
            let misfit = off * off + leans * leans + beyond * beyond + short * short;
            let like = (along / SEEN_ALONG).clamp(0.0, 1.0).powi(2) * (-0.5 * misfit).exp();
            none *= 1.0 - 0.9 * like;
        }
        1.0 - none
    }
}

/// A small copy smoothed by 1-2-1 both ways, in sixteenths of a level: a bead is wider than that,
/// noise is not.
fn smoothed(frame: &[u8], width: usize, out: &mut Vec<u16>) {
    out.clear();
    let rows = frame.len() / width.max(1);
    // With the first and the last once more beside them: there is nothing beyond the border.
    let mut sums = vec![0_u16; width + 2];
    for row in 0..rows {
        let line = |r: usize| &frame[r * width..(r + 1) * width];
        let (above, here, below) = (
            line(row.saturating_sub(1)),
            line(row),
            line((row + 1).min(rows - 1)),
        );
        for (((sum, a), h), b) in sums[1..=width].iter_mut().zip(above).zip(here).zip(below) {
            *sum = 2 * u16::from(*h) + (u16::from(*a) + u16::from(*b));
        }
        (sums[0], sums[width + 1]) = (sums[1], sums[width]);
        let (left, middle, right) = (&sums[..width], &sums[1..=width], &sums[2..]);
        let three = left.iter().zip(middle).zip(right);
        // At most 255 times 16: nothing runs over.
        out.extend(three.map(|((l, m), r)| l.wrapping_add(*r).wrapping_add(m.wrapping_mul(2))));
    }
}

/// Each value, or the mean of the nine about it when that is greater.
fn no_quieter_than_neighbours(values: &[f32], width: usize) -> Vec<f32> {
    let rows = values.len() / width.max(1);
    let mut out = values.to_vec();
    for row in 1..rows.saturating_sub(1) {
        for column in 1..width.saturating_sub(1) {
            let mut sum = 0.0;
            for r in row - 1..=row + 1 {
                let from = r * width + column;
                sum += values[from - 1] + values[from] + values[from + 1];
            }
            let i = row * width + column;
            out[i] = out[i].max(sum / 9.0);
        }
    }
    out
}

/// The light of one frame, which others are brought to.
struct Evening {
    reference: Vec<f32>,
    width: usize,
}

impl Evening {
    /// Brings each band of rows to the light of the reference: flicker leaves no difference.
    fn even(&self, frame: &mut [u16]) {
        let (width, rows) = (self.width, frame.len() / self.width.max(1));
        let bands = rows.div_ceil(LIGHT_ROWS).max(1);
        let mut ratios = Vec::with_capacity(LIGHT_ROWS * width);
        let gains: Vec<f32> = (0..bands)
            .map(|band| {
                ratios.clear();
                let from = band * LIGHT_ROWS * width;
                let to = ((band + 1) * LIGHT_ROWS * width).min(frame.len());
                ratios.extend(
                    (from..to)
                        .step_by(3)
                        .map(|i| (self.reference[i] + 4.0) / (f32::from(frame[i]) / PARTS + 4.0)),
                );
                median(&mut ratios).clamp(0.3, 3.0)
            })
            .collect();
        for row in 0..rows {
            // Between the middles of two bands.
            let place = (row as f32 + 0.5) / LIGHT_ROWS as f32 - 0.5;
            let band = (place.max(0.0) as usize).min(bands - 1);
            let next = (band + 1).min(bands - 1);
            let part = (place - band as f32).clamp(0.0, 1.0);
            let gain = gains[band] + (gains[next] - gains[band]) * part;
            for value in &mut frame[row * width..(row + 1) * width] {
                *value = (f32::from(*value) * gain + 0.5) as u16;
            }
        }
    }
}

/// How far each place of a frame stands out of its restlessness, in deviations with a sign; 0 where
/// it does not.
fn stand_out(frame: &[u16], middle: &[f32], restless: &[f32], width: usize, out: &mut [f32]) {
    let rows = frame.len() / width.max(1);
    out.fill(0.0);
    // Beyond the border there is nothing to compare with.
    for row in BORDER..rows.saturating_sub(BORDER) {
        for i in row * width + BORDER..(row + 1) * width - BORDER {
            let off = f32::from(frame[i]) / PARTS - middle[i];
            let deviations = off / restless[i];
            if off.abs() > STANDS_OUT.1 && deviations.abs() > STANDS_OUT.0 {
                out[i] = deviations.abs();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A grey picture with a dark disc that rises 4 px a frame, under a lamp that flickers.
    fn film(frames: usize) -> Motion {
        let (w, h) = (80, 200);
        let mut motion = Motion::default();
        for f in 0..frames {
            let lamp = if f % 2 == 0 { 1.0 } else { 1.06 };
            let y0 = 180.0 - 4.0 * f as f32;
            let frame: Vec<f32> = (0..w * h)
                .map(|i| {
                    let (x, y) = ((i % w) as f32, (i / w) as f32);
                    let disc = (x - 40.0).hypot(y - y0) < 5.0;
                    // A sharp upright edge at x = 20, shaken by half a pixel.
                    let edge = 60.0 * (x - 20.0 + 0.5 * (f % 2) as f32).clamp(0.0, 1.0);
                    lamp * if disc { 60.0 } else { 100.0 + edge }
                })
                .collect();
            motion.add(&frame, w, f as f64 / 30.0);
        }
        motion
    }

    #[test]
    fn a_rising_disc_leaves_one_trail() {
        let risers = film(40).risers();
        let trails = Motion::trails(&risers);
        assert_eq!(trails.len(), 1, "{trails:?}");
        let t = trails[0];
        assert!((t.x - 40.5).abs() < 1.5 && t.slope.abs() < 0.02, "{t:?}");
        // Its ends are where its whole disc is surely clear of the first and last place.
        assert!(t.top < 35.0 && t.bottom > 165.0, "{t:?}");
        assert!((8.0..=12.0).contains(&t.width), "{t:?}");
    }

    #[test]
    fn it_rose_through_the_glass_round_it_and_no_other() {
        let risers = film(40).risers();
        let at =
            |x: f32| Motion::rose_through(&risers, Pose::leaning(x, 100.0, 0.0), 24.0, 190.0, 0.05);
        assert!(at(40.5) > 0.7, "{}", at(40.5));
        assert!(at(20.0) < 0.1, "{}", at(20.0));
    }

    #[test]
    fn few_frames_say_nothing() {
        let motion = film(3);
        assert!(motion.risers().is_empty());
    }

    #[test]
    fn what_falls_or_stands_does_not_rise() {
        let (w, h) = (80, 200);
        let mut motion = Motion::default();
        for f in 0..60 {
            let y0 = 20.0 + 3.0 * f as f32;
            let frame: Vec<f32> = (0..w * h)
                .map(|i| {
                    let (x, y) = ((i % w) as f32, (i / w) as f32);
                    let falls = (x - 20.0).hypot(y - y0) < 5.0;
                    let blinks = f % 7 < 3 && (x - 60.0).hypot(y - 100.0) < 6.0;
                    if falls || blinks { 60.0 } else { 110.0 }
                })
                .collect();
            motion.add(&frame, w, f64::from(f) / 30.0);
        }
        assert!(motion.risers().is_empty(), "{:?}", motion.risers());
    }
}
