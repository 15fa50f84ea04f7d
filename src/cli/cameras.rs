//! `beadtally cameras`: lists the cameras and what each can do.

use super::args::CamerasArgs;

/// Lists the cameras.
///
/// # Errors
/// A sentence when the system gives no list.
pub fn run(_args: &CamerasArgs) -> anyhow::Result<u8> {
    anyhow::bail!("stand-in")
}
