//! `beadtally report`: writes a run as a page, a sheet or tables. What they say is `run::report`'s.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::tz::TimeZone;

use crate::base::{Clock, SystemClock};
use crate::run::export::{self, write_table, write_tables, write_whole};
use crate::run::logbook::LogbookReader;
use crate::run::report::{Report, figures, page, sheet, sheet_lines};

use super::code;
use super::out::Out;
use super::runs::{meant, run_meant};

/// What `--sheet` without a file means, as elsewhere on the command line.
const PRINTED: &str = "-";

/// Arguments of `report`.
#[derive(Args, Clone, Debug)]
pub struct ReportArgs {
    /// The number of the run as `beadtally runs` shows it, or `last`
    pub(super) run: String,
    /// Write the whole report as one HTML page, to be read or printed
    #[arg(long, value_name = "FILE.html")]
    pub(super) html: Option<PathBuf>,
    /// Write tables for a spreadsheet: into a folder, or all records into one file ending in .csv
    #[arg(long, value_name = "FILE.csv|FOLDER")]
    pub(super) csv: Option<PathBuf>,
    /// The as-found / as-left sheet: printed, or written as one HTML page
    #[arg(long, value_name = "FILE.html", num_args = 0..=1, default_missing_value = PRINTED)]
    pub(super) sheet: Option<PathBuf>,
}

/// Writes what was asked for; with nothing asked for, prints the sheet.
///
/// # Errors
/// A sentence: no such run, a file that cannot be written.
pub fn run(args: &ReportArgs, given: Option<&Path>) -> anyhow::Result<u8> {
    let reader = LogbookReader::open(&meant(given)?)?;
    let run = run_meant(&reader, &args.run)?;
    let made_wall_secs = SystemClock::new().wall_secs();
    let report = Report::of_run(&reader, run, TimeZone::system(), made_wall_secs)?;
    let mut out = Out::new();
    if let Some(path) = &args.html {
        write_text(path, &page(&report))?;
        out.line(&path.display().to_string())?;
    }
    if let Some(path) = &args.csv {
        let is_file = path
            .extension()
            .is_some_and(|end| end.eq_ignore_ascii_case("csv"));
        if is_file && !path.is_dir() {
            write_table(path, &figures::records(&report))?;
            out.line(&path.display().to_string())?;
        } else {
            let mut tables = export::tables(&report.run, &report.zone);
            tables.extend(figures::tables(&report));
            for file in write_tables(&tables, path)? {
                out.line(&file.display().to_string())?;
            }
        }
    }
    let nothing = args.html.is_none() && args.csv.is_none() && args.sheet.is_none();
    match &args.sheet {
        Some(path) if path.as_os_str() == PRINTED => print_sheet(&mut out, &report)?,
        Some(path) => {
            write_text(path, &sheet(&report))?;
            out.line(&path.display().to_string())?;
        }
        None if nothing => print_sheet(&mut out, &report)?,
        None => {}
    }
    Ok(code::DONE)
}

fn write_text(path: &Path, text: &str) -> Result<(), export::ExportError> {
    write_whole(path, |file| file.write_all(text.as_bytes()))
}

fn print_sheet(out: &mut Out, report: &Report) -> std::io::Result<()> {
    for line in sheet_lines(report) {
        out.line(&line)?;
    }
    Ok(())
}
