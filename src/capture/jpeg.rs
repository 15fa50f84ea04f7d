//! JPEG pictures from cameras, to luma. Cameras cut pictures short, pad them, and leave out the
//! Huffman tables; a cut picture must be told from a whole one, because a decoder fills what is
//! missing with grey and a bead seen in that grey would be an invention.
//!
//! Below: `header` walks the segments, `tables` puts in what cameras leave out, `splice` makes a
//! small picture of the parts that are looked at, `decoder` decodes with memory that it keeps.

use std::borrow::Cow;

use image::GrayImage;

mod decoder;
mod header;
mod splice;
mod tables;

pub use decoder::Decoder;

/// Why a JPEG picture cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum JpegError {
    /// It does not begin as a JPEG does, or ends before its pixels begin.
    #[error("what came is not a JPEG picture")]
    NotJpeg,
    /// It stops before its end marker.
    #[error("the JPEG picture is cut: its end marker is missing")]
    Cut,
    /// Fewer rows, or other columns, than the camera announced.
    #[error(
        "the JPEG picture has {width} × {height} pixels instead of {wanted_width} × {wanted_height}"
    )]
    OtherSize {
        /// Columns it has.
        width: u32,
        /// Rows it has.
        height: u32,
        /// Columns announced.
        wanted_width: u32,
        /// Rows announced.
        wanted_height: u32,
    },
    /// Its size is out of bounds.
    #[error("the JPEG picture {0}")]
    Size(String),
    /// The decoder refuses it.
    #[error("the JPEG picture is damaged: {0}")]
    Damaged(String),
}

/// Luma of a JPEG picture that is whole.
///
/// When `announced` gives the size (width, height) the camera promised, a picture of other width or
/// fewer rows is refused, and rows beyond (cameras round up to whole blocks) are cut off.
///
/// # Errors
/// [`JpegError`]; never a panic, whatever the bytes.
pub fn luma(bytes: &[u8], announced: Option<(u32, u32)>) -> Result<GrayImage, JpegError> {
    let mut decoder = Decoder::default();
    let (width, height) = decoder.read(bytes, announced)?;
    let mut picture = GrayImage::new(width, height);
    decoder.whole(bytes, &mut picture)?;
    Ok(picture)
}

/// Puts in the standard Huffman tables when a picture has none (cameras leave them out to save
/// room, and decoders then refuse). Anything that is not such a picture comes back as it was.
///
/// The tables are those of ITU-T T.81, Annex K.3.
#[must_use]
pub fn insert_standard_tables(bytes: &[u8]) -> Cow<'_, [u8]> {
    match header::walk(bytes) {
        Some(header) if !header.has_tables => {
            let (before, after) = bytes.split_at(header.scan_at.min(bytes.len()));
            let mut out = Vec::with_capacity(bytes.len() + tables::SEGMENT_BYTES);
            out.extend_from_slice(before);
            tables::append(&mut out);
            out.extend_from_slice(after);
            Cow::Owned(out)
        }
        _ => Cow::Borrowed(bytes),
    }
}

#[cfg(test)]
mod tests {
    use super::header::walk;
    use super::*;
    use image::codecs::jpeg::JpegEncoder;
    use image::{ExtendedColorType, ImageEncoder};
    use rand::{RngExt, SeedableRng};
    use zune_core::bytestream::ZCursor;
    use zune_jpeg::JpegDecoder;

    /// A smooth picture with a dark disc, as grey levels.
    fn picture(width: u32, height: u32) -> Vec<u8> {
        let (cx, cy, r) = (width as f64 / 3.0, height as f64 / 2.0, height as f64 / 5.0);
        (0..height)
            .flat_map(|y| (0..width).map(move |x| (x, y)))
            .map(|(x, y)| {
                let inside = (x as f64 - cx).hypot(y as f64 - cy) < r;
                if inside {
                    40
                } else {
                    100 + (x * 100 / width) as u8 + (y % 16) as u8
                }
            })
            .collect()
    }

