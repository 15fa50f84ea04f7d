//! beadtally points a camera at the sight glasses of a displacement (hydrostatic) steam-cylinder
//! lubricator, counts the oil beads that rise through each glass, and tells drops a minute per
//! feed with honest limits. The library holds everything but the few lines of `main.rs`; the
//! modules stand in the order in which data flows: frame → strip → bead → reading → verdict →
//! record.
#![forbid(unsafe_code)]

pub mod base;
pub mod capture;
pub mod glass;

pub mod bead;
pub mod health;

pub mod rate;

pub mod judge;

pub mod run;

pub mod cli;
#[cfg(feature = "window")]
pub mod ui;
