//! The seam between the logic of a camera source and the system below it: what one camera device
//! does, and how to find and open it again. Tests put a pretend device here.

use super::mode::Mode;

/// A camera that delivers pictures. Dropping it closes it.
pub(super) trait Device: Send {
    /// The mode it runs in.
    fn mode(&self) -> Mode;

    /// Bytes from one line to the next, for uncompressed pictures; 0 when lines have no gap.
    fn stride(&self) -> u32 {
        0
    }

    /// Waits for the next picture, at most about half a second.
    fn grab(&mut self) -> Event<'_>;
}

/// What came of one wait.
pub(super) enum Event<'a> {
    /// A picture, still packed.
    Picture(Packed<'a>),
    /// No picture in time.
    Stall,
    /// The camera is gone; a few words why.
    Gone(String),
}

/// A picture as the driver hands it out.
pub(super) struct Packed<'a> {
    /// The bytes in use.
    pub(super) bytes: &'a [u8],
    /// The driver's own monotonic stamp, seconds, when it has one that can be trusted to be so.
    pub(super) stamp_secs: Option<f64>,
    /// When it was received, by the injected clock, when that was earlier than now.
    pub(super) received_secs: Option<f64>,
    /// The driver's count of pictures, which has a hole where one was lost.
    pub(super) sequence: Option<u32>,
    /// The driver says that the picture is damaged.
    pub(super) is_bad: bool,
}

/// Finds one camera by its identity and opens it.
pub(super) trait Open: Send {
    /// Opens the camera, in the `preferred` mode when it still has that.
    ///
    /// # Errors
    /// A whole sentence or two: what, why, and what to do.
    fn open(&mut self, preferred: Option<Mode>) -> Result<Box<dyn Device>, String>;
}
