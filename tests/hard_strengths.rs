//! A disturbance of the demo has the size that its words say: measured in the pictures and stamps,
//! not read from the demo's own numbers. The sizes are those of level 1 of the bench of hard cases.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test stops at the first surprise"
)]

mod hard_measure;

use beadtally::base::{BeadKind, Frame};
use beadtally::capture::demo::model::Model;
use beadtally::capture::demo::{DemoSettings, DemoSource};
use beadtally::capture::{Grab, Source};
use hard_measure::{inner, line, mean, noise, passages, rms, row_gains, shift};

/// One glass, no bead, no noise: what differs is the disturbance alone.
const STILL: &str = "demo:feeds=1,rates=0,size=240x200,seed=7,noise=0";

fn source(more: &str) -> DemoSource {
    DemoSource::from_words(&format!("{STILL}{more}")).unwrap()
}

fn frame(source: &mut DemoSource) -> Frame {
    loop {
        match source.next() {
            Ok(Grab::Frame(frame)) => return frame,
            Ok(Grab::Nothing { .. }) => {}
            other => panic!("no frame but {other:?}"),
        }
    }
}

fn until(source: &mut DemoSource, secs: f64) -> Frame {
    loop {
        let frame = frame(source);
        if frame.at_secs >= secs - 1e-9 {
            return frame;
        }
    }
}

/// The frames of a disturbed demo within some seconds, and the picture with nothing wrong.
fn frames(more: &str, secs: f64) -> (Frame, Vec<Frame>) {
    let calm = more.split(",fault=").next().unwrap_or_default();
    let still = frame(&mut source(calm));
    let mut disturbed = source(more);
    let mut all = Vec::new();
    loop {
        let frame = frame(&mut disturbed);
        if frame.at_secs >= secs {
            return (still, all);
        }
        all.push(frame);
    }
}

#[test]
fn a_shake_of_three_pixels_reaches_three_pixels_at_five_to_fifteen_hertz() {
    let (still, all) = frames(",fps=100,fault=shake 3", 3.0);
    let part = inner(&still.luma, 6);
    let ways: Vec<(f64, f64)> = all
        .iter()
        .map(|frame| shift(&still.luma, &frame.luma, part, 4))
        .collect();
    let down: Vec<f64> = ways.iter().map(|way| way.1).collect();
    let farthest = ways
        .iter()
        .map(|way| way.0.abs().max(way.1.abs()))
        .fold(0.0, f64::max);
    assert!((2.4..=3.1).contains(&farthest), "{farthest} px at most");
    assert!((0.9..=2.1).contains(&rms(&down)), "{} px rms", rms(&down));
    // Each cycle passes the middle twice.
    let hz = passages(&down) as f64 / 2.0 / 3.0;
    assert!((5.0..=15.0).contains(&hz), "{hz} Hz");
}

#[test]
fn a_rolling_shutter_shifts_rows_one_by_one_as_far_as_the_shake_says() {
    let (still, all) = frames(",fps=30,fault=shake-rolling 3", 2.0);
    let (width, height) = still.luma.dimensions();
    let (mut farthest, mut bent) = (0.0_f64, 0.0_f64);
    for frame in &all {
        let upper = shift(&still.luma, &frame.luma, (6, 6, width - 6, height / 4), 4);
        let lower = shift(
            &still.luma,
            &frame.luma,
            (6, 3 * height / 4, width - 6, height - 6),
            4,
        );
        farthest = farthest.max(upper.1.abs()).max(lower.1.abs());
        bent = bent.max((upper.1 - lower.1).abs());
    }
    assert!((2.0..=3.2).contains(&farthest), "{farthest} px at most");
    assert!(bent > 1.5, "upper and lower part at most {bent} px apart");
}

#[test]
fn a_flicker_of_eight_per_cent_is_that_in_bands_that_roll() {
    let (still, all) = frames(",fault=flicker 8", 1.0);
    let (mut low, mut high) = (f64::MAX, f64::MIN);
    for frame in &all {
        let gains = row_gains(&still.luma, &frame.luma);
        low = gains.iter().copied().fold(low, f64::min);
        high = gains.iter().copied().fold(high, f64::max);
        // Read out in 0.8 of a thirtieth of a second, 100 Hz make 2.7 bands.
        let passages = passages(&gains);
        assert!((4..=7).contains(&passages), "{passages} passages");
    }
    assert!((low - 0.92).abs() < 0.01, "{low}");
    assert!((high - 1.08).abs() < 0.01, "{high}");
    let first = [&all[0], &all[1]].map(|f| row_gains(&still.luma, &f.luma)[0]);
    assert!((first[0] - first[1]).abs() > 0.02, "the bands stand still");
}

