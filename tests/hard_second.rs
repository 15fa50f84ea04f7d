//! The second way of the bench disturbs recorded clips without the demo's faults: what it does has
//! the size that the bench says, measured in the pictures and stamps.

#![expect(
    clippy::expect_used,
    clippy::panic,
    reason = "a test stops at the first surprise"
)]

#[path = "../benches/hard_cases/bench/mod.rs"]
#[allow(dead_code, reason = "a test needs a part of the bench")]
mod bench;
#[allow(dead_code, reason = "a test needs a part of the measures")]
mod hard_measure;

use std::sync::Arc;

use beadtally::base::Frame;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{Grab, Source};
use bench::second::clip::Clip;
use bench::second::{Disturbed, NAMES, Wrong};
use bench::watch::TrueGlass;
use hard_measure::{inner, line, mean, noise, passages, row_gains, shift};

/// A clip that stands still: one picture over and over.
fn clip(frames_per_second: f64, secs: f64) -> Arc<Clip> {
    let words = "demo:feeds=1,rates=0,size=240x200,seed=7,noise=0,light=card";
    let mut source = DemoSource::from_words(words).expect("the words of a demo");
    let Ok(Grab::Frame(frame)) = source.next() else {
        panic!("a demo brings a frame");
    };
    let count = (secs * frames_per_second) as usize;
    Arc::new(Clip {
        name: "still".to_owned(),
        frames: vec![(*frame.luma).clone(); count],
        times: (0..count).map(|n| n as f64 / frames_per_second).collect(),
        frames_per_second,
        px_per_mm: None,
        truth: vec![TrueGlass {
            upright_box: source.glasses()[0].upright_box,
            beads: Vec::new(),
        }],
    })
}

fn disturbed(clip: &Arc<Clip>, name: &str, level: f64) -> Vec<Frame> {
    let wrong = Wrong::named(name, level).expect("a known name");
    let mut source = Disturbed::new(clip.clone(), &wrong, 5);
    let mut frames = Vec::new();
    while let Grab::Frame(frame) = source.next().expect("no failure") {
        frames.push(frame);
    }
    frames
}

#[test]
fn nothing_is_done_where_nothing_is_asked() {
    let clip = clip(30.0, 1.0);
    for name in NAMES {
        let frames = disturbed(&clip, name, 0.0);
        assert_eq!(frames.len(), 30, "{name}");
        for (index, frame) in frames.iter().enumerate() {
            assert_eq!(*frame.luma, clip.frames[index], "{name}");
            assert!((frame.at_secs - clip.times[index]).abs() < 1e-9, "{name}");
        }
    }
    assert!(Wrong::named("sunshine", 1.0).is_none());
}

#[test]
fn a_shake_reaches_three_pixels_at_five_to_fifteen_hertz() {
    let clip = clip(60.0, 4.0);
    let still = &clip.frames[0];
    let ways: Vec<(f64, f64)> = disturbed(&clip, "shake", 1.0)
        .iter()
        .map(|frame| shift(still, &frame.luma, inner(still, 6), 4))
        .collect();
    let farthest = ways
        .iter()
        .map(|way| way.0.abs().max(way.1.abs()))
        .fold(0.0, f64::max);
    assert!((2.5..=3.2).contains(&farthest), "{farthest} px at most");
    let down: Vec<f64> = ways.iter().map(|way| way.1).collect();
    let hz = passages(&down) as f64 / 2.0 / 4.0;
    assert!((5.0..=15.0).contains(&hz), "{hz} Hz");
}

#[test]
fn a_knock_moves_the_middle_by_twelve_pixels_and_a_zoom_enlarges() {
    let long = clip(2.0, 40.0);
    let still = &long.frames[0];
    let knocked = disturbed(&long, "knock", 1.0);
    assert_eq!(*knocked[0].luma, *still);
    let last = &knocked.last().expect("frames").luma;
    let (dx, dy) = shift(still, last, inner(still, 16), 14);
    assert!((dx.hypot(dy) - 12.0).abs() < 0.8, "{dx} {dy}");
    let long = clip(0.2, 62.0);
    let zoomed = disturbed(&long, "zoom", 1.0);
    let last = &zoomed.last().expect("frames").luma;
    let (width, height) = still.dimensions();
    let left = shift(still, last, (4, 20, width / 4, height - 20), 5);
    let right = shift(still, last, (3 * width / 4, 20, width - 4, height - 20), 5);
    let seen = (right.0 - left.0) / (0.75 * f64::from(width));
    assert!((seen - 0.0275).abs() < 0.007, "{seen} in 55 s");
}

