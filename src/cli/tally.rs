//! `beadtally tally`: counts a recorded clip and prints what it found. The counting is
//! `run::tally`'s.

use std::io;
use std::path::Path;
use std::sync::Arc;

use anyhow::bail;
use indicatif::{ProgressBar, ProgressStyle};

use crate::base::{BeadKind, Clock, SystemClock};
use crate::capture::{self, SourceSpec, demo};
use crate::glass::Calibration;
use crate::run::keeping::Keeper;
use crate::run::tally::{Besides, Progress, TallyReport, TallySettings, tally_beside};

use super::args::TallyArgs;
use super::code;
use super::lines::{feed_words, measures_words, verdict_words};
use super::out::{Out, complain};
use super::runs::meant;

/// Counts the clip.
///
/// # Errors
/// A sentence: the clip or the calibration cannot be read, no glass is found.
pub fn run(args: &TallyArgs, logbook: Option<&Path>) -> anyhow::Result<u8> {
    let spec: SourceSpec = args.clip.parse()?;
    let calibration = args
        .calibration
        .as_deref()
        .map(Calibration::read)
        .transpose()?;
    let settings = TallySettings {
        clip: args.clip.clone(),
        calibration,
        presets: args.glass.presets(),
    };
    let clock = Arc::new(SystemClock::new());
    if args.for_secs.is_none() && !matches!(spec, SourceSpec::Path(_)) {
        if let SourceSpec::Demo(words) = &spec {
            // What is wrong with its words is told first.
            demo::open(words)?;
        }
        bail!("{spec} has no end; say how much of it to count, such as --for 60");
    }
    let keeper = if args.record {
        let path = meant(logbook)?;
        Some(Keeper::open(&path, args.title.clone(), clock.wall_secs())?)
    } else {
        None
    };
    let besides = Besides {
        until_secs: args.for_secs,
        marks: args.marks.clone(),
        keeper,
    };
    let bar = bar();
    let mut open = || {
        let clock: Arc<SystemClock> = Arc::clone(&clock);
        capture::open(&spec, clock)
    };
    let report = tally_beside(&mut open, &settings, besides, &mut |progress| {
        show(&bar, progress);
    });
    bar.finish_and_clear();
    let report = report?;
    let mut out = Out::new();
    if args.json {
        out.json(&report)?;
    } else {
        print(&mut out, &report)?;
        if let Some(run) = report.run {
            out.line(&format!("recorded as run {run}"))?;
        }
    }
    Ok(match &report.damaged {
        None => code::DONE,
        Some(why) => {
            complain(&format!(
                "the clip could not be read to its end, and what comes after {} s is not counted: \
                 {why}",
                report.duration_s
            ));
            code::FAILED
        }
    })
}

/// A bar on stderr, hidden when that is no terminal.
fn bar() -> ProgressBar {
    let bar = ProgressBar::new_spinner();
    if let Ok(style) = ProgressStyle::with_template("{msg} {pos} frames {elapsed}") {
        bar.set_style(style);
    }
    bar
}

fn show(bar: &ProgressBar, progress: Progress) {
    match progress {
        Progress::Finding(pictures) => {
            bar.set_message("finding the glasses");
            bar.set_position(pictures);
        }
        Progress::Counting(pictures, all) => {
            if pictures == 1 {
                bar.set_message("counting");
                if let Some(all) = all {
                    bar.set_length(all);
                    if let Ok(style) = ProgressStyle::with_template(
                        "{msg} {wide_bar} {pos}/{len} frames, {eta} left",
                    ) {
                        bar.set_style(style);
                    }
                }
            }
            bar.set_position(pictures);
        }
    }
}

fn print(out: &mut Out, report: &TallyReport) -> io::Result<()> {
    let scale = report
        .px_per_mm
        .map_or_else(|| "scale not known".to_owned(), |v| format!("{v} px/mm"));
    out.line(&format!(
        "{}: {} frames, {} s, {scale}",
        report.clip, report.frames, report.duration_s
    ))?;
    for glass in &report.glasses {
        let count = |kind| glass.beads.iter().filter(|bead| bead.kind == kind).count();
        out.line(&format!(
            "{}, {}: {} drops, {} bubbles; {}",
            feed_words(Some(glass.feed), &glass.name),
            glass.kind.word(),
            count(BeadKind::Oil),
            count(BeadKind::Gas),
            verdict_words(glass.reading, glass.state)
        ))?;
        for bead in &glass.beads {
            out.line(&format!(
                "  {:8.3} s  {}{}",
                bead.at_s,
                bead.kind.word(),
                measures_words(bead.diameter_mm, bead.rise_mm_per_s)
            ))?;
        }
        for doubt in &glass.doubts {
            out.line(&format!("  doubt: {doubt}"))?;
        }
    }
    for blind in &report.blind {
        out.line(&format!(
            "not seen, {}: {} to {} s: {}",
            feed_words(blind.feed, ""),
            blind.from_s,
            blind.to_s,
            blind.why
        ))?;
    }
    for gap in &report.gaps {
        out.line(&format!(
            "gap: {} to {} s: {}",
            gap.from_s, gap.to_s, gap.why
        ))?;
    }
    for doubt in &report.doubts {
        out.line(&format!("doubt: {doubt}"))?;
    }
    Ok(())
}
