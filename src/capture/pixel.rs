//! Raw pictures as cameras pack them, to luma: YUYV, NV12 and GREY with lines of any stride. What
//! is compressed goes to `jpeg`.

use image::GrayImage;
use serde::Serialize;

use crate::base::PixelBox;

use super::limits::check_size;

/// How a camera packs its pictures; only those which can be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "UPPERCASE")]
pub enum PixelFormat {
    /// Two pixels in four bytes: luma, blue, luma, red.
    Yuyv,
    /// A plane of luma, then half-size colour.
    Nv12,
    /// Luma alone.
    Grey,
    /// Each picture a JPEG file.
    Mjpeg,
}

impl PixelFormat {
    /// From the four-character code of video4linux; none when it cannot be read.
    #[must_use]
    pub fn from_fourcc(code: [u8; 4]) -> Option<Self> {
        match &code {
            b"YUYV" => Some(Self::Yuyv),
            b"NV12" => Some(Self::Nv12),
            b"GREY" => Some(Self::Grey),
            b"MJPG" | b"JPEG" => Some(Self::Mjpeg),
            _ => None,
        }
    }

    /// The usual name.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Yuyv => "YUYV",
            Self::Nv12 => "NV12",
            Self::Grey => "GREY",
            Self::Mjpeg => "MJPEG",
        }
    }

    /// Whether each picture is squeezed, which costs time and leaves marks.
    #[must_use]
    pub fn is_compressed(self) -> bool {
        self == Self::Mjpeg
    }
}

/// Luma of an uncompressed picture.
///
/// `stride` is the number of bytes from one line to the next; 0 means that lines follow without a
/// gap.
///
/// # Errors
/// A sentence, when the size is out of bounds, the bytes are too few, or the format is compressed.
///
/// ```
/// use beadtally::capture::pixel::{PixelFormat, luma};
/// // One line of two pixels, luma 10 and 20.
/// let picture = luma(PixelFormat::Yuyv, &[10, 128, 20, 128], 2, 1, 0).unwrap();
/// assert_eq!(picture.as_raw(), &[10, 20]);
/// ```
pub fn luma(
    format: PixelFormat,
    bytes: &[u8],
    width: u32,
    height: u32,
    stride: u32,
) -> Result<GrayImage, String> {
    check_size(u64::from(width), u64::from(height)).map_err(|e| format!("the camera {e}"))?;
    let mut picture = GrayImage::new(width, height);
    let everything = PixelBox {
        left: 0,
        top: 0,
        right: width,
        bottom: height,
    };
    luma_into(format, bytes, stride, &[everything], &mut picture)?;
    Ok(picture)
}

/// Luma of what lies in some boxes of an uncompressed picture, into its place in `into`, which has
/// the picture's size; the rest of `into` stays as it is. Read in place: only those bytes of the
/// camera's own memory are touched.
///
/// # Errors
/// As [`luma`]; `into` is then as it was.
pub fn luma_into(
    format: PixelFormat,
    bytes: &[u8],
    stride: u32,
    boxes: &[PixelBox],
    into: &mut GrayImage,
) -> Result<(), String> {
    let (w, h) = (into.width() as usize, into.height() as usize);
    if w == 0 || h == 0 {
        return Err("the camera declares a picture of no pixels".to_owned());
    }
    let step = match format {
        PixelFormat::Yuyv => 2,
        PixelFormat::Nv12 | PixelFormat::Grey => 1,
        PixelFormat::Mjpeg => return Err("a JPEG picture is not a raw one".to_owned()),
    };
    let line = w * step;
    let stride = match stride as usize {
        0 => line,
        s if s < line => {
            return Err(format!(
                "the camera announces lines of {s} bytes, too short for {w} pixels"
            ));
        }
        s => s,
    };
    let needed = (h - 1) * stride + line;
    if bytes.len() < needed {
        return Err(format!(
            "the picture is cut: {} of {needed} bytes came",
            bytes.len()
        ));
    }
    for wanted in boxes {
        let wanted = wanted.within(into.width(), into.height());
        let (left, right) = (wanted.left as usize, wanted.right as usize);
        for y in wanted.top as usize..wanted.bottom as usize {
            let (Some(from), Some(to)) = (
                bytes.get(y * stride + left * step..y * stride + right * step),
                into.get_mut(y * w + left..y * w + right),
            ) else {
                return Err("the picture is cut".to_owned());
            };
            if step == 1 {
                to.copy_from_slice(from);
            } else {
                for (to, pair) in to.iter_mut().zip(from.chunks_exact(2)) {
                    *to = pair[0];
                }
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn yuyv_takes_every_second_byte_and_skips_the_end_of_each_line() {
        let bytes = [
            1, 99, 2, 99, 0xEE, 0xEE, // 2 pixels, then 2 bytes of padding
            3, 99, 4, 99, 0xEE, 0xEE,
        ];
        let picture = luma(PixelFormat::Yuyv, &bytes, 2, 2, 6).unwrap();
        assert_eq!(picture.as_raw(), &[1, 2, 3, 4]);
        // The last line may come without its padding.
        let picture = luma(PixelFormat::Yuyv, &bytes[..10], 2, 2, 6).unwrap();
        assert_eq!(picture.as_raw(), &[1, 2, 3, 4]);
    }

    #[test]
    fn nv12_takes_the_first_plane_only() {
        let bytes = [1, 2, 3, 4, 128, 128];
        let picture = luma(PixelFormat::Nv12, &bytes, 2, 2, 0).unwrap();
        assert_eq!(picture.as_raw(), &[1, 2, 3, 4]);
    }

    #[test]
    fn grey_with_a_stride() {
        let bytes = [1, 2, 3, 0xEE, 4, 5, 6, 0xEE];
        let picture = luma(PixelFormat::Grey, &bytes, 3, 2, 4).unwrap();
        assert_eq!(picture.as_raw(), &[1, 2, 3, 4, 5, 6]);
    }

    #[test]
    fn odd_widths_are_read_whole() {
        let bytes = [7, 0, 8, 0, 9, 0];
        let picture = luma(PixelFormat::Yuyv, &bytes, 3, 1, 0).unwrap();
        assert_eq!(picture.as_raw(), &[7, 8, 9]);
    }

    #[test]
    fn cut_and_impossible_pictures_are_refused() {
        assert!(luma(PixelFormat::Grey, &[0; 5], 3, 2, 0).is_err());
        assert!(luma(PixelFormat::Grey, &[], 3, 2, 0).is_err());
        assert!(luma(PixelFormat::Grey, &[0; 6], 0, 2, 0).is_err());
        assert!(luma(PixelFormat::Yuyv, &[0; 60], 3, 2, 5).is_err());
        assert!(luma(PixelFormat::Mjpeg, &[0; 60], 3, 2, 0).is_err());
        assert!(luma(PixelFormat::Grey, &[0; 6], u32::MAX, u32::MAX, u32::MAX).is_err());
    }
}
