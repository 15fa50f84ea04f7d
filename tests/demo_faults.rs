//! Faults of the demo, switched on and off: what each does to drops, pictures, stamps and truth,
//! and how wrong words are refused.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test stops at the first surprise"
)]

use beadtally::base::{BeadKind, Frame};
use beadtally::capture::demo::{DemoSource, GlassTruth, fault_words, open};
use beadtally::capture::{Grab, Source};

const SMALL: &str = "demo:feeds=2,rates=30,scatter=0.05,size=320x240,seed=3,noise=0,shutter=0";

fn source(more: &str) -> DemoSource {
    DemoSource::from_words(&format!("{SMALL}{more}")).unwrap()
}

fn frame(source: &mut DemoSource) -> Frame {
    match source.next() {
        Ok(Grab::Frame(frame)) => frame,
        other => panic!("no frame but {other:?}"),
    }
}

/// Frames up to a source time.
fn until(source: &mut DemoSource, secs: f64) -> Frame {
    loop {
        let frame = frame(source);
        if frame.at_secs >= secs - 1e-9 {
            return frame;
        }
    }
}

fn mean(frame: &Frame) -> f64 {
    let sum: u64 = frame.luma.as_raw().iter().map(|&v| u64::from(v)).sum();
    sum as f64 / frame.luma.as_raw().len() as f64
}

fn mean_in(frame: &Frame, glass: &GlassTruth) -> f64 {
    let [x, y, w, h] = glass.upright_box.map(|v| v as u32);
    let mut sum = 0.0;
    for row in y..y + h {
        for column in x..x + w {
            sum += f64::from(frame.luma.get_pixel(column, row)[0]);
        }
    }
    sum / f64::from(w * h)
}

/// Largest difference of two pictures.
fn apart(a: &Frame, b: &Frame) -> u8 {
    a.luma
        .as_raw()
        .iter()
        .zip(b.luma.as_raw())
        .map(|(a, b)| a.abs_diff(*b))
        .max()
        .unwrap()
}

fn drops_between(source: &DemoSource, feed: u16, from: f64, to: f64) -> usize {
    source
        .truth()
        .beads
        .iter()
        .filter(|b| b.feed.0 == feed && b.kind == BeadKind::Oil && (from..to).contains(&b.at_secs))
        .count()
}

#[test]
fn nothing_is_wrong_at_first() {
    let mut demo = DemoSource::from_words("demo").unwrap();
    assert_eq!(demo.glasses().len(), 3);
    assert!(demo.settings().fault.is_empty());
    for rate in &demo.settings().rates_per_minute {
        assert!((2.0..=3.0).contains(rate), "{rate}");
    }
    let first = frame(&mut demo);
    assert_eq!((first.number, first.at_secs), (0, 0.0));
    let second = frame(&mut demo);
    assert_eq!(second.number, 1);
    assert!((second.at_secs - 1.0 / 30.0).abs() < 1e-12);
    assert_ne!(
        first.luma, second.luma,
        "a live sensor never repeats itself"
    );
}

#[test]
fn stop_and_fast_strike_the_feed_they_name() {
    let mut demo = source("");
    until(&mut demo, 6.0);
    demo.switch("stop 2; fast 1 3").unwrap();
    until(&mut demo, 26.0);
    // What was already on its way may still pass.
    assert_eq!(drops_between(&demo, 2, 8.0, 26.0), 0);
    let fast = drops_between(&demo, 1, 8.0, 26.0);
    assert!((25..=29).contains(&fast), "{fast} in 18 s at 90 a minute");
    demo.switch("stop off; clear").unwrap();
    until(&mut demo, 46.0);
    for feed in [1, 2] {
        let drops = drops_between(&demo, feed, 28.0, 46.0);
        assert!(
            (8..=10).contains(&drops),
            "feed {feed}: {drops} in 18 s at 30 a minute"
        );
    }
}

#[test]
fn faults_can_be_set_for_a_time() {
    let mut demo = source(",fault=stop 1 @4-10;dark @2-3");
    until(&mut demo, 16.0);
    assert_eq!(drops_between(&demo, 1, 5.5, 10.5), 0);
    assert!(drops_between(&demo, 1, 12.0, 16.0) >= 1);
    let mut demo = source(",fault=dark @2-3");
    let levels = [1.0, 2.5, 3.5].map(|secs| mean(&until(&mut demo, secs)));
    assert!(
        levels[1] < 0.3 * levels[0] && levels[2] > 0.8 * levels[0],
        "{levels:?}"
    );
}

