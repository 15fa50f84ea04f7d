//! `beadtally tables`: shows by simulation how often the limits of a reading hold the true rate,
//! what a limit of silence costs in false alarms and delay, and how soon a change of rate is found.
//! The simulations are `rate::study`'s; here they are only printed.

use clap::{Args, ValueEnum};
use serde::Serialize;

use crate::rate::study::{
    CoverageCell, CoverageRow, SilenceTable, StepRow, coverage_table, silence_table, step_table,
};
use crate::run::tally::rounded;

use super::code;
use super::out::Out;

/// Simulated records a row of the coverage table when nothing is said: some seconds, and ±1.5 % on
/// a coverage of 95 %.
const COVERAGE_RUNS: usize = 200;

/// Simulated records of a silence table when nothing is said.
const SILENCE_RUNS: usize = 300;

/// Simulated steps each way of a step table when nothing is said; with them go 160 hours without.
const STEP_RUNS: usize = 200;

/// Standard errors that chance is allowed before a figure counts as not as wanted.
const ERRORS: f64 = 3.0;

/// Feeds of the silence tables: scatter, share of beads missed, drops they are known by.
const SILENT_FEEDS: [(f64, f64, usize); 7] = [
    (0.15, 0.005, 64),
    (0.15, 0.005, 10),
    (0.15, 0.005, 3),
    (0.30, 0.005, 64),
    (1.00, 0.005, 64),
    (1.00, 0.005, 5),
    (0.15, 0.0, 64),
];

/// Feeds of the step tables: scatter, share of beads missed.
const STEPPING_FEEDS: [(f64, f64); 2] = [(0.15, 0.0), (0.15, 0.005)];

/// Which table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Table {
    /// How often the 95 % limits of a reading hold the true rate, and how wide they are
    Coverage,
    /// Limits of silence: false alarms an hour against delay
    Silence,
    /// Steps of the rate by 30 %: delay against false alarms
    Step,
}

/// Arguments of `tables`.
#[derive(Args, Clone, Debug)]
pub struct TablesArgs {
    /// Which table
    #[arg(value_enum)]
    table: Table,
    /// Simulated records (or steps) a row; more are finer and take longer
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(10..=1_000_000))]
    runs: Option<u32>,
    /// Where chance starts; the same seed gives the same table
    #[arg(long, value_name = "N", default_value_t = 24)]
    seed: u64,
    /// Print one JSON object instead of text
    #[arg(long)]
    json: bool,
}

/// Prints a table.
///
/// # Errors
/// Only when the output cannot be written.
pub fn run(args: &TablesArgs) -> anyhow::Result<u8> {
    let runs = |usual: usize| args.runs.map_or(usual, |runs| runs as usize);
    let mut out = Out::new();
    match args.table {
        Table::Coverage => {
            let runs = runs(COVERAGE_RUNS);
            let rows = coverage_table(runs, args.seed);
            if args.json {
                out.json(&coverage_json(&rows, runs, args.seed))?;
            } else {
                coverage_text(&mut out, &rows, runs, args.seed)?;
            }
        }
        Table::Silence => {
            let runs = runs(SILENCE_RUNS);
            let tables: Vec<SilenceTable> = SILENT_FEEDS
                .iter()
                .filter_map(|(scatter, missed, drops)| {
                    silence_table(*scatter, *missed, *drops, runs, args.seed)
                })
                .collect();
            if args.json {
                out.json(&silence_json(&tables, args.seed))?;
            } else {
                for table in &tables {
                    silence_text(&mut out, table)?;
                }
            }
        }
        Table::Step => {
            let runs = runs(STEP_RUNS);
            let tables: Vec<Vec<StepRow>> = STEPPING_FEEDS
                .iter()
                .map(|(scatter, missed)| step_table(*scatter, *missed, runs, args.seed))
                .collect();
            if args.json {
                out.json(&step_json(&tables, runs, args.seed))?;
            } else {
                for rows in &tables {
                    step_text(&mut out, rows, runs)?;
                }
            }
        }
    }
    Ok(code::DONE)
}

