//! Recorded clips: which reader a path needs, and the sentences they share. A folder of pictures or
//! one picture, a .y4m, and everything else through the ffmpeg program.

mod ahead;
mod ffmpeg;
mod ffmpeg_log;
mod ffmpeg_pipes;
mod folder;
mod y4m;

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::{CaptureError, Source};

/// Frames a second of a clip that does not say: the usual rate of telephones and cameras.
const ASSUMED_FRAMES_PER_SECOND: f64 = 30.0;

/// Opens a recorded clip: a folder of PNG or JPEG pictures (with or without `frames.csv`), one
/// such picture, a .y4m, or any video that the ffmpeg program reads.
///
/// # Errors
/// [`CaptureError::NoSuchSource`] when there is nothing at the path or no clip,
/// [`CaptureError::Damaged`] when it cannot be read, [`CaptureError::MissingProgram`] when ffmpeg
/// is needed and not there.
pub fn open(path: &Path) -> Result<Box<dyn Source>, CaptureError> {
    let shown = path.display();
    let about_file = std::fs::metadata(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => CaptureError::NoSuchSource(format!(
            "There is no file or folder {shown}. Check the name; a camera is written camera or \
             camera:NAME."
        )),
        _ => CaptureError::Io {
            what: format!("{shown} cannot be opened; check who may read it"),
            source: e,
        },
    })?;
    if about_file.is_dir() {
        return read_ahead(path, Box::new(folder::Folder::open(path)?));
    }
    if !about_file.is_file() {
        return Err(CaptureError::NoSuchSource(format!(
            "{shown} is neither a file nor a folder. A camera is written camera or camera:NAME, \
             not as a device."
        )));
    }
    if about_file.len() == 0 {
        return Err(CaptureError::Damaged(format!(
            "{shown} is empty. Copy it again from where it was recorded."
        )));
    }
    if has_extension(path, &["y4m"]) || begins_with(path, y4m::MAGIC) {
        read_ahead(path, Box::new(y4m::Y4m::open(path)?))
    } else if has_extension(path, folder::PICTURES) {
        Ok(Box::new(folder::Folder::open_picture(path)?))
    } else {
        Ok(Box::new(ffmpeg::Ffmpeg::open(path, "ffmpeg".as_ref())?))
    }
}

/// Decodes beside measuring. (ffmpeg does so by itself.)
fn read_ahead(path: &Path, source: Box<dyn Source>) -> Result<Box<dyn Source>, CaptureError> {
    match ahead::Ahead::new(source) {
        Ok(ahead) => Ok(Box::new(ahead)),
        Err(e) => Err(CaptureError::Io {
            what: format!("{} cannot be read beside counting", path.display()),
            source: e,
        }),
    }
}

fn has_extension(path: &Path, known: &[&str]) -> bool {
    path.extension()
        .and_then(|e| e.to_str())
        .is_some_and(|e| known.iter().any(|k| e.eq_ignore_ascii_case(k)))
}

fn begins_with(path: &Path, magic: &[u8]) -> bool {
    let mut start = vec![0; magic.len()];
    File::open(path)
        .and_then(|mut f| f.read_exact(&mut start))
        .is_ok_and(|()| start == magic)
}

/// The last part of a path, as a name for people.
fn short_name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}
