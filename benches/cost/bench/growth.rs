//! Whether anything grows with time: hours of frames in a row, and a logbook of a thousand runs.

use std::hint::black_box;

use beadtally::capture::demo::DemoSource;
use beadtally::run::Instrument;
use beadtally::run::logbook::LogbookReader;

use super::logbook_fill;
use super::measure;
use super::sheet::{Figure, Sheet, median};
use super::stopwatch::Stopwatch;
use super::true_outlines;

/// Frames between two figures.
const STRETCH: usize = 6000;
/// Bytes of a bead's picture in the logbook.
const PICTURE_BYTES: i64 = 1000;

/// Hours of a small demo at ten frames a second.
///
/// # Errors
/// A sentence.
pub fn hours(hours: f64, sheet: &mut Sheet) -> Result<(), String> {
    let words = "demo:feeds=1,size=160x240,fps=10,rates=6,seed=5";
    let mut source = DemoSource::from_words(words).map_err(|error| error.to_string())?;
    let mut instrument = Instrument::new(true_outlines::calibration(&source));
    let watch = Stopwatch::new();
    let stretches = (hours * 36_000.0 / STRETCH as f64).ceil() as usize;
    for stretch in 1..=stretches {
        let mut times = Vec::new();
        for _ in 0..STRETCH / 50 {
            let frames = measure::frames(&mut source, 50)?;
            let (ns, ()) = watch.time(|| {
                for frame in &frames {
                    black_box(instrument.step(frame));
                }
            });
            times.push(ns / 50.0);
        }
        let hour = (stretch * STRETCH) as f64 / 36_000.0;
        for (what, value, unit) in [
            ("a whole frame", median(times) / 1e3, "µs a frame"),
            ("memory", resident_mb(), "MB"),
        ] {
            sheet.tell(Figure {
                part: "hours",
                what: format!("after {hour:.2} h: {what}"),
                value,
                unit,
                floor: None,
            });
        }
    }
    Ok(())
}

fn resident_mb() -> f64 {
    std::fs::read_to_string("/proc/self/statm")
        .ok()
        .and_then(|told| told.split_whitespace().nth(1)?.parse::<f64>().ok())
        .map_or(f64::NAN, |pages| pages * 4096.0 / 1e6)
}

/// A logbook that grows to so many runs.
///
/// # Errors
/// A sentence.
pub fn logbook(most: i64, sheet: &mut Sheet) -> Result<(), String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let path = folder.path().join("logbook.sqlite3");
    let watch = Stopwatch::new();
    let mut runs = 0;
    for wanted in [1, 10, 100, 300, 1000].into_iter().filter(|n| *n <= most) {
        logbook_fill::fill(&path, wanted - runs, PICTURE_BYTES)?;
        runs = wanted;
        let mut listing = Vec::new();
        let mut opening = Vec::new();
        for _ in 0..7 {
            let (ns, listed) = watch.time(|| LogbookReader::open(&path)?.runs());
            black_box(listed.map_err(|error| error.to_string())?);
            listing.push(ns / 1e6);
            let (ns, opened) = watch.time(|| LogbookReader::open(&path)?.contents(runs / 2 + 1));
            black_box(opened.map_err(|error| error.to_string())?);
            opening.push(ns / 1e6);
        }
        let size = std::fs::metadata(&path).map_or(0, |about| about.len());
        for (what, value, unit) in [
            ("listed", median(listing), "ms"),
            ("one run opened", median(opening), "ms"),
            ("size of the file", size as f64 / 1e6, "MB"),
        ] {
            sheet.tell(Figure {
                part: "logbook",
                what: format!("{runs} runs of an hour: {what}"),
                value,
                unit,
                floor: None,
            });
        }
    }
    Ok(())
}