fn coverage_text(
    out: &mut Out,
    rows: &[CoverageRow],
    runs: usize,
    seed: u64,
) -> std::io::Result<()> {
    out.line(&format!(
        "How often the 95 % limits hold the true rate, and (±) half their distance over the reading\n\
         {runs} simulated records a row, seed {seed}; ! is not as wanted, ~ is wanted of nobody: the \
         reading says that the feed may be irregular"
    ))?;
    if let Some(row) = rows.first() {
        let drops = row.cells.iter().map(|cell| format!("{:>16}", cell.drops));
        out.line(&format!(
            "{:54}{}",
            "after drops",
            drops.collect::<String>()
        ))?;
    }
    for row in rows {
        let cells = row.cells.iter().map(|cell| {
            format!(
                " {:5.1} % ±{:3.0} %{}",
                cell.coverage,
                cell.half_width,
                remark(cell)
            )
        });
        out.line(&format!("{:54}{}", row.name, cells.collect::<String>()))?;
    }
    Ok(())
}

fn remark(cell: &CoverageCell) -> char {
    if !cell.covers(ERRORS) || !cell.is_narrow() {
        '!'
    } else if cell.wanted.is_none() {
        '~'
    } else {
        ' '
    }
}

fn silence_text(out: &mut Out, table: &SilenceTable) -> std::io::Result<()> {
    out.line(&format!(
        "Silence of a feed at 2.5 drops a minute, scatter {:.0} %, {:.1} % of beads missed, known by \
         {} drops ({} records)",
        table.scatter * 100.0,
        table.missed_share * 100.0,
        table.drops,
        table.records
    ))?;
    out.line(&format!(
        "{:54}{:>10}{:>24}{:>22}",
        "limit", "intervals", "false alarms an hour", "delay of a stop"
    ))?;
    for row in &table.rows {
        out.line(&format!(
            "{:54}{:>10.2}{:>15.4} ±{:7.4}{:>10.1} s = {:.2} intervals",
            row.setting.words(),
            row.intervals,
            row.false_per_hour,
            row.false_error,
            row.delay_secs,
            row.delay_intervals
        ))?;
    }
    out.line("")
}

fn step_text(out: &mut Out, rows: &[StepRow], runs: usize) -> std::io::Result<()> {
    if let Some(first) = rows.first() {
        out.line(&format!(
            "Steps of ±30 % at 2.5 drops a minute, scatter {:.0} %, {:.1} % of beads missed ({runs} \
             steps each way, {:.0} hours without)",
            first.case.scatter * 100.0,
            first.case.missed_share * 100.0,
            first.hours
        ))?;
    }
    out.line(&format!(
        "{:42}{:>16}{:>16}{:>18}{:>18}",
        "told by", "slower after", "faster after", "false in 8 hours", "not or wrongly"
    ))?;
    for row in rows {
        out.line(&format!(
            "{:42}{:>14.0} s{:>14.0} s{:>18.2}{:>16.1} %",
            row.case.teller.words(),
            row.down_secs,
            row.up_secs,
            row.false_in_8_h,
            row.lost_share * 100.0
        ))?;
    }
    out.line("")
}

/// The coverage table as programs read it.
#[derive(Serialize)]
struct CoverageJson<'a> {
    table: &'static str,
    runs: usize,
    seed: u64,
    rows: Vec<CoverageRowJson<'a>>,
}

#[derive(Serialize)]
struct CoverageRowJson<'a> {
    feed: &'a str,
    missed_share: f64,
    blind_share: f64,
    cells: Vec<CoverageCellJson>,
}

#[derive(Serialize)]
struct CoverageCellJson {
    drops: usize,
    records: usize,
    coverage_percent: f64,
    error_percent: f64,
    half_width_percent: f64,
    mean_half_width_percent: f64,
    wanted_least_percent: Option<f64>,
    wanted_most_percent: Option<f64>,
    wanted_half_width_percent: Option<f64>,
    as_wanted: bool,
}

