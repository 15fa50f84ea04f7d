//! The first frames of a glass, kept until its picture at rest can be told from them, and whether
//! the scene stood still meanwhile.

use std::borrow::Cow;

use ndarray::Array2;

use crate::bead::album::Cutting;
use crate::bead::steady::median;

/// Time over which the first picture at rest is gathered, seconds. Nothing is lost: these frames
/// are counted as soon as it is known.
const GATHER_SECS: f64 = 0.7;
/// Most frames gathered (at 120 frames a second).
const GATHER_FRAMES: usize = 90;
/// Ratio of the glass's own light, the surround's taken out, beyond which the scene changed while its
/// picture at rest was gathered: somebody went by behind it. Beads cover too little to move a median.
const SAME_SCENE: f32 = 1.3;
/// Added to that light, so that near-black does not change by its noise, grey levels.
const LIGHT_BASE: f32 = 4.0;
/// Share by which the light of two frames may differ and still be the same.
const SAME_LIGHT: f32 = 0.02;
/// Samples that tell it.
const LIGHT_SAMPLES: usize = 257;

/// One of the first frames, kept until the picture at rest is known.
#[derive(Clone, Debug)]
pub(super) struct Gathered {
    /// Source time, seconds.
    pub at_secs: f64,
    /// The straightened glass, grey levels.
    pub patch: Array2<f32>,
    /// The glass as it was cut out of the picture.
    pub cutting: Cutting,
    /// Its usual light: see [`light`].
    pub light: f32,
    /// The light of the surround then, which that was taken out by: 1 is the same as at first.
    pub surround_gain: f64,
}

impl Gathered {
    /// How bright the glass came, grey levels.
    fn level(&self) -> f32 {
        self.light * self.surround_gain as f32
    }
}

/// The straightened glasses of these frames, as bright as the middle one of them: an exposure that
/// steps while they are gathered would pass for noise, in which no bead is seen.
pub(super) fn in_one_light(frames: &[Gathered]) -> Vec<Cow<'_, Array2<f32>>> {
    let middle = median(&mut frames.iter().map(Gathered::level).collect::<Vec<_>>());
    let patches = frames.iter().map(|frame| {
        let ratio = middle / frame.level();
        if (ratio - 1.0).abs() < SAME_LIGHT || !ratio.is_finite() {
            Cow::Borrowed(&frame.patch)
        } else {
            Cow::Owned(&frame.patch * ratio)
        }
    });
    patches.collect()
}

/// The first frames, oldest first.
#[derive(Clone, Debug, Default)]
pub(super) struct Gathering {
    frames: Vec<Gathered>,
}

impl Gathering {
    /// Keeps a frame; says whether they are enough now.
    pub fn is_enough_with(&mut self, frame: Gathered) -> bool {
        let first_secs = self.frames.first().map_or(frame.at_secs, |f| f.at_secs);
        let secs = frame.at_secs - first_secs;
        self.frames.push(frame);
        secs >= GATHER_SECS || self.frames.len() >= GATHER_FRAMES
    }

    /// Source time since which frames are kept that show another scene than one of this light does,
    /// seconds; none when they are of one scene.
    pub fn unsettled_since_secs(&self, now: impl FnOnce() -> f32) -> Option<f64> {
        let first = self.frames.first()?;
        let now = now();
        let is_other = |kept: &Gathered| (now / kept.light).max(kept.light / now) > SAME_SCENE;
        self.frames.iter().any(is_other).then_some(first.at_secs)
    }

    /// Forgets them.
    pub fn clear(&mut self) {
        self.frames.clear();
    }

    /// Gives them away, oldest first.
    pub fn take(&mut self) -> Vec<Gathered> {
        std::mem::take(&mut self.frames)
    }
}

/// The usual light of a straightened glass against that of its surround, grey levels: the median of
/// those samples that belong to it (`mask` is over nought). At most some hundreds are looked at.
pub(super) fn light(patch: &Array2<f32>, mask: &[f32], surround_gain: f64) -> f32 {
    let every = patch.len().div_ceil(LIGHT_SAMPLES).max(1);
    let mut some: Vec<f32> = patch
        .iter()
        .zip(mask)
        .filter(|(_, mask)| **mask > 0.0)
        .map(|(level, _)| *level)
        .step_by(every)
        .collect();
    (median(&mut some) + LIGHT_BASE) / (surround_gain as f32).max(0.05)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(at_secs: f64, level: f32) -> Gathered {
        let patch = Array2::from_elem((20, 10), level);
        let light = light(&patch, &[1.0; 200], 1.0);
        Gathered {
            at_secs,
            patch,
            cutting: Cutting::default(),
            light,
            surround_gain: 1.0,
        }
    }

    #[test]
    fn a_step_of_exposure_is_no_noise() {
        let dim = |frame: Gathered| Gathered {
            light: frame.light / 0.7,
            surround_gain: 0.7,
            ..frame
        };
        let frames = [frame(0.0, 160.0), frame(0.1, 160.0), dim(frame(0.2, 112.0))];
        for patch in in_one_light(&frames) {
            assert!((patch[(3, 3)] - 160.0).abs() < 3.0, "{}", patch[(3, 3)]);
        }
    }

    #[test]
    fn somebody_who_goes_by_while_frames_are_gathered_is_noticed() {
        let mut first = Gathering::default();
        assert_eq!(first.unsettled_since_secs(|| 80.0), None);
        assert!(!first.is_enough_with(frame(3.0, 160.0)));
        assert!(!first.is_enough_with(frame(3.1, 158.0)));
        assert_eq!(first.unsettled_since_secs(|| 165.0), None);
        assert_eq!(first.unsettled_since_secs(|| 80.0), Some(3.0));
        assert_eq!(first.unsettled_since_secs(|| 240.0), Some(3.0));
    }

    #[test]
    fn a_bead_and_a_dimmed_lamp_leave_the_scene_the_same() {
        let mut patch = Array2::from_elem((20, 10), 160.0);
        let plain = light(&patch, &[1.0; 200], 1.0);
        for ((row, col), level) in patch.indexed_iter_mut() {
            if (4..10).contains(&row) && (2..8).contains(&col) {
                *level = 10.0;
            }
        }
        assert_eq!(light(&patch, &[1.0; 200], 1.0), plain);
        let dimmed = light(&Array2::from_elem((20, 10), 112.0), &[1.0; 200], 0.7);
        assert!((dimmed / plain - 1.0).abs() < 0.03, "{dimmed} {plain}");
    }

    #[test]
    fn frames_of_seven_tenths_of_a_second_are_enough() {
        let mut first = Gathering::default();
        for n in 0..21 {
            assert!(!first.is_enough_with(frame(f64::from(n) / 30.0, 160.0)));
        }
        assert!(first.is_enough_with(frame(0.71, 160.0)));
        assert_eq!(first.take().len(), 22);
    }
}
