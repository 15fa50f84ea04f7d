//! The glass a path was seen in, and what is known of its beads.

use crate::base::GlassKind;
use crate::bead::known::Known;
use crate::bead::lane::Lane;

/// The glass a path was seen in.
#[derive(Clone, Copy, Debug)]
pub struct Bore {
    /// Rows of the straightened glass.
    pub rows: f32,
    /// Width of the glass, columns.
    pub cols: f32,
    /// Column of its axis.
    pub axis: f32,
    /// Tube or port.
    pub kind: GlassKind,
    /// Number of the first frame that was looked at since the start or the last blind spell.
    pub first_frame: u64,
    /// Frames a second.
    pub frames_per_s: f32,
    /// Whether steam or reflections drift over the glass.
    pub drift: bool,
    /// Where beads have risen.
    pub lane: Lane,
    /// Share of the frames of their way in which they were seen.
    pub cover: f32,
    /// Usual spread of single samples, grey levels.
    pub grain: f32,
    /// What its beads are like, while it gives drops: asked in a restless glass, and of what is clear.
    pub known: Known,
}
