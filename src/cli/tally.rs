//! `beadtally tally`: counts a recorded clip and prints what it found. The counting is
//! `run::tally`'s.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, sync_channel};

use anyhow::bail;
use indicatif::{MultiProgress, ProgressBar, ProgressStyle};

use crate::base::{BeadKind, Clock, SystemClock};
use crate::capture::{self, SourceSpec, demo};
use crate::glass::Calibration;
use crate::run::keeping::Keeper;
use crate::run::oil::OIL_CAUTION;
use crate::run::tally::{Besides, Progress, TallyReport, TallySettings, tally_beside};

use super::args::TallyArgs;
use super::code;
use super::lines::{feed_words, measures_words, verdict_words};
use super::out::{Out, complain};
use super::runs::meant;
use super::taps;

/// Counts the clip, or several.
///
/// # Errors
/// A sentence: the clip or the calibration cannot be read, no glass is found.
pub fn run(args: &TallyArgs, logbook: Option<&Path>) -> anyhow::Result<u8> {
    let calibration = args
        .calibration
        .as_deref()
        .map(Calibration::read)
        .transpose()?;
    let keep_in = if args.record {
        Some(meant(logbook)?)
    } else {
        None
    };
    let job = Job {
        args,
        calibration,
        keep_in,
    };
    let [clip] = args.clips.as_slice() else {
        return several(&job);
    };
    let bar = bar(&ProgressBar::new_spinner(), "");
    let report = job.count(clip, &bar);
    bar.finish_and_clear();
    let report = report?;
    let mut out = Out::new();
    if args.json {
        out.json(&report)?;
    } else {
        print(&mut out, &report)?;
    }
    Ok(code_of(&report))
}

/// Counts clips side by side, one a core, and prints each as soon as those before it are printed.
fn several(job: &Job<'_>) -> anyhow::Result<u8> {
    let args = job.args;
    if args.taps.is_some() || !args.marks.is_empty() {
        bail!("--taps and --mark belong to one clip; count the clips one at a time with them");
    }
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    // One writes the logbook at a time.
    let workers = if args.record { 1 } else { cores };
    let bars = MultiProgress::new();
    let next = AtomicUsize::new(0);
    // A place for each, so that no worker ever waits for the printer.
    let (sender, receiver) = sync_channel(args.clips.len());
    std::thread::scope(|scope| {
        for n in 0..workers.min(args.clips.len()) {
            let (sender, next, bars) = (sender.clone(), &next, &bars);
            std::thread::Builder::new()
                .name(format!("tally-{n}"))
                .spawn_scoped(scope, move || {
                    loop {
                        let index = next.fetch_add(1, Ordering::Relaxed);
                        let Some(clip) = args.clips.get(index) else {
                            return;
                        };
                        let bar = bar(&bars.add(ProgressBar::new_spinner()), clip);
                        let counted = job.count(clip, &bar);
                        bar.finish_and_clear();
                        if sender.send((index, counted)).is_err() {
                            return;
                        }
                    }
                })?;
        }
        drop(sender);
        let printed = print_in_order(args, &receiver, &bars);
        if printed.is_err() {
            // Nobody reads any more: no clip is begun that has not been.
            next.store(args.clips.len(), Ordering::Relaxed);
        }
        printed
    })
}

