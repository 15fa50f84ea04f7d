//! Arguments to a window or a command; an error becomes one sentence and an exit code.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

#[derive(Parser)]
struct Arguments {
    #[command(subcommand)]
    command: Verb,
}

#[derive(Subcommand)]
enum Verb {
    /// Writes a practice clip of the demo, with its truth beside it.
    Draw(beadtally::cli::draw::DrawArgs),
}

fn main() -> ExitCode {
    let Verb::Draw(arguments) = Arguments::parse().command;
    match beadtally::cli::draw::run(&arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("beadtally: {error:#}");
            ExitCode::FAILURE
        }
    }
}
