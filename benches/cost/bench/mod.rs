//! The parts of the bench of costs.

pub mod beside;
pub mod chart;
pub mod decode;
pub mod growth;
pub mod live;
pub mod machine;
pub mod measure;
pub mod program;
pub mod sheet;
pub mod stopwatch;

#[path = "../../../tests/jpeg_draw/mod.rs"]
pub mod jpeg_draw;
#[path = "../../../tests/logbook_fill/mod.rs"]
pub mod logbook_fill;
#[path = "../../../tests/true_outlines/mod.rs"]
pub mod true_outlines;
