//! A `frames.csv` of any bytes in a folder of two pictures: only pictures of this folder come, with
//! times that rise from 0, or a sentence.

use std::sync::{Arc, OnceLock};

use beadtally::base::ManualClock;
use beadtally::capture::{SourceSpec, open};
use image::{GrayImage, ImageFormat, Luma};

use super::{check_sentence, y4m::drain};

pub fn body(bytes: &[u8]) {
    static PICTURE: OnceLock<Vec<u8>> = OnceLock::new();
    let picture = PICTURE.get_or_init(|| {
        let mut png = std::io::Cursor::new(Vec::new());
        GrayImage::from_fn(6, 4, |x, y| Luma([(x * 40 + y) as u8]))
            .write_to(&mut png, ImageFormat::Png)
            .expect("a picture is made");
        png.into_inner()
    });
    let folder = tempfile::tempdir().expect("a temporary folder");
    let put = |name: &str, bytes: &[u8]| {
        std::fs::write(folder.path().join(name), bytes).expect("a temporary file");
    };
    put("1.png", picture);
    put("2.png", picture);
    put("frames.csv", bytes);
    let spec = SourceSpec::Path(folder.path().to_owned());
    match open(&spec, Arc::new(ManualClock::new(0.0))) {
        Ok(mut source) => drain(source.as_mut(), "png"),
        Err(error) => check_sentence(&error.to_string(), "frames.csv"),
    }
}
