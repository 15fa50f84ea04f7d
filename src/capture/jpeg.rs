//! JPEG pictures from cameras, to luma. Cameras cut pictures short, pad them, and leave out the
//! Huffman tables; a cut picture must be told from a whole one, because a decoder fills what is
//! missing with grey and a bead seen in that grey would be an invention.

use std::borrow::Cow;

use image::GrayImage;
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::limits::{MAX_SIDE_PX, check_size};

/// How far the decoder reads ahead, bytes: its bit buffer.
const READ_AHEAD_BYTES: usize = 8;

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
    let header = walk(bytes).ok_or(JpegError::NotJpeg)?;
    let end = find_end(bytes, header.scan_at).ok_or(JpegError::Cut)?;
    let mut whole = insert_at_scan(&bytes[..end], &header);
    if header.is_one_scan {
        // The decoder makes up what is missing before an end marker, but refuses rows that lie
        // behind the end of the bytes. So it gets room for its reading ahead instead of the marker.
        let whole = whole.to_mut();
        whole.truncate(whole.len() - 2);
        whole.extend_from_slice(&[0; READ_AHEAD_BYTES]);
    }
    // Strict, because the lenient decoder takes a picture with missing rows silently.
    let options = DecoderOptions::default()
        .jpeg_set_out_colorspace(ColorSpace::Luma)
        .set_strict_mode(true)
        .set_max_width(MAX_SIDE_PX as usize)
        .set_max_height(MAX_SIDE_PX as usize);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(whole.as_ref()), options);
    decoder
        .decode_headers()
        .map_err(|e| JpegError::Damaged(e.to_string()))?;
    let (w, h) = decoder.dimensions().ok_or(JpegError::NotJpeg)?;
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
    let mut pixels = decoder
        .decode()
        .map_err(|e| JpegError::Damaged(e.to_string()))?;
    let wanted = width as usize * wanted_height as usize;
    if pixels.len() != width as usize * height as usize {
        return Err(JpegError::Damaged(format!(
            "{} pixels came out of {width} × {height}",
            pixels.len()
        )));
    }
    pixels.truncate(wanted);
    GrayImage::from_raw(width, wanted_height, pixels).ok_or(JpegError::Cut)
}

/// Puts in the standard Huffman tables when a picture has none (cameras leave them out to save
/// room, and decoders then refuse). Anything that is not such a picture comes back as it was.
///
/// The tables are those of ITU-T T.81, Annex K.3.
#[must_use]
pub fn insert_standard_tables(bytes: &[u8]) -> Cow<'_, [u8]> {
    match walk(bytes) {
        Some(header) => insert_at_scan(bytes, &header),
        None => Cow::Borrowed(bytes),
    }
}

/// What the segments before the pixels say.
struct Header {
    /// Where the marker of the first scan begins.
    scan_at: usize,
    /// Whether a Huffman table came before it.
    has_tables: bool,
    /// Whether that scan holds the whole picture (sequential, all its components) in one of the
    /// usual samplings.
    is_one_scan: bool,
}

/// Walks the segments up to the first scan; none when there is no scan to be reached.
fn walk(bytes: &[u8]) -> Option<Header> {
    if bytes.get(..2) != Some(&[0xFF, 0xD8]) {
        return None;
    }
    let mut at = 2;
    let mut has_tables = false;
    let mut sequential_components = None;
    loop {
        // Stray bytes between segments are passed over, as decoders do.
        while *bytes.get(at)? != 0xFF {
            at += 1;
        }
        let marker = *bytes.get(at + 1)?;
        match marker {
            // A fill byte, or an escaped one outside of a scan.
            0xFF => at += 1,
            0x00 | 0x01 | 0xD0..=0xD8 => at += 2,
            0xD9 => return None,
            0xDA => {
                let in_scan = *bytes.get(at + 4)?;
                return Some(Header {
                    scan_at: at,
                    has_tables,
                    is_one_scan: sequential_components == Some(in_scan),
                });
            }
            _ => {
                has_tables |= marker == 0xC4;
                if matches!(marker, 0xC0 | 0xC1) {
                    // Upright chroma (1 × 2) makes the decoder read past the end of whole
                    // pictures; no camera is known to send it.
                    let is_usual = matches!(bytes.get(at + 11), Some(0x11 | 0x21 | 0x22));
                    sequential_components = bytes.get(at + 9).copied().filter(|_| is_usual);
                }
                let length = u16::from_be_bytes([*bytes.get(at + 2)?, *bytes.get(at + 3)?]);
                at += 2 + usize::from(length.max(2));
            }
        }
    }
}

