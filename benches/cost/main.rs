//! What everything costs, beside the floor under it: measuring a frame by parts, decoding by
//! format, the whole pipeline, memory, start-up, growth. It prints a table and keeps JSON.
//!
//! `cargo bench --no-default-features --bench cost -- --help`

mod bench;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

use bench::sheet::Sheet;
use bench::{beside, chart, decode, growth, live, machine, measure, program};

/// Measures what everything costs on this machine.
#[derive(Parser, Debug)]
struct Args {
    /// Only these parts, parted by commas: measure, decode, live, program, hours, logbook, beside.
    #[arg(long, value_delimiter = ',')]
    only: Vec<String>,
    /// Only these picture sizes, such as 640x480.
    #[arg(long, value_delimiter = ',')]
    size: Vec<String>,
    /// Only these numbers of glasses.
    #[arg(long, value_delimiter = ',')]
    glasses: Vec<u32>,
    /// Drops a minute of each glass of the part `measure`.
    #[arg(long, default_value_t = 12.0)]
    rate: f64,
    /// Seconds of picture before its figures begin. A glass is passed over only when two of its beads
    /// have told how long they take, so slow feeds need a minute.
    #[arg(long, default_value_t = 6.0)]
    warm_up: f64,
    /// Fewer frames: for a first look.
    #[arg(long)]
    quick: bool,
    /// How many hours of frames the part `hours` draws and measures.
    #[arg(long, default_value_t = 2.0)]
    hours: f64,
    /// A clip for the part `beside`; may be given again.
    #[arg(long, value_name = "CLIP")]
    clip: Vec<PathBuf>,
    /// The script with OpenCV for the part `beside` (needs python3 with cv2); without it the
    /// environment's `OPENCV_COUNTER`.
    #[arg(long, value_name = "SCRIPT.py")]
    opencv: Option<PathBuf>,
    /// Where that script looks, in its own words for `--scope`, parted by commas.
    #[arg(long, value_delimiter = ',', default_value = "frame")]
    opencv_scope: Vec<String>,
    /// Pairs of the part `beside`.
    #[arg(long, default_value_t = 7)]
    pairs: usize,
    /// Frames of each clip that OpenCV and the instrument are given at most.
    #[arg(long, default_value_t = 600)]
    frames: usize,
    /// Write a chart of how cost grows.
    #[arg(long, value_name = "FILE.svg")]
    chart: Option<PathBuf>,
    /// Keep all figures in a file.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// One case of the part `live`, in this process.
    #[arg(long, hide = true, value_parser = live_case)]
    live_case: Option<live::Case>,
    /// Given by cargo; it means nothing here.
    #[arg(long, hide = true)]
    bench: bool,
}

impl Args {
    fn wants(&self, part: &str) -> bool {
        self.only.is_empty() || self.only.iter().any(|only| only == part)
    }
}

fn live_case(words: &str) -> Result<live::Case, String> {
    live::Case::read(words).ok_or_else(|| "five numbers are wanted".to_owned())
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
    if let Some(case) = args.live_case {
        return live::one(case);
    }
    let machine = machine::Machine::look();
    println!("{}", machine.words());
    let mut sheet = Sheet::default();
    if args.wants("measure") {
        let sizes = measure::sizes(&args.size)?;
        let which = measure::Which {
            sizes,
            glasses: args.glasses.clone(),
            seconds: if args.quick { 4.0 } else { 12.0 },
            warm_up_secs: args.warm_up,
            rate_per_minute: args.rate,
        };
        measure::all(&which, &machine, &mut sheet)?;
    }
    if args.wants("decode") {
        decode::all(&measure::sizes(&args.size)?, &machine, &mut sheet)?;
    }
    if args.wants("live") {
        live::all(if args.quick { 8.0 } else { 20.0 }, &mut sheet)?;
    }
    if args.wants("program") {
        program::all(if args.quick { 8 } else { 20 }, &mut sheet)?;
    }
    if args.wants("hours") {
        growth::hours(if args.quick { 0.34 } else { args.hours }, &mut sheet)?;
    }
    if args.wants("logbook") {
        growth::logbook(if args.quick { 100 } else { 1000 }, &mut sheet)?;
    }
    if args.wants("beside") {
        let given = beside::Beside {
            clips: args.clip.clone(),
            script: args
                .opencv
                .clone()
                .or_else(|| std::env::var_os("OPENCV_COUNTER").map(Into::into)),
            scopes: args.opencv_scope.clone(),
            pairs: args.pairs,
            most_frames: args.frames,
        };
        beside::all(&given, &mut sheet)?;
    }
    if let Some(file) = &args.chart {
        let drawn = chart::draw(&sheet.figures);
        std::fs::write(file, drawn).map_err(|error| format!("{}: {error}", file.display()))?;
    }
    if let Some(file) = &args.json {
        let kept = serde_json::json!({ "machine": machine, "figures": sheet.figures });
        let text = serde_json::to_string_pretty(&kept).map_err(|error| error.to_string())?;
        std::fs::write(file, text).map_err(|error| format!("{}: {error}", file.display()))?;
    }
    Ok(())
}