#[test]
fn a_flooded_glass_is_dark_and_shows_no_bead() {
    let mut demo = source("");
    let glasses = demo.glasses();
    let before = until(&mut demo, 4.0);
    demo.switch("flood 2 5").unwrap();
    let half = until(&mut demo, 6.5);
    let full = until(&mut demo, 10.0);
    let levels = [&before, &half, &full].map(|f| mean_in(f, &glasses[1]));
    assert!(
        levels[1] < 0.8 * levels[0] && levels[2] < 0.4 * levels[0],
        "{levels:?}"
    );
    assert!((mean_in(&full, &glasses[0]) / mean_in(&before, &glasses[0]) - 1.0).abs() < 0.05);
    let later = until(&mut demo, 20.0);
    assert_eq!(drops_between(&demo, 2, 9.0, 20.0), 0);
    assert!(drops_between(&demo, 1, 9.0, 20.0) > 3);
    // Nothing at all moves in the flooded glass.
    assert!((mean_in(&later, &glasses[1]) - mean_in(&full, &glasses[1])).abs() < 1e-9);
    demo.switch("flood off").unwrap();
    let clear = until(&mut demo, 30.0);
    assert!((mean_in(&clear, &glasses[1]) / levels[0] - 1.0).abs() < 0.05);
    assert!(drops_between(&demo, 2, 25.0, 30.0) >= 1);
}

#[test]
fn a_film_grows_until_it_is_wiped_off() {
    let mut demo = source(",fault=film 1 6");
    let glasses = demo.glasses();
    // Contrast: brightest against darkest tenth of the glass.
    let contrast = |frame: &Frame| {
        let [x, y, w, h] = glasses[0].upright_box.map(|v| v as u32);
        let mut values: Vec<u8> = (0..w * h)
            .map(|i| frame.luma.get_pixel(x + i % w, y + i / w)[0])
            .collect();
        values.sort_unstable();
        let tenth = values.len() / 10;
        f64::from(values[values.len() - tenth]) - f64::from(values[tenth / 4])
    };
    let first = contrast(&until(&mut demo, 0.1));
    let later = contrast(&until(&mut demo, 5.0));
    let thick = contrast(&until(&mut demo, 12.0));
    assert!(
        later < 0.8 * first && thick < 0.25 * first,
        "{first} {later} {thick}"
    );
    demo.switch("film 1 off").unwrap();
    assert!(contrast(&frame(&mut demo)) > 0.9 * first);
}

#[test]
fn a_trembling_camera_moves_the_picture_by_as_much_as_asked() {
    let mut still = source(",rates=0");
    let mut shaken = source(",rates=0,fault=shake 4");
    let rest = frame(&mut still);
    frame(&mut shaken);
    let (width, height) = (rest.width(), rest.height());
    let mut farthest = 0;
    for _ in 0..30 {
        let now = frame(&mut shaken);
        // Best whole-pixel shift within ±6, by sum of absolute differences.
        let mut best = (u64::MAX, (0_i64, 0_i64));
        for dy in -6..=6_i64 {
            for dx in -6..=6_i64 {
                let mut sum = 0_u64;
                for y in (8..i64::from(height) - 8).step_by(3) {
                    for x in (8..i64::from(width) - 8).step_by(3) {
                        let a = now.luma.get_pixel((x + dx) as u32, (y + dy) as u32)[0];
                        sum += u64::from(a.abs_diff(rest.luma.get_pixel(x as u32, y as u32)[0]));
                    }
                }
                best = best.min((sum, (dx, dy)));
            }
        }
        farthest = farthest.max(best.1.0.abs()).max(best.1.1.abs());
    }
    assert!((2..=4).contains(&farthest), "{farthest}");
}

