//! Every file of test-images/bad must be refused with a sentence that names it and tells what to
//! do, after what is whole of it was delivered. The files are made by this test; with
//! `BEADTALLY_MAKE_BAD=1` it writes them anew into test-images/bad. It needs the program ffmpeg.
#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test stops at the first surprise"
)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use beadtally::base::ManualClock;
use beadtally::capture::{CaptureError, Grab, SourceSpec, open};
use image::{GrayImage, Luma};
use rand::{RngExt, SeedableRng};

/// A bad source: its name, how many frames come before the refusal (fewest, most), which kind of
/// error, words of the reason, words of the cure.
struct Bad(
    &'static str,
    (usize, usize),
    Kind,
    &'static str,
    &'static str,
);

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    NoSuchSource,
    Damaged,
}

const NONE: (usize, usize) = (0, 0);

const BAD: &[Bad] = &[
    Bad(
        "empty.mp4",
        NONE,
        Kind::Damaged,
        "is empty",
        "Copy it again",
    ),
    Bad(
        "empty.y4m",
        NONE,
        Kind::Damaged,
        "is empty",
        "Copy it again",
    ),
    Bad(
        "text.mp4",
        NONE,
        Kind::Damaged,
        "cannot be read as a video",
        "Check that it was copied",
    ),
    Bad(
        "garbage.mp4",
        NONE,
        Kind::Damaged,
        "cannot be read as a video",
        "Check that it was copied",
    ),
    Bad(
        "cut.mp4",
        NONE,
        Kind::Damaged,
        "moov atom not found",
        "Check that it was copied",
    ),
    Bad(
        "cut-late.mp4",
        (5, 24),
        Kind::Damaged,
        "is cut",
        "Copy the clip again",
    ),
    Bad(
        "sound.wav",
        NONE,
        Kind::Damaged,
        "no pictures",
        "Name a video",
    ),
    Bad(
        "garbage.y4m",
        NONE,
        Kind::Damaged,
        "not a .y4m",
        "Make it again",
    ),
    Bad(
        "cut.y4m",
        NONE,
        Kind::Damaged,
        "stops within its first frame",
        "Copy the clip again",
    ),
    Bad(
        "cut-late.y4m",
        (2, 2),
        Kind::Damaged,
        "stops after 2 frames",
        "Copy the clip again",
    ),
    Bad(
        "huge.y4m",
        NONE,
        Kind::Damaged,
        "100000 × 100000",
        "Make it again",
    ),
    Bad(
        "zero-size.y4m",
        NONE,
        Kind::Damaged,
        "none at all",
        "Make it again",
    ),
    Bad(
        "deep.y4m",
        NONE,
        Kind::Damaged,
        "more than 8 bits",
        "-pix_fmt yuv420p",
    ),
    Bad(
        "no-frames.y4m",
        NONE,
        Kind::Damaged,
        "no frames",
        "Make it again",
    ),
    Bad(
        "lost-place.y4m",
        (1, 1),
        Kind::Damaged,
        "no frame begins behind the 1",
        "Make it again",
    ),
    Bad(
        "mislabelled.png",
        NONE,
        Kind::Damaged,
        "not a whole PNG",
        "Copy the picture again",
    ),
    Bad(
        "cut.png",
        NONE,
        Kind::Damaged,
        "cut",
        "Copy the picture again",
    ),
    Bad(
        "cut.jpg",
        NONE,
        Kind::Damaged,
        "cut",
        "Copy the picture again",
    ),
    Bad(
        "bomb.png",
        NONE,
        Kind::Damaged,
        "60000 × 60000",
        "Copy the picture again",
    ),
    Bad(
        "bomb.jpg",
        NONE,
        Kind::Damaged,
        "65000 × 65000",
        "Copy the picture again",
    ),
    Bad(
        "no-pictures",
        NONE,
        Kind::NoSuchSource,
        "no PNG or JPEG pictures",
        "Name a folder",
    ),
    Bad(
        "missing-files",
        NONE,
        Kind::Damaged,
        "line 3: there is no picture",
        "Each line is",
    ),
    Bad(
        "nan-times",
        NONE,
        Kind::Damaged,
        "line 3: the time 'NaN'",
        "Each line is",
    ),
    Bad(
        "falling-times",
        NONE,
        Kind::Damaged,
        "line 3: the time 0.5 is not later",
        "Each line is",
    ),
    Bad(
        "no-times",
        NONE,
        Kind::Damaged,
        "names no pictures",
        "Remove it",
    ),
    Bad("binary-times", NONE, Kind::Damaged, "line", "Each line is"),
    Bad("two-sizes", (1, 1), Kind::Damaged, "16 × 12", "one size"),
    Bad(
        "cut-inside",
        (2, 2),
        Kind::Damaged,
        "003.png",
        "leave it out",
    ),
];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("test-images/bad")
}

