//! A few small cases of the bench of hard cases, with floors on what is counted; and the bench's own
//! scoring, which must be able to find fault. The whole sweep is left to `cargo bench`.

#![expect(clippy::expect_used, reason = "a test stops at the first surprise")]

use std::fmt::Write as _;

#[path = "../benches/hard_cases/bench/mod.rs"]
#[allow(dead_code, reason = "a test needs a part of the bench")]
mod bench;

use beadtally::base::BeadKind;
use beadtally::capture::Grab;
use beadtally::capture::demo::{DemoSettings, DemoSource};
use bench::row::{Row, pooled};
use bench::run::{self, How, Outlines};
use bench::score::{Glass, Passed, Score};
use bench::sweep::{Case, DISTURBANCES, Disturbance, SCENES};
use bench::watch::Kept;
use bench::{chart, h264, table};

const HOW: How = How {
    outlines: Outlines::True,
    beside: None,
};

fn disturbance(name: &str) -> Disturbance {
    DISTURBANCES
        .into_iter()
        .find(|known| known.name == name)
        .expect("a known disturbance")
}

fn row(scene: &str, name: &str, level: f64, secs: f64) -> Row {
    let scene = SCENES
        .into_iter()
        .find(|known| known.name == scene)
        .expect("a known scene");
    let case =
        Case::new(scene, disturbance(name), level, secs, 0).expect("a case that makes sense");
    run::drawn(&case, &HOW).expect("a case that can be drawn")
}

/// All drops of a few cases together: at least so many, at least that F1.
fn floor(cases: &[(&str, &str, f64)], secs: f64, least_drops: u32, least_f1: f64) {
    let mut sum = Score::default();
    let mut told = String::new();
    for (scene, name, level) in cases {
        let row = row(scene, name, *level, secs);
        sum.add(&row.score);
        if !row.errors.is_empty() {
            let _ = write!(
                told,
                "\n{}: {:?}\n    {}",
                row.name(),
                row.errors,
                row.words
            );
        }
    }
    assert!(sum.truth >= least_drops, "only {} drops", sum.truth);
    assert!(sum.f1() >= least_f1, "F1 {:.4}{told}", sum.f1());
}

#[test]
fn shaken_flickering_and_noisy_pictures_are_counted() {
    let cases = [
        ("backlit", "shake", 1.0),
        ("backlit", "flicker", 1.0),
        ("port", "noise", 1.0),
        ("backlit", "exposure", 1.0),
    ];
    floor(&cases, 10.0, 20, 0.97);
}

#[test]
fn pictures_with_little_contrast_and_moving_reflections_are_counted() {
    let cases = [
        ("backlit", "contrast", 1.0),
        ("port", "reflection", 1.0),
        ("backlit", "zoom", 1.0),
    ];
    floor(&cases, 10.0, 15, 0.97);
}

#[test]
fn pairs_and_lost_frames_are_counted() {
    let cases = [
        ("backlit", "pairs", 1.0),
        ("port", "lost", 1.0),
        ("backlit", "doubled", 1.0),
    ];
    floor(&cases, 10.0, 15, 0.97);
}

#[test]
fn nothing_is_counted_where_nothing_rises() {
    for (scene, name, level) in [("backlit", "idle", 0.5), ("port", "idle-reflection", 1.0)] {
        let row = row(scene, name, level, 8.0);
        assert_eq!(row.score.truth, 0);
        assert_eq!(row.score.false_drops, 0, "{}: {:?}", row.name(), row.errors);
    }
}

fn passed(at_secs: f64, kind: BeadKind) -> Passed {
    Passed {
        at_secs,
        kind,
        diameter_mm: Some(4.0),
    }
}

fn oil(times: &[f64]) -> Vec<Passed> {
    times.iter().map(|&at| passed(at, BeadKind::Oil)).collect()
}

#[test]
fn the_scoring_finds_what_is_missed_and_what_is_false() {
    let glass = Glass {
        truth: oil(&[1.0, 2.0, 3.0, 4.0, 9.0]),
        reported: oil(&[1.1, 2.9, 5.0, 9.1]),
        blind: vec![(3.7, 3.95), (3.8, 4.2)],
    };
    let score = Score::of(&glass, 8.0);
    assert_eq!((score.truth, score.matched), (4, 2));
    assert_eq!((score.missed, score.excused, score.false_drops), (1, 1, 1));
    assert!((score.f1() - 4.0 / 6.0).abs() < 1e-12);
    assert!((score.blind_secs - 0.5).abs() < 1e-12);
    assert!((score.time_rms_ms().expect("matched") - 100.0).abs() < 1e-6);
    assert_eq!(Score::errors(&glass, 8.0).len(), 2);
}

