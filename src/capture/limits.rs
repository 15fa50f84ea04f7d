//! How large a picture may be. Every reader asks here before it sets memory aside, so that a file
//! which merely claims to be huge is refused with a sentence and costs nothing.

/// Most pixels in one picture: 64 megapixels, four times what a good telephone takes, and 64 MB of
/// luma; anything larger is a mistake or a trap.
pub const MAX_PIXELS: u64 = 64_000_000;

/// Most pixels along one side: the 16-bit limit of JPEG, beyond which no camera goes.
pub const MAX_SIDE_PX: u32 = 65_535;

/// Checks a declared picture size.
///
/// # Errors
/// Half a sentence that follows the name of the file: what is wrong with the size.
pub fn check_size(width_px: u64, height_px: u64) -> Result<(u32, u32), String> {
    if width_px == 0 || height_px == 0 {
        return Err(format!(
            "declares a picture of {width_px} × {height_px} pixels, which is none at all"
        ));
    }
    let pixels = width_px.checked_mul(height_px);
    match (
        u32::try_from(width_px),
        u32::try_from(height_px),
        pixels.is_some_and(|n| n <= MAX_PIXELS),
    ) {
        (Ok(width), Ok(height), true) if width <= MAX_SIDE_PX && height <= MAX_SIDE_PX => {
            Ok((width, height))
        }
        _ => Err(format!(
            "declares a picture of {width_px} × {height_px} pixels, more than the {} megapixels \
             that are read at most",
            MAX_PIXELS / 1_000_000
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_taken_or_refused_at_the_limits() {
        assert_eq!(check_size(1, 1), Ok((1, 1)));
        assert_eq!(check_size(8000, 8000), Ok((8000, 8000)));
        for (w, h) in [(0, 5), (5, 0), (8000, 8001), (100_000, 1), (u64::MAX, 2)] {
            assert!(check_size(w, h).is_err(), "{w} x {h}");
        }
    }
}
