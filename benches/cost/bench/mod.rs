//! The parts of the bench of costs.

pub mod machine;
pub mod measure;
pub mod sheet;
pub mod stopwatch;
