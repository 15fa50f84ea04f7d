//! Memory that is set aside for each picture once everything is warm: by unpacking a camera's
//! pictures, and by measuring. A counting allocator counts; it prints its figures.
#![allow(
    unsafe_code,
    reason = "an allocator cannot be written without; it only counts and passes on"
)]

mod jpeg_draw;
mod true_outlines;

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::sync::Arc;

use beadtally::base::{Frame, PixelBox};
use beadtally::capture::camera::unpack::Unpacker;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::pixel::PixelFormat;
use beadtally::capture::{Grab, Mode, Source, Wanted};
use beadtally::run::Instrument;
use jpeg_draw::{How, Sampling, Tables, encode};

/// What the decoder of JPEG pictures sets aside for each picture: it is made anew for each and keeps
/// its tables and rows of blocks in memory of its own. Nothing of this grows.
const MOST_A_JPEG: f64 = 40.0;
/// Above what measuring sets aside for each picture of three glasses on average, beads included: 150
/// on 2026-11-28, release build.
const MOST_A_STEP: f64 = 300.0;
/// Pictures before counting begins.
const WARM_UP: usize = 240;
/// Pictures counted.
const COUNTED: usize = 240;

thread_local! {
    static ALLOCATIONS: Cell<u64> = const { Cell::new(0) };
}

struct Counting;

// SAFETY: every call is passed on unchanged to the system's allocator; counting touches only a
// number of the thread, which needs no memory.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let _ = ALLOCATIONS.try_with(|n| n.set(n.get() + 1));
        // SAFETY: as the caller promises.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        // SAFETY: as the caller promises.
        unsafe { System.dealloc(pointer, layout) }
    }

    unsafe fn realloc(&self, pointer: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        let _ = ALLOCATIONS.try_with(|n| n.set(n.get() + 1));
        // SAFETY: as the caller promises.
        unsafe { System.realloc(pointer, layout, size) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

fn allocations(work: impl FnOnce()) -> u64 {
    let before = ALLOCATIONS.with(Cell::get);
    work();
    ALLOCATIONS.with(Cell::get) - before
}

fn frame(source: &mut DemoSource) -> Option<Frame> {
    match source.next() {
        Ok(Grab::Frame(frame)) => Some(frame),
        _ => None,
    }
}

fn boxes() -> Wanted {
    let of = |left, right| PixelBox {
        left,
        top: 40,
        right,
        bottom: 400,
    };
    Wanted::Boxes {
        boxes: Arc::from([of(100, 180), of(300, 380)]),
        whole_every_secs: 0.5,
    }
}

/// Allocations a picture, when pictures wait in a queue of a few as they do before measuring.
fn unpacking(format: PixelFormat, bytes: &[u8], wanted: &Wanted) -> Result<f64, String> {
    let mode = Mode {
        format,
        width: 640,
        height: 480,
        frames_per_second: Some(30.0),
    };
    let mut unpacker = Unpacker::default();
    unpacker.want(wanted);
    let mut queue: [Option<Frame>; 4] = Default::default();
    let mut counted = 0;
    for n in 0..WARM_UP + COUNTED {
        let at_secs = n as f64 / 30.0;
        let mut unpacked = Ok(());
        let now = allocations(|| match unpacker.unpack(mode, bytes, 0, at_secs) {
            Ok((luma, extent)) => {
                queue[n % 4] = Some(Frame::shared(n as u64, at_secs, luma, extent));
            }
            Err(why) => unpacked = Err(why),
        });
        unpacked?;
        if n >= WARM_UP {
            counted += now;
        }
    }
    Ok(counted as f64 / COUNTED as f64)
}

#[test]
fn unpacking_sets_nothing_aside() {
    for wanted in [Wanted::Everything, boxes()] {
        for (format, bytes) in [
            (PixelFormat::Yuyv, 640 * 480 * 2),
            (PixelFormat::Nv12, 640 * 480 * 3 / 2),
            (PixelFormat::Grey, 640 * 480),
        ] {
            let each = unpacking(format, &vec![90; bytes], &wanted).unwrap();
            println!("{}: {each} allocations a picture", format.word());
            assert_eq!(each, 0.0, "{} {wanted:?}", format.word());
        }
        for restart in [0, 5, 40] {
            let how = How {
                width: 640,
                height: 480,
                sampling: Sampling::Half,
                restart,
                quantum: [[12; 64]; 2],
                tables: [Tables::new(None), Tables::new(None)],
            };
            let bytes = encode(&how, &|_, x, y| (x / 3 + y / 2) as u8);
            let each = unpacking(PixelFormat::Mjpeg, &bytes, &wanted).unwrap();
            println!("MJPEG, restart {restart}: {each} allocations a picture");
            assert!(each <= MOST_A_JPEG, "{restart} {wanted:?}: {each}");
        }
    }
}

#[test]
fn measuring_sets_little_aside() {
    let mut source = DemoSource::from_words("demo:feeds=3,rates=12,seed=5").unwrap();
    let mut instrument = Instrument::new(true_outlines::calibration(&source));
    let mut each = Vec::new();
    for n in 0..WARM_UP + COUNTED {
        let frame = frame(&mut source).unwrap();
        let now = allocations(|| drop(instrument.step(&frame)));
        if n >= WARM_UP {
            each.push(now);
        }
    }
    each.sort_unstable();
    let mean = each.iter().sum::<u64>() as f64 / each.len() as f64;
    println!(
        "measuring: {mean} allocations a picture on average, {} half the time, {} at most",
        each[each.len() / 2],
        each[each.len() - 1]
    );
    assert!(mean <= MOST_A_STEP, "{mean}");
}
