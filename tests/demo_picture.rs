//! What the demo draws, measured in its pictures: how wide and high beads look, how fast they
//! rise, when they pass mid-glass, what gas and oil look like in each light.

#![expect(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test stops at the first surprise"
)]

use beadtally::base::{BeadKind, Frame, GlassKind};
use beadtally::capture::demo::physics::{Pair, Rise};
use beadtally::capture::demo::{BeadTruth, DemoSettings, DemoSource, GlassTruth, Light};
use beadtally::capture::{Grab, Source};

fn frame(source: &mut DemoSource) -> Frame {
    match source.next() {
        Ok(Grab::Frame(frame)) => frame,
        other => panic!("no frame but {other:?}"),
    }
}

/// One glass, large, without noise, wander, scatter or smear.
fn plain(kind: GlassKind, light: Light) -> DemoSettings {
    DemoSettings {
        feeds: 1,
        kind,
        light,
        width_px: match kind {
            GlassKind::Tube => 320,
            GlassKind::Port => 460,
        },
        height_px: match kind {
            GlassKind::Tube => 900,
            GlassKind::Port => 460,
        },
        fps: 60.0,
        seed: 11,
        rates_per_minute: vec![40.0],
        scatter: vec![0.0],
        gas_per_minute: vec![0.0],
        bead_mm: vec![4.2],
        bead_scatter: 0.0,
        wobble_mm: 0.0,
        noise: 0.0,
        shutter: 0.0,
        px_per_mm: Some(14.0),
        ..DemoSettings::default()
    }
}

/// The picture with nothing on its way, and the first frame of `settings` within a frame of a bead
/// of the kind passing mid-glass.
fn rest_and_passing(
    settings: &DemoSettings,
    kind: BeadKind,
) -> (Frame, Frame, BeadTruth, GlassTruth) {
    let mut still = settings.clone();
    still.rates_per_minute = vec![0.0];
    still.gas_per_minute = vec![0.0];
    let rest = frame(&mut DemoSource::new(still).unwrap());
    let mut source = DemoSource::new(settings.clone()).unwrap();
    let glass = source.glasses()[0];
    for _ in 0..600 {
        let now = frame(&mut source);
        let truth = source.truth();
        let passed = truth.beads.iter().find(|bead| bead.kind == kind);
        if let Some(bead) = passed {
            assert!((now.at_secs - bead.at_secs).abs() <= 1.0 / settings.fps);
            return (rest, now, *bead, glass);
        }
    }
    panic!("no bead of that kind within 600 frames");
}

/// Box (left, top, right, bottom; ends excluded) of what differs by more than `steps` from the
/// picture at rest, within the rows given.
fn changed(
    rest: &Frame,
    now: &Frame,
    steps: u8,
    rows: std::ops::Range<u32>,
) -> Option<(u32, u32, u32, u32)> {
    let mut found: Option<(u32, u32, u32, u32)> = None;
    for y in rows {
        for x in 0..rest.width() {
            let (a, b) = (rest.luma.get_pixel(x, y)[0], now.luma.get_pixel(x, y)[0]);
            if a.abs_diff(b) > steps {
                let (l, t, r, d) = found.unwrap_or((x, y, x, y));
                found = Some((l.min(x), t.min(y), r.max(x + 1), d.max(y + 1)));
            }
        }
    }
    found
}

/// Rows of the upper part of the glass, clear of the nozzle and what grows on it.
fn above_nozzle(glass: &GlassTruth) -> std::ops::Range<u32> {
    let [_, top, _, height] = glass.upright_box;
    (top as u32 + 2)..((top + 0.68 * height) as u32)
}

