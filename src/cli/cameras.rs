//! `beadtally cameras`: lists the cameras and what each can do. The list is `capture::camera`'s.

use crate::capture::{self, CameraListing, Mode};

use super::args::CamerasArgs;
use super::code;
use super::lines::significant;
use super::out::Out;

/// Lists the cameras.
///
/// # Errors
/// A sentence when the system gives no list.
pub fn run(args: &CamerasArgs) -> anyhow::Result<u8> {
    let cameras = capture::list()?;
    let mut out = Out::new();
    if args.json {
        out.json(&cameras)?;
    } else if cameras.is_empty() {
        out.line(
            "no camera found; plug one in, and see that you may use it (on Linux: be in the group \
             that owns /dev/video0, often `video`)",
        )?;
    } else {
        for camera in &cameras {
            print(&mut out, camera)?;
        }
    }
    Ok(code::DONE)
}

fn print(out: &mut Out, camera: &CameraListing) -> std::io::Result<()> {
    out.line(&camera.name)?;
    out.line(&format!("  watch it with: camera:{}", camera.identity))?;
    if !camera.usable {
        out.line(&format!("  cannot be used: {}", camera.note))?;
    } else if !camera.note.is_empty() {
        out.line(&format!("  {}", camera.note))?;
    }
    for (index, mode) in camera.modes.iter().enumerate() {
        let chosen = if index == 0 { "  (the one used)" } else { "" };
        out.line(&format!("  {}{chosen}", mode_words(mode)))?;
    }
    Ok(())
}

fn mode_words(mode: &Mode) -> String {
    let rate = mode.frames_per_second.map_or_else(
        || "rate not told".to_owned(),
        |rate| format!("{} frames/s", significant(rate)),
    );
    format!(
        "{} × {}, {rate}, {}",
        mode.width,
        mode.height,
        mode.format.word()
    )
}