#[test]
fn drops_close_together_are_paired_one_to_one() {
    // One report near two drops is one drop; the nearest pairing must not leave two over that a
    // swap would pair.
    let one = Glass {
        truth: oil(&[1.0, 1.1]),
        reported: oil(&[1.05]),
        blind: Vec::new(),
    };
    assert_eq!(Score::of(&one, 8.0).missed, 1);
    let swapped = Glass {
        truth: oil(&[1.0, 1.3]),
        reported: oil(&[1.25, 1.65]),
        blind: Vec::new(),
    };
    let score = Score::of(&swapped, 8.0);
    assert_eq!((score.matched, score.false_drops), (2, 0));
}

#[test]
fn kinds_are_scored_each_way() {
    let glass = Glass {
        truth: vec![
            passed(1.0, BeadKind::Oil),
            passed(2.0, BeadKind::Gas),
            passed(3.0, BeadKind::Gas),
            passed(4.0, BeadKind::Oil),
        ],
        reported: vec![
            passed(1.0, BeadKind::Gas),
            passed(2.0, BeadKind::Oil),
            passed(3.0, BeadKind::Gas),
            passed(4.0, BeadKind::Oil),
        ],
        blind: Vec::new(),
    };
    let score = Score::of(&glass, 8.0);
    assert_eq!((score.missed, score.false_drops), (1, 1));
    assert_eq!((score.oil_as_gas, score.gas_as_oil), (1, 1));
    assert_eq!(score.gas_right_per_cent(), Some(50.0));
    assert_eq!(score.oil_right_per_cent(), Some(50.0));
}

#[test]
fn every_case_can_be_drawn_and_has_a_seed_of_its_own() {
    let mut words = std::collections::BTreeSet::new();
    for disturbance in DISTURBANCES {
        for level in [0.0, 0.5, 1.0, 1.5, 2.0] {
            for scene in SCENES {
                if let Some(case) = Case::new(scene, disturbance, level, 30.0, 0) {
                    // Tracing every scene takes long: one of each shape, the words of all.
                    if level == 2.0 && scene.name == "port" {
                        DemoSource::from_words(&case.words).expect("a scene that can be drawn");
                    }
                    DemoSettings::from_words(&case.words).expect("words that the demo knows");
                    assert!(words.insert(case.words), "{}", disturbance.name);
                }
            }
        }
    }
}

#[test]
fn h264_at_level_one_is_lossy_and_brings_every_picture_back() {
    let words = "demo:feeds=2,size=320x240,seed=4,rates=20";
    let mut source = DemoSource::from_words(words).expect("the words of a demo");
    let grabs = Kept::take(&mut source, 0.5).expect("frames");
    let pictures: Vec<_> = grabs
        .iter()
        .filter_map(|grab| match grab {
            Grab::Frame(frame) => Some(&*frame.luma),
            _ => None,
        })
        .collect();
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("a.mp4");
    let back = h264::through(&pictures, 30.0, h264::Coding::phone(1.0), &file).expect("ffmpeg");
    assert_eq!(back.len(), pictures.len());
    let (mut sum, mut n) = (0.0, 0.0);
    for (was, is) in pictures.iter().zip(&back) {
        for (a, b) in was.as_raw().iter().zip(is.as_raw()) {
            sum += (f64::from(*a) - f64::from(*b)).powi(2);
            n += 1.0;
        }
    }
    let decibels = 10.0 * (255.0 * 255.0 / (sum / n)).log10();
    assert!((28.0..=46.0).contains(&decibels), "{decibels} dB");
}

#[test]
fn the_chart_and_the_table_show_every_disturbance() {
    let mut rows = Vec::new();
    for (name, level) in [("plain", 0.0), ("shake", 1.0), ("shake", 2.0)] {
        rows.push(Row {
            way: bench::row::DRAWN.to_owned(),
            scene: "backlit".to_owned(),
            disturbance: name.to_owned(),
            level,
            words: String::new(),
            score: Score {
                truth: 10,
                matched: 9,
                missed: 1,
                ..Score::default()
            },
            errors: Vec::new(),
            blind: Vec::new(),
            beside: None,
        });
    }
    let pools = pooled(&rows);
    assert_eq!(pools.len(), 3);
    assert!(table::pool_line(&pools[1]).contains("0.9474"));
    let svg = chart::svg(&pools, "a caption with < and &");
    assert!(svg.contains(">shake</text>") && svg.contains("&lt; and &amp;"));
    assert_eq!(svg.matches("<circle").count(), 3);
}
