//! The picture at rest: what one glass looks like with no bead in it, how noisy each sample is,
//! and the difference of a frame from it. Learning is a slow median, so a bead that passes is
//! never absorbed while films, lamps and reflections are followed.

use std::borrow::Borrow;
use std::ops::Range;

use ndarray::Array2;

use crate::bead::lanes::{self, Scale, Steps};
use crate::bead::light::{Bands, Light};
use crate::bead::sample::Inside;
use crate::bead::smooth::{mean_square, smooth};
use crate::bead::steady::median;

/// Samples in the slow median. A bead covers a sample for about a twentieth of a second, so even
/// at sixty drops a minute it is in a few of these at most.
const SAMPLES: usize = 15;
/// Time between two samples once running, seconds: the median then spans about nine seconds.
const SAMPLE_EVERY_SECS: f64 = 0.6;
/// Smallest noise assumed, grey levels: quantising alone gives 0.3, video coding about this.
const LEAST_NOISE: f32 = 0.9;
/// Share of frames whose energy lies under the running noise estimate.
const NOISE_QUANTILE: f32 = 0.85;
/// That quantile of the mean of nine squares of unit normal noise (chi-square with 9 degrees of
/// freedom over 9): turns the estimate into a variance.
const NOISE_QUANTILE_OF_UNIT: f32 = 1.477;
/// Share of the first samples whose energy lies under the first estimate: a third of them may hold
/// something that passed.
const FIRST_QUANTILE: f32 = 0.6;
/// The running quantile over that one (chi-square with 9 degrees of freedom: 13.29 and 9.41).
const NOISE_OVER_FIRST: f32 = 1.412;
/// Samples whose noise tells the usual noise.
const NOISE_SAMPLES: usize = 257;
/// Smallest and largest running estimate, grey levels squared.
const NOISE_LIMITS: (f32, f32) = (0.02, 4000.0);
/// A sample is far off rest from this energy and so many grey levels on.
const FAR_OFF: (f32, f32) = (16.0, 6.0);
/// Most growth of the noise variance while the picture at rest is learned anew.
const MOST_GROWTH: f32 = 4.0;
/// Noise from which the glass is looked at more coarsely, grey levels: a bead at a fifth of the usual
/// contrast is some six levels off, and must stand out of it.
const COARSE_NOISE: f32 = 2.2;
/// Speed of the running noise estimate, as a ratio per frame.
const NOISE_STEP: f32 = 0.06;
/// Multiple of a sample's noise from which its difference is an event, not noise.
const OUTLYING: f32 = 16.0;
/// Share of the upward step for events: somebody who passes behind the glass must not be learned as
/// noise, yet a picture that is noisier for good is, some seconds later.
const OUTLYING_SHARE: f32 = 0.2;
/// Frames over which a new median is worked out.
const RELEARN_FRAMES: usize = 12;
/// Differences kept of the last moments, for a glass behind steam.
const RECENT: usize = 7;
/// Time between two of them, seconds: their median spans 0.6 s. A bead that rises four of its
/// diameters a second is in three of the seven at most; drifting steam is in most of them.
const RECENT_EVERY_SECS: f64 = 0.085;
/// Energy from which a sample counts as stirred.
const STIRRED_ENERGY: f32 = 4.0;
/// Share of stirred samples, on the running mean, from which the last moments are taken out as
/// well. A bead stirs a twentieth of its glass for a quarter of a second.
const RESTLESS_SHARE: f32 = 0.07;
/// Share under which they are no longer.
const CALM_SHARE: f32 = 0.03;
/// Time over which the share is averaged, seconds.
const STIR_SECS: f64 = 0.5;
/// Time for which a glass counts as restless after it was, seconds: a passage.
const RESTLESS_SECS: f64 = 1.5;

/// What the last moments have in common beyond the picture at rest: steam that drifts before the
/// glass, a reflection on its way. Only taken out while the glass is restless, for it costs noise
/// and time.
#[derive(Clone, Debug)]
struct Drift {
    recent: Vec<Array2<f32>>,
    last_secs: f64,
    last_frame_secs: f64,
    stirred: f32,
    restless: bool,
    restless_secs: f64,
    /// Median of the kept differences, grey levels.
    usual: Array2<f32>,
}

