//! The whole program without a window on a camera in real time: a source that hands out packed
//! pictures by the clock, unpacked as a camera's are, and the runner's own threads. Processor time
//! of the whole process, and its memory.

use std::sync::Arc;

use beadtally::base::{Clock, Frame, SystemClock};
use beadtally::capture::camera::unpack::Unpacker;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{About, CaptureError, Grab, Mode, Source, Wanted};
use beadtally::run::{Pictures, Runner, RunnerSettings};

use super::decode::{self, Packed};
use super::measure;
use super::sheet::{Figure, Sheet};
use super::stopwatch::process_secs;

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

/// Runs each format for some seconds.
///
/// # Errors
/// A sentence.
pub fn all(seconds: f64, sheet: &mut Sheet) -> Result<(), String> {
    for ((width, height), fps, formats) in [
        ((640, 480), 30.0, &[2, 3][..]),
        ((640, 480), 60.0, &[2][..]),
        ((1920, 1080), 30.0, &[2, 3, 4, 5][..]),
        ((1920, 1080), 60.0, &[4][..]),
    ] {
        let words = format!("demo:feeds=3,size={width}x{height},seed=5");
        let mut source = DemoSource::from_words(&words).map_err(|error| error.to_string())?;
        let calibration = measure::calibration(&source);
        let frames = measure::frames(&mut source, PICTURES)?;
        for format in formats {
            let pictures: Vec<Packed> = frames
                .iter()
                .filter_map(|frame| decode::packed(&frame.luma).into_iter().nth(*format))
                .collect();
            let Some(first) = pictures.first() else {
                return Err("no such format".to_owned());
            };
            let (name, format) = (first.name, first.format);
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
            settings.calibration = Some(calibration.clone());
            settings.pictures = Pictures::Measured;
            let runner = Runner::start(settings, Arc::clone(&clock) as Arc<dyn Clock>)
                .map_err(|error| error.to_string())?;
            clock.wait_secs(WARM_UP_SECS);
            let (from, from_secs) = (process_secs(), clock.monotonic_secs());
            clock.wait_secs(seconds);
            let spent = process_secs() - from;
            let share = spent / (clock.monotonic_secs() - from_secs);
            let measured = runner.snapshot().frames_per_second;
            runner.stop();
            sheet.tell(Figure {
                part: "live",
                what: format!(
                    "{width}x{height} {name}, 3 glasses, {fps} asked, {measured:.1} came"
                ),
                value: share * 100.0,
                unit: "% of a core",
                floor: None,
            });
        }
        sheet.tell(Figure {
            part: "live",
            what: format!("memory at {width}x{height}, with the bench's own pictures"),
            value: memory_mb("VmRSS"),
            unit: "MB",
            floor: None,
        });
    }
    Ok(())
}
