//! What decoding a camera's picture costs by its format, whole and only where three glasses are.

use std::hint::black_box;
use std::sync::Arc;

use beadtally::base::PixelBox;
use beadtally::capture::camera::unpack::Unpacker;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::jpeg::Decoder;
use beadtally::capture::pixel::PixelFormat;
use beadtally::capture::{Mode, Wanted};
use beadtally::glass::Calibration;
use image::GrayImage;

use super::jpeg_draw::{How, Sampling, Tables, encode};
use super::machine::Machine;
use super::measure;
use super::sheet::{Figure, Sheet, median};
use super::stopwatch::Stopwatch;
use super::true_outlines;

/// Rounds; the median counts.
const ROUNDS: usize = 25;
/// Beside an outline: what steadying needs, as the runner asks for it; share of the width, pixels.
const BESIDE: (f64, f64) = (0.35, 37.0);

/// A packed picture and its name.
pub struct Packed {
    /// For people.
    pub name: &'static str,
    /// How it is packed.
    pub format: PixelFormat,
    /// The bytes.
    pub bytes: Vec<u8>,
}

/// The boxes that are looked at.
#[must_use]
pub fn boxes(calibration: &Calibration) -> Arc<[PixelBox]> {
    calibration
        .feeds
        .iter()
        .map(|feed| {
            let edge = feed.outline.upright_box();
            let beside = BESIDE.0 * feed.outline.width_px + BESIDE.1;
            PixelBox {
                left: (edge.x - beside).max(0.0) as u32,
                top: (edge.y - beside).max(0.0) as u32,
                right: (edge.x + edge.width + beside).max(0.0) as u32,
                bottom: (edge.y + edge.height + beside).max(0.0) as u32,
            }
            .within(calibration.picture_width_px, calibration.picture_height_px)
        })
        .collect()
}

/// A camera's usual way with MJPEG: half the colour columns, quality near 85.
#[must_use]
pub fn how(luma: &GrayImage, restart: usize, sampling: Sampling) -> How {
    let quantum = std::array::from_fn(|n| 5 + n as u8 / 2);
    How {
        width: luma.width() as usize,
        height: luma.height() as usize,
        sampling,
        restart,
        quantum: [quantum; 2],
        tables: [Tables::new(None), Tables::new(None)],
    }
}

/// The formats, in order.
const FORMATS: [(&str, PixelFormat); 6] = [
    ("GREY", PixelFormat::Grey),
    ("NV12", PixelFormat::Nv12),
    ("YUYV", PixelFormat::Yuyv),
    ("MJPEG without markers", PixelFormat::Mjpeg),
    ("MJPEG, a marker a row", PixelFormat::Mjpeg),
    ("MJPEG, markers within rows", PixelFormat::Mjpeg),
];

/// The picture in one of the formats; none when there is no such.
#[must_use]
pub fn packed(luma: &GrayImage, index: usize) -> Option<Packed> {
    let (name, format) = *FORMATS.get(index)?;
    let (width, height) = (luma.width() as usize, luma.height() as usize);
    // Colour of a camera indoors: smooth.
    let level = |component: usize, x: usize, y: usize| match component {
        0 => luma.get_pixel(x as u32, y as u32).0[0],
        1 => 118 + (x * 12 / width) as u8,
        _ => 134 - (y * 12 / height) as u8,
    };
    let across = width.div_ceil(16);
    let part = (4..=across).find(|n| across.is_multiple_of(*n));
    let jpeg = |restart| encode(&how(luma, restart, Sampling::Half), &level);
    let grey = luma.as_raw();
    let colours = std::iter::repeat_n(128, grey.len() / 2);
    let bytes = match index {
        0 => grey.clone(),
        1 => grey.iter().copied().chain(colours).collect(),
        2 => grey.iter().flat_map(|v| [*v, 128]).collect(),
        3 => jpeg(0),
        4 => jpeg(across),
        _ => jpeg(part.unwrap_or(across)),
    };
    Some(Packed {
        name,
        format,
        bytes,
    })
}

