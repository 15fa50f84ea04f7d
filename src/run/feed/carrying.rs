//! A feed whose outline changes while it counts: renamed or retuned by a person, or carried along
//! when the camera moves. Where the glass stands then is found elsewhere.

use super::Feed;
use crate::base::Frame;
use crate::glass::{FeedCalibration, Outline};
use crate::run::event::Event;
use crate::run::place::{Standing, Why};

/// Outlines from before the camera moved that are still known as this feed's: a person who corrects
/// a name meanwhile must not lose the count.
pub(super) const FORMER_OUTLINES: usize = 64;

impl Feed {
    /// Takes another name, band or scale for the same outline; counts go on. The outline may be
    /// one that was carried along since: it stays where the glass is now.
    pub fn retune(&mut self, calibration: FeedCalibration) {
        let grown = self.calibration.outline.width_px / calibration.outline.width_px.max(1e-9);
        let before = self.calibration.px_per_mm;
        self.calibration = FeedCalibration {
            outline: self.calibration.outline,
            px_per_mm: calibration.px_per_mm.map(|scale| scale * grown),
            ..calibration
        };
        if self.calibration.px_per_mm != before {
            self.oil.forget_sizes();
        }
        self.counter.set_scale(self.calibration.px_per_mm);
        self.news = true;
    }

    /// Whether this outline is the feed's own, or was before the camera moved.
    pub fn has_outline(&self, outline: &Outline) -> bool {
        self.calibration.outline == *outline || self.former.iter().any(|o| o == outline)
    }

    /// How the glass stands in the frame last counted in.
    pub fn standing(&self) -> Standing {
        Standing {
            outline: self.calibration.outline,
            shift_px: self.look.pose.shift_px,
            agreeing: self.look.pose.agreeing,
            blind: self.blind(),
        }
    }

    /// The camera moved, and the glass stands at another outline from this frame on. After a knock
    /// the blind spell is over and the picture at rest is learned anew; a drift is only followed.
    pub fn carry(&mut self, outline: Outline, frame: &Frame, why: Why) -> Vec<Event> {
        let grown = outline.width_px / self.calibration.outline.width_px.max(1e-9);
        self.former.push(self.calibration.outline);
        self.calibration.outline = outline;
        self.calibration.px_per_mm = self.calibration.px_per_mm.map(|scale| scale * grown);
        let mut events = Vec::new();
        if why == Why::Knocked {
            let beads = self.counter.interrupted();
            self.take(beads, &mut events);
        }
        self.counter.carry(&outline, &frame.luma);
        self.watch.lit_anew();
        self.counter.set_scale(self.calibration.px_per_mm);
        if why == Why::Knocked {
            self.counter.relearn();
            let over = self.watch.start_over(frame.at_secs);
            self.take_spells(over.into_iter().collect(), &mut events);
            self.news = true;
        }
        events
    }
}
