//! `beadtally export`: writes a run as CSV files. The files are `run::export`'s.

use std::path::Path;

use jiff::tz::TimeZone;

use crate::run::export::export;
use crate::run::logbook::LogbookReader;

use super::args::ExportArgs;
use super::code;
use super::out::Out;
use super::runs::{meant, run_meant};

/// Writes the files.
///
/// # Errors
/// A sentence: no such run, a folder that cannot be written.
pub fn run(args: &ExportArgs, given: Option<&Path>) -> anyhow::Result<u8> {
    let reader = LogbookReader::open(&meant(given)?)?;
    let run = run_meant(&reader, &args.run)?;
    let contents = reader.contents(run)?;
    let files = export(&contents, &args.csv, &TimeZone::system())?;
    let mut out = Out::new();
    for file in files {
        out.line(&file.display().to_string())?;
    }
    Ok(code::DONE)
}
