//! What stands in a case's folder: reading `case.toml` and `expected.toml`, and drawing both the
//! frames and what is expected of them with the demo. Counting and comparing are left to
//! `cases.rs`.

#[path = "../../benches/hard_cases/bench/h264.rs"]
#[allow(dead_code, reason = "a part of the bench is enough here")]
mod h264;
#[path = "../true_outlines/mod.rs"]
mod true_outlines;

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use beadtally::base::{BeadKind, GlassKind};
use beadtally::capture::demo::DemoSource;
use beadtally::capture::demo::fault_words::{self, Fault};
use beadtally::capture::demo::faults::Faults;
use beadtally::capture::{Grab, Source};
use beadtally::glass::Calibration;
use beadtally::judge::FeedState;
use image::ImageEncoder;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use serde::{Deserialize, Serialize};

/// What every case must say of where it comes from.
pub const ORIGIN: &str = "invented: drawn by the built-in demo";

/// Seconds: no bead passes earlier, so that the picture at rest can be known before.
const FIRST_BEAD_SECS: f64 = 1.0;
/// From so many drops on there is an interval, and so a reading.
const DROPS_FOR_A_READING: usize = 2;
/// Drops a minute over which a feed is far high: twice the high limit of the usual band.
const FAR_HIGH_PER_MINUTE: f64 = 6.0;

/// `case.toml`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// What it shows, a sentence.
    pub shows: String,
    /// [`ORIGIN`].
    pub origin: String,
    /// The words the demo drew it with.
    pub demo: String,
    /// Length, seconds.
    pub seconds: f64,
    /// Rate factor of the H.264 that the frames were put through before they were kept.
    pub rate_factor: Option<u8>,
    /// Name of the calibration in the case's folder; without it the glasses must be found.
    pub calibration: Option<String>,
    /// Whether it is known not to be counted right yet.
    #[serde(default)]
    pub known_failure: bool,
    /// What goes wrong, when it is known to fail.
    pub why: Option<String>,
}

/// `expected.toml`.
#[derive(Clone, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Expected {
    /// Time that no frame shows; empty when all is seen.
    pub blind: Vec<ExpectedBlind>,
    /// From the left.
    pub glasses: Vec<ExpectedGlass>,
}

/// A stretch of time in which no glass can be seen.
#[derive(Clone, Copy, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct ExpectedBlind {
    /// Start, seconds.
    pub from_s: f64,
    /// End, seconds.
    pub to_s: f64,
    /// Whether it may be told as blind but need not: the glasses can be seen, yet not where they
    /// were.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub may: bool,
}

/// One glass as it truly is.
#[derive(Clone, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct ExpectedGlass {
    /// Its feed, from the left, from 1.
    pub feed: u16,
    /// Tube or port.
    pub kind: GlassKind,
    /// Smallest upright box round the visible glass: left, top, width, height; pixels.
    #[serde(rename = "box")]
    pub upright_box: [f64; 4],
    /// The verdict at the end.
    pub state: FeedState,
    /// What passes mid-glass, oldest first.
    pub beads: Vec<ExpectedBead>,
}

/// One bead as it truly passes.
#[derive(Clone, Copy, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct ExpectedBead {
    /// When its centre passes mid-glass, seconds.
    pub at_s: f64,
    /// Oil or gas.
    pub kind: BeadKind,
}

/// The folder of the fixtures.
pub fn home() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("test-images")
}

/// The folders of the cases, by name.
pub fn folders() -> Vec<PathBuf> {
    let mut folders: Vec<PathBuf> = std::fs::read_dir(home())
        .expect("test-images can be listed")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.join("case.toml").is_file())
        .collect();
    folders.sort();
    folders
}

/// The name of a case.
pub fn name(folder: &Path) -> String {
    folder
        .file_name()
        .expect("a folder has a name")
        .to_string_lossy()
        .into_owned()
}

