//! The demo's model of feeds and its truth: rates, scatter, gas, pairs, mid-glass times, and that a
//! long run grows nothing.

use beadtally::base::BeadKind;
use beadtally::capture::demo::DemoSettings;
use beadtally::capture::demo::model::{Model, Pass};

fn settings(rates: &[f64]) -> DemoSettings {
    DemoSettings {
        feeds: rates.len(),
        rates_per_minute: rates.to_vec(),
        scatter: vec![0.12],
        seed: 42,
        ..DemoSettings::default()
    }
}

fn run(model: &mut Model, until_secs: f64, step_secs: f64) -> Vec<Pass> {
    let mut passes = Vec::new();
    let from = model.now_secs();
    let steps = ((until_secs - from) / step_secs).round() as u64;
    for step in 1..=steps {
        passes.extend(model.advance(from + step as f64 * step_secs));
    }
    passes
}

fn intervals(passes: &[Pass], feed: usize) -> Vec<f64> {
    let times: Vec<f64> = passes
        .iter()
        .filter(|p| p.feed == feed && p.kind == BeadKind::Oil)
        .map(|p| p.at_secs)
        .collect();
    times.windows(2).map(|pair| pair[1] - pair[0]).collect()
}

#[test]
fn feeds_run_at_the_rates_and_scatter_asked() {
    for scatter in [0.05, 0.15, 0.5, 1.0] {
        let settings = DemoSettings {
            scatter: vec![scatter],
            bead_scatter: 0.0,
            ..settings(&[2.5, 10.0, 30.0])
        };
        let mut model = Model::new(&settings);
        let hours = 2.0;
        let passes = run(&mut model, hours * 3600.0, 1.0);
        for (feed, rate) in settings.rates_per_minute.iter().enumerate() {
            let between = intervals(&passes, feed);
            let n = between.len() as f64;
            let wanted = rate * 60.0 * hours;
            // The count of a renewal process scatters by c √n; five of those, and the ends.
            let reach = 5.0 * scatter * wanted.sqrt() + 2.0;
            assert!(
                (n - wanted).abs() < reach,
                "{rate}/min, scatter {scatter}: {n} of {wanted}"
            );
            let mean = between.iter().sum::<f64>() / n;
            let spread = (between.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / n).sqrt();
            let off = spread / mean / scatter - 1.0;
            // Spread of a spread from n intervals, generously.
            assert!(
                off.abs() < 5.0 / n.sqrt(),
                "{rate}/min: {} for {scatter}",
                spread / mean
            );
        }
    }
}

#[test]
fn mid_glass_times_are_those_of_the_positions() {
    let mut model = Model::new(&DemoSettings {
        gas_per_minute: vec![30.0],
        ..settings(&[40.0, 60.0])
    });
    let mut seen = 0;
    for step in 1..900 {
        let now = f64::from(step) / 30.0;
        let passes = model.advance(now);
        for pass in &passes {
            assert!(pass.at_secs <= now && pass.at_secs > now - 1.0 / 30.0 - 1e-9);
        }
        for bead in model.live() {
            let place = bead.place(bead.mid_secs);
            assert!(
                place.y_mm.abs() < 1e-3,
                "{} mm at its mid-glass time",
                place.y_mm
            );
            assert!(bead.place(bead.mid_secs - 0.01).y_mm < 0.0);
            // The shape keeps the volume.
            let ball = bead.diameter_mm.powi(3);
            let body = 8.0 * place.half_width_mm * place.half_width_mm * place.half_height_mm;
            assert!((body / ball - 1.0).abs() < 1e-9);
            seen += 1;
        }
    }
    assert!(seen > 500, "{seen}");
}

#[test]
fn passes_do_not_depend_on_the_steps() {
    let asked = DemoSettings {
        gas_per_minute: vec![10.0],
        satellites: 0.3,
        pairs: 0.3,
        ..settings(&[20.0, 5.0])
    };
    let fine = run(&mut Model::new(&asked), 300.0, 1.0 / 60.0);
    let coarse = run(&mut Model::new(&asked), 300.0, 0.5);
    let key = |passes: &[Pass]| {
        let mut keys: Vec<(usize, i64)> = passes
            .iter()
            .map(|p| (p.feed, (p.at_secs * 1e6).round() as i64))
            .collect();
        keys.sort_unstable();
        keys
    };
    let (fine, coarse) = (key(&fine), key(&coarse));
    assert!(fine.len() > 120);
    assert_eq!(fine.len(), coarse.len());
    for (a, b) in fine.iter().zip(&coarse) {
        assert!(a.0 == b.0 && (a.1 - b.1).abs() <= 2, "{a:?} {b:?}");
    }
}

#[test]
fn a_growing_bead_gains_volume_evenly_and_lets_go_where_it_grew() {
    let asked = DemoSettings {
        scatter: vec![0.0],
        bead_scatter: 0.0,
        ..settings(&[10.0])
    };
    let mut model = Model::new(&asked);
    let tip = model.space().tip_mm;
    let mut tops = Vec::new();
    let mut jumps = 0;
    for step in 1..=1080 {
        let before = model.pendant(0).unwrap();
        let live = model.live().len();
        model.advance(f64::from(step) / 60.0);
        let after = model.pendant(0).unwrap();
        let top = after.y_mm + after.half_height_mm - tip;
        assert!(top > 0.0);
        if model.live().len() > live {
            // A drop let go: it starts where the growing one was.
            let bead = model.live().last().unwrap();
            assert!((bead.start_mm - before.y_mm).abs() < 0.05);
            jumps += 1;
        } else {
            tops.push(top);
        }
    }
    assert_eq!(jumps, 3, "18 s at 10 drops a minute");
    // A full bead is about as high as a drop of 4.2 mm.
    let highest = tops.iter().copied().fold(0.0, f64::max);
    assert!((3.9..4.8).contains(&highest), "{highest}");
}

