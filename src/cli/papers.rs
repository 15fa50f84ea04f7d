//! `beadtally man`, `beadtally completions` and `beadtally desktop`: what a packager or a person
//! installs beside the program. The first two are made from the command line's own description;
//! the desktop entry and the icon are our own drawing.

use std::io::Write;
use std::path::Path;

use anyhow::Context;
use clap::CommandFactory;

use crate::run::export::write_whole;

use super::args::{Arguments, CompletionsArgs, DesktopArgs, ManArgs};
use super::code;
use super::out::Out;

/// The desktop entry.
const ENTRY: &str = include_str!("../ui/desktop/beadtally.desktop");
/// The icon.
const ICON: &str = include_str!("../ui/desktop/beadtally.svg");
/// Where the desktop entry stands under a data folder.
const ENTRY_PLACE: &str = "applications/beadtally.desktop";
/// Where the icon stands under a data folder.
const ICON_PLACE: &str = "icons/hicolor/scalable/apps/beadtally.svg";

/// Writes the manual page, or one for every command into a folder.
///
/// # Errors
/// A sentence: a folder that cannot be written.
pub fn man(args: &ManArgs) -> anyhow::Result<u8> {
    let command = Arguments::command();
    let mut out = Out::new();
    let Some(folder) = &args.folder else {
        let mut page = Vec::new();
        clap_mangen::Man::new(command).render(&mut page)?;
        out.line(String::from_utf8_lossy(&page).trim_end())?;
        return Ok(code::DONE);
    };
    make(folder)?;
    clap_mangen::generate_to(command, folder).with_context(|| refused(folder))?;
    out.line(&folder.display().to_string())?;
    Ok(code::DONE)
}

/// Writes the completions of a shell.
///
/// # Errors
/// What the system says of standard output.
pub fn completions(args: &CompletionsArgs) -> anyhow::Result<u8> {
    let mut script = Vec::new();
    clap_complete::generate(
        args.shell,
        &mut Arguments::command(),
        env!("CARGO_PKG_NAME"),
        &mut script,
    );
    Out::new().line(String::from_utf8_lossy(&script).trim_end())?;
    Ok(code::DONE)
}

/// Writes the desktop entry and the icon into a data folder.
///
/// # Errors
/// A sentence: a folder or file that cannot be written.
pub fn desktop(args: &DesktopArgs) -> anyhow::Result<u8> {
    let mut out = Out::new();
    for (place, content) in [(ENTRY_PLACE, ENTRY), (ICON_PLACE, ICON)] {
        let path = args.folder.join(place);
        if let Some(folder) = path.parent() {
            make(folder)?;
        }
        write_whole(&path, |file| file.write_all(content.as_bytes()))?;
        out.line(&path.display().to_string())?;
    }
    Ok(code::DONE)
}

fn make(folder: &Path) -> anyhow::Result<()> {
    std::fs::create_dir_all(folder).with_context(|| refused(folder))
}

fn refused(path: &Path) -> String {
    format!(
        "{} cannot be written; choose a folder that you may write to",
        path.display()
    )
}
