//! Pictures and clips that claim what cannot be, and odd names in a folder: each is refused with a
//! sentence, costs no memory to speak of, or is simply read. `BEADTALLY_NAMES=1000000` for a folder
//! of as many names as one likes.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![expect(clippy::print_stdout, reason = "what it took is told")]

use std::path::Path;
use std::sync::Arc;

use beadtally::base::{Clock, Frame, GlassKind, ManualClock, SystemClock};
use beadtally::capture::{Grab, SourceSpec, open};
use beadtally::glass::{Calibration, FeedCalibration, Outline};
use beadtally::run::{Event, Instrument};
use image::{GrayImage, Luma};

fn read(path: &Path) -> (Vec<Frame>, Option<String>) {
    let clock = Arc::new(ManualClock::new(0.0));
    let mut source = match open(&SourceSpec::Path(path.to_owned()), clock) {
        Ok(source) => source,
        Err(error) => return (Vec::new(), Some(error.to_string())),
    };
    let mut frames = Vec::new();
    loop {
        match source.next() {
            Ok(Grab::Frame(frame)) => frames.push(frame),
            Ok(Grab::End) => return (frames, None),
            Ok(_) => {}
            Err(error) => return (frames, Some(error.to_string())),
        }
    }
}

fn picture(width: u32, height: u32) -> GrayImage {
    GrayImage::from_fn(width, height, |x, y| Luma([(x * 7 + y * 5) as u8]))
}

/// A whole picture of 24 × 16 that claims another size.
fn claiming(ending: &str, width: u32, height: u32) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(format!("a.{ending}"));
    picture(24, 16).save(&path).unwrap();
    let mut bytes = std::fs::read(&path).unwrap();
    if ending == "png" {
        bytes[16..20].copy_from_slice(&width.to_be_bytes());
        bytes[20..24].copy_from_slice(&height.to_be_bytes());
        // The check sum of PNG, second edition, Annex D, over name and content of the chunk.
        let sum = !bytes[12..29].iter().fold(u32::MAX, |sum, byte| {
            (0..8).fold(sum ^ u32::from(*byte), |s, _| {
                if s & 1 == 1 {
                    0xEDB8_8320 ^ (s >> 1)
                } else {
                    s >> 1
                }
            })
        });
        bytes[29..33].copy_from_slice(&sum.to_be_bytes());
    } else {
        let at = bytes.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap() + 5;
        bytes[at..at + 2].copy_from_slice(&(height as u16).to_be_bytes());
        bytes[at + 2..at + 4].copy_from_slice(&(width as u16).to_be_bytes());
    }
    bytes
}

#[test]
fn a_size_that_is_a_trap_is_refused_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let clock = SystemClock::new();
    for ending in ["png", "jpg"] {
        for (width, height) in [
            (65_535, 65_535),
            (0, 0),
            (0, 16),
            (24, 0),
            (65_535, 977),
            (1, 65_535),
            (24, 17),
            (25, 16),
        ] {
            let path = folder.path().join(format!("trap.{ending}"));
            std::fs::write(&path, claiming(ending, width, height)).unwrap();
            let before_secs = clock.monotonic_secs();
            let (frames, error) = read(&path);
            let words = error.unwrap_or_else(|| panic!("{ending} {width} × {height} was taken"));
            assert!(frames.is_empty());
            assert!(
                words.contains("trap") && words.contains("Copy the picture again"),
                "{words}"
            );
            let secs = clock.monotonic_secs() - before_secs;
            assert!(secs < 10.0, "{ending} {width} × {height} took {secs} s");
        }
    }
    // PNG and .y4m know larger numbers than JPEG.
    for (width, height) in [
        (1, 100_000),
        (100_000, 1),
        (u32::MAX, u32::MAX),
        (1 << 31, 1),
    ] {
        let path = folder.path().join("trap.png");
        std::fs::write(&path, claiming("png", width, height)).unwrap();
        let (frames, error) = read(&path);
        assert!(frames.is_empty() && error.is_some(), "{width} × {height}");
        let path = folder.path().join("trap.y4m");
        std::fs::write(
            &path,
            format!("YUV4MPEG2 W{width} H{height} F25:1 Cmono\nFRAME\nab"),
        )
        .unwrap();
        let (frames, error) = read(&path);
        assert!(frames.is_empty());
        assert!(error.unwrap().contains("megapixels"));
    }
}

#[test]
fn a_picture_one_pixel_wide_is_a_picture_and_shows_no_glass() {
    let folder = tempfile::tempdir().unwrap();
    for (width, height) in [(1, 1), (1, 65_535), (65_535, 1)] {
        let path = folder.path().join("thin.png");
        picture(width, height).save(&path).unwrap();
        let (frames, error) = read(&path);
        assert_eq!((frames.len(), error), (1, None), "{width} × {height}");
        let output = std::process::Command::new(assert_cmd::cargo::cargo_bin!("beadtally"))
            .arg("find")
            .arg(&path)
            .output()
            .unwrap();
        let stderr = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(
            output.status.code().is_some_and(|code| code <= 1),
            "{stderr}"
        );
        assert!(!stderr.contains("panicked"), "{stderr}");
    }
}

/// An instrument with one glass that frames of another size, too, are given to.
fn instrument() -> Instrument {
    let outline = Outline::upright(GlassKind::Tube, 6.0, 8.0, 20.0, 74.0);
    Instrument::new(Calibration {
        picture_width_px: 32,
        picture_height_px: 96,
        camera_identity: None,
        oil: beadtally::glass::OilData::default(),
        feeds: vec![FeedCalibration::new(outline)],
    })
}