#[test]
fn steps_of_exposure_are_thirty_per_cent_up_and_down() {
    let (still, all) = frames(",fps=5,fault=exposure 30", 60.0);
    let part = inner(&still.luma, 0);
    let gains: Vec<f64> = all
        .iter()
        .map(|f| line(&still.luma, &f.luma, part).0)
        .collect();
    for wanted in [0.7, 1.0, 1.3] {
        assert!(
            gains.iter().any(|gain| (gain - wanted).abs() < 0.02),
            "never {wanted}"
        );
    }
    assert!(gains.iter().all(|gain| (0.68..=1.32).contains(gain)));
    let steps = gains.windows(2).filter(|p| (p[0] - p[1]).abs() > 0.1);
    assert!(steps.count() >= 8);
}

#[test]
fn contrast_down_to_a_fifth_leaves_a_fifth() {
    let (still, all) = frames(",fault=contrast 80", 0.1);
    let (slope, _) = line(&still.luma, &all[0].luma, inner(&still.luma, 0));
    assert!((slope - 0.2).abs() < 0.01, "{slope}");
}

#[test]
fn noise_has_the_spread_it_is_asked_for_at_mid_grey() {
    let still = frame(&mut source(",light=card"));
    for words in [",light=card,noise=4", ",light=card,fault=noise 4"] {
        let mut noisy = source(words);
        let (one, other) = (frame(&mut noisy), frame(&mut noisy));
        let spread = noise(&one.luma, &other.luma, &still.luma);
        assert!((spread - 4.0).abs() < 0.3, "{words}: {spread}");
    }
}

#[test]
fn steam_of_a_half_takes_up_to_a_half_and_drifts() {
    let (still, all) = frames(",fps=5,light=card,fault=steam 0.5", 20.0);
    let glass = source("").glasses()[0].upright_box.map(|v| v as u32);
    let part = (glass[0], glass[1], glass[0] + glass[2], glass[1] + glass[2]);
    let taken: Vec<f64> = all
        .iter()
        .map(|f| 1.0 - line(&still.luma, &f.luma, part).0)
        .collect();
    let most = taken.iter().copied().fold(0.0, f64::max);
    let least = taken.iter().copied().fold(1.0, f64::min);
    assert!((0.25..=0.55).contains(&most), "{most} at most");
    assert!(most - least > 0.15, "{least} to {most}");
}

#[test]
fn a_film_takes_its_share_of_the_contrast_a_minute() {
    let (still, all) = frames(",fps=5,fault=film 1 0.5", 60.2);
    let glass = source("").glasses()[0].upright_box.map(|v| v as u32);
    let part = (
        glass[0] + 3,
        glass[1] + 3,
        glass[0] + glass[2] - 3,
        glass[1] + glass[3] - 3,
    );
    for (index, wanted) in [(150, 0.25), (299, 0.5)] {
        let frame = &all[index];
        let lost = 1.0 - line(&still.luma, &frame.luma, part).0;
        assert!(
            (lost - wanted).abs() < 0.06,
            "{lost} lost after {} s",
            frame.at_secs
        );
    }
}

#[test]
fn a_zoom_of_three_per_cent_a_minute_enlarges_by_that_and_the_truth_follows() {
    let mut zoomed = source(",fps=5,fault=zoom 3");
    let first = frame(&mut zoomed);
    let before = zoomed.glasses()[0];
    let later = until(&mut zoomed, 60.0);
    let after = zoomed.glasses()[0];
    let by = after.size_px.0 / before.size_px.0;
    assert!((by - 1.0305).abs() < 0.001, "{by}");
    let (width, height) = first.luma.dimensions();
    let left = shift(&first.luma, &later.luma, (4, 20, width / 4, height - 20), 5);
    let right = shift(
        &first.luma,
        &later.luma,
        (3 * width / 4, 20, width - 4, height - 20),
        5,
    );
    let apart = f64::from(width) * 0.75;
    let seen = 1.0 + (right.0 - left.0) / apart;
    assert!((seen - by).abs() < 0.006, "{seen} seen, {by} true");
}

