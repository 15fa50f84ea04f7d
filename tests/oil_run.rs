//! Oil from end to end, on the drawn demo: its figures hold the truth, a mark tells a filling, a
//! nozzle serves where size is not known, and nothing is said of oil where nothing is known.

#![expect(clippy::unwrap_used, reason = "a test may fail by panicking")]

use beadtally::base::BeadKind;
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{CaptureError, Grab, Source};
use beadtally::glass::{Calibration, OilData};
use beadtally::rate::oil::sphere_ul;
use beadtally::run::outlines::Presets;
use beadtally::run::search;
use beadtally::run::tally::{Besides, TallyReport, TallySettings, tally_beside};

/// Lit from behind, where a bead is seen as large as it is.
const DEMO: &str = "feeds=2,rates=40;30,kind=tube,light=backlit,size=320x240,fps=20,gas=0,seed=3";
const SECS: f64 = 60.0;
const FILLED_SECS: f64 = 10.0;

/// The glasses as found, with the true scale or none, and what is known of the oil.
fn calibration(px_per_mm: Option<f64>, oil: OilData) -> Calibration {
    let demo = DemoSource::from_words(DEMO).unwrap();
    let found = search::search(Box::new(demo), Presets::default(), &|| false, &mut |_| {});
    let mut calibration = found.unwrap().calibration;
    calibration.oil = oil;
    for feed in &mut calibration.feeds {
        feed.px_per_mm = px_per_mm;
    }
    calibration
}

fn tally(calibration: Calibration) -> TallyReport {
    let settings = TallySettings {
        calibration: Some(calibration),
        ..TallySettings::default()
    };
    let besides = Besides {
        until_secs: Some(SECS),
        marks: vec![(FILLED_SECS, "reservoir filled".to_owned())],
        ..Besides::default()
    };
    let mut open =
        || -> Result<Box<dyn Source>, CaptureError> { Ok(Box::new(DemoSource::from_words(DEMO)?)) };
    tally_beside(&mut open, &settings, besides, &mut |_| {}).unwrap()
}

#[test]
fn oil_by_the_size_of_the_beads_holds_the_truth() {
    let mut demo = DemoSource::from_words(DEMO).unwrap();
    while !matches!(demo.next().unwrap(), Grab::Frame(frame) if frame.at_secs > SECS) {}
    let truth = demo.truth();
    let true_scale = truth.glasses[0].px_per_mm;
    let oil = OilData {
        reservoir_capacity_ml: Some(500.0),
        ..OilData::default()
    };
    let report = tally(calibration(Some(true_scale), oil));
    let mut true_per_hour = 0.0;
    for glass in &report.glasses {
        let beads: Vec<f64> = truth
            .beads
            .iter()
            .filter(|bead| bead.feed == glass.feed && bead.kind == BeadKind::Oil)
            .map(|bead| sphere_ul(bead.diameter_mm))
            .collect();
        let per_hour = beads.iter().sum::<f64>() * 3.6 / SECS;
        let oil = glass.oil.unwrap();
        println!("{per_hour:.0} mL an hour; {}", oil.words());
        assert!(
            (oil.low..=oil.high).contains(&per_hour),
            "{per_hour}: {oil:?}"
        );
        assert_eq!(oil.from, "size of the beads");
        assert!(oil.beads.unwrap() >= 20);
        assert!(oil.high / oil.low < 2.2, "{oil:?}");
        true_per_hour += per_hour;
    }
    let life = report.reservoir.unwrap();
    let left = 500.0 - true_per_hour * (SECS - FILLED_SECS) / 3600.0;
    assert!(
        (life.left_low_ml..=life.left_high_ml).contains(&left),
        "{life:?}"
    );
    let hours = left / true_per_hour;
    assert!(
        (life.empty_in_low_h..=life.empty_in_high_h).contains(&hours),
        "{life:?}"
    );
    assert_eq!(life.by, "drops counted since the filling");
    // A filling is no movement of a valve: the readings went on.
    assert!(report.glasses.iter().all(|glass| glass.reading.is_some()));
}

#[test]
fn a_nozzle_serves_where_the_size_is_not_known() {
    let oil = OilData {
        nozzle_bore_mm: Some(2.0),
        interfacial_tension_mn_m: Some(20.0),
        oil_density_kg_m3: Some(900.0),
        condensate_density_kg_m3: Some(1000.0),
        ..OilData::default()
    };
    let report = tally(calibration(None, oil));
    for glass in &report.glasses {
        let (oil, reading) = (glass.oil.unwrap(), glass.reading.unwrap());
        assert_eq!(oil.from, "nozzle and interfacial tension");
        assert_eq!((oil.drop_ul, oil.beads), (101.61, None));
        let wanted = reading.drops_per_minute * 101.6149 * 0.06;
        assert!((oil.ml_per_hour / wanted - 1.0).abs() < 1e-3);
    }
    assert!(report.reservoir.is_none());
    // Outside the range of the fit: a sentence, and no figure.
    let wide = OilData {
        nozzle_bore_mm: Some(10.0),
        interfacial_tension_mn_m: Some(1.0),
        ..oil
    };
    let report = tally(calibration(None, wide));
    assert!(report.glasses.iter().all(|glass| glass.oil.is_none()));
    let told = report
        .doubts
        .iter()
        .any(|doubt| doubt.contains("no figure"));
    assert!(told, "{:?}", report.doubts);
}

#[test]
fn where_nothing_is_known_nothing_is_said_of_oil() {
    let report = tally(calibration(None, OilData::default()));
    let words = serde_json::to_string(&report).unwrap();
    assert!(
        !words.contains("\"oil\":{") && !words.contains("reservoir\":"),
        "{words}"
    );
}
