//! How fast the single parts are, by criterion: steadying, sampling, the strip, detection and the
//! rate of one glass, a whole frame of one to eight glasses, and decoding by format. It compares
//! with its own last run; what all of it costs together, and beside what floor, is told by `cost`.
//!
//! `cargo bench --no-default-features --bench speed -- --help`

use std::hint::black_box;
use std::sync::Arc;
use std::time::Duration;

use beadtally::base::Frame;
use beadtally::bead::rest::{Difference, Rest};
use beadtally::bead::sample::Sampler;
use beadtally::bead::steady::Steady;
use beadtally::bead::strip::Strip;
use beadtally::bead::{Counter, Sight};
use beadtally::capture::Wanted;
use beadtally::capture::camera::unpack::Unpacker;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{About, Mode, Source};
use beadtally::glass::Calibration;
use beadtally::rate::{self, DropRecord};
use beadtally::run::Instrument;
use criterion::{BatchSize, BenchmarkId, Criterion};
use ndarray::Array2;

#[path = "../cost/bench/mod.rs"]
#[allow(dead_code, reason = "a part of the other bench is needed")]
mod bench;

use bench::{decode, measure, true_outlines};

/// Picture sizes.
const SIZES: [(u32, u32); 3] = [(640, 480), (1280, 720), (1920, 1080)];
/// Numbers of glasses.
const GLASSES: [u32; 4] = [1, 3, 6, 8];
/// Frames before the figures begin: the picture at rest is known by then.
const WARM_UP_FRAMES: usize = 60;
/// Frames that are measured over and over.
const FRAMES: usize = 30;
/// Drops of a record that is read, and the time from one to the next, seconds (common practice: two
/// to three drops a minute).
const DROPS: (u32, f64) = (10, 24.0);

/// Drawn pictures and where the glasses are in them.
struct Scene {
    about: About,
    calibration: Calibration,
    warm_up: Vec<Frame>,
    frames: Vec<Frame>,
}

fn scene((width, height): (u32, u32), glasses: u32) -> Result<Scene, String> {
    let words = format!("demo:feeds={glasses},size={width}x{height},rates=12,seed=5");
    let mut source = DemoSource::from_words(&words).map_err(|error| error.to_string())?;
    Ok(Scene {
        about: source.about().clone(),
        calibration: true_outlines::calibration(&source),
        warm_up: measure::frames(&mut source, WARM_UP_FRAMES)?,
        frames: measure::frames(&mut source, FRAMES)?,
    })
}

/// One glass of three, part by part; a figure is for so many frames as are measured.
fn parts(criterion: &mut Criterion, size: (u32, u32)) -> Result<(), String> {
    let scene = scene(size, 3)?;
    let feed = scene.calibration.feeds.first().ok_or("no glass")?;
    let first = scene.warm_up.first().ok_or("no picture")?;
    let mut group = criterion.benchmark_group(format!("one glass, {}x{}", size.0, size.1));
    group.throughput(criterion::Throughput::Elements(FRAMES as u64));
    let mut steady = Steady::new(&first.luma, &feed.outline);
    group.bench_function("steadying", |b| {
        b.iter(|| {
            for frame in &scene.frames {
                black_box(steady.pose(&frame.luma));
            }
        });
    });
    let mut sampler = Sampler::new(&feed.outline);
    let mut patch = Array2::zeros(sampler.shape());
    group.bench_function("sampling", |b| {
        b.iter(|| {
            for frame in &scene.frames {
                sampler.take(&frame.luma, (0.3, -0.2), 0.0, &mut patch);
                black_box(&patch);
            }
        });
    });
    let patches: Vec<Array2<f32>> = scene
        .warm_up
        .iter()
        .chain(&scene.frames)
        .map(|frame| {
            let mut patch = Array2::zeros(sampler.shape());
            sampler.take(&frame.luma, (0.0, 0.0), 0.0, &mut patch);
            patch
        })
        .collect();
    let (firsts, rest_of_them) = patches.split_at(WARM_UP_FRAMES);
    let mut rest = Rest::new(sampler.shape());
    let all: Vec<&Array2<f32>> = firsts.iter().collect();
    rest.begin(&all, 0.0, None);
    let mut difference = Difference::new(sampler.shape());
    group.bench_function("comparing with rest", |b| {
        b.iter(|| {
            for patch in rest_of_them {
                rest.compare(patch, sampler.inside(), &mut difference);
                black_box(&difference);
            }
        });
    });
    let mut strip = Strip::new(sampler.shape().0, 300);
    group.bench_function("strip", |b| {
        b.iter(|| {
            for _ in 0..FRAMES {
                strip.push(&difference);
            }
        });
    });
    let mut counter = Counter::new(&feed.outline, feed.px_per_mm);
    for frame in &scene.warm_up {
        counter.look(frame);
        counter.count(Sight::Clear);
    }
    group.bench_function("detection, all of the above with it", |b| {
        b.iter_batched(
            || counter.clone(),
            |mut counter| {
                for frame in &scene.frames {
                    counter.look(frame);
                    black_box(counter.count(Sight::Clear));
                }
                counter
            },
            BatchSize::LargeInput,
        );
    });
    group.finish();
    Ok(())
}