#[test]
fn light_flickers_steps_and_loses_contrast_as_far_as_asked() {
    let short = clip(30.0, 1.0);
    let still = &short.frames[0];
    let (mut low, mut high) = (f64::MAX, f64::MIN);
    for frame in disturbed(&short, "flicker", 1.0) {
        let gains = row_gains(still, &frame.luma);
        low = gains.iter().copied().fold(low, f64::min);
        high = gains.iter().copied().fold(high, f64::max);
        assert!((3..=12).contains(&passages(&gains)), "no bands");
    }
    assert!(
        (low - 0.92).abs() < 0.012 && (high - 1.08).abs() < 0.012,
        "{low} {high}"
    );
    let all = inner(still, 0);
    let (slope, _) = line(still, &disturbed(&short, "contrast", 1.0)[0].luma, all);
    assert!((slope - 0.2).abs() < 0.01, "{slope}");
    let long = clip(4.0, 60.0);
    let gains: Vec<f64> = disturbed(&long, "exposure", 1.0)
        .iter()
        .map(|frame| line(still, &frame.luma, all).0)
        .collect();
    for wanted in [0.7, 1.0, 1.3] {
        assert!(
            gains.iter().any(|gain| (gain - wanted).abs() < 0.02),
            "never {wanted}"
        );
    }
    let frames = disturbed(&short, "noise", 1.0);
    let spread = noise(&frames[0].luma, &frames[1].luma, still);
    assert!((spread - 4.0).abs() < 0.2, "{spread}");
}

#[test]
fn glasses_are_filmed_and_mirror_and_steam_and_walkers_pass() {
    let long = clip(2.0, 61.0);
    let still = &long.frames[0];
    let [x, y, w, h] = long.truth[0].upright_box.map(|v| v as u32);
    let glass = (x + 2, y + 2, x + w - 2, y + h - 2);
    let filmed = disturbed(&long, "film", 1.0);
    let lost = 1.0 - line(still, &filmed[120].luma, glass).0;
    assert!((lost - 0.5).abs() < 0.05, "{lost} after a minute");
    let most = disturbed(&long, "reflection", 1.0)
        .iter()
        .flat_map(|frame| {
            still
                .as_raw()
                .iter()
                .zip(frame.luma.as_raw().clone())
                .filter(|(was, _)| **was < 180)
                .map(|(was, is)| i32::from(is) - i32::from(*was))
                .collect::<Vec<_>>()
        })
        .max();
    assert!(
        most.is_some_and(|most| (30..=70).contains(&most)),
        "{most:?}"
    );
    let taken: Vec<f64> = disturbed(&long, "steam", 1.0)
        .iter()
        .map(|frame| 1.0 - line(still, &frame.luma, glass).0)
        .collect();
    let (least, most) = taken
        .iter()
        .fold((1.0_f64, 0.0_f64), |(a, b), v| (a.min(*v), b.max(*v)));
    assert!(
        (0.25..=0.75).contains(&most) && most - least > 0.1,
        "{least} {most}"
    );
    let calm = mean(still, glass);
    // A coat of luma 38 hides the glass.
    let quick = clip(20.0, 30.0);
    let hidden = disturbed(&quick, "passer", 1.0)
        .iter()
        .filter(|frame| (calm - mean(&frame.luma, glass)) / (calm - 38.0) > 0.7)
        .count();
    // Three times, for a tenth to half a second.
    assert!(
        (6..=30).contains(&hidden),
        "hidden in {hidden} frames of 600"
    );
}

#[test]
fn frames_are_lost_doubled_late_and_stalled() {
    let long = clip(30.0, 60.0);
    let gaps = |name| -> (usize, f64, Vec<f64>) {
        let frames = disturbed(&long, name, 1.0);
        let late = frames
            .iter()
            .map(|f| f.at_secs - f.number as f64 / 30.0)
            .fold(0.0, f64::max);
        let gaps = frames
            .windows(2)
            .map(|p| p[1].at_secs - p[0].at_secs)
            .filter(|gap| *gap > 0.5)
            .collect();
        (frames.len(), late, gaps)
    };
    let (left, _, _) = gaps("lost");
    let lost = 1.0 - left as f64 / 1800.0;
    assert!((lost - 0.1).abs() < 0.03, "{lost}");
    let (_, late, _) = gaps("late");
    assert!((0.023..=0.0251).contains(&late), "{late}");
    let (_, _, stalls) = gaps("stall");
    assert_eq!(stalls.len(), 2);
    assert!(
        stalls.iter().all(|gap| (gap - 2.0).abs() < 0.1),
        "{stalls:?}"
    );
    let noisy = Wrong {
        noise: 1.0,
        doubled: 1.0,
        ..Wrong::default()
    };
    let mut source = Disturbed::new(long.clone(), &noisy, 5);
    let mut frames = Vec::new();
    while let Grab::Frame(frame) = source.next().expect("no failure") {
        frames.push(frame);
    }
    let twice = frames.windows(2).filter(|p| p[0].luma == p[1].luma).count();
    let share = twice as f64 / 1800.0;
    assert!((share - 0.1).abs() < 0.03, "{share}");
}
