//! A JPEG picture of any bytes, as a camera may send it: whole luma of the announced size, or a
//! reason. Putting in the tables changes nothing twice and loses no byte.

use beadtally::capture::jpeg::{insert_standard_tables, luma};
use beadtally::capture::limits::MAX_PIXELS;

pub fn body(bytes: &[u8]) {
    let inserted = insert_standard_tables(bytes);
    assert!(inserted.len() >= bytes.len());
    assert_eq!(insert_standard_tables(&inserted), inserted, "twice is once");
    match luma(bytes, None) {
        Ok(picture) => {
            let (width, height) = picture.dimensions();
            assert!(width > 0 && height > 0);
            assert!(u64::from(width) * u64::from(height) <= MAX_PIXELS);
            assert_eq!(luma(bytes, Some((width, height))), Ok(picture.clone()));
            assert_eq!(luma(&inserted, None), Ok(picture.clone()));
            assert!(luma(bytes, Some((width + 1, height))).is_err());
            assert!(luma(bytes, Some((width, height + 1))).is_err());
            // Rows beyond those announced are cut off, and no other row changes.
            let fewer = luma(bytes, Some((width, height.div_ceil(2))));
            let kept = fewer.expect("fewer rows are there").into_raw();
            assert_eq!(kept, picture.as_raw()[..kept.len()]);
        }
        Err(error) => {
            let words = error.to_string();
            assert!((10..1000).contains(&words.chars().count()), "{words}");
        }
    }
}
