//! The clip that the camera shows: drawn once outside the machine, as JPEG pictures one after the
//! other in a file, with the truth and a calibration beside it. It knows nothing of faults.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use beadtally::base::GlassKind;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{Grab, Source};
use beadtally::glass::{Calibration, FeedCalibration, Outline};
use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;
use serde::{Deserialize, Serialize};

use super::true_outlines::without_scale;

/// A quick feed, small and slow enough for a machine in software.
const DEMO: &str = "feeds=1,rates=17,scatter=0.2,gas=0,size=240x180,fps=15,seed=41";
/// Columns and rows.
pub const SIZE_PX: (u32, u32) = (240, 180);
/// Frames a second of the clip.
pub const FPS: f64 = 15.0;
/// Length, seconds: longer than any session.
pub const SECS: f64 = 560.0;
/// Quality of the JPEG pictures: as a camera has it.
const QUALITY: u8 = 88;

/// A true bead.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct TrueBead {
    pub feed: String,
    /// Clip time at mid-glass, seconds.
    pub at_secs: f64,
    /// Half the time that its way through the glass takes, seconds.
    pub half_passage_secs: f64,
}

/// Draws it unless it is there.
pub fn draw(folder: &Path) {
    let done = folder.join("truth.json");
    if done.exists() {
        return;
    }
    let mut source = DemoSource::from_words(DEMO).expect("the words of a demo");
    let file = std::fs::File::create(folder.join("clip.bin")).expect("a file for the clip");
    let mut file = std::io::BufWriter::new(file);
    let mut truth = Vec::new();
    while source.now_secs() < SECS {
        let Grab::Frame(frame) = source.next().expect("a demo does not fail") else {
            // Without faults it always has a picture.
            continue;
        };
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
            .encode(
                frame.luma.as_raw(),
                frame.luma.width(),
                frame.luma.height(),
                ExtendedColorType::L8,
            )
            .expect("a JPEG picture");
        let length = u32::try_from(jpeg.len()).expect("a small picture");
        file.write_all(&length.to_le_bytes()).expect("room");
        file.write_all(&jpeg).expect("room");
        let glasses = source.glasses();
        truth.extend(source.take_beads().iter().map(|bead| {
            let glass = &glasses[bead.feed.index()];
            let height_mm = glass.size_px.1 / glass.px_per_mm;
            TrueBead {
                feed: bead.feed.to_string(),
                at_secs: bead.at_secs,
                half_passage_secs: 0.5 * height_mm / bead.rise_mm_per_s,
            }
        }));
    }
    file.flush().expect("room");
    without_scale(&source)
        .write(&folder.join("glasses.toml"))
        .expect("a calibration");
    let text = serde_json::to_string(&truth).expect("plain numbers");
    std::fs::write(done, text).expect("room");
}

/// The pictures of a drawn clip.
pub fn read(file: &Path) -> Vec<Vec<u8>> {
    let bytes = std::fs::read(file).expect("the clip");
    let mut rest = &bytes[..];
    let mut pictures = Vec::new();
    while let Some((head, tail)) = rest.split_first_chunk::<4>() {
        let (picture, after) = tail.split_at(u32::from_le_bytes(*head) as usize);
        pictures.push(picture.to_vec());
        rest = after;
    }
    pictures
}

/// A calibration with one glass in a picture of 640 × 480, which is what is taken of the kernel's own
/// test camera, laid over the counters that it writes; its path.
pub fn write_glass_of_bars() -> PathBuf {
    let outline = Outline::upright(GlassKind::Tube, 120.0, 120.0, 60.0, 200.0);
    let calibration = Calibration {
        picture_width_px: 640,
        picture_height_px: 480,
        camera_identity: None,
        oil: beadtally::glass::OilData::default(),
        feeds: vec![FeedCalibration::new(outline)],
    };
    let path = PathBuf::from("/run/glasses.toml");
    calibration.write(&path).expect("a calibration");
    path
}
