//! A calibration file of any text: taken or refused with a sentence; what is taken makes sense, and
//! comes back from its own file as it was.

use beadtally::glass::Calibration;

use super::check_sentence;

pub fn body(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let calibration = match Calibration::parse(&text, "bench.toml") {
        Ok(calibration) => calibration,
        Err(error) => return check_sentence(&error.to_string(), "bench.toml"),
    };
    assert_eq!(calibration.check(), Ok(()));
    let written = calibration.to_toml();
    match Calibration::parse(&written, "bench.toml") {
        Ok(again) => assert_eq!(again, calibration, "{written}"),
        Err(error) => panic!("its own file is refused: {error}\n{written}"),
    }
    for (width, height) in [(1, 1), (640, 480), (1920, 1080), (u32::MAX, 1)] {
        match calibration.scaled_to(width, height) {
            Ok(scaled) => assert_eq!(scaled.feeds.len(), calibration.feeds.len()),
            Err(error) => assert!(error.to_string().contains("another shape")),
        }
    }
}
