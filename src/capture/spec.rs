//! What a person may name as a source of frames (`camera`, `camera:NAME`, `demo`, `demo:WORDS`, a
//! path), and opening it. Each kind of source lives in a folder of its own.

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::Arc;

use crate::base::Clock;

use super::{CaptureError, Source, camera, clip};

/// A source of frames, as named by a person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SourceSpec {
    /// A camera: the first usable one, or the one of this name or identity.
    Camera(Option<String>),
    /// The built-in demo, with the words that set its scene (may be empty).
    Demo(String),
    /// A recorded clip: a video, a .y4m, a folder of pictures, or one picture.
    Path(PathBuf),
}

impl FromStr for SourceSpec {
    type Err = CaptureError;

    /// Reads a source's name.
    ///
    /// # Errors
    /// [`CaptureError::NoSuchSource`] when the words name nothing.
    ///
    /// ```
    /// use beadtally::capture::SourceSpec;
    /// let spec: SourceSpec = "camera:Bench camera".parse().unwrap();
    /// assert_eq!(spec, SourceSpec::Camera(Some("Bench camera".to_owned())));
    /// ```
    fn from_str(words: &str) -> Result<Self, CaptureError> {
        let trimmed = words.trim();
        if trimmed.is_empty() {
            return Err(CaptureError::NoSuchSource(
                "No source is named: write camera, camera:NAME, demo, or the path of a clip."
                    .to_owned(),
            ));
        }
        match trimmed.split_once(':') {
            None if trimmed == "camera" => Ok(Self::Camera(None)),
            None if trimmed == "demo" => Ok(Self::Demo(String::new())),
            Some(("camera", name)) if name.trim().is_empty() => Err(CaptureError::NoSuchSource(
                "No camera is named after camera: write the name as `beadtally cameras` shows \
                 it, or camera alone for the first one."
                    .to_owned(),
            )),
            Some(("camera", name)) => Ok(Self::Camera(Some(name.trim().to_owned()))),
            Some(("demo", scene)) => Ok(Self::Demo(scene.trim().to_owned())),
            // A path keeps its blanks: they may be part of a file's name.
            _ => Ok(Self::Path(PathBuf::from(words))),
        }
    }
}

impl fmt::Display for SourceSpec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Camera(None) => f.write_str("camera"),
            Self::Camera(Some(name)) => write!(f, "camera:{name}"),
            Self::Demo(words) if words.is_empty() => f.write_str("demo"),
            Self::Demo(words) => write!(f, "demo:{words}"),
            Self::Path(path) => path.display().fmt(f),
        }
    }
}

/// Opens a source. Recorded clips run as fast as they are asked; see
/// [`Paced`](super::pace::Paced) for real time.
///
/// # Errors
/// [`CaptureError`] with a sentence that says what to do.
pub fn open(spec: &SourceSpec, clock: Arc<dyn Clock>) -> Result<Box<dyn Source>, CaptureError> {
    match spec {
        SourceSpec::Camera(wanted) => camera::open(wanted.as_deref(), clock),
        SourceSpec::Demo(words) => super::demo::open(words),
        SourceSpec::Path(path) => clip::open(path),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_become_sources_and_back() {
        for (words, spec) in [
            ("camera", SourceSpec::Camera(None)),
            (" camera ", SourceSpec::Camera(None)),
            (
                "camera:A;b:1;0;",
                SourceSpec::Camera(Some("A;b:1;0;".into())),
            ),
            ("demo", SourceSpec::Demo(String::new())),
            ("demo:", SourceSpec::Demo(String::new())),
            ("demo:three feeds", SourceSpec::Demo("three feeds".into())),
            ("clip.mp4", SourceSpec::Path("clip.mp4".into())),
            ("./camera", SourceSpec::Path("./camera".into())),
            ("-odd name.mp4", SourceSpec::Path("-odd name.mp4".into())),
            (
                r"C:\clips\a.mp4",
                SourceSpec::Path(r"C:\clips\a.mp4".into()),
            ),
            ("Camera", SourceSpec::Path("Camera".into())),
        ] {
            let read: SourceSpec = words.parse().unwrap();
            assert_eq!(read, spec);
            assert_eq!(read.to_string().parse::<SourceSpec>().unwrap(), spec);
        }
        for words in ["", "  ", "camera:", "camera: "] {
            let error = words.parse::<SourceSpec>().unwrap_err().to_string();
            assert!(error.contains("write"), "{error}");
        }
    }
}
