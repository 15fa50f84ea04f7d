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

    /// Whether this is the same picture as another to the last grey level, wherever both are there.
    /// Not when there is no such place.
    #[must_use]
    pub fn repeats(&self, other: &Self) -> bool {
        if self.luma.dimensions() != other.luma.dimensions() {
            return false;
        }
        match (&self.extent, &other.extent) {
            (Extent::Whole, Extent::Whole) => self.luma == other.luma,
            (Extent::Boxes(boxes), Extent::Whole) | (Extent::Whole, Extent::Boxes(boxes)) => {
                !boxes.is_empty() && boxes.iter().all(|place| self.is_alike(other, *place))
            }
            (Extent::Boxes(here), Extent::Boxes(there)) => {
                let both = |place: &&PixelBox| there.iter().any(|other| other.holds(**place));
                let mut both = here.iter().filter(both).peekable();
                both.peek().is_some() && both.all(|place| self.is_alike(other, *place))
            }
        }
    }

    /// Whether the two pictures, of one size, are the same in a place.
    fn is_alike(&self, other: &Self, place: PixelBox) -> bool {
        let place = place.within(self.width(), self.height());
        let width = self.width() as usize;
        (place.top as usize..place.bottom as usize).all(|row| {
            let line = row * width + place.left as usize..row * width + place.right as usize;
            match (self.luma.get(line.clone()), other.luma.get(line)) {
                (Some(here), Some(there)) => here == there,
                _ => false,
            }
        })
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_repeats_where_both_are_there() {
        let of = |left, right| PixelBox {
            left,
            top: 1,
            right,
            bottom: 3,
        };
        let boxes = |all: &[PixelBox]| Extent::Boxes(Arc::from(all));
        let frame = |extent, spoilt: Option<(u32, u32)>| {
            let mut luma = GrayImage::from_fn(8, 4, |x, y| image::Luma([(10 * y + x) as u8]));
            if let Some((x, y)) = spoilt {
                luma.put_pixel(x, y, image::Luma([255]));
            }
            Frame::shared(0, 0.0, Arc::new(luma), extent)
        };
        let whole = frame(Extent::Whole, None);
        assert!(whole.repeats(&frame(Extent::Whole, None)));
        assert!(!whole.repeats(&frame(Extent::Whole, Some((7, 0)))));
        let parts = [of(0, 2), of(4, 6)];
        // What lies outside the parts is blank in one of them.
        assert!(whole.repeats(&frame(boxes(&parts), Some((7, 0)))));
        assert!(frame(boxes(&parts), Some((2, 1))).repeats(&whole));
        assert!(!whole.repeats(&frame(boxes(&parts), Some((5, 2)))));
        let other = [of(0, 2)];
        assert!(frame(boxes(&other), Some((5, 2))).repeats(&frame(boxes(&parts), None)));
        assert!(!frame(boxes(&[of(3, 4)]), None).repeats(&frame(boxes(&parts), None)));
        assert!(!frame(boxes(&[]), None).repeats(&whole));
        assert!(!whole.repeats(&Frame::new(0, 0.0, GrayImage::new(8, 5))));
    }
}
