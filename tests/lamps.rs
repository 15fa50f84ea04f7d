//! Lamps on the mains, lamps that go out and come back, and oil that darkens a glass from the top:
//! light is evened, and what is no light is told. Drawn by the demo, with its truth; the pictures are
//! small and slow, so that mains bands are low.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod true_outlines;

use beadtally::base::{BeadKind, BlindWhy};
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{Grab, Source as _};
use beadtally::glass::Outline;
use beadtally::run::{Event, Instrument};
use true_outlines::without_scale;

/// A counted bead within this of a true one is that one, seconds.
const MATCH_SECS: f64 = 0.4;
/// The whole way through the glass, seconds.
const PASSAGE_SECS: f64 = 1.2;

/// What was seen of a demo.
#[derive(Default)]
struct Seen {
    truth: Vec<f64>,
    counted: Vec<f64>,
    blind: Vec<(f64, f64, BlindWhy)>,
}

impl Seen {
    /// Looks for so long at a demo, with the outline changed.
    fn of(words: &str, secs: f64, change: impl Fn(&mut Outline)) -> Self {
        let words = format!("feeds=1,rates=12,scatter=0.15,gas=0,size=160x120,fps=15,{words}");
        let mut demo = DemoSource::from_words(&words).unwrap();
        let mut outlines = without_scale(&demo);
        change(&mut outlines.feeds[0].outline);
        let mut instrument = Instrument::new(outlines);
        let mut seen = Self::default();
        let mut events = Vec::new();
        while demo.now_secs() < secs {
            if let Grab::Frame(frame) = demo.next().unwrap() {
                events.extend(instrument.step(&frame));
            }
            let beads = demo.take_beads().into_iter();
            let oil = beads.filter(|bead| bead.kind == BeadKind::Oil);
            seen.truth.extend(oil.map(|bead| bead.at_secs));
        }
        events.extend(instrument.finish());
        // What is on its way at the end is neither.
        seen.truth.retain(|at_secs| *at_secs < secs - PASSAGE_SECS);
        for event in &events {
            match event {
                Event::Bead { bead, .. } if event.is_drop() => seen.counted.push(bead.at_secs),
                Event::Blind {
                    from_secs,
                    to_secs,
                    why,
                    ..
                } => seen.blind.push((*from_secs, *to_secs, *why)),
                _ => {}
            }
        }
        seen.counted
            .retain(|at_secs| *at_secs < secs - PASSAGE_SECS);
        seen
    }

    /// True beads that were neither counted nor in a blind spell.
    fn lost(&self) -> Vec<f64> {
        let is_lost = |bead: &&f64| {
            let is_unseen = self
                .blind
                .iter()
                .any(|(from, to, _)| **bead > from - PASSAGE_SECS && **bead < to + PASSAGE_SECS);
            !is_unseen
                && !self
                    .counted
                    .iter()
                    .any(|at| (at - **bead).abs() < MATCH_SECS)
        };
        self.truth.iter().filter(is_lost).copied().collect()
    }

    /// Counted beads that are none.
    fn invented(&self) -> Vec<f64> {
        let is_none = |bead: &&f64| !self.truth.iter().any(|at| (at - **bead).abs() < MATCH_SECS);
        self.counted.iter().filter(is_none).copied().collect()
    }
}

#[test]
fn bands_of_a_lamp_are_no_beads_as_it_begins_to_flicker() {
    let faults: Vec<String> = (0..9)
        .map(|n| 10.0 + 12.3 * f64::from(n))
        .map(|from| format!("flicker @{from:.1}-{:.1}", from + 5.0))
        .collect();
    let faults = faults.join(";");
    for scene in [
        "seed=1",
        "seed=2,roll=-11",
        "seed=3,roll=11",
        "seed=4,kind=port",
        "seed=5,kind=port,roll=9",
    ] {
        let seen = Seen::of(&format!("{scene},fault={faults}"), 120.0, |_| {});
        assert!(seen.truth.len() > 20);
        assert!(seen.invented().is_empty(), "{scene}: {:?}", seen.invented());
        assert!(seen.lost().len() <= 1, "{scene}: {:?}", seen.lost());
        assert!(seen.blind.is_empty(), "{scene}: {:?}", seen.blind);
    }
}

#[test]
fn nothing_is_lost_when_a_lamp_goes_out_and_comes_back_over_glass_and_iron() {
    for seed in 1..=3 {
        let words = format!("seed={seed},fault=dark @20-32;dark @60-73");
        // The recess that the glass stands in, with the fittings.
        let seen = Seen::of(&words, 100.0, |outline| {
            (outline.width_px, outline.height_px) = (37.5, 79.0);
            outline.centre_y_px += 8.7;
        });
        assert!(seen.truth.len() > 15);
        assert!(seen.lost().is_empty(), "{seed}: {:?}", seen.lost());
        assert!(seen.invented().is_empty(), "{seed}: {:?}", seen.invented());
        let steps = [20.0, 32.0, 60.0, 73.0];
        let told = steps.map(|step| {
            seen.blind.iter().any(|(from, to, why)| {
                *why == BlindWhy::LightChanged && (from - step).abs() < 0.2 && to - from < 2.0
            })
        });
        assert_eq!(told, [true; 4], "{:?}", seen.blind);
    }
}

#[test]
fn oil_that_fills_a_glass_is_told_though_every_row_of_it_is_even() {
    for scene in ["seed=1,kind=port", "seed=2,kind=port,roll=9", "seed=3"] {
        let seen = Seen::of(&format!("{scene},fault=flood @20-60"), 80.0, |_| {});
        let floods: Vec<_> = seen
            .blind
            .iter()
            .filter(|(.., why)| *why == BlindWhy::Flooded)
            .collect();
        assert_eq!(floods.len(), 1, "{scene}: {:?}", seen.blind);
        let (from, to, _) = *floods[0];
        assert!((20.0..30.0).contains(&from), "{scene}: {from}");
        assert!((60.0..70.0).contains(&to), "{scene}: {to}");
        assert!(seen.invented().is_empty(), "{scene}: {:?}", seen.invented());
    }
}
