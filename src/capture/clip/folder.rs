//! A folder of PNG or JPEG pictures as a clip, in the natural order of their names or as
//! `frames.csv` says; and one picture as a clip of one frame. Videos are left to its neighbours.

use std::cmp::Ordering;
use std::path::{Path, PathBuf};

use image::{DynamicImage, GrayImage, ImageDecoder, ImageFormat, ImageReader, Limits};

use crate::base::Frame;
use crate::capture::limits::{MAX_PIXELS, MAX_SIDE_PX, check_size};
use crate::capture::{About, CaptureError, Grab, Source, jpeg};

use super::{ASSUMED_FRAMES_PER_SECOND, has_extension, short_name};

/// Endings of names that are taken for pictures.
pub(super) const PICTURES: &[&str] = &["png", "jpg", "jpeg"];

/// The file that tells when each picture was taken.
const TIMES: &str = "frames.csv";

/// Longest time from the first picture to the last, in seconds: over thirty years. What is beyond is
/// a slip of the pen, and numbers without bounds end in some that are none.
const LONGEST_SECS: f64 = 1e9;

/// Memory a picture may take while it is decoded, in bytes: eight a pixel, as the deepest PNG has.
const MAX_DECODE_BYTES: u64 = 8 * MAX_PIXELS;

/// A folder of pictures, read one by one.
pub(super) struct Folder {
    /// What is still to come: file and source time in seconds.
    pictures: std::vec::IntoIter<(PathBuf, f64)>,
    /// The first picture, read when the folder was opened.
    first: Option<GrayImage>,
    number: u64,
    about: About,
}

impl Folder {
    /// Opens a folder and reads its first picture.
    pub(super) fn open(folder: &Path) -> Result<Self, CaptureError> {
        let times = folder.join(TIMES);
        let (pictures, rate) = if times.is_file() {
            let pictures = read_times(folder, &times)?;
            let rate = mean_rate(&pictures);
            (pictures, rate)
        } else {
            let pictures: Vec<_> = list(folder)?
                .into_iter()
                .enumerate()
                .map(|(n, file)| (file, n as f64 / ASSUMED_FRAMES_PER_SECOND))
                .collect();
            tracing::warn!(
                "{} has no {TIMES}: {ASSUMED_FRAMES_PER_SECOND} frames a second are assumed",
                folder.display()
            );
            (pictures, Some(ASSUMED_FRAMES_PER_SECOND))
        };
        if pictures.is_empty() {
            return Err(CaptureError::NoSuchSource(format!(
                "{} holds no PNG or JPEG pictures. Name a folder whose pictures end in .png, .jpg \
                 or .jpeg.",
                folder.display()
            )));
        }
        Self::begin(short_name(folder), pictures, rate)
    }

    /// Opens one picture as a clip of one frame.
    pub(super) fn open_picture(file: &Path) -> Result<Self, CaptureError> {
        Self::begin(short_name(file), vec![(file.to_owned(), 0.0)], None)
    }

    fn begin(
        name: String,
        pictures: Vec<(PathBuf, f64)>,
        rate: Option<f64>,
    ) -> Result<Self, CaptureError> {
        let frames = pictures.len() as u64;
        let first = match pictures.first() {
            Some((file, _)) => read_picture(file)?,
            None => {
                return Err(CaptureError::NoSuchSource(format!(
                    "{name} holds no pictures."
                )));
            }
        };
        Ok(Self {
            about: About {
                name,
                identity: String::new(),
                width: first.width(),
                height: first.height(),
                frames_per_second: rate,
                frames: Some(frames),
                live: false,
            },
            pictures: pictures.into_iter(),
            first: Some(first),
            number: 0,
        })
    }
}

impl Source for Folder {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        let Some((file, at_secs)) = self.pictures.next() else {
            return Ok(Grab::End);
        };
        let read = match self.first.take() {
            Some(first) => Ok(first),
            None => read_picture(&file),
        };
        let wanted = (self.about.width, self.about.height);
        let luma = match read {
            Ok(luma) if luma.dimensions() == wanted => luma,
            other => {
                // Nothing more comes after a fault.
                self.pictures = Vec::new().into_iter();
                let luma = other?;
                return Err(CaptureError::Damaged(format!(
                    "{} has {} × {} pixels, but the pictures before it have {} × {}. Put pictures \
                     of one size into a folder.",
                    file.display(),
                    luma.width(),
                    luma.height(),
                    wanted.0,
                    wanted.1
                )));
            }
        };
        let frame = Frame::new(self.number, at_secs, luma);
        self.number += 1;
        Ok(Grab::Frame(frame))
    }

    fn about(&self) -> &About {
        &self.about
    }
}