#[test]
fn a_knock_of_twelve_pixels_moves_the_middle_by_twelve() {
    let (still, all) = frames(",fault=knock 12", 0.1);
    let part = inner(&still.luma, 16);
    let (dx, dy) = shift(&still.luma, &all[0].luma, part, 14);
    assert!((dx.hypot(dy) - 12.0).abs() < 0.7, "{dx} {dy}");
}

#[test]
fn frames_are_lost_doubled_late_and_stalled_as_often_and_as_long_as_asked() {
    let (_, all) = frames(",fps=60,size=160x120,fault=lost 10", 20.0);
    let lost = 1.0 - all.len() as f64 / 1200.0;
    assert!((lost - 0.10).abs() < 0.03, "{lost}");
    let (_, all) = frames(",fps=60,size=160x120,noise=1,fault=doubled 10", 20.0);
    let twice = all.windows(2).filter(|p| p[0].luma == p[1].luma).count();
    let doubled = twice as f64 / all.len() as f64;
    assert!((doubled - 0.10).abs() < 0.03, "{doubled}");
    let (_, all) = frames(",fps=30,size=160x120,fault=late 25", 20.0);
    let late: Vec<f64> = all
        .iter()
        .map(|f| f.at_secs - f.number as f64 / 30.0)
        .collect();
    let most = late.iter().copied().fold(0.0, f64::max);
    assert!((0.022..=0.0251).contains(&most), "{most} s");
    let mean = late.iter().sum::<f64>() / late.len() as f64;
    assert!((mean - 0.0125).abs() < 0.002, "{mean} s");
    let (_, all) = frames(
        ",fps=30,size=160x120,fault=stall 2 @3-5;stall 2 @8-10",
        12.0,
    );
    let gaps: Vec<f64> = all
        .windows(2)
        .map(|p| p[1].at_secs - p[0].at_secs)
        .filter(|gap| *gap > 0.5)
        .collect();
    assert_eq!(gaps.len(), 2);
    assert!(gaps.iter().all(|gap| (gap - 2.0).abs() < 0.1), "{gaps:?}");
}

#[test]
fn somebody_walks_past_every_twelve_seconds_and_darkens_what_is_behind() {
    for (fault, darkest) in [("passer", 0.35), ("passer-behind", 0.5)] {
        let (still, all) = frames(&format!(",fps=10,fault={fault} 12"), 40.0);
        let glass = source("").glasses()[0].upright_box.map(|v| v as u32);
        let part = (
            glass[0] + glass[2] / 3,
            glass[1] + glass[3] / 3,
            glass[0] + 2 * glass[2] / 3,
            glass[1] + 2 * glass[3] / 3,
        );
        let calm = mean(&still.luma, part);
        let hidden: Vec<f64> = all
            .iter()
            .filter(|f| mean(&f.luma, part) < darkest * calm)
            .map(|f| f.at_secs)
            .collect();
        let mut passings: Vec<f64> = Vec::new();
        for at in hidden {
            if passings.last().is_none_or(|last| at - last > 3.0) {
                passings.push(at);
            }
        }
        assert_eq!(passings.len(), 4, "{fault}: {passings:?}");
        for pair in passings.windows(2) {
            assert!((pair[1] - pair[0] - 12.0).abs() < 0.4, "{passings:?}");
        }
    }
}

#[test]
fn a_reflection_of_forty_steps_adds_forty_and_moves() {
    for kind in ["", ",kind=port"] {
        let words = format!(",size=320x240,light=front{kind},fault=reflection 40");
        let (still, all) = frames(&words, 12.0);
        let mut most = 0_i32;
        let mut places = std::collections::BTreeSet::new();
        for frame in &all {
            let mut here = (0_i32, 0_u32, 0_u32);
            for (x, y, pixel) in frame.luma.enumerate_pixels() {
                let was = still.luma.get_pixel(x, y)[0];
                let more = i32::from(pixel[0]) - i32::from(was);
                if was < 160 && more > here.0 {
                    here = (more, x, y);
                }
            }
            most = most.max(here.0);
            if here.0 > 15 {
                places.insert((here.1 / 4, here.2 / 4));
            }
        }
        assert!((32..=76).contains(&most), "{kind}: {most} steps");
        assert!(places.len() >= 4, "{kind}: {places:?}");
    }
}