fn coverage_json(rows: &[CoverageRow], runs: usize, seed: u64) -> CoverageJson<'_> {
    let cell = |cell: &CoverageCell| CoverageCellJson {
        drops: cell.drops,
        records: cell.records,
        coverage_percent: rounded(cell.coverage, 2),
        error_percent: rounded(cell.error, 2),
        half_width_percent: rounded(cell.half_width, 2),
        mean_half_width_percent: rounded(cell.mean_half_width, 2),
        wanted_least_percent: cell.wanted.map(|wanted| wanted.least),
        wanted_most_percent: cell.wanted.map(|wanted| wanted.most),
        wanted_half_width_percent: cell.width_wanted,
        as_wanted: cell.covers(ERRORS) && cell.is_narrow(),
    };
    CoverageJson {
        table: "coverage",
        runs,
        seed,
        rows: rows
            .iter()
            .map(|row| CoverageRowJson {
                feed: &row.name,
                missed_share: row.faults.missed_share,
                blind_share: row.faults.blind_share,
                cells: row.cells.iter().map(cell).collect(),
            })
            .collect(),
    }
}

/// The silence tables as programs read them.
#[derive(Serialize)]
struct SilenceJson {
    table: &'static str,
    seed: u64,
    feeds: Vec<SilenceFeedJson>,
}

#[derive(Serialize)]
struct SilenceFeedJson {
    scatter: f64,
    missed_share: f64,
    known_by_drops: usize,
    records: usize,
    limits: Vec<SilenceRowJson>,
}

#[derive(Serialize)]
struct SilenceRowJson {
    limit: String,
    intervals: f64,
    false_alarms_per_hour: f64,
    error_per_hour: f64,
    delay_s: f64,
    delay_intervals: f64,
}

fn silence_json(tables: &[SilenceTable], seed: u64) -> SilenceJson {
    let feed = |table: &SilenceTable| SilenceFeedJson {
        scatter: table.scatter,
        missed_share: table.missed_share,
        known_by_drops: table.drops,
        records: table.records,
        limits: table
            .rows
            .iter()
            .map(|row| SilenceRowJson {
                limit: row.setting.words(),
                intervals: rounded(row.intervals, 3),
                false_alarms_per_hour: rounded(row.false_per_hour, 6),
                error_per_hour: rounded(row.false_error, 6),
                delay_s: rounded(row.delay_secs, 2),
                delay_intervals: rounded(row.delay_intervals, 3),
            })
            .collect(),
    };
    SilenceJson {
        table: "silence",
        seed,
        feeds: tables.iter().map(feed).collect(),
    }
}

/// The step tables as programs read them.
#[derive(Serialize)]
struct StepJson {
    table: &'static str,
    runs: usize,
    seed: u64,
    feeds: Vec<StepFeedJson>,
}

#[derive(Serialize)]
struct StepFeedJson {
    scatter: f64,
    missed_share: f64,
    tellers: Vec<StepRowJson>,
}

#[derive(Serialize)]
struct StepRowJson {
    teller: String,
    slower_after_s: f64,
    faster_after_s: f64,
    false_in_8_h: f64,
    hours_without: f64,
    not_or_wrongly_share: f64,
}

fn step_json(tables: &[Vec<StepRow>], runs: usize, seed: u64) -> StepJson {
    let feed = |rows: &Vec<StepRow>| {
        let first = rows.first()?;
        Some(StepFeedJson {
            scatter: first.case.scatter,
            missed_share: first.case.missed_share,
            tellers: rows
                .iter()
                .map(|row| StepRowJson {
                    teller: row.case.teller.words(),
                    slower_after_s: rounded(row.down_secs, 1),
                    faster_after_s: rounded(row.up_secs, 1),
                    false_in_8_h: rounded(row.false_in_8_h, 3),
                    hours_without: rounded(row.hours, 1),
                    not_or_wrongly_share: rounded(row.lost_share, 4),
                })
                .collect(),
        })
    };
    StepJson {
        table: "step",
        runs,
        seed,
        feeds: tables.iter().filter_map(feed).collect(),
    }
}
