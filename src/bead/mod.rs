//! Seeing beads: the strip of a glass, the difference from the picture at rest, the joint
//! explanation of rising streaks, size and kind. One bead, one count; it knows nothing of rates.

pub mod album;
pub mod bore;
pub mod candidate;
pub mod clutter;
pub mod counter;
mod crossing;
pub mod ellipse;
pub mod explain;
#[cfg(test)]
mod explain_tests;
mod faint;
mod field;
mod gather;
mod glance;
mod glean;
pub mod kind;
pub mod known;
pub mod lane;
mod lanes;
pub mod light;
mod likeness;
mod look;
mod moment;
mod pages;
mod path;
mod piece;
pub mod portrait;
pub mod rest;
mod rise;
mod same;
pub mod sample;
mod seen;
pub mod size;
mod smooth;
pub mod steady;
pub mod strip;
mod tilt;
pub mod track;
mod way;

pub use counter::Counter;
pub use kind::KindWhy;
pub use seen::{Look, OnItsWay, Sight};
pub use size::{Size, SizeDoubt};

use std::sync::Arc;

use image::GrayImage;

use crate::base::BeadKind;

/// One bead that rose through a glass. Settled: it never changes afterwards.
#[derive(Clone, Debug)]
pub struct Bead {
    /// Source time at which its centre passed mid-height of the visible glass, seconds.
    pub at_secs: f64,
    /// Oil or gas.
    pub kind: BeadKind,
    /// How that was decided.
    pub why: KindWhy,
    /// Rise speed in the picture, pixels a second.
    pub rise_px_per_s: f64,
    /// Rise speed, mm/s, when the scale is known.
    pub rise_mm_per_s: Option<f64>,
    /// Height of the bead in the picture, pixels.
    pub height_px: f64,
    /// Diameter (of the sphere with its volume), mm, when the scale is known.
    pub diameter_mm: Option<f64>,
    /// How large it is, and how sure that is.
    pub size: Size,
    /// How sure it is that this is one bead, 0 to 1.
    pub confidence: f64,
    /// How much more spoke for it than was needed, natural logarithm, beside what likeness to others of
    /// its feed gave: some 100 in a calm glass; below 0 for what was only told because of those.
    pub surplus: f64,
    /// Source time at which the count was settled, seconds.
    pub settled_at_secs: f64,
    /// A small luma picture of it near mid-glass.
    pub picture: Option<Arc<GrayImage>>,
}
