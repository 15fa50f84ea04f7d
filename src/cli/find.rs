//! `beadtally find`: finds the glasses, says where, and writes a calibration and a picture. The
//! finding is `glass::find`'s.

use std::io::{Cursor, Write};
use std::path::Path;
use std::sync::Arc;

use anyhow::Context;
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use imageproc::drawing::{draw_filled_rect_mut, draw_line_segment_mut};
use imageproc::rect::Rect;
use indicatif::ProgressBar;
use serde::Serialize;

use crate::base::{FeedNumber, GlassKind, SystemClock};
use crate::capture::{self, SourceSpec};
use crate::glass::{Calibration, Outline};
use crate::run::export::write_whole;
use crate::run::search::{Searched, search};
use crate::run::tally::{OutlineReport, rounded};

use super::args::FindArgs;
use super::code;
use super::lines::{GlassLine, glass_lines};
use super::out::Out;

/// Colour of the outlines: seen on dark brass, white card and grey alike.
const INK: Rgb<u8> = Rgb([255, 60, 160]);
/// Corners of the polygon that stands for an ellipse.
const ELLIPSE_CORNERS: u32 = 72;

#[derive(Serialize)]
struct FindReport<'a> {
    source: &'a str,
    width: u32,
    height: u32,
    glasses: Vec<FoundLine>,
    doubts: &'a [String],
}

#[derive(Serialize)]
struct FoundLine {
    #[serde(flatten)]
    glass: GlassLine,
    confidence: f64,
}

/// Finds the glasses.
///
/// # Errors
/// A sentence: the source cannot be read, no glass is found, a file cannot be written.
pub fn run(args: &FindArgs) -> anyhow::Result<u8> {
    let spec: SourceSpec = args.source.parse()?;
    let source = capture::open(&spec, Arc::new(SystemClock::new()))?;
    let bar = ProgressBar::new_spinner().with_message("finding the glasses");
    let searched = search(source, args.glass.presets(), &|| false, &mut |_| bar.tick());
    bar.finish_and_clear();
    let searched = searched?;
    if let Some(path) = &args.write {
        searched.calibration.write(path)?;
    }
    if let Some(path) = &args.picture {
        draw(&searched.calibration, &searched.picture.luma, path)?;
    }
    let mut out = Out::new();
    if args.json {
        out.json(&FindReport {
            source: &searched.about.name,
            width: searched.about.width,
            height: searched.about.height,
            glasses: glass_lines(&searched.calibration)
                .into_iter()
                .zip(&searched.confidences)
                .map(|(glass, sure)| FoundLine {
                    glass,
                    confidence: rounded(*sure, 3),
                })
                .collect(),
            doubts: &searched.doubts,
        })?;
    } else {
        print(&mut out, &searched, args)?;
    }
    Ok(code::DONE)
}

fn print(out: &mut Out, searched: &Searched, args: &FindArgs) -> anyhow::Result<()> {
    let feeds = &searched.calibration.feeds;
    out.line(&format!(
        "{}: {} {} in {} × {} pixels",
        searched.about.name,
        feeds.len(),
        if feeds.len() == 1 { "glass" } else { "glasses" },
        searched.about.width,
        searched.about.height
    ))?;
    for (index, (feed, sure)) in feeds.iter().zip(&searched.confidences).enumerate() {
        let at = OutlineReport::of(&feed.outline);
        let scale = feed
            .px_per_mm
            .map_or_else(String::new, |v| format!(", {v:.2} px/mm"));
        out.line(&format!(
            "feed {}: {} at x {} y {}, {} × {} px, turned {}°{scale}, confidence {sure:.2}",
            FeedNumber::from_index(index),
            feed.outline.kind.word(),
            at.x,
            at.y,
            at.width,
            at.height,
            at.angle_deg
        ))?;
    }
    for doubt in &searched.doubts {
        out.line(&format!("doubt: {doubt}"))?;
    }
    if let Some(path) = &args.write {
        out.line(&format!("calibration written to {}", path.display()))?;
    }
    if let Some(path) = &args.picture {
        out.line(&format!("picture written to {}", path.display()))?;
    }
    Ok(())
}

/// The picture with the outlines and the feeds' numbers on it.
fn draw(calibration: &Calibration, luma: &image::GrayImage, path: &Path) -> anyhow::Result<()> {
    let mut picture = DynamicImage::ImageLuma8(luma.clone()).into_rgb8();
    for (index, feed) in calibration.feeds.iter().enumerate() {
        let corners = polygon(&feed.outline);
        for (from, to) in corners.iter().zip(corners.iter().cycle().skip(1)) {
            // Two pixels wide.
            for (dx, dy) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)] {
                let shift = |(x, y): &(f64, f64)| ((x + dx) as f32, (y + dy) as f32);
                draw_line_segment_mut(&mut picture, shift(from), shift(to), INK);
            }
        }
        let upper = feed.outline.upright_box();
        write_number(
            &mut picture,
            FeedNumber::from_index(index),
            upper.x as i32,
            upper.y as i32 - 28,
        );
    }
    let written = || -> anyhow::Result<()> {
        let kind = ImageFormat::from_path(path)?;
        let mut bytes = Cursor::new(Vec::new());
        picture.write_to(&mut bytes, kind)?;
        write_whole(path, |file| file.write_all(bytes.get_ref()))?;
        Ok(())
    };
    written().with_context(|| {
        format!(
            "the picture {} cannot be written; give a name that ends in .png in a folder you \
                 may write to",
            path.display()
        )
    })
}

/// The outline as a closed polygon in the picture.
fn polygon(outline: &Outline) -> Vec<(f64, f64)> {
    match outline.kind {
        GlassKind::Tube => outline.corners().to_vec(),
        GlassKind::Port => (0..ELLIPSE_CORNERS)
            .map(|corner| {
                let turn = f64::from(corner) / f64::from(ELLIPSE_CORNERS) * std::f64::consts::TAU;
                outline.picture_from_glass(
                    outline.width_px / 2.0 * turn.cos(),
                    outline.height_px / 2.0 * turn.sin(),
                )
            })
            .collect(),
    }
}

/// Digits of three by five squares, row by row from the top, one bit a square.
const DIGITS: [[u8; 5]; 10] = [
    [7, 5, 5, 5, 7],
    [2, 6, 2, 2, 7],
    [7, 1, 7, 4, 7],
    [7, 1, 3, 1, 7],
    [5, 5, 7, 1, 1],
    [7, 4, 7, 1, 7],
    [7, 4, 7, 5, 7],
    [7, 1, 2, 2, 2],
    [7, 5, 7, 5, 7],
    [7, 5, 7, 1, 7],
];

/// Writes a number, its upper left corner at a place in the picture; what is outside is left out.
fn write_number(picture: &mut RgbImage, feed: FeedNumber, x: i32, y: i32) {
    /// Side of one square, pixels.
    const SIDE: i32 = 4;
    let y = y.max(0);
    for (place, letter) in (0_i32..).zip(feed.to_string().bytes()) {
        let digit = DIGITS[usize::from(letter.saturating_sub(b'0')) % DIGITS.len()];
        for (row, bits) in (0_i32..).zip(digit) {
            for column in 0_i32..3 {
                if bits >> (2 - column) & 1 == 1 {
                    let square = Rect::at(x + (place * 4 + column) * SIDE, y + row * SIDE)
                        .of_size(SIDE as u32, SIDE as u32);
                    draw_filled_rect_mut(picture, square, INK);
                }
            }
        }
    }
}