/// Nanoseconds a byte that reading the codes alone takes: what colours add to a picture of which
/// only luma is wanted.
fn entropy_ns_a_byte(luma: &GrayImage, watch: &Stopwatch) -> Result<f64, String> {
    let level = |_: usize, x: usize, y: usize| luma.get_pixel(x as u32, y as u32).0[0];
    let grey = encode(&how(luma, 0, Sampling::Grey), &level);
    let full = encode(&how(luma, 0, Sampling::Full), &level);
    let mut times = Vec::new();
    for _ in 0..ROUNDS {
        let mut pair = [0.0; 2];
        for (time, bytes) in pair.iter_mut().zip([&grey, &full]) {
            *time = jpeg_ns(bytes, watch)?;
        }
        times.push((pair[1] - pair[0]) / (full.len() - grey.len()) as f64);
    }
    Ok(median(times))
}

fn jpeg_ns(bytes: &[u8], watch: &Stopwatch) -> Result<f64, String> {
    let mut decoder = Decoder::default();
    let (width, height) = decoder.read(bytes, None).map_err(|e| e.to_string())?;
    let mut into = GrayImage::new(width, height);
    let (ns, done) = watch.time(|| decoder.whole(bytes, &mut into));
    black_box(&into);
    done.map(|()| ns).map_err(|e| e.to_string())
}

/// Median nanoseconds of unpacking.
///
/// # Errors
/// A sentence.
pub fn unpack_ns(
    packed: &Packed,
    (width, height): (u32, u32),
    wanted: &Wanted,
    watch: &Stopwatch,
) -> Result<f64, String> {
    let mode = Mode {
        format: packed.format,
        width,
        height,
        frames_per_second: None,
    };
    let mut unpacker = Unpacker::default();
    unpacker.want(wanted);
    let mut times = Vec::new();
    for round in 0..ROUNDS {
        // The first is whole in any case; the rest follow soon enough to be parts.
        let at_secs = round as f64 * 1e-3;
        let (ns, done) = watch.time(|| unpacker.unpack(mode, &packed.bytes, 0, at_secs));
        black_box(done?);
        if round > 2 {
            times.push(ns);
        }
    }
    Ok(median(times))
}

/// Measures all sizes.
///
/// # Errors
/// A sentence.
pub fn all(sizes: &[(u32, u32)], machine: &Machine, sheet: &mut Sheet) -> Result<(), String> {
    let watch = Stopwatch::new();
    for size in sizes {
        let words = format!("demo:feeds=3,size={}x{},seed=5", size.0, size.1);
        let mut source = DemoSource::from_words(&words).map_err(|error| error.to_string())?;
        let calibration = true_outlines::calibration(&source);
        let frames = measure::frames(&mut source, 1)?;
        let Some(frame) = frames.first() else {
            return Err("the demo brought nothing".to_owned());
        };
        let boxes = boxes(&calibration);
        let bottom = PixelBox::round(&boxes).map_or(size.1, |round| round.bottom);
        let area: u64 = boxes.iter().map(|b| b.area()).sum();
        let parts = Wanted::Boxes {
            boxes: Arc::clone(&boxes),
            whole_every_secs: 1e9,
        };
        let entropy = entropy_ns_a_byte(&frame.luma, &watch)?;
        sheet.tell(Figure {
            part: "decode",
            what: format!("{}x{}: reading codes alone", size.0, size.1),
            value: entropy,
            unit: "ns a byte",
            floor: None,
        });
        let pixels = f64::from(size.0) * f64::from(size.1);
        for packed in (0..FORMATS.len()).filter_map(|index| packed(&frame.luma, index)) {
            let (step, coded) = match packed.format {
                PixelFormat::Yuyv => (2.0, false),
                PixelFormat::Mjpeg => (0.0, true),
                _ => (1.0, false),
            };
            for (what, wanted, rows, touched) in [
                ("whole", Wanted::Everything, size.1, pixels),
                ("3 glasses", parts.clone(), bottom, area as f64),
            ] {
                let ns = unpack_ns(&packed, *size, &wanted, &watch)?;
                let share = f64::from(rows) / f64::from(size.1);
                let floor = if coded {
                    entropy * packed.bytes.len() as f64 * share
                } else {
                    machine.read_ns(touched * step)
                };
                let kib = packed.bytes.len() / 1024;
                sheet.tell(Figure {
                    part: "decode",
                    what: format!("{}x{}: {} ({kib} KiB), {what}", size.0, size.1, packed.name),
                    value: ns / 1e3,
                    unit: "µs a frame",
                    floor: Some(floor / 1e3),
                });
            }
        }
    }
    Ok(())
}
