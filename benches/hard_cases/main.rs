//! The bench of hard cases: draws seeded clips with the demo, sweeps each disturbance from none to
//! twice the range that must hold, and prints what was missed, what was counted falsely, and how
//! exact times, sizes and kinds are.
//!
//! `cargo bench --no-default-features --bench hard_cases -- --help`

mod bench;

use std::process::ExitCode;

use beadtally::base::clock::{Clock, SystemClock};
use clap::Parser;

use bench::run::{self, Outcome, Outlines};
use bench::sweep::{Case, DISTURBANCES, SCENES};
use bench::table;

/// Sweeps every disturbance from none to twice the range that must hold.
#[derive(Parser, Debug)]
struct Args {
    /// Few and short cases: under two minutes.
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
    /// Length of a case, seconds.
    #[arg(long)]
    secs: Option<f64>,
    /// Let the instrument find the glasses instead of telling it where they are.
    #[arg(long)]
    found: bool,
    /// How many cases at a time.
    #[arg(long, default_value_t = 2)]
    jobs: usize,
    /// A line for each scene, too.
    #[arg(long)]
    each: bool,
    /// Every error with its time.
    #[arg(long)]
    errors: bool,
    /// Only list the cases and their words.
    #[arg(long)]
    list: bool,
    /// Passed by `cargo bench`; means nothing here.
    #[arg(long, hide = true)]
    bench: bool,
}

/// Levels of a whole sweep, and of a quick one.
const LEVELS: [f64; 5] = [0.0, 0.5, 1.0, 1.5, 2.0];
const QUICK_LEVELS: [f64; 2] = [0.0, 1.0];
/// Length of a case, seconds.
const SECS: f64 = 45.0;
const QUICK_SECS: f64 = 15.0;

fn cases(args: &Args) -> Vec<Case> {
    let secs = args
        .secs
        .unwrap_or(if args.quick { QUICK_SECS } else { SECS });
    let levels: Vec<f64> = match (args.level.is_empty(), args.quick) {
        (false, _) => args.level.clone(),
        (true, true) => QUICK_LEVELS.to_vec(),
        (true, false) => LEVELS.to_vec(),
    };
    let mut cases = Vec::new();
    for disturbance in DISTURBANCES {
        let named = args.only.iter().any(|part| {
            let rest = disturbance.name.strip_prefix(part.as_str());
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('-'))
        });
        if !args.only.is_empty() && !named {
            continue;
        }
        for &level in &levels {
            for scene in SCENES {
                if !args.scene.is_empty() && !args.scene.iter().any(|s| s == scene.name) {
                    continue;
                }
                cases.extend(Case::new(scene, disturbance, level, secs));
            }
        }
    }
    cases
}

fn main() -> ExitCode {
    let args = Args::parse();
    let cases = cases(&args);
    if args.list {
        for case in &cases {
            println!("{}  {} s  {}", case.name(), case.secs, case.words);
        }
        return ExitCode::SUCCESS;
    }
    let outlines = if args.found {
        Outlines::Found
    } else {
        Outlines::True
    };
    let clock = SystemClock::new();
    let total = cases.len();
    eprintln!("{total} cases, {} at a time", args.jobs);
    let outcomes = run::all(&cases, outlines, args.jobs, &|outcome| match outcome {
        Ok(outcome) => eprintln!(
            "{:6.1} s {:<28} F1 {:.4}",
            clock.monotonic_secs(),
            outcome.case.name(),
            outcome.score.f1()
        ),
        Err(why) => eprintln!("{why}"),
    });
    let broken: Vec<&String> = outcomes.iter().filter_map(|o| o.as_ref().err()).collect();
    let outcomes: Vec<Outcome> = outcomes.iter().filter_map(|o| o.clone().ok()).collect();
    report(&args, &outcomes);
    for why in &broken {
        println!("NOT DONE: {why}");
    }
    println!(
        "{} cases in {:.0} s",
        outcomes.len(),
        clock.monotonic_secs()
    );
    if broken.is_empty() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn report(args: &Args, outcomes: &[Outcome]) {
    println!("{}", table::heading());
    for (name, level, score) in table::pooled(outcomes) {
        println!("{}", table::line(&name, level, "all", &score));
        if args.each {
            for outcome in outcomes
                .iter()
                .filter(|o| o.case.disturbance.name == name && o.case.level == level)
            {
                println!(
                    "{}",
                    table::line("", level, outcome.case.scene.name, &outcome.score)
                );
            }
        }
    }
    for (name, level, score) in table::pooled(outcomes) {
        if name.starts_with("idle") {
            println!(
                "{name} at level {level}: {} false drops in {:.2} glass-hours, {:.1} an hour",
                score.false_drops,
                score.watched_secs / 3600.0,
                score.false_an_hour()
            );
        }
    }
    let mut worst: Vec<&Outcome> = outcomes
        .iter()
        .filter(|o| !o.errors.is_empty() || o.score.blind_per_cent() > 10.0)
        .collect();
    worst.sort_by(|a, b| a.score.f1().total_cmp(&b.score.f1()));
    if !worst.is_empty() {
        println!("\nWhere something went wrong, worst first:");
    }
    for outcome in worst {
        let score = &outcome.score;
        println!(
            "{}  F1 {:.4}, missed {}, false {}, excused {}, blind {:.1} %\n    {}",
            outcome.case.name(),
            score.f1(),
            score.missed,
            score.false_drops,
            score.excused,
            score.blind_per_cent(),
            outcome.case.words
        );
        for (why, secs) in &outcome.blind {
            println!("    blind {secs:.1} glass-seconds: {}", why.words());
        }
        if args.errors {
            for error in &outcome.errors {
                println!("    {error}");
            }
        }
    }
}
