//! The bench of hard cases: what is swept, how it is watched, how it is scored and shown.

pub mod chart;
pub mod h264;
pub mod opencv;
pub mod row;
pub mod run;
pub mod score;
pub mod second;
pub mod sweep;
pub mod table;
pub mod watch;

#[path = "../../../tests/true_outlines/mod.rs"]
pub mod true_outlines;