#[test]
fn light_faults_change_the_light() {
    let level = |words: &str, secs: f64| {
        let mut demo = source(&format!(",rates=0,fault={words}"));
        mean(&until(&mut demo, secs))
    };
    let plain = level("", 1.0);
    assert!((level("dark 50", 1.0) / plain - 0.5).abs() < 0.02);
    // Jumps to 70, 100 or 130 per cent.
    let mut demo = source(",rates=0,fault=exposure 30");
    let mut seen = [false; 3];
    for _ in 0..900 {
        let share = mean(&frame(&mut demo)) / plain;
        let slot = [0.7, 1.0, 1.3]
            .iter()
            .position(|s| (share - s).abs() < 0.06);
        seen[slot.unwrap_or_else(|| panic!("{share}"))] = true;
    }
    assert_eq!(seen, [true; 3]);
    // Flicker: rows differ from the still picture by no more than asked, and some by much of it.
    let mut still = source(",rates=0");
    let mut flickering = source(",rates=0,fault=flicker 20");
    let (rest, now) = (frame(&mut still), frame(&mut flickering));
    let row = |f: &Frame, y: u32| {
        (0..f.width())
            .map(|x| f64::from(f.luma.get_pixel(x, y)[0]))
            .sum::<f64>()
    };
    let shares: Vec<f64> = (90..150).map(|y| row(&now, y) / row(&rest, y)).collect();
    let (low, high) = shares
        .iter()
        .fold((f64::MAX, f64::MIN), |(l, h), s| (l.min(*s), h.max(*s)));
    assert!(
        low > 0.78 && low < 0.85 && high < 1.22 && high > 1.15,
        "{low} {high}"
    );
    // Contrast: everything draws together.
    let mut flat = source(",rates=0,fault=contrast 75");
    let spread = |f: &Frame| {
        let m = mean(f);
        let raw = f.luma.as_raw();
        let sum: f64 = raw.iter().map(|&v| (f64::from(v) - m).powi(2)).sum();
        (sum / raw.len() as f64).sqrt()
    };
    assert!((spread(&frame(&mut flat)) / spread(&rest) - 0.25).abs() < 0.02);
    let mut noisy = source(",rates=0,fault=noise 12");
    assert!(apart(&frame(&mut noisy), &rest) > 20);
}

#[test]
fn veils_come_before_the_picture() {
    let mut still = source(",rates=0");
    let rest = until(&mut still, 2.5);
    let plain = mean(&rest);
    let mut steamy = source(",rates=0,fault=steam 0.8");
    let (a, b) = (until(&mut steamy, 2.5), until(&mut steamy, 3.5));
    assert!(mean(&a) > plain + 8.0);
    assert!(apart(&a, &b) > 20, "steam drifts");
    let mut passed = source(",rates=0,fault=passer 8");
    assert!(apart(&frame(&mut passed), &rest) < 2, "nobody yet");
    let covered = until(&mut passed, 2.5);
    assert!(
        mean(&covered) < 0.85 * plain,
        "{} of {plain}",
        mean(&covered)
    );
    assert!(apart(&until(&mut passed, 6.0), &rest) < 2, "gone again");
    let mut behind = source(",rates=0,fault=passer-behind 8");
    let glass = behind.glasses()[0];
    let darkest = (0..140)
        .map(|_| mean_in(&frame(&mut behind), &glass))
        .fold(f64::MAX, f64::min);
    assert!(darkest < 0.7 * mean_in(&rest, &glass), "{darkest}");
    // Behind means behind: the panel between the glasses is as it was.
    let shaded = until(&mut source(",rates=0,fault=passer-behind 8"), 2.4);
    assert!(shaded.luma.get_pixel(160, 120)[0].abs_diff(rest.luma.get_pixel(160, 120)[0]) < 2);
}

#[test]
fn a_knock_moves_the_glasses_for_good() {
    let mut demo = source("");
    let before = demo.glasses();
    until(&mut demo, 1.0);
    demo.switch("knock 10").unwrap();
    until(&mut demo, 2.0);
    let after = demo.glasses();
    for (a, b) in before.iter().zip(&after) {
        let (dx, dy) = (b.centre_px.0 - a.centre_px.0, b.centre_px.1 - a.centre_px.1);
        assert!((7.0..13.0).contains(&dx.hypot(dy)), "{dx} {dy}");
        assert!((b.angle_deg - a.angle_deg).abs() > 0.3);
    }
    until(&mut demo, 4.0);
    assert_eq!(demo.glasses(), after);
    demo.switch("knock off").unwrap();
    frame(&mut demo);
    assert_eq!(demo.glasses(), before);
}

#[test]
fn a_frozen_camera_repeats_itself_with_running_stamps() {
    let mut demo = DemoSource::from_words("demo:size=320x240,noise=2").unwrap();
    until(&mut demo, 1.0);
    demo.switch("frozen").unwrap();
    let first = frame(&mut demo);
    for step in 1..20_u32 {
        let next = frame(&mut demo);
        assert_eq!(next.luma, first.luma);
        assert!((next.at_secs - first.at_secs - f64::from(step) / 30.0).abs() < 1e-9);
    }
    demo.switch("frozen off").unwrap();
    assert_ne!(frame(&mut demo).luma, first.luma);
}

