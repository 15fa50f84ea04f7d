//! What measuring a decoded frame costs, by parts: steadying, sampling, detection, and the rest
//! (trust, rate, verdict, alarms, the camera's place).

use std::hint::black_box;

use beadtally::base::Frame;
use beadtally::bead::sample::Sampler;
use beadtally::bead::steady::Steady;
use beadtally::bead::{Counter, Sight};
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{Grab, Source};
use beadtally::run::Instrument;
use ndarray::Array2;

use super::machine::Machine;
use super::sheet::{Figure, Sheet, median};
use super::stopwatch::Stopwatch;
use super::true_outlines;

/// Sizes that are asked for when nobody says otherwise.
const SIZES: [(u32, u32); 3] = [(640, 480), (1280, 720), (1920, 1080)];
/// Numbers of glasses.
const GLASSES: [u32; 6] = [1, 2, 3, 4, 6, 8];
/// Frames drawn at a time: drawing between them makes them come cold, as from a decoder.
const BATCH: usize = 15;
/// Surround that steadying reads beside the glass, as a share of the outline's area; for the floor.
const SURROUND_SHARE: f64 = 1.0;

/// What is to be measured.
pub struct Which {
    /// Picture sizes.
    pub sizes: Vec<(u32, u32)>,
    /// Numbers of glasses; all when empty.
    pub glasses: Vec<u32>,
    /// Seconds of picture after the warm-up.
    pub seconds: f64,
    /// Seconds of picture before: the picture at rest is learned, the first beads have passed.
    pub warm_up_secs: f64,
    /// Drops a minute of each glass.
    pub rate_per_minute: f64,
}

/// Sizes from words such as `640x480`; the usual ones when there are none.
///
/// # Errors
/// A sentence.
pub fn sizes(words: &[String]) -> Result<Vec<(u32, u32)>, String> {
    if words.is_empty() {
        return Ok(SIZES.to_vec());
    }
    words
        .iter()
        .map(|word| {
            let (width, height) = word.split_once('x')?;
            Some((width.parse().ok()?, height.parse().ok()?))
        })
        .collect::<Option<Vec<_>>>()
        .ok_or_else(|| "a size is wanted, such as 640x480".to_owned())
}

/// The next frames of a demo that has no faults.
///
/// # Errors
/// A sentence, when it brings anything else.
pub fn frames(source: &mut DemoSource, count: usize) -> Result<Vec<Frame>, String> {
    (0..count)
        .map(|_| match source.next() {
            Ok(Grab::Frame(frame)) => Ok(frame),
            other => Err(format!("the demo brought {other:?}")),
        })
        .collect()
}

/// One glass taken apart.
struct Glass {
    counter: Counter,
    steady: Steady,
    sampler: Sampler,
    patch: Array2<f32>,
}

/// Nanoseconds a frame of each part, all glasses together.
struct Parts {
    whole: f64,
    seeing: f64,
    steadying: f64,
    sampling: f64,
}

/// Measures all sizes and numbers of glasses.
///
/// # Errors
/// A sentence.
pub fn all(which: &Which, machine: &Machine, sheet: &mut Sheet) -> Result<(), String> {
    for (width, height) in &which.sizes {
        for glasses in GLASSES {
            if which.glasses.is_empty() || which.glasses.contains(&glasses) {
                one((*width, *height), glasses, which, machine, sheet)?;
            }
        }
    }
    Ok(())
}

