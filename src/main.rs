//! Arguments to a window or a command; an error becomes one sentence and an exit code.
#![forbid(unsafe_code)]

use std::process::ExitCode;

use beadtally::cli::{self, Outcome, WindowWanted};

fn main() -> ExitCode {
    match cli::run(std::env::args_os()) {
        Outcome::Exit(code) => ExitCode::from(code),
        Outcome::OpenWindow(wanted) => open_window(&wanted),
    }
}

#[cfg(not(feature = "window"))]
fn open_window(_wanted: &WindowWanted) -> ExitCode {
    cli::out::complain(
        "this build has no window; watch in the terminal with `beadtally watch demo`, or build it \
         with its default features",
    );
    ExitCode::from(cli::code::FAILED)
}

#[cfg(feature = "window")]
fn open_window(wanted: &WindowWanted) -> ExitCode {
    use beadtally::run::logbook;
    use beadtally::ui::{UiSettings, open};

    let logbook = match wanted
        .logbook
        .clone()
        .map_or_else(logbook::default_path, Ok)
    {
        Ok(path) => Some(path),
        Err(error) => {
            cli::out::complain(&format!("{error}; nothing will be recorded"));
            None
        }
    };
    let settings = UiSettings {
        source: wanted.source.clone(),
        calibration: wanted.calibration.clone(),
        logbook,
    };
    match open(settings) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            cli::out::complain(&error.to_string());
            ExitCode::from(cli::code::FAILED)
        }
    }
}
