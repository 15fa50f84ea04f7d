//! A glance at a glass: whether anything in it differs from the frame last looked at, by sums over
//! blocks of the picture as it came. It costs a hundredth of a look. It measures nothing, and is
//! trusted only while the beads of this very feed stand far above what it overlooks, and come as they
//! did: a feed that falls silent is soon looked at in every frame again.

use image::GrayImage;

use crate::base::{BeadKind, Ring};
use crate::glass::Outline;

/// Longest time between two looks while a glance shows nothing new, seconds: the picture at rest, light
/// and drift are learned by looks, and all of them take seconds. When a picture repeats the one before,
/// half of it, so that a frozen one is still shown within three.
const LONGEST_GLANCED_SECS: (f64, f64) = (0.6, 0.3);
/// Blocks across a glass: a bead then covers one whole, or nearly.
const ACROSS: f64 = 5.0;
/// Smallest and largest side of a block, pixels.
const SIDE: (f64, f64) = (4.0, 24.0);
/// Rows of a block that are added up: enough to average noise away, and little to read.
const ROWS: usize = 4;
/// Multiple of a block's usual change in a calm glass that is noticed, and the least change that is,
/// grey levels. What is usual lies above four of five changes, at 1.3 standard deviations of noise:
/// then a hundred blocks notice nothing in 98 of 100 calm glances.
const NOTICED: (f32, f32) = (2.9, 1.0);
/// Change of the whole that is noticed, grey levels.
const WHOLE: f32 = 4.0;
/// The least bead must change a block by so many times what is noticed, blocks on average.
const STANDS_OUT: f32 = 3.0;
/// Beads that tell, and most that are kept.
const BEADS: (usize, usize) = (2, 12);
/// A glance is trusted for so many usual intervals after the last drop of oil: a stop is told from
/// 2.5 on.
const AWAITED: f64 = 1.5;
/// Steps up and down, as ratios, by which the usual change is followed, and larger ones in the first
/// calm pictures: it lies above four of five.
const USUAL_STEP: (f32, f32) = (1.08, 0.98);
const FIRST_STEP: (f32, f32) = (1.5, 0.9);
/// Usual change at first, grey levels, and calm pictures until it is known.
const FIRST_USUAL: f32 = 2.0;
const FIRST_PICTURES: u32 = 30;
/// Time in which the memory of the largest change fades to a third, seconds: longer than it takes to
/// settle a bead that has passed.
const FADES_SECS: f64 = 2.0;

/// Glances at one glass.
#[derive(Clone, Debug)]
pub(super) struct Glance {
    /// Left, top, width and height in the picture, pixels.
    place: (usize, usize, usize, usize),
    side: usize,
    /// Sums of the blocks as of the last calm look, and now.
    calm: Vec<u32>,
    now: Vec<u32>,
    /// ... and of the frame before.
    before: Vec<u32>,
    repeats: bool,
    columns: Vec<u16>,
    /// Largest change of a block now, grey levels, and whether a block changed by more than it does
    /// in a calm glass.
    change: f32,
    is_new: bool,
    /// Change of the whole, grey levels.
    mean: f32,
    /// What the change of each block usually is in a calm glass, grey levels: a bead that grows at the
    /// nozzle moves its rim, and the rest of the glass stands still.
    usual: Vec<f32>,
    /// What is noticed, blocks on average, grey levels.
    least: f32,
    /// Largest change of late, grey levels, and when it was last brought up to date, seconds.
    peak: f32,
    peak_secs: f64,
    /// Calm pictures that the usual change was learned from.
    learned: u32,
    /// The largest change as each of the newest beads passed, grey levels.
    peaks: Ring<f32>,
    /// The newest intervals between drops of oil, and when the last was settled, seconds: bubbles keep
    /// no feed going.
    intervals: Ring<f64>,
    drop_secs: f64,
}

