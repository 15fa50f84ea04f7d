//! Where across the glass beads rise, and in which share of the pictures they are seen there: learned
//! from beads that were beyond doubt.

use crate::bead::explain::Explained;

/// Spread of the places across at which beads rise, as a share of the glass, before any was seen:
/// they leave a nozzle on the axis and keep off the wall.
const LANE_UNSEEN: f32 = 0.15;
/// Least spread once some were seen.
const LANE_LEAST: f32 = 0.05;
/// Beads after which their own lane is believed.
const LANE_BEADS: f32 = 4.0;
/// Most evidence that a place off the lane takes away, natural logarithm.
const MOST_OFF_LANE: f32 = 40.0;
/// Surplus of evidence from which a bead shows where the lane is.
const SHOWS_LANE: f32 = 30.0;
/// Share of older beads kept in the lane with each new one: the last twenty count.
const LANE_KEEP: f32 = 0.95;

/// Where across the glass beads have risen: a nozzle sends them all the same way.
#[derive(Clone, Copy, Debug, Default)]
pub struct Lane {
    weight: f32,
    sum: f32,
    squares: f32,
    covers: f32,
    covers_weight: f32,
}

impl Lane {
    /// Learns from a bead that was beyond doubt; `col` in columns, of so many.
    pub fn learn(&mut self, bead: &Explained) {
        self.covers_weight = LANE_KEEP * self.covers_weight + 1.0;
        self.covers = LANE_KEEP * self.covers + bead.cover;
        if bead.surplus < SHOWS_LANE {
            return;
        }
        self.weight = LANE_KEEP * self.weight + 1.0;
        self.sum = LANE_KEEP * self.sum + bead.col;
        self.squares = LANE_KEEP * self.squares + bead.col * bead.col;
    }

    /// Share of the frames of their way in which beads are seen here: coded pictures leave some out.
    #[must_use]
    pub fn cover(&self) -> f32 {
        (self.covers + LANE_BEADS) / (self.covers_weight + LANE_BEADS)
    }

    /// Evidence that a place across takes away, natural logarithm; on the lane it adds some.
    pub(super) fn off(&self, col: f32, (cols, axis): (f32, f32)) -> f32 {
        let (mean, spread) = if self.weight < LANE_BEADS {
            (axis, LANE_UNSEEN * cols)
        } else {
            let mean = self.sum / self.weight;
            let spread = (self.squares / self.weight - mean * mean).max(0.0).sqrt();
            (mean, 1.5 * spread.max(LANE_LEAST * cols))
        };
        // Chance finds lie anywhere across.
        let anywhere = (cols / (spread * std::f32::consts::TAU.sqrt())).ln();
        (0.5 * ((col - mean) / spread).powi(2)).min(MOST_OFF_LANE) - anywhere
    }
}
