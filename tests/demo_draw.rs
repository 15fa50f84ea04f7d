//! Practice clips: what `draw` writes, and that it can be read back as it was drawn.

use std::fs;
use std::path::Path;

use beadtally::capture::demo::DemoSource;
use beadtally::capture::{Grab, Source, clip};
use beadtally::cli::draw::{DrawArgs, run};

const WORDS: &str = "demo:feeds=2,rates=40,gas=30,size=320x240,seed=4";

fn args(out: &Path, words: &str, for_secs: f64) -> DrawArgs {
    DrawArgs {
        out: out.to_owned(),
        demo: words.to_owned(),
        for_secs,
        crf: 23,
    }
}

fn frames(source: &mut dyn Source) -> Vec<(f64, Vec<u8>)> {
    let mut frames = Vec::new();
    while let Ok(Grab::Frame(frame)) = source.next() {
        frames.push((frame.at_secs, frame.luma.as_raw().clone()));
    }
    assert!(matches!(source.next(), Ok(Grab::End)));
    frames
}

#[test]
fn a_y4m_and_a_folder_hold_what_was_drawn() {
    let place = tempfile::tempdir().unwrap();
    let mut demo = DemoSource::from_words(WORDS).unwrap();
    let drawn: Vec<(f64, Vec<u8>)> = (0..45)
        .map(|_| match demo.next().unwrap() {
            Grab::Frame(frame) => (frame.at_secs, frame.luma.as_raw().clone()),
            other => panic!("{other:?}"),
        })
        .collect();
    for name in ["clip.y4m", "clip"] {
        let out = place.path().join(name);
        run(&args(&out, WORDS, 1.5)).unwrap();
        let read = frames(clip::open(&out).unwrap().as_mut());
        assert_eq!(read.len(), drawn.len(), "{name}");
        for (got, wanted) in read.iter().zip(&drawn) {
            assert!(
                (got.0 - wanted.0).abs() < 1e-5,
                "{name}: {} {}",
                got.0,
                wanted.0
            );
            assert!(got.1 == wanted.1, "{name} at {} s", wanted.0);
        }
    }
}

#[test]
fn the_truth_stands_beside_the_clip() {
    let place = tempfile::tempdir().unwrap();
    let out = place.path().join("practice.y4m");
    run(&args(&out, WORDS, 12.0)).unwrap();
    let text = fs::read_to_string(place.path().join("practice.truth.json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(truth["clip"], "practice.y4m");
    assert_eq!(truth["fps"], 30.0);
    assert_eq!(truth["seconds"], 12.0);
    let source = DemoSource::from_words(WORDS).unwrap();
    assert_eq!(truth["px_per_mm"], source.settings().scale_px_per_mm());
    let glasses = truth["glasses"].as_array().unwrap();
    assert_eq!(glasses.len(), 2);
    let mut kinds = [0, 0];
    for (index, glass) in glasses.iter().enumerate() {
        assert_eq!(glass["feed"], (index + 1).to_string());
        assert_eq!(glass["kind"], "tube");
        let wanted = source.glasses()[index].upright_box;
        for (got, wanted) in glass["box"].as_array().unwrap().iter().zip(wanted) {
            assert!((got.as_f64().unwrap() - wanted).abs() < 1e-3);
        }
        let mut last = 0.0;
        for bead in glass["beads"].as_array().unwrap() {
            let at = bead["at_s"].as_f64().unwrap();
            assert!(at >= last && at <= 12.0);
            last = at;
            let mm = bead["diameter_mm"].as_f64().unwrap();
            match bead["kind"].as_str().unwrap() {
                "oil" => {
                    kinds[0] += 1;
                    assert!((3.5..5.2).contains(&mm));
                }
                "gas" => {
                    kinds[1] += 1;
                    assert!((1.0..3.0).contains(&mm));
                }
                other => panic!("{other}"),
            }
        }
    }
    assert!((12..=17).contains(&kinds[0]), "{kinds:?}");
    assert!(kinds[1] >= 3, "{kinds:?}");
}

#[test]
fn lost_and_stalled_frames_keep_their_time() {
    let place = tempfile::tempdir().unwrap();
    let words = format!("{WORDS},fault=lost 20;stall 1 @1");
    let even = place.path().join("even.y4m");
    run(&args(&even, &words, 3.0)).unwrap();
    let read = frames(clip::open(&even).unwrap().as_mut());
    // A file of even rate repeats the picture before where one is missing.
    assert_eq!(read.len(), 90);
    assert!(read[31..58].iter().all(|f| f.1 == read[30].1));
    let stamped = place.path().join("stamped");
    run(&args(&stamped, &words, 3.0)).unwrap();
    let read = frames(clip::open(&stamped).unwrap().as_mut());
    assert!((40..60).contains(&read.len()), "{}", read.len());
    let gap = read.windows(2).map(|w| w[1].0 - w[0].0).fold(0.0, f64::max);
    assert!((1.0..1.3).contains(&gap), "{gap}");
}

#[test]
fn what_cannot_be_drawn_is_refused() {
    let place = tempfile::tempdir().unwrap();
    let out = place.path().join("x.y4m");
    for (words, secs) in [
        ("demo:light=moon", 1.0),
        (WORDS, 0.0),
        (WORDS, -1.0),
        (WORDS, f64::NAN),
    ] {
        assert!(run(&args(&out, words, secs)).is_err(), "{words} {secs}");
    }
    let nowhere = place.path().join("no").join("such").join("x.y4m");
    let sentence = format!("{:#}", run(&args(&nowhere, WORDS, 1.0)).unwrap_err());
    assert!(sentence.contains("cannot be written"), "{sentence}");
}