impl Glance {
    /// At the glass of this outline.
    pub fn new(outline: &Outline) -> Self {
        let mut glance = Self {
            place: (0, 0, 0, 0),
            side: 1,
            calm: Vec::new(),
            now: Vec::new(),
            before: Vec::new(),
            repeats: false,
            columns: Vec::new(),
            change: 0.0,
            is_new: true,
            mean: 0.0,
            usual: Vec::new(),
            least: f32::INFINITY,
            peak: 0.0,
            peak_secs: f64::NEG_INFINITY,
            learned: 0,
            peaks: Ring::new(BEADS.1),
            intervals: Ring::new(BEADS.1),
            drop_secs: f64::NAN,
        };
        glance.carry(outline);
        glance
    }

    /// The glass stands at another outline from now on.
    pub fn carry(&mut self, outline: &Outline) {
        let upright = outline.upright_box();
        // A float becomes the nearest number that there is: what lies outside is cut off below.
        self.side = (outline.width_px / ACROSS).clamp(SIDE.0, SIDE.1) as usize;
        self.place = (
            upright.x.max(0.0) as usize,
            upright.y.max(0.0) as usize,
            upright.width.max(0.0) as usize,
            upright.height.max(0.0) as usize,
        );
        self.forget_pictures();
    }

    fn forget_pictures(&mut self) {
        self.calm.clear();
        self.usual.clear();
        self.learned = 0;
    }

    /// The light or the scene is another: what beads change is not known any more.
    pub fn forget(&mut self) {
        self.forget_pictures();
        self.peaks.clear();
        self.intervals.clear();
        self.drop_secs = f64::NAN;
    }

    /// Glances at a picture; says whether nothing is noticed that was not there at the last calm look.
    pub fn sees_nothing_new(&mut self, luma: &GrayImage, at_secs: f64) -> bool {
        std::mem::swap(&mut self.before, &mut self.now);
        self.add_up(luma);
        self.repeats = self.before == self.now;
        self.compare();
        self.is_trusted(at_secs) && !self.is_new && self.mean.abs() < WHOLE
    }

    /// Whether the picture just glanced at is the one before to the last sum: a camera's noise never
    /// is, a frozen picture always.
    pub fn repeats(&self) -> bool {
        self.repeats
    }

    /// Longest time between two looks, seconds.
    pub fn spares_secs(&self) -> f64 {
        if self.repeats {
            LONGEST_GLANCED_SECS.1
        } else {
            LONGEST_GLANCED_SECS.0
        }
    }

    /// The picture just glanced at was looked at, and the glass is calm.
    pub fn calm_at(&mut self, at_secs: f64) {
        if self.calm.len() == self.now.len() {
            self.learn();
        }
        self.stirred_at(at_secs);
        self.calm.clone_from(&self.now);
    }

    /// The picture just glanced at was looked at, and something moves.
    pub fn stirred_at(&mut self, at_secs: f64) {
        let passed = (at_secs - self.peak_secs).clamp(0.0, 10.0 * FADES_SECS);
        self.peak_secs = at_secs;
        self.peak = (self.peak * (-passed / FADES_SECS).exp() as f32).max(self.change);
    }

    /// A bead was settled that passed of late.
    pub fn settled(&mut self, kind: BeadKind, at_secs: f64) {
        // Of one that passed before there was a calm picture to set it beside nothing is known.
        if self.peak > 0.0 {
            self.peaks.push(self.peak);
        }
        if kind == BeadKind::Oil {
            let interval_secs = at_secs - self.drop_secs;
            self.drop_secs = at_secs;
            if interval_secs.is_finite() {
                self.intervals.push(interval_secs);
            }
        }
    }

    /// Usual time between drops, seconds: half of the newest intervals are no longer.
    fn usual_secs(&self) -> f64 {
        let mut newest = [f64::INFINITY; BEADS.1];
        for (place, interval) in newest.iter_mut().zip(self.intervals.iter()) {
            *place = *interval;
        }
        newest.sort_unstable_by(f64::total_cmp);
        let middle = self.intervals.len().saturating_sub(1) / 2;
        newest.get(middle).copied().unwrap_or(0.0)
    }