/// Where the picture ends (behind its end marker); none when it does not. Within a scan 0xFF is
/// always followed by 0, so the marker cannot be mistaken.
fn find_end(bytes: &[u8], scan_at: usize) -> Option<usize> {
    let mut at = scan_at + 2;
    while let Some(found) = bytes.get(at..)?.iter().position(|b| *b == 0xFF) {
        at += found;
        if bytes.get(at + 1) == Some(&0xD9) {
            return Some(at + 2);
        }
        at += 1;
    }
    None
}

fn insert_at_scan<'a>(bytes: &'a [u8], header: &Header) -> Cow<'a, [u8]> {
    if header.has_tables {
        return Cow::Borrowed(bytes);
    }
    let (before, after) = bytes.split_at(header.scan_at.min(bytes.len()));
    let mut out = Vec::with_capacity(bytes.len() + SEGMENT_BYTES);
    out.extend_from_slice(before);
    out.extend_from_slice(&[0xFF, 0xC4]);
    // The length counts itself but not the marker.
    let length = u16::try_from(SEGMENT_BYTES - 2).unwrap_or(u16::MAX);
    out.extend_from_slice(&length.to_be_bytes());
    for (class_and_place, counts, values) in [
        (0x00, &DC_LUMA_COUNTS, DC_VALUES.as_slice()),
        (0x10, &AC_LUMA_COUNTS, AC_LUMA_VALUES.as_slice()),
        (0x01, &DC_CHROMA_COUNTS, DC_VALUES.as_slice()),
        (0x11, &AC_CHROMA_COUNTS, AC_CHROMA_VALUES.as_slice()),
    ] {
        out.push(class_and_place);
        out.extend_from_slice(counts);
        out.extend_from_slice(values);
    }
    out.extend_from_slice(after);
    Cow::Owned(out)
}

/// Marker, length, and four tables, each with a class byte and sixteen counts.
const SEGMENT_BYTES: usize = 2 + 2 + 4 * 17 + 2 * DC_VALUES.len() + 2 * AC_LUMA_VALUES.len();

// ITU-T T.81, Annex K.3.3.1, Tables K.3 and K.4: how many codes of 1 to 16 bits, and the values.
const DC_LUMA_COUNTS: [u8; 16] = [0, 1, 5, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0];
const DC_CHROMA_COUNTS: [u8; 16] = [0, 3, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0];
const DC_VALUES: [u8; 12] = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11];

