//! Frames through H.264 and back, as a phone or a recorder would: by the program ffmpeg.

use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use image::GrayImage;

/// Bits a pixel of each frame at level 1: 4 Mbit/s for 1280 × 720 at 30 a second. It is the sparest
/// of what phones are told to record with (2 Mbit/s at 720 × 480, 4 at 1280 × 720, 10 at 1920 × 1080;
/// source: the table of H.264 encoding in Android's compatibility definition, as quoted in public code).
const BITS_A_PIXEL: f64 = 0.145;
/// The constant rate factor of a recorder that saves where it can; at a fifth of the contrast it leaves
/// a tenth of the bits that a phone takes.
const SPARING_FACTOR: f64 = 28.0;

/// How pictures are coded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coding {
    /// As a phone codes what it records: so many bits a pixel, spent as they come, a whole picture
    /// once a second, nothing looked ahead to.
    Phone(f64),
    /// At this constant rate factor, by an encoder that looks ahead and sees what can be spared.
    RateFactor(u8),
}

impl Coding {
    /// A phone's at a level: half of the bits at twice the level.
    #[must_use]
    pub fn phone(level: f64) -> Self {
        Self::Phone(BITS_A_PIXEL / level.max(0.01))
    }

    /// A sparing recorder's at a level: factor 28 at 1, 18 (hardly lossy) at 0.
    #[must_use]
    pub fn sparing(level: f64) -> Self {
        let factor = 18.0 + (SPARING_FACTOR - 18.0) * level;
        Self::RateFactor(factor.round().clamp(0.0, 51.0) as u8)
    }

    /// What the encoder is told for pictures of `pixels` each, so many a second.
    fn words(self, pixels: f64, frames_per_second: f64) -> Vec<String> {
        let words = match self {
            Self::Phone(bits_a_pixel) => {
                let rate = (bits_a_pixel * pixels * frames_per_second).round();
                let whole_each = frames_per_second.round().max(1.0);
                format!(
                    "-profile:v baseline -tune zerolatency -g {whole_each} -sc_threshold 0 \
                     -b:v {rate} -maxrate {rate} -bufsize {rate}"
                )
            }
            Self::RateFactor(factor) => format!("-crf {factor}"),
        };
        words.split_whitespace().map(str::to_owned).collect()
    }
}

impl std::fmt::Display for Coding {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Phone(bits) => write!(to, "H.264 at {bits:.3} bits a pixel"),
            Self::RateFactor(factor) => write!(to, "H.264 at rate factor {factor}"),
        }
    }
}

/// Encodes pictures (all of one size) with x264 into `scratch`, reads them back, and removes the file.
///
/// # Errors
/// A sentence when ffmpeg is missing, fails, or gives back another number of pictures.
pub fn through(
    pictures: &[&GrayImage],
    frames_per_second: f64,
    coding: Coding,
    scratch: &Path,
) -> Result<Vec<GrayImage>, String> {
    let Some(first) = pictures.first() else {
        return Ok(Vec::new());
    };
    let size = (first.width(), first.height());
    let told = |what: &str, error: std::io::Error| format!("ffmpeg ({what}): {error}");
    let mut encoder = Command::new("ffmpeg")
        .args(["-nostdin", "-hide_banner", "-loglevel", "error", "-y"])
        .args(["-f", "rawvideo", "-pix_fmt", "gray"])
        .args(["-s", &format!("{}x{}", size.0, size.1)])
        .args(["-r", &frames_per_second.to_string(), "-i", "pipe:0"])
        .args(["-c:v", "libx264", "-preset", "veryfast", "-threads", "1"])
        .args(coding.words(f64::from(size.0) * f64::from(size.1), frames_per_second))
        .args(["-pix_fmt", "yuv420p"])
        .arg(scratch)
        .stdin(Stdio::piped())
        .spawn()
        .map_err(|error| told("encoding", error))?;
    if let Some(mut pipe) = encoder.stdin.take() {
        for picture in pictures {
            pipe.write_all(picture.as_raw())
                .map_err(|error| told("encoding", error))?;
        }
    }
    let ended = encoder.wait().map_err(|error| told("encoding", error))?;
    if !ended.success() {
        return Err(format!("ffmpeg could not encode: {ended}"));
    }
    let mut decoder = Command::new("ffmpeg")
        .args(["-nostdin", "-hide_banner", "-loglevel", "error"])
        .args(["-threads", "1", "-i"])
        .arg(scratch)
        .args([
            "-fps_mode",
            "passthrough",
            "-f",
            "rawvideo",
            "-pix_fmt",
            "gray",
            "pipe:1",
        ])
        .stdout(Stdio::piped())
        .spawn()
        .map_err(|error| told("decoding", error))?;
    let mut back = Vec::with_capacity(pictures.len());
    if let Some(mut pipe) = decoder.stdout.take() {
        for _ in pictures {
            let mut luma = vec![0_u8; size.0 as usize * size.1 as usize];
            if pipe.read_exact(&mut luma).is_err() {
                break;
            }
            back.extend(GrayImage::from_raw(size.0, size.1, luma));
        }
    }
    let _ = decoder.wait();
    let _ = std::fs::remove_file(scratch);
    if back.len() == pictures.len() {
        Ok(back)
    } else {
        Err(format!(
            "ffmpeg gave {} pictures back of {}",
            back.len(),
            pictures.len()
        ))
    }
}
