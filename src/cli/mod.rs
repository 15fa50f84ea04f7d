//! The commands. They speak text and JSON; they know nothing of the window. Each command has a
//! file of its own; here is what they share: the arguments, the errors, the exit codes.

pub mod args;
pub mod cameras;
pub mod draw;
pub mod export;
pub mod find;
pub mod lines;
pub mod out;
mod papers;
pub mod report;
pub mod runs;
pub mod tables;
pub mod tally;
pub mod watch;

use std::ffi::OsString;
use std::path::PathBuf;

use clap::Parser;

pub use args::{Arguments, Verb, WindowArgs};

/// The exit codes, as `--help` tells them.
pub mod code {
    /// All was done.
    pub const DONE: u8 = 0;
    /// Something could not be read or done; a sentence on stderr says what and why.
    pub const FAILED: u8 = 1;
    /// The command line makes no sense.
    pub const USAGE: u8 = 2;
}

/// What the command line came to.
#[derive(Debug)]
pub enum Outcome {
    /// A command ran; this is the exit code.
    Exit(u8),
    /// No command: a window is wanted.
    OpenWindow(WindowWanted),
}

/// What a person said of the window on the command line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WindowWanted {
    /// What to watch first, in the words of the commands; none to let the window choose.
    pub source: Option<String>,
    /// The calibration file to start with.
    pub calibration: Option<PathBuf>,
    /// The logbook, when not the usual one.
    pub logbook: Option<PathBuf>,
}

/// Reads the command line and runs the command.
pub fn run(words: impl IntoIterator<Item = OsString>) -> Outcome {
    let arguments = match Arguments::try_parse_from(words) {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version are no errors and go to stdout; a closed one is no matter.
            let _ = error.print();
            return Outcome::Exit(if error.use_stderr() {
                code::USAGE
            } else {
                code::DONE
            });
        }
    };
    start_telling(arguments.verbose);
    let logbook = arguments.logbook;
    let Some(verb) = arguments.verb else {
        return Outcome::OpenWindow(WindowWanted {
            source: arguments.window.source,
            calibration: arguments.window.calibration,
            logbook,
        });
    };
    if arguments.window != WindowArgs::default() {
        eprintln!(
            "beadtally: --source and --calibration before a command are for the window; write \
             them after the command"
        );
        return Outcome::Exit(code::USAGE);
    }
    let done = match verb {
        Verb::Cameras(args) => cameras::run(&args),
        Verb::Find(args) => find::run(&args),
        Verb::Tally(args) => tally::run(&args, logbook.as_deref()),
        Verb::Watch(args) => watch::run(&args, logbook.as_deref()),
        Verb::Runs(args) => runs::run(&args, logbook.as_deref()),
        Verb::Export(args) => export::run(&args, logbook.as_deref()),
        Verb::Report(args) => report::run(&args, logbook.as_deref()),
        Verb::Draw(args) => draw::run(&args).map(|()| code::DONE),
        Verb::Man(args) => papers::man(&args),
        Verb::Completions(args) => papers::completions(&args),
        Verb::Desktop(args) => papers::desktop(&args),
        Verb::Tables(args) => tables::run(&args),
    };
    Outcome::Exit(done.unwrap_or_else(|error| {
        if out::is_closed_pipe(&error) {
            // Whoever read our output has enough of it.
            return code::DONE;
        }
        out::complain(&format!("{error:#}"));
        code::FAILED
    }))
}

/// Diagnostics on stderr: none by default, because everything a person must know is said in plain
/// words elsewhere; more with `-v`, and exactly what `BEADTALLY_LOG` says when it is set (`debug`,
/// `beadtally=trace`, …).
fn start_telling(verbose: u8) {
    use tracing_subscriber::EnvFilter;
    let usual = match verbose {
        0 => "off",
        1 => "beadtally=info",
        2 => "beadtally=debug",
        _ => "trace",
    };
    let filter = EnvFilter::try_from_env("BEADTALLY_LOG").unwrap_or_else(|_| EnvFilter::new(usual));
    // A second call in one process (tests) keeps the first.
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .try_init();
}
