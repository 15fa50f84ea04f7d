//! The bench of hard cases: what is swept, how it is watched, how it is scored.

pub mod h264;
pub mod run;
pub mod score;
pub mod sweep;
pub mod table;
pub mod watch;
