//! Frames through H.264 and back, as a phone or a recorder would: by the program ffmpeg.

use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use image::GrayImage;

/// Constant rate factor of a level: 28, a phone's sparing setting, at 1; 18, hardly lossy, at 0.
#[must_use]
pub fn rate_factor(level: f64) -> u8 {
    (18.0 + 10.0 * level).round().clamp(0.0, 51.0) as u8
}

/// Encodes pictures (all of one size) with x264 at a constant rate factor into `scratch`, reads
/// them back, and removes the file.
///
/// # Errors
/// A sentence when ffmpeg is missing, fails, or gives back another number of pictures.
pub fn through(
    pictures: &[&GrayImage],
    frames_per_second: f64,
    rate_factor: u8,
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
        .args(["-crf", &rate_factor.to_string(), "-pix_fmt", "yuv420p"])
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