#[test]
fn a_bead_in_a_tube_looks_a_third_wider_than_high() {
    // Before a white plate the whole outline is seen, in a slow feed and a larger bead too.
    for mm in [3.0, 4.2, 5.4] {
        let settings = DemoSettings {
            bead_mm: vec![mm],
            ..plain(GlassKind::Tube, Light::Backlit)
        };
        let (rest, now, bead, glass) = rest_and_passing(&settings, BeadKind::Oil);
        let (left, top, right, bottom) = changed(&rest, &now, 6, above_nozzle(&glass)).unwrap();
        let (width, height) = (f64::from(right - left), f64::from(bottom - top));
        let ratio = width / height;
        // Refractive index of water at 40 °C: 1.330955 (IAPWS R9-97).
        assert!(
            (1.30..=1.36).contains(&ratio),
            "{mm} mm: {width} × {height}"
        );
        // Height is not magnified, and the middle is where the truth says.
        let wanted = bead.diameter_mm * glass.px_per_mm;
        assert!(
            (height - wanted).abs() <= 2.0,
            "{mm} mm: {height} for {wanted}"
        );
        let moved = (now.at_secs - bead.at_secs) * bead.rise_mm_per_s * glass.px_per_mm;
        let middle = f64::from(top + bottom) / 2.0;
        assert!(
            (middle - (glass.centre_px.1 - moved)).abs() <= 1.5,
            "{mm} mm: {middle}"
        );
        let across = f64::from(left + right) / 2.0;
        assert!(
            (across - glass.centre_px.0).abs() <= 1.5,
            "{mm} mm: {across}"
        );
    }
}

#[test]
fn a_bead_in_a_port_looks_as_wide_as_high() {
    let settings = plain(GlassKind::Port, Light::Backlit);
    let (rest, now, bead, glass) = rest_and_passing(&settings, BeadKind::Oil);
    let (left, top, right, bottom) = changed(&rest, &now, 6, above_nozzle(&glass)).unwrap();
    let (width, height) = (f64::from(right - left), f64::from(bottom - top));
    assert!(
        (0.97..=1.03).contains(&(width / height)),
        "{width} × {height}"
    );
    let wanted = bead.diameter_mm * glass.px_per_mm;
    assert!((height - wanted).abs() <= 2.5, "{height} for {wanted}");
}

#[test]
fn a_flattened_bead_looks_flatter_by_what_its_size_asks() {
    let round = plain(GlassKind::Port, Light::Backlit);
    let settings = DemoSettings {
        flatten: 1.0,
        ..round
    };
    let (rest, now, _, glass) = rest_and_passing(&settings, BeadKind::Oil);
    let (left, top, right, bottom) = changed(&rest, &now, 6, above_nozzle(&glass)).unwrap();
    let ratio = f64::from(right - left) / f64::from(bottom - top);
    // 1 + 0.163 Eo^0.757 with Eo = 0.56 (Wellek et al., from memory): 1.105.
    assert!((1.06..=1.15).contains(&ratio), "{ratio}");
}

#[test]
fn beads_are_drawn_at_the_speed_of_physics() {
    let settings = plain(GlassKind::Tube, Light::Backlit);
    let (rest, first, bead, glass) = rest_and_passing(&settings, BeadKind::Oil);
    let pair = Pair::oil(
        settings.temperature_c,
        settings.oil_kg_per_m3,
        settings.tension_n_per_m,
    );
    let physics = Rise::of_drop(pair, 4.2, settings.bore_mm).terminal_mm_per_s();
    assert!((bead.rise_mm_per_s / physics - 1.0).abs() < 1e-9);
    let mut source = DemoSource::new(settings.clone()).unwrap();
    let middle = |now: &Frame| {
        let (_, top, _, bottom) = changed(&rest, now, 6, above_nozzle(&glass)).unwrap();
        f64::from(top + bottom) / 2.0
    };
    while frame(&mut source).number < first.number {}
    let apart = 15;
    let mut last = first.clone();
    for _ in 0..apart {
        last = frame(&mut source);
    }
    let px_per_s = (middle(&first) - middle(&last)) / (last.at_secs - first.at_secs);
    let drawn = px_per_s / glass.px_per_mm;
    // The start is not quite over at mid-glass: the last few per cent are still being gained.
    assert!(
        (drawn / physics - 1.0).abs() < 0.03,
        "{drawn} for {physics} mm/s"
    );
}

