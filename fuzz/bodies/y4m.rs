//! A .y4m clip of any bytes: frames of the size it told, in order and with rising times, then its
//! end or one sentence.

use std::sync::Arc;

use beadtally::base::ManualClock;
use beadtally::capture::{Grab, Source, SourceSpec, open};

use super::check_sentence;

/// Most frames that are read: enough for every state a reader can be in.
const MOST_FRAMES: u64 = 2000;

pub fn body(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("clip.y4m");
    std::fs::write(&path, bytes).expect("a temporary file");
    match open(&SourceSpec::Path(path), Arc::new(ManualClock::new(0.0))) {
        Ok(mut source) => drain(source.as_mut(), "clip.y4m"),
        Err(error) => check_sentence(&error.to_string(), "clip.y4m"),
    }
}

/// Reads a clip to its end and checks each frame.
pub fn drain(source: &mut dyn Source, file: &str) {
    let about = source.about().clone();
    assert!(about.width > 0 && about.height > 0);
    if let Some(rate) = about.frames_per_second {
        assert!(rate.is_finite() && rate > 0.0, "{rate} frames a second");
    }
    let mut before_secs = f64::NEG_INFINITY;
    for number in 0..MOST_FRAMES {
        match source.next() {
            Ok(Grab::Frame(frame)) => {
                assert_eq!(frame.number, number);
                assert!(frame.at_secs.is_finite() && frame.at_secs > before_secs);
                assert!(number > 0 || frame.at_secs == 0.0);
                assert_eq!((frame.width(), frame.height()), (about.width, about.height));
                before_secs = frame.at_secs;
            }
            Ok(Grab::End) => return,
            Ok(other) => panic!("a clip told {other:?}"),
            Err(error) => {
                check_sentence(&error.to_string(), file);
                assert!(matches!(source.next(), Ok(Grab::End)), "no end follows");
                return;
            }
        }
    }
}