#[test]
fn stamps_that_are_none_or_run_backwards_are_told_and_count_nothing() {
    let mut instrument = instrument();
    let give = |instrument: &mut Instrument, number: u64, at_secs: f64| {
        instrument.step(&Frame::new(number, at_secs, picture(32, 96)))
    };
    give(&mut instrument, 0, 1.0);
    give(&mut instrument, 1, 1.04);
    for (number, at_secs) in [
        (2, 1.04),
        (3, 1.0),
        (4, -7.0),
        (5, f64::NAN),
        (6, f64::INFINITY),
        (7, f64::NEG_INFINITY),
    ] {
        let told = give(&mut instrument, number, at_secs);
        let [
            Event::Gap {
                from_secs,
                to_secs,
                why,
            },
        ] = &told[..]
        else {
            panic!("{at_secs}: {told:?}");
        };
        assert!(from_secs == to_secs && why.contains("left out"), "{why}");
        assert_eq!(instrument.now_secs(), 1.04);
    }
    // A moment without a frame may be told from after a frame that is still on its way.
    instrument.no_frame(2.0, beadtally::base::BlindWhy::NoFrames);
    give(&mut instrument, 8, 1.9);
    assert_eq!(instrument.now_secs(), 2.0);
    give(&mut instrument, 9, 2.1);
    assert_eq!(instrument.now_secs(), 2.1);
}

#[test]
fn one_and_a_thousand_frames_a_second_give_frames_at_their_times() {
    let folder = tempfile::tempdir().unwrap();
    for (rate, frames) in [(1, 20), (1000, 600)] {
        let path = folder.path().join("rate.y4m");
        let mut bytes = format!("YUV4MPEG2 W32 H96 F{rate}:1 Cmono\n").into_bytes();
        for n in 0..frames {
            bytes.extend_from_slice(b"FRAME\n");
            bytes.extend(
                picture(32, 96)
                    .into_raw()
                    .iter()
                    .map(|p| p / 2 + 60 + n as u8 % 3),
            );
        }
        std::fs::write(&path, bytes).unwrap();
        let (read, error) = read(&path);
        assert_eq!((read.len(), error), (frames, None));
        let mut instrument = instrument();
        let mut beads = 0;
        for frame in &read {
            let told = instrument.step(frame);
            beads += told.iter().filter(|event| event.is_drop()).count();
        }
        let last_secs = (frames - 1) as f64 / f64::from(rate);
        assert!((instrument.now_secs() - last_secs).abs() < 1e-9);
        beads += instrument
            .finish()
            .iter()
            .filter(|event| event.is_drop())
            .count();
        assert_eq!(beads, 0, "nothing moves at {rate} frames a second");
    }
}

#[cfg(unix)]
#[test]
fn odd_names_in_a_folder_are_names() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let folder = tempfile::tempdir().unwrap();
    let long = format!("{}.png", "9".repeat(251));
    let names: [&[u8]; 9] = [
        b"-1.png",
        b"--help.png",
        b"two\nlines.png",
        b"quote'\".png",
        b"no \xff text.png",
        b"blank .png",
        "\u{202e}gnp.png".as_bytes(),
        b"a,b;c.PNG",
        long.as_bytes(),
    ];
    let source = folder.path().join("1.png");
    picture(24, 16).save(&source).unwrap();
    for name in names {
        std::fs::copy(&source, folder.path().join(OsStr::from_bytes(name))).unwrap();
    }
    // None of these is a picture: a folder, a link to nowhere, a hidden file.
    std::fs::create_dir(folder.path().join("folder.png")).unwrap();
    std::os::unix::fs::symlink("nowhere", folder.path().join("link.png")).unwrap();
    std::fs::write(folder.path().join(".hidden.png"), "").unwrap();
    let (frames, error) = read(folder.path());
    assert_eq!((frames.len(), error), (names.len() + 1, None));
    // A list of times may name what is in the folder and nothing else.
    for outside in [
        "../1.png",
        "/etc/hostname",
        "folder.png/../1.png",
        ".",
        "..",
        "",
    ] {
        let list = format!("file,time_s\n1.png,0\n{outside},1\n");
        std::fs::write(folder.path().join("frames.csv"), list).unwrap();
        let (frames, error) = read(folder.path());
        let words = error.unwrap_or_else(|| panic!("{outside} was taken"));
        assert!(
            frames.is_empty() && words.contains("line 3"),
            "{outside}: {words}"
        );
    }
}

#[test]
fn a_folder_of_very_many_names_is_read() {
    let many: usize = std::env::var("BEADTALLY_NAMES")
        .ok()
        .and_then(|words| words.parse().ok())
        .unwrap_or(3000);
    // In memory, where there is such a place.
    let memory = Path::new("/dev/shm");
    let folder = if memory.is_dir() {
        tempfile::tempdir_in(memory).unwrap()
    } else {
        tempfile::tempdir().unwrap()
    };
    let first = folder.path().join("1.png");
    picture(6, 4).save(&first).unwrap();
    for n in 2..=many {
        std::fs::hard_link(&first, folder.path().join(format!("{n}.png"))).unwrap();
    }
    let clock = SystemClock::new();
    let spec = SourceSpec::Path(folder.path().to_owned());
    let mut source = open(&spec, Arc::new(ManualClock::new(0.0))).unwrap();
    assert_eq!(source.about().frames, Some(many as u64));
    println!("{many} names listed in {:.2} s", clock.monotonic_secs());
    for number in 0..100 {
        let Grab::Frame(frame) = source.next().unwrap() else {
            panic!("no frame {number}");
        };
        assert_eq!(frame.number, number);
    }
}