fn print_in_order(
    args: &TallyArgs,
    receiver: &Receiver<(usize, anyhow::Result<TallyReport>)>,
    bars: &MultiProgress,
) -> anyhow::Result<u8> {
    let mut waiting: Vec<Option<anyhow::Result<TallyReport>>> = Vec::new();
    waiting.resize_with(args.clips.len(), || None);
    let mut exit = code::DONE;
    let mut reports = Vec::new();
    let mut turn = 0;
    for (index, counted) in receiver {
        if let Some(place) = waiting.get_mut(index) {
            *place = Some(counted);
        }
        while let Some(counted) = waiting.get_mut(turn).and_then(Option::take) {
            let clip = args.clips.get(turn).map_or("", String::as_str);
            turn += 1;
            match counted {
                Err(why) => {
                    let why = format!("{why:#}");
                    let named = if why.contains(clip) {
                        why
                    } else {
                        format!("{clip}: {why}")
                    };
                    bars.suspend(|| complain(&named));
                    exit = code::FAILED;
                }
                Ok(report) => {
                    exit = exit.max(bars.suspend(|| code_of(&report)));
                    if args.json {
                        reports.push(report);
                    } else {
                        bars.suspend(|| print(&mut Out::new(), &report))?;
                    }
                }
            }
        }
    }
    if args.json {
        Out::new().json(&reports)?;
    }
    Ok(exit)
}

/// What is the same for all clips.
struct Job<'a> {
    args: &'a TallyArgs,
    calibration: Option<Calibration>,
    /// The logbook to record in.
    keep_in: Option<PathBuf>,
}

impl Job<'_> {
    fn count(&self, clip: &str, bar: &ProgressBar) -> anyhow::Result<TallyReport> {
        let args = self.args;
        let spec: SourceSpec = clip.parse()?;
        let settings = TallySettings {
            clip: clip.to_owned(),
            calibration: self.calibration.clone(),
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
        let keeper = self
            .keep_in
            .as_deref()
            .map(|path| Keeper::open(path, args.title.clone(), clock.wall_secs()))
            .transpose()?;
        let taps = args
            .taps
            .as_deref()
            .map(|path| taps::read(path, args.taps_feed, args.taps_from_to))
            .transpose()?;
        let besides = Besides {
            taps,
            until_secs: args.for_secs,
            marks: args.marks.clone(),
            keeper,
        };
        let mut open = || {
            let clock: Arc<SystemClock> = Arc::clone(&clock);
            capture::open(&spec, clock)
        };
        Ok(tally_beside(
            &mut open,
            &settings,
            besides,
            &mut |progress| {
                show(bar, progress);
            },
        )?)
    }
}

/// The exit code for a report; what is damaged is complained about.
fn code_of(report: &TallyReport) -> u8 {
    match &report.damaged {
        None => code::DONE,
        Some(why) => {
            complain(&format!(
                "the clip could not be read to its end, and what comes after {} s is not counted: \
                 {why}",
                report.duration_s
            ));
            code::FAILED
        }
    }
}

/// A bar on stderr, hidden when that is no terminal. `name` stands before it.
fn bar(bar: &ProgressBar, name: &str) -> ProgressBar {
    if let Ok(style) = ProgressStyle::with_template("{prefix}{msg} {pos} frames {elapsed}") {
        bar.set_style(style);
    }
    if !name.is_empty() {
        bar.set_prefix(format!("{name}: "));
    }
    bar.clone()
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
                // What finding took says nothing of counting.
                bar.reset_eta();
                if let Some(all) = all {
                    bar.set_length(all);
                    if let Ok(style) = ProgressStyle::with_template(
                        "{prefix}{msg} {wide_bar} {pos}/{len} frames, {eta} left",
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
        if let Some(oil) = &glass.oil {
            out.line(&format!("  {}", oil.words()))?;
        }
        if let Some(hint) = &glass.hint {
            out.line(&format!("  {hint}"))?;
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
    if let Some(reservoir) = &report.reservoir {
        out.line(&reservoir.words())?;
    }
    if report.glasses.iter().any(|glass| glass.oil.is_some()) {
        out.line(OIL_CAUTION)?;
    }
    if let Some(check) = &report.hand_check {
        for line in check.lines() {
            out.line(&line)?;
        }
    }
    for doubt in &report.doubts {
        out.line(&format!("doubt: {doubt}"))?;
    }
    if let Some(run) = report.run {
        out.line(&format!("recorded as run {run}"))?;
    }
    Ok(())
}