impl Drift {
    fn new(shape: (usize, usize)) -> Self {
        Self {
            recent: Vec::with_capacity(RECENT),
            last_secs: f64::NEG_INFINITY,
            last_frame_secs: f64::NEG_INFINITY,
            stirred: 0.0,
            restless: false,
            restless_secs: f64::NEG_INFINITY,
            usual: Array2::zeros(shape),
        }
    }

    fn is_on(&self) -> bool {
        self.restless && self.recent.len() == RECENT
    }

    /// The difference from the picture at rest, with what drifts.
    fn whole(&self, difference: &Difference, into: &mut Array2<f32>) {
        into.assign(&difference.levels);
        if difference.drift_taken_out {
            *into += &self.usual;
        }
    }

    /// Takes the difference of a frame that could be judged.
    fn learn(&mut self, difference: &Difference, at_secs: f64) {
        // The first frame tells at once: an infinite time has gone by.
        let step = (at_secs - self.last_frame_secs).clamp(0.0, STIR_SECS);
        self.last_frame_secs = at_secs;
        self.stirred += (difference.stirred - self.stirred) * (step / STIR_SECS) as f32;
        if self.stirred > RESTLESS_SHARE {
            self.restless = true;
            self.restless_secs = at_secs;
        } else if self.stirred < CALM_SHARE && at_secs - self.restless_secs > RESTLESS_SECS {
            self.restless = false;
        }
        if at_secs - self.last_secs < RECENT_EVERY_SECS {
            return;
        }
        self.last_secs = at_secs;
        let mut whole = if self.recent.len() < RECENT {
            Array2::zeros(self.usual.dim())
        } else {
            self.recent.remove(0)
        };
        self.whole(difference, &mut whole);
        self.recent.push(whole);
        if self.is_on()
            && let Some(usual) = self.usual.as_slice_mut()
            && let Some(recent) = self.recent.first_chunk::<RECENT>()
        {
            lanes::medians(recent.each_ref(), 0, usual);
        }
    }
}

/// How noisy each sample of a glass is: running quantile of the 3 × 3 mean square, grey levels
/// squared.
pub type Noise = Array2<f32>;

/// What a glass looks like at rest.
#[derive(Clone, Debug)]
pub struct Rest {
    samples: Vec<Array2<f32>>,
    next: usize,
    last_sample_secs: f64,
    stale_row: usize,
    reference: Array2<f32>,
    noise: Noise,
    /// Whether differences are smoothed before anything else, because the picture is noisy.
    coarse: bool,
    bands: Bands,
    drift: Drift,
    ready: bool,
}

/// One frame's glass against the picture at rest.
#[derive(Clone, Debug)]
pub struct Difference {
    /// Signed difference after the light is evened, grey levels.
    pub levels: Array2<f32>,
    /// Mean square of the difference over 3 × 3 samples, grey levels squared.
    pub square: Array2<f32>,
    /// The same in units of each sample's own noise variance: about 1 where nothing happens.
    pub energy: Array2<f32>,
    /// Light of the glass against rest: 1 is the same.
    pub gain: f32,
    light: Light,
    scratch: Vec<f32>,
    /// Share of samples far off (over sixteen times their noise's energy and over six levels), 0 to 1.
    pub changed: f32,
    /// Share of samples that stand out of their noise at all, 0 to 1.
    stirred: f32,
    /// Whether what drifts has been taken out as well.
    pub(super) drift_taken_out: bool,
}

impl Difference {
    /// No difference, in a straightened glass of this shape (rows, columns).
    #[must_use]
    pub fn new(shape: (usize, usize)) -> Self {
        Self {
            levels: Array2::zeros(shape),
            square: Array2::zeros(shape),
            energy: Array2::zeros(shape),
            gain: 1.0,
            light: Light::default(),
            scratch: Vec::new(),
            changed: 0.0,
            stirred: 0.0,
            drift_taken_out: false,
        }
    }
}