    /// What is usual, from a calm picture.
    fn learn(&mut self) {
        self.usual.resize(self.now.len(), FIRST_USUAL);
        let (up, down) = if self.learned < FIRST_PICTURES {
            FIRST_STEP
        } else {
            USUAL_STEP
        };
        self.learned = self.learned.saturating_add(1);
        let pixels = self.pixels();
        let mean = self.mean;
        let pairs = self.now.iter().zip(&self.calm);
        for ((now, calm), usual) in pairs.zip(&mut self.usual) {
            let change = (changed(*now, *calm, pixels) - mean).abs();
            *usual *= if change > *usual { up } else { down };
            *usual = usual.clamp(0.05, 255.0);
        }
        let all: f32 = self.usual.iter().map(|usual| noticed(*usual)).sum();
        self.least = all / self.usual.len().max(1) as f32;
    }

    fn is_trusted(&self, at_secs: f64) -> bool {
        let weakest = self.peaks.iter().copied().fold(f32::INFINITY, f32::min);
        self.intervals.len() >= BEADS.0
            && self.peaks.len() >= BEADS.0
            && at_secs - self.drop_secs < AWAITED * self.usual_secs()
            && self.learned >= FIRST_PICTURES
            && self.calm.len() == self.now.len()
            && !self.calm.is_empty()
            && weakest > STANDS_OUT * self.least
    }

    /// Rows of a block that are added up, one every so many.
    fn every(&self) -> usize {
        (self.side / ROWS).max(1)
    }

    fn add_up(&mut self, luma: &GrayImage) {
        self.now.clear();
        let stride = luma.width() as usize;
        let (x, y, width, height) = self.place;
        let from = x.min(stride);
        let until = (x + width).min(stride);
        let bottom = (y + height).min(luma.height() as usize);
        // A few rows of bytes: no sum runs over.
        let every = self.every();
        let pixels = luma.as_raw();
        self.columns.resize(until - from, 0);
        let mut top = y;
        while top + self.side <= bottom {
            self.columns.fill(0);
            for row in (top..top + self.side).step_by(every) {
                let line = pixels.get(row * stride + from..row * stride + until);
                for (sum, pixel) in self.columns.iter_mut().zip(line.unwrap_or(&[])) {
                    *sum = sum.wrapping_add(u16::from(*pixel));
                }
            }
            let blocks = self.columns.chunks_exact(self.side);
            self.now
                .extend(blocks.map(|block| block.iter().map(|sum| u32::from(*sum)).sum::<u32>()));
            top += self.side;
        }
    }

    /// Pixels that are added up in a block.
    fn pixels(&self) -> f32 {
        (self.side * self.side.div_ceil(self.every())) as f32
    }

    fn compare(&mut self) {
        let pixels = self.pixels();
        let differences = || {
            let pairs = self.now.iter().zip(&self.calm);
            pairs.map(move |(now, calm)| changed(*now, *calm, pixels))
        };
        let mean = differences().sum::<f32>() / self.calm.len().max(1) as f32;
        let (mut most, mut is_new) = (0.0_f32, self.usual.len() != self.now.len());
        for (difference, usual) in differences().zip(&self.usual) {
            let change = (difference - mean).abs();
            most = most.max(change);
            is_new |= change > noticed(*usual);
        }
        (self.change, self.is_new, self.mean) = (most, is_new, mean);
    }
}

/// Change of a block's mean, grey levels.
fn changed(now: u32, calm: u32, pixels: f32) -> f32 {
    (now as f32 - calm as f32) / pixels
}

