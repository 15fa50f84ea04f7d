//! Oil: how much of it a feed gives, from its rate and the volume of its beads; how long the
//! reservoir lasts; whether beads grow. Numbers in, numbers out, with 95 % limits everywhere.
//!
//! - `volume`: the mean volume of a bead from measured diameters;
//! - `drop_weight`: the same from the nozzle and the interfacial tension, when size cannot be seen;
//! - `flow`: millilitres an hour; `reservoir`: the time until it is empty;
//! - `growth`: beads that grow over hours, as a hint.

mod drop_weight;
mod flow;
mod growth;
mod reservoir;
mod volume;

pub use drop_weight::{
    DropWeight, DropWeightError, NozzleAndLiquids, lando_oakley_factor, lee_ravindra_chan_factor,
    nozzle_volume, simple_volume_ul,
};
pub use flow::{OilFlow, VolumeFrom, oil_flow, total_flow};
pub use growth::{GROWTH_BLOCK_SECS, GROWTH_P, GROWTH_SHARE, GROWTH_SPAN_SECS, Growth, growth};
pub use reservoir::{Reservoir, ReservoirLife, UsedBy, reservoir_life};
pub use volume::{BeadVolume, FEWEST_BEADS, SIZE_SHARE, bead_volume, sphere_ul};

/// A figure with its 95 % limits; the unit is said where it is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    /// The middle of what is possible.
    pub middle: f64,
    /// Lower 95 % limit.
    pub low: f64,
    /// Upper 95 % limit.
    pub high: f64,
}

impl Figure {
    /// The same figure in another unit.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self {
            middle: self.middle * factor,
            low: self.low * factor,
            high: self.high * factor,
        }
    }

    /// Whether it is a positive quantity with limits in order.
    #[must_use]
    pub fn is_usable(&self) -> bool {
        self.low > 0.0
            && self.low <= self.middle
            && self.middle <= self.high
            && self.high.is_finite()
    }
}