impl Rest {
    /// Nothing known yet.
    #[must_use]
    pub fn new(shape: (usize, usize)) -> Self {
        Self {
            samples: Vec::with_capacity(SAMPLES),
            next: 0,
            last_sample_secs: f64::NEG_INFINITY,
            stale_row: usize::MAX,
            reference: Array2::zeros(shape),
            noise: Array2::from_elem(shape, LEAST_NOISE * LEAST_NOISE),
            coarse: false,
            bands: Bands::default(),
            drift: Drift::new(shape),
            ready: false,
        }
    }

    /// Takes how finely light is evened in this glass.
    pub fn expect(&mut self, bands: Bands) {
        self.bands = bands;
    }

    /// Starts from the pictures of the first moments (oldest first); `before` is the noise that
    /// was known of this glass: somebody who went by has not made the camera noisier.
    pub fn begin(
        &mut self,
        first: &[impl Borrow<Array2<f32>>],
        at_secs: f64,
        before: Option<&Noise>,
    ) {
        let every = (first.len() as f64 / SAMPLES as f64).max(1.0);
        self.samples.clear();
        let mut position = 0.0;
        while (position as usize) < first.len() && self.samples.len() < SAMPLES {
            if let Some(sample) = first.get(position as usize) {
                self.samples.push(sample.borrow().clone());
            }
            position += every;
        }
        self.next = 0;
        self.last_sample_secs = at_secs;
        self.relearn_rows(0..self.reference.nrows());
        self.coarse = false;
        self.first_noise(before);
        self.coarse = self.usual_noise() > COARSE_NOISE;
        if self.coarse {
            self.first_noise(before);
        }
        self.stale_row = usize::MAX;
        self.ready = !self.samples.is_empty();
    }

    /// The noise from the first samples.
    fn first_noise(&mut self, before: Option<&Noise>) {
        let squares: Vec<Array2<f32>> = self
            .samples
            .iter()
            .map(|sample| {
                let mut levels = sample - &self.reference;
                let cols = levels.ncols();
                let mut square = Array2::zeros(levels.dim());
                if let (Some(from), Some(into)) = (levels.as_slice_mut(), square.as_slice_mut()) {
                    if self.coarse {
                        smooth(from, cols, &mut Vec::new());
                    }
                    mean_square(from, cols, into, &mut Vec::new());
                }
                square
            })
            .collect();
        let rank = (squares.len() as f32 * FIRST_QUANTILE) as usize;
        let mut column = Vec::with_capacity(SAMPLES);
        for (at, noise) in self.noise.indexed_iter_mut() {
            column.clear();
            column.extend(squares.iter().map(|s| s[at]));
            column.sort_by(f32::total_cmp);
            let found = column.get(rank.min(column.len().saturating_sub(1)));
            let first = found.map_or(1.0, |square| square * NOISE_OVER_FIRST);
            *noise = first.min(before.map_or(f32::MAX, |b| MOST_GROWTH * b[at]));
        }
    }

    /// The usual spread of a sample's noise, grey levels.
    fn usual_noise(&self) -> f32 {
        let mut some = [0.0; NOISE_SAMPLES];
        let every = self.noise.len().div_ceil(NOISE_SAMPLES).max(1);
        let mut count = 0;
        for (value, noise) in some.iter_mut().zip(self.noise.iter().step_by(every)) {
            *value = *noise;
            count += 1;
        }
        let usual = median(some.get_mut(..count).unwrap_or(&mut []));
        (usual / NOISE_QUANTILE_OF_UNIT).sqrt()
    }

    /// The noise, once it is known.
    #[must_use]
    pub fn noise(&self) -> Option<&Noise> {
        self.ready.then_some(&self.noise)
    }

    /// Whether the picture at rest is known.
    #[must_use]
    pub fn is_ready(&self) -> bool {
        self.ready
    }

    /// Whether something drifts over the glass: steam, a reflection on its way.
    #[must_use]
    pub fn drifts(&self) -> bool {
        self.drift.restless
    }

    /// The picture at rest, grey levels.
    #[must_use]
    pub fn reference(&self) -> &Array2<f32> {
        &self.reference
    }