/// Reads one of the two files of a case.
pub fn read<T: serde::de::DeserializeOwned>(folder: &Path, file: &str) -> T {
    let path = folder.join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    toml::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Milliseconds, and pixels finer than can be seen.
fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// What a case shows, from the demo's own truth. Each picture is handed to `keep` with its number
/// and stamp; nothing that counts beads is asked.
pub fn draw(case: &Case, mut keep: impl FnMut(u64, f64, &image::GrayImage)) -> Expected {
    let mut source = DemoSource::from_words(&case.demo).expect("the words of a demo");
    let glasses = source.glasses();
    loop {
        match source.next().expect("a demo does not fail") {
            Grab::Frame(frame) if frame.at_secs >= case.seconds => break,
            Grab::Frame(frame) => keep(frame.number, frame.at_secs, &frame.luma),
            Grab::Nothing { .. } => {}
            other => panic!("a demo brings frames, not {other:?}"),
        }
    }
    let beads = source.truth().beads;
    let of_feed = |feed| {
        let mut beads: Vec<ExpectedBead> = beads
            .iter()
            .filter(|bead| bead.feed == feed && bead.at_secs < case.seconds)
            .map(|bead| ExpectedBead {
                at_s: thousandths(bead.at_secs),
                kind: bead.kind,
            })
            .collect();
        beads.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        assert!(
            beads.iter().all(|bead| bead.at_s >= FIRST_BEAD_SECS),
            "`{}`: feed {feed} has a bead before {FIRST_BEAD_SECS} s: {beads:?}; choose another \
             seed",
            case.demo
        );
        beads
    };
    let rates = &source.settings().rates_per_minute;
    let blind = blind(case, &source);
    Expected {
        glasses: glasses
            .iter()
            .enumerate()
            .map(|(index, glass)| {
                let beads = of_feed(glass.feed);
                let rate = rates[index % rates.len()];
                ExpectedGlass {
                    feed: glass.feed.0,
                    kind: glass.kind,
                    upright_box: glass.upright_box.map(thousandths),
                    state: state(&beads, &blind, rate, &case.demo),
                    beads,
                }
            })
            .collect(),
        blind,
    }
}

/// The verdict that a feed truly deserves at the end of a few seconds. Such short clips show only
/// two: too few drops for a reading, or far more than the band.
fn state(
    beads: &[ExpectedBead],
    blind: &[ExpectedBlind],
    rate_per_minute: f64,
    words: &str,
) -> FeedState {
    let hidden = |at_s| blind.iter().any(|b| (b.from_s..=b.to_s).contains(&at_s));
    let drops: Vec<f64> = beads
        .iter()
        .filter(|bead| bead.kind == BeadKind::Oil && !hidden(bead.at_s))
        .map(|bead| bead.at_s)
        .collect();
    if drops.len() < DROPS_FOR_A_READING {
        return FeedState::NoReadingYet;
    }
    let whole_interval = drops.windows(2).any(|pair| {
        let between = pair[0]..pair[1];
        !blind.iter().any(|b| between.contains(&b.from_s))
    });
    assert!(
        whole_interval,
        "`{words}`: whether drops parted by blind time give a reading is a matter of judging, not \
         of the demo; choose another seed"
    );
    assert!(
        rate_per_minute > FAR_HIGH_PER_MINUTE,
        "`{words}`: what state {rate_per_minute} a minute deserves after {} drops is a matter \
         of judging, not of the demo; ask for a faster or a slower feed",
        drops.len()
    );
    FeedState::FarHigh
}

/// When the faults of the demo's words leave nothing to be seen, or nothing in its old place.
fn blind(case: &Case, source: &DemoSource) -> Vec<ExpectedBlind> {
    let settings = source.settings();
    settings
        .fault
        .split(';')
        .filter(|request| !request.trim().is_empty())
        .filter_map(|request| {
            fault_words::read(request, settings.feeds, 0.0).expect("the words of a fault")
        })
        .filter_map(|request| {
            let (from_s, to_s) = match request.fault {
                Fault::Dark | Fault::Frozen | Fault::Knock => (request.from_secs, request.to_secs),
                Fault::Stall => {
                    let stall_secs = request.strength.unwrap_or(0.0);
                    (request.from_secs, request.from_secs + stall_secs)
                }
                Fault::Passer => covered(case, source)?,
                _ => return None,
            };
            Some(ExpectedBlind {
                from_s: thousandths(from_s),
                to_s: thousandths(to_s.min(case.seconds)),
                may: request.fault == Fault::Knock,
            })
        })
        .collect()
}

/// When somebody who walks past first and last covers the middle of the only glass.
fn covered(case: &Case, source: &DemoSource) -> Option<(f64, f64)> {
    // Half as wide as the body of a passer, in picture widths.
    const HALF_BODY: f64 = 0.15;
    let settings = source.settings();
    assert_eq!(settings.feeds, 1, "`{}`: one glass, please", case.demo);
    let mut faults = Faults::new(1, settings.seed);
    faults
        .ask(&settings.fault, 0.0)
        .expect("the words of a fault");
    let middle = source.glasses()[0].centre_px.0 / f64::from(settings.width_px);
    let hidden: Vec<f64> = (0..(case.seconds * 1000.0) as u32)
        .map(|ms| f64::from(ms) / 1000.0)
        .filter(|&at_secs| {
            let place = faults.passer_at(Fault::Passer, at_secs);
            place.is_some_and(|place| (place - middle).abs() < HALF_BODY)
        })
        .collect();
    Some((*hidden.first()?, *hidden.last()?))
}

/// Draws a case anew: its frames, what is expected of them, and the calibration if it names one.
pub fn draw_anew(folder: &Path, case: &Case) {
    let frames = folder.join("frames");
    if frames.is_dir() {
        std::fs::remove_dir_all(&frames).expect("the old frames can be removed");
    }
    std::fs::create_dir_all(&frames).expect("a folder for the frames");
    let mut times = csv::Writer::from_path(frames.join("frames.csv")).expect("frames.csv");
    times.write_record(["file", "time_s"]).expect("a heading");
    let mut pictures = Vec::new();
    let expected = draw(case, |number, at_secs, luma| {
        pictures.push((number, at_secs, luma.clone()));
    });
    if let Some(rate_factor) = case.rate_factor {
        let before: Vec<&image::GrayImage> = pictures.iter().map(|(.., luma)| luma).collect();
        let scratch = frames.join("scratch.mp4");
        let back = h264::through(
            &before,
            30.0,
            h264::Coding::RateFactor(rate_factor),
            &scratch,
        )
        .expect("ffmpeg");
        for (picture, luma) in pictures.iter_mut().zip(back) {
            picture.2 = luma;
        }
    }
    for (number, at_secs, luma) in &pictures {
        let name = format!("{number:03}.png");
        let file = BufWriter::new(File::create(frames.join(&name)).expect("a file"));
        PngEncoder::new_with_quality(file, CompressionType::Best, FilterType::Paeth)
            .write_image(
                luma.as_raw(),
                luma.width(),
                luma.height(),
                image::ExtendedColorType::L8,
            )
            .expect("a picture");
        times
            .write_record([name, format!("{at_secs:.6}")])
            .expect("a line");
    }
    times.flush().expect("frames.csv is written");
    let text = toml::to_string(&expected).expect("what is expected, as text");
    std::fs::write(
        folder.join("expected.toml"),
        format!("# {ORIGIN}. The demo's own truth; not to be changed by hand.\n\n{text}"),
    )
    .expect("expected.toml");
    if let Some(calibration) = &case.calibration {
        true_calibration(case)
            .write(&folder.join(calibration))
            .expect("the calibration");
    }
}

/// The outlines and the scale as they truly are.
fn true_calibration(case: &Case) -> Calibration {
    let source = DemoSource::from_words(&case.demo).expect("the words of a demo");
    true_outlines::calibration(&source)
}