#[test]
fn pairs_keep_their_distance_and_satellites_follow() {
    let paired = DemoSettings {
        pairs: 1.0,
        pair_gap: 1.0,
        scatter: vec![0.0],
        bead_scatter: 0.0,
        ..settings(&[6.0])
    };
    let passes = run(&mut Model::new(&paired), 120.0, 0.1);
    assert!(passes.len() >= 20);
    for pair in passes.chunks_exact(2) {
        let mm = (pair[1].at_secs - pair[0].at_secs) * pair[0].rise_mm_per_s;
        // A bead's width of clear water: middles two diameters apart.
        assert!((mm / pair[0].diameter_mm - 2.0).abs() < 1e-6, "{mm}");
    }
    let trailing = DemoSettings {
        satellites: 1.0,
        ..settings(&[6.0])
    };
    let passes = run(&mut Model::new(&trailing), 120.0, 0.1);
    let small = passes.iter().filter(|p| p.diameter_mm < 2.0).count();
    let large = passes.iter().filter(|p| p.diameter_mm > 3.0).count();
    assert!(
        small.abs_diff(large) <= 1 && large >= 10,
        "{small} small, {large} large"
    );
}

#[test]
fn gas_is_gas_and_comes_by_chance() {
    let asked = DemoSettings {
        gas_per_minute: vec![20.0],
        ..settings(&[2.5])
    };
    let passes = run(&mut Model::new(&asked), 3600.0, 0.5);
    let gas: Vec<&Pass> = passes.iter().filter(|p| p.kind == BeadKind::Gas).collect();
    // Poisson: 1200 ± 5 √1200.
    assert!((gas.len() as f64 - 1200.0).abs() < 174.0, "{}", gas.len());
    for bubble in gas {
        assert!((1.0..3.0).contains(&bubble.diameter_mm));
        assert!((120.0..320.0).contains(&bubble.rise_mm_per_s));
    }
}

#[test]
fn a_factor_stops_and_hurries_a_feed() {
    let mut model = Model::new(&DemoSettings {
        scatter: vec![0.0],
        ..settings(&[6.0, 6.0])
    });
    run(&mut model, 60.0, 0.1);
    model.set_factor(0, 0.0);
    model.set_factor(1, 4.0);
    let before = [model.drops(0), model.drops(1)];
    run(&mut model, 120.0, 0.1);
    assert_eq!(model.drops(0), before[0]);
    assert!((model.drops(1) - before[1]).abs_diff(24) <= 1);
    model.set_factor(0, 1.0);
    run(&mut model, 180.0, 0.1);
    assert!((model.drops(0) - before[0]).abs_diff(6) <= 1);
}

#[test]
fn oil_from_above_swallows_beads() {
    let mut model = Model::new(&settings(&[30.0]));
    run(&mut model, 20.0, 0.1);
    model.set_ceiling(0, -5.0);
    model.advance(20.1);
    assert!(model.live().iter().all(|bead| bead.place(20.1).y_mm < -5.0));
    assert!(run(&mut model, 60.0, 0.1).is_empty());
    model.set_ceiling(0, f64::INFINITY);
    assert!(run(&mut model, 80.0, 0.1).len() > 5);
}

#[test]
fn two_hours_grow_nothing() {
    let asked = DemoSettings {
        gas_per_minute: vec![20.0],
        satellites: 0.5,
        pairs: 0.2,
        ..settings(&[2.5, 30.0, 120.0])
    };
    let mut model = Model::new(&asked);
    let mut most = [0; 2];
    let mut passed = 0;
    // Ten minutes, then the rest of two hours, at 30 frames a second.
    for (part, until) in [600.0, 7200.0].into_iter().enumerate() {
        let from = model.now_secs();
        let steps = ((until - from) * 30.0) as u64;
        for step in 1..=steps {
            passed += model.advance(from + step as f64 / 30.0).len();
            most[part] = most[part].max(model.live().len());
        }
    }
    assert!(passed > 18_000, "{passed}");
    assert!(most[1] < 2 * most[0] && most[1] < 60, "{most:?}");
}

#[test]
fn settings_survive_being_written_and_read() {
    let asked =
        DemoSettings::from_words("demo:rates=2;3.5,light=card,roll=-4,px_per_mm=5,fault=shake 3")
            .unwrap();
    let text = serde_json::to_string(&asked).unwrap();
    assert_eq!(serde_json::from_str::<DemoSettings>(&text).unwrap(), asked);
    assert!(serde_json::from_str::<DemoSettings>("{\"colour\": 1}").is_err());
    let part: DemoSettings = serde_json::from_str("{\"feeds\": 2}").unwrap();
    assert_eq!((part.feeds, part.fps), (2, 30.0));
}