fn one(
    (width, height): (u32, u32),
    glasses: u32,
    which: &Which,
    machine: &Machine,
    sheet: &mut Sheet,
) -> Result<(), String> {
    let rate = which.rate_per_minute;
    let words = format!("demo:feeds={glasses},size={width}x{height},rates={rate},seed=5");
    let mut source = DemoSource::from_words(&words).map_err(|error| error.to_string())?;
    let calibration = true_outlines::calibration(&source);
    let first = frames(&mut source, 1)?;
    let Some(first) = first.first() else {
        return Err("the demo brought nothing".to_owned());
    };
    let mut taken_apart: Vec<Glass> = calibration
        .feeds
        .iter()
        .map(|feed| {
            let sampler = Sampler::new(&feed.outline);
            Glass {
                counter: Counter::new(&feed.outline, feed.px_per_mm),
                steady: Steady::new(&first.luma, &feed.outline),
                patch: Array2::zeros(sampler.shape()),
                sampler,
            }
        })
        .collect();
    let mut instrument = Instrument::new(calibration.clone());
    let watch = Stopwatch::new();
    let fps = source.about().frames_per_second.unwrap_or(30.0);
    let batches = |secs: f64| (secs * fps / BATCH as f64).ceil() as usize;
    let warm = batches(which.warm_up_secs);
    let batches = batches(which.warm_up_secs + which.seconds);
    let mut kept: Vec<Parts> = Vec::new();
    for batch in 0..batches {
        let frames = frames(&mut source, BATCH)?;
        let parts = measure(&frames, &mut instrument, &mut taken_apart, &watch);
        if batch >= warm {
            kept.push(parts);
        }
    }
    let of = |part: &dyn Fn(&Parts) -> f64| median(kept.iter().map(part).collect());
    let share = 1.0 / f64::from(glasses);
    let (whole, seeing) = (of(&|p| p.whole), of(&|p| p.seeing));
    let (steadying, sampling) = (of(&|p| p.steadying), of(&|p| p.sampling));
    let area: f64 = calibration
        .feeds
        .iter()
        .map(|feed| feed.outline.width_px * feed.outline.height_px)
        .sum();
    let floor_ns = machine.read_ns(area * (1.0 + SURROUND_SHARE));
    let name = format!("{width}x{height}, {glasses} glasses");
    sheet.tell(Figure {
        part: "measure",
        what: format!("{name}: a whole frame"),
        value: whole / 1e3,
        unit: "µs a frame",
        floor: Some(floor_ns / 1e3),
    });
    let parts = [
        ("steadying", steadying),
        ("sampling", sampling),
        ("detection", (seeing - steadying - sampling).max(0.0)),
        ("rate, trust, verdict, place", (whole - seeing).max(0.0)),
    ];
    for (part, ns) in parts {
        sheet.tell(Figure {
            part: "measure",
            what: format!("{name}: {part}"),
            value: ns * share,
            unit: "ns a frame and glass",
            floor: None,
        });
    }
    let mean = kept.iter().map(|p| p.whole).sum::<f64>() / kept.len().max(1) as f64;
    sheet.tell(Figure {
        part: "measure",
        what: format!("{name}: a whole frame, mean with its beads"),
        value: mean / 1e3,
        unit: "µs a frame",
        floor: None,
    });
    Ok(())
}

fn measure(
    frames: &[Frame],
    instrument: &mut Instrument,
    glasses: &mut [Glass],
    watch: &Stopwatch,
) -> Parts {
    let a_frame = 1.0 / frames.len().max(1) as f64;
    let (whole, ()) = watch.time(|| {
        for frame in frames {
            black_box(instrument.step(frame));
        }
    });
    let (steadying, ()) = watch.time(|| {
        for frame in frames {
            for glass in glasses.iter_mut() {
                black_box(glass.steady.pose(&frame.luma));
            }
        }
    });
    let (sampling, ()) = watch.time(|| {
        for frame in frames {
            for glass in glasses.iter_mut() {
                let pose = glass.counter.pose();
                glass
                    .sampler
                    .take(&frame.luma, pose.shift_px, pose.turn_rad, &mut glass.patch);
                black_box(&glass.patch);
            }
        }
    });
    let (seeing, ()) = watch.time(|| {
        for frame in frames {
            for glass in glasses.iter_mut() {
                black_box(glass.counter.look(frame));
                black_box(glass.counter.count(Sight::Clear));
            }
        }
    });
    Parts {
        whole: whole * a_frame,
        seeing: seeing * a_frame,
        steadying: steadying * a_frame,
        sampling: sampling * a_frame,
    }
}