/// Least change that is noticed of a block whose usual change is so large, grey levels.
fn noticed(usual: f32) -> f32 {
    (NOTICED.0 * usual).max(NOTICED.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::GlassKind;
    use image::Luma;

    /// A glass of 40 × 120 pixels with a little noise; a bead of 10 pixels at a height, if any.
    fn picture(number: u32, bead: Option<(u32, u8)>) -> GrayImage {
        GrayImage::from_fn(80, 140, |x, y| {
            let noise = ((x * 7 + y * 13 + number * 29) % 5) as u8;
            match bead {
                Some((top, level)) if (top..top + 10).contains(&y) && (35..45).contains(&x) => {
                    Luma([level + noise])
                }
                _ => Luma([150 + noise]),
            }
        })
    }

    /// When the picture comes that is glanced at, seconds: the last bead passed at 23.9 s.
    const NOW_SECS: f64 = 30.0;

    /// A glance that has seen three beads of this level pass, one every 8 s.
    fn experienced(level: u8) -> Glance {
        seen(level, BeadKind::Oil)
    }

    fn seen(level: u8, kind: BeadKind) -> Glance {
        let outline = Outline::upright(GlassKind::Tube, 20.0, 10.0, 40.0, 120.0);
        let mut glance = Glance::new(&outline);
        for n in 0..300 {
            let bead = (n % 80 == 79).then_some((60, level));
            let _ = glance.sees_nothing_new(&picture(n, bead), f64::from(n) / 10.0);
            let at_secs = f64::from(n) / 10.0;
            if bead.is_some() {
                glance.stirred_at(at_secs);
                glance.settled(kind, at_secs);
            } else {
                glance.calm_at(at_secs);
            }
        }
        glance
    }

    #[test]
    fn a_calm_glass_shows_nothing_new_and_a_bead_is_noticed_anywhere() {
        let mut glance = experienced(90);
        assert!(glance.sees_nothing_new(&picture(500, None), NOW_SECS));
        for top in 12..118 {
            assert!(!glance.sees_nothing_new(&picture(501 + top, Some((top, 120))), NOW_SECS));
        }
        assert!(glance.sees_nothing_new(&picture(700, None), NOW_SECS));
    }

    #[test]
    fn beads_that_hardly_stand_out_are_not_left_to_a_glance() {
        let mut glance = experienced(149);
        assert!(!glance.sees_nothing_new(&picture(500, None), NOW_SECS));
    }

    #[test]
    fn a_feed_whose_next_bead_is_late_is_not_left_to_a_glance() {
        let mut glance = experienced(90);
        assert!(glance.sees_nothing_new(&picture(500, None), 35.8));
        assert!(!glance.sees_nothing_new(&picture(501, None), 36.0));
    }

    #[test]
    fn bubbles_alone_do_not_keep_a_feed_at_a_glance() {
        let mut glance = seen(90, BeadKind::Gas);
        assert!(!glance.sees_nothing_new(&picture(500, None), NOW_SECS));
    }

    #[test]
    fn one_long_interval_makes_no_late_drop_usual() {
        let mut glance = experienced(90);
        let _ = glance.sees_nothing_new(&picture(480, Some((60, 90))), 80.0);
        glance.stirred_at(80.0);
        glance.settled(BeadKind::Oil, 80.0);
        assert!(glance.sees_nothing_new(&picture(500, None), 85.0));
        assert!(!glance.sees_nothing_new(&picture(501, None), 93.0));
    }

    #[test]
    fn after_another_light_beads_must_be_known_anew() {
        let mut glance = experienced(90);
        glance.forget();
        for n in 0..100 {
            assert!(!glance.sees_nothing_new(&picture(n, None), NOW_SECS));
            glance.calm_at(NOW_SECS);
        }
    }

    #[test]
    fn light_that_changes_all_at_once_is_noticed() {
        let mut glance = experienced(90);
        let mut dim = picture(500, None);
        for pixel in dim.iter_mut() {
            *pixel -= 10;
        }
        assert!(!glance.sees_nothing_new(&dim, NOW_SECS));
    }

    #[test]
    fn an_outline_beyond_the_picture_and_another_picture_are_no_trouble() {
        let outline = Outline::upright(GlassKind::Port, 60.0, 100.0, 400.0, 300.0);
        let mut glance = Glance::new(&outline);
        for size in [(80, 140), (10, 10), (500, 500), (0, 0)] {
            assert!(!glance.sees_nothing_new(&GrayImage::new(size.0, size.1), 0.0));
            glance.calm_at(0.0);
        }
    }
}
