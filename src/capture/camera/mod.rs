//! Cameras: the list of them, choosing a mode, and a source that comes back to the same camera after
//! it was unplugged. What depends on the system lives in `linux` and `elsewhere`, behind the trait
//! `device::Device`.

mod device;
#[cfg(any(not(target_os = "linux"), test))]
mod elsewhere;
#[cfg(target_os = "linux")]
mod identity;
#[cfg(target_os = "linux")]
mod linux;
mod list;
mod mode;
mod numbering;
mod source;
mod timeline;
pub mod unpack;

pub use list::{CameraListing, list};
pub use mode::Mode;

use std::sync::Arc;

use crate::base::Clock;

use super::{CaptureError, Source};

/// Opens a camera: the first usable one, or the one whose identity, name or part of a name is
/// `wanted`.
///
/// # Errors
/// [`CaptureError::NoSuchSource`] when there is none or more than one such;
/// [`CaptureError::Camera`] when it is in use, not permitted, or has no usable mode.
pub fn open(wanted: Option<&str>, clock: Arc<dyn Clock>) -> Result<Box<dyn Source>, CaptureError> {
    let listings = list::list()?;
    let chosen = list::choose(&listings, wanted)?;
    #[cfg(target_os = "linux")]
    let opener = Box::new(linux::Opener::new(&chosen.identity));
    #[cfg(not(target_os = "linux"))]
    let opener = Box::new(elsewhere::Opener::new(&chosen.identity, Arc::clone(&clock)));
    Ok(Box::new(source::CameraSource::open(
        chosen.name.clone(),
        chosen.identity.clone(),
        opener,
        clock,
    )?))
}
