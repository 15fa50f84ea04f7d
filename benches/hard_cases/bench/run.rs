//! Runs cases, several at a time: draw, disturb, watch, score.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use beadtally::base::BlindWhy;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{Grab, Source};

use super::h264;
use super::score::Score;
use super::sweep::Case;
use super::watch::{self, Kept};

/// Where the outlines come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outlines {
    /// As the demo knows them.
    True,
    /// As the instrument finds them.
    Found,
}

/// A case and what came of it.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The case.
    pub case: Case,
    /// Its score, all glasses together.
    pub score: Score,
    /// The errors: feed, what, when (seconds).
    pub errors: Vec<String>,
    /// Reasons of blindness, with the glass-seconds of each.
    pub blind: Vec<(BlindWhy, f64)>,
}

/// Draws, watches and scores one case.
///
/// # Errors
/// A sentence when the case cannot be drawn.
pub fn one(case: &Case, outlines: Outlines) -> Result<Outcome, String> {
    let mut demo = DemoSource::from_words(&case.words).map_err(|error| error.to_string())?;
    let calibration = match outlines {
        Outlines::True => Some(watch::true_calibration(&demo)),
        Outlines::Found => {
            let again = DemoSource::from_words(&case.words).map_err(|error| error.to_string())?;
            let glass_mm = again.settings().glass_width_mm();
            watch::found_calibration(Box::new(again), Some(glass_mm))
        }
    };
    let places: Vec<_> = demo
        .glasses()
        .iter()
        .map(|glass| (glass.centre_px, glass.size_px))
        .collect();
    let reported = match (&calibration, case.rate_factor) {
        (None, _) => {
            let _ = Kept::take(&mut demo, case.secs)?;
            Vec::new()
        }
        (Some(calibration), None) => watch::watch(&mut demo, calibration, case.secs)?,
        (Some(calibration), Some(rate_factor)) => {
            let about = demo.about().clone();
            let grabs = Kept::take(&mut demo, case.secs)?;
            let pictures: Vec<_> = grabs
                .iter()
                .filter_map(|grab| match grab {
                    Grab::Frame(frame) => Some(&*frame.luma),
                    _ => None,
                })
                .collect();
            let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
            let fps = about.frames_per_second.unwrap_or(30.0);
            let back = h264::through(&pictures, fps, rate_factor, &folder.path().join("a.mp4"))?;
            let grabs = watch::with_pictures(grabs, back)?;
            watch::watch(&mut Kept::new(about, grabs), calibration, case.secs)?
        }
    };
    let truth: Vec<_> = places
        .into_iter()
        .zip(watch::truth_of(&demo))
        .map(|((middle, size), beads)| (middle, size, beads))
        .collect();
    let glasses = watch::side_by_side(&truth, &reported);
    let mut score = Score::default();
    let mut errors = Vec::new();
    for (index, glass) in glasses.iter().enumerate() {
        score.add(&Score::of(glass, case.secs));
        errors.extend(
            Score::errors(glass, case.secs)
                .into_iter()
                .map(|error| format!("feed {} {error}", index + 1)),
        );
    }
    let mut blind: Vec<(BlindWhy, f64)> = Vec::new();
    for (from, to, why) in reported.iter().flat_map(|own| &own.why) {
        match blind.iter_mut().find(|(known, _)| known == why) {
            Some((_, secs)) => *secs += to - from,
            None => blind.push((*why, to - from)),
        }
    }
    Ok(Outcome {
        case: case.clone(),
        score,
        errors,
        blind,
    })
}

/// Runs all cases, `jobs` at a time; the outcomes come back in the order of the cases. `told` hears
/// of each as it ends.
pub fn all(
    cases: &[Case],
    outlines: Outlines,
    jobs: usize,
    told: &(dyn Fn(&Result<Outcome, String>) + Sync),
) -> Vec<Result<Outcome, String>> {
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, Result<Outcome, String>)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..jobs.max(1) {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(case) = cases.get(index) else { break };
                    let outcome =
                        one(case, outlines).map_err(|why| format!("{}: {why}", case.name()));
                    told(&outcome);
                    if let Ok(mut done) = done.lock() {
                        done.push((index, outcome));
                    }
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_default();
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, outcome)| outcome).collect()
}