/// Beads that pass mid-glass within a minute of model time.
fn passed(more: &str) -> Vec<beadtally::capture::demo::BeadTruth> {
    let words = format!("demo:feeds=1,size=160x120,fps=10,noise=0,seed=3{more}");
    let mut source = DemoSource::from_words(&words).unwrap();
    until(&mut source, 60.0);
    source.truth().beads
}

#[test]
fn bubbles_of_gas_are_one_to_three_millimetres() {
    let gas: Vec<f64> = passed(",rates=0,gas=90")
        .iter()
        .filter(|bead| bead.kind == BeadKind::Gas)
        .map(|bead| bead.diameter_mm)
        .collect();
    assert!(gas.iter().all(|mm| (1.0..=3.0).contains(mm)));
    assert!(gas.iter().any(|mm| *mm < 1.2) && gas.iter().any(|mm| *mm > 2.8));
}

#[test]
fn pairs_triplets_and_followers_keep_a_beads_width_of_clear_water() {
    let usual = ",rates=10,bead_mm=4,bead_scatter=0,scatter=0.1";
    for (words, members) in [
        ("pairs=1", vec![4.0, 4.0]),
        ("triplets=1", vec![4.0, 4.0, 4.0]),
        ("followed=1,small_size=0.5", vec![4.0, 2.0]),
    ] {
        let beads = passed(&format!("{usual},pair_gap=1,{words}"));
        assert!(beads.len() >= 5 * members.len(), "{words}");
        // A group ends where nothing comes for a second and more.
        let groups: Vec<&[_]> = beads.chunk_by(|a, b| b.at_secs - a.at_secs < 1.0).collect();
        for group in &groups[1..groups.len() - 1] {
            let sizes: Vec<f64> = group.iter().map(|bead| bead.diameter_mm).collect();
            assert_eq!(sizes, members, "{words}");
            for pair in group.windows(2) {
                // When the first passes mid-glass, the next is this far below it.
                let below = (pair[1].at_secs - pair[0].at_secs) * pair[1].rise_mm_per_s;
                let clear = below - 0.5 * (pair[0].diameter_mm + pair[1].diameter_mm);
                // A small one is slower and falls back on the way.
                let slack = if members[1] < 4.0 { 6.0 } else { 0.4 };
                assert!(
                    (-0.4..=slack).contains(&(clear - 4.0)),
                    "{words}: {clear} mm"
                );
            }
        }
    }
}

#[test]
fn a_large_bead_overtakes_a_small_one_beside_it_within_the_glass() {
    let words = "demo:feeds=1,rates=10,bead_mm=5,overtaking=1,small_size=0.5,seed=5";
    let settings = DemoSettings::from_words(words).unwrap();
    let mut model = Model::new(&settings);
    let space = model.space();
    let mut overtakings = 0;
    let mut before: Vec<(f64, f64)> = Vec::new();
    for step in 1..6000 {
        let now_secs = f64::from(step) * 0.01;
        let _ = model.advance(now_secs);
        let live: Vec<_> = model
            .live()
            .iter()
            .filter(|bead| bead.released_secs <= now_secs)
            .collect();
        let small = live.iter().find(|bead| bead.diameter_mm < 3.5);
        let large = live.iter().find(|bead| bead.diameter_mm > 4.0);
        let (Some(small), Some(large)) = (small, large) else {
            before.clear();
            continue;
        };
        let (a, b) = (small.place(now_secs), large.place(now_secs));
        let apart = (a.x_mm - b.x_mm)
            .hypot(a.y_mm - b.y_mm)
            .hypot(a.z_mm - b.z_mm);
        assert!(
            apart > 0.5 * (small.diameter_mm + large.diameter_mm) - 0.2,
            "they go through each other: {apart} mm"
        );
        assert!(a.x_mm.hypot(a.z_mm) + 0.5 * small.diameter_mm < 0.5 * space.bore_mm);
        if let Some((small_y, large_y)) = before.last()
            && small_y > large_y
            && a.y_mm <= b.y_mm
        {
            overtakings += 1;
            assert!(a.y_mm.abs() < space.top_mm / 2.5, "at {} mm", a.y_mm);
        }
        before.push((a.y_mm, b.y_mm));
    }
    assert!(overtakings >= 5, "{overtakings} overtakings in a minute");
}
