//! The oil of one feed: the sizes of its newest beads, the volume of a drop, how the size goes over
//! hours, and what must be remembered since the reservoir was filled.

use super::Feed;
use crate::base::Ring;
use crate::bead::Bead;
use crate::health::Trust;
use crate::judge::FeedState;
use crate::rate::Reading;
use crate::rate::oil::{
    Figure, GROWTH_BLOCK_SECS, Growth, OilFlow, VolumeFrom, bead_volume, growth, oil_flow,
};

/// Newest beads whose sizes are kept for the mean volume: as many as a reading rests on.
const KEPT_SIZES: usize = 64;
/// Sizes kept for the growth over hours: a day at two and a half drops a minute.
const KEPT_FOR_GROWTH: usize = 4096;

/// What is known of a feed's oil.
#[derive(Debug)]
pub(super) struct FeedOil {
    diameters_mm: Ring<f64>,
    /// Time and height in the picture, pixels.
    heights: Ring<(f64, f64)>,
    /// The volume of a drop from the nozzle, µL, when that is known.
    pub nozzle_ul: Option<Figure>,
    pub flow: Option<OilFlow>,
    pub growth: Option<Growth>,
    growth_at_secs: f64,
    /// Drops and unseen seconds since the reservoir was filled, when that was told.
    since_filled: Option<(u64, f64)>,
}

impl FeedOil {
    pub fn new() -> Self {
        Self {
            diameters_mm: Ring::new(KEPT_SIZES),
            heights: Ring::new(KEPT_FOR_GROWTH),
            nozzle_ul: None,
            flow: None,
            growth: None,
            growth_at_secs: f64::NEG_INFINITY,
            since_filled: None,
        }
    }

    /// A drop was counted.
    pub fn drop(&mut self, bead: &Bead) {
        if let Some(diameter_mm) = bead.diameter_mm {
            self.diameters_mm.push(diameter_mm);
        }
        self.heights.push((bead.at_secs, bead.height_px));
        if let Some((drops, _)) = &mut self.since_filled {
            *drops += 1;
        }
    }

    /// Time in which the glass could not be judged is over.
    pub fn unseen(&mut self, secs: f64) {
        if let Some((_, unseen_secs)) = &mut self.since_filled {
            *unseen_secs += secs;
        }
    }

    /// The scale or the picture is another: sizes before and after cannot be compared.
    pub fn forget_sizes(&mut self) {
        self.diameters_mm.clear();
        self.heights.clear();
        self.growth = None;
        self.flow = None;
    }

    /// The reservoir was filled now.
    pub fn filled(&mut self) {
        self.since_filled = Some((0, 0.0));
    }

    /// Drops and unseen seconds since then, with the blind spell that is open.
    pub fn since_filled(&self, open_secs: f64) -> Option<(u64, f64)> {
        self.since_filled
            .map(|(drops, unseen_secs)| (drops, unseen_secs + open_secs))
    }

    /// Brings the figures up to date with a reading.
    pub fn read(&mut self, at_secs: f64, reading: Option<&Reading>) {
        let diameters: Vec<f64> = self.diameters_mm.iter().copied().collect();
        let measured = bead_volume(&diameters);
        self.flow = reading.and_then(|reading| match (measured, self.nozzle_ul) {
            (Some(volume), _) => oil_flow(
                reading,
                volume.mean_ul,
                VolumeFrom::Beads,
                Some(volume.beads),
            ),
            (None, Some(drop_ul)) => oil_flow(reading, drop_ul, VolumeFrom::Nozzle, None),
            (None, None) => None,
        });
        if at_secs - self.growth_at_secs >= GROWTH_BLOCK_SECS {
            self.growth_at_secs = at_secs;
            let heights: Vec<(f64, f64)> = self.heights.iter().copied().collect();
            self.growth = growth(&heights);
        }
    }
}

impl Feed {
    /// The oil as it stands; none while the glass cannot be seen or the feed has stopped.
    pub fn oil_now(&self) -> Option<OilFlow> {
        let runs = !matches!(self.state, FeedState::CannotSee | FeedState::Stopped);
        self.oil.flow.filter(|_| runs)
    }

    /// The volume of a drop from the nozzle, µL, when the calibration tells it.
    pub fn set_nozzle(&mut self, nozzle_ul: Option<Figure>) {
        self.oil.nozzle_ul = nozzle_ul;
        self.news = true;
    }

    /// The reservoir was filled now.
    pub fn filled(&mut self) {
        self.oil.filled();
    }

    /// Drops, and seconds that could not be judged, since the reservoir was filled; none when that
    /// was not told.
    pub fn since_filled(&self, now_secs: f64) -> Option<(u64, f64)> {
        let open_secs = match self.watch.trust() {
            Trust::Blind { since_secs, .. } => (now_secs - since_secs).max(0.0),
            Trust::Clear => 0.0,
        };
        self.oil.since_filled(open_secs)
    }

    /// Whether it gives oil that has no figure.
    pub fn is_unknown_flow(&self) -> bool {
        self.oil_now().is_none() && self.state != FeedState::Stopped
    }
}
