//! Which part of a source's pictures is looked at, so that a source need not decode the rest. It
//! decodes nothing and knows no glasses: boxes of pixels are all it has.

use std::sync::Arc;

use crate::base::PixelBox;

/// What is looked at.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Wanted {
    /// The whole of every picture.
    #[default]
    Everything,
    /// These boxes of every picture, and now and then a whole picture.
    Boxes {
        /// The boxes.
        boxes: Arc<[PixelBox]>,
        /// Longest time between two whole pictures, seconds of source time.
        whole_every_secs: f64,
    },
}