/// Reads a source to its end: how many frames came, and the error.
fn read(path: &Path) -> (usize, Option<CaptureError>) {
    let clock = Arc::new(ManualClock::new(0.0));
    let mut source = match open(&SourceSpec::Path(path.to_owned()), clock) {
        Ok(source) => source,
        Err(e) => return (0, Some(e)),
    };
    let mut frames = 0;
    let mut asked = 0;
    loop {
        asked += 1;
        assert!(asked < 10_000, "{} never ends", path.display());
        match source.next() {
            Ok(Grab::Frame(frame)) => {
                assert_eq!(frame.number, frames as u64);
                assert_eq!(frame.width(), source.about().width);
                assert_eq!(frame.height(), source.about().height);
                frames += 1;
            }
            Ok(Grab::End) => return (frames, None),
            Ok(_) => {}
            Err(e) => {
                assert!(
                    matches!(source.next(), Ok(Grab::End)),
                    "an end follows the error"
                );
                return (frames, Some(e));
            }
        }
    }
}

#[test]
fn each_is_refused_with_a_reason_and_a_cure() {
    check_all(&folder());
}

fn check_all(folder: &Path) {
    for Bad(name, (fewest, most), kind, reason, cure) in BAD {
        let (frames, error) = read(&folder.join(name));
        let Some(error) = error else {
            panic!("{name} was taken");
        };
        let words = error.to_string();
        assert!(
            (*fewest..=*most).contains(&frames),
            "{name}: {frames} frames; {words}"
        );
        let found = match error {
            CaptureError::NoSuchSource(_) => Kind::NoSuchSource,
            CaptureError::Damaged(_) => Kind::Damaged,
            other => panic!("{name}: {other:?}"),
        };
        assert_eq!(found, *kind, "{name}: {words}");
        for part in [*name, *reason, *cure] {
            assert!(words.contains(part), "{name}: '{part}' is not in: {words}");
        }
        assert!(words.ends_with('.') || words.ends_with(|c: char| c.is_ascii_alphanumeric()));
        assert!(words.chars().count() < 600, "{name}: too long: {words}");
    }
}

#[test]
fn what_is_not_there_is_told() {
    let (_, error) = read(&folder().join("not there.mp4"));
    let words = error.unwrap().to_string();
    assert!(
        words.contains("There is no file") && words.contains("Check the name"),
        "{words}"
    );
}

#[cfg(unix)]
#[test]
fn a_device_is_no_clip() {
    let (_, error) = read(Path::new("/dev/null"));
    let words = error.unwrap().to_string();
    assert!(words.contains("camera:NAME"), "{words}");
}

#[test]
fn all_are_tried_and_described() {
    let described = std::fs::read_to_string(folder().join("README.md")).unwrap();
    let mut there: BTreeSet<String> = std::fs::read_dir(folder())
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    assert!(there.remove("README.md"));
    let tried: BTreeSet<String> = BAD.iter().map(|b| b.0.to_owned()).collect();
    assert_eq!(there, tried);
    for name in &tried {
        assert!(
            described.contains(&format!("`{name}`")),
            "README.md does not describe {name}"
        );
    }
}

/// A small picture with something in it.
fn picture(width: u32, height: u32) -> GrayImage {
    GrayImage::from_fn(width, height, |x, y| Luma([(x * 7 + y * 5) as u8]))
}

fn y4m(heading: &str, frames: usize) -> Vec<u8> {
    let mut bytes = format!("YUV4MPEG2 {heading}\n").into_bytes();
    for n in 0..frames {
        bytes.extend_from_slice(b"FRAME\n");
        bytes.extend((0..24 * 16 * 3 / 2).map(|i| (i * 3 + n) as u8));
    }
    bytes
}

/// A PNG chunk.
fn chunk(kind: [u8; 4], data: &[u8]) -> Vec<u8> {
    let mut bytes = (data.len() as u32).to_be_bytes().to_vec();
    bytes.extend_from_slice(&kind);
    bytes.extend_from_slice(data);
    // The check sum of PNG, second edition, Annex D.
    let sum = !bytes[4..].iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |s, _| {
            if s & 1 == 1 {
                0xEDB8_8320 ^ (s >> 1)
            } else {
                s >> 1
            }
        })
    });
    bytes.extend_from_slice(&sum.to_be_bytes());
    bytes
}

fn ffmpeg(file: &Path, words: &str) {
    let made = Command::new("ffmpeg")
        .args("-v error -nostdin -y".split(' '))
        .args(words.split(' '))
        .args("-fflags +bitexact -flags +bitexact".split(' '))
        .arg(file)
        .status()
        .unwrap();
    assert!(made.success());
}

/// The files that ffmpeg makes: their bytes depend on its version.
const BY_FFMPEG: [&str; 3] = ["cut.mp4", "cut-late.mp4", "sound.wav"];

#[test]
fn the_kept_files_are_those_that_are_made_here() {
    if std::env::var_os("BEADTALLY_MAKE_BAD").is_some() {
        make(&folder());
    }
    let anew = tempfile::tempdir().unwrap();
    make(anew.path());
    check_all(anew.path());
    for Bad(name, ..) in BAD {
        let (kept, made) = (folder().join(name), anew.path().join(name));
        if made.is_dir() {
            let names = |folder: &Path| -> BTreeSet<_> {
                let entries = std::fs::read_dir(folder).unwrap();
                entries.map(|e| e.unwrap().file_name()).collect()
            };
            assert_eq!(names(&kept), names(&made), "{name}");
            for file in names(&made) {
                let (kept, made) = (kept.join(&file), made.join(&file));
                assert!(same(&kept, &made), "{}", kept.display());
            }
        } else if !BY_FFMPEG.contains(name) {
            assert!(same(&kept, &made), "{name}");
        }
    }
}

