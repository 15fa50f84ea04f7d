//! How a glass and what stands round it are lit. A lamp or an exposure changes both; oil that fills
//! the glass, or a card behind it, changes only the glass. It knows figures only.

use crate::base::Ring;

use super::Signs;

/// Time over which the light that is usual is learned, seconds: longer than a glass takes to fill.
const LIT_SECS: f64 = 60.0;
/// Ratio up to which the surround is lit as before.
const SAME_LAMP: f32 = 1.15;
/// Share of agreeing texture from which the surround stands where it was.
const STANDS_SHARE: f64 = 0.7;
/// Time between two notes of the light, and for how long they are kept, seconds: a cloud of steam
/// comes and goes in less.
const NOTE_EVERY_SECS: f64 = 0.2;
const NOTES_SECS: f64 = 6.0;
/// Rise and fall, as a ratio, that are more than beads, flicker and noise leave of the mean of a glass.
const WAVERS: f32 = 1.12;

/// How glass and surround are lit: a lamp or an exposure changes both, oil in the glass only one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lit {
    at_secs: f64,
    /// Light of the glass against that of its surround.
    glass: f32,
    /// Light of the surround.
    surround: f32,
}

impl Lit {
    /// Brought up to date by a frame that is trusted.
    pub(super) fn followed(before: Option<Self>, signs: &Signs) -> Self {
        let glass = signs.gain / signs.surround_gain.max(0.05);
        let Some(before) = before else {
            return Self {
                at_secs: signs.at_secs,
                glass,
                surround: signs.surround_gain,
            };
        };
        let step = ((signs.at_secs - before.at_secs) / LIT_SECS).clamp(0.0, 1.0) as f32;
        Self {
            at_secs: signs.at_secs,
            glass: before.glass + step * (glass - before.glass),
            surround: before.surround + step * (signs.surround_gain - before.surround),
        }
    }

    /// Whether the glass alone is lit otherwise than it was: by more than `gain` or its inverse, in a
    /// surround that stands where it was and is lit as it was.
    pub(super) fn is_filled(self, signs: &Signs, gain: f32) -> bool {
        let ratio = |now: f32, before: f32| {
            let ratio = now.max(0.01) / before.max(0.01);
            ratio.max(1.0 / ratio)
        };
        let glass = signs.gain / signs.surround_gain.max(0.05);
        signs.agreeing > STANDS_SHARE
            && ratio(signs.surround_gain, self.surround) < SAME_LAMP
            && ratio(glass, self.glass) > 1.0 / gain
    }
}

/// The light of a glass of late. That of one full of oil has changed once and stands; steam, and
/// somebody in the way, make it rise and fall again.
#[derive(Clone, Debug)]
pub(super) struct Wavering {
    /// Source time, seconds, and mean of the glass for the light of its surround, grey levels.
    notes: Ring<(f64, f32)>,
}

impl Wavering {
    pub(super) fn new() -> Self {
        Self {
            notes: Ring::new((NOTES_SECS / NOTE_EVERY_SECS) as usize),
        }
    }

    pub(super) fn take(&mut self, signs: &Signs) {
        let is_due = |last: &(f64, f32)| signs.at_secs - last.0 >= NOTE_EVERY_SECS;
        if self.notes.newest().is_none_or(is_due) {
            let light = signs.mean.max(1.0) / signs.surround_gain.max(0.05);
            self.notes.push((signs.at_secs, light));
        }
    }

    /// Whether the light both rose and fell.
    pub(super) fn is_there(&self) -> bool {
        let now_secs = self.notes.newest().map_or(0.0, |last| last.0);
        let (mut least, mut most) = (f32::INFINITY, 0.0_f32);
        let (mut rose, mut fell) = (false, false);
        for (at_secs, light) in &self.notes {
            if now_secs - at_secs < NOTES_SECS {
                least = least.min(*light);
                most = most.max(*light);
                rose |= *light > WAVERS * least;
                fell |= WAVERS * *light < most;
            }
        }
        rose && fell
    }
}
