//! Modes of a camera (packing, size, rate) and which one suits the counting of beads best.

use std::cmp::Reverse;

use serde::Serialize;

use crate::capture::pixel::PixelFormat;

/// One way in which a camera can deliver pictures.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Mode {
    /// How pixels are packed.
    pub format: PixelFormat,
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Frames a second, when the camera tells.
    #[serde(rename = "fps")]
    pub frames_per_second: Option<f64>,
}

/// Wanted frames a second (29.97 counts): a bead crosses a glass in about a second, and thirty
/// pictures of it give its path, its speed and its size.
const WANTED_PER_SECOND: f64 = 29.5;

/// Fewest frames a second at which a fast bead is still seen several times.
const FEWEST_PER_SECOND: f64 = 14.5;

/// Wanted size, pixels: below it a bead is only a few pixels high.
const WANTED_SIZE_PX: (u32, u32) = (640, 480);

/// Size beyond which more pixels cost more time than they bring: 1280 × 720.
const ENOUGH_PIXELS: u64 = 1280 * 720;

/// The mode that suits best; none when there are none.
///
/// First those that reach thirty frames a second at 640 × 480 or more, uncompressed before
/// compressed; among them the largest up to 1280 × 720, then the rate nearest above thirty. When
/// no mode reaches that: rate before size as far as fifteen frames a second, then size. An unknown
/// rate is taken for a good one, because drivers that do not tell mostly deliver thirty.
pub(super) fn best(modes: &[Mode]) -> Option<Mode> {
    modes.iter().copied().max_by_key(rank)
}

/// How well a mode suits; larger is better.
fn rank(mode: &Mode) -> impl Ord + use<> {
    let rate = mode.frames_per_second.unwrap_or(30.0);
    let large = mode.width >= WANTED_SIZE_PX.0 && mode.height >= WANTED_SIZE_PX.1;
    let fits = rate >= WANTED_PER_SECOND && large;
    let pixels = u64::from(mode.width) * u64::from(mode.height);
    // In thousandths, so that rates compare as whole numbers.
    let missing = ((WANTED_PER_SECOND - rate).max(0.0) * 1000.0) as u64;
    let beyond = ((rate - WANTED_PER_SECOND).max(0.0) * 1000.0) as u64;
    (
        fits,
        fits && !mode.format.is_compressed(),
        rate >= FEWEST_PER_SECOND,
        large,
        // Up to enough, more pixels are better; …
        if fits {
            pixels.min(ENOUGH_PIXELS)
        } else {
            u64::MAX - missing
        },
        // … beyond, fewer.
        Reverse(if fits {
            pixels.max(ENOUGH_PIXELS)
        } else {
            pixels.abs_diff(ENOUGH_PIXELS)
        }),
        Reverse(beyond),
        Reverse(mode.format as u8),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mode(format: PixelFormat, width: u32, height: u32, rate: f64) -> Mode {
        Mode {
            format,
            width,
            height,
            frames_per_second: Some(rate),
        }
    }

    #[test]
    fn the_mode_that_suits_best() {
        use PixelFormat::{Grey, Mjpeg, Nv12, Yuyv};
        // What a usual USB camera offers: uncompressed only when small or slow.
        let usual = [
            mode(Mjpeg, 1920, 1080, 30.0),
            mode(Mjpeg, 1280, 720, 30.0),
            mode(Yuyv, 1920, 1080, 5.0),
            mode(Yuyv, 1280, 720, 10.0),
            mode(Yuyv, 640, 480, 30.0),
            mode(Yuyv, 320, 240, 30.0),
        ];
        assert_eq!(best(&usual), Some(usual[4]));
        // Without that one, compressed at 720 rows.
        let slow = [usual[0], usual[1], usual[2], usual[3], usual[5]];
        assert_eq!(best(&slow), Some(usual[1]));
        // Uncompressed and large: as large as is worth while, at thirty rather than sixty.
        let fast = [
            mode(Yuyv, 3840, 2160, 30.0),
            mode(Yuyv, 1920, 1080, 30.0),
            mode(Yuyv, 1280, 720, 60.0),
            mode(Yuyv, 1280, 720, 29.97),
            mode(Yuyv, 640, 480, 60.0),
        ];
        assert_eq!(best(&fast), Some(fast[3]));
        // Only too large: the smallest of them.
        assert_eq!(best(&fast[..2]), Some(fast[1]));
        // Nothing fits: fifteen frames a second at a good size before thirty at a small one, but
        // not five.
        let weak = [
            mode(Yuyv, 640, 480, 15.0),
            mode(Yuyv, 320, 240, 30.0),
            mode(Yuyv, 1280, 720, 5.0),
        ];
        assert_eq!(best(&weak), Some(weak[0]));
        assert_eq!(best(&weak[1..]), Some(weak[1]));
        // The order of packings, and rates that are not told.
        let packings = [
            mode(Grey, 640, 480, 30.0),
            mode(Nv12, 640, 480, 30.0),
            mode(Yuyv, 640, 480, 30.0),
        ];
        assert_eq!(best(&packings), Some(packings[2]));
        let untold = Mode {
            frames_per_second: None,
            ..packings[0]
        };
        assert_eq!(best(&[mode(Grey, 640, 480, 10.0), untold]), Some(untold));
        assert_eq!(best(&[]), None);
    }
}
