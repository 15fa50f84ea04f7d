//! Where something moved: the change from frame to frame that neither the light nor a shaking
//! camera explains, summed over time, and the upright trails that rising beads leave in it.

use super::pose::Pose;

/// Change that is left to noise, luma steps.
const NOISE: f32 = 5.0;
/// A shaking camera changes each pixel by at most the local slope times this, pixels a frame.
const SHAKE_PX: f32 = 2.0;
/// Sum of changes at which a place counts as moved: one bead of faint contrast passing once.
const MOVED: f32 = 6.0;
/// Part of the frames in which a place may change and still be the path of beads: at a drop a
/// second each place is covered a tenth of the time.
const SELDOM: f32 = 0.2;
/// A trail is at least this many times taller than wide.
const TALL: f32 = 2.5;
/// Rows a trail may be interrupted, working pixels: a fast bead leaves gaps between frames.
const GAP_PX: usize = 14;
/// How far below the head of its glass a trail may end, part of the height: gaps between frames,
/// and shade under the fitting.
const AT_THE_HEAD: f32 = 0.08;
/// Most trails.
const MOST_TRAILS: usize = 24;

/// Moved places row by row: x, y, width.
type Chain = Vec<(f32, f32, f32)>;

/// Sums change over frames.
#[derive(Clone, Debug, Default)]
pub(super) struct Motion {
    width: usize,
    before: Vec<f32>,
    sum: Vec<f32>,
    times: Vec<u16>,
    frames: u32,
}

/// An upright streak of change.
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
    /// Width, working pixels.
    pub width: f32,
}

impl Motion {
    /// Takes in a frame, reduced to the working size.
    pub fn add(&mut self, frame: &[f32], width: usize) {
        if self.before.len() != frame.len() || self.width != width {
            self.width = width;
            self.before = frame.to_vec();
            self.sum = vec![0.0; frame.len()];
            self.times = vec![0; frame.len()];
            self.frames = 1;
            return;
        }
        self.frames = self.frames.saturating_add(1);
        // The whole picture's gain: flicker and exposure are not motion.
        let total = |v: &[f32]| v.iter().step_by(7).sum::<f32>().max(1.0);
        let gain = (total(&self.before) / total(frame)).clamp(0.5, 2.0);
        let height = frame.len() / width.max(1);
        for y in 1..height.saturating_sub(1) {
            let row = y * width;
            for x in 1..width - 1 {
                let i = row + x;
                let here = frame[i] * gain;
                let change = (here - self.before[i]).abs();
                if change > NOISE {
                    let slope = (self.before[i + 1] - self.before[i - 1])
                        .abs()
                        .max((self.before[i + width] - self.before[i - width]).abs())
                        / 2.0;
                    let rest = change - NOISE - SHAKE_PX * slope;
                    if rest > 0.0 {
                        self.sum[i] += rest.min(40.0);
                        self.times[i] = self.times[i].saturating_add(1);
                    }
                }
            }
        }
        self.before.copy_from_slice(frame);
    }

    /// Whether enough frames were seen to speak of motion.
    pub fn known(&self) -> bool {
        self.frames >= 5
    }

    /// Whether something passed this pixel now and then. An edge that a shaking camera moves
    /// changes all the time.
    fn passed(&self, index: usize) -> bool {
        self.sum.get(index).is_some_and(|s| *s > MOVED)
            && self
                .times
                .get(index)
                .is_some_and(|t| f32::from(*t) < 4.0 + SELDOM * self.frames as f32)
    }

    fn at(&self, x: f32, y: f32) -> bool {
        if x < 0.0 || y < 0.0 {
            return false;
        }
        let (column, row) = (x as usize, y as usize);
        column < self.width && self.passed(row * self.width + column)
    }

    /// How much a guessed glass looks as if beads had risen through it, 0 to 1: change along its
    /// axis from the nozzle to the head, and none beside the glass.
    /// `off_axis` is how far off the axis beads may rise, in parts of the width (one deviation).
    pub fn rose_through(&self, middle: Pose, width: f32, height: f32, off_axis: f32) -> f32 {
        if !self.known() || width < 4.0 {
            return 0.0;
        }
        let step = (height / 60.0).max(1.0);
        let side = (width / 24.0).max(1.0);
        let (mut rows, mut inside, mut beside) = (0_u32, 0_u32, 0_u32);
        let (mut all_hits, mut all_places) = (0_u32, 0.0_f32);
        let mut highest = 0.5 * height;
        let mut v = -0.5 * height + 1.0;
        while v < 0.28 * height {
            let moved = |from: f32, to: f32| {
                let mut u = from;
                let (mut hits, mut places) = (0, 0.0);
                while u <= to {
                    let (x, y) = middle.picture(u, v);
                    if self.at(x, y) {
                        hits += 1;
                        places += u;
                    }
                    u += side;
                }
                (hits, places)
            };
            rows += 1;
            let (hits, places) = moved(-0.36 * width, 0.36 * width);
            if hits >= 2 {
                inside += 1;
                highest = highest.min(v);
                all_hits += hits;
                all_places += places;
            }
            beside +=
                u32::from(moved(-width, -0.62 * width).0 >= 2 || moved(0.62 * width, width).0 >= 2);
            v += step;
        }
        let part = |n: u32| n as f32 / rows.max(1) as f32;
        // Dots with gaps between still make a trail: half the rows are as good as all.
        let off = all_places / all_hits.max(1) as f32 / (off_axis * width + 0.7);
        let seen = (1.8 * part(inside)).min(1.0) - 1.5 * part(beside);
        // A bead is seen up to the upper fitting, no less.
        let short = ((highest + 0.5 * height) / height - AT_THE_HEAD).max(0.0) / AT_THE_HEAD;
        seen.clamp(0.0, 1.0) * (-0.5 * (off * off + short * short)).exp()
    }