    fn encode_grey(width: u32, height: u32, quality: u8) -> (Vec<u8>, Vec<u8>) {
        let pixels = picture(width, height);
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, quality)
            .write_image(&pixels, width, height, ExtendedColorType::L8)
            .unwrap();
        (pixels, bytes)
    }

    fn encode_colour(width: u32, height: u32) -> (Vec<u8>, Vec<u8>) {
        let pixels = picture(width, height);
        let rgb: Vec<u8> = pixels.iter().flat_map(|p| [*p, *p, *p]).collect();
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 90)
            .write_image(&rgb, width, height, ExtendedColorType::Rgb8)
            .unwrap();
        (pixels, bytes)
    }

    fn mean_error(a: &[u8], b: &[u8]) -> f64 {
        assert_eq!(a.len(), b.len());
        let sum: u64 = a
            .iter()
            .zip(b)
            .map(|(x, y)| u64::from(x.abs_diff(*y)))
            .sum();
        sum as f64 / a.len() as f64
    }

    /// Takes the table segments out, as many cameras do.
    fn without_tables(bytes: &[u8]) -> Vec<u8> {
        let mut out = bytes[..2].to_vec();
        let mut at = 2;
        loop {
            let marker = bytes[at + 1];
            if marker == 0xDA {
                out.extend_from_slice(&bytes[at..]);
                return out;
            }
            let length = usize::from(u16::from_be_bytes([bytes[at + 2], bytes[at + 3]]));
            if marker != 0xC4 {
                out.extend_from_slice(&bytes[at..at + 2 + length]);
            }
            at += 2 + length;
        }
    }

    #[test]
    fn whole_pictures_of_many_sizes_pass_the_strict_decoder() {
        for width in [8, 9, 15, 16, 17, 31, 64, 100] {
            for height in [8, 15, 16, 33, 48] {
                for (quality, error) in [(20, 30.0), (75, 10.0), (95, 3.0)] {
                    let (pixels, bytes) = encode_grey(width, height, quality);
                    let read = luma(&bytes, Some((width, height))).unwrap();
                    let off = mean_error(read.as_raw(), &pixels);
                    assert!(off < error, "{width} × {height} at {quality}: {off}");
                }
                let (pixels, bytes) = encode_colour(width, height);
                let read = luma(&bytes, Some((width, height))).unwrap();
                let off = mean_error(read.as_raw(), &pixels);
                assert!(off < 5.0, "{width} × {height}: {off}");
            }
        }
    }

    #[test]
    fn missing_tables_are_put_in() {
        // The encoder of the `image` crate writes the tables of Annex K.3, a copy of its own.
        let (_, bytes) = encode_colour(48, 40);
        let bare = without_tables(&bytes);
        assert!(bare.len() < bytes.len());
        assert!(
            JpegDecoder::new(ZCursor::new(bare.as_slice()))
                .decode()
                .is_err()
        );
        let (a, b) = (luma(&bare, None).unwrap(), luma(&bytes, None).unwrap());
        assert_eq!(a.as_raw(), b.as_raw());
        // With tables it stays as it is; garbage too.
        assert!(matches!(insert_standard_tables(&bytes), Cow::Borrowed(_)));
        assert!(matches!(
            insert_standard_tables(b"not a picture"),
            Cow::Borrowed(_)
        ));
        assert!(matches!(insert_standard_tables(&[]), Cow::Borrowed(_)));
        assert!(matches!(insert_standard_tables(&bare), Cow::Owned(_)));
    }

    #[test]
    fn cut_pictures_are_refused_wherever_they_are_cut() {
        let (_, bytes) = encode_colour(64, 48);
        for end in (0..bytes.len() - 1).step_by(17) {
            assert!(luma(&bytes[..end], Some((64, 48))).is_err(), "cut at {end}");
        }
        // Cut, and padded with zeros as some drivers do.
        let mut padded = bytes[..bytes.len() * 9 / 10].to_vec();
        padded.resize(bytes.len() + 500, 0);
        assert_eq!(luma(&padded, Some((64, 48))), Err(JpegError::Cut));
    }

    #[test]
    fn padding_behind_the_end_is_no_fault() {
        let (_, mut bytes) = encode_colour(64, 48);
        let plain = luma(&bytes, None).unwrap();
        bytes.extend_from_slice(&[0; 100]);
        assert_eq!(luma(&bytes, None).unwrap().as_raw(), plain.as_raw());
    }

    #[test]
    fn rows_that_are_missing_inside_are_noticed_although_the_end_is_there() {
        for (_, bytes) in [encode_colour(64, 96), encode_grey(64, 96, 80)] {
            let scan_at = walk(&bytes).unwrap().scan_at;
            // Down to the last sixteen bytes of pixels.
            for end in (scan_at + 20..bytes.len() - 18).step_by(7) {
                let mut holed = bytes[..end].to_vec();
                if holed.last() == Some(&0xFF) {
                    holed.pop();
                }
                holed.extend_from_slice(&[0xFF, 0xD9]);
                let read = luma(&holed, Some((64, 96)));
                assert!(
                    matches!(read, Err(JpegError::Damaged(_))),
                    "{end} of {}",
                    bytes.len()
                );
            }
        }
    }

    #[test]
    fn another_size_than_announced_is_refused_but_rounded_up_rows_are_cut_off() {
        let (_, bytes) = encode_grey(64, 48, 90);
        assert!(matches!(
            luma(&bytes, Some((64, 56))),
            Err(JpegError::OtherSize { .. })
        ));
        assert!(matches!(
            luma(&bytes, Some((72, 48))),
            Err(JpegError::OtherSize { .. })
        ));
        let read = luma(&bytes, Some((64, 41))).unwrap();
        assert_eq!(read.dimensions(), (64, 41));
    }

    #[test]
    fn a_huge_size_is_refused_before_memory_is_set_aside() {
        let (_, mut bytes) = encode_grey(64, 48, 90);
        let sof = bytes.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
        bytes[sof + 5..sof + 9].copy_from_slice(&[0xFF, 0xFF, 0xFF, 0xFF]);
        assert!(matches!(
            luma(&bytes, None),
            Err(JpegError::Size(_) | JpegError::Damaged(_))
        ));
    }

    #[test]
    fn garbage_never_panics() {
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7);
        let (_, colour) = encode_colour(64, 48);
        let (_, grey) = encode_grey(40, 24, 60);
        let bare = without_tables(&colour);
        let mut taken = 0;
        for round in 0..6000 {
            let mut bytes = [&colour, &grey, &bare][round % 3].clone();
            for _ in 0..rng.random_range(1..=6) {
                let at = rng.random_range(0..bytes.len());
                bytes[at] ^= 1 << rng.random_range(0..8);
            }
            if rng.random_range(0..4) == 0 {
                bytes.truncate(rng.random_range(0..bytes.len()));
                bytes.extend_from_slice(&[0xFF, 0xD9]);
            }
            taken += u32::from(luma(&bytes, None).is_ok());
        }
        for length in 0..400 {
            let noise: Vec<u8> = (0..length).map(|_| rng.random()).collect();
            assert!(luma(&noise, None).is_err());
        }
        // Flips in the pixels cannot all be noticed; flips in the headers must be.
        assert!(taken < 5000, "{taken} of 6000 damaged pictures were taken");
    }
}
