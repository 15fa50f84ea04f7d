//! Tests of `explain`: what is no first bead of a restless glass.

use super::clutter::Clutter;
use super::explain::{Bore, Explained, Lane, explain};
use super::known::Known;
use super::track::tests::blob;
use super::track::{Path, Sighting};
use crate::base::GlassKind;

const SHAPE: (f32, f32) = (130.0, 40.0);

/// A glass in which two or three specks a frame were seen for ten seconds, at columns that are told; what
/// rises through the last frames of it is to be judged.
fn restless(col: impl Fn(u64) -> f32) -> Clutter {
    let mut clutter = Clutter::new(SHAPE);
    for frame in 1..=300 {
        let specks = (0..2 + frame % 2).map(|number| {
            let mut speck = blob(((37 * frame + 61 * number) % 130) as f32, col(frame));
            speck.weight = 60.0;
            speck
        });
        let specks: Vec<_> = specks.collect();
        clutter.learn(frame, specks.iter().map(|speck| (speck, false)));
    }
    clutter
}

fn all_over() -> Clutter {
    restless(|frame| (13 * frame % 40) as f32)
}

/// What rises in so many sightings, so wide.
fn rising(sightings: u64, width: f32) -> Path {
    let points = (0..sightings).map(|step| {
        let mut seen = blob(100.0 - 8.0 * step as f32, 20.0);
        (seen.weight, seen.width) = (60.0 + 30.0 * (step % 2) as f32, width);
        Sighting {
            at_secs: 9.5 + step as f64 / 30.0,
            frame: 285 + step,
            seen,
            shared: false,
        }
    });
    Path::of(points.collect())
}

/// A glass over which something drifts; a speck stands out of this grain by less than one spread, or of
/// that of [`FINE`] by six.
fn bore(kind: GlassKind, grain: f32, known: Known) -> Bore {
    Bore {
        rows: SHAPE.0,
        cols: SHAPE.1,
        axis: 19.5,
        kind,
        first_frame: 1,
        frames_per_s: 30.0,
        drift: true,
        lane: Lane::default(),
        cover: 1.0,
        grain,
        known,
    }
}

const COARSE: f32 = 2.0;
const FINE: f32 = 0.2;

/// Three beads like this one.
fn known(bead: &Explained) -> Known {
    let beads = [1.0, 4.0, 7.0].map(|at_secs| Explained {
        at_secs,
        ..bead.clone()
    });
    Known::of(beads.iter(), 9.8)
}

#[test]
fn what_hardly_stands_out_is_no_first_bead() {
    let clutter = all_over();
    let path = rising(9, 10.0);
    for kind in [GlassKind::Tube, GlassKind::Port] {
        let unknown = |grain| bore(kind, grain, Known::default());
        let told = explain(&path, &unknown(FINE), &clutter).expect("it stands out");
        assert!(explain(&path, &unknown(COARSE), &clutter).is_none());
        // Once beads are known, one more is believed.
        let known = bore(kind, COARSE, known(&told));
        assert!(explain(&path, &known, &clutter).is_some());
    }
}

#[test]
fn pieces_of_a_streak_need_more_to_be_a_first_bead_of_a_tube() {
    let streak = restless(|frame| 19.0 + (frame % 3) as f32);
    let surplus = |kind, clutter: &Clutter| {
        let unknown = bore(kind, COARSE, Known::default());
        let told = explain(&rising(12, 10.0), &unknown, clutter);
        told.map_or(-100.0, |bead| bead.surplus)
    };
    let clutter = all_over();
    assert!(surplus(GlassKind::Tube, &clutter) > surplus(GlassKind::Tube, &streak) + 5.0);
    // A mirror in a flat window is no streak.
    let flat = surplus(GlassKind::Port, &clutter);
    assert!(flat > 0.0 && (flat - surplus(GlassKind::Port, &streak)).abs() < 3.0);
}

#[test]
fn a_slender_thing_needs_more_to_be_a_first_bead_of_a_tube() {
    let clutter = all_over();
    let surplus = |width| {
        let unknown = bore(GlassKind::Tube, COARSE, Known::default());
        explain(&rising(12, width), &unknown, &clutter).map_or(-100.0, |bead| bead.surplus)
    };
    assert!(surplus(10.0) > 0.0 && surplus(10.0) > surplus(5.0) + 2.0);
}

#[test]
fn what_flashes_up_or_turns_from_dark_to_bright_needs_more_to_be_a_first_bead() {
    let clutter = all_over();
    let surplus = |levels: [f32; 9], strengths: [f32; 9], known: Known| {
        let mut path = rising(9, 10.0);
        for ((point, level), strength) in path.points.iter_mut().zip(levels).zip(strengths) {
            (point.seen.level, point.seen.weight) = (level, strength);
        }
        let told = explain(&path, &bore(GlassKind::Tube, FINE, known), &clutter);
        told.expect("a strong thing")
    };
    let dark = [-10.0; 9];
    let steady = [
        700.0, 1500.0, 900.0, 1500.0, 1800.0, 2400.0, 1200.0, 1500.0, 600.0,
    ];
    let lamp = [
        120.0, 700.0, 370.0, 1500.0, 2900.0, 9400.0, 9400.0, 6300.0, 370.0,
    ];
    let turns = [-5.0, -5.0, -5.0, -5.0, -3.0, 2.0, 2.0, 2.0, 2.0];
    let beads = known(&surplus(dark, steady, Known::default()));
    let costs = |levels, strengths| {
        let first = surplus(levels, strengths, Known::default()).surplus;
        surplus(levels, strengths, beads).surplus - first
    };
    assert_eq!(costs(dark, steady), 0.0);
    assert!(costs(dark, lamp) > 5.0);
    assert!(costs(turns, steady) > 5.0);
}

#[test]
fn what_is_only_like_the_others_must_have_been_seen_below_the_middle() {
    let clutter = all_over();
    let mut usual = rising(9, 10.0);
    for point in &mut usual.points {
        point.seen.weight = 75.0;
    }
    let unknown = bore(GlassKind::Port, FINE, Known::default());
    let told = explain(&usual, &unknown, &clutter).expect("it stands out");
    let known = bore(GlassKind::Port, FINE, known(&told));
    let from = |row: f32| {
        let mut path = rising(5, 10.0);
        for point in &mut path.points {
            point.seen.row += row - 100.0;
        }
        explain(&path, &known, &clutter)
    };
    assert!(from(70.0).is_some_and(|bead| bead.surplus < 0.0));
    assert!(from(60.0).is_none());
}
