//! One picture on its way through the instrument: luma, a number and a monotonic stamp. It leaves
//! colour, files and cameras to others.

use std::sync::Arc;

use image::GrayImage;

use super::PixelBox;

/// How much of a picture is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Extent {
    /// All of it.
    Whole,
    /// Only what lies in these boxes; the rest was not decoded and is blank.
    Boxes(Arc<[PixelBox]>),
}

/// A luma picture with the time at which it was taken.
///
/// Cheap to clone: the pixels are shared.
#[derive(Clone, Debug)]
pub struct Frame {
    /// Counts frames of one source from 0. A hole in the numbers means lost frames.
    pub number: u64,
    /// Source time in seconds: monotonic, 0 at the first frame of the source. Never wall time.
    pub at_secs: f64,
    /// Luma, 8 bits a pixel, origin in the upper left corner, y downwards.
    pub luma: Arc<GrayImage>,
    /// How much of it is there.
    pub extent: Extent,
}

impl Frame {
    /// Wraps a luma picture.
    #[must_use]
    pub fn new(number: u64, at_secs: f64, luma: GrayImage) -> Self {
        Self::shared(number, at_secs, Arc::new(luma), Extent::Whole)
    }

    /// Wraps a picture whose memory somebody keeps, too, and of which perhaps only a part is there.
    #[must_use]
    pub fn shared(number: u64, at_secs: f64, luma: Arc<GrayImage>, extent: Extent) -> Self {
        Self {
            number,
            at_secs,
            luma,
            extent,
        }
    }

    /// Whether all of the picture is there.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.extent == Extent::Whole
    }

    /// Width in pixels.
    #[must_use]
    pub fn width(&self) -> u32 {
        self.luma.width()
    }

    /// Height in pixels.
    #[must_use]
    pub fn height(&self) -> u32 {
        self.luma.height()
    }
}