#[test]
fn gas_has_a_bright_core_and_a_dark_rim() {
    let settings = DemoSettings {
        rates_per_minute: vec![0.0],
        gas_per_minute: vec![60.0],
        // Many frames: a bubble passes in a blink.
        fps: 120.0,
        ..plain(GlassKind::Tube, Light::Backlit)
    };
    let (rest, now, bead, glass) = rest_and_passing(&settings, BeadKind::Gas);
    assert!(bead.rise_mm_per_s > 130.0, "{}", bead.rise_mm_per_s);
    let moved = (now.at_secs - bead.at_secs) * bead.rise_mm_per_s * glass.px_per_mm;
    let row = (glass.centre_px.1 - moved) as u32;
    let (left, _, right, _) = changed(&rest, &now, 6, row..row + 1).unwrap();
    let behind = f64::from(rest.luma.get_pixel(left - 4, row)[0]);
    let line: Vec<f64> = (left..right)
        .map(|x| f64::from(now.luma.get_pixel(x, row)[0]))
        .collect();
    let rim = line.iter().copied().fold(f64::MAX, f64::min);
    let middle = line[line.len() * 2 / 5..line.len() * 3 / 5]
        .iter()
        .sum::<f64>()
        / (line.len() * 3 / 5 - line.len() * 2 / 5) as f64;
    assert!(rim < 0.45 * behind, "rim {rim}, behind {behind}");
    assert!(middle > 0.75 * behind, "middle {middle}, behind {behind}");
}

#[test]
fn oil_is_darker_before_a_plate_and_brighter_before_the_dark() {
    for (kind, light, brighter) in [
        (GlassKind::Tube, Light::Backlit, -1.0),
        (GlassKind::Port, Light::Backlit, -1.0),
        (GlassKind::Port, Light::Card, -1.0),
        (GlassKind::Tube, Light::Front, 1.0),
        (GlassKind::Port, Light::Front, 1.0),
    ] {
        let (rest, now, _, glass) = rest_and_passing(&plain(kind, light), BeadKind::Oil);
        let (x, y) = (glass.centre_px.0 as u32, glass.centre_px.1 as u32);
        let mean = |frame: &Frame| {
            (0..400)
                .map(|i| f64::from(frame.luma.get_pixel(x - 10 + i % 20, y - 10 + i / 20)[0]))
                .sum::<f64>()
                / 400.0
        };
        let step = (mean(&now) - mean(&rest)) * brighter;
        assert!(step > 12.0, "{kind:?} {light:?}: {step}");
    }
    // Under a lamp in front, a bead carries a highlight.
    let settings = plain(GlassKind::Tube, Light::Front);
    let (rest, now, _, glass) = rest_and_passing(&settings, BeadKind::Oil);
    let (left, top, right, bottom) = changed(&rest, &now, 6, above_nozzle(&glass)).unwrap();
    let mut lumas: Vec<u8> = (top..bottom)
        .flat_map(|y| (left..right).map(move |x| (x, y)))
        .map(|(x, y)| now.luma.get_pixel(x, y)[0])
        .collect();
    lumas.sort_unstable();
    let (median, brightest) = (lumas[lumas.len() / 2], lumas[lumas.len() - 1]);
    assert!(
        f64::from(brightest) > 1.5 * f64::from(median),
        "brightest {brightest}, median {median}"
    );
}