/// A reading of one feed.
fn reading(criterion: &mut Criterion) {
    let (drops, apart_secs) = DROPS;
    let record = DropRecord {
        from_secs: 0.0,
        now_secs: f64::from(drops) * apart_secs + 10.0,
        drops_secs: (1..=drops)
            .map(|n| f64::from(n) * apart_secs + f64::from(n * 7 % 5))
            .collect(),
        blind: Vec::new(),
    };
    criterion.bench_function("rate: a reading of ten drops", |b| {
        b.iter(|| black_box(rate::reading(&record)));
    });
}

/// A whole frame against glasses and pixels.
fn frames(criterion: &mut Criterion) -> Result<(), String> {
    let mut group = criterion.benchmark_group("a frame measured");
    group.throughput(criterion::Throughput::Elements(FRAMES as u64));
    for size in SIZES {
        for glasses in GLASSES {
            let scene = scene(size, glasses)?;
            let name = BenchmarkId::new(format!("{}x{}", size.0, size.1), glasses);
            group.bench_function(name, |b| {
                b.iter_batched(
                    || {
                        let mut instrument = Instrument::new(scene.calibration.clone());
                        for frame in &scene.warm_up {
                            instrument.step(frame);
                        }
                        instrument
                    },
                    |mut instrument| {
                        for frame in &scene.frames {
                            black_box(instrument.step(frame));
                        }
                        instrument
                    },
                    BatchSize::LargeInput,
                );
            });
        }
    }
    group.finish();
    Ok(())
}

/// A picture decoded, whole and only where three glasses are.
fn decoding(criterion: &mut Criterion, size: (u32, u32)) -> Result<(), String> {
    let scene = scene(size, 3)?;
    let first = scene.frames.first().ok_or("no picture")?;
    let boxes = decode::boxes(&scene.calibration);
    let mut group = criterion.benchmark_group(format!("decoding, {}x{}", size.0, size.1));
    for packed in (0..).map_while(|index| decode::packed(&first.luma, index)) {
        let mode = Mode {
            format: packed.format,
            width: scene.about.width,
            height: scene.about.height,
            frames_per_second: None,
        };
        let parts = Wanted::Boxes {
            boxes: Arc::clone(&boxes),
            whole_every_secs: f64::INFINITY,
        };
        for (what, wanted) in [("whole", Wanted::Everything), ("glasses", parts)] {
            let mut unpacker = Unpacker::default();
            unpacker.want(&wanted);
            unpacker.unpack(mode, &packed.bytes, 0, 0.0)?;
            let mut at_secs = 0.0;
            group.bench_function(BenchmarkId::new(packed.name, what), |b| {
                b.iter(|| {
                    at_secs += 1e-9;
                    black_box(unpacker.unpack(mode, &packed.bytes, 0, at_secs))
                });
            });
        }
    }
    group.finish();
    Ok(())
}

fn main() -> Result<(), String> {
    let mut criterion = Criterion::default()
        .sample_size(20)
        .warm_up_time(Duration::from_secs(1))
        .measurement_time(Duration::from_secs(2))
        .configure_from_args();
    for size in SIZES {
        parts(&mut criterion, size)?;
        decoding(&mut criterion, size)?;
    }
    reading(&mut criterion);
    frames(&mut criterion)?;
    criterion.final_summary();
    Ok(())
}
