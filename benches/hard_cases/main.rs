//! The bench of hard cases: clips drawn by the demo, and recorded clips disturbed by other means,
//! with each disturbance swept from none to twice the range that must hold. It prints what was
//! missed, what was counted falsely, and how exact times, sizes and kinds are.
//!
//! `cargo bench --no-default-features --bench hard_cases -- --help`

mod bench;

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use beadtally::base::clock::{Clock, SystemClock};
use clap::Parser;

use bench::row::{self, Row};
use bench::run::{self, How, Job, Outlines};
use bench::second;
use bench::second::clip::Clip;
use bench::sweep::{Case, DISTURBANCES, SCENES};
use bench::{chart, table};

/// Sweeps every disturbance from none to twice the range that must hold.
#[derive(Parser, Debug)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "switches of a command line, each a word of its own"
)]
struct Args {
    /// Few and short cases: one scene a disturbance, 12 seconds each.
    #[arg(long)]
    quick: bool,
    /// Only these disturbances, parted by commas; `idle` means `idle-gas`, too.
    #[arg(long, value_delimiter = ',')]
    only: Vec<String>,
    /// Only these scenes: backlit, card, front, port.
    #[arg(long, value_delimiter = ',')]
    scene: Vec<String>,
    /// Only these levels.
    #[arg(long, value_delimiter = ',')]
    level: Vec<f64>,
    /// Length of a drawn case, seconds.
    #[arg(long)]
    secs: Option<f64>,
    /// Which drawing of the cases: each has other beads and other noise; may be given again.
    #[arg(long, default_value = "0")]
    drawing: Vec<u32>,
    /// Let the instrument find the glasses in the disturbed pictures instead of telling it where
    /// they are.
    #[arg(long)]
    found: bool,
    /// A recorded clip to disturb instead of drawing; may be given again.
    #[arg(long, value_name = "CLIP")]
    clip: Vec<PathBuf>,
    /// The truth of each clip, in the same order.
    #[arg(long, value_name = "JSON")]
    truth: Vec<PathBuf>,
    /// Ask the OpenCV counter of this script, too (needs python3 with cv2).
    #[arg(long, value_name = "SCRIPT.py")]
    beside: Option<PathBuf>,
    /// How many cases at a time.
    #[arg(long, default_value_t = 2)]
    jobs: usize,
    /// A line for each scene, too.
    #[arg(long)]
    each: bool,
    /// Every error with its time.
    #[arg(long)]
    errors: bool,
    /// Keep the rows in a file.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Add the rows of such a file to the table and the chart; may be given again.
    #[arg(long, value_name = "FILE")]
    add: Vec<PathBuf>,
    /// Write the chart.
    #[arg(long, value_name = "FILE.svg")]
    chart: Option<PathBuf>,
    /// Only list the cases and their words.
    #[arg(long)]
    list: bool,
    /// Run nothing: only the rows that are added.
    #[arg(long)]
    nothing: bool,
    /// Passed by `cargo bench`; means nothing here.
    #[arg(long, hide = true)]
    bench: bool,
}

/// Levels of a whole sweep, and of a quick one.
const LEVELS: [f64; 5] = [0.0, 0.5, 1.0, 1.5, 2.0];
const QUICK_LEVELS: [f64; 2] = [0.0, 1.0];
/// Length of a drawn case, seconds.
const SECS: f64 = 36.0;
const QUICK_SECS: f64 = 12.0;
/// The scene that a quick run draws of each disturbance, turn by turn.
const QUICK_SCENES: usize = 1;

impl Args {
    fn wants(&self, name: &str) -> bool {
        let named = |part: &String| {
            let rest = name.strip_prefix(part.as_str());
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('-'))
        };
        self.only.is_empty() || self.only.iter().any(named)
    }

    fn levels(&self) -> Vec<f64> {
        match (self.level.is_empty(), self.quick) {
            (false, _) => self.level.clone(),
            (true, true) => QUICK_LEVELS.to_vec(),
            (true, false) => LEVELS.to_vec(),
        }
    }

    fn drawn(&self) -> Vec<Job> {
        let usual = if self.quick { QUICK_SECS } else { SECS };
        let secs = self.secs.unwrap_or(usual);
        let mut jobs = Vec::new();
        for (index, disturbance) in DISTURBANCES.into_iter().enumerate() {
            if !self.wants(disturbance.name) {
                continue;
            }
            for &level in &self.levels() {
                for (place, scene) in SCENES.into_iter().enumerate() {
                    let named = self.scene.iter().any(|s| s == scene.name);
                    let turn = (place + SCENES.len() - index % SCENES.len()) % SCENES.len();
                    // What lies between the levels that matter is drawn of half the scenes.
                    let between = level.fract() != 0.0 && self.level.is_empty();
                    let left_out = match (self.scene.is_empty(), self.quick) {
                        (true, true) => turn >= QUICK_SCENES,
                        (true, false) => between && turn % 2 == 1,
                        (false, _) => !named,
                    };
                    if !left_out {
                        jobs.extend(self.drawing.iter().filter_map(|drawing| {
                            let case = Case::new(scene, disturbance, level, secs, *drawing);
                            case.map(Job::Drawn)
                        }));
                    }
                }
            }
        }
        jobs
    }

    fn recorded(&self) -> Result<Vec<Job>, String> {
        if self.clip.len() != self.truth.len() {
            return Err("give a --truth for each --clip, in the same order".to_owned());
        }
        let mut jobs = Vec::new();
        for (clip, truth) in self.clip.iter().zip(&self.truth) {
            let clip = Arc::new(Clip::read(clip, truth)?);
            for name in second::NAMES {
                for &level in &self.levels() {
                    if self.wants(name) && (level == 0.0) == (name == "plain") {
                        jobs.push(Job::Recorded(clip.clone(), name, level));
                    }
                }
            }
        }
        Ok(jobs)
    }
}