    /// Compares a straightened picture with the picture at rest. `into` is overwritten; it must
    /// have the shape of the glass.
    pub fn compare(&self, patch: &Array2<f32>, inside: &Inside, into: &mut Difference) {
        let cols = self.reference.ncols();
        let (Some(patch), Some(rest), Some(noise), Some(usual)) = (
            patch.as_slice(),
            self.reference.as_slice(),
            self.noise.as_slice(),
            self.drift.usual.as_slice(),
        ) else {
            return;
        };
        let (Some(levels), Some(square), Some(energy)) = (
            into.levels.as_slice_mut(),
            into.square.as_slice_mut(),
            into.energy.as_slice_mut(),
        ) else {
            return;
        };
        if cols == 0 || patch.len() != rest.len() || levels.len() != rest.len() {
            return;
        }
        into.gain = into.light.look(self.bands, (patch, rest), inside, cols);
        let dimmed = dimmed(into.gain);
        let mask = &inside.mask;
        for (row, line) in levels.chunks_exact_mut(cols).enumerate() {
            let all = row * cols..(row + 1) * cols;
            let (Some(now), Some(rest), Some(mask)) =
                (patch.get(all.clone()), rest.get(all.clone()), mask.get(all))
            else {
                return;
            };
            into.light.differ(row, line, (now, rest, mask));
        }
        if self.coarse {
            smooth(levels, cols, &mut into.scratch);
        }
        mean_square(levels, cols, square, &mut into.scratch);
        let scale = Scale {
            of_noise: 1.0 / NOISE_QUANTILE_OF_UNIT,
            least: LEAST_NOISE.powi(2),
            dimmed,
        };
        let limits = (STIRRED_ENERGY, FAR_OFF);
        let all = (&*square, noise, mask.as_slice(), &*levels);
        let (stirred, changed) = lanes::energies(energy, all, scale, limits);
        let count = inside.count.max(1) as f32;
        into.changed = changed as f32 / count;
        into.stirred = stirred as f32 / count;
        into.drift_taken_out = self.drift.is_on();
        if into.drift_taken_out {
            for (level, usual) in levels.iter_mut().zip(usual) {
                *level -= usual;
            }
            mean_square(levels, cols, square, &mut into.scratch);
            let all = (&*square, noise, mask.as_slice(), &*levels);
            lanes::energies(energy, all, scale, limits);
        }
    }

    /// [`Rest::compare`] into a new difference.
    #[must_use]
    pub fn difference(&self, patch: &Array2<f32>, inside: &Inside) -> Difference {
        let mut into = Difference::new(self.reference.dim());
        self.compare(patch, inside, &mut into);
        into
    }

    /// Learns slowly from a frame that could be judged.
    pub fn learn(&mut self, difference: &Difference, at_secs: f64) {
        let up = 1.0 + NOISE_STEP * NOISE_QUANTILE;
        let event = 1.0 + OUTLYING_SHARE * NOISE_STEP * NOISE_QUANTILE;
        let down = 1.0 / (1.0 + NOISE_STEP * (1.0 - NOISE_QUANTILE));
        // In the light of the picture at rest: what evening out a dim frame multiplied is undone.
        let undimmed = 1.0 / dimmed(difference.gain);
        if let (Some(noise), Some(square)) =
            (self.noise.as_slice_mut(), difference.square.as_slice())
        {
            let steps = Steps {
                up,
                event,
                down,
                outlying: OUTLYING,
                limits: NOISE_LIMITS,
            };
            lanes::follow(noise, square, undimmed, steps);
        }
        let rows = self.reference.nrows();
        if at_secs - self.last_sample_secs >= SAMPLE_EVERY_SECS && self.stale_row >= rows {
            self.last_sample_secs = at_secs;
            // In the light of the picture at rest, so that flicker and steps of exposure do not
            // make the median pick single frames with all their noise.
            if self.samples.len() < SAMPLES {
                self.samples.push(Array2::zeros(self.reference.dim()));
            }
            if let Some(oldest) = self.samples.get_mut(self.next) {
                self.drift.whole(difference, oldest);
                *oldest += &self.reference;
            }
            self.next = (self.next + 1) % SAMPLES;
            self.stale_row = 0;
        }
        self.drift.learn(difference, at_secs);
        // The new median is worked out over the next frames, some rows at a time.
        if self.stale_row < rows {
            let until = (self.stale_row + rows.div_ceil(RELEARN_FRAMES)).min(rows);
            self.relearn_rows(self.stale_row..until);
            self.stale_row = until;
        }
    }

