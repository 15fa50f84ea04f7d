//! A camera's packed pictures to luma, in memory that is used again: whole, or only what is looked
//! at. When nothing says otherwise, whole.

use std::sync::Arc;

use image::GrayImage;

use crate::base::{Extent, PixelBox};
use crate::capture::Wanted;
use crate::capture::jpeg::Decoder;
use crate::capture::pixel::{self, PixelFormat};
use crate::capture::pool::Pool;

use super::mode::Mode;

/// Unpacks the pictures of one camera.
#[derive(Debug, Default)]
pub struct Unpacker {
    decoder: Decoder,
    pool: Pool,
    wanted: Wanted,
    /// When the last whole picture came, source time, seconds.
    whole_secs: Option<f64>,
}

impl Unpacker {
    /// Which part of the pictures is looked at from now on.
    pub fn want(&mut self, wanted: &Wanted) {
        if self.wanted != *wanted {
            self.wanted = wanted.clone();
            self.whole_secs = None;
        }
    }

    /// Unpacks one picture taken at `at_secs`, source time. `stride` is the number of bytes from one
    /// line to the next; 0 means that lines follow without a gap.
    ///
    /// # Errors
    /// A sentence: the picture is empty, cut, damaged, or of another size than the mode says.
    pub fn unpack(
        &mut self,
        mode: Mode,
        bytes: &[u8],
        stride: u32,
        at_secs: f64,
    ) -> Result<(Arc<GrayImage>, Extent), String> {
        if bytes.is_empty() {
            return Err("the camera sent an empty picture".to_owned());
        }
        let (width, height) = match mode.format {
            PixelFormat::Mjpeg => self
                .decoder
                .read(bytes, Some((mode.width, mode.height)))
                .map_err(|e| e.to_string())?,
            _ => (mode.width, mode.height),
        };
        let boxes = self.boxes_now(at_secs);
        let mut picture = match &boxes {
            Some(boxes) => self.pool.outside_blank(width, height, boxes),
            None => self.pool.whole(width, height),
        };
        // The pool gives out nothing that anybody else holds.
        let Some(into) = Arc::get_mut(&mut picture) else {
            return Err("there is no memory for the picture".to_owned());
        };
        let unpacked = match (mode.format, &boxes) {
            (PixelFormat::Mjpeg, None) => {
                self.decoder.whole(bytes, into).map_err(|e| e.to_string())
            }
            (PixelFormat::Mjpeg, Some(boxes)) => self
                .decoder
                .parts(bytes, boxes, into)
                .map_err(|e| e.to_string()),
            (raw, None) => {
                let all = PixelBox {
                    left: 0,
                    top: 0,
                    right: width,
                    bottom: height,
                };
                pixel::luma_into(raw, bytes, stride, &[all], into)
            }
            (raw, Some(boxes)) => pixel::luma_into(raw, bytes, stride, boxes, into),
        };
        self.pool.keep(&picture, boxes.clone());
        unpacked?;
        let Some(boxes) = boxes else {
            self.whole_secs = Some(at_secs);
            return Ok((picture, Extent::Whole));
        };
        Ok((picture, Extent::Boxes(boxes)))
    }

    /// The boxes that are enough for a picture of this time; none when it must be whole.
    fn boxes_now(&self, at_secs: f64) -> Option<Arc<[PixelBox]>> {
        let Wanted::Boxes {
            boxes,
            whole_every_secs,
        } = &self.wanted
        else {
            return None;
        };
        let since_secs = at_secs - self.whole_secs?;
        (since_secs >= 0.0 && since_secs < *whole_every_secs).then(|| Arc::clone(boxes))
    }
}