fn main() -> ExitCode {
    match bench(&Args::parse()) {
        Ok(code) => code,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn bench(args: &Args) -> Result<ExitCode, String> {
    let jobs = match (args.nothing, args.clip.is_empty()) {
        (true, _) => Vec::new(),
        (false, true) => args.drawn(),
        (false, false) => args.recorded()?,
    };
    if args.list {
        for job in &jobs {
            match job {
                Job::Drawn(case) => {
                    let coding = case
                        .coding
                        .map_or_else(String::new, |coding| format!(", then {coding}"));
                    println!("{}  {} s  {}{coding}", job.name(), case.secs, case.words);
                }
                Job::Recorded(..) => println!("{}", job.name()),
            }
        }
        return Ok(ExitCode::SUCCESS);
    }
    let how = How {
        outlines: if args.found {
            Outlines::Found
        } else {
            Outlines::True
        },
        beside: args.beside.clone(),
    };
    let clock = SystemClock::new();
    eprintln!("{} cases, {} at a time", jobs.len(), args.jobs);
    let done = run::all(&jobs, &how, args.jobs, &|row| match row {
        Ok(row) => eprintln!(
            "{:6.1} s {:<30} F1 {:.4}{}",
            clock.monotonic_secs(),
            row.name(),
            row.score.f1(),
            row.beside
                .as_ref()
                .map_or_else(String::new, |b| format!(", OpenCV {:.4}", b.score.f1()))
        ),
        Err(why) => eprintln!("{why}"),
    });
    let broken: Vec<&String> = done.iter().filter_map(|row| row.as_ref().err()).collect();
    let mut rows: Vec<Row> = done.iter().filter_map(|row| row.clone().ok()).collect();
    if let Some(file) = &args.json {
        let text = serde_json::to_string_pretty(&rows).map_err(|error| error.to_string())?;
        write(file, &text)?;
    }
    for file in &args.add {
        let told = |why: String| format!("{}: {why}", file.display());
        let text = std::fs::read_to_string(file).map_err(|error| told(error.to_string()))?;
        let more: Vec<Row> =
            serde_json::from_str(&text).map_err(|error| told(error.to_string()))?;
        rows.extend(more);
    }
    report(args, &rows);
    if let Some(file) = &args.chart {
        write(file, &chart::svg(&row::pooled(&rows), &caption(&clock)))?;
    }
    for why in &broken {
        println!("NOT DONE: {why}");
    }
    println!("{} cases in {:.0} s", done.len(), clock.monotonic_secs());
    Ok(if broken.is_empty() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

fn write(file: &Path, text: &str) -> Result<(), String> {
    std::fs::write(file, text).map_err(|error| format!("{}: {error}", file.display()))
}

/// When and how the chart was made.
fn caption(clock: &SystemClock) -> String {
    let secs = clock.wall_secs() as i64;
    let date = jiff::Timestamp::from_second(secs).map_or_else(
        |_| String::new(),
        |now| format!("{}, ", now.strftime("%Y-%m-%d")),
    );
    format!("{date}cargo bench --no-default-features --bench hard_cases")
}

fn report(args: &Args, rows: &[Row]) {
    println!("{}", table::heading());
    let pools = row::pooled(rows);
    for pool in &pools {
        println!("{}", table::pool_line(pool));
        let own = |row: &&Row| {
            row.is_drawn() == (pool.way == row::DRAWN)
                && row.disturbance == pool.disturbance
                && row.level == pool.level
        };
        for row in rows.iter().filter(own).filter(|_| args.each) {
            let beside = row.beside.as_ref().map(|b| b.score.f1());
            println!(
                "{}",
                table::line("", row.level, &row.scene, &row.score, beside)
            );
        }
    }
    for pool in pools.iter().filter(|p| p.disturbance.starts_with("idle")) {
        println!(
            "{} at level {}: {} false drops in {:.2} glass-hours, {:.1} an hour",
            pool.disturbance,
            pool.level,
            pool.score.false_drops,
            pool.score.watched_secs / 3600.0,
            pool.score.false_an_hour()
        );
    }
    let mut worst: Vec<&Row> = rows
        .iter()
        .filter(|row| !row.errors.is_empty() || row.score.blind_per_cent() > 10.0)
        .collect();
    worst.sort_by(|a, b| a.score.f1().total_cmp(&b.score.f1()));
    if !worst.is_empty() {
        println!("\nWhere something went wrong, worst first:");
    }
    for row in worst {
        let score = &row.score;
        println!(
            "{}  F1 {:.4}, missed {}, false {}, excused {}, blind {:.1} %\n    {}",
            row.name(),
            score.f1(),
            score.missed,
            score.false_drops,
            score.excused,
            score.blind_per_cent(),
            row.words
        );
        for (why, secs) in &row.blind {
            println!("    blind {secs:.1} glass-seconds: {}", why.words());
        }
        for error in row.errors.iter().filter(|_| args.errors) {
            println!("    {error}");
        }
    }
}