fn same(a: &Path, b: &Path) -> bool {
    std::fs::read(a).unwrap() == std::fs::read(b).unwrap()
}

fn make(to: &Path) {
    let put = |name: &str, bytes: &[u8]| {
        let file = to.join(name);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(file, bytes).unwrap();
    };
    let save = |name: &str, width, height| {
        let file = to.join(name);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        picture(width, height).save(&file).unwrap();
        std::fs::read(&file).unwrap()
    };
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(3);
    let noise: Vec<u8> = (0..3000).map(|_| rng.random()).collect();

    put("empty.mp4", b"");
    put("empty.y4m", b"");
    put(
        "text.mp4",
        b"This is no video, only a line of text with the wrong ending.\n",
    );
    put("garbage.mp4", &noise);
    let clip = "-f lavfi -i testsrc=size=64x48:rate=25:duration=1 -pix_fmt yuv420p -c:v mpeg4";
    ffmpeg(&to.join("cut.mp4"), clip);
    let whole = std::fs::read(to.join("cut.mp4")).unwrap();
    put("cut.mp4", &whole[..whole.len() / 2]);
    ffmpeg(
        &to.join("cut-late.mp4"),
        &format!("{clip} -movflags +faststart"),
    );
    let whole = std::fs::read(to.join("cut-late.mp4")).unwrap();
    put("cut-late.mp4", &whole[..whole.len() * 3 / 4]);
    ffmpeg(&to.join("sound.wav"), "-f lavfi -i sine=d=0.1 -ar 8000");

    put("garbage.y4m", &noise);
    let whole = y4m("W24 H16 F25:1 Ip A1:1 C420jpeg", 3);
    put("cut.y4m", &whole[..300]);
    put("cut-late.y4m", &whole[..whole.len() - 100]);
    put(
        "huge.y4m",
        b"YUV4MPEG2 W100000 H100000 F25:1 C420jpeg\nFRAME\nabc",
    );
    put(
        "zero-size.y4m",
        b"YUV4MPEG2 W0 H16 F25:1 C420jpeg\nFRAME\nabc",
    );
    put("deep.y4m", &y4m("W24 H16 F25:1 C420p10", 1));
    put("no-frames.y4m", b"YUV4MPEG2 W24 H16 F25:1 C420jpeg\n");
    let mut lost = y4m("W24 H16 F25:1 C420jpeg", 1);
    lost.extend_from_slice(&noise);
    put("lost-place.y4m", &lost);

    put(
        "mislabelled.png",
        b"This is no picture, only a line of text with the wrong ending.\n",
    );
    let whole = save("cut.png", 64, 48);
    put("cut.png", &whole[..whole.len() / 2]);
    let whole = save("cut.jpg", 64, 48);
    put("cut.jpg", &whole[..whole.len() * 3 / 4]);
    let mut bomb = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut heading = 60_000_u32.to_be_bytes().to_vec();
    heading.extend_from_slice(&60_000_u32.to_be_bytes());
    heading.extend_from_slice(&[8, 0, 0, 0, 0]);
    bomb.extend(chunk(*b"IHDR", &heading));
    bomb.extend(chunk(*b"IDAT", &[0x78, 0x9C, 0x63, 0, 0, 0, 1, 0, 1]));
    bomb.extend(chunk(*b"IEND", &[]));
    put("bomb.png", &bomb);
    let mut bomb = save("bomb.jpg", 64, 48);
    let size_at = bomb.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap() + 5;
    bomb[size_at..size_at + 4].copy_from_slice(&[0xFD, 0xE8, 0xFD, 0xE8]);
    put("bomb.jpg", &bomb);

    put("no-pictures/notes.txt", b"The pictures were forgotten.\n");
    for name in [
        "missing-files",
        "nan-times",
        "falling-times",
        "binary-times",
        "no-times",
    ] {
        save(&format!("{name}/001.png"), 24, 16);
        save(&format!("{name}/002.png"), 24, 16);
    }
    put(
        "missing-files/frames.csv",
        b"file,time_s\n001.png,0\n007.png,0.04\n",
    );
    put(
        "nan-times/frames.csv",
        b"file,time_s\n001.png,0\n002.png,NaN\n",
    );
    put(
        "falling-times/frames.csv",
        b"file,time_s\n001.png,1.0\n002.png,0.5\n",
    );
    put("no-times/frames.csv", b"file,time_s\n");
    put("binary-times/frames.csv", &noise[..200]);
    save("two-sizes/001.png", 24, 16);
    save("two-sizes/002.png", 16, 12);
    save("cut-inside/001.png", 24, 16);
    save("cut-inside/002.png", 24, 16);
    let whole = save("cut-inside/003.png", 24, 16);
    put("cut-inside/003.png", &whole[..whole.len() - 30]);
}
