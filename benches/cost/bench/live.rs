//! The whole program without a window on a camera in real time: a source that hands out packed
//! pictures by the clock, unpacked as a camera's are, and the runner's own threads. Processor time
//! of the whole process, and its memory less the packed pictures that the bench itself holds.

use std::process::Command;
use std::sync::Arc;

use beadtally::base::{Clock, Frame, SystemClock};
use beadtally::capture::camera::unpack::Unpacker;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{About, CaptureError, Grab, Mode, Source, Wanted};
use beadtally::run::{Pictures, Runner, RunnerSettings};
use serde::{Deserialize, Serialize};

use super::decode::{self, Packed};
use super::measure;
use super::sheet::{Figure, Sheet};
use super::stopwatch::process_secs;
use super::true_outlines;

/// Pictures that go round and round.
const PICTURES: usize = 8;
/// Time before processor time is counted, seconds.
const WARM_UP_SECS: f64 = 5.0;

/// A camera of the bench.
struct Replay {
    about: About,
    mode: Mode,
    pictures: Arc<Vec<Packed>>,
    unpacker: Unpacker,
    clock: Arc<SystemClock>,
    number: u64,
    from_secs: f64,
}

impl Source for Replay {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        let rate = self.mode.frames_per_second.unwrap_or(30.0);
        let at_secs = self.number as f64 / rate;
        let wait_secs = self.from_secs + at_secs - self.clock.monotonic_secs();
        self.clock.wait_secs(wait_secs);
        let index = self.number as usize % self.pictures.len().max(1);
        let number = self.number;
        self.number += 1;
        let Some(picture) = self.pictures.get(index) else {
            return Ok(Grab::End);
        };
        Ok(
            match self.unpacker.unpack(self.mode, &picture.bytes, 0, at_secs) {
                Ok((luma, extent)) => Grab::Frame(Frame::shared(number, at_secs, luma, extent)),
                Err(why) => Grab::Spoiled { at_secs, why },
            },
        )
    }

    fn about(&self) -> &About {
        &self.about
    }

    fn want(&mut self, wanted: &Wanted) {
        self.unpacker.want(wanted);
    }
}

/// A line of this process's own account of its memory, MB.
fn memory_mb(key: &str) -> f64 {
    std::fs::read_to_string("/proc/self/status")
        .unwrap_or_default()
        .lines()
        .find(|line| line.starts_with(key))
        .and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok())
        .map_or(f64::NAN, |kib| kib / 1024.0)
}

/// What is run in one process of its own, so that nothing else is in its memory.
#[derive(Clone, Copy, Debug)]
pub struct Case {
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Frames a second.
    pub fps: f64,
    /// Which of the packed formats.
    pub format: usize,
    /// For how long, seconds.
    pub seconds: f64,
}

impl Case {
    /// From five numbers parted by commas.
    #[must_use]
    pub fn read(words: &str) -> Option<Self> {
        let numbers: Vec<f64> = words.split(',').filter_map(|n| n.parse().ok()).collect();
        let [width, height, fps, format, seconds] = numbers[..] else {
            return None;
        };
        Some(Self {
            width: width as u32,
            height: height as u32,
            fps,
            format: format as usize,
            seconds,
        })
    }

    fn words(&self) -> String {
        format!(
            "{},{},{},{},{}",
            self.width, self.height, self.fps, self.format, self.seconds
        )
    }
}

/// What one process tells.
#[derive(Debug, Serialize, Deserialize)]
struct Told {
    name: String,
    share: f64,
    came: f64,
    resident_mb: f64,
    most_mb: f64,
}

/// Runs each format for some seconds, each in a process of its own.
///
/// # Errors
/// A sentence.
pub fn all(seconds: f64, sheet: &mut Sheet) -> Result<(), String> {
    let program = std::env::current_exe().map_err(|error| error.to_string())?;
    for ((width, height), fps, formats) in [
        ((640, 480), 30.0, &[2, 3][..]),
        ((640, 480), 60.0, &[2][..]),
        ((1920, 1080), 30.0, &[2, 3, 4, 5][..]),
        ((1920, 1080), 60.0, &[4][..]),
    ] {
        for format in formats {
            let case = Case {
                width,
                height,
                fps,
                format: *format,
                seconds,
            };
            let output = Command::new(&program)
                .args(["--live-case", &case.words()])
                .output()
                .map_err(|error| error.to_string())?;
            let told: Told = serde_json::from_slice(&output.stdout)
                .map_err(|_| String::from_utf8_lossy(&output.stderr).into_owned())?;
            let name = format!("{width}x{height} {}, 3 glasses, {fps} a second", told.name);
            for (what, value, unit) in [
                (
                    format!("{name} ({:.1} came)", told.came),
                    told.share,
                    "% of a core",
                ),
                (format!("{name}: memory at the end"), told.resident_mb, "MB"),
                (format!("{name}: memory at most"), told.most_mb, "MB"),
            ] {
                sheet.tell(Figure {
                    part: "live",
                    what,
                    value,
                    unit,
                    floor: None,
                });
            }
        }
    }
    Ok(())
}

/// Runs one case and prints what it came to, as JSON.
///
/// # Errors
/// A sentence.
pub fn one(case: Case) -> Result<(), String> {
    let Case {
        width,
        height,
        fps,
        format,
        seconds,
    } = case;
    let words = format!("demo:feeds=3,size={width}x{height},seed=5");
    let mut source = DemoSource::from_words(&words).map_err(|error| error.to_string())?;
    let calibration = true_outlines::calibration(&source);
    let mut pictures = Vec::new();
    for _ in 0..PICTURES {
        for frame in measure::frames(&mut source, 1)? {
            pictures.push(decode::packed(&frame.luma, format).ok_or("no such format")?);
        }
    }
    drop(source);
    let first = pictures.first().ok_or("no pictures")?;
    let (name, format) = (first.name, first.format);
    // A camera's pictures are in the driver's memory, not in the program's.
    let held_mb = pictures.iter().map(|p| p.bytes.capacity()).sum::<usize>() as f64 / 1_048_576.0;
    let clock = Arc::new(SystemClock::new());
    let replay = Replay {
        about: About {
            name: "bench".to_owned(),
            identity: String::new(),
            width,
            height,
            frames_per_second: Some(fps),
            frames: None,
            live: true,
        },
        mode: Mode {
            format,
            width,
            height,
            frames_per_second: Some(fps),
        },
        pictures: Arc::new(pictures),
        unpacker: Unpacker::default(),
        clock: Arc::clone(&clock),
        number: 0,
        from_secs: clock.monotonic_secs(),
    };
    let mut settings = RunnerSettings::new(Box::new(replay));
    settings.calibration = Some(calibration);
    settings.pictures = Pictures::Measured;
    let runner = Runner::start(settings, Arc::clone(&clock) as Arc<dyn Clock>)
        .map_err(|error| error.to_string())?;
    clock.wait_secs(WARM_UP_SECS);
    let (from, from_secs) = (process_secs(), clock.monotonic_secs());
    clock.wait_secs(seconds);
    let spent = process_secs() - from;
    let share = 100.0 * spent / (clock.monotonic_secs() - from_secs);
    let came = runner.snapshot().frames_per_second;
    let told = Told {
        name: name.to_owned(),
        share,
        came,
        resident_mb: memory_mb("VmRSS") - held_mb,
        most_mb: memory_mb("VmHWM") - held_mb,
    };
    runner.stop();
    println!(
        "{}",
        serde_json::to_string(&told).map_err(|error| error.to_string())?
    );
    Ok(())
}
