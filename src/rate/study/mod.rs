//! What readings, silences and changes are worth, found by simulation: feeds of known rate and
//! scatter, watched with missed beads and blind spells, every chance from a given seed. It measures
//! the code that runs in the instrument; it changes nothing in it.

mod coverage;
mod feed;
mod silence;
mod step;

pub use coverage::{CoverageCell, CoverageRow, DROPS, Wanted, coverage_row, coverage_table};
pub use feed::{Faults, ScatterOf, SimulatedFeed, Until, first_drops};
pub use silence::{SilenceRow, SilenceSetting, SilenceTable, silence_table};
pub use step::{StepCase, StepRow, Teller, step_row, step_table};
