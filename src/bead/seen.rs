//! What a look at a glass tells those who decide about trust, and what they tell back. How it is found
//! out is left to `counter`.

use crate::bead::steady::Pose;

/// What one look at a glass tells about the picture itself.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Look {
    /// Where the glass stands and how the surround is lit.
    pub pose: Pose,
    /// Mean luma of the glass, grey levels.
    pub mean: f32,
    /// Light of the glass against rest.
    pub gain: f32,
    /// Share of the glass that is far from rest.
    pub changed: f32,
    /// Not a single sample differs from the frame before.
    pub identical: bool,
    /// Something moved in it at the last look.
    pub stirs: bool,
    /// The picture at rest is not known yet.
    pub gathering: bool,
    /// Source time since which that picture cannot be told, because the scene changed meanwhile,
    /// seconds.
    pub unsettled_since_secs: Option<f64>,
}

/// Where a bead that is still on its way is now, picture pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnItsWay {
    /// Picture x.
    pub x_px: f64,
    /// Picture y.
    pub y_px: f64,
    /// Half its height.
    pub radius_px: f64,
}

/// Whether the frame last looked at may be counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sight {
    /// It may.
    Clear,
    /// It is the frame before once more: it tells nothing.
    Repeated,
    /// It cannot be trusted.
    Blind,
}