// ITU-T T.81, Annex K.3.3.2, Table K.5.
const AC_LUMA_COUNTS: [u8; 16] = [0, 2, 1, 3, 3, 2, 4, 3, 5, 5, 4, 4, 0, 0, 1, 0x7D];
#[rustfmt::skip]
const AC_LUMA_VALUES: [u8; 162] = [
    0x01, 0x02, 0x03, 0x00, 0x04, 0x11, 0x05, 0x12, 0x21, 0x31, 0x41, 0x06, 0x13, 0x51, 0x61, 0x07,
    0x22, 0x71, 0x14, 0x32, 0x81, 0x91, 0xA1, 0x08, 0x23, 0x42, 0xB1, 0xC1, 0x15, 0x52, 0xD1, 0xF0,
    0x24, 0x33, 0x62, 0x72, 0x82, 0x09, 0x0A, 0x16, 0x17, 0x18, 0x19, 0x1A, 0x25, 0x26, 0x27, 0x28,
    0x29, 0x2A, 0x34, 0x35, 0x36, 0x37, 0x38, 0x39, 0x3A, 0x43, 0x44, 0x45, 0x46, 0x47, 0x48, 0x49,
    0x4A, 0x53, 0x54, 0x55, 0x56, 0x57, 0x58, 0x59, 0x5A, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68, 0x69,
    0x6A, 0x73, 0x74, 0x75, 0x76, 0x77, 0x78, 0x79, 0x7A, 0x83, 0x84, 0x85, 0x86, 0x87, 0x88, 0x89,
    0x8A, 0x92, 0x93, 0x94, 0x95, 0x96, 0x97, 0x98, 0x99, 0x9A, 0xA2, 0xA3, 0xA4, 0xA5, 0xA6, 0xA7,
    0xA8, 0xA9, 0xAA, 0xB2, 0xB3, 0xB4, 0xB5, 0xB6, 0xB7, 0xB8, 0xB9, 0xBA, 0xC2, 0xC3, 0xC4, 0xC5,
    0xC6, 0xC7, 0xC8, 0xC9, 0xCA, 0xD2, 0xD3, 0xD4, 0xD5, 0xD6, 0xD7, 0xD8, 0xD9, 0xDA, 0xE1, 0xE2,
    0xE3, 0xE4, 0xE5, 0xE6, 0xE7, 0xE8, 0xE9, 0xEA, 0xF1, 0xF2, 0xF3, 0xF4, 0xF5, 0xF6, 0xF7, 0xF8,
    0xF9, 0xFA,
];

// ITU-T T.81, Annex K.3.3.2, Table K.6.
const AC_CHROMA_COUNTS: [u8; 16] = [0, 2, 1, 2, 4, 4, 3, 4, 7, 5, 4, 4, 0, 1, 2, 0x77];
#[rustfmt::skip]
const AC_CHROMA_VALUES: [u8; 162] = [
    0x00, 0x01, 0x02, 0x03, 0x11, 0x04, 0x05, 0x21, 0x31, 0x06, 0x12, 0x41, 0x51, 0x07, 0x61, 0x71,
    0x13, 0x22, 0x32, 0x81, 0x08, 0x14, 0x42, 0x91, 0xA1, 0xB1, 0xC1, 0x09, 0x23, 0x33, 0x52, 0xF0,
    0x15, 0x62, 0x72, 0xD1, 0x0A, 0x16, 0x24, 0x34, 0xE1, 0x25, 0xF1, 0x17, 0x18, 0x19, 0x1A, 0x26,
    0x27, 0x28, 0x29, 0x2A, 0x35, 0x36, 0x37, 0x38, 0x39, 0x3A, 0x43, 0x44, 0x45, 0x46, 0x47, 0x48,
    0x49, 0x4A, 0x53, 0x54, 0x55, 0x56, 0x57, 0x58, 0x59, 0x5A, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68,
    0x69, 0x6A, 0x73, 0x74, 0x75, 0x76, 0x77, 0x78, 0x79, 0x7A, 0x82, 0x83, 0x84, 0x85, 0x86, 0x87,
    0x88, 0x89, 0x8A, 0x92, 0x93, 0x94, 0x95, 0x96, 0x97, 0x98, 0x99, 0x9A, 0xA2, 0xA3, 0xA4, 0xA5,
    0xA6, 0xA7, 0xA8, 0xA9, 0xAA, 0xB2, 0xB3, 0xB4, 0xB5, 0xB6, 0xB7, 0xB8, 0xB9, 0xBA, 0xC2, 0xC3,
    0xC4, 0xC5, 0xC6, 0xC7, 0xC8, 0xC9, 0xCA, 0xD2, 0xD3, 0xD4, 0xD5, 0xD6, 0xD7, 0xD8, 0xD9, 0xDA,
    0xE2, 0xE3, 0xE4, 0xE5, 0xE6, 0xE7, 0xE8, 0xE9, 0xEA, 0xF2, 0xF3, 0xF4, 0xF5, 0xF6, 0xF7, 0xF8,
    0xF9, 0xFA,
];

#[cfg(test)]
mod tests {
    use super::*;
    use image::codecs::jpeg::JpegEncoder;
    use image::{ExtendedColorType, ImageEncoder};
    use rand::{RngExt, SeedableRng};

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