    /// Upright trails, the tallest first.
    pub fn trails(&self) -> Vec<Trail> {
        if !self.known() || self.width == 0 {
            return Vec::new();
        }
        let (width, height) = (self.width, self.sum.len() / self.width);
        // Runs of moved pixels row by row, chained downwards.
        let mut open: Vec<(Chain, usize)> = Vec::new(); // with its last row
        let mut done: Vec<Chain> = Vec::new();
        for y in 0..height {
            let row = y * width;
            let mut x = 0;
            let mut runs: Vec<(f32, f32)> = Vec::new();
            while x < width {
                if self.passed(row + x) {
                    let start = x;
                    let mut miss = 0;
                    let mut end = x;
                    while x < width && miss < 3 {
                        if self.passed(row + x) {
                            end = x;
                            miss = 0;
                        } else {
                            miss += 1;
                        }
                        x += 1;
                    }
                    let wide = (end - start + 1) as f32;
                    if wide >= 3.0 {
                        runs.push(((start + end + 1) as f32 / 2.0, wide));
                    }
                } else {
                    x += 1;
                }
            }
            for (centre, wide) in runs {
                let near = open.iter_mut().find(|(points, last)| {
                    points.last().is_some_and(|p| {
                        *last < y && (p.0 - centre).abs() < 0.5 * p.2.max(wide) + 1.0
                    })
                });
                match near {
                    Some((points, last)) => {
                        points.push((centre, y as f32 + 0.5, wide));
                        *last = y;
                    }
                    None => open.push((vec![(centre, y as f32 + 0.5, wide)], y)),
                }
            }
            let (keep, ended): (Vec<_>, Vec<_>) =
                open.into_iter().partition(|(_, last)| y - last <= GAP_PX);
            open = keep;
            done.extend(ended.into_iter().map(|e| e.0));
        }
        done.extend(open.into_iter().map(|e| e.0));
        let mut trails: Vec<Trail> = done.iter().filter_map(|points| trail(points)).collect();
        trails.sort_by(|a, b| (b.bottom - b.top).total_cmp(&(a.bottom - a.top)));
        trails.truncate(MOST_TRAILS);
        trails
    }
}

/// A chain as a trail, when it is tall and straight enough.
fn trail(points: &[(f32, f32, f32)]) -> Option<Trail> {
    let (first, last) = (points.first()?, points.last()?);
    let tall = last.1 - first.1 + 1.0;
    let mut widths: Vec<f32> = points.iter().map(|p| p.2).collect();
    let width = super::plane::median(&mut widths);
    if tall < TALL * width || tall < 16.0 || (points.len() as f32) < 0.3 * tall {
        return None;
    }
    let n = points.len() as f32;
    let x = points.iter().map(|p| p.0).sum::<f32>() / n;
    let y = points.iter().map(|p| p.1).sum::<f32>() / n;
    let (mut xy, mut yy) = (0.0, 0.0);
    for p in points {
        xy += (p.0 - x) * (p.1 - y);
        yy += (p.1 - y) * (p.1 - y);
    }
    let slope = if yy > 0.0 { xy / yy } else { 0.0 };
    if slope.abs() > super::lines::STEEPEST {
        return None;
    }
    let middle = f32::midpoint(first.1, last.1);
    Some(Trail {
        x: x + slope * (middle - y),
        top: first.1,
        bottom: last.1,
        slope,
        width,
    })
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
            motion.add(&frame, w);
        }
        motion
    }

    #[test]
    fn a_rising_disc_leaves_one_trail() {
        let motion = film(40);
        let trails = motion.trails();
        assert_eq!(trails.len(), 1, "{trails:?}");
        let t = trails[0];
        assert!((t.x - 40.5).abs() < 1.5 && t.slope.abs() < 0.02, "{t:?}");
        assert!(t.top < 35.0 && t.bottom > 170.0, "{t:?}");
        assert!((8.0..=12.0).contains(&t.width), "{t:?}");
    }

    #[test]
    fn it_rose_through_the_glass_round_it_and_no_other() {
        let motion = film(40);
        let at = |x: f32| motion.rose_through(Pose::leaning(x, 100.0, 0.0), 24.0, 190.0, 0.05);
        assert!(at(40.5) > 0.8, "{}", at(40.5));
        assert!(at(20.0) < 0.1, "{}", at(20.0));
    }

    #[test]
    fn few_frames_say_nothing() {
        let motion = film(3);
        assert!(!motion.known() && motion.trails().is_empty());
    }
}
