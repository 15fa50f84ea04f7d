//! Where frames come from: a camera, a recorded clip, or the built-in demo, behind one trait. It
//! delivers luma pictures with monotonic stamps and says plainly when it cannot; it knows nothing
//! of glasses and beads.

pub mod camera;
pub mod clip;
pub mod demo;
pub mod jpeg;
pub mod limits;
pub mod pace;
pub mod pixel;
pub mod pool;
pub mod spec;
pub mod wanted;

pub use camera::{CameraListing, Mode, list};
pub use pace::Paced;
pub use spec::{SourceSpec, open};
pub use wanted::Wanted;

use crate::base::Frame;

/// What one call of [`Source::next`] brought.
#[derive(Clone, Debug)]
pub enum Grab {
    /// A picture.
    Frame(Frame),
    /// No picture within the source's patience (about half a second); ask again.
    Nothing {
        /// Source time now, on the same scale as the frames' stamps.
        at_secs: f64,
    },
    /// One picture came but could not be used (cut, garbage, marked bad by the driver); ask again.
    Spoiled {
        /// Source time of the bad picture.
        at_secs: f64,
        /// A sentence for people.
        why: String,
    },
    /// The camera is gone; the source keeps trying to come back to the *same* camera; ask again.
    Lost {
        /// Source time now.
        at_secs: f64,
        /// A sentence for people.
        why: String,
    },
    /// The clip is over.
    End,
}

/// What a source says of itself.
#[derive(Clone, Debug, PartialEq)]
pub struct About {
    /// A name for people: the camera's name, the clip's file name, `demo`.
    pub name: String,
    /// For a camera, its stable identity (never an index); else empty.
    pub identity: String,
    /// Width of the frames in pixels.
    pub width: u32,
    /// Height of the frames in pixels.
    pub height: u32,
    /// Frames a second as announced, when known. The stamps decide, not this.
    pub frames_per_second: Option<f64>,
    /// How many frames there will be, when known (for a progress bar).
    pub frames: Option<u64>,
    /// Whether it runs in real time by itself (a camera).
    pub live: bool,
}

/// A source of frames. One thread owns it.
pub trait Source: Send {
    /// The next picture, or why there is none now. Never blocks for longer than about a second.
    ///
    /// # Errors
    /// [`CaptureError`] when the source can bring nothing more and the cause is worth a sentence
    /// (a damaged clip, a decoder that failed).
    fn next(&mut self) -> Result<Grab, CaptureError>;

    /// What this source is.
    fn about(&self) -> &About;

    /// Asks a demo for one of its faults, in the words of [`crate::capture`]'s demo; other sources
    /// ignore it.
    fn fault(&mut self, _words: &str) {}

    /// Tells which part of the pictures is looked at from now on. A source may decode that alone
    /// and says in each frame how much of it is there; most bring whole pictures all the same.
    fn want(&mut self, _wanted: &Wanted) {}
}

/// Why a source cannot be opened or can bring nothing more. Each variant is somebody's fault; each
/// sentence says what to do.
#[derive(Debug, thiserror::Error)]
pub enum CaptureError {
    /// The person named something that does not exist or is not a source.
    #[error("{0}")]
    NoSuchSource(String),
    /// The file or stream is damaged, empty, or of a kind that cannot be read.
    #[error("{0}")]
    Damaged(String),
    /// A program that is needed is not installed.
    #[error("{0}")]
    MissingProgram(String),
    /// The camera refused: in use, not permitted, no usable format.
    #[error("{0}")]
    Camera(String),
    /// Reading failed below us.
    #[error("{what}: {source}")]
    Io {
        /// What was being read, and what to do.
        what: String,
        /// The cause.
        source: std::io::Error,
    },
}