/// The pictures of a folder in the natural order of their names.
fn list(folder: &Path) -> Result<Vec<PathBuf>, CaptureError> {
    let cannot = |source| CaptureError::Io {
        what: format!("{} cannot be read; check who may read it", folder.display()),
        source,
    };
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(cannot)? {
        let file = entry.map_err(cannot)?.path();
        // Names that begin with a dot are the system's own.
        if has_extension(&file, PICTURES) && !short_name(&file).starts_with('.') && file.is_file() {
            files.push(file);
        }
    }
    files.sort_by(|a, b| natural(&short_name(a), &short_name(b)));
    Ok(files)
}

/// Reads `frames.csv`: a picture and its time in seconds in each line, with or without the heading
/// `file,time_s`. The times come out from 0.
fn read_times(folder: &Path, times: &Path) -> Result<Vec<(PathBuf, f64)>, CaptureError> {
    let shown = times.display();
    let damaged = |line: u64, what: &str| {
        CaptureError::Damaged(format!(
            "{shown}, line {line}: {what}. Each line is a picture's file name and its time in \
             seconds, later than the line before: frame0001.png,0.033"
        ))
    };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_path(times)
        .map_err(|e| {
            CaptureError::Damaged(format!("{shown} cannot be read: {e}. Save it as text."))
        })?;
    let mut pictures: Vec<(PathBuf, f64)> = Vec::new();
    let mut first_secs = None;
    for record in reader.records() {
        let record = record.map_err(|e| {
            let line = e.position().map_or(0, csv::Position::line);
            damaged(line, "the line is not text")
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let (Some(name), Some(words), None) = (record.get(0), record.get(1), record.get(2)) else {
            return Err(damaged(line, "there must be two columns"));
        };
        if pictures.is_empty() && name == "file" && words == "time_s" {
            continue;
        }
        let at_secs: f64 = words
            .parse()
            .map_err(|_| damaged(line, &format!("the time '{words}' is not a number")))?;
        if !at_secs.is_finite() {
            return Err(damaged(
                line,
                &format!("the time '{words}' is not a number"),
            ));
        }
        let start_secs = *first_secs.get_or_insert(at_secs);
        let at_secs = at_secs - start_secs;
        if at_secs > LONGEST_SECS {
            return Err(damaged(
                line,
                &format!("the time {words} is more than thirty years after the first"),
            ));
        }
        if pictures
            .last()
            .is_some_and(|(_, before)| at_secs <= *before)
        {
            return Err(damaged(
                line,
                &format!("the time {words} is not later than the one before"),
            ));
        }
        let plain = Path::new(name);
        if plain.components().count() != 1 || plain.file_name().is_none() {
            return Err(damaged(
                line,
                &format!("'{name}' is not the name of a file in this folder"),
            ));
        }
        let file = folder.join(plain);
        if !file.is_file() {
            return Err(damaged(
                line,
                &format!("there is no picture '{name}' in this folder"),
            ));
        }
        pictures.push((file, at_secs));
    }
    if pictures.is_empty() {
        return Err(CaptureError::Damaged(format!(
            "{shown} names no pictures. Remove it, or write a line for each picture: \
             frame0001.png,0.033"
        )));
    }
    Ok(pictures)
}

fn mean_rate(pictures: &[(PathBuf, f64)]) -> Option<f64> {
    let last_secs = pictures.last()?.1;
    (last_secs > 0.0).then(|| (pictures.len() - 1) as f64 / last_secs)
}

/// Reads one picture as luma, upright as its camera noted.
fn read_picture(file: &Path) -> Result<GrayImage, CaptureError> {
    let shown = file.display();
    let damaged = |what: String| {
        CaptureError::Damaged(format!(
            "{shown} {what}. Copy the picture again, or leave it out."
        ))
    };
    let mut picture = ImageReader::open(file)
        .and_then(ImageReader::with_guessed_format)
        .map_err(|source| CaptureError::Io {
            what: format!("{shown} cannot be read; check who may read it"),
            source,
        })?;
    let is_jpeg = picture.format() == Some(ImageFormat::Jpeg);
    // The decoder checks these sides; the number of pixels is checked below, before it sets memory
    // aside.
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(MAX_DECODE_BYTES);
    limits.max_image_width = Some(MAX_SIDE_PX);
    limits.max_image_height = Some(MAX_SIDE_PX);
    picture.limits(limits);
    let mut decoder = picture
        .into_decoder()
        .map_err(|e| damaged(format!("is not a whole PNG or JPEG picture ({e})")))?;
    let (w, h) = decoder.dimensions();
    check_size(u64::from(w), u64::from(h)).map_err(&damaged)?;
    let upright = decoder.orientation().ok();
    let decoded = if is_jpeg {
        // The decoder below takes a cut JPEG silently.
        drop(decoder);
        read_bytes(file)
            .and_then(|bytes| jpeg::luma(&bytes, None).map_err(|e| e.to_string()))
            .map(DynamicImage::ImageLuma8)
    } else {
        DynamicImage::from_decoder(decoder).map_err(|e| e.to_string())
    };
    let mut decoded = decoded.map_err(|e| damaged(format!("is damaged or cut ({e})")))?;
    if let Some(upright) = upright {
        decoded.apply_orientation(upright);
    }
    Ok(decoded.into_luma8())
}

/// A whole file, unless it is larger than any picture.
fn read_bytes(file: &Path) -> Result<Vec<u8>, String> {
    let length = std::fs::metadata(file).map_err(|e| e.to_string())?.len();
    if length > MAX_DECODE_BYTES {
        return Err(format!("it has {length} bytes, more than any picture"));
    }
    std::fs::read(file).map_err(|e| e.to_string())
}

/// Compares names as people number them: `frame9` before `frame10`.
fn natural(a: &str, b: &str) -> Ordering {
    let (mut a_rest, mut b_rest) = (a, b);
    loop {
        let (a_digits, b_digits) = (leading_digits(a_rest), leading_digits(b_rest));
        let order = if a_digits > 0 && b_digits > 0 {
            let (x, y) = (&a_rest[..a_digits], &b_rest[..b_digits]);
            let (x, y) = (x.trim_start_matches('0'), y.trim_start_matches('0'));
            a_rest = &a_rest[a_digits..];
            b_rest = &b_rest[b_digits..];
            x.len().cmp(&y.len()).then_with(|| x.cmp(y))
        } else {
            let mut a_chars = a_rest.chars();
            let mut b_chars = b_rest.chars();
            let (x, y) = (a_chars.next(), b_chars.next());
            if x.is_none() && y.is_none() {
                // Equal but for leading zeros: still a fixed order.
                return a.cmp(b);
            }
            a_rest = a_chars.as_str();
            b_rest = b_chars.as_str();
            x.cmp(&y)
        };
        if order != Ordering::Equal {
            return order;
        }
    }
}

fn leading_digits(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put(folder: &Path, name: &str, grey: u8, width: u32, height: u32) {
        GrayImage::from_pixel(width, height, image::Luma([grey]))
            .save(folder.join(name))
            .unwrap();
    }

    fn drain(mut source: Folder) -> (Vec<(u64, f64, u8)>, Option<String>) {
        let mut seen = Vec::new();
        loop {
            match source.next() {
                Ok(Grab::Frame(f)) => seen.push((f.number, f.at_secs, f.luma.get_pixel(0, 0).0[0])),
                Ok(Grab::End) => return (seen, None),
                Ok(other) => panic!("{other:?}"),
                Err(e) => {
                    assert!(
                        matches!(source.next(), Ok(Grab::End)),
                        "an end after the error"
                    );
                    return (seen, Some(e.to_string()));
                }
            }
        }
    }

    #[test]
    fn names_sort_as_people_number_them() {
        let mut names = [
            "f10.png", "f9.png", "f009.png", "a.png", "f1b.png", "f1.png", "g", "f2",
        ];
        names.sort_by(|a, b| natural(a, b));
        assert_eq!(
            names,
            [
                "a.png", "f1.png", "f1b.png", "f2", "f009.png", "f9.png", "f10.png", "g"
            ]
        );
        // Numbers longer than any integer type.
        let (a, b) = ("9".repeat(50), "1".to_owned() + &"0".repeat(50));
        assert_eq!(natural(&a, &b), Ordering::Less);
    }

    #[test]
    fn a_folder_without_times_runs_at_thirty_frames_a_second() {
        let dir = tempfile::tempdir().unwrap();
        for n in [1_u8, 2, 10] {
            put(dir.path(), &format!("f{n}.png"), n, 4, 3);
        }
        put(dir.path(), ".hidden.png", 99, 9, 9);
        std::fs::write(dir.path().join("notes.txt"), "not a picture").unwrap();
        let source = Folder::open(dir.path()).unwrap();
        assert_eq!(source.about().frames, Some(3));
        assert_eq!(source.about().frames_per_second, Some(30.0));
        assert_eq!((source.about().width, source.about().height), (4, 3));
        let (seen, error) = drain(source);
        assert_eq!(error, None);
        assert_eq!(seen, [(0, 0.0, 1), (1, 1.0 / 30.0, 2), (2, 2.0 / 30.0, 10)]);
    }

    #[test]
    fn frames_csv_gives_order_and_times_with_or_without_a_heading() {
        for (text, expected) in [
            (
                "file,time_s\nb.png,5.0\na.png,5.25\n",
                [(0, 0.0, 2), (1, 0.25, 1)],
            ),
            (
                "\u{feff}b.png, 5.0\r\na.png , 5.25",
                [(0, 0.0, 2), (1, 0.25, 1)],
            ),
        ] {
            let dir = tempfile::tempdir().unwrap();
            put(dir.path(), "a.png", 1, 4, 3);
            put(dir.path(), "b.png", 2, 4, 3);
            put(dir.path(), "unnamed.png", 3, 4, 3);
            std::fs::write(dir.path().join("frames.csv"), text).unwrap();
            let source = Folder::open(dir.path()).unwrap();
            assert_eq!(source.about().frames_per_second, Some(4.0));
            let (seen, error) = drain(source);
            assert_eq!((seen.as_slice(), error), (expected.as_slice(), None));
        }
    }

    #[test]
    fn wrong_times_are_told_with_their_line() {
        for (text, line, word) in [
            ("a.png,0\nb.png,NaN\n", 2, "not a number"),
            ("a.png,0\nb.png,inf\n", 2, "not a number"),
            ("a.png,0\nb.png,soon\n", 2, "not a number"),
            ("a.png,1\nb.png,0.5\n", 2, "not later"),
            ("file,time_s\na.png,1\nb.png,1\n", 3, "not later"),
            ("a.png,0\nc.png,1\n", 2, "no picture"),
            ("../a.png,0\n", 1, "not the name"),
            ("a.png\n", 1, "two columns"),
            ("a.png,0,1\n", 1, "two columns"),
        ] {
            let dir = tempfile::tempdir().unwrap();
            put(dir.path(), "a.png", 1, 4, 3);
            put(dir.path(), "b.png", 2, 4, 3);
            std::fs::write(dir.path().join("frames.csv"), text).unwrap();
            let error = Folder::open(dir.path()).err().unwrap().to_string();
            assert!(
                error.contains(&format!("line {line}:")),
                "{text:?}: {error}"
            );
            assert!(error.contains(word), "{text:?}: {error}");
        }
    }

    #[test]
    fn another_size_ends_the_clip_with_a_sentence() {
        let dir = tempfile::tempdir().unwrap();
        put(dir.path(), "a.png", 1, 4, 3);
        put(dir.path(), "b.png", 2, 5, 3);
        let (seen, error) = drain(Folder::open(dir.path()).unwrap());
        assert_eq!(seen.len(), 1);
        let error = error.unwrap();
        assert!(
            error.contains("5 × 3") && error.contains("4 × 3"),
            "{error}"
        );
    }

    #[test]
    fn one_picture_is_a_clip_of_one_frame() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("still.jpg");
        image::RgbImage::from_pixel(16, 8, image::Rgb([200, 200, 200]))
            .save(&file)
            .unwrap();
        let source = Folder::open_picture(&file).unwrap();
        assert_eq!(source.about().name, "still.jpg");
        assert_eq!(source.about().frames, Some(1));
        let (seen, error) = drain(source);
        assert_eq!((seen.len(), error), (1, None));
        assert!(seen[0].2.abs_diff(200) < 3);
    }
}