#[test]
fn a_stalled_camera_gives_nothing_while_time_runs() {
    let mut demo = source(",fault=stall 3 @2");
    let last = until(&mut demo, 2.0 - 1.0 / 30.0);
    let mut told = Vec::new();
    let next = loop {
        match demo.next().unwrap() {
            Grab::Nothing { at_secs } => told.push(at_secs),
            Grab::Frame(frame) => break frame,
            other => panic!("{other:?}"),
        }
    };
    assert!(told.len() >= 5, "{told:?}");
    assert!(told.is_sorted_by(|a, b| a < b));
    assert!(told[0] > last.at_secs && told[told.len() - 1] < next.at_secs);
    assert!((next.at_secs - 5.0).abs() < 0.04, "{}", next.at_secs);
    assert!(
        next.number > last.number + 80,
        "the frames of that time are lost"
    );
    assert!(frame(&mut demo).at_secs > next.at_secs);
    // Once more, from now on.
    demo.switch("stall 1").unwrap();
    assert!(matches!(demo.next().unwrap(), Grab::Nothing { .. }));
}

#[test]
fn frames_are_lost_doubled_and_late_as_often_as_asked() {
    let mut demo = source(",fault=lost 20");
    let mut last = frame(&mut demo);
    let mut holes = 0;
    for _ in 0..400 {
        let next = frame(&mut demo);
        holes += next.number - last.number - 1;
        assert!((next.at_secs - next.number as f64 / 30.0).abs() < 1e-9);
        last = next;
    }
    // 400 frames kept of 500.
    assert!((60..145).contains(&holes), "{holes}");

    let mut demo = DemoSource::from_words("demo:size=320x240,noise=2,fault=doubled 20").unwrap();
    let mut last = frame(&mut demo);
    let mut doubled = 0;
    for _ in 0..400 {
        let next = frame(&mut demo);
        assert_eq!(next.number, last.number + 1);
        doubled += u32::from(next.luma == last.luma);
        last = next;
    }
    assert!((50..115).contains(&doubled), "{doubled}");

    let mut demo = source(",fault=late 60");
    let mut last = frame(&mut demo);
    let mut latest = 0.0_f64;
    for _ in 0..300 {
        let next = frame(&mut demo);
        let late = next.at_secs - next.number as f64 / 30.0;
        assert!((0.0..=0.062).contains(&late), "{late}");
        assert!(next.at_secs > last.at_secs, "stamps never run backwards");
        latest = latest.max(late);
        last = next;
    }
    assert!(latest > 0.045, "{latest}");
}

#[test]
fn the_trait_switches_faults_and_survives_wrong_words() {
    let mut demo = open("feeds=1,size=320x240").unwrap();
    demo.fault("dark 100");
    demo.fault("no such thing");
    let Grab::Frame(frame) = demo.next().unwrap() else {
        panic!("no frame");
    };
    assert!(mean(&frame) < 3.0);
}

#[test]
fn wrong_words_are_refused_with_the_known_ones() {
    for (words, expected) in [
        ("demo:colour=red", "known keys: feeds"),
        ("demo:feeds", "has no value"),
        ("demo:feeds=0", "between 1 and 8"),
        ("demo:feeds=three", "not a number"),
        ("demo:rates=2;x", "not a number"),
        ("demo:rates=NaN", "between 0 and 120"),
        ("demo:size=big", "size=1280x720"),
        ("demo:kind=round", "kind=tube or kind=port"),
        ("demo:light=sun", "light=backlit"),
        ("demo:roll=45", "between -30 and 30"),
        ("demo:bead_mm=12", "bead_mm"),
        ("demo:feeds=8,px_per_mm=10", "fewer feeds"),
        ("demo:bore_mm=30", "bore_mm"),
        ("demo:fault=explode", "known faults: stop"),
        ("demo:fault=stop 4", "not one of the 3 feeds"),
        ("demo:fault=shake 500", "between 0 and 40"),
        ("demo:fault=shake 2 3", "one too many"),
        ("demo:fault=shake maybe", "neither a number"),
        ("demo:fault=shake @90-30", "@30-90"),
    ] {
        let Err(error) = DemoSource::from_words(words) else {
            panic!("{words} was accepted");
        };
        let sentence = error.to_string();
        assert!(sentence.contains(expected), "{words}: {sentence}");
    }
    for word in [
        "stop", "flood", "fast", "shake", "flicker", "steam", "stall", "clear",
    ] {
        assert!(fault_words::known_words().contains(word));
    }
}
