//! What everything costs, beside the floor under it: measuring a frame by parts, decoding by
//! format, the whole pipeline, memory, start-up, growth. It prints a table and keeps JSON.
//!
//! `cargo bench --no-default-features --bench cost -- --help`

mod bench;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

use bench::sheet::Sheet;
use bench::{machine, measure};

/// Measures what everything costs on this machine.
#[derive(Parser, Debug)]
struct Args {
    /// Only these parts, parted by commas: measure.
    #[arg(long, value_delimiter = ',')]
    only: Vec<String>,
    /// Only these picture sizes, such as 640x480.
    #[arg(long, value_delimiter = ',')]
    size: Vec<String>,
    /// Only these numbers of glasses.
    #[arg(long, value_delimiter = ',')]
    glasses: Vec<u32>,
    /// Fewer frames: for a first look.
    #[arg(long)]
    quick: bool,
    /// Keep all figures in a file.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Given by cargo; it means nothing here.
    #[arg(long, hide = true)]
    bench: bool,
}

impl Args {
    fn wants(&self, part: &str) -> bool {
        self.only.is_empty() || self.only.iter().any(|only| only == part)
    }
}

fn main() -> ExitCode {
    match run(&Args::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn run(args: &Args) -> Result<(), String> {
    let machine = machine::Machine::look();
    println!("{}", machine.words());
    let mut sheet = Sheet::default();
    if args.wants("measure") {
        let sizes = measure::sizes(&args.size)?;
        let which = measure::Which {
            sizes,
            glasses: args.glasses.clone(),
            seconds: if args.quick { 4.0 } else { 12.0 },
        };
        measure::all(&which, &machine, &mut sheet)?;
    }
    if let Some(file) = &args.json {
        let kept = serde_json::json!({ "machine": machine, "figures": sheet.figures });
        let text = serde_json::to_string_pretty(&kept).map_err(|error| error.to_string())?;
        std::fs::write(file, text).map_err(|error| format!("{}: {error}", file.display()))?;
    }
    Ok(())
}