#[test]
fn glasses_stand_where_the_truth_says() {
    // Lit from the front, light that runs along in the wall makes the edges the brightest lines.
    for (roll_deg, turn_deg) in [(0.0, 0.0), (7.0, 0.0), (0.0, 15.0), (-5.0, -12.0)] {
        let settings = DemoSettings {
            feeds: 2,
            width_px: 640,
            height_px: 480,
            px_per_mm: Some(4.0),
            rates_per_minute: vec![0.0],
            roll_deg,
            turn_deg,
            ..plain(GlassKind::Tube, Light::Front)
        };
        let mut source = DemoSource::new(settings).unwrap();
        let now = frame(&mut source);
        for glass in source.glasses() {
            let (sin, cos) = glass.angle_deg.to_radians().sin_cos();
            let luma = |across: f64| {
                let (x, y) = (
                    glass.centre_px.0 + across * cos,
                    glass.centre_px.1 + across * sin,
                );
                f64::from(now.luma.get_pixel(x as u32, y as u32)[0])
            };
            let half = 0.5 * glass.size_px.0;
            for side in [-1.0, 1.0] {
                let brightest = (0..160)
                    .map(|step| half - 6.0 + f64::from(step) * 0.05)
                    .max_by(|a, b| luma(side * a).total_cmp(&luma(side * b)))
                    .unwrap();
                assert!(
                    (brightest - half).abs() < 1.5,
                    "roll {roll_deg}, turn {turn_deg}: edge at {brightest}, truth {half}"
                );
            }
            let [x, y, width, height] = glass.upright_box;
            assert!((x + width / 2.0 - glass.centre_px.0).abs() < 1e-9);
            assert!((y + height / 2.0 - glass.centre_px.1).abs() < 1e-9);
            let (w, h) = glass.size_px;
            assert!((width - (w * cos + h * sin.abs())).abs() < 1e-9);
            assert!((height - (w * sin.abs() + h * cos)).abs() < 1e-9);
        }
    }
}

#[test]
fn the_sensor_is_as_noisy_as_asked() {
    let settings = DemoSettings {
        noise: 3.0,
        rates_per_minute: vec![0.0],
        ..plain(GlassKind::Port, Light::Backlit)
    };
    let mut source = DemoSource::new(settings).unwrap();
    let glass = source.glasses()[0];
    let (x, y) = (glass.centre_px.0 as u32, glass.centre_px.1 as u32);
    let frames: Vec<Frame> = (0..30).map(|_| frame(&mut source)).collect();
    let (mut variance, mut level, mut count) = (0.0, 0.0, 0.0);
    for dy in 0..20 {
        for dx in 0..20 {
            let values: Vec<f64> = frames
                .iter()
                .map(|f| f64::from(f.luma.get_pixel(x + dx, y + dy)[0]))
                .collect();
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            variance += values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 29.0;
            level += mean;
            count += 1.0;
        }
    }
    let (spread, level) = ((variance / count).sqrt(), level / count);
    // Asked for at mid-grey; half the variance grows with the light.
    let wanted = 3.0 * (0.5 + 0.5 * level / 128.0_f64).sqrt();
    assert!(
        (spread / wanted - 1.0).abs() < 0.05,
        "{spread} for {wanted}"
    );
}

#[test]
fn the_same_seed_draws_the_same_bytes() {
    let words = "demo:rates=30;40,gas=20,seed=5,size=320x240,noise=2,fault=shake;flicker;steam";
    let run = |words: &str| -> Vec<u8> {
        let mut source = DemoSource::from_words(words).unwrap();
        (0..45)
            .flat_map(|_| frame(&mut source).luma.as_raw().clone())
            .collect()
    };
    let first = run(words);
    assert!(first == run(words));
    assert!(first != run(&words.replace("seed=5", "seed=6")));
}

#[test]
fn every_size_and_number_of_glasses_can_be_drawn() {
    for words in [
        "demo:feeds=1,size=320x240",
        "demo:feeds=8,size=1920x1080,kind=port,light=card,turn=-20,roll=15",
        "demo:feeds=8,light=front,turn=20,roll=-15,rates=120,gas=120,pairs=1,satellites=1",
        "demo:feeds=5,size=321x243,kind=port,light=front,fps=15",
        "demo:feeds=2,size=1280x720,px_per_mm=9,bead_mm=2;6,fps=60",
    ] {
        let mut source = DemoSource::from_words(words).unwrap();
        let about = source.about().clone();
        for _ in 0..12 {
            let frame = frame(&mut source);
            assert_eq!((frame.width(), frame.height()), (about.width, about.height));
        }
        let feeds = source.settings().feeds;
        let glasses = source.glasses();
        assert_eq!(glasses.len(), feeds);
        assert!(glasses.is_sorted_by(|a, b| a.centre_px.0 < b.centre_px.0));
    }
}
