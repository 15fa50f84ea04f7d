//! Decodes JPEG pictures to luma one after the other, with memory that it keeps: whole, or only
//! what is looked at. What is looked at comes out bit for bit as in the whole picture.

use image::GrayImage;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use crate::base::PixelBox;
use crate::capture::limits::{MAX_SIDE_PX, check_size};

use super::JpegError;
use super::header::{self, Header};
use super::splice::{Laid, Splicer};

/// A decoder for the pictures of one camera.
#[derive(Clone, Debug, Default)]
pub struct Decoder {
    splicer: Splicer,
    /// What was decoded last, when it was not decoded into its place.
    pixels: Vec<u8>,
    /// What was read last: its header and where it ends.
    read: Option<(Header, usize)>,
    /// Size of the picture read last.
    size: (usize, usize),
    decoded: usize,
}

impl Decoder {
    /// Reads the header of a picture and gives the size it is to have (width, height). Decode the
    /// same bytes next.
    ///
    /// When `announced` gives the size (width, height) the camera promised, a picture of other width
    /// or fewer rows is refused, and rows beyond (cameras round up to whole blocks) are cut off.
    ///
    /// # Errors
    /// [`JpegError`]; never a panic, whatever the bytes.
    pub fn read(
        &mut self,
        bytes: &[u8],
        announced: Option<(u32, u32)>,
    ) -> Result<(u32, u32), JpegError> {
        self.read = None;
        let header = header::walk(bytes).ok_or(JpegError::NotJpeg)?;
        let end = header::find_end(bytes, header.scan_at).ok_or(JpegError::Cut)?;
        let (w, h) = if let Some(grid) = header.grid {
            (grid.width, grid.height)
        } else {
            self.splicer.whole(bytes, &header, end);
            let mut decoder = decoder(&self.splicer.bytes);
            decoder.decode_headers().map_err(|e| damaged(&e))?;
            decoder.dimensions().ok_or(JpegError::NotJpeg)?
        };
        let (width, height) = check_size(w as u64, h as u64).map_err(JpegError::Size)?;
        let (wanted_width, wanted_height) = announced.unwrap_or((width, height));
        if width != wanted_width || height < wanted_height {
            return Err(JpegError::OtherSize {
                width,
                height,
                wanted_width,
                wanted_height,
            });
        }
        self.read = Some((header, end));
        self.size = (w, h);
        Ok((width, wanted_height))
    }

    /// Decodes the picture read last into `into`, which has the size that reading gave.
    ///
    /// # Errors
    /// [`JpegError`]; `into` then holds no picture.
    pub fn whole(&mut self, bytes: &[u8], into: &mut GrayImage) -> Result<(), JpegError> {
        let (header, end) = self.read.ok_or(JpegError::NotJpeg)?;
        self.splicer.whole(bytes, &header, end);
        let (width, height) = self.size;
        let same = (into.width() as usize, into.height() as usize) == (width, height);
        self.decoded = width * height;
        if same {
            return decode(&self.splicer.bytes, (width, height), into);
        }
        self.decode_aside((width, height))?;
        let rows = self.pixels.chunks_exact(width.max(1));
        for (row, from) in into.chunks_exact_mut(width.max(1)).zip(rows) {
            row.copy_from_slice(from);
        }
        Ok(())
    }

    /// Decodes of the picture read last what lies in these boxes, into its place in `into`, which
    /// has the size that reading gave; the rest of `into` stays as it is.
    ///
    /// # Errors
    /// [`JpegError`]; the boxes in `into` then hold no picture. Damage outside of what is decoded
    /// is not noticed.
    pub fn parts(
        &mut self,
        bytes: &[u8],
        boxes: &[PixelBox],
        into: &mut GrayImage,
    ) -> Result<(), JpegError> {
        let (header, end) = self.read.ok_or(JpegError::NotJpeg)?;
        let laid = self
            .splicer
            .parts(bytes, &header, end, boxes)
            .unwrap_or_else(|| {
                self.splicer.whole(bytes, &header, end);
                Laid::whole(self.size)
            });
        self.decode_aside((laid.width, laid.height))?;
        for wanted in boxes {
            self.lay(&laid, *wanted, into);
        }
        Ok(())
    }

    /// How many pixels were decoded for the picture decoded last.
    #[must_use]
    pub fn decoded_pixels(&self) -> usize {
        self.decoded
    }

    fn decode_aside(&mut self, (width, height): (usize, usize)) -> Result<(), JpegError> {
        self.decoded = width * height;
        self.pixels.resize(width * height, 0);
        decode(&self.splicer.bytes, (width, height), &mut self.pixels)
    }

    /// Copies one box to its place.
    fn lay(&self, laid: &Laid, wanted: PixelBox, into: &mut GrayImage) {
        let wanted = wanted.within(into.width(), into.height());
        let width = into.width() as usize;
        let (top, bottom) = (wanted.top as usize, wanted.bottom as usize);
        let (mut left, right) = (wanted.left as usize, wanted.right as usize);
        while left < right {
            let Some((from, together)) = self.splicer.column(laid, left) else {
                return;
            };
            let count = together.min(right - left);
            for y in top.max(laid.top)..bottom.min(laid.top + laid.height) {
                let source = (y - laid.top) * laid.width + from;
                let target = y * width + left;
                if let (Some(source), Some(target)) = (
                    self.pixels.get(source..source + count),
                    into.get_mut(target..target + count),
                ) {
                    target.copy_from_slice(source);
                }
            }
            left += count;
        }
    }
}

/// Strict, because the lenient decoder takes a picture with missing rows silently.
fn decoder(bytes: &[u8]) -> JpegDecoder<ZCursor<&[u8]>> {
    let options = DecoderOptions::default()
        .jpeg_set_out_colorspace(ColorSpace::Luma)
        .set_strict_mode(true)
        .set_max_width(MAX_SIDE_PX as usize)
        .set_max_height(MAX_SIDE_PX as usize);
    JpegDecoder::new_with_options(ZCursor::new(bytes), options)
}

fn decode(bytes: &[u8], size: (usize, usize), into: &mut [u8]) -> Result<(), JpegError> {
    let mut decoder = decoder(bytes);
    decoder.decode_headers().map_err(|e| damaged(&e))?;
    let (width, height) = decoder.dimensions().ok_or(JpegError::NotJpeg)?;
    if (width, height) != size || decoder.output_buffer_size() != Some(into.len()) {
        return Err(JpegError::Damaged(format!(
            "its headers disagree about its size: {width} × {height} and {} × {}",
            size.0, size.1
        )));
    }
    decoder.decode_into(into).map_err(|e| damaged(&e))
}

fn damaged(error: &impl ToString) -> JpegError {
    JpegError::Damaged(error.to_string())
}