    /// The picture at rest anew in some rows.
    fn relearn_rows(&mut self, rows: Range<usize>) {
        let cols = self.reference.ncols();
        let place = rows.start * cols..rows.end * cols;
        if self.samples.len() < SAMPLES {
            let mut column = Vec::with_capacity(SAMPLES);
            for (at, value) in place.clone().zip(part_mut(&mut self.reference, &place)) {
                column.clear();
                let levels = self.samples.iter().filter_map(|s| s.as_slice()?.get(at));
                column.extend(levels);
                *value = median(&mut column);
            }
            return;
        }
        if let Some(samples) = self.samples.first_chunk::<SAMPLES>() {
            let into = part_mut(&mut self.reference, &place);
            lanes::medians(samples.each_ref(), place.start, into);
        }
    }
}

/// Some samples of a picture.
fn part_mut<'a>(picture: &'a mut Array2<f32>, place: &Range<usize>) -> &'a mut [f32] {
    let all = picture.as_slice_mut().unwrap_or(&mut []);
    all.get_mut(place.clone()).unwrap_or(&mut [])
}

/// By how much evening out multiplies the noise variance of a frame with this light: dim frames
/// are made brighter and noisier, bright ones the other way about.
fn dimmed(gain: f32) -> f32 {
    (1.0 / gain).powi(2).clamp(0.25, 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_of_light_leaves_no_difference_and_a_bead_does() {
        let shape = (48, 24);
        let inside = Inside::new(vec![(0, shape.1); shape.0], shape.1, 1.0);
        let at_rest = Array2::from_shape_fn(shape, |(r, c)| 90.0 + r as f32 + (c % 5) as f32);
        let mut rest = Rest::new(shape);
        rest.begin(&[&at_rest, &at_rest, &at_rest], 0.0, None);
        let mut brighter = at_rest.mapv(|v| (v + 8.0) * 1.3 - 8.0);
        let calm = rest.difference(&brighter, &inside);
        assert!(calm.energy.iter().all(|e| *e < 0.25));
        assert!((calm.gain - 1.3).abs() < 0.01);
        for row in 20..28 {
            for col in 8..16 {
                brighter[[row, col]] -= 40.0;
            }
        }
        let with_bead = rest.difference(&brighter, &inside);
        assert!((with_bead.levels[[24, 12]] + 40.0 / 1.3).abs() < 2.0);
        assert!(with_bead.energy[[10, 4]] < 1.0);
    }

    #[test]
    fn a_passing_bead_is_not_learned_but_a_lasting_change_is() {
        let shape = (16, 16);
        let inside = Inside::new(vec![(0, shape.1); shape.0], shape.1, 1.0);
        let plain = Array2::from_elem(shape, 100.0_f32);
        let mut spot = plain.clone();
        spot[[8, 8]] = 60.0;
        let mut rest = Rest::new(shape);
        rest.begin(&[&plain], 0.0, None);
        let mut at = 0.0;
        for frame in 0..600 {
            at += 1.0 / 30.0;
            let patch = if frame % 30 < 2 { &spot } else { &plain };
            let difference = rest.difference(patch, &inside);
            rest.learn(&difference, at);
        }
        // Light is known to a thousandth.
        assert!((rest.reference()[[8, 8]] - 100.0).abs() < 0.1);
        for _ in 0..400 {
            at += 1.0 / 30.0;
            let difference = rest.difference(&spot, &inside);
            rest.learn(&difference, at);
        }
        assert!((rest.reference()[[8, 8]] - 60.0).abs() < 0.1);
    }
}
